"""Tables for a terminal: rich where it can show them, plain ASCII where it cannot."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, TextIO

from rich import box
from rich.console import Console
from rich.table import Table as RichTable
from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from dewmargin.reports.tables import Table

# Heading, column and number of decimals; what a person compares, most important first.
SHOWN = (
    ("given\nkg", "delivered_kg", 0),
    ("short\nh", "shortfall_h", 0),
    ("feed\nl", "feed_l", 0),
    ("feed\nl/kg", "feed_l_per_kg", 1),
    ("dry\nh", "dry_h", 0),
    ("band\nh", "band_h", 0),
    ("cond.\nh", "condensation_h", 0),
    ("min.\nK", "worst_margin_k", 1),
)
MISSING = "-"
NARROWEST = 80


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
        out.print(Text(line, style=style), soft_wrap=not out.is_terminal)


def print_comparison(out: Console, table: Table) -> None:
    """Print one line an option, grouped by strategy; what all options share is said once."""
    shared, varied = [], ["strategy"]
    for name in ("equipment", "supply"):
        values = {value for value in table.data[name] if value is not None}
        if len(values) == 1:
            shared.append(f"{name}: {values.pop()}")
        else:
            varied.append(name)
    print_lines(out, ["; ".join(shared)] if shared else [])
    shape = RichTable(box=_box(out), pad_edge=False, padding=(0, 1, 0, 0))
    for name in varied:
        shape.add_column(name, overflow="fold", min_width=10)
    for heading, _, _ in SHOWN:
        shape.add_column(heading, justify="right", no_wrap=True)
    before = None
    for i, strategy in enumerate(table.data["strategy"]):
        label = table.data["option"][i] if strategy is None else strategy
        names = [label if label != before else ""]
        names += [table.data[name][i] or "" for name in varied[1:]]
        numbers = [_number(table.data[name][i], decimals) for _, name, decimals in SHOWN]
        shape.add_row(*map(Text, names), *numbers)
        before = label
    out.print(shape)


def print_settings(out: Console, table: Table) -> None:
    """Print the set-points in whole per cent by outdoor temperature, in °C and °F."""
    strategies = list(dict.fromkeys(table.data["strategy"]))
    rows: dict[tuple[float, float], dict[str, int]] = {}
    for i, strategy in enumerate(table.data["strategy"]):
        key = (table.data["t_out_c"][i], table.data["t_out_f"][i])
        rows.setdefault(key, {})[strategy] = table.data["rh_set_percent"][i]
    shape = RichTable(box=_box(out), pad_edge=False, padding=(0, 1, 0, 0))
    shape.add_column("outdoors\n°C", justify="right", no_wrap=True)
    shape.add_column("\n°F", justify="right", no_wrap=True)
    for strategy in strategies:
        shape.add_column(Text(f"{strategy}, %"), justify="right", overflow="fold")
    for (t_c, t_f), held in sorted(rows.items()):
        cells = [_number(held.get(strategy), 0) for strategy in strategies]
        shape.add_row(f"{t_c:.0f}", f"{t_f:.0f}", *cells)
    out.print(shape)


def print_facts(out: Console, facts: Sequence[tuple[str, str]]) -> None:
    """Print names and what they are, in two columns."""
    shape = RichTable(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    shape.add_column(overflow="fold")
    shape.add_column(overflow="fold")
    for name, value in facts:
        shape.add_row(Text(name), Text(value))
    out.print(shape)


def document(table: Table) -> list[Mapping[str, object]]:
    """Return a table's rows as plain objects for JSON; missing is null."""
    names = [column.name for column in table.columns]
    return [
        dict(zip(names, row, strict=True))
        for row in zip(*(table.data[name] for name in names), strict=True)
    ]


def _box(out: Console) -> box.Box:
    return box.ASCII2 if not out.encoding.lower().startswith("utf") else box.SIMPLE_HEAD


def _number(value: float | None, decimals: int) -> str:
    return MISSING if value is None else f"{value:.{decimals}f}"
