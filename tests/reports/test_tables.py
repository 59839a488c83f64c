"""Parquet and CSV: what is written has units, and opens safely."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pyarrow.csv
import pyarrow.parquet as pq
import pytest

from dewmargin.errors import DewmarginError
from dewmargin.reports import tables
from dewmargin.reports.csv import CsvTables
from dewmargin.reports.parquet import ParquetTables
from reports_case import ABOUT, NAMES, table

if TYPE_CHECKING:
    from pathlib import Path


def write(out: Path) -> None:
    """Write one table under two names by both reports."""
    for report in (ParquetTables(), CsvTables()):
        named = {"comparison": table(), "hourly": table()}
        for name, content in report.files(named, ABOUT).items():
            (out / name).write_bytes(content)


def test_every_column_carries_its_unit_and_meaning(tmp_path) -> None:
    write(tmp_path)

    schema = pq.read_schema(tmp_path / "comparison.parquet")

    field = schema.field("feed_l")
    assert field.metadata[b"unit"] == b"l"
    assert field.metadata[b"description"] == b"how much"
    own = json.loads(schema.metadata[b"dewmargin"])
    assert own["schema_version"] == 1
    assert own["table"] == "comparison"
    assert "dewmargin" in own["versions"]


def test_missing_is_null_and_never_zero(tmp_path) -> None:
    write(tmp_path)

    read = pq.read_table(tmp_path / "comparison.parquet").to_pydict()

    assert read["feed_l"][:2] == [0.1, None]
    assert read["option"] == NAMES
    text = (tmp_path / "comparison.csv").read_text(encoding="utf-8").splitlines()
    assert text[2].split(",")[2] == ""


def test_a_text_that_looks_like_a_formula_opens_as_text(tmp_path) -> None:
    write(tmp_path)

    read = pyarrow.csv.read_csv(tmp_path / "comparison.csv").to_pydict()

    assert read["option"][1:6] == ["'=1+1", "'+x", "'-x", "'@x", "'\tx"]
    assert read["option"][6:8] == NAMES[6:8]
    # Parquet keeps the names as they are.
    assert pq.read_table(tmp_path / "comparison.parquet").to_pydict()["option"][1] == "=1+1"


def test_the_numbers_of_csv_and_parquet_are_the_same(tmp_path) -> None:
    write(tmp_path)

    csv = pyarrow.csv.read_csv(tmp_path / "comparison.csv").to_pydict()
    parquet = pq.read_table(tmp_path / "comparison.parquet").to_pydict()

    assert csv["feed_l"] == parquet["feed_l"]
    assert csv["rh_set_percent"] == parquet["rh_set_percent"]


def test_a_csv_has_its_table_schema_beside_it(tmp_path) -> None:
    write(tmp_path)

    schema = json.loads((tmp_path / "comparison.schema.json").read_text(encoding="utf-8"))

    kinds = {field["name"]: (field["type"], field["unit"]) for field in schema["fields"]}
    assert kinds == {
        "option": ("string", ""),
        "interval_start": ("datetime", ""),
        "feed_l": ("number", "l"),
        "rh_set_percent": ("integer", "%"),
        "heating_season": ("boolean", ""),
    }


def test_the_hours_are_csv_only_if_asked_for() -> None:
    named = {"comparison": table(), "hourly": table()}

    short, long = (CsvTables(hourly=hourly).files(named, ABOUT) for hourly in (False, True))

    assert list(short) == ["comparison.csv", "comparison.schema.json"]
    assert list(long) == [*short, "hourly.csv", "hourly.schema.json"]


def test_an_infinite_value_is_never_written() -> None:
    bad = table()
    bad.data["feed_l"][3] = np.inf

    with pytest.raises(DewmarginError) as caught:
        tables.arrow(bad)

    assert str(caught.value) == "column feed_l holds an infinite value"
