"""Scenario files: what is read, and what is said about one that is wrong."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING

import jsonschema
import pytest

from dewmargin import scenario
from dewmargin.errors import InputError
from dewmargin.studies.demo import demo_folder

if TYPE_CHECKING:
    from pathlib import Path

DEMO = demo_folder() / "scenarios" / "larch_house.toml"
TEXT = DEMO.read_text(encoding="utf-8")


def spoilt(tmp_path: Path, old: str, new: str) -> Path:
    """Write the demo scenario with one thing replaced, and return it."""
    assert old in TEXT
    path = tmp_path / "x.toml"
    path.write_text(TEXT.replace(old, new, 1), encoding="utf-8")
    return path


def test_the_demo_scenario_is_read() -> None:
    read = scenario.load(DEMO)

    assert read.space_kind == "house"
    assert [s.name for s in read.surfaces] == ["window glass, centre", "window glass, edge"]
    assert len(read.strategies) == 6
    assert [s.name for s in read.supplies] == ["cold", "hot 55 °C"]
    assert read.comfort.low_rh == 0.30


def test_quantities_may_be_written_with_their_units(tmp_path) -> None:
    path = spoilt(tmp_path, "floor_area_m2 = 165", 'floor_area_m2 = "1776 ft2"')

    # 1 ft = 0.3048 m by definition.
    assert scenario.load(path).space.floor_area_m2 == pytest.approx(1776 * 0.3048**2, rel=1e-12)


# What is replaced, by what, and the whole message after "FILE: ".
BAD = {
    "unknown key, near one": (
        "shelter_class = 3",
        "shelter_clas = 3",
        "space.house.shelter_clas: is not a key of this table (did you mean 'shelter_class'?)",
    ),
    "unknown key at the top": (
        'title = "Larch',
        'wallpaper = "red"\ntitle = "Larch',
        (
            "wallpaper: is not a key of this table (keys here: title, weather, space, surfaces, "
            "strategies, equipment, supplies, comfort, control, tariff, assembly, reports, "
            "doubts)"
        ),
    ),
    "unknown key in a sub-table": (
        "day_c = 20",
        "day_cc = 20",
        "space.house.thermostat.day_cc: is not a key of this table (did you mean 'day_c'?)",
    ),
    "missing key": (
        "volume_m3 = 430\n",
        "",
        "space.house.volume_m3: is missing",
    ),
    "per cent instead of a fraction": (
        "rh = 0.35",
        "rh = 35",
        (
            "strategies[0].rh: must be at most 1, got 35 "
            "(fractions run from 0 to 1: did you mean 0.35?)"
        ),
    ),
    "negative volume": (
        "volume_m3 = 430",
        "volume_m3 = -430",
        "space.house.volume_m3: must be above 0, got -430",
    ),
    "text for a number": (
        "bedrooms = 3",
        'bedrooms = "three"',
        "space.house: bedrooms: must be a number, got 'three'",
    ),
    "unit that measures something else": (
        "floor_area_m2 = 165",
        'floor_area_m2 = "165 m"',
        (
            "space.house: floor_area_m2: '165 m' is not a quantity that can be turned into m2 "
            '(write a number and a unit: "12 m2")'
        ),
    ),
    "not a number": (
        "rh = 0.35",
        "rh = nan",
        "strategies[0].rh: must be a finite number, got nan",
    ),
    "unknown report": (
        "[weather]",
        'reports = [{ kind = "csv" }, { kind = "parket" }]\n[weather]',
        (
            "reports[1].kind: no report is called 'parket' (did you mean 'parquet'? installed: "
            "csv, page, parquet)"
        ),
    ),
    "a report without kind": (
        "[weather]",
        "reports = [{ hourly = true }]\n[weather]",
        "reports[0].kind: is missing (one of: csv, page, parquet)",
    ),
    "a key of another report": (
        "[weather]",
        'reports = [{ kind = "parquet", hourly = true }]\n[weather]',
        "reports[0].hourly: is not a key of this table (keys here: kind)",
    ),
    "unknown rule": (
        'rule = "surface_limit"\nmargin_k = 1',
        'rule = "surface_limits"\nmargin_k = 1',
        (
            "strategies[4].rule: no strategy is called 'surface_limits' (did you mean "
            "'surface_limit'? installed: constant, dew_point, outdoor_reset, schedule, "
            "surface_limit)"
        ),
    ),
    "rule missing": (
        'rule = "constant"\nrh = 0.35',
        "rh = 0.35",
        (
            "strategies[0].rule: is missing (one of: constant, dew_point, outdoor_reset, schedule, "
            "surface_limit)"
        ),
    ),
    "rule is a number": (
        'rule = "constant"\nrh = 0.35',
        "rule = 7\nrh = 0.35",
        (
            "strategies[0].rule: must be a text, got 7 (one of: constant, dew_point, "
            "outdoor_reset, schedule, surface_limit)"
        ),
    ),
    "unknown equipment": (
        'kind = "wetted_pad"',
        'kind = "kettle"',
        (
            "equipment[0].kind: no equipment is called 'kettle' "
            "(installed: atomiser, fixed_rate, steam, wetted_pad)"
        ),
    ),
    "points out of order": (
        "points = [[-20, 0.20], [5, 0.40]]",
        "points = [[5, 0.40], [-20, 0.20]]",
        (
            "strategies[3].points: outdoor temperatures must rise from point to point, "
            "got 5 before -20"
        ),
    ),
    "point in per cent": (
        "points = [[-20, 0.20], [5, 0.40]]",
        "points = [[-20, 20], [5, 40]]",
        (
            "strategies[3].points: relative humidity must be between 0 and 1, got 20 at -20 °C: "
            "did you mean 0.2?"
        ),
    ),
    "two strategies of one name": (
        'name = "hold 40 %"',
        'name = "hold 35 %"',
        "strategies[1].name: 'hold 35 %' is also the name of strategies[0] (names must differ)",
    ),
    "empty name": (
        'name = "cold"',
        'name = " "',
        "supplies[0].name: must not be empty",
    ),
    "no supply": (
        TEXT[TEXT.index("[[supplies]]") :],
        "",
        "supplies: is missing",
    ),
    "two spaces": (
        "[[surfaces]]",
        '[space.simulation]\nresults = "x.sql"\n\n[[surfaces]]',
        (
            "space: must hold exactly one space, got house, simulation "
            "(one of: house, simulation, table)"
        ),
    ),
    "unknown space": (
        "[space.house]\n",
        "[space.barn]\n",
        "space: must hold exactly one space, got barn, house (one of: house, simulation, table)",
    ),
    "surface without a temperature": (
        "temperature_index = 0.63\n",
        "",
        (
            "surfaces[0]: needs exactly one of temperature_index, temperature_index_points, "
            "u_factor_w_m2_k, glazing, frame, layers, simulated, construction, got none"
        ),
    ),
    "index above one": (
        "temperature_index = 0.63",
        "temperature_index = 1.63",
        (
            "surfaces[0].temperature_index: must be at most 1, got 1.63 "
            "(fractions run from 0 to 1: did you mean 0.0163?)"
        ),
    ),
    "a truth instead of a number": (
        "rh = 0.35",
        "rh = true",
        "strategies[0]: rh: must be a number, got true",
    ),
    "a number in quotes": (
        "rh = 0.35",
        'rh = "0.45"',
        "strategies[0]: rh: must be a number, got '0.45'",
    ),
    "a point that is no pair": (
        "[-20, 0.20]",
        "[-20, 0.20, 1]",
        "strategies[3].points: must be pairs of [outdoor °C, fraction], got [-20, 0.2, 1]",
    ),
    "a name that would make two options one": (
        'name = "hold 35 %"',
        'name = "a | b"',
        (
            "strategies[0].name: must not hold ' | ' or be 'no humidifier' "
            "(option names are made of it)"
        ),
    ),
    "a name that no table can show": (
        'name = "hold 35 %"',
        'name = "a\\tb"',
        "strategies[0].name: cannot be a name, got 'a\\tb' (at most 80 printable characters)",
    ),
    "a number beyond sense": (
        "volume_m3 = 430",
        "volume_m3 = 1e300",
        "space.house.volume_m3: must be at most 1e+07, got 1e+300",
    ),
    "comfort band upside down": (
        "[[surfaces]]",
        "[comfort]\nlow_rh = 0.6\n\n[[surfaces]]",
        "comfort: low_rh must be below high_rh, got 0.6 and 0.5",
    ),
    "furnace without air": (
        "airflow_l_s = 400\n",
        "",
        "space.house.heating: a furnace needs airflow_l_s",
    ),
    "value not among the choices": (
        'call = "heating"',
        'call = "sometimes"',
        "equipment[0].call: must be 'always', 'heating', 'humidity' or 'blower', got 'sometimes'",
    ),
    "modifier misspelt": (
        "rh = 0.35",
        "rh = 0.35\nlook_ahed = { hours = 3 }",
        "strategies[0].look_ahed: is not a key of this table (did you mean 'look_ahead'?)",
    ),
    "unknown key of a modifier": (
        "rh = 0.35",
        "rh = 0.35\nlimits = { cap = 0.4 }",
        "strategies[0].limits.cap: is not a key of this table (did you mean 'cap_rh'?)",
    ),
    "modifier that is no table": (
        "rh = 0.35",
        "rh = 0.35\nlook_ahead = 6",
        "strategies[0].look_ahead: must be a table, got 6",
    ),
    "forecast of half an hour": (
        "rh = 0.35",
        "rh = 0.35\nlook_ahead = { hours = 0.5 }",
        "strategies[0].look_ahead.hours: must be a whole number, got 0.5",
    ),
    "limits upside down": (
        "rh = 0.35",
        "rh = 0.35\nlimits = { floor_rh = 0.4, cap_rh = 0.3 }",
        "strategies[0].limits: floor_rh must not be above cap_rh, got 0.4 and 0.3",
    ),
    "rate of change in hours": (
        "rh = 0.35",
        'rh = 0.35\nlimits = { rise_per_h = "2 hour" }',
        "strategies[0].limits: rise_per_h: must be a number, got '2 hour'",
    ),
    "season that begins on no day": (
        "rh = 0.35",
        'rh = 0.35\nseason = { from_date = "02-30" }',
        (
            'strategies[0].season.from_date: must be a month and a day, such as "10-15", '
            "got '02-30'"
        ),
    ),
    "schedule without the hours it asks for": (
        'rule = "constant"\nrh = 0.35',
        'rule = "schedule"\nrh = 0.35\nperiods = [{ rh = 0.4, occupied = true }]',
        (
            "strategies[0]: periods[0] asks who is there: needs a table `occupied` with from_h, "
            "to_h or days"
        ),
    ),
    "period without hours": (
        'rule = "constant"\nrh = 0.35',
        'rule = "schedule"\nrh = 0.35\nperiods = [{ rh = 0.4, from_h = 6, to_h = 6 }]',
        "strategies[0].periods[0]: from_h and to_h must differ, got 6 for both",
    ),
    "no day of the week": (
        'rule = "constant"\nrh = 0.35',
        'rule = "schedule"\nrh = 0.35\nperiods = [{ rh = 0.4, days = ["Mo"] }]',
        (
            "strategies[0].periods[0].days[0]: must be 'mon', 'tue', 'wed', 'thu', 'fri', 'sat' "
            "or 'sun', got 'Mo'"
        ),
    ),
    "key of a period misspelt": (
        'rule = "constant"\nrh = 0.35',
        'rule = "schedule"\nrh = 0.35\nperiods = [{ rh = 0.4, from_hour = 6 }]',
        "strategies[0].periods[0].from_hour: is not a key of this table (did you mean 'from_h'?)",
    ),
    "dew point without a dew point": (
        'rule = "constant"\nrh = 0.35',
        'rule = "dew_point"\ndewpoint_c = 5',
        (
            "strategies[0].dewpoint_c: is not a key of this table; 1 more after this "
            "(did you mean 'dew_point_c'?)"
        ),
    ),
    "sensor bias in points": (
        "[[surfaces]]",
        "[control]\nrh_bias = 5\n\n[[surfaces]]",
        "control.rh_bias: must be at most 0.3, got 5",
    ),
    "controller key misspelt": (
        "[[surfaces]]",
        "[control]\ndeadband = 0.04\n\n[[surfaces]]",
        "control.deadband: is not a key of this table (did you mean 'deadband_rh'?)",
    ),
    "table where a list belongs": (
        TEXT[TEXT.index("[[supplies]]") :],
        '[supplies]\nname = "cold"\n',
        "supplies: must be a list, got {'name': 'cold'}",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_spoilt_scenario_is_refused_with(name: str, tmp_path) -> None:
    old, new, message = BAD[name]
    path = spoilt(tmp_path, old, new)

    with pytest.raises(InputError) as caught:
        scenario.load(path)

    assert str(caught.value) == f"{path}: {message}"


def test_several_mistakes_are_counted(tmp_path) -> None:
    path = spoilt(tmp_path, "rh = 0.35", "rh = 35\ncolour = 1\nweight = 2")

    with pytest.raises(InputError) as caught:
        scenario.load(path)

    assert str(caught.value) == (
        f"{path}: strategies[0].colour: is not a key of this table; 2 more after this "
        "(keys here: name, rule, rh, smoothed_outdoor, look_ahead, limits, season)"
    )


@pytest.mark.parametrize(
    ("content", "message"),
    [
        pytest.param(b"title = ", "is not valid TOML: Invalid value", id="cut short"),
        pytest.param(b"\xff\xfe", "is not valid TOML: 'utf-8' codec", id="not text"),
        pytest.param(b"", "title: is missing", id="empty"),
        pytest.param(b"x = " + b"[" * 5000, "is not valid TOML: ", id="nested without end"),
    ],
)
def test_a_file_that_is_no_scenario_is_refused(content: bytes, message: str, tmp_path) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(content)

    with pytest.raises(InputError, match=re.escape(f"{path}: {message}")):
        scenario.load(path)


def test_a_missing_file_is_named(tmp_path) -> None:
    with pytest.raises(InputError) as caught:
        scenario.load(tmp_path / "gone.toml")

    assert (
        str(caught.value) == f"{tmp_path / 'gone.toml'}: cannot be read: No such file or directory"
    )


def test_a_huge_file_is_refused_unread(tmp_path) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(b"#" * 1_000_001)

    with pytest.raises(InputError) as caught:
        scenario.load(path)

    assert str(caught.value) == f"{path}: is larger than 1 MB (is it a scenario?)"


def test_a_surface_that_the_space_does_not_report_is_named(tmp_path) -> None:
    path = spoilt(tmp_path, "temperature_index = 0.63", 'simulated = "WIN 1 glass"')
    weather = f'file = "{(demo_folder() / "weather" / "larch_valley.epw").as_posix()}"'
    path.write_text(
        path.read_text(encoding="utf-8").replace('file = "../weather/larch_valley.epw"', weather),
        encoding="utf-8",
    )
    read = scenario.load(path)

    with pytest.raises(InputError) as caught:
        read.case(read.read_weather())

    assert str(caught.value) == (
        f"{path}: surfaces[0].simulated: no inside face is called 'WIN 1 glass' (reported: none)"
    )


@pytest.mark.parametrize("file", ["larch_house.toml", "larch_house_simulated.toml"])
def test_the_schema_takes_the_demo_scenarios(file: str) -> None:
    """Oracle: the reference library of JSON Schema for Python."""
    document = tomllib.loads(DEMO.with_name(file).read_text(encoding="utf-8"))

    jsonschema.Draft202012Validator.check_schema(scenario.json_schema())
    jsonschema.validate(document, scenario.json_schema())


@pytest.mark.parametrize("name", ["unknown key at the top", "missing key", "unknown rule"])
def test_the_schema_refuses_what_the_reader_refuses(name: str) -> None:
    old, new, _ = BAD[name]

    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tomllib.loads(TEXT.replace(old, new, 1)), scenario.json_schema())
