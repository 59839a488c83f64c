"""README, pages, docstrings and public names stay true."""

from __future__ import annotations

import doctest
import importlib
import os
import pkgutil
import re
import shutil
import tomllib
from collections import Counter
from typing import TYPE_CHECKING

import click
import pytest
from click.testing import CliRunner
from hatchling.builders.sdist import SdistBuilder
from hatchling.builders.wheel import WheelBuilder

import dewmargin
import documents
from dewmargin import scenario
from dewmargin.cli import cli
from dewmargin.core import extensions
from dewmargin.site.site_file import read_site
from dewmargin.studies.sweep.plan import Plan
from documents import PAGES, README, ROOT
from engine import accuracy

if TYPE_CHECKING:
    from pathlib import Path

README_MOST_BYTES = 16_000
MODULES = [
    name
    for _, name, _ in pkgutil.walk_packages(dewmargin.__path__, "dewmargin.")
    if not name.endswith(".compiled")
]
# What a part of a scenario is completed with, to be read.
COMPLETED = {
    "title": 'title = "an example"\n',
    "space": "[space.house]\nfloor_area_m2 = 100\nvolume_m3 = 250\nstoreys = 1\nbedrooms = 2\n"
    "leakage_m3_h_at_50pa = 500\nheat_loss_w_k = 150\n",
    "strategies": '[[strategies]]\nname = "dry"\nrule = "constant"\nrh = 0.3\n',
    "equipment": '[[equipment]]\nname = "any"\nkind = "fixed_rate"\nrate_kg_h = 1\n',
    "supplies": '[[supplies]]\nname = "cold"\n',
}


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


# What is generated.


@pytest.mark.parametrize("page", PAGES, ids=documents.name_of)
def test_the_generated_parts_of_a_page_are_current(page: Path) -> None:
    """`UPDATE_DOCS=1 pytest tests/test_documents.py` rewrites them."""
    text = documents.text_of(page)

    current = documents.MARKS.sub(
        lambda m: f"{m[1]}{documents.generated(m[2], page)}\n{m[3]}", text
    )

    if os.environ.get("UPDATE_DOCS"):
        page.write_text(current, encoding="utf-8")
        return
    assert text == current


def test_every_command_table_key_and_function_is_told_once() -> None:
    marks = [m[2] for page in PAGES for m in documents.MARKS.finditer(documents.text_of(page))]

    assert Counter(marks) == Counter(documents.expected_marks())


def test_the_map_names_every_folder_and_module_once() -> None:
    marked = re.compile(r"<!-- generated: map -->\n```text\n(.+?)```", re.DOTALL)
    (block,) = marked.findall(documents.text_of(documents.DEVELOPERS))
    named: list[str] = []
    path: list[str] = []
    for line in block.splitlines():
        if line:
            indent, name = re.match(r"( *)(\w+)/? +\S", line).groups()
            path = [*path[: len(indent) // 2], name]
            named.append(".".join(path))

    assert Counter(named) == Counter(documents.everything())


# Links and names.


@pytest.mark.parametrize("page", PAGES, ids=documents.name_of)
def test_every_link_of_a_page_leads_somewhere(page: Path) -> None:
    broken = []
    for link in documents.links(page):
        target, _, anchor = link.partition("#")
        found = (page.parent / target).resolve() if target else page
        exists = found.is_relative_to(ROOT) and found.exists()
        if not exists or (anchor and anchor not in documents.anchors(found)):
            broken.append(link)

    assert broken == []


@pytest.mark.parametrize("page", PAGES, ids=documents.name_of)
def test_no_two_headings_of_a_page_have_the_same_anchor(page: Path) -> None:
    assert [a for a, n in Counter(documents.anchors(page)).items() if n > 1] == []


@pytest.mark.parametrize("page", PAGES, ids=documents.name_of)
def test_every_path_and_module_that_a_page_names_exists(page: Path) -> None:
    """A file by its path, a module as `solve/year`, what is in one as `solve/year.short_hours`."""
    missing = [path for path in documents.paths_in(page) if not documents.is_there(path)]

    assert missing == []


def test_a_path_that_does_not_exist_is_noticed() -> None:
    assert documents.is_there("tests/physics")
    assert documents.is_there("solve/year.short_hours")
    assert not documents.is_there("solve/year.long_hours")
    assert not documents.is_there("tests/chemistry")


def test_the_readme_leads_to_every_page() -> None:
    led = {(README.parent / link.partition("#")[0]).resolve() for link in documents.links(README)}

    assert [page for page in PAGES if page.parent == documents.DOCS and page not in led] == []


def test_the_readme_is_short() -> None:
    assert README.stat().st_size <= README_MOST_BYTES


# Examples.


@pytest.mark.parametrize("page", PAGES, ids=documents.name_of)
def test_every_call_in_a_page_uses_commands_and_options_that_exist(page: Path) -> None:
    texts = documents.blocks(page, "sh") + documents.blocks(page, "text")
    texts += [re.sub(r"[\[\]]", "", code) for code in documents.inline_code(page)]

    for text in texts:
        for arguments in documents.commands_in(text):
            documents.refuse_unknown(arguments)


def test_a_command_or_an_option_that_does_not_exist_is_noticed() -> None:
    ((*unknown,),) = documents.commands_in("dewmargin humidify # now")
    ((*misspelt,),) = documents.commands_in("$ dewmargin compare x.toml --ot out")

    with pytest.raises(click.UsageError, match="No such command 'humidify'"):
        documents.refuse_unknown(unknown)
    with pytest.raises(click.UsageError, match="No such option"):
        documents.refuse_unknown(misspelt)


@pytest.mark.parametrize("page", PAGES, ids=documents.name_of)
def test_every_toml_example_is_read(page: Path, tmp_path) -> None:
    """A scenario, a part of one, a sweep or a site file: each is checked as what it is."""
    for folder, file in (("weather", "larch_valley.epw"), ("scenarios", "larch_house.toml")):
        (tmp_path / folder).mkdir()
        shutil.copy(ROOT / folder / file, tmp_path / folder)
    example = tmp_path / "scenarios" / "example.toml"
    for text in documents.blocks(page, "toml"):
        tables = tomllib.loads(text)
        is_part = not {"title", "scenario", "visit"} & tables.keys()
        missing = {k: v for k, v in COMPLETED.items() if is_part and k not in tables}
        whole = "\n".join([missing.pop("title", ""), text, *missing.values()])
        example.write_text(whole, encoding="utf-8")
        if "scenario" in tables:
            assert Plan(example).n_cases > 1
        elif "visit" in tables:
            assert read_site(example).equipment
        else:
            assert scenario.load(example).resolved()


@pytest.mark.parametrize("page", PAGES, ids=documents.name_of)
def test_every_python_example_names_what_exists(page: Path) -> None:
    codes = documents.blocks(page, "python")
    codes += [c for c in documents.inline_code(page) if re.match(r"dewmargin[.]\w", c)]

    for name in (name for code in codes for name in documents.names_in(code)):
        if name not in extensions.GROUPS.values():
            documents.resolve(name)


def test_a_name_that_does_not_exist_is_noticed() -> None:
    (name,) = documents.names_in("dewmargin.physics.air.dew(3)")

    with pytest.raises(AttributeError, match=r"there is no dewmargin\.physics\.air\.dew$"):
        documents.resolve(name)


@pytest.mark.parametrize("page", PAGES, ids=documents.name_of)
def test_examples_that_are_marked_run(page: Path) -> None:
    marked = re.compile(r"<!-- runs -->\n```python\n(.+?)```", re.DOTALL)

    for code in marked.findall(documents.text_of(page)):
        exec(code, {})  # noqa: S102 - our own pages


def test_every_kind_that_is_built_in_is_told_in_the_page_of_a_scenario() -> None:
    text = documents.text_of(documents.DOCS / "scenario.md")

    for kind in ("strategy", "equipment", "report"):
        headed = "Rule" if kind == "strategy" else "Kind"
        ours = [n for n in extensions.names(kind) if _is_ours(kind, n)]
        assert [n for n in ours if f"### {headed} `{n}`" not in text] == []


def _is_ours(kind: str, name: str) -> bool:
    return extensions.load(kind, name).__module__.startswith("dewmargin.")


# What is read elsewhere.


def test_the_table_against_the_engine_has_every_house_and_climate() -> None:
    text = documents.text_of(ROOT / "tests" / "engine" / "README.md")

    rows = [row.split(" | ")[:2] for row in re.findall(r"^\| (\w+ House \|.+)", text, re.MULTILINE)]

    assert f"| {accuracy.COLUMNS} |" in text
    named = [house.replace("_", " ").title() for house in accuracy.HELD]
    assert rows == [[house, climate] for house in named for climate in accuracy.CLIMATES.values()]


def test_the_readme_marks_its_two_commands() -> None:
    text = documents.text_of(README)

    for label in ("main job", "tests"):
        assert re.search(rf"<!-- command: {label} -->\n+```[a-z]*\n(.+?)\n```", text, re.DOTALL)


@pytest.mark.parametrize("builder", [SdistBuilder, WheelBuilder])
def test_the_pages_travel_with_the_package(builder: type[SdistBuilder | WheelBuilder]) -> None:
    packed = builder(str(ROOT))
    listed = {file.path for file in packed.recurse_included_files()}

    missing = {str(page) for page in PAGES if page.parent == documents.DOCS} - listed

    assert missing == set()
    assert packed.metadata.core.readme == documents.text_of(README)


@pytest.mark.slow
def test_the_library_session_of_the_readme_runs(monkeypatch) -> None:
    text = documents.text_of(README)
    (session,) = re.findall(r"<!-- library session -->\n```python\n(.+?)```", text, re.DOTALL)
    monkeypatch.chdir(README.parent)
    names: dict[str, object] = {}

    exec(session, names)  # noqa: S102 - our own README

    assert names["most_in_band"] == "hold 40 % | bypass pad | cold"
    assert len(names["hours"]) == 13 * 8760


@pytest.mark.slow
@pytest.mark.parametrize("command", ["weather", "check", "compare"])
def test_the_five_minutes_of_the_readme_run(command: str, monkeypatch, tmp_path) -> None:
    text = documents.text_of(README)
    five_minutes = text[text.index("## Five minutes") :]
    line = re.findall(rf"^dewmargin {command} (.+?)(?:\s+#.*)?$", five_minutes, re.MULTILINE)[0]
    monkeypatch.chdir(README.parent)
    arguments = [str(tmp_path / "results") if a == "results" else a for a in line.split()]

    result = CliRunner().invoke(cli, [command, *arguments])

    assert result.exit_code == 0, result.output
