"""A sweep's file: which cases it makes, in which order, and what is refused."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from dewmargin.errors import InputError
from dewmargin.studies.sweep.plan import Axis, Plan, Sample, read_rows
from stress_case import january
from sweep_case import GRID, SCENARIO, sweep_file

# Axes, samples, tables


@pytest.mark.parametrize(
    ("said", "points"),
    [
        ({"values": [1, 2]}, (1, 2)),
        ({"values": [[[-20, 0.2], [5, 0.4]]]}, (((-20, 0.2), (5, 0.4)),)),
        ({"start": 0.1, "stop": 0.5, "step": 0.1}, (0.1, 0.2, 0.3, 0.4, 0.5)),
        ({"start": 0.1, "stop": 0.39, "step": 0.1}, (0.1, 0.2, 0.3)),
        ({"start": 0, "stop": 1, "count": 5}, (0.0, 0.25, 0.5, 0.75, 1.0)),
        ({"start": 0, "stop": 1, "count": 4}, (0.0, 1 / 3, 2 / 3, 1.0)),
    ],
)
def test_an_axis_has_the_points_it_says_in_decimals(said, points) -> None:
    assert Axis(input="x.y", **said).points() == points


@pytest.mark.parametrize("method", ["sobol", "latin_hypercube"])
def test_a_sample_fills_every_input_evenly_and_is_the_same_for_a_seed(method) -> None:
    """One draw in each of n equal shares, which is what both are for."""
    inputs = [
        {"input": "a.b", "distribution": "uniform", "low": 0.0, "high": 1.0},
        {"input": "a.c", "distribution": "uniform", "low": 0.0, "high": 1.0},
    ]
    draws = Sample(method=method, n=64, seed=3, inputs=inputs).draws()

    for column in zip(*draws, strict=True):
        assert sorted((np.array(column) * 64).astype(int)) == list(range(64))
    assert draws == Sample(method=method, n=64, seed=3, inputs=inputs).draws()
    assert draws != Sample(method=method, n=64, seed=4, inputs=inputs).draws()


def test_axes_are_multiplied_and_what_is_dear_varies_slowest(tmp_path) -> None:
    """Leakage, a building, before the controller and the rule, though it is named last."""
    plan = Plan(sweep_file(tmp_path))

    flat, steep = ((-20, 0.3), (5, 0.4)), ((-20, 0.2), (5, 0.4))
    assert [p.name for p in plan.parameters] == ["line", "control.rh_bias", "leakage"]
    assert plan.n_cases == 8
    assert plan.n_rows == 16
    assert plan.draws(0, 8) == [
        (line, bias, leakage)
        for leakage in (700, 1100)
        for line in (steep, flat)
        for bias in (0.0, 0.03)
    ]


def test_blocks_hold_every_case_once(tmp_path) -> None:
    january(tmp_path, "other.epw", warmer_k=3.0)
    for block, sizes in ((1, [1] * 8), (3, [3, 3, 2]), (100, [8])):
        plan = Plan(sweep_file(tmp_path, f"block = {block}\n{GRID}"))
        blocks = [plan.block(k) for k in range(plan.n_blocks)]

        assert [b.stop - b.start for b in blocks] == sizes
        assert [case for b in blocks for case in range(b.start, b.stop)] == list(range(8))


def test_a_small_sweep_has_blocks_for_threads_and_a_building_is_not_cut(tmp_path) -> None:
    """64 cases in 16 blocks would be 4 each; of 2 buildings with 3 biases each it is 3."""
    plan = Plan(
        sweep_file(
            tmp_path,
            SCENARIO
            + '[[axes]]\ninput = "space.house.storeys"\nvalues = [1, 2]\n'
            + '[[axes]]\ninput = "space.house.volume_m3"\nstart = 300\nstop = 400\ncount = 8\n'
            + '[[axes]]\ninput = "control.rh_bias"\nvalues = [0.0, 0.01, 0.02]\n',
        )
    )

    assert plan.n_cases == 48
    assert plan.block_cases == 3


def test_samples_and_rows_go_side_by_side_and_are_multiplied_with_axes(tmp_path) -> None:
    (tmp_path / "rows.csv").write_text(
        "space.house.storeys,equipment.pad.effectiveness\n2,0.5\n1,0.6\n2,0.7\n"
    )
    plan = Plan(
        sweep_file(
            tmp_path,
            SCENARIO
            + 'rows = { file = "rows.csv" }\n'
            + '[[axes]]\ninput = "control.rh_bias"\nvalues = [0.0, 0.01]\n'
            + "[sample]\nn = 4\n[[sample.inputs]]\n"
            + 'input = "tariff.gas_per_kwh"\ndistribution = "uniform"\nlow = 0.1\nhigh = 0.2\n',
        )
    )

    draws = plan.draws(0, plan.n_cases)
    assert plan.n_cases == 3 * 2 * 4
    assert len(set(draws)) == 24
    # Rows of one building lie beside each other.
    of_rows = list(dict.fromkeys(draw[2:] for draw in draws))
    assert of_rows == [(2, 0.5), (2, 0.7), (1, 0.6)]
    assert len({draw[1] for draw in draws}) == 4


def test_a_table_may_be_csv_or_parquet(tmp_path) -> None:
    table = {"weather.file": ["a.epw", "b.epw"], "control.rh_bias": [0.0, 0.5]}
    pq.write_table(pa.table(table), tmp_path / "rows.parquet")
    (tmp_path / "rows.csv").write_text("weather.file,control.rh_bias\na.epw,0\nb.epw,0.5\n")

    assert read_rows(tmp_path / "rows.parquet") == table
    assert read_rows(tmp_path / "rows.csv") == table


def test_many_numbers_of_a_column_are_read_off_a_polynomial_and_few_are_not(tmp_path) -> None:
    """So many pads need not be solved; a count cannot lie between two."""
    many = [0.5 + 0.01 * k for k in range(9)]
    rows = "equipment.pad.effectiveness,equipment.pad.count\n"
    (tmp_path / "rows.csv").write_text(
        rows + "".join(f"{x:.2f},{1 + k % 2}\n" for k, x in enumerate(many))
    )
    plan = Plan(sweep_file(tmp_path, SCENARIO + 'rows = { file = "rows.csv" }\n'))

    effectiveness, count = (p.doubt for p in plan.parameters)
    assert (effectiveness.distribution, effectiveness.low, effectiveness.high) == (
        "uniform",
        0.5,
        0.58,
    )
    assert (count.distribution, count.values) == ("choice", (1, 2))


def test_several_scenarios_are_swept_alike(tmp_path) -> None:
    path = sweep_file(tmp_path, GRID.replace('"small.toml"', '["small.toml", "other.toml"]'))
    text = (tmp_path / "small.toml").read_text()
    (tmp_path / "other.toml").write_text(text.replace("volume_m3 = 430", "volume_m3 = 300"))
    plan = Plan(path)

    assert plan.n_cases == 16
    assert plan.draws(0, 8) == plan.draws(8, 16)
    assert [plan.block(k).scenario for k in range(plan.n_blocks)] == [0] * 8 + [1] * 8


# What a block is called


def keys(plan: Plan) -> list[str]:
    """Return the hashes of all blocks."""
    return [plan.key(plan.block(k)) for k in range(plan.n_blocks)]


WEATHERS = (
    "block = 2\n"
    + SCENARIO
    + """
[[axes]]
input = "weather.file"
values = WEATHERS

[[axes]]
input = "control.rh_bias"
values = [0.0, 0.03]
"""
)


def test_a_block_is_named_by_all_that_decides_its_numbers(tmp_path) -> None:
    january(tmp_path, "other.epw", warmer_k=3.0)
    two = WEATHERS.replace("WEATHERS", '["january.epw", "other.epw"]')
    before = keys(Plan(sweep_file(tmp_path, two)))
    assert before == keys(Plan(sweep_file(tmp_path, two)))
    assert len(set(before)) == 2

    january(tmp_path, "other.epw", warmer_k=4.0)
    assert [a == b for a, b in zip(before, keys(Plan(tmp_path / "sweep.toml")), strict=True)] == [
        True,
        False,
    ]
    january(tmp_path, "other.epw", warmer_k=3.0)
    changed = keys(Plan(sweep_file(tmp_path, two, lines={"storeys = 2": "storeys = 1"})))
    assert not set(changed) & set(before)
    changed = keys(Plan(sweep_file(tmp_path, two.replace("0.03", "0.02"))))
    assert not set(changed) & set(before)


def test_one_more_weather_leaves_the_other_blocks_as_they_are(tmp_path) -> None:
    january(tmp_path, "other.epw", warmer_k=3.0)
    one = keys(Plan(sweep_file(tmp_path, WEATHERS.replace("WEATHERS", '["january.epw"]'))))
    two = keys(
        Plan(sweep_file(tmp_path, WEATHERS.replace("WEATHERS", '["january.epw", "other.epw"]')))
    )

    assert two[:1] == one


# What is refused

REFUSED = [
    ("scenario = 1", "scenario: must be a list, got 1"),
    (SCENARIO + "axis = []", "axis: is not a key of this table (did you mean 'axes'?)"),
    (
        SCENARIO + '[[axes]]\ninput = "control.rh_bias"\n',
        "axes[0]: needs values, or start, stop and one of step and count",
    ),
    (
        SCENARIO + '[[axes]]\ninput = "control.rh_bias"\nvalues = [0]\nstep = 1\n',
        "axes[0]: give values, or start, stop and step or count, not both",
    ),
    (
        SCENARIO + '[[axes]]\ninput = "control.rh_bias"\nstart = 2\nstop = 1\nstep = 1\n',
        "axes[0]: start must not be above stop, got 2 and 1",
    ),
    (
        SCENARIO + '[[axes]]\ninput = "control.bias"\nvalues = [0]\n',
        (
            "axes[0].input: control.bias is not in this scenario (keys here: rh_bias, "
            "rh_drift_per_year, rh_lag_min, outdoor_bias_k, outdoor_lag_h, deadband_rh, "
            "min_on_min, min_off_min)"
        ),
    ),
    (
        SCENARIO + '[[axes]]\ninput = "equipment.pad.effectiveness"\nvalues = [0.5, -0.5]\n',
        "axes[0].values[1]: must be above 0, got -0.5",
    ),
    (
        SCENARIO
        + '[[axes]]\ninput = "control.rh_bias"\nvalues = [0]\n'
        + '[[axes]]\ninput = "control.rh_bias"\nname = "again"\nvalues = [0]\n',
        "axes[1].input: control.rh_bias is moved by axes[0] too",
    ),
    (
        SCENARIO + '[[axes]]\ninput = "control.rh_bias"\nname = "feed_l"\nvalues = [0]\n',
        (
            "axes[0]: 'feed_l' is another column of the dataset (give the axis a name of its own, "
            "or each input once)"
        ),
    ),
    (
        SCENARIO
        + "[sample]\nn = 12\n[[sample.inputs]]\n"
        + 'input = "control.rh_bias"\ndistribution = "uniform"\nlow = 0\nhigh = 0.1\n',
        "sample: n must be a power of two for a Sobol sequence, got 12: take 8 or 16",
    ),
    (
        SCENARIO
        + "[sample]\nn = 8\n[[sample.inputs]]\n"
        + 'input = "control.rh_bias"\ndistribution = "uniform"\nlow = 0.9\nhigh = 0.9\n',
        (
            "sample.inputs[0]: control.rh_bias would be 0.9, it may be -0.3 to 0.3 (draw it "
            "less wide)"
        ),
    ),
    (
        SCENARIO + "hourly = { cases = [0, 1] }\n",
        "hourly.cases[1]: must be below 1, got 1",
    ),
    (
        SCENARIO + 'rows = { file = "rows.csv" }\n',
        "rows.file: control.rh_bias: row 3: must be a number, got 'x'",
    ),
]


@pytest.mark.parametrize(("text", "message"), REFUSED)
def test_a_file_that_cannot_be_is_refused_with_its_place(text, message, tmp_path) -> None:
    (tmp_path / "rows.csv").write_text("control.rh_bias\n0.1 \n0.2 \nx\n")
    path = sweep_file(tmp_path, text)

    with pytest.raises(InputError) as caught:
        Plan(path)

    assert str(caught.value) == f"{path}: {message}"


TABLES = [
    ("a,b\n1,2\n3,\n", "row 2, b: must hold a value"),
    ("a,b\n", "has no rows"),
]


@pytest.mark.parametrize(("text", "message"), TABLES)
def test_a_table_with_a_hole_is_refused_with_its_row(text, message, tmp_path) -> None:
    path = tmp_path / "rows.csv"
    path.write_text(text)

    with pytest.raises(InputError) as caught:
        read_rows(path)

    assert str(caught.value) == f"{path}: {message}"


def test_what_is_no_table_is_refused(tmp_path) -> None:
    path = tmp_path / "rows.parquet"
    path.write_text("no")

    with pytest.raises(InputError, match="cannot be read as a table"):
        read_rows(path)


def test_a_weather_that_is_not_there_is_named(tmp_path) -> None:
    path = sweep_file(tmp_path, WEATHERS.replace("WEATHERS", '["january.epw", "none.epw"]'))

    with pytest.raises(InputError) as caught:
        Plan(path)

    assert (
        str(caught.value) == f"{tmp_path / 'none.epw'}: cannot be read: No such file or directory"
    )


def test_there_are_no_other_blocks(tmp_path) -> None:
    plan = Plan(sweep_file(tmp_path))

    with pytest.raises(InputError) as caught:
        plan.block(8)

    assert str(caught.value) == f"{plan.path}: has blocks 0 to 7, not 8"
