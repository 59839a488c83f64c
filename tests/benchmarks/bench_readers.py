"""How long a big results file takes to read: ``python tests/benchmarks/bench_readers.py``.

Makes a .sql file of 600 MB and an .eso file of 500 MB in the temporary folder, from the demo run
and some 2500 invented series beside its own, and removes them after. Each reader runs in a fresh
process on the same file, after one that has only read its bytes, so that all find it in memory;
seconds are without imports, by the clock and of the processor; the peak is of the whole process.

A general reader stands beside ours: pandas on the .sql file, with the same series in one query, and
db-eplusout-reader on the .eso file.
"""

from __future__ import annotations

import random
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

DEMO = Path(__file__).parents[2] / "scenarios" / "model" / "larch_house.sql"
SQL_MB, ESO_MB = 600, 500
SQL_ROW, ESO_ROW = 24.1, 23.4  # bytes, to get about these sizes
TABLES = ("EnvironmentPeriods", "ReportDataDictionary", "Simulations", "Surfaces", "Time", "Zones",
          "TabularData", "Strings")  # fmt: skip
EIO = """! <Timesteps per Hour>, #TimeSteps, Minutes per TimeStep {minutes}
 Timesteps per Hour,  6, 10
! <Zone Information>,Zone Name,Zone Multiplier,Zone List Multiplier,Volume {m3}
 Zone Information,LARCH HOUSE,1,1,430.00
! <Environment>,Environment Name,Environment Type,Start Date,End Date,Duration {#days}
Environment,LARCH YEAR,WeatherFileRunPeriod,01/01/2017,12/31/2017,365
End of Data
"""
# The lines in which the engine says what its own records hold; some readers count them.
ESO_HEAD = """Program Version,EnergyPlus, Version 25.2.0-cf7368216c, YMD=2026.11.25 12:00
1,5,Environment Title[],Latitude[deg],Longitude[deg],Time Zone[],Elevation[m]
2,8,Day of Simulation[],Month[],Day of Month[],DST Indicator[],Hour[],StartMinute[],EndMinute[],Day
3,5,Cumulative Day of Simulation[],Month[],Day of Month[],DST Indicator[],DayType  ! Daily
4,2,Cumulative Days of Simulation[],Month[]  ! Monthly
5,1,Cumulative Days of Simulation[] ! Run Period
6,1,Calendar Year of Simulation[] ! Annual
"""
PROBE = """
import resource, sys, time
from pathlib import Path
READER
start, cpu = time.perf_counter(), time.process_time()
got = read(Path(sys.argv[1]))
took, cpu = time.perf_counter() - start, time.process_time() - cpu
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(f"{took:6.2f} s, CPU {cpu:6.2f} s  {peak:7.0f} MB  {got}")
"""
READERS = {
    "bytes only": """
def read(path):
    with path.open("rb") as file:
        return f"{sum(len(chunk) for chunk in iter(lambda: file.read(2**22), b'')) / 2**20:.0f} MB"
""",
    "dewmargin": """
from dewmargin.energyplus import output_file
from dewmargin.space.simulation import Simulation
seen = set()
pick = output_file.Picker.read
def count(self, environment):
    seen.update(self.picked)
    return pick(self, environment)
output_file.Picker.read = count
def read(path):
    case = Simulation(results=path.name).case(weather=None, folder=path.parent)
    return f"{len(seen)} series, {case.n_hours} h, mean {float(case.t_air_c.mean())!r} °C"
""",
    "pandas": """
import sqlite3, pandas
NAMES = ("Site Outdoor Air %", "Zone %", "Surface %")
def read(path):
    with sqlite3.connect(path) as database:
        frame = pandas.read_sql(
            "SELECT TimeIndex, KeyValue, Name, Value FROM ReportData JOIN ReportDataDictionary "
            "USING (ReportDataDictionaryIndex) WHERE " + " OR ".join(["Name LIKE ?"] * 3),
            database, params=NAMES)
    table = frame.pivot(index="TimeIndex", columns=["KeyValue", "Name"], values="Value")
    mean = table["LARCH HOUSE", "Zone Mean Air Temperature"].mean()
    return f"{table.shape[1]} series, {table.shape[0]} h, mean {float(mean)!r} °C"
""",
    "db-eplusout-reader": """
from db_eplusout_reader import Variable, get_results
from db_eplusout_reader.constants import H
def read(path):
    found = get_results(str(path), variables=[
        Variable("LARCH HOUSE", "Zone Mean Air Temperature", "C"),
        Variable("Environment", None, None)], frequency=H)
    values = next(v for k, v in found.items() if k.key == "LARCH HOUSE")
    return f"{len(found)} series, {len(values)} h, mean {sum(values) / len(values)!r} °C"
""",
}


def main() -> None:
    """Make the files, time the readers, remove the files."""
    with tempfile.TemporaryDirectory() as folder:
        for make, readers in (
            (make_sql, ("bytes only", "dewmargin", "pandas")),
            (make_eso, ("bytes only", "dewmargin", "db-eplusout-reader")),
        ):
            path = make(Path(folder))
            print(f"{path.name}, {path.stat().st_size / 2**20:.0f} MB")  # noqa: T201 - a script
            for reader in readers:
                done = subprocess.run(
                    [sys.executable, "-c", PROBE.replace("READER", READERS[reader]), str(path)],
                    capture_output=True,
                    text=True,
                    check=False,
                )
                print(f"  {reader:20s}{done.stdout or done.stderr[-300:]}", end="")  # noqa: T201 - idem
            path.unlink()


def demo_run() -> tuple[list[tuple[int, str, str, str]], list[list[float]]]:
    """Return the demo run's series, and its values hour by hour."""
    with closing(sqlite3.connect(DEMO)) as database:
        series = database.execute(
            "SELECT ReportDataDictionaryIndex, KeyValue, Name, Units FROM ReportDataDictionary "
            "ORDER BY 1"
        ).fetchall()
        values = [
            value
            for (value,) in database.execute(
                "SELECT Value FROM ReportData ORDER BY TimeIndex, ReportDataDictionaryIndex"
            )
        ]
    n = len(series)
    return series, [values[k : k + n] for k in range(0, len(values), n)]


def spread(n_own: int, n_all: int) -> tuple[list[int], list[int]]:
    """Return indices of the run's own series, spread evenly, and those of the invented ones."""
    own = [7 + k * (n_all // n_own) for k in range(n_own)]
    return own, sorted(set(range(7, 7 + n_all)) - set(own))


def make_sql(folder: Path) -> Path:
    """Write a .sql file: the demo run's own series and many among them."""
    path = folder / "eplusout.sql"
    series, hours = demo_run()
    own, more = spread(len(series), int(SQL_MB * 2**20 / SQL_ROW / len(hours)))
    indices = [*own, *more]
    order = sorted(range(len(indices)), key=indices.__getitem__)
    draw = random.Random(1)  # noqa: S311 - no secret
    pool = [draw.uniform(-20.0, 40.0) for _ in range(4 * len(more))]
    with closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA journal_mode = OFF")
        database.execute("PRAGMA synchronous = OFF")
        database.execute("ATTACH ? AS demo", (str(DEMO),))
        for (statement,) in database.execute(
            "SELECT sql FROM demo.sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'"
        ).fetchall():
            database.execute(statement)
        for table in TABLES:
            database.execute(f"INSERT INTO main.{table} SELECT * FROM demo.{table}")  # noqa: S608 - our own names
        # From the last on, so that no new index is still another's old one.
        database.executemany(
            "UPDATE ReportDataDictionary SET ReportDataDictionaryIndex = -? "
            "WHERE ReportDataDictionaryIndex = ?",
            [(index, old) for index, (old, *_) in zip(own, series, strict=True)],
        )
        database.execute(
            "UPDATE ReportDataDictionary SET ReportDataDictionaryIndex = -ReportDataDictionaryIndex"
        )
        database.executemany(
            "INSERT INTO ReportDataDictionary SELECT ?, IsMeter, Type, IndexGroup, TimestepType, "
            "?, 'Filling Temperature', ReportingFrequency, NULL, 'C' "
            "FROM demo.ReportDataDictionary LIMIT 1",
            [(index, f"FILLING {index}") for index in more],
        )
        times = [t for (t,) in database.execute("SELECT TimeIndex FROM Time ORDER BY 1")]
        for hour, (time, values) in enumerate(zip(times, hours, strict=True)):
            shift = 37 * hour % (3 * len(more))
            row = [*values, *pool[shift : shift + len(more)]]
            database.executemany(
                "INSERT INTO ReportData (TimeIndex, ReportDataDictionaryIndex, Value) "
                "VALUES (?, ?, ?)",
                [(time, indices[k], row[k]) for k in order],
            )
        database.commit()
    return path


def make_eso(folder: Path) -> Path:
    """Write an .eso file and its .eio file: idem."""
    path = folder / "eplusout.eso"
    path.with_suffix(".eio").write_text(EIO, encoding="utf-8")
    series, hours = demo_run()
    own, more = spread(len(series), int(ESO_MB * 2**20 / ESO_ROW / len(hours)))
    draw = random.Random(1)  # noqa: S311 - no secret
    # Of 24 hours, what lies after each of the run's own lines.
    edges = [*own[1:], more[-1] + 1]
    between = [
        [
            "".join(f"{k},{draw.uniform(-20.0, 40.0)!r}\n" for k in range(low + 1, high))
            for low, high in zip(own, edges, strict=True)
        ]
        for _ in range(24)
    ]
    names = {index: entry[1:] for index, entry in zip(own, series, strict=True)}
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(ESO_HEAD)
        for index in sorted([*own, *more]):
            key, name, unit = names.get(index, (f"FILLING {index}", "Filling Temperature", "C"))
            file.write(f"{index},1,{key},{name} [{unit}] !Hourly\n")
        file.write("End of Data Dictionary\n1,LARCH YEAR,  46.50,  10.00,   1.00, 900.00\n")
        month_days = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
        dates = [(m, d) for m, n in enumerate(month_days, 1) for d in range(1, n + 1)]
        for hour, values in enumerate(hours):
            month, day = dates[hour // 24]
            file.write(
                f"2,{hour // 24 + 1},{month:2d},{day:2d}, 0,{hour % 24 + 1:2d}, 0.00,60.00,Sunday\n"
            )
            for index, value, rest in zip(own, values, between[7 * hour % 24], strict=True):
                file.write(f"{index},{value!r}\n{rest}")
        file.write("End of Data\n Number of Records Written=      0\n")
    return path


if __name__ == "__main__":
    main()
