"""Moist air, one state at a time, by psychrolib; for arrays see `dewmargin.physics.air`.

A private copy in SI units, because its unit system is global and a user's scripts may have set it;
and without numba, with which it compiles for seconds and turns NaN into numbers.
"""

from __future__ import annotations

import builtins
from functools import cache
from importlib.util import find_spec, module_from_spec
from typing import TYPE_CHECKING, Any

from dewmargin.core.checks import require_between
from dewmargin.errors import OutOfRangeError

if TYPE_CHECKING:
    from types import ModuleType

_OWNER = "moist air"


@cache
def _psychrolib() -> Any:  # noqa: ANN401 - untyped
    spec = find_spec("psychrolib")
    assert spec is not None  # noqa: S101 - a package that this one depends on
    assert spec.loader is not None  # noqa: S101 - idem
    library = module_from_spec(spec)
    # Its own import statement, so that no other module or thread is without numba meanwhile.
    vars(library)["__builtins__"] = vars(builtins) | {"__import__": _import_without_numba}
    spec.loader.exec_module(library)
    own = vars(library)
    own["SetUnitSystem"](own["SI"])
    own["MIN_HUM_RATIO"] = 0.0  # 1e-7 otherwise, also for dry air
    return library


def _import_without_numba(name: str, *arguments: Any) -> ModuleType:  # noqa: ANN401 - as `__import__`
    if name == "numba":
        raise ImportError(name=name)
    return __import__(name, *arguments)


def saturated_humidity_ratio(t_c: float, p_pa: float) -> float:
    """Return humidity ratio of air saturated at a temperature, over ice up to 0.01 °C [kg/kg].

    Raises
    ------
    OutOfRangeError
        If the temperature [°C] is not between -100 and 200, the pressure [Pa] not between 1e3 and
        1e6, or the vapour's pressure is all of it: water boils.

    Notes
    -----
    *Source.* psychrolib: ASHRAE Fundamentals 2017 ch. 1 eq. 5, 6 and 20.
    """
    return humidity_ratio_at_rh(t_c, 1.0, p_pa)


def humidity_ratio_at_rh(t_c: float, rh_frac: float, p_pa: float) -> float:
    """Return humidity ratio at a relative humidity, over ice up to 0.01 °C [kg/kg].

    Raises
    ------
    OutOfRangeError
        As `saturated_humidity_ratio`, and if the relative humidity [-] is not between 0 and 1.

    Notes
    -----
    *Source.* psychrolib: ASHRAE Fundamentals 2017 ch. 1 eq. 5, 6, 12 and 20.

    Examples
    --------
    >>> round(1e3 * humidity_ratio_at_rh(20.0, 0.5, 101_325.0), 2)
    7.26
    """
    _require(t_c, p_pa)
    require_between(_OWNER, "rh_frac", rh_frac, 0.0, 1.0)
    library = _psychrolib()
    p_vapour_pa = library.GetVapPresFromRelHum(t_c, rh_frac)
    if p_vapour_pa >= p_pa:
        raise OutOfRangeError(
            f"vapour of {p_vapour_pa:.0f} Pa leaves no air at {p_pa:.0f} Pa", where=f"{_OWNER}: t_c"
        )
    return float(library.GetHumRatioFromVapPres(p_vapour_pa, p_pa))


def relative_humidity(t_c: float, w_kg_kg: float, p_pa: float) -> float:
    """Return relative humidity as a fraction, over ice up to 0.01 °C [-].

    Raises
    ------
    OutOfRangeError
        As `dry_air_density`.

    Notes
    -----
    *Source.* psychrolib: ASHRAE Fundamentals 2017 ch. 1 eq. 5, 6, 12 and 20.
    """
    _require(t_c, p_pa)
    require_between(_OWNER, "w_kg_kg", w_kg_kg, 0.0, 10.0)
    library = _psychrolib()
    saturated_pa = library.GetSatVapPres(t_c)
    return float(library.GetVapPresFromHumRatio(w_kg_kg, p_pa) / saturated_pa)


def dry_air_density(t_c: float, w_kg_kg: float, p_pa: float) -> float:
    """Return mass of dry air per volume of moist air [kg/m3].

    Raises
    ------
    OutOfRangeError
        If the temperature [°C] is not between -100 and 200, the pressure [Pa] not between 1e3 and
        1e6, or the humidity ratio [kg/kg] not between 0 and 10.

    Notes
    -----
    *Source.* psychrolib: ASHRAE Fundamentals 2017 ch. 1 eq. 26.
    """
    _require(t_c, p_pa)
    require_between(_OWNER, "w_kg_kg", w_kg_kg, 0.0, 10.0)
    return 1.0 / float(_psychrolib().GetMoistAirVolume(t_c, w_kg_kg, p_pa))


def _require(t_c: float, p_pa: float) -> None:
    require_between(_OWNER, "t_c", t_c, -100.0, 200.0)
    require_between(_OWNER, "p_pa", p_pa, 1e3, 1e6)
