"""A comparison on a terminal: verdict, options, surfaces, and what to set."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from rich.text import Text

from dewmargin.reports.terminal.lines import print_lines, print_whole
from dewmargin.reports.terminal.number_tables import (
    WIDEST_NAME,
    add_numbers,
    cell,
    differing,
    new_table,
    print_by_option,
    print_by_outdoor_temperature,
    ways_of,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from dewmargin.columns import Table
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


class Compared(Protocol):
    """What a comparison is asked for."""

    def sentences(self, units: Units) -> Sequence[str]:
        """Return the verdict."""

    def summary_lines(self) -> list[str]:
        """Return what a reader must know beside the tables."""

    def table(self, name: str) -> Table:
        """Return a table of the results contract."""


def show_comparison(
    out: Console,
    result: Compared,
    units: Units,
    *,
    title: str,
    visit: Sequence[str],
    chosen: str | None,
    standard: bool,
    written: Sequence[object],
) -> None:
    """Print all that a reader wants to know of a comparison; the verdict stands first and last.

    `visit`: what was measured on site; `chosen`: the option that the verdict names; `standard`:
    its scenario is in no file yet.
    """
    print_whole(out, [title])
    print_lines(out, [*visit, ""] if visit else [])
    show_options(out, result, units, chosen=chosen)
    print_lines(out, ["Relative humidity to set, by outdoor temperature:"])
    print_by_outdoor_temperature(out, result.table("settings"), "strategy", "rh_set_percent")
    limits = result.table("limits")
    if limits.data["surface"]:
        print_lines(out, ["Highest relative humidity of the room at which each surface stays dry:"])
        print_by_outdoor_temperature(out, limits, "surface", "rh_max_percent")
    if standard:
        print_whole(
            out, ["Write the standard scenario to a file, to change it: --save-scenario FILE"]
        )
    print_whole(out, written)
    # What stands above has scrolled away.
    print_lines(out, ["", *result.sentences(units)], style="bold")


def show_options(out: Console, result: Compared, units: Units, *, chosen: str | None) -> None:
    """Print which option to choose, all of them, and what surfaces go through without and with."""
    print_lines(out, result.sentences(units)[:1], style="bold")
    table = result.table("comparison")
    print_comparison(out, table, units)
    print_taken(out, table, units)
    faces = result.table("surfaces")
    if faces.data["surface"]:
        for option in (table.data["option"][0], *([] if chosen is None else [chosen])):
            print_lines(out, [f"Surfaces, {option}:"])
            print_surfaces(out, faces, option, units)
    print_lines(out, result.summary_lines())


def print_comparison(out: Console, table: Table, units: Units = "si") -> None:
    """Print one line an option, grouped by strategy; what all options share is said once."""
    varied = differing(table)
    shared = [
        f"{name}: {next(value for value in table.data[name] if value is not None)}"
        for name in ("equipment", "supply")
        if name not in varied
    ]
    print_lines(out, ["; ".join(shared)] if shared else [])
    print_by_option(out, table, SHOWN, range(len(table.data["option"])), units)


def print_taken(out: Console, table: Table, units: Units = "si") -> None:
    """Print what each option takes: water, heat, electricity, money, carbon, as far as known."""
    taken = [each for each in TAKEN if any(table.data[each[1]])]
    if all(name in ("feed_l", "hot_feed_l") for _, name in taken):
        return
    print_lines(out, ["Water, heat (of the water heater, of the plant), and energy:"])
    humidified = [i for i, name in enumerate(table.data["strategy"]) if name is not None]
    print_by_option(out, table, taken, humidified, units)


def print_surfaces(out: Console, table: Table, option: str, units: Units = "si") -> None:
    """Print what each surface goes through in an option."""
    rows = [i for i, name in enumerate(table.data["option"]) if name == option]
    shape = new_table(out)
    longest = max(len(table.data["surface"][i]) for i in rows)
    # What does not fit folds the surface's name, not the numbers.
    shape.add_column("surface", overflow="fold", min_width=min(longest, WIDEST_NAME))
    ways = ways_of(table, OF_SURFACES, units)
    add_numbers(out, shape, ways)
    for i in rows:
        numbers = [cell(table.data[name][i], way) for (_, name), way in ways]
        shape.add_row(Text(table.data["surface"][i]), *numbers)
    out.print(shape)
