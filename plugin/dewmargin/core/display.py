"""Display of numbers: digits and unit, put on as the last thing before a page or a chart."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.units import conversion

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from dewmargin.columns import Column, FloatArray
    from dewmargin.units import Units

MISSING = "–"
# They turn the direction of the text around them, so that a name could show as another.
_TURNING = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


def printable(text: str) -> str:
    """Return a text in which what cannot be seen, or turns the text around it, is a mark.

    Examples
    --------
    >>> printable(f"bell{chr(7)}")
    'bell�'
    """
    return "".join(c if _seen(c) else "\ufffd" for c in text)


def _seen(character: str) -> bool:
    return character == "\u00a0" or (character.isprintable() and character not in _TURNING)


@dataclass(frozen=True, slots=True)
class Shown:
    """A column as it is shown: its unit, and how a stored value becomes the one shown."""

    unit: str
    decimals: int
    factor: float = 1.0
    offset: float = 0.0

    def of(self, values: ArrayLike) -> FloatArray:
        """Return stored values as they are shown."""
        result: FloatArray = np.asarray(values, dtype=np.float64) * self.factor + self.offset
        return result

    def number(self, value: float | None) -> str:
        """Return a stored value as a text without its unit.

        Examples
        --------
        >>> Shown("%", 0, factor=100.0).number(0.354)
        '35'
        """
        if value is None or np.isnan(value):
            return MISSING
        return f"{float(self.of(value)):z.{self.decimals}f}".replace("-", "−")

    def text(self, value: float | None) -> str:
        """Return a stored value with its unit."""
        number = self.number(value)
        return number if number == MISSING or not self.unit else f"{number} {self.unit}"

    def label(self, what: str) -> str:
        """Return what an axis or a column shows, with its unit."""
        return f"{what}, {self.unit}" if self.unit else what


# Decimals that a person reads, by unit; other units have two.
_DECIMALS = {
    **dict.fromkeys(("h", "kg", "l", "kWh", "W", "% h", "%", "1", "lb", "gal", "kBtu", "Btu/h"), 0),
    **dict.fromkeys(("°C", "K", "K h", "l/kg", "g/m2", "°F", "°F h", "gr/ft2", "mph"), 1),
    "gal/min": 3,
}
_FRACTION = Shown("%", 0, factor=100.0)
_NAMED = {"mould_index_max": 1, "factor": 2, "t_out_f": 0}


def shown(
    column: Column,
    *,
    units: Units = "si",
    decimals: int | None = None,
    currency: str | None = None,
) -> Shown:
    """Return how a column of the results is shown.

    Parameters
    ----------
    column : Column
        Its unit and its name tell what it is.
    units : str
        What the reader reads.
    decimals : int, optional
        By default as many as suit the unit.
    currency : str, optional
        The unit of a cost.
    """
    if column.unit == "1" and column.name.endswith("_frac"):
        found = _FRACTION
    else:
        made = conversion(column, units)
        unit = "" if made.column.unit == "1" else made.column.unit.replace("2", "²")
        unit = currency or "" if column.name == "cost" else unit
        n = _NAMED.get(column.name, _DECIMALS.get(made.column.unit, 2))
        found = Shown(unit, n, made.factor, made.offset)
    return found if decimals is None else replace(found, decimals=decimals)
