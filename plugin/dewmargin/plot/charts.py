"""The charts of a comparison: each takes results, or their folder, and returns matplotlib axes."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext
from itertools import pairwise
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator

from dewmargin.core.display import Shown, printable
from dewmargin.core.stored import Data, Source
from dewmargin.errors import InputError
from dewmargin.plot.style import (
    BLUE,
    CLOUD,
    DASHES,
    GREEN,
    HATCHES,
    INK,
    LINE,
    MARKS,
    MUTED,
    OCHRE,
    ORANGE,
    PAPER,
    PURPLE,
    SLATE,
    bare,
    figure,
    look,
    styled,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from dewmargin.columns import FloatArray

LONGEST_LABEL = 34
MOST_PANELS = 9
MOST_ROWS = 40
MONTHS = ("J", "F", "M", "A", "M", "J", "J", "A", "S", "O", "N", "D")
ROW_IN = 0.27
TALLEST_IN = 7.8  # so that a chart with its title fits a page of A4 or Letter
MOST_SURFACES = 4
TOO_SHORT = 0.04  # of the longest bar

# Brown is dry, blue-green humid; the edges of the comfort band lie in the middle of the scale.
HUMIDITY_COLOURS = ("#8c510a", "#cf9f4c", "#f0ddb0", "#bfe3dc", "#56ada3", "#01665e")
# Red is below the dew point.
MARGIN_COLOURS = ("#a50026", "#f46d43", "#fdd27f", "#d9eef5", "#8ab8d8", "#3f66ad")
MARGIN_EDGES = {"si": (-2.0, 0.0, 1.0, 3.0, 6.0), "ip": (-4.0, 0.0, 2.0, 5.0, 10.0)}  # K, °F


def chosen_option(data: Data, option: str | None) -> str:
    """Return an option of the results: the one named, the chosen, or the first with a humidifier.

    Raises
    ------
    InputError
        If there is no such option.
    """
    names = data.names("comparison", "option")
    if option is None:
        found: str = data.about.get("chosen") or names[min(1, len(names) - 1)]
        return found
    if option not in names:
        raise InputError(
            f"has no option {option!r}", where="results", hint=f"one of: {'; '.join(names)}"
        )
    return option


def span(data: Data) -> str:
    """Return what sums are of: a year, or the record where it is a part of one."""
    return "a year" if data.about["whole_year"] else "of the record"


def part(data: Data, option: str, name: str) -> str | None:
    """Return the strategy, equipment or supply of an option."""
    return data.texts("comparison", name, option=option)[0]


def setpoint_lines(source: Source, *, option: str | None = None, axes: Axes | None = None) -> Axes:
    """Draw what an option's strategy sets by outdoor temperature, below what the surfaces allow.

    Behind it are the hours of the year in which it is held: darker where there are more.

    Parameters
    ----------
    source : Comparison, path or Data
        Results, or the folder that they were written to.
    option : str, optional
        By default the one chosen.
    axes : matplotlib Axes, optional
        Where to draw; by default axes of a new figure.
    """
    data = Data.of(source).needing("comparison", "settings", "hourly")
    name = chosen_option(data, option)
    with _style(axes):
        ax = axes or _axes(3.3)
        panel(ax, data, name)
        ax.set_xlabel(data.shown("settings", "t_out_c").label("outdoors"))
        ax.set_ylabel(data.shown("settings", "rh_set_frac").label("relative humidity"))
        handles = [
            Line2D([], [], color=BLUE, marker="o", label=f"set: {short(_rule(data, name))}"),
            *(
                Line2D([], [], color=INK, dashes=_dash(i), label=f"limit: {short(surface)}")
                for i, surface in enumerate(_surfaces(data))
            ),
            Patch(color=CLOUD, alpha=0.5, lw=0, label="hours of the year"),
        ]
        legend(ax, handles)
    return ax


def strategies(source: Source, *, figure_: Figure | None = None) -> list[Axes]:
    """Draw every strategy's set-points in a panel of its own, on the chosen equipment and supply.

    Of more than nine, the chosen one and the first are drawn.
    """
    data = Data.of(source).needing("comparison", "settings", "hourly")
    options = one_a_strategy(data)
    with _style(figure_):
        n_rows = -(-len(options) // 3)
        made = figure_ or figure(0.5 + 1.85 * n_rows)
        panels = made.subplots(
            n_rows, min(3, len(options)), sharex=True, sharey=True, squeeze=False
        ).ravel()
        best = data.about.get("chosen")
        for i, ax in enumerate(panels):
            if i >= len(options):
                ax.set_axis_off()
                continue
            panel(ax, data, options[i])
            ax.set_title(short(_rule(data, options[i]), 26) + (" ✓" if options[i] == best else ""))
        made.supxlabel(data.shown("settings", "t_out_c").label("outdoors"), fontsize=9)
        made.supylabel(data.shown("settings", "rh_set_frac").label("relative humidity"), fontsize=9)
    return list(panels[: len(options)])


def through_the_year(
    source: Source, *, option: str | None = None, axes: Axes | None = None
) -> Axes:
    """Draw what an option demands and delivers, day by day."""
    data = Data.of(source).needing("comparison", "daily")
    name = chosen_option(data, option)
    days = data.column("daily", "date")[data.where("daily", option=name)]
    amount = data.shown("daily", "demand_kg")
    demand, given = (
        amount.of(data.numbers("daily", column, option=name))
        for column in ("demand_kg", "delivered_kg")
    )
    with _style(axes):
        ax = axes or _axes(2.7)
        x = np.arange(days.size)
        ax.fill_between(x, given, step="mid", color=BLUE, alpha=0.35, lw=0)
        ax.step(x, given, where="mid", color=BLUE, lw=0.9)
        ax.step(x, demand, where="mid", color=ORANGE, lw=0.9)
        ax.set_ylabel(f"{amount.unit} a day")
        ax.set_ylim(0.0)
        _months(ax, days)
        handles = [
            Line2D([], [], color=ORANGE, label="demand"),
            Patch(facecolor=BLUE, alpha=0.45, label="delivered"),
        ]
        legend(ax, handles)
    return ax


def load_duration(source: Source, *, option: str | None = None, axes: Axes | None = None) -> Axes:
    """Draw in how many hours how much is demanded, delivered, and could be delivered.

    The demand is that of an option's strategy; what could be delivered is of each equipment on each
    supply under it.
    """
    data = Data.of(source).needing("comparison", "duration")
    name = chosen_option(data, option)
    rate = data.shown("duration", "demand_kg_h")
    with _style(axes):
        ax = axes or _axes(2.9)
        for i, each in enumerate(under_one_strategy(data, name)):
            hours, demand, given, able = (
                data.numbers("duration", column, option=each)
                for column in ("exceeded_h", "demand_kg_h", "delivered_kg_h", "able_kg_h")
            )
            kind = look(i)
            if i == 0:
                ax.plot(hours, rate.of(demand), color=INK, lw=2.2, label="demand")
            label = short(_device(data, each))
            ax.plot(
                hours,
                rate.of(able),
                color=kind.colour,
                dashes=(1.5, 1.5),
                lw=1.3,
                marker=kind.mark,
                markevery=(i, 6),
                label=f"{label}: could give",
            )
            ax.plot(
                hours,
                rate.of(given),
                color=kind.colour,
                linestyle=kind.dash,
                marker=kind.mark,
                markevery=(i + 3, 6),
                label=f"{label}: gives",
            )
        ax.set_xlabel(f"hours {span(data)} with more")
        ax.set_ylabel(rate.unit)
        ax.set_ylim(0.0)
        longest = max(
            data.numbers("duration", "exceeded_h", option=each)[
                data.numbers("duration", column, option=each) > 0.0
            ].max(initial=0.0)
            for each in under_one_strategy(data, name)
            for column in ("demand_kg_h", "able_kg_h")
        )
        ax.set_xlim(0.0, max(1.1 * longest, 24.0))
        legend(ax, ax.get_legend_handles_labels()[0])
    return ax


def humidity_map(source: Source, *, option: str | None = None, axes: Axes | None = None) -> Axes:
    """Draw the room's relative humidity, hour by day."""
    data = Data.of(source).needing("comparison", "hourly")
    name = chosen_option(data, option)
    with _style(axes):
        ax = axes or _axes(2.3)
        humidity_panel(ax, data, name)
        humidity_legend(ax, data)
    return ax


def humidity_panel(ax: Axes, data: Data, option: str) -> None:
    """Draw the relative humidity of the room with an option, hour by day."""
    _map(
        ax,
        data.column("hourly", "interval_start")[data.where("hourly", option=option)],
        data.numbers("hourly", "rh_frac", option=option),
        _humidity_edges(data),
        HUMIDITY_COLOURS,
    )


def humidity_legend(ax: Axes, data: Data) -> None:
    """Say what the colours of such a map mean."""
    unit = data.shown("hourly", "rh_frac")
    _classes(ax, [unit.number(e) for e in _humidity_edges(data)], unit.unit, HUMIDITY_COLOURS)


def _humidity_edges(data: Data) -> FloatArray:
    comfort = data.about["scenario"]["comfort"]
    low, high = comfort["low_rh"], comfort["high_rh"]
    return np.array([low - 0.1, low, (low + high) / 2.0, high, high + 0.1])


def margin_map(source: Source, *, option: str | None = None, axes: Axes | None = None) -> Axes:
    """Draw the dew margin of the surface that has the least of the year, hour by day."""
    data = Data.of(source).needing("comparison", "surfaces", "surfaces_hourly")
    name = chosen_option(data, option)
    of = {"option": name, "surface": worst_surface(data, name)}
    edges = MARGIN_EDGES[data.units]
    unit = data.shown("surfaces_hourly", "dew_margin_k", decimals=0)
    with _style(axes):
        ax = axes or _axes(2.3)
        _map(
            ax,
            data.column("surfaces_hourly", "interval_start")[data.where("surfaces_hourly", **of)],
            unit.of(data.numbers("surfaces_hourly", "dew_margin_k", **of)),
            np.array(edges),
            MARGIN_COLOURS,
        )
        _classes(ax, [Shown("", 0).number(edge) for edge in edges], unit.unit, MARGIN_COLOURS)
    return ax


def worst_surface(data: Data, option: str) -> str:
    """Return the surface with the smallest dew margin of an option's year."""
    margins = data.numbers("surfaces", "worst_margin_k", option=option)
    found = data.texts("surfaces", "surface", option=option)[int(margins.argmin())]
    return found or ""


def surface_hours(source: Source, *, figure_: Figure | None = None) -> list[Axes]:
    """Draw the hours of condensation, with a film, and of run-off by surface and option.

    Of more than four surfaces, those with most such hours are drawn.
    """
    data = Data.of(source).needing("comparison", "surfaces")
    options = shown_options(data, baseline=True)
    kinds = (
        ("condensation_h", "condenses", ORANGE, ""),
        ("wet_h", "wet", BLUE, "///"),
        ("runoff_h", "runs off", INK, ""),
    )
    faces = most_wetted(data)
    longest = max(float(np.nanmax(data.numbers("surfaces", kind[0]))) for kind in kinds) or 1.0
    with _style(figure_):
        made = figure_ or figure(0.85 + _tall(1.2 * ROW_IN, options))
        panels = made.subplots(1, len(faces), sharey=True, sharex=True, squeeze=False).ravel()
        y = np.arange(len(options))
        for ax, surface in zip(panels, faces, strict=False):
            for k, (column, _, colour, hatch) in enumerate(kinds):
                values = _of_options(data, "surfaces", column, options, surface=surface)
                ax.barh(
                    y + 0.27 * (k - 1),
                    values,
                    0.25,
                    color=colour,
                    hatch=hatch,
                    edgecolor=PAPER,
                    lw=0,
                )
            of_all = [
                _of_options(data, "surfaces", column, options, surface=surface)
                for column, *_ in kinds
            ]
            for row, hours in enumerate(np.nanmax(of_all, axis=0)):
                if hours < TOO_SHORT * longest:  # a bar that no one sees
                    told = f" {hours:.0f}" if hours else " none"
                    ax.text(hours, row, told, va="center", color=MUTED, fontsize=8.5)
            _rows(ax, data, options)
            ax.set_title("\n".join(wrap(short(surface, 40), 60 // len(faces))))
            ax.set_xlabel(f"hours {span(data)}")
            ax.xaxis.set_major_locator(MaxNLocator(8 // len(faces)))
        handles = [
            Patch(facecolor=colour, hatch=hatch, edgecolor=PAPER, lw=0, label=label)
            for _, label, colour, hatch in kinds
        ]
        made.legend(handles=handles, loc="outside lower center", ncols=3)
    return list(panels)


def water(source: Source, *, figure_: Figure | None = None) -> list[Axes]:
    """Draw where each option's feed goes, evaporated or drained, and how it comes, cold or hot."""
    data = Data.of(source).needing("comparison")
    options = shown_options(data, baseline=False)

    def of(column: str) -> FloatArray:
        return _of_options(data, "comparison", column, options)

    panels_of = (
        (
            "where it goes",
            (("evaporated", of("evaporated_l"), BLUE), ("drained", of("drained_l"), SLATE)),
        ),
        (
            "how it comes",
            (
                ("unheated", of("feed_l") - of("hot_feed_l"), GREEN),
                ("heated", of("hot_feed_l"), ORANGE),
            ),
        ),
    )
    unit = data.shown("comparison", "feed_l")
    with _style(figure_):
        made = figure_ or figure(0.95 + _tall(ROW_IN, options))
        panels = made.subplots(1, 2, sharey=True, sharex=True)
        for ax, (title, parts) in zip(panels, panels_of, strict=True):
            _stacked(ax, parts)
            _rows(ax, data, options)
            ax.set_title(title)
            ax.set_xlabel(f"{unit.unit} {span(data)}")
        handles = [h for ax in panels for h in ax.get_legend_handles_labels()[0]]
        made.legend(handles=handles, loc="outside lower center", ncols=4)
    return list(panels)


def energy(source: Source, *, axes: Axes | None = None) -> Axes:
    """Draw the heat and electricity that each option takes, by where it is taken."""
    data = Data.of(source).needing("comparison")
    options = shown_options(data, baseline=False)
    kinds = (
        ("feed_heat_kwh", "heat of the feed", ORANGE),
        ("makeup_heat_kwh", "heat of the plant", BLUE),
        ("fan_kwh", "blower and fans", GREEN),
        ("device_kwh", "humidifier", PURPLE),
        ("fuel_kwh", "its fuel", OCHRE),
    )
    parts = [
        (label, _of_options(data, "comparison", column, options), colour)
        for column, label, colour in kinds
    ]
    unit = data.shown("comparison", "feed_heat_kwh")
    with _style(axes):
        ax = axes or _axes(0.95 + _tall(ROW_IN, options))
        _stacked(ax, [each for each in parts if np.nansum(np.abs(each[1])) > 0.0])
        _rows(ax, data, options)
        ax.set_xlabel(f"{unit.unit} {span(data)}")
        legend(ax, ax.get_legend_handles_labels()[0])
    return ax


def trade_off(source: Source, *, axes: Axes | None = None) -> Axes:
    """Draw every option's hours in the comfort band against its hours of condensation.

    Without surfaces it is the feed that the hours in the band are set against.
    """
    data = Data.of(source).needing("comparison")
    against = against_band(data)
    options = shown_options(data, baseline=True)
    x, y = (_of_options(data, "comparison", column, options) for column in (against, "band_h"))
    with _style(axes):
        ax = axes or _axes(3.3)
        order = np.lexsort((-y, x))
        best = np.maximum.accumulate(y[order])
        ax.step(x[order], best, where="post", color=MUTED, lw=1.0, zorder=1)
        rules = data.names("comparison", "strategy")
        kinds = [n for n in ("supply", "equipment") if len(data.names("comparison", n)) > 1][:1]
        first = {kind: data.names("comparison", kind)[0] for kind in kinds}
        second = [name for kind in kinds for name in data.names("comparison", kind)[1:]]
        handles: list[Line2D] = []
        for i, option in enumerate(options):
            rule = part(data, option, "strategy")
            if rule is None:
                style: dict[str, Any] = {"marker": "*", "color": INK, "ms": 9, "mfc": INK}
                label = option
            else:
                kind = look(rules.index(rule))
                mark = MARKS[rules.index(rule) % len(MARKS)]
                filled = all(part(data, option, of) == name for of, name in first.items())
                style = {"marker": mark, "color": kind.colour, "ms": 7}
                style["mfc"] = kind.colour if filled else "none"
                label = short(rule)
            (point,) = ax.plot(x[i], y[i], lw=0, mew=1.6, label=label, zorder=3, **style)
            if label not in [handle.get_label() for handle in handles]:
                handles.append(point)
        chosen = data.about.get("chosen")
        if chosen in options:
            at = options.index(chosen)
            ax.plot(x[at], y[at], marker="o", ms=16, mfc="none", mec=INK, mew=1.2, lw=0, zorder=2)
        for name in first.values():
            other = short(second[0] if len(second) == 1 else f"not {name}")
            for fill, words in ((MUTED, short(name)), ("none", other)):
                handles.append(
                    Line2D([], [], lw=0, marker="o", color=MUTED, mfc=fill, mew=1.6, label=words)
                )
        if against == "condensation_h" and options[0] == data.names("comparison", "option")[0]:
            extra_h = data.about["accepted"]["extra_condensation_h"]
            handles.append(
                ax.axvline(
                    x[0] + extra_h, color=ORANGE, linestyle=DASHES[1], lw=1.2, label="accepted"
                )
            )
        unit = data.shown("comparison", against)
        band = data.shown("comparison", "band_h")
        ax.set_xlabel(unit.label("condensation" if against == "condensation_h" else "water"))
        ax.set_ylabel(band.label("in the comfort band"))
        ax.margins(0.06)
        legend(ax, handles)
    return ax


def frontier(source: Source, *, axes: Axes | None = None) -> Axes:
    """Draw the set-point lines that no other beats, by the first two goals of their search."""
    data = Data.of(source).needing("frontier")
    up, across = (data.about["goals"] * 2)[:2]
    of_x, of_y = (data.shown("frontier", goal) for goal in (across, up))
    x, y = of_x.of(data.numbers("frontier", across)), of_y.of(data.numbers("frontier", up))
    chosen = data.column("frontier", "chosen").astype(bool)
    with _style(axes):
        ax = axes or _axes(3.0)
        order = np.argsort(x, kind="stable")
        ax.plot(x[order], y[order], color=BLUE, marker="o", lw=1.2, label="lines of the frontier")
        if chosen.any():
            ax.plot(
                x[chosen], y[chosen], "o", ms=13, mfc="none", mec=INK, mew=1.3, label="chosen line"
            )
        for goal, most in data.about["limits"].items():
            if goal == across:
                ax.axvline(float(of_x.of(most)), color=ORANGE, linestyle=DASHES[1], label="limit")
        ax.set_xlabel(f"{across.replace('_', ' ')}: {of_x.unit}")
        ax.set_ylabel(f"{up.replace('_', ' ')}: {of_y.unit}")
        ax.margins(0.08)
        legend(ax, ax.get_legend_handles_labels()[0])
    return ax


def against_band(data: Data) -> str:
    """Return the column that hours in the band are set against."""
    known = np.isfinite(data.numbers("comparison", "condensation_h")).any()
    return "condensation_h" if known else "feed_l"


def most_wetted(data: Data) -> list[str]:
    """Return the surfaces of a chart: of many, those with most hours of condensation and film."""
    names = data.names("surfaces", "surface")
    hours = {
        name: sum(
            float(data.numbers("surfaces", column, surface=name).sum())
            for column in ("condensation_h", "wet_h")
        )
        for name in names
    }
    most = sorted(names, key=lambda name: -hours[name])[:MOST_SURFACES]
    return [name for name in names if name in most]


def _tall(row_in: float, options: Sequence[str]) -> float:
    return min(row_in * len(options), TALLEST_IN)


def one_a_strategy(data: Data) -> list[str]:
    """Return an option of each strategy, on the equipment and supply of the chosen one.

    The chosen one is among them where there are more strategies than panels.
    """
    best = chosen_option(data, None)
    device = {name: part(data, best, name) for name in ("equipment", "supply")}
    rows = [
        option
        for option in data.names("comparison", "option")
        if part(data, option, "strategy") is not None
        and all(part(data, option, name) == is_ for name, is_ in device.items())
    ]
    others = [option for option in rows if option != best][: MOST_PANELS - 1]
    return [option for option in rows if option == best or option in others]


def under_one_strategy(data: Data, option: str) -> list[str]:
    """Return up to five options of the strategy of an option, that one first."""
    rule = part(data, option, "strategy")
    same = [
        each
        for each in data.names("comparison", "option")
        if part(data, each, "strategy") == rule and each != option
    ]
    return [option, *same[:4]]


def shown_options(data: Data, *, baseline: bool) -> list[str]:
    """Return the options of a chart of all: of many, those with most hours in the band."""
    names = data.names("comparison", "option")
    band = dict(zip(names, data.numbers("comparison", "band_h"), strict=True))
    humidified = [name for name in names if part(data, name, "strategy") is not None]
    most = sorted(humidified, key=lambda name: -band[name])[:MOST_ROWS]
    best = data.about.get("chosen")
    kept = {*most, *([best] if best else [])}
    return [n for n in names if n in kept or (baseline and n not in humidified)]


def _style(given: object) -> AbstractContextManager[None]:
    """Return our style, or nothing where someone draws into a figure of their own."""
    return styled() if given is None else nullcontext()


def _axes(height_in: float) -> Axes:
    return figure(height_in).subplots()


def short(text: str, longest: int = LONGEST_LABEL) -> str:
    """Return a name as a chart shows it: printable, and not too long."""
    clean = printable(text)
    return clean if len(clean) <= longest else f"{clean[: longest - 1]}…"


def _rule(data: Data, option: str) -> str:
    return part(data, option, "strategy") or option


def _device(data: Data, option: str) -> str:
    """Return what of equipment and supply tells options apart, or the equipment."""
    names = [
        part(data, option, name) or ""
        for name in ("equipment", "supply")
        if len(data.names("comparison", name)) > 1
    ]
    return " · ".join(names) or part(data, option, "equipment") or option


def _surfaces(data: Data) -> list[str]:
    return data.names("limits", "surface") if data.has("limits") else []


def _dash(i: int) -> tuple[float, ...]:
    return ((6, 2), (2, 1.5), (7, 2, 1.5, 2), (1, 1))[i % 4]


def panel(ax: Axes, data: Data, option: str) -> None:
    """Draw an option's set-points, the limits of the surfaces and the hours behind them."""
    t_out = data.shown("settings", "t_out_c", decimals=0)
    rh = data.shown("settings", "rh_set_frac")
    rule = part(data, option, "strategy")
    temperatures = t_out.of(data.numbers("settings", "t_out_c"))
    low, high = float(temperatures.min()), float(temperatures.max())
    _cloud(
        ax,
        t_out.of(data.numbers("hourly", "t_out_c", option=option)),
        rh.of(data.numbers("hourly", "rh_frac", option=option)),
        (low, high),
    )
    for i, surface in enumerate(_surfaces(data)):
        ax.plot(
            t_out.of(data.numbers("limits", "t_out_c", surface=surface)),
            rh.of(data.numbers("limits", "rh_max_frac", surface=surface)),
            color=INK,
            lw=1.3,
            dashes=_dash(i),
        )
    if rule is not None:
        ax.plot(
            t_out.of(data.numbers("settings", "t_out_c", strategy=rule)),
            rh.of(data.numbers("settings", "rh_set_frac", strategy=rule)),
            color=BLUE,
            marker="o",
            lw=2.2,
        )
    ax.set_xlim(low, high)
    ax.set_ylim(0.0, 70.0)


def _cloud(ax: Axes, x: FloatArray, y: FloatArray, span: tuple[float, float]) -> None:
    """Draw where the hours lie as a picture: a point an hour would be a large file."""
    high = 70.0
    cells = 60, 35
    count, _, _ = np.histogram2d(x, y, bins=cells, range=(span, (0.0, high)))
    share = np.sqrt(count / max(float(count.max()), 1.0)).T
    colour = np.array([int(CLOUD[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
    # Few steps of opacity: the picture packs well, and no one tells more apart.
    picture = np.empty((*share.shape, 4))
    picture[..., :3], picture[..., 3] = colour, np.ceil(share * 8.0) / 8.0 * 0.75
    ax.imshow(
        picture,
        extent=(*span, 0.0, high),
        origin="lower",
        aspect="auto",
        interpolation="none",
        zorder=0,
    )


def _map(
    ax: Axes, start: np.ndarray, values: FloatArray, edges: FloatArray, colours: Sequence[str]
) -> None:
    """Draw hours by day in classes of colour."""
    days = start.astype("datetime64[D]")
    first = days.min()
    row = (start - days).astype("timedelta64[h]").astype(int)
    column = (days - first).astype(int)
    grid = np.full((24, int(column.max()) + 1), np.nan)
    grid[row, column] = values
    norm = BoundaryNorm([-1e9, *edges, 1e9], len(colours))
    ax.imshow(
        grid,
        cmap=ListedColormap(colours),
        norm=norm,
        extent=(-0.5, grid.shape[1] - 0.5, 0.0, 24.0),
        origin="lower",
        aspect="auto",
        interpolation="none",
    )
    ax.yaxis.set_major_locator(FixedLocator([0, 6, 12, 18, 24]))
    ax.set_ylabel("hour of the day")
    ax.grid(visible=False)
    _months(ax, np.unique(days))


def _classes(ax: Axes, edges: Sequence[str], unit: str, colours: Sequence[str]) -> None:
    """Say what the colours of a map mean."""
    words = [
        f"below {edges[0]}",
        *(f"{low} to {high}" for low, high in pairwise(edges)),
        f"{edges[-1]} {unit} and more",
    ]
    handles = [
        Patch(facecolor=colour, edgecolor=MUTED, lw=0.5, label=word)
        for colour, word in zip(colours, words, strict=True)
    ]
    legend(ax, handles, columns=6, handlelength=1.2)


def _months(ax: Axes, days: np.ndarray) -> None:
    """Mark the months of a record whose days lie at 0, 1, 2 and so on."""
    months = days.astype("datetime64[M]")
    starts = np.flatnonzero(np.r_[True, months[1:] != months[:-1]])
    ends = np.r_[starts[1:], days.size]
    ax.xaxis.set_major_locator(FixedLocator([float(s) - 0.5 for s in starts]))
    ax.xaxis.set_minor_locator(FixedLocator(list((starts + ends) / 2.0 - 0.5)))
    letters = [MONTHS[int(m.astype(int)) % 12] for m in months[starts]]
    ax.xaxis.set_major_formatter(FuncFormatter(lambda *_: ""))
    ax.xaxis.set_minor_formatter(FuncFormatter(lambda _, at: letters[at or 0]))
    ax.tick_params(axis="x", which="minor", length=0, labelsize=8.5, labelcolor=INK)
    ax.set_xlim(-0.5, days.size - 0.5)


def _of_options(
    data: Data, table: str, column: str, options: Sequence[str], **equal: str
) -> FloatArray:
    """Return a number of each option, as it is shown."""
    unit = data.shown(table, column)
    found = dict(
        zip(
            data.texts(table, "option", **equal),
            data.numbers(table, column, **equal),
            strict=True,
        )
    )
    return unit.of([found[option] for option in options])


def _stacked(ax: Axes, parts: Sequence[tuple[str, FloatArray, str]]) -> None:
    """Draw bars of parts end to end; what takes less than nothing goes to the left."""
    right = np.zeros(len(parts[0][1])) if parts else np.zeros(0)
    left = right.copy()
    for i, (label, values, colour) in enumerate(parts):
        value = np.nan_to_num(values)
        start = np.where(value >= 0.0, right, left)
        ax.barh(
            np.arange(value.size),
            value,
            0.66,
            left=start,
            label=label,
            color=colour,
            hatch=HATCHES[i % len(HATCHES)],
            edgecolor=PAPER,
            lw=0.6,
        )
        right = right + np.maximum(value, 0.0)
        left = left + np.minimum(value, 0.0)
    for row, (total, most) in enumerate(zip(right + left, right, strict=True)):
        ax.text(most, row, f" {total:.0f}", va="center", color=INK, fontsize=8)
    ax.margins(x=0.12)


def _rows(ax: Axes, data: Data, options: Sequence[str]) -> None:
    """Name the rows of a chart: a strategy once, and beside it what else differs."""
    labels, before = [], None
    for option in options:
        rule = part(data, option, "strategy")
        varied = [n for n in ("equipment", "supply") if len(data.names("comparison", n)) > 1]
        device = short(" · ".join(part(data, option, n) or "" for n in varied), 24)
        if rule is None:
            labels.append(option)
        elif rule == before and device:
            labels.append(device)
        else:
            name = short(rule, 24)
            labels.append(f"{name} · {device}" if device else name)
        before = rule
    ax.set_yticks(np.arange(len(options)), labels)
    ax.set_ylim(len(options) - 0.5, -0.5)
    best = data.about.get("chosen")
    for option, label in zip(options, ax.get_yticklabels(), strict=False):
        if option == best:
            label.set_fontweight("bold")
    rules = [part(data, option, "strategy") for option in options]
    for i in range(1, len(options)):
        if rules[i] != rules[i - 1]:
            ax.axhline(i - 0.5, color=LINE, lw=0.6)
    ax.xaxis.set_major_locator(MaxNLocator(5))
    bare(ax)


def legend(
    ax: Axes, handles: Sequence[Any], *, columns: int = 3, handlelength: float = 3.2
) -> None:
    """Put the legend below a chart, where it hides nothing."""
    figure_ = ax.figure
    figure_.legend(
        handles=list(handles),
        loc="outside lower center",
        ncols=columns,
        handlelength=handlelength,
        columnspacing=1.4,
    )
