"""Condensation inside a wall: steady state against an optimiser, the year against small steps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy.optimize import lsq_linear

from dewmargin.physics import air, assembly
from dewmargin.physics.assembly import Assembly, Months, WallLayer

MONTH_S = assembly.DAYS * 86_400.0


def layer(name: str, resistance: float, sd: float) -> WallLayer:
    return WallLayer(name=name, resistance_m2_k_w=resistance, sd_m=sd)


def year(t_out_c: np.ndarray, *, t_room_c=20.0, rh_room=0.5, rh_out=0.8) -> Months:
    t_room = np.broadcast_to(np.asarray(t_room_c, float), 12).copy()
    return Months(
        t_room_c=t_room,
        t_out_c=t_out_c,
        p_room_pa=rh_room * air.saturation_pressure(t_room),
        p_out_pa=rh_out * air.saturation_pressure(t_out_c),
    )


def screened(wall: Assembly, months: Months) -> assembly.WallYear:
    return assembly.screen(wall, months, leak_condensation_h=0.0)


def cold_year(mean_c: float = 5.0, swing_k: float = 15.0) -> np.ndarray:
    return mean_c - swing_k * np.cos(2.0 * np.pi * (np.arange(12) + 0.5) / 12.0)


# Insulation that vapour passes, then a board that it hardly does: one plane condenses.
OPEN = Assembly(name="open", layers=(layer("wool", 0.25, 0.2), layer("board", 0.10, 2.0)))


def test_one_plane_by_hand() -> None:
    """Two layers, an hour's arithmetic from the formulas of ISO 13788 (method from memory).

    R = 0.13 + 0.25 + 0.10 + 0.04 = 0.52; the plane at 20 - 30*0.38/0.52 = -1.92 °C has 526 Pa
    (steam tables over ice: 611.2*exp(22.46*(-1.92)/(272.62 - 1.92)) = 521 Pa). Room 20 °C and
    50 %: 1169 Pa; outdoors -10 °C and 80 %: 208 Pa. g = 2e-10*[(1169 - 521)/0.2 - (521 - 208)/2].
    """
    months = year(np.full(12, -10.0))

    found = screened(OPEN, months)

    p_plane = 611.2 * np.exp(22.46 * -1.923 / (272.62 - 1.923))
    by_hand = 2e-10 * ((1169.4 - p_plane) / 0.2 - (p_plane - 0.8 * 259.9) / 2.0)
    # 0.3 %: the steam table's numbers are to four digits.
    assert found.condensed_g_m2[1, 0] == pytest.approx(1e3 * by_hand * MONTH_S[0], rel=3e-3)
    assert found.planes.names == ("room side", "wool | board", "outdoor side")
    assert found.planes.u_factor_w_m2_k == pytest.approx(1.0 / 0.52)
    assert found.stays_wet
    assert found.wettest == 1


def board(name: str, **factors: float) -> WallLayer:
    return WallLayer(name=name, thickness_mm=12.0, conductivity_w_m_k=0.13, **factors)


OSB = {"vapour_resistance_factor": 50.0, "vapour_resistance_factor_wet": 30.0}


def test_the_damp_material_counts_up_to_the_insulation_the_dry_one_beyond() -> None:
    """12 mm of board on both sides: 0.36 m wet within, 0.60 m dry outside."""
    wool = layer("wool", 4.0, 0.15)

    planes = Assembly(name="both", layers=(board("in", **OSB), wool, board("out", **OSB))).planes()

    through = dict(zip(planes.names, planes.sd_m, strict=True))
    assert through["in | wool"] == pytest.approx(0.36)
    assert through["wool | out"] == pytest.approx(0.36 + 0.15)
    assert through["outdoor side"] == pytest.approx(0.36 + 0.15 + 0.60)
    alone = board("alone", vapour_resistance_factor=50.0)
    assert (alone.sd, alone.sd_damp) == pytest.approx((0.6, 0.6))


@pytest.mark.parametrize("rh", [0.35, 0.45, 0.55])
@pytest.mark.parametrize("mean_c", [-2.0, 5.0, 10.0])
def test_both_values_together_are_the_most_cautious_choice_of_either(rh, mean_c) -> None:
    """Of a board on both sides, told dry, wet or both, both hold the most water."""
    wool = layer("wool", 4.0, 0.15)
    told = {
        "dry": {"vapour_resistance_factor": 50.0},
        "wet": {"vapour_resistance_factor": 30.0},
        "both": OSB,
    }

    held = {}
    for name, factors in told.items():
        wall = Assembly(name=name, layers=(board("in", **factors), wool, board("out", **factors)))
        held[name] = screened(wall, year(cold_year(mean_c), rh_room=rh)).held_g_m2.max()

    assert held["both"] > 0.0
    assert held["both"] >= max(held["dry"], held["wet"])
    if held["both"] > 1.0:
        assert held["both"] > max(held["dry"], held["wet"])


@given(
    st.lists(st.tuples(st.floats(0.01, 3.0), st.floats(0.01, 50.0)), min_size=1, max_size=6),
    st.floats(-30.0, 15.0),
    st.floats(0.2, 0.9),
    st.floats(0.3, 1.0),
)
def test_the_steady_state_is_that_of_an_optimiser(made, t_out: float, rh: float, rh_out) -> None:
    """The pressures below saturation with the least energy of flow, found by bounded least squares.

    That variational form of the same physics (an obstacle problem) knows nothing of hulls.
    """
    wall = Assembly(
        name="any", layers=tuple(layer(f"layer {i}", r, sd) for i, (r, sd) in enumerate(made))
    )
    planes = wall.planes()
    t = planes.temperatures(np.array([20.0]), np.array([t_out]))[:, 0]
    p_sat = air.saturation_pressure(t)
    ends = (min(rh * p_sat[0], p_sat[0]), min(rh_out * p_sat[-1], p_sat[-1]))
    sd, n = planes.sd_m, p_sat.size

    rate = assembly._rates(sd, p_sat, ends, np.zeros(n, bool))

    root = 1.0 / np.sqrt(np.diff(sd))
    rows = np.zeros((n - 1, n))
    rows[np.arange(n - 1), np.arange(n - 1)] = -root
    rows[np.arange(n - 1), np.arange(1, n)] = root
    inner = slice(1, n - 1)
    p = p_sat.copy()
    p[0], p[-1] = ends
    if n > 2:
        known = rows[:, [0, n - 1]] @ np.array(ends)
        p[inner] = lsq_linear(
            rows[:, inner] / 100.0, -known / 100.0, (-np.inf, p_sat[inner]), tol=1e-14
        ).x
    flow = assembly.DIFFUSION_KG_M_S_PA * -np.diff(p) / np.diff(sd)
    # The optimiser leaves some 1e-6 of the pressures, which thin layers magnify in their flows.
    scale = assembly.DIFFUSION_KG_M_S_PA * p_sat.max() / np.diff(sd).min()
    assert rate[inner] == pytest.approx(flow[:-1] - flow[1:], abs=1e-4 * scale)
    assert np.all(rate >= 0.0)


@given(
    st.lists(st.tuples(st.floats(0.05, 1.5), st.floats(0.05, 20.0)), min_size=2, max_size=5),
    st.floats(-5.0, 12.0),
    st.floats(0.3, 0.8),
)
def test_water_of_a_year_is_conserved_and_never_below_zero(made, mean_c: float, rh: float) -> None:
    wall = Assembly(
        name="any", layers=tuple(layer(f"layer {i}", r, sd) for i, (r, sd) in enumerate(made))
    )

    found = screened(wall, year(cold_year(mean_c), rh_room=rh))

    assert np.all(found.held_g_m2 >= 0.0)
    assert np.all(found.condensed_g_m2 >= 0.0)
    assert np.all(found.dried_g_m2 >= 0.0)
    left = found.condensed_g_m2.sum() - found.dried_g_m2.sum()
    assert left >= -1e-9
    assert found.stays_wet == (left > 1e-9)
    drier = screened(wall, year(cold_year(mean_c), rh_room=rh - 0.1))
    assert drier.condensed_g_m2.sum() <= found.condensed_g_m2.sum() + 1e-9


@pytest.mark.parametrize("rh", [0.4, 0.45])
def test_months_that_dry_a_plane_agree_with_small_steps(rh: float) -> None:
    """The same year in steps of two hours, which start wet where the step before ended wet."""
    layers = (layer("board", 0.05, 0.1), layer("wool", 3.0, 0.2), layer("sheathing", 0.1, 2.0))
    wall, months = Assembly(name="frame", layers=layers), year(cold_year(), rh_room=rh)

    found = screened(wall, months)

    planes = wall.planes()
    p_sat = air.saturation_pressure(planes.temperatures(months.t_room_c, months.t_out_c))
    first = next(
        m
        for m in range(12)
        if found.condensed_g_m2[:, m].any() and not found.held_g_m2[:, m - 1].any()
    )
    held = np.zeros(len(planes.names))
    for m in np.arange(first, first + 12) % 12:
        ends = (months.p_room_pa[m], months.p_out_pa[m])
        for _ in range(int(MONTH_S[m] / 7200.0)):
            rate = assembly._rates(planes.sd_m, p_sat[:, m], ends, held > 0.0)
            held = np.maximum(held + 7200.0 * rate, 0.0)
        # 0.5 g/m2: a plane dries up to a step late, at some 0.2 g/m2 an hour.
        assert found.held_g_m2[:, m] == pytest.approx(1e3 * held, abs=0.5)
    assert found.held_g_m2.max() > 50.0
    assert not found.stays_wet


def test_a_wall_that_is_wetted_in_two_spells_and_dries_is_not_said_to_stay_wet() -> None:
    """A mild February between cold months: the year that begins in November ends dry."""
    t_out = np.array([-5.0, 7.0, 2.0, 9.0, 13.0, 16.0, 18.0, 17.0, 13.0, 9.0, 4.0, -4.0])
    layers = (layer("gypsum", 0.05, 0.1), layer("wool", 4.3, 0.16), layer("board", 0.09, 2.1))
    wall, months = Assembly(name="frame", layers=layers), year(t_out, rh_room=0.45)

    found = screened(wall, months)

    planes = wall.planes()
    p_sat = air.saturation_pressure(planes.temperatures(months.t_room_c, months.t_out_c))
    water, held = np.zeros(len(planes.names)), np.zeros((len(planes.names), 12))
    for m in [*range(12)] * 6:  # six years, until they are alike
        ends = (months.p_room_pa[m], months.p_out_pa[m])
        _, _, water = assembly._one_month(planes.sd_m, p_sat[:, m], ends, water, float(MONTH_S[m]))
        held[:, m] = 1e3 * water
    assert not held[:, 8].any()
    assert not found.stays_wet
    assert found.held_g_m2 == pytest.approx(held, abs=1e-9)


def test_where_a_vapour_retarder_belongs() -> None:
    """Inside it keeps a cold wall dry, outside it keeps it wet: a rule of building practice."""
    wool, foil = layer("wool", 3.0, 0.15), layer("foil", 0.0, 50.0)
    months = year(cold_year(), rh_room=0.5)

    inside = screened(Assembly(name="a", layers=(foil, wool)), months)
    outside = screened(Assembly(name="b", layers=(wool, foil)), months)

    assert not inside.condensed_g_m2.any()
    assert inside.wettest is None
    assert outside.stays_wet
    assert outside.planes.names[outside.wettest] == "wool | foil"


def test_leaking_air_condenses_where_its_dew_point_is_above_the_sheathing_s_inside() -> None:
    """Room 20 °C: 40 % has its dew point at 6.0 °C (handbook chart), the plane is near T_out."""
    wall = Assembly(name="a", layers=(layer("wool", 5.0, 0.1), layer("board", 0.1, 1.0)))
    planes = wall.planes()
    assert planes.names[planes.reached] == "wool | board"
    t_out = np.array([-10.0, 0.0, 5.0, 5.3, 5.8, 10.0, 20.0])
    room = np.full(t_out.size, 20.0)

    hours = assembly.leak_condensation(
        wall, t_room_c=room, t_out_c=t_out, p_room_pa=0.40 * air.saturation_pressure(room)
    )

    # 20 - (5.13/5.27)*(20 - T_out) < 6.0 up to 5.6 °C outdoors.
    assert hours == 4.0


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({"sd_m": 1.0}, "needs either resistance_m2_k_w or conductivity_w_m_k, got none"),
        (
            {"resistance_m2_k_w": 1.0, "sd_m": 1.0, "vapour_resistance_factor": 5},
            "needs either sd_m or vapour_resistance_factor, got sd_m and",
        ),
        ({"conductivity_w_m_k": 0.04, "sd_m": 1.0}, "conductivity_w_m_k needs thickness_mm"),
        (
            {"resistance_m2_k_w": 1.0, "sd_m": 1.0, "vapour_resistance_factor_wet": 5},
            "vapour_resistance_factor_wet needs vapour_resistance_factor",
        ),
        (
            {
                "thickness_mm": 12.0,
                "resistance_m2_k_w": 0.1,
                "vapour_resistance_factor": 30,
                "vapour_resistance_factor_wet": 50,
            },
            "vapour_resistance_factor_wet must be at most the dry 30, got 50",
        ),
        ({"resistance_m2_k_w": 1.0, "sd_m": 0.0}, "greater than 0"),
    ],
)
def test_a_layer_told_twice_or_not_at_all_is_refused(keys, message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        WallLayer(name="layer", **keys)


def test_a_thick_layer_is_divided() -> None:
    """160 mm of 0.037 W/(m K): 4.32 m2 K/W, in 18 parts of at most 0.25 (ISO 13788, memory)."""
    wool = WallLayer(
        name="wool", thickness_mm=160, conductivity_w_m_k=0.037, vapour_resistance_factor=1.2
    )
    planes = Assembly(name="a", layers=(wool,)).planes()

    assert len(planes.names) == 1 + 18
    assert planes.names[1] == "within wool"
    assert planes.sd_m[-1] == pytest.approx(0.192)
