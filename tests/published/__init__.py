"""Numbers from outside the project, as printed in their documents."""

from __future__ import annotations

import csv
from pathlib import Path


def rows(table: str) -> list[dict[str, str]]:
    """Return the rows of a transcribed table; lines that begin with # say where it comes from."""
    text = Path(__file__).with_name(f"{table}.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return list(csv.DictReader(lines))
