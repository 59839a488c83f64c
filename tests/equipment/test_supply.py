"""Feed water: mains, given temperatures, what counts as hot, and what is refused."""

from __future__ import annotations

import numpy as np
import pydantic
import pytest

from dewmargin.case import HourlyCase
from dewmargin.contracts import Supply as SupplyContract
from dewmargin.equipment.supply import Supply
from dewmargin.errors import InputError
from dewmargin.mains import mains_temperature


def case_of(days: int) -> HourlyCase:
    """Return an invented case with seasons, a day being a step to be short."""
    n = days
    day = np.arange(n)
    flat = np.ones(n)
    return HourlyCase(
        title="invented",
        departure=True,
        interval_start=(np.datetime64("2025-01-01", "s") + day * np.timedelta64(86_400, "s")),
        t_out_c=8.0 - 12.0 * np.cos(2.0 * np.pi * day / 365.0),
        w_out_kg_kg=0.003 * flat,
        p_pa=1e5 * flat,
        t_air_c=20.0 * flat,
        exchange_kg_s=0.05 * flat,
        w_base_kg_kg=0.003 * flat,
        gains_kg_s=0.0 * flat,
        heating_w=0.0 * flat,
        cooling=flat < 0.0,
        dry_air_kg=500.0,
        latitude_deg=48.0,
    )


def test_mains_water_follows_the_weather_and_is_not_hot() -> None:
    case = case_of(365)

    feed = Supply(name="cold").feed_water(case)

    assert feed.name == "cold"
    np.testing.assert_array_equal(
        feed.t_feed_c, mains_temperature(case.t_out_c, case.interval_start, 48.0)
    )
    assert not feed.hot.any()


def test_a_given_temperature_holds_all_year_and_is_hot_where_the_mains_are_colder() -> None:
    case = case_of(365)
    mains = mains_temperature(case.t_out_c, case.interval_start, 48.0)

    feed = Supply(name="well", temperature_c=12.0).feed_water(case)

    assert np.all(feed.t_feed_c == 12.0)
    np.testing.assert_array_equal(feed.hot, mains < 11.5)
    assert 0 < np.count_nonzero(feed.hot) < 365


def test_temperatures_may_be_written_with_their_unit() -> None:
    supply = Supply.model_validate({"name": "hot", "temperature_c": "131 degF"})

    assert supply.temperature_c == pytest.approx(55.0)


def test_mains_need_all_months() -> None:
    with pytest.raises(InputError) as caught:
        Supply(name="cold").feed_water(case_of(40))

    assert str(caught.value) == (
        "supplies['cold'].source: the mains temperature follows from all 12 months, "
        "the weather has 2 (give temperature_c)"
    )


def test_a_given_temperature_needs_no_months() -> None:
    feed = Supply(name="hot", temperature_c=55.0).feed_water(case_of(40))

    assert feed.hot.all()


@pytest.mark.parametrize(
    "keys",
    [
        pytest.param({"temperature_c": 0.5}, id="ice"),
        pytest.param({"temperature_c": 96.0}, id="steam"),
        pytest.param({"source": "well"}, id="a source that is not known"),
        pytest.param({"line": {"length_m": 8}}, id="a feed line, which nothing here models"),
    ],
)
def test_what_has_no_meaning_is_refused(keys: dict) -> None:
    with pytest.raises(pydantic.ValidationError):
        Supply.model_validate({"name": "x", **keys})


def test_it_is_a_supply_by_contract() -> None:
    assert isinstance(Supply(name="cold"), SupplyContract)
