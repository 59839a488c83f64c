"""All options of a comparison as cases of one building, for what solves many at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dewmargin.kernel import year
from dewmargin.kernel.source import NEVER
from dewmargin.solve import balance, cases, year_of_many, year_on_gpu

COUNTS = [
    name
    for name in year_of_many.METRICS
    if name.endswith("_h") and name not in ("running_h", "below_band_percent_h")
]


def batch_of(scenario, result):
    """Return building, ledger, cases, takers and demands of all options of a scenario."""
    case, hours = result.case, result.hours
    of = cases.building(case)
    book = year_of_many.ledger(
        hours, low_rh=scenario.comfort.low_rh, high_rh=scenario.comfort.high_rh
    )
    wanted = []
    lows = [of.to_hold(np.full(case.n_steps, NEVER))]
    devices, takers = [cases.device(case, balance.idle(case.n_steps))], {}
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
                takers[len(devices)] = year_of_many.Taker(
                    capability=can, heater=water.heater, tariff=scenario.tariff
                )
                devices.append(cases.device(case, can))
                of_low.append(len(lows) - 1)
                of_device.append(len(devices) - 1)
                asks.append(len(wanted) - 1)
    every = cases.Cases(
        low=np.array(lows),
        devices=devices,
        of_low=of_low,
        of_low_wet=of_low,
        of_device=of_device,
        wet_above_kg_m2=np.full((len(of_low), len(case.surfaces)), np.inf),
    )
    return of, book, every, takers, wanted, asks


def by(module):
    """Return what stands in for a GPU: the same function, case by case."""

    def years(inputs, turns, n_wanted):  # noqa: ANN202 - a row a case
        n_cases, n_surfaces = inputs["wet_above"].shape
        work, late = np.zeros((6, n_cases, n_surfaces)), np.zeros(n_cases, dtype=np.int64)
        wanted = np.zeros((max(n_wanted, 1), inputs["hours"].shape[1]))
        out = np.zeros((n_cases, year.FOUND))
        given = [np.array(inputs[name], order="C") for name in year.INPUTS]

        def launch(which, first):  # noqa: ANN202 - who is late
            for c in which:
                module.year(c, first, *given, work, wanted, late, out)
            return late[which] > 0

        year.drive(launch, turns, inputs["shared"])
        return out

    return years


def job_of(result) -> tuple[year_on_gpu.Job, list[int]]:
    """Return all options of a comparison, each strategy's demand first, and where options are."""
    scenario, case, hours = result.scenario, result.case, result.hours
    of, book, given, takers, _, asks = batch_of(scenario, result)
    n = len(set(asks) - {-1})
    devices = [*given.devices, cases.device(case, None)]
    every = replace(
        given,
        devices=devices,
        of_low=[*range(1, n + 1), *given.of_low],
        of_low_wet=[*range(1, n + 1), *given.of_low_wet],
        of_device=[len(devices) - 1] * n + list(given.of_device),
        wet_above_kg_m2=np.full((n + given.n, len(case.surfaces)), np.inf),
    )
    assert hours is book.hours
    job = year_on_gpu.Job(of=of, book=book, cases=every, takers=takers, wanted_of=[-1] * n + asks)
    return job, list(range(n, n + given.n))
