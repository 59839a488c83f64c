"""How fast the step runs with many cases side by side: `python tests/benchmarks/bench_lanes.py`.

A block of B cases shares weather and schedules and goes through the year hour by hour. Each hour is
first solved for all lanes as if no regime ended and no surface joined or left within it; that loop
has no branch, so the compiler puts several cases into one vector register. Lanes in which something
does happen are gathered into a dense list and solved there segment by segment, again in vector
loops, so that a few of them do not make the whole block pay.

Prints CPU time a case-hour for lanes and for the ordinary compiled cases, and stops if one bit
differs. Invented cases; not collected by pytest.
"""

from __future__ import annotations

import re
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from statistics import median

import numba
import numpy as np

from dewmargin import kernel
from dewmargin.kernel import source

sys.path.insert(0, str(Path(__file__).parents[1]))

from kernel_cases import (
    BETA,
    BUFFER_KG_S,
    EXCHANGE_KG_S,
    HOUR_S,
    MASS_KG,
    MOST_KG_M2,
    saturated,
)

N_HOURS = 8760
N_CASES = 256  # compared bit by bit, and on two threads
N_TIMED = 64  # in each timed round
ROUNDS = 7
SURFACES = 3
VECTOR = 8  # the list is filled up to a multiple of this, so that no lane is left for scalar code

# Rows of the hourly table that a block shares.
T_OUT, HIGH, K, GAINS, EXCHANGE, W_OUT, HEAT, X_SAT = range(8)
N_DRIVERS = X_SAT + SURFACES

# Rows of a block's one flat buffer, each B long: what a case is,
N_PARAMETERS = 14 + SURFACES
(LINE, SLOPE, LEAST, MOST, R0, R1, R0_REST, MASS, INV_MASS, INV_BUFFER, H, AIR, PEOPLE, PLANT, AREA,
 ) = range(15)  # fmt: skip
# its state: x, y, what films give back, the films, and what they took in the hour,
STATE = 3 + 2 * SURFACES
X, Y, OWED, FILM = range(N_PARAMETERS, N_PARAMETERS + 4)
TAKEN = FILM + SURFACES
# the hour's inputs,
LOW, G, A, FIRST, REST, START_FOG, JUMP, ZERO, EVENT = range(X + STATE, X + STATE + 9)
# the results of both modes: the state again, then four sums of `follow`,
X_1, X_2 = EVENT + 1, EVENT + 1 + STATE + 4
SUM_X, ADDED, RUNNING, FOG = range(X_1 + STATE, X_2)
SUM_X_2, ADDED_2, RUNNING_2, FOG_2 = range(X_2 + STATE, X_2 + STATE + 4)
# the list: a copy of what the solution needs, its results and the search for an event,
L_X, L_Y, L_OWED, L_FILM = range(FOG_2 + 1, FOG_2 + 5)
L_TAKEN = L_FILM + SURFACES
L_SUM_X, L_ADDED, L_RUNNING, L_FOG = range(L_X + STATE, L_X + STATE + 4)
(L_LOW, L_G, L_A, L_LEFT, L_R0, L_R1, L_INV_MASS, L_INV_BUFFER, L_H, T, T_LOW, T_HIGH, M_0, M_G,
 M_U, L_1, L_2, L_AREA) = range(L_FOG + 1, L_FOG + 19)  # fmt: skip
# and the year's sums.
(S_ADDED, S_PEAK, S_HOURS, S_RUNNING, S_FOG, S_MEAN, S_LEAST, S_SHORT, S_UNMET, S_DRY, S_CONDENSED,
 S_FILM) = range(L_AREA + SURFACES, L_AREA + SURFACES + 12)  # fmt: skip
N_ROWS = S_FILM + 1


def twin(name: str, **options: object):
    """Load the kernel's source once more, compiled with these options."""
    spec = spec_from_file_location(name, source.__file__)
    module = module_from_spec(spec)
    sys.modules[name] = module
    vars(module)["jit"] = numba.njit(error_model="numpy", **options)
    vars(module)["inline"] = vars(module)["jit"]
    spec.loader.exec_module(module)
    return module


inline = numba.njit(error_model="numpy", forceinline=True)
step = twin("dewmargin.kernel.lanes", forceinline=True)
decay, spans, regime, limit, follow = step.decay, step.spans, step.regime, step.limit, step.follow
refine, first_guess, halves = step.refine, step.first_guess, step.halves
exchanges, wetted = step.exchanges, step.wetted
film_guess, film_refine = step.film_guess, step.film_refine
SEGMENTS, SEARCH_STEPS = source.SEGMENTS, source.SEARCH_STEPS
AT_LIMIT, NEVER, DRY = source.AT_LIMIT, source.NEVER, source.DRY


@inline
def hour_inputs(t_out, high, gains, exchange, w_out, heat, line, slope, least, most, air, people,
                plant):  # fmt: skip
    """Return the set-point, gains, exchange and seconds of heating of a case in an hour."""
    low = high * min(max(line + slope * t_out, least), most)
    a = exchange * air
    return low, gains * people + a * w_out, a, min(max(heat * plant, 0.0), 1.0) * HOUR_S


@inline
def add_hour(low, high, x_end, mean, added, running, fog, condensed, film, s_added, s_peak, s_hours,
             s_running, s_fog, s_mean, s_least, s_short, s_unmet, s_dry, s_condensed,
             s_film):  # fmt: skip
    """Return the year's sums with one hour more."""
    return (
        s_added + added,
        max(s_peak, added),
        s_hours + (1.0 if added > 1e-9 else 0.0),
        s_running + running,
        s_fog + fog,
        s_mean + mean,
        min(s_least, x_end),
        s_short + max(low - mean, 0.0),
        s_unmet + (1.0 if x_end < low - 1e-6 else 0.0),
        s_dry + (1.0 if mean < 0.3 * high - 1e-9 else 0.0),
        s_condensed + condensed,
        s_film + film,
    )


@inline
def join_one(x, film, area, x_sat, g, a, ceiling):
    """Add a surface's inflow and exchange if it takes or gives; return them and the limit."""
    on = exchanges(x, x_sat, film)
    sink = area * BETA
    start = min(ceiling, x_sat + 2.0 * AT_LIMIT)
    return g + sink * x_sat if on else g, a + sink if on else a, ceiling if on else start


@inline
def take_one(film, taken, owed, area, x_sat, x, sum_x, t):
    """Return film, what it took and what is owed after t seconds of a regime that began at x."""
    change = BETA * (sum_x - x_sat * t) if exchanges(x, x_sat, film) else 0.0
    left, took, rest = wetted(film, change)
    return left, taken + took, owed + area * rest


@inline
def used_up(film, x_sat, x, sum_x, t):
    """Say whether a film is used up within t seconds."""
    return exchanges(x, x_sat, film) & (film + BETA * (sum_x - x_sat * t) < -DRY)


def make_block(lanes: int, surfaces: int):  # noqa: C901, PLR0915 - a closure of compiled parts
    """Return the compiled block of so many lanes, `block(drivers, buffer, unlimited) -> events`."""
    most = SEGMENTS + source.PER_SURFACE * surfaces
    B = lanes  # noqa: N806 - a compile-time constant

    # Surfaces are written out: a loop over them keeps the compiler from making vectors of lanes.
    @inline
    def join(b, x, g, a, films, areas, c, x_sat):  # noqa: ANN202 - compiled
        """Return inflow and exchange with the surfaces that count at x, and their limit."""
        joined = g, a, -NEVER
        if surfaces:
            joined = join_one(x, b[films * B + c], b[areas * B + c], x_sat[0], *joined)
            joined = join_one(x, b[(films + 1) * B + c], b[(areas + 1) * B + c], x_sat[1], *joined)
            joined = join_one(x, b[(films + 2) * B + c], b[(areas + 2) * B + c], x_sat[2], *joined)
        return joined

    def make_take(j):  # noqa: ANN202 - compiled
        @inline
        def take_j(b, owed, x, sum_x, t, areas, state, to, c, x_sat):  # noqa: ANN202 - compiled
            """Add what surface j took; return what the films give back."""
            film, taken = FILM - X + j, TAKEN - X + j
            b[(to + film) * B + c], b[(to + taken) * B + c], owed = take_one(
                b[(state + film) * B + c], b[(state + taken) * B + c], owed,
                b[(areas + j) * B + c], x_sat[j], x, sum_x, t,
            )  # fmt: skip
            return owed

        return take_j

    take_0, take_1, take_2 = make_take(0), make_take(1), make_take(2)

    @inline
    def take(b, x, sum_x, t, areas, state, to, c, x_sat):  # noqa: ANN202 - compiled
        """Add what the surfaces took in t seconds of a regime that began at x."""
        if surfaces:
            owed = b[(state + OWED - X) * B + c]
            owed = take_0(b, owed, x, sum_x, t, areas, state, to, c, x_sat)
            owed = take_1(b, owed, x, sum_x, t, areas, state, to, c, x_sat)
            owed = take_2(b, owed, x, sum_x, t, areas, state, to, c, x_sat)
            b[(to + OWED - X) * B + c] = owed

    @inline
    def any_used_up(b, x, sum_x, t, state, c, x_sat):  # noqa: ANN202 - compiled
        """Say whether any film is used up within t seconds."""
        if not surfaces:
            return False
        films = (state + FILM - X) * B + c
        return (
            used_up(b[films], x_sat[0], x, sum_x, t)
            | used_up(b[films + B], x_sat[1], x, sum_x, t)
            | used_up(b[films + 2 * B], x_sat[2], x, sum_x, t)
        )

    @inline
    def begin(b, q, high, k, x_sat):  # noqa: ANN202 - compiled
        """Return the regime in which a lane of the list goes on, and its surfaces' limit."""
        x = b[L_X * B + q]
        g, a, ceiling = join(b, x, b[L_G * B + q], b[L_A * B + q], L_FILM, L_AREA, q, x_sat)
        motion = regime(
            x, b[L_Y * B + q], b[L_LOW * B + q], high, b[L_R0 * B + q], b[L_R1 * B + q],
            b[L_INV_MASS * B + q], b[L_INV_BUFFER * B + q], b[L_H * B + q], k, g, a,
        )  # fmt: skip
        return motion, ceiling

    @inline
    def any_dries(b, n, high, k, x_sat):  # noqa: ANN202 - compiled
        """Say whether any film of the list is used up before its segment ends."""
        for q in range(n):
            motion, _ = begin(b, q, high, k, x_sat)
            x, t = b[L_X * B + q], b[T * B + q]
            _, _, i1, i21 = spans(t, motion[9], motion[10])
            sum_x = x * t + motion[5] * i1 + motion[7] * i21
            b[M_0 * B + q] = 1.0 if any_used_up(b, x, sum_x, t, L_X, q, x_sat) else 0.0
        found = 0.0
        for q in range(n):  # apart: a compiler makes no vectors of a loop that compares across it
            found = max(found, b[M_0 * B + q])
        return found > 0.0

    @inline
    def dry_out(b, n, high, k, x_sat, j):  # noqa: ANN202 - compiled
        """End the segments of the list where the film of surface j is used up before."""
        x_sat_j = x_sat[j]
        for q in range(n):
            motion, _ = begin(b, q, high, k, x_sat)
            gx, ux, l1, l2 = motion[5], motion[7], motion[9], motion[10]
            x, t, film = b[L_X * B + q], b[T * B + q], b[(L_FILM + j) * B + q]
            _, _, i1, i21 = spans(t, l1, l2)
            sum_x = x * t + gx * i1 + ux * i21
            dries = used_up(film, x_sat_j, x, sum_x, t)
            b[T_LOW * B + q], b[T_HIGH * B + q] = 0.0 if dries else t, t
            b[T * B + q] = film_guess(film, BETA, x_sat_j, x, sum_x, t) if dries else t
            b[M_G * B + q], b[M_U * B + q], b[L_1 * B + q], b[L_2 * B + q] = gx, ux, l1, l2
        for trial in range(SEARCH_STEPS):
            halve = halves(trial)
            wide = 0.0
            for q in range(n):
                wide = max(wide, b[T_HIGH * B + q] - b[T_LOW * B + q])
            if wide == 0.0:
                break
            for q in range(n):
                t, t_low, t_high = film_refine(
                    b[T * B + q], b[T_LOW * B + q], b[T_HIGH * B + q], halve,
                    b[(L_FILM + j) * B + q], BETA, x_sat_j, b[L_X * B + q], b[M_G * B + q],
                    b[M_U * B + q], b[L_1 * B + q], b[L_2 * B + q],
                )  # fmt: skip
                closed = b[T_LOW * B + q] == b[T_HIGH * B + q]
                b[T * B + q] = b[T * B + q] if closed else t
                b[T_LOW * B + q] = b[T_LOW * B + q] if closed else t_low
                b[T_HIGH * B + q] = b[T_HIGH * B + q] if closed else t_high
        for q in range(n):
            b[T * B + q] = b[T_LOW * B + q]

    @numba.njit(error_model="numpy")
    def segments(b, n, high, k, x_sat):  # noqa: ANN202, C901 - compiled; one fixed sequence
        """Solve one mode of the n lanes of the list, segment by segment."""
        for part in range(most):
            last = part == most - 1
            for q in range(n):
                motion, ceiling = begin(b, q, high, k, x_sat)
                run, hold, fog, rate, need, gx, gy, ux, uy, l1, l2 = motion
                left = b[L_LEFT * B + q]
                e1 = left * decay(l1 * left)[0]
                e21 = left * decay(l2 * left)[0] - e1
                m0, m_end, g, u = limit(
                    run, hold, fog, rate, need, gx, gy, ux, uy, b[L_X * B + q], b[L_LOW * B + q],
                    high, ceiling, b[L_R0 * B + q], b[L_R1 * B + q], b[L_H * B + q], e1, e21,
                )  # fmt: skip
                ends = (m_end < 0.0) & (left > 0.0) & (not last)
                t = first_guess(m0, m_end, g, left)
                # A closed bracket stays as it is: that is how lanes without an event wait.
                b[T * B + q] = t if ends else left
                b[T_LOW * B + q] = 0.0 if ends else left
                b[T_HIGH * B + q] = left
                b[M_0 * B + q], b[M_G * B + q], b[M_U * B + q] = m0, g, u
                b[L_1 * B + q], b[L_2 * B + q] = l1, l2
            for trial in range(SEARCH_STEPS):
                halve = halves(trial)
                wide = 0.0
                for q in range(n):
                    wide = max(wide, b[T_HIGH * B + q] - b[T_LOW * B + q])
                if wide == 0.0:
                    break
                for q in range(n):
                    t, t_low, t_high = refine(
                        b[T * B + q], b[T_LOW * B + q], b[T_HIGH * B + q], halve,
                        b[L_LEFT * B + q], b[M_0 * B + q], b[M_G * B + q], b[M_U * B + q],
                        b[L_1 * B + q], b[L_2 * B + q],
                    )  # fmt: skip
                    b[T * B + q], b[T_LOW * B + q], b[T_HIGH * B + q] = t, t_low, t_high
            if surfaces and not last and any_dries(b, n, high, k, x_sat):
                dry_out(b, n, high, k, x_sat, 0)
                dry_out(b, n, high, k, x_sat, 1)
                dry_out(b, n, high, k, x_sat, 2)
            for q in range(n):
                motion, _ = begin(b, q, high, k, x_sat)
                run, hold, fog, rate, need, gx, gy, ux, uy, l1, l2 = motion
                start, t = b[L_X * B + q], b[T * B + q]
                e1, e21, i1, i21 = spans(t, l1, l2)
                x, y, sum_x, _, added, running, lost = follow(
                    run, hold, fog, rate, need, gx, gy, ux, uy, start, b[L_Y * B + q], t,
                    b[L_R0 * B + q], b[L_R1 * B + q], b[L_H * B + q], e1, e21, i1, i21,
                )  # fmt: skip
                b[L_X * B + q], b[L_Y * B + q] = x, y
                b[L_LEFT * B + q] -= t
                b[L_SUM_X * B + q] += sum_x
                b[L_ADDED * B + q] += added
                b[L_RUNNING * B + q] += running
                b[L_FOG * B + q] += lost
                take(b, start, sum_x, t, L_AREA, L_X, L_X, q, x_sat)
            wide = 0.0
            for q in range(n):
                wide = max(wide, b[L_LEFT * B + q])
            if wide == 0.0:
                break

    @inline
    def ended(b, index):  # noqa: ANN202 - compiled
        """List the lanes marked as needing more; return how many."""
        n = 0
        for c in range(B):
            index[n] = c
            n += 1 if b[EVENT * B + c] > 0.0 else 0
        return n

    def make_mode(state, left_row, r0_row, r1_row, to):  # noqa: ANN202, C901 - as make_block
        @numba.njit(error_model="numpy")
        def mode(b, index, high, k, x_sat):  # noqa: ANN202 - compiled
            """Solve one mode of the hour for all lanes; return how many took the list."""
            for c in range(B):
                x, y, left = b[state * B + c], b[(state + 1) * B + c], b[left_row * B + c]
                low, r0, r1, h = (
                    b[LOW * B + c], b[r0_row * B + c], b[r1_row * B + c], b[H * B + c],
                )  # fmt: skip
                g, a, ceiling = join(
                    b, x, b[G * B + c], b[A * B + c], state + FILM - X, AREA, c, x_sat
                )
                run, hold, fog, rate, need, gx, gy, ux, uy, l1, l2 = regime(
                    x, y, low, high, r0, r1, b[INV_MASS * B + c], b[INV_BUFFER * B + c], h, k, g, a
                )
                e1, e21, i1, i21 = spans(left, l1, l2)
                _, m_end, _, _ = limit(
                    run, hold, fog, rate, need, gx, gy, ux, uy, x, low, high, ceiling, r0, r1, h,
                    e1, e21,
                )  # fmt: skip
                (
                    b[to * B + c], b[(to + 1) * B + c], sum_x, _, b[(to + ADDED - X_1) * B + c],
                    b[(to + RUNNING - X_1) * B + c], b[(to + FOG - X_1) * B + c],
                ) = follow(
                    run, hold, fog, rate, need, gx, gy, ux, uy, x, y, left, r0, r1, h,
                    e1, e21, i1, i21,
                )  # fmt: skip
                b[(to + SUM_X - X_1) * B + c] = sum_x
                ends = (m_end < 0.0) | any_used_up(b, x, sum_x, left, state, c, x_sat)
                b[EVENT * B + c] = 1.0 if ends & (left > 0.0) else 0.0
                take(b, x, sum_x, left, AREA, state, to, c, x_sat)
            n = ended(b, index)
            if n == 0:
                return 0
            filled = (n + VECTOR - 1) // VECTOR * VECTOR
            for q in range(n, filled):
                index[q] = index[n - 1]
            for q in range(filled):
                c = index[q]
                for row in range(STATE if surfaces else 2):
                    b[(L_X + row) * B + q] = b[(state + row) * B + c]
                for row in range(4):
                    b[(L_SUM_X + row) * B + q] = 0.0
                for row in range(surfaces):
                    b[(L_AREA + row) * B + q] = b[(AREA + row) * B + c]
                b[L_LOW * B + q], b[L_LEFT * B + q] = b[LOW * B + c], b[left_row * B + c]
                b[L_G * B + q], b[L_A * B + q] = b[G * B + c], b[A * B + c]
                b[L_R0 * B + q], b[L_R1 * B + q] = b[r0_row * B + c], b[r1_row * B + c]
                b[L_INV_MASS * B + q] = b[INV_MASS * B + c]
                b[L_INV_BUFFER * B + q], b[L_H * B + q] = b[INV_BUFFER * B + c], b[H * B + c]
            segments(b, filled, high, k, x_sat)
            for q in range(n):
                for row in range(X_2 - X_1):
                    b[(to + row) * B + index[q]] = b[(L_X + row) * B + q]
            return n

        return mode

    first_mode = make_mode(X, FIRST, R0, R1, X_1)
    second_mode = make_mode(X_1, REST, R0_REST, ZERO, X_2)

    @numba.njit(error_model="numpy", nogil=True)
    def block(drivers, b, unlimited):  # noqa: ANN202, C901 - compiled
        """Go through the year; return how many lane-hours went through the list."""
        index = np.zeros(B + VECTOR, np.int64)
        listed = 0
        for c in range(B):
            for row in range(OWED, N_ROWS):
                b[row * B + c] = 0.0
            b[S_LEAST * B + c] = 1.0
        for i in range(drivers.shape[1]):
            high, k = drivers[HIGH, i], drivers[K, i]
            t_out, gains, exchange = drivers[T_OUT, i], drivers[GAINS, i], drivers[EXCHANGE, i]
            w_out, heat = drivers[W_OUT, i], drivers[HEAT, i]
            x_sat = drivers[X_SAT, i], drivers[X_SAT + 1, i], drivers[X_SAT + 2, i]
            longest = 0.0
            for c in range(B):
                low, g, a, first = hour_inputs(
                    t_out, high, gains, exchange, w_out, heat, b[LINE * B + c], b[SLOPE * B + c],
                    b[LEAST * B + c], b[MOST * B + c], b[AIR * B + c], b[PEOPLE * B + c],
                    b[PLANT * B + c],
                )  # fmt: skip
                x, mass = b[X * B + c], b[MASS * B + c]
                over = x > high
                b[START_FOG * B + c] = mass * (x - high) if over else 0.0
                x = high if over else x
                lift = unlimited & (x < low)
                b[JUMP * B + c] = mass * (low - x) if lift else 0.0
                x = low if lift else x
                b[X * B + c], b[LOW * B + c] = x, low
                b[G * B + c], b[A * B + c] = g, a
                b[FIRST * B + c], b[REST * B + c] = first, HOUR_S - first
                longest = max(longest, HOUR_S - first)
            listed += first_mode(b, index, high, k, x_sat)
            if longest > 0.0:
                listed += second_mode(b, index, high, k, x_sat)
            else:
                for c in range(B):
                    for row in range(STATE if surfaces else 2):
                        b[(X_2 + row) * B + c] = b[(X_1 + row) * B + c]
                    for row in range(4):
                        b[(SUM_X_2 + row) * B + c] = 0.0
            for c in range(B):
                sx = b[SUM_X * B + c] + b[SUM_X_2 * B + c]
                taken, film = 0.0, 0.0
                x = b[X_2 * B + c]
                for j in range(surfaces):
                    taken += b[(X_2 + TAKEN - X + j) * B + c] * b[(AREA + j) * B + c]
                    kept = min(b[(X_2 + FILM - X + j) * B + c], MOST_KG_M2)
                    b[(FILM + j) * B + c], b[(TAKEN + j) * B + c] = kept, 0.0
                    film += kept
                if surfaces:
                    x = x + b[(X_2 + OWED - X) * B + c] * b[INV_MASS * B + c]
                b[X * B + c], b[Y * B + c] = x, b[(X_2 + 1) * B + c]
                (
                    b[S_ADDED * B + c], b[S_PEAK * B + c], b[S_HOURS * B + c],
                    b[S_RUNNING * B + c], b[S_FOG * B + c], b[S_MEAN * B + c],
                    b[S_LEAST * B + c], b[S_SHORT * B + c], b[S_UNMET * B + c],
                    b[S_DRY * B + c], b[S_CONDENSED * B + c], b[S_FILM * B + c],
                ) = add_hour(
                    b[LOW * B + c], high, x, sx / HOUR_S,
                    b[JUMP * B + c] + b[ADDED * B + c] + b[ADDED_2 * B + c],
                    b[RUNNING * B + c] + b[RUNNING_2 * B + c],
                    b[START_FOG * B + c] + b[FOG * B + c] + b[FOG_2 * B + c], taken, film,
                    b[S_ADDED * B + c], b[S_PEAK * B + c], b[S_HOURS * B + c],
                    b[S_RUNNING * B + c], b[S_FOG * B + c], b[S_MEAN * B + c],
                    b[S_LEAST * B + c], b[S_SHORT * B + c], b[S_UNMET * B + c],
                    b[S_DRY * B + c], b[S_CONDENSED * B + c], b[S_FILM * B + c],
                )  # fmt: skip
        return listed

    return block


@numba.njit(error_model="numpy")
def scalar_inputs(drivers, p, low, g, a, heat):
    """Fill the hourly inputs of one case for the ordinary year."""
    for i in range(drivers.shape[1]):
        low[i], g[i], a[i], first = hour_inputs(
            drivers[T_OUT, i], drivers[HIGH, i], drivers[GAINS, i], drivers[EXCHANGE, i],
            drivers[W_OUT, i], drivers[HEAT, i], p[LINE], p[SLOPE], p[LEAST], p[MOST], p[AIR],
            p[PEOPLE], p[PLANT],
        )  # fmt: skip
        heat[i] = first / HOUR_S


@numba.njit(error_model="numpy")
def scalar_sums(
    low, high, x_end, sum_x, added, added_rest, running, running_rest, fog, area, taken, film
):  # fmt: skip
    """Return the year's sums of one case from its hourly results."""
    s = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    for i in range(low.size):
        taken_kg, kept = 0.0, 0.0
        for j in range(area.size):
            taken_kg += taken[j, i] * area[j]
            kept += film[j, i]
        s = add_hour(
            low[i], high[i], x_end[i], sum_x[i] / HOUR_S, added[i] + added_rest[i],
            running[i] + running_rest[i], fog[i], taken_kg, kept, *s,
        )  # fmt: skip
    return s


class Scalar:
    """The ordinary compiled year on the same cases, one after the other."""

    def __init__(self, drivers, parameters, unlimited, surfaces) -> None:
        self.drivers, self.parameters, self.unlimited = drivers, parameters, unlimited
        self.inputs = np.empty((4, N_HOURS))
        self.outputs = np.empty((9, 1, N_HOURS))
        self.films = np.empty((3, 1, surfaces, N_HOURS))
        self.x_sat = np.ascontiguousarray(drivers[X_SAT : X_SAT + surfaces])
        self.beta, self.most = np.full_like(self.x_sat, BETA), np.full_like(self.x_sat, MOST_KG_M2)
        self.cases = kernel.compiled().cases
        self.seconds = 0.0  # in cases() alone

    def run(self, case: int) -> list[float]:
        """Return the sums and the end of one case."""
        p = self.parameters[:, case]
        low, g, a, heat = self.inputs
        scalar_inputs(self.drivers, p, low, g, a, heat)
        full = np.ones(N_HOURS)
        rates = (p[R0] * full, p[R1] * full, p[R0_REST] * full, 0.0 * full)
        area = p[AREA : AREA + len(self.x_sat)]
        x, y, only = np.array([0.005]), np.array([0.005]), np.zeros(1, np.int64)
        start = time.process_time()
        self.cases(
            x, y, np.zeros((1, area.size)), HOUR_S,
            p[MASS], 1.0 / p[INV_BUFFER] if p[INV_BUFFER] else 0.0, p[H],
            self.drivers[HIGH], self.drivers[K], g, a, area, self.beta, self.x_sat, self.most,
            np.array([self.unlimited]), only, only, only, np.full((1, area.size), np.inf),
            low[None], heat[None], *(rate[None] for rate in rates), *self.outputs, *self.films,
        )  # fmt: skip
        self.seconds += time.process_time() - start
        x_end, _, sum_x, _, added, added_rest, running, running_rest, fog = self.outputs[:, 0]
        taken, _, film = self.films[:, 0]
        sums = scalar_sums(
            low, self.drivers[HIGH], x_end, sum_x, added, added_rest, running, running_rest, fog,
            area, taken, film,
        )  # fmt: skip
        return [float(x[0]), float(y[0]), *sums]


def make_drivers(*, two_modes: bool) -> np.ndarray:
    """Return an invented cold year: set-back, gains by the hour, gusty exchange, cold windows."""
    rng = np.random.default_rng(1)
    hour = np.arange(N_HOURS)
    t_out = 5.0 - 12.0 * np.cos(hour / N_HOURS * 2 * np.pi) - 6.0 * np.cos(hour / 24 * 2 * np.pi)
    t_out = t_out + np.convolve(rng.normal(0.0, 6.0, N_HOURS), np.ones(48) / 7.0, "same")
    t_in = np.where((hour % 24 >= 6) & (hour % 24 < 22), 20.0, 18.0)
    gusts = np.abs(np.convolve(rng.normal(0.0, 1.0, N_HOURS), np.ones(6) / 3.0, "same"))
    windows = [saturated(t_out + index * (t_in - t_out)) for index in (0.45, 0.55, 0.65)]
    return np.array(
        [
            t_out,
            saturated(t_in),
            saturated(np.array([20.0])) / saturated(t_in),
            7.0 / 24.0 / HOUR_S * (1.0 + 0.8 * np.sin(hour / 24 * 4 * np.pi)),
            EXCHANGE_KG_S * (0.5 + 0.4 * gusts),
            0.75 * saturated(t_out),
            np.maximum((18.0 - t_out) / 60.0, 0.0) if two_modes else np.ones(N_HOURS),
            *windows,
        ]
    )


def make_parameters(*, demand: bool, two_modes: bool, buffered: bool, surfaces: int) -> np.ndarray:
    """Return the cases of a sweep, one a column: set-point line, device, house and its buffer."""
    rng = np.random.default_rng(2)
    p = np.zeros((N_PARAMETERS, N_CASES))
    p[LEAST], p[MOST] = 0.15, rng.choice([0.35, 0.40, 0.45], N_CASES)
    p[SLOPE] = rng.choice([0.0, 0.005, 0.01], N_CASES)
    p[LINE] = rng.uniform(0.30, 0.45, N_CASES)
    capacity = rng.choice([0.8, 1.2, 1.6, 2.4, 3.2], N_CASES) / HOUR_S
    p[R0], p[R1], p[R0_REST] = 1.3 * capacity, 0.3 * capacity / 0.006, 0.4 * capacity
    if demand:
        p[R0], p[R1], p[R0_REST] = source.UNLIMITED, 0.0, 0.0
    p[MASS] = MASS_KG * rng.uniform(0.5, 2.0, N_CASES)
    p[INV_MASS] = 1.0 / p[MASS]
    if buffered:
        # Powers of two keep 1/(1/m) exact, as both ways of calling need.
        p[INV_BUFFER] = 1.0 / rng.choice([2048.0, 4096.0, 8192.0], N_CASES)
        p[H] = BUFFER_KG_S * rng.uniform(0.5, 2.0, N_CASES)
    p[AIR] = rng.uniform(0.5, 1.5, N_CASES)
    p[PEOPLE] = rng.choice([0.5, 1.0, 1.5], N_CASES)
    p[PLANT] = rng.uniform(0.8, 1.5, N_CASES) if two_modes else 1.0
    for j in range(surfaces):
        p[AREA + j] = (6.0, 6.0, 15.0)[j] * rng.uniform(0.5, 2.0, N_CASES)
    return p


def fill_block(parameters: np.ndarray, first: int, lanes: int) -> np.ndarray:
    """Return the flat buffer of the block that starts at this case."""
    b = np.zeros((N_ROWS, lanes))
    b[:N_PARAMETERS] = parameters[:, first : first + lanes]
    b[X : Y + 1] = 0.005
    return b.ravel()


def run_blocks(block, lanes, drivers, parameters, n_cases, *, demand, threads=1):
    """Return sums and ends of the cases, lane-hours in the list, CPU and wall seconds."""
    buffers = [fill_block(parameters, first, lanes) for first in range(0, n_cases, lanes)]
    cpu, wall = time.process_time(), time.perf_counter()
    with ThreadPoolExecutor(threads) as pool:
        listed = sum(pool.map(lambda b: block(drivers, b, demand), buffers))
    cpu, wall = time.process_time() - cpu, time.perf_counter() - wall
    rows = [
        np.vstack([b[X : Y + 1], b[S_ADDED:]]) for b in (b.reshape(N_ROWS, -1) for b in buffers)
    ]
    return np.hstack(rows), listed, cpu, wall


SWEEPS = {
    "demand": {"demand": True, "two_modes": False, "buffered": False, "surfaces": 0},
    "demand, buffer": {"demand": True, "two_modes": False, "buffered": True, "surfaces": 0},
    "capacity": {"demand": False, "two_modes": False, "buffered": False, "surfaces": 0},
    "capacity, buffer": {"demand": False, "two_modes": False, "buffered": True, "surfaces": 0},
    "two modes, buffer": {"demand": False, "two_modes": True, "buffered": True, "surfaces": 0},
    "demand, buffer, 3 surfaces": {
        "demand": True, "two_modes": False, "buffered": True, "surfaces": 3,
    },
    "two modes, buffer, 3 surfaces": {
        "demand": False, "two_modes": True, "buffered": True, "surfaces": 3,
    },
}  # fmt: skip


def main() -> None:
    """Check the bits, then measure in interleaved rounds and print a table."""
    sizes = (16, 32, 64)
    blocks = {
        (lanes, surfaces): make_block(lanes, surfaces) for lanes in sizes for surfaces in (0, 3)
    }
    hours = N_TIMED * N_HOURS
    print(  # noqa: T201 - a script
        "CPU ns per case-hour, one thread; x = cases() / lanes of 64; "
        "case-years/s by the clock, best round\n"
        f"{'sweep':30} cases()  with sums  B=16  B=32  B=64     x  1 thread 2 threads  in list"
    )
    for name, sweep in SWEEPS.items():
        demand, surfaces = sweep["demand"], sweep["surfaces"]
        drivers, parameters = make_drivers(two_modes=sweep["two_modes"]), make_parameters(**sweep)
        scalar = Scalar(drivers, parameters, demand, surfaces)
        expected = np.array([scalar.run(case) for case in range(N_CASES)]).T
        for lanes in sizes:
            got, listed, _, _ = run_blocks(
                blocks[lanes, surfaces], lanes, drivers, parameters, N_CASES, demand=demand
            )
            if expected.tobytes() != got.tobytes():
                sys.exit(f"{name}: lanes of {lanes} differ from the ordinary year")
        times = {key: [] for key in ("year", "all", "one", "two", *sizes)}
        for _ in range(ROUNDS):
            scalar.seconds, start = 0.0, time.process_time()
            for case in range(N_TIMED):
                scalar.run(case)
            times["all"].append((time.process_time() - start) / hours)
            times["year"].append(scalar.seconds / hours)
            for lanes in sizes:
                cpu = run_blocks(
                    blocks[lanes, surfaces], lanes, drivers, parameters, N_TIMED, demand=demand
                )[2]
                times[lanes].append(cpu / hours)
            for key, threads in (("one", 1), ("two", 2)):
                wall = run_blocks(
                    blocks[64, surfaces], 64, drivers, parameters, N_CASES,
                    demand=demand, threads=threads,
                )[3]  # fmt: skip
                times[key].append(wall / N_CASES)
        ns = {key: median(values) * 1e9 for key, values in times.items()}
        print(  # noqa: T201 - a script
            f"{name:30} {ns['year']:6.1f} {ns['all']:10.1f} {ns[16]:5.1f} {ns[32]:5.1f} "
            f"{ns[64]:5.1f} {ns['year'] / ns[64]:5.2f} {1.0 / min(times['one']):9.0f} "
            f"{1.0 / min(times['two']):9.0f}  {listed / N_CASES / N_HOURS:7.3f}",
            flush=True,
        )
    text = "".join(blocks[64, 0].inspect_asm().values())
    counts = {word: len(re.findall(word, text)) for word in ("zmm", "ymm", "divpd", "divsd")}
    found = ", ".join(f"{n} {word}" for word, n in counts.items())
    print(f"machine code of a block of 64: {found}")  # noqa: T201 - a script


if __name__ == "__main__":
    main()
