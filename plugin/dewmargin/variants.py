"""A scenario with what is drawn in the place of what it says, and the spaces that come of it."""

from __future__ import annotations

from functools import lru_cache, partial
from typing import TYPE_CHECKING, Any

from dewmargin.draws import Placed, said_part, with_said
from dewmargin.weather.epw import Weather, read_epw

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.scenario import Scenario

Row = tuple[Any, ...]  # what each target says
KEPT = 32  # cases that may be asked for again soon
KEPT_PARTS = 256  # idem, parts of a scenario


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
