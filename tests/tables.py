"""Tables of numbers beside the tests: CSV whose lines that begin with # say where it comes from."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def rows(file: Path) -> list[dict[str, str]]:
    """Return the rows of a table."""
    lines = file.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line and not line.startswith("#")))
