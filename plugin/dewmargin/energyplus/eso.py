"""Standard output (.eso) of the engine, read as a stream: only what is wanted is kept.

A dictionary gives each series a number. Then follow, line by line, the titles of environments
(number 1), time stamps of steps (number 2) and, under each stamp, the numbers and values of what
was reported. The .eio file beside it tells the rest.
"""

from __future__ import annotations

import re
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING

import numpy as np

from dewmargin.energyplus.eio import DescribedRun, Environment, read_eio
from dewmargin.energyplus.output_file import AGAIN, ROW, RunPeriod, Series, decoded, is_sum, numbers
from dewmargin.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from dewmargin.columns import IntArray

LONGEST_LINE = 2**20  # bytes; lines have some tens of them
CHUNK = 2**22  # bytes read at once: more is no faster

_FREQUENCIES = {"Hourly": "Hourly", "TimeStep": "Zone Timestep"}
_ENTRY = re.compile(
    r"(?P<index>\d{1,9}),\d+,(?P<key>[^,]*),(?P<name>.*?) ?\[(?P<unit>[^\]]*)\] *!"
    r"(?P<often>[^,\[]*)(?:,(?P<schedule>[^\[]*))?"
)
_STAMP = re.compile(
    rb" *\d+, *(?P<month>\d{1,2}), *(?P<day>\d{1,2}), *\d+, *(?P<hour>\d{1,2}), *\d+\.?\d*,"
    rb" *(?P<last>\d{1,3}(?:\.\d*)?),.*"
)
_DICTIONARY_END, _END = b"End of Data Dictionary", b"\nEnd of Data"


class EsoRun(DescribedRun):
    """An opened .eso file."""

    stamp = "time stamp"

    def __init__(self, path: Path, file: IO[bytes]) -> None:
        self.file = file
        description = read_eio(path)
        if not file.readline(LONGEST_LINE).startswith(b"Program Version,"):
            raise InputError("is no EnergyPlus .eso file", file=path)
        found: dict[int, tuple[Series, str, bool]] = {}
        while not (raw := file.readline(LONGEST_LINE)).startswith(_DICTIONARY_END):
            if not raw.endswith(b"\n"):
                raise InputError("ends in its dictionary", file=path, hint=AGAIN)
            entry = _ENTRY.match(decoded(raw))
            if entry is None:  # reports' own time stamps, and meters, which have no key
                continue
            index = int(entry["index"])
            if index in found:
                raise InputError(
                    f"has two entries of number {index} in its dictionary", file=path, hint=AGAIN
                )
            often = entry["often"].strip()
            series = Series(
                index, entry["name"].strip(), entry["key"], entry["unit"], is_sum(entry["unit"])
            )
            switched = bool((entry["schedule"] or "").strip())
            found[index] = (series, _FREQUENCIES.get(often, often), switched)
        self.start = file.tell()
        self.unfinished = None if self._ended() else "does not end with 'End of Data'"
        # Series that a schedule switches are incomplete: they come last and replace none.
        entries = sorted(found.values(), key=lambda entry: (entry[2], entry[0].index))
        self.by_index = {series.index: series for series, _, _ in entries}
        super().__init__(path, description, [(series, often) for series, often, _ in entries])

    def _ended(self) -> bool:
        """Return whether the file ends as the engine ends it."""
        size = self.file.seek(0, 2)
        self.file.seek(max(self.start - 1, size - LONGEST_LINE // 256))
        return _END in self.file.read()

    def values(
        self,
        environment: RunPeriod,
        frequency: str,  # noqa: ARG002 - the numbers are of one frequency
        wanted: list[int],
    ) -> tuple[NDArray[np.void], IntArray]:
        """Return the rows of the wanted series in the run period, and its stamps."""
        chosen = self.description.environments[environment.index]
        rows: list[NDArray[np.void]] = []
        stamps: list[bytes] = []
        times: list[int] = []
        series: list[bytes] = []
        values: list[bytes] = []
        place = -1  # of the environment that is being read
        stamp: bytes | None = None
        for lines in self._lines(wanted):
            for what, rest in lines:
                if what == b"2":
                    stamp = rest
                elif what == b"1":
                    place, stamp = self._next_environment(place, rest), None
                elif place == environment.index:
                    if stamp is not None and (not stamps or stamp != stamps[-1]):
                        stamps.append(stamp)
                    times.append(len(stamps) - 1)
                    series.append(what)
                    values.append(rest)
            rows.append(self._rows(times, series, values))
            for each in (times, series, values):
                each.clear()
        return np.concatenate(rows), self._stamps(stamps, chosen)

    def _lines(self, wanted: list[int]) -> Iterator[list[tuple[bytes, bytes]]]:
        """Yield lines of titles, time stamps and wanted series: their number, and the rest."""
        numbers = b"|".join(str(index).encode() for index in (1, 2, *wanted))
        pattern = re.compile(rb"\n(" + numbers + rb"),([^\n]*)")
        self.file.seek(self.start)
        tail = b"\n"
        while chunk := self.file.read(CHUNK):
            text = tail + chunk
            end = text.rfind(b"\n")
            tail = text[end:]
            if len(tail) > LONGEST_LINE:
                raise InputError(
                    f"has a line longer than {LONGEST_LINE >> 10} KB", file=self.path, hint=AGAIN
                )
            yield pattern.findall(text, 0, end)
        yield pattern.findall(tail)

    def _next_environment(self, place: int, title: bytes) -> int:
        """Return the place, in the .eio file, of the environment whose title comes next."""
        name = decoded(title.split(b",", 1)[0]).strip()
        for later in range(place + 1, len(self.description.environments)):
            if self.description.environments[later].name.casefold() == name.casefold():
                return later
        raise InputError(
            f"has an environment {name!r} that {self.description.path.name} does not tell there",
            file=self.path,
            hint="the two files are of different runs, or damaged; run the simulation again",
        )

    def _rows(self, times: list[int], series: list[bytes], values: list[bytes]) -> NDArray[np.void]:
        rows = np.empty(len(values), dtype=ROW)
        rows["time"] = times
        rows["series"] = np.array(series, dtype=bytes).astype(np.int64) if series else []
        rows["value"] = numbers(values)
        bad = np.flatnonzero(np.isnan(rows["value"]) | (rows["time"] < 0)).tolist()
        if bad:
            one = self.by_index[int(rows["series"][bad[0]])]
            got = decoded(values[bad[0]].strip()[:40])
            before = rows["time"][bad[0]] < 0
            raise InputError(
                "has a value before any time stamp" if before else f"must be a number, got {got!r}",
                file=self.path,
                where=f"{one.key}: {one.name}",
                hint=AGAIN,
            )
        return rows

    def _stamps(self, texts: list[bytes], environment: Environment) -> IntArray:
        """Return index, year, month, day, hour, minute of the ends of steps."""
        stamps = np.zeros((len(texts), 6), dtype=np.int64)
        year, before = environment.first[2], (0, 0)
        for place, text in enumerate(texts):
            found = _STAMP.fullmatch(text)
            if found is None or len(text) > 200:  # noqa: PLR2004 - a stamp has some 50 bytes
                raise InputError(
                    f"{decoded(text[:60])!r} is no time stamp of a step",
                    file=self.path,
                    where=f"{self.stamp} {place + 1}",
                    hint=AGAIN,
                )
            month, day, hour = (int(found[part]) for part in ("month", "day", "hour"))
            # Minutes of detailed steps are fractional; ours are whole, or no end of a step.
            minute = float(found["last"])
            end_min = 60 * (hour - 1) + (int(minute) if minute == int(minute) else -1)
            year += bool(year) and before == (12, 31) and (month, day) == (1, 1)
            before = (month, day)
            stamps[place] = (place, year, month, day, *divmod(end_min, 60))
        return stamps


@contextmanager
def opened(path: Path) -> Iterator[EsoRun]:
    """Open a file for reading, and close it again."""
    with path.open("rb") as file:
        yield EsoRun(path, file)
