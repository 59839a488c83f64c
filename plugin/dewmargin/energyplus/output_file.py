"""Results files of the engine in any format: what they describe, whether they are whole.

`sql`, `eso` and `csv` read the formats; what is common to them is here. Time stamps
of the engine mark the end of an interval and are standard time all year; ours mark its start.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from dewmargin.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from numpy.typing import NDArray

    from dewmargin.columns import FloatArray, IntArray

# Reporting frequency: interval type in the SQLite file, of which -1 is shared with detailed steps.
INTERVAL_TYPE = {"Hourly": 1, "Zone Timestep": -1}
FORMATS = (".sql", ".eso", ".csv")  # in the order of preference
FULL_YEAR_DAYS = (365, 366)
AGAIN = "the run was cut off or the file is damaged; run the simulation again"
# One reported value: index of its time stamp, index of its series.
ROW = np.dtype([("time", np.int64), ("series", np.int64), ("value", np.float64)])
_SUMS = {"J", "kg", "m3", "hr"}  # units of amounts in an interval; rates and states have others
_NUMBER = re.compile(rb"\s*[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\s*")
_LONGEST_NUMBER = 40  # characters; the engine writes up to 24
_NOMINAL_YEAR, _NOMINAL_LEAP_YEAR = 2017, 2020
_LATITUDE_DEG = 45.0
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True, eq=False)
class Quantity:
    """What we want to know, under the names and in the units in which the engine may report it.

    Series of type "Sum" (J, kg) are divided by the step's length. A blank unit is accepted:
    the engine leaves some out.
    """

    names: dict[str, str]
    of_unit: bool = False  # keyed by an ideal-loads unit, and counting all multiples of its zone

    @property
    def asked_as(self) -> str:
        """The name to ask the engine for."""
        return next(iter(self.names))


@dataclass(frozen=True, slots=True)
class RunPeriod:
    """A run period."""

    index: int
    name: str


@dataclass(frozen=True, slots=True)
class ReportedZone:
    """A thermal zone, with how often the building has it."""

    index: int
    name: str
    multiplier: float
    volume_m3: float


@dataclass(frozen=True, slots=True)
class Series:
    """One line of the dictionary of reported series."""

    index: int
    name: str
    key: str
    unit: str
    is_sum: bool


class Surface(NamedTuple):
    """A surface of the building; area 0 is unknown, and so is construction ""."""

    name: str
    kind: str  # the engine's class of it
    area_m2: float
    zone: int  # index of its zone; 0: none
    construction: str = ""


class Run(ABC):
    """An opened results file: what it describes, and what it reports.

    Parameters
    ----------
    path : Path
        The file.
    periods : list of RunPeriod
        Its run periods, without design days.
    zones : list of ReportedZone
        The building's zones.
    surfaces : list of Surface
        Its surfaces.
    steps_per_hour : int
        Zone time steps.
    series : iterable of (Series, frequency)
        What is reported; of equal ones the first counts.
    tables : dict of (table, column) to list of (row, value)
        The initialisation report.
    """

    stamp = "Time"  # what an error calls a time stamp of the file
    unfinished: str | None = None  # how the file shows that its run has not ended, if it does

    def __init__(
        self,
        path: Path,
        *,
        periods: list[RunPeriod],
        zones: list[ReportedZone],
        surfaces: list[Surface],
        steps_per_hour: int,
        series: Iterable[tuple[Series, str]],
        tables: dict[tuple[str, str], list[tuple[str, str]]],
    ) -> None:
        self.path = path
        self.periods = periods
        self.zones = zones
        self.surfaces = surfaces
        self.steps_per_hour = steps_per_hour
        self.dictionary: dict[tuple[str, str], dict[str, Series]] = {}
        for one, frequency in series:
            place = self.dictionary.setdefault((one.name.casefold(), frequency), {})
            place.setdefault(one.key.casefold(), one)
        self.tables = tables

    @abstractmethod
    def values(
        self, environment: RunPeriod, frequency: str, wanted: list[int]
    ) -> tuple[NDArray[np.void], IntArray]:
        """Return what series of one frequency report in a run period.

        Parameters
        ----------
        environment : RunPeriod
            Which run period.
        frequency : str
            A key of `INTERVAL_TYPE`.
        wanted : list of int
            Indices of the series.

        Returns
        -------
        rows : array of ROW
            Values, in any order; of other periods too.
        stamps : int64 array, shape (n_stamps, 6)
            Time index, year (0 if not told), month, day, hour, minute of the interval's end, from
            1:00 to 24:00; warm-up and design days are not among them.
        """

    def cell(self, table: str, column: str) -> str | None:
        """Return the first value in a column of the initialisation report."""
        rows = self.tables.get((table, column), [])
        return rows[0][1] if rows else None

    @property
    def building(self) -> str | None:
        """The building's name."""
        return self.cell("Building Information", "Building Name")

    def latitude_deg(self, notes: list[str]) -> float:
        """Return the latitude of the site, in degrees; 45, with a note, if it is not told."""
        found = self.cell("Site:Location", "Latitude")
        if found is not None:
            return float(found)
        notes.append(f"the run does not tell its latitude; {_LATITUDE_DEG:g}° is taken")
        return _LATITUDE_DEG

    def moisture_multiplier(self, notes: list[str]) -> float:
        """Return the run's moisture capacity multiplier; 1, with a note, if it does not tell."""
        found = self.cell("Zone Volume Capacitance Multiplier", "Moisture Capacity Multiplier")
        if found is not None:
            return float(found)
        notes.append(
            "the run does not tell its moisture capacity multiplier; 1 is taken "
            "(Output:SQLite,SimpleAndTabular; writes it, moisture_capacity_multiplier sets it)"
        )
        return 1.0

    def days_asked(self, environment: RunPeriod) -> int | None:
        """Return the length of the run period that the model asked for, if the run tells it."""
        names = self.tables.get(("Environment", "Environment Name"), [])
        days = dict(self.tables.get(("Environment", "Duration"), []))
        for row, name in names:
            if name.casefold() == environment.name.casefold() and row in days:
                return int(float(days[row]))
        return None

    def notes(self, zones: list[ReportedZone]) -> list[str]:
        """Return what the reader of the report should know about how this run was made."""
        notes = []
        if len(zones) > 1:
            names = ", ".join(
                f"{zone.name} {zone.volume_m3:.0f} m³"
                + (f" × {zone.multiplier:g}" if zone.multiplier != 1.0 else "")
                for zone in zones
            )
            notes.append(f"zones joined into one space by volume: {names}")
        # The column is named "Value" up to version 8.8, "Algorithm" in 23.2 and later.
        solution = [
            value
            for column in ("Algorithm", "Value")
            for _, value in self.tables.get(("Zone Air Solution Algorithm", column), [])
        ]
        if "ThirdOrderBackwardDifference" in solution:
            notes.append(
                "the run used ThirdOrderBackwardDifference, which does not conserve water; "
                "ZoneAirHeatBalanceAlgorithm,AnalyticalSolution; does"
            )
        surfaces = self.tables.get(("Surface Heat Transfer Algorithm", "Value"), [])
        if any(value.startswith(("EMPD", "HAMT")) for _, value in surfaces):
            notes.append(
                "the run stored moisture in its surfaces, which the departure leaves out: "
                "demand after a change of set-point is too low"
            )
        return notes

    def reported(self) -> dict[str, str]:
        """Return the names of all reported variables, each with its frequencies."""
        found: dict[str, list[str]] = {}
        for (_, frequency), series in self.dictionary.items():
            found.setdefault(next(iter(series.values())).name, []).append(frequency)
        return {name: ", ".join(sorted(frequencies)) for name, frequencies in found.items()}

    def environment(self, wanted: str | None) -> RunPeriod:
        """Return the run period to read."""
        names = ", ".join(period.name for period in self.periods)
        if not self.periods:
            raise InputError(
                "holds design days only, no run period",
                file=self.path,
                hint='set "Run Simulation for Weather File Run Periods" to Yes and run again',
            )
        if wanted is None:
            if len(self.periods) > 1:
                raise InputError(
                    f"holds {len(self.periods)} run periods: {names}",
                    file=self.path,
                    hint=f'choose one: environment = "{self.periods[0].name}" in the scenario, or '
                    "--environment",
                )
            return self.periods[0]
        chosen = [p for p in self.periods if p.name.casefold() == wanted.casefold()]
        if len(chosen) != 1:
            what = f"has no run period {wanted!r}"
            if chosen:
                what = f"has {len(chosen)} run periods named {wanted!r}"
            raise InputError(what, file=self.path, where="environment", hint=f"there is: {names}")
        return chosen[0]

    def chosen_zones(self, wanted: list[str] | None, *, key: str = "zones") -> list[ReportedZone]:
        """Return the zones that a key of the scenario names; None: all of the building."""
        if wanted is None:
            chosen = self.zones
        else:
            by_name = {zone.name.casefold(): zone for zone in self.zones}
            for name in wanted:
                if name.casefold() not in by_name:
                    names = ", ".join(zone.name for zone in self.zones)
                    raise InputError(
                        f"has no zone {name!r}",
                        file=self.path,
                        where=key,
                        hint=f"there is: {names}",
                    )
            chosen = [by_name[name] for name in dict.fromkeys(name.casefold() for name in wanted)]
        if not chosen:
            raise InputError("no zone is chosen", file=self.path, where=key)
        for zone in chosen:
            if not zone.volume_m3 > 0.0 or not zone.multiplier > 0.0:
                raise InputError(
                    f"volume {zone.volume_m3:g} m³ times multiplier {zone.multiplier:g} "
                    "must be above 0",
                    file=self.path,
                    where=zone.name,
                )
        return chosen


class Picker:
    """Chooses series of one frequency, then reads all of them in one pass."""

    def __init__(self, run: Run, frequency: str) -> None:
        self.run = run
        self.frequency = frequency
        self.picked: dict[int, Series] = {}

    def _find(self, quantity: Quantity, key: str) -> Series | None:
        for name in quantity.names:
            found = self.run.dictionary.get((name.casefold(), self.frequency), {})
            if key.casefold() in found:
                return found[key.casefold()]
        return None

    def has(self, quantity: Quantity, key: str) -> bool:
        """Return whether the quantity is reported for this key."""
        return self._find(quantity, key) is not None

    def maybe(self, quantity: Quantity, key: str) -> Series | None:
        """Choose the series of a quantity for a zone, surface or site, if it is reported."""
        found = self._find(quantity, key)
        if found is None:
            return None
        wanted = next(u for n, u in quantity.names.items() if n.casefold() == found.name.casefold())
        if found.unit not in ("", wanted):
            raise InputError(
                f"is in {found.unit}, but {wanted} is expected",
                file=self.run.path,
                where=f"{found.key}: {found.name}",
            )
        self.picked[found.index] = found
        return found

    def one(self, quantity: Quantity, key: str) -> Series:
        """Choose a series that `Simulation._missing` has found to be there."""
        found = self.maybe(quantity, key)
        if found is None:
            raise InputError(f"does not report {quantity.asked_as}", file=self.run.path, where=key)
        return found

    def every(self, quantity: Quantity) -> list[Series]:
        """Choose the series of a quantity for all keys, each under the first of its names."""
        keys = {
            key
            for name in quantity.names
            for key in self.run.dictionary.get((name.casefold(), self.frequency), {})
        }
        found = [self.maybe(quantity, key) for key in sorted(keys)]
        return [series for series in found if series is not None]

    def read(self, environment: RunPeriod) -> Values:
        """Read the chosen series of a run period and check that they are whole."""
        run = self.run
        steps_per_hour = 1 if self.frequency == "Hourly" else run.steps_per_hour
        rows, stamps = run.values(environment, self.frequency, sorted(self.picked))
        stamps = stamps[np.isin(stamps[:, 0], rows["time"])]
        if not len(stamps):
            raise InputError(
                f"holds no values of the run period {environment.name}",
                file=run.path,
                hint="the run was cut off or failed; look into its .err file",
            )
        start = _interval_start(stamps, steps_per_hour, run)
        notes = _check_whole(start, steps_per_hour, run, environment)
        values = self._table(rows, stamps[:, 0], start)
        if run.unfinished:
            raise InputError(run.unfinished, file=run.path, hint=AGAIN)
        step_s = 3600.0 / steps_per_hour
        n_days = start.size // (24 * steps_per_hour)
        return Values(
            interval_start=start,
            steps_per_hour=steps_per_hour,
            n_days=n_days,
            by_index={
                index: column / step_s if self.picked[index].is_sum else column
                for index, column in values.items()
            },
            notes=notes,
        )

    def _table(
        self, rows: NDArray[np.void], times: IntArray, start: NDArray[np.datetime64]
    ) -> dict[int, FloatArray]:
        """Sort the rows into one column a series; each must have one finite value a step."""
        wanted = np.array(sorted(self.picked), dtype=np.int64)
        rows = rows[np.isin(rows["time"], times)]
        cell = np.searchsorted(wanted, rows["series"]) * times.size
        cell += np.searchsorted(times, rows["time"])
        count = np.bincount(cell, minlength=wanted.size * times.size)
        values = np.full(wanted.size * times.size, np.nan)
        values[cell] = rows["value"]
        for problem, text in (
            (count > 1, "more than one value"),
            (~np.isfinite(values), "no finite value"),
        ):
            by_series = problem.reshape(wanted.size, times.size)
            if bad := np.flatnonzero(by_series.any(axis=1)).tolist():
                series, hours = self.picked[int(wanted[bad[0]])], by_series[bad[0]]
                raise InputError(
                    f"has {text} in {np.count_nonzero(hours)} of {hours.size} steps, "
                    f"the first {_spoken(start[hours][0])}",
                    file=self.run.path,
                    where=f"{series.key}: {series.name}",
                    hint=AGAIN,
                )
        return dict(zip(wanted.tolist(), values.reshape(wanted.size, times.size), strict=True))


@dataclass(frozen=True, slots=True)
class Values:
    """The chosen series of a run period, as rates and states."""

    interval_start: NDArray[np.datetime64]
    steps_per_hour: int
    n_days: int
    by_index: dict[int, FloatArray]
    notes: list[str]

    def __getitem__(self, series: Series) -> FloatArray:
        """Return the values of a series."""
        return self.by_index[series.index]

    def total(self, terms: Iterable[tuple[float, Series | None]]) -> FloatArray:
        """Add series, each times its factor; what the run does not report is zero."""
        found = [factor * self[series] for factor, series in terms if series is not None]
        return sum(found, np.zeros(self.n_steps))

    @property
    def n_steps(self) -> int:
        """Number of steps."""
        return int(self.interval_start.size)


def decoded(raw: bytes) -> str:
    """Decode a text: names are written in the model file's own encoding."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def numbers(cells: list[bytes]) -> FloatArray:
    """Return plain numbers; NaN for any other text, also for those that `float` would take."""
    if max(map(len, cells), default=0) > _LONGEST_NUMBER:
        cells = [cell if len(cell) <= _LONGEST_NUMBER else b"" for cell in cells]
    # The common case is much faster: nothing but characters of numbers.
    if not b"".join(cells).translate(None, b"0123456789+-.eE \r"):
        try:
            return np.array(list(map(float, cells)), dtype=np.float64)
        except ValueError:
            pass
    return np.array([float(c) if _NUMBER.fullmatch(c) else np.nan for c in cells])


def is_sum(unit: str) -> bool:
    """Return whether a unit is one of amounts in an interval: .eso and .csv do not tell it."""
    return unit in _SUMS


def results_files(path: Path, given: str) -> tuple[Path, ...]:
    """Return the results file that a path means, if its run has ended well, and what describes it.

    Of a folder it is eplusout.sql, else eplusout.eso, else eplusout.csv.
    """
    if path.is_dir():
        inside = [path / f"eplusout{ending}" for ending in FORMATS]
        path = next((file for file in inside if file.is_file()), inside[0])
    if not path.is_file():
        raise InputError(
            "there is no such file",
            file=path,
            where=f"results = {given!r}",
            hint="give the run's eplusout.sql; Output:SQLite,SimpleAndTabular; writes it",
        )
    if path.suffix.casefold() not in FORMATS:
        raise InputError(
            f"is no {', '.join(FORMATS[:-1])} or {FORMATS[-1]} file",
            file=path,
            where=f"results = {given!r}",
            hint="give the run's eplusout.sql, or the folder it lies in",
        )
    for ending in ("-journal", "-wal"):
        if path.with_name(path.name + ending).exists():
            raise InputError(
                f"is unfinished: {path.name}{ending} lies beside it",
                file=path,
                hint="wait for the end of the simulation, or run it again",
            )
    end = path.with_suffix(".end")
    if end.exists():
        verdict = end.read_text(encoding="utf-8", errors="replace").strip()
        if "Completed Successfully" not in verdict:
            raise InputError(
                f"comes from a run that failed: {verdict}",
                file=path,
                hint=f"look into {path.with_suffix('.err').name}, mend the model and run it again",
            )
    elif path.with_suffix(".err").exists():
        raise InputError(
            f"is unfinished: there is {path.with_suffix('.err').name} but no {end.name}",
            file=path,
            hint="wait for the end of the simulation, or run it again",
        )
    if path.suffix.casefold() == FORMATS[0]:
        return (path,)
    return (path, path.with_suffix(".eio"))


def _interval_start(stamps: IntArray, steps_per_hour: int, run: Run) -> NDArray[np.datetime64]:
    """Turn the engine's stamps, which mark interval ends from 1:00 to 24:00, into starts.

    Parameters
    ----------
    stamps : int64 array, shape (n_steps, 6)
        Time index, year, month, day, hour, minute.
    steps_per_hour : int
        Reported steps in an hour.
    run : Run
        File, for the error.

    Returns
    -------
    datetime64[s] array, shape (n_steps,)
        Start of each step. The year is the run's own, unless it tells none or mixes them as
        typical weather does.
    """
    _, year, month, day, hour, minute = stamps.T
    end_min = 60 * hour + minute
    step_min = 60 // steps_per_hour
    leap = bool(np.any((month == 2) & (day == 29)))  # noqa: PLR2004 - 29 February
    new_year = np.diff(100 * month + day) < 0
    step_of_year = np.diff(year)
    own = np.all(year > 0) and (
        not np.any(step_of_year) or np.array_equal(step_of_year, new_year.astype(np.int64))
    )
    nominal = np.full_like(year, _NOMINAL_LEAP_YEAR if leap else _NOMINAL_YEAR)
    months = ((12 * ((year if own else nominal) - 1970)) + month - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + (day - 1)
    sound = (month >= 1) & (month <= 12) & (days.astype("datetime64[M]") == months)  # noqa: PLR2004
    sound &= (end_min >= step_min) & (end_min <= 24 * 60) & (end_min % step_min == 0)
    if bad := np.flatnonzero(~sound).tolist():
        index = bad[0]
        raise InputError(
            f"month {month[index]}, day {day[index]}, {hour[index]}:{minute[index]:02d} "
            f"is no end of a step of {step_min} min",
            file=run.path,
            where=f"{run.stamp} {stamps[index, 0]}",
        )
    start = days.astype("datetime64[m]") + (end_min - step_min)
    return np.asarray(start, dtype="datetime64[s]")


def _check_whole(
    start: NDArray[np.datetime64], steps_per_hour: int, run: Run, environment: RunPeriod
) -> list[str]:
    """Refuse doubled, missing and cut-off hours; return a note on a run that is not a year."""
    step = np.timedelta64(60 // steps_per_hour, "m")
    first, last = _spoken(start.min()), _spoken(start.max())
    gap = np.diff(start)
    if backward := np.flatnonzero(gap <= np.timedelta64(0, "m")).tolist():
        doubled = start.size - np.unique(start).size
        raise InputError(
            f"has {doubled} doubled steps between {first} and {last}, "
            f"the order breaks at {_spoken(start[backward[0] + 1])}",
            file=run.path,
            where=environment.name,
            hint="warm-up days may be among them: remove ReportDuringWarmup and run again",
        )
    # A weather file without 29 February, run in a leap year, lacks nothing.
    after = start[1:]
    at_1_march = (after == after.astype("datetime64[M]")) & (
        after.astype("datetime64[M]").astype(np.int64) % 12 == 2  # noqa: PLR2004 - March
    )
    leap_day = at_1_march & (gap == step + np.timedelta64(1, "D"))
    holes = np.flatnonzero((gap > step) & ~leap_day).tolist()
    if holes:
        missing = int(np.sum(gap[holes] // step - 1))
        raise InputError(
            f"lacks {missing} steps between {first} and {last}, "
            f"the first {_spoken(start[holes[0]] + step)}",
            file=run.path,
            where=environment.name,
            hint=AGAIN,
        )
    midnight = start.astype("datetime64[D]")
    n_days = start.size // (24 * steps_per_hour)
    asked = run.days_asked(environment)
    short = asked is not None and n_days + int(np.count_nonzero(leap_day)) < asked
    if (
        start[0] != midnight[0]
        or start[-1] + step != midnight[-1] + np.timedelta64(1, "D")
        or short
    ):
        of = f" of {asked}" if asked is not None else ""
        raise InputError(
            f"is cut off: it holds {start.size / (24 * steps_per_hour):.4g}{of} days, "
            f"from {first} to {last}",
            file=run.path,
            where=environment.name,
            hint=AGAIN,
        )
    if n_days in FULL_YEAR_DAYS:
        return []
    kind = "partial run" if n_days < min(FULL_YEAR_DAYS) else "longer than a year"
    note = f"{kind}: {n_days} days, from {first} to {last}; it starts at the run's own humidity"
    return [note]


def _spoken(start: np.datetime64) -> str:
    """Name the hour as the engine counts it: 1 to 24, each at its end."""
    month = int(start.astype("datetime64[M]").astype(np.int64)) % 12
    day = int((start.astype("datetime64[D]") - start.astype("datetime64[M]")).astype(np.int64)) + 1
    hour = int((start - start.astype("datetime64[D]")) // np.timedelta64(1, "h")) + 1
    return f"{day} {_MONTHS[month]} hour {hour}"
