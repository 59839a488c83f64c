"""The outdoor thermistor: printed tables, round trips, and rules that flip with their input."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

import references
from dewmargin.errors import OutOfRangeError
from dewmargin.site.circuit import loop_ohm
from dewmargin.site.sensor import (
    Curve,
    beta_between,
    check_thermistor,
    humidity_sensor,
    ice_bath,
    self_heating_k,
    shown_c,
    shown_error,
)

PARTS = {3950: Curve.beta(3950.0), 3435: Curve.beta(3435.0)}
PART = PARTS[3950]
ERRORS = {
    "3950 read as 3435": {"controller": PARTS[3435]},
    "3435 read as 3950": {"part": PARTS[3435]},
    "R25 +1 %": {"part": Curve.beta(3950.0, 10_100.0)},
    "B +1 %": {"part": Curve.beta(3989.5)},
    "leads": {"lead_ohm": loop_ohm(30.0, 22)},
    "1 MOhm": {"leakage_ohm": 1e6},
    "100 kOhm": {"leakage_ohm": 1e5},
}
# A part as its three constants are usually printed, 10 kΩ: from memory.
STEINHART = Curve(1.129148e-3, 2.34125e-4, 8.76741e-8)

betas = st.builds(Curve.beta, st.floats(2000.0, 5000.0), st.floats(1e3, 1e5))
curves = st.one_of(
    betas,
    st.builds(Curve, st.floats(5e-4, 1.5e-3), st.floats(1.5e-4, 3.5e-4), st.floats(1e-12, 3e-7)),
)


@pytest.mark.parametrize("row", references.rows("thermistor_table"), ids=lambda row: row["t_c"])
@pytest.mark.parametrize("beta", PARTS)
def test_resistance_agrees_with_the_table(row, beta) -> None:
    t_c, part = float(row["t_c"]), PARTS[beta]

    # Printed to whole ohms: half a unit of the last digit is 0.014 % at worst.
    assert part.ohm(t_c) == pytest.approx(float(row[f"beta_{beta}_ohm"]), rel=2e-4)
    assert 100.0 * part.alpha_1_k(t_c) == pytest.approx(
        float(row[f"beta_{beta}_percent_k"]), abs=0.006
    )


@pytest.mark.parametrize(
    "row", references.rows("thermistor_errors"), ids=lambda row: f"{row['case']} at {row['t_c']}"
)
def test_what_a_controller_would_think_agrees_with_the_table(row) -> None:
    t_c = float(row["t_c"])
    seen = shown_c(t_c, **({"part": PART, "controller": PART} | ERRORS[row["case"]]))

    got = seen if row["quantity"] == "shown" else seen - t_c

    # Half a unit of the last digit, and a tenth of that: some were rounded from one digit more.
    digits = len(row["value"].partition(".")[2])
    assert got == pytest.approx(float(row["value"]), abs=0.55 * 10.0**-digits)


def test_a_beta_part_has_the_constants_of_the_law() -> None:
    # B 3950 K, 10 kΩ: computed for this project from the definition.
    assert PART.a == pytest.approx(1.02228469e-3, rel=1e-8)
    assert PART.b == pytest.approx(2.53164557e-4, rel=1e-8)


def test_a_part_of_three_constants_has_its_rated_resistance() -> None:
    # 10 kΩ at 25 °C is what these constants are printed for; their digits leave 0.01 K.
    assert STEINHART.celsius(10_000.0) == pytest.approx(25.0, abs=0.01)


@given(curve=curves, t_c=st.floats(-60.0, 120.0))
def test_degrees_to_ohms_and_back(curve, t_c) -> None:
    ohm = curve.ohm(t_c)

    if 1e-3 <= ohm <= 1e9:
        assert curve.celsius(ohm) == pytest.approx(t_c, abs=1e-8)


@given(curve=betas, ohm=st.floats(300.0, 1e5))
def test_ohms_to_degrees_and_back(curve, ohm) -> None:
    t_c = curve.celsius(ohm)

    if -80.0 <= t_c <= 200.0:
        assert curve.ohm(t_c) == pytest.approx(ohm, rel=1e-9)


@given(curve=betas, t_c=st.floats(-50.0, 80.0))
def test_a_vanishing_third_constant_changes_nothing(curve, t_c) -> None:
    assert Curve(curve.a, curve.b, 1e-18).ohm(t_c) == pytest.approx(curve.ohm(t_c), rel=1e-8)


@given(curve=curves, t_c=st.floats(-50.0, 80.0))
def test_the_slope_is_that_of_the_curve(curve, t_c) -> None:
    # Central difference over 0.02 K: off by 1e-8 of itself.
    slope = math.log(curve.ohm(t_c + 0.01) / curve.ohm(t_c - 0.01)) / 0.02

    assert curve.alpha_1_k(t_c) == pytest.approx(slope, rel=1e-5)


@given(t_c=st.floats(-40.0, 40.0), ohm=st.floats(0.1, 1e3))
def test_leads_read_colder_and_leakage_warmer(t_c, ohm) -> None:
    leads = shown_c(t_c, part=PART, controller=PART, lead_ohm=ohm)
    leaking = shown_c(t_c, part=PART, controller=PART, leakage_ohm=1e3 * ohm)

    assert leads < t_c < leaking


# 3.3 V, 10 kΩ in series, 1.5 mW/K: computed for this project before the code; 1.5 from memory.
@pytest.mark.parametrize(("t_c", "warmed_k"), [(-20.0, 0.057), (25.0, 0.18)])
def test_its_own_current_warms_a_part(t_c, warmed_k) -> None:
    divider = {"supply_v": 3.3, "series_ohm": 10_000.0, "dissipation_mw_k": 1.5}

    # Printed to two digits.
    assert self_heating_k(PART, t_c, **divider) == pytest.approx(warmed_k, rel=0.01)


def test_what_its_own_current_warms_is_shown() -> None:
    done = check_thermistor(PART, t_c=25.0, supply_v=3.3)

    (shown,) = done.numbers["shown"]
    assert shown["error_k"] == pytest.approx(0.18, abs=0.005)
    assert shown["self_heating_k"] == pytest.approx(shown["error_k"])
    assert "self_heating_k" not in check_thermistor(PART, t_c=25.0).numbers["shown"][0]


@given(beta=st.floats(2000.0, 5000.0))
def test_b_from_two_points_is_the_b_of_the_curve(beta) -> None:
    part = Curve.beta(beta)

    assert beta_between(part.ohm(25.0), 25.0, part.ohm(85.0), 85.0) == pytest.approx(beta)


def test_the_ice_bath_tells_the_part() -> None:
    right, wrong = ice_bath(PART, 33_621.0), ice_bath(PART, 28_704.0)

    assert (right.severity, right.what) == ("fine", "33621 Ω in the ice bath is -0.0 °C")
    assert wrong.severity == "fix"
    assert wrong.what == "28704 Ω in the ice bath is +3.0 °C, not 0 (expected 33621 Ω)"
    # The reading is that of the other part of the table.
    assert wrong.action.endswith("it would be a part of B = 3435 K")


def test_an_error_of_the_controller_is_told_with_its_sign() -> None:
    assert shown_error(-0.9, 0.0).severity == "fine"
    assert shown_error(1.1, 0.0).what == "at 0 °C the controller takes it for 1.1 K warmer"
    assert shown_error(-1.1, 0.0).what == "at 0 °C the controller takes it for 1.1 K colder"


# Common practice, no source: 150 mm (6 in) at least, 1 m preferred, upstream.
@pytest.mark.parametrize(
    ("upstream_m", "severity"),
    [(1.0, "fine"), (0.99, "note"), (0.15, "note"), (0.14, "fix"), (-1.0, "fix")],
)
def test_the_humidity_sensor_sits_upstream(upstream_m, severity) -> None:
    found = humidity_sensor(upstream_m)

    assert (found.severity, found.source) == (severity, "common practice, no source")


def test_downstream_is_said() -> None:
    assert humidity_sensor(-0.5).what == (
        "the humidity sensor is downstream of the take-off: at least 150 mm upstream"
    )


def test_a_check_judges_the_worst_temperature_and_one_that_is_given() -> None:
    over_the_winter = check_thermistor(PART, controller=PARTS[3435])
    today = check_thermistor(PART, controller=PARTS[3435], t_c=24.0)

    assert over_the_winter.findings[0].what == "at -30 °C the controller takes it for 6.5 K colder"
    assert today.findings[0].severity == "fine"
    assert today.numbers["ohm"] == pytest.approx(PART.ohm(24.0))


@pytest.mark.parametrize(
    ("refused", "text"),
    [
        (
            lambda: Curve.beta(39.5),
            "thermistor: beta_k: must be between 500 and 10000, got 39.5",
        ),
        (lambda: Curve(1e-3, -2e-4), "thermistor: b: must be between 1e-06 and 1, got -0.0002"),
        (
            lambda: PART.celsius(0.0),
            "thermistor: ohm: must be between 0.001 and 1e+09, got 0",
        ),
        (
            lambda: Curve(-2e-3, 2e-4).celsius(1e3),
            "thermistor: 1000 ohm is beyond the curve (check a, b, c)",
        ),
        (
            lambda: beta_between(1e3, 25.0, 2e3, 25.0),
            "thermistor: two temperatures are needed, got 25 °C twice",
        ),
    ],
)
def test_what_no_thermistor_has_is_refused(refused, text) -> None:
    with pytest.raises(OutOfRangeError) as caught:
        refused()

    assert str(caught.value) == text
