"""Threads: work side by side, since the kernel and numpy let others run."""

from __future__ import annotations

import queue
import threading
import time
from collections import OrderedDict
from concurrent.futures import Future, ThreadPoolExecutor
from os import cpu_count
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Hashable, Iterable, Iterator, Sequence

Item = TypeVar("Item")
Result = TypeVar("Result")


def side_by_side(
    work: Callable[[Item], Result], items: Sequence[Item]
) -> Generator[Result, None, None]:
    """Yield the results in the order of the items.

    An error, or an interruption, drops what no thread has begun.
    """
    with ThreadPoolExecutor(cpu_count() or 1) as pool:
        try:
            yield from pool.map(work, items)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def done_once(work: Callable[[Item], Result], *, kept: int | None) -> Callable[[Item], Result]:
    """Return `work` with its last results kept; threads that ask for one at once share the work.

    Parameters
    ----------
    work : callable
        Of one hashable argument.
    kept : int or None
        How many results; None keeps all.
    """
    lock = threading.Lock()
    found: OrderedDict[Hashable, Future[Result]] = OrderedDict()

    def asked(item: Item) -> Result:
        with lock:
            future = found.get(item)
            mine = future is None
            if future is None:
                future = found[item] = Future()
                if kept is not None and len(found) > kept:
                    found.popitem(last=False)
            found.move_to_end(item)
        if mine:
            try:
                future.set_result(work(item))
            except BaseException as error:
                with lock:
                    found.pop(item, None)
                future.set_exception(error)
                raise
        return future.result()

    return asked


class OverdueError(Exception):
    """A piece of work did not end in its time; its thread is left behind."""


def as_they_end(
    work: Callable[[Item], Result], items: Iterable[Item], *, threads: int, patience_s: float
) -> Iterator[tuple[Item, Result | Exception]]:
    """Yield each item with its result, or its error, as they end, a few at a time in threads.

    A thread that does not end within `patience_s` is given up, and its item yielded with an
    `OverdueError`. Threads are daemons: none keeps the process alive.
    """
    waiting, ended = iter(items), queue.SimpleQueue[tuple[int, Result | Exception]]()
    running: dict[int, tuple[Item, float]] = {}

    def run(ticket: int, item: Item) -> None:
        try:
            ended.put((ticket, work(item)))
        except Exception as error:  # noqa: BLE001 - whatever the work raises is told
            ended.put((ticket, error))

    def begin(ticket: int) -> None:
        for item in waiting:
            running[ticket] = (item, time.monotonic() + patience_s)
            threading.Thread(target=run, args=(ticket, item), daemon=True).start()
            return

    for ticket in range(threads):
        begin(ticket)
    following = threads
    while running:
        first, (_, until) = min(running.items(), key=lambda each: each[1][1])
        try:
            ticket, result = ended.get(timeout=max(until - time.monotonic(), 0.0))
        except queue.Empty:
            ticket, result = first, OverdueError(f"did not end within {patience_s:g} s")
        if ticket not in running:  # given up before
            continue
        item, _ = running.pop(ticket)
        begin(following)
        following += 1
        yield item, result
