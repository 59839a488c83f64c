"""A humidifier that gives one rate whenever it runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from pydantic import Field

from dewmargin import air
from dewmargin.contracts import Capability
from dewmargin.equipment.line import line, room_nodes
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import FeedWater, Mode


class FixedRate(Inputs):
    """Give one rate while running, whatever the air and the water are like.

    Its `call` says when it may run: "always"; "heating", while the plant heats; "humidity", in
    ducts, but with the blower run for it when the plant rests, which comes to always.
    """

    name: str
    kind: Literal["fixed_rate"] = "fixed_rate"
    rate_kg_h: float = Field(gt=0, description="vapour given while it runs")
    feed_ratio: float = Field(
        default=1.0, ge=1, description="litres fed for a kilogram given; 1 drains nothing"
    )
    call: Literal["always", "heating", "humidity"] = Field(
        default="always", description="when it may run; a device of its own, outside the ducts"
    )

    def capability(
        self,
        case: HourlyCase,
        feed: FeedWater,  # noqa: ARG002 - its temperature does not matter here
        *,
        w_base_kg_kg: FloatArray,
        w_set_kg_kg: FloatArray,
    ) -> Capability:
        """Return its rate; in ducts at most what the air there can take up before it is saturated.

        Raises
        ------
        InputError
            If it sits in ducts and the building has none.
        """
        if self.call != "always" and case.air_system is None:
            raise InputError(
                f'"{self.call}" needs an air system, and this space has none',
                where=f"equipment[{self.name!r}].call",
                hint="give the space ducts: heating in [space.house] or [space.simulation], "
                'or set call = "always"',
            )
        rate_kg_s = self.rate_kg_h / 3600.0
        w_room = room_nodes(w_base_kg_kg, w_set_kg_kg)
        feed_kg_s = self.feed_ratio * rate_kg_s
        system = case.air_system
        if self.call == "always" or system is None:
            free = line(w_room, np.full_like(w_room, rate_kg_s), feed_kg_s=feed_kg_s)
            return Capability(heat_frac=np.ones(case.n_steps), heat=free)

        def in_duct(t_duct_c: FloatArray) -> Mode:
            room_left = air.saturated_humidity_ratio(t_duct_c, case.p_pa) - w_room
            most_kg_s = np.maximum(system.airflow_kg_s * room_left, 0.0)
            return line(w_room, np.minimum(rate_kg_s, most_kg_s), feed_kg_s=feed_kg_s)

        return Capability(
            heat_frac=system.heat_frac,
            heat=in_duct(system.t_supply_c),
            added=in_duct(case.t_air_c) if self.call == "humidity" else None,
        )
