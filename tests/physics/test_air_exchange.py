"""Leakage, wind and stack, fans and recovery against the handbook's tables and examples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import published
from dewmargin.errors import OutOfRangeError
from dewmargin.physics import air, air_exchange


def flow(
    t_in_c: float, t_out_c: float, wind_m_s: float, area_m2: float, storeys: int, shelter: int
) -> float:
    """Return the basic model's flow in one state. [m3/s]."""
    return float(
        air_exchange.infiltration(
            np.array([t_in_c]),
            np.array([t_out_c]),
            np.array([wind_m_s]),
            leakage_area_m2=area_m2,
            storeys=storeys,
            shelter_class=shelter,
        )[0]
    )


@pytest.mark.parametrize(
    "row",
    published.rows("infiltration_coefficients"),
    ids=lambda row: f"shelter class {row['shelter_class']}, {row['storeys']} storeys",
)
def test_coefficients_are_those_of_the_handbook(row: dict[str, str]) -> None:
    shelter, storeys = int(row["shelter_class"]), int(row["storeys"])

    assert air_exchange.STACK[storeys] == float(row["stack"])
    assert air_exchange.WIND[shelter][storeys] == float(row["wind"])


@pytest.mark.parametrize(
    ("exponent", "at_pa", "discharge", "area_cm2"),
    [
        pytest.param(0.65, 4.0, 1.0, 250.0, id="exponent 0.65: 250.0 cm²"),
        pytest.param(0.60, 4.0, 1.0, 283.7, id="exponent 0.60: 283.7 cm²"),
        pytest.param(0.67, 4.0, 1.0, 237.7, id="exponent 0.67: 237.7 cm²"),
        pytest.param(0.50, 4.0, 1.0, 365.2, id="exponent 0.50: 365.2 cm²"),
        pytest.param(0.65, 10.0, 0.611, 469.4, id="at 10 Pa, discharge 0.611: 469.4 cm²"),
    ],
)
def test_leakage_area_of_a_house_of_1200_m3_h(
    exponent: float, at_pa: float, discharge: float, area_cm2: float
) -> None:
    # Computed from the algebra of ASTM E779 with air of 1.2 kg/m3; 0.1 % is the printed rounding.
    got = air_exchange.leakage_area(1200.0, exponent=exponent, at_pa=at_pa, discharge=discharge)

    assert 1e4 * got == pytest.approx(area_cm2, rel=1e-3)


def test_handbook_example_of_a_one_storey_house_in_the_open_country() -> None:
    # Handbook of Fundamentals, infiltration chapter, worked example (from memory, corroborated by
    # recomputing): 500 cm², shelter class 2, 39 K, 6.7 m/s: 0.0646 m3/s, 0.68 changes of 340 m3.
    got = flow(20.0, -19.0, 6.7, area_m2=0.05, storeys=1, shelter=2)

    assert got == pytest.approx(0.0646, rel=0.005)
    assert got * 3600.0 / 340.0 == pytest.approx(0.68, rel=0.01)


@pytest.mark.parametrize(
    ("t_in_c", "wind_m_s", "expected_m3_s"),
    [
        pytest.param(20.0, 4.0, 0.03092, id="stack and wind"),
        pytest.param(20.0, 0.0, 0.02693, id="stack alone"),
        pytest.param(-20.0, 4.0, 0.01520, id="wind alone"),
        pytest.param(-60.0, 0.0, 0.02693, id="a room colder by as much leaks as much"),
        pytest.param(-20.0, 0.0, 0.0, id="no difference, no wind: no flow"),
    ],
)
def test_basic_model_of_a_two_storey_house(
    t_in_c: float, wind_m_s: float, expected_m3_s: float
) -> None:
    # 250 cm², shelter class 3, -20 °C outdoors: computed from the stated formula, 0.1 %.
    got = flow(t_in_c, -20.0, wind_m_s, area_m2=0.025, storeys=2, shelter=3)

    assert got == pytest.approx(expected_m3_s, rel=1e-3)


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        pytest.param("quadrature", 78.31, id="quadrature, HoF 2009 ch. 16: 78.31"),
        pytest.param("sub_additive", 81.25, id="sub-additive, ASHRAE 62.2-2016 app. C: 81.25"),
        pytest.param("half_fan", 85.0, id="half fan, Palmiter and Bond 1991: 85.0"),
    ],
)
@pytest.mark.parametrize(
    ("supply", "exhaust"),
    [
        pytest.param(20.0, 50.0, id="more exhaust than supply"),
        pytest.param(50.0, 20.0, id="more supply than exhaust"),
    ],
)
def test_fans_add_to_leakage_by_rule(
    rule: air_exchange.Rule, expected: float, supply: float, exhaust: float
) -> None:
    # Leakage 50, unbalanced 30, balanced 20: values computed from the rules, printed to 0.01.
    got = air_exchange.with_fans(
        np.array([50.0]), np.array([supply]), np.array([exhaust]), rule=rule
    )

    assert got == pytest.approx([expected], abs=0.01)


@given(
    rule=st.sampled_from(["quadrature", "sub_additive", "half_fan"]),
    leakage=st.floats(0.0, 10.0),
    supply=st.floats(0.0, 10.0),
    exhaust=st.floats(0.0, 10.0),
)
def test_fans_and_leakage_are_never_more_than_their_sum_nor_less_than_either(
    rule: air_exchange.Rule, leakage: float, supply: float, exhaust: float
) -> None:
    got = air_exchange.with_fans(
        np.array([leakage]), np.array([supply]), np.array([exhaust]), rule=rule
    )[0]

    rounding = 1e-12
    assert got <= leakage + max(supply, exhaust) + rounding
    assert got >= max(supply, exhaust) - rounding
    assert got >= leakage - rounding


@pytest.mark.parametrize(
    ("effectiveness", "w_supply", "loss_kg_h"),
    [
        pytest.param(0.0, 0.001279, 0.5921, id="no recovery"),
        pytest.param(0.4, 0.002924, 0.3553, id="effectiveness 0.4"),
        pytest.param(0.5, 0.003335, 0.2960, id="effectiveness 0.5: the loss halves"),
        pytest.param(0.65, 0.003952, 0.2072, id="effectiveness 0.65"),
    ],
)
def test_latent_recovery_of_balanced_ventilation(
    effectiveness: float, w_supply: float, loss_kg_h: float
) -> None:
    # 21 °C/35 % indoors, -10 °C/80 % outdoors, 0.04 kg/s: computed from the heat-exchanger
    # equation of the EnergyPlus Engineering Reference, 0.2 %.
    flow_kg_s = np.array([0.04])
    w_in, w_out = air.humidity_ratio_at_rh(
        np.array([21.0, -10.0]), np.array([0.35, 0.80]), np.full(2, 101325.0)
    )

    net_kg_s = air_exchange.after_recovery(flow_kg_s, flow_kg_s, effectiveness=effectiveness)
    loss_kg_s = net_kg_s * (w_in - w_out)

    assert 3600.0 * loss_kg_s == pytest.approx(loss_kg_h, rel=2e-3)
    assert w_in - loss_kg_s / flow_kg_s == pytest.approx(w_supply, rel=2e-3)


def test_recovery_touches_only_the_balanced_part() -> None:
    got = air_exchange.after_recovery(np.array([0.10]), np.array([0.04]), effectiveness=0.5)

    assert got == pytest.approx([0.08])


def test_a_missing_temperature_gives_a_missing_flow() -> None:
    got = air_exchange.infiltration(
        np.array([20.0, 20.0]),
        np.array([np.nan, 0.0]),
        np.zeros(2),
        leakage_area_m2=0.02,
        storeys=1,
        shelter_class=3,
    )

    assert np.isnan(got).tolist() == [True, False]


def test_an_unknown_shelter_class_is_refused_with_the_known_ones() -> None:
    with pytest.raises(OutOfRangeError) as caught:
        flow(20.0, 0.0, 0.0, area_m2=0.02, storeys=2, shelter=6)

    assert str(caught.value) == ("infiltration: shelter_class: must be one of 1, 2, 3, 4, 5, got 6")


def test_an_exponent_outside_flow_physics_is_refused() -> None:
    with pytest.raises(OutOfRangeError) as caught:
        air_exchange.leakage_area(1200.0, exponent=1.2)

    assert str(caught.value) == "leakage_area: exponent: must be between 0.5 and 1, got 1.2"


def test_an_unknown_rule_is_refused_with_the_known_ones() -> None:
    one = np.ones(1)
    with pytest.raises(OutOfRangeError) as caught:
        air_exchange.with_fans(one, one, one, rule="sum")  # type: ignore[arg-type]

    assert str(caught.value) == (
        "with_fans: rule: must be one of quadrature, sub_additive, half_fan, got sum"
    )
