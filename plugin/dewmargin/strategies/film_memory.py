"""Film memory: what a strategy holds while a surface is wet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dewmargin.contracts import FilmMemory

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.contracts import Strategy, WhileWet


def while_wet(strategy: Strategy, case: HourlyCase) -> WhileWet | None:
    """Return what a strategy holds while a surface is wet; None: the same as always."""
    return strategy.while_wet(case) if isinstance(strategy, FilmMemory) else None
