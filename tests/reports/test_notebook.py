"""Results as a notebook shows them."""

from __future__ import annotations

import functools
import sys
from dataclasses import replace

import pytest

from dewmargin import best_lines, study
from dewmargin.scenario import load
from dewmargin.studies.compare.comparison import compare
from dewmargin.studies.demo import demo_folder
from dewmargin.studies.size.sizing import size
from dewmargin.testing_cases import small_results
from page_case import Parsed

HOUSE = demo_folder() / "scenarios" / "larch_house.toml"


@functools.cache
def compared():
    return compare(HOUSE)


def test_a_comparison_shows_verdict_options_and_what_to_set() -> None:
    result = compared()

    parsed = Parsed(result._repr_html_())

    text = parsed.text.replace("\u00a0", " ")
    assert all(sentence in text for sentence in result.verdict_sentences)
    options, settings = parsed.tables
    assert [row[0] for row in options.rows] == [o.name for o in result.options]
    band = options.columns.index("band_h")
    assert [int(row[band]) for row in options.rows] == [o.row["band_h"] for o in result.options]
    assert settings.where == {"strategy": [result.chosen.strategy]}
    best = [of for tag, of in parsed.elements if tag == "tr" and of.get("class") == "best"]
    assert len(best) == 1


def test_without_a_choice_there_is_nothing_to_set() -> None:
    result = replace(small_results(), chosen=None)

    assert [table.name for table in Parsed(result._repr_html_()).tables] == ["comparison"]


@pytest.mark.slow
def test_sizes_are_shown_with_their_loads() -> None:
    found = size(HOUSE)

    parsed = Parsed(found._repr_html_())

    loads, sizes = parsed.tables
    assert (loads.name, sizes.name) == ("loads", "sizes")
    peak = [float(row[loads.columns.index("demand_peak_kg_h")]) for row in loads.rows]
    assert peak == pytest.approx(found.loads.data["demand_peak_kg_h"], abs=0.005)


@pytest.mark.slow
def test_lines_are_shown_with_what_to_set() -> None:
    found = best_lines(HOUSE)

    parsed = Parsed(found._repr_html_())

    lines, settings = parsed.tables
    assert found.verdict in parsed.text.replace("\u00a0", " ")
    assert len(lines.rows) == len(found.lines)
    assert settings.name == "settings"


@pytest.mark.slow
def test_a_study_shows_broken_limits_and_spread() -> None:
    found = study(HOUSE, samples=64)

    parsed = Parsed(found._repr_html_())

    breaks, spread = parsed.tables
    assert (breaks.name, spread.name) == ("breaks", "spread")
    units = {(row[1], row[2]) for row in spread.rows}
    assert units == {("band_h", "h"), ("condensation_h", "h"), ("feed_l", "l")}
    # Numbers are rounded as those of their kind are.
    assert all(row[spread.columns.index("p50")].isdigit() for row in spread.rows)


def test_names_are_escaped() -> None:
    result = small_results()
    scenario = replace(result.scenario, title="<script>alert(1)</script>")

    html = replace(result, scenario=scenario)._repr_html_()

    assert "<script>" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html


def test_what_a_notebook_shows_needs_no_matplotlib() -> None:
    before = "matplotlib" in sys.modules

    compared()._repr_html_()

    assert ("matplotlib" in sys.modules) == before


def test_the_scenario_is_not_read_again() -> None:
    """What is shown is of the result alone."""
    result = compare(load(HOUSE))
    object.__setattr__(result.scenario, "file", HOUSE.with_name("gone.toml"))

    assert "Choose" in result._repr_html_()
