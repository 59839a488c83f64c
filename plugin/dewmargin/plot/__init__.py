"""Charts of results as matplotlib axes, for papers and for the page.

Each takes what `dewmargin.compare` returned, or a folder of results, and returns axes; no state of
matplotlib is touched. In a notebook, show the figure: ``load_duration(result).figure``.
They are loaded on first use, since matplotlib is slow to import.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from dewmargin.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from dewmargin.core.stored import Source
    from dewmargin.units import Units

# Charts of one option, by default the chosen one, and charts of all.
OF_ONE = ("setpoint_lines", "through_the_year", "load_duration", "humidity_map", "margin_map")
OF_ALL = ("strategies", "surface_hours", "water", "energy", "trade_off", "frontier")
NAMES = (*OF_ONE, *OF_ALL)
__all__ = ["NAMES", "draw", *NAMES]  # noqa: PLE0604 - NAMES are texts


def __getattr__(name: str) -> object:
    """Import a chart on first use."""
    if name not in NAMES:
        raise AttributeError(f"module 'dewmargin.plot' has no attribute {name!r}")
    return getattr(import_module("dewmargin.plot.charts"), name)


def draw(
    name: str, source: Source, *, option: str | None = None, units: Units | None = None
) -> Figure:
    """Return the figure of a chart.

    Parameters
    ----------
    name : str
        One of `NAMES`.
    source : Comparison or path
        Results, or the folder that they were written to.
    option : str, optional
        Of which option, for a chart of one; by default the one chosen.
    units : str, optional
        What its axes are in, "si" or "ip"; by default what the page of the results is in.

    Raises
    ------
    InputError
        If there is no such option, the chart is of all, or the results lack what it shows.
    """
    from dewmargin.core.stored import Data  # noqa: PLC0415 - idem
    from dewmargin.plot import charts, style  # noqa: PLC0415 - slow to import

    if option is not None and name in OF_ALL:
        raise InputError(f"{name} is a chart of all options", hint="leave --option out")
    chart = getattr(charts, name)
    data = Data.of(source).in_units(units)
    return style.figure_of(chart(data) if option is None else chart(data, option=option))
