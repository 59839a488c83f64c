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

import sys
import time
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import numba
import numpy as np

from dewmargin import kernel
from dewmargin.kernel import source

sys.path.insert(0, str(Path(__file__).parents[1]))

from kernel_cases import BUFFER_KG_S, EXCHANGE_KG_S, HOUR_S, MASS_KG, saturated

N_HOURS = 8760
N_CASES = 256
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
X_2, Y_2, SUM_X_2, ADDED_2, RUNNING_2, FOG_2, EVENT = range(FOG + 1, FOG + 8)
# the list: a copy of what the solution needs, the search for an event, and the results,
TAKEN = (X, Y, LOW, G, A, FIRST, REST, R0, R1, R0_REST, INV_MASS, INV_BUFFER, H)
(L_X, L_Y, L_LOW, L_G, L_A, L_FIRST, L_REST, L_R0, L_R1, L_R0_REST, L_INV_MASS, L_INV_BUFFER, L_H,
 L_LEFT, L_ZERO, T, T_LOW, T_HIGH, M_0, M_G, M_U, L_1, L_2,
 L_SUM_X, L_ADDED, L_RUNNING, L_FOG, L_SUM_X_2, L_ADDED_2, L_RUNNING_2, L_FOG_2,
 ) = range(EVENT + 1, EVENT + 32)  # fmt: skip
# and the year's sums.
(S_ADDED, S_PEAK, S_HOURS, S_RUNNING, S_FOG, S_MEAN, S_LEAST, S_SHORT, S_UNMET, S_DRY, S_CONDENSED,
 ) = range(L_FOG_2 + 1, L_FOG_2 + 12)  # fmt: skip
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


def make_block(lanes: int, surfaces: int):
    """Return the compiled block of so many lanes, `block(drivers, buffer, unlimited) -> events`."""
    B = lanes  # noqa: N806 - a compile-time constant

    @inline
    def quiet(b, l, x_row, left_row, r0_row, r1_row, to, high, k):
        """Follow the regime at the start of one mode to its end in one lane; say if it ended."""
        x, y, left, low = (
            b[x_row * B + l],
            b[(x_row + 1) * B + l],
            b[left_row * B + l],
            b[LOW * B + l],
        )
        r0, r1, h = b[r0_row * B + l], b[r1_row * B + l], b[H * B + l]
        run, hold, fog, rate, need, gx, gy, ux, uy, l1, l2 = regime(
            x, y, low, high, r0, r1, b[INV_MASS * B + l], b[INV_BUFFER * B + l], h, k,
            b[G * B + l], b[A * B + l],
        )  # fmt: skip
        e1, e21, i1, i21 = spans(left, l1, l2)
        _, m_end, _, _ = limit(
            run, hold, fog, rate, need, gx, gy, ux, uy, x, low, high, r0, r1, h, e1, e21
        )
        x, y, sum_x, _, added, running, lost = follow(
            run, hold, fog, rate, need, gx, gy, ux, uy, x, y, left, r0, r1, h, e1, e21, i1, i21
        )
        b[to * B + l], b[(to + 1) * B + l], b[(to + 2) * B + l] = x, y, sum_x
        b[(to + 3) * B + l], b[(to + 4) * B + l], b[(to + 5) * B + l] = added, running, lost
        return 1.0 if (m_end < 0.0) & (left > 0.0) else 0.0

    @inline
    def segments(b, n, left_row, r0_row, r1_row, sums, high, k):
        """Solve one mode of the n lanes of the list, segment by segment."""
        for q in range(n):
            b[L_LEFT * B + q] = b[left_row * B + q]
            for row in range(4):
                b[(sums + row) * B + q] = 0.0
        for part in range(SEGMENTS):
            last = part == SEGMENTS - 1
            for q in range(n):
                x, y, left, low = (
                    b[L_X * B + q],
                    b[L_Y * B + q],
                    b[L_LEFT * B + q],
                    b[L_LOW * B + q],
                )
                r0, r1, h = b[r0_row * B + q], b[r1_row * B + q], b[L_H * B + q]
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
                        b[L_LEFT * B + q], b[M_0 * B + q], b[M_G * B + q], b[M_U * B + q], b[L_1 * B + q],
                        b[L_2 * B + q],
                    )  # fmt: skip
                    b[T * B + q], b[T_LOW * B + q], b[T_HIGH * B + q] = t, t_low, t_high
            for q in range(n):
                x, y, left, low = (
                    b[L_X * B + q],
                    b[L_Y * B + q],
                    b[L_LEFT * B + q],
                    b[L_LOW * B + q],
                )
                r0, r1, h, t = b[r0_row * B + q], b[r1_row * B + q], b[L_H * B + q], b[T * B + q]
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
                b[sums * B + q] += sum_x
                b[(sums + 1) * B + q] += added
                b[(sums + 2) * B + q] += running
                b[(sums + 3) * B + q] += lost
            wide = 0.0
            for q in range(n):
                wide = max(wide, b[L_LEFT * B + q])
            if wide == 0.0:
                break

    @numba.njit(error_model="numpy")
    def solve_list(b, index, n, high, k, both):
        """Solve the hour of the lanes in the list with all segments it takes."""
        filled = (n + VECTOR - 1) // VECTOR * VECTOR
        for q in range(n, filled):
            index[q] = index[n - 1]
        for q in range(filled):
            l = index[q]
            for row in range(len(TAKEN)):
                b[(L_X + row) * B + q] = b[TAKEN[row] * B + l]
            b[L_ZERO * B + q] = 0.0
        segments(b, filled, L_FIRST, L_R0, L_R1, L_SUM_X, high, k)
        if both:
            segments(b, filled, L_REST, L_R0_REST, L_ZERO, L_SUM_X_2, high, k)
        for q in range(filled):
            l = index[q]
            b[X_2 * B + l], b[Y_2 * B + l] = b[L_X * B + q], b[L_Y * B + q]
            b[SUM_X * B + l], b[ADDED * B + l] = b[L_SUM_X * B + q], b[L_ADDED * B + q]
            b[RUNNING * B + l], b[FOG * B + l] = b[L_RUNNING * B + q], b[L_FOG * B + q]
            if both:
                b[SUM_X_2 * B + l], b[ADDED_2 * B + l] = b[L_SUM_X_2 * B + q], b[L_ADDED_2 * B + q]
                b[RUNNING_2 * B + l], b[FOG_2 * B + l] = b[L_RUNNING_2 * B + q], b[L_FOG_2 * B + q]

    @numba.njit(error_model="numpy", nogil=True)
    def block(drivers, b, unlimited):
        """Go through the year; return how many lane-hours went through the list."""
        index = np.zeros(B + VECTOR, np.int64)
        listed = 0
        for l in range(B):
            for row in range(X_2, N_ROWS):
                b[row * B + l] = 0.0
            b[S_LEAST * B + l] = 1.0
        for i in range(drivers.shape[1]):
            high, k = drivers[HIGH, i], drivers[K, i]
            t_out, gains, exchange = drivers[T_OUT, i], drivers[GAINS, i], drivers[EXCHANGE, i]
            w_out, heat = drivers[W_OUT, i], drivers[HEAT, i]
            longest = 0.0
            for l in range(B):
                low, g, a, first = hour_inputs(
                    t_out, high, gains, exchange, w_out, heat, b[LINE * B + l], b[SLOPE * B + l],
                    b[LEAST * B + l], b[MOST * B + l], b[AIR * B + l], b[PEOPLE * B + l],
                    b[PLANT * B + l],
                )  # fmt: skip
                x, mass = b[X * B + l], b[MASS * B + l]
                over = x > high
                b[START_FOG * B + l] = mass * (x - high) if over else 0.0
                x = high if over else x
                lift = unlimited & (x < low)
                b[JUMP * B + l] = mass * (low - x) if lift else 0.0
                x = low if lift else x
                b[X * B + l], b[LOW * B + l] = x, low
                for j in range(surfaces):
                    limit_j, sink = drivers[X_SAT + j, i], b[(SINK + j) * B + l]
                    wet = (sink > 0.0) & (x > limit_j)
                    b[(ACTIVE + j) * B + l] = 1.0 if wet else 0.0
                    g = g + (sink * limit_j if wet else 0.0)
                    a = a + (sink if wet else 0.0)
                b[G * B + l], b[A * B + l] = g, a
                b[FIRST * B + l], b[REST * B + l] = first, HOUR_S - first
                longest = max(longest, HOUR_S - first)
            both = longest > 0.0
            if both:
                for l in range(B):
                    b[EVENT * B + l] = quiet(b, l, X, FIRST, R0, R1, X_1, high, k)
                for l in range(B):
                    b[EVENT * B + l] += quiet(b, l, X_1, REST, R0_REST, L_ZERO, X_2, high, k)
            else:
                for l in range(B):
                    b[EVENT * B + l] = quiet(b, l, X, FIRST, R0, R1, X_1, high, k)
                    b[X_2 * B + l], b[Y_2 * B + l] = b[X_1 * B + l], b[Y_1 * B + l]
                    b[SUM_X_2 * B + l], b[ADDED_2 * B + l] = 0.0, 0.0
                    b[RUNNING_2 * B + l], b[FOG_2 * B + l] = 0.0, 0.0
            n = 0
            for l in range(B):
                index[n] = l
                n += 1 if b[EVENT * B + l] > 0.0 else 0
            if n > 0:
                listed += n
                solve_list(b, index, n, high, k, both)
            if surfaces > 0:
                for l in range(B):
                    b[EVENT * B + l] = 0.0
                    sx = b[SUM_X * B + l] + b[SUM_X_2 * B + l]
                    changed = 0.0
                    for j in range(surfaces):
                        beyond = sx - drivers[X_SAT + j, i] * HOUR_S
                        wet = (b[(SINK + j) * B + l] > 0.0) & (sx > drivers[X_SAT + j, i] * HOUR_S)
                        changed = max(changed, abs((1.0 if wet else 0.0) - b[(ACTIVE + j) * B + l]))
                    b[EVENT * B + l] = changed
                for attempt in range(source.PASSES - 1):
                    n = 0
                    for l in range(B):
                        index[n] = l
                        n += 1 if b[EVENT * B + l] > 0.0 else 0
                    if n == 0:
                        break
                    listed += n
                    for q in range(n):
                        l = index[q]
                        sx = b[SUM_X * B + l] + b[SUM_X_2 * B + l]
                        g, a = (
                            gains * b[PEOPLE * B + l] + exchange * b[AIR * B + l] * w_out,
                            exchange * b[AIR * B + l],
                        )
                        for j in range(surfaces):
                            limit_j, sink = drivers[X_SAT + j, i], b[(SINK + j) * B + l]
                            active = b[(ACTIVE + j) * B + l] > 0.0
                            wet = sink > 0.0 and sx > limit_j * HOUR_S
                            # A surface may join once; after that it can only leave.
                            if wet != active and (active or attempt == 0):
                                active = wet
                            if attempt == source.PASSES - 2:
                                active = False
                            b[(ACTIVE + j) * B + l] = 1.0 if active else 0.0
                            if active:
                                g = g + sink * limit_j
                                a = a + sink
                        b[G * B + l], b[A * B + l] = g, a
                        b[EVENT * B + l] = 0.0
                    solve_list(b, index, n, high, k, both)
                    for q in range(n):
                        l = index[q]
                        sx = b[SUM_X * B + l] + b[SUM_X_2 * B + l]
                        for j in range(surfaces):
                            # Later passes: only what leaves asks for another one.
                            if b[(ACTIVE + j) * B + l] > 0.0 and not (
                                b[(SINK + j) * B + l] > 0.0 and sx > drivers[X_SAT + j, i] * HOUR_S
                            ):
                                b[EVENT * B + l] = 1.0
            for l in range(B):
                sx = b[SUM_X * B + l] + b[SUM_X_2 * B + l]
                condensed = 0.0
                for j in range(surfaces):
                    part = b[(SINK + j) * B + l] * (sx - drivers[X_SAT + j, i] * HOUR_S)
                    condensed = condensed + (part if b[(ACTIVE + j) * B + l] > 0.0 else 0.0)
                x = b[X_2 * B + l]
                b[X * B + l], b[Y * B + l] = x, b[Y_2 * B + l]
                (
                    b[S_ADDED * B + l], b[S_PEAK * B + l], b[S_HOURS * B + l],
                    b[S_RUNNING * B + l], b[S_FOG * B + l], b[S_MEAN * B + l],
                    b[S_LEAST * B + l], b[S_SHORT * B + l], b[S_UNMET * B + l],
                    b[S_DRY * B + l], b[S_CONDENSED * B + l],
                ) = add_hour(
                    b[LOW * B + l], high, x, sx / HOUR_S,
                    b[JUMP * B + l] + b[ADDED * B + l] + b[ADDED_2 * B + l],
                    b[RUNNING * B + l] + b[RUNNING_2 * B + l],
                    b[START_FOG * B + l] + b[FOG * B + l] + b[FOG_2 * B + l], condensed,
                    b[S_ADDED * B + l], b[S_PEAK * B + l], b[S_HOURS * B + l],
                    b[S_RUNNING * B + l], b[S_FOG * B + l], b[S_MEAN * B + l],
                    b[S_LEAST * B + l], b[S_SHORT * B + l], b[S_UNMET * B + l],
                    b[S_DRY * B + l], b[S_CONDENSED * B + l],
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


def make_drivers() -> np.ndarray:
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
            np.maximum((18.0 - t_out) / 60.0, 0.0),
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
    p[PLANT] = rng.uniform(0.8, 1.5, N_CASES) if two_modes else 1e9
    for j in range(surfaces):
        p[SINK + j] = (0.02, 0.02, 0.05)[j] * rng.uniform(0.5, 2.0, N_CASES)
    return p


if __name__ == "__main__":
    pass
