"""Zones beside the space: how far they follow its humidity, and what their air brings.

A zone that is not humidified itself but exchanges air with the space is no second outdoors: what
drifts into it comes back, less what its own leaks carry off.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

_LEAST_KG_S = 1e-12  # keeps a sealed group of zones solvable; far below any flow
_STEPS_AT_ONCE = 2_000  # bounds the memory of many zones


@dataclass(frozen=True, slots=True, kw_only=True)
class Paths:
    """Air between the zones of a building, zone by zone.

    Attributes
    ----------
    chosen : bool array, shape (n_zones,)
        Zones that make up the space.
    times : float64 array, shape (n_zones,)
        How often the building has each zone. [-]
    outdoor_kg_s, received_kg_s : float64 array, shape (n_zones, n_steps)
        Air exchanged with outdoors, after latent recovery, and received from other zones. [kg/s]
    share : float64 array, shape (n_zones, n_zones)
        Part of the air a zone (row) receives that comes from another (column). [-]
    """

    chosen: np.ndarray
    times: FloatArray
    outdoor_kg_s: FloatArray
    received_kg_s: FloatArray
    share: FloatArray

    def drawn_kg_s(self) -> FloatArray:
        """Return the air that the space takes from zones outside it. [kg/s], shape (n_steps,)."""
        inside, outside = self.chosen, ~self.chosen
        part = self.share[np.ix_(inside, outside)].sum(axis=1)
        result: FloatArray = (self.times[inside] * part) @ self.received_kg_s[inside]
        return result

    def conductance_kg_s(self) -> FloatArray:
        r"""Return what the zones outside the space add to its exchange with outdoors.

        A zone j outside the space, humidified only by the air it receives, settles at the fraction
        x of the space's departure from its baseline:

        .. math::
            (b_j + m_j)\,x_j = m_j \sum_k s_{jk}\,x_k, \qquad x_k = 1 \text{ in the space}

        and the space, whose zones i take m_i from the others, loses
        :math:`\sum_i m_i \sum_j s_{ij} (1 - x_j)`. For two zones that exchange m both ways this is
        the series conductance m·b/(m + b).

        Returns
        -------
        float64 array, shape (n_steps,)
            Dry-air flow. [kg/s]

        Notes
        -----
        *Validity.* The other zones follow without delay: their own storage, some hours at common
        flows and half a day with a moisture capacity multiplier of 4, is left out, which a steady
        set-point does not feel.

        *Source.* Water balance of each zone.
        """
        inside, outside = self.chosen, ~self.chosen
        n_out, n_steps = int(outside.sum()), self.received_kg_s.shape[1]
        from_space = self.share[np.ix_(outside, inside)].sum(axis=1)
        among = self.share[np.ix_(outside, outside)]
        taken = self.times[inside, None] * self.share[np.ix_(inside, outside)]
        result = np.empty(n_steps)
        for start in range(0, n_steps, _STEPS_AT_ONCE):
            part = slice(start, start + _STEPS_AT_ONCE)
            m = self.received_kg_s[outside, part].T
            b = self.outdoor_kg_s[outside, part].T
            matrix = -m[:, :, None] * among
            matrix[:, np.arange(n_out), np.arange(n_out)] += b + m + _LEAST_KG_S
            follows = np.linalg.solve(matrix, (m * from_space)[:, :, None])[:, :, 0]
            weight = taken.T @ self.received_kg_s[inside, part]
            result[part] = np.sum(weight.T * np.maximum(1.0 - follows, 0.0), axis=1)
        return result

    def brought_kg_s(self, w_kg_kg: FloatArray, w_out_kg_kg: FloatArray) -> FloatArray:
        """Return the water that outdoor air and other zones bring to the space, less what leaves.

        Parameters
        ----------
        w_kg_kg : float64 array, shape (n_zones, n_steps)
            Humidity ratio of each zone. [kg/kg]
        w_out_kg_kg : float64 array, shape (n_steps,)
            Outdoor humidity ratio. [kg/kg]

        Returns
        -------
        float64 array, shape (n_steps,)
            Water. [kg/s]
        """
        inside = self.chosen
        between = (
            self.share[inside] @ w_kg_kg - self.share[inside].sum(axis=1)[:, None] * w_kg_kg[inside]
        )
        outdoors = self.outdoor_kg_s[inside] * (w_out_kg_kg - w_kg_kg[inside])
        result: FloatArray = self.times[inside] @ (outdoors + self.received_kg_s[inside] * between)
        return result


def effectiveness(
    recovered_kg_s: FloatArray, offered_kg_s: FloatArray, active_frac: FloatArray
) -> FloatArray:
    """Return the latent effectiveness of a heat recovery, step by step.

    Parameters
    ----------
    recovered_kg_s : float64 array, shape (n_steps,)
        Water handed back to the space; negative where it is kept out. [kg/s]
    offered_kg_s : float64 array, shape (n_steps,)
        Water that the outdoor air would take away without recovery. [kg/s]
    active_frac : float64 array, shape (n_steps,)
        Part of the step in which the recovery runs; the rest is bypass or defrost. [-]

    Returns
    -------
    float64 array, shape (n_steps,)
        0 to 1. [-]

    Notes
    -----
    *Validity.* One effectiveness for the whole run, fitted by least squares, so that hours with
    hardly any difference of humidity, whose own ratio would mean nothing, weigh nothing.
    """
    offered = offered_kg_s * active_frac
    size = float(offered @ offered)
    fitted = float(recovered_kg_s @ offered) / size if size > 0.0 else 0.0
    result: FloatArray = min(max(fitted, 0.0), 1.0) * active_frac
    return result
