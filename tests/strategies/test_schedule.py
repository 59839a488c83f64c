"""Schedules: which period holds at a moment."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import small_case
from dewmargin.strategies.schedule import Schedule

OTHERWISE, HELD, SECOND = 0.30, 0.40, 0.20
NIGHT = {"from_h": 22, "to_h": 6}
HOME = {"from_h": 17, "to_h": 8, "days": ["mon", "tue", "wed", "thu", "fri"]}


def held_at(moment: str, *periods: dict, **keys: object) -> float:
    """Return what a schedule holds in the hour that begins at a moment."""
    start = np.array([np.datetime64(moment, "s")])
    rule = Schedule(name="x", rh=OTHERWISE, periods=periods, **keys)
    return float(rule.setpoint(replace(small_case(1), interval_start=start))[0])


# 2017-01-01 is a Sunday, 2016 a leap year.
MOMENTS = {
    # hours of the day
    "before a period": ("2017-01-10T05:00", {"from_h": 6, "to_h": 9}, False),
    "first hour": ("2017-01-10T06:00", {"from_h": 6, "to_h": 9}, True),
    "last hour": ("2017-01-10T08:00", {"from_h": 6, "to_h": 9}, True),
    "the hour it ends": ("2017-01-10T09:00", {"from_h": 6, "to_h": 9}, False),
    "from an hour to midnight": ("2017-01-10T23:00", {"from_h": 20}, True),
    "midnight is the next day": ("2017-01-11T00:00", {"from_h": 20}, False),
    "from midnight to an hour": ("2017-01-10T00:00", {"to_h": 6}, True),
    "half an hour": ("2017-01-10T06:30", {"from_h": 6.5, "to_h": 7}, True),
    # past midnight
    "evening of a night": ("2017-01-10T22:00", NIGHT, True),
    "morning of a night": ("2017-01-10T05:00", NIGHT, True),
    "end of a night": ("2017-01-10T06:00", NIGHT, False),
    "noon of a night": ("2017-01-10T12:00", NIGHT, False),
    # days of the week
    "Saturday is a weekend": ("2017-01-07T12:00", {"days": ["sat", "sun"]}, True),
    "Sunday is a weekend": ("2017-01-08T12:00", {"days": ["sat", "sun"]}, True),
    "Monday is none": ("2017-01-09T00:00", {"days": ["sat", "sun"]}, False),
    "Friday's night begins on Friday": ("2017-01-06T23:00", NIGHT | {"days": ["fri"]}, True),
    "Friday's night ends on Saturday": ("2017-01-07T05:00", NIGHT | {"days": ["fri"]}, True),
    "Friday's morning is Thursday's night": (
        "2017-01-06T05:00",
        NIGHT | {"days": ["fri"]},
        False,
    ),
    # dates
    "first date": ("2017-03-01T00:00", {"from_date": "03-01", "to_date": "04-30"}, True),
    "last date": ("2017-04-30T23:00", {"from_date": "03-01", "to_date": "04-30"}, True),
    "day after": ("2017-05-01T00:00", {"from_date": "03-01", "to_date": "04-30"}, False),
    "season past New Year, before it": (
        "2017-12-31T23:00",
        {"from_date": "10-15", "to_date": "03-15"},
        True,
    ),
    "season past New Year, after it": (
        "2017-01-01T00:00",
        {"from_date": "10-15", "to_date": "03-15"},
        True,
    ),
    "summer of that season": (
        "2017-07-01T00:00",
        {"from_date": "10-15", "to_date": "03-15"},
        False,
    ),
    "New Year's night belongs to the old year": (
        "2017-01-01T05:00",
        NIGHT | {"from_date": "12-31"},
        True,
    ),
    "from a date to the year's end": ("2017-12-24T00:00", {"from_date": "10-15"}, True),
    "from New Year to a date": ("2017-02-01T00:00", {"to_date": "03-15"}, True),
    "29 February of a leap year": (
        "2016-02-29T12:00",
        {"from_date": "02-29", "to_date": "02-29"},
        True,
    ),
    # all of them
    "hour, day and date": (
        "2017-01-09T07:00",
        {"from_h": 6, "to_h": 9, "days": ["mon"], "to_date": "01-31"},
        True,
    ),
    "hour and day, another date": (
        "2017-02-06T07:00",
        {"from_h": 6, "to_h": 9, "days": ["mon"], "to_date": "01-31"},
        False,
    ),
}


@pytest.mark.parametrize("name", MOMENTS)
def test_a_period_holds_at(name: str) -> None:
    moment, period, holds = MOMENTS[name]

    assert held_at(moment, period | {"rh": HELD}) == (HELD if holds else OTHERWISE)


@pytest.mark.parametrize(
    ("moment", "occupied", "holds"),
    [
        pytest.param("2017-01-10T18:00", True, True, id="evening at home"),
        pytest.param("2017-01-10T12:00", True, False, id="noon away"),
        pytest.param("2017-01-10T12:00", False, True, id="noon away, asked for"),
        pytest.param("2017-01-10T18:00", False, False, id="evening at home, asked for away"),
        pytest.param("2017-01-07T07:00", True, True, id="Saturday morning of Friday's night"),
        pytest.param("2017-01-07T12:00", True, False, id="no hours on Saturday"),
    ],
)
def test_a_period_may_ask_who_is_there(moment: str, occupied: bool, holds: bool) -> None:  # noqa: FBT001 - a row of the table
    held = held_at(moment, {"rh": HELD, "occupied": occupied}, occupied=HOME)

    assert held == (HELD if holds else OTHERWISE)


def test_the_first_period_that_matches_wins() -> None:
    morning, all_day = {"rh": HELD, "from_h": 6, "to_h": 9}, {"rh": SECOND}

    assert held_at("2017-01-10T07:00", morning, all_day) == HELD
    assert held_at("2017-01-10T12:00", morning, all_day) == SECOND
    assert held_at("2017-01-10T07:00", all_day, morning) == SECOND


@given(
    hour=st.integers(0, 24 * 800),
    from_h=st.integers(0, 23),
    to_h=st.integers(1, 24),
    days=st.sets(st.sampled_from(["mon", "tue", "wed", "thu", "fri", "sat", "sun"]), min_size=1),
)
def test_the_calendar_of_the_standard_library_agrees(hour, from_h, to_h, days) -> None:
    """Oracle: datetime, moment by moment, with a night counted to the day on which it begins."""
    if from_h == to_h:
        to_h = 24
    moment = datetime(2016, 1, 1, tzinfo=UTC) + timedelta(hours=hour)
    begins = moment - timedelta(hours=to_h if from_h > to_h else 0)
    within = from_h <= moment.hour < to_h if from_h < to_h else not to_h <= moment.hour < from_h
    expected = within and begins.strftime("%a").lower() in days

    held = held_at(
        moment.strftime("%Y-%m-%dT%H:%M"),
        {"rh": HELD, "from_h": from_h, "to_h": to_h, "days": sorted(days)},
    )

    assert (held == HELD) == expected


def test_steps_within_the_hour_follow_the_clock() -> None:
    start = np.datetime64("2017-01-10T05:00", "s") + np.arange(12) * np.timedelta64(600, "s")
    case = replace(small_case(12), interval_start=start, steps_per_hour=6)
    rule = Schedule(name="x", rh=OTHERWISE, periods=[{"rh": HELD, "from_h": 5.5, "to_h": 6}])

    assert rule.setpoint(case).tolist() == [OTHERWISE] * 3 + [HELD] * 3 + [OTHERWISE] * 6
