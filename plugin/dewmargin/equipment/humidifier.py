"""Humidifiers of every kind: when they may run, in which air, and on water how warm.

A device is asked what it gives in the air it meets (`Humidifier.give`), at two humidities of the
room; here that becomes a straight line for the balance, with heat and in the rest of the step, hot
feed and the slug of cold feed that comes first.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Annotated, Literal, Self

import numpy as np
from pydantic import Field

from dewmargin.case import AirSystem
from dewmargin.contracts import Capability, Mode, Use
from dewmargin.core.checks import require_hourly
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import FeedWater, PartLoad, Quality

_LEAST_SPAN_KG_KG = 1e-4  # between the two humidities: a shorter chord is a poor tangent
_LEAST_RATE_KG_S = 1e-15  # nearer than this two rates are one
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
    airflow_kg_s : float64 array, shape (k,)
        Dry air that the blower moves; infinite in a room. [kg/s]
    """

    t_c: FloatArray
    p_pa: FloatArray
    w_kg_kg: FloatArray
    t_room_c: FloatArray
    t_feed_c: FloatArray
    quality: Quality
    airflow_kg_s: FloatArray


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

    name: str = Field(description="what results call it")
    call: Literal["always", "heating", "humidity", "blower"] = Field(
        default="always",
        description="when it may run: heating, while the plant heats; blower, whenever the blower "
        "runs anyway; humidity, the blower is run for it; always, a device of its own in the room",
    )
    count: int = Field(
        default=1,
        ge=1,
        le=1000,
        description="units alike, each on a line of its own, which run together",
    )
    power_w: Power | None = Field(
        default=None,
        description="electricity of a unit while it runs, besides heat and fans: valve, controls, "
        "pump; default: not known, and then neither is what it uses in a year, but for electric "
        "steam and told sprays, where it counts as none",
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
    def rated_kg_h(self) -> float | None:
        """Vapour that a unit was stated to give; None: none is stated."""
        return None

    def with_count(self, count: float) -> Self:
        """Return so many of its units; a part of a unit has a part of its flow and energy."""
        return self.model_copy(update={"count": count})

    @property
    def modulation(self) -> PartLoad | None:
        """Efficiency at part load, of a device that follows the demand; else None."""
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
        demand_kg_s: FloatArray | None = None,
    ) -> Capability:
        """Return its modes on this feed water.

        Steps in which a mode has no time, or nothing is to be held, are not computed: rate 0.
        `demand_kg_s` tells how long it will run in a cycle, and so how much of that the water takes
        that stood in its line; None: as long as it may.

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
        beside = self.call in ("humidity", "blower")
        t_heat_c = case.t_air_c if self.call == "always" else system.t_supply_c
        # The air and the steps of each mode, with heat and in the rest.
        moved = np.broadcast_to(system.airflow_kg_s, n)
        places = [(t_heat_c, moved, np.flatnonzero(wanted & (heat_frac > 0.0)))]
        if beside:
            off = np.broadcast_to(system.off_airflow_kg_s, n)
            places.append((case.t_air_c, off, np.flatnonzero(wanted & (heat_frac < 1.0))))

        def inlets(t_feed_c: FloatArray) -> list[Inlet]:
            return [
                Inlet(
                    t_c=t_in_c[steps],
                    p_pa=case.p_pa[steps],
                    w_kg_kg=w_room[:, steps],
                    t_room_c=case.t_air_c[steps],
                    t_feed_c=t_feed_c[steps],
                    quality=feed.quality,
                    airflow_kg_s=moved_kg_s[steps],
                )
                for t_in_c, moved_kg_s, steps in places
            ]

        # The first mode with any time tells of the device as a whole.
        telling = next((i for i, (_, _, steps) in enumerate(places) if steps.size), 0)
        typical = self.typical_feed_kg_s(inlets(feed.t_start_c)[telling])
        water = feed.arriving(max(typical, 1e-9))
        warm = inlets(water.t_feed_c)
        gives = [self.give(inlet) for inlet in warm]
        notes = self.warnings(feed, case, warm[telling], gives[telling])
        called, share = self._beside(system, heat_frac)
        rests = self.resting_feed_kg_s
        # What never stops flowing leaves no slug.
        if feed.line is not None and typical > 0.0 and rests == 0.0:
            steps_of = [steps for _, _, steps in places]
            cycle = _Cycle(
                seconds=3600.0 / system.most_cycles_per_h,
                available=[heat_frac, share * (1.0 - heat_frac)][: len(places)],
                purge_s=feed.line.purge_s(typical),
                demand_kg_s=np.full(n, np.inf) if demand_kg_s is None else demand_kg_s,
            )
            hot = [_at_set_point(g, steps, n) for g, steps in zip(gives, steps_of, strict=True)]
            t_slug_c = feed.line.rested_c(water.t_feed_c, cycle.pause_s(hot))
            first = [self.give(inlet) for inlet in inlets(t_slug_c)]
            cold = [_at_set_point(g, steps, n) for g, steps in zip(first, steps_of, strict=True)]
            gives = [
                g.mixed(f, part[steps])
                for g, f, part, steps in zip(
                    gives, first, cycle.cold_frac(hot, cold), steps_of, strict=True
                )
            ]
        fans_w = [np.zeros(n), np.where(called > 0.0, system.blower_w * called, 0.0)]
        modes = [
            _mode(g, w_room, steps, water.heat_j_kg, fan_w)
            for g, (_, _, steps), fan_w in zip(gives, places, fans_w, strict=False)
        ]
        rates = {f"rate {i}": mode.r0_kg_s for i, mode in enumerate(modes)}
        require_hourly(f"equipment[{self.name!r}]", **rates)
        return Capability(
            heat_frac=system.heat_frac if self.call != "always" else np.ones(n),
            heat=modes[0],
            added=modes[1] if beside else None,
            added_share=share,
            standby_w=0.0 if self.standby_w is None else self.standby_w,
            resting_feed_kg_s=rests,
            resting_heat_w=rests * water.heat_j_kg if rests > 0.0 else 0.0,
            hot=water.hot,
            part_load=self.modulation,
            notes=(*feed.notes, *self._water_notes(feed, typical), *notes),
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
class _Cycle:
    """How a device runs in a cycle of the plant: from its start, until the demand is met.

    Attributes
    ----------
    seconds : float
        Length of a cycle. [s]
    available : list of float64 array, shape (n_steps,)
        Part of it in which each mode may run, one after the other. [-]
    purge_s : float
        Time in which what stood in the line runs out. [s]
    demand_kg_s : float64 array, shape (n_steps,)
        Vapour wanted, mean of the step. [kg/s]
    """

    seconds: float
    available: list[FloatArray]
    purge_s: float
    demand_kg_s: FloatArray

    def pause_s(self, hot_kg_s: list[FloatArray]) -> FloatArray:
        """Return how long it rests, on hot feed throughout. [s]."""
        runs_s, _ = self._runs(hot_kg_s, hot_kg_s)
        return np.maximum(self.seconds - sum(runs_s), 0.0)

    def cold_frac(
        self, hot_kg_s: list[FloatArray], cold_kg_s: list[FloatArray]
    ) -> list[FloatArray]:
        """Return the part of each mode's running time on water that stood; 0 without a pause."""
        runs_s, cold_s = self._runs(hot_kg_s, cold_kg_s)
        pauses = sum(runs_s) < self.seconds * (1.0 - 1e-9)
        return [
            np.where(pauses & (run > 0.0), cold / np.where(run > 0.0, run, 1.0), 0.0)
            for run, cold in zip(runs_s, cold_s, strict=True)
        ]

    def _runs(
        self, hot_kg_s: list[FloatArray], cold_kg_s: list[FloatArray]
    ) -> tuple[list[FloatArray], list[FloatArray]]:
        """Return how long each mode runs, and how much of that on water that stood. [s]."""
        wanted_kg = self.demand_kg_s * self.seconds
        purge_s = np.full_like(wanted_kg, self.purge_s)
        runs_s, cold_s = [], []
        for part, hot, cold in zip(self.available, hot_kg_s, cold_kg_s, strict=True):
            most_s = part * self.seconds
            on_cold = np.minimum(np.minimum(purge_s, most_s), _time(wanted_kg, cold))
            left_kg = np.maximum(wanted_kg - cold * on_cold, 0.0)
            on_hot = np.minimum(most_s - on_cold, _time(left_kg, hot))
            wanted_kg = np.maximum(left_kg - hot * on_hot, 0.0)
            purge_s = purge_s - on_cold
            runs_s.append(on_cold + on_hot)
            cold_s.append(on_cold)
        return runs_s, cold_s


def _time(kg: FloatArray, rate_kg_s: FloatArray) -> FloatArray:
    """Return how long a rate takes to give an amount; without a rate, for ever. [s]."""
    runs = rate_kg_s > 0.0
    return np.where(runs, kg / np.where(runs, rate_kg_s, 1.0), np.inf)


def _at_set_point(given: Given, steps: np.ndarray, n_steps: int) -> FloatArray:
    """Return the rate at the set-point, shape (n_steps,); 0 in steps without it. [kg/s]."""
    whole = np.zeros(n_steps)
    whole[steps] = np.maximum(np.broadcast_to(given.rate_kg_s, (2, steps.size))[1], 0.0)
    return whole


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


def own_power_w(device: Humidifier) -> float:
    """Return the electricity of all units while they run; NaN is not known. [W]."""
    return np.nan if device.power_w is None else device.count * device.power_w
