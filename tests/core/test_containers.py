"""Floats, lists, arrays and Series go into the functions of physics, and a Series comes back."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
from dataclasses import fields, is_dataclass

import numpy as np
import pandas as pd
import pytest

from dewmargin import physics
from dewmargin.core.containers import any_container
from dewmargin.errors import OutOfRangeError
from dewmargin.physics.assembly import Assembly, Planes, WallLayer
from dewmargin.physics.glazing import Gap, Pane
from dewmargin.physics.water_line import WaterLine

N = 48
HOUR = np.arange(N)
START = np.datetime64("2017-01-10T00:00:00", "s") + HOUR * np.timedelta64(3600, "s")
INDEX = pd.DatetimeIndex(START, name="interval_start")
WALL = Assembly(
    name="wall",
    layers=(
        WallLayer(
            name="board", thickness_mm=12.5, conductivity_w_m_k=0.25, vapour_resistance_factor=10.0
        ),
        WallLayer(
            name="wool", thickness_mm=150.0, conductivity_w_m_k=0.04, vapour_resistance_factor=1.0
        ),
    ),
)
PLANES = Planes(
    names=("inner", "outer"),
    share=np.array([0.1, 0.9]),
    sd_m=np.array([0.5, 1.0]),
    reached=1,
    u_factor_w_m2_k=0.3,
)
LINE = WaterLine(length_m=5.0, bore_mm=4.33, outer_mm=6.35, ambient_c=20.0)

# A series, by the name of a parameter; what a function wants otherwise is in OTHERWISE.
SERIES = {
    "airflow_kg_s": 0.1 + 1e-3 * HOUR,
    "added_kg_kg": 0.001 + 1e-5 * HOUR,
    "balanced_kg_s": 0.01 + 1e-5 * HOUR,
    "convection_w_m2_k": 10.0 + 0.1 * HOUR,
    "day_of_year": 1.0 + HOUR,
    "days": np.datetime64("2017-02-20", "D") + HOUR,
    "density_kg_m3": 1.2 - 1e-3 * HOUR,
    "exhaust_kg_s": 0.03 + 1e-5 * HOUR,
    "feed_kg_h": 1.0 + 0.1 * HOUR,
    "gains_w": 300.0 + HOUR,
    "h_j_kg": 20_000.0 + 100.0 * HOUR,
    "heating_limit_w": np.full(N, 9000.0),
    "heating_set_c": np.full(N, 20.0),
    "infiltration_kg_s": 0.02 + 1e-4 * HOUR,
    "infrared_w_m2": 200.0 + HOUR,
    "interval_start": START,
    "loss_w_k": 190.0 + HOUR,
    "p_pa": 95_000.0 + HOUR,
    "p_room_pa": 700.0 + HOUR,
    "p_vapour_pa": 300.0 + 10.0 * HOUR,
    "pause_s": 60.0 * HOUR,
    "rh_frac": 0.5 + 0.01 * HOUR,
    "supply_kg_s": 0.02 + 1e-4 * HOUR,
    "t_ambient_c": 20.0 + 0.01 * HOUR,
    "t_c": 15.0 + 0.1 * HOUR,
    "t_dew_c": -12.0 + 0.1 * HOUR,
    "t_end_c": 45.0 + 0.1 * HOUR,
    "t_feed_c": 12.0 + 0.1 * HOUR,
    "t_in_c": 20.0 + 0.01 * HOUR,
    "t_out_c": -10.0 + 0.3 * HOUR,
    "t_room_c": 20.0 + 0.01 * HOUR,
    "t_sky_c": -25.0 + 0.1 * HOUR,
    "t_start_c": 50.0 + 0.1 * HOUR,
    "t_surface_c": -5.0 + 0.4 * HOUR,
    "t_warm_c": 50.0 + 0.1 * HOUR,
    "t_water_c": 50.0 + 0.1 * HOUR,
    "total_kg_s": 0.05 + 1e-4 * HOUR,
    "values": np.sin(HOUR / 5.0),
    "velocity_m_s": 0.5 + 0.05 * HOUR,
    "w_in_kg_kg": 0.004 + 1e-5 * HOUR,
    "w_kg_kg": 0.004 + 1e-5 * HOUR,
    "wind_m_s": 1.0 + 0.1 * HOUR,
}
# What is one number, a name or a record, by the name of a parameter.
SINGLE = {
    "alkalinity_mg_l": 34.0,
    "assembly": WALL,
    "at_airflow_kg_s": 0.1,
    "beta_kg_m2_s": 0.003,
    "calcium_mg_l": 150.0,
    "cooling_set_c": 26.0,
    "depth_m": 0.1,
    "diameter_um": 20.0,
    "drain_frac": 0.1,
    "dt_monthly_k": 25.0,
    "duct_area_m2": 0.02,
    "effectiveness": 0.65,
    "exponent": 0.8,
    "fall": 0.1,
    "feed_kg_s": 0.004,
    "first": "02-25",
    "from_h": 22.0,
    "full_feed_kg_h": 10.0,
    "gaps": [Gap(width_mm=16.0, gas="argon")],
    "heat_capacity_wh_k": 8000.0,
    "last": "03-05",
    "latitude_deg": 47.0,
    "leakage_area_m2": 0.05,
    "loss_coefficient": 3.0,
    "media": (0.1, 0.05),
    "moisture_kg_day": 8.0,
    "n_steps": 3,
    "ntu": 1.0,
    "panes": [Pane(), Pane()],
    "ph": 7.5,
    "pressure_pa": 40.0,
    "resistance_m2_k_w": 0.1,
    "rise": 0.1,
    "rule": "quadrature",
    "sensitivity": "sensitive",
    "shelter_class": 3,
    "shelter_frac": 0.5,
    "sky_frac": 0.5,
    "solids_mg_l": 320.0,
    "southern": False,
    "step_s": 3600.0,
    "steps": 5,
    "storeys": 2,
    "t_mean_c": 9.0,
    "temperature_index": 0.6,
    "time_constant": 3.0,
    "to_h": 7.0,
    "warmup_steps": 24,
    "water_j_kg": 2.676e6,
    "weekdays": ("mon", "tue"),
    "wraps": False,
}
OTHERWISE = {
    "thirty_day_maximum": {"steps_per_day": 1},
    "film_of_cylinder": {"diameter_m": 0.008, "emissivity": 0.9},
}

NOT_OF_ARRAYS = {
    "air.standard_pressure": "of one place",
    "air_exchange.leakage_area": "of one blower-door test",
    "assembly.Assembly.planes": "of a record",
    "assembly.screen": "of a record of twelve months",
    "glazing.WindowClass.part": "of one glazing",
    "glazing.part_index": "of one glazing",
    "hardness.feed_ratio": "of one water",
    "media.saturated_flow_of_rating": "of one rating",
    "moist_air_state.dry_air_density": "of one state; `air` has it for arrays",
    "moist_air_state.humidity_ratio_at_rh": "of one state; `air` has it for arrays",
    "moist_air_state.relative_humidity": "of one state; `air` has it for arrays",
    "moist_air_state.saturated_humidity_ratio": "of one state; `air` has it for arrays",
    "moisture_gains.design_rate": "of one house",
    "surfaces.mass_transfer": "of one film",
    "surfaces.moisture_buffer": "of one room",
    "water_line.WaterLine.purge_s": "of one feed",
}
# These follow steps, or tell days and hours, so that one number has no meaning to them.
OF_A_SERIES = {
    "assembly.Planes.temperatures",
    "assembly.leak_condensation",
    "glazing.solve",
    "mains.mains_temperature",
    "mains.months_present",
    "moisture_gains.moisture_gains",
    "mould.mould_index",
    "mould.running_mean",
    "mould.thirty_day_maximum",
    "room_temperature.room_year",
    "series.between_dates",
    "series.lagged",
    "series.least_ahead",
    "series.on_weekdays",
    "series.rate_limited",
    "series.within",
}
NOT_A_NUMBER = {"series.between_dates", "series.on_weekdays", "series.within", "surfaces.condenses"}


def public_functions() -> dict[str, object]:
    """Return every public function and method of physics, by module and name."""
    found = {}
    for _, short, _ in pkgutil.iter_modules(physics.__path__):
        module = importlib.import_module(f"dewmargin.physics.{short}")
        for name, thing in vars(module).items():
            if name.startswith("_") or getattr(thing, "__module__", None) != module.__name__:
                continue
            if inspect.isfunction(thing):
                found[f"{short}.{name}"] = thing
            elif inspect.isclass(thing):
                found |= {
                    f"{short}.{name}.{method}": function
                    for method, function in vars(thing).items()
                    if inspect.isfunction(function)
                    and not method.startswith("_")
                    and function.__module__ == module.__name__
                }
    return found


FUNCTIONS = public_functions()
OF_ARRAYS = sorted(FUNCTIONS.keys() - NOT_OF_ARRAYS.keys())
_WRAPPER = any_container(len).__code__


def arguments(name: str) -> dict[str, object]:
    """Return arguments for a function, a series for each that may be one."""
    function = FUNCTIONS[name]
    selves = {"Planes": PLANES, "WaterLine": LINE}
    chosen = SINGLE | SERIES | {"self": selves.get(name.split(".")[1])}
    chosen |= OTHERWISE.get(function.__name__, {})
    wanted = inspect.signature(function).parameters.values()
    return {p.name: chosen[p.name] for p in wanted if p.default is p.empty or p.name in OTHERWISE}


def call(name: str, given: dict[str, object]) -> object:
    return FUNCTIONS[name](**given)


def parts(result: object) -> dict[str, object]:
    """Return the arrays of a result by name: of a record its fields."""
    if is_dataclass(result):
        return {each.name: getattr(result, each.name) for each in fields(result)}
    return {"result": result}


def changed(given: dict[str, object], change: object) -> dict[str, object]:
    """Return arguments with another container for each array."""
    return {k: change(v) if isinstance(v, np.ndarray) else v for k, v in given.items()}


def test_every_public_function_takes_any_container_or_says_why_not() -> None:
    plain = {name for name, each in FUNCTIONS.items() if each.__code__ is not _WRAPPER}

    assert plain == set(NOT_OF_ARRAYS)
    assert set(OF_ARRAYS) >= OF_A_SERIES
    assert len(OF_ARRAYS) > 50


@pytest.mark.parametrize("name", OF_ARRAYS)
def test_a_series_comes_out_of_a_series_with_its_index_and_the_same_bits(name) -> None:
    given = arguments(name)
    expected = parts(call(name, given))
    found = parts(call(name, changed(given, lambda values: pd.Series(values, INDEX))))

    assert found.keys() == expected.keys()
    for key, values in expected.items():
        if np.shape(values) == (N,):
            assert isinstance(found[key], pd.Series)
            assert found[key].index is INDEX
        else:
            assert type(found[key]) is type(values)
        np.testing.assert_array_equal(np.asarray(found[key]), np.asarray(values), strict=True)


@pytest.mark.parametrize("name", OF_ARRAYS)
def test_a_list_gives_what_an_array_gives(name) -> None:
    given = arguments(name)
    expected = parts(call(name, given))
    found = parts(call(name, changed(given, list)))

    for key, values in expected.items():
        assert type(found[key]) is type(values)
        np.testing.assert_array_equal(np.asarray(found[key]), np.asarray(values), strict=True)


@pytest.mark.parametrize("name", sorted(set(OF_ARRAYS) - OF_A_SERIES))
def test_a_float_gives_what_an_array_of_it_gives(name) -> None:
    given = arguments(name)
    expected = parts(call(name, given))
    found = parts(call(name, changed(given, lambda values: float(values[3]))))

    for key, values in expected.items():
        assert np.ndim(found[key]) == 0
        np.testing.assert_allclose(found[key], values[3], rtol=1e-13)


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_the_first_line_of_a_docstring_says_what_comes_back_in_which_unit(name) -> None:
    first = FUNCTIONS[name].__doc__.splitlines()[0]

    if name in NOT_A_NUMBER:
        assert first.startswith("Tell ")
    elif name != "assembly.Assembly.planes":
        assert re.fullmatch(r"Return .+ \[[^\[\]]+\]\.", first), first


def test_only_some_series_among_arrays_and_numbers() -> None:
    t_c = pd.Series([10.0, 20.0], ["a", "b"])
    found = FUNCTIONS["air.humidity_ratio_at_rh"](t_c, np.array([0.5, 0.6]), 101_325.0)
    expected = FUNCTIONS["air.humidity_ratio_at_rh"](
        np.array([10.0, 20.0]), np.array([0.5, 0.6]), 101_325.0
    )

    pd.testing.assert_series_equal(found, pd.Series(expected, ["a", "b"]))


def test_what_comes_back_is_not_what_went_in() -> None:
    values = pd.Series([1.0, 2.0])
    found = FUNCTIONS["series.lagged"](values, time_constant=0.0)
    found.iloc[0] = 9.0

    assert values.tolist() == [1.0, 2.0]


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        (pd.Series([1, 2]), [1.0, 2.0]),
        (pd.Series([1, None], dtype="Int64"), [1.0, np.nan]),
        (pd.Series([1.5, None], dtype="Float64"), [1.5, np.nan]),
        (pd.Series([True, False]), [True, False]),
        (pd.Index([1, 2]), [1.0, 2.0]),
        ([1, 2], [1.0, 2.0]),
        ([[1.0], [2.0]], [[1.0], [2.0]]),
        ([np.datetime64("2017-01-01")], [np.datetime64("2017-01-01")]),
        (pd.DatetimeIndex(["2017-01-01"]), [np.datetime64("2017-01-01")]),
    ],
)
def test_numbers_and_times_reach_the_function_as_an_array(values, expected) -> None:
    seen = []
    any_container(seen.append)(values)

    assert isinstance(seen[0], np.ndarray)
    assert seen[0].dtype.kind in "bfM"
    np.testing.assert_array_equal(seen[0], expected)


@pytest.mark.parametrize("values", [[], ["mon"], [Pane()], ("mon",), "mon", None, 3, {"a": 1}])
def test_all_else_reaches_the_function_as_it_is(values) -> None:
    seen = []
    any_container(seen.append)(values)

    assert seen[0] is values


def test_series_of_two_indices_are_refused() -> None:
    t_c, w_kg_kg = pd.Series([20.0, 21.0]), pd.Series([0.004, 0.005], index=[1, 2])

    with pytest.raises(OutOfRangeError) as refused:
        FUNCTIONS["air.relative_humidity"](t_c, w_kg_kg, p_pa=101_325.0)

    assert str(refused.value) == (
        "relative_humidity: w_kg_kg: must have the index of t_c (bring them to one index first, "
        "as Series.align does)"
    )
    assert isinstance(refused.value, ValueError)


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        (pd.Series(["a"], dtype=object), "object"),
        (pd.Series(pd.DatetimeIndex(["2017-01-01"], tz="UTC")), "datetime64[us, UTC]"),
    ],
)
def test_a_series_of_neither_numbers_nor_times_is_refused(values, kind) -> None:
    with pytest.raises(OutOfRangeError) as refused:
        FUNCTIONS["mains.months_present"](values)

    assert str(refused.value) == (
        "months_present: interval_start: must hold numbers or times without a zone, got "
        f"{values.dtype}"
    )
    assert kind.split("[")[0] in str(refused.value)


def test_it_imports_no_pandas() -> None:
    code = (
        "import sys; from dewmargin.physics import air; air.dew_point([500, 600]);"
        "assert 'pandas' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
