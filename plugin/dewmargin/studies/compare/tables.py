"""The tables of the results contract; their columns are `dewmargin.columns`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin import columns
from dewmargin.columns import Repeated, Table
from dewmargin.physics import air
from dewmargin.solve import wetness
from dewmargin.solve.hours import EDGE_SLACK, dew_point, duration, relative_humidity

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from dewmargin.columns import BoolArray, Column, FloatArray
    from dewmargin.physics.assembly import WallYear
    from dewmargin.solve.hours import YearHours
    from dewmargin.studies.compare.option import Option, Results

SETTING_SPREAD_FRAC = 0.015  # around a line in outdoor temperature: more depends on other things
SETTING_STEP_K = 5.0
EXCEEDED_PERCENT = (
    *(0.0, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0),
    *map(float, range(5, 101, 5)),
)


def _of_rows(about: Sequence[Column], rows: Sequence[Mapping[str, Any]]) -> Table:
    return Table(columns=about, data={c.name: [row[c.name] for row in rows] for c in about})


def _labels(option: Option) -> dict[str, str | None]:
    return {
        "option": option.name,
        "strategy": option.strategy,
        "equipment": option.equipment,
        "supply": option.supply,
    }


def _comparison_table(result: Results) -> Table:
    tariff = result.scenario.tariff
    shared = {"currency": None if tariff is None else tariff.currency}
    rows: list[dict[str, Any]] = [{**_labels(o), **o.row, **shared} for o in result.options]
    return _of_rows(columns.COMPARISON, rows)


def _surfaces_table(result: Results) -> Table:
    rows = [
        {
            "option": option.name,
            "surface": surface.name,
            **wetness.surface_year(result.case, result.hours, option.outcome, option.surfaces, i),
        }
        for option in result.options
        for i, surface in enumerate(result.case.surfaces)
    ]
    return _of_rows(columns.SURFACES, rows)


def settings_table(
    result: Results, at_c: Sequence[float] | None = None, *, step_percent: int = 1
) -> Table:
    """Set-points by outdoor temperature.

    Parameters
    ----------
    result : Results
    at_c : sequence of float, optional
        Outdoor temperatures; those without hours of the record near them are left out. By default
        the climate's own range. [°C]
    step_percent : int
        What the controller can be set to: multiples of it. [%]
    """
    rows: list[dict[str, Any]] = []
    grid = _own_range(result) if at_c is None else at_c
    least, first = _first_to_sweat(result, grid)
    nothing = {"rh_limit_percent": None, "limiting_surface": None}
    strategies = {o.strategy: o.rh_rule_frac for o in reversed(result.options)}
    for option in result.options:
        held = strategies.pop(option.strategy, None)
        if held is None:
            continue
        for where, found in _by_outdoor_temperature(result, held, grid):
            # Half a per cent is rounded down; all of it where the rule needs it, where rounding up
            # would pass what the surfaces allow, and in coarser steps.
            allowed = least.get(where["t_out_c"], 1.0)
            tight = found["at"] <= allowed < found["at"] + 0.005
            half = 0.0 if found["wide"] or tight or step_percent > 1 else 0.5
            rows.append(
                {
                    "strategy": option.strategy,
                    **where,
                    "rh_set_frac": found["at"],
                    "rh_set_percent": step_percent
                    * _whole_percent(found["at"] / step_percent, half),
                    "rh_set_low_frac": found["low"],
                    "rh_set_high_frac": found["high"],
                    **first.get(where["t_out_c"], nothing),
                }
            )
    return _of_rows(columns.SETTINGS, rows)


def _first_to_sweat(
    result: Results, at_c: Sequence[float]
) -> tuple[dict[float, float], dict[float, dict[str, Any]]]:
    """Return the lowest of the limits by outdoor temperature, and what the settings say of it."""
    least: dict[float, float] = {}
    lowest: dict[float, dict[str, Any]] = {}
    limits = limits_table(result, at_c).data
    columns_of = (limits[name] for name in ("t_out_c", "rh_max_frac", "rh_max_percent", "surface"))
    for t_c, fraction, percent, surface in zip(*columns_of, strict=True):
        if t_c not in least or fraction < least[t_c]:
            least[t_c] = fraction
            lowest[t_c] = {"rh_limit_percent": percent, "limiting_surface": surface}
    return least, lowest


def limits_table(result: Results, at_c: Sequence[float] | None = None) -> Table:
    """Highest humidity, where measured, at which surfaces stay dry, by outdoor temperature.

    `at_c` as of `settings_table`.
    """
    hours, sensed = result.hours, result.case.sensed
    t_sensed_c = result.case.hourly_mean(sensed.t_air_c)
    w_sensed = result.case.hourly_mean(sensed.w_offset_kg_kg)
    rows: list[dict[str, Any]] = []
    for i, surface in enumerate(result.case.surfaces):
        w_most = air.saturated_humidity_ratio(hours.t_surface_c[i], hours.p_pa)
        w_most = w_most - hours.w_offset_kg_kg[i] + w_sensed
        rh_most = air.relative_humidity(t_sensed_c, np.maximum(w_most, 0.0), hours.p_pa)
        rh_most = np.minimum(rh_most, 1.0)
        rows += [
            {
                "surface": surface.name,
                **where,
                "rh_max_frac": found["at"],
                "rh_max_percent": _whole_percent(found["at"], 0.0),
                "rh_max_low_frac": found["low"],
                "rh_max_high_frac": found["high"],
            }
            for where, found in _by_outdoor_temperature(
                result, rh_most, _own_range(result) if at_c is None else at_c
            )
        ]
    return _of_rows(columns.LIMITS, rows)


def _whole_percent(fraction: float, half: float) -> int:
    return int(np.floor(100.0 * fraction + half + 1e-9))


def _own_range(result: Results) -> list[float]:
    """Return outdoor temperatures from the coldest to the limit of the heating season. [°C]."""
    first = np.floor(result.hours.t_out_c.min() / SETTING_STEP_K) * SETTING_STEP_K
    last = result.scenario.comfort.heating_season_below_c
    return [float(t_c) for t_c in np.arange(first, last + 0.1, SETTING_STEP_K)]


def _by_outdoor_temperature(
    result: Results, rh_frac: FloatArray, at_c: Sequence[float]
) -> Iterator[tuple[dict[str, float], dict[str, float]]]:
    """Yield outdoor temperatures, and what a humidity is at each.

    In the hours around a temperature it follows a straight line in it, plus what else it depends
    on. If that is little, the line is what to set; otherwise what is low enough for all these
    hours, so that the setting keeps what the rule promises.
    """
    t_out = result.hours.t_out_c
    known = np.isfinite(rh_frac)
    for t_c in at_c:
        near = known & (t_out >= t_c - SETTING_STEP_K / 2) & (t_out < t_c + SETTING_STEP_K / 2)
        if not near.any():
            continue
        held, off_k = rh_frac[near], t_out[near] - t_c
        level = held - off_k * (np.polyfit(off_k, held, 1)[0] if np.ptp(off_k) > 1.0 else 0.0)
        wide = bool(np.ptp(level) > SETTING_SPREAD_FRAC)
        nearest = held[np.abs(off_k) <= max(0.5, np.abs(off_k).min())]
        where = {"t_out_c": float(t_c), "t_out_f": float(t_c * 1.8 + 32.0)}
        yield (
            where | {"hours": float(near.sum())},
            {
                "at": float(level.min() if wide else np.median(nearest)),
                "wide": wide,
                "low": float(held.min()),
                "high": float(held.max()),
            },
        )


def _interval(hours: YearHours, repeats: int) -> dict[str, np.ndarray]:
    start = np.tile(hours.interval_start, repeats)
    return {"interval_start": start, "interval_end": start + np.timedelta64(1, "h")}


def _hourly_table(result: Results) -> Table:
    hours, n = result.hours, result.case.n_hours
    rh_base = relative_humidity(hours, result.options[0].outcome.w_kg_kg)
    parts: list[dict[str, FloatArray]] = []
    for option in result.options:
        out = option.outcome
        unknown = np.full(n, np.nan)
        demand = unknown if option.demand_kg is None else option.demand_kg
        parts.append(
            {
                "t_out_c": hours.t_out_c,
                "w_out_kg_kg": hours.w_out_kg_kg,
                "t_air_c": hours.t_air_c,
                "rh_base_frac": rh_base,
                "rh_setpoint_frac": unknown
                if option.rh_setpoint_frac is None
                else option.rh_setpoint_frac,
                "rh_frac": relative_humidity(hours, out.w_kg_kg),
                "w_kg_kg": out.w_kg_kg,
                "w_end_kg_kg": out.w_end_kg_kg,
                "dew_point_c": dew_point(hours, out.w_kg_kg),
                "demand_kg": demand,
                "delivered_kg": out.added_kg,
                "shortfall_kg": demand - out.added_kg,
                "running_frac": out.running_frac,
                "feed_l": out.feed_kg,
                "drained_l": out.feed_kg - out.added_kg,
                "exchange_kg_s": hours.exchange_kg_s,
                "condensed_kg": out.condensed_kg.sum(axis=0),
                "dried_kg": out.dried_kg.sum(axis=0),
                "fog_kg": out.fog_kg,
                "balance_error_kg": out.balance_error_kg,
                **{name: getattr(option.energy, name) for name in columns.HOURLY_ENERGY},
            }
        )
    repeats = len(result.options)
    return Table(
        columns=columns.HOURLY,
        data={
            "option": Repeated([o.name for o in result.options], n),
            **_interval(hours, repeats),
            **{name: np.concatenate([part[name] for part in parts]) for name in parts[0]},
            "heating_season": np.tile(hours.heating_season, repeats),
            "mechanical_cooling": np.tile(hours.cooling, repeats),
            "source_year": [None] * (n * repeats)
            if hours.source_year is None
            else np.tile(hours.source_year, repeats),
        },
    )


def _surfaces_hourly_table(result: Results) -> Table:
    hours, n, faces = result.hours, result.case.n_hours, result.case.surfaces
    names = [o.name for o in result.options]
    condensed = []
    for option in result.options:
        taken = option.outcome.condensed_kg.copy()
        taken[[not face.area_m2 for face in faces]] = np.nan
        condensed.append(taken.ravel())
    return Table(
        columns=columns.SURFACES_HOURLY,
        data={
            "option": Repeated(names, n * len(faces)),
            "surface": Repeated([face.name for face in faces], n, rounds=len(names)),
            **_interval(hours, len(names) * len(faces)),
            "t_surface_c": np.tile(hours.t_surface_c.ravel(), len(names)),
            "condensed_kg": np.concatenate(condensed),
            **{
                name: np.concatenate([getattr(o.surfaces, own).ravel() for o in result.options])
                for name, own in (
                    ("dew_margin_k", "margin_k"),
                    ("film_g_m2", "film_g_m2"),
                    ("runoff_g_m2", "runoff_g_m2"),
                    ("rh_surface_frac", "rh_frac"),
                    ("mould_index", "mould_index"),
                )
            },
        },
    )


def _daily_table(result: Results) -> Table:
    """Return every day of every option: what a calendar shows."""
    return _by_span(result, columns.DAILY, "date", "datetime64[D]")


def _monthly_table(result: Results) -> Table:
    return _by_span(result, columns.MONTHLY, "month", "datetime64[M]")


def _by_span(result: Results, about: Sequence[Column], called: str, span: str) -> Table:
    """Return those of these columns that are asked for, of each option in each day or month."""
    hours, comfort = result.hours, result.scenario.comfort
    # A typical year's December may be taken as its first month: spans stay in the record's order.
    spans, index = np.unique(hours.interval_start.astype(span), return_inverse=True)
    count = np.bincount(index)
    starts = np.flatnonzero(np.diff(index, prepend=-1))
    season = hours.heating_season

    def total(values: FloatArray | BoolArray) -> FloatArray:
        return np.bincount(index, weights=values.astype(np.float64)).astype(np.float64)

    parts: list[dict[str, FloatArray]] = []
    for option in result.options:
        faces, out = option.surfaces, option.outcome
        rh = relative_humidity(hours, out.w_kg_kg)
        dry = season & (rh < comfort.low_rh - EDGE_SLACK)
        humid = season & (rh > comfort.high_rh + EDGE_SLACK)
        # Without surfaces nothing is known of them.
        unknown = np.full(hours.t_out_c.size, 0.0 if len(faces.margin_k) else np.nan)
        parts.append(
            {
                "condensation_h": total(faces.condensing.any(axis=0) + unknown),
                "wet_h": total(faces.wet.any(axis=0) + unknown),
                "runoff_h": total(faces.runs_off.any(axis=0) + unknown),
                "frost_h": total(faces.frost.any(axis=0) + unknown),
                "worst_margin_k": np.minimum.reduceat(
                    np.vstack([faces.margin_k, unknown + 1e3]).min(axis=0), starts
                ),
                "dry_h": total(dry),
                "band_h": total(season & ~dry & ~humid),
                "humid_h": total(humid),
                "rh_mean_frac": total(rh) / count,
                "t_out_mean_c": total(hours.t_out_c) / count,
                "hours": count.astype(np.float64),
                "demand_kg": np.full(count.size, np.nan)
                if option.demand_kg is None
                else total(option.demand_kg),
                "delivered_kg": total(out.added_kg),
                "feed_l": total(out.feed_kg),
                "drained_l": total(out.feed_kg - out.added_kg),
            }
        )
    names = [o.name for o in result.options]
    data: dict[str, Any] = {
        "option": Repeated(names, spans.size),
        called: np.tile(spans if called == "date" else spans.astype(str), len(names)),
        **{name: np.concatenate([part[name] for part in parts]) for name in parts[0]},
    }
    return Table(columns=about, data={column.name: data[column.name] for column in about})


def _duration_table(result: Results) -> Table:
    """Return load-duration curves of every option but the baseline."""
    parts = np.array(EXCEEDED_PERCENT)
    rows: list[dict[str, Any]] = []
    for option in result.options:
        if option.demand_kg is None or option.able_kg is None:
            continue
        of_hour = (option.demand_kg, option.outcome.added_kg, option.able_kg)
        demand, delivered, able = (duration(values, parts) for values in of_hour)
        rows += [
            {
                "option": option.name,
                "exceeded_percent": percent,
                "exceeded_h": percent / 100.0 * option.demand_kg.size,
                "demand_kg_h": float(demand[i]),
                "delivered_kg_h": float(delivered[i]),
                "able_kg_h": float(able[i]),
            }
            for i, percent in enumerate(EXCEEDED_PERCENT)
        ]
    return _of_rows(columns.DURATION, rows)


def _worst_hours_table(result: Results) -> Table:
    hours = result.hours
    rows: list[dict[str, Any]] = []
    for option in result.options:
        rh = relative_humidity(hours, option.outcome.w_kg_kg)
        for i, surface in enumerate(result.case.surfaces):
            margin, film = option.surfaces.margin_k[i], option.surfaces.film_g_m2[i]
            rows += [
                {
                    "option": option.name,
                    "surface": surface.name,
                    "rank": rank,
                    "interval_start": hours.interval_start[h],
                    "interval_end": hours.interval_start[h] + np.timedelta64(1, "h"),
                    "dew_margin_k": float(margin[h]),
                    "t_surface_c": float(hours.t_surface_c[i, h]),
                    "film_g_m2": float(film[h]),
                    "t_air_c": float(hours.t_air_c[h]),
                    "rh_frac": float(rh[h]),
                    "t_out_c": float(hours.t_out_c[h]),
                    "w_out_kg_kg": float(hours.w_out_kg_kg[h]),
                    "wind_m_s": None if hours.wind_m_s is None else float(hours.wind_m_s[h]),
                    "t_sky_c": None if hours.t_sky_c is None else float(hours.t_sky_c[h]),
                }
                for rank, h in enumerate(wetness.worst_hours(hours, margin), start=1)
            ]
    return _of_rows(columns.WORST_HOURS, rows)


def _walls(result: Results) -> Iterator[tuple[str, WallYear]]:
    """Yield each option's name and wall, where one is screened."""
    return ((o.name, o.wall) for o in result.options if o.wall is not None)


def _assembly_table(result: Results) -> Table:
    rows: list[dict[str, Any]] = []
    for option, found in _walls(result):
        worst = found.wettest
        rows.append(
            {
                "option": option,
                "u_factor_w_m2_k": found.planes.u_factor_w_m2_k,
                "plane": None if worst is None else found.planes.names[worst],
                "held_max_g_m2": 0.0 if worst is None else float(found.held_g_m2[worst].max()),
                "condensed_g_m2": float(found.condensed_g_m2.sum()),
                "dried_g_m2": float(found.dried_g_m2.sum()),
                "stays_wet": found.stays_wet,
                "leak_condensation_h": found.leak_condensation_h,
            }
        )
    return _of_rows(columns.ASSEMBLY, rows)


def _assembly_months_table(result: Results) -> Table:
    """Return the planes that are ever wet, month by month."""
    rows: list[dict[str, Any]] = []
    for option, found in _walls(result):
        rows += [
            {
                "option": option,
                "plane": found.planes.names[k],
                "depth_m": float(found.planes.sd_m[k]),
                "month": m + 1,
                "condensed_g_m2": float(found.condensed_g_m2[k, m]),
                "dried_g_m2": float(found.dried_g_m2[k, m]),
                "held_g_m2": float(found.held_g_m2[k, m]),
            }
            for k in np.flatnonzero(found.condensed_g_m2.any(axis=1))
            for m in range(found.held_g_m2.shape[1])
        ]
    return _of_rows(columns.ASSEMBLY_MONTHS, rows)


OF_ASSEMBLY = ("assembly", "assembly_months")
TABLES: dict[str, Callable[[Results], Table]] = {
    "comparison": _comparison_table,
    "surfaces": _surfaces_table,
    "settings": settings_table,
    "limits": limits_table,
    "worst_hours": _worst_hours_table,
    "daily": _daily_table,
    "monthly": _monthly_table,
    "duration": _duration_table,
    "assembly": _assembly_table,
    "assembly_months": _assembly_months_table,
    "hourly": _hourly_table,
    "surfaces_hourly": _surfaces_hourly_table,
}
