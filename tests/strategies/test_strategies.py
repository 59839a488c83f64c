"""The rules: what they ask for, and that they ask for it without looking ahead."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pydantic import ValidationError

from cases import small_case
from dewmargin.case import Sensor
from dewmargin.core import extensions
from dewmargin.errors import InputError
from dewmargin.physics import air, surfaces
from dewmargin.strategies.constant import Constant
from dewmargin.strategies.dew_point import DewPoint
from dewmargin.strategies.outdoor_reset import OutdoorReset
from dewmargin.strategies.schedule import Schedule
from dewmargin.strategies.surface_limit import SurfaceLimit

RULES = [
    pytest.param(Constant(name="a", rh=0.35), id="constant"),
    pytest.param(OutdoorReset(name="b", points=[[-20, 0.2], [5, 0.4]]), id="outdoor reset"),
    pytest.param(SurfaceLimit(name="c", margin_k=1.0), id="surface limit"),
    pytest.param(DewPoint(name="d", dew_point_c=2.0), id="dew point"),
    pytest.param(
        Schedule(name="e", rh=0.3, periods=[{"rh": 0.4, "from_h": 6, "to_h": 22}]), id="schedule"
    ),
]


@pytest.mark.parametrize("rule", RULES)
def test_a_rule_gives_one_fraction_a_step_and_does_not_look_ahead(rule) -> None:
    case = small_case(72)

    whole, part = rule.setpoint(case), rule.setpoint(case.first(30))

    assert whole.shape == (72,)
    assert np.all((whole >= 0.0) & (whole <= 1.0))
    assert rule.horizon_h == 0.0
    np.testing.assert_array_equal(whole[:30], part)


@pytest.mark.parametrize(
    ("t_out_c", "rh"),
    [
        pytest.param(-40.0, 0.15, id="flat below the coldest point"),
        pytest.param(-30.0, 0.15, id="at the coldest point"),
        pytest.param(-20.0, 0.20, id="half way between the first two"),
        pytest.param(-10.0, 0.25, id="at the middle point"),
        pytest.param(5.0, 0.40, id="at the warmest point"),
        pytest.param(30.0, 0.40, id="flat above the warmest point"),
    ],
)
def test_outdoor_reset_is_straight_between_its_points(t_out_c: float, rh: float) -> None:
    case = replace(small_case(1), t_out_c=np.array([t_out_c]))
    rule = OutdoorReset(name="x", points=[[-30, 0.15], [-10, 0.25], [5, 0.40]])

    assert rule.setpoint(case) == pytest.approx([rh])


def test_outdoor_reset_with_one_point_is_constant() -> None:
    assert OutdoorReset(name="x", points=[[0, 0.3]]).setpoint(small_case(3)) == pytest.approx(
        [0.3] * 3
    )


def test_outdoor_reset_takes_temperatures_in_fahrenheit() -> None:
    rule = OutdoorReset(name="x", points=[["14 degF", 0.25], ["41 degF", 0.40]])

    assert rule.points[0] == pytest.approx((-10.0, 0.25))


@pytest.mark.parametrize("margin_k", [0.0, 1.0, 3.0])
def test_surface_limit_leaves_the_coldest_surface_its_margin(margin_k: float) -> None:
    """Oracle: the dew point of the air that the rule asks for, computed the other way round."""
    case = small_case(48)
    coldest = np.minimum(*[s.t_surface_c for s in case.surfaces])

    rh = SurfaceLimit(name="x", margin_k=margin_k, cap_rh=1.0).setpoint(case)

    w = air.humidity_ratio_at_rh(case.t_air_c, rh, case.p_pa)
    # 1e-6 K: the dew point is iterated to 1e-9 K.
    assert surfaces.dew_margin(coldest, w, case.p_pa) == pytest.approx([margin_k] * 48, abs=1e-6)


@pytest.mark.parametrize("margin_rh", [0.0, 0.05, 0.5])
def test_surface_limit_leaves_a_margin_in_relative_humidity(margin_rh: float) -> None:
    """Below the highest humidity of ISO 13788, p_s(T_surface)/p_s(T_air); never below zero."""
    case = small_case(48)
    coldest = np.minimum(*[s.t_surface_c for s in case.surfaces])

    rh = SurfaceLimit(name="x", margin_rh=margin_rh, cap_rh=1.0).setpoint(case)

    most = air.saturation_pressure(coldest) / air.saturation_pressure(case.t_air_c)
    # 1e-3: the ratio of humidity ratios is not quite that of pressures.
    assert rh == pytest.approx(np.maximum(most - margin_rh, 0.0), abs=1e-3)


def test_surface_limit_has_one_margin() -> None:
    with pytest.raises(ValidationError, match="give either margin_k or margin_rh"):
        SurfaceLimit(name="x", margin_k=1.0, margin_rh=0.05)


def test_surface_limit_holds_less_while_its_surfaces_are_wet() -> None:
    case = small_case(48)

    plain = SurfaceLimit(name="x", surfaces=["edge"])
    drier = SurfaceLimit(name="x", surfaces=["edge"], while_film={"rh": 0.2, "above_g_m2": 5.0})
    off = SurfaceLimit(name="x", while_film={}).while_wet(case)

    assert plain.while_wet(case) is None
    wet = drier.while_wet(case)
    assert wet.surfaces == ("edge",)
    assert wet.above_g_m2 == 5.0
    assert np.array_equal(wet.rh_frac, np.minimum(plain.setpoint(case), 0.2))
    assert off.surfaces == ("centre", "edge")
    assert not off.rh_frac.any()


def test_surface_limit_watches_only_the_surfaces_it_names_and_keeps_its_cap() -> None:
    case = small_case(48)

    both = SurfaceLimit(name="x", cap_rh=1.0).setpoint(case)
    warm = SurfaceLimit(name="x", cap_rh=1.0, surfaces=["centre"]).setpoint(case)
    capped = SurfaceLimit(name="x", cap_rh=0.2, surfaces=["centre"]).setpoint(case)

    assert np.all(warm > both)
    assert capped == pytest.approx(np.minimum(warm, 0.2))


def test_surface_limit_allows_for_a_surface_in_a_damper_zone() -> None:
    case = small_case(4)
    offset = np.full(4, 5e-4)
    damper = replace(case.surfaces[1], w_offset_kg_kg=offset)

    here = SurfaceLimit(name="x", cap_rh=1.0).setpoint(replace(case, surfaces=case.surfaces[1:]))
    there = SurfaceLimit(name="x", cap_rh=1.0).setpoint(replace(case, surfaces=(damper,)))

    w_here = air.humidity_ratio_at_rh(case.t_air_c, here, case.p_pa)
    w_there = air.humidity_ratio_at_rh(case.t_air_c, there, case.p_pa)
    assert w_here - w_there == pytest.approx(offset, rel=1e-9)


def test_surface_limit_is_read_where_the_humidistat_hangs() -> None:
    case = small_case(4)
    offset = np.full(4, -4e-4)
    cool = replace(case, sensor=Sensor(t_air_c=case.t_air_c - 2.0, w_offset_kg_kg=offset))
    rule = SurfaceLimit(name="x", cap_rh=1.0)

    here, there = rule.setpoint(case), rule.setpoint(cool)

    # The space's humidity is the same: at the sensor it is 0.4 g/kg less, at 2 K less.
    w_here = air.humidity_ratio_at_rh(case.t_air_c, here, case.p_pa)
    w_there = air.humidity_ratio_at_rh(case.t_air_c - 2.0, there, case.p_pa)
    assert w_there == pytest.approx(w_here + offset, rel=1e-9)


def test_surface_limit_names_a_surface_that_is_not_there() -> None:
    with pytest.raises(InputError) as caught:
        SurfaceLimit(name="x", surfaces=["door"]).setpoint(small_case(2))

    assert str(caught.value) == (
        "strategies['x'].surfaces: no surface is called 'door' (surfaces: 'centre', 'edge')"
    )


def test_surface_limit_needs_a_surface() -> None:
    with pytest.raises(InputError) as caught:
        SurfaceLimit(name="x").setpoint(replace(small_case(2), surfaces=()))

    assert str(caught.value) == (
        "strategies['x']: needs at least one surface (add a [[surfaces]] table)"
    )


@pytest.mark.parametrize(
    "name", ["constant", "dew_point", "outdoor_reset", "schedule", "surface_limit"]
)
def test_built_in_rules_come_by_entry_point(name: str) -> None:
    assert extensions.load("strategy", name).model_fields["rule"].default == name
