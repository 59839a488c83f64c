"""What goes in, on a terminal: a scenario, a model, its run, extensions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from dewmargin.core.extensions import OK
from dewmargin.reports.terminal.lines import print_facts, print_lines, print_whole
from dewmargin.reports.terminal.number_tables import new_table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rich.console import Console

    from dewmargin.core.extensions import Installed


def show_check(
    out: Console,
    file: object,
    facts: Sequence[tuple[str, str]],
    notes: Sequence[str],
    defaults: Sequence[tuple[str, object, str]],
) -> None:
    """Print that a scenario is fine, what it uses, and every default with its source."""
    print_whole(out, [f"{file}: fine"])
    print_facts(out, facts)
    print_lines(out, ["", "Notes", *(f"  {note}" for note in notes)] if notes else [])
    print_lines(out, ["", "Defaults"])
    for key, value, why in defaults:
        given = "not given" if value in (None, ()) else f"= {value}"
        print_lines(out, [f"  {key} {given}: {why}"])


def show_prepared(
    out: Console,
    facts: Sequence[tuple[str, str]],
    notes: Sequence[str],
    file: object,
    added: Sequence[str],
) -> None:
    """Print what is in a model, and what was added to its copy."""
    print_facts(out, facts)
    print_lines(out, [f"note: {note}" for note in notes])
    print_lines(out, [f"added to {file}:" if added else "nothing to add"])
    print_lines(out, [f"  {line}" for line in added])


def show_simulated(out: Console, run: Path, n_warnings: int, severe: Sequence[str]) -> None:
    """Print how the engine's run ended, and what to do with it."""
    first = [f"{len(severe)} severe errors, the first: {severe[0]}"] if severe else []
    warned = f"{n_warnings} warnings: {run / 'eplusout.err'}"
    print_whole(out, [*first, warned, f"Simulated; next: dewmargin compare --run {run}"])


def print_extensions(out: Console, found: Sequence[Installed]) -> None:
    """Print one line an extension, and below them why some cannot be used."""
    shape = new_table(out)
    for name in ("kind", "name", "package", "version", "state"):
        shape.add_column(name, overflow="fold")
    for each in found:
        state = {None: "not tried", OK: OK}.get(each.state, "cannot be used")
        shape.add_row(*map(Text, (each.kind, each.name, each.distribution, each.version, state)))
    out.print(shape)
    broken = dict.fromkeys(e.state for e in found if e.state is not None and e.state != OK)
    print_lines(out, [f"Note: {why}" for why in broken])
