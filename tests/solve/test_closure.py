"""All water and all heat that enter a house for its humidifier leave it or stay: every hour.

The bookkeeping around the house, in any device, call, supply, line and plant. That the terms have
the right size is for the references to show.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from cases import small_case
from dewmargin.case import AirSystem, HourlyCase
from dewmargin.equipment.atomiser import Atomiser
from dewmargin.equipment.fixed_rate import FixedRate
from dewmargin.equipment.steam_humidifier import SteamHumidifier
from dewmargin.equipment.supply import Supply
from dewmargin.equipment.wetted_pad import WettedPad
from dewmargin.physics import air, steam
from dewmargin.solve import balance, energy

N = 72
MAINS_C = 9.0
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
    "steam": SteamHumidifier(
        name="steam", heat="resistance", rate_kg_h=2, efficiency=0.9, power_w=5
    ),
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
    outside = "outside" in supply
    # What arrives by a line outside after a pause is told by a boiler's electricity alone.
    assume(not (outside and device != "steam"))
    water = Supply.model_validate({"name": "x", "cold_c": MAINS_C} | SUPPLIES[supply]).feed_water(
        case
    )
    humidifier = DEVICES[device].model_copy(update={"call": call})
    rh_set = np.full(N, rh)
    can = humidifier.capability(
        case,
        water,
        w_base_kg_kg=balance.baseline(case).w_kg_kg,
        w_set_kg_kg=balance.setpoint_humidity_ratio(case, rh_set),
    )
    outcome = balance.deliver(case, rh_set, can)
    taken = energy.energy_hours(case, outcome, water_heater=water.heater)

    assert (outcome.feed_kg - outcome.added_kg).min() >= -1e-9
    assert outcome.balance_error_kg.max() < 1e-9

    vapour = outcome.added_kg * air.vapour_enthalpy(case.t_air_c)
    mains = air.CP_WATER * MAINS_C * outcome.feed_kg
    heater = outcome.feed_heat_j
    drawn = heater * (1.0 - 1.0 / 2.5) if supply == "hot by the room's heat" else np.zeros(N)
    line = taken.line_heat_kwh * J + drawn  # negative where the room warms the feed
    arrives = mains + heater - line
    if device == "steam":
        brought = outcome.added_kg * steam.STEAM_J_KG
        # What boils drains boiling; what is fed in a dead time drains as it came.
        boiled = outcome.added_kg / (1.0 - humidifier.drained)
        wasted = 1.0 - boiled / np.maximum(outcome.feed_kg, 1e-300)
        drains = steam.BOILING_WATER_J_KG * (boiled - outcome.added_kg) + arrives * wasted
        boils = brought + drains - arrives
        if outside:  # its electricity tells what arrives
            boils = 0.9 * (outcome.device_j - 5.0 * 3600.0 * outcome.running_frac)
        casing = outcome.device_j - boils
        drain = arrives + boils - brought
    else:
        casing = outcome.device_j
        boils = np.zeros(N)
        if device in ("spray", "fixed"):
            drain = arrives * (1.0 - outcome.added_kg / np.maximum(outcome.feed_kg, 1e-300))
        elif call == "heating":
            running_s = 3600.0 * outcome.running_frac
            drain = arrives - can.heat.brought.total(running_s, outcome.added_kg)
        else:
            # Parts of the hour with heat and without are not told apart: the drain is what the
            # room's account leaves, and has to be water that was cooled by the pad or warmed by
            # the air, from the frost to the plenum's 60 °C.
            drain = arrives - (vapour - casing - outcome.line_j - outcome.space_heat_j)
            drained_kg = outcome.feed_kg - outcome.added_kg
            much = drained_kg > 1e-3
            t_drain_c = drain[much] / (air.CP_WATER * drained_kg[much])
            assert np.all((t_drain_c > 0.0) & (t_drain_c < 60.0)), t_drain_c
    entered = {
        "mains": mains,
        "water heater": heater - drawn,
        "device": casing + boils,
        "fans and blower": taken.fan_kwh * J,
        "plant": taken.makeup_heat_kwh * J,
        "envelope": taken.envelope_heat_kwh * J,
        "cooling": taken.cooling_heat_kwh * J,
        "owed": np.diff(taken.owed_heat_kwh * J, prepend=0.0),
    }
    left = {"vapour": vapour, "drain": drain}
    turnover = sum(np.abs(each) for each in (*entered.values(), *left.values()))
    error = sum(entered.values()) - sum(left.values())
    assert np.all(np.abs(error) <= 1.0 + 1e-9 * turnover), (entered, left)
