"""Constant rule: one relative humidity all year."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np
from pydantic import Field

from dewmargin.inputs import Inputs

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray


class Constant(Inputs):
    """Hold one relative humidity whenever the air is drier."""

    name: str = Field(description="what results call it")
    rule: Literal["constant"] = "constant"
    rh: float = Field(ge=0, le=1, description="relative humidity to hold, a fraction")

    horizon_h: ClassVar[float] = 0.0

    def setpoint(self, case: HourlyCase) -> FloatArray:
        """Return relative humidity as a fraction, shape ``(case.n_steps,)``."""
        return np.full(case.n_steps, self.rh)
