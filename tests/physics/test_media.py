"""Pad media: published correlations and measurements, limits, and the rating point met again."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dewmargin.errors import OutOfRangeError
from dewmargin.physics import air, media, pad

W_ROOM = 0.00433678804789151  # 20 °C, 30 %
SEA_LEVEL_PA = 101_325.0

# Direct evaporative coolers, rigid media: EnergyPlus Engineering Reference (the polynomial; its
# source states 70 % at 3 m/s for 0.17382 m). Values of the polynomial, computed apart from the
# package for this project, three decimals.
EFFECTIVENESS = {
    0.05: (0.740, 0.654, 0.580, 0.517, 0.464, 0.422),
    0.10: (0.798, 0.729, 0.671, 0.622, 0.582, 0.549),
    0.15: (0.847, 0.793, 0.748, 0.711, 0.681, 0.656),
    0.20: (0.890, 0.847, 0.812, 0.785, 0.763, 0.744),
}


@pytest.mark.parametrize("depth_m", EFFECTIVENESS)
def test_rigid_media_saturate_as_the_published_polynomial(depth_m: float) -> None:
    velocity = np.array([0.5, 1.0, 1.5, 2.0, 2.5, 3.0])

    got = media.rigid_media_effectiveness(velocity, depth_m=depth_m)

    # One place was rounded the other way there (0.10 m, 3 m/s).
    np.testing.assert_allclose(got, EFFECTIVENESS[depth_m], atol=1.1e-3)


def test_rigid_media_of_the_source_s_default_depth_saturate_by_seventy_per_cent() -> None:
    got = media.rigid_media_effectiveness(np.array([3.0]), depth_m=0.17382)

    assert got[0] == pytest.approx(0.700, abs=0.001)


def test_rigid_media_agree_with_greenhouse_pads_that_were_measured() -> None:
    """Franco et al., cellulose pads of greenhouses, 1 to 1.5 m/s: 64 to 70 % (abstract).

    Depths differ; 0.08 is how far pads of one kind scatter.
    """
    got = media.rigid_media_effectiveness(np.array([1.0, 1.5]), depth_m=0.10)

    np.testing.assert_allclose(got, [0.70, 0.64], atol=0.08)


@pytest.mark.parametrize(("velocity", "measured"), [(1.0, 1.8), (1.5, 2.62)])
def test_evaporation_of_a_measured_pad_is_what_its_air_gives_up(velocity, measured) -> None:
    """Franco et al.: 1.8 and 2.62 kg/(h m²) for each kelvin that the air is cooled.

    Air gives up rho v c_p; evaporation takes h_fg: 1.74 and 2.61, within the 6 % of their air's
    unknown density.
    """
    t = np.array([30.0])
    w = air.humidity_ratio_at_rh(t, np.array([0.4]), np.array([SEA_LEVEL_PA]))
    flow = velocity * air.dry_air_density(t, w, np.array([SEA_LEVEL_PA]))
    state = pad.evaporate(
        airflow_kg_s=flow,
        t_in_c=t,
        w_in_kg_kg=w,
        p_pa=SEA_LEVEL_PA,
        feed_kg_s=0.25,
        t_feed_c=pad.thermodynamic_wet_bulb(t, w, np.array([SEA_LEVEL_PA])),
        effectiveness=0.67,
    )

    for_each_k = 3600.0 * state.evaporation_kg_s / (t - state.t_air_out_c)
    assert for_each_k[0] == pytest.approx(measured, rel=0.06)


@pytest.mark.parametrize("depth_m", [0.02, 0.5])
def test_a_depth_that_was_not_fitted_is_refused(depth_m: float) -> None:
    with pytest.raises(OutOfRangeError, match=r"depth_m: must be between 0\.04 and 0\.31"):
        media.rigid_media_effectiveness(np.array([1.0]), depth_m=depth_m)


# Modelica Buildings Library, record of a direct evaporative cooler's pad: 95.545 Pa/m, 1.9259.
@pytest.mark.parametrize(
    ("depth_m", "expected"),
    [
        (0.05, (4.78, 10.43, 18.15)),
        (0.10, (9.55, 20.86, 36.3)),
        (0.15, (14.33, 31.29, 54.46)),
    ],
)
def test_pressure_drop_of_rigid_media(depth_m: float, expected: tuple) -> None:
    got = media.rigid_media_pressure_drop(np.array([1.0, 1.5, 2.0]), depth_m=depth_m)

    np.testing.assert_allclose(got, expected, rtol=0.005)


# 150 mm duct, pad of 50 mm and 0.075 m², sum of losses 2.8: computed for this project from the
# stated equation, apart from the package.
@pytest.mark.parametrize(
    ("pressure_pa", "with_pad", "without_pad_at_45"),
    [
        (25.0, (0.0760, 0.0725, 0.0713), 0.0786),
        (50.0, (0.1077, 0.1028, 0.1010), 0.1111),
        (75.0, (0.1320, 0.1260, 0.1238), 0.1361),
        (100.0, (0.1525, 0.1456, 0.1431), 0.1571),
        (125.0, (0.1706, 0.1629, 0.1601), 0.1757),
    ],
)
def test_bypass_flow_of_a_pressure(pressure_pa, with_pad, without_pad_at_45) -> None:
    t = np.array([20.0, 45.0, 55.0])
    w, p = np.full(3, W_ROOM), np.full(3, SEA_LEVEL_PA)
    density = air.dry_air_density(t, w, p) * (1.0 + W_ROOM)
    duct = {"duct_area_m2": 0.01767, "loss_coefficient": 2.8}

    got = media.bypass_flow(pressure_pa, density, **duct, media=(0.05, 0.075))
    bare = media.bypass_flow(pressure_pa, density, **duct, media=None)

    np.testing.assert_allclose(got, with_pad, rtol=0.01)
    assert bare[1] == pytest.approx(without_pad_at_45, rel=0.01)


@given(
    pressure=st.floats(1.0, 500.0),
    depth=st.floats(0.04, 0.31),
    face=st.floats(0.01, 1.0),
    loss=st.floats(0.5, 20.0),
)
def test_the_flow_uses_up_the_pressure(pressure, depth, face, loss) -> None:
    density, area = np.array([1.1]), 0.0177

    flow = media.bypass_flow(
        pressure, density, duct_area_m2=area, loss_coefficient=loss, media=(depth, face)
    )

    duct = 0.5 * density * (flow / (density * area)) ** 2 * loss
    of_pad = media.rigid_media_pressure_drop(flow / (density * face), depth_m=depth)
    np.testing.assert_allclose(duct + of_pad, pressure, rtol=1e-9)


def test_effectiveness_falls_with_the_flow_by_its_exponent() -> None:
    known = {"ntu": 1.05, "at_airflow_kg_s": 0.09, "exponent": 0.8}
    got = media.effectiveness_at_flow(np.array([0.045, 0.09, 0.18, 1e-12]), **known)

    # By hand: NTU·2^0.2 and NTU/2^0.2 at half and twice the flow; next to none saturates.
    hand = 1.0 - np.exp(-1.05 * np.array([2.0**0.2, 1.0, 2.0**-0.2]))
    np.testing.assert_allclose(got[:3], hand, rtol=1e-12)
    assert got[3] == pytest.approx(1.0)


def test_an_exponent_of_one_makes_no_difference_of_flow() -> None:
    got = media.effectiveness_at_flow(
        np.array([0.01, 1.0]), ntu=1.0, at_airflow_kg_s=0.1, exponent=1.0
    )

    np.testing.assert_allclose(got, 1.0 - np.exp(-1.0))


def test_half_the_feed_wets_half_the_pad_and_more_than_full_no_more_than_all() -> None:
    feed = np.array([0.0, 30.0, 60.0, 90.0])

    got = media.wetted_frac(feed, full_feed_kg_h=60.0, exponent=1.0)

    np.testing.assert_allclose(got, [0.0, 0.5, 1.0, 1.0])


# Capacity at a plenum temperature over that at 48.9 °C, feed near wet bulb: the ratio of
# W* - W; computed with psychrolib's relations for this project. Rows: the room's air.
PLENUM_C = (20.0, 25.0, 30.0, 35.0, 40.0, 43.3, 45.0, 48.9, 50.0, 55.0, 60.0)
RATIOS = [
    pytest.param(
        20.0,
        0.30,
        (0.327, 0.432, 0.542, 0.657, 0.777, 0.858, 0.901, 1.0, 1.028, 1.159, 1.293),
        id="20 °C, 30 %",
    ),
    pytest.param(
        22.0,
        0.35,
        (0.285, 0.398, 0.516, 0.638, 0.765, 0.851, 0.896, 1.0, 1.030, 1.167, 1.307),
        id="22 °C, 35 %",
    ),
    pytest.param(
        20.0,
        0.20,
        (0.368, 0.466, 0.569, 0.677, 0.790, 0.866, 0.906, 1.0, 1.027, 1.151, 1.278),
        id="20 °C, 20 %",
    ),
]


@pytest.mark.parametrize(("room_c", "rh", "ratios"), RATIOS)
def test_a_rating_converts_to_other_plenums(room_c, rh, ratios) -> None:
    p = np.full(1, SEA_LEVEL_PA)
    w = float(air.humidity_ratio_at_rh(np.array([room_c]), np.array([rh]), p)[0])

    def at(t_c: float, saturated: float) -> float:
        wet_bulb = pad.thermodynamic_wet_bulb(np.array([t_c]), np.array([w]), p)
        state = pad.evaporate(
            airflow_kg_s=saturated,
            effectiveness=1.0,
            t_in_c=t_c,
            w_in_kg_kg=w,
            p_pa=SEA_LEVEL_PA,
            feed_kg_s=25.0 / 3600.0,
            t_feed_c=wet_bulb,
        )
        return 3600.0 * float(state.evaporation_kg_s[0])

    wet_bulb = pad.thermodynamic_wet_bulb(np.array([48.9]), np.array([w]), p)
    saturated = media.saturated_flow_of_rating(
        capacity_kg_h=2.0,
        t_in_c=48.9,
        w_in_kg_kg=w,
        p_pa=SEA_LEVEL_PA,
        feed_kg_h=25.0,
        t_feed_c=float(wet_bulb[0]),
    )

    np.testing.assert_allclose([at(t, saturated) / 2.0 for t in PLENUM_C], ratios, atol=0.0035)


@given(
    effectiveness=st.floats(0.2, 0.95),
    airflow=st.floats(0.03, 0.3),
    t_in_c=st.floats(20.0, 60.0),
    feed_kg_h=st.floats(10.0, 40.0),
    t_feed_c=st.floats(15.0, 60.0),
    contact=st.floats(0.5, 1.0),
)
def test_a_rating_is_met_again_at_its_own_point(
    effectiveness, airflow, t_in_c, feed_kg_h, t_feed_c, contact
) -> None:
    point = {
        "t_in_c": t_in_c,
        "w_in_kg_kg": W_ROOM,
        "p_pa": SEA_LEVEL_PA,
        "t_feed_c": t_feed_c,
        "contact_frac": contact,
    }
    state = pad.evaporate(
        airflow_kg_s=airflow, effectiveness=effectiveness, feed_kg_s=feed_kg_h / 3600.0, **point
    )
    rated = 3600.0 * float(state.evaporation_kg_s)
    if rated > 0.95 * contact * feed_kg_h:
        return  # near dryness many airflows evaporate the same

    found = media.saturated_flow_of_rating(capacity_kg_h=rated, feed_kg_h=feed_kg_h, **point)

    assert found == pytest.approx(effectiveness * airflow, rel=1e-6)


def test_a_rating_beyond_its_feed_is_refused() -> None:
    with pytest.raises(OutOfRangeError) as caught:
        media.saturated_flow_of_rating(
            capacity_kg_h=6.0,
            t_in_c=48.9,
            w_in_kg_kg=W_ROOM,
            p_pa=SEA_LEVEL_PA,
            feed_kg_h=5.0,
            t_feed_c=20.0,
        )

    assert str(caught.value) == (
        "rating: capacity_kg_h: no airflow evaporates 6 kg/h of 5 kg/h of feed that wets the pad, "
        "in air of 48.9 °C"
    )
