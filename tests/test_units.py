"""US customary units: every column against another library, and all of a comparison."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewmargin import columns, units
from dewmargin.columns import COMPARISON, SPREAD, Column, Table
from dewmargin.units import conversion, conversions, in_units

if TYPE_CHECKING:
    from collections.abc import Iterator


def every_column() -> Iterator[tuple[str, Column]]:
    """Yield every column of the vocabulary with the name of its table."""
    for name, value in vars(columns).items():
        if isinstance(value, Column):
            yield name, value
        elif isinstance(value, tuple) and value and isinstance(value[0], Column):
            for column in value:
                yield name, column


COLUMNS = {(column.name, column.unit): column for _, column in every_column()}
ALL = [pytest.param(column, id=f"{column.name}") for column in COLUMNS.values()]
# What is said alike everywhere.
SHARED = {"", "1", "%", "% h", "h", "°F"}
# Units as the library spells them.
SPELT = {
    "°C": "degC",
    "°F": "degF",
    "K": "delta_degC",
    "K h": "delta_degC * hour",
    "°F h": "delta_degF * hour",
    "kg/kg": "kg/kg",
    "lb/lb": "lb/lb",
    "l": "liter",
    "l/kg": "liter/kg",
    "l/min": "liter/minute",
    "gal": "gallon",
    "gal/lb": "gallon/lb",
    "gal/min": "gallon/minute",
    "kBtu": "kBtu_it",
    "Btu/h": "Btu_it/hour",
    "Btu/(h ft2 °F)": "Btu_it/hour/foot**2/delta_degF",
    "W/(m2 K)": "W/m**2/delta_degC",
    "kg/h": "kg/hour",
    "lb/h": "lb/hour",
    "g/m2": "g/m**2",
    "gr/ft2": "grain/foot**2",
    "mph": "mile/hour",
    "inHg": "inch_Hg",
    "ft": "foot",
}
LIBRARY = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
LIBRARY.define("kBtu_it = 1000 * Btu_it")
PLAIN = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=20).map(np.array)


def spelt(unit: str, *, difference: bool) -> str:
    found = SPELT.get(unit, unit)
    return f"delta_{found}" if difference and found.startswith("deg") else found


@pytest.mark.slow
@given(values=PLAIN)
def test_there_and_back_is_the_same_number_for_every_column(values: np.ndarray) -> None:
    for column in COLUMNS.values():
        made = conversion(column, "ip")

        back = made.back(made.of(values))

        # An offset of 32 costs the digits of what is small beside it; below 1e-300 there are fewer.
        assert back == pytest.approx(values, rel=1e-12, abs=1e-12 if made.offset else 1e-300)
        assert list(conversion(column, "si").of(values)) == list(values)


@pytest.mark.slow
@given(values=PLAIN)
@settings(max_examples=20)
def test_another_library_converts_every_column_alike(values: np.ndarray) -> None:
    for column in COLUMNS.values():
        require_alike(column, values)


def require_alike(column: Column, values: np.ndarray) -> None:
    made = conversion(column, "ip")
    if column.unit in SHARED or column.name == "electric_w":
        assert made.column == column
        assert list(made.of(values)) == list(values)
        return
    assert made.column.unit != column.unit, "a unit without a customary one"

    difference = column.unit == "K"
    given_ = LIBRARY.Quantity(values, spelt(column.unit, difference=difference))
    if made.column.unit == "cfm":
        given_ = given_ / LIBRARY.Quantity(0.075, "lb/foot**3")
        expected = given_.to("foot**3/minute")
    else:
        expected = given_.to(spelt(made.column.unit, difference=difference))

    assert made.of(values) == pytest.approx(expected.magnitude, rel=1e-12, abs=1e-12)


def test_the_inch_of_water_is_the_conventional_one() -> None:
    twelve = LIBRARY.Quantity(1.0, "foot_H2O").to("Pa").magnitude
    assert pytest.approx(twelve / 12.0, rel=1e-12) == units.INCH_OF_WATER_PA
    # NIST SP 811, conventional inch of water (from memory).
    assert round(units.INCH_OF_WATER_PA, 4) == 249.0889


@pytest.mark.parametrize("column", ALL)
def test_a_name_ends_in_the_unit_that_it_has(column: Column) -> None:
    made = conversion(column, "ip").column

    ends = {
        "lb": "_lb",
        "lb/h": "_lb_h",
        "lb/lb": "_lb_lb",
        "gal": "_gal",
        "gal/lb": "_gal_per_lb",
        "gal/min": "_gal_min",
        "kBtu": "_kbtu",
        "Btu/h": "_btu_h",
        "Btu/(h ft2 °F)": "_btu_h_ft2_f",
        "inHg": "_inhg",
        "ft": "_ft",
        "mph": "_mph",
        "gr/ft2": "_gr_ft2",
        "cfm": "_cfm",
        "°F h": "_delta_f_h",
        "°F": "_delta_f" if column.unit == "K" else "_f",
    }
    end = ends.get(made.unit, "")
    assert made.name.endswith((end, f"{end}_day") if end else made.name)
    assert (made.name == column.name) == (made.unit == column.unit)


@pytest.mark.parametrize("column", ALL)
def test_a_range_goes_with_its_numbers(column: Column) -> None:
    made = conversion(column, "ip")

    assert (made.column.low, made.column.high) == (
        pytest.approx(float(made.of(column.low))),
        pytest.approx(float(made.of(column.high))),
    )


def test_no_two_columns_of_a_table_become_one() -> None:
    for name, value in vars(columns).items():
        if isinstance(value, tuple) and value and isinstance(value[0], Column):
            names = [each.column.name for each in conversions(value, "ip")]
            assert len(set(names)) == len(names), name


def test_settings_have_both_scales_for_everyone() -> None:
    names = [each.column.name for each in conversions(columns.SETTINGS, "ip")]

    assert names == [column.name for column in columns.SETTINGS]


def test_a_year_number_in_a_row_of_its_own_goes_by_its_unit() -> None:
    values = {
        "option": ["a", "a", "a"],
        "number": ["feed_l", "worst_margin_k", "band_h"],
        "unit": ["l", "K", "h"],
        "known_frac": [1.0, 1.0, 1.0],
        "mean": [10.0, 1.0, 3.0],
        "sd": [5.0, None, 1.0],
    }
    table = Table(columns=[c for c in SPREAD if c.name in values], data=values)

    found = in_units(table, "ip").data

    assert found["number"] == ["feed_gal", "worst_margin_delta_f", "band_h"]
    assert found["unit"] == ["gal", "°F", "h"]
    assert found["mean"] == pytest.approx([10.0 / 3.785411784, 1.8, 3.0])
    assert found["sd"] == [pytest.approx(5.0 / 3.785411784), None, 1.0]
    assert found["known_frac"] == [1.0, 1.0, 1.0]


def test_a_spread_has_no_offset() -> None:
    made = conversion(Column("t_air_c", "°C", ""), "ip")

    assert float(made.difference(10.0)) == pytest.approx(18.0)
    assert float(made.of(10.0)) == pytest.approx(50.0)


def test_what_is_missing_stays_so_and_texts_are_left() -> None:
    names = ["option", "feed_l", "demand_kg"]
    table = Table(
        columns=[c for c in COMPARISON if c.name in names],
        data={
            "option": ["=1+1 kg", "<b>5 l</b>"],
            "demand_kg": [None, 1.0],
            "feed_l": np.array([math.nan, 1.0]),
        },
    )

    found = in_units(table, "ip").data

    assert found["option"] == ["=1+1 kg", "<b>5 l</b>"]
    assert found["demand_lb"] == [None, pytest.approx(2.2046226218)]
    assert np.isnan(found["feed_gal"][0])
    assert in_units(table, "si") is table
