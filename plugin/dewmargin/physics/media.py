r"""Pad media: how far they bring the air to saturation, what they resist, how much wets them.

The pad of `dewmargin.physics.pad` takes a saturation effectiveness, an airflow and the feed that
wets it; here they follow from what is known of an installation: the transfer units at another
flow, depth and face of a rigid medium, the pressure between two plenums, a rating point.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.checks import require_between
from dewmargin.core.containers import any_container
from dewmargin.errors import OutOfRangeError
from dewmargin.physics import pad

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

# Saturation effectiveness of rigid cellulose media, a polynomial in depth d [m] and face velocity v
# [m/s]: coefficient, power of d, power of v. EnergyPlus Engineering Reference, direct evaporative
# coolers; the same in the Modelica Buildings Library.
_RIGID_MEDIA = (
    (0.792714, 0, 0),
    (0.958569, 1, 0),
    (-0.25193, 0, 1),
    (-1.03215, 2, 0),
    (0.0262659, 0, 2),
    (0.914869, 1, 1),
    (-1.48241, 2, 1),
    (-0.018992, 1, 3),
    (1.13137, 3, 1),
    (0.0327622, 2, 3),
    (-0.145384, 3, 2),
)
BLOWN_OFF_M_S = 2.5  # face velocity that begins to carry water off; usual, from memory
DEPTH_M, VELOCITY_M_S = (0.04, 0.31), (0.4, 3.1)  # what the polynomial was fitted to, about
# Pressure drop of a rigid medium, a d v^n: Modelica Buildings Library, record of direct evaporative
# cooler pads, fitted there to one 150 mm pad.
RESISTANCE_PA_M, RESISTANCE_EXPONENT = 95.545, 1.9259
_FLOW_STEPS = 40  # Newton's method from above converges in five; this bounds it
_FLOW_SETTLED = 1e-12
_MOST_AIR_KG_S = 1e6  # beyond any pad: air that is nearly saturated takes up nothing at any flow
_RATING_STEPS = 60  # halvings: to 1e-18 of the bracket


@any_container
def effectiveness_at_flow(
    airflow_kg_s: FloatArray, *, ntu: float, at_airflow_kg_s: float, exponent: float
) -> FloatArray:
    r"""Return saturation effectiveness at another airflow than the one it is known for [-].

    .. math:: NTU = NTU_0 (m/m_0)^{n-1}, \qquad \varepsilon = 1 - e^{-NTU}

    Parameters
    ----------
    airflow_kg_s : float64 array
        Dry air through the pad. [kg/s]
    ntu : float
        Transfer units at `at_airflow_kg_s`, above 0. [-]
    at_airflow_kg_s : float
        Airflow for which they are known, above 0. [kg/s]
    exponent : float, 0 to 1
        Exponent n of the transfer coefficient in velocity. [-]

    Returns
    -------
    float64 array, shape of `airflow_kg_s`
        0 to 1. [-]

    Raises
    ------
    OutOfRangeError
        If a parameter is out of its range.

    Notes
    -----
    *Validity.* One regime of flow. 0.8 is the turbulent exponent of handbooks (from memory); the
    polynomial of `rigid_media_effectiveness` implies 0.40 (50 mm) to 0.65 (150 mm) over 1 to 3 m/s.

    *Source.* Definition of transfer units; transfer coefficient proportional to velocity^n.

    Examples
    --------
    >>> import numpy as np
    >>> effectiveness_at_flow(np.array([0.1]), ntu=1.0, at_airflow_kg_s=0.1, exponent=0.8).round(4)
    array([0.6321])
    """
    owner, tiny = "effectiveness_at_flow", float(np.finfo(np.float64).tiny)
    require_between(owner, "ntu", ntu, tiny, math.inf)
    require_between(owner, "at_airflow_kg_s", at_airflow_kg_s, tiny, math.inf)
    require_between(owner, "exponent", exponent, 0.0, 1.0)
    relative = np.maximum(airflow_kg_s, tiny) / at_airflow_kg_s
    result: FloatArray = -np.expm1(-ntu * relative ** (exponent - 1.0))
    return result


@any_container
def rigid_media_effectiveness(velocity_m_s: FloatArray, *, depth_m: float) -> FloatArray:
    """Return saturation effectiveness of a rigid cellulose medium, fully wetted [-].

    Parameters
    ----------
    velocity_m_s : float64 array, 0.4 to 3.1
        Face velocity; what lies outside counts as the nearer end. [m/s]
    depth_m : float, 0.04 to 0.31
        Depth in the direction of the air. [m]

    Returns
    -------
    float64 array, shape of `velocity_m_s`
        0 to 1. [-]

    Raises
    ------
    OutOfRangeError
        If the depth lies outside the polynomial's range.

    Notes
    -----
    *Validity.* A polynomial: it does not tend to 1 at no flow, and must not be carried on beyond
    its range.

    *Source.* EnergyPlus Engineering Reference, direct evaporative coolers (rigid media).

    Examples
    --------
    >>> import numpy as np
    >>> rigid_media_effectiveness(np.array([3.0]), depth_m=0.17382).round(3)
    array([0.7])
    """
    require_between("rigid_media_effectiveness", "depth_m", depth_m, *DEPTH_M)
    v = np.clip(velocity_m_s, *VELOCITY_M_S)
    total: FloatArray = np.zeros_like(v)
    for factor, of_depth, of_velocity in _RIGID_MEDIA:
        total = total + factor * depth_m**of_depth * v**of_velocity
    return np.clip(total, 0.0, 1.0)


@any_container
def rigid_media_pressure_drop(velocity_m_s: FloatArray, *, depth_m: float) -> FloatArray:
    """Return pressure drop of a rigid medium [Pa].

    *Source.* Modelica Buildings Library, record of direct evaporative cooler pads: 95.545 Pa per
    metre of depth at 1 m/s, exponent 1.9259.

    Examples
    --------
    >>> import numpy as np
    >>> rigid_media_pressure_drop(np.array([2.0]), depth_m=0.15).round(1)
    array([54.5])
    """
    return RESISTANCE_PA_M * depth_m * velocity_m_s**RESISTANCE_EXPONENT


@any_container
def bypass_flow(
    pressure_pa: FloatArray | float,
    density_kg_m3: FloatArray,
    *,
    duct_area_m2: float,
    loss_coefficient: float,
    media: tuple[float, float] | None,
) -> FloatArray:
    r"""Return mass flow that a pressure difference drives through a bypass duct and its pad [kg/s].

    .. math:: \Delta p = \frac{\rho}{2}\left(\frac{m}{\rho A_d}\right)^2 \Sigma K
              + a\,d \left(\frac{m}{\rho A_p}\right)^n

    Parameters
    ----------
    pressure_pa : float64 array or float
        Static pressure of the supply plenum above the return plenum, bypass open. [Pa]
    density_kg_m3 : float64 array
        Density of the air in the duct. [kg/m3]
    duct_area_m2 : float
        Cross-section A_d. [m2]
    loss_coefficient : float
        Sum of the loss coefficients, referred to the velocity in the duct. [-]
    media : (depth_m, face_area_m2), optional
        Rigid medium in the way, with the resistance of `rigid_media_pressure_drop`; None: what
        the pad resists is in `loss_coefficient`.

    Returns
    -------
    float64 array, shape of `density_kg_m3`
        Flow. [kg/s]

    Raises
    ------
    OutOfRangeError
        If an input is not above 0.

    Notes
    -----
    Newton's method from the flow without pad, which is too large: the pressure drop is convex in
    the flow, so every step stays above the root.

    *Validity.* Turbulent; the pressure is that with the bypass open, which opening it lowers.

    *Source.* Loss coefficients, as any fluid mechanics text.
    """
    tiny = float(np.finfo(np.float64).tiny)
    for name, value in (
        ("pressure_pa", float(np.min(pressure_pa, initial=math.inf))),
        ("duct_area_m2", duct_area_m2),
        ("loss_coefficient", loss_coefficient),
    ):
        require_between("bypass_flow", name, value, tiny, math.inf)
    dynamic = loss_coefficient / (2.0 * density_kg_m3 * duct_area_m2**2)
    flow: FloatArray = np.sqrt(pressure_pa / dynamic)
    if media is None:
        return flow
    depth_m, face_area_m2 = media
    require_between("bypass_flow", "face_area_m2", face_area_m2, tiny, math.inf)
    for _ in range(_FLOW_STEPS):
        of_pad = rigid_media_pressure_drop(flow / (density_kg_m3 * face_area_m2), depth_m=depth_m)
        excess = dynamic * flow**2 + of_pad - pressure_pa
        slope = 2.0 * dynamic * flow + RESISTANCE_EXPONENT * of_pad / flow
        step = excess / slope
        flow = flow - step
        if np.all(np.abs(step) <= _FLOW_SETTLED * flow):
            break
    return flow


@any_container
def wetted_frac(feed_kg_h: FloatArray, *, full_feed_kg_h: float, exponent: float) -> FloatArray:
    """Return share of a pad that a trickle wets: (feed/full feed)^exponent, at most 1 [-].

    It lowers the saturation effectiveness; the share of the feed that misses the pad is another
    matter (`contact_frac` of `dewmargin.physics.pad.evaporate`).

    Raises
    ------
    OutOfRangeError
        If the full feed or the exponent is not above 0.

    Notes
    -----
    *Validity.* Feed for full wetting and exponent are data of a site, no general values are known.
    Greenhouse fan-and-pad guides ask for about 4.1 l/min per metre of pad length, which trickle-fed
    pads stay far below.

    *Source.* Common practice, no source.
    """
    tiny = float(np.finfo(np.float64).tiny)
    require_between("wetted_frac", "full_feed_kg_h", full_feed_kg_h, tiny, math.inf)
    require_between("wetted_frac", "exponent", exponent, tiny, math.inf)
    result: FloatArray = np.minimum(feed_kg_h / full_feed_kg_h, 1.0) ** exponent
    return result


def saturated_flow_of_rating(
    *,
    capacity_kg_h: float,
    t_in_c: float,
    w_in_kg_kg: float,
    p_pa: float,
    feed_kg_h: float,
    t_feed_c: float,
    contact_frac: float = 1.0,
) -> float:
    """Return effective saturated airflow of a pad that evaporates its rating [kg/s].

    The rating point is the state of air and feed at which it does so.

    Parameters
    ----------
    capacity_kg_h : float
        Rated evaporation. [kg/h]
    t_in_c, w_in_kg_kg, p_pa : float
        Air before the pad at the rating. [°C, kg/kg, Pa]
    feed_kg_h, t_feed_c : float
        Feed at the rating. [kg/h, °C]
    contact_frac : float, 0 to 1
        Share of the feed that wets the pad. [-]

    Returns
    -------
    float
        Effectiveness times airflow, on which alone evaporation depends. [kg/s]

    Raises
    ------
    OutOfRangeError
        If no airflow evaporates that much: it exceeds the feed that wets the pad, or the air takes
        up nothing.

    Notes
    -----
    The pad's own closed form is inverted by halving, evaporation rising with the airflow; so a
    rating is met again at its own point to rounding.

    *Source.* `dewmargin.physics.pad.evaporate`.
    """

    def evaporated_kg_h(saturated_kg_s: float) -> float:
        state = pad.evaporate(
            airflow_kg_s=saturated_kg_s,
            effectiveness=1.0,
            t_in_c=t_in_c,
            w_in_kg_kg=w_in_kg_kg,
            p_pa=p_pa,
            feed_kg_s=feed_kg_h / 3600.0,
            t_feed_c=t_feed_c,
            contact_frac=contact_frac,
        )
        return 3600.0 * float(state.evaporation_kg_s)

    wetting_kg_h = contact_frac * feed_kg_h
    low, high = 0.0, 1e-3
    while evaporated_kg_h(high) < capacity_kg_h:
        low, high = high, 2.0 * high
        if capacity_kg_h >= wetting_kg_h or high > _MOST_AIR_KG_S:
            raise OutOfRangeError(
                f"no airflow evaporates {capacity_kg_h:g} kg/h of {wetting_kg_h:g} kg/h of feed "
                f"that wets the pad, in air of {t_in_c:g} °C",
                where="rating: capacity_kg_h",
            )
    for _ in range(_RATING_STEPS):
        middle = 0.5 * (low + high)
        if evaporated_kg_h(middle) < capacity_kg_h:
            low = middle
        else:
            high = middle
    return high
