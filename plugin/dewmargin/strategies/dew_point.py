"""Dew-point rule: one dew point of the room air all year."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np
from pydantic import Field

from dewmargin.inputs import Inputs
from dewmargin.physics import air

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray


class DewPoint(Inputs):
    """Hold one dew point of the room air, where it is measured, up to a relative humidity.

    Below 0.01 °C it is a frost point: saturation over ice. A cold room is thereby held at a higher
    relative humidity than a warm one.
    """

    name: str = Field(description="what results call it")
    rule: Literal["dew_point"] = "dew_point"
    dew_point_c: float = Field(ge=-40, le=30, description="dew point to hold, frost point below 0")
    cap_rh: float = Field(
        default=0.40,
        ge=0,
        le=1,
        description="never more humid; default: middle of the 0.30–0.50 band",
    )

    horizon_h: ClassVar[float] = 0.0

    def setpoint(self, case: HourlyCase) -> FloatArray:
        """Return relative humidity as a fraction, shape ``(case.n_steps,)``."""
        p_vapour_pa = air.saturation_pressure(np.array(self.dew_point_c))
        return np.minimum(p_vapour_pa / case.sensed_p_sat_pa, self.cap_rh)
