"""The moisture balance of a room and its buffer, solved exactly step by step.

Plain functions of floats. They run as plain Python as they stand; `dewmargin.kernel` loads this
same file a second time with `jit` set to numba's compiler. Both give the same bits: strict float64,
no fused operations, and no library function inside the loop but the square root.

The state is x, the room's humidity ratio less a reference (zero for the house model, the simulated
humidity for a simulation), and y, the buffer's. Within a step all coefficients are constant:

    C dx/dt  = G - A x - h (k x - y) + s        C_b dy/dt = h (k x - y)

with C dry air [kg], G inflow [kg/s], A exchange and wet surfaces [kg/s], h conductance to the
buffer [kg/s], k the buffer's temperature factor [-], s the humidifier [kg/s].

A surface takes vapour while the room is above its saturation, keeps it as a film, and gives it back
while the room is below, as long as there is a film.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.columns import BoolArray, FloatArray, IntArray

    Function = TypeVar("Function", bound=Callable[..., object])

if "jit" not in globals():  # the loader of the compiled twin sets both beforehand

    def jit(function: Function) -> Function:
        """Leave a function as plain Python."""
        return function

    inline = jit

SEGMENTS = 12  # float, run, hold; the last runs to its end
PER_SURFACE = 2  # more segments for each surface: it may begin, and its film dry
SEARCH_STEPS = 12  # two or three are enough in a house; a rest is finished by the next segment
HALVE_EVERY = 4  # steps of a search that has not ended by then
SETTLED = 1e-3  # of the stretch: after so short a step the next, of third order, is rounding
AT_LIMIT = 1e-9  # kg/kg: nearer than this the room is at its set-point
DRY = 1e-10  # kg/m2: a film that evaporates is gone when less is left
AT_BALANCE = 1e-11  # kg/kg, times all conductances: nearer than this a rate is at its limit
TINY = 1e-300
SLIGHT = 1e-200  # kg/s: by it even a rate without limit can be divided
NEVER = -1e9  # a set-point that is never reached from above: no humidifier
UNLIMITED = 1e30  # kg/s, the rate of a device without limit
FLOAT, RUN, HOLD = range(3)  # regimes, by their decays: fog holds too
KINDS = 3
SECONDS, LOSS = range(2)  # columns of what is known of a regime's decays; the rest follows


@inline
def decay(y: float) -> tuple[float, float]:
    """Return phi = (1 - exp(-y))/y and psi = (1 - phi)/y for y >= 0, without cancellation.

    Series at y/128, then seven doublings in which every term is positive, so that y = 0 needs no
    branch; beyond 40 the exponential is below rounding. Relative error below 4e-15 (tested against
    the exponential of 40 digits).
    """
    c = min(y, 40.0)
    z = c * (1.0 / 128.0)
    # Even and odd terms apart: half as long a chain of operations that wait for each other.
    q = z * z
    even = 1.0 / 479001600.0
    even = 1.0 / 3628800.0 + q * even
    even = 1.0 / 40320.0 + q * even
    even = 1.0 / 720.0 + q * even
    even = 1.0 / 24.0 + q * even
    even = 0.5 + q * even
    odd = 1.0 / 6227020800.0
    odd = 1.0 / 39916800.0 + q * odd
    odd = 1.0 / 362880.0 + q * odd
    odd = 1.0 / 5040.0 + q * odd
    odd = 1.0 / 120.0 + q * odd
    odd = 1.0 / 6.0 + q * odd
    psi = even - z * odd
    phi = 1.0 - z * psi
    e = -z * phi
    # phi' = (2 + e) phi / 2, psi' = ((2 + e) psi + phi) / 4; the powers of two wait for the end.
    scale = 1.0
    for _ in range(7):
        grown = 2.0 + e
        psi = grown * psi + scale * phi
        phi = grown * phi
        e = e * grown
        scale = scale * 2.0
    phi = phi * (1.0 / 128.0)
    psi = psi * (1.0 / 16384.0)
    far = y > c
    phi = 1.0 / y if far else phi
    psi = (1.0 - phi) * phi if far else psi
    return phi, psi


@inline
def spans(t: float, l1: float, l2: float) -> tuple[float, float, float, float]:
    """Return E1, E2 - E1 [s] and their integrals I1, I2 - I1 [s2], E_i = (1 - exp(-l_i t))/l_i."""
    phi1, psi1 = decay(l1 * t)
    phi2, psi2 = decay(l2 * t)
    e1 = t * phi1
    i1 = t * t * psi1
    return e1, t * phi2 - e1, i1, t * t * psi2 - i1


@inline
def first_guess(m0: float, m_end: float, g: float, end: float) -> float:
    """Return where the search for the root of a falling m starts, inside 0 to `end`.

    The root of m0 + g t / (1 + c t), which has the value and slope of m at zero and its value at
    the end. Where m rises first, a step would run back to zero: then the middle.
    """
    t = -m0 / (min(-TINY, g - m0 * g / (max(TINY, m0 - m_end)) - m0 / (max(TINY, end))))
    return t if (g < 0.0) & (t > 0.0) & (t < end) else 0.5 * end


@inline
def refine(
    t: float, low: float, high: float,
    halve: bool,  # noqa: FBT001 - numba takes no keywords
    end: float, m0: float, g: float, u: float, l1: float, l2: float,
) -> tuple[float, float, float]:  # fmt: skip
    """One step towards the time at which m(t) = m0 + g E1 + u (E2 - E1) falls through zero.

    Halley's step, or halving the bracket `low` to `high` where told or where it would leave it: far
    out on an exponential's tail Halley's steps all have the same length. A step too short to matter
    closes the bracket on t, and a closed bracket no longer changes: who calls may stop there, or go
    on for the sake of others, and gets the same t.
    """
    e1 = t * decay(l1 * t)[0]
    e2 = t * decay(l2 * t)[0]
    m = m0 + g * e1 + u * (e2 - e1)
    d1 = 1.0 - l1 * e1
    d2 = 1.0 - l2 * e2
    slope = g * d1 + u * (d2 - d1)
    bend = u * (l1 * d1 - l2 * d2) - g * l1 * d1
    low = low if m < 0.0 else t
    high = t if m < 0.0 else high
    ahead = t - m * slope / (max(TINY, slope * slope - 0.5 * m * bend))
    # The root may already be an end of the bracket, missed by a rounding.
    short = SETTLED * end
    inside = (not halve) & (slope < 0.0) & (low - short <= ahead) & (ahead <= high + short)
    ahead = min(max(ahead, low), high) if inside else 0.5 * (low + high)
    near = inside & (abs(ahead - t) <= short)
    return ahead, (ahead if near else low), (ahead if near else high)


@inline
def halves(n: int) -> bool:
    """Say whether step n of a search, counted from zero, halves the bracket."""
    return (n > 0) & (n % HALVE_EVERY == 0)


@jit
def crossing(
    m0: float, m_end: float, g: float, u: float, l1: float, l2: float, end: float
) -> float:
    """Return the time at which m(t) = m0 + g E1 + u (E2 - E1) falls through zero.

    `m0` counts as positive and m is negative at `end`, so a root lies between.
    """
    t, low, high = first_guess(m0, m_end, g, end), 0.0, end
    for n in range(SEARCH_STEPS):
        t, low, high = refine(t, low, high, halves(n), end, m0, g, u, l1, l2)
        if low == high:
            break
    return t


@inline
def choose(
    x: float, y: float, low: float, high: float, r0: float, r1: float, h: float, k: float,
    g_in: float, a_out: float,
) -> tuple[bool, bool, bool, float, float, float]:  # fmt: skip
    """Choose what happens from here on: float, run at capacity, hold, or lose fog; no branches.

    Returns run, hold, fog (fog also holds), the device's rate, the rate needed to stay, and the
    flow to the buffer [kg/s].
    """
    flow_y = h * (k * x - y)
    need = a_out * x + flow_y - g_in  # the rate that would keep x where it is
    rate = r0 - r1 * x
    rate = rate if rate > r1 * AT_LIMIT else 0.0
    # A regime that ended because the rate needed met a limit must not begin again there.
    slack = AT_BALANCE * (a_out + h * k + r1)
    below = x < low - AT_LIMIT
    at_low = (not below) & (x <= low + AT_LIMIT)
    fog = (x >= high - AT_LIMIT) & (need < -slack)
    run = (not fog) & (rate > 0.0) & (below | (at_low & (need > rate - slack)))
    hold = fog | ((not run) & at_low & (need > slack) & (rate > 0.0))
    return run, hold, fog, rate, need, flow_y


@inline
def decays(
    free: float, loss: float, inv_mass: float, inv_buffer: float, h: float, k: float
) -> tuple[float, float, float, float, float, float, float]:
    """Return a, d, e, f of dx/dt = -a x + d y, dy/dt = e x - f y, l1 <= l2 and 1/(l2 - l1).

    l1 and l2 [1/s] are the rates of its two exponentials. One linear system serves all regimes:
    running adds to the loss, holding (`free` 0) pins x.
    """
    a = free * (loss + h * k) * inv_mass
    d = free * h * inv_mass
    e = h * k * inv_buffer
    f = h * inv_buffer
    spread = a - f
    l2 = 0.5 * (a + f + math.sqrt(spread * spread + 4.0 * d * e))
    l1 = free * loss * inv_mass * f / (max(TINY, l2))
    inv_gap = 1.0 / (max(TINY, l2 - l1))
    return a, d, e, f, l1, l2, inv_gap


@inline
def motion(
    run: bool, free: float, x: float, r0: float, r1: float, need: float, flow_y: float,  # noqa: FBT001 - numba takes no keywords
    inv_mass: float, inv_buffer: float, a: float, d: float, e: float, f: float, l1: float,
    inv_gap: float,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Return gx, gy, ux, uy of the motion x + gx E1 + ux (E2 - E1), same with y."""
    gx = free * ((r0 - r1 * x if run else 0.0) - need) * inv_mass
    gy = flow_y * inv_buffer
    ux = ((a - l1) * gx - d * gy) * inv_gap
    uy = ((f - l1) * gy - e * gx * free) * inv_gap
    return gx, gy, ux, uy


@inline
def regime(
    x: float, y: float, low: float, high: float, r0: float, r1: float,
    inv_mass: float, inv_buffer: float, h: float, k: float, g_in: float, a_out: float,
) -> tuple[bool, bool, bool, float, float, float, float, float, float, float, float]:  # fmt: skip
    """Return what `choose` says but the flow to the buffer, the motion and its rates l1, l2."""
    run, hold, fog, rate, need, flow_y = choose(x, y, low, high, r0, r1, h, k, g_in, a_out)
    free = 0.0 if hold else 1.0
    loss = a_out + (r1 if run else 0.0)
    a, d, e, f, l1, l2, inv_gap = decays(free, loss, inv_mass, inv_buffer, h, k)
    gx, gy, ux, uy = motion(
        run, free, x, r0, r1, need, flow_y, inv_mass, inv_buffer, a, d, e, f, l1, inv_gap
    )
    return run, hold, fog, rate, need, gx, gy, ux, uy, l1, l2


@inline
def limit(
    run: bool, hold: bool, fog: bool, rate: float, need: float, gx: float, gy: float, ux: float,  # noqa: FBT001 - numba takes no keywords
    uy: float, x: float, low: float, high: float, ceiling: float, r0: float, r1: float, h: float,
    e1: float, e21: float,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Return m at the start and at the end of a regime, and its g and u; it ends where m < 0.

    m(t) = m0 + g E1 + u (E2 - E1) is the distance of x from a limit, or that of the rate needed to
    hold from zero or from capacity. Besides `low` and `high` x has the limit `ceiling`, at which a
    dry surface begins to take vapour.
    """
    gz = -h * gy if hold else gx
    uz = -h * uy if hold else ux
    z = need if hold else x
    z_end = z + gz * e1 + uz * e21
    # Running ends at the set-point, or where the room is too humid for this device.
    able = r0 > r1 * low
    top = r0 / (max(SLIGHT, r1))
    upper = min((low if able else top) if run else high, ceiling)
    # A floating room waits for its set-point, or until it is dry enough for a device to work there.
    starts = low if able else top - 2.0 * AT_LIMIT
    waits = (not run) & (r0 > 0.0) & (x >= starts - AT_LIMIT)
    lower = starts if waits else NEVER
    over = (not hold) & (z_end > upper)
    capped = hold & (not fog) & (z_end >= 0.0)
    bound = 0.0 if hold else lower
    bound = rate if capped else bound
    bound = upper if over else bound
    sign = -1.0 if fog | capped | over else 1.0
    m0 = sign * (z - bound)
    m_end = sign * (z_end - bound)
    # A regime that begins at the limit ends half a nearness beyond: the root at zero is no news,
    # and might take every segment.
    grace = 0.5 * AT_LIMIT if (not hold) & (m0 < AT_LIMIT) else 0.0
    return m0 + grace, m_end + grace, sign * gz, sign * uz


@inline
def follow(
    run: bool, hold: bool, fog: bool, rate: float, need: float, gx: float, gy: float, ux: float,  # noqa: FBT001 - numba takes no keywords
    uy: float, x: float, y: float, t: float, r0: float, r1: float, h: float,
    e1: float, e21: float, i1: float, i21: float,
) -> tuple[float, float, float, float, float, float, float]:  # fmt: skip
    """Follow a regime for t seconds.

    Returns x, y at its end, the integrals of x and y [s], what the humidifier added [kg], its
    running time [s] and what became fog at saturation [kg].
    """
    sum_x = x * t + gx * i1 + ux * i21
    sum_dy = gy * i1 + uy * i21
    held = need * t - h * sum_dy
    working = hold & (not fog)
    added = held if working else 0.0
    added = r0 * t - r1 * sum_x if run else added
    running = min(added / (max(TINY, rate)), t) if working else 0.0
    return (
        x + gx * e1 + ux * e21,
        y + gy * e1 + uy * e21,
        sum_x,
        y * t + sum_dy,
        added,
        t if run else running,
        -held if fog else 0.0,
    )


@inline
def exchanges(x: float, x_sat: float, film: float) -> bool:
    """Say whether a surface exchanges vapour with the room: it is wet, or about to be.

    A dry one begins two nearnesses above its saturation and so never stops where it began.
    """
    return (film > 0.0) | (x > x_sat + AT_LIMIT)


@inline
def film_guess(film: float, beta: float, x_sat: float, x: float, sum_x: float, t: float) -> float:
    """Return where the search begins for the moment a film is used up, inside 0 to t.

    As if its rate went straight from its first value, so that its mean over t is what it is.
    """
    first = beta * (x_sat - x)
    bend = (beta * (x_sat - sum_x / (max(TINY, t))) - first) / (max(TINY, t))
    root = math.sqrt(max(0.0, first * first + 4.0 * bend * film))
    # Two forms of one root, each without cancellation for its sign of the first rate.
    falling = 2.0 * film / (max(TINY, first + root))
    turning = (root - first) / (max(TINY, 2.0 * bend))
    return min(falling if first > 0.0 else turning, t)


@inline
def film_refine(
    t: float, low: float, high: float,
    halve: bool,  # noqa: FBT001 - numba takes no keywords
    film: float, beta: float, x_sat: float, x: float, gx: float, ux: float, l1: float, l2: float,
) -> tuple[float, float, float]:  # fmt: skip
    """One step of Newton's towards the time at which a film is used up; as `refine`."""
    e1, e21, i1, i21 = spans(t, l1, l2)
    m = film + beta * ((x - x_sat) * t + gx * i1 + ux * i21)
    slope = beta * (x - x_sat + gx * e1 + ux * e21)
    near = abs(m) <= 0.5 * DRY
    low = low if m < 0.0 else t
    high = t if m < 0.0 else high
    ahead = t - m / (min(-TINY, slope))
    inside = (not halve) & (low < ahead) & (ahead < high)
    ahead = ahead if inside else 0.5 * (low + high)
    return t if near else ahead, t if near else low, t if near else high


@jit
def dries_after(
    film: float, beta: float, x_sat: float, x: float, gx: float, ux: float, l1: float, l2: float,
    sum_x: float, t: float,
) -> float:  # fmt: skip
    """Return when a film is used up in a regime of t seconds that began at x; t if it is not."""
    if film + beta * (sum_x - x_sat * t) >= -DRY:
        return t
    found, low, high = film_guess(film, beta, x_sat, x, sum_x, t), 0.0, t
    for n in range(SEARCH_STEPS):
        found, low, high = film_refine(
            found, low, high, halves(n), film, beta, x_sat, x, gx, ux, l1, l2
        )
        if low == high:
            break
    return low


@inline
def wetted(film: float, change: float) -> tuple[float, float, float]:
    """Return a film after a change, what it took, and what it is owed by the room. [kg/m2].

    A film never falls below zero: the rounding of its last is given back.
    """
    left = film + change
    gone = (change < 0.0) & (left <= DRY)
    return 0.0 if gone else left, -film if gone else change, left if gone else 0.0


@inline
def forget(known: FloatArray) -> None:
    """Empty the memory of a mode: no stretch has a negative length."""
    for kind in range(KINDS):
        known[kind, SECONDS] = -1.0


@inline
def recalled(
    known: FloatArray, kind: int, loss: float, seconds: float, inv_mass: float, inv_buffer: float,
    h: float, k: float,
) -> None:  # fmt: skip
    """See that row `kind` of `known` holds the decays of a regime and their spans.

    Cases that share a building share most of them: the first to ask has them worked out.
    """
    if known[kind, SECONDS] == seconds and known[kind, LOSS] == loss:
        return
    free = 0.0 if kind == HOLD else 1.0
    a, d, e, f, l1, l2, inv_gap = decays(free, loss, inv_mass, inv_buffer, h, k)
    e1, e21, i1, i21 = spans(seconds, l1, l2)
    known[kind, SECONDS], known[kind, LOSS] = seconds, loss
    known[kind, 2], known[kind, 3], known[kind, 4], known[kind, 5] = a, d, e, f
    known[kind, 6], known[kind, 7], known[kind, 8] = l1, l2, inv_gap
    known[kind, 9], known[kind, 10], known[kind, 11], known[kind, 12] = e1, e21, i1, i21


@inline
def stretch(
    x: float, y: float, owed: float, seconds: float, low: float, high: float, r0: float, r1: float,
    inv_mass: float, inv_buffer: float, h: float, k: float, g_in: float, a_out: float,
    area: FloatArray, beta: FloatArray, x_sat: FloatArray, i: int, film: FloatArray,
    taken: FloatArray, c: int, known: FloatArray,
) -> tuple[float, float, float, float, float, float, float, float]:  # fmt: skip
    """Solve `seconds` of step `i` of case `c` with constant coefficients: segment by segment.

    A segment ends where its regime does, where a dry surface begins to take vapour, or where a film
    is used up. Changes `film`, and adds what it took to `taken` [kg/m2] and what it gives back to
    `owed` [kg]. Returns x, y and `owed` at the end, the integrals of x and y [s], added [kg],
    running [s] and fog [kg].
    """
    left = seconds
    sum_x, sum_y, added, running, fog = 0.0, 0.0, 0.0, 0.0, 0.0
    most = SEGMENTS + PER_SURFACE * area.size
    for n in range(most):
        if left <= 0.0:
            break
        last = n == most - 1
        start, start_y, g, a_all, ceiling, wet = x, y, g_in, a_out, -NEVER, False
        for j in range(area.size):
            if exchanges(start, x_sat[j, i], film[c, j]):
                sink = area[j] * beta[j, i]
                g += sink * x_sat[j, i]
                a_all += sink
                wet = True
            else:
                ceiling = min(ceiling, x_sat[j, i] + 2.0 * AT_LIMIT)
        run, hold, foggy, rate, need, flow_y = choose(
            start, start_y, low, high, r0, r1, h, k, g, a_all
        )
        free = 0.0 if hold else 1.0
        kind = HOLD if hold else RUN if run else FLOAT
        loss = 0.0 if hold else a_all + (r1 if run else 0.0)
        t = left
        if n == 0:
            recalled(known, kind, loss, t, inv_mass, inv_buffer, h, k)
            a, d, e, f = known[kind, 2], known[kind, 3], known[kind, 4], known[kind, 5]
            l1, l2, inv_gap = known[kind, 6], known[kind, 7], known[kind, 8]
            e1, e21 = known[kind, 9], known[kind, 10]
            i1, i21 = known[kind, 11], known[kind, 12]
        else:
            a, d, e, f, l1, l2, inv_gap = decays(free, loss, inv_mass, inv_buffer, h, k)
            e1, e21, i1, i21 = spans(t, l1, l2)
        gx, gy, ux, uy = motion(
            run, free, start, r0, r1, need, flow_y, inv_mass, inv_buffer, a, d, e, f, l1, inv_gap
        )
        m0, m_end, mg, mu = limit(
            run, hold, foggy, rate, need, gx, gy, ux, uy, start, low, high, ceiling, r0, r1, h,
            e1, e21,
        )  # fmt: skip
        if m_end < 0.0 and not last:
            t = crossing(m0, m_end, mg, mu, l1, l2, left)
            e1, e21, i1, i21 = spans(t, l1, l2)
        x, y, part_x, part_y, part_added, part_running, part_fog = follow(
            run, hold, foggy, rate, need, gx, gy, ux, uy, start, start_y, t, r0, r1, h,
            e1, e21, i1, i21,
        )  # fmt: skip
        if wet and not last:
            for j in range(area.size):
                if exchanges(start, x_sat[j, i], film[c, j]):
                    dry = dries_after(
                        film[c, j], beta[j, i], x_sat[j, i], start, gx, ux, l1, l2, part_x, t
                    )
                    if dry < t:
                        t = dry
                        e1, e21, i1, i21 = spans(t, l1, l2)
                        x, y, part_x, part_y, part_added, part_running, part_fog = follow(
                            run, hold, foggy, rate, need, gx, gy, ux, uy, start, start_y, t,
                            r0, r1, h, e1, e21, i1, i21,
                        )  # fmt: skip
        if wet:
            for j in range(area.size):
                if exchanges(start, x_sat[j, i], film[c, j]):
                    change = beta[j, i] * (part_x - x_sat[j, i] * t)
                    film[c, j], took, rest = wetted(film[c, j], change)
                    taken[c, j, i] += took
                    owed += area[j] * rest
        left = left - t
        sum_x += part_x
        sum_y += part_y
        added += part_added
        running += part_running
        fog += part_fog
    return x, y, owed, sum_x, sum_y, added, running, fog


@jit
def cases(
    x: FloatArray, y: FloatArray, film: FloatArray, step_s: float, mass: float, buffer_mass: float,
    h: float, high: FloatArray, k: FloatArray, g_in: FloatArray, a_out: FloatArray,
    area: FloatArray, beta: FloatArray, x_sat: FloatArray, most: FloatArray,
    unlimited: BoolArray, of_low: IntArray, of_low_wet: IntArray, of_device: IntArray,
    wet_above: FloatArray, low: FloatArray, heat_frac: FloatArray, r0: FloatArray, r1: FloatArray,
    r0_rest: FloatArray, r1_rest: FloatArray,
    x_end: FloatArray, y_end: FloatArray, sum_x: FloatArray, sum_y: FloatArray, added: FloatArray,
    added_rest: FloatArray, running: FloatArray, running_rest: FloatArray, fog: FloatArray,
    taken: FloatArray, runoff: FloatArray, film_end: FloatArray,
) -> None:  # fmt: skip
    """Solve all steps of several cases of one building in turn, and fill the output arrays.

    Each step has up to two modes, with heat (a fraction of the step, first) and the rest.

    Of the building, in each step: `high` to `a_out`, and of its surfaces, a row each: `beta`
    [kg/(m2 s)], `x_sat` and `most` [kg/m2], what stays on it at the end of a step; `area` [m2] is 0
    for a surface that is watched and exchanges nothing with the room.
    Of each case: its state `x`, `y` and a row of `film` [kg/m2], which are changed; whether its
    device is `unlimited`; the rows of `low` that it holds while it is dry and wet, and the row of
    its device in `heat_frac` to `r1_rest`; and a row of `wet_above` [kg/m2], the film beyond which
    it counts as wet from the start of a step.
    The outputs have a row a case; `taken` (negative: given back), `runoff` and `film_end` [kg/m2]
    have a row a case and surface. The result of a case does not depend on the others.
    """
    inv_mass = 1.0 / mass
    inv_buffer = 1.0 / buffer_mass if buffer_mass > 0.0 else 0.0
    known = np.empty((2 * KINDS, 13))
    known_first, known_rest = known[:KINDS], known[KINDS:]
    for i in range(high.size):
        forget(known_first)
        forget(known_rest)
        for c in range(x.size):
            hold = low[of_low[c], i]
            for j in range(area.size):
                if film[c, j] > wet_above[c, j]:
                    hold = low[of_low_wet[c], i]
                taken[c, j, i] = 0.0
            x_c, y_c, start_fog, jump = x[c], y[c], 0.0, 0.0
            if x_c > high[i]:
                start_fog = mass * (x_c - high[i])
                x_c = high[i]
            if unlimited[c] and x_c < hold:
                jump = mass * (hold - x_c)
                x_c = hold
            dev = of_device[c]
            first = heat_frac[dev, i] * step_s
            x_c, y_c, owed, sx, sy, add1, run1, fog1 = stretch(
                x_c, y_c, 0.0, first, hold, high[i], r0[dev, i], r1[dev, i],
                inv_mass, inv_buffer, h, k[i], g_in[i], a_out[i], area, beta, x_sat, i, film, taken,
                c, known_first,
            )  # fmt: skip
            x_c, y_c, owed, sx2, sy2, add2, run2, fog2 = stretch(
                x_c, y_c, owed, step_s - first, hold, high[i], r0_rest[dev, i], r1_rest[dev, i],
                inv_mass, inv_buffer, h, k[i], g_in[i], a_out[i], area, beta, x_sat, i, film, taken,
                c, known_rest,
            )  # fmt: skip
            x_c = x_c + owed * inv_mass
            for j in range(area.size):
                runoff[c, j, i] = max(film[c, j] - most[j, i], 0.0)
                film[c, j] = min(film[c, j], most[j, i])
                film_end[c, j, i] = film[c, j]
            x[c], y[c] = x_c, y_c
            x_end[c, i], y_end[c, i] = x_c, y_c
            sum_x[c, i], sum_y[c, i] = sx + sx2, sy + sy2
            added[c, i], added_rest[c, i] = jump + add1, add2
            running[c, i], running_rest[c, i] = run1, run2
            fog[c, i] = start_fog + fog1 + fog2
