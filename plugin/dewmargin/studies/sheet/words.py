"""Inputs of a scenario as the sheet tells them: keys as words, values in a reader's units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic import BaseModel

from dewmargin.inputs import UNITS
from dewmargin.units import FOOT_M, GALLON_L, INCH_M, INCH_OF_WATER_PA, POUND_KG

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from dewmargin.units import Units

_SPELT = {"delta_degC": "K", "degC": "°C", "hour": "h", "minute": "min", "**2": "²", "**3": "³"}
# What an input of the scenario is told in, by its unit, for a reader of US customary units: unit,
# factor and offset.
_CUSTOMARY = {
    "degC": ("°F", 1.8, 32.0),
    "delta_degC": ("°F", 1.8, 0.0),
    "kg/s": ("lb/h", 3600.0 / POUND_KG, 0.0),
    "kg/hour": ("lb/h", 1.0 / POUND_KG, 0.0),
    "kg/day": ("lb/day", 1.0 / POUND_KG, 0.0),
    "L/s": ("cfm", 0.06 / FOOT_M**3, 0.0),
    "m**3/hour": ("cfm", 1.0 / 60.0 / FOOT_M**3, 0.0),
    "L/min": ("gal/min", 1.0 / GALLON_L, 0.0),
    "m": ("ft", 1.0 / FOOT_M, 0.0),
    "mm": ("in", 1e-3 / INCH_M, 0.0),
    "m**2": ("ft²", 1.0 / FOOT_M**2, 0.0),
    "m**3": ("ft³", 1.0 / FOOT_M**3, 0.0),
    "Pa": ("in wc", 1.0 / INCH_OF_WATER_PA, 0.0),
}


def inputs_told(part: object, units: Units) -> str:
    """Return the keys of a scenario's table and their values, those of inner tables too."""
    given = part.model_dump(exclude_unset=True) if isinstance(part, BaseModel) else {}
    return ", ".join(_keys(given, units, leave_out=("name", "kind")))


def _keys(
    given: Mapping[str, Any], units: Units, *, leave_out: tuple[str, ...] = ()
) -> Iterator[str]:
    for key, value in given.items():
        if key in leave_out:
            continue
        end, unit = next(((e, u) for e, u in UNITS.items() if u and key.endswith(e)), ("", ""))
        name = key.removesuffix(end).replace("_", " ")
        if isinstance(value, dict):
            yield f"{name} ({', '.join(_keys(value, units))})"
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            yield f"{name} {_input(value, unit, units)}".rstrip()
        else:
            yield f"{name} {value} {_spelt(unit)}".replace("_", " ").rstrip()


def _input(value: float, unit: str, units: Units) -> str:
    if units == "ip" and unit in _CUSTOMARY:
        into, factor, offset = _CUSTOMARY[unit]
        return f"{factor * value + offset:.4g} {into}"
    return f"{value:g} {_spelt(unit)}"


def _spelt(unit: str) -> str:
    """Return a unit of the conversion library as people write it."""
    for long, short in _SPELT.items():
        unit = unit.replace(long, short)
    return unit
