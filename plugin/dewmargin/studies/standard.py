"""Standard scenario of a simulation run alone: what it does not tell is assumed, and said.

The scenario is made as text, read like any other, and may be written to a file to be changed; each
assumption is a comment there and a note of the comparison.
"""

from __future__ import annotations

import os
import textwrap
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.toml_file import quoted, write_new
from dewmargin.errors import InputError
from dewmargin.physics.mains import months_present
from dewmargin.scenario import load, parse
from dewmargin.solve import balance
from dewmargin.space.simulation import Simulation
from dewmargin.studies.compare.comparison import compare, compare_case

if TYPE_CHECKING:
    from collections.abc import Iterable

    from dewmargin.case import HourlyCase, SurfaceYear
    from dewmargin.scenario import Scenario
    from dewmargin.studies.compare.comparison import Comparison

NAME = "(standard scenario)"  # in place of a file's name, until it is written to one
PARTS = ("glass", "frame", "divider")  # a window's faces, as the reader of runs names them
MOST_FACES = 6  # two windows with frames and dividers; of more, the coldest of each part stands
EDGE_INDEX = 0.55  # edge of double glazing; our choice
SIZED_AT_RH = 0.40
SIZED_AT_QUANTILE = 0.99
RATE_STEP_KG_H = 0.1
COLD_FEED_C = 10.0  # where the run is too short to tell the mains
_MONTHS = 12

_STRATEGIES_WHY = (
    "two humidities held all year, one that falls with the cold (the line is our choice), and as "
    "much as the windows allow, up to 40 %"
)
_STRATEGIES = """\
[[strategies]]
name = "hold 35 %"
rule = "constant"
rh = 0.35

[[strategies]]
name = "hold 40 %"
rule = "constant"
rh = 0.40

[[strategies]]
name = "follow the cold"
rule = "outdoor_reset"
points = [[-30, 0.15], [-10, 0.25], [5, 0.40]]    # outdoor °C, relative humidity

[[strategies]]
name = "windows 1 K dry"
rule = "surface_limit"
margin_k = 1"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """The standard scenario of a run.

    Attributes
    ----------
    scenario : Scenario
        What the text says.
    text : str
        TOML.
    case : HourlyCase
        The run, with the scenario's surfaces.
    assumed : tuple of str
        One sentence an assumption, each also a comment of the text.
    """

    scenario: Scenario
    text: str
    case: HourlyCase
    assumed: tuple[str, ...]


def compare_run(
    run: str | Path,
    *,
    scenario: str | Path | None = None,
    environment: str | None = None,
    save_scenario: str | Path | None = None,
    site: str | Path | None = None,
) -> Comparison:
    """Compare strategies for a simulation run, with or without a scenario.

    Parameters
    ----------
    run : path
        A run's folder or its results file.
    scenario : path, optional
        A scenario with [space.simulation], whose results this run replaces. Default: the standard
        scenario, every assumption of which is among the comparison's warnings.
    environment : str, optional
        Name of the run period, where the run has several.
    save_scenario : path, optional
        New file for the standard scenario; compared, it gives the same numbers.
    site : path, optional
        What was measured at a visit, in the place of what `scenario` says.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        If the run or the scenario is refused.
    OutputError
        If `save_scenario` exists already or cannot be written.
    """
    if scenario is not None:
        given = with_run(load(scenario), run, environment=environment)
        return compare(given, site=site)
    made = standard(run, environment=environment, file=save_scenario)
    if save_scenario is not None:
        write_new(Path(save_scenario), made.text, do="compare it")
    result = compare_case(made.scenario, None, made.case)
    notes = tuple(f"assumed: {sentence}" for sentence in made.assumed)
    return replace(result, warnings=notes + result.warnings)


def with_run(scenario: Scenario, run: str | Path, *, environment: str | None = None) -> Scenario:
    """Return a scenario of a simulation with the results of another run in place of its own.

    Raises
    ------
    InputError
        If the scenario's space is no simulation.
    """
    if not isinstance(scenario.space, Simulation):
        raise InputError(
            f"is [space.{scenario.space_kind}], which takes no run",
            file=scenario.file,
            where="space",
            hint="compare the scenario or the run alone, or give it a [space.simulation]",
        )
    # Seen from the scenario's folder, a run named on the command line lies elsewhere.
    changed = {"results": str(Path(run).absolute())}
    if environment is not None:
        changed["environment"] = environment
    return replace(scenario, space=scenario.space.model_copy(update=changed))


def standard(
    run: str | Path, *, environment: str | None = None, file: str | Path | None = None
) -> Standard:
    """Read a run and make its standard scenario.

    Parameters
    ----------
    run : path
        A run's folder or its results file.
    environment : str, optional
        Name of the run period, where the run has several.
    file : path, optional
        Where the scenario will lie, from which it sees the run.

    Raises
    ------
    InputError
        If the run is refused.
    """
    run = Path(run)
    path = Path(file) if file is not None else (run if run.is_dir() else run.parent) / NAME
    space = Simulation(results=str(run), environment=environment)
    case = space.case(weather=None, folder=Path())
    head = f"title = {quoted(f'{case.title}, standard scenario')}\n\n"
    head += f"[space.simulation]\nresults = {quoted(_seen_from(path.parent, run))}"
    if environment is not None:
        head += f"\nenvironment = {quoted(environment)}"
    known = [_surfaces(case), (_STRATEGIES_WHY, _STRATEGIES), _supply(case)]
    # The demand that sizes the equipment depends on the surfaces: a draft chooses them.
    draft = parse(_text(head, [*known, _equipment(1.0, 1.0)]).encode(), path)
    case = draft.with_surfaces(case)
    demand = balance.demand(case, np.full(case.n_steps, SIZED_AT_RH)).added_kg
    p99_kg_h = float(np.quantile(demand, SIZED_AT_QUANTILE))
    # Rounding must not lift an exact multiple to the next.
    steps = max(1, int(np.ceil(p99_kg_h / RATE_STEP_KG_H - 1e-9)))
    parts = [*known, _equipment(steps * RATE_STEP_KG_H, p99_kg_h)]
    text = _text(head, parts)
    return Standard(
        scenario=parse(text.encode(), path),
        text=text,
        case=case,
        assumed=tuple(why for why, _ in parts),
    )


def _surfaces(case: HourlyCase) -> tuple[str, str]:
    """Choose the surfaces that decide; return why, and their tables."""
    faces = case.simulated_surfaces
    by_part = {
        part: [face for name, face in faces.items() if name.endswith(f" {part}")] for part in PARTS
    }
    found = [face for of_part in by_part.values() for face in of_part]
    edge = "the run knows the centre of a pane, whose edge is colder"
    if not found:
        why = (
            f"the run reports no window faces, so a temperature index of {EDGE_INDEX:g}, the edge "
            "of double glazing (our choice), stands for the windows; "
            "Output:Variable,*,Surface Inside Face Temperature,Hourly; tells them"
        )
        table = (
            '[[surfaces]]\nname = "window glass, edge"\n'
            f'temperature_index = {EDGE_INDEX:g}\nmaterial = "glass"'
        )
        return why, table
    if len(found) <= MOST_FACES:
        return f"all window faces that the run reports decide; {edge}", _face_tables(found)
    coldest = {
        part: min(of_part, key=lambda face: float(face.t_surface_c.mean()))
        for part, of_part in by_part.items()
        if of_part
    }
    why = (
        f"of the run's {len(found)} window faces those coldest on average decide "
        f"({', '.join(coldest)}); {edge}"
    )
    return why, _face_tables(coldest.values())


def _face_tables(faces: Iterable[SurfaceYear]) -> str:
    return "\n\n".join(
        f"[[surfaces]]\nname = {quoted(face.name)}\nsimulated = {quoted(face.name)}"
        for face in faces
    )


def _equipment(rate_kg_h: float, p99_kg_h: float) -> tuple[str, str]:
    why = (
        "a device of its own, as nothing is known of ducts: it may run at any hour, drains "
        f"nothing and gives {rate_kg_h:.1f} kg/h, the 99th percentile of the demand at "
        f"{100 * SIZED_AT_RH:g} % ({p99_kg_h:.2f} kg/h) rounded up to a tenth"
    )
    table = (
        f'[[equipment]]\nname = "{rate_kg_h:.1f} kg/h at any hour"\nkind = "fixed_rate"\n'
        f'rate_kg_h = {rate_kg_h:.1f}\nfeed_ratio = 1\ncall = "always"'
    )
    return why, table


def _supply(case: HourlyCase) -> tuple[str, str]:
    if months_present(case.interval_start) == _MONTHS:
        return "water from the mains", '[[supplies]]\nname = "mains"\nsource = "mains"'
    why = f"water of {COLD_FEED_C:g} °C, as a part of a year does not tell the mains"
    table = f'[[supplies]]\nname = "cold, {COLD_FEED_C:g} °C"\ntemperature_c = {COLD_FEED_C:g}'
    return why, table


def _text(head: str, parts: Iterable[tuple[str, str]]) -> str:
    """Return a scenario's text, the reason of each part as a comment above it."""
    lines = [
        "# Made by dewmargin from a run alone. Every comment below is an assumption:",
        "# change what you know better, and compare this file.",
        head,
    ]
    for why, tables in parts:
        comment = textwrap.wrap(
            f"Assumed: {why}.", width=98, initial_indent="# ", subsequent_indent="# "
        )
        lines += ["", *comment, tables]
    return "\n".join(lines) + "\n"


def _seen_from(folder: Path, run: Path) -> str:
    # Links are followed first: the folder above a linked one is that of its target.
    run = run.resolve()
    try:
        return Path(os.path.relpath(run, folder.resolve())).as_posix()
    except ValueError:  # on another drive
        return run.as_posix()
