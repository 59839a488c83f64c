"""Workflow: the comparison as a step of the engine's workflow manager, after a simulation.

A file in one of the manager's workflow folders makes it known there::

    from dewmargin.workflow import HumidityComparison

The manager is no dependency. *Source* of what it asks for: repository NREL/EP-Launch,
``eplaunch/workflows/base.py`` (class ``BaseEPLaunchWorkflow1``), ``manager.py``,
``workflow_thread.py``; of where the results lie: repository NREL/EnergyPlus,
``workflows/energyplus.py``.
"""

from __future__ import annotations

from importlib.metadata import version
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

from dewmargin.errors import DewmarginError, InputError
from dewmargin.studies.standard import compare_run

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dewmargin.studies.compare.comparison import Comparison


class _NoManager:
    """In the place of the manager's base class: takes messages and leaves them."""

    def callback(self, message: str) -> None:
        """Take a message."""


if TYPE_CHECKING:
    Base = _NoManager
    Response = Any
else:
    try:
        from eplaunch.workflows.base import BaseEPLaunchWorkflow1 as Base
        from eplaunch.workflows.base import EPLaunchWorkflowResponse1 as Response
    except ImportError:
        Base, Response = _NoManager, SimpleNamespace

SCENARIO = ".dewmargin.toml"
RESULTS = "-dewmargin"
DRY, WET = "Dry without [h]", "Condensation without [h]"
DEMAND, VERDICT = "Demand, 99th percentile [kg/h]", "Verdict"


class HumidityComparison(Base):
    """Compare humidity strategies on the results of a model that the manager has run.

    Beside MODEL.idf it takes the results MODEL.sql or MODEL.eso and, if there is one, the scenario
    MODEL.dewmargin.toml; else the standard scenario. It writes the folder MODEL-dewmargin.
    """

    def name(self) -> str:
        """Return what the manager calls it."""
        return "Compare humidity strategies"

    def context(self) -> str:
        """Return the group in which the manager lists it."""
        return f"dewmargin {version('dewmargin')}"

    def description(self) -> str:
        """Return what it does."""
        return "Compare indoor-humidity strategies on the results of the last simulation"

    def uses_weather(self) -> bool:
        """Return that it asks for no weather file: the run tells its own."""
        return False

    def get_file_types(self) -> list[str]:
        """Return the kinds of model that it takes."""
        return ["*.idf", "*.imf", "*.epJSON"]

    def get_output_suffixes(self) -> list[str]:
        """Return what follows the model's name in the names of the files it writes."""
        return [f"{RESULTS}/{table}.csv" for table in ("comparison", "surfaces", "settings")]

    def get_extra_data(self) -> dict[str, str]:
        """Return nothing more."""
        return {}

    def get_interface_columns(self) -> list[str]:
        """Return the columns that it fills."""
        return [DRY, WET, DEMAND, VERDICT]

    def main(
        self,
        run_directory: str | Path,
        file_name: str,
        args: Mapping[str, Any],  # noqa: ARG002 - no weather, no place is needed
    ) -> Response:
        """Compare the run of a model; the response carries the verdict and the columns."""
        model = Path(run_directory) / file_name
        try:
            results = _results(model)
            self.callback(f"Comparing humidity strategies on {results}")
            scenario = model.with_name(model.stem + SCENARIO)
            result = compare_run(results, scenario=scenario if scenario.exists() else None)
            result.write(model.with_name(model.stem + RESULTS))
            verdict = result.verdict
            if model.stat().st_mtime > results.stat().st_mtime:
                verdict += f" ({results.name} is older than {model.name}: simulate it again)"
        except DewmarginError as error:
            return Response(success=False, message=str(error), column_data={})
        for line in result.summary_lines():
            self.callback(line)
        return Response(success=True, message=verdict, column_data=_columns(result, verdict))


def _results(model: Path) -> Path:
    """Return the results of a model, which the manager names after it, the engine eplusout."""
    for stem in (model.stem, f"EPLaunchRun_{model.stem}/{model.stem}", "eplusout"):
        for ending in (".sql", ".eso"):
            if (path := model.parent / f"{stem}{ending}").exists():
                return path
    raise InputError(
        f"has no results: there is no {model.stem}.sql",
        file=model,
        hint="run the simulation first; Output:SQLite,SimpleAndTabular; in the model writes it",
    )


def _columns(result: Comparison, verdict: str) -> dict[str, str]:
    dry, *others = (option.row for option in result.options)
    demands = [row["demand_p99_kg_h"] for row in others if row["demand_p99_kg_h"] is not None]
    return {
        DRY: _shown(dry["dry_h"], 0),
        WET: _shown(dry["condensation_h"], 0),
        DEMAND: _shown(max(demands, default=None), 2),
        VERDICT: verdict,
    }


def _shown(value: float | None, decimals: int) -> str:
    """Return a number as a column shows it; unknown is empty."""
    return "" if value is None else f"{value:.{decimals}f}"
