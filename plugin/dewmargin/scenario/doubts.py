"""Doubts: inputs that are not known for sure, and how each is spread."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from dewmargin.inputs import Inputs

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

Finite = Annotated[float, Field(allow_inf_nan=False)]
Distribution = Literal["uniform", "triangular", "normal", "lognormal", "choice"]

_NEEDS: dict[str, tuple[str, ...]] = {
    "uniform": ("low", "high"),
    "triangular": ("low", "mode", "high"),
    "normal": ("mean", "sd"),
    "lognormal": ("median", "sd_log"),
    "choice": ("values",),
}
_SPREAD = ("low", "mode", "high", "mean", "sd", "median", "sd_log", "values")
FARTHEST = 1e-6  # of a draw from certainty: a normal distribution has no ends
FARTHEST_SD = (-4.753424308822899, 4.753424308817087)  # normal quantiles of it and of 1 less it


class Doubt(Inputs):
    """An input that is not known for sure."""

    input: str = Field(
        min_length=1,
        description="key of the scenario as check names it, such as "
        "space.house.leakage_m3_h_at_50pa; in a list by place or name, as in equipment[0].count or "
        "equipment.bypass pad.count; [*] stands for all that have the key, drawn together",
    )
    acts: Literal["value", "factor", "offset"] = Field(
        "value",
        description="the draw takes the place of what the scenario says, multiplies it, or is "
        "added to it; default: takes its place",
    )
    distribution: Distribution = Field(description="how it is spread")
    low: Finite | None = Field(None, description="least; of uniform and triangular")
    mode: Finite | None = Field(None, description="most likely; of triangular")
    high: Finite | None = Field(None, description="most; of uniform and triangular")
    mean: Finite | None = Field(None, description="mean; of normal")
    sd: Annotated[float, Field(ge=0.0)] | None = Field(
        None, description="standard deviation; of normal"
    )
    median: Annotated[float, Field(gt=0.0)] | None = Field(None, description="median; of lognormal")
    sd_log: Annotated[float, Field(ge=0.0)] | None = Field(
        None, description="standard deviation of the natural logarithm; of lognormal"
    )
    values: tuple[bool | int | float | str, ...] | None = Field(
        None,
        min_length=1,
        description="equally likely values: numbers, texts, file names; of choice",
    )
    source: str = Field("", description="where the spread comes from, as it shall stand in reports")

    @model_validator(mode="after")
    def _is_told_once(self) -> Self:
        """Refuse a distribution with a number missing, or one that would be ignored."""
        needs = _NEEDS[self.distribution]
        given = [name for name in _SPREAD if getattr(self, name) is not None]
        for name in needs:
            if name not in given:
                raise ValueError(f"{self.distribution} needs {', '.join(needs)}")
        for name in given:
            if name not in needs:
                raise ValueError(
                    f"{name} is not of {self.distribution}, which has {', '.join(needs)}"
                )
        ends = [getattr(self, name) for name in needs if name in ("low", "mode", "high")]
        if ends != sorted(ends):
            raise ValueError(f"{', '.join(needs)} must not fall, got {ends}")
        if self.distribution == "choice" and self.acts != "value":
            raise ValueError("a choice takes the place of the value: leave acts out")
        return self

    def drawn(self, u: FloatArray) -> list[Any]:
        """Return the values at these shares of all draws, between 0 and 1.

        *Source.* Inverse transform sampling; the normal quantile is scipy's.
        """
        if self.distribution != "choice":
            u = np.clip(u, FARTHEST, 1.0 - FARTHEST)
        if self.distribution not in ("normal", "lognormal"):
            return self._at(u, u)
        from scipy import special  # noqa: PLC0415 - slow to import

        return self._at(u, special.ndtri(u))

    def ends(self) -> list[Any]:
        """Return the least and the greatest draw: `drawn` of 0 and 1, without scipy."""
        return self._at(np.array([FARTHEST, 1.0 - FARTHEST]), np.array(FARTHEST_SD))

    def _at(self, u: FloatArray, z: FloatArray) -> list[Any]:
        """Return the values at these shares of all draws, of which `z` are the normal quantiles."""
        if self.values is not None:
            place = np.minimum((u * len(self.values)).astype(int), len(self.values) - 1)
            return [self.values[i] for i in place]
        if self.distribution == "normal":
            x = (self.mean or 0.0) + (self.sd or 0.0) * z
        elif self.distribution == "lognormal":
            x = (self.median or 0.0) * np.exp((self.sd_log or 0.0) * z)
        else:
            low, high = self.low or 0.0, self.high or 0.0
            wide = high - low
            if self.mode is None or wide == 0.0:
                x = low + wide * u
            else:
                c = (self.mode - low) / wide
                rising = np.sqrt(c * u)
                x = low + wide * np.where(u < c, rising, 1.0 - np.sqrt((1.0 - c) * (1.0 - u)))
        found: list[float] = np.asarray(x, dtype=np.float64).tolist()
        return found
