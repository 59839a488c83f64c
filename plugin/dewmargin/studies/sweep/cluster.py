"""Blocks on the workers of a Dask scheduler: a text goes in, the name of a part comes out.

What we send is JSON, and workers write their parts themselves; Dask pickles nothing of ours but the
name of `write_block`, which every worker imports from its own installation.
"""

from __future__ import annotations

import asyncio
import json
import threading
import time
from concurrent.futures import CancelledError
from contextlib import suppress
from functools import lru_cache
from importlib import import_module
from itertools import islice
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from dewmargin.core.parallel import OverdueError
from dewmargin.errors import InputError
from dewmargin.studies.sweep.blocks import parquet, solve_block
from dewmargin.studies.sweep.dataset import PARTS, Store
from dewmargin.studies.sweep.plan import Plan

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from dewmargin.studies.sweep.plan import Block

IN_FLIGHT = 4  # blocks a worker has or waits for
LOOKS_S = 1.0  # between two looks at the time
ANSWERS_S = 20.0  # for a scheduler
_ONE = threading.Lock()  # threads of a worker read a plan once


def part_name(plan: Plan, block: Block) -> str:
    """Return the name of a block's part: its number, for the order, and the hash of its inputs."""
    return f"part-{block.number:06d}-{plan.key(block)}.parquet"


@lru_cache(2)
def _plan(path: str, run: str) -> Plan:  # noqa: ARG001 - files may change between two runs
    return Plan(path)


def write_block(text: str) -> str:
    """Solve a block and write its part, if it is not there; return its name.

    Parameters
    ----------
    text : str
        JSON: the sweep's file, what tells runs apart, the folder of the results, the number of the
        block and the name that its part is to have.

    Raises
    ------
    InputError
        If this worker sees other inputs, or runs another version, than who asks.
    """
    asked = json.loads(text)
    with _ONE:
        plan = _plan(asked["sweep"], asked["run"])
    block = plan.block(asked["block"])
    name = part_name(plan, block)
    if name != asked["part"]:
        raise InputError(
            "a worker has other inputs or versions than this machine",
            file=asked["sweep"],
            hint="install the same on both, and let both see the same files",
        )
    store = Store(asked["out"])
    if not store.has(f"{PARTS}/{name}"):
        store.put(f"{PARTS}/{name}", parquet(solve_block(plan, block.number)))
    return name


def on_cluster(
    plan: Plan, parts: Mapping[Block, str], *, out: str, address: str, patience_s: float
) -> Iterator[tuple[Block, Exception | None]]:
    """Yield every block, with why its part is not there if so, as they end.

    Raises
    ------
    InputError
        If there is no scheduler at that address, or Dask is not installed.
    """
    try:
        dask: Any = import_module("distributed")  # an extra
    except ImportError as error:
        raise InputError(
            "needs Dask",
            where="--cluster",
            hint="install dewmargin[cluster] here and on the workers",
        ) from error
    try:
        client = dask.Client(address, timeout=ANSWERS_S)
    except (OSError, TimeoutError, ValueError) as error:
        raise InputError(
            f"no scheduler answers at {address!r}", where="--cluster", hint="tcp://HOST:PORT"
        ) from error
    run = uuid4().hex
    waiting = iter(parts.items())
    running: dict[Any, tuple[Block, float]] = {}
    with client:
        most = IN_FLIGHT * max(len(client.scheduler_info()["workers"]), 1)
        while True:
            for block, part in islice(waiting, most - len(running)):
                text = json.dumps(
                    {
                        "sweep": str(plan.path.absolute()),
                        "run": run,
                        "out": out,
                        "block": block.number,
                        "part": part,
                    }
                )
                future = client.submit(write_block, text, pure=False)
                running[future] = (block, time.monotonic() + IN_FLIGHT * patience_s)
            if not running:
                return
            with suppress(TimeoutError, CancelledError, asyncio.CancelledError):  # told below
                dask.wait(list(running), timeout=LOOKS_S, return_when="FIRST_COMPLETED")
            for future, (block, until) in list(running.items()):
                if future.status in ("cancelled", "lost"):
                    raise _gone()
                if future.done():
                    del running[future]
                    yield block, _ended(future)
                elif time.monotonic() > until:
                    del running[future]
                    future.cancel()
                    yield block, OverdueError("did not end in its time")


def _ended(future: Any) -> Exception | None:  # noqa: ANN401 - Dask's
    """Return why a block was not solved, if so."""
    try:
        failed: Exception | None = future.exception()
    except (OSError, CancelledError, asyncio.CancelledError) as error:
        raise _gone() from error
    return failed


def _gone() -> InputError:
    return InputError(
        "the scheduler is gone",
        where="--cluster",
        hint="start it, and give the same command again: it goes on where it was",
    )
