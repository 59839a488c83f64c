"""The words of the program: every column's name, unit and meaning, in one place.

A name ends in its unit: ``_c`` °C, ``_k`` K, ``_f`` °F, ``_pa`` Pa, ``_frac`` 0 to 1, ``_kg_kg``
kg per kg of dry air, ``_kg_s``, ``_kg_h``, ``_kg``, ``_l``, ``_kwh``, ``_h`` hours, ``_m2``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Column:
    """A name that ends in its unit, what it means, and the range outside which it is a mistake."""

    name: str
    unit: str
    meaning: str
    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """Columns with their units, and one array or list of values for each."""

    columns: Sequence[Column]
    data: Mapping[str, Any]

    def __repr__(self) -> str:
        """Return the names of the columns: no values."""
        return f"<Table of {len(self.columns)} columns: {', '.join(c.name for c in self.columns)}>"


@dataclass(frozen=True, slots=True)
class Repeated:
    """A text column that holds each name `times` over, and all that `rounds` over."""

    names: Sequence[str]
    times: int
    rounds: int = 1


# Ranges: EnergyPlus, Auxiliary Programs, EPW data dictionary (temperature, pressure, wind);
# the others are bounds beyond which no building is meant.
T_OUT = Column("t_out_c", "°C", "outdoor air dry-bulb temperature", -70.0, 70.0)
W_OUT = Column("w_out_kg_kg", "kg/kg", "outdoor humidity ratio, vapour to dry air", 0.0, 0.06)
PRESSURE = Column("p_pa", "Pa", "station pressure", 31_000.0, 120_000.0)
T_AIR = Column("t_air_c", "°C", "room air temperature, volume mean", -40.0, 60.0)
EXCHANGE = Column(
    "exchange_kg_s", "kg/s", "dry air exchanged with outdoors after latent recovery", 0.0, 1e4
)
W_BASE = Column("w_base_kg_kg", "kg/kg", "room humidity ratio without humidifier", 0.0, 0.2)
SOURCE = Column("gains_kg_s", "kg/s", "moisture released in the room", -10.0, 10.0)
HEATING = Column("heating_w", "W", "sensible heat supplied to the room", 0.0, 1e9)

OPTION = (
    Column("option", "", "name of the option: strategy, equipment, supply"),
    Column("strategy", "", "rule that chose the relative humidity to hold"),
    Column("equipment", "", "humidifier"),
    Column("supply", "", "feed water"),
)

COMPARISON = (
    *OPTION,
    Column("demand_kg", "kg", "vapour an unlimited humidifier would add to hold the set-point"),
    Column("demand_peak_kg_h", "kg/h", "largest hour of demand outside catch-up hours"),
    Column("demand_p99_kg_h", "kg/h", "demand exceeded in 1 % of all hours"),
    Column(
        "demand_after_setback_kg_h",
        "kg/h",
        "largest demand of a catch-up hour: within 3 h after the room warmed by more than 1 K, "
        "the set-point rose by more than 3 points, cooling, or the start of a part year",
    ),
    Column("demand_h", "h", "hours with demand above 0.01 kg"),
    Column("delivered_kg", "kg", "vapour this equipment added"),
    Column("shortfall_kg", "kg", "demand less delivered, over the year, signed"),
    Column("shortfall_h", "h", "hours missing more than 1 % of the demand and 0.01 kg"),
    Column("feed_l", "l", "water fed to the equipment"),
    Column("evaporated_l", "l", "water that became vapour, 1 l = 1 kg"),
    Column("drained_l", "l", "water to waste"),
    Column("hot_feed_l", "l", "feed heated above the unheated water, wherever it cooled again"),
    Column("feed_l_per_kg", "l/kg", "feed per mass of vapour delivered"),
    Column(
        "running_h",
        "h",
        "sum of the running fractions of the hours; of several units, of all of them together",
    ),
    Column(
        "cycles",
        "1",
        "times the controller calls for humidity, estimated; null where it is ideal",
    ),
    Column(
        "feed_heat_kwh", "kWh", "heat that the water heater put into the feed, line loss included"
    ),
    Column("water_heating_kwh", "kWh", "energy bought for it, of the carrier of the water heater"),
    Column(
        "makeup_heat_kwh",
        "kWh",
        "heat that the heating plant supplies beyond what it would without humidifier",
    ),
    Column("space_heating_kwh", "kWh", "energy bought for it, of the carrier of the plant"),
    Column("fan_kwh", "kWh", "electricity of blower and fans that ran for the humidifier alone"),
    Column("device_kwh", "kWh", "electricity of the humidifier itself, standby included"),
    Column("fuel_kwh", "kWh", "fuel of the humidifier itself"),
    Column(
        "line_heat_kwh",
        "kWh",
        "heat that the feed gives to the space on its way, less what its heater draws from it",
    ),
    Column(
        "unmet_heat_kwh",
        "kWh",
        "heat that evaporating takes and the plant, at its limit, cannot give in that hour",
    ),
    Column(
        "cooling_heat_kwh",
        "kWh",
        "heat that mechanical cooling need not remove; below 0 it must remove more",
    ),
    Column(
        "cooler_k",
        "K",
        "how much cooler the room gets at most while the plant is at its limit, estimated; null "
        "where its heat capacity is not known",
    ),
    Column("cost", "1", "energy and water of the record at the tariff, in `currency`"),
    Column("currency", "", "unit of money"),
    Column("co2_kg", "kg", "carbon dioxide of the energy, by the tariff's factors"),
    Column("rh_mean_frac", "1", "mean relative humidity of the heating season"),
    Column("dry_h", "h", "heating-season hours below the comfort band"),
    Column("band_h", "h", "heating-season hours inside the comfort band, edges included"),
    Column("humid_h", "h", "heating-season hours above the comfort band"),
    Column(
        "below_band_percent_h",
        "% h",
        "sum over the heating-season hours of the points of relative humidity below the band",
    ),
    Column("condensation_h", "h", "hours in which any surface is below the dew or frost point"),
    Column("wet_h", "h", "hours at whose end any surface has a film, drying ones included"),
    Column("runoff_h", "h", "hours in which water runs off any surface"),
    Column("frost_h", "h", "hours in which any surface below 0 °C is below the frost point"),
    Column("worst_margin_k", "K", "smallest dew margin of any surface in the year"),
    Column("mould_index_max", "1", "largest mould index of any surface, 0 to 6; visible from 3"),
    Column("condensed_kg", "kg", "vapour taken from the room by surfaces with a stated area"),
    Column("dried_kg", "kg", "vapour that these surfaces gave back to the room"),
    Column("fog_kg", "kg", "vapour beyond saturation of the room air"),
    Column("balance_error_kg", "kg", "largest hourly error of the water balance"),
    Column("hours_known", "h", "hours the totals are made of"),
)

# What is known of a case without keeping its hours, in the order of the comparison.
YEARLY = tuple(
    column
    for column in COMPARISON
    if column.unit
    and column.name
    not in (
        "demand_peak_kg_h",
        "demand_p99_kg_h",
        "demand_after_setback_kg_h",
        "mould_index_max",
        "cycles",
        "balance_error_kg",
        "hours_known",
    )
)

FRONTIER = (
    Column("line", "1", "number of the line, the best in the first goal first"),
    Column("rule", "", "rule of the strategy"),
    Column("look_ahead_h", "h", "hours of forecast"),
    Column("points", "", "outdoor temperature in °C and relative humidity as a fraction, as JSON"),
    Column("margin_k", "K", "margin of the rule that knows the surfaces"),
    Column("cap_percent", "%", "most humid set-point of that rule"),
    Column("chosen", "", "whether it is the best within the limits"),
    *YEARLY,
)

_OF_NUMBER = (
    Column("option", "", "name of the option"),
    Column("number", "", "year number, by its column in the comparison"),
)

# Their unit is that of the number, which stands beside it.
SPREAD = (
    *_OF_NUMBER,
    Column("unit", "", "unit of the number"),
    Column("known_frac", "1", "share of the draws in which it is known; the rest are left out"),
    Column("mean", "", "mean of the draws, in that unit"),
    Column("sd", "", "standard deviation"),
    Column("p05", "", "what 5 % of the draws lie below"),
    Column("p10", "", "what 10 % of the draws lie below"),
    Column("p10_low", "", "it lies above this with 97.5 %"),
    Column("p10_high", "", "it lies below this with 97.5 %"),
    Column("p50", "", "median"),
    Column("p50_low", "", "it lies above this with 97.5 %"),
    Column("p50_high", "", "it lies below this with 97.5 %"),
    Column("p90", "", "what 90 % of the draws lie below"),
    Column("p90_low", "", "it lies above this with 97.5 %"),
    Column("p90_high", "", "it lies below this with 97.5 %"),
    Column("p95", "", "what 95 % of the draws lie below"),
)

BREAKS = (
    *_OF_NUMBER,
    Column("most", "", "limit, in the unit of the number"),
    Column("broken_frac", "1", "share of the draws in which the number exceeds it"),
    Column("broken_low_frac", "1", "the probability lies above this with 97.5 %"),
    Column("broken_high_frac", "1", "the probability lies below this with 97.5 %"),
    Column("chosen_frac", "1", "share of the draws in which the verdict would choose the option"),
)

SENSITIVITY = (
    *_OF_NUMBER,
    Column("input", "", "doubtful input"),
    Column("rank", "1", "1 is the most important"),
    Column("first_order_frac", "1", "share of the variance that it has alone"),
    Column("total_frac", "1", "share that it has with all its interactions"),
)

DRAWS = (
    Column("draw", "1", "number of the draw"),
    Column("inputs", "", "what was drawn"),
    Column("option", "", "name of the option"),
    *YEARLY,
)

# Their unit is that of the number, which stands beside it.
SWEEP_SUMMARY = (
    *_OF_NUMBER,
    Column("unit", "", "unit of the number"),
    Column("parameter", "", "input that has the value beside; null: all cases"),
    Column("value", "", "its value, or a quarter of its values from least to most"),
    Column("cases", "1", "cases of these in which the number is known"),
    Column("least", "", "least of them, in the unit of the number"),
    Column("median", "", "median of them"),
    Column("most", "", "most of them"),
)

SWEEP_REFUSED = (
    Column("case", "1", "number of the case, from 0"),
    Column("inputs", "", "what its inputs are"),
    Column("reason", "", "why it was set aside, after two tries"),
)

SURFACES = (
    Column("option", "", "name of the option"),
    Column("surface", "", "name of the surface"),
    Column(
        "condensation_h", "h", "hours in which the room's hour-mean humidity exceeds saturation"
    ),
    Column("wet_h", "h", "hours at whose end there is a film, of 0.01 g/m2 or more"),
    Column("visible_h", "h", "of these, hours with 5 g/m2 or more, which one sees"),
    Column("runoff_h", "h", "hours in which water runs off"),
    Column("frost_h", "h", "condensation hours with the surface below 0 °C"),
    Column("longest_wet_h", "h", "longest unbroken spell with a film"),
    Column(
        "below_dew_point_k_h",
        "K h",
        "sum over the hours of how far it is below the dew (frost) point",
    ),
    Column("worst_margin_k", "K", "smallest dew margin of the year"),
    Column("condensed_g_m2", "g/m2", "vapour taken from the room, in hours that take more"),
    Column("runoff_g_m2", "g/m2", "water that ran off"),
    Column("film_max_g_m2", "g/m2", "thickest film at an hour's end"),
    Column("condensed_kg", "kg", "vapour taken from the room; null where no area is given"),
    Column("runoff_kg", "kg", "water that ran off; null where no area is given"),
    Column("t_surface_min_c", "°C", "lowest surface temperature of the year"),
    Column(
        "rh_month_max_frac",
        "1",
        "largest relative humidity at the surface from monthly means, ISO 13788: at most 0.80",
    ),
    Column("rh_30_days_max_frac", "1", "largest 30-day mean relative humidity at the surface"),
    Column(
        "least_index_frac",
        "1",
        "temperature index that would keep the monthly humidity at 0.80, ISO 13788; null without "
        "a month at least 5 K colder outdoors",
    ),
    Column("mould_index_max", "1", "largest mould index, 0 to 6; visible from 3"),
)

_INTERVAL = (
    Column("interval_start", "", "start of the hour, local standard time"),
    Column("interval_end", "", "end of the hour, local standard time"),
)

HOURLY = (
    Column("option", "", "name of the option"),
    *_INTERVAL,
    T_OUT,
    W_OUT,
    T_AIR,
    Column("rh_base_frac", "1", "relative humidity without humidifier, condensation active"),
    Column(
        "rh_setpoint_frac",
        "1",
        "relative humidity to hold; what is held while wet in hours that begin with a wet surface, "
        "for a rule with film memory; null for the baseline",
    ),
    Column("rh_frac", "1", "relative humidity, hour mean"),
    Column("w_kg_kg", "kg/kg", "humidity ratio, hour mean"),
    Column("w_end_kg_kg", "kg/kg", "humidity ratio at the end of the hour"),
    Column("dew_point_c", "°C", "dew point of the hour mean, frost point below 0.01 °C"),
    Column("demand_kg", "kg", "vapour an unlimited humidifier would add"),
    Column("delivered_kg", "kg", "vapour added"),
    Column("shortfall_kg", "kg", "demand less delivered, signed"),
    Column("running_frac", "1", "fraction of the hour the equipment ran"),
    Column("feed_l", "l", "water fed"),
    Column("drained_l", "l", "water to waste"),
    Column("exchange_kg_s", "kg/s", EXCHANGE.meaning),
    Column("condensed_kg", "kg", "vapour taken from the room by surfaces with a stated area"),
    Column("dried_kg", "kg", "vapour that these surfaces gave back"),
    Column("fog_kg", "kg", "vapour beyond saturation"),
    Column("balance_error_kg", "kg", "error of the hour's water balance"),
    Column("feed_heat_kwh", "kWh", "heat put into the feed"),
    Column("makeup_heat_kwh", "kWh", "heat of the plant beyond that without humidifier"),
    Column("fan_kwh", "kWh", "electricity of blower and fans run for it"),
    Column("device_kwh", "kWh", "electricity of the humidifier itself"),
    Column("fuel_kwh", "kWh", "fuel of the humidifier itself"),
    Column("line_heat_kwh", "kWh", "heat that the feed gives to the space on its way"),
    Column("unmet_heat_kwh", "kWh", "heat that the plant, at its limit, cannot give of the hour's"),
    Column("cooling_heat_kwh", "kWh", "heat that mechanical cooling need not remove"),
    Column("envelope_heat_kwh", "kWh", "heat that a room too cool loses the less"),
    Column("owed_heat_kwh", "kWh", "heat that the room lacks at the end of the hour"),
    Column("heating_season", "", "true on days whose mean outdoor temperature is below the limit"),
    Column("mechanical_cooling", "", "true in hours of mechanical cooling"),
    Column("source_year", "", "year that a typical year took the hour from; null if unknown"),
)

SURFACES_HOURLY = (
    Column("option", "", "name of the option"),
    Column("surface", "", "name of the surface"),
    *_INTERVAL,
    Column("t_surface_c", "°C", "surface temperature"),
    Column("dew_margin_k", "K", "surface temperature less dew (frost) point of the room air"),
    Column("condensed_kg", "kg", "vapour taken from the room; null where no area is given"),
    Column("film_g_m2", "g/m2", "film at the end of the hour"),
    Column("runoff_g_m2", "g/m2", "water that runs off"),
    Column("rh_surface_frac", "1", "relative humidity at the surface, 1 while there is a film"),
    Column("mould_index", "1", "mould index at the end of the hour"),
)

_HUMIDITY_H = tuple(
    next(column for column in COMPARISON if column.name == name)
    for name in ("dry_h", "band_h", "humid_h")
)
_WETNESS_H = (
    Column("condensation_h", "h", "hours in which any surface is below the dew or frost point"),
    Column("wet_h", "h", "hours at whose end any surface has a film"),
    Column("runoff_h", "h", "hours in which water runs off any surface"),
    Column("frost_h", "h", "hours in which any surface below 0 °C is below the frost point"),
    Column("worst_margin_k", "K", "smallest dew margin of any surface"),
)
_MEANS = (
    Column("rh_mean_frac", "1", "mean relative humidity"),
    Column("t_out_mean_c", "°C", "mean outdoor temperature"),
)
_VAPOUR_KG = (
    Column("demand_kg", "kg", "vapour an unlimited humidifier would add; null for the baseline"),
    Column("delivered_kg", "kg", "vapour added"),
)

DAILY = (
    Column("option", "", "name of the option"),
    Column("date", "", "day, local standard time"),
    *_WETNESS_H,
    _HUMIDITY_H[0],
    *_MEANS,
    *_VAPOUR_KG,
)

MONTHLY = (
    Column("option", "", "name of the option"),
    Column("month", "", "year and month, local standard time"),
    Column("hours", "h", "hours of the record in that month"),
    *_MEANS,
    *_VAPOUR_KG,
    Column("feed_l", "l", "water fed"),
    Column("drained_l", "l", "water to waste"),
    *_HUMIDITY_H,
    *_WETNESS_H,
)

DURATION = (
    Column("option", "", "name of the option"),
    Column("exceeded_percent", "%", "part of all hours"),
    Column("exceeded_h", "h", "the same in hours of this record"),
    Column("demand_kg_h", "kg/h", "demand exceeded in that part"),
    Column("delivered_kg_h", "kg/h", "vapour added, exceeded in that part"),
    Column(
        "able_kg_h",
        "kg/h",
        "what the equipment could give at the room's humidity, running whenever it may, exceeded "
        "in that part",
    ),
)

WORST_HOURS = (
    Column("option", "", "name of the option"),
    Column("surface", "", "name of the surface"),
    Column("rank", "1", "1 is the worst; each day counts with its worst hour"),
    *_INTERVAL,
    Column("dew_margin_k", "K", "surface temperature less dew (frost) point of the room air"),
    Column("t_surface_c", "°C", "surface temperature"),
    Column("film_g_m2", "g/m2", "film at the end of the hour"),
    T_AIR,
    Column("rh_frac", "1", "relative humidity of the room, hour mean"),
    T_OUT,
    W_OUT,
    Column("wind_m_s", "m/s", "wind at the station; null if not known"),
    Column("t_sky_c", "°C", "sky temperature; null if not known"),
)

LIMITS = (
    Column("surface", "", "name of the surface"),
    Column("t_out_c", "°C", T_OUT.meaning),
    Column("t_out_f", "°F", T_OUT.meaning),
    Column(
        "rh_max_frac",
        "1",
        "highest relative humidity without condensation, at the humidistat; low enough for all "
        "hours at this temperature, where more decides",
    ),
    Column("rh_max_percent", "%", "the same in whole per cent, rounded down"),
    Column("rh_max_low_frac", "1", "lowest of these hours"),
    Column("rh_max_high_frac", "1", "highest of these hours"),
    Column("hours", "h", "hours of the year within 2.5 K of this temperature"),
)

ASSEMBLY = (
    Column("option", "", "name of the option"),
    Column("u_factor_w_m2_k", "W/(m2 K)", "U-factor of the assembly"),
    Column("plane", "", "plane that holds most water; null where all stay dry"),
    Column("held_max_g_m2", "g/m2", "most water on it at a month's end"),
    Column("condensed_g_m2", "g/m2", "water condensed inside in a year, all planes"),
    Column("dried_g_m2", "g/m2", "water dried again within that year"),
    Column("stays_wet", "", "whether water is left a year after it began"),
    Column(
        "leak_condensation_h",
        "h",
        "hours in which room air that leaks out would condense inside the outermost layer",
    ),
)

ASSEMBLY_MONTHS = (
    Column("option", "", "name of the option"),
    Column("plane", "", "plane of the assembly that is wet in some month"),
    Column("depth_m", "m", "still air of the same resistance to vapour between room and plane"),
    Column("month", "", "month, 1 to 12"),
    Column("condensed_g_m2", "g/m2", "water condensed in the month"),
    Column("dried_g_m2", "g/m2", "water dried in the month"),
    Column("held_g_m2", "g/m2", "water held at the month's end"),
)

LOADS = (
    Column("strategy", "", "rule that chose the relative humidity to hold"),
    Column("demand_kg", "kg", "vapour an unlimited humidifier would add to hold the set-point"),
    Column("demand_h", "h", "hours with demand above 0.01 kg"),
    Column("demand_peak_kg_h", "kg/h", "largest hour of demand outside catch-up hours"),
    Column("demand_p996_kg_h", "kg/h", "demand exceeded in 0.4 % of all hours"),
    Column("demand_p99_kg_h", "kg/h", "demand exceeded in 1 % of all hours"),
    Column("demand_p975_kg_h", "kg/h", "demand exceeded in 2.5 % of all hours"),
    Column("demand_p95_kg_h", "kg/h", "demand exceeded in 5 % of all hours"),
    Column(
        "demand_after_setback_kg_h",
        "kg/h",
        "largest demand of a catch-up hour, which a schedule makes more than the building",
    ),
)

DESIGN_LOADS = (
    Column("strategy", "", "rule that chose the relative humidity to hold"),
    Column("level_percent", "%", "part of all hours in which the outdoor dew point is higher"),
    Column("source", "", "header: of many years; hours: of this weather file's own rows"),
    Column("dew_point_c", "°C", "outdoor dew point, frost point below 0 °C"),
    Column("t_out_c", "°C", "mean outdoor temperature of the hours nearest to that dew point"),
    Column("near_h", "h", "hours that these means are of: within 0.5 K of it, or the nearest"),
    Column("rh_set_frac", "1", "mean relative humidity to hold in these hours"),
    Column("exchange_kg_s", "kg/s", "mean dry air exchanged with outdoors in these hours"),
    Column("gains_kg_h", "kg/h", "mean moisture released in the room in these hours"),
    Column("load_kg_h", "kg/h", "steady load with outdoor air of that dew point in these hours"),
    Column("exceeded_h", "h", "hours whose demand is more than that load"),
)

LOAD_DURATION = (
    Column("strategy", "", "rule that chose the relative humidity to hold"),
    Column("exceeded_percent", "%", "part of all hours"),
    Column("exceeded_h", "h", "the same in hours of this record"),
    Column("demand_kg_h", "kg/h", "demand exceeded in that part"),
)

SIZES = (
    Column("option", "", "name of the option: strategy, equipment, supply"),
    Column("strategy", "", "rule that chose the relative humidity to hold"),
    Column("equipment", "", "humidifier"),
    Column("supply", "", "feed water"),
    Column("given_units", "1", "units that the scenario has"),
    Column("given_short_h", "h", "with these, hours short outside catch-up hours"),
    Column("given_shortfall_kg", "kg", "with these, demand less delivered over the year, signed"),
    Column("allowed_short_h", "h", "most hours short, outside catch-up hours"),
    Column("allowed_shortfall_kg", "kg", "most demand less delivered over the year"),
    Column("units", "1", "least number of units that keeps to that, 0 if none is needed"),
    Column("units_short_h", "h", "with so many units, hours short outside catch-up hours"),
    Column("units_shortfall_kg", "kg", "with so many units, demand less delivered over the year"),
    Column("factor", "1", "least size that keeps to that, the scenario's being 1, in hundredths"),
    Column("factor_short_h", "h", "with that size, hours short outside catch-up hours"),
    Column("factor_shortfall_kg", "kg", "with that size, demand less delivered over the year"),
    Column("no_time_h", "h", "hours with demand outside catch-up hours in which it may not run"),
    Column(
        "rated_kg_day",
        "kg",
        "24 h at the stated capacity of a given unit, or, none stated, at its best of the record",
    ),
    Column("design_day", "", "day of the largest demand"),
    Column("design_day_demand_kg", "kg", "demand of that day"),
    Column("able_kg_day", "kg", "what a given unit can give on that day, at the set-point"),
    Column("derate_frac", "1", "that over the rated day: time times rate"),
    Column("available_frac", "1", "part of that day in which it may run"),
    Column("rate_frac", "1", "its rate then over the rated: by plenum, room and feed"),
    Column("feed_l_min", "l/min", "largest flow in the feed line while all units run"),
    Column("drain_l_min", "l/min", "largest flow in the drain while all units run"),
    Column(
        "electric_w",
        "W",
        "largest electricity of device and fans while all units run: real power, apparent power "
        "is not known; null if some is not known",
    ),
    Column("limited_by", "", "why no size does"),
    Column("oversize", "", "what speaks against the size that is given"),
)

SETTINGS = (
    Column("strategy", "", "rule that chose the relative humidity to hold"),
    Column("t_out_c", "°C", T_OUT.meaning),
    Column("t_out_f", "°F", T_OUT.meaning),
    Column(
        "rh_set_frac",
        "1",
        "set-point at this temperature; low enough for all its hours, where more decides",
    ),
    Column("rh_set_percent", "%", "the same in whole per cent: the number to set"),
    Column("rh_set_low_frac", "1", "lowest set-point of these hours"),
    Column("rh_set_high_frac", "1", "highest set-point of these hours"),
    Column(
        "rh_limit_percent",
        "%",
        "highest relative humidity, at the humidistat, at which all surfaces stay dry; null "
        "without surfaces",
    ),
    Column("limiting_surface", "", "the surface that sweats first"),
    Column("hours", "h", "hours of the year within 2.5 K of this temperature"),
)

HOURLY_ENERGY = tuple(column.name for column in HOURLY if column.unit == "kWh")
