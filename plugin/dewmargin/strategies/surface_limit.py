"""As humid as the surfaces allow."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np
from pydantic import Field

from dewmargin import air
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray


class SurfaceLimit(Inputs):
    """Keep every named surface a margin above the dew point of the room, up to a cap.

    The set-point is the highest relative humidity at which the coldest of the surfaces, lowered by
    the margin, is not yet below the dew point: p_s(T_surface − margin)/p_s(T_air). It uses the
    surface temperature of the same step, as a sensor on the surface would show it.
    """

    name: str
    rule: Literal["surface_limit"] = "surface_limit"
    surfaces: tuple[str, ...] = Field(
        default=(), description="surfaces to keep dry; default: all of the scenario"
    )
    margin_k: float = Field(
        default=1.0,
        ge=-10,
        le=20,
        description="margin above the dew point; common practice, no source",
    )
    cap_rh: float = Field(
        default=0.40, ge=0, le=1, description="never more humid; middle of the 0.30–0.50 band"
    )

    horizon_h: ClassVar[float] = 0.0

    def setpoint(self, case: HourlyCase) -> FloatArray:
        """Return relative humidity as a fraction, shape ``(case.n_steps,)``.

        Raises
        ------
        InputError
            If a named surface is not in the scenario, or there is none at all.
        """
        known = {surface.name: surface for surface in case.surfaces}
        for name in self.surfaces:
            if name not in known:
                raise InputError(
                    f"no surface is called {name!r}",
                    where=f"strategies[{self.name!r}].surfaces",
                    hint=f"surfaces: {', '.join(map(repr, known)) or 'none'}",
                )
        chosen = [known[name] for name in self.surfaces] or list(case.surfaces)
        if not chosen:
            raise InputError(
                "needs at least one surface",
                where=f"strategies[{self.name!r}]",
                hint="add a [[surfaces]] table",
            )
        limit = np.full(case.n_steps, np.inf)
        for surface in chosen:
            w_limit = air.saturated_humidity_ratio(surface.t_surface_c - self.margin_k, case.p_pa)
            if surface.w_offset_kg_kg is not None:
                w_limit = w_limit - surface.w_offset_kg_kg
            limit = np.minimum(limit, w_limit)
        w_sensed = np.maximum(limit + case.sensed.w_offset_kg_kg, 0.0)
        rh = air.relative_humidity(case.sensed.t_air_c, w_sensed, case.p_pa)
        return np.minimum(rh, self.cap_rh)
