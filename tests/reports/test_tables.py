"""Parquet, CSV and the folder: what is written is whole, has units, and opens safely."""

from __future__ import annotations

import errno
import json
import os
from typing import TYPE_CHECKING

import numpy as np
import pyarrow.csv
import pyarrow.parquet as pq
import pytest

from dewmargin.errors import DewmarginError, InputError, OutputError
from dewmargin.reports import tables
from reports_case import NAMES, table

if TYPE_CHECKING:
    from pathlib import Path

ABOUT = {"title": "test", "warnings": []}


def write(out: Path) -> list[Path]:
    """Write a folder with one table under two names."""
    return tables.write_folder(
        out, {"comparison": table(), "hourly": table()}, about=ABOUT, hourly_csv=False
    )


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


def test_the_manifest_has_the_hash_of_every_file(tmp_path) -> None:
    written = write(tmp_path)

    manifest = json.loads((tmp_path / "manifest.json").read_text(encoding="utf-8"))

    assert written[-1] == tmp_path / "manifest.json"
    assert {p.name for p in tmp_path.iterdir()} == {p.name for p in written}
    assert set(manifest["outputs_sha256"]) == {p.name for p in written[:-1]}
    for name, digest in manifest["outputs_sha256"].items():
        assert tables.sha256(tmp_path / name) == digest


def test_two_runs_write_the_same_bytes(tmp_path) -> None:
    first, second = write(tmp_path / "a"), write(tmp_path / "b")

    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in second]


def test_an_infinite_value_is_never_written(tmp_path) -> None:
    bad = table()
    bad.data["feed_l"][3] = np.inf

    with pytest.raises(DewmarginError) as caught:
        tables.write_folder(tmp_path, {"comparison": bad}, about=ABOUT)

    assert str(caught.value) == "column feed_l holds an infinite value"


def test_a_folder_of_somebody_else_is_left_alone(tmp_path) -> None:
    (tmp_path / "letter.txt").write_text("dear", encoding="utf-8")

    with pytest.raises(OutputError) as caught:
        write(tmp_path)

    assert str(caught.value) == (
        f"{tmp_path}: holds files that are not results (choose an empty folder with --out)"
    )
    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]


@pytest.mark.parametrize(
    "files",
    [
        pytest.param({"manifest.json": '{"name": "app"}', "index.html": ""}, id="a web page"),
        pytest.param({"settings.csv": "mine"}, id="a file of the same name"),
        pytest.param({"comparison.docx": ""}, id="a file of a similar name"),
    ],
)
def test_files_that_look_like_ours_are_not_taken_for_ours(files: dict, tmp_path) -> None:
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")

    with pytest.raises(OutputError, match="holds files that are not results"):
        write(tmp_path)

    assert {p.name: p.read_text(encoding="utf-8") for p in tmp_path.iterdir()} == files


def test_what_is_not_written_again_does_not_stay(tmp_path) -> None:
    tables.write_folder(tmp_path, {"hourly": table()}, about=ABOUT, hourly_csv=True)

    tables.write_folder(tmp_path, {"hourly": table()}, about=ABOUT)

    assert {p.name for p in tmp_path.iterdir()} == {"hourly.parquet", "manifest.json"}


def test_an_older_results_folder_is_replaced(tmp_path) -> None:
    write(tmp_path)
    (tmp_path / "comparison.csv").write_text("old", encoding="utf-8")

    write(tmp_path)

    assert (tmp_path / "comparison.csv").read_text(encoding="utf-8").startswith('"option"')


def test_a_file_where_the_folder_should_be_is_named(tmp_path) -> None:
    (tmp_path / "out").write_text("", encoding="utf-8")

    with pytest.raises(OutputError) as caught:
        write(tmp_path / "out")

    assert str(caught.value) == f"{tmp_path / 'out'}: cannot be written: File exists"


@pytest.mark.parametrize("nth", range(5))
def test_a_full_disk_leaves_no_half_file_and_no_manifest(nth: int, monkeypatch, tmp_path) -> None:
    """Fail the n-th flush to disk: comparison (parquet, csv, schema), hourly, manifest."""
    calls = 0
    real = os.fsync

    def fsync(number: int) -> None:
        nonlocal calls
        calls += 1
        if calls == nth + 1:
            raise OSError(errno.ENOSPC, "No space left on device")
        real(number)

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(OutputError, match="cannot be written: No space left on device"):
        write(tmp_path)

    assert not (tmp_path / "manifest.json").exists()
    assert not [p for p in tmp_path.iterdir() if p.suffix == ".tmp"]
    monkeypatch.undo()
    assert len(write(tmp_path)) == 5  # and the next run is not in its way


def test_a_whole_folder_is_verified(tmp_path) -> None:
    written = write(tmp_path)

    assert tables.verify_folder(tmp_path) == sorted(p.name for p in written[:-1])


def test_one_changed_bit_is_noticed(tmp_path) -> None:
    write(tmp_path)
    path = tmp_path / "hourly.parquet"
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)

    with pytest.raises(InputError) as caught:
        tables.verify_folder(tmp_path)

    assert str(caught.value) == f"{path}: is not as it was written (compare again)"


def test_a_file_that_is_gone_is_named(tmp_path) -> None:
    write(tmp_path)
    (tmp_path / "comparison.csv").unlink()

    with pytest.raises(InputError) as caught:
        tables.verify_folder(tmp_path)

    path = tmp_path / "comparison.csv"
    assert str(caught.value) == f"{path}: cannot be read: No such file or directory"


def test_a_folder_without_manifest_is_not_whole(tmp_path) -> None:
    with pytest.raises(InputError) as caught:
        tables.verify_folder(tmp_path)

    assert str(caught.value) == (
        f"{tmp_path}: has no manifest of results "
        "(a folder whose writing was broken off has none; compare again)"
    )
