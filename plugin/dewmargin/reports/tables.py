"""Tables as Parquet and CSV, and the results folder, written so that no half file is ever seen."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import platform
import re
import threading
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.errors import DewmarginError, InputError, OutputError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import pandas as pd
    import pyarrow as pa

    from dewmargin.columns import Column

SCHEMA_VERSION = 1
MANIFEST = "manifest.json"
ALWAYS_CSV = (
    "comparison",
    "surfaces",
    "settings",
    "limits",
    "worst_hours",
    "daily",
    "assembly",
    "assembly_months",
)
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Columns with their units, and one array or list of values for each."""

    columns: Sequence[Column]
    data: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Repeated:
    """A text column that holds each name `times` over, and all that `rounds` over."""

    names: Sequence[str]
    times: int
    rounds: int = 1


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


def sha256(path: Path) -> str:
    """Return the SHA-256 of a file.

    Raises
    ------
    OSError
        If the file cannot be read.
    """
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def write_folder(
    out: Path, tables: Mapping[str, Table], *, about: Mapping[str, Any], hourly_csv: bool = False
) -> list[Path]:
    """Write all tables and, last, the manifest with the hash of every file.

    Parameters
    ----------
    out : Path
        Made if missing; an older results folder is replaced file by file.
    tables : mapping of str to Table
        By file name without ending.
    about : mapping
        What the manifest says besides versions and hashes.
    hourly_csv : bool
        Write the hourly table as CSV too.

    Raises
    ------
    OutputError
        If the folder holds something else, or a file cannot be written.
    """
    import pyarrow.parquet as pq  # noqa: PLC0415 - slow to import

    kept = {f"{name}.{end}" for name in tables for end in ("parquet", "csv", "schema.json")}
    _prepare(out, kept if hourly_csv else kept - {"hourly.csv", "hourly.schema.json"})
    written: list[Path] = []
    metadata = {"schema_version": SCHEMA_VERSION, "versions": versions(), **about}
    for name, table in tables.items():
        content = arrow(table)
        own = json.dumps(metadata | {"table": name}, sort_keys=True, default=str)
        content = content.replace_schema_metadata({"dewmargin": own})
        if name != "settings":
            path = out / f"{name}.parquet"
            _atomically(
                path,
                lambda temporary, content=content: pq.write_table(  # type: ignore[misc]
                    content, temporary, compression="zstd", write_page_checksum=True
                ),
            )
            written.append(path)
        if name in ALWAYS_CSV or (name == "hourly" and hourly_csv):
            written += _write_csv(out, name, table, content)
    manifest = metadata | {"outputs_sha256": {path.name: sha256(path) for path in written}}
    text = json.dumps(manifest, indent=1, sort_keys=True, default=str, ensure_ascii=False) + "\n"
    path = out / MANIFEST
    _atomically(path, lambda temporary: temporary.write_text(text, encoding="utf-8"))
    return [*written, path]


def verify_folder(folder: Path) -> list[str]:
    """Check a results folder against its manifest; return the names of its files.

    Raises
    ------
    InputError
        If there is no manifest, or a file is missing or not as it was written.
    """
    manifest = folder / MANIFEST
    if not _is_manifest(manifest):
        hint = "a folder whose writing was broken off has none; compare again"
        raise InputError("has no manifest of results", file=folder, hint=hint)
    written = json.loads(manifest.read_text(encoding="utf-8"))["outputs_sha256"]
    if not isinstance(written, dict):
        raise InputError("lists no files", file=manifest)
    for name, digest in written.items():
        path = folder / Path(str(name)).name
        try:
            found = sha256(path)
        except OSError as error:
            raise InputError(f"cannot be read: {error.strerror}", file=path) from error
        if found != digest:
            raise InputError("is not as it was written", file=path, hint="compare again")
    return list(written)


def versions() -> dict[str, str]:
    """Return the versions that made a result."""
    found = {"python": platform.python_version()}
    for name in ("dewmargin", "numpy", "numba", "pyarrow"):
        with contextlib.suppress(PackageNotFoundError):
            found[name] = version(name)
    return found


NAMES = (*ALWAYS_CSV, "hourly", "surfaces_hourly")
_OURS = re.compile(
    rf"(({'|'.join(NAMES)})\.(parquet|csv|schema\.json)|manifest\.json)|\.[a-z_.]+\.[0-9-]+\.tmp"
)


def _prepare(out: Path, kept: set[str]) -> None:
    """Make the folder; in an older results folder, drop what will not be written again."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        found = list(out.iterdir())
        ours = [path for path in found if _OURS.fullmatch(path.name)]
        # An interrupted run leaves no manifest, and files of our own names only.
        interrupted = len(ours) == len(found) and (
            (out / "comparison.parquet").exists() or all(p.suffix == ".tmp" for p in found)
        )
        if found and not interrupted and not _is_manifest(out / MANIFEST):
            raise OutputError(
                f"{out}: holds files that are not results (choose an empty folder with --out)"
            )
        # While the files change there is no manifest, so a broken run is never taken for whole.
        for path in ours:
            if path.name not in kept:
                path.unlink(missing_ok=True)
    except OSError as error:
        raise OutputError(f"{out}: cannot be written: {error.strerror}") from error


def _is_manifest(path: Path) -> bool:
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(content, dict) and {"schema_version", "outputs_sha256"} <= set(content)


def _atomically(path: Path, write: Callable[[Path], object]) -> None:
    """Write to a temporary name, flush to disk, rename; the final name never holds half a file."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}-{threading.get_ident()}.tmp")
    try:
        write(temporary)
        with temporary.open("rb+") as stream:
            os.fsync(stream.fileno())
        temporary.replace(path)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror or error}") from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def _write_csv(out: Path, name: str, table: Table, content: pa.Table) -> list[Path]:
    from pyarrow import csv  # noqa: PLC0415 - slow to import

    safe = _spreadsheet_safe(content)
    path, schema = out / f"{name}.csv", out / f"{name}.schema.json"
    _atomically(path, lambda temporary: csv.write_csv(safe, temporary))
    text = json.dumps(_table_schema(table, content), indent=1, ensure_ascii=False) + "\n"
    _atomically(schema, lambda temporary: temporary.write_text(text, encoding="utf-8"))
    return [path, schema]


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
