"""What a terminal shows."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pytest
from rich.console import Console

from dewmargin.columns import COMPARISON, Table
from dewmargin.reports import terminal
from dewmargin.reports.tables import rows

if TYPE_CHECKING:
    from collections.abc import Callable


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


def many() -> Table:
    """Return a comparison of two strategies, two devices and two supplies, in large numbers."""
    names = [
        (s, e, w) for s in ("a", "b") for e in ("orifice pad", "steam") for w in ("cold", "hot")
    ]
    data: dict[str, list] = {c.name: [None, *[54321.0 + i for i in range(8)]] for c in COMPARISON}
    data |= {
        "option": ["no humidifier", *(" | ".join(each) for each in names)],
        "strategy": [None, *(s for s, _, _ in names)],
        "equipment": [None, *(e for _, e, _ in names)],
        "supply": [None, *(w for _, _, w in names)],
        "feed_l_per_kg": [None, *[12.6] * 8],
        "worst_margin_k": [-12.3] * 9,
        "fuel_kwh": [0.0] * 9,
        "currency": ["EUR"] * 9,
    }
    return Table(columns=COMPARISON, data=data)


def shown(
    table: Table,
    *,
    width: int = 80,
    encoding: str = "utf-8",
    show: Callable[[Console, Table], None] = terminal.print_comparison,
) -> str:
    """Print a comparison as a pipe of this width and encoding gets it."""
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding, errors="strict")
    show(Console(file=stream, width=width), table)
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


def test_a_little_below_nothing_is_nothing() -> None:
    assert "-0" not in shown(options(shortfall_h=[-0.3] * 3, feed_l=[-0.01] * 3))


def test_json_rows_keep_missing_as_null() -> None:
    found = rows(options())

    assert found[0]["demand_kg"] is None
    assert found[2]["option"] == "a | pad | hot"


@pytest.mark.parametrize("show", [terminal.print_comparison, terminal.print_taken])
def test_equipment_on_supplies_is_grouped_by_strategy_and_loses_no_column(show) -> None:
    text = shown(many(), show=show)

    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    assert [line for line in lines if line in ("a:", "b:")] == ["a:", "b:"]
    # Each device is said once in each strategy, each supply in every line.
    assert text.count("orifice pad") == text.count("steam") == 2
    assert sum("cold" in line for line in lines) == 4
    # Every column has its number in every row, to the last.
    rows = [line.split() for line in lines if " hot " in line and "5432" in line]
    large = 6 if show is terminal.print_comparison else 8
    assert [sum(cell.startswith("5432") for cell in row) for row in rows] == [large] * 4
    if show is terminal.print_comparison:
        assert {row[-1] for row in rows} == {"-12.3"}


def test_what_nothing_takes_is_not_a_column() -> None:
    text = shown(many(), show=terminal.print_taken)

    assert "fuel" not in text
    assert "EUR" in text
    assert "no humidifier" not in text


def test_without_heat_or_energy_there_is_no_second_table() -> None:
    known = {c.name: [None] * 3 for c in COMPARISON if c.unit == "kWh"}
    bare = options(**known, cost=[None] * 3, co2_kg=[None] * 3, currency=[None] * 3)

    assert shown(bare, show=terminal.print_taken) == ""
