"""The session: profiles of the property tests, workers, order, and what tests share."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from hypothesis import settings

import shared

if TYPE_CHECKING:
    import pytest

HERE = Path(__file__).parent
# Tests of these folders need no compiled kernel. The first worker starts with them, so that it
# finds compiled what the second, which starts in the middle, compiles meanwhile.
FIRST = ("physics", "energyplus", "weather", "site")
# What `-m quick` is looked for in: laws of physics and of units. Other files are not even imported.
QUICK = ("physics", "test_units.py", "test_inputs.py")
MOST_WORKERS = 8  # what they share, and the longest test, bound what more would bring

# numba's first compilation takes longer than hypothesis' 200 ms deadline.
settings.register_profile("dewmargin", deadline=None, derandomize=True)
settings.load_profile("dewmargin")


def pytest_configure(config: pytest.Config) -> None:
    """Make the folder that all workers share, in the process that starts them."""
    if not hasattr(config, "workerinput"):
        shared.begin()


def pytest_unconfigure(config: pytest.Config) -> None:
    """Remove it."""
    if not hasattr(config, "workerinput"):
        shared.end()


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Return how many processes test: one a core for the whole suite, none besides for a part.

    Each worker imports and collects everything again, which takes as long as some folders' tests.
    """
    option = config.option
    whole = {Path(argument).resolve() for argument in config.args} <= {HERE, HERE.parent}
    if not whole or option.markexpr == "quick" or option.keyword or option.collectonly:
        return 0
    return min(_cores(), MOST_WORKERS)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave out what holds nothing quick, where the quick tests alone are asked for."""
    if config.option.markexpr != "quick" or collection_path in (HERE, *HERE.parents):
        return None
    return None if _below_tests(collection_path) in QUICK else True


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what is quick, and put first what needs no compiled kernel."""
    for item in items:
        if _below_tests(item.path) in QUICK and item.get_closest_marker("slow") is None:
            item.add_marker("quick")
    items.sort(key=lambda item: _below_tests(item.path) not in FIRST)


def _below_tests(path: Path) -> str:
    """Return the file or folder of `tests/` that a path is or lies in."""
    return path.relative_to(HERE).parts[0]


def _cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):  # not everywhere
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
