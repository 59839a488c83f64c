"""Studies on a terminal: lines of set-points, loads and sizes, doubts."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Protocol

from rich.text import Text

from dewmargin.columns import COMPARISON
from dewmargin.reports.terminal.lines import print_lines, print_whole
from dewmargin.reports.terminal.number_tables import (
    LEAST_NAME,
    MISSING,
    WIDEST_NAME,
    add_numbers,
    cell,
    heading,
    new_table,
    print_by_option,
    print_by_outdoor_temperature,
    ways_of,
)
from dewmargin.units import conversion, in_units

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rich.console import Console

    from dewmargin.columns import Table
    from dewmargin.units import Units

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
MOST_LINES = 40  # more is for the file
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
SPREAD_OF = (("band", "band_h"), ("cond.", "condensation_h"), ("feed", "feed_l"))
LIMIT_WIDTH = 7
LIMIT_WORDS = {"condensation_h": "cond. h", "extra_condensation_h": "extra cond. h"}
MOST_INPUTS = 5  # that are told of


class Lines(Protocol):
    """What a search for the best lines of set-points is asked for."""

    def sentence(self, units: Units) -> str:
        """Return the verdict."""

    def table(self) -> Table:
        """Return one row a line."""

    def lines_of_search(self) -> list[str]:
        """Return what was searched."""

    def settings(self) -> Table:
        """Return what to set, where a line is chosen."""

    def toml(self) -> str:
        """Return the chosen line as text of a scenario."""


class Sizes(Protocol):
    """What a search for sizes is asked for."""

    @property
    def loads(self) -> Table:
        """One row a strategy: what its hours demand."""

    @property
    def design_loads(self) -> Table:
        """One row a strategy and design condition."""

    @property
    def sizes(self) -> Table:
        """One row an option."""

    @property
    def notes(self) -> Sequence[str]:
        """What to know of the search."""

    def cautions(self) -> list[str]:
        """Return what speaks against a size."""


class Doubted(Protocol):
    """What a study of doubts is asked for."""

    @property
    def verdict(self) -> str:
        """How sure the choice is."""

    def tables(self) -> Mapping[str, Table]:
        """Return spread, breaks and sensitivity."""

    def told_of(self) -> Sequence[tuple[str, str]]:
        """Return the options and numbers whose inputs are ranked."""

    def lines(self) -> list[str]:
        """Return how the study was made."""


def show_frontier(
    out: Console,
    found: Lines,
    units: Units,
    *,
    title: str,
    names: Sequence[str],
    currency: str | None,
    is_chosen: bool,
    written: Sequence[object],
) -> None:
    """Print the lines of `names` that no other beats, and the best of them, if one is chosen."""
    print_lines(out, [title])
    print_lines(out, [found.sentence(units)], style="bold")
    print_frontier(out, found.table(), names, units, currency=currency)
    print_lines(out, found.lines_of_search())
    if is_chosen:
        print_lines(out, ["", "To be set, by outdoor temperature:"])
        print_by_outdoor_temperature(out, found.settings(), "strategy", "rh_set_percent")
        print_lines(out, ["To be pasted into the scenario:", "", *found.toml().splitlines()])
    print_whole(out, written)


def show_sizes(
    out: Console, found: Sizes, units: Units, *, title: str, written: Sequence[object]
) -> None:
    """Print what is demanded, the least size of each option, and what speaks against it."""
    print_lines(out, [title])
    print_loads(out, found.loads, found.design_loads, units)
    print_sizes(out, found.sizes, units)
    print_lines(out, [*found.cautions(), *(f"Note: {note}." for note in found.notes)])
    print_whole(out, written)


def show_stress(
    out: Console, found: Doubted, units: Units, *, title: str, written: Sequence[object]
) -> None:
    """Print how sure the choice is, how far the numbers spread, and which input decides."""
    print_lines(out, [title])
    print_lines(out, [found.verdict], style="bold")
    tables = found.tables()
    print_spread(out, tables["spread"], tables["breaks"], units)
    print_sensitivity(out, tables["sensitivity"], found.told_of())
    print_lines(out, found.lines())
    print_whole(out, written)


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
    shape = new_table(out)
    shape.add_column("line", overflow="fold", min_width=WIDEST_NAME)
    ways = ways_of(table, OF_LINES, units, currency=currency)
    add_numbers(out, shape, ways)
    for i in rows:
        numbers = [cell(_or_none(table.data[name][i]), way) for (_, name), way in ways]
        shape.add_row(Text(("> " if i in chosen else "") + names[i]), *numbers)
    out.print(shape)
    if len(rows) < n:
        print_lines(out, [f"{len(rows)} of {n} lines are shown."])


def _or_none(value: float | None) -> float | None:
    return None if value is None or math.isnan(value) else value


def print_loads(out: Console, loads: Table, design: Table, units: Units = "si") -> None:
    """Print a line a strategy: what its hours demand, and its steady load at design humidity."""
    print_lines(out, ["Load: the largest hour, and what a part of all hours exceeds:"])
    shape = new_table(out)
    shape.add_column("strategy", overflow="fold", min_width=LEAST_NAME)
    ways = ways_of(loads, LOADS_OF, units)
    add_numbers(out, shape, ways)
    for i, name in enumerate(loads.data["strategy"]):
        cells = [cell(loads.data[column][i], way) for (_, column), way in ways]
        shape.add_row(Text(name), *cells)
    out.print(shape)
    if not design.data["strategy"]:
        return
    print_lines(out, ["Steady load at the design dew points of the climate:"])
    data = design.data
    (_, load), (_, dew) = ways_of(design, (("", "load_kg_h"), ("", "dew_point_c")), units)
    levels = dict.fromkeys(zip(data["source"], data["level_percent"], strict=True))
    shape = new_table(out)
    shape.add_column("strategy", overflow="fold", min_width=LEAST_NAME)
    found: dict[str, list[str]] = {}
    for strategy, load_kg_h in zip(data["strategy"], data["load_kg_h"], strict=True):
        found.setdefault(strategy, []).append(cell(load_kg_h, load))
    for k, (source, level) in enumerate(levels):
        at = f"{cell(data['dew_point_c'][k], dew)} {dew.unit}"
        head = heading(out, f"{source}\n{level:g} %\n{at}", load)
        shape.add_column(Text(head), justify="right", no_wrap=True)
    for strategy, cells in found.items():
        shape.add_row(Text(strategy), *cells)
    out.print(shape)


def print_sizes(out: Console, table: Table, units: Units = "si") -> None:
    """Print a line an option: units, size of the given one, and what it takes."""
    print_lines(out, ["Least number of units, least size (1 is what the scenario has), and what"])
    print_lines(out, ["one unit is rated for and can give on the day of the largest demand:"])
    print_by_option(out, table, SIZES_OF, range(len(table.data["option"])), units)


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
    shape = new_table(out)
    shape.add_column("option", overflow="fold", min_width=WIDEST_NAME)
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
        shape = new_table(out)
        shape.add_column("input", overflow="fold", min_width=WIDEST_NAME)
        shape.add_column(Text("share of variance"), justify="right", no_wrap=True)
        shape.add_column(Text("alone"), justify="right", no_wrap=True)
        for _, _, name, total, alone in mine[:MOST_INPUTS]:
            shape.add_row(Text(name), f"{100.0 * total:.0f} %", f"{100.0 * alone:.0f} %")
        out.print(shape)
