"""Loads and sizes: against worked examples, a year by hand, and what is chosen compared anew."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from cases import held_zone, small_case
from dewmargin.case import AirSystem
from dewmargin.cli import cli
from dewmargin.contracts import Capability, Mode, Use
from dewmargin.equipment.atomiser import Atomiser
from dewmargin.equipment.fixed_rate import FixedRate
from dewmargin.equipment.steam_humidifier import SteamHumidifier
from dewmargin.equipment.supply import FeedLine, Supply
from dewmargin.equipment.wetted_pad import Rating, WettedPad
from dewmargin.errors import InputError
from dewmargin.physics import air
from dewmargin.reports import terminal
from dewmargin.reports.folder import verify_folder
from dewmargin.scenario import Comfort, load
from dewmargin.solve import balance
from dewmargin.solve.hours import duration
from dewmargin.strategies.constant import Constant
from dewmargin.strategies.control import IDEAL, Control
from dewmargin.strategies.surface_limit import SurfaceLimit
from dewmargin.studies.compare.comparison import compare_case
from dewmargin.studies.demo import demo_folder
from dewmargin.studies.options.engine import prepared
from dewmargin.studies.options.held import hold
from dewmargin.studies.size.sizing import (
    MOST,
    STEPS,
    Missed,
    Search,
    flows,
    least,
    missed,
    scaled,
    size,
    size_case,
    steady_load,
)
from frontier_cases import room

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from dewmargin.case import HourlyCase
    from dewmargin.contracts import Equipment
    from dewmargin.equipment.humidifier import Humidifier
    from dewmargin.scenario import Scenario
    from dewmargin.studies.options.held import Held

HOUSE = demo_folder() / "scenarios" / "larch_house.toml"
COLD = Supply(name="cold", cold_c=10)
IN_ROOM = FixedRate(name="spray", rate_kg_h=0.1, power_w=50, feed_ratio=3)
PAD = WettedPad(
    name="pad",
    arrangement="own_fan",
    airflow_kg_s=0.02,
    effectiveness=0.65,
    feed_kg_h=3,
    call="humidity",
    power_w=8,
    fan_w=20,
)
KINDS: tuple[Humidifier, ...] = (
    IN_ROOM,
    PAD,
    FixedRate(name="in ducts", rate_kg_h=0.5, call="blower"),
    SteamHumidifier(name="steam", heat="electrode", rate_kg_h=0.2, call="humidity"),
    Atomiser(name="nozzle", spray="nozzle", rate_kg_h=0.15, call="humidity"),
    Atomiser(name="two nozzles", spray="nozzle", rate_kg_h=0.07, count=2),
)


def scenario_of(
    *equipment: Equipment, rh: Sequence[float] = (0.35,), supply: Supply = COLD
) -> Scenario:
    """Return a scenario of constant set-points and these devices, to be run in any case."""
    strategies = tuple(Constant(name=f"hold {100 * each:g} %", rh=each) for each in rh)
    return replace(
        load(HOUSE),
        strategies=strategies,
        equipment=equipment,
        supplies=(supply,),
        assembly=None,
        tariff=None,
    )


def sizes_of(
    case: HourlyCase, scenario: Scenario, **allowed: float
) -> list[dict[str, float | str | None]]:
    """Return the rows of sizes."""
    document = size_case(scenario, None, case, **allowed).document()
    found: list[dict[str, float | str | None]] = document["sizes"]
    return found


def held_of(case: HourlyCase, rh: float = 0.35) -> Held:
    """Return a constant set-point as it is held."""
    [held] = hold(prepared(case, Comfort()), [Constant(name="x", rh=rh)], IDEAL)
    return held


# Loads


def test_the_worked_example_of_a_residential_load() -> None:
    """The handbook's formula, computed with PsychroLib: 500 m3, 0.5 air changes: 1.1507 kg/h."""
    t_c, rh, p = np.array([21.11, -17.78]), np.array([0.35, 0.70]), np.full(2, 101_325.0)
    w = air.humidity_ratio_at_rh(t_c, rh, p)
    exchange = 250.0 * air.dry_air_density(t_c[:1], w[:1], p[:1]) / 3600.0

    load_kg_s = steady_load(exchange, w[:1], w[1:], np.array([0.3 / 3600.0]))

    assert 3600.0 * load_kg_s[0] == pytest.approx(1.1507, rel=1e-3)


@pytest.mark.parametrize(("changes", "gross"), [(0.5, 1.058), (1.0, 2.117), (1.5, 3.175)])
def test_the_load_of_tight_average_and_loose_houses(changes: float, gross: float) -> None:
    """Air changes of AHRI Guideline F (from memory), loads by the rule's own arithmetic, 1 %."""
    t_c, rh, p = np.array([21.1, -6.7]), np.array([0.35, 0.70]), np.full(2, 101_325.0)
    w = air.humidity_ratio_at_rh(t_c, rh, p)
    exchange = changes * 453.1 * air.dry_air_density(t_c[:1], w[:1], p[:1]) / 3600.0

    loads = [steady_load(exchange, w[:1], w[1:], np.array([s / 3600.0]))[0] for s in (0.0, 0.4536)]

    assert 3600.0 * loads[0] == pytest.approx(gross, rel=0.01)
    assert 3600.0 * loads[1] == pytest.approx(gross - 0.4536, rel=0.0175)


def test_parts_of_demand_lie_between_the_hours() -> None:
    demand = np.arange(8760.0)

    found = float(duration(demand, np.array(0.4)))

    assert found == pytest.approx(8723.964, abs=1e-9)
    assert np.count_nonzero(demand > found) == 36


def test_a_synthetic_year_misses_what_its_formula_says() -> None:
    """d = max(0, 2.5 cos(2πh/8760)) against 2.0 kg/h: 593.92 kg and 1795 h; 1 % is not counted."""
    demand = np.maximum(2.5 * np.cos(2.0 * np.pi * np.arange(8760) / 8760.0), 0.0)
    held = held_of(small_case())
    held = replace(
        held,
        demand=replace(held.demand, added_kg=demand),
        catch_up=np.zeros(8760, dtype=bool),
    )

    found = missed(held, np.minimum(demand, 2.0))

    assert demand.sum() == pytest.approx(6970.99, abs=0.01)
    assert float(duration(demand, np.array(0.4))) == pytest.approx(2.49979, abs=1e-5)
    assert found.kg == pytest.approx(593.92, abs=0.01)
    assert np.count_nonzero(demand > 2.0) == 1795
    on_each_side = np.floor(8760.0 / (2.0 * np.pi) * np.arccos(2.0 / 0.99 / 2.5))
    assert found.hours == 2.0 * on_each_side + 1.0


def test_hours_after_a_set_back_are_not_counted_as_short_but_their_kilograms_are() -> None:
    case = small_case()
    held = held_of(case)
    catch_up = np.ones(48, dtype=bool)

    found = missed(replace(held, catch_up=catch_up), np.zeros(48))

    assert found.hours == 0.0
    assert found.kg == pytest.approx(held.demand.added_kg.sum())
    assert found.kg > 1.0


def test_loads_of_every_strategy_and_their_duration() -> None:
    case = small_case(240)
    found = size_case(scenario_of(IN_ROOM, rh=(0.35, 0.45)), None, case)
    demand = balance.demand(case, np.full(240, 0.45)).added_kg

    loads = found.document()["loads"][1]
    curve = found.load_duration.data
    of_second = [i for i, name in enumerate(curve["strategy"]) if name == "hold 45 %"]

    assert loads["demand_kg"] == pytest.approx(demand.sum())
    assert loads["demand_after_setback_kg_h"] == pytest.approx(demand[:3].max())
    assert loads["demand_peak_kg_h"] == pytest.approx(demand[3:].max())
    percents = [loads[f"demand_{name}_kg_h"] for name in ("p996", "p99", "p975", "p95")]
    assert percents == sorted(percents, reverse=True)
    assert [curve["exceeded_percent"][i] for i in (of_second[0], of_second[-1])] == [0.0, 100.0]
    assert curve["demand_kg_h"][of_second[0]] == pytest.approx(demand.max())
    assert curve["demand_kg_h"][of_second[-1]] == pytest.approx(demand.min())
    assert curve["exceeded_h"][of_second[-1]] == 240.0


# The search


@given(first=st.integers(1, 500), guess=st.integers(-5, 900), most=st.integers(1, 600))
def test_the_least_of_a_rising_row_is_found_from_any_guess(
    first: int, guess: int, most: int
) -> None:
    found = least(lambda k: k >= first, guess=guess, most=most)

    assert found == (first if first <= most else None)


@given(st.sets(st.integers(1, 60), min_size=1), st.integers(1, 60))
def test_what_is_found_is_done_and_the_one_before_is_not(done: set[int], guess: int) -> None:
    found = least(done.__contains__, guess=guess, most=60)

    if found is not None:
        assert found in done
        assert found - 1 not in done


@pytest.mark.slow
@pytest.mark.parametrize("device", KINDS, ids=lambda device: device.name)
def test_the_size_that_is_chosen_does_and_the_next_smaller_does_not(device: Humidifier) -> None:
    """Compared anew, as a scenario of that many units would be."""
    case, scenario = small_case(240), scenario_of(device)
    held, cold = held_of(case), COLD.feed_water(case)
    dry = balance.baseline(case)
    # With the blower's time alone the room dries a little in every pause.
    allowed = (
        Missed(hours=240.0, kg=10.0) if device.call == "blower" else Missed(hours=12.0, kg=1.0)
    )

    (row,) = sizes_of(case, scenario, shortfall_h=allowed.hours, shortfall_kg=allowed.kg)

    units = row["units"]
    assert isinstance(units, float)
    assert units >= 2.0
    for count, fits in ((units, True), (units - 1.0, False)):
        so_many = device.model_copy(update={"count": int(count)})
        (_, option) = compare_case(replace(scenario, equipment=(so_many,)), None, case).options
        assert missed(held, option.outcome.added_kg).within(allowed) is fits
        if fits:
            assert row["units_shortfall_kg"] == pytest.approx(option.row["shortfall_kg"])
    search = Search(prepared(case, Comfort()), held, device, cold, dry, allowed)
    factor = row["factor"]
    assert isinstance(factor, float)
    assert factor * device.count <= units
    for part, fits in ((factor, True), (factor - 1.0 / STEPS, False)):
        found = search.missed(part * device.count)
        assert found is not None
        assert found.within(allowed) is fits


def test_a_part_of_a_unit_in_a_room_is_a_smaller_unit() -> None:
    case = small_case(120)
    (row,) = sizes_of(case, scenario_of(IN_ROOM), shortfall_h=6)
    factor = row["factor"]
    assert isinstance(factor, float)
    smaller = IN_ROOM.model_copy(update={"rate_kg_h": 0.1 * factor})

    (again,) = sizes_of(case, scenario_of(smaller), shortfall_h=6)

    assert again["given_short_h"] == row["factor_short_h"]
    assert again["given_shortfall_kg"] == pytest.approx(row["factor_shortfall_kg"])
    assert again["factor"] == 1.0
    assert again["units"] == 1.0


@pytest.mark.slow
def test_more_allowed_takes_less_and_more_humid_takes_more() -> None:
    case, scenario = small_case(240), scenario_of(IN_ROOM, PAD, rh=(0.30, 0.40))
    found = [sizes_of(case, scenario, shortfall_h=h, shortfall_kg=20) for h in (0, 10, 60)]

    factors = np.array([[row["factor"] for row in each] for each in found], dtype=np.float64)
    units = np.array([[row["units"] for row in each] for each in found], dtype=np.float64)

    assert np.all(np.diff(factors, axis=0) <= 0.0)
    assert np.all(np.diff(units, axis=0) <= 0.0)
    assert np.all(factors[0] > factors[2])
    assert np.all(factors[:, 2:] > factors[:, :2])


def test_twice_a_device_in_a_room_is_two_of_it() -> None:
    case, held = small_case(), held_of(small_case())
    water, dry = COLD.feed_water(case), balance.baseline(case)
    gas = SteamHumidifier(
        name="gas", heat="gas", rate_kg_h=0.3, efficiency=0.8, power_w=30, part_load=[(0.5, 0.9)]
    )
    for device in (IN_ROOM, gas):
        two = held.capability(device.model_copy(update={"count": 2}), case, water, dry)
        outcomes = [
            balance.deliver(case, held.rh_set, each)
            for each in (two, scaled(held.capability(device, case, water, dry), 2.0))
        ]
        for name in ("added_kg", "feed_kg", "device_j", "running_frac"):
            first, second = (getattr(outcome, name) for outcome in outcomes)
            np.testing.assert_allclose(first, second, rtol=1e-12, atol=1e-15)


def test_two_units_in_a_duct_share_what_its_air_can_take_up() -> None:
    """Why every size is asked anew: room air in the ducts takes up less than two give."""
    case = small_case()
    held, water, dry = held_of(case), COLD.feed_water(case), balance.baseline(case)
    device = FixedRate(name="x", rate_kg_h=5.0, call="humidity")
    search = Search(prepared(case, Comfort()), held, device, water, dry, Missed(hours=0.0, kg=0.0))

    one, two = (flows(case, held, search.capability(n)).rate_kg_s for n in (1, 2))

    np.testing.assert_allclose(one, 5.0 / 3600.0, rtol=1e-12)
    np.testing.assert_allclose(two[0], 10.0 / 3600.0, rtol=1e-12)
    # 0.5 kg/s from 21 °C 35 % to saturation along its wet bulb, less what the feed brings.
    assert 3600.0 * two[1] == pytest.approx(6.55, abs=0.1)


class Foreign:
    """A device of an extension: no count, one rate."""

    name = "foreign"

    def capability(self, case: HourlyCase, *_: object, **__: object) -> Capability:
        rate = np.full(case.n_steps, 0.05 / 3600.0)
        mode = Mode(r0_kg_s=rate, r1_kg_s=0.0 * rate, feed=Use(per_kg=2.0))
        return Capability(heat_frac=np.ones(case.n_steps), heat=mode)


def test_a_device_of_an_extension_is_scaled() -> None:
    case = small_case(120)
    ours = FixedRate(name="ours", rate_kg_h=0.05, feed_ratio=2)

    foreign, known = sizes_of(case, scenario_of(Foreign(), ours), shortfall_h=6)  # type: ignore[arg-type]

    for name in ("units", "factor", "units_shortfall_kg", "feed_l_min", "derate_frac"):
        assert foreign[name] == pytest.approx(known[name])
    assert foreign["electric_w"] is None


def test_a_strategy_that_lowers_while_wet_is_sized_with_its_films() -> None:
    case = small_case(120)
    scenario = scenario_of(IN_ROOM)
    wet = SurfaceLimit(name="dries", margin_k=-3.0, while_film={"rh": 0.25})
    (row,) = sizes_of(case, replace(scenario, strategies=(wet,)), shortfall_h=6)

    so_many = IN_ROOM.model_copy(update={"count": int(row["units"] or 0)})
    again = compare_case(
        replace(scenario, strategies=(wet,), equipment=(so_many,)), None, case
    ).options[1]

    assert row["units_shortfall_kg"] == pytest.approx(again.row["shortfall_kg"])


# What is reported of a size


def test_a_rated_day_is_derated_by_the_time_in_which_it_may_run() -> None:
    heating = FixedRate(name="heat", rate_kg_h=0.5, call="heating", count=2)

    ducted, free = sizes_of(small_case(), scenario_of(heating, IN_ROOM))

    assert ducted["rated_kg_day"] == pytest.approx(12.0)
    assert ducted["able_kg_day"] == pytest.approx(0.4 * 12.0)
    assert ducted["derate_frac"] == pytest.approx(0.4)
    assert ducted["available_frac"] == pytest.approx(0.4)
    assert ducted["rate_frac"] == pytest.approx(1.0)
    assert free["derate_frac"] == pytest.approx(1.0)
    assert free["available_frac"] == pytest.approx(1.0)
    assert ducted["design_day"] == "2017-01-10"


@pytest.mark.parametrize(
    ("plenum_c", "ratio"), [(25, 0.432), (35, 0.657), (45, 0.901), (55, 1.159)]
)
def test_a_pad_is_derated_by_its_plenum(plenum_c: float, ratio: float) -> None:
    """Share of a rating at 48.9 °C, room 20 °C 30 %, feed near wet bulb; by potentials, 0.003.

    The feed is taken as warm as each wet bulb, so that it brings no heat of its own.
    """
    n = 48
    case = small_case(
        n,
        p_pa=np.full(n, 101_325.0),
        t_air_c=np.full(n, 20.0),
        air_system=AirSystem(
            heat_frac=np.full(n, 0.5), t_supply_c=np.full(n, float(plenum_c)), airflow_kg_s=0.5
        ),
        surfaces=(),
    )
    wet_bulb_c = {25: 14.0, 35: 17.7, 45: 21.1, 48.9: 22.3, 55: 24.1}
    pad = WettedPad(
        name="pad",
        arrangement="own_fan",
        airflow_kg_s=0.05,
        feed_kg_h=20,
        call="heating",
        rating=Rating(
            capacity_kg_h=1.0,
            plenum_c=48.9,
            room_c=20,
            room_rh=0.30,
            feed_kg_h=20,
            feed_c=wet_bulb_c[48.9],
        ),
    )
    supply = Supply(name="at wet bulb", cold_c=wet_bulb_c[plenum_c])

    (row,) = sizes_of(case, scenario_of(pad, rh=(0.30,), supply=supply))

    assert row["rated_kg_day"] == pytest.approx(24.0)
    assert row["rate_frac"] == pytest.approx(ratio, abs=0.01)
    assert row["derate_frac"] == pytest.approx(0.5 * ratio, abs=0.005)


def test_flows_and_power_are_those_of_all_units() -> None:
    (row,) = sizes_of(small_case(120), scenario_of(IN_ROOM), shortfall_h=6)

    units = row["units"]
    assert isinstance(units, float)
    assert row["feed_l_min"] == pytest.approx(units * 0.3 / 60.0)
    assert row["drain_l_min"] == pytest.approx(units * 0.2 / 60.0)
    assert row["electric_w"] == pytest.approx(units * 50.0)


def test_fans_count_and_unknown_power_is_unknown() -> None:
    unknown = IN_ROOM.model_copy(update={"power_w": None})

    pad, spray = sizes_of(small_case(), scenario_of(PAD, unknown), shortfall_h=48, shortfall_kg=99)

    assert spray["electric_w"] is None
    assert pad["units"] == 0.0
    # The blower of the case is not known, which is run for it beside its own fan.
    assert pad["electric_w"] is None
    known = replace(small_case().air_system, blower_w=300.0)
    (pad,) = sizes_of(small_case(air_system=known), scenario_of(PAD))
    assert pad["electric_w"] == pytest.approx((pad["units"] or 0.0) * 28.0 + 300.0)


def text_of(
    case: HourlyCase, device: Humidifier, column: str, *, supply: Supply = COLD, **allowed: float
) -> str | float | None:
    """Return a text of the one size."""
    (row,) = sizes_of(case, scenario_of(device, supply=supply), **allowed)
    return row[column]


@pytest.mark.parametrize(
    ("device", "line", "text"),
    [
        (
            FixedRate(name="x", rate_kg_h=10.0),
            None,
            "16.7 times what would do: in the median hour of demand it runs 2 minutes",
        ),
        (
            FixedRate(name="x", rate_kg_h=10.0, call="humidity"),
            None,
            (
                "16.7 times what would do: in the median hour of demand it runs 3 minutes, in "
                "2.9 firings"
            ),
        ),
        (
            FixedRate(name="x", rate_kg_h=10.0, call="humidity"),
            FeedLine(length_m=10, bore_mm=4),
            (
                "16.7 times what would do: in the median hour of demand it runs 3 minutes, in "
                "2.9 firings; the water that stood in its line takes the first 0.9 minutes of each"
            ),
        ),
    ],
)
def test_too_much_is_said_with_the_reason(
    device: Humidifier, line: FeedLine | None, text: str
) -> None:
    """By hand: 0.379 kg of the median hour at 10 kg/h; in ducts at 6.55 in the 60 % without heat.

    Room air of 21 °C takes up no more there. The line holds 0.126 kg, 8.3 kg/h between the two.
    """
    supply = COLD.model_copy(update={"line": line})

    assert text_of(small_case(120), device, "oversize", supply=supply, shortfall_h=6) == text


def test_what_fits_is_not_too_much_and_none_may_be_needed() -> None:
    fits = FixedRate(name="x", rate_kg_h=0.7)

    assert text_of(small_case(120), fits, "oversize", shortfall_h=6) is None
    assert text_of(small_case(120), fits, "oversize", shortfall_h=120, shortfall_kg=999) == (
        "none is needed: without it no more is missed than is allowed"
    )


def test_a_demand_of_grams_is_told_as_such() -> None:
    """5 g in every hour, and in the first 2 g more, less than the 1 % of it all that may miss."""
    n = 48
    case = small_case(n)
    w = air.humidity_ratio_at_rh(case.t_air_c, np.full(n, 0.35), case.p_pa)
    gains = case.exchange_kg_s * (w - case.w_out_kg_kg) - 0.005 / 3600.0
    steady = replace(case, gains_kg_s=gains, surfaces=(), dry_air_kg=50.0)

    (row,) = sizes_of(steady, scenario_of(IN_ROOM))

    assert row["factor"] == 0.05
    assert row["oversize"] == "20.0 times what would do: no hour demands more than 0.01 kg"


def test_a_room_that_needs_nothing_has_no_design_day() -> None:
    humid = replace(small_case(), gains_kg_s=np.full(48, 3.0 / 3600.0))

    (row,) = sizes_of(humid, scenario_of(IN_ROOM))

    assert (row["units"], row["factor"], row["design_day_demand_kg"]) == (0.0, 0.0, 0.0)
    assert row["design_day"] is row["rated_kg_day"] is row["derate_frac"] is None
    assert row["feed_l_min"] == row["no_time_h"] == 0.0


def test_why_no_size_does() -> None:
    """By hand: 57 of 117 hours, the first three left out, have no heat, the others half an hour."""
    pause = np.where(np.arange(120) % 24 < 12, 0.0, 0.5)
    system = AirSystem(heat_frac=pause, t_supply_c=np.full(120, 45.0), airflow_kg_s=0.5)
    case = small_case(120, air_system=system, dry_air_kg=100.0)
    bypass = WettedPad(name="pad", airflow_kg_s=0.02, effectiveness=0.6, feed_kg_h=5)

    assert text_of(case, bypass, "limited_by") == (
        "time, not size: it may run in 26 % of the time with demand, in 57 h not at all; let it "
        "run on a call for humidity, or always, or allow more hours short"
    )
    mist = FixedRate(name="mist", rate_kg_h=1e-3)
    assert text_of(small_case(120), mist, "limited_by") == (
        f"{MOST} times what is given still falls short"
    )
    little = WettedPad(
        name="pad", airflow_kg_s=0.02, effectiveness=0.05, feed_kg_h=5, call="humidity"
    )
    assert text_of(small_case(120), little, "limited_by") == (
        "there is no room for as many units as it takes: 0.26 kg/s is more than half of what the "
        "blower moves, 0.5 kg/s"
    )


# Refusals and notes


@pytest.mark.parametrize("name", ["shortfall_h", "shortfall_kg"])
def test_less_than_nothing_is_not_allowed(name: str) -> None:
    with pytest.raises(InputError) as caught:
        size_case(scenario_of(IN_ROOM), None, small_case(), **{name: -1.0})

    key = name.replace("_", "-")
    assert str(caught.value) == (
        f"{key}: must be at least 0, got -1 (leave it out for its default)"
    )


def test_zones_humidified_beside_the_space_are_refused() -> None:
    case = small_case(24)
    zone = held_zone(case)

    with pytest.raises(InputError) as caught:
        size_case(scenario_of(IN_ROOM), None, replace(case, held_zones=(zone,)))

    assert str(caught.value) == (
        "space.simulation.humidified_alike: sizes are not tried with zones that are humidified "
        "beside the space (leave them out here, or compare options one by one)"
    )


def test_the_message_names_the_scenario(tmp_path: Path) -> None:
    file = room(tmp_path, [-10] * 24, device=f'name = "pad"\nkind = "wetted_pad"\n{PAD_KEYS}')

    with pytest.raises(InputError) as caught:
        size(file)

    assert str(caught.value).replace(f"{tmp_path}/", "") == (
        "room.toml: equipment['pad'].kind: a wetted pad needs an air system, and this space has "
        "none (give the space ducts: heating in [space.house] or [space.simulation], or set "
        'arrangement = "room")'
    )


PAD_KEYS = "airflow_kg_s = 0.02\neffectiveness = 0.6\nfeed_kg_h = 5\n"


def test_what_is_left_out_is_said() -> None:
    scenario = scenario_of(IN_ROOM)
    swinging = replace(scenario, control=Control(deadband_rh=0.04))

    notes = size_case(swinging, None, small_case()).notes

    assert notes[-2:] == (
        "without a weather file there are no design conditions",
        (
            "sized with a controller that does not swing: deadband, delay and times of [control] "
            "are left out"
        ),
    )
    assert notes[0].startswith("A size does if at most 0 h outside catch-up hours miss more than")
    assert "at most 1 % of the demand is missed" in notes[0]
    asked = size_case(scenario, None, small_case(), shortfall_h=3, shortfall_kg=2.5).notes
    assert "at most 3 h outside" in asked[0]
    assert "at most 2.5 kg is missed" in asked[0]


@pytest.mark.slow
def test_a_header_without_design_conditions_is_said() -> None:
    scenario = scenario_of(FixedRate(name="x", rate_kg_h=0.7))
    weather = scenario.read_weather()
    assert weather is not None
    case = scenario.case(weather)

    found = size_case(scenario, replace(weather, design=()), case)

    assert found.notes[-1] == ("the weather file's header has no humidification design conditions")
    assert found.design_loads.data["source"] == ["hours", "hours"]


# The command


def command(*arguments: object) -> str:
    """Run the command; return what it prints."""
    result = CliRunner().invoke(cli, ["size", *map(str, arguments)], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


SMALL = 'name = "spray"\nkind = "fixed_rate"\nrate_kg_h = 0.1\npower_w = 50'


@pytest.mark.slow
def test_two_runs_write_the_same_bytes_and_they_verify(tmp_path: Path) -> None:
    file = room(tmp_path, [-10] * 240, device=SMALL)

    text = command(file, "--shortfall-h", 20, "--out", tmp_path / "a")
    command(file, "--shortfall-h", 20, "--out", tmp_path / "b")

    names = sorted(path.name for path in (tmp_path / "a").iterdir())
    tables = ("design_loads", "load_duration", "loads", "sizes")
    endings = ("csv", "parquet", "schema.json")
    assert names == sorted(["manifest.json", *(f"{t}.{e}" for t in tables for e in endings)])
    for name in names:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes(), name
    assert sorted([*verify_folder(tmp_path / "a"), "manifest.json"]) == names
    manifest = json.loads((tmp_path / "a" / "manifest.json").read_text(encoding="utf-8"))
    assert list(manifest["inputs_sha256"]) == ["scenario: room.toml", "table: room.csv"]
    assert text.splitlines()[-1] == str(tmp_path / "a" / "manifest.json")


@pytest.mark.slow
def test_the_table_and_the_document_say_the_same(tmp_path: Path) -> None:
    file = room(tmp_path, [-10] * 240, device=SMALL)

    text = command(file, "--shortfall-h", 20)
    document = json.loads(command(file, "--shortfall-h", 20, "--json"))

    (row,) = document["sizes"]
    assert document["schema"] == "dewmargin/size/1"
    assert document["files"] == []
    assert row["allowed_short_h"] == 20.0
    line = next(line for line in text.splitlines() if line.strip().startswith("any"))
    assert f"{document['loads'][0]['demand_peak_kg_h']:.2f}" in line
    line = next(line for line in text.splitlines() if f"{row['factor']:.2f}" in line)
    assert f" {row['units']:.0f} " in line
    assert "Note: without a weather file there are no design conditions." in text


def test_a_narrow_terminal_shows_every_number() -> None:
    """Two devices on two supplies take two columns of names; a number is never cut."""
    steam = SteamHumidifier(name="electrodes", heat="electrode", rate_kg_h=1.5)
    scenario = scenario_of(IN_ROOM.model_copy(update={"name": "a long name of a spray"}), steam)
    warm = Supply(name="hot 55 °C", cold_c=10, temperature_c=55)
    found = size_case(replace(scenario, supplies=(COLD, warm)), None, small_case(120))
    stream = io.StringIO()

    terminal.print_sizes(terminal.console(stream), found.sizes)

    lines = stream.getvalue().splitlines()
    assert max(map(len, lines)) <= terminal.NARROWEST
    assert any(line.split()[-1:] == ["W"] for line in lines)
    powers = [f"{each:.0f}" for each in found.sizes.data["electric_w"]]
    assert [cells[-1] for cells in map(str.split, lines) if cells and cells[-1] in powers] == powers


@pytest.mark.slow
def test_the_demo_says_that_heating_alone_leaves_too_little_time() -> None:
    text = command(HOUSE)

    assert "time, not size: it may run in " in text
    assert "% of the time with demand, in 454 h not at all" in text
    assert "Steady load at the design dew points of the climate:" in text
    assert "-29.1 °C" in text
