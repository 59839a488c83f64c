"""The room's temperature step by step: sequential, and so compiled like the balance.

Plain functions of floats; see `dewmargin.kernel.source` about `jit`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.columns import FloatArray

    Function = TypeVar("Function", bound=Callable[..., object])

if "jit" not in globals():  # the loader of the compiled twin sets it beforehand

    def jit(function: Function) -> Function:
        """Leave a function as plain Python."""
        return function


@jit
def follow(
    t_c: float, ceiling_c: float, free_c: FloatArray, lift_w_k: FloatArray, loss_w_k: FloatArray,
    share: FloatArray, mean_share: FloatArray, set_c: FloatArray, limit_w: FloatArray,
    t_air: FloatArray, t_end: FloatArray, heat: FloatArray,
) -> float:  # fmt: skip
    """Follow a room of one heat capacity; fill the outputs and return the temperature at the end.

    `free_c` is where it would settle without heat, `share` how much of the way it goes in a step
    and `mean_share` how much is left on average; `lift_w_k` is the heat that ends a step 1 K
    warmer. Heat below 0 is cooling, which keeps it below `ceiling_c`.
    """
    for i in range(len(free_c)):  # a memoryview has no size
        free_end_c = t_c + (free_c[i] - t_c) * share[i]
        q = 0.0
        if free_end_c < set_c[i]:
            q = min((set_c[i] - free_end_c) * lift_w_k[i], limit_w[i])
        elif free_end_c > ceiling_c:
            q = (ceiling_c - free_end_c) * lift_w_k[i]
        towards_c = free_c[i] + q / loss_w_k[i] - t_c
        t_air[i] = t_c + towards_c * (1.0 - mean_share[i])
        t_c += towards_c * share[i]
        t_end[i] = t_c
        heat[i] = q
    return t_c
