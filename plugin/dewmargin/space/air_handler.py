"""Air handler: coil and fan of an air loop, as a run reports them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.energyplus.output_file import Quantity
from dewmargin.errors import InputError

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray
    from dewmargin.energyplus.output_file import Picker, Series, Values
    from dewmargin.space.plant import HeatingPlant

COIL_HEATING = Quantity({"Heating Coil Heating Rate": "W", "Heating Coil Heating Energy": "J"})
_COIL_RUNTIME = Quantity({"Heating Coil Runtime Fraction": ""})
FAN_FLOW = Quantity({"Fan Air Mass Flow Rate": "kg/s"})
_FAN_RUNTIME = Quantity({"Fan Runtime Fraction": ""})


@dataclass(frozen=True, slots=True)
class AirHandler:
    """Series of the coil and the fan of a simulated plant; runtimes are not always reported."""

    coil: Series
    coil_runtime: Series | None
    fan: Series
    fan_runtime: Series | None

    @classmethod
    def of(cls, pick: Picker, plant: HeatingPlant | None) -> AirHandler | None:
        """Choose them: those that a simulated plant names, or the only ones there are.

        Raises
        ------
        InputError
            If there are several and none is named, or none of the name.
        """
        if plant is None or plant.kind != "simulated":
            return None

        def chosen(quantity: Quantity, name: str | None, key: str) -> Series:
            found = pick.every(quantity)
            if name is not None:
                found = [each for each in found if each.key.casefold() == name.casefold()]
            if len(found) != 1:
                there = ", ".join(each.key for each in pick.every(quantity))
                what = f"no {key} {name!r}" if name is not None else f"several, {there}"
                raise InputError(
                    f"reports {what}",
                    file=pick.run.path,
                    where=f"heating.{key}",
                    hint=f"name one of: {there}",
                )
            return found[0]

        coil_series, fan_series = (
            chosen(COIL_HEATING, plant.coil, "coil"),
            chosen(FAN_FLOW, plant.fan, "fan"),
        )
        return cls(
            coil=coil_series,
            coil_runtime=pick.maybe(_COIL_RUNTIME, coil_series.key),
            fan=fan_series,
            fan_runtime=pick.maybe(_FAN_RUNTIME, fan_series.key),
        )

    def read(self, values: Values) -> dict[str, FloatArray]:
        """Return heat and air; what has no runtime of its own runs while it moves or heats."""
        coil_w, fan_kg_s = values[self.coil], values[self.fan]
        fan_frac = (fan_kg_s > 0.0).astype(np.float64)
        if self.fan_runtime is not None:
            fan_frac = values[self.fan_runtime]
        coil_frac = np.where(coil_w > 0.0, fan_frac, 0.0)
        if self.coil_runtime is not None:
            coil_frac = values[self.coil_runtime]
        return {
            "coil_w": coil_w,
            "coil_frac": coil_frac,
            "fan_kg_s": fan_kg_s,
            "fan_frac": fan_frac,
        }
