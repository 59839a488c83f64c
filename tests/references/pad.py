"""Two slow solutions of the wetted pad, to judge the closed form: slices, and a stiff ODE solver.

Both start from dL/dz = -A G and L c_w dT/dz = -A F (see `dewmargin.physics.pad`) and share no
step with the closed form: the wet bulb is bisected, the depth is marched. The ODE also takes its
saturation pressure from psychrolib.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.integrate import solve_ivp

from dewmargin.physics import air
from references import psychrolib_oracle

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

C_PA, C_PV, C_W, H_FG0, RATIO = 1006.0, 1860.0, 4186.0, 2.501e6, 0.621945


@dataclass(frozen=True, slots=True)
class Reference:
    """What leaves the pad, and how much of its height is dry."""

    evaporation_kg_s: FloatArray
    t_drain_c: FloatArray
    t_air_out_c: FloatArray
    w_air_out_kg_kg: FloatArray
    dry_frac: FloatArray


def _outlet(
    airflow: FloatArray,
    t_in: FloatArray,
    w_in: FloatArray,
    feed: FloatArray,
    t_feed: FloatArray,
    drain: FloatArray,
    t_drain: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return temperature and humidity ratio behind the pad, from the balances."""
    w_out = w_in + (feed - drain) / airflow
    h_in = C_PA * t_in + w_in * (H_FG0 + C_PV * t_in)
    h_out = h_in + C_W * (feed * t_feed - drain * t_drain) / airflow
    return (h_out - w_out * H_FG0) / (C_PA + w_out * C_PV), w_out


def bisected_wet_bulb(t_in: FloatArray, w_in: FloatArray, p: FloatArray) -> FloatArray:
    """Return the root of F by 80 bisections between -60 and 100 °C, over liquid water."""
    low = np.full(np.broadcast(t_in, w_in, p).shape, -60.0)
    high = np.full(low.shape, 100.0)
    for _ in range(80):
        middle = 0.5 * (low + high)
        _, f = _forces(middle, t_in, w_in, p)
        low, high = np.where(f < 0.0, middle, low), np.where(f < 0.0, high, middle)
    return 0.5 * (low + high)


def _forces(
    t: FloatArray, t_in: FloatArray, w_in: FloatArray, p: FloatArray
) -> tuple[FloatArray, FloatArray]:
    # Beyond the boiling point F has no meaning: bisection only has to know that it is far too hot.
    p_s = np.minimum(air.saturation_pressure_over_water(t), 0.9999 * p)
    w_s = RATIO * p_s / (p - p_s)
    h_in = C_PA * t_in + w_in * (H_FG0 + C_PV * t_in)
    return w_s - w_in, C_PA * t + w_s * (H_FG0 + C_PV * t) - h_in - (w_s - w_in) * C_W * t


def slices(
    *,
    airflow_kg_s: FloatArray,
    t_in_c: FloatArray,
    w_in_kg_kg: FloatArray,
    p_pa: FloatArray,
    feed_kg_s: FloatArray,
    t_feed_c: FloatArray,
    effectiveness: FloatArray,
    n: int = 400,
) -> Reference:
    """March the water down `n` slices: exponential in temperature, Simpson's rule in humidity."""
    t_in, w_in, p, airflow, feed, t_feed, effect = np.broadcast_arrays(
        t_in_c, w_in_kg_kg, p_pa, airflow_kg_s, feed_kg_s, t_feed_c, effectiveness
    )
    saturated, dz = effect * airflow, 1.0 / n
    t_star = bisected_wet_bulb(t_in, w_in, p)
    theta = np.where(np.abs(t_feed - t_star) < 1e-9, 1e-9, t_feed - t_star)
    flow, dry = feed.astype(np.float64), np.zeros(t_star.shape)
    g, f = _forces(t_star + theta, t_in, w_in, p)
    for i in range(n):
        wet = flow > 0.0
        some_flow = np.where(wet, np.maximum(flow - 0.5 * saturated * g * dz, 1e-12), 1.0)
        half = theta * np.exp(-0.5 * saturated * dz * (f / theta) / (some_flow * C_W))
        half = np.copysign(np.maximum(np.abs(half), 1e-12), theta)
        g_half, f_half = _forces(t_star + half, t_in, w_in, p)
        some_flow = np.where(
            wet, np.maximum(flow - 0.25 * saturated * (g + g_half) * dz, 1e-12), 1.0
        )
        end = theta * np.exp(-saturated * dz * (f_half / half) / (some_flow * C_W))
        end = np.copysign(np.maximum(np.abs(end), 1e-12), theta)
        g_end, f_end = _forces(t_star + end, t_in, w_in, p)
        taken = saturated * dz * (g + 4.0 * g_half + g_end) / 6.0
        runs_dry = wet & (taken >= flow)
        dry = np.where(runs_dry, 1.0 - dz * (i + flow / np.where(runs_dry, taken, 1.0)), dry)
        flow = np.where(wet & ~runs_dry, flow - taken, 0.0)
        theta = np.where(wet, end, theta)
        g, f = np.where(wet, g_end, g), np.where(wet, f_end, f)
    t_out, w_out = _outlet(airflow, t_in, w_in, feed, t_feed, flow, t_star + theta)
    return Reference(feed - flow, t_star + theta, t_out, w_out, dry)


def stiff_ode(
    *,
    airflow_kg_s: float,
    t_in_c: float,
    w_in_kg_kg: float,
    p_pa: float,
    feed_kg_s: float,
    t_feed_c: float,
    effectiveness: float,
) -> Reference:
    """Integrate the two equations from the top of the pad to its foot, or to where it runs dry."""
    saturation = psychrolib_oracle.load().GetSatVapPres
    saturated = effectiveness * airflow_kg_s
    h_in = C_PA * t_in_c + w_in_kg_kg * (H_FG0 + C_PV * t_in_c)

    def slope(_z: float, y: FloatArray) -> list[float]:
        flow, t = float(y[0]), float(y[1])
        p_s = saturation(t)
        w_s = RATIO * p_s / (p_pa - p_s)
        g = w_s - w_in_kg_kg
        f = C_PA * t + w_s * (H_FG0 + C_PV * t) - h_in - g * C_W * t
        # The flow in units of the feed, so that both unknowns are near 1 to 100.
        return [-saturated * g / feed_kg_s, -saturated * f / (flow * feed_kg_s * C_W)]

    def nearly_dry(_z: float, y: FloatArray) -> float:
        return float(y[0]) - 1e-6

    nearly_dry.terminal = True  # type: ignore[attr-defined]
    solution = solve_ivp(
        slope,
        (0.0, 1.0),
        [1.0, t_feed_c],
        method="LSODA",
        rtol=1e-11,
        atol=1e-12,
        events=nearly_dry,
    )
    assert solution.success
    flow, t_drain = feed_kg_s * solution.y[0, -1], solution.y[1, -1]
    dry = 1.0 - solution.t[-1]
    if solution.status == 1:
        flow = 0.0
    arrays = (np.asarray(v) for v in (airflow_kg_s, t_in_c, w_in_kg_kg, feed_kg_s, t_feed_c))
    t_out, w_out = _outlet(*arrays, np.asarray(flow), np.asarray(t_drain))
    return Reference(
        np.asarray(feed_kg_s - flow), np.asarray(t_drain), t_out, w_out, np.asarray(dry)
    )
