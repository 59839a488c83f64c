"""The reader on fresh runs of the engine, against plain queries of the same files."""

from __future__ import annotations

import subprocess
import time
from collections import deque
from pathlib import Path

import numpy as np
import pytest

from dewmargin.errors import InputError
from dewmargin.space.simulation import Simulation
from dewmargin.weather.epw import read_epw
from engine import houses

pytestmark = [pytest.mark.engine, pytest.mark.slow]

CHICAGO = "USA_IL_Chicago"
DEMO_WEATHER = Path(__file__).parents[2] / "weather" / "larch_valley.epw"


def read(folder, **keys: object):
    return Simulation(results="eplusout.sql", **keys).case(weather=None, folder=folder)


@pytest.mark.parametrize("weather", ["USA_IL_Chicago", "USA_CO_Golden"])
def test_a_run_reads_as_a_plain_query_gives_it(run_engine, ask, weather):
    # Two design days precede the run period in this file; neither may show.
    folder = run_engine("cedar_house", "free", weather)

    case = read(folder)

    site, house = "Environment", "CEDAR"
    pairs = [
        (case.t_out_c, "Site Outdoor Air Drybulb Temperature", site),
        (case.w_out_kg_kg, "Site Outdoor Air Humidity Ratio", site),
        (case.p_pa, "Site Outdoor Air Barometric Pressure", site),
        (case.t_air_c, "Zone Mean Air Temperature", house),
        (case.w_base_kg_kg, "Zone Mean Air Humidity Ratio", house),
        (case.exchange_kg_s, "Zone Infiltration Mass Flow Rate", house),
        (case.heating_w, "Zone Ideal Loads Zone Sensible Heating Rate", "CEDAR IDEAL"),
        (
            case.simulated_surfaces["WIN N1 glass"].t_surface_c,
            "Surface Inside Face Temperature",
            "WIN N1",
        ),
        (
            case.simulated_surfaces["WIN N1 frame"].t_surface_c,
            "Surface Window Frame Inside Temperature",
            "WIN N1",
        ),
    ]
    # Averages over a single zone may round in the last digit.
    for got, name, key in pairs:
        np.testing.assert_allclose(got, ask(folder, name)[key], rtol=1e-12, err_msg=name)
    assert case.n_hours == 8760
    assert case.wraps
    assert str(case.interval_start[0]) == "2017-01-01T00:00:00"


def test_a_run_reported_every_ten_minutes_has_the_hourly_run_s_means(run_engine):
    hourly = read(run_engine("cedar_house", "free", "USA_IL_Chicago"))

    fine = read(run_engine("cedar_house", "free, every ten minutes", "USA_IL_Chicago"))

    assert fine.steps_per_hour == 6
    for name in ("t_air_c", "w_base_kg_kg", "exchange_kg_s", "t_out_c", "gains_kg_s"):
        mean = getattr(fine, name).reshape(-1, 6).mean(axis=1)
        # Both are the same run; the engine averages its HVAC steps, of which there may be several
        # in ten minutes, so the flows differ by rounding only. Gains are divided by an enthalpy at
        # ten-minute instead of hourly room temperatures: 5 K within the hour are 0.4 %.
        tolerance = 4e-3 if name == "gains_kg_s" else 1e-9
        np.testing.assert_allclose(mean, getattr(hourly, name), rtol=tolerance, err_msg=name)


def test_outdoor_air_through_the_system_is_no_mechanical_cooling(run_engine):
    # With the coil reported, hours of cooling are known. Without it, the zone's sensible cooling
    # contains cold outdoor air let in by the system, here in 55 % of all hours.
    weather = "USA_IL_Chicago"
    told = read(run_engine("spruce_house", "free", weather), zones=["living"])

    guessed = read(run_engine("spruce_house", "free, coil not reported", weather), zones=["living"])

    # Hourly means cannot tell a few minutes of cooling in an hour: 37 of 8760 hours were measured.
    assert np.count_nonzero(told.cooling) > 1000
    assert np.mean(told.cooling != guessed.cooling) < 0.01


def test_a_humidistat_hangs_in_the_zone_that_is_named(run_engine, ask):
    folder = run_engine("spruce_house", "free", "USA_IL_Chicago")
    t, w = ask(folder, "Zone Mean Air Temperature"), ask(folder, "Zone Mean Air Humidity Ratio")

    mean = read(folder)
    case = read(folder, sensor_zone="basement")

    np.testing.assert_array_equal(case.sensor.t_air_c, t["BASEMENT"])
    np.testing.assert_allclose(
        case.w_base_kg_kg + case.sensor.w_offset_kg_kg, w["BASEMENT"], rtol=1e-12
    )
    assert mean.sensor is None
    assert "the humidistat measures the mean of the zones; sensor_zone names one" in mean.notes
    assert (
        "the humidistat measures in BASEMENT; relative humidity in the tables is the space's mean"
    ) in case.notes


@pytest.mark.parametrize(
    ("keys", "error"),
    [
        pytest.param(
            {"zones": ["living"], "sensor_zone": "basement"},
            "sensor_zone: BASEMENT is not part of the space (zones of the space: LIVING)",
            id="a sensor elsewhere",
        ),
        pytest.param(
            {"sensor_zone": "attic"},
            "sensor_zone: has no zone 'attic' (there is: LIVING, BASEMENT)",
            id="a sensor nowhere",
        ),
        pytest.param(
            {"zones": ["living"], "humidified_alike": ["living"]},
            "humidified_alike: LIVING is part of the space itself (zones names the space)",
            id="a zone beside itself",
        ),
        pytest.param(
            {"zones": ["living"], "humidified_alike": ["basement"], "baseline": "humidified"},
            "humidified_alike: needs a run without humidifier, whose zones tell their own humidity",
            id="held already",
        ),
    ],
)
def test_a_zone_in_the_wrong_place_is_refused(run_engine, keys, error):
    folder = run_engine("spruce_house", "free", "USA_IL_Chicago")

    with pytest.raises(InputError) as caught:
        read(folder, **keys)

    assert str(caught.value) == f"{folder / 'eplusout.sql'}: {error}"


def test_two_zones_are_joined_by_volume_and_by_mass(run_engine, ask):
    folder = run_engine("spruce_house", "free", "USA_IL_Chicago")
    t, w = ask(folder, "Zone Mean Air Temperature"), ask(folder, "Zone Mean Air Humidity Ratio")
    living, basement = 12 * 9 * 2.6, 12 * 9 * 2.3

    case = read(folder)

    mean = (living * t["LIVING"] + basement * t["BASEMENT"]) / (living + basement)
    np.testing.assert_allclose(case.t_air_c, mean, rtol=1e-12)
    # Between the two, and never outside, whatever the weights.
    low, high = np.minimum(w["LIVING"], w["BASEMENT"]), np.maximum(w["LIVING"], w["BASEMENT"])
    assert np.all((case.w_base_kg_kg >= low - 1e-12) & (case.w_base_kg_kg <= high + 1e-12))
    # A unit belongs to the zone whose name it begins with; the file does not tell.
    heat = ask(folder, "Zone Ideal Loads Zone Sensible Heating Rate")
    np.testing.assert_array_equal(read(folder, zones=["living"]).heating_w, heat["LIVING IDEAL"])
    np.testing.assert_allclose(case.heating_w, heat["LIVING IDEAL"] + heat["BASEMENT IDEAL"])
    offset = case.simulated_surfaces["FRONT glass"].w_offset_kg_kg
    np.testing.assert_allclose(case.w_base_kg_kg + offset, w["LIVING"], rtol=1e-12)
    # Mass of air in 529 m3 at about 1.17 kg/m3, times the model's moisture capacity multiplier 4.
    assert case.dry_air_kg == pytest.approx(4 * (living + basement) * 1.17, rel=0.02)


def test_february_alone_is_read_as_a_part_of_a_year(run_engine, ask):
    folder = run_engine("cedar_house", "free + of February", CHICAGO)

    case = read(folder)

    assert not case.wraps
    assert (str(case.interval_start[0]), case.n_hours) == ("2017-02-01T00:00:00", 28 * 24)
    assert case.notes[0] == (
        "partial run: 28 days, from 1 Feb hour 1 to 28 Feb hour 24; "
        "it starts at the run's own humidity"
    )
    # From its second week on it is the February of the whole year, but for what the slab still
    # keeps of January: a tenth of a kelvin changes the leakage by some tenths of a per cent.
    year = read(run_engine("cedar_house", "free", CHICAGO))
    february = slice((31 + 7) * 24, (31 + 28) * 24)
    np.testing.assert_array_equal(case.t_out_c[7 * 24 :], year.t_out_c[february])
    np.testing.assert_allclose(case.w_base_kg_kg[7 * 24 :], year.w_base_kg_kg[february], rtol=5e-3)


def test_one_of_two_run_periods_behind_two_design_days_is_chosen_by_name(run_engine, ask):
    folder = run_engine("cedar_house", "free + of February + and of two weeks in April", CHICAGO)

    with pytest.raises(InputError) as caught:
        read(folder)

    assert str(caught.value) == (
        f"{folder / 'eplusout.sql'}: holds 2 run periods: ANNUAL, SPRING "
        '(choose one: environment = "ANNUAL" in the scenario, or --environment)'
    )
    both = ask(folder, "Zone Mean Air Humidity Ratio")["CEDAR"]
    winter, spring = read(folder, environment="annual"), read(folder, environment="Spring")
    np.testing.assert_allclose(winter.w_base_kg_kg, both[: 28 * 24], rtol=1e-12)
    np.testing.assert_allclose(spring.w_base_kg_kg, both[28 * 24 :], rtol=1e-12)
    assert str(spring.interval_start[0]) == "2017-04-01T00:00:00"
    assert spring.n_hours == 14 * 24


def test_a_run_killed_half_way_is_refused(tmp_path, weather_folder):
    (epw,) = weather_folder.glob(f"{CHICAGO}*.epw")
    (tmp_path / "in.idf").write_text(houses.HOUSES["cedar_house"].text(), encoding="utf-8")
    engine = weather_folder.parent / "energyplus"
    command = [str(engine), "-w", str(epw), "-d", str(tmp_path), str(tmp_path / "in.idf")]
    results = tmp_path / "eplusout.sql"
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as run:
        # A whole year has 14 MB: at 3 MB it is in spring.
        while run.poll() is None and not (results.exists() and results.stat().st_size > 3e6):
            time.sleep(0.005)
        run.kill()

    with pytest.raises(InputError) as caught:
        read(tmp_path)

    assert "is unfinished: " in str(caught.value)
    assert "(wait for the end of the simulation, or run it again)" in str(caught.value)


@pytest.mark.parametrize(
    "variant",
    [
        pytest.param("free", id="hourly, six engine steps"),
        pytest.param("free + four steps an hour", id="hourly, four engine steps"),
        pytest.param("free + one step an hour", id="hourly, one engine step"),
        pytest.param("free, every ten minutes", id="every ten minutes"),
    ],
)
def test_the_simulated_weather_is_known_again_and_no_other(run_engine, weather_folder, variant):
    folder = run_engine("cedar_house", f"{variant} + of February", CHICAGO)
    (chicago,) = weather_folder.glob(f"{CHICAGO}*.epw")
    (golden,) = weather_folder.glob("USA_CO_Golden*.epw")
    simulation = Simulation(results="eplusout.sql")

    case = simulation.case(weather=read_epw(chicago), folder=folder)

    assert not case.wraps
    with pytest.raises(InputError, match=r"is not the weather of the run .* dry bulb differs in"):
        simulation.case(weather=read_epw(golden), folder=folder)
    changed = tmp_weather(folder, chicago, shift=1)
    with pytest.raises(InputError, match=r"\(the run is one hour ahead of the file"):
        simulation.case(weather=read_epw(changed), folder=folder)
    changed = tmp_weather(folder, chicago, rh_change=-3)
    with pytest.raises(InputError, match=r"humidity ratio differs in .*temperatures agree"):
        simulation.case(weather=read_epw(changed), folder=folder)


@pytest.mark.parametrize("often", ["free", "free, every ten minutes"], ids=["hourly", "each step"])
def test_simulated_quarter_hours_are_known_again_and_no_others(tmp_path, often):
    quarters = quarter_hourly(tmp_path)
    folder = tmp_path / "run"
    folder.mkdir()
    houses.simulate("cedar_house", f"{often} + of February + four steps an hour", quarters, folder)
    simulation = Simulation(results="eplusout.sql")

    case = simulation.case(weather=read_epw(quarters), folder=folder)

    # No note that anything was left unchecked.
    assert not [note for note in case.notes if "weather" in note]
    changed = tmp_weather(folder, quarters, shift=4)
    with pytest.raises(InputError, match=r"\(the run is one hour ahead of the file"):
        simulation.case(weather=read_epw(changed), folder=folder)
    changed = tmp_weather(folder, quarters, shift=1)
    with pytest.raises(InputError, match=r"dry bulb differs in .* \(name the weather file"):
        simulation.case(weather=read_epw(changed), folder=folder)


def quarter_hourly(folder: Path) -> Path:
    """Write the demo's weather with four records an hour, on straight lines between its own."""
    lines = DEMO_WEATHER.read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in lines[8:]]
    quarters = []
    for before, row in zip([rows[-1], *rows], rows, strict=False):
        for quarter in range(1, 5):
            cells = [*row[:4], str(15 * quarter), *row[5:]]
            for column in (6, 7, 8, 9, 21):  # dry bulb, dew point, humidity, pressure, wind
                a, b = float(before[column]), float(row[column])
                cells[column] = f"{a + (b - a) * quarter / 4:.2f}"
            quarters.append(",".join(cells))
    head = [*lines[:7], lines[7].replace("PERIODS,1,1", "PERIODS,1,4")]
    path = folder / "quarters.epw"
    path.write_text("\n".join(head + quarters) + "\n", encoding="utf-8")
    return path


def tmp_weather(folder: Path, epw: Path, *, shift: int = 0, rh_change: int = 0) -> Path:
    """Write a weather file whose values come later, or whose relative humidity is changed."""
    lines = epw.read_text(encoding="latin-1").splitlines()
    rows = [line.split(",") for line in lines[8:]]
    values = deque(row[6:] for row in rows)
    values.rotate(shift)
    for row, later in zip(rows, values, strict=True):
        row[6:] = later
        row[8] = str(max(int(float(row[8])) + rh_change, 1))
    changed = folder / f"shift {shift} rh {rh_change}.epw"
    text = "\n".join(lines[:8] + [",".join(row) for row in rows]) + "\n"
    changed.write_text(text, encoding="latin-1")
    return changed


def test_a_run_that_humidifies_is_refused_as_a_baseline(run_engine):
    folder = run_engine("cedar_house", "held at 40 %", "USA_IL_Chicago")

    with pytest.raises(InputError, match=r"is a run that humidifies already, 19\d\d kg"):
        read(folder)

    case = read(folder, baseline="humidified")
    assert not case.departure
    assert not case.w_base_kg_kg.any()


def test_the_demo_results_are_those_of_the_demo_model_in_the_demo_weather(tmp_path, weather_folder):
    root = Path(__file__).parents[2]
    model, weather = root / "scenarios/model/larch_house", root / "weather/larch_valley.epw"
    engine = weather_folder.parent / "energyplus"
    subprocess.run(
        [str(engine), "-w", str(weather), "-d", str(tmp_path), str(model.with_suffix(".idf"))],
        check=True,
        capture_output=True,
    )

    fresh = read(tmp_path)

    shipped = Simulation(results="larch_house.sql").case(weather=None, folder=model.parent)
    for name in ("t_out_c", "t_air_c", "w_base_kg_kg", "exchange_kg_s", "heating_w"):
        # The engine repeats itself to the last bits; other processors may round otherwise.
        np.testing.assert_allclose(
            getattr(shipped, name), getattr(fresh, name), rtol=1e-6, atol=1e-6, err_msg=name
        )
