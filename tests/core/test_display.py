"""How numbers and names are shown."""

from __future__ import annotations

import numpy as np
import pytest

from dewmargin import columns
from dewmargin.columns import Column
from dewmargin.core.display import MISSING, printable, shown


@pytest.mark.parametrize(
    ("name", "unit", "value", "text"),
    [
        pytest.param("feed_l", "l", 6664.6, "6665 l", id="litres are whole"),
        pytest.param("rh_frac", "1", 0.354, "35 %", id="a fraction is per cent"),
        pytest.param("t_out_c", "°C", -12.34, "−12.3 °C", id="a true minus sign"),
        pytest.param("t_out_c", "°C", -0.04, "0.0 °C", id="no negative zero"),
        pytest.param("storeys", "1", 2.0, "2", id="a number without unit"),
        pytest.param("demand_kg_h", "kg/h", 0.847, "0.85 kg/h", id="two decimals elsewhere"),
        pytest.param("film_g_m2", "g/m2", 3.21, "3.2 g/m²", id="a square"),
        pytest.param("feed_l", "l", np.nan, MISSING, id="not known"),
        pytest.param("feed_l", "l", None, MISSING, id="none"),
    ],
)
def test_a_number_with_its_unit(name: str, unit: str, value: float, text: str) -> None:
    assert shown(Column(name, unit, "")).text(value) == text


def test_a_cost_is_in_its_currency() -> None:
    cost = next(column for column in columns.COMPARISON if column.name == "cost")

    assert shown(cost, currency="EUR").text(177.9) == "178 EUR"
    assert shown(cost).text(177.9) == "178"


def test_what_an_axis_shows_has_its_unit() -> None:
    assert shown(Column("rh_frac", "1", "")).label("humidity") == "humidity, %"
    assert shown(Column("storeys", "1", "")).label("storeys") == "storeys"


def test_decimals_can_be_asked_for() -> None:
    assert shown(Column("feed_l", "l", ""), decimals=2).number(1.234) == "1.23"


def test_values_are_turned_as_a_whole() -> None:
    assert list(shown(Column("rh_frac", "1", "")).of([0.1, 0.25])) == pytest.approx([10.0, 25.0])


@pytest.mark.parametrize(
    "text", ["Küche | größer", "寝室", "חדר", "55\u00a0°C", "“quoted”", "a 'b' \"c\" <d>"]
)
def test_what_can_be_seen_is_left_as_it_is(text: str) -> None:
    assert printable(text) == text


@pytest.mark.parametrize(
    "character", ["\x00", "\x1b", "\n", "\u200f", "\u202e", "\u2066", "\ufeff"]
)
def test_what_cannot_be_seen_or_turns_a_text_is_a_mark(character: str) -> None:
    assert printable(f"a{character}b") == "a\ufffdb"
