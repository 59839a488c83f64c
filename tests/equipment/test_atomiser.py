"""Atomisers: what evaporates, what it takes from the room, the pump, and pure water."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pydantic
import pytest

from cases import small_case
from dewmargin.contracts import Equipment, FeedWater, Quality
from dewmargin.equipment.atomiser import Atomiser
from dewmargin.physics import air
from dewmargin.solve import balance

N = 48
FLAT = np.ones(N)
CASE = small_case(N, surfaces=())
PURE = FeedWater(
    name="pure",
    t_cold_c=10.0 * FLAT,
    t_start_c=10.0 * FLAT,
    quality=Quality(treatment="reverse_osmosis"),
)


def unit(**keys: object) -> Atomiser:
    return Atomiser.model_validate(
        {"name": "spray", "spray": "nozzle", "rate_kg_h": 2.0, "call": "always"} | keys
    )


def run(device: Atomiser, *, rh: float = 0.35):
    w_set = balance.setpoint_humidity_ratio(CASE, rh * FLAT)
    w_base = balance.baseline(CASE).w_kg_kg
    got = device.capability(CASE, PURE, w_base_kg_kg=w_base, w_set_kg_kg=w_set)
    return balance.deliver(CASE, rh * FLAT, got)


def test_the_room_evaporates_what_is_sprayed() -> None:
    outcome = run(unit())

    # Vapour of 21 °C from water of 10 °C: 2501 + 1.86·21 - 41.9 kJ/kg.
    for_each = outcome.space_heat_j.sum() / outcome.added_kg.sum()
    assert for_each == pytest.approx(2.501e6 + 1860 * 21 - 4186 * 10, rel=1e-9)


def test_overspray_drains() -> None:
    outcome = run(unit(overspray_frac=0.25))

    assert outcome.feed_kg.sum() == pytest.approx(outcome.added_kg.sum() / 0.75)


@pytest.mark.parametrize(
    ("keys", "kwh_kg"),
    [
        # 70 bar at 70 %: 10 kJ/kg, computed for this project.
        pytest.param({"pump_bar": 70.0, "overspray_frac": 0.0}, 10e3 / 3.6e6, id="pump"),
        pytest.param({"pump_bar": 70.0, "overspray_frac": 0.5}, 20e3 / 3.6e6, id="half drains"),
        pytest.param(
            {"spray": "ultrasonic", "spray_kwh_kg": 0.06}, 0.06, id="ultrasound, as it is told"
        ),
    ],
)
def test_spraying_takes_what_pump_or_ultrasound_takes(keys, kwh_kg) -> None:
    outcome = run(unit(**keys))

    assert outcome.device_j.sum() / 3.6e6 / outcome.added_kg.sum() == pytest.approx(kwh_kg)


def test_what_spraying_takes_is_not_known_unless_it_is_told() -> None:
    outcome = run(unit())

    assert np.isnan(outcome.device_j[outcome.added_kg > 0.0]).all()


def test_in_ducts_it_saturates_along_the_wet_bulb_at_most() -> None:
    big = unit(rate_kg_h=200.0, call="humidity")
    w = 0.004 * FLAT

    got = big.capability(CASE, PURE, w_base_kg_kg=w, w_set_kg_kg=w + 0.001)

    rate = got.added.r0_kg_s - got.added.r1_kg_s * w
    # Far less than saturation at 21 °C would take: the air cools by what it takes up.
    at_21 = air.saturated_humidity_ratio(21.0 * FLAT, CASE.p_pa)
    assert np.all(rate < 0.45 * 0.5 * (at_21 - w))
    assert np.all(rate > 0.0)


def test_water_that_is_not_pure_is_told_so() -> None:
    tap = replace(PURE, name="tap", quality=Quality())
    w = CASE.w_base_kg_kg + 0.004

    (note,) = unit().capability(CASE, tap, w_base_kg_kg=w, w_set_kg_kg=w).notes

    assert note == (
        "spray: an atomiser leaves all that is dissolved as dust in the air, and carries what "
        "grows in the water; tap is tap water: use reverse osmosis or deionised water, and a water "
        "management plan"
    )
    assert unit().capability(CASE, PURE, w_base_kg_kg=w, w_set_kg_kg=w).notes == ()


def test_the_length_in_which_droplets_evaporate_is_told_where_it_can_be() -> None:
    w = CASE.w_base_kg_kg + 0.004
    device = unit(call="humidity", droplet_um=20, duct_area_m2=0.1)

    (note,) = device.capability(CASE, PURE, w_base_kg_kg=w, w_set_kg_kg=w).notes

    # 0.5 kg/s in 0.1 m² at 95 kPa: 4.5 m/s; 20 µm live about 0.5 s at 40 %: 2.3 m alone, and two
    # to three times that in a spray.
    assert note.startswith("spray: droplets of 20 µm take ")
    low, high = (float(text) for text in note.split(" take ")[1].split(" m ")[0].split(" to "))
    assert low == pytest.approx(2 * 2.3, rel=0.2)
    assert high == pytest.approx(1.5 * low, abs=0.1)


@pytest.mark.parametrize(
    "keys",
    [
        pytest.param({"spray": "hose"}, id="a spray that is not known"),
        pytest.param({"pump_bar": 70, "spray_kwh_kg": 0.01}, id="two accounts of its energy"),
        pytest.param({"spray": "ultrasonic", "pump_bar": 70}, id="a pump without nozzle"),
        pytest.param({"overspray_frac": 1.0}, id="nothing evaporates"),
        pytest.param({"rate_kg_h": 1.1e5}, id="more than the largest building takes"),
    ],
)
def test_what_has_no_meaning_is_refused(keys) -> None:
    with pytest.raises(pydantic.ValidationError):
        unit(**keys)


def test_it_is_an_equipment_by_contract() -> None:
    assert isinstance(unit(), Equipment)
