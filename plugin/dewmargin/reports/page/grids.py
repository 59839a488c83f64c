"""Grids of a page: rows of the contract's tables for a reader, headed in plain words."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.columns import Column
from dewmargin.core.display import MISSING, shown
from dewmargin.units import conversions

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from dewmargin.core.stored import Data

_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=[°%€a-zA-ZµΩ])")

# Heading of a column of numbers, by its name in the tables.
HEADS = {
    "option": "option",
    "strategy": "strategy",
    "surface": "surface",
    "date": "day",
    "month": "month",
    "t_out_c": "outdoors",
    "t_out_f": "outdoors",
    "rh_set_frac": "set",
    "rh_set_percent": "set",
    "rh_set_low_frac": "lowest set",
    "rh_set_high_frac": "highest set",
    "rh_limit_percent": "surfaces allow",
    "rh_max_frac": "dry up to",
    "limiting_surface": "first to sweat",
    "hours": "hours",
    "t_out_mean_c": "outdoors",
    "demand_kg": "demand",
    "delivered_kg": "delivered",
    "shortfall_kg": "short",
    "shortfall_h": "short",
    "rh_mean_frac": "mean humidity",
    "dry_h": "too dry",
    "band_h": "in the band",
    "humid_h": "too humid",
    "condensation_h": "condenses",
    "wet_h": "wet",
    "visible_h": "visibly wet",
    "runoff_h": "runs off",
    "frost_h": "frost",
    "longest_wet_h": "longest wet",
    "worst_margin_k": "least dew margin",
    "mould_index_max": "mould index",
    "feed_l": "feed",
    "evaporated_l": "evaporated",
    "drained_l": "drained",
    "hot_feed_l": "of it heated",
    "feed_l_per_kg": "feed to vapour",
    "running_h": "runs",
    "feed_heat_kwh": "heat of the feed",
    "makeup_heat_kwh": "heat of the plant",
    "fan_kwh": "blower and fans",
    "device_kwh": "humidifier",
    "fuel_kwh": "its fuel",
    "cost": "cost",
    "co2_kg": "CO₂",
    "exceeded_percent": "part of all hours",
    "exceeded_h": "hours with more",
    "demand_kg_h": "demand",
    "delivered_kg_h": "delivered",
    "able_kg_h": "could give",
    "number": "number",
    "points": "points: °C, relative humidity",
    "demand_peak_kg_h": "peak",
    "demand_p99_kg_h": "exceeded in 1 %",
    "demand_after_setback_kg_h": "after set-back",
    "units_short_h": "short",
    "factor": "size",
    "rated_kg_day": "rated for a day",
    "able_kg_day": "able on the worst day",
    "broken_frac": "broken in",
    "chosen_frac": "chosen in",
    "below_band_percent_h": "below the band",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """What a cell shows; numbers stand to the right."""

    text: str
    number: bool
    best: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A table of the page: rows of one table of the results, so that each number can be found.

    `where` are the texts that its rows have, `source` which of several results they are of.
    """

    source: str
    caption: str
    table: str
    where: Mapping[str, Sequence[str]]
    columns: Sequence[str]
    heads: Sequence[Cell]
    rows: Sequence[Sequence[Cell]]

    @property
    def where_text(self) -> str:
        """The texts that its rows have, as JSON."""
        return json.dumps(self.where, ensure_ascii=True)


def grid(
    data: Data,
    table: str,
    columns: Sequence[str],
    *,
    caption: str,
    where: Mapping[str, Sequence[str]] | None = None,
    decimals: Mapping[str, int] | None = None,
    source: str = "",
) -> Grid:
    """Return rows of a table of the results, each number by way of `display`; unknown ones apart.

    A column in which nothing is known is left out.
    """
    where = where or {}
    mask = np.ones(data.size(table), bool)
    for name, texts in where.items():
        mask &= np.isin(data.column(table, name).astype(str), list(texts))
    best = data.about.get("chosen")
    described = [data.describe(table, name) for name in columns]
    # °C stays where °F stands beside it.
    stays = {each.column.name for each in conversions(described, data.units)}
    heads: list[Cell] = []
    cells: list[list[Cell]] = []
    kept: list[str] = []
    for name, column in zip(columns, described, strict=True):
        head = HEADS.get(name, name.replace("_", " "))
        values = data.column(table, name)[mask]
        how = shown(
            column,
            units="si" if name in stays else data.units,
            decimals=(decimals or {}).get(name),
            currency=data.currency,
        )
        if column.unit or any(isinstance(value, float) for value in values):
            numbers = values.astype(np.float64)
            if not np.isfinite(numbers).any():
                continue
            of_row = [how] * numbers.size
            if not column.unit:  # its unit is that of the number that its row is of
                units = zip(data.texts(table, "number"), data.texts(table, "unit"), strict=True)
                columns_of = [Column(of or "", unit or "", "") for of, unit in units]
                of_row = [shown(columns_of[i]) for i in np.flatnonzero(mask)]
            cells.append(
                [
                    Cell(text=one.number(value), number=True)
                    for one, value in zip(of_row, numbers, strict=True)
                ]
            )
            heads.append(Cell(text=how.label(head), number=True))
        else:
            cells.append(
                [
                    Cell(
                        text=MISSING if v is None else str(v),
                        number=False,
                        best=name == "option" and v == best,
                    )
                    for v in values
                ]
            )
            heads.append(Cell(text=head, number=False))
        kept.append(name)
    rows = [list(row) for row in zip(*cells, strict=True)]
    return Grid(
        source=source,
        caption=caption,
        table=table,
        where=where,
        columns=kept,
        heads=heads,
        rows=rows,
    )


def tied(text: str) -> str:
    """Return a text in which a number and its unit stay on one line."""
    return _NUMBER_AND_UNIT.sub("\u00a0", text)
