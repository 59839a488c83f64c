"""One page for the site: what to fit, what to set, what to measure, what to watch."""

from __future__ import annotations

import math
import textwrap
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from pydantic import BaseModel
from scipy.linalg import expm
from scipy.optimize import brentq

from dewmargin.core.checks import require_between
from dewmargin.equipment.atomiser import Atomiser
from dewmargin.equipment.humidifier import Inlet
from dewmargin.equipment.steam_humidifier import SteamHumidifier
from dewmargin.equipment.wetted_pad import WettedPad
from dewmargin.errors import InputError
from dewmargin.inputs import UNITS
from dewmargin.physics import air
from dewmargin.reports.page.templates import render
from dewmargin.reports.tables import rows
from dewmargin.site import circuit, commissioning, plumbing, sensor
from dewmargin.site.finding import CAUTIONS, OF_A_BYPASS
from dewmargin.strategies.modified import Modified
from dewmargin.studies.compare.tables import SETTING_STEP_K, limits_table, settings_table
from dewmargin.units import FOOT_M, GALLON_L, INCH_M, INCH_OF_WATER_PA, POUND_KG

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from dewmargin.columns import BoolArray
    from dewmargin.contracts import Equipment, FeedWater
    from dewmargin.equipment.supply import Supply
    from dewmargin.equipment.wetted_pad import AtWork
    from dewmargin.studies.compare.comparison import Comparison
    from dewmargin.studies.compare.option import Option
    from dewmargin.units import Units

RISE_H = 3.0  # how long room humidity is watched after a start
# Tolerances of what is measured, beside those of `commissioning`; common practice, no source.
EVAPORATION_FRAC, OUT_K, RISE_FRAC, RUN_FRAC, PRESSURE_FRAC = 0.2, 1.5, 0.5, 0.2, 0.2
BORES_MM = (13.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0)  # of drains; common practice, no source
OUTDOOR_C = (-90.0, 60.0)  # what a person may type in
VARIES_K, VARIES_FRAC = 0.5, 0.015  # a rule that moves so much within so little depends on more
LEAST_CATCH_KG_H = 0.1  # less takes hours to catch
MOST_NOTES, MOST_ROWS = 2, 10  # on the page; all of them stand in the text
MOST_FACES = 3  # of today, those that sweat first
MM_M = 1000.0
_WIDTH = 72  # of the text: a terminal, or a phone held across
_OF_PADS = {"drain_hot", "not_cooled", "no_drain", "airflow_low", "blown_off"}
_OF_DUCTS = {"airflow_low"}
_OF_STEAM = (
    "Steam and its tank burn, electrodes are live: isolate, let it cool, drain it, then open."
)
_OF_SPRAYS = (
    "A spray carries what lives in its water: drain, clean and disinfect it as a water management "
    "plan says."
)
_SPELT = {"delta_degC": "K", "degC": "°C", "hour": "h", "minute": "min", "**2": "²", "**3": "³"}
# What an input of the scenario is told in, by its unit, for a reader of US customary units: unit,
# factor and offset.
_CUSTOMARY = {
    "degC": ("°F", 1.8, 32.0),
    "delta_degC": ("°F", 1.8, 0.0),
    "kg/s": ("lb/h", 3600.0 / POUND_KG, 0.0),
    "kg/hour": ("lb/h", 1.0 / POUND_KG, 0.0),
    "kg/day": ("lb/day", 1.0 / POUND_KG, 0.0),
    "L/s": ("cfm", 0.06 / FOOT_M**3, 0.0),
    "m**3/hour": ("cfm", 1.0 / 60.0 / FOOT_M**3, 0.0),
    "L/min": ("gal/min", 1.0 / GALLON_L, 0.0),
    "m": ("ft", 1.0 / FOOT_M, 0.0),
    "mm": ("in", 1e-3 / INCH_M, 0.0),
    "m**2": ("ft²", 1.0 / FOOT_M**2, 0.0),
    "m**3": ("ft³", 1.0 / FOOT_M**3, 0.0),
    "Pa": ("in wc", 1.0 / INCH_OF_WATER_PA, 0.0),
}
_RUNS = {
    "always": "when the air is too dry",
    "heating": "when the air is too dry, but only while the plant heats",
    "blower": "when the air is too dry, while the blower runs anyway",
    "humidity": "when the air is too dry, and starts the blower for it",
}


@dataclass(frozen=True, slots=True)
class _Words:
    """How amounts are told on site, in a reader's units."""

    units: Units

    def catch(self, kg_h: float) -> str:
        """Return a flow of water, as the time that a measuring jug takes."""
        if self.units == "ip":
            gal_h = kg_h / GALLON_L
            return f"16 fl oz in {3600.0 / 8.0 / gal_h:.0f} s ({gal_h:.1f} gal/h)"
        return f"half a litre in {1800.0 / kg_h:.0f} s ({kg_h:.1f} l/h)"

    def volume(self, litres: float) -> str:
        """Return an amount of water."""
        return f"{litres / GALLON_L:.1f} gal" if self.units == "ip" else f"{litres:.1f} l"

    def between(self, *t_c: float) -> str:
        """Return a temperature, or the ends of several, in one scale."""
        unit = "°F" if self.units == "ip" else "°C"
        t = [1.8 * each + 32.0 if self.units == "ip" else each for each in t_c]
        return f"{' to '.join(f'{each:.0f}' for each in t)} {unit}"

    def apart(self, k: float, digits: str = "g") -> str:
        """Return a difference of temperature."""
        return f"{1.8 * k:{digits}} °F" if self.units == "ip" else f"{k:{digits}} K"

    def length(self, mm: float) -> str:
        if self.units == "ip":
            return f"{mm / MM_M / INCH_M:.2g} in"
        return f"{mm:.0f} mm" if mm < MM_M else f"{mm / MM_M:.0f} m"

    def pressure(self, low_pa: float, high_pa: float) -> str:
        if self.units == "ip":
            return f"{low_pa / INCH_OF_WATER_PA:.2f} to {high_pa / INCH_OF_WATER_PA:.2f} in wc"
        return f"{low_pa:.0f} to {high_pa:.0f} Pa"

    def given(self, part: object) -> str:
        """Return the keys of a scenario's table and their values, those of inner tables too."""
        given = part.model_dump(exclude_unset=True) if isinstance(part, BaseModel) else {}
        return ", ".join(self._keys(given, leave_out=("name", "kind")))

    def _keys(self, given: Mapping[str, Any], *, leave_out: tuple[str, ...] = ()) -> Iterator[str]:
        for key, value in given.items():
            if key in leave_out:
                continue
            end, unit = next(((e, u) for e, u in UNITS.items() if u and key.endswith(e)), ("", ""))
            name = key.removesuffix(end).replace("_", " ")
            if isinstance(value, dict):
                yield f"{name} ({', '.join(self._keys(value))})"
            elif isinstance(value, (int, float)) and not isinstance(value, bool):
                yield f"{name} {self._input(value, unit)}".rstrip()
            else:
                yield f"{name} {value} {_spelt(unit)}".replace("_", " ").rstrip()

    def _input(self, value: float, unit: str) -> str:
        if self.units == "ip" and unit in _CUSTOMARY:
            into, factor, offset = _CUSTOMARY[unit]
            return f"{factor * value + offset:.4g} {into}"
        return f"{value:g} {_spelt(unit)}"


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
        Rows of the results' `settings`, of the option's strategy, with limits as the controller's
        sensor shows them, and `above_limit`: a surface sweats at that setting.
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
            both=_both,
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


def _both(t_c: float) -> str:
    return f"{t_c:.0f} °C ({1.8 * t_c + 32.0:.0f} °F)"


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
    chosen, words = _option(result, option), _Words(units)
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
    work = _at_work(result, chosen, equipment, water, near)
    settings = tuple(_settings(result, chosen, None, step_percent))
    notes = [*_of_settings(result, chosen, settings), *chosen.notes]
    if work is None:
        notes.insert(0, f"it does not run at {_both(at_c)} outdoors")
    today = None
    if t_out_c is not None:
        today = _today(result, chosen, t_out_c, step_percent)
        if today is None:
            ends = words.between(result.hours.t_out_c.min(), result.hours.t_out_c.max())
            notes.append(
                f"nothing is set at {_both(t_out_c)}: the record has {ends}, and holds "
                "humidity in the heating season only"
            )
    return Sheet(
        title=result.scenario.title,
        option=chosen.name,
        assumed=tuple(_assumed(result, chosen, equipment, supply, words)),
        fit=tuple(_fit(equipment, supply, water, work, words)),
        settings=settings,
        today=today,
        at_c=at_c,
        expected=tuple(_expected(result, chosen, equipment, work, near, words)),
        symptoms=tuple(
            row
            for key, row in commissioning.SYMPTOMS.items()
            if (isinstance(equipment, WettedPad) or key not in _OF_PADS)
            and (_in_ducts(equipment) or key not in _OF_DUCTS)
        ),
        notes=tuple(notes),
        cautions=tuple(dict.fromkeys(_cautions(equipment))),
    )


def _cautions(equipment: Equipment) -> Iterator[str]:
    if isinstance(equipment, SteamHumidifier):
        yield _OF_STEAM
    if isinstance(equipment, Atomiser):
        yield _OF_SPRAYS
    bypass = isinstance(equipment, WettedPad) and equipment.arrangement == "bypass"
    for each in (each for of in ("circuit", "water", "measured") for each in CAUTIONS[of]):
        if bypass or each != OF_A_BYPASS:
            yield each


def _in_ducts(equipment: Equipment) -> bool:
    return getattr(equipment, "call", "always") != "always"


def _settings(
    result: Comparison, option: Option, at_c: list[float] | None, step_percent: int
) -> Iterator[dict[str, Any]]:
    """Yield the rows of an option's strategy, the surfaces' limits as the controller shows them."""
    for row in rows(settings_table(result, at_c, step_percent=step_percent)):
        if row["strategy"] == option.strategy:
            limit = _shown(result, row["rh_limit_percent"])
            above = limit is not None and cast("int", row["rh_set_percent"]) > limit
            yield {**row, "rh_limit_percent": limit, "above_limit": above}


def _shown(result: Comparison, percent: object) -> int | None:
    """Return a limit of the room's humidity as its sensor shows it, the swing below it. [%]."""
    control = result.scenario.control
    if percent is None:
        return None
    off = 100.0 * (control.rh_bias - 0.5 * control.deadband_rh)
    return math.floor(cast("int", percent) + off + 1e-9)


def _of_settings(
    result: Comparison, option: Option, settings: tuple[dict[str, Any], ...]
) -> Iterator[str]:
    """Yield what to know of the settings before one sets them."""
    above = [row for row in settings if row["above_limit"]]
    if above:
        warmest = max(above, key=lambda row: float(row["t_out_c"]))
        yield (
            f"! from {_both(warmest['t_out_c'])} down this rule sets more than "
            f"{warmest['limiting_surface']} bears: it sweats; set the limit instead"
        )
    held, t_out = option.rh_rule_frac, result.hours.t_out_c
    if held is not None:
        known = np.isfinite(held)
        near = np.floor(t_out[known] / VARIES_K)
        spread = [float(np.ptp(held[known][near == each])) for each in np.unique(near)]
        if max(spread, default=0.0) > VARIES_FRAC:
            yield (
                "the rule depends on more than the outdoor temperature: a row is low enough for "
                "all hours near it"
            )
    if result.scenario.control.rh_bias or result.scenario.control.deadband_rh:
        yield "limits are as this controller's sensor shows them, its bias and swing counted in"


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
    given_kg_h: float
    heated: bool
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
    given_kg_h = evaporation_kg_h * units
    heated_h = np.zeros(1)
    t_feed_c = mean(case.hourly_mean(water.arriving(max(feed_kg_h / 3600.0, 1e-9)).t_feed_c))
    work: AtWork | None = None
    if isinstance(equipment, WettedPad):
        t_in_c, moved = mean(result.hours.t_air_c), np.inf
        if equipment.arrangement != "room" and case.air_system is not None:
            moved = case.air_system.airflow_kg_s
            heats = np.broadcast_to(case.air_system.heat_frac, case.n_steps)
            heated_h = ran * case.hourly_mean(heats)
            if heated_h.any():
                t_in_c = mean(case.hourly_mean(case.air_system.t_supply_c), heated_h)
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
        if water.line is None or feed_kg_h == 0.0 or t_feed_c[0] <= plumbing.HOT_C
        else water.line.purge_s(feed_kg_h / 3600.0),
        given_kg_h=given_kg_h,
        heated=bool(heated_h.any()),
        pad=work,
    )


def _today(
    result: Comparison, option: Option, t_out_c: float, step_percent: int
) -> dict[str, Any] | None:
    """Return the row to set at a temperature, and each surface's limit there."""
    row = next(_settings(result, option, [t_out_c], step_percent), None)
    if row is None:
        return None
    limits = [
        {**each, "rh_max_percent": _shown(result, each["rh_max_percent"])}
        for each in rows(limits_table(result, [t_out_c]))
    ]
    return {**row, "limits": limits}


def _assumed(
    result: Comparison, option: Option, equipment: Equipment, supply: Supply, words: _Words
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
    rule = next(s for s in result.scenario.strategies if s.name == option.strategy)
    own = [rule.rule, rule.modifiers] if isinstance(rule, Modified) else [rule]
    yield f"Rule, {rule.name}: {', '.join(filter(None, map(words.given, own)))}."
    yield f"{equipment.name}: {words.given(equipment)}."
    yield f"Water, {supply.name}: {words.given(supply)}."
    control = words.given(result.scenario.control)
    yield f"Controller: {control}." if control else "Controller: exact sensors, no deadband."


def _spelt(unit: str) -> str:
    """Return a unit of the conversion library as people write it."""
    for long, short in _SPELT.items():
        unit = unit.replace(long, short)
    return unit


def _fit(
    equipment: Equipment, supply: Supply, water: FeedWater, work: _Work | None, words: _Words
) -> Iterator[str]:
    """Yield what to fit, and how."""
    units = getattr(equipment, "count", 1)
    call = getattr(equipment, "call", "always")
    kind = getattr(equipment, "kind", type(equipment).__name__)
    ducted = _in_ducts(equipment)
    placed = ", level, filter within reach" if isinstance(equipment, WettedPad) else ""
    yield (f"{units} x {equipment.name} ({kind.replace('_', ' ')}){placed}; it runs {_RUNS[call]}.")
    yield _line(supply, water, work)
    yield from _tap_and_drain(equipment, work, words)
    if not ducted:
        yield (
            "Humidity sensor: on an inner wall, away from the unit, doors and sun. Outdoor sensor: "
            "shaded, away from vents."
        )
    else:
        yield from _sensors(words)
    yield (
        f"{circuit.NOMINAL_V:.0f} V: a transformer of its own, or a shared one loaded to "
        f"{100.0 * circuit.DESIGN_FRAC:.0f} % at most."
    )
    if call == "humidity":
        yield (
            "Blower: call it at the thermostat's fan terminal through an isolating relay; a "
            "terminal live only with the blower cannot start it."
        )
    if isinstance(equipment, SteamHumidifier):
        flue = " and flue" if equipment.heat == "gas" else ""
        yield f"Its mains supply{flue} {'are' if flue else 'is'} licensed work."
        if ducted:
            yield "In the duct: an airflow switch and a humidistat as high limit, both in its call."


def _line(supply: Supply, water: FeedWater, work: _Work | None) -> str:
    hottest_c = float(water.t_start_c.max())
    fit = [name for name, (most_c, _) in plumbing.MATERIALS.items() if hottest_c <= most_c]
    tubes = ", ".join(name.replace("_", " ") for name in fit)
    hot = ""
    if hottest_c > plumbing.HOT_C:
        hot = " Label it hot; other plastic turns soft and brittle."
        if work is not None and work.t_feed_c <= plumbing.HOT_C:
            hot += " At this flow it arrives cold: see the heater's least flow."
    if work is not None and work.purge_s is not None:
        hot += f" It is hot after {work.purge_s:.0f} s."
    named = None if supply.line is None else supply.line.material
    if named is not None and {"polyethylene": "plain_plastic"}.get(named, named) not in fit:
        hot += f" The {named} named above is not for it."
    return f"Feed line for {_both(hottest_c)}: {tubes}.{hot}"


def _tap_and_drain(equipment: Equipment, work: _Work | None, words: _Words) -> Iterator[str]:
    units = getattr(equipment, "count", 1)
    runs_on = getattr(equipment, "valve", "call") == "open"
    valve = "" if runs_on else "feed valve shut without power; "
    yield (
        f"Tap: a tee and a full-port ball valve; {valve}feed's end above the flood rim, or a "
        "listed backflow device. Watch the line under pressure for leaks before going on."
    )
    if runs_on and work is not None:
        yield f"The feed runs on: {words.volume(24.0 * units * work.feed_kg_h)} a day to the drain."
    drains = work is not None and work.feed_kg_h > 1.001 * work.evaporation_kg_h
    if isinstance(equipment, SteamHumidifier):
        yield (
            "Drain: it empties boiling: metal or tube rated for 100 °C (212 °F), no pump that is "
            "not; cool it before the waste; air gap of "
            f"{words.length(plumbing.AIR_GAP_MM)} at least."
        )
    elif isinstance(equipment, WettedPad) or drains:
        yield _drain(equipment, 0.0 if work is None else units * work.feed_kg_h, words)
    if isinstance(equipment, Atomiser):
        yield "Water: from reverse osmosis or deionised, or its minerals settle as dust."


def _drain(equipment: Equipment, feed_kg_h: float, words: _Words) -> str:
    enough = (
        bore
        for bore in BORES_MM
        if plumbing.drain_capacity_kg_h(bore, plumbing.LEAST_FALL) >= feed_kg_h
    )
    gap = words.length(plumbing.AIR_GAP_MM)
    trap = ""
    if _in_ducts(equipment):
        duct_pa = max(commissioning.STATIC_PA[1], _bypass_pa(equipment) or 0.0)
        trap = f", trap deeper than {words.length(plumbing.seal_mm(duct_pa))}"
    return (
        f"Drain: {words.length(next(enough, BORES_MM[-1]))} bore or more, falling by 1 in "
        f"{1.0 / plumbing.LEAST_FALL:.0f}, for all of the feed as hot as it comes; air gap of "
        f"{gap}, or {plumbing.AIR_GAP_OPENINGS:.0f} x its opening if more{trap}."
    )


def _bypass_pa(equipment: Equipment) -> float | None:
    """Return the pressure that a bypass was laid out for, if it is known. [Pa]."""
    bypass = getattr(equipment, "bypass", None)
    return None if bypass is None else float(bypass.pressure_pa)


def _sensors(words: _Words) -> Iterator[str]:
    least, good = (
        words.length(MM_M * each) for each in (sensor.LEAST_UPSTREAM_M, sensor.GOOD_UPSTREAM_M)
    )
    yield (
        f"Humidity sensor: in the return, {least} upstream of the take-off at least, {good} "
        "preferred, or on an inner wall. "
        "Outdoor sensor: shaded, away from vents."
    )


def _expected(
    result: Comparison,
    option: Option,
    equipment: Equipment,
    work: _Work | None,
    near: BoolArray,
    words: _Words,
) -> Iterator[Expected]:
    """Yield what to measure: a unit's water and air, the room, the circuit."""
    if work is not None:
        yield from _of_water(equipment, work, words)
    if work is not None and work.pad is not None:
        yield _cooled(work, work.pad, words)
    if work is not None:
        run_min = 60.0 * float(np.mean(option.outcome.running_frac, where=near))
        yield Expected(
            key="run_min_h",
            what="run time",
            how="controller's log, over a day",
            value=run_min,
            off=RUN_FRAC * run_min,
            text=f"{run_min:.0f} min an hour" if run_min >= 1.0 else "less than a minute an hour",
            tolerance=f"±{max(RUN_FRAC * run_min, 1.0):.0f} min",
        )
        yield from _rise(result, option, equipment, work, near)
    if isinstance(equipment, WettedPad) and equipment.arrangement == "bypass":
        low, high = commissioning.STATIC_PA
        if (laid_out := _bypass_pa(equipment)) is not None:
            low, high = (1.0 - PRESSURE_FRAC) * laid_out, (1.0 + PRESSURE_FRAC) * laid_out
        yield Expected(
            key="static_pa",
            what="pressure between the plenums",
            how="manometer, bypass open",
            value=(low + high) / 2.0,
            off=(high - low) / 2.0,
            text=words.pressure(low, high),
            tolerance="usual" if _bypass_pa(equipment) is None else "as laid out",
        )
    yield Expected(
        key="valve_v",
        what="volts at the valve",
        how="meter, while it draws",
        value=circuit.NOMINAL_V,
        off=circuit.NOMINAL_V - commissioning.LEAST_V,
        text=f"{circuit.NOMINAL_V:.0f} V",
        tolerance=f"at least {commissioning.LEAST_V:.1f}",
    )


def _catch(key: str, what: str, how: str, kg_h: float, off: float, words: _Words) -> Expected:
    """Return a flow of water, to be caught and timed."""
    return Expected(
        key=key,
        what=what,
        how=how,
        value=kg_h,
        off=off,
        text=words.catch(kg_h) if kg_h > LEAST_CATCH_KG_H else "next to nothing",
        tolerance=f"±{100.0 * off / kg_h:.0f} %",
    )


def _degrees(key: str, what: str, how: str, t_c: float, off_k: float, words: _Words) -> Expected:
    return Expected(
        key=key,
        what=what,
        how=how,
        value=t_c,
        off=off_k,
        text=_both(t_c),
        tolerance=f"±{words.apart(off_k)}",
    )


def _of_water(equipment: Equipment, work: _Work, words: _Words) -> Iterator[Expected]:
    if not isinstance(equipment, WettedPad):
        yield Expected(
            key="feed_kg_h",
            what="feed of a unit",
            how="read a meter, or count its fills, over an hour of running",
            value=work.feed_kg_h,
            off=commissioning.FEED_FRAC * work.feed_kg_h,
            text=f"{words.volume(work.feed_kg_h)} an hour",
            tolerance=f"±{100.0 * commissioning.FEED_FRAC:.0f} %",
        )
        return
    at_drain = ", or at the drain with the blower off" if _in_ducts(equipment) else ""
    steady = "once it no longer changes"
    if work.purge_s is not None:
        steady = f"after {2.0 * work.purge_s:.0f} s, two fillings of the line"
    yield _catch(
        "feed_kg_h",
        "feed of a unit",
        f"timed catch at the nozzle{at_drain}",
        work.feed_kg_h,
        commissioning.FEED_FRAC * work.feed_kg_h,
        words,
    )
    yield _degrees(
        "t_feed_c",
        "feed at the nozzle",
        f"probe, {steady}",
        work.t_feed_c,
        commissioning.FEED_K,
        words,
    )
    drain_kg_h = work.feed_kg_h - work.evaporation_kg_h
    if drain_kg_h > 1e-3 * work.feed_kg_h:
        how = "timed catch after 15 min wet; off by what the feed is off too"
        off = EVAPORATION_FRAC * work.evaporation_kg_h
        yield _catch("drain_kg_h", "drain of a unit", how, drain_kg_h, off, words)
        if work.pad is not None:
            yield _degrees(
                "t_drain_c",
                "drain",
                "probe in the stream; warmer: the feed runs past the pad",
                float(work.pad.t_drain_c.item()),
                commissioning.DRAIN_K,
                words,
            )


def _cooled(work: _Work, pad: AtWork, words: _Words) -> Expected:
    t_in, t_out = float(pad.t_in_c.item()), float(pad.t_out_c.item())
    return Expected(
        key="cooled_k",
        what="air across the pad",
        how="two probes, shielded from radiation and drops"
        + (", in a call for heat" if work.heated else ""),
        value=t_in - t_out,
        off=OUT_K,
        text=f"{words.between(t_in, t_out)}, {words.apart(t_in - t_out, '.0f')} cooler",
        tolerance=f"±{words.apart(OUT_K)}",
    )


def _rise(
    result: Comparison, option: Option, equipment: Equipment, work: _Work, near: BoolArray
) -> Iterator[Expected]:
    """Yield how the room's humidity rises after a start, from the air without a humidifier."""
    case, hours = result.case, result.hours

    def mean(values: np.ndarray) -> float:
        return float(np.mean(values, where=near & np.isfinite(values)))

    t_c, p_pa = np.array(mean(hours.t_air_c)), np.array(mean(hours.p_pa))
    dry = mean(result.options[0].outcome.w_kg_kg)
    held = option.rh_setpoint_frac
    share = _may_run(result, equipment, near)
    if held is None or not np.isfinite(held[near]).any() or share * work.given_kg_h == 0.0:
        return

    def percent(seconds: float) -> float:
        risen = dry + humidity_rise(
            share * work.given_kg_h / 3600.0,
            seconds,
            exchange_kg_s=mean(hours.exchange_kg_s),
            dry_air_kg=case.dry_air_kg,
            buffer_kg_s=case.buffer_kg_s,
            buffer_kg=case.buffer_kg,
        )
        return 100.0 * float(air.relative_humidity(t_c, np.array(risen), p_pa))

    before, most = percent(0.0), 100.0 * mean(held)
    if before >= most:
        return
    after, minutes = percent(3600.0 * RISE_H), 60.0 * RISE_H
    if after > most:
        after = most
        minutes = brentq(lambda s: percent(s) - most, 0.0, 3600.0 * RISE_H) / 60.0
    yield Expected(
        key="rh_rise_percent",
        what="room humidity after a start",
        how="log it, doors and windows shut",
        value=after - before,
        off=RISE_FRAC * (after - before),
        text=f"{before:.0f} to {after:.0f} % in {minutes:.0f} min"
        + (", the set-point" if after == most else ""),
        tolerance=f"±{100.0 * RISE_FRAC:.0f} %",
    )


def _may_run(result: Comparison, equipment: Equipment, near: BoolArray) -> float:
    """Return the part of an hour in which it may run, at a temperature. [-]."""
    call, system = getattr(equipment, "call", "always"), result.case.air_system
    if system is None or call in ("always", "humidity"):
        return 1.0
    part = system.heat_frac
    if call == "blower" and system.blower_frac is not None:
        part = system.blower_frac
    hourly = result.case.hourly_mean(np.broadcast_to(part, result.case.n_steps))
    return float(np.mean(hourly, where=near))


def humidity_rise(
    given_kg_s: float,
    seconds: float,
    *,
    exchange_kg_s: float,
    dry_air_kg: float,
    buffer_kg_s: float = 0.0,
    buffer_kg: float = 0.0,
) -> float:
    """Rise of a room's humidity ratio after a humidifier starts, all else steady. [kg/kg].

    Parameters
    ----------
    given_kg_s : float
        Vapour given. [kg/s]
    seconds : float
        Time since. [s]
    exchange_kg_s : float
        Dry air exchanged. [kg/s]
    dry_air_kg : float
        Of the room. [kg]
    buffer_kg_s, buffer_kg : float
        Conductance to the moisture buffer and its capacity; 0 is no buffer. [kg/s, kg]

    Notes
    -----
    *Source.* Balances of room and buffer, two linear equations, solved by the matrix exponential.

    Examples
    --------
    Two kilograms an hour into 450 m3 of dry air of 1.2 kg/m3, without losses, in one hour:

    >>> round(1e3 * humidity_rise(2 / 3600, 3600.0, exchange_kg_s=0.0, dry_air_kg=540.0), 2)
    3.7
    """
    stored = buffer_kg if buffer_kg > 0.0 else 1.0
    rates = np.array(
        [
            [
                -(exchange_kg_s + buffer_kg_s) / dry_air_kg,
                buffer_kg_s / dry_air_kg,
                given_kg_s / dry_air_kg,
            ],
            [buffer_kg_s / stored, -buffer_kg_s / stored, 0.0],
            [0.0, 0.0, 0.0],
        ]
    )
    return float(expm(seconds * rates)[0, 2])
