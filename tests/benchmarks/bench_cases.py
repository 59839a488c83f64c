"""How fast the balance solves cases side by side: `python tests/benchmarks/bench_cases.py`.

The 19 cases of the demo house: no humidifier, its six strategies with a device without limit, and
with its pad on cold and on hot water. Then four of them, two demands and two pads, in the house as
it is and with more or less exchange. Prints CPU time a case-hour, all outputs included, and how
long compiling takes; the demo's folder is the only input. Not collected by pytest.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from dewmargin.kernel.source import NEVER
from dewmargin.scenario import load
from dewmargin.solve import balance, cases
from dewmargin.studies.demo import demo_folder

ROUNDS = 15
COMPILE = """
import time
import numba
from dewmargin import kernel
from kernel_cases import constant
start = time.process_time()
constant(1).solve(kernel.cases(), 0.005, 0.0)
print(time.process_time() - start)
"""


def demo_cases() -> tuple[cases.Building, cases.Cases]:
    """Return the demo house and its cases."""
    scenario = load(demo_folder() / "scenarios" / "larch_house.toml")
    case = scenario.case(scenario.read_weather())
    dry, building = balance.baseline(case), cases.building(case)
    rules = [strategy.setpoint(case) for strategy in scenario.strategies]
    held = [balance.setpoint_humidity_ratio(case, rh) for rh in rules]
    lows = [np.full(case.n_steps, NEVER), *held]
    demand = balance.demand(case, rules[1]).added_kg / case.step_s
    pads = [
        scenario.equipment[0].capability(
            case, supply.feed_water(case),
            w_base_kg_kg=dry.w_kg_kg, w_set_kg_kg=held[1], demand_kg_s=demand,
        )
        for supply in scenario.supplies
    ]  # fmt: skip
    nothing = cases.device(case, balance.idle(case.n_steps))
    devices = [nothing, cases.device(case, None), *(cases.device(case, pad) for pad in pads)]
    strategies = range(1, len(lows))
    of_low = [0, *(row for _ in devices[1:] for row in strategies)]
    of_device = [0, *(dev for dev in range(1, len(devices)) for _ in strategies)]
    together = cases.Cases(
        low=np.array([building.to_hold(low) for low in lows]),
        devices=devices,
        of_low=of_low,
        of_low_wet=of_low,
        of_device=of_device,
        wet_above_kg_m2=np.full((len(of_low), building.area_m2.size), np.inf),
    )
    return building, together


def buildings(like: cases.Building, n: int) -> list[cases.Building]:
    """Return buildings with 0.5 to 1.5 of the exchange of one, and of the vapour it brings."""
    case = like.case
    return [
        cases.building(replace(case, exchange_kg_s=factor * case.exchange_kg_s))
        for factor in np.linspace(0.5, 1.5, n)
    ]


def seconds(of: list[tuple[cases.Building, cases.Cases]]) -> float:
    """Return CPU seconds of a year of these cases, without warm-up."""
    starts = [building.start(each.n) for building, each in of]
    start = time.process_time()
    cases.solve_all(of, starts=starts)
    return time.process_time() - start


def seconds_of_compiling() -> float:
    """Return CPU seconds of the first call with an empty cache."""
    with TemporaryDirectory() as cache:
        told = {"DEWMARGIN_CACHE_DIR": cache, "PYTHONPATH": str(Path(__file__).parents[1])}
        done = subprocess.run(
            [sys.executable, "-c", COMPILE],
            env=os.environ | told, check=True, capture_output=True, text=True,
        )  # fmt: skip
    return float(done.stdout)


def main() -> None:
    """Measure all groups in turn, and print the best round of each."""
    building, demo = demo_cases()
    groups = {
        "all 19": range(19),
        "190": [0] * 10 + 10 * [*range(1, 7)] + 10 * [*range(7, 13)] + 10 * [*range(13, 19)],
        "6 demands": range(1, 7),
        "6 pads, cold water": range(7, 13),
        "6 pads, hot water": range(13, 19),
        "no humidifier": [0],
        "1 demand": [2],
        "1 pad": [8],
    }
    work = {name: [(building, demo.some(list(which)))] for name, which in groups.items()}
    few = demo.some([1, 2, 7, 8])
    for n in (1, 8, 32):
        work[f"4 each of {n} buildings"] = [(each, few) for each in buildings(building, n)]
    best = dict.fromkeys(work, np.inf)
    for _ in range(ROUNDS):
        for name, of in work.items():
            best[name] = min(best[name], seconds(of))
    for name, of in work.items():
        ns = best[name] / sum(some.n for _, some in of) / building.case.n_steps * 1e9
        print(f"{name:22} {ns:4.0f} ns a case-hour")  # noqa: T201 - a script
    print(f"compiling {seconds_of_compiling():.1f} s")  # noqa: T201 - idem


if __name__ == "__main__":
    main()
