"""README, docstrings and public names stay true."""

from __future__ import annotations

import doctest
import importlib
import os
import pkgutil
import re
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import dewmargin
from dewmargin import columns
from dewmargin.cli import cli
from dewmargin.physics import glazing

README = Path(__file__).parents[1] / "README.md"
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
MODULES = [
    name
    for _, name, _ in pkgutil.walk_packages(dewmargin.__path__, "dewmargin.")
    if not name.endswith(".compiled")
]


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_in_docstrings_give_what_they_say(name: str) -> None:
    module = importlib.import_module(name)

    assert doctest.testmod(module).failed == 0


def test_some_examples_exist() -> None:
    examples = [
        test
        for name in MODULES
        for test in doctest.DocTestFinder().find(importlib.import_module(name))
        if test.examples
    ]

    assert len(examples) >= 5


@pytest.mark.parametrize("name", dewmargin.__all__)
def test_every_public_name_loads(name: str) -> None:
    assert getattr(dewmargin, name).__name__.rpartition(".")[2] == name


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="has no attribute 'humidify'"):
        _ = dewmargin.humidify


def glazing_rows() -> list[str]:
    """Return the default temperature indices as a table."""
    head = ["kind", "centre", "edge, metal", "edge, warm", "sightline, metal", "sightline, warm"]
    rows = [f"| {' | '.join(head)} |", "|---" * len(head) + "|"]
    for kind, found in glazing.GLAZING.items():
        parts = [found.centre]
        parts += [part[s] for part in (found.edge, found.sightline) for s in glazing.SPACERS]
        rows.append(f"| `{kind}` | {' | '.join(f'{part:.2f}' for part in parts)} |")
    rows += ["", "| frame | U, W/(m2 K) | index |", "|---|---|---|"]
    rows += [f"| `{k}` | {u:g} | {1.0 - 0.13 * u:.2f} |" for k, u in glazing.FRAMES.items()]
    return rows


def generated(kind: str) -> str:
    """Return what belongs between the README's marks."""
    if kind.startswith("help "):
        command = kind.removeprefix("help ").split()
        result = CliRunner().invoke(cli, [*command, "--help"], prog_name="dewmargin")
        return f"```text\n{result.output.rstrip()}\n```"
    if kind == "glazing":
        return "\n".join(glazing_rows())
    rows = [f"| `{c.name}` | {c.unit} | {c.meaning} |" for c in TABLES[kind.removeprefix("table ")]]
    return "\n".join(["| column | unit | meaning |", "|---|---|---|", *rows])


def command_names(group: click.Group) -> list[str]:
    """Return the commands of a group as they are typed, those of its groups after theirs."""
    names = []
    for name, command in group.commands.items():
        names.append(name)
        if isinstance(command, click.Group):
            names += [f"{name} {each}" for each in command_names(command)]
    return names


def test_the_generated_parts_of_the_readme_are_current() -> None:
    """`UPDATE_README=1 pytest tests/test_documents.py` rewrites them."""
    text = README.read_text(encoding="utf-8")
    marks = re.compile(r"(<!-- generated: (.+?) -->\n).*?(<!-- end -->)", re.DOTALL)

    current = marks.sub(lambda m: f"{m[1]}{generated(m[2])}\n{m[3]}", text)

    if os.environ.get("UPDATE_README"):
        README.write_text(current, encoding="utf-8")
        return
    assert text == current
    kinds = {m[2] for m in marks.finditer(text)}
    expected = {f"table {t}" for t in TABLES} | {f"help {c}" for c in command_names(cli)}
    assert kinds == expected | {"glazing"}


def test_the_readme_marks_its_two_commands() -> None:
    text = README.read_text(encoding="utf-8")

    for label in ("main job", "tests"):
        assert re.search(rf"<!-- command: {label} -->\n+```[a-z]*\n(.+?)\n```", text, re.DOTALL)


@pytest.mark.slow
def test_the_library_session_of_the_readme_runs(monkeypatch) -> None:
    text = README.read_text(encoding="utf-8")
    (session,) = re.findall(r"<!-- library session -->\n```python\n(.+?)```", text, re.DOTALL)
    monkeypatch.chdir(README.parent)
    names: dict[str, object] = {}

    exec(session, names)  # noqa: S102 - our own README

    assert names["most_in_band"] == "hold 40 % | bypass pad | cold"
    assert len(names["hours"]) == 13 * 8760


@pytest.mark.slow
@pytest.mark.parametrize("command", ["weather", "check", "compare"])
def test_the_five_minutes_of_the_readme_run(command: str, monkeypatch, tmp_path) -> None:
    text = README.read_text(encoding="utf-8")
    five_minutes = text[text.index("## Five minutes") :]
    line = re.findall(rf"^dewmargin {command} (.+?)(?:\s+#.*)?$", five_minutes, re.MULTILINE)[0]
    monkeypatch.chdir(README.parent)
    arguments = [str(tmp_path / "results") if a == "results" else a for a in line.split()]

    result = CliRunner().invoke(cli, [command, *arguments])

    assert result.exit_code == 0, result.output
