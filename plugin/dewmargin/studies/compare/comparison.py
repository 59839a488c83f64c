"""Every option of a scenario, side by side: the order of the work.

weather → space → strategies → demand → equipment on supplies → year numbers → verdict.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dewmargin.errors import ExtensionError, InputError
from dewmargin.reports import folder, notebook
from dewmargin.reports.csv import CsvTables
from dewmargin.reports.tables import frame
from dewmargin.scenario import Scenario, load
from dewmargin.scenario.visit import with_visit
from dewmargin.studies.compare.cautions import firings_end, warnings_of
from dewmargin.studies.compare.option import Option, Results, humidified, without_humidifier
from dewmargin.studies.compare.quality import RunQuality, quality
from dewmargin.studies.compare.tables import OF_ASSEMBLY, TABLES
from dewmargin.studies.compare.verdict import Limits, judge
from dewmargin.studies.options.engine import prepared
from dewmargin.studies.options.held import hold
from dewmargin.studies.options.record import about, inputs_sha256, units_told

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from dewmargin.case import HourlyCase
    from dewmargin.columns import Table
    from dewmargin.contracts import FeedWater, Report
    from dewmargin.site.site_file import SiteFile
    from dewmargin.studies.options.engine import Prepared
    from dewmargin.studies.options.held import Held
    from dewmargin.units import Units
    from dewmargin.weather.epw import Weather


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison(Results):
    """All options of a scenario, what to know of them, and which to choose.

    `chosen` is the option that the verdict names; None where none is needed or helps.
    """

    weather: Weather | None
    quality: RunQuality | None
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
        """One row an option; columns and units in `plugin/docs/columns.md`."""
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
                f"{self.quality.gap} against the departure used here."
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


def _compare(scenario: Scenario, weather: Weather | None, case: HourlyCase) -> Comparison:
    building = prepared(case, scenario.comfort)
    dry = without_humidifier(scenario, building)
    waters = [supply.feed_water(case) for supply in scenario.supplies]
    held = hold(building, scenario.strategies, scenario.control)
    options = [dry, *humidified(scenario, building, waters, held, dry.outcome)]
    found = quality(case, building.hours, rh_set=held[0].rh_set, departure=held[0].demand)
    verdict = judge(options, Limits.of(scenario.comfort, building.hours, scenario.tariff))
    return Comparison(
        scenario=scenario,
        weather=weather,
        case=case,
        hours=building.hours,
        options=tuple(options),
        quality=found,
        warnings=tuple(
            warnings_of(
                scenario,
                case,
                options,
                found,
                verdict.chosen,
                weather=weather,
                held=held,
                late=_late(scenario, building, waters, held, options, verdict.chosen),
            )
        ),
        verdict_sentences=verdict.sentences,
        chosen=verdict.chosen,
    )


def _late(
    scenario: Scenario,
    building: Prepared,
    waters: Sequence[FeedWater],
    held: Sequence[Held],
    options: Sequence[Option],
    chosen: Option | None,
) -> Option | None:
    """Return the chosen option at the other end of its plant's dead time, see `firings_end`."""
    case = firings_end(building.case)
    if chosen is None or chosen.strategy is None or case is None:
        return None
    (late,) = humidified(
        replace(
            scenario, equipment=tuple(e for e in scenario.equipment if e.name == chosen.equipment)
        ),
        replace(building, case=case),
        [water for water in waters if water.name == chosen.supply],
        [each for each in held if each.strategy.name == chosen.strategy],
        options[0].outcome,
    )
    return late
