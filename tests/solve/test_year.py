"""Year numbers, from hours that can be counted on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from cases import outcome, small_case
from dewmargin.solve import year
from dewmargin.solve.hours import hours_of
from dewmargin.solve.wetness import ANY_COLUMNS, surface_hours

if TYPE_CHECKING:
    from dewmargin.solve.balance import Outcome

N = 48


def row(case, made: Outcome, **changes: object) -> dict:
    """Return the comparison row with the band 0.30 to 0.50."""
    hours = hours_of(case, heating_season_below_c=15.0)
    faces = surface_hours(case, hours, made)
    values = {"demand_kg": None, "catch_up": None, "low_rh": 0.30, "high_rh": 0.50}
    return dict(year.comparison_row(hours, made, faces, **(values | changes)))


def test_a_value_on_an_edge_belongs_to_the_band() -> None:
    case = small_case(N)
    rh = np.full(N, 0.4)
    rh[:10], rh[10:15], rh[15:18] = 0.29, 0.30, 0.30 - 1e-9
    rh[18:20], rh[20:27] = 0.50, 0.51

    counted = row(case, outcome(case, rh))

    assert (counted["dry_h"], counted["band_h"], counted["humid_h"]) == (10, 31, 7)


def test_only_days_of_the_heating_season_count_for_comfort() -> None:
    t_out = np.full(N, 30.0)
    t_out[:24] = np.linspace(-20.0, 40.0, 24)  # mean 10 °C, though it ends hot
    case = small_case(N, t_out_c=t_out)

    counted = row(case, outcome(case, np.full(N, 0.2)))

    assert counted["dry_h"] == 24


def test_shortfall_hours_need_one_per_cent_and_ten_grams() -> None:
    case = small_case(N)
    demand, added = np.zeros(N), np.zeros(N)
    demand[:5], added[:5] = 1.0, 0.985  # 15 g and 1.5 %: short
    demand[5:9], added[5:9] = 3.0, 2.98  # 20 g, but 0.7 %
    demand[9:12], added[9:12] = 0.1, 0.095  # 5 %, but 5 g
    added[12] = 0.2  # caught up later: signed

    counted = row(
        case, outcome(case, np.full(N, 0.3), added_kg=added), demand_kg=demand,
        catch_up=np.zeros(N, bool),
    )  # fmt: skip

    assert counted["shortfall_h"] == 5
    assert counted["shortfall_kg"] == pytest.approx(5 * 0.015 + 4 * 0.02 + 3 * 0.005 - 0.2)
    assert counted["demand_h"] == 12


def catch_up(case, rh: np.ndarray, *, starts_anew: bool = False) -> np.ndarray:
    """Return the hours that catch up, as a list of their numbers."""
    hours = hours_of(case, heating_season_below_c=15.0)
    return np.flatnonzero(
        year.catch_up_hours(hours, rh, starts_anew=starts_anew, runs_while_cooling=False)
    ).tolist()


def test_the_peak_leaves_out_hours_that_catch_up() -> None:
    case = small_case(N)
    demand, late = np.full(N, 1.0), np.zeros(N, bool)
    demand[[6, 7, 8, 9]], late[6:9] = (4.0, 3.0, 2.5, 1.5), True

    counted = row(case, outcome(case, np.full(N, 0.3)), demand_kg=demand, catch_up=late)

    assert counted["demand_peak_kg_h"] == 1.5
    assert counted["demand_after_setback_kg_h"] == 4.0
    # numpy's linear quantile of 44 ones and 1.5, 2.5, 3, 4: at rank 46.53 of 0…47.
    assert counted["demand_p99_kg_h"] == pytest.approx(3.0 + 0.53)


def test_a_room_that_warms_after_a_set_back_catches_up() -> None:
    t_air = np.full(N, 20.0)
    t_air[20:26] = 18.0
    t_air[26:29] = 18.5, 19.4, 20.0  # a weak furnace takes three hours
    flat = np.full(N, 0.35)

    assert catch_up(small_case(N, t_air_c=t_air), flat) == [27, 28, 29, 30, 31]


def test_a_step_of_the_set_point_catches_up_and_an_outdoor_reset_does_not() -> None:
    step, reset = np.full(N, 0.30), 0.30 + 0.0003 * np.arange(N)
    step[20:30] = 0.35
    reset[24:] += 0.02

    # A whole year follows its own end: the reset's fall from last to first hour is no rise.
    assert catch_up(small_case(N), step) == [20, 21, 22]
    assert catch_up(small_case(N), reset) == []


def test_the_hours_after_cooling_catch_up() -> None:
    cooling = np.zeros(N, bool)
    cooling[10:14] = True

    assert catch_up(small_case(N, cooling=cooling), np.full(N, 0.3)) == [*range(11, 17)]


def test_the_first_hours_of_a_part_of_a_year_catch_up() -> None:
    assert catch_up(small_case(N), np.full(N, 0.3), starts_anew=True) == [0, 1, 2]


def test_without_surfaces_condensation_is_unknown_not_zero() -> None:
    case = small_case(N, surfaces=())

    counted = row(case, outcome(case, np.full(N, 0.4)))

    for column in ANY_COLUMNS:
        assert counted[column] is None


def test_feed_per_kg_is_unknown_where_nothing_was_delivered() -> None:
    case = small_case(N)
    made = outcome(case, np.full(N, 0.3), added_kg=np.full(N, 0.5), feed_kg=np.full(N, 2.0))

    fed = row(case, made)

    assert fed["feed_l_per_kg"] == 4.0
    assert fed["drained_l"] == pytest.approx(72.0)
    assert row(case, outcome(case, np.full(N, 0.3)))["feed_l_per_kg"] is None
