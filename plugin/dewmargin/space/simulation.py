"""Simulation results: an EnergyPlus run's files as an HourlyCase."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np
from pydantic import Field

from dewmargin.case import HeldZone, HourlyCase, Sensor, SurfaceYear
from dewmargin.energyplus import csv, eso, sql
from dewmargin.energyplus.output_file import (
    FULL_YEAR_DAYS,
    INTERVAL_TYPE,
    Picker,
    Quantity,
    ReportedZone,
    Run,
    Series,
    Values,
    results_files,
)
from dewmargin.errors import InputError, OutOfRangeError
from dewmargin.inputs import Inputs
from dewmargin.physics import air
from dewmargin.space.air_handler import COIL_HEATING, FAN_FLOW, AirHandler
from dewmargin.space.plant import HeatingPlant
from dewmargin.space.weather_check import Site, require_same_weather
from dewmargin.space.zone_air import (
    FLOWS,
    W_ZONE,
    ZONE_FLOWS,
    AirSeries,
    SpaceAir,
    units_of,
)
from dewmargin.weather.epw import Weather

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.case import AirSystem
    from dewmargin.columns import BoolArray, FloatArray

_OPENED = {".sql": sql.opened, ".eso": eso.opened, ".csv": csv.opened}
_ASK_FOR = {"Hourly": "Hourly", "Zone Timestep": "Timestep"}
_GLASS = {"Window", "Glass Door", "TubularDaylightDome", "TubularDaylightDiffuser"}
_COOLING_SHARE = 0.01  # an hour counts as cooled above this share of sensible heat moved
_MEANS_SHARE = 0.05  # a product of hourly means may be this much off the mean of the product
_TRACE_KG = 0.5  # less vapour than this in a whole run is rounding, not a humidifier
_LATENT_J_KG = 2.5e6  # only to turn latent heat into an order of kilograms
_APART_FRAC = 0.10  # joined zones whose humidity differs more hardly share their air
_APART_K = 2.0

_T_OUT = Quantity({"Site Outdoor Air Drybulb Temperature": "C"})
_W_OUT = Quantity({"Site Outdoor Air Humidity Ratio": "kgWater/kgDryAir"})
_PRESSURE = Quantity({"Site Outdoor Air Barometric Pressure": "Pa"})
_WIND = Quantity({"Site Wind Speed": "m/s"})
_T_SKY = Quantity({"Site Sky Temperature": "C"})
_T_ZONE = Quantity({"Zone Mean Air Temperature": "C", "Zone Air Temperature": "C"})
_LATENT = Quantity(
    {"Zone Total Internal Latent Gain Rate": "W", "Zone Total Internal Latent Gain Energy": "J"}
)
_ZONE_HEATING = Quantity(
    {"Zone Air System Sensible Heating Rate": "W", "Zone Air System Sensible Heating Energy": "J"}
)
_ZONE_COOLING = Quantity(
    {"Zone Air System Sensible Cooling Rate": "W", "Zone Air System Sensible Cooling Energy": "J"}
)
_IDEAL_HEATING = Quantity(
    {
        "Zone Ideal Loads Zone Sensible Heating Rate": "W",
        "Zone Ideal Loads Zone Sensible Heating Energy": "J",
    },
    of_unit=True,
)
# Heat at the coil: of the zone and of the outdoor air that passes it.
_SUPPLY_HEATING = Quantity(
    {
        "Zone Ideal Loads Supply Air Sensible Heating Rate": "W",
        "Zone Ideal Loads Supply Air Sensible Heating Energy": "J",
    },
    of_unit=True,
)
_IDEAL_COOLING = Quantity(
    {
        "Zone Ideal Loads Zone Sensible Cooling Rate": "W",
        "Zone Ideal Loads Zone Sensible Cooling Energy": "J",
    },
    of_unit=True,
)
_COIL_COOLING = Quantity(
    {
        "Zone Ideal Loads Supply Air Sensible Cooling Rate": "W",
        "Zone Ideal Loads Supply Air Sensible Cooling Energy": "J",
    },
    of_unit=True,
)
_IDEAL_HUMIDIFYING = Quantity(
    {
        "Zone Ideal Loads Supply Air Latent Heating Rate": "W",
        "Zone Ideal Loads Supply Air Latent Heating Energy": "J",
    },
    of_unit=True,
)
_HUMIDIFIER = Quantity(
    {"Humidifier Water Volume Flow Rate": "m3/s", "Humidifier Water Volume": "m3"}
)
_FACE = Quantity({"Surface Inside Face Temperature": "C"})
_FRAME = Quantity({"Surface Window Frame Inside Temperature": "C"})
_DIVIDER = Quantity({"Surface Window Divider Inside Temperature": "C"})

_SITE = (_T_OUT, _W_OUT, _PRESSURE)


class Simulation(Inputs):
    """The results of an EnergyPlus run, as the building to compare strategies for."""

    results: str = Field(
        description="The run's eplusout.sql, .eso or .csv, or their folder, seen from the scenario"
    )
    zones: list[str] | None = Field(
        None,
        description="Zones that share their air and make up the space; default: all of the run",
    )
    humidified_alike: list[str] | None = Field(
        None,
        description="Zones beside the space that humidifiers of their own hold at the same "
        "humidity, so that air from them carries no vapour away; default: none, other zones follow "
        "the space as far as their own leaks allow",
    )
    sensor_zone: str | None = Field(
        None,
        description="Zone of the space in which the humidistat hangs; default: the volume mean of "
        "the space",
    )
    environment: str | None = Field(
        None, description="Name of the run period; needed only where a run has several"
    )
    baseline: Literal["free", "humidified"] = Field(
        "free",
        description="free: the run has no humidifier, and the departure from its humidity is "
        "computed; humidified: it has one, and only its air flows, gains and temperatures are used",
    )
    latent_effectiveness: Annotated[float, Field(ge=0.0, le=1.0)] | None = Field(
        None,
        description="Share of moisture that the heat recovery of the mechanical ventilation hands "
        "back; default: fitted to what the run reports of it, else none, the dry side",
    )
    heating: HeatingPlant | None = Field(
        None,
        description="Heating plant that brings the heat which the run asks for; default: heat "
        "without limit and without ducts",
    )
    humidify_while_cooling: bool = Field(
        False,  # noqa: FBT003 - pydantic takes the default first
        description="Humidify in hours of mechanical cooling too, whose coil takes the water out "
        "again; default: no",
    )
    moisture_capacity_multiplier: Annotated[float, Field(gt=0.0)] | None = Field(
        None,
        description="Moisture the space stores, as a multiple of what its air holds; default: "
        "what the run used (of zones with multipliers of their own, the run tells the mean)",
    )

    def case(self, *, weather: object | None, folder: Path) -> HourlyCase:
        """Read the run and return it as a case.

        Parameters
        ----------
        weather : object or None
            The scenario's weather: it must be the one that was simulated, and tells the latitude.
            The air outdoors is the run's own.
        folder : Path
            Folder of the scenario, from which `results` is seen.

        Returns
        -------
        HourlyCase
            One space with its surfaces, means over the hour, or over the zone time step if the
            run reports nothing hourly.

        Raises
        ------
        InputError
            If the file is no finished run, lacks what is needed, is not to be trusted, or does not
            belong to the weather.
        """
        path, *_ = self.files(folder)
        try:
            before = path.stat()
            with _OPENED[path.suffix.casefold()](path) as run:
                case = self._read(run, weather=weather)
            after = path.stat()
        except OutOfRangeError as error:
            raise InputError(error.what, file=path, where=error.where, hint=error.hint) from error
        except (sqlite3.Error, OSError, ValueError, TypeError, OverflowError) as error:
            raise InputError(
                f"cannot be read as the results of a run: {error}",
                file=path,
                hint="the file is damaged or no results of EnergyPlus; run the simulation again",
            ) from error
        if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
            raise InputError(
                "is still being written", file=path, hint="wait for the end of the simulation"
            )
        return case

    def files(self, folder: Path) -> tuple[Path, ...]:
        """Return the files it reads, the results first, for the record of inputs."""
        try:
            return results_files(folder / self.results, self.results)
        except OSError as error:  # a name that no file can have, a folder that is locked
            where = f"results = {self.results[:60]!r}"
            raise InputError(f"cannot be read: {error.strerror}", where=where) from error

    def _read(self, run: Run, *, weather: object | None) -> HourlyCase:
        """Turn an opened run into a case."""
        environment = run.environment(self.environment)
        zones = run.chosen_zones(self.zones)
        alike = self._alike(run, zones)
        sensor_at = self._sensor_at(run, zones)
        pick = Picker(run, self._frequency(run, zones, alike))

        site = [pick.one(quantity, "Environment") for quantity in _SITE]
        wind, sky = (pick.maybe(quantity, "Environment") for quantity in (_WIND, _T_SKY))
        states = [(pick.one(_T_ZONE, zone.name), pick.one(W_ZONE, zone.name)) for zone in zones]
        beside = [(pick.one(_T_ZONE, zone.name), pick.one(W_ZONE, zone.name)) for zone in alike]
        moved = AirSeries.of(pick, zones, alike)
        latent = [pick.maybe(_LATENT, zone.name) for zone in zones]
        heating = _sensible(pick, zones, _ZONE_HEATING, _IDEAL_HEATING)
        plant = heating if self.heating is None else _at_the_coil(pick, zones) or heating
        handler = AirHandler.of(pick, self.heating)
        coil = _sensible(pick, zones, _COIL_COOLING)
        cooling = coil or _sensible(pick, zones, _ZONE_COOLING, _IDEAL_COOLING)
        humidifying = [*pick.every(_IDEAL_HUMIDIFYING), *pick.every(_HUMIDIFIER)]
        faces = _faces(run, pick, zones)
        values = pick.read(environment)

        notes = [*run.notes(zones), *values.notes]
        if self.baseline == "free":
            notes += _refuse_humidified(run, values, humidifying)
        t_out, w_out, pressure = (values[series] for series in site)
        if isinstance(weather, Weather):
            notes += require_same_weather(weather, _site(run, values, t_out, w_out))
        t, w = [values[series] for series, _ in states], [values[series] for _, series in states]
        volume = [zone.multiplier * zone.volume_m3 for zone in zones]
        mass = np.array(
            [_dry_air(zone, ti, wi, pressure) for zone, ti, wi in zip(zones, t, w, strict=True)]
        )
        t_air = np.average(t, axis=0, weights=volume)
        w_air = np.average(w, axis=0, weights=mass)
        notes += _doubtful_join(zones, t, w)

        exchanged = moved.read(
            values,
            t_out_c=t_out,
            w_kg_kg=w_air,
            w_out_kg_kg=w_out,
            latent_effectiveness=self.latent_effectiveness,
        )
        notes += exchanged.notes
        gains = _latent_gains(values, zones, latent, t, notes) + exchanged.brought_kg_s
        multiplier = self.moisture_capacity_multiplier or run.moisture_multiplier(notes)
        latitude_deg = getattr(weather, "latitude_deg", None)
        if latitude_deg is None:
            latitude_deg = run.latitude_deg(notes)
        heating_w, cooling_w = values.total(heating), values.total(cooling)
        plant_w = values.total(plant)
        outdoor_air_w = 0.0 if coil else _cooled_by_outdoor_air(exchanged, zones, t, t_out, w_out)
        if not cooling:
            notes.append(
                "hours of mechanical cooling are not known: add Output:Variable,*,"
                f"{_ZONE_COOLING.asked_as},Hourly; to the model"
            )
        departure = self.baseline == "free"
        offset = [wi - w_air if departure and len(zones) > 1 else None for wi in w]
        sensor = None if sensor_at is None else _sensor(t[sensor_at], offset[sensor_at])
        notes += _sensed(zones, sensor_at)
        return HourlyCase(
            title=f"{run.building or run.path.name}: {environment.name}",
            departure=departure,
            interval_start=values.interval_start,
            t_out_c=t_out,
            w_out_kg_kg=w_out,
            p_pa=pressure,
            t_air_c=t_air,
            exchange_kg_s=exchanged.exchange_kg_s,
            w_base_kg_kg=w_air if departure else np.zeros(values.n_steps),
            gains_kg_s=gains,
            heating_w=heating_w,
            cooling=_mechanically_cooled(cooling_w, heating_w, outdoor_air_w),
            dry_air_kg=multiplier * float(np.mean(np.sum(mass, axis=0))),
            wraps=values.n_days in FULL_YEAR_DAYS,
            latitude_deg=latitude_deg,
            humidity_reading="relative_humidity",
            simulated_surfaces={
                face.name: SurfaceYear(
                    name=face.name,
                    t_surface_c=values[face.series],
                    area_m2=face.area_m2,
                    w_offset_kg_kg=offset[face.zone],
                    sensitivity="resistant" if face.is_glass else "sensitive",
                    construction=face.construction,
                )
                for face in faces
            },
            sensor=sensor,
            held_zones=tuple(
                HeldZone(
                    name=zone.name,
                    t_air_c=values[t_series],
                    w_base_kg_kg=values[w_series],
                    dry_air_kg=multiplier
                    * float(np.mean(_dry_air(zone, values[t_series], values[w_series], pressure))),
                    exchange_kg_s=exchanged.loss_kg_s[node],
                    given_kg_s=exchanged.flow_kg_s[0, node],
                    received_kg_s=exchanged.flow_kg_s[node],
                )
                for node, (zone, (t_series, w_series)) in enumerate(
                    zip(alike, beside, strict=True), start=1
                )
            ),
            air_system=self._air_system(
                values,
                plant_w,
                handler,
                notes,
                t_air_c=t_air,
                w_kg_kg=w_air,
                p_pa=pressure,
                t_out_c=t_out,
            ),
            heating_limit_w=np.inf if self.heating is None else self.heating.limit_w(t_out),
            heat_source=None
            if self.heating is None
            else self.heating.heat_source(heating_w=plant_w, t_out_c=t_out),
            notes=tuple(notes),
            humidify_while_cooling=self.humidify_while_cooling,
            steps_per_hour=values.steps_per_hour,
            wind_m_s=None if wind is None else values[wind],
            t_sky_c=None if sky is None else values[sky],
        )

    def _air_system(
        self,
        values: Values,
        plant_w: FloatArray,
        handler: AirHandler | None,
        notes: list[str],
        **room: FloatArray,
    ) -> AirSystem | None:
        """Return the ducts of the heating plant, if it has any; add what is to be known of it."""
        if self.heating is None:
            return None
        if handler is None:
            system = self.heating.air_system(heating_w=plant_w, **room)
        else:
            system = self.heating.simulated_air_system(
                **handler.read(values), t_air_c=room["t_air_c"], w_kg_kg=room["w_kg_kg"]
            )
        notes += self.heating.notes(system)
        return system

    def _alike(self, run: Run, zones: list[ReportedZone]) -> list[ReportedZone]:
        """Return the zones beside the space that are held at the same humidity."""
        if self.humidified_alike is None:
            return []
        alike = run.chosen_zones(self.humidified_alike, key="humidified_alike")
        if both := [zone.name for zone in alike if zone in zones]:
            raise InputError(
                f"{both[0]} is part of the space itself",
                file=run.path,
                where="humidified_alike",
                hint="zones names the space",
            )
        if self.baseline == "humidified":
            raise InputError(
                "needs a run without humidifier, whose zones tell their own humidity",
                file=run.path,
                where="humidified_alike",
            )
        return alike

    def _sensor_at(self, run: Run, zones: list[ReportedZone]) -> int | None:
        """Return the place of the sensor's zone in the space, if the scenario names one."""
        if self.sensor_zone is None:
            return None
        (sensor,) = run.chosen_zones([self.sensor_zone], key="sensor_zone")
        if sensor not in zones:
            raise InputError(
                f"{sensor.name} is not part of the space",
                file=run.path,
                where="sensor_zone",
                hint=f"zones of the space: {', '.join(zone.name for zone in zones)}",
            )
        return zones.index(sensor)

    def _frequency(self, run: Run, zones: list[ReportedZone], alike: list[ReportedZone]) -> str:
        """Return the frequency at which all that is needed is reported; hourly before finer."""
        missing = {
            frequency: self._missing(Picker(run, frequency), zones, alike)
            for frequency in INTERVAL_TYPE
        }
        best = min(missing, key=lambda frequency: len(missing[frequency]))
        if not missing[best]:
            return best
        lines = " ".join(f"Output:Variable,*,{n},{_ASK_FOR[best]};" for n in missing[best])
        raise InputError(
            f"does not report {_nearest(missing[best], run.reported())}",
            file=run.path,
            hint=f"add to the model and run it again: {lines}",
        )

    def _missing(
        self, pick: Picker, zones: list[ReportedZone], alike: list[ReportedZone]
    ) -> list[str]:
        """Return the variables that must be asked for at this frequency."""
        missing = [q.asked_as for q in _SITE if not pick.has(q, "Environment")]
        missing += [
            q.asked_as
            for q in (_T_ZONE, W_ZONE)
            if not all(pick.has(q, zone.name) for zone in [*zones, *alike])
        ]
        if not any(pick.has(q, zone.name) for q in FLOWS for zone in zones):
            missing += [q.asked_as for q in ZONE_FLOWS]
        if self.baseline == "humidified" and not any(pick.has(_LATENT, z.name) for z in zones):
            missing.append(_LATENT.asked_as)
        if self.heating and self.heating.kind == "simulated":
            missing += [q.asked_as for q in (COIL_HEATING, FAN_FLOW) if not pick.every(q)]
        if self.heating and not _sensible(pick, zones, _ZONE_HEATING, _IDEAL_HEATING):
            missing.append(_ZONE_HEATING.asked_as)
        return missing


def _sensor(t_c: FloatArray, w_offset_kg_kg: FloatArray | None) -> Sensor:
    """Return the sensor of a zone; a single one has no offset."""
    offset = np.zeros_like(t_c) if w_offset_kg_kg is None else w_offset_kg_kg
    return Sensor(t_air_c=t_c, w_offset_kg_kg=offset)


def _sensed(zones: list[ReportedZone], sensor_at: int | None) -> list[str]:
    """Say what the humidistat measures."""
    if sensor_at is not None:
        note = (
            f"the humidistat measures in {zones[sensor_at].name}; relative humidity in the tables "
            "is the space's mean"
        )
        return [note]
    if len(zones) > 1:
        return ["the humidistat measures the mean of the zones; sensor_zone names one"]
    return []


def _vapour_enthalpy(t_c: FloatArray) -> FloatArray:
    """Return the vapour's enthalpy by which the engine turns moisture into latent heat, J/kg.

    *Source.* EnergyPlus 25.2, Psychrometrics, ``PsyHgAirFnWTdb``.
    """
    return 2_500_940.0 + 1_858.95 * t_c


def _dry_air(
    zone: ReportedZone, t_c: FloatArray, w_kg_kg: FloatArray, p_pa: FloatArray
) -> FloatArray:
    """Return the dry air in all multiples of a zone. [kg]."""
    return zone.multiplier * zone.volume_m3 * air.dry_air_density(t_c, w_kg_kg, p_pa)


def _at_the_coil(pick: Picker, zones: list[ReportedZone]) -> list[tuple[float, Series | None]]:
    """Choose the series of the heat that a plant brings, outdoor air included, or none.

    Which zones a coil of an air loop serves is not told: it counts if all zones are meant.
    """
    whole = len(zones) == len(pick.run.zones)
    coils = pick.every(COIL_HEATING) if whole else []
    return [(1.0, coil) for coil in coils] or _sensible(pick, zones, _SUPPLY_HEATING)


@dataclass(frozen=True, slots=True)
class _Face:
    """An inside face, and the place of its zone among the chosen ones."""

    name: str
    series: Series
    area_m2: float | None
    zone: int
    construction: str
    is_glass: bool


def _nearest(missing: list[str], reported: dict[str, str]) -> str:
    """List what is missing, and what comes nearest to it."""
    near: dict[str, None] = {}
    for name in missing:
        near.update(dict.fromkeys(get_close_matches(name, reported, n=1)))
    text = ", ".join(missing)
    if near:
        found = ", ".join(f"{name} ({reported[name]})" for name in near)
        text += f"; the nearest it reports: {found}"
    return text


def _sensible(
    pick: Picker, zones: list[ReportedZone], *quantities: Quantity
) -> list[tuple[float, Series | None]]:
    """Choose the series of the first quantity there is, each with its multiplier, or none."""
    for quantity in quantities:
        terms: list[tuple[float, Series | None]]
        if quantity.of_unit:
            terms = [(1.0, unit) for unit in units_of(pick, quantity, zones)]
        else:
            terms = [(zone.multiplier, pick.maybe(quantity, zone.name)) for zone in zones]
        if any(series is not None for _, series in terms):
            return terms
    return []


def _doubtful_join(
    zones: list[ReportedZone], t_c: list[FloatArray], w: list[FloatArray]
) -> list[str]:
    """Warn of joined zones whose air differs so much that they hardly share it.

    Of many zones the warmest and the coldest, the driest and the most humid are compared.
    """
    names = ", ".join(zone.name for zone in zones)
    for by in (w, t_c):
        level = np.mean(by, axis=1)
        i, j = sorted((int(level.argmin()), int(level.argmax())))
        apart_k = float(np.mean(np.abs(t_c[i] - t_c[j])))
        apart = float(np.sqrt(np.mean((w[i] - w[j]) ** 2)))
        if apart_k > _APART_K or apart > _APART_FRAC * float(np.mean(w[i] + w[j])) / 2.0:
            note = (
                f"the join is doubtful: {zones[i].name} and {zones[j].name} differ by "
                f"{apart_k:.1f} K and {1e3 * apart:.2f} g/kg on average, as zones that do not "
                f"share their air; name those to humidify as zones, of {names}"
            )
            return [note]
    return []


def _site(run: Run, values: Values, t_out_c: FloatArray, w_out_kg_kg: FloatArray) -> Site:
    """Return the run's own weather, to be compared with the scenario's."""
    return Site(
        file=str(run.path),
        interval_start=values.interval_start,
        steps_per_hour=values.steps_per_hour,
        engine_steps_per_hour=run.steps_per_hour,
        t_out_c=t_out_c,
        w_out_kg_kg=w_out_kg_kg,
    )


def _latent_gains(
    values: Values,
    zones: list[ReportedZone],
    latent: list[Series | None],
    t_c: list[FloatArray],
    notes: list[str],
) -> FloatArray:
    """Return the moisture released in the space, with a note if it is not known. [kg/s]."""
    gains = np.zeros(values.n_steps)
    for zone, series, ti in zip(zones, latent, t_c, strict=True):
        if series is not None:
            gains += zone.multiplier * values[series] / _vapour_enthalpy(ti)
    if None in latent:
        notes.append(
            f"not reported for all zones: {_LATENT.asked_as}; the direct balance that checks "
            "the departure lacks these gains"
        )
    return gains


def _cooled_by_outdoor_air(
    exchanged: SpaceAir,
    zones: list[ReportedZone],
    t_c: list[FloatArray],
    t_out_c: FloatArray,
    w_out_kg_kg: FloatArray,
) -> FloatArray:
    """Return the heat that outdoor air through the system takes from the space. [W]."""
    times = np.array([zone.multiplier for zone in zones])
    cp = air.heat_capacity(w_out_kg_kg)
    below = np.maximum(np.array(t_c) - t_out_c, 0.0)
    result: FloatArray = times @ (exchanged.mechanical_kg_s * cp * below)
    return result


def _mechanically_cooled(
    cooling_w: FloatArray, heating_w: FloatArray, outdoor_air_w: FloatArray | float
) -> BoolArray:
    """Return the steps in which more is cooled than outdoor air does by itself.

    Parameters
    ----------
    cooling_w, heating_w : float64 array, shape (n_steps,)
        Sensible heat taken from and given to the space. [W]
    outdoor_air_w : float64 array, shape (n_steps,)
        Part of `cooling_w` that is outdoor air let in through the system, without any coil. [W]

    Notes
    -----
    *Validity.* With heat recovery the outdoor air cools less than this, so that light cooling can
    go unseen while it is cooler outdoors. A system's coil tells it exactly, where it is reported.
    """
    excess = cooling_w - outdoor_air_w
    return (excess > _COOLING_SHARE * (heating_w + cooling_w)) & (
        excess > _MEANS_SHARE * outdoor_air_w
    )


def _faces(run: Run, pick: Picker, zones: list[ReportedZone]) -> list[_Face]:
    """Choose the inside faces of the space: walls, glass, frames and dividers."""
    position = {zone.index: place for place, zone in enumerate(zones)}
    found = []
    for name, kind, area_m2, zone, construction in run.surfaces:
        if zone not in position:
            continue
        place = position[zone]
        face = f"{name} glass" if kind in _GLASS else name
        for quantity, part in (
            (_FACE, face),
            (_FRAME, f"{name} frame"),
            (_DIVIDER, f"{name} divider"),
        ):
            series = pick.maybe(quantity, name)
            if series is not None:
                # The file has no areas of frames and dividers.
                area = zones[place].multiplier * area_m2 if quantity is _FACE else 0.0
                made = construction if quantity is _FACE else ""
                glass = part != name and quantity is _FACE
                found.append(_Face(part, series, area or None, place, made, glass))
    return found


def _refuse_humidified(run: Run, values: Values, humidifying: list[Series]) -> list[str]:
    """Refuse a run that humidifies; return a note if it cannot be told."""
    step_s = 3600.0 / values.steps_per_hour
    water_kg = 0.0
    for series in humidifying:
        amount = step_s * float(np.sum(values[series]))
        water_kg += 1e3 * amount if "Water Volume" in series.name else amount / _LATENT_J_KG
    end_use = [
        value
        for (table, _), rows in run.tables.items()
        for row, value in rows
        if table == "End Uses" and row == "Humidification"
    ]
    if water_kg > _TRACE_KG or any(float(value) > 0.0 for value in end_use):
        vapour = f", {water_kg:.0f} kg of vapour" if water_kg > _TRACE_KG else ""
        raise InputError(
            f"is a run that humidifies already{vapour}: its humidity is no baseline",
            file=run.path,
            hint='run the model without its humidifier, or set baseline = "humidified" to use only '
            "the run's air flows, gains and temperatures",
        )
    if humidifying:
        return []
    line = f"Output:Variable,*,{_IDEAL_HUMIDIFYING.asked_as},Hourly;"
    return [f"whether the run humidifies is not known, it is taken as free: add {line} to tell"]
