"""The heating plant: run fraction and supply temperature."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from pydantic import ValidationError

from dewmargin.errors import InputError
from dewmargin.kernel.tally import bought_of_plant
from dewmargin.physics import air
from dewmargin.space.plant import HeatingPlant

ROOM = {
    "t_air_c": np.full(4, 20.0),
    "w_kg_kg": np.zeros(4),
    "p_pa": np.full(4, air.STANDARD_PRESSURE),
    "t_out_c": np.full(4, -5.0),
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
            {"kind": "hydronic", "blower": "continuous"},
            "blower does not go with kind = 'hydronic'",
            id="a hydronic plant with a blower",
        ),
        pytest.param(
            {"kind": "hydronic", "airflow_l_s": 400.0},
            "airflow_l_s does not go with kind = 'hydronic'",
            id="radiators with airflow",
        ),
        pytest.param(
            {"capacity_kw": 9.0, "airflow_l_s": 400.0, "backup_kw": 3.0},
            "backup_kw does not go with kind = 'furnace'",
            id="a furnace with electric backup",
        ),
        pytest.param(
            {"kind": "heat_pump", "airflow_l_s": 400.0},
            "a heat_pump needs capacity_kw or capacity_points",
            id="heat pump without capacity",
        ),
        pytest.param(
            {"kind": "heat_pump", "airflow_l_s": 400.0, "capacity_kw": 8, "carrier": "gas"},
            "a heat_pump draws electricity: leave carrier out",
            id="heat pump that burns gas",
        ),
        pytest.param(
            {
                "kind": "heat_pump",
                "airflow_l_s": 400.0,
                "capacity_kw": 8,
                "capacity_points": [[0, 8]],
            },
            "give capacity_kw or capacity_points, not both",
            id="two capacities",
        ),
        pytest.param(
            {"kind": "heat_pump", "airflow_l_s": 400.0, "capacity_points": [[0, 8], [-10, 6]]},
            "outdoor temperatures must rise from point to point",
            id="points out of order",
        ),
        pytest.param(
            {"kind": "simulated", "capacity_kw": 8},
            "capacity_kw does not go with kind = 'simulated'",
            id="a simulated plant with a capacity of its own",
        ),
        pytest.param(
            {"capacity_kw": 9, "airflow_l_s": 400, "cycles_per_h": 4, "most_cycles_per_h": 4},
            "give most_cycles_per_h or cycles_per_h, not both",
            id="two rates of firing",
        ),
        pytest.param(
            {"capacity_kw": 9, "airflow_l_s": 400, "stages": [0.5, 0.9]},
            "stages are one or two shares that rise to 1.0, as [0.65, 1.0]",
            id="a last stage below full output",
        ),
        pytest.param(
            {"capacity_kw": 9, "airflow_l_s": 400, "stages": [0.3, 0.6, 1.0]},
            "stages are one or two shares that rise to 1.0, as [0.65, 1.0]",
            id="three stages",
        ),
        pytest.param(
            {"capacity_kw": 9, "airflow_l_s": 400, "stages": [0.65, 1.0], "turn_down": 4},
            "give stages or turn_down, not both",
            id="stages that modulate",
        ),
        pytest.param(
            {"capacity_kw": 9, "airflow_l_s": 400, "least_airflow_frac": 0.5},
            "least_airflow_frac needs turn_down",
            id="a least airflow without modulation",
        ),
        pytest.param(
            {"capacity_kw": 9, "airflow_l_s": 400, "stages": [0.5, 1], "stage_airflow": [0.5]},
            "stage_airflow needs a share for each of stages, rising to 1.0",
            id="airflow of one stage of two",
        ),
        pytest.param(
            {"kind": "hydronic", "turn_down": 4},
            "turn_down does not go with kind = 'hydronic'",
            id="radiators that modulate their air",
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
            heating_w=5000.0 * one,
            t_air_c=20.0 * one,
            w_kg_kg=0.005 * one,
            p_pa=95_000.0 * one,
            t_out_c=-5.0 * one,
        )


def test_a_heat_pump_gives_what_the_outdoor_air_lets_it():
    # By hand: 6 kW at -20 °C, 9 kW at 0 °C, so 7.5 kW at -10 °C; the space takes 9 kW, of which
    # 2 kW come from the backup. 9.5 kW / (0.5 kg/s · 1006 J/(kg K)) at -10 °C would be 18.9 K.
    flow_l_s = 0.5e3 / (air.STANDARD_PRESSURE / (287.042 * 293.15))
    plant = HeatingPlant(
        kind="heat_pump",
        capacity_points=[[-20, 6], [0, 9]],
        backup_kw=2.0,
        airflow_l_s=flow_l_s,
        cop_points=[[-20, 2.0], [0, 3.0]],
    )
    t_out = np.array([-30.0, -10.0, -10.0, 5.0])
    heat_w = np.array([20e3, 3750.0, 9000.0, 4500.0])

    system = plant.air_system(heating_w=heat_w, **(ROOM | {"t_out_c": t_out}))
    source = plant.heat_source(heating_w=heat_w, t_out_c=t_out)

    assert system.heat_frac == pytest.approx([1.0, 0.5, 1.0, 0.5])
    rise = np.array([8.0, 7.5, 9.0, 9.0]) * 1e3 / (0.5 * 1006.0)
    assert system.t_supply_c - 20.0 == pytest.approx(rise)
    # At its limit, more heat is the backup's, one for one; else the heat pump's.
    assert source.carrier == "electricity"
    assert source.energy_per_heat == pytest.approx([1.0, 1 / 2.5, 1.0, 1 / 3.0])
    assert plant.limit_w(t_out) == pytest.approx([8e3, 9.5e3, 9.5e3, 11e3])


def test_a_blower_that_runs_on_is_told():
    plant = HeatingPlant(
        capacity_kw=8.0,
        airflow_l_s=400.0,
        blower="continuous",
        blower_w=300.0,
        most_cycles_per_h=5.0,
    )

    system = plant.air_system(heating_w=np.full(4, 2e3), **ROOM)

    assert system.heat_frac == pytest.approx(np.full(4, 0.25))
    assert system.blower_frac == pytest.approx(np.ones(4))
    assert system.blower_w == 300.0
    assert system.most_cycles_per_h == 5.0


def test_the_former_key_of_firings_is_understood_and_told() -> None:
    former = HeatingPlant(capacity_kw=8.0, airflow_l_s=400.0, cycles_per_h=5.0, dead_time_s=20.0)

    system = former.air_system(heating_w=np.full(4, 2e3), **ROOM)

    assert (system.most_cycles_per_h, system.dead_time_s) == (5.0, 20.0)
    # By hand: a quarter of the time, 4·5·0.25·0.75 = 3.75 firings, of 4 minutes each.
    assert former.notes(system) == (
        (
            "heating.cycles_per_h = 5 is taken as most_cycles_per_h, the firings in an hour at "
            "half load: it was a fixed rate, and there are fewer at other loads"
        ),
        (
            "a minute without vapour at each firing of the plant would take 25 % of the time in "
            "which a humidifier in its air may run; taken: 20 s (dead_time_s)"
        ),
    )
    with pytest.raises(ValidationError, match="give most_cycles_per_h or cycles_per_h, not both"):
        HeatingPlant(capacity_kw=8.0, airflow_l_s=400.0, cycles_per_h=5.0, most_cycles_per_h=5.0)


def test_a_plant_that_never_rests_fires_never() -> None:
    plant = HeatingPlant(capacity_kw=8.0, airflow_l_s=400.0)

    assert plant.notes(plant.air_system(heating_w=np.full(4, 9e3), **ROOM)) == ()
    assert HeatingPlant(kind="hydronic").notes(None) == ()


@pytest.mark.parametrize(
    ("keys", "per_heat"),
    [
        pytest.param({"carrier": "gas", "efficiency": 0.8}, 1.25, id="carrier and efficiency"),
        pytest.param({"carrier": "gas"}, None, id="no efficiency: not known"),
        pytest.param({"efficiency": 0.8}, None, id="no carrier: not known"),
    ],
)
def test_what_heat_takes_is_known_as_far_as_it_is_told(keys, per_heat):
    plant = HeatingPlant(capacity_kw=8.0, airflow_l_s=400.0, **keys)

    source = plant.heat_source(heating_w=np.full(4, 2e3), t_out_c=np.zeros(4))

    if per_heat is None:
        assert source is None
    else:
        assert source.energy_per_heat == pytest.approx(np.full(4, per_heat))


def test_a_simulated_plant_is_what_coil_and_fan_report():
    # By hand: the coil runs a quarter of the hour at 12 kW, the fan half of it at 0.6 kg/s; in the
    # second hour the fan alone runs, in the third the coil is told to outlast it.
    plant = HeatingPlant(kind="simulated")
    coil_frac, fan_frac = np.array([0.25, 0.0, 0.5, 1.0]), np.array([0.5, 0.3, 0.4, 1.0])

    system = plant.simulated_air_system(
        coil_w=12e3 * coil_frac,
        coil_frac=coil_frac,
        fan_kg_s=0.6 * fan_frac,
        fan_frac=fan_frac,
        t_air_c=ROOM["t_air_c"],
        w_kg_kg=ROOM["w_kg_kg"],
    )

    assert system.airflow_kg_s == pytest.approx(0.6)
    assert system.heat_frac == pytest.approx(coil_frac)
    assert system.blower_frac == pytest.approx([0.5, 0.3, 0.5, 1.0])
    assert system.t_supply_c == pytest.approx(np.full(4, 20.0 + 12e3 / (0.6 * 1006.0)))


def test_a_simulated_plant_that_never_heats_is_refused():
    with pytest.raises(InputError) as caught:
        HeatingPlant(kind="simulated").simulated_air_system(
            coil_w=np.zeros(4),
            coil_frac=np.zeros(4),
            fan_kg_s=np.ones(4),
            fan_frac=np.ones(4),
            t_air_c=ROOM["t_air_c"],
            w_kg_kg=ROOM["w_kg_kg"],
        )

    assert str(caught.value) == (
        "heating: the run's heating coil never runs (a furnace or heat_pump takes the heat that "
        "the zones ask for)"
    )


# 0.5 kg/s of dry air at 20 °C, so that 10 kW warm it by 19.88 K.
HALF_KG_L_S = 0.5e3 / (air.STANDARD_PRESSURE / (287.042 * 293.15))
FULL_RISE_K = 10e3 / (0.5 * 1006.0)


def test_two_stages_by_hand():
    # Stage 1 gives 6 kW of 10. 3 kW: stage 1 for half the time. 7 kW: always on, a quarter of it
    # in stage 2 ((7 − 6)/(10 − 6)). 12 kW: all in stage 2, and 2 kW are missing.
    plant = HeatingPlant(capacity_kw=10.0, airflow_l_s=HALF_KG_L_S, stages=[0.6, 1.0])

    system = plant.air_system(heating_w=np.array([0.0, 3e3, 7e3, 12e3]), **ROOM)

    assert system.heat_frac == pytest.approx([0.0, 0.5, 1.0, 1.0])
    assert system.high_frac == pytest.approx([0.0, 0.0, 0.25, 1.0])
    assert system.heat_frac * system.output_w == pytest.approx([0.0, 3e3, 7e3, 10e3])
    assert system.airflow_kg_s == pytest.approx(np.full(4, 0.3))
    assert system.airflow_high_kg_s == pytest.approx(np.full(4, 0.5))
    # Air in proportion to the heat: both plenums are as warm.
    assert system.t_supply_c == pytest.approx(np.full(4, 20.0 + FULL_RISE_K))
    assert system.t_high_c == pytest.approx(np.full(4, 20.0 + FULL_RISE_K))
    assert system.off_airflow_kg_s == pytest.approx(np.full(4, 0.5))


def test_the_air_of_a_stage_may_be_told():
    plant = HeatingPlant(
        capacity_kw=10.0, airflow_l_s=HALF_KG_L_S, stages=[0.6, 1.0], stage_airflow=[0.8, 1.0]
    )

    system = plant.air_system(heating_w=np.full(4, 3e3), **ROOM)

    assert system.t_supply_c == pytest.approx(np.full(4, 20.0 + 0.6 / 0.8 * FULL_RISE_K))


@pytest.mark.parametrize(
    ("keys", "airflow", "rises"),
    [
        # A furnace throttles its air with its heat; half of the way from 2.5 to 10 kW is 6.25 kW.
        pytest.param({}, [0.125, 0.125, 0.3125, 0.5], [1.0, 1.0, 1.0, 1.0], id="furnace"),
        # A heat pump moves √(1/4) of its air at a quarter of its heat: half the rise.
        pytest.param(
            {"kind": "heat_pump"},
            [0.25, 0.25, 0.375, 0.5],
            [0.5, 0.5, 0.625 / 0.75, 1.0],
            id="pump",
        ),
        pytest.param(
            {"least_airflow_frac": 1.0}, [0.5] * 4, [0.25, 0.25, 0.625, 1.0], id="one speed"
        ),
    ],
)
def test_a_plant_that_modulates_by_hand(keys, airflow, rises):
    plant = HeatingPlant(capacity_kw=10.0, airflow_l_s=HALF_KG_L_S, turn_down=4.0, **keys)

    system = plant.air_system(heating_w=np.array([0.0, 1e3, 6.25e3, 12e3]), **ROOM)

    assert system.heat_frac == pytest.approx([0.0, 0.4, 1.0, 1.0])
    assert system.output_w == pytest.approx([2.5e3, 2.5e3, 6.25e3, 10e3])
    assert system.airflow_kg_s == pytest.approx(airflow)
    assert system.t_supply_c - 20.0 == pytest.approx(FULL_RISE_K * np.array(rises))
    assert system.high_frac is None


@pytest.mark.parametrize(
    "keys",
    [
        pytest.param({}, id="on or off"),
        pytest.param({"stages": [0.6, 1.0]}, id="two stages"),
        pytest.param({"turn_down": 4.0}, id="modulating"),
        pytest.param({"kind": "heat_pump", "backup_kw": 3.0}, id="backup"),
    ],
)
def test_another_load_is_met_as_if_it_had_been_the_first(keys):
    plant = HeatingPlant(capacity_kw=10.0, airflow_l_s=HALF_KG_L_S, **keys)
    loads = np.array([[0.0, 3e3, 7e3, 12e3], [1e3, 5e3, 9.9e3, 20e3]])

    system = pickle.loads(pickle.dumps(plant.air_system(heating_w=np.zeros(4), **ROOM)))  # noqa: S301 - own
    both = system.at_load(loads)

    for row in (0, 1):
        alone = plant.air_system(heating_w=loads[row], **ROOM)
        for name in ("heat_frac", "t_supply_c", "airflow_kg_s", "output_w", "high_frac"):
            of_both, expected = getattr(both, name), getattr(alone, name)
            if expected is None:
                assert of_both is None
            else:
                np.testing.assert_array_equal(of_both[row], expected, err_msg=name)


def test_a_simulated_plant_meets_another_load_at_the_rate_of_its_coil():
    # 12 kW while it runs: 3 and 6 kW are a quarter and a half, 15 kW are too many.
    half = np.full(4, 0.5)
    system = HeatingPlant(kind="simulated").simulated_air_system(
        coil_w=12e3 * half,
        coil_frac=half,
        fan_kg_s=0.6 * half,
        fan_frac=half,
        t_air_c=ROOM["t_air_c"],
        w_kg_kg=ROOM["w_kg_kg"],
    )

    found = system.at_load(np.array([0.0, 3e3, 6e3, 15e3]))

    assert found.heat_frac == pytest.approx([0.0, 0.25, 0.5, 1.0])
    assert found.blower_frac == pytest.approx([0.5, 0.5, 0.5, 1.0])
    assert found.t_supply_c is system.t_supply_c


def test_heat_across_a_heat_pump_s_limit_is_priced_on_both_sides_of_it():
    # 8 kW at a coefficient of 2. 1 kW more, by hand: 0.5 kW at 5 kW of load; at 7.4 kW 0.6 kW of
    # it are the pump's, 0.3 + 0.4 = 0.7 kW; at and beyond the limit 1 kW.
    plant = HeatingPlant(
        kind="heat_pump", capacity_kw=8.0, airflow_l_s=400.0, backup_kw=4.0, efficiency=2.0
    )

    source = plant.heat_source(heating_w=np.array([5e3, 7.4e3, 8e3, 9e3]), t_out_c=ROOM["t_out_c"])

    assert source.spare_w == pytest.approx([3e3, 0.6e3, 0.0, 0.0])
    columns = (source.energy_per_heat, source.spare_w, source.beyond_per_heat)
    bought = [bought_of_plant(1e3, *hour) for hour in zip(*columns, strict=True)]
    assert bought == pytest.approx([500.0, 700.0, 1e3, 1e3])
