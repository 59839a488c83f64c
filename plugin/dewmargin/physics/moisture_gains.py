"""Moisture gains of a house, from people and their doings."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.checks import require_between
from dewmargin.core.containers import any_container

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dewmargin.columns import FloatArray

# kg/day by bedrooms, each further bedroom 1 kg/day more. ANSI/ASHRAE 160-2009 cl. 4.3.2, from
# memory; later editions seem to be lower.
DESIGN_KG_DAY = (8.0, 12.0, 14.0, 15.0)

# Share of the day's moisture in each hour, the first from 0:00 to 1:00: an engineering default of
# our own, high in the morning and the evening. The sum is 1.
# fmt: off
DAILY_PROFILE = (
    0.025, 0.025, 0.025, 0.025, 0.025, 0.025, 0.055, 0.075, 0.050, 0.030, 0.030, 0.035,
    0.045, 0.030, 0.030, 0.030, 0.040, 0.070, 0.075, 0.070, 0.060, 0.055, 0.040, 0.030,
)
# fmt: on


def design_rate(bedrooms: int) -> float:
    """Return moisture release that the design of an envelope assumes [kg/day].

    Parameters
    ----------
    bedrooms : int, 1 or more
        Bedrooms; the standard counts one person more than bedrooms. [-]

    Returns
    -------
    float
        Moisture release of a day. [kg/day]

    Raises
    ------
    OutOfRangeError
        If there is no bedroom.

    Notes
    -----
    *Validity.* A high-side value, safe for the envelope. It understates what a humidifier must
    add: take a low-side fraction of it for demand.

    *Source.* ANSI/ASHRAE 160-2009 cl. 4.3.2, table of design rates: from memory.

    Examples
    --------
    >>> design_rate(3), design_rate(6)
    (14.0, 17.0)
    """
    require_between("design_rate", "bedrooms", bedrooms, 1, math.inf)
    listed = len(DESIGN_KG_DAY)
    return DESIGN_KG_DAY[min(bedrooms, listed) - 1] + max(bedrooms - listed, 0)


@any_container
def moisture_gains(interval_start: NDArray[np.datetime64], *, moisture_kg_day: float) -> FloatArray:
    """Return moisture release in each step, a day's spread over its hours [kg/s].

    Parameters
    ----------
    interval_start : datetime64 array, shape (n_steps,)
        Start of each step, local standard time; the profile follows this clock.
    moisture_kg_day : float
        Moisture release of a day. [kg/day]

    Returns
    -------
    float64 array, shape (n_steps,)
        Mean release in each step, by the hour in which it starts. Over any whole number of days
        the sum is exactly that many times `moisture_kg_day`.

    Raises
    ------
    OutOfRangeError
        If `moisture_kg_day` is negative.

    Notes
    -----
    *Validity.* Every day alike; absence and season are left out.

    *Source.* `DAILY_PROFILE`: an engineering default of our own.
    """
    require_between("moisture_gains", "moisture_kg_day", moisture_kg_day, 0.0, math.inf)
    hour = interval_start.astype("datetime64[h]").astype(np.int64) % 24
    return np.array(DAILY_PROFILE)[hour] * (moisture_kg_day / 3600.0)
