"""Rules that a controller could be set to, and ranges of them."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.scenario import strategies_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Strategy

STEP_K = 5  # between the temperatures at which a line may have a point
MARGINS_K = tuple(0.5 * i for i in range(13))  # of the rule that knows the surfaces
CAP_STEP_PERCENT = 5
MOVES_PERCENT = (-4, -2, -1, 1, 2, 4)

RESET, SURFACE = "outdoor_reset", "surface_limit"


@dataclass(frozen=True, slots=True)
class Line:
    """A rule that a controller could be set to.

    Attributes
    ----------
    look_ahead_h : int
        Hours of forecast; 0 is none.
    points : tuple of (int, int)
        Outdoor temperature and relative humidity. [°C, %]
    margin_k : float or None
        Of the rule that knows the surfaces, in the place of points; `cap_percent` is its most.
    """

    look_ahead_h: int
    points: tuple[tuple[int, int], ...] = ()
    margin_k: float | None = None
    cap_percent: int = 0

    @property
    def rule(self) -> str:
        """Return the name of the rule."""
        return RESET if self.margin_k is None else SURFACE

    def table(self, name: str) -> dict[str, Any]:
        """Return it as a table of a scenario."""
        table: dict[str, Any] = {"name": name, "rule": self.rule}
        if self.margin_k is None:
            table["points"] = [[t_c, percent / 100.0] for t_c, percent in self.points]
        else:
            table |= {"margin_k": self.margin_k, "cap_rh": self.cap_percent / 100.0}
        if self.look_ahead_h:
            table["look_ahead"] = {"hours": self.look_ahead_h}
        return table

    def toml(self, name: str) -> str:
        """Return it as text to be pasted into a scenario."""
        lines = ["[[strategies]]"]
        for key, value in self.table(name).items():
            text = f"{{ hours = {value['hours']} }}" if key == "look_ahead" else json.dumps(value)
            lines.append(f"{key} = {text}")
        return "\n".join(lines) + "\n"

    def percent_at(self, t_out_c: FloatArray) -> FloatArray:
        """Return relative humidity by its points, flat beyond them. [%]."""
        t_c, percent = (np.array(each, dtype=np.float64) for each in zip(*self.points, strict=True))
        return np.interp(t_out_c, t_c, percent)

    def short(self) -> str:
        """Return it as words: -20 °C 18 %, 5 °C 40 %."""
        if self.margin_k is None:
            words = ", ".join(f"{t_c} °C {percent} %" for t_c, percent in self.points)
        else:
            words = f"surfaces {self.margin_k:g} K dry, at most {self.cap_percent} %"
        return words + (f", {self.look_ahead_h} h ahead" if self.look_ahead_h else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """What is searched.

    Attributes
    ----------
    t_out_c : tuple of int
        Temperatures at which a line may have a point. [°C]
    low_percent, high_percent : int
        Least and most relative humidity. [%]
    look_ahead_h : tuple of int
        Hours of forecast, 0 for none.
    knots : int
        Most points of a line.
    rules : tuple of str
        "outdoor_reset", "surface_limit" or both.
    """

    t_out_c: tuple[int, ...]
    low_percent: int
    high_percent: int
    look_ahead_h: tuple[int, ...] = (0,)
    knots: int = 2
    rules: tuple[str, ...] = (RESET,)

    def flat(self, percent: int, look_ahead_h: int) -> Line:
        """Return the line of one humidity."""
        return Line(look_ahead_h, ((self.t_out_c[0], percent),))

    def holds(self, points: Sequence[tuple[int, int]]) -> bool:
        """Tell whether a line has these points: apart, never drier where milder, in the range."""
        t_c, percent = zip(*points, strict=True)
        fits = self.low_percent <= percent[0] and percent[-1] <= self.high_percent
        apart = len(set(t_c)) == len(points) <= self.knots
        return fits and apart and list(percent) == sorted(percent)

    def line(self, points: Sequence[tuple[int, int]], look_ahead_h: int) -> Line:
        """Return a line by its shortest set of points: what lies on a straight line is left out."""
        kept = list(points)
        while len(kept) > 1 and kept[0][1] == kept[1][1]:
            kept.pop(0)
        while len(kept) > 1 and kept[-1][1] == kept[-2][1]:
            kept.pop()
        if len(kept) == 1:
            return self.flat(kept[0][1], look_ahead_h)
        i = 1
        while i < len(kept) - 1:
            (t0, p0), (t1, p1), (t2, p2) = kept[i - 1 : i + 2]
            if (p1 - p0) * (t2 - t1) == (p2 - p1) * (t1 - t0):
                kept.pop(i)
            else:
                i += 1
        return Line(look_ahead_h, tuple(kept))


@dataclass(frozen=True, slots=True)
class Box:
    """Lines of two points with their humidities in two ranges. [°C, %]."""

    cold_c: int
    mild_c: int
    cold: tuple[int, int]
    mild: tuple[int, int]

    def corners(self, space: Space, look_ahead_h: int) -> tuple[Line, Line]:
        """Return the lines than which no line of the box lies lower, or higher."""
        low = (self.cold[0], max(self.mild[0], self.cold[0]))
        high = (min(self.cold[1], self.mild[1]), self.mild[1])
        made = [
            space.line([(self.cold_c, c), (self.mild_c, m)], look_ahead_h) for c, m in (low, high)
        ]
        return made[0], made[1]

    def halves(self) -> list[Box]:
        """Return the box in two, across its longer side; nothing if it is one line."""
        cold_wide = self.cold[1] - self.cold[0]
        mild_wide = self.mild[1] - self.mild[0]
        if not cold_wide and not mild_wide:
            return []
        first, last = self.cold if cold_wide >= mild_wide else self.mild
        middle = (first + last) // 2
        ranges = ((first, middle), (middle + 1, last))
        if cold_wide >= mild_wide:
            parts = [replace(self, cold=part) for part in ranges]
        else:
            parts = [replace(self, mild=part) for part in ranges]
        # A line may not fall as it gets milder.
        return [part for part in parts if part.cold[0] <= part.mild[1]]


def surface_rules(space: Space, ahead: int) -> list[Line]:
    """Return the rules that know the surfaces, by margin and cap."""
    caps = range(space.low_percent, space.high_percent + 1, CAP_STEP_PERCENT)
    return [Line(ahead, margin_k=m, cap_percent=cap) for m in MARGINS_K for cap in caps]


def neighbours(space: Space, line: Line) -> list[Line]:
    """Return the lines that differ at one temperature, moved or without a point of their own.

    What is moved takes its sides along, or leaves one or both where they are: without these points
    a line that touches its limit at one temperature could not rise at the next.
    """
    found: list[Line] = []
    held = line.percent_at(np.array(space.t_out_c, dtype=np.float64))
    on_line = dict(zip(space.t_out_c, np.floor(held + 1e-9).astype(int).tolist(), strict=True))
    points = dict(line.points)

    def offer(changed: dict[int, int]) -> None:
        if changed and space.holds(sorted(changed.items())):
            found.append(space.line(sorted(changed.items()), line.look_ahead_h))

    for t_c, percent in on_line.items():
        sides = {t: on_line[t] for t in (t_c - STEP_K, t_c + STEP_K) if t in on_line}
        pins = [dict(kept) for n in range(3) for kept in combinations(sides.items(), n)]
        for pinned in pins:
            for move in MOVES_PERCENT:
                offer(points | pinned | {t_c: percent + move})
    for t_c, percent in line.points:
        others = {t: p for t, p in points.items() if t != t_c}
        offer(others)
        for t_other in (t_c - STEP_K, t_c + STEP_K):
            if t_other in on_line and t_other not in others:
                offer(others | {t_other: percent})
    return found


def strategy_of(line: Line, name: str) -> Strategy:
    """Return a line as the strategy that a scenario would have."""
    return strategies_of([line.table(name)], Path("frontier"))[0]
