"""Which option to choose, and two or three sentences that say so.

The goals, in their order: hours in the comfort band among the options within the accepted extra
condensation; then condensation; then cost, or water where a cost is not known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Generic, Literal, TypeVar

import numpy as np

from dewmargin import columns
from dewmargin.core.display import Shown, shown
from dewmargin.studies.compare.option import Rated, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.scenario import Comfort
    from dewmargin.solve.hours import YearHours
    from dewmargin.space.tariff import Tariff
    from dewmargin.units import Units

R = TypeVar("R", bound=Rated)

YEAR_H = 8760
MORE = "more condensation than without a humidifier"
WHAT = {"cost": "cost", "feed_l": "water"}
WORTH_FRAC = 0.05  # of condensation, cost or water, that is worth a sentence; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What is accepted in a record, and what its sentences need beside the options.

    `dry_h` are heating-season hours that need no humidifier, `extra_condensation_h` those beyond
    the ones without humidifier. [h] `units` are those of the sentences.
    """

    dry_h: float
    extra_condensation_h: float
    season_h: int
    whole_year: bool = True
    currency: str = ""
    units: Units = "si"

    @classmethod
    def of(cls, comfort: Comfort, hours: YearHours, tariff: Tariff | None) -> Limits:
        """Return the limits of a year, by the length of the record."""
        share = min(hours.t_out_c.size / YEAR_H, 1.0)
        return cls(
            dry_h=share * comfort.accepted_dry_h,
            extra_condensation_h=share * comfort.extra_condensation_h,
            season_h=int(np.count_nonzero(hours.heating_season)),
            whole_year=share == 1.0,
            currency="" if tariff is None else tariff.currency,
        )

    def amount_of(self, taken: str) -> Shown:
        """Return how money or water stands in a sentence."""
        column = next(column for column in columns.COMPARISON if column.name == taken)
        of = shown(column, units=self.units, currency=self.currency)
        return of if taken == "cost" else replace(of, unit=f"{of.unit} of water")

    def now(self, limit_h: float) -> str:
        """Return a limit as it stands; hours are whole, so that a part of one counts for none."""
        return f"now {math.floor(limit_h)} h{'' if self.whole_year else ' in this part of a year'}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict(Generic[R]):
    """The option to choose, None where none is needed or helps, and the sentences."""

    chosen: R | None
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Choice(Generic[R]):
    """What is best where a humidifier is needed.

    `option` is the one to choose, of no help the best, or of those all too wet the nearest; `taken`
    is the column of what it takes.
    """

    kind: Literal["chosen", "no help", "too wet"]
    option: R
    fit: tuple[R, ...]
    taken: str

    def outcome(self) -> str:
        if self.kind == "chosen":
            return f"the choice would be {self.option.name!r}"
        if self.kind == "no help":
            return "none would help"
        return "no option would keep within the accepted condensation"


def judge(options: Sequence[R], limits: Limits) -> Verdict[R]:
    """Choose among options, the first of which is the baseline.

    Of the options whose condensation hours exceed those without humidifier by at most the accepted
    number, the one with the most hours in the comfort band. The least cost decides a tie, or the
    least feed where a cost is not known, then the least condensation.

    The first sentence says which. The second says what it costs in the next goal in which another
    option is better, against the one of those with the most hours in the band: of the options that
    are accepted and have more such hours than without humidifier, those that save a twentieth of
    the condensation hours, otherwise those that save a twentieth of the cost (or water). The third
    says what would change the choice: the nearest whole number of accepted hours, and the margin of
    one that lost a tie.
    """
    dry, *others = options
    choice = _choose(dry, others, limits.extra_condensation_h)
    if number(dry, "dry_h") <= limits.dry_h:
        return Verdict(chosen=None, sentences=_none_needed(dry, choice, limits))
    if choice.kind == "chosen":
        sentences = (
            _first(dry, choice, limits),
            _second(dry, choice, limits),
            _third(dry, others, choice, limits),
        )
        return Verdict(chosen=choice.option, sentences=sentences)
    more = _with_more(dry, others, choice, limits.extra_condensation_h)
    last = "However much condensation were accepted, none would help."
    if more is not None:
        last = _sentence(f"{_if(more[0], limits)}, {more[1].outcome()}")
    if choice.kind == "no help":
        return Verdict(chosen=None, sentences=(*_no_help(dry, choice, limits), last))
    return Verdict(chosen=choice.option, sentences=(*_too_wet(dry, choice, limits), last))


def preferred(options: Sequence[R], limits: Limits) -> R | None:
    """Return the option that `judge` would choose.

    None where none is needed, none helps, or none keeps within the accepted condensation.
    """
    dry, *others = options
    if number(dry, "dry_h") <= limits.dry_h:
        return None
    choice = _choose(dry, others, limits.extra_condensation_h)
    return choice.option if choice.kind == "chosen" else None


def _choose(dry: R, others: Sequence[R], extra_h: float) -> _Choice[R]:
    fit = tuple(o for o in others if _extra_h(o, dry) <= extra_h)
    taken = "cost" if all(o.row["cost"] is not None for o in fit or others) else "feed_l"
    if not fit:
        nearest = min(
            others,
            key=lambda o: (number(o, "condensation_h"), -number(o, "band_h"), number(o, taken)),
        )
        return _Choice(kind="too wet", option=nearest, fit=fit, taken=taken)
    best = _best(fit, taken)
    helps = number(best, "band_h") > number(dry, "band_h")
    return _Choice(kind="chosen" if helps else "no help", option=best, fit=fit, taken=taken)


def _best(options: Sequence[R], taken: str) -> R:
    return min(
        options, key=lambda o: (-number(o, "band_h"), number(o, taken), number(o, "condensation_h"))
    )


def _extra_h(option: R, dry: R) -> int:
    return int(number(option, "condensation_h") - number(dry, "condensation_h"))


def _with_more(
    dry: R, others: Sequence[R], now: _Choice[R], extra_h: float
) -> tuple[int, _Choice[R]] | None:
    """Return from how many accepted hours on another option is chosen, and which."""
    for level in sorted({h for o in others if (h := _extra_h(o, dry)) > extra_h}):
        then = _choose(dry, others, level)
        if then.kind == "chosen" and (now.kind != "chosen" or then.option is not now.option):
            return level, then
    return None


def _with_less(
    dry: R, others: Sequence[R], now: _Choice[R], extra_h: float
) -> tuple[int, _Choice[R]] | None:
    """Return down from how many accepted hours a chosen option no longer is, and what then."""
    levels = {h for o in others if 0 < (h := _extra_h(o, dry)) <= extra_h}
    for level in sorted(levels, reverse=True):
        then = _choose(dry, others, level - 1)
        if then.kind != "chosen" or then.option is not now.option:
            return level - 1, then
    return None


def _none_needed(dry: R, choice: _Choice[R], limits: Limits) -> tuple[str, ...]:
    dry_h = number(dry, "dry_h")
    first = (
        f"None needed: without a humidifier the air is too dry in {dry_h:.0f} of "
        f"{limits.season_h} heating-season hours."
    )
    if dry_h == 0.0:
        return first, "No limit on dry hours would change that."
    only = f"only {dry_h - 1.0:.0f}" if dry_h > 1.0 else "no"
    last = f"If {only} dry hours were accepted ({limits.now(limits.dry_h)}), {choice.outcome()}."
    if choice.kind != "chosen":
        return first, last
    brought_h = number(choice.option, "band_h") - number(dry, "band_h")
    second = (
        f"{choice.option.name!r} would bring {brought_h:.0f} h more into the comfort band, for "
        f"{_takes(choice, limits)}."
    )
    return first, second, last


def _too_wet(dry: R, choice: _Choice[R], limits: Limits) -> tuple[str, ...]:
    nearest = choice.option
    return (
        (
            f"No option keeps within {math.floor(limits.extra_condensation_h)} h {MORE}; the "
            f"nearest is {nearest.name!r} with {number(nearest, 'condensation_h'):.0f} h."
        ),
        f"It has {_band(dry, nearest, limits)}, for {_takes(choice, limits)}.",
    )


def _no_help(dry: R, choice: _Choice[R], limits: Limits) -> tuple[str, ...]:
    return (
        (
            "None helps: no option within the accepted condensation has more than the "
            f"{number(dry, 'band_h'):.0f} of {limits.season_h} heating-season hours in the comfort "
            "band that there are without."
        ),
        (
            f"The best of them, {choice.option.name!r}, has {number(choice.option, 'band_h'):.0f}, "
            f"for {_takes(choice, limits)}."
        ),
    )


def _first(dry: R, choice: _Choice[R], limits: Limits) -> str:
    best = choice.option
    condensation = "condensation not examined (no surfaces given)"
    if _examined(dry):
        condensation = (
            f"{number(best, 'condensation_h'):.0f} h with condensation "
            f"({number(dry, 'condensation_h'):.0f} without)"
        )
    return (
        f"Choose {best.name!r}: {_band(dry, best, limits)}, {condensation}, "
        f"{_takes(choice, limits)}."
    )


def _second(dry: R, choice: _Choice[R], limits: Limits) -> str:
    best, taken = choice.option, choice.taken
    helpful = [o for o in choice.fit if number(o, "band_h") > number(dry, "band_h")]
    drier, cheaper = (
        [o for o in helpful if number(o, goal) < (1.0 - WORTH_FRAC) * number(best, goal)]
        for goal in ("condensation_h", taken)
    )
    if not drier and not cheaper:
        of_all = "are accepted and help" if _examined(dry) else "help"
        goals = [*(["condensation"] if _examined(dry) else []), WHAT[taken]]
        saves = " or of ".join(f"the {goal}" for goal in goals)
        return f"Of the options that {of_all}, none saves {100.0 * WORTH_FRAC:.0f} % of {saves}."
    other = _best(drier or cheaper, taken)
    saved = number(best, taken) - number(other, taken)
    amount = float(limits.amount_of(taken).of(saved))
    lost_h = number(best, "band_h") - number(other, "band_h")
    if drier:
        gain = f"have {_extra_h(best, other)} h less condensation"
    else:
        share = 100.0 * saved / number(best, taken)
        gain = f"save {_amount(amount, taken, limits)} ({share:.0f} %)"
    loss = (
        f"{lost_h:.0f} h fewer in the band" if lost_h else f"{_amount(-amount, taken, limits)} more"
    )
    return f"{other.name!r} would {gain}, for {loss}."


def _third(dry: R, others: Sequence[R], choice: _Choice[R], limits: Limits) -> str:
    extra_h = limits.extra_condensation_h
    more = _with_more(dry, others, choice, extra_h)
    less = _with_less(dry, others, choice, extra_h)
    clauses = []
    if more is not None:
        clauses.append(f"{_if(more[0], limits)}, {more[1].outcome()}")
    if less is not None and more is not None:
        clauses.append(f"if {f'only {less[0]} h' if less[0] else 'none'} were, {less[1].outcome()}")
    elif less is not None:
        clauses.append(f"{_if(less[0], limits, fewer=True)}, {less[1].outcome()}")
    if not clauses:
        clauses.append(
            "no other limit on condensation would change that"
            if _examined(dry)
            else "whether condensation would change that is open, as no surfaces are given"
        )
    return _sentence("; ".join([*clauses, *_lost_tie(choice, limits)]))


def _lost_tie(choice: _Choice[R], limits: Limits) -> list[str]:
    """Return by how much less the next of those with as many hours would have been chosen."""
    best, taken = choice.option, choice.taken
    band_h = number(best, "band_h")
    tied = [o for o in choice.fit if o is not best and number(o, "band_h") == band_h]
    if not tied:
        return []
    other = _best(tied, taken)
    theirs, ours = (float(limits.amount_of(taken).of(number(o, taken))) for o in (other, best))
    margin = math.floor(theirs - ours) + 1
    if margin > theirs:
        return []  # not even for nothing
    less = f"{_amount(margin, taken, limits)} less"
    return [f"{other.name!r} has as many hours in the band and would be chosen at {less}"]


def _if(accepted_h: int, limits: Limits, *, fewer: bool = False) -> str:
    much = f"{'only ' if fewer else ''}{accepted_h} h" if accepted_h else "no"
    return f"if {much} {MORE} were accepted ({limits.now(limits.extra_condensation_h)})"


def _band(dry: R, option: R, limits: Limits) -> str:
    return (
        f"{number(option, 'band_h'):.0f} of {limits.season_h} heating-season hours in the comfort "
        f"band ({number(dry, 'band_h'):.0f} without)"
    )


def _takes(choice: _Choice[R], limits: Limits) -> str:
    taken = ("feed_l", "cost") if choice.taken == "cost" else ("feed_l",)
    return ", ".join(
        _words(float(limits.amount_of(name).of(number(choice.option, name))), name, limits)
        for name in taken
    )


def _examined(dry: R) -> bool:
    return dry.row["condensation_h"] is not None


def _words(amount: float, taken: str, limits: Limits) -> str:
    """Return an amount, as it is shown, with its unit."""
    return f"{amount:.0f} {limits.amount_of(taken).unit}"


def _amount(amount: float, taken: str, limits: Limits) -> str:
    return _words(amount, taken, limits) if amount >= 1.0 else f"under {_words(1.0, taken, limits)}"


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."
