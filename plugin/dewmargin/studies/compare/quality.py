"""Quality of a simulation: how far its own flows explain its humidity."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.solve import balance

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.solve.balance import Outcome
    from dewmargin.solve.hours import YearHours

QUALITY_RMSE_KG_KG = 0.2e-3
QUALITY_GAP_FRAC = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class RunQuality:
    """How far a simulation's flows explain its own humidity.

    `w_rmse_kg_kg`: heating season, the direct balance against the simulated humidity.
    `demand_gap_frac`: yearly demand of the first strategy, direct less departure over departure.
    `missing_flow`: True where either is large (0.2 g/kg, 5 %): a flow was not reported.
    """

    w_rmse_kg_kg: float
    demand_gap_frac: float | None
    missing_flow: bool

    @property
    def gap(self) -> str:
        """Return the demand gap in words."""
        fraction = self.demand_gap_frac
        return "unknown" if fraction is None else f"{100 * fraction:+.1f} %"


def quality(
    case: HourlyCase, hours: YearHours, *, rh_set: FloatArray, departure: Outcome
) -> RunQuality | None:
    """Compare a simulation's humidity and demand with a direct balance of its reported flows.

    Parameters
    ----------
    case : HourlyCase
    hours : YearHours
    rh_set : float64 array, shape (n_steps,)
        Relative humidity to hold. [-]
    departure : Outcome
        The demand as the departure gives it.

    Returns
    -------
    RunQuality or None
        None for a case that is no departure.
    """
    if not case.departure:
        return None
    own = balance.direct(case)
    # Mechanical cooling dries the air, which the direct balance does not know: leave it out.
    season = hours.heating_season & ~hours.cooling
    simulated = case.hourly_mean(case.w_base_kg_kg)
    gap = balance.baseline(own).w_kg_kg - simulated
    rmse = float(np.sqrt(np.mean(gap[season] ** 2))) if season.any() else 0.0
    apart: float | None = None
    total = float(departure.added_kg[season].sum())
    if total > 0.0:
        apart = float(balance.demand(own, rh_set).added_kg[season].sum()) / total - 1.0
    large = rmse > QUALITY_RMSE_KG_KG or (apart is not None and abs(apart) > QUALITY_GAP_FRAC)
    return RunQuality(w_rmse_kg_kg=rmse, demand_gap_frac=apart, missing_flow=large)
