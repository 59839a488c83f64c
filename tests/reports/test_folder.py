"""The results folder: what reports make is whole, known by its hash, and alone."""

from __future__ import annotations

import errno
import json
import os
from typing import TYPE_CHECKING

import pytest

from dewmargin.errors import ExtensionError, InputError, OutputError
from dewmargin.reports import folder
from dewmargin.reports.csv import CsvTables
from dewmargin.reports.parquet import ParquetTables
from reports_case import ABOUT, table

if TYPE_CHECKING:
    from pathlib import Path


class Notes:
    """A report of somebody else."""

    def __init__(self, *names: str, content: object = b"dry") -> None:
        self.made = dict.fromkeys(names or ("notes.txt",), content)

    def files(self, *_: object) -> dict[str, object]:
        return self.made


def made(*reports: object) -> dict[str, bytes]:
    return folder.files_of(reports, {"comparison": table(), "hourly": table()}, ABOUT)


def write(out: Path) -> list[Path]:
    """Write a folder with one table under two names."""
    return folder.write_folder(out, made(ParquetTables(), CsvTables()), about=ABOUT)


def test_files_come_in_the_order_of_their_reports() -> None:
    assert list(made(Notes("b.txt", "a.txt"), ParquetTables())) == [
        "b.txt",
        "a.txt",
        "comparison.parquet",
        "hourly.parquet",
    ]


@pytest.mark.parametrize(
    "name",
    [
        "../notes.txt",
        "a/b.txt",
        "a\\b.txt",
        "/notes.txt",
        "..",
        ".hidden.txt",
        "Notes.txt",
        "notes",
        "notes.",
        "no tes.txt",
        "nötes.txt",
        "notes.txt\n",
        "manifest.json",
        f"{97 * 'x'}.txt",
        "",
        7,
    ],
)
def test_what_cannot_be_a_file_is_refused(name: object) -> None:
    with pytest.raises(ExtensionError) as caught:
        made(ParquetTables(), Notes(name))

    assert str(caught.value) == (
        f"reports[1]: cannot write a file called {name!r} (lower-case letters, digits, _ and -, "
        "then a dot and an ending of the same; no folder)"
    )


@pytest.mark.parametrize("name", ["notes.txt", "site_sheet-2.html", "a.b.json", f"{96 * 'x'}.txt"])
def test_what_may_be_a_file_is_written(name: str, tmp_path) -> None:
    written = folder.write_folder(tmp_path, made(Notes(name)), about=ABOUT)

    assert [p.name for p in written] == [name, "manifest.json"]
    assert folder.verify_folder(tmp_path) == [name]


def test_two_reports_of_one_file_are_both_named() -> None:
    with pytest.raises(ExtensionError) as caught:
        made(ParquetTables(), CsvTables(), Notes("comparison.csv"))

    assert str(caught.value) == (
        "reports[2]: 'comparison.csv' is written by reports[1] already (leave one of them out)"
    )


def test_a_report_that_fails_is_named() -> None:
    class Broken:
        def files(self, *_: object) -> dict[str, bytes]:
            raise FileNotFoundError("template.html")

    with pytest.raises(ExtensionError) as caught:
        made(CsvTables(), Broken())

    assert str(caught.value) == "reports[1]: Broken failed: FileNotFoundError: template.html"


def test_a_report_that_returns_no_names_is_named() -> None:
    class Listing:
        def files(self, *_: object) -> list[str]:
            return ["notes.txt"]

    with pytest.raises(ExtensionError) as caught:
        made(Listing())

    assert str(caught.value) == "reports[0]: Listing must return a mapping, got list"


def test_a_report_cannot_change_what_the_others_are_given() -> None:
    class Editor:
        def files(self, tables: dict, about: dict) -> dict[str, bytes]:
            tables.clear()
            about["warnings"].append("mine")
            about.clear()
            return {}

    assert made(Editor(), ParquetTables(), CsvTables()) == made(ParquetTables(), CsvTables())
    assert ABOUT["warnings"] == []


def test_a_text_is_not_a_file() -> None:
    with pytest.raises(ExtensionError) as caught:
        made(Notes("notes.txt", content="dry"))

    assert str(caught.value) == "reports[0]: 'notes.txt' must be bytes, got str"


def test_the_manifest_has_the_hash_of_every_file(tmp_path) -> None:
    written = write(tmp_path)

    manifest = json.loads((tmp_path / "manifest.json").read_text(encoding="utf-8"))

    assert written[-1] == tmp_path / "manifest.json"
    assert {p.name for p in tmp_path.iterdir()} == {p.name for p in written}
    assert set(manifest["outputs_sha256"]) == {p.name for p in written[:-1]}
    for name, digest in manifest["outputs_sha256"].items():
        assert folder.sha256(tmp_path / name) == digest


def test_two_runs_write_the_same_bytes(tmp_path) -> None:
    first, second = write(tmp_path / "a"), write(tmp_path / "b")

    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in second]


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
    folder.write_folder(tmp_path, made(CsvTables(hourly=True), Notes()), about=ABOUT)
    (tmp_path / "mine.txt").write_text("keep", encoding="utf-8")

    folder.write_folder(tmp_path, made(ParquetTables()), about=ABOUT)

    assert {p.name for p in tmp_path.iterdir()} == {
        "comparison.parquet",
        "hourly.parquet",
        "manifest.json",
        "mine.txt",
    }


def test_a_file_of_somebody_else_is_not_replaced_in_a_results_folder(tmp_path) -> None:
    write(tmp_path)
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")

    with pytest.raises(OutputError) as caught:
        folder.write_folder(tmp_path, made(Notes()), about=ABOUT)

    assert str(caught.value) == (
        f"{tmp_path}: holds files that are not results (choose an empty folder with --out)"
    )
    assert (tmp_path / "notes.txt").read_text(encoding="utf-8") == "mine"
    assert folder.verify_folder(tmp_path)


def test_a_manifest_cannot_make_anything_outside_its_folder_go(tmp_path) -> None:
    (tmp_path / "letter.txt").write_text("dear", encoding="utf-8")
    out = tmp_path / "out"
    out.mkdir()
    forged = {"schema_version": 1, "outputs_sha256": {"../letter.txt": "", "comparison.csv": ""}}
    (out / "manifest.json").write_text(json.dumps(forged), encoding="utf-8")

    write(out)

    assert (tmp_path / "letter.txt").exists()


@pytest.mark.parametrize(
    "reports",
    [
        pytest.param((CsvTables(),), id="CSV alone"),
        pytest.param((ParquetTables(), Notes("a.txt", "b.txt")), id="another's files last"),
    ],
)
def test_a_run_that_was_killed_is_not_in_the_way_of_the_next(reports, monkeypatch, tmp_path):
    """Die after all files but the manifest, and leave a half file as a killed process would."""
    files = made(*reports)
    left = len(files) + 1  # the mark before them
    real = os.fsync

    def fsync(number: int) -> None:
        nonlocal left
        if not left:
            raise KeyboardInterrupt
        left -= 1
        real(number)

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(KeyboardInterrupt):
        folder.write_folder(tmp_path, files, about=ABOUT)
    assert {*files, ".writing.json"} == {p.name for p in tmp_path.iterdir()}
    monkeypatch.undo()
    (tmp_path / ".comparison.csv.123-456.tmp").write_text("half", encoding="utf-8")

    written = folder.write_folder(tmp_path, made(CsvTables()), about=ABOUT)

    assert {p.name for p in tmp_path.iterdir()} == {p.name for p in written}


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


@pytest.mark.parametrize("nth", range(6))
def test_a_full_disk_leaves_no_half_file_and_no_manifest(nth: int, monkeypatch, tmp_path) -> None:
    """Fail the n-th flush to disk: mark, tables in Parquet, CSV and its schema, manifest."""
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

    assert folder.verify_folder(tmp_path) == sorted(p.name for p in written[:-1])


def test_one_changed_bit_is_noticed(tmp_path) -> None:
    write(tmp_path)
    path = tmp_path / "hourly.parquet"
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)

    with pytest.raises(InputError) as caught:
        folder.verify_folder(tmp_path)

    assert str(caught.value) == f"{path}: is not as it was written (compare again)"


def test_a_file_that_is_gone_is_named(tmp_path) -> None:
    write(tmp_path)
    (tmp_path / "comparison.csv").unlink()

    with pytest.raises(InputError) as caught:
        folder.verify_folder(tmp_path)

    path = tmp_path / "comparison.csv"
    assert str(caught.value) == f"{path}: cannot be read: No such file or directory"


def test_a_folder_without_manifest_is_not_whole(tmp_path) -> None:
    with pytest.raises(InputError) as caught:
        folder.verify_folder(tmp_path)

    assert str(caught.value) == (
        f"{tmp_path}: has no manifest of results "
        "(a folder whose writing was broken off has none; compare again)"
    )
