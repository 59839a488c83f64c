"""Wetted pad, fed by a trickle: in a bypass between plenums, with its own fan, or in a room."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from dewmargin.contracts import SiteAnswer
from dewmargin.equipment.humidifier import Given, Humidifier, own_power_w
from dewmargin.equipment.pad_on_site import AtWork, inlet_of, readings
from dewmargin.errors import InputError, OutOfRangeError
from dewmargin.inputs import Inputs
from dewmargin.physics import air, hardness, media, pad
from dewmargin.space.plant import HOTTEST_SUPPLY_C

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dewmargin.case import AirSystem, HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Capability, FeedWater, Reading, Words, Work
    from dewmargin.equipment.humidifier import Inlet

_DRY_FRAC = 0.999  # of the feed evaporated: the foot of the pad is dry
# Turns of plenum or meter and pad, before extrapolation; the fewer if little air is bypassed.
_PASSES, _FEW_PASSES, _LITTLE_BYPASSED = 4, 3, 0.3
_LEAST_STEP_KG_S = 1e-12
_LEAST_RATIO = 1.05  # of the feed that wets a pad to what evaporates, by a meter
_THROTTLED = 0.95  # of the blower's flow: below it a note tells what is taken for less air
_MOST_BYPASSED = 0.5  # of the blower's air: beyond it the turns of plenum and pad run away
# Keys that tell the same: of each row exactly one is given.
_TOLD_ONCE = (
    ("airflow_kg_s", "bypass"),
    ("effectiveness", "transfer_units", "media", "rating"),
    ("feed_kg_h", "feed_ratio", "drain_limit_mg_l"),
)


class TransferUnits(Inputs):
    """Effectiveness of a pad from its transfer units at one airflow."""

    ntu: Annotated[float, Field(gt=0.0, le=20.0)] = Field(description="Transfer units")
    airflow_kg_s: Annotated[float, Field(gt=0.0, le=1e3)] = Field(
        description="Dry air at which they are known"
    )
    exponent: Annotated[float, Field(ge=0.0, le=1.0)] = Field(
        0.8,
        description="of the transfer coefficient in velocity; default: 0.8, turbulent (from "
        "memory); rigid media of 50 to 150 mm imply 0.40 to 0.65",
    )


class Media(Inputs):
    """A rigid cellulose medium, by its size."""

    depth_m: Annotated[float, Field(ge=media.DEPTH_M[0], le=media.DEPTH_M[1])] = Field(
        description="Depth in the direction of the air"
    )
    face_area_m2: Annotated[float, Field(gt=0.0, le=100.0)] = Field(description="Face of the pad")


class Rating(Inputs):
    """A rating point: what the pad was stated to evaporate, and in what air, on what water."""

    capacity_kg_h: Annotated[float, Field(gt=0.0, le=1e4)] = Field(description="Evaporation")
    plenum_c: Annotated[float, Field(ge=0.0, le=95.0)] = Field(description="Air before the pad")
    room_c: Annotated[float, Field(ge=0.0, le=40.0)] = Field(description="Room air")
    room_rh: Annotated[float, Field(ge=0.0, le=1.0)] = Field(
        description="Relative humidity of the room, whose humidity ratio the plenum has"
    )
    feed_kg_h: Annotated[float, Field(gt=0.0, le=1e4)] = Field(description="Feed")
    feed_c: Annotated[float, Field(ge=0.5, le=95.0)] = Field(description="Feed temperature")
    elevation_m: Annotated[float, Field(ge=-500.0, le=5000.0)] = Field(
        0.0, description="Elevation of the rating; default: sea level"
    )


class Bypass(Inputs):
    """A bypass duct whose flow follows from the pressure between its plenums."""

    pressure_pa: Annotated[float, Field(gt=0.0, le=1000.0)] = Field(
        description="Static pressure of the supply plenum above the return plenum, bypass open"
    )
    duct_diameter_mm: Annotated[float, Field(gt=0.0, le=2000.0)] = Field(
        description="Diameter of the duct"
    )
    loss_coefficient: Annotated[float, Field(gt=0.0, le=100.0)] = Field(
        2.8,
        description="Sum of the duct's loss coefficients; default: entry, exit, bends and damper, "
        "common practice",
    )


class Wetting(Inputs):
    """How the effectiveness falls when a trickle does not wet the whole pad."""

    full_feed_kg_h: Annotated[float, Field(gt=0.0, le=1e4)] = Field(
        description="Feed that wets all of it"
    )
    exponent: Annotated[float, Field(gt=0.0, le=5.0)] = Field(
        1.0, description="of feed over full feed; default: 1, no data known"
    )


def _require_told_once(model: Humidifier) -> None:
    for keys in _TOLD_ONCE:
        given = [key for key in keys if getattr(model, key) is not None]
        if len(given) != 1:
            found = " and ".join(given) or "none"
            raise ValueError(f"needs exactly one of {', '.join(keys)}, got {found}")


def _beyond(turns: list[FloatArray]) -> FloatArray:
    """Return by how many last steps more the turns go on, steps shrinking as the last two did."""
    step, before = turns[-1] - turns[-2], turns[-2] - turns[-3]
    small = np.abs(before) < _LEAST_STEP_KG_S
    shrink = np.minimum(np.where(small, 0.0, step / np.where(small, 1.0, before)), 0.9)
    result: FloatArray = shrink / (1.0 - shrink)
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plenum:
    """The supply plenum as the plant makes it, and the air that the blower sends to the rooms."""

    t_c: FloatArray
    w_room_kg_kg: FloatArray
    returns: bool
    to_rooms_kg_s: FloatArray
    h_room_j_kg: FloatArray
    heat_w: FloatArray

    def air(self, given_kg_s: FloatArray, brought_w: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return temperature and humidity before the pads, which give and bring so much."""
        if not self.returns:
            return self.t_c, self.w_room_kg_kg
        w = self.w_room_kg_kg + given_kg_s / self.to_rooms_kg_s
        h = self.h_room_j_kg + (self.heat_w + brought_w) / self.to_rooms_kg_s
        return air.temperature_of_enthalpy(h, w), w


class WettedPad(Humidifier):
    """Let air evaporate the feed, and drain what does not evaporate.

    Notes
    -----
    With heat the pad sees the air of the supply plenum, warm, with the room's humidity ratio; when
    the blower runs without heat it sees the room's own air. In a bypass the air returns before the
    plant: the plenum becomes moister, and warmer, since less air goes to the rooms; both follow
    from the balances of plenum and pad.

    The pad is solved at two humidities of the room in each step, without a humidifier and at the
    set-point, and its rate is the straight line through them. Between 10 and 40 % at 18 to 22 °C
    that errs by at most 0.5 % of the rated rate, upward (tested); the error grows with the square
    of the span. Where the pad runs dry at one end and not at the other the line cuts a corner and
    stays below the pad, by up to 8 % of the rated rate: feed that small is poor practice anyway.

    Left out: that the heat of evaporation makes the plant run a little longer, which would help
    the pad.
    """

    kind: Literal["wetted_pad"] = "wetted_pad"
    arrangement: Literal["bypass", "own_fan", "room"] = Field(
        default="bypass",
        description="bypass: supply air passes it back to the return; own_fan: a fan of its own "
        "draws plenum air through it and blows it back into the supply; room: a cabinet with a fan "
        "in the room",
    )
    airflow_kg_s: float | None = Field(
        default=None,
        gt=0,
        le=1e3,
        description="dry air through a pad while it runs; in a bypass at the blower's full flow",
    )
    bypass: Bypass | None = Field(
        default=None, description="the same from the pressure between the plenums"
    )
    effectiveness: float | None = Field(
        default=None,
        gt=0,
        le=1,
        description="share of the way to saturation that the air goes in the wet pad",
    )
    transfer_units: TransferUnits | None = Field(
        default=None, description="the same from its transfer units at one airflow"
    )
    media: Media | None = Field(
        default=None, description="the same from the size of a rigid medium"
    )
    rating: Rating | None = Field(
        default=None, description="the same from a rating point at airflow_kg_s"
    )
    feed_kg_h: float | None = Field(
        default=None, gt=0, le=1e4, description="water fed to a unit while it runs, by an orifice"
    )
    feed_ratio: Annotated[float, Field(ge=1.0, le=1000.0)] | None = Field(
        default=None, description="litres metered for each kilogram that evaporates"
    )
    drain_limit_mg_l: Annotated[float, Field(gt=0.0, le=5000.0)] | None = Field(
        default=None,
        description="the same from the hardness that the drain may have, as CaCO3, and that of the "
        "feed",
    )
    valve: Literal["call", "open"] = Field(
        default="call",
        description="call: a valve shuts the feed when the pad rests; open: the feed runs on to "
        "waste, all the time",
    )
    contact_frac: float = Field(
        default=1.0,
        ge=0,
        le=1,
        description="share of the feed that wets the pad; an upper bound, no field data known",
    )
    wetting: Wetting | None = Field(
        default=None, description="incomplete wetting at low feed; default: all of it wet"
    )
    fan_w: Annotated[float, Field(ge=0.0, le=1e6)] | None = Field(
        default=None, description="electricity of a unit's own fan, not known unless given"
    )
    call: Literal["always", "heating", "humidity", "blower"] = Field(
        default="heating",
        description="heating: with the heat only; blower: whenever the blower runs anyway; "
        "humidity: the blower is run for it; always: in a room",
    )

    @model_validator(mode="after")
    def _is_told_once(self) -> Self:
        """Refuse a pad told twice or not at all, and a room cabinet in ducts."""
        _require_told_once(self)
        if (self.arrangement == "room") != (self.call == "always"):
            raise ValueError('arrangement = "room" and call = "always" go together')
        if self.bypass is not None and self.arrangement != "bypass":
            raise ValueError(f'bypass is for arrangement = "bypass", got {self.arrangement!r}')
        if self.feed_ratio is not None and self.feed_ratio * self.contact_frac < _LEAST_RATIO:
            raise ValueError(
                f"feed_ratio: {self.feed_ratio:g} times what evaporates, {self.contact_frac:g} of "
                f"it in contact, leaves too little to drain: at least {_LEAST_RATIO:g} has to wet "
                "the pad"
            )
        if self.valve == "open" and self.feed_kg_h is None:
            raise ValueError('valve = "open" needs feed_kg_h: a metered feed stops by itself')
        if self.fan_w is not None and self.arrangement == "bypass":
            raise ValueError("a bypass has no fan of its own: leave fan_w out")
        if self.rating is not None:
            if self.airflow_kg_s is None:
                raise ValueError("rating needs airflow_kg_s, the air through the pad at the rating")
            try:
                effectiveness = self._rated_flow_kg_s / self.airflow_kg_s
            except OutOfRangeError as error:
                raise ValueError(f"rating: {error.what}") from error
            if effectiveness > 1.0:
                wet = "" if self.wetting is None else ", wetted as its feed then wets it"
                raise ValueError(
                    f"rating: {self.airflow_kg_s:g} kg/s of air could not evaporate "
                    f"{self.rating.capacity_kg_h:g} kg/h there{wet}; its effectiveness would be "
                    f"{effectiveness:.2f}"
                )
        return self

    @cached_property
    def _rated_flow_kg_s(self) -> float:
        """Effectiveness of the pad wetted all over, times airflow, by the rating point. [kg/s]."""
        point = self.rating
        assert point is not None  # noqa: S101 - who asks has seen it
        p_pa = air.standard_pressure(point.elevation_m)
        w = air.humidity_ratio_at_rh(
            np.array([point.room_c]), np.array([point.room_rh]), np.array([p_pa])
        )
        as_wetted = media.saturated_flow_of_rating(
            capacity_kg_h=point.capacity_kg_h,
            t_in_c=point.plenum_c,
            w_in_kg_kg=float(w[0]),
            p_pa=p_pa,
            feed_kg_h=point.feed_kg_h,
            t_feed_c=point.feed_c,
            contact_frac=self.contact_frac,
        )
        return as_wetted / float(self._wetted_frac(np.array(point.feed_kg_h)))

    def capability(
        self,
        case: HourlyCase,
        feed: FeedWater,
        *,
        w_base_kg_kg: FloatArray,
        w_set_kg_kg: FloatArray,
        demand_kg_s: FloatArray | None = None,
    ) -> Capability:
        """Return the pad with heat and, with the blower alone, in the rest of each step.

        Raises
        ------
        InputError
            If the building has no air system, its blower moves too little beside the pad's air, or
            a drain limit is given without the feed's hardness.
        """
        where, system = f"equipment[{self.name!r}]", case.air_system
        if self.arrangement != "room":
            if system is None:
                raise InputError(
                    "a wetted pad needs an air system, and this space has none",
                    where=f"{where}.kind",
                    hint="give the space ducts: heating in [space.house] or [space.simulation], or "
                    'set arrangement = "room"',
                )
            at_room = np.array([case.t_air_c.mean()]), np.array([case.p_pa.mean()])
            most = float(self._airflow_kg_s(at_room[0], w_base_kg_kg[:1], at_room[1])[0])
            self._require_air(system, self.count * most, case.t_air_c)
        if self.drain_limit_mg_l is not None and feed.quality.hardness_mg_l is None:
            raise InputError(
                f"needs the hardness of {feed.name}",
                where=f"{where}.drain_limit_mg_l",
                hint="give supplies quality = { hardness_mg_l = … }",
            )
        return super().capability(
            case,
            feed,
            w_base_kg_kg=w_base_kg_kg,
            w_set_kg_kg=w_set_kg_kg,
            demand_kg_s=demand_kg_s,
        )

    def _require_air(self, system: AirSystem, airflow_kg_s: float, t_air_c: FloatArray) -> None:
        """Refuse more air through the pads than ducts and plant can spare."""
        key = "airflow_kg_s" if self.bypass is None else "bypass"
        where = f"equipment[{self.name!r}].{key}"
        returns = self.arrangement == "bypass"
        most_kg_s = system.full_airflow_kg_s
        if not returns:
            # A pad's own fan draws as much where the plant throttles its blower.
            most_kg_s = float(np.min(system.airflow_kg_s))
        if airflow_kg_s > (_MOST_BYPASSED if returns else 1.0) * most_kg_s:
            raise InputError(
                f"{airflow_kg_s:g} kg/s is more than {'half of what ' if returns else ''}the "
                f"blower moves, {most_kg_s:.3g} kg/s",
                where=where,
                hint="it is the air through the pads",
            )
        if not returns:
            return
        # The bypass stays open between calls: the plenum is then as hot as without a pad's water.
        plenums = [(system.heat_frac, system.t_supply_c)]
        if system.high_frac is not None and system.t_high_c is not None:
            plenums.append((system.heat_frac * system.high_frac, system.t_high_c))
        kept = 1.0 - airflow_kg_s / most_kg_s
        hottest = max(
            float(np.max(t_air_c + np.where(runs > 0.0, t_c - t_air_c, 0.0) / kept))
            for runs, t_c in plenums
        )
        if hottest > HOTTEST_SUPPLY_C:
            raise InputError(
                f"with {airflow_kg_s:g} kg/s returned by the bypass the plenum would reach "
                f"{hottest:.0f} °C",
                where=where,
                hint=f"at most {HOTTEST_SUPPLY_C:g} °C: let less air bypass, or move more by the "
                "blower",
            )

    def at_once(
        self, t_c: float, w_kg_kg: float, p_pa: float, feed_kg_h: float
    ) -> tuple[float, float]:
        """Return airflow and effectiveness, as this feed wets a unit, in one state of the air.

        [kg/s, -].
        """
        t, w, p = np.array([t_c]), np.array([w_kg_kg]), np.array([p_pa])
        airflow = self._airflow_kg_s(t, w, p)
        effectiveness = self._effectiveness(airflow, t, w, p)
        return float(airflow[0]), float(effectiveness[0]) * self.wetted_frac(feed_kg_h)

    def wetted_frac(self, feed_kg_h: float) -> float:
        """Return the share of a pad that a feed wets."""
        return float(self._wetted_frac(np.array(feed_kg_h)))

    def told_by(self, key: str) -> tuple[str, ...]:
        """Return the keys that tell the same as a key in its place."""
        return tuple(
            name
            for row in _TOLD_ONCE
            if key in row
            for name in row
            if name != key and getattr(self, name) is not None
        )

    @property
    def face_area_m2(self) -> float | None:
        """Face of a pad, if its size is known. [m2]."""
        return None if self.media is None else self.media.face_area_m2

    @property
    def rated_kg_h(self) -> float | None:
        """Vapour that a unit was stated to give at its rating point; None: no point is given."""
        return None if self.rating is None else self.rating.capacity_kg_h

    @property
    def resting_feed_kg_s(self) -> float:
        """Water that runs on while all pads rest. [kg/s]."""
        return self.count * (self.feed_kg_h or 0.0) / 3600.0 if self.valve == "open" else 0.0

    def typical_feed_kg_s(self, inlet: Inlet) -> float:
        """Return the feed of one unit. [kg/s]."""
        if self.feed_kg_h is not None:
            return self.feed_kg_h / 3600.0
        return super().typical_feed_kg_s(inlet)

    def _through(self, blower_frac: FloatArray | float) -> FloatArray | float:
        """Return the part of its full air that a pad gets at a part of the blower's flow.

        *Source.* In ducts pressure goes with the flow squared, and a bypass's flow with its root; a
        fan of its own does not.
        """
        return blower_frac if self.arrangement == "bypass" else 1.0

    def _airflow_kg_s(
        self,
        t_c: FloatArray,
        w: FloatArray,
        p_pa: FloatArray,
        blower_frac: FloatArray | float = 1.0,
    ) -> FloatArray:
        """Return the dry air through one pad. [kg/s]."""
        part = self._through(blower_frac)
        if self.bypass is None:
            shape = np.broadcast_shapes(t_c.shape, w.shape)
            return part * np.full(shape, self.airflow_kg_s or 0.0)
        dry_kg_m3 = air.dry_air_density(t_c, w, p_pa)
        flow = media.bypass_flow(
            self.bypass.pressure_pa * part**2,
            dry_kg_m3 * (1.0 + w),
            duct_area_m2=math.pi / 4.0 * (1e-3 * self.bypass.duct_diameter_mm) ** 2,
            loss_coefficient=self.bypass.loss_coefficient,
            media=None if self.media is None else (self.media.depth_m, self.media.face_area_m2),
        )
        return flow / (1.0 + w)

    def _velocity_m_s(
        self, airflow_kg_s: FloatArray, t_c: FloatArray, w: FloatArray, p_pa: FloatArray
    ) -> FloatArray:
        """Return the face velocity of a medium of known size. [m/s]."""
        assert self.media is not None  # noqa: S101 - who asks has seen it
        return airflow_kg_s / (air.dry_air_density(t_c, w, p_pa) * self.media.face_area_m2)

    def _effectiveness(
        self,
        airflow_kg_s: FloatArray,
        t_c: FloatArray,
        w: FloatArray,
        p_pa: FloatArray,
        blower_frac: FloatArray | float = 1.0,
    ) -> FloatArray:
        """Return the saturation effectiveness of the pad wetted all over.

        One that is told, or rated at a full flow, is taken for less air too, which evaporates too
        little there.
        """
        if self.effectiveness is not None:
            return np.full_like(airflow_kg_s, self.effectiveness)
        if self.transfer_units is not None:
            return media.effectiveness_at_flow(
                airflow_kg_s,
                ntu=self.transfer_units.ntu,
                at_airflow_kg_s=self.transfer_units.airflow_kg_s,
                exponent=self.transfer_units.exponent,
            )
        if self.media is not None:
            velocity = self._velocity_m_s(airflow_kg_s, t_c, w, p_pa)
            return media.rigid_media_effectiveness(velocity, depth_m=self.media.depth_m)
        rated_kg_s = self._through(blower_frac) * self._rated_flow_kg_s
        return np.full_like(airflow_kg_s, rated_kg_s) / airflow_kg_s

    def _wetted_frac(self, feed_kg_h: FloatArray) -> FloatArray:
        """Return the share of a pad that its feed wets."""
        if self.wetting is None:
            return np.ones_like(feed_kg_h)
        return media.wetted_frac(
            feed_kg_h,
            full_feed_kg_h=self.wetting.full_feed_kg_h,
            exponent=self.wetting.exponent,
        )

    def give(self, inlet: Inlet) -> Given:
        r"""Return what the pads evaporate, in the air that they make themselves.

        In a bypass of :math:`m_b` kg/s the blower's M passes the rooms with :math:`M - m_b` only:

        .. math::
            W_s = W_i + E/(M - m_b), \qquad h_s = h_i + (Q + H)/(M - m_b)

        with Q the plant's heat and H the enthalpy that the water brings. Pad and plenum are solved
        in turn, and what the turns converge to is extrapolated from the last three: within 0.5 % of
        the solution, 1.5 % for a metered feed with half of the air bypassed (tested).
        """
        t_plenum, w_room, p = np.broadcast_arrays(inlet.t_c, inlet.w_kg_kg, inlet.p_pa)
        airflow = self._airflow_kg_s(t_plenum, w_room, p, inlet.blower_frac)
        effectiveness = self._effectiveness(airflow, t_plenum, w_room, p, inlet.blower_frac)
        plenum = self._plenum(inlet, airflow)
        returns, to_rooms = plenum.returns, plenum.to_rooms_kg_s
        kept = to_rooms / inlet.airflow_kg_s if returns else np.ones_like(airflow)
        ratio = self._ratio(inlet)
        feed = np.full_like(airflow, (self.feed_kg_h or 0.0) / 3600.0)
        rates, heats = [np.zeros_like(airflow)], [np.zeros_like(airflow)]
        if ratio is not None:  # a first guess: what the air alone would take up
            t_dry = inlet.t_room_c + (t_plenum - inlet.t_room_c) / kept
            t_star = pad.thermodynamic_wet_bulb(t_dry, w_room, p)
            w_star = air.humidity_ratio(air.saturation_pressure_over_water(t_star), p)
            saturated = self.count * effectiveness * airflow
            saturated = saturated / (1.0 + (saturated / to_rooms if returns else 0.0))
            rates = [saturated * np.maximum(w_star - w_room, 1e-9)]
            heats = [rates[0] * air.CP_WATER * inlet.t_feed_c]
            feed = ratio * rates[0] / self.count

        def once(given: FloatArray, brought: FloatArray) -> tuple[FloatArray, FloatArray]:
            t_in, w_in = plenum.air(given, brought)
            state = pad.evaporate(
                airflow_kg_s=airflow,
                t_in_c=t_in,
                w_in_kg_kg=w_in,
                p_pa=p,
                feed_kg_s=feed,
                t_feed_c=inlet.t_feed_c,
                effectiveness=effectiveness * self._wetted_frac(3600.0 * feed),
                contact_frac=self.contact_frac,
            )
            gained = air.enthalpy(state.t_air_out_c, state.w_air_out_kg_kg)
            gained = airflow * (gained - air.enthalpy(t_in, w_in))
            return self.count * state.evaporation_kg_s, self.count * gained

        little = ratio is None and np.min(kept, initial=1.0) >= 1.0 - _LITTLE_BYPASSED
        passes = 1
        if ratio is not None or returns:
            passes = _FEW_PASSES if little else _PASSES
        for _ in range(passes):
            rate, heat = once(rates[-1], heats[-1])
            rates.append(rate)
            heats.append(heat)
            if ratio is not None:
                feed = ratio * np.maximum(rate, 0.0) / self.count
        if passes > 1:
            on = _beyond(rates)
            rates.append(rates[-1] + on * (rates[-1] - rates[-2]))
            heats.append(heats[-1] + on * (heats[-1] - heats[-2]))
            if ratio is not None:
                feed = ratio * np.maximum(rates[-1], 0.0) / self.count
        return Given(
            rate_kg_s=rates[-1],
            feed_kg_s=self.count * feed,
            brought_w=heats[-1],
            electricity_w=own_power_w(self),
            casing_w=float(np.nan_to_num(own_power_w(self))),
            fan_w=self._own_fan_w,
        )

    def at_work(self, inlet: Inlet) -> AtWork:
        """Return what can be measured at one pad that runs, wet, for a quarter of an hour.

        Notes
        -----
        *Source.* Conservation of water and of energy, from what `give` found.
        """
        given, p = self.give(inlet), inlet.p_pa
        at = np.broadcast_arrays(inlet.t_c, inlet.w_kg_kg, p)
        airflow = self._airflow_kg_s(at[0], at[1], at[2], inlet.blower_frac)
        t_in, w_in = self._plenum(inlet, airflow).air(given.rate_kg_s, given.brought_w)
        evaporated, feed = given.rate_kg_s / self.count, given.feed_kg_s / self.count
        gained_w = given.brought_w / self.count
        t_out = air.temperature_of_enthalpy(
            air.enthalpy(t_in, w_in) + gained_w / airflow, w_in + evaporated / airflow
        )
        drain = np.maximum(feed - evaporated, 0.0)
        flows = drain > _LEAST_STEP_KG_S
        heat_w = air.CP_WATER * feed * inlet.t_feed_c - gained_w
        t_wet_bulb = pad.thermodynamic_wet_bulb(t_in, w_in, np.broadcast_to(p, t_in.shape))
        t_drain = heat_w / (air.CP_WATER * np.where(flows, drain, 1.0))
        return AtWork(
            airflow_kg_s=airflow,
            t_in_c=t_in,
            t_out_c=t_out,
            t_wet_bulb_c=t_wet_bulb,
            feed_kg_s=np.broadcast_to(feed, airflow.shape),
            evaporation_kg_s=evaporated,
            drain_kg_s=drain,
            t_drain_c=np.where(flows, t_drain, t_wet_bulb),
        )

    def on_site(self, work: Work | None, words: Words) -> SiteAnswer:
        """Return what a pad asks for on site."""
        in_ducts = self.arrangement != "room"
        plenums_pa = None
        if self.arrangement == "bypass":
            plenums_pa = math.nan if self.bypass is None else self.bypass.pressure_pa
        return SiteAnswer(
            placed="level, filter within reach",
            drain="",
            runs_on=self.valve == "open",
            plenums_pa=plenums_pa,
            readings=() if work is None else tuple(self._readings(work, words)),
            symptoms=(
                "drain_hot",
                "not_cooled",
                "no_drain",
                *(("airflow_low",) if in_ducts else ()),
                "blown_off",
            ),
        )

    def _readings(self, work: Work, words: Words) -> Iterator[Reading]:
        at_work = self.at_work(inlet_of(work))
        return readings(at_work, work, words, in_ducts=self.arrangement != "room")

    def _plenum(self, inlet: Inlet, airflow_kg_s: FloatArray) -> _Plenum:
        """Return the air before the pads; away from a bypass it is not changed by them."""
        t_plenum, w_room = np.broadcast_arrays(inlet.t_c, inlet.w_kg_kg)
        h_room = air.enthalpy(np.broadcast_to(inlet.t_room_c, t_plenum.shape), w_room)
        moved = inlet.airflow_kg_s
        returns = self.arrangement == "bypass" and bool(np.isfinite(moved).all())
        return _Plenum(
            t_c=t_plenum,
            w_room_kg_kg=w_room,
            returns=returns,
            to_rooms_kg_s=moved - self.count * airflow_kg_s
            if returns
            else np.full_like(airflow_kg_s, moved),
            h_room_j_kg=h_room,
            heat_w=moved * (air.enthalpy(t_plenum, w_room) - h_room)
            if returns
            else np.zeros_like(airflow_kg_s),
        )

    @property
    def _own_fan_w(self) -> float:
        if self.arrangement == "bypass":
            return 0.0
        return math.nan if self.fan_w is None else self.count * self.fan_w

    def _ratio(self, inlet: Inlet) -> float | None:
        """Return the litres metered for each kilogram, if the feed is metered."""
        if self.drain_limit_mg_l is None:
            return self.feed_ratio
        where = f"equipment[{self.name!r}].drain_limit_mg_l"
        hardness_mg_l = inlet.quality.hardness_mg_l or 0.0
        try:
            ratio = hardness.feed_ratio(
                hardness_mg_l=hardness_mg_l, drain_limit_mg_l=self.drain_limit_mg_l
            )
        except OutOfRangeError as error:
            raise InputError(error.what, where=where, hint=error.hint) from error
        if ratio * self.contact_frac < _LEAST_RATIO:
            raise InputError(
                f"feed of {hardness_mg_l:g} mg/l would drain too little: {ratio:.2f} times what "
                f"evaporates, {self.contact_frac:g} of it in contact",
                where=where,
                hint=f"give feed_ratio, so that at least {_LEAST_RATIO:g} wets the pad",
            )
        return ratio

    def warnings(self, water: FeedWater, case: HourlyCase, inlet: Inlet, given: Given) -> list[str]:
        """Return what is doubtful about pad and water."""
        notes = super().warnings(water, case, inlet, given)
        if self.media is not None and given.rate_kg_s.size:
            shape = given.rate_kg_s.shape
            t_c, p = np.broadcast_to(inlet.t_c, shape), np.broadcast_to(inlet.p_pa, shape)
            airflow = self._airflow_kg_s(t_c, inlet.w_kg_kg, p, inlet.blower_frac)
            velocity = self._velocity_m_s(airflow, t_c, inlet.w_kg_kg, p).max()
            if velocity > media.BLOWN_OFF_M_S:
                notes.append(
                    f"{self.name}: air of {velocity:.1f} m/s may blow water off the pad (above "
                    f"about {media.BLOWN_OFF_M_S:g} m/s, from memory)"
                )
        least = float(np.min(self._through(inlet.blower_frac), initial=1.0))
        if least < _THROTTLED and self.media is None and self.transfer_units is None:
            notes.append(self._told_at_less_air(inlet, least))
        wetting = self.contact_frac * np.broadcast_to(given.feed_kg_s, given.rate_kg_s.shape)
        runs = given.rate_kg_s > 0.0
        dry = runs & (given.rate_kg_s >= _DRY_FRAC * wetting)
        if dry.any():
            notes.append(
                f"{self.name} on {water.name}: the pad runs dry, and so crusts, in "
                f"{100 * dry.mean():.0f} % of what it may have to do: feed more"
            )
        return notes + self._scale_notes(water, inlet, given)

    def _told_at_less_air(self, inlet: Inlet, least: float) -> str:
        """Say that an effectiveness is taken for less air too, and what is likely there."""
        at = np.broadcast_arrays(inlet.t_c, inlet.w_kg_kg, inlet.p_pa)
        airflow = self._airflow_kg_s(at[0], at[1], at[2])
        told = float(self._effectiveness(airflow, at[0], at[1], at[2]).flat[0])
        likely = media.effectiveness_at_flow(
            np.array([least]),
            ntu=-math.log(1.0 - min(told, 0.999)),
            at_airflow_kg_s=1.0,
            exponent=TransferUnits.model_fields["exponent"].default,
        )
        return (
            f"{self.name}: its effectiveness of {told:.2f} is taken at {100 * least:.0f} % of the "
            f"blower's flow too, where it is likely to be {likely[0]:.2f}: transfer_units tells it"
        )

    def _scale_notes(self, water: FeedWater, inlet: Inlet, given: Given) -> list[str]:
        """Return the tendency to scale of feed and drain, where the water is known."""
        q = water.quality
        if q.ph is None or q.solids_mg_l is None or q.alkalinity_mg_l is None:
            return []
        if not q.hardness_mg_l:
            return []
        fed = given.feed_kg_s > 0.0
        if not np.any(fed):
            return []
        evaporated = float(np.median(given.rate_kg_s[fed] / given.feed_kg_s[fed]))
        thickened = 1.0 / max(1.0 - evaporated, 1e-3)
        t_feed = float(np.median(inlet.t_feed_c))
        t_drain = float(np.median(pad.thermodynamic_wet_bulb(inlet.t_c, inlet.w_kg_kg, inlet.p_pa)))

        times = np.array([1.0, thickened])
        at_feed, at_drain = hardness.saturation_index(
            np.array([t_feed, t_drain]),
            ph=q.ph,
            solids_mg_l=times * q.solids_mg_l,
            calcium_mg_l=times * q.hardness_mg_l,
            alkalinity_mg_l=times * q.alkalinity_mg_l,
        )
        if max(at_feed, at_drain) <= 0.0:
            return []
        note = (
            f"{self.name} on {water.name}: saturation index {at_feed:+.1f} in the feed of "
            f"{t_feed:.0f} °C, {at_drain:+.1f} in the drain, {thickened:.1f} times as strong: "
            "above 0 it leaves scale, first at the orifice and the top of the pad if the feed is "
            "hot"
        )
        return [note]
