"""Our demand and condensation from a free run, against a run in which the engine humidifies.

How they are compared, and the table of all houses in all climates, is in `accuracy.py`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from dewmargin.physics import air
from dewmargin.solve import balance, wetness
from dewmargin.solve.hours import hours_of
from dewmargin.space.simulation import Simulation
from engine import accuracy, houses
from engine.accuracy import CHICAGO, DULLES, GOLDEN

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from engine.accuracy import Pair

pytestmark = [pytest.mark.engine, pytest.mark.slow]

CEDAR, SPRUCE = "cedar_house", "spruce_house"


@pytest.fixture(scope="module")
def pair(run_engine):
    done: dict[tuple[str, str, str], Pair] = {}

    def make(house: str, weather: str, free: str = "free") -> Pair:
        key = (house, weather, free)
        if key not in done:
            done[key] = accuracy.pair(run_engine, house, weather, free)
        return done[key]

    return make


def _daily(values: np.ndarray) -> np.ndarray:
    return values.reshape(-1, 24).sum(axis=1)


# Measured, in the order of the cases: -0.3, -0.6, -0.3, -0.2, -2.1, -0.4 %. The goal is 1.5 % on
# our own houses. Spruce House in Golden misses it: on sunny mornings its set-point humidity rises
# from 21 to 26 °C within an hour and a half, with four times the air's moisture to fill; hourly
# means book half of that an hour late, and the late hour is one of cooling and left out (56 of the
# missing 65 kg lie in the two hours before cooling). Over all hours, cooling included, the same
# year is 0.4 % high, which the next test holds to the goal.
@pytest.mark.parametrize(
    ("house", "weather", "limit"),
    [
        pytest.param(CEDAR, CHICAGO, 0.015, id="one zone, Chicago"),
        pytest.param(CEDAR, GOLDEN, 0.015, id="one zone, 1829 m up"),
        pytest.param(CEDAR, DULLES, 0.015, id="one zone, mild winter"),
        pytest.param(SPRUCE, CHICAGO, 0.015, id="fresh air by the system, capacity x 4, Chicago"),
        pytest.param(SPRUCE, GOLDEN, 0.025, id="fresh air by the system, capacity x 4, 1829 m up"),
        pytest.param(SPRUCE, DULLES, 0.015, id="fresh air by the system, capacity x 4, mild"),
    ],
)
def test_demand_agrees_with_the_engine(pair, house, weather, limit):
    found = pair(house, weather)
    ours, engine = (
        np.where(found.compared, kg, 0.0) for kg in (found.ours.added_kg, found.engine_kg)
    )
    by_hour = (ours[found.compared], engine[found.compared])

    assert ours.sum() == pytest.approx(engine.sum(), rel=limit)
    assert np.corrcoef(*by_hour)[0, 1] > 0.98
    assert np.corrcoef(_daily(ours), _daily(engine))[0, 1] > 0.999
    # The size of the humidifier: 12 % is what hourly averaging of short gains may cost.
    p99 = [np.percentile(kg, 99) for kg in by_hour]
    assert p99[0] == pytest.approx(p99[1], rel=0.12)


def test_demand_over_all_hours_agrees_where_ramps_straddle_hours_of_cooling(pair):
    found = pair(SPRUCE, GOLDEN)

    assert found.ours.added_kg.sum() == pytest.approx(found.engine_kg.sum(), rel=0.015)


# Air from other zones, recovery, furnaces and networks of air paths. Goals: 1.5 %, and 3 % with
# latent recovery or several mixing zones. What is measured, and why the furnace's demand is the
# least alike, is in accuracy.py.
@pytest.mark.parametrize(
    ("house", "limit"),
    [
        pytest.param("alder_house", 0.015, id="furnace, fan and fresh air"),
        pytest.param("aspen_house", 0.03, id="furnace, and a core that recovers moisture"),
        pytest.param("rowan_house", 0.03, id="ideal loads with latent recovery"),
        pytest.param("birch_house", 0.03, id="a basement that mixes both ways"),
        pytest.param("hazel_house", 0.03, id="a basement and a loft that mix both ways"),
        pytest.param("fern_house", 0.03, id="a damp basement, cross mixing"),
        pytest.param("maple_house", 0.03, id="a network of air paths, windows opened"),
        pytest.param("willow_house", 0.015, id="an exhaust fan in quadrature with the leaks"),
    ],
)
def test_demand_agrees_however_the_air_moves(pair, house, limit):
    found = pair(house, CHICAGO)

    ours, engine = found.demand_kg
    assert ours == pytest.approx(engine, rel=limit)
    assert found.correlation > 0.98


# A tight house over a heated basement, 0.03 m³/s of outdoor air through a wheel (0.8 sensible, 0.7
# latent): little is needed, so that small misses count. Goal: 1 % of the year, all its hours, where
# the engine holds what it is set to; measured +0.4 % of 807 kg. Its ideal loads alone do not: while
# they do not heat they let the wheel rest and pass outdoor air on as cold as it is, at most
# saturated (EnergyPlus, PurchasedAirManager.cc: dead band, limit of the supply humidity).
def test_a_wheel_s_demand_agrees_where_the_engine_holds_what_it_is_set_to(pair):
    found = pair("linden_house", CHICAGO)

    assert found.ours.added_kg.sum() == pytest.approx(found.engine_kg.sum(), rel=0.01)
    assert found.correlation > 0.98


def test_ideal_loads_hold_less_where_they_pass_outdoor_air_on_unheated(pair, run_engine):
    found = pair("linden_house", CHICAGO)
    held = run_engine("linden_house", accuracy.LIVING_ROOMS, CHICAGO)
    engine_kg = accuracy.engine_kg(held, "LIVING", accuracy.LIVING_ROOMS)
    t, w = (
        houses.series(held, f"Zone Mean Air {name}")["LIVING"]
        for name in ("Temperature", "Humidity Ratio")
    )
    active = houses.series(held, "Zone Ideal Loads Heat Recovery Active Time")["LIVING IDEAL"]
    rh = air.relative_humidity(t, w, found.case.p_pa)
    short = (engine_kg > 0.001) & (rh < accuracy.RH_SET - 0.01)

    at_what_it_held = balance.demand(found.case, np.minimum(rh, accuracy.RH_SET)).added_kg

    # Of the hours in which it humidifies and falls short, the wheel rests in nearly all; ours is
    # larger there, and nowhere else by more than the goal.
    ours = found.ours.added_kg
    assert short.sum() > 100
    assert np.mean(active[short] < 0.99) > 0.95
    assert ours.sum() > 1.02 * engine_kg.sum()
    assert ours[~short].sum() == pytest.approx(engine_kg[~short].sum(), rel=0.01)
    # Asked for no more than the engine held, we agree with it.
    assert at_what_it_held.sum() == pytest.approx(engine_kg.sum(), rel=0.01)


def test_a_neighbour_taken_for_outdoors_or_for_nothing_would_miss_the_demand(pair):
    # Both simpler readings of a basement that mixes with the humidified rooms, beside ours.
    found = pair("birch_house", CHICAGO)
    ours, engine = found.demand_kg
    case = found.case
    mean_kg_s = 0.0174  # mixed both ways, on average
    added_kg_s = float(case.exchange_kg_s.mean()) - 0.0547

    def demand(exchange_kg_s: np.ndarray) -> float:
        other = replace(case, exchange_kg_s=exchange_kg_s)
        kg = balance.demand(other, np.full(case.n_steps, accuracy.RH_SET)).added_kg
        return float(kg[found.compared].sum())

    as_outdoors = demand(case.exchange_kg_s - added_kg_s + mean_kg_s)
    as_nothing = demand(case.exchange_kg_s - added_kg_s)

    assert abs(ours / engine - 1.0) < 0.015
    assert as_outdoors / engine - 1.0 > 0.10
    assert as_nothing / engine - 1.0 < -0.05


# Both zones held at 40 % by units of their own: each zone's demand is found from the free run with
# the other named as held alike. Measured: LIVING -0.0, +0.1, -0.2 %, BASEMENT +0.2, -0.5, +0.4 %,
# of 2530 to 3040 and of 50 to 240 kg a year. Goal with several mixing zones: 3 %.
@pytest.mark.parametrize(
    "house",
    [
        pytest.param("birch_house", id="an open stair"),
        pytest.param("fern_house", id="an open stair, a damp basement"),
        pytest.param("hazel_house", id="an open stair, and a loft that follows"),
    ],
)
@pytest.mark.parametrize(("zone", "beside"), [("LIVING", "BASEMENT"), ("BASEMENT", "LIVING")])
def test_zones_humidified_together_are_solved_together(run_engine, house, zone, beside):
    free = run_engine(house, "free", CHICAGO)
    held = run_engine(house, accuracy.BY_IDEAL_LOADS, CHICAGO)
    rh = np.full(8760, accuracy.RH_SET)

    def read(folder, **keys: object) -> HourlyCase:
        simulation = Simulation(results="eplusout.sql", zones=[zone], **keys)
        return simulation.case(weather=None, folder=folder)

    together = read(free, humidified_alike=[beside], humidify_while_cooling=True)
    alone = read(free, humidify_while_cooling=True)
    hours = ~(together.cooling | read(held, baseline="humidified").cooling)
    engine_kg = accuracy.engine_kg(held, zone, accuracy.BY_IDEAL_LOADS)[hours]

    ours, of_one = (balance.demand(case, rh).added_kg[hours] for case in (together, alone))

    assert ours.sum() == pytest.approx(engine_kg.sum(), rel=0.015)
    assert np.corrcoef(ours, engine_kg)[0, 1] > 0.98
    # Beside a zone that only follows, what the other's humidifier gives would count as ours.
    assert of_one.sum() > ours.sum() * 1.005
    note = f"{beside}, held at the same relative humidity, solved with it"
    assert any(note in each for each in together.notes)


def test_results_of_every_ten_minutes_follow_the_engine_s_hours_closely(pair):
    # Goal: r above 0.998; measured 0.9995. accuracy.py tells where it is missed, and why.
    found = pair(CEDAR, CHICAGO, "free, every ten minutes")

    ours, engine = found.demand_kg
    assert ours == pytest.approx(engine, rel=0.01)
    assert found.correlation > 0.998


# The count of hours in which the hour-mean humidity exceeds saturation at the face, with the
# engine's own humidity. Goal: 3 % above 1000 window-hours. Measured: -5.2 ... +0.8 %.
# Misses: dividers of Cedar House in Golden, -5.2 % of 1297. Its seven windows are wet together,
# 186 h each: 117 whole hours, which all agree, and 146 hours wet in part, which hold 69 h, of which
# hour means find 59. 54 of the 186 h lie between 6:00 and 8:00, when the bathroom is used and the
# set-back ends.
@pytest.mark.parametrize(
    ("house", "weather", "misses"),
    [
        pytest.param(CEDAR, CHICAGO, {}, id="one zone, Chicago"),
        pytest.param(CEDAR, GOLDEN, {"divider": 0.06}, id="one zone, 1829 m up"),
        pytest.param(CEDAR, DULLES, {}, id="one zone, mild winter"),
        pytest.param(SPRUCE, CHICAGO, {}, id="single glazing, Chicago"),
        pytest.param(SPRUCE, GOLDEN, {}, id="single glazing, 1829 m up"),
        pytest.param(SPRUCE, DULLES, {}, id="single glazing, mild winter"),
    ],
)
def test_condensation_hours_agree_with_the_engine(pair, house, weather, misses):
    counted = 0
    for part, (engine, with_engine_w, ours) in pair(house, weather).wet_h.items():
        if engine < 1000.0:
            continue  # a few hours more or less are then many per cent
        counted += 1

        assert with_engine_w == pytest.approx(engine, rel=misses.get(part, 0.03)), part
        # With our own humidity and the free run's temperatures; measured -2.8 ... +0.3 %.
        assert ours == pytest.approx(engine, rel=0.10 if part == "glass" else 0.30), part

    assert counted >= 1


def test_condensation_that_hour_means_miss_is_found_in_steps_of_ten_minutes(run_engine):
    # The worst of the counts above, the dividers in Golden: hour means find 5 % too few. The
    # engine compares each step's face with the humidity of the step before; so do we here.
    held = run_engine(CEDAR, "held at 40 % + every ten minutes", GOLDEN)
    status, face = (
        houses.series(held, name)
        for name in (
            "Surface Window Inside Face Divider Condensation Status",
            "Surface Window Divider Inside Temperature",
        )
    )
    w = np.roll(houses.series(held, "Zone Mean Air Humidity Ratio")["CEDAR"], 1)
    p_pa = houses.series(held, "Site Outdoor Air Barometric Pressure")["Environment"]

    ours = sum(np.sum(w > air.saturated_humidity_ratio(t_c, p_pa)) for t_c in face.values())

    engine = sum(np.sum(flags) for flags in status.values())
    assert engine / 6.0 > 1000.0
    assert ours == pytest.approx(engine, rel=0.005)


# Measured in groups above 1,000 window-hours: Cedar House -2.6 % (frames) and -0.4 % (dividers),
# Maple House -4.2 % and -0.7 % (glass). Miss: the glass of Maple House in Chicago, whose windows
# are opened and shut within the hour; of ten-minute values the next test finds all.
@pytest.mark.parametrize(
    ("house", "weather", "groups", "miss"),
    [
        pytest.param(CEDAR, CHICAGO, 2, 0.03, id="one zone, Chicago"),
        pytest.param("maple_house", CHICAGO, 1, 0.05, id="network of air paths, Chicago"),
        pytest.param("maple_house", GOLDEN, 1, 0.03, id="network of air paths, 1829 m up"),
    ],
)
def test_condensation_hours_of_dry_houses_agree_too(run_engine, house, weather, groups, miss):
    """Runs without humidifier, whose surfaces sweat seldom, through our baseline and films."""
    folder = run_engine(house, "free", weather)
    zones = None if house == CEDAR else ["LIVING"]
    case = Simulation(results="eplusout.sql", zones=zones).case(weather=None, folder=folder)
    watched = [replace(face, area_m2=None) for face in case.simulated_surfaces.values()]
    case = replace(case, surfaces=tuple(watched))
    hours = hours_of(case, heating_season_below_c=15.0)

    faces = wetness.surface_hours(case, hours, balance.baseline(case))

    counted = 0
    for part, (word, _) in accuracy.PARTS.items():
        mine = [i for i, face in enumerate(watched) if face.name.endswith(f" {part}")]
        status = houses.series(folder, f"Surface Window Inside Face {word} Condensation Status")
        engine = sum(status[watched[i].name.removesuffix(f" {part}")].sum() for i in mine)
        if engine < 1000.0:
            continue
        counted += 1
        assert faces.condensing[mine].sum() == pytest.approx(engine, rel=miss), part
        # What condensed takes hours to dry: wet for longer, and never wet without.
        assert faces.wet[mine].sum() > faces.condensing[mine].sum()
        assert not faces.wet[mine][~faces.condensing[mine].any(axis=1)].any()
    assert counted == groups


def test_condensation_of_a_dry_house_in_steps_of_ten_minutes(run_engine):
    # The worst of the counts above. The engine compares each step's face with the humidity of the
    # step before; so do we here.
    free = run_engine("maple_house", "free, every ten minutes", CHICAGO)
    status = houses.series(free, "Surface Window Inside Face Glazing Condensation Status")
    face = houses.series(free, "Surface Inside Face Temperature")
    w = np.roll(houses.series(free, "Zone Mean Air Humidity Ratio")["LIVING"], 1)
    p_pa = houses.series(free, "Site Outdoor Air Barometric Pressure")["Environment"]

    ours = sum(np.sum(w > air.saturated_humidity_ratio(face[name], p_pa)) for name in status)

    engine = sum(np.sum(flags) for flags in status.values())
    assert engine / 6.0 > 1000.0
    assert ours == pytest.approx(engine, rel=0.005)
