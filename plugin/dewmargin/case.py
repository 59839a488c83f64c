"""HourlyCase: one space in one weather year, as every reader hands it to strategies and balance."""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from dewmargin import columns
from dewmargin.core.checks import require_between, require_hourly, require_within
from dewmargin.errors import OutOfRangeError
from dewmargin.physics import air
from dewmargin.physics.surfaces import RETENTION_G_M2, mass_transfer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from _typeshed import DataclassInstance
    from numpy.typing import NDArray

    from dewmargin.columns import BoolArray, Column, FloatArray, IntArray
    from dewmargin.physics.mould import Sensitivity

    Record = TypeVar("Record", bound=DataclassInstance)

MASS_TRANSFER_KG_M2_S = mass_transfer()
WARM_UP_DAYS = 14  # a whole year is preceded by its own last 14 days
LIKELY_RH = 0.35  # of a room in the heating season, where it is not known yet
BUFFER_REFERENCE_C = 20.0  # where the buffer's temperature factor is 1

_COLUMNS = (
    columns.T_OUT,
    columns.W_OUT,
    columns.PRESSURE,
    columns.T_AIR,
    columns.EXCHANGE,
    columns.W_BASE,
    columns.SOURCE,
    columns.HEATING,
)


@dataclass(
    frozen=True, kw_only=True, eq=False
)  # no slots: they leave no room for what is found later
class SurfaceYear:
    """A surface that can sweat, step by step.

    Attributes
    ----------
    name : str
        What the report calls it.
    t_surface_c : float64 array, shape (n_steps,)
        Temperature of the inside face. [°C]
    area_m2 : float or None
        Area that takes vapour from the room; None: it is watched, but takes none. [m2]
    w_offset_kg_kg : float64 array, shape (n_steps,), or None
        Humidity ratio of the surface's own zone less that of the space, without humidifier, where
        several zones are joined. [kg/kg]
    beta_kg_m2_s : float64 array, shape (n_steps,), or float
        Mass transfer to the wet surface, see `surfaces.wet_mass_transfer`. [kg/(m2 s)]
    retention_g_m2 : float
        Film beyond which water runs off, once it is above 0 °C. [g/m2]
    sensitivity : str
        How easily mould grows on it: a class of `mould.CLASSES`.
    construction : str
        The simulation's name of what it is made of; "" is not known.
    """

    name: str
    t_surface_c: FloatArray
    area_m2: float | None = None
    w_offset_kg_kg: FloatArray | None = None
    beta_kg_m2_s: FloatArray | float = MASS_TRANSFER_KG_M2_S
    retention_g_m2: float = RETENTION_G_M2
    sensitivity: Sensitivity = "sensitive"
    construction: str = ""

    def __repr__(self) -> str:
        """Return name and length in a line: no arrays."""
        area = "watched" if self.area_m2 is None else f"{self.area_m2:g} m2"
        return f"<SurfaceYear {self.name!r}: {len(self.t_surface_c)} steps, {area}>"

    @cached_property
    def p_sat_pa(self) -> FloatArray:
        """Saturation pressure at the inside face. [Pa]."""
        return air.saturation_pressure(self.t_surface_c)

    def with_mass_transfer(self, beta_kg_m2_s: FloatArray) -> SurfaceYear:
        """Return the surface with another mass transfer; what is known of it is kept."""
        found = copy.copy(self)
        object.__setattr__(found, "beta_kg_m2_s", beta_kg_m2_s)
        return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sensor:
    """Where the humidistat hangs, in a space of several zones, step by step.

    Attributes
    ----------
    t_air_c : float64 array, shape (n_steps,)
        Air temperature there. [°C]
    w_offset_kg_kg : float64 array, shape (n_steps,)
        Humidity ratio there less that of the space, without humidifier. [kg/kg]
    """

    t_air_c: FloatArray
    w_offset_kg_kg: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeldZone:
    """A zone beside the space that a humidifier of its own holds at the same relative humidity.

    Attributes
    ----------
    name : str
        Its name in the simulation.
    t_air_c, w_base_kg_kg : float64 array, shape (n_steps,)
        Its air without humidifier. [°C, kg/kg]
    dry_air_kg : float
        Its dry air times its moisture capacity multiplier. [kg]
    exchange_kg_s : float64 array, shape (n_steps,)
        Dry air exchanged with outdoors, the space and the other held zones. [kg/s]
    given_kg_s : float64 array, shape (n_steps,)
        Air that the space receives from it. [kg/s]
    received_kg_s : float64 array, shape (1 + n_held, n_steps)
        Air that it receives from the space, then from each held zone. [kg/s]
    """

    name: str
    t_air_c: FloatArray
    w_base_kg_kg: FloatArray
    dry_air_kg: float
    exchange_kg_s: FloatArray
    given_kg_s: FloatArray
    received_kg_s: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoadCurve:
    """How the output of a plant follows the load, step by step.

    Attributes
    ----------
    least_w, full_w : float64 array, shape (n_steps,)
        Heat of the first stage, or the least of a plant that modulates, and the most, backup left
        out; the same where it is on or off. [W]
    backup_w : float
        Heat that is added where the load is above `full_w`. [W]
    modulates : bool
        True: the output follows the load between the two; False: it is one or the other.
    least_airflow_kg_s, full_airflow_kg_s : float
        Dry air moved at the two. [kg/s]
    t_return_c, heat_capacity_j_kgk : float64 array, shape (n_steps,)
        Air before the plant, and its heat capacity per kilogram of dry air. [°C, J/(kg K)]
    """

    least_w: FloatArray
    full_w: FloatArray
    backup_w: float
    modulates: bool
    least_airflow_kg_s: float
    full_airflow_kg_s: float
    t_return_c: FloatArray
    heat_capacity_j_kgk: FloatArray

    def at(self, load_w: FloatArray) -> dict[str, FloatArray | None]:
        r"""Return the attributes of an `AirSystem` that a load sets, by name.

        .. math:: f = \min(q / Q_1, 1) \qquad f_2 = (q - Q_1)/(Q_2 - Q_1) \qquad
            T_s = T_i + Q / (M\,c_p)

        Parameters
        ----------
        load_w : float64 array, shape (..., n_steps)
            Heat that is asked for; below 0 counts as 0. [W]

        Notes
        -----
        *Validity.* Below the least output the plant is on or off. Of two stages the first runs on
        while the second cycles. Between its least and its full output a plant that modulates runs
        all the time, and its airflow goes straight from one end to the other.

        *Source.* First-law balance of the air stream; run fraction of a cycling plant; derivation.
        """
        topped_w = self.full_w + np.clip(load_w - self.full_w, 0.0, self.backup_w)
        heat_frac = np.clip(load_w / self.least_w, 0.0, 1.0)
        one_speed = self.least_airflow_kg_s == self.full_airflow_kg_s
        between_w = self.full_w - self.least_w
        above = (load_w - self.least_w) / np.where(between_w > 0.0, between_w, 1.0)
        above = np.where(between_w > 0.0, np.clip(above, 0.0, 1.0), 1.0)
        if self.modulates:
            output_w = np.where(above < 1.0, np.clip(load_w, self.least_w, self.full_w), topped_w)
            span = self.full_airflow_kg_s - self.least_airflow_kg_s
            airflow = self.least_airflow_kg_s + above * span
            return {
                "heat_frac": heat_frac,
                "t_supply_c": self._supply_c(output_w, airflow),
                "airflow_kg_s": airflow,
                "output_w": output_w,
            }
        full_airflow = np.full_like(topped_w, self.full_airflow_kg_s)
        t_full_c = self._supply_c(topped_w, full_airflow)
        if one_speed and not np.any(between_w > 0.0):
            return {
                "heat_frac": heat_frac,
                "t_supply_c": t_full_c,
                "airflow_kg_s": full_airflow,
                "output_w": topped_w,
            }
        first_airflow = np.full_like(topped_w, self.least_airflow_kg_s)
        return {
            "heat_frac": heat_frac,
            "t_supply_c": self._supply_c(self.least_w, first_airflow),
            "airflow_kg_s": first_airflow,
            "high_frac": above,
            "t_high_c": t_full_c,
            "airflow_high_kg_s": full_airflow,
            "output_w": (1.0 - above) * self.least_w + above * topped_w,
        }

    def _supply_c(self, output_w: FloatArray, airflow_kg_s: FloatArray) -> FloatArray:
        return self.t_return_c + output_w / (airflow_kg_s * self.heat_capacity_j_kgk)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AirSystem:
    """What a ducted air system would do for a humidifier, step by step.

    A float stands for all steps; it is spread to their shape.

    Attributes
    ----------
    heat_frac : float64 array, shape (n_steps,)
        Fraction of the step in which the plant heats. [-]
    t_supply_c, airflow_kg_s : float64 array, shape (n_steps,)
        Air temperature in the supply plenum and dry air moved by the blower while it heats: in the
        first of two stages, or at the output to which it modulates. [°C, kg/s]
    high_frac : float64 array, shape (n_steps,), or None
        Fraction of the heating time in the higher stage; None without stages. [-]
    t_high_c, airflow_high_kg_s : float64 array, shape (n_steps,), or None
        As the two above, in the higher stage. [°C, kg/s]
    off_airflow_kg_s : float64 array, shape (n_steps,)
        Dry air moved where the blower runs without heat; NaN becomes that of heating. [kg/s]
    output_w : float64 array, shape (n_steps,)
        Heat given while it heats, mean of both stages; NaN is not known. [W]
    load_w : float64 array, shape (n_steps,)
        Heat that the plant is asked for, met or not; NaN is not known. [W]
    most_w : float64 array, shape (n_steps,)
        Most heat that it can give while it runs, backup included; infinite is not known. [W]
    blower_frac : float64 array, shape (n_steps,), or None
        Fraction of the step in which the blower runs anyway; None: while the plant heats. [-]
    blower_w : float
        Electricity of the blower at full flow; NaN is not known. [W]
    most_cycles_per_h : float
        Most firings in an hour, N, at half load; at the duty f there are 4·N·f·(1 − f). [1/h]
    dead_time_s : float
        Net time without vapour at each firing. [s]
    curve : LoadCurve or None
        How all this follows the load; None: on or off, at `output_w`.
    """

    heat_frac: FloatArray
    t_supply_c: FloatArray
    airflow_kg_s: FloatArray | float
    high_frac: FloatArray | None = None
    t_high_c: FloatArray | None = None
    airflow_high_kg_s: FloatArray | None = None
    off_airflow_kg_s: FloatArray | float = math.nan
    output_w: FloatArray | float = math.nan
    load_w: FloatArray | float = math.nan
    most_w: FloatArray | float = math.inf
    blower_frac: FloatArray | None = None
    blower_w: float = math.nan
    most_cycles_per_h: float = 3.0
    dead_time_s: float = 0.0
    curve: LoadCurve | None = None

    def __post_init__(self) -> None:
        """Spread what is the same in all steps."""
        shape = np.shape(self.t_supply_c)
        for name in ("airflow_kg_s", "off_airflow_kg_s", "output_w", "load_w", "most_w"):
            value = getattr(self, name)
            if np.ndim(value) == 0:
                object.__setattr__(self, name, np.full(shape, float(value)))
        if np.all(np.isnan(self.off_airflow_kg_s)):
            object.__setattr__(self, "off_airflow_kg_s", self.airflow_kg_s)

    @property
    def follows_load(self) -> bool:
        """Whether its air changes with the load: of two stages, or modulating."""
        return self.high_frac is not None or (self.curve is not None and self.curve.modulates)

    @property
    def full_airflow_kg_s(self) -> float:
        """Most dry air that the blower moves while the plant heats. [kg/s]."""
        if self.curve is not None:
            return float(np.max(self.curve.full_airflow_kg_s))
        high = self.airflow_kg_s if self.airflow_high_kg_s is None else self.airflow_high_kg_s
        return float(max(np.max(self.airflow_kg_s), np.max(high)))

    def at_load(self, load_w: FloatArray) -> AirSystem:
        """Return the system as it runs for another load.

        Parameters
        ----------
        load_w : float64 array, shape (n_steps,) or (2, n_steps)
            Heat that the plant is asked for; the arrays that it sets take its shape. [W]

        Returns
        -------
        AirSystem
            The same plant. Where neither curve nor output is known, heat and air stay as they are.

        Notes
        -----
        *Validity.* Without a curve the output while it runs stays, and the duty is at most 1. The
        blower of `blower_frac` runs at least while the plant heats.

        *Source.* Run fraction of a cycling plant.
        """
        if self.curve is not None:
            changed = self.curve.at(load_w)
        else:
            known = np.isfinite(self.output_w) & (np.asarray(self.output_w) > 0.0)
            duty = np.clip(load_w / np.where(known, self.output_w, 1.0), 0.0, 1.0)
            changed = {"heat_frac": np.where(known, duty, self.heat_frac)}
        if self.blower_frac is not None and changed["heat_frac"] is not None:
            changed["blower_frac"] = np.maximum(self.blower_frac, changed["heat_frac"])
        return replace(self, load_w=load_w, **changed)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeatSource:
    """What a little more heat in the room takes.

    Attributes
    ----------
    carrier : str
        What is bought.
    energy_per_heat : float64 array, shape (n_steps,)
        Energy bought for a unit of heat: the inverse of efficiency, or of a heat pump's
        coefficient of performance. [-]
    spare_w : float64 array, shape (n_steps,), or float
        Heat that can still be had at that price. [W]
    beyond_per_heat : float64 array, shape (n_steps,), or None
        Energy bought for a unit of heat beyond `spare_w`; None: the same. [-]
    """

    carrier: str
    energy_per_heat: FloatArray
    spare_w: FloatArray | float = math.inf
    beyond_per_heat: FloatArray | None = None


def _locked(given: Mapping[Column, FloatArray]) -> dict[str, FloatArray]:
    """Return columns copied, checked and locked, by name."""
    copies = {c.name: np.array(values, dtype=np.float64) for c, values in given.items()}
    require_hourly("HourlyCase", **copies)
    for column in given:
        require_within("HourlyCase", column, copies[column.name])
        copies[column.name].flags.writeable = False
    return copies


@dataclass(frozen=True, kw_only=True, eq=False)  # no slots, as `SurfaceYear`
class HourlyCase:
    """One space and one weather year, checked, copied and locked.

    All arrays have the shape (n_steps,) with n_steps = hours × `steps_per_hour`; values are means
    over the step unless said otherwise. Cases are compared by identity, as is all that holds
    arrays: an array of truth values is neither true nor false. `dewmargin.balance.deliver` has an
    example of a case made from arrays.

    Attributes
    ----------
    title : str
        What was read.
    departure : bool
        True for a simulation: the balance integrates the departure from `w_base_kg_kg`, which the
        simulation found with all its gains and storage. False for the house model: the balance
        integrates the humidity itself, from gains and weather, and `w_base_kg_kg` is zero.
    interval_start : datetime64[s] array
        Start of each step, local standard time.
    t_out_c, w_out_kg_kg, p_pa : float64 array
        Outdoor air. [°C, kg/kg, Pa]
    t_air_c : float64 array
        Room air, volume mean of the zones. [°C]
    exchange_kg_s : float64 array
        Dry air exchanged with outdoors, after latent recovery, and with `held_zones`. [kg/s]
    w_base_kg_kg : float64 array
        Reference humidity ratio of the departure (see `departure`). [kg/kg]
    gains_kg_s : float64 array
        Moisture released in the room. The house model needs it; for a simulation it only serves
        the direct balance that checks the departure. [kg/s]
    heating_w : float64 array
        Sensible heat supplied to the room. [W]
    heating_limit_w : float64 array or float
        The most that the plant can supply; infinite where not known. [W]
    heat_capacity_j_k, time_constant_h : float or None
        Of the room, and how fast a departure of its temperature fades; None is not known. [J/K, h]
    cooling : bool array
        True where the space is mechanically cooled.
    dry_air_kg : float
        Dry air mass of the space times its moisture capacity multiplier, constant. [kg]
    buffer_kg_s, buffer_kg : float
        Conductance to the moisture buffer and its capacity, as dry air; 0 is no buffer. [kg/s, kg]
    buffer_on_rh : bool
        True: the buffer follows relative humidity, the conductance acts on W·W_s(T_ref)/W_s(T).
    wraps : bool
        True for a whole year, which is preceded by its own last 14 days.
    latitude_deg : float
        For the season of the mains temperature. [°]
    humidity_reading : str
        How outdoor humidity was read from the weather.
    surfaces : tuple of SurfaceYear
        The surfaces that the scenario names.
    simulated_surfaces : dict of str to SurfaceYear
        Inside faces that a simulation reported, by the simulation's name of them.
    sensor : Sensor or None
        Where relative humidity is measured; None: the volume mean.
    held_zones : tuple of HeldZone
        Zones beside the space that are humidified together with it.
    air_system : AirSystem or None
        The ducted air system, if the building has one.
    heat_source : HeatSource or None
        What heating takes; None is not known.
    notes : tuple of str
        What was repaired, assumed or left out; printed in every report.
    humidify_while_cooling : bool
        True: the humidifier may run in steps of mechanical cooling, which would dry the air again.
    steps_per_hour : int
        1 for hourly input.
    source_year : int64 array or None
        Year that a typical year took each step from.
    wind_m_s, t_sky_c : float64 array or None
        Wind at the weather station, and temperature of the sky; None is not known. [m/s, °C]
    """

    title: str
    departure: bool
    interval_start: NDArray[np.datetime64]
    t_out_c: FloatArray
    w_out_kg_kg: FloatArray
    p_pa: FloatArray
    t_air_c: FloatArray
    exchange_kg_s: FloatArray
    w_base_kg_kg: FloatArray
    gains_kg_s: FloatArray
    heating_w: FloatArray
    cooling: BoolArray
    dry_air_kg: float
    buffer_kg_s: float = 0.0
    buffer_kg: float = 0.0
    buffer_on_rh: bool = False
    wraps: bool = True
    latitude_deg: float = 45.0
    humidity_reading: str = "frost_point"
    surfaces: tuple[SurfaceYear, ...] = ()
    simulated_surfaces: dict[str, SurfaceYear] = field(default_factory=dict)
    sensor: Sensor | None = None
    held_zones: tuple[HeldZone, ...] = ()
    air_system: AirSystem | None = None
    heat_source: HeatSource | None = None
    heating_limit_w: FloatArray | float = math.inf
    heat_capacity_j_k: float | None = None
    time_constant_h: float | None = None
    notes: tuple[str, ...] = ()
    humidify_while_cooling: bool = False
    steps_per_hour: int = 1
    source_year: IntArray | None = None
    wind_m_s: FloatArray | None = None
    t_sky_c: FloatArray | None = None

    def __post_init__(self) -> None:
        """Copy the columns, so that no caller can change them later; check and lock the copies."""
        given = {column: getattr(self, column.name) for column in _COLUMNS}
        for name, values in _locked(given).items():
            object.__setattr__(self, name, values)
        require_between("HourlyCase", "dry_air_kg", self.dry_air_kg, 1e-3, np.inf)
        require_between("HourlyCase", "buffer_kg_s", self.buffer_kg_s, 0.0, np.inf)
        require_between("HourlyCase", "buffer_kg", self.buffer_kg, 0.0, np.inf)
        if (self.buffer_kg_s > 0.0) != (self.buffer_kg > 0.0):
            raise OutOfRangeError(
                "needs both a conductance and a capacity, or neither", where="HourlyCase: buffer"
            )
        known = [name for name in ("wind_m_s", "t_sky_c") if getattr(self, name) is not None]
        for name in ("cooling", "interval_start", *known):
            if np.shape(getattr(self, name)) != (self.n_steps,):
                raise OutOfRangeError(
                    f"must have shape ({self.n_steps},), got {np.shape(getattr(self, name))}",
                    where=f"HourlyCase: {name}",
                )
        if self.n_steps % self.steps_per_hour:
            raise OutOfRangeError("must be whole hours", where="HourlyCase: n_steps")

    def __setstate__(self, state: dict[str, Any]) -> None:
        """Lock the columns again, which a pickle hands over unlocked."""
        self.__dict__.update(state)
        for column in _COLUMNS:
            getattr(self, column.name).flags.writeable = False

    def __repr__(self) -> str:
        """Return title, extent and kind in two lines: no arrays."""
        kind = "departure from a simulation" if self.departure else "house model"
        extent = "a whole year" if self.wraps else "a part of a year"
        return (
            f"<HourlyCase {self.title!r}: {self.n_hours} hours from {self.interval_start[0]}, "
            f"{extent},\n steps of {60 // self.steps_per_hour} min, {kind}, "
            f"surfaces: {len(self.surfaces)}, held zones: {len(self.held_zones)}>"
        )

    def with_surfaces(
        self, surfaces: tuple[SurfaceYear, ...], notes: tuple[str, ...]
    ) -> HourlyCase:
        """Return the case with other surfaces; `notes` come behind its own."""
        return self._with(surfaces=surfaces, notes=(*self.notes, *notes))

    def with_outdoor_reading(self, t_out_c: FloatArray) -> HourlyCase:
        """Return the case with the outdoor temperature that a sensor shows; all else stays."""
        require_hourly("HourlyCase", t_air_c=self.t_air_c, t_out_c=t_out_c)
        return self._with(**_locked({columns.T_OUT: t_out_c}))

    def _with(self, **changes: object) -> HourlyCase:
        """Return a copy in which what is checked already, and what follows from it, is kept."""
        found = copy.copy(self)
        for name, value in changes.items():
            object.__setattr__(found, name, value)
        return found

    @property
    def n_steps(self) -> int:
        """Number of steps."""
        return int(self.t_out_c.size)

    @property
    def n_hours(self) -> int:
        """Number of hours."""
        return self.n_steps // self.steps_per_hour

    @property
    def step_s(self) -> float:
        """Length of a step. [s]."""
        return 3600.0 / self.steps_per_hour

    @cached_property
    def sensed(self) -> Sensor:
        """Where relative humidity is measured."""
        return self.sensor or Sensor(
            t_air_c=self.t_air_c, w_offset_kg_kg=np.zeros_like(self.t_air_c)
        )

    @cached_property
    def p_sat_pa(self) -> FloatArray:
        """Saturation pressure of the room air. [Pa]."""
        return air.saturation_pressure(self.t_air_c)

    @cached_property
    def sensed_p_sat_pa(self) -> FloatArray:
        """Saturation pressure where relative humidity is measured. [Pa]."""
        if self.sensor is None:
            return self.p_sat_pa
        return air.saturation_pressure(self.sensor.t_air_c)

    def hourly_mean(self, values: NDArray[Any]) -> FloatArray:
        """Return hourly means of step values, along their last axis."""
        if self.steps_per_hour == 1:
            return np.asarray(values, dtype=np.float64)
        shape = (*values.shape[:-1], self.n_hours, self.steps_per_hour)
        result: FloatArray = values.reshape(shape).mean(axis=-1)
        return result

    def first(self, n_steps: int) -> HourlyCase:
        """Return the first `n_steps` steps as a case of their own: what a rule may know by then."""
        return self.between(0, n_steps)

    def between(self, start: int, stop: int) -> HourlyCase:
        """Return the steps from `start` up to `stop`, as a case that does not wrap."""
        part = slice(start, stop)

        def cut(record: Record) -> Record:
            """Cut the last axis of every array in a record, which are its steps."""
            found = {f.name: getattr(record, f.name) for f in fields(record)}
            return replace(
                record,
                **{k: v[..., part] for k, v in found.items() if isinstance(v, np.ndarray)},
            )

        def cut_system(system: AirSystem) -> AirSystem:
            curve = None if system.curve is None else cut(system.curve)
            return replace(cut(system), curve=curve)

        return replace(
            cut(self),
            wraps=False,
            surfaces=tuple(cut(s) for s in self.surfaces),
            simulated_surfaces={k: cut(s) for k, s in self.simulated_surfaces.items()},
            sensor=None if self.sensor is None else cut(self.sensor),
            held_zones=tuple(cut(zone) for zone in self.held_zones),
            air_system=None if self.air_system is None else cut_system(self.air_system),
            heat_source=None if self.heat_source is None else cut(self.heat_source),
        )
