"""A fixed rate: what it gives, drinks and draws, and when it may run."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pydantic
import pytest

from dewmargin.case import AirSystem, HourlyCase
from dewmargin.contracts import Capability, Equipment, FeedWater
from dewmargin.equipment.fixed_rate import FixedRate
from dewmargin.errors import InputError, OutOfRangeError
from references import psychrolib_oracle

if TYPE_CHECKING:
    from dewmargin.equipment.humidifier import Given, Inlet

N = 24
FLAT = np.ones(N)
CASE = HourlyCase(
    title="invented",
    departure=True,
    interval_start=np.datetime64("2025-01-01", "s") + np.arange(N) * np.timedelta64(3600, "s"),
    t_out_c=-10.0 * FLAT,
    w_out_kg_kg=0.001 * FLAT,
    p_pa=1e5 * FLAT,
    t_air_c=20.0 * FLAT,
    exchange_kg_s=0.05 * FLAT,
    w_base_kg_kg=0.002 * FLAT,
    gains_kg_s=0.0 * FLAT,
    heating_w=3e3 * FLAT,
    cooling=FLAT < 0.0,
    dry_air_kg=500.0,
)
DUCTED = replace(
    CASE,
    air_system=AirSystem(
        heat_frac=np.linspace(0.0, 1.0, N), t_supply_c=45.0 * FLAT, airflow_kg_s=0.5
    ),
)
FEED = FeedWater(name="cold", t_cold_c=8.0 * FLAT, t_start_c=8.0 * FLAT)


def capability(equipment: FixedRate, case: HourlyCase) -> Capability:
    return equipment.capability(
        case, FEED, w_base_kg_kg=case.w_base_kg_kg, w_set_kg_kg=0.005 * FLAT
    )


def test_it_gives_its_rate_in_any_air() -> None:
    got = capability(FixedRate(name="steam", rate_kg_h=1.8), CASE)

    assert got.added is None
    np.testing.assert_array_equal(got.heat_frac, FLAT)
    np.testing.assert_allclose(got.heat.r0_kg_s, 0.0005 * FLAT)
    np.testing.assert_array_equal(got.heat.r1_kg_s, 0.0 * FLAT)


def test_feed_goes_with_what_it_gives() -> None:
    mode = capability(FixedRate(name="blown down", rate_kg_h=2.0, feed_ratio=1.3), CASE).heat

    hour = mode.feed.total(3600.0 * FLAT, 2.0 * FLAT)
    np.testing.assert_allclose(hour, 2.6 * FLAT)


@pytest.mark.parametrize(
    ("call", "heat_frac", "runs_beside"),
    [
        pytest.param("always", FLAT, False, id="always: the whole hour"),
        pytest.param("heating", np.linspace(0.0, 1.0, N), False, id="heating: with the heat"),
        pytest.param("humidity", np.linspace(0.0, 1.0, N), True, id="humidity: the blower is run"),
    ],
)
def test_it_runs_when_called(call: str, heat_frac: np.ndarray, *, runs_beside: bool) -> None:
    got = capability(
        FixedRate.model_validate({"name": "x", "rate_kg_h": 1.0, "call": call}), DUCTED
    )

    np.testing.assert_array_equal(got.heat_frac, heat_frac)
    assert (got.added is not None) == runs_beside


@pytest.mark.parametrize("place", ["plenum", "room air"])
def test_in_ducts_it_gives_at_most_what_the_air_there_takes_up(place) -> None:
    """Mass balance of the duct, saturated along the wet bulb as psychrolib has it.

    With feed of the wet bulb's temperature the two are the same but for psychrolib's rounding of
    the wet bulb to 0.001 K.
    """
    psychrolib = psychrolib_oracle.load()
    system, w_set = DUCTED.air_system, 0.005
    t_c = 45.0 if place == "plenum" else 20.0
    wet_bulb = psychrolib.GetTWetBulbFromHumRatio(t_c, w_set, 1e5)
    at_wet_bulb = FeedWater(name="x", t_cold_c=wet_bulb * FLAT, t_start_c=wet_bulb * FLAT)

    got = FixedRate(name="big", rate_kg_h=30.0, call="humidity").capability(
        DUCTED, at_wet_bulb, w_base_kg_kg=DUCTED.w_base_kg_kg, w_set_kg_kg=w_set * FLAT
    )

    mode, has_time = (got.heat, slice(1, None)) if place == "plenum" else (got.added, slice(-1))
    room = psychrolib.GetSatHumRatio(wet_bulb, 1e5) - w_set
    most = float(system.airflow_kg_s[0]) * room
    assert most < 30.0 / 3600.0
    rate = mode.r0_kg_s - mode.r1_kg_s * w_set
    np.testing.assert_allclose(rate[has_time], most, rtol=1e-3)
    # What is throttled is not fed either.
    feed = mode.feed.total(FLAT, rate)
    np.testing.assert_allclose(feed[has_time], rate[has_time], rtol=1e-9)


@pytest.mark.parametrize("call", ["heating", "humidity"])
def test_a_call_needs_ducts(call: str) -> None:
    equipment = FixedRate.model_validate({"name": "attic unit", "rate_kg_h": 1.0, "call": call})

    with pytest.raises(InputError) as caught:
        capability(equipment, CASE)

    assert str(caught.value) == (
        f"equipment['attic unit'].call: \"{call}\" needs an air system, and this space has none "
        "(give the space ducts: heating in [space.house] or [space.simulation], "
        'or set call = "always" for a device of its own)'
    )


@pytest.mark.parametrize(
    "keys",
    [
        pytest.param({"rate_kg_h": 0.0}, id="no rate"),
        pytest.param({"rate_kg_h": 1.0, "feed_ratio": 0.9}, id="more vapour than water"),
        pytest.param({"rate_kg_h": 1.1e5}, id="more than the largest building takes"),
        pytest.param({"rate_kg_h": 1.0, "feed_ratio": 1001}, id="a tap left open"),
        pytest.param({"rate_kg_h": 1.0, "call": "never"}, id="a call that is not known"),
        pytest.param({"rate_kg_h": 1.0, "efficiency": 1.0}, id="a key that is not known"),
    ],
)
def test_what_has_no_meaning_is_refused(keys: dict) -> None:
    with pytest.raises(pydantic.ValidationError):
        FixedRate.model_validate({"name": "x", **keys})


def test_a_rate_that_is_no_number_is_refused_by_the_equipment_s_name() -> None:
    class Broken(FixedRate):
        def give(self, inlet: Inlet) -> Given:
            return replace(super().give(inlet), rate_kg_s=np.full(inlet.w_kg_kg.shape, np.nan))

    with pytest.raises(OutOfRangeError) as caught:
        capability(Broken(name="odd", rate_kg_h=1.0), CASE)

    assert str(caught.value) == (
        "equipment['odd']: rate 0: must be finite, but 24 of 24 values are not, the first at "
        "index 0"
    )


def test_it_is_an_equipment_by_contract() -> None:
    assert isinstance(FixedRate(name="x", rate_kg_h=1.0), Equipment)
