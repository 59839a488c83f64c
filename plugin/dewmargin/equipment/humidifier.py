"""What all humidifiers share: when they may run, in which air, and on water how warm.

A device is asked what it gives in the air it meets (`Humidifier.give`), at two humidities of the
room; here that becomes a straight line for the balance, with heat and in the rest of the step, hot
feed and the slug of cold feed that comes first.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np
from pydantic import Field

from dewmargin.case import AirSystem
from dewmargin.contracts import Capability, Mode, Use
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Arrival, FeedWater, Points, Quality

_LEAST_SPAN_KG_KG = 1e-4  # between the two humidities: a shorter chord is a poor tangent
_LEAST_RATE_KG_S = 1e-15  # nearer than this two rates are one
_PAUSE_OF_CYCLE = 0.5  # how long a device on call for humidity rests in a cycle; our choice
_ROOM = AirSystem(heat_frac=np.ones(1), t_supply_c=np.zeros(1), airflow_kg_s=np.inf)

Power = Annotated[float, Field(ge=0.0, le=1e7)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Inlet:
    """The air and the water that a device meets, in k steps.

    Attributes
    ----------
    t_c, p_pa : float64 array, shape (k,)
        Air before it. [°C, Pa]
    w_kg_kg : float64 array, shape (2, k)
        Humidity ratio of the room, at the two ends of the straight line. [kg/kg]
    t_room_c : float64 array, shape (k,)
        Room air. [°C]
    t_feed_c : float64 array, shape (k,)
        Feed. [°C]
    quality : Quality
        What is dissolved in it.
    airflow_kg_s : float
        Dry air that the blower moves; infinite in a room. [kg/s]
    """

    t_c: FloatArray
    p_pa: FloatArray
    w_kg_kg: FloatArray
    t_room_c: FloatArray
    t_feed_c: FloatArray
    quality: Quality
    airflow_kg_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What a device gives and takes while it runs; arrays broadcast to shape (2, k).

    Attributes
    ----------
    rate_kg_s, feed_kg_s : float64 array
        Vapour given, water fed. [kg/s]
    brought_w : float64 array
        Enthalpy brought to the air by the water, drained water subtracted. [W]
    electricity_w, fuel_w, fan_w : float64 array
        Of the device, and of a fan of its own; NaN is not known. [W]
    """

    rate_kg_s: FloatArray
    feed_kg_s: FloatArray
    brought_w: FloatArray
    electricity_w: FloatArray | float = np.nan
    fuel_w: FloatArray | float = 0.0
    fan_w: FloatArray | float = 0.0

    def mixed(self, other: Given, share: FloatArray) -> Given:
        """Return what comes of running `share` of the time as `other`."""
        return Given(
            **{
                f.name: (1.0 - share) * getattr(self, f.name) + share * getattr(other, f.name)
                for f in fields(self)
            }
        )


class Humidifier(Inputs):
    """The keys that all humidifiers share."""

    name: str
    call: Literal["always", "heating", "humidity", "blower"] = Field(
        default="always",
        description="when it may run: heating, while the plant heats; blower, whenever the blower "
        "runs anyway; humidity, the blower is run for it; always, a device of its own in the room",
    )
    count: int = Field(
        default=1, ge=1, le=1000, description="units alike, which run one after the other"
    )
    power_w: Power | None = Field(
        default=None,
        description="electricity of a unit while it runs, besides heat and fans: valve, controls, "
        "pump; default: not known, and then neither is what it uses in a year",
    )
    standby_w: Power | None = Field(
        default=None,
        description="electricity of all units together while they rest, all year; default: none "
        "counted",
    )

    @property
    def resting_feed_kg_s(self) -> float:
        """Water that runs on while all units rest, to waste. [kg/s]."""
        return 0.0

    @property
    def modulation(self) -> Points | None:
        """Efficiency by share of full output, of a device that follows the demand; else None."""
        return None

    def give(self, inlet: Inlet) -> Given:
        """Return what all units together give in this air, on this water."""
        raise NotImplementedError

    def typical_feed_kg_s(self, inlet: Inlet) -> float:
        """Return the feed of one unit, by which the water arrives as it does. [kg/s]."""
        feed = np.broadcast_to(self.give(inlet).feed_kg_s, inlet.w_kg_kg.shape)
        return float(np.median(feed)) / self.count if feed.size else 0.0

    def warnings(
        self,
        water: FeedWater,  # noqa: ARG002 - for those that look at it
        case: HourlyCase,  # noqa: ARG002 - idem
        inlet: Inlet,  # noqa: ARG002 - idem
        given: Given,  # noqa: ARG002 - idem
    ) -> list[str]:
        """Return what is doubtful about it on this water, in this air."""
        return []

    def capability(
        self,
        case: HourlyCase,
        feed: FeedWater,
        *,
        w_base_kg_kg: FloatArray,
        w_set_kg_kg: FloatArray,
    ) -> Capability:
        """Return its modes on this feed water.

        Steps in which a mode has no time, or nothing is to be held, are not computed: rate 0.

        Raises
        ------
        InputError
            If it sits in ducts and the building has none.
        """
        system = self._system(case)
        n = case.n_steps
        heat_frac = np.broadcast_to(system.heat_frac, n)
        w_room = _room_nodes(w_base_kg_kg, w_set_kg_kg)
        wanted = w_set_kg_kg >= 0.0
        t_heat_c = case.t_air_c if self.call == "always" else system.t_supply_c
        first = np.flatnonzero(wanted & (heat_frac > 0.0))
        rest = np.flatnonzero(wanted & (heat_frac < 1.0))

        def inlet(t_in_c: FloatArray, steps: np.ndarray, t_feed_c: FloatArray) -> Inlet:
            return Inlet(
                t_c=t_in_c[steps],
                p_pa=case.p_pa[steps],
                w_kg_kg=w_room[:, steps],
                t_room_c=case.t_air_c[steps],
                t_feed_c=t_feed_c[steps],
                quality=feed.quality,
                airflow_kg_s=system.airflow_kg_s,
            )

        # What it gives in its first mode, or in the rest if it has none, tells the rest of it.
        heated = first.size > 0
        steps, t_in_c = (first, t_heat_c) if heated else (rest, case.t_air_c)
        typical = self.typical_feed_kg_s(inlet(t_in_c, steps, feed.t_start_c))
        water = feed.arriving(max(typical, 1e-9))
        slug = _Slug.of(
            feed, water, typical, heat_frac, system, waits_for_heat=self.call == "heating"
        )
        sample = inlet(t_in_c, steps, water.t_feed_c)
        given = self.give(sample)

        def mode(
            t_in_c: FloatArray,
            steps: np.ndarray,
            cold: FloatArray,
            fan_w: FloatArray,
            *,
            known: bool,
        ) -> Mode:
            gives = given if known else self.give(inlet(t_in_c, steps, water.t_feed_c))
            if slug.any:
                gives = gives.mixed(self.give(inlet(t_in_c, steps, slug.t_c)), cold[steps])
            return _mode(gives, w_room, steps, water.heat_j_kg, fan_w)

        added = None
        if self.call in ("humidity", "blower"):
            called, share = self._beside(system, heat_frac)
            fan_w = np.where(called > 0.0, system.blower_w * called, 0.0)
            beside = mode(case.t_air_c, rest, slug.rest_frac, fan_w, known=not heated)
            added = _scaled(beside, share)
        return Capability(
            heat_frac=system.heat_frac if self.call != "always" else np.ones(n),
            heat=mode(t_heat_c, first, slug.heat_frac, np.zeros(n), known=heated),
            added=added,
            standby_w=0.0 if self.standby_w is None else self.standby_w,
            resting_feed_kg_s=self.resting_feed_kg_s,
            resting_heat_w=self.resting_feed_kg_s * water.heat_j_kg
            if self.resting_feed_kg_s > 0.0
            else 0.0,
            hot=water.hot,
            part_load=self.modulation,
            notes=(
                *feed.notes,
                *self._water_notes(feed, typical),
                *self.warnings(feed, case, sample, given),
            ),
        )

    def _system(self, case: HourlyCase) -> AirSystem:
        if self.call == "always":
            return _ROOM
        if case.air_system is None:
            raise InputError(
                f'"{self.call}" needs an air system, and this space has none',
                where=f"equipment[{self.name!r}].call",
                hint="give the space ducts: heating in [space.house] or [space.simulation], "
                'or set call = "always" for a device of its own',
            )
        return case.air_system

    def _beside(self, system: AirSystem, heat_frac: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return, of the rest of each step, the part with a blower run for it, and the part in use.

        Both are fractions of the time without heat, shape (n_steps,).
        """
        anyway = heat_frac if system.blower_frac is None else system.blower_frac
        without_heat = np.maximum(1.0 - heat_frac, 1e-12)
        free = np.clip((anyway - heat_frac) / without_heat, 0.0, 1.0)
        if self.call == "blower":
            return np.zeros_like(free), free
        return 1.0 - free, np.ones_like(free)

    def _water_notes(self, feed: FeedWater, typical_kg_s: float) -> list[str]:
        if typical_kg_s >= feed.least_flow_kg_s:
            return []
        note = (
            f"{self.name} draws {60 * typical_kg_s:.2f} l/min, less than the "
            f"{60 * feed.least_flow_kg_s:.2f} l/min that start the heater of {feed.name}: its "
            "feed stays cold"
        )
        return [note]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Slug:
    """Water that stood in the line and comes first: its share of the time, and its temperature."""

    any: bool
    heat_frac: FloatArray
    rest_frac: FloatArray
    t_c: FloatArray

    @classmethod
    def of(
        cls,
        feed: FeedWater,
        water: Arrival,
        typical_kg_s: float,
        heat_frac: FloatArray,
        system: AirSystem,
        *,
        waits_for_heat: bool,
    ) -> _Slug:
        """Return it for a device that starts once in every cycle of the plant.

        On a call for heat it runs and rests with the plant, and one without pause has no slug. On
        other calls it starts with the cycle, runs through it, and has rested for a part of it.
        """
        nothing = np.zeros_like(heat_frac)
        if feed.line is None or typical_kg_s <= 0.0:
            return cls(any=False, heat_frac=nothing, rest_frac=nothing, t_c=water.t_feed_c)
        cycle_s = 3600.0 / system.cycles_per_h
        purge_s = feed.line.purge_s(typical_kg_s)
        heat_s, rest_s = heat_frac * cycle_s, (1.0 - heat_frac) * cycle_s
        pauses = (heat_frac < 1.0) if waits_for_heat else np.ones_like(heat_frac, np.bool_)
        in_heat_s = np.where(pauses, np.minimum(purge_s, heat_s), 0.0)
        in_rest_s = np.minimum(purge_s - in_heat_s, rest_s)
        pause_s = rest_s if waits_for_heat else np.full_like(rest_s, _PAUSE_OF_CYCLE * cycle_s)
        return cls(
            any=True,
            heat_frac=in_heat_s / np.maximum(heat_s, 1e-9),
            rest_frac=in_rest_s / np.maximum(rest_s, 1e-9),
            t_c=feed.line.rested_c(water.t_feed_c, pause_s),
        )


def _room_nodes(w_base_kg_kg: FloatArray, w_set_kg_kg: FloatArray) -> FloatArray:
    """Return the two humidity ratios of the room at which a rate is computed, (2, n_steps)."""
    far = np.abs(w_set_kg_kg - w_base_kg_kg) >= _LEAST_SPAN_KG_KG
    return np.stack([w_base_kg_kg, np.where(far, w_set_kg_kg, w_base_kg_kg + _LEAST_SPAN_KG_KG)])


def _mode(
    given: Given, w_room: FloatArray, steps: np.ndarray, heat_j_kg: FloatArray, fan_w: FloatArray
) -> Mode:
    """Return the mode whose rate, water and energy run straight through the two humidities."""
    n, shape = w_room.shape[1], (2, steps.size)
    w = w_room[:, steps]
    rate = np.maximum(np.broadcast_to(given.rate_kg_s, shape), 0.0)
    slope = (rate[0] - rate[1]) / (w[1] - w[0])
    span = rate[1] - rate[0]
    flat = np.abs(span) < _LEAST_RATE_KG_S

    def spread(values: FloatArray) -> FloatArray:
        whole = np.zeros(n)
        whole[steps] = values
        return whole

    def use(amount: FloatArray | float, besides: FloatArray | float = 0.0) -> Use:
        """Return an amount as so much a second and so much a kilogram, true at both ends."""
        first, second = np.broadcast_to(amount, shape)
        per_kg = np.where(flat, 0.0, (second - first) / np.where(flat, 1.0, span))
        return Use(per_s=spread(first - per_kg * rate[0]) + besides, per_kg=spread(per_kg))

    return Mode(
        r0_kg_s=spread(rate[0] + slope * w[0]),
        r1_kg_s=spread(slope),
        feed=use(given.feed_kg_s),
        brought=use(given.brought_w),
        feed_heat=use(given.feed_kg_s * heat_j_kg[steps]),
        fan=use(given.fan_w, fan_w),
        electricity=use(given.electricity_w),
        fuel=use(given.fuel_w),
    )


def _scaled(mode: Mode, share: FloatArray) -> Mode:
    """Return a mode that is there for a share of the time only."""
    uses = {
        f.name: replace(use, per_s=use.per_s * share)
        for f in fields(mode)
        if isinstance(use := getattr(mode, f.name), Use)
    }
    return replace(mode, r0_kg_s=mode.r0_kg_s * share, r1_kg_s=mode.r1_kg_s * share, **uses)


def own_power_w(device: Humidifier) -> float:
    """Return the electricity of all units while they run; NaN is not known. [W]."""
    return np.nan if device.power_w is None else device.count * device.power_w
