"""The heating plant: run fraction and supply temperature."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from dewmargin import air
from dewmargin.errors import InputError
from dewmargin.readers.plant import HeatingPlant

ROOM = {
    "t_air_c": np.full(4, 20.0),
    "w_kg_kg": np.zeros(4),
    "p_pa": np.full(4, air.STANDARD_PRESSURE),
}


def test_supply_temperature_of_a_furnace_by_hand():
    # 17.6 kW in 0.53 kg/s of air at 20 °C: 20 + 17.6/(0.53 × 1.01) = 52.9 °C, computed from the
    # stated balance with c_p = 1.01 kJ/(kg K). Dry air at 1.006 makes 53.0: 0.4 % of the rise.
    flow_l_s = 0.53e3 / (air.STANDARD_PRESSURE / (287.042 * 293.15))

    system = HeatingPlant(capacity_kw=17.6, airflow_l_s=flow_l_s).air_system(
        heating_w=np.zeros(4), **ROOM
    )

    assert system.airflow_kg_s == pytest.approx(0.53)
    np.testing.assert_allclose(system.t_supply_c, 52.9, atol=0.004 * 32.9 + 0.05)


def test_run_fraction_is_the_share_of_the_capacity_between_none_and_all():
    plant = HeatingPlant(kind="heat_pump", capacity_kw=8.0, airflow_l_s=400.0)

    system = plant.air_system(heating_w=np.array([-1.0, 0.0, 2000.0, 9000.0]), **ROOM)

    assert system.heat_frac.tolist() == [0.0, 0.0, 0.25, 1.0]


def test_moist_air_is_warmed_less():
    plant = HeatingPlant(capacity_kw=16.0, airflow_l_s=480.0)
    heating_w = np.full(4, 8000.0)
    wet = ROOM | {"w_kg_kg": np.full(4, 0.010)}

    dry_rise = plant.air_system(heating_w=heating_w, **ROOM).t_supply_c - 20.0
    system = plant.air_system(heating_w=heating_w, **wet)

    # Vapour adds 0.010 × 1860 J/(kg K) to the heat capacity; 1.6 % of the volume is vapour.
    capacity = (1006.0 + 18.6) / 1006.0
    density = air.dry_air_density(wet["t_air_c"], wet["w_kg_kg"], wet["p_pa"])[0]
    dry = air.dry_air_density(ROOM["t_air_c"], ROOM["w_kg_kg"], ROOM["p_pa"])[0]
    np.testing.assert_allclose(system.t_supply_c - 20.0, dry_rise / capacity * dry / density)


def test_the_blower_moves_the_year_s_mean_mass():
    # Constant volume at 20 and 0 °C: one mass for the year, the mean of the two.
    plant = HeatingPlant(capacity_kw=16.0, airflow_l_s=500.0)
    room = ROOM | {"t_air_c": np.array([20.0, 20.0, 0.0, 0.0])}

    system = plant.air_system(heating_w=np.zeros(4), **room)

    cold, warm = (air.STANDARD_PRESSURE / (287.042 * (273.15 + t)) for t in (0.0, 20.0))
    assert system.airflow_kg_s == pytest.approx(0.5 * (cold + warm) / 2.0)


def test_a_hydronic_plant_has_no_ducts():
    assert HeatingPlant(kind="hydronic").air_system(heating_w=np.zeros(4), **ROOM) is None


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        pytest.param(
            {"airflow_l_s": 400.0}, "a furnace needs capacity_kw", id="furnace without capacity"
        ),
        pytest.param(
            {"kind": "heat_pump", "capacity_kw": 8.0},
            "a heat_pump needs airflow_l_s",
            id="heat pump without airflow",
        ),
        pytest.param(
            {"kind": "hydronic", "airflow_l_s": 400.0},
            "a hydronic plant moves no air: leave airflow_l_s out",
            id="radiators with airflow",
        ),
        pytest.param(
            {"capacity_kw": 0.0, "airflow_l_s": 400.0},
            "Input should be greater than 0",
            id="no capacity",
        ),
    ],
)
def test_a_plant_that_cannot_be_is_refused(keys, message):
    with pytest.raises(ValidationError) as caught:
        HeatingPlant(**keys)

    assert caught.value.errors()[0]["msg"].removeprefix("Value error, ") == message


@pytest.mark.slow  # the unit library loads
def test_quantities_may_carry_their_unit():
    plant = HeatingPlant(capacity_kw="16000 W", airflow_l_s="1 m**3/s")

    assert (plant.capacity_kw, plant.airflow_l_s) == pytest.approx((16.0, 1000.0))


@pytest.mark.parametrize(
    "keys",
    [
        pytest.param({"capacity_kw": 12_000.0, "airflow_l_s": 400.0}, id="watts for kilowatts"),
        pytest.param({"capacity_kw": 12.0, "airflow_l_s": 20.0}, id="next to no air"),
    ],
)
def test_air_hotter_than_ducts_carry_is_refused(keys: dict) -> None:
    plant = HeatingPlant(**keys)
    one = np.ones(3)

    with pytest.raises(InputError, match=r"heating: .* kW would heat .* l/s of air to .* °C"):
        plant.air_system(
            heating_w=5000.0 * one, t_air_c=20.0 * one, w_kg_kg=0.005 * one, p_pa=95_000.0 * one
        )
