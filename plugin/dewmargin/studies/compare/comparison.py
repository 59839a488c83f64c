"""Every option of a scenario, side by side: the order of the work.

weather → space → strategies → demand → equipment on supplies → year numbers → verdict.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.errors import ExtensionError, InputError
from dewmargin.physics import air
from dewmargin.physics.assembly import RUNOFF_G_M2, Months, leak_condensation, screen
from dewmargin.reports import folder, notebook
from dewmargin.reports.csv import CsvTables
from dewmargin.reports.parquet import ParquetTables
from dewmargin.reports.tables import frame
from dewmargin.scenario import BASELINE, SEPARATOR, Scenario, load
from dewmargin.scenario.visit import with_visit
from dewmargin.solve import balance, energy, year
from dewmargin.solve.hours import hours_of, month_means
from dewmargin.solve.wetness import surface_hours
from dewmargin.strategies.control import shifted
from dewmargin.strategies.film_memory import while_wet
from dewmargin.strategies.peeking import looks_ahead
from dewmargin.studies.compare.option import Option, Results
from dewmargin.studies.compare.tables import OF_ASSEMBLY, TABLES
from dewmargin.studies.compare.verdict import Limits, judge

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray, FloatArray, Table
    from dewmargin.contracts import Capability, Equipment, FeedWater, Report, Strategy, WhileWet
    from dewmargin.physics.assembly import Assembly, WallYear
    from dewmargin.site.site_file import AsMeasured, SiteFile
    from dewmargin.solve.balance import Outcome
    from dewmargin.solve.hours import Hours
    from dewmargin.strategies.control import Control
    from dewmargin.units import Units
    from dewmargin.weather.epw import Weather

QUALITY_RMSE_KG_KG = 0.2e-3
QUALITY_GAP_FRAC = 0.05
MONTHS = 12
ANOTHER_HEIGHT_PA = 2000.0  # between a year's mean and the standard atmosphere: about 170 m; ours


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison(Results):
    """All options of a scenario, what to know of them, and which to choose.

    `chosen` is the option that the verdict names; None where none is needed or helps.
    """

    weather: Weather | None
    quality: Quality | None
    warnings: tuple[str, ...]
    verdict_sentences: tuple[str, ...]
    chosen: Option | None

    def __repr__(self) -> str:
        """Return title, extent and what to choose in two lines: no arrays."""
        return (
            f"<Comparison {self.scenario.title!r}: {len(self.options)} options, "
            f"{self.case.n_hours} hours\n {self.verdict_sentences[0]}>"
        )

    @property
    def verdict(self) -> str:
        """Which option, why, what it costs elsewhere, and what would change that."""
        return " ".join(self.verdict_sentences)

    def sentences(self, units: Units = "si") -> tuple[str, ...]:
        """Return the sentences of the verdict in a reader's units."""
        if units == "si":
            return self.verdict_sentences
        limits = Limits.of(self.scenario.comfort, self.hours, self.scenario.tariff)
        return judge(self.options, replace(limits, units=units)).sentences

    @property
    def comparison(self) -> pd.DataFrame:
        """One row an option; columns and units in the README."""
        return frame(self.table("comparison"))

    @property
    def surfaces(self) -> pd.DataFrame:
        """One row an option and surface."""
        return frame(self.table("surfaces"))

    @property
    def hourly(self) -> pd.DataFrame:
        """One row an option and hour."""
        return frame(self.table("hourly"))

    @property
    def settings(self) -> pd.DataFrame:
        """One row a strategy and outdoor temperature: what to set."""
        return frame(self.table("settings"))

    def summary_lines(self) -> list[str]:
        """Return what a reader must know beside the table: readings and warnings."""
        return self.readings() + [f"Note: {warning}" for warning in self.warnings]

    def readings(self) -> list[str]:
        """Return how the humidity is read, how far the balance closes, and a run's quality."""
        errors = [o.row["balance_error_kg"] or 0.0 for o in self.options]
        extent = "a whole year" if self.case.wraps else "a part of a year"
        reading = self.case.humidity_reading.replace("_", " ")
        lines = [
            f"Outdoor humidity read as {reading}; {self.case.n_hours} hours, {extent}.",
            f"Water balance closes to {max(errors):.1e} kg in every hour.",
        ]
        if self.quality is not None:
            lines.append(
                "Simulation check: a balance of its own flows reproduces its humidity within "
                f"{1000 * self.quality.w_rmse_kg_kg:.2f} g/kg and demands "
                f"{_percent(self.quality.demand_gap_frac)} against the departure used here."
            )
        return lines

    def table(self, name: str) -> Table:
        """Return a table of the results contract: a key of `TABLES`."""
        return TABLES[name](self)

    def tables(self) -> dict[str, Table]:
        """Return every table of the results contract that this scenario has, by name."""
        has_assembly = self.scenario.assembly is not None
        return {n: self.table(n) for n in TABLES if has_assembly or n not in OF_ASSEMBLY}

    def _repr_html_(self) -> str:
        """Return what a notebook shows: verdict, options, and what to set."""
        chosen = self.chosen
        settings = [] if chosen is None else [notebook.of_settings(chosen.strategy or "")]
        return notebook.fragment(
            self.scenario.title,
            self.verdict_sentences,
            {name: self.table(name) for name in ("comparison", "settings")},
            [notebook.OF_COMPARISON, *settings],
            chosen=None if chosen is None else chosen.name,
        )

    def about(self) -> dict[str, Any]:
        """Return what the manifest says of these results, besides their hashes.

        Raises
        ------
        InputError
            If a file that the space was read from cannot be read any more.
        """
        accepted = Limits.of(self.scenario.comfort, self.hours, self.scenario.tariff)
        return about(self.scenario, inputs_sha256(self.scenario, self.weather)) | {
            "verdict": self.verdict,
            "verdict_sentences": list(self.verdict_sentences),
            "verdict_sentences_ip": list(self.sentences("ip")),
            "chosen": None if self.chosen is None else self.chosen.name,
            "readings": self.readings(),
            "heating_season_h": accepted.season_h,
            "accepted": {
                "dry_h": accepted.dry_h,
                "extra_condensation_h": accepted.extra_condensation_h,
            },
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
        }

    def write(
        self, out: str | Path, *, hourly_csv: bool = False, units: Units = "si"
    ) -> list[Path]:
        """Write the files of all reports and, last, `manifest.json`; return them.

        The page and CSV are in `units`, Parquet in SI.

        Raises
        ------
        ExtensionError
            If a report's files cannot lie beside the others.
        OutputError
            If a file cannot be written.
        """
        reports = self.scenario.writers()
        about = self.about() | units_told(units)
        try:
            files = folder.files_of(
                _with_hours(reports) if hourly_csv else reports, self.tables(), about
            )
        except ExtensionError as error:
            raise self.scenario.placed(error) from error
        return folder.write_folder(Path(out), files, about=about)


def about(scenario: Scenario, inputs: Mapping[str, str]) -> dict[str, Any]:
    """Return what every manifest says: versions, scenario, hashes of the inputs."""
    return {
        "schema_version": folder.SCHEMA_VERSION,
        "versions": folder.versions(),
        "title": scenario.title,
        "scenario": scenario.resolved(),
        "given": [{"key": key, "value": value} for key, value in scenario.given()],
        "defaults": [
            {"key": key, "value": value, "source": source}
            for key, value, source in scenario.defaults()
        ],
        "inputs_sha256": dict(inputs),
        **({} if scenario.site is None else {"site": scenario.site.document()}),
    }


def units_told(units: Units) -> dict[str, Any]:
    """Return what a manifest says of the units of what people read; all else is SI."""
    return {"units": {"csv": units, "page": units}}


def write_tables(
    out: Path,
    tables: Mapping[str, Table],
    said: Mapping[str, Any],
    texts: Mapping[str, bytes] | None = None,
    *,
    units: Units = "si",
) -> list[Path]:
    """Write tables as Parquet and CSV, other files beside them, and last what the manifest says.

    CSV is in `units`, Parquet in SI.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    said = dict(said) | units_told(units)
    files = folder.files_of([ParquetTables(), CsvTables()], tables, said)
    return folder.write_folder(out, files | dict(texts or {}), about=said)


def inputs_sha256(scenario: Scenario, weather: Weather | None) -> dict[str, str]:
    """Return the hash of every input, by role and name.

    Raises
    ------
    InputError
        If a file that the space was read from cannot be read any more.
    """
    # Not by path: the same inputs give the same bytes wherever they lie.
    inputs = {f"scenario: {scenario.file.name}": scenario.sha256}
    if scenario.site is not None:
        inputs[f"site: {scenario.site.site.file.name}"] = scenario.site.site.sha256
    if weather is not None:
        inputs[f"weather: {Path(weather.file).name}"] = weather.sha256
    for path in scenario.space.files(scenario.file.parent):
        try:
            inputs[f"{scenario.space_kind}: {path.name}"] = folder.sha256(path)
        except OSError as error:
            raise InputError(f"cannot be read: {error.strerror}", file=path) from error
    return inputs


def _with_hours(reports: Sequence[Report]) -> list[Report]:
    """Return the reports with the hours among the CSV tables."""
    hourly = CsvTables(hourly=True)
    given = [hourly if isinstance(report, CsvTables) else report for report in reports]
    return given if hourly in given else [*given, hourly]


def compare(
    source: str | Path | Scenario, *, site: str | Path | SiteFile | None = None
) -> Comparison:
    """Compare every option of a scenario.

    Parameters
    ----------
    source : path or Scenario
        A scenario file, or what `dewmargin.scenario.load` returned.
    site : path or SiteFile, optional
        What was measured at a visit, in the place of what the scenario says.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        If an input is refused; the message names file and key or row.
    """
    scenario = source if isinstance(source, Scenario) else load(source)
    if site is not None:
        scenario = with_visit(scenario, site)
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
class Held:
    """What all equipment on all supplies share under one strategy.

    `rh_rule` is what the strategy sets in each hour, `rh_dry` what the sensor makes of it.
    """

    strategy: Strategy
    rh_set: FloatArray
    wet: WhileWet | None
    w_set: FloatArray
    demand: Outcome
    rh_rule: FloatArray
    rh_dry: FloatArray
    catch_up: BoolArray

    def capability(
        self, equipment: Equipment, case: HourlyCase, water: FeedWater, dry: Outcome
    ) -> Capability:
        """Return what an equipment on a supply can do for it; `dry` is the year without one."""
        return equipment.capability(
            case,
            water,
            w_base_kg_kg=np.repeat(dry.w_kg_kg, case.steps_per_hour),
            w_set_kg_kg=self.w_set,
            demand_kg_s=np.repeat(self.demand.added_kg / 3600.0, case.steps_per_hour),
        )


def _compare(scenario: Scenario, weather: Weather | None, case: HourlyCase) -> Comparison:
    comfort = scenario.comfort
    hours = hours_of(case, heating_season_below_c=comfort.heating_season_below_c)
    dry = _baseline(scenario, case, hours)
    waters = [supply.feed_water(case) for supply in scenario.supplies]
    held = [hold(strategy, scenario.control, case, hours) for strategy in scenario.strategies]
    options = [dry]
    options += [
        _option(scenario, case, hours, dry, each, equipment, water)
        for each in held
        for equipment in scenario.equipment
        for water in waters
    ]
    found = quality(case, hours, rh_set=held[0].rh_set, departure=held[0].demand)
    verdict = judge(options, Limits.of(comfort, hours, scenario.tariff))
    cautions = _wall_cautions(scenario.assembly, dry, verdict.chosen)
    return Comparison(
        scenario=scenario,
        weather=weather,
        case=case,
        hours=hours,
        options=tuple(options),
        quality=found,
        warnings=(*_of_site(scenario.site, case), *_warnings(case, options, found), *cautions),
        verdict_sentences=verdict.sentences,
        chosen=verdict.chosen,
    )


def _baseline(scenario: Scenario, case: HourlyCase, hours: Hours) -> Option:
    dry = balance.baseline(case)
    faces = surface_hours(case, hours, dry)
    row = year.comparison_row(
        hours,
        dry,
        faces,
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
        rh_rule_frac=None,
        demand_kg=None,
        able_kg=None,
        outcome=dry,
        surfaces=faces,
        energy=energy.energy_hours(case, dry, water_heater=None),
        row=dict(row)
        | year.energy_row(None)
        | {"cost": nothing, "co2_kg": nothing, "cycles": None},
        wall=_wall(scenario, hours, dry),
    )


def hold(strategy: Strategy, control: Control, case: HourlyCase, hours: Hours) -> Held:
    """Return what a strategy holds, and what that demands.

    Raises
    ------
    ExtensionError
        If it looks further ahead than it says.
    """
    seen = control.measured(case)
    rh_rule, wet = strategy.setpoint(seen), while_wet(strategy, seen)
    _require_no_peeking(strategy, seen, rh_rule, wet)
    rh_set = control.true_setpoint(case, rh_rule)
    if wet is not None:
        wet = replace(wet, rh_frac=control.true_setpoint(case, wet.rh_frac))
    demand = balance.demand(case, rh_set, wet=wet)
    off = hours.cooling & (not case.humidify_while_cooling)
    rh_hours = case.hourly_mean(rh_set)
    return Held(
        strategy=strategy,
        rh_set=rh_set,
        wet=wet,
        w_set=balance.setpoint_humidity_ratio(case, rh_set),
        demand=demand,
        rh_rule=np.where(off, np.nan, case.hourly_mean(rh_rule)),
        rh_dry=np.where(off, np.nan, rh_hours),
        catch_up=year.catch_up_hours(
            hours,
            _lowered_while_wet(case, rh_hours, wet, demand),
            starts_anew=not case.wraps,
            runs_while_cooling=case.humidify_while_cooling,
        ),
    )


def _lowered_while_wet(
    case: HourlyCase, rh_dry: FloatArray, wet: WhileWet | None, outcome: Outcome
) -> FloatArray:
    """Return the hours' set-points with what is held in those that begin with a wet surface."""
    if wet is None:
        return rh_dry
    counts = [surface.name in wet.surfaces for surface in case.surfaces]
    before = np.roll(outcome.film_kg_m2[counts], 1, axis=1)
    if not case.wraps:
        before[:, 0] = 0.0
    is_wet = np.any(before > 1e-3 * wet.above_g_m2, axis=0)
    lowered = np.where(np.isnan(rh_dry), np.nan, case.hourly_mean(wet.rh_frac))
    return np.where(is_wet, lowered, rh_dry)


def _option(
    scenario: Scenario,
    case: HourlyCase,
    hours: Hours,
    dry: Option,
    held: Held,
    equipment: Equipment,
    water: FeedWater,
) -> Option:
    capability = held.capability(equipment, case, water, dry.outcome)
    outcome, cycles = _deliver(scenario.control, case, held, capability)
    taken = energy.energy_hours(case, outcome, water_heater=water.heater)
    faces = surface_hours(case, hours, outcome)
    row = year.comparison_row(
        hours,
        outcome,
        faces,
        demand_kg=held.demand.added_kg,
        catch_up=held.catch_up,
        low_rh=scenario.comfort.low_rh,
        high_rh=scenario.comfort.high_rh,
    )
    bill = energy.bill(
        taken.year(),
        feed_kg=float(outcome.feed_kg.sum()),
        added_kg=float(outcome.added_kg.sum()),
        tariff=scenario.tariff,
        heater_carrier=None if water.heater is None else water.heater.carrier,
        plant_carrier=None if case.heat_source is None else case.heat_source.carrier,
    )
    return Option(
        name=SEPARATOR.join((held.strategy.name, equipment.name, water.name)),
        strategy=held.strategy.name,
        equipment=equipment.name,
        supply=water.name,
        rh_setpoint_frac=_lowered_while_wet(case, held.rh_dry, held.wet, outcome),
        rh_rule_frac=held.rh_rule,
        demand_kg=held.demand.added_kg,
        able_kg=3600.0
        * case.hourly_mean(
            capability.able_kg_s(np.repeat(outcome.w_kg_kg, case.steps_per_hour)),
        ),
        outcome=outcome,
        surfaces=faces,
        energy=taken,
        row=dict(row)
        | year.energy_row(taken)
        | {"cost": bill.cost, "co2_kg": bill.co2_kg, "cycles": cycles},
        wall=_wall(scenario, hours, outcome),
        notes=capability.notes,
        lacking=bill.lacking,
    )


def _deliver(
    control: Control, case: HourlyCase, held: Held, capability: Capability
) -> tuple[Outcome, float | None]:
    """Solve the year; where the humidity swings, again at its mean, and count the starts."""
    rh_set, wet = held.rh_set, held.wet
    outcome = balance.deliver(case, rh_set, capability, wet=wet)
    if not control.swings:
        return outcome, None
    offset = control.swing(case, rh_set, capability, outcome.added_kg).offset_rh
    rh_set = shifted(rh_set, offset)
    if wet is not None:
        wet = replace(wet, rh_frac=shifted(wet.rh_frac, offset))
    outcome = balance.deliver(case, rh_set, capability, wet=wet)
    starts_per_h = control.swing(case, rh_set, capability, outcome.added_kg).starts_per_h
    return outcome, float(starts_per_h.sum()) / case.steps_per_hour


def _wall(scenario: Scenario, hours: Hours, outcome: Outcome) -> WallYear | None:
    """Screen the scenario's assembly, if it has one, in the room's air of an outcome."""
    assembly = scenario.assembly
    if assembly is None:
        return None
    p_room = air.vapour_pressure(outcome.w_kg_kg, hours.p_pa)
    p_out = air.vapour_pressure(hours.w_out_kg_kg, hours.p_pa)
    t_room, t_out, *p_means = month_means(hours, hours.t_air_c, hours.t_out_c, p_room, p_out)
    if t_room.size != MONTHS:
        raise InputError(
            f"needs all 12 months, the space has {t_room.size}",
            where="assembly",
            hint="leave it out for a part of a year",
        )
    return screen(
        assembly,
        Months(t_room_c=t_room, t_out_c=t_out, p_room_pa=p_means[0], p_out_pa=p_means[1]),
        leak_condensation_h=leak_condensation(
            assembly, t_room_c=hours.t_air_c, t_out_c=hours.t_out_c, p_room_pa=p_room
        ),
    )


def _wall_cautions(assembly: Assembly | None, dry: Option, chosen: Option | None) -> list[str]:
    """Return what the screening says of the option chosen, or without one, and its limits."""
    option = chosen or dry
    if assembly is None or option.wall is None or dry.wall is None:
        return []
    found = option.wall
    inside = "nothing condenses inside by diffusion"
    if found.wettest is not None:
        most = float(found.held_g_m2[found.wettest].max())
        inside = (
            f"up to {most:.0f} g/m2 of water at '{found.planes.names[found.wettest]}' "
            f"({float(dry.wall.held_g_m2.max()):.0f} without humidifier)"
        )
        if most > RUNOFF_G_M2:
            inside += f", more than the {RUNOFF_G_M2:.0f} that stay without running off"
        inside += (
            ", which do not dry within the year: do not humidify it so"
            if found.stays_wet
            else ", dry again within the year"
        )
    return [
        (
            f"{assembly.name}, {option.name}: {inside}; room air that leaks out through it would "
            f"condense in {found.leak_condensation_h:.0f} h ({dry.wall.leak_condensation_h:.0f} "
            "without): close leaks before humidifying"
        ),
        (
            "the screening of the assembly is monthly and by diffusion alone (ISO 13788): air that "
            "leaks, rain, wicking, storage and sun are left out; it proves no wall sound"
        ),
    ]


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


def _of_site(site: AsMeasured | None, case: HourlyCase) -> list[str]:
    """Return that inputs are as measured, and whether the visit was at another height."""
    if site is None:
        return []
    keys = ", ".join(each.key for each in site.replaced)
    notes = [f"{site.head}: {keys}"]
    visit_pa, year_pa = site.site.measured.p_pa, float(case.p_pa.mean())
    if abs(visit_pa - year_pa) > ANOTHER_HEIGHT_PA:
        notes.append(
            f"the visit's elevation_m of {site.site.visit.elevation_m:g} m means "
            f"{1e-3 * visit_pa:.1f} kPa, the weather has {1e-3 * year_pa:.1f}: is it right?"
        )
    return notes


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
    simulated = case.hourly_mean(case.w_base_kg_kg)
    gap = balance.baseline(own).w_kg_kg - simulated
    rmse = float(np.sqrt(np.mean(gap[season] ** 2))) if season.any() else 0.0
    apart: float | None = None
    total = float(departure.added_kg[season].sum())
    if total > 0.0:
        apart = float(balance.demand(own, rh_set).added_kg[season].sum()) / total - 1.0
    large = rmse > QUALITY_RMSE_KG_KG or (apart is not None and abs(apart) > QUALITY_GAP_FRAC)
    return Quality(w_rmse_kg_kg=rmse, demand_gap_frac=apart, missing_flow=large)


def _require_no_peeking(
    strategy: Strategy, case: HourlyCase, rh_set: FloatArray, wet: WhileWet | None
) -> None:
    """Raise unless the first half's set-points follow from the first half and the horizon."""
    if looks_ahead(strategy, case, rh_set, wet, hours=case.n_hours // 2):
        raise ExtensionError(
            f"looks further ahead than its horizon_h of {strategy.horizon_h:g}",
            where=f"strategies[{strategy.name!r}]",
        )
