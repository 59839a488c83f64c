"""Distributions of doubtful inputs against their textbook moments, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from dewmargin.errors import InputError
from dewmargin.scenario.doubts import Doubt
from stress_case import small

N = 20_000
EVENLY = (np.arange(N) + 0.5) / N

# Mean and variance by their closed forms, as any textbook has them.
MOMENTS = [
    ({"distribution": "uniform", "low": -1.0, "high": 3.0}, 1.0, 16.0 / 12.0),
    (
        {"distribution": "triangular", "low": 0.7, "mode": 0.8, "high": 1.4},
        (0.7 + 0.8 + 1.4) / 3.0,
        (0.7**2 + 0.8**2 + 1.4**2 - 0.7 * 0.8 - 0.7 * 1.4 - 0.8 * 1.4) / 18.0,
    ),
    ({"distribution": "normal", "mean": 2.0, "sd": 0.5}, 2.0, 0.25),
    (
        {"distribution": "lognormal", "median": 3.0, "sd_log": 0.4},
        3.0 * math.exp(0.08),
        9.0 * (math.exp(0.16) - 1.0) * math.exp(0.16),
    ),
]


@pytest.mark.parametrize(("spread", "mean", "variance"), MOMENTS)
def test_draws_have_the_moments_of_their_distribution(spread, mean, variance) -> None:
    """Midpoints of N equal shares leave out the outer halves of the tails: below 1e-3 of each."""
    x = np.array(Doubt(input="a.b", **spread).drawn(EVENLY))

    assert x.mean() == pytest.approx(mean, rel=1e-4)
    assert x.var() == pytest.approx(variance, rel=1e-3)
    assert np.all(np.diff(x) >= 0.0)


def test_a_choice_draws_each_value_as_often_as_it_stands_there() -> None:
    drawn = Doubt(input="a.b", distribution="choice", values=["x", "y", "y", 3]).drawn(EVENLY)

    assert [drawn.count(value) for value in ("x", "y", 3)] == [N // 4, N // 2, N // 4]
    assert Doubt(input="a.b", distribution="choice", values=[1, 2]).drawn(np.array([1.0])) == [2]


@pytest.mark.parametrize(
    "spread",
    [
        {"distribution": "uniform", "low": 2.0, "high": 2.0},
        {"distribution": "triangular", "low": 2.0, "mode": 2.0, "high": 2.0},
        {"distribution": "normal", "mean": 2.0, "sd": 0.0},
        {"distribution": "lognormal", "median": 2.0, "sd_log": 0.0},
        {"distribution": "choice", "values": [2.0]},
    ],
)
def test_without_a_spread_every_draw_is_the_same(spread) -> None:
    assert set(Doubt(input="a.b", **spread).drawn(np.array([0.0, 0.3, 1.0]))) == {2.0}


def test_the_ends_of_a_normal_distribution_are_finite() -> None:
    low, high = Doubt(input="a.b", distribution="normal", mean=0.0, sd=1.0).drawn(
        np.array([0.0, 1.0])
    )

    # Quantile of 1e-6 of the standard normal distribution: printed tables have 4.753.
    assert (low, high) == (pytest.approx(-4.753, abs=1e-3), pytest.approx(4.753, abs=1e-3))


@pytest.mark.parametrize("spread", [spread for spread, _, _ in MOMENTS])
def test_the_ends_are_the_draws_of_0_and_1(spread) -> None:
    doubt = Doubt(input="a.b", **spread)

    assert doubt.ends() == doubt.drawn(np.array([0.0, 1.0]))


@pytest.mark.parametrize("mode", [0.7, 0.8, 1.1, 1.4])
def test_a_triangle_is_drawn_as_by_scipy(mode: float) -> None:
    drawn = Doubt(input="a.b", distribution="triangular", low=0.7, mode=mode, high=1.4).drawn(
        EVENLY
    )

    c = (mode - 0.7) / (1.4 - 0.7)
    assert drawn == stats.triang.ppf(EVENLY, c, loc=0.7, scale=1.4 - 0.7).tolist()


REFUSED = [
    ("uniform|low=1", "doubts[0]: uniform needs low, high"),
    ("triangular|low=1; high=2", "doubts[0]: triangular needs low, mode, high"),
    ("normal|mean=1", "doubts[0]: normal needs mean, sd"),
    ("lognormal|median=1", "doubts[0]: lognormal needs median, sd_log"),
    ("choice|low=1; high=2", "doubts[0]: choice needs values"),
    ("uniform|low=1; high=2; sd=1", "doubts[0]: sd is not of uniform, which has low, high"),
    ("uniform|low=2; high=1", "doubts[0]: low, high must not fall, got [2.0, 1.0]"),
    (
        "triangular|low=1; mode=3; high=2",
        "doubts[0]: low, mode, high must not fall, got [1.0, 3.0, 2.0]",
    ),
    ("choice|values=[]", "doubts[0].values: must not be empty"),
    ("normal|mean=1; sd=-1", "doubts[0].sd: must be at least 0, got -1"),
    ("lognormal|median=0; sd_log=1", "doubts[0].median: must be above 0, got 0"),
    ("normal|mean=inf; sd=1", "doubts[0].mean: must be a finite number, got inf"),
    (
        "beta|low=1; high=2",
        (
            "doubts[0].distribution: must be 'uniform', 'triangular', 'normal', 'lognormal' or "
            "'choice', got 'beta'"
        ),
    ),
]


@pytest.mark.parametrize(("spread", "message"), REFUSED)
def test_a_spread_that_cannot_be_is_refused(spread, message, tmp_path) -> None:
    with pytest.raises(InputError) as caught:
        small(tmp_path, f"control.rh_bias|value|{spread}")

    assert str(caught.value) == f"{tmp_path / 'small.toml'}: {message}"


def test_a_choice_neither_multiplies_nor_adds(tmp_path) -> None:
    with pytest.raises(InputError) as caught:
        small(tmp_path, "control.rh_bias|factor|choice|values=[1, 2]")

    assert str(caught.value) == (
        f"{tmp_path / 'small.toml'}: doubts[0]: a choice takes the place of the value: leave acts "
        "out"
    )
