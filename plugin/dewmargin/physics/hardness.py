r"""Scale: how much has to drain so that what stays in the water does not settle on the pad."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.checks import require_between
from dewmargin.core.containers import any_container
from dewmargin.errors import OutOfRangeError

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

_MOST_RATIO = 1000.0  # more feed for each kilogram is a tap left open, no bleed


def feed_ratio(*, hardness_mg_l: float, drain_limit_mg_l: float) -> float:
    r"""Return feed per mass evaporated that keeps the drain below a hardness [l/kg].

    .. math:: N = c_{drain}/c_{feed} = L/(L - E), \qquad L/E = N/(N - 1)

    Parameters
    ----------
    hardness_mg_l : float
        Hardness of the feed, as CaCO3. [mg/l]
    drain_limit_mg_l : float
        Hardness that the drain may have. [mg/l]

    Returns
    -------
    float
        At least 1. [l/kg]

    Raises
    ------
    OutOfRangeError
        If the feed is as hard as the drain may be, to a thousandth: no bleed helps then.

    Notes
    -----
    *Validity.* The mean of the drain; dry spots of a pad concentrate far beyond it.

    *Source.* Mass balance of a once-through pad.

    Examples
    --------
    >>> feed_ratio(hardness_mg_l=100.0, drain_limit_mg_l=250.0).__round__(2)
    1.67
    """
    require_between("feed_ratio", "hardness_mg_l", hardness_mg_l, 0.0, math.inf)
    if hardness_mg_l > (1.0 - 1.0 / _MOST_RATIO) * drain_limit_mg_l:
        raise OutOfRangeError(
            f"feed of {hardness_mg_l:g} mg/l cannot drain at {drain_limit_mg_l:g} mg/l, not with "
            f"{_MOST_RATIO:g} times what evaporates",
            where="feed_ratio: drain_limit_mg_l",
            hint="soften the feed, or allow a harder drain",
        )
    return drain_limit_mg_l / (drain_limit_mg_l - hardness_mg_l)


@any_container
def saturation_index(
    t_c: FloatArray | float,
    *,
    ph: float,
    solids_mg_l: FloatArray | float,
    calcium_mg_l: FloatArray | float,
    alkalinity_mg_l: FloatArray | float,
) -> FloatArray:
    r"""Return Langelier index: above 0 water tends to leave scale, below 0 to dissolve it [-].

    .. math:: LSI = pH - (9.3 + A + B - C - D)

    with A = (log TDS - 1)/10, B = 34.55 - 13.12 log T [K], C = log Ca - 0.4, D = log alkalinity,
    logarithms to base 10.

    Parameters
    ----------
    t_c : float64 array
        Water temperature. [°C]
    ph : float
    solids_mg_l : float64 array
        Total dissolved solids. [mg/l]
    calcium_mg_l, alkalinity_mg_l : float64 array
        Calcium hardness and alkalinity, each as CaCO3. [mg/l]

    Returns
    -------
    float64 array
        [-]

    Notes
    -----
    *Validity.* A tendency, no rate. Concentrating the water by N raises C and D by log N each and
    A by a tenth of it; pH is taken as it was.

    *Source.* The usual form of the index, from memory.

    Examples
    --------
    >>> water = {"ph": 7.5, "solids_mg_l": 320, "calcium_mg_l": 150, "alkalinity_mg_l": 34}
    >>> saturation_index([25.0, 82.0], **water).round(2)
    array([-0.73,  0.27])
    """
    a = (np.log10(solids_mg_l) - 1.0) / 10.0
    b = 34.55 - 13.12 * np.log10(np.asarray(t_c, dtype=np.float64) + 273.0)
    c = np.log10(calcium_mg_l) - 0.4
    d = np.log10(alkalinity_mg_l)
    return np.asarray(ph - (9.3 + a + b - c - d))
