"""A trickle-fed pad in the ducts, through which supply air passes back to the return."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from pydantic import Field

from dewmargin import pad
from dewmargin.contracts import Capability, Mode
from dewmargin.equipment.line import line, room_nodes
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray, FloatArray
    from dewmargin.contracts import FeedWater


class WettedPad(Inputs):
    """Let supply air evaporate the feed, and drain what does not evaporate.

    Notes
    -----
    With heat the pad sees the air of the supply plenum, warm, with the room's humidity ratio; on a
    call for humidity the blower also runs without heat, and the pad sees the room's own air.
    The pad is solved at two humidities of the room in each step, without a humidifier and at the
    set-point, and its rate is the straight line through them. Between 10 and 40 % at 18 to 22 °C
    that errs by at most 0.5 % of the rated rate, upward (tested); the error grows with the square
    of the span. Where the pad runs dry at one end and not at the other the line cuts a corner and
    stays below the pad, by up to 8 % of the rated rate: feed that small is poor practice anyway.

    Left out: that the plenum becomes moister and a little warmer by the pad's own bypass, which
    nearly cancel, at most 6 % of the rate in six cases computed for this project; and that the
    heat of evaporation makes the plant run a little longer, which would help the pad.
    """

    name: str
    kind: Literal["wetted_pad"] = "wetted_pad"
    airflow_kg_s: float = Field(gt=0, description="dry air through the pad while the blower runs")
    effectiveness: float = Field(
        gt=0, le=1, description="share of the way to saturation that the air goes in the wet pad"
    )
    feed_kg_h: float = Field(gt=0, description="water fed while it runs")
    contact_frac: float = Field(
        default=1.0,
        ge=0,
        le=1,
        description="share of the feed that wets the pad; an upper bound, no field data known",
    )
    call: Literal["heating", "humidity"] = Field(
        default="heating",
        description="heating: with the heat only; humidity: the blower may be run for it",
    )

    def capability(
        self,
        case: HourlyCase,
        feed: FeedWater,
        *,
        w_base_kg_kg: FloatArray,
        w_set_kg_kg: FloatArray,
    ) -> Capability:
        """Return the pad with heat and, on a call for humidity, with the blower alone.

        Steps in which a mode has no time, or nothing is to be held, are not computed: rate 0.

        Raises
        ------
        InputError
            If the building has no air system, or its blower moves less than the pad's air.
        """
        system = case.air_system
        if system is None:
            raise InputError(
                "a wetted pad needs an air system, and this space has none",
                where=f"equipment[{self.name!r}].kind",
                hint="give the space ducts: heating in [space.house] or [space.simulation]",
            )
        if self.airflow_kg_s > system.airflow_kg_s:
            raise InputError(
                f"{self.airflow_kg_s:g} kg/s is more than the blower moves, "
                f"{system.airflow_kg_s:.3g} kg/s",
                where=f"equipment[{self.name!r}].airflow_kg_s",
                hint="it is the air through the pad",
            )
        w_room = room_nodes(w_base_kg_kg, w_set_kg_kg)
        wanted = w_set_kg_kg >= 0.0
        with_heat = wanted & (system.heat_frac > 0.0)
        without = wanted & (system.heat_frac < 1.0)
        return Capability(
            heat_frac=system.heat_frac,
            heat=self._mode(case, feed, system.t_supply_c, w_room, with_heat),
            added=self._mode(case, feed, case.t_air_c, w_room, without)
            if self.call == "humidity"
            else None,
        )

    def _mode(
        self,
        case: HourlyCase,
        feed: FeedWater,
        t_in_c: FloatArray,
        w_room: FloatArray,
        chosen: BoolArray,
    ) -> Mode:
        """Return the line through the rates at the two humidities; 0 in steps not chosen."""
        steps = np.flatnonzero(chosen)
        w = w_room[:, steps]
        state = pad.evaporate(
            airflow_kg_s=self.airflow_kg_s,
            t_in_c=t_in_c[steps],
            w_in_kg_kg=w,
            p_pa=case.p_pa[steps],
            feed_kg_s=self.feed_kg_h / 3600.0,
            t_feed_c=feed.t_feed_c[steps],
            effectiveness=self.effectiveness,
            contact_frac=self.contact_frac,
        )
        rate = np.zeros_like(w_room)
        rate[:, steps] = np.maximum(state.evaporation_kg_s, 0.0)
        return line(w_room, rate, feed_kg_s=self.feed_kg_h / 3600.0)
