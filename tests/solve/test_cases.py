"""Cases of several buildings side by side, against each building alone."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from cases import small_case
from dewmargin.errors import OutOfRangeError
from dewmargin.kernel.source import LANES, NEVER
from dewmargin.solve import balance, cases

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase

N = 24 * 40


def cases_of(case: HourlyCase, n: int) -> tuple[cases.Building, cases.Cases]:
    """Return a building with no humidifier and with some without limit."""
    of = cases.building(case)
    sets = [NEVER, *np.linspace(0.003, 0.009, n - 1)]
    of_device = [0, *[1] * (n - 1)]
    return of, cases.Cases(
        low=np.array([of.to_hold(np.full(case.n_steps, w)) for w in sets]),
        devices=[cases.device(case, balance.idle(case.n_steps)), cases.device(case, None)],
        of_low=[*range(n)],
        of_low_wet=[*range(n)],
        of_device=of_device,
        wet_above_kg_m2=np.full((n, len(case.surfaces)), np.inf),
    )


def several(**changes: object) -> list[tuple[cases.Building, cases.Cases]]:
    """Return buildings with two surfaces, with one and with none, and unlike numbers of cases.

    In one of them frost grows from year to year where the room is humid enough.
    """
    case = small_case(N, **changes)
    cold = tuple(replace(s, t_surface_c=s.t_surface_c - 10.0) for s in case.surfaces)
    return [
        cases_of(case, 5),
        cases_of(replace(case, surfaces=case.surfaces[:1]), 4),
        cases_of(replace(case, surfaces=cold, gains_kg_s=0.0 * case.gains_kg_s), 30),
        cases_of(replace(case, surfaces=()), 3),
        cases_of(replace(case, buffer_kg=3000.0, buffer_kg_s=0.1), 1),
    ]


def bits(ran: cases.Ran) -> list[bytes]:
    """Return all that ran as bytes."""
    states = [[s.x, s.y, s.film_kg_m2] for s in (ran.begins, ran.ends)]
    return [a.tobytes() for a in (ran.steps, ran.films, *states[0], *states[1])]


@pytest.mark.parametrize("wraps", [False, True])
def test_buildings_side_by_side_are_as_each_is_alone(wraps, monkeypatch) -> None:
    of = several(wraps=wraps)
    alone = [cases.solve(*each) for each in of]
    asked = []
    run = cases._run
    monkeypatch.setattr(cases, "_run", lambda *args: asked.append(args) or run(*args))

    together = cases.solve_all(of)

    assert [bits(ran) for ran in together] == [bits(ran) for ran in alone]
    assert sum(each.n for _, each in of) > LANES
    # Only the cases in which frost grows, 29 of 30 in one building, are followed again to the end.
    sizes = [[each.n for _, each in args[0]] for args in asked]
    assert ([29] in sizes) == wraps
    # Backwards, in the company of others.
    backwards = cases.solve_all(of[::-1])[::-1]
    assert [bits(ran) for ran in backwards] == [bits(ran) for ran in alone]


def test_buildings_side_by_side_start_where_each_is_told_to() -> None:
    of = several()
    starts = [ran.ends for ran in cases.solve_all(of)]

    together = cases.solve_all(of, starts=starts)

    for each, start, ran in zip(of, starts, together, strict=True):
        assert bits(ran) == bits(cases.solve(*each, start=start))
        assert ran.begins is start


def test_buildings_with_other_steps_cannot_go_side_by_side() -> None:
    month, week = (cases_of(small_case(n, wraps=n == N), 2) for n in (N, 168))

    with pytest.raises(OutOfRangeError) as caught:
        cases.solve_all([month, week])

    assert str(caught.value) == (
        "balance: buildings side by side must have the same steps, got 960 of 3600 s, a whole "
        "year, 168 of 3600 s, a part of a year"
    )
