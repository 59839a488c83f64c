"""Humidifiers of every kind: when they may run, in which air, and on water how warm.

A device is asked what it gives in the air it meets (`Humidifier.give`), at two humidities of the
room; here that becomes a straight line for the balance, with heat and in the rest of the step, hot
feed and the slug of cold feed that comes first.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Annotated, Literal, Self

import numpy as np
from pydantic import Field

from dewmargin.case import AirSystem
from dewmargin.contracts import Capability, Mode, Use
from dewmargin.core.checks import require_hourly
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs
from dewmargin.physics import air

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray, FloatArray
    from dewmargin.contracts import Arrival, FeedWater, PartLoad, Quality

_LEAST_SPAN_KG_KG = 1e-4  # between the two humidities: a shorter chord is a poor tangent
_LOAD_PASSES = 2  # of a plant that follows its load: each leaves a tenth of what is open
_LEAST_LEFT = 0.05  # of a firing, of what is fed with vapour
_LEAST_STARTS_H = 1.0 / 24.0
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
    blower_frac : float64 array, shape (k,), or float
        The same as a part of the blower's full flow; 1 in a room. [-]
    """

    t_c: FloatArray
    p_pa: FloatArray
    w_kg_kg: FloatArray
    t_room_c: FloatArray
    t_feed_c: FloatArray
    quality: Quality
    airflow_kg_s: FloatArray
    blower_frac: FloatArray | float = 1.0


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
    casing_w : float64 array
        Heat of its electricity that stays in the space, not in the vapour. [W]
    line_w : float64 array
        Heat that the feed gives to the space on its way, which the device itself leaves open. [W]
    """

    rate_kg_s: FloatArray
    feed_kg_s: FloatArray
    brought_w: FloatArray
    electricity_w: FloatArray | float = np.nan
    fuel_w: FloatArray | float = 0.0
    fan_w: FloatArray | float = 0.0
    casing_w: FloatArray | float = 0.0
    line_w: FloatArray | float = 0.0

    def mixed(self, other: Given, share: FloatArray) -> Given:
        """Return what comes of running `share` of the time as `other`."""
        return Given(
            **{
                f.name: (1.0 - share) * getattr(self, f.name) + share * getattr(other, f.name)
                for f in fields(self)
            }
        )

    def taken_w(self, vapour_j_kg: FloatArray) -> FloatArray:
        """Return the heat that it takes from the room; what is not known counts as none. [W]."""
        rate = np.maximum(self.rate_kg_s, 0.0)
        brought = self.brought_w + np.nan_to_num(self.line_w) + np.nan_to_num(self.casing_w)
        taken = rate * vapour_j_kg - brought - np.nan_to_num(self.fan_w)
        return np.where((rate > 0.0) & ~np.isnan(taken), taken, 0.0)

    def on_feed(self, times: FloatArray) -> Given:
        """Return what comes of feeding `times` as much, of which the rest is lost."""
        return replace(self, feed_kg_s=times * self.feed_kg_s, line_w=times * self.line_w)


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
        that stood in its line; None: as long as it may. That the plant runs the longer for what
        evaporates follows with the building, see `Capability.duty_run`.

        Raises
        ------
        InputError
            If it sits in ducts and the building has none.
        """
        system = self._system(case)
        n = case.n_steps
        heat_frac = np.broadcast_to(system.heat_frac, n)
        beside = self.call in ("humidity", "blower")
        asked = _Asked(
            device=self,
            case=case,
            feed=feed,
            w_room=_room_nodes(w_base_kg_kg, w_set_kg_kg),
            steps_of=_steps_of(w_set_kg_kg >= 0.0, heat_frac, beside=beside),
        )
        typical = self.typical_feed_kg_s(asked.telling(system, feed.t_start_c))
        water = feed.arriving(max(typical, 1e-9))
        met, gives = asked.loaded(system, heat_frac, water)
        notes = self.warnings(
            feed, case, asked.telling(met, water.t_feed_c), gives[asked.telling_mode]
        )
        called, share = self._beside(system, heat_frac)
        rests = self.resting_feed_kg_s
        # What never stops flowing leaves no slug.
        if feed.line is not None and typical > 0.0 and rests == 0.0:
            cycle = _cycle(
                [heat_frac, share * (1.0 - heat_frac)][: len(gives)],
                asked.at_set_point(gives),
                most_cycles_per_h=system.most_cycles_per_h,
                purge_s=feed.line.purge_s(typical),
                demand_kg_s=np.full(n, np.inf) if demand_kg_s is None else demand_kg_s,
            )
            gives = asked.with_slug(gives, cycle, met, water)
        fans_w = [np.zeros(n), np.where(called > 0.0, system.blower_w * called, 0.0)]
        lost = dead_time_feed(
            heat_frac,
            most_cycles_per_h=system.most_cycles_per_h,
            dead_time_s=system.dead_time_s,
        )
        modes = [
            _mode(g.on_feed(times[steps]), asked.w_room, steps, water.heat_j_kg, fan_w)
            for g, steps, fan_w, times in zip(
                gives, asked.steps_of, fans_w, (lost, np.ones(n)), strict=False
            )
        ]
        rates = {f"rate {i}": mode.r0_kg_s for i, mode in enumerate(modes)}
        require_hourly(f"equipment[{self.name!r}]", **rates)
        return Capability(
            heat_frac=system.heat_frac if self.call != "always" else np.ones(n),
            heat=modes[0],
            added=modes[1] if beside else None,
            added_share=share,
            fires=self.call != "always",
            most_cycles_per_h=system.most_cycles_per_h,
            dead_time_s=system.dead_time_s,
            standby_w=0.0 if self.standby_w is None else self.standby_w,
            resting_feed_kg_s=rests,
            resting_heat_w=rests * water.heat_j_kg if rests > 0.0 else 0.0,
            resting_line_w=rests * feed.on_its_way_j_kg(water, water.t_feed_c)
            if rests > 0.0
            else 0.0,
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


def _steps_of(wanted: BoolArray, heat_frac: FloatArray, *, beside: bool) -> list[np.ndarray]:
    """Return the steps of each mode that are computed, with heat and between firings."""
    steps_of = [np.flatnonzero(wanted & (heat_frac > 0.0))]
    if beside:
        steps_of.append(np.flatnonzero(wanted & (heat_frac < 1.0)))
    return steps_of


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """Air that a device meets, (n_steps,), and in which share of a mode's time."""

    t_c: FloatArray
    airflow_kg_s: FloatArray
    share: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A device in a case on a feed, asked what it gives.

    Attributes
    ----------
    device : Humidifier
    case : HourlyCase
    feed : FeedWater
    w_room : float64 array, shape (2, n_steps)
        Humidity ratios of the room. [kg/kg]
    steps_of : list of int64 array
        Steps of each mode, with heat and between firings.
    """

    device: Humidifier
    case: HourlyCase
    feed: FeedWater
    w_room: FloatArray
    steps_of: list[np.ndarray]

    @property
    def telling_mode(self) -> int:
        """The first mode with any time, which tells of the device as a whole."""
        return next((i for i, steps in enumerate(self.steps_of) if steps.size), 0)

    def telling(self, met: AirSystem, t_feed_c: FloatArray) -> Inlet:
        """Return what it meets there."""
        i = self.telling_mode
        return self._inlet(self._places(met)[i][0], self.steps_of[i], t_feed_c)

    def give(self, met: AirSystem, water: Arrival, t_feed_c: FloatArray) -> list[Given]:
        """Return what it gives in each mode, of two stages in the mean, and what its line does."""
        line_j_kg = self.feed.on_its_way_j_kg(water, t_feed_c)
        found = []
        for stages, steps in zip(self._places(met), self.steps_of, strict=True):
            given, *higher = (
                self.device.give(self._inlet(place, steps, t_feed_c)) for place in stages
            )
            for place, other in zip(stages[1:], higher, strict=True):
                given = given.mixed(other, np.asarray(place.share)[steps])
            found.append(replace(given, line_w=given.feed_kg_s * line_j_kg[steps]))
        return found

    def loaded(
        self, system: AirSystem, heat_frac: FloatArray, water: Arrival
    ) -> tuple[AirSystem, list[Given]]:
        """Return the air that it meets, and what it gives there.

        What evaporates loads the plant: where its air follows the load, both are found in turn.
        """
        met, gives = system, self.give(system, water, water.t_feed_c)
        if not (system.follows_load and self.device.call != "always"):
            return met, gives
        steps = self.steps_of[0]
        vapour_j_kg = air.vapour_enthalpy(self.case.t_air_c[steps])
        for _ in range(_LOAD_PASSES):
            more_w = np.zeros(self.case.n_steps)
            taken_w = np.broadcast_to(gives[0].taken_w(vapour_j_kg), (2, steps.size))
            more_w[steps] = taken_w.mean(axis=0)
            met = system.at_load(system.load_w + heat_frac * more_w)
            gives = self.give(met, water, water.t_feed_c)
        return met, gives

    def at_set_point(self, gives: list[Given]) -> list[FloatArray]:
        """Return the rate of each mode at the set-point, shape (n_steps,). [kg/s]."""
        n = self.case.n_steps
        return [_at_set_point(g, steps, n) for g, steps in zip(gives, self.steps_of, strict=True)]

    def with_slug(
        self, gives: list[Given], cycle: _Cycle, met: AirSystem, water: Arrival
    ) -> list[Given]:
        """Return what it gives where what stood in its line comes first."""
        assert self.feed.line is not None  # noqa: S101 - who asks saw to it
        hot = self.at_set_point(gives)
        t_slug_c = self.feed.line.rested_c(water.t_feed_c, cycle.pause_s(hot))
        first = self.give(met, water, t_slug_c)
        parts = cycle.cold_frac(hot, self.at_set_point(first))
        return [
            g.mixed(f, part[steps])
            for g, f, part, steps in zip(gives, first, parts, self.steps_of, strict=True)
        ]

    def _places(self, met: AirSystem) -> list[list[_Place]]:
        """Return the air that each mode meets, that of each stage of the plant."""
        if self.device.call == "always":
            everywhere = np.full(self.case.n_steps, np.inf)
            return [[_Place(t_c=self.case.t_air_c, airflow_kg_s=everywhere)]]
        found = [[_Place(t_c=met.t_supply_c, airflow_kg_s=np.asarray(met.airflow_kg_s))]]
        if met.t_high_c is not None and met.airflow_high_kg_s is not None:
            found[0].append(
                _Place(t_c=met.t_high_c, airflow_kg_s=met.airflow_high_kg_s, share=met.high_frac)
            )
        off = _Place(t_c=self.case.t_air_c, airflow_kg_s=np.asarray(met.off_airflow_kg_s))
        return [*found, [off]][: len(self.steps_of)]

    def _inlet(self, place: _Place, steps: np.ndarray, t_feed_c: FloatArray) -> Inlet:
        moved_kg_s, system = place.airflow_kg_s[steps], self.case.air_system
        blower_frac: FloatArray | float = 1.0
        if system is not None and self.device.call != "always":
            blower_frac = moved_kg_s / system.full_airflow_kg_s
        return Inlet(
            t_c=place.t_c[steps],
            p_pa=self.case.p_pa[steps],
            w_kg_kg=self.w_room[:, steps],
            t_room_c=self.case.t_air_c[steps],
            t_feed_c=t_feed_c[steps],
            quality=self.feed.quality,
            airflow_kg_s=moved_kg_s,
            blower_frac=blower_frac,
        )


def dead_time_feed(
    heat_frac: FloatArray, *, most_cycles_per_h: float, dead_time_s: float
) -> FloatArray:
    """Return by how much more is fed than runs with vapour, since each start is lost.

    Parameters
    ----------
    heat_frac : float64 array
        Duty of the plant. [-]
    most_cycles_per_h : float
        Firings an hour at half load.
    dead_time_s : float
        What each loses. [s]

    Notes
    -----
    *Source.* Own account of first order: 4 N f (1 - f) firings an hour; where next to nothing is
    left of them, 20 times.
    """
    left = 1.0 - 4.0 * most_cycles_per_h * (1.0 - heat_frac) * dead_time_s / 3600.0
    return 1.0 / np.maximum(left, _LEAST_LEFT)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cycle:
    """How a device runs from one start to the next.

    Attributes
    ----------
    seconds : float64 array, shape (n_steps,)
        Length of a cycle. [s]
    available : list of float64 array, shape (n_steps,)
        Part of it in which each mode may run. [-]
    purge_s : float
        Time in which what stood in the line runs out. [s]
    demand_kg_s : float64 array, shape (n_steps,)
        Vapour wanted, mean of the step. [kg/s]
    """

    seconds: FloatArray
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
        purge_s = np.full_like(self.seconds, self.purge_s)
        runs_s, cold_s = [], []
        for wanted_kg, part, hot, cold in zip(
            self._wanted_kg(hot_kg_s), self.available, hot_kg_s, cold_kg_s, strict=True
        ):
            most_s = part * self.seconds
            on_cold = np.minimum(np.minimum(purge_s, most_s), _time(wanted_kg, cold))
            left_kg = np.maximum(wanted_kg - cold * on_cold, 0.0)
            on_hot = np.minimum(most_s - on_cold, _time(left_kg, hot))
            purge_s = purge_s - on_cold
            runs_s.append(on_cold + on_hot)
            cold_s.append(on_cold)
        return runs_s, cold_s

    def _wanted_kg(self, hot_kg_s: list[FloatArray]) -> list[FloatArray]:
        """Return what each mode is to give in a cycle: a humidistat cannot bank vapour. [kg]."""
        wanted_kg = self.demand_kg_s * self.seconds
        if len(hot_kg_s) == 1:
            return [wanted_kg]
        f, beside = self.available
        rests = np.maximum(1.0 - f, 1e-12)
        between_kg = np.minimum(wanted_kg, beside / rests * hot_kg_s[1] * self.seconds) * rests
        return [wanted_kg - between_kg, between_kg]


def _cycle(
    available: list[FloatArray],
    hot_kg_s: list[FloatArray],
    *,
    most_cycles_per_h: float,
    purge_s: float,
    demand_kg_s: FloatArray,
) -> _Cycle:
    """Return how a device runs: with the plant's firings, or as often as its humidistat calls.

    Both by 4 N f (1 - f), once a day at least; of a humidistat that is our choice.
    """
    may = np.asarray(sum(available))
    able_kg_s = np.asarray(sum(part * rate for part, rate in zip(available, hot_kg_s, strict=True)))
    gives = able_kg_s > 0.0
    part = np.minimum(np.where(gives, demand_kg_s / np.where(gives, able_kg_s, 1.0), 1.0), 1.0)
    starts_h = 4.0 * most_cycles_per_h * np.maximum(may * (1.0 - may), may * part * (1.0 - part))
    return _Cycle(
        seconds=3600.0 / np.maximum(starts_h, _LEAST_STARTS_H),
        available=available,
        purge_s=purge_s,
        demand_kg_s=demand_kg_s,
    )


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
        line=use(given.line_w),
        casing=use(given.casing_w),
    )


def own_power_w(device: Humidifier) -> float:
    """Return the electricity of all units while they run; NaN is not known. [W]."""
    return np.nan if device.power_w is None else device.count * device.power_w
