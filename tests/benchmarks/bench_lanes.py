"""How fast the step runs with many cases side by side: `python tests/benchmarks/bench_lanes.py`.

A block of B cases shares weather and schedules and goes through the year hour by hour. Each hour is
first solved for all lanes as if no regime ended within it; that loop has no branch, so the compiler
puts several cases into one vector register. Lanes in which a regime does end are gathered into a
dense list and solved there segment by segment, again in vector loops, so that a few of them do not
make the whole block pay. Hours in which a surface joins or leaves go through the same list.

Prints CPU time a case-hour for lanes and for the ordinary compiled year, and stops if one bit
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

from kernel_cases import BUFFER_KG_S, EXCHANGE_KG_S, HOUR_S, MASS_KG, saturated

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
(LINE, SLOPE, LEAST, MOST, R0, R1, R0_REST, MASS, INV_MASS, INV_BUFFER, H, AIR, PEOPLE, PLANT, SINK,
 ) = range(15)  # fmt: skip
# its state, the hour's inputs and results,
X, Y, LOW, G_DRY, A_DRY, G, A, FIRST, REST, START_FOG, JUMP = range(N_PARAMETERS, N_PARAMETERS + 11)
ACTIVE = JUMP + 1
X_1, Y_1, SUM_X, ADDED, RUNNING, FOG = range(ACTIVE + SURFACES, ACTIVE + SURFACES + 6)
X_2, Y_2, SUM_X_2, ADDED_2, RUNNING_2, FOG_2, EVENT, ZERO = range(FOG + 1, FOG + 9)
# the list: a copy of what the solution needs, the search for an event, and the results,
(L_X, L_Y, L_LOW, L_G, L_A, L_LEFT, L_R0, L_R1, L_INV_MASS, L_INV_BUFFER, L_H, L_SUM_X, L_ADDED,
 L_RUNNING, L_FOG, T, T_LOW, T_HIGH, M_0, M_G, M_U, L_1, L_2,
 ) = range(ZERO + 1, ZERO + 24)  # fmt: skip
# and the year's sums.
(S_ADDED, S_PEAK, S_HOURS, S_RUNNING, S_FOG, S_MEAN, S_LEAST, S_SHORT, S_UNMET, S_DRY, S_CONDENSED,
 ) = range(L_2 + 1, L_2 + 12)  # fmt: skip
SUMS = 11
N_ROWS = S_CONDENSED + 1


def twin(name: str, **options: object):
    """Load the kernel's source once more, compiled with these options."""
    spec = spec_from_file_location(name, source.__file__)
    module = module_from_spec(spec)
    sys.modules[name] = module
    vars(module)["jit"] = numba.njit(error_model="numpy", **options)
    spec.loader.exec_module(module)
    return module


inline = numba.njit(error_model="numpy", forceinline=True)
step = twin("dewmargin.kernel.lanes", forceinline=True)
decay, spans, regime, limit, follow = step.decay, step.spans, step.regime, step.limit, step.follow
refine, first_guess, halves = step.refine, step.first_guess, step.halves
SEGMENTS, SEARCH_STEPS = source.SEGMENTS, source.SEARCH_STEPS


@inline
def hour_inputs(t_out, high, gains, exchange, w_out, heat, line, slope, least, most, air, people,
                plant):  # fmt: skip
    """Return the set-point, gains, exchange and seconds of heating of a case in an hour."""
    low = high * min(max(line + slope * t_out, least), most)
    a = exchange * air
    return low, gains * people + a * w_out, a, min(max(heat * plant, 0.0), 1.0) * HOUR_S


@inline
def add_hour(low, high, x_end, mean, added, running, fog, condensed, s_added, s_peak, s_hours,
             s_running, s_fog, s_mean, s_least, s_short, s_unmet, s_dry, s_condensed):  # fmt: skip
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
    )


def make_block(lanes: int, surfaces: int):  # noqa: C901, PLR0915 - a closure of compiled parts
    """Return the compiled block of so many lanes, `block(drivers, buffer, unlimited) -> events`."""
    B = lanes  # noqa: N806 - a compile-time constant

    @inline
    def quiet(b, c, x_row, left_row, r0_row, r1_row, to, high, k):  # noqa: ANN202 - compiled
        """Follow the regime at the start of one mode to its end in one lane; say if it ended."""
        x, y, left, low = (
            b[x_row * B + c],
            b[(x_row + 1) * B + c],
            b[left_row * B + c],
            b[LOW * B + c],
        )
        r0, r1, h = b[r0_row * B + c], b[r1_row * B + c], b[H * B + c]
        run, hold, fog, rate, need, gx, gy, ux, uy, l1, l2 = regime(
            x, y, low, high, r0, r1, b[INV_MASS * B + c], b[INV_BUFFER * B + c], h, k,
            b[G * B + c], b[A * B + c],
        )  # fmt: skip
        e1, e21, i1, i21 = spans(left, l1, l2)
        _, m_end, _, _ = limit(
            run, hold, fog, rate, need, gx, gy, ux, uy, x, low, high, r0, r1, h, e1, e21
        )
        x, y, sum_x, _, added, running, lost = follow(
            run, hold, fog, rate, need, gx, gy, ux, uy, x, y, left, r0, r1, h, e1, e21, i1, i21
        )
        b[to * B + c], b[(to + 1) * B + c], b[(to + 2) * B + c] = x, y, sum_x
        b[(to + 3) * B + c], b[(to + 4) * B + c], b[(to + 5) * B + c] = added, running, lost
        return 1.0 if (m_end < 0.0) & (left > 0.0) else 0.0

    @inline
    def segments(b, n, high, k):  # noqa: ANN202, C901 - compiled
        """Solve one mode of the n lanes of the list, segment by segment."""
        for q in range(n):
            for row in range(4):
                b[(L_SUM_X + row) * B + q] = 0.0
        for part in range(SEGMENTS):
            last = part == SEGMENTS - 1
            for q in range(n):
                x, y, left, low = (
                    b[L_X * B + q],
                    b[L_Y * B + q],
                    b[L_LEFT * B + q],
                    b[L_LOW * B + q],
                )
                r0, r1, h = b[L_R0 * B + q], b[L_R1 * B + q], b[L_H * B + q]
                run, hold, fog, rate, need, gx, gy, ux, uy, l1, l2 = regime(
                    x, y, low, high, r0, r1, b[L_INV_MASS * B + q], b[L_INV_BUFFER * B + q], h, k,
                    b[L_G * B + q], b[L_A * B + q],
                )  # fmt: skip
                e1 = left * decay(l1 * left)[0]
                e21 = left * decay(l2 * left)[0] - e1
                m0, m_end, g, u = limit(
                    run, hold, fog, rate, need, gx, gy, ux, uy, x, low, high, r0, r1, h, e1, e21
                )
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
            for q in range(n):
                x, y, left, low = (
                    b[L_X * B + q],
                    b[L_Y * B + q],
                    b[L_LEFT * B + q],
                    b[L_LOW * B + q],
                )
                r0, r1, h, t = b[L_R0 * B + q], b[L_R1 * B + q], b[L_H * B + q], b[T * B + q]
                run, hold, fog, rate, need, gx, gy, ux, uy, l1, l2 = regime(
                    x, y, low, high, r0, r1, b[L_INV_MASS * B + q], b[L_INV_BUFFER * B + q], h, k,
                    b[L_G * B + q], b[L_A * B + q],
                )  # fmt: skip
                e1, e21, i1, i21 = spans(t, l1, l2)
                x, y, sum_x, _, added, running, lost = follow(
                    run, hold, fog, rate, need, gx, gy, ux, uy, x, y, t, r0, r1, h,
                    e1, e21, i1, i21,
                )  # fmt: skip
                b[L_X * B + q], b[L_Y * B + q], b[L_LEFT * B + q] = x, y, left - t
                b[L_SUM_X * B + q] += sum_x
                b[L_ADDED * B + q] += added
                b[L_RUNNING * B + q] += running
                b[L_FOG * B + q] += lost
            wide = 0.0
            for q in range(n):
                wide = max(wide, b[L_LEFT * B + q])
            if wide == 0.0:
                break

    def make_solve(x_row, left_row, r0_row, r1_row, to):  # noqa: ANN202 - compiled
        @numba.njit(error_model="numpy")
        def solve(b, index, n, high, k):  # noqa: ANN202 - compiled
            """Solve one mode of the hour for the lanes in the list with all segments it takes."""
            filled = (n + VECTOR - 1) // VECTOR * VECTOR
            for q in range(n, filled):
                index[q] = index[n - 1]
            for q in range(filled):
                c = index[q]
                b[L_X * B + q], b[L_Y * B + q] = b[x_row * B + c], b[(x_row + 1) * B + c]
                b[L_LOW * B + q], b[L_G * B + q] = b[LOW * B + c], b[G * B + c]
                b[L_A * B + q], b[L_LEFT * B + q] = b[A * B + c], b[left_row * B + c]
                b[L_R0 * B + q], b[L_R1 * B + q] = b[r0_row * B + c], b[r1_row * B + c]
                b[L_INV_MASS * B + q], b[L_INV_BUFFER * B + q] = (
                    b[INV_MASS * B + c], b[INV_BUFFER * B + c],
                )  # fmt: skip
                b[L_H * B + q] = b[H * B + c]
            segments(b, filled, high, k)
            for q in range(filled):
                c = index[q]
                b[to * B + c], b[(to + 1) * B + c] = b[L_X * B + q], b[L_Y * B + q]
                for row in range(4):
                    b[(to + 2 + row) * B + c] = b[(L_SUM_X + row) * B + q]

        return solve

    first_mode = make_solve(X, FIRST, R0, R1, X_1)
    second_mode = make_solve(X_1, REST, R0_REST, ZERO, X_2)

    @inline
    def ended(b, index):  # noqa: ANN202 - compiled
        """List the lanes marked as needing more; return how many."""
        n = 0
        for c in range(B):
            index[n] = c
            n += 1 if b[EVENT * B + c] > 0.0 else 0
        return n

    @numba.njit(error_model="numpy", nogil=True)
    def block(drivers, b, unlimited):  # noqa: ANN202, C901, PLR0912, PLR0915 - compiled
        """Go through the year; return how many lane-hours went through the list."""
        index = np.zeros(B + VECTOR, np.int64)
        listed = 0
        for c in range(B):
            for row in range(X_2, N_ROWS):
                b[row * B + c] = 0.0
            b[S_LEAST * B + c] = 1.0
        for i in range(drivers.shape[1]):
            high, k = drivers[HIGH, i], drivers[K, i]
            t_out, gains, exchange = drivers[T_OUT, i], drivers[GAINS, i], drivers[EXCHANGE, i]
            w_out, heat = drivers[W_OUT, i], drivers[HEAT, i]
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
                for j in range(surfaces):
                    limit_j, sink = drivers[X_SAT + j, i], b[(SINK + j) * B + c]
                    wet = (sink > 0.0) & (x > limit_j)
                    b[(ACTIVE + j) * B + c] = 1.0 if wet else 0.0
                    g = g + (sink * limit_j if wet else 0.0)
                    a = a + (sink if wet else 0.0)
                b[G * B + c], b[A * B + c] = g, a
                b[FIRST * B + c], b[REST * B + c] = first, HOUR_S - first
                longest = max(longest, HOUR_S - first)
            both = longest > 0.0
            for c in range(B):
                b[EVENT * B + c] = quiet(b, c, X, FIRST, R0, R1, X_1, high, k)
            n = ended(b, index)
            if n > 0:
                listed += n
                first_mode(b, index, n, high, k)
            if both:
                for c in range(B):
                    b[EVENT * B + c] = quiet(b, c, X_1, REST, R0_REST, ZERO, X_2, high, k)
                n = ended(b, index)
                if n > 0:
                    listed += n
                    second_mode(b, index, n, high, k)
            else:
                for c in range(B):
                    b[X_2 * B + c], b[Y_2 * B + c] = b[X_1 * B + c], b[Y_1 * B + c]
                    b[SUM_X_2 * B + c], b[ADDED_2 * B + c] = 0.0, 0.0
                    b[RUNNING_2 * B + c], b[FOG_2 * B + c] = 0.0, 0.0
            if surfaces > 0:
                for c in range(B):
                    b[EVENT * B + c] = 0.0
                    sx = b[SUM_X * B + c] + b[SUM_X_2 * B + c]
                    changed = 0.0
                    for j in range(surfaces):
                        wet = (b[(SINK + j) * B + c] > 0.0) & (sx > drivers[X_SAT + j, i] * HOUR_S)
                        changed = max(changed, abs((1.0 if wet else 0.0) - b[(ACTIVE + j) * B + c]))
                    b[EVENT * B + c] = changed
                for attempt in range(source.PASSES - 1):
                    n = ended(b, index)
                    if n == 0:
                        break
                    listed += n
                    for q in range(n):
                        c = index[q]
                        sx = b[SUM_X * B + c] + b[SUM_X_2 * B + c]
                        g, a = (
                            gains * b[PEOPLE * B + c] + exchange * b[AIR * B + c] * w_out,
                            exchange * b[AIR * B + c],
                        )
                        for j in range(surfaces):
                            limit_j, sink = drivers[X_SAT + j, i], b[(SINK + j) * B + c]
                            active = b[(ACTIVE + j) * B + c] > 0.0
                            wet = sink > 0.0 and sx > limit_j * HOUR_S
                            # A surface may join once; after that it can only leave.
                            if wet != active and (active or attempt == 0):
                                active = wet
                            if attempt == source.PASSES - 2:
                                active = False
                            b[(ACTIVE + j) * B + c] = 1.0 if active else 0.0
                            if active:
                                g = g + sink * limit_j
                                a = a + sink
                        b[G * B + c], b[A * B + c] = g, a
                        b[EVENT * B + c] = 0.0
                    first_mode(b, index, n, high, k)
                    if both:
                        second_mode(b, index, n, high, k)
                    else:
                        for q in range(n):
                            c = index[q]
                            b[X_2 * B + c], b[Y_2 * B + c] = b[X_1 * B + c], b[Y_1 * B + c]
                    for q in range(n):
                        c = index[q]
                        sx = b[SUM_X * B + c] + b[SUM_X_2 * B + c]
                        for j in range(surfaces):
                            # Later passes: only what leaves asks for another one.
                            if b[(ACTIVE + j) * B + c] > 0.0 and not (
                                b[(SINK + j) * B + c] > 0.0 and sx > drivers[X_SAT + j, i] * HOUR_S
                            ):
                                b[EVENT * B + c] = 1.0
            for c in range(B):
                sx = b[SUM_X * B + c] + b[SUM_X_2 * B + c]
                condensed = 0.0
                for j in range(surfaces):
                    part = b[(SINK + j) * B + c] * (sx - drivers[X_SAT + j, i] * HOUR_S)
                    condensed = condensed + (part if b[(ACTIVE + j) * B + c] > 0.0 else 0.0)
                x = b[X_2 * B + c]
                b[X * B + c], b[Y * B + c] = x, b[Y_2 * B + c]
                (
                    b[S_ADDED * B + c], b[S_PEAK * B + c], b[S_HOURS * B + c],
                    b[S_RUNNING * B + c], b[S_FOG * B + c], b[S_MEAN * B + c],
                    b[S_LEAST * B + c], b[S_SHORT * B + c], b[S_UNMET * B + c],
                    b[S_DRY * B + c], b[S_CONDENSED * B + c],
                ) = add_hour(
                    b[LOW * B + c], high, x, sx / HOUR_S,
                    b[JUMP * B + c] + b[ADDED * B + c] + b[ADDED_2 * B + c],
                    b[RUNNING * B + c] + b[RUNNING_2 * B + c],
                    b[START_FOG * B + c] + b[FOG * B + c] + b[FOG_2 * B + c], condensed,
                    b[S_ADDED * B + c], b[S_PEAK * B + c], b[S_HOURS * B + c],
                    b[S_RUNNING * B + c], b[S_FOG * B + c], b[S_MEAN * B + c],
                    b[S_LEAST * B + c], b[S_SHORT * B + c], b[S_UNMET * B + c],
                    b[S_DRY * B + c], b[S_CONDENSED * B + c],
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
def scalar_sums(low, high, x_end, sum_x, added, running, running_rest, fog, condensed):
    """Return the year's sums of one case from its hourly results."""
    s = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0)
    for i in range(low.size):
        taken = 0.0
        for j in range(condensed.shape[0]):
            taken += condensed[j, i]
        s = add_hour(low[i], high[i], x_end[i], sum_x[i] / HOUR_S, added[i],
                     running[i] + running_rest[i], fog[i], taken, *s)  # fmt: skip
    return s


class Scalar:
    """The ordinary compiled year on the same cases, one after the other."""

    def __init__(self, drivers, parameters, unlimited, surfaces) -> None:
        self.drivers, self.parameters, self.unlimited = drivers, parameters, unlimited
        self.inputs = np.empty((4, N_HOURS))
        self.outputs = np.empty((8, N_HOURS))
        self.condensed = np.empty((surfaces, N_HOURS))
        self.active = np.zeros(surfaces, bool)
        self.x_sat = np.ascontiguousarray(drivers[X_SAT : X_SAT + surfaces])
        self.year = kernel.compiled().year
        self.seconds = 0.0  # in year() alone

    def run(self, case: int) -> list[float]:
        """Return the sums and the end of one case."""
        p = self.parameters[:, case]
        low, g, a, heat = self.inputs
        scalar_inputs(self.drivers, p, low, g, a, heat)
        full = np.ones(N_HOURS)
        rates = (p[R0] * full, p[R1] * full, p[R0_REST] * full, 0.0 * full)
        start = time.process_time()
        x, y = self.year(
            0.005, 0.005, HOUR_S, p[MASS], 1.0 / p[INV_BUFFER] if p[INV_BUFFER] else 0.0, p[H],
            self.unlimited, low, self.drivers[HIGH], self.drivers[K], g, a, heat, *rates,
            p[SINK : SINK + self.active.size], self.x_sat, *self.outputs, self.condensed,
            self.active,
        )  # fmt: skip
        self.seconds += time.process_time() - start
        x_end, _, sum_x, _, added, running, running_rest, fog = self.outputs
        sums = scalar_sums(low, self.drivers[HIGH], x_end, sum_x, added, running, running_rest, fog,
                           self.condensed)  # fmt: skip
        return [x, y, *sums]


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
        p[SINK + j] = (0.02, 0.02, 0.05)[j] * rng.uniform(0.5, 2.0, N_CASES)
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
        "CPU ns per case-hour, one thread; x = year() / lanes of 64; case-years/s by the clock\n"
        f"{'sweep':30} year()  with sums  B=16  B=32  B=64     x  1 thread 2 threads  in list"
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
            f"{ns[64]:5.1f} {ns['year'] / ns[64]:5.2f} {1e9 / ns['one']:9.0f} "
            f"{1e9 / ns['two']:9.0f}  {listed / N_CASES / N_HOURS:7.3f}",
            flush=True,
        )
    text = "".join(blocks[64, 0].inspect_asm().values())
    counts = {word: len(re.findall(word, text)) for word in ("zmm", "ymm", "divpd", "divsd")}
    found = ", ".join(f"{n} {word}" for word, n in counts.items())
    print(f"machine code of a block of 64: {found}")  # noqa: T201 - a script


if __name__ == "__main__":
    main()
