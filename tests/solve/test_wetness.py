"""What surfaces go through, from hours that can be counted on paper."""

from __future__ import annotations

import numpy as np
import pytest

from cases import outcome, small_case
from dewmargin.case import HourlyCase, SurfaceYear
from dewmargin.physics import air, mould, surfaces
from dewmargin.solve import balance, wetness
from dewmargin.solve.hours import YearHours, hours_of

N = 48


def faces_of(case: HourlyCase, made: balance.Outcome) -> tuple[YearHours, wetness.SurfaceHours]:
    hours = hours_of(case, heating_season_below_c=15.0)
    return hours, wetness.surface_hours(case, hours, made)


def year_of(case: HourlyCase, made: balance.Outcome, i: int = 0) -> dict[str, float | None]:
    hours, faces = faces_of(case, made)
    return dict(wetness.surface_year(case, hours, made, faces, i))


def around_the_dew_point(*above_k: np.ndarray) -> HourlyCase:
    """Return a room of 21 °C and 40 % whose surfaces are so much above its dew point."""
    t_air, p = np.full(N, 21.0), np.full(N, 95_000.0)
    w = air.humidity_ratio_at_rh(t_air, np.full(N, 0.4), p)
    dew = air.dew_point(air.vapour_pressure(w, p))
    found = tuple(
        SurfaceYear(name=f"face {i}", t_surface_c=dew + above) for i, above in enumerate(above_k)
    )
    return small_case(N, surfaces=found, t_air_c=t_air, p_pa=p)


def test_condensation_counts_hours_with_any_surface_below_the_dew_point() -> None:
    first, second = np.full(N, 1.0), np.full(N, 2.0)
    first[:6] -= 1.5
    second[4:10] -= 3.0
    case = around_the_dew_point(first, second)
    made = outcome(case, np.full(N, 0.4))

    counted = wetness.year_of_any(faces_of(case, made)[1])

    assert counted["condensation_h"] == 10
    assert counted["worst_margin_k"] == pytest.approx(-1.0, abs=1e-6)
    assert year_of(case, made, 0)["condensation_h"] == 6
    # Six hours 0.5 K below, six hours 1 K below.
    assert year_of(case, made, 0)["below_dew_point_k_h"] == pytest.approx(3.0, abs=1e-5)
    assert year_of(case, made, 1)["below_dew_point_k_h"] == pytest.approx(6.0, abs=1e-5)


def test_a_surface_exactly_at_the_dew_point_does_not_count() -> None:
    case = small_case(N)
    edge = min(case.surfaces, key=lambda s: s.t_surface_c.mean())
    limit = air.saturation_pressure(edge.t_surface_c) / air.saturation_pressure(case.t_air_c)

    for rh, expected in ((limit, 0), (limit * 1.001, N)):
        counted = wetness.year_of_any(faces_of(case, outcome(case, rh))[1])
        assert counted["condensation_h"] == expected


def test_margin_and_condensation_tell_the_same() -> None:
    case = small_case(N)
    made = balance.demand(case, np.full(N, 0.35))

    _, faces = faces_of(case, made)

    assert faces.condensing.any()
    assert not faces.condensing.all()
    np.testing.assert_array_equal(faces.margin_k < 0.0, faces.condensing)
    assert faces.margin_k[0] == pytest.approx(
        surfaces.dew_margin(case.surfaces[0].t_surface_c, made.w_kg_kg, case.p_pa)
    )


def test_frost_is_condensation_below_zero() -> None:
    case = around_the_dew_point(np.full(N, -1.0), np.full(N, -10.0), np.full(N, 1.0))

    _, faces = faces_of(case, outcome(case, np.full(N, 0.4)))

    # The dew point is 7 °C.
    assert faces.condensing.sum(axis=1).tolist() == [N, N, 0]
    assert faces.frost.sum(axis=1).tolist() == [0, N, 0]


def test_films_are_counted_as_wet_visible_and_running() -> None:
    case = small_case(N, wraps=True)
    film, runoff = np.zeros((2, N)), np.zeros((2, N))
    film[0, :5], film[0, 40:] = 6e-3, 4e-3  # 6 g/m2 and 4 g/m2, round the year's end
    film[0, 20:22] = 9e-6  # 0.009 g/m2: no film
    film[1, 3:6], runoff[1, 4] = 0.1, 0.02
    made = outcome(case, np.full(N, 0.2), film_kg_m2=film, runoff_kg_m2=runoff)

    pane, edge = year_of(case, made, 0), year_of(case, made, 1)

    assert (pane["wet_h"], pane["visible_h"], pane["runoff_h"]) == (13, 5, 0)
    assert pane["longest_wet_h"] == 13
    assert (edge["wet_h"], edge["runoff_h"], edge["longest_wet_h"]) == (3, 1, 3)
    assert edge["film_max_g_m2"] == pytest.approx(100.0)
    assert edge["runoff_g_m2"] == pytest.approx(20.0)
    # The pane has 10 m2, the edge is only watched.
    assert pane["runoff_kg"] == 0.0
    assert edge["runoff_kg"] is None
    counted = wetness.year_of_any(faces_of(case, made)[1])
    assert (counted["wet_h"], counted["runoff_h"]) == (14, 1)


def test_a_wet_surface_counts_as_saturated() -> None:
    case = small_case(N)
    film = np.zeros((2, N))
    film[0, :10] = 1e-3

    _, faces = faces_of(case, outcome(case, np.full(N, 0.1), film_kg_m2=film))

    assert faces.rh_frac[0, :10].tolist() == [1.0] * 10
    assert np.all(faces.rh_frac[0, 10:] < 0.5)


@pytest.mark.parametrize(
    ("happens", "wraps", "expected"),
    [
        ("0110", False, 2),
        ("1011", False, 2),
        ("1011", True, 3),
        ("0000", True, 0),
        ("1111", True, 4),
        ("1111", False, 4),
    ],
)
def test_the_longest_run(happens, wraps, expected):
    assert wetness.longest_run(np.array([c == "1" for c in happens]), wraps=wraps) == expected


def test_the_monthly_criterion_takes_means_of_temperature_and_pressure() -> None:
    """Two months: 20 °C and 60 % against a surface of 12 °C on average, then a dry one.

    ISO 13788: p_i = 0.6 p_s(20 °C) = 1403 Pa over p_s(12 °C) = 1403 Pa: 1.0; least index of the
    month outdoors at 0 °C: T of p_i/0.8 is 15.4 °C, over 20: 0.770. Computed from steam tables.
    """
    n = 59 * 24
    t_out = np.concatenate([np.zeros(31 * 24), np.full(28 * 24, 10.0)])
    sway = 4.0 * np.tile(np.repeat([1.0, -1.0], 12), 59)  # warm days, cold nights
    surface = np.concatenate([np.full(31 * 24, 12.0), np.full(28 * 24, 16.0)]) + sway
    case = small_case(
        n,
        interval_start=np.datetime64("2017-01-01T00:00:00", "s")
        + np.arange(n) * np.timedelta64(3600, "s"),
        t_out_c=t_out,
        t_air_c=np.full(n, 20.0),
        surfaces=(SurfaceYear(name="corner", t_surface_c=surface),),
        w_out_kg_kg=np.full(n, 0.003),
    )
    rh = np.concatenate([np.full(31 * 24, 0.60), np.full(28 * 24, 0.30)])

    corner = year_of(case, outcome(case, rh))

    assert corner["rh_month_max_frac"] == pytest.approx(1.0, abs=2e-3)
    assert corner["least_index_frac"] == pytest.approx(0.770, abs=2e-3)
    _, faces = faces_of(case, outcome(case, rh))
    assert corner["mould_index_max"] == pytest.approx(
        mould.mould_index(surface, faces.rh_frac[0], sensitivity="sensitive").max()
    )
    mild = small_case(N, t_out_c=np.full(N, 18.0))
    assert year_of(mild, outcome(mild, np.full(N, 0.3)))["least_index_frac"] is None


def test_the_worst_hours_are_those_of_ten_days() -> None:
    n = 20 * 24
    case = small_case(n)
    hours = hours_of(case, heating_season_below_c=15.0)
    margin = 10.0 + 0.01 * np.arange(n)
    margin[[5, 6, 7]] = -3.0, -4.0, -2.0  # one bad night
    margin[100] = -1.0

    worst = wetness.worst_hours(hours, margin)

    assert worst[:2].tolist() == [6, 100]
    assert len(worst) == 10
    assert len({h // 24 for h in worst.tolist()}) == 10
