"""Initialisation report (.eio) of the engine, which tells what .eso and .csv files do not.

Zones, their volumes and multipliers, surfaces, environments with their dates, and the tables that
the SQLite file holds as its initialisation report. Numbers have two decimals here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dewmargin.energyplus.output_file import AGAIN, ReportedZone, Run, RunPeriod, Surface, decoded
from dewmargin.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from dewmargin.energyplus.output_file import Series

LARGEST_BYTES = 256 * 2**20  # some 100 bytes a surface: a million of them

_HEADER = re.compile(r"!\s*<(?P<table>[^>]*)>\s*,?(?P<columns>.*)")
_DATE = re.compile(r"(\d{1,2})/(\d{1,2})(?:/(\d{1,4}))?")
_RUN_PERIODS = {"WeatherFileRunPeriod", "WeatherRunPeriod"}
_SURFACES, _ZONE_OF_SURFACES = "HeatTransfer Surface", "Zone Surfaces"
_FACE_SERIES, _WINDOW_SERIES = "surface inside face temperature", "surface window "


@dataclass(frozen=True, slots=True)
class Environment:
    """A simulated stretch of time, in the order in which the engine ran it.

    Attributes
    ----------
    name : str
        As the engine writes it.
    is_run_period : bool
        False for design days and other sizing periods.
    first, last : (month, day, year)
        Its dates; year 0 is not told.
    days : int
        Days asked for.
    """

    name: str
    is_run_period: bool
    first: tuple[int, int, int]
    last: tuple[int, int, int]
    days: int


@dataclass(frozen=True, slots=True)
class Description:
    """What an .eio file tells."""

    path: Path
    environments: list[Environment]
    zones: list[ReportedZone]
    surfaces: list[Surface]
    steps_per_hour: int
    tables: dict[tuple[str, str], list[tuple[str, str]]]


def read_eio(results: Path) -> Description:
    """Read the .eio file of a results file.

    Parameters
    ----------
    results : Path
        The .eso or .csv file; the .eio file has the same name otherwise.

    Raises
    ------
    InputError
        If it is not there, or lacks zones, environments or the time step.
    """
    path = results.with_suffix(".eio")
    if not path.is_file():
        raise InputError(
            f"needs {path.name} beside it, which tells zones and run periods",
            file=results,
            hint="copy it from the run's folder, or give the run's eplusout.sql",
        )
    if path.stat().st_size > LARGEST_BYTES:
        raise InputError(f"is larger than {LARGEST_BYTES >> 20} MB", file=path)
    whole = decoded(path.read_bytes())
    if not whole.rstrip().endswith("End of Data"):
        raise InputError("does not end with 'End of Data'", file=path, hint=AGAIN)
    tables, surfaces = _tables(whole)
    try:
        return _described(path, tables, surfaces)
    except (KeyError, ValueError, IndexError, OverflowError) as error:
        raise InputError(
            f"does not tell zones, environments and time step as EnergyPlus does: {error}",
            file=path,
            hint="the file is damaged; run the simulation again",
        ) from error


def _tables(
    whole: str,
) -> tuple[dict[tuple[str, str], list[tuple[str, str]]], list[dict[str, str]]]:
    """Return all tables as the SQLite file has them, and the rows of surfaces with their zones."""
    tables: dict[tuple[str, str], list[tuple[str, str]]] = {}
    columns: dict[str, list[str]] = {}
    counts: dict[str, int] = {}
    surfaces: list[dict[str, str]] = []
    zone_of_surfaces = ""
    for line in whole.splitlines():
        if header := _HEADER.match(line.strip()):
            # "Volume {m3}": units and choices are no part of the name.
            names = [name.split(" {", 1)[0].strip() for name in header["columns"].split(",")]
            columns.setdefault(header["table"].strip(), names)
            continue
        table, *cells = (cell.strip() for cell in line.split(","))
        if table not in columns:
            continue
        row = dict(zip(columns[table], cells, strict=False))
        counts[table] = counts.get(table, 0) + 1
        if table == _ZONE_OF_SURFACES:
            zone_of_surfaces = row.get("Zone Name", "")
        elif table == _SURFACES:
            surfaces.append(row | {"zone": zone_of_surfaces})
        for column, cell in row.items():
            tables.setdefault((table, column), []).append((str(counts[table]), cell))
    return tables, surfaces


def _described(
    path: Path,
    tables: dict[tuple[str, str], list[tuple[str, str]]],
    surfaces: list[dict[str, str]],
) -> Description:
    def column(table: str, name: str) -> list[str]:
        return [value for _, value in tables[table, name]]

    zone = "Zone Information"
    zones = [
        ReportedZone(place, name, float(times) * float(list_times), float(volume))
        for place, (name, times, list_times, volume) in enumerate(
            zip(
                column(zone, "Zone Name"),
                column(zone, "Zone Multiplier"),
                column(zone, "Zone List Multiplier"),
                column(zone, "Volume"),
                strict=True,
            ),
            start=1,
        )
    ]
    indices = {zone.name.casefold(): zone.index for zone in zones}
    run = "Environment"
    return Description(
        path=path,
        environments=[
            Environment(name, kind in _RUN_PERIODS, _date(first), _date(last), int(float(days)))
            for name, kind, first, last, days in zip(
                column(run, "Environment Name"),
                column(run, "Environment Type"),
                column(run, "Start Date"),
                column(run, "End Date"),
                column(run, "Duration"),
                strict=True,
            )
        ],
        zones=zones,
        surfaces=[
            Surface(
                row["Surface Name"],
                row["Surface Class"],
                float(row["Area (Net)"]),
                indices.get(row["zone"].casefold(), 0),
                row.get("Construction", ""),
            )
            for row in surfaces
        ],
        steps_per_hour=_steps_per_hour(column("Timesteps per Hour", "#TimeSteps")[0]),
        tables=tables,
    )


def _steps_per_hour(cell: str) -> int:
    steps = int(cell)
    if not (1 <= steps <= 60 and 60 % steps == 0):  # noqa: PLR2004 - minutes
        raise ValueError(f"{steps} time steps an hour")
    return steps


def _date(cell: str) -> tuple[int, int, int]:
    found = _DATE.fullmatch(cell)
    if found is None:
        raise ValueError(f"{cell!r} is no date")
    month, day, year = found.groups()
    return int(month), int(day), int(year or 0)


class DescribedRun(Run):
    """A results file that needs an .eio file beside it."""

    def __init__(
        self, path: Path, description: Description, series: Iterable[tuple[Series, str]]
    ) -> None:
        self.description = description
        super().__init__(
            path,
            periods=[
                RunPeriod(place, environment.name)
                for place, environment in enumerate(description.environments)
                if environment.is_run_period
            ],
            zones=description.zones,
            surfaces=description.surfaces,
            steps_per_hour=description.steps_per_hour,
            series=series,
            tables=description.tables,
        )
        reported: dict[str, tuple[str, bool]] = {}
        for (name, _), by_key in self.dictionary.items():
            if name == _FACE_SERIES or name.startswith(_WINDOW_SERIES):
                for folded, one in by_key.items():
                    key, window = reported.get(folded, (one.key, False))
                    reported[folded] = (key, window or name.startswith(_WINDOW_SERIES))
        self._reports_surfaces = bool(reported)
        if not self.surfaces and len(self.zones) == 1:
            # In a building of one zone they are all its own.
            zone = self.zones[0].index
            self.surfaces = [
                Surface(key, "Window" if window else "", 0.0, zone)
                for key, window in reported.values()
            ]
        elif self.surfaces:
            listed = {surface.name.casefold() for surface in self.surfaces if surface.zone}
            if unlisted := [key for folded, (key, _) in reported.items() if folded not in listed]:
                raise InputError(
                    f"reports surface {unlisted[0]}, which {description.path.name} lists in no "
                    "zone",
                    file=path,
                    hint="the two files are of different runs, or damaged; run the simulation "
                    "again",
                )

    def notes(self, zones: list[ReportedZone]) -> list[str]:
        """Return the run's notes, and what its files leave open."""
        notes = [
            (
                f"read from {self.path.name}; zones, volumes and areas, in two decimals, from "
                f"{self.description.path.name}"
            ),
            *super().notes(zones),
        ]
        if not self.description.surfaces and self._reports_surfaces:
            lost = (
                "their areas" if len(self.zones) == 1 else "which zone they are in, so none is read"
            )
            notes.append(
                f"{self.description.path.name} lists no surfaces and so does not tell {lost}: add "
                "Output:Surfaces:List,Details; to the model"
            )
        return notes
