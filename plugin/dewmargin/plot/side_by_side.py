"""Charts of several results side by side, on the same axes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dewmargin.plot import charts
from dewmargin.plot.style import figure, look, styled

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matplotlib.axes import Axes

    from dewmargin.core.stored import Data


def setpoint_panels(results: Mapping[str, Data]) -> list[Axes]:
    """Draw the chosen set-points of each below what its surfaces allow."""
    with styled():
        across = min(3, len(results))
        down = -(-len(results) // across)
        made = figure(0.5 + (2.6 if across < 3 else 2.0) * down)  # noqa: PLR2004 - wide panels
        panels = made.subplots(down, across, sharex=True, sharey=True, squeeze=False).ravel()
        for ax, (name, data) in zip(panels, results.items(), strict=False):
            charts.panel(ax, data, charts.chosen_option(data, None))
            ax.set_title(charts.short(name, 26))
        low = min(ax.get_xlim()[0] for ax in panels[: len(results)])
        high = max(ax.get_xlim()[1] for ax in panels[: len(results)])
        panels[0].set_xlim(low, high)
        for ax in panels[len(results) :]:
            ax.set_axis_off()
        first = next(iter(results.values()))
        made.supxlabel(first.shown("settings", "t_out_c").label("outdoors"), fontsize=9)
        made.supylabel(
            first.shown("settings", "rh_set_frac").label("relative humidity"), fontsize=9
        )
    return list(panels[: len(results)])


def demand_durations(results: Mapping[str, Data]) -> Axes:
    """Draw the demand of each chosen strategy, sorted, and what is delivered."""
    with styled():
        ax = figure(2.9).subplots()
        for i, (name, data) in enumerate(results.items()):
            option, kind = charts.chosen_option(data, None), look(i)
            rate = data.shown("duration", "demand_kg_h")
            hours, demand, given = (
                data.numbers("duration", column, option=option)
                for column in ("exceeded_h", "demand_kg_h", "delivered_kg_h")
            )
            of: dict[str, Any] = {"color": kind.colour, "marker": kind.mark}
            label = charts.short(name)
            ax.plot(hours, rate.of(demand), markevery=(i, 5), label=f"{label}: demand", **of)
            ax.plot(
                hours,
                rate.of(given),
                markevery=(i + 2, 5),
                dashes=(2, 1.5),
                lw=1.2,
                label=f"{label}: delivered",
                **of,
            )
            ax.set_ylabel(rate.unit)
        ax.set_xlabel(f"hours {charts.span(next(iter(results.values())))} with more")
        ax.set_ylim(0.0)
        ax.set_xlim(0.0)
        charts.legend(ax, ax.get_legend_handles_labels()[0], columns=2)
    return ax


def humidity_maps(results: Mapping[str, Data]) -> list[Axes]:
    """Draw the relative humidity of each room with its chosen option, hour by day."""
    with styled():
        made = figure(0.5 + min(1.75 * len(results), charts.TALLEST_IN))
        panels = made.subplots(len(results), 1, squeeze=False).ravel()
        for ax, (name, data) in zip(panels, results.items(), strict=True):
            charts.humidity_panel(ax, data, charts.chosen_option(data, None))
            ax.set_title(charts.short(name, 60))
        charts.humidity_legend(panels[-1], next(iter(results.values())))
    return list(panels)
