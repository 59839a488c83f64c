"""What crosses between strategies, equipment, supplies, readers and the balance.

An extension is a plain object with the attributes and the method of one of these protocols; no
base class is needed. All arrays have the shape (n_steps,) of the case they belong to.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """One way of running in a step: how fast, and on how much water.

    Attributes
    ----------
    r0_kg_s : float64 array, shape (n_steps,)
        Rate while running in dry air. [kg/s]
    r1_kg_s : float64 array, shape (n_steps,)
        Fall of the rate with the room's humidity ratio W, so that the rate is r0 - r1·W; what
        would be below 0 counts as 0. [kg/s per kg/kg]
    feed_kg_s : float64 array, shape (n_steps,)
        Water fed while running. [kg/s]
    """

    r0_kg_s: FloatArray
    r1_kg_s: FloatArray
    feed_kg_s: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """What an equipment can do in each step: with heat first, then with the blower alone.

    Attributes
    ----------
    heat_frac : float64 array, shape (n_steps,), 0 to 1
        Fraction of the step in which `heat` may run. [-]
    heat : Mode
        Running in that fraction.
    added : Mode or None
        Running in the rest of the step, on a call for humidity; None: it cannot.
    """

    heat_frac: FloatArray
    heat: Mode
    added: Mode | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedWater:
    """The water that reaches the equipment.

    Attributes
    ----------
    name : str
        The supply's name.
    t_feed_c : float64 array, shape (n_steps,)
        Temperature at the equipment. [°C]
    hot : bool array, shape (n_steps,)
        True where it is warmer than the mains, by more than doubt.
    """

    name: str
    t_feed_c: FloatArray
    hot: BoolArray


@runtime_checkable
class Strategy(Protocol):
    """Chooses the relative humidity to hold, step by step."""

    @property
    def name(self) -> str:
        """What reports call it."""
        ...

    @property
    def horizon_h(self) -> float:
        """How many hours ahead it may look into the weather; 0 is not at all."""
        ...

    def setpoint(self, case: HourlyCase) -> FloatArray:
        """Return relative humidity as a fraction, shape ``(case.n_steps,)``."""
        ...


@runtime_checkable
class Equipment(Protocol):
    """Knows how fast it can humidify, step by step."""

    @property
    def name(self) -> str:
        """What reports call it."""
        ...

    def capability(
        self,
        case: HourlyCase,
        feed: FeedWater,
        *,
        w_base_kg_kg: FloatArray,
        w_set_kg_kg: FloatArray,
    ) -> Capability:
        """Return its modes on this feed water.

        The room's humidity ratio lies between `w_base_kg_kg`, without a humidifier, and
        `w_set_kg_kg`, to be held (negative: nothing is to be held), both of shape
        ``(case.n_steps,)``: there the straight line of a `Mode` has to be good.
        """
        ...


@runtime_checkable
class Supply(Protocol):
    """Knows how warm the feed water is, step by step."""

    @property
    def name(self) -> str:
        """What reports call it."""
        ...

    def feed_water(self, case: HourlyCase) -> FeedWater:
        """Return the water it brings to the equipment."""
        ...


@runtime_checkable
class SpaceReader(Protocol):
    """Turns a space table of a scenario into a case."""

    def case(
        self,
        *,
        weather: Any,  # noqa: ANN401 - what the weather reader returns, a layer above this one
        folder: Path,
    ) -> HourlyCase:
        """Return one space in one weather year; relative paths start at `folder`."""
        ...

    def files(self, folder: Path) -> tuple[Path, ...]:
        """Return the files it reads, for the record of inputs."""
        ...
