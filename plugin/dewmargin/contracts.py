"""Contracts of extensions: capability of a device, use of water and energy, feed water, protocols.

An extension is a class derived from `dewmargin.inputs.Inputs`, whose keys are those of its table in
a scenario, with the attributes and the method of one of these protocols. All arrays have the shape
(n_steps,) of the case they belong to.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, Protocol, runtime_checkable

import numpy as np

from dewmargin.case import LIKELY_RH
from dewmargin.physics import air
from dewmargin.units import GALLON_L, INCH_M, INCH_OF_WATER_PA

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from dewmargin.case import HeatSource, HourlyCase
    from dewmargin.columns import BoolArray, FloatArray, Table
    from dewmargin.physics.water_line import WaterLine
    from dewmargin.units import Units

Points = tuple[tuple[float, float], ...]  # a quantity that rises, and what belongs to it
Symptom = tuple[str, str, str]  # what is seen, its likely cause, what to do

_WHOLE = 1e-9  # of a unit: nearer than this a number of units is whole
HOT_ABOVE_COLD_K = 0.5  # a feed counts as hot only when it is clearly warmer than the cold water
# Tolerances of what is measured on site; common practice, no source.
FEED_FRAC, FEED_K, DRAIN_K = 0.10, 3.0, 2.0
_LEAST_CATCH_KG_H = 0.1  # less takes hours to catch
_MM_M = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Use:
    """What running takes or brings: so much for each second, and so much for each kilogram given.

    Attributes
    ----------
    per_s, per_kg : float64 array, shape (n_steps,), or float
        NaN is not known.
    """

    per_s: FloatArray | float = 0.0
    per_kg: FloatArray | float = 0.0

    def total(self, running_s: FloatArray, given_kg: FloatArray) -> FloatArray:
        """Return the amount of each step; 0 where nothing runs, known or not."""
        runs = running_s > 0.0
        result: FloatArray = np.where(runs, self.per_s * running_s + self.per_kg * given_kg, 0.0)
        return result


UNKNOWN = Use(per_s=np.nan)
USES = (
    "feed",
    "brought",
    "feed_heat",
    "fan",
    "electricity",
    "fuel",
    "line",
    "casing",
)  # of a `Mode`


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mode:
    """One way of running in a step: how fast, on how much water, on how much energy.

    Attributes
    ----------
    r0_kg_s : float64 array, shape (n_steps,)
        Rate while running in dry air. [kg/s]
    r1_kg_s : float64 array, shape (n_steps,)
        Fall of the rate with the room's humidity ratio W, so that the rate is r0 - r1·W; what
        would be below 0 counts as 0. [kg/s per kg/kg]
    feed : Use
        Water fed. [kg]
    brought : Use
        Enthalpy that the water, or steam, brings to the air, drained water subtracted; liquid at
        0 °C is zero. [J]
    feed_heat : Use
        Heat that the water heater put into the feed, what the line loses included. [J]
    fan : Use
        Electricity of the blower run for it, and of a fan of its own. [J]
    electricity, fuel : Use
        What the device itself uses. [J]
    line : Use
        Heat that the feed gives to the space on its way, less what its heater draws from it. [J]
    casing : Use
        Heat of the device's electricity that stays in the space, not in the vapour. [J]
    """

    r0_kg_s: FloatArray
    r1_kg_s: FloatArray
    feed: Use
    brought: Use = UNKNOWN
    feed_heat: Use = UNKNOWN
    fan: Use = UNKNOWN
    electricity: Use = UNKNOWN
    fuel: Use = Use()
    line: Use = Use()
    casing: Use = Use()

    def taken_w(self, w_kg_kg: FloatArray, vapour_j_kg: FloatArray) -> FloatArray:
        """Return the heat that running takes from the room; what is not known counts as none.

        Parameters
        ----------
        w_kg_kg : float64 array
            Humidity ratio of the room. [kg/kg]
        vapour_j_kg : float64 array
            Enthalpy of vapour there. [J/kg]
        """
        rate = np.maximum(self.r0_kg_s - self.r1_kg_s * w_kg_kg, 0.0)
        brought = self.brought.per_s + self.brought.per_kg * rate
        for use in (self.line, self.casing, self.fan):
            if use is not UNKNOWN:
                brought = brought + np.nan_to_num(use.per_s) + np.nan_to_num(use.per_kg) * rate
        taken: FloatArray = np.where(
            (rate > 0.0) & ~np.isnan(brought), rate * vapour_j_kg - brought, 0.0
        )
        return taken


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLoad:
    """How the efficiency of a device that follows the demand falls at part load.

    Attributes
    ----------
    points : tuple of (share, factor)
        Efficiency by the share of full output of a unit, as a share of that at full output; flat
        beyond the ends.
    rate_kg_s : float
        Full output of a unit. [kg/s]
    units : int
        Units alike; as many run as the demand needs.
    """

    points: Points
    rate_kg_s: float
    units: int = 1

    def factor(self, given_kg: FloatArray, available_s: FloatArray) -> FloatArray:
        """Return the efficiency as a share of that at full output.

        Parameters
        ----------
        given_kg : float64 array
            Vapour given in each step. [kg]
        available_s : float64 array
            Time in which it may run. [s]
        """
        most_kg = self.rate_kg_s * available_s
        output = np.where(most_kg > 0.0, given_kg / np.where(most_kg > 0.0, most_kg, 1.0), 0.0)
        running = np.clip(np.ceil(output - _WHOLE), 1.0, self.units)
        shares, factors = zip(*self.points, strict=True)
        result: FloatArray = np.interp(output / running, shares, factors)
        return result


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Capability:
    """What an equipment can do in each step: with heat, and between firings of the plant.

    Attributes
    ----------
    heat_frac : float64 array, shape (n_steps,), 0 to 1
        Fraction of the step in which `heat` may run. [-]
    heat : Mode
        Running in that fraction.
    added : Mode or None
        Running in the rest of the step, on a call for humidity; None: it cannot.
    added_share : float64 array, shape (n_steps,), or float
        Part of that rest in which it may.
    fires : bool
        True: `heat_frac` is that of the building's plant, which runs the longer for what the device
        evaporates.
    most_cycles_per_h : float
        Firings of the plant in an hour at half load, N; 4 N f (1 - f) at duty f.
    dead_time_s : float
        What each firing loses at its start. [s]
    standby_w : float
        Electricity while it does not run. [W]
    resting_feed_kg_s : float
        Water that runs on while it rests, to waste. [kg/s]
    resting_heat_w, resting_line_w : float64 array, shape (n_steps,), or float
        Heat that the water heater puts into that, and what its line gives to the space. [W]
    hot : bool array, shape (n_steps,), or None
        Steps in which the feed comes heated; None: never.
    part_load : PartLoad or None
        Efficiency in `fuel` at part load; None: it runs at full output or not at all.
    notes : tuple of str
        What a reader of the report has to know of it.
    """

    heat_frac: FloatArray
    heat: Mode
    added: Mode | None = None
    added_share: FloatArray | float = 1.0
    fires: bool = False
    most_cycles_per_h: float = 3.0
    dead_time_s: float = 0.0
    standby_w: float = 0.0
    resting_feed_kg_s: float = 0.0
    resting_heat_w: FloatArray | float = 0.0
    resting_line_w: FloatArray | float = 0.0
    hot: BoolArray | None = None
    part_load: PartLoad | None = None
    notes: tuple[str, ...] = ()

    def duty_run(self, case: HourlyCase) -> FloatArray:
        r"""Return the part of each step in which it gives vapour on heat, while it runs all it may.

        .. math::
            f = \min\left(\frac{q + s\,q_{off}}{Q - q_{on} + s\,q_{off}}, 1\right)

        with q what the space takes, Q the plant's output, q_on and q_off the heat that evaporating
        takes with heat and between firings, the latter for the share s of that time: the plant runs
        as long as both need. At the limit of its heat it runs on. The dead time of its firings is
        left out.

        Notes
        -----
        *Validity.* At a room of 35 % relative humidity: of a pad in drier or more humid air it is
        off by up to 1.5 % at 25 and 45 % (tested).

        *Source.* First law of a room kept at its temperature.
        """
        f = self.heat_frac
        if not self.fires or case.air_system is None:
            return self.with_vapour(f)
        known = np.isfinite(case.air_system.output_w)
        output_w = np.where(known, case.air_system.output_w, 0.0)
        w = air.humidity_ratio(LIKELY_RH * case.p_sat_pa, case.p_pa)
        vapour_j_kg = air.vapour_enthalpy(case.t_air_c)
        between_w: FloatArray | float = 0.0
        if self.added is not None:
            between_w = self.added_share * self.added.taken_w(w, vapour_j_kg)
        load_w = np.maximum(f * output_w + between_w, 0.0)
        left_w = output_w - self.heat.taken_w(w, vapour_j_kg) + between_w
        met = left_w > load_w
        duty = np.where(met, load_w / np.where(met, left_w, 1.0), 1.0)
        # Without heat the plant stays off, and what the room is owed waits.
        return self.with_vapour(np.where(known & (f > 0.0) & (f < 1.0), duty, f))

    def with_vapour(self, duty: FloatArray) -> FloatArray:
        """Return what of a plant's duty gives vapour: each firing loses its dead time. [-]."""
        lost_h = 4.0 * self.most_cycles_per_h * self.dead_time_s / 3600.0
        with_vapour: FloatArray = duty * np.maximum(1.0 - lost_h * (1.0 - duty), 0.0)
        return with_vapour

    def able_kg_s(self, case: HourlyCase, w_kg_kg: FloatArray) -> FloatArray:
        """Return what it could give on average, running whenever it may.

        Parameters
        ----------
        case : HourlyCase
            What it is a capability in.
        w_kg_kg : float64 array, shape (n_steps,)
            Humidity ratio of the room. [kg/kg]
        """
        duty, off = self.duty_run(case), self.added
        able = duty * np.maximum(self.heat.r0_kg_s - self.heat.r1_kg_s * w_kg_kg, 0.0)
        if off is not None:
            rate = np.maximum(off.r0_kg_s - off.r1_kg_s * w_kg_kg, 0.0)
            able = able + (1.0 - duty) * self.added_share * rate
        return able

    @property
    def beside(self) -> FloatArray | float:
        """Part of the time between firings in which it may run."""
        return 0.0 if self.added is None else self.added_share

    def available_s(self, step_s: float) -> FloatArray:
        """Return the time of each step in which it may run. [s]."""
        found: FloatArray = step_s * (self.heat_frac + (1.0 - self.heat_frac) * self.beside)
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """What is dissolved in the feed, and how it was treated; None is not known.

    Attributes
    ----------
    treatment : str
        "tap", "softened", "reverse_osmosis" or "deionised".
    hardness_mg_l, alkalinity_mg_l : float or None
        As CaCO3. [mg/l]
    solids_mg_l : float or None
        Total dissolved solids. [mg/l]
    ph : float or None
    conductivity_us_cm : float or None
        [µS/cm]
    """

    treatment: str = "tap"
    hardness_mg_l: float | None = None
    alkalinity_mg_l: float | None = None
    solids_mg_l: float | None = None
    ph: float | None = None
    conductivity_us_cm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Arrival:
    """Feed water where it enters the equipment, at one flow.

    Attributes
    ----------
    t_feed_c : float64 array, shape (n_steps,)
        Temperature once the line is warm. [°C]
    t_start_c : float64 array, shape (n_steps,)
        Temperature at which it enters the line. [°C]
    heat_j_kg : float64 array, shape (n_steps,)
        Heat that the water heater put into each kilogram; NaN is not known. [J/kg]
    hot : bool array, shape (n_steps,)
        True where it comes heated, by more than doubt.
    """

    t_feed_c: FloatArray
    t_start_c: FloatArray
    heat_j_kg: FloatArray
    hot: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FeedWater:
    """The water of a supply, through the year.

    Attributes
    ----------
    name : str
        The supply's name.
    t_cold_c : float64 array, shape (n_steps,)
        Unheated water. [°C]
    t_start_c : float64 array, shape (n_steps,)
        Water that enters the line, where the flow is enough for the heater. [°C]
    least_flow_kg_s : float
        Less than this does not start the heater: the water stays cold. [kg/s]
    cold_known : bool
        False where `t_cold_c` is a guess, as in a part of a year: the heat is then not known.
    heater : HeatSource or None
        What heating it takes; None is not known.
    heat_from_space_frac : float64 array, shape (n_steps,), or float
        What of the heat in the feed its heater takes from the heated space, as a heat pump does.
    line : WaterLine or None
        The line to the equipment; None: the equipment sits where `t_start_c` is.
    quality : Quality
        What is dissolved in it.
    notes : tuple of str
        What a reader of the report has to know of it.
    """

    name: str
    t_cold_c: FloatArray
    t_start_c: FloatArray
    least_flow_kg_s: float = 0.0
    cold_known: bool = True
    heater: HeatSource | None = None
    heat_from_space_frac: FloatArray | float = 0.0
    line: WaterLine | None = None
    quality: Quality = Quality()
    notes: tuple[str, ...] = ()

    def arriving(self, feed_kg_s: float) -> Arrival:
        """Return the water at a feed flow. [kg/s]."""
        starts = feed_kg_s >= self.least_flow_kg_s
        t_start_c = self.t_start_c if starts else self.t_cold_c
        heat = air.CP_WATER * np.maximum(t_start_c - self.t_cold_c, 0.0)
        return Arrival(
            t_feed_c=t_start_c if self.line is None else self.line.arriving_c(t_start_c, feed_kg_s),
            t_start_c=t_start_c,
            heat_j_kg=heat if self.cold_known else np.full_like(heat, np.nan),
            hot=t_start_c > self.t_cold_c + HOT_ABOVE_COLD_K,
        )

    def on_its_way_j_kg(self, water: Arrival, t_feed_c: FloatArray) -> FloatArray:
        """Return the heat that each kilogram gives to the space before it arrives. [J/kg].

        Its line's, where that runs in the heated space, less what its heater draws from it. All
        that enters the line warm and does not arrive so is lost on the way, while it flows or
        stands.

        Parameters
        ----------
        water : Arrival
            What `arriving` returned.
        t_feed_c : float64 array, shape (n_steps,)
            As it arrives, after a pause or not. [°C]
        """
        given = np.zeros_like(t_feed_c)
        if self.line is not None and self.line.in_space:
            given = air.CP_WATER * (water.t_start_c - t_feed_c)
        drawn = self.heat_from_space_frac
        return given if np.all(drawn == 0.0) else given - drawn * water.heat_j_kg


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WhileWet:
    """What to hold instead while a surface is wet, so that it dries.

    Attributes
    ----------
    rh_frac : float64 array, shape (n_steps,)
        Relative humidity to hold, instead of the strategy's, in a step at whose start a film is
        thicker than `above_g_m2`. [-]
    surfaces : tuple of str
        Surfaces of the case that count.
    above_g_m2 : float
        [g/m2]
    """

    rh_frac: FloatArray
    surfaces: tuple[str, ...]
    above_g_m2: float

    def above_kg_m2(self, case: HourlyCase) -> FloatArray:
        """Return the film of each surface of a case from which on it counts, (n_surfaces,)."""
        return np.array(
            [
                1e-3 * self.above_g_m2 if surface.name in self.surfaces else np.inf
                for surface in case.surfaces
            ],
            dtype=np.float64,
        )


@dataclass(frozen=True, slots=True)
class Words:
    """How amounts are told on site, in a reader's units."""

    units: Units

    def catch(self, kg_h: float) -> str:
        """Return a flow of water, as the time that a measuring jug takes."""
        if kg_h <= _LEAST_CATCH_KG_H:
            return "next to nothing"
        if self.units == "ip":
            gal_h = kg_h / GALLON_L
            return f"16 fl oz in {3600.0 / 8.0 / gal_h:.0f} s ({gal_h:.1f} gal/h)"
        return f"half a litre in {1800.0 / kg_h:.0f} s ({kg_h:.1f} l/h)"

    def volume(self, litres: float) -> str:
        """Return an amount of water."""
        return f"{litres / GALLON_L:.1f} gal" if self.units == "ip" else f"{litres:.1f} l"

    @staticmethod
    def both(t_c: float) -> str:
        """Return a temperature in both scales."""
        return f"{t_c:.0f} °C ({1.8 * t_c + 32.0:.0f} °F)"

    def between(self, *t_c: float) -> str:
        """Return a temperature, or the ends of several, in one scale."""
        unit = "°F" if self.units == "ip" else "°C"
        t = [1.8 * each + 32.0 if self.units == "ip" else each for each in t_c]
        return f"{' to '.join(f'{each:.0f}' for each in t)} {unit}"

    def apart(self, k: float, digits: str = "g") -> str:
        """Return a difference of temperature."""
        return f"{1.8 * k:{digits}} °F" if self.units == "ip" else f"{k:{digits}} K"

    def length(self, mm: float) -> str:
        """Return a length, a bore or a gap."""
        if self.units == "ip":
            return f"{mm / _MM_M / INCH_M:.2g} in"
        return f"{mm:.0f} mm" if mm < _MM_M else f"{mm / _MM_M:.0f} m"

    def pressure(self, low_pa: float, high_pa: float) -> str:
        """Return a range of pressures in a duct."""
        if self.units == "ip":
            return f"{low_pa / INCH_OF_WATER_PA:.2f} to {high_pa / INCH_OF_WATER_PA:.2f} in wc"
        return f"{low_pa:.0f} to {high_pa:.0f} Pa"


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One unit that runs, in the mean of the hours near an outdoor temperature.

    Attributes
    ----------
    feed_kg_h, evaporation_kg_h : float
        Its water, from the year's balance. [kg/h]
    t_feed_c : float
        Feed where it arrives. [°C]
    t_in_c, w_kg_kg, p_pa : float
        Air before it, with the room's humidity: of the plenum where it sits in ducts and the plant
        heats. [°C, kg/kg, Pa]
    t_room_c : float
        Room air. [°C]
    airflow_kg_s : float
        Dry air that the blower moves; infinite in a room. [kg/s]
    blower_frac : float
        The same as a part of the blower's full flow; 1 in a room. [-]
    heated : bool
        Whether `t_in_c` is that of a call for heat.
    quality : Quality
        What is dissolved in its feed.
    hot_line : WaterLine or None
        The line that hot feed has to warm first; None: the feed is cold, or no line is told.
    """

    feed_kg_h: float
    evaporation_kg_h: float
    t_feed_c: float
    t_in_c: float
    w_kg_kg: float
    p_pa: float
    t_room_c: float
    airflow_kg_s: float = np.inf
    blower_frac: float = 1.0
    heated: bool = False
    quality: Quality = Quality()
    hot_line: WaterLine | None = None

    @property
    def purge_s(self) -> float | None:
        """Time until the feed is hot; None: it need not be waited for. [s]."""
        if self.hot_line is None or self.feed_kg_h == 0.0:
            return None
        return self.hot_line.purge_s(self.feed_kg_h / 3600.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Something to measure on site, and what it should come to.

    Attributes
    ----------
    key : str
        Its name, with its unit.
    what, how : str
        What it is, how it is measured.
    value : float
        In the unit of the key, whatever the reader's are.
    off : float
        By how much it may be off, either way.
    text, tolerance : str
        Both, to be read.
    """

    key: str
    what: str
    how: str
    value: float
    off: float
    text: str
    tolerance: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteAnswer:
    """What a device says for the site, beside what is known of every device.

    Attributes
    ----------
    placed : str
        How a unit is placed, after its name.
    drain : str or None
        How it drains, if not as its feed comes, before the drain's air gap; empty: as its feed
        comes. None: the same, and only if more is fed than evaporates.
    water, fit : tuple of str
        Sentences: what its water has to be like; what else is to be fitted, and by whom.
    runs_on : bool
        Whether the feed runs on to waste while it rests.
    plenums_pa : float or None
        Static pressure between the plenums that it joins, by its layout; NaN: not known. None: it
        joins none. [Pa]
    readings : tuple of Reading
        What to measure on a unit that runs. One of key `feed_kg_h` is also what line and drain are
        fitted for; without one the feed of the year's balance is told, by a meter.
    symptoms : tuple of str or Symptom
        What else may be seen: keys of `site.commissioning.SYMPTOMS`, and symptoms of its own.
    cautions : tuple of str
        Sentences, before those for all devices.
    """

    placed: str = ""
    drain: str | None = None
    water: tuple[str, ...] = ()
    fit: tuple[str, ...] = ()
    runs_on: bool = False
    plenums_pa: float | None = None
    readings: tuple[Reading, ...] = ()
    symptoms: tuple[str | Symptom, ...] = ()
    cautions: tuple[str, ...] = ()


@runtime_checkable
class Strategy(Protocol):
    """Chooses the relative humidity to hold, step by step."""

    @property
    def name(self) -> str:
        """What reports call it."""
        ...

    @property
    def horizon_h(self) -> float:
        """How many hours ahead it may look into the weather; 0 is not at all."""
        ...

    def setpoint(self, case: HourlyCase) -> FloatArray:
        """Return relative humidity as a fraction, shape ``(case.n_steps,)``."""
        ...


@runtime_checkable
class FilmMemory(Protocol):
    """A strategy may have this too: it then sees how wet the surfaces are."""

    def while_wet(self, case: HourlyCase) -> WhileWet | None:
        """Return what to hold while a surface is wet; None: the same as always."""
        ...


@runtime_checkable
class Equipment(Protocol):
    """Knows how fast it can humidify, step by step."""

    @property
    def name(self) -> str:
        """What reports call it."""
        ...

    def capability(
        self,
        case: HourlyCase,
        feed: FeedWater,
        *,
        w_base_kg_kg: FloatArray,
        w_set_kg_kg: FloatArray,
        demand_kg_s: FloatArray | None,
    ) -> Capability:
        """Return its modes on this feed water.

        The room's humidity ratio lies between `w_base_kg_kg`, without a humidifier, and
        `w_set_kg_kg`, to be held (negative: nothing is to be held), both of shape
        ``(case.n_steps,)``: there the straight line of a `Mode` has to be good. `demand_kg_s`, of
        the same shape, is what a device without limit would add; None: not known.
        """
        ...


@runtime_checkable
class InUnits(Equipment, Protocol):
    """An equipment may be this: a size is then asked of it anew, and not scaled."""

    @property
    def count(self) -> int:
        """Units alike."""
        ...

    @property
    def rated_kg_h(self) -> float | None:
        """Vapour that a unit gives by its rating, if it has one. [kg/h]."""
        ...

    def with_count(self, count: float) -> Equipment:
        """Return so many of its units; a part of a unit has a part of its flow and energy."""
        ...


@runtime_checkable
class OnSite(Protocol):
    """An equipment may have this too: the sheet then tells what it asks for on site."""

    def on_site(self, work: Work | None, words: Words) -> SiteAnswer:
        """Return what to fit, to measure, to watch and to care for.

        Without `work` it does not run in these hours: no readings. `words` tell amounts in the
        reader's units.
        """
        ...


@runtime_checkable
class Pad(Equipment, Protocol):
    """An equipment may be this: a visit's readings then go into its keys.

    These are `contact_frac`, `effectiveness`, `airflow_kg_s`, and `feed_kg_h` or `feed_ratio`.
    """

    @property
    def arrangement(self) -> Literal["bypass", "own_fan", "room"]:
        """Where a unit's air comes from and goes to."""
        ...

    @property
    def count(self) -> int:
        """Units alike."""
        ...

    @property
    def contact_frac(self) -> float:
        """Share of the feed that wets a unit."""
        ...

    @property
    def feed_kg_h(self) -> float | None:
        """Water fed to a unit; None: metered. [kg/h]."""
        ...

    @property
    def feed_ratio(self) -> float | None:
        """Litres metered for each kilogram that evaporates, if they are told."""
        ...

    @property
    def face_area_m2(self) -> float | None:
        """Face of a unit, if it is known. [m2]."""
        ...

    def at_once(
        self, t_c: float, w_kg_kg: float, p_pa: float, feed_kg_h: float
    ) -> tuple[float, float]:
        """Return airflow and effectiveness, as this feed wets a unit, in one state of the air.

        [kg/s, -].
        """
        ...

    def wetted_frac(self, feed_kg_h: float) -> float:
        """Return the share of a unit that a feed wets."""
        ...

    def told_by(self, key: str) -> tuple[str, ...]:
        """Return the other keys of a scenario that tell the same as a key, if they are given."""
        ...


@runtime_checkable
class WaterSource(Protocol):
    """Knows how warm the feed water is, step by step."""

    @property
    def name(self) -> str:
        """What reports call it."""
        ...

    def feed_water(self, case: HourlyCase) -> FeedWater:
        """Return the water it brings to the equipment."""
        ...


@runtime_checkable
class SpaceReader(Protocol):
    """Turns a space table of a scenario into a case."""

    def case(
        self,
        *,
        weather: Any,  # noqa: ANN401 - what the weather reader returns, a layer above this one
        folder: Path,
    ) -> HourlyCase:
        """Return one space in one weather year; relative paths start at `folder`."""
        ...

    def files(self, folder: Path) -> tuple[Path, ...]:
        """Return the files it reads, for the record of inputs."""
        ...


@runtime_checkable
class Report(Protocol):
    """Puts files into the results folder."""

    def files(self, tables: Mapping[str, Table], about: Mapping[str, Any]) -> Mapping[str, bytes]:
        """Return contents by file name; writing them, whole and with their hash, is not its work.

        `tables` are those of the results, by name (`reports.tables.frame` makes data frames of
        them). `about` is what the manifest says besides hashes of results: title, verdict, chosen
        option, warnings, the scenario with its defaults, versions, hashes of inputs. Neither may be
        changed. A name is made of lower-case letters, digits, ``_`` and ``-``, then a dot and an
        ending, and no other report may write it.
        """
        ...
