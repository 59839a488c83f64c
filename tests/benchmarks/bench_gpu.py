"""Years of very many cases on a GPU: `bench_gpu.py save FILE`, `bench_gpu.py run FILE [CASES ...]`.

The first, anywhere, writes the demo's house, pads and set-points, stacked as the GPU takes them;
the second, where numba-cuda and a GPU are, needs NumPy and the kernel only. It makes ten buildings,
fifty devices each and as many set-points as are asked for by changing the demo's a little, runs
them, and compares 2048 with the compiled kernel of the CPU: counts are to be equal, sums within
1e-12. The kernel is that of this tree; `PYTHONPATH=TREE/plugin` takes another's, to be beside it.
"""

from __future__ import annotations

import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
sys.path += [str(HERE.parents[1]), str(HERE.parents[2] / "plugin")]

ROUNDS = 5
BUILDINGS, DEVICES, CHECKED = 10, 50, 2048


def save(path: str) -> None:
    """Write the demo's cases, stacked."""
    from dewmargin.solve import year_on_gpu  # noqa: PLC0415 - not where only the kernel is
    from dewmargin.studies.compare.comparison import compare  # noqa: PLC0415 - idem
    from dewmargin.studies.demo import demo_folder  # noqa: PLC0415 - idem
    from year_cases import job_of  # noqa: PLC0415 - idem

    job, _ = job_of(compare(demo_folder() / "scenarios" / "larch_house.toml"))
    inputs, _, _ = year_on_gpu.stacked([job])
    np.savez_compressed(path, **inputs)


def many(one: dict[str, np.ndarray], n: int) -> tuple[dict[str, np.ndarray], list, int]:
    """Return about `n` cases and their demands, each unlike the others."""
    from dewmargin.kernel import year  # noqa: PLC0415 - after the path is set

    rng = np.random.default_rng(1)
    n_lines = max(n // (BUILDINGS * DEVICES), 1)
    n_faces = one["area"].shape[1]
    buildings = {
        name: np.repeat(one[name], BUILDINGS, axis=0)
        for name in ("numbers", "steps", "hours", "faces", "face_hours", "area")
    }
    leaks = rng.uniform(0.7, 1.4, BUILDINGS)[:, None]
    outdoors = buildings["steps"][..., year.G_IN] / buildings["steps"][..., year.A_OUT]
    buildings["steps"][..., year.A_OUT] *= leaks
    buildings["steps"][..., year.G_IN] = outdoors * buildings["steps"][..., year.A_OUT]
    # The demo's pads, stronger or weaker; and one without limit.
    unlimited, pads = 0, np.arange(len(one["devices"]))[2:]
    chosen = np.concatenate([[unlimited], pads[rng.integers(0, pads.size, BUILDINGS * DEVICES)]])
    devices = {
        name: one[name][chosen] for name in ("devices", "rows", "of_use", "of_device", "points")
    }
    power = rng.uniform(0.5, 1.5, chosen.size)[:, None]
    power[0] = 1.0
    for row in (year.ON0, year.ON1, year.OFF0, year.OFF1):
        devices["devices"][..., row] *= power
    lines = rng.integers(1, len(one["low"]), BUILDINGS * n_lines)
    low = one["low"][lines]
    held = low > -1.0
    low[held] = (low * rng.uniform(0.8, 1.05, lines.size)[:, None])[held]
    demands = np.arange(BUILDINGS * n_lines)
    b, d, line = np.meshgrid(
        np.arange(BUILDINGS), np.arange(DEVICES), np.arange(n_lines), indexing="ij"
    )
    of_line = (b * n_lines + line).ravel()
    first = np.stack(
        [demands // n_lines, 0 * demands, demands, demands, 0 * demands - 1, demands], axis=1
    )
    rest = np.stack(
        [b.ravel(), 1 + (b * DEVICES + d).ravel(), of_line, of_line, of_line, 0 * of_line - 1],
        axis=1,
    )
    of_case = np.concatenate([first, rest])
    inputs = {
        "shared": one["shared"],
        "of_case": of_case,
        **buildings,
        **devices,
        "low": low,
        "wet_above": np.full((len(of_case), n_faces), np.inf),
        "state": np.repeat(one["state"][:1], len(of_case), axis=0),
    }
    cut = demands.size
    return inputs, [np.arange(cut), np.arange(cut, len(of_case))], cut


def run(path: str, sizes: list[int]) -> None:
    """Time the GPU, and compare it with the CPU."""
    from dewmargin import kernel  # noqa: PLC0415 - after the path is set
    from dewmargin.kernel import gpu, tally, year  # noqa: PLC0415 - idem

    one = dict(np.load(path))
    begun = time.perf_counter()
    inputs, turns, n_wanted = many(one, 1000)
    gpu.years(inputs, turns, n_wanted)
    print(f"context and compiling {time.perf_counter() - begun:.1f} s, of {kernel.__path__[0]}")
    solve = gpu._kernel()
    registers, local = solve.get_regs_per_thread(), solve.get_local_mem_per_thread()
    print(f"a thread: {[*registers.values()]} registers, {[*local.values()]} bytes of local memory")
    for n in sizes:
        inputs, turns, n_wanted = many(one, n)
        took = []
        for _ in range(ROUNDS):
            begun = time.perf_counter()
            found = gpu.years(inputs, turns, n_wanted)
            took.append(time.perf_counter() - begun)
        cases, all_s, alone = len(found), np.median(took), gpu.seconds[-ROUNDS:]
        mid = np.median(alone)
        print(
            f"{cases} case-years ({n_wanted} demands), median of {ROUNDS}: {all_s:.3f} s with "
            f"copies, {cases / all_s:.0f} a second; kernel {mid:.3f} s ({min(alone):.3f} to "
            f"{max(alone):.3f}), {cases / mid:.0f} a second"
        )
    some = np.linspace(0, len(found) - 1, CHECKED).astype(np.int64)
    asked = inputs["of_case"][some, year.WANTED]
    both = [np.unique(asked[asked >= 0]), some]
    n_cases, n_faces = inputs["wet_above"].shape
    work, wanted = np.zeros((6, n_cases, n_faces)), np.zeros((n_wanted, inputs["hours"].shape[1]))
    mine, late = np.zeros_like(found), np.zeros(n_cases, dtype=np.int64)
    twin = kernel.compiled(year)
    given = [np.array(inputs[name], order="C") for name in year.INPUTS]
    solved = 0

    def launch(which: np.ndarray, first: int) -> np.ndarray:
        nonlocal solved
        with ThreadPoolExecutor() as pool:
            list(
                pool.map(
                    lambda c: twin.year(int(c), first, *given, work, wanted, late, mine), which
                )
            )
        solved += 0 if first else which.size
        return late[which] > 0

    launch(both[1][:1], 8000)  # compiles
    given[-1][:] = inputs["state"]
    work[:] = 0.0
    begun = time.perf_counter()
    year.drive(launch, both, inputs["shared"])
    took_s = time.perf_counter() - begun
    print(
        f"CPU, all cores, case by case: {sum(map(len, both)) / took_s:.0f} case-years a second, "
        f"{solved / sum(map(len, both)):.2f} years each"
    )
    counts = [tally.DEMAND_H, tally.SHORTFALL_H, tally.DRY_H, tally.HUMID_H, tally.CONDENSATION_H]
    counts += [tally.FROST_H, tally.WET_H, tally.RUNOFF_H]
    apart = (found[some][:, counts] != mine[some][:, counts]).sum()
    sums = [k for k in range(year.FOUND) if k not in counts]
    scale = np.maximum(np.abs(mine[some][:, sums]), 1e-3 * mine[some][:, [tally.DELIVERED]])
    off = np.abs(found[some][:, sums] - mine[some][:, sums]) / np.where(scale > 0.0, scale, 1.0)
    print(f"of {CHECKED} cases {apart} counts differ, sums by {np.nanmax(off):.1e} at most")
    print("by column:", dict(zip(sums, np.nanmax(off, axis=0).round(17), strict=True)))


if __name__ == "__main__":
    if sys.argv[1] == "save":
        save(sys.argv[2])
    else:
        run(sys.argv[2], [int(n) for n in sys.argv[3:]] or [10_000, 100_000, 1_000_000])
