"""The year numbers of many cases at once, against those of each option from its hours."""

from __future__ import annotations

import numpy as np
import pytest

from dewmargin.scenario import load
from dewmargin.solve import cases, year_of_many
from dewmargin.studies.compare.comparison import compare
from dewmargin.studies.demo import demo_folder
from year_cases import batch_of

FILES = ("larch_house.toml", "larch_house_simulated.toml")


def numbers_of(scenario, result):
    """Return the year numbers of all options, solved as one batch."""
    of, book, every, takers, wanted, asks = batch_of(scenario, result)
    return year_of_many.year_numbers(
        of,
        book,
        cases.solve(of, every),
        devices=every.devices,
        of_device=every.of_device,
        takers=takers,
        wanted_kg=np.array(wanted),
        wanted_of=asks,
    )


@pytest.mark.slow
@pytest.mark.parametrize("file", FILES)
def test_a_batch_has_the_numbers_of_every_option_of_the_demo(file) -> None:
    """Counts are equal; sums are taken in another order, which moves their last digits."""
    scenario = load(demo_folder() / "scenarios" / file)
    result = compare(scenario)

    found = numbers_of(scenario, result)

    assert set(found) == set(year_of_many.METRICS)
    for name in year_of_many.METRICS:
        expected = [option.row[name] for option in result.options]
        unknown = [value is None for value in expected]
        np.testing.assert_array_equal(np.isnan(found[name]), unknown, err_msg=name)
        known = np.array([np.nan if v is None else v for v in expected])
        if name.endswith("_h") and name not in ("running_h", "below_band_percent_h"):
            np.testing.assert_array_equal(found[name], known, err_msg=name)
        else:
            np.testing.assert_allclose(found[name], known, rtol=1e-9, atol=1e-9, err_msg=name)
