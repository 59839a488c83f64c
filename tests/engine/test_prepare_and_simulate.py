"""From a model as a person has it to a run that can be compared, through the real engine."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from dewmargin.energyplus.idf import prepare, read_model
from dewmargin.energyplus.run import simulate
from dewmargin.errors import InputError
from dewmargin.space.simulation import Simulation
from dewmargin.studies.demo import demo_folder
from engine import houses

pytestmark = [pytest.mark.engine, pytest.mark.slow]

WEATHER = demo_folder() / "weather" / "larch_valley.epw"


@pytest.fixture(autouse=True)
def needs_engine(monkeypatch):
    for variable in ("DEWMARGIN_IDD", "ENERGYPLUS_IDD", "DEWMARGIN_ENGINE", "ENERGYPLUS_EXE"):
        monkeypatch.delenv(variable, raising=False)


def model_text(name: str = "scenarios/model/larch_house.idf") -> str:
    """A house that reports nothing, for three days of January."""
    source = demo_folder() / name if "/" in name else houses.MODELS / f"{name}.idf"
    text = re.sub(r"(?m)^ *Output:[^;]*;.*\n", "", source.read_text(encoding="utf-8"))
    text = text.replace("12, 31, 2017", "1, 3, 2017")
    return text.replace("Yes,                    !- run for sizing", "No,   !- run for sizing")


def case(folder: Path):
    return Simulation(results=folder.name).case(weather=None, folder=folder.parent)


@pytest.fixture(scope="module")
def larch(tmp_path_factory) -> Path:
    """Larch House prepared and run, from a file in UTF-8 with a name that is no plain word."""
    folder = tmp_path_factory.mktemp("larch")
    text = model_text().replace("Bedroom Window", "Küche (N) [1]+ Window")
    (folder / "model.idf").write_text(text, encoding="utf-8")
    prepare(folder / "model.idf", folder / "prepared.idf")
    simulate(folder / "prepared.idf", WEATHER, folder / "run")
    return folder


def test_a_prepared_model_gives_a_run_that_is_a_case(larch) -> None:
    found = case(larch / "run")

    assert found.n_hours == 72
    # What the run tells because it was asked to: nothing is assumed, but that it is no year.
    assert [note for note in found.notes if not note.startswith("partial run: 3 days")] == []
    assert {
        "LIVING ROOM WINDOW glass",
        "LIVING ROOM WINDOW frame",
        "LIVING ROOM WINDOW divider",
    } <= (set(found.simulated_surfaces))
    # The engine takes a key as a regular expression, in which this name would match nothing; it
    # raises only the letters of ASCII.
    assert "KüCHE (N) [1]+ WINDOW frame" in found.simulated_surfaces


def test_all_that_was_asked_for_is_there_once(larch) -> None:
    asked = {line.split(",")[2] for line in prepare_again(larch) if ",*," in line}

    with closing(sqlite3.connect(larch / "run" / "eplusout.sql")) as database:
        rows = database.execute("SELECT KeyValue, Name FROM ReportDataDictionary").fetchall()

    assert len(rows) == len(set(rows))
    assert asked == {name for _, name in rows}


def prepare_again(folder: Path) -> tuple[str, ...]:
    return prepare(folder / "model.idf", folder / "again.idf", force=True).added


def test_preparing_twice_adds_nothing(larch) -> None:
    done = prepare(larch / "prepared.idf", larch / "twice.idf", force=True)

    assert done.added == ()
    assert (larch / "twice.idf").read_bytes() == (larch / "prepared.idf").read_bytes()


def test_reporting_changes_nothing_of_what_is_simulated(tmp_path) -> None:
    plain = model_text() + (
        "Output:Variable,*,Zone Mean Air Temperature,Hourly;\n"
        "Output:Variable,*,Zone Mean Air Humidity Ratio,Hourly;\n"
        "Output:SQLite,Simple;\n"
    )
    (tmp_path / "plain.idf").write_text(plain, encoding="utf-8")
    prepare(tmp_path / "plain.idf", tmp_path / "prepared.idf")

    for name in ("plain", "prepared"):
        simulate(tmp_path / f"{name}.idf", WEATHER, tmp_path / name)

    for variable in ("Zone Mean Air Temperature", "Zone Mean Air Humidity Ratio"):
        before = houses.series(tmp_path / "plain", variable)["LARCH HOUSE"]
        after = houses.series(tmp_path / "prepared", variable)["LARCH HOUSE"]
        assert before.size == 72
        np.testing.assert_array_equal(after, before, err_msg=variable)


def test_a_file_in_windows_encoding_is_run_and_keeps_its_bytes(tmp_path) -> None:
    raw = ("! Entwurf für die Küche\n" + model_text()).replace("\n", "\r\n").encode("cp1252")
    (tmp_path / "model.idf").write_bytes(raw)

    done = prepare(tmp_path / "model.idf", tmp_path / "prepared.idf")
    simulate(tmp_path / "prepared.idf", WEATHER, tmp_path / "run")

    written = (tmp_path / "prepared.idf").read_bytes()
    assert done.model.encoding == "cp1252"
    assert written[: len(raw)] == raw
    assert written.count(b"\n") == written.count(b"\r\n")
    assert case(tmp_path / "run").n_hours == 72


@pytest.mark.parametrize(
    ("house", "absent"),
    [
        pytest.param("alder_house", set(), id="a furnace and its fan"),
        pytest.param("aspen_house", set(), id="a recovery core"),
        pytest.param("maple_house", set(), id="an airflow network"),
        pytest.param(
            "willow_house",
            {"Zone Infiltration Mass Flow Rate", "Zone Ventilation Mass Flow Rate"},
            id="flows combined in quadrature",
        ),
    ],
)
def test_houses_of_every_kind_are_prepared_and_read(tmp_path, house: str, absent: set[str]) -> None:
    text = re.sub(r"(?m)^ *Output:[^;]*;.*\n", "", houses.HOUSES[house].text())
    text = text.replace("12, 31, 2017", "1, 3, 2017")
    (tmp_path / "model.idf").write_text(text, encoding="utf-8")

    done = prepare(tmp_path / "model.idf", tmp_path / "prepared.idf")
    simulate(tmp_path / "prepared.idf", WEATHER, tmp_path / "run")

    with closing(sqlite3.connect(tmp_path / "run" / "eplusout.sql")) as database:
        names = {name for (name,) in database.execute("SELECT Name FROM ReportDataDictionary")}
    missing = {line.split(",")[2] for line in done.added if "Variable" in line} - names
    # Flows that are combined are not reported apart.
    assert missing == absent
    chosen = {} if house != "maple_house" else {"zones": ["LIVING"]}
    found = Simulation(results="run", **chosen).case(weather=None, folder=tmp_path)
    assert np.mean(found.exchange_kg_s) > 0.0


def test_an_epjson_model_is_prepared_as_an_idf(tmp_path) -> None:
    (tmp_path / "model.idf").write_text(model_text(), encoding="utf-8")
    engine = read_model(tmp_path / "model.idf").idd.with_name("energyplus")
    subprocess.run(
        [engine, "--convert-only", "-d", tmp_path, tmp_path / "model.idf"],
        check=True,
        capture_output=True,
    )

    done = prepare(tmp_path / "model.epJSON", tmp_path / "prepared.idf")
    simulate(tmp_path / "prepared.idf", WEATHER, tmp_path / "run")

    assert done.model.contents.zones[0].volume_m3 == 430.0
    assert case(tmp_path / "run").n_hours == 72


def test_a_model_that_the_engine_refuses_is_told_in_one_line(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    text = model_text().replace("Construction, Slab, Foam,", "Construction, Slab, Feathers,")
    Path("model.idf").write_text(text + "Output:SQLite,Simple;", encoding="utf-8")

    with pytest.raises(InputError) as caught:
        simulate("model.idf", WEATHER, "run")

    assert str(caught.value) == (
        "model.idf: the engine stopped at a severe error: GetConstructData: Construction = "
        "FEATHERS Name = FEATHERS, item not found. (all it says is in run.failed/eplusout.err)"
    )
    assert not Path("run").exists()
    with pytest.raises(InputError, match=r"comes from a run that failed"):
        case(tmp_path / "run.failed")


def test_the_commands_print_results_to_stdout_and_nothing_else(tmp_path) -> None:
    (tmp_path / "model.idf").write_text(model_text(), encoding="utf-8")

    def run(*arguments: object) -> subprocess.CompletedProcess[str]:
        command = [Path(sys.executable).with_name("dewmargin"), *arguments]
        env = {**os.environ, "COLUMNS": "200"}
        return subprocess.run(
            command, capture_output=True, text=True, check=False, cwd=tmp_path, env=env
        )

    first = run("prepare", "model.idf", "--out", "prepared.idf", "--json")
    again = run("prepare", "prepared.idf", "--out", "again.idf")
    refused = run("prepare", "model.idf", "--out", "prepared.idf")
    made = run("simulate", "prepared.idf", WEATHER, "--out", "run", "--json")
    once_more = run("simulate", "prepared.idf", WEATHER, "--out", "run")

    document = json.loads(first.stdout)
    assert document["schema"] == "dewmargin/prepare/1"
    assert document["zones"] == [{"name": "LARCH HOUSE", "volume_m3": 430.0, "multiplier": 1.0}]
    assert len(document["windows"]) == 5
    assert document["added"][-1] == "Output:SQLite,SimpleAndTabular;"
    assert "zones" in again.stdout
    assert again.stdout.endswith("nothing to add\n")
    assert refused.returncode == 4
    assert refused.stderr == "error: prepared.idf: exists already (--force replaces it)\n"
    assert json.loads(made.stdout)["run"] == "run"
    assert once_more.stdout == (
        "0 warnings: run/eplusout.err\nSimulated; next: dewmargin compare --run run\n"
    )
    assert [done.stderr for done in (first, again, made, once_more)] == [""] * 4
