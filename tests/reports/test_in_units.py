"""One comparison in SI and in US customary units: the same numbers wherever they stand."""

from __future__ import annotations

import json
import re
import shutil
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import page_case
from dewmargin import columns
from dewmargin.cli import cli
from dewmargin.columns import Column, Table
from dewmargin.plot import draw
from dewmargin.reports.csv import CsvTables
from dewmargin.reports.folder import verify_folder
from dewmargin.reports.page import FILE, again, several
from dewmargin.studies.compare.comparison import compare
from dewmargin.studies.demo import demo_folder
from dewmargin.units import conversion, conversions
from page_case import Parsed

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.slow

TABLES = {
    "comparison": columns.COMPARISON,
    "surfaces": columns.SURFACES,
    "settings": columns.SETTINGS,
    "limits": columns.LIMITS,
    "worst_hours": columns.WORST_HOURS,
    "daily": columns.DAILY,
    "monthly": columns.MONTHLY,
    "duration": columns.DURATION,
    "assembly": columns.ASSEMBLY,
    "assembly_months": columns.ASSEMBLY_MONTHS,
    "hourly": columns.HOURLY,
}


@pytest.fixture(scope="module")
def folders(tmp_path_factory) -> dict[str, Path]:
    """Return the demo's results in both, by way of the command."""
    out = tmp_path_factory.mktemp("units")
    scenario = demo_folder() / "scenarios" / "larch_house.toml"
    result = compare(scenario)
    for units in ("si", "ip"):
        result.write(out / units, hourly_csv=True, units=units)
    return {units: out / units for units in ("si", "ip")}


def parquet(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_parquet(folder / f"{name}.parquet")


def test_parquet_is_si_always(folders) -> None:
    for name in TABLES:
        pd.testing.assert_frame_equal(parquet(folders["ip"], name), parquet(folders["si"], name))


@pytest.mark.parametrize("name", TABLES)
def test_every_number_of_csv_is_that_of_parquet_converted(folders, name) -> None:
    made = conversions(TABLES[name], "ip")
    stored = parquet(folders["ip"], name)
    found = pd.read_csv(folders["ip"] / f"{name}.csv")

    assert list(found.columns) == [each.column.name for each in made]
    for column, each in zip(TABLES[name], made, strict=True):
        values = stored[column.name]
        if not pd.api.types.is_numeric_dtype(values) or values.dtype == bool:
            continue
        # An offset cancels digits; 1e-12 of a degree is nothing.
        np.testing.assert_allclose(
            found[each.column.name].astype(float),
            each.of(values.astype(float)),
            rtol=1e-12,
            atol=1e-12,
            err_msg=column.name,
        )


@pytest.mark.parametrize("name", TABLES)
def test_the_schema_beside_a_csv_tells_the_unit_it_is_in(folders, name) -> None:
    schema = json.loads((folders["ip"] / f"{name}.schema.json").read_text(encoding="utf-8"))

    assert [(each["name"], each["unit"]) for each in schema["fields"]] == [
        (each.column.name, each.column.unit) for each in conversions(TABLES[name], "ip")
    ]


def converted(column: Column, value: float, *, both: bool) -> float:
    if column.name.endswith("_frac"):
        return 100.0 * value
    return value if both else float(conversion(column, "ip").of(value))


def require_same_table(folder: Path, table: page_case.Table) -> int:
    """Compare every number of a page's table with Parquet; return how many there are."""
    stored = parquet(folder, table.name)
    for name, texts in table.where.items():
        stored = stored[stored[name].isin(texts)]
    about = {column.name: column for column in TABLES[table.name]}
    both = {"t_out_c", "t_out_f"} <= set(table.columns)
    n = 0
    for k, name in enumerate(table.columns):
        for text, value in zip([row[k] for row in table.rows], stored[name], strict=True):
            if not isinstance(value, (int, float, np.number)):
                continue
            found, n = page_case.number(text), n + 1
            if found is None:
                assert np.isnan(value)
                continue
            shown, decimals = found
            expected = converted(about[name], float(value), both=both)
            assert abs(shown - expected) <= 0.5 * 10.0**-decimals * (1.0 + 1e-9), (name, text)
    return n


def test_every_number_of_the_page_is_that_of_parquet_converted(folders) -> None:
    folder = folders["ip"]
    parsed = Parsed((folder / FILE).read_text(encoding="utf-8"))

    assert sum(require_same_table(folder, t) for t in parsed.tables if t.name is not None) > 4000
    row = parquet(folder, "comparison").set_index("option")
    about = {column.name: column for column in columns.COMPARISON}
    for of, text in parsed.marked:
        shown, decimals = page_case.number(text.replace("\u00a0", " "))
        value = float(row.loc[of["data-option"], of["data-column"]])
        expected = converted(about[of["data-column"]], value, both=False)
        assert abs(shown - expected) <= 0.5 * 10.0**-decimals * (1.0 + 1e-9)


SIGNS = {"gr/ft2": "gr/ft²", "1": ""}
SI_ONLY = re.compile(r"\b(kg|kg/h|l|l/kg|kWh|K)\b")


def test_every_heading_of_numbers_says_the_unit_it_is_in(folders) -> None:
    parsed = Parsed((folders["ip"] / FILE).read_text(encoding="utf-8"))

    heads = [
        (table, name, head)
        for table in parsed.tables
        if table.name is not None
        for name, head in zip(table.columns, table.heads, strict=True)
    ]
    for table, name, head in heads:
        column = next(column for column in TABLES[table.name] if column.name == name)
        both = name == "t_out_c" and "t_out_f" in table.columns
        unit = column.unit if both else conversion(column, "ip").column.unit
        unit = "%" if name.endswith("_frac") else "EUR" if name == "cost" else unit
        assert head.partition(", ")[2] == SIGNS.get(unit, unit), (table.name, name, head)
    assert {"gal", "lb", "lb/h", "kBtu", "gal/lb", "°F"} <= {
        head.partition(", ")[2] for _, _, head in heads
    }


def test_axes_of_charts_are_in_the_reader_s_units(folders) -> None:
    labels = {
        name: " ".join(
            text
            for axes in draw(name, folders["si"], units="ip").axes
            for text in (axes.get_xlabel(), axes.get_ylabel())
        )
        for name in ("setpoint_lines", "through_the_year", "load_duration", "water", "energy")
    }

    assert "outdoors, °F" in labels["setpoint_lines"]
    assert "lb a day" in labels["through_the_year"]
    assert "lb/h" in labels["load_duration"]
    assert "gal a year" in labels["water"]
    assert "kBtu a year" in labels["energy"]
    assert not any(SI_ONLY.search(text) for text in labels.values())


def test_bars_of_water_are_as_long_as_the_feed(folders) -> None:
    axes = draw("water", folders["si"], units="ip").axes[0]

    longest = max(bar.get_x() + bar.get_width() for bar in axes.patches)
    most_l = parquet(folders["si"], "comparison")["feed_l"].max()
    assert longest == pytest.approx(most_l / 3.785411784)


def test_the_verdict_says_the_same_in_other_units(folders) -> None:
    told = json.loads((folders["ip"] / "manifest.json").read_text(encoding="utf-8"))
    page = (folders["ip"] / FILE).read_text(encoding="utf-8").replace("\u00a0", " ")
    feed_l = parquet(folders["si"], "comparison").set_index("option")["feed_l"][told["chosen"]]

    assert f"{feed_l:.0f} l of water" in told["verdict_sentences"][0]
    ours = told["verdict_sentences_ip"]
    assert f"{feed_l / 3.785411784:.0f} gal of water" in ours[0]
    assert ours[0].split(", ")[:2] == told["verdict_sentences"][0].split(", ")[:2]
    assert "gal of water" in page
    assert "l of water, " not in page.replace("gal of water", "")


# --- again


def test_a_page_made_again_in_other_units_is_that_of_compare(folders, tmp_path) -> None:
    page = (folders["ip"] / FILE).read_bytes()

    written = again(folders["si"], tmp_path / "ip.html", units="ip")

    assert written.read_bytes() == page
    assert again(folders["ip"], tmp_path / "same.html").read_bytes() == page
    assert again(folders["ip"], tmp_path / "si.html", units="si").read_bytes() == (
        (folders["si"] / FILE).read_bytes()
    )


def test_verify_tells_the_units(folders) -> None:
    done = CliRunner().invoke(cli, ["verify", str(folders["ip"])])

    assert done.output.endswith("as they were written; Parquet in si, csv in ip, page in ip\n")


def test_a_page_put_in_its_place_in_other_units_is_told_of(tmp_path) -> None:
    copy = shutil.copytree(page_case.demo(), tmp_path / "copy")

    again(copy, units="ip")

    told = json.loads((copy / "manifest.json").read_text(encoding="utf-8"))
    assert told["units"] == {"csv": "si", "page": "ip"}
    verify_folder(copy)
    page = (copy / FILE).read_bytes()
    again(copy)
    assert (copy / FILE).read_bytes() == page


def test_side_by_side_is_in_one_system(folders, tmp_path) -> None:
    page = several([folders["si"], folders["ip"]], tmp_path / "both.html", units="ip")

    parsed = Parsed(page.read_text(encoding="utf-8"))
    row = parquet(folders["si"], "comparison").set_index("option")
    about = {column.name: column for column in columns.COMPARISON}
    compared = 0
    for of, text in parsed.marked:
        if "data-option" not in of:
            continue
        shown, decimals = page_case.number(text)
        value = float(row.loc[of["data-option"], of["data-column"]])
        expected = converted(about[of["data-column"]], value, both=False)
        assert abs(shown - expected) <= 0.5 * 10.0**-decimals * (1.0 + 1e-9), (of, text)
        compared += 1
    assert compared > 20
    for name in ("si", "ip"):
        tables = [t for t in parsed.tables if t.source == name]
        assert sum(require_same_table(folders[name], t) for t in tables) > 50


# --- the terminal


def numbers_of(line: str) -> list[float]:
    return [np.nan if each == "-" else float(each) for each in line.split()]


def test_every_number_of_the_terminal_is_that_of_parquet_converted(folders) -> None:
    scenario = demo_folder() / "scenarios" / "larch_house.toml"
    done = CliRunner().invoke(cli, ["compare", str(scenario), "--units", "ip"], env=WIDE)
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()

    heads = next(line.split() for line in lines if " strategy " in line and "gal/lb" in line)
    assert heads == ["strategy", "supply", "lb", "h", "gal", "gal/lb", "h", "h", "h", "°F"]
    about = {column.name: column for column in columns.COMPARISON}
    shown = (
        "delivered_kg", "shortfall_h", "feed_l", "feed_l_per_kg", "dry_h", "band_h",
        "condensation_h", "worst_margin_k",
    )  # fmt: skip
    decimals = (0, 0, 0, 2, 0, 0, 0, 1)
    table = parquet(folders["si"], "comparison")
    first = next(k for k, line in enumerate(lines) if line.startswith(" no humidifier"))
    rows = lines[first : first + len(table)]
    for line, (_, stored) in zip(rows, table.iterrows(), strict=True):
        found = numbers_of(" ".join(line.split()[-len(shown) :]))
        for value, name, n in zip(found, shown, decimals, strict=True):
            expected = converted(about[name], float(stored[name]), both=False)
            if np.isnan(expected):
                assert np.isnan(value)
                continue
            assert abs(value - expected) <= 0.5 * 10.0**-n * (1.0 + 1e-9), (line, name)


WIDE = {"COLUMNS": "160"}


# --- names


def test_hostile_texts_stay_safe_and_whole() -> None:
    names = ["=1+1", "+5 kg", "-3 l", "@x °C", "<b>10 kWh</b>"]
    table = Table(
        columns=[c for c in columns.COMPARISON if c.name in ("option", "feed_l")],
        data={"option": names, "feed_l": [1.0, 2.0, 3.0, 4.0, 5.0]},
    )

    files = CsvTables().files({"comparison": table}, {"units": {"csv": "ip"}})

    lines = files["comparison.csv"].decode().splitlines()
    assert lines[0] == '"option","feed_gal"'
    assert [line.split(",")[0] for line in lines[1:]] == [
        '"\'=1+1"', '"\'+5 kg"', '"\'-3 l"', '"\'@x °C"', '"<b>10 kWh</b>"'
    ]  # fmt: skip
