"""Our layers against the engine's glass: inside face temperatures, hour by hour at night."""

from __future__ import annotations

import numpy as np
import pytest

from dewmargin.physics import glazing
from dewmargin.scenario.surface import SurfaceInput
from dewmargin.space.simulation import Simulation
from dewmargin.weather.epw import read_epw

pytestmark = [pytest.mark.engine, pytest.mark.slow]

CHICAGO, GOLDEN = "USA_IL_Chicago", "USA_CO_Golden"
CLEAR = {"thickness_mm": 3.0}
LOW_E = {"thickness_mm": 3.0, "outer_emissivity": 0.10}
GAP = {"width_mm": 12.7}


# Measured bias and spread, outside of the weather: double clear +0.06 and 0.47 K in Chicago, -0.14
# and 0.51 K in Golden; double low-e +0.40 and 0.58 K, +0.15 and 0.58 K; single, see below. What
# is left is the room: its surfaces were 0.7 to 1.3 K colder than its air on average, which we take
# them as warm as, and radiation is two thirds of the film; low-e glass, the warmest, is moved most.
# The wind outside weighs less: the engine's convection was 8.5 W/(m2 K) in Chicago and 24 in
# Golden, ours 12 and 11.
@pytest.mark.parametrize("weather", [CHICAGO, GOLDEN])
@pytest.mark.parametrize(
    ("variant", "window", "layers"),
    [
        pytest.param("weather told", "WIN S2", {"panes": [CLEAR] * 2, "gaps": [GAP]}, id="clear"),
        pytest.param(
            "weather told + low-e",
            "WIN S2",
            {"panes": [CLEAR, LOW_E], "gaps": [GAP]},
            id="low-e",
        ),
    ],
)
def test_layers_are_as_warm_as_the_engine_s_glass_at_night(
    run_engine, weather_folder, variant, window, layers, weather
):
    folder = run_engine("cedar_house", variant, weather)
    case = Simulation(results="eplusout.sql").case(weather=None, folder=folder)
    (epw,) = weather_folder.glob(f"{weather}*.epw")
    dark = read_epw(epw).global_horizontal_w_m2 == 0.0
    cold = dark & (case.t_air_c - case.t_out_c > 10.0)
    assert cold.sum() > 2000

    ours = SurfaceInput(name="ours", layers=layers, outside="weather").year(case, "surfaces[0]")

    engine = case.simulated_surfaces[f"{window} glass"].t_surface_c
    gap_k = (ours.t_surface_c - engine)[cold]
    assert abs(gap_k.mean()) < 0.5
    assert gap_k.std() < 0.8
    # Hour by hour it follows the engine: of 12 to 16 K that the glass moves.
    assert np.corrcoef(ours.t_surface_c[cold], engine[cold])[0, 1] > 0.97
    # It is not the index of a book that does this: the other glass is 2 K off or more.
    other = {"panes": [CLEAR, CLEAR if LOW_E in layers["panes"] else LOW_E], "gaps": [GAP]}
    wrong = SurfaceInput(name="other", layers=other, outside="weather").year(case, "surfaces[0]")
    assert abs((wrong.t_surface_c - engine)[cold].mean()) > 2.0


# Measured: -1.66 K in Chicago, -1.53 K in Golden, the wet side. Wind rules a single pane, which a
# film of 8 in the place of 26 W/(m2 K) warms by 7 K: in cold nights in Chicago the engine's
# convection was 6.4 W/(m2 K) at a wind of 1.9 m/s at the wall, ISO 6946 gives 11.6 for it.
@pytest.mark.parametrize("weather", [CHICAGO, GOLDEN])
def test_a_single_pane_is_a_little_colder_than_the_engine_s(run_engine, weather_folder, weather):
    folder = run_engine("cedar_house", "weather told", weather)
    case = Simulation(results="eplusout.sql").case(weather=None, folder=folder)
    (epw,) = weather_folder.glob(f"{weather}*.epw")
    cold = (read_epw(epw).global_horizontal_w_m2 == 0.0) & (case.t_air_c - case.t_out_c > 10.0)
    layers = {"panes": [CLEAR]}

    ours = SurfaceInput(name="ours", layers=layers, outside="weather").year(case, "surfaces[0]")

    gap_k = (ours.t_surface_c - case.simulated_surfaces["WIN N1 glass"].t_surface_c)[cold]
    assert -2.0 < gap_k.mean() < 0.5
    assert gap_k.std() < 1.0


def test_the_engine_s_wind_and_sky_are_those_of_its_weather_file(run_engine, weather_folder):
    folder = run_engine("cedar_house", "weather told", CHICAGO)
    (epw,) = weather_folder.glob(f"{CHICAGO}*.epw")
    weather = read_epw(epw)

    case = Simulation(results="eplusout.sql").case(weather=None, folder=folder)

    # The engine's hourly mean lies between the row and the one before.
    assert case.wind_m_s.mean() == pytest.approx(weather.wind_m_s.mean(), rel=0.01)
    assert np.corrcoef(case.wind_m_s, weather.wind_m_s)[0, 1] > 0.95
    sky_c = glazing.sky_temperature(weather.infrared_w_m2)
    assert case.t_sky_c.mean() == pytest.approx(sky_c.mean(), abs=0.1)
    assert np.corrcoef(case.t_sky_c, sky_c)[0, 1] > 0.98


def test_faces_of_a_run_are_known_by_construction(run_engine):
    folder = run_engine("cedar_house", "weather told", CHICAGO)
    case = Simulation(results="eplusout.sql").case(weather=None, folder=folder)

    double = SurfaceInput(name="any", construction="DoubleGl").year(case, "surfaces[0]")

    faces = case.simulated_surfaces.values()
    panes = [face.t_surface_c for face in faces if face.construction == "DOUBLEGL"]
    assert len(panes) == 5
    # 1e-9 K: where two panes are as cold to the last bits, either is taken.
    assert double.t_surface_c == pytest.approx(np.min(panes, axis=0), abs=1e-9)
    assert double.sensitivity == "resistant"
