"""Runs of the real engine, each model in each weather made once in a session of tests."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import pytest

import shared
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
def run_engine(weather_folder) -> Callable[[str, str, str], Path]:
    """Return a function: house, variant, weather file's beginning -> folder of the run."""

    def run(house: str, variant: str, weather: str) -> Path:
        (epw,) = weather_folder.glob(f"{weather}*.epw")
        text = houses.text_of(house, variant)
        model = hashlib.sha256(text.encode()).hexdigest()[:16]
        return shared.made(f"run {model} {epw.stem}", lambda folder: houses.run(text, epw, folder))

    return run
