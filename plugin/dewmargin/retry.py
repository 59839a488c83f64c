"""Cases that end the process, or never end, tried again in processes of their own.

`python -m dewmargin.retry` reads one JSON text and writes one table: this module is both ends.
"""

from __future__ import annotations

import json
import subprocess
import sys
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.blocks import TRIES, Refused, Solved, solve_cases
from dewmargin.plan import Plan
from dewmargin.stress import N_METRICS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dewmargin.plan import Block

START_S = 60.0  # for a process to begin, with a kernel that is not compiled yet
LEAST_SHARE = 0.05  # of the patience with a block, however few of its cases


def solve_apart(plan: Plan, block: Block, *, patience_s: float) -> list[Solved]:
    """Solve a block in processes of their own; halve what fails until single cases are left.

    Parameters
    ----------
    plan : Plan
    block : Block
    patience_s : float
        How long a whole block may take. [s]
    """
    return list(_apart(plan, block, block.start, block.stop, patience_s))


def _apart(plan: Plan, block: Block, start: int, stop: int, patience_s: float) -> Iterator[Solved]:
    share = max((stop - start) / (block.stop - block.start), LEAST_SHARE)
    limit_s = START_S + share * patience_s
    alone = stop - start == 1
    why = ""
    for _ in range(TRIES if alone else 1):
        found = _in_a_process(plan, start, stop, limit_s)
        if isinstance(found, Solved):
            yield found
            return
        why = found
    if alone:
        none = np.empty((0, len(plan.runners(block.scenario).options), N_METRICS))
        yield Solved((), (), none, (Refused(start, why),))
        return
    middle = (start + stop) // 2
    yield from _apart(plan, block, start, middle, patience_s)
    yield from _apart(plan, block, middle, stop, patience_s)


def _in_a_process(plan: Plan, start: int, stop: int, limit_s: float) -> Solved | str:
    """Return what a process solved, or why it did not."""
    asked = json.dumps({"sweep": str(plan.path.absolute()), "start": start, "stop": stop})
    try:
        done = subprocess.run(
            [sys.executable, "-m", "dewmargin.retry"],
            input=asked.encode("utf-8"),
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=limit_s,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return "did not end in its time"
    if done.returncode != 0:
        return f"ended the process with code {done.returncode}"
    about, _, numbers = done.stdout.partition(b"\n")
    told = json.loads(about)
    draws = plan.draws(start, stop)
    return Solved(
        tuple(told["cases"]),
        tuple(draws[case - start] for case in told["cases"]),
        np.frombuffer(numbers).reshape(len(told["cases"]), -1, N_METRICS),
        tuple(Refused(case, reason) for case, reason in told["refused"]),
    )


def main() -> None:
    """Solve the cases that standard input names; write them to standard output."""
    asked = json.loads(sys.stdin.buffer.read())
    found = solve_cases(Plan(asked["sweep"]), asked["start"], asked["stop"])
    told = {"cases": found.cases, "refused": [(r.case, r.reason) for r in found.refused]}
    sys.stdout.buffer.write(json.dumps(told).encode("utf-8") + b"\n")
    sys.stdout.buffer.write(found.numbers.tobytes())


if __name__ == "__main__":
    main()
