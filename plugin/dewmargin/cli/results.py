"""Commands that take up a folder of results again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from dewmargin.cli import options
from dewmargin.cli.documents import print_json
from dewmargin.plot import NAMES, draw

if TYPE_CHECKING:
    from dewmargin.units import Units


@click.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@options.as_json
def verify(*, folder: Path, as_json: bool) -> None:
    """Check that the results in FOLDER are whole and as they were written."""
    from dewmargin.reports.folder import units_of, verify_folder

    names, units = verify_folder(folder), units_of(folder)
    if as_json:
        print_json("verify", {"folder": str(folder), "files": names, "units": units})
        return
    told = ", ".join(f"{of} in {each}" for of, each in sorted(units.items()))
    also = f"; Parquet in si, {told}" if told else ""
    click.echo(f"{folder}: whole, {len(names)} files as they were written{also}")


@click.command()
@click.argument(
    "folders", nargs=-1, required=True, type=click.Path(file_okay=False, path_type=Path)
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="File to write. Default for one folder: its report.html.",
)
@options.other_units
@options.as_json
def report(
    *, folders: tuple[Path, ...], out: Path | None, units: Units | None, as_json: bool
) -> None:
    """Make the page of the results in a folder again; of several folders, one side by side.

    Everything is taken from the tables and the manifest that lie there.
    """
    from dewmargin.reports import page

    if len(folders) == 1:
        written = page.again(folders[0], out, units=units)
    elif out is None:
        raise click.UsageError("Several folders make a new page: name it with --out FILE.")
    else:
        written = page.several(folders, out, units=units)
    if as_json:
        print_json("report", {"file": str(written)})
        return
    click.echo(written)


@click.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.argument("name", metavar="NAME", type=click.Choice(NAMES))
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="File to write, ending in .pdf, .svg or .png.",
)
@click.option("--option", metavar="NAME", help="For a chart of one option. Default: the chosen.")
@options.other_units
@options.as_json
def figure(
    *,
    folder: Path,
    name: str,
    out: Path,
    option: str | None,
    units: Units | None,
    as_json: bool,
) -> None:
    """Draw one chart of the results in FOLDER as a file of its own, for a paper."""
    from dewmargin.plot import style
    from dewmargin.reports.folder import verify_folder, write_file

    kind = out.suffix.lower().removeprefix(".")
    if kind not in style.KINDS:
        raise click.BadParameter("must end in .pdf, .svg or .png", param_hint="'--out'")
    verify_folder(folder)
    write_file(out, style.content(draw(name, folder, option=option, units=units), kind))
    if as_json:
        print_json("figure", {"file": str(out)})
        return
    click.echo(out)
