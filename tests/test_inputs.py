"""Quantities with units as text, converted where a scenario enters."""

from __future__ import annotations

import pytest

from dewmargin.inputs import quantity, unit_of


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        # 1 ft = 0.3048 m, 1 lb = 0.45359237 kg, 1 gal (US) = 3.785411784 l, by definition.
        pytest.param("1750 ft2", "m**2", 1750 * 0.3048**2, id="square feet"),
        pytest.param("15200 ft3", "m**3", 15200 * 0.3048**3, id="cubic feet"),
        pytest.param("500 cfm", "L/s", 500 * 0.3048**3 / 60 * 1000, id="cubic feet a minute"),
        pytest.param("2 lb/hour", "kg/hour", 2 * 0.45359237, id="pounds an hour"),
        pytest.param("70 degF", "degC", (70 - 32) / 1.8, id="a Fahrenheit temperature"),
        pytest.param("10 degF", "delta_degC", 10 / 1.8, id="a Fahrenheit difference"),
        pytest.param("3 delta_degC", "delta_degC", 3.0, id="a difference"),
        # 1 Btu (IT) = 1055.05585262 J, by definition; a degree in a quotient is a step.
        pytest.param(
            "360 BTU/hour/degF", "W/delta_degC", 360 * 1055.05585262 / 3600 * 1.8, id="Btu/h °F"
        ),
        pytest.param("190 W/°C", "W/delta_degC", 190.0, id="watts by the degree"),
        pytest.param("1 kWh/degC", "Wh/delta_degC", 1000.0, id="a heat capacity"),
        pytest.param("20 °C", "degC", 20.0, id="a degree sign"),
        pytest.param("430 m3", "m**3", 430.0, id="the unit itself"),
        pytest.param("55 C", "degC", 55.0, id="a bare C"),
        pytest.param("850 CFM", "L/s", 850 * 0.3048**3 / 60 * 1000, id="capitals"),
        # Of water at 4 °C, from memory.
        pytest.param("2 inwc", "Pa", 498.178, id="inches of water column"),
        pytest.param("24 V", "V", 24.0, id="volts"),
        pytest.param("1e3 W", "kW", 1.0, id="an exponent"),
        pytest.param("1 ft^2", "m**2", 0.3048**2, id="a power"),
        pytest.param("3 K", "degC", None, id="kelvins as a temperature"),
        pytest.param("1,5 m2", "m**2", None, id="a decimal comma"),
        pytest.param("m2", "m**2", None, id="no number at all"),
        pytest.param("12 kW 3", "kW", None, id="something behind"),
        pytest.param("9**9**9 m2", "m**2", None, id="an expression"),
        pytest.param("7", "m**2", None, id="no unit"),
        pytest.param("165 m", "m**2", None, id="another dimension"),
        pytest.param("large", "m**2", None, id="no number"),
        pytest.param("__import__('os')", "m**2", None, id="code"),
    ],
)
def test_a_text_becomes_a_number_in_the_keys_unit(
    text: str, unit: str, value: float | None
) -> None:
    if value is None:
        with pytest.raises(ValueError, match="is not a quantity that can be turned into"):
            quantity(text, unit)
    else:
        assert quantity(text, unit) == pytest.approx(value, rel=1e-6)  # several Btu are in use


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("floor_area_m2", "m**2"),
        ("leakage_m3_h_at_50pa", "m**3/hour"),
        ("heat_loss_w_k", "W/delta_degC"),
        ("temperature_c", "degC"),
        ("margin_k", "delta_degC"),
        ("feed_kg_h", "kg/hour"),
        ("min_on_min", "minute"),
        ("rise_per_h", None),
        ("rh", None),
        ("name", None),
    ],
)
def test_a_key_says_its_unit(name: str, unit: str | None) -> None:
    assert unit_of(name) == unit
