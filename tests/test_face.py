"""What `import dewmargin` offers: names, their types, and nothing loaded before it is used."""

from __future__ import annotations

import ast
import importlib
import inspect
import os
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path
from types import ModuleType

import pytest

import dewmargin

README = Path(__file__).parents[1] / "README.md"
PHYSICS = (
    "air",
    "air_exchange",
    "assembly",
    "glazing",
    "hardness",
    "mains",
    "media",
    "moisture_gains",
    "mould",
    "pad",
    "room_temperature",
    "series",
    "steam",
    "surfaces",
    "water_line",
)
CONFIG = """
[mypy]
strict = True
python_version = 3.11

[mypy-pandas.*,pyarrow.*]
ignore_missing_imports = True
"""
MORE = """
import numpy as np

reveal_type(dewmargin.compare("x.toml"))
reveal_type(result.comparison)
reveal_type(result.verdict)
scenario = dewmargin.load("x.toml")
reveal_type(scenario)
reveal_type(dewmargin.with_visit(scenario, "visit.toml"))
reveal_type(dewmargin.best_lines(scenario))
reveal_type(dewmargin.study(scenario))
reveal_type(dewmargin.size(scenario))
reveal_type(dewmargin.sweep("sweep.toml", "out"))
reveal_type(dewmargin.Plan("sweep.toml"))
reveal_type(dewmargin.compare_run("run"))
reveal_type(dewmargin.site_sheet(result))
reveal_type(dewmargin.read_epw("x.epw"))
reveal_type(dewmargin.air.saturation_pressure(np.zeros(3)))
reveal_type(dewmargin.surfaces.condenses(np.zeros(3), np.zeros(3), np.zeros(3)))
reveal_type(dewmargin.air.vapour_enthalpy(20.0))
reveal_type(dewmargin.balance.baseline(result.case))
reveal_type(dewmargin.__version__)
try:
    dewmargin.prepare_idf(object())
    dewmargin.solve_block("sweep.toml", 0)
except dewmargin.InputError as error:
    reveal_type(error)
"""
REVEALED = (
    "dewmargin.studies.compare.comparison.Comparison",
    "Any",
    "str",
    "dewmargin.scenario.Scenario",
    "dewmargin.scenario.Scenario",
    "dewmargin.studies.frontier.frontier.Frontier",
    "dewmargin.studies.stress.study.Stress",
    "dewmargin.studies.size.sizing.Sizing",
    "dewmargin.studies.sweep.dataset.Sweep",
    "dewmargin.studies.sweep.plan.Plan",
    "dewmargin.studies.compare.comparison.Comparison",
    "dewmargin.studies.sheet.Sheet",
    "dewmargin.weather.epw.Weather",
    "numpy.ndarray[tuple[Any, ...], numpy.dtype[numpy.float64]]",
    "numpy.ndarray[tuple[Any, ...], numpy.dtype[numpy.bool[bool]]]",
    "float",
    "dewmargin.solve.balance.Outcome",
    "str",
    "dewmargin.errors.InputError",
)
WRONG = """
import dewmargin

dewmargin.humidify("x.toml")
dewmargin.compare(3)
"""


def run_python(code: str) -> str:
    ran = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    return ran.stdout


def library_session() -> str:
    """Return the README's first session in Python."""
    return next(
        part.partition("```")[0]
        for part in README.read_text(encoding="utf-8").split("```python\n")[1:]
        if "dewmargin.compare(" in part.partition("```")[0]
    )


@pytest.mark.slow
def test_a_type_checker_knows_what_a_users_script_gets(tmp_path) -> None:
    (tmp_path / "mypy.ini").write_text(CONFIG)
    (tmp_path / "right.py").write_text(library_session() + MORE)
    (tmp_path / "wrong.py").write_text(WRONG)

    ran = subprocess.run(
        [sys.executable, "-m", "mypy", "--cache-dir", "cache", "right.py", "wrong.py"],
        cwd=tmp_path,
        env={k: v for k, v in os.environ.items() if k != "MYPYPATH"},
        capture_output=True,
        text=True,
        check=False,
    )

    lines = ran.stdout.splitlines()
    notes = [line for line in lines if line.startswith("right.py")]
    assert [note.partition("Revealed type is ")[2].strip('"') for note in notes] == list(REVEALED)
    assert [line for line in lines if "wrong.py" in line] == [
        'wrong.py:4: error: Module has no attribute "humidify"  [attr-defined]',
        (
            'wrong.py:5: error: Argument 1 to "compare" has incompatible type "int"; '
            'expected "str | Path | Scenario"  [arg-type]'
        ),
    ]
    assert lines[-1] == "Found 2 errors in 1 file (checked 2 source files)"


def test_what_is_listed_is_what_loads_and_what_a_type_checker_reads() -> None:
    tree = ast.parse(inspect.getsource(dewmargin))
    block = next(node for node in tree.body if isinstance(node, ast.If))
    typed = {
        alias.name: f"{node.module}.{alias.name}" if alias.name in modules() else node.module
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }

    assert ast.unparse(block.test) == "TYPE_CHECKING"
    assert typed == dewmargin._HOME | dewmargin._MODULES
    assert sorted(typed) == dewmargin.__all__


def modules() -> set[str]:
    return set(dewmargin._MODULES)


def test_the_modules_of_physics_and_the_balance_are_attributes() -> None:
    physics = Path(dewmargin.__file__).parent / "physics"

    assert modules() == {*PHYSICS, "balance"}
    # One state at a time serves the site and the design table; users have `air`.
    assert {path.stem for path in physics.glob("*.py")} == {
        *PHYSICS, "__init__", "moist_air_state",
    }  # fmt: skip
    for name in modules():
        assert isinstance(getattr(dewmargin, name), ModuleType)
        assert getattr(dewmargin, name) is importlib.import_module(dewmargin._MODULES[name])


def test_the_version_is_that_of_the_distribution() -> None:
    assert dewmargin.__version__ == version("dewmargin")


def test_completion_lists_what_is_public_before_it_is_loaded() -> None:
    code = (
        "import sys, dewmargin; names = dir(dewmargin);"
        "assert {*dewmargin.__all__, '__version__'} <= {*names};"
        "assert not [m for m in sys.modules if m.startswith('dewmargin.')]"
    )
    run_python(code)


def test_the_import_alone_loads_next_to_nothing() -> None:
    loaded = run_python(
        "import sys; before = {*sys.modules}; import dewmargin; print(*{*sys.modules} - before)"
    )

    packages = {name.partition(".")[0] for name in loaded.split()}
    assert packages <= {"dewmargin", "__future__", "importlib", "warnings"}
