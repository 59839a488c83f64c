"""Years at once, a case by itself and no hour kept, against the balance and its accounts."""

from __future__ import annotations

import os
import subprocess
import sys
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from dewmargin import kernel
from dewmargin.kernel import year
from dewmargin.scenario import load
from dewmargin.solve import year_of_many, year_on_gpu
from dewmargin.studies.compare.comparison import compare
from dewmargin.studies.demo import demo_folder
from dewmargin.studies.stress.study import Runner
from stress_case import small
from year_cases import COUNTS, by, job_of


def agrees(found, options, result, *, rtol: float) -> None:
    """Counts are equal; sums are taken in another order, which moves their last digits."""
    for name in year_of_many.METRICS:
        known = np.array([np.nan if o.row[name] is None else o.row[name] for o in result.options])
        mine = found[name][options]
        if name in COUNTS:
            np.testing.assert_array_equal(mine, known, err_msg=name)
        else:
            np.testing.assert_allclose(mine, known, rtol=rtol, atol=1e-9, err_msg=name)


@pytest.mark.slow
@pytest.mark.parametrize("file", ["larch_house.toml", "larch_house_simulated.toml"])
def test_a_case_by_itself_has_the_numbers_of_the_demo(file) -> None:
    result = compare(load(demo_folder() / "scenarios" / file))
    job, options = job_of(result)

    (found,) = year_on_gpu.solve([job], by(kernel.compiled(year)))

    agrees(found, options, result, rtol=1e-9)


def test_plain_python_and_compiled_give_the_same_numbers(tmp_path) -> None:
    job, _ = job_of(compare(small(tmp_path)))

    (plain,) = year_on_gpu.solve([job], by(year))
    (fast,) = year_on_gpu.solve([job], by(kernel.compiled(year)))

    for name in year_of_many.METRICS:
        np.testing.assert_allclose(plain[name], fast[name], rtol=1e-14, err_msg=name)


def test_jobs_that_find_no_room_together_are_solved_in_turn(tmp_path, monkeypatch) -> None:
    job, _ = job_of(compare(small(tmp_path)))
    years = by(kernel.compiled(year))
    together = year_on_gpu.solve([job, job, job], years)
    calls = []
    monkeypatch.setattr(year_on_gpu, "MOST_BYTES", 2.5 * job.n_bytes)

    apart = year_on_gpu.solve([job, job, job], lambda *told: calls.append(1) or years(*told))

    assert len(calls) == 2
    for mine, theirs in zip(apart, together, strict=True):
        for name in year_of_many.METRICS:
            np.testing.assert_array_equal(mine[name], theirs[name], err_msg=name)


@pytest.mark.slow
def test_a_simulated_gpu_gives_the_same_numbers(tmp_path) -> None:
    """numba's simulator runs the device's code as Python: all of it but the device."""
    small(tmp_path)

    done = subprocess.run(
        [sys.executable, Path(__file__).parents[1] / "gpu_check.py", tmp_path / "small.toml"],
        env=os.environ | {"NUMBA_ENABLE_CUDASIM": "1"},
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stderr
    assert "equal counts" in done.stdout


def test_without_a_gpu_it_says_why() -> None:
    code = (
        "from dewmargin.solve import year_on_gpu\n"
        "from dewmargin.errors import InputError\n"
        "try:\n    year_on_gpu.gpu_years()\nexcept InputError as error:\n    print(error)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=os.environ | {"CUDA_VISIBLE_DEVICES": "", "NUMBA_ENABLE_CUDASIM": "0"},
        capture_output=True,
        text=True,
        check=True,
    )

    assert done.stdout.strip() == (
        "--device gpu: no GPU can be used: no CUDA GPU or driver was found (leave it out for the "
        "CPU)"
    )


@pytest.mark.slow
def test_a_sweep_finds_the_same_on_either_device(tmp_path) -> None:
    scenario = small(
        tmp_path,
        """
        space.house.leakage_m3_h_at_50pa | value | choice | values = [800, 1100]
        equipment.pad.feed_kg_h | value | choice | values = [8, 15]
        comfort.low_rh | value | choice | values = [0.2, 0.3]
        """,
    )
    rows = list(product((800, 1100), (8, 15), (0.2, 0.3)))
    found = []
    for years in (None, by(kernel.compiled(year))):
        runner = Runner(scenario, years=years)
        drawn = [runner.variants.row(row) for row in rows]
        runner.prepare(drawn)
        found.append(runner.numbers(drawn, range(len(runner.options))))

    here, there = found
    assert here.shape == (8, 2, len(year_of_many.METRICS))
    for k, name in enumerate(year_of_many.METRICS):
        if name in COUNTS:
            np.testing.assert_array_equal(here[..., k], there[..., k], err_msg=name)
        else:
            np.testing.assert_allclose(here[..., k], there[..., k], rtol=1e-12, atol=1e-12)
