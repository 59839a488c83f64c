"""Atomiser: droplets from nozzles or ultrasound that evaporate in the air."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from dewmargin.contracts import SiteAnswer
from dewmargin.equipment.humidifier import Given, Humidifier, own_power_w
from dewmargin.physics import air, steam

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.contracts import FeedWater, Words, Work
    from dewmargin.equipment.humidifier import Inlet

_PA_PER_BAR = 1e5
_LIVES = (2.0, 3.0)  # of a single droplet, that a spray takes; common practice, no source
_PURE = ("reverse_osmosis", "deionised")
_CAUTION = (
    "A spray carries what lives in its water: drain, clean and disinfect it as a water management "
    "plan says."
)


class Atomiser(Humidifier):
    """Spray the feed as droplets that evaporate in the air, which cools by that.

    In ducts it gives at most what saturates the air along its wet bulb. What does not evaporate
    drains at the temperature of the feed.
    """

    kind: Literal["atomiser"] = "atomiser"
    spray: Literal["nozzle", "ultrasonic"] = Field(description="what makes the droplets")
    rate_kg_h: float = Field(gt=0, le=1e5, description="water of a unit's spray that evaporates")
    overspray_frac: Annotated[float, Field(ge=0.0, le=0.9)] | None = Field(
        default=None,
        description="share of the spray that does not evaporate, and drains; default: nozzle 0.2, "
        "of usual 0.1 to 0.4 (from memory), ultrasonic 0",
    )
    pump_bar: Annotated[float, Field(gt=0.0, le=500.0)] | None = Field(
        default=None, description="pressure of a nozzle's pump"
    )
    pump_efficiency: Annotated[float, Field(gt=0.0, le=1.0)] = Field(
        default=0.7, description="of pump and motor; default: engineering default, no source"
    )
    spray_kwh_kg: Annotated[float, Field(ge=0.0, le=10.0)] | None = Field(
        default=None,
        description="electricity for each kilogram sprayed, in the place of pump_bar; of "
        "ultrasound usually 0.05 to 0.08 (from memory); default: not known",
    )
    droplet_um: Annotated[float, Field(gt=0.0, le=1000.0)] | None = Field(
        default=None, description="diameter of the droplets, for the length in which they evaporate"
    )
    duct_area_m2: Annotated[float, Field(gt=0.0, le=100.0)] | None = Field(
        default=None, description="cross-section of the duct, for the same"
    )

    @model_validator(mode="after")
    def _one_account_of_its_energy(self) -> Self:
        """Refuse two accounts of the same energy, and a pump without nozzle."""
        if self.pump_bar is not None and self.spray_kwh_kg is not None:
            raise ValueError("give pump_bar or spray_kwh_kg, not both")
        if self.pump_bar is not None and self.spray == "ultrasonic":
            raise ValueError("pump_bar is for a nozzle")
        return self

    @property
    def rated_kg_h(self) -> float | None:
        """Vapour that a unit was stated to give."""
        return self.rate_kg_h

    @property
    def _overspray(self) -> float:
        if self.overspray_frac is not None:
            return self.overspray_frac
        return 0.2 if self.spray == "nozzle" else 0.0

    def give(self, inlet: Inlet) -> Given:
        """Return what evaporates; in ducts at most what saturates the air."""
        full = np.full(inlet.w_kg_kg.shape, self.count * self.rate_kg_h / 3600.0)
        rate, water_j_kg = full, air.CP_WATER * inlet.t_feed_c
        if np.isfinite(inlet.airflow_kg_s).all():
            most = steam.saturated_by(inlet.t_c, inlet.w_kg_kg, inlet.p_pa, water_j_kg)
            rate = np.minimum(full, inlet.airflow_kg_s * np.maximum(most - inlet.w_kg_kg, 0.0))
        sprayed = rate / (1.0 - self._overspray)
        own_w = own_power_w(self)
        spray_w = sprayed * self._spray_j_kg
        return Given(
            rate_kg_s=rate,
            feed_kg_s=sprayed,
            brought_w=rate * water_j_kg,
            electricity_w=spray_w + (0.0 if np.isnan(own_w) else own_w),
            casing_w=np.nan_to_num(spray_w) + np.nan_to_num(own_w),
        )

    @property
    def _spray_j_kg(self) -> float:
        if self.pump_bar is not None:
            return self.pump_bar * _PA_PER_BAR / (air.WATER_KG_M3 * self.pump_efficiency)
        return np.nan if self.spray_kwh_kg is None else 3.6e6 * self.spray_kwh_kg

    def on_site(
        self,
        work: Work | None,  # noqa: ARG002 - called as all are
        words: Words,  # noqa: ARG002 - idem
    ) -> SiteAnswer:
        """Return what a spray asks for on site."""
        return SiteAnswer(
            water=("Water: from reverse osmosis or deionised, or its minerals settle as dust.",),
            cautions=(_CAUTION,),
        )

    def warnings(
        self,
        water: FeedWater,
        case: HourlyCase,
        inlet: Inlet,  # noqa: ARG002 - called as all are
        given: Given,  # noqa: ARG002 - idem
    ) -> list[str]:
        """Return what its water and its ducts need."""
        notes = []
        if water.quality.treatment not in _PURE:
            notes.append(
                f"{self.name}: an atomiser leaves all that is dissolved as dust in the air, and "
                f"carries what grows in the water; {water.name} is {water.quality.treatment} "
                "water: use reverse osmosis or deionised water, and a water management plan"
            )
        length_m = self._absorption_m(case)
        if length_m is not None:
            notes.append(
                f"{self.name}: droplets of {self.droplet_um:g} µm take {length_m[0]:.1f} to "
                f"{length_m[1]:.1f} m of straight duct to evaporate in room air of 40 % (model "
                "error 20 %)"
            )
        return notes

    def _absorption_m(self, case: HourlyCase) -> tuple[float, float] | None:
        if case.air_system is None or self.droplet_um is None or self.duct_area_m2 is None:
            return None
        t_c, p_pa = np.array([case.t_air_c.mean()]), np.array([case.p_pa.mean()])
        w = air.humidity_ratio_at_rh(t_c, np.array([0.40]), p_pa)
        density = air.dry_air_density(t_c, w, p_pa)
        system = case.air_system
        high = system.airflow_high_kg_s
        # Droplets fly farthest where most air moves.
        moved = float(np.max(system.airflow_kg_s if high is None else high))
        velocity = moved / (density * self.duct_area_m2)
        life_s = steam.droplet_life_s(self.droplet_um, t_c, w, p_pa)
        single_m = float((velocity * life_s)[0])
        return _LIVES[0] * single_m, _LIVES[1] * single_m
