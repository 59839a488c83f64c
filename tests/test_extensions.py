"""Extensions by entry point, with real distributions on the path."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import pytest

from dewmargin import extensions, scenario
from dewmargin.demo import demo_folder
from dewmargin.errors import ExtensionError

if TYPE_CHECKING:
    from pathlib import Path


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
    install(site, "frostrule", "frost", "class Rule: pass\n")

    assert "frost" in extensions.names("strategy")
    assert "frostrule" not in sys.modules
    assert extensions.load("strategy", "frost").__name__ == "Rule"


def test_an_unknown_name_gets_the_nearest_and_the_list() -> None:
    with pytest.raises(ExtensionError) as caught:
        extensions.load("strategy", "outdoor_rest")

    assert str(caught.value) == (
        "no strategy is called 'outdoor_rest' (did you mean 'outdoor_reset'? "
        "installed: constant, dew_point, outdoor_reset, schedule, surface_limit)"
    )


def test_two_packages_of_one_name_are_both_named(site) -> None:
    install(site, "mine", "constant", "class Rule: pass\n")

    with pytest.raises(ExtensionError) as caught:
        extensions.load("strategy", "constant")

    assert str(caught.value).startswith("several packages offer a strategy called 'constant': ")
    assert "mine 1.2" in str(caught.value)
    assert "dewmargin 0.1.0" in str(caught.value)


def test_a_rule_that_cannot_be_imported_is_named_with_its_package(site) -> None:
    install(site, "broken", "broken_rule", "raise RuntimeError('no licence')\n")

    with pytest.raises(ExtensionError) as caught:
        extensions.load("strategy", "broken_rule")

    assert str(caught.value) == (
        "the strategy 'broken_rule' from broken 1.2 cannot be imported: no licence"
    )


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
