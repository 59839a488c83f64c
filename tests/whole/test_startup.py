"""What a command imports and reads: no more than it needs."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from dewmargin.studies.demo import demo_folder

if TYPE_CHECKING:
    from pathlib import Path

HOUSE = demo_folder() / "scenarios" / "larch_house.toml"
RUN = demo_folder() / "scenarios" / "larch_house_simulated.toml"
HEAVY = (
    "eppy",
    "jinja2",
    "matplotlib",
    "numba",
    "pandas",
    "pint",
    "psychrolib",
    "pyarrow",
    "scipy",
)
# Says at the end which of the heavy packages were imported, and what was asked of installed
# packages more than once: by us, since pydantic and numba look for plugins of their own.
PROBE = f"""
import atexit, collections, importlib.metadata, sys

asked = collections.Counter()

def counted(name):
    ask = getattr(importlib.metadata, name)
    def call(*what, **which):
        if sys._getframe(1).f_globals["__name__"].startswith("dewmargin"):
            asked[name, *what] += 1
        return ask(*what, **which)
    setattr(importlib.metadata, name, call)

for name in ("entry_points", "version", "distribution", "metadata"):
    counted(name)

def count(event, arguments):
    if event == "open" and str(arguments[0]).endswith("METADATA"):
        asked[arguments[0]] += 1
sys.addaudithook(count)

def tell():
    print(*sorted(set({HEAVY!r}) & set(sys.modules)), file=sys.stderr)
    print(len(asked), "asked, twice", [what for what, n in asked.items() if n > 1], file=sys.stderr)
atexit.register(tell)
"""
COMMAND = "from dewmargin.cli import main; sys.argv[0] = 'dewmargin'; main()"


def told(code: str, *arguments: str, folder: Path) -> list[str]:
    """Return what the probe says of a fresh process, whose kernel is compiled already."""
    done = subprocess.run(
        [sys.executable, "-c", PROBE + code, *arguments],
        capture_output=True,
        text=True,
        check=True,
        cwd=folder,
    )
    return done.stderr.splitlines()


def test_importing_the_package_imports_nothing_heavy(tmp_path) -> None:
    assert told("import dewmargin", folder=tmp_path) == ["", "0 asked, twice []"]


@pytest.mark.parametrize("scenario", [HOUSE, RUN])
def test_loading_a_scenario_imports_nothing_heavy(tmp_path, scenario: Path) -> None:
    code = f"import dewmargin; dewmargin.load({os.fspath(scenario)!r})"

    assert told(code, folder=tmp_path) == ["", "1 asked, twice []"]


@pytest.mark.parametrize("scenario", [HOUSE, RUN])
def test_check_imports_nothing_heavy_and_reads_metadata_once(tmp_path, scenario: Path) -> None:
    assert told(COMMAND, "check", str(scenario), folder=tmp_path) == ["", "1 asked, twice []"]


@pytest.mark.slow
def test_compare_imports_no_scipy_and_reads_metadata_once(tmp_path) -> None:
    imported, asked = told(COMMAND, "compare", str(HOUSE), "--out", "results", folder=tmp_path)

    assert {"numba", "pyarrow"} <= set(imported.split())
    assert not {"eppy", "pint", "psychrolib", "scipy"} & set(imported.split())
    assert asked.endswith(" asked, twice []")
