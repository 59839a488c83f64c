"""Hours that all options of a case share: mean air, weather and surfaces, season, cooling."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.physics import air

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray, FloatArray, IntArray

# The humidifier lands exactly on its set-point: an edge equal to it would be decided by rounding.
EDGE_SLACK = 1e-6

LEAST_MONTH_H = 600  # hours that make a month; 25 days, our choice


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class YearHours:
    """Hourly means; arrays have the shape (n_hours,).

    `t_surface_c`, `w_offset_kg_kg` and `p_sat_surface_pa` have one row a surface; both saturation
    pressures are those of the mean temperatures. Wind and sky are None if not known.
    """

    interval_start: np.ndarray
    t_out_c: FloatArray
    w_out_kg_kg: FloatArray
    p_pa: FloatArray
    t_air_c: FloatArray
    exchange_kg_s: FloatArray
    cooling: BoolArray
    heating_season: BoolArray
    t_surface_c: FloatArray
    w_offset_kg_kg: FloatArray
    p_sat_pa: FloatArray
    p_sat_surface_pa: FloatArray
    source_year: IntArray | None
    wind_m_s: FloatArray | None
    t_sky_c: FloatArray | None


def hours_of(case: HourlyCase, *, heating_season_below_c: float) -> YearHours:
    """Return a case's hourly means; a heating-season day is colder than the limit on average."""
    mean = case.hourly_mean
    start = case.interval_start[:: case.steps_per_hour]
    t_out = mean(case.t_out_c)
    day = start.astype("datetime64[D]").astype(np.int64)
    index = np.cumsum(np.diff(day, prepend=day[:1]) != 0)
    daily = np.bincount(index, weights=t_out) / np.bincount(index)
    t_air = mean(case.t_air_c)

    def of_surfaces(values: list[FloatArray]) -> FloatArray:
        return mean(np.array(values, dtype=np.float64).reshape(len(values), case.n_steps))

    t_surface = of_surfaces([s.t_surface_c for s in case.surfaces])
    if case.steps_per_hour == 1:
        p_sat, p_sat_surface = case.p_sat_pa, of_surfaces([s.p_sat_pa for s in case.surfaces])
    else:
        p_sat, p_sat_surface = air.saturation_pressure(t_air), air.saturation_pressure(t_surface)
    return YearHours(
        interval_start=start,
        t_out_c=t_out,
        w_out_kg_kg=mean(case.w_out_kg_kg),
        p_pa=mean(case.p_pa),
        t_air_c=t_air,
        exchange_kg_s=mean(case.exchange_kg_s),
        cooling=mean(case.cooling) > 0.0,
        heating_season=daily[index] < heating_season_below_c,
        t_surface_c=t_surface,
        w_offset_kg_kg=of_surfaces(
            [
                np.zeros(case.n_steps) if s.w_offset_kg_kg is None else s.w_offset_kg_kg
                for s in case.surfaces
            ]
        ),
        p_sat_pa=p_sat,
        p_sat_surface_pa=p_sat_surface,
        source_year=None if case.source_year is None else case.source_year[:: case.steps_per_hour],
        wind_m_s=None if case.wind_m_s is None else mean(case.wind_m_s),
        t_sky_c=None if case.t_sky_c is None else mean(case.t_sky_c),
    )


def relative_humidity(hours: YearHours, w_kg_kg: FloatArray) -> FloatArray:
    """Relative humidity of the hour means, as a fraction."""
    return air.vapour_pressure(w_kg_kg, hours.p_pa) / hours.p_sat_pa


def dew_point(hours: YearHours, w_kg_kg: FloatArray) -> FloatArray:
    """Dew point of the hour means, frost point below 0.01 °C. [°C]."""
    return air.dew_point(air.vapour_pressure(w_kg_kg, hours.p_pa))


def month_means(hours: YearHours, *values: FloatArray) -> list[FloatArray]:
    """Means of each over the calendar months that are whole enough, in order from January."""
    month = hours.interval_start.astype("datetime64[M]").astype(np.int64) % 12
    _, index = np.unique(month, return_inverse=True)
    count = np.bincount(index)
    whole = count >= LEAST_MONTH_H
    return [(np.bincount(index, weights=each) / count)[whole] for each in values]


def duration(values: FloatArray, exceeded_percent: FloatArray) -> FloatArray:
    """Return what is exceeded in a part of all hours: linear between the hours."""
    return np.quantile(values, 1.0 - exceeded_percent / 100.0)
