"""Extensions by entry point, with real distributions on the path."""

from __future__ import annotations

import json
import sys
from importlib.metadata import version
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from dewmargin import scenario
from dewmargin.cli import cli
from dewmargin.core import extensions
from dewmargin.errors import ExtensionError
from dewmargin.studies.demo import demo_folder

if TYPE_CHECKING:
    from pathlib import Path

NO_INPUTS = "is no class derived from dewmargin.inputs.Inputs (a scenario's table is checked by it)"
HOUSE = demo_folder() / "scenarios" / "larch_house.toml"

RULE = """
from typing import Literal
from dewmargin.inputs import Inputs

class Rule(Inputs):
    name: str
    rule: Literal["frost"] = "frost"

    def setpoint(self, case):
        return 0.3 + 0.0 * case.t_out_c
"""


def install(folder: Path, package: str, entry: str, code: str) -> None:
    """Put a distribution with one strategy on disk, as an installer leaves it."""
    (folder / f"{package}.py").write_text(code, encoding="utf-8")
    info = folder / f"{package}-1.2.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Name: {package}\nVersion: 1.2\n", encoding="utf-8")
    (info / "entry_points.txt").write_text(
        f"[dewmargin.strategies]\n{entry} = {package}:Rule\n", encoding="utf-8"
    )


@pytest.fixture
def site(tmp_path, monkeypatch) -> Path:
    monkeypatch.syspath_prepend(str(tmp_path))
    return tmp_path


def test_a_third_party_rule_is_found_and_loaded_only_when_named(site) -> None:
    install(site, "frostrule", "frost", RULE)

    assert "frost" in extensions.names("strategy")
    assert "frostrule" not in sys.modules
    assert extensions.load("strategy", "frost").__name__ == "Rule"


def test_what_is_installed_meanwhile_is_found(site) -> None:
    assert "frost" not in extensions.names("strategy")

    install(site, "frostrule", "frost", RULE)

    assert "frost" in extensions.names("strategy")


def test_an_unknown_name_gets_the_nearest_and_the_list() -> None:
    with pytest.raises(ExtensionError) as caught:
        extensions.load("strategy", "outdoor_rest")

    assert str(caught.value) == (
        "no strategy is called 'outdoor_rest' (did you mean 'outdoor_reset'? "
        "installed: constant, dew_point, outdoor_reset, schedule, surface_limit)"
    )


def test_two_packages_of_one_name_are_both_named(site) -> None:
    install(site, "mine", "constant", RULE)

    with pytest.raises(ExtensionError) as caught:
        extensions.load("strategy", "constant")

    assert str(caught.value) == (
        "several packages offer a strategy called 'constant': "
        f"dewmargin {version('dewmargin')}, mine 1.2 (remove all but one)"
    )
    assert "mine" not in sys.modules


def test_a_rule_that_cannot_be_imported_is_named_with_its_package(site) -> None:
    install(site, "broken", "broken_rule", "raise RuntimeError('no licence')\n")

    with pytest.raises(ExtensionError) as caught:
        extensions.load("strategy", "broken_rule")

    assert str(caught.value) == (
        "the strategy 'broken_rule' from broken 1.2 cannot be imported: no licence"
    )


@pytest.mark.parametrize(
    ("package", "code", "message"),
    [
        pytest.param(
            "plain",
            "class Rule: pass\n",
            NO_INPUTS,
            id="a class of its own",
        ),
        pytest.param(
            "pydantic_only",
            "import pydantic\nclass Rule(pydantic.BaseModel): name: str\n",
            NO_INPUTS,
            id="a pydantic class that is not ours",
        ),
        pytest.param(
            "function",
            "def Rule(**keys): return keys\n",
            NO_INPUTS,
            id="a function",
        ),
        pytest.param(
            "idle",
            RULE.replace("def setpoint", "def set_point"),
            "has no method setpoint",
            id="a method of another name",
        ),
        pytest.param(
            "nameless",
            RULE.replace("    rule:", "    kind:"),
            "has no key rule (the one by which a scenario names it)",
            id="a selector of another name",
        ),
        pytest.param(
            "quits",
            "raise SystemExit('bye')\n",
            "cannot be imported: bye",
            id="a module that ends the program",
        ),
        pytest.param(
            "gone", "", "cannot be imported: module 'gone' has no attribute 'Rule'", id="no class"
        ),
    ],
)
def test_what_cannot_be_used_says_why(site, package: str, code: str, message: str) -> None:
    install(site, package, "frost", code)

    with pytest.raises(ExtensionError) as caught:
        extensions.load("strategy", "frost")

    assert str(caught.value) == f"the strategy 'frost' from {package} 1.2 {message}"


def test_a_scenario_that_names_a_class_of_another_kind_is_refused(site, tmp_path) -> None:
    install(site, "bare", "frost", "class Rule: pass\n")
    text = HOUSE.read_text(encoding="utf-8").replace('rule = "constant"', 'rule = "frost"', 1)
    (tmp_path / "x.toml").write_text(text, encoding="utf-8")

    with pytest.raises(ExtensionError) as caught:
        scenario.load(tmp_path / "x.toml")

    assert str(caught.value) == (
        f"{tmp_path / 'x.toml'}: strategies[0].rule: the strategy 'frost' from bare 1.2 is no "
        "class derived from dewmargin.inputs.Inputs (a scenario's table is checked by it)"
    )


def test_the_list_names_clashes_and_imports_nothing(site) -> None:
    install(site, "unseen", "frost", RULE)
    install(site, "twin", "constant", RULE)

    found = {(e.name, e.distribution): e.state for e in extensions.installed()}

    clash = (
        "several packages offer a strategy called 'constant': "
        f"dewmargin {version('dewmargin')}, twin 1.2 (remove all but one)"
    )
    assert found["constant", "dewmargin"] == found["constant", "twin"] == clash
    assert found["frost", "unseen"] is found["outdoor_reset", "dewmargin"] is None
    assert not {"unseen", "twin"} & set(sys.modules)


def test_a_check_tells_what_is_broken_and_the_rest_is_fine(site) -> None:
    install(site, "sick", "frost", "import no_such_module\n")

    result = CliRunner().invoke(cli, ["extensions", "--check", "--json"])

    assert result.exit_code == 3
    document = json.loads(result.output)
    assert document["schema"] == "dewmargin/extensions/1"
    states = {each["name"]: each["state"] for each in document["extensions"]}
    assert states.pop("frost") == (
        "the strategy 'frost' from sick 1.2 cannot be imported: No module named 'no_such_module'"
    )
    assert set(states.values()) == {"ok"}
    assert {"house", "constant", "wetted_pad", "csv", "parquet"} <= set(states)


def test_the_table_says_below_it_what_cannot_be_used(site) -> None:
    install(site, "ill", "frost", "raise RuntimeError('no licence')\n")

    result = CliRunner().invoke(cli, ["extensions", "--check"])

    assert result.exit_code == 3
    lines = [line.split() for line in result.output.splitlines()]
    assert ["strategy", "frost", "ill", "1.2", "cannot", "be", "used"] in lines
    assert ["report", "csv", "dewmargin", version("dewmargin"), "ok"] in lines
    assert result.output.splitlines()[-1] == (
        "Note: the strategy 'frost' from ill 1.2 cannot be imported: no licence"
    )


def test_a_broken_extension_does_not_break_the_schema(site) -> None:
    install(site, "failing", "frost", "raise RuntimeError('no licence')\n")
    wordless = RULE.replace("name: str", "name: str\n    when: __import__('typing').Callable")
    install(site, "wordless", "melt", wordless)

    schema = scenario.json_schema()

    assert schema["$comment"] == (
        "left out: the strategy 'frost' from failing 1.2 cannot be imported: no licence; "
        "the strategy 'melt' has a key that JSON Schema cannot describe"
    )
    rules = [choice["$ref"] for choice in schema["properties"]["strategies"]["items"]["anyOf"]]
    built_in = ("Constant", "DewPoint", "OutdoorReset", "Schedule", "SurfaceLimit")
    assert rules == [f"#/$defs/{name}" for name in built_in]


def test_without_a_broken_extension_the_schema_has_no_comment() -> None:
    assert "$comment" not in scenario.json_schema()


@pytest.mark.parametrize("kind", extensions.GROUPS)
def test_the_built_ins_load(kind: str) -> None:
    for name in extensions.names(kind):
        assert isinstance(extensions.load(kind, name), type)


def test_a_rule_keeps_a_key_of_its_own_that_is_called_like_a_modifier(site) -> None:
    code = """
from dewmargin.strategies.constant import Constant

class Rule(Constant):
    rule: str = "bounded"
    limits: float = 0.0
"""
    install(site, "boundedrule", "bounded", code)
    demo = demo_folder() / "scenarios" / "larch_house.toml"
    old, new = 'rule = "constant"\nrh = 0.35', 'rule = "bounded"\nrh = 0.35\nlimits = 0.1'
    text = demo.read_text(encoding="utf-8").replace(old, new, 1)
    ahead = text.replace(new, f"{new}\nlook_ahead = {{ hours = 2 }}", 1)

    rule = scenario.parse(text.encode(), demo).strategies[0]
    modified = scenario.parse(ahead.encode(), demo).strategies[0]

    assert rule.limits == modified.rule.limits == 0.1
    assert modified.horizon_h == 2.0
