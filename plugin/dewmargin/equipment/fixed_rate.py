"""Fixed rate: a humidifier that gives the same vapour [kg/h] whenever it runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from pydantic import Field

from dewmargin.equipment.humidifier import Given, Humidifier, own_power_w
from dewmargin.physics import air, steam

if TYPE_CHECKING:
    from dewmargin.equipment.humidifier import Inlet


class FixedRate(Humidifier):
    """Give one rate while running, whatever the air and the water are like.

    The air's own heat evaporates the water, as in any device that does not boil it, so that in
    ducts it gives at most what saturates the air along its wet bulb; what is fed beyond the rate
    drains at the temperature of the feed.
    """

    kind: Literal["fixed_rate"] = "fixed_rate"
    rate_kg_h: float = Field(gt=0, le=1e5, description="vapour that a unit gives while it runs")
    feed_ratio: float = Field(
        default=1.0, ge=1, le=1000, description="litres fed for a kilogram given; 1 drains nothing"
    )

    @property
    def rated_kg_h(self) -> float | None:
        """Vapour that a unit was stated to give."""
        return self.rate_kg_h

    def give(self, inlet: Inlet) -> Given:
        """Return its rate; in ducts at most what the air can take up."""
        rate = np.full(inlet.w_kg_kg.shape, self.count * self.rate_kg_h / 3600.0)
        water_j_kg = air.CP_WATER * inlet.t_feed_c
        if np.isfinite(inlet.airflow_kg_s).all():
            most = steam.saturated_by(inlet.t_c, inlet.w_kg_kg, inlet.p_pa, water_j_kg)
            room_left = np.maximum(most - inlet.w_kg_kg, 0.0)
            rate = np.minimum(rate, inlet.airflow_kg_s * room_left)
        return Given(
            rate_kg_s=rate,
            feed_kg_s=self.feed_ratio * rate,
            brought_w=rate * water_j_kg,
            electricity_w=own_power_w(self),
            casing_w=float(np.nan_to_num(own_power_w(self))),
        )
