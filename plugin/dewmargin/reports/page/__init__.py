"""The page of results: one file that needs no network, no script and no explanation."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from dewmargin.core.stored import Data
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs
from dewmargin.reports import folder as results_folder

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from dewmargin.columns import Table
    from dewmargin.units import Units

FILE = "report.html"
NEEDED = {"given", "defaults"}  # what a page asks of a manifest


class Page(Inputs):
    """A page with the answer, charts, their numbers, and what they rest on."""

    kind: Literal["page"] = "page"

    def files(self, tables: Mapping[str, Table], about: Mapping[str, Any]) -> Mapping[str, bytes]:
        """Return the page."""
        from dewmargin.reports.page.content import page  # noqa: PLC0415 - slow to import

        return {FILE: page(Data(tables, about)).encode("utf-8")}


def again(folder: Path, out: Path | None = None, *, units: Units | None = None) -> Path:
    """Make the page of a results folder again, in it or as another file.

    By default it is in the units that it had.

    Raises
    ------
    InputError
        If the folder holds no results, or they are not as they were written.
    OutputError
        If the page cannot be written.
    """
    from dewmargin.reports.page.content import page  # noqa: PLC0415 - slow to import

    data = _data(folder).in_units(units)
    content = page(data).encode("utf-8")
    if out is None:
        return results_folder.replace_file(folder, FILE, content, units={"page": data.units})
    results_folder.write_file(out, content)
    return out


def several(folders: Sequence[Path], out: Path, *, units: Units | None = None) -> Path:
    """Make one page of several results folders, side by side; by default in the first's units.

    Raises
    ------
    InputError
        If a folder holds no results of a comparison, or they do not go together.
    OutputError
        If the page cannot be written.
    """
    from dewmargin.reports.page import side_by_side  # noqa: PLC0415 - slow to import

    names = side_by_side.named(folders)
    found = {folder: _data(folder) for folder in folders}
    side_by_side.require_alike(found)
    units = units or found[folders[0]].units
    alike = [data.in_units(units) for data in found.values()]
    content = side_by_side.page(dict(zip(names, alike, strict=True)))
    results_folder.write_file(out, content.encode("utf-8"))
    return out


def _data(folder: Path) -> Data:
    """Read results that are whole and of this version."""
    results_folder.verify_folder(folder, but=FILE)
    data = Data.of(folder)
    version = data.about["schema_version"]
    if version != results_folder.SCHEMA_VERSION or not data.about.keys() >= NEEDED:
        raise InputError("was written by another version", file=folder, hint="compare again")
    if not (data.has("comparison") or data.has("frontier")):
        hint = "a page is made of the results of `compare` or `frontier`"
        raise InputError("has nothing to make a page of", file=folder, hint=hint)
    return data
