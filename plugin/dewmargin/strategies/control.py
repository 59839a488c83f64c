"""Controller: what its sensors show, and how far it lets the humidity swing.

Bias and drift of the humidity sensor shift what is really held. Bias and lag of the outdoor sensor
change what a strategy sees. A late reading, a deadband and least running and resting times make the
humidity swing around the set-point: that becomes a mean offset and a number of starts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from pydantic import Field

from dewmargin.inputs import Inputs
from dewmargin.physics import air
from dewmargin.physics.series import lagged

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Capability

YEAR = np.timedelta64(365, "D")
MIN_PER_H = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """How an on/off controller swings around its set-point; arrays of the shape (n_steps,).

    Attributes
    ----------
    offset_rh : float64 array
        Mean relative humidity less the set-point; 0 where it does not swing. [-]
    starts_per_h : float64 array
        Starts of the humidifier. [1/h]
    """

    offset_rh: FloatArray
    starts_per_h: FloatArray


class Control(Inputs):
    """Sensors and switching of the controller; by default it is ideal."""

    rh_bias: float = Field(
        0.0,
        ge=-0.3,
        le=0.3,
        description="the room's humidity sensor reads too high by this fraction; default: exact",
    )
    rh_drift_per_year: float = Field(
        0.0,
        ge=-0.1,
        le=0.1,
        description="what the bias grows by in a year, from the record's start; default: none",
    )
    rh_lag_min: float = Field(
        0.0,
        ge=0.0,
        le=120.0,
        description="how late the reading is, mixing of the room and sensor together; default: not",
    )
    outdoor_bias_k: float = Field(
        0.0, ge=-20.0, le=20.0, description="the outdoor sensor reads too warm; default: exact"
    )
    outdoor_lag_h: float = Field(
        0.0,
        ge=0.0,
        le=1000.0,
        description="time constant of the outdoor sensor, of first order; default: none",
    )
    deadband_rh: float = Field(
        0.0,
        ge=0.0,
        le=0.3,
        description="between off and on, half above and half below the set-point; default: none",
    )
    min_on_min: float = Field(0.0, ge=0.0, le=240.0, description="least running time; default: any")
    min_off_min: float = Field(
        0.0, ge=0.0, le=240.0, description="least resting time; default: any"
    )

    @property
    def swings(self) -> bool:
        """Whether the humidity swings around the set-point by what is given."""
        return max(self.rh_lag_min, self.deadband_rh, self.min_on_min, self.min_off_min) > 0.0

    def measured(self, case: HourlyCase) -> HourlyCase:
        """Return the case as strategies see it: with the outdoor temperature that is measured."""
        if self.outdoor_bias_k == 0.0 and self.outdoor_lag_h == 0.0:
            return case
        late = lagged(case.t_out_c, time_constant=self.outdoor_lag_h * case.steps_per_hour)
        return case.with_outdoor_reading(late + self.outdoor_bias_k)

    def true_setpoint(self, case: HourlyCase, rh_set: FloatArray) -> FloatArray:
        """Return what is really held where the sensor shows `rh_set`. [-].

        Parameters
        ----------
        case : HourlyCase
        rh_set : float64 array, shape (n_steps,)
            Set-point; 0 is off, whatever the sensor shows. [-]
        """
        if self.rh_bias == 0.0 and self.rh_drift_per_year == 0.0:
            return rh_set
        if self.rh_drift_per_year == 0.0:
            return shifted(rh_set, -self.rh_bias)
        years = (case.interval_start - case.interval_start[0]) / YEAR
        return shifted(rh_set, -self.rh_bias - self.rh_drift_per_year * years)

    def swing(
        self, case: HourlyCase, rh_set: FloatArray, capability: Capability, added_kg: FloatArray
    ) -> Swing:
        """Return how the humidity swings, from what an ideal controller added.

        Parameters
        ----------
        case : HourlyCase
        rh_set : float64 array, shape (n_steps,)
            What is really held. [-]
        capability : Capability
            What the equipment can add.
        added_kg : float64 array, shape (n_hours,)
            What it added in each hour to hold that exactly. [kg]

        Notes
        -----
        While it runs the humidity rises by u, while it rests it falls by f, both constant: what is
        left of the equipment's mean rate over what is needed to hold, and that need, over the dry
        air of the room. A reading late by L switches off at u·L above the deadband's upper edge,
        and on at f·L below its lower edge. The humidity then swings by A = d + (u + f)·L, or by
        as much more as the least times ask for: u·(least running time), f·(least resting time);
        what is more lies above the swing in the first case, below it in the second.
        Its mean is the middle, a cycle takes A/u + A/f.

        *Validity.* Straight lines: exchange with outdoors and buffer bend them, so that a phase t
        lasts (t/T)²/12 longer, T the dry air over these flows. In rooms of T 1.5 and 3.5 h, beside
        10-second steps, the mean is within 0.3 points and the starts within 6 %.
        A sensor of first order whose time constant is L swings less and starts more often, the more
        so the narrower the deadband is against (u + f)·L.
        """
        sensed, need = case.sensed, np.repeat(added_kg / 3600.0, case.steps_per_hour)
        # Relative humidity for humidity ratio at the sensor: a straight line within 1 %.
        w_unit = air.humidity_ratio(case.sensed_p_sat_pa, case.p_pa)
        w_set = air.humidity_ratio(rh_set * case.sensed_p_sat_pa, case.p_pa)
        per_h = 3600.0 / (case.dry_air_kg * w_unit)
        rate = capability.able_kg_s(case, w_set - sensed.w_offset_kg_kg)
        swings = (need > 0.0) & (need < rate) & (rh_set > 0.0)
        fall = np.where(swings, per_h * need, 1.0)
        rise = np.where(swings, per_h * (rate - need), 1.0)
        lag_h = self.rh_lag_min / MIN_PER_H
        above = 0.5 * self.deadband_rh + rise * lag_h
        below = 0.5 * self.deadband_rh + fall * lag_h
        run = np.maximum(rise * self.min_on_min / MIN_PER_H - (above + below), 0.0)
        rest = np.maximum(fall * self.min_off_min / MIN_PER_H - (above + below), 0.0)
        above, below = (
            above + np.where(run >= rest, run, 0.0),
            below + np.where(rest > run, rest, 0.0),
        )
        amplitude = np.maximum(above + below, 1e-9)
        return Swing(
            offset_rh=np.where(swings, 0.5 * (above - below), 0.0),
            starts_per_h=np.where(swings, 1.0 / (amplitude / rise + amplitude / fall), 0.0),
        )


IDEAL = Control()


def shifted(rh_set: FloatArray, by: FloatArray | float) -> FloatArray:
    """Return a set-point shifted within 0 and 1; what is off stays off."""
    return np.where(rh_set > 0.0, np.clip(rh_set + by, 0.0, 1.0), 0.0)
