"""Air exchange of a house: leakage from a blower-door test, wind and stack, fans, recovery.

Volume flows become dry-air mass flows where they are measured: leakage at the outdoor state, since
it is outdoor air that the model lets in, fans at the room state, since their flow is measured at
the room's grilles. The combination rules then work on mass flows; they hold for either, being
homogeneous of degree one.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from dewmargin.core.checks import require_between
from dewmargin.core.containers import any_container
from dewmargin.errors import OutOfRangeError

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

Rule = Literal["quadrature", "sub_additive", "half_fan"]

# Basic model, SI form: (L/s)2/(cm4 K) by storeys, and (L/s)2/(cm4 (m/s)2) by shelter class, then
# storeys. Handbook of Fundamentals 2005 ch. 27, as the EnergyPlus Input Output Reference prints it
# under ZoneInfiltration:EffectiveLeakageArea.
STACK = {1: 0.000145, 2: 0.000290, 3: 0.000435}
WIND = {
    1: {1: 0.000319, 2: 0.000420, 3: 0.000494},  # open, nothing nearby
    2: {1: 0.000246, 2: 0.000325, 3: 0.000382},  # isolated rural house
    3: {1: 0.000174, 2: 0.000231, 3: 0.000271},  # buildings across the street
    4: {1: 0.000104, 2: 0.000137, 3: 0.000161},  # urban, larger lots
    5: {1: 0.000032, 2: 0.000042, 3: 0.000049},  # immediately adjacent buildings
}
TEST_DENSITY_KG_M3 = 1.2  # air at 20 °C and sea level, to which test flows are referred


def leakage_area(
    flow_50pa_m3_h: float, *, exponent: float, at_pa: float = 4.0, discharge: float = 1.0
) -> float:
    r"""Return area of the one hole that would leak like the house [m2].

    .. math:: A_L = \frac{Q_{50}}{C_D} (p/50)^n \sqrt{\rho / (2 p)}

    Parameters
    ----------
    flow_50pa_m3_h : float
        Air flow of the blower-door test at 50 Pa. [m3/h]
    exponent : float, 0.5 to 1
        Pressure exponent n of the test. [-]
    at_pa : float
        Pressure difference p of the wanted area. [Pa]
    discharge : float
        Discharge coefficient of the wanted area. [-]

    Returns
    -------
    float
        With the defaults the effective leakage area at 4 Pa, which `infiltration` takes. [m2]

    Raises
    ------
    OutOfRangeError
        If the flow is negative or the exponent outside 0.5 to 1.

    Notes
    -----
    *Validity.* One power law from 50 Pa down to 4 Pa, air of 1.2 kg/m3.

    *Source.* ASTM E779 (algebra): power law and orifice equation; at 10 Pa with a discharge
    coefficient of 0.611 the same algebra gives the area of CAN/CGSB-149.10.

    Examples
    --------
    >>> round(1e4 * leakage_area(1200.0, exponent=0.65), 1)
    250.0
    """
    require_between("leakage_area", "flow_50pa_m3_h", flow_50pa_m3_h, 0.0, math.inf)
    require_between("leakage_area", "exponent", exponent, 0.5, 1.0)
    flow_m3_s = flow_50pa_m3_h / 3600.0 * math.pow(at_pa / 50.0, exponent)
    return flow_m3_s * math.sqrt(TEST_DENSITY_KG_M3 / (2.0 * at_pa)) / discharge


@any_container
def infiltration(
    t_in_c: FloatArray,
    t_out_c: FloatArray,
    wind_m_s: FloatArray,
    *,
    leakage_area_m2: float,
    storeys: int,
    shelter_class: int,
) -> FloatArray:
    r"""Return leakage flow driven by stack and wind, the basic model [m3/s].

    .. math:: Q = \frac{A_L}{1000} \sqrt{C_s |\Delta T| + C_w U^2}, \quad A_L\ \text{in cm²}

    Parameters
    ----------
    t_in_c, t_out_c : float64 array, shape (n_steps,)
        Room and outdoor air temperature. [°C]
    wind_m_s : float64 array, shape (n_steps,)
        Wind at the weather station; the shelter class holds what the site makes of it. [m/s]
    leakage_area_m2 : float
        Effective leakage area at 4 Pa. [m2]
    storeys : int, 1 to 3
        Storeys above ground. [-]
    shelter_class : int, 1 (open) to 5 (immediately adjacent buildings)
        Shelter of the site. [-]

    Returns
    -------
    float64 array, shape (n_steps,)
        Flow of outdoor air. [m3/s]

    Raises
    ------
    OutOfRangeError
        If storeys or shelter class are not in the tables.

    Notes
    -----
    *Validity.* Detached houses of one to three storeys. NaN in, NaN out.

    *Source.* Sherman and Grimsrud 1980 (ASHRAE Transactions 86(2)); coefficients of the Handbook
    of Fundamentals 2005 ch. 27.
    """
    for name, value, table in (
        ("storeys", storeys, STACK),
        ("shelter_class", shelter_class, WIND),
    ):
        if value not in table:
            raise OutOfRangeError(
                f"must be one of {', '.join(map(str, table))}, got {value}",
                where=f"infiltration: {name}",
            )
    driving = STACK[storeys] * np.abs(t_in_c - t_out_c) + WIND[shelter_class][storeys] * wind_m_s**2
    return 10.0 * leakage_area_m2 * np.sqrt(driving)  # 1e4 cm²/m² over 1000 L/m³


@any_container
def with_fans(
    infiltration_kg_s: FloatArray, supply_kg_s: FloatArray, exhaust_kg_s: FloatArray, *, rule: Rule
) -> FloatArray:
    r"""Return outdoor air of leakage and fans together, which is less than their sum [kg/s].

    With the balanced part :math:`m_b = \min(m_{sup}, m_{exh})` and the unbalanced rest
    :math:`m_u = |m_{sup} - m_{exh}|`:

    .. math::
        \text{quadrature: } \sqrt{m_n^2 + m_u^2} + m_b \qquad
        \text{sub-additive: } \frac{m_n^2}{m_n + m_u} + m_u + m_b \qquad
        \text{half-fan: } \max(m_u, m_n + m_u/2) + m_b

    Parameters
    ----------
    infiltration_kg_s, supply_kg_s, exhaust_kg_s : float64 array, shape (n_steps,)
        Leakage without fans, and fan flows. [kg/s]
    rule : {"quadrature", "sub_additive", "half_fan"}
        How the unbalanced fan flow adds to the leakage.

    Returns
    -------
    float64 array, shape (n_steps,)
        Dry air that enters, and leaves. [kg/s]

    Raises
    ------
    OutOfRangeError
        If the rule has another name.

    Notes
    -----
    *Validity.* One zone. NaN in, NaN out.

    *Source.* Quadrature: Handbook of Fundamentals 2009 ch. 16, and the EnergyPlus Engineering
    Reference (ZoneAirBalance:OutdoorAir). Sub-additive: ASHRAE 62.2-2016 appendix C (from memory).
    Half-fan: Palmiter and Bond 1991 (from memory).
    """
    if rule not in get_args(Rule):
        raise OutOfRangeError(
            f"must be one of {', '.join(get_args(Rule))}, got {rule}", where="with_fans: rule"
        )
    balanced = np.minimum(supply_kg_s, exhaust_kg_s)
    fan = np.abs(supply_kg_s - exhaust_kg_s)
    natural = infiltration_kg_s
    if rule == "quadrature":
        together: FloatArray = np.sqrt(natural**2 + fan**2)  # hypot takes five times as long
        return together + balanced
    if rule == "half_fan":
        return np.maximum(fan, natural + 0.5 * fan) + balanced
    # Without any flow the share of the leakage is 0/0, and its flow 0.
    added = natural**2 / np.maximum(natural + fan, np.finfo(np.float64).tiny)
    return added + fan + balanced


@any_container
def after_recovery(
    total_kg_s: FloatArray, balanced_kg_s: FloatArray, *, effectiveness: float
) -> FloatArray:
    r"""Return exchange flow that would lose as much as the real one with an exchanger [kg/s].

    .. math:: m = m_{total} - \varepsilon\, m_b

    Parameters
    ----------
    total_kg_s : float64 array, shape (n_steps,)
        All outdoor air, leakage and fans. [kg/s]
    balanced_kg_s : float64 array, shape (n_steps,)
        The smaller of the two flows through the exchanger. [kg/s]
    effectiveness : float, 0 to 1
        Latent effectiveness for moisture, sensible for heat, referred to the smaller flow. [-]

    Returns
    -------
    float64 array, shape (n_steps,)
        Net exchange flow. [kg/s]

    Raises
    ------
    OutOfRangeError
        If `effectiveness` is outside 0 to 1.

    Notes
    -----
    The supply air leaves the exchanger at W_o + eps·(m_b/m_sup)·(W_i - W_o), so what the room
    loses is m_total·(W_i - W_o) - eps·m_b·(W_i - W_o).

    *Validity.* Constant effectiveness: bypass and saturation of the supply are left out; defrost is
    left to the flows that are handed in. NaN in, NaN out.

    *Source.* EnergyPlus Engineering Reference, air-to-air heat exchangers; with dry-air flows in
    the place of heat-capacity flows.
    """
    require_between("after_recovery", "effectiveness", effectiveness, 0.0, 1.0)
    return total_kg_s - effectiveness * balanced_kg_s
