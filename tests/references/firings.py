"""A room whose heating plant fires, in steps of at most 10 s: written apart from the package.

The problem, not the package's arrays: air of one humidity ratio and one store beside it, a plant of
duty f that fires 4 N f (1 - f) times an hour, and a humidistat that acts at once at its set-point.
In a firing the humidifier may give r0 - r1 W; between firings what the blower's air gives, on a
call for humidity, or nothing. It never gives more than brings the room to the set-point: nothing is
banked. Heun's method; a step ends where the plant starts or stops. No mean over firings, no
closed form.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

STEP_S = 10.0
HOUR_S = 3600.0


class Room(NamedTuple):
    """Air [kg], store beside it [kg] and the conductance to it [kg/s], all as dry air."""

    air_kg: float
    store_kg: float = 0.0
    store_kg_s: float = 0.0


class Device(NamedTuple):
    """Rates r0 - r1 W on heat and of the blower's air [kg/s], and most firings an hour N."""

    heat: tuple[float, float]
    blower: tuple[float, float] = (0.0, 0.0)
    firings_h: float = 3.0


class Hours(NamedTuple):
    """Hour by hour: mean humidity, vapour on heat and of the blower's air, and times of both.

    [kg/kg, kg, kg, s, s]; a time is that at full rate.
    """

    w: np.ndarray
    heat_kg: np.ndarray
    blower_kg: np.ndarray
    heat_s: np.ndarray
    blower_s: np.ndarray

    @property
    def given_kg(self) -> np.ndarray:
        """All vapour. [kg]."""
        return self.heat_kg + self.blower_kg


def fired(room: Room, device: Device, *, w, duty, w_set, w_out, exchange_kg_s, gains_kg_s,
          step_s: float = STEP_S) -> Hours:  # fmt: skip
    """Follow a room from humidity ratio ``w``, its store at the same; the rest an array an hour."""
    return Hours(*_fired(
        *map(float, (*room, *device.heat, *device.blower, device.firings_h, w, step_s)),
        *(np.ascontiguousarray(a, dtype=float)
          for a in (duty, w_set, w_out, exchange_kg_s, gains_kg_s)),
    ))  # fmt: skip


@njit
def _fired(air_kg, store_kg, store_kg_s, r0, r1, off0, off1, firings_h, w, step_s,
           duty, w_set, w_out, exchange, gains) -> tuple[np.ndarray, ...]:  # fmt: skip
    n = duty.size
    mean, heat_kg, blower_kg = np.zeros(n), np.zeros(n), np.zeros(n)
    heat_s, blower_s = np.zeros(n), np.zeros(n)
    store, turn = w, 0.0  # how far a firing and the rest after it have come, 0 to 1
    for i in range(n):
        f = duty[i]
        turns_s = 4.0 * firings_h * f * (1.0 - f) / HOUR_S  # 0: always on, or never
        left = HOUR_S
        while left > 1e-9:
            dt, fires, goes = min(step_s, left), f >= 1.0, turn
            if turns_s > 0.0:
                fires = turn < f
                until = ((f if fires else 1.0) - turn) / turns_s
                dt, goes = (dt, turn + dt * turns_s) if until > dt else (until, f if fires else 0.0)
            rate = max(r0 - r1 * w, 0.0) if fires else max(off0 - off1 * w, 0.0)
            to_store = store_kg_s * (w - store)
            flow = gains[i] + exchange[i] * (w_out[i] - w) - to_store
            stored = store + (dt * to_store / store_kg if store_kg > 0.0 else 0.0)
            # Where the room would be without vapour, and how far each kg/s lifts it.
            ahead = w + dt * flow / air_kg
            then = gains[i] + exchange[i] * (w_out[i] - ahead) - store_kg_s * (ahead - stored)
            freely = w + 0.5 * dt * (flow + then) / air_kg
            lift = dt / air_kg * (1.0 - 0.5 * dt * (exchange[i] + store_kg_s) / air_kg)
            given = min(max((w_set[i] - freely) / lift, 0.0), rate)
            moved = freely + given * lift
            if store_kg > 0.0:
                ahead += dt * given / air_kg
                store += 0.5 * dt * (to_store + store_kg_s * (ahead - stored)) / store_kg
            mean[i] += 0.5 * (w + moved) * dt / HOUR_S
            if fires:
                heat_kg[i] += given * dt
                heat_s[i] += dt * given / rate if rate > 0.0 else 0.0
            else:
                blower_kg[i] += given * dt
                blower_s[i] += dt * given / rate if rate > 0.0 else 0.0
            w, turn, left = moved, goes, left - dt
    return mean, heat_kg, blower_kg, heat_s, blower_s
