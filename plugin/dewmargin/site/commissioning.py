"""Commissioning: what the measured values of a running pad say about it, and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.contracts import DRAIN_K, FEED_FRAC, FEED_K
from dewmargin.core.checks import require_between
from dewmargin.errors import OutOfRangeError
from dewmargin.physics import air, media, moist_air_state, pad
from dewmargin.site.circuit import LEAST_FRAC, NOMINAL_V
from dewmargin.site.finding import CAUTIONS, TRADE, Finding, SiteCheck, judge
from dewmargin.site.plumbing import HOT_C

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from dewmargin.contracts import Symptom

SECONDS_PER_HOUR = 3600.0
# Symptom, likely cause, action; common practice, no source. The first word is the key.
SYMPTOMS: dict[str, Symptom] = {
    "drain_hot": (
        "drain much hotter than wet bulb",
        "channelling, pad dry in strips, orifice too big, pad tilted",
        "level it, clean the trough, replace the pad, reduce the orifice",
    ),
    "not_cooled": (
        "drain near feed temperature and outlet air hardly cooled",
        "pad dry or bypassed, damper closed",
        "open the damper, check the water",
    ),
    "no_drain": (
        "no drain flow, pad crusted",
        "dry-out: as much evaporates as is fed; orifice clogged",
        "raise the feed, check hardness and bleed",
    ),
    "airflow_low": (
        "outlet temperature right but evaporation low",
        "airflow low",
        "measure static pressure, check filter and damper",
    ),
    "rh_low": (
        "evaporation right but room humidity low",
        "more infiltration than estimated",
        "revise the load, not the equipment",
    ),
    "feed_low": (
        "feed low",
        "strainer, saddle valve, pressure",
        "clean, replace the valve",
    ),
    "never_hot": (
        "hot line never hot",
        "dead leg, tankless heater below its least flow",
        "shorten or narrow the line, or feed cold",
    ),
    "blown_off": (
        "water blown off the pad",
        "face velocity above about 2.5 to 3 m/s (from memory)",
        "larger pad, close the damper somewhat",
    ),
    "chatter": (
        "valve chatters or buzzes",
        "low voltage, shared transformer",
        "check the 24 V circuit",
    ),
}
EFFECTIVENESS = 0.07  # tolerance of a visit; common practice, no source
STATIC_PA = (40.0, 125.0)
LEAST_V = LEAST_FRAC * NOMINAL_V
LEAST_EVAPORATION = 0.8  # of what is expected
RH_LOW = 0.05  # below what is expected: as much as a usual sensor may be off
MOST_EVAPORATED = 0.95  # of the feed: what drains then is less than a timed catch can tell
MOST_FEED_RATIO = 2.0  # of what is needed, before the feed is called too much
NEEDED_FEED_RATIO = 1.5  # kg fed for each evaporated, if the water's hardness is not known
LEAST_RISE_K = 5.0  # of the air before the pad above the room, if the plant heats
_LEAST_COOLED_K = 1.0  # below it the airflow cannot be told from the balance
_LEAST_FEED_OFF_K = 5.0  # feed nearer to wet bulb tells nothing of the contact
_FITS_K = 0.5  # a thermometer's reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was measured on a running, wet pad, after a quarter of an hour.

    Attributes
    ----------
    feed_kg_h, drain_kg_h : float
        Timed catches. [kg/h]
    t_feed_c, t_drain_c : float
        At the nozzle, and in the drain's stream. [°C]
    t_in_c, t_out_c : float
        Air before the pad and behind it, shielded from radiation and drops. [°C]
    room_c, room_rh : float
        Room air, whose moisture the air before the pad has, but for a bypass. [°C, -]
    p_pa : float
        Station pressure. [Pa]
    static_pa : float or None
        Between the plenums, bypass open. [Pa]
    valve_v : float or None
        At the valve, drawing. [V]
    plant_kw : float or None
        Heat output of the plant in whose bypass the pad sits, of several units the share of one:
        what evaporates comes back in the air before the pad. None: no bypass. [kW]

    Raises
    ------
    OutOfRangeError
        If a value has no meaning, more drains than is fed, the plant does not heat, or the air
        would be supersaturated.
    """

    feed_kg_h: float
    drain_kg_h: float
    t_feed_c: float
    t_drain_c: float
    t_in_c: float
    t_out_c: float
    room_c: float
    room_rh: float
    p_pa: float = air.STANDARD_PRESSURE
    static_pa: float | None = None
    valve_v: float | None = None
    plant_kw: float | None = None

    def __post_init__(self) -> None:
        """Check the ranges."""
        require_between("measured", "feed_kg_h", self.feed_kg_h, 1e-3, 1e4)
        require_between("measured", "drain_kg_h", self.drain_kg_h, 0.0, 1e4)
        for name in ("t_feed_c", "t_drain_c"):
            require_between("measured", name, getattr(self, name), 0.0, 90.0)
        for name in ("t_in_c", "t_out_c", "room_c"):
            require_between("measured", name, getattr(self, name), 0.0, 95.0)
        require_between("measured", "room_rh", self.room_rh, 0.0, 1.0)
        require_between("measured", "p_pa", self.p_pa, 5e4, 1.1e5)
        for name, low, high in (("static_pa", -1e4, 1e4), ("valve_v", 0.0, 1e3)):
            value = getattr(self, name)
            if value is not None:
                require_between("measured", name, value, low, high)
        if self.drain_kg_h > self.feed_kg_h:
            raise OutOfRangeError(
                f"{self.drain_kg_h:g} kg/h drain from a feed of {self.feed_kg_h:g}",
                where="measured: drain_kg_h",
                hint="catch both again, longer",
            )
        if self.plant_kw is not None:
            require_between("measured", "plant_kw", self.plant_kw, 1e-3, 1e6)
            self._require_heat()
        if self.w_in_kg_kg > moist_air_state.saturated_humidity_ratio(self.t_in_c, self.p_pa):
            raise OutOfRangeError(
                f"air of {self.t_in_c:g} °C cannot hold the moisture of the room",
                where="measured: t_in_c",
                hint="measure the room's humidity again",
            )

    def _require_heat(self) -> None:
        rise_k = self.t_in_c - self.room_c
        if rise_k < LEAST_RISE_K:
            raise OutOfRangeError(
                f"{self.t_in_c:g} °C is {rise_k:.1f} K above the room: the plant does not heat",
                where="measured: t_in_c",
                hint="measure in a heating call",
            )
        if not self._to_rooms_kg_s > 0.0:
            raise OutOfRangeError(
                f"{self.plant_kw:g} kW cannot warm the air to {self.t_in_c:g} °C while "
                f"{self.evaporation_kg_h:.2f} kg/h evaporate",
                where="measured: plant_kw",
                hint="it is what the plant gives to the air",
            )

    @property
    def _to_rooms_kg_s(self) -> float:
        vapour = air.vapour_enthalpy(self.t_in_c)
        left_w = 1e3 * (self.plant_kw or 0.0) + self.brought_w
        left_w -= self.evaporation_kg_h / SECONDS_PER_HOUR * vapour
        cp = air.heat_capacity(self.w_room_kg_kg)
        return left_w / (cp * (self.t_in_c - self.room_c))

    @property
    def to_rooms_kg_s(self) -> float | None:
        r"""Dry air that goes to the rooms past a bypass; None without `plant_kw`. [kg/s].

        .. math:: \dot m = \frac{Q + H - E\,h_g(T_{in})}{(c_{pa} + W c_{pv})(T_{in} - T_i)}

        with H the enthalpy that the water brings.

        *Source.* Balances of water and energy of plenum and pad; see `WettedPad.give`.
        """
        return None if self.plant_kw is None else self._to_rooms_kg_s

    @property
    def brought_w(self) -> float:
        """Enthalpy that the water brings to the air, drained water subtracted. [W]."""
        carried = self.feed_kg_h * self.t_feed_c - self.drain_kg_h * self.t_drain_c
        return air.CP_WATER * carried / SECONDS_PER_HOUR

    @property
    def w_in_kg_kg(self) -> float:
        """Humidity ratio of the air before the pad. [kg/kg]."""
        to_rooms = self.to_rooms_kg_s
        back = 0.0 if to_rooms is None else self.evaporation_kg_h / SECONDS_PER_HOUR / to_rooms
        return self.w_room_kg_kg + back

    @property
    def w_room_kg_kg(self) -> float:
        """Humidity ratio of the room. [kg/kg]."""
        return moist_air_state.humidity_ratio_at_rh(self.room_c, self.room_rh, self.p_pa)

    @property
    def t_wet_bulb_c(self) -> float:
        """Wet bulb of the air before the pad, over liquid, as a well wetted pad's drain. [°C]."""
        return float(
            pad.thermodynamic_wet_bulb(
                np.array(self.t_in_c), np.array(self.w_in_kg_kg), np.array(self.p_pa)
            )
        )

    @property
    def evaporation_kg_h(self) -> float:
        """Feed less drain. [kg/h]."""
        return self.feed_kg_h - self.drain_kg_h


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What was set or assumed, to compare with.

    Attributes
    ----------
    feed_kg_h, t_feed_c : float or None
        None: as measured. [kg/h, °C]
    effectiveness, contact_frac : float
        [-]
    airflow_kg_s : float or None
        None: as found. [kg/s]
    feed_ratio : float
        Kilograms fed for each evaporated that keep the pad just wet; see `hardness.feed_ratio`.
    face_area_m2 : float or None
        Of the pad, to tell the air's velocity. [m2]
    room_rh : float or None
        What the room should have come to. [-]
    """

    feed_kg_h: float | None = None
    t_feed_c: float | None = None
    effectiveness: float = 0.65
    contact_frac: float = 1.0
    airflow_kg_s: float | None = None
    feed_ratio: float = NEEDED_FEED_RATIO
    face_area_m2: float | None = None
    room_rh: float | None = None

    def __post_init__(self) -> None:
        """Check the ranges."""
        require_between("expected", "effectiveness", self.effectiveness, 0.0, 1.0)
        require_between("expected", "contact_frac", self.contact_frac, 0.0, 1.0)
        require_between("expected", "feed_ratio", self.feed_ratio, 1.0, 1e3)
        for name, low, high in (
            ("airflow_kg_s", 1e-4, 100.0),
            ("face_area_m2", 1e-3, 100.0),
            ("room_rh", 0.0, 1.0),
        ):
            value = getattr(self, name)
            if value is not None:
                require_between("expected", name, value, low, high)


@dataclass(frozen=True, slots=True, kw_only=True)
class SolvedPad:
    """What the measured values say about the pad.

    Attributes
    ----------
    contact_frac : float or None
        Share of the feed that wets the pad; None if the feed is too near wet bulb to tell. [-]
    effectiveness : float or None
        None if all that wets the pad evaporates: a better pad would do no more. [-]
    airflow_kg_s : float
        [kg/s]
    off_k : float
        By how much drain or outlet air is off, by the pad so found: 0 where all agree. [K]
    """

    contact_frac: float | None
    effectiveness: float | None
    airflow_kg_s: float
    off_k: float


def balance_airflow(measured: Measured) -> float | None:
    r"""Dry air through the pad, from what the water gained and lost. [kg/s].

    .. math:: \dot m = \frac{E\,h_g(T_{out}) - (L\,h_w(T_f) - D\,h_w(T_d))}
                            {(c_{pa} + W_{in} c_{pv})(T_{in} - T_{out})}

    Returns
    -------
    float or None
        None if the air was cooled or warmed by less than 1 K, or the balance gives none.

    Notes
    -----
    *Source.* Conservation of water and of energy; needs no model of the pad.
    """
    cooled = measured.t_in_c - measured.t_out_c
    if abs(cooled) < _LEAST_COOLED_K:
        return None
    vapour = air.vapour_enthalpy(measured.t_out_c)
    heat_w = measured.evaporation_kg_h * vapour / SECONDS_PER_HOUR - measured.brought_w
    found = heat_w / (air.heat_capacity(measured.w_in_kg_kg) * cooled)
    return found if found > 0.0 else None


def solve(measured: Measured) -> SolvedPad | None:
    """Find contact fraction and effectiveness with which a pad would do as measured.

    Parameters
    ----------
    measured : Measured

    Returns
    -------
    SolvedPad or None
        None where they cannot be told: next to nothing drains, or the air is hardly cooled.

    Notes
    -----
    The airflow follows from `balance_airflow`; then the contact is that with which `pad.evaporate`
    drains at the temperature measured, and the effectiveness that with which it evaporates as much.
    The outlet's temperature then follows by conservation. Readings that no pad has leave `off_k`.

    *Validity.* As `pad.evaporate`. With feed of 60 °C, 1 K of the drain's temperature is 0.02 of
    contact; the cooler the feed, the more. With air of 45 °C, 1.5 K of the outlet's temperature is
    0.07 of effectiveness, and 2 % of the drain a tenth of the airflow. With room air they are 0.3
    and half of it: measure in a heating call.
    """
    if measured.evaporation_kg_h > MOST_EVAPORATED * measured.feed_kg_h:
        return None
    airflow = balance_airflow(measured)
    if airflow is None:
        return None
    tells = abs(measured.t_feed_c - measured.t_wet_bulb_c) >= _LEAST_FEED_OFF_K
    evaporated_kg_s = measured.evaporation_kg_h / SECONDS_PER_HOUR

    def effectiveness(contact: float) -> float:
        def less(given: float) -> float:
            state = _forward(measured, airflow, given, contact)
            return float(state.evaporation_kg_s) - evaporated_kg_s

        return _root(less, 0.0, 1.0)

    def drain_k(contact: float) -> float:
        state = _forward(measured, airflow, effectiveness(contact), contact)
        return float(state.t_drain_c) - measured.t_drain_c

    # No less can wet the pad than evaporates.
    least = measured.evaporation_kg_h / measured.feed_kg_h
    contact = _root(drain_k, least, 1.0) if tells else 1.0
    found = effectiveness(contact)
    state = _forward(measured, airflow, found, contact)
    off_air_k = float(state.t_air_out_c) - measured.t_out_c
    off_drain_k = float(state.t_drain_c) - measured.t_drain_c
    return SolvedPad(
        contact_frac=contact if tells else None,
        effectiveness=None if least > MOST_EVAPORATED * contact else found,
        airflow_kg_s=airflow,
        off_k=max(abs(off_air_k), abs(off_drain_k)),
    )


def _root(f: Callable[[float], float], low: float, high: float) -> float:
    """Return where a function vanishes, or the end at which it is nearest to that."""
    from scipy.optimize import brentq  # noqa: PLC0415 - slow to import, and compare measures nothing

    at_low, at_high = f(low), f(high)
    if at_low * at_high >= 0.0:
        return low if abs(at_low) <= abs(at_high) else high
    return float(brentq(f, low, high, xtol=1e-9))


def _forward(
    measured: Measured, airflow_kg_s: float, effectiveness: float, contact_frac: float
) -> pad.PadState:
    return pad.evaporate(
        airflow_kg_s=airflow_kg_s,
        t_in_c=measured.t_in_c,
        w_in_kg_kg=measured.w_in_kg_kg,
        p_pa=measured.p_pa,
        feed_kg_s=measured.feed_kg_h / SECONDS_PER_HOUR,
        t_feed_c=measured.t_feed_c,
        effectiveness=effectiveness,
        contact_frac=contact_frac,
    )


def just_wet(feed_kg_h: float, evaporation_kg_h: float, feed_ratio: float) -> Finding:
    """Tell whether the feed keeps the pad just wet, and no more."""
    most = MOST_FEED_RATIO * feed_ratio * evaporation_kg_h
    found = f"{feed_kg_h:.1f} kg/h fed, {evaporation_kg_h:.1f} evaporated"
    short = evaporation_kg_h > MOST_EVAPORATED * feed_kg_h
    target = f"about {feed_ratio * evaporation_kg_h:.1f} kg/h"
    return judge(
        not short and feed_kg_h <= most,
        good=f"{found}: just wet",
        bad=f"{found}: " + ("the foot of the pad runs dry" if short else "more than it needs"),
        why="the feed is set to keep the pad just wet, no more: a dry pad crusts, the rest drains",
        action="raise the feed until some drains"
        if short
        else f"lower the feed in steps to {target}, and look that the pad stays wet",
    )


def diagnose(measured: Measured, expected: Expected, solved: SolvedPad | None) -> list[str]:
    """Return the symptoms, keys of `SYMPTOMS`, that the measured values show."""
    m, e = measured, expected
    found: list[str] = []
    hot_drain = m.t_drain_c - m.t_wet_bulb_c > DRAIN_K
    near_feed = abs(m.t_drain_c - m.t_feed_c) <= DRAIN_K
    if m.evaporation_kg_h > MOST_EVAPORATED * m.feed_kg_h:
        found.append("no_drain")
    elif near_feed and abs(m.t_in_c - m.t_out_c) <= DRAIN_K:
        found.append("not_cooled")
    elif hot_drain:
        found.append("drain_hot")
    if solved is not None:
        found += _of_evaporation(m, e, solved, sound=not found)
    if e.feed_kg_h is not None and m.feed_kg_h < (1.0 - FEED_FRAC) * e.feed_kg_h:
        found.append("feed_low")
    if e.t_feed_c is not None and m.t_feed_c < min(e.t_feed_c - FEED_K, HOT_C):
        found.append("never_hot")
    if m.valve_v is not None and m.valve_v < LEAST_V:
        found.append("chatter")
    return found


def _of_evaporation(m: Measured, e: Expected, solved: SolvedPad, *, sound: bool) -> Iterator[str]:
    """Yield the symptoms that need the airflow and what should evaporate; `sound`: no other."""
    airflow = e.airflow_kg_s or solved.airflow_kg_s
    would = _forward(m, airflow, e.effectiveness, e.contact_frac)
    enough = m.evaporation_kg_h >= LEAST_EVAPORATION * SECONDS_PER_HOUR * would.evaporation_kg_s
    told = solved.effectiveness
    right = told is not None and abs(told - e.effectiveness) <= EFFECTIVENESS
    if e.airflow_kg_s is not None and right and not enough and sound:
        yield "airflow_low"
    if e.room_rh is not None and enough and e.room_rh - m.room_rh > RH_LOW:
        yield "rh_low"
    if e.face_area_m2 is not None:
        dry_kg_m3 = moist_air_state.dry_air_density(m.t_in_c, m.w_in_kg_kg, m.p_pa)
        if solved.airflow_kg_s / (dry_kg_m3 * e.face_area_m2) > media.BLOWN_OFF_M_S:
            yield "blown_off"


def compare_measured(
    measured: Measured, expected: Expected, solved: SolvedPad | None
) -> list[Finding]:
    """Compare what was measured and solved with what was expected."""
    findings = [*_as_set(measured, expected), *_as_solved(measured, expected, solved)]
    if measured.evaporation_kg_h > 0.0:
        findings.append(
            just_wet(measured.feed_kg_h, measured.evaporation_kg_h, expected.feed_ratio)
        )
    return findings


def _as_set(m: Measured, e: Expected) -> Iterator[Finding]:
    if e.feed_kg_h is not None:
        found = f"feed of {m.feed_kg_h:.1f} kg/h, set to {e.feed_kg_h:.1f}"
        yield judge(
            abs(m.feed_kg_h - e.feed_kg_h) <= FEED_FRAC * e.feed_kg_h,
            good=found,
            bad=f"{found}: off by more than 10 %",
            why="too little dries the pad, too much goes to waste",
            action="check strainer, tap and water pressure, then set it anew",
        )
    if e.t_feed_c is not None:
        found = f"feed of {m.t_feed_c:.1f} °C, expected {e.t_feed_c:.1f}"
        yield judge(
            abs(m.t_feed_c - e.t_feed_c) <= FEED_K,
            good=found,
            bad=f"{found}: off by more than 3 K",
            why="the line cools the feed, or has not been purged",
            action="measure again after two purge times; insulate or shorten the line",
        )
    if m.static_pa is not None:
        found = f"{m.static_pa:.0f} Pa between the plenums"
        yield judge(
            STATIC_PA[0] <= m.static_pa <= STATIC_PA[1],
            good=found,
            bad=f"{found}: 40 to 125 Pa are usual",
            why="this pressure drives the bypass",
            action="check filter, damper and blower speed",
            severity="note",
        )
    if m.valve_v is not None:
        found = f"{m.valve_v:.1f} V at the valve while it draws"
        yield judge(
            m.valve_v >= LEAST_V,
            good=found,
            bad=f"{found}: at least {LEAST_V:.1f} V",
            why="below 90 % a valve may chatter or not open",
            action="check the transformer's load, the cable and its joints",
        )


NOTHING_TOLD = Finding(
    severity="note",
    what="contact and effectiveness cannot be told",
    why="next to nothing drains, or the air is hardly cooled: see the symptoms",
    source="balance of water and heat",
    action="put that right and measure again",
)
_ALL_EVAPORATES = Finding(
    severity="fix",
    what="the effectiveness cannot be told: all that wets the pad evaporates",
    why="the foot of the pad runs dry and crusts, while the rest of the feed runs past it",
    source="balance of water and heat",
    action=SYMPTOMS["drain_hot"][2],
)


def _agreement(solved: SolvedPad) -> Finding:
    return judge(
        solved.off_k <= _FITS_K,
        good="the measured values agree with each other",
        bad=f"the measured values contradict each other by {solved.off_k:.1f} K",
        why="no pad gives these temperatures with this feed and drain",
        source="balance of water and heat",
        action="measure again: shield the probes, wait a quarter of an hour, weigh the water",
    )


def why_not_told(solved: SolvedPad | None) -> Finding | None:
    """Return why a pad cannot be described by what was measured; None: it can."""
    if solved is None:
        return NOTHING_TOLD
    if (agreement := _agreement(solved)).severity != "fine":
        return agreement
    return _ALL_EVAPORATES if solved.effectiveness is None else None


def _as_solved(m: Measured, e: Expected, solved: SolvedPad | None) -> Iterator[Finding]:
    if solved is None:
        yield NOTHING_TOLD
        return
    yield _agreement(solved)
    if solved.contact_frac is None:
        yield Finding(
            severity="note",
            what="the share of the feed that wets the pad cannot be told",
            why=f"feed of {m.t_feed_c:.0f} °C is near the wet bulb of {m.t_wet_bulb_c:.0f} °C",
            source="balance of water and heat",
            action="measure with hot feed if there is any",
        )
    else:
        # 2 K of the drain's temperature, turned into contact.
        least = e.contact_frac - DRAIN_K * m.drain_kg_h / (
            m.feed_kg_h * abs(m.t_feed_c - m.t_wet_bulb_c)
        )
        found = (
            f"{100.0 * solved.contact_frac:.0f} % of the feed wets the pad, "
            f"expected {100.0 * e.contact_frac:.0f} %"
        )
        yield judge(
            solved.contact_frac >= least,
            good=found,
            bad=f"{found}: the rest runs past it",
            why="what runs past the pad drains as warm as it came",
            source=f"balance of water and heat; 2 K of tolerance: {TRADE}",
            action=SYMPTOMS["drain_hot"][2],
        )
    if solved.effectiveness is None:
        yield _ALL_EVAPORATES
        return
    found = f"effectiveness {solved.effectiveness:.2f}, expected {e.effectiveness:.2f}"
    yield judge(
        solved.effectiveness >= e.effectiveness - EFFECTIVENESS,
        good=found,
        bad=f"{found}: low",
        why="a crusted, dry or bypassed pad brings the air less far to saturation",
        source=f"fit of the pad; tolerance of 0.07: {TRADE}",
        action="replace the pad, close gaps beside it, see that all of it is wet",
    )


def check_measured(measured: Measured, expected: Expected | None = None) -> SiteCheck:
    """Solve a pad from measured values, and compare it with what was expected.

    Parameters
    ----------
    measured : Measured
    expected : Expected, optional
        Default: effectiveness 0.65, all of the feed wetting the pad.
    """
    e = expected or Expected()
    solved = solve(measured)
    symptoms = diagnose(measured, e, solved)
    numbers: dict[str, object] = {
        "evaporation_kg_h": measured.evaporation_kg_h,
        "t_wet_bulb_c": measured.t_wet_bulb_c,
        "contact_frac": solved.contact_frac if solved else None,
        "effectiveness": solved.effectiveness if solved else None,
        "airflow_kg_s": solved.airflow_kg_s if solved else None,
        "off_k": solved.off_k if solved else None,
        "symptoms": symptoms,
    }
    lines = [
        f"evaporated: {measured.evaporation_kg_h:.2f} kg/h; wet bulb {measured.t_wet_bulb_c:.1f} °C"
    ]
    if measured.plant_kw is None:
        lines.append("taken for a pad in no bypass: give the plant's heat if it is in one")
    if solved is not None:
        contact, effectiveness = (
            "not told" if value is None else f"{value:.2f}"
            for value in (solved.contact_frac, solved.effectiveness)
        )
        lines.append(
            f"contact {contact}, effectiveness {effectiveness}, air {solved.airflow_kg_s:.3f} kg/s"
        )
        would = _forward(
            measured, e.airflow_kg_s or solved.airflow_kg_s, e.effectiveness, e.contact_frac
        )
        drain_kg_h = SECONDS_PER_HOUR * float(would.drain_kg_s)
        t_drain_c, t_out_c = float(would.t_drain_c), float(would.t_air_out_c)
        numbers["expected"] = {
            "drain_kg_h": drain_kg_h,
            "t_drain_c": t_drain_c,
            "t_out_c": t_out_c,
        }
        lines += [
            f"drain: {measured.drain_kg_h:.1f} kg/h of {measured.t_drain_c:.1f} °C",
            f"  expected: {drain_kg_h:.1f} kg/h of {t_drain_c:.1f} °C",
            f"outlet air: {measured.t_out_c:.1f} °C",
            f"  expected: {t_out_c:.1f} °C",
        ]
    for key in symptoms:
        lines += symptom_found(key)
    return SiteCheck(
        numbers=numbers,
        lines=tuple(lines),
        findings=tuple(compare_measured(measured, e, solved)),
        cautions=CAUTIONS["measured"],
    )


def symptom_found(key: str) -> list[str]:
    """Return a symptom that was found, as it is read."""
    symptom, cause, action = SYMPTOMS[key]
    return [f"symptom: {symptom}", f"  likely: {cause}", f"  do: {action}"]


def symptom_lines() -> list[str]:
    """Return the table of symptoms, three lines each."""
    return [
        line
        for symptom, cause, action in SYMPTOMS.values()
        for line in (symptom, f"  likely: {cause}", f"  do: {action}")
    ]
