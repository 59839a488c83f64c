"""The year numbers of many cases at once, against those of each option from its hours."""

from __future__ import annotations

import numpy as np
import pytest

from dewmargin import balance, batch, yearly
from dewmargin.comparison import compare
from dewmargin.demo import demo_folder
from dewmargin.kernel.source import NEVER
from dewmargin.scenario import load

FILES = ("larch_house.toml", "larch_house_simulated.toml")


def numbers_of(scenario, result):
    """Return the year numbers of all options, solved as one batch."""
    case, hours = result.case, result.hours
    of = batch.building(case)
    book = yearly.ledger(hours, low_rh=scenario.comfort.low_rh, high_rh=scenario.comfort.high_rh)
    wanted = []
    lows = [of.to_hold(np.full(case.n_steps, NEVER))]
    devices, takers = [batch.device(case, balance.idle(case.n_steps))], {}
    of_low, of_device, asks = [0], [0], [-1]
    for strategy in scenario.strategies:
        rh = strategy.setpoint(case)
        w_set = balance.setpoint_humidity_ratio(case, rh)
        lows.append(of.to_hold(w_set))
        demand = balance.demand(case, rh)
        wanted.append(np.repeat(demand.added_kg / case.steps_per_hour, case.steps_per_hour))
        for equipment in scenario.equipment:
            for supply in scenario.supplies:
                water = supply.feed_water(case)
                can = equipment.capability(
                    case,
                    water,
                    w_base_kg_kg=np.repeat(result.options[0].outcome.w_kg_kg, case.steps_per_hour),
                    w_set_kg_kg=w_set,
                    demand_kg_s=np.repeat(demand.added_kg / 3600.0, case.steps_per_hour),
                )
                takers[len(devices)] = yearly.Taker(
                    capability=can, heater=water.heater, tariff=scenario.tariff
                )
                devices.append(batch.device(case, can))
                of_low.append(len(lows) - 1)
                of_device.append(len(devices) - 1)
                asks.append(len(wanted) - 1)
    cases = batch.Cases(
        low=np.array(lows),
        devices=devices,
        of_low=of_low,
        of_low_wet=of_low,
        of_device=of_device,
        wet_above_kg_m2=np.full((len(of_low), len(case.surfaces)), np.inf),
    )
    return yearly.year_numbers(
        of,
        book,
        batch.solve(of, cases),
        devices=devices,
        of_device=of_device,
        takers=takers,
        wanted_kg=np.array(wanted),
        wanted_of=asks,
    )


@pytest.mark.slow
@pytest.mark.parametrize("file", FILES)
def test_a_batch_has_the_numbers_of_every_option_of_the_demo(file) -> None:
    """Counts are equal; sums are taken in another order, which moves their last digits."""
    scenario = load(demo_folder() / "scenarios" / file)
    result = compare(scenario)

    found = numbers_of(scenario, result)

    assert set(found) == set(yearly.METRICS)
    for name in yearly.METRICS:
        expected = [option.row[name] for option in result.options]
        unknown = [value is None for value in expected]
        np.testing.assert_array_equal(np.isnan(found[name]), unknown, err_msg=name)
        known = np.array([np.nan if v is None else v for v in expected])
        if name.endswith("_h") and name not in ("running_h", "below_band_percent_h"):
            np.testing.assert_array_equal(found[name], known, err_msg=name)
        else:
            np.testing.assert_allclose(found[name], known, rtol=1e-9, atol=1e-9, err_msg=name)
