"""Feed line to a humidifier: heat that it loses, and what stands cold in it.

A trickle cools on its way; and after a pause the line holds a slug of water that has cooled, which
has to run through before hot water arrives.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.checks import require_between
from dewmargin.core.containers import any_container
from dewmargin.physics import air

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

BARE_W_M2_K = 10.0  # convection and radiation of a bare line indoors; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterLine:
    """A feed line of one bore.

    Attributes
    ----------
    length_m : float
        [m]
    bore_mm, outer_mm : float
        Inner and outer diameter. [mm]
    ambient_c : float
        Air around it. [°C]
    film_w_m2_k : float
        Heat transfer coefficient on the outer surface, insulation included. [W/(m2 K)]
    in_space : bool
        Whether its heat goes to the heated space.

    Raises
    ------
    OutOfRangeError
        If a size is not above 0, or the bore larger than the outside.
    """

    length_m: float
    bore_mm: float
    outer_mm: float
    ambient_c: float
    film_w_m2_k: float = BARE_W_M2_K
    in_space: bool = True

    def __post_init__(self) -> None:
        """Check the sizes."""
        tiny = float(np.finfo(np.float64).tiny)
        require_between("Line", "length_m", self.length_m, tiny, math.inf)
        require_between("Line", "bore_mm", self.bore_mm, tiny, self.outer_mm)
        require_between("Line", "film_w_m2_k", self.film_w_m2_k, 0.0, math.inf)

    @property
    def held_kg(self) -> float:
        """Return water in the line [kg]."""
        return air.WATER_KG_M3 * math.pi / 4.0 * (1e-3 * self.bore_mm) ** 2 * self.length_m

    @property
    def loss_w_k(self) -> float:
        """Return heat that the whole line loses to the air around it [W/K]."""
        return self.film_w_m2_k * math.pi * 1e-3 * self.outer_mm * self.length_m

    @any_container
    def arriving_c(self, t_start_c: FloatArray, feed_kg_s: float) -> FloatArray:
        r"""Return temperature at the end of the line, in which water flows steadily [°C].

        .. math:: T = T_{amb} + (T_0 - T_{amb})\,e^{-h\,\pi d_o\,\ell/(L c_w)}

        Parameters
        ----------
        t_start_c : float64 array
            Water entering the line. [°C]
        feed_kg_s : float
            Flow, above 0. [kg/s]

        Notes
        -----
        *Validity.* Wall and water film resist nothing beside the air around the line.

        *Source.* Energy balance of a stream in a tube.

        Examples
        --------
        >>> quarter_inch = WaterLine(length_m=5.0, bore_mm=4.33, outer_mm=6.35, ambient_c=20.0)
        >>> quarter_inch.arriving_c(np.array([60.0]), 15 / 3600).round(1)
        array([57.8])
        """
        left = math.exp(-self.loss_w_k / (feed_kg_s * air.CP_WATER))
        return self.ambient_c + (t_start_c - self.ambient_c) * left

    def starting_c(self, t_end_c: float, feed_kg_s: float) -> float:
        """Return temperature that enters the line, by the one at its end [°C]."""
        left = math.exp(-self.loss_w_k / (feed_kg_s * air.CP_WATER))
        return self.ambient_c + (t_end_c - self.ambient_c) / left

    def purge_s(self, feed_kg_s: float) -> float:
        """Return time in which the feed pushes out what the line holds [s].

        *Source.* Content over flow; plug flow.

        Examples
        --------
        >>> half_inch = WaterLine(length_m=10.0, bore_mm=13.8, outer_mm=15.9, ambient_c=20.0)
        >>> round(half_inch.purge_s(15 / 3600))
        359
        """
        return self.held_kg / feed_kg_s

    @any_container
    def rested_c(self, t_warm_c: FloatArray, pause_s: FloatArray) -> FloatArray:
        r"""Return temperature of the water in the line after a pause [°C].

        .. math:: T = T_{amb} + (T_0 - T_{amb})\,e^{-t\,h\,\pi d_o\,\ell/(m_w c_w)}

        Parameters
        ----------
        t_warm_c : float64 array
            Temperature when the flow stopped. [°C]
        pause_s : float64 array
            Time since. [s]

        Notes
        -----
        *Validity.* The wall's own heat is left out, so that the line cools too soon.

        *Source.* Energy balance of a lump.
        """
        rate_1_s = self.loss_w_k / (self.held_kg * air.CP_WATER)
        return self.ambient_c + (t_warm_c - self.ambient_c) * np.exp(-pause_s * rate_1_s)
