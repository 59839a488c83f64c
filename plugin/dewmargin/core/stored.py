"""Stored results: tables of a folder from Parquet, and what its manifest says."""

from __future__ import annotations

import json
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.columns import Column, Repeated, Table
from dewmargin.core.display import Shown, shown
from dewmargin.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pyarrow as pa

    from dewmargin.columns import BoolArray, FloatArray
    from dewmargin.units import Units

MANIFEST = "manifest.json"
Source = Any  # a `Data`, the folder of results, or results with `tables` and `about`


class Data:
    """Tables of results by name and column, the same from a folder and from what was compared.

    Parameters
    ----------
    tables : mapping of str to Table
    about : mapping
        What the manifest says.
    units : str, optional
        What a reader reads; by default those of the page that the manifest tells of. The numbers
        stay in SI: `shown` tells how they are shown.
    """

    def __init__(
        self,
        tables: Mapping[str, Table],
        about: Mapping[str, Any],
        units: Units | None = None,
    ) -> None:
        self._tables = tables
        self._about = about
        self.units: Units = units or about.get("units", {}).get("page", "si")
        self.column = cache(self._column)

    @classmethod
    def of(cls, source: Source) -> Data:
        """Return the data of results, or of a folder that they were written to.

        Raises
        ------
        InputError
            If a folder holds no results.
        """
        if isinstance(source, Data):
            return source
        if isinstance(source, (str, Path)):
            return cls(*read(Path(source)))
        return cls(source.tables(), source.about())

    def in_units(self, units: Units | None) -> Data:
        """Return the same data for a reader of these units; None: those that they have."""
        return Data(self._tables, self._about, units or self.units)

    @cached_property
    def about(self) -> dict[str, Any]:
        """What the manifest says, as JSON keeps it."""
        found: dict[str, Any] = json.loads(json.dumps(self._about, default=str))
        return found

    def has(self, table: str) -> bool:
        """Tell whether there is a table of this name with rows in it."""
        return table in self._tables and self._tables[table].columns != () and self.size(table) > 0

    def needing(self, *tables: str) -> Data:
        """Return this if all these tables have rows.

        Raises
        ------
        InputError
            If one has none.
        """
        for table in tables:
            if not self.has(table):
                raise InputError(f"there is nothing to show of {table} in these results")
        return self

    def size(self, table: str) -> int:
        """Return the number of rows of a table."""
        values = self._tables[table].data[self._tables[table].columns[0].name]
        if isinstance(values, Repeated):
            return len(values.names) * values.times * values.rounds
        return len(values)

    def describe(self, table: str, name: str) -> Column:
        """Return what a column means, and its unit."""
        return next(c for c in self._tables[table].columns if c.name == name)

    def shown(self, table: str, name: str, *, decimals: int | None = None) -> Shown:
        """Return how a column is shown in the reader's units."""
        return shown(
            self.describe(table, name),
            units=self.units,
            decimals=decimals,
            currency=self.currency,
        )

    @cached_property
    def currency(self) -> str | None:
        """The unit of money of the results, if they have one."""
        if not self.has("comparison"):
            return None
        return next(iter(self.names("comparison", "currency")), None)

    @property
    def sentences(self) -> list[str]:
        """The sentences of the verdict in the reader's units."""
        told = self.about
        found: list[str] = told.get("verdict_sentences") or [told["verdict"]]
        return told.get("verdict_sentences_ip", found) if self.units == "ip" else found

    def names(self, table: str, name: str) -> list[str]:
        """Return the distinct texts of a column in their order."""
        values = self._tables[table].data[name]
        texts = values.names if isinstance(values, Repeated) else values
        return [text for text in dict.fromkeys(texts) if text is not None]

    def where(self, table: str, **equal: str) -> BoolArray:
        """Return which rows have these texts."""
        found = np.ones(self.size(table), bool)
        for name, text in equal.items():
            found &= self.column(table, name) == text
        return found

    def numbers(self, table: str, name: str, **equal: str) -> FloatArray:
        """Return a column of numbers in the rows that have these texts; missing is NaN."""
        values = self.column(table, name)
        chosen = values[self.where(table, **equal)] if equal else values
        return chosen.astype(np.float64)

    def texts(self, table: str, name: str, **equal: str) -> list[str | None]:
        """Return a column of texts in the rows that have these texts."""
        return list(self.column(table, name)[self.where(table, **equal)])

    def _column(self, table: str, name: str) -> np.ndarray:
        values = self._tables[table].data[name]
        if isinstance(values, Repeated):
            values = np.tile(np.repeat(np.array(values.names, object), values.times), values.rounds)
        elif isinstance(values, list):
            values = np.array(values, object)
        return np.asarray(values)


def read(folder: Path) -> tuple[dict[str, Table], dict[str, Any]]:
    """Return the tables that a folder's manifest lists, and what else it says.

    Raises
    ------
    InputError
        If there is no manifest, or a table cannot be read.
    """
    path = folder / MANIFEST
    try:
        about = json.loads(path.read_text(encoding="utf-8"))
        written = about.pop("outputs_sha256")
        names = [name.removesuffix(".parquet") for name in written if name.endswith(".parquet")]
    except (OSError, ValueError, KeyError, AttributeError, TypeError) as error:
        hint = "a folder that `compare --out` or `frontier --out` wrote"
        raise InputError("holds no results", file=folder, hint=hint) from error
    return {name: _table(folder / f"{Path(name).name}.parquet") for name in names}, about


def _table(path: Path) -> Table:
    import pyarrow as pa  # noqa: PLC0415 - slow to import
    import pyarrow.parquet as pq  # noqa: PLC0415 - idem

    try:
        content = pq.read_table(path)
    except (OSError, pa.ArrowException) as error:
        raise InputError(f"cannot be read: {error}", file=path, hint="compare again") from error
    told = [{k.decode(): v.decode() for k, v in (f.metadata or {}).items()} for f in content.schema]
    return Table(
        columns=tuple(
            Column(field.name, about.get("unit", ""), about.get("description", ""))
            for field, about in zip(content.schema, told, strict=True)
        ),
        data={field.name: _values(content.column(field.name)) for field in content.schema},
    )


def _values(column: pa.ChunkedArray) -> np.ndarray:
    import pyarrow as pa  # noqa: PLC0415 - slow to import

    if pa.types.is_dictionary(column.type):
        column = column.cast(column.type.value_type)
    if pa.types.is_string(column.type) or pa.types.is_boolean(column.type):
        return np.array(column.to_pylist(), object)
    result: np.ndarray = column.to_numpy()
    return result
