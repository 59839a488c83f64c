"""Lags, forecasts and rates of change of a signal."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.integrate import solve_ivp

from dewmargin.physics.series import lagged, least_ahead, rate_limited

TEMPERATURES = hnp.arrays(np.float64, st.integers(1, 60), elements=st.floats(-40.0, 40.0))


@pytest.mark.parametrize("time_constant", [0.3, 1.0, 6.5])
def test_a_lagging_sensor_follows_its_differential_equation(time_constant: float) -> None:
    """Oracle: scipy's integrator, step by step, with the integral beside the state."""
    values = np.array([3.0, 3.0, -5.0, 8.0, 8.0, 2.5])

    shown = lagged(values, time_constant=time_constant)

    at_start, means = values[0], []
    for value in values:
        run = solve_ivp(
            lambda _, y, x=value: [(x - y[0]) / time_constant, y[0]],
            (0.0, 1.0),
            [at_start, 0.0],
            rtol=1e-10,
            atol=1e-12,
        )
        at_start, mean = run.y[:, -1]
        means.append(mean)
    # 1e-7: the integrator's own tolerance over six steps.
    assert shown == pytest.approx(means, abs=1e-7)


@given(values=TEMPERATURES, time_constant=st.floats(0.01, 500.0))
def test_a_lag_stays_within_what_was_and_starts_at_the_first(values, time_constant) -> None:
    shown = lagged(values, time_constant=time_constant)

    assert shown[0] == values[0]
    assert np.all(shown <= np.maximum.accumulate(values) + 1e-9)
    assert np.all(shown >= np.minimum.accumulate(values) - 1e-9)


@given(values=TEMPERATURES, time_constant=st.floats(0.01, 500.0), cut=st.integers(1, 60))
def test_a_lag_knows_nothing_of_what_comes(values, time_constant, cut) -> None:
    whole = lagged(values, time_constant=time_constant)
    part = lagged(values[:cut], time_constant=time_constant)

    assert np.array_equal(whole[:cut], part)


def test_no_lag_gives_back_what_came() -> None:
    values = np.array([1.0, -2.0])

    assert lagged(values, time_constant=0.0) is values


@given(values=TEMPERATURES, n_steps=st.integers(0, 80))
def test_the_least_ahead_is_that_of_a_moving_window(values, n_steps) -> None:
    """Its definition, window by window."""
    least = least_ahead(values, n_steps)

    assert np.array_equal(least, [values[i:][: n_steps + 1].min() for i in range(values.size)])


@given(
    values=hnp.arrays(np.float64, 50, elements=st.floats(0.0, 1.0)),
    rise=st.floats(1e-3, 1.0),
    fall=st.floats(1e-3, 1.0),
)
def test_a_rate_limit_is_kept_and_the_target_reached_where_it_may(values, rise, fall) -> None:
    held = rate_limited(values, rise=rise, fall=fall)

    steps = np.diff(held)
    assert held[0] == values[0]
    assert np.all(steps <= rise + 1e-12)
    assert np.all(steps >= -fall - 1e-12)
    free = (steps < rise - 1e-12) & (steps > -fall + 1e-12)
    assert np.array_equal(held[1:][free], values[1:][free])


def test_a_rate_limit_that_nothing_exceeds_changes_nothing() -> None:
    values = np.array([0.3, 0.35, 0.2])

    assert np.array_equal(rate_limited(values, rise=1.0, fall=1.0), values)
