"""A strategy, an equipment and a report, each as small as it can be."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, Literal

import numpy as np
from pydantic import Field

from dewmargin.contracts import Capability, Mode, Reading, SiteAnswer, Use
from dewmargin.inputs import Inputs
from dewmargin.physics import air

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray, Table
    from dewmargin.contracts import FeedWater, Words, Work


class QuietNights(Inputs):
    """Hold one relative humidity by day and another from 22 to 6 h."""

    name: str
    rule: Literal["quiet_nights"] = "quiet_nights"
    day_rh: float = Field(ge=0, le=1, description="relative humidity by day, a fraction")
    night_rh: float = Field(ge=0, le=1, description="relative humidity at night, a fraction")

    horizon_h: ClassVar[float] = 0.0

    def setpoint(self, case: HourlyCase) -> FloatArray:
        """Return relative humidity as a fraction, shape ``(case.n_steps,)``."""
        hour = case.interval_start.astype("datetime64[h]").astype(np.int64) % 24
        return np.where((hour >= 22) | (hour < 6), self.night_rh, self.day_rh)


class OpenPans(Inputs):
    """Pans of water on the radiators: the drier the air, the faster they evaporate."""

    name: str
    kind: Literal["open_pans"] = "open_pans"
    area_m2: float = Field(gt=0, le=100, description="water surface of all pans")
    water_c: float = Field(default=35.0, ge=0, le=60, description="their water; invented")
    transfer_kg_m2_s: float = Field(
        default=0.007, gt=0, le=1, description="25 kg/(m2 h) over still water; value from memory"
    )

    def capability(
        self,
        case: HourlyCase,
        feed: FeedWater,
        *,
        w_base_kg_kg: FloatArray,
        w_set_kg_kg: FloatArray,
        demand_kg_s: FloatArray | None,
    ) -> Capability:
        """Return a rate that is proportional to what the air lacks of saturation at the water."""
        w_water = air.saturated_humidity_ratio(np.full(case.n_steps, self.water_c), case.p_pa)
        flow_kg_s = self.transfer_kg_m2_s * self.area_m2
        pans = Mode(
            r0_kg_s=flow_kg_s * w_water,
            r1_kg_s=np.full(case.n_steps, flow_kg_s),
            feed=Use(per_kg=1.0),  # nothing drains
            brought=Use(per_kg=air.CP_WATER * feed.t_cold_c),
            feed_heat=Use(),
            fan=Use(),
            electricity=Use(),
        )
        return Capability(heat_frac=np.ones(case.n_steps), heat=pans)

    def on_site(self, work: Work | None, words: Words) -> SiteAnswer:
        """Return what the sheet for the site says of pans, beside what it says of any device."""
        readings = () if work is None else (self._water(words), self._weighed(work, words))
        return SiteAnswer(
            placed="level, on the radiators",
            water=("Water: softened water leaves less scale in the pans.",),
            fit=("A float valve at each pan, and an overflow into the one below.",),
            readings=readings,
            symptoms=(("a pan dry", "float valve stuck", "free it, fill the pan by hand"),),
            cautions=("Warm water that stands breeds germs: empty and wipe the pans each week.",),
        )

    def _water(self, words: Words) -> Reading:
        return Reading(
            key="t_pan_c",
            what="water in a pan",
            how="probe in the middle, after an hour of heating",
            value=self.water_c,
            off=5.0,
            text=words.both(self.water_c),
            tolerance=f"±{words.apart(5.0)}",
        )

    def _weighed(self, work: Work, words: Words) -> Reading:
        return Reading(
            key="feed_kg_h",  # in the place of the usual reading by a meter
            what="what the pans lose",
            how="mark the level, refill to it after an hour",
            value=work.evaporation_kg_h,
            off=0.3 * work.evaporation_kg_h,
            text=f"{words.volume(work.evaporation_kg_h)} an hour",
            tolerance="±30 %",
        )


class VerdictNote(Inputs):
    """The verdict, and what each option delivers, as a text to be mailed."""

    kind: Literal["verdict_note"] = "verdict_note"

    def files(self, tables: Mapping[str, Table], about: Mapping[str, Any]) -> Mapping[str, bytes]:
        """Return one text."""
        options = tables["comparison"].data
        lines = [about["title"], about["verdict"]] + [
            f"{name}: {given or 0.0:.0f} kg"
            for name, given in zip(options["option"], options["delivered_kg"], strict=True)
        ]
        return {"verdict_note.txt": "\n".join([*lines, ""]).encode("utf-8")}
