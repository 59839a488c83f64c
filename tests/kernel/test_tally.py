"""The year's account in scalar pieces: by hand, and the same bits compiled and as plain Python."""

from __future__ import annotations

import math
from dataclasses import fields
from inspect import isfunction

import numpy as np
import pytest

from dewmargin import kernel
from dewmargin.contracts import USES, Mode, Use
from dewmargin.kernel import tally, year

NAN = math.nan


def test_a_thread_s_year_is_made_of_the_account_s_own_pieces() -> None:
    lanes, thread = kernel.compiled(tally), kernel.compiled(year)
    names = [
        name
        for name, function in vars(year).items()
        if isfunction(function) and function.__module__ == tally.__name__
    ]

    assert {"owe", "booked", "comfort", "mark", "part_load"} <= set(names)
    for name in names:
        assert getattr(thread, name) is getattr(lanes, name)


def test_uses_have_the_order_of_the_account_s_columns() -> None:
    nothing = np.zeros(1)
    mode = Mode(r0_kg_s=nothing, r1_kg_s=nothing, feed=Use())

    assert [getattr(tally, name.upper()) for name in USES] == list(range(len(USES)))
    assert set(USES) == {f.name for f in fields(mode) if isinstance(getattr(mode, f.name), Use)}


def test_relative_humidity_of_a_humidity_ratio() -> None:
    """w = 0.622 p / (P - p): 1000 Pa of vapour at 101,325 Pa, in air that could hold 2500 Pa."""
    w = 0.622 * 1000.0 / (101_325.0 - 1000.0)

    assert tally.relative_humidity(w, 101_325.0, 2500.0, 0.622) == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("rh", "expected"),
    [
        pytest.param(0.25, (1.0, 0.0, 0.05), id="dry"),
        pytest.param(0.298, (0.0, 0.0, 0.002), id="below the band by less than the slack"),
        pytest.param(0.4, (0.0, 0.0, 0.0), id="inside"),
        pytest.param(0.503, (0.0, 0.0, 0.0), id="above the band by less than the slack"),
        pytest.param(0.51, (0.0, 1.0, 0.0), id="humid"),
    ],
)
def test_an_hour_of_the_season_against_the_band(rh, expected) -> None:
    assert tally.comfort(rh, 0.3, 0.5, 0.005) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("wanted", "given", "expected"),
    [
        pytest.param(1.0, 1.0, (0.0, 1.0, 0.0), id="met"),
        pytest.param(1.0, 0.96, (0.04, 1.0, 0.0), id="nearly met"),
        pytest.param(1.0, 0.9, (0.1, 1.0, 1.0), id="short"),
        pytest.param(0.01, 0.0, (0.01, 0.0, 0.0), id="hardly a demand"),
        pytest.param(0.5, 0.7, (-0.2, 1.0, 0.0), id="more than wanted"),
    ],
)
def test_an_hour_of_demand(wanted, given, expected) -> None:
    assert tally.shortfall(wanted, given, 0.02, 0.05) == pytest.approx(expected)


def test_a_face_condenses_beyond_the_slack_alone() -> None:
    assert tally.condenses(0.0102, 0.0100, 0.005)
    assert not tally.condenses(0.01004, 0.0100, 0.005)


@pytest.mark.parametrize(
    ("told", "counts"),
    [
        ((True, False, 0.0, 0.0), [tally.CONDENSATION_H]),
        ((True, True, 0.0, 0.0), [tally.CONDENSATION_H, tally.FROST_H]),
        ((False, True, 0.03, 0.0), [tally.WET_H]),
        ((False, True, 0.01, 0.2), [tally.RUNOFF_H]),
        ((True, True, 0.03, 0.2), list(tally.MARKED)),
    ],
)
def test_a_mark_has_a_bit_for_each_count_of_an_hour(told, counts) -> None:
    bits = tally.mark(*told, 0.03)

    assert [column for k, column in enumerate(tally.MARKED) if bits >> k & 1] == counts


def test_the_near_margin_is_the_logarithm_s_within_its_series() -> None:
    """The next term of 2 artanh(s) = 2 (s + s3/3 + s5/5 ...): less than s5/2."""
    for w in (0.005, 0.008, 0.0099, 0.01, 0.012):
        share = (0.01 - w) / (0.01 + w)
        exact = math.log(0.01 / w) / 0.065

        found = tally.near_margin(0.01 - w, 0.01 + w, 0.065)

        assert found == pytest.approx(exact, abs=0.5 * abs(share) ** 5 / 0.065 + 1e-12)


def test_a_device_at_rest_takes_standby_feed_and_heat() -> None:
    assert tally.at_rest(3600.0, 900.0, 1e-4, 5.0, 1.0) == pytest.approx((2700.0, 0.27, 13_500.0))
    assert tally.at_rest(3600.0, 900.0, 1e-4, 5.0, 0.0)[1] == 0.0
    # Two modes whose times round beyond the step leave no rest.
    assert tally.at_rest(3600.0, 3600.0000001, 1e-4, 5.0, 1.0) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("k", "amount", "expected"),
    [
        (tally.FEED, 2.0, (10.0, 22.0, 30.0)),
        (tally.BROUGHT, 2.0, (8.0, 20.0, 30.0)),
        (tally.FEED_HEAT, 2.0, (10.0, 20.0, 32.0)),
        (tally.FAN, 2.0, (8.0, 20.0, 30.0)),
        (tally.FAN, NAN, (10.0, 20.0, 30.0)),
        (tally.ELECTRICITY, 2.0, (10.0, 20.0, 30.0)),
        (tally.FUEL, 2.0, (10.0, 20.0, 30.0)),
    ],
)
def test_where_a_use_is_booked(k, amount, expected) -> None:
    assert tally.booked(k, amount, 1.0, 10.0, 20.0, 30.0) == expected


def test_cold_feed_is_no_hot_feed() -> None:
    assert tally.booked(tally.FEED, 2.0, 0.0, 10.0, 20.0, 30.0) == (10.0, 20.0, 30.0)


@pytest.mark.parametrize(
    ("given", "able", "units", "expected"),
    [
        pytest.param(0.6, 1.0, 3, 0.6, id="one is enough"),
        pytest.param(1.5, 1.0, 3, 0.75, id="two share it"),
        pytest.param(2.0 + 1e-12, 1.0, 3, 1.0, id="a rounding lights no third"),
        pytest.param(3.5, 1.0, 3, 3.5 / 3.0, id="no more than there are"),
        pytest.param(0.0, 0.0, 2, 0.0, id="no time to run"),
    ],
)
def test_units_are_lit_as_the_output_needs(given, able, units, expected) -> None:
    assert tally.load_of_unit(given, able, units) == pytest.approx(expected, rel=1e-11)


def test_no_heat_costs_nothing_at_an_unknown_price() -> None:
    assert tally.bought(3.0, 1.25) == 3.75
    assert tally.bought(0.0, NAN) == 0.0
    assert math.isnan(tally.bought(1.0, NAN))


@pytest.mark.parametrize(
    ("owed", "need", "heat", "spare", "blower", "cools", "expected"),
    [
        pytest.param(10.0, 2.0, 100.0, 50.0, 0.0, False, (0.0, 7.0, 0.0, 0.0), id="all is paid"),
        pytest.param(10.0, 2.0, 0.0, 50.0, 0.0, False, (7.0, 0.0, 0.0, 0.0), id="at rest it waits"),
        pytest.param(10.0, 2.0, 0.0, 50.0, 0.0, True, (0.0, 0.0, 7.0, 0.0), id="cooling ends it"),
        pytest.param(
            -300.0, 20.0, 100.0, 50.0, 0.0, False, (-30.0, -100.0, 0.0, 0.0), id="what it gives"
        ),
        # Of 7 the plant gives 4, of which a quarter comes from its blower; 2 were of this hour,
        # which the older debt leaves whole.
        pytest.param(10.0, 2.0, 100.0, 4.0, 0.25, False, (3.0, 3.2, 0.0, 0.0), id="its limit"),
        pytest.param(0.0, 7.0, 100.0, 4.0, 0.0, False, (3.0, 4.0, 0.0, 3.0), id="not all it needs"),
        pytest.param(0.0, 7.0, 100.0, 0.0, 0.0, False, (7.0, 0.0, 0.0, 7.0), id="nothing to spare"),
    ],
)
def test_heat_is_owed_until_the_plant_heats(
    owed, need, heat, spare, blower, cools, expected
) -> None:
    """Half of what was owed is kept from hour to hour."""
    found = tally.owe(owed, need, 0.5, heat, spare, blower, cools)
    assert found == expected
    # All that is owed or needed goes somewhere.
    left, made, cooled, _ = found
    assert 0.5 * owed + need == left + (1.0 + blower) * made + cooled


def account(module, seed: int) -> bytes:
    """Return the bytes of a device's account and of the rooms', of random steps."""
    draw = np.random.default_rng(seed)
    parts, hours, n_cases, n_faces, n_rows = 1 + seed % 4, 60, 5, seed % 3, 7
    n, step_s = parts * hours, 3600.0 / parts
    rows = draw.uniform(0.0, 3.0, (n_rows, n))
    rows[0] = 0.0
    rows[1] = NAN if seed % 2 else rows[1]
    of_use = draw.integers(0, n_rows, (len(USES), 2, 2))
    of_use[tally.FEED_HEAT] = 0
    share = np.clip(draw.uniform(-0.5, 1.2, (2, n_cases, n)), 0.0, 1.0)
    running, rest = step_s * share[0], step_s * (1.0 - share[0]) * share[1]
    added, added_rest = (4e-4 * draw.random((n_cases, n)) * ran for ran in (running, rest))
    heat_j = np.where(draw.random(hours) < 0.6, draw.uniform(0.0, 2e7, hours), 0.0)
    points = np.array([[0.25, 0.8], [0.5, 0.95], [1.0, 0.9]]) if seed % 3 else np.empty((0, 2))
    per_heat = np.full(hours, NAN) if seed % 4 == 0 else draw.uniform(1.0, 1.4, hours)
    used = np.zeros((n_cases, tally.OF_DEVICE))
    module.device(
        step_s, parts, draw.uniform(2.5e6, 2.6e6, n), heat_j, draw.uniform(0.0, 3e6, hours),
        np.full(hours, NAN if seed % 5 == 0 else 0.03), draw.random(hours) < 0.2, 0.98,

        per_heat, np.full(hours, 2e6), 1.5 * per_heat, per_heat, rows, of_use,
        draw.random(n), draw.uniform(0.0, step_s, n),
        (draw.random(n) < 0.3).astype(float), 5.0, 1e-5, draw.uniform(0.0, 50.0, n),
        draw.uniform(-9.0, 9.0, n), points, 2e-4,
        2, np.arange(n_cases), added, added_rest, running, rest, used,
    )  # fmt: skip
    of_faces, films = (n_faces, hours), (n_cases, n_faces, n)
    rooms, w = np.zeros((n_cases, tally.OF_ROOM)), np.zeros((n_cases, hours))
    worst = np.zeros((n_cases, n_faces, tally.CANDIDATES), dtype=np.int64)
    taken, film, runoff = np.where(draw.random((3, *films)) < 0.3, draw.random((3, *films)), 0.0)
    module.room(
        step_s, parts, draw.uniform(0.003, 0.01, n), draw.uniform(9e4, 1e5, hours),
        draw.uniform(2e3, 3e3, hours), 0.622, draw.random(hours) < 0.7, 0.3, 0.4, 0.005,
        draw.normal(0.0, 1e-4, of_faces), draw.uniform(0.004, 0.02, of_faces),
        draw.random(of_faces) < 0.3, draw.uniform(0.05, 0.08, of_faces),
        draw.uniform(0.0, 10.0, n_faces), 0.1, draw.uniform(0.0, 0.5, (2, n)),
        np.array([0, 1, -1, 0, 1]), 0.02, 0.05, step_s * draw.normal(0.0, 1e-3, (n_cases, n)),
        added, added_rest, running, rest, draw.random((2, n)), np.array([0, 1, 0, 1, 1]),
        draw.random((n_cases, n)), taken - 0.5 * film, runoff, film, rooms, w, worst,
    )  # fmt: skip
    assert np.count_nonzero(rooms) > n_cases
    return b"".join(each.tobytes() for each in (used, rooms, w, worst))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12))
def test_accounts_are_the_same_bits_compiled_and_as_plain_python(seed) -> None:
    assert account(kernel.compiled(tally), seed) == account(tally, seed)
