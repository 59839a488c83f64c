"""The step: against closed forms, against 10-second steps, and against the laws it must keep."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from dewmargin import kernel
from dewmargin.kernel import source
from kernel_cases import (
    EXCHANGE_KG_S,
    HOUR_S,
    MASS_KG,
    MOST_KG_M2,
    Problem,
    cold_year,
    constant,
    solve_together,
)
from references.integration import integrate

compiled = kernel.compiled().cases


@pytest.mark.parametrize(
    "y",
    [
        *(0.0, 1e-12, 1e-6, 1e-3, 0.1, 0.5, 1.0, 2.4, source.NEAR, 2.6),
        *(5.0, 20.0, 39.9, source.FAR, 40.1, 64.1, 1e3),
    ],
)
def test_decay_agrees_with_the_exponential_of_40_digits(y: float) -> None:
    """Oracle: Python's decimal module, exp to 60 digits."""
    from decimal import Decimal, localcontext  # noqa: PLC0415 - only here

    with localcontext() as context:
        context.prec = 60
        exact = Decimal(y)
        phi = (1 - (-exact).exp()) / exact if y else Decimal(1)
        psi = (1 - phi) / exact if y else Decimal("0.5")

    # Seven doublings of a series good to rounding: a few units in the last place each.
    assert source.decay(y, source.PERHAPS_FAR) == pytest.approx((float(phi), float(psi)), rel=4e-15)
    if y <= source.NEAR:
        assert source.decay(y, source.SURELY_NEAR) == source.decay(y, source.PERHAPS_FAR)


def test_a_free_hour_agrees_with_the_closed_form() -> None:
    """Exponential solution of C dW/dt = G + b (W_out - W), computed from the stated formula."""
    solved = constant(1).solve(source.cases, 0.004615, 0.0)

    assert solved["x"] == pytest.approx(0.003699, abs=1e-6)
    assert solved["sum_x"][0] / HOUR_S == pytest.approx(0.004119, abs=1e-6)


@pytest.mark.parametrize(
    ("multiplier", "end", "mean", "to_set_point_h"),
    [
        pytest.param(1, 0.003699, 0.004119, 2.803, id="air only"),
        pytest.param(10, 0.004501, 0.004558, 28.03, id="ten times the air"),
        pytest.param(15, 0.004539, 0.004576, 42.04, id="fifteen times the air"),
    ],
)
def test_moisture_capacity_slows_the_room(
    multiplier: int, end: float, mean: float, to_set_point_h: float
) -> None:
    """Rows of a table computed from the closed form, incl. the run-up at 1 kg/h to 35 %."""
    mass = multiplier * 595.61
    free = constant(1, mass=mass).solve(source.cases, 0.004615, 0.0)
    running = constant(60, mass=mass, low=0.005391, r0=1.0 / HOUR_S)
    up = running.solve(source.cases, 0.004615, 0.0)

    reached = np.argmax(up["running"] < HOUR_S - 1.0)
    assert free["x"] == pytest.approx(end, abs=1e-6)
    assert free["sum_x"][0] / HOUR_S == pytest.approx(mean, abs=1e-6)
    # In the hour it reaches the set-point it runs at capacity until then and holds after it.
    hold = 0.9245  # kg/h, rate to hold, same table
    share = (up["added"][reached] - hold) / (1.0 - hold)
    assert reached + share == pytest.approx(to_set_point_h, rel=5e-3)


def test_holding_the_set_point_takes_the_rate_of_the_closed_form() -> None:
    """0.9245 kg/h to hold 35 % in the example house, computed from the stated formula."""
    solved = constant(3, low=0.005391, unlimited=True).solve(source.cases, 0.005391, 0.0)

    assert solved["added"] == pytest.approx(0.9245, rel=1e-3)
    assert solved["x"] == 0.005391


def test_two_nodes_agree_with_the_matrix_exponential() -> None:
    """Printed check of the two-node hour; and SciPy's expm of the same matrix to rounding."""
    from scipy.linalg import expm  # noqa: PLC0415 - only here

    problem = constant(24, buffer_mass=5000.0, h=600.0 / HOUR_S)
    solved = problem.solve(source.cases, 0.004615, 0.004615)

    assert solved["x_end"][0] == pytest.approx(0.00400231, abs=1e-7)
    assert solved["y_end"][0] == pytest.approx(0.00457173, abs=1e-7)
    assert solved["sum_x"][0] / HOUR_S == pytest.approx(0.00423823, abs=1e-7)
    # The buffer's mean, by its own balance of the hour.
    sum_y = solved["sum_x"][0] - 5000.0 * (solved["y_end"][0] - 0.004615) / problem.h
    assert sum_y / HOUR_S == pytest.approx(0.00459882, abs=1e-7)
    assert solved["x"] == pytest.approx(0.00294722, abs=1e-7)
    assert solved["y"] == pytest.approx(0.00325047, abs=1e-7)
    b, h, m, mb = 297.805, 600.0, 595.61, 5000.0
    matrix = np.array(
        [[-(b + h) / m, h / m, (0.3 + b * 0.001279) / m], [h / mb, -h / mb, 0], [0, 0, 0]]
    )
    exact = expm(matrix) @ [0.004615, 0.004615, 1.0]
    assert solved["x_end"][0] == pytest.approx(exact[0], rel=1e-13)
    assert solved["y_end"][0] == pytest.approx(exact[1], rel=1e-13)


def test_a_closed_room_without_buffer_only_collects_its_gains() -> None:
    problem = constant(2, a_out=0.0, g_in=0.1 / HOUR_S)

    solved = problem.solve(source.cases, 0.004, 0.0)

    assert solved["x_end"] == pytest.approx([0.004 + 0.1 / 595.61, 0.004 + 0.2 / 595.61], rel=1e-14)


def test_a_device_starts_where_the_room_is_dry_enough_for_it_to_work() -> None:
    """It gives 1 kg/h at 0.004 and nothing from 0.006 on; the room falls from 0.007, by itself to
    0.0023. Once it works the room obeys C dx/dt = G + r0 - (A + r1) x, a closed form.
    """
    r1 = 1.0 / HOUR_S / 0.002
    problem = constant(5, low=0.0075, r0=0.006 * r1, r1=r1)
    settled = float(problem.g_in[0]) / EXCHANGE_KG_S
    wait_s = MASS_KG / EXCHANGE_KG_S * np.log((0.007 - settled) / (0.006 - settled))
    both = EXCHANGE_KG_S + r1
    level = (float(problem.g_in[0]) + 0.006 * r1) / both
    ends_s = np.arange(1, 6) * HOUR_S
    alone = settled + (0.007 - settled) * np.exp(-ends_s * EXCHANGE_KG_S / MASS_KG)
    helped = level + (0.006 - level) * np.exp(-(ends_s - wait_s) * both / MASS_KG)

    solved = problem.solve(source.cases, 0.007, 0.0)

    # The limit counts as reached within 2e-9 kg/kg.
    expected = np.where(ends_s < wait_s, alone, helped)
    assert solved["x_end"] == pytest.approx(expected, abs=3e-9)


def test_vapour_beyond_saturation_is_booked_as_fog() -> None:
    problem = constant(3, high=0.005, g_in=6.0 / HOUR_S)

    solved = problem.solve(source.cases, 0.0049, 0.0)

    assert solved["x_end"] == pytest.approx([0.005] * 3, abs=1e-9)
    assert solved["fog"].sum() > 1.0
    assert np.abs(problem.balance_error(solved, 0.0049, 0.0)).max() < 1e-12


def mixed(year: Problem) -> list[Problem]:
    """Return more cases of a building than go side by side, no two of them alike.

    Without a humidifier, with one without limit, with small and large ones whenever or in two
    modes; some hold less while a window is wet.
    """
    two_modes = cold_year(capacity_kg_h=1.0, heating_call=True)
    rates = [{"r0": size * two_modes.r0, "r1": size * two_modes.r1} for size in (0.5, 1.5)]
    heats = {"heat_frac": two_modes.heat_frac, "r0_rest": two_modes.r0_rest}
    devices = [{"unlimited": True}, *rates, *(rate | heats for rate in rates)]
    lows = [year.low + 2e-4 * step for step in range(-4, 3)]
    cases = [replace(year, low=np.full(year.low.size, source.NEVER))]
    cases += [replace(year, low=low, **device) for low in lows for device in devices]
    memory = {"low_wet": year.low - 1e-3, "wet_above": 0.02}
    return [replace(case, **(memory if i % 3 == 0 else {})) for i, case in enumerate(cases)]


def bits(solved: dict[str, np.ndarray | float]) -> dict[str, bytes]:
    """Return results as bytes, which tell even the signs of zeros."""
    return {name: np.asarray(values).tobytes() for name, values in solved.items()}


BUILDINGS = {
    "departure": {"departure": True},
    "buffer": {"buffered": True},
    "no windows": {"dry_windows": True},
}


@pytest.mark.parametrize("name", BUILDINGS)
def test_a_case_does_not_depend_on_those_beside_it(name: str) -> None:
    cases = [case.between(0, 600) for case in mixed(cold_year(**BUILDINGS[name]))]
    start = 0.0 if name == "departure" else 0.005

    together = solve_together(cases, compiled, start, start)

    assert len(cases) > source.LANES
    for case, solved in zip(cases, together, strict=True):
        assert bits(case.solve(compiled, start, start)) == bits(solved)
    # All that is to be told apart does happen.
    assert len({bits(solved)["x_end"] for solved in together}) == len(cases)
    assert any(np.any(solved["running_rest"] > 0.0) for solved in together)
    if name != "no windows":
        films = np.array([solved["film_end"].max(axis=0) for solved in together])
        assert np.any(films > 0.02)
        assert np.any((films > 0.0).any(axis=0) & (films == 0.0).any(axis=0))


@pytest.mark.parametrize("name", BUILDINGS)
def test_compiled_and_plain_python_give_the_same_bits(name: str) -> None:
    cases = [case.between(0, 150) for case in mixed(cold_year(**BUILDINGS[name]))]
    start = 0.0 if name == "departure" else 0.005

    plain = solve_together(cases, source.cases, start, start)
    fast = solve_together(cases, compiled, start, start)

    assert [bits(solved) for solved in plain] == [bits(solved) for solved in fast]


def several(n_steps: int) -> list[Problem]:
    """Return cases of buildings that differ in all that a building has, more than go side by side.

    Some buildings have one case, some a few; those of one building follow each other.
    """
    made = [
        cold_year(),
        cold_year(buffered=True),
        cold_year(departure=True),
        replace(cold_year(buffered=True), mass=2.0 * MASS_KG, most=0.02),
        replace(cold_year(), area=np.array([0.0, 3.0, 30.0]), h=0.0),
    ]
    for share in (0.6, 1.5):
        year = cold_year(buffered=True)
        made.append(
            replace(year, a_out=share * year.a_out, g_in=share * year.g_in, h=share * year.h)
        )
    cases = []
    for i, year in enumerate(made):
        cases += mixed(year)[i :: 5 + i % 3]
    return [case.between(0, n_steps) for case in cases]


def test_a_case_does_not_depend_on_the_buildings_beside_it() -> None:
    cases = several(600)

    together = solve_together(cases, compiled, 0.005, 0.005)

    assert len(cases) > source.LANES
    assert len({case.building for case in cases}) == 7
    for case, solved in zip(cases, together, strict=True):
        assert bits(case.solve(compiled, 0.005, 0.005)) == bits(solved)
    assert len({bits(solved)["x_end"] for solved in together}) == len(cases)
    # In any order, cases of one building apart.
    order = np.random.default_rng(1).permutation(len(cases))
    shuffled = solve_together([cases[i] for i in order], compiled, 0.005, 0.005)
    assert [bits(each) for each in shuffled] == [bits(together[i]) for i in order]


def test_several_buildings_give_the_same_bits_compiled_and_as_plain_python() -> None:
    cases = several(150)

    plain = solve_together(cases, source.cases, 0.005, 0.005)
    fast = solve_together(cases, compiled, 0.005, 0.005)

    assert [bits(solved) for solved in plain] == [bits(solved) for solved in fast]


CASES = {
    "departure, capacity, condensation": {"capacity_kg_h": 1.5, "departure": True},
    "departure, demand, buffer, condensation": {
        "unlimited": True,
        "buffered": True,
        "departure": True,
    },
    "demand": {"unlimited": True, "dry_windows": True},
    "demand, buffer": {"unlimited": True, "dry_windows": True, "buffered": True},
    "demand, buffer, condensation": {"unlimited": True, "buffered": True},
    "capacity": {"capacity_kg_h": 1.5, "dry_windows": True},
    "capacity, buffer": {"capacity_kg_h": 1.5, "dry_windows": True, "buffered": True},
    "small capacity, condensation": {"capacity_kg_h": 0.8},
    "small capacity, buffer, condensation": {"capacity_kg_h": 0.8, "buffered": True},
}
FIRING = {
    "with heat only, condensation": {
        "capacity_kg_h": 3.0,
        "heating_call": True,
        "nothing_without_heat": True,
    },
    "heat and between firings, condensation": {"capacity_kg_h": 3.0, "heating_call": True},
    "heat and between firings, buffer, condensation": {
        "capacity_kg_h": 3.0,
        "heating_call": True,
        "buffered": True,
    },
}


def in_small_steps(year: Problem, x: float) -> tuple[np.ndarray, ...]:
    """Return what the reference in 10-second steps says of a year."""
    most = np.full_like(year.saturation, year.most)
    found: tuple[np.ndarray, ...] = integrate(
        x, x, np.zeros(year.area.size), HOUR_S,
        year.mass, year.buffer_mass, year.h, year.low, year.high, year.k,
        year.g_in, year.a_out, year.heat_frac, year.r0, year.r1, year.r0_rest, year.r1_rest,
        year.most_cycles_per_h, year.area, year.beta, year.saturation, most, not year.unlimited,
    )  # fmt: skip
    return found


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_a_year_agrees_with_ten_second_steps(name: str) -> None:
    """Annual 0.1 %, every hour 2 % of the year's 99th percentile: the project's own requirement.

    The reference is of second order in 10 s and its switches are up to 10 s late, 0.3 % of an hour.
    """
    year = cold_year(**CASES[name])
    x = 0.0 if "departure" in CASES[name] else 0.005
    solved = year.solve(compiled, x, x)
    mean, added, fog, taken, runoff, film = in_small_steps(year, x)

    assert solved["added"].sum() == pytest.approx(added.sum(), rel=1e-3)
    gap = np.abs(solved["added"] - added)
    assert gap.max() <= 0.02 * np.quantile(added, 0.99)
    # A jump to a new set-point takes the reference 10 s, 1/360 of the hour's mean.
    assert np.abs(solved["sum_x"] / HOUR_S - mean).max() < 1e-5
    assert solved["fog"].sum() == pytest.approx(fog.sum(), rel=2e-3, abs=0.1)
    # The reference books films at the start of each 10 s, before the room has changed by them.
    for sign in (1.0, -1.0):  # condensed, given back
        got, expected = (np.maximum(sign * a, 0.0).sum() for a in (solved["taken"], taken))
        assert got == pytest.approx(expected, rel=1e-3, abs=1e-9)
    # It lets water run off at any moment, the kernel at the hour's end.
    assert solved["runoff"].sum() == pytest.approx(runoff.sum(), rel=2e-3, abs=1e-9)
    assert np.abs(solved["film_end"] - film).max(initial=0.0) < 0.02 * MOST_KG_M2
    assert np.abs(year.balance_error(solved, x, x)).max() < 1e-9


@pytest.mark.slow
@pytest.mark.parametrize("firings_h", [3.0, 6.0])
@pytest.mark.parametrize("name", FIRING)
def test_a_year_of_firings_agrees_with_ten_second_steps(name: str, firings_h: float) -> None:
    """Annual 0.5 %, DECISIONS 9 of the project; what condenses 2 %.

    An hour has up to N firings, of which the reference may have one more or less: not the hours'
    vapour is compared but their humidity. It swings by about 1e-4 kg/kg in a firing, of which an
    hour that ends anywhere in it keeps up to a third in its mean.
    """
    year = replace(cold_year(**FIRING[name]), most_cycles_per_h=firings_h)
    solved = year.solve(compiled, 0.005, 0.005)
    mean, added, fog, taken, _, _ = in_small_steps(year, 0.005)

    assert solved["added"].sum() == pytest.approx(added.sum(), rel=5e-3)
    assert np.sqrt(np.mean((solved["sum_x"] / HOUR_S - mean) ** 2)) < 3e-5
    assert solved["fog"].sum() == pytest.approx(fog.sum(), rel=2e-2, abs=0.1)
    for sign in (1.0, -1.0):
        got, expected = (np.maximum(sign * a, 0.0).sum() for a in (solved["taken"], taken))
        assert got == pytest.approx(expected, rel=2e-2, abs=1e-9)
    assert np.abs(year.balance_error(solved, 0.005, 0.005)).max() < 1e-9


N_STEPS = 12


def hourly(low: float, high: float) -> st.SearchStrategy[np.ndarray]:
    """Return arrays of one value a step."""
    return hnp.arrays(np.float64, N_STEPS, elements=st.floats(low, high, allow_subnormal=False))


@st.composite
def problems(draw, n_surfaces: int | None = None) -> Problem:
    """Return any room: with or without buffer, surfaces, capacity, in one mode or two."""
    if n_surfaces is None:
        n_surfaces = draw(st.integers(0, 3))
    buffered = draw(st.booleans())
    high = draw(hourly(0.008, 0.03))
    return Problem(
        low=np.minimum(draw(hourly(0.0, 0.02)), high),
        high=high,
        k=draw(hourly(0.5, 2.0)),
        g_in=draw(hourly(0.0, 2e-3)),
        a_out=draw(hourly(0.0, 0.5)),
        heat_frac=draw(hourly(0.0, 1.0)),
        r0=draw(hourly(0.0, 2e-3)),
        r1=draw(hourly(0.0, 0.1)),
        r0_rest=draw(hourly(0.0, 1e-3)),
        r1_rest=np.zeros(N_STEPS),
        area=draw(hnp.arrays(np.float64, n_surfaces, elements=st.floats(0.0, 30.0))),
        x_sat=draw(hnp.arrays(np.float64, (n_surfaces, N_STEPS), elements=st.floats(0.0, 0.02))),
        mass=draw(st.floats(50.0, 5_000.0)),
        buffer_mass=draw(st.floats(100.0, 50_000.0)) if buffered else 0.0,
        h=draw(st.floats(1e-4, 1.0)) if buffered else 0.0,
        unlimited=draw(st.booleans()),
        most=draw(st.sampled_from([0.0, 0.01, 0.1, np.inf])),
    )


states = st.floats(0.0, 0.02)


@given(data=st.data(), x=states, y=states)
def test_any_case_beside_any_others_is_as_it_is_alone(data, x: float, y: float) -> None:
    first, *others = [data.draw(problems()) for _ in range(3)]
    device = ("low", "unlimited", "heat_frac", "r0", "r1", "r0_rest")
    cases = [first] + [
        replace(first, **{name: getattr(other, name) for name in device}) for other in others
    ]

    for case, solved in zip(cases, solve_together(cases, compiled, x, y), strict=True):
        assert bits(case.solve(compiled, x, y)) == bits(solved)


@given(data=st.data(), n_surfaces=st.integers(0, 3), x=states, y=states)
def test_any_case_beside_those_of_any_building_is_as_it_is_alone(
    data, n_surfaces: int, x: float, y: float
) -> None:
    cases = [data.draw(problems(n_surfaces)) for _ in range(5)]

    for case, solved in zip(cases, solve_together(cases, compiled, x, y), strict=True):
        assert bits(case.solve(compiled, x, y)) == bits(solved)


@given(problem=problems(), x=states, y=states)
def test_water_is_conserved_in_every_hour(problem: Problem, x: float, y: float) -> None:
    solved = problem.solve(compiled, x, y)

    # 1e-9 kg is the promise; a store of 50 t at 0.02 holds 1000 kg, whose rounding is 1e-13 kg.
    assert np.abs(problem.balance_error(solved, x, y)).max() < 1e-9


@given(problem=problems(), x=states, y=states)
def test_humidifier_only_adds_water_and_never_beyond_capacity(
    problem: Problem, x: float, y: float
) -> None:
    solved = problem.solve(compiled, x, y)

    assert solved["added"].min() >= 0.0
    assert solved["fog"].min() >= -1e-15
    assert np.all(solved["running"] + solved["running_rest"] <= HOUR_S * (1 + 1e-12))
    if not problem.unlimited:
        most = problem.heat_frac * problem.r0 + (1.0 - problem.heat_frac) * problem.r0_rest
        assert np.all(solved["added"] <= HOUR_S * most + 1e-12)
        running = solved["running"] * problem.r0 + solved["running_rest"] * problem.r0_rest
        assert np.all(solved["added"] <= running + 1e-12)


def test_a_room_held_at_saturation_does_not_creep_beyond_as_its_buffer_fills() -> None:
    # Found by the property below: the rate needed falls to zero with the room at both limits.
    closed = constant(3, low=0.0117, high=0.0117, g_in=0.00195, a_out=0.0)

    solved = replace(closed, mass=50.0, buffer_mass=100.0, h=1.0, unlimited=True).solve(
        compiled, 0.0, 0.0
    )

    np.testing.assert_allclose(solved["x_end"], 0.0117, atol=2e-9)
    np.testing.assert_allclose(
        solved["fog"].sum() + 150.0 * 0.0117,
        3 * 0.00195 * HOUR_S + solved["added"].sum(),
        rtol=1e-7,
    )


@given(problem=problems(), x=states, y=states)
def test_an_unlimited_device_never_lets_the_room_fall_below_its_set_point(
    problem: Problem, x: float, y: float
) -> None:
    problem = replace(problem, unlimited=True)

    solved = problem.solve(compiled, x, y)

    # The set-point counts as held within 1e-9 kg/kg.
    assert np.all(solved["x_end"] >= problem.low - 2e-9)
    assert np.all(solved["x_end"] <= problem.high + 2e-9)


@given(problem=problems(), x=states, y=states, rise=st.floats(0.0, 0.005))
def test_a_higher_set_point_never_demands_less_over_the_run(
    problem: Problem, x: float, y: float, rise: float
) -> None:
    problem = replace(problem, unlimited=True, area=np.empty(0), x_sat=None)
    higher = replace(problem, low=np.minimum(problem.low + rise, problem.high))

    less = problem.solve(compiled, x, y)["added"]
    more = higher.solve(compiled, x, y)["added"]

    # Up to any hour, more has been added: the room that was held higher lost more. 1e-9 kg/kg of
    # slack at the set-point is 5e-6 kg of the largest room.
    assert np.all(np.cumsum(more) >= np.cumsum(less) - 1e-5)


@given(problem=problems(), x=states, y=states, cut=st.integers(1, N_STEPS - 1))
def test_one_run_equals_two_with_the_state_handed_over(
    problem: Problem, x: float, y: float, cut: int
) -> None:
    whole = problem.solve(compiled, x, y)

    first = problem.between(0, cut).solve(compiled, x, y)
    second = problem.between(cut, N_STEPS).solve(compiled, first["x"], first["y"], first["film"])

    np.testing.assert_array_equal(whole["added"][cut:], second["added"])
    assert (whole["x"], whole["y"]) == (second["x"], second["y"])


@given(problem=problems(), x=states, y=states)
def test_films_are_never_negative_and_account_for_their_water(
    problem: Problem, x: float, y: float
) -> None:
    solved = problem.solve(compiled, x, y)

    film, stored = solved["film_end"], np.diff(solved["film_end"], axis=1, prepend=0.0)
    assert film.min(initial=0.0) >= 0.0
    assert np.all(film <= problem.most)
    assert solved["runoff"].min(initial=0.0) >= 0.0
    # Films are below 100 kg/m2 here, with a rounding of 1e-14.
    assert solved["taken"] == pytest.approx(stored + solved["runoff"], rel=1e-9, abs=1e-12)


@given(problem=problems(), x=states, y=states, rise=st.floats(0.0, 0.005))
def test_a_more_humid_room_never_has_less_film(
    problem: Problem, x: float, y: float, rise: float
) -> None:
    higher = replace(problem, low=np.minimum(problem.low + rise, problem.high))

    less, more = (each.solve(compiled, x, y) for each in (problem, higher))

    # A set-point is held, and a surface begins, within 2e-9 kg/kg: 3e-8 kg/m2 an hour.
    assert np.all(more["film_end"] >= less["film_end"] - N_STEPS * 3e-8)
    assert np.all(more["x_end"] >= less["x_end"] - 1e-7)


@given(problem=problems(), x=states, y=states, rise=st.floats(0.0, 0.005))
def test_warmer_surfaces_never_have_more_film(
    problem: Problem, x: float, y: float, rise: float
) -> None:
    warmer = replace(problem, x_sat=problem.saturation + rise)

    less, more = (each.solve(compiled, x, y) for each in (warmer, problem))

    assert np.all(more["film_end"] >= less["film_end"] - N_STEPS * 3e-8)


def test_a_film_dries_at_the_moment_it_is_used_up() -> None:
    """By hand: 2 m2 of wet glass in a room of 10 t, which hardly changes, at 0.002 kg/kg below.

    BETA 0.0033 kg/(m2 s) times 0.002 takes 6.6e-6 kg/(m2 s): a film of 11.88 g/m2 lasts 30 minutes.
    """
    problem = constant(
        2, mass=1e7, a_out=0.0, g_in=0.0, x_sat=np.full((1, 2), 0.007), area=np.array([2.0])
    )

    solved = problem.solve(source.cases, 0.005, 0.0, film=np.array([0.01188]))

    assert solved["taken"][0] == pytest.approx([-0.01188, 0.0])
    assert solved["x_end"][0] == pytest.approx(0.005 + 2 * 0.01188 / 1e7, rel=1e-12)
    # Evaporating evenly for half an hour adds half of what it has added then, for that half hour.
    mean_rise = (solved["sum_x"][0] / HOUR_S - 0.005) / (2 * 0.01188 / 1e7)
    assert mean_rise == pytest.approx(0.75, rel=1e-3)


def test_what_a_surface_cannot_hold_runs_off() -> None:
    problem = constant(
        3, mass=1e7, a_out=0.0, g_in=0.0, x_sat=np.full((1, 3), 0.002), area=np.array([0.0])
    )

    solved = problem.solve(source.cases, 0.005, 0.0)

    taken = 0.0033 * 0.003 * HOUR_S  # 35.6 g/m2 an hour
    assert solved["taken"][0] == pytest.approx([taken] * 3, rel=1e-6)
    assert solved["film_end"][0] == pytest.approx([taken, 2 * taken, 0.1], rel=1e-6)
    assert solved["runoff"][0] == pytest.approx([0.0, 0.0, 3 * taken - 0.1], rel=1e-5)
    assert solved["x"] == 0.005  # a watched surface takes nothing from the room


def test_a_wet_surface_lowers_the_set_point_until_it_is_dry() -> None:
    problem = constant(
        4, unlimited=True, low=0.006, low_wet=np.full(4, 0.003), wet_above=1e-3,
        x_sat=np.array([[0.005, 0.02, 0.02, 0.02]]), area=np.array([5.0]),
    )  # fmt: skip

    solved = problem.solve(source.cases, 0.004, 0.0)

    wet_at_start = np.concatenate([[0.0], solved["film_end"][0, :-1]]) > 1e-3
    assert wet_at_start.tolist() == [False, True, False, False]
    assert solved["x_end"][0] == pytest.approx(0.006)
    assert solved["x_end"][1] < 0.0055
    assert solved["x_end"][2:] == pytest.approx([0.006, 0.006])


@given(problem=problems())
def test_nothing_moves_where_nothing_flows(problem: Problem) -> None:
    """No source, no set-point, all at the reference: the departure stays zero to the last bit."""
    still = replace(
        problem, g_in=np.zeros(N_STEPS), low=np.full(N_STEPS, source.NEVER), unlimited=False,
        area=np.empty(0), x_sat=None,
    )  # fmt: skip

    solved = still.solve(compiled, 0.0, 0.0)

    assert not np.any(solved["x_end"])
    assert not np.any(solved["sum_x"])


def test_the_cache_is_named_after_the_sources(monkeypatch, tmp_path) -> None:
    monkeypatch.setenv("DEWMARGIN_CACHE_DIR", str(tmp_path))

    folder = kernel.cache_folder()

    assert folder.parent == tmp_path
    assert len(folder.name) == 16


def test_without_numba_the_year_runs_as_plain_python(monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "numba", None)
    monkeypatch.delitem(sys.modules, "dewmargin.kernel.source_compiled")

    assert kernel.cases() is source.cases


def test_a_cache_that_cannot_be_written_only_costs_time(monkeypatch, tmp_path) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    monkeypatch.setenv("DEWMARGIN_CACHE_DIR", str(tmp_path / "file"))
    monkeypatch.delitem(sys.modules, "dewmargin.kernel.source_compiled")

    decay = kernel.compiled().decay

    assert decay(1.0, source.PERHAPS_FAR) == source.decay(1.0, source.PERHAPS_FAR)


def test_threads_that_ask_at_once_get_a_whole_kernel() -> None:
    """A module being loaded is already known by its name: nobody may take it half."""
    names = [name for name in sys.modules if name.startswith("dewmargin.kernel.heat_compiled")]
    for name in names:
        del sys.modules[name]

    with ThreadPoolExecutor(8) as pool:
        solvers = list(pool.map(lambda _: kernel.room_temperature(), range(8)))

    assert all(solver is solvers[0] for solver in solvers)


def test_a_room_gets_the_same_bits_whether_numba_is_loaded_or_not(monkeypatch) -> None:
    random = np.random.default_rng(5)
    n = 400
    columns = [
        random.normal(5.0, 8.0, n),
        random.uniform(200.0, 300.0, n),
        random.uniform(150.0, 250.0, n),
        random.uniform(0.01, 0.9, n),
        random.uniform(0.1, 1.0, n),
        np.full(n, 20.0),
        random.uniform(0.0, 3e3, n),
    ]

    def followed() -> list[bytes]:
        outputs = [np.empty(n) for _ in range(3)]
        end = kernel.room_temperature()(20.0, 24.0, *columns, *outputs)
        return [np.float64(end).tobytes(), *(column.tobytes() for column in outputs)]

    fast = followed()
    monkeypatch.delitem(sys.modules, "numba")

    assert followed() == fast


@pytest.mark.slow
def test_numba_loads_without_scipy_and_finds_it_for_linear_algebra() -> None:
    code = """
import sys
import numpy as np
from dewmargin import kernel
kernel.compiled().cases
import numba
print("scipy" in sys.modules, [f for f in sys.meta_path if "dewmargin" in type(f).__module__])

@numba.njit
def solved(a):
    return np.linalg.inv(a) @ a

print(solved(np.eye(2)).tolist(), "scipy" in sys.modules)
"""
    got = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert got.stdout.splitlines() == ["False []", "[[1.0, 0.0], [0.0, 1.0]] True"]
