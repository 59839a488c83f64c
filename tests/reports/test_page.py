"""The page of results: its numbers, its safety, its form."""

from __future__ import annotations

import json
import re
import shutil
from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest

import page_case
from dewmargin import columns
from dewmargin.columns import Repeated, Table
from dewmargin.core.stored import Data
from dewmargin.errors import InputError
from dewmargin.plot import style
from dewmargin.reports import page
from dewmargin.reports.folder import verify_folder
from dewmargin.reports.page import content, side_by_side, templates
from dewmargin.reports.page.svg import inline
from dewmargin.testing_cases import small_results
from page_case import Parsed

if TYPE_CHECKING:
    from pathlib import Path

# The page's limit by the project's decision 20; the demo has 12 options and a whole year.
MOST_BYTES = 600_000


@pytest.fixture(scope="module", params=["house", "simulation"])
def shown(request) -> tuple[Path, Parsed]:
    folder = page_case.demo(request.param)
    return folder, Parsed((folder / page.FILE).read_text(encoding="utf-8"))


# --- numbers ----------------------------------------------------------------------------------


def parquet(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_parquet(folder / f"{name}.parquet")


def require_same(text: str, stored: float, column: str) -> None:
    """A number is the stored one, rounded to the decimals that are shown."""
    found = page_case.number(text)
    if found is None:
        assert np.isnan(stored), (column, text, stored)
        return
    value, decimals = found
    whole = 100.0 * stored if column.endswith("_frac") else stored
    assert abs(value - whole) <= 0.5 * 10.0**-decimals * (1.0 + 1e-9), (column, text, stored)


def require_same_table(folder: Path, table: page_case.Table) -> int:
    """Compare every cell with its row of Parquet; return the number of numbers."""
    stored = parquet(folder, table.name)
    for name, texts in table.where.items():
        stored = stored[stored[name].isin(texts)]
    assert len(stored) == len(table.rows), (table.name, table.where)
    n = 0
    for column, k in zip(table.columns, range(len(table.columns)), strict=True):
        for text, value in zip([row[k] for row in table.rows], stored[column], strict=True):
            if isinstance(value, (int, float, np.number)):
                require_same(text, float(value), column)
                n += 1
            else:
                assert text == ("–" if value is None or value is pd.NA else str(value))
    return n


def test_every_number_of_every_table_is_that_of_the_parquet_files(shown) -> None:
    folder, parsed = shown

    n = sum(require_same_table(folder, t) for t in parsed.tables if t.name is not None)

    assert n > 4000  # a year of days, three times, alone


def test_the_numbers_of_the_answer_are_those_of_the_chosen_option(shown) -> None:
    folder, parsed = shown
    row = parquet(folder, "comparison").set_index("option")

    for of, text in parsed.marked:
        require_same(text.replace("\u00a0", " "), row.loc[of["data-option"], of["data-column"]], "")

    assert {of["data-option"] for of, _ in parsed.marked} == {manifest(folder)["chosen"]}
    assert len(parsed.marked) == 6


UNITS = {"1": "", "g/m2": "g/m²", "": ""}


def test_every_heading_of_numbers_says_the_unit_of_its_column(shown) -> None:
    _, parsed = shown
    by_name = {
        "comparison": columns.COMPARISON,
        "surfaces": columns.SURFACES,
        "daily": columns.DAILY,
        "monthly": columns.MONTHLY,
        "duration": columns.DURATION,
        "settings": columns.SETTINGS,
        "limits": columns.LIMITS,
    }

    for table in parsed.tables:
        if table.name is None:
            continue
        about = {column.name: column for column in by_name[table.name]}
        for name, head in zip(table.columns, table.heads, strict=True):
            unit = UNITS.get(about[name].unit, about[name].unit)
            unit = "%" if name.endswith("_frac") else "EUR" if name == "cost" else unit
            assert head.partition(", ")[2] == unit, (table.name, name, head)


def manifest(folder: Path) -> dict:
    return json.loads((folder / "manifest.json").read_text(encoding="utf-8"))


def test_verdict_warnings_inputs_and_assumptions_are_on_the_page(shown) -> None:
    folder, parsed = shown
    told = manifest(folder)
    text = re.sub(r"\s+", " ", parsed.text.replace("\u00a0", " "))

    for sentence in [*told["verdict_sentences"], *told["warnings"], *told["readings"]]:
        assert sentence in text
    for each in [*told["given"], *told["defaults"]]:
        assert each["key"] in text
    for each in told["defaults"]:
        assert re.sub(r"\s+", " ", each["source"]) in text
    for digest in told["inputs_sha256"].values():
        assert digest in text


# --- form -------------------------------------------------------------------------------------


def test_the_demo_s_page_is_small(shown) -> None:
    folder, _ = shown

    assert (folder / page.FILE).stat().st_size < MOST_BYTES


def test_headings_are_in_order_and_ids_are_of_one_element(shown) -> None:
    _, parsed = shown
    levels = [level for level, _ in parsed.headings]
    ids = Counter(of["id"] for _, of in parsed.elements if "id" in of)
    links = [of["href"] for tag, of in parsed.elements if tag == "a"]

    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))
    assert [each for each, n in ids.items() if n > 1] == []
    assert len(links) >= 5
    assert all(link.removeprefix("#") in ids for link in links)


def test_each_chart_has_a_title_a_description_and_its_numbers(shown) -> None:
    _, parsed = shown
    ids = {of["id"] for _, of in parsed.elements if "id" in of}
    drawings = [of for tag, of in parsed.elements if tag == "svg"]

    assert len(drawings) == len(parsed.figures) == 10
    for tags in parsed.figures:
        assert {"svg", "title", "desc", "h3", "p", "details", "summary", "table"} <= tags
    for of in drawings:
        assert of["role"] == "img"
        assert set(of["aria-labelledby"].split()) <= ids


def test_nothing_is_asked_of_a_network_and_nothing_runs(shown) -> None:
    folder, parsed = shown
    policy = next(
        of["content"]
        for tag, of in parsed.elements
        if tag == "meta" and of.get("http-equiv") == "Content-Security-Policy"
    )

    assert "default-src 'none'" in policy
    assert "script-src" not in policy  # so that default-src forbids scripts
    require_nothing_runs(parsed)
    # Besides the names of SVG's own vocabulary nothing looks like an address.
    text = (folder / page.FILE).read_text(encoding="utf-8")
    addresses = set(re.findall(r"(?:https?:)?//[a-z0-9.]+", re.sub(r"base64,[^\"]*", "", text)))
    assert addresses == set()


def require_nothing_runs(parsed: Parsed) -> None:
    tags = {tag for tag, _ in parsed.elements}
    assert tags.isdisjoint({"script", "iframe", "object", "embed", "link", "base", "form", "img"})
    for tag, of in parsed.elements:
        for name, value in of.items():
            assert not name.startswith("on"), (tag, name)
            if name in ("href", "src", "xlink:href"):
                assert value.startswith(("#", "data:image/png;base64,")), (tag, value)
            assert name != "style" or "url(" not in value or "url(#" in value, (tag, value)


def luminance(colour: str) -> float:
    """WCAG 2.2, definition of relative luminance."""
    channels = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_of_contrast_gives_the_ends_of_its_scale() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # from memory


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_texts_and_series_stand_out_by_4_5_to_1(shown, scheme: str) -> None:
    folder, _ = shown
    text = (folder / page.FILE).read_text(encoding="utf-8")
    light, dark = (dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6});", part)) for part in roots(text))
    of = {"light": light, "dark": dark}[scheme]

    assert of.keys() == {*style.COLOURS, "tint"}
    for name, colour in of.items():
        if name in ("paper", "tint", "line", "cloud"):  # ground, hairlines, background of a chart
            continue
        for ground in ("paper", "tint"):
            assert contrast(colour, of[ground]) >= 4.5, (name, ground)


def roots(text: str) -> list[str]:
    return re.findall(r":root \{(.*?)\}", text, re.DOTALL)


def test_series_differ_in_colour_dash_and_mark() -> None:
    looks = [style.look(i) for i in range(5)]

    for part in ("colour", "dash", "mark"):
        assert len({str(getattr(each, part)) for each in looks}) == len(looks)


# --- again ------------------------------------------------------------------------------------


def test_the_page_made_again_from_the_folder_is_the_same(shown, tmp_path: Path) -> None:
    folder, _ = shown
    copy = shutil.copytree(folder, tmp_path / "copy")
    before = (copy / page.FILE).read_bytes()
    told = (copy / "manifest.json").read_bytes()
    (copy / page.FILE).unlink()

    assert page.again(copy) == copy / page.FILE

    assert (copy / page.FILE).read_bytes() == before
    assert (copy / "manifest.json").read_bytes() == told
    assert page.FILE in verify_folder(copy)


def test_a_page_that_was_altered_is_put_right_and_its_hash_too(tmp_path: Path) -> None:
    copy = shutil.copytree(page_case.demo(), tmp_path / "copy")
    before = (copy / page.FILE).read_bytes()
    (copy / page.FILE).write_text("altered", encoding="utf-8")

    page.again(copy)

    assert (copy / page.FILE).read_bytes() == before
    verify_folder(copy)


def test_the_page_may_be_written_elsewhere(tmp_path: Path) -> None:
    written = page.again(page_case.demo(), tmp_path / "mine.html")

    assert written.read_bytes() == (page_case.demo() / page.FILE).read_bytes()


def refusal(*arguments: object) -> str:
    with pytest.raises(InputError) as caught:
        page.again(*arguments)
    return str(caught.value)


def test_results_that_are_not_as_they_were_written_make_no_page(tmp_path: Path) -> None:
    copy = shutil.copytree(page_case.demo(), tmp_path / "copy")
    with (copy / "daily.parquet").open("ab") as stream:
        stream.write(b"x")

    assert refusal(copy) == f"{copy / 'daily.parquet'}: is not as it was written (compare again)"


def test_a_folder_of_something_else_makes_no_page(tmp_path: Path) -> None:
    assert refusal(tmp_path) == (
        f"{tmp_path}: has no manifest of results "
        "(a folder whose writing was broken off has none; compare again)"
    )


@pytest.mark.parametrize(
    ("change", "what"),
    [
        pytest.param(
            {"schema_version": 0},
            "was written by another version (compare again)",
            id="another version of the results",
        ),
        pytest.param(
            {"given": None},
            "was written by another version (compare again)",
            id="a manifest without what a page needs",
        ),
        pytest.param(
            {"outputs_sha256": {}},
            "has nothing to make a page of "
            "(a page is made of the results of `compare` or `frontier`)",
            id="no tables",
        ),
    ],
)
def test_results_of_another_kind_make_no_page(change, what, tmp_path: Path) -> None:
    copy = shutil.copytree(page_case.demo(), tmp_path / "copy")
    told = {k: v for k, v in (manifest(copy) | change).items() if v is not None}
    (copy / "manifest.json").write_text(json.dumps(told), encoding="utf-8")

    assert refusal(copy) == f"{copy}: {what}"


# --- names ------------------------------------------------------------------------------------

HOSTILE = [
    "<script>alert(1)</script>",
    "</script><script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "<svg onload=alert(1)>",
    "<svg><script>alert(1)</script></svg>",
    "</title><script>alert(1)</script>",
    "</style><script>alert(1)</script>",
    "</desc><script>alert(1)</script>",
    "</text><script>alert(1)</script>",
    "<iframe src=javascript:alert(1)>",
    "<a href=javascript:alert(1)>x</a>",
    "<base href=//example.invalid>",
    "<link rel=stylesheet href=//example.invalid>",
    "<meta http-equiv=refresh content=0>",
    "<form action=//example.invalid><input>",
    "<object data=x>",
    "<embed src=x>",
    "<details open ontoggle=alert(1)>",
    "<math><mi href=javascript:alert(1)>x</mi></math>",
    "<!--",
    "-->",
    "<![CDATA[",
    "]]>",
    "<?xml version='1.0'?>",
    "&lt;script&gt;",
    "&#60;script&#62;",
    "&amp;",
    "&nosuch;",
    "'",
    '"',
    "'onmouseover=alert(1) x='",
    '"onmouseover=alert(1) x="',
    "`onmouseover=alert(1)`",
    "' style='x:expression(alert(1))",
    "{{ 7 * 7 }}",
    "{% for x in y %}",
    "{# a comment #}",
    "${7*7}",
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "=HYPERLINK('http://example.invalid')",
    "\t=1+1",
    "\r=1+1",
    "＝1+1",
    "%PDF",
    "$x^2$",
    "$\\frac{1}{0}$",
    "\\u003cscript\\u003e",
    "\x00",
    "a\x00b",
    "\x07\x1b[31m",
    "\u202egnp.exe",
    "\u200frtl\u200e",
    "\u2066isolate\u2069",
    "\ufeffmark",
    "line\nfeed",
    'fill: #0a62a3; d="M 1.23456 0" url(#x)',
    "M" * 300,
]


def test_there_are_sixty_hostile_names() -> None:
    assert len(HOSTILE) == len(set(HOSTILE)) == 60


def seen(text: str) -> str:
    """What a reader sees of a text: no control, nothing that turns the text around it."""
    turning = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
    return "".join(c if c.isprintable() and c not in turning else "\ufffd" for c in text)


KEPT = ("key", "number", "month")


def renamed(of: object, name: str) -> object:
    """Return results in which every text is a hostile name, each another one."""
    met: dict[str, str] = {}

    def other(text: str) -> str:
        return met.setdefault(text, f"{name}{len(met)}")

    def change(value: object) -> object:
        if isinstance(value, str):
            return other(value)
        if isinstance(value, dict):
            return {k: v if k == "first_interval" else change(v) for k, v in value.items()}
        return [change(each) for each in value] if isinstance(value, (list, tuple)) else value

    def column(about: columns.Column, values: object) -> object:
        if about.unit or about.name in ("month", "date", "interval_start", "interval_end"):
            return values
        if isinstance(values, Repeated):
            return Repeated([other(n) for n in values.names], values.times, values.rounds)
        return change(list(values)) if isinstance(values, list) else values

    tables, told = of
    return Data(
        {
            key: Table(
                columns=table.columns,
                data={c.name: column(c, table.data[c.name]) for c in table.columns},
            )
            for key, table in tables.items()
        },
        change(json.loads(json.dumps(told, default=str))),
    )


@pytest.fixture(scope="module")
def small() -> tuple[dict, dict]:
    results = small_results()
    return results.tables(), results.about()


CHARTS = (
    "setpoint_lines",
    "strategies",
    "through_the_year",
    "load_duration",
    "humidity_map",
    "margin_map",
    "surface_hours",
    "water",
    "energy",
    "trade_off",
)


@pytest.mark.parametrize("name", HOSTILE, ids=ascii)
def test_a_hostile_name_in_every_text_is_shown_and_does_nothing(name, small, monkeypatch) -> None:
    data = renamed(small, name)
    # Drawings have tests of their own, below: they are what takes the time.
    monkeypatch.setattr(
        content,
        "chart_of",
        lambda _, of, title, text, grids: content.Chart(
            name=of, title=title, text=text, drawing="", grids=grids
        ),
    )
    for chart in CHARTS:
        monkeypatch.setattr(content.charts, chart, lambda _: None)

    parsed = Parsed(content.page(data))

    require_nothing_runs(parsed)
    assert seen(f"{name}0") in parsed.text.replace("\u00a0", " ")
    rest = parsed.text.replace("\u00a0", " ").replace("\n", " ")
    assert seen(rest) == rest


@pytest.mark.parametrize("name", HOSTILE, ids=ascii)
def test_a_hostile_name_in_a_drawing_is_shown_and_does_nothing(name: str) -> None:
    with style.styled():
        figure = style.figure(1.0)
        figure.subplots().set_title(content.charts.short(name))
        drawing = inline(figure, "one", title=name, text=name)

    parsed = Parsed(str(drawing))
    require_nothing_runs(parsed)
    # Title, description and the text itself, which is cut where it is long.
    assert parsed.text.count(seen(name)) >= 2
    assert parsed.text.count(seen(name)[:33]) >= 3


@pytest.mark.slow
def test_hostile_names_in_all_charts_of_a_page_do_nothing(small) -> None:
    whole = content.page(renamed(small, '</text><script>alert("$1$")</script>\u202e'))

    parsed = Parsed(whole)
    require_nothing_runs(parsed)
    assert len(parsed.figures) == 9  # it has one strategy, and needs no panels of all


def test_what_a_template_asks_for_must_be_given() -> None:
    with pytest.raises(Exception, match="'colours' is undefined"):
        templates.render("base.html.j2", title="x")


# --- side by side -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def both(tmp_path_factory) -> tuple[Path, Path, Path]:
    folders = page_case.demo("house"), page_case.demo("simulation")
    out = tmp_path_factory.mktemp("several") / "both.html"
    return (*folders, page.several(folders, out))


def test_results_side_by_side_show_the_numbers_of_each(both) -> None:
    house, simulation, file = both
    folders = {"house": house, "simulation": simulation}
    parsed = Parsed(file.read_text(encoding="utf-8"))

    n = 0
    for table in parsed.tables:
        if table.name is not None:
            n += require_same_table(folders[table.source], table)
    for of, text in parsed.marked:
        stored = parquet(folders[of["data-source"]], "comparison").set_index("option")
        if of["data-column"] == "rh_set_percent":
            continue
        require_same(text, stored.loc[of["data-option"], of["data-column"]], of["data-column"])
    assert n > 400
    assert len(parsed.marked) == 2 * 17 + 2 * 10


def test_what_to_set_side_by_side_is_that_of_the_settings(both) -> None:
    house, simulation, file = both
    parsed = Parsed(file.read_text(encoding="utf-8"))
    for name, folder in (("house", house), ("simulation", simulation)):
        found = [
            (of["data-strategy"], text)
            for of, text in parsed.marked
            if (of["data-source"], of["data-column"]) == (name, "rh_set_percent")
        ]
        settings = parquet(folder, "settings")
        mine = settings[settings["strategy"] == found[0][0]].sort_values("t_out_c")

        assert [int(text) for _, text in found] == list(mine["rh_set_percent"])


def test_the_page_side_by_side_is_as_safe_and_ordered(both) -> None:
    *_, file = both
    parsed = Parsed(file.read_text(encoding="utf-8"))
    levels = [level for level, _ in parsed.headings]
    ids = Counter(of["id"] for _, of in parsed.elements if "id" in of)

    require_nothing_runs(parsed)
    assert levels[0] == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))
    assert max(ids.values()) == 1
    assert file.stat().st_size < MOST_BYTES


def test_two_runs_give_the_same_page_side_by_side(both, tmp_path: Path) -> None:
    house, simulation, file = both

    again = page.several([house, simulation], tmp_path / "again.html")

    assert again.read_bytes() == file.read_bytes()


def apart(tmp_path: Path, **comfort: float) -> tuple[Path, Path]:
    """Return the demo's folder, and a copy with other comfort."""
    copy = shutil.copytree(page_case.demo(), tmp_path / "copy")
    told = manifest(copy)
    told["scenario"]["comfort"] |= comfort
    (copy / "manifest.json").write_text(json.dumps(told), encoding="utf-8")
    return page_case.demo(), copy


def refused(folders, tmp_path: Path) -> str:
    with pytest.raises(InputError) as caught:
        page.several(folders, tmp_path / "out.html")
    assert not (tmp_path / "out.html").exists()
    return str(caught.value)


@pytest.mark.parametrize(
    ("comfort", "what"),
    [
        ({"low_rh": 0.35}, "counts hours in another comfort band than"),
        ({"heating_season_below_c": 12.0}, "has another heating season than"),
    ],
)
def test_hours_that_mean_something_else_do_not_go_together(comfort, what, tmp_path: Path) -> None:
    first, second = apart(tmp_path, **comfort)

    assert refused([first, second], tmp_path) == (
        f"{second}: {what} {first} (compare both in the same way)"
    )


def test_a_part_of_a_year_does_not_go_with_a_whole_one(tmp_path: Path) -> None:
    small_results().write(tmp_path / "part")
    part, whole = tmp_path / "part", page_case.demo()

    assert refused([whole, part], tmp_path) == (
        f"{part}: is of a whole year or of a part of one, unlike {whole} "
        "(compare both in the same way)"
    )


def test_a_folder_does_not_go_with_itself(tmp_path: Path) -> None:
    folder = page_case.demo()

    assert refused([folder, folder], tmp_path) == f"{folder}: is given twice (leave one out)"


def test_more_than_six_do_not_fit_side_by_side(tmp_path: Path) -> None:
    folders = [tmp_path / str(i) for i in range(7)]

    assert refused(folders, tmp_path) == "at most 6 results go side by side, got 7"


@pytest.mark.parametrize(
    ("folders", "names"),
    [
        (["a/x", "a/y"], ["x", "y"]),
        (["a/x", "b/x"], ["a/x", "b/x"]),
    ],
)
def test_folders_are_told_apart_by_name(folders, names, tmp_path: Path) -> None:
    assert side_by_side.named([tmp_path / folder for folder in folders]) == names
