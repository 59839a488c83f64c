"""The reset lines that no other line beats in all goals, and the best of them within a limit.

Lines are sought on a grid that a controller can be set to: whole per cent at outdoor temperatures
5 K apart. A line that lies nowhere below another never has fewer hours of condensation and never
more hours that are too dry. So the two ends of a range of lines bound what any line between them
can reach, and ranges that cannot hold anything new are left out: lines of two points are searched
completely. Water, shortfall, cost and carbon have no such bounds: with one of them as a goal every
line of two points is tried. Lines of more points are sought from there, by small changes until none
is of use; of these the set need not be complete.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin import columns
from dewmargin.columns import Table
from dewmargin.core.display import shown
from dewmargin.errors import InputError
from dewmargin.reports import notebook
from dewmargin.reports.tables import rows
from dewmargin.scenario import Scenario, load
from dewmargin.solve import year_of_many
from dewmargin.solve.wetness import condenses
from dewmargin.studies.compare.comparison import compare_case
from dewmargin.studies.compare.verdict import Limits
from dewmargin.studies.frontier.lines import (
    RESET,
    STEP_K,
    SURFACE,
    Box,
    Space,
    neighbours,
    strategy_of,
    surface_rules,
)
from dewmargin.studies.frontier.trial import Trial
from dewmargin.studies.options.engine import Prepared, prepared
from dewmargin.studies.options.limit import Limit
from dewmargin.studies.options.record import about, write_tables

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.studies.compare.comparison import Comparison
    from dewmargin.studies.frontier.lines import Line
    from dewmargin.studies.frontier.trial import Numbers, Tried
    from dewmargin.units import Units
    from dewmargin.weather.epw import Weather

LEAST_PERCENT = 10  # of set-points sought, unless asked otherwise
MOST_ROUNDS = 60

CHOSEN = "best line"  # name of the strategy to be pasted

# What lies below in all hours has less of these, and more of those.
RISES = ("condensation_h", "wet_h", "runoff_h", "delivered_kg")
FALLS = ("dry_h", "below_band_percent_h")
# A drier room may take more: a pad that runs in other hours gives less of what it is fed.
UNBOUND = ("feed_l", "shortfall_kg", "shortfall_h", "cost", "co2_kg")
MORE_IS_BETTER = ("band_h",)
GOALS = (*MORE_IS_BETTER, *FALLS, *RISES, *UNBOUND)
DEFAULT_GOALS = ("band_h", "condensation_h")
# What stands behind a year number and its unit.
_WORDS = {
    "condensation_h": "with condensation",
    "runoff_h": "with run-off",
    "wet_h": "with wet surfaces",
    "dry_h": "too dry",
    "below_band_percent_h": "below the band",
    "band_h": "in the comfort band",
    "feed_l": "of water",
    "delivered_kg": "of vapour",
    "co2_kg": "of CO2",
    "cost": "of cost",
    "shortfall_kg": "short",
    "shortfall_h": "short of vapour",
}
# Of equals in all goals, the least of these, one after the other; then that of the fewest points.
TIES = ("below_band_percent_h", "delivered_kg")
_ROUNDING = 6  # decimals: what differs by less is equal

_NEEDS = "it needs surfaces, or prices and what the device uses"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Aim:
    """What is better: goals all alike, then ties one after the other; less is better."""

    goals: tuple[str, ...]
    limits: tuple[Limit, ...]
    season_h: float

    def harm(self, line: Line, numbers: Numbers) -> tuple[float, ...]:
        """Return the goals, then the ties."""
        goals = [-numbers[g] if g in MORE_IS_BETTER else numbers[g] for g in self.goals]
        ties = [numbers[name] for name in TIES]
        return (*(round(each, _ROUNDING) for each in (*goals, *ties)), float(len(line.points)))

    def least_harm(self, low: Numbers, high: Numbers) -> tuple[float, ...]:
        """Return what no line between two lines falls short of."""

        def least(name: str) -> float:
            if name == "band_h":
                return -(self.season_h - high["dry_h"] - low["humid_h"])
            if name in UNBOUND:
                return -np.inf
            return high[name] if name in FALLS else low[name]

        return (*(round(least(name), _ROUNDING) for name in (*self.goals, *TIES)), 0.0)

    def hopeless(self, low: Numbers) -> bool:
        """Tell whether every line above this one breaks a limit."""
        return any(limit.name in RISES and not limit.kept(low) for limit in self.limits)

    def kept(self, numbers: Mapping[str, float | None]) -> bool:
        """Tell whether all limits are kept."""
        return all(limit.kept(numbers) for limit in self.limits)


class _Front:
    """The harms that no other known one beats."""

    def __init__(self, n_goals: int) -> None:
        self._n = n_goals
        self.lines: list[Line] = []
        self._harm = np.empty((0, n_goals + len(TIES) + 1))

    def beats(self, harm: FloatArray) -> np.ndarray:
        """Tell which harms, a row each, some known line beats or equals."""
        goals, ties = harm[:, None, : self._n], harm[:, None, self._n :]
        known_goals, known_ties = self._harm[None, :, : self._n], self._harm[None, :, self._n :]
        no_worse = np.all(known_goals <= goals, axis=2)
        better = np.any(known_goals < goals, axis=2)
        first_apart = np.argmax(known_ties != ties, axis=2)[..., None]
        tie = np.take_along_axis(known_ties - ties, first_apart, axis=2)[..., 0]
        result: np.ndarray = np.any(no_worse & (better | (tie <= 0.0)), axis=1)
        return result

    def add(self, lines: Sequence[Line], harms: Sequence[tuple[float, ...]]) -> None:
        """Take in lines, and drop those that are beaten; of equals the first stays."""
        for line, harm in zip(lines, np.array(harms).reshape(-1, self._harm.shape[1]), strict=True):
            if self.beats(harm[None])[0]:
                continue
            mine = _Front(self._n)
            mine._harm = harm[None]
            stays = ~mine.beats(self._harm) if self.lines else np.zeros(0, dtype=bool)
            self.lines = [each for each, kept in zip(self.lines, stays, strict=True) if kept]
            self.lines.append(line)
            self._harm = np.vstack([self._harm[stays], harm])


def search(trial: Trial, goals: Sequence[str], limits: Sequence[Limit], after: Tried) -> list[Line]:
    """Return the lines that no other beats in all goals, the best in the first goal first."""
    aim = _Aim(goals=tuple(goals), limits=tuple(limits), season_h=trial.season_h)
    front, space = _Front(len(goals)), trial.space
    # The driest line may run no device, and so not ask for what is not known of it.
    most = trial.numbers([space.flat(space.high_percent, 0)], after=after, found=0)[0]
    for name in (*goals, *(limit.name for limit in limits)):
        if np.isnan(most[name]):
            raise InputError(f"{name} is not known here", where="goal or limit", hint=_NEEDS)
    for ahead in space.look_ahead_h:
        if RESET in space.rules:
            _two_points(trial, aim, front, ahead, after)
        if SURFACE in space.rules:
            _take(trial, aim, front, surface_rules(space, ahead), after)
    if RESET in space.rules and space.knots > 2:  # noqa: PLR2004 - those are searched completely
        _more_points(trial, aim, front, after)
    known = trial.numbers(front.lines, after=after, found=len(front.lines))
    pairs = zip(front.lines, known, strict=True)
    return [line for line, _ in sorted(pairs, key=lambda pair: aim.harm(*pair))]


def _take(
    trial: Trial, aim: _Aim, front: _Front, lines: Sequence[Line], after: Tried
) -> list[Numbers]:
    """Try lines, and take those into the front that keep the limits; return their numbers."""
    numbers = trial.numbers(lines, after=after, found=len(front.lines))
    kept = [i for i, each in enumerate(numbers) if aim.kept(each)]
    front.add([lines[i] for i in kept], [aim.harm(lines[i], numbers[i]) for i in kept])
    return numbers


def _two_points(trial: Trial, aim: _Aim, front: _Front, ahead: int, after: Tried) -> None:
    """Search the lines of two points completely, by halving ranges of them."""
    space = trial.space
    whole = (space.low_percent, space.high_percent)
    boxes = [Box(cold, mild, whole, whole) for cold, mild in combinations(space.t_out_c, 2)]
    while boxes:
        corners = [box.corners(space, ahead) for box in boxes]
        flat = [line for pair in corners for line in pair]
        numbers = _take(trial, aim, front, flat, after)
        lows, highs = numbers[::2], numbers[1::2]
        bounds = [aim.least_harm(low, high) for low, high in zip(lows, highs, strict=True)]
        beaten = front.beats(np.array(bounds))
        boxes = [
            half
            for box, low, lost in zip(boxes, lows, beaten, strict=True)
            if not lost and not aim.hopeless(low)
            for half in box.halves()
        ]


def _more_points(trial: Trial, aim: _Aim, front: _Front, after: Tried) -> None:
    """Change the lines of the front point by point, until no change is of use."""
    changed: set[Line] = set()
    for _ in range(MOST_ROUNDS):
        start = [line for line in front.lines if line.points and line not in changed]
        if not start:
            return
        changed.update(start)
        near = dict.fromkeys(n for line in start for n in neighbours(trial.space, line))
        _take(trial, aim, front, list(near), after)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frontier:
    """What a search found.

    Attributes
    ----------
    scenario : Scenario
        With the one equipment and supply that all lines were tried with.
    goals : tuple of str
    limits : tuple of Limit
    space : Space
    tried : int
        How many lines were tried.
    lines, numbers : tuple of Line, of mapping of str to float
        Those that no other beats, and their year numbers.
    chosen : Line or None
        The best in the first goal that keeps the limits once it is rounded; None if there is none.
    as_set : Comparison or None
        The chosen line as a controller is set, in whole per cent every 5 K, compared anew.
    """

    scenario: Scenario
    goals: tuple[str, ...]
    limits: tuple[Limit, ...]
    space: Space
    tried: int
    lines: tuple[Line, ...]
    numbers: tuple[Numbers, ...]
    chosen: Line | None
    as_set: Comparison | None

    def __repr__(self) -> str:
        """Return title, extent and what to choose in two lines."""
        return (
            f"<Frontier {self.scenario.title!r}: {len(self.lines)} of {self.tried} lines\n "
            f"{self.verdict}>"
        )

    @property
    def verdict(self) -> str:
        """Return in a sentence which line to choose, and what it brings as it is set."""
        return self.sentence()

    def sentence(self, units: Units = "si") -> str:
        """Return the verdict in a reader's units."""
        within = ", ".join(
            f"at most {self._words(limit.name, limit.most, units, digits='g')}"
            for limit in self.limits
        )
        if self.chosen is None or self.as_set is None:
            kept = any(all(limit.kept(row) for limit in self.limits) for row in self.numbers)
            no_line = "No line of the frontier, as it would be set," if kept else "No line"
            return f"{no_line} keeps to {within}; {self.tried} lines were tried."
        dry, row = (option.row for option in self.as_set.options[:2])
        season_h = sum(row[name] or 0.0 for name in ("dry_h", "band_h", "humid_h"))
        set_so = f"set in whole per cent every {STEP_K} K " if self.chosen.points else ""
        named = dict.fromkeys([*self.goals, *(limit.name for limit in self.limits)])
        others = "".join(
            f", {self._words(name, row[name] or 0.0, units)}" for name in named if name != "band_h"
        )
        return (
            f"Choose {self.chosen.short()}: {set_so}it has "
            f"{row['band_h'] or 0.0:.0f} of {season_h:.0f} heating-season hours in the comfort "
            f"band ({dry['band_h'] or 0.0:.0f} without){others}"
            + (f"; asked for {within}." if within else ".")
        )

    def _words(self, name: str, value: float, units: Units, *, digits: str = ".0f") -> str:
        """Return a year number with its unit and words; what has none goes by its column."""
        if name not in _WORDS:
            return f"{value:{digits}} {name}"
        column = next(column for column in columns.COMPARISON if column.name == name)
        tariff = self.scenario.tariff
        of = shown(column, units=units, currency=None if tariff is None else tariff.currency)
        return f"{float(of.of(value)):{digits}} {of.unit} {_WORDS[name]}"

    def lines_of_search(self) -> list[str]:
        """Return what was searched, and how far to trust it."""
        space = self.space
        lines = [
            (
                f"{self.tried} lines tried with {self.scenario.equipment[0].name!r} on "
                f"{self.scenario.supplies[0].name!r}, {len(self.lines)} of them on the frontier of "
                f"{', '.join(self.goals)}."
            ),
        ]
        if RESET in space.rules:
            by_changes = f", lines of up to {space.knots} by small changes of those."
            lines.append(
                f"Searched: points at {space.t_out_c[0]} to {space.t_out_c[-1]} °C every "
                f"{STEP_K} K, {space.low_percent} to {space.high_percent} % in whole per cent, "
                "never drier where it is milder; lines of two points completely"
                + (by_changes if space.knots > 2 else ".")  # noqa: PLR2004 - those completely
            )
        if self.scenario.control.swings:
            lines.append(
                "Searched with a controller that does not swing; as it is set, the best line is "
                "compared with the deadband, delay and times of [control]."
            )
        return lines

    def toml(self) -> str:
        """Return the chosen line as text to be pasted into a scenario."""
        return "" if self.chosen is None else self.chosen.toml(CHOSEN)

    def settings(self) -> Table:
        """Return what to set at each outdoor temperature of the climate, exactly as compared."""
        assert self.as_set is not None  # noqa: S101 - asked only where a line is chosen
        table = self.as_set.table("settings")
        points = {} if self.chosen is None else dict(_rounded(self.chosen, self.space).points)
        data = {name: list(values) for name, values in table.data.items()}
        for i, t_c in enumerate(data["t_out_c"]):
            if t_c in points:
                data["rh_set_frac"][i] = points[t_c] / 100.0
                data["rh_set_percent"][i] = points[t_c]
        return Table(columns=table.columns, data=data)

    def _repr_html_(self) -> str:
        """Return what a notebook shows: verdict, lines, and what to set."""
        tables = {"frontier": self.table()}
        excerpts = [notebook.OF_FRONTIER]
        if self.chosen is not None and self.as_set is not None:
            tables |= {"settings": self.settings()}
            excerpts += [
                notebook.of_settings(name) for name in tables["settings"].data["strategy"][:1]
            ]
        return notebook.fragment(self.scenario.title, [self.verdict], tables, excerpts)

    def document(self) -> dict[str, Any]:
        """Return what a program wants to know, for JSON."""
        best = self.as_set
        return {
            "title": self.scenario.title,
            "verdict": self.verdict,
            "goals": list(self.goals),
            "limits": {limit.name: limit.most for limit in self.limits},
            "tried": self.tried,
            "lines": rows(self.table()),
            "chosen": None if self.chosen is None else self.chosen.table(CHOSEN),
            "as_set": None if best is None else best.options[1].row,
            "settings": [] if best is None else rows(self.settings()),
        }

    def table(self) -> Table:
        """Return one row a line."""
        data: dict[str, list[Any]] = {
            "line": [*range(1, len(self.lines) + 1)],
            "rule": [line.rule for line in self.lines],
            "look_ahead_h": [float(line.look_ahead_h) for line in self.lines],
            "points": [_points(line) for line in self.lines],
            "margin_k": [line.margin_k for line in self.lines],
            "cap_percent": [float(line.cap_percent) or None for line in self.lines],
            "chosen": [line == self.chosen for line in self.lines],
        }
        data |= {name: [row[name] for row in self.numbers] for name in year_of_many.METRICS}
        return Table(columns=columns.FRONTIER, data=data)

    def write(self, out: Path, *, units: Units = "si") -> list[Path]:
        """Write the table, the chosen line and its settings, `manifest.json` last.

        Raises
        ------
        OutputError
            If a file cannot be written.
        """
        tables = {"frontier": self.table()}
        inputs = {f"scenario: {self.scenario.file.name}": self.scenario.sha256}
        texts: dict[str, bytes] = {}
        if self.chosen is not None and self.as_set is not None:
            inputs = self.as_set.about()["inputs_sha256"]
            tables |= {"settings": self.settings()}
            texts = {"strategy.toml": self.toml().encode()}
        said = about(self.scenario, inputs) | {
            "verdict": self.verdict,
            "verdict_sentences_ip": [self.sentence("ip")],
            "goals": list(self.goals),
            "limits": {limit.name: limit.most for limit in self.limits},
        }
        return write_tables(out, tables, said, texts, units=units)


def _points(line: Line) -> str | None:
    return json.dumps(line.table("")["points"]) if line.points else None


def best_lines(
    source: str | Path | Scenario,
    *,
    equipment: str | None = None,
    supply: str | None = None,
    goals: Sequence[str] = (),
    limits: Sequence[Limit] = (),
    knots: int = 2,
    look_ahead_h: Sequence[int] = (0,),
    rules: Sequence[str] = (RESET,),
    low_percent: int | None = None,
    high_percent: int | None = None,
    after: Tried = lambda _tried, _found: None,
) -> Frontier:
    """Search the lines of a scenario's building.

    Parameters
    ----------
    source : path or Scenario
        A scenario, whose own strategies are not used.
    equipment, supply : str, optional
        Names in the scenario; by default its first.
    goals : sequence of str
        Of `GOALS`; a line is kept if no other is as good in all and better in one. By default
        hours in the band, and of condensation if there are surfaces.
    limits : sequence of Limit
        What a line must keep; by default the condensation that the verdict of `compare` accepts.
    knots : int, 2 to 6
        Most points of a line; 2 are searched completely.
    look_ahead_h : sequence of int
        Hours of forecast to try, 0 for none.
    rules : sequence of str
        "outdoor_reset", "surface_limit" or both.
    low_percent, high_percent : int, optional
        Range of set-points; by default 10 % to the upper edge of the comfort band.
    after : callable
        Told how many lines were tried, and how many are kept so far.

    Raises
    ------
    InputError
        If a name or a range does not suit the scenario.
    """
    scenario = source if isinstance(source, Scenario) else load(source)
    weather = scenario.read_weather()
    case = scenario.case(weather)
    try:
        return _found(
            scenario,
            weather,
            case,
            equipment=equipment,
            supply=supply,
            goals=tuple(goals) or (DEFAULT_GOALS if case.surfaces else DEFAULT_GOALS[:1]),
            limits=tuple(limits),
            knots=knots,
            look_ahead_h=tuple(look_ahead_h),
            rules=tuple(rules),
            low_percent=low_percent,
            high_percent=high_percent,
            after=after,
        )
    except InputError as error:
        raise scenario.placed(error) from error


def _found(
    scenario: Scenario,
    weather: Weather | None,
    case: HourlyCase,
    *,
    equipment: str | None,
    supply: str | None,
    goals: tuple[str, ...],
    limits: tuple[Limit, ...],
    knots: int,
    look_ahead_h: tuple[int, ...],
    rules: tuple[str, ...],
    low_percent: int | None,
    high_percent: int | None,
    after: Tried,
) -> Frontier:
    device = _named(scenario.equipment, equipment, "equipment")
    feed = _named(scenario.supplies, supply, "supply")
    for goal in goals:
        if goal not in GOALS:
            raise InputError(
                f"{goal!r} is no goal", where="goal", hint=f"one of: {', '.join(GOALS)}"
            )
    only = replace(scenario, equipment=(device,), supplies=(feed,))
    if SURFACE in rules and not case.surfaces:
        raise InputError(
            "surface_limit needs at least one surface",
            where="rule",
            hint="add a [[surfaces]] table",
        )
    comfort = scenario.comfort
    low = LEAST_PERCENT if low_percent is None else low_percent
    high = round(100 * comfort.high_rh) if high_percent is None else high_percent
    if not 0 < low < high <= 100:  # noqa: PLR2004 - per cent
        raise InputError(
            f"set-points from {low} to {high} % are no range",
            where="range",
            hint="such as 10 to 50",
        )
    coldest = int(np.floor(scenario.control.measured(case).t_out_c.min() / STEP_K)) * STEP_K
    mildest = int(np.ceil(comfort.heating_season_below_c / STEP_K)) * STEP_K
    space = Space(
        t_out_c=tuple(range(coldest, max(mildest, coldest + STEP_K) + 1, STEP_K)),
        low_percent=low,
        high_percent=high,
        look_ahead_h=look_ahead_h,
        knots=knots,
        rules=rules,
    )
    building = prepared(case, scenario.comfort)
    accepted = limits or _accepted_by_verdict(scenario, building)
    asked = {*goals, *(limit.name for limit in accepted)}
    trial = Trial(
        only,
        building,
        device,
        feed,
        space=space,
        with_demand=bool(asked & set(year_of_many.OF_DEMAND)),
    )
    # A goal is shown beyond what is accepted of it.
    required = limits or tuple(limit for limit in accepted if limit.name not in goals)
    lines = search(trial, goals, required, after)
    numbers = trial.numbers(lines, after=after, found=len(lines))
    aim = _Aim(goals=goals, limits=accepted, season_h=trial.season_h)
    chosen, as_set = None, None
    for line in (line for line, each in zip(lines, numbers, strict=True) if aim.kept(each)):
        set_so = _as_set(only, weather, case, line, space)
        if aim.kept(set_so.options[1].row):
            chosen, as_set = line, set_so
            break
    return Frontier(
        scenario=only,
        goals=goals,
        limits=accepted,
        space=space,
        tried=trial.tried,
        lines=tuple(lines),
        numbers=tuple(numbers),
        chosen=chosen,
        as_set=as_set,
    )


def _accepted_by_verdict(scenario: Scenario, building: Prepared) -> tuple[Limit, ...]:
    """Return the condensation that the verdict of a comparison accepts, if there are surfaces."""
    if not building.case.surfaces:
        return ()
    wet = condenses(building.hours, building.baseline().w_kg_kg).any(axis=0)
    accepted = Limits.of(scenario.comfort, building.hours, scenario.tariff)
    # Hours are whole, so that a part of one counts for none.
    return (
        Limit(
            name="condensation_h",
            most=float(np.floor(np.count_nonzero(wet) + accepted.extra_condensation_h)),
        ),
    )


def _named(parts: Sequence[Any], name: str | None, kind: str) -> Any:  # noqa: ANN401 - what it is given
    if name is None:
        return parts[0]
    for part in parts:
        if part.name == name:
            return part
    names = ", ".join(repr(part.name) for part in parts)
    raise InputError(f"no {kind} is called {name!r}", where=kind, hint=f"one of: {names}")


def _as_set(
    scenario: Scenario, weather: Weather | None, case: HourlyCase, line: Line, space: Space
) -> Comparison:
    """Compare a line as it is set: whole per cent, rounded down, at every temperature."""
    strategy = strategy_of(_rounded(line, space), CHOSEN)
    return compare_case(replace(scenario, strategies=(strategy,)), weather, case)


def _rounded(line: Line, space: Space) -> Line:
    """Return a line with a point at every temperature, in whole per cent, rounded down."""
    if line.margin_k is not None:
        return line
    held = line.percent_at(np.array(space.t_out_c, dtype=np.float64))
    down = np.floor(held + 1e-9).astype(int).tolist()
    return replace(line, points=tuple(zip(space.t_out_c, down, strict=True)))
