"""Mains water temperature: printed values, limits, and what the weather record does to it."""

from __future__ import annotations

import numpy as np
import pytest

import references
from dewmargin.physics.mains import mains_correlation, mains_temperature, months_present

HOURS = np.arange("2025-01-01T00", "2026-01-01T00", dtype="datetime64[h]").astype("datetime64[s]")


def chicago_like(hours: np.ndarray) -> np.ndarray:
    """Return a yearly wave, coldest in the middle of January, without any daily one."""
    day = (hours - hours[0]).astype("timedelta64[h]").astype(float) / 24.0
    return 9.69 - 14.5 * np.cos(2.0 * np.pi * (day - 15.0) / 365.0)


@pytest.mark.parametrize(
    "row", references.rows("mains"), ids=lambda row: f"{row['case']}, day {row['day_of_year']}"
)
def test_mains_correlation_agrees_with_its_source(row: dict[str, str]) -> None:
    got = mains_correlation(
        np.array([int(row["day_of_year"])]),
        float(row["t_mean_c"]),
        float(row["dt_monthly_k"]),
        southern=float(row["latitude_deg"]) < 0.0,
    )

    # Three decimals printed; the source's inputs have three or four digits.
    assert got == pytest.approx([float(row["t_mains_c"])], abs=0.0006)


def test_mean_coldest_and_warmest_day_of_chicago() -> None:
    # Computed from the formula of the EnergyPlus Engineering Reference for its own inputs.
    year = mains_correlation(np.arange(1, 366), 9.69, 28.1, southern=False)

    assert year.mean() == pytest.approx(13.025, abs=0.0006)
    assert (int(year.argmin()) + 1, int(year.argmax()) + 1) == (45, 227)


def test_without_seasons_the_mains_are_six_fahrenheit_above_the_mean() -> None:
    got = mains_correlation(np.array([1, 100, 250]), 20.0, 0.0, southern=False)

    assert got == pytest.approx([20.0 + 6.0 / 1.8] * 3)


def test_seasons_turn_over_south_of_the_equator() -> None:
    days = np.arange(1, 366)

    north, south = (mains_correlation(days, 12.0, 20.0, southern=s) for s in (False, True))

    mean = 12.0 + 6.0 / 1.8
    np.testing.assert_allclose(north - mean, mean - south, atol=1e-12)
    assert south[30] > north[30]


def test_mains_never_freeze() -> None:
    year = mains_correlation(np.arange(1, 366), -5.0, 40.0, southern=False)

    assert year.min() == 0.0
    assert np.count_nonzero(year == 0.0) > 30


def test_a_weather_year_gives_the_correlation_of_its_own_means() -> None:
    t_out = chicago_like(HOURS)
    by_month = [
        t_out[HOURS.astype("datetime64[M]").astype(int) % 12 == m].mean() for m in range(12)
    ]

    got = mains_temperature(t_out, HOURS, 41.98)

    expected = mains_correlation(
        np.repeat(np.arange(1, 366), 24),
        t_out.mean(),
        max(by_month) - min(by_month),
        southern=False,
    )
    np.testing.assert_allclose(got, expected, rtol=1e-12)


def test_a_daily_wave_changes_nothing() -> None:
    # A known mistake takes the hourly extremes for the span of the months.
    wave = 8.0 * np.sin(2.0 * np.pi * np.arange(HOURS.size) / 24.0)

    still, waving = (
        mains_temperature(chicago_like(HOURS) + add, HOURS, 41.98) for add in (0.0, wave)
    )

    np.testing.assert_allclose(waving, still, atol=1e-9)


def test_half_hours_give_what_hours_give() -> None:
    halves = (HOURS[:, np.newaxis] + np.array([0, 1800], dtype="timedelta64[s]")).ravel()

    got = mains_temperature(np.repeat(chicago_like(HOURS), 2), halves, 41.98)

    np.testing.assert_allclose(got[::2], mains_temperature(chicago_like(HOURS), HOURS, 41.98))


def test_a_record_that_starts_in_july_has_the_same_mains_on_the_same_day() -> None:
    turned = np.roll(HOURS, -4344)
    t_out = np.roll(chicago_like(HOURS), -4344)

    got = mains_temperature(t_out, turned, 41.98)

    straight = mains_temperature(chicago_like(HOURS), HOURS, 41.98)
    np.testing.assert_allclose(np.roll(got, 4344), straight, rtol=1e-12)


def test_buried_mains_of_a_cold_climate_are_bounded_and_only_they() -> None:
    """An annual mean of 1.4 °C and months 30 K apart, worked from the formula.

    34.5 °F: R = 0.4 - 0.0948 = 0.305, half the span 27 °F, so 40.52 ± 8.24 °F: 0.16 to 9.31 °C.
    """
    wave = (chicago_like(HOURS) - 9.69) * 15.0 / 14.5 + 1.4
    day = np.repeat(np.arange(1, 366), 24)
    by_month = [wave[HOURS.astype("datetime64[M]").astype(int) % 12 == m].mean() for m in range(12)]
    span_k = max(by_month) - min(by_month)

    got = mains_temperature(wave, HOURS, 46.5)

    plain = mains_correlation(day, wave.mean(), span_k, southern=False)
    # Months span less than the 30 K of the days, by a tenth at most: 0.5 K of the swing.
    assert (plain.min(), plain.max()) == pytest.approx((0.16, 9.31), abs=0.5)
    assert got.min() == 3.0
    np.testing.assert_array_equal(got, np.maximum(plain, 3.0))
    assert 60 < np.count_nonzero(got == 3.0) / 24 < 183


def test_months_are_counted() -> None:
    assert months_present(HOURS) == 12
    assert months_present(HOURS[: 40 * 24]) == 2
