"""Cases of one building or several, side by side: what the kernel takes, how a year begins.

A case is a set-point and a device. All quantities are the kernel's: humidity ratios less the
reference of the building's case, see `dewmargin.kernel.source`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin import kernel
from dewmargin.case import BUFFER_REFERENCE_C, WARM_UP_DAYS
from dewmargin.core.checks import require_hourly
from dewmargin.errors import OutOfRangeError
from dewmargin.kernel.source import ACCOUNTED, NEVER, UNLIMITED
from dewmargin.kernel.year import MOST_YEARS
from dewmargin.physics import air

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from dewmargin.case import HourlyCase, SurfaceYear
    from dewmargin.columns import FloatArray, IntArray
    from dewmargin.contracts import Capability, Mode

FILM_KG_M2 = 1e-6  # films that end so near have returned

OUTPUTS = ("sum_x", "added", "added_rest", "running", "running_rest", "fog", "x_end", "y_end")
FILMS = ("taken", "runoff", "film")
_OF_A_DEVICE = ("on_r0_kg_s", "on_r1_kg_s", "off_r0_kg_s", "off_r1_kg_s", "duty", "duty_run")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
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
    """A device as the kernel takes it, step by step, on heat and between the plant's firings.

    Attributes
    ----------
    on_r0_kg_s, on_r1_kg_s : float64 array
        Rate on heat, r0 - r1 x, for `duty_run` of the time.
    off_r0_kg_s, off_r1_kg_s : float64 array
        Mean rate between firings, of which `rest_share` is run.
    duty, duty_run : float64 array
        Part of the time with heat, resting and running. [-]
    rest_share : float64 array or float
    most_cycles_per_h, dead_s : float
        Firings an hour at half load, and what is lost at the start of each.
    unlimited : bool
    """

    on_r0_kg_s: FloatArray
    on_r1_kg_s: FloatArray
    off_r0_kg_s: FloatArray
    off_r1_kg_s: FloatArray
    duty: FloatArray
    duty_run: FloatArray
    rest_share: FloatArray | float = 1.0
    most_cycles_per_h: float = 1.0
    dead_s: float = 0.0
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
    steps : float64 array, shape (len(OUTPUTS) or `ACCOUNTED`, n_cases, n_steps)
    films : float64 array, shape (len(FILMS), n_cases, n_surfaces, n_steps)
    """

    begins: State
    ends: State
    steps: FloatArray
    films: FloatArray

    @property
    def added_kg(self) -> FloatArray:
        """Return what was added in both modes, shape (n_cases, n_steps). [kg]."""
        _, first, second, *_ = self.steps
        added: FloatArray = first + second
        return added

    def replace(self, which: Sequence[int], new: Ran) -> None:
        """Put what happened in some of the cases in the place of what is here."""
        self.steps[:, which], self.films[:, which] = new.steps, new.films
        for mine, its in ((self.begins, new.begins), (self.ends, new.ends)):
            mine.x[which], mine.y[which] = its.x, its.y
            mine.film_kg_m2[which] = its.film_kg_m2


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
            on_r0_kg_s=np.full(n, UNLIMITED),
            on_r1_kg_s=zero,
            off_r0_kg_s=zero,
            off_r1_kg_s=zero,
            duty=np.ones(n),
            duty_run=np.ones(n),
            unlimited=True,
        )
    require_hourly("balance", t_air_c=case.t_air_c, heat_frac=capability.heat_frac)
    share = capability.beside
    off_r0, off_r1 = (share * rate for rate in _relative(capability.added, base))
    on_r0, on_r1 = _relative(capability.heat, base)
    return Device(
        on_r0_kg_s=on_r0,
        on_r1_kg_s=on_r1,
        off_r0_kg_s=off_r0,
        off_r1_kg_s=off_r1,
        duty=capability.with_vapour(capability.heat_frac),
        duty_run=capability.duty_run(case),
        rest_share=share,
        most_cycles_per_h=capability.most_cycles_per_h,
        dead_s=capability.dead_time_s,
    )


def solve(of: Building, cases: Cases, *, start: State | None = None, states: bool = True) -> Ran:
    """Follow every case of a building, as `solve_all` does."""
    starts = None if start is None else [start]
    return solve_all([(of, cases)], starts=starts, states=states)[0]


def solve_all(
    of: Sequence[tuple[Building, Cases]],
    *,
    starts: Sequence[State] | None = None,
    states: bool = True,
) -> list[Ran]:
    """Follow every case of every building through the year.

    A whole year starts from its own last 14 days, and is followed until its films end as they
    began: frost may be older than these days. A part of a year starts as it would be without a
    humidifier, and all from `starts`, one a building, if they are given.
    What becomes of a case does not depend on the others. A year's numbers need no `states` at the
    ends of its steps: without them there are only the `ACCOUNTED` first outputs.

    Raises
    ------
    OutOfRangeError
        If a column is not one number a step: the kernel does not look. Or if the buildings differ
        in their steps.
    """
    for building, cases in of:
        require_hourly("balance", **_columns(building, cases))
    _require_same_steps([building.case for building, _ in of])
    outputs = len(OUTPUTS) if states else ACCOUNTED
    # Side by side go buildings with as many surfaces.
    by_faces: dict[int, list[int]] = {}
    for i, (building, _) in enumerate(of):
        by_faces.setdefault(building.area_m2.size, []).append(i)
    found: dict[int, Ran] = {}
    for which in by_faces.values():
        some = [of[i] for i in which]
        begins = None if starts is None else [starts[i] for i in which]
        found.update(zip(which, _solved(some, begins, outputs), strict=True))
    return [found[i] for i in range(len(of))]


def _require_same_steps(cases: Iterable[HourlyCase]) -> None:
    ways = dict.fromkeys((case.n_steps, case.step_s, case.wraps) for case in cases)
    if len(ways) > 1:
        told = ", ".join(
            f"{n} of {step_s:g} s, a {'whole year' if wraps else 'part of a year'}"
            for n, step_s, wraps in ways
        )
        raise OutOfRangeError(
            f"buildings side by side must have the same steps, got {told}", where="balance"
        )


def _solved(
    of: Sequence[tuple[Building, Cases]], starts: Sequence[State] | None, outputs: int
) -> list[Ran]:
    case = of[0][0].case
    year = slice(0, case.n_steps)
    begins = [each.start(cases.n) for each, cases in of] if starts is None else starts
    if starts is not None or not case.wraps:
        return _run(of, begins, year, outputs)
    warm_up = slice(max(case.n_steps - WARM_UP_DAYS * 24 * case.steps_per_hour, 0), case.n_steps)
    found = _run(of, [ran.ends for ran in _run(of, begins, warm_up, ACCOUNTED)], year, outputs)
    for _ in range(MOST_YEARS):
        late = [(i, which) for i, ran in enumerate(found) if (which := _late(ran))]
        if not late:
            break
        again = _run(
            [(of[i][0], of[i][1].some(which)) for i, which in late],
            [found[i].ends.of(which) for i, which in late],
            year,
            outputs,
        )
        for (i, which), new in zip(late, again, strict=True):
            found[i].replace(which, new)
    return found


def _late(ran: Ran) -> list[int]:
    """Return the cases whose films do not end as they began."""
    apart = np.abs(ran.begins.film_kg_m2 - ran.ends.film_kg_m2)
    return np.flatnonzero((apart > FILM_KG_M2).any(axis=1)).tolist()


def _shared(of: Building) -> list[FloatArray]:
    return [of.ceiling, of.buffer_factor, of.source_kg_s, of.case.exchange_kg_s]


def _columns(of: Building, cases: Cases) -> dict[str, FloatArray]:
    """Return all that the kernel is given a step, by what a message calls it."""
    lows = [cases.low[row] for row in sorted({*cases.of_low, *cases.of_low_wet})]
    used = [cases.devices[row] for row in sorted({*cases.of_device})]
    devices = [getattr(device, name) for device in used for name in _OF_A_DEVICE]
    return {f"input {i}": c for i, c in enumerate([*lows, *_shared(of), *devices])}


def _run(
    of: Sequence[tuple[Building, Cases]], begins: Sequence[State], steps: slice, outputs: int
) -> list[Ran]:
    def rows(values: Iterable[FloatArray]) -> FloatArray:
        return np.stack([each[..., steps] for each in values], dtype=np.float64)

    def joined(values: Iterable[FloatArray]) -> FloatArray:
        return np.concatenate([*values])

    def placed(rows_of: Iterable[Sequence[int]], places: dict[tuple[int, int], int]) -> IntArray:
        """Return the place among all of the rows that each building counts by itself."""
        used = [(k, row) for k, mine in enumerate(rows_of) for row in mine]
        return np.array([places.setdefault(each, len(places)) for each in used])

    buildings, all_cases = [each for each, _ in of], [each for _, each in of]
    own = [building.case for building in buildings]
    sizes = [cases.n for cases in all_cases]
    lows: dict[tuple[int, int], int] = {}
    of_low = placed((cases.of_low for cases in all_cases), lows)
    of_low_wet = placed((cases.of_low_wet for cases in all_cases), lows)
    takers: dict[tuple[int, int], int] = {}
    of_device = placed((cases.of_device for cases in all_cases), takers)
    devices = [all_cases[k].devices[row] for k, row in takers]
    # Those without limit first, those whose plant fires last: likes have like segments.
    kinds = np.array([2 * bool(np.any(d.duty_run < 1.0)) - d.unlimited for d in devices])
    shared = [rows(each) for each in zip(*map(_shared, buildings), strict=True)]
    n, n_faces = shared[0].shape[1], buildings[0].area_m2.size
    results = np.empty((outputs, sum(sizes), n))
    films = np.zeros((len(FILMS), sum(sizes), n_faces, n))
    x, y = joined(each.x for each in begins), joined(each.y for each in begins)
    film = joined(each.film_kg_m2 for each in begins)
    kernel.cases()(
        x, y, film, own[0].step_s, np.array([case.dry_air_kg for case in own]),
        np.array([case.buffer_kg for case in own]), np.array([case.buffer_kg_s for case in own]),
        *shared, np.array([each.area_m2 for each in buildings]),
        rows(each.beta_kg_m2_s for each in buildings), rows(each.limit for each in buildings),
        rows(each.most_kg_m2 for each in buildings),
        np.argsort(kinds[of_device], kind="stable"), np.repeat(np.arange(len(of)), sizes),
        np.array([device.unlimited for device in devices])[of_device],
        of_low, of_low_wet, of_device, joined(cases.wet_above_kg_m2 for cases in all_cases),
        rows(all_cases[k].low[row] for k, row in lows),
        *(rows(getattr(device, name) for device in devices) for name in _OF_A_DEVICE),
        4.0 / 3600.0 * np.array([device.most_cycles_per_h for device in devices]),
        np.array([device.dead_s for device in devices]), results, films,
    )  # fmt: skip
    ends = np.cumsum(sizes)
    return [
        Ran(
            begins=begin,
            ends=State(x=x[mine], y=y[mine], film_kg_m2=film[mine]),
            steps=results[:, mine],
            films=films[:, mine],
        )
        for begin, mine in zip(begins, map(slice, ends - sizes, ends), strict=True)
    ]


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
