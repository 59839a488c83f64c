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

# Conductivity of the wall [W/(m K)] and emissivity of its surface; values from memory, of copper
# as it is bright to lightly tarnished. Not known is taken as a plastic, which loses more.
MATERIALS = {
    "copper": (390.0, 0.05),
    "pex": (0.40, 0.90),
    "cpvc": (0.14, 0.90),
    "polyethylene": (0.40, 0.90),
}
NOT_KNOWN = (0.40, 0.90)
FOAM_W_M_K = 0.040  # tubular foam at 40 °C; common practice, no source
_FOAM_EMISSIVITY = 0.90
_STEFAN_BOLTZMANN = 5.670374e-8
_GRAVITY = 9.80665
# Air at sea level: a textbook's table, from memory.
_AIR_K = np.array([250.0, 300.0, 350.0, 400.0])
_CONDUCTIVITY_W_M_K = np.array([22.3e-3, 26.3e-3, 30.0e-3, 33.8e-3])
_VISCOSITY_M2_S = np.array([11.44e-6, 15.89e-6, 20.92e-6, 26.41e-6])
_PRANDTL = np.array([0.720, 0.707, 0.700, 0.690])
# What divides the sixth root of Rayleigh's number in `film_of_cylinder`.
_BRACKET = (1.0 + (0.559 / _PRANDTL) ** (9.0 / 16.0)) ** (8.0 / 27.0)
_FREEZING_C, _BOILING_C = 0.0, 100.0  # a line's loss is not asked for beyond
_TURNS = 6  # of surface temperature and film: each leaves a fifth of what is open, or less
_MOST_FILM_W_M2_K = 30.0  # of a line: with it the wall has its largest part of the resistance
_LEFT_OPEN = 1e-8  # of the difference between water and air, after the last turn


@any_container
def film_of_cylinder(
    t_surface_c: FloatArray, t_ambient_c: FloatArray, *, diameter_m: float, emissivity: float
) -> FloatArray:
    r"""Return the heat transfer of a horizontal cylinder in still air [W/(m2 K)].

    .. math::
        Nu = \left(0.60 + \frac{0.387\,Ra^{1/6}}{(1 + (0.559/Pr)^{9/16})^{8/27}}\right)^2,
        \qquad h = \frac{Nu\,k}{d} + \varepsilon\sigma(T_s^2 + T_a^2)(T_s + T_a)

    Parameters
    ----------
    t_surface_c, t_ambient_c : float64 array
        [°C]
    diameter_m : float
        [m]
    emissivity : float
        [-]

    Notes
    -----
    *Validity.* Still air at sea level, walls of the air's temperature; Ra up to 1e12. Properties of
    air at the mean of both temperatures by straight lines through a table's values at 250 to 400 K,
    within 1 %.

    *Source.* Churchill and Chu (1975), Int. J. Heat Mass Transfer 18, 1049; Stefan and Boltzmann.
    Air: a textbook's table, every 50 K (from memory).

    Examples
    --------
    >>> tube = film_of_cylinder(np.array([55.0]), np.array([20.0]), diameter_m=8e-3, emissivity=0.9)
    >>> tube.round(1)
    array([15.6])
    """
    surface_k, ambient_k = t_surface_c + air.KELVIN, t_ambient_c + air.KELVIN
    film_k = 0.5 * (surface_k + ambient_k)
    conductivity = np.interp(film_k, _AIR_K, _CONDUCTIVITY_W_M_K)
    viscosity = np.interp(film_k, _AIR_K, _VISCOSITY_M2_S)
    prandtl = np.interp(film_k, _AIR_K, _PRANDTL)
    rayleigh = (
        _GRAVITY * np.abs(surface_k - ambient_k) / film_k * diameter_m**3 * prandtl / viscosity**2
    )
    bracket = np.interp(film_k, _AIR_K, _BRACKET)
    nusselt = (0.60 + 0.387 * np.sqrt(np.cbrt(rayleigh)) / bracket) ** 2
    radiant = emissivity * _STEFAN_BOLTZMANN * (surface_k**2 + ambient_k**2)
    film: FloatArray = nusselt * conductivity / diameter_m + radiant * (surface_k + ambient_k)
    return film


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WaterLine:
    """A feed line of one bore.

    Attributes
    ----------
    length_m : float
        [m]
    bore_mm, outer_mm : float
        Inner and outer diameter. [mm]
    ambient_c : float or float64 array, shape (n_steps,)
        Air around it. [°C]
    material : str or None
        One of `MATERIALS`; None is not known.
    insulation_mm, insulation_w_m_k : float
        Thickness and conductivity of a foam around it. [mm, W/(m K)]
    film_w_m2_k : float or None
        Heat transfer on the outer surface of the bare line, insulation included; None: by natural
        convection and radiation. [W/(m2 K)]
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
    ambient_c: FloatArray | float
    material: str | None = None
    insulation_mm: float = 0.0
    insulation_w_m_k: float = FOAM_W_M_K
    film_w_m2_k: float | None = None
    in_space: bool = True

    def __post_init__(self) -> None:
        """Check the sizes."""
        tiny = float(np.finfo(np.float64).tiny)
        require_between("Line", "length_m", self.length_m, tiny, math.inf)
        require_between("Line", "bore_mm", self.bore_mm, tiny, self.outer_mm)
        require_between("Line", "insulation_mm", self.insulation_mm, 0.0, math.inf)
        require_between("Line", "insulation_w_m_k", self.insulation_w_m_k, tiny, math.inf)
        if self.film_w_m2_k is not None:
            require_between("Line", "film_w_m2_k", self.film_w_m2_k, 0.0, math.inf)

    @property
    def held_kg(self) -> float:
        """Return water in the line [kg]."""
        return air.WATER_KG_M3 * math.pi / 4.0 * (1e-3 * self.bore_mm) ** 2 * self.length_m

    @any_container
    def loss_w_k(self, t_water_c: FloatArray) -> FloatArray:
        r"""Return heat that the whole line loses to the air around it [W/K].

        .. math::
            \frac{\ell}{U} = \frac{\ln(d_o/d_i)}{2\pi\lambda}
            + \frac{\ln(D/d_o)}{2\pi\lambda_{foam}} + \frac{1}{\pi D\,h(T_s)}

        Parameters
        ----------
        t_water_c : float64 array
            Water in it, which gives its heat to the wall without resistance. [°C]

        Notes
        -----
        *Source.* Conduction through cylinders in series; `film_of_cylinder`.
        """
        outer_m, ambient_c = 1e-3 * self.outer_mm, np.asarray(self.ambient_c, dtype=np.float64)
        if self.film_w_m2_k is not None:
            told = self.film_w_m2_k * math.pi * outer_m * self.length_m
            return np.full_like(t_water_c, told)
        wall_w_m_k, emissivity = MATERIALS.get(self.material or "", NOT_KNOWN)
        inside = math.log(self.outer_mm / self.bore_mm) / (2.0 * math.pi * wall_w_m_k)
        surface_m = outer_m + 2e-3 * self.insulation_mm
        if self.insulation_mm > 0.0:
            inside += math.log(surface_m / outer_m) / (2.0 * math.pi * self.insulation_w_m_k)
            emissivity = _FOAM_EMISSIVITY
        # As the film goes with the third root of the difference at most, a turn leaves a third of
        # the wall's part.
        least = 1.0 / (math.pi * surface_m * _MOST_FILM_W_M2_K)
        left = max(inside / (inside + least) / 3.0, 1e-9)
        surface_c = t_water_c
        for _ in range(min(math.ceil(math.log(_LEFT_OPEN) / math.log(left)), _TURNS)):
            film = film_of_cylinder(
                surface_c, ambient_c, diameter_m=surface_m, emissivity=emissivity
            )
            outside = 1.0 / (math.pi * surface_m * film)
            surface_c = ambient_c + (t_water_c - ambient_c) * outside / (inside + outside)
        loss: FloatArray = self.length_m / (inside + outside)
        return loss

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
        *Validity.* The loss at the mean of both ends' temperatures, found in three turns.

        *Source.* Energy balance of a stream in a tube.

        Examples
        --------
        >>> quarter_inch = WaterLine(
        ...     length_m=5.0, bore_mm=4.33, outer_mm=6.35, ambient_c=20.0, material="copper"
        ... )
        >>> quarter_inch.arriving_c(np.array([60.0]), 15 / 3600).round(1)
        array([57.6])
        """
        ambient_c, mean_c = self.ambient_c, t_start_c
        for _ in range(3):
            left = np.exp(-self.loss_w_k(mean_c) / (feed_kg_s * air.CP_WATER))
            end_c = ambient_c + (t_start_c - ambient_c) * left
            mean_c = 0.5 * (t_start_c + end_c)
        arriving: FloatArray = end_c
        return arriving

    @any_container
    def starting_c(self, t_end_c: FloatArray, feed_kg_s: float) -> FloatArray:
        """Return temperature that enters the line, by the one at its end [°C].

        Parameters
        ----------
        t_end_c : float64 array
            Water leaving the line. [°C]
        feed_kg_s : float
            Flow, above 0. [kg/s]

        Notes
        -----
        *Source.* As `arriving_c`.
        """
        ambient_c, mean_c = self.ambient_c, t_end_c
        for _ in range(_TURNS):
            left = np.exp(-self.loss_w_k(mean_c) / (feed_kg_s * air.CP_WATER))
            start_c = ambient_c + (t_end_c - ambient_c) / left
            mean_c = np.clip(0.5 * (start_c + t_end_c), _FREEZING_C, _BOILING_C)
        starting: FloatArray = start_c
        return starting

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
        *Validity.* The loss at the mean of both temperatures, found in three turns. The wall's own
        heat is left out, so that the line cools too soon.

        *Source.* Energy balance of a lump.
        """
        ambient_c, mean_c = self.ambient_c, t_warm_c
        for _ in range(3):
            rate_1_s = self.loss_w_k(mean_c) / (self.held_kg * air.CP_WATER)
            rested_c = ambient_c + (t_warm_c - ambient_c) * np.exp(-pause_s * rate_1_s)
            mean_c = 0.5 * (t_warm_c + rested_c)
        rested: FloatArray = rested_c
        return rested
