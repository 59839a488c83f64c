"""All water and all heat that enter a house for its humidifier leave it or stay: every hour.

The bookkeeping around the house, in any device, call, supply, line and plant. That the terms have
the right size is for the references to show.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from cases import small_case
from dewmargin.case import AirSystem, HourlyCase
from dewmargin.equipment.atomiser import Atomiser
from dewmargin.equipment.fixed_rate import FixedRate
from dewmargin.equipment.steam_humidifier import SteamHumidifier
from dewmargin.equipment.supply import Supply
from dewmargin.equipment.wetted_pad import WettedPad
from dewmargin.physics import air
from dewmargin.solve import balance, energy

N = 72
J = energy.J_PER_KWH
LINE = {"length_m": 8.0, "bore_mm": 6.0}
DEVICES = {
    "pad": WettedPad.model_validate(
        {
            "name": "pad",
            "arrangement": "own_fan",
            "fan_w": 30,
            "power_w": 8,
            "standby_w": 2,
            "airflow_kg_s": 0.09,
            "effectiveness": 0.65,
            "feed_kg_h": 9,
        }
    ),
    "open pad": WettedPad.model_validate(
        {
            "name": "pad",
            "arrangement": "bypass",
            "power_w": 8,
            "airflow_kg_s": 0.09,
            "effectiveness": 0.65,
            "feed_kg_h": 9,
            "valve": "open",
        }
    ),
    "steam": SteamHumidifier(name="steam", heat="electric", rate_kg_h=2, efficiency=0.9, power_w=5),
    "spray": Atomiser(name="spray", spray="nozzle", rate_kg_h=2, pump_bar=70, power_w=5),
    "fixed": FixedRate(name="fixed", rate_kg_h=1.5, feed_ratio=3, power_w=5, standby_w=1),
}
SUPPLIES = {
    "cold": {},
    "cold, a line": {"line": LINE},
    "hot, a line": {"temperature_c": 55, "line": LINE | {"material": "copper"}},
    "hot, a line outside": {
        "temperature_c": 55,
        "line": LINE | {"place": "outside", "ambient_c": 5},
    },
    "hot by the room's heat": {
        "temperature_c": 50,
        "heater": {"kind": "heat_pump", "efficiency": 2.5, "place": "heated"},
    },
}


@st.composite
def houses(draw: st.DrawFn) -> HourlyCase:
    """Return days of a house whose plant rests, heats and reaches its limit, and that is cooled."""
    hour = np.arange(N)
    capacity_w = draw(st.floats(3e3, 12e3))
    load = draw(st.floats(0.1, 1.3)) * (0.6 + 0.4 * np.cos(hour / 24 * 2 * np.pi))
    heating_w = np.where(hour % 24 < draw(st.integers(12, 24)), np.minimum(load, 1.0), 0.0)
    heating_w = heating_w * capacity_w
    cooled = draw(st.integers(N // 2, N))
    return replace(
        small_case(N, surfaces=()),
        exchange_kg_s=np.full(N, draw(st.floats(0.005, 0.08))),
        heating_w=heating_w,
        heating_limit_w=capacity_w,
        heat_capacity_j_k=draw(st.sampled_from([None, 2e7, 4e7])),
        time_constant_h=draw(st.sampled_from([None, 20.0, 60.0])),
        cooling=(hour >= cooled) & (heating_w == 0.0),
        humidify_while_cooling=draw(st.booleans()),
        air_system=AirSystem(
            heat_frac=np.minimum(heating_w / capacity_w, 1.0),
            t_supply_c=np.full(N, draw(st.floats(30.0, 60.0))),
            airflow_kg_s=0.5,
            output_w=np.full(N, capacity_w),
            blower_w=draw(st.sampled_from([0.0, 350.0])),
            most_cycles_per_h=draw(st.floats(1.0, 8.0)),
            dead_time_s=draw(st.sampled_from([0.0, 45.0])),
        ),
    )


@given(
    case=houses(),
    device=st.sampled_from(sorted(DEVICES)),
    supply=st.sampled_from(sorted(SUPPLIES)),
    call=st.sampled_from(["heating", "humidity", "blower"]),
    rh=st.floats(0.25, 0.6),
)
def test_water_and_heat_close_around_the_house(case, device, supply, call, rh) -> None:
    """Within 1e-9 of the hour's turnover and 1 J; of water 1e-9 kg."""
    keys = {"name": "x", "cold_c": 9.0} | SUPPLIES[supply]
    source = Supply.model_validate(keys)
    water = source.feed_water(case)
    humidifier = DEVICES[device].model_copy(update={"call": call})
    rh_set = np.full(N, rh)
    w_set = balance.setpoint_humidity_ratio(case, rh_set)
    can = humidifier.capability(
        case, water, w_base_kg_kg=balance.baseline(case).w_kg_kg, w_set_kg_kg=w_set
    )
    outcome = balance.deliver(case, rh_set, can)
    taken = energy.energy_hours(case, outcome, water_heater=water.heater)

    # Water: what is fed becomes vapour or drains.
    drained = outcome.feed_kg - outcome.added_kg
    assert drained.min() >= -1e-9
    assert outcome.balance_error_kg.max() < 1e-9

    # Heat that the room has to find for its vapour, by hand from what enters and leaves.
    feed_in_j = air.CP_WATER * 9.0 * outcome.feed_kg + outcome.feed_heat_j
    vapour_j = outcome.added_kg * air.vapour_enthalpy(case.t_air_c)
    drawn_j = outcome.feed_heat_j * (1.0 - 1.0 / 2.5) if supply.endswith("heat") else 0.0
    fans_j = taken.fan_kwh * J
    plant_j = taken.makeup_heat_kwh * J
    owed_j = np.diff(taken.owed_heat_kwh * J, prepend=0.0)
    # What the device's electricity leaves in the room, its boiling apart.
    device_j = outcome.device_j
    drain_j = (
        feed_in_j + plant_j + fans_j + device_j
        - drawn_j
        - vapour_j
        + taken.envelope_heat_kwh * J
        + taken.cooling_heat_kwh * J
        + owed_j
    )  # fmt: skip
    # That is what drains, and what a line outside loses: the device knows its temperature.
    left_j = leaves(case, can, outcome, water)
    turnover = np.abs(feed_in_j) + np.abs(vapour_j) + np.abs(plant_j) + np.abs(owed_j) + device_j
    assert np.all(np.abs(drain_j - left_j) <= 1.0 + 1e-9 * turnover), (drain_j, left_j)


def leaves(case, can, outcome, water) -> np.ndarray:
    """Return the enthalpy of what drains, and what a line outside the space loses. [J]."""
    brought = outcome_brought(case, outcome)
    electric = outcome.device_j - can.standby_w * 0.0
    del electric
    arrives = air.CP_WATER * water.t_start_c * outcome.feed_kg - outcome.line_j
    return arrives - brought


def outcome_brought(case, outcome) -> np.ndarray:
    return outcome.added_kg * air.vapour_enthalpy(case.t_air_c) - outcome.space_heat_j
