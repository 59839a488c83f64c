"""The invented weather file: made by its script, and what its README says it is."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pytest

from dewmargin.weather import climate, epw

FOLDER = Path(__file__).parents[2] / "weather"
FILE = FOLDER / "larch_valley.epw"


def columns(*indices: int) -> np.ndarray:
    """Return columns of the file as printed, shape (8760, n)."""
    rows = FILE.read_text(encoding="ascii").splitlines()[8:]
    return np.array([[float(row.split(",")[k]) for k in indices] for row in rows])


@pytest.mark.slow
def test_script_makes_the_file_byte_for_byte(tmp_path: Path) -> None:
    made = runpy.run_path(str(FOLDER / "make_weather.py"))["main"](tmp_path)

    assert made.read_bytes() == FILE.read_bytes()


def test_file_is_one_whole_year_without_a_repair() -> None:
    weather = epw.read_epw(FILE)

    assert FILE.stat().st_size < 1_800_000
    assert weather.place == "Larch Valley (invented)"
    assert weather.t_out_c.shape == (8760,)
    assert weather.wraps
    assert weather.interval_start[0] == np.datetime64("2017-01-01T00:00:00")
    assert (weather.filled, weather.notes) == ({}, ())


def test_climate_is_cold_and_dry() -> None:
    weather = epw.read_epw(FILE)

    found = climate.summary(weather)

    assert -33.0 < found.t_out_min_c < -27.0
    assert np.count_nonzero(weather.t_out_c < -20.0) > 100
    assert weather.t_out_c.max() < 30.0
    winter = np.r_[0 : 59 * 24, 334 * 24 : 8760]  # December to February
    assert 1000.0 * weather.humidity_ratio("frost_point")[winter].mean() < 1.5
    assert found.dew_point_below_h[-10] > 2000.0


def test_dew_point_as_printed_is_never_above_dry_bulb() -> None:
    t_c, dew_c = columns(6, 7).T

    assert np.all(dew_c <= t_c)


def test_both_humidity_columns_say_the_same_over_ice() -> None:
    weather = epw.read_epw(FILE)

    frost, rh = (weather.humidity_ratio(name) for name in ("frost_point", "relative_humidity"))

    # Relative humidity has one decimal of a per cent: half of it is all that may differ. (W grows
    # a little faster than vapour pressure: 2 % more at the wettest hour.)
    assert np.all(np.abs(frost / rh - 1.0) <= 1.02 * 0.0005 / weather.rh_frac)


def test_year_is_its_own_neighbour() -> None:
    t_out_c = epw.read_epw(FILE).t_out_c

    assert abs(t_out_c[0] - t_out_c[-1]) <= np.abs(np.diff(t_out_c)).max()


def test_sun_stands_as_high_and_shines_as_long_as_astronomy_says() -> None:
    # Solar height at noon is 90° - latitude ± 23.44° (obliquity of the ecliptic); half a day's arc
    # is arccos(-tan latitude tan declination). Distance factors 0.967 in June, 1.034 in December.
    horizontal = columns(10)[:, 0].reshape(365, 24)
    latitude, obliquity = np.radians([46.5, 23.44])
    for day, sign, distance in ((171, 1.0, 0.967), (354, -1.0, 1.034)):
        noon = 1361.0 * distance * np.cos(latitude - sign * obliquity)
        day_h = np.degrees(np.arccos(-np.tan(latitude) * np.tan(sign * obliquity))) / 7.5

        # The middle of the highest hour is up to half an hour, 7.5°, from true noon: cosine 0.991.
        assert 0.98 * noon < horizontal[day].max() < 1.005 * noon
        # Hours are whole, and sampled at their middle.
        assert np.count_nonzero(horizontal[day]) == pytest.approx(day_h, abs=1.0)


def test_direct_and_diffuse_radiation_make_the_global() -> None:
    global_, direct, diffuse, horizontal, normal = columns(13, 14, 15, 10, 11).T
    up = horizontal > 10.0

    sine = horizontal[up] / normal[up]

    # Four printed values, each half a W/m2 off, direct and the sine of the height as a product.
    error = 1.0 + 0.5 * sine + direct[up] * 0.5 * (1.0 + sine) / normal[up]
    assert np.all(np.abs(global_[up] - diffuse[up] - direct[up] * sine) <= error)
    assert np.all(diffuse >= 0.0)


def test_stated_design_humidity_is_that_of_the_rows() -> None:
    found = climate.summary(epw.read_epw(FILE))

    assert len(found.design_stated) == 2
    for stated, computed in zip(found.design_stated, found.design_computed, strict=True):
        assert stated.dew_point_c == pytest.approx(computed.dew_point_c, abs=0.051)
        assert stated.humidity_ratio_g_kg == pytest.approx(computed.humidity_ratio_g_kg, abs=0.051)
        assert stated.coincident_t_c == pytest.approx(computed.coincident_t_c, abs=0.051)
