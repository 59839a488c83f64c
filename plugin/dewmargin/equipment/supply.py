"""Feed water: where it comes from, how it is heated, and the line that brings it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from dewmargin.case import HeatSource
from dewmargin.contracts import FeedWater, Quality
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs
from dewmargin.physics import air
from dewmargin.physics.mains import BURIED_C, FITTED_FROM_C, mains_temperature, months_present
from dewmargin.physics.water_line import FOAM_W_M_K, WaterLine
from dewmargin.space.tariff import Carrier

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray

_MONTHS = 12
_WALL_MM = 1.0
_SCALD_C = 49.0  # adult skin burns in five minutes; pages quoting US CPSC advice
# What a line of this material stands in a potable-water system; usual ratings, from memory, not a
# substitute for the marking on the tube.
_RATED_C = {"polyethylene": 60.0, "pex": 82.0, "cpvc": 82.0}

# Recovery efficiency of storage heaters: source code of OpenStudio-HPXML (electric 0.98; fuel by
# the energy factor, in two straight lines).
_ELECTRIC_RECOVERY = 0.98
_FUEL_RECOVERY = ((0.75, 0.252, 0.608), (np.inf, 0.561, 0.439))


class FeedLine(Inputs):
    """The line from the heater, or the mains, to the equipment."""

    length_m: Annotated[float, Field(gt=0.0, le=200.0)] = Field(description="Length")
    bore_mm: Annotated[float, Field(gt=0.0, le=100.0)] = Field(description="Inner diameter")
    outer_mm: Annotated[float, Field(gt=0.0, le=120.0)] | None = Field(
        None, description="Outer diameter; default: a wall of 1 mm, engineering default"
    )
    place: Literal["heated", "outside"] = Field(
        "heated",
        description="where its heat goes: to the heated space, or outside it, where it is lost; "
        "default: heated",
    )
    ambient_c: Annotated[float, Field(ge=-20.0, le=60.0)] | None = Field(
        None, description="Air around the line; default: the room's, if it runs in heated space"
    )
    insulation_mm: Annotated[float, Field(ge=0.0, le=200.0)] = Field(
        0.0, description="Thickness of foam around it; default: none"
    )
    insulation_w_m_k: Annotated[float, Field(gt=0.0, le=1.0)] = Field(
        FOAM_W_M_K, description="Conductivity of that; default: 0.040, common practice"
    )
    film_w_m2_k: Annotated[float, Field(ge=0.0, le=100.0)] | None = Field(
        None,
        description="Heat transfer coefficient on the bare outside, less with insulation; default: "
        "by natural convection and radiation (Churchill and Chu)",
    )
    material: Literal["copper", "pex", "cpvc", "polyethylene"] | None = Field(
        None,
        description="What it is made of, for its loss and the warning of hot feed; default: not "
        "known, loses like a plastic",
    )

    @model_validator(mode="after")
    def _bore_fits(self) -> Self:
        """Refuse a bore larger than the outside."""
        if self.outer_mm is not None and self.outer_mm < self.bore_mm:
            raise ValueError(f"outer_mm must be at least bore_mm, {self.bore_mm:g}")
        return self

    @model_validator(mode="after")
    def _knows_the_air_around_it(self) -> Self:
        """Refuse a line outside in air that is not told, and two accounts of one insulation."""
        if self.place == "outside" and self.ambient_c is None:
            raise ValueError("a line outside the heated space needs ambient_c, the air around it")
        if self.film_w_m2_k is not None and self.insulation_mm > 0.0:
            raise ValueError("give film_w_m2_k or insulation_mm, not both")
        return self

    def line(self, t_room_c: FloatArray | float) -> WaterLine:
        """Return the line, by the room's temperature. [°C]."""
        outer_mm = self.bore_mm + 2.0 * _WALL_MM if self.outer_mm is None else self.outer_mm
        return WaterLine(
            length_m=self.length_m,
            bore_mm=self.bore_mm,
            outer_mm=outer_mm,
            ambient_c=t_room_c if self.ambient_c is None else self.ambient_c,
            material=self.material,
            insulation_mm=self.insulation_mm,
            insulation_w_m_k=self.insulation_w_m_k,
            film_w_m2_k=self.film_w_m2_k,
            in_space=self.place == "heated",
        )


class WaterHeater(Inputs):
    """What heats the feed.

    A storage heater's standing loss is left out: the heater stands there without a humidifier too.
    """

    kind: Literal["electric_storage", "fuel_storage", "heat_pump", "tankless"] = Field(
        description="fuel_storage and tankless burn their carrier"
    )
    carrier: Carrier | None = Field(
        None,
        description="What it burns or draws; default: electricity for electric_storage and "
        "heat_pump, else not known",
    )
    efficiency: Annotated[float, Field(gt=0.0, le=10.0)] | None = Field(
        None,
        description="Heat in a litre drawn for each unit of energy bought (recovery efficiency, "
        "coefficient of performance); default: electric_storage 0.98, fuel_storage by its "
        "energy_factor (OpenStudio-HPXML), else not known",
    )
    place: Literal["heated", "outside"] = Field(
        "outside",
        description="where a heat_pump stands, and takes its heat from; default: outside the "
        "heated space",
    )
    energy_factor: Annotated[float, Field(gt=0.0, le=1.0)] | None = Field(
        None, description="Energy factor of a fuel_storage heater, in the place of efficiency"
    )
    least_flow_l_min: Annotated[float, Field(ge=0.0, le=20.0)] | None = Field(
        None,
        description="Flow below which it does not start; default: tankless 1.9 l/min, typical "
        "(a building-science page), others 0",
    )

    @model_validator(mode="after")
    def _has_what_its_kind_needs(self) -> Self:
        """Refuse what a kind cannot use."""
        if self.energy_factor is not None and (
            self.kind != "fuel_storage" or self.efficiency is not None
        ):
            raise ValueError("energy_factor is for a fuel_storage heater, in place of efficiency")
        if self.kind in ("electric_storage", "heat_pump") and self.carrier not in (
            None,
            "electricity",
        ):
            raise ValueError(f"{self.kind} draws electricity: leave carrier out")
        if self.place == "heated":
            if self.kind != "heat_pump":
                raise ValueError("place is for a heat_pump, which takes its heat from there")
            if self.efficiency is None:
                raise ValueError("a heat_pump in the heated space needs efficiency, its COP")
        return self

    @property
    def heat_from_space_frac(self) -> float:
        """What of the heat in the water is taken from the heated space."""
        if self.place != "heated" or self.efficiency is None:
            return 0.0
        return max(1.0 - 1.0 / self.efficiency, 0.0)

    @property
    def bought_as(self) -> str | None:
        """What it burns or draws; None is not known."""
        if self.kind in ("electric_storage", "heat_pump"):
            return "electricity"
        return self.carrier

    @property
    def recovery(self) -> float | None:
        """Heat in the water for each unit of energy bought; None is not known."""
        if self.efficiency is not None:
            return self.efficiency
        if self.energy_factor is not None:
            slope, offset = next((a, b) for top, a, b in _FUEL_RECOVERY if self.energy_factor < top)
            return slope * self.energy_factor + offset
        return _ELECTRIC_RECOVERY if self.kind == "electric_storage" else None

    def source(self, n_steps: int) -> HeatSource | None:
        """Return what heating water takes, or None if that is not known."""
        if self.recovery is None or self.bought_as is None:
            return None
        return HeatSource(
            carrier=self.bought_as, energy_per_heat=np.full(n_steps, 1.0 / self.recovery)
        )

    @property
    def least_flow_kg_s(self) -> float:
        """Flow below which it does not start. [kg/s]."""
        default = 1.9 if self.kind == "tankless" else 0.0
        l_min = default if self.least_flow_l_min is None else self.least_flow_l_min
        return l_min / 60.0 * air.WATER_KG_M3 / 1000.0


class WaterQuality(Inputs):
    """What is dissolved in the water; each is not known unless given."""

    treatment: Literal["tap", "softened", "reverse_osmosis", "deionised"] = Field(
        "tap", description="how it was treated; default: tap"
    )
    hardness_mg_l: Annotated[float, Field(ge=0.0, le=5000.0)] | None = Field(
        None, description="calcium hardness as CaCO3"
    )
    alkalinity_mg_l: Annotated[float, Field(gt=0.0, le=5000.0)] | None = Field(
        None, description="alkalinity as CaCO3"
    )
    solids_mg_l: Annotated[float, Field(gt=0.0, le=50_000.0)] | None = Field(
        None, description="total dissolved solids"
    )
    ph: Annotated[float, Field(ge=3.0, le=12.0)] | None = Field(None, description="pH")
    conductivity_us_cm: Annotated[float, Field(gt=0.0, le=1e5)] | None = Field(
        None, description="electric conductivity"
    )


class Supply(Inputs):
    """Feed water from the mains, heated to `temperature_c` if that is given."""

    name: str = Field(description="what results call it")
    source: Literal["mains"] = Field(
        default="mains", description="where the water comes from, before it is heated"
    )
    cold_c: Annotated[float, Field(ge=0.5, le=40.0)] | None = Field(
        default=None,
        description="temperature of the unheated water, of a well or a tank; default: the mains' "
        f"by the weather, at least {BURIED_C:g} °C (common practice, no source)",
    )
    temperature_c: float | None = Field(
        default=None,
        ge=1,
        le=95,
        description="temperature that it is heated to, at the start of its line; default: unheated",
    )
    heater: WaterHeater | None = Field(
        default=None, description="what heats it; default: not known, its energy neither"
    )
    line: FeedLine | None = Field(
        default=None, description="line to the equipment; default: none, no loss"
    )
    quality: WaterQuality = Field(
        default_factory=WaterQuality, description="what is dissolved in it"
    )

    @model_validator(mode="after")
    def _heats_to_something(self) -> Self:
        """Refuse a heater without a temperature."""
        if self.heater is not None and self.temperature_c is None:
            raise ValueError("a heater needs temperature_c, which it heats the water to")
        return self

    def feed_water(self, case: HourlyCase) -> FeedWater:
        """Return the feed water of each step.

        Raises
        ------
        InputError
            If the mains temperature is asked for and the weather lacks months, or the heated water
            would boil.
        """
        self._require_no_boiling(case)
        months = months_present(case.interval_start)
        known = self.cold_c is not None or months == _MONTHS
        # Of hot water the mains' temperature is the heater's matter, unless it may stay off.
        least_flow = 0.0 if self.heater is None else self.heater.least_flow_kg_s
        if not known and (self.temperature_c is None or least_flow > 0.0):
            raise InputError(
                f"the mains temperature follows from all 12 months, the weather has {months}",
                where=f"supplies[{self.name!r}].source",
                hint="give cold_c",
            )
        notes = self._cautions()
        if self.cold_c is not None:
            cold_c = np.full(case.n_steps, self.cold_c)
        else:
            cold_c = mains_temperature(case.t_out_c, case.interval_start, case.latitude_deg)
            if known:
                notes += _of_cold_mains(cold_c, float(case.t_out_c.mean()))
        start_c = cold_c
        if self.temperature_c is not None:
            start_c = np.full(case.n_steps, self.temperature_c)
        return FeedWater(
            name=self.name,
            t_cold_c=cold_c,
            t_start_c=start_c,
            least_flow_kg_s=least_flow,
            cold_known=known,
            heater=None if self.heater is None else self.heater.source(case.n_steps),
            heat_from_space_frac=0.0 if self.heater is None else self.heater.heat_from_space_frac,
            line=None if self.line is None else self.line.line(case.t_air_c),
            quality=Quality(**self.quality.model_dump()),
            notes=tuple(notes),
        )

    def _require_no_boiling(self, case: HourlyCase) -> None:
        if self.temperature_c is None:
            return
        p_pa = float(case.p_pa.min())
        if air.saturation_pressure_over_water(np.array(self.temperature_c)) >= p_pa:
            raise InputError(
                f"water of {self.temperature_c:g} °C boils at {p_pa / 1e3:.0f} kPa",
                where=f"supplies[{self.name!r}].temperature_c",
                hint="lower it",
            )

    def _cautions(self) -> list[str]:
        """Return what hot feed needs."""
        notes = []
        if self.temperature_c is not None and self.temperature_c >= _SCALD_C:
            notes.append(
                f"{self.name}: feed of {self.temperature_c:g} °C scalds; label line and drain, and "
                "do not raise a tank's setting for it without a mixing valve by a licensed plumber"
            )
        material = None if self.line is None else self.line.material
        rated_c = _RATED_C.get(material or "", np.inf)
        if self.temperature_c is not None and self.temperature_c > rated_c:
            notes.append(
                f"{self.name}: a {material} line is usually rated to {rated_c:g} °C (from memory; "
                f"its marking counts), less than the {self.temperature_c:g} °C of the feed"
            )
        return notes


def _of_cold_mains(t_mains_c: FloatArray, t_mean_c: float) -> list[str]:
    """Return that a climate is colder than those of the mains' correlation, or its bound acts."""
    low_c, high_c = float(t_mains_c.min()), float(t_mains_c.max())
    if t_mean_c >= FITTED_FROM_C and low_c > BURIED_C:
        return []
    told = (
        f"mains temperature: its correlation is fitted to annual means of about {FITTED_FROM_C:g} "
        f"°C and more outdoors, here {t_mean_c:.1f} °C; taken as {low_c:.1f} to {high_c:.1f} °C, "
        f"nowhere below {BURIED_C:g} °C, as buried mains rarely are (common practice, no source): "
        "measure it and give cold_c"
    )
    return [told]
