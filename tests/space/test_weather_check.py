"""The cross-check of a run with a weather file: the engine's interpolation, written out slowly."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dewmargin.errors import InputError
from dewmargin.space.weather_check import Site, require_same_weather
from dewmargin.weather.epw import Weather, read_epw
from references import psychrolib_oracle

LARCH = Path(__file__).parents[2] / "weather" / "larch_valley.epw"


@pytest.fixture(scope="module")
def weather() -> Weather:
    return read_epw(LARCH)


def simulated(weather: Weather, first: int, n_hours: int, n: int, *, hourly: bool) -> Site:
    """Return what the engine would report of some hours of a file.

    Temperature by the rule of EnergyPlus: hourly means (N+1)/2N of the row and (N−1)/2N of the row
    before, steps k/N and 1 − k/N. Humidity step by step, by psychrolib.
    """
    psychrolib = psychrolib_oracle.load()
    t_hours, t_steps, w = [], [], []
    for i in range(first, first + n_hours):
        t, t0 = weather.t_out_c[i], weather.t_out_c[i - 1]
        t_hours.append((n + 1) / (2 * n) * t + (n - 1) / (2 * n) * t0)
        for k in range(1, n + 1):
            now, rh, p = (
                k / n * values[i] + (1 - k / n) * values[i - 1]
                for values in (weather.t_out_c, weather.rh_frac, weather.p_pa)
            )
            t_steps.append(now)
            w.append(psychrolib.GetHumRatioFromRelHum(now, rh, p))
    per_hour = 1 if hourly else n
    start = weather.interval_start[first].astype("datetime64[s]")
    return Site(
        file="eplusout.sql",
        interval_start=start
        + np.arange(n_hours * per_hour) * np.timedelta64(3600 // per_hour, "s"),
        steps_per_hour=per_hour,
        engine_steps_per_hour=n,
        t_out_c=np.array(t_hours if hourly else t_steps),
        w_out_kg_kg=np.array(w).reshape(n_hours, n).mean(axis=1) if hourly else np.array(w),
    )


@pytest.mark.parametrize("hourly", [True, False], ids=["hourly", "every step"])
@pytest.mark.parametrize("n", [1, 4, 6], ids=["1 step", "4 steps", "6 steps"])
def test_the_file_that_was_simulated_is_accepted(weather, n, hourly):
    assert require_same_weather(weather, simulated(weather, 300, 48, n, hourly=hourly)) == []


def test_the_first_hour_is_not_compared(weather):
    # What the engine takes for the row before its first is not told.
    site = simulated(weather, 300, 48, 6, hourly=True)
    site.t_out_c[0] += 5.0

    assert require_same_weather(weather, site) == []


def test_another_year_of_the_calendar_is_the_same_weather(weather):
    site = simulated(weather, 300, 48, 6, hourly=True)
    later = replace(site, interval_start=site.interval_start + np.timedelta64(4 * 365 + 1, "D"))

    assert require_same_weather(weather, later) == []


def test_a_single_wrong_hour_is_shown(weather):
    site = simulated(weather, 300, 48, 6, hourly=True)
    site.t_out_c[30] += 0.06

    with pytest.raises(InputError) as caught:
        require_same_weather(weather, site)

    t = weather.t_out_c
    expected = 7 / 12 * t[330] + 5 / 12 * t[329]
    assert str(caught.value) == (
        f"{LARCH}: is not the weather of the run eplusout.sql: dry bulb differs in 1 of 48 steps, "
        f"in °C: 01-14 18:00 {expected:.2f} in the file and {expected + 0.06:.2f} in the run "
        "(name the weather file that was simulated, or leave [weather] out)"
    )


def test_a_difference_within_the_tolerance_passes(weather):
    site = simulated(weather, 300, 48, 6, hourly=True)
    site.t_out_c[30] += 0.04
    site.w_out_kg_kg[31] *= 1.009

    assert require_same_weather(weather, site) == []


@pytest.mark.parametrize(
    ("shift", "cause"),
    [
        pytest.param(1, "the run is one hour behind the file", id="the run is late"),
        pytest.param(-1, "the run is one hour ahead of the file", id="the run is early"),
    ],
)
def test_a_shifted_hour_is_named(weather, shift, cause):
    site = simulated(weather, 300, 48, 6, hourly=True)
    late = replace(site, interval_start=site.interval_start + shift * np.timedelta64(1, "h"))

    with pytest.raises(InputError) as caught:
        require_same_weather(weather, late)

    assert caught.value.hint == f"{cause}: was it changed after the simulation?"


def test_another_reading_of_humidity_is_told_from_another_file(weather):
    # A frost point read as a relative humidity: 1 g/kg and less in this winter, so that only a
    # share of the value tells.
    site = simulated(weather, 300, 48, 6, hourly=True)
    read_otherwise = replace(site, w_out_kg_kg=1.03 * site.w_out_kg_kg)

    with pytest.raises(InputError) as caught:
        require_same_weather(weather, read_otherwise)

    assert caught.value.what.startswith(
        "is not the weather of the run eplusout.sql: humidity ratio differs in 47 of 48 steps, "
        "in g/kg: 01-13 13:00 "
    )
    assert caught.value.hint == (
        "temperatures agree: the run read its humidity otherwise, or the file's relative humidity "
        "was changed; leave [weather] out to use the run's own"
    )


def test_hours_that_the_file_does_not_have_are_refused(weather):
    site = simulated(weather, 300, 48, 6, hourly=True)
    leap = np.datetime64("2020-02-28T12:00:00") + np.arange(48) * np.timedelta64(1, "h")

    with pytest.raises(InputError) as caught:
        require_same_weather(weather, replace(site, interval_start=leap))

    assert str(caught.value) == (
        f"{LARCH}: has no hour 02-29 00:00, which the run eplusout.sql has "
        "(name the weather file that was simulated, or leave [weather] out)"
    )


def test_a_filled_gap_may_differ_in_the_two_hours_that_it_reaches(weather):
    site = simulated(weather, 300, 48, 6, hourly=True)
    site.t_out_c[30:32] += 1.0
    filled = replace(weather, filled={"t_out_c": 1})

    assert require_same_weather(filled, site) == []
    site.t_out_c[40] += 1.0
    with pytest.raises(InputError):
        require_same_weather(filled, site)


def test_a_file_of_other_steps_than_the_run_s_is_refused(weather):
    site = simulated(weather, 300, 48, 6, hourly=True)

    with pytest.raises(InputError) as caught:
        require_same_weather(replace(weather, steps_per_hour=4), site)

    assert str(caught.value) == (
        f"{LARCH}: has 4 records an hour, but the run eplusout.sql took 6 steps, which the engine "
        "accepts of hourly files only (name the weather file that was simulated, or leave [weather]"
        " out)"
    )
