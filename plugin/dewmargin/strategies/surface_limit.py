"""Surface limit: a relative humidity as high as the surfaces allow, less a margin."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from dewmargin.contracts import WhileWet
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs
from dewmargin.physics import air
from dewmargin.physics.surfaces import WET_G_M2

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase, SurfaceYear
    from dewmargin.columns import FloatArray

MARGIN_K = 1.0  # common practice, no source


class WhileFilm(Inputs):
    """What to hold while a surface is wet, so that it dries before more vapour is added."""

    rh: Annotated[float, Field(ge=0.0, le=1.0)] = Field(
        0.0, description="Relative humidity to hold at most; default: 0, no humidifying at all"
    )
    above_g_m2: Annotated[float, Field(gt=0.0, le=1e4)] = Field(
        WET_G_M2,
        description="Film at the start of a step beyond which a surface counts as wet; default: "
        "any, 5 is what one sees",
    )


class SurfaceLimit(Inputs):
    """Keep every named surface a margin above the dew point of the room, up to a cap.

    The set-point is the highest relative humidity at which the coldest of the surfaces, lowered by
    the margin, is not yet below the dew point: p_s(T_surface − margin)/p_s(T_air); or that of no
    margin, less a margin in relative humidity. It uses the surface temperature of the same step, as
    a sensor on the surface would show it.
    """

    name: str = Field(description="what results call it")
    rule: Literal["surface_limit"] = "surface_limit"
    surfaces: tuple[str, ...] = Field(
        default=(), description="surfaces to keep dry; default: all of the scenario"
    )
    margin_k: float | None = Field(
        default=None,
        ge=-10,
        le=20,
        description="margin above the dew point; default: 1 without margin_rh (common practice, "
        "no source)",
    )
    margin_rh: float | None = Field(
        default=None,
        ge=-0.5,
        le=0.5,
        description="margin below the humidity at which the first surface sweats, in the place of "
        "margin_k",
    )
    cap_rh: float = Field(
        default=0.40, ge=0, le=1, description="never more humid; middle of the 0.30–0.50 band"
    )
    while_film: WhileFilm | None = Field(
        default=None,
        description="what to hold while a surface is wet; default: the same",
    )

    horizon_h: ClassVar[float] = 0.0

    @model_validator(mode="after")
    def _one_margin(self) -> Self:
        """Refuse a margin that would be ignored."""
        if self.margin_k is not None and self.margin_rh is not None:
            raise ValueError("give either margin_k or margin_rh")
        return self

    def setpoint(self, case: HourlyCase) -> FloatArray:
        """Return relative humidity as a fraction, shape ``(case.n_steps,)``.

        Raises
        ------
        InputError
            If a named surface is not in the scenario, or there is none at all.
        """
        margin_k = self.margin_k
        if margin_k is None:
            margin_k = MARGIN_K if self.margin_rh is None else 0.0
        limit = np.full(case.n_steps, np.inf)
        for surface in self._chosen(case):
            p_limit = surface.p_sat_pa
            if margin_k:
                p_limit = air.saturation_pressure(surface.t_surface_c - margin_k)
            w_limit = air.humidity_ratio(p_limit, case.p_pa)
            if surface.w_offset_kg_kg is not None:
                w_limit = w_limit - surface.w_offset_kg_kg
            limit = np.minimum(limit, w_limit)
        w_sensed = np.maximum(limit + case.sensed.w_offset_kg_kg, 0.0)
        rh = air.vapour_pressure(w_sensed, case.p_pa) / case.sensed_p_sat_pa
        return np.clip(rh - (self.margin_rh or 0.0), 0.0, self.cap_rh)

    def while_wet(self, case: HourlyCase) -> WhileWet | None:
        """Return what to hold while one of the surfaces is wet; None: the same as always."""
        if self.while_film is None:
            return None
        return WhileWet(
            rh_frac=np.minimum(self.setpoint(case), self.while_film.rh),
            surfaces=tuple(surface.name for surface in self._chosen(case)),
            above_g_m2=self.while_film.above_g_m2,
        )

    def _chosen(self, case: HourlyCase) -> list[SurfaceYear]:
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
        return chosen
