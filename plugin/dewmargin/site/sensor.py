"""Outdoor thermistor: ohms and degrees, what spoils a reading, and where sensors belong."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dewmargin.core.checks import require_between
from dewmargin.errors import OutOfRangeError
from dewmargin.physics.air import KELVIN
from dewmargin.site.finding import CAUTIONS, Finding, SiteCheck, judge

RATED_C = 25.0
ICE_BATH_K = 1.0  # a 1 % part of 1 % B in a stirred bath: 0.2 + 0.2 K, and the bath's own
SHOWN_K = 1.0  # error of the controller that is told of; common practice, no source
LEAST_UPSTREAM_M, GOOD_UPSTREAM_M = 0.15, 1.0  # of a humidity sensor; common practice, no source
_TINY = 1e-3  # Ω
_HUGE = 1e9  # Ω
_RANGE_C = (-80.0, 200.0)
_SHOWN_AT_C = (-30.0, -20.0, -10.0, 0.0, 25.0)


@dataclass(frozen=True, slots=True)
class Curve:
    r"""Resistance of a thermistor by the law of Steinhart and Hart.

    .. math:: 1/T = a + b \ln R + c\,(\ln R)^3

    Attributes
    ----------
    a, b, c : float
        b above 0, c not below 0; c = 0 is a beta part. [1/K]

    Raises
    ------
    OutOfRangeError
        If the resistance would not fall as the temperature rises.
    """

    a: float
    b: float
    c: float = 0.0

    def __post_init__(self) -> None:
        """Check that the curve falls."""
        require_between("thermistor", "a", self.a, -1.0, 1.0)
        require_between("thermistor", "b", self.b, 1e-6, 1.0)
        require_between("thermistor", "c", self.c, 0.0, 1.0)

    @classmethod
    def beta(cls, beta_k: float, r25_ohm: float = 10_000.0) -> Curve:
        """Return the curve of a part told by its B and its resistance at 25 °C. [K, Ω].

        Examples
        --------
        >>> round(Curve.beta(3950.0).ohm(-20.0), -1)
        105380.0
        """
        require_between("thermistor", "beta_k", beta_k, 500.0, 10_000.0)
        require_between("thermistor", "r25_ohm", r25_ohm, 1.0, 1e7)
        return cls(1.0 / (RATED_C + KELVIN) - math.log(r25_ohm) / beta_k, 1.0 / beta_k)

    def celsius(self, ohm: float) -> float:
        """Temperature at a resistance. [°C].

        Raises
        ------
        OutOfRangeError
            If the resistance is no resistance, or none that the curve has.
        """
        require_between("thermistor", "ohm", ohm, _TINY, _HUGE)
        x = math.log(ohm)
        inverse = self.a + self.b * x + self.c * x**3
        if inverse <= 0.0:
            raise OutOfRangeError(
                f"{ohm:g} ohm is beyond the curve", where="thermistor", hint="check a, b, c"
            )
        return 1.0 / inverse - KELVIN

    def ohm(self, t_c: float) -> float:
        """Resistance at a temperature, by the real root of the cubic in ln R. [Ω]."""
        require_between("thermistor", "t_c", t_c, *_RANGE_C)
        linear = (1.0 / (t_c + KELVIN) - self.a) / self.b
        if self.c == 0.0:
            return math.exp(linear)
        # The hyperbolic form of the root: no difference of large numbers where c is small.
        k = math.sqrt(3.0 * self.c / self.b)
        return math.exp(2.0 / k * math.sinh(math.asinh(1.5 * k * linear) / 3.0))

    def alpha_1_k(self, t_c: float) -> float:
        """Relative change of resistance with temperature, below 0. [1/K]."""
        x = math.log(self.ohm(t_c))
        return -1.0 / ((t_c + KELVIN) ** 2 * (self.b + 3.0 * self.c * x**2))


def beta_between(ohm_1: float, t_1_c: float, ohm_2: float, t_2_c: float) -> float:
    """B from two points; say which pair, such as B25/85. [K].

    Raises
    ------
    OutOfRangeError
        If the temperatures are equal, or a resistance is none.
    """
    for name, ohm in (("ohm_1", ohm_1), ("ohm_2", ohm_2)):
        require_between("thermistor", name, ohm, _TINY, _HUGE)
    if t_1_c == t_2_c:
        raise OutOfRangeError(
            f"two temperatures are needed, got {t_1_c:g} °C twice", where="thermistor"
        )
    return math.log(ohm_1 / ohm_2) / (1.0 / (t_1_c + KELVIN) - 1.0 / (t_2_c + KELVIN))


def self_heating_k(
    part: Curve, t_c: float, *, supply_v: float, series_ohm: float, dissipation_mw_k: float
) -> float:
    r"""By how much the controller's own current warms a part. [K].

    .. math:: \Delta T = I^2 R/\delta, \quad I = V/(R + R_s)

    Parameters
    ----------
    part : Curve
    t_c : float
        Air around the part. [°C]
    supply_v, series_ohm : float
        Voltage and resistor of the divider that the part is in. [V, Ω]
    dissipation_mw_k : float
        Dissipation factor; 1.5 mW/K is usual for a bead in air, from memory. [mW/K]

    Notes
    -----
    *Source.* Joule's law. The part's resistance is taken at the air's temperature.
    """
    require_between("thermistor", "supply_v", supply_v, 0.0, 100.0)
    require_between("thermistor", "series_ohm", series_ohm, 0.0, _HUGE)
    require_between("thermistor", "dissipation_mw_k", dissipation_mw_k, 1e-3, 1e4)
    ohm = part.ohm(t_c)
    return 1e3 * (supply_v / (ohm + series_ohm)) ** 2 * ohm / dissipation_mw_k


def shown_c(
    t_c: float,
    *,
    part: Curve,
    controller: Curve,
    lead_ohm: float = 0.0,
    leakage_ohm: float = math.inf,
    warmed_k: float = 0.0,
) -> float:
    """Temperature that a controller takes a true one for. [°C].

    Parameters
    ----------
    t_c : float
        True temperature of the part. [°C]
    part, controller : Curve
        What is fitted, and what the controller is set to.
    lead_ohm : float
        Leads, there and back: read as colder. [Ω]
    leakage_ohm : float
        Across the part, as of a wet splice: read as warmer. [Ω]
    warmed_k : float
        By its own current: `self_heating_k`. [K]
    """
    require_between("thermistor", "lead_ohm", lead_ohm, 0.0, _HUGE)
    require_between("thermistor", "leakage_ohm", leakage_ohm, _TINY, math.inf)
    shunted = 1.0 / (1.0 / part.ohm(t_c + warmed_k) + 1.0 / leakage_ohm)
    return controller.celsius(shunted + lead_ohm)


def ice_bath(part: Curve, ohm: float) -> Finding:
    """Tell whether a part reads 0 °C in stirred ice and water."""
    t_c, expected = part.celsius(ohm), part.ohm(0.0)
    r25 = part.ohm(RATED_C)
    fits = beta_between(ohm, 0.0, r25, RATED_C)
    return judge(
        abs(t_c) <= ICE_BATH_K,
        good=f"{ohm:.0f} Ω in the ice bath is {t_c:+.1f} °C",
        bad=f"{ohm:.0f} Ω in the ice bath is {t_c:+.1f} °C, not 0 (expected {expected:.0f} Ω)",
        why="a stirred bath of ice and water is 0 °C; a part of another curve, a wet splice or "
        "long thin leads read otherwise",
        action=f"check splice and leads; dry, with {r25:.0f} Ω at 25 °C it would be a part of "
        f"B = {fits:.0f} K",
    )


def shown_error(error_k: float, at_c: float) -> Finding:
    """Tell whether a controller sees the outdoors near enough to what it is."""
    way = "warmer" if error_k > 0.0 else "colder"
    return judge(
        abs(error_k) <= SHOWN_K,
        good=f"at {at_c:g} °C the controller is off by {error_k:+.1f} K",
        bad=f"at {at_c:g} °C the controller takes it for {abs(error_k):.1f} K {way}",
        why="taken for warmer it holds too much humidity and windows sweat; for colder, too little",
        action="set the controller to the part's curve; renew a wet splice",
    )


def humidity_sensor(upstream_m: float) -> Finding:
    """Tell whether a humidity sensor in the return lies far enough before the take-off.

    `upstream_m` is against the air, from the humidifier's take-off; below 0 it lies behind.
    """
    near = LEAST_UPSTREAM_M <= upstream_m < GOOD_UPSTREAM_M
    placed = f"the humidity sensor is {1e3 * upstream_m:.0f} mm upstream of the take-off"
    if upstream_m < 0.0:
        placed = "the humidity sensor is downstream of the take-off"
    return judge(
        upstream_m >= GOOD_UPSTREAM_M,
        good=placed,
        bad=f"{placed}: 1 m is better" if near else f"{placed}: at least 150 mm upstream",
        why="moist air near the humidifier tells the sensor that the room is humid enough",
        action="move it upstream in the return, or to an inner wall of a room",
        severity="note" if near else "fix",
    )


def check_thermistor(
    part: Curve,
    *,
    controller: Curve | None = None,
    ohm: float | None = None,
    t_c: float | None = None,
    ice_bath_ohm: float | None = None,
    lead_ohm: float = 0.0,
    leakage_ohm: float = math.inf,
    rh_sensor_upstream_m: float | None = None,
    supply_v: float | None = None,
    series_ohm: float = 10_000.0,
    dissipation_mw_k: float = 1.5,
) -> SiteCheck:
    """Check an outdoor thermistor.

    Parameters
    ----------
    part, controller : Curve
        What is fitted, and what the controller is set to (default: the same).
    ohm, t_c : float, optional
        A reading to be turned into a temperature; a temperature to be turned into ohms. [Ω, °C]
    ice_bath_ohm : float, optional
        Measured in stirred ice and water. [Ω]
    lead_ohm, leakage_ohm : float
        As in `shown_c`. [Ω]
    rh_sensor_upstream_m : float, optional
        As in `humidity_sensor`. [m]
    supply_v, series_ohm, dissipation_mw_k
        As in `self_heating_k`; without a voltage it is left out. [V, Ω, mW/K]
    """
    set_to = controller or part
    numbers: dict[str, object] = {}
    lines, findings = [], []
    if ohm is not None:
        numbers["t_c"] = part.celsius(ohm)
        lines.append(f"{ohm:.0f} Ω: {_both(part.celsius(ohm))}")
    if t_c is not None:
        numbers["ohm"] = part.ohm(t_c)
        lines.append(f"{_both(t_c)}: {part.ohm(t_c):.0f} Ω")
    shown = []
    for at in (t_c,) if t_c is not None else _SHOWN_AT_C:
        warmed_k = 0.0
        if supply_v is not None:
            warmed_k = self_heating_k(
                part,
                at,
                supply_v=supply_v,
                series_ohm=series_ohm,
                dissipation_mw_k=dissipation_mw_k,
            )
        seen = shown_c(
            at,
            part=part,
            controller=set_to,
            lead_ohm=lead_ohm,
            leakage_ohm=leakage_ohm,
            warmed_k=warmed_k,
        )
        row = {"t_c": at, "ohm": part.ohm(at), "shown_c": seen, "error_k": seen - at}
        shown.append(row if supply_v is None else row | {"self_heating_k": warmed_k})
        lines.append(
            f"at {at:g} °C: {part.ohm(at):.0f} Ω, {100.0 * part.alpha_1_k(at):.2f} %/K, "
            f"the controller shows {_both(seen)}"
        )
    numbers["shown"] = shown
    worst = max(shown, key=lambda each: abs(each["error_k"]))
    findings.append(shown_error(worst["error_k"], worst["t_c"]))
    if ice_bath_ohm is not None:
        numbers["ice_bath_c"] = part.celsius(ice_bath_ohm)
        findings.append(ice_bath(part, ice_bath_ohm))
    if rh_sensor_upstream_m is not None:
        findings.append(humidity_sensor(rh_sensor_upstream_m))
    lines.append("Sited: on a shaded wall to the north, away from vents and exhausts.")
    return SiteCheck(
        numbers=numbers,
        lines=tuple(lines),
        findings=tuple(findings),
        cautions=CAUTIONS["thermistor"],
    )


def _both(t_c: float) -> str:
    return f"{t_c:.1f} °C ({1.8 * t_c + 32.0:.1f} °F)"
