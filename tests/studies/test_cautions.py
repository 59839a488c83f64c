"""Cautions that tell another result: what a comparison says of it, against a second one."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from dewmargin.scenario import load
from dewmargin.studies.compare.comparison import compare, compare_case
from dewmargin.studies.demo import demo_folder

SAID = re.compile(
    r'outdoor humidity: the dew-point column taken as over (water|ice) \(humidity_reading = "(\w+)"'
    r"\) would make outdoor air (\d+) % (more|less) humid in the (\d+) h below 0 °C, and the "
    r"demand of '([^']+)' (\d+) kg \(([\d.]+) %\) (more|less)"
)


def read_as(reading: str):
    """Return the demo with one strategy and one option, its outdoor humidity read so."""
    demo = load(demo_folder() / "scenarios" / "larch_house.toml")
    return replace(
        demo,
        space=demo.space.model_copy(update={"humidity_reading": reading}),
        strategies=demo.strategies[:1],
        supplies=demo.supplies[:1],
    )


def said_of(result) -> list[str]:
    return [w for w in result.warnings if w.startswith("outdoor humidity:")]


@pytest.fixture(scope="module")
def results():
    readings = ("frost_point", "dew_point", "relative_humidity")
    return {reading: compare(read_as(reading)) for reading in readings}


@pytest.mark.parametrize(
    ("reading", "other"),
    [
        ("frost_point", "dew_point"),
        ("dew_point", "frost_point"),
        ("relative_humidity", "frost_point"),
    ],
)
def test_the_other_reading_s_effect_is_that_of_a_second_comparison(results, reading, other) -> None:
    ours, theirs = results[reading], results[other]

    (said,) = said_of(ours)

    found = SAID.fullmatch(said)
    assert found is not None, said
    over, named, share, humid, cold_h, strategy, change_kg, per_cent, more = found.groups()
    assert (over, named) == ({"dew_point": "water", "frost_point": "ice"}[other], other)
    assert strategy == "hold 35 %"
    cold = ours.case.t_out_c < 0.0
    assert int(cold_h) == np.count_nonzero(cold)
    w = [result.case.w_out_kg_kg[cold].mean() for result in (ours, theirs)]
    assert int(share) * (1 if humid == "more" else -1) == round(100.0 * (w[1] / w[0] - 1.0))
    demand = [result.options[1].row["demand_kg"] for result in (ours, theirs)]
    change = demand[1] - demand[0]
    # Printed to 1 kg. The second comparison's leaking air has another density too, of dry air in
    # the inverse of 1 + 1.608 W: a share of all vapour that the exchange carries, which is at most
    # what is demanded and released. (A first bound forgot what is released.)
    gains_kg = 3600.0 * ours.case.gains_kg_s.sum()
    off_kg = 1.608 * abs(w[1] - w[0]) * (demand[0] + gains_kg)
    assert off_kg < 0.001 * demand[0]
    assert int(change_kg) * (1 if more == "more" else -1) == pytest.approx(change, abs=0.5 + off_kg)
    per_cent_off = 0.05 + 100.0 * off_kg / demand[0]
    assert float(per_cent) == pytest.approx(100.0 * abs(change) / demand[0], abs=per_cent_off)


def test_the_readings_move_outdoor_humidity_as_ice_and_water_differ() -> None:
    """At a dew point of -20 °C water holds 125.4 Pa and ice 103.2: 21.5 % more (printed tables)."""
    weather = load(demo_folder() / "scenarios" / "larch_house.toml").read_weather()
    at = np.argmin(np.abs(weather.t_dew_c + 20.0))
    ratio = weather.humidity_ratio("dew_point")[at] / weather.humidity_ratio("frost_point")[at]

    # Within half a kelvin of -20 °C the ratio moves by 1 % a kelvin.
    assert ratio == pytest.approx(125.4 / 103.2, rel=0.006)


def test_nothing_is_said_where_the_reading_does_not_act(results) -> None:
    scenario, ours = results["frost_point"].scenario, results["frost_point"]
    weather, case = ours.weather, ours.case

    warm = replace(case, t_out_c=np.maximum(case.t_out_c, 0.0))
    elsewhere = replace(case, w_out_kg_kg=1.01 * case.w_out_kg_kg)
    unknown = replace(case, humidity_reading="humidity_ratio")

    for other in (warm, elsewhere, unknown):
        assert said_of(compare_case(scenario, weather, other)) == []
    assert said_of(compare_case(scenario, None, case)) == []
    assert len(said_of(compare_case(scenario, weather, case))) == 1


FIRINGS = re.compile(
    r"each firing (?:gives vapour at once \(dead_time_s = 0\); if it took 60 s for it|loses 60 s "
    r"\(dead_time_s\); if it lost none), '([^']+)' would give (\d+) kg instead of (\d+), with "
    r"(\d+) dry h instead of (\d+)"
)


def with_dead_time(dead_time_s: float):
    """Return the demo at one set-point and supply, on a call for heating."""
    demo = read_as("frost_point")
    heating = demo.space.heating.model_copy(update={"dead_time_s": dead_time_s})
    return replace(demo, space=demo.space.model_copy(update={"heating": heating}))


def test_both_ends_of_a_firing_s_start_are_those_of_two_comparisons() -> None:
    """The numbers told are the rounded results of the scenario with the other dead time."""
    ends = {dead_s: compare(with_dead_time(dead_s)) for dead_s in (0.0, 60.0)}
    given = {}
    for dead_s, other in ((0.0, 60.0), (60.0, 0.0)):
        (said,) = [w for w in ends[dead_s].warnings if w.startswith("each firing ")]
        found = FIRINGS.fullmatch(said)
        assert found is not None, said
        assert ends[dead_s].chosen is not None
        assert found[1] == ends[dead_s].chosen.name
        for end, kg, dry_h in ((other, found[2], found[4]), (dead_s, found[3], found[5])):
            row = ends[end].options[1].row
            assert (int(kg), int(dry_h)) == (round(row["delivered_kg"]), round(row["dry_h"]))
        given[dead_s] = int(found[3])
    assert given[60.0] < given[0.0]
