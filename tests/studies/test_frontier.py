"""The search for set-point lines: against optima by hand, plain enumeration, and `compare`."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

import references
from cases import held_zone, small_case
from dewmargin.cli import cli
from dewmargin.columns import FRONTIER
from dewmargin.errors import InputError
from dewmargin.reports.folder import verify_folder
from dewmargin.scenario import load
from dewmargin.studies.compare.comparison import compare
from dewmargin.studies.demo import demo_folder
from dewmargin.studies.frontier.frontier import (
    FALLS,
    GOALS,
    RISES,
    TIES,
    UNBOUND,
    _as_set,
    _Front,
    best_lines,
    search,
)
from dewmargin.studies.frontier.lines import STEP_K, Line, Space, strategy_of
from dewmargin.studies.options.limit import Limit
from frontier_cases import TARIFF, room, silent, trial_of, two_point_lines

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.studies.frontier.frontier import Frontier
    from dewmargin.studies.frontier.trial import Numbers

HOUSE = demo_folder() / "scenarios" / "larch_house.toml"
SIMULATED = demo_folder() / "scenarios" / "larch_house_simulated.toml"
DRY = Limit(name="condensation_h", most=0.0)
# Colder first: the room never has to dry before a colder spell. More humid is always better.
SPELLS = [t_c for t_c in range(-25, 1, STEP_K) for _ in range(24)]
HUMID = "[comfort]\nlow_rh = 0.60\nhigh_rh = 0.65\n"


def harms(goals: tuple[str, ...], rows: list[Numbers]) -> list[tuple[float, ...]]:
    """Return what is to be small, hours in the band turned round."""
    return [tuple(round(-row[g] if g == "band_h" else row[g], 6) for g in goals) for row in rows]


def unbeaten(points: list[tuple[float, ...]]) -> set[tuple[float, ...]]:
    """Return those that no other equals or betters in all, one by one."""
    found = set(points)
    return {
        p
        for p in found
        if not any(q != p and all(a <= b for a, b in zip(q, p, strict=True)) for q in found)
    }


# An optimum by hand


@pytest.mark.slow
def test_the_best_line_is_the_humidity_at_which_the_surface_condenses(tmp_path: Path) -> None:
    """Each temperature decides alone: as humid as its surface allows, in whole per cent."""
    limit = {
        int(row["t_out_c"]): float(row["rh_percent"])
        for row in references.rows("max_rh")
        if row["index"] == "0.40" and int(row["t_out_c"]) in SPELLS
    }
    file = room(tmp_path, SPELLS, more=HUMID)

    found = best_lines(file, goals=["below_band_percent_h"], limits=[DRY], knots=6)

    assert found.chosen is not None
    t_c = np.array(sorted(limit))
    assert t_c.size == 6
    # Printed to 0.1: none of them is nearer than that to the next whole per cent.
    np.testing.assert_array_equal(found.chosen.percent_at(t_c), np.floor([limit[t] for t in t_c]))

    two = best_lines(file, goals=["below_band_percent_h"], limits=[DRY])

    grid = range(-25, 16, STEP_K)
    best = max(
        held.sum()
        for cold_c, mild_c in combinations(grid, 2)
        for cold in range(10, 66)
        for mild in range(cold, 66)
        if np.all(
            (held := np.interp(t_c, [cold_c, mild_c], [cold, mild])) <= [limit[t] for t in t_c]
        )
    )
    assert two.chosen is not None
    assert len(two.chosen.points) == 2
    assert two.chosen.percent_at(t_c).sum() == pytest.approx(best, abs=1e-9)
    assert found.tried < 2000 < 45 * 56


# Against plain enumeration


@pytest.mark.slow
@pytest.mark.parametrize(
    ("file", "goals"),
    [
        (HOUSE, ("band_h", "condensation_h")),
        (HOUSE, ("dry_h", "runoff_h", "delivered_kg")),
        (HOUSE, ("below_band_percent_h", "feed_l")),
        (HOUSE, ("shortfall_h", "band_h", "wet_h")),
        (SIMULATED, ("band_h", "condensation_h")),
    ],
)
def test_no_line_of_all_beats_one_that_is_found(file: Path, goals: tuple[str, ...]) -> None:
    """Some 1,300 lines in three cold weeks of the demo: the same frontier, none left out."""
    scenario = load(file)
    case = scenario.case(scenario.read_weather()).first(21 * 24)
    space = Space(t_out_c=(-25, -15, -5, 5), low_percent=20, high_percent=40)
    trial = trial_of(scenario, case, space)

    lines = search(trial, goals, (), silent)

    tried = trial.tried
    found = harms(goals, trial.numbers(lines, after=silent, found=0))
    all_lines = two_point_lines(space)
    everything = harms(goals, trial.numbers(all_lines, after=silent, found=0))
    assert unbeaten(everything) == set(found)
    assert len(found) == len(set(found)) > 1
    if not set(goals) & set(UNBOUND):
        assert tried < 0.7 * len(set(all_lines))


@pytest.mark.slow
def test_lines_that_break_a_limit_beat_none(tmp_path: Path) -> None:
    scenario = load(room(tmp_path, SPELLS, more=HUMID))
    space = Space(t_out_c=(-25, -15, -5, 5), low_percent=15, high_percent=45)
    trial = trial_of(scenario, scenario.case(None), space)
    goals, limits = ("below_band_percent_h", "delivered_kg"), (
        Limit(name="condensation_h", most=24.0),
        Limit(name="dry_h", most=144.0),
    )  # fmt: skip

    lines = search(trial, goals, limits, silent)

    rows = trial.numbers(two_point_lines(space), after=silent, found=0)
    fit = [row for row in rows if row["condensation_h"] <= 24.0 and row["dry_h"] <= 144.0]
    assert 0 < len(fit) < len(rows)
    found = harms(goals, trial.numbers(lines, after=silent, found=0))
    assert set(found) == unbeaten(harms(goals, fit))


@pytest.mark.slow
def test_water_is_no_bound_since_a_drier_room_may_take_more(tmp_path: Path) -> None:
    """Nights with heat in the ducts, days without: a pad gives most for its water at night.

    Held lower at night, the room is brought up by day from what the blower moves cold.
    """
    pad = (
        'name = "pad"\nkind = "wetted_pad"\nairflow_kg_s = 0.09\neffectiveness = 0.65\n'
        'feed_kg_h = 15\npower_w = 8\ncall = "humidity"'
    )
    plant = (
        '[space.table.heating]\nkind = "furnace"\ncapacity_kw = 12\nairflow_l_s = 400\n'
        "blower_w = 350\n"
    )
    file = room(
        tmp_path,
        [-15, -15, -15, 5, 5, 5] * 28,
        heating_w=[12_000, 12_000, 12_000, 0, 0, 0] * 28,
        device=pad,
        space=plant,
    )
    scenario = load(file)
    space = Space(t_out_c=(-15, 5), low_percent=26, high_percent=30)
    trial = trial_of(scenario, scenario.case(None), space)
    goals, limits = ("feed_l",), (Limit(name="dry_h", most=84.0),)

    (best,) = search(trial, goals, limits, silent)

    rows = trial.numbers(two_point_lines(space), after=silent, found=0)
    low, high = (
        trial.numbers([line], after=silent, found=0)[0]
        for line in (Line(0, ((-15, 26), (5, 30))), Line(0, ((-15, 30),)))
    )
    assert low["feed_l"] > 1.01 * high["feed_l"]
    assert "feed_l" not in RISES
    least = min(row["feed_l"] for row in rows if row["dry_h"] <= 84.0)
    assert trial.numbers([best], after=silent, found=0)[0]["feed_l"] == least


# The laws that bounds rest on


CASES = {
    "a partial year": {},
    "a whole one": {"wraps": True},
    "half hours": {
        "interval_start": np.datetime64("2017-01-10T00:00:00", "s")
        + np.arange(96) * np.timedelta64(1800, "s"),
        "steps_per_hour": 2,
    },
    "a simulation": {"departure": True, "w_base_kg_kg": np.full(96, 0.004)},
    "cooling": {"cooling": np.arange(96) % 7 == 0, "humidify_while_cooling": True},
    "off while cooling": {"cooling": np.arange(96) % 7 == 0},
    "a buffer": {"buffer_kg": 2000.0, "buffer_kg_s": 0.1},
}


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_a_line_above_another_never_has_less_vapour_and_never_more_dry_hours(name: str) -> None:
    """Random pairs of lines; a pad by the heating call, wet and running-off windows."""
    case = small_case(96, **CASES[name])
    case = replace(case, surfaces=tuple(replace(s, retention_g_m2=20.0) for s in case.surfaces))
    space = Space(t_out_c=(-20, -15, -10, -5), low_percent=10, high_percent=60, knots=4)
    trial = trial_of(load(HOUSE), case, space)
    rng = np.random.default_rng(7)
    below = [sorted(rng.integers(10, 55, 4).tolist()) for _ in range(60)]
    above = [sorted(p + int(rng.integers(0, 6)) for p in percents) for percents in below]

    low, high = (
        trial.numbers(
            [space.line(list(zip(space.t_out_c, p, strict=True)), 0) for p in every],
            after=silent,
            found=0,
        )
        for every in (below, above)
    )

    for metric in (*RISES, *FALLS, "humid_h"):
        gap = np.array([b[metric] - a[metric] for a, b in zip(low, high, strict=True)])
        worst = gap.max() if metric in FALLS else -gap.min()
        assert worst <= 1e-6, metric
    moved = [m for m in RISES if any(b[m] > a[m] for a, b in zip(low, high, strict=True))]
    assert {"condensation_h", "wet_h", "delivered_kg"} <= set(moved)


harm_rows = st.lists(st.tuples(*[st.integers(0, 3)] * (2 + len(TIES) + 1)), min_size=1, max_size=25)


@given(rows=harm_rows)
def test_the_front_is_what_one_by_one_comparison_leaves(rows: list[tuple[int, ...]]) -> None:
    def beats(one: tuple[int, ...], other: tuple[int, ...]) -> bool:
        if one[:2] == other[:2]:
            return one[2:] < other[2:]
        return one[0] <= other[0] and one[1] <= other[1]

    lines = [Line(0, ((-20, i),)) for i in range(len(rows))]
    front = _Front(2)

    front.add(lines, rows)

    left = {row for row in rows if not any(beats(other, row) for other in rows)}
    kept = [rows[line.points[0][1]] for line in front.lines]
    assert sorted(kept) == sorted(left)
    # Of equals the first stays.
    assert {line.points[0][1] for line in front.lines} == {rows.index(row) for row in left}
    assert front.beats(np.array(rows, dtype=float)).all()


# What is chosen, against `compare`


@pytest.fixture(scope="module")
def demo() -> Frontier:
    """Return the lines of the demo house within 20 hours of condensation."""
    return best_lines(HOUSE, limits=[Limit.parse("condensation_h=20")])


@pytest.mark.slow
def test_the_numbers_of_the_search_are_those_of_compare(demo: Frontier) -> None:
    """The device's straight lines are those of the most humid line, for all alike.

    They are off by at most 0.5 % of the rated rate (tests of the pad), so kilograms by no more;
    the room, and an hour at an edge, follows by thousandths of that.
    """
    assert demo.chosen is not None
    strategy = tomllib.loads(demo.toml())["strategies"][0]
    only = replace(demo.scenario, strategies=(strategy_of(demo.chosen, strategy["name"]),))

    row = compare(only).options[1].row

    numbers = demo.numbers[demo.lines.index(demo.chosen)]
    for name in ("band_h", "dry_h", "humid_h", "condensation_h", "wet_h", "runoff_h"):
        assert abs(numbers[name] - row[name]) <= 2.0, name
    # What stood in its line is judged by the demand of all lines of the search, and takes a tenth
    # of the feed: a demand that is a tenth off makes 1 % of feed.
    for name, rel in (("delivered_kg", 0.005), ("feed_l", 0.01), ("cost", 0.005), ("co2_kg", 0.01)):
        assert numbers[name] == pytest.approx(row[name], rel=rel), name


@pytest.mark.slow
def test_the_line_as_it_is_set_keeps_the_limit_in_whole_per_cent(demo: Frontier) -> None:
    assert demo.chosen is not None
    assert demo.as_set is not None
    row = demo.as_set.options[1].row
    settings = demo.settings().data

    assert row["condensation_h"] <= 20.0
    t_c = np.array(settings["t_out_c"])
    below = demo.chosen.percent_at(t_c) - np.array(settings["rh_set_percent"])
    assert np.all((below >= -1e-9) & (below < 1.0))
    assert np.all(t_c % STEP_K == 0)
    held = demo.as_set.options[1].rh_rule_frac
    set_so = np.interp(demo.as_set.hours.t_out_c, t_c, settings["rh_set_frac"])
    np.testing.assert_allclose(held, set_so, rtol=0.0, atol=1e-12)


@pytest.mark.slow
def test_pasted_into_a_scenario_the_line_is_compared_as_it_was_found(
    demo: Frontier, tmp_path: Path
) -> None:
    text = HOUSE.read_text(encoding="utf-8").replace(
        "../weather", str(HOUSE.parents[1] / "weather")
    )
    head, rest = text.split("[[strategies]]", 1)
    pasted = tmp_path / "pasted.toml"
    pasted.write_text(head + demo.toml() + rest[rest.index("[[equipment]]") :], encoding="utf-8")

    row = compare(pasted).options[1].row

    assert row["band_h"] >= demo.as_set.options[1].row["band_h"]
    assert abs(row["band_h"] - demo.numbers[0]["band_h"]) <= 2.0


# The command


def frontier(*arguments: object) -> str:
    """Run the command; return what it prints."""
    result = CliRunner().invoke(cli, ["frontier", *map(str, arguments)], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.mark.slow
def test_two_runs_write_the_same_bytes_and_they_verify(tmp_path: Path) -> None:
    file = room(tmp_path, SPELLS, more=HUMID)
    arguments = [file, "--limit", "condensation_h=48", "--goal", "below_band_percent_h"]
    arguments += ["--goal", "condensation_h", "--range", 12, 30, "--knots", 3]

    text = frontier(*arguments, "--out", tmp_path / "a")
    frontier(*arguments, "--out", tmp_path / "b")

    names = sorted(path.name for path in (tmp_path / "a").iterdir())
    assert names == [
        "frontier.csv",
        "frontier.parquet",
        "frontier.schema.json",
        "manifest.json",
        "settings.csv",
        "settings.parquet",
        "settings.schema.json",
        "strategy.toml",
    ]
    for name in names:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes(), name
    assert sorted([*verify_folder(tmp_path / "a"), "manifest.json"]) == names
    assert text.splitlines()[-1] == str(tmp_path / "a" / "manifest.json")


@pytest.mark.slow
def test_the_document_has_lines_choice_and_settings(tmp_path: Path) -> None:
    file = room(tmp_path, SPELLS, more=HUMID)

    document = json.loads(
        frontier(
            file, "--limit", "condensation_h=0", "--goal", "dry_h", "--range", 10, 30, "--json"
        )
    )

    assert document["schema"] == "dewmargin/frontier/1"
    assert document["title"] == "one room"
    assert document["limits"] == {"condensation_h": 0.0}
    assert document["goals"] == ["dry_h"]
    assert document["files"] == []
    (line,) = document["lines"]
    assert set(line) == {column.name for column in FRONTIER}
    assert line["chosen"] is True
    # Without a tariff neither is known.
    assert line["cost"] is line["co2_kg"] is None
    assert json.loads(line["points"]) == document["chosen"]["points"]
    assert document["as_set"]["condensation_h"] == 0.0
    assert [row["t_out_c"] for row in document["settings"]] == [*range(-25, 1, STEP_K)]


@pytest.mark.slow
def test_a_terminal_gets_choice_table_settings_and_a_rule_to_paste(tmp_path: Path) -> None:
    file = room(tmp_path, SPELLS, more=HUMID)
    arguments = [file, "--goal", "below_band_percent_h", "--limit", "condensation_h=0"]

    lines = frontier(*arguments, "--range", 14, 44).splitlines()

    chosen = best_lines(
        file, goals=["below_band_percent_h"], limits=[DRY], low_percent=14, high_percent=44
    )
    assert lines[0] == "one room"
    assert lines[1] == chosen.verdict
    assert "To be set, by outdoor temperature:" in lines
    paste = lines[lines.index("To be pasted into the scenario:") + 2 :]
    assert "\n".join(paste).strip() == chosen.toml().strip()
    assert any(line.startswith(f" > {chosen.chosen.short()}"[:20]) for line in lines)


# What cannot be searched, and what cannot be kept


def refused(file: Path, **asked: object) -> str:
    """Return the message of a search that is refused, without its folder."""
    with pytest.raises(InputError) as caught:
        best_lines(file, **asked)
    return f"error: {caught.value}".replace(f"{file.parent}/", "")


NO_RANGE = "are no range (such as 10 to 50)"
NOT_KNOWN = "is not known here (it needs surfaces, or prices and what the device uses)"


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (
            {"goals": ["warmth"]},
            f"error: room.toml: goal: 'warmth' is no goal (one of: {', '.join(GOALS)})",
        ),
        (
            {"equipment": "steam"},
            "error: room.toml: equipment: no equipment is called 'steam' (one of: 'spray')",
        ),
        (
            {"supply": "hot"},
            "error: room.toml: supply: no supply is called 'hot' (one of: 'cold')",
        ),
        *[
            (
                {"low_percent": low, "high_percent": high},
                f"error: room.toml: range: set-points from {low} to {high} % {NO_RANGE}",
            )
            for low, high in ((30, 30), (40, 30), (0, 30), (30, 101))
        ],
        ({"goals": ["cost"]}, f"error: room.toml: goal or limit: cost {NOT_KNOWN}"),
        (
            {"limits": [Limit(name="co2_kg", most=1.0)]},
            f"error: room.toml: goal or limit: co2_kg {NOT_KNOWN}",
        ),
    ],
)
def test_what_is_asked_must_be_there(
    asked: dict[str, object], message: str, tmp_path: Path
) -> None:
    assert refused(room(tmp_path, [-10] * 24), **asked) == message


def test_without_surfaces_condensation_is_no_goal_and_no_rule_follows_them(tmp_path: Path) -> None:
    low = "[comfort]\nlow_rh = 0.295\nhigh_rh = 0.50\n"
    file = room(tmp_path, [-10] * 24, surfaces="", more=low)

    assert refused(file, limits=[DRY]) == (
        f"error: room.toml: goal or limit: condensation_h {NOT_KNOWN}"
    )
    assert refused(file, rules=["surface_limit"]) == (
        "error: room.toml: rule: surface_limit needs at least one surface (add a [[surfaces]] "
        "table)"
    )
    found = best_lines(file, low_percent=28, high_percent=32)
    assert found.goals == ("band_h",)
    assert found.limits == ()
    # All that reach the band are equal: the least below it, then the least vapour.
    assert found.lines == (Line(0, ((-10, 30),)),)
    assert found.verdict == (
        "Choose -10 °C 30 %: set in whole per cent every 5 K it has 24 of 24 heating-season hours "
        "in the comfort band (0 without)."
    )
    assert '"condensation_h": null' in json.dumps(found.document())


@pytest.mark.slow
def test_a_cost_that_only_the_humid_lines_do_not_know_is_refused(tmp_path: Path) -> None:
    """The driest line runs nothing here, so that its cost is known to be nothing."""
    device = 'name = "spray"\nkind = "fixed_rate"\nrate_kg_h = 50_000'
    file = room(tmp_path, [-10] * 24, device=device, more=TARIFF)
    table = file.with_name("room.csv")
    table.write_text(table.read_text().replace("0.0001,0.02", "0.0030,0.02"), encoding="utf-8")
    table.write_text(table.read_text().replace(",0.0001,", ",0.0030,"), encoding="utf-8")

    assert refused(file, goals=["cost"]) == (f"error: room.toml: goal or limit: cost {NOT_KNOWN}")


def test_zones_humidified_beside_the_space_are_refused() -> None:
    case = small_case(24)
    zone = held_zone(case)
    scenario, space = load(HOUSE), Space(t_out_c=(-20, -15), low_percent=10, high_percent=50)

    with pytest.raises(InputError) as caught:
        trial_of(scenario, replace(case, held_zones=(zone,)), space)

    assert str(caught.value) == (
        "space.simulation.humidified_alike: lines and draws are not tried with zones that "
        "are humidified beside the space (leave them out here, or compare options one by one)"
    )


@pytest.mark.slow
def test_where_no_line_keeps_a_limit_none_is_chosen(tmp_path: Path) -> None:
    file = room(tmp_path, [-30] * 24)

    found = best_lines(file, limits=[DRY], low_percent=20, high_percent=30)
    document = found.document()
    written = found.write(tmp_path / "out")

    assert found.verdict == (
        f"No line keeps to at most 0 h with condensation; {found.tried} lines were tried."
    )
    # 378.5411784 l are 100 gal, 45.359237 kg are 100 lb.
    limits = [Limit.parse(text) for text in ("feed_l=378.5411784", "delivered_kg=45.359237")]
    assert replace(found, limits=tuple(limits)).sentence("ip") == (
        "No line keeps to at most 100 gal of water, at most 100 lb of vapour; "
        f"{found.tried} lines were tried."
    )
    assert document["chosen"] is document["as_set"] is None
    assert document["settings"] == document["lines"] == []
    assert [path.name for path in written] == [
        "frontier.parquet",
        "frontier.csv",
        "frontier.schema.json",
        "manifest.json",
    ]
    text = frontier(file, "--limit", "condensation_h=0", "--range", 20, 30)
    assert found.verdict in text
    assert "To be set" not in text


def test_a_limit_that_is_lost_by_rounding_is_not_kept(tmp_path: Path) -> None:
    """At -10 °C the line between -15 °C 29 % and 0 °C 31 % holds 29.67 %, and is set to 29 %."""
    file = room(tmp_path, [-10] * 24, more="[comfort]\nlow_rh = 0.295\nhigh_rh = 0.50\n")
    scenario = load(file)
    space = Space(t_out_c=(-15, -10, -5, 0), low_percent=29, high_percent=31)
    line = Line(0, ((-15, 29), (0, 31)))
    case = scenario.case(None)

    exact = trial_of(scenario, case, space).numbers([line], after=silent, found=0)[0]
    as_set = _as_set(scenario, None, case, line, space).options[1].row

    assert exact["dry_h"] == 0.0
    assert as_set["dry_h"] == 24.0


def test_the_verdict_says_whether_a_limit_is_lost_by_setting(tmp_path: Path) -> None:
    found = best_lines(room(tmp_path, [-10] * 24), low_percent=29, high_percent=31)

    lost = replace(found, chosen=None, as_set=None)

    assert lost.verdict == (
        "No line of the frontier, as it would be set, keeps to at most 0 h with "
        f"condensation; {found.tried} lines were tried."
    )


@pytest.mark.slow
def test_condensation_is_limited_by_default_whatever_the_goals(tmp_path: Path) -> None:
    """As in the verdict of `compare`: 24 hours in a year, in a day a part of one, so none."""
    found = best_lines(
        room(tmp_path, [-30] * 24), goals=["band_h"], low_percent=10, high_percent=31
    )

    assert found.limits == (DRY,)
    assert found.chosen == Line(0, ((-30, 10),))


def test_a_climate_that_is_never_cold_needs_nothing(tmp_path: Path) -> None:
    found = best_lines(room(tmp_path, [27] * 24), low_percent=20, high_percent=24)

    assert found.space.t_out_c == (25, 30)
    assert found.chosen == Line(0, ((25, 20),))
    assert found.verdict.startswith(
        "Choose 25 °C 20 %: set in whole per cent every 5 K it has 0 of"
    )
    assert found.settings().data["t_out_c"] == []


def test_points_are_where_the_outdoor_sensor_reads(tmp_path: Path) -> None:
    more = "[control]\noutdoor_bias_k = 10\n"
    found = best_lines(room(tmp_path, [-20] * 24, more=more), low_percent=10, high_percent=12)

    assert found.space.t_out_c[0] == -10


@pytest.mark.slow
def test_a_swing_is_left_to_the_last_comparison_and_said(tmp_path: Path) -> None:
    file = room(tmp_path, [-10] * 24, more="[control]\ndeadband_rh = 0.04\nrh_lag_min = 5\n")

    found = best_lines(file, low_percent=20, high_percent=24)

    assert found.lines_of_search()[-1] == (
        "Searched with a controller that does not swing; as it is set, the best line is compared "
        "with the deadband, delay and times of [control]."
    )


@pytest.mark.slow
def test_rules_that_know_the_surfaces_and_forecasts_are_tried_too(tmp_path: Path) -> None:
    """The surface is dry up to 29.2 % (`references/max_rh.csv`): the rule holds it, a line 29."""
    file = room(tmp_path, [-10] * 24, more=HUMID)

    found = best_lines(
        file,
        goals=["below_band_percent_h"],
        limits=[DRY],
        rules=["outdoor_reset", "surface_limit"],
        look_ahead_h=[0, 3],
        low_percent=20,
    )

    assert found.chosen is not None
    assert found.chosen.rule == "surface_limit"
    assert found.chosen.margin_k == 0.0
    rh = found.as_set.options[1].row["rh_mean_frac"]
    assert 100 * rh == pytest.approx(29.2, abs=0.05)
    assert found.verdict.startswith("Choose surfaces 0 K dry, at most 30 %: it has ")
