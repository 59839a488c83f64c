"""Moist air against the handbook's tables, IAPWS, psychrolib and CoolProp."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import published
from dewmargin.physics import air
from references import coolprop_oracle, psychrolib_oracle

# The handbook claims 300 ppm for the Hyland-Wexler equations; against the newer IAPWS sublimation
# curve they are 324 ppm high at 230 K, hence 500 ppm over ice. The value at -60 °C is printed with
# three digits, so it may be 0.01 Pa off.
PRESSURE_TOLERANCE = {"liquid": 300e-6, "ice": 500e-6}


@pytest.mark.parametrize(
    "row",
    published.rows("saturation_pressure"),
    ids=lambda row: f"{row['source']}, {row['t_c']} °C",
)
def test_saturation_pressure_agrees_with(row: dict[str, str]) -> None:
    got = air.saturation_pressure(np.array([float(row["t_c"])]))

    printed_to = 0.01 if row["t_c"] == "-60" else 0.0
    assert got == pytest.approx(
        float(row["p_pa"]), rel=PRESSURE_TOLERANCE[row["phase"]], abs=printed_to
    )


@pytest.mark.parametrize(
    "row",
    published.rows("saturated_humidity_ratio"),
    ids=lambda row: f"HoF 2017 ch. 1 Table 2, {row['t_c']} °C",
)
def test_saturated_humidity_ratio_agrees_with(row: dict[str, str]) -> None:
    got = air.saturated_humidity_ratio(np.array([float(row["t_c"])]), np.array([101325.0]))

    # The table holds the enhancement factor, 1.0041 to 1.0054 at this pressure, and we do not: we
    # must lie below it, by no more than 0.6 %.
    assert float(row["w_kg_kg"]) * (1.0 - 0.006) <= got[0] < float(row["w_kg_kg"])


def test_handbook_example_1_40_c_dry_bulb_20_c_wet_bulb() -> None:
    # HoF 2017 ch. 1 Example 1, answers as quoted in the test-suite of psychrolib. Humidity ratio
    # from the wet bulb by eq. 33 (from memory), everything else by our functions.
    t_c, wet_c, p_pa = np.array([40.0]), np.array([20.0]), np.array([101325.0])
    w_wet = air.saturated_humidity_ratio(wet_c, p_pa)
    w = ((2501.0 - 2.326 * wet_c) * w_wet - 1.006 * (t_c - wet_c)) / (
        2501.0 + 1.86 * t_c - 4.186 * wet_c
    )

    assert w == pytest.approx(0.0065, abs=1e-4)
    assert air.relative_humidity(t_c, w, p_pa) == pytest.approx(0.14, abs=0.01)
    assert air.enthalpy(t_c, w) == pytest.approx(56.7e3, abs=100.0)
    assert 1.0 / air.dry_air_density(t_c, w, p_pa) == pytest.approx(0.896, rel=0.01)


@pytest.mark.parametrize(
    "row",
    published.rows("standard_pressure"),
    ids=lambda row: f"{row['source']}, {row['elevation_m']} m",
)
def test_standard_pressure_agrees_with(row: dict[str, str]) -> None:
    # Both sources print whole pascals.
    assert air.standard_pressure(float(row["elevation_m"])) == pytest.approx(
        float(row["p_pa"]), abs=1.0
    )


@pytest.mark.parametrize(
    ("frost_c", "dew_c"),
    [
        pytest.param(-2.0, -2.264, id="frost point -2 °C"),
        pytest.param(-5.0, -5.642, id="frost point -5 °C"),
        pytest.param(-10.0, -11.230, id="frost point -10 °C"),
        pytest.param(-15.0, -16.767, id="frost point -15 °C"),
        pytest.param(-20.0, -22.255, id="frost point -20 °C"),
        pytest.param(-25.0, -27.695, id="frost point -25 °C"),
    ],
)
def test_dew_point_over_supercooled_water_lies_below_the_frost_point(
    frost_c: float, dew_c: float
) -> None:
    # Computed in PsychroLib 2.5.0 from Hyland and Wexler's two equations, within 0.01 K.
    p_ice = air.saturation_pressure(np.array([frost_c]))

    low, high = air.saturation_pressure_over_water(np.array([dew_c - 0.01, dew_c + 0.01]))

    assert low < p_ice[0] < high


@pytest.mark.parametrize(
    ("t_c", "rh", "w_g_kg", "dew_c"),
    [
        pytest.param(21.0, 0.35, 5.4144, 4.973, id="21 °C, 35 %"),
        pytest.param(-10.0, 0.80, 1.2843, -12.490, id="-10 °C, 80 %"),
        pytest.param(-30.0, 0.70, 0.1642, -33.382, id="-30 °C, 70 %"),
    ],
)
def test_states_agree_with_real_gas_values(
    t_c: float, rh: float, w_g_kg: float, dew_c: float
) -> None:
    # Computed in CoolProp 8.0.0 (HAPropsSI), 101325 Pa. It holds the enhancement factor, which
    # explains up to 0.6 % of W; the dew point differs by the two saturation formulas only.
    w = air.humidity_ratio_at_rh(np.array([t_c]), np.array([rh]), np.array([101325.0]))

    assert 1e3 * w == pytest.approx(w_g_kg, rel=0.006)
    assert air.dew_point(air.vapour_pressure(w, 101325.0)) == pytest.approx(dew_c, abs=0.02)


@pytest.mark.parametrize("p_pa", [70000.0, 81200.0, 101325.0])
def test_moist_air_agrees_with_coolprop_on_a_grid(p_pa: float) -> None:
    t_c, rh = (a.ravel() for a in np.meshgrid(np.arange(-30.0, 40.1, 5.0), [0.1, 0.4, 0.7, 1.0]))
    state = [("T", t + 273.15, "R", r, "P", p_pa) for t, r in zip(t_c, rh, strict=True)]
    want = {
        name: np.array([coolprop_oracle.humid_air(name, *s) for s in state])
        for name in ("W", "D", "H", "V")
    }
    p = np.full_like(t_c, p_pa)

    w = air.humidity_ratio_at_rh(t_c, rh, p)

    # Tolerances: the enhancement factor raises W by 0.30 to 0.54 % over this range, and with W the
    # enthalpy by up to 0.77 kJ/kg; real-gas volume is up to 0.11 % smaller.
    np.testing.assert_allclose(w, want["W"], rtol=0.006)
    np.testing.assert_array_less(w, want["W"])
    np.testing.assert_allclose(
        air.dew_point(air.vapour_pressure(w, p)), want["D"] - 273.15, atol=0.02
    )
    np.testing.assert_allclose(air.enthalpy(t_c, w), want["H"], atol=800.0)
    np.testing.assert_allclose(1.0 / air.dry_air_density(t_c, w, p), want["V"], rtol=0.0012)


def test_saturation_pressure_agrees_with_psychrolib_on_a_dense_grid() -> None:
    # Same equations, other order of the operations: rounding of terms up to 50 in an exponent,
    # 50 x 1.1e-16 x a few operations, is below 1e-13.
    psychrolib = psychrolib_oracle.load()
    t_c = np.arange(-100.0, 200.0, 0.02)

    got = air.saturation_pressure(t_c)

    want = [psychrolib.GetSatVapPres(t) for t in t_c.tolist()]
    np.testing.assert_allclose(got, want, rtol=1e-12)


def test_slope_of_saturation_agrees_with_psychrolib() -> None:
    """Its `dLnPws_` is d ln p/dT of the same equations, over ice and over water."""
    psychrolib = psychrolib_oracle.load()
    t_c = np.concatenate([np.linspace(-60.0, 0.0, 31), np.linspace(0.02, 90.0, 31)])

    got = air.saturation_slope(t_c)

    want = [psychrolib.dLnPws_(t) for t in t_c.tolist()]
    np.testing.assert_allclose(got, want, rtol=1e-12)


def test_ice_gives_way_to_water_at_the_same_temperature_as_in_psychrolib() -> None:
    psychrolib = psychrolib_oracle.load()
    # Not nearer than 1e-12 K: we switch in kelvin, where 0.01 °C and its next number are one.
    t_c = [0.0, 0.01 - 1e-12, 0.01, 0.01 + 1e-12, 0.02]

    got = air.saturation_pressure(np.array(t_c))

    np.testing.assert_allclose(got, [psychrolib.GetSatVapPres(t) for t in t_c], rtol=1e-12)


@pytest.mark.parametrize("p_pa", [61640.0, 81198.0, 101325.0])
def test_states_agree_with_psychrolib_on_a_dense_grid(p_pa: float) -> None:
    psychrolib = psychrolib_oracle.load()
    t_c, rh = (
        a.ravel() for a in np.meshgrid(np.arange(-50.0, 50.1, 2.0), np.linspace(0.02, 1.0, 20))
    )
    p = np.full_like(t_c, p_pa)

    w = air.humidity_ratio_at_rh(t_c, rh, p)

    # Rounding only, as above. psychrolib cuts W at 1e-7, below which the grid does not go.
    def oracle(function: str, *columns: np.ndarray) -> list[float]:
        rows = zip(*(c.tolist() for c in columns), strict=True)
        return [getattr(psychrolib, function)(*row) for row in rows]

    assert w.min() > 1e-7
    np.testing.assert_allclose(w, oracle("GetHumRatioFromRelHum", t_c, rh, p), rtol=1e-12)
    np.testing.assert_allclose(
        air.vapour_pressure(w, p), oracle("GetVapPresFromHumRatio", w, p), rtol=1e-12
    )
    np.testing.assert_allclose(
        air.relative_humidity(t_c, w, p), oracle("GetRelHumFromHumRatio", t_c, w, p), rtol=1e-12
    )
    np.testing.assert_allclose(
        air.saturated_humidity_ratio(t_c, p), oracle("GetSatHumRatio", t_c, p), rtol=1e-12
    )
    np.testing.assert_allclose(
        1.0 / air.dry_air_density(t_c, w, p), oracle("GetMoistAirVolume", t_c, w, p), rtol=1e-12
    )
    # Enthalpy passes through zero: the tolerance is 1e-12 of the terms, which reach 1e5 J/kg.
    np.testing.assert_allclose(
        air.enthalpy(t_c, w), oracle("GetMoistAirEnthalpy", t_c, w), rtol=1e-12, atol=1e-7
    )


def test_dew_point_agrees_with_psychrolib_within_its_own_stopping_rule() -> None:
    # psychrolib stops when a Newton step is below 0.001 K and clips to its dry-bulb argument, which
    # is set high here.
    psychrolib = psychrolib_oracle.load()
    p_vapour = np.geomspace(0.1, 90000.0, 500)

    got = air.dew_point(p_vapour)

    want = [psychrolib.GetTDewPointFromVapPres(100.0, p) for p in p_vapour.tolist()]
    np.testing.assert_allclose(got, want, atol=1e-3)


@given(t_c=st.floats(-100.0, 100.0))
def test_dew_point_inverts_saturation_pressure(t_c: float) -> None:
    p = air.saturation_pressure(np.array([t_c]))

    # At 0.01 °C the two curves are 6e-9 apart, and both 4e-8 above the pressure at which the
    # inverse changes over: 1e-7 K. Elsewhere Newton has converged to rounding.
    assert air.dew_point(p) == pytest.approx([t_c], abs=1e-6)


def test_dew_point_is_converged_to_1e_9_k_on_a_dense_grid() -> None:
    t_c = np.linspace(-100.0, 100.0, 40001)
    t_c = t_c[np.abs(t_c - air.TRIPLE_POINT_C) > 1e-4]

    np.testing.assert_allclose(
        air.dew_point(air.saturation_pressure(t_c)), t_c, rtol=0.0, atol=1e-9
    )


@given(t_c=st.floats(-50.0, 60.0), rh=st.floats(0.01, 1.0), p_pa=st.floats(6e4, 1.1e5))
def test_relative_humidity_and_vapour_pressure_invert_humidity_ratio(
    t_c: float, rh: float, p_pa: float
) -> None:
    w = air.humidity_ratio_at_rh(t_c, rh, p_pa)

    assert air.relative_humidity(t_c, w, p_pa) == pytest.approx(rh, rel=1e-12)
    assert air.dew_point(air.vapour_pressure(w, p_pa)) <= t_c + 1e-6


GAP = np.array([0.01, np.nan, 0.02])
T_C, P_PA, RH = np.full(3, 10.0), np.full(3, 101325.0), np.full(3, 0.4)


@pytest.mark.parametrize(
    ("function", "columns"),
    [
        pytest.param(air.saturation_pressure, (GAP,), id="saturation pressure"),
        pytest.param(air.saturation_pressure_over_water, (GAP,), id="saturation over water"),
        pytest.param(air.humidity_ratio, (GAP, P_PA), id="humidity ratio"),
        pytest.param(air.vapour_pressure, (GAP, P_PA), id="vapour pressure"),
        pytest.param(air.saturated_humidity_ratio, (GAP, P_PA), id="saturated humidity ratio"),
        pytest.param(air.humidity_ratio_at_rh, (T_C, GAP, P_PA), id="humidity ratio at RH"),
        pytest.param(air.humidity_ratio_at_rh, (GAP, RH, P_PA), id="and at a temperature"),
        pytest.param(air.relative_humidity, (T_C, GAP, P_PA), id="relative humidity"),
        pytest.param(air.dew_point, (GAP,), id="dew point"),
        pytest.param(air.enthalpy, (T_C, GAP), id="enthalpy"),
        pytest.param(air.dry_air_density, (T_C, GAP, P_PA), id="density"),
    ],
)
def test_a_missing_value_stays_missing_and_spoils_no_other(function, columns) -> None:
    got = function(*columns)

    assert np.isnan(got).tolist() == [False, True, False]


def test_a_house_of_460_m3_holds_2_6_kg_of_vapour_at_30_percent_and_8_7_kg_saturated() -> None:
    # National Research Council Canada, "Moisture sources in houses": printed to two digits and
    # without a temperature; 21 and 22 °C lie within 0.15 and 0.5 kg.
    for t_c in (21.0, 22.0):
        t, p = np.array([t_c]), np.array([101325.0])
        for rh, kg, within in ((0.30, 2.6, 0.15), (1.0, 8.7, 0.5)):
            w = air.humidity_ratio_at_rh(t, np.array([rh]), p)
            assert 460.0 * air.dry_air_density(t, w, p) * w == pytest.approx(kg, abs=within)
