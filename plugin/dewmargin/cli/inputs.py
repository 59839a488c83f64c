"""Commands that look at what goes in: scenario, weather, extensions."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click

from dewmargin.cli import options
from dewmargin.cli.documents import print_json
from dewmargin.errors import ExtensionError


@click.command()
@options.scenario
@options.as_json
def check(*, scenario: Path, as_json: bool) -> None:
    """Validate SCENARIO and its files; list what will be used, and every default."""
    from dewmargin.reports import terminal
    from dewmargin.scenario import load
    from dewmargin.studies.inventory import used

    checked = load(scenario)
    facts, notes = used(checked)
    if as_json:
        print_json(
            "check",
            {
                "used": dict(facts),
                "notes": notes,
                "defaults": [
                    {"key": key, "value": value, "why": why}
                    for key, value, why in checked.defaults()
                ],
                "scenario": checked.resolved(),
            },
        )
        return
    terminal.show_check(terminal.console(), checked.file, facts, notes, checked.defaults())


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--year", type=int, help="Year to take from a file of several.")
@options.as_json
def weather(*, file: Path, year: int | None, as_json: bool) -> None:
    """Inspect an EPW FILE: gaps, design humidity, dryness, and how its humidity reads."""
    from dewmargin.reports import terminal
    from dewmargin.weather.climate import summary
    from dewmargin.weather.epw import read_epw

    facts = summary(read_epw(file, year=year))
    if as_json:
        print_json("weather", asdict(facts))
        return
    terminal.print_facts(terminal.console(), facts.lines())


@click.command()
def schema() -> None:
    """Print the JSON Schema of a scenario file, for editors that check while one types."""
    from dewmargin.scenario import json_schema

    click.echo(json.dumps(json_schema(), indent=1))


@click.command()
@click.option("--check", "try_", is_flag=True, help="Import each, and say what cannot be used.")
@options.as_json
def extensions(*, try_: bool, as_json: bool) -> None:
    """List the readers, strategies, equipment and reports that are installed, and by whom.

    Nothing is imported without --check; with it, one that cannot be used makes the exit code 3.
    """
    from dewmargin.core.extensions import OK, installed
    from dewmargin.reports import terminal

    found = installed(check=try_)
    if as_json:
        print_json("extensions", {"extensions": [asdict(each) for each in found]})
    else:
        terminal.print_extensions(terminal.console(), found)
    if try_ and any(each.state != OK for each in found):
        click.get_current_context().exit(ExtensionError.exit_code)
