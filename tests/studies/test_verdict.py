"""The choice, and the sentences that say so; made-up options, as they come from `solve.year`."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from math import floor
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from dewmargin.scenario import Comfort
from dewmargin.space.tariff import Tariff
from dewmargin.studies.compare.option import Option
from dewmargin.studies.compare.verdict import Limits, judge

YEAR = Limits(dry_h=168.0, extra_condensation_h=24.0, season_h=5000, currency="EUR")


def option(
    name: str,
    band_h: float,
    condensation_h: float | None = 0.0,
    cost: float | None = 100.0,
    feed_l: float = 1000.0,
    dry_h: float = 0.0,
) -> Option:
    row = {
        "band_h": float(band_h),
        "dry_h": float(dry_h),
        "condensation_h": condensation_h,
        "cost": cost,
        "feed_l": float(feed_l),
    }
    rest = {f.name: None for f in fields(Option) if f.name not in ("name", "row")}
    return Option(name=name, row=row, **rest | {"notes": (), "lacking": ()})


def without(
    *, dry_h: float = 3000.0, band_h: float = 2000.0, condensation_h: float | None = 10.0
) -> Option:
    return option("no humidifier", band_h, condensation_h, 0.0, 0.0, dry_h)


def said(*options: Option, limits: Limits = YEAR) -> tuple[str | None, list[str]]:
    verdict = judge(options, limits)
    chosen = None if verdict.chosen is None else verdict.chosen.name
    return chosen, list(verdict.sentences)


BEST = (
    "Choose 'A': 4500 of 5000 heating-season hours in the comfort band (2000 without), 12 h with "
    "condensation (10 without), 1000 l of water, 100 EUR."
)
ALONE = (
    "Of the options that are accepted and help, none saves 5 % of the condensation or of the cost."
)


def test_the_runner_up_saves_and_more_condensation_would_choose_another() -> None:
    chosen, sentences = said(
        without(),
        option("A", 4500, 12.0),
        option("saves", 4290, 12.0, cost=60.0),
        option("saves more", 4200, 12.0, cost=20.0),
        option("humid", 4700, 275.0),
    )

    assert chosen == "A"
    assert sentences == [
        BEST,
        "'saves' would save 40 EUR (40 %), for 210 h fewer in the band.",
        (
            "If 265 h more condensation than without a humidifier were accepted (now 24 h), the "
            "choice would be 'humid'; if only 1 h were, no option would keep within the accepted "
            "condensation."
        ),
    ]


def test_the_runner_up_condenses_less_before_it_saves() -> None:
    chosen, sentences = said(
        without(),
        option("A", 4500, 12.0),
        option("dry", 4400, 11.0, cost=120.0),
        option("saves", 4490, 12.0, cost=60.0),
    )

    assert chosen == "A"
    assert sentences == [
        BEST,
        "'dry' would have 1 h less condensation, for 100 h fewer in the band.",
        (
            "If only 1 h more condensation than without a humidifier were accepted (now 24 h), the "
            "choice would be 'dry'."
        ),
    ]


def test_the_runner_up_as_often_in_the_band_costs_more() -> None:
    _, sentences = said(without(), option("A", 4500, 12.0), option("dry", 4500, 10.0, cost=130.4))

    assert sentences == [
        BEST,
        "'dry' would have 2 h less condensation, for 30 EUR more.",
        (
            "If only 1 h more condensation than without a humidifier were accepted (now 24 h), the "
            "choice would be 'dry'; 'dry' has as many hours in the band and would be chosen at 31 "
            "EUR less."
        ),
    ]


def test_a_saving_of_less_than_one_is_said_so() -> None:
    _, sentences = said(
        without(), option("A", 4500, 10.0, cost=2.0), option("B", 4400, 10.0, cost=1.6)
    )

    assert sentences[1] == "'B' would save under 1 EUR (20 %), for 100 h fewer in the band."


def test_the_best_in_everything_stays_so() -> None:
    # Twice as cheap, but of no help; 4 % drier and cheaper, which is not worth a sentence.
    _, sentences = said(
        without(condensation_h=200.0),
        option("A", 4500, 100.0),
        option("no use", 1990, 100.0, cost=50.0),
        option("as good", 4400, 96.0, cost=96.0),
    )

    assert sentences[1:] == [ALONE, "No other limit on condensation would change that."]


def test_the_lost_tie_is_by_water_where_a_cost_is_not_known() -> None:
    _, sentences = said(
        without(),
        option("A", 4500, 10.0, cost=None),
        option("thirsty", 4500, 10.0, feed_l=1300.0),
        option("saves", 4490, 10.0, cost=50.0, feed_l=690.0),
        limits=replace(YEAR, currency=""),
    )

    assert sentences == [
        (
            "Choose 'A': 4500 of 5000 heating-season hours in the comfort band (2000 without), "
            "10 h with condensation (10 without), 1000 l of water."
        ),
        "'saves' would save 310 l of water (31 %), for 10 h fewer in the band.",
        (
            "No other limit on condensation would change that; 'thirsty' has as many hours in the "
            "band and would be chosen at 301 l of water less."
        ),
    ]


def test_in_gallons_the_same_is_chosen_and_amounts_are_whole_gallons() -> None:
    # The case before, by hand: 1000 l are 264.2 gal, 310 l are 81.9, 300 l are 79.3.
    chosen, sentences = said(
        without(),
        option("A", 4500, 10.0, cost=None),
        option("thirsty", 4500, 10.0, feed_l=1300.0),
        option("saves", 4490, 10.0, cost=50.0, feed_l=690.0),
        limits=replace(YEAR, currency="", units="ip"),
    )

    assert chosen == "A"
    assert sentences[0].endswith("10 h with condensation (10 without), 264 gal of water.")
    assert sentences[1] == "'saves' would save 82 gal of water (31 %), for 10 h fewer in the band."
    assert sentences[2].endswith("would be chosen at 80 gal of water less.")


def test_a_cost_that_is_not_known_of_one_too_wet_does_not_matter() -> None:
    chosen, _ = said(
        without(),
        option("dear", 4500, 10.0, cost=200.0, feed_l=500.0),
        option("A", 4500, 10.0),
        option("too wet", 4600, 100.0, cost=None),
    )

    assert chosen == "A"


def test_without_condensation_the_cheaper_water_is_named() -> None:
    _, sentences = said(
        without(condensation_h=None), option("A", 4500, None), option("B", 4600, None, cost=None)
    )

    assert sentences == [
        (
            "Choose 'B': 4600 of 5000 heating-season hours in the comfort band (2000 without), "
            "condensation not examined (no surfaces given), 1000 l of water."
        ),
        "Of the options that help, none saves 5 % of the water.",
        "Whether condensation would change that is open, as no surfaces are given.",
    ]


def test_a_tie_that_could_not_be_won_for_nothing_is_not_said() -> None:
    _, sentences = said(
        without(), option("A", 4500, 10.0, cost=0.0), option("B", 4500, 10.0, cost=9.5)
    )

    assert sentences[2] == "No other limit on condensation would change that."


def test_without_accepted_condensation_none_is_said_in_words() -> None:
    _, sentences = said(
        without(),
        option("A", 4500, 11.0),
        option("B", 4400, 10.0, cost=150.0),
        option("humid", 4700, 275.0),
    )
    _, alone = said(without(), option("A", 4500, 11.0), option("B", 1000, 10.0))

    assert sentences[2] == (
        "If 265 h more condensation than without a humidifier were accepted (now 24 h), the choice "
        "would be 'humid'; if none were, the choice would be 'B'."
    )
    assert alone[2] == (
        "If no more condensation than without a humidifier were accepted (now 24 h), none would "
        "help."
    )


def test_in_a_part_of_a_year_the_limits_are_its_share() -> None:
    hours = SimpleNamespace(t_out_c=np.zeros(744), heating_season=np.ones(744, dtype=bool))
    limits = Limits.of(
        Comfort(extra_condensation_h=30.0), hours, Tariff(source="made up", currency="EUR")
    )

    chosen, sentences = said(
        without(), option("A", 4500, 10.0), option("B", 4600, 13.0), limits=limits
    )

    assert limits.season_h == 744
    assert limits.dry_h == pytest.approx(168.0 * 744 / 8760)
    # 2.5 h, of which whole hours fill two.
    assert limits.extra_condensation_h == pytest.approx(30.0 * 744 / 8760)
    assert chosen == "A"
    assert sentences[2] == (
        "If 3 h more condensation than without a humidifier were accepted (now 2 h in this part of "
        "a year), the choice would be 'B'."
    )


@pytest.mark.parametrize("n_hours", [8760, 8784])
def test_in_a_whole_year_the_limits_are_as_given(n_hours: int) -> None:
    hours = SimpleNamespace(t_out_c=np.zeros(n_hours), heating_season=np.arange(n_hours) < 5000)

    assert Limits.of(Comfort(), hours, None) == replace(YEAR, currency="")


def test_none_is_needed_until_fewer_dry_hours_are_accepted() -> None:
    chosen, sentences = said(without(dry_h=100.0, band_h=4800.0), option("A", 4890, 10.0))

    assert chosen is None
    assert sentences == [
        (
            "None needed: without a humidifier the air is too dry in 100 of 5000 heating-season "
            "hours."
        ),
        "'A' would bring 90 h more into the comfort band, for 1000 l of water, 100 EUR.",
        "If only 99 dry hours were accepted (now 168 h), the choice would be 'A'.",
    ]


@pytest.mark.parametrize(
    ("dry_h", "offered", "last"),
    [
        pytest.param(
            0, option("A", 5000, 10.0), "No limit on dry hours would change that.", id="0"
        ),
        pytest.param(
            1,
            option("A", 4000, 10.0),
            "If no dry hours were accepted (now 168 h), none would help.",
            id="of no help",
        ),
        pytest.param(
            168,
            option("A", 5000, 100.0),
            (
                "If only 167 dry hours were accepted (now 168 h), no option would keep within the "
                "accepted condensation."
            ),
            id="too wet",
        ),
    ],
)
def test_none_is_needed_and_none_would_be_chosen(dry_h: float, offered: Option, last: str) -> None:
    chosen, sentences = said(without(dry_h=dry_h, band_h=4800.0), offered)

    assert chosen is None
    assert sentences == [
        (
            f"None needed: without a humidifier the air is too dry in {dry_h} of 5000 "
            "heating-season hours."
        ),
        last,
    ]


def test_none_helps_until_more_condensation_is_accepted() -> None:
    of_no_help = (without(), option("weak", 1990, 10.0, cost=30.0))
    first = (
        (
            "None helps: no option within the accepted condensation has more than the 2000 of 5000 "
            "heating-season hours in the comfort band that there are without."
        ),
        "The best of them, 'weak', has 1990, for 1000 l of water, 30 EUR.",
    )

    assert said(*of_no_help) == (
        None,
        [*first, "However much condensation were accepted, none would help."],
    )
    assert said(*of_no_help, option("wetter", 1995, 60.0), option("humid", 3000, 110.0)) == (
        None,
        [
            *first,
            (
                "If 100 h more condensation than without a humidifier were accepted (now 24 h), "
                "the choice would be 'humid'."
            ),
        ],
    )


def test_the_nearest_is_named_where_all_are_too_wet() -> None:
    options = (
        without(),
        option("wet", 2500, 50.0),
        option("as wet and better", 3000, 50.0),
        option("wetter", 4000, 60.0),
    )

    assert said(*options) == (
        "as wet and better",
        [
            (
                "No option keeps within 24 h more condensation than without a humidifier; the "
                "nearest is 'as wet and better' with 50 h."
            ),
            (
                "It has 3000 of 5000 heating-season hours in the comfort band (2000 without), for "
                "1000 l of water, 100 EUR."
            ),
            (
                "If 40 h more condensation than without a humidifier were accepted (now 24 h), the "
                "choice would be 'as wet and better'."
            ),
        ],
    )


def test_all_too_wet_and_of_no_help_is_said() -> None:
    _, sentences = said(without(), option("wet", 1000, 50.0))

    assert sentences[2] == "However much condensation were accepted, none would help."


# What follows holds for any options: the numbers in the sentences are tried out.

NAMES = "ABCDEF"
HOURS = st.integers(0, 8)  # few values, so that ties come often


@st.composite
def problems(draw: st.DrawFn, least: int = 1) -> tuple[tuple[Option, ...], Limits]:
    costs = st.one_of(st.sampled_from([0.0, 40.0, 55.5, 100.0]), st.floats(0.0, 200.0))
    priced, examined = draw(st.booleans()), draw(st.booleans())
    others = [
        option(
            name,
            band_h=draw(HOURS),
            condensation_h=float(draw(HOURS)) if examined else None,
            cost=draw(costs if priced else st.one_of(st.none(), costs)),
            feed_l=draw(costs),
        )
        for name in NAMES[: draw(st.integers(least, len(NAMES)))]
    ]
    dry = without(
        dry_h=draw(HOURS),
        band_h=draw(HOURS),
        condensation_h=float(draw(HOURS)) if examined else None,
    )
    limits = Limits(
        dry_h=draw(st.floats(0.0, 8.0)),
        extra_condensation_h=draw(st.one_of(st.floats(0.0, 8.0), HOURS.map(float))),
        season_h=20,
        currency="EUR",
    )
    return (dry, *others), limits


def wetter_h(one: Option, other: Option) -> float:
    return (one.row["condensation_h"] or 0.0) - (other.row["condensation_h"] or 0.0)


def answer(options: tuple[Option, ...], limits: Limits) -> tuple[str, str | None]:
    """Return the kind of the verdict, its first word or two, and the option's name."""
    chosen, (first, *_) = said(*options, limits=limits)
    return re.match(r"Choose|None \w+|No option", first)[0], chosen


def foretold(clause: str) -> tuple[str, str | None]:
    """Return the answer that a clause says there would be."""
    if named := re.search(r"the choice would be '(\w)'", clause):
        return "Choose", named[1]
    kind = "None helps" if "none would help" in clause else "No option"
    assert kind == "None helps" or "no option would keep within the accepted" in clause
    return kind, None


def accepting(limits: Limits, extra_h: float) -> Limits:
    return replace(limits, extra_condensation_h=extra_h)


@given(problem=problems())
def test_the_choice_is_that_of_a_search_by_hand(problem) -> None:
    options, limits = problem
    dry, *others = (o.row for o in options)
    wet = [wetter_h(o, options[0]) for o in options[1:]]
    fit = [r for r, more in zip(others, wet, strict=True) if more <= limits.extra_condensation_h]
    most = max((r["band_h"] for r in fit), default=0.0)
    kind, name = answer(options, limits)

    if dry["dry_h"] <= limits.dry_h:
        assert (kind, name) == ("None needed", None)
    elif not fit:
        assert kind == "No option"
        assert wet[NAMES.index(name)] == min(wet)
    elif most <= dry["band_h"]:
        assert (kind, name) == ("None helps", None)
    else:
        best = others[NAMES.index(name)]
        column = "feed_l" if any(r["cost"] is None for r in fit) else "cost"
        assert kind == "Choose"
        assert best in fit
        assert best["band_h"] == most
        assert best[column] == min(r[column] for r in fit if r["band_h"] == most)


@given(problem=problems())
def test_the_accepted_condensation_that_is_named_changes_the_choice_and_none_nearer_does(
    problem,
) -> None:
    options, limits = problem
    kind, name = answer(options, limits)
    assume(kind != "None needed")
    last = said(*options, limits=limits)[1][-1]
    now = floor(limits.extra_condensation_h)
    up = re.search(r"[Ii]f (\d+) h more condensation", last)
    down = re.search(r"[Ii]f (?:only (\d+) h (?:were|more)|(?:no|none) (?:were|more))", last)
    clauses = iter(last.split(";"))

    if up:
        level = int(up[1])
        assert level > limits.extra_condensation_h
        assert answer(options, accepting(limits, level)) == foretold(next(clauses))
    if down:
        low = int(down[1] or 0)
        assert low < now
        then = answer(options, accepting(limits, low))
        expected = foretold(next(clauses))
        assert then[0] == expected[0]
        assert expected[1] is None or then[1] == expected[1]
    highest, lowest = (int(up[1]) if up else 20), (low if down else -1)
    for between in np.arange(now, highest, 0.5):
        if between >= limits.extra_condensation_h:
            then = answer(options, accepting(limits, between))
            assert then == (kind, name) or (then[0] != "Choose" and kind != "Choose")
    if kind == "Choose":
        for between in range(lowest + 1, now + 1):
            assert answer(options, accepting(limits, between)) == (kind, name)


@given(problem=problems())
def test_the_accepted_dry_hours_that_are_named_need_one_and_none_nearer_does(problem) -> None:
    options, limits = problem
    assume(answer(options, limits)[0] == "None needed")
    last = said(*options, limits=limits)[1][-1]
    named = re.match(r"If (?:only (\d+)|no) dry hours were accepted", last)

    low = int(named[1] or 0) if named else -1
    if named:
        expected = foretold(last)
        then = answer(options, replace(limits, dry_h=low))
        assert then[0] == expected[0]
        assert expected[1] is None or then[1] == expected[1]
    for between in range(low + 1, floor(limits.dry_h) + 1):
        assert answer(options, replace(limits, dry_h=between))[0] == "None needed"


@st.composite
def ties(draw: st.DrawFn) -> tuple[tuple[Option, ...], Limits]:
    """Options of which the first few are as often in the band, and none more often."""
    (dry, *others), limits = draw(problems(least=2))
    n = draw(st.integers(2, len(others)))
    dry = replace(dry, row=dry.row | {"dry_h": limits.dry_h + 1.0})
    level = {"band_h": 9.0, "condensation_h": dry.row["condensation_h"]}
    tied = [replace(o, row=o.row | level) for o in others[:n]]
    return (dry, *tied, *others[n:]), limits


@given(problem=ties())
def test_the_margin_that_is_named_wins_the_tie_and_a_smaller_one_does_not(problem) -> None:
    options, limits = problem
    chosen, sentences = said(*options, limits=limits)
    lost = re.search(r"'(\w)' has as many hours .* at (\d+) (EUR|l)", sentences[-1])
    fit = [o.row for o in options[1:] if wetter_h(o, options[0]) <= limits.extra_condensation_h]
    column = "feed_l" if any(row["cost"] is None for row in fit) else "cost"
    rows = {o.name: o.row[column] for o in options}

    def at(less: float) -> str | None:
        cheaper = [
            replace(o, row=o.row | {column: o.row[column] - less}) if o.name == lost[1] else o
            for o in options
        ]
        return said(*cheaper, limits=limits)[0]

    if lost is None:
        # Some whole number less would be less than nothing.
        second = sorted(r[column] for r in fit if r["band_h"] == 9.0)[1]
        assert floor(second - rows[chosen]) + 1 > second
        return
    margin = int(lost[2])
    assert lost[3] == ("EUR" if column == "cost" else "l")
    assert at(margin) == lost[1]
    # The whole number below does not win, unless it draws level.
    assert at(margin - 1) == chosen or rows[lost[1]] - (margin - 1) == rows[chosen]


@given(problem=problems())
def test_the_runner_up_is_better_and_as_much_as_is_said(problem) -> None:
    options, limits = problem
    chosen, sentences = said(*options, limits=limits)
    assume(sentences[0].startswith("Choose"))
    by_name = {o.name: o.row for o in options}
    dry, best = options[0].row, by_name[chosen]
    wet = {o.name: wetter_h(o, options[0]) for o in options}
    fit = {n: by_name[n] for n in by_name if wet[n] <= limits.extra_condensation_h and n in NAMES}
    column = "feed_l" if any(r["cost"] is None for r in fit.values()) else "cost"
    helpful = {n: r for n, r in fit.items() if r["band_h"] > dry["band_h"]}
    drier, cheaper = (
        {n for n, r in helpful.items() if (r[goal] or 0.0) < 0.95 * (best[goal] or 0.0)}
        for goal in ("condensation_h", column)
    )

    told = re.match(r"'(\w)' would (have|save) (?:under )?(\d+)", sentences[1])

    if told is None:
        assert not drier
        assert not cheaper
        return
    other = by_name[told[1]]
    assert told[1] in (drier or cheaper)
    assert other["band_h"] == max(by_name[n]["band_h"] for n in drier or cheaper)
    if drier:
        assert int(told[3]) == wet[chosen] - wet[told[1]]
    else:
        assert abs(int(told[3]) - (best[column] - other[column])) <= 1.0
    if fewer := re.search(r"for (\d+) h fewer", sentences[1]):
        assert int(fewer[1]) == best["band_h"] - other["band_h"]
    else:
        assert other["band_h"] == best["band_h"]
        assert other[column] > best[column]
