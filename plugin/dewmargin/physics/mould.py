r"""Mould: what the humidity at a surface lets grow there.

Three criteria, from strict to lenient: the monthly mean (ISO 13788), the 30-day mean (ASHRAE 160 of
2009), and the mould index of Hukka and Viitanen, which follows growth and decline hour by hour and
has taken the place of the second in ASHRAE 160. They screen; none replaces a look.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from dewmargin import kernel
from dewmargin.core.checks import require_between, require_hourly
from dewmargin.core.containers import any_container

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

Sensitivity = Literal["very_sensitive", "sensitive", "medium_resistant", "resistant"]
Material = Literal["glass", "metal", "concrete", "board", "wood"]

GROWS_ABOVE_C, GROWS_BELOW_C = 0.0, 50.0
DECLINE_FACTOR = 0.1  # of the decline on pine; ASHRAE 160-2016 where a material's is not known
VISIBLE_INDEX = 3.0  # growth one sees begins; the limit of ASHRAE 160-2016 (from memory)
RH_LIMIT = 0.80  # ISO 13788 monthly mean; ASHRAE 160-2009 30-day mean
MEAN_BETWEEN_C = (5.0, 40.0)  # of the 30-day mean surface temperature
RUNNING_DAYS = 30
MOST_YEARS = 50  # of a repeated year; a slow class may need dozens
SETTLED = 1e-3


@dataclass(frozen=True, slots=True)
class _Class:
    """Coefficients: growth below and from an index of 1, of the largest index, and least RH."""

    early: float
    late: float
    largest: tuple[float, float, float]
    least_rh: float
    wood: float


# Ojanen et al. 2010, as a public implementation (repository anssilaukkarinen/trh-1, mi.py) has
# them; wood: 1 but for the very sensitive, ASHRAE 160-2016 (from memory).
CLASSES: dict[str, _Class] = {
    "very_sensitive": _Class(1.0, 2.0, (1.0, 7.0, 2.0), 80.0, 0.0),
    "sensitive": _Class(0.578, 0.386, (0.3, 6.0, 1.0), 80.0, 1.0),
    "medium_resistant": _Class(0.072, 0.097, (0.0, 5.0, 1.5), 85.0, 1.0),
    "resistant": _Class(0.033, 0.014, (0.0, 3.0, 1.0), 85.0, 1.0),
}

# Board is faced with paper; wood is painted or spruce, as window frames are: bare pine sapwood is
# very sensitive. Ojanen et al. 2010; glass and metal by ASHRAE 160-2016 (both from memory).
CLASS_OF: dict[Material, Sensitivity] = {
    "glass": "resistant",
    "metal": "resistant",
    "concrete": "medium_resistant",
    "board": "sensitive",
    "wood": "sensitive",
}


@any_container
def critical_humidity(t_c: FloatArray, sensitivity: Sensitivity) -> FloatArray:
    r"""Return relative humidity from which mould grows, as a fraction [-].

    .. math:: \varphi_{crit} = -0.00267\,T^3 + 0.160\,T^2 - 3.13\,T + 100 \quad (T \le 20\,°C)

    in per cent, and at least 80 or 85 % by class.

    *Source.* Hukka and Viitanen 1999; Ojanen et al. 2010 for the classes.
    """
    least = CLASSES[sensitivity].least_rh
    polynomial = -0.00267 * t_c**3 + 0.160 * t_c**2 - 3.13 * t_c + 100.0
    return np.where(t_c <= 20.0, np.maximum(polynomial, least), least) / 100.0  # noqa: PLR2004


@any_container
def mould_index(
    t_c: FloatArray,
    rh_frac: FloatArray,
    *,
    sensitivity: Sensitivity,
    step_s: float = 3600.0,
    wraps: bool = False,
    decline_factor: float = DECLINE_FACTOR,
    wood: float | None = None,
) -> FloatArray:
    r"""Return mould index of a surface at the end of each step, 0 to 6 [-].

    .. math::

        \frac{dM}{dt} = \frac{k_1 k_2}{7\,\exp(-0.68\ln T - 13.9\ln\varphi + 0.14\,w + 66.02)}

    a day, while :math:`0 < T < 50` °C and :math:`\varphi \ge \varphi_{crit}`, with
    :math:`k_2 = \max(0, 1 - e^{2.3(M - M_{max})})` and :math:`M_{max} = A + Bx - Cx^2`,
    :math:`x = (\varphi_{crit} - \varphi)/(\varphi_{crit} - 100)`. Otherwise it declines by 0.032 a
    day in the first 6 h, rests until 24 h, and declines by 0.016 a day, times `decline_factor`.

    Parameters
    ----------
    t_c, rh_frac : float64 array, shape (n_steps,)
        Surface temperature, and relative humidity at the surface; above 1 counts as 1. [°C, -]
    sensitivity : {"very_sensitive", "sensitive", "medium_resistant", "resistant"}
        Pine sapwood; paper-faced board, glued wood, paint on them; concrete, mineral wool; glass,
        metal.
    step_s : float
        Length of a step. [s]
    wraps : bool
        Repeat the year until the index returns to itself, so that slow growth is not missed;
        otherwise it begins at 0.
    decline_factor : float
        Share of the decline measured on pine. [-]
    wood : float, optional
        The w of the formula, 0 pine to 1 spruce; default: the class's.

    Returns
    -------
    float64 array, shape (n_steps,)
        Mould index at the end of each step: 0 none, 1 under the microscope, 3 visible, 6 all over.

    Raises
    ------
    OutOfRangeError
        If the columns differ in length or hold NaN, or the decline factor is outside 0 to 1.

    Notes
    -----
    *Validity.* Explicit steps of an hour. The index keeps to the class's largest: resistant
    materials end at 2. Surfaces wet with condensate count as 100 %.

    *Source.* Hukka and Viitanen 1999; Ojanen et al. 2010; for years that return to themselves,
    our choice.
    """
    require_hourly("mould_index", t_c=t_c, rh_frac=rh_frac)
    require_between("mould_index", "decline_factor", decline_factor, 0.0, 1.0)
    found = CLASSES[sensitivity]
    w = found.wood if wood is None else wood
    rh = 100.0 * np.minimum(rh_frac, 1.0)
    critical = 100.0 * critical_humidity(t_c, sensitivity)
    grows = (t_c > GROWS_ABOVE_C) & (t_c < GROWS_BELOW_C) & (rh >= critical)
    # Where nothing grows any warmth and damp will do: the result is not used.
    ln_t = np.log(np.where(grows, t_c, 1.0))
    ln_rh = np.log(np.where(grows, rh, 100.0))
    per_h = 1.0 / (168.0 * np.exp(-0.68 * ln_t - 13.9 * ln_rh + 0.14 * w + 66.02))
    growth = np.where(grows, per_h, -1.0)
    x = np.where(grows, (critical - rh) / np.minimum(critical - 100.0, -1e-9), 0.0)
    a, b, c = found.largest
    most = a + b * x - c * x * x
    result = np.empty_like(growth)
    follow = kernel.mould_follow()
    index, adverse_h = 0.0, 0.0
    for _ in range(MOST_YEARS if wraps else 1):
        before = index
        index, adverse_h = follow(
            index, adverse_h, step_s, growth, most, found.early, found.late, decline_factor, result
        )
        if abs(index - before) < SETTLED:
            break
    return result


@any_container
def running_mean(values: FloatArray, *, steps: int, wraps: bool) -> FloatArray:
    """Return mean of the `steps` up to each step, NaN before a whole span [unit of `values`].

    A year that wraps looks back into its own end.
    """
    n = values.size
    if steps > n:
        return np.full(n, np.nan)
    if wraps:
        values = np.concatenate([values[n - steps + 1 :], values])
    summed = np.cumsum(np.concatenate([[0.0], values]))
    means: FloatArray = (summed[steps:] - summed[:-steps]) / steps
    return means if wraps else np.concatenate([np.full(steps - 1, np.nan), means])


@any_container
def thirty_day_maximum(
    t_c: FloatArray, rh_frac: FloatArray, *, steps_per_day: int = 24, wraps: bool
) -> float | None:
    """Return largest 30-day mean humidity at a surface, while it is 5 to 40 °C on average [-].

    None where no span counts.

    *Source.* ASHRAE 160-2009 section 6.1, as Glass et al. (ASTM STP 1599, 2017) report it: below
    0.80. Later editions replaced it by the mould index.
    """
    steps = RUNNING_DAYS * steps_per_day
    t_mean = running_mean(t_c, steps=steps, wraps=wraps)
    rh_mean = running_mean(np.minimum(rh_frac, 1.0), steps=steps, wraps=wraps)
    low, high = MEAN_BETWEEN_C
    counts = (t_mean >= low) & (t_mean <= high)
    return float(rh_mean[counts].max()) if counts.any() else None
