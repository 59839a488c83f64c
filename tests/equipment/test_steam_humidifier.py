"""Steam: heat, drain, throttling, part load, what is not known, and what its water needs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pydantic
import pytest

from cases import small_case
from dewmargin.contracts import Equipment, FeedWater, Quality
from dewmargin.equipment.steam_humidifier import SteamHumidifier
from dewmargin.errors import InputError
from dewmargin.physics import air, steam
from dewmargin.physics.water_line import WaterLine
from dewmargin.solve import balance

N = 48
FLAT = np.ones(N)
CASE = small_case(N, surfaces=())
COLD = FeedWater(name="tap", t_cold_c=10.0 * FLAT, t_start_c=10.0 * FLAT)


def unit(**keys: object) -> SteamHumidifier:
    return SteamHumidifier.model_validate(
        {"name": "steam", "heat": "resistance", "rate_kg_h": 2.0} | keys
    )


def run(device: SteamHumidifier, *, rh: float = 0.35, case=CASE, water=COLD):
    """Hold a relative humidity and return what happened."""
    w_set = balance.setpoint_humidity_ratio(case, rh * FLAT)
    w_base = balance.baseline(case).w_kg_kg
    got = device.capability(case, water, w_base_kg_kg=w_base, w_set_kg_kg=w_set)
    return balance.deliver(case, rh * FLAT, got)


def kwh(joules: np.ndarray) -> float:
    return float(joules.sum()) / 3.6e6


# kWh for each kilogram of steam from 10 °C, computed with CoolProp for this project; tolerance as
# in tests/test_steam.py.
@pytest.mark.parametrize(("drain", "each"), [(0.0, 0.7315), (0.1, 0.743), (0.3, 0.776)])
def test_electricity_is_the_heat_of_steam_and_drain(drain, each) -> None:
    outcome = run(unit(drain_frac=drain))

    given = outcome.added_kg.sum()
    assert given > 5.0
    assert kwh(outcome.device_j) / given == pytest.approx(each, rel=0.003)
    assert outcome.feed_kg.sum() == pytest.approx(given / (1.0 - drain), rel=1e-12)


def test_a_rated_input_takes_the_place_of_the_heat() -> None:
    outcome = run(unit(power_kw=1.6))

    assert kwh(outcome.device_j) / outcome.added_kg.sum() == pytest.approx(0.8)


@pytest.mark.parametrize("heat", ["resistance", "gas"])
def test_a_power_that_could_not_boil_the_rate_is_refused(heat) -> None:
    # 0.743 kWh for each kilogram from 10 °C with a tenth drained, by CoolProp as above: 2 kg/h take
    # 1.486 kW.
    with pytest.raises(InputError) as caught:
        run(unit(heat=heat, power_kw=1.48, drain_frac=0.1))

    assert str(caught.value) == (
        "equipment['steam'].power_kw: 1.48 kW cannot boil 2 kg/h of feed of 10 °C and heat what "
        "drains: that takes 1.49 kW (give the rate that it reaches on this feed, or the drain_frac "
        "it has)"
    )
    assert run(unit(heat=heat, power_kw=1.49, drain_frac=0.1)).added_kg.sum() > 5.0


def test_steam_brings_more_heat_than_the_room_needs_for_it() -> None:
    # h_g at 21 °C is 2540 kJ/kg (ASHRAE form), steam's 2676: the room gains 136 kJ/kg.
    outcome = run(unit())

    for_each = outcome.space_heat_j.sum() / outcome.added_kg.sum()
    assert for_each == pytest.approx(2.501e6 + 1860 * 21.0 - steam.STEAM_J_KG, rel=1e-9)
    assert for_each < 0.0


def test_gas_burns_by_its_efficiency_and_draws_its_controls() -> None:
    outcome = run(unit(heat="gas", efficiency=0.82, drain_frac=0.1, power_w=40))

    # 0.906 kWh/kg: computed with CoolProp for this project.
    given = outcome.added_kg.sum()
    assert kwh(outcome.fuel_j) / given == pytest.approx(0.906, rel=0.003)
    assert kwh(outcome.device_j) == pytest.approx(0.040 * outcome.running_frac.sum())


def test_gas_without_efficiency_is_not_known_rather_than_free() -> None:
    outcome = run(unit(heat="gas"))

    assert np.isnan(outcome.fuel_j[outcome.added_kg > 0.0]).all()
    assert not outcome.fuel_j[outcome.added_kg == 0.0].any()


def test_a_burner_that_follows_the_demand_is_worse_at_part_load() -> None:
    keys = {"heat": "gas", "efficiency": 0.8, "rate_kg_h": 20.0}
    full = run(unit(**keys))

    part = run(unit(**keys, part_load=[[0.0, 0.5], [1.0, 1.0]]))

    # By hand: at a share x of full output it is 0.5 + 0.5 x as good.
    np.testing.assert_array_equal(part.added_kg, full.added_kg)
    expected = full.fuel_j / (0.5 + 0.5 * full.running_frac)
    np.testing.assert_allclose(part.fuel_j, expected, rtol=1e-12)
    assert part.fuel_j.sum() > 1.5 * full.fuel_j.sum()


BURNER = {"heat": "gas", "efficiency": 0.8, "part_load": [[0.0, 0.5], [1.0, 1.0]]}


def burnt_j(case, **keys: object) -> tuple[np.ndarray, np.ndarray]:
    """Return the fuel of each hour with the part load of `BURNER` and without, and the vapour."""
    told = BURNER | keys
    part = run(unit(**told), case=case, rh=0.35)
    full = run(unit(**told | {"part_load": None}), case=case, rh=0.35)
    np.testing.assert_array_equal(part.added_kg, full.added_kg)
    return part.fuel_j / full.fuel_j, part.added_kg


def test_a_burner_s_output_is_that_of_the_time_in_which_it_may_burn() -> None:
    # By hand: 40 % of each hour heats; what is given then is a share of 0.4 times the full rate.
    more, given = burnt_j(CASE, rate_kg_h=1.5, call="heating")

    share = given / (0.4 * 1.5)
    assert np.all((share[2:] > 0.2) & (share[2:] < 0.9))
    np.testing.assert_allclose(more, 1.0 / (0.5 + 0.5 * share), rtol=1e-12)


def test_of_several_burners_as_many_are_lit_as_the_demand_needs() -> None:
    # By hand: 0.26 to 0.42 kg/h light both of two units of 0.23 kg/h, and one of two of 1 kg/h.
    for rate, lit in ((0.23, 2), (1.0, 1)):
        more, given = burnt_j(CASE, rate_kg_h=rate, count=2)

        settled = slice(14, 36)
        assert np.all((given[settled] > 0.24) & (given[settled] < 0.45))
        share = given / (lit * rate)
        expected = 1.0 / (0.5 + 0.5 * share)
        np.testing.assert_allclose(more[settled], expected[settled], rtol=1e-12)


def test_a_burner_at_part_load_takes_the_same_in_quarters_of_an_hour() -> None:
    quarters = small_case(4 * N, surfaces=(), steps_per_hour=4)
    start = CASE.interval_start[0] + np.arange(4 * N) * np.timedelta64(900, "s")
    names = ("t_out_c", "w_out_kg_kg")
    held = {name: np.repeat(getattr(CASE, name), 4) for name in names}
    case = replace(quarters, interval_start=start, **held)
    rh = np.full(4 * N, 0.35)
    device = unit(**BURNER, rate_kg_h=5.0)
    w_set = balance.setpoint_humidity_ratio(case, rh)
    w_base = np.repeat(balance.baseline(case).w_kg_kg, 4)
    water = FeedWater(name="tap", t_cold_c=10.0 * np.ones(4 * N), t_start_c=10.0 * np.ones(4 * N))

    got = device.capability(case, water, w_base_kg_kg=w_base, w_set_kg_kg=w_set)
    outcome = balance.deliver(case, rh, got)

    # A held room takes the same in each quarter, but for the first hours.
    hourly = run(device)
    settled = slice(12, None)
    np.testing.assert_allclose(outcome.fuel_j[settled], hourly.fuel_j[settled], rtol=2e-3)


def test_each_unit_has_its_own_fan_and_line() -> None:
    line = WaterLine(length_m=10.0, bore_mm=6.0, outer_mm=8.0, ambient_c=20.0)
    hot = replace(COLD, t_start_c=60.0 * FLAT, line=line)
    one, three = (run(unit(count=n, fan_w=30.0, rate_kg_h=6.0 / n), water=hot) for n in (1, 3))
    alone = run(unit(fan_w=30.0), water=hot)

    # Three units of 2 kg/h, each with its own 30 W, draw 2 kg/h through lines of their own: the
    # water arrives as it does at one alone, and colder than at one unit of 6 kg/h.
    np.testing.assert_allclose(three.fan_j, 3600.0 * 90.0 * three.running_frac)
    each = [kwh(o.device_j) / o.added_kg.sum() for o in (one, three, alone)]
    assert each[1] == pytest.approx(each[2], rel=1e-9)
    assert each[1] > 1.005 * each[0]


def test_in_ducts_it_is_throttled_to_saturation() -> None:
    big = unit(rate_kg_h=200.0, call="humidity", count=2)
    w_set = air.humidity_ratio_at_rh(CASE.t_air_c, 0.35 * FLAT, CASE.p_pa)

    got = big.capability(CASE, COLD, w_base_kg_kg=w_set - 0.001, w_set_kg_kg=w_set)

    # What the blower's air of 21 °C takes up: it warms a little by the steam, so that it may hold
    # a little more than at 21 °C, 0.016 kg/kg at 95 kPa.
    rate = (got.added.r0_kg_s - got.added.r1_kg_s * w_set)[0]
    at_21 = float(air.saturated_humidity_ratio(np.array([21.0]), np.array([95e3]))[0])
    assert 0.5 * (at_21 - w_set[0]) < rate < 0.5 * 1.25 * (at_21 - w_set[0])
    t_out = steam.mixed_temperature(21.0 * np.ones(1), w_set[:1], rate / 0.5, steam.STEAM_J_KG)
    assert w_set[0] + rate / 0.5 == pytest.approx(
        float(air.saturated_humidity_ratio(t_out, np.array([95e3]))[0]), rel=1e-6
    )


def test_standby_is_drawn_while_it_rests() -> None:
    outcome = run(unit(standby_w=5.0))

    rests_h = N - outcome.running_frac.sum()
    with_none = run(unit())
    extra_kwh = kwh(outcome.device_j) - kwh(with_none.device_j)
    assert extra_kwh == pytest.approx(0.005 * rests_h)


@pytest.mark.parametrize(
    ("keys", "quality", "beginning"),
    [
        pytest.param(
            {"heat": "electrode"},
            {"treatment": "reverse_osmosis"},
            "steam: electrodes need water that conducts, about 125 to 1250 µS/cm (from memory); "
            "tap is reverse osmosis",
            id="electrodes in pure water",
        ),
        pytest.param(
            {"heat": "electrode"},
            {"conductivity_us_cm": 60.0},
            "steam: electrodes need water that conducts, about 125 to 1250 µS/cm (from memory); "
            "tap is 60 µS/cm",
            id="electrodes in soft water",
        ),
        pytest.param(
            {}, {"hardness_mg_l": 200.0}, "steam: 200 mg/l of hardness settles", id="hard water"
        ),
        pytest.param(
            {"heat": "gas"}, {}, "steam: gas, venting and combustion air are licensed", id="gas"
        ),
        pytest.param(
            {"call": "heating"}, {}, "steam: keep 0.5 to 3 m of duct behind it clear", id="ducts"
        ),
    ],
)
def test_what_it_needs_is_told(keys, quality, beginning) -> None:
    water = replace(COLD, quality=Quality(**quality))
    w = CASE.w_base_kg_kg + 0.004

    got = unit(**keys).capability(CASE, water, w_base_kg_kg=w, w_set_kg_kg=w)

    assert [note[: len(beginning)] for note in got.notes] == [beginning]


def test_electrodes_in_tap_water_need_nothing_more() -> None:
    w = CASE.w_base_kg_kg + 0.004

    assert unit(heat="electrode").capability(CASE, COLD, w_base_kg_kg=w, w_set_kg_kg=w).notes == ()


@pytest.mark.parametrize(
    "keys",
    [
        pytest.param({"heat": "fire"}, id="a heat that is not known"),
        pytest.param({"power_kw": 2, "efficiency": 0.9}, id="two accounts of its input"),
        pytest.param({"part_load": [[0.5, 1]]}, id="part load of an element"),
        pytest.param({"heat": "gas", "part_load": [[0.5, 1], [0.2, 1]]}, id="points that fall"),
        pytest.param({"heat": "gas", "part_load": [[0.5, 0]]}, id="no efficiency"),
        pytest.param({"heat": "gas", "part_load": []}, id="no points"),
        pytest.param({"drain_frac": 1.0}, id="all of it drains"),
        pytest.param({"rate_kg_h": 1.1e5}, id="more than the largest building takes"),
    ],
)
def test_what_has_no_meaning_is_refused(keys) -> None:
    with pytest.raises(pydantic.ValidationError):
        unit(**keys)


def test_it_is_an_equipment_by_contract() -> None:
    assert isinstance(unit(), Equipment)
