"""The wetted pad as equipment: its line through two humidities, its modes, its refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pydantic
import pytest

from dewmargin import pad
from dewmargin.case import AirSystem, HourlyCase
from dewmargin.contracts import Capability, Equipment, FeedWater, Mode
from dewmargin.equipment.wetted_pad import WettedPad
from dewmargin.errors import InputError

N = 24
FLAT = np.ones(N)
RISING = np.linspace(0.0, 1.0, N)  # a day that begins without heat and ends with nothing else
CASE = HourlyCase(
    title="invented",
    departure=True,
    interval_start=np.datetime64("2025-01-01", "s") + np.arange(N) * np.timedelta64(3600, "s"),
    t_out_c=-10.0 * FLAT,
    w_out_kg_kg=0.001 * FLAT,
    p_pa=85e3 * FLAT,
    t_air_c=20.0 + RISING,
    exchange_kg_s=0.05 * FLAT,
    w_base_kg_kg=0.002 + 0.001 * RISING,
    gains_kg_s=0.0 * FLAT,
    heating_w=3e3 * FLAT,
    cooling=FLAT < 0.0,
    dry_air_kg=500.0,
    air_system=AirSystem(heat_frac=RISING, t_supply_c=40.0 + 15.0 * RISING, airflow_kg_s=0.5),
)
FEED = FeedWater(name="hot", t_feed_c=50.0 + RISING, hot=FLAT > 0.0)
BYPASS = {"name": "bypass pad", "airflow_kg_s": 0.09, "effectiveness": 0.65, "feed_kg_h": 15.0}


def equipment(**keys: object) -> WettedPad:
    return WettedPad.model_validate(BYPASS | keys)


def capability(
    device: WettedPad, case: HourlyCase = CASE, w_set: np.ndarray | None = None
) -> Capability:
    return device.capability(
        case,
        FEED,
        w_base_kg_kg=case.w_base_kg_kg,
        w_set_kg_kg=0.0055 * FLAT if w_set is None else w_set,
    )


def rate(mode: Mode, w: np.ndarray) -> np.ndarray:
    return mode.r0_kg_s - mode.r1_kg_s * w


def evaporation(t_in_c: np.ndarray, w: np.ndarray, **changes: float) -> np.ndarray:
    inputs = {"airflow_kg_s": 0.09, "effectiveness": 0.65, "feed_kg_s": 15.0 / 3600.0} | changes
    state = pad.evaporate(
        **inputs, t_in_c=t_in_c, w_in_kg_kg=w, p_pa=CASE.p_pa, t_feed_c=FEED.t_feed_c
    )
    return state.evaporation_kg_s


@pytest.mark.parametrize("w", [CASE.w_base_kg_kg, 0.0055 * FLAT], ids=["unhumidified", "set"])
def test_the_line_meets_the_pad_at_both_ends(w: np.ndarray) -> None:
    got = capability(equipment(call="humidity"))

    assert CASE.air_system is not None
    heated, resting = RISING > 0.0, RISING < 1.0
    plenum = evaporation(CASE.air_system.t_supply_c, w)
    room = evaporation(CASE.t_air_c, w)
    assert got.added is not None
    np.testing.assert_allclose(rate(got.heat, w)[heated], plenum[heated], rtol=1e-9)
    np.testing.assert_allclose(rate(got.added, w)[resting], room[resting], rtol=1e-9)


def test_a_humid_set_point_below_the_room_is_as_good_an_end() -> None:
    below = CASE.w_base_kg_kg - 0.0008

    mode = capability(equipment(), w_set=below).heat

    assert CASE.air_system is not None
    expected = evaporation(CASE.air_system.t_supply_c, below)
    np.testing.assert_allclose(rate(mode, below)[1:], expected[1:], rtol=1e-9)


def test_a_set_point_at_the_room_still_gives_the_slope() -> None:
    same = CASE.w_base_kg_kg

    mode = capability(equipment(), w_set=same).heat

    # A chord of 1e-4 kg/kg is a tangent to 1 %.
    far = capability(equipment(), w_set=same + 5e-4).heat
    np.testing.assert_allclose(mode.r1_kg_s[1:], far.r1_kg_s[1:], rtol=0.02)
    assert np.all(mode.r1_kg_s[1:] > 0.0)


def test_modes_without_time_are_not_computed() -> None:
    got = capability(equipment(call="humidity"))

    assert got.added is not None
    assert got.heat_frac is CASE.air_system.heat_frac  # type: ignore[union-attr]
    assert (got.heat.r0_kg_s[0], got.heat.r1_kg_s[0]) == (0.0, 0.0)
    assert (got.added.r0_kg_s[-1], got.added.r1_kg_s[-1]) == (0.0, 0.0)
    assert np.all(got.heat.r0_kg_s[1:] > 0.0)
    assert np.all(got.added.r0_kg_s[:-1] > 0.0)


def test_steps_in_which_nothing_is_held_are_not_computed() -> None:
    w_set = np.where(np.arange(N) < 12, 0.0055, -1e9)

    mode = capability(equipment(), w_set=w_set).heat

    assert np.all(mode.r0_kg_s[1:12] > 0.0)
    assert np.all(mode.r0_kg_s[12:] == 0.0)


def test_on_a_call_for_heat_nothing_runs_beside() -> None:
    assert capability(equipment()).added is None


def test_on_a_call_for_humidity_the_pad_also_sees_the_room_s_own_air() -> None:
    got = capability(equipment(call="humidity"))

    assert got.added is not None
    rate = [mode.r0_kg_s - mode.r1_kg_s * 0.005 for mode in (got.added, got.heat)]
    both = (rate[0] > 0.0) & (rate[1] > 0.0)
    assert both.sum() > 10
    assert np.all(rate[0][both] < rate[1][both])  # cooler air takes less


def test_it_is_fed_while_it_runs_whatever_evaporates() -> None:
    got = capability(equipment(call="humidity"))

    assert got.added is not None
    np.testing.assert_allclose(got.heat.feed_kg_s * 3600.0, 15.0 * FLAT)
    np.testing.assert_allclose(got.added.feed_kg_s * 3600.0, 15.0 * FLAT)


def test_water_that_misses_the_pad_lowers_the_rate() -> None:
    whole, half = (capability(equipment(contact_frac=f)).heat for f in (1.0, 0.5))

    # Half of 51 °C feed missing: 2.58 of 2.99 kg/h at 45 °C and 60 °C feed, so a tenth and more.
    w = CASE.w_base_kg_kg
    assert np.all(rate(half, w)[1:] < 0.95 * rate(whole, w)[1:])


def test_a_pad_that_runs_dry_gives_no_more_than_the_feed() -> None:
    got = capability(equipment(feed_kg_h=1.0, call="humidity"))

    for w in (CASE.w_base_kg_kg, 0.004 * FLAT, 0.0055 * FLAT):
        assert np.all(rate(got.heat, w) <= 1.0 / 3600.0 * (1.0 + 1e-12))
    assert rate(got.heat, CASE.w_base_kg_kg)[-1] == pytest.approx(1.0 / 3600.0)


def test_cold_feed_in_a_humid_room_gives_nothing_rather_than_less() -> None:
    # 20 °C air near saturation over 2 °C water: the pad would dry the room.
    w = 0.0165 * FLAT
    cold = FeedWater(name="cold", t_feed_c=2.0 * FLAT, hot=FLAT < 0.0)

    got = equipment(call="humidity").capability(
        replace(CASE, w_base_kg_kg=w), cold, w_base_kg_kg=w, w_set_kg_kg=w + 4e-4
    )

    dries = pad.evaporate(
        airflow_kg_s=0.09,
        t_in_c=CASE.t_air_c,
        w_in_kg_kg=w,
        p_pa=CASE.p_pa,
        feed_kg_s=15.0 / 3600.0,
        t_feed_c=2.0,
        effectiveness=0.65,
    )
    assert dries.evaporation_kg_s[0] < 0.0
    assert got.added is not None
    assert np.all(rate(got.added, w) >= 0.0)
    assert rate(got.added, w)[0] == 0.0


def test_it_needs_ducts() -> None:
    with pytest.raises(InputError) as caught:
        capability(equipment(), replace(CASE, air_system=None))

    assert str(caught.value) == (
        "equipment['bypass pad'].kind: a wetted pad needs an air system, and this space has none "
        "(give the space ducts: heating in [space.house] or [space.simulation])"
    )


@pytest.mark.parametrize(
    "keys",
    [
        pytest.param({"airflow_kg_s": 0.0}, id="no air"),
        pytest.param({"effectiveness": 1.1}, id="better than saturation"),
        pytest.param({"effectiveness": 0.0}, id="no effect"),
        pytest.param({"feed_kg_h": 0.0}, id="no feed"),
        pytest.param({"contact_frac": 1.5}, id="more contact than feed"),
        pytest.param({"call": "always"}, id="a call that ducts do not have"),
        pytest.param({"media": "paper"}, id="a key that is not known"),
    ],
)
def test_what_has_no_meaning_is_refused(keys: dict) -> None:
    with pytest.raises(pydantic.ValidationError):
        equipment(**keys)


def test_quantities_may_be_written_with_their_unit() -> None:
    assert equipment(feed_kg_h="0.25 kg/min").feed_kg_h == pytest.approx(15.0)


def test_it_is_an_equipment_by_contract() -> None:
    assert isinstance(equipment(), Equipment)
