"""The options of a scenario, each with its hours and its year."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.physics.assembly import WallYear
    from dewmargin.scenario import Scenario
    from dewmargin.solve.balance import Outcome
    from dewmargin.solve.energy import Energy
    from dewmargin.solve.hours import Hours
    from dewmargin.solve.wetness import SurfaceHours


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
    hours: Hours
    options: tuple[Option, ...]


def number(option: Rated, column: str) -> float:
    """Return a year number of an option; what is not known counts as 0."""
    return option.row[column] or 0.0
