"""Containers at the boundary: floats, lists, arrays and pandas Series go into functions of arrays.

The functions stay plain; one decorator around them unpacks what is no array. It imports no pandas:
where nobody imported it, nothing can be a Series.
"""

from __future__ import annotations

import inspect
import sys
from functools import wraps
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

import numpy as np

from dewmargin.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Callable

P = ParamSpec("P")
R = TypeVar("R")

# With these alone, as in every call from within the package, there is nothing to unpack.
_PLAIN = frozenset({np.ndarray, np.float64, float, int, bool, str, tuple, type(None)})
_NUMBERS_AND_TIMES = "bfM"  # kinds of a NumPy type


def any_container(function: Callable[P, R]) -> Callable[P, R]:
    """Let a function of arrays take lists and pandas Series too.

    Arrays and floats reach the function as they are. A list, a Series or an index of numbers or
    times becomes an array, whole numbers as float64. If a Series was among them, a result of its
    length, or each such array in a result that is a record, comes back as a Series with its index;
    other results, of more dimensions or one number, stay as they are.

    Parameters
    ----------
    function : callable

    Returns
    -------
    callable
        With the signature, types and docstring of `function`. It raises OutOfRangeError if two
        Series have different indices, or one holds neither numbers nor times without a zone.

    Examples
    --------
    >>> @any_container
    ... def kelvin(t_c):
    ...     return t_c + 273.15
    >>> kelvin([0, 20])
    array([273.15, 293.15])
    """

    @wraps(function)
    def unpacking(*args: P.args, **kwargs: P.kwargs) -> R:
        # Two loops, not one over a joined list: it is what a call costs.
        for value in args:
            if type(value) not in _PLAIN:
                return _unpacked(function, args, kwargs)
        if kwargs:
            for value in kwargs.values():
                if type(value) not in _PLAIN:
                    return _unpacked(function, args, kwargs)
        return function(*args, **kwargs)

    return unpacking


def _unpacked(function: Callable[..., R], args: tuple[Any, ...], kwargs: dict[str, Any]) -> R:
    """Call a function with arrays in the place of lists and Series; give the index back."""
    pandas = sys.modules.get("pandas")
    series, index = (getattr(pandas, name, ()) for name in ("Series", "Index"))
    given = inspect.signature(function).bind(*args, **kwargs)
    first: str | None = None
    for name, value in given.arguments.items():
        where = f"{function.__name__}: {name}"
        if isinstance(value, list):
            given.arguments[name] = _of_list(value)
        elif isinstance(value, (series, index)):
            given.arguments[name] = _of_pandas(value, where)
        if not isinstance(value, series):
            continue
        if first is None:
            first, shared = name, value.index
        elif not value.index.equals(shared):
            raise OutOfRangeError(
                f"must have the index of {first}",
                where=where,
                hint="bring them to one index first, as Series.align does",
            )
    found = function(*given.args, **given.kwargs)
    result: R = found if first is None else _indexed(found, series, shared)
    return result


def _of_list(values: list[Any]) -> Any:  # noqa: ANN401 - an array, or the list
    """Return a list of numbers or times as an array; a list of anything else as it is."""
    array = np.asarray(values)
    if array.dtype.kind in "iu":
        return array.astype(np.float64)
    return array if values and array.dtype.kind in _NUMBERS_AND_TIMES else values


def _of_pandas(values: Any, where: str) -> np.ndarray:  # noqa: ANN401 - a Series or an index
    """Return the values of a Series or an index as an array; what is missing is NaN."""
    as_numbers = {"dtype": np.float64, "na_value": np.nan} if values.dtype.kind in "iuf" else {}
    array: np.ndarray = values.to_numpy(**as_numbers)
    if array.dtype.kind not in _NUMBERS_AND_TIMES:
        raise OutOfRangeError(
            f"must hold numbers or times without a zone, got {values.dtype}", where=where
        )
    return array


def _indexed(found: Any, series: Any, index: Any) -> Any:  # noqa: ANN401 - as the function returns
    """Return the arrays in a result that are as long as an index as Series."""
    from dataclasses import fields, is_dataclass, replace  # noqa: PLC0415 - slow to import

    if isinstance(found, np.ndarray) and found.shape == (len(index),):
        return series(found, index=index, copy=True)  # it may be the very array that came in
    if is_dataclass(found) and not isinstance(found, type):
        own = {each.name: getattr(found, each.name) for each in fields(found)}
        return replace(found, **{k: _indexed(v, series, index) for k, v in own.items()})
    return found
