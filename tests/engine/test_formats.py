"""One run in all its formats: .sql, .eso, .csv as the engine writes it, .csv of ReadVarsESO."""

from __future__ import annotations

import re
import shutil
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest

from dewmargin.energyplus import sql
from dewmargin.energyplus.eio import read_eio
from dewmargin.energyplus.output_file import is_sum
from dewmargin.errors import InputError
from dewmargin.space.simulation import Simulation

pytestmark = [pytest.mark.engine, pytest.mark.slow]

MODEL = Path(__file__).with_name("models") / "cedar_house.idf"
ARRAYS = ("t_out_c", "w_out_kg_kg", "p_pa", "t_air_c", "w_base_kg_kg", "exchange_kg_s",
          "gains_kg_s", "heating_w", "cooling", "interval_start")  # fmt: skip
# The house is 15 m × 10 m × 2.7 m: its volume has two decimals, so that the .eio file tells it all.
ALL_FILES = ("Output:SQLite, SimpleAndTabular;", ("Output:SQLite, SimpleAndTabular;\n"
             "OutputControl:Files, Yes;\nOutput:Surfaces:List, Details;"))  # fmt: skip
TO_JANUARY = ("12, 31, 2017,", "1, 31, 2017,")
SECOND_PERIOD = """
RunPeriod, Thaw, 1, 20, 2017, 2, 10, 2017, Friday, No, No, No, Yes, Yes;
"""
RUNS = {
    "a year with two design days": (),
    "ten-minute steps beside coarser and detailed series": (
        TO_JANUARY,
        (", Hourly;", ", Timestep;"),
        (
            "Output:Variable, *, Zone Mean Air Temperature, Timestep;",
            (
                "Output:Variable, *, Zone Mean Air Temperature, Timestep;\n"
                "Output:Variable, *, Zone Mean Air Temperature, Daily;\n"
                "Output:Variable, *, Zone Mean Air Temperature, Monthly;\n"
                "Output:Variable, *, Zone Mean Air Temperature, RunPeriod;\n"
                "Output:Variable, *, Zone Mean Air Humidity Ratio, Detailed;\n"
                "Output:Variable, *, Zone Infiltration Mass Flow Rate, Detailed;\n"
                "Output:Meter, Electricity:Facility, Hourly;"
            ),
        ),
    ),
    "hours beside ten-minute steps": (
        TO_JANUARY,
        (
            "Output:Variable, *, Zone Mean Air Humidity Ratio, Hourly;",
            (
                "Output:Variable, *, Zone Mean Air Humidity Ratio, Hourly;\n"
                "Output:Variable, *, Zone Mean Air Humidity Ratio, Timestep;"
            ),
        ),
    ),
    "a leap year in weather without 29 February": (
        ("1, 1, 2017,", "2, 1, 2020,"),
        ("12, 31, 2017,", "3, 31, 2020,"),
        ("Sunday,                !- start day", "Saturday,"),
    ),
    "an energy instead of a rate": (
        TO_JANUARY,
        ("Zone Total Internal Latent Gain Rate", "Zone Total Internal Latent Gain Energy"),
    ),
    "a year that the engine chooses": (
        ("1, 1, 2017,", "1, 1, ,"),
        ("12, 31, 2017,", "2, 28, ,"),
    ),
    "a multiplier and a moisture capacity": (
        TO_JANUARY,
        ("Zone, CEDAR, 0, 0, 0, 0, 1, 1,", "Zone, CEDAR, 0, 0, 0, 0, 1, 3,"),
        ("Output:SQLite", "ZoneCapacitanceMultiplier:ResearchSpecial, M, , 1, 4;\nOutput:SQLite"),
    ),
}
TWO_PERIODS = (
    TO_JANUARY,
    ("Site:WaterMainsTemperature,", SECOND_PERIOD + "Site:WaterMainsTemperature,"),
)
NEW_YEAR = (("1, 1, 2017,", "12, 30, 2017,"), ("12, 31, 2017,", "1, 2, 2018,"),
            ("Sunday,                !- start day", "Saturday,"))  # fmt: skip


@pytest.fixture(scope="module")
def run_formats(tmp_path_factory, weather_folder):
    """Return a function: changes of the model -> folder with the run in all formats."""
    engine = weather_folder.parent / "energyplus"
    (weather,) = weather_folder.glob("USA_IL_Chicago*.epw")
    done: dict[tuple[tuple[str, str], ...], Path] = {}

    def run(changes: tuple[tuple[str, str], ...]) -> Path:
        if changes not in done:
            folder = tmp_path_factory.mktemp("formats")
            text = MODEL.read_text(encoding="utf-8")
            for old, new in (*changes, ALL_FILES):
                assert old in text, f"{MODEL.name} has no {old!r}"
                text = text.replace(old, new)
            (folder / "in.idf").write_text(text, encoding="utf-8")
            subprocess.run(
                [str(engine), "-w", str(weather), "-d", str(folder), str(folder / "in.idf")],
                check=True,
                capture_output=True,
            )
            _read_vars(folder, engine.parent / "PostProcess" / "ReadVarsESO")
            done[changes] = folder
        return done[changes]

    return run


def _read_vars(folder: Path, tool: Path) -> None:
    """Let the engine's own tool make readvars.csv of the .eso file."""
    place = folder / "readvars"
    place.mkdir()
    # In the package it lacks the right to be run, and it writes into the folder that it is run in.
    own = Path(shutil.copy(tool, place))
    own.chmod(0o755)
    shutil.copy(folder / "eplusout.eso", place)
    subprocess.run([str(own)], check=True, capture_output=True, cwd=place)
    for ending in ("eio", "end", "err"):
        shutil.copy(folder / f"eplusout.{ending}", folder / f"readvars.{ending}")
    shutil.move(place / "eplusout.csv", folder / "readvars.csv")


def read(folder: Path, name: str, **keys: object):
    return Simulation(results=name, **keys).case(weather=None, folder=folder)


def require_equal(case, sql) -> None:
    for name in ARRAYS:
        np.testing.assert_array_equal(getattr(case, name), getattr(sql, name), err_msg=name)
    for name in ("title", "dry_air_kg", "wraps", "latitude_deg", "steps_per_hour"):
        assert getattr(case, name) == getattr(sql, name)
    assert set(case.simulated_surfaces) == set(sql.simulated_surfaces)
    for name, face in case.simulated_surfaces.items():
        whole = sql.simulated_surfaces[name]
        assert face.construction == whole.construction
        np.testing.assert_array_equal(face.t_surface_c, whole.t_surface_c, err_msg=name)
        # The .eio file has areas in two decimals; the model's zone stands for up to three.
        assert face.area_m2 == (whole.area_m2 and pytest.approx(whole.area_m2, abs=3 * 0.0051))
    assert case.notes[1:] == sql.notes


@pytest.mark.parametrize("file", ["eplusout.eso", "eplusout.csv", "readvars.csv"])
@pytest.mark.parametrize("changes", RUNS.values(), ids=RUNS)
def test_every_format_gives_the_same_case_to_the_last_bit(run_formats, changes, file):
    folder = run_formats(changes)

    require_equal(read(folder, file), read(folder, "eplusout.sql"))


@pytest.mark.parametrize("environment", ["ANNUAL", "THAW"])
def test_of_run_periods_on_common_dates_all_but_the_sorted_csv_file_give_either(
    run_formats, environment
):
    folder = run_formats(TWO_PERIODS)
    sql = read(folder, "eplusout.sql", environment=environment)

    for file in ("eplusout.eso", "readvars.csv"):
        require_equal(read(folder, file, environment=environment), sql)
    with pytest.raises(InputError, match="on the same dates, which cannot be told apart"):
        read(folder, "eplusout.csv", environment=environment)
    with pytest.raises(InputError, match="holds 2 run periods: ANNUAL, THAW"):
        read(folder, "eplusout.csv")


def test_a_run_over_new_year_is_read_from_all_but_the_sorted_csv_file(run_formats):
    folder = run_formats(NEW_YEAR)
    sql = read(folder, "eplusout.sql")

    assert str(sql.interval_start[-1]) == "2018-01-02T23:00:00"
    for file in ("eplusout.eso", "readvars.csv"):
        require_equal(read(folder, file), sql)
    with pytest.raises(InputError, match="is sorted by month and day, which breaks a run period"):
        read(folder, "eplusout.csv")


@pytest.mark.parametrize("changes", RUNS.values(), ids=RUNS)
def test_the_eio_file_has_the_tables_of_the_sql_file(run_formats, changes):
    folder = run_formats(changes)
    with sql.opened(folder / "eplusout.sql") as run:
        tables = run.tables

    description = read_eio(folder / "eplusout.eso")

    for (table, column), rows in tables.items():
        # The engine's tabular report and its .eio file part ways in units written another way and
        # in rows shorter than their header; the rest is one.
        if (table, column) in description.tables and table != "Environment:Daylight Saving":
            assert description.tables[table, column] == rows, (table, column)
    for name in (
        ("Zone Volume Capacitance Multiplier", "Moisture Capacity Multiplier"),
        ("Site:Location", "Latitude"),
        ("Environment", "Duration"),
        ("Zone Air Solution Algorithm", "Algorithm"),
        ("Surface Heat Transfer Algorithm", "Value"),
        ("Building Information", "Building Name"),
    ):
        assert description.tables[name] == tables[name]


def test_units_tell_amounts_in_an_interval_from_rates_and_states(tmp_path, weather_folder):
    # The .eso and .csv files do not say which is which; the engine's list of outputs does.
    (weather,) = weather_folder.glob("USA_IL_Chicago*.epw")
    text = MODEL.read_text(encoding="utf-8").replace(*TO_JANUARY)
    (tmp_path / "in.idf").write_text(f"{text}\nOutput:VariableDictionary, IDF;\n", encoding="utf-8")
    engine = weather_folder.parent / "energyplus"
    subprocess.run(
        [str(engine), "-w", str(weather), "-d", str(tmp_path), str(tmp_path / "in.idf")],
        check=True,
        capture_output=True,
    )

    outputs = re.findall(
        r"^Output:Variable,\*,(.*?),hourly; !- \w+ (Average|Sum) \[(.*)\]$",
        (tmp_path / "eplusout.rdd").read_text(),
        flags=re.MULTILINE,
    )

    assert len(outputs) > 100
    for name, kind, unit in outputs:
        if unit not in ("", "m"):  # counts of calls, depth of rain: not ours
            assert is_sum(unit) == (kind == "Sum"), name


def test_a_run_killed_half_way_is_refused(run_formats, tmp_path, weather_folder):
    (weather,) = weather_folder.glob("USA_IL_Chicago*.epw")
    (tmp_path / "in.idf").write_text(
        MODEL.read_text(encoding="utf-8").replace(", Hourly;", ", Timestep;"), encoding="utf-8"
    )
    engine = weather_folder.parent / "energyplus"
    results = tmp_path / "eplusout.eso"
    with subprocess.Popen(
        [str(engine), "-w", str(weather), "-d", str(tmp_path), str(tmp_path / "in.idf")],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as process:
        while process.poll() is None and (
            not results.exists() or results.stat().st_size < 2_000_000
        ):
            time.sleep(0.01)
        process.kill()
    assert results.stat().st_size < 40_000_000, "the run came to its end"

    with pytest.raises(InputError, match=r"is unfinished: there is eplusout.err but no"):
        read(tmp_path, "eplusout.eso")
    # A copy without the engine's other files still tells: by its .eio, or by its own hours.
    (tmp_path / "eplusout.err").unlink()
    with pytest.raises(InputError, match=r"eplusout.eio: does not end with 'End of Data'"):
        read(tmp_path, "eplusout.eso")
    finished = run_formats(RUNS["a year with two design days"])
    shutil.copy(finished / "eplusout.eio", tmp_path)
    with pytest.raises(InputError, match=r"\(the run was cut off or "):
        read(tmp_path, "eplusout.eso")
