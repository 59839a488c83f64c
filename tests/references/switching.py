"""An on/off controller in 10-second steps: written apart from the package, test-only.

Heun's method on room and buffer; a sensor that shows the room as it was a while ago, or one of
first order; the humidifier switches at the edges of the deadband, never before its least times.
"""

from __future__ import annotations

import numpy as np
from numba import njit

STEP_S = 10.0


@njit
def switched(w, hours, mass, buffer_mass, h, gains, flow, w_out, rate,
             off_at, on_at, late_s, first_order, min_on_s, min_off_s):  # fmt: skip
    """Return the hourly means of w, the starts in each hour, and what was added [kg].

    ``gains``, ``flow``, ``w_out``, ``rate``, ``off_at`` and ``on_at`` have one value an hour; the
    humidifier runs at ``rate`` [kg/s] or not at all.
    """
    parts = round(3600.0 / STEP_S)
    mean, starts, added = np.zeros(hours), np.zeros(hours), np.zeros(hours)
    kept = max(round(late_s / STEP_S), 1)
    seen = np.full(kept, w)  # the last values, oldest at `part % kept`
    reading, buffer, running, since_s, k = w, w, False, 1e9, 0
    for i in range(hours):
        for _ in range(parts):
            if late_s > 0.0 and first_order:
                reading += (w - reading) * (1.0 - np.exp(-STEP_S / late_s))
            elif late_s > 0.0:
                reading, seen[k % kept] = seen[k % kept], w
            else:
                reading = w
            k += 1
            if running and reading >= off_at[i] and since_s >= min_on_s:
                running, since_s = False, 0.0
            elif not running and reading <= on_at[i] and since_s >= min_off_s:
                running, since_s = True, 0.0
                starts[i] += 1
            since_s += STEP_S
            s = rate[i] if running else 0.0
            dw1 = (gains[i] + s - flow[i] * (w - w_out[i]) - h * (w - buffer)) / mass
            db1 = h * (w - buffer) / buffer_mass if buffer_mass > 0.0 else 0.0
            wp, bp = w + STEP_S * dw1, buffer + STEP_S * db1
            dw2 = (gains[i] + s - flow[i] * (wp - w_out[i]) - h * (wp - bp)) / mass
            db2 = h * (wp - bp) / buffer_mass if buffer_mass > 0.0 else 0.0
            w_new = w + 0.5 * STEP_S * (dw1 + dw2)
            mean[i] += 0.5 * (w + w_new) / parts
            added[i] += s * STEP_S
            w, buffer = w_new, buffer + 0.5 * STEP_S * (db1 + db2)
    return mean, starts, added
