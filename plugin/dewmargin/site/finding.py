"""Findings of a check on site: numbers, whether they hold, what to do, cautions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["fine", "note", "fix", "stop"]
TRADE = "common practice, no source"

_LOCAL = "Local code and the makers' instructions come first; leave licensed work to the licensed."
_ISOLATE = (
    "Two supplies may be live, mains and 24 V: open the disconnect, lock it, and prove dead with a "
    "tester proved on a known source before and after."
)
_SCALD = (
    "Scald: water of 60 °C burns in about 6 s, of 66 °C in 2 s. Label a hot line and its drain."
)
_STAGNANT = (
    "Stagnant water: between 25 and 45 °C legionella grows. No warm dead legs; drain and shut the "
    "branch for the summer, flush it before the season."
)
_TOO_HUMID = "Too much humidity condenses and grows mould: keep the limit by outdoor temperature."
OF_A_BYPASS = (
    "A bypass changes airflow and pressures: have temperature rise, limits, venting and CO "
    "checked, and draw no air from where something burns."
)
_HIDDEN = "Do not cut or drill where a coil, gas, refrigerant or wiring may be behind the metal."
CAUTIONS = {
    "thermistor": (_ISOLATE, _HIDDEN, _LOCAL),
    "circuit": (_ISOLATE, _HIDDEN, _LOCAL),
    "water": (_SCALD, _STAGNANT, _LOCAL),
    "measured": (_SCALD, _ISOLATE, _TOO_HUMID, OF_A_BYPASS, _LOCAL),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing found.

    Attributes
    ----------
    severity : "fine", "note", "fix" or "stop"
        "note" may be right here; "fix" before it is left; "stop" before work goes on.
    what, why, source : str
        What was found, why it matters, where that is from.
    action : str
        What to do; empty if fine.
    """

    severity: Severity
    what: str
    why: str
    source: str = TRADE
    action: str = ""

    def lines(self) -> list[str]:
        """Return it as it is read: what is fine takes one line."""
        if self.severity == "fine":
            return [f"fine: {self.what} ({self.source})"]
        return [
            f"{self.severity.upper()}: {self.what}",
            f"  why: {self.why} ({self.source})",
            f"  do: {self.action}",
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteCheck:
    """What a check on site says.

    Attributes
    ----------
    numbers : dict of str to object
        Names end in their unit.
    lines : tuple of str
        The numbers, to be read.
    findings : tuple of Finding
    cautions : tuple of str
    """

    numbers: dict[str, object]
    lines: tuple[str, ...]
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...]


def judge(
    holds: bool,  # noqa: FBT001 - the one thing that it is about
    *,
    good: str,
    bad: str,
    why: str,
    action: str,
    source: str = TRADE,
    severity: Severity = "fix",
) -> Finding:
    """Return a rule's finding: fine where it holds, else `severity` with what to do."""
    if holds:
        return Finding(severity="fine", what=good, why=why, source=source)
    return Finding(severity=severity, what=bad, why=why, source=source, action=action)
