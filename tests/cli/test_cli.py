"""The command line as a person meets it: real processes, real files."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

import page_case
from dewmargin.cli import cli
from dewmargin.scenario import json_schema
from dewmargin.studies.demo import demo_folder
from stress_case import small

HOUSE = demo_folder() / "scenarios" / "larch_house.toml"
WEATHER = demo_folder() / "weather" / "larch_valley.epw"
ENDS = ("csv", "parquet", "schema.json")


def run(*arguments: object, **options: object) -> subprocess.CompletedProcess[str]:
    """Run the installed command as a process of its own."""
    command = [str(Path(sys.executable).with_name("dewmargin")), *map(str, arguments)]
    env = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1"}
    return subprocess.run(
        command, capture_output=True, text=True, check=False, env=env, encoding="utf-8", **options
    )


@pytest.fixture(scope="module")
def compared(tmp_path_factory) -> tuple[subprocess.CompletedProcess[str], Path]:
    """Return what `compare --json` printed of the demo's house, and its folder, left as it is."""
    out = tmp_path_factory.mktemp("compared") / "out"
    return run("compare", HOUSE, "--out", out, "--json"), out


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from click.testing import CliRunner; from dewmargin.cli import cli;"
        "assert CliRunner().invoke(cli, ['compare', '--help']).exit_code == 0;"
        "heavy = ('numpy', 'pandas', 'numba', 'pyarrow', 'pydantic', 'rich', 'psychrolib', 'eppy',"
        "'jinja2', 'matplotlib');"
        "print([m for m in heavy if m in sys.modules])"
    )

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("name", sorted(cli.commands))
def test_every_command_has_help(name: str) -> None:
    result = CliRunner().invoke(cli, [name, "--help"])

    assert result.exit_code == 0
    assert cli.commands[name].help


@pytest.mark.slow
def test_the_demo_runs_and_writes_both_comparisons() -> None:
    ran = page_case.demo_run()

    assert (ran / "stderr").read_text(encoding="utf-8") == ""
    assert (ran / "exit code").read_text(encoding="utf-8") == "0"
    for folder in ("house", "simulation"):
        assert (ran / "demo" / folder / "manifest.json").exists()


@pytest.mark.slow
def test_compare_prints_one_json_document_and_nothing_else(compared) -> None:
    done, _ = compared

    document = json.loads(done.stdout)
    assert (done.returncode, done.stderr) == (0, "")
    assert document["schema"] == "dewmargin/compare/1"
    assert len(document["comparison"]) == 13
    assert document["comparison"][0]["demand_kg"] is None
    assert Path(document["files"][-1]).name == "manifest.json"


@pytest.mark.slow
def test_compare_begins_with_the_choice_and_ends_in_what_it_costs_and_what_would_change_it() -> (
    None
):
    lines = run("compare", HOUSE).stdout.splitlines()

    choose, saves, change = lines[-3:]
    assert lines[1] == choose
    assert choose.startswith("Choose 'windows 1 K dry | bypass pad | hot 55 °C': ")
    assert saves.startswith("'windows 3 K dry | bypass pad | hot 55 °C' would save ")
    assert re.match(r"If \d+ h more condensation than without a humidifier were accepted", change)
    assert sum(line == choose for line in lines) == 2


@pytest.mark.slow
def test_check_lists_what_will_be_used_and_every_default() -> None:
    text = run("check", HOUSE).stdout
    document = json.loads(run("check", HOUSE, "--json").stdout)

    assert text.startswith(f"{HOUSE}: fine")
    assert "12 and the baseline" in text
    assert "doubts (the usual)" in text
    keys = {row["key"] for row in document["defaults"]}
    assert {"comfort.low_rh", "space.house.gains_factor", "equipment[0].contact_frac"} <= keys
    assert all(row["why"] for row in document["defaults"])


@pytest.mark.slow
def test_weather_tells_the_dryness_of_a_file() -> None:
    text = run("weather", WEATHER).stdout
    document = json.loads(run("weather", WEATHER, "--json").stdout)

    assert "Larch Valley (invented)" in text
    assert "dew point below -10 °C" in text
    assert document["schema"] == "dewmargin/weather/1"
    assert document["t_out_min_c"] == -29.0


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        pytest.param(
            ["compare", "gone.toml"],
            3,
            "error: gone.toml: cannot be read: No such file or directory\n",
            id="no such scenario",
        ),
        pytest.param(
            ["weather", "gone.epw"],
            3,
            "error: gone.epw: cannot be read: No such file or directory\n",
            id="no such weather",
        ),
        pytest.param(
            ["frontier", str(HOUSE), "--limit", "dry_h"],
            3,
            "error: limit: cannot be read: 'dry_h' (such as condensation_h=20)\n",
            id="no limit",
        ),
        pytest.param(
            ["compare", "small.toml", "--out", "file/below"],
            4,
            "error: file/below: cannot be written: Not a directory\n",
            id="output is a file",
        ),
    ],
)
def test_what_is_refused_is_one_line_and_its_exit_code(
    arguments: list[str], code: int, message: str, tmp_path
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    small(tmp_path)

    done = run(*arguments, cwd=tmp_path)

    assert (done.returncode, done.stdout, done.stderr) == (code, "", message)


def test_wrong_usage_is_exit_code_2() -> None:
    done = run("compare")

    assert done.returncode == 2
    assert "Missing argument 'SCENARIO'" in done.stderr


@pytest.mark.slow
def test_a_closed_pipe_ends_quietly() -> None:
    command = f"{Path(sys.executable).with_name('dewmargin')} check {HOUSE} | head -1"

    done = subprocess.run(  # noqa: S602 - a pipe is what is tried
        command, shell=True, capture_output=True, text=True, check=False
    )

    assert done.stderr == ""
    assert done.stdout == f"{HOUSE}: fine\n"


def test_a_terminal_that_cannot_show_a_degree_sign_gets_a_question_mark() -> None:
    env = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = subprocess.run(
        [str(Path(sys.executable).with_name("dewmargin")), "weather", str(WEATHER)],
        capture_output=True, text=True, check=False, env=env,
    )  # fmt: skip

    assert done.returncode == 0, done.stderr
    assert "?C" in done.stdout


@pytest.mark.slow
def test_a_page_and_a_figure_are_made_from_results(compared, tmp_path) -> None:
    out = shutil.copytree(compared[1], tmp_path / "out")
    page = (out / "report.html").read_bytes()
    (out / "report.html").unlink()

    again, elsewhere = run("report", out), run("report", out, "--out", tmp_path / "x.html")
    drawn = run("figure", out, "load_duration", "--out", tmp_path / "x.pdf", "--json")

    assert (again.stdout, again.stderr) == (f"{out / 'report.html'}\n", "")
    assert (elsewhere.stdout, elsewhere.stderr) == (f"{tmp_path / 'x.html'}\n", "")
    assert (out / "report.html").read_bytes() == (tmp_path / "x.html").read_bytes() == page
    assert run("verify", out).returncode == 0
    assert json.loads(drawn.stdout) == {
        "schema": "dewmargin/figure/1",
        "file": str(tmp_path / "x.pdf"),
    }
    assert (tmp_path / "x.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.slow
def test_several_results_make_one_page(compared, tmp_path) -> None:
    folders = [shutil.copytree(compared[1], tmp_path / name) for name in ("before", "after")]

    done = run("report", *folders, "--out", tmp_path / "both.html", "--json")

    assert done.stderr == ""
    assert json.loads(done.stdout)["file"] == str(tmp_path / "both.html")
    assert "<h2>before</h2>" in (tmp_path / "both.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["report", "a", "b"], "Several folders make a new page: name it with --out FILE."),
        (["figure", "a", "water", "--out", "x.jpg"], "must end in .pdf, .svg or .png"),
        (["figure", "a", "pie", "--out", "x.pdf"], "'pie' is not one of 'setpoint_lines', "),
    ],
)
def test_a_page_or_figure_that_cannot_be_meant_is_exit_code_2(arguments, told) -> None:
    done = run(*arguments)

    assert done.returncode == 2
    assert told in " ".join(done.stderr.split())


@pytest.mark.parametrize("command", [["report"], ["figure", "--out", "x.pdf"]])
def test_no_page_and_no_figure_of_a_foreign_folder(command, tmp_path) -> None:
    name, *more = command
    chart = ["water"] if name == "figure" else []

    done = run(name, tmp_path, *chart, *more, cwd=tmp_path)

    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr == (
        f"error: {tmp_path}: has no manifest of results "
        "(a folder whose writing was broken off has none; compare again)\n"
    )


@pytest.mark.slow
def test_a_frontier_has_a_page_of_its_own(tmp_path) -> None:
    small(tmp_path)
    out = tmp_path / "out"
    limit = ("--limit", "condensation_h=20")
    assert run("frontier", tmp_path / "small.toml", *limit, "--out", out).returncode == 0

    done = run("report", out)

    assert (done.returncode, done.stderr) == (0, "")
    text = (out / "report.html").read_text(encoding="utf-8")
    assert "Lines that no other beats" in text
    assert text.count("<svg") == 1
    assert run("verify", out).returncode == 0
    drawn = run("figure", out, "frontier", "--out", tmp_path / "x.svg")
    assert drawn.returncode == 0, drawn.stderr


def test_results_are_verified_and_a_foreign_folder_is_not(compared, tmp_path) -> None:
    _, out = compared

    whole, other = run("verify", out), run("verify", tmp_path)

    written = [file for file in out.iterdir() if file.name != "manifest.json"]
    assert whole.stdout == (
        f"{out}: whole, {len(written)} files as they were written; "
        "Parquet in si, csv in si, page in si\n"
    )
    assert other.returncode == 3
    assert other.stderr.startswith(f"error: {tmp_path}: has no manifest of results")


def test_the_schema_is_one_json_document() -> None:
    document = json.loads(run("schema").stdout)

    assert document["title"] == "dewmargin scenario"
    assert {"house", "simulation", "table"} == set(document["properties"]["space"]["properties"])


@pytest.fixture(scope="module")
def stressed(tmp_path_factory):
    """Return a small scenario with a doubt, and what `stress` said of it and wrote."""
    folder = tmp_path_factory.mktemp("stress")
    small(folder, "equipment[*].effectiveness | factor | uniform | low=0.8; high=1.2")
    arguments = ("stress", folder / "small.toml", "--samples", 24, "--out", folder / "out")
    return folder, run(*arguments), run(*arguments[:4], "--json")


@pytest.mark.slow
def test_stress_says_how_sure_it_is_and_what_decides(stressed) -> None:
    _, done, _ = stressed

    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert lines[0] == "Small house (invented)"
    assert lines[1].startswith("In ")
    assert max(map(len, lines[2:10])) <= 80
    assert "What decides over feed_l of reset | pad | hot:" in lines
    assert any(line.split()[:1] == ["equipment[*].effectiveness"] for line in lines)
    assert "16 independent sets of inputs with all options (Sobol sequence, seed 1)." in lines
    assert "8 more with those whose inputs are ranked: reset | pad | hot." in lines
    assert "Drawn: equipment[*].effectiveness: uniform factor, low 0.8, high 1.2" in lines


@pytest.mark.slow
def test_stress_writes_a_folder_that_verifies(stressed) -> None:
    folder, done, _ = stressed

    written = [Path(line).name for line in done.stdout.splitlines() if line.startswith(str(folder))]
    assert sorted(written) == sorted(
        [
            *(f"{name}.{end}" for name in ("spread", "breaks", "sensitivity") for end in ENDS),
            "draws.parquet",
            "manifest.json",
        ]
    )
    checked = run("verify", folder / "out")
    assert checked.returncode == 0
    assert "whole" in checked.stdout


@pytest.mark.slow
def test_stress_prints_one_json_document(stressed) -> None:
    document = json.loads(stressed[2].stdout)

    assert document["schema"] == "dewmargin/stress/1"
    assert (document["evaluated"], document["draws"], document["seed"]) == (24, 16, 1)
    assert document["doubts"][0]["input"] == "equipment[*].effectiveness"
    assert document["sensitivity"][0]["rank"] == 1
    assert {row["number"] for row in document["breaks"]} == {"extra_condensation_h", "dry_h"}
    assert document["files"] == []


@pytest.mark.slow
def test_stress_asks_about_the_limits_that_are_given(stressed) -> None:
    file = stressed[0] / "small.toml"
    told = run("stress", file, "--samples", 24, "--limit", "feed_l=1", "--json")
    refused = run("stress", file, "--limit", "humidity=1")

    breaks = json.loads(told.stdout)["breaks"]
    assert [row["broken_frac"] for row in breaks] == [0.0, 1.0]
    assert refused.returncode == 3
    assert refused.stderr.startswith("error: limit: 'humidity' is not counted (one of: demand_kg, ")
    assert "extra_condensation_h" in refused.stderr


@pytest.mark.slow
def test_check_names_the_doubts(stressed) -> None:
    folder = stressed[0]
    assert "equipment[*].effectiveness" in run("check", folder / "small.toml").stdout
    (folder / "other").mkdir()
    small(folder / "other", "surfaces[7].area_m2 | value | uniform | low=1; high=2")

    refused = run("check", folder / "other" / "small.toml")

    assert refused.returncode == 3
    assert refused.stderr == (
        f"error: {folder / 'other' / 'small.toml'}: doubts[0].input: surfaces[7].area_m2 is not in "
        "this scenario\n"
    )


def test_the_schema_knows_doubts() -> None:
    document = json_schema()

    doubt = document["$defs"]["Doubt"]
    assert document["properties"]["doubts"]["items"]["$ref"] == "#/$defs/Doubt"
    assert doubt["required"] == ["input", "distribution"]
    assert doubt["properties"]["acts"]["enum"] == ["value", "factor", "offset"]
