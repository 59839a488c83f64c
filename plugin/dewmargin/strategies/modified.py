"""Modifiers of any rule: smoothed outdoors, forecast, bounds of the set-point, season."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Self

import numpy as np
from pydantic import Field, model_validator

from dewmargin.contracts import FilmMemory
from dewmargin.inputs import Inputs
from dewmargin.physics import series
from dewmargin.physics.series import MonthDay, lagged, least_ahead, rate_limited

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray, FloatArray
    from dewmargin.contracts import Strategy, WhileWet


class SmoothedOutdoor(Inputs):
    """The rule sees the outdoor temperature late, as through a lag of first order."""

    hours: float = Field(gt=0, le=1000, description="time constant")


class LookAhead(Inputs):
    """The rule sees the least outdoor and surface temperatures of now and the next hours.

    That is the best that a controller with a forecast could know; at the record's end the forecast
    ends too.
    """

    hours: int = Field(ge=1, le=168, description="how far the forecast reaches")


class SetpointBounds(Inputs):
    """Bounds of the set-point and of how fast it moves."""

    floor_rh: float = Field(0.0, ge=0, le=1, description="never less; default: none")
    cap_rh: float = Field(1.0, ge=0, le=1, description="never more; default: none")
    rise_per_h: float | None = Field(
        None, gt=0, le=1, description="most that it rises in an hour, a fraction; default: any"
    )
    fall_per_h: float | None = Field(
        None, gt=0, le=1, description="most that it falls in an hour, a fraction; default: any"
    )

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        """Refuse a floor above the cap."""
        if self.floor_rh > self.cap_rh:
            raise ValueError(
                f"floor_rh must not be above cap_rh, got {self.floor_rh:g} and {self.cap_rh:g}"
            )
        return self

    def applied(self, rh: FloatArray, *, steps_per_hour: int) -> FloatArray:
        """Return the set-point within the limits; it starts where the rule starts."""
        bounded = np.clip(rh, self.floor_rh, self.cap_rh)
        if self.rise_per_h is None and self.fall_per_h is None:
            return bounded
        rise, fall = (
            1.0 if most is None else most / steps_per_hour
            for most in (self.rise_per_h, self.fall_per_h)
        )
        return rate_limited(bounded, rise=rise, fall=fall)


class Season(Inputs):
    """Humidifying is off above an outdoor temperature, and outside the dates."""

    off_above_c: float | None = Field(
        None, ge=-50, le=50, description="outdoor temperature, as the rule sees it; default: any"
    )
    from_date: MonthDay = Field("01-01", description="first day on, MM-DD; default: New Year")
    to_date: MonthDay = Field(
        "12-31",
        description="last day on, MM-DD, which may lie beyond New Year; default: the year's last",
    )

    def on(self, case: HourlyCase) -> BoolArray:
        """Tell in which steps humidifying is on."""
        days = case.interval_start.astype("datetime64[D]")
        on = series.between_dates(days, first=self.from_date, last=self.to_date)
        return on if self.off_above_c is None else on & (case.t_out_c <= self.off_above_c)


class Modifiers(Inputs):
    """Keys of a strategy beside its rule's own, in the order in which they act."""

    smoothed_outdoor: SmoothedOutdoor | None = Field(None, description="a late outdoor sensor")
    look_ahead: LookAhead | None = Field(None, description="a forecast")
    limits: SetpointBounds | None = Field(None, description="bounds of the set-point")
    season: Season | None = Field(None, description="when humidifying is off")


@dataclass(frozen=True, slots=True, kw_only=True)
class Modified:
    """A rule with its modifiers.

    They act in one order: the outdoor temperature is smoothed, the least of it is sought ahead, the
    rule decides by that, its set-point is limited, and the season switches all off. So no limit
    lifts a season that is off, and the set-point that returns is the one that was there meanwhile.
    """

    rule: Strategy
    modifiers: Modifiers

    @property
    def name(self) -> str:
        """What reports call it."""
        return self.rule.name

    @property
    def horizon_h(self) -> float:
        """How many hours ahead it looks into the weather."""
        ahead = self.modifiers.look_ahead
        return self.rule.horizon_h + (0.0 if ahead is None else ahead.hours)

    def setpoint(self, case: HourlyCase) -> FloatArray:
        """Return relative humidity as a fraction, shape ``(case.n_steps,)``."""
        return self._bounded(self._seen(case))

    def while_wet(self, case: HourlyCase) -> WhileWet | None:
        """Return what the rule holds while a surface is wet, never more than while all are dry."""
        if not isinstance(self.rule, FilmMemory):
            return None
        seen = self._seen(case)
        wet = self.rule.while_wet(seen)
        if wet is None:
            return None
        return replace(wet, rh_frac=np.minimum(wet.rh_frac, self._bounded(seen)))

    def _seen(self, case: HourlyCase) -> HourlyCase:
        """Return the case as the rule sees it."""
        smoothed, ahead = self.modifiers.smoothed_outdoor, self.modifiers.look_ahead
        if smoothed is not None:
            time_constant = smoothed.hours * case.steps_per_hour
            case = replace(case, t_out_c=lagged(case.t_out_c, time_constant=time_constant))
        if ahead is not None:
            n = ahead.hours * case.steps_per_hour
            case = replace(
                case,
                t_out_c=least_ahead(case.t_out_c, n),
                surfaces=tuple(
                    replace(surface, t_surface_c=least_ahead(surface.t_surface_c, n))
                    for surface in case.surfaces
                ),
            )
        return case

    def _bounded(self, seen: HourlyCase) -> FloatArray:
        limits, season = self.modifiers.limits, self.modifiers.season
        rh = self.rule.setpoint(seen)
        if limits is not None:
            rh = limits.applied(rh, steps_per_hour=seen.steps_per_hour)
        return rh if season is None else np.where(season.on(seen), rh, 0.0)
