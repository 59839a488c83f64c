"""Steam humidifier: water boiled by electrodes, heating elements or gas."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Literal, Self

import numpy as np
from pydantic import Field, field_validator, model_validator

from dewmargin.contracts import PartLoad, Points, SiteAnswer
from dewmargin.equipment.humidifier import Given, Humidifier, own_power_w
from dewmargin.errors import InputError
from dewmargin.physics import steam

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import FeedWater, Words, Work
    from dewmargin.equipment.humidifier import Inlet

# Share of the feed that is drained to keep the boiling water from thickening: usual values of the
# trade, from memory; hard water needs more.
_DRAIN_FRAC = {"electrode": 0.15, "resistance": 0.05, "gas": 0.10}
# Conductivity at which electrodes work, from memory.
_CONDUCTIVITY_US_CM = (125.0, 1250.0)
_CAUTION = (
    "Steam and its tank burn, electrodes are live: isolate, let it cool, drain it, then open."
)
_IN_A_DUCT = "In the duct: an airflow switch and a humidistat as high limit, both in its call."
_ABSORPTION_M = (0.5, 3.0)  # from a dispersion tube to the first fitting; usual, from memory


class SteamHumidifier(Humidifier):
    """Boil water and blow the steam into a duct or the room.

    The steam brings its own heat, so that the room has nothing to make up. In ducts it is throttled
    to what saturates the air there.
    """

    kind: Literal["steam"] = "steam"
    heat: Literal["electrode", "resistance", "gas"] = Field(
        description="what boils the water: current through it, heating elements, or a gas burner"
    )
    rate_kg_h: float = Field(gt=0, le=1e5, description="steam that a unit gives at full output")
    drain_frac: Annotated[float, Field(ge=0.0, le=0.9)] | None = Field(
        default=None,
        description="share of the feed that is drained, boiling; default: electrode 0.15, "
        "resistance 0.05, gas 0.10, usual values (from memory), more for hard water",
    )
    power_kw: Annotated[float, Field(gt=0.0, le=1e5)] | None = Field(
        default=None,
        description="rated input of a unit at full output, at least the heat that steam and drain "
        "need; default: that heat, divided by the efficiency",
    )
    efficiency: Annotated[float, Field(gt=0.0, le=1.0)] | None = Field(
        default=None,
        description="heat in the steam and the drain for each unit of electricity or gas; default: "
        "1 for electricity, not known for gas",
    )
    part_load: Points | None = Field(
        default=None,
        description="[share of full output, efficiency as a share of that at full output], from "
        "low to high, flat beyond the ends, of a burner that follows the demand, as many of them "
        "lit as it needs; default: 1, the burner runs at full output or not at all",
    )
    fan_w: Annotated[float, Field(ge=0.0, le=1e6)] = Field(
        default=0.0, description="fan of a unit's own that blows the steam out; default: none"
    )

    @field_validator("part_load")
    @classmethod
    def _rises(cls, points: Points | None) -> Points | None:
        """Refuse points out of order or out of range."""
        if points is not None:
            if not points:
                raise ValueError("must not be empty")
            if any(not lower[0] < higher[0] for lower, higher in pairwise(points)):
                raise ValueError("shares of full output must rise from point to point")
            if any(not (0.0 <= x <= 1.0 and y > 0.0) for x, y in points):
                raise ValueError("must be pairs of a share of full output and a factor above 0")
        return points

    @model_validator(mode="after")
    def _one_account_of_its_input(self) -> Self:
        """Refuse two accounts of the same input."""
        if self.power_kw is not None and self.efficiency is not None:
            raise ValueError("give power_kw or efficiency, not both")
        if self.part_load is not None and self.heat != "gas":
            raise ValueError("part_load is for a gas burner")
        return self

    @property
    def drained(self) -> float:
        """Share of the feed that is drained."""
        return _DRAIN_FRAC[self.heat] if self.drain_frac is None else self.drain_frac

    @property
    def rated_kg_h(self) -> float | None:
        """Vapour that a unit was stated to give."""
        return self.rate_kg_h

    @property
    def modulation(self) -> PartLoad | None:
        """Efficiency at part load."""
        if self.part_load is None:
            return None
        return PartLoad(points=self.part_load, rate_kg_s=self.rate_kg_h / 3600.0, units=self.count)

    def give(self, inlet: Inlet) -> Given:
        """Return its steam; in ducts at most what the air can take up.

        Raises
        ------
        InputError
            If its power could not boil its rate.
        """
        full = np.full(inlet.w_kg_kg.shape, self.count * self.rate_kg_h / 3600.0)
        rate = full
        if np.isfinite(inlet.airflow_kg_s).all():
            most = steam.saturated_by(inlet.t_c, inlet.w_kg_kg, inlet.p_pa, steam.STEAM_J_KG)
            room_left = np.maximum(most - inlet.w_kg_kg, 0.0)
            rate = np.minimum(full, inlet.airflow_kg_s * room_left)
        input_w = rate * self._input_j_kg(inlet)
        own_w = own_power_w(self)
        gas = self.heat == "gas"
        return Given(
            rate_kg_s=rate,
            feed_kg_s=rate / (1.0 - self.drained),
            brought_w=rate * steam.STEAM_J_KG,
            electricity_w=own_w if gas else input_w + (0.0 if np.isnan(own_w) else own_w),
            fuel_w=input_w if gas else 0.0,
            fan_w=self.count * self.fan_w,
            casing_w=self._casing_w(rate, inlet, input_w),
        )

    def _casing_w(self, rate: FloatArray, inlet: Inlet, input_w: FloatArray) -> FloatArray | float:
        """Return the electricity that neither boils nor heats what drains; a flue takes gas's."""
        own_w = float(np.nan_to_num(own_power_w(self)))
        if self.heat == "gas":
            return own_w
        boils_w = rate * steam.boiling_heat(inlet.t_feed_c, drain_frac=self.drained)
        lost_w: FloatArray = np.maximum(input_w - boils_w, 0.0) + own_w
        return lost_w

    def on_site(
        self,
        work: Work | None,  # noqa: ARG002 - called as all are
        words: Words,  # noqa: ARG002 - idem
    ) -> SiteAnswer:
        """Return what boiling water asks for on site."""
        mains = "mains supply and flue are" if self.heat == "gas" else "mains supply is"
        return SiteAnswer(
            drain="it empties boiling: metal or tube rated for 100 °C (212 °F), no pump that is "
            "not; cool it before the waste",
            fit=(f"Its {mains} licensed work.", *(() if self.call == "always" else (_IN_A_DUCT,))),
            cautions=(_CAUTION,),
        )

    def _input_j_kg(self, inlet: Inlet) -> FloatArray | float:
        """Return what a kilogram of steam takes; refuse a power that could not boil it."""
        heat_j_kg = steam.boiling_heat(inlet.t_feed_c, drain_frac=self.drained)
        if self.power_kw is None:
            efficiency = self.efficiency
            if efficiency is None:
                efficiency = np.nan if self.heat == "gas" else 1.0
            return heat_j_kg / efficiency
        least_kw = self.rate_kg_h * float(np.max(heat_j_kg, initial=0.0)) / 3.6e6
        if self.power_kw < least_kw:
            raise InputError(
                f"{self.power_kw:g} kW cannot boil {self.rate_kg_h:g} kg/h of feed of "
                f"{np.min(inlet.t_feed_c):.0f} °C and heat what drains: that takes {least_kw:.3g} "
                "kW",
                where=f"equipment[{self.name!r}].power_kw",
                hint="give the rate that it reaches on this feed, or the drain_frac it has",
            )
        return 3.6e6 * self.power_kw / self.rate_kg_h

    def warnings(
        self,
        water: FeedWater,
        case: HourlyCase,  # noqa: ARG002 - called as all are
        inlet: Inlet,  # noqa: ARG002 - idem
        given: Given,  # noqa: ARG002 - idem
    ) -> list[str]:
        """Return what its water and its ducts need."""
        quality, notes = water.quality, []
        if self.heat == "electrode":
            low, high = _CONDUCTIVITY_US_CM
            pure = quality.treatment in ("reverse_osmosis", "deionised")
            conductivity = quality.conductivity_us_cm
            if pure or (conductivity is not None and not low <= conductivity <= high):
                told = quality.treatment.replace("_", " ") if pure else f"{conductivity:g} µS/cm"
                notes.append(
                    f"{self.name}: electrodes need water that conducts, about {low:g} to "
                    f"{high:g} µS/cm (from memory); {water.name} is {told}"
                )
        elif quality.hardness_mg_l is not None and quality.treatment == "tap":
            notes.append(
                f"{self.name}: {quality.hardness_mg_l:g} mg/l of hardness settles on whatever "
                "boils it; clean it, or soften the water"
            )
        if self.heat == "gas":
            notes.append(f"{self.name}: gas, venting and combustion air are licensed work")
        if self.call != "always":
            near, far = _ABSORPTION_M
            notes.append(
                f"{self.name}: keep {near:g} to {far:g} m of duct behind it clear of bends, "
                "sensors and filters (usual, from memory)"
            )
        return notes
