"""What the search of lines and the study of doubts take: `python tests/benchmarks/bench_study.py`.

Both on the demo house, in this process, with a warm kernel cache; prints wall and CPU seconds.
`--samples N` for the study, 10000 by default.
"""

from __future__ import annotations

import argparse
import time
from typing import TYPE_CHECKING

from dewmargin.studies.demo import demo_folder
from dewmargin.studies.frontier.frontier import best_lines
from dewmargin.studies.stress.study import study

if TYPE_CHECKING:
    from collections.abc import Callable


def timed(work: Callable[[], str]) -> None:
    """Print what the work says of itself and what it took."""
    wall, cpu = time.perf_counter(), time.process_time()
    said = work()
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    print(f"{said}: {wall:.0f} s, {cpu:.0f} s of CPU")  # noqa: T201 - a script


def main() -> None:
    """Search, then study."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--samples", type=int, default=10_000)
    samples = parser.parse_args().samples
    house = demo_folder() / "scenarios" / "larch_house.toml"
    study(house, samples=1)  # the kernel from its cache

    def lines() -> str:
        found = best_lines(house)
        return f"{found.tried} lines tried, {len(found.lines)} kept"

    def doubts() -> str:
        found = study(house, samples=samples)
        return f"{found.evaluated} sets of inputs, {len(found.draws)} of them with all options"

    timed(lines)
    timed(doubts)


if __name__ == "__main__":
    main()
