"""The pages of the documentation: what is generated in them, their blocks and their links."""

from __future__ import annotations

import ast
import importlib
import inspect
import json
import re
import tomllib
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.testing import CliRunner

import dewmargin
from dewmargin import columns, physics
from dewmargin.cli import cli
from dewmargin.inputs import unit_of
from dewmargin.physics import glazing
from dewmargin.scenario import json_schema
from dewmargin.site.site_file import PadVisit, Visit
from dewmargin.studies.sweep.plan import SweepFile

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import ModuleType

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "plugin" / "dewmargin"
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
DOCS = ROOT / "plugin" / "docs"
STUDY = ROOT / "scenarios" / "study" / "answer.md"
PAGES = [
    README,
    DEVELOPERS,
    ROOT / "plugin" / "CHANGELOG.md",
    *sorted(DOCS.glob("*.md")),
    ROOT / "weather" / "README.md",
    STUDY,
    *sorted((ROOT / "tests").glob("*/README.md")),
]
TABLES = {
    "comparison": columns.COMPARISON,
    "surfaces": columns.SURFACES,
    "hourly": columns.HOURLY,
    "surfaces_hourly": columns.SURFACES_HOURLY,
    "settings": columns.SETTINGS,
    "limits": columns.LIMITS,
    "worst_hours": columns.WORST_HOURS,
    "daily": columns.DAILY,
    "monthly": columns.MONTHLY,
    "duration": columns.DURATION,
    "assembly": columns.ASSEMBLY,
    "assembly_months": columns.ASSEMBLY_MONTHS,
    "frontier": columns.FRONTIER[: -len(columns.YEARLY)],
    "loads": columns.LOADS,
    "design_loads": columns.DESIGN_LOADS,
    "load_duration": columns.LOAD_DURATION,
    "sizes": columns.SIZES,
    "spread": columns.SPREAD,
    "breaks": columns.BREAKS,
    "sensitivity": columns.SENSITIVITY,
    "draws": columns.DRAWS[: -len(columns.YEARLY)],
}
MARKS = re.compile(r"(<!-- generated: (.+?) -->\n).*?(<!-- end -->)", re.DOTALL)
_FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
_CODE = re.compile(r"`([^`\n]+)`")
_LINK = re.compile(r"\[(?:[^\[\]]|\[[^\]]*\])*\]\(([^)\s]+)\)")
_PLAIN = {
    "number": "number",
    "integer": "whole number",
    "string": "text",
    "boolean": "`true` or `false`",
    None: "value",
}
_UNITS = (("**", ""), ("hour", "h"), ("delta_degC", "K"), ("degC", "°C"), ("minute", "min"))


def name_of(page: Path) -> str:
    """Return a page's path in the repository."""
    return page.relative_to(ROOT).as_posix()


def text_of(page: Path) -> str:
    return page.read_text(encoding="utf-8")


# What a page holds.


def blocks(page: Path, language: str) -> list[str]:
    """Return the fenced blocks of a language."""
    return [body for kind, body in _FENCE.findall(text_of(page)) if kind == language]


def prose(page: Path) -> str:
    """Return a page without its fenced blocks."""
    return _FENCE.sub("", text_of(page))


def inline_code(page: Path) -> list[str]:
    return _CODE.findall(prose(page))


def links(page: Path) -> list[str]:
    """Return the targets of a page's links, those in code left out."""
    return _LINK.findall(_CODE.sub("", prose(page)))


def paths_in(page: Path) -> list[str]:
    """Return the paths that a page names: of the repository, or of modules in the package."""
    texts = [*_CODE.findall(prose(page)), *(body for _, body in _FENCE.findall(text_of(page)))]
    tops = {"plugin", "tests", "scenarios", "weather", *(p.name for p in PACKAGE.iterdir())}
    words = [word.strip(",;:()'\"") for text in texts for word in text.split()]
    return [w for w in words if "/" in w.rstrip("/") and w.partition("/")[0] in tops]


def is_there(path: str) -> bool:
    """Tell whether there is a file, a module, or something of that name in a module."""
    if any(ROOT.glob(path)) or (PACKAGE / path).exists():
        return True
    try:
        resolve(f"dewmargin.{path.rstrip('/').replace('/', '.')}")
    except AttributeError:
        return False
    return True


def slug(heading: str) -> str:
    """Return the anchor of a heading, as hosts of repositories make it."""
    plain = re.sub(r"[^\w\- ]", "", heading.replace("`", "").lower())
    return plain.strip().replace(" ", "-")


def anchors(page: Path) -> list[str]:
    return [slug(found) for found in re.findall(r"^#+ (.+)$", prose(page), re.MULTILINE)]


def commands_in(text: str) -> Iterator[list[str]]:
    """Yield the calls of the program in a text of the shell: the arguments after its name."""
    for line in text.replace("\\\n", " ").splitlines():
        plain = re.sub(r"\s+#.*$", "", line.removeprefix("$ "))
        for call in re.split(r"&&|\|", plain):
            words = re.findall(r'"[^"]*"|\S+', call)
            if words and words[0].rpartition("/")[2] == "dewmargin":
                yield [word.strip('"') for word in words[1:]]


def refuse_unknown(arguments: list[str]) -> None:
    """Raise unless a call's command and options exist.

    Raises
    ------
    click.UsageError
        If the program has no such command, or the command no such option.
    """
    context, rest = click.Context(cli, info_name="dewmargin"), arguments
    while isinstance(group := context.command, click.Group) and rest:
        if rest[0].startswith("-"):
            break
        _, command, rest = group.resolve_command(context, rest)
        assert command is not None
        context = click.Context(command, parent=context)
    context.command.make_parser(context).parse_args(list(rest))


def names_in(code: str) -> list[str]:
    """Return the names below `dewmargin` that a Python text uses, each from its root."""
    tree = ast.parse(code.replace("…", "..."))
    roots: dict[str, str] = {"dewmargin": "dewmargin"}
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and str(node.module).startswith("dewmargin"):
            roots |= {each.asname or each.name: f"{node.module}.{each.name}" for each in node.names}
            found |= {f"{node.module}.{each.name}" for each in node.names}
    inner = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Attribute)}
    for node in ast.walk(tree):
        chain, below = [], node
        while isinstance(below, ast.Attribute):
            chain.append(below.attr)
            below = below.value
        if isinstance(below, ast.Name) and below.id in roots and chain and id(node) not in inner:
            found.add(".".join([roots[below.id], *reversed(chain)]))
    return sorted(found)


def resolve(name: str) -> object:
    """Return what a dotted name is.

    Raises
    ------
    AttributeError
        If there is no such thing.
    """
    found: object = dewmargin
    parts = name.split(".")
    for i, part in enumerate(parts[1:], start=2):
        with suppress(ModuleNotFoundError):
            importlib.import_module(".".join(parts[:i]))
        if not hasattr(found, part):
            raise AttributeError(f"there is no {name}")
        found = getattr(found, part)
    return found


def command_names(group: click.Group) -> list[str]:
    """Return the commands of a group as they are typed, those of its groups after theirs."""
    context = click.Context(group)
    names = []
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        names.append(name)
        if isinstance(command, click.Group):
            names += [f"{name} {each}" for each in command_names(command)]
    return names


# What is generated.


def expected_marks() -> set[str]:
    """Return what must be generated somewhere in the pages, once."""
    marks = {f"table {table}" for table in TABLES} | {f"help {c}" for c in command_names(cli)}
    marks |= {f"keys {model}" for model in models()} | {f"physics {m}" for m in physics_modules()}
    return marks | {"glazing", "map", "study"}


def generated(kind: str, page: Path) -> str:  # noqa: PLR0911 - one for each kind
    """Return what belongs between the marks of a page."""
    kind, _, name = kind.partition(" ")
    match kind:
        case "help":
            return _help(name)
        case "table":
            rows = [f"| `{c.name}` | {c.unit} | {c.meaning} |" for c in TABLES[name]]
            return "\n".join(["| column | unit | meaning |", "|---|---|---|", *rows])
        case "keys":
            return "\n".join(_keys(name, page))
        case "physics":
            return "\n".join(_functions(name))
        case "glazing":
            return "\n".join(_glazing())
        case "map":
            return "\n".join(["```text", *_floors(), "```"])
        case "study":
            return "\n".join(re.findall(r"^\d\. .+$", text_of(STUDY), re.MULTILINE))
    raise AssertionError(f"nothing is generated for {kind!r}")


def _help(command: str) -> str:
    result = CliRunner().invoke(cli, [*command.split(), "--help"], prog_name="dewmargin")
    return f"```text\n{result.output.rstrip()}\n```"


def _glazing() -> list[str]:
    """Return the default temperature indices as tables."""
    parts = ("edge", "sightline")
    head = ["kind", "centre", *(f"{part}, {s}" for part in parts for s in glazing.SPACERS)]
    rows = [f"| {' | '.join(head)} |", "|---" * len(head) + "|"]
    for kind, found in glazing.GLAZING.items():
        indices = [found.centre, *found.edge, *found.sightline]
        rows.append(f"| `{kind}` | {' | '.join(f'{index:.2f}' for index in indices)} |")
    rows += ["", "| frame | U, W/(m2 K) | index |", "|---|---|---|"]
    for name, frame in glazing.FRAMES.items():
        rows.append(f"| `{name}` | {frame.u_factor_w_m2_k:g} | {frame.index:.2f} |")
    return rows


@cache
def models() -> dict[str, dict[str, Any]]:
    """Return the JSON Schema of every table of a scenario, a sweep and a site file, by class."""
    scenario = json_schema()
    found: dict[str, dict[str, Any]] = {"scenario": scenario} | scenario["$defs"]
    for model in (SweepFile, Visit, PadVisit):
        schema = model.model_json_schema()
        found |= schema.pop("$defs", {}) | {model.__name__: schema}
    return found


@cache
def _homes() -> dict[str, tuple[Path, str]]:
    """Return where the keys of each class stand: page, and the heading above them."""
    found = {}
    for page in DOCS.glob("*.md"):
        heading = ""
        for line in text_of(page).splitlines():
            if line.startswith("#"):
                heading = line.lstrip("# ")
            elif mark := re.match(r"<!-- generated: keys (\w+) -->", line):
                found[mark[1]] = (page, heading)
    return found


def _keys(model: str, page: Path) -> list[str]:
    """Return the keys of a class as a table: unit or type, default and meaning of each."""
    schema = models()[model]
    required = schema.get("required", [])
    own = schema["properties"]
    if "rule" in own:
        own = {k: v for k, v in own.items() if k not in models()["Modifiers"]["properties"]}
    rows = ["| key | unit or type | default | meaning |", "|---|---|---|---|"]
    for key, about in own.items():
        # A description says what the key means and, after "default: ", where that comes from.
        meaning, _, source = (about.get("description") or _meaning(about)).partition("default: ")
        told = [_default(about), "" if source == about.get("default") else source]
        default = "required" if key in required else ", ".join(filter(None, told))
        cells = (f"`{key}`", _type(key, about, page), default, meaning.strip(" ;"))
        rows.append(f"| {' | '.join(cell.replace('|', '¦') for cell in cells)} |")
    return rows


def _default(about: dict[str, Any]) -> str:
    value = about.get("default")
    if value in (None, "", [], {}) or isinstance(value, dict):
        return ""
    return f"`{value:.10g}`" if isinstance(value, float) else f"`{json.dumps(value)}`"


def _meaning(about: dict[str, Any]) -> str:
    """Return what the class of a key says it is."""
    reference = about.get("items", about).get("$ref")
    if reference is None:
        return "chooses these keys" if "const" in about else ""
    first: str = models()[reference.rpartition("/")[2]]["description"].splitlines()[0]
    return first[0].lower() + first[1:].rstrip(".")


def _type(key: str, about: dict[str, Any], page: Path) -> str:
    """Return the unit, range or choice of a key's value."""
    if choices := [c for c in about.get("anyOf", []) if c.get("type") != "null"]:
        return " or ".join(dict.fromkeys(_type(key, choice, page) for choice in choices))
    if "$ref" in about:
        home, heading = _homes().get(about["$ref"].rpartition("/")[2], (page, "table"))
        return f"[{heading}]({'' if home == page else home.name}#{slug(heading)})"
    if choices := about.get("enum", [about["const"]] if "const" in about else []):
        return ", ".join(f"`{json.dumps(choice)}`" for choice in choices)
    return _plain_type(key, about, page)


def _plain_type(key: str, about: dict[str, Any], page: Path) -> str:
    """Return the type of what is neither a choice nor a table of its own."""
    kind = about.get("type")
    plain = _PLAIN.get(kind, "value")
    if kind == "array":
        return _list_type(key, about, page)
    if kind in ("number", "integer"):
        return f"{_unit(key) or plain}{_range(about)}"
    if kind == "object" and "properties" in about:
        return " or ".join(_type(k, v, page) for k, v in about["properties"].items())
    if kind == "object":
        return f"table of {_type(key, about.get('additionalProperties') or {}, page)}s"
    return str(about.get("format", plain))


def _list_type(key: str, about: dict[str, Any], page: Path) -> str:
    """Return the type of a list: of what, or its items where each has a type of its own."""
    if "prefixItems" in about:
        return f"[{', '.join(_type('', item, page) for item in about['prefixItems'])}]"
    return f"list of {_type(key, about.get('items') or {}, page)}"


def _unit(key: str) -> str:
    """Return the unit that a key's name ends in, as a reader writes it."""
    unit = unit_of(key) or ""
    for spelt, plain in _UNITS:
        unit = unit.replace(spelt, plain)
    above, _, below = unit.replace("*", " ").partition("/")
    if "/" in below:
        below = f"({below.replace('/', ' ')})"
    return f"{above}/{below}" if below else above


def _range(about: dict[str, Any]) -> str:
    low, high = (f"{about[e]:,.10g}" if e in about else "" for e in ("minimum", "maximum"))
    least = f"above {about['exclusiveMinimum']:,.10g}" if "exclusiveMinimum" in about else low
    most = f"below {about['exclusiveMaximum']:,.10g}" if "exclusiveMaximum" in about else high
    if least and most:
        return f", {least} to {most}"
    return f", {low} or more" if low else f", {least or most}" if least + most else ""


def physics_modules() -> list[str]:
    return sorted(path.stem for path in (PACKAGE / "physics").glob("[!_]*.py"))


def _functions(name: str) -> list[str]:
    """Return the public functions and methods of a module of physics: what each takes and is."""
    module = importlib.import_module(f"{physics.__name__}.{name}")
    rows = [first_line(module), "", "| function | is |", "|---|---|"]
    for label, function in _public(module, module.__name__):
        rows.append(f"| `{label}{_signature(function)}` | {first_line(function)} |")
    return rows


def _public(owner: object, module: str, prefix: str = "") -> Iterator[tuple[str, Any]]:
    """Yield the public functions of a module, and the methods of its classes by their class."""
    for name, each in vars(owner).items():
        if name.startswith("_") or getattr(each, "__module__", None) != module:
            continue
        if inspect.isclass(each):
            yield from _public(each, module, f"{name}.")
        elif inspect.isfunction(each):
            yield prefix + name, each


def _signature(function: Any) -> str:  # noqa: ANN401 - any function
    """Return what a function takes: names and defaults."""
    bare = [
        p.replace(
            annotation=inspect.Parameter.empty,
            default=round(p.default, 4) if isinstance(p.default, float) else p.default,
        )
        for p in inspect.signature(function).parameters.values()
        if p.name != "self"
    ]
    return str(inspect.Signature(bare))


def first_line(documented: object) -> str:
    """Return the first line of a docstring."""
    text = inspect.getdoc(documented)
    assert text, f"{documented} says nothing"
    return text.splitlines()[0]


# The map: the folders of the package, floor by floor.


def _floors() -> list[str]:
    """Return the folders and modules of the package, the highest floor of imports first."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = settings["tool"]["importlinter"]["contracts"]
    order = {
        container: contract["layers"]
        for contract in contracts
        if contract["type"] == "layers"
        for container in contract["containers"]
    }
    lines: list[str] = []
    for floor in order.pop("dewmargin"):
        for name in re.findall(r"\w+", floor):
            lines += _branch(f"dewmargin.{name}", order, 0)
        lines.append("")
    return lines[:-1]


def _branch(name: str, order: dict[str, list[str]], depth: int) -> Iterator[str]:
    module = importlib.import_module(name)
    is_folder = hasattr(module, "__path__")
    label = f"{'  ' * depth}{name.rpartition('.')[2]}{'/' if is_folder else ''}"
    yield f"{label:<20} {first_line(module)}"
    if not is_folder:
        return
    floors = order.get(name, [])
    inside = [each for floor in floors for each in re.findall(r"\w+", floor)]
    inside += [each for each in children(module) if each not in inside]
    for each in inside:
        yield from _branch(f"{name}.{each}", order, depth + 1)


def children(module: ModuleType) -> list[str]:
    """Return the modules and folders in a folder of the package."""
    folder = Path(next(iter(module.__path__)))
    found = [path.stem for path in folder.glob("[!_]*.py")]
    found += [path.parent.name for path in folder.glob("*/__init__.py")]
    return sorted(found)


def everything() -> list[str]:
    """Return every folder and module of the package, by its dotted name after `dewmargin`."""

    def below(module: ModuleType, prefix: str) -> Iterator[str]:
        for name in children(module):
            yield f"{prefix}{name}"
            found = importlib.import_module(f"{module.__name__}.{name}")
            if hasattr(found, "__path__"):
                yield from below(found, f"{prefix}{name}.")

    return list(below(dewmargin, ""))
