"""Findings, and the cautions beside them."""

from __future__ import annotations

import pytest

from dewmargin.site.finding import CAUTIONS, judge

WORDS = {"good": "level", "bad": "tilted", "why": "water runs off", "action": "level it"}


def test_a_rule_that_holds_asks_for_nothing() -> None:
    found = judge(holds=True, **WORDS)

    assert (found.severity, found.what, found.action) == ("fine", "level", "")


def test_a_rule_that_does_not_hold_asks_for_something() -> None:
    found = judge(holds=False, **WORDS, severity="note")

    assert (found.severity, found.what, found.action) == ("note", "tilted", "level it")


@pytest.mark.parametrize(
    ("topic", "words"),
    [
        ("thermistor", ["prove dead", "Local code"]),
        ("circuit", ["prove dead", "Local code", "licensed"]),
        ("water", ["Scald", "Stagnant", "Local code"]),
        ("measured", ["Scald", "Too much humidity", "venting", "CO", "Local code"]),
    ],
)
def test_cautions_stand_where_they_belong(topic, words) -> None:
    text = " ".join(CAUTIONS[topic])

    assert [word for word in words if word not in text] == []
