"""Climate of a weather file: design humidity, dryness, and doubts about its readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dewmargin.physics import air, moist_air_state
from dewmargin.weather.epw import READINGS, HumidificationDesign, Weather


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherSummary:
    """What the `weather` command tells about a file.

    Attributes
    ----------
    place : str
        Where the file is from.
    design_stated, design_computed : tuple of HumidificationDesign
        From the header (many years), and from the rows of this file (one year).
    t_out_min_c, t_out_mean_c : float
        Of all rows. [°C]
    dew_point_below_h : dict of int to float
        Hours with the outdoor dew point below 0, -10, -20 °C. [h]
    heating_limit_c : float
        Limit of the heating season. [°C]
    heating_season_h : float
        Hours of days whose mean outdoor temperature is below the limit. [h]
    season_w_g_kg : dict of str to float
        Mean humidity ratio of the heating season by reading of the file, empty without heating
        season. [g/kg]
    reading_spread_g_kg : float
        Largest less smallest of these: what the choice of reading is worth; 0 if empty. [g/kg]
    filled : dict of str to int
        Values interpolated, by column.
    notes : tuple of str
        What was repaired, derived or left out.
    """

    place: str
    design_stated: tuple[HumidificationDesign, ...]
    design_computed: tuple[HumidificationDesign, ...]
    t_out_min_c: float
    t_out_mean_c: float
    dew_point_below_h: dict[int, float]
    heating_limit_c: float
    heating_season_h: float
    season_w_g_kg: dict[str, float]
    reading_spread_g_kg: float
    filled: dict[str, int]
    notes: tuple[str, ...]

    def lines(self) -> list[tuple[str, str]]:
        """Return names and values for a person."""
        rows = [
            ("place", self.place),
            (
                "outdoor temperature",
                f"{self.t_out_min_c:.1f} °C lowest, {self.t_out_mean_c:.1f} mean",
            ),
        ]
        for title, designs in (
            ("stated in the header", self.design_stated),
            ("this file's hours", self.design_computed),
        ):
            rows += [
                (f"humidification {d.level_percent:g} %, {title}", _design_line(d)) for d in designs
            ] or [(f"humidification design, {title}", "none")]
        rows += [
            (f"dew point below {limit} °C", f"{hours:.0f} h")
            for limit, hours in self.dew_point_below_h.items()
        ]
        limit = f"daily mean below {self.heating_limit_c:g} °C"
        rows.append(("heating season", f"{self.heating_season_h:.0f} h ({limit})"))
        rows += [
            (
                f"mean humidity ratio read as {reading.replace('_', ' ')}",
                f"{w:.3f} g/kg, same season",
            )
            for reading, w in self.season_w_g_kg.items()
        ]
        rows.append(("the readings differ by", f"{self.reading_spread_g_kg:.3f} g/kg"))
        repaired = ", ".join(f"{name}: {count}" for name, count in self.filled.items())
        rows.append(("values interpolated", repaired or "none"))
        rows += [("note", note) for note in self.notes]
        return rows


def summary(weather: Weather, *, heating_limit_c: float = 15.0) -> WeatherSummary:
    """Return the design humidity, the dryness and the doubts of a weather file.

    Parameters
    ----------
    weather : Weather
        The file.
    heating_limit_c : float
        A day belongs to the heating season if its mean outdoor temperature is below this. [°C]
    """
    per_hour = weather.steps_per_hour
    daily_mean = weather.t_out_c.reshape(-1, 24 * per_hour).mean(axis=1)
    season = np.repeat(daily_mean < heating_limit_c, 24 * per_hour)
    season_w = {
        reading: 1000.0 * float(weather.humidity_ratio(reading)[season].mean())
        for reading in READINGS
        if season.any()
    }
    return WeatherSummary(
        place=weather.place,
        design_stated=weather.design,
        design_computed=tuple(_computed_design(weather, level) for level in (99.6, 99.0)),
        t_out_min_c=float(weather.t_out_c.min()),
        t_out_mean_c=float(weather.t_out_c.mean()),
        dew_point_below_h={
            limit: float((weather.t_dew_c < limit).sum()) / per_hour for limit in (0, -10, -20)
        },
        heating_limit_c=heating_limit_c,
        heating_season_h=float(season.sum()) / per_hour,
        season_w_g_kg=season_w,
        reading_spread_g_kg=max(season_w.values()) - min(season_w.values()) if season_w else 0.0,
        filled=weather.filled,
        notes=weather.notes,
    )


def _computed_design(weather: Weather, level_percent: float) -> HumidificationDesign:
    """Return the design dew point from the rows: percentile, ice curve, mean dry bulb ±0.5 K."""
    dew_point_c = float(np.percentile(weather.t_dew_c, 100.0 - level_percent))
    distance = np.abs(weather.t_dew_c - dew_point_c)
    # Dew points have one decimal: 1e-6 K keeps ties inside. A gap around the percentile, possible
    # in a short file, takes the nearest rows.
    near = distance <= max(0.5, float(distance.min())) + 1e-6
    w = moist_air_state.saturated_humidity_ratio(
        dew_point_c, air.standard_pressure(weather.elevation_m)
    )
    return HumidificationDesign(
        level_percent=level_percent,
        dew_point_c=dew_point_c,
        humidity_ratio_g_kg=1000.0 * w,
        coincident_t_c=float(weather.t_out_c[near].mean()),
    )


def _design_line(design: HumidificationDesign) -> str:
    return (
        f"dew point {design.dew_point_c:.1f} °C, {design.humidity_ratio_g_kg:.2f} g/kg, "
        f"at {design.coincident_t_c:.1f} °C"
    )
