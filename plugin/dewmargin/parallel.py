"""Work side by side in threads; the kernel and numpy let others run."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from os import cpu_count
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Sequence

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
