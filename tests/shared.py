"""What is dear is made once in a session of tests, by whichever worker asks for it first.

Tests read it and leave it as it is.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

# Workers of pytest-xdist are started with the environment of the process that starts them.
VARIABLE = "DEWMARGIN_TESTS_SHARED"


def begin() -> None:
    """Make the session's folder."""
    os.environ[VARIABLE] = tempfile.mkdtemp(prefix="dewmargin-tests-")


def end() -> None:
    """Remove it."""
    shutil.rmtree(os.environ.pop(VARIABLE), ignore_errors=True)


def made(name: str, make: Callable[[Path], object]) -> Path:
    """Return the folder of a name, which `make` fills if nobody has before; others wait for it."""
    root = Path(os.environ[VARIABLE])
    with (root / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (root / name).exists():
            half = root / f"{name}.half"
            shutil.rmtree(half, ignore_errors=True)
            half.mkdir()
            make(half)
            half.rename(root / name)
    return root / name
