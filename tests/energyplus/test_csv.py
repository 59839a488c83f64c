"""The engine's .csv file, as it writes it and as ReadVarsESO does, good and spoilt.

That it gives the .sql file's case to the last bit is in test_eso.py, with the other formats.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pytest

import written_runs
from dewmargin.energyplus import csv
from written_runs import change, read, refusal

if TYPE_CHECKING:
    from pathlib import Path

AGAIN = "(the run was cut off or the file is damaged; run the simulation again)"
OTHERS = "(give the run's eplusout.sql or eplusout.eso, which tell environments apart)"


@pytest.fixture
def run(tmp_path) -> Path:
    return written_runs.write_csv(tmp_path)


def test_a_key_with_colons_is_told_from_the_variable(run):
    # A zone called "LARCH:HOUSE:1" is allowed in a model.
    before = read(run)
    for path in (run, run.with_suffix(".eio")):
        change(path, "LARCH HOUSE", "LARCH:HOUSE:1", count=99)

    case = read(run, zones=["larch:house:1"])

    np.testing.assert_array_equal(case.t_air_c, before.t_air_c)


def test_rows_may_end_before_blank_cells_of_coarser_series(run):
    before = read(run)
    # Both writers leave the blank cells at the end of a row out: here the meter's and the daily.
    change(run, r"(?m)^(.*),,432000\.0$", r"\1", count=9999)

    np.testing.assert_array_equal(read(run).t_air_c, before.t_air_c)


def test_a_byte_order_mark_and_windows_line_ends_are_taken(run):
    before = read(run)
    run.write_bytes(b"\xef\xbb\xbf" + run.read_bytes().replace(b"\n", b"\r\n"))

    np.testing.assert_array_equal(read(run).t_air_c, before.t_air_c)


def test_a_file_of_one_environment_needs_no_telling_apart(run):
    before = read(run)
    change(run, r"^ 07/21.*\n", "", count=24)
    change(run.with_suffix(".eio"), r"^Environment,(?:WINTER|SUMMER) DAY.*\n", "", count=2)

    np.testing.assert_array_equal(read(run).t_air_c, before.t_air_c)


def _two_periods(run: Path, first: str) -> None:
    """Turn the summer day into a run period of one day on the given date."""
    change(run.with_suffix(".eio"), r"^Environment,SUMMER DAY,SizingPeriod:DesignDay,.*$",
           f"Environment,SUMMER,WeatherFileRunPeriod,{first},{first},1")  # fmt: skip


@pytest.mark.parametrize("one_after_another", [False, True], ids=["sorted", "one after another"])
def test_of_two_run_periods_without_common_dates_one_is_chosen(tmp_path, one_after_another):
    run = written_runs.write_csv(tmp_path, one_after_another=one_after_another)
    before = read(run)
    _two_periods(run, "07/21/2017")

    assert refusal(run) == (
        "eplusout.csv: holds 2 run periods: SUMMER, LARCH YEAR "
        '(choose one: environment = "SUMMER" in the scenario, or --environment)'
    )
    np.testing.assert_array_equal(read(run, environment="LARCH YEAR").t_air_c, before.t_air_c)
    summer = read(run, environment="SUMMER", baseline="humidified")
    assert summer.n_hours == 24
    assert summer.t_air_c == pytest.approx(np.full(24, before.t_air_c.mean()))


def test_two_run_periods_on_the_same_dates_are_told_apart_only_one_after_the_other(tmp_path):
    run = written_runs.write_csv(tmp_path, one_after_another=True)
    before = read(run)
    _two_periods(run, "01/15/2017")
    change(run, r"^ 07/21 ", " 01/15 ", count=24)

    np.testing.assert_array_equal(read(run, environment="LARCH YEAR").t_air_c, before.t_air_c)

    # The engine's own file has lost the first period under the second.
    change(run, r"^ 01/21.*\n", "", count=24)
    change(run, r"^ 01/15.*\n", "", count=24)
    for environment, other in (("LARCH YEAR", "SUMMER"), ("SUMMER", "LARCH YEAR")):
        assert refusal(run, environment=environment) == (
            f"eplusout.csv: {environment}: holds rows of run period {other} on the same dates, "
            f"which cannot be told apart {OTHERS}"
        )


def _over_new_year(run: Path) -> None:
    """Move January by a day, so that it begins on 31 December."""
    change(run.with_suffix(".eio"), r"01/01/2017,01/31/2017,31$", "12/31/2017,01/30/2018,31")
    text = run.read_text(encoding="utf-8")
    text = re.sub(r"^ 01/01 ", " 12/31 ", text, flags=re.MULTILINE)
    text = re.sub(
        r"^ 01/(\d\d) (?= )", lambda m: f" 01/{int(m[1]) - 1:02d} ", text, flags=re.MULTILINE
    )
    run.write_text(text, encoding="utf-8", newline="\n")


def test_a_run_over_new_year_keeps_its_years_if_its_rows_are_in_order(tmp_path):
    run = written_runs.write_csv(tmp_path)
    before = read(run)
    _over_new_year(run)
    change(run, r"^ 07/21.*\n", "", count=24)
    change(run.with_suffix(".eio"), r"^Environment,(?:WINTER|SUMMER) DAY.*\n", "", count=2)

    case = read(run)

    np.testing.assert_array_equal(case.t_air_c, before.t_air_c)
    assert str(case.interval_start[0]) == "2017-12-31T00:00:00"
    assert str(case.interval_start[24]) == "2018-01-01T00:00:00"


def test_a_run_over_new_year_that_the_engine_has_sorted_is_refused(run):
    _over_new_year(run)
    header, *rows = run.read_text(encoding="utf-8").splitlines(keepends=True)
    run.write_text(header + "".join(sorted(rows)), encoding="utf-8", newline="\n")

    assert refusal(run) == (
        "eplusout.csv: LARCH YEAR: is sorted by month and day, which breaks a run period over New "
        f"Year {OTHERS}"
    )


SPOILT = {
    "a spreadsheet's separators": (
        (r"\ADate/Time,", "Date/Time;"),
        (
            "eplusout.csv: is no EnergyPlus .csv file: its first line does not begin with "
            "Date/Time, (for another simulation's table use [space.table])"
        ),
    ),
    "a spreadsheet's dates": (
        (r"^ 01/12  09:00:00", "12.01.2017 09:00"),
        (
            "eplusout.csv: line 274: '12.01.2017 09:00' is no time of the form "
            "' 01/31  24:00:00' (read the file as the engine wrote it, not as a spreadsheet saved "
            "it)"
        ),
    ),
    "a column twice": (
        (r"WINDOW:Surface Window Divider", "WINDOW:Surface Window Frame"),
        (
            "eplusout.csv: has column 'LIVING ROOM WINDOW:Surface Window Frame Inside Temperature "
            f"[C](Hourly)' twice {AGAIN}"
        ),
    ),
    "a cell too many": (
        (r"^( 01/12  09:00:00,)", r"\g<1>1.0,"),
        f"eplusout.csv: line 274: has 24 cells, the header 23 {AGAIN}",
    ),
    "a cell that is no number": (
        (r"^( 01/12  09:00:00,)[^,]*", r"\g<1>warm"),
        (
            "eplusout.csv: line 274: Environment:Site Outdoor Air Drybulb Temperature [C](Hourly): "
            f"must be a number, got 'warm' {AGAIN}"
        ),
    ),
    "a cell that is blank": (
        (r"^( 01/12  09:00:00,)[^,]*", r"\g<1>"),
        (
            "eplusout.csv: Environment: Site Outdoor Air Drybulb Temperature: has no finite value "
            f"in 1 of 744 steps, the first 12 Jan hour 9 {AGAIN}"
        ),
    ),
    "an hour that is missing": (
        (r"^ 01/12  09:00:00.*\n", ""),
        (
            "eplusout.csv: LARCH YEAR: lacks 1 steps between 1 Jan hour 1 and 31 Jan hour 24, "
            f"the first 12 Jan hour 9 {AGAIN}"
        ),
    ),
    "an hour that comes twice": (
        (r"^ 01/12  09:00:00.*\n", r"\g<0>\g<0>"),
        (
            "eplusout.csv: LARCH YEAR: has 1 doubled steps between 1 Jan hour 1 and 31 Jan hour "
            "24, the order breaks at 12 Jan hour 9 (warm-up days may be among them: remove "
            "ReportDuringWarmup and run again)"
        ),
    ),
    "cut between rows": (
        (r"(?s)^ 01/12  09:00:00.*\Z", ""),
        (
            "eplusout.csv: LARCH YEAR: is cut off: it holds 11.33 of 31 days, from 1 Jan hour 1 "
            f"to 12 Jan hour 8 {AGAIN}"
        ),
    ),
    "cut within the last row": (
        (r"\.0\n\Z", ".0"),
        f"eplusout.csv: ends within line 769 {AGAIN}",
    ),
    "no rows": (
        (r"(?s)(\A.*?\n).*\Z", r"\1"),
        (
            "eplusout.csv: holds no values of the run period LARCH YEAR (the run was cut off or "
            "failed; look into its .err file)"
        ),
    ),
    "a date that is none": (
        (r"^ 01/12  09:00:00", " 01/12  25:00:00"),
        "eplusout.csv: line 274: month 1, day 12, 25:00 is no end of a step of 60 min",
    ),
}


@pytest.mark.parametrize(
    ("edit", "message"), [pytest.param(*case, id=name) for name, case in SPOILT.items()]
)
def test_a_spoilt_file_is_refused_with_the_reason(run, edit, message):
    change(run, *edit)

    assert refusal(run) == message


def test_a_design_day_that_is_cut_is_not_taken_for_the_run_period(tmp_path):
    run = written_runs.write_csv(tmp_path, one_after_another=True)
    change(run, r"^ 01/21  24:00:00.*\n", "")

    assert refusal(run) == (
        "eplusout.csv: LARCH YEAR: has 23 doubled steps between 1 Jan hour 1 and 31 Jan hour 24, "
        "the order breaks at 1 Jan hour 1 (warm-up days may be among them: remove "
        "ReportDuringWarmup and run again)"
    )


def test_a_line_without_end_is_refused(run, monkeypatch):
    monkeypatch.setattr(csv, "LONGEST_LINE", 5_000)
    change(run, r"^ 01/12  09:00:00", " 01/12  09:00:00" + " " * 6_000)

    assert refusal(run) == f"eplusout.csv: line 274: is longer than 4 KB {AGAIN}"


def test_without_its_eio_file_it_is_refused(run):
    run.with_suffix(".eio").unlink()

    assert refusal(run) == (
        "eplusout.csv: needs eplusout.eio beside it, which tells zones and run periods "
        "(copy it from the run's folder, or give the run's eplusout.sql)"
    )
