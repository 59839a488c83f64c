"""Numbers from outside the project, as printed in their documents."""

from __future__ import annotations

from pathlib import Path

import tables


def rows(table: str) -> list[dict[str, str]]:
    """Return the rows of a transcribed table."""
    return tables.rows(Path(__file__).with_name(f"{table}.csv"))
