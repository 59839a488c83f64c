"""Tables of numbers, each column headed with its unit, in lines that the terminal can show."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich import box
from rich.table import Table as RichTable
from rich.text import Text

from dewmargin.core.display import Shown, shown
from dewmargin.reports.terminal.lines import plain, print_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from dewmargin.columns import Table
    from dewmargin.units import Units

MISSING = "-"
WHOLE = Shown("", 0)
LEAST_NAME = 8  # letters of a name, before it folds
GAP = 2  # beside a column: its padding and the box's line
WIDEST_NAME = 18  # letters of a name that a column is kept open for


def new_table(out: Console) -> RichTable:
    """Return an empty table in the lines that the terminal can show."""
    lines = box.ASCII2 if not out.encoding.lower().startswith("utf") else box.SIMPLE_HEAD
    return RichTable(box=lines, pad_edge=False, padding=(0, 1, 0, 0))


def ways_of(
    table: Table, headed: Sequence[tuple[str, str]], units: Units, *, currency: str | None = None
) -> list[tuple[tuple[str, str], Shown]]:
    """Return headings and columns, and how each is shown."""
    described = {column.name: column for column in table.columns}
    money = next((c for c in table.data.get("currency", ()) if c is not None), currency)
    return [(each, shown(described[each[1]], units=units, currency=money)) for each in headed]


def heading(out: Console, head: str, way: Shown) -> str:
    """Return a heading with the unit below."""
    return plain(out, f"{head}\n{way.unit}" if way.unit else head)


def add_numbers(
    out: Console, shape: RichTable, ways: Sequence[tuple[tuple[str, str], Shown]]
) -> None:
    """Add a column for each number, headed with its unit."""
    for (head, _), way in ways:
        shape.add_column(Text(heading(out, head, way)), justify="right", no_wrap=True)


def cell(value: float | None, way: Shown) -> str:
    """Return a number as it is shown; one that is not known is a dash."""
    return MISSING if value is None else f"{float(way.of(value)):z.{way.decimals}f}"


def differing(table: Table) -> list[str]:
    """Return the kinds of names by which options differ, the strategy first."""
    return ["strategy"] + [
        name
        for name in ("equipment", "supply")
        if len({value for value in table.data[name] if value is not None}) > 1
    ]


def print_by_option(
    out: Console,
    table: Table,
    headed: Sequence[tuple[str, str]],
    rows: Sequence[int],
    units: Units,
) -> None:
    """Print a line an option of `rows`; a name is said where it, or one before it, changes.

    Three columns of names would leave too little for the numbers: the strategy is then a heading
    above a table of its own.
    """
    ways = ways_of(table, headed, units)
    heads = [heading(out, head, way) for (head, _), way in ways]
    numbers = [
        [cell(value, way) for value, (_, way) in zip(row, ways, strict=True)]
        for row in zip(*(table.data[name] for (_, name), _ in ways), strict=True)
    ]
    widths = [max(map(len, column)) for column in zip(*numbers, strict=True)]
    head_widths = [max(map(len, head.split("\n"))) for head in heads]
    names = differing(table)
    labels = _labels(table, names)
    groups: dict[str | None, list[int]] = {None: list(rows)}
    if len(names) > 2:  # noqa: PLR2004 - strategy, equipment and supply
        groups = {}
        for i in rows:
            groups.setdefault(labels[i][0], []).append(i)
        names, labels = names[1:], [label[1:] for label in labels]
    taken = sum(GAP + max(pair) for pair in zip(head_widths, widths, strict=True))
    name_widths = _fitted(names, labels, out.width - taken)
    for strategy, of_group in groups.items():
        print_lines(out, [] if strategy is None else [f"{strategy}:"])
        shape = new_table(out)
        for name, width in zip(names, name_widths, strict=True):
            shape.add_column(name, overflow="fold", min_width=width)
        for head, width in zip(heads, widths, strict=True):
            shape.add_column(Text(head), justify="right", no_wrap=True, min_width=width)
        said = _said_once([labels[i] for i in of_group])
        for i, cells in zip(of_group, said, strict=True):
            shape.add_row(*map(Text, cells), *numbers[i])
        out.print(shape)


def _labels(table: Table, names: Sequence[str]) -> list[list[str]]:
    """Return for each option its names; the baseline has its own alone."""
    rows = zip(*(table.data[name] for name in ("option", *names)), strict=True)
    return [
        [option if strategy is None else strategy, *(name or "" for name in others)]
        for option, strategy, *others in rows
    ]


def _fitted(names: Sequence[str], labels: Sequence[Sequence[str]], room: int) -> list[int]:
    """Return widths of the columns of names: what does not fit folds names, not numbers."""
    longest = [max(map(len, column)) for column in zip(*labels, strict=True)]
    widths = [min(max(n, len(name)), WIDEST_NAME) for n, name in zip(longest, names, strict=True)]
    while sum(widths) + GAP * len(widths) > room and max(widths) > LEAST_NAME:
        widths[widths.index(max(widths))] -= 1
    return widths


def _said_once(labels: Sequence[list[str]]) -> list[list[str]]:
    """Return the names of each line, blank where the line before has them; the last stays."""
    said: list[list[str]] = []
    before: list[str] = []
    for cells in labels:
        same = 0
        while same < min(len(before), len(cells) - 1) and before[same] == cells[same]:
            same += 1
        said.append([*[""] * same, *cells[same:]])
        before = cells
    return said


def print_by_outdoor_temperature(out: Console, table: Table, of: str, percent: str) -> None:
    """Print whole per cent by outdoor temperature, in °C and °F, a column for each of `of`."""
    names = list(dict.fromkeys(table.data[of]))
    rows: dict[tuple[float, float], dict[str, int]] = {}
    for i, name in enumerate(table.data[of]):
        key = (table.data["t_out_c"][i], table.data["t_out_f"][i])
        rows.setdefault(key, {})[name] = table.data[percent][i]
    shape = new_table(out)
    shape.add_column(plain(out, "outdoors\n°C"), justify="right", no_wrap=True)
    shape.add_column(plain(out, "\n°F"), justify="right", no_wrap=True)
    for name in names:
        shape.add_column(Text(f"{name}, %"), justify="right", overflow="fold")
    for (t_c, t_f), held in sorted(rows.items()):
        cells = [cell(held.get(name), WHOLE) for name in names]
        shape.add_row(cell(t_c, WHOLE), cell(t_f, WHOLE), *cells)
    out.print(shape)
