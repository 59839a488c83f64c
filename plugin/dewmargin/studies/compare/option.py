"""Options of a scenario, each with its hours and its year."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np

from dewmargin.errors import InputError
from dewmargin.physics import air
from dewmargin.physics.assembly import Months, leak_condensation, screen
from dewmargin.scenario import BASELINE, SEPARATOR
from dewmargin.solve import balance, energy, year
from dewmargin.solve.hours import month_means
from dewmargin.solve.wetness import surface_hours
from dewmargin.strategies.control import shifted
from dewmargin.studies.options.held import lowered_while_wet

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Capability, Equipment, FeedWater
    from dewmargin.physics.assembly import WallYear
    from dewmargin.scenario import Scenario
    from dewmargin.solve.balance import Outcome
    from dewmargin.solve.energy import Energy
    from dewmargin.solve.hours import YearHours
    from dewmargin.solve.wetness import SurfaceHours
    from dewmargin.strategies.control import Control, Swing
    from dewmargin.studies.options.engine import Prepared
    from dewmargin.studies.options.held import Held

MONTHS = 12


class Rated(Protocol):
    """What a choice among options asks of each."""

    @property
    def name(self) -> str:
        """What reports call it."""
        ...

    @property
    def row(self) -> Mapping[str, float | None]:
        """Its year numbers, by column; None is not known."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Option:
    """One way of humidifying, with its hours and its year.

    `rh_rule_frac` is what the strategy sets in each hour while all surfaces are dry,
    `rh_setpoint_frac` what is to be held, by the true humidity. `able_kg` is what the equipment
    could give at the humidity that is reached, running whenever it may. `wall` is what the
    scenario's assembly goes through. `notes` is what to know of its equipment and its water, and
    `lacking` what its cost waits for.
    """

    name: str
    strategy: str | None
    equipment: str | None
    supply: str | None
    rh_setpoint_frac: FloatArray | None
    rh_rule_frac: FloatArray | None
    demand_kg: FloatArray | None
    able_kg: FloatArray | None
    outcome: Outcome
    surfaces: SurfaceHours
    energy: Energy
    row: dict[str, float | None]
    wall: WallYear | None
    notes: tuple[str, ...] = ()
    lacking: tuple[str, ...] = ()

    def __repr__(self) -> str:
        """Return name and water in a line: no arrays."""
        return f"<Option {self.name!r}: {number(self, 'delivered_kg'):.0f} kg delivered>"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Results:
    """All options of a scenario; the baseline is the first."""

    scenario: Scenario
    case: HourlyCase
    hours: YearHours
    options: tuple[Option, ...]


def number(option: Rated, column: str) -> float:
    """Return a year number of an option; what is not known counts as 0."""
    return option.row[column] or 0.0


def without_humidifier(scenario: Scenario, building: Prepared) -> Option:
    """Return the option that every other is compared with."""
    dry = building.baseline()
    faces = surface_hours(building.case, building.hours, dry)
    nothing = None if scenario.tariff is None else 0.0
    return Option(
        name=BASELINE,
        strategy=None,
        equipment=None,
        supply=None,
        rh_setpoint_frac=None,
        rh_rule_frac=None,
        demand_kg=None,
        able_kg=None,
        outcome=dry,
        surfaces=faces,
        energy=energy.energy_hours(building.case, dry, water_heater=None),
        row=_counted(scenario, building, dry, faces)
        | year.energy_row(None)
        | {"cost": nothing, "co2_kg": nothing, "cycles": None},
        wall=_wall(scenario, building.hours, dry),
    )


def humidified(
    scenario: Scenario,
    building: Prepared,
    waters: Sequence[FeedWater],
    held: Sequence[Held],
    dry: Outcome,
) -> list[Option]:
    """Return every equipment on every supply's water under what each strategy holds.

    Raises
    ------
    InputError
        If an equipment does not suit the space.
    """
    case = building.case
    asked = [
        _Fitted(each, equipment, water, each.capability(equipment, case, water, dry))
        for each in held
        for equipment in scenario.equipment
        for water in waters
    ]
    wishes = [
        balance.Asked(rh_set_frac=a.held.rh_set, capability=a.capability, wet=a.held.wet)
        for a in asked
    ]
    return [
        _option(scenario, building, each, outcome, cycles)
        for each, (outcome, cycles) in zip(
            asked, delivered(building, scenario.control, wishes), strict=True
        )
    ]


@dataclass(frozen=True, slots=True)
class _Fitted:
    """A device on a water, and what it can do for what is held."""

    held: Held
    equipment: Equipment
    water: FeedWater
    capability: Capability


def delivered(
    building: Prepared, control: Control, wishes: Sequence[balance.Asked]
) -> list[tuple[Outcome, float | None]]:
    """Solve the years; where the humidity swings, again at its mean, and count the starts.

    How far it swings follows from what was added, so that a swing needs a second solution.
    """
    case, outcomes = building.case, building.outcomes(wishes)
    if not control.swings:
        return [(outcome, None) for outcome in outcomes]
    means = []
    for wish, outcome in zip(wishes, outcomes, strict=True):
        offset = _swing(control, case, wish, outcome).offset_rh
        wet = wish.wet
        if wet is not None:
            wet = replace(wet, rh_frac=shifted(wet.rh_frac, offset))
        means.append(replace(wish, rh_set_frac=shifted(wish.rh_set_frac, offset), wet=wet))
    outcomes = building.outcomes(means)
    starts_per_h = [
        _swing(control, case, mean, outcome).starts_per_h
        for mean, outcome in zip(means, outcomes, strict=True)
    ]
    return [
        (outcome, float(starts.sum()) / case.steps_per_hour)
        for outcome, starts in zip(outcomes, starts_per_h, strict=True)
    ]


def _swing(control: Control, case: HourlyCase, wish: balance.Asked, outcome: Outcome) -> Swing:
    assert wish.capability is not None  # noqa: S101 - a device without limit does not swing
    return control.swing(case, wish.rh_set_frac, wish.capability, outcome.added_kg)


def _option(
    scenario: Scenario,
    building: Prepared,
    asked: _Fitted,
    outcome: Outcome,
    cycles: float | None,
) -> Option:
    case, held, water = building.case, asked.held, asked.water
    taken = energy.energy_hours(case, outcome, water_heater=water.heater)
    faces = surface_hours(case, building.hours, outcome)
    bill = energy.bill(
        taken.year(),
        feed_kg=float(outcome.feed_kg.sum()),
        added_kg=float(outcome.added_kg.sum()),
        tariff=scenario.tariff,
        heater_carrier=None if water.heater is None else water.heater.carrier,
        plant_carrier=None if case.heat_source is None else case.heat_source.carrier,
    )
    w_kg_kg = np.repeat(outcome.w_kg_kg, case.steps_per_hour)
    return Option(
        name=SEPARATOR.join((held.strategy.name, asked.equipment.name, water.name)),
        strategy=held.strategy.name,
        equipment=asked.equipment.name,
        supply=water.name,
        rh_setpoint_frac=lowered_while_wet(case, held.rh_dry, held.wet, outcome),
        rh_rule_frac=held.rh_rule,
        demand_kg=held.demand.added_kg,
        able_kg=3600.0 * case.hourly_mean(asked.capability.able_kg_s(case, w_kg_kg)),
        outcome=outcome,
        surfaces=faces,
        energy=taken,
        row=_counted(scenario, building, outcome, faces, held)
        | year.energy_row(taken)
        | {"cost": bill.cost, "co2_kg": bill.co2_kg, "cycles": cycles},
        wall=_wall(scenario, building.hours, outcome),
        notes=asked.capability.notes,
        lacking=bill.lacking,
    )


def _counted(
    scenario: Scenario,
    building: Prepared,
    outcome: Outcome,
    faces: SurfaceHours,
    held: Held | None = None,
) -> dict[str, float | None]:
    return dict(
        year.comparison_row(
            building.hours,
            outcome,
            faces,
            demand_kg=None if held is None else held.demand.added_kg,
            catch_up=None if held is None else held.catch_up,
            low_rh=scenario.comfort.low_rh,
            high_rh=scenario.comfort.high_rh,
        )
    )


def _wall(scenario: Scenario, hours: YearHours, outcome: Outcome) -> WallYear | None:
    """Screen the scenario's assembly, if it has one, in the room's air of an outcome."""
    assembly = scenario.assembly
    if assembly is None:
        return None
    p_room = air.vapour_pressure(outcome.w_kg_kg, hours.p_pa)
    p_out = air.vapour_pressure(hours.w_out_kg_kg, hours.p_pa)
    t_room, t_out, *p_means = month_means(hours, hours.t_air_c, hours.t_out_c, p_room, p_out)
    if t_room.size != MONTHS:
        raise InputError(
            f"needs all 12 months, the space has {t_room.size}",
            where="assembly",
            hint="leave it out for a part of a year",
        )
    return screen(
        assembly,
        Months(t_room_c=t_room, t_out_c=t_out, p_room_pa=p_means[0], p_out_pa=p_means[1]),
        leak_condensation_h=leak_condensation(
            assembly, t_room_c=hours.t_air_c, t_out_c=hours.t_out_c, p_room_pa=p_room
        ),
    )
