"""Commands around the engine: a model prepared, and run."""

from __future__ import annotations

import signal
import sys
from dataclasses import asdict
from pathlib import Path

import click

from dewmargin.cli import options
from dewmargin.cli.documents import print_json


@click.command()
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
@options.as_json
def prepare(
    *, model: Path, out: Path, idd: Path | None, frequency: str, force: bool, as_json: bool
) -> None:
    """Copy MODEL (an IDF or epJSON file) and add the outputs that a comparison needs."""
    from dewmargin.energyplus.idf import prepare as prepare_model
    from dewmargin.reports import terminal

    done = prepare_model(
        model,
        out,
        idd=idd,
        frequency="Hourly" if frequency == "hourly" else "Timestep",
        force=force,
    )
    has = done.model.contents
    if as_json:
        print_json(
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
    terminal.show_prepared(
        terminal.console(), done.model.lines(), done.notes, done.path, done.added
    )


@click.command()
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
@options.as_json
def simulate(*, model: Path, weather: Path, out: Path, engine: Path | None, as_json: bool) -> None:
    """Run MODEL (a prepared IDF) in WEATHER (an EPW file), to be compared with --run."""
    from dewmargin.energyplus.run import simulate as simulate_model
    from dewmargin.reports import terminal

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
        print_json(
            "simulate",
            {
                "run": str(done.folder),
                "engine": str(done.engine),
                "warnings": done.n_warnings,
                "severe": list(done.severe),
            },
        )
        return
    terminal.show_simulated(terminal.console(), done.folder, done.n_warnings, done.severe)
