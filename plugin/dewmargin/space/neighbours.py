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
    alike : bool array, shape (n_zones,)
        Zones outside the space that humidifiers of their own hold at the same humidity.
    times : float64 array, shape (n_zones,)
        How often the building has each zone. [-]
    outdoor_kg_s, received_kg_s : float64 array, shape (n_zones, n_steps)
        Air exchanged with outdoors, after latent recovery, and received from other zones. [kg/s]
    share : float64 array, shape (n_zones, n_zones)
        Part of the air a zone (row) receives that comes from another (column). [-]
    """

    chosen: np.ndarray
    alike: np.ndarray
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

    def couplings_kg_s(self) -> tuple[FloatArray, FloatArray]:
        r"""Return the air between the zones that are held, others eliminated.

        The nodes are the space, as one, and each zone held alike. Any other zone p, humidified only
        by the air it receives, settles where its losses balance that:

        .. math::
            (b_p + m_p)\,x_p = m_p \sum_k s_{pk}\,x_k

        with x the departure of each zone from its baseline. For two zones that exchange m both
        ways, of which one is the space, the other adds the series conductance m·b/(m + b) to the
        loss of the space.

        Returns
        -------
        loss_kg_s : float64 array, shape (n_nodes, n_steps)
            Air by which a node loses its departure to outdoors and to all other nodes. [kg/s]
        flow_kg_s : float64 array, shape (n_nodes, n_nodes, n_steps)
            Air by which a node (row) receives the departure of another (column). [kg/s]

        Notes
        -----
        *Validity.* The zones that are not held follow without delay: their own storage, some hours
        at common flows and half a day with a moisture capacity multiplier of 4, is left out, which
        a steady set-point does not feel.

        *Source.* Water balance of each zone.
        """
        held = [self.chosen, *(np.arange(self.alike.size) == i for i in np.flatnonzero(self.alike))]
        passive = ~(self.chosen | self.alike)
        n_nodes, n_passive = len(held), int(passive.sum())
        n_steps = self.received_kg_s.shape[1]
        # Of the air a zone receives, the part that comes from each node.
        part_of = np.stack([self.share[:, node].sum(axis=1) for node in held], axis=1)
        among = self.share[np.ix_(passive, passive)]
        loss, flow = np.empty((n_nodes, n_steps)), np.empty((n_nodes, n_nodes, n_steps))
        for start in range(0, n_steps, _STEPS_AT_ONCE):
            steps = slice(start, start + _STEPS_AT_ONCE)
            m, b = self.received_kg_s[:, steps], self.outdoor_kg_s[:, steps]
            m_p, b_p = m[passive].T, b[passive].T
            matrix = -m_p[:, :, None] * among
            matrix[:, np.arange(n_passive), np.arange(n_passive)] += b_p + m_p + _LEAST_KG_S
            follows = np.linalg.solve(matrix, m_p[:, :, None] * part_of[passive])
            # Shape (n_zones, n_nodes, n_steps): each node's part in what a zone receives.
            brings = part_of[:, :, None] + np.einsum("zp,tpn->znt", self.share[:, passive], follows)
            for row, node in enumerate(held):
                given = np.einsum("z,zt,znt->nt", self.times[node], m[node], brings[node])
                sent = b[node] + m[node] * self.share[node].sum(axis=1)[:, None]
                flow[row][:, steps] = given
                loss[row, steps] = self.times[node] @ sent - given[row]
        flow[np.arange(n_nodes), np.arange(n_nodes)] = 0.0
        return np.maximum(loss, flow.sum(axis=1)), flow

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
