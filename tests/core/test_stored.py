"""Results read back from their folder."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING

import numpy as np
import pytest

import page_case
from dewmargin.columns import Repeated
from dewmargin.core.stored import Data, read
from dewmargin.errors import InputError
from dewmargin.testing_cases import small_results

if TYPE_CHECKING:
    from pathlib import Path


def test_tables_from_a_folder_are_those_that_were_written(tmp_path: Path) -> None:
    results = small_results()
    results.write(tmp_path / "out")

    given, back = Data.of(results), Data.of(tmp_path / "out")

    for name, table in results.tables().items():
        if not given.has(name):
            assert not back.has(name)
            continue
        assert given.size(name) == back.size(name)
        for column in table.columns:
            # The allowed range is for the arithmetic, and not written.
            told = back.describe(name, column.name)
            assert (told.unit, told.meaning) == (column.unit, column.meaning)
            if column.unit:
                one, other = (of.numbers(name, column.name) for of in (given, back))
                np.testing.assert_array_equal(one, other)
            else:
                one, other = (of.column(name, column.name) for of in (given, back))
                if other.dtype.kind == "M":
                    one, other = (times.astype("datetime64[s]") for times in (one, other))
                assert list(map(str, one)) == list(map(str, other)), (name, column.name)


def test_what_the_manifest_says_is_that_of_the_results(tmp_path: Path) -> None:
    results = small_results()
    results.write(tmp_path / "out")

    # A folder also says in what units its files are.
    written = Data.of(results).about | {"units": {"csv": "si", "page": "si"}}
    assert Data.of(tmp_path / "out").about == written


def test_rows_are_found_by_their_texts() -> None:
    data = Data.of(page_case.demo())

    assert data.names("comparison", "supply") == ["cold", "hot 55 °C"]
    assert data.where("comparison", supply="cold").sum() == 6
    assert data.texts("comparison", "equipment", option="no humidifier") == [None]
    assert np.isnan(data.numbers("comparison", "demand_kg", option="no humidifier")[0])


def test_names_that_repeat_are_counted_and_spread() -> None:
    results = small_results()
    data = Data(results.tables(), results.about())
    values = results.table("surfaces_hourly").data["surface"]

    assert isinstance(values, Repeated)
    assert data.size("surfaces_hourly") == len(values.names) * values.times * values.rounds
    assert data.column("surfaces_hourly", "surface").size == data.size("surfaces_hourly")


def refusal(folder: Path) -> str:
    with pytest.raises(InputError) as caught:
        read(folder)
    return str(caught.value)


@pytest.mark.parametrize(
    "manifest",
    [
        pytest.param(None, id="none"),
        pytest.param("{", id="broken off"),
        pytest.param("[]", id="a list"),
        pytest.param("{}", id="of something else"),
        pytest.param('{"outputs_sha256": 1}', id="without names"),
    ],
)
def test_a_folder_without_a_manifest_holds_no_results(manifest, tmp_path: Path) -> None:
    if manifest is not None:
        (tmp_path / "manifest.json").write_text(manifest, encoding="utf-8")

    assert refusal(tmp_path) == (
        f"{tmp_path}: holds no results (a folder that `compare --out` or `frontier --out` wrote)"
    )


def test_a_table_that_is_no_parquet_is_named(tmp_path: Path) -> None:
    copy = shutil.copytree(page_case.demo(), tmp_path / "copy")
    (copy / "daily.parquet").write_bytes(b"PAR1 and nothing")

    told = refusal(copy)

    assert told.startswith(f"{copy / 'daily.parquet'}: cannot be read: ")
    assert told.endswith(" (compare again)")


def test_a_name_with_a_folder_leads_nowhere_else(tmp_path: Path) -> None:
    copy = shutil.copytree(page_case.demo(), tmp_path / "inner" / "copy")
    told = json.loads((copy / "manifest.json").read_text(encoding="utf-8"))
    told["outputs_sha256"] = {"../daily.parquet": ""}
    (copy / "manifest.json").write_text(json.dumps(told), encoding="utf-8")
    (copy / "daily.parquet").rename(copy.parent / "daily.parquet")

    assert refusal(copy).startswith(f"{copy / 'daily.parquet'}: cannot be read: ")
