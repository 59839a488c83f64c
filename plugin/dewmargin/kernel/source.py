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

Cases of one building or several go through the year side by side, in the lanes of one flat buffer.
The loops over lanes have no branch and a constant distance between rows, so that a compiler puts
several cases into one vector; each lane still gets the operations it would get alone.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.columns import BoolArray, FloatArray, IntArray

    Function = TypeVar("Function", bound=Callable[..., object])

if "jit" not in globals():  # the loader of the compiled twin sets these four beforehand

    def jit(function: Function) -> Function:
        """Leave a function as plain Python."""
        return function

    inline = jit
    VECTOR = 1  # lanes are worked on in multiples of this

    def buffer(size: int) -> FloatArray:
        """Return zeros that come out as Python's own floats, twice as quick as NumPy's."""
        return memoryview(np.zeros(size))  # type: ignore[arg-type, return-value]


SEGMENTS = 12  # float, run, hold; the last runs to its end
PER_SURFACE = 2  # more segments for each surface: it may begin, and its film dry
SEARCH_STEPS = 12  # two or three are enough in a house; a rest is finished by the next segment
HALVE_EVERY = 4  # steps of a search that has not ended by then
SETTLED = 1e-3  # of the stretch: after so short a step the next, of third order, is rounding
AT_LIMIT = 1e-9  # kg/kg: nearer than this the room is at its set-point
DRY = 1e-10  # kg/m2: a film that evaporates is gone when less is left
AT_BALANCE = 1e-11  # kg/kg, times all conductances: nearer than this a rate is at its limit
NEAR = 2.5  # of a decay: up to there few doublings are enough
SURELY_NEAR, PERHAPS_FAR = True, False  # what is known of it
FAR = 40.0  # of a decay: beyond, its exponential is below rounding
TINY = 1e-300
SLIGHT = 1e-200  # kg/s: by it even a rate without limit can be divided
LEAST_DUTY = 1e-12  # of a plant that fires
NEVER = -1e9  # a set-point that is never reached from above: no humidifier
UNLIMITED = 1e30  # kg/s, the rate of a device without limit

LANES = 32  # cases side by side
MANY = 2  # of so many lanes one goes on: not worth to move
ACCOUNTED = 6  # outputs of a step of which a year's account is made; the state comes behind them
# A row of the buffer: the cases, then a dense list of those not done with a step's first segment,
# and a gap, lest all rows share the few places of a processor's cache that a power of two leaves.
ROW = 2 * LANES + 8
# Rows, by their first element. The outputs of a step, in their order,
(SUM_X, ADDED, ADDED_HELD, RUNNING, HELD, FOG, X, Y,
 # what else a segment changes,
 OWED, LEFT,
 # what holds in a step: what is to be held, the device, and the building,
 LOW, R0, R1, HIGH, LEAST_SAT, K, G_IN, A_OUT, H, INV_MASS, INV_BUFFER,
 # whether the device has no limit, and the room's air; the device on heat and between firings, the
 # plant's duty without and with what it evaporates, firings and the time that each loses, and the
 # longest rest,
 UNBOUND, MASS, ON0, ON1, OFF0, OFF1, DUTY, DUTY_RUN, FIRINGS, DEAD, LONGEST,
 # its segment: inflow and exchange with surfaces, what `choose` says, the limit, the motion, how
 # long it lasts,
 G, A, CEILING, WET, RUN, HOLD, LOSE, RATE, NEED,
 M0, M_END, MG, MU, GX, GY, UX, UY, L1, L2, T, E1, E21, I1, I21, START, PART,
 # the search for the ends of segments, a dense list,
 S_LEFT, S_M0, S_END, S_G, S_U, S_L1, S_L2, S_T, S_FROM, S_TO, S_E1, S_E21, S_I1, S_I21,
 # and the first of the surfaces' rows: what a segment changes, what holds in a step.
 FILM, TAKEN, AREA, BETA, X_SAT,
 ) = range(0, 77 * ROW, ROW)  # fmt: skip
SURFACE = 5 * ROW


@inline
def doubled(y: float, times: int, part: float) -> tuple[float, float]:
    """Return what `decay` does, for y up to 5/16 / `part`; that is 0.5 to the power of `times`.

    A series at y times `part`, then so many doublings in which every term is positive, so that
    y = 0 needs no branch.
    """
    z = y * part
    # Terms in pairs: a shorter chain of operations that wait for each other.
    q = z * z
    r = q * q
    even = 1.0 / 3628800.0 + q * (1.0 / 479001600.0)
    even = (1.0 / 720.0 + q * (1.0 / 40320.0)) + r * even
    even = (0.5 + q * (1.0 / 24.0)) + r * even
    odd = 1.0 / 39916800.0 + q * (1.0 / 6227020800.0)
    odd = (1.0 / 5040.0 + q * (1.0 / 362880.0)) + r * odd
    odd = (1.0 / 6.0 + q * (1.0 / 120.0)) + r * odd
    psi = even - z * odd
    phi = 1.0 - z * psi
    e = -z * phi
    # phi' = (2 + e) phi / 2, psi' = ((2 + e) psi + phi) / 4; the powers of two wait for the end.
    scale = 1.0
    for _ in range(times):
        grown = 2.0 + e
        psi = grown * psi + scale * phi
        phi = grown * phi
        e = e * grown
        scale = scale * 2.0
    return phi * part, psi * (part * part)


@inline
def decay(y: float, near: bool) -> tuple[float, float]:  # noqa: FBT001 - numba takes no keywords
    """Return phi = (1 - exp(-y))/y and psi = (1 - phi)/y for y >= 0, without cancellation.

    Relative error below 4e-15 (tested against the exponential of 40 digits). How y is doubled
    depends on y alone. Who knows that it is `near`, at most `NEAR`, is spared the other way: side
    by side all lanes would go both.
    """
    if near or y <= NEAR:
        return doubled(y, 3, 1.0 / 8.0)
    if y <= FAR:
        return doubled(y, 7, 1.0 / 128.0)
    phi = 1.0 / y
    return phi, (1.0 - phi) * phi


@inline
def spans(
    t: float, l1: float, l2: float, near: bool,  # noqa: FBT001 - numba takes no keywords
) -> tuple[float, float, float, float]:  # fmt: skip
    """Return E1, E2 - E1 [s] and their integrals I1, I2 - I1 [s2], E_i = (1 - exp(-l_i t))/l_i."""
    phi1, psi1 = decay(l1 * t, near)
    phi2, psi2 = decay(l2 * t, near)
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
    halve: bool, near: bool,  # noqa: FBT001 - numba takes no keywords
    end: float, m0: float, g: float, u: float, l1: float, l2: float,
) -> tuple[float, float, float]:  # fmt: skip
    """One step towards the time at which m(t) = m0 + g E1 + u (E2 - E1) falls through zero.

    Halley's step, or halving the bracket `low` to `high` where told or where it would leave it: far
    out on an exponential's tail Halley's steps all have the same length. A step too short to matter
    closes the bracket on t, and a closed bracket no longer changes: who calls may stop there, or go
    on for the sake of others, and gets the same t.
    """
    e1 = t * decay(l1 * t, near)[0]
    e2 = t * decay(l2 * t, near)[0]
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
    # At saturation the rate falls while the buffer fills: floating there would creep beyond.
    fog = (x >= high - AT_LIMIT) & (need < (slack if flow_y > 0.0 else -slack))
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
    gap = math.sqrt(spread * spread + 4.0 * d * e)
    l2 = 0.5 * (a + f + gap)
    l1 = free * loss * inv_mass * f / (max(TINY, l2))
    inv_gap = 1.0 / (max(TINY, gap))
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
    run: bool, hold: bool, fog: bool, need: float, gx: float, gy: float, ux: float,  # noqa: FBT001 - numba takes no keywords
    uy: float, x: float, y: float, t: float, r0: float, r1: float, h: float,
    e1: float, e21: float, i1: float, i21: float,
) -> tuple[float, float, float, float, float, float, float, float]:  # fmt: skip
    """Follow a regime for t seconds.

    Returns x, y at its end, the integral of x [s], what the humidifier added at capacity and what
    it added to hold [kg], how long it did the one and the other [s], and what became fog [kg].
    """
    sum_x = x * t + gx * i1 + ux * i21
    held = need * t - h * (gy * i1 + uy * i21)
    working = hold & (not fog)
    return (
        x + gx * e1 + ux * e21,
        y + gy * e1 + uy * e21,
        sum_x,
        r0 * t - r1 * sum_x if run else 0.0,
        held if working else 0.0,
        t if run else 0.0,
        t if working else 0.0,
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
    e1, e21, i1, i21 = spans(t, l1, l2, PERHAPS_FAR)
    m = film + beta * ((x - x_sat) * t + gx * i1 + ux * i21)
    slope = beta * (x - x_sat + gx * e1 + ux * e21)
    near = abs(m) <= 0.5 * DRY
    low = low if m < 0.0 else t
    high = t if m < 0.0 else high
    ahead = t - m / (min(-TINY, slope))
    inside = (not halve) & (low < ahead) & (ahead < high)
    ahead = ahead if inside else 0.5 * (low + high)
    return t if near else ahead, t if near else low, t if near else high


@inline
def film_after(film: float, beta: float, x_sat: float, sum_x: float, t: float) -> float:
    """Return a film after t seconds of exchange; below zero if it is used up before."""
    return film + beta * (sum_x - x_sat * t)


@jit
def dries_after(
    film: float, beta: float, x_sat: float, x: float, gx: float, ux: float, l1: float, l2: float,
    sum_x: float, t: float,
) -> float:  # fmt: skip
    """Return when a film is used up in a regime of t seconds that began at x; t if it is not."""
    if film_after(film, beta, x_sat, sum_x, t) >= -DRY:
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
def filled(n: int) -> int:
    """Return n up to whole vectors; no one reads what the lanes beyond n hold.

    A single lane is quicker alone: its numbers were written one by one, and a vector waits for all.
    """
    return n if n == 1 else (n + VECTOR - 1) // VECTOR * VECTOR


@inline
def lacking(
    low: float, y: float, r0: float, r1: float, off0: float, off1: float, duty: float,
    h: float, k: float, g_in: float, a_out: float,
) -> tuple[float, float]:  # fmt: skip
    """Return what a room at `low` needs, and how much more than it gets between firings [kg/s].

    The latter is zero too where nothing fires, or always.
    """
    need = (a_out + h * k) * low - h * y - g_in
    off = max(off0 - off1 * low, 0.0)
    fires = ((r0 != 0.0) | (r1 != 0.0)) & (duty < 1.0)
    return need, max(need - off, 0.0) if fires else 0.0


@inline
def rest_s(duty: float, firings: float, dead: float) -> float:
    """Return how long a plant rests between two firings, see `mean_held`. [s]."""
    return 1.0 / (firings * max(duty, LEAST_DUTY)) + dead


@inline
def mean_held(
    low: float, y: float, r0: float, r1: float, on0: float, on1: float, off0: float, off1: float,
    duty: float, duty_run: float, firings: float, dead: float,
    inv_mass: float, h: float, k: float, g_in: float, a_out: float,
    near: bool,  # noqa: FBT001 - numba takes no keywords
) -> float:  # fmt: skip
    """Return what a room keeps on average whose plant fires while `low` is to be held.

    Between firings the room sags, by what it needs and does not get, and recovers in the next; the
    mean over both is below what the humidistat is set to. A plant fires 4 N f (1 - f) times an
    hour, so it is off for 1/(4 N f); `firings` is 4 N [1/s], f lies between `duty` and `duty_run`
    as the device evaporates. `dead` [s] is lost at the start of each.
    The sag is exponential, by the air's exchange, the buffer's and the device's between firings;
    the way back is straight, at its mean slope. A device that does not come back swings as far as
    its firing lifts the room; the longer it rests beside the room's own time, the rarer that meets
    the set-point.
    """
    need, lack = lacking(low, y, r0, r1, off0, off1, duty, h, k, g_in, a_out)
    if not lack > 0.0:
        return low
    loss = a_out + h * k
    rate = max(r0 - r1 * low, 0.0)
    share = max(min(need, rate), 0.0) / (max(SLIGHT, rate))
    f = max(duty + (duty_run - duty) * share, LEAST_DUTY)
    rest = 1.0 - f
    t_off = rest_s(f, firings, dead)
    fall = lack * inv_mass
    phi, psi = decay((loss + (off1 if off0 > off1 * low else 0.0)) * inv_mass * t_off, near)
    mean_slope = 0.5 * (loss + on1) * inv_mass * fall * t_off * phi
    rise = (on0 - on1 * low - need) * inv_mass + mean_slope
    # The way back over the way down, in time; it ends with the firing.
    back = min(fall * phi / (max(rise, TINY)), f / (max(rest, LEAST_DUTY)))
    lift = max(rise, 0.0) * f / (max(rest, LEAST_DUTY))
    swings = 1.0 if lift >= fall * phi else min(lift, fall) / (max(fall, TINY))
    return low - swings * rest * fall * t_off * (psi + 0.5 * phi * back)


@inline
def parted(
    x: float, added: float, held: float, ran_s: float, held_s: float, on0: float, on1: float,
    off0: float, off1: float, duty: float, duty_run: float,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Part a step's vapour and time into those on heat and those between firings.

    Takes the room's mean x, what was added at capacity and to hold [kg], and how long each [s].
    Returns what was added on heat and between firings [kg], and how long [s]. A humidistat cannot
    bank vapour: it takes what the air between firings gives, and heat for the rest.
    """
    on, off = max(on0 - on1 * x, 0.0), max(off0 - off1 * x, 0.0)
    rate = duty_run * on + (1.0 - duty_run) * off
    # At capacity the vapour tells the integral of x.
    r0 = duty_run * on0 + (1.0 - duty_run) * off0
    r1 = duty_run * on1 + (1.0 - duty_run) * off1
    sum_x = (r0 * ran_s - added) / (max(SLIGHT, r1)) if r1 > 0.0 else x * ran_s
    between = min(max((1.0 - duty_run) * (off0 * ran_s - off1 * sum_x), 0.0), added)
    part = min(held / (max(SLIGHT, rate * held_s)), 1.0)
    f = duty + (duty_run - duty) * part
    # Heat gives what the air between firings leaves open, at most all it can.
    by_heat = min(held - (1.0 - f) * min(held, off * held_s), f * on * held_s)
    by_off = held - by_heat
    return (
        added - between + by_heat,
        between + by_off,
        duty_run * ran_s + min(by_heat / (max(SLIGHT, on)), f * held_s),
        (1.0 - duty_run) * ran_s + min(by_off / (max(SLIGHT, off)), (1.0 - f) * held_s),
    )


@inline
def share_out(b: FloatArray, n: int, step_s: float) -> None:
    """Part each lane's vapour and time of a step, see `parted`: there is none if nothing ran."""
    ran = False
    for q in range(n):
        ran = ran | (b[RUNNING + q] > 0.0) | (b[HELD + q] > 0.0) | (b[ADDED + q] > 0.0)
    if not ran:
        return
    for q in range(n):
        b[ADDED + q], b[ADDED_HELD + q], b[RUNNING + q], b[HELD + q] = parted(
            b[SUM_X + q] / step_s, b[ADDED + q], b[ADDED_HELD + q], b[RUNNING + q], b[HELD + q],
            b[ON0 + q], b[ON1 + q], b[OFF0 + q], b[OFF1 + q], b[DUTY + q], b[DUTY_RUN + q],
        )  # fmt: skip


@inline
def sag(b: FloatArray, n: int, near: bool) -> None:  # noqa: FBT001 - numba takes no keywords
    """Lower what each lane is to hold to `mean_held`; all `near` (see `decay`) or not."""
    for q in range(n):
        b[LOW + q] = mean_held(
            b[LOW + q], b[Y + q], b[R0 + q], b[R1 + q], b[ON0 + q], b[ON1 + q], b[OFF0 + q],
            b[OFF1 + q], b[DUTY + q], b[DUTY_RUN + q], b[FIRINGS + q], b[DEAD + q],
            b[INV_MASS + q], b[H + q], b[K + q], b[G_IN + q], b[A_OUT + q], near,
        )  # fmt: skip


@inline
def arrive(b: FloatArray, n: int, n_surfaces: int) -> None:
    """Begin a step: what exceeds saturation becomes fog, a device without limit lifts at once."""
    sags, near = False, True
    for q in range(n):
        low, h, k, a, off1 = b[LOW + q], b[H + q], b[K + q], b[A_OUT + q], b[OFF1 + q]
        _, lack = lacking(
            low, b[Y + q], b[R0 + q], b[R1 + q], b[OFF0 + q], off1, b[DUTY + q], h, k,
            b[G_IN + q], a,
        )  # fmt: skip
        sags = sags | (lack > 0.0)
        most = (a + h * k + max(off1, 0.0)) * b[INV_MASS + q] * b[LONGEST + q]
        near = near & ((most <= NEAR) | (lack <= 0.0))
    if sags and near:
        sag(b, n, SURELY_NEAR)
    elif sags:
        sag(b, n, PERHAPS_FAR)
    for q in range(n):
        x, low = min(b[X + q], b[HIGH + q]), b[LOW + q]
        lifts = (b[UNBOUND + q] > 0.0) & (x < low)
        b[FOG + q] = b[MASS + q] * (b[X + q] - x)
        b[ADDED + q] = b[MASS + q] * (low - x) if lifts else 0.0
        b[X + q] = low if lifts else x
        b[SUM_X + q], b[OWED + q] = 0.0, 0.0
        b[ADDED_HELD + q], b[RUNNING + q], b[HELD + q] = 0.0, 0.0, 0.0
    for at in range(0, n_surfaces * SURFACE, SURFACE):
        face = b[at:]
        for q in range(n):
            face[TAKEN + q] = 0.0


@inline
def join(b: FloatArray, n: int, n_surfaces: int) -> bool:
    """Begin a segment: see which surfaces exchange vapour. Say whether any does.

    Sets inflow, exchange and the humidity at which the next surface begins.
    """
    # In most segments no surface of any lane does.
    dry = True
    for at in range(0, n_surfaces * SURFACE, SURFACE):
        face = b[at:]
        for q in range(n):
            dry = dry & (face[FILM + q] <= 0.0)
    for q in range(n):
        least = b[LEAST_SAT + q]
        dry = dry & (b[X + q] <= least + AT_LIMIT)
        b[G + q], b[A + q], b[CEILING + q] = b[G_IN + q], b[A_OUT + q], least + 2.0 * AT_LIMIT
    if dry:
        return False
    for q in range(n):
        b[CEILING + q], b[WET + q] = -NEVER, 0.0
    for at in range(0, n_surfaces * SURFACE, SURFACE):
        face = b[at:]
        for q in range(n):
            x_sat = face[X_SAT + q]
            sink = face[AREA + q] * face[BETA + q]
            on = exchanges(b[X + q], x_sat, face[FILM + q])
            g, a, ceiling = b[G + q], b[A + q], b[CEILING + q]
            b[G + q] = g + sink * x_sat if on else g
            b[A + q] = a + sink if on else a
            b[CEILING + q] = ceiling if on else min(ceiling, x_sat + 2.0 * AT_LIMIT)
            b[WET + q] = 1.0 if on else b[WET + q]
    wet = False
    for q in range(n):
        wet = wet | (b[WET + q] > 0.0)
    return wet


@inline
def span(b: FloatArray, n: int, near: bool) -> None:  # noqa: FBT001 - numba takes no keywords
    """Let each lane's regime last as long as there is time, all `near` (see `decay`) or not."""
    for q in range(n):
        t = b[LEFT + q]
        b[T + q] = t
        b[E1 + q], b[E21 + q], b[I1 + q], b[I21 + q] = spans(t, b[L1 + q], b[L2 + q], near)


@inline
def begin(b: FloatArray, n: int) -> None:
    """Work out each lane's regime as if it lasted to the end, and how far beyond its limit.

    Short loops: a processor overlaps the lanes of a loop as far as it looks ahead.
    """
    near = True
    for q in range(n):
        (
            run, hold, fog, b[RATE + q], b[NEED + q], b[GX + q], b[GY + q], b[UX + q], b[UY + q],
            b[L1 + q], b[L2 + q],
        ) = regime(
            b[X + q], b[Y + q], b[LOW + q], b[HIGH + q], b[R0 + q], b[R1 + q],
            b[INV_MASS + q], b[INV_BUFFER + q], b[H + q], b[K + q], b[G + q], b[A + q],
        )  # fmt: skip
        b[RUN + q], b[HOLD + q] = 1.0 if run else 0.0, 1.0 if hold else 0.0
        b[LOSE + q] = 1.0 if fog else 0.0
        near = near & (b[LEFT + q] * b[L2 + q] <= NEAR)
    if near:
        span(b, n, SURELY_NEAR)
    else:
        span(b, n, PERHAPS_FAR)
    for q in range(n):
        b[M0 + q], m_end, b[MG + q], b[MU + q] = limit(
            b[RUN + q] > 0.0, b[HOLD + q] > 0.0, b[LOSE + q] > 0.0, b[RATE + q], b[NEED + q],
            b[GX + q], b[GY + q], b[UX + q], b[UY + q], b[X + q], b[LOW + q], b[HIGH + q],
            b[CEILING + q], b[R0 + q], b[R1 + q], b[H + q], b[E1 + q], b[E21 + q],
        )  # fmt: skip
        b[M_END + q] = m_end if b[LEFT + q] > 0.0 else 0.0


@inline
def close_in(b: FloatArray, m: int, near: bool) -> None:  # noqa: FBT001 - numba takes no keywords
    """Find the ends of the m lanes in the list of a search, all `near` (see `decay`) or not."""
    for s in range(filled(m)):
        left = b[S_LEFT + s]
        b[S_T + s] = first_guess(b[S_M0 + s], b[S_END + s], b[S_G + s], left)
        b[S_FROM + s], b[S_TO + s] = 0.0, left
    for step in range(SEARCH_STEPS):
        halve = halves(step)
        for s in range(filled(m)):
            b[S_T + s], b[S_FROM + s], b[S_TO + s] = refine(
                b[S_T + s], b[S_FROM + s], b[S_TO + s], halve, near, b[S_LEFT + s], b[S_M0 + s],
                b[S_G + s], b[S_U + s], b[S_L1 + s], b[S_L2 + s],
            )  # fmt: skip
        wide = False
        for s in range(m):
            wide = wide | (b[S_FROM + s] < b[S_TO + s])
        if not wide:
            break
    for s in range(filled(m)):
        b[S_E1 + s], b[S_E21 + s], b[S_I1 + s], b[S_I21 + s] = spans(
            b[S_T + s], b[S_L1 + s], b[S_L2 + s], near
        )


@inline
def search(b: FloatArray, n: int, found: IntArray) -> None:
    """End the lanes whose regime ends before: all side by side, as long as the slowest takes.

    The root of m(t) = m0 + g E1 + u (E2 - E1), where m0 counts as positive and m is negative at the
    end.
    """
    m, near = 0, True
    for q in range(n):
        if b[M_END + q] < 0.0:
            found[m] = q
            b[S_LEFT + m], b[S_M0 + m], b[S_END + m] = b[LEFT + q], b[M0 + q], b[M_END + q]
            b[S_G + m], b[S_U + m] = b[MG + q], b[MU + q]
            b[S_L1 + m], b[S_L2 + m] = b[L1 + q], b[L2 + q]
            near = near & (b[LEFT + q] * b[L2 + q] <= NEAR)
            m += 1
    if m == 0:
        return
    if near:
        close_in(b, m, SURELY_NEAR)
    else:
        close_in(b, m, PERHAPS_FAR)
    for s in range(m):
        q = found[s]
        b[T + q] = b[S_T + s]
        b[E1 + q], b[E21 + q], b[I1 + q], b[I21 + q] = (
            b[S_E1 + s], b[S_E21 + s], b[S_I1 + s], b[S_I21 + s],
        )  # fmt: skip


@inline
def dry_up(b: FloatArray, n: int, n_surfaces: int) -> None:
    """End the lanes in which a film is used up before: few, so one by one."""
    for q in range(n):
        b[WET + q] = 0.0
        b[PART + q] = b[X + q] * b[T + q] + b[GX + q] * b[I1 + q] + b[UX + q] * b[I21 + q]
    for at in range(0, n_surfaces * SURFACE, SURFACE):
        for q in range(n):
            film, x_sat = b[FILM + at + q], b[X_SAT + at + q]
            on = exchanges(b[X + q], x_sat, film)
            left = film_after(film, b[BETA + at + q], x_sat, b[PART + q], b[T + q])
            b[WET + q] = 1.0 if on & (left < -DRY) else b[WET + q]
    for q in range(n):
        if b[WET + q] > 0.0:
            x, gx, ux, l1, l2 = b[X + q], b[GX + q], b[UX + q], b[L1 + q], b[L2 + q]
            for at in range(q, q + n_surfaces * SURFACE, SURFACE):
                film, beta, x_sat, t = b[FILM + at], b[BETA + at], b[X_SAT + at], b[T + q]
                if exchanges(x, x_sat, film):
                    sum_x = x * t + gx * b[I1 + q] + ux * b[I21 + q]
                    dry = dries_after(film, beta, x_sat, x, gx, ux, l1, l2, sum_x, t)
                    if dry < t:
                        b[T + q] = dry
                        b[E1 + q], b[E21 + q], b[I1 + q], b[I21 + q] = spans(
                            dry, l1, l2, PERHAPS_FAR
                        )


@inline
def go_on(b: FloatArray, n: int) -> None:
    """Follow each lane's regime to its end; a lane that has no time stays as it is."""
    for q in range(n):
        x, y, t = b[X + q], b[Y + q], b[T + q]
        x_end, y_end, sum_x, added, to_hold, running, holding, lost = follow(
            b[RUN + q] > 0.0, b[HOLD + q] > 0.0, b[LOSE + q] > 0.0, b[NEED + q], b[GX + q],
            b[GY + q], b[UX + q], b[UY + q], x, y, t, b[R0 + q], b[R1 + q], b[H + q], b[E1 + q],
            b[E21 + q], b[I1 + q], b[I21 + q],
        )  # fmt: skip
        b[START + q], b[PART + q] = x, sum_x
        b[X + q] = x_end if t > 0.0 else x
        b[Y + q] = y_end if t > 0.0 else y
        b[LEFT + q] -= t
        b[SUM_X + q] += sum_x
        b[ADDED + q] += added
        b[ADDED_HELD + q] += to_hold
        b[RUNNING + q] += running
        b[HELD + q] += holding
        b[FOG + q] += lost


@inline
def take(b: FloatArray, n: int, n_surfaces: int) -> None:
    """Add what the surfaces took in a segment, and what the room is owed for their rounding."""
    for at in range(0, n_surfaces * SURFACE, SURFACE):
        face = b[at:]
        for q in range(n):
            film, x_sat = face[FILM + q], face[X_SAT + q]
            on = exchanges(b[START + q], x_sat, film)
            change = face[BETA + q] * (b[PART + q] - x_sat * b[T + q]) if on else 0.0
            face[FILM + q], took, rest = wetted(film, change)
            face[TAKEN + q] += took
            b[OWED + q] += face[AREA + q] * rest


@inline
def move(b: FloatArray, q: int, to: int, n_surfaces: int) -> None:
    """Copy what goes with a case through a step to another lane."""
    for row in range(0, UNBOUND, ROW):
        b[row + to] = b[row + q]
    for row in range(FILM, FILM + n_surfaces * SURFACE, ROW):
        b[row + to] = b[row + q]


@inline
def bring_back(b: FloatArray, q: int, to: int, n_surfaces: int) -> None:
    """Copy what segments have changed back to the lane of a case."""
    for row in range(0, LOW, ROW):
        b[row + to] = b[row + q]
    for row in range(FILM, FILM + n_surfaces * SURFACE, SURFACE):
        b[row + to] = b[row + q]
        b[row + TAKEN - FILM + to] = b[row + TAKEN - FILM + q]


@inline
def going_on(b: FloatArray, at: int, n: int) -> tuple[int, int, int]:
    """Return the first of n lanes with time left, how many are to the last, and how many have."""
    begins, end, kept = at + n, at, 0
    for q in range(at, at + n):
        if b[LEFT + q] > 0.0:
            begins, end, kept = min(begins, q), q + 1, kept + 1
    return begins, max(end - begins, 0), kept


@inline
def stretch(b: FloatArray, size: int, n_surfaces: int, case: IntArray, found: IntArray) -> bool:
    """Solve a step, `LEFT` seconds with constant coefficients: segment by segment.

    A segment ends where its regime does, where a dry surface begins to take vapour, or where a film
    is used up. Segments are worked on where the cases lie; few that go on among many close ranks.
    Says whether any surface was wet.
    """
    at, n, _ = going_on(b, 0, size)
    any_wet = False
    most = SEGMENTS + PER_SURFACE * n_surfaces
    for part in range(most):
        if n == 0:
            break
        lanes, all_n = b[at:], filled(n)
        wet = join(lanes, all_n, n_surfaces)
        begin(lanes, all_n)
        if part < most - 1:
            search(lanes, n, found)
            if wet:
                dry_up(lanes, n, n_surfaces)
        go_on(lanes, all_n)
        if wet:
            take(lanes, all_n, n_surfaces)
            any_wet = True
        begins, length, kept = going_on(b, at, n)
        if at < LANES and MANY * kept >= length:
            at, n = begins, length
            continue
        kept = 0
        for q in range(n):
            if b[LEFT + at + q] > 0.0:
                case[kept] = case[q] if at == LANES else at + q
                move(b, at + q, LANES + kept, n_surfaces)
                kept += 1
            elif at == LANES:
                bring_back(b, at + q, case[q], n_surfaces)
        at, n = LANES, kept
    return any_wet


@inline
def runs(of: IntArray, size: int, begins: IntArray) -> int:
    """Return how many runs of equals there are; fill in where they begin, and where the last ends.

    What the lanes of a run share is read once. It is written in whole vectors: those that it ends
    in belong to the next run too, which comes later.
    """
    count = 0
    for q in range(size):
        if q == 0 or of[q] != of[q - 1]:
            begins[count] = q
            count += 1
    begins[count] = size
    return count


@inline
def furnish(
    b: FloatArray, n_surfaces: int, i: int, n: int, of_b: IntArray, n_runs: int, begins: IntArray,
    high: FloatArray, k: FloatArray, g_in: FloatArray, a_out: FloatArray, beta: FloatArray,
    x_sat: FloatArray,
) -> None:  # fmt: skip
    """Set what is of each lane's building in step `i` of `n`; its rows begin at `of_b`."""
    for run in range(n_runs):
        first, size = begins[run], filled(begins[run + 1] - begins[run])
        lanes, at = b[first:], of_b[first] + i
        high_i, k_i, g_i, a_i, least = high[at], k[at], g_in[at], a_out[at], -NEVER
        for j in range(n_surfaces):
            at = of_b[first] * n_surfaces + j * n + i
            beta_i, x_sat_i = beta[at], x_sat[at]
            least = min(least, x_sat_i)
            face = b[first + j * SURFACE :]
            for q in range(size):
                face[BETA + q], face[X_SAT + q] = beta_i, x_sat_i
        for q in range(size):
            lanes[HIGH + q], lanes[LEAST_SAT + q], lanes[K + q] = high_i, least, k_i
            lanes[G_IN + q], lanes[A_OUT + q] = g_i, a_i


@inline
def equip(
    b: FloatArray, i: int, step_s: float, of_d: IntArray, n_runs: int, begins: IntArray,
    on0: FloatArray, on1: FloatArray, off0: FloatArray, off1: FloatArray, duty: FloatArray,
    duty_run: FloatArray,
) -> None:  # fmt: skip
    """Set what is of each lane's device in step `i`, and its mean; its rows begin at `of_d`."""
    for run in range(n_runs):
        first, size = begins[run], filled(begins[run + 1] - begins[run])
        lanes, at = b[first:], of_d[first] + i
        on0_i, on1_i, off0_i, off1_i = on0[at], on1[at], off0[at], off1[at]
        d, f = duty[at], duty_run[at]
        r0, r1 = f * on0_i + (1.0 - f) * off0_i, f * on1_i + (1.0 - f) * off1_i
        longest = rest_s(d, b[FIRINGS + first], b[DEAD + first])
        for q in range(size):
            lanes[ON0 + q], lanes[ON1 + q] = on0_i, on1_i
            lanes[OFF0 + q], lanes[OFF1 + q] = off0_i, off1_i
            lanes[R0 + q], lanes[R1 + q] = r0, r1
            lanes[DUTY + q], lanes[DUTY_RUN + q] = d, f
            lanes[LONGEST + q], lanes[LEFT + q] = longest, step_s


@inline
def ends_after(
    left: float, m0: float, m_end: float, g: float, u: float, l1: float, l2: float
) -> float:
    """Return when a regime ends, as `search` finds it for many side by side."""
    found, low, high = first_guess(m0, m_end, g, left), 0.0, left
    for step in range(SEARCH_STEPS):
        found, low, high = refine(
            found, low, high, halves(step), PERHAPS_FAR, left, m0, g, u, l1, l2
        )
        if low >= high:
            break
    return found


@inline
def stretch_alone(
    left: float, x: float, y: float, low: float, r0: float, r1: float,
    high: float, k: float, g_in: float, a_out: float, h: float, inv_mass: float, inv_buffer: float,
    area: FloatArray, beta: FloatArray, x_sat: FloatArray, film: FloatArray, taken: FloatArray,
    fog: float,
) -> tuple[float, float, float, float, float, float, float, float, float, bool]:  # fmt: skip
    """Solve a step for one case in scalars, with the operations of `stretch`.

    Changes `film` and `taken`. Returns x and y at its end; the integral of x, what was added at
    capacity and to hold, and how long; fog, added to what is given; what the room is owed for the
    films' rounding; and whether any surface was wet.
    """
    n_surfaces = area.size
    sum_x, added, added_held, ran, held_s, owed, any_wet = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, False
    most = SEGMENTS + PER_SURFACE * n_surfaces
    for part in range(most):
        if not left > 0.0:
            break
        g, a, ceiling, wet = g_in, a_out, -NEVER, False
        for j in range(n_surfaces):
            sink, sat = area[j] * beta[j], x_sat[j]
            on = exchanges(x, sat, film[j])
            g = g + sink * sat if on else g
            a = a + sink if on else a
            ceiling = ceiling if on else min(ceiling, sat + 2.0 * AT_LIMIT)
            wet = wet | on
        run, hold, foggy, rate, need, gx, gy, ux, uy, l1, l2 = regime(
            x, y, low, high, r0, r1, inv_mass, inv_buffer, h, k, g, a
        )
        t = left
        e1, e21, i1, i21 = spans(t, l1, l2, PERHAPS_FAR)
        if part < most - 1:
            m0, m_end, mg, mu = limit(
                run, hold, foggy, rate, need, gx, gy, ux, uy, x, low, high, ceiling,
                r0, r1, h, e1, e21,
            )  # fmt: skip
            if m_end < 0.0:
                t = ends_after(left, m0, m_end, mg, mu, l1, l2)
                e1, e21, i1, i21 = spans(t, l1, l2, PERHAPS_FAR)
            if wet:
                for j in range(n_surfaces):
                    if exchanges(x, x_sat[j], film[j]):
                        part_x = x * t + gx * i1 + ux * i21
                        dry = dries_after(film[j], beta[j], x_sat[j], x, gx, ux, l1, l2, part_x, t)
                        if dry < t:
                            t = dry
                            e1, e21, i1, i21 = spans(t, l1, l2, PERHAPS_FAR)
        x_end, y_end, part_x, gained, to_hold, running, holding, lost = follow(
            run, hold, foggy, need, gx, gy, ux, uy, x, y, t, r0, r1, h, e1, e21, i1, i21
        )
        if wet:
            any_wet = True
            for j in range(n_surfaces):
                sat = x_sat[j]
                on = exchanges(x, sat, film[j])
                change = beta[j] * (part_x - sat * t) if on else 0.0
                film[j], took, rest = wetted(film[j], change)
                taken[j] += took
                owed += area[j] * rest
        x = x_end if t > 0.0 else x
        y = y_end if t > 0.0 else y
        left -= t
        sum_x += part_x
        added += gained
        added_held += to_hold
        ran += running
        held_s += holding
        fog += lost
    return x, y, sum_x, added, added_held, ran, held_s, fog, owed, any_wet


@jit
def cases(
    x: FloatArray, y: FloatArray, film: FloatArray, step_s: float, mass: FloatArray,
    buffer_mass: FloatArray, h: FloatArray, high: FloatArray, k: FloatArray, g_in: FloatArray,
    a_out: FloatArray, area: FloatArray, beta: FloatArray, x_sat: FloatArray, most: FloatArray,
    order: IntArray, of_building: IntArray, unlimited: BoolArray, of_low: IntArray,
    of_low_wet: IntArray, of_device: IntArray, wet_above: FloatArray, low: FloatArray,
    on0: FloatArray, on1: FloatArray, off0: FloatArray, off1: FloatArray, duty: FloatArray,
    duty_run: FloatArray, firings: FloatArray, dead: FloatArray,
    steps: FloatArray, films: FloatArray,
) -> None:  # fmt: skip
    """Solve all steps of several cases side by side, and fill the output arrays.

    A plant that fires many times in a step counts by its mean: one straight line of the room's
    humidity, and what the room keeps on average while it sags between firings (`mean_held`).

    Of each building, a row each: `mass` to `h`; in each step `high` to `a_out`; and of its
    surfaces, as many in each building, `area` [m2], 0 for a surface that is watched and exchanges
    nothing with the room, and in each step `beta` [kg/(m2 s)], `x_sat` and `most` [kg/m2], what
    stays on it at the end of a step.
    `order` tells in which order the cases go side by side: those of like devices in a row are
    quicker.
    Of each case: its state `x`, `y` and a row of `film` [kg/m2], which are changed; its building;
    whether its device is `unlimited`; the rows of `low` that it holds while it is dry and wet, and
    the row of its device in `on0` to `dead`; and a row of `wet_above` [kg/m2], the film
    beyond which it counts as wet from the start of a step.
    `steps` takes, a row a case each: the integral of x over a step [s], what was added on heat and
    between firings [kg], running times of these [s], fog [kg], and x and y at the end; or only the
    `ACCOUNTED` first of these.
    `films` takes, a row a case and surface each [kg/m2]: what was taken (negative: given back), ran
    off, and is left; it must come full of zeros.
    The result of a case does not depend on the others.
    """
    n_surfaces, n, states = area.shape[1], high.shape[1], steps.shape[0] > ACCOUNTED
    b = buffer(FILM + n_surfaces * SURFACE)
    case, found = np.zeros(LANES, np.int64), np.zeros(LANES, np.int64)
    # One row after the other, and where a lane's rows begin: to find a number by its row and column
    # takes long, in all these places.
    highs, ks, g_ins, a_outs = high.ravel(), k.ravel(), g_in.ravel(), a_out.ravel()
    betas, x_sats, lows = beta.ravel(), x_sat.ravel(), low.ravel()
    on0s, on1s, off0s, off1s = on0.ravel(), on1.ravel(), off0.ravel(), off1.ravel()
    duties, duties_run = duty.ravel(), duty_run.ravel()
    of_b, of_d = np.zeros(LANES, np.int64), np.zeros(LANES, np.int64)
    of_dry, of_wet = np.zeros(LANES, np.int64), np.zeros(LANES, np.int64)
    begin_b, begin_d = np.zeros(LANES + 1, np.int64), np.zeros(LANES + 1, np.int64)
    for first in range(0, x.size, LANES):
        size = min(x.size - first, LANES)
        for q in range(size):
            c = order[first + q]
            of = of_building[c]
            of_b[q], of_d[q] = of * n, of_device[c] * n
            of_dry[q], of_wet[q] = of_low[c] * n, of_low_wet[c] * n
            b[X + q], b[Y + q] = x[c], y[c]
            b[UNBOUND + q] = 1.0 if unlimited[c] else 0.0
            b[FIRINGS + q], b[DEAD + q] = firings[of_device[c]], dead[of_device[c]]
            b[MASS + q], b[INV_MASS + q], b[H + q] = mass[of], 1.0 / mass[of], h[of]
            b[INV_BUFFER + q] = 1.0 / buffer_mass[of] if buffer_mass[of] > 0.0 else 0.0
            for j in range(n_surfaces):
                b[FILM + j * SURFACE + q] = film[c, j]
                b[AREA + j * SURFACE + q] = area[of, j]
        n_b, n_d = runs(of_b, size, begin_b), runs(of_d, size, begin_d)
        for i in range(n):
            furnish(
                b, n_surfaces, i, n, of_b, n_b, begin_b, highs, ks, g_ins, a_outs, betas, x_sats
            )
            for q in range(size):
                held = of_dry[q]
                if of_wet[q] != held:
                    for j in range(n_surfaces):
                        if b[FILM + j * SURFACE + q] > wet_above[order[first + q], j]:
                            held = of_wet[q]
                b[LOW + q] = lows[held + i]
            equip(b, i, step_s, of_d, n_d, begin_d, on0s, on1s, off0s, off1s, duties, duties_run)
            arrive(b, filled(size), n_surfaces)
            wet = stretch(b, size, n_surfaces, case, found)
            share_out(b, filled(size), step_s)
            for q in range(size):
                c = order[first + q]
                b[X + q] += b[OWED + q] * b[INV_MASS + q]
                for row in range(ACCOUNTED):
                    steps[row, c, i] = b[row * ROW + q]
                if states:
                    steps[ACCOUNTED, c, i], steps[ACCOUNTED + 1, c, i] = b[X + q], b[Y + q]
            if wet:
                for q in range(size):
                    c = order[first + q]
                    of = of_building[c]
                    for j in range(n_surfaces):
                        at = j * SURFACE + q
                        films[0, c, j, i] = b[TAKEN + at]
                        films[1, c, j, i] = max(b[FILM + at] - most[of, j, i], 0.0)
                        b[FILM + at] = min(b[FILM + at], most[of, j, i])
                        films[2, c, j, i] = b[FILM + at]
        for q in range(size):
            c = order[first + q]
            x[c], y[c] = b[X + q], b[Y + q]
            for j in range(n_surfaces):
                film[c, j] = b[FILM + j * SURFACE + q]
