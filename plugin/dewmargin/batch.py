"""Many cases of one building and year: what the kernel takes, and how a whole year is begun.

A case is a set-point and a device. All quantities are the kernel's: humidity ratios less the
reference of the building's case, see `dewmargin.kernel.source`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin import air, kernel
from dewmargin.checks import require_hourly
from dewmargin.kernel.source import NEVER, UNLIMITED

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.case import HourlyCase, SurfaceYear
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Capability, Mode

WARM_UP_DAYS = 14  # a whole year is preceded by its own last 14 days
BUFFER_REFERENCE_C = 20.0  # where the buffer's temperature factor is 1
_MOST_YEARS = 5  # films that have not returned by then grow from year to year
_FILM_KG_M2 = 1e-6

OUTPUTS = (
    "x_end",
    "y_end",
    "sum_x",
    "sum_y",
    "added",
    "added_rest",
    "running",
    "running_rest",
    "fog",
)
FILMS = ("taken", "runoff", "film")
_OF_A_DEVICE = ("heat_frac", "r0_kg_s", "r1_kg_s", "rest_r0_kg_s", "rest_r1_kg_s")


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Where balances start or ended: a value, or a row of films, for each case.

    Room and buffer [kg/kg], and the film of each surface [kg/m2].
    """

    x: FloatArray
    y: FloatArray
    film_kg_m2: FloatArray

    def of(self, cases: Sequence[int]) -> State:
        """Return the state of some of the cases."""
        return State(x=self.x[cases], y=self.y[cases], film_kg_m2=self.film_kg_m2[cases])


@dataclass(frozen=True, slots=True, kw_only=True)
class Building:
    """What all cases of a building share, step by step.

    Attributes
    ----------
    case : HourlyCase
    source_kg_s : float64 array, shape (n_steps,)
        Vapour that flows in. [kg/s]
    buffer_factor, ceiling : float64 array, shape (n_steps,)
        What the room's humidity counts for the buffer [-], and its saturation [kg/kg].
    area_m2 : float64 array, shape (n_surfaces,)
        0 for a surface that is watched.
    beta_kg_m2_s, limit, most_kg_m2 : float64 array, shape (n_surfaces, n_steps)
        Mass transfer, the room's humidity at which a surface condenses [kg/kg], and what stays on
        it at the end of a step.
    """

    case: HourlyCase
    source_kg_s: FloatArray
    buffer_factor: FloatArray
    ceiling: FloatArray
    area_m2: FloatArray
    beta_kg_m2_s: FloatArray
    limit: FloatArray
    most_kg_m2: FloatArray

    def start(self, n_cases: int) -> State:
        """Return the state of the first step as it would be without a humidifier."""
        x = 0.0
        if not self.case.departure:
            flow = float(self.case.exchange_kg_s[0])
            settled = self.source_kg_s[0] / flow if flow > 0.0 else self.case.w_out_kg_kg[0]
            x = float(min(settled, self.ceiling[0]))
        return State(
            x=np.full(n_cases, x),
            y=np.full(n_cases, x * float(self.buffer_factor[0])),
            film_kg_m2=np.zeros((n_cases, self.area_m2.size)),
        )

    def to_hold(self, w_set_kg_kg: FloatArray) -> FloatArray:
        """Return what the kernel is to hold, at most saturation; `NEVER` stays."""
        low = np.minimum(w_set_kg_kg - self.case.w_base_kg_kg, self.ceiling)
        return np.where(w_set_kg_kg > NEVER, low, NEVER)


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A device as the kernel takes it: two straight lines in the room's humidity, step by step.

    The second is spread over the whole rest of the step, of which `rest_share` is run.
    """

    heat_frac: FloatArray
    r0_kg_s: FloatArray
    r1_kg_s: FloatArray
    rest_r0_kg_s: FloatArray
    rest_r1_kg_s: FloatArray
    rest_share: FloatArray | float = 1.0
    unlimited: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Cases:
    """Cases of one building.

    Attributes
    ----------
    low : float64 array, shape (n_lows, n_steps)
        What is to be held, as `Building.to_hold` gives it.
    devices : sequence of Device
    of_low, of_low_wet, of_device : sequence of int
        For each case, the row of `low` that it holds while dry and while wet, and its device.
        Cases of one device in a row are quicker.
    wet_above_kg_m2 : float64 array, shape (n_cases, n_surfaces)
        The film of each surface from which on a case counts as wet.
    """

    low: FloatArray
    devices: Sequence[Device]
    of_low: Sequence[int]
    of_low_wet: Sequence[int]
    of_device: Sequence[int]
    wet_above_kg_m2: FloatArray

    @property
    def n(self) -> int:
        """Number of cases."""
        return len(self.of_low)

    def some(self, which: Sequence[int]) -> Cases:
        """Return some of the cases."""
        return Cases(
            low=self.low,
            devices=self.devices,
            of_low=[self.of_low[i] for i in which],
            of_low_wet=[self.of_low_wet[i] for i in which],
            of_device=[self.of_device[i] for i in which],
            wet_above_kg_m2=self.wet_above_kg_m2[which],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Ran:
    """What happened in each case and step.

    Attributes
    ----------
    begins, ends : State
    steps : float64 array, shape (len(OUTPUTS), n_cases, n_steps)
    films : float64 array, shape (len(FILMS), n_cases, n_surfaces, n_steps)
    """

    begins: State
    ends: State
    steps: FloatArray
    films: FloatArray

    @property
    def added_kg(self) -> FloatArray:
        """Return what was added in both modes, shape (n_cases, n_steps). [kg]."""
        first = OUTPUTS.index("added")
        added: FloatArray = self.steps[first] + self.steps[first + 1]
        return added


def building(case: HourlyCase, *, brought_kg_s: FloatArray | None = None) -> Building:
    """Return what the kernel takes of a case; `brought_kg_s` flows in besides its own gains."""
    n, n_faces, base = case.n_steps, len(case.surfaces), case.w_base_kg_kg
    source = (
        np.zeros(n) if case.departure else case.gains_kg_s + case.exchange_kg_s * case.w_out_kg_kg
    )
    if brought_kg_s is not None:
        source = source + brought_kg_s

    def rows(values: list[FloatArray]) -> FloatArray:
        return np.array(values, dtype=np.float64).reshape(n_faces, n)

    saturated = air.humidity_ratio(case.p_sat_pa, case.p_pa)
    return Building(
        case=case,
        source_kg_s=source,
        buffer_factor=_buffer_factor(case, saturated),
        # A simulation's own humidity may exceed saturation of the mean temperature by a rounding:
        # the departure must not lose that water.
        ceiling=np.maximum(saturated - base, 0.0),
        area_m2=np.array([s.area_m2 or 0.0 for s in case.surfaces]),
        beta_kg_m2_s=rows([np.broadcast_to(s.beta_kg_m2_s, n) for s in case.surfaces]),
        limit=rows([_surface_limit(s, case) - base for s in case.surfaces]),
        # Frost stays where it is until it melts.
        most_kg_m2=rows(
            [np.where(s.t_surface_c < 0.0, np.inf, 1e-3 * s.retention_g_m2) for s in case.surfaces]
        ),
    )


def device(case: HourlyCase, capability: Capability | None) -> Device:
    """Return a capability as the kernel takes it; None is a device without limit."""
    n, base, zero = case.n_steps, case.w_base_kg_kg, np.zeros(case.n_steps)
    if capability is None:
        return Device(
            heat_frac=np.ones(n),
            r0_kg_s=np.full(n, UNLIMITED),
            r1_kg_s=zero,
            rest_r0_kg_s=zero,
            rest_r1_kg_s=zero,
            unlimited=True,
        )
    r0, r1 = _relative(capability.heat, base)
    rest_r0, rest_r1 = _relative(capability.added, base)
    share = capability.added_share
    return Device(
        heat_frac=capability.heat_frac,
        r0_kg_s=r0,
        r1_kg_s=r1,
        rest_r0_kg_s=share * rest_r0,
        rest_r1_kg_s=share * rest_r1,
        rest_share=share,
    )


def solve(of: Building, cases: Cases, *, start: State | None = None) -> Ran:
    """Follow every case through the year.

    A whole year starts from its own last 14 days, and is followed until its films end as they
    began: frost may be older than these days. A part of a year starts as it would be without a
    humidifier, and all from `start` if that is given.

    Raises
    ------
    OutOfRangeError
        If a column is not one number a step: the kernel does not look.
    """
    case, n = of.case, of.case.n_steps
    require_hourly("balance", **_columns(of, cases))
    if start is not None or not case.wraps:
        return _run(of, cases, of.start(cases.n) if start is None else start, slice(0, n))
    warm_up = slice(max(n - WARM_UP_DAYS * 24 * case.steps_per_hour, 0), n)
    begins = _run(of, cases, of.start(cases.n), warm_up).ends
    ran = _run(of, cases, begins, slice(0, n))
    if not of.area_m2.size:
        return ran
    for _ in range(_MOST_YEARS):
        apart = np.abs(ran.begins.film_kg_m2 - ran.ends.film_kg_m2).max(axis=1) > _FILM_KG_M2
        late = np.flatnonzero(apart).tolist()
        if not late:
            break
        again = _run(of, cases.some(late), ran.ends.of(late), slice(0, n))
        ran.steps[:, late], ran.films[:, late] = again.steps, again.films
        for mine, new in ((ran.begins, again.begins), (ran.ends, again.ends)):
            mine.x[late], mine.y[late] = new.x, new.y
            mine.film_kg_m2[late] = new.film_kg_m2
    return ran


def _shared(of: Building) -> list[FloatArray]:
    return [of.ceiling, of.buffer_factor, of.source_kg_s, of.case.exchange_kg_s]


def _columns(of: Building, cases: Cases) -> dict[str, FloatArray]:
    """Return all that the kernel is given a step, by what a message calls it."""
    devices = [getattr(device, name) for device in cases.devices for name in _OF_A_DEVICE]
    return {f"input {i}": c for i, c in enumerate([*cases.low, *_shared(of), *devices])}


def _run(of: Building, cases: Cases, begins: State, steps: slice) -> Ran:
    def row(values: FloatArray) -> FloatArray:
        return np.ascontiguousarray(values[..., steps], dtype=np.float64)

    def of_devices(name: str) -> FloatArray:
        return np.array([getattr(d, name)[steps] for d in cases.devices], dtype=np.float64)

    case = of.case
    shared = [row(c) for c in _shared(of)]
    n, n_faces = shared[0].size, of.area_m2.size
    results = np.empty((len(OUTPUTS), cases.n, n))
    films = np.zeros((len(FILMS), cases.n, n_faces, n))
    x, y, film = begins.x.copy(), begins.y.copy(), begins.film_kg_m2.copy()
    unlimited = np.array([d.unlimited for d in cases.devices])
    of_device = np.array(cases.of_device, dtype=np.int64)
    kernel.cases()(
        x, y, film, case.step_s, case.dry_air_kg, case.buffer_kg, case.buffer_kg_s, *shared,
        of.area_m2, row(of.beta_kg_m2_s), row(of.limit), row(of.most_kg_m2),
        unlimited[of_device],
        np.array(cases.of_low, dtype=np.int64), np.array(cases.of_low_wet, dtype=np.int64),
        of_device, cases.wet_above_kg_m2, row(cases.low),
        *(of_devices(name) for name in _OF_A_DEVICE),
        results, films,
    )  # fmt: skip
    return Ran(begins=begins, ends=State(x=x, y=y, film_kg_m2=film), steps=results, films=films)


def _buffer_factor(case: HourlyCase, saturated_kg_kg: FloatArray) -> FloatArray:
    """Return what the room's humidity ratio counts for the buffer, which may follow RH. [-]."""
    if not case.buffer_on_rh:
        return np.ones(case.n_steps)
    at_reference = air.saturated_humidity_ratio(np.array([BUFFER_REFERENCE_C]), case.p_pa)
    return at_reference / saturated_kg_kg


def _relative(mode: Mode | None, base: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a mode's rate as a function of the departure: r0 − r1·(base + x)."""
    if mode is None:
        return np.zeros(base.size), np.zeros(base.size)
    return mode.r0_kg_s - mode.r1_kg_s * base, mode.r1_kg_s


def _surface_limit(surface: SurfaceYear, case: HourlyCase) -> FloatArray:
    """Humidity ratio of the space at which a surface begins to condense. [kg/kg]."""
    limit = air.humidity_ratio(surface.p_sat_pa, case.p_pa)
    return limit if surface.w_offset_kg_kg is None else limit - surface.w_offset_kg_kg
