"""Our equipment beside the engine's own models of the same: steam, pads and mains water."""

from __future__ import annotations

import numpy as np
import pytest

from dewmargin.equipment.steam_humidifier import SteamHumidifier
from dewmargin.equipment.supply import Supply
from dewmargin.physics import air, mains, media, pad, steam
from dewmargin.solve import balance, energy
from dewmargin.space.simulation import Simulation
from dewmargin.weather.epw import read_epw
from engine import accuracy

pytestmark = [pytest.mark.engine, pytest.mark.slow]

CHICAGO = "USA_IL_Chicago"
FREE, HELD = "free + of February", "steam at 40 % + of February"
ENGINE_STEAM_J_KG = 2_676_125.0  # EnergyPlus Engineering Reference, humidifiers
# The coil's own runs, and a fan that never stops.
PLANT = {"kind": "simulated", "blower": "continuous", "blower_w": 0}


def delivered(folder, device: SteamHumidifier):
    """Return the case of a free run, and what our device gives it at 40 %."""
    simulation = Simulation(results="eplusout.sql", heating=PLANT, humidify_while_cooling=True)
    case = simulation.case(weather=None, folder=folder)
    rh = np.full(case.n_steps, 0.40)
    capability = device.capability(
        case,
        Supply(name="cold", cold_c=20.0).feed_water(case),
        w_base_kg_kg=case.w_base_kg_kg,
        w_set_kg_kg=balance.setpoint_humidity_ratio(case, rh),
    )
    outcome = balance.deliver(case, rh, capability)
    return outcome, energy.energy_hours(case, outcome, water_heater=None)


def test_electric_steam_takes_the_engine_s_water_and_electricity_hour_by_hour(run_engine, ask):
    # The engine's unit: 10 g/s at 30 kW. The engine's humidifier overshoots within its steps, as
    # accuracy.py tells.
    held = run_engine("alder_house", accuracy.BY_STEAM, CHICAGO)
    water = accuracy.engine_kg(held, "CEDAR", accuracy.BY_STEAM)
    bought_kwh = ask(held, "Humidifier Electricity Rate")["STEAM"] / 1000.0
    unit = SteamHumidifier(
        name="steam", heat="electrode", rate_kg_h=36.0, power_kw=30.0, call="blower"
    )

    outcome, taken = delivered(run_engine("alder_house", "free", CHICAGO), unit)

    assert outcome.added_kg.sum() == pytest.approx(water.sum(), rel=0.02)
    assert np.corrcoef(outcome.added_kg, water)[0, 1] > 0.98
    assert taken.device_kwh.sum() == pytest.approx(bought_kwh.sum(), rel=0.02)
    assert np.corrcoef(taken.device_kwh, bought_kwh)[0, 1] > 0.98
    # For the same water it takes the same: 3.0 MJ/kg.
    ours = taken.device_kwh.sum() / outcome.added_kg.sum()
    assert ours == pytest.approx(bought_kwh.sum() / water.sum(), rel=1e-6)


def test_gas_steam_takes_the_engine_s_gas_at_part_load(run_engine, ask):
    # The engine's unit: 2 g/s, 82 %, worse at part load by 0.9 + 0.15 x - 0.05 x²; feed of 20 °C.
    held = run_engine("beech_house", HELD, CHICAGO)
    water = accuracy.engine_kg(held, "CEDAR", accuracy.BY_STEAM)
    bought_kwh = ask(held, "Humidifier NaturalGas Rate")["STEAM"] / 1000.0
    shares = np.linspace(0.0, 1.0, 21)
    unit = SteamHumidifier(
        name="steam",
        heat="gas",
        rate_kg_h=7.2,
        efficiency=0.82,
        part_load=[(float(x), float(0.9 + 0.15 * x - 0.05 * x**2)) for x in shares],
        drain_frac=0.0,
        call="blower",
    )

    outcome, taken = delivered(run_engine("beech_house", FREE, CHICAGO), unit)

    assert outcome.added_kg.sum() == pytest.approx(water.sum(), rel=0.02)
    assert taken.fuel_kwh.sum() == pytest.approx(bought_kwh.sum(), rel=0.02)
    # February alone; measured 0.979, as the electric unit's, whose whole year has 0.993.
    assert np.corrcoef(taken.fuel_kwh, bought_kwh)[0, 1] > 0.975
    # Gas for a kilogram: the engine's part load is that of its steps, ours of the hour, which at
    # a curve this flat makes 0.3 % at most.
    ours = taken.fuel_kwh.sum() / outcome.added_kg.sum()
    assert ours == pytest.approx(bought_kwh.sum() / water.sum(), rel=0.003)


def test_air_behind_steam_has_the_engine_s_temperature(run_engine, ask):
    folder = run_engine("beech_house", HELD, CHICAGO)
    t, w = ask(folder, "System Node Temperature"), ask(folder, "System Node Humidity Ratio")
    before, behind = "MIXED AIR", "HUMID AIR"
    added = w[behind] - w[before]
    runs = added > 1e-6

    ours = steam.mixed_temperature(t[before], w[before], added, ENGINE_STEAM_J_KG)

    assert np.count_nonzero(runs) > 2000
    # Node values are means of the step's system steps: of products a few thousandths of a kelvin.
    np.testing.assert_allclose(ours[runs], t[behind][runs], atol=0.005)
    # The engine's steam holds 0.02 % more heat than that of IAPWS-95.
    assert pytest.approx(ENGINE_STEAM_J_KG, rel=3e-4) == steam.STEAM_J_KG


def test_a_pad_of_rigid_media_saturates_as_the_engine_s(run_engine, ask):
    folder = run_engine("hornbeam_house", f"{FREE} + every ten minutes", CHICAGO)
    t, w, flow = (
        ask(folder, f"System Node {name}")
        for name in ("Temperature", "Humidity Ratio", "Mass Flow Rate")
    )
    effect = ask(folder, "Evaporative Cooler Wet Bulb Effectiveness")["PAD"]
    p = ask(folder, "Site Outdoor Air Barometric Pressure")["Environment"]
    before, behind = "MIXED AIR", "HUMID AIR"
    density = air.dry_air_density(t[before], w[before], p) * (1.0 + w[before])
    velocity = flow[before] / (density * 0.30)

    ours = media.rigid_media_effectiveness(velocity, depth_m=0.10)
    # Feed of the wet bulb's temperature, plenty: the engine's pad recirculates its water.
    state = pad.evaporate(
        airflow_kg_s=flow[before],
        t_in_c=t[before],
        w_in_kg_kg=w[before],
        p_pa=p,
        feed_kg_s=0.05,
        t_feed_c=pad.thermodynamic_wet_bulb(t[before], w[before], p),
        effectiveness=ours,
    )

    assert effect.size == 28 * 144
    # The engine takes the face velocity at its standard density, we at the air's own: 0.002.
    np.testing.assert_allclose(ours, effect, atol=0.003)
    np.testing.assert_allclose(state.t_air_out_c, t[behind], atol=0.02)
    # Of 1e-3 taken up; worst where the set-back ends and a step's means are of changing air.
    np.testing.assert_allclose(state.w_air_out_kg_kg, w[behind], atol=5e-6)
    taken_up = (w[behind] - w[before]) * flow[before]
    assert state.evaporation_kg_s.sum() == pytest.approx(taken_up.sum(), rel=5e-4)


@pytest.mark.parametrize("weather", [CHICAGO, "USA_CO_Golden", "USA_VA_Sterling"])
def test_mains_water_is_as_warm_as_the_engine_s(run_engine, ask, weather_folder, weather):
    # Both follow one correlation; the engine's yearly and monthly means are of the weather file's
    # rows, ours of hour means.
    folder = run_engine("cedar_house", "free", weather)
    (file,) = weather_folder.glob(f"{weather}*.epw")
    epw = read_epw(file)

    ours = mains.mains_temperature(epw.t_out_c, epw.interval_start, epw.latitude_deg)

    theirs = ask(folder, "Site Mains Water Temperature")["Environment"]
    np.testing.assert_allclose(ours, theirs, atol=0.05)


def test_a_simulated_furnace_tells_its_own_runs_and_air(run_engine, ask):
    folder = run_engine("alder_house", FREE, CHICAGO)
    simulation = Simulation(results="eplusout.sql", heating={"kind": "simulated"})

    system = simulation.case(weather=None, folder=folder).air_system

    runtime = ask(folder, "Heating Coil Runtime Fraction")["BURNER"]
    np.testing.assert_allclose(system.heat_frac, runtime, atol=1e-12)
    np.testing.assert_allclose(system.blower_frac, 1.0, atol=1e-9)
    flow = ask(folder, "Fan Air Mass Flow Rate")["BLOWER"]
    assert system.airflow_kg_s == pytest.approx(flow.mean(), rel=1e-6)
    # 16 kW in this air, above the room; the mixed air before the coil is colder than the room.
    assert np.median(system.t_supply_c - 20.0) == pytest.approx(16e3 / (flow.mean() * 1015), abs=2)
