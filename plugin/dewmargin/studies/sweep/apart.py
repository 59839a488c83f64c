"""Cases that end the process, or never end, tried again in processes of their own.

`python -m dewmargin.studies.sweep.apart` reads one JSON text and writes one table:
this module is both ends.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from contextlib import suppress
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.solve.year_of_many import N_METRICS
from dewmargin.studies.sweep.blocks import TRIES, Refused, SolvedCases, solve_cases
from dewmargin.studies.sweep.plan import Plan
from dewmargin.studies.sweep.watch import end_with_watcher

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from dewmargin.studies.sweep.plan import Block

START_S = 120.0  # for a process to begin
LEAST_S = 5.0  # for some cases, however few; the kernel comes from its cache
READY = b"ready\n"
LATE = "did not end in its time"


def solve_apart(plan: Plan, block: Block, *, patience_s: float) -> list[SolvedCases]:
    """Solve a block in processes of their own; halve what fails until single cases are left.

    Parameters
    ----------
    plan : Plan
    block : Block
    patience_s : float
        How long a whole block may take. [s]
    """
    return list(_apart(plan, block, block.start, block.stop, patience_s))


def _apart(
    plan: Plan, block: Block, start: int, stop: int, patience_s: float
) -> Iterator[SolvedCases]:
    limit_s = max(patience_s * (stop - start) / (block.stop - block.start), LEAST_S)
    alone = stop - start == 1
    why = ""
    for _ in range(TRIES if alone else 1):
        found = _in_a_process(plan, start, stop, limit_s)
        if isinstance(found, SolvedCases):
            yield found
            return
        why = found
    if alone:
        none = np.empty((0, len(plan.runners(block.scenario).options), N_METRICS))
        yield SolvedCases((), (), none, (Refused(start, why),))
        return
    middle = (start + stop) // 2
    yield from _apart(plan, block, start, middle, patience_s)
    yield from _apart(plan, block, middle, stop, patience_s)


def _in_a_process(plan: Plan, start: int, stop: int, limit_s: float) -> SolvedCases | str:
    """Return what a process solved, or why it did not."""
    sweep = {"sweep": str(plan.path.absolute()), "device": plan.device}
    asked = json.dumps(sweep | {"start": start, "stop": stop})
    with subprocess.Popen(
        [sys.executable, "-m", "dewmargin.studies.sweep.apart"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    ) as process:
        assert process.stdin is not None  # noqa: S101 - a pipe was asked for
        assert process.stdout is not None  # noqa: S101 - idem
        with suppress(BrokenPipeError):  # its return code tells
            process.stdin.write(asked.encode("utf-8") + b"\n")
            process.stdin.flush()
        content, late = _read_within(process, START_S, process.stdout.readline)
        if content == READY:
            content, late = _read_within(process, limit_s, process.stdout.read)
    if late:
        return LATE
    if process.returncode != 0:
        return f"ended the process with code {process.returncode}"
    about, _, numbers = content.partition(b"\n")
    told = json.loads(about)
    draws = plan.draws(start, stop)
    n_options = len(plan.runners(plan.scenario_of(start)).options)
    return SolvedCases(
        tuple(told["cases"]),
        tuple(draws[case - start] for case in told["cases"]),
        np.frombuffer(bytearray(numbers)).reshape(-1, n_options, N_METRICS),
        tuple(Refused(case, reason) for case, reason in told["refused"]),
    )


def _read_within(
    process: subprocess.Popen[bytes], limit_s: float, read: Callable[[], bytes]
) -> tuple[bytes, bool]:
    """Read from a process, which is ended at its limit; tell whether it was."""
    late = threading.Event()

    def end() -> None:
        late.set()
        process.kill()

    timer = threading.Timer(limit_s, end)
    timer.start()
    try:
        return read(), late.is_set()
    finally:
        timer.cancel()


def main() -> None:
    """Solve the cases that standard input names; write them to standard output."""
    asked = json.loads(sys.stdin.buffer.readline())
    end_with_watcher()
    plan = Plan(asked["sweep"], device=asked["device"])
    sys.stdout.buffer.write(READY)
    sys.stdout.buffer.flush()
    found = solve_cases(plan, asked["start"], asked["stop"])
    told = {"cases": found.cases, "refused": [(r.case, r.reason) for r in found.refused]}
    sys.stdout.buffer.write(json.dumps(told).encode("utf-8") + b"\n")
    sys.stdout.buffer.write(found.numbers.tobytes())


if __name__ == "__main__":
    main()
