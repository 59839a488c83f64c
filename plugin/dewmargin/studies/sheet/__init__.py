"""One page for the site: what to fit, what to set, what to measure, what to watch."""

from __future__ import annotations

import textwrap
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.contracts import Words
from dewmargin.core.checks import require_between
from dewmargin.errors import InputError
from dewmargin.reports.page.templates import render
from dewmargin.site import commissioning
from dewmargin.site.finding import CAUTIONS, OF_A_BYPASS
from dewmargin.strategies.modified import Modified
from dewmargin.studies.compare.tables import SETTING_STEP_K
from dewmargin.studies.sheet import expected, settings
from dewmargin.studies.sheet.device import OF_ALL, answer_of
from dewmargin.studies.sheet.fit import to_fit
from dewmargin.studies.sheet.words import inputs_told

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dewmargin.contracts import Equipment, Reading, SiteAnswer, Symptom
    from dewmargin.equipment.supply import Supply
    from dewmargin.studies.compare.comparison import Comparison
    from dewmargin.studies.compare.option import Option
    from dewmargin.units import Units

OUTDOOR_C = (-90.0, 60.0)  # what a person may type in
MOST_NOTES, MOST_ROWS = 2, 10  # on the page; all of them stand in the text
MOST_FACES = 3  # of today, those that sweat first
_WIDTH = 72  # of the text: a terminal, or a phone held across


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The page's contents.

    Attributes
    ----------
    title, option : str
        Scenario and option.
    assumed, fit, notes, cautions : tuple of str
        Sentences.
    settings : tuple of dict
        Rows of the results' `settings`, of the option's strategy, with limits as the controller's
        sensor shows them, and `above_limit`: a surface sweats at that setting.
    today : dict or None
        The same row and what each surface bears, at the outdoor temperature typed in.
    at_c : float
        Outdoor temperature that `expected` is for. [°C]
    expected : tuple of Reading
    symptoms : tuple of (symptom, cause, action)
    """

    title: str
    option: str
    assumed: tuple[str, ...]
    fit: tuple[str, ...]
    settings: tuple[dict[str, Any], ...]
    today: dict[str, Any] | None
    at_c: float
    expected: tuple[Reading, ...]
    symptoms: tuple[tuple[str, str, str], ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]

    def __repr__(self) -> str:
        """Return title, option and extent in two lines; `text` has all of it."""
        return (
            f"<Sheet {self.title!r}: {len(self.settings)} settings, {len(self.expected)} "
            f"measurements\n {self.option}>"
        )

    def document(self) -> dict[str, Any]:
        """Return all of it as plain values, for JSON."""
        return asdict(self)

    def text(self) -> list[str]:
        """Return lines for a terminal or a phone."""
        lines = [self.title, self.option, *self._section("Assumed", self.assumed)]
        lines += self._section("Fit", self.fit)
        lines += ["", "Set: relative humidity by outdoor temperature"]
        lines += [line for row in self.settings for line in _wrapped(_setting(row))]
        if self.today is not None:
            lines += ["", f"Today, {Words.both(self.today['t_out_c'])} outdoors"]
            lines += [f"  {each}" for each in self.today_lines()]
        lines += ["", f"Measure, at about {Words.both(self.at_c)} outdoors"]
        for each in self.expected:
            lines += _wrapped(f"{each.what}: {each.text} ({each.tolerance})")
            lines += _wrapped(each.how, "    ")
        lines += ["", "Watch"]
        for symptom, cause, action in self.symptoms:
            lines += _wrapped(symptom) + _wrapped(f"likely: {cause}", "    ")
            lines += _wrapped(f"do: {action}", "    ")
        return lines + self._section("Notes", self.notes) + self._section("Care", self.cautions)

    @property
    def rows_on_page(self) -> tuple[dict[str, Any], ...]:
        """Rows of `settings` that fit on the page: in a cold climate every second."""
        if len(self.settings) <= MOST_ROWS:
            return self.settings
        return tuple(row for row in self.settings if row["t_out_c"] % (2.0 * SETTING_STEP_K) == 0.0)

    def today_lines(self) -> list[str]:
        """Return what is to be set today, and at what humidity which surface sweats."""
        if self.today is None:
            return []
        limits = sorted(self.today["limits"], key=lambda each: float(each["rh_max_frac"]))
        return [f"set {self.today['rh_set_percent']} %"] + [
            f"{each['surface']}: sweats above {each['rh_max_percent']} %" for each in limits
        ]

    def html(self) -> bytes:
        """Return the page, which prints on one side of A4 or Letter."""
        return render(
            "sheet.html.j2",
            sheet=self,
            both=Words.both,
            most_notes=MOST_NOTES,
            most_today=1 + MOST_FACES,
        ).encode()

    @staticmethod
    def _section(head: str, sentences: tuple[str, ...]) -> list[str]:
        if not sentences:
            return []
        return ["", head, *(line for each in sentences for line in _wrapped(each))]


def _wrapped(sentence: str, indent: str = "  ") -> list[str]:
    return textwrap.wrap(
        sentence, _WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  "
    ) or [indent]


def _setting(row: dict[str, Any]) -> str:
    limit = (
        ""
        if row["limiting_surface"] is None
        else f"   ({row['limiting_surface']} sweats above {row['rh_limit_percent']} %)"
    )
    mark = "!" if row["above_limit"] else ""
    at = f"{row['t_out_c']:4.0f} °C {row['t_out_f']:4.0f} °F"
    return f"{at}  {row['rh_set_percent']:3d} %{mark}{limit}"


def site_sheet(
    result: Comparison,
    option: str | None = None,
    *,
    t_out_c: float | None = None,
    step_percent: int = 1,
    units: Units = "si",
) -> Sheet:
    """Return the page of an option.

    Parameters
    ----------
    result : Comparison
    option : str, optional
        Its name. Default: the one that the verdict names.
    t_out_c : float, optional
        Outdoor temperature of the visit. Default: what is to be measured is told for the mean of
        the hours in which the option runs. [°C]
    step_percent : int
        The controller can be set to multiples of it. [%]
    units : str
        What flows, lengths and pressures are in, "si" or "ip"; outdoor temperatures are in both.

    Raises
    ------
    InputError
        If there is no such option, or nothing to be fitted.
    """
    chosen, words = _option(result, option), Words(units)
    equipment = next(e for e in result.scenario.equipment if e.name == chosen.equipment)
    supply = next(s for s in result.scenario.supplies if s.name == chosen.supply)
    water = supply.feed_water(result.case)
    running = chosen.outcome.running_frac
    if t_out_c is None:
        runs = bool(running.any())
        at_c = float(np.average(result.hours.t_out_c, weights=running if runs else None))
    else:
        require_between("sheet", "t_out_c", t_out_c, *OUTDOOR_C)
        t_out_c = at_c = round(t_out_c, 2)  # converted from °F it may miss an hour by a bit
    near = np.abs(result.hours.t_out_c - at_c) <= SETTING_STEP_K / 2
    work = expected.at_work(result, chosen, equipment, water, near)
    answer = answer_of(equipment, work, words)
    to_set = tuple(settings.set_points(result, chosen, None, step_percent))
    notes = [*settings.notes(result, chosen, to_set), *chosen.notes]
    if work is None:
        notes.insert(0, f"it does not run at {words.both(at_c)} outdoors")
    today = None
    if t_out_c is not None:
        today = settings.today(result, chosen, t_out_c, step_percent)
        if today is None:
            ends = words.between(result.hours.t_out_c.min(), result.hours.t_out_c.max())
            notes.append(
                f"nothing is set at {words.both(t_out_c)}: the record has {ends}, and holds "
                "humidity in the heating season only"
            )
    return Sheet(
        title=result.scenario.title,
        option=chosen.name,
        assumed=tuple(_assumed(result, chosen, equipment, supply, words)),
        fit=tuple(to_fit(equipment, supply, water, expected.as_read(work, answer), answer, words)),
        settings=to_set,
        today=today,
        at_c=at_c,
        expected=tuple(expected.readings(result, chosen, equipment, work, answer, near, words)),
        symptoms=tuple(_symptoms(answer)),
        notes=tuple(notes),
        cautions=tuple(dict.fromkeys(_cautions(answer))),
    )


def _symptoms(answer: SiteAnswer) -> Iterator[Symptom]:
    """Yield what may be seen of any device, and of this one."""
    for key, row in commissioning.SYMPTOMS.items():
        if key in OF_ALL or key in answer.symptoms:
            yield row
    yield from (each for each in answer.symptoms if not isinstance(each, str))


def _cautions(answer: SiteAnswer) -> Iterator[str]:
    yield from answer.cautions
    for each in (each for of in ("circuit", "water", "measured") for each in CAUTIONS[of]):
        if answer.plenums_pa is not None or each != OF_A_BYPASS:
            yield each


def _option(result: Comparison, name: str | None) -> Option:
    """Return the option to fit."""
    names = ", ".join(repr(option.name) for option in result.options[1:])
    if name is None:
        if result.chosen is None:
            raise InputError(
                "the verdict names no option to fit",
                where="option",
                hint=f"name one: {names}",
            )
        return result.chosen
    if name == result.options[0].name:
        raise InputError("without a humidifier there is nothing to set", where="option")
    found = next((option for option in result.options if option.name == name), None)
    if found is None:
        raise InputError(f"{name[:80]!r} is not there", where="option", hint=f"one of: {names}")
    return found


def _assumed(
    result: Comparison, option: Option, equipment: Equipment, supply: Supply, words: Words
) -> Iterator[str]:
    """Yield what the numbers rest on."""
    weather = "" if result.weather is None else f"; weather of {result.weather.place}"
    yield f"{result.case.title}{weather}."
    comfort, hours = result.scenario.comfort, result.hours
    room_c = float(np.mean(hours.t_air_c, where=hours.heating_season))
    yield (
        f"Room at {words.between(room_c)} in the heating season, dry below "
        f"{100.0 * comfort.low_rh:.0f} %, humid above {100.0 * comfort.high_rh:.0f} %."
    )
    units = words.units
    rule = next(s for s in result.scenario.strategies if s.name == option.strategy)
    own = [rule.rule, rule.modifiers] if isinstance(rule, Modified) else [rule]
    keys = (inputs_told(each, units) for each in own)
    yield f"Rule, {rule.name}: {', '.join(filter(None, keys))}."
    yield f"{equipment.name}: {inputs_told(equipment, units)}."
    yield f"Water, {supply.name}: {inputs_told(supply, units)}."
    control = inputs_told(result.scenario.control, units)
    yield f"Controller: {control}." if control else "Controller: exact sensors, no deadband."
