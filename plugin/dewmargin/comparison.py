"""Every option of a scenario, side by side: the order of the work.

weather → space → strategies → demand → equipment on supplies → year numbers → verdict.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin import balance, columns, energy, metrics
from dewmargin.errors import ExtensionError, InputError
from dewmargin.reports import tables
from dewmargin.scenario import BASELINE, SEPARATOR, Scenario, load

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd

    from dewmargin.balance import Outcome
    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray, FloatArray
    from dewmargin.contracts import Equipment, FeedWater, Strategy
    from dewmargin.energy import Energy
    from dewmargin.metrics import Hours
    from dewmargin.readers.epw import Weather
    from dewmargin.scenario import Comfort
    from dewmargin.tariff import Tariff

QUALITY_RMSE_KG_KG = 0.2e-3
QUALITY_GAP_FRAC = 0.05
YEAR_H = 8760
SETTING_SPREAD_FRAC = 0.015  # around a line in outdoor temperature: more depends on other things


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One way of humidifying, with its hours and its year.

    `notes` is what to know of its equipment and its water, `lacking` what its cost waits for.
    """

    name: str
    strategy: str | None
    equipment: str | None
    supply: str | None
    rh_setpoint_frac: FloatArray | None
    demand_kg: FloatArray | None
    outcome: Outcome
    energy: Energy
    row: dict[str, float | None]
    notes: tuple[str, ...] = ()
    lacking: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """How far a simulation's flows explain its own humidity.

    `w_rmse_kg_kg`: heating season, the direct balance against the simulated humidity.
    `demand_gap_frac`: yearly demand of the first strategy, direct less departure over departure.
    `missing_flow`: True where either is large (0.2 g/kg, 5 %): a flow was not reported.
    """

    w_rmse_kg_kg: float
    demand_gap_frac: float | None
    missing_flow: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """All options of a scenario; the baseline is the first."""

    scenario: Scenario
    weather: Weather | None
    case: HourlyCase
    hours: Hours
    options: tuple[Option, ...]
    quality: Quality | None
    warnings: tuple[str, ...]
    verdict: str

    @property
    def comparison(self) -> pd.DataFrame:
        """One row an option; columns and units in the README."""
        return tables.frame(self.table("comparison"))

    @property
    def surfaces(self) -> pd.DataFrame:
        """One row an option and surface."""
        return tables.frame(self.table("surfaces"))

    @property
    def hourly(self) -> pd.DataFrame:
        """One row an option and hour."""
        return tables.frame(self.table("hourly"))

    @property
    def settings(self) -> pd.DataFrame:
        """One row a strategy and outdoor temperature: what to set."""
        return tables.frame(self.table("settings"))

    def summary_lines(self) -> list[str]:
        """Return what a reader must know beside the table: readings, balance, quality, warnings."""
        errors = [o.row["balance_error_kg"] or 0.0 for o in self.options]
        year = "a whole year" if self.case.wraps else "a part of a year"
        reading = self.case.humidity_reading.replace("_", " ")
        lines = [
            f"Outdoor humidity read as {reading}; {self.case.n_hours} hours, {year}.",
            f"Water balance closes to {max(errors):.1e} kg in every hour.",
        ]
        if self.quality is not None:
            lines.append(
                "Simulation check: a balance of its own flows reproduces its humidity within "
                f"{1000 * self.quality.w_rmse_kg_kg:.2f} g/kg and demands "
                f"{_percent(self.quality.demand_gap_frac)} against the departure used here."
            )
        return lines + [f"Note: {warning}" for warning in self.warnings]

    def table(self, name: str) -> tables.Table:
        """Return a table of the results contract: a key of `TABLES`."""
        return TABLES[name](self)

    def write(self, out: str | Path, *, hourly_csv: bool = False) -> list[Path]:
        """Write the results folder, `manifest.json` last; return the files.

        Raises
        ------
        OutputError
            If a file cannot be written.
        """
        # By role and name, not by path: the same inputs give the same bytes wherever they lie.
        inputs = {f"scenario: {self.scenario.file.name}": self.scenario.sha256}
        if self.weather is not None:
            inputs[f"weather: {Path(self.weather.file).name}"] = self.weather.sha256
        for path in self.scenario.space.files(self.scenario.file.parent):
            try:
                inputs[f"{self.scenario.space_kind}: {path.name}"] = tables.sha256(path)
            except OSError as error:
                raise InputError(f"cannot be read: {error.strerror}", file=path) from error
        return tables.write_folder(
            Path(out),
            {name: self.table(name) for name in TABLES},
            hourly_csv=hourly_csv,
            about={
                "title": self.scenario.title,
                "verdict": self.verdict,
                "warnings": list(self.warnings),
                "humidity_reading": self.case.humidity_reading,
                "hours": self.case.n_hours,
                "whole_year": self.case.wraps,
                "first_interval": str(self.hours.interval_start[0]),
                "quality": None
                if self.quality is None
                else {
                    "w_rmse_kg_kg": self.quality.w_rmse_kg_kg,
                    "demand_gap_frac": self.quality.demand_gap_frac,
                    "missing_flow": self.quality.missing_flow,
                },
                "scenario": self.scenario.resolved(),
                "inputs_sha256": inputs,
            },
        )


def compare(source: str | Path | Scenario) -> Comparison:
    """Compare every option of a scenario.

    Parameters
    ----------
    source : path or Scenario
        A scenario file, or what `dewmargin.scenario.load` returned.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        If an input is refused; the message names file and key or row.
    """
    scenario = source if isinstance(source, Scenario) else load(source)
    weather = scenario.read_weather()
    return compare_case(scenario, weather, scenario.case(weather))


def compare_case(scenario: Scenario, weather: Weather | None, case: HourlyCase) -> Comparison:
    """Compare every option of a scenario whose weather and space are read already.

    Raises
    ------
    InputError
        If a strategy, an equipment or a supply does not suit the space.
    """
    try:
        return _compare(scenario, weather, case)
    except InputError as error:
        raise scenario.placed(error) from error


@dataclass(frozen=True, slots=True, kw_only=True)
class _Held:
    """What all equipment on all supplies share under one strategy."""

    strategy: Strategy
    rh_set: FloatArray
    w_set: FloatArray
    demand: Outcome
    rh_hours: FloatArray
    catch_up: BoolArray


def _compare(scenario: Scenario, weather: Weather | None, case: HourlyCase) -> Comparison:
    comfort = scenario.comfort
    hours = metrics.hours_of(case, heating_season_below_c=comfort.heating_season_below_c)
    dry = _baseline(scenario, case, hours)
    waters = [supply.feed_water(case) for supply in scenario.supplies]
    held = [_hold(strategy, case, hours) for strategy in scenario.strategies]
    options = [dry]
    options += [
        _option(scenario, case, hours, dry, each, equipment, water)
        for each in held
        for equipment in scenario.equipment
        for water in waters
    ]
    found = quality(case, hours, rh_set=held[0].rh_set, departure=held[0].demand)
    return Comparison(
        scenario=scenario,
        weather=weather,
        case=case,
        hours=hours,
        options=tuple(options),
        quality=found,
        warnings=tuple(_warnings(case, options, found)),
        verdict=_verdict(options, comfort, hours, tariff=scenario.tariff),
    )


def _baseline(scenario: Scenario, case: HourlyCase, hours: Hours) -> Option:
    dry = balance.baseline(case)
    row = metrics.comparison_row(
        hours,
        dry,
        demand_kg=None,
        catch_up=None,
        low_rh=scenario.comfort.low_rh,
        high_rh=scenario.comfort.high_rh,
    )
    nothing = None if scenario.tariff is None else 0.0
    return Option(
        name=BASELINE,
        strategy=None,
        equipment=None,
        supply=None,
        rh_setpoint_frac=None,
        demand_kg=None,
        outcome=dry,
        energy=energy.energy_hours(case, dry, water_heater=None),
        row=dict(row) | metrics.energy_row(None) | {"cost": nothing, "co2_kg": nothing},
    )


def _hold(strategy: Strategy, case: HourlyCase, hours: Hours) -> _Held:
    rh_set = strategy.setpoint(case)
    _require_no_peeking(strategy, case, rh_set)
    held = rh_set.reshape(case.n_hours, -1).mean(axis=1)
    off = hours.cooling & (not case.humidify_while_cooling)
    return _Held(
        strategy=strategy,
        rh_set=rh_set,
        w_set=balance.setpoint_humidity_ratio(case, rh_set),
        demand=balance.demand(case, rh_set),
        rh_hours=np.where(off, np.nan, held),
        catch_up=metrics.catch_up_hours(
            hours,
            held,
            starts_anew=not case.wraps,
            runs_while_cooling=case.humidify_while_cooling,
        ),
    )


def _option(
    scenario: Scenario,
    case: HourlyCase,
    hours: Hours,
    dry: Option,
    held: _Held,
    equipment: Equipment,
    water: FeedWater,
) -> Option:
    capability = equipment.capability(
        case,
        water,
        w_base_kg_kg=np.repeat(dry.outcome.w_kg_kg, case.steps_per_hour),
        w_set_kg_kg=held.w_set,
        demand_kg_s=np.repeat(held.demand.added_kg / 3600.0, case.steps_per_hour),
    )
    outcome = balance.deliver(case, held.rh_set, capability)
    taken = energy.energy_hours(case, outcome, water_heater=water.heater)
    row = metrics.comparison_row(
        hours,
        outcome,
        demand_kg=held.demand.added_kg,
        catch_up=held.catch_up,
        low_rh=scenario.comfort.low_rh,
        high_rh=scenario.comfort.high_rh,
    )
    bill = energy.bill(
        taken,
        outcome,
        tariff=scenario.tariff,
        heater_carrier=None if water.heater is None else water.heater.carrier,
        plant_carrier=None if case.heat_source is None else case.heat_source.carrier,
    )
    return Option(
        name=SEPARATOR.join((held.strategy.name, equipment.name, water.name)),
        strategy=held.strategy.name,
        equipment=equipment.name,
        supply=water.name,
        rh_setpoint_frac=held.rh_hours,
        demand_kg=held.demand.added_kg,
        outcome=outcome,
        energy=taken,
        row=dict(row) | metrics.energy_row(taken) | {"cost": bill.cost, "co2_kg": bill.co2_kg},
        notes=capability.notes,
        lacking=bill.lacking,
    )


def _warnings(case: HourlyCase, options: list[Option], quality: Quality | None) -> list[str]:
    """Return what a reader must know; of the strategies, the first tells of the equipment."""
    first = options[1].strategy
    cautions = [note for option in options if option.strategy == first for note in option.notes]
    lacking = dict.fromkeys(what for option in options for what in option.lacking)
    warnings = [*case.notes, *dict.fromkeys(cautions)]
    if lacking:
        warnings.append(f"cost or carbon are not known for all options: {', '.join(lacking)}")
    if case.air_system is not None:
        full_h = np.count_nonzero(case.air_system.heat_frac >= 1.0) / case.steps_per_hour
        if full_h > 0:
            warnings.append(f"the heating plant runs without pause in {full_h:.0f} h")
    if quality is not None and quality.missing_flow:
        warnings.append(
            "quality flag: the run's own flows do not explain its humidity "
            f"(RMSE {1000 * quality.w_rmse_kg_kg:.2f} g/kg in the heating season, demand "
            f"{_percent(quality.demand_gap_frac)} apart): an air flow such as mixing, heat "
            "recovery or open windows was not reported"
        )
    return warnings


def _percent(fraction: float | None) -> str:
    return "unknown" if fraction is None else f"{100 * fraction:+.1f} %"


def quality(
    case: HourlyCase, hours: Hours, *, rh_set: FloatArray, departure: Outcome
) -> Quality | None:
    """Compare a simulation's humidity and demand with a direct balance of its reported flows.

    Parameters
    ----------
    case : HourlyCase
    hours : Hours
    rh_set : float64 array, shape (n_steps,)
        Relative humidity to hold. [-]
    departure : Outcome
        The demand as the departure gives it.

    Returns
    -------
    Quality or None
        None for a case that is no departure.
    """
    if not case.departure:
        return None
    own = balance.direct(case)
    # Mechanical cooling dries the air, which the direct balance does not know: leave it out.
    season = hours.heating_season & ~hours.cooling
    simulated = case.w_base_kg_kg.reshape(case.n_hours, -1).mean(axis=1)
    gap = balance.baseline(own).w_kg_kg - simulated
    rmse = float(np.sqrt(np.mean(gap[season] ** 2))) if season.any() else 0.0
    apart: float | None = None
    total = float(departure.added_kg[season].sum())
    if total > 0.0:
        apart = float(balance.demand(own, rh_set).added_kg[season].sum()) / total - 1.0
    large = rmse > QUALITY_RMSE_KG_KG or (apart is not None and abs(apart) > QUALITY_GAP_FRAC)
    return Quality(w_rmse_kg_kg=rmse, demand_gap_frac=apart, missing_flow=large)


def _require_no_peeking(strategy: Strategy, case: HourlyCase, rh_set: FloatArray) -> None:
    """Raise unless the first half's set-points follow from the first half and the horizon."""
    half = case.n_steps // 2
    known = case.first(min(case.n_steps, half + round(strategy.horizon_h * case.steps_per_hour)))
    if half and not np.array_equal(strategy.setpoint(known)[:half], rh_set[:half]):
        raise ExtensionError(
            f"looks further ahead than its horizon_h of {strategy.horizon_h:g}",
            where=f"strategies[{strategy.name!r}]",
        )


def _verdict(
    options: list[Option], comfort: Comfort, hours: Hours, *, tariff: Tariff | None
) -> str:
    """One sentence: which option, and why.

    Among the options whose condensation hours exceed those without humidifier by at most the
    accepted number, the one with the most hours in the comfort band. The least cost decides a tie,
    or the least feed where a cost is not known.
    """
    dry, *others = options
    # What is accepted in a year, by the length of the record.
    share = min(hours.t_out_c.size / YEAR_H, 1.0)
    accepted_dry_h = share * comfort.accepted_dry_h
    extra_h = share * comfort.extra_condensation_h
    season_h = int(np.count_nonzero(hours.heating_season))
    dry_h, band_h = number(dry, "dry_h"), number(dry, "band_h")
    if dry_h <= accepted_dry_h:
        return (
            f"None needed: without a humidifier the air is too dry in {dry_h:.0f} of "
            f"{season_h} heating-season hours."
        )
    examined = dry.row["condensation_h"] is not None
    allowed = number(dry, "condensation_h") + extra_h
    fit = [o for o in others if number(o, "condensation_h") <= allowed]
    if not fit:
        least = min(others, key=lambda o: number(o, "condensation_h"))
        return (
            f"No option keeps within {extra_h:.0f} h more condensation than "
            f"without a humidifier; the nearest is {least.name!r} with "
            f"{number(least, 'condensation_h'):.0f} h."
        )
    priced = all(o.row["cost"] is not None for o in fit)
    taken = "cost" if priced else "feed_l"
    best = max(fit, key=lambda o: (number(o, "band_h"), -number(o, taken)))
    if number(best, "band_h") <= band_h:
        return (
            f"None helps: no option within the accepted condensation has more than the "
            f"{band_h:.0f} of {season_h} heating-season hours in the comfort band that there are "
            "without."
        )
    condensation = (
        f"{number(best, 'condensation_h'):.0f} h with condensation "
        f"({number(dry, 'condensation_h'):.0f} without)"
        if examined
        else "condensation not examined (no surfaces given)"
    )
    return (
        f"Choose {best.name!r}: {number(best, 'band_h'):.0f} of {season_h} heating-season hours "
        f"in the comfort band ({band_h:.0f} without), {condensation}, "
        f"{number(best, 'feed_l'):.0f} l of water"
        + (f", {number(best, 'cost'):.0f} {tariff.currency}." if tariff and priced else ".")
    )


def number(option: Option, column: str) -> float:
    """Return a year number of an option; what is not known counts as 0."""
    return option.row[column] or 0.0


def _labels(option: Option) -> dict[str, str | None]:
    return {
        "option": option.name,
        "strategy": option.strategy,
        "equipment": option.equipment,
        "supply": option.supply,
    }


def _comparison_table(result: Comparison) -> tables.Table:
    tariff = result.scenario.tariff
    shared = {"currency": None if tariff is None else tariff.currency}
    rows: list[dict[str, Any]] = [{**_labels(o), **o.row, **shared} for o in result.options]
    return tables.Table(
        columns=columns.COMPARISON,
        data={c.name: [row[c.name] for row in rows] for c in columns.COMPARISON},
    )


def _surfaces_table(result: Comparison) -> tables.Table:
    data: dict[str, list[Any]] = {c.name: [] for c in columns.SURFACES}
    for option in result.options:
        w = option.outcome.w_kg_kg
        wet = metrics.condensing(result.hours, w)
        margin = metrics.dew_margins(result.hours, w)
        for i, surface in enumerate(result.case.surfaces):
            t_c = result.hours.t_surface_c[i]
            values: dict[str, Any] = {
                "option": option.name,
                "surface": surface.name,
                "condensation_h": float(np.count_nonzero(wet[i])),
                "frost_h": float(np.count_nonzero(wet[i] & (t_c < 0.0))),
                "worst_margin_k": float(margin[i].min()),
                "condensed_kg": float(option.outcome.condensed_kg[i].sum())
                if surface.area_m2
                else None,
                "t_surface_min_c": float(t_c.min()),
            }
            for name, value in values.items():
                data[name].append(value)
    return tables.Table(columns=columns.SURFACES, data=data)


def _settings_table(result: Comparison, *, step_k: float = 5.0) -> tables.Table:
    """Set-points by outdoor temperature, over the climate's own range.

    In the hours around a temperature the set-point follows a straight line in it, plus what else
    the rule depends on. If that is little, the line is what to set; otherwise what is low enough
    for all these hours, so that the setting keeps what the rule promises.
    """
    data: dict[str, list[Any]] = {c.name: [] for c in columns.SETTINGS}
    t_out = result.hours.t_out_c
    first = np.floor(t_out.min() / step_k) * step_k
    rows = np.arange(first, result.scenario.comfort.heating_season_below_c + 0.1, step_k)
    seen: set[str] = set()
    for option in result.options:
        if option.strategy is None or option.strategy in seen or option.rh_setpoint_frac is None:
            continue
        seen.add(option.strategy)
        known = np.isfinite(option.rh_setpoint_frac)
        for t_c in rows:
            near = known & (t_out >= t_c - step_k / 2) & (t_out < t_c + step_k / 2)
            if not near.any():
                continue
            held, off_k = option.rh_setpoint_frac[near], t_out[near] - t_c
            level = held - off_k * (np.polyfit(off_k, held, 1)[0] if np.ptp(off_k) > 1.0 else 0.0)
            wide = np.ptp(level) > SETTING_SPREAD_FRAC
            nearest = held[np.abs(off_k) <= max(0.5, np.abs(off_k).min())]
            rh_set = float(level.min() if wide else np.median(nearest))
            values: dict[str, Any] = {
                "strategy": option.strategy,
                "t_out_c": float(t_c),
                "t_out_f": float(t_c * 1.8 + 32.0),
                "rh_set_frac": rh_set,
                # Half a per cent is rounded down, and all of it where the rule needs it.
                "rh_set_percent": int(np.floor(100.0 * rh_set + (0.0 if wide else 0.5) + 1e-9)),
                "rh_set_low_frac": float(held.min()),
                "rh_set_high_frac": float(held.max()),
                "hours": float(near.sum()),
            }
            for name, value in values.items():
                data[name].append(value)
    return tables.Table(columns=columns.SETTINGS, data=data)


def _interval(hours: Hours, repeats: int) -> dict[str, np.ndarray]:
    start = np.tile(hours.interval_start, repeats)
    return {"interval_start": start, "interval_end": start + np.timedelta64(1, "h")}


def _hourly_table(result: Comparison) -> tables.Table:
    hours, n = result.hours, result.case.n_hours
    rh_base = metrics.relative_humidity(hours, result.options[0].outcome.w_kg_kg)
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
                "rh_frac": metrics.relative_humidity(hours, out.w_kg_kg),
                "w_kg_kg": out.w_kg_kg,
                "w_end_kg_kg": out.w_end_kg_kg,
                "dew_point_c": metrics.dew_point(hours, out.w_kg_kg),
                "demand_kg": demand,
                "delivered_kg": out.added_kg,
                "shortfall_kg": demand - out.added_kg,
                "running_frac": out.running_frac,
                "feed_l": out.feed_kg,
                "drained_l": out.feed_kg - out.added_kg,
                "exchange_kg_s": hours.exchange_kg_s,
                "condensed_kg": out.condensed_kg.sum(axis=0),
                "fog_kg": out.fog_kg,
                "balance_error_kg": out.balance_error_kg,
                **{name: getattr(option.energy, name) for name in columns.HOURLY_ENERGY},
            }
        )
    repeats = len(result.options)
    return tables.Table(
        columns=columns.HOURLY,
        data={
            "option": tables.Repeated([o.name for o in result.options], n),
            **_interval(hours, repeats),
            **{name: np.concatenate([part[name] for part in parts]) for name in parts[0]},
            "heating_season": np.tile(hours.heating_season, repeats),
            "mechanical_cooling": np.tile(hours.cooling, repeats),
            "source_year": [None] * (n * repeats)
            if hours.source_year is None
            else np.tile(hours.source_year, repeats),
        },
    )


def _surfaces_hourly_table(result: Comparison) -> tables.Table:
    hours, n, faces = result.hours, result.case.n_hours, result.case.surfaces
    names = [o.name for o in result.options]
    condensed = []
    for option in result.options:
        taken = option.outcome.condensed_kg.copy()
        taken[[not face.area_m2 for face in faces]] = np.nan
        condensed.append(taken.ravel())
    return tables.Table(
        columns=columns.SURFACES_HOURLY,
        data={
            "option": tables.Repeated(names, n * len(faces)),
            "surface": tables.Repeated([face.name for face in faces], n, rounds=len(names)),
            **_interval(hours, len(names) * len(faces)),
            "t_surface_c": np.tile(hours.t_surface_c.ravel(), len(names)),
            "dew_margin_k": np.concatenate(
                [metrics.dew_margins(hours, o.outcome.w_kg_kg).ravel() for o in result.options]
            ),
            "condensed_kg": np.concatenate(condensed),
        },
    )


TABLES: dict[str, Callable[[Comparison], tables.Table]] = {
    "comparison": _comparison_table,
    "surfaces": _surfaces_table,
    "settings": _settings_table,
    "hourly": _hourly_table,
    "surfaces_hourly": _surfaces_hourly_table,
}
