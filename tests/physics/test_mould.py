"""Mould: growth curves of the model, the standard's monthly index, running means."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import references
from dewmargin.kernel import growth
from dewmargin.physics import mould

WEEK_H = 7 * 24


def constant(t_c: float, rh_percent: float, weeks: int) -> tuple[np.ndarray, np.ndarray]:
    n = weeks * WEEK_H
    return np.full(n, t_c), np.full(n, rh_percent / 100.0)


@pytest.mark.parametrize(
    "row",
    references.rows("mould_index"),
    ids=lambda row: f"{row['t_c']} °C, {row['rh_percent']} %, {row['sensitivity']}",
)
def test_growth_in_constant_conditions(row: dict[str, str]) -> None:
    t, rh = constant(float(row["t_c"]), float(row["rh_percent"]), 52)

    got = mould.mould_index(t, rh, sensitivity=row["sensitivity"], wood=0.0)

    # Equations of Hukka and Viitanen 1999 and Ojanen et al. 2010 in hourly explicit steps, as here:
    # the project's tolerance for another order of arithmetic.
    for weeks in (4, 12, 26, 52):
        assert got[weeks * WEEK_H - 1] == pytest.approx(float(row[f"m_{weeks}wk"]), rel=5e-3)
    for limit in (1, 3):
        reached = np.flatnonzero(got >= limit)
        if row[f"days_to_{limit}"] == "never":
            assert reached.size == 0
        elif row[f"days_to_{limit}"]:
            assert (reached[0] + 1) / 24 == pytest.approx(float(row[f"days_to_{limit}"]), abs=0.5)


@pytest.mark.parametrize(
    ("t_c", "rh_percent", "sensitivity", "expected"),
    [
        pytest.param(20.0, 90.0, "sensitive", 1.2845, id="20 °C, 90 %, sensitive"),
        pytest.param(20.0, 95.0, "sensitive", 2.3585, id="20 °C, 95 %, sensitive"),
        pytest.param(10.0, 95.0, "sensitive", 1.5992, id="10 °C, 95 %, sensitive"),
        pytest.param(20.0, 95.0, "medium_resistant", 0.3777, id="20 °C, 95 %, medium"),
        pytest.param(20.0, 90.0, "very_sensitive", 3.9187, id="20 °C, 90 %, pine has w = 0"),
    ],
)
def test_growth_in_twelve_weeks_on_the_wood_of_each_class(
    t_c: float, rh_percent: float, sensitivity: mould.Sensitivity, expected: float
) -> None:
    # As above, with w = 1 for all but the very sensitive class.
    got = mould.mould_index(*constant(t_c, rh_percent, 12), sensitivity=sensitivity)

    assert got[-1] == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize(
    ("sensitivity", "factor", "expected"),
    [
        ("very_sensitive", 1.0, (0.7857, 4.0604, 5.0682)),
        ("very_sensitive", 0.1, (0.9868, 4.7336, 5.1178)),
        ("very_sensitive", 0.0, (1.0182, 4.7872, 5.1230)),
        ("sensitive", 1.0, (0.3598, 1.0353, 1.6149)),
        ("sensitive", 0.1, (0.5609, 1.4463, 2.7179)),
        ("sensitive", 0.0, (0.5832, 1.5006, 2.8466)),
    ],
)
def test_half_days_of_damp_and_dry(
    sensitivity: mould.Sensitivity, factor: float, expected: tuple[float, float, float]
) -> None:
    # 12 h at 95 %, 12 h at 60 %, 20 °C: values computed apart from the same published equations.
    rh = np.tile(np.repeat([0.95, 0.60], 12), 26 * 7)

    got = mould.mould_index(
        np.full(rh.size, 20.0), rh, sensitivity=sensitivity, wood=0.0, decline_factor=factor
    )

    assert [got[weeks * WEEK_H - 1] for weeks in (4, 12, 26)] == pytest.approx(expected, rel=5e-3)


def test_decline_after_growth() -> None:
    # 4 weeks at 95 %, then 60 %, 20 °C, pine: values computed apart from the same equations.
    rh = np.concatenate([np.full(4 * WEEK_H, 0.95), np.full(4 * WEEK_H, 0.60)])

    got = mould.mould_index(
        np.full(rh.size, 20.0), rh, sensitivity="very_sensitive", decline_factor=1.0
    )

    after = got[4 * WEEK_H - 1 + np.array([0, 6, 24, 7 * 24, 28 * 24])]
    assert after == pytest.approx([3.0330, 3.0250, 3.0250, 2.9290, 2.5928], rel=5e-3)


def test_critical_humidity_by_temperature() -> None:
    # Hukka and Viitanen 1999, per cent at six temperatures, printed to 0.01.
    t = np.array([1.0, 5.0, 7.0, 10.0, 15.0, 20.0])

    got = 100.0 * mould.critical_humidity(t, "very_sensitive")

    assert got == pytest.approx([97.03, 88.02, 85.01, 82.03, 80.04, 80.04], abs=0.01)
    assert 100.0 * mould.critical_humidity(np.array([20.0]), "resistant") == pytest.approx([85.0])


def test_a_wet_surface_grows_at_most_the_largest_index_of_its_class() -> None:
    # A + B - C of Ojanen et al. 2010 at 100 %: 6, 5.3, 3.5 and 2.
    t, rh = constant(22.0, 100.0, 520)
    largest = {
        name: mould.mould_index(t, 1.2 * rh, sensitivity=name, wraps=True)[-1]
        for name in mould.CLASSES
    }

    # Growth slows as it nears the largest; the slowest class has not quite reached it in 50 times
    # ten years.
    assert list(largest.values()) == pytest.approx([6.0, 5.3, 3.5, 2.0], abs=0.02)


def test_nothing_grows_in_frost_or_in_dry_air() -> None:
    assert not mould.mould_index(*constant(-1.0, 100.0, 10), sensitivity="very_sensitive").any()
    assert not mould.mould_index(*constant(20.0, 79.0, 10), sensitivity="very_sensitive").any()


def test_a_year_that_wraps_returns_to_itself() -> None:
    hours = np.arange(8760)
    t = 12.0 + 8.0 * np.sin(hours / 8760 * 2 * np.pi)
    rh = 0.80 + 0.15 * np.cos(hours / 8760 * 2 * np.pi)

    once = mould.mould_index(t, rh, sensitivity="sensitive")
    settled = mould.mould_index(t, rh, sensitivity="sensitive", wraps=True)
    again = mould.mould_index(np.tile(t, 12), np.tile(rh, 12), sensitivity="sensitive", wraps=True)

    assert once[-1] < settled[-1]
    assert settled == pytest.approx(again[-8760:], abs=12 * mould.SETTLED)


@given(
    rh=st.lists(st.floats(0.5, 1.0), min_size=24, max_size=24),
    more=st.floats(0.0, 0.2),
    sensitivity=st.sampled_from(list(mould.CLASSES)),
)
def test_a_damper_surface_never_has_less_mould(
    rh: list[float], more: float, sensitivity: mould.Sensitivity
) -> None:
    days = np.tile(np.array(rh), 100)
    t = np.full(days.size, 18.0)

    less, grown = (
        mould.mould_index(t, each, sensitivity=sensitivity) for each in (days, days + more)
    )

    # The growth of the sensitive and resistant classes slows where the index passes 1, which may
    # set back the one that passes first by a step of at most 0.004.
    assert np.all(grown >= less - 0.004)


def test_compiled_and_plain_growth_give_the_same_bits() -> None:
    from dewmargin import kernel  # noqa: PLC0415 - only here

    rng = np.random.default_rng(3)
    rate = np.where(rng.random(2000) < 0.6, rng.random(2000) * 0.01, -1.0)
    most, plain, fast = rng.random(2000) * 6.0, np.empty(2000), np.empty(2000)

    arguments = (0.2, 1.0, 3600.0, rate, most, 0.578, 0.386, 0.1)
    ends = [growth.follow(*arguments, plain), kernel.compiled(growth).follow(*arguments, fast)]

    assert ends[0] == ends[1]
    np.testing.assert_array_equal(plain, fast)


def test_running_mean_looks_back_into_the_end_of_a_year_that_wraps() -> None:
    values = np.array([1.0, 2.0, 3.0, 4.0])

    assert mould.running_mean(values, steps=2, wraps=True).tolist() == [2.5, 1.5, 2.5, 3.5]
    part = mould.running_mean(values, steps=2, wraps=False)
    assert np.isnan(part[0])
    assert part[1:].tolist() == [1.5, 2.5, 3.5]
    assert np.isnan(mould.running_mean(values, steps=5, wraps=True)).all()


def test_the_thirty_day_mean_counts_only_between_5_and_40_degrees() -> None:
    t = np.concatenate([np.full(60 * 24, 2.0), np.full(60 * 24, 18.0)])
    rh = np.concatenate([np.full(60 * 24, 0.95), np.full(60 * 24, 0.70)])

    assert mould.thirty_day_maximum(t[: 60 * 24], rh[: 60 * 24], wraps=False) is None
    # The spans that end after 5/16 of 30 days' worth of 18 °C hold 0.95 for the rest of it:
    # mean temperature 2 + 16 s = 5 at s = 3/16, mean humidity 0.95 - 0.25 * 3/16.
    got = mould.thirty_day_maximum(t, rh, wraps=False)
    assert got == pytest.approx(0.95 - 0.25 * 3 / 16, abs=1e-3)
