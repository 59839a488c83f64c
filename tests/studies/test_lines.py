"""Lines that a controller could be set to: ranges of them, their neighbours, and their texts."""

from __future__ import annotations

import tomllib
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dewmargin.errors import InputError
from dewmargin.solve import year_of_many
from dewmargin.studies.frontier.lines import (
    MARGINS_K,
    Box,
    Line,
    Space,
    neighbours,
    strategy_of,
    surface_rules,
)
from dewmargin.studies.options.limit import Limit

GRID = tuple(range(-30, 16, 5))
SPACE = Space(t_out_c=GRID, low_percent=10, high_percent=50, knots=4)
EVERYWHERE = np.arange(-40.0, 25.01, 0.25)


def in_box(box: Box) -> list[tuple[int, int]]:
    """Return all humidities at the two points of a box's lines, by plain loops."""
    return [
        (cold, mild)
        for cold in range(box.cold[0], box.cold[1] + 1)
        for mild in range(box.mild[0], box.mild[1] + 1)
        if cold <= mild
    ]


@st.composite
def boxes(draw: st.DrawFn) -> Box:
    """Draw a box that holds a line."""
    cold_c, mild_c = sorted(
        draw(st.lists(st.sampled_from(GRID), min_size=2, max_size=2, unique=True))
    )
    percents = st.lists(st.integers(10, 50), min_size=2, max_size=2).map(sorted).map(tuple)
    pairs = st.tuples(percents, percents).filter(lambda pair: pair[0][0] <= pair[1][1])
    cold, mild = draw(pairs)
    return Box(cold_c, mild_c, cold, mild)


@st.composite
def point_sets(draw: st.DrawFn, most: int = 6) -> list[tuple[int, int]]:
    """Draw points on the grid, never drier where it is milder."""
    t_c = sorted(draw(st.lists(st.sampled_from(GRID), min_size=1, max_size=most, unique=True)))
    low, high = draw(st.tuples(st.integers(10, 50), st.integers(10, 50)).map(sorted))
    percents = st.lists(st.integers(low, high), min_size=len(t_c), max_size=len(t_c))
    return list(zip(t_c, sorted(draw(percents)), strict=True))


# Ranges of lines


@given(box=boxes())
def test_no_line_of_a_box_lies_below_its_low_corner_or_above_its_high_one(box: Box) -> None:
    lines = in_box(box)
    every = np.array([np.interp(EVERYWHERE, [box.cold_c, box.mild_c], pair) for pair in lines])

    low, high = (line.percent_at(EVERYWHERE) for line in box.corners(SPACE, 0))

    # The corners are lines of the box themselves: no nearer bound is possible.
    np.testing.assert_allclose(low, every.min(axis=0), rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(high, every.max(axis=0), rtol=0.0, atol=1e-9)


@given(box=boxes())
def test_its_halves_share_out_the_lines_of_a_box(box: Box) -> None:
    parts = [pair for half in box.halves() for pair in in_box(half)]

    one_line = box.cold[0] == box.cold[1] and box.mild[0] == box.mild[1]
    assert sorted(parts) == ([] if one_line else in_box(box))
    assert all(in_box(half) for half in box.halves())


def test_halving_a_box_to_its_end_meets_every_line_once() -> None:
    met, left = [], [Box(-20, 5, (10, 23), (10, 23))]
    while left:
        box = left.pop()
        halves = box.halves()
        left += halves
        if not halves:
            met.append((box.cold[0], box.mild[0]))

    assert sorted(met) == [(c, m) for c in range(10, 24) for m in range(c, 24)]


# Lines


@given(points=point_sets())
def test_a_line_by_its_shortest_points_is_the_same_line(points: list[tuple[int, int]]) -> None:
    t_c, percent = zip(*points, strict=True)

    line = SPACE.line(points, 3)

    before = np.interp(EVERYWHERE, t_c, percent)
    np.testing.assert_allclose(line.percent_at(EVERYWHERE), before, rtol=0.0, atol=1e-9)
    assert line.look_ahead_h == 3
    for left in combinations(line.points, len(line.points) - 1):
        if left:
            shorter = np.interp(EVERYWHERE, *zip(*left, strict=True))
            assert np.abs(shorter - before).max() > 1e-3


def test_lines_of_one_humidity_are_one_line() -> None:
    flat = [SPACE.line([(a, 30), (b, 30)], 0) for a, b in combinations(GRID, 2)]

    assert set(flat) == {SPACE.flat(30, 0)} == {Line(0, ((-30, 30),))}


@given(points=point_sets(most=4))
def test_neighbours_are_lines_of_the_space(points: list[tuple[int, int]]) -> None:
    near = neighbours(SPACE, SPACE.line(points, 0))

    assert all(SPACE.holds(other.points) for other in near)
    assert len(set(near)) > 5


def test_a_neighbour_can_rise_at_one_temperature_alone() -> None:
    line = SPACE.line([(-20, 15), (0, 35)], 0)

    near = neighbours(SPACE, line)

    assert Line(0, ((-20, 15), (-15, 20), (-10, 27), (0, 35))) in near
    assert Line(0, ((-20, 15), (0, 36))) in near
    assert Line(0, ((-30, 35),)) in near
    assert Line(0, ((-15, 15), (0, 35))) in near


def test_rules_that_know_the_surfaces_are_every_margin_and_cap() -> None:
    rules = surface_rules(Space(t_out_c=GRID, low_percent=35, high_percent=50), 6)

    assert [(r.margin_k, r.cap_percent) for r in rules] == [
        (margin, cap) for margin in MARGINS_K for cap in (35, 40, 45, 50)
    ]
    assert {r.look_ahead_h for r in rules} == {6}


# Texts


RESET_LINE = Line(0, ((-20, 18), (5, 41)))
AHEAD = Line(6, ((-20, 18), (5, 41)))
OF_SURFACES = Line(0, margin_k=1.5, cap_percent=45)


@pytest.mark.parametrize(
    ("line", "text", "words"),
    [
        pytest.param(
            RESET_LINE,
            'name = "a"\nrule = "outdoor_reset"\npoints = [[-20, 0.18], [5, 0.41]]\n',
            "-20 °C 18 %, 5 °C 41 %",
            id="reset",
        ),
        pytest.param(
            AHEAD,
            'name = "a"\nrule = "outdoor_reset"\npoints = [[-20, 0.18], [5, 0.41]]\n'
            "look_ahead = { hours = 6 }\n",
            "-20 °C 18 %, 5 °C 41 %, 6 h ahead",
            id="look ahead",
        ),
        pytest.param(
            OF_SURFACES,
            'name = "a"\nrule = "surface_limit"\nmargin_k = 1.5\ncap_rh = 0.45\n',
            "surfaces 1.5 K dry, at most 45 %",
            id="surfaces",
        ),
    ],
)
def test_a_line_is_text_to_be_pasted_and_words(line: Line, text: str, words: str) -> None:
    assert line.toml("a") == "[[strategies]]\n" + text
    assert line.short() == words
    assert tomllib.loads(line.toml("a"))["strategies"] == [line.table("a")]
    assert strategy_of(line, "a").name == "a"


# Limits


def test_a_limit_is_kept_at_its_number_and_not_if_nothing_is_known() -> None:
    limit = Limit.parse("condensation_h=20")

    assert limit == Limit(name="condensation_h", most=20.0)
    assert limit.kept({"condensation_h": 20.0})
    assert not limit.kept({"condensation_h": 20.5})
    assert not limit.kept({"condensation_h": None})
    assert not limit.kept({"condensation_h": float("nan")})


CANNOT = "error: limit: cannot be read: {!r} (such as condensation_h=20)"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        *[
            (text, CANNOT.format(text))
            for text in ("condensation_h", "condensation_h=", "dry_h=few", "dry_h=nan", "dry_h=inf")
        ],
        (
            "cold_h=3",
            f"error: limit: 'cold_h' is not counted (one of: {', '.join(year_of_many.METRICS)})",
        ),
    ],
)
def test_what_is_no_limit_is_refused(text: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        Limit.parse(text)

    assert f"error: {caught.value}" == message


def test_a_strategy_of_a_line_has_its_set_points() -> None:
    class Case:
        t_out_c = np.array([-30.0, -20.0, 0.0, 10.0])

    rh = strategy_of(RESET_LINE, "a").setpoint(Case())

    np.testing.assert_allclose(100 * rh, RESET_LINE.percent_at(Case.t_out_c), rtol=1e-12)
