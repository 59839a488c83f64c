"""A visit put into a scenario: a pad's readings come back as its inputs, and nothing else moves."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from click.testing import CliRunner
from pandas.testing import assert_frame_equal

from dewmargin.cli import cli
from dewmargin.errors import InputError
from dewmargin.physics import air, pad
from dewmargin.scenario import load
from dewmargin.scenario.visit import with_visit
from dewmargin.site.site_file import read_site
from dewmargin.space.plant import HeatingPlant
from dewmargin.studies.compare.comparison import compare
from dewmargin.studies.demo import demo_folder
from dewmargin.studies.standard import compare_run
from stress_case import small

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.scenario import Scenario

DEMO = demo_folder() / "scenarios"
ELEVATION_M = 1450.0  # of Larch Valley
P_PA = air.standard_pressure(ELEVATION_M)
ROOM_C, ROOM_RH = 20.0, 0.31


def ratio(t_c: float, rh: float) -> float:
    return float(air.humidity_ratio_at_rh(np.array(t_c), np.array(rh), np.array(P_PA)))


W_ROOM = ratio(ROOM_C, ROOM_RH)
ROOM_DRY_KG_M3 = float(air.dry_air_density(np.array(ROOM_C), np.array(W_ROOM), np.array(P_PA)))


@dataclass(frozen=True, kw_only=True)
class Pad:
    """A running pad and its plant, as they truly are; flows of all pads together."""

    contact: float = 0.82
    effectiveness: float = 0.58
    airflow_kg_s: float = 0.084
    feed_kg_h: float = 14.0
    t_feed_c: float = 51.5
    blower_kg_s: float = 0.40
    plant_kw: float = 12.0
    bypass: bool = True

    def readings(self) -> dict[str, float]:
        """Return what is read on it, to the last digit: turns of mixing, heating and evaporating.

        The air that a bypass takes comes back into the return; turned until it no longer changes.
        """
        room_h = air.CP_DRY_AIR * ROOM_C + W_ROOM * (air.H_FG_0C + air.CP_VAPOUR * ROOM_C)
        w, h = W_ROOM, room_h + 1e3 * self.plant_kw / self.blower_kg_s
        for _ in range(200):
            t_in = (h - w * air.H_FG_0C) / (air.CP_DRY_AIR + w * air.CP_VAPOUR)
            state = pad.evaporate(
                airflow_kg_s=self.airflow_kg_s,
                t_in_c=t_in,
                w_in_kg_kg=w,
                p_pa=P_PA,
                feed_kg_s=self.feed_kg_h / 3600.0,
                t_feed_c=self.t_feed_c,
                effectiveness=self.effectiveness,
                contact_frac=self.contact,
            )
            if not self.bypass:
                break
            t_out, w_out = float(state.t_air_out_c), float(state.w_air_out_kg_kg)
            h_out = air.CP_DRY_AIR * t_out + w_out * (air.H_FG_0C + air.CP_VAPOUR * t_out)
            back = self.airflow_kg_s / self.blower_kg_s
            w = back * w_out + (1.0 - back) * W_ROOM
            h = back * h_out + (1.0 - back) * room_h + 1e3 * self.plant_kw / self.blower_kg_s
        return {
            "feed_kg_h": self.feed_kg_h,
            "drain_kg_h": 3600.0 * float(state.drain_kg_s),
            "t_feed_c": self.t_feed_c,
            "t_drain_c": float(state.t_drain_c),
            "t_in_c": t_in,
            "t_out_c": float(state.t_air_out_c),
            "room_c": ROOM_C,
            "room_rh": ROOM_RH,
        }


def visit(folder: Path, readings: dict[str, object], name: str = "visit.toml") -> Path:
    pad_table = {"equipment": "pad", "supply": "hot", **readings}
    lines = ["[visit]", "date = 2026-11-19", f"elevation_m = {ELEVATION_M}", "[pad]"]
    lines += [
        f"{key} = {json.dumps(value)}" for key, value in pad_table.items() if value is not None
    ]
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def put_in(scenario: Scenario) -> dict[str, float]:
    assert scenario.site is not None
    return {each.key.rpartition(".")[2]: each.new for each in scenario.site.replaced}


def as_is(true: Pad, **more: float) -> dict[str, object]:
    """Return what a visit is to find, to the four digits that are put in."""
    found = {
        "contact_frac": true.contact,
        "effectiveness": true.effectiveness,
        "airflow_kg_s": true.airflow_kg_s,
        "feed_kg_h": true.feed_kg_h,
        "temperature_c": true.t_feed_c,
        "airflow_l_s": 1e3 * true.blower_kg_s / ROOM_DRY_KG_M3,
    }
    return {key: pytest.approx(value, rel=5.1e-4) for key, value in (found | more).items()}


def test_the_inputs_of_a_pad_in_a_bypass_come_back_from_its_readings(tmp_path) -> None:
    true = Pad()

    found = with_visit(small(tmp_path), visit(tmp_path, true.readings()))

    assert put_in(found) == as_is(true)


def test_a_compare_with_a_visit_is_one_with_the_same_inputs_typed_by_hand(tmp_path) -> None:
    measured = compare(small(tmp_path), site=visit(tmp_path, Pad().readings()))
    found = put_in(measured.scenario)
    (tmp_path / "hand").mkdir()

    by_hand = compare(
        small(
            tmp_path / "hand",
            lines={
                "effectiveness = 0.65": f"effectiveness = {found['effectiveness']}\n"
                f"contact_frac = {found['contact_frac']}",
                "airflow_kg_s = 0.09": f"airflow_kg_s = {found['airflow_kg_s']}",
                "feed_kg_h = 15": f"feed_kg_h = {found['feed_kg_h']}",
                "temperature_c = 55": f"temperature_c = {found['temperature_c']}",
                "airflow_l_s = 400": f"airflow_l_s = {found['airflow_l_s']}",
            },
        )
    )

    for name in ("comparison", "surfaces", "hourly", "settings"):
        assert_frame_equal(getattr(measured, name), getattr(by_hand, name), check_exact=True)
    plain = compare(small(tmp_path))
    assert not measured.comparison.equals(plain.comparison)


def test_all_else_of_the_scenario_stays(tmp_path) -> None:
    before = small(tmp_path)

    after = with_visit(before, visit(tmp_path, Pad().readings()))

    same = [f.name for f in fields(before) if getattr(before, f.name) == getattr(after, f.name)]
    moved = {f.name for f in fields(before)} - set(same)
    assert moved == {"space", "equipment", "supplies", "site"}
    was, now = before.resolved(), after.resolved()
    differing = {
        f"{part}.{key}"
        for part in was
        if part != "title"
        for key in was[part]
        if was[part][key] != now[part][key]
    }
    assert differing == {
        "space.house.heating",
        "equipment[0].airflow_kg_s",
        "equipment[0].effectiveness",
        "equipment[0].contact_frac",
        "equipment[0].feed_kg_h",
        "supplies[0].temperature_c",
    }


def test_of_units_alike_one_is_measured(tmp_path) -> None:
    one = Pad(airflow_kg_s=0.05, feed_kg_h=8.0)
    # Two on one blower: each meets half of its air and half of its heat.
    half = replace(one, blower_kg_s=0.22, plant_kw=6.0)

    found = with_visit(
        small(tmp_path, lines={"feed_kg_h = 15": "feed_kg_h = 15\ncount = 2"}),
        visit(tmp_path, half.readings()),
    )

    both = 1e3 * 2 * half.blower_kg_s / ROOM_DRY_KG_M3
    assert put_in(found) == as_is(half, airflow_l_s=both)


def test_a_pad_with_a_fan_of_its_own_meets_the_plenum_as_it_is(tmp_path) -> None:
    true = Pad(bypass=False)

    found = with_visit(
        small(
            tmp_path, lines={'kind = "wetted_pad"': 'kind = "wetted_pad"\narrangement = "own_fan"'}
        ),
        visit(tmp_path, true.readings()),
    )

    assert put_in(found) == as_is(true)


def test_what_told_the_pad_another_way_gives_way(tmp_path) -> None:
    true = Pad()
    other = {
        "airflow_kg_s = 0.09": "bypass = { pressure_pa = 60, duct_diameter_mm = 150 }",
        "effectiveness = 0.65": "media = { depth_m = 0.1, face_area_m2 = 0.1 }",
        "feed_kg_h = 15": "feed_ratio = 3",
    }

    found = with_visit(small(tmp_path, lines=other), visit(tmp_path, true.readings()))

    device = found.equipment[0]
    assert (device.bypass, device.media, device.feed_kg_h) == (None, None, None)
    evaporated = true.feed_kg_h - true.readings()["drain_kg_h"]
    assert device.feed_ratio == pytest.approx(true.feed_kg_h / evaporated, rel=5.1e-4)
    assert {each.old for each in found.site.replaced} == {
        "1",
        "by media",
        "by bypass",
        "3",
        "55",
        "400",
    }


def test_a_pad_wetted_in_part_keeps_its_wetting(tmp_path) -> None:
    true = Pad()
    wetting = "wetting = { full_feed_kg_h = 20 }"

    found = with_visit(
        small(tmp_path, lines={"feed_kg_h = 15": f"feed_kg_h = 15\n{wetting}"}),
        visit(tmp_path, true.readings()),
    )

    # 14 of 20 kg/h wet seven tenths: all over it would reach 0.58/0.7.
    assert put_in(found) == as_is(true, effectiveness=0.58 / 0.7)


def test_the_line_s_loss_is_added_to_what_the_nozzle_has(tmp_path) -> None:
    line = "temperature_c = 55\nline = { length_m = 8, bore_mm = 6 }"
    scenario = small(tmp_path, lines={"temperature_c = 55": line})
    supply = scenario.supplies[0]
    arriving = float(supply.line.line(20.0).arriving_c(np.array(53.0), 14.0 / 3600.0))

    found = with_visit(scenario, visit(tmp_path, Pad(t_feed_c=arriving).readings()))

    assert put_in(found)["temperature_c"] == 53.0


def test_the_plant_s_heat_may_be_measured_too(tmp_path) -> None:
    true = Pad(plant_kw=10.0)

    found = with_visit(small(tmp_path), visit(tmp_path, true.readings() | {"plant_kw": 10}))

    assert put_in(found) == as_is(true, capacity_kw=10.0)


HEAT_PUMP = {
    'kind = "furnace"': 'kind = "heat_pump"',
    "capacity_kw = 12": "capacity_points = [[-15, 7], [7, 13]]",
    'carrier = "gas"\nefficiency = 0.9\n': "",
}
UNHEATED = {
    "temperature_c = 55": "",
    'heater = { kind = "fuel_storage", carrier = "gas", efficiency = 0.7 }': "",
}


def test_of_a_heat_pump_the_visit_s_heat_is_given(tmp_path) -> None:
    true = Pad(plant_kw=9.0)

    found = with_visit(
        small(tmp_path, lines=HEAT_PUMP), visit(tmp_path, true.readings() | {"plant_kw": 9})
    )

    assert put_in(found) == as_is(true)
    assert found.space.heating.capacity_points == ((-15.0, 7.0), (7.0, 13.0))


@pytest.mark.parametrize(
    ("lines", "readings", "kept"),
    [
        (
            {},
            Pad(t_feed_c=22.0).readings(),
            "equipment[0].contact_frac: feed of 22 °C, near the wet bulb, tells nothing of it",
        ),
        (
            UNHEATED,
            Pad().readings(),
            "supplies[0]: unheated, it goes with the seasons",
        ),
        (
            {},
            Pad().readings() | {"supply": None},
            "temperatures of all supplies: the file names none",
        ),
        (
            HEAT_PUMP | {'kind = "wetted_pad"': 'kind = "wetted_pad"\narrangement = "own_fan"'},
            Pad(bypass=False).readings(),
            "space.house.heating: at the visit the plant gave what the scenario does not tell",
        ),
        (
            {'kind = "wetted_pad"': 'kind = "wetted_pad"\narrangement = "own_fan"'},
            Pad(bypass=False, plant_kw=1.0).readings(),
            "space.house.heating: at the visit the plant did not heat",
        ),
    ],
)  # fmt: skip
def test_what_a_visit_does_not_tell_stays_and_is_said(lines, readings, kept, tmp_path) -> None:
    found = with_visit(small(tmp_path, lines=lines), visit(tmp_path, readings))

    assert found.site.kept == (kept,)
    assert f"  kept: {kept}" in found.site.lines()


def test_in_a_room_there_is_no_plenum(tmp_path) -> None:
    room = Pad(bypass=False, plant_kw=0.0, blower_kg_s=1.0)

    found = with_visit(
        small(
            tmp_path,
            lines={
                'kind = "wetted_pad"': 'kind = "wetted_pad"\narrangement = "room"',
                'call = "heating"': 'call = "always"',
            },
        ),
        visit(tmp_path, room.readings()),
    )

    assert "airflow_l_s" not in put_in(found)
    assert found.site.kept == ()


def test_the_findings_say_what_was_expected(tmp_path) -> None:
    found = with_visit(small(tmp_path), visit(tmp_path, Pad(effectiveness=0.55).readings()))

    assert [(each.severity, each.what) for each in found.site.findings] == [
        ("fine", "feed of 14.0 kg/h, set to 15.0"),
        ("fix", "feed of 51.5 °C, expected 55.0: off by more than 3 K"),
        ("fine", "the measured values agree with each other"),
        ("fix", "82 % of the feed wets the pad, expected 100 %: the rest runs past it"),
        ("fix", "effectiveness 0.55, expected 0.65: low"),
        ("fix", "14.0 kg/h fed, 2.6 evaporated: more than it needs"),
    ]


def test_a_small_medium_is_found_to_blow_water_off(tmp_path) -> None:
    # 0.084 kg/s of 0.90 kg/m3 (85 kPa, 53 °C): 3.1 m/s through 0.03 m2.
    medium = "media = { depth_m = 0.1, face_area_m2 = 0.03 }"

    found = with_visit(
        small(tmp_path, lines={"effectiveness = 0.65": medium}),
        visit(tmp_path, Pad(contact=1.0, effectiveness=0.7).readings()),
    )

    assert found.site.symptoms == ("blown_off",)
    assert "  symptom: water blown off the pad" in found.site.lines()


def test_a_simulated_plant_keeps_the_run_s_air(tmp_path) -> None:
    scenario = small(tmp_path)
    run = scenario.space.model_copy(update={"heating": HeatingPlant(kind="simulated")})

    found = with_visit(
        replace(scenario, space=run), visit(tmp_path, Pad().readings() | {"plant_kw": 12})
    )

    assert found.space is run
    assert found.site.kept == ("space.house.heating: air and heat are the run's own",)


STEAM = {
    "wetted_pad": "fixed_rate",
    "airflow_kg_s = 0.09": "rate_kg_h = 2",
    "effectiveness = 0.65": "",
    "feed_kg_h = 15": "feed_ratio = 1",
}
SOUND = Pad().readings()


@pytest.mark.parametrize(
    ("lines", "changed", "message"),
    [
        (
            {},
            {"equipment": "pat"},
            "pad.equipment: 'pat' is not in the scenario (did you mean 'pad'?)",
        ),
        (
            {},
            {"equipment": "steamer"},
            "pad.equipment: 'steamer' is not in the scenario (one of: pad)",
        ),
        ({}, {"supply": "cold"}, "pad.supply: 'cold' is not in the scenario (one of: hot)"),
        (
            STEAM,
            {},
            (
                "pad.equipment: 'pad' is of kind 'fixed_rate', which has no contact and "
                "effectiveness to measure (name a wetted_pad)"
            ),
        ),
        (
            {},
            {"drain_kg_h": 0.2},
            "pad: contact and effectiveness cannot be told (put that right and measure again)",
        ),
        (
            {},
            {"t_drain_c": 12.0},
            (
                "pad: the measured values contradict each other by 10.3 K (measure again: "
                "shield the probes, wait a quarter of an hour, weigh the water)"
            ),
        ),
        (
            {},
            Pad(contact=0.15).readings(),
            (
                "pad: the effectiveness cannot be told: all that wets the pad evaporates "
                "(level it, clean the trough, replace the pad, reduce the orifice)"
            ),
        ),
        (
            {"feed_kg_h = 15": "feed_kg_h = 15\nwetting = { full_feed_kg_h = 40 }"},
            {},
            (
                "pad: wetted all over, by the scenario's wetting, its effectiveness would be "
                "1.66 (leave equipment[0].wetting out)"
            ),
        ),
        (
            {'kind = "wetted_pad"': 'kind = "wetted_pad"\narrangement = "own_fan"'},
            {"plant_kw": 12},
            "pad.plant_kw: 'pad' is in no bypass (leave it out)",
        ),
        (
            HEAT_PUMP,
            {},
            (
                "pad.plant_kw: is missing, and the scenario does not tell what the plant gave "
                "at the visit (take it from the plant's data, at the temperature outdoors)"
            ),
        ),
        (
            {},
            {"t_in_c": 23.0},
            (
                "pad.t_in_c: 23 °C is 3.0 K above the room: the plant does not heat (measure "
                "in a heating call)"
            ),
        ),
        (
            {"temperature_c = 55": "temperature_c = 55\nline = { length_m = 100, bore_mm = 6 }"},
            {},
            "supplies[0].temperature_c: must be at most 95, got 500.6",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_put_in_is_refused(lines, changed, message, tmp_path) -> None:
    path = visit(tmp_path, SOUND | changed)

    with pytest.raises(InputError) as caught:
        with_visit(small(tmp_path, lines=lines), path)

    assert str(caught.value) == f"{path}: {message}"


def test_one_visit_goes_into_a_scenario(tmp_path) -> None:
    first = visit(tmp_path, SOUND)
    found = with_visit(small(tmp_path), read_site(first))

    with pytest.raises(InputError) as caught:
        with_visit(found, visit(tmp_path, SOUND, "second.toml"))

    assert str(caught.value) == (
        f"{tmp_path / 'second.toml'}: the scenario is as measured on 2026-11-19 (visit.toml) "
        "already (give one visit, the last)"
    )


@pytest.mark.slow
def test_the_demo_s_visit_names_the_demo_s_pad_and_water() -> None:
    found = with_visit(load(DEMO / "larch_house.toml"), DEMO / "larch_house_visit.toml")

    # Written from a pad of 0.82, 0.58 and 0.084 kg/s with 0.40 kg/s of air; readings to 0.1 K.
    true = as_is(Pad(feed_kg_h=1800 / 128))
    # 51.5 °C at the nozzle: 55.50 °C before 8 m of copper of 6 mm, integrated apart from the
    # package in 4000 pieces. ± 0.2 K: a reading to 0.1 K moves it by 0.11, air known to 1 % the 4 K
    # lost by 0.04.
    starts = pytest.approx(55.50, abs=0.2)
    assert put_in(found) == {
        key: pytest.approx(value.expected, rel=0.01) for key, value in true.items()
    } | {"temperature_c": starts}


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """Return a folder with a small scenario and a visit to it."""
    path = tmp_path_factory.mktemp("visit")
    small(path)
    visit(path, SOUND)
    return path


def dewmargin(*arguments: object):
    return CliRunner().invoke(cli, [str(each) for each in arguments])


@pytest.mark.slow
def test_compare_prints_what_is_as_measured_and_what_was_found(folder) -> None:
    done = dewmargin("compare", folder / "small.toml", "--site", folder / "visit.toml")

    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert lines[1] == "pad, as measured on 2026-11-19 (visit.toml):"
    assert lines[2] == "  equipment[0].contact_frac: 1 → 0.82 (drain of 28.8 °C, wet bulb 22.3)"
    assert "  FIX: 82 % of the feed wets the pad, expected 100 %: the rest runs past it" in lines
    assert "Note: as measured on 2026-11-19 (visit.toml): equipment[0].contact_frac," in done.output


@pytest.mark.slow
def test_the_manifest_tells_the_visit_and_its_hash(folder) -> None:
    out = folder / "out"
    site = folder / "visit.toml"
    done = dewmargin("compare", folder / "small.toml", "--site", site, "--out", out, "--json")

    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    digest = hashlib.sha256(site.read_bytes()).hexdigest()
    assert manifest["inputs_sha256"]["site: visit.toml"] == digest
    assert manifest["site"] == json.loads(done.stdout)["site"]
    told = manifest["site"]
    assert (told["file"], told["sha256"], told["date"]) == ("visit.toml", digest, "2026-11-19")
    assert told["replaced"][0] == {
        "key": "equipment[0].contact_frac",
        "old": "1",
        "new": 0.82,
        "why": "drain of 28.8 °C, wet bulb 22.3",
    }
    assert manifest["scenario"]["equipment[0]"]["contact_frac"] == 0.82
    assert dewmargin("verify", out).exit_code == 0


def test_without_a_visit_the_manifest_has_none(folder) -> None:
    assert "site" not in compare(folder / "small.toml").about()


def test_a_visit_at_another_height_is_doubted(tmp_path) -> None:
    path = visit(tmp_path, SOUND)
    text = path.read_text(encoding="utf-8").replace("elevation_m = 1450.0", "elevation_m = 0")
    path.write_text(text, encoding="utf-8")

    notes = compare(small(tmp_path), site=path).warnings

    assert notes[1] == (
        "the visit's elevation_m of 0 m means 101.3 kPa, the weather has 85.3: is it right?"
    )


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ["compare", "small.toml", "--site", "visit.toml", "--site", "visit.toml"],
            "Error: --site goes once: give the last visit.",
        ),
        (
            ["compare", "--run", "run", "--site", "visit.toml"],
            "Error: --site goes with SCENARIO, whose inputs it replaces.",
        ),
    ],
)
def test_wrong_usage_is_said(arguments, message) -> None:
    done = dewmargin(*arguments)

    assert done.exit_code == 2
    assert done.output.splitlines()[-1] == message


@pytest.mark.slow
def test_a_visit_goes_with_another_run_of_the_scenario(tmp_path) -> None:
    text = (DEMO / "larch_house_visit.toml").read_text(encoding="utf-8")
    path = tmp_path / "visit.toml"
    path.write_text(text, encoding="utf-8")

    result = compare_run(
        DEMO / "model" / "larch_house.sql",
        scenario=DEMO / "larch_house_simulated.toml",
        site=path,
    )

    assert result.scenario.equipment[0].contact_frac == pytest.approx(0.82, rel=0.01)
