"""Moisture balance of a space, hour by hour: demand of a set-point, delivery of a device.

Set-points and capabilities in, kilograms out. The step itself is solved in `dewmargin.kernel`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.contracts import Capability, Mode, Use
from dewmargin.core.checks import require_hourly
from dewmargin.errors import OutOfRangeError
from dewmargin.kernel.source import NEVER
from dewmargin.physics import air
from dewmargin.solve import cases

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import WhileWet
    from dewmargin.solve.cases import State

_MOST_TURNS = 50  # of space and zones solved in turn; five to ten in a house
_SETTLED_KG_KG = 1e-8
_MOST_AT_ONCE_BYTES = 2**28  # of what the kernel writes: 200 cases of hours, 16 of five minutes
# Humidity ratio to hold, that to hold while a surface is wet, and the film of each surface from
# which on it is wet [kg/m2].
_ToHold = tuple["FloatArray", "FloatArray", "FloatArray"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """What happened, hour by hour; arrays have the shape (n_hours,).

    Attributes
    ----------
    w_kg_kg, w_end_kg_kg : float64 array
        Humidity ratio of the room, hour mean and at the hour's end. [kg/kg]
    added_kg : float64 array
        Vapour the humidifier added. [kg]
    feed_kg, hot_feed_kg : float64 array
        Water fed, and the part of it that came heated. [kg]
    feed_heat_j : float64 array
        Heat that the water heater put into the feed, NaN where not known; so are the next. [J]
    space_heat_j : float64 array
        Heat that the room gives to what was added, so that it stays as warm: negative where the
        vapour brings more than it needs, as steam does. [J]
    line_j : float64 array
        Heat that the feed gave to the space on its way; in `space_heat_j` already. [J]
    fan_j, device_j, fuel_j : float64 array
        Electricity of fans that ran for it, and of the device; fuel of the device. [J]
    running_frac : float64 array
        Fraction of the hour in which the equipment ran. [-]
    taken_kg_m2 : float64 array, shape (n_surfaces, n_hours)
        Vapour that each surface took in the hour; negative is given back. [kg/m2]
    runoff_kg_m2, film_kg_m2 : float64 array, shape (n_surfaces, n_hours)
        Water that ran off, and the film at the hour's end. [kg/m2]
    condensed_kg, dried_kg : float64 array, shape (n_surfaces, n_hours)
        Vapour taken from the room in hours in which more condensed than dried, and given back in
        the others; zero for surfaces without an area. [kg]
    fog_kg : float64 array
        Vapour beyond saturation of the room air. [kg]
    balance_error_kg : float64 array
        Stored − (gains − exchange + added − condensed + dried − fog), the check of the arithmetic.
        [kg]
    end : State
        Where the last step ended.
    """

    w_kg_kg: FloatArray
    w_end_kg_kg: FloatArray
    added_kg: FloatArray
    feed_kg: FloatArray
    hot_feed_kg: FloatArray
    feed_heat_j: FloatArray
    space_heat_j: FloatArray
    line_j: FloatArray
    fan_j: FloatArray
    device_j: FloatArray
    fuel_j: FloatArray
    running_frac: FloatArray
    taken_kg_m2: FloatArray
    runoff_kg_m2: FloatArray
    film_kg_m2: FloatArray
    condensed_kg: FloatArray
    dried_kg: FloatArray
    fog_kg: FloatArray
    balance_error_kg: FloatArray
    end: State


def setpoint_humidity_ratio(case: HourlyCase, rh_set_frac: FloatArray) -> FloatArray:
    """Humidity ratio of the space to hold; `NEVER` in steps of mechanical cooling. [kg/kg].

    Parameters
    ----------
    case : HourlyCase
    rh_set_frac : float64 array, shape (n_steps,), 0 to 1
        Relative humidity to hold where it is measured. [-]

    Raises
    ------
    OutOfRangeError
        If the set-point is not one fraction a step.
    """
    if not (
        np.shape(rh_set_frac) == (case.n_steps,)
        and rh_set_frac.min() >= 0.0
        and rh_set_frac.max() <= 1.0
    ):  # NaN, too
        require_hourly("setpoint", t_air_c=case.t_air_c, rh_set_frac=rh_set_frac)
        raise OutOfRangeError("must stay between 0 and 1", where="setpoint: rh_set_frac")
    w_set = air.humidity_ratio(rh_set_frac * case.sensed_p_sat_pa, case.p_pa)
    w_set -= case.sensed.w_offset_kg_kg
    off = case.cooling & (not case.humidify_while_cooling)
    return np.where(off, NEVER, w_set)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """What a space is to hold, and with which device.

    Attributes
    ----------
    rh_set_frac : float64 array, shape (n_steps,)
        Relative humidity to hold. [-]
    capability : Capability or None
        What the equipment can do in each step; None is a device without limit.
    wet : WhileWet or None
        What to hold while a surface is wet; None: the same.
    """

    rh_set_frac: FloatArray
    capability: Capability | None
    wet: WhileWet | None = None


def demand(
    case: HourlyCase,
    rh_set_frac: FloatArray,
    *,
    wet: WhileWet | None = None,
    start: State | None = None,
) -> Outcome:
    """Solve the year with a device without limit: what it adds is the demand."""
    return deliver_all(
        case, [Asked(rh_set_frac=rh_set_frac, capability=None, wet=wet)], start=start
    )[0]


def baseline(
    case: HourlyCase, *, start: State | None = None, of: cases.Building | None = None
) -> Outcome:
    """Solve the year without a humidifier, condensation active; `of` as for `deliver_all`."""
    return _baseline(case, start=start, of=of)[0]


def deliver(
    case: HourlyCase,
    rh_set_frac: FloatArray,
    capability: Capability,
    *,
    wet: WhileWet | None = None,
    start: State | None = None,
) -> Outcome:
    """Solve the year with an equipment on a supply, as `deliver_all` does.

    Examples
    --------
    A cold day of a room, from arrays, and a device that gives 0.5 kg/h while it runs:

    >>> import numpy as np
    >>> from dewmargin import HourlyCase
    >>> from dewmargin.contracts import Capability, Mode, Use
    >>> hour, steady = np.arange(24), np.ones(24)
    >>> case = HourlyCase(
    ...     title="a cold day",
    ...     departure=False,  # gains and weather decide the humidity
    ...     interval_start=np.datetime64("2017-01-10T00", "s") + hour * np.timedelta64(3600, "s"),
    ...     t_out_c=-10.0 * steady,
    ...     w_out_kg_kg=0.001 * steady,
    ...     p_pa=95_000.0 * steady,
    ...     t_air_c=21.0 * steady,
    ...     exchange_kg_s=0.03 * steady,
    ...     w_base_kg_kg=0.0 * steady,
    ...     gains_kg_s=1e-4 * steady,
    ...     heating_w=4000.0 * steady,
    ...     cooling=np.zeros(24, bool),
    ...     dry_air_kg=500.0,
    ...     wraps=False,
    ... )
    >>> runs = Mode(r0_kg_s=0.5 / 3600.0 * steady, r1_kg_s=0.0 * steady, feed=Use(per_kg=2.0))
    >>> outcome = deliver(case, 0.40 * steady, Capability(heat_frac=steady, heat=runs))
    >>> outcome.added_kg.round(2)[:6], round(float(outcome.feed_kg.sum()), 1)
    (array([0.5 , 0.5 , 0.5 , 0.26, 0.24, 0.24]), 13.2)
    """
    held = Asked(rh_set_frac=rh_set_frac, capability=capability, wet=wet)
    return deliver_all(case, [held], start=start)[0]


def deliver_all(
    case: HourlyCase,
    asked: Sequence[Asked],
    *,
    start: State | None = None,
    of: cases.Building | None = None,
) -> list[Outcome]:
    """Solve the year for all that is asked of a space, side by side; none depends on another.

    Parameters
    ----------
    case : HourlyCase
        Zones held beside the space have humidifiers of their own, without limit: with them each
        is solved by itself, since space and zones are solved in turn until they agree.
    asked : sequence of Asked
    start : State, optional
        Where each starts; by default a whole year starts from its own last 14 days, a part of a
        year as it would be without a humidifier: a simulation at its own humidity, the house model
        at the equilibrium of its first step.
    of : Building, optional
        The case as the kernel takes it, if it is made already.
    """
    if case.held_zones:
        starts = [None if start is None else start.of([i]) for i in range(len(asked))]
        return [
            _in_turn(case, each, start=begin) for each, begin in zip(asked, starts, strict=True)
        ]
    at_once = max(_MOST_AT_ONCE_BYTES // _bytes_of_a_case(case), 1)
    found: list[Outcome] = []
    for first in range(0, len(asked), at_once):
        some = range(first, min(first + at_once, len(asked)))
        solved = _solve(
            case,
            [_to_hold(case, asked[i]) for i in some],
            [asked[i].capability for i in some],
            start=None if start is None else start.of(some),
            of=of,
        )
        found += [outcome for outcome, _ in solved]
    return found


def _bytes_of_a_case(case: HourlyCase) -> int:
    """Return how much the kernel writes of a case."""
    return 8 * case.n_steps * (len(cases.OUTPUTS) + len(cases.FILMS) * len(case.surfaces))


def direct(case: HourlyCase) -> HourlyCase:
    """Return a simulation's case as a balance of its own flows and gains, not of the departure."""
    return replace(case, departure=False, w_base_kg_kg=np.zeros(case.n_steps))


def _baseline(
    case: HourlyCase, *, start: State | None, of: cases.Building | None = None
) -> tuple[Outcome, FloatArray]:
    never = _always(np.full(case.n_steps, NEVER), len(case.surfaces))
    return _solve(case, [never], [idle(case.n_steps)], start=start, of=of)[0]


def _always(w_set: FloatArray, n_surfaces: int = 0) -> _ToHold:
    """Return a set-point that films do not change."""
    return w_set, w_set, np.full(n_surfaces, np.inf)


def _to_hold(case: HourlyCase, held: Asked) -> _ToHold:
    w_set = setpoint_humidity_ratio(case, held.rh_set_frac)
    w_wet, wet_above = w_set, np.full(len(case.surfaces), np.inf)
    if held.wet is not None:
        w_wet = setpoint_humidity_ratio(case, held.wet.rh_frac)
        wet_above = held.wet.above_kg_m2(case)
    return w_set, w_wet, wet_above


def _in_turn(case: HourlyCase, asked: Asked, *, start: State | None) -> Outcome:
    """Solve the year at a set-point, together with the zones held beside the space.

    Space and zones are solved in turn, each with the others' departures as they were last found,
    until the space no longer changes. What one turn leaves open the next shrinks by the part of
    its air that each receives from the others and gets back.
    """
    held, capability = _to_hold(case, asked), asked.capability
    unraised = np.zeros(case.n_steps) if case.departure else _baseline(case, start=start)[1]
    zones = [
        replace(
            case,
            departure=True,
            t_air_c=zone.t_air_c,
            w_base_kg_kg=zone.w_base_kg_kg,
            dry_air_kg=zone.dry_air_kg,
            exchange_kg_s=zone.exchange_kg_s,
            buffer_kg_s=0.0,
            buffer_kg=0.0,
            surfaces=(),
            sensor=None,
            held_zones=(),
        )
        for zone in case.held_zones
    ]
    targets = [_always(setpoint_humidity_ratio(zone, asked.rh_set_frac)) for zone in zones]
    given = np.array([zone.given_kg_s for zone in case.held_zones])
    raised = np.zeros((1 + len(zones), case.n_steps))
    for _ in range(_MOST_TURNS):
        brought = np.sum(given * raised[1:], axis=0)
        of = cases.building(case, brought_kg_s=brought)
        [(outcome, x)] = _solve(case, [held], [capability], start=start, of=of)
        settled = float(np.max(np.abs(x - unraised - raised[0]))) < _SETTLED_KG_KG
        raised[0] = x - unraised
        if settled:
            break
        for i, zone in enumerate(zones):
            received = np.sum(case.held_zones[i].received_kg_s * raised, axis=0)
            of = cases.building(zone, brought_kg_s=received)
            [(_, raised[1 + i])] = _solve(zone, [targets[i]], [None], start=None, of=of)
    return outcome


def idle(n_steps: int) -> Capability:
    """Return a capability that gives nothing."""
    zero = np.zeros(n_steps)
    mode = Mode(r0_kg_s=zero, r1_kg_s=zero, feed=Use())
    return Capability(heat_frac=np.ones(n_steps), heat=mode, added=None)


def _solve(
    case: HourlyCase,
    held: Sequence[_ToHold],
    capabilities: Sequence[Capability | None],
    *,
    start: State | None,
    of: cases.Building | None = None,
) -> list[tuple[Outcome, FloatArray]]:
    """Solve the year of each; return what happened, and the mean of the kernel's x in each step."""
    n = len(held)
    of = cases.building(case) if of is None else of
    ran = cases.solve(
        of,
        cases.Cases(
            low=np.array([of.to_hold(w_set) for dry, wet, _ in held for w_set in (dry, wet)]),
            devices=[cases.device(case, each) for each in capabilities],
            of_low=range(0, 2 * n, 2),
            of_low_wet=range(1, 2 * n, 2),
            of_device=range(n),
            wet_above_kg_m2=np.array([above for *_, above in held]),
        ),
        start=start,
    )
    return [_outcome(of, ran, i, capability) for i, capability in enumerate(capabilities)]


def _outcome(
    of: cases.Building, ran: cases.Ran, i: int, capability: Capability | None
) -> tuple[Outcome, FloatArray]:
    """Return what happened in a case, and the mean of the kernel's x in each step."""
    case, begins = of.case, ran.begins.of([i])
    sum_x, *given, run_heat, run_rest, fog, x_end, y_end = ran.steps[:, i]
    taken, runoff, film = ran.films[:, i]
    added = given[0] + given[1]
    base, area = case.w_base_kg_kg, of.area_m2

    stored = case.dry_air_kg * np.diff(x_end, prepend=begins.x) + case.buffer_kg * np.diff(
        y_end, prepend=begins.y
    )
    flows = of.source_kg_s * case.step_s - case.exchange_kg_s * sum_x
    error = stored - (flows + added - area @ taken - fog)
    # The kernel spreads the second mode over the whole rest of the step.
    run_rest = run_rest if capability is None else run_rest * capability.beside
    used = _used(case, capability, given, [run_heat, run_rest])
    hours = (case.n_hours, case.steps_per_hour)

    def total(values: FloatArray) -> FloatArray:
        result: FloatArray = values.reshape(*values.shape[:-1], *hours).sum(axis=-1)
        return result

    x_mean = sum_x / case.step_s
    taken_kg_m2 = total(taken)
    outcome = Outcome(
        w_kg_kg=(base + x_mean).reshape(hours).mean(axis=1),
        w_end_kg_kg=(base + x_end).reshape(hours)[:, -1],
        added_kg=total(added),
        **{name: total(amount) for name, amount in used.items()},
        running_frac=total(run_heat + run_rest) / 3600.0,
        taken_kg_m2=taken_kg_m2,
        runoff_kg_m2=total(runoff),
        # A copy: what the kernel wrote of all cases is not to be kept for the hours of one.
        film_kg_m2=film[:, case.steps_per_hour - 1 :: case.steps_per_hour].copy(),
        condensed_kg=area[:, None] * np.maximum(taken_kg_m2, 0.0),
        dried_kg=area[:, None] * np.maximum(-taken_kg_m2, 0.0),
        fog_kg=total(fog),
        balance_error_kg=np.abs(error).reshape(hours).max(axis=1),
        end=ran.ends.of([i]),
    )
    return outcome, x_mean


def _used(
    case: HourlyCase,
    capability: Capability | None,
    given_kg: list[FloatArray],
    running_s: list[FloatArray],
) -> dict[str, FloatArray]:
    """Return water and energy of each step, by their names in `Outcome`."""
    if capability is None:
        nothing = np.zeros(case.n_steps)
        unknown = np.full(case.n_steps, np.nan)
        names = ("feed_heat_j", "space_heat_j", "line_j", "fan_j", "device_j", "fuel_j")
        return {"feed_kg": nothing, "hot_feed_kg": nothing} | dict.fromkeys(names, unknown)
    modes = [(capability.heat, 0)] + ([(capability.added, 1)] if capability.added else [])

    def total(use: str) -> FloatArray:
        result: FloatArray = sum(
            getattr(mode, use).total(running_s[i], given_kg[i]) for mode, i in modes
        )
        return result

    running = running_s[0] + running_s[1]
    resting_s = case.step_s - np.minimum(running, case.step_s)
    feed = total("feed") + capability.resting_feed_kg_s * resting_s
    fuel = total("fuel")
    if capability.part_load is not None:
        available_s = capability.available_s(case.step_s)
        fuel = fuel / capability.part_load.factor(given_kg[0] + given_kg[1], available_s)
    vapour_j = (given_kg[0] + given_kg[1]) * air.vapour_enthalpy(case.t_air_c)
    line = total("line") + capability.resting_line_w * resting_s
    standby = capability.standby_w * resting_s
    return {
        "feed_kg": feed,
        "hot_feed_kg": np.zeros_like(feed) if capability.hot is None else feed * capability.hot,
        "feed_heat_j": total("feed_heat") + capability.resting_heat_w * resting_s,
        "space_heat_j": vapour_j - total("brought") - line - total("casing") - standby,
        "line_j": line,
        "fan_j": total("fan"),
        "device_j": total("electricity") + standby,
        "fuel_j": fuel,
    }
