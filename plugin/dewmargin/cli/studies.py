"""Commands that solve a scenario many times: best lines, sizes, doubts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import click

from dewmargin.cli import options
from dewmargin.cli.documents import print_json

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.units import Units


@click.command()
@options.scenario
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
@options.out_folder("Folder for table, chosen line and its settings. Default: print only.")
@options.units
@options.as_json
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
    from dewmargin.reports import terminal
    from dewmargin.studies.frontier.frontier import best_lines
    from dewmargin.studies.options.limit import Limit

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
        print_json("frontier", found.document() | {"files": [str(path) for path in written]})
        return
    tariff = found.scenario.tariff
    is_chosen = found.chosen is not None and found.as_set is not None
    terminal.show_frontier(
        terminal.console(),
        found,
        units,
        title=found.scenario.title,
        names=[line.short() for line in found.lines],
        currency=None if tariff is None else tariff.currency,
        is_chosen=is_chosen,
        written=written,
    )


@click.command()
@options.scenario
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
@options.out_folder("Folder for the tables. Default: print only.")
@options.units
@options.as_json
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
    from dewmargin.reports import terminal
    from dewmargin.studies.size.sizing import size as find_sizes

    with terminal.progress(f"size {scenario.name}", 1.0) as advance:
        found = find_sizes(
            scenario, shortfall_h=shortfall_h, shortfall_kg=shortfall_kg, after=advance
        )
    written = found.write(out, units=units) if out is not None else []
    if as_json:
        print_json("size", found.document() | {"files": [str(path) for path in written]})
        return
    terminal.show_sizes(
        terminal.console(), found, units, title=found.scenario.title, written=written
    )


@click.command()
@options.scenario
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
@options.out_folder("Folder for the tables. Default: print only.")
@options.units
@options.as_json
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
    from dewmargin.reports import terminal
    from dewmargin.studies.options.limit import Limit
    from dewmargin.studies.stress.study import LIMITED, study

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
        print_json("stress", found.document() | {"files": [str(path) for path in written]})
        return
    terminal.show_stress(
        terminal.console(), found, units, title=found.scenario.title, written=written
    )
