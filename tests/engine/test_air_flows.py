"""Every way in which air moves: read as the engine has it, and missed if it is withheld."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing

import numpy as np
import pytest

from dewmargin.solve import balance
from dewmargin.solve.hours import hours_of
from dewmargin.space.simulation import Simulation
from dewmargin.studies.compare import comparison

pytestmark = [pytest.mark.engine, pytest.mark.slow]

CHICAGO = "USA_IL_Chicago"
WINTER = "free + of February"
CEDAR, LIVING, ALL = ["CEDAR"], ["LIVING"], None


def read(folder, zones):
    return Simulation(results="eplusout.sql", zones=zones).case(weather=None, folder=folder)


def quality(case) -> comparison.Quality:
    rh_set = np.full(case.n_steps, 0.40)
    hours = hours_of(case, heating_season_below_c=15.0)
    departure = balance.demand(case, rh_set)
    found = comparison.quality(case, hours, rh_set=rh_set, departure=departure)
    assert found is not None
    return found


def withhold(folder, pattern, tmp_path):
    """Return a copy of a run that was not asked for some variables."""
    shutil.copy(folder / "eplusout.sql", tmp_path)
    with closing(sqlite3.connect(tmp_path / "eplusout.sql")) as database:
        done = database.execute("DELETE FROM ReportDataDictionary WHERE Name LIKE ?", (pattern,))
        assert done.rowcount > 0
        database.commit()
    return tmp_path


FLOWS = [
    pytest.param("fern_house", LIVING, "Zone Mixing%", id="air from a damp basement"),
    pytest.param("maple_house", LIVING, "AFN Zone Mixing%", id="air paths between zones"),
    pytest.param("maple_house", LIVING, "AFN Zone Infiltration%", id="air paths through leaks"),
    pytest.param("maple_house", LIVING, "AFN Zone Ventilation%", id="air paths through windows"),
    pytest.param("poplar_house", CEDAR, "Zone Ventilation Mass%", id="opened windows"),
    pytest.param("rowan_house", LIVING, "%Heat Recovery%", id="recovery of ideal loads"),
    pytest.param("aspen_house", CEDAR, "Heat Exchanger%", id="recovery of an air loop"),
    pytest.param("alder_house", CEDAR, "Zone Mechanical%", id="outdoor air of an air loop"),
]


@pytest.mark.parametrize(("house", "zones", "pattern"), FLOWS)
def test_the_quality_flag_is_dark_with_all_flows_and_lights_without_one(
    run_engine, tmp_path, house, zones, pattern
):
    folder = run_engine(house, WINTER, CHICAGO)

    whole = quality(read(folder, zones))

    lacking = quality(read(withhold(folder, pattern, tmp_path), zones))
    assert not whole.missing_flow
    # Furnaces are the worst read: their short runs and the pulses of the bath fall within hours.
    assert whole.w_rmse_kg_kg < 0.15e-3
    assert abs(whole.demand_gap_frac) < 0.015
    assert lacking.missing_flow


@pytest.mark.parametrize(
    ("house", "zones"),
    [
        pytest.param("willow_house", CEDAR, id="fan and leaks in quadrature"),
        pytest.param("birch_house", LIVING, id="a zone that mixes with another"),
        pytest.param("birch_house", ALL, id="two zones that mix, joined"),
        pytest.param("spruce_house", ALL, id="two zones that do not mix, joined"),
        pytest.param("hazel_house", LIVING, id="a zone that mixes with two others"),
        pytest.param("hazel_house", ["LIVING", "BASEMENT"], id="two of three zones, joined"),
        pytest.param("hazel_house", ALL, id="three zones, joined"),
        pytest.param("maple_house", ALL, id="zones of a network of air paths, joined"),
    ],
)
def test_the_quality_flag_is_dark_where_all_is_there(run_engine, house, zones):
    found = quality(read(run_engine(house, WINTER, CHICAGO), zones))

    assert not found.missing_flow
    assert found.w_rmse_kg_kg < 0.15e-3


def test_a_flow_of_the_model_that_is_not_reported_is_named(run_engine, tmp_path):
    folder = run_engine("birch_house", WINTER, CHICAGO)

    case = read(withhold(folder, "Zone Mixing%", tmp_path), LIVING)

    assert (
        "the model lets air flow into LIVING that the run does not report: "
        "add Output:Variable,*,Zone Mixing Mass Flow Rate,Hourly; to the model"
    ) in case.notes


def test_combined_outdoor_air_stands_for_leaks_and_fan(run_engine, ask):
    folder = run_engine("willow_house", WINTER, CHICAGO)

    case = read(folder, CEDAR)

    combined = ask(folder, "Zone Combined Outdoor Air Mass Flow Rate")["CEDAR"]
    mechanical = ask(folder, "Zone Mechanical Ventilation Mass Flow Rate")["CEDAR"]
    np.testing.assert_allclose(case.exchange_kg_s, combined + mechanical, rtol=1e-12)
    # Root of the squares of fan and leaks, as A = (m² - fan²)^½ of the house without fan.
    alone = read(run_engine("cedar_house", WINTER, CHICAGO), CEDAR).exchange_kg_s
    fan = 0.020 * 1.17  # m3/s at 1.15 to 1.19 kg/m3
    together = float(np.mean(np.hypot(alone, fan)))
    assert case.exchange_kg_s.mean() == pytest.approx(together, rel=0.02)


def test_the_effectiveness_of_a_recovery_is_found_in_the_run(run_engine, ask):
    # The model says 0.6; the unit bypasses when the rooms need no heat, which the run tells.
    folder = run_engine("rowan_house", "free", CHICAGO)
    mechanical = ask(folder, "Zone Mechanical Ventilation Mass Flow Rate")["LIVING"]
    plain = ask(folder, "Zone Infiltration Mass Flow Rate")["LIVING"] + mechanical
    active = ask(folder, "Zone Ideal Loads Heat Recovery Active Time")["LIVING IDEAL"]

    case = read(folder, LIVING)

    share = (plain - case.exchange_kg_s) / mechanical
    assert share[active > 0.99].mean() == pytest.approx(0.6, abs=0.01)
    assert np.all(share[active == 0.0] == 0.0)
    assert "the latent effectiveness of the heat recovery is fitted to the run's own outputs" in (
        case.notes
    )
    # Told, as a unit that runs on would need less: the engine's own hours of rest.
    rests_h = np.sum(1.0 - active[ask(folder, "Site Outdoor Air Drybulb Temperature")[
        "Environment"] < 15.0])  # fmt: skip
    assert any(f"rests in {rests_h:.0f} h colder than 15 °C" in note for note in case.notes)
    given = Simulation(results="eplusout.sql", zones=LIVING, latent_effectiveness=0.6)
    np.testing.assert_allclose(
        given.case(weather=None, folder=folder).exchange_kg_s, case.exchange_kg_s, rtol=0.01
    )


def test_a_core_that_defrosts_recovers_less(run_engine, ask):
    # The model says 0.55 and defrosts below -12 °C.
    folder = run_engine("aspen_house", WINTER, CHICAGO)
    mechanical = ask(folder, "Zone Mechanical Ventilation Mass Flow Rate")["CEDAR"]
    plain = ask(folder, "Zone Infiltration Mass Flow Rate")["CEDAR"] + mechanical
    defrost = ask(folder, "Heat Exchanger Defrost Time Fraction")["CORE"]

    case = read(folder, CEDAR)

    share = (plain - case.exchange_kg_s) / mechanical
    assert share[defrost == 0.0].max() == pytest.approx(0.55, abs=0.02)
    assert np.count_nonzero(defrost) > 20
    np.testing.assert_allclose(
        share[defrost > 0.0], share.max() * (1.0 - defrost[defrost > 0.0]), rtol=1e-6
    )


def test_the_source_of_mixed_air_is_read_from_the_model_s_own_list(run_engine, tmp_path):
    # Three zones: the loft's air comes from the living rooms alone. Without the list all other
    # zones are taken alike, and the note says so.
    folder = run_engine("hazel_house", WINTER, CHICAGO)
    told = read(folder, ["LOFT"])
    shutil.copy(folder / "eplusout.sql", tmp_path)
    with closing(sqlite3.connect(tmp_path / "eplusout.sql")) as database:
        database.execute(
            "UPDATE Strings SET Value = 'Something Else' "
            "WHERE Value = 'Mixing Airflow Stats Nominal'"
        )
        database.commit()

    guessed = read(tmp_path, ["LOFT"])

    assert not any("all are taken alike" in note for note in told.notes)
    assert any("all are taken alike" in note for note in guessed.notes)
    assert quality(told).w_rmse_kg_kg < quality(guessed).w_rmse_kg_kg


def test_zones_that_do_not_share_their_air_are_joined_with_a_warning(run_engine):
    folder = run_engine("fern_house", WINTER, CHICAGO)

    (note,) = (n for n in read(folder, ALL).notes if n.startswith("the join is doubtful"))

    assert "LIVING and BASEMENT differ by" in note
    assert note.endswith("name those to humidify as zones, of LIVING, BASEMENT")
    assert not any("doubtful" in n for n in read(folder, LIVING).notes)


def test_a_furnace_of_the_run_s_size_runs_as_long_as_the_run_s_own(run_engine, ask):
    folder = run_engine("alder_house", WINTER, CHICAGO)
    runtime = ask(folder, "Heating Coil Runtime Fraction")["BURNER"]
    plant = {"capacity_kw": 16.0, "airflow_l_s": 500.0}

    case = Simulation(results="eplusout.sql", heating=plant).case(weather=None, folder=folder)

    np.testing.assert_allclose(case.air_system.heat_frac, runtime, atol=1e-3)
    # Outdoor air is a part of it that the zone's own heat does not have.
    assert case.heating_w.mean() < 0.95 * 16e3 * runtime.mean()


@pytest.mark.parametrize("house", ["spruce_house", "rowan_house"])
def test_three_houses_exchange_three_times_the_air_of_one(run_engine, house):
    """The engine counts the system's outdoor air for all three, all other air for one."""
    one, three = (
        read(run_engine(house, f"free + of February{times}", CHICAGO), ALL)
        for times in ("", " + three of each zone")
    )

    # The same air at the same states: what is left is how the engine spreads sizes over three.
    assert three.exchange_kg_s == pytest.approx(3.0 * one.exchange_kg_s, rel=1e-3)
    assert three.gains_kg_s == pytest.approx(3.0 * one.gains_kg_s, rel=1e-3, abs=1e-9)
    assert three.dry_air_kg == pytest.approx(3.0 * one.dry_air_kg, rel=1e-6)
    assert quality(three).w_rmse_kg_kg == pytest.approx(quality(one).w_rmse_kg_kg, rel=0.02)
