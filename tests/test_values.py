"""What a user holds in a notebook: shown in a few lines, compared and pickled without an error."""

from __future__ import annotations

import copy
import importlib
import inspect
import pickle
import pkgutil
from dataclasses import fields, is_dataclass

import numpy as np
import pandas as pd
import pytest

import dewmargin
from dewmargin import physics
from dewmargin.columns import Table
from frontier_cases import SURFACE, room
from stress_case import small
from sweep_case import sweep_file

pytestmark = pytest.mark.slow  # one small study of each kind is made for all

DOUBT = "space.house.leakage_m3_h_at_50pa | factor | lognormal | median = 1.0; sd_log = 0.2"
COLD = [-10.0, -5.0, 0.0, 5.0] * 12
FEW = 5  # lines
WIDE = 400  # characters of them all, a verdict's sentences included


@pytest.fixture(scope="module")
def held(tmp_path_factory) -> dict[str, object]:
    """Return one of each thing that a user is handed."""
    folder = tmp_path_factory.mktemp("values")
    scenario = small(folder, DOUBT)
    result = dewmargin.compare(scenario)
    (folder / "room").mkdir()
    plan = sweep_file(folder / "room")
    return {
        "scenario": scenario,
        "weather": scenario.read_weather(),
        "comparison": result,
        "case": result.case,
        "surface": result.case.surfaces[0],
        "option": result.options[1],
        "table": result.table("hourly"),
        "sheet": dewmargin.site_sheet(result),
        "sizing": dewmargin.size(scenario),
        "stress": dewmargin.study(scenario, samples=32),
        "frontier": dewmargin.best_lines(room(folder, COLD, surfaces=SURFACE)),
        "sweep": dewmargin.sweep(plan, folder / "out"),
        "plan": dewmargin.Plan(plan),
    }


NAMES = (
    "scenario", "weather", "comparison", "case", "surface", "option", "table", "sheet", "sizing",
    "stress", "frontier", "sweep", "plan",
)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_it_is_shown_in_a_few_lines_without_arrays(held, name) -> None:
    shown = repr(held[name])

    assert len(shown.splitlines()) <= FEW
    assert len(shown) < (WIDE if name != "table" else 3 * WIDE)
    assert "array" not in shown
    assert shown.lower().startswith(f"<{type(held[name]).__name__.lower()} ")


def test_it_says_what_it_is(held) -> None:
    folder = held["scenario"].file.parent

    assert repr(held["scenario"]) == (
        f"<Scenario 'Small house (invented)' of {folder}/small.toml: house\n"
        " surfaces: 1, strategies: 1, equipment: 1, supplies: 1>"
    )
    assert repr(held["case"]) == (
        "<HourlyCase 'house of 165 m² in Larch Valley (invented)': 744 hours from "
        "2017-01-01T00:00:00, a part of a year,\n steps of 60 min, house model, surfaces: 1, "
        "held zones: 0>"
    )
    for name in ("comparison", "stress", "frontier"):
        assert repr(held[name]).endswith(f"\n {held[name].verdict.split('. ')[0].rstrip('.')}.>")


@pytest.mark.parametrize("name", [name for name in NAMES if name != "plan"])
def test_it_can_be_compared_and_pickled(held, name) -> None:
    one = held[name]
    other = pickle.loads(pickle.dumps(one))  # noqa: S301 - our own

    assert type(other) is type(one)
    assert one == one  # noqa: PLR0124 - that it can be asked
    assert (one == other) is (name in {"scenario", "sheet", "sweep"})  # those hold no arrays
    assert repr(other) == repr(one)
    same(one, other)


@pytest.mark.parametrize("name", ["comparison", "sizing", "stress"])
def test_a_result_from_a_pickle_has_the_same_tables(held, name) -> None:
    other = pickle.loads(pickle.dumps(held[name]))  # noqa: S301 - our own
    one, two = held[name].tables(), other.tables()

    assert one.keys() == two.keys()
    for key in one:
        same(one[key], two[key])
    if name == "comparison":
        pd.testing.assert_frame_equal(other.hourly, held[name].hourly)
        assert other.about() == held[name].about()


def same(one: object, other: object) -> None:
    """Compare two things field by field, down to each number."""
    assert type(one) is type(other)
    if is_dataclass(one):
        for each in fields(one):
            same(getattr(one, each.name), getattr(other, each.name))
    elif isinstance(one, np.ndarray):
        np.testing.assert_array_equal(one, other, strict=True)
    elif isinstance(one, dict):
        assert one.keys() == other.keys()
        for key in one:
            same(one[key], other[key])
    elif isinstance(one, (tuple, list)):
        assert len(one) == len(other)
        for a, b in zip(one, other, strict=True):
            same(a, b)
    elif isinstance(one, float):
        np.testing.assert_equal(one, other)
    else:
        assert one == other


@pytest.mark.parametrize("again", [copy.deepcopy, lambda x: pickle.loads(pickle.dumps(x))])  # noqa: S301 - our own
def test_what_was_locked_stays_locked(held, again) -> None:
    case, weather = again(held["case"]), again(held["weather"])

    for array in (case.t_out_c, case.w_base_kg_kg, weather.t_out_c, weather.p_pa):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0.0


def arrays_of(module: str) -> list[type]:
    """Return the public records of a module that hold arrays or tables."""
    found = vars(importlib.import_module(module)).values()
    return [
        each
        for each in found
        if inspect.isclass(each)
        and is_dataclass(each)
        and each.__module__ == module
        and not each.__name__.startswith("_")
        and any(word in str(f.type) for f in fields(each) for word in ("Array", "ndarray"))
    ]


@pytest.mark.parametrize(
    "module",
    [
        "dewmargin.case",
        "dewmargin.contracts",
        "dewmargin.solve.balance",
        "dewmargin.solve.energy",
        "dewmargin.solve.hours",
        "dewmargin.solve.wetness",
        "dewmargin.studies.compare.option",
        "dewmargin.studies.stress.study",
        "dewmargin.weather.epw",
        *(f"dewmargin.physics.{each.name}" for each in pkgutil.iter_modules(physics.__path__)),
    ],
)
def test_a_record_of_arrays_is_compared_by_identity(module) -> None:
    # An array of truth values is neither true nor false: comparing by value raises an error.
    assert [each for each in arrays_of(module) if each.__eq__ is not object.__eq__] == []


def test_a_table_too(held) -> None:
    assert Table.__eq__ is object.__eq__
    assert repr(Table(columns=held["table"].columns[:2], data={})) == (
        "<Table of 2 columns: option, interval_start>"
    )


def test_the_weather_as_a_data_frame(held) -> None:
    weather = held["weather"]
    frame = weather.to_pandas()

    assert list(frame.columns) == [
        "source_year", "t_out_c", "t_dew_c", "rh_frac", "p_pa", "wind_m_s",
        "global_horizontal_w_m2", "direct_normal_w_m2", "diffuse_horizontal_w_m2", "infrared_w_m2",
    ]  # fmt: skip
    assert frame.index.name == "interval_start"
    np.testing.assert_array_equal(frame.index.to_numpy(), weather.interval_start)
    for name in frame:
        np.testing.assert_array_equal(frame[name], getattr(weather, name))
    frame.loc[:, "t_out_c"] = 0.0
    assert weather.t_out_c.min() < -1.0


def test_the_weather_goes_into_physics_as_it_is(held) -> None:
    weather = held["weather"]
    frame = weather.to_pandas()
    w_kg_kg = dewmargin.air.humidity_ratio_at_rh(frame["t_out_c"], frame["rh_frac"], frame["p_pa"])

    assert w_kg_kg.index.equals(frame.index)
    np.testing.assert_array_equal(w_kg_kg, weather.humidity_ratio("relative_humidity"))
    mains = dewmargin.mains.mains_temperature(frame["t_out_c"], frame.index, weather.latitude_deg)
    assert mains.index.equals(frame.index)
