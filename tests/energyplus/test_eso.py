"""The .eso file: the same case as the .sql file's, and every way in which it may be spoilt."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pytest

import written_runs
from dewmargin.energyplus import eso
from dewmargin.space.simulation import Simulation
from written_runs import change, read, refusal

if TYPE_CHECKING:
    from pathlib import Path

AGAIN = "(the run was cut off or the file is damaged; run the simulation again)"
ARRAYS = ("t_out_c", "w_out_kg_kg", "p_pa", "t_air_c", "w_base_kg_kg", "exchange_kg_s",
          "gains_kg_s", "heating_w", "cooling", "interval_start")  # fmt: skip


@pytest.fixture
def run(tmp_path) -> Path:
    return written_runs.write_eso(tmp_path)


@pytest.mark.parametrize("kind", ["eso", "csv", "csv of ReadVarsESO"])
def test_every_format_gives_the_case_of_the_sql_file_to_the_last_bit(tmp_path, kind):
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
    sql = read(written_runs.write_sql(tmp_path / "one"))

    case = read(written_runs.WRITERS[kind](tmp_path / "other"))

    for name in ARRAYS:
        np.testing.assert_array_equal(getattr(case, name), getattr(sql, name), err_msg=name)
    for name in ("title", "departure", "dry_air_kg", "wraps", "latitude_deg", "steps_per_hour"):
        assert getattr(case, name) == getattr(sql, name)
    assert set(case.simulated_surfaces) == set(sql.simulated_surfaces)
    for name, face in case.simulated_surfaces.items():
        whole = sql.simulated_surfaces[name]
        np.testing.assert_array_equal(face.t_surface_c, whole.t_surface_c)
        # The .eio file has areas in two decimals.
        assert face.area_m2 == (whole.area_m2 and pytest.approx(whole.area_m2, abs=0.0051))
    assert case.notes[1:] == sql.notes


def test_it_is_told_which_files_were_read(run):
    case = read(run)

    assert case.notes[0] == (
        "read from eplusout.eso; zones, volumes and areas, in two decimals, from eplusout.eio"
    )
    assert Simulation(results=run.name).files(run.parent) == (run, run.with_suffix(".eio"))


@pytest.mark.parametrize(
    ("kinds", "chosen"),
    [
        pytest.param(("csv", "eso", "sql"), "eplusout.sql", id="all there: the .sql file"),
        pytest.param(("csv", "eso"), "eplusout.eso", id="no .sql file: the .eso file"),
        pytest.param(("csv",), "eplusout.csv", id="the .csv file alone"),
    ],
)
def test_of_a_folder_the_richest_format_is_read(tmp_path, kinds, chosen):
    for kind in kinds:
        written_runs.WRITERS[kind](tmp_path)

    simulation = Simulation(results=tmp_path.name)

    assert simulation.files(tmp_path.parent)[0].name == chosen
    assert simulation.case(weather=None, folder=tmp_path.parent).n_hours == written_runs.HOURS


def test_any_other_file_is_refused(tmp_path):
    path = tmp_path / "eplusout.mtr"
    path.touch()

    assert refusal(path) == (
        "eplusout.mtr: results = 'eplusout.mtr': is no .sql, .eso or .csv file "
        "(give the run's eplusout.sql, or the folder it lies in)"
    )


def test_chunks_may_end_anywhere(run, monkeypatch):
    whole = read(run)
    monkeypatch.setattr(eso, "CHUNK", 997)

    case = read(run)

    for name in ARRAYS:
        np.testing.assert_array_equal(getattr(case, name), getattr(whole, name), err_msg=name)


def test_lines_may_end_as_on_windows(run):
    whole = read(run)
    for path in (run, run.with_suffix(".eio")):
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))

    case = read(run)

    for name in ARRAYS:
        np.testing.assert_array_equal(getattr(case, name), getattr(whole, name), err_msg=name)


def test_energies_of_an_interval_become_rates_by_their_unit(run):
    before = read(run)
    change(run, r"Zone Infiltration Mass Flow Rate \[kg/s\]", "AFN Zone Infiltration Mass [kg]")

    case = read(run)

    flows = before.exchange_kg_s - case.exchange_kg_s  # infiltration counts 1/3600 now
    np.testing.assert_allclose(flows[0], (1.0 - 1.0 / 3600.0) * _infiltration()[0], rtol=1e-12)


def _infiltration() -> list[float]:
    series, hours = written_runs.january()
    place = [name for _, _, name, _ in series].index("Zone Infiltration Mass Flow Rate")
    return [values[place] for values in hours]


def test_a_blank_unit_is_taken(run):
    before = read(run)
    change(run, r"Zone Mean Air Humidity Ratio \[kgWater/kgDryAir\]", "Zone Air Humidity Ratio []")

    np.testing.assert_array_equal(read(run).w_base_kg_kg, before.w_base_kg_kg)


def test_a_series_that_a_schedule_switches_replaces_none(run):
    before = read(run)
    change(run, r"^(\d+)(,1,LARCH HOUSE,Zone Mean Air Temperature \[C\] !Hourly)$",
           r"5\2,NIGHTS ONLY\n\1\2")  # fmt: skip

    np.testing.assert_array_equal(read(run).t_air_c, before.t_air_c)


# Headers of older versions, as they stand in public copies of their eplusout.eio and eplusout.eso
# (found by search, November 2026; the values are the demo's). Version 8.8 names the column of the
# air balance otherwise, 23.2 has columns before and after those that are read.
HEADERS = {
    "8.8": {
        r"^! <Site:Location>.*\n.*$": (
            "! <Site:Location>, Location Name, Latitude {N+/S- Deg}, Longitude {E+/W- Deg},  "
            "Time Zone Number {GMT+/-}, Elevation {m},  Standard Pressure at Elevation {Pa}, "
            "Standard RhoAir at Elevation\n"
            "Site:Location,Larch Valley,46.50,10.00,1.00,900.00,90971,1.0800"
        ),
        r"^! <Zone Air Solution Algorithm>.*\n.*$": (
            "! <Zone Air Solution Algorithm>, Value {ThirdOrderBackwardDifference | "
            "AnalyticalSolution | EulerMethod}\n"
            " Zone Air Solution Algorithm, ThirdOrderBackwardDifference"
        ),
    },
    "23.2": {
        r"^! <Zone Air Solution Algorithm>.*\n.*$": (
            "! <Zone Air Solution Algorithm>, Algorithm {ThirdOrderBackwardDifference | "
            "AnalyticalSolution | EulerMethod}, Space Heat Balance Sizing, "
            "Space Heat Balance Simulation\n"
            " Zone Air Solution Algorithm, ThirdOrderBackwardDifference, No, No"
        ),
        r"^! <Zone Information>.*\n.*$": (
            "! <Zone Information>,Zone Name,North Axis {deg},Origin X-Coordinate {m},"
            "Origin Y-Coordinate {m},Origin Z-Coordinate {m},Centroid X-Coordinate {m},"
            "Centroid Y-Coordinate {m},Centroid Z-Coordinate {m},Type,Zone Multiplier,"
            "Zone List Multiplier,Minimum X {m},Maximum X {m},Minimum Y {m},Maximum Y {m},"
            "Minimum Z {m},Maximum Z {m},Ceiling Height {m},Volume {m3},"
            "Zone Inside Convection Algorithm {Simple-Detailed-CeilingDiffuser-TrombeWall},"
            "Zone Outside Convection Algorithm {Simple-Detailed-Tarp-MoWitt-DOE-2-BLAST}, "
            "Floor Area {m2},Exterior Gross Wall Area {m2}\n"
            " Zone Information, LARCH HOUSE,0.0,0.00,0.00,0.00,6.00,4.00,1.30,1,1,1,0.00,12.00,"
            "0.00,8.00,0.00,5.20,2.60,430.00,TARP,DOE-2,165.00,200.00"
        ),
    },
}


@pytest.mark.parametrize("version", HEADERS)
def test_headers_of_older_versions_are_read(run, version):
    before = read(run)
    for pattern, text in HEADERS[version].items():
        change(run.with_suffix(".eio"), pattern, text)

    case = read(run)

    assert any("ThirdOrderBackwardDifference, which does not" in note for note in case.notes)
    assert case.latitude_deg == 46.5
    assert case.dry_air_kg == before.dry_air_kg


def test_without_a_list_of_surfaces_those_of_a_single_zone_have_no_area(run):
    change(run.with_suffix(".eio"), r"^(Zone Surfaces|HeatTransfer Surface),.*\n", "", count=9)

    case = read(run)

    assert "BEDROOM WINDOW glass" in case.simulated_surfaces
    assert {face.area_m2 for face in case.simulated_surfaces.values()} == {None}
    assert case.notes[1] == (
        "eplusout.eio lists no surfaces and so does not tell their areas: add "
        "Output:Surfaces:List,Details; to the model"
    )


def test_without_a_list_of_surfaces_those_of_several_zones_are_left_out(run):
    eio = run.with_suffix(".eio")
    change(eio, r"^(Zone Surfaces|HeatTransfer Surface),.*\n", "", count=9)
    change(
        eio, r"^ Zone Information, LARCH HOUSE.*\n", r"\g<0> Zone Information, SHED,1,1,1,9.00\n"
    )

    case = read(run, zones=["larch house"])

    assert case.simulated_surfaces == {}
    assert case.notes[1] == (
        "eplusout.eio lists no surfaces and so does not tell which zone they are in, so none is "
        "read: add Output:Surfaces:List,Details; to the model"
    )


def test_of_two_run_periods_one_is_chosen(run):
    change(run, r"^1,SUMMER DAY", "1,SUMMER")
    change(run.with_suffix(".eio"), r"^Environment,SUMMER DAY,SizingPeriod:DesignDay,.*$",
           "Environment,SUMMER,WeatherFileRunPeriod,07/21/2017,07/21/2017,1")  # fmt: skip

    assert refusal(run) == (
        "eplusout.eso: holds 2 run periods: SUMMER, LARCH YEAR "
        '(choose one: environment = "SUMMER" in the scenario, or --environment)'
    )
    assert read(run, environment="larch year").n_hours == written_runs.HOURS
    summer = read(run, environment="summer", baseline="humidified")
    assert str(summer.interval_start[0]) == "2017-07-21T00:00:00"
    assert len(set(summer.t_air_c)) == 1


def test_a_run_over_new_year_keeps_its_years(run):
    eio = run.with_suffix(".eio")
    change(eio, r"01/01/2017,01/31/2017,31$", "12/31/2017,01/30/2018,31")
    text = run.read_text(encoding="utf-8")
    head, body = text.split("1,LARCH YEAR", 1)
    body = re.sub(
        r"^2,(\d+), 1, *(\d+),",
        lambda m: f"2,{m[1]},12,31," if m[2] == "1" else f"2,{m[1]}, 1,{int(m[2]) - 1:2d},",
        body,
        flags=re.MULTILINE,
    )
    run.write_text(f"{head}1,LARCH YEAR{body}", encoding="utf-8", newline="\n")

    case = read(run)

    assert str(case.interval_start[0]) == "2017-12-31T00:00:00"
    assert str(case.interval_start[24]) == "2018-01-01T00:00:00"


HOUR = r"^2,12, 1,12, 0, 9, 0.00,60.00,Sunday\n(?:\d+,[\d.eE+-]+\n)+"
SPOILT = {
    "no .eso file": (
        (r"\AProgram Version", "Programme"),
        "eplusout.eso: is no EnergyPlus .eso file",
    ),
    "cut in its dictionary": (
        (r"(?s)^134,1,.*\Z", "134,1"),
        f"eplusout.eso: ends in its dictionary {AGAIN}",
    ),
    "two entries of one number": (
        (r"^9,1,", "8,1,"),
        f"eplusout.eso: has two entries of number 8 in its dictionary {AGAIN}",
    ),
    "a variable that was not asked for": (
        (r"^\d+,1,LARCH HOUSE,Zone Mean Air Humidity Ratio.*\n", ""),
        (
            "eplusout.eso: does not report Zone Mean Air Humidity Ratio; the nearest it reports: "
            "Site Outdoor Air Humidity Ratio (Hourly) (add to the model and run it again: "
            "Output:Variable,*,Zone Mean Air Humidity Ratio,Hourly;)"
        ),
    ),
    "an hour that is missing": (
        (HOUR, ""),
        (
            "eplusout.eso: LARCH YEAR: lacks 1 steps between 1 Jan hour 1 and 31 Jan hour 24, "
            f"the first 12 Jan hour 9 {AGAIN}"
        ),
    ),
    "an hour that comes twice": (
        (HOUR, r"\g<0>2,12, 1,12, 0, 8, 0.00,60.00,Sunday\n7,1.0\n\g<0>"),
        (
            "eplusout.eso: LARCH YEAR: has 2 doubled steps between 1 Jan hour 1 and 31 Jan hour "
            "24, the order breaks at 12 Jan hour 8 (warm-up days may be among them: remove "
            "ReportDuringWarmup and run again)"
        ),
    ),
    "a value that comes twice": (
        (r"(?s)(1,LARCH YEAR.*?^2,12, 1,12, 0, 9.*?)(^8,.*?\n)", r"\1\2\2"),
        (
            "eplusout.eso: Environment: Site Outdoor Air Humidity Ratio: has more than one value "
            f"in 1 of 744 steps, the first 12 Jan hour 9 {AGAIN}"
        ),
    ),
    "a value that is missing": (
        (r"(?s)(1,LARCH YEAR.*?^2,12, 1,12, 0, 9.*?)(^8,.*?\n)", r"\1"),
        (
            "eplusout.eso: Environment: Site Outdoor Air Humidity Ratio: has no finite value "
            f"in 1 of 744 steps, the first 12 Jan hour 9 {AGAIN}"
        ),
    ),
    "a value that is no number": (
        (r"(?s)(1,LARCH YEAR.*?^2,12, 1,12, 0, 9.*?)^8,.*?\n", r"\g<1>8,warm\n"),
        (
            "eplusout.eso: Environment: Site Outdoor Air Humidity Ratio: must be a number, got "
            f"'warm' {AGAIN}"
        ),
    ),
    "a value before any time stamp": (
        (r"^(1,LARCH YEAR.*\n)", r"\g<1>8,0.001\n"),
        (
            "eplusout.eso: Environment: Site Outdoor Air Humidity Ratio: has a value before any "
            f"time stamp {AGAIN}"
        ),
    ),
    "a time stamp that is none": (
        (r"^2,12, 1,12, 0, 9, 0.00,60.00,Sunday", "2,12, 1,12, 0, nine"),
        (f"eplusout.eso: time stamp 273: '12, 1,12, 0, nine' is no time stamp of a step {AGAIN}"),
    ),
    "a date that is none": (
        (r"^2,12, 1,12, 0, 9,", "2,12, 1,32, 0, 9,"),
        "eplusout.eso: time stamp 272: month 1, day 32, 9:00 is no end of a step of 60 min",
    ),
    "a run that was cut off": (
        (r"(?s)^2,12, 1,12, 0, 9,.*\Z", ""),
        (
            "eplusout.eso: LARCH YEAR: is cut off: it holds 11.33 of 31 days, from 1 Jan hour 1 "
            f"to 12 Jan hour 8 {AGAIN}"
        ),
    ),
    "a run whose end is missing": (
        (r"(?s)^End of Data\n.*\Z", ""),
        f"eplusout.eso: does not end with 'End of Data' {AGAIN}",
    ),
    "a run that never came to its run period": (
        (r"(?s)^1,LARCH YEAR.*\Z", ""),
        (
            "eplusout.eso: holds no values of the run period LARCH YEAR (the run was cut off or "
            "failed; look into its .err file)"
        ),
    ),
    "the run of another .eio file": (
        (r"^1,SUMMER DAY", "1,AUTUMN DAY"),
        (
            "eplusout.eso: has an environment 'AUTUMN DAY' that eplusout.eio does not tell there "
            "(the two files are of different runs, or damaged; run the simulation again)"
        ),
    ),
    "a surface of another .eio file": (
        (r",BEDROOM WINDOW,", ",BATHROOM WINDOW,"),
        (
            "eplusout.eso: reports surface BATHROOM WINDOW, which eplusout.eio lists in no zone "
            "(the two files are of different runs, or damaged; run the simulation again)"
        ),
    ),
}


@pytest.mark.parametrize(
    ("edit", "message"), [pytest.param(*case, id=name) for name, case in SPOILT.items()]
)
def test_a_spoilt_file_is_refused_with_the_reason(run, edit, message):
    change(run, *edit)

    assert refusal(run) == message


SPOILT_EIO = {
    "no end": (
        (r"^End of Data\n", ""),
        f"eplusout.eio: does not end with 'End of Data' {AGAIN}",
    ),
    "no zones": (
        (r"^ Zone Information,.*\n", ""),
        (
            "eplusout.eio: does not tell zones, environments and time step as EnergyPlus does: "
            "('Zone Information', 'Zone Name') (the file is damaged; run the simulation again)"
        ),
    ),
    "a date that is none": (
        (r",01/31/2017,31", ",January,31"),
        (
            "eplusout.eio: does not tell zones, environments and time step as EnergyPlus does: "
            "'January' is no date (the file is damaged; run the simulation again)"
        ),
    ),
    "seven time steps an hour": (
        (r"Hour,  6, 10", "Hour,  7, 10"),
        (
            "eplusout.eio: does not tell zones, environments and time step as EnergyPlus does: "
            "7 time steps an hour (the file is damaged; run the simulation again)"
        ),
    ),
}


@pytest.mark.parametrize(
    ("edit", "message"), [pytest.param(*case, id=name) for name, case in SPOILT_EIO.items()]
)
def test_a_spoilt_eio_file_is_refused_with_the_reason(run, edit, message):
    change(run.with_suffix(".eio"), *edit)

    assert refusal(run) == message


def test_without_its_eio_file_it_is_refused(run):
    run.with_suffix(".eio").unlink()

    assert refusal(run) == (
        "eplusout.eso: needs eplusout.eio beside it, which tells zones and run periods "
        "(copy it from the run's folder, or give the run's eplusout.sql)"
    )


def test_a_line_without_end_is_refused(run):
    with run.open("ab") as file:
        file.write(b"7," + b"1" * (eso.LONGEST_LINE + eso.CHUNK))

    assert refusal(run) == f"eplusout.eso: has a line longer than 1024 KB {AGAIN}"
