"""From set-points and capabilities to kilograms: laws that hold whatever the numbers are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import small_case
from dewmargin.case import HeldZone, Sensor, SurfaceYear
from dewmargin.contracts import Capability, Mode, Use, WhileWet
from dewmargin.errors import OutOfRangeError
from dewmargin.physics import air, surfaces
from dewmargin.solve import balance, wetness
from dewmargin.solve.hours import hours_of

N = 48


def device(rate_kg_h: float, *, heat_frac: float = 1.0, feed_kg_h: float = 5.0) -> Capability:
    """Return a device of one rate, fed with a fixed flow while it runs."""
    flat = np.full(N, 1.0 / 3600.0)
    mode = Mode(
        r0_kg_s=rate_kg_h * flat, r1_kg_s=0.0 * flat, feed=Use(per_s=feed_kg_h * flat),
    )  # fmt: skip
    return Capability(heat_frac=np.full(N, heat_frac), heat=mode)


def simulated(case):
    """Return the case as a simulation would give it: its own humidity as the reference."""
    w = balance.baseline(replace(case, surfaces=())).w_kg_kg
    return replace(case, departure=True, w_base_kg_kg=w)


def test_without_humidifier_and_surfaces_a_simulation_keeps_its_humidity_bit_for_bit() -> None:
    case = replace(simulated(small_case(N)), surfaces=(), wraps=True)

    outcome = balance.baseline(case)

    np.testing.assert_array_equal(outcome.w_kg_kg, case.w_base_kg_kg)
    assert not outcome.added_kg.any()
    assert not outcome.fog_kg.any()


def test_a_simulation_supersaturated_by_a_rounding_keeps_that_water() -> None:
    case = simulated(small_case(N))
    wet = air.saturated_humidity_ratio(case.t_air_c, case.p_pa) * (1.0 + 1e-6)
    case = replace(case, w_base_kg_kg=wet, surfaces=())

    np.testing.assert_array_equal(balance.baseline(case).w_kg_kg, wet)


def test_condensation_pushes_a_simulation_below_its_own_humidity() -> None:
    gains = np.full(N, 0.1 / 3600.0)
    gains[12:] *= 12.0
    case = simulated(small_case(N, gains_kg_s=gains))

    outcome = balance.baseline(case)

    first = np.argmax(outcome.condensed_kg[0] > 0.0)
    assert first > 0
    np.testing.assert_array_equal(outcome.w_kg_kg[:first], case.w_base_kg_kg[:first])
    assert np.all(outcome.w_kg_kg[first:] < case.w_base_kg_kg[first:])


def test_direct_and_departure_agree_where_every_flow_is_known() -> None:
    """A simulation made by our own balance has no missing flow: both forms give one demand."""
    # A constant reference within the hour is exact only where the room is steady, so let it settle.
    steady = replace(small_case(N), t_out_c=np.full(N, -10.0))
    steady = replace(steady, w_out_kg_kg=np.full(N, 0.0012), surfaces=(), wraps=True)
    rh = np.full(N, 0.35)

    departure = balance.demand(simulated(steady), rh).added_kg
    direct = balance.demand(steady, rh).added_kg

    # The 48 h of warm-up leave e^-14 of the start, with 3.5 h of time constant.
    assert departure == pytest.approx(direct, rel=1e-5)


def test_demand_of_a_steady_room_is_the_textbook_load() -> None:
    """H = m (W_i - W_o) - S: ASHRAE Systems and Equipment, humidifiers chapter (form from memory).

    Worked example computed from the formula in SI and IP: 500 m3 at 0.5 air changes an hour of
    indoor volume, 70 °F 35 % against 0 °F 70 %, 0.30 kg/h of gains: 1.1507 kg/h = 2.5368 lb/h.
    """
    one = np.ones(N)
    t_in, t_out, p = (70.0 - 32.0) / 1.8, (0.0 - 32.0) / 1.8, 101_325.0
    w_in = air.humidity_ratio_at_rh(t_in * one, 0.35 * one, p * one)
    density = air.dry_air_density(t_in * one, w_in, p * one)
    case = small_case(
        N,
        t_air_c=t_in * one,
        t_out_c=t_out * one,
        p_pa=p * one,
        w_out_kg_kg=air.humidity_ratio_at_rh(t_out * one, 0.70 * one, p * one),
        exchange_kg_s=250.0 / 3600.0 * density,
        surfaces=(),
    )

    demand = balance.demand(case, 0.35 * one).added_kg

    assert demand[1:] == pytest.approx(1.1507, rel=1e-3)
    assert demand[1:] / 0.45359237 == pytest.approx(2.5368, rel=1e-3)


def test_the_load_of_a_volume_of_air_hardly_depends_on_altitude() -> None:
    """250 m3/h, 21 °C 35 % against -15 °C 60 %: 1.4221 kg/h at sea level, 1.4225 at 81 198 Pa.

    Computed from the stated formula; agreement within 0.2 %.
    """
    one = np.ones(N)
    for p, expected in ((101_325.0, 1.4221), (81_198.0, 1.4225)):
        w_in = air.humidity_ratio_at_rh(21.0 * one, 0.35 * one, p * one)
        case = small_case(
            N,
            t_out_c=-15.0 * one,
            p_pa=p * one,
            w_out_kg_kg=air.humidity_ratio_at_rh(-15.0 * one, 0.60 * one, p * one),
            exchange_kg_s=250.0 / 3600.0 * air.dry_air_density(21.0 * one, w_in, p * one),
            gains_kg_s=0.0 * one,
            surfaces=(),
        )
        demand = balance.demand(case, 0.35 * one).added_kg
        assert demand[1:] == pytest.approx(expected, rel=2e-3)


@given(rh=st.floats(0.05, 0.6), rate=st.floats(0.0, 3.0), heat=st.floats(0.0, 1.0))
def test_water_closes_and_no_more_is_added_than_the_device_gives(rh, rate, heat) -> None:
    outcome = balance.deliver(small_case(N), np.full(N, rh), device(rate, heat_frac=heat))

    assert outcome.balance_error_kg.max() < 1e-9
    assert np.all(outcome.added_kg <= rate * heat + 1e-12)
    assert np.all(outcome.added_kg >= 0.0)
    assert np.all(outcome.running_frac <= heat + 1e-12)
    # Fed while it runs, at 5 kg/h.
    assert outcome.feed_kg == pytest.approx(5.0 * outcome.running_frac, abs=1e-12)


@given(rh=st.floats(0.05, 0.5), more=st.floats(0.0, 0.3))
def test_a_higher_set_point_demands_more_and_condenses_longer(rh: float, more: float) -> None:
    case = small_case(N)
    hours = hours_of(case, heating_season_below_c=15.0)

    low = balance.demand(case, np.full(N, rh))
    high = balance.demand(case, np.full(N, rh + more))

    assert high.added_kg.sum() >= low.added_kg.sum() - 1e-6
    low_h = wetness.condenses(hours, low.w_kg_kg).sum(axis=1)
    assert np.all(wetness.condenses(hours, high.w_kg_kg).sum(axis=1) >= low_h)


@given(rh=st.floats(0.2, 0.6), index=st.floats(0.3, 0.9), warmer=st.floats(0.0, 0.1))
def test_a_warmer_surface_never_condenses_longer(rh: float, index: float, warmer: float) -> None:
    case = small_case(N)
    (_, edge) = case.surfaces
    faces = tuple(
        replace(edge, t_surface_c=case.t_out_c + i * (case.t_air_c - case.t_out_c))
        for i in (index, index + warmer)
    )
    case = replace(case, surfaces=faces)
    hours = hours_of(case, heating_season_below_c=15.0)

    cold, warm = wetness.condenses(hours, balance.demand(case, np.full(N, rh)).w_kg_kg)

    assert warm.sum() <= cold.sum()


def faces(case, *indexes: float, area_m2: float = 10.0, retention_g_m2: float = 100.0):
    """Return the case with surfaces of these temperature indices."""
    (_, edge) = case.surfaces
    return replace(
        case,
        surfaces=tuple(
            replace(
                edge,
                t_surface_c=case.t_out_c + index * (case.t_air_c - case.t_out_c),
                area_m2=area_m2,
                retention_g_m2=retention_g_m2,
            )
            for index in indexes
        ),
    )


def thaws() -> np.ndarray:
    """Outdoor temperature of two days that freeze and thaw."""
    return -4.0 + 14.0 * np.sin(np.arange(N) / 24.0 * 2.0 * np.pi)


@pytest.mark.parametrize("retention_g_m2", [1000.0, 100.0], ids=["all stays", "100 g/m2 stay"])
def test_a_film_of_a_worked_example_grows_runs_off_and_dries(retention_g_m2: float) -> None:
    """21 °C and 40 % before a pane of 2 °C: 21.53 g/(m2 h), 172 g/m2 in 8 h.

    It is at 30, 50, 100 and 200 g/m2 after 1.4, 2.3, 4.6 and 9.3 h. A pane of 10 °C then dries it
    by 17.4 g/(m2 h), in 9.9 h. Computed from the Lewis relation at 3 W/(m2 K) and 101325 Pa,
    printed to these digits.
    """
    n = 24
    t_air, p = np.full(n, 21.0), np.full(n, 101_325.0)
    w = air.humidity_ratio_at_rh(t_air, np.full(n, 0.40), p)
    pane = SurfaceYear(
        name="pane",
        t_surface_c=np.where(np.arange(n) < 8, 2.0, 10.0),
        retention_g_m2=retention_g_m2,
    )
    # So much air is exchanged that the room stays as it is.
    case = small_case(
        n, t_air_c=t_air, p_pa=p, w_out_kg_kg=w, exchange_kg_s=np.full(n, 100.0),
        gains_kg_s=np.zeros(n), surfaces=(pane,),
    )  # fmt: skip

    outcome = balance.baseline(case)

    film, runoff = 1e3 * outcome.film_kg_m2[0], 1e3 * outcome.runoff_kg_m2[0]
    grown = film[:8] + np.cumsum(runoff)[:8]
    assert grown == pytest.approx(21.53 * np.arange(1, 9), rel=1e-3)
    assert grown[7] == pytest.approx(172.0, abs=0.5)
    for g_m2, hours in ((30.0, 1.4), (50.0, 2.3), (100.0, 4.6), (200.0, 9.3)):
        assert g_m2 / grown[0] == pytest.approx(hours, abs=0.05)
    stays = min(172.2, retention_g_m2)
    assert film[7] == pytest.approx(stays, rel=1e-3)
    # Run-off begins in the hour in which 100 g/m2 are reached, after 4.6 h.
    assert np.flatnonzero(runoff).tolist() == ([] if retention_g_m2 > 200.0 else [4, 5, 6, 7])
    whole, part = divmod(stays / 17.4, 1.0)
    assert film[7] - film[8] == pytest.approx(17.4, abs=0.05)
    dry_from = 8 + int(whole)
    assert film[dry_from - 1] == pytest.approx(17.4 * part, abs=0.3)
    assert not film[dry_from:].any()
    if retention_g_m2 > 200.0:
        assert whole + part == pytest.approx(9.9, abs=0.05)


@given(
    rh=st.floats(0.1, 0.7), index=st.floats(0.1, 0.9), area=st.floats(0.0, 60.0),
    retention=st.floats(1.0, 200.0), gains=st.floats(0.0, 2.0),
)  # fmt: skip
def test_water_is_shared_by_room_film_and_run_off(rh, index, area, retention, gains) -> None:
    case = faces(
        small_case(N, t_out_c=thaws(), gains_kg_s=np.full(N, gains / 3600.0)),
        index, 0.95, area_m2=area, retention_g_m2=retention,
    )  # fmt: skip

    outcome = balance.demand(case, np.full(N, rh))

    film, taken, runoff = outcome.film_kg_m2, outcome.taken_kg_m2, outcome.runoff_kg_m2
    assert np.all(film >= 0.0)
    assert np.all(runoff >= 0.0)
    # What the surface took is on it or ran off, hour by hour.
    grown = np.diff(film, axis=1, prepend=0.0)
    assert grown + runoff == pytest.approx(taken, abs=1e-15)
    # Frost stays; water does not stay beyond what the surface retains.
    frozen = np.array([face.t_surface_c for face in case.surfaces]) < 0.0
    assert np.all((film <= 1e-3 * retention * (1 + 1e-12)) | frozen)
    assert not runoff[frozen].any()
    # And the room's own account closes with it.
    net = (outcome.condensed_kg - outcome.dried_kg).sum(axis=0)
    assert net == pytest.approx(area * taken.sum(axis=0), abs=1e-12)
    assert outcome.balance_error_kg.max() < 1e-9


@given(
    rh=st.floats(0.1, 0.5), more=st.floats(0.0, 0.3), index=st.floats(0.2, 0.8),
    warmer=st.floats(0.0, 0.2), area=st.floats(0.0, 40.0),
)  # fmt: skip
def test_more_humidity_never_wets_less_and_a_warmer_surface_never_more(
    rh, more, index, warmer, area
) -> None:
    case = small_case(N, t_out_c=thaws())
    cold, warm = faces(case, index, area_m2=area), faces(case, index + warmer, area_m2=area)

    def film(of, held: float) -> np.ndarray:
        return balance.demand(of, np.full(N, held)).film_kg_m2[0]

    less_humid, more_humid, on_warmer = film(cold, rh), film(cold, rh + more), film(warm, rh)

    # 1e-9 kg/m2: a ten-thousandth of what counts as wet. Hours follow from the films.
    assert np.all(more_humid >= less_humid - 1e-9)
    assert np.all(on_warmer <= less_humid + 1e-9)
    wet_kg_m2 = 1e-3 * surfaces.WET_G_M2
    assert np.sum(more_humid >= wet_kg_m2) >= np.sum(less_humid >= wet_kg_m2 + 1e-9)
    assert np.sum(on_warmer >= wet_kg_m2 + 1e-9) <= np.sum(less_humid >= wet_kg_m2)


def test_any_number_of_watched_surfaces_leaves_the_room_as_it_is() -> None:
    """Forty panes passed one by one within an hour in which a strong device fills a dry room."""
    rh = np.where(np.arange(N) < 12, 0.10, 0.50)
    case = small_case(N, surfaces=())
    watched = faces(small_case(N), *np.linspace(0.30, 0.60, 40), area_m2=0.0)

    for capability in (None, device(100.0)):
        alone, beside = (
            balance.demand(c, rh) if capability is None else balance.deliver(c, rh, capability)
            for c in (case, watched)
        )
        assert beside.added_kg == pytest.approx(alone.added_kg, abs=1e-9)
        assert beside.w_end_kg_kg == pytest.approx(alone.w_end_kg_kg, rel=1e-9)
        held = air.relative_humidity(case.t_air_c, beside.w_end_kg_kg, case.p_pa)
        assert held.max() < 0.50 + 1e-9
        assert np.count_nonzero(beside.film_kg_m2[:, -1]) > 20


def test_frost_older_than_the_warm_up_is_there_when_the_year_begins() -> None:
    """A pane frozen for the first and last 40 days, thawed between: the year follows itself."""
    n = 24 * 120
    t_out = np.where((np.arange(n) // 24 < 40) | (np.arange(n) // 24 >= 80), -15.0, 10.0)
    case = faces(
        small_case(
            n, wraps=True, t_out_c=t_out, w_out_kg_kg=np.full(n, 1e-3),
        ),
        0.3, area_m2=0.0,
    )  # fmt: skip
    rh = np.full(n, 0.35)

    outcome = balance.demand(case, rh)
    again = balance.demand(case, rh, start=outcome.end)

    assert outcome.film_kg_m2[0, 0] > 20.0 * np.diff(outcome.film_kg_m2[0])[0]
    assert again.film_kg_m2 == pytest.approx(outcome.film_kg_m2, abs=1e-6)
    assert outcome.taken_kg_m2.sum() == pytest.approx(outcome.runoff_kg_m2.sum(), rel=1e-6)


def test_a_rule_that_lets_surfaces_dry_humidifies_only_dry_ones() -> None:
    case = faces(small_case(N, t_out_c=thaws()), 0.5)
    rh = np.full(N, 0.45)
    wet = WhileWet(rh_frac=np.zeros(N), surfaces=("edge",), above_g_m2=1.0)

    always = balance.demand(case, rh)
    drying = balance.demand(case, rh, wet=wet)

    before = np.concatenate([[0.0], drying.film_kg_m2[0, :-1]])
    assert np.any(before > 1e-3)
    assert not drying.added_kg[before > 1e-3].any()
    assert drying.film_kg_m2.sum() < always.film_kg_m2.sum()
    assert 0.0 < drying.added_kg.sum() < always.added_kg.sum()
    # Another surface's film changes nothing.
    other = replace(wet, surfaces=("centre",))
    np.testing.assert_array_equal(balance.demand(case, rh, wet=other).added_kg, always.added_kg)


@given(cut=st.integers(1, N - 1), rh=st.floats(0.1, 0.5))
def test_two_parts_of_a_year_make_the_whole(cut: int, rh: float) -> None:
    case = small_case(N, buffer_kg_s=0.1, buffer_kg=4_000.0)

    whole = balance.demand(case, np.full(N, rh))
    first = balance.demand(case.between(0, cut), np.full(cut, rh))
    second = balance.demand(case.between(cut, N), np.full(N - cut, rh), start=first.end)

    joined = np.concatenate([first.added_kg, second.added_kg])
    np.testing.assert_array_equal(joined, whole.added_kg)


def test_a_typical_year_starts_from_its_own_end() -> None:
    case = small_case(24 * 20, wraps=True, buffer_kg_s=0.1, buffer_kg=4_000.0, surfaces=())
    rh = np.full(case.n_steps, 0.3)

    again = balance.demand(case, rh, start=balance.demand(case, rh).end)

    # 14 days of warm-up leave less than 1e-6 of the store's 11 h memory.
    assert balance.demand(case, rh).added_kg == pytest.approx(again.added_kg, rel=1e-5)


def test_no_humidifying_while_cooling_unless_asked_for() -> None:
    cooled = np.zeros(N, bool)
    cooled[10:20] = True
    case = small_case(N, cooling=cooled)
    rh = np.full(N, 0.4)

    off = balance.demand(case, rh).added_kg
    on = balance.demand(replace(case, humidify_while_cooling=True), rh).added_kg

    assert not off[10:20].any()
    assert on[10:20].all()


def test_quarter_hours_are_reported_by_the_hour() -> None:
    hourly = small_case(N)
    quarter = small_case(N).__class__(
        **{
            name: np.repeat(getattr(hourly, name), 4)
            for name in (
                "t_out_c", "w_out_kg_kg", "p_pa", "t_air_c", "exchange_kg_s", "w_base_kg_kg",
                "gains_kg_s", "heating_w", "cooling", "interval_start",
            )
        },
        title="quarter hours", departure=False, dry_air_kg=hourly.dry_air_kg, wraps=False,
        steps_per_hour=4,
    )  # fmt: skip
    bare = replace(hourly, surfaces=())

    fine = balance.demand(quarter, np.full(4 * N, 0.35))
    coarse = balance.demand(bare, np.full(N, 0.35))

    # The same constant inputs, cut in four: the exact solution does not care.
    assert fine.added_kg == pytest.approx(coarse.added_kg, rel=1e-9)
    assert fine.w_kg_kg == pytest.approx(coarse.w_kg_kg, rel=1e-9)


@pytest.mark.parametrize(
    ("rh", "message"),
    [
        pytest.param(np.full(N, 35.0), "setpoint: rh_set_frac: must stay between 0 and 1", id="%"),
        pytest.param(
            np.full(N - 1, 0.35),
            "setpoint: columns must have one equal length, got t_air_c (48,), rh_set_frac (47,)",
            id="one hour short",
        ),
        pytest.param(
            np.full(N, np.nan),
            "setpoint: rh_set_frac: must be finite, but 48 of 48 values are not, "
            "the first at index 0",
            id="not a number",
        ),
    ],
)
def test_a_set_point_that_is_none_is_refused(rh: np.ndarray, message: str) -> None:
    with pytest.raises(OutOfRangeError) as caught:
        balance.demand(small_case(N), rh)

    assert str(caught.value) == message


def two_rooms(*, capacity_kg: float, damp: float) -> tuple:
    """Return a simulated space that swaps 0.02 kg/s with a cellar held alike; `damp` scales it."""
    case = replace(simulated(small_case(N)), surfaces=())
    swap = np.full(N, 0.02)
    cellar = HeldZone(
        name="cellar",
        t_air_c=np.full(N, 17.0),
        w_base_kg_kg=damp * case.w_base_kg_kg,
        dry_air_kg=capacity_kg,
        exchange_kg_s=np.full(N, 0.015) + swap,
        given_kg_s=swap,
        received_kg_s=np.stack([swap, np.zeros(N)]),
    )
    return replace(case, exchange_kg_s=case.exchange_kg_s + swap, held_zones=(cellar,)), cellar


# A cellar drier than its set-point is held; a damp one only follows. Ten-second steps of both at
# once, a humidifier of each bringing it to its set-point within a step.
@pytest.mark.parametrize("damp", [0.6, 2.2], ids=["dry cellar, held", "damp cellar, follows"])
@pytest.mark.parametrize("capacity_kg", [250.0, 2_000.0], ids=["light", "with stores"])
def test_zones_held_together_agree_with_small_steps_of_both_at_once(damp, capacity_kg) -> None:
    case, cellar = two_rooms(capacity_kg=capacity_kg, damp=damp)
    rh = np.full(N, 0.40)
    target = balance.setpoint_humidity_ratio(case, rh) - case.w_base_kg_kg
    below = air.humidity_ratio_at_rh(cellar.t_air_c, rh, case.p_pa) - cellar.w_base_kg_kg
    added, x, y = np.zeros(N), 0.0, 0.0
    for i in range(N):
        for _ in range(3600):
            dx = (-case.exchange_kg_s[i] * x + cellar.given_kg_s[i] * y) / case.dry_air_kg
            dy = (-cellar.exchange_kg_s[i] * y + cellar.received_kg_s[0, i] * x) / capacity_kg
            s = max((target[i] - x) * case.dry_air_kg - dx * case.dry_air_kg, 0.0)
            y = max(y + dy, below[i])
            x += dx + s / case.dry_air_kg
            added[i] += s

    found = balance.demand(case, rh)

    # Between the two the departure of the other is taken at its mean of the hour.
    assert found.added_kg.sum() == pytest.approx(added.sum(), rel=1e-3)
    np.testing.assert_allclose(found.added_kg, added, atol=0.02 * added.max())
    assert np.abs(found.balance_error_kg).max() < 1e-9


def test_a_zone_held_together_is_not_a_second_outdoors() -> None:
    case, _ = two_rooms(capacity_kg=250.0, damp=1.0)
    alone = replace(case, held_zones=())
    rh = np.full(N, 0.40)

    assert balance.demand(case, rh).added_kg.sum() < 0.85 * balance.demand(alone, rh).added_kg.sum()


def test_without_humidifier_nothing_is_held_beside_the_space_either() -> None:
    case, _ = two_rooms(capacity_kg=250.0, damp=0.5)

    np.testing.assert_array_equal(balance.baseline(case).w_kg_kg, case.w_base_kg_kg)


def test_a_humidistat_in_a_cold_dry_zone_asks_for_more_of_the_same_space() -> None:
    # 40 % at 21 °C in the space; the sensor hangs at 18 °C, 0.5 g/kg drier. By hand: it is content
    # when the space holds 40 % of saturation at 18 °C and 0.5 g/kg.
    case = simulated(small_case(N))
    there = Sensor(t_air_c=np.full(N, 18.0), w_offset_kg_kg=np.full(N, -0.5e-3))
    held = air.humidity_ratio_at_rh(np.full(N, 18.0), np.full(N, 0.4), case.p_pa) + 0.5e-3

    found = balance.setpoint_humidity_ratio(replace(case, sensor=there), np.full(N, 0.4))

    np.testing.assert_allclose(found, held, rtol=1e-12)


def test_a_part_of_a_case_keeps_its_sensor_and_held_zones() -> None:
    case, cellar = two_rooms(capacity_kg=250.0, damp=0.5)
    there = Sensor(t_air_c=case.t_air_c + 1.0, w_offset_kg_kg=np.linspace(0.0, 1e-3, N))

    part = replace(case, sensor=there).between(10, 20)

    np.testing.assert_array_equal(part.sensor.w_offset_kg_kg, there.w_offset_kg_kg[10:20])
    np.testing.assert_array_equal(part.held_zones[0].received_kg_s, cellar.received_kg_s[:, 10:20])
    np.testing.assert_array_equal(part.held_zones[0].w_base_kg_kg, cellar.w_base_kg_kg[10:20])


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {"r0_kg_s": np.where(np.arange(N) == 5, np.nan, 1e-3)},
            "balance: input 6: must be finite, but 1 of 48 values are not, the first at index 5",
        ),
        (
            {"r0_kg_s": np.full(N, np.inf)},
            "balance: input 6: must be finite, but 48 of 48 values are not, the first at index 0",
        ),
    ],
)
def test_a_rate_that_is_no_number_never_reaches_the_kernel(changes, message) -> None:
    able = device(1.0)
    able = replace(able, heat=replace(able.heat, **changes))

    with pytest.raises(OutOfRangeError) as caught:
        balance.deliver(small_case(N), np.full(N, 0.4), able)

    assert str(caught.value) == message


def test_a_device_of_too_few_steps_never_reaches_the_kernel() -> None:
    """The kernel does not look at bounds."""
    able = replace(device(1.0), heat_frac=np.ones(N - 1))

    with pytest.raises(OutOfRangeError, match="balance: columns must have one equal length"):
        balance.deliver(small_case(N), np.full(N, 0.4), able)
