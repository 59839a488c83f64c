"""Files of a run as the engine writes them, small: January of the demo run, made from its .sql.

The shape of each line is copied from files that EnergyPlus 25.2 and its ReadVarsESO wrote; real
ones are read in tests/engine.
"""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from dewmargin.errors import InputError
from dewmargin.space.simulation import Simulation

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase

DEMO = Path(__file__).parents[1] / "scenarios" / "model" / "larch_house.sql"
HOURS = 31 * 24
EIO = """Program Version,EnergyPlus, Version 25.2.0-cf7368216c, YMD=2026.11.25 14:19
! <Timesteps per Hour>, #TimeSteps, Minutes per TimeStep {minutes}
 Timesteps per Hour,  6, 10
! <Site:Location>, Location Name, Latitude {N+/S- Deg}, Longitude {E+/W- Deg},  Time Zone Number
Site:Location,Larch Valley,46.50,10.00,1.00
! <Building Information>, Building Name,North Axis {deg},Terrain
 Building Information,Larch House,0.000,Suburbs
! <Zone Air Solution Algorithm>, Algorithm {ThirdOrderBackwardDifference | AnalyticalSolution}
 Zone Air Solution Algorithm, AnalyticalSolution
! <Zone Information>,Zone Name,Type,Zone Multiplier,Zone List Multiplier,Volume {m3}
 Zone Information, LARCH HOUSE,1,1,1,430.00
! <Zone Volume Capacitance Multiplier>, Sensible Multiplier, Moisture Capacity Multiplier
Zone Volume Capacitance Multiplier,   1.000 ,   1.000
! <Environment>,Environment Name,Environment Type, Start Date, End Date, Duration {#days}
Environment,WINTER DAY,SizingPeriod:DesignDay,01/21,01/21,1
Environment,SUMMER DAY,SizingPeriod:DesignDay,07/21,07/21,1
Environment,LARCH YEAR,WeatherFileRunPeriod,01/01/2017,01/31/2017,31
! <Zone Surfaces>,Zone Name,# Surfaces
! <HeatTransfer Surface>,Surface Name,Surface Class,Area (Net) {m2}
Zone Surfaces,LARCH HOUSE,2
HeatTransfer Surface,BEDROOM WINDOW,Window,3.50
HeatTransfer Surface,LIVING ROOM WINDOW,Window,5.86
End of Data
"""
ESO_HEAD = """Program Version,EnergyPlus, Version 25.2.0-cf7368216c, YMD=2026.11.25 14:19
1,5,Environment Title[],Latitude[deg],Longitude[deg],Time Zone[],Elevation[m]
2,8,Day of Simulation[],Month[],Day of Month[],DST Indicator[1=yes 0=no],Hour[],StartMinute[]
3,5,Cumulative Day of Simulation[],Month[],Day of Month[],DST Indicator[1=yes 0=no],DayType
4,2,Cumulative Days of Simulation[],Month[]  ! When Monthly Report Variables Requested
5,1,Cumulative Days of Simulation[] ! When Run Period Report Variables Requested
6,1,Calendar Year of Simulation[] ! When Annual Report Variables Requested
"""


@cache
def january() -> tuple[list[tuple[int, str, str, str]], list[list[float]]]:
    """Return the demo run's series (number, key, variable, unit) and January's values by hour."""
    with closing(sqlite3.connect(DEMO)) as database:
        series = database.execute(
            "SELECT ReportDataDictionaryIndex, KeyValue, Name, Units FROM ReportDataDictionary "
            "ORDER BY 1"
        ).fetchall()
        values = [
            value
            for (value,) in database.execute(
                "SELECT Value FROM ReportData JOIN Time USING (TimeIndex) WHERE Month = 1 "
                "ORDER BY TimeIndex, ReportDataDictionaryIndex"
            )
        ]
    n = len(series)
    return series, [values[k : k + n] for k in range(0, len(values), n)]


def design_day() -> list[list[float]]:
    """Return values by hour that are sound, but not those of the run period on any date."""
    _, hours = january()
    mean = [sum(column) / HOURS for column in zip(*hours, strict=True)]
    return [mean] * 24


def write_sql(folder: Path) -> Path:
    """Write January as eplusout.sql."""
    path = folder / "eplusout.sql"
    path.write_bytes(DEMO.read_bytes())
    with closing(sqlite3.connect(path)) as database:
        database.executescript(
            "DELETE FROM ReportData WHERE TimeIndex IN "
            "(SELECT TimeIndex FROM Time WHERE Month > 1);"
            "DELETE FROM Time WHERE Month > 1;"
            "UPDATE TabularData SET Value = '31' WHERE ColumnNameIndex IN "
            "(SELECT StringIndex FROM Strings WHERE Value = 'Duration {#days}');"
            "VACUUM"
        )
    return path


def write_eio(path: Path) -> Path:
    """Write the .eio file of a results file."""
    path.with_suffix(".eio").write_text(EIO, encoding="utf-8")
    return path


def write_eso(folder: Path) -> Path:
    """Write January as eplusout.eso: two design days, of other values, then the run period."""
    path = write_eio(folder / "eplusout.eso")
    series, hours = january()
    lines = [ESO_HEAD]
    lines += [f"{index},1,{key},{name} [{unit}] !Hourly\n" for index, key, name, unit in series]
    # A meter, which has no key, and a coarser series: neither is ours.
    lines.append("998,1,Electricity:Facility [J] !Hourly\n")
    lines.append("999,7,LARCH HOUSE,Zone Mean Air Temperature [C] !Daily [Value,Min,Max]\n")
    lines.append("End of Data Dictionary\n")
    for title, month, first, n_days in (
        ("WINTER DAY", 1, 21, 1), ("SUMMER DAY", 7, 21, 1), ("LARCH YEAR", 1, 1, 31)
    ):  # fmt: skip
        lines.append(f"1,{title},  46.50,  10.00,   1.00, 900.00\n")
        for hour in range(24 * n_days):
            day = first + hour // 24
            stamp = f"{hour // 24 + 1},{month:2d},{day:2d}, 0,{hour % 24 + 1:2d}, 0.00,60.00"
            lines.append(f"2,{stamp},Sunday\n")
            values = hours[hour] if title == "LARCH YEAR" else design_day()[hour]
            lines += [f"{s[0]},{value!r}\n" for s, value in zip(series, values, strict=True)]
            lines.append("998,432000.0\n")
            if hour % 24 == 23:
                lines.append(
                    f"3,{hour // 24 + 1},{month:2d},{day:2d}, 0,Sunday\n999,20.0,18.0, 7\n"
                )
    lines.append("End of Data\n Number of Records Written=        9216\n")
    path.write_text("".join(lines), encoding="utf-8", newline="\n")
    return path


def write_csv(folder: Path, *, one_after_another: bool = False) -> Path:
    """Write January as eplusout.csv, sorted as the engine does, or as ReadVarsESO writes it."""
    path = write_eio(folder / "eplusout.csv")
    series, hours = january()
    end = " " if one_after_another else ""
    titles = [f"{key}:{name} [{unit}](Hourly)" for _, key, name, unit in series]
    titles += [
        "LARCH HOUSE:Zone Mean Air Temperature [C](Daily)",
        "Electricity:Facility [J](Hourly)",
    ]
    lines = [",".join(["Date/Time", *titles]) + end]

    def add(month: int, day: int, hour: int, values: list[float]) -> None:
        daily = "20.0" if hour == 24 else ""
        cells = [f" {month:02d}/{day:02d}  {hour:02d}:00:00", *map(repr, values), daily, "432000.0"]
        lines.append(",".join(cells) + end)

    summer = [(7, 21, hour, values) for hour, values in enumerate(design_day(), start=1)]
    if one_after_another:
        for hour, values in enumerate(design_day(), start=1):
            add(1, 21, hour, values)
        for row in summer:
            add(*row)
    for hour, values in enumerate(hours):
        add(1, 1 + hour // 24, hour % 24 + 1, values)
    if not one_after_another:  # the winter day is lost under 21 January
        for row in summer:
            add(*row)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
    return path


WRITERS = {
    "sql": write_sql,
    "eso": write_eso,
    "csv": write_csv,
    "csv of ReadVarsESO": lambda folder: write_csv(folder, one_after_another=True),
}


def read(path: Path, **keys: object) -> HourlyCase:
    """Read results as the case of a scenario beside them."""
    return Simulation(results=path.name, **keys).case(weather=None, folder=path.parent)


def refusal(path: Path, **keys: object) -> str:
    """Return the message with which results are refused, without their folder."""
    with pytest.raises(InputError) as caught:
        read(path, **keys)
    return str(caught.value).replace(f"{path.parent}/", "")


def change(path: Path, pattern: str, new: str, *, count: int = 1) -> None:
    """Replace what a pattern finds in a file; it must be there."""
    text = path.read_text(encoding="utf-8")
    changed, found = re.subn(pattern, new, text, count=count, flags=re.MULTILINE)
    assert found, f"{path.name} has no {pattern!r}"
    path.write_text(changed, encoding="utf-8", newline="\n")
