"""A humidifier that gives one rate whenever it runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from pydantic import Field

from dewmargin.contracts import Capability, Mode
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import FeedWater


class FixedRate(Inputs):
    """Give one rate while running, whatever the air and the water are like.

    Its `call` says when it may run: "always"; "heating", while the plant heats; "humidity", in
    ducts, but with the blower run for it when the plant rests, which comes to always.
    """

    name: str
    kind: Literal["fixed_rate"] = "fixed_rate"
    rate_kg_h: float = Field(gt=0, description="vapour given while it runs")
    feed_per_kg: float = Field(
        default=1.0, ge=1, description="litres fed for a kilogram given; 1 drains nothing"
    )
    electricity_w: float = Field(
        default=0.0, ge=0, description="electrical power while it runs, its blower included"
    )
    call: Literal["always", "heating", "humidity"] = Field(
        default="always", description="when it may run; a device of its own, outside the ducts"
    )

    def capability(
        self,
        case: HourlyCase,
        feed: FeedWater,  # noqa: ARG002 - its temperature does not matter here
        *,
        w_base_kg_kg: FloatArray,  # noqa: ARG002 - nor does the room's humidity
        w_set_kg_kg: FloatArray,  # noqa: ARG002 - idem
    ) -> Capability:
        """Return the one mode in which it runs.

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
        rate = np.full(case.n_steps, self.rate_kg_h / 3600.0)
        mode = Mode(
            r0_kg_s=rate,
            r1_kg_s=np.zeros(case.n_steps),
            feed_kg_s=self.feed_per_kg * rate,
            electricity_w=np.full(case.n_steps, self.electricity_w),
        )
        if self.call == "heating" and case.air_system is not None:
            return Capability(heat_frac=case.air_system.heat_frac, heat=mode)
        return Capability(heat_frac=np.ones(case.n_steps), heat=mode)
