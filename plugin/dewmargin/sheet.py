"""One page for the site: what to fit, what to set, what to measure, what to watch."""

from __future__ import annotations

import textwrap
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.linalg import expm

from dewmargin import air
from dewmargin.equipment.humidifier import Inlet
from dewmargin.equipment.steam_humidifier import SteamHumidifier
from dewmargin.equipment.wetted_pad import WettedPad
from dewmargin.errors import InputError
from dewmargin.hours import relative_humidity
from dewmargin.onsite import circuit, commissioning, plumbing, sensor
from dewmargin.onsite.finding import CAUTIONS
from dewmargin.reports.tables import rows
from dewmargin.result_tables import SETTING_STEP_K, limits_table, settings_table

if TYPE_CHECKING:
    from dewmargin.columns import BoolArray
    from dewmargin.comparison import Comparison
    from dewmargin.contracts import Equipment, FeedWater
    from dewmargin.equipment.wetted_pad import AtWork
    from dewmargin.options import Option

RISE_H = 3.0  # how long room humidity is watched after a start
# Tolerances of what is measured, beside those of `commissioning`; common practice, no source.
DRAIN_FRAC, OUT_K, RISE_FRAC, RUN_FRAC, ROOM_RH = 0.05, 1.5, 0.5, 0.2, 0.05
MOST_NOTES = 3  # on the page; all of them stand in the text
_WIDTH = 72  # of the text: a terminal, or a phone held across
_OF_PADS = {"drain_hot", "not_cooled", "no_drain", "airflow_low", "blown_off"}
_RUNS = {
    "always": "whenever the air is too dry",
    "heating": "only while the plant heats",
    "blower": "whenever the blower runs",
    "humidity": "whenever the air is too dry, and starts the blower for it",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """Something to measure.

    Attributes
    ----------
    key : str
        Its name, with its unit.
    what, how : str
        What it is, how it is measured.
    value : float
    off : float
        By how much it may be off, either way.
    text, tolerance : str
        Both, to be read.
    """

    key: str
    what: str
    how: str
    value: float
    off: float
    text: str
    tolerance: str


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
        Rows of the results' `settings`, of the option's strategy.
    today : dict or None
        The same row and what each surface bears, at the outdoor temperature typed in.
    at_c : float
        Outdoor temperature that `expected` is for. [°C]
    expected : tuple of Expected
    symptoms : tuple of (symptom, cause, action)
    """

    title: str
    option: str
    assumed: tuple[str, ...]
    fit: tuple[str, ...]
    settings: tuple[dict[str, Any], ...]
    today: dict[str, Any] | None
    at_c: float
    expected: tuple[Expected, ...]
    symptoms: tuple[tuple[str, str, str], ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        """Return all of it as plain values, for JSON."""
        return asdict(self)

    def text(self) -> list[str]:
        """Return lines for a terminal or a phone."""
        lines = [self.title, self.option, *self._section("Assumed", self.assumed)]
        lines += self._section("Fit", self.fit)
        lines += ["", "Set: relative humidity by outdoor temperature"]
        lines += [f"  {each}" for each in map(_setting, self.settings)]
        if self.today is not None:
            lines += ["", f"Today, {_both(self.today['t_out_c'])} outdoors"]
            lines += [f"  {each}" for each in self.today_lines()]
        lines += ["", f"Measure, at about {_both(self.at_c)} outdoors"]
        for each in self.expected:
            lines += _wrapped(f"{each.what}: {each.text} ({each.tolerance})")
            lines += _wrapped(each.how, "    ")
        lines += ["", "Watch"]
        for symptom, cause, action in self.symptoms:
            lines += _wrapped(symptom) + _wrapped(f"likely: {cause}", "    ")
            lines += _wrapped(f"do: {action}", "    ")
        return lines + self._section("Notes", self.notes) + self._section("Care", self.cautions)

    def today_lines(self) -> list[str]:
        """Return what is to be set today, and at what humidity which surface sweats."""
        if self.today is None:
            return []
        lines = [f"set {self.today['rh_set_percent']} %"]
        lines += [
            f"{each['surface']}: sweats above {each['rh_max_percent']} %"
            for each in self.today["limits"]
        ]
        return lines

    def html(self) -> bytes:
        """Return the page, which prints on one side of A4 or Letter."""
        from dewmargin.pages import template  # noqa: PLC0415 - only where a page is wanted

        return template("sheet.html.j2").render(sheet=self, both=_both).encode()

    @staticmethod
    def _section(head: str, sentences: tuple[str, ...]) -> list[str]:
        if not sentences:
            return []
        return ["", head, *(line for each in sentences for line in _wrapped(each))]


def _wrapped(sentence: str, indent: str = "  ") -> list[str]:
    return textwrap.wrap(
        sentence, _WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  "
    ) or [indent]


def _both(t_c: float) -> str:
    return f"{t_c:.0f} °C ({1.8 * t_c + 32.0:.0f} °F)"


def _setting(row: dict[str, Any]) -> str:
    limit = (
        ""
        if row["limiting_surface"] is None
        else f"   ({row['limiting_surface']} sweats above {row['rh_limit_percent']} %)"
    )
    return f"{row['t_out_c']:4.0f} °C {row['t_out_f']:4.0f} °F  {row['rh_set_percent']:3d} %{limit}"


def site_sheet(
    result: Comparison,
    option: str | None = None,
    *,
    t_out_c: float | None = None,
    step_percent: int = 1,
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

    Raises
    ------
    InputError
        If there is no such option, or nothing to be fitted.
    """
    chosen = _option(result, option)
    equipment = next(e for e in result.scenario.equipment if e.name == chosen.equipment)
    supply = next(s for s in result.scenario.supplies if s.name == chosen.supply)
    water = supply.feed_water(result.case)
    running = chosen.outcome.running_frac
    if t_out_c is None:
        runs = bool(running.any())
        at_c = float(np.average(result.hours.t_out_c, weights=running if runs else None))
    else:
        at_c = t_out_c
    near = np.abs(result.hours.t_out_c - at_c) <= SETTING_STEP_K / 2
    work = _at_work(result, chosen, equipment, water, near)
    notes = list(chosen.notes)
    today = None
    if t_out_c is not None:
        today = _today(result, chosen, t_out_c, step_percent)
        if today is None:
            coldest, warmest = result.hours.t_out_c.min(), result.hours.t_out_c.max()
            notes.append(
                f"nothing is set at {_both(t_out_c)}: the record has {coldest:.0f} to "
                f"{warmest:.0f} °C, and holds humidity in the heating season only"
            )
    return Sheet(
        title=result.scenario.title,
        option=chosen.name,
        assumed=tuple(_assumed(result, equipment, supply)),
        fit=tuple(_fit(result, equipment, work, float(running.max(initial=0.0)))),
        settings=tuple(
            row
            for row in rows(settings_table(result, step_percent=step_percent))
            if row["strategy"] == chosen.strategy
        ),
        today=today,
        at_c=at_c,
        expected=tuple(_expected(result, chosen, equipment, work, near)),
        symptoms=tuple(
            row
            for key, row in commissioning.SYMPTOMS.items()
            if isinstance(equipment, WettedPad) or key not in _OF_PADS
        ),
        notes=tuple(notes),
        cautions=tuple(
            dict.fromkeys(each for of in ("circuit", "water", "measured") for each in CAUTIONS[of])
        ),
    )


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Work:
    """One unit that runs, at an outdoor temperature; `pad` is what more a pad tells."""

    feed_kg_h: float
    evaporation_kg_h: float
    t_feed_c: float
    purge_s: float | None
    pad: AtWork | None


def _at_work(
    result: Comparison, option: Option, equipment: Equipment, water: FeedWater, near: BoolArray
) -> _Work | None:
    """Return how a unit runs in the hours near a temperature; None: it does not."""
    case, out = result.case, option.outcome
    ran = np.where(near, out.running_frac, 0.0)
    units = getattr(equipment, "count", 1)
    hours = float(ran.sum()) * units
    if hours == 0.0:
        return None

    def mean(values: np.ndarray, weights: np.ndarray = ran) -> np.ndarray:
        """Return the mean of hourly values, as what a device meets in one step."""
        return np.array([np.average(values, weights=weights)])

    feed_kg_h = float(np.sum(out.feed_kg, where=ran > 0.0)) / hours
    evaporation_kg_h = float(np.sum(out.added_kg, where=ran > 0.0)) / hours
    t_feed_c = mean(case.hourly_mean(water.arriving(max(feed_kg_h / 3600.0, 1e-9)).t_feed_c))
    work: AtWork | None = None
    if isinstance(equipment, WettedPad):
        t_in_c, moved = mean(result.hours.t_air_c), np.inf
        if equipment.arrangement != "room" and case.air_system is not None:
            moved = case.air_system.airflow_kg_s
            heats = np.broadcast_to(case.air_system.heat_frac, case.n_steps)
            heated = ran * case.hourly_mean(heats)
            if heated.any():
                t_in_c = mean(case.hourly_mean(case.air_system.t_supply_c), heated)
        work = equipment.at_work(
            Inlet(
                t_c=t_in_c,
                p_pa=mean(result.hours.p_pa),
                w_kg_kg=mean(out.w_kg_kg)[None, :],
                t_room_c=mean(result.hours.t_air_c),
                t_feed_c=t_feed_c,
                quality=water.quality,
                airflow_kg_s=moved,
            )
        )
        feed_kg_h = 3600.0 * float(work.feed_kg_s.item())
        evaporation_kg_h = 3600.0 * float(work.evaporation_kg_s.item())
    return _Work(
        feed_kg_h=feed_kg_h,
        evaporation_kg_h=evaporation_kg_h,
        t_feed_c=float(t_feed_c[0]),
        purge_s=None
        if water.line is None or feed_kg_h == 0.0
        else water.line.purge_s(feed_kg_h / 3600.0),
        pad=work,
    )
