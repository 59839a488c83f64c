"""Results folder: what reports put into it, written so that no half file is ever seen."""

from __future__ import annotations

import contextlib
import copy
import hashlib
import json
import os
import platform
import re
import threading
from collections.abc import Mapping
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dewmargin.errors import DewmarginError, ExtensionError, InputError, OutputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.columns import Table
    from dewmargin.contracts import Report

SCHEMA_VERSION = 1
MANIFEST = "manifest.json"
# Names the files of a folder that is being written, so that one broken off is known for ours.
WRITING = ".writing.json"
LONGEST_FILE_NAME = 100
FILE_NAME_RULE = (
    "lower-case letters, digits, _ and -, then a dot and an ending of the same; no folder"
)
# Lower case: on some disks two names that differ in case are one file.
_FILE_NAME = re.compile(r"[a-z0-9][a-z0-9_-]*(\.[a-z0-9_-]+)+")
_TEMPORARY = re.compile(r"\..+\.[0-9-]+\.tmp")


def may_be_a_file(name: object) -> bool:
    """Tell whether a report may give a file this name: `FILE_NAME_RULE`, and not the manifest's."""
    return (
        isinstance(name, str)
        and len(name) <= LONGEST_FILE_NAME
        and _FILE_NAME.fullmatch(name) is not None
        and name != MANIFEST
    )


def is_temporary(name: str) -> bool:
    """Tell whether a name is of a file that was being written."""
    return _TEMPORARY.fullmatch(name) is not None


def files_of(
    reports: Sequence[Report], tables: Mapping[str, Table], about: Mapping[str, Any]
) -> dict[str, bytes]:
    """Return what all reports make, by file name, in the order of the reports.

    Raises
    ------
    ExtensionError
        If a report fails, a name cannot be one of a file, two reports give the same, or a content
        is not bytes.
    """
    found: dict[str, bytes] = {}
    writer: dict[str, int] = {}
    for i, report in enumerate(reports):
        where = f"reports[{i}]"
        for name, content in _made(report, tables, about, where).items():
            if not may_be_a_file(name):
                raise ExtensionError(
                    f"cannot write a file called {name!r}", where=where, hint=FILE_NAME_RULE
                )
            if name in found:
                raise ExtensionError(
                    f"{name!r} is written by reports[{writer[name]}] already",
                    where=where,
                    hint="leave one of them out",
                )
            if not isinstance(content, bytes):
                kind = type(content).__name__
                raise ExtensionError(f"{name!r} must be bytes, got {kind}", where=where)
            found[name], writer[name] = content, i
    return found


def _made(
    report: Report, tables: Mapping[str, Table], about: Mapping[str, Any], where: str
) -> Mapping[str, bytes]:
    """Return a report's files; what it does to its copies does not reach the others."""
    try:
        found = report.files(dict(tables), copy.deepcopy(about))
    except DewmarginError:
        raise
    except Exception as error:  # whatever a third party's report raises
        told = f"{type(report).__name__} failed: {type(error).__name__}: {error}"
        raise ExtensionError(told, where=where) from error
    if not isinstance(found, Mapping):
        kind = type(found).__name__
        raise ExtensionError(
            f"{type(report).__name__} must return a mapping, got {kind}", where=where
        )
    return found


def sha256(path: Path) -> str:
    """Return the SHA-256 of a file.

    Raises
    ------
    OSError
        If the file cannot be read.
    """
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def write_folder(out: Path, files: Mapping[str, bytes], *, about: Mapping[str, Any]) -> list[Path]:
    """Write all files and, last, the manifest with the hash of each.

    Parameters
    ----------
    out : Path
        Made if missing; an older results folder is replaced file by file.
    files : mapping of str to bytes
        As `files_of` returns them.
    about : mapping
        What the manifest says besides hashes.

    Raises
    ------
    OutputError
        If the folder holds something else, or a file cannot be written.
    """
    _prepare(out, set(files))
    for name, content in files.items():
        write_file(out / name, content)
    hashes = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
    _write_manifest(out, dict(about) | {"outputs_sha256": hashes})
    with contextlib.suppress(OSError):  # the next run takes it away
        (out / WRITING).unlink(missing_ok=True)
    return [out / name for name in (*files, MANIFEST)]


def replace_file(folder: Path, name: str, content: bytes, *, units: Mapping[str, str]) -> Path:
    """Write one file of a results folder anew, and its hash into the manifest.

    `units` are the file's, by its kind.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    manifest = _json(folder / MANIFEST)
    hashes = dict(manifest["outputs_sha256"]) | {name: hashlib.sha256(content).hexdigest()}
    write_file(folder / name, content)
    told = {"units": dict(manifest.get("units", {})) | dict(units)}
    _write_manifest(folder, manifest | told | {"outputs_sha256": hashes})
    return folder / name


def _write_manifest(out: Path, manifest: Mapping[str, Any]) -> None:
    text = json.dumps(manifest, indent=1, sort_keys=True, default=str, ensure_ascii=False) + "\n"
    write_file(out / MANIFEST, text.encode("utf-8"))


def verify_folder(folder: Path, *, but: str | None = None) -> list[str]:
    """Check a results folder against its manifest; return the names of its files.

    The file `but` may be missing or another: it is to be made again.

    Raises
    ------
    InputError
        If there is no manifest, or a file is missing or not as it was written.
    """
    manifest = _json(folder / MANIFEST)
    if not _is_manifest(manifest):
        hint = "a folder whose writing was broken off has none; compare again"
        raise InputError("has no manifest of results", file=folder, hint=hint)
    written = manifest["outputs_sha256"]
    if not isinstance(written, dict):
        raise InputError("lists no files", file=folder / MANIFEST)
    for name, digest in written.items():
        if name == but:
            continue
        path = folder.joinpath(*_places(str(name)))
        try:
            found = sha256(path)
        except OSError as error:
            raise InputError(f"cannot be read: {error.strerror}", file=path) from error
        if found != digest:
            raise InputError("is not as it was written", file=path, hint="compare again")
    return list(written)


def units_of(folder: Path) -> dict[str, str]:
    """Return the units of what people read in a results folder, by kind of file."""
    return dict(_json(folder / MANIFEST).get("units", {}))


def _places(name: str) -> list[str]:
    """Return folder and file of a name; one that leads out of the folder leads nowhere."""
    places = name.split("/")
    return [Path(place).name for place in places if place not in ("", ".", "..")]


def versions() -> dict[str, str]:
    """Return the versions that made a result."""
    return dict(_versions())


@cache
def _versions() -> dict[str, str]:
    found = {"python": platform.python_version()}
    for name in ("dewmargin", "numpy", "numba", "pyarrow"):
        with contextlib.suppress(PackageNotFoundError):
            found[name] = version(name)
    return found


def _prepare(out: Path, names: set[str]) -> None:
    """Make the folder; in an older results folder, drop what will not be written again."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        found = {path.name for path in out.iterdir()}
        manifest, broken_off = _json(out / MANIFEST), _json(out / WRITING)
        whole = _is_manifest(manifest)
        listed = _file_names(manifest["outputs_sha256"]) if whole else set()
        listed |= _file_names(broken_off.get("files"))
        leftover = {name for name in found if is_temporary(name)}
        strangers = found - listed - leftover - {WRITING} - ({MANIFEST} if whole else set())
        # Beside whole results others may lie, unless a report would replace them.
        if strangers and not (whole and strangers.isdisjoint(names)):
            raise OutputError(
                f"{out}: holds files that are not results (choose an empty folder with --out)"
            )
        mark = json.dumps({"files": sorted(listed | names)})
        write_file(out / WRITING, mark.encode("utf-8"))
        # While the files change there is no manifest, so a broken run is never taken for whole.
        for name in {MANIFEST, *listed, *leftover} - names:
            (out / name).unlink(missing_ok=True)
    except OSError as error:
        raise OutputError(f"{out}: cannot be written: {error.strerror}") from error


def _json(path: Path) -> dict[str, Any]:
    """Return a JSON object; empty if the file is missing or something else."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return content if isinstance(content, dict) else {}


def _is_manifest(content: Mapping[str, Any]) -> bool:
    return {"schema_version", "outputs_sha256"} <= content.keys()


def _file_names(listed: object) -> set[str]:
    """Return the names in a list that may be of results: nothing outside the folder is touched."""
    return set(filter(may_be_a_file, listed)) if isinstance(listed, (list, dict)) else set()


def write_file(path: Path, content: bytes) -> None:
    """Write to a temporary name, flush to disk, rename; the final name never holds half a file.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    temporary = path.with_name(f".{path.name}.{os.getpid()}-{threading.get_ident()}.tmp")
    try:
        with temporary.open("wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.replace(path)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror or error}") from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
