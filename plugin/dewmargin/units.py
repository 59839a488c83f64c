"""US customary units: what a column of the results becomes where ``units`` is ``"ip"``.

Results are kept in SI; a reader's units are put on as the last thing. Factors are exact.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from dewmargin.columns import COMPARISON, Column, Table

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import ArrayLike

    from dewmargin.columns import FloatArray

Units = Literal["si", "ip"]

# Definitions: NIST SP 811 (2008), appendix B (from memory; tests compare with another library).
FOOT_M, INCH_M = 0.3048, 0.0254
POUND_KG, GRAIN_G = 0.45359237, 0.06479891
GALLON_L = 3.785411784
BTU_J = 1055.05585262  # of the International Table
MILE_M = 1609.344
GRAVITY_M_S2 = 9.80665
INCH_OF_MERCURY_PA = INCH_M * 13595.1 * GRAVITY_M_S2  # conventional density
INCH_OF_WATER_PA = INCH_M * 1000.0 * GRAVITY_M_S2  # idem
# ASHRAE's standard air, the "cfm" of the trade (from memory).
STANDARD_AIR_LB_FT3 = 0.075
STANDARD_AIR_KG_M3 = STANDARD_AIR_LB_FT3 * POUND_KG / FOOT_M**3


@dataclass(frozen=True, slots=True)
class _Customary:
    """A unit, what a name ends in before and after, and how a number becomes one of it."""

    unit: str
    end: str
    becomes: str
    factor: float
    offset: float = 0.0


_OF_UNIT = {
    "°C": _Customary("°F", "_c", "_f", 1.8, 32.0),
    # A difference has no offset, and a name that is not that of a temperature.
    "K": _Customary("°F", "_k", "_delta_f", 1.8),
    "K h": _Customary("°F h", "_k_h", "_delta_f_h", 1.8),
    "kg": _Customary("lb", "_kg", "_lb", 1.0 / POUND_KG),
    "kg/h": _Customary("lb/h", "_kg_h", "_lb_h", 1.0 / POUND_KG),
    "kg/s": _Customary("lb/h", "_kg_s", "_lb_h", 3600.0 / POUND_KG),
    "kg/kg": _Customary("lb/lb", "_kg_kg", "_lb_lb", 1.0),
    "l": _Customary("gal", "_l", "_gal", 1.0 / GALLON_L),
    "l/kg": _Customary("gal/lb", "_l_per_kg", "_gal_per_lb", POUND_KG / GALLON_L),
    "l/min": _Customary("gal/min", "_l_min", "_gal_min", 1.0 / GALLON_L),
    "kWh": _Customary("kBtu", "_kwh", "_kbtu", 3600.0 / BTU_J),
    "W": _Customary("Btu/h", "_w", "_btu_h", 3600.0 / BTU_J),
    "W/(m2 K)": _Customary(
        "Btu/(h ft2 °F)", "_w_m2_k", "_btu_h_ft2_f", 3600.0 / BTU_J * FOOT_M**2 / 1.8
    ),
    "Pa": _Customary("inHg", "_pa", "_inhg", 1.0 / INCH_OF_MERCURY_PA),
    "m": _Customary("ft", "_m", "_ft", 1.0 / FOOT_M),
    "m/s": _Customary("mph", "_m_s", "_mph", 3600.0 / MILE_M),
    # In ounces or pounds a film would be thousandths.
    "g/m2": _Customary("gr/ft2", "_g_m2", "_gr_ft2", FOOT_M**2 / GRAIN_G),
}
_OF_COLUMN = {
    "exchange_kg_s": _Customary("cfm", "_kg_s", "_cfm", 60.0 / (STANDARD_AIR_KG_M3 * FOOT_M**3)),
    "electric_w": None,  # transformers and meters are in W everywhere
}
_NOTES = {"exchange_kg_s": f", as standard air of {STANDARD_AIR_LB_FT3:g} lb/ft3"}


@dataclass(frozen=True, slots=True)
class Conversion:
    """What a column becomes, and how its numbers do."""

    column: Column
    factor: float = 1.0
    offset: float = 0.0

    @property
    def same(self) -> bool:
        """Whether nothing changes but perhaps the name."""
        return self.factor == 1.0 and self.offset == 0.0

    def of(self, values: ArrayLike) -> FloatArray:
        """Return numbers of the results in the reader's unit."""
        result: FloatArray = np.asarray(values, dtype=np.float64) * self.factor + self.offset
        return result

    def back(self, values: ArrayLike) -> FloatArray:
        """Return numbers of the reader's unit as the results have them."""
        result: FloatArray = (np.asarray(values, dtype=np.float64) - self.offset) / self.factor
        return result

    def difference(self, values: ArrayLike) -> FloatArray:
        """Return differences of such numbers in the reader's unit."""
        result: FloatArray = np.asarray(values, dtype=np.float64) * self.factor
        return result


def conversion(column: Column, units: Units) -> Conversion:
    """Return what a column becomes in a reader's units.

    Examples
    --------
    >>> found = conversion(Column("t_air_c", "°C", ""), "ip")
    >>> found.column.name, float(found.of(20.0))
    ('t_air_f', 68.0)
    """
    if units == "si":
        return Conversion(column)
    into = _OF_COLUMN.get(column.name, _OF_UNIT.get(column.unit))
    if into is None:
        return Conversion(column)
    before, _, after = column.name.rpartition(into.end)
    meaning = column.meaning + _NOTES.get(column.name, "")
    made = Conversion(
        Column(f"{before}{into.becomes}{after}", into.unit, meaning), into.factor, into.offset
    )
    ends = sorted(float(made.of(end)) for end in (column.low, column.high))
    return replace(made, column=replace(made.column, low=ends[0], high=ends[1]))


def conversions(columns: Sequence[Column], units: Units) -> list[Conversion]:
    """Return what the columns of one table become.

    One whose number in the reader's unit stands beside it anyway stays as it is: settings have both
    °C and °F for everyone.
    """
    names = {column.name for column in columns}
    made = [conversion(column, units) for column in columns]
    return [
        Conversion(column) if each.column.name in names else each
        for column, each in zip(columns, made, strict=True)
    ]


def in_units(table: Table, units: Units) -> Table:
    """Return a table in a reader's units: names, units and numbers."""
    if units == "si":
        return table
    made = conversions(table.columns, units)
    data = {
        each.column.name: _each(table.data[column.name], each.of, same=each.same)
        for column, each in zip(table.columns, made, strict=True)
    }
    return Table(columns=tuple(each.column for each in made), data=data | _of_numbers(table, units))


def _each(values: Any, of: Callable[[Any], Any], *, same: bool) -> Any:  # noqa: ANN401 - as in Table
    if same:
        return values
    if isinstance(values, np.ndarray):
        return of(values)
    return [None if value is None else float(of(value)) for value in values]


def _of_numbers(table: Table, units: Units) -> dict[str, Any]:
    """Return the columns whose rows are each of another year number: that one's name, unit, values.

    Such tables have a column `number`; values without a unit of their own are in that of the row.
    """
    if "number" not in table.data:
        return {}
    known = {column.name: column for column in COMPARISON}
    made = {
        name: conversion(known.get(name, Column(name, "", "")), units)
        for name in dict.fromkeys(table.data["number"])
    }
    rows = [made[name] for name in table.data["number"]]
    found: dict[str, Any] = {"number": [row.column.name for row in rows]}
    for column in table.columns:
        values = table.data[column.name]
        if column.name == "unit":
            told = zip(rows, values, strict=True)
            found["unit"] = [row.column.unit or unit for row, unit in told]
        elif not column.unit and any(isinstance(value, (int, float)) for value in values):
            found[column.name] = [
                value if value is None else _of_row(row, float(value), column.name)
                for row, value in zip(rows, values, strict=True)
            ]
    return found


def _of_row(row: Conversion, value: float, name: str) -> float:
    return float(row.difference(value) if name == "sd" else row.of(value))
