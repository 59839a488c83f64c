"""CSV results (.csv) of the engine: as it writes them, or as its tool ReadVarsESO does.

A column is "KEY:Variable [unit](Frequency)", a key may have colons too, and the cells of coarser
series are blank. Rows have a month, a day and the end of the step, no year and no environment; the
.eio file beside the file tells which environments there are. ReadVarsESO writes one after the
other. The engine sorts all rows by month and day, and of equal stamps the last environment's stay.
"""

from __future__ import annotations

import re
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING

import numpy as np

from dewmargin.energyplus.eio import DescribedRun, Environment, read_eio
from dewmargin.energyplus.output_file import (
    AGAIN,
    ROW,
    RunPeriod,
    Series,
    decoded,
    is_sum,
    numbers,
)
from dewmargin.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from dewmargin.columns import BoolArray, IntArray

LONGEST_LINE = 2**24  # bytes: some 200 000 columns
ROWS_AT_ONCE = 1024

_ALL_DATES = 366  # days after which every date has been
_FIRST_DAY, _LAST_DAY = 101, 1231  # as 100 × month + day
_LEAP_DAY = np.array([229])
_FREQUENCIES = {"Hourly": "Hourly", "TimeStep": "Zone Timestep"}
_COLUMN = re.compile(
    r"(?P<key>.*):(?P<name>[^:]*?) ?\[(?P<unit>[^\]]*)\] ?"
    r"\((?P<often>[^():]*)(?::(?P<schedule>[^)]*))?\)"
)
_STAMP = re.compile(rb" *(\d{1,2})/(\d{1,2}) +(\d{1,2}):(\d{2})(?::\d{2})? *")
_OTHER_FORMATS = "give the run's eplusout.sql or eplusout.eso, which tell environments apart"


class CsvRun(DescribedRun):
    """An opened .csv file."""

    stamp = "line"

    def __init__(self, path: Path, file: IO[bytes]) -> None:
        self.file = file
        description = read_eio(path)
        header = file.readline(LONGEST_LINE).removeprefix(b"\xef\xbb\xbf")
        first, *titles = (decoded(title).strip() for title in header.split(b","))
        if first != "Date/Time" or not titles:
            raise InputError(
                "is no EnergyPlus .csv file: its first line does not begin with Date/Time,",
                file=path,
                hint="for another simulation's table use [space.table]",
            )
        self.n_columns = 1 + len(titles)
        self.start = file.tell()
        self.titles = dict(enumerate(titles, start=1))
        plain: list[tuple[Series, str]] = []
        switched: list[tuple[Series, str]] = []
        for index, title in self.titles.items():
            column = _COLUMN.fullmatch(title)
            if column is None:  # a meter, which has no key
                continue
            series = Series(
                index, column["name"].strip(), column["key"], column["unit"], is_sum(column["unit"])
            )
            often = _FREQUENCIES.get(column["often"], column["often"])
            (switched if column["schedule"] else plain).append((series, often))
        # Series that a schedule switches are incomplete: they come last and replace none.
        super().__init__(path, description, [*plain, *switched])
        if len(set(titles)) < len(titles):
            twice = next(title for place, title in self.titles.items() if title in titles[place:])
            raise InputError(f"has column {twice!r} twice", file=path, hint=AGAIN)

    def values(
        self, environment: RunPeriod, frequency: str, wanted: list[int]
    ) -> tuple[NDArray[np.void], IntArray]:
        """Return the rows of the wanted series in the run period, and its stamps."""
        found: list[NDArray[np.void]] = []
        stamps: list[tuple[int, int, int, int, int, int]] = []
        for first, lines in self._lines():
            cells: list[bytes] = []
            places: list[tuple[int, int]] = []
            for line, row in enumerate(lines, start=first):
                parts = row.split(b",")
                if len(parts) > self.n_columns:
                    raise InputError(
                        f"has {len(parts)} cells, the header {self.n_columns}",
                        file=self.path,
                        where=f"line {line}",
                        hint=AGAIN,
                    )
                of_step = [
                    (index, parts[index])
                    for index in wanted
                    if index < len(parts) and parts[index].strip()  # blank ones end a row
                ]
                if of_step:  # else a row of series of other frequencies
                    stamps.append(self._stamp(parts[0], line))
                    places += [(line, index) for index, _ in of_step]
                    cells += [cell for _, cell in of_step]
            found.append(self._rows(places, cells))
        all_stamps = np.array(stamps, dtype=np.int64).reshape(-1, 6)
        steps_per_day = 24 * (1 if frequency == "Hourly" else self.steps_per_hour)
        rows = np.concatenate(found) if found else np.empty(0, dtype=ROW)
        return rows, self._of(environment.index, all_stamps, steps_per_day)

    def _lines(self) -> Iterator[tuple[int, list[bytes]]]:
        """Yield some lines at a time, with the number of the first."""
        self.file.seek(self.start)
        first, lines = 2, list[bytes]()
        while line := self.file.readline(LONGEST_LINE):
            if len(line) == LONGEST_LINE:
                raise InputError(
                    f"is longer than {LONGEST_LINE >> 10} KB",
                    file=self.path,
                    where=f"line {first + len(lines)}",
                    hint=AGAIN,
                )
            if not line.endswith(b"\n"):
                self.unfinished = f"ends within line {first + len(lines)}"
            lines.append(line)
            if len(lines) == ROWS_AT_ONCE:
                yield first, lines
                first, lines = first + ROWS_AT_ONCE, []
        yield first, lines

    def _stamp(self, cell: bytes, line: int) -> tuple[int, int, int, int, int, int]:
        found = _STAMP.fullmatch(cell)
        if found is None:
            raise InputError(
                f"{decoded(cell[:40])!r} is no time of the form ' 01/31  24:00:00'",
                file=self.path,
                where=f"line {line}",
                hint="read the file as the engine wrote it, not as a spreadsheet saved it",
            )
        month, day, hour, minute = map(int, found.groups())
        return line, 0, month, day, hour, minute

    def _rows(self, places: list[tuple[int, int]], cells: list[bytes]) -> NDArray[np.void]:
        rows = np.empty(len(cells), dtype=ROW)
        where = np.array(places, dtype=np.int64).reshape(-1, 2)
        rows["time"], rows["series"] = where[:, 0], where[:, 1]
        rows["value"] = numbers(cells)
        if bad := np.flatnonzero(np.isnan(rows["value"])).tolist():
            line, index = places[bad[0]]
            raise InputError(
                f"must be a number, got {decoded(cells[bad[0]].strip()[:40])!r}",
                file=self.path,
                where=f"line {line}: {self.titles[index]}",
                hint=AGAIN,
            )
        return rows

    def _of(self, chosen: int, stamps: IntArray, steps_per_day: int) -> IntArray:
        """Return the stamps of an environment, with their years."""
        environment = self.description.environments[chosen]
        dates = 100 * stamps[:, 2] + stamps[:, 3]
        rows = self._one_after_another(chosen, dates, steps_per_day)
        if rows is None:
            self._require_no_other(chosen)
            rows = _inside(environment, dates)
        own = stamps[rows]
        if year := environment.first[2]:
            new_year = (dates[rows][1:] == _FIRST_DAY) & (dates[rows][:-1] == _LAST_DAY)
            own[:, 1] = year + np.cumsum([0, *new_year])[: len(own)]
        return own

    def _one_after_another(
        self, chosen: int, dates: IntArray, steps_per_day: int
    ) -> BoolArray | None:
        """Return which rows are the environment's, if each follows the one before in full.

        Of a single run period, rows may be missing: that is found later. Design days are absent
        where the run did not ask for them, or where the engine's sorting has lost them.
        """
        environments = self.description.environments
        several = sum(each.is_run_period for each in environments) > 1
        place, rows = 0, np.zeros(dates.size, dtype=np.bool_)
        for index, each in enumerate(environments):
            asked = each.days * steps_per_day
            inside = _inside(each, dates[place : place + asked])
            length = inside.size if inside.all() else int(np.argmin(inside))
            # A leap year's weather may lack 29 February.
            may_lack = steps_per_day * bool(each.is_run_period and _inside(each, _LEAP_DAY))
            whole = asked - length in (0, may_lack)
            absent = length == 0 and not each.is_run_period
            if index == chosen:
                rows[place : place + length] = True
                if length and dates[place] != _month_day(each.first):
                    return None
                whole |= not several
            if not (whole or absent):
                return None
            place += length
        return rows if place == dates.size else None

    def _require_no_other(self, chosen: int) -> None:
        """Raise unless the environment can be told by its dates in rows sorted by date."""
        environments = self.description.environments
        environment = environments[chosen]
        if _month_day(environment.first) > _month_day(environment.last):
            raise InputError(
                "is sorted by month and day, which breaks a run period over New Year",
                file=self.path,
                where=environment.name,
                hint=_OTHER_FORMATS,
            )
        for index, other in enumerate(environments):
            if index != chosen and other.is_run_period and _overlap(environment, other):
                raise InputError(
                    f"holds rows of run period {other.name} on the same dates, which cannot be "
                    "told apart",
                    file=self.path,
                    where=environment.name,
                    hint=_OTHER_FORMATS,
                )


def _month_day(date: tuple[int, int, int]) -> int:
    return 100 * date[0] + date[1]


def _inside(environment: Environment, dates: IntArray) -> BoolArray:
    """Return which dates, 100 × month + day, an environment has."""
    first, last = _month_day(environment.first), _month_day(environment.last)
    if environment.days >= _ALL_DATES:
        return np.ones(dates.shape, dtype=np.bool_)
    if first <= last:
        return (dates >= first) & (dates <= last)
    return (dates >= first) | (dates <= last)


def _overlap(one: Environment, other: Environment) -> bool:
    """Return whether two environments share a date."""
    dates = np.arange(_FIRST_DAY, _LAST_DAY + 1)
    return bool(np.any(_inside(one, dates) & _inside(other, dates)))


@contextmanager
def opened(path: Path) -> Iterator[CsvRun]:
    """Open a file for reading, and close it again."""
    with path.open("rb") as file:
        yield CsvRun(path, file)
