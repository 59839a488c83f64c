"""Condensation inside one wall or roof, screened month by month.

Vapour diffuses from the room outwards through layers in series. Where it would exceed saturation it
condenses, on as many planes as the steady state has; later months dry what earlier ones left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Self

import numpy as np
from pydantic import Field, model_validator

from dewmargin.core.containers import any_container
from dewmargin.inputs import Inputs
from dewmargin.physics import air

if TYPE_CHECKING:
    from dewmargin.columns import BoolArray, FloatArray

DIFFUSION_KG_M_S_PA = 2e-10  # of vapour in still air; ISO 13788 (from memory)
FINEST_M2_K_W = 0.25  # a layer of more is divided; ISO 13788 (from memory)
RUNOFF_G_M2 = 200.0  # on a plane that does not absorb; ISO 13788 (from memory)
DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
DAY_S = 86_400.0

_Some = Annotated[float, Field(gt=0.0, le=1e4)]


class WallLayer(Inputs):
    """A layer of a wall; heat and vapour by thickness and material, or each as a whole."""

    name: str = Field(min_length=1, max_length=80, description="what results call it")
    thickness_mm: Annotated[float, Field(gt=0.0, le=5000.0)] | None = Field(
        None, description="Thickness; needed with conductivity or vapour_resistance_factor"
    )
    conductivity_w_m_k: Annotated[float, Field(gt=0.0, le=500.0)] | None = Field(
        None, description="Thermal conductivity"
    )
    resistance_m2_k_w: Annotated[float, Field(ge=0.0, le=100.0)] | None = Field(
        None, description="Thermal resistance, as of an air gap or a membrane (0)"
    )
    vapour_resistance_factor: Annotated[float, Field(ge=1.0, le=1e6)] | None = Field(
        None,
        description="Resistance to vapour over that of still air as thick, dry: mineral wool 1, "
        "gypsum board 10, fired brick 16, spruce and oriented strand board 50 (ISO 10456, from "
        "memory; makers declare 150 to 300 for such board). Outside the insulation more is the "
        "cautious choice, on the room's side less",
    )
    vapour_resistance_factor_wet: Annotated[float, Field(ge=1.0, le=1e6)] | None = Field(
        None,
        description="That of the damp material, which is less: gypsum board 4, fired brick 10, "
        "spruce 20, oriented strand board 30 (ISO 10456, from memory). It counts on the room's "
        "side, up to the layer of most thermal resistance: cautious on both sides; default: as dry",
    )
    sd_m: _Some | None = Field(
        None,
        description="Thickness of still air of the same resistance to vapour, as membranes are "
        "declared: vapour retarders 2 to 100, an air gap 0.01",
    )

    @model_validator(mode="after")
    def _told_once(self) -> Self:
        """Refuse a layer whose resistances are told twice or not at all."""
        for whole, of_material in (
            ("resistance_m2_k_w", "conductivity_w_m_k"),
            ("sd_m", "vapour_resistance_factor"),
        ):
            given = [k for k in (whole, of_material) if getattr(self, k) is not None]
            if len(given) != 1:
                got = " and ".join(given) or "none"
                raise ValueError(f"needs either {whole} or {of_material}, got {got}")
            if given == [of_material] and self.thickness_mm is None:
                raise ValueError(f"{of_material} needs thickness_mm")
        wet, dry = self.vapour_resistance_factor_wet, self.vapour_resistance_factor
        if wet is not None and dry is None:
            raise ValueError("vapour_resistance_factor_wet needs vapour_resistance_factor")
        if wet is not None and dry is not None and wet > dry:
            raise ValueError(
                f"vapour_resistance_factor_wet must be at most the dry {dry:g}, got {wet:g}"
            )
        return self

    @property
    def resistance(self) -> float:
        """Thermal resistance. [m2 K/W]."""
        if self.resistance_m2_k_w is not None:
            return self.resistance_m2_k_w
        assert self.thickness_mm is not None  # noqa: S101 - the validator saw to it
        assert self.conductivity_w_m_k is not None  # noqa: S101 - idem
        return 1e-3 * self.thickness_mm / self.conductivity_w_m_k

    @property
    def sd(self) -> float:
        """Thickness of still air of the same resistance to vapour, of the dry material. [m]."""
        return self._sd(self.vapour_resistance_factor)

    @property
    def sd_damp(self) -> float:
        """The same of the damp material, where it is told. [m]."""
        damp = self.vapour_resistance_factor_wet
        return self.sd if damp is None else self._sd(damp)

    def _sd(self, factor: float | None) -> float:
        if self.sd_m is not None:
            return self.sd_m
        assert self.thickness_mm is not None  # noqa: S101 - the validator saw to it
        assert factor is not None  # noqa: S101 - idem
        return 1e-3 * self.thickness_mm * factor


class Assembly(Inputs):
    """A wall or roof to be screened: layers from the room outwards, up to a ventilated gap."""

    name: str = Field(min_length=1, max_length=80, description="what results call it")
    layers: tuple[WallLayer, ...] = Field(
        min_length=1, max_length=30, description="From the room outwards"
    )
    inside_m2_k_w: Annotated[float, Field(ge=0.01, le=1.0)] = Field(
        0.13, description="Resistance of the room's film; ISO 6946, heat flowing sideways"
    )
    outside_m2_k_w: Annotated[float, Field(ge=0.01, le=1.0)] = Field(
        0.04, description="Resistance of the outdoor film; ISO 6946, 0.13 behind a ventilated gap"
    )

    def planes(self) -> Planes:
        """Return the planes between its layers, and those within thick ones."""
        names, resistance, sd = ["room side"], [self.inside_m2_k_w], [0.0]
        insulation = int(np.argmax([layer.resistance for layer in self.layers]))
        for i, layer in enumerate(self.layers):
            parts = max(1, math.ceil(layer.resistance / FINEST_M2_K_W - 1e-9))
            resistance += [layer.resistance / parts] * parts
            # Less within lets more vapour in, more outside keeps it in: cautious on both sides.
            sd += [(layer.sd_damp if i <= insulation else layer.sd) / parts] * parts
            last = i == len(self.layers) - 1
            edge = "outdoor side" if last else f"{layer.name} | {self.layers[i + 1].name}"
            names += [f"within {layer.name}"] * (parts - 1) + [edge]
        through = np.cumsum(resistance)
        return Planes(
            names=tuple(names),
            share=through / (through[-1] + self.outside_m2_k_w),
            sd_m=np.cumsum(sd),
            # The outermost layer's inner side is the coldest that air leaking out gets to.
            reached=len(names) - 1 - parts,
            u_factor_w_m2_k=1.0 / (through[-1] + self.outside_m2_k_w),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Planes:
    """Planes of a wall, the room's side first; arrays have the shape (n_planes,).

    Attributes
    ----------
    names : tuple of str
    share : float64 array
        Share of the wall's thermal resistance between room air and plane. [-]
    sd_m : float64 array
        Still air of the same resistance to vapour between the room's side and the plane. [m]
    reached : int
        The plane that air leaking out meets last: the inner side of the outermost layer.
    u_factor_w_m2_k : float
        Of the wall. [W/(m2 K)]
    """

    names: tuple[str, ...]
    share: FloatArray
    sd_m: FloatArray
    reached: int
    u_factor_w_m2_k: float

    @any_container
    def temperatures(self, t_room_c: FloatArray, t_out_c: FloatArray) -> FloatArray:
        """Return temperature of each plane in steady state, (n_planes, n) [°C]."""
        result: FloatArray = t_room_c - self.share[:, None] * (t_room_c - t_out_c)
        return result


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallYear:
    """A year of a wall, by month from January; arrays have the shape (n_planes, 12).

    Attributes
    ----------
    planes : Planes
    condensed_g_m2, dried_g_m2 : float64 array
        Water that condensed and dried on each plane. [g/m2]
    held_g_m2 : float64 array
        Water on each plane at the month's end. [g/m2]
    stays_wet : bool
        Whatever month it begins dry in, water is left a year later.
    leak_condensation_h : float
        Hours in which room air, leaking out, would be below its dew point at the plane it reaches.
    """

    planes: Planes
    condensed_g_m2: FloatArray
    dried_g_m2: FloatArray
    held_g_m2: FloatArray
    stays_wet: bool
    leak_condensation_h: float

    @property
    def wettest(self) -> int | None:
        """The plane that holds most at any month's end; None if all stay dry."""
        most = self.held_g_m2.max(axis=1)
        return int(np.argmax(most)) if most.max() > 0.0 else None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Months:
    """Means of the twelve months from January, shape (12,): air in °C, vapour pressure in Pa."""

    t_room_c: FloatArray
    t_out_c: FloatArray
    p_room_pa: FloatArray
    p_out_pa: FloatArray


def screen(assembly: Assembly, months: Months, *, leak_condensation_h: float) -> WallYear:
    r"""Return water inside a wall through a year of months, followed plane by plane [kg/m2].

    .. math:: g = \delta_0\,\Delta p / \Delta s_d, \quad \delta_0 = 2\cdot10^{-10}\,kg/(m\,s\,Pa)

    Between planes held at saturation, the vapour pressure over s_d is the highest line without
    outward bends that stays below saturation: the lower convex hull. Planes that hold water stay
    at saturation. A plane that dries divides its month.

    Parameters
    ----------
    assembly : Assembly
    months : Months
    leak_condensation_h : float
        See `leak_condensation`; it is handed on. [h]

    Returns
    -------
    WallYear

    Notes
    -----
    *Validity.* Diffusion in steady state. Left out: air that leaks through, which carries far more
    than diffusion; rain, ground water and moisture of construction; water that wicks or is stored;
    sun. Materials keep their properties when wet. It is a screening, no proof that a wall is sound.

    *Source.* ISO 13788:2012 clause 6, interstitial condensation (Glaser's method, from memory);
    saturation over ice below 0 °C.
    """
    planes = assembly.planes()
    p_sat = air.saturation_pressure(planes.temperatures(months.t_room_c, months.t_out_c))
    n = len(planes.names)

    def month(m: int, held: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        ends = (min(months.p_room_pa[m], p_sat[0, m]), min(months.p_out_pa[m], p_sat[-1, m]))
        return _one_month(planes.sd_m, p_sat[:, m], ends, held, float(DAYS[m]) * DAY_S)

    dry, stays_wet = np.zeros(n), False
    begins = [bool(month(m, dry)[2].any()) for m in range(12)]
    condensed, dried, held = (np.zeros((n, 12)) for _ in range(3))
    # A year begins dry, with a month that condenses; of several, the one before which all is dry.
    firsts = [m for m in range(12) if begins[m] and not begins[m - 1]] or [0]
    for first in firsts if any(begins) else ():
        water = dry
        for m in (*range(first, 12), *range(first)):
            grown, lost, water = month(m, water)
            condensed[:, m], dried[:, m], held[:, m] = 1e3 * grown, 1e3 * lost, 1e3 * water
        stays_wet = bool(water.any())
        if not stays_wet:
            break
    return WallYear(
        planes=planes,
        condensed_g_m2=condensed,
        dried_g_m2=dried,
        held_g_m2=held,
        stays_wet=stays_wet,
        leak_condensation_h=leak_condensation_h,
    )


def _one_month(
    sd_m: FloatArray,
    p_sat_pa: FloatArray,
    ends_pa: tuple[float, float],
    held: FloatArray,
    seconds: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what condenses and dries on each plane in a month, and what it then holds. [kg/m2]."""
    grown, lost, left = np.zeros_like(held), np.zeros_like(held), seconds
    # Each turn ends the month or dries a plane, and a plane that dried is not wetted again.
    while left > 0.0:
        rate = _rates(sd_m, p_sat_pa, ends_pa, held > 0.0)
        drying = rate < 0.0
        until = np.full_like(held, np.inf)
        until[drying] = held[drying] / -rate[drying]
        span = min(left, float(until.min()))
        change = np.where(drying & (until <= span), -held, rate * span)
        held = held + change
        grown, lost = grown + np.maximum(change, 0.0), lost - np.minimum(change, 0.0)
        left -= span
    return grown, lost, held


def _rates(
    sd_m: FloatArray, p_sat_pa: FloatArray, ends_pa: tuple[float, float], wet: BoolArray
) -> FloatArray:
    """Return the rate at which each plane takes water, below 0 for drying. [kg/(m2 s)]."""
    p = p_sat_pa.copy()
    p[0], p[-1] = ends_pa
    fixed = wet.copy()
    fixed[[0, -1]] = True
    at = np.flatnonzero(fixed)
    corners = {0}
    for a, b in pairwise(at.tolist()):
        corners |= set(_lower_hull(sd_m, p, a, b))
    kept = np.array(sorted(corners))
    flow = DIFFUSION_KG_M_S_PA * -np.diff(p[kept]) / np.diff(sd_m[kept])
    rate = np.zeros_like(p)
    rate[kept[1:-1]] = flow[:-1] - flow[1:]
    return rate


def _lower_hull(x: FloatArray, y: FloatArray, a: int, b: int) -> list[int]:
    """Return the points from a to b that the lower convex hull bends at, both ends included."""
    hull: list[int] = []
    for k in range(a, b + 1):
        while len(hull) > 1:
            i, j = hull[-2], hull[-1]
            if (y[j] - y[i]) * (x[k] - x[i]) < (y[k] - y[i]) * (x[j] - x[i]):
                break
            hull.pop()
        hull.append(k)
    return hull


@any_container
def leak_condensation(
    assembly: Assembly, *, t_room_c: FloatArray, t_out_c: FloatArray, p_room_pa: FloatArray
) -> float:
    """Return hours in which leaking room air would condense at the plane that it reaches [h].

    Parameters
    ----------
    assembly : Assembly
    t_room_c, t_out_c : float64 array, shape (n_hours,)
        Room and outdoor air. [°C]
    p_room_pa : float64 array, shape (n_hours,)
        Vapour pressure of the room. [Pa]

    Notes
    -----
    *Validity.* Steady temperature, which leaking air would raise; says whether, not how much.
    """
    planes = assembly.planes()
    t_c = t_room_c - planes.share[planes.reached] * (t_room_c - t_out_c)
    return float(np.count_nonzero(p_room_pa > air.saturation_pressure(t_c)))
