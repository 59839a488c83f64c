"""What sweeps take: `bench_sweep.py [--cases N ...] [--many N ...] [--engine]`.

Rates of sweeps of one building and of many, with the share of the time that is not the kernel's;
writing a million rows; and the same plain room beside a vectorised numpy version and a plain loop
of pandas and psychrolib. `--engine` adds a run of EnergyPlus. Wall and CPU seconds, on all cores.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from dewmargin import columns, kernel
from dewmargin.energyplus.run import simulate
from dewmargin.physics import air
from dewmargin.solve.year_of_many import N_METRICS
from dewmargin.studies.compare.comparison import compare
from dewmargin.studies.demo import demo_folder
from dewmargin.studies.sweep import blocks
from dewmargin.studies.sweep.blocks import SolvedCases
from dewmargin.studies.sweep.dataset import Store
from dewmargin.studies.sweep.plan import Plan
from dewmargin.studies.sweep.run import sweep

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.case import HourlyCase

WEATHER = demo_folder() / "weather" / "larch_valley.epw"
ROOM = f"""
title = "plain room"
surfaces = [SURFACES]
strategies = [{{ name = "hold", rule = "constant", rh = 0.40 }}]
equipment = [EQUIPMENT]
supplies = [{{ name = "cold", cold_c = 8 }}]

[weather]
file = '{WEATHER}'

[space.house]
floor_area_m2 = 165
volume_m3 = 430
storeys = 2
leakage_m3_h_at_50pa = 1100
heat_loss_w_k = 190
bedrooms = 3
BUFFER
"""
PLAIN = {
    "SURFACES": "",
    "EQUIPMENT": '{ name = "steam", kind = "fixed_rate", rate_kg_h = 1.0 }',
    "BUFFER": "",
}
FULL = {
    "SURFACES": '{ name = "glass", temperature_index = 0.6, area_m2 = 14 }, '
    '{ name = "edge", temperature_index = 0.5, area_m2 = 4 }',
    "EQUIPMENT": '{ name = "pad", kind = "wetted_pad", airflow_kg_s = 0.09, '
    'effectiveness = 0.65, feed_kg_h = 15, call = "heating" }',
    "BUFFER": "buffer = { area_m2 = 500, moisture_buffer_value_g_m2_rh = 0.3 }\n"
    'heating = { kind = "furnace", capacity_kw = 12, airflow_l_s = 400 }',
}
# One building: set-points alone. Many: every case has its own.
SHARED = """
[[axes]]
input = "strategies.hold.rh"
start = 0.2
stop = 0.5
count = {n}
"""
DRAWN = {
    "space.house.leakage_m3_h_at_50pa": (500, 2000),
    "equipment.pad.effectiveness": (0.4, 0.8),
    "strategies.hold.rh": (0.2, 0.5),
}
MANY = '[sample]\nmethod = "latin_hypercube"\nn = {n}\n' + "".join(
    f'[[sample.inputs]]\ninput = "{key}"\ndistribution = "uniform"\nlow = {low}\nhigh = {high}\n'
    for key, (low, high) in DRAWN.items()
)


def room(folder: Path, said: dict[str, str], name: str) -> Path:
    """Write a scenario."""
    text = ROOM
    for key, value in said.items():
        text = text.replace(key, value)
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


class KernelTime:
    """CPU seconds inside the compiled pieces, of all threads."""

    def __init__(self) -> None:
        self.seconds, self._lock = 0.0, threading.Lock()
        for name in ("cases", "tally_room", "tally_device"):
            setattr(kernel, name, self._timed(getattr(kernel, name)))

    def _timed(self, door: Callable) -> Callable:
        def opened() -> Callable:
            solver = door()

            def run(*arguments: object) -> None:
                began = time.thread_time()
                solver(*arguments)
                with self._lock:
                    self.seconds += time.thread_time() - began

            return run

        return opened


def rate(folder: Path, axes: str, n: int, inside: KernelTime) -> str:
    """Return one line on a sweep of n cases, each with and without a humidifier."""
    path = folder / "sweep.toml"
    path.write_text('scenario = "full.toml"\n' + axes.format(n=n), encoding="utf-8")
    before, wall, cpu = inside.seconds, time.perf_counter(), time.process_time()
    found = sweep(path, folder / f"out-{time.monotonic_ns()}")
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    years = found.dataset().count_rows()
    outside = 1.0 - (inside.seconds - before) / cpu
    return (
        f"{n:9d} cases, {years:9d} case-years: {wall:7.2f} s, {cpu:7.2f} s of CPU, "
        f"{years / wall:8.0f} case-years/s, outside the kernel {100 * outside:.0f} % of CPU, "
        f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB at most so far"
    )


def writing(folder: Path, n: int = 1_000_000) -> str:
    """Return one line on writing n rows with all metrics, in blocks as a sweep has them."""
    path = folder / "write.toml"
    path.write_text('scenario = "full.toml"\n' + SHARED.format(n=n // 2), encoding="utf-8")
    plan, store = Plan(path), Store(folder / "written")
    size = plan.block_cases
    chance = np.random.default_rng(1)
    numbers = chance.random((size, 2, N_METRICS)) * 1000.0
    hours = [k for k, c in enumerate(columns.YEARLY) if c.name.endswith("_h")]
    numbers[..., hours] = np.round(numbers[..., hours])
    took = np.zeros(3)
    n_bytes = 0
    for block in map(plan.block, range(plan.n_blocks)):
        m = block.stop - block.start
        draws = tuple(plan.draws(block.start, block.stop))
        piece = SolvedCases(tuple(range(block.start, block.stop)), draws, numbers[:m], ())
        times = [time.process_time()]
        table = blocks.table(plan, 0, [piece])
        times.append(time.process_time())
        content = blocks.parquet(table)
        times.append(time.process_time())
        began = time.perf_counter()
        store.put(f"dataset/{block.number}.parquet", content)
        took += [*np.diff(times), time.perf_counter() - began]
        n_bytes += len(content)
    return (
        f"{n} rows x {N_METRICS} numbers, {plan.n_blocks} parts: {took[0]:.2f} s of CPU to Arrow, "
        f"{took[1]:.2f} s of CPU to Parquet, {took[2]:.2f} s to disk, {1e-6 * n_bytes:.0f} MB"
    )


def with_numpy(case: HourlyCase, rh: np.ndarray, rate_kg_h: float) -> np.ndarray:
    """Return the year's vapour added, a loop over hours with cases in arrays. [kg]."""
    p_sat = air.saturation_pressure(case.t_air_c)
    c, dt = case.dry_air_kg, case.step_s
    w = np.full(rh.size, case.w_out_kg_kg[0])
    added = np.zeros(rh.size)
    for t in range(case.n_steps):
        m = case.exchange_kg_s[t]
        p = rh * p_sat[t]
        w_set = 0.621945 * p / (case.p_pa[t] - p)
        decay = np.exp(-m * dt / c)
        settles = case.w_out_kg_kg[t] + case.gains_kg_s[t] / m
        free = settles + (w - settles) * decay
        q = np.clip((w_set - free) * m / (1.0 - decay), 0.0, rate_kg_h / 3600.0)
        w = free + q * (1.0 - decay) / m
        added += q * dt
    return added


def with_pandas(case: HourlyCase, rh: float, rate_kg_h: float, hours: int) -> float:
    """Return the vapour added in some hours, a plain loop over the rows of a frame. [kg]."""
    import psychrolib  # noqa: PLC0415 - slow where numba is installed

    psychrolib.SetUnitSystem(psychrolib.SI)
    frame = pd.DataFrame(
        {
            "t": case.t_air_c, "p": case.p_pa, "m": case.exchange_kg_s,
            "g": case.gains_kg_s, "w_out": case.w_out_kg_kg,
        }
    ).iloc[:hours]  # fmt: skip
    w, added = case.w_out_kg_kg[0], 0.0
    for _, row in frame.iterrows():
        w_set = psychrolib.GetHumRatioFromRelHum(row["t"], rh, row["p"])
        decay = np.exp(-row["m"] * case.step_s / case.dry_air_kg)
        settles = row["w_out"] + row["g"] / row["m"]
        free = settles + (w - settles) * decay
        q = min(max((w_set - free) * row["m"] / (1.0 - decay), 0.0), rate_kg_h / 3600.0)
        w = free + q * (1.0 - decay) / row["m"]
        added += q * case.step_s
    return added


def beside(folder: Path, n: int = 1000) -> list[str]:
    """Return lines on the plain room solved three ways; all must agree on the water."""
    plain = room(folder, PLAIN, "plain.toml")
    one = compare(plain)
    case, exact = one.case, one.options[1].row["delivered_kg"] or 0.0
    path = folder / "beside.toml"
    path.write_text('scenario = "plain.toml"\n' + SHARED.format(n=n), encoding="utf-8")

    def timed(work: Callable) -> tuple[float, float]:
        began = time.perf_counter()
        found = work()
        return time.perf_counter() - began, found

    ours, _ = timed(lambda: sweep(path, folder / "beside"))
    rh = np.linspace(0.2, 0.5, n)
    theirs, _ = timed(lambda: with_numpy(case, rh, 1.0))
    at_40 = float(with_numpy(case, np.array([0.40]), 1.0)[0])
    with_pandas(case, 0.40, 1.0, 10)  # compiles, where numba is installed
    slow, looped = timed(lambda: with_pandas(case, 0.40, 1.0, case.n_steps))
    return [
        f"kg a year at 40 %: ours {exact:.1f}, numpy {at_40:.1f}, pandas {looped:.1f}",
        f"ours, {n} cases and {n} without humidifier, written: {2 * n / ours:.0f} case-years/s",
        f"numpy over {n} cases, one number each: {n / theirs:.0f} case-years/s",
        f"pandas and psychrolib, one number: {1.0 / slow:.2f} case-years/s",
    ]


def of_engine(folder: Path) -> str:
    """Return one line on a run of the engine, which a sweep without this would need a case."""
    began = time.perf_counter()
    simulate(demo_folder() / "scenarios" / "model" / "larch_house.idf", WEATHER, folder / "run")
    return f"EnergyPlus, the demo's model: {1.0 / (time.perf_counter() - began):.2f} case-years/s"


def main() -> None:
    """Measure, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, nargs="*", default=[1, 1000, 100_000])
    parser.add_argument("--many", type=int, nargs="*", default=[1, 1000, 10_000])
    parser.add_argument("--engine", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        room(folder, FULL, "full.toml")
        inside = KernelTime()
        rate(folder, SHARED, 2, inside)  # the kernel from its cache
        for title, axes, sizes in (
            ("one building", SHARED, asked.cases),
            ("many buildings", MANY, asked.many),
        ):
            print(title)  # noqa: T201 - a script
            for n in sizes:
                print(rate(folder, axes, max(n, 2), inside), flush=True)  # noqa: T201 - idem
        print(writing(folder))  # noqa: T201 - idem
        for line in beside(folder):
            print(line)  # noqa: T201 - idem
        if asked.engine:
            print(of_engine(folder))  # noqa: T201 - idem


if __name__ == "__main__":
    main()
