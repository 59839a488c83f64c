"""What we computed ourselves, apart from the package: slow solutions, oracles and their tables.

A table may hold a printed number beside a computed one; its first lines say which is which.
"""

from __future__ import annotations

from pathlib import Path

import tables


def rows(table: str) -> list[dict[str, str]]:
    """Return the rows of a computed table."""
    return tables.rows(Path(__file__).with_name(f"{table}.csv"))
