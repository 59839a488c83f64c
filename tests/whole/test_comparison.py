"""The demo from end to end: files in, comparison out, and the claims that the demo makes."""

from __future__ import annotations

import json
import os
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pyarrow.parquet as pq
import pytest

from dewmargin import columns, kernel
from dewmargin.contracts import Capability, Mode, WhileWet
from dewmargin.equipment.fixed_rate import FixedRate
from dewmargin.equipment.supply import Supply
from dewmargin.errors import ExtensionError, InputError
from dewmargin.physics import air
from dewmargin.reports.csv import CsvTables
from dewmargin.reports.parquet import ParquetTables
from dewmargin.scenario import load
from dewmargin.solve import balance
from dewmargin.strategies.constant import Constant
from dewmargin.strategies.outdoor_reset import OutdoorReset
from dewmargin.strategies.surface_limit import SurfaceLimit
from dewmargin.studies.compare.comparison import compare
from dewmargin.studies.demo import demo_folder, findings
from references.integration import integrate
from stress_case import small

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.studies.compare.comparison import Comparison

FILES = {"house": "larch_house.toml", "simulation": "larch_house_simulated.toml"}


@pytest.fixture(scope="module")
def results() -> dict:
    return {name: compare(demo_folder() / "scenarios" / file) for name, file in FILES.items()}


@pytest.fixture(scope="module")
def of_january(tmp_path_factory) -> Comparison:
    return compare(small(tmp_path_factory.mktemp("january")))


@pytest.mark.parametrize("name", FILES)
def test_every_combination_is_an_option_after_the_baseline(results, name) -> None:
    options = results[name].options

    assert len(options) == 1 + 6 * 2
    assert options[0].name == "no humidifier"
    assert options[1].name == "hold 35 % | bypass pad | cold"
    assert len({o.name for o in options}) == len(options)


@pytest.mark.parametrize("name", FILES)
def test_water_closes_in_every_hour_of_every_option(results, name) -> None:
    for option in results[name].options:
        assert option.outcome.balance_error_kg.max() < 1e-9, option.name


@pytest.mark.parametrize("name", FILES)
def test_demand_is_the_same_for_all_equipment_and_supplies(results, name) -> None:
    first, second = results[name].options[1:3]

    np.testing.assert_array_equal(first.demand_kg, second.demand_kg)


@pytest.mark.slow
@pytest.mark.parametrize("name", FILES)
def test_the_demo_agrees_with_ten_second_steps(results, name, monkeypatch) -> None:
    """Annual 0.5 % at duties above 0.2, else 1 %, on the demo's own inputs; its plant fires.

    The project's bounds of what closed forms of firings may miss. The simulated house gives a third
    of its vapour at duties of 0.2 and less, the house 4 %.
    """
    result = results[name]
    asked: list[tuple] = []
    solver = kernel.cases()

    def listening(*arguments: object) -> None:
        asked.append(tuple(np.copy(a) if isinstance(a, np.ndarray) else a for a in arguments))
        solver(*arguments)

    monkeypatch.setattr(kernel, "cases", lambda: listening)
    strategy, equipment = result.scenario.strategies[1], result.scenario.equipment[0]
    rh = strategy.setpoint(result.case)
    water = result.scenario.supplies[1].feed_water(result.case)
    capability = equipment.capability(
        result.case,
        water,
        w_base_kg_kg=result.options[0].outcome.w_kg_kg,
        w_set_kg_kg=balance.setpoint_humidity_ratio(result.case, rh),
    )

    outcome = balance.deliver(result.case, rh, capability)

    # The year after its warm-up.
    (x,), (y,), (film,), step_s, *house = asked[-1]
    building = [rows[0] for rows in house[:11]]
    sizes, shared, (area, beta, x_sat, most) = building[:3], building[3:7], building[7:]
    (unlimited,), low, device = house[13], house[18], [rows[0] for rows in house[19:25]]
    *rates, _, f = device
    firings_h = 900.0 * house[25][0]
    _, added, _, taken, _, _ = integrate(
        x, y, film, step_s, *sizes, low[0], *shared, f, *rates, firings_h, area, beta, x_sat,
        most, not unlimited,
    )  # fmt: skip
    condensed = area[:, None] * np.maximum(taken, 0.0)
    seldom = added[np.reshape(f, (-1, round(3600.0 / step_s))).mean(axis=1) <= 0.2].sum()
    rel = 5e-3 if seldom < 0.1 * added.sum() else 1e-2
    assert outcome.added_kg.sum() == pytest.approx(added.sum(), rel=rel)
    # Condensate goes with what is left of the humidity above saturation: 2 %, as its hours.
    assert outcome.condensed_kg.sum() == pytest.approx(condensed.sum(), rel=2e-2)


@pytest.mark.parametrize("name", FILES)
def test_a_more_humid_set_point_demands_and_condenses_more(results, name) -> None:
    by_strategy = {o.strategy: o.row for o in results[name].options}

    assert by_strategy["hold 40 %"]["demand_kg"] > by_strategy["hold 35 %"]["demand_kg"]
    hours = [by_strategy[s]["condensation_h"] for s in ("hold 40 %", "hold 35 %", "gentle reset")]
    assert hours == sorted(hours, reverse=True)


@pytest.mark.parametrize("name", FILES)
def test_hot_feed_needs_less_water_for_each_kilogram(results, name) -> None:
    """Same orifice, shut after each call. At 15 kg/h, 45 °C and 60 °C feed theory gives a third.

    Here the plenum is near 50 °C and the feed 55 °C, and after each pause the line's own 0.2 kg
    come first, the more of it the less the plant runs: between a seventh and two fifths.
    """
    for cold, hot in zip(results[name].options[1::2], results[name].options[2::2], strict=True):
        assert cold.strategy == hot.strategy
        saved = 1.0 - hot.row["feed_l_per_kg"] / cold.row["feed_l_per_kg"]
        assert 1 / 7 < saved < 0.40
        assert hot.row["hot_feed_l"] == hot.row["feed_l"]
        assert cold.row["hot_feed_l"] == 0.0


def test_a_humidifier_that_keeps_the_windows_dry_adds_no_condensation(results) -> None:
    for result in results.values():
        for option in result.options:
            if option.strategy in ("windows 1 K dry", "windows 3 K dry"):
                assert option.row["condensation_h"] <= result.options[0].row["condensation_h"]


def test_the_simulation_explains_its_own_humidity(results) -> None:
    quality = results["simulation"].quality

    # Project requirement for a run whose flows are all reported: 0.2 g/kg and 5 %.
    assert quality.w_rmse_kg_kg < 0.2e-3
    assert abs(quality.demand_gap_frac) < 0.05
    assert not quality.missing_flow
    assert results["house"].quality is None


def test_a_withheld_flow_lights_the_quality_flag(results) -> None:
    """The same run with a third of its air exchange taken away."""
    scenario = results["simulation"].scenario

    class Withheld:
        def case(self, *, weather: object, folder: Path) -> HourlyCase:
            case = scenario.space.case(weather=weather, folder=folder)
            return replace(case, exchange_kg_s=case.exchange_kg_s * 2.0 / 3.0)

        def files(self, folder: Path) -> tuple[Path, ...]:
            return scenario.space.files(folder)

    result = compare(replace(scenario, space=Withheld()))

    assert result.quality.missing_flow
    assert sum(w.startswith("quality flag") for w in result.warnings) == 1


def test_the_baseline_of_a_simulation_is_its_own_humidity(results) -> None:
    result = results["simulation"]

    np.testing.assert_array_equal(result.options[0].outcome.w_kg_kg, result.case.w_base_kg_kg)


def test_house_and_simulation_of_one_house_tell_the_same_story(results) -> None:
    """Two models of one house, the same leakage law: what they share must not be far apart.

    Exchange within 10 %: the engine takes the wind at the zone's height and each hour's own room
    temperature. Dry hours within 20 %: one heat capacity against real walls, no source for less.
    """
    house, simulation = results["house"], results["simulation"]

    assert house.case.exchange_kg_s.mean() == pytest.approx(
        simulation.case.exchange_kg_s.mean(), rel=0.10
    )
    dry = [r.options[0].row["dry_h"] for r in (house, simulation)]
    assert dry[0] == pytest.approx(dry[1], rel=0.20)
    assert house.verdict.split(":")[0] == simulation.verdict.split(":")[0]


def test_the_written_folder_holds_what_was_compared(results, tmp_path) -> None:
    result = results["house"]

    written = result.write(tmp_path / "out", hourly_csv=True)

    names = {path.name for path in written}
    assert {"comparison.csv", "hourly.csv", "settings.csv", "surfaces_hourly.parquet"} <= names
    hourly = pq.read_table(tmp_path / "out" / "hourly.parquet").to_pandas()
    assert list(hourly.columns) == [c.name for c in columns.HOURLY]
    totals = hourly.groupby("option", observed=True)["delivered_kg"].sum()
    table = pq.read_table(tmp_path / "out" / "comparison.parquet").to_pandas()
    for _, row in table.iterrows():
        assert totals[row["option"]] == pytest.approx(row["delivered_kg"], rel=1e-12)
    span = hourly["interval_end"] - hourly["interval_start"]
    assert (span.dt.total_seconds() == 3600.0).all()
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["verdict"] == result.verdict
    assert manifest["scenario"]["comfort"]["low_rh"] == 0.3
    assert len(manifest["inputs_sha256"]) == 2


@pytest.mark.parametrize(
    ("given", "hourly_csv", "kinds"),
    [
        pytest.param((), False, "parquet csv", id="none given: both"),
        pytest.param((), True, "parquet csv+", id="none given, hours asked for"),
        pytest.param((CsvTables(),), True, "csv+", id="hours asked for beside CSV"),
        pytest.param((ParquetTables(),), False, "parquet", id="Parquet alone"),
        pytest.param((ParquetTables(),), True, "parquet csv+", id="hours beside Parquet alone"),
        pytest.param((CsvTables(hourly=True),), False, "csv+", id="hours by the scenario"),
    ],
)
def test_the_reports_of_the_scenario_are_written(
    of_january, tmp_path, *, given: tuple, hourly_csv: bool, kinds: str
) -> None:
    result = replace(of_january, scenario=replace(of_january.scenario, reports=given))

    written = {path.name for path in result.write(tmp_path, hourly_csv=hourly_csv)}

    found = {
        "parquet": "comparison.parquet" in written,
        "csv": "comparison.csv" in written and "hourly.csv" not in written,
        "csv+": {"comparison.csv", "hourly.csv"} <= written,
    }
    assert {kind for kind, there in found.items() if there} == set(kinds.split())
    manifest = json.loads((tmp_path / "manifest.json").read_text(encoding="utf-8"))
    named = [key for key in manifest["scenario"] if key.startswith("reports")]
    assert named == [f"reports[{i}]" for i in range(len(given))]


def test_two_reports_of_the_same_files_are_refused_and_nothing_is_written(
    results, tmp_path
) -> None:
    scenario = replace(results["house"].scenario, reports=(CsvTables(), CsvTables(hourly=True)))

    with pytest.raises(ExtensionError) as caught:
        replace(results["house"], scenario=scenario).write(tmp_path / "out")

    assert str(caught.value) == (
        f"{demo_folder() / 'scenarios' / FILES['house']}: reports[1]: 'comparison.csv' is written "
        "by reports[0] already (leave one of them out)"
    )
    assert not (tmp_path / "out").exists()


def test_feed_is_evaporated_or_drained(results) -> None:
    for result in results.values():
        for option in result.options:
            row = option.row
            assert row["feed_l"] == pytest.approx(row["evaporated_l"] + row["drained_l"], rel=1e-12)
            assert row["drained_l"] >= 0.0


def test_the_hourly_dew_margin_is_that_of_the_hourly_humidity(results) -> None:
    result = results["house"]
    hourly, surfaces = result.hourly, result.table("surfaces_hourly").data

    n = result.case.n_hours
    # The last option's edge: the last block of the long table.
    w, t_c = hourly["w_kg_kg"].to_numpy()[-n:], surfaces["t_surface_c"][-n:]
    dew = air.dew_point(air.vapour_pressure(w, result.hours.p_pa))
    assert surfaces["dew_margin_k"][-n:] == pytest.approx(t_c - dew, abs=1e-9)


def test_settings_cover_the_climate_in_both_units(results) -> None:
    settings = results["house"].settings

    first = settings[settings["strategy"] == "follow the cold"]
    assert first["t_out_c"].min() == -30.0
    assert first["t_out_f"].min() == pytest.approx(-22.0)
    at = first.set_index("t_out_c")["rh_set_percent"]
    assert at[-10.0] == 25
    assert at[-30.0] in (15, 16)
    assert at[10.0] == 40


def test_the_demo_says_six_numbered_things(results) -> None:
    lines = findings(results["house"], results["simulation"])

    assert [line[:2] for line in lines] == ["1.", "2.", "3.", "4.", "5.", "6."]
    hot, cold = results["house"].options[2], results["house"].options[1]
    saved = 1.0 - hot.row["feed_l_per_kg"] / cold.row["feed_l_per_kg"]
    assert f"{100 * saved:.0f} % less" in lines[4]
    assert f"needs {hot.row['feed_l_per_kg']:.1f} l for each kg" in lines[4]
    heat = [
        (o.row["feed_heat_kwh"] + o.row["makeup_heat_kwh"]) / o.row["delivered_kg"]
        for o in (hot, cold)
    ]
    assert f"{heat[0]:.2f} kWh for each kg with hot feed and {heat[1]:.2f} with cold" in lines[5]
    assert heat[0] == pytest.approx(heat[1], rel=0.1)

    ours = findings(results["house"], results["simulation"], "ip")
    # 1 l/kg is 0.11983 gal/lb, 1 kWh/kg is 1.5477 kBtu/lb.
    needs = 0.1198264 * hot.row["feed_l_per_kg"]
    assert f"needs {needs:.2f} gal for each lb delivered" in ours[4]
    assert f"{1.547721 * heat[0]:.2f} kBtu for each lb with hot feed" in ours[5]
    assert f"{hot.row['co2_kg'] / 0.45359237:.0f} and " in ours[5]
    assert ours[5].endswith(f"{cold.row['co2_kg'] / 0.45359237:.0f} lb of CO2.")


# How much of its runs a pad has on water that stood in its line is taken from the demand, before
# the balance. Here it is solved again with the humidifier's own runs and pauses, five times, until
# they are those of the run before. Measured: -0.4, -0.3, -0.2 % of the feed; cold feed takes a
# third more than hot.
@pytest.mark.parametrize(
    ("length_m", "bore_mm"),
    [
        pytest.param(8.0, 6.0, id="8 m of 6 mm"),
        pytest.param(8.0, 4.3, id="8 m of 1/4 inch"),
        pytest.param(10.0, 13.8, id="10 m of 1/2 inch"),
    ],
)
def test_what_stands_in_a_hot_line_is_judged_before_the_balance_within_one_per_cent(
    results, length_m, bore_mm
) -> None:
    case, scenario = results["house"].case, results["house"].scenario
    device, rh = scenario.equipment[0], np.full(results["house"].case.n_steps, 0.35)
    line = {"length_m": length_m, "bore_mm": bore_mm}
    water = Supply(name="hot", temperature_c=55.0, line=line).feed_water(case)
    nodes = {
        "w_base_kg_kg": results["house"].options[0].outcome.w_kg_kg,
        "w_set_kg_kg": balance.setpoint_humidity_ratio(case, rh),
    }
    demand_kg_s = balance.demand(case, rh).added_kg / 3600.0
    once = balance.deliver(
        case, rh, device.capability(case, water, **nodes, demand_kg_s=demand_kg_s)
    )
    f = case.air_system.heat_frac
    most = case.air_system.most_cycles_per_h
    hot_c = water.arriving(device.feed_kg_h / 3600.0).t_feed_c
    purge_s = water.line.purge_s(device.feed_kg_h / 3600.0)

    def of_feed(t_c: np.ndarray) -> Mode:
        plain = replace(water, line=None, t_start_c=t_c)
        return device.capability(case, plain, **nodes).heat

    warm, outcome = of_feed(hot_c), once
    for _ in range(5):
        # It starts with the plant, or as often as its humidistat calls.
        share = np.clip(outcome.running_frac / np.maximum(f, 1e-9), 0.0, 1.0)
        starts = 4.0 * most * f * np.maximum(1.0 - f, share * (1.0 - share))
        cycle_s = 3600.0 / np.maximum(starts, 1.0 / 24.0)
        runs_s = np.minimum(outcome.running_frac, 1.0) * cycle_s
        cold = np.clip(purge_s / np.maximum(runs_s, 1e-9), 0.0, 1.0)
        cold = np.where(outcome.running_frac < 1.0, cold, 0.0)
        stood = of_feed(water.line.rested_c(hot_c, np.maximum(cycle_s - runs_s, 0.0)))
        mixed = replace(
            warm,
            r0_kg_s=(1.0 - cold) * warm.r0_kg_s + cold * stood.r0_kg_s,
            r1_kg_s=(1.0 - cold) * warm.r1_kg_s + cold * stood.r1_kg_s,
        )
        capability = Capability(heat_frac=case.air_system.heat_frac, heat=mixed, fires=True)
        outcome = balance.deliver(case, rh, capability)

    assert outcome.feed_kg.sum() == pytest.approx(once.feed_kg.sum(), rel=0.01)
    assert outcome.added_kg.sum() == pytest.approx(once.added_kg.sum(), rel=1e-3)


def test_the_comparison_tells_the_equipment_what_is_demanded(results) -> None:
    scenario, case = results["house"].scenario, results["house"].case
    line = {"length_m": 10.0, "bore_mm": 13.8}
    supply = Supply(name="hot", temperature_c=55.0, line=line)
    device, strategy = scenario.equipment[0], scenario.strategies[0]
    few = replace(scenario, strategies=(strategy,), supplies=(supply,))
    rh = strategy.setpoint(case)

    def feed_l(demand_kg_s: np.ndarray | None) -> float:
        capability = device.capability(
            case,
            supply.feed_water(case),
            w_base_kg_kg=results["house"].options[0].outcome.w_kg_kg,
            w_set_kg_kg=balance.setpoint_humidity_ratio(case, rh),
            demand_kg_s=demand_kg_s,
        )
        return float(balance.deliver(case, rh, capability).feed_kg.sum())

    found = compare(few).options[1]

    assert found.row["feed_l"] == pytest.approx(feed_l(found.demand_kg / 3600.0), rel=1e-9)
    # Shorter calls see more of the cold line: by a tenth, measured; by a fiftieth would matter.
    assert found.row["feed_l"] > 1.02 * feed_l(None)


def test_a_setting_keeps_what_the_rule_promises(results) -> None:
    """The settings table, set as an outdoor reset, condenses no longer than the rule it is of."""
    result = results["house"]
    settings = result.settings
    rows = settings[settings["strategy"] == "windows 1 K dry"]
    points = list(zip(rows["t_out_c"], rows["rh_set_percent"] / 100.0, strict=True))
    reset = OutdoorReset(name="as set", points=points)

    again = compare(replace(result.scenario, strategies=(reset,)))

    for option in again.options[1:]:
        assert option.row["condensation_h"] == 0.0
        # Of the rule's 1 K the table's rounding leaves a part.
        assert option.row["worst_margin_k"] > 0.25


def test_a_rule_that_peeks_is_refused(results) -> None:
    class Prophet:
        name, horizon_h = "prophet", 0.0

        def setpoint(self, case: HourlyCase) -> np.ndarray:
            return np.where(np.roll(case.t_out_c, -6) < -10.0, 0.2, 0.4)

    with pytest.raises(ExtensionError) as caught:
        compare(replace(results["house"].scenario, strategies=(Prophet(),)))

    assert str(caught.value) == (
        f"{demo_folder() / 'scenarios' / FILES['house']}: strategies['prophet']: "
        "looks further ahead than its horizon_h of 0"
    )


def test_a_rule_that_peeks_while_surfaces_are_wet_is_refused(results) -> None:
    class Peeks(SurfaceLimit):
        def while_wet(self, case: HourlyCase) -> WhileWet:
            wet = super().while_wet(case)
            return replace(wet, rh_frac=wet.rh_frac[::-1].copy())

    scenario = replace(
        results["house"].scenario, strategies=(Peeks(name="peeks", while_film={"rh": 0.3}),)
    )

    with pytest.raises(ExtensionError, match="looks further ahead"):
        compare(scenario)


def test_letting_windows_dry_first_wets_them_for_fewer_hours(results) -> None:
    """A rule that risks condensation (2 K beyond the dew point), with and without memory."""
    risky = SurfaceLimit(name="risky", margin_k=-2.0)
    careful = SurfaceLimit(name="careful", margin_k=-2.0, while_film={"above_g_m2": 1.0})
    scenario = replace(results["house"].scenario, strategies=(risky, careful))

    result = compare(scenario)

    plain, drying = (
        next(o for o in result.options if o.strategy == name) for name in ("risky", "careful")
    )
    assert drying.row["wet_h"] < 0.7 * plain.row["wet_h"]
    # Hours that begin wet hold nothing, and the report says so; the settings are the dry rule's.
    film = 1e3 * np.roll(drying.outcome.film_kg_m2, 1, axis=1)
    wet = np.any(film > 1.0, axis=0)
    assert not drying.rh_setpoint_frac[wet].any()
    np.testing.assert_array_equal(drying.rh_setpoint_frac[~wet], plain.rh_setpoint_frac[~wet])
    assert not drying.outcome.added_kg[wet].any()
    settings = result.settings.set_index(["strategy", "t_out_c"])["rh_set_percent"]
    assert settings["careful"].equals(settings["risky"])


def test_without_surfaces_condensation_is_not_examined_rather_than_absent(results) -> None:
    scenario = results["house"].scenario
    bare = replace(scenario, surfaces=(), strategies=scenario.strategies[:1])

    verdict = compare(bare).verdict

    assert "condensation not examined (no surfaces given)" in verdict


def test_a_humidifier_that_changes_nothing_is_not_chosen(results) -> None:
    scenario = replace(results["house"].scenario, strategies=(Constant(name="no use", rh=0.05),))

    assert compare(scenario).verdict.startswith("None helps: ")


@pytest.mark.parametrize("turned", [False, True])
def test_of_equals_the_cheaper_is_chosen_or_else_the_less_thirsty(results, turned) -> None:
    # Both give the same vapour: one wastes electricity, some 100 EUR, the other water, some 20 EUR.
    scenario = results["house"].scenario
    both = (
        FixedRate(name="dear", rate_kg_h=2, call="always", power_w=500),
        FixedRate(name="thirsty", rate_kg_h=2, call="always", power_w=0, feed_ratio=3),
    )
    few = replace(
        scenario,
        strategies=scenario.strategies[4:5],
        equipment=both[::-1] if turned else both,
        supplies=scenario.supplies[:1],
    )

    priced, unpriced = (compare(replace(few, tariff=t)) for t in (scenario.tariff, None))

    assert len({option.row["band_h"] for option in priced.options[1:]}) == 1
    assert priced.verdict.startswith("Choose 'windows 1 K dry | thirsty | cold': ")
    assert unpriced.verdict.startswith("Choose 'windows 1 K dry | dear | cold': ")


def test_the_readme_quotes_what_the_demo_says(results) -> None:
    """`UPDATE_DOCS=1 pytest tests/whole` rewrites the quotation."""
    readme = Path(__file__).parents[2] / "README.md"
    text = readme.read_text(encoding="utf-8")
    quoted = "\n".join(findings(results["house"], results["simulation"]))
    pattern = re.compile(r"(<!-- demo -->\n```text\n).*?(```\n<!-- end demo -->)", re.DOTALL)

    current = pattern.sub(lambda m: f"{m[1]}{quoted}\n{m[2]}", text)

    if os.environ.get("UPDATE_DOCS"):
        readme.write_text(current, encoding="utf-8")
        return
    assert text == current


def test_no_humidifier_is_the_verdict_where_the_air_is_humid_enough(results) -> None:
    scenario = results["house"].scenario
    given = scenario.space.model_dump(exclude_unset=True, exclude={"ventilation"})
    tight = type(scenario.space)(**given | {"leakage_m3_h_at_50pa": 300.0, "gains_factor": 1.5})

    result = compare(replace(scenario, space=tight))

    assert result.verdict.startswith("None needed: without a humidifier the air is too dry in ")


def test_a_dry_week_is_not_within_a_year_s_allowance(results) -> None:
    scenario = results["simulation"].scenario

    class Week:
        def case(self, *, weather: object, folder: Path) -> HourlyCase:
            return scenario.space.case(weather=weather, folder=folder).between(0, 168)

        def files(self, folder: Path) -> tuple[Path, ...]:
            return scenario.space.files(folder)

    supplies = (scenario.supplies[1],)  # the mains temperature needs all months
    result = compare(replace(scenario, space=Week(), supplies=supplies))

    assert result.options[0].row["dry_h"] > 24.0
    assert not result.verdict.startswith("None needed")


def test_every_option_wetter_than_allowed_is_said(results) -> None:
    scenario = results["house"].scenario
    wet = replace(scenario, strategies=(Constant(name="far too humid", rh=0.7),))

    verdict = compare(wet).verdict

    assert verdict.startswith("No option keeps within 24 h more condensation than without")


def test_a_strategy_error_names_the_scenario_file(tmp_path) -> None:
    path = demo_folder() / "scenarios" / FILES["house"]
    scenario = load(path)
    bare = replace(scenario, surfaces=())

    with pytest.raises(InputError) as caught:
        compare(bare)

    assert str(caught.value) == (
        f"{path}: strategies['windows 1 K dry']: needs at least one surface "
        "(add a [[surfaces]] table)"
    )


def test_the_demo_year_of_the_pad_is_affine_in_room_humidity(results) -> None:
    """The demo's own hours: the pad's line against the pad at the humidity that came out."""
    from dewmargin.physics import pad  # noqa: PLC0415 - only here

    result = results["house"]
    case, option = result.case, result.options[3]
    equipment, supply = result.scenario.equipment[0], result.scenario.supplies[0]
    # Without its line, which makes the feed that comes first another.
    water = supply.model_copy(update={"line": None}).feed_water(case)
    w_set = balance.setpoint_humidity_ratio(case, option.rh_setpoint_frac)
    line = equipment.capability(
        case, water, w_base_kg_kg=result.options[0].outcome.w_kg_kg, w_set_kg_kg=w_set
    ).heat
    on = option.outcome.running_frac > 0.0
    # Plenum and bypass in turn, forty times, as the balances are written.
    system, w_room = case.air_system, option.outcome.w_kg_kg[on]
    t_room, feed = case.t_air_c[on], equipment.feed_kg_h / 3600.0
    t_feed = water.arriving(feed).t_feed_c[on]
    to_rooms = system.airflow_kg_s[on] - equipment.airflow_kg_s
    h_room = air.enthalpy(t_room, w_room)
    heat = system.airflow_kg_s[on] * (air.enthalpy(system.t_supply_c[on], w_room) - h_room)
    full = brought = np.zeros_like(w_room)
    for _ in range(40):
        w_in, h_in = w_room + full / to_rooms, h_room + (heat + brought) / to_rooms
        state = pad.evaporate(
            airflow_kg_s=equipment.airflow_kg_s,
            t_in_c=(h_in - w_in * air.H_FG_0C) / (air.CP_DRY_AIR + w_in * air.CP_VAPOUR),
            w_in_kg_kg=w_in,
            p_pa=case.p_pa[on],
            feed_kg_s=feed,
            t_feed_c=t_feed,
            effectiveness=equipment.effectiveness,
        )
        full = state.evaporation_kg_s
        brought = air.CP_WATER * (feed * t_feed - state.drain_kg_s * state.t_drain_c)

    rate = (line.r0_kg_s - line.r1_kg_s * option.outcome.w_kg_kg)[on]
    # Project requirement: 0.5 % of the rated rate, here the largest of the year.
    assert np.abs(rate - full).max() <= 0.005 * full.max()


def test_dry_band_and_humid_hours_make_the_heating_season(results) -> None:
    for result in results.values():
        season = np.count_nonzero(result.hours.heating_season)
        for option in result.options:
            counted = sum(option.row[name] for name in ("dry_h", "band_h", "humid_h"))
            assert counted == season
            assert option.row["hours_known"] == 8760
