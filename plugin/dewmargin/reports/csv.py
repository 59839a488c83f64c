"""CSV tables of results, each with a Table Schema beside it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Literal

from pydantic import Field

from dewmargin.inputs import Inputs
from dewmargin.reports.tables import arrow
from dewmargin.units import in_units

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pyarrow as pa

    from dewmargin.columns import Table

HOURLY = "hourly"
SHORT = (
    "comparison",
    "surfaces",
    "settings",
    "limits",
    "worst_hours",
    "daily",
    "monthly",
    "duration",
    "assembly",
    "assembly_months",
    "frontier",
    "spread",
    "breaks",
    "sensitivity",
    "loads",
    "design_loads",
    "load_duration",
    "sizes",
    "summary",
    "refused",
)
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


class CsvTables(Inputs):
    """Every short table as CSV, safe to open in a spreadsheet, with a Frictionless Table Schema."""

    kind: Literal["csv"] = "csv"
    hourly: bool = Field(default=False, description="the hours too, a large file; default: not")

    def files(
        self,
        tables: Mapping[str, Table],
        about: Mapping[str, Any],
    ) -> Mapping[str, bytes]:
        """Return two files a table, in the units of CSV that the manifest tells of."""
        found: dict[str, bytes] = {}
        units = about.get("units", {}).get("csv", "si")
        for name, in_si in tables.items():
            if name in SHORT or (name == HOURLY and self.hourly):
                table = in_units(in_si, units)
                content = arrow(table)
                found[f"{name}.csv"] = _csv(content)
                schema = _table_schema(table, content)
                text = json.dumps(schema, indent=1, ensure_ascii=False) + "\n"
                found[f"{name}.schema.json"] = text.encode("utf-8")
        return found


def _csv(content: pa.Table) -> bytes:
    import pyarrow as pa  # noqa: PLC0415 - slow to import
    from pyarrow import csv  # noqa: PLC0415 - idem

    stream = pa.BufferOutputStream()
    csv.write_csv(_spreadsheet_safe(content), stream)
    result: bytes = stream.getvalue().to_pybytes()
    return result


def _spreadsheet_safe(content: pa.Table) -> pa.Table:
    """Put an apostrophe before a text that a spreadsheet would run as a formula."""
    import pyarrow as pa  # noqa: PLC0415 - slow to import

    for i, field in enumerate(content.schema):
        plain = field.type.value_type if pa.types.is_dictionary(field.type) else field.type
        if pa.types.is_string(plain):
            texts = content.column(i).cast(pa.string()).to_pylist()
            safe = [f"'{t}" if t and t.startswith(FORMULA_STARTS) else t for t in texts]
            content = content.set_column(i, field.name, pa.array(safe, pa.string()))
    return content


def _table_schema(table: Table, content: pa.Table) -> dict[str, Any]:
    """Return a Frictionless Table Schema: name, type, unit and meaning of every column."""
    import pyarrow as pa  # noqa: PLC0415 - slow to import

    def kind(data_type: pa.DataType) -> str:
        if pa.types.is_boolean(data_type):
            return "boolean"
        if pa.types.is_integer(data_type):
            return "integer"
        if pa.types.is_floating(data_type):
            return "number"
        return "datetime" if pa.types.is_timestamp(data_type) else "string"

    fields = []
    for column in table.columns:
        described = {"name": column.name, "type": kind(content.schema.field(column.name).type)}
        if described["type"] == "datetime":
            described["format"] = "%Y-%m-%d %H:%M:%S"
        fields.append(described | {"unit": column.unit, "description": column.meaning})
    return {"fields": fields, "missingValues": [""]}
