"""The file of a visit: what it may say, how it is written, what it refuses."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from dewmargin.errors import InputError
from dewmargin.physics.air import standard_pressure
from dewmargin.site.site_file import catch_kg_h, read_site

if TYPE_CHECKING:
    from pathlib import Path

TEXT = """
[visit]
date = 2026-11-19
elevation_m = 1450
notes = "crusted at one end"

[pad]
equipment = "pad"
supply = "hot"
feed_kg_h = 15
drain_kg_h = 12.257
t_feed_c = 60
t_drain_c = 34.7
t_in_c = 45
t_out_c = 29.6
room_c = 20
room_rh = 0.3
static_pa = 70
valve_v = 24
plant_kw = 12
"""


def written(folder: Path, changes: dict[str, str] | None = None) -> Path:
    text = TEXT
    for old, new in (changes or {}).items():
        assert old in text
        text = text.replace(old, new)
    path = folder / "visit.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_says_when_where_what_and_how_much(tmp_path) -> None:
    found = read_site(written(tmp_path))

    assert found.visit.date.isoformat() == "2026-11-19"
    assert (found.equipment, found.supply) == ("pad", "hot")
    assert found.measured.p_pa == standard_pressure(1450.0)
    assert found.measured.drain_kg_h == 12.257
    assert found.measured.plant_kw == 12.0


def test_amounts_may_have_the_units_of_either_system(tmp_path) -> None:
    # 1 ft = 0.3048 m and 1 gal (US) = 3.785411784 l, by definition; an inch of water at 4 °C is
    # 249.089 Pa (from memory).
    found = read_site(
        written(
            tmp_path,
            {
                "elevation_m = 1450": 'elevation_m = "1000 ft"',
                "feed_kg_h = 15": 'feed_kg_h = "120 s"',
                "drain_kg_h = 12.257": 'drain_kg_h = "3 gal/h"',
                "t_feed_c = 60": 't_feed_c = "140 °F"',
                "t_in_c = 45": 't_in_c = "113 degF"',
                "static_pa = 70": 'static_pa = "0.5 inwc"',
                "valve_v = 24": 'valve_v = "24 V"',
            },
        )
    )

    m = found.measured
    assert found.visit.elevation_m == pytest.approx(304.8)
    # A litre is taken for a kilogram, as in every timed catch here.
    assert (m.feed_kg_h, m.drain_kg_h) == pytest.approx((15.0, 3 * 3.785411784))
    assert (m.t_feed_c, m.t_in_c, m.static_pa, m.valve_v) == pytest.approx(
        (60.0, 45.0, 124.54, 24.0), rel=1e-4
    )


def test_what_is_not_measured_may_be_left_out(tmp_path) -> None:
    left_out = ("static_pa = 70\n", "valve_v = 24\n", "plant_kw = 12\n", 'supply = "hot"\n')
    found = read_site(
        written(tmp_path, dict.fromkeys((*left_out, 'notes = "crusted at one end"'), ""))
    )

    assert found.supply is None
    assert found.measured.plant_kw is None
    assert found.visit.notes == ""


@pytest.mark.parametrize(
    ("text", "kg_h"), [("120 s", 15.0), ("2 min", 15.0), ("15 L/h", 15.0), ("15 kg/h", None)]
)
def test_a_catch_is_by_volume_or_by_the_time_of_half_a_litre(text, kg_h) -> None:
    assert catch_kg_h(text) == (None if kg_h is None else pytest.approx(kg_h))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "[visit]",
            "[visit",
            (
                "is not valid TOML: Expected ']' at the end of a table declaration (at line 2, "
                "column 7)"
            ),
        ),
        (
            "[visit]",
            "[visits]",
            "visits: is not a key of this table; 1 more after this (did you mean 'visit'?)",
        ),
        ("date = 2026-11-19\n", "", "visit.date: is missing"),
        (
            "2026-11-19",
            '"19.11.2026"',
            "visit.date: must be a date without quotes, such as 2026-11-20, got '19.11.2026'",
        ),
        ("elevation_m = 1450\n", "", "visit.elevation_m: is missing"),
        (
            "[pad]",
            "[[pad]]",
            (
                "pad: must be a table, got [{'equipment': 'pad', 'supply': 'hot', 'feed_kg_h': "
                "15, 'drain_kg_h': 12.257, 't…"
            ),
        ),
        ("room_rh = 0.3\n", "", "pad.room_rh: is missing"),
        (
            "room_rh",
            "room_hr",
            "pad.room_hr: is not a key of this table; 1 more after this (did you mean 'room_rh'?)",
        ),
        (
            "room_rh = 0.3",
            "room_rh = 30",
            (
                "pad.room_rh: must be between 0 and 1, got 30 (fractions run from 0 to 1: did "
                "you mean 0.3?)"
            ),
        ),
        (
            "drain_kg_h = 12.257",
            "drain_kg_h = 15.1",
            "pad.drain_kg_h: 15.1 kg/h drain from a feed of 15 (catch both again, longer)",
        ),
        ("feed_kg_h = 15", 'feed_kg_h = "0 s"', "pad: feed_kg_h: 0 s: half a litre takes longer"),
        (
            "feed_kg_h = 15",
            'feed_kg_h = "fast"',
            (
                "pad: feed_kg_h: 'fast' is not a quantity that can be turned into kg/hour "
                '(write a number and a unit: "12 kg/hour")'
            ),
        ),
        (
            "t_in_c = 45",
            "t_in_c = 24",
            (
                "pad.t_in_c: 24 °C is 4.0 K above the room: the plant does not heat (measure "
                "in a heating call)"
            ),
        ),
        (
            "plant_kw = 12",
            "plant_kw = 1",
            (
                "pad.plant_kw: 1 kW cannot warm the air to 45 °C while 2.74 kg/h evaporate (it "
                "is what the plant gives to the air)"
            ),
        ),
        ("plant_kw = 12", "plant_kw = 0", "pad.plant_kw: must be between 0.001 and 1e+06, got 0"),
    ],
)
def test_what_is_refused_names_file_and_key(old, new, message, tmp_path) -> None:
    path = written(tmp_path, {old: new})

    with pytest.raises(InputError) as caught:
        read_site(path)

    assert str(caught.value) == f"{path}: {message}"


def test_a_file_that_is_not_there_is_named(tmp_path) -> None:
    with pytest.raises(InputError) as caught:
        read_site(tmp_path / "gone.toml")

    assert (
        str(caught.value) == f"{tmp_path / 'gone.toml'}: cannot be read: No such file or directory"
    )


def test_a_large_file_is_no_site_file(tmp_path) -> None:
    path = tmp_path / "large.toml"
    path.write_bytes(b"#" * 1_000_001)

    with pytest.raises(InputError) as caught:
        read_site(path)

    assert str(caught.value) == f"{path}: is larger than 1 MB (is it a site file?)"
