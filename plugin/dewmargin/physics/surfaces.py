"""Inside surfaces: how cold they are, when they sweat, and how they take up and give back vapour.

Saturation is over ice below 0.01 °C throughout: a surface below freezing collects frost, and the
dew margin counts from the frost point.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.checks import require_between
from dewmargin.core.containers import any_container
from dewmargin.physics import air

if TYPE_CHECKING:
    from dewmargin.columns import BoolArray, FloatArray

CONVECTION_W_M2_K = 3.0  # at a window, computed range 2 to 3.5 W/(m2 K); engineering default
LEWIS_2_3 = 0.90  # Lewis number of water vapour in air to the power 2/3, handbook practice (memory)
SUBLIMATION_J_KG = 2.835e6
STEFAN_BOLTZMANN = 5.6697e-8  # W/(m2 K4), as the EPW data dictionary has it
EMISSIVITY = 0.84  # of an uncoated pane and most paints; NFRC practice, 0.837 in EN 673
OUTSIDE_M2_K_W = 0.04  # of the outside film; ISO 6946
ROOM_FILM_W_M2_K = 7.7  # convection and radiation at an inside surface; EN 673:2011 (from memory)
RETENTION_G_M2 = 100.0  # film that runs off; engineering default between BS 5250's 50 and ISO
# 13788's 200 (both from memory)
WET_G_M2 = 0.01  # less is no film: it dries in seconds
VISIBLE_G_M2 = 5.0  # film that one sees; engineering default
DAY_H = 24.0
BUFFER_TEST_RH = (0.33, 0.75)  # NORDTEST moisture buffer value: 16 h at 33 %, 8 h at 75 %
BUFFER_TEST_HIGH_H = 8.0


@any_container
def surface_temperature(
    t_in_c: FloatArray, t_out_c: FloatArray, *, temperature_index: FloatArray | float
) -> FloatArray:
    r"""Return temperature of an inside surface from its temperature index [°C].

    .. math:: T_{si} = T_e + I\,(T_i - T_e)

    Parameters
    ----------
    t_in_c : float64 array, shape (n_steps,)
        Room air temperature. [°C]
    t_out_c : float64 array, shape (n_steps,)
        Outdoor air temperature. [°C]
    temperature_index : float64 array or float, 0 to 1
        1 is as warm as the room, 0 as cold as outdoors. [-]

    Returns
    -------
    float64 array, shape (n_steps,)
        Surface temperature. [°C]

    Raises
    ------
    OutOfRangeError
        If `temperature_index` is outside 0 to 1, or NaN.

    Notes
    -----
    *Validity.* Steady state, which glass reaches within ten minutes. Sun, a clear sky, wind and
    stored heat are left out. NaN in, NaN out.

    *Source.* ISO 13788:2012, temperature factor at the internal surface, solved for the
    temperature (clause from memory).

    Examples
    --------
    >>> import numpy as np
    >>> surface_temperature(np.array([21.0]), np.array([-10.0]), temperature_index=0.75)
    array([13.25])
    """
    _require_indices("surface_temperature", temperature_index)
    return t_out_c + temperature_index * (t_in_c - t_out_c)


def _require_indices(where: str, temperature_index: FloatArray | float) -> None:
    """Raise unless every index is within 0 to 1."""
    for bound in (np.min(temperature_index), np.max(temperature_index)):
        require_between(where, "temperature_index", float(bound), 0.0, 1.0)


@any_container
def exposed_surface_temperature(
    t_in_c: FloatArray,
    t_out_c: FloatArray,
    *,
    temperature_index: FloatArray | float,
    convection_w_m2_k: FloatArray,
    t_sky_c: FloatArray,
    sky_frac: float,
    inside_m2_k_w: float = 1.0 / ROOM_FILM_W_M2_K,
) -> FloatArray:
    r"""Return temperature of an inside surface whose outside feels wind and sky [°C].

    The temperature index was told for a wall's usual outside film. What it leaves between the
    films stays, and the outside becomes that of the hour:

    .. math::

        R_{core} = \frac{R_{si}}{1 - I} - R_{si} - R_{se}, \quad
        T_e^* = T_e - \frac{h_r F (T_e - T_{sky})}{h_c + h_r}, \quad
        T_{si} = T_i - \frac{R_{si}\,(T_i - T_e^*)}{R_{si} + R_{core} + 1/(h_c + h_r)}

    Parameters
    ----------
    t_in_c, t_out_c : float64 array, shape (n_steps,)
        Room and outdoor air temperature. [°C]
    temperature_index : float64 array or float, 0 to 1
        With a film of 25 W/(m2 K) outside. [-]
    convection_w_m2_k : float64 array, shape (n_steps,)
        Convection at the outside, see `glazing.outside_convection`. [W/(m2 K)]
    t_sky_c : float64 array, shape (n_steps,)
        Temperature of the sky. [°C]
    sky_frac : float, 0 to 1
        Part of what the surface sees that is sky; a wall's is 0.5. [-]
    inside_m2_k_w : float
        Resistance R_si of the room's film that the index was told for. [m2 K/W]

    Returns
    -------
    float64 array, shape (n_steps,)
        Surface temperature. [°C]

    Raises
    ------
    OutOfRangeError
        If an index or `sky_frac` is outside 0 to 1, or NaN.

    Notes
    -----
    *Validity.* Heat that flows straight through; at edges and frames it spreads, which this leaves
    out. An index below 0.235, lower than the two films alone would leave, is moved by as much as
    they would move. The room's film stays as it is. What radiates is h_r = 4 ε σ T³ with ε = 0.84.

    *Source.* ISO 6946 (films), ISO 13790 (radiation to the sky); from memory.
    """
    what = "exposed_surface_temperature"
    _require_indices(what, temperature_index)
    require_between(what, "sky_frac", sky_frac, 0.0, 1.0)
    to_sky = 4.0 * EMISSIVITY * STEFAN_BOLTZMANN * (t_out_c + 273.15) ** 3
    film = convection_w_m2_k + to_sky
    lost = 1.0 - np.asarray(temperature_index, dtype=np.float64)
    # U in the place of R: an index of 1 has no heat flow at all.
    usual_u = lost / inside_m2_k_w
    core_and_inside = np.maximum(1.0 - usual_u * OUTSIDE_M2_K_W, usual_u * inside_m2_k_w)
    u = usual_u / (core_and_inside + usual_u / film)
    # An index lower than two films leave is of heat that spreads: it keeps its distance to them.
    beyond = lost - inside_m2_k_w * usual_u / (core_and_inside + usual_u * OUTSIDE_M2_K_W)
    t_felt_c = t_out_c - to_sky * sky_frac * (t_out_c - t_sky_c) / film
    result: FloatArray = (
        t_in_c - u * inside_m2_k_w * (t_in_c - t_felt_c) - beyond * (t_in_c - t_out_c)
    )
    return result


@any_container
def required_index(t_in_c: FloatArray, t_out_c: FloatArray, rh_frac: FloatArray) -> FloatArray:
    r"""Return smallest temperature index that stays dry in a room of this humidity [-].

    .. math:: I = (T_{dew} - T_e)/(T_i - T_e)

    Parameters
    ----------
    t_in_c, t_out_c : float64 array
        Room and outdoor air temperature. [°C]
    rh_frac : float64 array
        Relative humidity of the room. [-]

    Returns
    -------
    float64 array, broadcast shape
        Below 0 where even an outdoor-cold surface stays dry; NaN where room and outdoors are
        equally warm, which leaves the index undefined.

    Notes
    -----
    *Validity.* As `surface_temperature`. NaN in, NaN out.

    *Source.* ISO 13788:2012 (from memory), with the frost point below 0 °C.
    """
    return _index_of(air.dew_point(rh_frac * air.saturation_pressure(t_in_c)), t_in_c, t_out_c)


def _index_of(t_surface_c: FloatArray, t_in_c: FloatArray, t_out_c: FloatArray) -> FloatArray:
    """Return the temperature index of a surface; NaN where room and outdoors are equally warm."""
    difference = np.where(t_in_c == t_out_c, np.nan, t_in_c - t_out_c)
    return (t_surface_c - t_out_c) / difference


@any_container
def max_relative_humidity(
    t_in_c: FloatArray, t_out_c: FloatArray, *, temperature_index: float
) -> FloatArray:
    r"""Return highest relative humidity of the room at which a surface stays dry [-].

    .. math:: \varphi_{max} = p_s(T_{si}) / p_s(T_i)

    Parameters
    ----------
    t_in_c, t_out_c : float64 array
        Room and outdoor air temperature. [°C]
    temperature_index : float, 0 to 1
        Temperature index of the surface. [-]

    Returns
    -------
    float64 array, broadcast shape
        At most 1: a surface warmer than the room cannot sweat before the room air does.

    Raises
    ------
    OutOfRangeError
        If `temperature_index` is outside 0 to 1, or NaN.

    Notes
    -----
    *Validity.* As `surface_temperature`. NaN in, NaN out.

    *Source.* ISO 13788:2012 (from memory), with saturation over ice below 0 °C.
    """
    t_surface_c = surface_temperature(t_in_c, t_out_c, temperature_index=temperature_index)
    return np.minimum(air.saturation_pressure(t_surface_c) / air.saturation_pressure(t_in_c), 1.0)


@any_container
def dew_margin(t_surface_c: FloatArray, w_kg_kg: FloatArray, p_pa: FloatArray) -> FloatArray:
    """Return surface temperature less dew (frost) point of the air; negative is condensing [K].

    Parameters
    ----------
    t_surface_c : float64 array, shape (n_steps,)
        Surface temperature. [°C]
    w_kg_kg, p_pa : float64 array, shape (n_steps,)
        Humidity ratio of the air in front of it, and pressure. [kg/kg, Pa]

    Returns
    -------
    float64 array, shape (n_steps,)
        Dew margin. NaN in, NaN out. [K]
    """
    return t_surface_c - air.dew_point(air.vapour_pressure(w_kg_kg, p_pa))


@any_container
def condenses(t_surface_c: FloatArray, w_kg_kg: FloatArray, p_pa: FloatArray) -> BoolArray:
    """Tell where the air holds more vapour than it could at the surface's temperature.

    Parameters
    ----------
    t_surface_c : float64 array, shape (n_steps,)
        Surface temperature. [°C]
    w_kg_kg, p_pa : float64 array, shape (n_steps,)
        Humidity ratio of the air in front of it, and pressure. [kg/kg, Pa]

    Returns
    -------
    bool array, shape (n_steps,)
        True where vapour condenses or deposits; False where a value is NaN.
    """
    result: BoolArray = np.greater(w_kg_kg, air.saturated_humidity_ratio(t_surface_c, p_pa))
    return result


@any_container
def surface_humidity(t_surface_c: FloatArray, w_kg_kg: FloatArray, p_pa: FloatArray) -> FloatArray:
    """Return relative humidity at a surface, as a fraction, at most 1 [-].

    Parameters
    ----------
    t_surface_c : float64 array, shape (n_steps,)
        Surface temperature. [°C]
    w_kg_kg, p_pa : float64 array, shape (n_steps,)
        Humidity ratio of the air in front of it, and pressure. [kg/kg, Pa]
    """
    rh_frac: FloatArray = np.minimum(air.relative_humidity(t_surface_c, w_kg_kg, p_pa), 1.0)
    return rh_frac


@any_container
def minimum_index(
    t_in_c: FloatArray, t_out_c: FloatArray, p_vapour_pa: FloatArray, *, rh_limit: float = 0.80
) -> FloatArray:
    r"""Return smallest temperature index that keeps a surface's humidity within a limit [-].

    .. math:: p_s(T_{si,min}) = p_i/\varphi_{lim}, \quad f = (T_{si,min} - T_e)/(T_i - T_e)

    Parameters
    ----------
    t_in_c, t_out_c : float64 array
        Room and outdoor air temperature, means of a month. [°C]
    p_vapour_pa : float64 array
        Vapour pressure of the room, mean of a month. [Pa]
    rh_limit : float
        Largest relative humidity at the surface: 0.80 against mould. [-]

    Returns
    -------
    float64 array, broadcast shape
        Above 1 where not even a surface as warm as the room would do; NaN where room and outdoors
        are equally warm.

    Raises
    ------
    OutOfRangeError
        If the limit is not a fraction.

    Notes
    -----
    *Source.* ISO 13788:2012 clause 5, minimum temperature factor (from memory).
    """
    require_between("minimum_index", "rh_limit", rh_limit, 1e-6, 1.0)
    return _index_of(air.dew_point(p_vapour_pa / rh_limit), t_in_c, t_out_c)


def mass_transfer(*, convection_w_m2_k: float = CONVECTION_W_M2_K) -> float:
    r"""Return dry-air flow per area that would carry what a surface's air film does [kg/(m2 s)].

    .. math:: \beta = h_c / (c_p\,Le^{2/3}), \qquad \dot m'' = \beta\,(W_i - W_s)

    Parameters
    ----------
    convection_w_m2_k : float
        Convection coefficient h_c at the surface, without radiation; the default of 3.0 is an
        engineering default. [W/(m2 K)]

    Returns
    -------
    float
        Conductance on the humidity ratio. [kg/(m2 s)]

    Raises
    ------
    OutOfRangeError
        If the convection is negative.

    Notes
    -----
    *Validity.* Natural convection at room temperature, at a surface of known temperature; how the
    latent heat warms it is `wet_mass_transfer`.

    *Source.* Lewis relation with c_p = 1006 J/(kg K) and Le^(2/3) = 0.90 as handbooks use it
    (from memory); 2 % below the film form 7e-9·h_c of hygrothermal practice.

    Examples
    --------
    >>> round(mass_transfer(), 6)
    0.003313
    """
    require_between("mass_transfer", "convection_w_m2_k", convection_w_m2_k, 0.0, math.inf)
    return convection_w_m2_k / (air.CP_DRY_AIR * LEWIS_2_3)


@any_container
def wet_mass_transfer(
    beta_kg_m2_s: float,
    t_surface_c: FloatArray,
    p_pa: FloatArray,
    *,
    resistance_m2_k_w: float,
    p_sat_pa: FloatArray | None = None,
) -> FloatArray:
    r"""Return mass transfer to a surface that its latent heat warms [kg/(m2 s)].

    It acts on the humidity ratio over saturation at the dry surface's temperature.

    The condensing vapour sets free :math:`h_{fg}\dot m''`, which warms the surface by R times as
    much and raises its saturation; so, to first order,

    .. math:: \beta' = \beta / (1 + \beta\,h_{fg}\,R\,dW_s/dT)

    Parameters
    ----------
    beta_kg_m2_s : float
        Mass transfer at a surface of known temperature. [kg/(m2 s)]
    t_surface_c, p_pa : float64 array, shape (n_steps,)
        Temperature of the surface while it is dry, and pressure. [°C, Pa]
    resistance_m2_k_w : float
        Rise of the surface per heat flow set free on it: the room's film and the way outdoors, side
        by side, which is I/h_i for a temperature index I. 0: no rise. [m2 K/W]
    p_sat_pa : float64 array, shape (n_steps,), optional
        Saturation pressure at that temperature, where it is known already. [Pa]

    Returns
    -------
    float64 array, shape (n_steps,)
        [kg/(m2 s)]

    Notes
    -----
    *Validity.* A rise of few kelvin: single panes rise by about 1 K. Evaporation cools by the same
    relation. Below 0 °C the heat is that of sublimation.

    *Source.* Energy balance of the surface; latent heats 2.501 and 2.835 MJ/kg. The slope is the
    derivative of the humidity ratio, :math:`W_s\,p/(p - p_s)\cdot d\ln p_s/dT`.
    """
    p_sat = air.saturation_pressure(t_surface_c) if p_sat_pa is None else p_sat_pa
    w_sat = air.humidity_ratio(p_sat, p_pa)
    slope_1_k = w_sat * p_pa / (p_pa - p_sat) * air.saturation_slope(t_surface_c)
    latent_j_kg = np.where(t_surface_c < 0.0, SUBLIMATION_J_KG, air.H_FG_0C)
    damping = beta_kg_m2_s * latent_j_kg * resistance_m2_k_w * slope_1_k
    return beta_kg_m2_s / (1.0 + damping)


def moisture_buffer(
    area_m2: float, *, buffer_value_g_m2_rh: float, t_ref_c: float, p_pa: float
) -> tuple[float, float]:
    r"""Return conductance and capacity of the one store that a buffer value means [kg/s, kg].

    A layer as deep as a daily wave penetrates, :math:`d = \sqrt{D\tau/\pi}`, reached over half its
    depth, has the time constant :math:`d^2/(2D) = \tau/(2\pi)`, whatever the material: 3.82 h for
    a day. In the test's cycle (8 h high, 16 h low) such a store swings by

    .. math:: f = \frac{(1 - e^{-8k})(1 - e^{-16k})}{1 - e^{-24k}}, \quad k = 2\pi/24\,\text{h}

    of the step, 0.865, so its capacity is chosen to move the tested mass:

    .. math:: C_b\,[W_{75\%} - W_{33\%}]\,f = 42\,A\,MBV, \qquad h = k\,C_b

    Parameters
    ----------
    area_m2 : float
        Area of the absorbing surfaces. [m2]
    buffer_value_g_m2_rh : float
        Practical moisture buffer value: vapour moved per area and per % of relative humidity.
        [g/m2 per %]
    t_ref_c : float
        Temperature at which the store's humidity ratio stands for relative humidity: the one that
        the balance refers it to. [°C]
    p_pa : float
        Pressure. [Pa]

    Returns
    -------
    conductance_kg_s, capacity_kg : float
        Flow and store on the humidity ratio, as dry air. [kg/s, kg]

    Raises
    ------
    OutOfRangeError
        If area or buffer value are negative.

    Notes
    -----
    *Validity.* Daily waves: weeks reach deeper and are understated, minutes stay in the paint and
    are overstated. The tested value includes the test's air film and paint, so none is added.

    *Source.* Test cycle: NORDTEST, Rode et al. 2005 (from memory). Depth and half-depth
    resistance: effective moisture penetration depth model, EnergyPlus Engineering Reference;
    Cunningham 1992. The rest is derived here.
    """
    require_between("moisture_buffer", "area_m2", area_m2, 0.0, math.inf)
    require_between("moisture_buffer", "buffer_value_g_m2_rh", buffer_value_g_m2_rh, 0.0, math.inf)
    low_rh, high_rh = BUFFER_TEST_RH
    rate_1_h = 2.0 * math.pi / DAY_H
    swing = (
        math.expm1(-BUFFER_TEST_HIGH_H * rate_1_h)
        * math.expm1((BUFFER_TEST_HIGH_H - DAY_H) * rate_1_h)
        / -math.expm1(-DAY_H * rate_1_h)
    )
    low, high = air.humidity_ratio_at_rh(
        np.array([t_ref_c, t_ref_c]), np.array(BUFFER_TEST_RH), np.array([p_pa, p_pa])
    )
    moved_kg = 1e-3 * area_m2 * buffer_value_g_m2_rh * 100.0 * (high_rh - low_rh)
    capacity_kg = moved_kg / (swing * float(high - low))
    return rate_1_h / 3600.0 * capacity_kg, capacity_kg
