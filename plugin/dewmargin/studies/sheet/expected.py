"""How a unit runs near an outdoor temperature, and what is to be measured there."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.contracts import FEED_FRAC, Reading, Work
from dewmargin.physics import moist_air_state
from dewmargin.site import circuit, commissioning, plumbing
from dewmargin.studies.sheet.device import call_of, in_ducts, units_alike

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dewmargin.columns import BoolArray
    from dewmargin.contracts import Equipment, FeedWater, SiteAnswer, Words
    from dewmargin.studies.compare.comparison import Comparison
    from dewmargin.studies.compare.option import Option

RISE_H = 3.0  # how long room humidity is watched after a start
FEED_KEY = "feed_kg_h"  # of the reading that line and drain are fitted for
# Of readings that are told for any device.
ROOM_KEYS = {"run_min_h", "rh_rise_percent", "static_pa", "valve_v"}
# Tolerances of what is measured, beside those of `contracts`; common practice, no source.
RISE_FRAC, RUN_FRAC, PRESSURE_FRAC = 0.5, 0.2, 0.2


def at_work(
    result: Comparison, option: Option, equipment: Equipment, water: FeedWater, near: BoolArray
) -> Work | None:
    """Return how a unit runs in the hours near a temperature; None: it does not."""
    case, out = result.case, option.outcome
    ran = np.where(near, out.running_frac, 0.0)
    hours = float(ran.sum()) * units_alike(equipment)
    if hours == 0.0:
        return None

    def mean(values: np.ndarray, weights: np.ndarray = ran) -> float:
        return float(np.average(values, weights=weights))

    feed_kg_h = float(np.sum(out.feed_kg, where=ran > 0.0)) / hours
    t_feed_c = mean(case.hourly_mean(water.arriving(max(feed_kg_h / 3600.0, 1e-9)).t_feed_c))
    t_in_c, moved, heated_h = mean(result.hours.t_air_c), np.inf, np.zeros(1)
    full = np.inf
    if in_ducts(equipment) and case.air_system is not None:
        full = case.air_system.full_airflow_kg_s
        moved = mean(case.hourly_mean(np.asarray(case.air_system.off_airflow_kg_s)))
        heats = np.broadcast_to(case.air_system.heat_frac, case.n_steps)
        heated_h = ran * case.hourly_mean(heats)
        if heated_h.any():
            t_in_c = mean(case.hourly_mean(case.air_system.t_supply_c), heated_h)
            moved = mean(case.hourly_mean(np.asarray(case.air_system.airflow_kg_s)), heated_h)
    return Work(
        feed_kg_h=feed_kg_h,
        evaporation_kg_h=float(np.sum(out.added_kg, where=ran > 0.0)) / hours,
        t_feed_c=t_feed_c,
        t_in_c=t_in_c,
        w_kg_kg=mean(out.w_kg_kg),
        p_pa=mean(result.hours.p_pa),
        t_room_c=mean(result.hours.t_air_c),
        airflow_kg_s=moved,
        blower_frac=moved / full if np.isfinite(full) else 1.0,
        heated=bool(heated_h.any()),
        quality=water.quality,
        hot_line=water.line if t_feed_c > plumbing.HOT_C else None,
    )


def as_read(work: Work | None, answer: SiteAnswer) -> Work | None:
    """Return how a unit runs, with the feed that its device tells instead of the year's."""
    told = next((each.value for each in answer.readings if each.key == FEED_KEY), None)
    return work if work is None or told is None else replace(work, feed_kg_h=told)


def readings(
    result: Comparison,
    option: Option,
    equipment: Equipment,
    work: Work | None,
    answer: SiteAnswer,
    near: BoolArray,
    words: Words,
) -> Iterator[Reading]:
    """Yield what to measure: a unit's water and air, the room, the circuit."""
    if work is not None:
        if all(each.key != FEED_KEY for each in answer.readings):
            yield _feed(work, words)
        yield from answer.readings
        run_min = 60.0 * float(np.mean(option.outcome.running_frac, where=near))
        yield Reading(
            key="run_min_h",
            what="run time",
            how="controller's log, over a day",
            value=run_min,
            off=RUN_FRAC * run_min,
            text=f"{run_min:.0f} min an hour" if run_min >= 1.0 else "less than a minute an hour",
            tolerance=f"±{max(RUN_FRAC * run_min, 1.0):.0f} min",
        )
        yield from _rise(result, option, equipment, work, near)
    if answer.plenums_pa is not None:
        yield _between_plenums(answer.plenums_pa, words)
    yield Reading(
        key="valve_v",
        what="volts at the valve",
        how="meter, while it draws",
        value=circuit.NOMINAL_V,
        off=circuit.NOMINAL_V - commissioning.LEAST_V,
        text=f"{circuit.NOMINAL_V:.0f} V",
        tolerance=f"at least {commissioning.LEAST_V:.1f}",
    )


def _feed(work: Work, words: Words) -> Reading:
    """Return the feed of a device that does not tell where it can be caught."""
    return Reading(
        key=FEED_KEY,
        what="feed of a unit",
        how="read a meter, or count its fills, over an hour of running",
        value=work.feed_kg_h,
        off=FEED_FRAC * work.feed_kg_h,
        text=f"{words.volume(work.feed_kg_h)} an hour",
        tolerance=f"±{100.0 * FEED_FRAC:.0f} %",
    )


def _between_plenums(laid_out_pa: float, words: Words) -> Reading:
    known = not math.isnan(laid_out_pa)
    low, high = commissioning.STATIC_PA
    if known:
        low, high = (1.0 - PRESSURE_FRAC) * laid_out_pa, (1.0 + PRESSURE_FRAC) * laid_out_pa
    return Reading(
        key="static_pa",
        what="pressure between the plenums",
        how="manometer, bypass open",
        value=(low + high) / 2.0,
        off=(high - low) / 2.0,
        text=words.pressure(low, high),
        tolerance="as laid out" if known else "usual",
    )


def _rise(
    result: Comparison, option: Option, equipment: Equipment, work: Work, near: BoolArray
) -> Iterator[Reading]:
    """Yield how the room's humidity rises after a start, from the air without a humidifier."""
    from scipy.optimize import brentq  # noqa: PLC0415 - slow to import

    case, hours = result.case, result.hours

    def mean(values: np.ndarray) -> float:
        return float(np.mean(values, where=near & np.isfinite(values)))

    t_c, p_pa = mean(hours.t_air_c), mean(hours.p_pa)
    dry = mean(result.options[0].outcome.w_kg_kg)
    held = option.rh_setpoint_frac
    all_kg_h = units_alike(equipment) * work.evaporation_kg_h
    given_kg_h = _may_run(result, equipment, near) * all_kg_h
    if held is None or not np.isfinite(held[near]).any() or given_kg_h == 0.0:
        return

    def percent(seconds: float) -> float:
        risen = dry + humidity_rise(
            given_kg_h / 3600.0,
            seconds,
            exchange_kg_s=mean(hours.exchange_kg_s),
            dry_air_kg=case.dry_air_kg,
            buffer_kg_s=case.buffer_kg_s,
            buffer_kg=case.buffer_kg,
        )
        return 100.0 * moist_air_state.relative_humidity(t_c, risen, p_pa)

    before, most = percent(0.0), 100.0 * mean(held)
    if before >= most:
        return
    after, minutes = percent(3600.0 * RISE_H), 60.0 * RISE_H
    if after > most:
        after = most
        minutes = brentq(lambda s: percent(s) - most, 0.0, 3600.0 * RISE_H) / 60.0
    yield Reading(
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
    call, system = call_of(equipment), result.case.air_system
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
    from scipy.linalg import expm  # noqa: PLC0415 - slow to import

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
