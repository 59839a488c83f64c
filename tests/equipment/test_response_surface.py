"""Capabilities read off a few solutions, against the exact ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dewmargin.contracts import Capability, Mode, PartLoad, Use
from dewmargin.equipment.response_surface import POINTS, response
from dewmargin.scenario.targets import Target, with_said
from dewmargin.solve import balance
from stress_case import small

N = 6
RANGES = {
    "effectiveness": (0.55, 0.75),
    "airflow_kg_s": (0.0675, 0.1125),
    "contact_frac": (0.7, 1.0),
}


def made(x: float, y: float = 0.0) -> Capability:
    """Return a device all of whose numbers are polynomials of two inputs."""
    t = np.arange(N, dtype=np.float64)
    return Capability(
        heat_frac=np.full(N, 0.5),
        heat=Mode(
            r0_kg_s=x**4 + t,
            r1_kg_s=x * y + t,
            feed=Use(per_s=3.0 * y**3, per_kg=x**2 + x**2 * y**2 * t),
            fuel=Use(per_kg=np.where(t > 2, np.nan, x)),
        ),
        added=Mode(r0_kg_s=t, r1_kg_s=np.zeros(N), feed=Use(per_s=y)),
        standby_w=2.0 * x,
        resting_feed_kg_s=y**2,
        resting_heat_w=x * t,
        part_load=PartLoad(points=((0.0, 1.0),), rate_kg_s=x + y),
    )


def numbers(can: Capability) -> np.ndarray:
    """Return all that the tests look at, in one row."""
    modes = [
        value * np.ones(N)
        for mode in (can.heat, can.added)
        for value in (
            mode.r0_kg_s,
            mode.r1_kg_s,
            mode.feed.per_s,
            mode.feed.per_kg,
            mode.fuel.per_kg,
            mode.fan.per_s,
        )
    ]
    single = [can.standby_w, can.resting_feed_kg_s, can.part_load.rate_kg_s]
    return np.concatenate([*modes, can.resting_heat_w * np.ones(N), single])


@pytest.mark.parametrize("x", [1.0, 1.3, 2.0])
@pytest.mark.parametrize("y", [-1.0, 0.2, 3.0])
def test_polynomials_come_back_whatever_they_are_of(x: float, y: float) -> None:
    """Of one input to the fourth power, of two together to the square of each: exact."""
    found = response(lambda p: made(*p), [(1.0, 2.0), (-1.0, 3.0)]).at([x, y])

    np.testing.assert_allclose(numbers(found), numbers(made(x, y)), rtol=1e-12, atol=1e-12)


def test_what_does_not_vary_is_left_as_it_is() -> None:
    found = response(lambda p: made(1.5, p[0]), [(0.0, 1.0)]).at([0.4])

    assert found.heat.r0_kg_s is not None
    assert found.standby_w == 3.0
    np.testing.assert_array_equal(found.heat.r0_kg_s, made(1.5).heat.r0_kg_s)


def test_without_a_range_there_is_one_solution() -> None:
    solved = []

    def solve(point) -> Capability:
        solved.append(point)
        return made(*point)

    found = response(solve, [(1.0, 1.0), (2.0, 2.0)]).at([1.0, 2.0])
    nothing = response(lambda _: made(1.0), []).at([])

    assert solved == [(1.0, 2.0)]
    np.testing.assert_array_equal(numbers(found), numbers(made(1.0, 2.0)))
    np.testing.assert_array_equal(numbers(nothing), numbers(made(1.0)))


@pytest.fixture(scope="module")
def pad(tmp_path_factory):
    """Return what solves the small house's pad at some of its inputs, and what it holds."""
    scenario = small(tmp_path_factory.mktemp("pad"))
    case = scenario.with_surfaces(scenario.case(scenario.read_weather()))
    system = replace(case.air_system, heat_frac=np.clip(case.air_system.heat_frac, 0.05, 0.95))
    case = replace(case, air_system=system)
    w_set = balance.setpoint_humidity_ratio(case, scenario.strategies[0].setpoint(case))
    base = balance.baseline(case).w_kg_kg

    def solve(point) -> Capability:
        said = {
            Target(part="equipment", index=0, keys=(key,)): value
            for key, value in zip(RANGES, point, strict=False)
        }
        drawn = with_said(scenario, said)
        return drawn.equipment[0].capability(
            case,
            drawn.supplies[0].feed_water(case),
            w_base_kg_kg=base,
            w_set_kg_kg=w_set,
            demand_kg_s=None,
        )

    return solve, w_set


@pytest.mark.parametrize("n_inputs", [1, 2, 3])
def test_a_pad_between_its_solutions_is_within_3_in_1000(pad, n_inputs: int) -> None:
    """The limit is the project's own goal; at the points themselves it is exact."""
    solve, w_set = pad
    ranges = list(RANGES.values())[:n_inputs]
    found = response(solve, ranges)
    rng = np.random.default_rng(1)
    middle = [0.5 * (low + high) for low, high in ranges]
    nodes = [[*middle[:i], low, *middle[i + 1 :]] for i, (low, _) in enumerate(ranges)]

    def rate(can) -> np.ndarray:
        return np.maximum(can.heat.r0_kg_s - can.heat.r1_kg_s * w_set, 0.0)

    for point in nodes:
        np.testing.assert_allclose(rate(found.at(point)), rate(solve(point)), rtol=1e-12)
    for _ in range(8):
        point = [rng.uniform(low, high) for low, high in ranges]
        read, exact = found.at(point), solve(point)
        np.testing.assert_allclose(rate(read), rate(exact), rtol=3e-3)
        for name in ("feed", "brought", "feed_heat"):
            given = 3600.0 * rate(exact)
            both = [
                getattr(c.heat, name).total(np.full(w_set.size, 3600.0), given)
                for c in (read, exact)
            ]
            np.testing.assert_allclose(both[0], both[1], rtol=3e-3)


def test_the_number_of_solutions_grows_slowly() -> None:
    """One in the middle, four more for each input, four for each pair."""
    solved = []

    def solve(point) -> Capability:
        solved.append(point)
        return made(point[0])

    response(solve, [(0.0, 1.0)] * 4)

    assert POINTS == 5
    assert len(solved) == 1 + 4 * 4 + 6 * 4


def test_a_use_that_is_the_same_in_all_steps_becomes_one_number() -> None:
    """Rates stay rows; what is not known in some steps does, too."""

    def solve(inputs: tuple[float, ...]) -> Capability:
        can = made(*inputs)
        zero = np.zeros(N)
        return replace(can, heat=replace(can.heat, fan=Use(per_s=zero, per_kg=zero + np.nan)))

    heat = response(solve, [(0.2, 0.8), (1.0, 2.0)]).first.heat

    assert heat.fan.per_s == 0.0
    assert np.isnan(heat.fan.per_kg).all()
    assert heat.r0_kg_s.shape == (N,)
