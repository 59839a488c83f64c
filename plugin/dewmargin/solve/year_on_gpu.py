"""Year numbers of very many cases of several buildings at once, on a GPU.

What cases share is stacked, building by building and device by device; the kernel's `year` then
solves each case by itself and keeps no hour. The numbers are those of `cases` and `year_of_many`.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.case import WARM_UP_DAYS
from dewmargin.contracts import USES
from dewmargin.errors import InputError
from dewmargin.kernel import tally, year
from dewmargin.physics import air
from dewmargin.physics.surfaces import WET_G_M2
from dewmargin.solve import energy, year_of_many
from dewmargin.solve.cases import FILM_KG_M2
from dewmargin.solve.hours import EDGE_SLACK
from dewmargin.solve.year import DEMAND_HOUR_KG, SHORTFALL_FRAC

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from dewmargin.columns import FloatArray
    from dewmargin.solve.cases import Building, Cases
    from dewmargin.solve.year_of_many import Ledger, Taker

# Takes inputs by name, cases turn by turn, and the number of demands; gives a row a case.
Years = Callable[[dict[str, np.ndarray], list[np.ndarray], int], "FloatArray"]
MOST_BYTES = 24e9  # of what is given to a GPU at a time
_MOST_ROWS = 12  # of what a device uses, usually


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """Cases of one building, and what is to be known of them.

    Attributes
    ----------
    of, book, cases
        As for `cases.solve` and `year_of_many.year_numbers`.
    takers : mapping of int to Taker
        As for `year_of_many.year_numbers`.
    wanted_of : sequence of int
        For each case, the case without limit whose vapour is its demand; -1 for none.
    """

    of: Building
    book: Ledger
    cases: Cases
    takers: Mapping[int, Taker]
    wanted_of: Sequence[int]

    @property
    def n_bytes(self) -> int:
        """Return about what it takes on a device."""
        rows = len(self.cases.low) + len(self.cases.devices) * (year.OF_A_DEVICE + _MOST_ROWS)
        return 8 * self.of.case.n_steps * (rows + 12 + 8 * self.of.area_m2.size)


def gpu_years() -> Years:
    """Return what solves stacked cases on this machine's GPU.

    Raises
    ------
    InputError
        If there is none.
    """
    reason = "numba-cuda is not installed (pip install 'dewmargin[gpu]')"
    with suppress(ImportError):
        from dewmargin.kernel import gpu  # noqa: PLC0415 - only where a GPU is asked for

        if gpu.cuda.is_available():
            return gpu.years
        reason = "no CUDA GPU or driver was found"
    raise InputError(
        f"no GPU can be used: {reason}", where="--device gpu", hint="leave it out for the CPU"
    )


def solve(jobs: Sequence[Job], years: Years) -> list[dict[str, FloatArray]]:
    """Return the year numbers of the cases of every job, as `year_of_many.year_numbers`.

    Parameters
    ----------
    jobs : sequence of Job
        Of as many surfaces and the same steps each.
    years : callable
        What solves stacked cases: that of `gpu_years`, or what does the same elsewhere.
    """
    found: list[dict[str, FloatArray]] = []
    for some in _parts(jobs):
        out = years(*stacked(some))
        ends = np.cumsum([job.cases.n for job in some])
        for job, mine in zip(some, np.split(out, ends[:-1]), strict=True):
            known = job.of.area_m2.size > 0
            takes = np.isin(job.cases.of_device, list(job.takers))[:, None]
            found.append(
                year_of_many.named(
                    job.of,
                    job.book,
                    room=mine[:, : tally.OF_ROOM],
                    used=np.where(takes, mine[:, tally.OF_ROOM : year.MARGIN], 0.0),
                    margin_k=mine[:, year.MARGIN] if known else np.full(len(mine), np.nan),
                    of_device=job.cases.of_device,
                    takers=job.takers,
                    asked=np.array(job.wanted_of),
                )
            )
    return found


def _parts(jobs: Sequence[Job]) -> Iterator[Sequence[Job]]:
    """Yield jobs together that find room on a device."""
    first, taken = 0, 0
    for i, job in enumerate(jobs):
        if i > first and taken + job.n_bytes > MOST_BYTES:
            yield jobs[first:i]
            first, taken = i, 0
        taken += job.n_bytes
    yield jobs[first:]


def stacked(jobs: Sequence[Job]) -> tuple[dict[str, np.ndarray], list[np.ndarray], int]:
    """Return what `kernel.gpu.years` takes."""
    case = jobs[0].of.case
    of_case = np.full((sum(job.cases.n for job in jobs), 6), -1, dtype=np.int64)
    lows: list[FloatArray] = []
    devices: list[tuple[Job, int]] = []
    turns: tuple[list[int], list[int]] = ([], [])
    n_wanted, at, n_lows = 0, 0, 0
    for b, job in enumerate(jobs):
        cases, mine = job.cases, slice(at, at + job.cases.n)
        used = list(dict.fromkeys(cases.of_device))
        place = {device: len(devices) + i for i, device in enumerate(used)}
        devices += [(job, device) for device in used]
        wanted = np.array(job.wanted_of)
        fills = np.full(cases.n, -1)
        demands = np.unique(wanted[wanted >= 0])
        fills[demands] = n_wanted + np.arange(demands.size)
        of_case[mine, year.OF_BUILDING] = b
        of_case[mine, year.OF_DEVICE] = [place[device] for device in cases.of_device]
        of_case[mine, year.OF_LOW] = n_lows + np.array(cases.of_low)
        of_case[mine, year.OF_LOW_WET] = n_lows + np.array(cases.of_low_wet)
        of_case[mine, year.WANTED] = np.where(wanted >= 0, fills[wanted], -1)
        of_case[mine, year.FILLS] = fills
        for c in range(cases.n):
            turns[0 if fills[c] >= 0 else 1].append(at + c)
        lows.append(cases.low)
        n_lows += len(cases.low)
        n_wanted += demands.size
        at += cases.n
    starts = [job.of.start(job.cases.n) for job in jobs]
    rows, of_use = zip(*(_uses(*each) for each in devices), strict=True)
    most = max(len(each) for each in rows)
    inputs = {
        "shared": _shared(jobs[0]),
        "of_case": of_case,
        "numbers": np.array(
            [
                [
                    job.of.case.dry_air_kg,
                    job.of.case.buffer_kg,
                    job.of.case.buffer_kg_s,
                    job.book.low_rh,
                    job.book.high_rh,
                    energy.kept_in_an_hour(job.of.case),
                ]
                for job in jobs
            ]
        ),
        "steps": np.array([_steps(job) for job in jobs]),
        "hours": np.array([_hours(job) for job in jobs]),
        "faces": np.array([_faces(job) for job in jobs]),
        "face_hours": np.array([_face_hours(job) for job in jobs]),
        "area": np.array([job.of.area_m2 for job in jobs]),
        "devices": np.array([_device(*each) for each in devices]),
        "rows": np.array([np.pad(each, ((0, most - len(each)), (0, 0))).T for each in rows]),
        "of_use": np.array(of_use),
        "of_device": np.array([_of_device(*each) for each in devices]),
        "points": _points(devices),
        "low": np.concatenate(lows),
        "wet_above": np.concatenate([job.cases.wet_above_kg_m2 for job in jobs]),
        "state": np.concatenate([np.stack([s.x, s.y], axis=1) for s in starts]),
    }
    if case.wraps:
        inputs["shared"][year.WARM_UP] = max(case.n_hours - WARM_UP_DAYS * 24, 0)
    return inputs, [np.array(turn, dtype=np.int64) for turn in turns], n_wanted


def _shared(job: Job) -> FloatArray:
    case = job.of.case
    found = np.zeros(year.OF_ALL)
    found[year.STEP_S], found[year.PARTS] = case.step_s, case.steps_per_hour
    found[year.WRAPS] = case.wraps
    found[year.SLACK], found[year.FILM_WET] = EDGE_SLACK, 1e-3 * WET_G_M2
    found[year.DEMAND_HOUR], found[year.SHORT_FRAC] = DEMAND_HOUR_KG, SHORTFALL_FRAC
    found[year.MOLAR_RATIO] = air.MOLAR_RATIO
    found[year.NEAR_FILM], found[year.KELVIN] = FILM_KG_M2, air.KELVIN
    return found


def _steps(job: Job) -> FloatArray:
    of, case = job.of, job.of.case
    return np.array(
        [
            of.ceiling,
            of.buffer_factor,
            of.source_kg_s,
            case.exchange_kg_s,
            case.w_base_kg_kg,
            air.vapour_enthalpy(case.t_air_c),
        ]
    ).T


def _hours(job: Job) -> FloatArray:
    case, hours = job.of.case, job.book.hours
    per_heat, cheap_j, beyond = energy.prices(case.heat_source, case)
    return np.array(
        [
            hours.p_pa,
            hours.p_sat_pa,
            hours.heating_season,
            3600.0 * case.hourly_mean(case.heating_w),
            hours.cooling,
            per_heat,
            energy.spare_j(case),
            energy.blower_share(case),
            cheap_j,
            beyond,
        ]
    ).T


def _faces(job: Job) -> FloatArray:
    of = job.of
    return np.stack([of.beta_kg_m2_s.T, of.limit.T, of.most_kg_m2.T], axis=-1)


def _face_hours(job: Job) -> FloatArray:
    hours, book = job.book.hours, job.book
    return np.stack(
        [
            hours.w_offset_kg_kg.T,
            book.w_face.T,
            hours.t_surface_c.T < 0.0,
            book.slope_per_k.T,
            hours.t_surface_c.T,
        ],
        axis=-1,
    )


def _device(job: Job, which: int) -> FloatArray:
    device, case = job.cases.devices[which], job.of.case
    found = np.zeros((year.OF_A_DEVICE, case.n_steps))
    found[year.ON0], found[year.ON1] = device.on_r0_kg_s, device.on_r1_kg_s
    found[year.OFF0], found[year.OFF1] = device.off_r0_kg_s, device.off_r1_kg_s
    found[year.DUTY], found[year.DUTY_RUN] = device.duty, device.duty_run
    found[year.SHARE_REST] = device.rest_share
    if (taker := job.takers.get(which)) is not None:
        can = taker.capability
        found[year.AVAILABLE] = can.available_s(case.step_s)
        found[year.HOT] = 0.0 if can.hot is None else can.hot
        found[year.RESTING_HEAT], found[year.RESTING_LINE] = can.resting_heat_w, can.resting_line_w
        found[year.HEATER] = np.repeat(
            year_of_many.per_heat(taker.heater, job.of), case.steps_per_hour
        )
    return found.T


def _uses(job: Job, which: int) -> tuple[FloatArray, np.ndarray]:
    """Return what a device uses, and where each use has its rows."""
    if (taker := job.takers.get(which)) is None:
        nothing = np.zeros((len(USES), 2, 2), dtype=np.int64)
        return np.zeros((1, job.of.case.n_steps)), nothing
    return year_of_many.use_rows(taker.capability, job.of.case.n_steps)


def _of_device(job: Job, which: int) -> FloatArray:
    found, device = np.zeros(year.NUMBERS_OF_A_DEVICE), job.cases.devices[which]
    found[year.UNLIMITED], found[year.DEAD] = device.unlimited, device.dead_s
    found[year.FIRINGS] = 4.0 / 3600.0 * device.most_cycles_per_h
    if (taker := job.takers.get(which)) is not None:
        can = taker.capability
        found[year.STANDBY], found[year.RESTING_FEED] = can.standby_w, can.resting_feed_kg_s
        if can.part_load is not None:
            found[year.FULL], found[year.UNITS] = can.part_load.rate_kg_s, can.part_load.units
            found[year.POINTS] = 1.0
    return found


def _points(devices: Sequence[tuple[Job, int]]) -> FloatArray:
    """Return efficiencies at part load, those with fewer points flat beyond their last."""
    loads = [
        None if (taker := job.takers.get(which)) is None else taker.capability.part_load
        for job, which in devices
    ]
    most = max((len(load.points) for load in loads if load is not None), default=1)
    found = np.zeros((len(devices), most, 2))
    for mine, load in zip(found, loads, strict=True):
        if load is not None:
            mine[: len(load.points)] = load.points
            mine[len(load.points) :] = load.points[-1]
            mine[len(load.points) :, 0] += np.arange(1, most - len(load.points) + 1)
    return found
