"""A scenario, checked; from here on only valid objects exist."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, Field, model_validator
from pydantic.errors import PydanticUserError
from pydantic.json_schema import models_json_schema

from dewmargin.core import extensions, toml_file
from dewmargin.core.toml_file import checked
from dewmargin.equipment.supply import Supply
from dewmargin.errors import ExtensionError, InputError
from dewmargin.inputs import Inputs
from dewmargin.physics.assembly import Assembly
from dewmargin.scenario.doubts import Doubt
from dewmargin.scenario.surface import SurfaceInput
from dewmargin.space.tariff import Tariff
from dewmargin.strategies.control import IDEAL, Control
from dewmargin.strategies.modified import Modified, Modifiers
from dewmargin.weather.epw import Weather, read_epw

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.contracts import Equipment, Report, SpaceReader, Strategy
    from dewmargin.site.site_file import AsMeasured

LONGEST_NAME = 80
SEPARATOR = " | "  # between the names that make an option's
BASELINE = "no humidifier"
REPORTS = ({"kind": "parquet"}, {"kind": "csv"}, {"kind": "page"})  # where a scenario names none


class WeatherInput(Inputs):
    """The weather file."""

    file: str = Field(description="EPW file, relative to the scenario")
    year: int | None = Field(
        default=None, description="year to take from a file of several; default: its only one"
    )


class Comfort(Inputs):
    """What counts as dry, humid and heating season, and how much condensation is accepted."""

    low_rh: float = Field(default=0.30, ge=0, le=1, description="edge of dry; EN 15251 category I")
    high_rh: float = Field(default=0.50, ge=0, le=1, description="edge of humid; US EPA guidance")
    heating_season_below_c: float = Field(
        default=15.0, ge=-50, le=40, description="daily mean outdoor temperature; our choice"
    )
    accepted_dry_h: float = Field(
        default=168.0,
        ge=0,
        le=8784,
        description="dry hours of the heating season that need no humidifier; a week, our choice",
    )
    extra_condensation_h: float = Field(
        default=24.0,
        ge=0,
        le=8784,
        description="condensation hours beyond those without humidifier that the verdict accepts; "
        "our choice",
    )

    @model_validator(mode="after")
    def _edges_in_order(self) -> Comfort:
        """Refuse a band whose dry edge is not the lower one."""
        if not self.low_rh < self.high_rh:
            raise ValueError(
                f"low_rh must be below high_rh, got {self.low_rh:g} and {self.high_rh:g}"
            )
        return self


class _ScenarioFile(Inputs):
    """The file as a whole; strategies, equipment and space are checked by their own classes."""

    title: str = Field(min_length=1)
    weather: WeatherInput | None = None
    space: dict[str, dict[str, Any]]
    surfaces: list[SurfaceInput] = Field(default=[])
    strategies: list[dict[str, Any]] = Field(min_length=1)
    equipment: list[dict[str, Any]] = Field(min_length=1)
    supplies: list[Supply] = Field(min_length=1)
    comfort: Comfort = Comfort()
    control: Control = IDEAL
    tariff: Tariff | None = None
    assembly: Assembly | None = None
    reports: list[dict[str, Any]] = Field(default=[])
    doubts: list[Doubt] = Field(default=[])


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """A checked scenario.

    Attributes
    ----------
    file : Path
        Where it was read.
    sha256 : str
        Hash of the file.
    title : str
    weather : WeatherInput or None
    space_kind : str
        "house" or "simulation".
    space : SpaceReader
    surfaces : tuple of SurfaceInput
    strategies, equipment, supplies : tuple
        In the order of the file; every combination is an option.
    comfort : Comfort
    tariff : Tariff or None
        What energy and water cost, if the user gives it.
    assembly : Assembly or None
        A wall or roof to screen for condensation inside it.
    control : Control
        What the controller's sensors show, and how it switches.
    reports : tuple
        What writes the results; empty: not given, see `writers`.
    doubts : tuple of Doubt
        What is not known for sure; empty: the usual doubts.
    site : AsMeasured or None
        What a visit put in the place of what the file says; see `visit.with_visit`.
    """

    file: Path
    sha256: str
    title: str
    weather: WeatherInput | None
    space_kind: str
    space: SpaceReader
    surfaces: tuple[SurfaceInput, ...]
    strategies: tuple[Strategy, ...]
    equipment: tuple[Equipment, ...]
    supplies: tuple[Supply, ...]
    comfort: Comfort
    tariff: Tariff | None
    assembly: Assembly | None = None
    control: Control = IDEAL
    reports: tuple[Report, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    site: AsMeasured | None = None

    def __repr__(self) -> str:
        """Return title, file and extent in two lines; `resolved` has every input."""
        return (
            f"<Scenario {self.title!r} of {self.file}: {self.space_kind}\n "
            f"surfaces: {len(self.surfaces)}, strategies: {len(self.strategies)}, "
            f"equipment: {len(self.equipment)}, supplies: {len(self.supplies)}>"
        )

    def parts(self) -> Iterator[tuple[str, BaseModel]]:
        """Yield every input object with its key, for `check` and the manifest."""
        if self.weather is not None:
            yield "weather", self.weather
        yield f"space.{self.space_kind}", _model(self.space)
        for key in ("surfaces", "strategies", "equipment", "supplies"):
            for i, part in enumerate(getattr(self, key)):
                if isinstance(part, Modified):
                    yield f"{key}[{i}]", _model(part.rule)
                    for name, modifier in part.modifiers:
                        if modifier is not None:
                            yield f"{key}[{i}].{name}", modifier
                else:
                    yield f"{key}[{i}]", _model(part)
        yield "comfort", self.comfort
        yield "control", self.control
        if self.tariff is not None:
            yield "tariff", self.tariff
        if self.assembly is not None:
            yield "assembly", self.assembly
        for key, listed in (("reports", self.reports), ("doubts", self.doubts)):
            yield from ((f"{key}[{i}]", _model(part)) for i, part in enumerate(listed))

    def writers(self) -> tuple[Report, ...]:
        """Return the reports that write the results: those given, or `REPORTS`."""
        return self.reports or tuple(_parts("report", "reports", REPORTS, self.file))

    def resolved(self) -> dict[str, Any]:
        """Return the scenario with every default filled in."""
        parts = {key: part.model_dump(mode="json") for key, part in self.parts()}
        return {"title": self.title} | parts

    def given(self) -> list[tuple[str, Any]]:
        """Return every input that was given: key and value."""
        return [found for key, part in self.parts() for found in _given(key, part)]

    def defaults(self) -> list[tuple[str, Any, str]]:
        """Return every default in use: key, value (None: not given), and where it comes from."""
        return [found for key, part in self.parts() for found in _defaults(key, part)]

    def read_weather(self) -> Weather | None:
        """Read the weather file, if one is named."""
        if self.weather is None:
            return None
        return read_epw(self.file.parent / self.weather.file, year=self.weather.year)

    def case(self, weather: Weather | None) -> HourlyCase:
        """Read the space and its surfaces.

        Raises
        ------
        InputError
            If an input cannot be read, or a surface is not in the simulation.
        """
        try:
            case = self.space.case(weather=weather, folder=self.file.parent)
            return self.with_surfaces(case)
        except InputError as error:
            raise self.placed(error) from error

    def with_surfaces(self, case: HourlyCase) -> HourlyCase:
        """Return the space's case with the surfaces that this scenario names."""
        found = tuple(
            surface.year(case, f"surfaces[{i}]") for i, surface in enumerate(self.surfaces)
        )
        told = [note for surface in self.surfaces if (note := surface.note()) is not None]
        return case.with_surfaces(found, tuple(told))

    def placed(self, error: InputError) -> InputError:
        """Return an error about a key of this file with the file's name in front."""
        if error.file is not None:
            return error
        return type(error)(error.what, file=self.file, where=error.where, hint=error.hint)


def _model(part: object) -> BaseModel:
    assert isinstance(part, BaseModel)  # noqa: S101 - `_part` made it
    return part


def load(path: str | Path) -> Scenario:
    """Read and check a scenario file.

    Parameters
    ----------
    path : path
        TOML, at most 1 MB.

    Returns
    -------
    Scenario

    Raises
    ------
    InputError
        If the file cannot be read, a key is unknown, missing or has a bad value; the message names
        the file and the key, and what to do.
    """
    path = Path(path)
    return parse(toml_file.read(path, "a scenario"), path)


def parse(raw: bytes, path: Path) -> Scenario:
    """Check a scenario's text, as `load` does; `path` is where it lies, or would lie."""
    top = checked(_ScenarioFile, toml_file.document(raw, path), path, "")
    kind, *others = top.space or {"": {}}
    if others or kind not in extensions.names("reader"):
        got = ", ".join(top.space) or "none"
        known = list(extensions.names("reader"))
        near = get_close_matches(kind, known, n=1)
        guess = f"did you mean {near[0]!r}? " if near and kind not in known else ""
        raise InputError(
            f"must hold exactly one space, got {got[:80]}",
            file=path,
            where="space",
            hint=f"{guess}one of: {', '.join(known)}",
        )
    scenario = Scenario(
        file=path,
        sha256=hashlib.sha256(raw).hexdigest(),
        title=top.title,
        weather=top.weather,
        space_kind=kind,
        space=checked(_load("reader", kind, path, "space"), top.space[kind], path, f"space.{kind}"),
        surfaces=tuple(top.surfaces),
        strategies=tuple(strategies_of(top.strategies, path)),
        equipment=tuple(_parts("equipment", "equipment", top.equipment, path)),
        supplies=tuple(top.supplies),
        comfort=top.comfort,
        tariff=top.tariff,
        assembly=top.assembly,
        control=top.control,
        reports=tuple(_parts("report", "reports", top.reports, path)),
        doubts=tuple(top.doubts),
    )
    for key in ("surfaces", "strategies", "equipment", "supplies"):
        _require_distinct_names(path, key, [part.name for part in getattr(scenario, key)])
    return scenario


def strategies_of(tables: Sequence[dict[str, Any]], path: Path) -> list[Strategy]:
    """Check each strategy by its rule's class, and the modifiers beside the rule's own keys.

    Raises
    ------
    InputError
        If a table is refused; `path` is the file that the message names.
    """
    made: list[Strategy] = []
    for table, where in _numbered("strategies", tables):
        model = _chosen("strategy", table, path, where)
        beside = [key for key in Modifiers.model_fields if key not in model.model_fields]
        own = {key: value for key, value in table.items() if key not in beside}
        rule = checked(model, own, path, where, beside=beside)
        around = {key: value for key, value in table.items() if key in beside}
        modifiers = checked(Modifiers, around, path, where)
        made.append(Modified(rule=rule, modifiers=modifiers) if around else rule)
    return made


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a scenario file, with everything that is installed.

    Quantities are numbers here; a file may also write them as texts with a unit. An extension that
    cannot be used is left out, and a comment of the schema says why.
    """
    models, broken = _installed_models()
    named: list[type[BaseModel]] = [
        WeatherInput,
        SurfaceInput,
        Supply,
        Comfort,
        Control,
        Tariff,
        Assembly,
        Modifiers,
        Doubt,
    ]
    refs, defined = models_json_schema(
        [(model, "validation") for model in named + list(models.values())],
        ref_template="#/$defs/{model}",
    )

    def ref(model: type[BaseModel]) -> dict[str, Any]:
        return dict(refs[model, "validation"])

    def keys_of(model: type[BaseModel]) -> dict[str, Any]:
        found: dict[str, Any] = defined["$defs"][ref(model)["$ref"].rpartition("/")[2]][
            "properties"
        ]
        return found

    for model in (model for (kind, _), model in models.items() if kind == "strategy"):
        own = keys_of(model)
        own |= {key: about for key, about in keys_of(Modifiers).items() if key not in own}

    def of_kind(kind: str) -> dict[str, dict[str, Any]]:
        return {name: ref(model) for (each, name), model in models.items() if each == kind}

    def any_of(kind: str, least: int, about: str) -> dict[str, Any]:
        choices = list(of_kind(kind).values())
        return {
            "description": about,
            "type": "array",
            "minItems": least,
            "items": {"anyOf": choices},
        }

    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "dewmargin scenario",
        **({"$comment": f"left out: {'; '.join(broken)}"} if broken else {}),
        "type": "object",
        "additionalProperties": False,
        "required": ["title", "space", "strategies", "equipment", "supplies"],
        "properties": {
            "title": {"type": "string", "minLength": 1, "description": "what reports call it"},
            "weather": ref(WeatherInput),
            "space": {
                "description": "exactly one: the building, and what its air does",
                "type": "object",
                "additionalProperties": False,
                "minProperties": 1,
                "maxProperties": 1,
                "properties": of_kind("reader"),
            },
            "surfaces": {"type": "array", "items": ref(SurfaceInput)},
            "strategies": any_of("strategy", 1, "rules that choose the relative humidity to hold"),
            "equipment": any_of("equipment", 1, "humidifiers"),
            "supplies": {"type": "array", "minItems": 1, "items": ref(Supply)},
            "comfort": ref(Comfort),
            "control": ref(Control),
            "tariff": ref(Tariff),
            "assembly": ref(Assembly),
            "reports": any_of("report", 0, "what is written; default: parquet, csv and page"),
            "doubts": {"type": "array", "items": ref(Doubt)},
        },
        "$defs": defined["$defs"],
    }


def _installed_models() -> tuple[dict[tuple[str, str], type[BaseModel]], list[str]]:
    """Return the classes of all extensions, by kind and name, and why others are left out."""
    models: dict[tuple[str, str], type[BaseModel]] = {}
    broken: list[str] = []
    for kind in extensions.GROUPS:
        for name in extensions.names(kind):
            try:
                model = extensions.load(kind, name)
                model.model_json_schema()
            except ExtensionError as error:
                broken.append(str(error))
            except PydanticUserError:
                broken.append(f"the {kind} {name!r} has a key that JSON Schema cannot describe")
            else:
                models[kind, name] = model
    return models, broken


def _given(key: str, part: BaseModel) -> Iterator[tuple[str, Any]]:
    for name in type(part).model_fields:
        value = getattr(part, name)
        if name not in part.model_fields_set or value is None:
            continue
        if isinstance(value, BaseModel):
            yield from _given(f"{key}.{name}", value)
        elif isinstance(value, (list, tuple)) and value and isinstance(value[0], BaseModel):
            for i, each in enumerate(value):
                yield from _given(f"{key}.{name}[{i}]", each)
        else:
            yield f"{key}.{name}", value


def _defaults(key: str, part: BaseModel) -> list[tuple[str, Any, str]]:
    rows: list[tuple[str, Any, str]] = []
    idle = part.idle() if isinstance(part, SurfaceInput) else {}
    for name, info in type(part).model_fields.items():
        value = getattr(part, name)
        if isinstance(value, BaseModel):
            rows += _defaults(f"{key}.{name}", value)
        elif name not in part.model_fields_set | idle.keys() and not info.is_required():
            # A description says what the key means and, after "default: ", where that comes from.
            meaning, _, source = (info.description or "").partition("default: ")
            if source or value is not None:
                rows.append((f"{key}.{name}", value, source or meaning))
    return rows


def _require_distinct_names(path: Path, key: str, names: list[str]) -> None:
    seen: dict[str, int] = {}
    for i, name in enumerate(names):
        where = f"{key}[{i}].name"
        if not name.strip():
            raise InputError("must not be empty", file=path, where=where)
        if len(name) > LONGEST_NAME or not name.isprintable():
            hint = f"at most {LONGEST_NAME} printable characters"
            raise InputError(
                f"cannot be a name, got {name[:40]!r}", file=path, where=where, hint=hint
            )
        if SEPARATOR in name or name == BASELINE:
            hint = "option names are made of it"
            raise InputError(
                f"must not hold {SEPARATOR!r} or be {BASELINE!r}", file=path, where=where, hint=hint
            )
        if name in seen:
            raise InputError(
                f"{name!r} is also the name of {key}[{seen[name]}]",
                file=path,
                where=f"{key}[{i}].name",
                hint="names must differ",
            )
        seen[name] = i


def _load(kind: str, name: str, path: Path, where: str) -> type[Any]:
    try:
        return extensions.load(kind, name)
    except ExtensionError as error:
        raise ExtensionError(error.what, file=path, where=where, hint=error.hint) from error


def _parts(kind: str, key: str, tables: Sequence[dict[str, Any]], path: Path) -> list[Any]:
    """Check each table of a list by the class that its selector names."""
    return [
        checked(_chosen(kind, table, path, where), table, path, where)
        for table, where in _numbered(key, tables)
    ]


def _numbered(key: str, tables: Sequence[dict[str, Any]]) -> Iterator[tuple[dict[str, Any], str]]:
    return ((table, f"{key}[{i}]") for i, table in enumerate(tables))


def _chosen(kind: str, table: dict[str, Any], path: Path, where: str) -> type[Any]:
    """Return the class that a table's selector names."""
    selector = extensions.SELECTORS[kind]
    chosen = table.get(selector)
    if not isinstance(chosen, str):
        known = ", ".join(extensions.names(kind))
        raise InputError(
            "is missing" if chosen is None else f"must be a text, got {chosen!r}",
            file=path,
            where=f"{where}.{selector}",
            hint=f"one of: {known}",
        )
    return _load(kind, chosen, path, f"{where}.{selector}")
