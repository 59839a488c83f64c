"""The feed line: temperatures and times that can be computed on paper, and limits."""

from __future__ import annotations

import numpy as np
import pytest

from dewmargin.errors import OutOfRangeError
from dewmargin.physics.water_line import WaterLine

FEED = 15.0 / 3600.0
QUARTER_INCH = {"bore_mm": 4.33, "outer_mm": 6.35}  # 14.7 ml/m
HALF_INCH_COPPER = {"bore_mm": 13.82, "outer_mm": 15.9}  # 0.150 l/m


def line(**keys: float) -> WaterLine:
    return WaterLine(**({"length_m": 10.0, "ambient_c": 20.0} | QUARTER_INCH | keys))


# 60 °C, 20 °C around, 15 kg/h, 10 W/(m² K): computed for this project apart from the package,
# ± 0.3 K for the roundings of the sizes.
@pytest.mark.parametrize(
    ("size", "at_5_m", "at_10_m"),
    [(QUARTER_INCH, 57.8, 55.7), (HALF_INCH_COPPER, 54.7, 50.0)],
    ids=["1/4 inch tube", "1/2 inch copper"],
)
def test_a_trickle_cools_on_its_way(size, at_5_m, at_10_m) -> None:
    start = np.array([60.0])

    got = [float(line(length_m=m, **size).arriving_c(start, FEED)[0]) for m in (5.0, 10.0)]

    assert got == pytest.approx([at_5_m, at_10_m], abs=0.3)


# 35 s and 355 s computed for this project, ± 3 % for the roundings of the contents.
@pytest.mark.parametrize(
    ("size", "seconds"),
    [(QUARTER_INCH, 35.0), (HALF_INCH_COPPER, 355.0)],
    ids=["1/4 inch tube", "1/2 inch copper"],
)
def test_what_the_line_holds_takes_time_to_run_out(size, seconds) -> None:
    assert line(**size).purge_s(FEED) == pytest.approx(seconds, rel=0.03)


def test_a_great_flow_loses_next_to_nothing_and_next_to_none_all() -> None:
    start = np.array([60.0, 5.0])

    np.testing.assert_allclose(line().arriving_c(start, 1e4), start, atol=1e-5)
    np.testing.assert_allclose(line().arriving_c(start, 1e-9), 20.0)


def test_a_line_in_perfect_insulation_loses_nothing() -> None:
    insulated = line(film_w_m2_k=0.0)

    assert insulated.arriving_c(np.array([60.0]), FEED) == pytest.approx([60.0])
    assert insulated.rested_c(np.array([60.0]), np.array([1e6])) == pytest.approx([60.0])


def test_water_that_stands_cools_by_its_time_constant() -> None:
    # By hand, for each metre of 1/2-inch tube: 0.150 · 4186 / (10 · π · 0.0159) = 1257 s.
    half_inch = line(**HALF_INCH_COPPER)

    got = half_inch.rested_c(np.full(3, 60.0), np.array([0.0, 1257.0, 1e6]))

    assert got == pytest.approx([60.0, 20.0 + 40.0 / np.e, 20.0], abs=0.05)


@pytest.mark.parametrize(
    "keys",
    [{"length_m": 0.0}, {"bore_mm": 0.0}, {"bore_mm": 7.0}, {"film_w_m2_k": -1.0}],
    ids=["no length", "no bore", "bore beyond the outside", "heat from nowhere"],
)
def test_a_line_that_cannot_be_is_refused(keys) -> None:
    with pytest.raises(OutOfRangeError):
        line(**keys)


def test_what_starts_follows_from_what_arrives() -> None:
    line = WaterLine(length_m=8.0, bore_mm=6.0, outer_mm=8.0, ambient_c=20.0)

    (arrives,) = line.arriving_c(np.array([55.0]), 15 / 3600)

    assert line.starting_c(arrives, 15 / 3600) == pytest.approx(55.0)
