"""A limit on a year number: what must not be exceeded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.errors import InputError
from dewmargin.solve import year_of_many

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A year number that must not be exceeded."""

    name: str
    most: float

    @classmethod
    def parse(cls, text: str, *, known: Sequence[str] = year_of_many.METRICS) -> Limit:
        """Read NAME=NUMBER, the name of one of `known`.

        Raises
        ------
        InputError
            If it is not that, or nothing of that name is counted.
        """
        name, sign, number = text.partition("=")
        try:
            most = float(number)
        except ValueError:
            most = np.nan
        if not sign or not np.isfinite(most):
            raise InputError(
                f"cannot be read: {text[:60]!r}", where="limit", hint="such as condensation_h=20"
            )
        if name not in known:
            raise InputError(
                f"{name[:60]!r} is not counted",
                where="limit",
                hint=f"one of: {', '.join(known)}",
            )
        return cls(name=name, most=most)

    def kept(self, numbers: Mapping[str, float | None]) -> bool:
        """Tell whether it is kept; what is not known is not."""
        value = numbers[self.name]
        return value is not None and value <= self.most
