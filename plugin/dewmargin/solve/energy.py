r"""Energy of humidifying: heat for feed and room, electricity, fuel, money and carbon.

Two accounts are kept apart. *Heat* is what water and room receive: always known where the physics
is. *Energy bought* is what heater and plant take for it, and known only as far as their efficiency
and carrier are given; money and carbon need a tariff besides. What is not known is NaN or None,
never 0.

For each kilogram of vapour, whatever the temperature of the feed:

.. math::
    q_{room} + q_{heater} = h_g(T_{room}) - c_w T_{cold} + \frac{D}{E} c_w (T_d - T_{cold})
    + q_{line}

so that hot feed moves heat from the room to the water heater and saves none, but for what drains
warmer or colder (D, T_d) and what the line loses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from dewmargin import kernel

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dewmargin.case import HeatSource, HourlyCase
    from dewmargin.columns import BoolArray, FloatArray
    from dewmargin.solve.balance import Outcome
    from dewmargin.space.tariff import Tariff

J_PER_KWH = 3.6e6
L_PER_M3 = 1000.0
_USUAL_FADE_H = 48.0  # where not known: 10 kWh/K losing 210 W/K, a house (from memory)


_NO_SUM = ("envelope_heat_kwh", "owed_heat_kwh")  # terms of the hourly balance alone


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Energy:
    """Heat and energy of an option, hour by hour; NaN is not known. [kWh].

    Attributes
    ----------
    feed_heat_kwh : float64 array, shape (n_hours,)
        Heat that the water heater put into the feed.
    makeup_heat_kwh : float64 array, shape (n_hours,)
        Heat that the plant supplies beyond what it would without humidifier; below 0 it saves.
    water_heating_kwh, space_heating_kwh : float64 array, shape (n_hours,)
        Energy bought for these.
    fan_kwh, device_kwh : float64 array, shape (n_hours,)
        Electricity of fans run for it, and of the device.
    fuel_kwh : float64 array, shape (n_hours,)
        Fuel of the device.
    line_heat_kwh : float64 array, shape (n_hours,)
        Heat that the feed gives to the space on its way.
    unmet_heat_kwh : float64 array, shape (n_hours,)
        What the plant, at its limit, could not give of the hour's own need.
    cooling_heat_kwh : float64 array, shape (n_hours,)
        Heat that mechanical cooling need not remove; below 0 it must remove more.
    envelope_heat_kwh : float64 array, shape (n_hours,)
        What the room loses the less, since it is cooler than without humidifier.
    owed_heat_kwh : float64 array, shape (n_hours,)
        What the room is owed at the end of the hour.
    cooler_k : float
        How much cooler the room gets, at most, while the plant is at its limit. [K]
    """

    feed_heat_kwh: FloatArray
    makeup_heat_kwh: FloatArray
    water_heating_kwh: FloatArray
    space_heating_kwh: FloatArray
    fan_kwh: FloatArray
    device_kwh: FloatArray
    fuel_kwh: FloatArray
    line_heat_kwh: FloatArray
    unmet_heat_kwh: FloatArray
    cooling_heat_kwh: FloatArray
    envelope_heat_kwh: FloatArray
    owed_heat_kwh: FloatArray
    cooler_k: float

    def year(self) -> dict[str, float]:
        """Return the sums over all hours, by name; NaN is not known. [kWh]."""
        sums = {f.name: float(np.sum(getattr(self, f.name))) for f in fields(self)}
        return {name: total for name, total in sums.items() if name not in _NO_SUM}


def energy_hours(case: HourlyCase, outcome: Outcome, *, water_heater: HeatSource | None) -> Energy:
    r"""Return what an option takes, hour by hour.

    .. math::
        \Delta Q = \min(\max(Q + D, 0) - Q, Q_{spare}), \qquad
        D = q_{room} - P_{fan} + D_{before}\,e^{-1\,h/\tau}

    in hours in which the plant heats, Q being its heat. While it rests and the room floats between
    its set-points, what evaporates cools the room: that is owed, and made up when the plant heats
    again, less what the cooler room loses the less until then. So is what steam brings beyond the
    plant's heat, and what the plant at its limit cannot give. Mechanical cooling ends what is owed:
    it removes the less. The fan's electricity stays in the air as heat, that of the blower while
    the plant runs the longer too. So each hour closes:

    .. math::
        q_{room} - P_{fan} + D_{before} = \Delta Q + q_{envelope} + q_{cooling} + D

    Parameters
    ----------
    case : HourlyCase
    outcome : Outcome
        Of an equipment on a supply.
    water_heater : HeatSource or None
        What heating the feed takes; None is not known.

    Notes
    -----
    *Validity.* The room's time constant is that of the house; in a simulation it is not known:
    48 h, which is 7 % too much for a room of 24 h that floats for half of each day, 4 % too little
    for one of 96 h (tested), and less than that where the plant rests less.

    *Source.* First law of a room of one heat capacity, for the departure of its temperature from
    that without a humidifier.
    """
    blower = blower_share(case)
    need_j = outcome.space_heat_j - np.nan_to_num(outcome.fan_j)
    made = _made_up(case, need_j, np.nan_to_num(blower))
    blown_j = np.where(made.made_j == 0.0, 0.0, made.made_j * blower)
    limited = made.unmet_j > 0.0
    coolest_j = float(np.max(made.owed_j, where=limited, initial=0.0))
    return Energy(
        feed_heat_kwh=outcome.feed_heat_j / J_PER_KWH,
        makeup_heat_kwh=made.made_j / J_PER_KWH,
        water_heating_kwh=_bought(outcome.feed_heat_j, water_heater, case) / J_PER_KWH,
        space_heating_kwh=_bought(made.made_j, case.heat_source, case) / J_PER_KWH,
        fan_kwh=(outcome.fan_j + blown_j) / J_PER_KWH,
        device_kwh=outcome.device_j / J_PER_KWH,
        fuel_kwh=outcome.fuel_j / J_PER_KWH,
        line_heat_kwh=outcome.line_j / J_PER_KWH,
        unmet_heat_kwh=made.unmet_j / J_PER_KWH,
        cooling_heat_kwh=made.cooled_j / J_PER_KWH,
        envelope_heat_kwh=made.faded_j / J_PER_KWH,
        owed_heat_kwh=made.owed_j / J_PER_KWH,
        cooler_k=float(cooler_k(case, np.array([coolest_j]))[0]),
    )


def kept_in_an_hour(case: HourlyCase) -> float:
    """Return how much of a room's departure in temperature is left after an hour. [-]."""
    fade_h = _USUAL_FADE_H if case.time_constant_h is None else case.time_constant_h
    return math.exp(-1.0 / fade_h)


def spare_j(case: HourlyCase) -> FloatArray:
    """Return what the plant could give beyond what it gives, in each hour; may be infinite. [J]."""
    spare_w = np.broadcast_to(case.heating_limit_w, case.n_steps) - case.heating_w
    return 3600.0 * np.maximum(case.hourly_mean(spare_w), 0.0)


def blower_share(case: HourlyCase) -> FloatArray:
    """Return the blower's electricity for each joule of the plant's heat; NaN is not known. [-].

    None where it runs all the time, and without ducts.
    """
    system = case.air_system
    if system is None or system.blower_frac is not None:
        return np.zeros(case.n_hours)
    output_w = np.broadcast_to(system.output_w, case.n_steps)
    runs = (output_w > 0.0) & np.isfinite(output_w)
    return case.hourly_mean(np.where(runs, system.blower_w / np.where(runs, output_w, 1.0), 0.0))


def cooler_k(case: HourlyCase, owed_j: FloatArray) -> FloatArray:
    """Return how much cooler a room is that is owed heat; NaN where its capacity is not known."""
    if case.heat_capacity_j_k is None:
        return np.where(owed_j == 0.0, 0.0, np.nan)
    return owed_j / case.heat_capacity_j_k


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _MadeUp:
    """What becomes of the heat that a room is owed, shape (n_hours,) each. [J].

    What the plant gives more (below 0 it saves), what fades, what cooling need not remove, what the
    plant cannot give, and what is owed at the end of the hour.
    """

    made_j: FloatArray
    faded_j: FloatArray
    cooled_j: FloatArray
    unmet_j: FloatArray
    owed_j: FloatArray


def _made_up(case: HourlyCase, need_j: FloatArray, blower: FloatArray) -> _MadeUp:
    heat_j = 3600.0 * case.hourly_mean(case.heating_w)
    cools: BoolArray = case.hourly_mean(case.cooling) > 0.0
    kept = kept_in_an_hour(case)
    found = np.zeros((5, case.n_hours))
    kernel.tally_owings()(kept, heat_j, need_j, spare_j(case), blower, cools, found)
    made, faded, cooling, unmet, owed = found
    return _MadeUp(made_j=made, faded_j=faded, cooled_j=cooling, unmet_j=unmet, owed_j=owed)


def prices(
    source: HeatSource | None, case: HourlyCase
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what a unit of heat takes in each hour, up to how much, and what beyond. [-, J, -].

    NaN is not known.
    """
    if source is None:
        unknown = np.full(case.n_hours, np.nan)
        return unknown, np.full(case.n_hours, np.inf), unknown
    per_heat = case.hourly_mean(source.energy_per_heat)
    spare_w = np.broadcast_to(source.spare_w, case.n_steps)
    beyond = per_heat
    if source.beyond_per_heat is not None:
        beyond = case.hourly_mean(source.beyond_per_heat)
    return per_heat, 3600.0 * case.hourly_mean(spare_w), beyond


def _bought(heat_j: FloatArray, source: HeatSource | None, case: HourlyCase) -> FloatArray:
    per_heat, spare_j, beyond = prices(source, case)
    within_j = np.minimum(heat_j, spare_j)
    return np.where(heat_j == 0.0, 0.0, within_j * per_heat + (heat_j - within_j) * beyond)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bill:
    """What an option costs in the record, and its carbon; None is not known, `lacking` says why."""

    cost: float | None
    co2_kg: float | None
    lacking: tuple[str, ...]


def bill(
    kwh: Mapping[str, float],
    *,
    feed_kg: float,
    added_kg: float,
    tariff: Tariff | None,
    heater_carrier: str | None,
    plant_carrier: str | None,
) -> Bill:
    """Price an option's year.

    Parameters
    ----------
    kwh : mapping of str to float
        Energy bought, by the names of `Energy`; NaN is not known. [kWh]
    feed_kg, added_kg : float
        Water fed, and what of it became vapour. [kg]
    tariff : Tariff or None
        Without one nothing is known, and nothing is lacking.
    heater_carrier, plant_carrier : str or None
        What water heater and heating plant buy; None is not known.

    Notes
    -----
    A device's own fuel is gas. Waste water is billed by the supply or by the drain, as the tariff
    says; without a price of its own it costs nothing.
    """
    if tariff is None:
        return Bill(cost=None, co2_kg=None, lacking=())
    bought, lacking = _by_carrier(kwh, heater_carrier, plant_carrier)
    known = not lacking
    prices = {carrier: tariff.price(carrier) for carrier in bought}
    carbons = {carrier: tariff.carbon(carrier) for carrier in bought}
    for what, found in (("price", prices), ("carbon", carbons)):
        lacking += [f"the {what} of {c.replace('_', ' ')}" for c, v in found.items() if v is None]
    cost = _total(bought, prices) if known else None
    co2_kg = _total(bought, carbons) if known else None
    if tariff.water_per_m3 is None:
        lacking.append("the price of water")
        cost = None
    elif cost is not None:
        fed_m3 = feed_kg / L_PER_M3
        drained_m3 = fed_m3 - added_kg / L_PER_M3
        waste_m3 = fed_m3 if tariff.sewer_counts == "supply" else drained_m3
        cost += tariff.water_per_m3 * fed_m3 + (tariff.sewer_per_m3 or 0.0) * waste_m3
    return Bill(cost=cost, co2_kg=co2_kg, lacking=tuple(lacking))


def _by_carrier(
    kwh: Mapping[str, float], heater_carrier: str | None, plant_carrier: str | None
) -> tuple[dict[str, float], list[str]]:
    """Return the energy bought of each carrier [kWh], and what of it is not known."""
    lacking: list[str] = []
    bought: dict[str, float] = {}
    for what, name, carrier in (
        ("the fans", "fan_kwh", "electricity"),
        ("the device", "device_kwh", "electricity"),
        ("the device's fuel", "fuel_kwh", "gas"),
        ("heating the feed", "water_heating_kwh", heater_carrier),
        ("heating the room", "space_heating_kwh", plant_carrier),
    ):
        total = kwh[name]
        if math.isnan(total):
            lacking.append(f"the energy of {what}")
        elif total != 0.0 and carrier is not None:
            bought[carrier] = bought.get(carrier, 0.0) + total
    return bought, lacking


def _total(bought: dict[str, float], each: dict[str, float | None]) -> float | None:
    """Return the sum of amounts times a value each, or None if one has none."""
    total = 0.0
    for carrier, kwh in bought.items():
        value = each[carrier]
        if value is None:
            return None
        total += value * kwh
    return total
