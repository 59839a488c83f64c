"""EPW weather files: strict where an error would change the result, lenient in the rest.

Strict: the dates of the rows, dry bulb, dew point, relative humidity, pressure, wind. Lenient,
with a note: radiation and infrared. All other columns are not read. Columns, missing marks and
ranges are those of EnergyPlus, Auxiliary Programs, EPW data dictionary.

A row's temperature, humidity, pressure and wind are instants at the END of its interval (hour 1 is
00:00 to 01:00); radiation belongs to the interval before that instant. Times are local standard
time all year.
"""

from __future__ import annotations

import csv
import hashlib
import math
import re
from dataclasses import dataclass, field, fields
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.errors import InputError, OutOfRangeError
from dewmargin.physics import air, glazing

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from dewmargin.columns import BoolArray, FloatArray, IntArray

READINGS = ("frost_point", "dew_point", "relative_humidity")
LONGEST_GAP_H = 3  # filled by interpolation; a longer gap is an error
LARGEST_FILE = 64 * 2**20  # bytes; a year of hourly records has 1.6 million
LONGEST_LINE = 64 * 2**10  # characters; a row has about 200, the longest header line about 1000
PRESSURE_TOLERANCE = 0.02  # of the year's mean against the standard atmosphere
SUPERSATURATION_K = 0.1  # dew point above dry bulb that is rounding and not worth a note

_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July", "August"),
    *("September", "October", "November", "December"),
)
_WEEKDAYS = ("MON", "TUE", "WED", "THU", "FRI", "SAT", "SUN")
_MONTH_DAYS = np.array([31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
_DAYS_BEFORE = np.concatenate([[0], np.cumsum(_MONTH_DAYS)])  # in a leap year
_LEAP_DAY = 59  # 29 February, counted from 0
_YEAR_H, _LEAP_YEAR_H = 8760, 8784
_FIRST_NOMINAL_YEAR = 2017
_CALENDARS = 40  # years in which every weekday has met every date, leap or not

_MIN_COLUMNS = 22  # up to the wind speed
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_NUMBER_CHARACTERS = frozenset("0123456789+-.eE \t")
_DATE = re.compile(r"\s*([0-9]{1,2})\s*/\s*([0-9]{1,2})\s*(?:/\s*([0-9]{1,4})\s*)?")


@dataclass(frozen=True, slots=True)
class _Field:
    """A column: its place, the value from which on it is missing, and its range."""

    index: int
    title: str
    unit: str
    missing: float
    low: float
    high: float


_NEEDED = {
    "t_out_c": _Field(6, "dry bulb", "°C", 99.9, -70.0, 70.0),
    "t_dew_c": _Field(7, "dew point", "°C", 99.9, -70.0, 70.0),
    "rh_frac": _Field(8, "relative humidity", "%", 999.0, 0.0, 110.0),
    "p_pa": _Field(9, "pressure", "Pa", 999_999.0, 31_000.0, 120_000.0),
    "wind_m_s": _Field(21, "wind speed", "m/s", 999.0, 0.0, 40.0),
}
_RADIATION = {
    "infrared_w_m2": _Field(12, "horizontal infrared", "W/m2", 9999.0, 0.0, 9999.0),
    "global_horizontal_w_m2": _Field(13, "global radiation", "W/m2", 9999.0, 0.0, 9999.0),
    "direct_normal_w_m2": _Field(14, "direct radiation", "W/m2", 9999.0, 0.0, 9999.0),
    "diffuse_horizontal_w_m2": _Field(15, "diffuse radiation", "W/m2", 9999.0, 0.0, 9999.0),
}
_DATE_FIELDS = {
    title: _Field(index, title, "", np.inf, low, high)
    for index, (title, low, high) in enumerate(
        (("year", 1, 9999), ("month", 1, 12), ("day", 1, 31), ("hour", 1, 24), ("minute", 0, 60))
    )
}


@dataclass(frozen=True, slots=True, kw_only=True)
class HumidificationDesign:
    """A dew point that is exceeded in all but a few hours of the year, for sizing.

    Attributes
    ----------
    level_percent : float
        Annual cumulative frequency of being exceeded. [%]
    dew_point_c : float
        Dew point, frost point below 0 °C. [°C]
    humidity_ratio_g_kg : float
        Humidity ratio there, over ice below 0 °C, at the elevation's standard pressure. [g/kg]
    coincident_t_c : float
        Mean dry bulb of the hours at that dew point. [°C]
    """

    level_percent: float
    dew_point_c: float
    humidity_ratio_g_kg: float
    coincident_t_c: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outdoors:
    """Outdoor air as a house meets it, means over each interval; locked arrays.

    Attributes
    ----------
    t_out_c, w_out_kg_kg, p_pa, wind_m_s : float64 array, shape (n_steps,)
        [°C, kg/kg, Pa, m/s]
    t_sky_c : float64 array, shape (n_steps,)
        Temperature of the sky; of a clear one where the infrared is missing. [°C]
    """

    t_out_c: FloatArray
    w_out_kg_kg: FloatArray
    p_pa: FloatArray
    wind_m_s: FloatArray
    t_sky_c: FloatArray

    def __post_init__(self) -> None:
        """Lock the arrays, as those of the weather."""
        for each in fields(self):
            getattr(self, each.name).flags.writeable = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weather:
    """A checked weather file; arrays are locked and have the shape (n_steps,).

    Attributes
    ----------
    file, sha256 : str
        Path as given, and the hash of the file's bytes.
    place : str
        City, region, country.
    latitude_deg, longitude_deg : float
        North and east positive. [°]
    utc_offset_h : float
        Local standard time less universal time. [h]
    elevation_m : float
        Above sea level. [m]
    steps_per_hour : int
        Records per hour.
    interval_start : datetime64[s] array
        Start of each interval, local standard time, without a gap. An actual record keeps its own
        dates. A typical year, whose months come from different years, gets one nominal year: the
        first from 2017 on that starts on the weekday in the header and is a leap year if the file
        has 29 February.
    source_year : int64 array
        Year that the row was measured in.
    t_out_c, t_dew_c : float64 array
        Dry bulb, and dew point as the file has it, at most the dry bulb; instants at the end of
        the interval. [°C]
    rh_frac : float64 array
        Relative humidity as the file has it, at most 1; idem. [-]
    p_pa, wind_m_s : float64 array
        Station pressure and wind speed; idem. [Pa, m/s]
    global_horizontal_w_m2, direct_normal_w_m2, diffuse_horizontal_w_m2 : float64 array
        Mean radiation over the interval; the file holds its energy in Wh/m2. NaN where the file
        has none. [W/m2]
    infrared_w_m2 : float64 array
        Intensity of the horizontal infrared from the sky. [W/m2]
    wraps : bool
        True if the rows are one whole year, typical or actual: then its last days may stand for
        those before its first.
    design : tuple of HumidificationDesign
        As stated in the header; empty if it states none.
    filled : dict of str to int
        Values interpolated, by column.
    notes : tuple of str
        What was repaired, derived or left out.
    """

    file: str
    sha256: str
    place: str
    latitude_deg: float
    longitude_deg: float
    utc_offset_h: float
    elevation_m: float
    steps_per_hour: int
    interval_start: NDArray[np.datetime64]
    source_year: IntArray
    t_out_c: FloatArray
    t_dew_c: FloatArray
    rh_frac: FloatArray
    p_pa: FloatArray
    wind_m_s: FloatArray
    global_horizontal_w_m2: FloatArray
    direct_normal_w_m2: FloatArray
    diffuse_horizontal_w_m2: FloatArray
    infrared_w_m2: FloatArray
    wraps: bool
    design: tuple[HumidificationDesign, ...]
    filled: dict[str, int]
    notes: tuple[str, ...]
    _outdoors: dict[str, Outdoors] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def __post_init__(self) -> None:
        """Lock the arrays, so that no reader of the weather can change it for the next."""
        for each in fields(self):
            value = getattr(self, each.name)
            if isinstance(value, np.ndarray):
                value.flags.writeable = False

    def __setstate__(self, state: list[object]) -> None:
        """Lock the arrays again, which a pickle hands over unlocked."""
        for each, value in zip(fields(self), state, strict=True):
            object.__setattr__(self, each.name, value)
        self.__post_init__()

    def __repr__(self) -> str:
        """Return place, file and extent in a line: no arrays."""
        return (
            f"<Weather of {self.place!r}, {self.file}: {len(self.interval_start)} steps from "
            f"{self.interval_start[0]}, of {60 // self.steps_per_hour} min>"
        )

    def to_pandas(self) -> pd.DataFrame:
        """Return the records as a data frame.

        Returns
        -------
        DataFrame
            Indexed by `interval_start`; a column for each array, by its name, which ends in its
            unit. Temperatures, humidity, pressure and wind are instants at the interval's end,
            radiation is its mean. The values are copies.
        """
        import pandas as pd  # noqa: PLC0415 - slow to import

        values = {each.name: getattr(self, each.name) for each in fields(self)}
        arrays = {name: v.copy() for name, v in values.items() if isinstance(v, np.ndarray)}
        start = pd.DatetimeIndex(arrays.pop("interval_start"), name="interval_start")
        return pd.DataFrame(arrays, index=start)

    def outdoors(self, reading: str) -> Outdoors:
        """Return the interval means, found once for all houses; see `humidity_ratio`."""
        if reading not in self._outdoors:
            clear = glazing.clear_sky_infrared(self.t_out_c, self.t_dew_c)
            self._outdoors[reading] = Outdoors(
                t_out_c=interval_mean(self.t_out_c, wraps=self.wraps),
                w_out_kg_kg=interval_mean(self.humidity_ratio(reading), wraps=self.wraps),
                p_pa=interval_mean(self.p_pa, wraps=self.wraps),
                wind_m_s=interval_mean(self.wind_m_s, wraps=self.wraps),
                t_sky_c=glazing.sky_temperature(
                    np.where(self.infrared_w_m2 > 0.0, self.infrared_w_m2, clear)
                ),
            )
        return self._outdoors[reading]

    def humidity_ratio(self, reading: str) -> FloatArray:
        """Return the outdoor humidity ratio at the end of each interval.

        Parameters
        ----------
        reading : {"frost_point", "dew_point", "relative_humidity"}
            What is believed below 0 °C: the dew-point column as a frost point (over ice); as a dew
            point over supercooled water; or the relative-humidity column over ice, which is how
            the EnergyPlus engine reads the file. Above 0 °C the first two are one.

        Returns
        -------
        float64 array, shape (n_steps,)
            Humidity ratio, per kg of dry air. [kg/kg]

        Raises
        ------
        OutOfRangeError
            If there is no such reading.
        """
        if reading == "frost_point":
            return air.humidity_ratio(air.saturation_pressure(self.t_dew_c), self.p_pa)
        if reading == "dew_point":
            return air.humidity_ratio(air.saturation_pressure_over_water(self.t_dew_c), self.p_pa)
        if reading == "relative_humidity":
            return air.humidity_ratio_at_rh(self.t_out_c, self.rh_frac, self.p_pa)
        raise OutOfRangeError(
            f"must be one of {', '.join(READINGS)}, got {reading!r}", where="humidity_reading"
        )


def interval_mean(values: FloatArray, *, wraps: bool) -> FloatArray:
    """Return the mean over each interval of the straight line between the instants at its two ends.

    Parameters
    ----------
    values : float64 array, shape (n_steps,)
        Instants at the end of each interval.
    wraps : bool
        True: the first interval begins with the last value of the year. False: with its own, so
        that its mean is its own value.

    Returns
    -------
    float64 array, shape (n_steps,)
        Interval means, in the unit of `values`.

    Examples
    --------
    >>> import numpy as np
    >>> interval_mean(np.array([0.0, 2.0, 4.0]), wraps=True)
    array([2., 1., 3.])
    """
    before = np.roll(values, 1)
    if not wraps:
        before[:1] = values[:1]
    result: FloatArray = 0.5 * (before + values)
    return result


def read_epw(path: str | Path, *, year: int | None = None) -> Weather:
    """Read and check a weather file.

    Parameters
    ----------
    path : str or Path
        The file; UTF-8, Windows-1252 or Latin-1.
    year : int, optional
        Which year to take of a record of several actual years.

    Returns
    -------
    Weather
        Complete in everything but radiation and infrared.

    Raises
    ------
    InputError
        If the file is not an EPW file, or is damaged where it matters; the message names the line,
        the field and the value.

    Notes
    -----
    Gaps of at most 3 h are interpolated and counted, held at the ends of the file; in the wind
    speed longer gaps too, with a note. Where only dew point or only relative humidity is missing it
    is derived from the other, over ice below 0 °C. Pressure that is missing in all rows is that of
    the standard atmosphere.
    """
    file = str(path)
    raw = _bytes_of(file)
    lines = _lines_of(raw, file)
    header = _header_of(lines, file)
    rows = _Cells(
        file=file,
        first_line=header.n_lines + 1,
        # The columns after the wind speed stay one text: nothing in them is read.
        cells=[line.split(",", _MIN_COLUMNS) for line in lines[header.n_lines :]],
    )
    dates = _dates_of(rows, header)
    chosen = _one_year(dates, header, file, year)
    rows, dates = rows.part(chosen), dates.part(chosen)

    per_hour = header.steps_per_hour
    whole_year = len(rows.cells) == per_hour * (_YEAR_H + 24 * dates.has_leap_day)
    repairs = _Repairs(notes=list(header.notes))
    if whole_year and header.leap_year and not dates.has_leap_day:
        repairs.notes.append("the header observes leap years, but there is no 29 February")
    found = {name: _column(rows, field) for name, field in _NEEDED.items()}
    t_out_c = _fill("t_out_c", found["t_out_c"], rows, per_hour, repairs)
    p_pa = _pressure(found["p_pa"], header.elevation_m, rows, per_hour, repairs)
    t_dew_c, rh_frac = _humidity(found, t_out_c, rows, per_hour, repairs)
    wind_m_s = _fill("wind_m_s", found["wind_m_s"], rows, per_hour, repairs)
    radiation = {name: _radiation(rows, field, repairs) for name, field in _RADIATION.items()}
    for name in radiation:
        if name != "infrared_w_m2":  # an intensity; the others are energies of their interval
            radiation[name] *= per_hour
    return Weather(
        file=file,
        sha256=hashlib.sha256(raw).hexdigest(),
        place=header.place,
        latitude_deg=header.latitude_deg,
        longitude_deg=header.longitude_deg,
        utc_offset_h=header.utc_offset_h,
        elevation_m=header.elevation_m,
        steps_per_hour=per_hour,
        interval_start=_interval_start(dates, per_hour, header.weekday if year is None else None),
        source_year=dates.year,
        t_out_c=t_out_c,
        t_dew_c=t_dew_c,
        rh_frac=rh_frac,
        p_pa=p_pa,
        wind_m_s=wind_m_s,
        **radiation,
        wraps=whole_year,
        design=header.design,
        filled=repairs.filled,
        notes=tuple(repairs.notes),
    )


_Date = tuple[int, int, int | None]  # month, day, and year if the header states it


@dataclass(frozen=True, slots=True, kw_only=True)
class _Header:
    """What the lines above the rows state."""

    n_lines: int
    place: str
    latitude_deg: float
    longitude_deg: float
    utc_offset_h: float
    elevation_m: float
    design: tuple[HumidificationDesign, ...]
    leap_year: bool
    n_periods: int
    steps_per_hour: int
    weekday: int | None  # of the first day, 0 is Monday
    first_date: _Date
    last_date: _Date
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cells:
    """The cells of the rows, and where they stand in the file."""

    file: str
    first_line: int
    cells: list[list[str]]

    def part(self, chosen: slice) -> _Cells:
        """Return some of the rows."""
        first_line = self.first_line + chosen.start
        return _Cells(file=self.file, first_line=first_line, cells=self.cells[chosen])

    def column(self, field: _Field) -> list[str]:
        """Return the cells of a field."""
        return [row[field.index] for row in self.cells]

    def error(self, row: int, title: str, what: str, hint: str | None = None) -> InputError:
        """Return the error that refuses a row."""
        where = f"line {self.first_line + row}: {title}".removesuffix(": ")
        return InputError(what, file=self.file, where=where, hint=hint)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Dates:
    """The dates of the rows, shape (n_rows,) each."""

    year: IntArray
    month: IntArray
    day: IntArray
    hour: IntArray
    minute: IntArray

    @property
    def leap_hour(self) -> IntArray:
        """Hour of a leap year, from 0."""
        result: IntArray = 24 * (_DAYS_BEFORE[self.month - 1] + self.day - 1) + self.hour - 1
        return result

    @property
    def has_leap_day(self) -> bool:
        """Whether some row is of 29 February."""
        return bool(np.any(self.leap_hour // 24 == _LEAP_DAY))

    def part(self, chosen: slice) -> _Dates:
        """Return the dates of some of the rows."""
        return _Dates(**{f.name: getattr(self, f.name)[chosen].copy() for f in fields(self)})

    def label(self, row: int) -> str:
        """Return day, month and hour of a row, in words."""
        return f"{self.day[row]} {_MONTHS[self.month[row] - 1]} hour {self.hour[row]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Repairs:
    """What was done to the values, collected on the way."""

    filled: dict[str, int] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def note(self, what: str, where: BoolArray) -> None:
        """Note what is true of some rows, if of any."""
        if where.any():
            self.notes.append(f"{what} in {np.count_nonzero(where)} of {where.size} rows")


def _bytes_of(file: str) -> bytes:
    """Return the file's bytes, unless it cannot be a weather file by its size or its bytes."""
    try:
        size = Path(file).stat().st_size
        if size > LARGEST_FILE:
            raise InputError(
                f"has {size} bytes, more than the {LARGEST_FILE} that are read", file=file
            )
        raw = Path(file).read_bytes()
    except (OSError, ValueError) as error:  # the latter for a NUL in the name
        raise InputError(
            f"cannot be read: {getattr(error, 'strerror', error)}", file=file
        ) from error
    if not raw.strip():
        raise InputError("is empty", file=file)
    if b"\0" in raw:
        hint = "unpack an archive; save a text as UTF-8"
        raise InputError("is not a text file", file=file, hint=hint)
    return raw


def _lines_of(raw: bytes, file: str) -> list[str]:
    """Decode and split; empty lines and an end-of-file mark after the last row are dropped."""
    for encoding in ("utf-8-sig", "cp1252", "latin-1"):  # the last one never fails
        try:
            text = raw.decode(encoding)
            break
        except UnicodeDecodeError:
            continue
    # str.splitlines would also split at characters that stand inside names.
    lines = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n \t\x1a").split("\n")
    for number, line in enumerate(lines, start=1):
        if len(line) > LONGEST_LINE:
            raise InputError(
                f"has {len(line)} characters, more than the {LONGEST_LINE} that are read",
                file=file,
                where=f"line {number}",
            )
    return lines


def _header_lines(lines: list[str], file: str) -> tuple[int, dict[str, list[str]]]:
    """Return the number of header lines and their fields by their first word."""
    word = lines[0][: len("LOCATION,")].upper()
    if word == "LOCATION;":
        raise InputError("fields are separated by ';', not by ','", file=file, where="line 1")
    if word != "LOCATION,":
        raise InputError(
            f"must begin with LOCATION, got {_shown(lines[0])}",
            file=file,
            where="line 1",
            hint="is it an EPW file?",
        )
    found: dict[str, list[str]] = {}
    for n_lines, line in enumerate(lines, start=1):
        tokens = [token.strip() for token in next(csv.reader([line]))] or [""]
        found.setdefault(tokens[0].upper(), tokens)
        if tokens[0].upper() == "DATA PERIODS":
            break
        if line[:1].isdigit():  # a row
            raise InputError(
                "a row comes before the DATA PERIODS line", file=file, where=f"line {n_lines}"
            )
    else:
        raise InputError("has no DATA PERIODS line", file=file, hint="the header is cut short")
    if n_lines == len(lines):
        raise InputError("has a header but no rows", file=file)
    return n_lines, found


def _header_of(lines: list[str], file: str) -> _Header:
    """Read the header."""
    n_lines, found = _header_lines(lines, file)

    def location(index: int, title: str, low: float, high: float) -> float:
        text = "".join(found["LOCATION"][index : index + 1])
        value = _number(text)
        if not low <= value <= high:
            raise InputError(
                f"must be a number between {low:g} and {high:g}, got {_shown(text)}",
                file=file,
                where=f"line 1: {title}",
            )
        return value

    periods = found["DATA PERIODS"]
    n_periods, steps_per_hour, first_date, last_date = _data_periods(periods, n_lines, file)
    weekday = "".join(periods[4:5])[:3].upper()
    design = _design_of(found.get("DESIGN CONDITIONS", []))
    notes = []
    if not design and "HEATING" in map(str.upper, found.get("DESIGN CONDITIONS", [])):
        notes.append("DESIGN CONDITIONS has no readable humidification values")
    if n_periods > 1:
        notes.append(f"{n_periods} data periods read as one")
    return _Header(
        n_lines=n_lines,
        place=", ".join(token for token in found["LOCATION"][1:4] if token.strip("-")),
        latitude_deg=location(6, "latitude", -90.0, 90.0),
        longitude_deg=location(7, "longitude", -180.0, 180.0),
        utc_offset_h=location(8, "time zone", -12.0, 14.0),
        elevation_m=location(9, "elevation", -1000.0, 9999.0),
        design=design,
        leap_year=[t.upper() for t in found.get("HOLIDAYS/DAYLIGHT SAVINGS", [])][1:2] == ["YES"],
        n_periods=n_periods,
        steps_per_hour=steps_per_hour,
        weekday=_WEEKDAYS.index(weekday) if weekday in _WEEKDAYS else None,
        first_date=first_date,
        last_date=last_date,
        notes=tuple(notes),
    )


def _design_of(tokens: list[str]) -> tuple[HumidificationDesign, ...]:
    """Return the humidification values of DESIGN CONDITIONS, empty if there are none.

    They stand at fixed places behind the word ``Heating``; the line's length varies by edition.
    """
    words = [token.upper() for token in tokens]
    at = words.index("HEATING") + 4 if "HEATING" in words else len(words)
    values = [_number(text) for text in tokens[at : at + 6]]
    if len(values) != 6 or not all(map(math.isfinite, values)):  # noqa: PLR2004 - twice three
        return ()
    return tuple(
        HumidificationDesign(
            level_percent=level, dew_point_c=dew_c, humidity_ratio_g_kg=w, coincident_t_c=t_c
        )
        for level, (dew_c, w, t_c) in ((99.6, values[:3]), (99.0, values[3:]))
    )


def _data_periods(tokens: list[str], line: int, file: str) -> tuple[int, int, _Date, _Date]:
    """Return number of periods, records per hour, first and last date."""

    def refuse(title: str, must: str, text: str) -> InputError:
        what = f"must be {must}, got {_shown(text)}"
        return InputError(what, file=file, where=f"line {line}: {title}")

    def date(title: str, index: int) -> _Date:
        text = "".join(tokens[index : index + 1])
        match = _DATE.fullmatch(text)
        month, day, year = (int(g or 0) for g in match.groups()) if match else (0, 0, 0)
        if not (1 <= month <= len(_MONTHS) and 1 <= day <= _MONTH_DAYS[month - 1]):
            raise refuse(title, "month/day or month/day/year", text)
        return month, day, year or None

    n_periods, per_hour = [*tokens[1:3], "", ""][:2]
    if not re.fullmatch("[1-9][0-9]?", n_periods):
        raise refuse("number of data periods", "a count", n_periods)
    if not re.fullmatch("[1-9][0-9]?", per_hour) or 60 % int(per_hour):
        raise refuse("records per hour", "a divisor of 60", per_hour)
    last = 4 * int(n_periods) + 2
    return int(n_periods), int(per_hour), date("start date", 5), date("end date", last)


def _dates_of(rows: _Cells, header: _Header) -> _Dates:
    """Read the dates and check that every row is the one that is due."""
    for k, cells in enumerate(rows.cells):
        if len(cells) < _MIN_COLUMNS:
            what = f"has too few columns: {len(cells)}, at least {_MIN_COLUMNS} are needed"
            last = k == len(rows.cells) - 1
            raise rows.error(k, "", what, "the file is cut short" if last else None)
    columns = {}
    for title, date_field in _DATE_FIELDS.items():
        values = _column(rows, date_field)
        bad = np.flatnonzero(values != np.floor(values))  # NaN is unequal to itself
        if bad.size:
            text = rows.cells[bad[0]][date_field.index]
            raise rows.error(int(bad[0]), title, f"must be a whole number, got {_shown(text)}")
        columns[title] = values.astype(np.int64)
    dates = _Dates(**columns)
    bad = np.flatnonzero(dates.day > _MONTH_DAYS[dates.month - 1])
    if bad.size:
        month = _MONTHS[dates.month[bad[0]] - 1]
        raise rows.error(int(bad[0]), "day", f"{month} has no day {dates.day[bad[0]]}")
    _require_order(dates, rows, header)
    _require_ends(dates, rows, header)
    return dates


def _require_order(dates: _Dates, rows: _Cells, header: _Header) -> None:
    """Raise at the first row that is not the one due after the row before."""
    hours, per_hour = dates.leap_hour, header.steps_per_hour
    # Place in the hour: files count the minutes of their records in several ways, so the first
    # hour tells which. Hourly files write any minute.
    place = np.zeros(hours.size, dtype=np.int64)
    if per_hour > 1:
        known = dates.minute[:, np.newaxis] == dates.minute[:per_hour]
        place = np.where(known.any(axis=1), known.argmax(axis=1), -1)
    ends_hour = place[:-1] == per_hour - 1
    due_place = np.where(ends_hour, 0, place[:-1] + 1)
    due_hour = (hours[:-1] + ends_hour) % _LEAP_YEAR_H
    no_leap_day = (due_hour == 24 * _LEAP_DAY) & (hours[1:] == 24 * (_LEAP_DAY + 1))
    wrong = ((hours[1:] != due_hour) & ~no_leap_day) | (place[1:] != due_place)
    if not wrong.any():
        return
    before = int(np.argmax(wrong))
    row = before + 1
    if (hours[row], place[row]) == (hours[before], place[before]):
        hint = f"a row is doubled, or DATA PERIODS is wrong to state {per_hour} an hour"
    elif place[row] < 0:
        hint = f"the first hour has minutes {', '.join(map(str, dates.minute[:per_hour]))}"
    elif np.any((hours[row:] == due_hour[before]) & (place[row:] == due_place[before])):
        hint = "rows are out of order"
    elif header.n_periods > 1:
        hint = "rows are missing; data periods that do not join are not read"
    else:
        hint = "rows are missing"
    this, other = (
        dates.label(k) + (f" minute {dates.minute[k]}" if per_hour > 1 else "")
        for k in (row, before)
    )
    raise rows.error(row, "date", f"{this} comes after {other}", hint)


def _require_ends(dates: _Dates, rows: _Cells, header: _Header) -> None:
    """Raise unless the rows begin and end where DATA PERIODS says."""

    def differs(row: int, date: _Date, hour: int) -> bool:
        found = (dates.month[row], dates.day[row], dates.hour[row])
        return found != (*date[:2], hour) or date[2] not in (None, dates.year[row])

    def stated(date: _Date) -> str:
        return "/".join(str(part) for part in date if part is not None)

    if differs(0, header.first_date, 1):
        raise rows.error(
            0,
            "date",
            f"is of {dates.label(0)}, but DATA PERIODS begins on {stated(header.first_date)}",
            "rows are missing, or the header is of another file",
        )
    n_rows = dates.hour.size
    if n_rows % header.steps_per_hour == 0 and not differs(n_rows - 1, header.last_date, 24):
        return
    n_lines, n_stated = header.n_lines + n_rows, header.n_lines + _rows_stated(dates, header)
    raise InputError(
        f"ends at line {n_lines} of {n_stated}, last record {dates.label(n_rows - 1)}, "
        f"but DATA PERIODS ends on {stated(header.last_date)}",
        file=rows.file,
        hint="the file is cut short" if n_lines < n_stated else "the header is of another file",
    )


def _rows_stated(dates: _Dates, header: _Header) -> int:
    """Return the number of rows from the first to the last date of DATA PERIODS."""
    ends = (header.first_date, header.last_date)
    if all(year is not None for _, _, year in ends):
        first, last = (
            int((np.datetime64(f"{year:04d}-{month:02d}-01") + (day - 1)).astype(np.int64))
            for month, day, year in ends
        )
        n_days = last - first + 1
    else:
        first, last = (int(_DAYS_BEFORE[month - 1]) + day - 1 for month, day, _ in ends)
        passes_leap_day = first <= _LEAP_DAY <= last or last < first
        still_to_come = header.leap_year and dates.leap_hour.max() < 24 * _LEAP_DAY
        n_days = (last - first) % (_LEAP_YEAR_H // 24) + 1
        n_days -= int(passes_leap_day and not dates.has_leap_day and not still_to_come)
    return n_days * 24 * header.steps_per_hour


def _one_year(dates: _Dates, header: _Header, file: str, year: int | None) -> slice:
    """Return the rows to take: all, or one of several actual years."""
    n_rows = dates.hour.size
    if year is None and n_rows <= _LEAP_YEAR_H * header.steps_per_hour:
        return slice(0, n_rows)
    names = ", ".join(map(str, np.unique(dates.year)))
    if year is None:
        hint = "choose one of them: year = ..."
        raise InputError(f"holds more than one year: {names}", file=file, hint=hint)
    new_years = np.flatnonzero(np.diff(dates.leap_hour) < 0) + 1
    passes = [slice(a, b) for a, b in pairwise([0, *new_years.tolist(), n_rows])]
    own = [rows for rows in passes if np.all(dates.year[rows] == year)]
    if len(own) != 1:
        raise InputError(f"has no year {year} of its own, its rows are from {names}", file=file)
    return own[0]


def _interval_start(
    dates: _Dates, steps_per_hour: int, weekday: int | None
) -> NDArray[np.datetime64]:
    """Return the intervals' starts: the record's own dates, or those of a nominal year."""
    month, day = dates.month, dates.day
    since = np.timedelta64(3600 // steps_per_hour, "s") * np.arange(month.size)
    months = (dates.year - 1970).astype("datetime64[Y]").astype("datetime64[M]") + (month - 1)
    days = months.astype("datetime64[D]") + (day - 1)
    start: NDArray[np.datetime64] = days[0].astype("datetime64[s]") + since
    if np.array_equal(start.astype("datetime64[D]"), days):
        return start

    # A typical year, or a leap year without its 29 February: a calendar that starts on the stated
    # weekday and ends on the last row's day.
    for year in range(_FIRST_NOMINAL_YEAR, _FIRST_NOMINAL_YEAR + _CALENDARS):
        first = np.datetime64(f"{year}-{month[0]:02d}-01") + (day[0] - 1)
        start = first.astype("datetime64[s]") + since
        ends_right = str(start[-1])[5:10] == f"{month[-1]:02d}-{day[-1]:02d}"
        if ends_right and weekday in (None, first.astype(object).weekday()):
            break
    return start


def _number(text: str) -> float:
    """Return a plain finite number, NaN for any other text.

    `float` alone would take 1_000, nan, 1e999 and the digits of any script.
    """
    value = float(text) if _NUMBER.fullmatch(text) else math.nan
    return value if math.isfinite(value) else math.nan


def _parse(cells: list[str]) -> FloatArray:
    """Return numbers, NaN for blanks and for texts that are no number."""
    if set().union(*cells) <= _NUMBER_CHARACTERS:  # the common case, much faster
        try:
            values = np.array([float(cell) for cell in cells])
        except ValueError:
            values = np.array([np.nan])
        if np.isfinite(values).all():
            return values
    return np.array([_number(cell.strip()) for cell in cells])


def _column(rows: _Cells, field: _Field) -> FloatArray:
    """Return a needed column, NaN where missing; raise at the first cell that cannot be right."""
    cells = rows.column(field)
    values = _parse(cells)
    for k in np.flatnonzero(np.isnan(values)).tolist():
        if cells[k].strip():
            raise rows.error(k, field.title, f"must be a number, got {_shown(cells[k])}")
    values[values >= field.missing] = np.nan
    outside = np.flatnonzero((values < field.low) | (values > field.high))
    if outside.size:
        limits = f"{field.low:.10g} and {field.high:.10g} {field.unit}".rstrip()
        got = _shown(cells[outside[0]])
        raise rows.error(int(outside[0]), field.title, f"must be between {limits}, got {got}")
    return values


def _radiation(rows: _Cells, field: _Field, repairs: _Repairs) -> FloatArray:
    """Return a column that is not strictly needed, NaN for everything that cannot be right."""
    values = _parse(rows.column(field))
    values[~((values >= field.low) & (values < field.missing))] = np.nan
    repairs.note(f"{field.title} is missing", np.isnan(values))
    return values


def _fill(
    name: str, values: FloatArray, rows: _Cells, steps_per_hour: int, repairs: _Repairs
) -> FloatArray:
    """Fill gaps on a straight line; raise at a gap that is too long for that."""
    missing = np.isnan(values)
    if not missing.any():
        return values
    title = _NEEDED[name].title
    edges = np.flatnonzero(np.diff(missing, prepend=False, append=False))
    starts, lengths = edges[::2], np.diff(edges)[::2]
    longest = int(np.argmax(lengths))
    gap_h = lengths[longest] / steps_per_hour
    if gap_h > LONGEST_GAP_H and (name != "wind_m_s" or missing.all()):
        first = rows.first_line + starts[longest]
        raise InputError(
            f"is missing for {gap_h:g} h, only gaps up to {LONGEST_GAP_H} h are filled",
            file=rows.file,
            where=f"lines {first} to {first + lengths[longest] - 1}: {title}",
        )
    if gap_h > LONGEST_GAP_H:
        repairs.notes.append(f"{title} has gaps up to {gap_h:g} h, interpolated")
    repairs.filled[name] = int(np.count_nonzero(missing))
    known = np.flatnonzero(~missing)
    return np.interp(np.arange(values.size), known, values[known])


def _pressure(
    p_pa: FloatArray, elevation_m: float, rows: _Cells, steps_per_hour: int, repairs: _Repairs
) -> FloatArray:
    """Fill the pressure, by the standard atmosphere if there is none, and doubt it if far off."""
    standard_pa = air.standard_pressure(elevation_m)
    if np.isnan(p_pa).all():
        repairs.notes.append(
            f"pressure is missing, {standard_pa:.0f} Pa taken: standard at {elevation_m:g} m"
        )
        return np.full(p_pa.size, standard_pa)
    p_pa = _fill("p_pa", p_pa, rows, steps_per_hour, repairs)
    ratio = float(p_pa.mean()) / standard_pa
    if abs(ratio - 1.0) > PRESSURE_TOLERANCE:
        repairs.notes.append(
            f"mean pressure is {ratio:.3f} of the standard pressure at {elevation_m:g} m: "
            "is it reduced to sea level, or the elevation wrong?"
        )
    return p_pa


def _humidity(
    found: dict[str, FloatArray],
    t_out_c: FloatArray,
    rows: _Cells,
    steps_per_hour: int,
    repairs: _Repairs,
) -> tuple[FloatArray, FloatArray]:
    """Complete dew point and relative humidity by each other; cut both at saturation."""
    t_dew_c, rh_frac = found["t_dew_c"], found["rh_frac"] / 100.0
    no_dew, no_rh = np.isnan(t_dew_c), np.isnan(rh_frac)
    repairs.note("relative humidity is above 100 %, read as 100 %,", rh_frac > 1.0)
    rh_frac = np.minimum(rh_frac, 1.0)

    p_saturation_pa = air.saturation_pressure(t_out_c)
    from_rh = no_dew & ~no_rh
    t_dew_c[from_rh] = air.dew_point(rh_frac[from_rh] * p_saturation_pa[from_rh])
    repairs.note("dew point is derived from relative humidity", from_rh)
    t_dew_c = _fill("t_dew_c", t_dew_c, rows, steps_per_hour, repairs)
    # Dew points have one or two decimals: the slack keeps a difference of just 0.1 K out.
    over = t_dew_c > t_out_c + SUPERSATURATION_K + 1e-6
    repairs.note(
        f"dew point is more than {SUPERSATURATION_K:g} K above dry bulb, read as dry bulb,", over
    )
    t_dew_c = np.minimum(t_dew_c, t_out_c)

    rh_frac[no_rh] = (air.saturation_pressure(t_dew_c) / p_saturation_pa)[no_rh]
    repairs.note("relative humidity is derived from dew point", no_rh & ~no_dew)
    return t_dew_c, rh_frac


def _shown(text: str) -> str:
    """Return a text quoted for a message, shortened if long."""
    return repr(text if len(text) <= 40 else f"{text[:37]}...")  # noqa: PLR2004 - fits a line
