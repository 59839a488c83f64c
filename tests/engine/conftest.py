"""Runs of the real engine, each made once a session."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from engine import houses

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import numpy as np


@pytest.fixture(scope="session")
def ask() -> Callable[[Path, str], dict[str, np.ndarray]]:
    """Return `houses.series`: a run's folder and a variable -> values by key."""
    return houses.series


@pytest.fixture(scope="session")
def weather_folder() -> Path:
    """Where the engine package keeps its typical years."""
    return houses.weather_files()


@pytest.fixture(scope="session")
def run_engine(tmp_path_factory, weather_folder) -> Callable[[str, str, str], Path]:
    """Return a function: house, variant, weather file's beginning -> folder of the run."""
    done: dict[tuple[str, str, str], Path] = {}

    def run(house: str, variant: str, weather: str) -> Path:
        key = (house, variant, weather)
        if key not in done:
            (epw,) = weather_folder.glob(f"{weather}*.epw")
            done[key] = houses.simulate(house, variant, epw, tmp_path_factory.mktemp("run"))
        return done[key]

    return run
