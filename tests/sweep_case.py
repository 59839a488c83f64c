"""A sweep of the small house in January, and a rule and a program around it for the rough tests."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

from stress_case import small

SCENARIO = 'scenario = "small.toml"\n'
GRID = (
    SCENARIO
    + """
[[axes]]
input = "strategies.reset.points"
name = "line"
values = [[[-20, 0.2], [5, 0.4]], [[-20, 0.3], [5, 0.4]]]

[[axes]]
input = "control.rh_bias"
values = [0.0, 0.03]

[[axes]]
input = "space.house.leakage_m3_h_at_50pa"
name = "leakage"
values = [700, 1100]
"""
)
# A rule that ends the process, never ends, or fails, as told; found like any installed extension.
POISON = """
import os
import signal
import time
from typing import Literal

import numpy as np

from dewmargin.inputs import Inputs


class Poison(Inputs):
    rule: Literal["poison"]
    name: str
    rh: float
    what: str = "works"

    @property
    def horizon_h(self):
        return 0.0

    def setpoint(self, case):
        if self.what == "crashes":
            os.kill(os.getpid(), signal.SIGKILL)
        while self.what == "hangs":
            time.sleep(0.05)
        if self.what == "fails":
            raise RuntimeError("no such rule")
        if self.what == "is nan":
            return np.full(case.n_steps, np.nan)
        return np.full(case.n_steps, self.rh)
"""
REPLACED = 'rule = "outdoor_reset"\npoints = [[-20, 0.20], [5, 0.40]]'


def sweep_file(folder: Path, text: str = GRID, *, lines: dict[str, str] | None = None) -> Path:
    """Write a scenario of January and a sweep's file of it."""
    small(folder, lines=lines)
    path = folder / "sweep.toml"
    path.write_text(text, encoding="utf-8")
    return path


def install_poison(folder: Path) -> Path:
    """Return a folder with the rule, to be put on the path of Python."""
    site = folder / "site"
    about = site / "poison-1.0.dist-info"
    about.mkdir(parents=True)
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: poison\nVersion: 1.0\n")
    (about / "entry_points.txt").write_text("[dewmargin.strategies]\npoison = poison:Poison\n")
    (site / "poison.py").write_text(POISON)
    return site


def poisoned(folder: Path, *kinds: str) -> Path:
    """Write a sweep whose rule does one after the other of some kinds."""
    site = install_poison(folder)
    text = (
        SCENARIO
        + f"""
[[axes]]
input = "strategies.reset.what"
name = "what"
values = {list(kinds)}

[[axes]]
input = "strategies.reset.rh"
name = "rh"
values = [0.3]
"""
    )
    path = folder / "sweep.toml"
    path.write_text(text, encoding="utf-8")
    sys.path.insert(0, str(site))
    try:
        small(folder, lines={REPLACED: 'rule = "poison"\nrh = 0.3'})
    finally:
        sys.path.remove(str(site))
    return path


def command(*arguments: object, site: Path | None = None) -> list[str]:
    """Return the command line."""
    return [str(Path(sys.executable).with_name("dewmargin")), "sweep", *map(str, arguments)]


def environment(site: Path | None = None) -> dict[str, str]:
    """Return the environment of a program that sees the rule."""
    return os.environ | ({} if site is None else {"PYTHONPATH": str(site)}) | {"NO_COLOR": "1"}


def run(*arguments: object, site: Path | None = None) -> subprocess.CompletedProcess:
    """Run the command to its end."""
    return subprocess.run(
        command(*arguments),
        capture_output=True,
        text=True,
        check=False,
        env=environment(site),
        timeout=300,
    )


def contents(out: Path) -> dict[str, str]:
    """Return the hash of every file below a folder, by its name there."""
    return {
        path.relative_to(out).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(out.rglob("*"))
        if path.is_file()
    }
