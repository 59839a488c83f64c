"""How long the demo's comparison takes, and on what: ``python tests/benchmarks/bench_demo.py``.

A fresh process for each round, so that imports count; the kernel's cache is warm.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import time

ROUNDS = 7
PROBE = """
import json, time
start = time.perf_counter()
def lap():
    global start
    now = time.perf_counter(); took, start = now - start, now
    return took
shares = {}
import numpy, pyarrow.parquet, pyarrow.csv, pydantic, pandas
import dewmargin.studies.compare.comparison as comparison
from dewmargin import balance, kernel
from dewmargin.studies.demo import demo_folder
from dewmargin.scenario import load
shares["import"] = lap()
kernel.compiled().cases
shares["kernel load"] = lap()
scenario = load(demo_folder() / "scenarios" / "{file}")
weather = scenario.read_weather()
case = scenario.case(weather)
shares["read"] = lap()
solving = 0.0
solve = balance._solve
def timed(*a, **k):
    global solving
    t = time.perf_counter(); out = solve(*a, **k); solving += time.perf_counter() - t
    return out
balance._solve = timed
result = comparison._compare(scenario, weather, case)
took = lap()
shares["balance"] = solving
shares["pad, metrics"] = took - solving
import tempfile
with tempfile.TemporaryDirectory() as folder:
    result.write(folder)
shares["write"] = lap()
print(json.dumps(shares))
"""


def main() -> None:
    """Time both demo scenarios and print the medians and shares."""
    for file in ("larch_house.toml", "larch_house_simulated.toml"):
        rounds, walls = [], []
        for _ in range(ROUNDS):
            begin = time.perf_counter()
            done = subprocess.run(
                [sys.executable, "-c", PROBE.replace("{file}", file)],
                capture_output=True,
                text=True,
                check=True,
            )
            walls.append(time.perf_counter() - begin)
            rounds.append(json.loads(done.stdout))
        whole = statistics.median(walls)
        print(f"{file}: {whole:.2f} s wall, median of {ROUNDS}")  # noqa: T201 - a script
        for name in rounds[0]:
            took = statistics.median(r[name] for r in rounds)
            print(f"  {name:14s} {took:6.3f} s  {100 * took / whole:4.0f} %")  # noqa: T201 - idem


if __name__ == "__main__":
    main()
