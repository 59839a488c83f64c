"""From the steps of many cases to their years: sums and counts, compiled like the balance.

Plain functions of floats and arrays; see `dewmargin.kernel.source` about `jit`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.columns import BoolArray, FloatArray, IntArray

    Function = TypeVar("Function", bound=Callable[..., object])

if "jit" not in globals():  # the loader of the compiled twin sets it beforehand

    def jit(function: Function) -> Function:
        """Leave a function as plain Python."""
        return function


# Columns of what `room` finds.
(
    DEMAND,
    DEMAND_H,
    DELIVERED,
    SHORTFALL,
    SHORTFALL_H,
    RUNNING_H,
    RH_SUM,
    DRY_H,
    HUMID_H,
    BELOW_BAND,
    CONDENSATION_H,
    FROST_H,
    WET_H,
    RUNOFF_H,
    CONDENSED,
    DRIED,
    FOG,
) = range(17)
OF_ROOM = 17
CANDIDATES = 16  # hours of which one is the worst

# What a device uses, and the columns of what `device` finds: these, and what is made of them.
USES = ("feed", "brought", "feed_heat", "fan", "electricity", "fuel")
FEED, BROUGHT, FEED_HEAT, FAN, ELECTRICITY, FUEL = range(6)
HOT_FEED, WATER_HEATING, MAKEUP, SPACE_HEATING = range(6, 10)
OF_DEVICE = 10


@jit
def hour_sums(parts: int, steps: FloatArray, hours: FloatArray) -> None:
    """Fill `hours` with the sums of so many steps each."""
    if parts == 1:
        hours[:] = steps
        return
    for hour in range(hours.size):
        total = 0.0
        for i in range(hour * parts, (hour + 1) * parts):
            total += steps[i]
        hours[hour] = total


# What a mark of an hour tells, bit by bit from the lowest: the hour counts for that column.
MARKED = (CONDENSATION_H, FROST_H, WET_H, RUNOFF_H)


@jit
def face(
    parts: int, w: FloatArray, offset: FloatArray, w_face: FloatArray, cold: BoolArray,
    slope: FloatArray, slack: float, film_wet: float,
    taken: FloatArray, runoff: FloatArray, film: FloatArray, marks: IntArray, worst: IntArray,
) -> tuple[float, float]:  # fmt: skip
    """Return what a face took and gave back a square metre; add to the hours' `marks`, see `room`.

    `worst` becomes the hours of the smallest dew margins as ln(p_face/p)/slope gives them, so
    nearly that the worst is among them.
    """
    nearest = np.full(CANDIDATES, 1e30)
    farthest = 1e30
    worst[:] = 0
    condensed, dried = 0.0, 0.0
    before = film[film.size - 1]  # a whole year begins as it ends
    for hour in range(w.size):
        at_face = w[hour] + offset[hour]
        on = at_face * (1.0 - slack) > w_face[hour]
        left = film[(hour + 1) * parts - 1]
        # What began and ended dry took nothing.
        if on or left > 0.0 or before > 0.0:
            took, ran = 0.0, 0.0
            for i in range(hour * parts, (hour + 1) * parts):
                took += taken[i]
                ran += runoff[i]
            mark = 0
            if on:
                mark = 3 if cold[hour] else 1
            if left >= film_wet:
                mark |= 4
            if ran > 0.0:
                mark |= 8
            marks[hour] |= mark
            condensed += max(took, 0.0)
            dried += max(-took, 0.0)
        before = left
        at_face = max(at_face, 0.0)
        apart, whole = w_face[hour] - at_face, w_face[hour] + at_face
        # Most hours are far from the worst, and need no division to tell.
        if apart <= 0.0 or 2.0 * apart <= farthest * slope[hour] * whole:
            # ln(a/b) by its series about a = b.
            apart = apart / whole
            margin = 2.0 * apart * (1.0 + apart * apart / 3.0) / slope[hour]
            if margin < farthest:
                k = CANDIDATES - 1
                while k > 0 and margin < nearest[k - 1]:
                    nearest[k], worst[k] = nearest[k - 1], worst[k - 1]
                    k -= 1
                nearest[k], worst[k] = margin, hour
                farthest = nearest[CANDIDATES - 1]
    return condensed, dried


@jit
def room(
    step_s: float, parts: int, base: FloatArray, p_pa: FloatArray, p_sat_pa: FloatArray,
    molar_ratio: float, season: BoolArray, low_rh: float, high_rh: float, slack: float,
    offset: FloatArray, w_face: FloatArray, cold_face: BoolArray, slope: FloatArray,
    area: FloatArray, film_wet: float, wanted_kg: FloatArray, wanted_of: IntArray,
    demand_hour: float, short_frac: float,
    sum_x: FloatArray, added: FloatArray, added_rest: FloatArray, running: FloatArray,
    running_rest: FloatArray, share_rest: FloatArray, of_device: IntArray, fog: FloatArray,
    taken: FloatArray, runoff: FloatArray, film: FloatArray,
    out: FloatArray, w: FloatArray, worst: IntArray,
) -> None:  # fmt: skip
    """Fill `out` (a row a case), the hours' humidity ratio `w`, and each face's hours `worst`.

    `parts` steps make an hour; `base` and the outputs of the balance have a value a step, what
    follows `p_pa` a value an hour. `offset`, `w_face` and `slope` are the faces' own humidity less
    the room's, their saturation [kg/kg], and d ln p/dT there [1/K], a row a face. `wanted_of` is
    the row of `wanted_kg`, a value a step, that is a case's demand, -1 for none.
    """
    n_hours = p_pa.size
    step_w, step_kg = np.empty(base.size), np.empty(base.size)
    given, wanted, rh = np.empty(n_hours), np.empty(n_hours), np.empty(n_hours)
    marks = np.empty(n_hours, dtype=np.int64)
    for c in range(sum_x.shape[0]):
        # One short loop after the other, and sums in names of their own: so a compiler makes
        # vectors of most, and nothing is written to memory that is read again at once.
        for i in range(base.size):
            step_w[i] = base[i] + sum_x[c, i] / step_s
            step_kg[i] = added[c, i] + added_rest[c, i]
        hour_sums(parts, step_w, w[c])
        hour_sums(parts, step_kg, given)
        for hour in range(n_hours):
            mean = w[c, hour] / parts
            w[c, hour] = mean
            rh[hour] = p_pa[hour] * mean / (molar_ratio + mean) / p_sat_pa[hour]
            marks[hour] = 0
        running_s, fogged, dev = 0.0, 0.0, of_device[c]
        for i in range(base.size):
            running_s += running[c, i] + running_rest[c, i] * share_rest[dev, i]
            fogged += fog[c, i]
        demand, demand_h, delivered, shortfall, shortfall_h = 0.0, 0.0, 0.0, 0.0, 0.0
        if wanted_of[c] >= 0:
            hour_sums(parts, wanted_kg[wanted_of[c]], wanted)
            for hour in range(n_hours):
                missing = wanted[hour] - given[hour]
                demand += wanted[hour]
                shortfall += missing
                if wanted[hour] > demand_hour:
                    demand_h += 1.0
                if missing > short_frac * wanted[hour] and missing > demand_hour:
                    shortfall_h += 1.0
        rh_sum, dry_h, humid_h, below = 0.0, 0.0, 0.0, 0.0
        for hour in range(n_hours):
            delivered += given[hour]
            if season[hour]:
                rh_sum += rh[hour]
                if rh[hour] < low_rh - slack:
                    dry_h += 1.0
                if rh[hour] > high_rh + slack:
                    humid_h += 1.0
                below += max(low_rh - rh[hour], 0.0)
        out[c, DEMAND], out[c, DEMAND_H], out[c, DELIVERED] = demand, demand_h, delivered
        out[c, SHORTFALL], out[c, SHORTFALL_H] = shortfall, shortfall_h
        out[c, RUNNING_H], out[c, FOG] = running_s / 3600.0, fogged
        out[c, RH_SUM], out[c, DRY_H], out[c, HUMID_H] = rh_sum, dry_h, humid_h
        out[c, BELOW_BAND], out[c, CONDENSED], out[c, DRIED] = below, 0.0, 0.0
        for j in range(area.size):
            took, gave = face(
                parts, w[c], offset[j], w_face[j], cold_face[j], slope[j], slack, film_wet,
                taken[c, j], runoff[c, j], film[c, j], marks, worst[c, j],
            )  # fmt: skip
            out[c, CONDENSED] += area[j] * took
            out[c, DRIED] += area[j] * gave
        for k in range(len(MARKED)):
            out[c, MARKED[k]] = 0.0
        for hour in range(p_pa.size):
            if marks[hour]:
                for k in range(len(MARKED)):
                    out[c, MARKED[k]] += marks[hour] >> k & 1


@jit
def part_load(output: float, points: FloatArray) -> float:
    """Return a factor by straight lines between [output, factor], flat beyond the ends."""
    factor: float = points[0, 1]
    for i in range(1, points.shape[0]):
        if output > points[i - 1, 0]:
            share = (output - points[i - 1, 0]) / (points[i, 0] - points[i - 1, 0])
            factor = points[i - 1, 1] + min(share, 1.0) * (points[i, 1] - points[i - 1, 1])
    return factor


@jit
def device(
    step_s: float, parts: int, vapour_j_kg: FloatArray, heat_j: FloatArray, cools: BoolArray,
    kept: float, plant_per_heat: FloatArray, heater_per_heat: FloatArray,
    rows: FloatArray, of_use: IntArray, share_rest: FloatArray, available: FloatArray,
    hot: FloatArray, standby_w: float, resting_feed_kg_s: float, resting_heat_w: FloatArray,
    points: FloatArray, full_kg_s: float, units: int, which: IntArray,
    added: FloatArray, added_rest: FloatArray, running: FloatArray, running_rest: FloatArray,
    out: FloatArray,
) -> None:  # fmt: skip
    """Fill `out` with what the cases `which` of one device take in the year, a row a case.

    `of_use[k, m]` are the rows in `rows` of what use k takes in mode m for each second and for
    each kilogram. `available` is the time in which it may run [s]; `points` its efficiency at part
    load, empty for none. `hot` is 1 where the feed comes heated. `vapour_j_kg` is the enthalpy of
    vapour in the room. The rest is as `dewmargin.solve.energy` has it. NaN is not known.
    """
    used = np.empty(OF_DEVICE)
    takes = np.array([of_use[k].any() for k in range(of_use.shape[0])])
    for q in range(which.size):
        c = which[q]
        used[:] = 0.0
        resting_sum_s, hot_feed, feed_heat_sum, water_heating = 0.0, 0.0, 0.0, 0.0
        owed, makeup, space_heating = 0.0, 0.0, 0.0
        for hour in range(heat_j.size):
            need, feed_heat_hour = 0.0, 0.0
            for i in range(hour * parts, (hour + 1) * parts):
                run_1, run_2 = running[c, i], running_rest[c, i] * share_rest[i]
                given_1, given_2 = added[c, i], added_rest[c, i]
                runs = run_1 + run_2
                resting_s = step_s - min(runs, step_s)
                resting_sum_s += resting_s
                hot_feed += resting_feed_kg_s * resting_s * hot[i]
                feed_heat = resting_heat_w[i] * resting_s
                if runs > 0.0:
                    for k in range(of_use.shape[0]):
                        if not takes[k]:
                            continue
                        amount = 0.0
                        if run_1 > 0.0:
                            amount += rows[of_use[k, 0, 0], i] * run_1
                            amount += rows[of_use[k, 0, 1], i] * given_1
                        if run_2 > 0.0:
                            amount += rows[of_use[k, 1, 0], i] * run_2
                            amount += rows[of_use[k, 1, 1], i] * given_2
                        if k == FEED:
                            hot_feed += amount * hot[i]
                        if k == BROUGHT:
                            need -= amount
                        if k == FEED_HEAT:
                            feed_heat += amount
                        if k == FAN and not math.isnan(amount):
                            need -= amount
                        if k == FUEL and points.shape[0] > 0:
                            most = full_kg_s * available[i]
                            output = (given_1 + given_2) / most if most > 0.0 else 0.0
                            lit = min(max(math.ceil(output - 1e-9), 1.0), float(units))
                            amount = amount / part_load(output / lit, points)
                        used[k] += amount
                    need += (given_1 + given_2) * vapour_j_kg[i]
                feed_heat_hour += feed_heat
            feed_heat_sum += feed_heat_hour
            if feed_heat_hour != 0.0:
                water_heating += feed_heat_hour * heater_per_heat[hour]
            owed = need + owed * kept
            if heat_j[hour] > 0.0:
                made = max(heat_j[hour] + owed, 0.0) - heat_j[hour]
                owed -= made
                makeup += made
                if made != 0.0:
                    space_heating += made * plant_per_heat[hour]
            elif cools[hour]:
                owed = 0.0
        used[FEED] += resting_feed_kg_s * resting_sum_s
        used[ELECTRICITY] += standby_w * resting_sum_s
        used[FEED_HEAT], used[HOT_FEED] = feed_heat_sum, hot_feed
        used[WATER_HEATING], used[MAKEUP] = water_heating, makeup
        used[SPACE_HEATING] = space_heating
        out[c] = used
