"""What is to be set by outdoor temperature, as the controller's sensor shows it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from dewmargin.contracts import Words
from dewmargin.reports.tables import rows
from dewmargin.studies.compare.tables import limits_table, settings_table

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dewmargin.studies.compare.comparison import Comparison
    from dewmargin.studies.compare.option import Option

VARIES_K, VARIES_FRAC = 0.5, 0.015  # a rule that moves so much within so little depends on more


def set_points(
    result: Comparison, option: Option, at_c: list[float] | None, step_percent: int
) -> Iterator[dict[str, Any]]:
    """Yield the rows of an option's strategy, the surfaces' limits as the controller shows them."""
    for row in rows(settings_table(result, at_c, step_percent=step_percent)):
        if row["strategy"] == option.strategy:
            limit = _shown(result, row["rh_limit_percent"])
            above = limit is not None and cast("int", row["rh_set_percent"]) > limit
            yield {**row, "rh_limit_percent": limit, "above_limit": above}


def today(
    result: Comparison, option: Option, t_out_c: float, step_percent: int
) -> dict[str, Any] | None:
    """Return the row to set at a temperature, and each surface's limit there."""
    row = next(set_points(result, option, [t_out_c], step_percent), None)
    if row is None:
        return None
    limits = [
        {**each, "rh_max_percent": _shown(result, each["rh_max_percent"])}
        for each in rows(limits_table(result, [t_out_c]))
    ]
    return {**row, "limits": limits}


def _shown(result: Comparison, percent: object) -> int | None:
    """Return a limit of the room's humidity as its sensor shows it, the swing below it. [%]."""
    control = result.scenario.control
    if percent is None:
        return None
    off = 100.0 * (control.rh_bias - 0.5 * control.deadband_rh)
    return math.floor(cast("int", percent) + off + 1e-9)


def notes(
    result: Comparison, option: Option, settings: tuple[dict[str, Any], ...]
) -> Iterator[str]:
    """Yield what to know of the settings before one sets them."""
    above = [row for row in settings if row["above_limit"]]
    if above:
        warmest = max(above, key=lambda row: float(row["t_out_c"]))
        yield (
            f"! from {Words.both(warmest['t_out_c'])} down this rule sets more than "
            f"{warmest['limiting_surface']} bears: it sweats; set the limit instead"
        )
    held, t_out = option.rh_rule_frac, result.hours.t_out_c
    if held is not None:
        known = np.isfinite(held)
        near = np.floor(t_out[known] / VARIES_K)
        spread = [float(np.ptp(held[known][near == each])) for each in np.unique(near)]
        if max(spread, default=0.0) > VARIES_FRAC:
            yield (
                "the rule depends on more than the outdoor temperature: a row is low enough for "
                "all hours near it"
            )
    if result.scenario.control.rh_bias or result.scenario.control.deadband_rh:
        yield "limits are as this controller's sensor shows them, its bias and swing counted in"
