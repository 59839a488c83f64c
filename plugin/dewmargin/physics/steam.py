r"""Steam and droplets: their heat, the air behind them, and how long a droplet lives."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.containers import any_container
from dewmargin.physics import air
from dewmargin.physics.pad import thermodynamic_wet_bulb

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

# Saturated steam and water at 100 °C, liquid at 0 °C being zero: IAPWS-95 as CoolProp computes it.
STEAM_J_KG = 2.675_6e6
BOILING_WATER_J_KG = 0.419_1e6
DIFFUSIVITY_M2_S = 2.5e-5  # water vapour in room air at 20 °C; handbooks, from memory
_SATURATION_STEPS = 30  # Newton's method: four to eight are enough
_SETTLED_K = 1e-10
_MOST_VAPOUR = 0.9  # of the pressure, beyond which no air is humidified


@any_container
def boiling_heat(t_feed_c: FloatArray, *, drain_frac: float) -> FloatArray:
    r"""Return heat that makes a kilogram of steam and warms what drains with it [J/kg].

    .. math:: q = h_g - c_w T_f + \frac{b}{1-b}\,(h_{f,100} - c_w T_f)

    Parameters
    ----------
    t_feed_c : float64 array
        Feed water. [°C]
    drain_frac : float, 0 to below 1
        Share b of the feed that is drained, boiling. [-]

    Returns
    -------
    float64 array, shape of `t_feed_c`
        Useful heat for each kilogram of steam. [J/kg]

    Notes
    -----
    *Validity.* At 100 °C: at 80 kPa water boils at 93.5 °C, which changes it by 0.4 %.

    *Source.* First law; steam of IAPWS-95.

    Examples
    --------
    >>> import numpy as np
    >>> (boiling_heat(np.array([10.0]), drain_frac=0.1) / 3.6e6).round(3)
    array([0.743])
    """
    feed_j_kg = air.CP_WATER * t_feed_c
    drained = drain_frac / (1.0 - drain_frac)
    result: FloatArray = STEAM_J_KG - feed_j_kg + drained * (BOILING_WATER_J_KG - feed_j_kg)
    return result


@any_container
def saturated_by(
    t_c: FloatArray, w_kg_kg: FloatArray, p_pa: FloatArray, water_j_kg: FloatArray | float
) -> FloatArray:
    r"""Return humidity ratio at which air that takes up water becomes saturated [kg/kg].

    .. math:: h(T, W) + (W_s(T_s) - W)\,h_w = h(T_s, W_s(T_s))

    Steam leads along a line of nearly constant temperature, cold droplets along one of nearly
    constant wet bulb.

    Parameters
    ----------
    t_c, w_kg_kg, p_pa : float64 array
        Air before the humidifier. [°C, kg/kg, Pa]
    water_j_kg : float64 array
        Enthalpy of what is added, liquid at 0 °C being zero. [J/kg]

    Returns
    -------
    float64 array, broadcast shape
        Humidity ratio at saturation; below `w_kg_kg` where the air is supersaturated. Steam hardly
        saturates air that is hot and humid already: beyond 5.6, where vapour is nine tenths of the
        pressure, the result stays there. [kg/kg]

    Notes
    -----
    Newton's method from the air's own temperature; over liquid water at any temperature.

    *Validity.* Air of -10 to 95 °C.

    *Source.* First law; the engine's rule of throttling back to saturation (EnergyPlus Engineering
    Reference, humidifiers).
    """
    t_in, w_in, p, h_w = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in (t_c, w_kg_kg, p_pa, water_j_kg))
    )
    h_in = air.enthalpy(t_in, w_in)
    hottest = air.dew_point(_MOST_VAPOUR * p)
    t = np.minimum(t_in, hottest)
    for _ in range(_SATURATION_STEPS):
        w_s = air.humidity_ratio(air.saturation_pressure_over_water(t), p)
        excess = air.enthalpy(t, w_s) - h_in - (w_s - w_in) * h_w
        w_slope = w_s * (1.0 + w_s / air.MOLAR_RATIO) * air.H_FG_0C
        w_slope = w_slope / (air.R_DRY_AIR * air.R_RATIO * (t + air.KELVIN) ** 2)
        slope = air.heat_capacity(w_s)
        slope = slope + w_slope * (air.vapour_enthalpy(t) - h_w)
        step = np.clip(excess / np.maximum(slope, 100.0), -20.0, 20.0)
        before, t = t, np.minimum(t - step, hottest)
        if np.all(np.abs(t - before) < _SETTLED_K):
            break
    result: FloatArray = air.humidity_ratio(air.saturation_pressure_over_water(t), p)
    return result


@any_container
def mixed_temperature(
    t_c: FloatArray, w_kg_kg: FloatArray, added_kg_kg: FloatArray, water_j_kg: FloatArray | float
) -> FloatArray:
    """Return temperature of air that has taken up water of a given enthalpy [°C].

    Parameters
    ----------
    t_c, w_kg_kg : float64 array
        Air before. [°C, kg/kg]
    added_kg_kg : float64 array
        Water taken up, per kg of dry air. [kg/kg]
    water_j_kg : float64 array
        Its enthalpy, liquid at 0 °C being zero. [J/kg]

    Notes
    -----
    *Source.* Enthalpy balance.

    Examples
    --------
    >>> import numpy as np
    >>> t, w = np.array([20.0]), np.array([0.004])
    >>> mixed_temperature(t, w, w, 2.676125e6).round(2)
    array([20.54])
    """
    h = air.enthalpy(t_c, w_kg_kg) + added_kg_kg * water_j_kg
    w = w_kg_kg + added_kg_kg
    return air.temperature_of_enthalpy(h, w)


@any_container
def droplet_life_s(
    diameter_um: float, t_c: FloatArray, w_kg_kg: FloatArray, p_pa: FloatArray
) -> FloatArray:
    r"""Return time in which a droplet evaporates in still air [s].

    .. math:: t = \frac{\rho_w d^2}{8 D \rho_a \ln(1 + B)}, \qquad B = \frac{W^* - W}{1 - W^*}

    with W* saturation at the wet bulb, at which the droplet settles.

    Parameters
    ----------
    diameter_um : float
        Diameter at the nozzle. [µm]
    t_c, w_kg_kg, p_pa : float64 array
        Air around it. [°C, kg/kg, Pa]

    Returns
    -------
    float64 array, broadcast shape
        Infinite in saturated air. [s]

    Notes
    -----
    *Validity.* A single droplet, carried by the air; 20 %. A dense spray moistens its own air and
    takes two to three times as long (common practice, no source).

    *Source.* The d² law of evaporating droplets, combustion and spray texts (from memory).
    """
    wet_bulb = thermodynamic_wet_bulb(t_c, w_kg_kg, p_pa)
    w_star = air.humidity_ratio(air.saturation_pressure_over_water(wet_bulb), p_pa)
    drive = np.log1p(np.maximum((w_star - w_kg_kg) / (1.0 - w_star), 0.0))
    film_kg_m3 = air.dry_air_density(0.5 * (t_c + wet_bulb), w_kg_kg, p_pa)
    rate = 8.0 * DIFFUSIVITY_M2_S * film_kg_m3 * drive
    mass = air.WATER_KG_M3 * (1e-6 * diameter_um) ** 2
    return np.where(drive > 0.0, mass / np.where(drive > 0.0, rate, 1.0), math.inf)
