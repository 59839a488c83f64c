"""Options that several commands have, and amounts that are typed with a unit."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable

_SYSTEMS = ("si", "ip")  # as in `dewmargin.units`, which loads numpy

as_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
units = click.option(
    "--units",
    type=click.Choice(_SYSTEMS),
    default="si",
    show_default=True,
    help="What tables, page and CSV are in; ip: °F, gal, lb, kBtu. JSON and Parquet stay SI.",
)
other_units = click.option(
    "--units", type=click.Choice(_SYSTEMS), help="Default: those in which it was written."
)
scenario = click.argument("scenario", type=click.Path(dir_okay=False, path_type=Path))


def out_folder(text: str) -> Callable[[Any], Any]:
    """Return an option for the folder that results are written to; without it they are printed."""
    return click.option("--out", type=click.Path(file_okay=False, path_type=Path), help=text)


# Units as the conversion library spells them, where it differs from what is shown.
_SPELT = {
    "°C": "degC",
    "m2": "m**2",
    "Ω": "Ω",
    "min": "minute",
    "l/min": "L/min",
    "kg/h": "kg/hour",
}


def amount(name: str, unit: str, text: str, **more: Any) -> Callable[[Any], Any]:  # noqa: ANN401 - click's
    """Return an option that takes a number in `unit`, or a text with another unit of its kind."""

    def read(given: str | float) -> float:
        return _read_flow(given) if unit == "kg/h" else _read(given, unit)

    return click.option(name, type=read, metavar=unit, help=text, **more)


def _read(text: str | float, unit: str) -> float:
    """Read a number in `unit`, or a text with another unit of the kind."""
    from dewmargin.inputs import quantity

    try:
        number = float(text)
    except ValueError:
        try:
            return quantity(str(text), _SPELT.get(unit, unit))
        except ValueError as error:
            raise click.BadParameter(str(error)) from error
    if not math.isfinite(number):
        raise click.BadParameter(f"{text} is no finite number")
    return number


def _read_flow(text: str | float) -> float:
    """Read a flow of water in kg/h: also by volume, or by the time that half a litre takes."""
    from dewmargin.site.site_file import catch_kg_h

    try:
        found = catch_kg_h(str(text))
    except ValueError as error:
        raise click.BadParameter(str(error)) from error
    return _read(text, "kg/h") if found is None else found
