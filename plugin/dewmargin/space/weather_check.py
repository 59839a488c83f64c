"""Weather check: whether a simulation belongs to the weather file that the scenario names.

The engine interpolates the file's rows to its own time steps and reports means over the interval;
the same is done here with the file, and the two must agree hour by hour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.errors import InputError
from dewmargin.physics import air

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dewmargin.columns import BoolArray, FloatArray, IntArray
    from dewmargin.weather.epw import Weather

T_TOLERANCE_K = 0.05
# Rounding of the file's own relative humidity, 0.5 %, is in both; what differs is the saturation
# formula, by 0.03 % at most, and the reading, by 3 % and more at frost.
W_TOLERANCE_FRAC = 0.01
W_TOLERANCE_KG_KG = 5e-6
_SHOWN = 3
_SHIFTS_H = (-1, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """The air outdoors as a run reports it.

    Attributes
    ----------
    file : str
        The run.
    interval_start : datetime64[s] array, shape (n_steps,)
        Start of each step.
    steps_per_hour : int
        Reported steps in an hour.
    engine_steps_per_hour : int
        Time steps in an hour to which the engine interpolated the weather.
    t_out_c, w_out_kg_kg : float64 array, shape (n_steps,)
        Dry bulb and humidity ratio. [°C, kg/kg]
    """

    file: str
    interval_start: NDArray[np.datetime64]
    steps_per_hour: int
    engine_steps_per_hour: int
    t_out_c: FloatArray
    w_out_kg_kg: FloatArray


def require_same_weather(weather: Weather, site: Site) -> list[str]:
    r"""Refuse a weather file that is not the run's; return a note where it cannot be told.

    Of N engine steps in an hour the k-th sees the row before it and its own as
    :math:`x_k = (1 - k/N)\,x_{before} + (k/N)\,x_{row}`, so that the hour's mean is
    :math:`\frac{N+1}{2N}\,x_{row} + \frac{N-1}{2N}\,x_{before}`. Humidity is taken at each step
    from the interpolated temperature, relative humidity and pressure. A file of several records an
    hour, which must be as many as the engine's steps, is taken as it is, record by record.

    Parameters
    ----------
    weather : Weather
        The file that the scenario names.
    site : Site
        The run's own weather.

    Raises
    ------
    InputError
        If hours of the run are not in the file, or differ; the first of them are shown.

    Notes
    -----
    *Validity.* The first hour of a run and hours after a gap in its dates are left out: what the
    engine takes for the row before is not told. Rows in which we filled a gap may differ, since
    the engine fills it in its own way.

    *Source.* Interpolation: EnergyPlus 25.2, WeatherManager, seen in runs with N = 1, 4 and 6, of
    hourly files, and of four records an hour.
    """
    if weather.steps_per_hour not in (1, site.engine_steps_per_hour):
        raise InputError(
            f"has {weather.steps_per_hour} records an hour, but the run {site.file} took "
            f"{site.engine_steps_per_hour} steps, which the engine accepts of hourly files only",
            file=weather.file,
            hint="name the weather file that was simulated, or leave [weather] out",
        )
    hours = site.interval_start[:: site.steps_per_hour]
    rows = _rows(weather, hours)
    missing = np.flatnonzero(rows < 0)
    if missing.size:
        raise InputError(
            f"has no hour {_spoken(hours[missing[0]])}, which the run {site.file} has",
            file=weather.file,
            hint="name the weather file that was simulated, or leave [weather] out",
        )
    joined = np.concatenate([[False], np.diff(rows) == 1])
    found = _compared(weather, site, rows)
    for what, unit, factor, ours, theirs, apart, filled in found:
        differs = apart & np.repeat(joined, site.steps_per_hour)
        if np.count_nonzero(differs) <= 2 * site.steps_per_hour * filled:
            continue
        first = np.flatnonzero(differs)[:_SHOWN]
        shown = ", ".join(
            f"{_spoken(site.interval_start[i])} {factor * ours[i]:.2f} in the file and "
            f"{factor * theirs[i]:.2f} in the run"
            for i in first
        )
        raise InputError(
            f"is not the weather of the run {site.file}: {what} differs in "
            f"{np.count_nonzero(differs)} of {differs.size} steps, in {unit}: {shown}",
            file=weather.file,
            hint=_cause(weather, site, rows, joined, what),
        )
    return []


def _rows(weather: Weather, hours: NDArray[np.datetime64]) -> IntArray:
    """Return the file's hour by its date and time without the year, -1 without."""
    keys = _key(weather.interval_start[:: weather.steps_per_hour])
    order = np.argsort(keys)
    wanted = _key(hours)
    place = np.minimum(np.searchsorted(keys, wanted, sorter=order), keys.size - 1)
    found: IntArray = np.where(keys[order[place]] == wanted, order[place], -1)
    return found


def _key(start: NDArray[np.datetime64]) -> IntArray:
    months = start.astype("datetime64[M]")
    month = months.astype(np.int64) % 12
    since: IntArray = ((start - months) // np.timedelta64(1, "h")).astype(np.int64)
    return month * 1000 + since


def _engine_means(weather: Weather, site: Site, rows: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return the file's temperature and humidity as the engine would report them."""
    n = site.engine_steps_per_hour
    part = np.arange(1, n + 1) / n

    def steps(values: FloatArray) -> FloatArray:
        if weather.steps_per_hour > 1:
            own: FloatArray = values.reshape(-1, n)[rows]
            return own
        at, before = values[rows], values[rows - 1]
        result: FloatArray = before[:, None] + part * (at - before)[:, None]
        return result

    t, rh, p = (steps(values) for values in (weather.t_out_c, weather.rh_frac, weather.p_pa))
    w = air.humidity_ratio_at_rh(t.ravel(), rh.ravel(), p.ravel()).reshape(t.shape)
    if site.steps_per_hour == n:
        return t.ravel(), w.ravel()
    return t.mean(axis=1), w.mean(axis=1)


def _compared(
    weather: Weather, site: Site, rows: IntArray
) -> list[tuple[str, str, float, FloatArray, FloatArray, BoolArray, int]]:
    """Compare both quantities: name, unit, its factor, the file's, the run's, apart, filled."""
    t, w = _engine_means(weather, site, rows)
    t_apart = np.abs(t - site.t_out_c) > T_TOLERANCE_K
    w_apart = np.abs(w - site.w_out_kg_kg) > W_TOLERANCE_KG_KG + W_TOLERANCE_FRAC * w
    n_t = weather.filled.get("t_out_c", 0)
    n_w = n_t + sum(weather.filled.get(name, 0) for name in ("t_dew_c", "rh_frac", "p_pa"))
    return [
        ("dry bulb", "°C", 1.0, t, site.t_out_c, t_apart, n_t),
        ("humidity ratio", "g/kg", 1e3, w, site.w_out_kg_kg, w_apart, n_w),
    ]


def _cause(weather: Weather, site: Site, rows: IntArray, joined: BoolArray, what: str) -> str:
    """Say what would explain the difference."""
    for shift_h in _SHIFTS_H:
        shifted = (rows + shift_h) % (weather.t_out_c.size // weather.steps_per_hour)
        same = ~_compared(weather, site, shifted)[0][5]
        if np.all(same[np.repeat(joined, site.steps_per_hour)][site.steps_per_hour :]):
            order = "behind" if shift_h < 0 else "ahead of"
            return f"the run is one hour {order} the file: was it changed after the simulation?"
    if what == "humidity ratio":
        return (
            "temperatures agree: the run read its humidity otherwise, or the file's relative "
            "humidity was changed; leave [weather] out to use the run's own"
        )
    return "name the weather file that was simulated, or leave [weather] out"


def _spoken(start: np.datetime64) -> str:
    """Name a step by its date and the time of its start."""
    return str(start).replace("T", " ")[5:16]
