"""An extension in a package of its own, built, installed and used by the real command line."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import jsonschema
import pytest

from dewmargin.studies.demo import demo_folder

EXAMPLE = Path(__file__).with_name("example_extension")
HOUSE = demo_folder() / "scenarios" / "larch_house.toml"
WEATHER = demo_folder() / "weather" / "larch_valley.epw"
SPACE = HOUSE.read_text(encoding="utf-8").partition("[weather]")[2].partition("[assembly]")[0]
SHORT = f"""
title = "one option"
strategies = [STRATEGY]
equipment = [EQUIPMENT]
supplies = [{{ name = "cold", cold_c = 8.0 }}]
REPORTS
[weather]{SPACE}
"""
OURS = {
    "STRATEGY": '{ name = "35 %", rule = "constant", rh = 0.35 }',
    "EQUIPMENT": '{ name = "steam", kind = "fixed_rate", rate_kg_h = 1.0 }',
    "REPORTS": "",
}
THEIRS = {
    "STRATEGY": '{ name = "quiet", rule = "quiet_nights", day_rh = 0.4, night_rh = 0.3 }',
    "EQUIPMENT": '{ name = "pans", kind = "open_pans", area_m2 = 0.5 }',
    "REPORTS": 'reports = [{ kind = "csv" }, { kind = "verdict_note" }]',
}


class Site:
    """A folder with the example installed, whose module leaves a mark when it is imported."""

    def __init__(self, folder: Path) -> None:
        self.source, self.packages = folder / "source", folder / "packages"
        self.mark = folder / "imported"

    def run(self, *command: object, module: str = "dewmargin.cli") -> subprocess.CompletedProcess:
        """Run a program of the environment that sees the folder."""
        program = [str(Path(sys.executable).with_name("dewmargin"))]
        if module != "dewmargin.cli":
            program = [sys.executable, "-P", "-m", module]
        env = os.environ | {"PYTHONPATH": str(self.packages), "COLUMNS": "80", "NO_COLOR": "1"}
        self.mark.unlink(missing_ok=True)
        return subprocess.run(
            [*program, *map(str, command)],
            capture_output=True,
            text=True,
            check=False,
            env=env,
            encoding="utf-8",
            cwd=self.source,
        )


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Site:
    made = Site(tmp_path_factory.mktemp("site"))
    shutil.copytree(EXAMPLE, made.source, ignore=shutil.ignore_patterns("__pycache__"))
    with (made.source / "dewmargin_example.py").open("a", encoding="utf-8") as module:
        module.write(f"\n__import__('pathlib').Path({str(made.mark)!r}).touch()\n")
    done = made.run(
        *("install", "-q", "--no-index", "--no-deps", "--no-build-isolation"),
        *("--disable-pip-version-check", "--target", made.packages, made.source),
        module="pip",
    )
    assert done.returncode == 0, done.stderr
    return made


def scenario(folder: Path, names: dict[str, str]) -> Path:
    """Write a scenario of one option."""
    text = SHORT.replace('"../weather/larch_valley.epw"', f"'{WEATHER}'")
    for place, value in names.items():
        text = text.replace(place, value, 1)
    path = folder / "scenario.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.slow
def test_it_is_listed_with_its_package_and_not_imported(site) -> None:
    done = site.run("extensions")

    assert done.returncode == 0, done.stderr
    rows = [line.split() for line in done.stdout.splitlines()]
    for kind, name in (
        ("strategy", "quiet_nights"),
        ("equipment", "open_pans"),
        ("report", "verdict_note"),
    ):
        assert [kind, name, "dewmargin-example", "1.2.3", "not", "tried"] in rows
    assert not site.mark.exists()


@pytest.mark.slow
def test_it_is_fine_when_tried(site) -> None:
    done = site.run("extensions", "--check", "--json")

    assert done.returncode == 0, done.stderr
    assert {
        "kind": "strategy",
        "name": "quiet_nights",
        "distribution": "dewmargin-example",
        "version": "1.2.3",
        "object": "dewmargin_example:QuietNights",
        "state": "ok",
    } in json.loads(done.stdout)["extensions"]
    assert site.mark.exists()


@pytest.mark.slow
def test_a_scenario_that_names_it_is_compared_and_reported(site, tmp_path) -> None:
    out = tmp_path / "out"

    done = site.run("compare", scenario(tmp_path, THEIRS), "--out", out)

    assert done.returncode == 0, done.stderr
    assert site.mark.exists()
    note = (out / "verdict_note.txt").read_text(encoding="utf-8").splitlines()
    assert note[0] == "one option"
    assert note[-1].startswith("quiet | pans | cold: ")
    assert float(note[-1].split()[-2]) > 100.0
    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    assert "verdict_note.txt" in manifest["outputs_sha256"]
    assert manifest["scenario"]["reports[1]"] == {"kind": "verdict_note"}
    assert not list(out.glob("*.parquet"))  # the scenario names CSV and the note
    assert site.run("verify", out).returncode == 0
    (out / "verdict_note.txt").write_text("another", encoding="utf-8")
    assert site.run("verify", out).stderr == (
        f"error: {out / 'verdict_note.txt'}: is not as it was written (compare again)\n"
    )


@pytest.mark.slow
def test_the_sheet_tells_what_it_says_for_the_site(site, tmp_path) -> None:
    done = site.run(
        "sheet", scenario(tmp_path, THEIRS), "--option", "quiet | pans | cold", "--json"
    )

    assert done.returncode == 0, done.stderr
    page = json.loads(done.stdout)
    assert page["fit"] == [
        "1 x pans (open pans), level, on the radiators; it runs when the air is too dry.",
        "Feed line for 8 °C (46 °F): copper, pex, cpvc, plain plastic.",
        (
            "Tap: a tee and a full-port ball valve; feed valve shut without power; feed's end "
            "above the flood rim, or a listed backflow device. Watch the line under pressure for "
            "leaks before going on."
        ),
        "Water: softened water leaves less scale in the pans.",
        (
            "Humidity sensor: on an inner wall, away from the unit, doors and sun. Outdoor sensor: "
            "shaded, away from vents."
        ),
        "24 V: a transformer of its own, or a shared one loaded to 80 % at most.",
        "A float valve at each pan, and an overflow into the one below.",
    ]
    told = {each["key"]: each for each in page["expected"]}
    assert list(told) == ["t_pan_c", "feed_kg_h", "run_min_h", "rh_rise_percent", "valve_v"]
    assert told["t_pan_c"]["text"] == "35 °C (95 °F)"
    assert told["feed_kg_h"]["what"] == "what the pans lose"
    assert told["feed_kg_h"]["value"] > 0.0
    assert page["symptoms"][-1] == [
        "a pan dry",
        "float valve stuck",
        "free it, fill the pan by hand",
    ]
    assert page["cautions"][0] == (
        "Warm water that stands breeds germs: empty and wipe the pans each week."
    )
    assert len(page["settings"]) > 3
    assert page["assumed"][3] == "pans: area 0.5 m²."


@pytest.mark.slow
def test_a_scenario_that_does_not_name_it_does_not_import_it(site, tmp_path) -> None:
    done = site.run("compare", scenario(tmp_path, OURS), "--out", tmp_path / "out")

    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out" / "comparison.parquet").exists()
    assert not site.mark.exists()


@pytest.mark.slow
def test_its_keys_are_in_the_schema(site, tmp_path) -> None:
    """Oracle: the reference library of JSON Schema for Python."""
    schema = json.loads(site.run("schema").stdout)
    document = tomllib.loads(scenario(tmp_path, THEIRS).read_text(encoding="utf-8"))

    jsonschema.validate(document, schema)
    del document["equipment"][0]["area_m2"]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, schema)


@pytest.mark.slow
def test_its_own_tests_pass(site) -> None:
    done = site.run("-q", "--import-mode=importlib", "test_example.py", module="pytest")

    assert done.returncode == 0, done.stdout
    assert "3 passed" in done.stdout
