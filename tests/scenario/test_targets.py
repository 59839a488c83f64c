"""What a doubt moves in a scenario, the usual doubts, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from dewmargin.errors import InputError
from dewmargin.scenario.doubts import Doubt
from dewmargin.scenario.targets import (
    bounds,
    default_doubts,
    described,
    draws_of,
    indexed,
    placed,
    with_said,
)
from stress_case import small


def own_case(scenario):
    """Return the scenario's case."""
    return scenario.case(scenario.read_weather())


def moved(scenario, share: float = 0.5):
    """Return the scenario with each of its doubts drawn at a share of the draws."""
    said = {}
    for each in placed(scenario, scenario.doubts, own_case(scenario)):
        (draw,) = each.doubt.drawn(np.array([share]))
        said |= dict(zip(each.targets, each.values(draw), strict=True))
    return with_said(scenario, said)


PARTS = """
weather.year | value | choice | values=[2001]
space.house.thermostat.day_c | offset | uniform | low=1; high=1
space.house.heating.capacity_kw | factor | uniform | low=0.5; high=0.5
space.house.ventilation.supply_l_s | value | uniform | low=7; high=7
space.house.storeys | value | choice | values=[3]
space.house.moisture_kg_day | value | uniform | low=4; high=4
surfaces[*].index_change | offset | uniform | low=0.1; high=0.1
control.rh_bias | value | uniform | low=0.02; high=0.02
equipment[0].call | value | choice | values=['blower']
supplies[0].heater.efficiency | factor | uniform | low=0.5; high=0.5
tariff.gas_per_kwh | factor | uniform | low=2; high=2
"""


def test_every_part_is_moved_where_the_doubt_says(tmp_path) -> None:
    drawn = moved(small(tmp_path, PARTS))

    assert drawn.weather.year == 2001
    house = drawn.space
    assert (house.thermostat.day_c, house.thermostat.night_c) == (21.0, 18.0)
    assert (house.heating.capacity_kw, house.heating.airflow_l_s) == (6.0, 400.0)
    assert (house.ventilation.supply_l_s, house.storeys, house.moisture_kg_day) == (7.0, 3, 4.0)
    assert drawn.surfaces[0].index_change == pytest.approx(0.1)
    assert drawn.control.rh_bias == 0.02
    assert drawn.equipment[0].call == "blower"
    assert drawn.supplies[0].heater.efficiency == pytest.approx(0.35)
    assert drawn.tariff.gas_per_kwh == pytest.approx(0.22)


def test_a_draw_stays_within_what_its_key_may_be(tmp_path) -> None:
    """The index of the surface is 0.6, so that a change of 0.4 is the most."""
    scenario = small(
        tmp_path,
        """
        equipment[*].effectiveness | factor | uniform | low=2; high=2
        surfaces[*].index_change | offset | uniform | low=0.7; high=0.7
        space.house.leakage_m3_h_at_50pa | value | uniform | low=-5; high=-5
        """,
    )

    drawn = moved(scenario)

    assert drawn.equipment[0].effectiveness == 1.0
    assert drawn.surfaces[0].index_change == pytest.approx(0.4)
    assert 0.0 < drawn.space.leakage_m3_h_at_50pa < 1e-300


def test_bounds_are_those_of_the_key(tmp_path) -> None:
    scenario = small(tmp_path)

    assert bounds(scenario.equipment[0], "effectiveness") == (np.nextafter(0.0, 1.0), 1.0)
    assert bounds(scenario.control, "rh_bias") == (-0.3, 0.3)
    assert bounds(scenario.space, "gains_factor") == (0.0, 2.0)
    assert bounds(scenario.tariff, "electricity_per_kwh")[0] >= -np.inf


def test_what_was_derived_of_an_input_is_derived_anew(tmp_path) -> None:
    """A rated pad keeps its effectiveness, which follows from contact and rating."""
    rating = (
        "rating = { capacity_kg_h = 1.5, plenum_c = 49, room_c = 21, room_rh = 0.35, "
        "feed_kg_h = 15, feed_c = 15 }"
    )
    scenario = small(
        tmp_path,
        "equipment[0].contact_frac | value | uniform | low=0.7; high=0.7",
        lines={"effectiveness = 0.65": rating},
    )
    written = small(
        tmp_path, lines={"effectiveness = 0.65": f"contact_frac = 0.7\n{rating}"}
    ).equipment[0]

    drawn = moved(scenario).equipment[0]

    assert drawn._rated_flow_kg_s == written._rated_flow_kg_s
    assert drawn._rated_flow_kg_s != scenario.equipment[0]._rated_flow_kg_s


def test_all_of_a_list_that_have_a_key_are_moved_together(tmp_path) -> None:
    steam = '\n[[equipment]]\nname = "steam"\nkind = "steam"\nheat = "electrode"\nrate_kg_h = 2\n'
    scenario = small(
        tmp_path,
        "equipment[*].effectiveness | factor | uniform | low=0.9; high=0.9",
        lines={"[[supplies]]": f"{steam}\n[[supplies]]"},
    )
    (found,) = placed(scenario, scenario.doubts, own_case(scenario))

    assert [target.where for target in found.targets] == ["equipment[0].effectiveness"]
    assert moved(scenario).equipment[1] is scenario.equipment[1]


def test_the_usual_doubts_are_those_that_the_scenario_has(tmp_path) -> None:
    scenario = small(tmp_path)
    usual = default_doubts(scenario, own_case(scenario))

    assert [doubt.input for doubt in usual] == [
        "space.house.leakage_m3_h_at_50pa",
        "space.house.gains_factor",
        "surfaces[*].index_change",
        "equipment[*].contact_frac",
        "equipment[*].effectiveness",
        "equipment[*].airflow_kg_s",
        "control.rh_bias",
        "control.outdoor_bias_k",
    ]
    assert all(doubt.source for doubt in usual)


def test_a_factor_that_would_be_ignored_is_no_usual_doubt(tmp_path) -> None:
    scenario = small(tmp_path, lines={"bedrooms = 3": "moisture_kg_day = 6"})
    usual = [doubt.input for doubt in default_doubts(scenario, own_case(scenario))]

    assert "space.house.gains_factor" not in usual
    assert "space.house.moisture_kg_day" in usual


def test_no_usual_doubt_takes_an_index_out_of_its_range(tmp_path) -> None:
    scenario = small(tmp_path, lines={"temperature_index = 0.6": "temperature_index = 0.99"})
    case = own_case(scenario)
    (index,) = (
        d
        for d in placed(scenario, default_doubts(scenario, case), case)
        if d.name == "surfaces[*].index_change"
    )

    assert list(index.values(0.1)) == [pytest.approx(0.01)]
    assert list(index.values(-0.1)) == [-0.1]


def test_draws_are_rows_of_a_design(tmp_path) -> None:
    scenario = small(
        tmp_path,
        """
        control.rh_bias | value | uniform | low=0; high=0.1
        tariff.gas_per_kwh | factor | uniform | low=1; high=2
        """,
    )
    found = placed(scenario, scenario.doubts, own_case(scenario))

    assert draws_of(found, np.array([[0.5, 0.0], [1.0, 1.0]])) == [
        (pytest.approx(0.05), pytest.approx(1.0, abs=1e-5)),
        (pytest.approx(0.1, abs=1e-6), pytest.approx(2.0, abs=1e-5)),
    ]
    assert draws_of([], np.empty((2, 0))) == [(), ()]
    assert described(found)[0] == {
        "input": "control.rh_bias",
        "acts": "value",
        "distribution": "uniform",
        "low": 0.0,
        "high": 0.1,
        "source": "",
    }


KNOWN = (
    "one of: surfaces[0].…, strategies[0].…, equipment[0].…, supplies[0].…, weather.…, space.…, "
    "comfort.…, control.…, tariff.…"
)
NOT_PLACED = [
    (
        "reports[0].kind",
        f"doubts[0].input: 'reports[0].kind' is no input that can be drawn ({KNOWN})",
    ),
    (
        "surfaces.area_m2",
        f"doubts[0].input: 'surfaces.area_m2' is no input that can be drawn ({KNOWN})",
    ),
    (
        "control[0].rh_bias",
        f"doubts[0].input: 'control[0].rh_bias' is no input that can be drawn ({KNOWN})",
    ),
    (
        "space.simulation.results",
        (
            "doubts[0].input: 'space.simulation.results' is not in this scenario (its space is "
            "space.house)"
        ),
    ),
    (
        "weather.fiel",
        "doubts[0].input: weather.fiel is not in this scenario (keys here: file, year)",
    ),
    ("supplies[1].cold_c", "doubts[0].input: supplies[1].cold_c is not in this scenario"),
    (
        "supplies[*].bore_mm",
        "doubts[0].input: no part of the scenario has 'supplies[*].bore_mm'",
    ),
]


@pytest.mark.parametrize(("key", "message"), NOT_PLACED)
def test_a_key_that_is_not_there_is_refused(key, message, tmp_path) -> None:
    scenario = small(tmp_path, f"{key} | value | uniform | low=1; high=2")

    with pytest.raises(InputError) as caught:
        placed(scenario, scenario.doubts, own_case(scenario))

    assert str(caught.value) == message


def test_a_place_is_moved_by_one_doubt_only(tmp_path) -> None:
    scenario = small(
        tmp_path,
        """
        surfaces[*].area_m2 | factor | uniform | low=1; high=2
        surfaces[0].area_m2 | value | uniform | low=1; high=2
        """,
    )

    with pytest.raises(InputError) as caught:
        placed(scenario, scenario.doubts, own_case(scenario))

    assert str(caught.value) == ("doubts[1].input: surfaces[0].area_m2 is moved by doubts[0] too")


@pytest.mark.parametrize("key", ["space.house.heat_capacity_wh_k", "equipment[0].call"])
def test_what_is_no_number_cannot_be_multiplied(key, tmp_path) -> None:
    scenario = small(tmp_path, f"{key} | factor | uniform | low=1; high=2")

    with pytest.raises(InputError) as caught:
        placed(scenario, scenario.doubts, own_case(scenario))

    assert str(caught.value) == (
        f"doubts[0].acts: {key} says no number that a draw could move (give low and high of the "
        'value itself, with acts = "value")'
    )


NAMED = {
    "equipment.pad.effectiveness": "equipment[0].effectiveness",
    "surfaces.glass.area_m2": "surfaces[0].area_m2",
    "strategies.reset.points": "strategies[0].points",
    "surfaces[*].area_m2": "surfaces[*].area_m2",
    "surfaces.area_m2": "surfaces.area_m2",
    "weather.file": "weather.file",
}


@pytest.mark.parametrize(("text", "key"), NAMED.items())
def test_an_entry_of_a_list_may_be_named(text, key, tmp_path) -> None:
    assert indexed(small(tmp_path), text) == key


def test_the_longest_name_that_fits_is_meant(tmp_path) -> None:
    more = '[[surfaces]]\nname = "glass.area_m2"\ntemperature_index = 0.7\n\n[[strategies]]'
    scenario = small(tmp_path, lines={"[[strategies]]": more})

    assert indexed(scenario, "surfaces.glass.area_m2.area_m2") == "surfaces[1].area_m2"
    assert indexed(scenario, "surfaces.glass.area_m2") == "surfaces[0].area_m2"


def test_a_strategy_is_said_anew_rule_and_modifiers_apart(tmp_path) -> None:
    lines = {'rule = "outdoor_reset"': 'rule = "outdoor_reset"\nlimits = { cap_rh = 0.38 }'}
    scenario = small(tmp_path, lines=lines)
    doubts = [
        Doubt(input="strategies.reset.limits.cap_rh", distribution="uniform", low=0.2, high=0.4),
        Doubt.model_construct(
            input="strategies.reset.points", distribution="choice", acts="value", values=()
        ),
    ]
    cap, points = placed(scenario, doubts, own_case(scenario))

    drawn = with_said(scenario, {cap.targets[0]: 0.3, points.targets[0]: ((-10, 0.1), (5, 0.2))})

    (rule,) = drawn.strategies
    assert rule.modifiers.limits.cap_rh == 0.3
    assert rule.rule.points == ((-10, 0.1), (5, 0.2))
    assert scenario.strategies[0].modifiers.limits.cap_rh == 0.38
    assert cap.bounds == ((0.0, 1.0),)
