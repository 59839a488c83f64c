"""What a year comes to: from the hours of an option to its row in the comparison."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin import air, surfaces

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dewmargin.balance import Outcome
    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray, FloatArray, IntArray
    from dewmargin.energy import Energy

# The humidifier lands exactly on its set-point: an edge equal to it would be decided by rounding.
EDGE_SLACK = 1e-6
DEMAND_HOUR_KG = 0.01  # less is no demand
SHORTFALL_FRAC = 0.01  # of the hour's demand
SETBACK_K = 1.0  # warming within 3 h that tells the end of a set-back
SETPOINT_STEP_FRAC = 0.03  # rise of the set-point within one hour that no outdoor reset makes
CATCH_UP_H = 3

ENERGY_COLUMNS = (
    "feed_heat_kwh",
    "water_heating_kwh",
    "makeup_heat_kwh",
    "space_heating_kwh",
    "fan_kwh",
    "device_kwh",
    "fuel_kwh",
)

UNKNOWN_WITHOUT_DEMAND = (
    "demand_kg",
    "demand_peak_kg_h",
    "demand_p99_kg_h",
    "demand_after_setback_kg_h",
    "demand_h",
    "shortfall_kg",
    "shortfall_h",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours:
    """What all options of a case share, hour by hour; arrays have the shape (n_hours,).

    `t_surface_c` and `w_offset_kg_kg` have one row a surface.
    """

    interval_start: np.ndarray
    t_out_c: FloatArray
    w_out_kg_kg: FloatArray
    p_pa: FloatArray
    t_air_c: FloatArray
    exchange_kg_s: FloatArray
    cooling: BoolArray
    heating_season: BoolArray
    t_surface_c: FloatArray
    w_offset_kg_kg: FloatArray
    source_year: IntArray | None


def hours_of(case: HourlyCase, *, heating_season_below_c: float) -> Hours:
    """Return a case's hourly means; a heating-season day is colder than the limit on average."""
    shape = (case.n_hours, case.steps_per_hour)

    def mean(values: np.ndarray) -> FloatArray:
        result: FloatArray = values.reshape(*values.shape[:-1], *shape).mean(axis=-1)
        return result

    start = case.interval_start[:: case.steps_per_hour]
    t_out = mean(case.t_out_c)
    day = start.astype("datetime64[D]")
    _, index = np.unique(day, return_inverse=True)
    daily = np.bincount(index, weights=t_out) / np.bincount(index)
    n = len(case.surfaces)
    offsets = [
        np.zeros(case.n_steps) if s.w_offset_kg_kg is None else s.w_offset_kg_kg
        for s in case.surfaces
    ]
    return Hours(
        interval_start=start,
        t_out_c=t_out,
        w_out_kg_kg=mean(case.w_out_kg_kg),
        p_pa=mean(case.p_pa),
        t_air_c=mean(case.t_air_c),
        exchange_kg_s=mean(case.exchange_kg_s),
        cooling=mean(case.cooling.astype(np.float64)) > 0.0,
        heating_season=daily[index] < heating_season_below_c,
        t_surface_c=mean(np.array([s.t_surface_c for s in case.surfaces]).reshape(n, -1))
        if n
        else np.empty((0, case.n_hours)),
        w_offset_kg_kg=mean(np.array(offsets).reshape(n, -1)) if n else np.empty((0, case.n_hours)),
        source_year=None if case.source_year is None else case.source_year[:: case.steps_per_hour],
    )


def relative_humidity(hours: Hours, w_kg_kg: FloatArray) -> FloatArray:
    """Relative humidity of the hour means, as a fraction."""
    return air.relative_humidity(hours.t_air_c, w_kg_kg, hours.p_pa)


def dew_point(hours: Hours, w_kg_kg: FloatArray) -> FloatArray:
    """Dew point of the hour means, frost point below 0.01 °C. [°C]."""
    return air.dew_point(air.vapour_pressure(w_kg_kg, hours.p_pa))


def dew_margins(hours: Hours, w_kg_kg: FloatArray) -> FloatArray:
    """Dew margin of every surface, shape (n_surfaces, n_hours); below 0 it condenses. [K]."""
    return surfaces.dew_margin(
        hours.t_surface_c, np.maximum(w_kg_kg + hours.w_offset_kg_kg, 0.0), hours.p_pa
    )


def condensing(hours: Hours, w_kg_kg: FloatArray) -> BoolArray:
    """Hours in which the mean humidity exceeds a surface's saturation, (n_surfaces, n_hours)."""
    w_at_surface = (w_kg_kg + hours.w_offset_kg_kg) * (1.0 - EDGE_SLACK)
    return surfaces.condenses(hours.t_surface_c, w_at_surface, hours.p_pa)


def catch_up_hours(
    hours: Hours, rh_set_frac: FloatArray, *, starts_anew: bool, runs_while_cooling: bool
) -> BoolArray:
    """Hours whose demand belongs to a schedule more than to the building.

    Those within 3 h after the room warmed by more than 1 K (the end of a set-back, within 3 h, as
    the plant allows), after the set-point rose by more than 3 points within an hour, after cooling,
    during which nothing is held, and after the start of a part of a year. A year that wraps looks
    back into its own end.

    Parameters
    ----------
    hours : Hours
    rh_set_frac : float64 array, shape (n_hours,)
        Relative humidity to hold. [-]
    starts_anew : bool
        The record does not follow its own end.
    runs_while_cooling : bool
        The humidifier runs in hours of mechanical cooling too.
    """
    n = hours.t_air_c.size
    t_before = np.stack([np.roll(hours.t_air_c, lag) for lag in range(1, CATCH_UP_H + 1)])
    event = hours.t_air_c > t_before.min(axis=0) + SETBACK_K
    event |= rh_set_frac > np.roll(rh_set_frac, 1) + SETPOINT_STEP_FRAC
    if not runs_while_cooling:
        event |= np.roll(hours.cooling, 1)
    if starts_anew:
        event[:CATCH_UP_H] = False
        event[0] = True
    after: BoolArray = event.copy()
    for lag in range(1, min(CATCH_UP_H, n)):
        late = np.roll(event, lag)
        if starts_anew:
            late[:lag] = False
        after |= late
    return after


def comparison_row(
    hours: Hours,
    outcome: Outcome,
    *,
    demand_kg: FloatArray | None,
    catch_up: BoolArray | None,
    low_rh: float,
    high_rh: float,
) -> Mapping[str, float | None]:
    """Return the year's numbers of one option, by column; see `dewmargin.columns.COMPARISON`.

    Parameters
    ----------
    hours : Hours
    outcome : Outcome
    demand_kg : float64 array, shape (n_hours,), or None
        None for the baseline, whose demand is not a question. [kg]
    catch_up : bool array, shape (n_hours,), or None
        As `catch_up_hours`; None for the baseline.
    low_rh, high_rh : float
        Edges of the comfort band. [-]
    """
    rh = relative_humidity(hours, outcome.w_kg_kg)
    season = hours.heating_season
    dry = season & (rh < low_rh - EDGE_SLACK)
    humid = season & (rh > high_rh + EDGE_SLACK)
    wet = condensing(hours, outcome.w_kg_kg)
    margins = dew_margins(hours, outcome.w_kg_kg)
    delivered = float(outcome.added_kg.sum())
    feed = float(outcome.feed_kg.sum())
    row: dict[str, float | None] = dict.fromkeys(UNKNOWN_WITHOUT_DEMAND)
    row["feed_l_per_kg"] = None
    if demand_kg is not None and catch_up is not None:
        missing = demand_kg - outcome.added_kg
        short = (missing > SHORTFALL_FRAC * demand_kg) & (missing > DEMAND_HOUR_KG)
        row |= {
            "demand_kg": float(demand_kg.sum()),
            "demand_peak_kg_h": float(demand_kg[~catch_up].max(initial=0.0)),
            "demand_p99_kg_h": float(np.quantile(demand_kg, 0.99)),
            "demand_after_setback_kg_h": float(demand_kg[catch_up].max(initial=0.0)),
            "demand_h": float(np.count_nonzero(demand_kg > DEMAND_HOUR_KG)),
            "shortfall_kg": float(missing.sum()),
            "shortfall_h": float(np.count_nonzero(short)),
        }
    if delivered > 0.0:
        row["feed_l_per_kg"] = feed / delivered
    return row | {
        "delivered_kg": delivered,
        "feed_l": feed,
        "evaporated_l": delivered,
        "drained_l": feed - delivered,
        "hot_feed_l": float(outcome.hot_feed_kg.sum()),
        "running_h": float(outcome.running_frac.sum()),
        "rh_mean_frac": float(rh[season].mean()) if season.any() else None,
        "dry_h": float(np.count_nonzero(dry)),
        "band_h": float(np.count_nonzero(season & ~dry & ~humid)),
        "humid_h": float(np.count_nonzero(humid)),
        "condensation_h": float(np.count_nonzero(wet.any(axis=0))) if len(wet) else None,
        "worst_margin_k": float(margins.min()) if len(margins) else None,
        "condensed_kg": float(outcome.condensed_kg.sum()),
        "fog_kg": float(outcome.fog_kg.sum()),
        "balance_error_kg": float(outcome.balance_error_kg.max()),
        "hours_known": float(rh.size),
    }


def energy_row(energy: Energy | None) -> dict[str, float | None]:
    """Return the year's heat and energy, by column; what is not known in some hour is None.

    The baseline (None) takes nothing. Cost and carbon are not known here.
    """
    if energy is None:
        return dict.fromkeys(ENERGY_COLUMNS, 0.0)
    totals = {name: float(getattr(energy, name).sum()) for name in ENERGY_COLUMNS}
    return {name: None if np.isnan(total) else total for name, total in totals.items()}
