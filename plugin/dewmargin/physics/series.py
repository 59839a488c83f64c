"""Time series: which steps lie in which hours and days, and how a controller's signal follows."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np
from pydantic import AfterValidator, Field

from dewmargin.core.containers import any_container

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dewmargin.columns import BoolArray, FloatArray

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


@any_container
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


@any_container
def between_dates(days: NDArray[np.datetime64], *, first: MonthDay, last: MonthDay) -> BoolArray:
    """Tell which days lie between two dates, both included, which may pass New Year.

    Parameters
    ----------
    days : datetime64 array
        Times count by their day.
    first, last : str
        Month and day, as "MM-DD".
    """
    month = days.astype("datetime64[M]")
    day = (days.astype("datetime64[D]") - month.astype("datetime64[D]")).astype(np.int64) + 1
    date = 100 * (month.astype(np.int64) % 12 + 1) + day
    start, end = (int(text.replace("-", "")) for text in (first, last))
    after, before = date >= start, date <= end
    result: BoolArray = after | before if start > end else after & before
    return result


@any_container
def on_weekdays(days: NDArray[np.datetime64], weekdays: tuple[Weekday, ...]) -> BoolArray:
    """Tell which days are among days of the week; times count by their day."""
    return np.is_busday(days.astype("datetime64[D]"), weekmask=" ".join(weekdays).title())


@any_container
def lagged(values: FloatArray, *, time_constant: float) -> FloatArray:
    """Return what a sensor of first order shows, mean of each step [unit of `values`].

    Parameters
    ----------
    values : float64 array, shape (n_steps,)
        What it follows, constant in each step; before the first it was like the first.
    time_constant : float
        Time in which it covers 63 % of a jump; 0 is no lag. [steps]

    Returns
    -------
    float64 array, shape (n_steps,)

    Notes
    -----
    Exact: T dy/dt = x − y.

    Examples
    --------
    >>> import numpy as np
    >>> np.round(lagged(np.array([0.0, 1.0, 1.0]), time_constant=1.0), 3)
    array([0.   , 0.368, 0.767])
    """
    if time_constant <= 0.0:
        return values
    left = math.exp(-1.0 / time_constant)
    # What it shows at the start of each step: the sum of left^k times the jump k steps before, of
    # 2, 4, 8 … steps at a time.
    behind = -np.diff(values, prepend=values[0])
    span, weight = 1, left
    while span < behind.size and weight > 0.0:
        behind[span:] += weight * behind[:-span]
        span, weight = 2 * span, weight * weight
    result: FloatArray = values + time_constant * (1.0 - left) * behind
    return result


@any_container
def least_ahead(values: FloatArray, n_steps: int) -> FloatArray:
    """Return least of each step and the `n_steps` after it, on the last axis [unit of `values`].

    Beyond the record nothing is known.

    Examples
    --------
    >>> import numpy as np
    >>> least_ahead(np.array([3.0, 1.0, 2.0, 4.0]), 1)
    array([1., 1., 2., 4.])
    """
    # Windows of 2, 4, 8 … steps, then two that overlap.
    least, covered = values.copy(), 1
    while covered < n_steps + 1:
        shift = min(covered, n_steps + 1 - covered)
        n = values.shape[-1] - shift
        least[..., : max(n, 0)] = np.minimum(least[..., : max(n, 0)], least[..., shift:])
        covered += shift
    return least


@any_container
def rate_limited(values: FloatArray, *, rise: float, fall: float) -> FloatArray:
    """Return what follows `values` at most by `rise` and `fall` a step [unit of `values`]."""
    held, followed = float(values[0]), []
    for value in values.tolist():
        if value > held + rise:
            held += rise
        elif value < held - fall:
            held -= fall
        else:
            held = value
        followed.append(held)
    return np.array(followed)
