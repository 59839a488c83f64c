"""Peeking: whether a strategy looks further ahead than its horizon."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.strategies.film_memory import while_wet

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Strategy, WhileWet


def looks_ahead(
    strategy: Strategy, case: HourlyCase, rh_set: FloatArray, wet: WhileWet | None, *, hours: int
) -> bool:
    """Tell whether the first set-points change once what lies beyond their horizon is withheld.

    Parameters
    ----------
    strategy : Strategy
    case : HourlyCase
    rh_set : float64 array, shape (n_steps,)
        What it holds, asked with the whole case.
    wet : WhileWet or None
        What it holds while a surface is wet, idem.
    hours : int
        How many hours are the first; they stay, and the strategy's horizon, in whole hours.
    """
    if not hours:
        return False
    n = hours * case.steps_per_hour
    seen_h = min(case.n_hours, hours + math.ceil(strategy.horizon_h))
    known = case.first(seen_h * case.steps_per_hour)
    same = np.array_equal(strategy.setpoint(known)[:n], rh_set[:n])
    if wet is not None:
        again = while_wet(strategy, known)
        same &= again is not None and np.array_equal(again.rh_frac[:n], wet.rh_frac[:n])
    return not same
