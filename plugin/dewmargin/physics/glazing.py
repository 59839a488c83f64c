r"""Glass temperature inside: panes and gaps as layers, between a room and the weather.

A pane conducts and radiates from both faces; a gap convects and radiates between two panes; the
room convects and radiates to the inner face, and the outer face to the air, the sky and the ground.
The temperatures of all panes and steps are found together, in turns: the conductances of the last
turn's temperatures, then the temperatures along that chain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from dewmargin.core.checks import require_between
from dewmargin.core.containers import any_container
from dewmargin.errors import OutOfRangeError
from dewmargin.physics.air import STANDARD_PRESSURE
from dewmargin.physics.surfaces import EMISSIVITY, STEFAN_BOLTZMANN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.columns import FloatArray

GLASS_W_M_K = 1.0  # conductivity of glass; ISO 10077-1 and EN 673
GRAVITY_M_S2 = 9.81
HEIGHT_M = 1.0  # of the pane, where it is not told: that of published U-values
DESIGN_FILM_W_M2_K = 26.0  # outside convection of NFRC winter conditions (5.5 m/s), from memory
_TURNS = 60  # of convection and balance; ten to twenty are enough
_SETTLED_K = 1e-6

MOST_EDGE_W_M2_K = 3.3  # centre of the least insulating sealed units
LEAST_DOUBLE_W_M2_K = 1.0  # of less, a unit has three panes
# Room's film of published U-values (NFRC practice, from memory), and that of the indices of parts.
PUBLISHED_INSIDE_M2_K_W = 0.137
INSIDE_M2_K_W = 0.13  # ISO 6946, and ISO 13788 for windows (from memory)

Kind = Literal[
    "single",
    "double_clear",
    "double_low_e_air",
    "double_low_e_argon",
    "triple_clear",
    "triple_low_e_argon",
]
FrameKind = Literal["metal", "metal_thermal_break", "pvc", "wood", "insulated"]
Part = Literal["edge", "sightline"]
Spacer = Literal["metal", "stainless", "plastic"]
SPACERS: tuple[Spacer, ...] = get_args(Spacer)


@dataclass(frozen=True, slots=True)
class WindowClass:
    """Temperature indices of a kind of glazing: engineering defaults, a test is better.

    `centre` of glass is that of the published U-values by `solve`, rounded. `edge`, a band of
    63.5 mm all round, and bottom `sightline`, the coldest, are for each of `SPACERS` those of a
    two-dimensional section (tests/references/edge_of_glass.py), rounded to the cold side: films of
    ISO 10077-2, the colder of two wooden frames, and gas that flows at the sightline.
    """

    panes: int
    centre: float
    edge: tuple[float, float, float]
    sightline: tuple[float, float, float]

    @property
    def u_factor_w_m2_k(self) -> float:
        """Published U-factor that the centre's index stands for. [W/(m2 K)]."""
        return (1.0 - self.centre) / PUBLISHED_INSIDE_M2_K_W

    def part(self, part: Part, spacer: Spacer) -> float:
        """Return temperature index of the edge or the sightline [-]."""
        indices = self.edge if part == "edge" else self.sightline
        return indices[SPACERS.index(spacer)]


@dataclass(frozen=True, slots=True)
class FrameClass:
    """A kind of frame: U-factor [W/(m2 K)] and temperature index [-], engineering defaults.

    The U-factor is the middle of the range of ISO 10077-1 (from memory). The index is of the
    coldest of the frame's face, at its rim beside the glass, with a metal spacer: the least of the
    same section for all kinds of glazing, rounded to the cold side.
    """

    u_factor_w_m2_k: float
    index: float


GLAZING: dict[Kind, WindowClass] = {
    "single": WindowClass(1, 0.22, (0.22, 0.22, 0.22), (0.20, 0.20, 0.20)),
    # Its edge with a metal spacer is the handbook's, 0.55; the section gives 0.57.
    "double_clear": WindowClass(2, 0.62, (0.55, 0.57, 0.59), (0.39, 0.42, 0.46)),
    "double_low_e_air": WindowClass(2, 0.75, (0.65, 0.67, 0.69), (0.40, 0.43, 0.48)),
    "double_low_e_argon": WindowClass(2, 0.79, (0.68, 0.69, 0.72), (0.42, 0.46, 0.51)),
    "triple_clear": WindowClass(3, 0.75, (0.68, 0.70, 0.72), (0.47, 0.52, 0.58)),
    "triple_low_e_argon": WindowClass(3, 0.89, (0.77, 0.79, 0.82), (0.50, 0.56, 0.64)),
}
FRAMES: dict[FrameKind, FrameClass] = {
    "metal": FrameClass(5.9, 0.21),
    "metal_thermal_break": FrameClass(3.5, 0.53),
    "pvc": FrameClass(2.2, 0.67),
    "wood": FrameClass(1.8, 0.71),
    "insulated": FrameClass(1.0, 0.80),
}


def part_index(
    u_factor_w_m2_k: float, *, part: Part, spacer: Spacer, panes: int | None = None
) -> float:
    """Return temperature index of a part of a sealed unit, by the U-factor of its centre [-].

    Parameters
    ----------
    u_factor_w_m2_k : float
        Of the centre of glass in winter. [W/(m2 K)]
    part : str
        "edge" or "sightline".
    spacer : str
        One of `SPACERS`.
    panes : int, optional
        Default: two, but three of a unit below 1 W/(m2 K). More than three are taken as three.

    Returns
    -------
    float
        With a room's film of 0.13 m2 K/W. [-]

    Notes
    -----
    Straight lines between the kinds of `GLAZING` with as many panes and a single pane; beyond the
    best kind the line goes on that leads to it from the worst.

    *Validity.* Sealed units, 0.5 to 3.3 W/(m2 K).

    *Source.* `GLAZING`.

    Examples
    --------
    >>> round(part_index(2.0, part="edge", spacer="metal"), 3)
    0.632
    """
    if panes is None:
        panes = 2 if u_factor_w_m2_k >= LEAST_DOUBLE_W_M2_K else 3
    u, index = zip(
        *sorted(
            (kind.u_factor_w_m2_k, kind.part(part, spacer))
            for kind in GLAZING.values()
            if kind.panes in (1, min(panes, 3))
        ),
        strict=True,
    )
    slope = (index[0] - index[-2]) / (u[0] - u[-2])
    perfect = index[0] - slope * u[0]
    return float(np.interp(u_factor_w_m2_k, (0.0, *u), (perfect, *index)))


@dataclass(frozen=True, slots=True)
class Gas:
    """A gas at about 10 °C: value at 0 °C and its rise with °C. ISO 15099 annex B (from memory).

    `conductivity` [W/(m K)], `viscosity` [Pa s], `heat` capacity [J/(kg K)], `molar_kg` [kg/mol].
    """

    conductivity: tuple[float, float]
    viscosity: tuple[float, float]
    heat: tuple[float, float]
    molar_kg: float


GASES = {
    "air": Gas((2.873e-3 + 7.760e-5 * 273.15, 7.760e-5), (3.723e-6 + 4.940e-8 * 273.15, 4.940e-8),
               (1002.737 + 1.2324e-2 * 273.15, 1.2324e-2), 28.97e-3),
    "argon": Gas((2.285e-3 + 5.149e-5 * 273.15, 5.149e-5), (3.379e-6 + 6.451e-8 * 273.15, 6.451e-8),
                 (521.9285, 0.0), 39.948e-3),
    "krypton": Gas((9.443e-4 + 2.826e-5 * 273.15, 2.826e-5), (2.213e-6 + 7.777e-8 * 273.15,
                   7.777e-8), (248.0907, 0.0), 83.8e-3),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Pane:
    """A pane, from outdoors inwards: its thickness, and how its two faces radiate."""

    thickness_mm: float = 4.0
    outer_emissivity: float = EMISSIVITY
    inner_emissivity: float = EMISSIVITY

    def __post_init__(self) -> None:
        """Check thickness and emissivities."""
        require_between("Pane", "thickness_mm", self.thickness_mm, 1e-3, 1e3)
        for name in ("outer_emissivity", "inner_emissivity"):
            require_between("Pane", name, getattr(self, name), 0.0, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A gap between two panes: its width, its gas, and what of it is air all the same."""

    width_mm: float
    gas: str = "air"
    filled_frac: float = 1.0

    def __post_init__(self) -> None:
        """Check width, gas and filling."""
        require_between("Gap", "width_mm", self.width_mm, 1e-3, 1e3)
        require_between("Gap", "filled_frac", self.filled_frac, 0.0, 1.0)
        if self.gas not in GASES:
            raise OutOfRangeError(
                f"must be one of {', '.join(GASES)}, got {self.gas!r}", where="Gap: gas"
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GlassYear:
    """What a glazing does, step by step; arrays have the shape (n_steps,).

    Attributes
    ----------
    t_inside_c : float64 array
        Inner face of the innermost pane. [°C]
    u_factor_w_m2_k : float64 array
        Heat flow over the difference of room and outdoor air; NaN where they are equal. [W/(m2 K)]
    """

    t_inside_c: FloatArray
    u_factor_w_m2_k: FloatArray


@any_container
def sky_temperature(infrared_w_m2: FloatArray) -> FloatArray:
    """Return temperature of the sky that sends down this much infrared [°C].

    *Source.* EPW data dictionary, horizontal infrared radiation.

    Examples
    --------
    >>> sky_temperature(np.array([257.0])).round(2)
    array([-13.68])
    """
    return (infrared_w_m2 / STEFAN_BOLTZMANN) ** 0.25 - 273.15


@any_container
def clear_sky_infrared(t_out_c: FloatArray, t_dew_c: FloatArray) -> FloatArray:
    r"""Return infrared that a clear sky sends down [W/m2].

    .. math:: \varepsilon = 0.787 + 0.764\,\ln(T_{dew}/273\,K), \quad E = \varepsilon\sigma T^4

    *Validity.* Without clouds, which is the coldest sky there is.

    *Source.* EPW data dictionary, which prescribes it where the infrared is missing.

    Examples
    --------
    >>> clear_sky_infrared(np.array([19.85]), np.array([9.85])).round(1)
    array([340.3])
    """
    emissivity = 0.787 + 0.764 * np.log((t_dew_c + 273.15) / 273.0)
    return emissivity * STEFAN_BOLTZMANN * (t_out_c + 273.15) ** 4


@any_container
def outside_convection(wind_m_s: FloatArray, *, shelter_frac: float) -> FloatArray:
    """Return convection outside, 4 + 4 v, with a part of the station's wind [W/(m2 K)].

    *Validity.* v up to 5 m/s at the window; the station's wind at 10 m is more than that at a wall,
    by a share that is an engineering default.

    *Source.* ISO 6946 annex (from memory).
    """
    require_between("outside_convection", "shelter_frac", shelter_frac, 0.0, 1.0)
    return 4.0 + 4.0 * shelter_frac * wind_m_s


@any_container
def solve(
    panes: Sequence[Pane],
    gaps: Sequence[Gap],
    *,
    t_room_c: FloatArray,
    t_out_c: FloatArray,
    outside_film_w_m2_k: FloatArray | float = DESIGN_FILM_W_M2_K,
    t_sky_c: FloatArray | None = None,
    sky_frac: float = 0.5,
    height_m: float = HEIGHT_M,
    p_pa: FloatArray | float = STANDARD_PRESSURE,
) -> GlassYear:
    r"""Return temperature of a vertical glazing's inner face, and its U-factor [°C, W/(m2 K)].

    Parameters
    ----------
    panes : sequence of Pane
        From outdoors inwards.
    gaps : sequence of Gap
        One fewer.
    t_room_c, t_out_c : float64 array, shape (n_steps,)
        Room and outdoor air; room surfaces are as warm as its air. [°C]
    outside_film_w_m2_k : float64 array or float
        Convection at the outside, without radiation. [W/(m2 K)]
    t_sky_c : float64 array, shape (n_steps,), optional
        Sky temperature; None: as warm as the air. [°C]
    sky_frac : float, 0 to 1
        Part of what the pane sees that is sky; a wall's is 0.5. [-]
    height_m : float
        Height of the pane. [m]
    p_pa : float64 array or float
        Pressure of the room, whose thin air carries less; gaps were sealed at sea level. [Pa]

    Returns
    -------
    GlassYear

    Raises
    ------
    OutOfRangeError
        If there is no pane, or not one gap fewer.

    Notes
    -----
    Convection in a gap by its Rayleigh and aspect number, and at the inside by natural convection
    on a vertical plate, as ISO 15099; gas properties at the gap's mean temperature; panes opaque
    to infrared.

    *Validity.* Steady state, which glass reaches within ten minutes; centre of glass, no sun.
    Published U-values (ASHRAE Fundamentals 2009 ch. 15 table 4) within 0.05 W/(m2 K) (tested).

    *Source.* ISO 15099:2003, thermal transmittance of glazing (clauses from memory).
    """
    if not panes or len(gaps) != len(panes) - 1:
        raise OutOfRangeError(
            f"needs panes and one gap fewer, got {len(panes)} and {len(gaps)}", where="glazing"
        )
    t_in, t_out = np.broadcast_arrays(
        np.asarray(t_room_c, dtype=np.float64), np.asarray(t_out_c, dtype=np.float64)
    )
    pressure = np.broadcast_to(np.asarray(p_pa, dtype=np.float64), t_in.shape)
    film = np.broadcast_to(np.asarray(outside_film_w_m2_k, dtype=np.float64), t_in.shape)
    t_sky = t_out if t_sky_c is None else np.broadcast_to(t_sky_c, t_in.shape)
    surroundings = sky_frac * (t_sky + 273.15) ** 4 + (1.0 - sky_frac) * (t_out + 273.15) ** 4
    t_radiant_out = surroundings**0.25 - 273.15

    n_faces = 2 * len(panes)  # outermost first
    share = np.linspace(0.05, 0.95, n_faces)[:, None]
    t = t_out + share * (t_in - t_out)
    for _ in range(_TURNS):
        # Conductance between neighbours: outdoors, faces, room; the outside has two.
        to_air = film
        to_sky = panes[0].outer_emissivity * _radiative(t[0], t_radiant_out)
        links = []
        for i, pane in enumerate(panes):
            links.append(np.full_like(t_in, GLASS_W_M_K / (1e-3 * pane.thickness_mm)))
            if i < len(gaps):
                links.append(
                    _gap_conductance(
                        gaps[i],
                        t[2 * i + 1],
                        t[2 * i + 2],
                        emissivities=(pane.inner_emissivity, panes[i + 1].outer_emissivity),
                        height_m=height_m,
                    )
                )
        inside = _inside_convection(t[-1], t_in, height_m, pressure)
        inside = inside + panes[-1].inner_emissivity * _radiative(t[-1], t_in)
        before = t
        t = _balance(
            [to_air + to_sky, *links, inside],
            outer=(to_air * t_out + to_sky * t_radiant_out) / (to_air + to_sky),
            inner=t_in,
        )
        # Convection and temperature can swing about each other: half a step each turn.
        t = 0.5 * (t + before)
        if float(np.max(np.abs(t - before))) < _SETTLED_K:
            break
    difference = np.where(t_in == t_out, np.nan, t_in - t_out)
    return GlassYear(t_inside_c=t[-1], u_factor_w_m2_k=inside * (t_in - t[-1]) / difference)


def _balance(links: list[FloatArray], *, outer: FloatArray, inner: FloatArray) -> FloatArray:
    """Return temperatures along a chain of conductances between two ends, (n_faces, n_steps)."""
    resistance = np.cumsum([1.0 / link for link in links], axis=0)
    result: FloatArray = outer + (inner - outer) * resistance[:-1] / resistance[-1]
    return result


def _radiative(t1_c: FloatArray, t2_c: FloatArray) -> FloatArray:
    """Return the radiative conductance of black surfaces, exactly. [W/(m2 K)]."""
    a, b = t1_c + 273.15, t2_c + 273.15
    return STEFAN_BOLTZMANN * (a * a + b * b) * (a + b)


def _gap_conductance(
    gap: Gap,
    t_outer_c: FloatArray,
    t_inner_c: FloatArray,
    *,
    emissivities: tuple[float, float],
    height_m: float,
) -> FloatArray:
    """Return convection and radiation across a gap. [W/(m2 K)]."""
    mean_c = 0.5 * (t_outer_c + t_inner_c)
    convection = gap.filled_frac * _gap_convection(
        gap.gas, gap, mean_c, t_outer_c - t_inner_c, height_m
    )
    if gap.filled_frac < 1.0:
        of_air = _gap_convection("air", gap, mean_c, t_outer_c - t_inner_c, height_m)
        convection = convection + (1.0 - gap.filled_frac) * of_air
    e1, e2 = emissivities
    exchange = 0.0 if min(e1, e2) == 0.0 else 1.0 / (1.0 / e1 + 1.0 / e2 - 1.0)
    return convection + exchange * _radiative(t_outer_c, t_inner_c)


def _gap_convection(
    gas: str, gap: Gap, mean_c: FloatArray, difference_k: FloatArray, height_m: float
) -> FloatArray:
    """Return the convection of one gas across a vertical gap: ISO 15099. [W/(m2 K)]."""
    width_m = 1e-3 * gap.width_mm
    conductivity, rayleigh = _rayleigh(GASES[gas], mean_c, difference_k, width_m, STANDARD_PRESSURE)
    high = 0.0673838 * rayleigh ** (1.0 / 3.0)
    middle = 0.028154 * rayleigh**0.4134
    low = 1.0 + 1.7596678e-10 * rayleigh**2.2984755
    by_rayleigh = np.where(rayleigh > 5e4, high, np.where(rayleigh > 1e4, middle, low))  # noqa: PLR2004 - the bounds of its three ranges
    by_aspect = 0.242 * (rayleigh * width_m / height_m) ** 0.272
    result: FloatArray = np.maximum(by_rayleigh, by_aspect) * conductivity / width_m
    return result


def _rayleigh(
    gas: Gas,
    mean_c: FloatArray,
    difference_k: FloatArray,
    length_m: float,
    p_pa: FloatArray | float,
) -> tuple[FloatArray, FloatArray]:
    """Return a gas's conductivity [W/(m K)], and its Rayleigh number over a length."""
    t_k = mean_c + 273.15
    conductivity = gas.conductivity[0] + gas.conductivity[1] * mean_c
    viscosity = gas.viscosity[0] + gas.viscosity[1] * mean_c
    heat = gas.heat[0] + gas.heat[1] * mean_c
    density = p_pa * gas.molar_kg / (8.314_462 * t_k)
    buoyancy = density**2 * length_m**3 * GRAVITY_M_S2 * np.abs(difference_k) / t_k
    return conductivity, buoyancy * heat / (viscosity * conductivity)


def _inside_convection(
    t_face_c: FloatArray, t_room_c: FloatArray, height_m: float, p_pa: FloatArray
) -> FloatArray:
    """Return natural convection at a vertical face, after ISO 15099. [W/(m2 K)]."""
    film_c = t_room_c + 0.25 * (t_face_c - t_room_c)
    difference_k = np.maximum(np.abs(t_face_c - t_room_c), 1e-3)
    conductivity, rayleigh = _rayleigh(GASES["air"], film_c, difference_k, height_m, p_pa)
    turns = 2.5e5 * math.exp(0.72 * 90.0) ** 0.2  # where the boundary layer of a wall turns over
    laminar = 0.56 * np.minimum(rayleigh, turns) ** 0.25
    nusselt = np.where(
        rayleigh > turns, 0.13 * (np.cbrt(rayleigh) - np.cbrt(turns)) + laminar, laminar
    )
    result: FloatArray = nusselt * conductivity / height_m
    return result
