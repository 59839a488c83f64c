"""Sweeps: against full comparisons, other programs that open them, and themselves broken off."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import threading
import time
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

import duckdb
import numpy as np
import pandas as pd
import polars as pl
import psutil
import pyarrow.dataset as ds
import pyarrow.parquet as pq
import pytest

import dewmargin
from cases import held_zone
from dewmargin import columns, kernel
from dewmargin.core import parallel
from dewmargin.errors import InputError, OutputError
from dewmargin.kernel import year
from dewmargin.reports.folder import verify_folder
from dewmargin.solve import year_of_many
from dewmargin.space.house import House
from dewmargin.studies.compare.comparison import compare
from dewmargin.studies.sweep import blocks, dataset
from dewmargin.studies.sweep import run as sweeping
from dewmargin.studies.sweep.dataset import Store
from sweep_case import GRID, SCENARIO, command, contents, environment, poisoned, run, sweep_file
from year_cases import COUNTS, by

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.case import HourlyCase


@pytest.fixture(scope="module")
def grid(tmp_path_factory):
    """Return a small sweep that is done, its file and its folder."""
    folder = tmp_path_factory.mktemp("grid")
    path = sweep_file(folder, GRID + "\n[hourly]\ncases = [5]\n")
    return dewmargin.sweep(path, folder / "out", threads=2), path, folder / "out"


# Numbers


def test_every_case_has_the_numbers_of_its_own_comparison(grid) -> None:
    """Each case's scenario written by hand.

    A device's lines end at the band's upper edge instead of at its own set-point: water and energy
    within 0.5 %, the limit of these lines, and counts within 1 h.
    """
    found, path, _ = grid
    frame = found.to_pandas()
    text = (path.parent / "small.toml").read_text()
    assert len(frame) == 16
    compared = 0
    for case, (leakage, line, bias) in enumerate(
        product((700, 1100), ("-20, 0.20", "-20, 0.30"), (0.0, 0.03))
    ):
        changed = text.replace("pa = 1100", f"pa = {leakage}").replace("-20, 0.20", line)
        (path.parent / "one.toml").write_text(changed + f"\n[control]\nrh_bias = {bias}\n")
        mine = frame[frame["case"] == case]
        assert set(mine["leakage"]) == {leakage}
        assert set(mine["control.rh_bias"]) == {bias}
        for option in compare(path.parent / "one.toml").options:
            row = mine[mine["option"] == option.name].iloc[0]
            for name in year_of_many.METRICS:
                exact = option.row[name]
                assert np.isnan(row[name]) == (exact is None), (case, name)
                if exact is None:
                    continue
                compared += 1
                if name.endswith("_h") and name not in ("running_h", "below_band_percent_h"):
                    assert abs(row[name] - exact) <= 1.0, (case, name, option.name)
                else:
                    assert row[name] == pytest.approx(exact, rel=5e-3, abs=1e-2), (case, name)
    assert compared > 8 * 2 * 20


def test_the_same_sweep_gives_the_same_bytes_on_any_number_of_threads(grid) -> None:
    found, path, out = grid

    for threads in (1, 4):
        other = path.parent / f"threads{threads}"
        dewmargin.sweep(path, other, threads=threads)
        assert contents(other) == contents(out)
    assert verify_folder(out)
    assert found.refused == 0


def test_numbers_do_not_depend_on_how_cases_are_cut_into_blocks(grid, tmp_path) -> None:
    found, _, _ = grid
    frame = found.to_pandas()

    for size in (3, 8):
        path = sweep_file(tmp_path, f"block = {size}\n{GRID}")
        other = dewmargin.sweep(path, tmp_path / f"out{size}").to_pandas()
        pd.testing.assert_frame_equal(other, frame, check_exact=True, check_categorical=False)


def test_a_block_can_be_solved_in_anybodys_scheduler(grid) -> None:
    found, path, out = grid

    for number, name in enumerate(found.parts):
        table = dewmargin.solve_block(path, number)
        assert table.equals(pq.read_table(out / "dataset" / name))


# What lies in the folder


def test_the_dataset_opens_in_other_programs_alike(grid) -> None:
    found, _, out = grid
    parts = str(out / "dataset" / "*.parquet")

    mine = pd.read_parquet(out / "dataset")
    theirs = {
        "pyarrow": ds.dataset(out / "dataset").to_table().to_pandas(),
        "duckdb": duckdb.sql(f"SELECT * FROM '{parts}' ORDER BY \"case\"").df(),  # noqa: S608 - our path
        "polars": pl.read_parquet(parts).to_pandas(),
        "handle": found.to_pandas(),
    }
    for name, frame in theirs.items():
        assert list(frame.columns) == list(mine.columns), name
        frame = frame.sort_values(["case", "option"], kind="stable", ignore_index=True)  # noqa: PLW2901
        expected = mine.sort_values(["case", "option"], kind="stable", ignore_index=True)
        for column in mine.columns:
            a, b = frame[column], expected[column]
            if column in year_of_many.METRICS:
                np.testing.assert_array_equal(a.to_numpy(float), b.to_numpy(float), err_msg=name)
            else:
                assert a.astype(object).fillna("").tolist() == b.astype(object).fillna("").tolist()
    wet = duckdb.sql(f"SELECT max(condensation_h) FROM '{parts}' WHERE leakage = 700")  # noqa: S608 - idem
    assert wet.fetchall()[0][0] == mine[mine["leakage"] == 700]["condensation_h"].max()


def test_every_column_tells_its_unit_and_what_it_is(grid) -> None:
    _, _, out = grid
    schema = pq.read_schema(next((out / "dataset").iterdir()))

    about = {f.name: {k.decode(): v.decode() for k, v in f.metadata.items()} for f in schema}
    assert about["feed_l"] == {"unit": "l", "description": "water fed to the equipment"}
    assert about["case"] == {"unit": "1", "description": "number of the case, from 0"}
    assert about["leakage"] == {
        "unit": "m3/h",
        "description": "space.house.leakage_m3_h_at_50pa",
    }
    assert [c.name for c in columns.YEARLY] == schema.names[-len(year_of_many.METRICS) :]


def test_the_summary_has_least_median_and_most(grid) -> None:
    """As pandas groups them."""
    found, _, _ = grid
    frame, summary = found.to_pandas(), found.summary

    for parameter, value in (("", ""), ("leakage", "700"), ("control.rh_bias", "0.03")):
        some = frame if not parameter else frame[frame[parameter].astype(str) == value]
        mine = summary[
            (summary["parameter"].fillna("") == parameter)
            & (summary["value"].fillna("").astype(str) == value)
        ].set_index(["option", "number"])
        for option, group in some.groupby("option", observed=True):
            for number in ("feed_l", "condensation_h", "worst_margin_k"):
                row = mine.loc[(option, number)]
                assert row["cases"] == len(group)
                assert row["least"] == pytest.approx(group[number].min(), rel=1e-12)
                assert row["median"] == pytest.approx(group[number].median(), rel=1e-12)
                assert row["most"] == pytest.approx(group[number].max(), rel=1e-12)


def test_many_values_of_a_parameter_are_told_in_quarters(tmp_path) -> None:
    text = (
        SCENARIO
        + "[sample]\nn = 32\n[[sample.inputs]]\n"
        + 'input = "tariff.gas_per_kwh"\ndistribution = "uniform"\nlow = 0.1\nhigh = 0.2\n'
    )
    found = dewmargin.sweep(sweep_file(tmp_path, text), tmp_path / "out")

    of_cost = found.summary[
        (found.summary["number"] == "cost") & (found.summary["parameter"] == "tariff.gas_per_kwh")
    ]
    pad = of_cost[of_cost["option"] != "no humidifier"]
    assert pad["cases"].tolist() == [8, 8, 8, 8]
    assert (np.diff(pad["median"]) > 0.0).all()
    assert pad["value"].iloc[0].startswith("0.1")


def test_the_hours_of_chosen_cases_are_those_of_their_comparison(grid) -> None:
    found, path, out = grid
    hours = pd.read_parquet(out / "hourly" / "case-000000005.parquet")
    text = (path.parent / "small.toml").read_text()
    (path.parent / "five.toml").write_text(text + "\n[control]\nrh_bias = 0.03\n")

    compare(path.parent / "five.toml").write(path.parent / "five")
    pd.testing.assert_frame_equal(hours, pd.read_parquet(path.parent / "five" / "hourly.parquet"))
    mine = found.to_pandas()
    mine = mine[(mine["case"] == 5) & (mine["option"] != "no humidifier")].iloc[0]
    added = hours[hours["option"] == mine["option"]]["delivered_kg"].sum()
    assert mine["delivered_kg"] == pytest.approx(added, rel=5e-3)


def test_the_manifest_says_what_the_sweep_was_made_of(grid) -> None:
    _, _, out = grid
    manifest = json.loads((out / "manifest.json").read_text())

    assert manifest["cases"] == 8
    assert set(manifest["inputs_sha256"]) == {"sweep.toml", "small.toml", "january.epw"}
    assert manifest["sweep"]["axes"][1] == {
        "input": "control.rh_bias",
        "name": "",
        "values": [0.0, 0.03],
    }
    assert set(manifest["outputs_sha256"]) == set(contents(out)) - {"manifest.json"}


def test_several_scenarios_stand_in_one_dataset(tmp_path) -> None:
    path = sweep_file(tmp_path, GRID.replace('"small.toml"', '["small.toml", "other.toml"]'))
    text = (tmp_path / "small.toml").read_text()
    (tmp_path / "other.toml").write_text(text.replace("volume_m3 = 430", "volume_m3 = 300"))

    frame = dewmargin.sweep(path, tmp_path / "out").to_pandas()

    assert frame.groupby("scenario", observed=True).size().to_dict() == {
        "small.toml": 16,
        "other.toml": 16,
    }
    alone = dewmargin.sweep(sweep_file(tmp_path, GRID), tmp_path / "alone").to_pandas()
    mine = frame[frame["scenario"] == "small.toml"].drop(columns="scenario")
    pd.testing.assert_frame_equal(mine, alone, check_exact=True, check_categorical=False)


def test_a_sampled_sweep_has_the_numbers_of_a_comparison(tmp_path) -> None:
    """Pads read off a polynomial: water and energy within 0.5 %, counts within 1 h."""
    text = SCENARIO + '[sample]\nmethod = "latin_hypercube"\nn = 9\n'
    for name, low, high in (
        ("equipment.pad.effectiveness", 0.4, 0.8),
        ("space.house.leakage_m3_h_at_50pa", 600.0, 1500.0),
    ):
        text += f'[[sample.inputs]]\ninput = "{name}"\ndistribution = "uniform"\n'
        text += f"low = {low}\nhigh = {high}\n"
    frame = dewmargin.sweep(sweep_file(tmp_path, text), tmp_path / "out").to_pandas()
    scenario = (tmp_path / "small.toml").read_text()

    for case in (0, 8):
        row = frame[(frame["case"] == case) & (frame["option"] != "no humidifier")].iloc[0]
        changed = scenario.replace("= 0.65", f"= {float(row['equipment.pad.effectiveness'])!r}")
        leakage = float(row["space.house.leakage_m3_h_at_50pa"])
        (tmp_path / "one.toml").write_text(changed.replace("pa = 1100", f"pa = {leakage!r}"))
        exact = compare(tmp_path / "one.toml").options[1].row
        for name in ("delivered_kg", "feed_l", "cost"):
            assert row[name] == pytest.approx(exact[name], rel=5e-3), name
        assert abs(row["condensation_h"] - exact["condensation_h"]) <= 1.0


# Broken off


def test_a_sweep_goes_on_where_it_was(grid, monkeypatch) -> None:
    found, path, out = grid
    again = path.parent / "again"
    solved = []
    whole = sweeping.solve_block
    monkeypatch.setattr(
        sweeping, "solve_block", lambda plan, k: (solved.append(k), whole(plan, k))[1]
    )
    dewmargin.sweep(path, again)
    assert sorted(solved) == list(range(8))

    solved.clear()
    for name in found.parts[2:4]:
        (again / "dataset" / name).unlink()
    (again / "manifest.json").unlink()
    (again / "dataset" / f".{found.parts[0]}.99-1.tmp").write_text("half")
    (again / "dataset" / "part-000000-of-another.parquet").write_text("old")
    done = dewmargin.sweep(path, again)

    assert sorted(solved) == [2, 3]
    assert done.solved_blocks == 2
    assert contents(again) == contents(out)


def test_a_folder_with_other_files_is_refused(grid, tmp_path) -> None:
    _, path, _ = grid
    (tmp_path / "thesis.txt").write_text("mine")

    with pytest.raises(OutputError) as caught:
        dewmargin.sweep(path, tmp_path)

    assert str(caught.value) == (
        f"{tmp_path}: holds files that are not of a sweep, such as 'thesis.txt' (choose an empty "
        "folder with --out)"
    )
    assert (tmp_path / "thesis.txt").read_text() == "mine"


KILLED = GRID.replace("values = [700, 1100]", "start = 500\nstop = 1500\ncount = 20")


@pytest.mark.slow
def test_a_killed_sweep_ends_with_the_same_bytes(tmp_path) -> None:
    """Killed without warning as soon as some parts lie there: the command, and what it watches."""
    path = sweep_file(tmp_path, "block = 2\n" + KILLED)
    assert run(path, "--out", tmp_path / "whole").returncode == 0
    out = tmp_path / "killed"

    first = begun(path, out, threads=1, parts=5)
    worker = psutil.Process(first.pid).children()[0]
    first.kill()
    first.wait()
    worker.wait(10)  # does not outlive the command
    assert not (out / "manifest.json").exists()

    second = begun(path, out, threads=2, parts=15)
    psutil.Process(second.pid).children()[0].kill()

    assert second.wait(120) == 0  # begins anew by itself
    assert contents(out) == contents(tmp_path / "whole")


def begun(path: Path, out: Path, *, threads: int, parts: int) -> subprocess.Popen:
    """Return a command that has written some parts."""
    process = subprocess.Popen(
        command(path, "--out", out, "--threads", threads),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    until = time.monotonic() + 60.0
    while len(list(out.glob("dataset/part-*"))) < parts and time.monotonic() < until:
        assert process.poll() is None
        time.sleep(0.005)
    return process


# Poison


def test_inputs_that_do_not_go_together_are_set_aside(tmp_path) -> None:
    """A band whose edges cross, in one of four cases."""
    text = SCENARIO
    for key, values in (("low_rh", [0.3, 0.45]), ("high_rh", [0.4, 0.5])):
        text += f'[[axes]]\ninput = "comfort.{key}"\nname = "{key}"\nvalues = {values}\n'
    path = sweep_file(tmp_path, text)

    found = dewmargin.sweep(path, tmp_path / "out")

    assert found.refused == 1
    assert found.set_aside.to_dict("records") == [
        {
            "case": 2,
            "inputs": "low_rh = 0.45; high_rh = 0.4",
            "reason": "comfort: low_rh must be below high_rh, got 0.45 and 0.4",
        }
    ]
    assert sorted(set(found.to_pandas()["case"])) == [0, 1, 3]
    assert found.lines()[1] == "1 cases were set aside; why stands in refused.csv."


def test_what_gives_no_number_twice_is_set_aside(tmp_path, monkeypatch) -> None:
    path = sweep_file(tmp_path, "block = 8\n" + GRID)
    whole, asked = blocks.solved, []

    def solved(runner, rows) -> np.ndarray:
        found = whole(runner, rows)
        for row, numbers in zip(rows, found, strict=True):
            if row[2] == 1100 and row[1] == 0.03:
                asked.append(len(rows))
                numbers[1, year_of_many.METRICS.index("delivered_kg")] = np.nan
                numbers[1, year_of_many.METRICS.index("cost")] = np.inf
        return found

    monkeypatch.setattr(blocks, "solved", solved)
    found = dewmargin.sweep(path, tmp_path / "out")

    assert asked == [8, 8, 1, 1]
    assert found.set_aside["case"].tolist() == [5, 7]
    assert set(found.set_aside["reason"]) == {"not a number: delivered_kg, cost"}


def test_a_case_that_fails_once_is_kept(tmp_path, monkeypatch, grid) -> None:
    path = sweep_file(tmp_path, "block = 8\n" + GRID)
    whole, failed = blocks.solved, []

    def solved(runner, rows) -> np.ndarray:
        if len(failed) < 4:
            failed.append(len(rows))
            raise MemoryError
        return whole(runner, rows)

    monkeypatch.setattr(blocks, "solved", solved)
    found = dewmargin.sweep(path, tmp_path / "out")

    assert failed == [8, 4, 2, 1]
    assert found.refused == 0
    expected = grid[0].to_pandas()
    pd.testing.assert_frame_equal(
        found.to_pandas(), expected, check_exact=True, check_categorical=False
    )


@pytest.mark.slow
def test_cases_that_crash_hang_or_fail_are_set_aside_and_the_rest_finishes(
    tmp_path,
) -> None:
    """The rule ends its process, which begins anew, and what it had begun is solved apart."""
    path = poisoned(tmp_path, "works", "hangs", "fails", "is nan", "crashes")
    out, site = tmp_path / "out", tmp_path / "site"
    done = subprocess.run(
        command(path, "--out", out, "--patience", 1, "--threads", 2),
        capture_output=True, text=True, check=False, env=environment(site),
        timeout=200,
    )  # fmt: skip

    assert done.returncode == 5, done.stderr
    refused = pd.read_csv(out / "refused.csv")
    assert [(r.case, r.reason) for r in refused.itertuples()] == [
        (1, "did not end in its time"),
        (2, "RuntimeError: no such rule"),
        (
            3,
            (
                "setpoint: rh_set_frac: must be finite, but 744 of 744 values are not, the first "
                "at index 0"
            ),
        ),
        (4, "ended the process with code -9"),
    ]
    assert set(pd.read_parquet(out / "dataset")["case"]) == {0}


# The command


def test_a_dry_run_says_how_much_it_would_be(grid) -> None:
    _, path, _ = grid
    done = run(path, "--dry-run", "--json", "--threads", 2)

    told = json.loads(done.stdout)["dry_run"]
    assert {key: told[key] for key in ("cases", "rows", "blocks", "measured_cases", "threads")} == {
        "cases": 8,
        "rows": 16,
        "blocks": 8,
        "measured_cases": 1,
        "threads": 2,
    }
    assert told["mbytes"] > 0.0
    assert told["seconds"] > 0.0
    words = sweeping.dry_run(path, threads=2).lines()
    assert words[0] == "8 cases, 16 case-years with all options; 8 blocks."
    assert words[1].endswith(
        "on 2 threads, by the first 1 cases, solved now on one thread: a guess, within a factor of "
        "two or so."
    )


def test_progress_goes_to_standard_error_as_lines_of_json(grid, tmp_path) -> None:
    _, path, out = grid
    done = run(path, "--out", tmp_path / "out", "--json")

    lines = [json.loads(line)["progress"] for line in done.stderr.splitlines()]
    assert [line["blocks_done"] for line in lines] == list(range(1, 9))
    assert lines[-1]["cases_done"] == lines[-1]["cases"] == 8
    assert lines[-1]["left_s"] == 0.0
    assert json.loads(done.stdout)["refused"] == 0
    assert contents(tmp_path / "out") == contents(out)


def test_a_person_is_told_where_to_start(grid, tmp_path) -> None:
    _, path, _ = grid
    out = tmp_path / "out"
    done = run(path, "--out", out)

    assert done.returncode == 0
    assert done.stderr == ""
    assert " ".join(done.stdout.split()) == (
        f"8 cases in 8 parts, 8 of them made now. Written to {out}; start with summary.csv."
    )


def test_the_command_asks_for_a_folder(grid) -> None:
    _, path, _ = grid
    done = run(path)

    assert done.returncode == 2
    assert "Error: --out is missing; it can be left out with --dry-run." in done.stderr


# Threads and stores


def test_work_of_several_threads_is_done_once() -> None:
    asked, gate = [], threading.Event()

    def slow(item) -> int:
        asked.append(item)
        gate.wait(5.0)
        return 2 * item

    once = parallel.done_once(slow, kept=1)
    found = []
    threads = [threading.Thread(target=lambda: found.append(once(3))) for _ in range(4)]
    for thread in threads:
        thread.start()
    gate.set()
    for thread in threads:
        thread.join()

    assert (asked, found) == ([3], [6] * 4)
    assert (once(4), once(3), asked) == (8, 6, [3, 4, 3])


def test_what_failed_is_tried_again() -> None:
    tried = []

    def fails_once(item) -> int:
        tried.append(item)
        if len(tried) == 1:
            raise ValueError(item)
        return item

    once = parallel.done_once(fails_once, kept=None)
    with pytest.raises(ValueError, match="1"):
        once(1)
    assert once(1) == 1


def test_work_that_does_not_end_is_given_up_and_the_rest_goes_on() -> None:
    gate = threading.Event()

    def work(item) -> int:
        if item == 1:
            gate.wait(30.0)
        if item == 2:
            raise ValueError(item)
        return 10 * item

    found = dict(parallel.as_they_end(work, range(5), threads=2, patience_s=0.3))
    gate.set()

    assert {k: v for k, v in found.items() if not isinstance(v, Exception)} == {0: 0, 3: 30, 4: 40}
    assert isinstance(found[1], parallel.OverdueError)
    assert isinstance(found[2], ValueError)


def test_a_store_may_be_an_address(grid, tmp_path) -> None:
    """Of a disk here: an object store differs in that a file appears when it is whole."""
    _, path, out = grid
    address = (tmp_path / "out").as_uri()
    found = dewmargin.sweep(path, address)

    assert contents(tmp_path / "out") == contents(out)
    assert len(found.to_pandas()) == 16


def test_a_store_that_is_no_disk_needs_no_marks(grid, tmp_path, monkeypatch) -> None:
    """A file system that pyarrow does not know as a disk, with what an object store has."""
    from pyarrow import fs  # noqa: PLC0415 - of this test alone

    _, path, out = grid
    files = fs.SubTreeFileSystem(str(tmp_path), fs.LocalFileSystem())
    monkeypatch.setattr(dataset, "opened", lambda _address: (files, "bucket/out"))

    dewmargin.sweep(path, "store://bucket/out")

    assert contents(tmp_path / "bucket" / "out") == contents(out)


def test_an_address_that_cannot_be_is_refused(grid) -> None:
    _, path, _ = grid

    with pytest.raises(OutputError) as caught:
        dewmargin.sweep(path, "nowhere://out")

    assert str(caught.value) == (
        "nowhere://out: is no address that can be written to (a folder, s3://bucket/folder or "
        "another that pyarrow knows)"
    )


def test_zones_humidified_together_are_not_swept(tmp_path, monkeypatch) -> None:
    """They are solved in turn; the message is that of the study, and nothing is written."""
    path = sweep_file(tmp_path)
    own = House.case

    def with_a_zone_beside(self: House, **keys: object) -> HourlyCase:
        case = own(self, **keys)
        return replace(case, held_zones=(held_zone(case),))

    monkeypatch.setattr(House, "case", with_a_zone_beside)

    with pytest.raises(InputError) as caught:
        dewmargin.sweep(path, tmp_path / "out")

    assert str(caught.value) == (
        f"{tmp_path / 'small.toml'}: space.simulation.humidified_alike: lines and draws are not "
        "tried with zones that are humidified beside the space (leave them out here, or compare "
        "options one by one)"
    )
    assert not (tmp_path / "out").exists()


def test_hours_of_a_case_that_cannot_be_are_refused(tmp_path) -> None:
    text = SCENARIO + "hourly = { cases = [0] }\n"
    for key, values in (("low_rh", [0.45]), ("high_rh", [0.4])):
        text += f'[[axes]]\ninput = "comfort.{key}"\nname = "{key}"\nvalues = {values}\n'
    path = sweep_file(tmp_path, text)

    with pytest.raises(InputError) as caught:
        dewmargin.sweep(path, tmp_path / "out")

    assert str(caught.value) == (
        f"{path}: hourly.cases: case 0 cannot be solved: low_rh must be below high_rh, got 0.45 "
        "and 0.4 (name another)"
    )


def test_a_store_drops_only_what_is_there(tmp_path) -> None:
    store = Store(tmp_path)
    store.put("dataset/a", b"1")
    store.drop("dataset/b")
    store.keep({"dataset/a"})

    assert store.get("dataset/a") == b"1"
    assert store.names() == ["dataset"]
    store.keep(set())
    assert store.names() == []


def test_a_swinging_controller_is_told(tmp_path) -> None:
    text = SCENARIO + '[[axes]]\ninput = "control.rh_bias"\nvalues = [0.0]\n'
    path = sweep_file(tmp_path, text, lines={"[tariff]": "[control]\ndeadband_rh = 0.04\n[tariff]"})

    found = dewmargin.sweep(path, tmp_path / "out")

    note = "the swing around the set-point is left out; hours of chosen cases have it"
    assert found.lines()[1] == f"Note: {note}."
    assert json.loads((tmp_path / "out" / "manifest.json").read_text())["notes"] == [note]


def test_an_interrupted_sweep_is_not_begun_again(tmp_path) -> None:
    path = sweep_file(tmp_path, "block = 2\n" + KILLED)
    out = tmp_path / "out"
    process = begun(path, out, threads=1, parts=3)
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does

    assert process.wait(30) == 130
    assert not (out / "manifest.json").exists()


def test_a_gpu_that_is_not_there_is_an_error_and_leaves_nothing(
    grid, tmp_path, monkeypatch
) -> None:
    monkeypatch.setenv("CUDA_VISIBLE_DEVICES", "")  # nor where there is one
    _, path, _ = grid

    done = run(path, "--out", tmp_path / "out", "--device", "gpu")

    assert done.returncode == 3
    assert done.stderr.splitlines()[-1] == (
        "error: --device gpu: no GPU can be used: no CUDA GPU or driver was found (leave it out "
        "for the CPU)"
    )
    assert not (tmp_path / "out" / "dataset").exists()


def test_a_cluster_and_a_gpu_exclude_each_other(grid, tmp_path) -> None:
    with pytest.raises(InputError) as refused:
        dewmargin.sweep(grid[1], tmp_path / "out", cluster="tcp://127.0.0.1:1", device="gpu")

    assert str(refused.value) == (
        "device: a cluster's workers have no GPU (leave out one of the two)"
    )


def test_a_sweep_on_a_gpu_has_the_numbers_of_the_cpu(grid, tmp_path, monkeypatch) -> None:
    # In the place of the card the same function, compiled for the CPU.
    monkeypatch.setattr("dewmargin.solve.year_on_gpu.gpu_years", lambda: by(kernel.compiled(year)))
    here, path, _ = grid

    there = dewmargin.sweep(path, tmp_path / "out", threads=2, device="gpu")

    mine, theirs = here.to_pandas(), there.to_pandas()
    assert len(mine) == len(theirs) == 16
    for name in year_of_many.METRICS:
        if name in COUNTS:
            pd.testing.assert_series_equal(mine[name], theirs[name])
        else:
            np.testing.assert_allclose(mine[name], theirs[name], rtol=1e-12, atol=1e-12)
    assert {part.split("-")[2] for part in here.parts}.isdisjoint(
        part.split("-")[2] for part in there.parts
    )
