"""The commands of the checks: what an installer types and reads."""

from __future__ import annotations

import datetime as dt
import json

import pytest
from click.testing import CliRunner

from dewmargin.cli import cli
from dewmargin.errors import OutOfRangeError, OutputError
from dewmargin.physics.air import standard_pressure
from dewmargin.site.commissioning import Measured
from dewmargin.site.site_file import Visit, read_site

MEASURED = {
    "--feed": "120 s",
    "--drain": "12.257",
    "--feed-temperature": "140 degF",
    "--drain-temperature": "34.7",
    "--air-in": "113 degF",
    "--air-out": "29.6",
    "--room": "20",
    "--room-rh": "0.3",
}
COMMANDS = {
    "thermistor": ["--reading", "33621", "--controller-beta", "3435", "--lead", "100 ft"],
    "circuit": ["--load", "thermostat=3", "--load", "contactor=8/32", "--not-isolated"],
    "water": ["--feed", "15", "--feed-temperature", "60", "--material", "plain_plastic"],
    "measured": [part for pair in MEASURED.items() for part in pair],
}


def run(*arguments: str):
    return CliRunner().invoke(cli, ["check-site", *arguments])


def document(name: str, *more: str) -> dict:
    result = run(name, *COMMANDS[name], *more, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.output)


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_prints_lines_findings_and_cautions(name) -> None:
    result = run(name, *COMMANDS[name])

    assert result.exit_code == 0, result.output
    told = document(name)
    assert told["schema"] == f"dewmargin/check-site-{name}/1"
    for line in [*told["lines"], *told["cautions"], *(each["what"] for each in told["findings"])]:
        assert line in result.output


def test_a_finding_says_why_whose_and_what_to_do() -> None:
    lines = run("circuit", *COMMANDS["circuit"]).output.splitlines()

    at = lines.index("STOP: the outdoor unit's 240 V is not isolated")
    assert lines[at + 1] == (
        "  why: behind its cover are live 240 V, and a capacitor that holds charge "
        "(common practice, no source)"
    )
    assert lines[at + 2] == (
        "  do: leave the cover on; open and lock its disconnect, prove dead, then open it"
    )
    assert lines[-1].startswith("caution: Local code")


def test_what_is_fine_takes_one_line() -> None:
    output = run("circuit", "--load", "valve=12", "--isolated").output

    assert "fine: loads take 12 of 40 VA (30.0 %) (common practice, no source)" in output


def test_amounts_may_have_other_units() -> None:
    # 15 kg/h, 60 °C and 45 °C: 0.70 by the hand formula, see test_commissioning.py.
    assert document("measured")["numbers"]["contact_frac"] == pytest.approx(0.70, abs=0.02)


@pytest.mark.parametrize(
    ("feed", "kg_h"),
    [("15", 15.0), ("120 s", 15.0), ("2 min", 15.0), ("15 L/h", 15.0), ("4 gal/h", 15.14),
     ("0.004 kg/s", 14.4)],
)  # fmt: skip
def test_a_flow_is_read_by_mass_volume_or_the_time_of_half_a_litre(feed, kg_h) -> None:
    numbers = document("water", "--feed", feed)["numbers"]

    assert numbers["feed_kg_h"] == pytest.approx(kg_h, rel=1e-3)


def test_the_constants_of_a_part_may_be_given() -> None:
    part = ["--steinhart", "1.129148e-3", "2.34125e-4", "8.76741e-8"]
    numbers = document("thermistor", *part, "--reading", "10000")["numbers"]

    assert numbers["t_c"] == pytest.approx(25.0, abs=0.01)


def test_the_curve_of_a_controller_may_be_given_by_its_constants() -> None:
    same = ["--controller-steinhart", "1.02228469e-3", "2.53164557e-4", "0"]
    result = run("thermistor", *same, "--json")

    shown = json.loads(result.output)["numbers"]["shown"]
    assert [each["error_k"] for each in shown] == pytest.approx([0.0] * 5, abs=1e-4)


def test_higher_up_the_pad_is_colder() -> None:
    sea, high = (
        document("measured", "--elevation", each)["numbers"]["t_wet_bulb_c"]
        for each in ("0", "1600 m")
    )

    assert high < sea


def test_the_line_is_told_where_its_length_is() -> None:
    assert "purge_s" not in document("water")["numbers"]
    # ¼-inch tube of 14.7 ml/m: 35 s, computed for this project.
    assert document("water", "--length", "10")["numbers"]["purge_s"] == pytest.approx(
        35.0, rel=0.03
    )


def test_the_table_of_symptoms_is_printed() -> None:
    plain, as_json = run("measured", "--symptoms"), run("measured", "--symptoms", "--json")

    assert plain.output.splitlines()[-3] == "valve chatters or buzzes"
    table = json.loads(as_json.output)
    assert table["schema"] == "dewmargin/check-site-symptoms/1"
    assert table["symptoms"]["feed_low"]["action"] == "clean, replace the valve"


SAVE = ["--equipment", "pad", "--supply", "hot", "--date", "2026-11-19", "--elevation", "1000 ft"]


def test_a_visit_is_saved_and_read_back(tmp_path) -> None:
    file = tmp_path / "visit.toml"
    more = [*SAVE, "--static", "0.3 inwc", "--valve", "24", "--plant", "12", "--notes", 'a "note"']

    saved = run("measured", *COMMANDS["measured"], *more, "--save", str(file))
    read = run("measured", "--site", str(file))

    assert saved.exit_code == 0, saved.output
    *same, written = saved.output.splitlines()
    assert written == f"Written to {file}; next: dewmargin compare SCENARIO --site {file}"
    assert read.output.splitlines() == same
    found = read_site(file)
    assert (found.equipment, found.supply) == ("pad", "hot")
    assert found.visit == Visit(date=dt.date(2026, 11, 19), elevation_m=304.8, notes='a "note"')
    # 120 s for half a litre, 140 °F, 113 °F; 0.3 in of 249.089 Pa (from memory).
    assert found.measured == Measured(
        feed_kg_h=15.0,
        drain_kg_h=12.257,
        t_feed_c=60.0,
        t_drain_c=34.7,
        t_in_c=45.0,
        t_out_c=29.6,
        room_c=20.0,
        room_rh=0.3,
        p_pa=standard_pressure(304.8),
        static_pa=74.7267,
        valve_v=24.0,
        plant_kw=12.0,
    )


def test_a_visit_saved_twice_does_not_replace_the_first(tmp_path) -> None:
    file = tmp_path / "visit.toml"
    file.write_text("the first", encoding="utf-8")

    result = run("measured", *COMMANDS["measured"], *SAVE, "--save", str(file))

    assert isinstance(result.exception, OutputError)
    assert str(result.exception) == (
        f"{file}: exists already (keep one file a visit, or choose another name)"
    )
    assert file.read_text(encoding="utf-8") == "the first"


def test_a_visit_is_of_today_unless_its_date_is_given(tmp_path) -> None:
    file = tmp_path / "visit.toml"
    before = dt.datetime.now().astimezone().date()

    run("measured", *COMMANDS["measured"], "--equipment", "pad", "--save", str(file))

    found = read_site(file)
    assert before <= found.visit.date <= dt.datetime.now().astimezone().date()
    assert found.visit.elevation_m == 0.0
    assert found.supply is None


def test_what_a_bypass_brings_back_makes_the_air_before_the_pad_moister() -> None:
    alone, in_bypass = document("measured"), document("measured", "--plant", "12")

    note = "taken for a pad in no bypass: give the plant's heat if it is in one"
    assert note in alone["lines"]
    assert note not in in_bypass["lines"]
    assert in_bypass["numbers"]["t_wet_bulb_c"] > alone["numbers"]["t_wet_bulb_c"] + 1.0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ["measured", "--feed", "15", "--drain", "12"],
            (
                "Error: Not given: --feed-temperature, --drain-temperature, --air-in, --air-out, "
                "--room, --room-rh"
            ),
        ),
        (
            ["thermistor", "--controller-beta", "3435", "--controller-steinhart", "1", "2", "3"],
            "Error: Give --controller-beta or --controller-steinhart, not both.",
        ),
        (
            ["thermistor", "--lead", "30 degC"],
            (
                "Error: Invalid value for '--lead': '30 degC' is not a quantity that can be turned "
                'into m (write a number and a unit: "12 m")'
            ),
        ),
        (
            ["thermistor", "--lead", "inf"],
            "Error: Invalid value for '--lead': inf is no finite number",
        ),
        (
            ["water", *COMMANDS["water"], "--pressure", "3"],
            "Error: --pressure and --set-pressure go together.",
        ),
        (
            ["measured", "--site", "visit.toml", "--feed", "15", "--save", "other.toml"],
            "Error: --site holds what was measured: leave --feed, --save out.",
        ),
        (
            ["measured", *COMMANDS["measured"], "--save", "visit.toml"],
            "Error: --save needs --equipment, the pad's name in the scenario.",
        ),
        (
            ["water", "--feed", "0 s", "--feed-temperature", "10"],
            "Error: Invalid value for '--feed': 0 s: half a litre takes longer",
        ),
    ],
)
def test_what_cannot_be_read_is_a_usage_error_that_names_it(arguments, message) -> None:
    result = run(*arguments)

    assert result.exit_code == 2
    assert result.output.splitlines()[-1] == message


def test_what_is_out_of_range_names_the_input() -> None:
    result = run("measured", *COMMANDS["measured"], "--room-rh", "30")

    assert isinstance(result.exception, OutOfRangeError)
    assert str(result.exception).startswith("measured: room_rh: must be between 0 and 1, got 30")
