"""What of the drawn inputs a device meets, and what is solved for it."""

from __future__ import annotations

import numpy as np

from dewmargin.scenario.targets import Variants, draws_of, placed
from dewmargin.studies.options.prepared import PreparedDevice, plant
from stress_case import january, small

LEAKAGE = "space.house.leakage_m3_h_at_50pa | factor | uniform | low=0.8; high=1.2"
CAPACITY = "space.house.heating.capacity_kw | factor | uniform | low=0.8; high=1.2"
DAY = "space.house.thermostat.day_c | offset | uniform | low=-1; high=1"
EFFECTIVENESS = "equipment[0].effectiveness | factor | uniform | low=0.8; high=1.2"
WEATHER = "weather.file | value | choice | values=['january.epw', 'warm.epw']"


def study_of(folder, *doubts: str, lines: dict[str, str] | None = None):
    """Return the variants of a small scenario, and rows at the ends of its doubts."""
    scenario = small(folder, "\n".join(doubts), lines=lines)
    found = placed(scenario, scenario.doubts, scenario.case(scenario.read_weather()))
    variants = Variants(scenario, found)
    unit = np.repeat([[0.0], [1.0]], len(found), axis=1)
    return variants, [variants.row(draw) for draw in draws_of(found, unit)]


def test_a_device_meets_what_changes_the_air_of_the_plant(tmp_path) -> None:
    """Leakage changes how long the plant heats, not how warm its air is."""
    january(tmp_path, "warm.epw", warmer_k=5.0)
    variants, rows = study_of(tmp_path, LEAKAGE, CAPACITY, DAY, EFFECTIVENESS, WEATHER)

    met = plant(variants, rows)

    keys = {".".join(variants.targets[k].keys) for k in met.air}
    assert keys == {"heating.capacity_kw", "thermostat.day_c", "file"}
    assert met.moves


def test_a_plant_of_which_nothing_is_drawn_is_left_as_it_is(tmp_path) -> None:
    variants, rows = study_of(tmp_path, EFFECTIVENESS)

    met = plant(variants, rows)
    can = PreparedDevice(variants, met, rows, equipment=0, supply=0).at(
        rows[0], variants.case_of(())
    )

    assert (met.air, met.moves) == ((), False)
    assert can.heat_frac is variants.case_of(()).air_system.heat_frac


def test_a_device_runs_when_the_drawn_plant_heats(tmp_path) -> None:
    variants, rows = study_of(tmp_path, LEAKAGE)
    device = PreparedDevice(variants, plant(variants, rows), rows, equipment=0, supply=0)

    for row in rows:
        case = variants.case_of(row)
        assert device.at(row, case).heat_frac is case.air_system.heat_frac
    assert variants.case_of(rows[0]).heating_w.sum() < variants.case_of(rows[1]).heating_w.sum()


def test_a_device_of_the_room_does_not_wait_for_heat(tmp_path) -> None:
    room = {'call = "heating"': 'call = "always"\narrangement = "room"'}
    variants, rows = study_of(tmp_path, LEAKAGE, lines=room)
    device = PreparedDevice(variants, plant(variants, rows), rows, equipment=0, supply=0)

    assert np.all(device.at(rows[0], variants.case_of(rows[0])).heat_frac == 1.0)


def test_a_space_is_read_once_for_what_is_drawn_of_it(tmp_path) -> None:
    variants, rows = study_of(tmp_path, LEAKAGE, EFFECTIVENESS)
    (low, pad), (high, _) = rows

    assert variants.case_of((low, pad)) is variants.case_of((low, 0.1))
    assert variants.case_of((low, pad)) is not variants.case_of((high, pad))
    assert variants.case_of((low, pad), ()) is variants.case_of((), ())
