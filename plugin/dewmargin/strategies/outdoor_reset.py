"""Outdoor reset: relative humidity on straight lines between outdoor temperatures."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np
from pydantic import Field, field_validator

from dewmargin.inputs import Inputs, require_rising, temperature_points

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray


class OutdoorReset(Inputs):
    """Follow the outdoor temperature: straight between the points, flat beyond them."""

    name: str = Field(description="what results call it")
    rule: Literal["outdoor_reset"] = "outdoor_reset"
    points: tuple[tuple[float, float], ...] = Field(
        min_length=1, description="[outdoor °C, relative humidity as a fraction], coldest first"
    )

    horizon_h: ClassVar[float] = 0.0

    @field_validator("points", mode="before")
    @classmethod
    def _convert_temperatures(cls, points: object) -> object:
        """Accept a temperature written with its unit, such as "10 degF"."""
        return temperature_points(points)

    @field_validator("points")
    @classmethod
    def _check_points(cls, points: tuple[tuple[float, float], ...]) -> object:
        """Temperatures rise from point to point; humidities are fractions."""
        require_rising(points)
        for t_c, rh in points:
            if not 0.0 <= rh <= 1.0:
                per_cent = f": did you mean {rh / 100:g}?" if 1.0 < rh <= 100.0 else ""  # noqa: PLR2004
                raise ValueError(
                    f"relative humidity must be between 0 and 1, got {rh:g} at {t_c:g} °C{per_cent}"
                )
        return points

    def setpoint(self, case: HourlyCase) -> FloatArray:
        """Return relative humidity as a fraction, shape ``(case.n_steps,)``."""
        t_c, rh = zip(*self.points, strict=True)
        result: FloatArray = np.interp(case.t_out_c, t_c, rh)
        return result
