"""How sure a comparison is: against closed forms, full comparisons, and itself."""

from __future__ import annotations

import json
import threading
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from dewmargin.core import parallel
from dewmargin.errors import InputError
from dewmargin.reports.folder import verify_folder
from dewmargin.scenario import parse
from dewmargin.scenario.targets import Variants
from dewmargin.solve import year_of_many
from dewmargin.studies.compare.comparison import compare, compare_case
from dewmargin.studies.demo import demo_folder
from dewmargin.studies.options import engine, runner
from dewmargin.studies.options.limit import Limit
from dewmargin.studies.stress import study as stress
from dewmargin.studies.stress.indices import design, indices, interval, share_interval
from dewmargin.studies.stress.study import LIMITED, limited, study
from stress_case import january, small

BOTH = ("sobol", "latin_hypercube")


def column(found, name: str) -> np.ndarray:
    """Return a year number of all draws and options."""
    return found.numbers[..., year_of_many.METRICS.index(name)]


# The design and the shares of variance


@pytest.mark.parametrize(
    ("n_doubts", "samples", "n_sobol", "n_hypercube"),
    [(8, 10_000, 1024, 1000), (8, 1, 8, 8), (1, 24, 8, 8), (3, 320, 64, 64), (3, 321, 128, 65)],
)
def test_a_design_is_rounded_up_to_a_whole_one(n_doubts, samples, n_sobol, n_hypercube) -> None:
    for sampling, n in zip(BOTH, (n_sobol, n_hypercube), strict=True):
        a, b = design(n_doubts, samples, sampling, seed=3)

        assert a.shape == b.shape == (n, n_doubts)
        assert n * (n_doubts + 2) >= samples


@pytest.mark.parametrize("sampling", BOTH)
def test_a_design_fills_every_input_evenly_and_its_halves_are_independent(sampling) -> None:
    """One value in each of n equal shares of an input; correlation of n pairs below 4/sqrt(n)."""
    a, b = design(3, 640, sampling, seed=3)
    n = len(a)

    for values in (*a.T, *b.T):
        assert sorted((values * n).astype(int)) == list(range(n))
    for values, others in zip(a.T, b.T, strict=True):
        assert abs(np.corrcoef(values, others)[0, 1]) < 4.0 / np.sqrt(n)


def ishigami(x: np.ndarray) -> np.ndarray:
    """Return Ishigami and Homma's function with the usual a = 7, b = 0.1."""
    return (
        np.sin(x[..., 0]) + 7.0 * np.sin(x[..., 1]) ** 2 + 0.1 * x[..., 2] ** 4 * np.sin(x[..., 0])
    )


def saltelli(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Return all rows of the design: A, B, and A with one input of B, (n, 2 + n_doubts, n)."""
    rows = [a, b]
    for d in range(a.shape[1]):
        mixed = a.copy()
        mixed[:, d] = b[:, d]
        rows.append(mixed)
    return np.stack(rows, axis=1)


@pytest.mark.parametrize("sampling", BOTH)
def test_the_shares_of_a_known_function_are_found(sampling) -> None:
    """Ishigami's function: variances by integration, as Sobol and Levitan 1999 have them.

    Tolerance: four standard errors of the mean that each estimate is, taken from its own terms as
    if they were independent; a design that fills space more evenly errs less.
    """
    v1 = 0.5 * (1.0 + 0.1 * np.pi**4 / 5.0) ** 2
    v2 = 7.0**2 / 8.0
    v13 = 8.0 * 0.1**2 * np.pi**8 / 225.0
    v = v1 + v2 + v13
    a, b = design(3, 5 * 4096, sampling, seed=1)
    f = ishigami(-np.pi + 2.0 * np.pi * saltelli(a, b))

    first, total = (each[:, 0, 0] for each in indices(f[..., None, None]))

    terms_first = (f[:, 1:2] - f.mean()) * (f[:, 2:] - f[:, :1])
    terms_total = 0.5 * (f[:, :1] - f[:, 2:]) ** 2
    error_first, error_total = (
        terms.std(axis=0) / np.sqrt(len(f)) / v for terms in (terms_first, terms_total)
    )
    assert max(error_first.max(), error_total.max()) < 0.03
    assert np.all(np.abs(first - np.array([v1, v2, 0.0]) / v) < 4.0 * error_first)
    assert np.all(np.abs(total - np.array([v1 + v13, v2, v13]) / v) < 4.0 * error_total)


def test_shares_are_those_that_scipy_has() -> None:
    """Of a design that scipy takes, with its own estimators; it takes powers of two alone."""
    a, b = design(3, 5 * 64, "sobol", seed=2)
    f = ishigami(saltelli(a, b))
    theirs = stats.sobol_indices(
        func={"f_A": f[:, 0][None], "f_B": f[:, 1][None], "f_AB": f[:, 2:].T[:, None]}, n=len(f)
    )

    first, total = indices(f[..., None, None])

    np.testing.assert_allclose(first[:, 0, 0], theirs.first_order.ravel(), rtol=1e-10)
    np.testing.assert_allclose(total[:, 0, 0], theirs.total_order.ravel(), rtol=1e-10)


def test_what_is_not_known_everywhere_or_does_not_vary_has_no_shares() -> None:
    rng = np.random.default_rng(1)
    varies = rng.random((16, 4))
    once = varies.copy()
    once[3, 2] = np.nan
    rounding = 1e6 + 1e-6 * rng.random((16, 4))
    results = np.stack([varies, once, np.full((16, 4), 5.0), rounding], axis=-1)[:, :, None]

    first, total = indices(results)

    for found in (first, total):
        assert np.isfinite(found[..., 0]).all()
        assert np.isnan(found[..., 1:]).all()


# Intervals


def test_the_interval_of_a_share_is_that_of_clopper_and_pearson() -> None:
    """By the definition: beyond its ends the observed count is one of the rarest 2.5 %.

    None of 10: 1 - 0.025^(1/10) = 0.3085, the closed form.
    """
    low, high = share_interval(3, 20)

    assert stats.binom.sf(2, 20, low) == pytest.approx(0.025, rel=1e-9)
    assert stats.binom.cdf(3, 20, high) == pytest.approx(0.025, rel=1e-9)
    assert share_interval(0, 10) == (0.0, pytest.approx(1.0 - 0.025**0.1))
    assert share_interval(10, 10) == (pytest.approx(0.025**0.1), 1.0)
    assert share_interval(0, 0) == (None, None)


@pytest.mark.parametrize("q", [0.1, 0.5, 0.9])
def test_a_quantile_lies_in_its_interval_as_often_as_told(q: float) -> None:
    """2,000 samples of 100: the share lies above 95 % less four standard errors (2 %), and the
    interval is no wider than its discreteness asks for: below 98.5 %."""
    rng = np.random.default_rng(7)
    inside = 0
    for _ in range(2000):
        low, high = interval(np.sort(rng.random(100)), q)
        inside += low <= q <= high

    assert 0.93 < inside / 2000 < 0.985


# Studies

PRICES = """
tariff.gas_per_kwh | value | uniform | low=0.05; high=0.20
tariff.water_per_m3 | value | uniform | low=1; high=40
tariff.electricity_per_kwh | value | uniform | low=0.1; high=20
"""


@pytest.mark.slow
@pytest.mark.parametrize("sampling", BOTH)
def test_shares_of_an_additive_cost_are_those_of_its_terms(sampling, tmp_path) -> None:
    """Cost is a sum of price times amount, so that V_i = (amount_i (high - low))^2 / 12, exactly.

    Tolerance: four standard errors, by the terms of each estimate: of (a - b)^2 with a and b even
    between 0 and 1 mean and standard deviation are 1/6 and 0.197, so that a total of n terms errs
    by 1.18/sqrt(n) of itself.
    """
    scenario = small(tmp_path, PRICES)
    row = compare(scenario).options[1].row
    gas = row["space_heating_kwh"] + row["water_heating_kwh"]
    power = row["fan_kwh"] + row["device_kwh"]
    v = np.array([0.15 * gas, 39.0 * 1e-3 * row["feed_l"], 19.9 * power]) ** 2 / 12.0

    found = study(scenario, samples=5 * 64, sampling=sampling)

    total = found.total[:, found.ranked.index(1), year_of_many.METRICS.index("cost")]
    share = v / v.sum()
    assert np.all(share > 0.01)
    assert np.all(np.abs(total - share) < 4.0 * 1.18 / np.sqrt(64) * share)
    for name in ("band_h", "feed_l", "demand_kg"):
        assert np.isnan(
            found.total[:, found.ranked.index(1), year_of_many.METRICS.index(name)]
        ).all()
    costs = column(found, "cost")[:, 1]
    prices = np.array(found.draws)
    exact = prices @ np.array([gas, 1e-3 * row["feed_l"], power])
    np.testing.assert_allclose(costs, exact, rtol=1e-9)


@pytest.mark.parametrize("doubt", ["", "control.rh_bias|value|normal|mean=0; sd=0"])
def test_nothing_doubtful_has_no_spread_and_the_numbers_of_compare(
    doubt, tmp_path, monkeypatch
) -> None:
    """Counts are equal; sums are taken in another order, which moves their last digits."""
    monkeypatch.setattr(runner, "default_doubts", lambda *_: [])
    scenario = small(tmp_path, doubt)

    found = study(scenario, samples=1)

    for i, option in enumerate(compare(scenario).options):
        for k, name in enumerate(year_of_many.METRICS):
            values, expected = found.numbers[:, i, k], option.row[name]
            assert np.isnan(values).all() == (expected is None), name
            if expected is not None:
                np.testing.assert_allclose(values, expected, rtol=1e-9, atol=1e-9, err_msg=name)
                assert np.ptp(values) == 0.0
    assert np.isnan(found.total).all()
    assert np.isnan(found.first_order).all()
    assert found.tables()["sensitivity"].data["input"] == []
    spread = found.tables()["spread"].data
    for name in ("p05", "p10", "p10_low", "p50", "p90", "p90_high", "p95"):
        np.testing.assert_allclose(spread[name], spread["mean"], rtol=1e-14)
    if not doubt:
        assert found.verdict == "Nothing is drawn: the numbers are those of compare."
        assert found.lines() == [
            "1 independent sets of inputs with all options (Sobol sequence, seed 1).",
            (
                "Largest difference to 1 full comparisons: condensation_h 0, band_h 0, "
                "delivered % 0, feed % 0."
            ),
        ]


SETS = {
    "house": """
        space.house.leakage_m3_h_at_50pa | factor | lognormal | median=1; sd_log=0.4
        space.house.gains_factor | value | uniform | low=0.3; high=0.9
        space.house.thermostat.day_c | offset | normal | mean=0; sd=1
        space.house.thermostat.cooling_c | offset | uniform | low=-0.5; high=0.5
        surfaces[*].index_change | offset | normal | mean=0; sd=0.03
        control.rh_bias | offset | normal | mean=0; sd=0.03
        control.outdoor_bias_k | offset | normal | mean=0; sd=1
    """,
    "plant": """
        space.house.heating.capacity_kw | factor | uniform | low=0.7; high=1.3
        space.house.heating.airflow_l_s | factor | uniform | low=0.8; high=1.2
        space.house.heating.blower_w | value | uniform | low=200; high=500
    """,
    "device": """
        equipment[0].effectiveness | value | uniform | low=0.5; high=1.3
        equipment[0].standby_w | value | uniform | low=0; high=50
        equipment[0].power_w | value | uniform | low=5; high=50
        supplies[0].temperature_c | value | uniform | low=40; high=70
        supplies[0].cold_c | value | choice | values=[4, 12]
        supplies[0].heater.efficiency | value | uniform | low=0.5; high=0.9
    """,
    "choices": """
        weather.file | value | choice | values=['january.epw', 'warm.epw']
        space.house.storeys | value | choice | values=[1, 2, 3]
        space.house.humidity_reading | value | choice | values=['frost_point', 'relative_humidity']
        equipment[0].call | value | choice | values=['heating', 'humidity']
        equipment[0].count | value | choice | values=[1, 2]
        equipment[0].airflow_kg_s | factor | uniform | low=0.7; high=1
    """,
}
MORE = {
    "[[equipment]]": """[[strategies]]
name = "dry the glass"
rule = "surface_limit"
margin_k = -3
while_film = { rh = 0.15, above_g_m2 = 5 }

[[equipment]]""",
    "[[supplies]]": """[[equipment]]
name = "steam"
kind = "steam"
heat = "gas"
rate_kg_h = 2
efficiency = 0.8
part_load = [[0.2, 0.7], [1, 1]]

[[supplies]]""",
}


@pytest.mark.slow
@pytest.mark.parametrize("which", SETS)
def test_a_draw_has_the_numbers_of_a_full_comparison(which, tmp_path) -> None:
    """Whatever is drawn, and whatever else is in the study.

    Counts within 1 h and water and energy within 0.3 %, what a device is read off with.
    """
    january(tmp_path, "warm.epw", warmer_k=5.0)
    scenario = small(tmp_path, SETS[which], lines=MORE)
    found = study(scenario, samples=8)
    variants = Variants(scenario, found.doubts)

    compared = 0
    for j in (0, 5, 11):
        row = variants.row(found.draws[j])
        drawn = variants.scenario_of(row, range(len(row)))
        case = drawn.with_surfaces(variants.case_of(row))
        for i, option in enumerate(compare_case(drawn, None, case).options):
            for k, name in enumerate(year_of_many.METRICS):
                mine, exact = found.numbers[j, i, k], option.row[name]
                assert np.isnan(mine) == (exact is None), (name, option.name)
                if exact is None:
                    continue
                compared += 1
                if name.endswith("_h") and name not in ("running_h", "below_band_percent_h"):
                    assert abs(mine - exact) <= 1.0, (name, option.name)
                else:
                    assert mine == pytest.approx(exact, rel=3e-3, abs=1e-2), (name, option.name)
    assert compared > 3 * 4 * 20
    assert found.checked["delivered %"] < 0.3


def test_a_draw_does_not_depend_on_what_else_is_drawn_beside_it(tmp_path) -> None:
    """The rows of a group one by one, in another order, in another building's company."""
    scenario = small(
        tmp_path, SETS["house"] + "equipment[0].airflow_kg_s|factor|uniform|low=0.8; high=1.2"
    )
    study_of = stress._Study(scenario)
    runner = study_of.runner
    a, b = design(8, 16, "sobol", seed=1)
    draws_a, draws_b = (stress.draws_of(runner.doubts, each) for each in (a, b))
    study_of._prepare([runner.variants.row(draw) for draw in (*draws_a, *draws_b)])
    group, other = (
        [
            runner.variants.row(draw)
            for draw in (draws_a[j], draws_b[j], *stress._mixed(draws_a[j], draws_b[j]))
        ]
        for j in (0, 1)
    )
    every = range(len(runner.options))

    whole = study_of._numbers(group, every)

    np.testing.assert_array_equal(study_of._numbers(group[::-1], every)[::-1], whole)
    np.testing.assert_array_equal(study_of._numbers([*other, *group], every)[len(other) :], whole)
    for row, numbers in zip(group, whole, strict=True):
        np.testing.assert_array_equal(study_of._numbers([row], every)[0], numbers)
        np.testing.assert_array_equal(study_of._numbers([row], [1])[0], numbers[1:2])
    # All differ but the one with another limit of cooling, which January does not meet.
    assert len({each.tobytes() for each in whole}) == len(group) - 1


@pytest.mark.parametrize("at_once", [1, 5, 1000])
def test_numbers_do_not_depend_on_how_many_cases_are_solved_at_once(
    at_once, tmp_path, monkeypatch
) -> None:
    study_of = stress._Study(small(tmp_path, SETS["house"], lines=MORE))
    runner = study_of.runner
    a, b = (stress.draws_of(runner.doubts, each) for each in design(7, 9, "sobol", seed=1))
    group = [runner.variants.row(draw) for draw in (a[0], *stress._mixed(a[0], b[0]))]
    study_of._prepare(group)
    every = range(len(runner.options))
    usual = study_of._numbers(group, every)

    monkeypatch.setattr(engine, "CASES_AT_ONCE", at_once)

    assert study_of._numbers(group, every).tobytes() == usual.tobytes()


DEVICE = """
equipment[*].effectiveness | factor | uniform | low=0.8; high=1.2
control.rh_bias | offset | normal | mean=0; sd=0.03
"""


@pytest.mark.slow
@pytest.mark.parametrize("sampling", BOTH)
def test_the_same_seed_gives_the_same_bytes_on_any_number_of_threads(
    sampling, tmp_path, monkeypatch
) -> None:
    scenario = small(tmp_path, DEVICE)
    contents = []
    for n_threads in (1, 3):
        monkeypatch.setattr(parallel, "cpu_count", lambda n=n_threads: n)
        out = tmp_path / f"out{n_threads}"
        files = study(scenario, samples=32, sampling=sampling, seed=5).write(out)
        contents.append({path.name: path.read_bytes() for path in files})
        assert verify_folder(out)
    other = study(scenario, samples=32, sampling=sampling, seed=6)

    assert contents[0] == contents[1]
    assert {"spread.csv", "breaks.parquet", "draws.parquet", "manifest.json"} <= set(contents[0])
    assert "draws.csv" not in contents[0]
    assert other.draws != study(scenario, samples=32, sampling=sampling, seed=5).draws
    manifest = json.loads(contents[0]["manifest.json"])
    assert (manifest["seed"], manifest["sampling"]) == (5, sampling)
    assert set(manifest["inputs_sha256"]) == {"scenario: small.toml", "weather: january.epw"}


@pytest.mark.slow
def test_quantiles_of_two_seeds_agree_within_their_intervals(tmp_path) -> None:
    """Each seed's quantile lies in the other's interval of 95 %: draws that fill space evenly
    vary less than chance, and the difference of two is 1.4 times one's own error."""
    scenario = small(tmp_path, DEVICE)
    one, two = (
        study(scenario, samples=4 * 64, sampling="latin_hypercube", seed=seed)
        .tables()["spread"]
        .data
        for seed in (1, 2)
    )
    misses = tried = 0
    for i, (option, number) in enumerate(zip(one["option"], one["number"], strict=True)):
        assert (two["option"][i], two["number"][i]) == (option, number)
        if option == "no humidifier":
            continue
        for q in ("p10", "p50", "p90"):
            tried += 1
            misses += not one[f"{q}_low"][i] <= two[q][i] <= one[f"{q}_high"][i]

    assert tried > 60
    assert misses <= 0.05 * tried


def test_a_limit_on_extra_condensation_counts_beyond_no_humidifier_in_the_same_draw(
    tmp_path,
) -> None:
    found = study(
        small(
            tmp_path, SETS["house"], lines={"temperature_index = 0.6": "temperature_index = 0.5"}
        ),
        samples=72,
        limits=[Limit(name="extra_condensation_h", most=0.0), Limit(name="dry_h", most=1e9)],
    )
    breaks = found.tables()["breaks"].data
    wet = column(found, "condensation_h")

    share = float(np.mean(wet[:, 1] > wet[:, 0]))
    assert breaks["option"] == ["no humidifier", "no humidifier", *[found.options[1]] * 2]
    assert breaks["broken_frac"] == [0.0, 0.0, share, 0.0]
    assert 0.0 < share < 1.0
    assert breaks["broken_low_frac"][2] < share < breaks["broken_high_frac"][2]
    np.testing.assert_array_equal(limited(found.numbers, "dry_h"), column(found, "dry_h"))
    assert set(year_of_many.METRICS) < set(LIMITED)


def test_what_is_known_in_some_draws_only_says_so(tmp_path) -> None:
    """A pad that is at times never called: what a kilogram takes is then no question."""
    doubts = "control.rh_bias | value | choice | values=[0, 0.29]"
    line = {"points = [[-20, 0.20], [5, 0.40]]": "points = [[0, 0.30]]"}
    found = study(small(tmp_path, doubts, lines=line), samples=24)
    spread = found.tables()["spread"].data
    place = next(
        i
        for i, number in enumerate(spread["number"])
        if number == "feed_l_per_kg" and spread["option"][i] != "no humidifier"
    )

    known = ~np.isnan(column(found, "feed_l_per_kg")[:, 1])
    assert 0.0 < known.mean() < 1.0
    assert spread["known_frac"][place] == known.mean()
    assert spread["sd"][place] == pytest.approx(0.0, abs=1e-12)
    assert np.isnan(
        found.total[:, found.ranked.index(1), year_of_many.METRICS.index("feed_l_per_kg")]
    ).all()


def test_the_choice_is_counted_and_what_decides_is_ranked(tmp_path) -> None:
    found = study(small(tmp_path, SETS["house"]), samples=9 * 16)
    table = found.tables()["sensitivity"].data
    mine = [
        i
        for i in range(len(table["rank"]))
        if (table["option"][i], table["number"][i]) == (found.options[1], "demand_kg")
    ]

    assert sum(found.chosen) == len(found.draws) == 32
    assert found.evaluated == 9 * 16
    assert [table["rank"][i] for i in mine] == [1, 2, 3, 4, 5, 6, 7]
    totals = [table["total_frac"][i] for i in mine]
    assert totals == sorted(totals, reverse=True)
    # Surfaces take next to nothing; what leaks decides over demand in a cold month.
    assert table["input"][mine[0]] == "space.house.leakage_m3_h_at_50pa"
    assert found.verdict.startswith("In ")


def test_lines_say_what_is_left_out(tmp_path) -> None:
    scenario = small(tmp_path, "surfaces[*].index_change|offset|uniform|low=-0.02; high=0.02")
    scenario = replace(scenario, control=scenario.control.model_copy(update={"deadband_rh": 0.04}))

    lines = study(scenario, samples=1).lines()

    assert lines[4:] == [
        (
            "Note: the swing around the set-point is left out; full comparisons, and so the "
            "difference to them, have it."
        ),
        "Note: rules that know the surfaces know them as drawn.",
        "Drawn: surfaces[*].index_change: uniform offset, low -0.02, high 0.02",
    ]
    assert lines[2] == (
        "Shares of variance: Sobol' indices, first order and total, estimators of Saltelli 2010 "
        "and Jansen 1999; estimates, which may be a few points below 0 or above the total."
    )


# What is refused


def test_a_limit_that_cannot_be_read_is_refused() -> None:
    for text in ("feed_l", "feed_l=", "feed_l=inf"):
        with pytest.raises(InputError) as caught:
            Limit.parse(text)
        assert str(caught.value) == f"limit: cannot be read: {text!r} (such as condensation_h=20)"


HINT = "(draw less wide, or leave that out; whole numbers and texts are drawn as a choice)"
REFUSED = [
    (
        "space.house.storeys | value | uniform | low=1; high=3",
        "space.house.storeys: must be 1, 2 or 3, got ",
    ),
    (
        "equipment[0].count | value | uniform | low=1; high=3",
        "equipment[0].count: must be a whole number, got ",
    ),
    (
        "space.house.thermostat.day_c | value | uniform | low=20; high=30",
        "space.house.thermostat: cooling_c must be above what is heated to, ",
    ),
    (
        "space.house.humidity_reading | value | choice | values=['frost']",
        (
            "space.house.humidity_reading: must be 'frost_point', 'relative_humidity' or "
            "'dew_point', got 'frost'"
        ),
    ),
    (
        "surfaces[0].u_factor_w_m2_k | value | uniform | low=1; high=2",
        (
            "surfaces[0]: needs exactly one of temperature_index, temperature_index_points, "
            "u_factor_w_m2_k, glazing, frame, layers, simulated, construction, got "
            "temperature_index and u_factor_w_m2_k"
        ),
    ),
]


@pytest.mark.parametrize(("doubt", "message"), REFUSED)
def test_a_draw_that_cannot_be_is_refused_before_the_work(doubt, message, tmp_path) -> None:
    done = []

    with pytest.raises(InputError) as caught:
        study(small(tmp_path, doubt), samples=8, after=done.append)

    text = str(caught.value)
    assert text.startswith(f"{tmp_path / 'small.toml'}: doubts: a draw is refused: {message}")
    assert text.endswith(HINT)
    assert done == []


def test_usual_doubts_that_do_not_suit_ask_for_others(tmp_path) -> None:
    """A bypass of nearly half the blower's air, which is the most: a quarter more is too much."""
    scenario = small(tmp_path, lines={"airflow_kg_s = 0.09": "airflow_kg_s = 0.21"})

    with pytest.raises(InputError) as caught:
        study(scenario, samples=8)

    text = str(caught.value)
    assert text.startswith(
        f"{tmp_path / 'small.toml'}: doubts: a draw is refused: equipment['pad']"
    )
    assert text.endswith("(the usual doubts are too wide here: give [[doubts]] of its own)")


def test_a_weather_file_that_is_not_there_is_refused_before_the_work(tmp_path) -> None:
    doubt = "weather.file | value | choice | values=['january.epw', 'none.epw']"

    with pytest.raises(InputError) as caught:
        study(small(tmp_path, doubt), samples=8)

    assert str(caught.value) == (
        f"{tmp_path / 'small.toml'}: doubts: a draw is refused: cannot be read: No such file or "
        f"directory {HINT}"
    )


def test_more_inputs_of_one_device_than_can_be_read_off_are_refused(tmp_path) -> None:
    of_pad = ("airflow_kg_s", "effectiveness", "feed_kg_h", "contact_frac", "power_w", "standby_w")
    keys = [f"equipment[0].{key}" for key in of_pad]
    keys += ["supplies[0].temperature_c", "supplies[0].heater.efficiency"]
    doubts = "\n".join(f"{key}|value|uniform|low=0.9; high=1" for key in keys)

    with pytest.raises(InputError) as caught:
        study(small(tmp_path, doubts), samples=8)

    assert str(caught.value) == (
        f"{tmp_path / 'small.toml'}: doubts: a draw is refused: doubts: more than 7 inputs of one "
        "equipment, its supply and its plant are drawn; leave out some of equipment[0].airflow_kg_s"
        f", {', '.join(keys[1:])} {HINT}"
    )


def test_a_limit_on_what_is_not_known_is_refused(tmp_path) -> None:
    """Without surfaces there is no condensation to be counted."""
    surface = '[[surfaces]]\nname = "glass"\ntemperature_index = 0.6\narea_m2 = 4\n'
    scenario = small(tmp_path, DEVICE, lines={surface: ""})
    limit = Limit(name="condensation_h", most=1.0)

    done = []

    with pytest.raises(InputError) as caught:
        study(scenario, samples=8, limits=[limit], after=done.append)

    assert str(caught.value) == (
        f"{tmp_path / 'small.toml'}: limit: condensation_h is not known here"
    )
    assert done == []
    assert [limit.name for limit in study(scenario, samples=8).limits] == ["dry_h"]


def test_a_simulation_has_its_leakage_within(tmp_path) -> None:
    path = demo_folder() / "scenarios" / "larch_house_simulated.toml"
    doubt = (
        b'\n[[doubts]]\ninput = "space.house.leakage_m3_h_at_50pa"\ndistribution = "uniform"\n'
        b"low = 1\nhigh = 2\n"
    )

    with pytest.raises(InputError) as caught:
        study(parse(path.read_bytes() + doubt, path), samples=8)

    assert str(caught.value) == (
        f"{path}: doubts[0].input: 'space.house.leakage_m3_h_at_50pa' is not in this scenario (its "
        "space is space.simulation; a run has its leakage and gains within: make several, and draw "
        "the files)"
    )


def test_an_interruption_ends_the_work_at_once(tmp_path) -> None:
    """What waits is dropped; only what a thread had begun is finished."""
    scenario = small(tmp_path, DEVICE)
    asked = threading.Semaphore(0)
    solved = []
    numbers = stress._Study._numbers

    def slow(self, group, options) -> np.ndarray:
        solved.append(group)
        return numbers(self, group, options)

    def stop(_share: float) -> None:
        asked.release()
        raise KeyboardInterrupt

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stress._Study, "_numbers", slow)
        patch.setattr(parallel, "cpu_count", lambda: 2)
        with pytest.raises(KeyboardInterrupt):
            study(scenario, samples=4 * 256, after=stop)

    assert asked.acquire(blocking=False)
    assert len(solved) < 64


def test_an_option_to_rank_that_is_not_there_is_refused(tmp_path) -> None:
    scenario = small(tmp_path, DEVICE)

    with pytest.raises(InputError) as caught:
        study(scenario, samples=1, rank=["hold 90 %"])

    assert str(caught.value) == (
        f"{scenario.file}: rank: no option is called 'hold 90 %' (all, or one of: "
        f"'no humidifier', {study(scenario, samples=1).options[1]!r})"
    )


@pytest.mark.slow
def test_inputs_are_ranked_for_the_options_asked_for(tmp_path) -> None:
    """Two that the verdict would choose most often, those named, or all: the same numbers."""
    reset = '[[strategies]]\nname = "reset"'
    rules = "".join(
        f'[[strategies]]\nname = "hold {percent} %"\nrule = "constant"\nrh = 0.{percent}\n\n'
        for percent in (30, 40)
    )
    cold = '[[supplies]]\nname = "cold"\ntemperature_c = 8\n\n'
    hot = '[[supplies]]\nname = "hot"'
    scenario = small(tmp_path, lines={reset: rules + reset, hot: cold + hot})
    usual = study(scenario, samples=80)
    third = usual.options[5]

    named = study(scenario, samples=80, rank=[third, usual.options[usual.ranked[0]]])
    every = study(scenario, samples=80, rank=["all"])

    assert len(usual.ranked) == 2
    assert [usual.chosen[i] for i in usual.ranked] == sorted(usual.chosen[1:], reverse=True)[:2]
    assert named.ranked == (5, usual.ranked[0])
    assert sorted(every.ranked) == list(range(1, len(every.options)))
    np.testing.assert_array_equal(named.numbers, usual.numbers)
    for found in (usual, named):
        for place, option in enumerate(found.ranked):
            whole = every.total[:, every.ranked.index(option)]
            np.testing.assert_array_equal(found.total[:, place], whole)
    assert set(usual.tables()["sensitivity"].data["option"]) == {
        usual.options[i] for i in usual.ranked
    }
