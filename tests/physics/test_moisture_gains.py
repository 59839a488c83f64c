"""Moisture gains: the table of design rates, the daily profile, and that no mass is lost."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dewmargin.errors import OutOfRangeError
from dewmargin.physics import air, moisture_gains


@pytest.mark.parametrize(
    ("bedrooms", "kg_day"),
    [(1, 8.0), (2, 12.0), (3, 14.0), (4, 15.0), (5, 16.0), (7, 18.0)],
    ids=lambda value: f"{value:g}",
)
def test_design_rate_by_bedrooms(bedrooms: int, kg_day: float) -> None:
    # ANSI/ASHRAE 160-2009 cl. 4.3.2, from memory.
    assert moisture_gains.design_rate(bedrooms) == kg_day


def test_a_house_without_bedrooms_has_no_design_rate() -> None:
    with pytest.raises(OutOfRangeError) as caught:
        moisture_gains.design_rate(0)

    assert str(caught.value) == "design_rate: bedrooms: must be at least 1, got 0"


def test_the_daily_profile_is_a_whole_day() -> None:
    assert len(moisture_gains.DAILY_PROFILE) == 24
    assert sum(moisture_gains.DAILY_PROFILE) == pytest.approx(1.0, abs=1e-12)


@given(
    first_hour=st.integers(0, 23),
    days=st.integers(1, 366),
    steps_per_hour=st.sampled_from([1, 2, 4, 6]),
    kg_day=st.floats(0.0, 30.0),
)
def test_no_mass_is_lost_over_whole_days(
    first_hour: int, days: int, steps_per_hour: int, kg_day: float
) -> None:
    step_s = 3600 // steps_per_hour
    start = np.datetime64("2017-01-01T00:00:00") + np.timedelta64(first_hour, "h")
    steps = start + np.arange(days * 24 * steps_per_hour) * np.timedelta64(step_s, "s")

    got = moisture_gains.moisture_gains(steps, moisture_kg_day=kg_day)

    assert got.sum() * step_s == pytest.approx(days * kg_day, rel=1e-12)


@pytest.mark.parametrize(
    ("clock", "share"),
    [
        pytest.param("00:00", 0.025, id="asleep"),
        pytest.param("06:59", 0.055, id="hour ending 7"),
        pytest.param("07:00", 0.075, id="hour ending 8, the morning's peak"),
        pytest.param("18:30", 0.075, id="hour ending 19, the evening's peak"),
        pytest.param("23:00", 0.030, id="hour ending 24"),
    ],
)
def test_a_step_takes_the_share_of_the_hour_in_which_it_starts(clock: str, share: float) -> None:
    got = moisture_gains.moisture_gains(
        np.array([f"2017-02-03T{clock}"], dtype="datetime64[s]"), moisture_kg_day=10.0
    )

    assert 3600.0 * got == pytest.approx([10.0 * share])


def test_negative_moisture_is_refused() -> None:
    with pytest.raises(OutOfRangeError) as caught:
        moisture_gains.moisture_gains(
            np.array(["2017-01-01"], dtype="datetime64[s]"), moisture_kg_day=-1.0
        )

    assert str(caught.value) == "moisture_gains: moisture_kg_day: must be at least 0, got -1"


@pytest.mark.parametrize(
    ("latent_w", "g_h"),
    [
        pytest.param(45.0, 66.0, id="seated, very light work: 66 g/h"),
        pytest.param(140.0, 205.0, id="light bench work: 205 g/h"),
        pytest.param(255.0, 374.0, id="heavy work: 374 g/h"),
    ],
)
def test_latent_heat_of_people_turns_into_grams(latent_w: float, g_h: float) -> None:
    # Latent watts: Handbook of Fundamentals 2009 and 2013 ch. 18 Table 1, as reproduced in public;
    # grams computed with 2454 kJ/kg, the latent heat at 20 °C, printed to 1 g. Ours is the vapour's
    # enthalpy less the water's, from the constants of the moist-air relations.
    t_c = 20.0
    latent_j_kg = float(air.enthalpy(t_c, 1.0) - air.enthalpy(t_c, 0.0)) - air.CP_WATER * t_c

    assert 3.6e6 * latent_w / latent_j_kg == pytest.approx(g_h, abs=0.51)
