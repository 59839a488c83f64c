"""Terminal tables: rich where they can be shown, plain ASCII where they cannot."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, TextIO

import numpy as np
from rich import box
from rich.console import Console
from rich.markup import escape
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table as RichTable
from rich.text import Text

from dewmargin.columns import COMPARISON
from dewmargin.core.display import Shown, shown
from dewmargin.core.extensions import OK
from dewmargin.units import conversion, in_units

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from dewmargin.columns import Table
    from dewmargin.core.extensions import Installed
    from dewmargin.units import Units

# Heading and column; what a person compares, most important first. Its unit is put below it.
SHOWN = (
    ("given", "delivered_kg"),
    ("short", "shortfall_h"),
    ("feed", "feed_l"),
    ("feed", "feed_l_per_kg"),
    ("dry", "dry_h"),
    ("band", "band_h"),
    ("cond.", "condensation_h"),
    ("min.", "worst_margin_k"),
)
# What each takes; columns in which nothing is known or taken are left out.
TAKEN = (
    ("feed", "feed_l"),
    ("hot", "hot_feed_l"),
    ("feed\nheat", "feed_heat_kwh"),
    ("room\nheat", "makeup_heat_kwh"),
    ("fan", "fan_kwh"),
    ("device", "device_kwh"),
    ("fuel", "fuel_kwh"),
    ("cost", "cost"),
    ("CO2", "co2_kg"),
)
# What a surface goes through.
OF_SURFACES = (
    ("cond.", "condensation_h"),
    ("wet", "wet_h"),
    ("seen", "visible_h"),
    ("runs", "runoff_h"),
    ("frost", "frost_h"),
    ("spell", "longest_wet_h"),
    ("film", "film_max_g_m2"),
    ("min.", "worst_margin_k"),
    ("mould\n0-6", "mould_index_max"),
)
MISSING = "-"
WHOLE = Shown("", 0)
NARROWEST = 80
LEAST_NAME = 8  # letters of a name, before it folds
GAP = 2  # beside a column: its padding and the box's line


def console(stream: TextIO | None = None) -> Console:
    """Return a console that respects NO_COLOR, pipes and terminals without Unicode."""
    out = Console(file=stream or sys.stdout, highlight=False, soft_wrap=False)
    # A narrower table would lose columns: better that the terminal breaks the lines.
    out.width = max(out.width, NARROWEST)
    return out


def print_lines(out: Console, lines: Iterable[str], *, style: str = "") -> None:
    """Print lines as they are: brackets in names are no markup."""
    for line in lines:
        # Piped lines stay whole: a path or a line of a model is to be copied.
        out.print(Text(_plain(out, line), style=style), soft_wrap=not out.is_terminal)


def print_comparison(out: Console, table: Table, units: Units = "si") -> None:
    """Print one line an option, grouped by strategy; what all options share is said once."""
    varied = _varied(table)
    shared = [
        f"{name}: {next(value for value in table.data[name] if value is not None)}"
        for name in ("equipment", "supply")
        if name not in varied
    ]
    print_lines(out, ["; ".join(shared)] if shared else [])
    _print_options(out, table, varied, SHOWN, range(len(table.data["option"])), units)


def print_taken(out: Console, table: Table, units: Units = "si") -> None:
    """Print what each option takes: water, heat, electricity, money, carbon, as far as known."""
    taken = [each for each in TAKEN if any(table.data[each[1]])]
    if all(name in ("feed_l", "hot_feed_l") for _, name in taken):
        return
    print_lines(out, ["Water, heat (of the water heater, of the plant), and energy:"])
    humidified = [i for i, name in enumerate(table.data["strategy"]) if name is not None]
    _print_options(out, table, _varied(table), taken, humidified, units)


def _varied(table: Table) -> list[str]:
    """Return the kinds of names by which options differ, the strategy first."""
    return ["strategy"] + [
        name
        for name in ("equipment", "supply")
        if len({value for value in table.data[name] if value is not None}) > 1
    ]


def _print_options(
    out: Console,
    table: Table,
    names: list[str],
    headed: Sequence[tuple[str, str]],
    rows: Sequence[int],
    units: Units,
) -> None:
    """Print a line an option of `rows`; a name is said where it, or one before it, changes.

    Three columns of names would leave too little for the numbers: the strategy is then a heading
    above a table of its own.
    """
    n = len(table.data["option"])
    ways = _ways(table, headed, units)
    numbers = [[_number(table.data[name][i], way) for (_, name), way in ways] for i in range(n)]
    heads = [_head(out, head, way) for (head, _), way in ways]
    labels = [
        [table.data[name][i] or "" for name in names]
        if table.data["strategy"][i] is not None
        else [table.data["option"][i], *[""] * (len(names) - 1)]
        for i in range(n)
    ]
    apart = len(names) > 2  # noqa: PLR2004 - strategy, equipment and supply
    groups: dict[str, list[int]] = {}
    for i in rows:
        groups.setdefault(labels[i][0] if apart else "", []).append(i)
    widths = [max(len(row[k]) for row in numbers) for k in range(len(ways))]
    head_widths = [max(map(len, head.split("\n"))) for head in heads]
    for heading, of_group in groups.items():
        print_lines(out, [f"{heading}:"] if apart else [])
        shape = _shape(out)
        used = names[1:] if apart else names
        # What does not fit folds names, not numbers.
        room = out.width - sum(GAP + max(pair) for pair in zip(head_widths, widths, strict=True))
        longest = [max(len(label[names.index(name)]) for label in labels) for name in used]
        fits = [min(max(n, len(name)), 18) for n, name in zip(longest, used, strict=True)]
        while sum(fits) + GAP * len(fits) > room and max(fits) > LEAST_NAME:
            fits[fits.index(max(fits))] -= 1
        for name, width in zip(used, fits, strict=True):
            shape.add_column(name, overflow="fold", min_width=width)
        for head, width in zip(heads, widths, strict=True):
            shape.add_column(Text(head), justify="right", no_wrap=True, min_width=width)
        before: list[str] = []
        for i in of_group:
            cells = labels[i][len(names) - len(used) :]
            same = 0
            while same < min(len(before), len(cells) - 1) and before[same] == cells[same]:
                same += 1
            shape.add_row(*map(Text, [*[""] * same, *cells[same:]]), *numbers[i])
            before = cells
        out.print(shape)


def print_by_outdoor_temperature(out: Console, table: Table, of: str, percent: str) -> None:
    """Print whole per cent by outdoor temperature, in °C and °F, a column for each of `of`."""
    names = list(dict.fromkeys(table.data[of]))
    rows: dict[tuple[float, float], dict[str, int]] = {}
    for i, name in enumerate(table.data[of]):
        key = (table.data["t_out_c"][i], table.data["t_out_f"][i])
        rows.setdefault(key, {})[name] = table.data[percent][i]
    shape = _shape(out)
    shape.add_column(_plain(out, "outdoors\n°C"), justify="right", no_wrap=True)
    shape.add_column(_plain(out, "\n°F"), justify="right", no_wrap=True)
    for name in names:
        shape.add_column(Text(f"{name}, %"), justify="right", overflow="fold")
    for (t_c, t_f), held in sorted(rows.items()):
        cells = [_number(held.get(name), WHOLE) for name in names]
        shape.add_row(_number(t_c, WHOLE), _number(t_f, WHOLE), *cells)
    out.print(shape)


def print_surfaces(out: Console, table: Table, option: str, units: Units = "si") -> None:
    """Print what each surface goes through in an option."""
    rows = [i for i, name in enumerate(table.data["option"]) if name == option]
    shape = _shape(out)
    longest = max(len(table.data["surface"][i]) for i in rows)
    # What does not fit folds the surface's name, not the numbers.
    shape.add_column("surface", overflow="fold", min_width=min(longest, 18))
    ways = _ways(table, OF_SURFACES, units)
    _add_numbers(out, shape, ways)
    for i in rows:
        numbers = [_number(table.data[name][i], way) for (_, name), way in ways]
        shape.add_row(Text(table.data["surface"][i]), *numbers)
    out.print(shape)


# What tells lines of set-points apart.
OF_LINES = (
    ("band", "band_h"),
    ("below", "below_band_percent_h"),
    ("cond.", "condensation_h"),
    ("runs", "runoff_h"),
    ("given", "delivered_kg"),
    ("feed", "feed_l"),
    ("cost", "cost"),
)
MOST_INPUTS = 5  # that are told of
MOST_LINES = 40  # more is for the file


def print_frontier(
    out: Console,
    table: Table,
    names: Sequence[str],
    units: Units = "si",
    *,
    currency: str | None = None,
) -> None:
    """Print a line of set-points each, the chosen one marked; of many, some at even distances."""
    n = len(names)
    chosen = [i for i in range(n) if table.data["chosen"][i]]
    every = -(-n // MOST_LINES)
    rows = sorted({*range(0, n, max(every, 1)), *chosen})
    shape = _shape(out)
    shape.add_column("line", overflow="fold", min_width=18)
    ways = _ways(table, OF_LINES, units, currency=currency)
    _add_numbers(out, shape, ways)
    for i in rows:
        numbers = [_number(_known(table.data[name][i]), way) for (_, name), way in ways]
        shape.add_row(Text(("> " if i in chosen else "") + names[i]), *numbers)
    out.print(shape)
    if len(rows) < n:
        print_lines(out, [f"{len(rows)} of {n} lines are shown."])


LOADS_OF = (
    ("peak", "demand_peak_kg_h"),
    ("0.4 %", "demand_p996_kg_h"),
    ("1 %", "demand_p99_kg_h"),
    ("2.5 %", "demand_p975_kg_h"),
    ("5 %", "demand_p95_kg_h"),
    ("after\nset-back", "demand_after_setback_kg_h"),
)
SIZES_OF = (
    ("units", "units"),
    ("size", "factor"),
    ("short", "units_short_h"),
    ("rated\na day", "rated_kg_day"),
    ("able\na day", "able_kg_day"),
    ("feed", "feed_l_min"),
    ("drain", "drain_l_min"),
    ("power", "electric_w"),
)


def print_loads(out: Console, loads: Table, design: Table, units: Units = "si") -> None:
    """Print a line a strategy: what its hours demand, and its steady load at design humidity."""
    print_lines(out, ["Load: the largest hour, and what a part of all hours exceeds:"])
    shape = _shape(out)
    shape.add_column("strategy", overflow="fold", min_width=LEAST_NAME)
    ways = _ways(loads, LOADS_OF, units)
    _add_numbers(out, shape, ways)
    for i, name in enumerate(loads.data["strategy"]):
        cells = [_number(loads.data[column][i], way) for (_, column), way in ways]
        shape.add_row(Text(name), *cells)
    out.print(shape)
    if not design.data["strategy"]:
        return
    print_lines(out, ["Steady load at the design dew points of the climate:"])
    data = design.data
    (_, load), (_, dew) = _ways(design, (("", "load_kg_h"), ("", "dew_point_c")), units)
    levels = dict.fromkeys(zip(data["source"], data["level_percent"], strict=True))
    shape = _shape(out)
    shape.add_column("strategy", overflow="fold", min_width=LEAST_NAME)
    found: dict[str, list[str]] = {}
    for strategy, load_kg_h in zip(data["strategy"], data["load_kg_h"], strict=True):
        found.setdefault(strategy, []).append(_number(load_kg_h, load))
    for k, (source, level) in enumerate(levels):
        at = f"{_number(data['dew_point_c'][k], dew)} {dew.unit}"
        head = _head(out, f"{source}\n{level:g} %\n{at}", load)
        shape.add_column(Text(head), justify="right", no_wrap=True)
    for strategy, cells in found.items():
        shape.add_row(Text(strategy), *cells)
    out.print(shape)


def print_sizes(out: Console, table: Table, units: Units = "si") -> None:
    """Print a line an option: units, size of the given one, and what it takes."""
    print_lines(out, ["Least number of units, least size (1 is what the scenario has), and what"])
    print_lines(out, ["one unit is rated for and can give on the day of the largest demand:"])
    _print_options(out, table, _varied(table), SIZES_OF, range(len(table.data["option"])), units)


SPREAD_OF = (("band", "band_h"), ("cond.", "condensation_h"), ("feed", "feed_l"))
LIMIT_WIDTH = 7
LIMIT_WORDS = {"condensation_h": "cond. h", "extra_condensation_h": "extra cond. h"}


def print_spread(out: Console, spread: Table, breaks: Table, units: Units = "si") -> None:
    """Print for each option the median and the middle 80 % of what matters, and broken limits."""
    known = {column.name: conversion(column, units).column for column in COMPARISON}
    heads = [(head, known[name]) for head, name in SPREAD_OF]
    spread, breaks = in_units(spread, units), in_units(breaks, units)
    cells: dict[str, dict[str, str]] = {}
    rows = zip(
        *(spread.data[name] for name in ("option", "number", "p10", "p50", "p90")), strict=True
    )
    for option, number, low, middle, high in rows:
        cells.setdefault(option, {})[number] = f"{middle:.0f}\n{low:.0f}..{high:.0f}"
    limits: dict[str, str] = {}
    for option, number, most, share in zip(
        *(breaks.data[name] for name in ("option", "number", "most", "broken_frac")), strict=True
    ):
        word = LIMIT_WORDS.get(number, number.replace("_", " "))
        limits.setdefault(number, f"{word} > {most:.4g}")
        cells[option][f"> {number}"] = MISSING if share is None else f"{100.0 * share:.0f} %"
    chosen = dict(zip(breaks.data["option"], breaks.data["chosen_frac"], strict=True))
    shape = _shape(out)
    shape.add_column("option", overflow="fold", min_width=18)
    for head, column in heads:
        shape.add_column(Text(f"{head} {column.unit}\n10..90 %"), justify="right", no_wrap=True)
    for head in limits.values():
        shape.add_column(Text(head), justify="right", overflow="fold", max_width=LIMIT_WIDTH)
    shape.add_column("chosen", justify="right", no_wrap=True)
    for option, found in cells.items():
        numbers = [found.get(column.name, MISSING) for _, column in heads]
        broken = [found.get(f"> {name}", MISSING) for name in limits]
        share = chosen.get(option)
        shape.add_row(
            Text(option), *numbers, *broken, MISSING if share is None else f"{100.0 * share:.0f} %"
        )
    out.print(shape)


def print_sensitivity(out: Console, table: Table, of: Sequence[tuple[str, str]]) -> None:
    """Print which inputs matter most for the numbers of options told by `of`."""
    names = ("option", "number", "input", "total_frac", "first_order_frac")
    rows = list(zip(*(table.data[name] for name in names), strict=True))
    for option, number in of:
        mine = [row for row in rows if row[:2] == (option, number)]
        if not mine:
            continue
        print_lines(out, [f"What decides over {number} of {option}:"])
        shape = _shape(out)
        shape.add_column("input", overflow="fold", min_width=18)
        shape.add_column(Text("share of variance"), justify="right", no_wrap=True)
        shape.add_column(Text("alone"), justify="right", no_wrap=True)
        for _, _, name, total, alone in mine[:MOST_INPUTS]:
            shape.add_row(Text(name), f"{100.0 * total:.0f} %", f"{100.0 * alone:.0f} %")
        out.print(shape)


def _known(value: float | None) -> float | None:
    return None if value is None or np.isnan(value) else value


@contextmanager
def progress(what: str, total: float | None) -> Iterator[Callable[..., None]]:
    """Show progress on a terminal's standard error; silent when piped.

    Yields what is to be told how much is done, and a number more to show.
    """
    err = Console(stderr=True)
    columns = Progress.get_default_columns() if total is not None else (
        SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn()
    )  # fmt: skip
    with Progress(*columns, console=err, transient=True, disable=not err.is_terminal) as shown:
        task = shown.add_task(escape(what), total=total)

        def advance(done: float, *more: float) -> None:
            words = escape(what)
            if total is None:
                words = f"{done:.0f} {words} {more[0]:.0f}"
            elif more:
                words += f", {more[0]:,.0f} case-years/s"
            shown.update(task, completed=done, description=words)

        yield advance


def print_facts(out: Console, facts: Sequence[tuple[str, str]]) -> None:
    """Print names and what they are, in two columns."""
    shape = RichTable(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    shape.add_column(overflow="fold")
    shape.add_column(overflow="fold")
    for name, value in facts:
        shape.add_row(Text(name), Text(value))
    out.print(shape)


def print_extensions(out: Console, found: Sequence[Installed]) -> None:
    """Print one line an extension, and below them why some cannot be used."""
    shape = _shape(out)
    for name in ("kind", "name", "package", "version", "state"):
        shape.add_column(name, overflow="fold")
    for each in found:
        state = {None: "not tried", OK: OK}.get(each.state, "cannot be used")
        shape.add_row(*map(Text, (each.kind, each.name, each.distribution, each.version, state)))
    out.print(shape)
    broken = dict.fromkeys(e.state for e in found if e.state is not None and e.state != OK)
    print_lines(out, [f"Note: {why}" for why in broken])


def _shape(out: Console) -> RichTable:
    """Return an empty table in the lines that the terminal can show."""
    lines = box.ASCII2 if not out.encoding.lower().startswith("utf") else box.SIMPLE_HEAD
    return RichTable(box=lines, pad_edge=False, padding=(0, 1, 0, 0))


def _ways(
    table: Table, headed: Sequence[tuple[str, str]], units: Units, *, currency: str | None = None
) -> list[tuple[tuple[str, str], Shown]]:
    """Return headings and columns, and how each is shown."""
    described = {column.name: column for column in table.columns}
    money = next((c for c in table.data.get("currency", ()) if c is not None), currency)
    return [(each, shown(described[each[1]], units=units, currency=money)) for each in headed]


def _head(out: Console, head: str, way: Shown) -> str:
    """Return a heading with the unit below."""
    return _plain(out, f"{head}\n{way.unit}" if way.unit else head)


def _plain(out: Console, text: str) -> str:
    """Return a text without the signs that the terminal cannot show, as far as there are others."""
    try:
        text.encode(out.encoding)
    except UnicodeEncodeError:
        return text.replace("°", "deg").replace("²", "2")
    return text


def _add_numbers(
    out: Console, shape: RichTable, ways: Sequence[tuple[tuple[str, str], Shown]]
) -> None:
    """Add a column for each number, headed with its unit."""
    for (head, _), way in ways:
        shape.add_column(Text(_head(out, head, way)), justify="right", no_wrap=True)


def _number(value: float | None, way: Shown) -> str:
    return MISSING if value is None else f"{float(way.of(value)):z.{way.decimals}f}"
