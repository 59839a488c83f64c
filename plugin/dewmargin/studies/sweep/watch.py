"""A command run in a process that is watched: if it dies, it goes on where it was.

A case may end the process that solves it. What that process had begun is marked, and solved apart
when the next goes on, so that no case ends two of them.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

WATCHED = "DEWMARGIN_WATCHED"  # in the environment of the process that works
ENDED_BY_WATCHER = 1


def is_watched() -> bool:
    """Tell whether this is the process that works."""
    return WATCHED in os.environ


def watched(marks: Path) -> int:
    """Run this very command in a process of its own; return how it ended.

    Parameters
    ----------
    marks : Path
        Folder with a file for each piece of work that was begun and has not ended. A process that
        died without leaving a new one is not begun again.
    """
    command = [sys.executable, "-c", "from dewmargin.cli import main; main()", *sys.argv[1:]]
    seen: set[tuple[str, int]] = set()
    while True:
        with subprocess.Popen(  # noqa: S603 - this Python, this command
            command, stdin=subprocess.PIPE, env=os.environ | {WATCHED: "1"}
        ) as process:
            try:
                code = process.wait()
            except KeyboardInterrupt:
                process.wait()  # it was interrupted too
                raise
        left = _marks(marks)
        if code >= 0 or left <= seen:
            return code if code >= 0 else 128 - code
        seen |= left


def end_with_watcher() -> None:
    """End this process when the one that watches it is gone: its end of our input closes."""

    def wait() -> None:
        # Not by sys.stdin, whose lock would be held when Python ends.
        while os.read(0, 1):
            pass
        os._exit(ENDED_BY_WATCHER)

    threading.Thread(target=wait, daemon=True).start()


def _marks(folder: Path) -> set[tuple[str, int]]:
    if not folder.is_dir():
        return set()
    return {(path.name, path.stat().st_size) for path in folder.iterdir()}
