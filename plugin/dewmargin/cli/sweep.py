"""The command that solves all combinations of inputs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Literal

import click

from dewmargin.cli import options
from dewmargin.cli.documents import print_json
from dewmargin.studies.sweep import watch

PARTLY_DONE = 5


@click.command()
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
@options.as_json
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
    if not dry_run and out is None:
        raise click.UsageError("--out is missing; it can be left out with --dry-run.")
    if out is not None and cluster is None and not dry_run and not watch.is_watched():
        # A case that ends its process is not to end the sweep.
        click.get_current_context().exit(watch.watched(Path(out) / ".tries"))
    if watch.is_watched():
        watch.end_with_watcher()
    from dewmargin.reports import terminal
    from dewmargin.studies.sweep import run

    if out is None:
        guess = run.dry_run(sweep_file, threads=threads, device=device)
        if as_json:
            print_json("sweep", {"dry_run": guess.document()})
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
        print_json("sweep", found.document())
    else:
        terminal.print_lines(terminal.console(), found.lines())
    if found.refused:
        click.get_current_context().exit(PARTLY_DONE)
