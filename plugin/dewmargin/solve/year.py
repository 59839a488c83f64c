"""Year numbers of one option, from its hours: its row in the comparison."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dewmargin.solve import wetness
from dewmargin.solve.hours import EDGE_SLACK, relative_humidity

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dewmargin.columns import BoolArray, FloatArray
    from dewmargin.solve.balance import Outcome
    from dewmargin.solve.energy import Energy
    from dewmargin.solve.hours import YearHours
    from dewmargin.solve.wetness import SurfaceHours

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
    "line_heat_kwh",
    "unmet_heat_kwh",
    "cooling_heat_kwh",
    "cooler_k",
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


def catch_up_hours(
    hours: YearHours, rh_set_frac: FloatArray, *, starts_anew: bool, runs_while_cooling: bool
) -> BoolArray:
    """Hours whose demand belongs to a schedule more than to the building.

    Those within 3 h after the room warmed by more than 1 K (the end of a set-back, within 3 h, as
    the plant allows), after the set-point rose by more than 3 points within an hour, after cooling,
    during which nothing is held, and after the start of a part of a year. A year that wraps looks
    back into its own end.

    Parameters
    ----------
    hours : YearHours
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


def short_hours(demand_kg: FloatArray, added_kg: FloatArray) -> BoolArray:
    """Hours that miss more than 1 % of their demand and 0.01 kg."""
    missing = demand_kg - added_kg
    return (missing > SHORTFALL_FRAC * demand_kg) & (missing > DEMAND_HOUR_KG)


def comparison_row(
    hours: YearHours,
    outcome: Outcome,
    faces: SurfaceHours,
    *,
    demand_kg: FloatArray | None,
    catch_up: BoolArray | None,
    low_rh: float,
    high_rh: float,
) -> Mapping[str, float | None]:
    """Return the year's numbers of one option, by column; see `dewmargin.columns.COMPARISON`.

    Parameters
    ----------
    hours : YearHours
    outcome : Outcome
    faces : SurfaceHours
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
    delivered = float(outcome.added_kg.sum())
    feed = float(outcome.feed_kg.sum())
    row: dict[str, float | None] = dict.fromkeys(UNKNOWN_WITHOUT_DEMAND)
    row["feed_l_per_kg"] = None
    if demand_kg is not None and catch_up is not None:
        missing = demand_kg - outcome.added_kg
        short = short_hours(demand_kg, outcome.added_kg)
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
        "below_band_percent_h": 100.0 * float(np.maximum(low_rh - rh, 0.0)[season].sum()),
        **wetness.year_of_any(faces),
        "condensed_kg": float(outcome.condensed_kg.sum()),
        "dried_kg": float(outcome.dried_kg.sum()),
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
    return {name: None if np.isnan(total) else total for name, total in energy.year().items()}
