"""Steam and droplets: beside CoolProp, the engine's reference state, psychrolib, and laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dewmargin.physics import air, pad, steam
from references import coolprop_oracle, psychrolib_oracle

P = 101_325.0
ONE = np.ones(1)


def coolprop_water(t_c: float, quality: float) -> float:
    """Return the enthalpy of saturated water or steam, liquid at 0 °C being zero. [J/kg]."""
    zero = coolprop_oracle.water("H", "T", 273.16, "Q", 0)
    return coolprop_oracle.water("H", "T", 273.15 + t_c, "Q", quality) - zero


def test_steam_and_boiling_water_hold_what_coolprop_says() -> None:
    assert pytest.approx(coolprop_water(100.0, 1), rel=1e-4) == steam.STEAM_J_KG
    assert pytest.approx(coolprop_water(100.0, 0), rel=3e-4) == steam.BOILING_WATER_J_KG


@pytest.mark.parametrize("t_feed_c", [5.0, 10.0, 15.0, 60.0])
def test_boiling_takes_what_coolprop_says(t_feed_c: float) -> None:
    # 0.2 %: we take 4186 J/(kg K) for all water; it is 4192 at 10 °C and 4185 at 60 °C.
    expected = coolprop_water(100.0, 1) - coolprop_water(t_feed_c, 0)

    got = float(steam.boiling_heat(np.array([t_feed_c]), drain_frac=0.0)[0])

    assert got == pytest.approx(expected, rel=0.002)


# kWh for each kilogram of steam from 10 °C, by the share of the feed that is drained: computed with
# CoolProp for this project.
@pytest.mark.parametrize(
    ("drain", "kwh"),
    [(0.0, 0.7315), (0.05, 0.737), (0.1, 0.743), (0.2, 0.758), (0.3, 0.776), (0.5, 0.836)],
)
def test_what_drains_boiling_takes_heat_too(drain: float, kwh: float) -> None:
    got = float(steam.boiling_heat(np.array([10.0]), drain_frac=drain)[0]) / 3.6e6

    assert got == pytest.approx(kwh, rel=0.003)


def test_gas_at_82_per_cent_takes_0_906_kwh_for_a_kilogram() -> None:
    got = float(steam.boiling_heat(np.array([10.0]), drain_frac=0.1)[0]) / 3.6e6 / 0.82

    assert got == pytest.approx(0.906, rel=0.003)


def test_steam_hardly_warms_the_air_and_cold_droplets_cool_it_much() -> None:
    # 20 °C, 2, 4 and 6 g/kg more: computed for this project with CoolProp and an enthalpy balance;
    # the engine's steam (2 676 125 J/kg, EnergyPlus Engineering Reference) leads to 20.54 °C.
    t, w, more = 20.0 * np.ones(3), 0.004 * np.ones(3), np.array([0.002, 0.004, 0.006])

    by_steam = steam.mixed_temperature(t, w, more, steam.STEAM_J_KG) - 20.0
    by_spray = steam.mixed_temperature(t, w, more, 4186.0 * 10.0) - 20.0
    engine = steam.mixed_temperature(t[:1], w[:1], more[1:2], 2_676_125.0)

    np.testing.assert_allclose(by_steam, [0.27, 0.54, 0.80], atol=0.01)
    np.testing.assert_allclose(by_spray, [-4.9, -9.8, -14.6], rtol=0.01)
    assert engine[0] == pytest.approx(20.54, abs=0.01)


def test_air_that_steam_saturates_is_what_coolprop_calls_saturated() -> None:
    # Humid air of CoolProp is real: 0.5 % more vapour at saturation by the enhancement factor.
    w = steam.saturated_by(20.0 * ONE, 0.004 * ONE, P * ONE, steam.STEAM_J_KG)
    t = steam.mixed_temperature(20.0 * ONE, 0.004 * ONE, w - 0.004, steam.STEAM_J_KG)

    real = coolprop_oracle.humid_air("W", "T", 273.15 + float(t[0]), "P", P, "R", 1.0)

    assert w[0] == pytest.approx(real, rel=0.006)


def test_water_of_the_wet_bulb_saturates_at_the_wet_bulb() -> None:
    psychrolib = psychrolib_oracle.load()
    wet_bulb = psychrolib.GetTWetBulbFromHumRatio(35.0, 0.006, P)

    got = steam.saturated_by(35.0 * ONE, 0.006 * ONE, P * ONE, 4186.0 * wet_bulb)

    assert got[0] == pytest.approx(psychrolib.GetSatHumRatio(wet_bulb, P), rel=2e-4)


@given(
    t_c=st.floats(-5.0, 95.0),
    rh=st.floats(0.02, 0.98),
    p_pa=st.floats(70e3, 105e3),
    water=st.one_of(st.just(steam.STEAM_J_KG), st.floats(10e3, 350e3)),
)
def test_saturated_air_keeps_its_enthalpy_and_is_saturated(t_c, rh, p_pa, water) -> None:
    t, p = t_c * ONE, p_pa * ONE
    w = air.humidity_ratio(rh * air.saturation_pressure_over_water(t), p)

    got = steam.saturated_by(t, w, p, water)

    assert got[0] >= min(w[0], 5.5)
    if got[0] > 1.0:
        return  # hot and humid: more vapour than any humidifier gives, and hardly a saturation
    t_out = steam.mixed_temperature(t, w, got - w, water)
    at_t = air.humidity_ratio(air.saturation_pressure_over_water(t_out), p)
    # Steam in hot air saturates it near 80 °C, where 1e-10 K of Newton's last step are 1e-7 of W.
    np.testing.assert_allclose(got, at_t, rtol=1e-6)


def test_steam_does_not_saturate_air_that_is_hot_and_humid() -> None:
    t, p = 80.0 * ONE, 80e3 * ONE
    w = air.humidity_ratio(0.5 * air.saturation_pressure_over_water(t), p)

    got = steam.saturated_by(t, w, p, steam.STEAM_J_KG)

    # Vapour of nine tenths of the pressure: 0.621945 · 9.
    assert got[0] == pytest.approx(5.597, abs=0.001)


def test_droplets_live_longer_by_the_square_of_their_size() -> None:
    # 0.12, 0.46 and 2.9 s for 10, 20 and 50 µm at 20 °C and 30 %, 1.9 times as long at 60 %:
    # computed for this project from the d² law, whose model error is 20 %.
    t, p = 20.0 * ONE, P * ONE
    dry, humid = (air.humidity_ratio_at_rh(t, rh * ONE, p) for rh in (0.30, 0.60))

    lives = [float(steam.droplet_life_s(d, t, dry, p)[0]) for d in (10.0, 20.0, 50.0)]

    assert lives == pytest.approx([0.12, 0.46, 2.9], rel=0.2)
    assert lives[2] / lives[0] == pytest.approx(25.0)
    longer = float(steam.droplet_life_s(10.0, t, humid, p)[0]) / lives[0]
    assert longer == pytest.approx(1.9, rel=0.05)


def test_droplets_in_saturated_air_never_evaporate() -> None:
    t, p = 20.0 * ONE, P * ONE
    w = air.saturated_humidity_ratio(t, p)

    assert pad.thermodynamic_wet_bulb(t, w, p) == pytest.approx([20.0], abs=1e-6)
    assert np.isinf(steam.droplet_life_s(10.0, t, w + 1e-9, p)[0])
