"""Parquet tables of results, with units and all that the manifest says."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Literal

from dewmargin.inputs import Inputs
from dewmargin.reports.tables import arrow

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dewmargin.columns import Table


class ParquetTables(Inputs):
    """Every table as Parquet."""

    kind: Literal["parquet"] = "parquet"

    def files(self, tables: Mapping[str, Table], about: Mapping[str, Any]) -> Mapping[str, bytes]:
        """Return one file a table; its metadata is `about` and the table's name."""
        return {
            f"{name}.parquet": parquet_bytes(table, dict(about) | {"table": name})
            for name, table in tables.items()
        }


def parquet_bytes(table: Table, about: Mapping[str, Any]) -> bytes:
    """Return a table as the bytes of a Parquet file; its metadata is `about`."""
    import pyarrow as pa  # noqa: PLC0415 - slow to import
    import pyarrow.parquet as pq  # noqa: PLC0415 - idem

    own = json.dumps(about, sort_keys=True, default=str)
    content = arrow(table).replace_schema_metadata({"dewmargin": own})
    stream = pa.BufferOutputStream()
    pq.write_table(content, stream, compression="zstd", write_page_checksum=True)
    result: bytes = stream.getvalue().to_pybytes()
    return result
