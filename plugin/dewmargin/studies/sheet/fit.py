"""What is to be fitted: units, feed line, tap, drain, sensors, circuit."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from dewmargin.contracts import Words
from dewmargin.site import circuit, commissioning, plumbing, sensor
from dewmargin.studies.sheet.device import RUNS, call_of, in_ducts, units_alike

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dewmargin.contracts import Equipment, FeedWater, SiteAnswer, Work
    from dewmargin.equipment.supply import Supply

BORES_MM = (13.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0)  # of drains; common practice, no source
_DRAINS_FRAC = 1.001  # of what evaporates: more that is fed needs a drain
_MM_M = 1000.0


def to_fit(
    equipment: Equipment,
    supply: Supply,
    water: FeedWater,
    work: Work | None,
    answer: SiteAnswer,
    words: Words,
) -> Iterator[str]:
    """Yield what to fit, and how."""
    call = call_of(equipment)
    kind = getattr(equipment, "kind", type(equipment).__name__).replace("_", " ")
    placed = f", {answer.placed}" if answer.placed else ""
    units = units_alike(equipment)
    yield f"{units} x {equipment.name} ({kind}){placed}; it runs {RUNS[call]}."
    yield _line(supply, water, work)
    yield from _tap_and_drain(equipment, work, answer, words)
    yield _sensors(equipment, words)
    yield (
        f"{circuit.NOMINAL_V:.0f} V: a transformer of its own, or a shared one loaded to "
        f"{100.0 * circuit.DESIGN_FRAC:.0f} % at most."
    )
    if call == "humidity":
        yield (
            "Blower: call it at the thermostat's fan terminal through an isolating relay; a "
            "terminal live only with the blower cannot start it."
        )
    yield from answer.fit


def _line(supply: Supply, water: FeedWater, work: Work | None) -> str:
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
    return f"Feed line for {Words.both(hottest_c)}: {tubes}.{hot}"


def _tap_and_drain(
    equipment: Equipment, work: Work | None, answer: SiteAnswer, words: Words
) -> Iterator[str]:
    feed_kg_h = 0.0 if work is None else units_alike(equipment) * work.feed_kg_h
    valve = "" if answer.runs_on else "feed valve shut without power; "
    yield (
        f"Tap: a tee and a full-port ball valve; {valve}feed's end above the flood rim, or a "
        "listed backflow device. Watch the line under pressure for leaks before going on."
    )
    if answer.runs_on and work is not None:
        yield f"The feed runs on: {words.volume(24.0 * feed_kg_h)} a day to the drain."
    drains = work is not None and work.feed_kg_h > _DRAINS_FRAC * work.evaporation_kg_h
    if answer.drain:
        yield f"Drain: {answer.drain}; air gap of {words.length(plumbing.AIR_GAP_MM)} at least."
    elif answer.drain is not None or drains:
        yield _drain(equipment, answer, feed_kg_h, words)
    yield from answer.water


def _drain(equipment: Equipment, answer: SiteAnswer, feed_kg_h: float, words: Words) -> str:
    enough = (
        bore
        for bore in BORES_MM
        if plumbing.drain_capacity_kg_h(bore, plumbing.LEAST_FALL) >= feed_kg_h
    )
    gap = words.length(plumbing.AIR_GAP_MM)
    trap = ""
    if in_ducts(equipment):
        duct_pa = commissioning.STATIC_PA[1]
        if answer.plenums_pa is not None and not math.isnan(answer.plenums_pa):
            duct_pa = max(duct_pa, answer.plenums_pa)
        trap = f", trap deeper than {words.length(plumbing.seal_mm(duct_pa))}"
    return (
        f"Drain: {words.length(next(enough, BORES_MM[-1]))} bore or more, falling by 1 in "
        f"{1.0 / plumbing.LEAST_FALL:.0f}, for all of the feed as hot as it comes; air gap of "
        f"{gap}, or {plumbing.AIR_GAP_OPENINGS:.0f} x its opening if more{trap}."
    )


def _sensors(equipment: Equipment, words: Words) -> str:
    if not in_ducts(equipment):
        return (
            "Humidity sensor: on an inner wall, away from the unit, doors and sun. Outdoor sensor: "
            "shaded, away from vents."
        )
    least, good = (
        words.length(_MM_M * each) for each in (sensor.LEAST_UPSTREAM_M, sensor.GOOD_UPSTREAM_M)
    )
    return (
        f"Humidity sensor: in the return, {least} upstream of the take-off at least, {good} "
        "preferred, or on an inner wall. "
        "Outdoor sensor: shaded, away from vents."
    )
