"""Targets: places in a scenario that can be moved, by a doubt or an axis, and what comes of it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import BaseModel

from dewmargin.core.toml_file import changed
from dewmargin.errors import InputError
from dewmargin.scenario.doubts import Distribution, Doubt
from dewmargin.scenario.surface import SurfaceInput
from dewmargin.strategies.modified import Modified
from dewmargin.weather.epw import Weather, read_epw

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.scenario import Scenario

_PLACE = re.compile(r"(?P<part>[a-z_]+)(\[(?P<index>\d+|\*)\])?((?P<keys>(\.[a-z0-9_]+)+))")
Change = tuple[tuple[str, ...], Any]  # keys, and what they say
PartOf = Callable[[str, int | None, tuple[Change, ...]], Any]
LISTS = ("surfaces", "strategies", "equipment", "supplies")
SINGLE = ("weather", "space", "comfort", "control", "tariff")
Row = tuple[Any, ...]  # what each target says
Draw = tuple[Any, ...]  # what each doubt is drawn as
KEPT = 32  # cases that may be asked for again soon
KEPT_PARTS = 256  # idem, parts of a scenario


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """One place in a scenario that a doubt moves."""

    part: str
    index: int | None
    keys: tuple[str, ...]
    kind: str = ""  # of the space

    @property
    def where(self) -> str:
        """Return its key."""
        index = "" if self.index is None else f"[{self.index}]"
        return ".".join((self.part + index, *([self.kind] if self.kind else []), *self.keys))


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A doubt with the places in the scenario that it moves, what they say, and may say."""

    doubt: Doubt
    targets: tuple[Target, ...]
    own: tuple[Any, ...]
    bounds: tuple[tuple[float, float], ...]

    @property
    def name(self) -> str:
        """Return what reports call it."""
        return self.doubt.input

    def values(self, draw: Any) -> Iterator[Any]:  # noqa: ANN401 - a number or a text
        """Yield what each of its places says for a draw, kept to what it may say."""
        for own, (low, high) in zip(self.own, self.bounds, strict=True):
            value = draw
            if self.doubt.acts == "factor":
                value = own * draw
            elif self.doubt.acts == "offset":
                value = own + draw
            yield value if self.doubt.distribution == "choice" else min(max(value, low), high)


def placed(scenario: Scenario, doubts: Sequence[Doubt], case: HourlyCase) -> list[Placed]:
    """Find what each doubt moves; `case` is the scenario's own.

    Raises
    ------
    InputError
        If a key is not in the scenario, says no number to be moved, or two doubts move one place.
    """
    found: list[Placed] = []
    taken: dict[Target, int] = {}
    for i, doubt in enumerate(doubts):
        where = f"doubts[{i}].input"
        targets = _targets(scenario, doubt, where)
        own = [_value(_part(scenario, t), t.keys) for t in targets]
        for target, value in zip(targets, own, strict=True):
            number = isinstance(value, (int, float)) and not isinstance(value, bool)
            if doubt.acts != "value" and not number:
                raise InputError(
                    f"{target.where} says no number that a draw could move",
                    where=f"doubts[{i}].acts",
                    hint='give low and high of the value itself, with acts = "value"',
                )
            if target in taken:
                raise InputError(
                    f"{target.where} is moved by doubts[{taken[target]}] too", where=where
                )
            taken[target] = i
        may = [_bounds(scenario, target, case) for target in targets]
        found.append(Placed(doubt=doubt, targets=tuple(targets), own=tuple(own), bounds=tuple(may)))
    return found


def default_doubts(scenario: Scenario, case: HourlyCase) -> list[Doubt]:
    """Return the doubts of a scenario that names none, each with where its spread comes from.

    Those that do not suit it are left out: a key that nothing says, that would be ignored, or that
    does not go with others at the ends of its spread.
    """
    usual = [
        _factor(
            "space.house.leakage_m3_h_at_50pa",
            "lognormal",
            median=1.0,
            sd_log=0.2,
            source="engineering default: blower door and leakage model together, no source",
        ),
        Doubt(
            input="space.house.gains_factor",
            distribution="uniform",
            low=0.35,
            high=0.85,
            source="engineering default: low side of the design rate, of which 1 is for envelopes",
        ),
        _factor(
            "space.house.moisture_kg_day",
            "triangular",
            low=0.7,
            mode=1.0,
            high=1.3,
            source="engineering default, no source",
        ),
        Doubt(
            input="surfaces[*].index_change",
            acts="offset",
            distribution="normal",
            mean=0.0,
            sd=0.03,
            source="engineering default: how far edges of one kind of glazing differ",
        ),
        _factor(
            "equipment[*].contact_frac",
            "uniform",
            low=0.7,
            high=1.0,
            source="unknown until the drain is measured (judgement, no field data known)",
        ),
        _factor(
            "equipment[*].effectiveness",
            "triangular",
            low=0.85,
            mode=1.0,
            high=1.15,
            source="±15 % before commissioning (judgement)",
        ),
        _factor(
            "equipment[*].airflow_kg_s",
            "triangular",
            low=0.75,
            mode=1.0,
            high=1.25,
            source="±25 % before commissioning (judgement)",
        ),
        Doubt(
            input="control.rh_bias",
            acts="offset",
            distribution="normal",
            mean=0.0,
            sd=0.025,
            source="±2 to 5 points are usual (common practice, no source)",
        ),
        Doubt(
            input="control.outdoor_bias_k",
            acts="offset",
            distribution="normal",
            mean=0.0,
            sd=1.0,
            source="engineering default: sun and warm walls at the sensor, no source",
        ),
    ]
    return [doubt for doubt in usual if _suits(scenario, doubt, case)]


def _factor(key: str, distribution: Distribution, **spread: Any) -> Doubt:  # noqa: ANN401 - checked by Doubt
    return Doubt(input=key, acts="factor", distribution=distribution, **spread)


def _suits(scenario: Scenario, doubt: Doubt, case: HourlyCase) -> bool:
    try:
        (found,) = placed(scenario, [doubt], case)
        for draw in doubt.ends():
            with_said(scenario, dict(zip(found.targets, found.values(draw), strict=True)))
    except InputError:
        return False
    return True


def with_said(
    scenario: Scenario, said: Mapping[Target, Any], part_of: PartOf | None = None
) -> Scenario:
    """Return the scenario with what some of its places say instead, checked as if it were read.

    `part_of` does what `said_part` does for this scenario, which it does otherwise.

    Raises
    ------
    InputError
        If that cannot be, or does not go together.
    """
    places: dict[tuple[str, int | None], dict[tuple[str, ...], Any]] = {}
    for target, value in said.items():
        places.setdefault((target.part, target.index), {})[target.keys] = value
    moved: dict[str, Any] = {}
    for (part, index), changes in places.items():
        found = (part_of or partial(said_part, scenario))(part, index, tuple(changes.items()))
        if index is None:
            moved[part] = found
        else:
            items = list(moved.get(part, getattr(scenario, part)))
            items[index] = found
            moved[part] = tuple(items)
    return replace(scenario, **moved)


def said_part(scenario: Scenario, part: str, index: int | None, changes: tuple[Change, ...]) -> Any:  # noqa: ANN401 - an input object, or a strategy with its modifiers
    """Return a part of a scenario, or one of its list, with changes, checked as if it were read."""
    if index is None:
        key = f"space.{scenario.space_kind}" if part == "space" else part
        return changed(getattr(scenario, part), dict(changes), scenario.file, key)
    own = getattr(scenario, part)[index]
    return _item_changed(own, dict(changes), scenario, f"{part}[{index}]")


def _item_changed(
    item: Any,  # noqa: ANN401 - an input object, or a strategy with its modifiers
    changes: Mapping[tuple[str, ...], Any],
    scenario: Scenario,
    where: str,
) -> object:
    """Return an entry of a list made anew; of a strategy with modifiers, what the keys are of."""
    if not isinstance(item, Modified):
        return changed(item, changes, scenario.file, where)
    rule, modifiers = (
        {keys: value for keys, value in changes.items() if _holder(item, keys) == name}
        for name in ("rule", "modifiers")
    )
    own: Any = item.rule
    return Modified(
        rule=changed(own, rule, scenario.file, where),
        modifiers=changed(item.modifiers, modifiers, scenario.file, where),
    )


def _holder(strategy: Modified, keys: tuple[str, ...]) -> str:
    """Return which part of a strategy with modifiers has a key."""
    own: Any = strategy.rule
    return "rule" if keys[0] in type(own).model_fields else "modifiers"


def indexed(scenario: Scenario, text: str) -> str:
    """Return a key in which an entry of a list is named by its place, not by its name."""
    part, _, rest = text.partition(".")
    if part not in LISTS:
        return text
    names = [item.name for item in getattr(scenario, part)]
    fits = [name for name in names if rest.startswith(f"{name}.")]
    if not fits:
        return text
    name = max(fits, key=len)
    return f"{part}[{names.index(name)}]{rest[len(name) :]}"


def _targets(scenario: Scenario, doubt: Doubt, where: str) -> list[Target]:
    match = _PLACE.fullmatch(indexed(scenario, doubt.input))
    part = "" if match is None else match["part"]
    if (
        match is None
        or part not in (*LISTS, *SINGLE)
        or (match["index"] is None) == (part in LISTS)
    ):
        known = ", ".join([f"{name}[0].…" for name in LISTS] + [f"{name}.…" for name in SINGLE])
        raise InputError(
            f"{doubt.input[:80]!r} is no input that can be drawn",
            where=where,
            hint=f"one of: {known}",
        )
    keys, kind = tuple(match["keys"].strip(".").split(".")), ""
    if part == "space":
        kind, *keys_of_kind = keys
        if kind != scenario.space_kind or not keys_of_kind:
            own = f"its space is space.{scenario.space_kind}"
            run = "; a run has its leakage and gains within: make several, and draw the files"
            raise InputError(
                f"{doubt.input!r} is not in this scenario",
                where=where,
                hint=own + (run if scenario.space_kind == "simulation" else ""),
            )
        keys = tuple(keys_of_kind)
    if part not in LISTS:
        targets = [Target(part=part, index=None, keys=keys, kind=kind)]
    elif match["index"] == "*":
        n = len(getattr(scenario, part))
        every = [Target(part=part, index=i, keys=keys) for i in range(n)]
        targets = [t for t in every if _can_say(_part(scenario, t), keys)]
    else:
        targets = [Target(part=part, index=int(match["index"]), keys=keys)]
    for target in targets:
        model = _part(scenario, target)
        if not isinstance(model, BaseModel) or not _has(model, keys):
            raise InputError(
                f"{target.where} is not in this scenario", where=where, hint=_near(model)
            )
    if not targets:
        raise InputError(f"no part of the scenario has {doubt.input!r}", where=where)
    return targets


def _can_say(model: object, keys: tuple[str, ...]) -> bool:
    return isinstance(model, BaseModel) and _has(model, keys) and _value(model, keys) is not None


def _near(model: object) -> str | None:
    if not isinstance(model, BaseModel):
        return None
    return f"keys here: {', '.join(type(model).model_fields)}"


def _part(scenario: Scenario, target: Target) -> object:
    found = getattr(scenario, target.part)
    if target.index is None:
        return found
    item = found[target.index] if target.index < len(found) else None
    return getattr(item, _holder(item, target.keys)) if isinstance(item, Modified) else item


def _has(model: BaseModel, keys: tuple[str, ...]) -> bool:
    first, *rest = keys
    if first not in type(model).model_fields:
        return False
    inner = getattr(model, first)
    return not rest or (isinstance(inner, BaseModel) and _has(inner, tuple(rest)))


def _value(model: Any, keys: tuple[str, ...]) -> Any:  # noqa: ANN401 - any input class
    for key in keys:
        model = getattr(model, key)
    return model


def _bounds(scenario: Scenario, target: Target, case: HourlyCase) -> tuple[float, float]:
    part: Any = _part(scenario, target)
    if isinstance(part, SurfaceInput) and target.keys == ("index_change",):
        return part.change_room(case, f"surfaces[{target.index}]")
    return bounds(_value(part, target.keys[:-1]), target.keys[-1])


def bounds(model: BaseModel, key: str) -> tuple[float, float]:
    """Return the least and the most that a key may be; just inside where it may not be equal."""
    low, high = -np.inf, np.inf
    for bound in _constraints(type(model).model_fields[key]):
        least, above = getattr(bound, "ge", None), getattr(bound, "gt", None)
        most, below = getattr(bound, "le", None), getattr(bound, "lt", None)
        low = low if least is None else max(low, least)
        low = low if above is None else max(low, float(np.nextafter(above, np.inf)))
        high = high if most is None else min(high, most)
        high = high if below is None else min(high, float(np.nextafter(below, -np.inf)))
    return low, high


def _constraints(field: Any) -> Iterator[Any]:  # noqa: ANN401 - pydantic's and typing's own
    yield from field.metadata
    arguments: list[Any] = [field.annotation]
    while arguments:
        annotation = arguments.pop()
        for constraint in getattr(annotation, "__metadata__", ()):
            yield from getattr(constraint, "metadata", (constraint,))
        arguments += getattr(annotation, "__args__", ())


def draws_of(doubts: Sequence[Placed], unit: FloatArray) -> list[tuple[Any, ...]]:
    """Return what is drawn in each row of a design in the unit cube, shape (n, n_doubts)."""
    each = [placed_.doubt.drawn(unit[:, k]) for k, placed_ in enumerate(doubts)]
    return list(zip(*each, strict=True)) if each else [()] * len(unit)


def described(doubts: Sequence[Placed]) -> list[Mapping[str, Any]]:
    """Return what is drawn, how, and where that comes from."""
    return [each.doubt.model_dump(mode="json", exclude_none=True) for each in doubts]


class Variants:
    """What a scenario becomes where its targets say what a row of draws makes them say."""

    def __init__(self, scenario: Scenario, doubts: Sequence[Placed]) -> None:
        self.scenario, self.doubts = scenario, doubts
        self.targets = tuple(target for doubt in doubts for target in doubt.targets)
        self.choices = frozenset(
            t for d in doubts if d.doubt.distribution == "choice" for t in d.targets
        )
        self._part = lru_cache(KEPT_PARTS)(partial(said_part, scenario))
        self._weather = lru_cache(KEPT)(self._read_weather)
        self._case = lru_cache(KEPT)(self._read_case)

    def row(self, draw: Sequence[Any]) -> Row:
        """Return what every target says in a draw."""
        return tuple(
            value
            for doubt, each in zip(self.doubts, draw, strict=True)
            for value in doubt.values(each)
        )

    def touching(self, *parts: str) -> tuple[int, ...]:
        """Return the targets in some parts of the scenario, by their place in a row."""
        return tuple(k for k, target in enumerate(self.targets) if target.part in parts)

    def scenario_of(self, row: Row, places: Iterable[int]) -> Scenario:
        """Return the scenario where some targets say what they do in a row."""
        said = {self.targets[k]: row[k] for k in places}
        return with_said(self.scenario, said, self._part)

    def weather_of(self, scenario: Scenario) -> Weather | None:
        """Return the weather of a scenario."""
        if scenario.weather is None:
            return None
        return self._weather(scenario.weather.file, scenario.weather.year)

    def case_of(self, row: Row, places: Iterable[int] | None = None) -> HourlyCase:
        """Return the space, without surfaces, where some targets, or all, say what a row does."""
        mine = self.touching("weather", "space")
        if places is not None:
            mine = tuple(k for k in mine if k in set(places))
        return self._case(mine, tuple(row[k] for k in mine))

    def _read_case(self, places: tuple[int, ...], values: tuple[Any, ...]) -> HourlyCase:
        said = {self.targets[k]: value for k, value in zip(places, values, strict=True)}
        scenario = with_said(self.scenario, said, self._part)
        return scenario.space.case(weather=self.weather_of(scenario), folder=scenario.file.parent)

    def _read_weather(self, file: str, year: int | None) -> Weather:
        return read_epw(self.scenario.file.parent / file, year=year)
