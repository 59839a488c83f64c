"""The command line: parse, delegate, print. Everything heavy is imported inside a command."""

from __future__ import annotations

import io
import json
import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from dewmargin.cli.site import amount, check_site
from dewmargin.errors import DewmarginError, OutputError
from dewmargin.plot import NAMES

if TYPE_CHECKING:
    from dewmargin.scenario import Scenario
    from dewmargin.studies.compare.comparison import Comparison
    from dewmargin.units import Units

PARTLY_DONE = 5
INTERRUPTED = 130
READER_GONE = 141  # as a shell reports a closed pipe
DEMOS = (
    ("house", "larch_house.toml", "the built-in house model on hourly weather"),
    ("simulation", "larch_house_simulated.toml", "the same house, simulated by EnergyPlus"),
)

_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")
_SYSTEMS = ("si", "ip")  # `dewmargin.units` is not imported for --help
_units = click.option(
    "--units",
    type=click.Choice(_SYSTEMS),
    default="si",
    show_default=True,
    help="What tables, page and CSV are in; ip: °F, gal, lb, kBtu. JSON and Parquet stay SI.",
)
_other_units = click.option(
    "--units", type=click.Choice(_SYSTEMS), help="Default: those in which it was written."
)
_scenario = click.argument("scenario", type=click.Path(dir_okay=False, path_type=Path))


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="dewmargin")
def cli() -> None:
    """Compare indoor-humidity strategies, humidifiers and water supplies, hour by hour."""


@cli.command()
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("dewmargin-demo"),
    show_default=True,
    help="Folder for the results; made if missing.",
)
@_units
@_json
def demo(*, out: Path, units: Units, as_json: bool) -> None:
    """Compare strategies for an invented house, from weather alone and from a simulation.

    Larch House and Larch Valley are invented. The results are written to OUT/house and
    OUT/simulation.
    """
    from dewmargin.reports import terminal  # noqa: PLC0415 - idem
    from dewmargin.studies.compare.comparison import compare as run  # noqa: PLC0415 - keeps --help fast
    from dewmargin.studies.demo import demo_folder, findings  # noqa: PLC0415 - idem

    results = {name: run(demo_folder() / "scenarios" / file) for name, file, _ in DEMOS}
    for name, result in results.items():
        result.write(out / name, units=units)
    if as_json:
        _print_json("demo", {name: _document(result) for name, result in results.items()})
        return
    for name, _, what in DEMOS:
        click.echo(f"{results[name].scenario.title}: {what}")
        _print_comparison(results[name], units)
        click.echo()
    terminal.print_lines(
        terminal.console(), findings(results["house"], results["simulation"], units)
    )
    click.echo(f"Written to {out}; start with {out / 'house' / 'report.html'}.")


@cli.command()
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
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the results; made if missing. Default: print only.",
)
@click.option("--hourly-csv", is_flag=True, help="Write the hours as CSV too (large).")
@click.option(
    "--site",
    type=click.Path(dir_okay=False, path_type=Path),
    multiple=True,
    metavar="VISIT",
    help="Site file of the last visit, as check-site measured --save writes it: its contact, "
    "effectiveness, feed and plenum in place of the scenario's.",
)
@_units
@_json
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
    from dewmargin.reports import terminal  # noqa: PLC0415 - keeps --help fast

    result = _compared(
        scenario, run_, environment=environment, save_scenario=save_scenario, site=site
    )
    written = result.write(out, hourly_csv=hourly_csv, units=units) if out is not None else []
    if as_json:
        _print_json("compare", _document(result) | {"files": [str(path) for path in written]})
        return
    click.echo(result.scenario.title)
    if result.scenario.site is not None:
        terminal.print_lines(terminal.console(), [*result.scenario.site.lines(), ""])
    _print_comparison(result, units)
    _print_settings(result)
    if scenario is None and save_scenario is None:
        click.echo("Write the standard scenario to a file, to change it: --save-scenario FILE")
    for path in written:
        click.echo(path)
    # What stands above has scrolled away.
    terminal.print_lines(terminal.console(), ["", *result.sentences(units)], style="bold")


@cli.command()
@_scenario
@click.option("--equipment", metavar="NAME", help="Default: the scenario's first.")
@click.option("--supply", metavar="NAME", help="Default: the scenario's first.")
@click.option(
    "--goal",
    "goals",
    multiple=True,
    metavar="COLUMN",
    help="What to be good in, most important first; may be repeated. Default: band_h and, with "
    "surfaces, condensation_h. With feed_l, shortfall_kg, shortfall_h, cost or co2_kg every line "
    "is tried, which takes minutes.",
)
@click.option(
    "--limit",
    "limits",
    multiple=True,
    metavar="COLUMN=NUMBER",
    help="What a line must keep, such as condensation_h=20; may be repeated. Default: the "
    "condensation that the verdict of compare accepts.",
)
@click.option(
    "--knots",
    type=click.IntRange(2, 6),
    default=2,
    show_default=True,
    help="Most points of a line; lines of two are searched completely.",
)
@click.option(
    "--look-ahead",
    type=click.IntRange(0, 72),
    multiple=True,
    default=(0,),
    show_default=True,
    metavar="HOURS",
    help="Forecast that the rule may use; may be repeated.",
)
@click.option(
    "--rule",
    "rules",
    type=click.Choice(["outdoor_reset", "surface_limit"]),
    multiple=True,
    default=("outdoor_reset",),
    show_default=True,
    help="surface_limit: a rule that knows the surfaces, by its margin; may be repeated.",
)
@click.option(
    "--range",
    "range_",
    type=(click.IntRange(1, 100), click.IntRange(1, 100)),
    metavar="LOW HIGH",
    help="Set-points in per cent. Default: 10 to the upper edge of the comfort band.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for table, chosen line and its settings. Default: print only.",
)
@_units
@_json
def frontier(
    *,
    scenario: Path,
    equipment: str | None,
    supply: str | None,
    goals: tuple[str, ...],
    limits: tuple[str, ...],
    knots: int,
    look_ahead: tuple[int, ...],
    rules: tuple[str, ...],
    range_: tuple[int, int] | None,
    out: Path | None,
    units: Units,
    as_json: bool,
) -> None:
    """Find the set-point lines of SCENARIO that no other line beats, and the best in a limit.

    The scenario's own strategies are not used.
    """
    from dewmargin.reports import terminal  # noqa: PLC0415 - idem
    from dewmargin.studies.frontier.frontier import best_lines  # noqa: PLC0415 - keeps --help fast
    from dewmargin.studies.options.limit import Limit  # noqa: PLC0415 - idem

    low, high = range_ or (None, None)
    with terminal.progress("tried, kept", None) as advance:
        found = best_lines(
            scenario,
            equipment=equipment,
            supply=supply,
            goals=goals,
            limits=[Limit.parse(text) for text in limits],
            knots=knots,
            look_ahead_h=look_ahead,
            rules=rules,
            low_percent=low,
            high_percent=high,
            after=advance,
        )
    written = found.write(out, units=units) if out is not None else []
    if as_json:
        _print_json("frontier", found.document() | {"files": [str(path) for path in written]})
        return
    console = terminal.console()
    terminal.print_lines(console, [found.scenario.title])
    terminal.print_lines(console, [found.sentence(units)], style="bold")
    tariff = found.scenario.tariff
    terminal.print_frontier(
        console,
        found.table(),
        [line.short() for line in found.lines],
        units,
        currency=None if tariff is None else tariff.currency,
    )
    terminal.print_lines(console, found.lines_of_search())
    if found.chosen is not None and found.as_set is not None:
        terminal.print_lines(console, ["", "To be set, by outdoor temperature:"])
        terminal.print_by_outdoor_temperature(
            console, found.settings(), "strategy", "rh_set_percent"
        )
        terminal.print_lines(console, ["To be pasted into the scenario:", ""])
        terminal.print_lines(console, found.toml().splitlines())
    for path in written:
        click.echo(path)


@cli.command()
@_scenario
@click.option(
    "--shortfall-h",
    type=click.FloatRange(0.0),
    metavar="HOURS",
    help="Most hours short, outside the hours after a set-back. Default: 0.4 % of all hours, 35 of "
    "a year.",
)
@click.option(
    "--shortfall-kg",
    type=click.FloatRange(0.0),
    metavar="KG",
    help="Most demand less delivered over the record. Default: 1 % of the demand.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the tables. Default: print only.",
)
@_units
@_json
def size(
    *,
    scenario: Path,
    shortfall_h: float | None,
    shortfall_kg: float | None,
    out: Path | None,
    units: Units,
    as_json: bool,
) -> None:
    """Find the load of SCENARIO, and the least size of each equipment that meets it.

    Each strategy, equipment and supply is solved anew with every size tried.
    """
    from dewmargin.reports import terminal  # noqa: PLC0415 - keeps --help fast
    from dewmargin.studies.size.sizing import size as find_sizes  # noqa: PLC0415 - idem

    with terminal.progress(f"size {scenario.name}", 1.0) as advance:
        found = find_sizes(
            scenario, shortfall_h=shortfall_h, shortfall_kg=shortfall_kg, after=advance
        )
    written = found.write(out, units=units) if out is not None else []
    if as_json:
        _print_json("size", found.document() | {"files": [str(path) for path in written]})
        return
    console = terminal.console()
    terminal.print_lines(console, [found.scenario.title])
    terminal.print_loads(console, found.loads, found.design_loads, units)
    terminal.print_sizes(console, found.sizes, units)
    terminal.print_lines(console, found.cautions())
    terminal.print_lines(console, [f"Note: {note}." for note in found.notes])
    for path in written:
        click.echo(path)


@cli.command()
@_scenario
@click.option(
    "--samples",
    type=click.IntRange(1, 10_000_000),
    default=1000,
    show_default=True,
    help="About how many sets of inputs to run; rounded up to a whole design.",
)
@click.option(
    "--sampling",
    type=click.Choice(["sobol", "latin_hypercube"]),
    default="sobol",
    show_default=True,
    help="Sobol sequence or Latin hypercube.",
)
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True)
@click.option(
    "--limit",
    "limits",
    multiple=True,
    metavar="COLUMN=NUMBER",
    help="How likely is it broken? Such as condensation_h=20; may be repeated. Default: the extra "
    "hours of condensation (extra_condensation_h) and the dry hours that compare accepts.",
)
@click.option(
    "--rank",
    multiple=True,
    metavar="OPTION",
    help="Options whose inputs are ranked by their share of the variance; all: every one, which "
    "takes longer. Default: the two that the verdict of compare would choose most often.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the tables. Default: print only.",
)
@_units
@_json
def stress(
    *,
    scenario: Path,
    samples: int,
    sampling: Literal["sobol", "latin_hypercube"],
    seed: int,
    limits: tuple[str, ...],
    rank: tuple[str, ...],
    out: Path | None,
    units: Units,
    as_json: bool,
) -> None:
    """Say how sure the comparison of SCENARIO is: draw its doubtful inputs again and again.

    What is drawn, and how, stands in its [[doubts]]; without them the usual doubts are drawn.
    """
    from dewmargin.reports import terminal  # noqa: PLC0415 - idem
    from dewmargin.studies.options.limit import Limit  # noqa: PLC0415 - keeps --help fast
    from dewmargin.studies.stress.study import LIMITED, study  # noqa: PLC0415 - idem

    asked = [Limit.parse(text, known=LIMITED) for text in limits]
    with terminal.progress(f"stress {scenario.name}", 1.0) as advance:
        found = study(
            scenario,
            samples=samples,
            sampling=sampling,
            seed=seed,
            limits=asked,
            rank=rank,
            after=advance,
        )
    written = found.write(out, units=units) if out is not None else []
    if as_json:
        _print_json("stress", found.document() | {"files": [str(path) for path in written]})
        return
    console = terminal.console()
    terminal.print_lines(console, [found.scenario.title])
    terminal.print_lines(console, [found.verdict], style="bold")
    tables = found.tables()
    terminal.print_spread(console, tables["spread"], tables["breaks"], units)
    terminal.print_sensitivity(console, tables["sensitivity"], found.told_of())
    terminal.print_lines(console, found.lines())
    for path in written:
        click.echo(path)


@cli.command()
@click.argument("sweep_file", metavar="SWEEP", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--out",
    metavar="DIR",
    help="Folder for the dataset, or an address such as s3://bucket/folder. What is there already, "
    "from a run that was broken off, is kept.",
)
@click.option("--dry-run", is_flag=True, help="Say how many cases, bytes and how long; then stop.")
@click.option("--threads", type=click.IntRange(1, 1024), help="Default: one a core.")
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Dask scheduler whose workers solve the blocks, such as tcp://host:8786; all must see the "
    "files of SWEEP and DIR.",
)
@click.option(
    "--device",
    type=click.Choice(["cpu", "gpu"]),
    default="cpu",
    show_default=True,
    help="What solves the balance; gpu needs the extra of that name.",
)
@click.option(
    "--patience",
    type=click.FloatRange(1.0, 1e6),
    default=600.0,
    show_default=True,
    metavar="SECONDS",
    help="How long a block may take before it is tried again in a process of its own.",
)
@_json
def sweep(
    *,
    sweep_file: Path,
    out: str | None,
    dry_run: bool,
    threads: int | None,
    cluster: str | None,
    device: Literal["cpu", "gpu"],
    patience: float,
    as_json: bool,
) -> None:
    """Solve all cases of SWEEP (a TOML file): a scenario with every combination of inputs.

    Broken off, the same command goes on where it was. Cases that cannot be solved are set aside in
    refused.csv, and the exit code is 5.
    """
    from dewmargin.studies.sweep import watch  # noqa: PLC0415 - keeps --help fast

    if not dry_run and out is None:
        raise click.UsageError("--out is missing; it can be left out with --dry-run.")
    if out is not None and cluster is None and not dry_run and not watch.is_watched():
        # A case that ends its process is not to end the sweep.
        click.get_current_context().exit(watch.watched(Path(out) / ".tries"))
    if watch.is_watched():
        watch.end_with_watcher()
    from dewmargin.reports import terminal  # noqa: PLC0415 - idem
    from dewmargin.studies.sweep import run  # noqa: PLC0415 - keeps --help fast

    if out is None:
        guess = run.dry_run(sweep_file, threads=threads, device=device)
        if as_json:
            _print_json("sweep", {"dry_run": guess.document()})
        else:
            terminal.print_lines(terminal.console(), guess.lines())
        return
    with terminal.progress(f"sweep {sweep_file.name}", 1.0) as advance:

        def after(progress: run.Progress) -> None:
            if as_json:
                click.echo(json.dumps(progress.document()), err=True)
            else:
                advance(progress.cases_done / progress.cases, progress.case_years_per_s)

        found = run.sweep(
            sweep_file,
            out,
            threads=threads,
            cluster=cluster,
            device=device,
            patience_s=patience,
            after=after,
        )
    if as_json:
        _print_json("sweep", found.document())
    else:
        terminal.print_lines(terminal.console(), found.lines())
    if found.refused:
        click.get_current_context().exit(PARTLY_DONE)


@cli.command()
@_scenario
@_json
def check(*, scenario: Path, as_json: bool) -> None:
    """Validate SCENARIO and its files; list what will be used, and every default."""
    from dewmargin.scenario import load  # noqa: PLC0415 - idem
    from dewmargin.studies.inventory import used  # noqa: PLC0415 - keeps --help fast

    checked = load(scenario)
    facts, notes = used(checked)
    if as_json:
        _print_json(
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
    _print_check(checked, facts, notes)


@cli.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--year", type=int, help="Year to take from a file of several.")
@_json
def weather(*, file: Path, year: int | None, as_json: bool) -> None:
    """Inspect an EPW FILE: gaps, design humidity, dryness, and how its humidity reads."""
    from dataclasses import asdict  # noqa: PLC0415 - keeps --help fast

    from dewmargin.reports import terminal  # noqa: PLC0415 - idem
    from dewmargin.weather.climate import summary  # noqa: PLC0415 - idem
    from dewmargin.weather.epw import read_epw  # noqa: PLC0415 - idem

    facts = summary(read_epw(file, year=year))
    if as_json:
        _print_json("weather", asdict(facts))
        return
    terminal.print_facts(terminal.console(), facts.lines())


@cli.command()
@click.argument("model", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="The copy to write; MODEL itself is never changed.",
)
@click.option(
    "--idd",
    type=click.Path(path_type=Path),
    help="Data dictionary (Energy+.idd) of the model's version. Default: looked for in "
    "DEWMARGIN_IDD, ENERGYPLUS_IDD, the model's folder, installed engines and eppy.",
)
@click.option(
    "--frequency",
    type=click.Choice(["hourly", "timestep"]),
    default="hourly",
    show_default=True,
    help="How often to report; every time step is finer, and larger.",
)
@click.option("--force", is_flag=True, help="Replace the copy if it exists.")
@_json
def prepare(
    *, model: Path, out: Path, idd: Path | None, frequency: str, force: bool, as_json: bool
) -> None:
    """Copy MODEL (an IDF or epJSON file) and add the outputs that a comparison needs."""
    from dataclasses import asdict  # noqa: PLC0415 - keeps --help fast

    from dewmargin.energyplus.idf import prepare as prepare_model  # noqa: PLC0415 - idem
    from dewmargin.reports import terminal  # noqa: PLC0415 - idem

    done = prepare_model(
        model,
        out,
        idd=idd,
        frequency="Hourly" if frequency == "hourly" else "Timestep",
        force=force,
    )
    has = done.model.contents
    if as_json:
        _print_json(
            "prepare",
            {
                "file": str(done.path),
                "version": done.model.version,
                "idd": str(done.model.idd),
                "encoding": done.model.encoding,
                "zones": [asdict(zone) for zone in has.zones],
                "windows": [asdict(window) for window in has.windows],
                "humidity_controls": [*has.humidity_controls, *has.humidifies],
                "added": list(done.added),
                "notes": list(done.notes),
            },
        )
        return
    console = terminal.console()
    terminal.print_facts(console, done.model.lines())
    terminal.print_lines(console, [f"note: {note}" for note in done.notes])
    terminal.print_lines(console, [f"added to {done.path}:" if done.added else "nothing to add"])
    terminal.print_lines(console, [f"  {line}" for line in done.added])


@cli.command()
@click.argument("model", type=click.Path(dir_okay=False, path_type=Path))
@click.argument("weather", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    metavar="RUN",
    help="Folder for the run; an earlier run in it is replaced.",
)
@click.option(
    "--engine",
    type=click.Path(path_type=Path),
    help="The engine, or its folder. Default: looked for in DEWMARGIN_ENGINE, ENERGYPLUS_EXE, "
    "the engine extra, PATH and where its installers put it.",
)
@_json
def simulate(*, model: Path, weather: Path, out: Path, engine: Path | None, as_json: bool) -> None:
    """Run MODEL (a prepared IDF) in WEATHER (an EPW file), to be compared with --run."""
    from dewmargin.energyplus.run import simulate as simulate_model  # noqa: PLC0415 - keeps --help fast
    from dewmargin.reports import terminal  # noqa: PLC0415 - idem

    # Ended from outside, the engine is to end with us.
    signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
    with terminal.progress(f"simulate {model.name}", 1.0) as advance:
        done = simulate_model(
            model,
            weather,
            out,
            engine=engine,
            progress=lambda _, share: None if share is None else advance(share),
        )
    if as_json:
        _print_json(
            "simulate",
            {
                "run": str(done.folder),
                "engine": str(done.engine),
                "warnings": done.n_warnings,
                "severe": list(done.severe),
            },
        )
        return
    if done.severe:
        click.echo(f"{len(done.severe)} severe errors, the first: {done.severe[0]}")
    click.echo(f"{done.n_warnings} warnings: {done.folder / 'eplusout.err'}")
    click.echo(f"Simulated; next: dewmargin compare --run {done.folder}")


@cli.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@_json
def verify(*, folder: Path, as_json: bool) -> None:
    """Check that the results in FOLDER are whole and as they were written."""
    from dewmargin.reports.folder import units_of, verify_folder  # noqa: PLC0415 - keeps --help fast

    names, units = verify_folder(folder), units_of(folder)
    if as_json:
        _print_json("verify", {"folder": str(folder), "files": names, "units": units})
        return
    told = ", ".join(f"{of} in {each}" for of, each in sorted(units.items()))
    also = f"; Parquet in si, {told}" if told else ""
    click.echo(f"{folder}: whole, {len(names)} files as they were written{also}")


@cli.command()
@click.argument(
    "folders", nargs=-1, required=True, type=click.Path(file_okay=False, path_type=Path)
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="File to write. Default for one folder: its report.html.",
)
@_other_units
@_json
def report(
    *, folders: tuple[Path, ...], out: Path | None, units: Units | None, as_json: bool
) -> None:
    """Make the page of the results in a folder again; of several folders, one side by side.

    Everything is taken from the tables and the manifest that lie there.
    """
    from dewmargin.reports import page  # noqa: PLC0415 - keeps --help fast

    if len(folders) == 1:
        written = page.again(folders[0], out, units=units)
    elif out is None:
        raise click.UsageError("Several folders make a new page: name it with --out FILE.")
    else:
        written = page.several(folders, out, units=units)
    if as_json:
        _print_json("report", {"file": str(written)})
        return
    click.echo(written)


@cli.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.argument("name", metavar="NAME", type=click.Choice(NAMES))
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="File to write, ending in .pdf, .svg or .png.",
)
@click.option("--option", metavar="NAME", help="For a chart of one option. Default: the chosen.")
@_other_units
@_json
def figure(
    *,
    folder: Path,
    name: str,
    out: Path,
    option: str | None,
    units: Units | None,
    as_json: bool,
) -> None:
    """Draw one chart of the results in FOLDER as a file of its own, for a paper."""
    from dewmargin.plot import draw, style  # noqa: PLC0415 - keeps --help fast
    from dewmargin.reports.folder import verify_folder, write_file  # noqa: PLC0415 - idem

    kind = out.suffix.lower().removeprefix(".")
    if kind not in style.KINDS:
        raise click.BadParameter("must end in .pdf, .svg or .png", param_hint="'--out'")
    verify_folder(folder)
    write_file(out, style.content(draw(name, folder, option=option, units=units), kind))
    if as_json:
        _print_json("figure", {"file": str(out)})
        return
    click.echo(out)


@cli.command()
def schema() -> None:
    """Print the JSON Schema of a scenario file, for editors that check while one types."""
    from dewmargin.scenario import json_schema  # noqa: PLC0415 - keeps --help fast

    click.echo(json.dumps(json_schema(), indent=1))


@cli.command()
@click.option("--check", "try_", is_flag=True, help="Import each, and say what cannot be used.")
@_json
def extensions(*, try_: bool, as_json: bool) -> None:
    """List the readers, strategies, equipment and reports that are installed, and by whom.

    Nothing is imported without --check; with it, one that cannot be used makes the exit code 3.
    """
    from dataclasses import asdict  # noqa: PLC0415 - keeps --help fast

    from dewmargin.core.extensions import OK, installed  # noqa: PLC0415 - idem
    from dewmargin.errors import ExtensionError  # noqa: PLC0415 - idem

    found = installed(check=try_)
    if as_json:
        _print_json("extensions", {"extensions": [asdict(each) for each in found]})
    else:
        from dewmargin.reports import terminal  # noqa: PLC0415 - keeps --help fast

        terminal.print_extensions(terminal.console(), found)
    if try_ and any(each.state != OK for each in found):
        click.get_current_context().exit(ExtensionError.exit_code)


@cli.command()
@_scenario
@click.option("--option", metavar="NAME", help="As compare names it. Default: the verdict's.")
@amount("--outdoor", "°C", "Outdoor temperature of the visit.")
@click.option(
    "--step",
    type=click.IntRange(1, 20),
    default=1,
    show_default=True,
    metavar="PERCENT",
    help="What the controller can be set to: multiples of it.",
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("sheet.html"),
    show_default=True,
    help="The page, an HTML file to be printed.",
)
@click.option("--text", is_flag=True, help="Print it as text instead, with all notes.")
@_units
@_json
def sheet(
    *,
    scenario: Path,
    option: str | None,
    outdoor: float | None,
    step: int,
    out: Path,
    text: bool,
    units: Units,
    as_json: bool,
) -> None:
    """Write one page for the site: fit, set, measure, watch.

    It prints on one side of A4 or Letter.
    """
    from dewmargin.reports import terminal  # noqa: PLC0415 - idem
    from dewmargin.reports.folder import write_file  # noqa: PLC0415 - idem
    from dewmargin.studies.compare.comparison import compare  # noqa: PLC0415 - keeps --help fast
    from dewmargin.studies.sheet import site_sheet  # noqa: PLC0415 - idem

    if out.suffix.lower() not in (".html", ".htm"):
        raise click.BadParameter(
            "the page is an HTML file: its name ends in .html", param_hint="--out"
        )

    page = site_sheet(compare(scenario), option, t_out_c=outdoor, step_percent=step, units=units)
    if as_json:
        _print_json("sheet", page.document())
        return
    if text:
        terminal.print_lines(terminal.console(), page.text())
        return
    write_file(out, page.html())
    click.echo(out)


cli.add_command(check_site)


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
        from dewmargin.studies.standard import compare_run  # noqa: PLC0415 - keeps --help fast

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
    from dewmargin.studies.compare.comparison import compare as compare_scenario  # noqa: PLC0415 - keeps --help fast

    return compare_scenario(scenario, site=visit)


def _print_comparison(result: Comparison, units: Units) -> None:
    from dewmargin.reports import terminal  # noqa: PLC0415 - keeps --help fast

    out = terminal.console()
    terminal.print_lines(out, result.sentences(units)[:1], style="bold")
    table = result.table("comparison")
    terminal.print_comparison(out, table, units)
    terminal.print_taken(out, table, units)
    if result.case.surfaces:
        faces = result.table("surfaces")
        shown = [result.options[0], *([result.chosen] if result.chosen is not None else [])]
        for option in shown:
            terminal.print_lines(out, [f"Surfaces, {option.name}:"])
            terminal.print_surfaces(out, faces, option.name, units)
    terminal.print_lines(out, result.summary_lines())


def _print_settings(result: Comparison) -> None:
    from dewmargin.reports import terminal  # noqa: PLC0415 - keeps --help fast

    out = terminal.console()
    terminal.print_lines(out, ["Relative humidity to set, by outdoor temperature:"])
    terminal.print_by_outdoor_temperature(
        out, result.table("settings"), "strategy", "rh_set_percent"
    )
    if result.case.surfaces:
        terminal.print_lines(
            out, ["Highest relative humidity of the room at which each surface stays dry:"]
        )
        terminal.print_by_outdoor_temperature(
            out, result.table("limits"), "surface", "rh_max_percent"
        )


def _print_check(scenario: Scenario, facts: list[tuple[str, str]], notes: list[str]) -> None:
    from dewmargin.reports import terminal  # noqa: PLC0415 - idem

    out = terminal.console()
    click.echo(f"{scenario.file}: fine")  # a long path is not to be broken
    terminal.print_facts(out, facts)
    terminal.print_lines(out, ["", "Notes"] if notes else [])
    terminal.print_lines(out, [f"  {note}" for note in notes])
    terminal.print_lines(out, ["", "Defaults"])
    for key, value, why in scenario.defaults():
        given = "not given" if value in (None, ()) else f"= {value}"
        terminal.print_lines(out, [f"  {key} {given}: {why}"])


def _document(result: Comparison) -> dict[str, Any]:
    from dewmargin.reports.tables import rows  # noqa: PLC0415 - keeps --help fast

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


def _print_json(name: str, document: dict[str, Any]) -> None:
    whole = {"schema": f"dewmargin/{name}/1", **document}
    click.echo(json.dumps(whole, indent=1, allow_nan=False))


def main() -> None:
    """Run the command line; errors raised on purpose become one line and their exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A character that a terminal cannot show must not end the program.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        code = cli(standalone_mode=False)
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # nothing to flush at exit
        sys.exit(READER_GONE)
    except OSError as error:
        click.echo(f"error: standard output: cannot be written: {error.strerror}", err=True)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(OutputError.exit_code)
    except DewmarginError as error:
        click.echo(f"error: {error}", err=True)
        sys.exit(error.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except (KeyboardInterrupt, click.Abort):
        sys.exit(INTERRUPTED)
    sys.exit(code if isinstance(code, int) else 0)
