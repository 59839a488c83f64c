"""One building with one device on one supply, in which thousands of rules can be tried."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import closing
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.parallel import side_by_side
from dewmargin.physics.series import least_ahead
from dewmargin.solve import balance, year_of_many
from dewmargin.studies.frontier.lines import strategy_of
from dewmargin.studies.options.engine import CASES_AT_ONCE, Pile, require_alone, solve
from dewmargin.studies.options.held import capability

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Equipment
    from dewmargin.equipment.supply import Supply
    from dewmargin.scenario import Scenario
    from dewmargin.studies.frontier.lines import Line, Space
    from dewmargin.studies.options.engine import Prepared

_THE_DEVICE = "the device"

Numbers = Mapping[str, float]
Tried = Callable[[int, int], None]  # told how many were tried, and how many are kept


class Trial:
    """One building, device and supply, in which any line can be tried.

    Numbers are those of `dewmargin.solve.year_of_many`; the device's straight lines are those of
    the most humid line, for all alike, so that single numbers are off by up to 0.5 % of the rated
    rate. The controller does not swing.

    Raises
    ------
    InputError
        If zones are humidified beside the space.
    """

    def __init__(
        self,
        scenario: Scenario,
        building: Prepared,
        equipment: Equipment,
        supply: Supply,
        *,
        space: Space,
        with_demand: bool,
    ) -> None:
        case = building.case
        require_alone(case)
        self.scenario, self.case, self.space = scenario, case, space
        self._building = building
        self.season_h = float(np.count_nonzero(building.hours.heating_season))
        water = supply.feed_water(case)
        most = self._rh(space.flat(space.high_percent, 0))
        [demand] = building.outcomes([balance.Asked(rh_set_frac=most, capability=None)])
        w_most = balance.setpoint_humidity_ratio(case, most)
        can = capability(equipment, case, water, building.baseline(), w_set=w_most, demand=demand)
        self._taker = year_of_many.Taker(
            capability=can, heater=water.heater, tariff=scenario.tariff
        )
        self._with_demand = with_demand
        self._known: dict[Line, Numbers] = {}

    @property
    def tried(self) -> int:
        """How many lines were tried."""
        return len(self._known)

    def numbers(self, lines: Sequence[Line], *, after: Tried, found: int) -> list[Numbers]:
        """Return the year numbers of lines; those tried before are remembered.

        `after` is told how many were tried, and `found`, after each part of the work.
        """
        new = [line for line in dict.fromkeys(lines) if line not in self._known]
        chunks = [new[i : i + CASES_AT_ONCE] for i in range(0, len(new), CASES_AT_ONCE)]
        with closing(side_by_side(self._solved, chunks)) as solved:
            for chunk, numbers in zip(chunks, solved, strict=True):
                self._known.update(zip(chunk, numbers, strict=True))
                after(self.tried, found)
        return [self._known[line] for line in lines]

    def _solved(self, lines: list[Line]) -> list[Numbers]:
        pile = Pile[str](self._building, lambda _: self._taker, with_demand=self._with_demand)
        places = []
        for line in lines:
            w_set = balance.setpoint_humidity_ratio(self.case, self._rh(line))
            places.append(pile.place(pile.always(w_set), _THE_DEVICE))
        [solved] = solve([pile])
        names = year_of_many.METRICS
        return [dict(zip(names, each, strict=True)) for each in solved.numbers[places].tolist()]

    def _rh(self, line: Line) -> FloatArray:
        control = self.scenario.control
        if line.margin_k is None:
            rh = line.percent_at(self._seen_t_out(line.look_ahead_h)) / 100.0
        else:
            rh = strategy_of(line, "line").setpoint(self._measured)
        return control.true_setpoint(self.case, rh)

    @cached_property
    def _measured(self) -> HourlyCase:
        return self.scenario.control.measured(self.case)

    def _seen_t_out(self, look_ahead_h: int) -> FloatArray:
        return least_ahead(self._measured.t_out_c, look_ahead_h * self.case.steps_per_hour)
