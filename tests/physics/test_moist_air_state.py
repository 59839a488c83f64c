"""One state of moist air by psychrolib, beside our own relations on arrays."""

from __future__ import annotations

import itertools
import math
import re
import subprocess
import sys

import numpy as np
import pytest

from dewmargin.errors import OutOfRangeError
from dewmargin.physics import air, moist_air_state

# The same equations with the same constants, up to the order of their sums: as for `air`'s tests.
ROUNDING = 1e-12
STATES = list(
    itertools.product(
        (-60.0, -20.0, 0.0, 0.01, 0.02, 21.0, 45.0, 60.0),
        (0.0, 1e-6, 0.3, 0.99, 1.0),
        (61_640.0, 101_325.0),
    )
)
APART = """
import sys
import psychrolib
from dewmargin.physics import moist_air_state
psychrolib.SetUnitSystem(psychrolib.IP)
print(round(moist_air_state.humidity_ratio_at_rh(20.0, 0.5, 101325.0), 6))
print(psychrolib.PSYCHROLIB_UNITS.name, psychrolib.MIN_HUM_RATIO)
psychrolib.SetUnitSystem(psychrolib.SI)
psychrolib.MIN_HUM_RATIO = 1.0
print(round(moist_air_state.humidity_ratio_at_rh(20.0, 0.5, 101325.0), 6))
"""
ALONE = """
import sys
from dewmargin.physics import moist_air_state
moist_air_state.dry_air_density(20.0, 0.007, 101325.0)
print([name for name in ("numba", "psychrolib") if name in sys.modules])
"""


def test_humidity_ratio_agrees_with_that_on_arrays() -> None:
    t_c, rh_frac, p_pa = (np.array(column) for column in zip(*STATES, strict=True))

    want = air.humidity_ratio_at_rh(t_c, rh_frac, p_pa)

    got = [moist_air_state.humidity_ratio_at_rh(*state) for state in STATES]
    np.testing.assert_allclose(got, want, rtol=ROUNDING)
    # Dry air is dry: psychrolib itself would say 1e-7.
    assert {w for w, (_, rh, _) in zip(got, STATES, strict=True) if rh == 0.0} == {0.0}


def test_saturation_agrees_with_that_on_arrays() -> None:
    t_c, _, p_pa = (np.array(column) for column in zip(*STATES, strict=True))

    want = air.saturated_humidity_ratio(t_c, p_pa)

    got = [moist_air_state.saturated_humidity_ratio(t, p) for t, _, p in STATES]
    np.testing.assert_allclose(got, want, rtol=ROUNDING)


def test_density_agrees_with_that_on_arrays() -> None:
    t_c, w, p_pa = (np.array(column) for column in zip(*STATES, strict=True))
    w = 0.03 * w

    want = air.dry_air_density(t_c, w, p_pa)

    got = map(moist_air_state.dry_air_density, t_c.tolist(), w.tolist(), p_pa.tolist())
    np.testing.assert_allclose(list(got), want, rtol=ROUNDING)


def test_relative_humidity_agrees_with_that_on_arrays() -> None:
    t_c, w, p_pa = (np.array(column) for column in zip(*STATES, strict=True))
    w = 0.03 * w

    want = air.relative_humidity(t_c, w, p_pa)

    got = map(moist_air_state.relative_humidity, t_c.tolist(), w.tolist(), p_pa.tolist())
    np.testing.assert_allclose(list(got), want, rtol=ROUNDING)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(
    ("call", "key", "limits"),
    [
        (lambda x: moist_air_state.humidity_ratio_at_rh(x, 0.5, 1e5), "t_c", "-100 and 200"),
        (lambda x: moist_air_state.humidity_ratio_at_rh(20.0, x, 1e5), "rh_frac", "0 and 1"),
        (lambda x: moist_air_state.humidity_ratio_at_rh(20.0, 0.5, x), "p_pa", "1000 and 1e+06"),
        (lambda x: moist_air_state.saturated_humidity_ratio(x, 1e5), "t_c", "-100 and 200"),
        (lambda x: moist_air_state.saturated_humidity_ratio(20.0, x), "p_pa", "1000 and 1e+06"),
        (lambda x: moist_air_state.relative_humidity(x, 0.01, 1e5), "t_c", "-100 and 200"),
        (lambda x: moist_air_state.relative_humidity(20.0, x, 1e5), "w_kg_kg", "0 and 10"),
        (lambda x: moist_air_state.relative_humidity(20.0, 0.01, x), "p_pa", "1000 and 1e+06"),
        (lambda x: moist_air_state.dry_air_density(x, 0.01, 1e5), "t_c", "-100 and 200"),
        (lambda x: moist_air_state.dry_air_density(20.0, x, 1e5), "w_kg_kg", "0 and 10"),
        (lambda x: moist_air_state.dry_air_density(20.0, 0.01, x), "p_pa", "1000 and 1e+06"),
    ],
)
def test_a_number_that_is_none_is_refused(call, key: str, limits: str, value: float) -> None:
    told = f"moist air: {key}: must be between {limits}, got {value:g}"
    with pytest.raises(OutOfRangeError, match=f"^{re.escape(told)}$"):
        call(value)


def test_air_that_would_be_vapour_alone_is_refused() -> None:
    with pytest.raises(OutOfRangeError) as caught:
        moist_air_state.saturated_humidity_ratio(95.0, 50_000.0)

    assert str(caught.value) == "moist air: t_c: vapour of 84608 Pa leaves no air at 50000 Pa"


def test_a_user_s_psychrolib_keeps_its_units_and_ours_its_own() -> None:
    got = subprocess.run(
        [sys.executable, "-c", APART], capture_output=True, text=True, check=True
    ).stdout

    assert got.splitlines() == ["0.007262", "IP 1e-07", "0.007262"]


def test_it_loads_neither_numba_nor_a_module_that_others_could_meet() -> None:
    got = subprocess.run(
        [sys.executable, "-c", ALONE], capture_output=True, text=True, check=True
    ).stdout

    assert got == "[]\n"
