"""Plumbing of the feed: material, purge, water heater, valve, backflow, drain and trap."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.checks import require_between
from dewmargin.errors import InputError
from dewmargin.physics import air, moist_air_state, pad
from dewmargin.site.finding import CAUTIONS, TRADE, Finding, SiteCheck, judge

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dewmargin.physics.water_line import WaterLine

GRAVITY_M_S2 = 9.80665
HOT_C = 40.0  # a hot feed; no mains is as warm; common practice, no source
# Hottest water that a line takes, and who says so.
MATERIALS = {
    "copper": (math.inf, TRADE),
    "pex": (82.0, "piping reference page: 180 °F"),
    "cpvc": (82.0, "from memory"),
    "plain_plastic": (HOT_C, TRADE),
}
TANKLESS_L_MIN = 1.9  # 0.5 gpm: a building-science page on the least flow of tankless heaters
LEAST_HOT_FRAC = 0.5  # of a run on hot water, below which a hot feed is for nothing; no source
AIR_GAP_MM, AIR_GAP_OPENINGS = 25.0, 2.0
VALVES = ("tee", "saddle")
PRESSURE_FRAC = 0.10  # of the feed, as its tolerance at a visit
LEAST_FALL = 0.01  # 1 in 100; common practice, no source
_MANNING_N = 0.010  # smooth plastic or copper; from memory
_SHOWN_PAD = {"airflow_kg_s": 0.09, "t_in_c": 45.0, "effectiveness": 0.65}
_SHOWN_ROOM_C, _SHOWN_ROOM_RH = 20.0, 0.30
SECONDS_PER_HOUR = 3600.0


def line_material(material: str, t_water_c: float, *, of: str = "feed line") -> Finding:
    """Tell whether a line or drain is made for its water. [°C].

    Raises
    ------
    InputError
        If the material is not known.
    """
    if material not in MATERIALS:
        raise InputError(
            f"{material[:60]!r} is not known",
            where=f"{of}: material",
            hint=f"one of: {', '.join(MATERIALS)}",
        )
    require_between(of, "t_water_c", t_water_c, 0.0, 100.0)
    most, source = MATERIALS[material]
    name = material.replace("_", " ")
    return judge(
        t_water_c <= most,
        good=f"{of} of {name} for water of {t_water_c:.0f} °C",
        bad=f"{of} of {name} for water of {t_water_c:.0f} °C: up to {most:.0f} °C at most",
        why="heat makes ordinary plastic tube soft and brittle: it bursts at its fittings",
        source=source,
        action="run copper, or tube rated for this temperature, or feed cold",
    )


def hot_share(line: WaterLine, feed_kg_h: float, run_min: float) -> float:
    """Share of a run in which hot water arrives, if the line had cooled before. [-]."""
    require_between("feed line", "feed_kg_h", feed_kg_h, 1e-3, 1e4)
    require_between("feed line", "run_min", run_min, 1e-3, math.inf)
    return max(0.0, 1.0 - line.purge_s(feed_kg_h / SECONDS_PER_HOUR) / (60.0 * run_min))


def purge(line: WaterLine, feed_kg_h: float, run_min: float) -> Finding:
    """Tell whether hot water arrives soon enough in a run."""
    share = hot_share(line, feed_kg_h, run_min)
    seconds = line.purge_s(feed_kg_h / SECONDS_PER_HOUR)
    what = f"hot water after {seconds:.0f} s: {100.0 * share:.0f} % of a run of {run_min:g} min"
    return judge(
        share >= LEAST_HOT_FRAC,
        good=what,
        bad=f"{what}, less than half",
        why="what the line holds has cooled and comes first",
        action="shorten the line, take a smaller bore, or feed cold",
    )


def tankless(feed_kg_h: float, least_l_min: float = TANKLESS_L_MIN) -> Finding:
    """Tell whether a feed alone makes a tankless water heater fire."""
    flow = feed_kg_h / air.WATER_KG_M3 * 1e3 / 60.0
    return judge(
        flow >= least_l_min,
        good=f"{flow:.2f} l/min starts a tankless heater ({least_l_min:g} l/min)",
        bad=f"{flow:.2f} l/min does not start a tankless heater ({least_l_min:g} l/min)",
        why="below its least flow it does not fire: the feed stays cold",
        source="a building-science page: 0.5 gpm is usual; see the heater's own",
        action="feed cold, or from a tank",
    )


def feed_valve(tap: str, *, normally_closed: bool) -> list[Finding]:
    """Tell whether the tap and the valve of the feed are of a good kind.

    Raises
    ------
    InputError
        If the tap is not known.
    """
    if tap not in VALVES:
        raise InputError(
            f"{tap[:60]!r} is not known", where="tap", hint=f"one of: {', '.join(VALVES)}"
        )
    return [
        judge(
            tap == "tee",
            good="tapped by a tee with a full-port ball valve",
            bad="tapped by a self-piercing saddle valve",
            why="saddle valves clog and leak, and many codes bar them",
            source="IPC 605 and UPC, from memory; check the local code",
            action="fit a tee and a full-port ball valve that can be reached",
        ),
        judge(
            normally_closed,
            good="the feed valve shuts without power",
            bad="the feed valve opens without power",
            why="without power it would run on",
            action="fit a normally closed valve",
        ),
    ]


def backflow(*, protected: bool) -> Finding:
    """Tell whether drinking water is safe from what is in the cabinet."""
    return judge(
        protected,
        good="the feed ends above the flood rim, or behind a listed device",
        bad="the feed can be drowned, without a backflow device",
        why="a fall of pressure would suck cabinet water into the drinking water",
        source="IPC 608, from memory; check the local code",
        action="raise the feed's end above the flood rim, or fit a listed device",
        severity="stop",
    )


def air_gap(gap_mm: float, opening_mm: float) -> Finding:
    """Tell whether the drain ends high enough above its receptor. [mm]."""
    require_between("drain", "gap_mm", gap_mm, 0.0, math.inf)
    require_between("drain", "opening_mm", opening_mm, 0.0, math.inf)
    least = max(AIR_GAP_MM, AIR_GAP_OPENINGS * opening_mm)
    return judge(
        gap_mm >= least,
        good=f"air gap of {gap_mm:.0f} mm at the drain",
        bad=f"air gap of {gap_mm:.0f} mm at the drain: at least {least:.0f} mm",
        why="sewage must not reach the humidifier: an indirect waste with an air gap of twice the "
        "opening, at least 25 mm",
        source="New Jersey plumbing code ch. 9; IPC 2018 802.1 (indirect waste)",
        action="raise the drain's end, never push it into the waste pipe",
    )


def drain_capacity_kg_h(bore_mm: float, fall: float) -> float:
    r"""Flow of a half-full drain. [kg/h].

    .. math:: Q = \frac{1}{n} A R^{2/3} S^{1/2}, \quad A = \pi d^2/8, \; R = d/4

    Parameters
    ----------
    bore_mm : float
        [mm]
    fall : float
        Height over length, 0 to 1. [-]

    Notes
    -----
    *Source.* Manning's formula with n = 0.010 for smooth tube, from memory. In a bore below 13 mm
    drops and slime can stop a trickle that the formula passes.
    """
    require_between("drain", "bore_mm", bore_mm, 1.0, 1e3)
    require_between("drain", "fall", fall, 0.0, 1.0)
    bore_m = 1e-3 * bore_mm
    speed = math.pow(bore_m / 4.0, 2.0 / 3.0) * math.sqrt(fall) / _MANNING_N
    return SECONDS_PER_HOUR * air.WATER_KG_M3 * math.pi / 8.0 * bore_m**2 * speed


def drain(bore_mm: float, fall: float, feed_kg_h: float) -> list[Finding]:
    """Tell whether a drain falls, and carries all of the feed."""
    most = drain_capacity_kg_h(bore_mm, fall)
    return [
        judge(
            fall >= LEAST_FALL,
            good=f"the drain falls by {100.0 * fall:.1f} %",
            bad=f"the drain falls by {100.0 * fall:.1f} %: at least 1 %",
            why="water that stands grows slime",
            action="re-hang it without sags",
        ),
        judge(
            most >= feed_kg_h,
            good=f"the drain carries {most:.0f} kg/h half full, the feed is {feed_kg_h:g}",
            bad=f"the drain carries {most:.0f} kg/h half full, less than the feed of {feed_kg_h:g}",
            why="with the valve stuck open, or the pad bypassed, all of the feed drains",
            source="Manning's formula, from memory",
            action="fit a larger drain, then pour the whole feed through it as a trial",
        ),
    ]


def seal_mm(duct_pa: float) -> float:
    """Water column that a duct pressure, of either sign, holds. [mm].

    Examples
    --------
    >>> round(seal_mm(125.0), 1)
    12.7
    """
    return 1e3 * abs(duct_pa) / (air.WATER_KG_M3 * GRAVITY_M_S2)


def trap(duct_pa: float, depth_mm: float) -> Finding:
    """Tell whether a trap's seal is deeper than the duct's pressure; depth 0 for no trap."""
    require_between("trap", "depth_mm", depth_mm, 0.0, 1e4)
    least = seal_mm(duct_pa)
    have = f"a seal of {depth_mm:.0f} mm" if depth_mm else "no trap"
    suction = duct_pa < 0.0
    return judge(
        depth_mm > least or duct_pa == 0.0,
        good=f"{have} against {duct_pa:.0f} Pa ({least:.1f} mm)",
        bad=f"{have} against {duct_pa:.0f} Pa: more than {least:.1f} mm",
        why="suction holds the water in the cabinet, or draws air from the waste"
        if suction
        else "duct air blows out through the drain",
        action="fit a deeper trap, and fill it before the season",
        severity="fix" if suction else "note",
    )


def pump(feed_kg_h: float, lifts_kg_h: float) -> Finding:
    """Tell whether a condensate pump lifts all of the feed."""
    require_between("pump", "lifts_kg_h", lifts_kg_h, 0.0, 1e6)
    return judge(
        lifts_kg_h >= feed_kg_h,
        good=f"the pump lifts {lifts_kg_h:g} kg/h, the feed is {feed_kg_h:g}",
        bad=f"the pump lifts {lifts_kg_h:g} kg/h, less than the feed of {feed_kg_h:g}",
        why="with the pad bypassed all of the feed drains",
        action="fit a larger pump; at the height it lifts to, by its curve",
    )


def pump_temperature(t_feed_c: float, rated_c: float) -> Finding:
    """Tell whether a condensate pump stands the feed, which may drain as hot as it came."""
    return judge(
        rated_c >= t_feed_c,
        good=f"a pump for {rated_c:.0f} °C with feed of {t_feed_c:.0f} °C",
        bad=f"a pump for {rated_c:.0f} °C with feed of {t_feed_c:.0f} °C",
        why="what runs past the pad drains as hot as it came",
        action="fit a pump rated for it, or feed colder",
    )


def pump_switch(*, shuts_feed: bool) -> Finding:
    """Tell whether a condensate pump that fails stops the feed."""
    return judge(
        shuts_feed,
        good="the pump's high-level switch shuts the feed valve",
        bad="the pump has no high-level switch that shuts the feed valve",
        why="when the pump fails, the feed runs over",
        action="wire its high-level switch into the valve's circuit",
    )


def feed_at_pressure(feed_kg_h: float, set_bar: float, now_bar: float) -> float:
    r"""Feed of an orifice at another pressure of the line. [kg/h].

    .. math:: L = L_0 \sqrt{p / p_0}

    Parameters
    ----------
    feed_kg_h : float
        As it was set. [kg/h]
    set_bar, now_bar : float
        Pressure when it was set, and now, above that of the room. [bar]

    Notes
    -----
    *Source.* Turbulent flow through an orifice.
    """
    require_between("pressure", "set_bar", set_bar, 1e-3, 100.0)
    require_between("pressure", "now_bar", now_bar, 0.0, 100.0)
    return feed_kg_h * math.sqrt(now_bar / set_bar)


def line_pressure(feed_kg_h: float, set_bar: float, now_bar: float) -> Finding:
    """Tell whether the line's pressure leaves the feed as it was set."""
    share = feed_at_pressure(1.0, set_bar, now_bar)
    found = f"{now_bar:g} bar, set at {set_bar:g}: {share * feed_kg_h:.1f} kg/h of {feed_kg_h:g}"
    return judge(
        abs(share - 1.0) <= PRESSURE_FRAC,
        good=found,
        bad=f"{found}, off by more than 10 %",
        why="the feed goes with the square root of the line's pressure",
        action="set it anew at the usual pressure, or fit a pressure reducer",
    )


def leak_check(*, checked: bool) -> Finding:
    """Tell whether work may go on after a new line."""
    return judge(
        checked,
        good="the new line was checked for leaks under pressure",
        bad="the new line was not checked for leaks",
        why="a leak above a furnace or in a wall is found too late",
        action="open the tap with the valve shut, dry and watch every joint, then go on",
        severity="stop",
    )


def hot_feed_saving(t_feed_c: float, t_cold_c: float, feed_kg_h: float) -> float:
    """Water saved for each kilogram evaporated by a warmer feed at the same orifice. [-].

    Of a pad in a bypass: 0.09 kg/s of air at 45 °C from a room at 20 °C and 30 %, effectiveness
    0.65, all of the feed wetting it. Below 0 if the feed is the colder one.
    """
    w_room = moist_air_state.humidity_ratio_at_rh(
        _SHOWN_ROOM_C, _SHOWN_ROOM_RH, air.STANDARD_PRESSURE
    )
    given = pad.evaporate(
        w_in_kg_kg=w_room,
        p_pa=air.STANDARD_PRESSURE,
        feed_kg_s=feed_kg_h / SECONDS_PER_HOUR,
        t_feed_c=np.array([t_feed_c, t_cold_c]),
        **_SHOWN_PAD,
    ).evaporation_kg_s
    return float(1.0 - given[1] / given[0])


def hot_feed(t_feed_c: float, t_cold_c: float, feed_kg_h: float) -> Finding:
    """Tell whether a feed saves water at a fixed orifice."""
    saved = hot_feed_saving(t_feed_c, t_cold_c, feed_kg_h)
    what = f"feed of {t_feed_c:.0f} °C instead of {t_cold_c:.0f} °C"
    return judge(
        saved > 0.0,
        good=f"{what} takes {100.0 * saved:.0f} % less water for each kg evaporated",
        bad=f"{what} saves no water",
        why="at a fixed orifice a hotter feed evaporates more of the same water",
        source=f"{TRADE}; the number is computed for a pad in a bypass, 45 °C plenum",
        action="a smaller feed saves more water than a hotter one",
        severity="note",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Plumbing:
    """A water line as fitted; what is not given is not judged.

    Attributes
    ----------
    feed_kg_h, t_feed_c, t_cold_c
        Feed, its temperature as it enters the line, and what the cold tap gives. [kg/h, °C]
    material, drain_material
        Names of `MATERIALS`.
    line, run_min
        The line, and how long the humidifier runs after a pause. [min]
    tankless_l_min
        Least flow of the tankless heater that feeds it. [l/min]
    tap, normally_closed, backflow_protected
        Tap ("tee" or "saddle"), feed valve, protection of the drinking water.
    gap_mm, opening_mm
        Air gap and opening of the drain. [mm]
    drain_bore_mm, drain_fall
        [mm, -]
    duct_pa, trap_mm
        Pressure in the cabinet against the room, below 0 for suction, and the trap's seal. [Pa, mm]
    pump_kg_h, pump_rated_c, pump_switch
        What a condensate pump lifts, the water it is rated for, and whether its high-level switch
        shuts the feed. [kg/h, °C]
    pressure_bar, set_pressure_bar
        Of the line, now and when the feed was set. [bar]
    leak_checked
        Whether a new line was watched under pressure.

    Raises
    ------
    OutOfRangeError
        If the feed is out of range.
    """

    feed_kg_h: float
    t_feed_c: float
    t_cold_c: float | None = None
    material: str | None = None
    drain_material: str | None = None
    line: WaterLine | None = None
    run_min: float = 10.0
    tankless_l_min: float | None = None
    tap: str | None = None
    normally_closed: bool = True
    backflow_protected: bool | None = None
    gap_mm: float | None = None
    opening_mm: float = 0.0
    drain_bore_mm: float | None = None
    drain_fall: float = LEAST_FALL
    duct_pa: float | None = None
    trap_mm: float = 0.0
    pump_kg_h: float | None = None
    pump_rated_c: float | None = None
    pump_switch: bool | None = None
    pressure_bar: float | None = None
    set_pressure_bar: float | None = None
    leak_checked: bool | None = None

    def __post_init__(self) -> None:
        """Check the feed."""
        require_between("feed", "feed_kg_h", self.feed_kg_h, 1e-3, 1e4)
        require_between("feed", "t_feed_c", self.t_feed_c, 0.0, 95.0)
        if self.t_cold_c is not None:
            require_between("feed", "t_cold_c", self.t_cold_c, 0.0, 95.0)


def check_water(given: Plumbing) -> SiteCheck:
    """Check a water line as fitted."""
    feed_kg_s = given.feed_kg_h / SECONDS_PER_HOUR
    seconds = 1800.0 / given.feed_kg_h
    numbers: dict[str, object] = {"feed_kg_h": given.feed_kg_h, "half_litre_s": seconds}
    lines = [f"feed: half a litre in {seconds:.0f} s"]
    if given.line is not None:
        arriving = float(given.line.arriving_c(np.array([given.t_feed_c]), feed_kg_s)[0])
        numbers |= {
            "t_pad_c": arriving,
            "purge_s": given.line.purge_s(feed_kg_s),
            "hot_frac": hot_share(given.line, given.feed_kg_h, given.run_min),
        }
        lines.append(f"at the pad: {arriving:.1f} °C once the line is purged")
    if given.drain_bore_mm is not None:
        numbers["drain_kg_h"] = drain_capacity_kg_h(given.drain_bore_mm, given.drain_fall)
    if given.duct_pa is not None:
        numbers["seal_mm"] = seal_mm(given.duct_pa)
    return SiteCheck(
        numbers=numbers,
        lines=tuple(lines),
        findings=(*_of_feed(given), *_of_fittings(given)),
        cautions=CAUTIONS["water"],
    )


def _of_feed(given: Plumbing) -> Iterator[Finding]:
    if given.material is not None:
        yield line_material(given.material, given.t_feed_c)
    if given.drain_material is not None:
        # If nothing touches the pad, the feed drains as hot as it came.
        yield line_material(given.drain_material, given.t_feed_c, of="drain")
    if given.t_cold_c is not None:
        yield hot_feed(given.t_feed_c, given.t_cold_c, given.feed_kg_h)
    if given.line is not None and given.t_feed_c > HOT_C:
        yield purge(given.line, given.feed_kg_h, given.run_min)
    if given.pressure_bar is not None and given.set_pressure_bar is not None:
        yield line_pressure(given.feed_kg_h, given.set_pressure_bar, given.pressure_bar)
    if given.tankless_l_min is not None:
        yield tankless(given.feed_kg_h, given.tankless_l_min)


def _of_fittings(given: Plumbing) -> Iterator[Finding]:
    if given.tap is not None:
        yield from feed_valve(given.tap, normally_closed=given.normally_closed)
    if given.backflow_protected is not None:
        yield backflow(protected=given.backflow_protected)
    if given.gap_mm is not None:
        yield air_gap(given.gap_mm, given.opening_mm)
    if given.drain_bore_mm is not None:
        yield from drain(given.drain_bore_mm, given.drain_fall, given.feed_kg_h)
    if given.duct_pa is not None:
        yield trap(given.duct_pa, given.trap_mm)
    if given.pump_kg_h is not None:
        yield pump(given.feed_kg_h, given.pump_kg_h)
    if given.pump_rated_c is not None:
        yield pump_temperature(given.t_feed_c, given.pump_rated_c)
    if given.pump_switch is not None:
        yield pump_switch(shuts_feed=given.pump_switch)
    if given.leak_checked is not None:
        yield leak_check(checked=given.leak_checked)
