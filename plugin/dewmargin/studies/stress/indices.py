"""Design and Sobol' indices of a study of doubts, and intervals of what it counts."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

Sampling = Literal["sobol", "latin_hypercube"]

SURE = 0.95  # of the intervals told with quantiles and probabilities
LEAST_BASE = 8
ROUNDING = 1e-9  # of the largest value


def design(
    n_doubts: int, samples: int, sampling: Sampling, seed: int
) -> tuple[FloatArray, FloatArray]:
    """Return A and B in the unit cube, each of the shape (n_base, n_doubts).

    *Source.* Saltelli et al. 2010, Computer Physics Communications 181(2): one sequence of twice as
    many dimensions, cut in two; n_base is a power of two for a Sobol sequence.
    """
    from scipy.stats import qmc  # noqa: PLC0415 - slow to import

    n = max(LEAST_BASE, math.ceil(samples / (n_doubts + 2)))
    if sampling == "sobol":
        power = math.ceil(math.log2(n))
        cube = qmc.Sobol(2 * n_doubts, scramble=True, rng=seed).random_base2(power)
    else:
        cube = qmc.LatinHypercube(2 * n_doubts, rng=seed).random(n)
    return cube[:, :n_doubts], cube[:, n_doubts:]


def interval(values: FloatArray, q: float) -> tuple[float, float]:
    """Return the interval that holds a quantile with 95 %, by order statistics of sorted values.

    *Source.* Binomial distribution of the number of values below a quantile; for draws that fill
    the space more evenly than chance it is wider than need be.
    """
    from scipy import stats  # noqa: PLC0415 - slow to import

    n = values.size
    below = stats.binom.ppf([0.5 * (1.0 - SURE), 0.5 * (1.0 + SURE)], n, q)
    low, high = int(max(below[0] - 1, 0)), int(min(below[1], n - 1))
    return float(values[low]), float(values[high])


def share_interval(part: int, whole: int) -> tuple[float | None, float | None]:
    """Return the interval of a share with 95 % (Clopper and Pearson 1934)."""
    from scipy import stats  # noqa: PLC0415 - slow to import

    if not whole:
        return None, None
    tail = 0.5 * (1.0 - SURE)
    low = 0.0 if part == 0 else float(stats.beta.ppf(tail, part, whole - part + 1))
    high = 1.0 if part == whole else float(stats.beta.ppf(1.0 - tail, part + 1, whole - part))
    return low, high


def indices(results: FloatArray) -> tuple[FloatArray, FloatArray]:
    r"""Return Sobol' indices of every option's numbers, each (n_doubts, n_options, n_metrics).

    Parameters
    ----------
    results : float64 array, shape (n_base, 2 + n_doubts, n_options, n_metrics)
        Of A, of B, and of A with each input from B; NaN is not known.

    Notes
    -----
    .. math:: S_i = \overline{f_B (f_{AB_i} - f_A)} / V \qquad
        T_i = \overline{(f_A - f_{AB_i})^2} / 2V

    with f less its mean, and its variance V, over A and B. A number that is not known in some draw,
    or varies by rounding only, has no shares of anything: NaN.

    *Source.* Saltelli et al. 2010, Computer Physics Communications 181(2), table 2 (b) and (f),
    the latter of Jansen 1999.
    """
    if results.shape[1] == 1:  # nothing is drawn
        nothing = np.empty((0, *results.shape[2:]))
        return nothing, nothing
    drawn = results[:, :2]
    centred = results - drawn.mean(axis=(0, 1))
    f_a, f_b, mixed = centred[:, 0], centred[:, 1], centred[:, 2:]
    variance = np.mean(centred[:, :2] ** 2, axis=(0, 1))
    known = np.isfinite(results).all(axis=(0, 1))
    varies = known & (np.ptp(drawn, axis=(0, 1)) > ROUNDING * np.abs(drawn).max(axis=(0, 1)))
    variance = np.where(varies, variance, np.nan)
    first = np.mean(f_b[:, None] * (mixed - f_a[:, None]), axis=0) / variance
    total = np.mean((f_a[:, None] - mixed) ** 2, axis=0) / (2.0 * variance)
    return first, total
