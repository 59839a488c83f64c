"""Arrow tables of results, with units, or the same as data frames."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dewmargin.columns import Repeated
from dewmargin.errors import DewmarginError

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    import pyarrow as pa

    from dewmargin.columns import Table


def arrow(table: Table) -> pa.Table:
    """Return an Arrow table with unit and description of every column; NaN becomes null.

    Raises
    ------
    DewmarginError
        If a value is infinite: that is a mistake of ours, and never written.
    """
    import pyarrow as pa  # noqa: PLC0415 - slow to import

    fields, arrays = [], []
    for column in table.columns:
        values = table.data[column.name]
        if isinstance(values, Repeated):
            codes = np.repeat(np.arange(len(values.names), dtype=np.int32), values.times)
            array = pa.DictionaryArray.from_arrays(
                np.tile(codes, values.rounds), pa.array(values.names, pa.string())
            )
        else:
            array = pa.array(values, from_pandas=True)
        if (
            pa.types.is_floating(array.type)
            and np.isinf(array.to_numpy(zero_copy_only=False)).any()
        ):
            raise DewmarginError(f"column {column.name} holds an infinite value")
        if pa.types.is_null(array.type):
            array = array.cast(pa.float64() if column.unit else pa.string())
        arrays.append(array)
        about = {"unit": column.unit, "description": column.meaning}
        fields.append(pa.field(column.name, array.type, metadata=about))
    return pa.Table.from_arrays(arrays, schema=pa.schema(fields))


def frame(table: Table) -> pd.DataFrame:
    """Return a pandas DataFrame; missing values are NaN or None."""
    result: pd.DataFrame = arrow(table).to_pandas()
    return result


def rows(table: Table) -> list[Mapping[str, object]]:
    """Return a table's rows as plain objects for JSON; missing is null, a time ISO 8601."""
    names = [column.name for column in table.columns]
    return [
        {name: _plain(value) for name, value in zip(names, row, strict=True)}
        for row in zip(*(table.data[name] for name in names), strict=True)
    ]


def _plain(value: object) -> object:
    if isinstance(value, np.datetime64):
        return str(value)
    return None if isinstance(value, float) and np.isnan(value) else value
