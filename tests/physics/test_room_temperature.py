"""The thermal balance against a day worked by hand, and the laws it must keep."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from dewmargin.errors import OutOfRangeError
from dewmargin.physics import room_temperature


def run(hours: int, **changes: object) -> room_temperature.RoomYear:
    """Return a room of K = 200 W/K and C = 10 kWh/K (50 h) at -10 °C with 800 W, changed."""
    columns = {
        "t_out_c": np.full(hours, -10.0),
        "loss_w_k": np.full(hours, 200.0),
        "gains_w": np.full(hours, 800.0),
        "heating_set_c": np.full(hours, 20.0),
    }
    rest = {
        "cooling_set_c": None,
        "heat_capacity_wh_k": 10_000.0,
        "heating_limit_w": np.inf,
        "step_s": 3600.0,
        "warmup_steps": 0,
    }
    inputs = {**columns, **rest, **changes}
    limit = np.broadcast_to(inputs["heating_limit_w"], inputs["t_out_c"].shape)
    return room_temperature.room_year(**(inputs | {"heating_limit_w": limit}))


def test_a_day_with_set_back_worked_by_hand() -> None:
    # K = 200 W/K, C = 10 kWh/K: the time constant is 50 h. -10 °C outdoors and 800 W inside would
    # leave the room at -10 + 800/200 = -6 °C. Thermostat 17 °C for 8 h from 22:00, then 20 °C; the
    # plant gives 8 kW, with which the room would go to -6 + 8000/200 = 34 °C.
    # The same day before it, as warm-up, leaves the room at 20 °C.
    night, day = [17.0] * 8, [20.0] * 16
    got = run(24, heating_set_c=np.array(night + day), heating_limit_w=8000.0, warmup_steps=24)
    assert got.t_start_c == pytest.approx(20.0)

    # Hours 1 to 6: no heat, T = -6 + 26 exp(-t/50); it would meet 17 °C at 50 ln(26/23) = 6.13 h.
    hours = np.arange(1, 7)
    assert got.t_end_c[:6] == pytest.approx(-6.0 + 26.0 * np.exp(-hours / 50.0))
    assert got.t_end_c[5] == pytest.approx(17.06, abs=0.005)
    assert got.heating_w[:6].tolist() == [0.0] * 6
    # Mean of hour 1: -6 + 26 x 50 (1 - exp(-1/50)) = 19.742 °C.
    assert got.t_air_c[0] == pytest.approx(-6.0 + 26.0 * 50.0 * (1.0 - exp(-1.0 / 50.0)))
    # Hour 7: unheated it would end at -6 + 26 exp(-7/50) = 16.603 °C; the heat that ends it at
    # 17 °C is 200 (17 - 16.603)/(1 - exp(-1/50)) = 4010 W.
    lift = 200.0 / (1.0 - exp(-1.0 / 50.0))
    assert got.t_end_c[6] == pytest.approx(17.0)
    assert got.heating_w[6] == pytest.approx(lift * (23.0 - 26.0 * exp(-7.0 / 50.0)))
    assert got.heating_w[6] == pytest.approx(4010.0, abs=5.0)
    # Hour 8: held at 17 °C by 200 x 27 - 800 = 4600 W.
    assert got.heating_w[7] == pytest.approx(4600.0)
    assert got.t_air_c[7] == pytest.approx(17.0)
    # Hours 9 to 17: at capacity, T = 34 - 17 exp(-t/50); 20 °C at 50 ln(17/14) = 9.71 h.
    hours = np.arange(1, 10)
    assert got.heating_w[8:17].tolist() == [8000.0] * 9
    assert got.t_end_c[8:17] == pytest.approx(34.0 - 17.0 * np.exp(-hours / 50.0))
    # Hour 18: the heat that ends it at 20 °C.
    unheated = -6.0 + (40.0 - 17.0 * exp(-9.0 / 50.0)) * exp(-1.0 / 50.0)
    assert got.heating_w[17] == pytest.approx(lift * (20.0 - unheated))
    assert got.t_end_c[17] == pytest.approx(20.0)
    # Hours 19 to 24: held at 20 °C by 200 x 30 - 800 = 5200 W.
    assert got.heating_w[18:] == pytest.approx(5200.0)
    assert got.t_air_c[18:] == pytest.approx(20.0)
    # The day ends as it began, so its heat is its loss less the gains.
    loss_wh = np.sum(200.0 * (got.t_air_c + 10.0))
    assert np.sum(got.heating_w) == pytest.approx(loss_wh - 24.0 * 800.0)
    assert np.sum(got.cooling_w) == 0.0


def test_cooling_holds_its_temperature_and_takes_what_the_room_gains() -> None:
    # 30 °C outdoors, 800 W inside: at 25 °C the cooling takes 200 x 5 + 800 = 1800 W.
    got = run(
        200,
        t_out_c=np.full(200, 30.0),
        cooling_set_c=25.0,
    )

    assert got.t_end_c.max() == pytest.approx(25.0)
    assert got.cooling_w[-1] == pytest.approx(1800.0)
    assert np.sum(got.heating_w) == 0.0


def test_without_cooling_the_room_floats_to_its_balance() -> None:
    # 30 + 800/200 = 34 °C, after 40 time constants.
    got = run(2000, t_out_c=np.full(2000, 30.0))

    assert got.t_end_c[-1] == pytest.approx(34.0)
    assert np.sum(got.cooling_w) == 0.0


def test_a_warm_up_leaves_the_room_where_the_year_will_leave_it() -> None:
    # Unheated, the room stays within the range of its balance, -13 + 4 = -9 to 7 °C, so a start at
    # the thermostat's 20 °C is at most 29 K off. 14 days are 6.72 time constants.
    hours = 40 * 24
    t_out_c = -5.0 + 8.0 * np.sin(2.0 * np.pi * np.arange(hours) / hours)
    got = run(hours, t_out_c=t_out_c, heating_limit_w=0.0, warmup_steps=14 * 24)

    assert got.t_start_c == pytest.approx(got.t_end_c[-1], abs=29.0 * exp(-6.72))


def test_a_year_that_does_not_wrap_starts_at_the_thermostat() -> None:
    assert run(3).t_start_c == 20.0


@given(
    t_out_c=st.floats(-30.0, 30.0), loss_w_k=st.floats(10.0, 2000.0), gains_w=st.floats(0.0, 5e3)
)
def test_an_hour_is_sixty_minutes(t_out_c: float, loss_w_k: float, gains_w: float) -> None:
    # Exact steps: with constant inputs the length of the step must not matter. No heating, since
    # its size is chosen per step.
    def end(n: int, step_s: float) -> room_temperature.RoomYear:
        return run(
            n,
            t_out_c=np.full(n, t_out_c),
            loss_w_k=np.full(n, loss_w_k),
            gains_w=np.full(n, gains_w),
            heating_limit_w=0.0,
            step_s=step_s,
        )

    hour, minutes = end(1, 3600.0), end(60, 60.0)

    # Sixty roundings of numbers up to 500.
    assert minutes.t_end_c[-1] == pytest.approx(hour.t_end_c[0], rel=1e-12, abs=1e-11)
    assert minutes.t_air_c.mean() == pytest.approx(hour.t_air_c[0], rel=1e-12, abs=1e-11)


HOURS = 30


def hourly(low: float, high: float) -> st.SearchStrategy:
    return hnp.arrays(np.float64, HOURS, elements=st.floats(low, high))


rooms = st.fixed_dictionaries(
    {
        "t_out_c": hourly(-40.0, 40.0),
        "loss_w_k": hourly(1.0, 3000.0),
        "gains_w": hourly(0.0, 1e4),
        "heating_set_c": hourly(15.0, 22.0),
        "cooling_set_c": st.one_of(st.none(), st.floats(23.0, 28.0)),
        "heat_capacity_wh_k": st.floats(100.0, 5e4),
        "heating_limit_w": st.one_of(st.just(np.inf), st.floats(0.0, 3e4)),
        "warmup_steps": st.integers(0, HOURS),
    }
)


@settings(max_examples=60)
@given(room=rooms)
def test_energy_is_conserved_in_every_step(room: dict) -> None:
    got = run(HOURS, **room)

    before = np.concatenate([[got.t_start_c], got.t_end_c[:-1]])
    stored_w = room["heat_capacity_wh_k"] * (got.t_end_c - before)
    lost_w = room["loss_w_k"] * (got.t_air_c - room["t_out_c"])
    supplied_w = got.heating_w - got.cooling_w + room["gains_w"]
    # Rounding of 1e-16 in temperatures of up to 1e4 K (small loss, large gain), times C.
    np.testing.assert_allclose(stored_w, supplied_w - lost_w, rtol=1e-9, atol=1e-5)


@settings(max_examples=60)
@given(room=rooms)
def test_heating_and_cooling_keep_to_their_limits(room: dict) -> None:
    got = run(HOURS, **room)

    assert np.all(got.heating_w >= 0.0)
    assert np.all(got.cooling_w >= 0.0)
    assert np.all(got.heating_w <= room["heating_limit_w"])
    assert np.all((got.heating_w == 0.0) | (got.cooling_w == 0.0))
    below = got.t_end_c < room["heating_set_c"] - 1e-6
    assert np.all(got.heating_w[below] == room["heating_limit_w"])
    heated = got.heating_w > 0.0
    assert np.all(got.t_end_c[heated] <= room["heating_set_c"][heated] + 1e-6)
    if room["cooling_set_c"] is not None:
        assert np.all(got.t_end_c <= room["cooling_set_c"] + 1e-6)


def test_a_missing_temperature_is_refused_with_its_place() -> None:
    with pytest.raises(OutOfRangeError) as caught:
        run(3, t_out_c=np.array([1.0, np.nan, 2.0]))

    assert str(caught.value) == (
        "room_year: t_out_c: must be finite, but 1 of 3 values are not, the first at index 1"
    )


def test_a_room_without_heat_loss_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="room_year: loss_w_k: must be at least"):
        run(3, loss_w_k=np.array([200.0, 0.0, 200.0]))
