"""Checks of arrays for physics and data: lengths, finiteness and ranges, with one wording."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.errors import OutOfRangeError

if TYPE_CHECKING:
    from dewmargin.columns import Column, FloatArray


def require_between(owner: str, name: str, value: float, low: float, high: float) -> None:
    """Raise `OutOfRangeError` unless ``low <= value <= high``; NaN is outside every range."""
    if low <= value <= high:
        return
    limits = f"at least {low:g}" if math.isinf(high) else f"between {low:g} and {high:g}"
    hint = None
    if (low, high) == (0.0, 1.0) and 1.0 < value <= 100.0:  # noqa: PLR2004 - per cent
        hint = f"fractions run from 0 to 1: did you mean {value / 100:g}?"
    raise OutOfRangeError(f"must be {limits}, got {value:g}", where=f"{owner}: {name}", hint=hint)


def require_hourly(owner: str, **columns: FloatArray) -> None:
    """Raise `OutOfRangeError` unless all columns are one-dimensional, equally long and finite."""
    lengths = {np.shape(values) for values in columns.values()}
    if len(lengths) != 1 or len(next(iter(lengths))) != 1:
        shapes = ", ".join(f"{name} {np.shape(values)}" for name, values in columns.items())
        raise OutOfRangeError(f"columns must have one equal length, got {shapes}", where=owner)
    for name, values in columns.items():
        if not np.isfinite(values).all():
            bad = np.flatnonzero(~np.isfinite(values))
            raise OutOfRangeError(
                f"must be finite, but {bad.size} of {values.size} values are not, "
                f"the first at index {bad[0]}",
                where=f"{owner}: {name}",
            )


def require_within(owner: str, column: Column, values: FloatArray) -> None:
    """Raise `OutOfRangeError` if a value lies outside the range that its column allows."""
    if not values.size or (column.low <= values.min() and values.max() <= column.high):
        return
    bad = np.flatnonzero(~((values >= column.low) & (values <= column.high)))  # NaN, too
    raise OutOfRangeError(
        f"must be between {column.low:g} and {column.high:g} {column.unit}, "
        f"but index {bad[0]} is {values[bad[0]]:g}",
        where=f"{owner}: {column.name}",
    )
