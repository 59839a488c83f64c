"""House model: a space from a handful of numbers and a weather file."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Literal, Self

import numpy as np
from pydantic import Field, field_validator, model_validator

from dewmargin.case import BUFFER_REFERENCE_C, LIKELY_RH, WARM_UP_DAYS, HourlyCase
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs, require_rising, temperature_points
from dewmargin.physics import air, air_exchange, moisture_gains, room_temperature, series, surfaces
from dewmargin.physics.series import ClockHour
from dewmargin.space.plant import OwnPlant

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from dewmargin.columns import FloatArray
    from dewmargin.weather.epw import Weather

HEAT_CAPACITY_WH_M2_K = 60.0
INTERNAL_HEAT_W_M2 = 4.0
USUAL_DEFROST_C = -5.0  # colder outdoors, most units defrost; common practice, no source
EXCHANGE_PASSES = 2  # temperature and exchange act on each other; a third moves flows by < 1e-5

MOST = 1e7  # in any unit of a house: more is a slip, and would drown the arithmetic
Positive = Annotated[float, Field(gt=0.0, le=MOST)]
NotNegative = Annotated[float, Field(ge=0.0, le=MOST)]
Fraction = Annotated[float, Field(ge=0.0, le=1.0)]
RoomTemperature = Annotated[float, Field(ge=5.0, le=35.0)]


class Thermostat(Inputs):
    """What the thermostat holds, by the clock of local standard time (no daylight saving)."""

    day_c: RoomTemperature = Field(
        20.0, description="Temperature by day; default: engineering default, no source"
    )
    night_c: RoomTemperature | None = Field(
        None, description="Temperature by night; default: the day's, no set-back"
    )
    night_from_h: ClockHour = Field(
        22.0, description="Start of the night, local standard time; default: engineering default"
    )
    night_to_h: ClockHour = Field(
        6.0, description="End of the night, local standard time; default: engineering default"
    )
    cooling_c: RoomTemperature | None = Field(
        None,
        description="Temperature that mechanical cooling does not let the room exceed; "
        "default: no cooling, the room floats",
    )

    @model_validator(mode="after")
    def _cools_above_heating(self) -> Self:
        """Refuse a thermostat that would heat and cool at once."""
        warmest_c = max(self.day_c, self.day_c if self.night_c is None else self.night_c)
        if self.cooling_c is not None and self.cooling_c <= warmest_c:
            raise ValueError(
                f"cooling_c must be above what is heated to, {warmest_c:g} °C, "
                f"got {self.cooling_c:g}"
            )
        return self

    def setting(self, interval_start: NDArray[np.datetime64]) -> FloatArray:
        """Return the temperature to hold in each step, by the clock at its start. [°C]."""
        if self.night_c is None:
            return np.full(interval_start.size, self.day_c)
        night = series.within(interval_start, from_h=self.night_from_h, to_h=self.night_to_h)
        return np.where(night, self.night_c, self.day_c)


class Ventilation(Inputs):
    """Fans that bring outdoor air in and room air out, all year, and what they recover."""

    supply_l_s: NotNegative = Field(
        0.0, description="Outdoor air blown in, at room temperature; default: none"
    )
    exhaust_l_s: NotNegative = Field(
        0.0, description="Room air drawn out, at room temperature; default: none"
    )
    latent_effectiveness: Fraction = Field(
        0.0,
        description="Moisture recovered, of the smaller flow; default: none. Membrane plates 0.3 "
        "to 0.6, enthalpy wheels 0.5 to 0.75 (engineering defaults)",
    )
    sensible_effectiveness: Fraction = Field(
        0.0, description="Heat recovered, of the smaller flow; default: none"
    )
    rule: air_exchange.Rule = Field(
        "quadrature",
        description="How unbalanced fans add to leakage; default: Handbook of Fundamentals 2009 "
        "ch. 16",
    )
    defrost_below_c: Annotated[float, Field(ge=-60.0, le=10.0)] | None = Field(
        None,
        description="Outdoor temperature below which the recovery defrosts; default: it never "
        f"does, and a note tells the hours colder than {USUAL_DEFROST_C:g} °C",
    )
    defrost: Literal["recirculation", "supply_off"] = Field(
        "recirculation",
        description="What it does then: room air through both sides, no outdoor air; or exhaust "
        "alone, the outdoor air coming in unwarmed through leaks; default: common practice, no "
        "source",
    )
    defrost_points: tuple[tuple[float, Fraction], ...] = Field(
        ((-27.0, 0.23), (-5.0, 0.09)),
        min_length=1,
        description="[outdoor °C, share of the time in defrost], coldest first; straight between, "
        "flat beyond; default: 6 minutes after 20 and after 60 of ventilation, common practice, no "
        "source",
    )

    @field_validator("defrost_points", mode="before")
    @classmethod
    def _convert_temperatures(cls, points: object) -> object:
        """Accept a temperature written with its unit."""
        return temperature_points(points, "share of the time")

    @field_validator("defrost_points")
    @classmethod
    def _in_order(cls, points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        """Temperatures rise from point to point."""
        require_rising(points)
        return points

    @model_validator(mode="after")
    def _recovers_from_something(self) -> Self:
        """Refuse a recovery without two flows, and a defrost of none: both would do nothing."""
        if self.recovers and min(self.supply_l_s, self.exhaust_l_s) == 0.0:
            raise ValueError("recovery needs both supply_l_s and exhaust_l_s")
        if self.defrost_below_c is not None and not self.recovers:
            raise ValueError(
                "defrost_below_c is of a recovery: give sensible_effectiveness or "
                "latent_effectiveness"
            )
        for key in ("defrost", "defrost_points"):
            if key in self.model_fields_set and self.defrost_below_c is None:
                raise ValueError(f"{key} needs defrost_below_c")
        return self

    @property
    def recovers(self) -> bool:
        """Whether heat or moisture is recovered."""
        return self.latent_effectiveness > 0.0 or self.sensible_effectiveness > 0.0

    def defrosting(self, t_out_c: FloatArray) -> FloatArray:
        """Return the share of each step in which the recovery defrosts, shape of `t_out_c`. [-]."""
        if self.defrost_below_c is None:
            return np.zeros_like(t_out_c)
        points_c, shares = zip(*self.defrost_points, strict=True)
        share: FloatArray = np.interp(t_out_c, points_c, shares)
        return np.where(t_out_c < self.defrost_below_c, share, 0.0)

    def flows(
        self,
        leakage_kg_s: FloatArray,
        supply_kg_l: FloatArray,
        exhaust_kg_l: FloatArray,
        t_out_c: FloatArray,
    ) -> tuple[FloatArray, FloatArray]:
        """Return all outdoor air, and the part that passes the recovery, as dry air. [kg/s].

        Parameters
        ----------
        leakage_kg_s : float64 array, shape (n_steps,)
            Leakage without fans. [kg/s]
        supply_kg_l, exhaust_kg_l : float64 array, shape (n_steps,)
            Dry air in what is blown in and drawn out. [kg/l]
        t_out_c : float64 array, shape (n_steps,)
            [°C]

        Notes
        -----
        *Validity.* Defrost in cycles that are short beside the room's time constants. The heat that
        thaws the core comes from room air and is left out, as is what freezing gave it before.

        *Source.* Derivation: the mean over time of a flow that the room follows in proportion.
        """
        supply_kg_s, exhaust_kg_s = self.supply_l_s * supply_kg_l, self.exhaust_l_s * exhaust_kg_l
        total = air_exchange.with_fans(leakage_kg_s, supply_kg_s, exhaust_kg_s, rule=self.rule)
        balanced = np.minimum(supply_kg_s, exhaust_kg_s)
        if self.defrost_below_c is None:
            return total, balanced
        meanwhile = leakage_kg_s
        if self.defrost == "supply_off":
            meanwhile = air_exchange.with_fans(
                leakage_kg_s, np.zeros_like(leakage_kg_s), exhaust_kg_s, rule=self.rule
            )
        share = self.defrosting(t_out_c)
        return (1.0 - share) * total + share * meanwhile, (1.0 - share) * balanced

    def note(self, t_out_c: FloatArray, *, steps_per_hour: int) -> str | None:
        """Return what of the recovery is left out, or how long it defrosts."""
        if not self.recovers:
            return None
        if self.defrost_below_c is None:
            cold_h = np.count_nonzero(t_out_c < USUAL_DEFROST_C) / steps_per_hour
            note = "recovery without bypass or defrost: the same effectiveness all year"
            return note + (
                f", though {cold_h:.0f} h are colder than {USUAL_DEFROST_C:g} °C, where most "
                "units defrost (common practice, no source): give defrost_below_c"
                if cold_h
                else ""
            )
        share = self.defrosting(t_out_c)
        how = "by recirculation" if self.defrost == "recirculation" else "with the supply off"
        return (
            f"recovery without bypass; in {np.count_nonzero(share) / steps_per_hour:.0f} h below "
            f"{self.defrost_below_c:g} °C outdoors it defrosts {how}, "
            f"{share.sum() / steps_per_hour:.0f} h in all; the heat that thaws it is left out"
        )


class Buffer(Inputs):
    """Walls and furniture that take up vapour when the room is humid and give it back."""

    area_m2: Positive = Field(description="Area of the absorbing surfaces")
    moisture_buffer_value_g_m2_rh: Positive = Field(
        description="Practical moisture buffer value of the NORDTEST method, g/m2 per % of "
        "relative humidity: painted gypsum board about 0.3, bare wood about 1 (from memory)"
    )


class House(Inputs):
    """A house as one zone: leakage, fans, moisture gains, one heat capacity and a thermostat.

    The class makes weather into what the moisture balance needs; the humidity itself is left to
    the balance.
    """

    floor_area_m2: Positive = Field(description="Heated floor area")
    volume_m3: Positive = Field(description="Volume of room air")
    storeys: Literal[1, 2, 3] = Field(description="Storeys above ground")
    leakage_m3_h_at_50pa: Positive = Field(description="Air flow of the blower-door test at 50 Pa")
    leakage_exponent: Annotated[float, Field(ge=0.5, le=1.0)] = Field(
        0.65,
        description="Pressure exponent of the blower-door test; default: common practice for "
        "houses, range 0.5 to 1",
    )
    shelter_class: Literal[1, 2, 3, 4, 5] = Field(
        3,
        description="1 open, 2 isolated rural, 3 buildings across the street, 4 urban, 5 adjacent "
        "buildings; default: engineering default, the middle class of the handbook's table",
    )
    heat_loss_w_k: Positive = Field(
        description="Heat loss of the fabric, without air exchange, which is added hour by hour"
    )
    heat_capacity_wh_k: Positive | None = Field(
        None,
        description="Heat capacity of air, furniture and inner layers; default: "
        f"{HEAT_CAPACITY_WH_M2_K:g} Wh/K per m2 of floor, engineering default for light to medium "
        "construction (EN ISO 13790 classes span 22 to 103, from memory)",
    )
    bedrooms: Annotated[int, Field(ge=1, le=100)] | None = Field(
        None,
        description="Bedrooms, for the design moisture rate of ANSI/ASHRAE 160-2009 (from memory); "
        "default: none, give moisture_kg_day",
    )
    moisture_kg_day: NotNegative | None = Field(
        None,
        description="Moisture released in a day, in the place of bedrooms and gains_factor; "
        "default: from bedrooms",
    )
    gains_factor: Annotated[float, Field(ge=0.0, le=2.0)] = Field(
        0.5,
        description="Share of the design moisture rate that is really released; default: low side, "
        "so that humidifier demand is not understated (engineering default); use 1 when "
        "condensation is what you fear",
    )
    internal_heat_w: NotNegative | None = Field(
        None,
        description="Sensible heat of people and appliances, constant; default: "
        f"{INTERNAL_HEAT_W_M2:g} W per m2 of floor, engineering default, no source",
    )
    solar_aperture_m2: NotNegative = Field(
        0.0,
        description="Solar gain is this area times global horizontal radiation; default: none. "
        "About glass area x solar factor x 0.5, since a pane sees half the sky (engineering "
        "default, no source)",
    )
    thermostat: Thermostat = Field(
        default_factory=Thermostat, description="What the thermostat holds"
    )
    ventilation: Ventilation = Field(
        default_factory=Ventilation, description="Fans and heat recovery"
    )
    buffer: Buffer | None = Field(
        None,
        description="Absorbing surfaces; default: none, so that short peaks of demand are not "
        "understated",
    )
    heating: OwnPlant | None = Field(
        None, description="Heating plant; default: heat without limit and without ducts"
    )
    humidity_reading: Literal["frost_point", "relative_humidity", "dew_point"] = Field(
        "frost_point",
        description="How outdoor humidity below 0 °C is read; default: frost point, the highest "
        "demand and so safe for sizing; a comparison tells what the other would change",
    )

    @model_validator(mode="after")
    def _has_one_source_of_moisture(self) -> Self:
        """Refuse a house without moisture, and a factor that would be ignored."""
        if self.moisture_kg_day is None and self.bedrooms is None:
            raise ValueError("give bedrooms or moisture_kg_day")
        if self.moisture_kg_day is not None and "gains_factor" in self.model_fields_set:
            raise ValueError(
                "gains_factor acts on the rate by bedrooms and would be ignored beside "
                "moisture_kg_day: leave one out"
            )
        return self

    def case(self, *, weather: Weather | None, folder: Path) -> HourlyCase:  # noqa: ARG002 - all readers are called alike
        """Return the house in this weather.

        Parameters
        ----------
        weather : Weather or None
            The scenario's weather file.
        folder : Path
            The scenario's folder; a house reads no further file.

        Returns
        -------
        HourlyCase
            Weather as interval means, temperatures, exchange, gains and heat; the balance finds
            the humidity.

        Raises
        ------
        InputError
            If the scenario has no weather, or the weather lacks radiation that is asked for.

        Notes
        -----
        Exchange and temperature act on each other (stack, ventilation heat). They are solved in
        turn, beginning with the room at the thermostat's setting. The room's humidity is not known
        yet; where the density of its air needs one, 35 % stands in: at 15 or 55 % it is 0.5 % off.
        """
        if weather is None:
            raise InputError("needs a [weather] file", where="space.house")
        outdoors = weather.outdoors(self.humidity_reading)
        t_out_c, w_out_kg_kg, p_pa = outdoors.t_out_c, outdoors.w_out_kg_kg, outdoors.p_pa
        wind_m_s = outdoors.wind_m_s
        setting_c = self.thermostat.setting(weather.interval_start)
        gains_w = np.full_like(t_out_c, self._internal_heat_w)
        if self.solar_aperture_m2 > 0.0:
            missing = int(np.sum(np.isnan(weather.global_horizontal_w_m2)))
            if missing:
                raise InputError(
                    f"needs global radiation, which is missing in {missing} rows",
                    file=weather.file,
                    where="space.house: solar_aperture_m2",
                    hint="leave solar_aperture_m2 out",
                )
            gains_w += self.solar_aperture_m2 * weather.global_horizontal_w_m2
        cp = air.heat_capacity(w_out_kg_kg)
        warmup_steps = WARM_UP_DAYS * 24 * weather.steps_per_hour if weather.wraps else 0

        limit_w = np.full_like(t_out_c, math.inf)
        if self.heating is not None:
            limit_w = self.heating.limit_w(t_out_c)
        t_air_c = setting_c
        for _ in range(EXCHANGE_PASSES):
            total, balanced = self._flows(t_air_c, t_out_c, w_out_kg_kg, p_pa, wind_m_s)
            sensible = air_exchange.after_recovery(
                total, balanced, effectiveness=self.ventilation.sensible_effectiveness
            )
            room = room_temperature.room_year(
                t_out_c=t_out_c,
                loss_w_k=self.heat_loss_w_k + cp * sensible,
                gains_w=gains_w,
                heating_set_c=setting_c,
                cooling_set_c=self.thermostat.cooling_c,
                heat_capacity_wh_k=self._heat_capacity_wh_k,
                heating_limit_w=limit_w,
                step_s=3600.0 / weather.steps_per_hour,
                warmup_steps=min(warmup_steps, t_out_c.size),
            )
            t_air_c = room.t_air_c
        total, balanced = self._flows(t_air_c, t_out_c, w_out_kg_kg, p_pa, wind_m_s)

        buffer_kg_s, buffer_kg = 0.0, 0.0
        if self.buffer is not None:
            buffer_kg_s, buffer_kg = surfaces.moisture_buffer(
                self.buffer.area_m2,
                buffer_value_g_m2_rh=self.buffer.moisture_buffer_value_g_m2_rh,
                t_ref_c=BUFFER_REFERENCE_C,
                p_pa=float(np.mean(p_pa)),
            )
        w_room_kg_kg = _likely_w(t_air_c, p_pa)
        density_kg_m3 = air.dry_air_density(t_air_c, w_room_kg_kg, p_pa)
        air_system = None
        if self.heating is not None:
            air_system = self.heating.air_system(
                heating_w=room.heating_w,
                t_air_c=t_air_c,
                w_kg_kg=w_room_kg_kg,
                p_pa=p_pa,
                t_out_c=t_out_c,
            )
        return HourlyCase(
            title=f"house of {self.floor_area_m2:g} m² in {weather.place}",
            departure=False,
            interval_start=weather.interval_start,
            t_out_c=t_out_c,
            w_out_kg_kg=w_out_kg_kg,
            p_pa=p_pa,
            t_air_c=t_air_c,
            exchange_kg_s=air_exchange.after_recovery(
                total, balanced, effectiveness=self.ventilation.latent_effectiveness
            ),
            w_base_kg_kg=np.zeros_like(t_out_c),
            gains_kg_s=moisture_gains.moisture_gains(
                weather.interval_start, moisture_kg_day=self._moisture_kg_day
            ),
            heating_w=room.heating_w,
            heating_limit_w=limit_w,
            heat_capacity_j_k=3600.0 * self._heat_capacity_wh_k,
            time_constant_h=self._heat_capacity_wh_k
            / float(np.mean(self.heat_loss_w_k + cp * sensible)),
            cooling=room.cooling_w > 0.0,
            dry_air_kg=float(np.mean(density_kg_m3)) * self.volume_m3,
            buffer_kg_s=buffer_kg_s,
            buffer_kg=buffer_kg,
            buffer_on_rh=self.buffer is not None,
            wraps=weather.wraps,
            latitude_deg=weather.latitude_deg,
            humidity_reading=self.humidity_reading,
            air_system=air_system,
            heat_source=None
            if self.heating is None
            else self.heating.heat_source(heating_w=room.heating_w, t_out_c=t_out_c),
            notes=(
                *weather.notes,
                *self._notes(weather, t_out_c),
                *(() if self.heating is None else self.heating.notes(air_system)),
            ),
            steps_per_hour=weather.steps_per_hour,
            source_year=weather.source_year,
            wind_m_s=wind_m_s,
            t_sky_c=outdoors.t_sky_c,
        )

    def files(self, folder: Path) -> tuple[Path, ...]:  # noqa: ARG002 - all readers are called alike
        """Return nothing: a house reads no file of its own."""
        return ()

    @property
    def _heat_capacity_wh_k(self) -> float:
        given = self.heat_capacity_wh_k
        return HEAT_CAPACITY_WH_M2_K * self.floor_area_m2 if given is None else given

    @property
    def _internal_heat_w(self) -> float:
        given = self.internal_heat_w
        return INTERNAL_HEAT_W_M2 * self.floor_area_m2 if given is None else given

    @property
    def _moisture_kg_day(self) -> float:
        if self.moisture_kg_day is not None:
            return self.moisture_kg_day
        assert self.bedrooms is not None  # noqa: S101 - the validator saw to it
        return self.gains_factor * moisture_gains.design_rate(self.bedrooms)

    def _flows(
        self,
        t_air_c: FloatArray,
        t_out_c: FloatArray,
        w_out_kg_kg: FloatArray,
        p_pa: FloatArray,
        wind_m_s: FloatArray,
    ) -> tuple[FloatArray, FloatArray]:
        """Return all outdoor air, and the part that passes the recovery, as dry air. [kg/s]."""
        w_room_kg_kg = _likely_w(t_air_c, p_pa)
        leakage_m3_s = air_exchange.infiltration(
            t_air_c,
            t_out_c,
            wind_m_s,
            leakage_area_m2=air_exchange.leakage_area(
                self.leakage_m3_h_at_50pa, exponent=self.leakage_exponent
            ),
            storeys=self.storeys,
            shelter_class=self.shelter_class,
        )
        return self.ventilation.flows(
            leakage_m3_s * air.dry_air_density(t_out_c, w_out_kg_kg, p_pa),
            # Fans are rated at the room's temperature; what comes in is as dry as outdoors.
            1e-3 * air.dry_air_density(t_air_c, w_out_kg_kg, p_pa),
            1e-3 * air.dry_air_density(t_air_c, w_room_kg_kg, p_pa),
            t_out_c,
        )

    def _notes(self, weather: Weather, t_out_c: FloatArray) -> tuple[str, ...]:
        """Return what a reader of the results must know about this house."""
        notes = [
            (
                "house model: one zone of one heat capacity, windows closed all year; outdoor air "
                "by the basic leakage-area model (Sherman and Grimsrud) at outdoor density, with "
                "the weather station's wind"
            ),
            (
                f"moisture released: {self._moisture_kg_day:g} kg a day in a daily profile of "
                "local standard time (engineering default)"
            ),
            (
                f"heat capacity {self._heat_capacity_wh_k:g} Wh/K, internal heat "
                f"{self._internal_heat_w:g} W"
            ),
        ]
        recovery = self.ventilation.note(t_out_c, steps_per_hour=weather.steps_per_hour)
        if recovery is not None:
            notes.append(recovery)
        if self.thermostat.cooling_c is not None:
            notes.append("mechanical cooling dries the air; the house model leaves that out")
        return tuple(notes)


def _likely_w(t_air_c: FloatArray, p_pa: FloatArray) -> FloatArray:
    """Return humidity ratio of a room that is not known yet, for its density. [kg/kg]."""
    return air.humidity_ratio(LIKELY_RH * air.saturation_pressure(t_air_c), p_pa)
