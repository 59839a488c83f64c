"""What a device can do as a function of a few of its inputs, read off a few exact solutions.

A pad's year takes longer than the balance that uses it. Where only a few of its inputs vary, its
rates and uses in each step are smooth functions of these: a polynomial through the solutions at
Chebyshev's points gives them in a hundredth of the time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.kernel.tally import USES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Capability, Mode, Use

POINTS = {1: 5, 2: 4, 3: 3}  # of each input, by how many there are
FEWEST_POINTS = 2  # of each of more inputs
MOST_INPUTS = 7

_Leaf = tuple[str, str, str]  # mode, what, and which part of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """A capability between the solutions at the points of a grid.

    Attributes
    ----------
    nodes : tuple of float64 array
        The points of each input.
    first : Capability
        The solution at the first of them, for all that does not vary.
    leaves : tuple
        What varies.
    table : float64 array, shape (n_points, n_leaves * n_steps)
        Its values at all points.
    """

    nodes: tuple[FloatArray, ...]
    first: Capability
    leaves: tuple[_Leaf, ...]
    table: FloatArray

    def at(self, inputs: Sequence[Sequence[float]]) -> list[Capability]:
        """Return the capability at each of several sets of inputs."""
        if not self.leaves or not inputs:
            return [self.first] * len(inputs)
        weights = np.array([self._weights(point) for point in inputs])
        values = (weights @ self.table).reshape(len(inputs), len(self.leaves), -1)
        return [self._with(each) for each in values]

    def _weights(self, point: Sequence[float]) -> FloatArray:
        weights = np.ones(1)
        for x, nodes in zip(point, self.nodes, strict=True):
            weights = np.multiply.outer(weights, _weights(nodes, x)).ravel()
        return weights

    def _with(self, values: FloatArray) -> Capability:
        modes: dict[str, dict[str, FloatArray | Use]] = {}
        for (mode, what, part), value in zip(self.leaves, values, strict=True):
            changed = modes.setdefault(mode, {})
            if part:
                old = changed.get(what, getattr(getattr(self.first, mode), what))
                changed[what] = replace(old, **{part: value})
            else:
                changed[what] = value
        return replace(
            self.first,
            **{
                mode: replace(getattr(self.first, mode), **changed)
                for mode, changed in modes.items()
            },
        )


def response(
    solve: Callable[[tuple[float, ...]], Capability], ranges: Sequence[tuple[float, float]]
) -> Response:
    """Solve a capability at the points of a grid over ranges of its inputs.

    Parameters
    ----------
    solve : callable
        Returns the exact capability at a set of inputs.
    ranges : sequence of (float, float)
        Least and most of each input; an input that does not vary has one point.
    """
    n = POINTS.get(len(ranges), FEWEST_POINTS)
    nodes = tuple(_nodes(low, high, n) for low, high in ranges)
    solved = [solve(tuple(float(x) for x in point)) for point in product(*nodes)]
    first = solved[0]
    varied, columns = [], []
    for leaf in _leaves(first):
        values = [np.broadcast_to(_of(each, leaf), first.heat.r0_kg_s.shape) for each in solved]
        if any(not np.array_equal(each, values[0], equal_nan=True) for each in values[1:]):
            varied.append(leaf)
            columns.append(np.array(values))
    table = np.concatenate(columns, axis=1) if columns else np.empty((len(solved), 0))
    return Response(nodes=nodes, first=first, leaves=tuple(varied), table=table)


def _nodes(low: float, high: float, n: int) -> FloatArray:
    """Return Chebyshev's points, the ends included."""
    if high <= low:
        return np.array([low])
    result: FloatArray = 0.5 * (low + high) - 0.5 * (high - low) * np.cos(
        np.pi * np.arange(n) / (n - 1)
    )
    return result


def _weights(nodes: FloatArray, x: float) -> FloatArray:
    """Return Lagrange's weights of the nodes at a point."""
    apart = x - nodes
    gaps = nodes[:, None] - nodes[None, :]
    np.fill_diagonal(gaps, 1.0)
    others = np.where(np.eye(nodes.size, dtype=bool), 1.0, apart[None, :])
    result: FloatArray = np.prod(others / gaps, axis=1)
    return result


def _leaves(can: Capability) -> list[_Leaf]:
    modes = ["heat"] if can.added is None else ["heat", "added"]
    rates = [(mode, name, "") for mode in modes for name in ("r0_kg_s", "r1_kg_s")]
    return rates + [
        (mode, use, part) for mode in modes for use in USES for part in ("per_s", "per_kg")
    ]


def _of(can: Capability, leaf: _Leaf) -> FloatArray | float:
    mode: Mode = getattr(can, leaf[0])
    found = getattr(mode, leaf[1])
    value: FloatArray | float = getattr(found, leaf[2]) if leaf[2] else found
    return value
