"""Feed water: from the mains, or at a given temperature."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from pydantic import Field

from dewmargin.contracts import FeedWater
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs
from dewmargin.mains import mains_temperature, months_present

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase

_HOT_ABOVE_MAINS_K = 0.5  # a feed counts as hot only when it is clearly warmer than the mains
_MONTHS = 12


class Supply(Inputs):
    """Feed water from the mains, or at `temperature_c` if that is given."""

    name: str
    source: Literal["mains"] = Field(
        default="mains", description="where the water comes from, before it is heated"
    )
    temperature_c: float | None = Field(
        default=None, ge=1, le=95, description="temperature at the equipment; default: the mains'"
    )

    def feed_water(self, case: HourlyCase) -> FeedWater:
        """Return the feed water of each step.

        Raises
        ------
        InputError
            If the mains temperature is asked for and the weather lacks months.
        """
        mains_c = mains_temperature(case.t_out_c, case.interval_start, case.latitude_deg)
        if self.temperature_c is not None:
            t_feed_c = np.full(case.n_steps, self.temperature_c)
            return FeedWater(
                name=self.name, t_feed_c=t_feed_c, hot=t_feed_c > mains_c + _HOT_ABOVE_MAINS_K
            )
        months = months_present(case.interval_start)
        if months < _MONTHS:
            raise InputError(
                f"the mains temperature follows from all 12 months, the weather has {months}",
                where=f"supplies[{self.name!r}].source",
                hint="give temperature_c",
            )
        return FeedWater(name=self.name, t_feed_c=mains_c, hot=np.zeros(case.n_steps, np.bool_))
