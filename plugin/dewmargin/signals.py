"""What a controller makes of a signal: late, ahead of time, or only so fast."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray


def lagged(values: FloatArray, *, time_constant: float) -> FloatArray:
    """Return what a sensor of first order shows: the mean over each step.

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


def least_ahead(values: FloatArray, n_steps: int) -> FloatArray:
    """Return the least of each step and the `n_steps` after it, along the last axis.

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


def rate_limited(values: FloatArray, *, rise: float, fall: float) -> FloatArray:
    """Return what follows `values` at most by `rise` and `fall` a step, from the first on."""
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
