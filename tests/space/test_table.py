"""Any simulation's table: names, units, times, and what is refused."""

from __future__ import annotations

from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from pydantic import ValidationError

from dewmargin.errors import InputError
from dewmargin.physics import air
from dewmargin.space.table import HourlyTable

if TYPE_CHECKING:
    from pathlib import Path

HOURS = 48
SI = {
    "time": "when",
    "t_out_c": "Tout",
    "w_out_kg_kg": "Wout",
    "p_pa": "p",
    "t_air_c": "Troom",
    "w_kg_kg": "Wroom",
    "exchange_kg_s": "flow",
}


def sheet(n_hours: int = HOURS) -> dict[str, list[object]]:
    """Return two invented winter days."""
    hour = np.arange(n_hours)
    first = datetime(2021, 1, 5)  # noqa: DTZ001 - local standard time has no zone
    return {
        "when": [str(first + timedelta(hours=int(h))) for h in hour],
        "Tout": (-5.0 - 4.0 * np.cos(hour / 24 * 2 * np.pi)).tolist(),
        "Wout": np.full(n_hours, 0.002).tolist(),
        "p": np.full(n_hours, 95_000.0).tolist(),
        "Troom": (20.0 + (hour % 24 > 6)).tolist(),
        "Wroom": (0.005 + 1e-5 * hour).tolist(),
        "flow": np.full(n_hours, 0.04).tolist(),
        "glass": (8.0 + 0.1 * hour).tolist(),
        "heat": np.full(n_hours, 4_000.0).tolist(),
        "cool": np.where(hour == 30, 500.0, 0.0).tolist(),
    }


def write(folder: Path, table: dict[str, list[object]], *, separator: str = ",") -> Path:
    path = folder / "room.csv"
    rows = [
        separator.join(table),
        *(separator.join(map(str, r)) for r in zip(*table.values(), strict=True)),
    ]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def keys(path: Path, **changes: object) -> dict[str, object]:
    found = {"file": path.name, "columns": SI, "label": "start", "volume_m3": 300.0} | changes
    return {key: value for key, value in found.items() if value is not None}


def read(path: Path, **changes: object):
    return HourlyTable(**keys(path, **changes)).case(weather=None, folder=path.parent)


def refusal(path: Path, **changes: object) -> str:
    with pytest.raises(InputError) as caught:
        read(path, **changes)
    return str(caught.value).replace(f"{path.parent}/", "")


def test_a_table_in_our_units_is_taken_as_it_stands(tmp_path):
    table = sheet()
    path = write(tmp_path, table)
    columns = SI | {"heating_w": "heat", "cooling_w": "cool"}

    case = read(path, columns=columns, faces={"north glass": "glass"}, latitude_deg=51.0)

    assert case.title == "table room.csv"
    assert case.departure
    assert not case.wraps
    assert (case.n_hours, case.steps_per_hour, case.latitude_deg) == (HOURS, 1, 51.0)
    assert str(case.interval_start[0]) == "2021-01-05T00:00:00"
    for name, column in (("t_out_c", "Tout"), ("w_out_kg_kg", "Wout"), ("p_pa", "p"),
                         ("t_air_c", "Troom"), ("w_base_kg_kg", "Wroom"),
                         ("exchange_kg_s", "flow"), ("heating_w", "heat")):  # fmt: skip
        np.testing.assert_array_equal(getattr(case, name), table[column], err_msg=name)
    np.testing.assert_array_equal(
        case.simulated_surfaces["north glass"].t_surface_c, table["glass"]
    )
    assert np.flatnonzero(case.cooling).tolist() == [30]
    density = air.dry_air_density(case.t_air_c, case.w_base_kg_kg, case.p_pa)
    assert case.dry_air_kg == pytest.approx(300.0 * density.mean())
    assert case.notes == (
        "whether the simulation humidified is not known, it is taken as free",
        ("no moisture gains in the table; the direct balance that checks the departure lacks them"),
        "the moisture capacity multiplier of the simulation is taken as 1",
        "2 days from 2021-01-05, not a year; the departure starts at the table's own humidity",
    )


def test_other_names_units_and_quantities_give_the_same_case(tmp_path):
    plain = sheet()
    t, w, p = (np.array(plain[name]) for name in ("Troom", "Wroom", "p"))
    other = {
        "T out": 32.0 + 1.8 * np.array(plain["Tout"]),
        "frost point": air.dew_point(air.vapour_pressure(np.array(plain["Wout"]), p)),
        "p": p / 100.0,
        "T room": 32.0 + 1.8 * t,
        "RH": 100.0 * air.relative_humidity(t, w, p),
        "ACH": np.array(plain["flow"]) * 3600.0 / (300.0 * air.dry_air_density(t, w, p)),
        "gains": np.full(HOURS, 0.36),
        "glass": 32.0 + 1.8 * np.array(plain["glass"]),
    }
    path = write(tmp_path, {name: column.tolist() for name, column in other.items()})
    columns = {"t_out_c": "T out", "dew_out_c": "frost point", "p_pa": "p", "t_air_c": "T room",
               "rh_frac": "RH", "exchange_ach": "ACH", "gains_kg_s": "gains"}  # fmt: skip

    case = read(
        path,
        columns=columns,
        units={
            "t_out_c": "degF",
            "p_pa": "hPa",
            "t_air_c": "°F",
            "rh_frac": "%",
            "gains_kg_s": "kg/h",
            "faces": "degF",
        },
        faces={"glass": "glass"},
        exchange_at="room",
        label=None,
        start="2021-01-05",
    )

    expected = read(write(tmp_path, plain), faces={"glass": "glass"})
    for name in ("t_out_c", "p_pa", "t_air_c", "exchange_kg_s", "w_out_kg_kg", "w_base_kg_kg"):
        # The inverse of the frost point is found to 1e-9 K, which is 1e-10 of W.
        np.testing.assert_allclose(
            getattr(case, name), getattr(expected, name), rtol=1e-9, err_msg=name
        )
    np.testing.assert_array_equal(case.interval_start, expected.interval_start)
    np.testing.assert_allclose(
        case.simulated_surfaces["glass"].t_surface_c,
        expected.simulated_surfaces["glass"].t_surface_c,
        rtol=1e-12,
    )
    np.testing.assert_allclose(case.gains_kg_s, 1e-4)
    assert case.humidity_reading == "frost_point"


def test_a_volume_of_cold_air_weighs_more(tmp_path):
    table = sheet() | {"flow": [100.0] * HOURS}
    path = write(tmp_path, table)
    columns = {name: column for name, column in SI.items() if name != "exchange_kg_s"}
    columns["exchange_m3_h"] = "flow"

    room, outdoor = (
        read(path, columns=columns, exchange_at=at).exchange_kg_s for at in ("room", "outdoor")
    )

    # 100 m3/h at 0.95 bar by the ideal gas: dry air of 0.95e5/(287 T) kg/m3, less some vapour.
    np.testing.assert_allclose(
        outdoor,
        100.0 / 3600.0 * 95_000.0 / (287.042 * (np.array(table["Tout"]) + 273.15)),
        rtol=4e-3,
    )
    kelvin_out, kelvin_room = (np.array(table[name]) + 273.15 for name in ("Tout", "Troom"))
    np.testing.assert_allclose(outdoor / room, kelvin_room / kelvin_out, rtol=7e-3)


def test_outdoor_relative_humidity_is_over_ice_and_at_most_saturation(tmp_path):
    table = sheet() | {"Wout": [1.05] + [0.8] * (HOURS - 1)}
    columns = {name: column for name, column in SI.items() if name != "w_out_kg_kg"}

    case = read(write(tmp_path, table), columns=columns | {"rh_out_frac": "Wout"})

    saturated = air.saturated_humidity_ratio(case.t_out_c, case.p_pa)
    assert case.w_out_kg_kg[0] == saturated[0]
    assert case.humidity_reading == "relative_humidity"


def test_labels_at_the_end_begin_a_step_earlier_and_24_00_is_a_time(tmp_path):
    table = sheet()
    table["when"] = [f"2021/01/{5 + h // 24:02d} {h % 24 + 1:02d}:00" for h in range(HOURS)]

    case = read(write(tmp_path, table), label="end")

    assert str(case.interval_start[0]) == "2021-01-05T00:00:00"
    assert str(case.interval_start[-1]) == "2021-01-06T23:00:00"


def test_the_step_is_that_of_the_times(tmp_path):
    table = sheet()
    first = datetime(2021, 1, 5)  # noqa: DTZ001 - idem
    table["when"] = [str(first + timedelta(minutes=30 * k)) for k in range(HOURS)]

    assert read(write(tmp_path, table)).steps_per_hour == 2


def test_without_times_the_steps_follow_from_the_start(tmp_path):
    path = write(tmp_path, sheet())
    columns = {name: column for name, column in SI.items() if name != "time"}

    case = read(path, columns=columns, label=None, start="2021-06-01", steps_per_hour=2)

    assert (case.n_hours, case.steps_per_hour) == (24, 2)
    assert str(case.interval_start[1]) == "2021-06-01T00:30:00"


def test_a_whole_year_wraps_and_a_leap_year_s_weather_may_lack_29_february(tmp_path):
    table = sheet(8760)
    first = datetime(2020, 1, 1)  # noqa: DTZ001 - idem
    table["when"] = [str(first + timedelta(hours=h + 24 * (h >= 59 * 24))) for h in range(8760)]
    table["Wroom"] = [0.005] * 8760
    table["glass"] = [8.0] * 8760

    case = read(write(tmp_path, table))

    assert case.wraps
    assert str(case.interval_start[-1]) == "2020-12-31T23:00:00"


def test_semicolons_and_decimal_commas_are_read_if_said(tmp_path):
    plain = read(write(tmp_path, sheet()))
    table = {
        name: [str(cell).replace(".", ",") if name != "when" else cell for cell in column]
        for name, column in sheet().items()
    }

    case = read(write(tmp_path, table, separator=";"), separator=";", decimal=",")

    np.testing.assert_array_equal(case.t_out_c, plain.t_out_c)


@pytest.mark.parametrize("times", ["timestamps", "texts"])
def test_parquet_gives_the_case_of_the_csv_file(tmp_path, times):
    table = sheet()
    plain = read(write(tmp_path, table))
    columns = {name: pa.array(column) for name, column in table.items()}
    if times == "timestamps":
        columns["when"] = pa.array(np.array(table["when"], dtype="datetime64[us]"))
    path = tmp_path / "room.parquet"
    pq.write_table(pa.table(columns), path)

    case = read(path)

    for name in ("interval_start", "t_out_c", "w_base_kg_kg", "exchange_kg_s", "p_pa"):
        np.testing.assert_array_equal(getattr(case, name), getattr(plain, name), err_msg=name)


def test_a_heating_plant_brings_the_table_s_heat(tmp_path):
    plant = {"kind": "furnace", "capacity_kw": 16.0, "airflow_l_s": 480.0}

    case = read(write(tmp_path, sheet()), columns=SI | {"heating_w": "heat"}, heating=plant)

    np.testing.assert_allclose(case.air_system.heat_frac, 0.25)


def test_the_weather_s_latitude_is_taken_unless_it_is_set(tmp_path):
    path = write(tmp_path, sheet())
    weather = SimpleNamespace(latitude_deg=-33.0)

    case = HourlyTable(**keys(path)).case(weather=weather, folder=tmp_path)

    assert case.latitude_deg == -33.0
    assert read(path).notes[-1] == "the table does not tell its latitude; 45° is taken"


def test_the_table_is_recorded_as_an_input(tmp_path):
    path = write(tmp_path, sheet())

    assert HourlyTable(**keys(path)).files(tmp_path) == (path,)


SPOILT = {
    "a cell that is no number": (
        ("Tout", 7, "mild"),
        (
            "room.csv: line 9: column 'Tout': must be a number, got 'mild'; "
            "1 of 48 rows are not numbers"
        ),
    ),
    "a cell that is empty": (
        ("Wroom", 7, ""),
        "room.csv: line 9: column 'Wroom': is empty; 1 of 48 rows are not numbers",
    ),
    "a number that only Python reads": (
        ("Tout", 7, "1_0"),
        (
            "room.csv: line 9: column 'Tout': must be a number, got '1_0'; "
            "1 of 48 rows are not numbers"
        ),
    ),
    "kelvin where degrees are expected": (
        ("Troom", 7, 293.15),
        (
            "room.csv: line 9: column 'Troom': must be between -40 and 60 °C, got 293.15 "
            '(set its unit if it is another: units = { t_air_c = "..." })'
        ),
    ),
    "a time of no known form": (
        ("when", 7, "01/05/2021 07:00"),
        (
            "room.csv: line 9: column 'when': must be a time like 2017-01-31 24:00, got "
            "'01/05/2021 07:00' (local standard time without an offset, year first; or leave "
            "columns.time out and give start)"
        ),
    ),
    "a date that is none": (
        ("when", 7, "2021-02-30 07:00"),
        (
            "room.csv: line 9: column 'when': must be a time like 2017-01-31 24:00, got "
            "'2021-02-30 07:00' (local standard time without an offset, year first; or leave "
            "columns.time out and give start)"
        ),
    ),
    "clocks put forward": (
        ("when", 7, "2021-01-05 08:00"),
        (
            "room.csv: line 9: column 'when': comes 120 min after the row before, the first rows "
            "are 60 min apart (rows are missing, doubled or out of order; times must be standard "
            "time all year; for a typical year of several years' months use start instead of "
            "columns.time)"
        ),
    ),
    "a step that is no part of an hour": (
        ("when", 1, "2021-01-05 00:40"),
        (
            "room.csv: line 3: column 'when': comes 40 min after the row before; an hour must be "
            "a multiple of the step"
        ),
    ),
}


@pytest.mark.parametrize(
    ("edit", "message"), [pytest.param(*case, id=name) for name, case in SPOILT.items()]
)
def test_a_bad_cell_is_named_by_file_line_and_column(tmp_path, edit, message):
    table = sheet()
    column, row, cell = edit
    table[column][row] = cell

    assert refusal(write(tmp_path, table)) == message


def test_a_row_of_a_parquet_file_is_named_too(tmp_path):
    table = sheet()
    table["Tout"][7] = None
    path = tmp_path / "room.parquet"
    pq.write_table(pa.table(table), path)

    assert refusal(path) == (
        "room.parquet: row 8: column 'Tout': is empty; 1 of 48 rows are not numbers"
    )


def test_times_with_a_zone_are_refused(tmp_path):
    table = sheet()
    columns = {name: pa.array(column) for name, column in table.items()}
    times = np.array(table["when"], dtype="datetime64[us]")
    columns["when"] = pa.array(times, type=pa.timestamp("us", tz="UTC"))
    path = tmp_path / "room.parquet"
    pq.write_table(pa.table(columns), path)

    assert refusal(path) == (
        "room.parquet: column 'when': has times in UTC "
        "(local standard time without a zone is needed)"
    )


def test_a_column_that_is_not_there_is_named_with_the_nearest(tmp_path):
    path = write(tmp_path, {"when": [], "Tout": [], "T room": []})

    assert refusal(path, columns=SI | {"t_air_c": "Troom"}) == (
        "room.csv: columns.w_out_kg_kg: has no column 'Wout' "
        "(did you mean 'Tout'? there is: 'when', 'Tout', 'T room')"
    )


def test_a_column_that_is_there_twice_is_refused(tmp_path):
    path = write(tmp_path, sheet())
    path.write_text(path.read_text().replace("glass", "Tout", 1))

    assert refusal(path) == "room.csv: columns.t_out_c: has column 'Tout' twice"


def test_a_row_with_a_cell_too_few_is_refused(tmp_path):
    path = write(tmp_path, sheet())
    lines = path.read_text().splitlines()
    lines[8] = lines[8].rsplit(",", 1)[0]
    path.write_text("\n".join(lines))

    assert refusal(path) == "room.csv: line 9: has 9 cells, the header 10"


@pytest.mark.parametrize(
    ("n_rows", "changes", "message"),
    [
        pytest.param(
            47, {}, "room.csv: runs from 2021-01-05T00:00:00 to 2021-01-06T23:00:00: whole days "
            "are needed (if the hours are shifted by one, label or start is wrong)",
            id="an hour is missing at the end"),
        pytest.param(
            48, {"label": "end"}, "room.csv: runs from 2021-01-04T23:00:00 to "
            "2021-01-06T23:00:00: whole days are needed (if the hours are shifted by one, label or "
            "start is wrong)", id="the wrong label"),
        pytest.param(1, {}, "room.csv: holds less than two rows", id="one row"),
        pytest.param(0, {}, "room.csv: holds less than two rows", id="no row"),
        pytest.param(
            0, {"start": "2021-01-01", "label": None,
                "columns": {k: v for k, v in SI.items() if k != "time"}},
            "room.csv: holds no rows: whole days are needed (if the hours are shifted by one, "
            "label or start is wrong)", id="no row and no times"),
        pytest.param(
            8760, {"start": "2020-01-01", "label": None,
                   "columns": {k: v for k, v in SI.items() if k != "time"}},
            "room.csv: start: 365 days from 2020-01-01 end on 2020-12-30, for that year has 29 "
            "February (take the start of another year, such as 2017-01-01)", id="a leap year"),
        pytest.param(
            48, {"units": {"t_air_c": "kg"}},
            "room.csv: units.t_air_c: 'kg' is no unit that can be turned into degC",
            id="a unit of something else"),
    ],
)  # fmt: skip
def test_hours_and_units_that_cannot_be_right_are_refused(tmp_path, n_rows, changes, message):
    assert refusal(write(tmp_path, sheet(n_rows)), **changes) == message


@pytest.mark.parametrize(
    ("name", "raw", "message"),
    [
        ("room.csv", None, "room.csv: file: there is no such file"),
        ("room.xlsx", b"", "room.xlsx: file: is no .csv or .parquet file"),
        ("room.csv", b"", "room.csv: has no first line with names of columns"),
        ("room.csv", b"when," + b"x" * 2_000_000,
         "room.csv: has a line longer than 1024 KB"),
        ("room.parquet", b"PAR1 is not enough",
         ("room.parquet: cannot be read as a table: Parquet magic bytes not found in footer. "
          "Either the file is corrupted or this is not a parquet file. (the file is damaged)")),
    ],
    ids=["no file", "a spreadsheet", "an empty file", "an endless line", "no Parquet file"],
)  # fmt: skip
def test_a_file_that_is_no_table_is_refused(tmp_path, name, raw, message):
    path = tmp_path / name
    if raw is not None:
        path.write_bytes(raw)

    assert refusal(path) == message


def without(*names: str) -> dict[str, str]:
    return {name: column for name, column in SI.items() if name not in names}


NO_PRESSURE = "give either columns.p_pa or elevation_m"


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        pytest.param(
            {"columns": SI | {"t_room_c": "T"}},
            "columns has no 't_room_c': did you mean t_out_c? it may name time, t_out_c, "
            "w_out_kg_kg, rh_out_frac, dew_out_c, p_pa, t_air_c, w_kg_kg, rh_frac, exchange_kg_s, "
            "exchange_m3_h, exchange_ach, gains_kg_s, heating_w, cooling_w", id="a name not ours"),
        pytest.param({"columns": without("w_kg_kg")},
                     "columns must name one of w_kg_kg, rh_frac, got none", id="no humidity"),
        pytest.param({"columns": SI | {"rh_frac": "RH"}},
                     "columns must name one of w_kg_kg, rh_frac, got w_kg_kg and rh_frac",
                     id="two humidities"),
        pytest.param({"columns": without("p_pa")}, NO_PRESSURE, id="no pressure"),
        pytest.param({"elevation_m": 100.0}, NO_PRESSURE, id="two pressures"),
        pytest.param({"columns": without("exchange_kg_s") | {"exchange_ach": "n"}},
                     "a volume flow needs exchange_at: is it counted at the density of outdoor or "
                     "of room air?", id="a volume of unknown density"),
        pytest.param({"label": None}, "columns.time needs label: do the times mark the start or "
                     "the end of their rows?", id="times of unknown meaning"),
        pytest.param({"columns": without("time"), "start": "2021-01-01"},
                     "label is about columns.time, which is not named", id="a label of nothing"),
        pytest.param({"columns": without("time"), "label": None},
                     "give either columns.time or start", id="no times"),
        pytest.param({"steps_per_hour": 1}, "steps_per_hour is told by columns.time: leave it out",
                     id="steps beside times"),
        pytest.param({"columns": without("time"), "label": None, "start": "2021-01-01T00:00+01:00"},
                     "start must be local standard time, without an offset", id="an offset"),
        pytest.param({"heating": {"kind": "hydronic"}}, "heating needs columns.heating_w",
                     id="a plant without heat"),
        pytest.param({"decimal": ","}, "separator and decimal must differ", id="one mark for both"),
        pytest.param({"units": {"rh_frac": "percent"}},
                     "units has rh_frac, which columns does not name", id="a unit of nothing"),
    ],
)  # fmt: skip
def test_a_table_that_is_not_told_enough_is_refused(tmp_path, changes, message):
    with pytest.raises(ValidationError) as caught:
        HourlyTable(**keys(tmp_path / "room.csv", **changes))

    assert message in str(caught.value)
