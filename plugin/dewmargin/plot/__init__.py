"""Charts of results as matplotlib axes, for papers and for the page.

Each takes what `dewmargin.compare` returned, or a folder of results, and returns axes; no state of
matplotlib is touched. In a notebook, show the figure: ``load_duration(result).figure``.
"""

from __future__ import annotations

from dewmargin.plot.charts import (
    energy,
    frontier,
    humidity_map,
    load_duration,
    margin_map,
    setpoint_lines,
    strategies,
    surface_hours,
    through_the_year,
    trade_off,
    water,
)

__all__ = [
    "energy",
    "frontier",
    "humidity_map",
    "load_duration",
    "margin_map",
    "setpoint_lines",
    "strategies",
    "surface_hours",
    "through_the_year",
    "trade_off",
    "water",
]
