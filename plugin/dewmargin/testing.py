"""Contract checks of extensions, to be called in their own tests; ours call the same.

Each check asks an extension on small invented cases and raises one `ExtensionError` that names
every rule it breaks. None writes a file.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from dewmargin.case import HourlyCase
from dewmargin.contracts import Capability, OnSite, Pad, Reading, SiteAnswer, WhileWet, Words
from dewmargin.core.extensions import METHODS, SELECTORS
from dewmargin.errors import ExtensionError
from dewmargin.inputs import Inputs, unit_of
from dewmargin.reports.folder import FILE_NAME_RULE, may_be_a_file
from dewmargin.site.commissioning import SYMPTOMS
from dewmargin.solve import balance
from dewmargin.strategies.film_memory import while_wet
from dewmargin.strategies.peeking import looks_ahead
from dewmargin.studies.sheet.expected import ROOM_KEYS
from dewmargin.testing_cases import cold_weeks, feeds, small_results, works

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Equipment, Mode, Report, SpaceReader, Strategy, Work
    from dewmargin.weather.epw import Weather

    Answer = TypeVar("Answer")

# What comes after is withheld; no divisor of a day, so that all its hours are tried.
CUT_EVERY_H = 5
HELD_RH = 0.40
# Of the size of what is summed: a straight line through two points is not exact at either.
ROUNDING = 1e-9
UNCHANGED = "leave the case as it is"
SAME_TWICE = "answer the same twice"
PAD_KEYS = ("contact_frac", "effectiveness", "airflow_kg_s")
_READING_KEY = re.compile(r"[a-z][a-z0-9_]*")
_SHARES = ("_frac", "_percent")  # ends of a key that has no unit


class _Rules:
    """The rules that an extension breaks, each with what first showed it."""

    def __init__(self) -> None:
        self._broken: dict[str, str] = {}

    def require(self, kept: object, rule: str, found: str = "") -> None:
        """Note a rule unless it is kept, and what was found instead."""
        if not kept:
            self._broken.setdefault(rule, found)

    def kept(self, rule: str) -> bool:
        """Tell whether a rule is not broken so far."""
        return rule not in self._broken

    def answer(self, ask: Callable[[], Answer], what: str) -> tuple[Answer, ...]:
        """Return the one answer, the same twice; none, and a rule broken, if asking raises."""
        try:
            found = ask()
            first, second = _content(found), _content(ask())
        except Exception as error:  # noqa: BLE001 - whatever a third party raises
            told = f"{type(error).__name__}: {error}"
            self.require(kept=False, rule=f"answer {what} without an error", found=told)
            return ()
        self.require(first == second, SAME_TWICE)
        return (found,)

    def require_numbers(
        self, values: object, what: str, n: int, *, low: float = -math.inf, high: float = math.inf
    ) -> bool:
        """Require one finite number a step, in a range; return whether it is so."""
        array = np.asarray(values)
        if array.dtype.kind not in "iuf" or array.shape != (n,):
            found = f"{array.dtype} of shape {array.shape} for {n}"
            self.require(kept=False, rule=f"give {what} as one number a step", found=found)
            return False
        bad = ~np.isfinite(array)
        self.require(not bad.any(), f"give {what} as finite numbers", _first(array, bad))
        outside = (array < low) | (array > high)
        bounds = f"from {low:g} to {high:g}" if math.isfinite(high) else f"of at least {low:g}"
        self.require(not outside.any(), f"give {what} {bounds}", _first(array, outside))
        return not (bad | outside).any()

    def raise_for(self, extension: object) -> None:
        """Raise an error that names all rules broken, if there are any."""
        if self._broken:
            told = [f"{rule} ({found})" if found else rule for rule, found in self._broken.items()]
            raise ExtensionError(f"must {'; must '.join(told)}", where=type(extension).__name__)


def _first(values: np.ndarray[Any, Any], bad: np.ndarray[Any, Any]) -> str:
    """Return the first of the bad values, with its step."""
    if not bad.any():
        return ""
    step = int(np.argmax(bad))
    return f"{values[step]:g} in step {step}"


def check_strategy(strategy: Strategy, *cases: HourlyCase) -> None:
    """Raise unless a strategy keeps the rules of its contract.

    Parameters
    ----------
    strategy : Strategy
        An object of the class, as a scenario would make it.
    *cases : HourlyCase
        Cases to ask it on, if not `testing_cases.cold_weeks`, whose surfaces are called glass and
        frame.

    Raises
    ------
    ExtensionError
        If it has no name, key or horizon; its set-points are not one finite fraction a step, differ
        when asked again or look further ahead than its horizon; or it changes the case.
    """
    rules = _Rules()
    _require_input(rules, strategy, "strategy")
    horizon_h = getattr(strategy, "horizon_h", None)
    foresees = isinstance(horizon_h, (int, float)) and 0.0 <= horizon_h < math.inf
    rules.require(foresees, "have a horizon_h of 0 or more hours", f"{horizon_h!r}")
    for case in cases or cold_weeks():
        before = _content(case)
        wet = next(iter(rules.answer(partial(while_wet, strategy, case), "while_wet")), None)
        for rh_set in rules.answer(partial(strategy.setpoint, case), "setpoint"):
            good = rules.require_numbers(rh_set, "set-points", case.n_steps, low=0.0, high=1.0)
            good &= wet is None or _require_while_wet(rules, wet, case)
            if good and foresees and rules.kept(SAME_TWICE):
                _require_no_peeking(rules, strategy, case, rh_set, wet)
        rules.require(_content(case) == before, UNCHANGED)
    rules.raise_for(strategy)


def _require_no_peeking(
    rules: _Rules, strategy: Strategy, case: HourlyCase, rh_set: FloatArray, wet: WhileWet | None
) -> None:
    cuts = range(CUT_EVERY_H, case.n_hours, CUT_EVERY_H)

    def ahead() -> bool:
        return any(looks_ahead(strategy, case, rh_set, wet, hours=hours) for hours in cuts)

    rule = f"look no further ahead than its horizon_h of {strategy.horizon_h:g}"
    for looks in rules.answer(ahead, "setpoint on the first part of a case"):
        rules.require(not looks, rule)


def _require_while_wet(rules: _Rules, wet: object, case: HourlyCase) -> bool:
    if not isinstance(wet, WhileWet):
        kind = type(wet).__name__
        rules.require(kept=False, rule="answer while_wet with a WhileWet or None", found=kind)
        return False
    good = rules.require_numbers(
        wet.rh_frac, "set-points while wet", case.n_steps, low=0.0, high=1.0
    )
    unknown = set(wet.surfaces) - {surface.name for surface in case.surfaces}
    rules.require(not unknown, "name surfaces of the case", ", ".join(sorted(unknown)))
    rules.require(wet.above_g_m2 >= 0.0, "have above_g_m2 of at least 0", f"{wet.above_g_m2:g}")
    return good and not unknown


def check_equipment(equipment: Equipment, *cases: HourlyCase) -> None:
    """Raise unless an equipment keeps the rules of its contract.

    It is asked on cold feed and on hot feed through a line, with and without a known demand; and,
    if it is `OnSite` or a `Pad` too, what it says for the site.

    Parameters
    ----------
    equipment : Equipment
        An object of the class, as a scenario would make it.
    *cases : HourlyCase
        Cases to ask it on, if not `testing_cases.cold_weeks`.

    Raises
    ------
    ExtensionError
        If it has no name or key; its capability has wrong shapes, fractions outside 0 to 1 or, at
        the two humidities asked for, a negative rate or use, or a feed less than what evaporates;
        it differs when asked again; or it changes the case or the feed. If its answer for the site
        is not made as `SiteAnswer` says, has an empty text or a reading without unit, or other
        numbers in other units.
    """
    rules = _Rules()
    _require_input(rules, equipment, "equipment")
    if isinstance(equipment, OnSite):
        for work in (None, *works()):
            _require_on_site(rules, equipment, work)
    if isinstance(equipment, Pad):
        _require_pad(rules, equipment)
    for case in cases or cold_weeks():
        rh_set = np.full(case.n_steps, HELD_RH)
        w_base = np.repeat(balance.baseline(case).w_kg_kg, case.steps_per_hour)
        w_set = balance.setpoint_humidity_ratio(case, rh_set)
        demand = np.repeat(balance.demand(case, rh_set).added_kg / 3600.0, case.steps_per_hour)
        for feed in feeds(case.n_steps):
            for demand_kg_s, what in ((demand, "capability"), (None, "capability without demand")):
                given = (case, feed, w_base, w_set, demand_kg_s)
                before = _content(given)
                ask = partial(
                    equipment.capability,
                    case,
                    feed,
                    w_base_kg_kg=w_base,
                    w_set_kg_kg=w_set,
                    demand_kg_s=demand_kg_s,
                )
                for found in rules.answer(ask, what):
                    _require_capable(rules, found, w_base, w_set)
                rules.require(_content(given) == before, UNCHANGED)
    rules.raise_for(equipment)


def _require_capable(
    rules: _Rules, found: object, w_base_kg_kg: FloatArray, w_set_kg_kg: FloatArray
) -> None:
    if not isinstance(found, Capability):
        kind = type(found).__name__
        rules.require(kept=False, rule="answer with a Capability", found=kind)
        return
    n = w_base_kg_kg.size
    runs = rules.require_numbers(found.heat_frac, "heat_frac", n, low=0.0, high=1.0)
    share = found.added_share
    share = np.full(n, share) if np.ndim(share) == 0 else share
    runs &= rules.require_numbers(share, "added_share", n, low=0.0, high=1.0)
    rest = found.resting_heat_w
    for name, value in (
        ("standby_w", found.standby_w),
        ("resting_feed_kg_s", found.resting_feed_kg_s),
        ("resting_heat_w", rest if np.ndim(rest) == 0 else np.min(rest)),
    ):
        rules.require(not float(value) < 0.0, f"have {name} of at least 0", f"{value:g}")
    if found.hot is not None:
        is_flag = np.asarray(found.hot).dtype == bool and np.shape(found.hot) == (n,)
        rules.require(is_flag, "give hot as one truth a step")
    if not runs:
        return
    wanted = w_set_kg_kg >= 0.0
    _require_mode(
        rules, found.heat, "heat", wanted & (found.heat_frac > 0.0), w_base_kg_kg, w_set_kg_kg
    )
    if found.added is not None:
        beside = wanted & (found.heat_frac < 1.0) & (np.asarray(share) > 0.0)
        _require_mode(rules, found.added, "added", beside, w_base_kg_kg, w_set_kg_kg)


def _require_mode(
    rules: _Rules,
    mode: Mode,
    name: str,
    runs: np.ndarray[Any, Any],
    w_base_kg_kg: FloatArray,
    w_set_kg_kg: FloatArray,
) -> None:
    """Require of a mode that what it gives and takes has a meaning at both ends of its line."""
    n = runs.size
    good = [
        rules.require_numbers(getattr(mode, each), f"{name}.{each}", n)
        for each in ("r0_kg_s", "r1_kg_s")
    ]
    for use in ("feed", "feed_heat", "fan", "electricity", "fuel", "brought"):
        for each in ("per_s", "per_kg"):
            shape = np.shape(getattr(getattr(mode, use), each))
            fits = shape in ((), (n,))
            rules.require(fits, f"give {name}.{use}.{each} as one number or one a step", f"{shape}")
            good.append(fits)
    if not all(good) or not runs.any():
        return
    for w in (w_base_kg_kg, w_set_kg_kg):
        rate = mode.r0_kg_s - mode.r1_kg_s * w
        slack = ROUNDING * (np.abs(mode.r0_kg_s) + np.abs(mode.r1_kg_s * w))
        low = runs & (rate < -slack)
        rules.require(not low.any(), f"give a {name} rate of at least 0", _first(rate, low))
        rate = np.maximum(rate, 0.0)
        feed = mode.feed.per_s + mode.feed.per_kg * rate
        short = runs & ~(feed >= rate - slack - ROUNDING * np.abs(mode.feed.per_s))
        rules.require(
            not short.any(),
            f"feed at least what evaporates ({name})",
            _first(np.broadcast_to(feed, n), short),
        )
        for use in ("feed_heat", "fan", "electricity", "fuel"):
            taken = getattr(mode, use)
            amount = np.broadcast_to(taken.per_s + taken.per_kg * rate, n)
            size = np.abs(taken.per_s) + np.abs(taken.per_kg * rate)
            less = runs & (amount < -ROUNDING * size)
            rules.require(not less.any(), f"use at least 0 ({name}.{use})", _first(amount, less))


def _require_on_site(rules: _Rules, equipment: OnSite, work: Work | None) -> None:
    numbers = []
    for words in (Words("si"), Words("ip")):
        for found in rules.answer(partial(equipment.on_site, work, words), "on_site"):
            if not isinstance(found, SiteAnswer):
                kind = type(found).__name__
                rules.require(kept=False, rule="answer on_site with a SiteAnswer", found=kind)
            elif _require_answer(rules, found):
                told = tuple((each.key, each.value, each.off) for each in found.readings)
                numbers.append(told)
                rules.require(work is not None or not told, "read nothing while it does not run")
    rules.require(len(set(numbers)) <= 1, "give the same numbers to readers of all units")


def _require_answer(rules: _Rules, found: SiteAnswer) -> bool:
    """Require that an answer is made as it should; return whether its readings can be compared."""
    for name in ("water", "fit", "cautions"):
        _require_all(rules, getattr(found, name), f"give {name} as a tuple of sentences", _is_text)
    rules.require(isinstance(found.placed, str), "give placed as a text", repr(found.placed))
    drain = found.drain is None or isinstance(found.drain, str)
    rules.require(drain, "give drain as a text or None", repr(found.drain))
    rules.require(isinstance(found.runs_on, bool), "give runs_on as a truth", repr(found.runs_on))
    pa: object = found.plenums_pa
    fits = pa is None or (isinstance(pa, (int, float)) and (math.isnan(pa) or 0.0 <= pa < math.inf))
    rules.require(fits, "give plenums_pa of at least 0, NaN or None", repr(pa))
    rule = "give symptoms as a tuple of known keys and of three texts"
    _require_all(rules, found.symptoms, rule, _is_symptom)
    rule = "give readings as a tuple of Reading"
    if not _require_all(rules, found.readings, rule, lambda each: isinstance(each, Reading)):
        return False
    good = [_require_reading(rules, each) for each in found.readings]
    keys = [repr(each.key) for each in found.readings]
    twice = next((key for key in keys if keys.count(key) > 1), "")
    rules.require(not twice, "give each reading a key of its own", twice)
    return all(good)


def _require_all(rules: _Rules, values: object, rule: str, holds: Callable[[object], bool]) -> bool:
    """Require a tuple of which something holds for each; return whether it is so."""
    bad = [each for each in values if not holds(each)] if isinstance(values, tuple) else [values]
    rules.require(not bad, rule, repr(bad[0]) if bad else "")
    return not bad


def _is_text(value: object) -> bool:
    return isinstance(value, str) and value.strip() != ""


def _is_symptom(value: object) -> bool:
    if isinstance(value, str):
        return value in SYMPTOMS
    return (
        isinstance(value, tuple)
        and len(value) == len(SYMPTOMS["rh_low"])
        and all(map(_is_text, value))
    )


def _is_reading_key(value: object) -> bool:
    if not isinstance(value, str) or _READING_KEY.fullmatch(value) is None:
        return False
    return unit_of(value) is not None or value.endswith(_SHARES)


def _require_reading(rules: _Rules, reading: Reading) -> bool:
    told = repr(reading.key)
    named = _is_reading_key(reading.key)
    rules.require(named, "end the key of a reading in its unit", told)
    free = not named or reading.key not in ROOM_KEYS
    rules.require(free, "leave the readings of room and circuit alone", told)
    for name in ("what", "how", "text", "tolerance"):
        rules.require(_is_text(getattr(reading, name)), f"say {name} of a reading", told)
    numbers = [isinstance(each, (int, float)) for each in (reading.value, reading.off)]
    good = all(numbers) and math.isfinite(reading.value) and 0.0 <= reading.off < math.inf
    found = f"{told}: {reading.value!r} ± {reading.off!r}"
    rules.require(good, "give a reading as a finite number and by how much it may be off", found)
    return named and good


def _require_pad(rules: _Rules, equipment: Pad) -> None:
    keys = getattr(type(equipment), "model_fields", {})
    put_in = (*PAD_KEYS, "feed_ratio" if equipment.feed_kg_h is None else "feed_kg_h")
    lacks = ", ".join(key for key in put_in if key not in keys)
    rules.require(not lacks, "have the keys of a pad", lacks)
    others = {name for key in put_in for name in equipment.told_by(key)}
    unknown = ", ".join(sorted(others - set(keys)))
    rules.require(not unknown, "name keys of its own in told_by", unknown)
    for work in works():
        feed_kg_h = equipment.feed_kg_h or work.feed_kg_h
        ask = partial(equipment.at_once, work.t_in_c, work.w_kg_kg, work.p_pa, feed_kg_h)
        for airflow_kg_s, effectiveness in rules.answer(ask, "at_once"):
            rules.require(0.0 < airflow_kg_s < math.inf, "have an airflow", f"{airflow_kg_s:g}")
            good = 0.0 < effectiveness <= 1.0
            rules.require(good, "have an effectiveness from 0 to 1", f"{effectiveness:g}")
        for wetted in rules.answer(partial(equipment.wetted_frac, feed_kg_h), "wetted_frac"):
            rules.require(0.0 < wetted <= 1.0, "give wetted_frac from 0 to 1", f"{wetted:g}")


def check_reader(reader: SpaceReader, *, folder: Path, weather: Weather | None = None) -> None:
    """Raise unless a space reader keeps the rules of its contract.

    Parameters
    ----------
    reader : SpaceReader
        An object of the class, as a scenario would make it.
    folder : Path
        Where its relative paths start.
    weather : Weather or None
        What `dewmargin.read_epw` returned, if it needs weather.

    Raises
    ------
    ExtensionError
        If it returns no `HourlyCase`, another when asked again, or names files that do not exist.
    """
    rules = _Rules()
    _require_input(rules, reader, "reader")
    before = _content(weather)
    case: object
    for case in rules.answer(partial(reader.case, weather=weather, folder=folder), "case"):
        is_case = isinstance(case, HourlyCase)
        rules.require(is_case, "answer with an HourlyCase", type(case).__name__)
    rules.require(_content(weather) == before, "leave the weather as it is")
    for files in rules.answer(partial(reader.files, folder), "files"):
        for path in files:
            rules.require(_is_file(path), "name files that exist, as paths", repr(str(path)))
    rules.raise_for(reader)


def _is_file(path: object) -> bool:
    return isinstance(path, Path) and path.is_file()


def check_report(report: Report) -> None:
    """Raise unless a report keeps the rules of its contract.

    It is asked for the files of a small comparison; nothing is written.

    Parameters
    ----------
    report : Report
        An object of the class, as a scenario would make it.

    Raises
    ------
    ExtensionError
        If it has no key; a name cannot be one of a file or is that of our own reports; a content is
        not bytes, or not the same when asked again; or it changes what it is given.
    """
    rules = _Rules()
    _require_input(rules, report, "report")
    results = small_results()
    tables, about = results.tables(), results.about()
    taken = {
        name
        for own in results.scenario.writers()
        if type(own) is not type(report)
        for name in own.files(tables, about)
    }
    before = _content((tables, about))
    for files in rules.answer(partial(report.files, tables, about), "files"):
        _require_files(rules, files, taken)
    rules.require(_content((tables, about)) == before, "leave the results as they are")
    rules.raise_for(report)


def _require_files(rules: _Rules, files: object, taken: set[str]) -> None:
    if not isinstance(files, Mapping):
        kind = type(files).__name__
        rules.require(kept=False, rule="answer with contents by file name", found=kind)
        return
    rules.require(files, "make a file")
    for name, content in files.items():
        rules.require(may_be_a_file(name), f"name a file in {FILE_NAME_RULE}", repr(name))
        rules.require(name not in taken, "leave the names of our own files alone", repr(name))
        kind = type(content).__name__
        rules.require(isinstance(content, bytes), "make files of bytes", f"{name!r}: {kind}")


def _require_input(rules: _Rules, extension: object, kind: str) -> None:
    """Require what a scenario needs, to make the object from one of its tables."""
    rules.require(isinstance(extension, Inputs), "derive from dewmargin.inputs.Inputs")
    if not callable(getattr(extension, METHODS[kind], None)):
        rules.require(kept=False, rule=f"have a method {METHODS[kind]}")
        rules.raise_for(extension)  # nothing else can be asked
    keys = getattr(type(extension), "model_fields", {})
    if kind in SELECTORS:
        rules.require(SELECTORS[kind] in keys, f"have the key {SELECTORS[kind]}")
    if kind in ("strategy", "equipment"):
        name = getattr(extension, "name", None)
        rules.require(isinstance(name, str) and name.strip(), "have a name", f"{name!r}")


def _content(thing: object) -> object:
    """Return what something holds, so that two of them can be compared, NaN and all."""
    if isinstance(thing, np.ndarray):
        return (thing.dtype.str, thing.shape, thing.tobytes())
    if is_dataclass(thing):
        return tuple(_content(getattr(thing, f.name)) for f in fields(thing) if f.compare)
    if isinstance(thing, Mapping):
        return tuple((key, _content(value)) for key, value in thing.items())
    if isinstance(thing, (list, tuple)):
        return tuple(map(_content, thing))
    return repr(thing)
