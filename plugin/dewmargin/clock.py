"""Hours of the day, by the clock of local standard time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import numpy as np
from pydantic import Field

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dewmargin.columns import BoolArray

ClockHour = Annotated[float, Field(ge=0.0, le=24.0)]


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
