"""Capability of a device [kg/s] over a few of its inputs, read off a few exact solutions.

A pad's year takes longer than the balance that uses it. Where only a few of its inputs vary, its
rates and uses in each step are smooth functions of these: polynomials of each input, and of each
two, through the solutions at Chebyshev's points give them in a tenth of the time or less.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations, product
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.contracts import USES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Capability

POINTS = 5  # of each input alone; of two together, their ends
PAIR = 2
MOST_INPUTS = 7

_OF_USE = ("per_s", "per_kg")
_Leaf = tuple[str, ...]  # names of attributes, from a capability down to a number or a row
# What is one number for all steps.
_NUMBERS: tuple[_Leaf, ...] = (
    ("standby_w",),
    ("resting_feed_kg_s",),
    ("part_load", "rate_kg_s"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """A capability between the solutions at the points of a grid.

    Attributes
    ----------
    nodes : tuple of float64 array
        Values of each input.
    points : tuple of tuple of int
        Which of them was solved with which.
    away : tuple of tuple of int
        Which inputs are not at their middle, point by point.
    first : Capability
        The solution at the first of them, for all that does not vary.
    leaves, numbers : tuple
        What varies from step to step, and what does not.
    table : float64 array, shape (n_points, n_leaves * n_steps + n_numbers)
        What each point adds beyond those that have fewer inputs away from the middle.
    """

    nodes: tuple[FloatArray, ...]
    points: tuple[tuple[int, ...], ...]
    away: tuple[tuple[int, ...], ...]
    first: Capability
    leaves: tuple[_Leaf, ...]
    numbers: tuple[_Leaf, ...]
    table: FloatArray

    def at(self, inputs: Sequence[float]) -> Capability:
        """Return the capability at a set of inputs."""
        if not self.table.size:
            return self.first
        # Not by matrix product, whose last digits may depend on how it is shared out.
        return self._with(np.einsum("p,ps->s", self._shares(inputs), self.table))

    def _shares(self, inputs: Sequence[float]) -> FloatArray:
        """Return how much counts of what each point adds.

        By Lagrange's polynomials: of an input alone through all its values, of two together through
        ends and middle.
        """
        alone, both = [], []
        for nodes, x in zip(self.nodes, inputs, strict=True):
            ends = _ends(nodes)
            alone.append(_lagrange(nodes.tolist(), x))
            both.append(dict(zip(ends, _lagrange(nodes[ends].tolist(), x), strict=True)))
        return np.array(
            [
                math.prod((alone if len(away) == 1 else both)[i][point[i]] for i in away)
                for point, away in zip(self.points, self.away, strict=True)
            ]
        )

    def _with(self, values: FloatArray) -> Capability:
        n = values.size - len(self.numbers)
        of_steps = values[:n].reshape(len(self.leaves), -1)
        found = self.first
        for leaf, row in zip(self.leaves, of_steps, strict=True):
            found = _changed(found, leaf, row)
        for leaf, value in zip(self.numbers, values[n:].tolist(), strict=True):
            found = _changed(found, leaf, value)
        return found


def response(
    solve: Callable[[tuple[float, ...]], Capability], ranges: Sequence[tuple[float, float]]
) -> Response:
    """Solve a capability at points of a grid over ranges of its inputs.

    Parameters
    ----------
    solve : callable
        Returns the exact capability at a set of inputs.
    ranges : sequence of (float, float)
        Least and most of each input; an input that does not vary has one point.
    """
    nodes = tuple(_nodes(low, high) for low, high in ranges)
    points = tuple(
        point
        for point in product(*(range(each.size) for each in nodes))
        if _is_solved(point, nodes)
    )
    solved = [
        solve(tuple(float(each[k]) for k, each in zip(point, nodes, strict=True)))
        for point in points
    ]
    first = solved[0]
    shape = first.heat.r0_kg_s.shape

    def values(leaf: _Leaf) -> FloatArray:
        shape_of_leaf = () if leaf in _NUMBERS else shape
        return np.array([np.broadcast_to(_of(each, leaf), shape_of_leaf) for each in solved])

    columns = {leaf: values(leaf) for leaf in _leaves(first)}
    varied = {
        leaf: column.reshape(len(solved), -1)
        for leaf, column in columns.items()
        if any(not np.array_equal(each, column[0], equal_nan=True) for each in column[1:])
    }
    for leaf, column in columns.items():
        # A use that is one number in all steps costs least as such; rates have to be rows.
        if leaf[-1] in _OF_USE and leaf not in varied and np.all(column[0] == column[0, 0]):
            first = _changed(first, leaf, float(column[0, 0]))
    return Response(
        nodes=nodes,
        points=points,
        away=tuple(_away(point, nodes) for point in points),
        first=first,
        leaves=tuple(leaf for leaf in varied if leaf not in _NUMBERS),
        numbers=tuple(leaf for leaf in varied if leaf in _NUMBERS),
        table=_added(
            np.concatenate([np.empty((len(solved), 0)), *varied.values()], axis=1), points, nodes
        ),
    )


def _added(
    values: FloatArray, points: Sequence[tuple[int, ...]], nodes: Sequence[FloatArray]
) -> FloatArray:
    """Return what each point adds to those that have fewer inputs away from the middle."""
    place = {point: i for i, point in enumerate(points)}
    added = values.copy()
    for point in sorted(points, key=lambda point: len(_away(point, nodes))):
        away = _away(point, nodes)
        for n_kept in range(len(away)):
            for kept in combinations(away, n_kept):
                less = tuple(k if i in kept else _middle(nodes[i]) for i, k in enumerate(point))
                added[place[point]] -= added[place[less]]
    return added


def _nodes(low: float, high: float) -> FloatArray:
    """Return Chebyshev's points, the ends included."""
    if high <= low:
        return np.array([low])
    result: FloatArray = 0.5 * (low + high) - 0.5 * (high - low) * np.cos(
        np.pi * np.arange(POINTS) / (POINTS - 1)
    )
    return result


def _middle(nodes: FloatArray) -> int:
    return nodes.size // 2


def _ends(nodes: FloatArray) -> list[int]:
    """Return the places of ends and middle; one for a single value."""
    return sorted({0, _middle(nodes), nodes.size - 1})


def _away(point: tuple[int, ...], nodes: Sequence[FloatArray]) -> tuple[int, ...]:
    """Return the inputs that are not at their middle."""
    each = enumerate(zip(point, nodes, strict=True))
    return tuple(i for i, (k, of_input) in each if k != _middle(of_input))


def _is_solved(point: tuple[int, ...], nodes: Sequence[FloatArray]) -> bool:
    away = _away(point, nodes)
    return len(away) <= 1 or (len(away) == PAIR and all(point[i] in _ends(nodes[i]) for i in away))


def _lagrange(nodes: Sequence[float], x: float) -> list[float]:
    """Return Lagrange's weights of the nodes at a point; so few are quicker without numpy."""
    return [
        math.prod((x - other) / (node - other) for j, other in enumerate(nodes) if j != i)
        for i, node in enumerate(nodes)
    ]


def _leaves(can: Capability) -> list[_Leaf]:
    """Return all that may vary, rows before numbers."""
    modes = ["heat"] if can.added is None else ["heat", "added"]
    rates = [(mode, name) for mode in modes for name in ("r0_kg_s", "r1_kg_s")]
    uses = [(mode, use, part) for mode in modes for use in USES for part in _OF_USE]
    numbers = [n for n in _NUMBERS if n[0] != "part_load" or can.part_load is not None]
    return [*rates, *uses, ("resting_heat_w",), ("resting_line_w",), *numbers]


def _of(part: Any, leaf: _Leaf) -> FloatArray | float:  # noqa: ANN401 - from a capability down
    for name in leaf:
        part = getattr(part, name)
    found: FloatArray | float = part
    return found


def _changed(part: Any, leaf: _Leaf, value: FloatArray | float) -> Any:  # noqa: ANN401 - idem
    """Return a record with one of its values changed, however deep it lies."""
    first, *rest = leaf
    inner = _changed(getattr(part, first), tuple(rest), value) if rest else value
    return replace(part, **{first: inner})
