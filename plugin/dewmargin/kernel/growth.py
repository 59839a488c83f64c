"""Mould growth hour by hour: sequential, and so compiled like the balance.

Plain functions of floats; see `dewmargin.kernel.source` about `jit`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.columns import FloatArray

    Function = TypeVar("Function", bound=Callable[..., object])

if "jit" not in globals():  # the loader of the compiled twin sets it beforehand

    def jit(function: Function) -> Function:
        """Leave a function as plain Python."""
        return function


HOUR_S = 3600.0
FIRST_H, REST_H = 6.0, 24.0  # decline in the first hours without growth, then a pause
FIRST_DECLINE, LATE_DECLINE = 0.032 / 24.0, 0.016 / 24.0  # per hour


@jit
def follow(
    index: float, adverse_h: float, step_s: float, growth: FloatArray, most: FloatArray,
    early: float, late: float, decline: float, out: FloatArray,
) -> tuple[float, float]:  # fmt: skip
    """Follow the mould index through the steps; fill `out` with its value at their ends.

    `growth` [1/h] is that of a class whose coefficient is 1, negative where conditions are adverse;
    `most` is what the index tends to; `early` and `late` are the class's coefficients below and
    from an index of 1; `decline` scales the decline; `adverse_h` is how long conditions have been
    adverse. Returns both at the end.
    """
    hours = step_s / HOUR_S
    for i in range(growth.size):
        if growth[i] >= 0.0:
            adverse_h = 0.0
            k1 = early if index < 1.0 else late
            k2 = max(0.0, 1.0 - math.exp(2.3 * (index - most[i])))
            index = index + k1 * k2 * growth[i] * hours
        else:
            adverse_h = adverse_h + hours
            rate = 0.0
            if adverse_h <= FIRST_H:
                rate = FIRST_DECLINE
            elif adverse_h > REST_H:
                rate = LATE_DECLINE
            index = max(0.0, index - decline * rate * hours)
        out[i] = index
    return index, adverse_h
