"""Saturation of water vapour over ice and over water: plain relations of numbers or arrays.

`dewmargin.physics.air` makes them its own; a GPU's twin of this package compiles them.

*Source.* ASHRAE Fundamentals 2017 ch. 1 eq. 5 and 6, after Hyland and Wexler 1983.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

Number = TypeVar("Number", float, "FloatArray")

TRIPLE_POINT_PA = 611.657  # Pa, IAPWS R14-08


def ln_over_ice(t_k: Number, ln_t: Number) -> Number:
    """Return ln p over ice, equation 5; `ln_t` is the logarithm of `t_k`."""
    polynomial = 6.3925247 + t_k * (
        -9.6778430e-3 + t_k * (6.2215701e-7 + t_k * (2.0747825e-9 - t_k * 9.4840240e-13))
    )
    return -5.6745359e3 / t_k + polynomial + 4.1635019 * ln_t


def ln_over_water(t_k: Number, ln_t: Number) -> Number:
    """Return ln p over liquid water, equation 6; `ln_t` as for ice."""
    polynomial = 1.3914993 + t_k * (-4.8640239e-2 + t_k * (4.1764768e-5 - t_k * 1.4452093e-8))
    return -5.8002206e3 / t_k + polynomial + 6.5459673 * ln_t


def slope_over_ice(t_k: Number) -> Number:
    """Return d ln p/dT over ice, the derivative of equation 5. [1/K]."""
    return (
        5.6745359e3 / (t_k * t_k)
        - 9.6778430e-3
        + t_k * (2 * 6.2215701e-7 + t_k * (3 * 2.0747825e-9 - t_k * 4 * 9.4840240e-13))
        + 4.1635019 / t_k
    )


def slope_over_water(t_k: Number) -> Number:
    """Return d ln p/dT over water, the derivative of equation 6. [1/K]."""
    return (
        5.8002206e3 / (t_k * t_k)
        - 4.8640239e-2
        + t_k * (2 * 4.1764768e-5 - t_k * 3 * 1.4452093e-8)
        + 6.5459673 / t_k
    )
