"""What every input class shares: frozen, no unknown keys, quantities with units as text.

A key's unit is the end of its name (``floor_area_m2``). A text such as ``"1750 ft2"`` is converted
to that unit where the scenario enters the program; below this point only SI numbers exist.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from pydantic import BaseModel, ConfigDict, model_validator

# Ends of names, longest first, and the unit as the conversion library spells it.
UNITS = {
    "_m3_h_at_50pa": "m**3/hour",
    "_kg_m2_s_pa": "kg/m**2/s/Pa",
    "_g_m2_rh": "g/m**2",
    "_w_m2_k": "W/m**2/K",
    "_per_kwh": "1/kWh",
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
    "_m": "m",
    "_pa": "Pa",
    "_kg": "kg",
    "_h": "hour",
    "_c": "degC",
    "_k": "delta_degC",
}


_DEGREE = re.compile(r"(?:\bdeg|°)([CF])\b")
# Units of the trade that the conversion library does not know.
TRADE_UNITS = ("cfm = foot**3 / minute", "gpm = gallon / minute")


def unit_of(name: str) -> str | None:
    """Return the unit that a key's name ends in, or None."""
    return next((unit for end, unit in UNITS.items() if name.endswith(end)), None)


@cache
def _registry() -> Any:  # noqa: ANN401 - the library is not typed
    import pint  # noqa: PLC0415 - a fifth of a second that plain numbers do not pay

    registry: Any = pint.UnitRegistry(
        autoconvert_offset_to_baseunit=True,
        # People write ft2 and m3; the library wants ft**2.
        preprocessors=[lambda spelt: re.sub(r"(?<=[a-z])([23])\b", r"**\1", spelt)],
    )
    for name in TRADE_UNITS:
        registry.define(name)
    return registry


def quantity(text: str, unit: str) -> float:
    """Convert a quantity written with its unit to the number in `unit`.

    Raises
    ------
    ValueError
        If the text is not a number with a unit, or the unit measures something else.
    """
    try:
        # Only a temperature has a zero point; in W/°F or in a difference a degree is a step.
        spelt = text if unit == "degC" else _DEGREE.sub(r"delta_deg\1", text)
        return float(_registry().Quantity(spelt).to(unit).magnitude)
    except Exception as error:  # whatever the library meets in a user's text
        plain = unit.replace("**", "").replace("delta_", "")
        raise ValueError(f"{text!r} is not a quantity that can be turned into {plain}") from error


class Inputs(BaseModel):
    """The base of everything that a scenario file sets."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _convert_quantities(cls, data: Any) -> Any:  # noqa: ANN401 - anything a file may hold
        """Turn texts with units into numbers, for keys whose name ends in a unit."""
        if not isinstance(data, dict):
            return data
        return {key: _converted(str(key), value) for key, value in data.items()}


def _converted(key: str, value: object) -> object:
    unit = unit_of(key)
    if unit is None or not isinstance(value, str):
        return value
    try:
        return quantity(value, unit)
    except ValueError as error:
        raise ValueError(f"{key}: {error}") from error
