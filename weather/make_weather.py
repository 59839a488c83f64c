"""Make ``larch_valley.epw``: the year of a cold, dry high valley that does not exist.

``python weather/make_weather.py [FOLDER]`` writes the same bytes every time. Nothing is measured;
README.md beside this file says what the model is and is not. Numbers without a source are choices
of ours that make the climate; equations from elsewhere name it. The worked study makes the years
of three more places that do not exist.
"""

from __future__ import annotations

import random
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.physics import air

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

YEAR = 2017  # its 1 January is the Sunday that DATA PERIODS states
DAYS, HOURS = 365, 8760
MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
MONTH_OF_DAY = np.repeat(np.arange(1, 13), MONTH_DAYS)
DAY_OF_MONTH = np.concatenate([np.arange(1, n + 1) for n in MONTH_DAYS])

# Cold snaps: first day of the year, length in days, depth in K; half a sine wave each, under a
# clear and calm sky.
COLD_SNAPS = ((12, 8, 12.0), (36, 9, 13.0), (346, 7, 8.0))

BREEZE = 0.1  # of the strongest, from which on the wind blows up the valley
COINCIDENT = 0.5  # K or m/s, within which an hour counts as coincident
SOLAR_CONSTANT = 1361.0  # W/m2, World Meteorological Organization, No. 8
STEFAN_BOLTZMANN = 5.6697e-8  # W/(m2 K4), as the EPW data dictionary rounds it


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place that does not exist, and what makes its climate.

    Attributes
    ----------
    name, file : str
    seed : int
        Of its random numbers.
    latitude_deg, elevation_m : float
    mean_c, season_k : float
        Yearly wave of the temperature.
    air_mass, swing, snaps : float
        Weather of days, daily swing and cold snaps, as multiples of those of Larch Valley.
    cloud : float
        Added to the cloudiness; 0 is half the sky on average.
    dew_k, dew_clear_k : float
        Dew point above the day's coldest hour, and by how much less under a clear sky.
    wind_m_s : float
        Median wind, without the one that blows up the valley.
    """

    name: str
    file: str
    seed: int
    latitude_deg: float
    elevation_m: float
    mean_c: float
    season_k: float
    air_mass: float
    swing: float
    snaps: float
    cloud: float
    dew_k: float
    dew_clear_k: float
    wind_m_s: float


LARCH_VALLEY = Place(
    name="Larch Valley",
    file="larch_valley.epw",
    seed=1450,
    latitude_deg=46.5,
    elevation_m=1450.0,
    mean_c=2.2,
    season_k=11.3,
    air_mass=1.0,
    swing=1.0,
    snaps=1.0,
    cloud=0.0,
    dew_k=0.5,
    dew_clear_k=2.5,
    wind_m_s=1.3,
)
BIRCH_PLAIN = Place(  # cold winters and warm summers, open and windy
    name="Birch Plain",
    file="birch_plain.epw",
    seed=220,
    latitude_deg=50.0,
    elevation_m=220.0,
    mean_c=7.0,
    season_k=14.0,
    air_mass=1.3,
    swing=0.8,
    snaps=0.8,
    cloud=0.2,
    dew_k=0.5,
    dew_clear_k=1.5,
    wind_m_s=3.5,
)
ALDER_COAST = Place(  # mild, cloudy and damp
    name="Alder Coast",
    file="alder_coast.epw",
    seed=15,
    latitude_deg=51.0,
    elevation_m=15.0,
    mean_c=10.0,
    season_k=6.0,
    air_mass=0.8,
    swing=0.5,
    snaps=0.3,
    cloud=0.6,
    dew_k=0.8,
    dew_clear_k=1.5,
    wind_m_s=4.0,
)
JUNIPER_PLATEAU = Place(  # high, sunny and dry, with cold nights
    name="Juniper Plateau",
    file="juniper_plateau.epw",
    seed=1900,
    latitude_deg=38.0,
    elevation_m=1900.0,
    mean_c=9.5,
    season_k=11.0,
    air_mass=1.0,
    swing=1.3,
    snaps=0.5,
    cloud=-0.9,
    dew_k=0.0,
    dew_clear_k=4.0,
    wind_m_s=2.5,
)
PLACES = (LARCH_VALLEY, BIRCH_PLAIN, ALDER_COAST, JUNIPER_PLATEAU)
LONGITUDE_DEG, UTC_OFFSET_H = 10.0, 1.0  # of all


@dataclass(frozen=True, slots=True, kw_only=True)
class Year:
    """The columns of the file, rounded as they are printed, shape (8760,) each."""

    t_c: FloatArray
    t_dew_c: FloatArray
    rh_percent: FloatArray
    p_pa: FloatArray
    extraterrestrial_w_m2: FloatArray
    extraterrestrial_normal_w_m2: FloatArray
    infrared_w_m2: FloatArray
    global_w_m2: FloatArray
    direct_w_m2: FloatArray
    diffuse_w_m2: FloatArray
    wind_deg: FloatArray
    wind_m_s: FloatArray
    sky_tenths: FloatArray
    opaque_tenths: FloatArray


def red_noise(rng: random.Random, n: int, memory: float) -> FloatArray:
    """Return `n` values of an autoregression of order 1 that joins its own start, variance 1.

    The noise goes round twice: the second round starts from the state in which the first one
    ended, which makes the year its own neighbour. A sum of twelve uniform numbers stands for a
    normal one, because it needs no function that rounds differently on another machine.
    """
    shocks = [sum(rng.random() for _ in range(12)) - 6.0 for _ in range(n)]
    scale = (1.0 - memory**2) ** 0.5
    state, values = 0.0, []
    for shock in shocks * 2:
        state = memory * state + scale * shock
        values.append(state)
    return np.array(values[n:])


def through_the_hours(daily: FloatArray, at_hour: float) -> FloatArray:
    """Interpolate daily values, each standing at `at_hour` of its day, to the 8760 hour ends."""
    known = 24.0 * np.arange(DAYS) + at_hour
    return np.interp(np.arange(1.0, HOURS + 1), known, daily, period=HOURS)


def cold_snaps() -> FloatArray:
    """Return by how many kelvin the snaps make each day colder than its season."""
    depth = np.zeros(DAYS)
    for first, length, kelvin in COLD_SNAPS:
        depth[first : first + length] += kelvin * np.sin(np.pi * (np.arange(length) + 0.5) / length)
    return depth


def sun(hour: FloatArray, latitude_deg: float) -> tuple[FloatArray, FloatArray]:
    """Return the sine of the sun's height and the extraterrestrial beam at local standard times.

    *Source.* Spencer 1971 series for declination, equation of time and distance (values from
    memory), as used in most solar textbooks.
    """
    angle = 2.0 * np.pi * (hour / 24.0) / DAYS
    declination = (
        0.006918
        - 0.399912 * np.cos(angle)
        + 0.070257 * np.sin(angle)
        - 0.006758 * np.cos(2 * angle)
        + 0.000907 * np.sin(2 * angle)
        - 0.002697 * np.cos(3 * angle)
        + 0.00148 * np.sin(3 * angle)
    )
    equation_of_time_h = (
        229.18
        / 60.0
        * (
            0.000075
            + 0.001868 * np.cos(angle)
            - 0.032077 * np.sin(angle)
            - 0.014615 * np.cos(2 * angle)
            - 0.040849 * np.sin(2 * angle)
        )
    )
    solar_time_h = hour % 24.0 + equation_of_time_h + (LONGITUDE_DEG - 15.0 * UTC_OFFSET_H) / 15.0
    hour_angle = np.radians(15.0 * (solar_time_h - 12.0))
    latitude = np.radians(latitude_deg)
    height = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(
        declination
    ) * np.cos(hour_angle)
    beam = SOLAR_CONSTANT * (
        1.00011
        + 0.034221 * np.cos(angle)
        + 0.00128 * np.sin(angle)
        + 0.000719 * np.cos(2 * angle)
        + 0.000077 * np.sin(2 * angle)
    )
    return np.maximum(height, 0.0), beam


def sky_infrared(t_c: FloatArray, t_dew_c: FloatArray, cover_tenths: FloatArray) -> FloatArray:
    """Return the horizontal infrared in W/m2, from the EPW data dictionary's sky emissivity."""
    n = cover_tenths
    emissivity = (0.787 + 0.764 * np.log((t_dew_c + air.KELVIN) / 273.0)) * (
        1.0 + 0.0224 * n - 0.0035 * n**2 + 0.00028 * n**3
    )
    return emissivity * STEFAN_BOLTZMANN * (t_c + air.KELVIN) ** 4


def make_year(place: Place) -> Year:
    """Return the invented year of a place."""
    rng = random.Random(place.seed)  # noqa: S311 - weather, not secrets
    day = np.arange(DAYS)
    hour = np.arange(1.0, HOURS + 1)
    season = -np.cos(2.0 * np.pi * (hour / 24.0 - 18.0) / DAYS)  # -1 on 18 January, +1 in July
    winter_day = 0.5 + 0.5 * np.cos(2.0 * np.pi * (day - 18.0) / DAYS)
    snap = place.snaps * cold_snaps()

    # Weather of days: warm or cold air, and cloud; winter highs are clear and cold.
    air_mass = red_noise(rng, DAYS, 0.75)
    cloudiness = 0.3 * air_mass * winter_day + 0.95 * red_noise(rng, DAYS, 0.5) - 0.3 * snap
    cloudiness += place.cloud
    cloud = through_the_hours(cloudiness, 12.0) + 0.5 * red_noise(rng, HOURS, 0.85)
    sky_tenths = np.round(10.0 / (1.0 + np.exp(-1.6 * cloud)))
    clear = 1.0 - sky_tenths / 10.0
    clear_day = 1.0 / (1.0 + np.exp(1.6 * cloudiness))

    # Temperature: season, air mass, cold snaps, and a day that swings widely under a clear sky.
    air_mass = place.air_mass * air_mass
    synoptic = through_the_hours((2.6 + 1.6 * winter_day) * air_mass - snap, 12.0)
    swing = (2.0 + (4.5 + 1.0 * season) * through_the_hours(clear_day, 12.0)) * np.cos(
        2.0 * np.pi * (hour - 15.0) / 24.0
    )
    t_c = place.mean_c + place.season_k * season + synoptic + place.swing * swing
    t_c = t_c + 0.5 * red_noise(rng, HOURS, 0.8)
    t_c = np.round(t_c, 1)

    # Frost or dew point: that of the air mass, which the coldest hour of the day has dried out.
    coldest = t_c.reshape(DAYS, 24).min(axis=1)
    t_dew_c = through_the_hours(coldest + place.dew_k - place.dew_clear_k * clear_day, 6.0)
    t_dew_c = t_dew_c + 0.6 * red_noise(rng, HOURS, 0.9)
    t_dew_c = np.round(np.minimum(t_dew_c, t_c - 0.1), 1)
    rh = air.saturation_pressure(t_dew_c) / air.saturation_pressure(t_c)

    p_pa = air.standard_pressure(place.elevation_m) + 550.0 * through_the_hours(
        red_noise(rng, DAYS, 0.8) + 0.1 * snap, 12.0
    )

    # Wind: weak in a valley, up the valley on clear afternoons, down it at night.
    up_valley = np.maximum(0.0, np.sin(2.0 * np.pi * (hour % 24.0 - 9.0) / 24.0)) * clear
    gusts = np.exp(0.55 * red_noise(rng, HOURS, 0.85) - 0.06 * through_the_hours(snap, 12.0))
    wind_m_s = place.wind_m_s * gusts + (1.4 + 1.2 * season) * up_valley
    wind_m_s = np.round(np.minimum(wind_m_s, 25.0), 1)
    axis = np.where(up_valley > BREEZE, 230.0, 50.0)
    wind_deg = np.round((axis + 25.0 * red_noise(rng, HOURS, 0.6)) % 360.0 / 10.0) * 10.0

    # Sun: Kasten and Czeplak 1980 for global and diffuse under cloud (coefficients from memory).
    height, beam = sun(hour - 0.5, place.latitude_deg)
    global_clear = np.maximum(910.0 * height - 30.0, 0.0)
    global_w_m2 = global_clear * (1.0 - 0.75 * (sky_tenths / 10.0) ** 3.4)
    beam_horizontal = global_w_m2 * (0.7 - 0.7 * (sky_tenths / 10.0) ** 2)
    up = height > 0.0
    direct = np.divide(beam_horizontal, height, out=np.zeros(HOURS), where=up)
    direct = np.minimum(direct, 0.75 * beam)

    opaque_tenths = np.round(0.8 * sky_tenths)
    return Year(
        t_c=t_c,
        t_dew_c=t_dew_c,
        rh_percent=np.round(100.0 * rh, 1),
        p_pa=np.round(p_pa),
        extraterrestrial_w_m2=np.round(beam * height),
        extraterrestrial_normal_w_m2=np.round(np.where(up, beam, 0.0)),
        infrared_w_m2=np.round(sky_infrared(t_c, t_dew_c, opaque_tenths)),
        global_w_m2=np.round(global_w_m2),
        direct_w_m2=np.round(direct),
        diffuse_w_m2=np.round(global_w_m2 - direct * height),
        wind_deg=wind_deg,
        wind_m_s=wind_m_s,
        sky_tenths=sky_tenths,
        opaque_tenths=opaque_tenths,
    )


def heating_design(year: Year, elevation_m: float) -> list[str]:
    """Return the ``Heating`` part of DESIGN CONDITIONS, from this one year.

    Dew points by annual cumulative frequency, their humidity ratio over ice at the standard
    pressure of the elevation, the mean dry bulb within 0.5 K of them: the definitions of the ASHRAE
    climatic-design tables (from memory), which take 25 years and not one.
    """
    hourly_month = np.repeat(MONTH_OF_DAY, 24)
    means = [year.t_c[hourly_month == month].mean() for month in range(1, 13)]
    coldest = int(np.argmin(means)) + 1
    cold_wind = year.wind_m_s[hourly_month == coldest]
    t_996, t_990 = np.percentile(year.t_c, [0.4, 1.0])
    numbers = [t_996, t_990]
    for dew in np.percentile(year.t_dew_c, [0.4, 1.0]):
        p_vapour_pa = air.saturation_pressure(np.array([dew]))
        w = air.humidity_ratio(p_vapour_pa, np.array([air.standard_pressure(elevation_m)]))
        numbers += [dew, 1000.0 * w[0], year.t_c[np.abs(year.t_dew_c - dew) <= COINCIDENT].mean()]
    cold_t = year.t_c[hourly_month == coldest]
    for wind in np.percentile(cold_wind, [99.6, 99.0]):
        numbers += [wind, cold_t[np.abs(cold_wind - wind) <= COINCIDENT].mean()]
    at_t_996 = np.abs(year.t_c - t_996) <= COINCIDENT
    numbers.append(year.wind_m_s[at_t_996].mean())
    prevailing = float(np.median(year.wind_deg[at_t_996]))
    return ["Heating", str(coldest), *(f"{n:.1f}" for n in numbers), f"{prevailing:.0f}"]


def typical_and_extreme_weeks(year: Year) -> list[str]:
    """Return the weeks of TYPICAL/EXTREME PERIODS: nearest to the season's mean, or farthest."""
    daily = year.t_c.reshape(DAYS, 24).mean(axis=1)
    weeks = np.convolve(daily, np.ones(7) / 7.0, mode="valid")  # week that starts on each day

    def period(title: str, kind: str, months: tuple[int, ...], badness: FloatArray) -> list[str]:
        inside = np.isin(MONTH_OF_DAY[: weeks.size], months) & np.isin(MONTH_OF_DAY[6:], months)
        first = int(np.argmin(np.where(inside, badness, np.inf)))
        dates = [f"{MONTH_OF_DAY[d]}/{DAY_OF_MONTH[d]}" for d in (first, first + 6)]
        return [f"{title} For Period", kind, *dates]

    def off_mean(months: tuple[int, ...]) -> FloatArray:
        return np.abs(weeks - daily[np.isin(MONTH_OF_DAY, months)].mean())

    summer, winter, autumn, spring = (6, 7, 8), (1, 2), (9, 10, 11), (3, 4, 5)
    return [
        "6",
        *period("Summer - Week Nearest Max Temperature", "Extreme", summer, -weeks),
        *period("Summer - Week Nearest Average Temperature", "Typical", summer, off_mean(summer)),
        *period("Winter - Week Nearest Min Temperature", "Extreme", winter, weeks),
        *period("Winter - Week Nearest Average Temperature", "Typical", winter, off_mean(winter)),
        *period("Autumn - Week Nearest Average Temperature", "Typical", autumn, off_mean(autumn)),
        *period("Spring - Week Nearest Average Temperature", "Typical", spring, off_mean(spring)),
    ]


def ground_temperatures(year: Year) -> list[str]:
    """Return monthly ground temperatures: the annual wave, damped and late with depth.

    *Source.* Conduction into a half space under an annual wave; diffusivity of ordinary soil, a
    choice of ours.
    """
    hourly_month = np.repeat(MONTH_OF_DAY, 24)
    means = np.array([year.t_c[hourly_month == month].mean() for month in range(1, 13)])
    middle_day = np.cumsum(MONTH_DAYS) - MONTH_DAYS / 2.0
    wave = np.exp(-2j * np.pi * middle_day / DAYS)
    first_harmonic = 2.0 * np.mean(means * wave)
    diffusivity_m2_day = 0.0557
    decay_per_m = np.sqrt(np.pi / (DAYS * diffusivity_m2_day))
    fields = ["3"]
    for depth_m in (0.5, 2.0, 4.0):
        damped = first_harmonic * np.exp(-(1 + 1j) * decay_per_m * depth_m) / wave
        fields += [f"{depth_m:g}", "", "", "", *(f"{t:.2f}" for t in means.mean() + damped.real)]
    return fields


def header(place: Place, year: Year) -> list[str]:
    """Return the eight header lines."""
    where = (place.latitude_deg, LONGITUDE_DEG, UTC_OFFSET_H, place.elevation_m)
    name = (f"{place.name} (invented)", "-", "---", "invented", "999999")
    stated = heating_design(year, place.elevation_m)
    design = ("1", "Computed from this one invented year", "", *stated)
    lines = [
        ["LOCATION", *name, *(f"{value:.1f}" for value in where)],
        ["DESIGN CONDITIONS", *design],
        ["TYPICAL/EXTREME PERIODS", *typical_and_extreme_weeks(year)],
        ["GROUND TEMPERATURES", *ground_temperatures(year)],
        ["HOLIDAYS/DAYLIGHT SAVINGS", "No", "0", "0", "0"],
        ["COMMENTS 1", "Invented climate made by weather/make_weather.py; nothing was measured"],
        ["COMMENTS 2", "Relative humidity is over ice below 0 C and agrees with the dew point"],
        ["DATA PERIODS", "1", "1", "Data", "Sunday", " 1/ 1", "12/31"],
    ]
    return [",".join(fields) for fields in lines]


def rows(year: Year) -> list[str]:
    """Return the 8760 data rows; illuminance, visibility, ceiling, water and snow are missing."""
    flags = "?9?9?9?9E0?9?9?9?9?9?9?9?9?9?9?9?9?9?9*9*9?9?9?9"
    lines = []
    for k in range(HOURS):
        day = k // 24
        lines.append(
            f"{YEAR},{MONTH_OF_DAY[day]},{DAY_OF_MONTH[day]},{k % 24 + 1},60,{flags},"
            f"{year.t_c[k]:.1f},{year.t_dew_c[k]:.1f},{year.rh_percent[k]:.1f},{year.p_pa[k]:.0f},"
            f"{year.extraterrestrial_w_m2[k]:.0f},{year.extraterrestrial_normal_w_m2[k]:.0f},"
            f"{year.infrared_w_m2[k]:.0f},{year.global_w_m2[k]:.0f},{year.direct_w_m2[k]:.0f},"
            f"{year.diffuse_w_m2[k]:.0f},999999,999999,999999,9999,{year.wind_deg[k]:.0f},"
            f"{year.wind_m_s[k]:.1f},{year.sky_tenths[k]:.0f},{year.opaque_tenths[k]:.0f},"
            "9999,99999,9,999999999,999,.999,999,99,999,0.0,0.0"
        )
    return lines


def main(folder: Path, place: Place = LARCH_VALLEY) -> Path:
    """Write the file of a place into `folder` and return its path."""
    year = make_year(place)
    path = folder / place.file
    text = "\n".join([*header(place, year), *rows(year), ""])
    path.write_text(text, encoding="ascii", newline="\n")
    print(
        f"{path}: {year.t_c.min():.1f} to {year.t_c.max():.1f} °C, mean {year.t_c.mean():.1f} °C, "
        f"{int((year.t_dew_c < 0).sum())} h with the dew point below 0 °C"
    )
    return path


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else Path(__file__).parent)
