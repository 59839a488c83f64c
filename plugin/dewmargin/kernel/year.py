"""One case's year at once, in scalars: balance and account, what a thread of a GPU does.

The same numbers as `source.cases` and then `tally` give, without keeping any hour: a million cases
would not find room. Plain functions of floats and arrays; see `dewmargin.kernel.source` about
`jit`. What cases share comes in stacks of rows, whose places are named below: a GPU's functions
take few arguments.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

# A twin's loader puts the twins of these functions in their place.
from dewmargin.kernel.saturation import (
    TRIPLE_POINT_PA,
    ln_over_ice,
    ln_over_water,
    slope_over_ice,
    slope_over_water,
)
from dewmargin.kernel.source import PERHAPS_FAR, mean_held, parted, stretch_alone
from dewmargin.kernel.tally import (
    BELOW_BAND,
    BROUGHT,
    CASING,
    CONDENSATION_H,
    CONDENSED,
    COOLEST,
    COOLING,
    DELIVERED,
    DEMAND,
    DEMAND_H,
    DRIED,
    DRY_H,
    ELECTRICITY,
    FAN,
    FEED,
    FEED_HEAT,
    FOG,
    FROST_H,
    FUEL,
    HOT_FEED,
    HUMID_H,
    LINE,
    MAKEUP,
    OF_ROOM,
    RH_SUM,
    RUNNING_H,
    RUNOFF_H,
    SHORTFALL,
    SHORTFALL_H,
    SPACE_HEATING,
    UNMET,
    WATER_HEATING,
    WET_H,
    at_rest,
    booked,
    bought,
    bought_of_plant,
    comfort,
    condenses,
    load_of_unit,
    mark,
    near_margin,
    owe,
    part_load,
    relative_humidity,
    shortfall,
)
from dewmargin.kernel.tally import OF_DEVICE as OF_DEVICE_YEAR

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np

    from dewmargin.columns import FloatArray, IntArray

    Function = TypeVar("Function", bound=Callable[..., object])

if "jit" not in globals():  # the loader of a twin sets them beforehand

    def jit(function: Function) -> Function:
        """Leave a function as plain Python."""
        return function

    inline = jit

if "sync" not in globals():  # a GPU's loader does

    @inline
    def sync() -> None:
        """Wait for the others who solve cases: here there are none."""


# Rows of a building in each step,
HIGH, K, G_IN, A_OUT, BASE, VAPOUR = range(6)
# in each hour,
P, P_SAT, SEASON, HEAT, COOLS, PLANT, SPARE, BLOWER, CHEAP, BEYOND = range(10)
# of its surfaces in each step and in each hour,
BETA, X_SAT, MOST = range(3)
OFFSET, W_FACE, COLD, SLOPE, T_FACE = range(5)
# and its numbers.
MASS, BUFFER_MASS, H, LOW_RH, HIGH_RH, KEPT = range(6)
# Rows of a device in each step; then come those of what it uses.
(ON0, ON1, OFF0, OFF1, DUTY, DUTY_RUN, SHARE_REST, AVAILABLE, HOT, RESTING_HEAT, RESTING_LINE,
 HEATER) = range(12)  # fmt: skip
OF_A_DEVICE = 12
# Its numbers.
STANDBY, RESTING_FEED, FULL, UNITS, UNLIMITED, POINTS, FIRINGS, DEAD = range(8)
NUMBERS_OF_A_DEVICE = 8
# A case: its building, its device, what it holds dry and wet, whose demand is its own, which row
# of demands it fills.
OF_BUILDING, OF_DEVICE, OF_LOW, OF_LOW_WET, WANTED, FILLS = range(6)
# Numbers that all cases share.
(STEP_S, PARTS, WARM_UP, WRAPS, SLACK, FILM_WET, DEMAND_HOUR, SHORT_FRAC, MOLAR_RATIO,
 NEAR_FILM, KELVIN) = range(11)  # fmt: skip
OF_ALL = 11

# What is found: the columns of `tally`, room and device, then the least dew margin.
MARGIN = OF_ROOM + OF_DEVICE_YEAR
FOUND = MARGIN + 1
# Rows to work in, a number a case and surface each.
FILM, TAKEN, BEGAN, BEFORE, HOUR_TOOK, HOUR_RAN = range(6)
# What `year` takes besides the case and what it works in and fills, in its order.
INPUTS = (
    "shared", "of_case", "numbers", "steps", "hours", "faces", "face_hours", "area", "devices",
    "rows", "of_use", "of_device", "points", "low", "wet_above", "state",
)  # fmt: skip
MOST_YEARS = 5  # films that have not returned by then grow from year to year
# A margin by the slope at the surface is off by up to so much, in K and for each K2: those that may
# be the least are worked out.
OFF_K, OFF_PER_K = 0.1, 0.03


@inline
def dew_point(p_vapour_pa: float, kelvin: float) -> float:
    """Return the dew or frost point as `air.dew_point` does. [°C]."""
    p = max(p_vapour_pa, 1e-3)
    ln_p = math.log(p)
    ice = p < TRIPLE_POINT_PA
    x = ln_p - math.log(611.2)
    t = (272.62 * x / (22.46 - x) if ice else 243.12 * x / (17.62 - x)) + kelvin
    for _ in range(6):
        ln_t = math.log(t)
        if ice:
            t = t - (ln_over_ice(t, ln_t) - ln_p) / slope_over_ice(t)
        else:
            t = t - (ln_over_water(t, ln_t) - ln_p) / slope_over_water(t)
    return t - kelvin


def drive(
    launch: Callable[[np.ndarray, int], np.ndarray], turns: list[np.ndarray], shared: FloatArray
) -> None:
    """Have cases solved, turn by turn: a whole year after its own last days, until films return.

    Parameters
    ----------
    launch : callable
        Takes cases and the hour they begin at, has `year` solve them, and tells of each whether its
        films do not end as they began.
    turns : list of int64 array
        Cases that may go at once; those whose demand others want first.
    shared : float64 array
        As of `year`.
    """
    wraps = shared[WRAPS] > 0.0
    for turn in turns:
        which = turn
        if wraps and which.size:
            launch(which, int(shared[WARM_UP]))
        for _ in range(MOST_YEARS + 1 if wraps else 1):
            if which.size:
                which = which[launch(which, 0)]


@jit
def year(
    c: int, first: int, shared: FloatArray, of_case: IntArray, numbers: FloatArray,
    steps: FloatArray, hours: FloatArray, faces: FloatArray, face_hours: FloatArray,
    area: FloatArray, devices: FloatArray, rows: FloatArray, of_use: IntArray,
    of_device: FloatArray, points: FloatArray, low: FloatArray, wet_above: FloatArray,
    state: FloatArray, work: FloatArray, wanted: FloatArray, late: IntArray, out: FloatArray,
) -> None:  # fmt: skip
    """Fill row `c` of `out` with the year of a case.

    Parameters
    ----------
    c, first : int
        The case, and the hour it begins at.
    shared : float64 array
        What all share, from STEP_S on.
    of_case : int64 array, shape (n_cases, 6)
        From OF_BUILDING on; -1 for no demand of its own, and for none to fill.
    numbers, steps, hours : float64 arrays, a row a building
        (6,) from MASS on, (n_steps, 6) from HIGH on, (n_hours, 10) from P on: what a step needs
        lies together.
    faces, face_hours, area : float64 arrays, a row a building
        (n_steps, n_surfaces, 3) from BETA on, (n_hours, n_surfaces, 5) from OFFSET on,
        (n_surfaces,).
    devices, rows, of_use, of_device, points : a row a device
        (n_steps, 12) from ON0 on; what it uses, (n_steps, n_rows), and which each use has in
        each mode for each second and kilogram, int64, see `tally.device`; (8,) from STANDBY on; its
        efficiency at part load.
    low : float64 array, shape (n_lows, n_steps)
    wet_above : float64 array, shape (n_cases, n_surfaces)
        As of `source.cases`.
    state : float64 array, shape (n_cases, 2)
        Room and buffer where the first step begins; then, where the last ended.
    work : float64 array, shape (6, n_cases, n_surfaces)
        Room to work in; its first row the films to begin with, which end as the next year begins.
    wanted : float64 array, shape (n_wanted, n_hours)
        Demands [kg], which cases without limit fill.
    late : int64 array, shape (n_cases,)
        Becomes 1 where the films do not end as they began.
    out : float64 array, shape (n_cases, FOUND)
    """
    of, dev = of_case[c, OF_BUILDING], of_case[c, OF_DEVICE]
    n_hours, n_surfaces = hours.shape[1], area.shape[1]
    step_s, parts = shared[STEP_S], int(shared[PARTS])
    # Its own rows of what is given.
    film, taken, began, before = work[FILM, c], work[TAKEN, c], work[BEGAN, c], work[BEFORE, c]
    hour_took, hour_ran, above, found = work[HOUR_TOOK, c], work[HOUR_RAN, c], wet_above[c], out[c]
    its, area_m2, device = numbers[of], area[of], of_device[dev]
    uses, load = of_use[dev], points[dev]
    mass, h = its[MASS], its[H]
    inv_mass = 1.0 / mass
    inv_buffer = 1.0 / its[BUFFER_MASS] if its[BUFFER_MASS] > 0.0 else 0.0
    unlimited = device[UNLIMITED] > 0.0
    asked, fills = of_case[c, WANTED], of_case[c, FILLS]
    x, y = state[c, 0], state[c, 1]
    for j in range(n_surfaces):
        began[j] = film[j]
        before[j] = film[j]
    demand, demand_h, delivered, missed, missed_h = 0.0, 0.0, 0.0, 0.0, 0.0
    running_s, rh_sum, dry_h, humid_h, below, fogged = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    condensing_h, frost_h, wet_h, runoff_h, condensed, dried = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    feed, brought, fan, electricity, fuel, hot_feed = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    feed_heat, water_heating, makeup, space_heating, owed_j = 0.0, 0.0, 0.0, 0.0, 0.0
    line, casing, unmet, cooling, coolest = 0.0, 0.0, 0.0, 0.0, 0.0
    resting_sum_s, least_k = 0.0, 1e3
    for hour in range(first, n_hours):
        sync()  # who goes in step shares what it reads of the code, too long for a GPU's caches
        at_hour, at_faces = hours[of, hour], face_hours[of, hour]
        mean, given, need, feed_heat_hour = 0.0, 0.0, 0.0, 0.0
        for j in range(n_surfaces):
            hour_took[j], hour_ran[j] = 0.0, 0.0
        for i in range(hour * parts, (hour + 1) * parts):
            step, can, face, row = steps[of, i], devices[dev, i], faces[of, i], rows[dev, i]
            held = of_case[c, OF_LOW]
            for j in range(n_surfaces):
                taken[j] = 0.0
                if film[j] > above[j]:
                    held = of_case[c, OF_LOW_WET]
            on0, on1, off0, off1 = can[ON0], can[ON1], can[OFF0], can[OFF1]
            duty, duty_run = can[DUTY], can[DUTY_RUN]
            r0 = duty_run * on0 + (1.0 - duty_run) * off0
            r1 = duty_run * on1 + (1.0 - duty_run) * off1
            low_i = mean_held(
                low[held, i], y, r0, r1, on0, on1, off0, off1, duty, duty_run, device[FIRINGS],
                device[DEAD], inv_mass, h, step[K], step[G_IN], step[A_OUT],
                PERHAPS_FAR,
            )  # fmt: skip
            high = step[HIGH]
            full = min(x, high)
            lifts = unlimited & (full < low_i)
            fog, lifted = mass * (x - full), mass * (low_i - full) if lifts else 0.0
            x = low_i if lifts else full
            x, y, sum_x, added, to_hold, ran, held_s, fog, owed, wet = stretch_alone(
                step_s, x, y, low_i, r0, r1, high, step[K], step[G_IN], step[A_OUT], h, inv_mass,
                inv_buffer, area_m2, face[:, BETA], face[:, X_SAT], film, taken, fog,
            )  # fmt: skip
            given_1, given_2, run_1, run_2 = parted(
                sum_x / step_s, lifted + added, to_hold, ran, held_s, on0, on1, off0, off1, duty,
                duty_run,
            )  # fmt: skip
            x += owed * inv_mass
            if wet:
                for j in range(n_surfaces):
                    most = face[j, MOST]
                    hour_took[j] += taken[j]
                    hour_ran[j] += max(film[j] - most, 0.0)
                    film[j] = min(film[j], most)
            mean += step[BASE] + sum_x / step_s
            given += given_1 + given_2
            fogged += fog
            run_2 = run_2 * can[SHARE_REST]
            runs = run_1 + run_2
            running_s += runs
            hot = can[HOT]
            resting_s, hot_then, feed_heat_step = at_rest(
                step_s, runs, device[RESTING_FEED], can[RESTING_HEAT], hot
            )
            resting_sum_s += resting_s
            hot_feed += hot_then
            line_step = can[RESTING_LINE] * resting_s
            line += line_step
            need -= line_step + device[STANDBY] * resting_s
            if runs > 0.0:
                for k in range(uses.shape[0]):
                    amount = 0.0
                    if run_1 > 0.0:
                        amount += row[uses[k, 0, 0]] * run_1
                        amount += row[uses[k, 0, 1]] * given_1
                    if run_2 > 0.0:
                        amount += row[uses[k, 1, 0]] * run_2
                        amount += row[uses[k, 1, 1]] * given_2
                    need, hot_feed, feed_heat_step = booked(
                        k, amount, hot, need, hot_feed, feed_heat_step
                    )
                    if k == FEED:
                        feed += amount
                    elif k == BROUGHT:
                        brought += amount
                    elif k == FAN:
                        fan += amount
                    elif k == ELECTRICITY:
                        electricity += amount
                    elif k == LINE:
                        line += amount
                    elif k == CASING:
                        casing += amount
                    elif k == FUEL:
                        if device[POINTS] > 0.0:
                            able = device[FULL] * can[AVAILABLE]
                            share = load_of_unit(given_1 + given_2, able, device[UNITS])
                            amount = amount / part_load(share, load)
                        fuel += amount
                need += (given_1 + given_2) * step[VAPOUR]
            feed_heat_hour += feed_heat_step
        feed_heat += feed_heat_hour
        water_heating += bought(feed_heat_hour, devices[dev, hour * parts, HEATER])
        cools = at_hour[COOLS] > 0.0
        blows = at_hour[BLOWER]
        owed_j, made, cooled, missed_j = owe(
            owed_j, need, its[KEPT], at_hour[HEAT], at_hour[SPARE],
            0.0 if math.isnan(blows) else blows, cools,
        )  # fmt: skip
        makeup += made
        fan += bought(made, blows)
        cooling += cooled
        unmet += missed_j
        if missed_j > 0.0:
            coolest = max(coolest, owed_j)
        space_heating += bought_of_plant(made, at_hour[PLANT], at_hour[CHEAP], at_hour[BEYOND])
        mean = mean / parts
        p = at_hour[P]
        delivered += given
        if fills >= 0:
            wanted[fills, hour] = given
        if asked >= 0:
            want = wanted[asked, hour]
            missing, asks, short = shortfall(want, given, shared[DEMAND_HOUR], shared[SHORT_FRAC])
            demand += want
            missed += missing
            demand_h += asks
            missed_h += short
        if at_hour[SEASON] > 0.0:
            rh = relative_humidity(mean, p, at_hour[P_SAT], shared[MOLAR_RATIO])
            dry, humid, lacks = comfort(rh, its[LOW_RH], its[HIGH_RH], shared[SLACK])
            rh_sum += rh
            dry_h += dry
            humid_h += humid
            below += lacks
        marks = 0
        for j in range(n_surfaces):
            at_face, sat = mean + at_faces[j, OFFSET], at_faces[j, W_FACE]
            on = condenses(at_face, sat, shared[SLACK])
            now = film[j]
            if on or now > 0.0 or before[j] > 0.0:
                cold = at_faces[j, COLD] > 0.0
                marks |= mark(on, cold, now, hour_ran[j], shared[FILM_WET])
                condensed += area_m2[j] * max(hour_took[j], 0.0)
                dried += area_m2[j] * max(-hour_took[j], 0.0)
            before[j] = now
            at_face = max(at_face, 0.0)
            nearly = near_margin(sat - at_face, sat + at_face, at_faces[j, SLOPE])
            if nearly < least_k + OFF_K + OFF_PER_K * least_k * least_k:
                p_face = p * at_face / (shared[MOLAR_RATIO] + at_face)
                margin = at_faces[j, T_FACE] - dew_point(p_face, shared[KELVIN])
                least_k = min(least_k, margin)
        condensing_h += marks & 1
        frost_h += marks >> 1 & 1
        wet_h += marks >> 2 & 1
        runoff_h += marks >> 3 & 1
    found[DEMAND], found[DEMAND_H], found[DELIVERED] = demand, demand_h, delivered
    found[SHORTFALL], found[SHORTFALL_H] = missed, missed_h
    found[RUNNING_H], found[RH_SUM], found[DRY_H] = running_s / 3600.0, rh_sum, dry_h
    found[HUMID_H], found[BELOW_BAND], found[FOG] = humid_h, below, fogged
    found[CONDENSATION_H], found[FROST_H], found[WET_H] = condensing_h, frost_h, wet_h
    found[RUNOFF_H], found[CONDENSED], found[DRIED] = runoff_h, condensed, dried
    at = OF_ROOM
    found[at + FEED] = feed + device[RESTING_FEED] * resting_sum_s
    found[at + BROUGHT], found[at + FEED_HEAT], found[at + FAN] = brought, feed_heat, fan
    found[at + ELECTRICITY] = electricity + device[STANDBY] * resting_sum_s
    found[at + FUEL], found[at + HOT_FEED] = fuel, hot_feed
    found[at + LINE], found[at + CASING] = line, casing
    found[at + UNMET], found[at + COOLING], found[at + COOLEST] = unmet, cooling, coolest
    found[at + WATER_HEATING], found[at + MAKEUP] = water_heating, makeup
    found[at + SPACE_HEATING], found[MARGIN] = space_heating, least_k
    state[c, 0], state[c, 1], late[c] = x, y, 0
    for j in range(n_surfaces):
        if abs(began[j] - film[j]) > shared[NEAR_FILM]:
            late[c] = 1
