"""One page for the site: what to fit, what to set, what to measure, what to watch."""

from __future__ import annotations

import textwrap
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import BaseModel
from scipy.linalg import expm

from dewmargin import air
from dewmargin.equipment.humidifier import Inlet
from dewmargin.equipment.steam_humidifier import SteamHumidifier
from dewmargin.equipment.wetted_pad import WettedPad
from dewmargin.errors import InputError
from dewmargin.inputs import UNITS
from dewmargin.onsite import circuit, commissioning, plumbing, sensor
from dewmargin.onsite.finding import CAUTIONS
from dewmargin.pages import render
from dewmargin.reports.tables import rows
from dewmargin.result_tables import SETTING_STEP_K, limits_table, settings_table
from dewmargin.units import FOOT_M, GALLON_L, INCH_M, INCH_OF_WATER_PA, POUND_KG

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from dewmargin.columns import BoolArray
    from dewmargin.comparison import Comparison
    from dewmargin.contracts import Equipment, FeedWater
    from dewmargin.equipment.supply import Supply
    from dewmargin.equipment.wetted_pad import AtWork
    from dewmargin.options import Option
    from dewmargin.units import Units

RISE_H = 3.0  # how long room humidity is watched after a start
# Tolerances of what is measured, beside those of `commissioning`; common practice, no source.
DRAIN_FRAC, OUT_K, RISE_FRAC, RUN_FRAC = 0.05, 1.5, 0.5, 0.2
LEAST_BORE_MM = 13.0  # of a drain; common practice, no source
LEAST_CATCH_KG_H = 0.1  # less takes hours to catch
MOST_NOTES, MOST_ROWS = 2, 11  # on the page; all of them stand in the text
MOST_FACES = 3  # of today, those that sweat first
MM_M = 1000.0
_WIDTH = 72  # of the text: a terminal, or a phone held across
_OF_PADS = {"drain_hot", "not_cooled", "no_drain", "airflow_low", "blown_off"}
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
    "always": "whenever the air is too dry",
    "heating": "only while the plant heats",
    "blower": "whenever the blower runs",
    "humidity": "whenever the air is too dry, and starts the blower for it",
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
            elif isinstance(value, float):
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
    return f"{row['t_out_c']:4.0f} °C {row['t_out_f']:4.0f} °F  {row['rh_set_percent']:3d} %{limit}"


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
        t_out_c = at_c = round(t_out_c, 2)  # converted from °F it may miss an hour by a bit
    near = np.abs(result.hours.t_out_c - at_c) <= SETTING_STEP_K / 2
    work = _at_work(result, chosen, equipment, water, near)
    notes = list(chosen.notes)
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
        assumed=tuple(_assumed(result, equipment, supply, words)),
        fit=tuple(_fit(equipment, water, work, words)),
        settings=tuple(
            dict(row)
            for row in rows(settings_table(result, step_percent=step_percent))
            if row["strategy"] == chosen.strategy
        ),
        today=today,
        at_c=at_c,
        expected=tuple(_expected(result, chosen, equipment, work, near, words)),
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


def _today(
    result: Comparison, option: Option, t_out_c: float, step_percent: int
) -> dict[str, Any] | None:
    """Return the row to set at a temperature, and each surface's limit there."""
    found = rows(settings_table(result, [t_out_c], step_percent=step_percent))
    row = next((row for row in found if row["strategy"] == option.strategy), None)
    if row is None:
        return None
    return {**row, "limits": [dict(each) for each in rows(limits_table(result, [t_out_c]))]}


def _assumed(
    result: Comparison, equipment: Equipment, supply: Supply, words: _Words
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
    equipment: Equipment, water: FeedWater, work: _Work | None, words: _Words
) -> Iterator[str]:
    """Yield what to fit, and how."""
    units = getattr(equipment, "count", 1)
    call = getattr(equipment, "call", "always")
    kind = getattr(equipment, "kind", type(equipment).__name__)
    ducted = call != "always" or getattr(equipment, "arrangement", "room") != "room"
    yield (
        f"{units} x {equipment.name} ({kind.replace('_', ' ')}), level, filter within "
        f"reach; it runs {_RUNS[call]}."
    )
    hottest_c = float(water.t_start_c.max())
    fit = [name for name, (most_c, _) in plumbing.MATERIALS.items() if hottest_c <= most_c]
    tubes = ", ".join(name.replace("_", " ") for name in fit)
    purge = (
        "" if work is None or work.purge_s is None else f" It is hot after {work.purge_s:.0f} s."
    )
    hot = (
        " Label it hot; other plastic turns soft and brittle." if hottest_c > plumbing.HOT_C else ""
    )
    yield f"Feed line for {_both(hottest_c)}: {tubes}.{hot}{purge}"
    yield (
        "Tap: a tee and a full-port ball valve; feed valve shut without power; feed's end above "
        "the flood rim, or a listed backflow device. Watch the line under pressure for leaks "
        "before going on."
    )
    if work is not None and work.feed_kg_h > 1.001 * work.evaporation_kg_h:
        gap = words.length(plumbing.AIR_GAP_MM)
        trap = f", trap deeper than {words.length(plumbing.seal_mm(commissioning.STATIC_PA[1]))}"
        yield (
            f"Drain: {words.length(LEAST_BORE_MM)} bore or more, falling by 1 in "
            f"{1.0 / plumbing.LEAST_FALL:.0f}, for all of the feed as hot as it comes; air gap of "
            f"{gap}, or {plumbing.AIR_GAP_OPENINGS:.0f} openings if more"
            f"{trap if ducted else ''}."
        )
    least, good = (
        words.length(MM_M * each) for each in (sensor.LEAST_UPSTREAM_M, sensor.GOOD_UPSTREAM_M)
    )
    yield (
        f"Humidity sensor: in the return, {least} upstream of the take-off at least, {good} "
        "preferred, or on an inner wall. "
        "Outdoor sensor: shaded, away from vents."
    )
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
        yield "Its mains supply, flue and high limit in the duct are licensed work."


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
        yield from _of_water(work, words)
    if work is not None and work.pad is not None:
        yield _cooled(work.pad, words)
    if work is not None:
        run_min = 60.0 * float(np.mean(option.outcome.running_frac, where=near))
        yield Expected(
            key="run_min_h",
            what="run time",
            how="controller's log, over a day",
            value=run_min,
            off=RUN_FRAC * run_min,
            text=f"{run_min:.0f} min an hour",
            tolerance=f"±{100.0 * RUN_FRAC:.0f} %",
        )
        yield _rise(result, equipment, work, near)
    if isinstance(equipment, WettedPad) and equipment.arrangement == "bypass":
        low, high = commissioning.STATIC_PA
        yield Expected(
            key="static_pa",
            what="pressure between the plenums",
            how="manometer, bypass open",
            value=(low + high) / 2.0,
            off=(high - low) / 2.0,
            text=words.pressure(low, high),
            tolerance="usual",
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


def _catch(key: str, what: str, how: str, kg_h: float, frac: float, words: _Words) -> Expected:
    """Return a flow of water, to be caught and timed."""
    return Expected(
        key=key,
        what=what,
        how=how,
        value=kg_h,
        off=frac * kg_h,
        text=words.catch(kg_h) if kg_h > LEAST_CATCH_KG_H else "next to nothing",
        tolerance=f"±{100.0 * frac:.0f} %",
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


def _of_water(work: _Work, words: _Words) -> Iterator[Expected]:
    steady = "once it no longer changes"
    if work.purge_s is not None:
        steady = f"after {2.0 * work.purge_s:.0f} s, two fillings of the line"
    yield _catch(
        "feed_kg_h",
        "feed of a unit",
        "timed catch at the nozzle, or at the drain with the blower off",
        work.feed_kg_h,
        commissioning.FEED_FRAC,
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
        how = "timed catch after 15 min wet; weigh it"
        yield _catch("drain_kg_h", "drain of a unit", how, drain_kg_h, DRAIN_FRAC, words)
        if work.pad is not None:
            yield _degrees(
                "t_drain_c",
                "drain",
                "probe in the stream; warmer: the feed runs past the pad",
                float(work.pad.t_drain_c.item()),
                commissioning.DRAIN_K,
                words,
            )


def _cooled(pad: AtWork, words: _Words) -> Expected:
    t_in, t_out = float(pad.t_in_c.item()), float(pad.t_out_c.item())
    return Expected(
        key="cooled_k",
        what="air across the pad",
        how="two probes, shielded from radiation and drops, in a call for heat",
        value=t_in - t_out,
        off=OUT_K,
        text=f"{words.between(t_in, t_out)}, {words.apart(t_in - t_out, '.0f')} cooler",
        tolerance=f"±{words.apart(OUT_K)}",
    )


def _rise(result: Comparison, equipment: Equipment, work: _Work, near: BoolArray) -> Expected:
    """Return how far the room's humidity rises after a start, from the air without a humidifier."""
    case, hours = result.case, result.hours

    def mean(values: np.ndarray) -> float:
        return float(np.mean(values, where=near))

    share = 1.0
    if getattr(equipment, "call", "always") == "heating" and case.air_system is not None:
        heats = np.broadcast_to(case.air_system.heat_frac, case.n_steps)
        share = mean(case.hourly_mean(heats))
    given_kg_h = getattr(equipment, "count", 1) * share * work.evaporation_kg_h
    t_c, p_pa = np.array(mean(hours.t_air_c)), np.array(mean(hours.p_pa))
    dry = mean(result.options[0].outcome.w_kg_kg)
    risen = dry + humidity_rise(
        given_kg_h / 3600.0,
        3600.0 * RISE_H,
        exchange_kg_s=mean(hours.exchange_kg_s),
        dry_air_kg=case.dry_air_kg,
        buffer_kg_s=case.buffer_kg_s,
        buffer_kg=case.buffer_kg,
    )
    before, after = (
        100.0 * float(air.relative_humidity(t_c, np.array(w), p_pa)) for w in (dry, risen)
    )
    return Expected(
        key="rh_rise_percent",
        what=f"room humidity, {RISE_H:.0f} h after a start",
        how="log it, doors and windows shut; stops at the set-point",
        value=after - before,
        off=RISE_FRAC * (after - before),
        text=f"{before:.0f} to {after:.0f} %, {after - before:.0f} points more",
        tolerance=f"±{100.0 * RISE_FRAC:.0f} %",
    )


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
