"""What a terminal shows."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from dewmargin.columns import COMPARISON
from dewmargin.reports import terminal
from dewmargin.reports.tables import Table


def options(**changes: list) -> Table:
    """Return a comparison of a baseline and two options; name what differs."""
    data: dict[str, list] = {c.name: [None, 1.0, 2.5] for c in COMPARISON}
    data |= {
        "option": ["no humidifier", "a | pad | cold", "a | pad | hot"],
        "strategy": [None, "a", "a"],
        "equipment": [None, "pad", "pad"],
        "supply": [None, "cold", "hot"],
    }
    return Table(columns=COMPARISON, data=data | changes)


def shown(table: Table, *, width: int = 80, encoding: str = "utf-8") -> str:
    """Print a comparison as a pipe of this width and encoding gets it."""
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding, errors="strict")
    terminal.print_comparison(Console(file=stream, width=width), table)
    stream.flush()
    return raw.getvalue().decode(encoding)


@pytest.mark.parametrize("width", [80, 120])
def test_the_comparison_fits_the_terminal(width: int) -> None:
    text = shown(options(), width=width)

    assert max(map(len, text.splitlines())) <= width
    assert "equipment: pad" in text
    assert text.count(" a ") == 1  # said once for both supplies


def test_a_strategy_named_like_markup_is_shown_as_it_is() -> None:
    text = shown(options(strategy=[None, "[red]x", "[red]x"]))

    assert "[red]x" in text


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_a_terminal_without_unicode_gets_plain_lines(encoding: str) -> None:
    assert "----" in shown(options(), encoding=encoding)


def test_what_is_not_known_is_a_dash() -> None:
    line = next(t for t in shown(options()).splitlines() if "no humidifier" in t)

    assert line.split()[2:] == ["-"] * 8


def test_json_rows_keep_missing_as_null() -> None:
    rows = terminal.document(options())

    assert rows[0]["demand_kg"] is None
    assert rows[2]["option"] == "a | pad | hot"
