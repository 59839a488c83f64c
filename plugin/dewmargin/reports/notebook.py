"""Results as a notebook shows them: verdict and the tables that decide."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dewmargin.core.stored import Data
from dewmargin.reports.page import templates
from dewmargin.reports.page.grids import grid, tied

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from dewmargin.columns import Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Excerpt:
    """Columns of a table, and the texts that its rows have."""

    table: str
    caption: str
    columns: Sequence[str]
    where: Mapping[str, Sequence[str]] = field(default_factory=dict)


OF_COMPARISON = Excerpt(
    table="comparison",
    caption="Options",
    columns=(
        "option",
        "delivered_kg",
        "feed_l",
        "dry_h",
        "band_h",
        "condensation_h",
        "worst_margin_k",
        "cost",
    ),
)
OF_FRONTIER = Excerpt(
    table="frontier",
    caption="Lines that no other beats",
    columns=("points", "band_h", "condensation_h", "delivered_kg", "feed_l"),
)
OF_LOADS = Excerpt(
    table="loads",
    caption="Loads",
    columns=("strategy", "demand_peak_kg_h", "demand_p99_kg_h", "demand_after_setback_kg_h"),
)
OF_SIZES = Excerpt(
    table="sizes",
    caption="Least number of units, and least size: 1 is what the scenario has",
    columns=("option", "units", "factor", "units_short_h", "rated_kg_day", "able_kg_day"),
)
OF_BREAKS = Excerpt(
    table="breaks",
    caption="How likely limits are broken, and how often an option is chosen",
    columns=("option", "number", "broken_frac", "chosen_frac"),
)
OF_SPREAD = Excerpt(
    table="spread",
    caption="Spread of the draws",
    columns=("option", "number", "unit", "p10", "p50", "p90"),
    where={"number": ("band_h", "condensation_h", "feed_l")},
)


def of_settings(strategy: str) -> Excerpt:
    """Return what to set by a strategy."""
    return Excerpt(
        table="settings",
        caption=f"What to set: {strategy}",
        columns=("t_out_c", "t_out_f", "rh_set_percent", "rh_limit_percent"),
        where={"strategy": (strategy,)},
    )


def fragment(
    title: str,
    sentences: Sequence[str],
    tables: Mapping[str, Table],
    excerpts: Sequence[Excerpt],
    *,
    chosen: str | None = None,
) -> str:
    """Return results as HTML for a notebook; all texts in them are escaped."""
    data = Data(tables, {"chosen": chosen})
    return templates.render(
        "fragment.html.j2",
        title=title,
        sentences=[tied(sentence) for sentence in sentences],
        grids=[
            grid(data, each.table, each.columns, caption=each.caption, where=each.where)
            for each in excerpts
            if data.has(each.table)
        ],
    )
