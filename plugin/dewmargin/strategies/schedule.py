"""Schedule: relative humidity by the clock and the calendar."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from dewmargin.inputs import Inputs
from dewmargin.physics import series
from dewmargin.physics.series import ClockHour, MonthDay, Weekday

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray, FloatArray

WEEK: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class Hours(Inputs):
    """Hours of some days of the week; a night belongs to the day on which it begins."""

    from_h: ClockHour = Field(0.0, description="first hour of the day; default: midnight")
    to_h: ClockHour = Field(
        24.0,
        description="hour at which it ends, less than from_h: on the next day; default: midnight",
    )
    days: tuple[Weekday, ...] = Field(
        WEEK, min_length=1, description="days of the week; default: every day"
    )

    @model_validator(mode="after")
    def _some_hours(self) -> Self:
        """Refuse hours that hold none."""
        if self.from_h == self.to_h:
            raise ValueError(f"from_h and to_h must differ, got {self.from_h:g} for both")
        return self

    def hold(self, interval_start: NDArray[np.datetime64]) -> BoolArray:
        """Tell which steps start within them."""
        # The hours of a night after midnight belong to the day before.
        night_s = round(3600.0 * self.to_h) if self.from_h > self.to_h else 0
        day = (interval_start - np.timedelta64(night_s, "s")).astype("datetime64[D]")
        first = day.min()
        calendar = self._hold_on(np.arange(first, day.max() + 1))
        hours = series.within(interval_start, from_h=self.from_h, to_h=self.to_h)
        result: BoolArray = hours & calendar[(day - first).astype(np.int64)]
        return result

    def _hold_on(self, days: NDArray[np.datetime64]) -> BoolArray:
        """Tell which days count."""
        return series.on_weekdays(days, self.days)


class Period(Hours):
    """A part of the hours, of the week, of the year, or of the time in which one is at home."""

    rh: float = Field(ge=0, le=1, description="relative humidity to hold then, a fraction")
    from_date: MonthDay = Field("01-01", description="first day, MM-DD; default: New Year")
    to_date: MonthDay = Field(
        "12-31",
        description="last day, MM-DD, which may lie beyond New Year; default: the year's last",
    )
    occupied: bool | None = Field(
        None, description="only in (true) or outside (false) the rule's `occupied` hours"
    )

    def _hold_on(self, days: NDArray[np.datetime64]) -> BoolArray:
        """Tell which days count, by the week and by date."""
        dates = series.between_dates(days, first=self.from_date, last=self.to_date)
        return super()._hold_on(days) & dates


class Schedule(Inputs):
    """Hold what the first matching period says, or else `rh`.

    The clock is local standard time all year. Typical years have the days of the week of their
    nominal calendar: the first day is the one that the weather file names.
    """

    name: str = Field(description="what results call it")
    rule: Literal["schedule"] = "schedule"
    rh: float = Field(ge=0, le=1, description="relative humidity outside all periods, a fraction")
    periods: tuple[Period, ...] = Field(min_length=1, description="the first that matches decides")
    occupied: Hours | None = Field(
        None, description="hours in which somebody is there, for periods that ask for it"
    )

    horizon_h: ClassVar[float] = 0.0

    @model_validator(mode="after")
    def _knows_who_is_there(self) -> Self:
        """Refuse a period that depends on hours that are not given."""
        if self.occupied is None:
            for i, period in enumerate(self.periods):
                if period.occupied is not None:
                    raise ValueError(
                        f"periods[{i}] asks who is there: needs a table `occupied` with from_h, "
                        "to_h or days"
                    )
        return self

    def setpoint(self, case: HourlyCase) -> FloatArray:
        """Return relative humidity as a fraction, shape ``(case.n_steps,)``."""
        start = case.interval_start
        rh = np.full(case.n_steps, self.rh)
        # Backwards, so that the first that matches is the last to write.
        for period in reversed(self.periods):
            matches = period.hold(start)
            if period.occupied is not None and self.occupied is not None:
                matches &= self.occupied.hold(start) == period.occupied
            rh[matches] = period.rh
        return rh
