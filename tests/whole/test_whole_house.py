"""Whole houses in ten-second steps, written apart from the program, beside its public results.

Tolerances are the project's, set before anything was compared: vapour 1 % or 2 kg, dry and
condensation hours 3 % or 10 h, energy 1 %. Energy is that of plant, water heater and fans
together, for each kilogram of vapour, since the kilograms are judged by themselves; each of the
three may be off by as much of their sum.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import whole_house_cases as cases
from references import whole_house

HERE = Path()
ENERGY = ("makeup_heat_kwh", "feed_heat_kwh", "fan_kwh")

# What is off by more, and why: within an hour the program holds the hour's mean, so that a
# set-point that falls with the room's temperature gives back its vapour half an hour late. In the
# tight house that moves 8 kg of 1,022 into the first hour of a set-back, in which the blower runs
# for it alone: fan and plant's heat are 1.03 and 1.05 % of all energy off, their sum 0.2 %.
KNOWN_MISSES = {
    ("tight", "hold 40 % | humidity | cold"): {"makeup_heat_kwh a kg", "fan_kwh a kg"},
}


@dataclass(frozen=True)
class Pair:
    """A house by the program and by the reference."""

    program: dict[str, Any]
    reference: dict[str, Any]

    def misses(self, option: str) -> list[str]:
        """Return what is off by more than its tolerance."""
        ours, true = self.program[option], self.reference[option]
        off = []

        def judge(what: str, found: float, right: float, allowed: float) -> None:
            if abs(found - right) > allowed:
                off.append(f"{option}: {what} {found:.4g}, by the reference {right:.4g}")

        kg, true_kg = ours["delivered_kg"], true["delivered_kg"]
        judge("delivered_kg", kg, true_kg, max(0.01 * true_kg, 2.0))
        for key in ("dry_h", "condensation_h"):
            judge(key, ours[key], true[key], max(0.03 * true[key], 10.0))
        if true_kg > 0.0:
            whole = sum(true[key] for key in ENERGY) / true_kg
            judge("energy a kg", sum(ours[key] for key in ENERGY) / kg, whole, 0.01 * whole)
            for key in (*ENERGY, "line_heat_kwh"):
                judge(f"{key} a kg", ours[key] / kg, true[key] / true_kg, 0.01 * whole)
        return off


def pair(
    name: str,
    folder: Path,
    *,
    supplies: tuple[str, ...],
    calls: tuple[str, ...] = cases.CALLS,
    band_rh: float = 0.0,
) -> Pair:
    text = cases.text_of(name, folder, calls=calls, supplies=supplies)
    return Pair(cases.by_program(text, folder), cases.by_reference(text, band_rh=band_rh))


def test_pad_of_the_reference_agrees_with_a_stiff_solution() -> None:
    """Within 0.02 %: a method of fourth order in steps of a third of the course's length."""
    path = Path(__file__).parents[1] / "references" / "pad_reference.csv"
    rows = pd.read_csv(path, comment="#").to_dict("records")
    assert len(rows) == 9
    for row in rows:
        gives, _ = whole_house.pad(
            row["airflow_kg_s"], row["effectiveness"], row["t_in_c"], 0.00433678804789151,
            101325.0, row["feed_kg_h"] / 3600.0, row["t_feed_c"],
        )  # fmt: skip
        assert gives * 3600.0 == pytest.approx(row["evaporation_kg_h"], rel=2e-4)


@pytest.mark.slow
def test_reference_does_not_depend_on_its_step() -> None:
    """Vapour and energy within 0.2 %, a fifth of what it is to judge; hours within 5 h."""
    scenario = tomllib.loads(cases.text_of("demo", HERE))
    found = [
        whole_house.solve(
            scenario, HERE, strategy=scenario["strategies"][0],
            equipment=scenario["equipment"][0], supply=scenario["supplies"][1], step_s=step_s,
        )
        for step_s in (10.0, 5.0)
    ]  # fmt: skip
    for key in ("delivered_kg", "feed_l", "makeup_heat_kwh", "feed_heat_kwh"):
        assert found[0][key] == pytest.approx(found[1][key], rel=2e-3), key
    for key in ("dry_h", "condensation_h"):
        assert abs(found[0][key] - found[1][key]) <= 5.0, key


@pytest.mark.slow
def test_plant_of_the_reference_fires_by_the_thermostat_curve() -> None:
    """4 N f (1 - f) times an hour, in hours whose load is that of their neighbours.

    Within 2 %: a step of 10 s in cycles of 20 min or more makes 0.8 %, and firings are counted
    whole.
    """
    scenario = tomllib.loads(cases.text_of("demo", HERE))
    house = whole_house.built(scenario, HERE)
    fires = whole_house.unlimited(scenario, HERE, house, None)["hourly"][11]
    f = house.room[3] / house.first_w
    apart = np.maximum(np.abs(f - np.roll(f, 1)), np.abs(f - np.roll(f, -1)))
    steady = (apart < 0.03) & (f > 0.1) & (f < 0.9)
    assert steady.sum() > 1000
    expected = np.sum(4.0 * 3.0 * f[steady] * (1.0 - f[steady]))
    assert fires[steady].sum() == pytest.approx(expected, rel=0.02)


@pytest.mark.slow
@pytest.mark.parametrize("name", cases.HOUSES)
def test_a_house_agrees_with_ten_second_steps(name, tmp_path) -> None:
    """Without humidifier, and on both calls with cold and hot water that has no line."""
    both = pair(name, tmp_path, supplies=("cold", "hot"))
    assert len(both.reference) == 5
    for option, true in both.reference.items():
        off = both.misses(option)
        known = KNOWN_MISSES.get((name, option), set())
        assert {what for what in known if any(what in line for line in off)} == known, off
        assert [line for line in off if not any(what in line for what in known)] == []
        assert (true["delivered_kg"] > 0.0) == (option != "no humidifier")


@pytest.mark.slow
def test_line_agrees_with_parcels_in_it(tmp_path) -> None:
    """A line cools between the calls, so the humidistat has to be a real one, with a band.

    One without would let the water trickle. On a call for heating the program runs once a firing,
    which a band of 2 points comes near to. Vapour within 1 %, the line's heat and the water
    heater's within 1 % of all energy a kilogram.
    """
    both = pair(
        "demo", tmp_path, calls=("heating",), supplies=("cold line", "hot line"),
        band_rh=cases.USUAL_BAND_RH,
    )  # fmt: skip
    for option, true in list(both.reference.items())[1:]:
        ours = both.program[option]
        assert ours["delivered_kg"] == pytest.approx(true["delivered_kg"], rel=0.01), option
        whole = sum(true[key] for key in ENERGY) / true["delivered_kg"]
        for key in ("feed_heat_kwh", "line_heat_kwh"):
            found, right = (each[key] / each["delivered_kg"] for each in (ours, true))
            assert found == pytest.approx(right, abs=0.01 * whole), (option, key)
