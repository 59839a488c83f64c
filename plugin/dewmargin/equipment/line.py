"""An equipment's rate as a straight line in the room's humidity, through two points of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dewmargin.contracts import Mode

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

_LEAST_SPAN_KG_KG = 1e-4  # between the two humidities: a shorter chord is a poor tangent


def room_nodes(w_base_kg_kg: FloatArray, w_set_kg_kg: FloatArray) -> FloatArray:
    """Return the two humidity ratios of the room at which a rate is computed, (2, n_steps)."""
    far = np.abs(w_set_kg_kg - w_base_kg_kg) >= _LEAST_SPAN_KG_KG
    return np.stack([w_base_kg_kg, np.where(far, w_set_kg_kg, w_base_kg_kg + _LEAST_SPAN_KG_KG)])


def line(w_kg_kg: FloatArray, rate_kg_s: FloatArray, *, feed_kg_s: float) -> Mode:
    """Return the mode whose rate runs straight through two points.

    Parameters
    ----------
    w_kg_kg, rate_kg_s : float64 array, shape (2, n_steps)
        Humidity ratios of the room, and the rates there. [kg/kg, kg/s]
    feed_kg_s : float
        Water fed while running. [kg/s]
    """
    slope = (rate_kg_s[0] - rate_kg_s[1]) / (w_kg_kg[1] - w_kg_kg[0])
    return Mode(
        r0_kg_s=rate_kg_s[0] + slope * w_kg_kg[0],
        r1_kg_s=slope,
        feed_kg_s=np.full(slope.size, feed_kg_s),
    )
