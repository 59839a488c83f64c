"""Control circuit of 24 V: transformer, cable, conductors, and what may be live."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dewmargin.core.checks import require_between
from dewmargin.errors import InputError
from dewmargin.site.finding import CAUTIONS, Finding, SiteCheck, judge

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

COPPER_OHM_M = 1.7241e-8  # Ω m at 20 °C: the standard of annealed copper
CLASS_2_V, CLASS_2_VA = 30.0, 100.0
DESIGN_FRAC = 0.8  # of the transformer's rating; common practice, no source
NOMINAL_V = 24.0
LEAST_FRAC = 0.9  # of the voltage at a load; common practice, no source
SHARED_VALVE_VA = 15.0  # a valve beyond it gets its own transformer; common practice, no source
# Conductors that each needs; common practice, no source.
CONDUCTORS = {
    "valve": 2,
    "airflow_switch": 2,
    "humidistat": 2,
    "outdoor_sensor": 2,
    "outdoor_unit_single_stage": 2,
    "outdoor_unit_two_stage": 3,
}
_COILS = {"valve", "outdoor_unit_single_stage", "outdoor_unit_two_stage"}
_AWG = (0, 36)


@dataclass(frozen=True, slots=True)
class Load:
    """Something that the transformer feeds.

    Attributes
    ----------
    name : str
    va : float
        Held or running. [VA]
    inrush_va : float or None
        While it pulls in; None if no more than `va`. [VA]
    """

    name: str
    va: float
    inrush_va: float | None = None

    def __post_init__(self) -> None:
        """Check the ranges."""
        require_between(f"load {self.name}", "va", self.va, 0.0, 1e4)
        if self.inrush_va is not None:
            require_between(f"load {self.name}", "inrush_va", self.inrush_va, self.va, 1e5)

    @classmethod
    def parse(cls, text: str) -> Load:
        """Read NAME=VA or NAME=VA/INRUSH.

        Raises
        ------
        InputError
            If it is neither.
        """
        name, sign, numbers = text.partition("=")
        try:
            va, *inrush = (float(number) for number in numbers.split("/"))
        except ValueError:
            sign = ""
            va, inrush = 0.0, []
        if not (name and sign) or len(inrush) > 1:
            raise InputError(
                f"cannot be read: {text[:60]!r}", where="load", hint="such as contactor=8/32"
            )
        return cls(name, va, inrush[0] if inrush else None)


def running_va(loads: Iterable[Load]) -> float:
    """Sum of all loads, running together. [VA]."""
    return math.fsum(load.va for load in loads)


def peak_va(loads: Sequence[Load]) -> float:
    """Greatest sum while one load pulls in and all others run. [VA]."""
    more = [load.inrush_va - load.va for load in loads if load.inrush_va is not None]
    return running_va(loads) + max(more, default=0.0)


def wire_ohm_m(awg: int) -> float:
    r"""Resistance of a copper conductor by its gauge, at 20 °C. [Ω/m].

    .. math:: d = 0.127 \cdot 92^{(36 - n)/39} \; \mathrm{mm}

    Notes
    -----
    *Source.* Geometry of the American Wire Gauge, resistivity of annealed copper. Printed tables
    are about 2 % higher: they are of warmer wire.

    Examples
    --------
    >>> round(1e3 * wire_ohm_m(18), 2)
    20.95
    """
    require_between("cable", "awg", awg, *_AWG)
    diameter_m = 0.127e-3 * math.pow(92.0, (36 - awg) / 39)
    return COPPER_OHM_M / (math.pi / 4.0 * diameter_m**2)


def loop_ohm(length_m: float, awg: int) -> float:
    """Resistance there and back of a run of a length one way. [Ω]."""
    require_between("cable", "length_m", length_m, 0.0, math.inf)
    return 2.0 * length_m * wire_ohm_m(awg)


def voltage_drop_v(length_m: float, awg: int, current_a: float) -> float:
    """Voltage lost there and back in a run of a length one way. [V]."""
    require_between("cable", "current_a", current_a, 0.0, math.inf)
    return loop_ohm(length_m, awg) * current_a


def longest_run_m(awg: int, current_a: float, supply_v: float = NOMINAL_V) -> float:
    """Length one way at which a tenth of the voltage is lost. [m]."""
    return (1.0 - LEAST_FRAC) * supply_v / (2.0 * wire_ohm_m(awg) * current_a)


def class_2(rated_va: float, supply_v: float) -> Finding:
    """Tell whether a supply is within the limits of class 2."""
    return judge(
        rated_va <= CLASS_2_VA and supply_v <= CLASS_2_V,
        good=f"{rated_va:g} VA at {supply_v:g} V is within class 2",
        bad=f"{rated_va:g} VA at {supply_v:g} V is beyond class 2 (100 VA, 30 V)",
        why="beyond it the wiring counts as power wiring",
        source="NEC article 725, as told by trade articles; check the local edition",
        action="fit a listed class 2 transformer",
    )


def budget(loads: Sequence[Load], rated_va: float) -> list[Finding]:
    """Tell whether a transformer carries its loads, running and while one pulls in."""
    require_between("transformer", "rated_va", rated_va, 1.0, 1e4)
    running, peak = running_va(loads), peak_va(loads)
    share = f"{running:.0f} of {rated_va:.0f} VA ({100.0 * running / rated_va:.1f} %)"
    findings = [
        judge(
            running <= DESIGN_FRAC * rated_va,
            good=f"loads take {share}",
            bad=f"loads take {share}: more than 80 %"
            if running <= rated_va
            else f"loads take {share}: overloaded",
            why="a full transformer runs hot and its voltage sags, valves chatter",
            action="fit a larger transformer, or one of its own for the humidifier",
        )
    ]
    if peak > running:
        findings.append(
            judge(
                peak <= rated_va,
                good=f"pulling in takes {peak:.0f} VA at most",
                bad=f"pulling in takes {peak:.0f} VA of {rated_va:.0f} VA",
                why="while one load pulls in, the voltage dips for all",
                action=f"watch the voltage as it pulls in: at least {LEAST_FRAC * NOMINAL_V:.1f} V",
                severity="note",
            )
        )
    return findings


def transformer(
    loads: Sequence[Load], rated_va: float, *, shared: bool, valve_va: float | None = None
) -> Finding:
    """Tell whether the humidifier may live from this transformer.

    Its own, or one that is shown to carry all its loads, with a valve of 15 VA at most.
    """
    shown = running_va(loads) <= DESIGN_FRAC * rated_va
    big = valve_va is not None and valve_va > SHARED_VALVE_VA
    reason = f"its valve takes {valve_va:g} VA" if big else "its budget does not hold"
    return judge(
        not shared or (shown and not big),
        good="the humidifier shares a transformer whose budget holds"
        if shared
        else "the humidifier has its own transformer",
        bad=f"the humidifier shares a transformer: {reason}",
        why="an overloaded transformer takes the thermostat and the heating down with it",
        action="fit a class 2 transformer of its own, switched by the heat or blower call through "
        "an isolating relay; never join two secondaries",
    )


def cable(length_m: float, awg: int, current_a: float, supply_v: float = NOMINAL_V) -> Finding:
    """Tell whether enough voltage arrives at a load."""
    lost = voltage_drop_v(length_m, awg, current_a)
    what = f"{lost:.2f} V lost over {length_m:.0f} m of AWG {awg} at {current_a:.2f} A"
    return judge(
        lost <= (1.0 - LEAST_FRAC) * supply_v,
        good=what,
        bad=f"{what}: more than 10 %",
        why="below 90 % a valve or contactor may chatter or not pull in",
        action="shorten the run or take thicker wire",
    )


def conductors(cable_conductors: int, uses: Sequence[str]) -> list[Finding]:
    """Tell whether a cable has the conductors that its uses need, and spares.

    Raises
    ------
    InputError
        If a use is not known.
    """
    require_between("cable", "cable_conductors", cable_conductors, 1, 100)
    for use in uses:
        if use not in CONDUCTORS:
            raise InputError(
                f"{use[:60]!r} is not known",
                where="cable: uses",
                hint=f"one of: {', '.join(CONDUCTORS)}",
            )
    needed = sum(CONDUCTORS[use] for use in uses)
    spare = cable_conductors - needed
    found = f"{needed} conductors needed of {cable_conductors}"
    findings = [
        judge(
            spare >= 1,
            good=f"{found}: {spare} spare",
            bad=f"{found}: no spare" if spare == 0 else f"{found}: {-spare} missing",
            why="a broken conductor or a sensor added later needs one; a single-stage outdoor "
            "unit takes two",
            action="pull a cable with one or two more",
            severity="fix" if spare < 0 else "note",
        )
    ]
    if "outdoor_sensor" in uses:
        findings.append(
            judge(
                not _COILS & set(uses),
                good="the sensor's pair runs apart from coils",
                bad="the sensor's pair shares a cable with coils",
                why="coils that switch disturb the reading beside them",
                action="see that the reading stays steady as the contactor pulls in, else run the "
                "pair apart",
                severity="note",
            )
        )
    return findings


def blower_call(*, terminal_live_only_with_blower: bool, must_start_blower: bool) -> Finding:
    """Tell whether what an accessory terminal switches can start the blower."""
    return judge(
        not (terminal_live_only_with_blower and must_start_blower),
        good="nothing that is live only with the blower is asked to start it",
        bad="the accessory terminal is live only while the blower runs: it cannot start it",
        why="the humidifier waits for the blower, and the blower for the humidifier",
        action="call the blower at the thermostat's fan terminal through an isolating relay",
    )


def outdoor_unit(*, isolated: bool) -> Finding:
    """Tell whether the outdoor unit's cover may come off."""
    return judge(
        isolated,
        good="the outdoor unit's 240 V is isolated and proved dead",
        bad="the outdoor unit's 240 V is not isolated",
        why="behind its cover are live 240 V, and a capacitor that holds charge",
        action="leave the cover on; open and lock its disconnect, prove dead, then open it",
        severity="stop",
    )


def check_circuit(
    loads: Sequence[Load],
    *,
    rated_va: float,
    supply_v: float = NOMINAL_V,
    shared: bool = False,
    valve_va: float | None = None,
    length_m: float | None = None,
    awg: int = 18,
    cable_conductors: int | None = None,
    uses: Sequence[str] = (),
    live_only_with_blower: bool | None = None,
    must_start_blower: bool = True,
    isolated: bool | None = None,
) -> SiteCheck:
    """Check a 24 V control circuit.

    Parameters
    ----------
    loads : sequence of Load
        All that the transformer feeds, the humidifier's too.
    rated_va, supply_v : float
        The transformer. [VA, V]
    shared : bool
        True if it feeds more than the humidifier.
    valve_va : float, optional
        The humidifier's valve. [VA]
    length_m, awg
        Longest run, one way, to the largest load. [m]
    cable_conductors, uses
        Conductors of the cable, and what they are for: names of `CONDUCTORS`.
    live_only_with_blower, must_start_blower : bool
        Of the accessory terminal, and whether the humidifier is to start the blower.
    isolated : bool, optional
        The outdoor unit.

    Raises
    ------
    InputError
        If there is no load, or an input is out of range.
    """
    if not loads:
        raise InputError("none is given", where="load", hint="such as thermostat=3")
    require_between("transformer", "supply_v", supply_v, 1.0, 1e3)
    running, peak = running_va(loads), peak_va(loads)
    numbers: dict[str, object] = {
        "running_va": running,
        "peak_va": peak,
        "rated_va": rated_va,
        "rated_a": rated_va / supply_v,
    }
    rated = f"rated: {rated_va:g} VA, {rated_va / supply_v:.2f} A"
    lines = [f"running: {running:.1f} VA; pulling in: {peak:.1f} VA; {rated}"]
    findings = [
        class_2(rated_va, supply_v),
        *budget(loads, rated_va),
        transformer(loads, rated_va, shared=shared, valve_va=valve_va),
    ]
    current = max(load.va for load in loads) / supply_v
    if length_m is not None and current > 0.0:
        longest = longest_run_m(awg, current, supply_v)
        numbers |= {
            "drop_v": voltage_drop_v(length_m, awg, current),
            "longest_run_m": longest,
        }
        lines.append(f"AWG {awg} at {current:.2f} A: up to {longest:.0f} m for 10 % lost")
        findings.append(cable(length_m, awg, current, supply_v))
    if cable_conductors is not None:
        findings += conductors(cable_conductors, uses)
    if live_only_with_blower is not None:
        findings.append(
            blower_call(
                terminal_live_only_with_blower=live_only_with_blower,
                must_start_blower=must_start_blower,
            )
        )
    if isolated is not None:
        findings.append(outdoor_unit(isolated=isolated))
    return SiteCheck(
        numbers=numbers,
        lines=tuple(lines),
        findings=tuple(findings),
        cautions=CAUTIONS["circuit"],
    )
