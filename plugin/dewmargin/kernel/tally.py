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
    The worst hours are those of the smallest dew margins as ln(p_face/p)/slope gives them, so
    nearly that the worst is among these few.
    """
    nearest, before = np.empty((area.size, CANDIDATES)), np.empty(area.size)
    faces = area.size
    for c in range(sum_x.shape[0]):
        for j in range(out.shape[1]):
            out[c, j] = 0.0
        for j in range(faces):
            before[j] = film[c, j, film.shape[2] - 1]  # a whole year begins as it ends
            for k in range(CANDIDATES):
                worst[c, j, k], nearest[j, k] = 0, 1e30
        asked = wanted_of[c]
        dev = of_device[c]
        for hour in range(p_pa.size):
            mean, given, wanted, lost = 0.0, 0.0, 0.0, 0.0
            for i in range(hour * parts, (hour + 1) * parts):
                mean += base[i] + sum_x[c, i] / step_s
                given += added[c, i] + added_rest[c, i]
                out[c, RUNNING_H] += (
                    running[c, i] + running_rest[c, i] * share_rest[dev, i]
                ) / 3600.0
                lost += fog[c, i]
                if asked >= 0:
                    wanted += wanted_kg[asked, i]
            mean = mean / parts
            w[c, hour] = mean
            out[c, DELIVERED] += given
            out[c, FOG] += lost
            if asked >= 0:
                missing = wanted - given
                out[c, DEMAND] += wanted
                out[c, SHORTFALL] += missing
                if wanted > demand_hour:
                    out[c, DEMAND_H] += 1.0
                if missing > short_frac * wanted and missing > demand_hour:
                    out[c, SHORTFALL_H] += 1.0
            if season[hour]:
                rh = p_pa[hour] * mean / (molar_ratio + mean) / p_sat_pa[hour]
                out[c, RH_SUM] += rh
                if rh < low_rh - slack:
                    out[c, DRY_H] += 1.0
                if rh > high_rh + slack:
                    out[c, HUMID_H] += 1.0
                out[c, BELOW_BAND] += max(low_rh - rh, 0.0)
            condenses, frost, wet, runs = False, False, False, False
            last = (hour + 1) * parts - 1
            for j in range(faces):
                at_face = mean + offset[j, hour]
                on = at_face * (1.0 - slack) > w_face[j, hour]
                left = film[c, j, last]
                # What began and ended dry took nothing.
                if on or left > 0.0 or before[j] > 0.0:
                    condenses = condenses or on
                    frost = frost or (on and cold_face[j, hour])
                    took, ran = 0.0, 0.0
                    for i in range(hour * parts, (hour + 1) * parts):
                        took += taken[c, j, i]
                        ran += runoff[c, j, i]
                    wet = wet or left >= film_wet
                    runs = runs or ran > 0.0
                    out[c, CONDENSED] += area[j] * max(took, 0.0)
                    out[c, DRIED] += area[j] * max(-took, 0.0)
                before[j] = left
                at_face = max(at_face, 0.0)
                below, whole = w_face[j, hour] - at_face, w_face[j, hour] + at_face
                # Most hours are far from the worst, and need no division to tell.
                farthest = nearest[j, CANDIDATES - 1] * slope[j, hour] * whole
                if below <= 0.0 or 2.0 * below <= farthest:
                    # ln(a/b) by its series about a = b.
                    apart = below / whole
                    margin = 2.0 * apart * (1.0 + apart * apart / 3.0) / slope[j, hour]
                    if margin < nearest[j, CANDIDATES - 1]:
                        k = CANDIDATES - 1
                        while k > 0 and margin < nearest[j, k - 1]:
                            nearest[j, k], worst[c, j, k] = nearest[j, k - 1], worst[c, j, k - 1]
                            k -= 1
                        nearest[j, k], worst[c, j, k] = margin, hour
            if condenses:
                out[c, CONDENSATION_H] += 1.0
            if frost:
                out[c, FROST_H] += 1.0
            if wet:
                out[c, WET_H] += 1.0
            if runs:
                out[c, RUNOFF_H] += 1.0


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
    vapour in the room. The rest is as `dewmargin.energy` has it. NaN is not known.
    """
    for q in range(which.size):
        c = which[q]
        for k in range(out.shape[1]):
            out[c, k] = 0.0
        owed = 0.0
        for hour in range(heat_j.size):
            need, feed_heat_hour = 0.0, 0.0
            for i in range(hour * parts, (hour + 1) * parts):
                run_1, run_2 = running[c, i], running_rest[c, i] * share_rest[i]
                given_1, given_2 = added[c, i], added_rest[c, i]
                runs = run_1 + run_2
                resting_s = step_s - min(runs, step_s)
                resting_feed = resting_feed_kg_s * resting_s
                feed_heat = resting_heat_w[i] * resting_s
                out[c, FEED] += resting_feed
                out[c, HOT_FEED] += resting_feed * hot[i]
                out[c, ELECTRICITY] += standby_w * resting_s
                if runs > 0.0:
                    for k in range(of_use.shape[0]):
                        amount = 0.0
                        if run_1 > 0.0:
                            amount += rows[of_use[k, 0, 0], i] * run_1
                            amount += rows[of_use[k, 0, 1], i] * given_1
                        if run_2 > 0.0:
                            amount += rows[of_use[k, 1, 0], i] * run_2
                            amount += rows[of_use[k, 1, 1], i] * given_2
                        if k == FEED:
                            out[c, HOT_FEED] += amount * hot[i]
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
                        if k != FEED_HEAT:
                            out[c, k] += amount
                    need += (given_1 + given_2) * vapour_j_kg[i]
                feed_heat_hour += feed_heat
            out[c, FEED_HEAT] += feed_heat_hour
            if feed_heat_hour != 0.0:
                out[c, WATER_HEATING] += feed_heat_hour * heater_per_heat[hour]
            owed = need + owed * kept
            if heat_j[hour] > 0.0:
                made = max(heat_j[hour] + owed, 0.0) - heat_j[hour]
                owed -= made
                out[c, MAKEUP] += made
                if made != 0.0:
                    out[c, SPACE_HEATING] += made * plant_per_heat[hour]
            elif cools[hour]:
                owed = 0.0
