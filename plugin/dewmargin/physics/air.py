"""Moist air, on arrays: saturation, humidity ratio, dew and frost point, enthalpy, density.

One set of relations throughout, so that no balance mixes two: the ideal-gas mixture and the
saturation equations of the ASHRAE Handbook of Fundamentals 2017, chapter 1 (equation numbers in
the docstrings), after Hyland and Wexler 1983. The enhancement factor is left out, as the handbook's
equations and the EnergyPlus engine do; it would raise humidity ratios by 0.3 to 0.5 %.
Below the triple point saturation is over ice; a "dew point" there is the frost point.
NaN in, NaN out, everywhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.containers import any_container
from dewmargin.kernel.saturation import (
    TRIPLE_POINT_PA,
    Number,
    ln_over_ice,
    ln_over_water,
    slope_over_ice,
    slope_over_water,
)

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

KELVIN = 273.15  # K at 0 °C
TRIPLE_POINT_C = 0.01  # °C, where psychrolib and we change from ice to water
MOLAR_RATIO = 0.621945  # kg/kg, water over dry air; Fundamentals 2017 ch. 1, with eq. 20
R_DRY_AIR = 287.042  # J/(kg K), idem eq. 1
R_RATIO = 1.607858  # gas constant of water vapour over dry air; idem eq. 26
CP_DRY_AIR = 1006.0  # J/(kg K), idem eq. 30
CP_VAPOUR = 1860.0  # J/(kg K), idem
H_FG_0C = 2.501e6  # J/kg at 0 °C, idem
CP_WATER = 4186.0  # J/(kg K)
WATER_KG_M3 = 1000.0  # kg/m3, at 4 °C; 1.7 % less at 60 °C
STANDARD_PRESSURE = 101_325.0  # Pa


@any_container
def saturation_pressure(t_c: FloatArray) -> FloatArray:
    """Return saturation pressure of water vapour, over ice up to 0.01 °C [Pa].

    Parameters
    ----------
    t_c : float64 array
        Temperature, -100 to 200. [°C]

    Returns
    -------
    float64 array, shape of `t_c`
        Saturation pressure. [Pa]

    Notes
    -----
    *Validity.* -100 to 200 °C; within 324 ppm of the IAPWS sublimation curve at -43 °C.

    *Source.* ASHRAE Fundamentals 2017 ch. 1 eq. 5 and 6.

    Examples
    --------
    >>> import numpy as np
    >>> np.round(saturation_pressure(np.array([-10.0, 20.0])), 1)
    array([ 259.9, 2338.8])
    """
    t_k = np.asarray(t_c, dtype=np.float64) + KELVIN
    ln_t = np.log(t_k)
    ln_p = np.asarray(ln_over_water(t_k, ln_t))
    ice = np.flatnonzero(t_k <= TRIPLE_POINT_C + KELVIN)
    if ice.size:
        ln_p.put(ice, ln_over_ice(np.take(t_k, ice), np.take(ln_t, ice)))
    return np.exp(ln_p)


@any_container
def saturation_slope(t_c: FloatArray) -> FloatArray:
    """Return the slope of saturation, d ln p/dT, over ice up to 0.01 °C [1/K].

    *Source.* Derivative of ASHRAE Fundamentals 2017 ch. 1 eq. 5 and 6.
    """
    t_k = np.asarray(t_c, dtype=np.float64) + KELVIN
    slope = np.asarray(slope_over_water(t_k))
    ice = np.flatnonzero(t_k <= TRIPLE_POINT_C + KELVIN)
    if ice.size:
        slope.put(ice, slope_over_ice(np.take(t_k, ice)))
    return slope


@any_container
def saturation_pressure_over_water(t_c: FloatArray) -> FloatArray:
    """Return saturation pressure over liquid water, supercooled below 0 °C [Pa].

    *Source.* ASHRAE Fundamentals 2017 ch. 1 eq. 6, which extrapolates smoothly to about -40 °C.
    """
    t_k = np.asarray(t_c, dtype=np.float64) + KELVIN
    return np.exp(ln_over_water(t_k, np.log(t_k)))


@any_container
def humidity_ratio(p_vapour_pa: FloatArray, p_pa: FloatArray) -> FloatArray:
    """Return humidity ratio at a vapour pressure and a station pressure [kg/kg].

    *Source.* ASHRAE Fundamentals 2017 ch. 1 eq. 20.
    """
    return MOLAR_RATIO * p_vapour_pa / (p_pa - p_vapour_pa)


@any_container
def vapour_pressure(w_kg_kg: FloatArray, p_pa: FloatArray) -> FloatArray:
    """Return vapour pressure at a humidity ratio, the inverse of `humidity_ratio` [Pa]."""
    return p_pa * w_kg_kg / (MOLAR_RATIO + w_kg_kg)


@any_container
def saturated_humidity_ratio(t_c: FloatArray, p_pa: FloatArray) -> FloatArray:
    """Return humidity ratio of saturated air, over ice up to 0.01 °C [kg/kg]."""
    return humidity_ratio(saturation_pressure(t_c), p_pa)


@any_container
def humidity_ratio_at_rh(t_c: FloatArray, rh_frac: FloatArray, p_pa: FloatArray) -> FloatArray:
    """Return humidity ratio at a relative humidity, a fraction over ice up to 0.01 °C [kg/kg]."""
    return humidity_ratio(rh_frac * saturation_pressure(t_c), p_pa)


@any_container
def relative_humidity(t_c: FloatArray, w_kg_kg: FloatArray, p_pa: FloatArray) -> FloatArray:
    """Return relative humidity, over ice up to 0.01 °C; above 1 if supersaturated [-]."""
    return vapour_pressure(w_kg_kg, p_pa) / saturation_pressure(t_c)


@any_container
def dew_point(p_vapour_pa: FloatArray) -> FloatArray:
    """Return dew point at a vapour pressure, frost point below 0.01 °C [°C].

    The air is saturated at that temperature; the triple point divides dew and frost point.

    Parameters
    ----------
    p_vapour_pa : float64 array
        Vapour pressure, above 0; smaller than 1e-3 counts as 1e-3 (-112 °C). [Pa]

    Returns
    -------
    float64 array, shape of `p_vapour_pa`
        Dew or frost point, converged to 1e-9 K. [°C]

    Notes
    -----
    Newton's method on ln p against 1/T, in which saturation is nearly a straight line; six steps
    from a Magnus-form start converge to rounding from -100 to 100 °C (tested on a grid).
    """
    p = np.maximum(np.asarray(p_vapour_pa, dtype=np.float64), 1e-3)
    ln_p = np.log(p)
    ice = p < TRIPLE_POINT_PA
    x = ln_p - np.log(611.2)
    # Start: Magnus forms over ice and over water (World Meteorological Organization, No. 8).
    t_k = np.where(ice, 272.62 * x / (22.46 - x), 243.12 * x / (17.62 - x)) + KELVIN
    for _ in range(6):
        ln_t = np.log(t_k)
        f = np.where(ice, ln_over_ice(t_k, ln_t), ln_over_water(t_k, ln_t)) - ln_p
        slope = np.where(ice, slope_over_ice(t_k), slope_over_water(t_k))
        t_k = t_k - f / slope
    result: FloatArray = t_k - KELVIN
    return result


@any_container
def enthalpy(t_c: FloatArray, w_kg_kg: FloatArray) -> FloatArray:
    """Return enthalpy per kg of dry air; dry air and liquid water are zero at 0 °C [J/kg].

    *Source.* ASHRAE Fundamentals 2017 ch. 1 eq. 30.
    """
    return CP_DRY_AIR * t_c + w_kg_kg * vapour_enthalpy(t_c)


@any_container
def vapour_enthalpy(t_c: Number) -> Number:
    """Return enthalpy of vapour at air temperature, its part of `enthalpy` [J/kg]."""
    return H_FG_0C + CP_VAPOUR * t_c


@any_container
def heat_capacity(w_kg_kg: Number) -> Number:
    """Return heat capacity per kg of dry air: how `enthalpy` rises with temperature [J/(kg K)]."""
    return CP_DRY_AIR + CP_VAPOUR * w_kg_kg


@any_container
def temperature_of_enthalpy(h_j_kg: FloatArray, w_kg_kg: FloatArray) -> FloatArray:
    """Return temperature of moist air of a known enthalpy: `enthalpy` solved for it [°C].

    Examples
    --------
    >>> w = np.array([0.006])
    >>> temperature_of_enthalpy(enthalpy(np.array([21.0]), w), w)
    array([21.])
    """
    return (h_j_kg - w_kg_kg * H_FG_0C) / heat_capacity(w_kg_kg)


@any_container
def dry_air_density(t_c: FloatArray, w_kg_kg: FloatArray, p_pa: FloatArray) -> FloatArray:
    """Return mass of dry air per volume of moist air [kg/m3].

    *Source.* ASHRAE Fundamentals 2017 ch. 1 eq. 26, 1/v.
    """
    return p_pa / (R_DRY_AIR * (t_c + KELVIN) * (1.0 + R_RATIO * w_kg_kg))


def standard_pressure(elevation_m: float) -> float:
    """Return pressure of the standard atmosphere at -5000 to 11000 m [Pa].

    *Source.* ASHRAE Fundamentals 2017 ch. 1 eq. 3.

    Examples
    --------
    >>> round(standard_pressure(1000.0))
    89875
    """
    return float(STANDARD_PRESSURE * (1.0 - 2.25577e-5 * elevation_m) ** 5.2559)
