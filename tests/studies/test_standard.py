"""An answer from a run alone: what is assumed, what is said, and the file that says it."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
import tomllib
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

import dewmargin
from dewmargin.case import SurfaceYear
from dewmargin.cli import cli
from dewmargin.core.toml_file import quoted
from dewmargin.errors import InputError, OutputError
from dewmargin.scenario import load
from dewmargin.studies.compare.comparison import compare
from dewmargin.studies.demo import demo_folder
from dewmargin.studies.standard import _surfaces, compare_run, standard

SCENARIOS = demo_folder() / "scenarios"
DEMO = SCENARIOS / "model" / "larch_house.sql"
FACES = [
    f"{window} WINDOW {part}"
    for part in ("glass", "frame", "divider")
    for window in ("LIVING ROOM", "BEDROOM")
]
EDGE = "the run knows the centre of a pane, whose edge is colder"


def change(file: Path, script: str) -> None:
    with closing(sqlite3.connect(file)) as database:
        database.executescript(script)


@pytest.fixture(scope="module")
def january(tmp_path_factory) -> Path:
    """The demo run cut to January, so that a comparison is quick."""
    file = tmp_path_factory.mktemp("january") / "eplusout.sql"
    shutil.copy(DEMO, file)
    change(
        file,
        "DELETE FROM ReportData WHERE TimeIndex IN (SELECT TimeIndex FROM Time WHERE Month > 1);"
        "DELETE FROM Time WHERE Month > 1;"
        "UPDATE TabularData SET Value = '31' WHERE ColumnNameIndex IN "
        "(SELECT StringIndex FROM Strings WHERE Value = 'Duration {#days}');"
        "VACUUM",
    )
    return file


@pytest.fixture
def run(january, tmp_path) -> Path:
    """A folder with a copy of the January run."""
    folder = tmp_path / "run"
    folder.mkdir()
    shutil.copy(january, folder / "eplusout.sql")
    return folder


@pytest.mark.slow
def test_a_whole_year_alone_gives_an_answer_and_says_all_that_was_assumed():
    result = dewmargin.compare_run(DEMO)

    p99 = {o.strategy: o.row["demand_p99_kg_h"] for o in result.options}["hold 40 %"]
    (equipment,) = result.scenario.equipment
    # The smallest whole tenth that is not below the 99th percentile of the demand at 40 %.
    assert equipment.rate_kg_h - 0.1 < p99 <= equipment.rate_kg_h
    assert (10 * equipment.rate_kg_h) % 1 == pytest.approx(0.0, abs=1e-9)
    assert [s.name for s in result.case.surfaces] == FACES
    assert [o.name for o in result.options] == [
        "no humidifier",
        f"hold 35 % | {equipment.name} | mains",
        f"hold 40 % | {equipment.name} | mains",
        f"follow the cold | {equipment.name} | mains",
        f"windows 1 K dry | {equipment.name} | mains",
    ]
    assert result.warnings == (
        f"assumed: all window faces that the run reports decide; {EDGE}",
        (
            "assumed: two humidities held all year, one that falls with the cold (the line is our "
            "choice), and as much as the windows allow, up to 40 %"
        ),
        "assumed: water from the mains",
        (
            "assumed: a device of its own, as nothing is known of ducts: it may run at any hour, "
            f"drains nothing and gives {equipment.rate_kg_h:.1f} kg/h, the 99th percentile of the "
            f"demand at 40 % ({p99:.2f} kg/h) rounded up to a tenth"
        ),
        "not reported by the run and taken as zero: Zone Mechanical Ventilation Mass Flow Rate",
        (
            "mains temperature: its correlation is fitted to annual means of about 5 °C and more "
            "outdoors, here 1.4 °C; taken as 3.0 to 8.7 °C, nowhere below 3 °C, as buried mains "
            "rarely are (common practice, no source): measure it and give cold_c"
        ),
    )
    assert result.verdict.startswith(f"Choose 'windows 1 K dry | {equipment.name} | mains': ")


@pytest.mark.slow
@pytest.mark.parametrize("source", ["folder", "file"])
def test_the_saved_scenario_gives_the_same_numbers(source: str, run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "kept").mkdir()
    file = Path("kept/house.toml")
    given = Path("run") if source == "folder" else Path("run/eplusout.sql")

    at_once = compare_run(given, save_scenario=file)
    monkeypatch.chdir("/")
    again = compare(tmp_path / file)

    assert [o.row for o in again.options] == [o.row for o in at_once.options]
    assert again.verdict == at_once.verdict
    for name in ("comparison", "surfaces", "settings", "hourly"):
        assert again.table(name).data.keys() == at_once.table(name).data.keys()
        for column, values in again.table(name).data.items():
            np.testing.assert_array_equal(values, at_once.table(name).data[column])
    text = (tmp_path / file).read_text(encoding="utf-8")
    assert tomllib.loads(text)["space"]["simulation"]["results"] == (
        "../run" if source == "folder" else "../run/eplusout.sql"
    )


def test_a_scenario_saved_through_a_linked_folder_finds_its_run(run, tmp_path):
    (tmp_path / "far" / "away").mkdir(parents=True)
    (tmp_path / "link").symlink_to(tmp_path / "far" / "away")
    file = tmp_path / "link" / "house.toml"

    compare_run(run, save_scenario=file)

    (results,) = load(file).space.files(file.parent)
    assert results.samefile(run / "eplusout.sql")


def test_each_assumption_is_a_comment_of_the_scenario(run):
    made = standard(run)

    comments = " ".join(line[2:] for line in made.text.splitlines() if line.startswith("# "))
    assert re.findall(r"Assumed: (.+?)\.(?= Assumed|$)", comments) == list(made.assumed)
    assert len(made.assumed) == 4


def test_a_part_of_a_year_is_fed_with_water_of_10_degrees(run):
    result = compare_run(run)

    assert [s.temperature_c for s in result.scenario.supplies] == [10.0]
    assert result.warnings[2] == (
        "assumed: water of 10 °C, as a part of a year does not tell the mains"
    )


def test_a_run_without_window_faces_gets_an_edge_of_glass(run):
    change(
        run / "eplusout.sql",
        "DELETE FROM ReportDataDictionary WHERE Name LIKE 'Surface%Inside%Temperature'",
    )

    result = compare_run(run)

    (surface,) = result.case.surfaces
    case = result.case
    assert surface.name == "window glass, edge"
    np.testing.assert_allclose(
        surface.t_surface_c, case.t_out_c + 0.55 * (case.t_air_c - case.t_out_c), rtol=1e-12
    )
    assert result.warnings[0] == (
        "assumed: the run reports no window faces, so a temperature index of 0.55, the edge of "
        "double glazing (our choice), stands for the windows; "
        "Output:Variable,*,Surface Inside Face Temperature,Hourly; tells them"
    )


@pytest.mark.parametrize(
    ("parts", "chosen"),
    [
        pytest.param(
            ("glass", "frame", "divider"),
            ["W2 glass", "W0 frame", "W3 divider"],
            id="glass, frames and dividers",
        ),
        pytest.param(("glass", "frame"), ["W2 glass", "W0 frame"], id="no dividers"),
    ],
)
def test_of_many_windows_the_coldest_of_each_part_decides(
    parts: tuple[str, ...], chosen: list[str], january
):
    case = standard(january).case
    means = {
        "glass": (9.0, 8.0, 7.0, 8.5),
        "frame": (4.0, 5.0, 6.0, 7.0),
        "divider": (9.0, 8.0, 7.0, 6.0),
    }
    # A wall is colder than all, and one moment in a warm window is: neither decides.
    faces = {"WALL": np.full(case.n_steps, -20.0)}
    for part in parts:
        for i, mean in enumerate(means[part]):
            faces[f"W{i} {part}"] = np.full(case.n_steps, mean)
    faces["W1 glass"][0] = -30.0
    case = replace(
        case,
        simulated_surfaces={n: SurfaceYear(name=n, t_surface_c=t) for n, t in faces.items()},
    )

    why, tables = _surfaces(case)

    assert why == (
        f"of the run's {4 * len(parts)} window faces those coldest on average decide "
        f"({', '.join(parts)}); {EDGE}"
    )
    assert tomllib.loads(tables) == {"surfaces": [{"name": n, "simulated": n} for n in chosen]}


def test_a_building_that_demands_nothing_gets_the_smallest_device(run):
    # 9 g/kg is above 50 % at 20 °C.
    change(
        run / "eplusout.sql",
        "UPDATE ReportData SET Value = 0.009 WHERE ReportDataDictionaryIndex IN (SELECT "
        "ReportDataDictionaryIndex FROM ReportDataDictionary "
        "WHERE Name = 'Zone Mean Air Humidity Ratio')",
    )

    result = compare_run(run)

    assert result.scenario.equipment[0].rate_kg_h == 0.1
    assert result.verdict == (
        "None needed: without a humidifier the air is too dry in 0 of 744 heating-season hours. "
        "No limit on dry hours would change that."
    )


def test_a_run_period_that_is_chosen_is_written_down(run):
    made = standard(run, environment="larch year")

    assert tomllib.loads(made.text)["space"]["simulation"] == {
        "results": ".",
        "environment": "larch year",
    }


def test_a_run_period_that_is_not_there_is_refused(run):
    with pytest.raises(InputError) as caught:
        compare_run(run, environment="winter")

    assert str(caught.value) == (
        f"{run / 'eplusout.sql'}: environment: has no run period 'winter' (there is: LARCH YEAR)"
    )


@pytest.mark.slow
def test_a_scenario_is_compared_with_the_run_in_place_of_its_results(run):
    scenario = SCENARIOS / "larch_house_simulated.toml"
    elsewhere = Path(shutil.copy(DEMO, run / "eplusout.sql"))

    replaced = compare_run(elsewhere.parent, scenario=scenario)

    assert [o.row for o in replaced.options] == [o.row for o in compare(scenario).options]
    assert replaced.scenario.space.files(SCENARIOS) == (elsewhere,)


def test_a_run_period_is_replaced_with_the_run(run):
    scenario = load(SCENARIOS / "larch_house_simulated.toml")

    with pytest.raises(InputError) as caught:
        compare_run(run, scenario=scenario.file, environment="winter")

    assert str(caught.value) == (
        f"{run / 'eplusout.sql'}: environment: has no run period 'winter' (there is: LARCH YEAR)"
    )


def test_a_scenario_of_the_house_model_takes_no_run(run):
    house = SCENARIOS / "larch_house.toml"

    with pytest.raises(InputError) as caught:
        compare_run(run, scenario=house)

    assert str(caught.value) == (
        f"{house}: space: is [space.house], which takes no run "
        "(compare the scenario or the run alone, or give it a [space.simulation])"
    )


def test_a_scenario_that_exists_is_not_overwritten(run, tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text("# edited", encoding="utf-8")

    with pytest.raises(OutputError) as caught:
        compare_run(run, save_scenario=file)

    assert str(caught.value) == f"{file}: exists already (compare it, or choose another name)"
    assert file.read_text(encoding="utf-8") == "# edited"


def test_a_scenario_in_a_folder_that_is_missing_cannot_be_written(run, tmp_path):
    file = tmp_path / "gone" / "mine.toml"

    with pytest.raises(OutputError) as caught:
        compare_run(run, save_scenario=file)

    assert str(caught.value) == f"{file}: cannot be written: No such file or directory"


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_any_name_survives_the_scenario_s_text(name: str):
    assert tomllib.loads(f"name = {quoted(name)}") == {"name": name}


@pytest.mark.slow
def test_the_command_gives_an_answer_from_a_run_folder_alone(run):
    told = CliRunner().invoke(cli, ["compare", "--run", str(run)])
    document = json.loads(CliRunner().invoke(cli, ["compare", "--run", str(run), "--json"]).output)

    assert told.exit_code == 0, told.output
    assert told.output.startswith("Larch House: LARCH YEAR, standard scenario\n")
    assert (
        "\nWrite the standard scenario to a file, to change it: --save-scenario FILE\n"
        in told.output
    )
    assert told.output.endswith(document["verdict"].replace(". ", ".\n") + "\n")
    assert " ".join(told.output.split()).count("Note: assumed: ") == 4
    assert document["warnings"][0] == (
        f"assumed: all window faces that the run reports decide; {EDGE}"
    )
    assert len(document["comparison"]) == 5


@pytest.mark.slow
def test_the_command_writes_the_standard_scenario_and_compares_it(run, tmp_path):
    file = tmp_path / "standard.toml"
    out = tmp_path / "out"

    first = CliRunner().invoke(
        cli, ["compare", "--run", str(run), "--save-scenario", str(file), "--out", str(out)]
    )
    second = CliRunner().invoke(cli, ["compare", str(file)])

    assert (first.exit_code, second.exit_code) == (0, 0), first.output + second.output
    assert "--save-scenario" not in first.output
    assert (out / "manifest.json").exists()
    # Only the notes of what was assumed and the files written are more.
    kept = [line for line in second.output.splitlines() if line.strip()]
    assert [line for line in first.output.splitlines() if line in kept] == [
        line for line in second.output.splitlines() if line in kept
    ]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param(
            [],
            "Missing argument 'SCENARIO'. Give a scenario, a run with --run, or both.",
            id="neither scenario nor run",
        ),
        pytest.param(
            ["s.toml", "--environment", "winter"],
            "--environment goes with --run; a scenario names its own.",
            id="a run period without a run",
        ),
        pytest.param(
            ["s.toml", "--run", "run", "--save-scenario", "t.toml"],
            "--save-scenario goes with --run, without SCENARIO.",
            id="a scenario to save beside a scenario",
        ),
        pytest.param(
            ["--save-scenario", "t.toml"],
            "--save-scenario goes with --run, without SCENARIO.",
            id="a scenario to save without a run",
        ),
    ],
)
def test_wrong_usage_of_compare_is_told(arguments: list[str], message: str):
    done = CliRunner().invoke(cli, ["compare", *arguments])

    assert done.exit_code == 2
    assert done.output.splitlines()[-1] == f"Error: {message}"


def test_a_run_that_is_not_there_is_named(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    with pytest.raises(InputError) as caught:
        compare_run("gone")

    assert str(caught.value) == (
        "gone: results = 'gone': there is no such file "
        "(give the run's eplusout.sql; Output:SQLite,SimpleAndTabular; writes it)"
    )
