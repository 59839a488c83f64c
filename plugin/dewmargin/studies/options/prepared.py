"""Capability of a device [kg/s], prepared once for all that is drawn of it and of what it meets."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.core.parallel import done_once
from dewmargin.equipment.response_surface import MOST_INPUTS, Response, response
from dewmargin.errors import InputError
from dewmargin.solve import balance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray
    from dewmargin.contracts import Capability
    from dewmargin.scenario.targets import Row, Variants

ACTIVE = 0.05  # least share of time with heat for which a device is solved, if the plant may heat
RESTS = 1e-6  # idem, without heat
# A plant whose air differs less, in the mean of its hours of heat, is the same to a device: a pad
# with 20 K between its air and wet bulb gives 0.2 % more in air 0.05 K warmer.
SAME_AIR_K = 0.05
SAME_BLOWER = 1e-3  # idem, of its flow, which follows the density of the air
KEPT = 8  # readings of a device that may be asked for again soon


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """What is drawn of the heating plant, as devices meet it.

    `air` are the targets that change its air, by their place in a row; `moves` tells whether some
    target changes when it heats.
    """

    air: tuple[int, ...]
    moves: bool


def plant(variants: Variants, rows: Sequence[Row]) -> Plant:
    """Find what of the drawn inputs a device meets in the air of the plant."""
    own = variants.case_of((), ())
    air, moves = list(variants.touching("weather")), False
    for k in variants.touching("space"):
        said = {row[k]: row for row in rows}
        ends = said if variants.targets[k] in variants.choices else (min(said), max(said))
        for value in ends:
            case = variants.case_of(said[value], (k,))
            if not _same_air(own, case):
                air.append(k)
            if own.air_system is not None and case.air_system is not None:
                moves |= not np.array_equal(own.air_system.heat_frac, case.air_system.heat_frac)
    return Plant(air=tuple(dict.fromkeys(air)), moves=moves)


def _same_air(one: HourlyCase, other: HourlyCase) -> bool:
    if one.n_steps != other.n_steps:
        return False
    heats: BoolArray = (one.heating_w > 0.0) & (other.heating_w > 0.0)
    a, b = one.air_system, other.air_system
    if a is None or b is None:
        t_a, t_b = one.t_air_c, other.t_air_c
    else:
        t_a, t_b = a.t_supply_c, b.t_supply_c
        of_blower = ("blower_w", "most_cycles_per_h", "dead_time_s")
        if not np.allclose(
            [np.mean(a.airflow_kg_s), *(getattr(a, name) for name in of_blower)],
            [np.mean(b.airflow_kg_s), *(getattr(b, name) for name in of_blower)],
            rtol=SAME_BLOWER,
            equal_nan=True,
        ):
            return False
    apart = np.abs(t_a - t_b)[heats]
    return not apart.size or float(apart.mean()) < SAME_AIR_K


@dataclass(frozen=True, slots=True, eq=False)
class _AtChoices:
    """What a device can do at some choices; whether it runs when the plant heats."""

    response: Response
    follows_heat: bool


def _read_off(solved: _AtChoices, smooth: tuple[float, ...]) -> Capability:
    return solved.response.at(smooth)


class PreparedDevice:
    """An equipment on a supply, in every variant.

    What is drawn of both, and of the plant's air, is read off a polynomial through exact solutions;
    choices and weather are solved one by one. Its straight lines are those of the scenario's own
    humidity and of its most humid strategy, for all draws alike; of the comfort band's upper edge
    too where strategies are drawn. At most `kept` choices are
    remembered.
    """

    def __init__(
        self,
        variants: Variants,
        met: Plant,
        rows: Sequence[Row],
        *,
        equipment: int,
        supply: int,
        kept: int | None = None,
    ) -> None:
        self.equipment, self.supply = equipment, supply
        self._variants, self._met = variants, met
        targets = variants.targets
        own = [
            k
            for k, target in enumerate(targets)
            if (target.part, target.index) in (("equipment", equipment), ("supplies", supply))
        ]
        self.inputs = tuple(sorted({*own, *met.air}))
        self.of_supply = tuple(k for k in own if targets[k].part == "supplies")
        weather = variants.touching("weather")
        self._exact = [k for k in self.inputs if targets[k] in variants.choices or k in weather]
        self._smooth = [k for k in self.inputs if k not in self._exact]
        if len(self._smooth) > MOST_INPUTS:
            raise InputError(
                f"more than {MOST_INPUTS} inputs of one equipment, its supply and its plant are "
                "drawn",
                where="doubts",
                hint=f"leave out some of {', '.join(targets[k].where for k in self._smooth)}",
            )
        ranges = [(min(row[k] for row in rows), max(row[k] for row in rows)) for k in self._smooth]

        def solved(exact: Row) -> _AtChoices:
            return self._solve(rows[0], exact, ranges)

        self._solved = done_once(solved, kept=kept)
        # Rows beside each other differ in one input, mostly in none of this device.
        self._read_off = lru_cache(KEPT)(_read_off)

    def at(self, row: Row, case: HourlyCase) -> Capability:
        """Return what it can do in a row, in the row's building."""
        solved = self._solved(tuple(row[k] for k in self._exact))
        can = self._read_off(solved, tuple(row[k] for k in self._smooth))
        if solved.follows_heat and case.air_system is not None:
            return replace(can, heat_frac=case.air_system.heat_frac)
        return can

    def _solve(
        self, row: Row, exact: tuple[Any, ...], ranges: Sequence[tuple[float, float]]
    ) -> _AtChoices:
        variants = self._variants
        said = list(row)
        for k, value in zip(self._exact, exact, strict=True):
            said[k] = value
        scenario = variants.scenario
        case = scenario.with_surfaces(variants.case_of(tuple(said), self._exact))
        control = scenario.control
        seen = control.measured(case)
        held = [control.true_setpoint(case, s.setpoint(seen)) for s in scenario.strategies]
        asked = [balance.Asked(rh_set_frac=rh, capability=None) for rh in held]
        demands = [each.added_kg for each in balance.deliver_all(case, asked)]
        demand = np.mean(demands, axis=0) / 3600.0
        base = np.repeat(balance.baseline(case).w_kg_kg, case.steps_per_hour)
        # Some draw may want it where the scenario itself is cooled.
        warm = replace(case, cooling=np.zeros(case.n_steps, dtype=bool))
        if variants.touching("strategies"):
            held.append(np.full(case.n_steps, scenario.comfort.high_rh))
        most = np.max([balance.setpoint_humidity_ratio(warm, rh) for rh in held], axis=0)
        demand = np.repeat(demand, case.steps_per_hour)
        follows = False

        def solve(point: tuple[float, ...]) -> Capability:
            nonlocal follows
            for k, value in zip(self._smooth, point, strict=True):
                said[k] = value
            drawn = variants.scenario_of(tuple(said), self.inputs)
            met = self._heated(variants.case_of(tuple(said), self.inputs))
            can = drawn.equipment[self.equipment].capability(
                met,
                drawn.supplies[self.supply].feed_water(met),
                w_base_kg_kg=base,
                w_set_kg_kg=most,
                demand_kg_s=demand,
            )
            system = met.air_system
            follows = system is not None and np.array_equal(can.heat_frac, system.heat_frac)
            return can

        found = response(solve, ranges)
        return _AtChoices(found, follows and self._met.moves)

    def _heated(self, case: HourlyCase) -> HourlyCase:
        """Return the case with some heat, and some rest, wherever a draw might have it."""
        if case.air_system is None or not self._met.moves:
            return case
        system = case.air_system
        share = np.clip(system.heat_frac, ACTIVE, 1.0 - RESTS)
        load_w = np.where(share == system.heat_frac, system.load_w, share * system.output_w)
        return replace(case, air_system=replace(system, heat_frac=share, load_w=load_w))
