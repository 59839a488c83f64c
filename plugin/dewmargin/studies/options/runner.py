"""Runner: the options of a scenario with its inputs drawn again and again, as year numbers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.core.parallel import done_once
from dewmargin.scenario import BASELINE, SEPARATOR, Scenario
from dewmargin.scenario.targets import KEPT, Row, Variants, default_doubts, placed
from dewmargin.solve import balance, energy, year_of_many
from dewmargin.solve.year_of_many import N_METRICS
from dewmargin.strategies.film_memory import while_wet
from dewmargin.studies.options.engine import Low, Pile, Prepared, prepared, require_alone, solve
from dewmargin.studies.options.held import in_truth
from dewmargin.studies.options.prepared import PreparedDevice, plant

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Strategy
    from dewmargin.scenario.doubts import Doubt
    from dewmargin.solve.year_on_gpu import Years
    from dewmargin.strategies.control import Control

ROOMS_ON_GPU = 1024
ROOMS_AT_ONCE = 16  # prepared together; each takes a megabyte or two
SCENARIOS_KEPT = 4096  # of a block, asked for when checked and when solved; they are small


@dataclass(frozen=True, slots=True)
class _DrawnDevice:
    """A device with what is drawn of it."""

    device: PreparedDevice
    inputs: Row


class Runner:
    """Runs sets of inputs, and reuses between them what the drawn inputs do not touch."""

    def __init__(
        self,
        scenario: Scenario,
        doubts: Sequence[Doubt] | None = None,
        *,
        years: Years | None = None,
    ) -> None:
        self.scenario, self._years = scenario, years
        self.case = scenario.case(scenario.read_weather())
        require_alone(self.case)
        if doubts is None:
            doubts = scenario.doubts or default_doubts(scenario, self.case)
        self.doubts = placed(scenario, doubts, self.case)
        self.variants = Variants(scenario, self.doubts)
        self.options = [BASELINE] + [
            SEPARATOR.join((strategy.name, equipment.name, supply.name))
            for strategy in scenario.strategies
            for equipment in scenario.equipment
            for supply in scenario.supplies
        ]
        self._devices: list[PreparedDevice] = []
        self._of_room = self.variants.touching("weather", "space", "surfaces", "comfort")
        self._of_use = self.variants.touching(
            "control", "strategies", "equipment", "supplies", "tariff"
        )
        self._of_strategy = [
            [k for k in self.variants.touching("strategies") if self.variants.targets[k].index == i]
            for i in range(len(scenario.strategies))
        ]
        self._room = done_once(self._make_room, kept=KEPT)
        self._use = lru_cache(SCENARIOS_KEPT)(self._make_use)

    def require(self, row: Row) -> None:
        """Refuse a row that cannot be."""
        self.variants.scenario_of(row, self._of_room)
        self._use(tuple(row[k] for k in self._of_use))

    def prepare(self, rows: Sequence[Row], *, kept: int | None = None) -> None:
        """Prepare each equipment on each supply for all that is said, or lies between, in rows."""
        met = plant(self.variants, rows)
        self._devices = [
            PreparedDevice(self.variants, met, rows, equipment=e, supply=s, kept=kept)
            for e in range(len(self.scenario.equipment))
            for s in range(len(self.scenario.supplies))
        ]

    def numbers(self, group: Sequence[Row], options: Sequence[int]) -> FloatArray:
        """Return the year numbers of the rows of a group, (n_rows, n_options, n_metrics)."""
        found = np.empty((len(group), len(options), N_METRICS))
        by_room: dict[Row, list[int]] = {}
        for r, row in enumerate(group):
            by_room.setdefault(tuple(row[k] for k in self._of_room), []).append(r)
        rooms = list(by_room.values())
        together = ROOMS_AT_ONCE if self._years is None else ROOMS_ON_GPU
        for first in range(0, len(rooms), together):
            piles = dict(
                self._pile(group, members, options) for members in rooms[first : first + together]
            )
            for pile in solve(list(piles), years=self._years):
                for r, drawn, places in piles[pile]:
                    found[r] = pile.numbers[places]
                    if drawn.tariff is not None:
                        self._price(found[r], options, drawn, pile.building.case)
        return found

    def _spread_out(self, places: Sequence[int], values: Row) -> Row:
        """Return a row that says some values at some places."""
        row: list[Any] = [None] * len(self.variants.targets)
        for k, value in zip(places, values, strict=True):
            row[k] = value
        return tuple(row)

    def _make_use(self, values: Row) -> Scenario:
        return self.variants.scenario_of(self._spread_out(self._of_use, values), self._of_use)

    def _make_room(self, values: Row) -> Prepared:
        row = self._spread_out(self._of_room, values)
        drawn = self.variants.scenario_of(row, self._of_room)
        return prepared(drawn.with_surfaces(self.variants.case_of(row)), drawn.comfort)

    def _pile(
        self, group: Sequence[Row], members: list[int], options: Sequence[int]
    ) -> tuple[Pile[_DrawnDevice], list[tuple[int, Scenario, list[int]]]]:
        """Return what the rows of a group that have one building ask for.

        Beside it stand each row with its scenario and the cases of its options.
        """
        room = self._room(tuple(group[members[0]][k] for k in self._of_room))
        pile = Pile[_DrawnDevice](room, lambda drawn: self._taker(room, drawn))
        held: dict[tuple[Control, Row, int], Low] = {}
        asked = []
        for r in members:
            drawn = self._use(tuple(group[r][k] for k in self._of_use))
            seen = drawn.control.measured(room.case)
            places: list[int] = []
            for option in options:
                if option == 0:
                    places.append(pile.baseline())
                    continue
                which, device = divmod(option - 1, len(self._devices))
                said = tuple(group[r][k] for k in self._of_strategy[which])
                key = (drawn.control, said, which)
                if key not in held:
                    held[key] = _low(pile, drawn.strategies[which], drawn.control, seen)
                places.append(pile.place(held[key], self._drawn(self._devices[device], group[r])))
            asked.append((r, drawn, places))
        return pile, asked

    def _drawn(self, device: PreparedDevice, row: Row) -> _DrawnDevice:
        return _DrawnDevice(device, tuple(row[k] for k in device.inputs))

    def _taker(self, room: Prepared, drawn: _DrawnDevice) -> year_of_many.Taker:
        """Return a device in a building, with what heats its water."""
        device = drawn.device
        row = self._spread_out(device.inputs, drawn.inputs)
        said = self.variants.scenario_of(row, device.of_supply)
        heater = said.supplies[device.supply].heater
        return year_of_many.Taker(
            capability=device.at(row, room.case),
            heater=None if heater is None else heater.source(room.case.n_steps),
        )

    def _price(
        self, numbers: FloatArray, options: Sequence[int], drawn: Scenario, case: HourlyCase
    ) -> None:
        """Fill what the options of a row cost, (n_options, n_metrics)."""
        plant_buys = None if case.heat_source is None else case.heat_source.carrier
        buys = [None if s.heater is None else s.heater.bought_as for s in drawn.supplies]
        cost, carbon = year_of_many.METRICS.index("cost"), year_of_many.METRICS.index("co2_kg")
        for option, each in zip(options, numbers, strict=True):
            if option == 0:
                each[[cost, carbon]] = 0.0
                continue
            year = dict(zip(year_of_many.METRICS, each.tolist(), strict=True))
            bill = energy.bill(
                year,
                feed_kg=year["feed_l"],
                added_kg=year["evaporated_l"],
                tariff=drawn.tariff,
                heater_carrier=buys[self._devices[(option - 1) % len(self._devices)].supply],
                plant_carrier=plant_buys,
            )
            each[cost] = np.nan if bill.cost is None else bill.cost
            each[carbon] = np.nan if bill.co2_kg is None else bill.co2_kg


def _low(pile: Pile[_DrawnDevice], strategy: Strategy, control: Control, seen: HourlyCase) -> Low:
    """Return what a strategy holds in a pile's building."""
    case = pile.building.case
    rh, wet = in_truth(control, case, strategy.setpoint(seen), while_wet(strategy, seen))
    w_set = balance.setpoint_humidity_ratio(case, rh)
    return pile.always(w_set) if wet is None else pile.unless_wet(w_set, wet)
