"""The same physical problem as the kernel, in 10-second steps: written apart from it, test-only.

Heun's method (second order) on room and buffer; the humidifier gives what would bring the room to
its set-point in 10 s, at most its rate; a plant of duty f fires 4 N f (1 - f) times an hour; every
surface takes vapour while the room is above its
saturation, and gives back what it has while the room is below; what is beyond retention runs off;
the room is cut at saturation. No closed form, no events, no active set.
"""

from __future__ import annotations

import numpy as np
from numba import njit

STEP_S = 10.0


@njit
def integrate(x, y, film, step_s, mass, buffer_mass, h, low, high, k, g_in, a_out,
              heat_frac, r0, r1, r0_rest, r1_rest, firings_h, area, beta, x_sat, most,
              capped):  # fmt: skip
    """Return the hourly means of x, what was added [kg] and the fog [kg]; then, of the surfaces,
    what they took and what ran off, and the film at the hours' ends [kg/m2].

    ``capped`` False: a device without limit, ``r0`` to ``r1_rest`` are not used.
    """
    n = low.size
    parts = round(step_s / STEP_S)
    dt = step_s / parts
    mean, added = np.zeros(n), np.zeros(n)
    fog, film = np.zeros(n), film.copy()
    taken = np.zeros((area.size, n))
    runoff, film_end = np.zeros((area.size, n)), np.zeros((area.size, n))
    phase = 0.0
    for i in range(n):
        f = heat_frac[i]
        turned = 4.0 * firings_h * f * (1.0 - f) * dt / 3600.0
        for _ in range(parts):
            # The share of these 10 s with heat: 1, 0, or a part where the plant starts or stops.
            heated = f
            if turned > 0.0:
                end = phase + turned
                heated = max(min(end, f) - phase, 0.0) + max(min(end - 1.0, f), 0.0)
                heated /= turned
                phase = end % 1.0
            if x > high[i]:
                fog[i] += mass * (x - high[i])
                x = high[i]
            # Films at the present state, held for 10 s.
            flow_out = 0.0
            for j in range(area.size):
                c = max(beta[j, i] * (x - x_sat[j, i]), -film[j] / dt)
                taken[j, i] += c * dt
                film[j] += c * dt
                if film[j] > most[j, i]:
                    runoff[j, i] += film[j] - most[j, i]
                    film[j] = most[j, i]
                film_end[j, i] = film[j]
                flow_out += area[j] * c
            flow = g_in[i] - flow_out - a_out[i] * x - h * (k[i] * x - y)
            # The rate that brings the room to its set-point in 10 s, at the present flow.
            s = max((low[i] - x) * mass / dt - flow, 0.0)
            if capped:
                rate = heated * max(r0[i] - r1[i] * x, 0.0)
                rate += (1.0 - heated) * max(r0_rest[i] - r1_rest[i] * x, 0.0)
                s = min(s, rate)
            dx1 = (flow + s) / mass
            dy1 = h * (k[i] * x - y) / buffer_mass if buffer_mass > 0.0 else 0.0
            xp, yp = x + dt * dx1, y + dt * dy1
            dx2 = (g_in[i] - flow_out - a_out[i] * xp - h * (k[i] * xp - yp) + s) / mass
            dy2 = h * (k[i] * xp - yp) / buffer_mass if buffer_mass > 0.0 else 0.0
            x_new = x + 0.5 * dt * (dx1 + dx2)
            mean[i] += 0.5 * (x + x_new) / parts
            added[i] += s * dt
            x, y = x_new, y + 0.5 * dt * (dy1 + dy2)
    return mean, added, fog, taken, runoff, film_end
