"""Room temperature of the house model: one heat capacity, a thermostat, exact steps."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin import kernel
from dewmargin.core.checks import require_between, require_hourly
from dewmargin.core.containers import any_container

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomYear:
    """Temperatures and heat of a room, step by step.

    Attributes
    ----------
    t_air_c : float64 array, shape (n_steps,)
        Mean temperature over the step. [°C]
    t_end_c : float64 array, shape (n_steps,)
        Temperature at the end of the step. [°C]
    heating_w, cooling_w : float64 array, shape (n_steps,)
        Heat supplied and removed, constant over the step, never below 0. [W]
    t_start_c : float
        Temperature at the start of the first step, after any warm-up. [°C]
    """

    t_air_c: FloatArray
    t_end_c: FloatArray
    heating_w: FloatArray
    cooling_w: FloatArray
    t_start_c: float


@any_container
def room_year(
    *,
    t_out_c: FloatArray,
    loss_w_k: FloatArray,
    gains_w: FloatArray,
    heating_set_c: FloatArray,
    cooling_set_c: float | None,
    heat_capacity_wh_k: float,
    heating_limit_w: FloatArray,
    step_s: float,
    warmup_steps: int,
) -> RoomYear:
    r"""Return temperature and heat of a room of one heat capacity, step by step [°C, W].

    .. math:: C\,\frac{dT}{dt} = K\,(T_e - T) + P + q

    Everything on the right but T is constant within a step, so the step is solved exactly:
    :math:`T_1 = T_\infty + (T_0 - T_\infty)\,e^{-x}` with :math:`x = K\,\Delta t/C` and
    :math:`T_\infty = T_e + (P + q)/K`; the mean follows from the same exponential.

    Parameters
    ----------
    t_out_c : float64 array, shape (n_steps,)
        Outdoor air temperature, mean over the step. [°C]
    loss_w_k : float64 array, shape (n_steps,)
        Heat loss coefficient K: fabric and air exchange, above 0. [W/K]
    gains_w : float64 array, shape (n_steps,)
        Heat P of people, appliances and sun. [W]
    heating_set_c : float64 array, shape (n_steps,)
        Temperature that the thermostat holds. [°C]
    cooling_set_c : float or None
        Temperature that mechanical cooling, without limit, does not let the room exceed; None
        lets it float. [°C]
    heat_capacity_wh_k : float
        Heat capacity C of air, furniture and the inner layers of the fabric. [Wh/K]
    heating_limit_w : float64 array, shape (n_steps,)
        Capacity of the heating; infinite is ideal. [W]
    step_s : float
        Length of a step. [s]
    warmup_steps : int
        How many of the last steps are run before the first, uncounted: 0 for a year that does not
        wrap. The run starts at the thermostat's temperature.

    Returns
    -------
    RoomYear
        Temperatures and heat of every step.

    Raises
    ------
    OutOfRangeError
        If columns differ in length or hold NaN, or a loss, capacity or limit is not above 0.

    Notes
    -----
    The heating is constant over a step and sized so that the step *ends* at the set-point, as far
    as the capacity allows; a room at its set-point is so held there exactly. In the step in which
    a falling temperature meets the set-point the heat is therefore spread over the whole step,
    and after a set-back an unlimited heating would lift the room within one step.

    *Validity.* One temperature for air and fabric.

    *Source.* First law; the closed solution of a first-order linear equation.
    """
    require_hourly(
        "room_year",
        t_out_c=t_out_c,
        loss_w_k=loss_w_k,
        gains_w=gains_w,
        heating_set_c=heating_set_c,
    )
    tiny = float(np.finfo(np.float64).tiny)
    require_between("room_year", "loss_w_k", float(loss_w_k.min()), tiny, math.inf)
    require_between("room_year", "heat_capacity_wh_k", heat_capacity_wh_k, tiny, math.inf)
    require_between("room_year", "heating_limit_w", float(heating_limit_w.min()), 0.0, math.inf)
    require_between("room_year", "warmup_steps", warmup_steps, 0, t_out_c.size)

    x = loss_w_k * (step_s / (3600.0 * heat_capacity_wh_k))
    approach = -np.expm1(-x)  # 1 - exp(-x)
    mean_factor = approach / x  # 1 at the start of the step, less on average
    n = t_out_c.size
    columns = (
        t_out_c + gains_w / loss_w_k,
        loss_w_k / approach,
        loss_w_k,
        approach,
        mean_factor,
        heating_set_c,
        heating_limit_w,
    )
    ceiling_c = math.inf if cooling_set_c is None else cooling_set_c
    follow = kernel.room_temperature()

    def run(t_c: float, steps: slice) -> tuple[float, list[FloatArray]]:
        inputs = [np.ascontiguousarray(c[steps], dtype=np.float64) for c in columns]
        outputs = [np.empty(inputs[0].size) for _ in range(3)]
        return follow(t_c, ceiling_c, *inputs, *outputs), outputs

    t_start_c = float(heating_set_c[(n - warmup_steps) % n])
    t_start_c, _ = run(t_start_c, slice(n - warmup_steps, n))
    _, (t_air_c, t_end_c, heat_w) = run(t_start_c, slice(0, n))
    return RoomYear(
        t_air_c=t_air_c,
        t_end_c=t_end_c,
        heating_w=np.maximum(heat_w, 0.0),
        cooling_w=np.maximum(-heat_w, 0.0),
        t_start_c=t_start_c,
    )
