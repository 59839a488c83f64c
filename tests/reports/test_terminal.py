"""What a terminal shows."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pytest
from rich.console import Console

from dewmargin.columns import COMPARISON, FRONTIER, SETTINGS, Table
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


@pytest.mark.parametrize(("encoding", "told"), [("ascii", "degC degF"), ("cp1252", "°C °F")])
def test_degrees_are_told_on_every_terminal(encoding: str, told: str) -> None:
    settings: dict[str, list] = {c.name: [5] for c in SETTINGS} | {"strategy": ["a"]}

    text = shown(
        Table(columns=SETTINGS, data=settings),
        encoding=encoding,
        show=lambda out, t: terminal.print_by_outdoor_temperature(
            out, t, "strategy", "rh_set_percent"
        ),
    )

    assert told in " ".join(text.replace("|", " ").split())


def test_what_is_not_known_is_a_dash() -> None:
    line = next(t for t in shown(options()).splitlines() if "no humidifier" in t)

    assert line.split()[2:] == ["-"] * 8


def test_a_little_below_nothing_is_nothing() -> None:
    assert "-0" not in shown(options(shortfall_h=[-0.3] * 3, feed_l=[-0.01] * 3))


def test_json_rows_keep_missing_as_null() -> None:
    found = rows(options())

    assert found[0]["demand_kg"] is None
    assert found[2]["option"] == "a | pad | hot"


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("show", [terminal.print_comparison, terminal.print_taken])
def test_plain_lines_fit_the_terminal_too(show, width: int) -> None:
    text = shown(many(), show=show, encoding="ascii", width=width)

    assert max(map(len, text.splitlines())) <= width
    assert "54321" in text


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


def lines_of_set_points(n: int, chosen: int) -> Table:
    """Return a table of lines, the one of number `chosen` chosen; what they cost is not known."""
    data: dict[str, list] = {c.name: [float(i) for i in range(n)] for c in FRONTIER}
    data |= {"chosen": [i == chosen for i in range(n)], "cost": [float("nan")] * n}
    return Table(columns=FRONTIER, data=data)


def test_lines_are_shown_in_their_order_and_the_chosen_one_is_marked() -> None:
    table = lines_of_set_points(3, chosen=1)

    text = shown(table, show=lambda out, t: terminal.print_frontier(out, t, ["a", "b", "c"]))

    rows = [line.split() for line in text.splitlines() if line.split()[:1] in (["a"], [">"], ["c"])]
    assert rows == [
        ["a", *["0"] * 6, "-"],
        [">", "b", *["1"] * 6, "-"],
        ["c", *["2"] * 6, "-"],
    ]
    assert "shown" not in text


def test_of_many_lines_some_are_shown_and_the_chosen_one_among_them() -> None:
    table, names = lines_of_set_points(100, chosen=50), [f"number{i}" for i in range(100)]

    text = shown(table, show=lambda out, t: terminal.print_frontier(out, t, names))

    told = [int(word[6:]) for word in text.split() if word.startswith("number")]
    assert told == sorted({*range(0, 100, 3), 50})
    assert "> number50" in text
    assert text.rstrip().endswith("35 of 100 lines are shown.")


def test_no_line_at_all_is_an_empty_table() -> None:
    text = shown(
        lines_of_set_points(0, chosen=0),
        show=lambda out, t: terminal.print_frontier(out, t, []),
    )

    assert "band" in text


def test_progress_is_silent_when_piped(capsys: pytest.CaptureFixture[str]) -> None:
    with terminal.progress("tried, kept", None) as advance:
        advance(12, 3)
    with terminal.progress("simulate", 1.0) as advance:
        advance(0.5)

    assert capsys.readouterr() == ("", "")
