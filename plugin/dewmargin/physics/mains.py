"""Temperature of mains water through the year, from the weather."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dewmargin.core.containers import any_container

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dewmargin.columns import FloatArray

FITTED_FROM_C = 5.0  # annual mean of the coldest climates it was fitted to, about (from memory)
# Mains lie below the frost, and water under ice is densest at 4 °C: in cold climates the trade
# meets 3 to 5 °C at the tap in late winter. Common practice, no source; rivers can be colder.
BURIED_C = 3.0


@any_container
def mains_correlation(
    day_of_year: FloatArray | NDArray[np.int64],
    t_mean_c: float,
    dt_monthly_k: float,
    *,
    southern: bool,
) -> FloatArray:
    r"""Return mains temperature from two numbers of the climate [°C].

    .. math::

        T = (\bar T + 6) + R\,\frac{\Delta T}{2} \sin[0.986\,(d - 15 - L) - 90]

        R = 0.4 + 0.01\,(\bar T - 44), \qquad L = 35 - (\bar T - 44)

    in °F and degrees; the sine is turned over south of the equator.

    Parameters
    ----------
    day_of_year : array, 1 to 366
        Day d, 1 on the first of January.
    t_mean_c : float
        Annual mean of the outdoor dry bulb. [°C]
    dt_monthly_k : float
        Warmest less coldest monthly mean of the outdoor dry bulb. [K]
    southern : bool
        True south of the equator.

    Returns
    -------
    float64 array, shape of `day_of_year`
        Mains temperature, not below 0 °C. [°C]

    Notes
    -----
    *Validity.* Fitted to water systems of the United States, of which few had an annual mean below
    5 °C (from memory; the formula counts from 44 °F, 6.7 °C): colder climates are extrapolated. A
    well, a roof tank or a long warm pipe in the building are other supplies: give their
    temperature instead.

    *Source.* EnergyPlus Engineering Reference, Water Systems, water mains temperatures, citing
    Hendron et al. 2004; the limit at 32 °F as in the source of EnergyPlus, the turn of the sine in
    the south as in the source of OpenStudio-HPXML.

    Examples
    --------
    >>> import numpy as np
    >>> mains_correlation(np.array([46, 228]), 9.69, 28.1, southern=False).round(1)
    array([ 6.6, 19.4])
    """
    t_mean_f = 1.8 * t_mean_c + 32.0
    ratio = 0.4 + 0.01 * (t_mean_f - 44.0)
    lag_days = 35.0 - (t_mean_f - 44.0)
    phase_deg = 0.986 * (np.asarray(day_of_year) - 15.0 - lag_days) + (90.0 if southern else -90.0)
    swing_f = ratio * 0.5 * (1.8 * dt_monthly_k) * np.sin(np.radians(phase_deg))
    t_mains_c: FloatArray = np.maximum((t_mean_f + 6.0 + swing_f - 32.0) / 1.8, 0.0)
    return t_mains_c


@any_container
def mains_temperature(
    t_out_c: FloatArray, interval_start: NDArray[np.datetime64], latitude_deg: float
) -> FloatArray:
    """Return mains temperature in each step of a weather year [°C].

    Parameters
    ----------
    t_out_c : float64 array, shape (n_steps,)
        Outdoor dry bulb. [°C]
    interval_start : datetime64 array, shape (n_steps,)
        Start of each step.
    latitude_deg : float
        Negative south of the equator. [°]

    Returns
    -------
    float64 array, shape (n_steps,)
        Mains temperature of the step's day, not below `BURIED_C`. [°C]

    Notes
    -----
    In a cold climate with wide seasons the correlation falls towards 0 °C, at which buried mains
    would freeze: it is bounded by `BURIED_C`, in every climate, so that no jump lies between two.

    The annual mean and the monthly means are those of the steps given: with fewer than twelve
    months (see `months_present`) they are not the climate's, and the result means little.

    *Source.* `mains_correlation`. A known mistake is to take the hourly extremes for ΔT.
    """
    day = interval_start.astype("datetime64[D]")
    day_of_year = (day - interval_start.astype("datetime64[Y]").astype("datetime64[D]")).astype(
        np.int64
    ) + 1
    month = _calendar_month(interval_start)
    steps = np.bincount(month, minlength=12)
    sums = np.bincount(month, weights=t_out_c, minlength=12)
    monthly = sums[steps > 0] / steps[steps > 0]
    t_mains_c: FloatArray = mains_correlation(
        day_of_year, float(t_out_c.mean()), float(np.ptp(monthly)), southern=latitude_deg < 0.0
    )
    return np.maximum(t_mains_c, BURIED_C)


@any_container
def months_present(interval_start: NDArray[np.datetime64]) -> int:
    """Return number of the twelve calendar months that a weather record has steps in [-]."""
    return int(np.unique(_calendar_month(interval_start)).size)


def _calendar_month(interval_start: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Return the calendar month of each step, 0 to 11."""
    return interval_start.astype("datetime64[M]").astype(np.int64) % 12
