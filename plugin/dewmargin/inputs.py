"""Inputs: base of all classes that a file sets; frozen, no unknown keys, quantities with units.

A key's unit is the end of its name (``floor_area_m2``). A text such as ``"1750 ft2"`` is converted
to that unit where the scenario enters the program; below this point only SI numbers exist.
"""

from __future__ import annotations

import re
from functools import cache
from itertools import pairwise
from typing import Any

from pydantic import BaseModel, ConfigDict, model_validator

from dewmargin.units import INCH_OF_WATER_PA

# Ends of names, longest first, and the unit as the conversion library spells it.
UNITS: dict[str, str | None] = {
    "_m3_h_at_50pa": "m**3/hour",
    "_kg_m2_s_pa": "kg/m**2/s/Pa",
    "_g_m2_rh": "g/m**2",
    "_w_m2_k": "W/m**2/K",
    "_w_m_k": "W/m/K",
    "_m2_k_w": "m**2*K/W",
    "_kg_m2_s": "kg/m**2/s",
    "_g_m2": "g/m**2",
    "_per_kwh": "1/kWh",
    "_per_m3": "1/m**3",
    "_co2_kg_kwh": "kg/kWh",
    "_kwh_kg": "kWh/kg",
    "_us_cm": "uS/cm",
    "_mg_l": "mg/L",
    "_l_min": "L/min",
    "_um": "um",
    "_per_h": None,  # a count or a fraction by the hour has no spelling of its own
    "_bar": "bar",
    "_kwh_k": "kWh/delta_degC",
    "_wh_k": "Wh/delta_degC",
    "_w_k": "W/delta_degC",
    "_kg_day": "kg/day",
    "_kg_h": "kg/hour",
    "_kg_s": "kg/s",
    "_m3_h": "m**3/hour",
    "_l_s": "L/s",
    "_kw": "kW",
    "_w": "W",
    "_m2": "m**2",
    "_m3": "m**3",
    "_mm": "mm",
    "_min": "minute",
    "_m": "m",
    "_pa": "Pa",
    "_kg": "kg",
    "_h": "hour",
    "_v": "V",
    "_c": "degC",
    "_k": "delta_degC",
}


_WORD = r"[A-Za-z°µ_]+(?:(?:\^|\*\*)?[23])?"
_QUANTITY = re.compile(
    rf"([+-]?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?) ?({_WORD}(?: ?[/*] ?{_WORD})*)"
)
_DEGREE = re.compile(r"(?<![A-Za-z_])(?:deg|°)?([CF])(?![A-Za-z_])")
# Units of the trade that the conversion library does not know.
# An inch of water column is that of water at 4 °C.
TRADE_UNITS = (
    "cfm = foot**3 / minute",
    "gpm = gallon / minute",
    f"inwc = {INCH_OF_WATER_PA!r} * pascal",
)


def unit_of(name: str) -> str | None:
    """Return the unit that a key's name ends in, or None."""
    return next((unit for end, unit in UNITS.items() if name.endswith(end)), None)


@cache
def _registry() -> Any:  # noqa: ANN401 - the library is not typed
    import pint  # noqa: PLC0415 - a fifth of a second that plain numbers do not pay

    registry: Any = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    for name in TRADE_UNITS:
        registry.define(name)
    return registry


def quantity(text: str, unit: str) -> float:
    """Convert a quantity written as a number and a unit to the number in `unit`.

    Parameters
    ----------
    text : str
        Such as "1750 ft2", "70 degF" or "360 BTU/hour/degF"; a decimal point, no comma.
    unit : str
        As in `UNITS`.

    Raises
    ------
    ValueError
        If the text is not a number with a unit, or the unit measures something else.
    """
    plain = unit.replace("**", "").replace("delta_", "")
    refusal = (
        f"{text[:60]!r} is not a quantity that can be turned into {plain} "
        f'(write a number and a unit: "12 {plain}")'
    )
    match = _QUANTITY.fullmatch(text.strip())
    if match is None:
        raise ValueError(refusal)
    number, given = float(match[1]), match[2]
    # Only a temperature has a zero point; in W/°F or in a difference a degree is a step.
    degree = r"deg\1" if unit == "degC" else r"delta_deg\1"
    spelt = _DEGREE.sub(degree, given)
    if (unit == "degC") != (spelt in ("degC", "degF")):
        raise ValueError(refusal)
    # People write ft2, CFM and Wh; the library wants ft**2 and cfm.
    spelt = re.sub(r"(?<=[A-Za-z])([23])\b", r"**\1", re.sub(r"\b(CFM|GPM)\b", _lower, spelt))
    try:
        return float(_registry().Quantity(number, spelt).to(unit).magnitude)
    except Exception as error:  # whatever the library meets in a user's text
        raise ValueError(refusal) from error


def _lower(match: re.Match[str]) -> str:
    return match[0].lower()


def temperature_points(points: object, of: str = "fraction") -> object:
    """Turn the temperatures of [outdoor temperature, value] pairs, written with a unit, to °C.

    Raises
    ------
    ValueError
        If something is no pair of numbers; `of` is what the message calls the second.
    """
    if not isinstance(points, (list, tuple)):
        return points
    for point in points:
        if not isinstance(point, (list, tuple)) or len(point) != 2:  # noqa: PLR2004 - a pair
            raise ValueError(f"must be pairs of [outdoor °C, {of}], got {str(point)[:60]}")
        if any(isinstance(value, bool) for value in point):
            raise ValueError(f"must hold numbers, got {str(list(point))[:60].lower()}")
    return [
        [quantity(point[0], "degC"), point[1]] if isinstance(point[0], str) else point
        for point in points
    ]


def require_rising(points: tuple[tuple[float, float], ...]) -> None:
    """Raise unless the outdoor temperatures of points rise."""
    for (colder, _), (warmer, _) in pairwise(points):
        if not colder < warmer:
            raise ValueError(
                f"outdoor temperatures must rise from point to point, got {colder:g} before "
                f"{warmer:g}"
            )


class Inputs(BaseModel):
    """The base of everything that a scenario file sets."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _numbers(cls, data: Any) -> Any:  # noqa: ANN401 - anything a file may hold
        """Turn quantities with units into numbers; refuse other texts, and truth, as numbers."""
        if not isinstance(data, dict):
            return data
        numbers = _number_keys(cls)
        return {
            key: _number(str(key), value) if key in numbers else value
            for key, value in data.items()
        }


@cache
def _number_keys(inputs: type[BaseModel]) -> frozenset[str]:
    """Return the keys of a class that take numbers."""
    fields = inputs.model_fields.items()
    return frozenset(key for key, field in fields if _is_number(field.annotation))


def _number(key: str, value: object) -> object:
    if isinstance(value, bool):
        raise ValueError(f"{key}: must be a number, got {str(value).lower()}")  # noqa: TRY004 - pydantic's way
    if not isinstance(value, str):
        return value
    unit = unit_of(key)
    if unit is None:
        raise ValueError(f"{key}: must be a number, got {value[:60]!r}")
    try:
        return quantity(value, unit)
    except ValueError as error:
        raise ValueError(f"{key}: {error}") from error


def _is_number(annotation: object) -> bool:
    """Tell whether a key takes a number: float, int, a choice of numbers, or one of these."""
    origin = getattr(annotation, "__origin__", None)
    if annotation in (float, int) or origin in (float, int):
        return True
    parts = () if origin in (list, tuple, dict) else getattr(annotation, "__args__", ())
    return any(isinstance(part, (int, float)) or _is_number(part) for part in parts)
