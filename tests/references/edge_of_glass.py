"""Edge of sealed glass in a frame: steady heat in a section of the sill, by finite volumes.

The section is the bottom of a window: a frame, in the middle of its depth a unit of panes, gaps and
spacers, which it covers to 15 mm. Nothing of the package is used: a gap's conductance follows from
published U-factors of the centre. Films are those of ISO 10077-2 (from memory): 0.13 m2 K/W in the
room, but 0.20 in the corner of glass and frame, as far as the frame stands out and 30 mm at most;
0.04 outdoors. There are two accounts of the gas in the gaps. At rest it conducts as much as gas and
radiation do at the centre, as ISO 10077-2 takes it. Or it flows, down along the cold pane, over the
spacer and up along the warm one: that makes the sill colder than the head, as every window shows.

Left out: seals between glass and frame, frames of more than one material, corners of the window.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import spsolve

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

# Films, panel, wood, sealant, desiccant and aluminium are also printed so in a public report of an
# edge that was calculated after EN ISO 10077-2, seen at second hand.
GLASS_W_M_K = 1.0
PANE_M = 0.004
FRAME_W_M_K = 0.13  # soft wood, and hollow PVC as a solid (ISO 10077-2, from memory)
PANEL_W_M_K = 0.035  # in the place of the glass, for a frame's own U-value (ISO 10077-2, memory)
SEALANT_W_M_K = 0.40  # polysulphide (ISO 10077-2, from memory)
SPACER_M, SEALANT_M = 0.0065, 0.003  # heights; common practice, the latter as in that report
REBATE_M, BELOW_M = 0.015, 0.005  # the frame covers the glass; room of the blocks below it
FRAME_M, VISIBLE_M = 0.100, 0.190  # frame below the sightline, glass above it (ISO 10077-2)
DEPTHS_M = (0.068, 0.082)  # of frames
EDGE_M = 0.0635  # band of glass that counts as its edge
OUT_M2_K_W, ROOM_M2_K_W, CORNER_M2_K_W, CORNER_M = 0.04, 0.13, 0.20, 0.030

# Conductivity of a spacer if it were solid: two walls over its height of 6.5 mm, and its desiccant,
# 0.13. Aluminium of 0.34 mm, 160 W/(m K); stainless steel of 0.26 mm, 17 W/(m K), a thick one;
# plastic with a foil, of which 0.14 to 0.3 is declared (from memory).
SPACERS = {"metal": 17.0, "stainless": 1.5, "plastic": 0.25}

# Conductivity [W/(m K)], viscosity [Pa s], heat capacity [J/(kg K)] and kg/mol at 0 °C, textbook.
GASES = {"air": (0.0241, 1.72e-5, 1006.0, 0.02897), "argon": (0.0163, 2.10e-5, 522.0, 0.03995)}
T_OUT_C, T_ROOM_C = -18.0, 21.0  # of published U-factors: what the gas flows by
FILMS_M2_K_W = 0.137 + 0.034  # of published U-factors: room, and 5.5 m/s outdoors (from memory)


class Gap(NamedTuple):
    """A gap: its width [m], its conductance at the centre [W/(m2 K)], and its gas."""

    width_m: float
    conductance_w_m2_k: float
    gas: str = "air"


def unit(u_factor_w_m2_k: float, *, n_gaps: int, width_m: float, gas: str) -> list[Gap]:
    """Return the like gaps of a unit by its published U-factor, which is of panes of 3 mm."""
    if n_gaps == 0:
        return []
    panes = (n_gaps + 1) * 0.003 / GLASS_W_M_K
    each = n_gaps / (1.0 / u_factor_w_m2_k - FILMS_M2_K_W - panes)
    return [Gap(width_m, each, gas)] * n_gaps


def heat(x, y, conductivity, ambient, films, *, links=(), carried=None):
    """Return the temperature of cells, NaN in the air, and the heat that each takes from the air.

    `x` and `y` are the lines of the grid [m]; `conductivity` [W/(m K)] is NaN in cells of air, and
    `ambient` the temperature there; both have the shape (rows, columns). `films` holds the
    resistance [m2 K/W] of faces between neighbours in a row, and in a column, used where solid
    meets air; the rim is adiabatic. `links` are pairs of masks of cells and a conductance [W/K],
    cell by cell; `carried` is the capacity flow of gas through faces [W/K], in rows and in columns,
    taken by the hybrid scheme. All is per metre of length.
    """
    dx, dy = np.diff(x), np.diff(y)
    solid = ~np.isnan(conductivity)
    number = np.full(solid.shape, -1)
    number[solid] = np.arange(solid.sum())
    half = [0.5 * dx[None, :] / conductivity, 0.5 * dy[:, None] / conductivity]
    area = [np.broadcast_to(dy[:, None], solid.shape), np.broadcast_to(dx[None, :], solid.shape)]
    matrix = _Matrix(int(solid.sum()))
    from_air = []
    for axis, (a, b) in enumerate(((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1, :], np.s_[1:, :]))):
        both = solid[a] & solid[b]
        g = area[axis][a][both] / (half[axis][a] + half[axis][b])[both]
        flow = np.zeros_like(g) if carried is None else carried[axis][both]
        i, j = number[a][both], number[b][both]
        matrix.exchange(i, j, np.maximum.reduce([-flow, g - 0.5 * flow, np.zeros_like(g)]))
        matrix.exchange(j, i, np.maximum.reduce([flow, g + 0.5 * flow, np.zeros_like(g)]))
        for inner, air in ((a, b), (b, a)):
            meets = solid[inner] & ~solid[air]
            g = area[axis][inner][meets] / (half[axis][inner][meets] + films[axis][meets])
            i = number[inner][meets]
            matrix.add(i, i, g)
            np.add.at(matrix.right, i, g * ambient[air][meets])
            from_air.append((i, g, ambient[air][meets]))
    for one, other, g in links:
        matrix.exchange(number[one], number[other], g)
        matrix.exchange(number[other], number[one], g)
    found = matrix.solve()
    t = np.full(solid.shape, np.nan)
    t[solid] = found
    taken = np.zeros(solid.shape)
    each = np.zeros(matrix.right.size)
    for i, g, t_air in from_air:
        np.add.at(each, i, g * (t_air - found[i]))
    taken[solid] = each
    return t, taken


class _Matrix:
    """A sparse system of equations, put together piece by piece."""

    def __init__(self, n: int) -> None:
        self.right = np.zeros(n)
        self._parts: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []

    def add(self, rows, columns, values) -> None:
        self._parts.append((rows, columns, np.broadcast_to(values, np.shape(rows))))

    def exchange(self, rows, columns, conductance) -> None:
        """Let the unknowns of `rows` follow those of `columns`."""
        self.add(rows, rows, conductance)
        self.add(rows, columns, -conductance)

    def solve(self) -> FloatArray:
        rows, columns, values = (np.concatenate(part) for part in zip(*self._parts, strict=True))
        n = self.right.size
        return spsolve(coo_matrix((values, (rows, columns)), shape=(n, n)).tocsc(), self.right)


class Motion(NamedTuple):
    """Gas in a gap, on nodes of its grid: stream function [m2/s] and two velocities [m/s]."""

    stream: np.ndarray
    across: np.ndarray
    up: np.ndarray


def motion(x, y, t, *, viscosity, buoyancy, before: Motion, open_above: bool) -> Motion:
    """Return how gas moves between two walls over a floor, at the temperatures of the cells.

    Stream function and vorticity together, Boussinesq, the vorticity carried by the velocities
    `before`; Thom's vorticity at the walls. `viscosity` is kinematic [m2/s], `buoyancy` the
    acceleration per unit of temperature [m/s2]. `open_above`: flow that no longer changes with
    height, in the place of a lid.
    """
    nx, ny = x.size, y.size
    n = nx * ny
    column = 0.5 * (x[1:] + x[:-1])
    slope = np.diff(t, axis=1) / np.diff(column)
    row, across = (part.ravel() for part in np.mgrid[1 : ny - 1, 1 : nx - 1])
    node = row * nx + across
    west, east = x[across] - x[across - 1], x[across + 1] - x[across]
    south, north = y[row] - y[row - 1], y[row + 1] - y[row]
    matrix = _Matrix(2 * n)  # the stream function, then the vorticity
    total = np.zeros_like(west)
    sides = [(-1, west, east, 1.0, before.across), (1, east, west, -1.0, before.across),
             (-nx, south, north, 1.0, before.up), (nx, north, south, -1.0, before.up)]  # fmt: skip
    for step, near, far, sign, velocity in sides:
        spread = 2.0 / (near * (near + far))
        matrix.exchange(node, node + step, -spread)
        speed = sign * velocity[row, across]
        central = viscosity * spread + speed * far / (near * (near + far))
        g = np.maximum.reduce([central, speed / near, total])
        matrix.exchange(n + node, n + node + step, g)
    matrix.add(node, n + node, 1.0)
    matrix.right[n + node] = buoyancy * 0.5 * (slope[row - 1, across - 1] + slope[row, across - 1])
    rows, columns = np.arange(ny), np.arange(1, nx - 1)
    walls = [(rows * nx, 1, x[1] - x[0]), (rows * nx + nx - 1, -1, x[-1] - x[-2]),
             (columns, nx, y[1] - y[0])]  # fmt: skip
    lid = (ny - 1) * nx + columns
    if not open_above:
        walls.append((lid, -nx, y[-1] - y[-2]))
    for wall, step, away in walls:
        matrix.add(wall, wall, 1.0)
        matrix.add(n + wall, n + wall, 1.0)
        matrix.add(n + wall, wall + step, 2.0 / away**2)
    if open_above:
        for unknown in (lid, n + lid):
            matrix.exchange(unknown, unknown - nx, 1.0)
    stream = matrix.solve()[:n].reshape(ny, nx)
    found = Motion(stream, np.zeros_like(stream), np.zeros_like(stream))
    found.across[1:-1] = (stream[2:] - stream[:-2]) / (y[2:] - y[:-2])[:, None]
    found.up[:, 1:-1] = -(stream[:, 2:] - stream[:, :-2]) / (x[2:] - x[:-2])
    return found


def lines(marks, fine_at, *, finest, coarsest=0.005):
    """Return lines of a grid on all `marks`, finest near those of `fine_at`. [m]."""
    found = [min(marks)]
    for _, high in pairwise(sorted(set(marks))):
        while high - found[-1] > 1e-9:
            away = min(abs(found[-1] - at) for at in fine_at)
            step = min(finest + 0.12 * away, coarsest)
            left = high - found[-1]
            found.append(found[-1] + left / np.ceil(left / step - 1e-9))
        found[-1] = high
    return np.array(found)


class Section(NamedTuple):
    """What a section of the sill gives: temperature indices [-], and its heat."""

    sightline: float  # coldest of the glass: where it meets the frame, but of a single pane above
    edge: float  # mean of the 63.5 mm above
    centre: float  # of the glass at the top of the section
    frame: float  # coldest of the frame's face that looks into the room
    heat_w_m_k: float  # through the section, per kelvin of difference


def section(
    gaps: list[Gap],
    *,
    spacer_w_m_k: float = 0.0,
    depth_m: float,
    frame_w_m_k: float = FRAME_W_M_K,
    gas: Literal["at rest", "at the sill", "at the head"] = "at rest",
    panel: bool = False,
    uniform: bool = False,
    finest_m: float = 0.0008,
) -> Section:
    """Return the indices of a section.

    `panel`: an insulating panel in the place of the unit, as for a frame's own U-value. `uniform`:
    the room's film is 0.13 in the corner too.
    """
    # From outdoors inwards and from below upwards; the sightline is at zero.
    faces = [0.0, PANE_M]
    for gap in gaps:
        faces += [faces[-1] + gap.width_m, faces[-1] + gap.width_m + PANE_M]
    glass = 0.5 * (depth_m - faces[-1]) + np.array(faces)
    x_out, x_in = glass[0], glass[-1]
    corner = min(depth_m - x_in, CORNER_M)
    bottom, low = -REBATE_M, -REBATE_M + SEALANT_M
    high = low + SPACER_M
    x = lines([-0.01, 0.0, *glass, x_in + corner, depth_m, depth_m + 0.01], glass, finest=finest_m)
    y = lines([-FRAME_M, bottom - BELOW_M, bottom, low, high, 0.0, corner, EDGE_M, VISIBLE_M],
              [low, high, 0.0], finest=finest_m)  # fmt: skip
    xc, yc = 0.5 * (x[1:] + x[:-1])[None, :], 0.5 * (y[1:] + y[:-1])[:, None]
    k = np.full((yc.size, xc.size), np.nan)

    def part(x0: float, x1: float, y0: float, y1: float) -> tuple[slice, slice]:
        return (slice(*np.searchsorted(y, np.array([y0, y1]) - 1e-9)),
                slice(*np.searchsorted(x, np.array([x0, x1]) - 1e-9)))  # fmt: skip

    k[part(0.0, depth_m, -FRAME_M, 0.0)] = frame_w_m_k
    # A cavity by ISO 10077-2 (from memory): convection 1.57, and radiation.
    ratio = (x_in - x_out) / BELOW_M
    k[part(x_out, x_in, bottom - BELOW_M, bottom)] = (x_in - x_out) * (
        1.57 + 2.11 * (1.0 + np.hypot(1.0, ratio) - ratio)
    )
    k[part(x_out, x_in, bottom, VISIBLE_M)] = PANEL_W_M_K if panel else GLASS_W_M_K
    rooms, links = [], []
    for gap, x0, x1 in zip(gaps if not panel else [], glass[1::2], glass[2::2], strict=False):
        k[part(x0, x1, bottom, low)] = SEALANT_W_M_K
        k[part(x0, x1, low, high)] = spacer_w_m_k
        room = part(x0, x1, high, VISIBLE_M)
        k[room] = gap.conductance_w_m2_k * gap.width_m
        if gas != "at rest":
            # What the gas at rest does not carry goes from pane to pane: radiation, for the most.
            k[room] = GASES[gap.gas][0]
            left, right = np.zeros(k.shape, bool), np.zeros(k.shape, bool)
            left[room[0], room[1].start - 1] = right[room[0], room[1].stop] = True
            rest = gap.conductance_w_m2_k - GASES[gap.gas][0] / gap.width_m
            links.append((left, right, rest * np.diff(y)[room[0]]))
            rooms.append((gap, room))
    inside = np.broadcast_to(xc > 0.5 * (x_out + x_in), k.shape)
    near = (xc < x_in + corner) & (yc < corner) & (not uniform)
    film = np.where(inside, np.where(near, CORNER_M2_K_W, ROOM_M2_K_W), OUT_M2_K_W)
    air = np.isnan(k)
    films = [
        np.where(air[:, :-1], film[:, :-1], film[:, 1:]),
        np.where(air[:-1, :], film[:-1, :], film[1:, :]),
    ]
    t, taken = heat(x, y, k, inside.astype(float), films, links=links)
    if gas != "at rest":
        gravity = 9.81 if gas == "at the sill" else -9.81
        t, taken = _with_flow(x, y, k, inside.astype(float), films, links, rooms, t, gravity)

    dy = np.diff(y)
    visible = part(x_out, x_in, 0.0, VISIBLE_M)[0]
    column = part(x_out, x_in, 0.0, 0.0)[1].stop - 1  # the glass's innermost cells
    face = 1.0 - (taken / dy[:, None] * np.roll(film, -1, axis=1))[visible, column]
    at, height = yc[visible, 0], dy[visible]
    band = at < EDGE_M
    line = face[0] - (face[1] - face[0]) / (at[1] - at[0]) * at[0]  # on to where the frame begins
    last = part(0.0, depth_m, 0.0, 0.0)[1].stop - 1
    below = part(0.0, 0.0, -FRAME_M, 0.0)[0]
    # The frame's topmost cell has a second face to the room, so it is left out.
    front = 1.0 - (taken / dy[:, None])[below, last][:-1] * ROOM_M2_K_W
    return Section(
        sightline=min(float(line), float(face.min())),
        edge=float(np.average(face[band], weights=height[band])),
        centre=float(face[-1]),
        frame=float(front.min()),
        heat_w_m_k=float(taken[inside].sum()),
    )


def _with_flow(x, y, k, ambient, films, links, rooms, t, gravity) -> tuple[Any, Any]:
    """Return temperatures and heat taken where the gas of the gaps flows, in turns with it."""
    span_k = T_ROOM_C - T_OUT_C
    moved = []
    for _, room in rooms:
        nothing = np.zeros((room[0].stop - room[0].start + 1, room[1].stop - room[1].start + 1))
        moved.append(Motion(nothing, nothing, nothing))
    for _ in range(100):
        carried = [np.zeros((k.shape[0], k.shape[1] - 1)), np.zeros((k.shape[0] - 1, k.shape[1]))]
        change = 0.0
        for number, (gap, room) in enumerate(rooms):
            _, viscosity, capacity, molar_kg = GASES[gap.gas]
            t_k = 273.15 + T_OUT_C + span_k * float(t[room][-1].mean())
            density = 101_325.0 * molar_kg / (8.314 * t_k)
            rows, columns = room
            before = moved[number]
            after = motion(
                x[columns.start : columns.stop + 1], y[rows.start : rows.stop + 1], t[room],
                viscosity=viscosity / density, buoyancy=gravity * span_k / t_k, before=before,
                open_above=True,
            )  # fmt: skip
            scale = np.abs(after.stream).max()
            change = max(change, float(np.abs(after.stream - before.stream).max() / scale))
            # Gas and temperature swing about each other: a part of the way each turn.
            moved[number] = Motion(*(b + 0.5 * (a - b) for a, b in zip(after, before, strict=True)))
            stream = density * capacity * moved[number].stream
            carried[0][rows, columns.start : columns.stop - 1] = np.diff(stream, axis=0)[:, 1:-1]
            carried[1][rows.start : rows.stop - 1, columns] = -np.diff(stream, axis=1)[1:-1]
        t, taken = heat(x, y, k, ambient, films, links=links, carried=carried)
        if change < 1e-3:
            return t, taken
    raise RuntimeError(f"the gas did not settle: {change:.1e} of its stream function a turn")
