"""Surfaces: the handbook's table of window condensation, indices, mass transfer and buffering."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

import published
import references
from dewmargin.errors import OutOfRangeError
from dewmargin.physics import air, surfaces
from references import psychrolib_oracle


@pytest.mark.parametrize(
    ("index", "t_out_c", "expected_c"),
    [
        pytest.param(1.0, -10.0, 20.0, id="perfect insulation: room temperature"),
        pytest.param(0.0, -10.0, -10.0, id="no insulation: outdoor temperature"),
        pytest.param(0.5, -10.0, 5.0, id="half way"),
        pytest.param(0.7, 20.0, 20.0, id="no difference: any index"),
        pytest.param(0.5, 30.0, 25.0, id="summer: the surface is warmer than the room"),
    ],
)
def test_surface_temperature(index: float, t_out_c: float, expected_c: float) -> None:
    got = surfaces.surface_temperature(
        np.array([20.0]), np.array([t_out_c]), temperature_index=index
    )

    assert got == pytest.approx([expected_c])


@pytest.mark.parametrize(
    "row", published.rows("window_max_rh"), ids=lambda row: f"{row['t_out_f']} °F outdoors"
)
@pytest.mark.parametrize(("glazing", "index"), [("single", 0.22), ("double", 0.55)])
def test_handbook_table_of_windows_is_one_temperature_index(
    row: dict[str, str], glazing: str, index: float
) -> None:
    # The table prints whole per cent, from a calculation whose index we know to two digits.
    t_out_c = (float(row["t_out_f"]) - 32.0) / 1.8

    got = surfaces.max_relative_humidity(
        np.array([23.33]), np.array([t_out_c]), temperature_index=index
    )

    assert 100.0 * got == pytest.approx(float(row[f"{glazing}_percent"]), abs=1.0)


@pytest.mark.parametrize(
    "row",
    references.rows("max_rh"),
    ids=lambda row: f"index {row['index']} at {row['t_out_c']} °C",
)
def test_maximum_humidity_agrees_with_the_table(row: dict[str, str]) -> None:
    got = surfaces.max_relative_humidity(
        np.array([21.0]), np.array([float(row["t_out_c"])]), temperature_index=float(row["index"])
    )

    # Same equations, printed to 0.1: half a unit of the last digit.
    assert 100.0 * got == pytest.approx(float(row["rh_percent"]), abs=0.051)


@pytest.mark.parametrize(
    "row",
    references.rows("required_index"),
    ids=lambda row: f"{row['rh_percent']} % at {row['t_out_c']} °C",
)
def test_required_index_agrees_with_the_table(row: dict[str, str]) -> None:
    got = surfaces.required_index(
        np.array([21.0]),
        np.array([float(row["t_out_c"])]),
        np.array([float(row["rh_percent"]) / 100]),
    )

    # Printed to 0.001, from a dew point that its library converges to 0.001 K of at least 21 K.
    assert got == pytest.approx(float(row["index"]), abs=0.00055)


@pytest.mark.parametrize(
    ("index", "t_out_c", "t_surface_c", "rh_percent"),
    [
        pytest.param(0.68, -30.0, 4.68, 34.3, id="index 68, the code's value to -30 °C"),
        pytest.param(0.77, -30.0, 9.27, 47.0, id="index 77, the code's value below -30 °C"),
        pytest.param(0.77, -40.0, 6.97, 40.2, id="index 77 at -40 °C"),
        pytest.param(0.54, -15.0, 4.44, 33.7, id="index 54 at -15 °C"),
    ],
)
def test_what_the_indices_of_a_building_code_allow(
    index: float, t_out_c: float, t_surface_c: float, rh_percent: float
) -> None:
    # Ontario Building Code Table 9.7.3.3 (indices 68 and 77); humidities computed in PsychroLib at
    # 21 °C, printed to 0.1.
    room, out = np.array([21.0]), np.array([t_out_c])

    got_c = surfaces.surface_temperature(room, out, temperature_index=index)
    got = surfaces.max_relative_humidity(room, out, temperature_index=index)

    assert got_c == pytest.approx([t_surface_c], abs=0.005)
    assert 100.0 * got == pytest.approx([rh_percent], abs=0.051)


@given(t_in_c=st.floats(15.0, 25.0), t_out_c=st.floats(-40.0, 10.0), rh=st.floats(0.05, 1.0))
def test_required_index_is_the_inverse_of_maximum_humidity(
    t_in_c: float, t_out_c: float, rh: float
) -> None:
    room, out = np.array([t_in_c]), np.array([t_out_c])
    index = float(surfaces.required_index(room, out, np.array([rh]))[0])
    if not 0.0 <= index <= 1.0:
        assert index < 0.0 or index == pytest.approx(1.0, abs=1e-9)
        return

    got = surfaces.max_relative_humidity(room, out, temperature_index=index)

    # 0.01 °C is where ice gives way to water: the dew point is 1e-7 K off there, at 8 %/K.
    assert got == pytest.approx([rh], rel=1e-8)


@pytest.mark.parametrize(
    ("row", "decoded"),
    [
        *zip(
            published.rows("public_guidance"), references.rows("public_guidance_index"), strict=True
        )
    ],
    ids=[f"{row['t_out_f']} °F outdoors" for row in published.rows("public_guidance")],
)
def test_public_guidance_decodes_to_the_edge_of_double_glazing(
    row: dict[str, str], decoded: dict[str, str]
) -> None:
    assert row["t_out_f"] == decoded["t_out_f"]
    t_out_c = (float(row["t_out_f"]) - 32.0) / 1.8

    got = surfaces.required_index(
        np.array([21.1]), np.array([t_out_c]), np.array([0.01 * float(row["percent"])])
    )

    assert got == pytest.approx([float(decoded["index"])], abs=0.003)


def test_required_index_is_unknown_where_room_and_outdoors_are_equally_warm() -> None:
    same = np.array([20.0])

    assert np.isnan(surfaces.required_index(same, same, np.array([0.4])))


def test_dew_margin_is_the_distance_to_the_frost_point_below_zero() -> None:
    # Frost point -10 °C by PsychroLib's own inverse of the ice equation.
    psychrolib = psychrolib_oracle.load()
    w = psychrolib.GetHumRatioFromVapPres(psychrolib.GetSatVapPres(-10.0), 101325.0)

    got = surfaces.dew_margin(np.array([-12.0, -8.0]), np.full(2, w), np.full(2, 101325.0))

    assert got == pytest.approx([-2.0, 2.0], abs=1e-6)


@given(
    t_surface_c=st.floats(-40.0, 30.0),
    w=st.floats(1e-4, 0.02),
    p_pa=st.floats(6e4, 1.1e5),
)
def test_a_surface_condenses_where_its_dew_margin_is_negative(
    t_surface_c: float, w: float, p_pa: float
) -> None:
    surface, room, p = np.array([t_surface_c]), np.array([w]), np.array([p_pa])

    margin_k = surfaces.dew_margin(surface, room, p)[0]

    if abs(margin_k) > 1e-6:  # nearer the two may disagree by rounding
        assert surfaces.condenses(surface, room, p)[0] == (margin_k < 0.0)


@pytest.mark.parametrize(
    ("t_c", "rh", "t_surface_c", "g_m2_h"),
    [
        pytest.param(21.0, 0.40, 2.0, 21.5, id="21 °C, 40 %, pane 2 °C"),
        pytest.param(21.0, 0.40, 0.5, 26.9, id="21 °C, 40 %, pane 0.5 °C"),
        pytest.param(21.0, 0.50, 5.0, 27.8, id="21 °C, 50 %, pane 5 °C"),
        pytest.param(20.0, 0.60, 8.0, 24.8, id="20 °C, 60 %, pane 8 °C"),
        pytest.param(21.0, 0.35, -5.0, 34.8, id="21 °C, 35 %, frost at -5 °C"),
        pytest.param(21.0, 0.30, 10.0, -36.0, id="21 °C, 30 %, pane 10 °C drying"),
    ],
)
def test_vapour_to_a_pane(t_c: float, rh: float, t_surface_c: float, g_m2_h: float) -> None:
    # Computed from the Lewis relation, h_c 3.0, Le^(2/3) 0.90, at 101325 Pa, printed to 0.1.
    p = np.array([101325.0])
    w = air.humidity_ratio_at_rh(np.array([t_c]), np.array([rh]), p)
    w_surface = air.saturated_humidity_ratio(np.array([t_surface_c]), p)

    got = surfaces.mass_transfer() * (w - w_surface)

    assert 3.6e6 * got == pytest.approx([g_m2_h], abs=0.051)


def test_vapour_to_a_pane_agrees_with_the_vapour_pressure_form() -> None:
    # Hygrothermal practice: beta = 7e-9 h_c kg/(m2 s Pa); 21.9 g/(m2 h) at 21 °C, 40 %, 2 °C. The
    # two forms stand for Lewis factors of 0.90 and 0.87 and may differ by 3 %.
    p = np.array([101325.0])
    w = air.humidity_ratio_at_rh(np.array([21.0]), np.array([0.40]), p)
    w_surface = air.saturated_humidity_ratio(np.array([2.0]), p)

    got = surfaces.mass_transfer(convection_w_m2_k=3.0) * (w - w_surface)

    assert 3.6e6 * got == pytest.approx([21.9], rel=0.03)


@pytest.mark.parametrize(
    ("t_surface_c", "t_warmed_c", "convection", "resistance", "dry_g_m2_h", "wet_g_m2_h"),
    [
        # Single pane of 4 mm, -10 °C outdoors: 7.7 W/(m2 K) inside, 0.004 + 1/25 m2 K/W outside.
        pytest.param(-2.16, -1.17, 3.5, 1 / (7.7 + 1 / 0.044), 42.0, 38.2, id="single, frost"),
        # Double pane of U 2.73 at -20 °C. Its 5.84 °C say a room film of 2.73 * 41/15.16 = 7.38,
        # and its dry rate a convection of 2.87, neither of which is printed; the way outdoors is
        # what U leaves beside the film.
        pytest.param(
            5.84, 6.08, 2.87, 1 / (7.38 + 1 / (1 / 2.73 - 1 / 7.38)), 5.0, 4.0, id="double"
        ),
    ],
)
def test_latent_heat_warms_a_pane_and_slows_condensation(
    t_surface_c: float,
    t_warmed_c: float,
    convection: float,
    resistance: float,
    dry_g_m2_h: float,
    wet_g_m2_h: float,
) -> None:
    # Coupled balances in a room of 21 °C and 40 %, solved apart from the same relations, printed to
    # 0.1 g/(m2 h) and 0.01 K; ours is linear in the rise, good to 3 % of it.
    p = np.array([101325.0])
    w = air.humidity_ratio_at_rh(np.array([21.0]), np.array([0.40]), p)
    pane = np.array([t_surface_c])
    beta = surfaces.mass_transfer(convection_w_m2_k=convection)
    excess = w - air.saturated_humidity_ratio(pane, p)

    wet = surfaces.wet_mass_transfer(beta, pane, p, resistance_m2_k_w=resistance) * excess

    assert 3.6e6 * beta * excess == pytest.approx([dry_g_m2_h], abs=0.06)
    assert 3.6e6 * wet == pytest.approx([wet_g_m2_h], abs=0.03 * (dry_g_m2_h - wet_g_m2_h) + 0.05)
    latent = 2.835e6 if t_surface_c < 0 else 2.501e6
    assert t_surface_c + resistance * latent * wet == pytest.approx([t_warmed_c], abs=0.04)


def test_a_surface_that_nothing_warms_takes_what_its_film_carries() -> None:
    pane, p = np.array([-5.0, 5.0]), np.full(2, 101325.0)

    got = surfaces.wet_mass_transfer(0.0033, pane, p, resistance_m2_k_w=0.0)

    assert got.tolist() == [0.0033, 0.0033]


@pytest.mark.parametrize(
    ("t_out_c", "excess_pa", "index"),
    [
        pytest.param(0.0, 540.0, 0.557, id="0 °C, excess 540 Pa"),
        pytest.param(0.0, 1.1 * 540.0, 0.594, id="0 °C, excess 540 Pa with the margin of 2001"),
        pytest.param(0.0, 810.0, 0.730, id="0 °C, excess 810 Pa"),
        pytest.param(0.0, 1.1 * 810.0, 0.776, id="0 °C, excess 810 Pa with the margin of 2001"),
        pytest.param(-5.0, 540.0, 0.536, id="-5 °C, excess 540 Pa"),
        pytest.param(-5.0, 1.1 * 540.0, 0.571, id="-5 °C, excess 540 Pa with the margin of 2001"),
        pytest.param(-5.0, 810.0, 0.696, id="-5 °C, excess 810 Pa"),
        pytest.param(-5.0, 1.1 * 810.0, 0.737, id="-5 °C, excess 810 Pa with the margin of 2001"),
        pytest.param(-10.0, 810.0, 0.691, id="-10 °C, excess 810 Pa"),
        pytest.param(-10.0, 1.1 * 810.0, 0.729, id="-10 °C, excess 810 Pa with the margin of 2001"),
    ],
)
def test_minimum_index_against_mould(t_out_c: float, excess_pa: float, index: float) -> None:
    # ISO 13788 clause 5 at 20 °C, 85 % outdoors, with the class limits of its vapour excess (all
    # from memory); values computed with the Hyland-Wexler equations, printed to 0.001.
    room, out = np.array([20.0]), np.array([t_out_c])
    p_vapour = 0.85 * air.saturation_pressure(out) + excess_pa

    got = surfaces.minimum_index(room, out, p_vapour)

    assert got == pytest.approx([index], abs=0.0006)


def test_minimum_index_of_the_german_standard() -> None:
    # DIN 4108-2: f_Rsi >= 0.70 for 20 °C, 50 %, -5 °C and 80 % at the surface; exactly 0.705.
    p_vapour = 0.50 * air.saturation_pressure(np.array([20.0]))

    got = surfaces.minimum_index(np.array([20.0]), np.array([-5.0]), p_vapour)

    assert got == pytest.approx([0.705], abs=0.0006)


def test_humidity_at_a_surface_is_that_of_the_air_at_its_temperature() -> None:
    # ISO 13788's own case: 20 °C and 50 % are 80 % at 12.63 °C; and never more than 100 %.
    p = np.full(2, 101325.0)
    w = air.humidity_ratio_at_rh(np.full(2, 20.0), np.full(2, 0.5), p)

    got = surfaces.surface_humidity(np.array([12.63, 2.0]), w, p)

    assert got == pytest.approx([0.80, 1.0], abs=5e-4)


@pytest.mark.parametrize(
    ("area_m2", "value", "t_ref_c", "p_pa"),
    [
        pytest.param(100.0, 1.0, 23.0, 101325.0, id="100 m² of wood at the test's 23 °C"),
        pytest.param(700.0, 0.3, 20.0, 85000.0, id="700 m² of painted board in a high valley"),
    ],
)
def test_a_buffer_moves_its_tested_value_in_the_cycle_of_the_test(
    area_m2: float, value: float, t_ref_c: float, p_pa: float
) -> None:
    # NORDTEST cycle: 8 h at 75 %, 16 h at 33 %, repeated until it returns to itself; the value is
    # what is taken up in the 8 h, per area and per % of relative humidity. Integrated here by an
    # ODE solver that knows none of our closed form.
    h, capacity = surfaces.moisture_buffer(
        area_m2, buffer_value_g_m2_rh=value, t_ref_c=t_ref_c, p_pa=p_pa
    )
    w_low, w_high = air.humidity_ratio_at_rh(t_ref_c, np.array([0.33, 0.75]), p_pa)

    def follow(start: float, w_air: float, hours: float) -> float:
        run = solve_ivp(
            lambda _, w: h * (w_air - w) / capacity,
            (0.0, 3600.0 * hours),
            [start],
            rtol=1e-10,
            atol=1e-14,
        )
        return float(run.y[0, -1])

    dry = w_low
    for _ in range(6):  # each day leaves 0.2 % of the day before
        humid = follow(dry, w_high, 8.0)
        dry = follow(humid, w_low, 16.0)
    humid = follow(dry, w_high, 8.0)

    taken_up_g = 1e3 * capacity * (humid - dry)
    assert taken_up_g / area_m2 / 42.0 == pytest.approx(value, rel=1e-6)


def test_a_buffer_has_the_time_constant_of_a_daily_wave() -> None:
    # d²/(2D) with d = sqrt(D 24 h/pi) is 24 h/(2 pi) = 3.82 h.
    h, capacity = surfaces.moisture_buffer(
        50.0, buffer_value_g_m2_rh=0.5, t_ref_c=20.0, p_pa=101325.0
    )

    assert capacity / h / 3600.0 == pytest.approx(3.8197, rel=1e-4)


def test_a_buffer_is_near_the_capacity_multiplier_of_the_same_value() -> None:
    # Multiplier = 1 + A MBV/(air content per %), 5.5 for 700 m² of 0.6 g/(m2 %) and 500 m3 at 21 °C
    # (92.6 g per %), computed. The store behind a conductance must be larger, by 1/0.865, since
    # within the day only that part of it is reached; the air content depends by 2 % on where
    # between 30 and 75 % it is taken.
    _, capacity = surfaces.moisture_buffer(
        700.0, buffer_value_g_m2_rh=0.6, t_ref_c=21.0, p_pa=101325.0
    )
    dry_air_kg = 595.61

    assert capacity / dry_air_kg == pytest.approx((5.5 - 1.0) / 0.865, rel=0.03)


def test_an_index_in_per_cent_is_refused_with_the_fraction() -> None:
    with pytest.raises(OutOfRangeError) as caught:
        surfaces.surface_temperature(np.zeros(1), np.zeros(1), temperature_index=55.0)

    assert str(caught.value) == (
        "surface_temperature: temperature_index: must be between 0 and 1, got 55 "
        "(fractions run from 0 to 1: did you mean 0.55?)"
    )


def test_missing_values_never_count_as_condensation() -> None:
    gap, p = np.array([np.nan, 0.008]), np.full(2, 101325.0)

    assert np.isnan(surfaces.dew_margin(np.zeros(2), gap, p)).tolist() == [True, False]
    assert surfaces.condenses(np.zeros(2), gap, p).tolist() == [False, True]
