"""Year numbers of many cases of one building, straight from their steps.

The same numbers as `year.comparison_row` and `energy` give for one option, without keeping its
hours: what a search or a study of uncertainty needs of thousands. Peaks of demand, mould and
monthly criteria are left out, since they need the hours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin import columns, kernel
from dewmargin.contracts import USES
from dewmargin.kernel import tally
from dewmargin.kernel.source import ACCOUNTED
from dewmargin.physics import air
from dewmargin.physics.surfaces import SUBLIMATION_J_KG, WET_G_M2, dew_margin
from dewmargin.solve import energy
from dewmargin.solve.hours import EDGE_SLACK
from dewmargin.solve.year import DEMAND_HOUR_KG, SHORTFALL_FRAC

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from dewmargin.case import HeatSource
    from dewmargin.columns import BoolArray, FloatArray
    from dewmargin.contracts import Capability, Use
    from dewmargin.solve.cases import Building, Device, Ran
    from dewmargin.solve.hours import YearHours
    from dewmargin.space.tariff import Tariff

_ROOM = {
    "demand_kg": tally.DEMAND,
    "demand_h": tally.DEMAND_H,
    "delivered_kg": tally.DELIVERED,
    "shortfall_kg": tally.SHORTFALL,
    "shortfall_h": tally.SHORTFALL_H,
    "running_h": tally.RUNNING_H,
    "dry_h": tally.DRY_H,
    "humid_h": tally.HUMID_H,
    "condensation_h": tally.CONDENSATION_H,
    "wet_h": tally.WET_H,
    "runoff_h": tally.RUNOFF_H,
    "frost_h": tally.FROST_H,
    "condensed_kg": tally.CONDENSED,
    "dried_kg": tally.DRIED,
    "fog_kg": tally.FOG,
}
OF_DEMAND = ("demand_kg", "demand_h", "shortfall_kg", "shortfall_h")
_OF_SURFACES = ("condensation_h", "wet_h", "runoff_h", "frost_h")
_KWH = {
    "feed_heat_kwh": tally.FEED_HEAT,
    "water_heating_kwh": tally.WATER_HEATING,
    "makeup_heat_kwh": tally.MAKEUP,
    "space_heating_kwh": tally.SPACE_HEATING,
    "fan_kwh": tally.FAN,
    "device_kwh": tally.ELECTRICITY,
    "fuel_kwh": tally.FUEL,
    "line_heat_kwh": tally.LINE,
    "unmet_heat_kwh": tally.UNMET,
    "cooling_heat_kwh": tally.COOLING,
}
METRICS = tuple(column.name for column in columns.YEARLY)
N_METRICS = len(METRICS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Taker:
    """An equipment on a supply, as its account is kept.

    Attributes
    ----------
    capability : Capability
    heater : HeatSource or None
        What heating the feed takes; None is not known.
    tariff : Tariff or None
        What its energy and water cost; None is not known.
    """

    capability: Capability
    heater: HeatSource | None
    tariff: Tariff | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """What the accounts of a building need, hour by hour; made once for all its cases.

    Attributes
    ----------
    hours : YearHours
    w_face, slope_per_k : float64 array, shape (n_surfaces, n_hours)
        Humidity ratio of saturation at each surface, and how fast its logarithm rises with its
        temperature. [kg/kg, 1/K]
    low_rh, high_rh : float
        Edges of the comfort band. [-]
    """

    hours: YearHours
    w_face: FloatArray
    slope_per_k: FloatArray
    low_rh: float
    high_rh: float


def ledger(hours: YearHours, *, low_rh: float, high_rh: float) -> Ledger:
    """Return what the accounts need of a building's hours."""
    w_face = air.humidity_ratio(hours.p_sat_surface_pa, hours.p_pa)
    t_c = hours.t_surface_c
    evaporation_j_kg = air.H_FG_0C + (air.CP_VAPOUR - air.CP_WATER) * t_c
    latent_j_kg = np.where(t_c < 0.0, SUBLIMATION_J_KG, evaporation_j_kg)
    gas_constant_vapour = air.R_DRY_AIR * air.R_RATIO
    return Ledger(
        hours=hours,
        w_face=w_face,
        # Clausius and Clapeyron: near enough to tell which hours may be the worst.
        slope_per_k=(1.0 + w_face / air.MOLAR_RATIO)
        * latent_j_kg
        / (gas_constant_vapour * (t_c + air.KELVIN) ** 2),
        low_rh=low_rh,
        high_rh=high_rh,
    )


def year_numbers(
    of: Building,
    book: Ledger,
    ran: Ran,
    *,
    devices: Sequence[Device],
    of_device: Sequence[int],
    takers: Mapping[int, Taker],
    wanted_kg: FloatArray | None = None,
    wanted_of: Sequence[int] | None = None,
) -> dict[str, FloatArray]:
    """Return the year numbers of every case, by column of the comparison.

    Parameters
    ----------
    of : Building
    book : Ledger
        Of the building's case.
    ran : Ran
        What the kernel found.
    devices, of_device : sequences
        As in the `Cases` that ran.
    takers : mapping of int to Taker
        The devices whose water and energy are to be known, by their place in `devices`; the
        cases of the others take nothing, which costs nothing.
    wanted_kg : float64 array, shape (n_wanted, n_steps), optional
        What devices without limit add. [kg]
    wanted_of : sequence of int, optional
        The row of it that is each case's demand; by default none is known.

    Returns
    -------
    dict of str to float64 array, shape (n_cases,)
        By `METRICS`; NaN is not known, or no question.
    """
    asked = np.full(len(of_device), -1) if wanted_of is None else np.array(wanted_of)
    wanted = np.empty((0, of.case.n_steps)) if wanted_kg is None else wanted_kg
    found, w, worst = _room(
        of, book, ran, of_device=of_device, devices=devices, wanted_kg=wanted, asked=asked
    )
    used = np.zeros((len(of_device), tally.OF_DEVICE))
    for k, taker in takers.items():
        which = np.array([c for c, each in enumerate(of_device) if each == k], dtype=np.int64)
        _account(of, book, ran, taker, which, used)
    return named(
        of,
        book,
        room=found,
        used=used,
        margin_k=_worst_margin(book, w, worst),
        of_device=of_device,
        takers=takers,
        asked=asked,
    )


def named(
    of: Building,
    book: Ledger,
    *,
    room: FloatArray,
    used: FloatArray,
    margin_k: FloatArray,
    of_device: Sequence[int],
    takers: Mapping[int, Taker],
    asked: np.ndarray,
) -> dict[str, FloatArray]:
    """Return the year numbers of cases of a building from what the kernel added up.

    Parameters
    ----------
    room, used : float64 arrays, a row a case
        By the columns of `kernel.tally`.
    margin_k : float64 array, shape (n_cases,)
        Least dew margins. [K]
    asked : int64 array, shape (n_cases,)
        Below 0 where no demand is known.
    """
    numbers = {name: room[:, k].copy() for name, k in _ROOM.items()}
    for name in OF_DEMAND:
        numbers[name][asked < 0] = np.nan
    if not of.area_m2.size:
        for name in _OF_SURFACES:
            numbers[name][:] = np.nan
    season_h = float(np.count_nonzero(book.hours.heating_season))
    numbers["rh_mean_frac"] = room[:, tally.RH_SUM] / (season_h or np.nan)
    numbers["below_band_percent_h"] = 100.0 * room[:, tally.BELOW_BAND]
    numbers["band_h"] = season_h - numbers["dry_h"] - numbers["humid_h"]
    numbers["worst_margin_k"] = margin_k
    delivered = room[:, tally.DELIVERED]
    return numbers | _taken(of, used, of_device=of_device, takers=takers, delivered=delivered)


def _room(
    of: Building,
    book: Ledger,
    ran: Ran,
    *,
    devices: Sequence[Device],
    of_device: Sequence[int],
    wanted_kg: FloatArray,
    asked: np.ndarray,
) -> tuple[FloatArray, FloatArray, np.ndarray]:
    case, hours = of.case, book.hours
    n_cases, n_faces = len(of_device), of.area_m2.size
    found = np.empty((n_cases, tally.OF_ROOM))
    w = np.empty((n_cases, case.n_hours))
    worst = np.zeros((n_cases, n_faces, tally.CANDIDATES), dtype=np.int64)
    shares = np.array([np.broadcast_to(d.rest_share, case.n_steps) for d in devices])
    sum_x, added, added_rest, running, running_rest, fog = ran.steps[:ACCOUNTED]
    taken, runoff, film = ran.films
    kernel.tally_room()(
        case.step_s, case.steps_per_hour, case.w_base_kg_kg, hours.p_pa, hours.p_sat_pa,
        air.MOLAR_RATIO, hours.heating_season, book.low_rh, book.high_rh, EDGE_SLACK,
        hours.w_offset_kg_kg, book.w_face, hours.t_surface_c < 0.0, book.slope_per_k,
        of.area_m2, 1e-3 * WET_G_M2, wanted_kg, asked.astype(np.int64), DEMAND_HOUR_KG,
        SHORTFALL_FRAC, sum_x, added, added_rest, running, running_rest, shares,
        np.array(of_device, dtype=np.int64), fog, taken, runoff, film, found, w, worst,
    )  # fmt: skip
    return found, w, worst


def _worst_margin(book: Ledger, w: FloatArray, worst: np.ndarray) -> FloatArray:
    """Return each case's smallest dew margin, of the hours in which the surfaces have theirs."""
    n_cases, n_faces, _ = worst.shape
    if not n_faces:
        return np.full(n_cases, np.nan)
    hours, faces = book.hours, np.arange(n_faces)[:, None]
    at = w[np.arange(n_cases)[:, None, None], worst] + hours.w_offset_kg_kg[faces, worst]
    margins = dew_margin(
        hours.t_surface_c[faces, worst].ravel(),
        np.maximum(at, 0.0).ravel(),
        hours.p_pa[worst].ravel(),
    )
    least: FloatArray = margins.reshape(n_cases, -1).min(axis=1)
    return least


def _taken(
    of: Building,
    used: FloatArray,
    *,
    of_device: Sequence[int],
    takers: Mapping[int, Taker],
    delivered: FloatArray,
) -> dict[str, FloatArray]:
    """Return water, energy, money and carbon; cases of devices that are no takers take nothing."""
    n_cases = len(of_device)
    source = of.case.heat_source
    priced = all(taker.tariff is not None for taker in takers.values())
    cost = np.full(n_cases, 0.0 if priced else np.nan)
    carbon = cost.copy()
    for k, taker in takers.items():
        which = [c for c, each in enumerate(of_device) if each == k]
        for c in which if taker.tariff is not None else ():
            kwh = {name: float(used[c, j]) / energy.J_PER_KWH for name, j in _KWH.items()}
            bill = energy.bill(
                kwh,
                feed_kg=float(used[c, tally.FEED]),
                added_kg=float(delivered[c]),
                tariff=taker.tariff,
                heater_carrier=None if taker.heater is None else taker.heater.carrier,
                plant_carrier=None if source is None else source.carrier,
            )
            cost[c] = np.nan if bill.cost is None else bill.cost
            carbon[c] = np.nan if bill.co2_kg is None else bill.co2_kg
    feed = used[:, tally.FEED]
    taking = np.isin(of_device, list(takers))
    evaporated = np.where(taking, delivered, 0.0)
    given = np.where(evaporated > 0.0, evaporated, np.nan)
    return {
        "feed_l": feed,
        "evaporated_l": evaporated,
        "drained_l": feed - evaporated,
        "hot_feed_l": used[:, tally.HOT_FEED],
        "feed_l_per_kg": feed / given,
        **{name: used[:, j] / energy.J_PER_KWH for name, j in _KWH.items()},
        "cooler_k": energy.cooler_k(of.case, used[:, tally.COOLEST]),
        "cost": cost,
        "co2_kg": carbon,
    }


def _account(
    of: Building, book: Ledger, ran: Ran, taker: Taker, which: np.ndarray, out: FloatArray
) -> None:
    """Fill the rows `which` of `out` with what one device takes."""
    case, can = of.case, taker.capability
    n = case.n_steps
    rows, of_use = use_rows(can, n)
    load = can.part_load
    hot: BoolArray = np.zeros(n, dtype=bool) if can.hot is None else can.hot
    _, added, added_rest, running, running_rest, _ = ran.steps[:ACCOUNTED]
    kernel.tally_device()(
        case.step_s, case.steps_per_hour, air.vapour_enthalpy(case.t_air_c),
        3600.0 * case.hourly_mean(case.heating_w), energy.spare_j(case), energy.blower_share(case),
        book.hours.cooling, energy.kept_in_an_hour(case),
        *energy.prices(case.heat_source, case), per_heat(taker.heater, of), rows, of_use,
        _column(can.beside, n),
        can.available_s(case.step_s),
        hot.astype(np.float64), can.standby_w, can.resting_feed_kg_s,
        _column(can.resting_heat_w, n), _column(can.resting_line_w, n),
        np.empty((0, 2)) if load is None else np.array(load.points),
        0.0 if load is None else load.rate_kg_s, 1 if load is None else load.units, which,
        added, added_rest, running, running_rest, out,
    )  # fmt: skip


def per_heat(source: HeatSource | None, of: Building) -> FloatArray:
    """Return the energy bought for a unit of heat in each hour; NaN is not known. [-]."""
    return energy.prices(source, of.case)[0]


def _column(value: FloatArray | float, n: int) -> FloatArray:
    return np.ascontiguousarray(np.broadcast_to(value, n), dtype=np.float64)


def use_rows(can: Capability, n: int) -> tuple[FloatArray, np.ndarray]:
    """Return the distinct rows of what a device uses, and which each use has in each mode."""
    values: list[FloatArray | float] = [0.0]
    seen: dict[float | int, int] = {0.0: 0}
    of_use = np.zeros((len(USES), 2, 2), dtype=np.int64)

    def row(value: FloatArray | float) -> int:
        # One number, or one array used twice, needs one row.
        key = float(value) if np.ndim(value) == 0 else id(value)
        if key not in seen:
            seen[key] = len(values)
            values.append(value)
        return seen[key]

    for m, mode in enumerate((can.heat, can.added)):
        if mode is None:
            continue
        for k, name in enumerate(USES):
            use: Use = getattr(mode, name)
            of_use[k, m] = row(use.per_s), row(use.per_kg)
    rows = np.empty((len(values), n))
    for k, value in enumerate(values):
        rows[k] = value
    return rows, of_use
