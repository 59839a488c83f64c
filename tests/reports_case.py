"""A small table for the report tests."""

from __future__ import annotations

import numpy as np

from dewmargin.columns import Column, Table
from dewmargin.reports import folder

NAMES = ["plain", "=1+1", "+x", "-x", "@x", "\tx", "Küche | größer", 'say "so", twice', None]

ABOUT = {
    "schema_version": folder.SCHEMA_VERSION,
    "versions": folder.versions(),
    "title": "test",
    "warnings": [],
}


def table() -> Table:
    """Return nine rows: a text that may be a formula, a number with a gap, a time and a flag."""
    n = len(NAMES)
    start = np.datetime64("2017-01-01T00:00:00", "s") + np.arange(n) * np.timedelta64(1, "h")
    return Table(
        columns=(
            Column("option", "", "a name"),
            Column("interval_start", "", "when"),
            Column("feed_l", "l", "how much"),
            Column("rh_set_percent", "%", "what to set"),
            Column("heating_season", "", "cold or not"),
        ),
        data={
            "option": NAMES,
            "interval_start": start,
            "feed_l": np.array([0.1, np.nan, *np.arange(n - 2) / 3.0]),
            "rh_set_percent": list(range(n)),
            "heating_season": np.arange(n) % 2 == 0,
        },
    )
