"""Hours, days and dates, by the clock of local standard time."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np
from pydantic import AfterValidator, Field

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dewmargin.columns import BoolArray

ClockHour = Annotated[float, Field(ge=0.0, le=24.0)]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]

_LEAP_YEAR = 2000


def _month_day(text: str) -> str:
    """Refuse what is no day of a year, be it a leap year."""
    if re.fullmatch("[0-9]{2}-[0-9]{2}", text):
        try:
            np.datetime64(f"{_LEAP_YEAR}-{text}")
        except ValueError:
            pass
        else:
            return text
    raise ValueError(f'must be a month and a day, such as "10-15", got {text[:60]!r}')


MonthDay = Annotated[str, AfterValidator(_month_day)]


def within(interval_start: NDArray[np.datetime64], *, from_h: float, to_h: float) -> BoolArray:
    """Tell which steps start within hours of the day, which may pass midnight.

    Parameters
    ----------
    interval_start : datetime64 array, shape (n_steps,)
        Start of each step, local standard time.
    from_h, to_h : float
        First hour and the one after the last; equal ones hold no step. [h]

    Returns
    -------
    bool array, shape (n_steps,)
    """
    midnight = interval_start.astype("datetime64[D]")
    clock_h = (interval_start - midnight) / np.timedelta64(1, "h")
    after, before = clock_h >= from_h, clock_h < to_h
    result: BoolArray = after | before if from_h > to_h else after & before
    return result


def between_dates(days: NDArray[np.datetime64], *, first: MonthDay, last: MonthDay) -> BoolArray:
    """Tell which days lie between two dates, both included, which may pass New Year.

    Parameters
    ----------
    days : datetime64[D] array
    first, last : str
        Month and day, as "MM-DD".
    """
    month = days.astype("datetime64[M]")
    day = (days - month.astype("datetime64[D]")).astype(np.int64) + 1
    date = 100 * (month.astype(np.int64) % 12 + 1) + day
    start, end = (int(text.replace("-", "")) for text in (first, last))
    after, before = date >= start, date <= end
    result: BoolArray = after | before if start > end else after & before
    return result


def on_weekdays(days: NDArray[np.datetime64], weekdays: tuple[Weekday, ...]) -> BoolArray:
    """Tell which days (datetime64[D]) are among days of the week."""
    return np.is_busday(days, weekmask=" ".join(weekdays).title())
