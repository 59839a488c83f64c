"""Tables of any other simulation, CSV or Parquet, as an HourlyCase: names, units are mapped."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches
from itertools import islice
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from dewmargin import columns
from dewmargin.case import HourlyCase, SurfaceYear
from dewmargin.columns import Column
from dewmargin.energyplus.output_file import FULL_YEAR_DAYS, decoded, numbers
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs, quantity
from dewmargin.physics import air
from dewmargin.space.plant import OwnPlant

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from dewmargin.columns import FloatArray, IntArray

LONGEST_LINE = 2**20  # bytes
MOST_ROWS = 60 * 8784 * 2  # two years of minutes

_COOLING_SHARE = 0.01  # a step counts as cooled above this share of sensible heat moved
_LATITUDE_DEG = 45.0
_TIME = re.compile(
    r"\s*(\d{4})[-/](\d{1,2})[-/](\d{1,2})[ T]+(\d{1,2}):(\d{2})(?::(\d{2})(?:\.0*)?)?\s*"
)
_FACES = "faces"  # the key in `units` for all of them


@dataclass(frozen=True, slots=True)
class _ColumnQuantity:
    """What a column can hold, its unit for the conversion, and the range of a sound value."""

    column: Column
    unit: str


_RH_RANGE = (0.0, 1.1)
_QUANTITIES = {
    each.column.name: each
    for each in (
        _ColumnQuantity(columns.T_OUT, "degC"),
        _ColumnQuantity(columns.W_OUT, "dimensionless"),
        _ColumnQuantity(
            Column("rh_out_frac", "1", "outdoor humidity", *_RH_RANGE), "dimensionless"
        ),
        _ColumnQuantity(
            Column("dew_out_c", "°C", "outdoor dew or frost point", -90.0, 70.0), "degC"
        ),
        _ColumnQuantity(columns.PRESSURE, "Pa"),
        _ColumnQuantity(columns.T_AIR, "degC"),
        _ColumnQuantity(
            Column("w_kg_kg", "kg/kg", "room humidity ratio", 0.0, 0.2), "dimensionless"
        ),
        _ColumnQuantity(
            Column("rh_frac", "1", "room relative humidity", *_RH_RANGE), "dimensionless"
        ),
        _ColumnQuantity(columns.EXCHANGE, "kg/s"),
        _ColumnQuantity(Column("exchange_m3_h", "m³/h", "outdoor air", 0.0, 4e7), "m**3/hour"),
        _ColumnQuantity(Column("exchange_ach", "1/h", "outdoor air changes", 0.0, 1e3), "1/hour"),
        _ColumnQuantity(columns.SOURCE, "kg/s"),
        _ColumnQuantity(columns.HEATING, "W"),
        _ColumnQuantity(Column("cooling_w", "W", "sensible heat taken out", 0.0, 1e9), "W"),
        _ColumnQuantity(Column("wind_m_s", "m/s", "wind at the weather station", 0.0, 60.0), "m/s"),
        _ColumnQuantity(Column("t_sky_c", "°C", "sky temperature", -120.0, 60.0), "degC"),
    )
}
_FACE = _ColumnQuantity(
    Column("t_surface_c", "°C", "inside face temperature", -70.0, 100.0), "degC"
)
_OUTDOOR_HUMIDITY = ("w_out_kg_kg", "rh_out_frac", "dew_out_c")
_ROOM_HUMIDITY = ("w_kg_kg", "rh_frac")
_EXCHANGE = ("exchange_kg_s", "exchange_m3_h", "exchange_ach")


class HourlyTable(Inputs):
    """The hours of a simulation without humidifier, from a table that another program wrote."""

    file: str = Field(description="The table, .csv or .parquet, seen from the scenario")
    columns: dict[str, str] = Field(
        description="Names in the table by ours: time; t_out_c; w_out_kg_kg, rh_out_frac or "
        "dew_out_c (over ice below 0 °C); p_pa; t_air_c; w_kg_kg or rh_frac; exchange_kg_s, "
        "exchange_m3_h or exchange_ach, outdoor air after latent recovery; and, if there is, "
        "gains_kg_s (moisture released), heating_w, cooling_w (sensible heat, not negative), "
        "wind_m_s, t_sky_c (for the outside of windows)"
    )
    units: dict[str, str] = Field(
        default={},
        description='Units in the table by our names, such as t_air_c = "degF", rh_frac = '
        '"percent"; "faces" is for all faces; default: the unit that our name ends in',
    )
    faces: dict[str, str] = Field(
        default={},
        description="Inside faces that can sweat: a name for each, and the column of its "
        "temperature; default: none",
    )
    start: datetime | None = Field(
        None,
        description="Start of the first row, local standard time, for a table without a column of "
        "times",
    )
    steps_per_hour: Literal[1, 2, 3, 4, 5, 6, 10, 12, 15, 20, 30, 60] = Field(
        1, description="Rows in an hour, for a table without a column of times; default: 1"
    )
    label: Literal["start", "end"] | None = Field(
        None,
        description="Whether a time marks the start or the end of its row's interval; a column of "
        "times needs it",
    )
    volume_m3: Annotated[float, Field(gt=0.0)] = Field(description="Volume of room air")
    moisture_capacity_multiplier: Annotated[float, Field(gt=0.0)] = Field(
        1.0,
        description="Moisture the simulation stored in the space, as a multiple of what its air "
        "holds; default: 1",
    )
    elevation_m: Annotated[float, Field(ge=-500.0, le=6000.0)] | None = Field(
        None, description="Height above sea level, for the standard pressure, in the place of p_pa"
    )
    exchange_at: Literal["outdoor", "room"] | None = Field(
        None,
        description="Whether exchange_m3_h or exchange_ach is counted at the density of outdoor or "
        "of room air, which differ by 10 to 20 % in winter; they need it",
    )
    latitude_deg: Annotated[float, Field(ge=-90.0, le=90.0)] | None = Field(
        None, description="For the season of the mains; default: the weather's, else 45"
    )
    heating: OwnPlant | None = Field(
        None,
        description="Heating plant that brings heating_w; default: heat without limit and without "
        "ducts",
    )
    humidify_while_cooling: bool = Field(
        False,  # noqa: FBT003 - pydantic takes the default first
        description="Humidify in hours of mechanical cooling too; default: no",
    )
    separator: Literal[",", ";", "\t"] = Field(
        ",", description="What parts the cells of a .csv file; default: a comma"
    )
    decimal: Literal[".", ","] = Field(
        ".", description="Decimal mark of a .csv file; default: a point"
    )

    @model_validator(mode="after")
    def _uses_our_names(self) -> Self:
        """Refuse names that are not ours, and units of what is not named."""
        for key, names, allowed in (
            ("columns", self.columns, ["time", *_QUANTITIES]),
            ("units", self.units, [*_QUANTITIES, _FACES]),
        ):
            for name in names:
                if name not in allowed:
                    near = get_close_matches(name, allowed, n=1)
                    guess = f"did you mean {near[0]}? " if near else ""
                    raise ValueError(
                        f"{key} has no {name!r}: {guess}it may name {', '.join(allowed)}"
                    )
        for name in self.units:
            if name not in self.columns and not (name == _FACES and self.faces):
                raise ValueError(f"units has {name}, which columns does not name")
        return self

    @model_validator(mode="after")
    def _names_what_is_needed(self) -> Self:
        """Refuse a table that lacks a quantity or has it twice."""
        for choice in (("t_out_c",), _OUTDOOR_HUMIDITY, ("t_air_c",), _ROOM_HUMIDITY, _EXCHANGE):
            named = [name for name in choice if name in self.columns]
            if len(named) != 1:
                got = " and ".join(named) or "none"
                raise ValueError(f"columns must name one of {', '.join(choice)}, got {got}")
        if ("p_pa" in self.columns) == (self.elevation_m is not None):
            raise ValueError("give either columns.p_pa or elevation_m")
        if "exchange_kg_s" not in self.columns and self.exchange_at is None:
            raise ValueError(
                "a volume flow needs exchange_at: is it counted at the density of outdoor or of "
                "room air?"
            )
        if self.heating is not None and "heating_w" not in self.columns:
            raise ValueError("heating needs columns.heating_w")
        if self.separator == self.decimal:
            raise ValueError("separator and decimal must differ")
        return self

    @model_validator(mode="after")
    def _knows_its_times(self) -> Self:
        """Refuse a table whose hours cannot be told, or are told twice."""
        if ("time" in self.columns) == (self.start is not None):
            raise ValueError("give either columns.time or start")
        if (self.label is None) == ("time" in self.columns):
            raise ValueError(
                "columns.time needs label: do the times mark the start or the end of their rows?"
                if self.label is None
                else "label is about columns.time, which is not named"
            )
        if "time" in self.columns and "steps_per_hour" in self.model_fields_set:
            raise ValueError("steps_per_hour is told by columns.time: leave it out")
        if self.start is not None and self.start.tzinfo is not None:
            raise ValueError("start must be local standard time, without an offset")
        return self

    def case(self, *, weather: object | None, folder: Path) -> HourlyCase:
        """Read the table and return it as a case.

        Parameters
        ----------
        weather : object or None
            The scenario's weather, for its latitude only: the air outdoors is the table's own.
        folder : Path
            Folder of the scenario, from which `file` is seen.

        Returns
        -------
        HourlyCase
            A departure from the table's humidity.

        Raises
        ------
        InputError
            If the table cannot be read, lacks a column, or holds a value that cannot be right; the
            message names the column and the line.
        """
        (path,) = self.files(folder)
        named = {**self.columns, **{f"faces.{name}": column for name, column in self.faces.items()}}
        sheet = _read(path, named, separator=self.separator, decimal=self.decimal)
        start, steps_per_hour = self._intervals(sheet)
        n_days = start.size // (24 * steps_per_hour)
        found = {
            name: self._values(sheet, name, _QUANTITIES[name], name)
            for name in self.columns
            if name != "time"
        }
        t_out, t_air = found["t_out_c"], found["t_air_c"]
        pressure = found.get("p_pa")
        if pressure is None:
            pressure = np.full(start.size, air.standard_pressure(self.elevation_m or 0.0))
        reading, w_out = _outdoor_humidity(found, t_out, pressure)
        w_air = found.get("w_kg_kg")
        if w_air is None:
            w_air = air.humidity_ratio_at_rh(t_air, found["rh_frac"], pressure)
        density = air.dry_air_density(t_air, w_air, pressure)
        at_outdoor = self.exchange_at == "outdoor"
        nothing = np.zeros(start.size)
        heating_w, cooling_w = found.get("heating_w", nothing), found.get("cooling_w", nothing)
        notes = self._notes()
        if n_days not in FULL_YEAR_DAYS:
            notes.append(
                f"{n_days} days from {start[0].astype('datetime64[D]')}, not a year; the departure "
                "starts at the table's own humidity"
            )
        return HourlyCase(
            title=f"table {path.name}",
            departure=True,
            interval_start=start,
            t_out_c=t_out,
            w_out_kg_kg=w_out,
            p_pa=pressure,
            t_air_c=t_air,
            exchange_kg_s=self._exchange(
                found, air.dry_air_density(t_out, w_out, pressure) if at_outdoor else density
            ),
            w_base_kg_kg=w_air,
            gains_kg_s=found.get("gains_kg_s", nothing),
            heating_w=heating_w,
            cooling=cooling_w > _COOLING_SHARE * (heating_w + cooling_w),
            dry_air_kg=self.moisture_capacity_multiplier * self.volume_m3 * float(np.mean(density)),
            wraps=n_days in FULL_YEAR_DAYS,
            latitude_deg=self._latitude_deg(weather, notes),
            humidity_reading=reading,
            simulated_surfaces={
                name: SurfaceYear(
                    name=name, t_surface_c=self._values(sheet, f"faces.{name}", _FACE, _FACES)
                )
                for name in self.faces
            },
            air_system=None
            if self.heating is None
            else self.heating.air_system(
                heating_w=heating_w, t_air_c=t_air, w_kg_kg=w_air, p_pa=pressure, t_out_c=t_out
            ),
            heat_source=None
            if self.heating is None
            else self.heating.heat_source(heating_w=heating_w, t_out_c=t_out),
            notes=(*notes, *(() if self.heating is None else self.heating.notes)),
            humidify_while_cooling=self.humidify_while_cooling,
            steps_per_hour=steps_per_hour,
            wind_m_s=found.get("wind_m_s"),
            t_sky_c=found.get("t_sky_c"),
        )

    def files(self, folder: Path) -> tuple[Path, ...]:
        """Return the table, for the record of inputs."""
        return (folder / self.file,)

    def _notes(self) -> list[str]:
        """Return what is assumed where the table does not tell."""
        notes = ["whether the simulation humidified is not known, it is taken as free"]
        if "gains_kg_s" not in self.columns:
            notes.append(
                "no moisture gains in the table; the direct balance that checks the departure "
                "lacks them"
            )
        if "cooling_w" not in self.columns:
            notes.append("hours of mechanical cooling are not known: name columns.cooling_w")
        if "moisture_capacity_multiplier" not in self.model_fields_set:
            notes.append("the moisture capacity multiplier of the simulation is taken as 1")
        return notes

    def _exchange(self, found: dict[str, FloatArray], density_kg_m3: FloatArray) -> FloatArray:
        """Return the outdoor air as a flow of dry air. [kg/s]."""
        if "exchange_kg_s" in found:
            return found["exchange_kg_s"]
        if "exchange_m3_h" in found:
            return found["exchange_m3_h"] / 3600.0 * density_kg_m3
        return self.volume_m3 * found["exchange_ach"] / 3600.0 * density_kg_m3

    def _latitude_deg(self, weather: object | None, notes: list[str]) -> float:
        for found in (self.latitude_deg, getattr(weather, "latitude_deg", None)):
            if found is not None:
                return float(found)
        notes.append(f"the table does not tell its latitude; {_LATITUDE_DEG:g}° is taken")
        return _LATITUDE_DEG

    def _values(
        self, sheet: _FoundColumns, name: str, what: _ColumnQuantity, key: str
    ) -> FloatArray:
        """Return a column in our unit, checked."""
        values = sheet.numbers(name)
        unit = self.units.get(key)
        if unit is not None:
            low, high = (_converted(f"{n} {unit}", what.unit, key, sheet.path) for n in (0, 100))
            values = low + (high - low) / 100.0 * values
        column = what.column
        outside = np.flatnonzero((values < column.low) | (values > column.high))
        if outside.size:
            row = int(outside[0])
            raise sheet.error(
                row,
                name,
                f"must be between {column.low:g} and {column.high:g} {column.unit}".removesuffix(
                    " 1"
                )
                + f", got {values[row]:g}",
                f'set its unit if it is another: units = {{ {key} = "..." }}',
            )
        return values

    def _intervals(self, sheet: _FoundColumns) -> tuple[NDArray[np.datetime64], int]:
        """Return the start of each row's interval, and how many there are in an hour."""
        if self.start is not None:
            first = np.datetime64(self.start, "s")
            step = np.timedelta64(3600 // self.steps_per_hour, "s")
            start = first + step * np.arange(sheet.n_rows)
            _require_days(start, step, sheet)
            last = start[-1].astype("datetime64[D]")
            if sheet.n_rows == 365 * 24 * self.steps_per_hour and str(last)[5:] == "12-30":
                raise InputError(
                    f"365 days from {first.astype('datetime64[D]')} end on {last}, "
                    "for that year has 29 February",
                    file=sheet.path,
                    where="start",
                    hint="take the start of another year, such as 2017-01-01",
                )
            return start, self.steps_per_hour
        times = sheet.times("time")
        if times.size < 2:  # noqa: PLR2004 - a step lies between two
            raise InputError("holds less than two rows", file=sheet.path)
        gaps = np.diff(times)
        step = gaps[0]
        step_s = int(step.astype(np.int64))
        if step_s < 60 or 3600 % step_s:  # noqa: PLR2004 - seconds
            raise sheet.error(
                1, "time", f"comes {step_s / 60:g} min after the row before; an hour must be a "
                "multiple of the step",
            )  # fmt: skip
        start = times if self.label == "start" else times - step
        # A leap year's weather may lack 29 February.
        after = start[1:]
        march = after == after.astype("datetime64[Y]").astype("datetime64[M]") + 2
        lacks_leap_day = march & (gaps == step + np.timedelta64(1, "D"))
        wrong = np.flatnonzero((gaps != step) & ~lacks_leap_day).tolist()
        if wrong:
            row = wrong[0] + 1
            raise sheet.error(
                row,
                "time",
                f"comes {int(gaps[wrong[0]].astype(np.int64)) / 60:g} min after the row before, "
                f"the first rows are {step_s / 60:g} min apart",
                "rows are missing, doubled or out of order; times must be standard time all year; "
                "for a typical year of several years' months use start instead of columns.time",
            )
        _require_days(start, step, sheet)
        return start, 3600 // step_s


def _outdoor_humidity(
    found: dict[str, FloatArray], t_out_c: FloatArray, p_pa: FloatArray
) -> tuple[str, FloatArray]:
    """Return how outdoor humidity was read, and the humidity ratio."""
    if "rh_out_frac" in found:
        rh_frac = np.minimum(found["rh_out_frac"], 1.0)
        return "relative_humidity", air.humidity_ratio_at_rh(t_out_c, rh_frac, p_pa)
    if "dew_out_c" in found:
        return "frost_point", air.saturated_humidity_ratio(found["dew_out_c"], p_pa)
    return "humidity_ratio", found["w_out_kg_kg"]


def _converted(text: str, unit: str, key: str, path: Path) -> float:
    try:
        return quantity(text.replace("%", "percent"), unit)
    except ValueError as error:
        what = text.split(" ", 1)[1]
        plain = unit.replace("**", "").replace("dimensionless", "a fraction or kg/kg")
        raise InputError(
            f"{what!r} is no unit that can be turned into {plain}", file=path, where=f"units.{key}"
        ) from error


def _require_days(
    start: NDArray[np.datetime64], step: np.timedelta64, sheet: _FoundColumns
) -> None:
    """Raise unless the rows are whole days from midnight to midnight."""
    if start.size:
        end = start[-1] + step
        if start[0] == start[0].astype("datetime64[D]") and end == end.astype("datetime64[D]"):
            return
        what = f"runs from {start[0]} to {end}"
    else:
        what = "holds no rows"
    raise InputError(
        f"{what}: whole days are needed",
        file=sheet.path,
        hint="if the hours are shifted by one, label or start is wrong",
    )


@dataclass(frozen=True, slots=True)
class _FoundColumns:
    """The wanted columns of a table, by our names, as they were found.

    Cells are texts of a .csv file, or what Arrow holds of a .parquet file.
    """

    path: Path
    named: dict[str, str]
    cells: dict[str, Any]
    n_rows: int
    lines: IntArray  # where each row is
    line: str  # what that is called

    def error(self, row: int, name: str, what: str, hint: str | None = None) -> InputError:
        """Return an error about a cell."""
        where = f"{self.line} {self.lines[row]}: column {self.named[name]!r}"
        return InputError(what, file=self.path, where=where, hint=hint)

    def numbers(self, name: str) -> FloatArray:
        """Return a column of numbers, all there and finite."""
        cells = self.cells[name]
        if isinstance(cells, np.ndarray):
            values = cells.astype(np.float64)
        else:
            values = numbers([b"" if cell is None else cell.encode() for cell in cells])
        bad = np.flatnonzero(~np.isfinite(values)).tolist()
        if bad:
            cell = cells[bad[0]]
            text = "" if cell is None or cell != cell else str(cell).strip()  # noqa: PLR0124 - NaN
            got = f"must be a number, got {text[:40]!r}" if text else "is empty"
            raise self.error(
                bad[0], name, f"{got}; {len(bad)} of {self.n_rows} rows are not numbers"
            )
        return values

    def times(self, name: str) -> NDArray[np.datetime64]:
        """Return a column of times."""
        cells = self.cells[name]
        if isinstance(cells, np.ndarray) and cells.dtype.kind == "M":
            if missing := np.flatnonzero(np.isnat(cells)).tolist():
                raise self.error(missing[0], name, "is empty")
            return cells.astype("datetime64[s]")
        times = np.empty(self.n_rows, dtype="datetime64[s]")
        for row, cell in enumerate(cells):
            found = _TIME.fullmatch(str(cell))
            try:
                if found is None:
                    raise ValueError(cell)  # noqa: TRY301 - one sentence for both
                year, month, day, hour, minute, second = (int(part or 0) for part in found.groups())
                midnight = np.datetime64(f"{year:04d}-{month:02d}-{day:02d}", "s")
            except ValueError as error:
                raise self.error(
                    row,
                    name,
                    f"must be a time like 2017-01-31 24:00, got {str(cell)[:40]!r}",
                    "local standard time without an offset, year first; or leave columns.time out "
                    "and give start",
                ) from error
            times[row] = midnight + np.timedelta64(3600 * hour + 60 * minute + second, "s")
        return times


def _read(path: Path, named: dict[str, str], *, separator: str, decimal: str) -> _FoundColumns:
    """Read the named columns of a table."""
    if not path.is_file():
        raise InputError("there is no such file", file=path, where="file")
    ending = path.suffix.casefold()
    readers: dict[str, Callable[[], _FoundColumns]] = {
        ".csv": lambda: _read_csv(path, named, separator, decimal),
        ".parquet": lambda: _read_parquet(path, named),
    }
    if ending not in readers:
        raise InputError("is no .csv or .parquet file", file=path, where="file")
    try:
        return readers[ending]()
    except (csv.Error, OSError, ValueError, OverflowError, KeyError, NotImplementedError) as error:
        raise InputError(
            f"cannot be read as a table: {error}", file=path, hint="the file is damaged"
        ) from error


def _places(path: Path, named: dict[str, str], titles: list[str]) -> dict[str, int]:
    """Return where the named columns are."""
    if not any(titles):
        raise InputError("has no first line with names of columns", file=path)
    for name, title in named.items():
        if titles.count(title) == 1:
            continue
        key = name if name.startswith(_FACES) else f"columns.{name}"
        if title in titles:
            raise InputError(f"has column {title!r} twice", file=path, where=key)
        near = get_close_matches(title, titles, n=1)
        shown = ", ".join(repr(t) for t in titles[:12]) + (", ..." if len(titles) > 12 else "")  # noqa: PLR2004 - a line
        raise InputError(
            f"has no column {title!r}",
            file=path,
            where=key,
            hint=(f"did you mean {near[0]!r}? " if near else "") + f"there is: {shown}",
        )
    return {name: titles.index(title) for name, title in named.items()}


def _read_csv(path: Path, named: dict[str, str], separator: str, decimal: str) -> _FoundColumns:
    with path.open("rb") as file:

        def lines() -> Iterator[str]:
            while raw := file.readline(LONGEST_LINE):
                if len(raw) == LONGEST_LINE:
                    raise InputError(f"has a line longer than {LONGEST_LINE >> 10} KB", file=path)
                yield decoded(raw)

        reader = csv.reader(lines(), delimiter=separator)
        titles = [title.strip() for title in next(reader, [])]
        if titles:
            titles[0] = titles[0].removeprefix("\ufeff")
        places = _places(path, named, titles)
        cells: dict[str, list[str]] = {name: [] for name in named}
        at: list[int] = []
        for row in islice(reader, MOST_ROWS + 1):
            if not row:  # a blank line
                continue
            if len(row) != len(titles):
                raise InputError(
                    f"has {len(row)} cells, the header {len(titles)}",
                    file=path,
                    where=f"line {reader.line_num}",
                )
            at.append(reader.line_num)
            for name, place in places.items():
                cells[name].append(row[place])
    _require_rows(path, len(at))
    if decimal == ",":
        cells = {
            name: [cell.replace(",", ".") for cell in column] if name != "time" else column
            for name, column in cells.items()
        }
    return _FoundColumns(path, named, cells, len(at), np.array(at, dtype=np.int64), "line")


def _read_parquet(path: Path, named: dict[str, str]) -> _FoundColumns:
    import pyarrow as pa  # noqa: PLC0415 - heavy, and only here
    import pyarrow.parquet as pq  # noqa: PLC0415 - idem

    with pq.ParquetFile(path) as file:
        _require_rows(path, file.metadata.num_rows)
        _places(path, named, list(file.schema_arrow.names))
        table = file.read(columns=list(dict.fromkeys(named.values())))
    cells: dict[str, Any] = {}
    for name, title in named.items():
        column = table.column(title)
        kind = column.type
        if pa.types.is_timestamp(kind) and kind.tz is not None:
            raise InputError(
                f"has times in {kind.tz}",
                file=path,
                where=f"column {title!r}",
                hint="local standard time without a zone is needed",
            )
        plain = pa.types.is_timestamp(kind) or pa.types.is_floating(kind)
        if plain or pa.types.is_integer(kind):
            cells[name] = column.to_numpy()
        else:
            cells[name] = [None if value is None else str(value) for value in column.to_pylist()]
    lines = np.arange(1, table.num_rows + 1)
    return _FoundColumns(path, named, cells, table.num_rows, lines, "row")


def _require_rows(path: Path, n_rows: int) -> None:
    """Raise if there are more rows than in two years of minutes."""
    if n_rows > MOST_ROWS:
        raise InputError(f"has more than {MOST_ROWS} rows", file=path)
