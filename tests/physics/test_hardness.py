"""Scale: the bleed of a once-through pad, and the saturation index."""

from __future__ import annotations

import numpy as np
import pytest

from dewmargin.errors import OutOfRangeError
from dewmargin.physics import hardness

WATER = {"ph": 7.5, "solids_mg_l": 320.0, "calcium_mg_l": 150.0, "alkalinity_mg_l": 34.0}


# Litres fed for each kilogram evaporated, N/(N - 1): mass balance, computed for this project. The
# form is that of cooling-tower texts; at EnergyPlus' default concentration ratio of 3 it is 1.5.
@pytest.mark.parametrize(
    ("feed", "limits"),
    [
        (50.0, (1.25, 1.17, 1.11)),
        (100.0, (1.67, 1.40, 1.25)),
        (150.0, (2.50, 1.75, 1.43)),
        (200.0, (5.0, 2.33, 1.67)),
    ],
)
def test_harder_feed_needs_more_of_it(feed, limits) -> None:
    got = [
        hardness.feed_ratio(hardness_mg_l=feed, drain_limit_mg_l=limit)
        for limit in (250.0, 350.0, 500.0)
    ]

    assert got == pytest.approx(limits, abs=0.006)


def test_a_concentration_ratio_of_three_feeds_half_as_much_again() -> None:
    assert hardness.feed_ratio(hardness_mg_l=100.0, drain_limit_mg_l=300.0) == pytest.approx(1.5)


def test_soft_water_needs_no_bleed() -> None:
    assert hardness.feed_ratio(hardness_mg_l=0.0, drain_limit_mg_l=100.0) == 1.0


# A feed of 249.9 mg/l would need 2500 times what evaporates, by the mass balance.
@pytest.mark.parametrize("feed", [300.0, 249.9])
def test_feed_as_hard_as_the_drain_may_be_is_refused(feed) -> None:
    with pytest.raises(OutOfRangeError) as caught:
        hardness.feed_ratio(hardness_mg_l=feed, drain_limit_mg_l=250.0)

    assert str(caught.value) == (
        f"feed_ratio: drain_limit_mg_l: feed of {feed:g} mg/l cannot drain at 250 mg/l, not with "
        "1000 times what evaporates (soften the feed, or allow a harder drain)"
    )


def test_index_of_a_textbook_s_water() -> None:
    # Textbooks' example, from memory: -0.7 at 25 °C and +0.3 at 82 °C.
    got = hardness.saturation_index(np.array([25.0, 82.0]), **WATER)

    np.testing.assert_allclose(got, [-0.73, 0.27], atol=0.02)


def test_heating_and_concentrating_raise_the_index() -> None:
    # Computed for this project: 10 to 60 °C +0.93, 1.25 times as strong +0.18, twice +0.57.
    def index(t_c: float, times: float) -> float:
        strong = {k: v * times if k != "ph" else v for k, v in WATER.items()}
        return float(hardness.saturation_index(t_c, **strong))

    assert index(60.0, 1.0) - index(10.0, 1.0) == pytest.approx(0.93, abs=0.01)
    assert index(10.0, 1.25) - index(10.0, 1.0) == pytest.approx(0.18, abs=0.01)
    assert index(10.0, 2.0) - index(10.0, 1.0) == pytest.approx(0.57, abs=0.01)
