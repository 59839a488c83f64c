"""Commands that compare: a scenario of one's own, a run, the demo."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dewmargin.cli import options
from dewmargin.cli.documents import print_json

if TYPE_CHECKING:
    from dewmargin.studies.compare.comparison import Comparison
    from dewmargin.units import Units

DEMOS = (
    ("house", "larch_house.toml", "the built-in house model on hourly weather"),
    ("simulation", "larch_house_simulated.toml", "the same house, simulated by EnergyPlus"),
)


@click.command()
@click.argument("scenario", type=click.Path(dir_okay=False, path_type=Path), required=False)
@click.option(
    "--run",
    "run_",
    type=click.Path(path_type=Path),
    metavar="RUN",
    help="Results of a simulation: its folder or results file. With SCENARIO: in place of the "
    "results named there. Alone: with a standard scenario, whose assumptions are printed.",
)
@click.option("--environment", metavar="NAME", help="Run period to take from a RUN of several.")
@click.option(
    "--save-scenario",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the standard scenario of RUN to this new file, to be changed and compared.",
)
@options.out_folder("Folder for the results; made if missing. Default: print only.")
@click.option("--hourly-csv", is_flag=True, help="Write the hours as CSV too (large).")
@click.option(
    "--site",
    type=click.Path(dir_okay=False, path_type=Path),
    multiple=True,
    metavar="VISIT",
    help="Site file of the last visit, as check-site measured --save writes it: its contact, "
    "effectiveness, feed and plenum in place of the scenario's.",
)
@options.units
@options.as_json
def compare(
    *,
    scenario: Path | None,
    run_: Path | None,
    environment: str | None,
    save_scenario: Path | None,
    out: Path | None,
    hourly_csv: bool,
    site: tuple[Path, ...],
    units: Units,
    as_json: bool,
) -> None:
    """Run every option of SCENARIO (a TOML file) and compare them.

    Without a scenario, a simulation is enough: --run RUN.
    """
    from dewmargin.reports import terminal

    result = _compared(
        scenario, run_, environment=environment, save_scenario=save_scenario, site=site
    )
    written = result.write(out, hourly_csv=hourly_csv, units=units) if out is not None else []
    if as_json:
        print_json("compare", _document(result) | {"files": [str(path) for path in written]})
        return
    visit = result.scenario.site
    terminal.show_comparison(
        terminal.console(),
        result,
        units,
        title=result.scenario.title,
        visit=[] if visit is None else visit.lines(),
        chosen=None if result.chosen is None else result.chosen.name,
        standard=scenario is None and save_scenario is None,
        written=written,
    )


@click.command()
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("dewmargin-demo"),
    show_default=True,
    help="Folder for the results; made if missing.",
)
@options.units
@options.as_json
def demo(*, out: Path, units: Units, as_json: bool) -> None:
    """Compare strategies for an invented house, from weather alone and from a simulation.

    Larch House and Larch Valley are invented. The results are written to OUT/house and
    OUT/simulation.
    """
    from dewmargin.reports import terminal
    from dewmargin.studies.compare.comparison import compare as run
    from dewmargin.studies.demo import demo_folder, findings

    results = {name: run(demo_folder() / "scenarios" / file) for name, file, _ in DEMOS}
    for name, result in results.items():
        result.write(out / name, units=units)
    if as_json:
        print_json("demo", {name: _document(result) for name, result in results.items()})
        return
    console = terminal.console()
    for name, _, what in DEMOS:
        result = results[name]
        terminal.print_whole(console, [f"{result.scenario.title}: {what}"])
        chosen = None if result.chosen is None else result.chosen.name
        terminal.show_options(console, result, units, chosen=chosen)
        terminal.print_whole(console, [""])
    terminal.print_lines(console, findings(results["house"], results["simulation"], units))
    terminal.print_whole(
        console, [f"Written to {out}; start with {out / 'house' / 'report.html'}."]
    )


def _compared(
    scenario: Path | None,
    run: Path | None,
    *,
    environment: str | None,
    save_scenario: Path | None,
    site: tuple[Path, ...],
) -> Comparison:
    """Compare a scenario, a run, or a scenario with the results of a run."""
    if len(site) > 1:
        raise click.UsageError("--site goes once: give the last visit.")
    if site and scenario is None:
        raise click.UsageError("--site goes with SCENARIO, whose inputs it replaces.")
    visit = site[0] if site else None
    if save_scenario is not None and (scenario is not None or run is None):
        raise click.UsageError("--save-scenario goes with --run, without SCENARIO.")
    if run is not None:
        from dewmargin.studies.standard import compare_run

        return compare_run(
            run,
            scenario=scenario,
            environment=environment,
            save_scenario=save_scenario,
            site=visit,
        )
    if environment is not None:
        raise click.UsageError("--environment goes with --run; a scenario names its own.")
    if scenario is None:
        raise click.MissingParameter(
            "Give a scenario, a run with --run, or both.",
            ctx=click.get_current_context(),
            param_hint="'SCENARIO'",
            param_type="argument",
        )
    from dewmargin.studies.compare.comparison import compare as compare_scenario

    return compare_scenario(scenario, site=visit)


def _document(result: Comparison) -> dict[str, Any]:
    from dewmargin.reports.tables import rows

    names = ("comparison", "surfaces", "settings", "limits", "worst_hours")
    return {
        "title": result.scenario.title,
        "verdict": result.verdict,
        "chosen": None if result.chosen is None else result.chosen.name,
        "warnings": list(result.warnings),
        "site": None if result.scenario.site is None else result.scenario.site.document(),
        "humidity_reading": result.case.humidity_reading,
        **{name: rows(result.table(name)) for name in names},
    }
