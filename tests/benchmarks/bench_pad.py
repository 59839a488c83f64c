"""How fast a pad is solved: ``python tests/benchmarks/bench_pad.py``.

Pad states a second, and the year of a pad in the demo house on each kind of feed. Times are medians
of eleven rounds, in turn, of CPU time: one thread.
"""

from __future__ import annotations

import statistics
import sys
import time
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.equipment.supply import Supply
from dewmargin.equipment.wetted_pad import WettedPad
from dewmargin.physics import pad
from dewmargin.scenario import load
from dewmargin.solve import balance
from dewmargin.studies.demo import demo_folder

if TYPE_CHECKING:
    from collections.abc import Callable

ROUNDS = 11
N = 35_040
PAD = {"name": "pad", "airflow_kg_s": 0.09, "effectiveness": 0.65}
LINE = {"length_m": 8, "bore_mm": 6}


def rounds(jobs: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Return the median CPU time of each job, run in turn. [s]."""
    took: dict[str, list[float]] = {name: [] for name in jobs}
    for _ in range(ROUNDS):
        for name, job in jobs.items():
            start = time.process_time()
            job()
            took[name].append(time.process_time() - start)
    return {name: statistics.median(times) for name, times in took.items()}


def main() -> None:
    """Print the table."""
    draw = np.random.default_rng(1)
    states = {
        "airflow_kg_s": 0.09,
        "t_in_c": draw.uniform(18.0, 60.0, N),
        "w_in_kg_kg": draw.uniform(0.002, 0.008, N),
        "p_pa": 95e3,
        "feed_kg_s": 15.0 / 3600.0,
        "t_feed_c": draw.uniform(5.0, 60.0, N),
        "effectiveness": 0.65,
    }
    scenario = load(demo_folder() / "scenarios" / "larch_house.toml")
    case = scenario.case(scenario.read_weather())
    rh = np.full(case.n_steps, 0.35)
    nodes = {
        "w_base_kg_kg": balance.baseline(case).w_kg_kg,
        "w_set_kg_kg": balance.setpoint_humidity_ratio(case, rh),
        "demand_kg_s": balance.demand(case, rh).added_kg / 3600.0,
    }

    def year(supply: Supply, **keys: object) -> Callable[[], object]:
        device, water = WettedPad.model_validate(PAD | keys), supply.feed_water(case)
        return lambda: device.capability(case, water, **nodes)

    cold = Supply(name="cold")
    line = Supply(name="hot", temperature_c=55.0, line=LINE)
    orifice, metered = {"feed_kg_h": 15.0}, {"feed_ratio": 3.0}
    found = rounds(
        {
            f"{N} pad states": lambda: pad.evaporate(**states),
            "year, own fan, heating": year(cold, arrangement="own_fan", **orifice),
            "year, bypass, heating": year(cold, **orifice),
            "year, bypass, heating, hot line": year(line, **orifice),
            "year, bypass, humidity": year(cold, call="humidity", **orifice),
            "year, bypass, humidity, hot line": year(line, call="humidity", **orifice),
            "year, bypass, humidity, metered": year(cold, call="humidity", **metered),
        }
    )
    for name, seconds in found.items():
        sys.stdout.write(f"{name:36} {1e3 * seconds:6.1f} ms\n")
    sys.stdout.write(f"pad states a second: {N / found[f'{N} pad states'] / 1e6:.1f} million\n")


if __name__ == "__main__":
    main()
