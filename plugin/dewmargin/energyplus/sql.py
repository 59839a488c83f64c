"""SQLite results (.sql) of the engine.

Only base tables are read, and the values in one pass: they have no index.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.energyplus.output_file import (
    INTERVAL_TYPE,
    ROW,
    ReportedZone,
    Run,
    RunPeriod,
    Series,
    Surface,
    decoded,
)
from dewmargin.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from dewmargin.columns import IntArray

_TABLES = {
    "EnvironmentPeriods",
    "ReportData",
    "ReportDataDictionary",
    "Simulations",
    "Surfaces",
    "Time",
    "Zones",
}
_WEATHER_RUN = 3  # EnvironmentType of a run period; 1 and 2 are design days


class SqlRun(Run):
    """An opened SQLite file."""

    def __init__(self, path: Path, database: sqlite3.Connection) -> None:
        self.database = database
        found = {
            name
            for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        }
        if lacking := sorted(_TABLES - found):
            raise InputError(
                f"is no EnergyPlus results file: table {lacking[0]} is missing",
                file=path,
                hint="ask for it with Output:SQLite,SimpleAndTabular;",
            )
        steps = self._rows("SELECT NumTimestepsPerHour FROM Simulations")
        super().__init__(
            path,
            periods=[
                RunPeriod(int(index), str(name))
                for index, name in self._rows(
                    "SELECT EnvironmentPeriodIndex, EnvironmentName FROM EnvironmentPeriods "
                    "WHERE EnvironmentType = ? ORDER BY EnvironmentPeriodIndex",
                    _WEATHER_RUN,
                )
            ],
            zones=[
                ReportedZone(int(index), str(name), float(times) * float(list_times), float(volume))
                for index, name, times, list_times, volume in self._rows(
                    "SELECT ZoneIndex, ZoneName, Multiplier, ListMultiplier, Volume FROM Zones "
                    "ORDER BY ZoneIndex"
                )
            ],
            surfaces=[
                Surface(str(name), str(kind), float(area or 0.0), int(zone or 0), str(made or ""))
                for name, kind, area, zone, made in self._rows(
                    "SELECT SurfaceName, ClassName, Area, ZoneIndex, Constructions.Name "
                    "FROM Surfaces LEFT JOIN Constructions USING (ConstructionIndex) "
                    "ORDER BY SurfaceIndex"
                    if "Constructions" in found
                    else "SELECT SurfaceName, ClassName, Area, ZoneIndex, '' FROM Surfaces "
                    "ORDER BY SurfaceIndex"
                )
            ],
            steps_per_hour=int(steps[0][0]) if steps else 1,
            # Series that a schedule switches are incomplete: they come last and replace none.
            series=[
                (
                    Series(int(index), str(name), str(key), str(unit or ""), kind == "Sum"),
                    str(often),
                )
                for index, kind, key, name, often, unit in self._rows(
                    "SELECT ReportDataDictionaryIndex, Type, KeyValue, Name, ReportingFrequency, "
                    "Units FROM ReportDataDictionary WHERE IsMeter = 0 "
                    "ORDER BY ifnull(ScheduleName, '') <> '', ReportDataDictionaryIndex"
                )
            ],
            tables=self._tables() if {"TabularData", "Strings"} <= found else {},
        )

    def _rows(self, query: str, *values: object) -> list[Any]:
        return self.database.execute(query, values).fetchall()

    def _tables(self) -> dict[tuple[str, str], list[tuple[str, str]]]:
        """Return the initialisation report and the end uses.

        It is the view TabularDataWithStrings, taken apart: views of a stranger's file are not
        trusted.
        """
        tables: dict[tuple[str, str], list[tuple[str, str]]] = {}
        for table, row, column, value in self._rows(
            "SELECT t.Value, r.Value, c.Value, d.Value FROM TabularData AS d "
            "JOIN Strings AS t ON t.StringIndex = d.TableNameIndex "
            "JOIN Strings AS r ON r.StringIndex = d.RowNameIndex "
            "JOIN Strings AS c ON c.StringIndex = d.ColumnNameIndex "
            "JOIN Strings AS n ON n.StringIndex = d.ReportNameIndex "
            "WHERE n.Value = ? OR (n.Value = ? AND t.Value = ?) ORDER BY d.TabularDataIndex",
            "InitializationSummary",
            "AnnualBuildingUtilityPerformanceSummary",
            "End Uses",
        ):
            # "Latitude {N+/S- Deg}": units and choices are no part of the name.
            name = str(column).split(" {", 1)[0]
            tables.setdefault((str(table), name), []).append((str(row), str(value).strip()))
        return tables

    def values(
        self, environment: RunPeriod, frequency: str, wanted: list[int]
    ) -> tuple[NDArray[np.void], IntArray]:
        """Return the rows of the wanted series, and the stamps of the run period."""
        rows = np.fromiter(
            self.database.execute(
                "SELECT TimeIndex, ReportDataDictionaryIndex, Value FROM ReportData "
                "WHERE ReportDataDictionaryIndex IN (SELECT value FROM json_each(?)) "
                "AND TimeIndex IS NOT NULL AND Value IS NOT NULL",
                (json.dumps(wanted),),
            ),
            dtype=ROW,
        )
        # Design days come first in the file; warm-up hours are marked only beside finer series.
        stamps = np.array(
            self._rows(
                "SELECT TimeIndex, ifnull(Year, 0), Month, Day, Hour, Minute FROM Time "
                "WHERE EnvironmentPeriodIndex = ? AND IntervalType = ? "
                "AND ifnull(WarmupFlag, 0) = 0 ORDER BY TimeIndex",
                environment.index,
                INTERVAL_TYPE[frequency],
            ),
            dtype=np.int64,
        ).reshape(-1, 6)
        return rows, stamps


@contextmanager
def opened(path: Path) -> Iterator[SqlRun]:
    """Open a file for reading only, and close it again."""
    database = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
    with closing(database):
        database.text_factory = decoded
        # A file of unknown origin: nothing in its schema may run code, and pages are checked.
        database.execute("PRAGMA trusted_schema = OFF")
        database.execute("PRAGMA cell_size_check = ON")
        yield SqlRun(path, database)
