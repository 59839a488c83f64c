"""What strategies hold in a building, and what that demands."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.errors import ExtensionError
from dewmargin.solve import balance, year
from dewmargin.strategies.film_memory import while_wet
from dewmargin.strategies.peeking import looks_ahead

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray, FloatArray
    from dewmargin.contracts import Capability, Equipment, FeedWater, Strategy, WhileWet
    from dewmargin.solve.balance import Outcome
    from dewmargin.strategies.control import Control
    from dewmargin.studies.options.engine import Prepared


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What all equipment on all supplies share under one strategy.

    `rh_rule` is what the strategy sets in each hour, `rh_dry` what the sensor makes of it.
    """

    strategy: Strategy
    rh_set: FloatArray
    wet: WhileWet | None
    w_set: FloatArray
    demand: Outcome
    rh_rule: FloatArray
    rh_dry: FloatArray
    catch_up: BoolArray

    def capability(
        self, equipment: Equipment, case: HourlyCase, water: FeedWater, dry: Outcome
    ) -> Capability:
        """Return what an equipment on a supply can do for it; `dry` is the year without one."""
        return capability(equipment, case, water, dry, w_set=self.w_set, demand=self.demand)


def capability(
    equipment: Equipment,
    case: HourlyCase,
    water: FeedWater,
    dry: Outcome,
    *,
    w_set: FloatArray,
    demand: Outcome,
) -> Capability:
    """Return what an equipment can do between the year without one and what is to be held."""
    return equipment.capability(
        case,
        water,
        w_base_kg_kg=np.repeat(dry.w_kg_kg, case.steps_per_hour),
        w_set_kg_kg=w_set,
        demand_kg_s=np.repeat(demand.added_kg / 3600.0, case.steps_per_hour),
    )


def in_truth(
    control: Control, case: HourlyCase, rh_rule: FloatArray, wet: WhileWet | None
) -> tuple[FloatArray, WhileWet | None]:
    """Return what is really held where the sensor shows what a rule sets, and that while wet."""
    if wet is not None:
        wet = replace(wet, rh_frac=control.true_setpoint(case, wet.rh_frac))
    return control.true_setpoint(case, rh_rule), wet


def hold(building: Prepared, strategies: Sequence[Strategy], control: Control) -> list[Held]:
    """Return what each strategy holds in a building, and what that demands.

    Raises
    ------
    ExtensionError
        If one looks further ahead than it says.
    """
    case, seen = building.case, control.measured(building.case)
    rules, truths = [], []
    for strategy in strategies:
        rh_rule, wet = strategy.setpoint(seen), while_wet(strategy, seen)
        _require_no_peeking(strategy, seen, rh_rule, wet)
        rules.append(rh_rule)
        truths.append(in_truth(control, case, rh_rule, wet))
    demands = building.outcomes(
        [balance.Asked(rh_set_frac=rh, capability=None, wet=wet) for rh, wet in truths]
    )
    return [
        _held(building, strategy, rh_rule, *truth, demand)
        for strategy, rh_rule, truth, demand in zip(strategies, rules, truths, demands, strict=True)
    ]


def _held(
    building: Prepared,
    strategy: Strategy,
    rh_rule: FloatArray,
    rh_set: FloatArray,
    wet: WhileWet | None,
    demand: Outcome,
) -> Held:
    case, hours = building.case, building.hours
    off = hours.cooling & (not case.humidify_while_cooling)
    rh_hours = case.hourly_mean(rh_set)
    return Held(
        strategy=strategy,
        rh_set=rh_set,
        wet=wet,
        w_set=balance.setpoint_humidity_ratio(case, rh_set),
        demand=demand,
        rh_rule=np.where(off, np.nan, case.hourly_mean(rh_rule)),
        rh_dry=np.where(off, np.nan, rh_hours),
        catch_up=year.catch_up_hours(
            hours,
            lowered_while_wet(case, rh_hours, wet, demand),
            starts_anew=not case.wraps,
            runs_while_cooling=case.humidify_while_cooling,
        ),
    )


def lowered_while_wet(
    case: HourlyCase, rh_dry: FloatArray, wet: WhileWet | None, outcome: Outcome
) -> FloatArray:
    """Return the hours' set-points with what is held in those that begin with a wet surface."""
    if wet is None:
        return rh_dry
    counts = [surface.name in wet.surfaces for surface in case.surfaces]
    before = np.roll(outcome.film_kg_m2[counts], 1, axis=1)
    if not case.wraps:
        before[:, 0] = 0.0
    is_wet = np.any(before > 1e-3 * wet.above_g_m2, axis=0)
    lowered = np.where(np.isnan(rh_dry), np.nan, case.hourly_mean(wet.rh_frac))
    return np.where(is_wet, lowered, rh_dry)


def _require_no_peeking(
    strategy: Strategy, case: HourlyCase, rh_set: FloatArray, wet: WhileWet | None
) -> None:
    """Raise unless the first half's set-points follow from the first half and the horizon."""
    if looks_ahead(strategy, case, rh_set, wet, hours=case.n_hours // 2):
        raise ExtensionError(
            f"looks further ahead than its horizon_h of {strategy.horizon_h:g}",
            where=f"strategies[{strategy.name!r}]",
        )
