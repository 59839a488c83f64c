"""The year's account: of a step and of an hour in scalars, and of many cases from their steps.

The scalar pieces come first. `year`, what a thread of a GPU does for one case, is made of them too,
so that a rule of the account stands here alone. What a device uses of one thing in a step does not:
as a piece it was free for `year`, but reads the numbers of both modes before it knows which ran,
and `device` took 1.25 times as long. Plain functions of floats and arrays; see
`dewmargin.kernel.source` about `jit` and `inline`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.columns import BoolArray, FloatArray, IntArray

    Function = TypeVar("Function", bound=Callable[..., object])

if "jit" not in globals():  # the loader of a twin sets them beforehand

    def jit(function: Function) -> Function:
        """Leave a function as plain Python."""
        return function

    inline = jit


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

# What a device uses (`contracts.USES`), and the columns of what `device` finds: these, and what is
# made of them.
FEED, BROUGHT, FEED_HEAT, FAN, ELECTRICITY, FUEL, LINE, CASING = range(8)
HOT_FEED, WATER_HEATING, MAKEUP, SPACE_HEATING, UNMET, COOLING, COOLEST = range(8, 15)
OF_DEVICE = 15

# What a mark of an hour tells, bit by bit from the lowest: the hour counts for that column.
MARKED = (CONDENSATION_H, FROST_H, WET_H, RUNOFF_H)


@inline
def relative_humidity(w: float, p_pa: float, p_sat_pa: float, molar_ratio: float) -> float:
    """Return the relative humidity of air of humidity ratio `w`. [-]."""
    return p_pa * w / (molar_ratio + w) / p_sat_pa


@inline
def comfort(rh: float, low_rh: float, high_rh: float, slack: float) -> tuple[float, float, float]:
    """Return whether an hour of the season is too dry and too humid, 1 or 0, and how far below."""
    dry = 1.0 if rh < low_rh - slack else 0.0
    humid = 1.0 if rh > high_rh + slack else 0.0
    return dry, humid, max(low_rh - rh, 0.0)


@inline
def shortfall(
    wanted: float, given: float, demand_hour: float, short_frac: float
) -> tuple[float, float, float]:
    """Return what an hour misses [kg], and whether it counts as of demand and as short, 1 or 0."""
    missing = wanted - given
    short = missing > short_frac * wanted and missing > demand_hour
    return missing, 1.0 if wanted > demand_hour else 0.0, 1.0 if short else 0.0


@inline
def condenses(w_at_face: float, w_face: float, slack: float) -> bool:
    """Say whether an hour counts as one of condensation on a face: its air is beyond saturation."""
    return w_at_face * (1.0 - slack) > w_face


@inline
def mark(
    on: bool, cold: bool, film: float, ran_off: float, film_wet: float,  # noqa: FBT001 - numba takes no keywords
) -> int:  # fmt: skip
    """Return the bits of an hour of a face, see `MARKED`; `on` is whether it condenses."""
    bits = 0
    if on:
        bits = 3 if cold else 1
    if film >= film_wet:
        bits |= 4
    if ran_off > 0.0:
        bits |= 8
    return bits


@inline
def near_margin(apart: float, whole: float, slope: float) -> float:
    """Return about by how much a face is warmer than the dew point there: ln(p_face/p)/slope. [K].

    By the logarithm's series about 1. `apart` and `whole` are difference and sum of the humidity
    ratios at saturation and of the air, `slope` is d ln p/dT. [kg/kg, 1/K]
    """
    share = apart / whole
    return 2.0 * share * (1.0 + share * share / 3.0) / slope


@inline
def at_rest(
    step_s: float, runs: float, feed_kg_s: float, heat_w: float, hot: float
) -> tuple[float, float, float]:
    """Return how long a device rests in a step, its hot feed then and heat in the feed. [s, kg, J].

    `hot` is 1 where the feed comes heated.
    """
    resting_s = step_s - min(runs, step_s)
    return resting_s, feed_kg_s * resting_s * hot, heat_w * resting_s


@inline
def booked(
    k: int, amount: float, hot: float, need: float, hot_feed: float, feed_heat: float
) -> tuple[float, float, float]:
    """Return the heat needed, the hot feed and the heat in the feed once use `k` is added to them.

    What is brought along, line, casing and fan heat the room; the fan only where its use is known.
    """
    if k == FEED:
        hot_feed += amount * hot
    elif k in (BROUGHT, LINE, CASING):
        need -= amount
    elif k == FEED_HEAT:
        feed_heat += amount
    elif k == FAN and not math.isnan(amount):
        need -= amount
    return need, hot_feed, feed_heat


@inline
def load_of_unit(given: float, able: float, units: float) -> float:
    """Return the share of full output at which each lit unit runs; one gives `able` at most. [-].

    As many are lit as it takes.
    """
    output = given / able if able > 0.0 else 0.0
    return output / min(max(math.ceil(output - 1e-9), 1.0), units)


@jit
def part_load(output: float, points: FloatArray) -> float:
    """Return a factor by straight lines between [output, factor], flat beyond the ends."""
    factor: float = points[0, 1]
    for i in range(1, points.shape[0]):
        if output > points[i - 1, 0]:
            share = (output - points[i - 1, 0]) / (points[i, 0] - points[i - 1, 0])
            factor = points[i - 1, 1] + min(share, 1.0) * (points[i, 1] - points[i - 1, 1])
    return factor


@inline
def bought(heat: float, per_heat: float) -> float:
    """Return the energy bought for a heat: none for none, though the price be not known. [J]."""
    return heat * per_heat if heat != 0.0 else 0.0


@inline
def bought_of_plant(heat: float, per_heat: float, spare: float, beyond: float) -> float:
    """Return the energy bought for a heat whose part above `spare` has a price of its own. [J]."""
    within = min(heat, spare)
    return within * per_heat + (heat - within) * beyond if heat != 0.0 else 0.0


@inline
def owe(
    owed: float, need: float, kept: float, heat: float, spare: float, blower: float, cools: bool,  # noqa: FBT001 - numba takes no keywords
) -> tuple[float, float, float, float]:  # fmt: skip
    """Return what a room is owed after an hour, and what plant, and cooling, made up for. [J].

    The last is what the plant could not give of the hour's own need. See `dewmargin.solve.energy`:
    the plant pays while it heats, `spare` at most, with its `blower`'s warmth for each joule; what
    is owed beforehand fades.
    """
    owed, made, cooled, unmet = need + owed * kept, 0.0, 0.0, 0.0
    if heat > 0.0:
        given = min(max(heat + owed, 0.0) - heat, spare)
        made = given / (1.0 + blower)
        unmet = max(min(need, owed) - given, 0.0) if owed > spare else 0.0
        owed -= given
    elif cools:
        cooled, owed = owed, 0.0
    return owed, made, cooled, unmet


@jit
def owings(
    kept: float, heat: FloatArray, need: FloatArray, spare: FloatArray, blower: FloatArray,
    cools: BoolArray, hours: FloatArray,
) -> None:  # fmt: skip
    """Follow what a room is owed, see `owe`. [J].

    Fills rows of `hours`: what plant, fading and cooling made up for, what the plant could not
    give, and what is owed at the end of each hour.
    """
    owed = 0.0
    for i in range(heat.size):
        hours[1, i] = owed * (1.0 - kept)
        owed, hours[0, i], hours[2, i], hours[3, i] = owe(
            owed, need[i], kept, heat[i], spare[i], blower[i], cools[i]
        )
        hours[4, i] = owed


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


@jit
def face(
    parts: int, w: FloatArray, offset: FloatArray, w_face: FloatArray, cold: BoolArray,
    slope: FloatArray, slack: float, film_wet: float,
    taken: FloatArray, runoff: FloatArray, film: FloatArray, marks: IntArray, worst: IntArray,
) -> tuple[float, float]:  # fmt: skip
    """Return what a face took and gave back a square metre; add to the hours' `marks`, see `room`.

    `worst` becomes the hours of the smallest dew margins as `near_margin` gives them, so nearly
    that the worst is among them.
    """
    nearest = np.full(CANDIDATES, 1e30)
    farthest = 1e30
    worst[:] = 0
    condensed, dried = 0.0, 0.0
    before = film[film.size - 1]  # a whole year begins as it ends
    for hour in range(w.size):
        at_face = w[hour] + offset[hour]
        on = condenses(at_face, w_face[hour], slack)
        left = film[(hour + 1) * parts - 1]
        # What began and ended dry took nothing.
        if on or left > 0.0 or before > 0.0:
            took, ran = 0.0, 0.0
            for i in range(hour * parts, (hour + 1) * parts):
                took += taken[i]
                ran += runoff[i]
            marks[hour] |= mark(on, cold[hour], left, ran, film_wet)
            condensed += max(took, 0.0)
            dried += max(-took, 0.0)
        before = left
        at_face = max(at_face, 0.0)
        apart, whole = w_face[hour] - at_face, w_face[hour] + at_face
        # Most hours are far from the worst, and need no division to tell.
        if apart <= 0.0 or 2.0 * apart <= farthest * slope[hour] * whole:
            margin = near_margin(apart, whole, slope[hour])
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
            rh[hour] = relative_humidity(mean, p_pa[hour], p_sat_pa[hour], molar_ratio)
            marks[hour] = 0
        running_s, fogged, dev = 0.0, 0.0, of_device[c]
        for i in range(base.size):
            running_s += running[c, i] + running_rest[c, i] * share_rest[dev, i]
            fogged += fog[c, i]
        demand, demand_h, delivered, missed, missed_h = 0.0, 0.0, 0.0, 0.0, 0.0
        if wanted_of[c] >= 0:
            hour_sums(parts, wanted_kg[wanted_of[c]], wanted)
            for hour in range(n_hours):
                missing, asks, short = shortfall(wanted[hour], given[hour], demand_hour, short_frac)
                demand += wanted[hour]
                missed += missing
                demand_h += asks
                missed_h += short
        rh_sum, dry_h, humid_h, below = 0.0, 0.0, 0.0, 0.0
        for hour in range(n_hours):
            delivered += given[hour]
            if season[hour]:
                dry, humid, lacks = comfort(rh[hour], low_rh, high_rh, slack)
                rh_sum += rh[hour]
                dry_h += dry
                humid_h += humid
                below += lacks
        out[c, DEMAND], out[c, DEMAND_H], out[c, DELIVERED] = demand, demand_h, delivered
        out[c, SHORTFALL], out[c, SHORTFALL_H] = missed, missed_h
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
def device(
    step_s: float, parts: int, vapour_j_kg: FloatArray, heat_j: FloatArray, spare_j: FloatArray,
    blower: FloatArray, cools: BoolArray, kept: float, plant_per_heat: FloatArray,
    plant_spare_j: FloatArray, plant_beyond: FloatArray,
    heater_per_heat: FloatArray,
    rows: FloatArray, of_use: IntArray, share_rest: FloatArray, available: FloatArray,
    hot: FloatArray, standby_w: float, resting_feed_kg_s: float, resting_heat_w: FloatArray,
    resting_line_w: FloatArray,
    points: FloatArray, full_kg_s: float, units: float, which: IntArray,
    added: FloatArray, added_rest: FloatArray, running: FloatArray, running_rest: FloatArray,
    out: FloatArray,
) -> None:  # fmt: skip
    """Fill `out` with what the cases `which` of one device take in the year, a row a case.

    `of_use[k, m]` are the rows in `rows` of what use k takes in mode m for each second and for
    each kilogram. `spare_j` is what the plant could give more, `blower` its blower's electricity
    for each joule; heat above `plant_spare_j` is bought at `plant_beyond`. `available` is the time
    in which it may run [s]; `points` its efficiency at part load, empty for none. `hot` is 1 where
    the feed comes heated. `vapour_j_kg` is the enthalpy of vapour in the room. The rest is as
    `dewmargin.solve.energy` has it. NaN is not known.
    """
    used = np.empty(OF_DEVICE)
    takes = np.array([of_use[k].any() for k in range(of_use.shape[0])])
    for q in range(which.size):
        c = which[q]
        used[:] = 0.0
        resting_sum_s, hot_feed, feed_heat_sum, water_heating = 0.0, 0.0, 0.0, 0.0
        owed, makeup, space_heating = 0.0, 0.0, 0.0
        blown, line_sum, unmet_sum, cooled_sum, coolest = 0.0, 0.0, 0.0, 0.0, 0.0
        for hour in range(heat_j.size):
            need, feed_heat_hour = 0.0, 0.0
            for i in range(hour * parts, (hour + 1) * parts):
                run_1, run_2 = running[c, i], running_rest[c, i] * share_rest[i]
                given_1, given_2 = added[c, i], added_rest[c, i]
                runs = run_1 + run_2
                resting_s, hot_then, feed_heat = at_rest(
                    step_s, runs, resting_feed_kg_s, resting_heat_w[i], hot[i]
                )
                resting_sum_s += resting_s
                hot_feed += hot_then
                line = resting_line_w[i] * resting_s
                line_sum += line
                need -= line + standby_w * resting_s
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
                        need, hot_feed, feed_heat = booked(
                            k, amount, hot[i], need, hot_feed, feed_heat
                        )
                        if k == FUEL and points.shape[0] > 0:
                            load = load_of_unit(given_1 + given_2, full_kg_s * available[i], units)
                            amount = amount / part_load(load, points)
                        used[k] += amount
                    need += (given_1 + given_2) * vapour_j_kg[i]
                feed_heat_hour += feed_heat
            feed_heat_sum += feed_heat_hour
            water_heating += bought(feed_heat_hour, heater_per_heat[hour])
            share = blower[hour]
            owed, made, cooled, unmet = owe(
                owed, need, kept, heat_j[hour], spare_j[hour], 0.0 if math.isnan(share) else share,
                cools[hour],
            )  # fmt: skip
            makeup += made
            blown += bought(made, share)
            cooled_sum += cooled
            unmet_sum += unmet
            if unmet > 0.0:
                coolest = max(coolest, owed)
            space_heating += bought_of_plant(
                made, plant_per_heat[hour], plant_spare_j[hour], plant_beyond[hour]
            )
        used[FEED] += resting_feed_kg_s * resting_sum_s
        used[ELECTRICITY] += standby_w * resting_sum_s
        used[FEED_HEAT], used[HOT_FEED] = feed_heat_sum, hot_feed
        used[WATER_HEATING], used[MAKEUP] = water_heating, makeup
        used[SPACE_HEATING] = space_heating
        used[FAN] += blown
        used[LINE] += line_sum
        used[UNMET], used[COOLING], used[COOLEST] = unmet_sum, cooled_sum, coolest
        out[c] = used
