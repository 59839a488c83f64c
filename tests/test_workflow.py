"""The workflow against the manager's contract, restated here from what is published.

*Source.* Repository NREL/EP-Launch, read in release 3.7.4 (package energyplus-launch, 2025-03):
``eplaunch/workflows/base.py`` for the two classes, ``manager.py`` for how a workflow is found,
``workflow_thread.py`` for how it is run, ``interface/frame_main.py`` for where outputs are sought.
Repository NREL/EnergyPlus, ``workflows/energyplus.py``, for the names of the results.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import sqlite3
import sys
from contextlib import closing
from inspect import getmembers, isclass
from types import ModuleType, SimpleNamespace
from typing import TYPE_CHECKING

import pytest

from dewmargin.studies.demo import demo_folder
from dewmargin.studies.standard import compare_run, standard

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.slow

DEMO = demo_folder() / "scenarios" / "model" / "larch_house.sql"
FILE = "from dewmargin.workflow import HumidityComparison\n"


class EPLaunchWorkflowResponse1:
    """What ``main`` returns, with the attributes that the manager reads."""

    def __init__(self, success, message, column_data, **extra_data: object) -> None:
        self.id = None
        self.success = success
        self.message = message
        self.column_data = column_data
        self.extra_data = extra_data


class BaseEPLaunchWorkflow1:
    """The base class: what must be overridden raises, the rest has a default."""

    def __init__(self) -> None:
        self.my_id = None
        self._callback = None
        self._process = None

    def name(self):
        raise NotImplementedError

    def context(self):
        raise NotImplementedError

    def description(self):
        raise NotImplementedError

    def get_file_types(self):
        raise NotImplementedError

    def get_output_suffixes(self):
        raise NotImplementedError

    def main(self, run_directory, file_name, args):
        raise NotImplementedError

    def uses_weather(self):
        return False

    def get_extra_data(self):
        return {}

    def get_interface_columns(self):
        return []

    def register_standard_output_callback(self, workflow_id, callback):
        self.my_id = workflow_id
        self._callback = callback

    def callback(self, message):
        self._callback(self.my_id, message)


def found_in(file: Path) -> list[type]:
    """Find workflows as ``WorkflowManager.instantiate_all_workflows`` does."""
    spec = importlib.util.spec_from_file_location("workflow_module_0", file)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return [
        found
        for _, found in getmembers(module, isclass)
        if len(found.__bases__) == 1 and "BaseEPLaunchWorkflow1" in found.__bases__[0].__name__
    ]


@pytest.fixture
def fresh(monkeypatch):
    """Let the module be imported anew, and its usual import return afterwards."""
    name = "dewmargin.workflow"
    monkeypatch.setitem(sys.modules, name, ModuleType(name))
    del sys.modules[name]


@pytest.fixture
def workflow(fresh, monkeypatch, tmp_path):
    """The workflow as the manager has it, and what it told; `told` holds its messages."""
    for name in ("eplaunch", "eplaunch.workflows", "eplaunch.workflows.base"):
        monkeypatch.setitem(sys.modules, name, ModuleType(name))
    base = sys.modules["eplaunch.workflows.base"]
    base.BaseEPLaunchWorkflow1 = BaseEPLaunchWorkflow1
    base.EPLaunchWorkflowResponse1 = EPLaunchWorkflowResponse1
    file = tmp_path / "workflows" / "humidity.py"
    file.parent.mkdir()
    file.write_text(FILE, encoding="utf-8")
    (found,) = found_in(file)
    made = found()
    told: list[str] = []
    made.register_standard_output_callback("7", lambda _, text: told.append(text))
    return SimpleNamespace(made=made, told=told)


@pytest.fixture(scope="module")
def january(tmp_path_factory) -> Path:
    """The demo run cut to January, so that a comparison is quick."""
    file = tmp_path_factory.mktemp("january") / "eplusout.sql"
    shutil.copy(DEMO, file)
    with closing(sqlite3.connect(file)) as database:
        database.executescript(
            "DELETE FROM ReportData WHERE TimeIndex IN "
            "(SELECT TimeIndex FROM Time WHERE Month > 1);"
            "DELETE FROM Time WHERE Month > 1;"
            "UPDATE TabularData SET Value = '31' WHERE ColumnNameIndex IN "
            "(SELECT StringIndex FROM Strings WHERE Value = 'Duration {#days}');"
            "VACUUM"
        )
    return file


@pytest.fixture
def model(tmp_path) -> Path:
    """A model in a folder of its own, an hour old; only its name and its age matter."""
    file = tmp_path / "models" / "larch house.idf"
    file.parent.mkdir()
    file.write_text("Version, 25.2;", encoding="utf-8")
    age = file.stat().st_mtime - 3600.0
    os.utime(file, (age, age))
    return file


def simulated(january: Path, model: Path, name: str = "larch house.sql") -> Path:
    """Put results where the manager's own simulation workflow puts them."""
    results = model.parent / name
    results.parent.mkdir(exist_ok=True)
    shutil.copy(january, results)
    return results


def test_the_manager_can_list_it(workflow):
    made = workflow.made

    assert made.name() == "Compare humidity strategies"
    assert made.context().startswith("dewmargin ")
    assert made.description()
    assert made.uses_weather() is False
    assert made.get_extra_data() == {}
    # Patterns of the file list: "*.idf".
    assert all(kind.startswith("*.") for kind in made.get_file_types())
    assert len(made.get_interface_columns()) == 4


def test_it_answers_with_the_verdict_and_every_column(workflow, january, model):
    results = simulated(january, model)
    expected = compare_run(results)

    response = workflow.made.main(model.parent, model.name, {"workflow location": "/w"})

    # The manager refuses any other type, be it a subclass.
    assert type(response) is EPLaunchWorkflowResponse1
    assert response.success is True
    assert response.message == expected.verdict
    dry, *others = (option.row for option in expected.options)
    assert response.column_data == {
        "Dry without [h]": f"{dry['dry_h']:.0f}",
        "Condensation without [h]": f"{dry['condensation_h']:.0f}",
        "Demand, 99th percentile [kg/h]": f"{max(r['demand_p99_kg_h'] for r in others):.2f}",
        "Verdict": expected.verdict,
    }
    assert list(response.column_data) == workflow.made.get_interface_columns()
    assert workflow.told == [
        f"Comparing humidity strategies on {results}",
        *expected.summary_lines(),
    ]


def test_its_outputs_open_by_their_suffixes(workflow, january, model):
    simulated(january, model)

    workflow.made.main(str(model.parent), model.name, {})

    for suffix in workflow.made.get_output_suffixes():
        assert (model.parent / (model.with_suffix("").name + suffix)).is_file()


@pytest.mark.parametrize(
    "name", ["EPLaunchRun_larch house/larch house.sql", "eplusout.sql", "larch house.sql"]
)
def test_results_are_found_where_the_simulation_leaves_them(name: str, workflow, january, model):
    results = simulated(january, model, name)

    response = workflow.made.main(model.parent, model.name, {})

    assert response.success, response.message
    assert workflow.told[0] == f"Comparing humidity strategies on {results}"


def test_results_named_after_the_model_come_before_those_of_another(workflow, january, model):
    simulated(january, model, "eplusout.sql")
    own = simulated(january, model)

    workflow.made.main(model.parent, model.name, {})

    assert workflow.told[0] == f"Comparing humidity strategies on {own}"


def test_a_scenario_beside_the_model_is_used(workflow, january, model):
    results = simulated(january, model)
    text = standard(results).text.replace('results = "larch house.sql"', 'results = "gone.sql"')
    text = text.replace("hold 35 %", "hold 45 %").replace("rh = 0.35", "rh = 0.45")
    (model.parent / "larch house.dewmargin.toml").write_text(text, encoding="utf-8")

    response = workflow.made.main(model.parent, model.name, {})

    assert response.success, response.message
    table = (model.parent / "larch house-dewmargin" / "comparison.csv").read_text(encoding="utf-8")
    assert "hold 45 %" in table
    assert "hold 35 %" not in table


def test_results_older_than_the_model_are_told(workflow, january, model):
    results = simulated(january, model)
    age = model.stat().st_mtime - 60.0
    os.utime(results, (age, age))

    response = workflow.made.main(model.parent, model.name, {})

    note = " (larch house.sql is older than larch house.idf: simulate it again)"
    assert response.message == compare_run(results).verdict + note
    assert response.column_data["Verdict"] == response.message


def test_a_model_that_was_not_simulated_is_told(workflow, model):
    response = workflow.made.main(model.parent, model.name, {})

    assert type(response) is EPLaunchWorkflowResponse1
    assert (response.success, response.column_data) == (False, {})
    assert response.message == (
        f"{model}: has no results: there is no larch house.sql (run the simulation first; "
        "Output:SQLite,SimpleAndTabular; in the model writes it)"
    )


def test_a_folder_that_cannot_be_written_is_told(workflow, january, model):
    simulated(january, model)
    (model.parent / "larch house-dewmargin").write_text("", encoding="utf-8")

    response = workflow.made.main(model.parent, model.name, {})

    assert response.success is False
    assert response.message == (
        f"{model.parent / 'larch house-dewmargin'}: cannot be written: File exists"
    )


def test_it_works_without_the_manager(fresh, january, model, monkeypatch):
    monkeypatch.setitem(sys.modules, "eplaunch", None)  # as if it were not installed
    simulated(january, model)
    from dewmargin.workflow import HumidityComparison  # noqa: PLC0415 - imported anew

    response = HumidityComparison().main(model.parent, model.name, {})

    assert response.success is True
    assert response.message == response.column_data["Verdict"]
