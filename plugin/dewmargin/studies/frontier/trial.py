"""One building with one device on one supply, in which thousands of rules can be tried."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import closing
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.parallel import side_by_side
from dewmargin.errors import InputError
from dewmargin.physics.series import least_ahead
from dewmargin.solve import balance, cases, year_of_many
from dewmargin.solve.hours import hours_of
from dewmargin.studies.frontier.lines import strategy_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Equipment
    from dewmargin.equipment.supply import Supply
    from dewmargin.scenario import Scenario
    from dewmargin.studies.frontier.lines import Line, Space

CHUNK = 32  # lines solved in one call: as many go through the year side by side

Numbers = Mapping[str, float]
Tried = Callable[[int, int], None]  # told how many were tried, and how many are kept


def require_alone(case: HourlyCase, *, what: str = "lines and draws") -> None:
    """Raise if zones are humidified together: they are solved in turn, not many cases at once.

    Raises
    ------
    InputError
    """
    if case.held_zones:
        raise InputError(
            f"{what} are not tried with zones that are humidified beside the space",
            where="space.simulation.humidified_alike",
            hint="leave them out here, or compare options one by one",
        )


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
        case: HourlyCase,
        equipment: Equipment,
        supply: Supply,
        *,
        space: Space,
        with_demand: bool,
    ) -> None:
        require_alone(case)
        self.scenario, self.case, self.space = scenario, case, space
        comfort = scenario.comfort
        hours = hours_of(case, heating_season_below_c=comfort.heating_season_below_c)
        self.season_h = float(np.count_nonzero(hours.heating_season))
        self._of = cases.building(case)
        self._book = year_of_many.ledger(hours, low_rh=comfort.low_rh, high_rh=comfort.high_rh)
        water = supply.feed_water(case)
        most = self._rh(space.flat(space.high_percent, 0))
        demand = balance.demand(case, most)
        dry = balance.baseline(case)
        capability = equipment.capability(
            case,
            water,
            w_base_kg_kg=np.repeat(dry.w_kg_kg, case.steps_per_hour),
            w_set_kg_kg=balance.setpoint_humidity_ratio(case, most),
            demand_kg_s=np.repeat(demand.added_kg / 3600.0, case.steps_per_hour),
        )
        self._device, self._unlimited = cases.device(case, capability), cases.device(case, None)
        self._taker = year_of_many.Taker(
            capability=capability, heater=water.heater, tariff=scenario.tariff
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
        chunks = [new[i : i + CHUNK] for i in range(0, len(new), CHUNK)]
        with closing(side_by_side(self._solved, chunks)) as solved:
            for chunk, numbers in zip(chunks, solved, strict=True):
                self._known.update(zip(chunk, numbers, strict=True))
                after(self.tried, found)
        return [self._known[line] for line in lines]

    def _solved(self, lines: list[Line]) -> list[Numbers]:
        lows = [
            self._of.to_hold(balance.setpoint_humidity_ratio(self.case, self._rh(line)))
            for line in lines
        ]
        rows = [*range(len(lines))]
        wanted = self._ran(lows, rows, self._unlimited).added_kg if self._with_demand else None
        found = year_of_many.year_numbers(
            self._of,
            self._book,
            self._ran(lows, rows, self._device),
            devices=[self._device],
            of_device=[0] * len(rows),
            takers={0: self._taker},
            wanted_kg=wanted,
            wanted_of=None if wanted is None else rows,
        )
        return [{name: float(values[i]) for name, values in found.items()} for i in rows]

    def _ran(self, lows: list[FloatArray], rows: list[int], device: cases.Device) -> cases.Ran:
        tried = cases.Cases(
            low=np.array(lows),
            devices=[device],
            of_low=rows,
            of_low_wet=rows,
            of_device=[0] * len(rows),
            wet_above_kg_m2=np.full((len(rows), len(self.case.surfaces)), np.inf),
        )
        return cases.solve(self._of, tried, states=False)

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
