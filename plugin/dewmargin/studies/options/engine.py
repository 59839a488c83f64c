"""The engine of all studies: a building prepared once, and many options of it solved in one call.

What is asked for with its hours goes through `Prepared.outcomes`, what is asked for as year numbers
through a `Pile`. Two things stay apart: zones humidified beside a space are
solved in turn until they agree, one option at a time (`require_alone` refuses them where many are
tried), and the swing of a controller needs a second solution, at the mean that the first gives.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

import numpy as np

from dewmargin.errors import InputError
from dewmargin.kernel.source import NEVER
from dewmargin.solve import balance, cases, year_of_many, year_on_gpu
from dewmargin.solve.hours import hours_of
from dewmargin.solve.year_of_many import N_METRICS

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Capability, WhileWet
    from dewmargin.scenario import Comfort
    from dewmargin.solve.balance import Outcome
    from dewmargin.solve.hours import YearHours

CASES_AT_ONCE = 32  # solved in one call: as many go through the year side by side
Key = TypeVar("Key", bound="Hashable")


def require_alone(case: HourlyCase, *, what: str = "lines and draws") -> None:
    """Raise if zones are humidified together: they are solved in turn, not many cases at once.

    Raises
    ------
    InputError
    """
    if case.held_zones:
        raise InputError(
            f"{what} are not tried with zones that are humidified beside the space",
            where="space.simulation.humidified_alike",
            hint="leave them out here, or compare options one by one",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """A building, prepared for whatever is asked of it.

    Attributes
    ----------
    case : HourlyCase
    hours : YearHours
    of : Building
        What the kernel takes of it.
    book : Ledger
        What the accounts of its years need.
    """

    case: HourlyCase
    hours: YearHours
    of: cases.Building
    book: year_of_many.Ledger

    def baseline(self) -> Outcome:
        """Return the year without a humidifier, with its hours."""
        return balance.baseline(self.case, of=self.of)

    def outcomes(self, asked: Sequence[balance.Asked]) -> list[Outcome]:
        """Return what happens for all that is asked, side by side, with its hours."""
        return balance.deliver_all(self.case, asked, of=self.of)


def prepared(case: HourlyCase, comfort: Comfort) -> Prepared:
    """Prepare a building for a comfort band and a heating season."""
    hours = hours_of(case, heating_season_below_c=comfort.heating_season_below_c)
    return Prepared(
        case=case,
        hours=hours,
        of=cases.building(case),
        book=year_of_many.ledger(hours, low_rh=comfort.low_rh, high_rh=comfort.high_rh),
    )


def added_kg(
    building: Prepared, w_set_kg_kg: FloatArray, capabilities: Sequence[Capability]
) -> FloatArray:
    """Return what devices add at one set-point, hour by hour and nothing else of it. [kg].

    Parameters
    ----------
    building : Prepared
    w_set_kg_kg : float64 array, shape (n_steps,)
        Humidity ratio to hold, wet surfaces or not. [kg/kg]
    capabilities : sequence of Capability

    Returns
    -------
    float64 array, shape (n_capabilities, n_hours)
    """
    case, n = building.case, len(capabilities)
    ran = cases.solve(
        building.of,
        cases.Cases(
            low=building.of.to_hold(w_set_kg_kg)[None],
            devices=[cases.device(case, each) for each in capabilities],
            of_low=[0] * n,
            of_low_wet=[0] * n,
            of_device=range(n),
            wet_above_kg_m2=np.full((n, len(case.surfaces)), np.inf),
        ),
        states=False,
    )
    return case.steps_per_hour * case.hourly_mean(ran.added_kg)


@dataclass(frozen=True, slots=True)
class Low:
    """Rows of what is to be held while dry and while wet, and the films that count as wet."""

    dry: int
    wet: int
    above_kg_m2: tuple[float, ...]


class Pile(Generic[Key]):
    """Options of one building, each solved once however often it is asked for.

    Attributes
    ----------
    building : Prepared
    taker_of : callable
        A device with its account, by its key.
    cases : dict
        Set-points with the keys of devices; by them the row in `numbers`.
    lows : list of float64 array
        What is to be held.
    numbers : float64 array, shape (n_cases, n_metrics)
        By `year_of_many.METRICS`, once they are solved.
    """

    def __init__(
        self,
        building: Prepared,
        taker_of: Callable[[Key], year_of_many.Taker],
        *,
        with_demand: bool = True,
    ) -> None:
        self.building, self.taker_of = building, taker_of
        self.cases: dict[tuple[Low, Key | None], int] = {}
        self.lows: list[FloatArray] = []
        self.numbers = np.empty((0, N_METRICS))
        self._with_demand = with_demand
        self._low_rows: dict[bytes, int] = {}

    def low(self, w_set_kg_kg: FloatArray) -> int:
        """Return the row of a set-point; equal ones share it."""
        held = self.building.of.to_hold(w_set_kg_kg)
        row = self._low_rows.setdefault(held.tobytes(), len(self.lows))
        if row == len(self.lows):
            self.lows.append(held)
        return row

    def always(self, w_set_kg_kg: FloatArray) -> Low:
        """Return what is to be held, wet surfaces or not."""
        row = self.low(w_set_kg_kg)
        return Low(row, row, ())

    def unless_wet(self, w_set_kg_kg: FloatArray, wet: WhileWet) -> Low:
        """Return what is to be held while surfaces are dry, with what a rule holds while not."""
        case = self.building.case
        w_wet = balance.setpoint_humidity_ratio(case, wet.rh_frac)
        above = tuple(wet.above_kg_m2(case).tolist())
        return Low(self.low(w_set_kg_kg), self.low(w_wet), above)

    def baseline(self) -> int:
        """Return the case without a humidifier."""
        return self.place(self.always(np.full(self.building.case.n_steps, NEVER)), None)

    def place(self, low: Low, key: Key | None) -> int:
        """Return the case of a set-point and a device."""
        return self.cases.setdefault((low, key), len(self.cases))

    @property
    def held(self) -> list[Low]:
        """Return the set-points whose demand is to be solved too: those that devices are given."""
        if not self._with_demand:
            return []
        return list(dict.fromkeys(low for low, key in self.cases if key is not None))


class _Solving(Generic[Key]):
    """The cases of a pile while they are solved, a few at a time.

    What devices without limit add comes first: the others are measured by it.
    """

    def __init__(self, pile: Pile[Key]) -> None:
        self._building, self._lows = pile.building, np.array(pile.lows)
        case, held = pile.building.case, pile.held
        keys = list(dict.fromkeys(key for _, key in pile.cases if key is not None))
        self._takers = {2 + i: pile.taker_of(key) for i, key in enumerate(keys)}
        given = [balance.idle(case.n_steps), None, *(t.capability for t in self._takers.values())]
        self._devices = [cases.device(case, each) for each in given]
        device_of: dict[Key | None, int] = {None: 0} | {key: 2 + i for i, key in enumerate(keys)}
        self._cases = [(low, 1) for low in held]
        self._cases += [(low, device_of[key]) for low, key in pile.cases]
        self._row_of = {low: i for i, low in enumerate(held)}
        self._wanted = np.zeros((len(held), case.n_steps))
        self.found = np.empty((len(self._cases), N_METRICS))

    @property
    def numbers(self) -> FloatArray:
        """Return what was found of the pile's own cases."""
        return self.found[len(self._row_of) :]

    def _wanted_of(self, asked: Sequence[tuple[Low, int]]) -> list[int]:
        """Return for each case the row of its demand, -1 for none."""
        return [self._row_of.get(low, -1) if device > 1 else -1 for low, device in asked]

    def some(self, which: Sequence[int]) -> tuple[cases.Building, cases.Cases]:
        """Return some of the cases, for the kernel."""
        n_faces = len(self._building.case.surfaces)
        lows = [self._cases[i][0] for i in which]
        above = [low.above_kg_m2 or (np.inf,) * n_faces for low in lows]
        rows = dict.fromkeys(row for low in lows for row in (low.dry, low.wet))
        place = {row: i for i, row in enumerate(rows)}
        return self._building.of, cases.Cases(
            low=np.array([self._lows[row] for row in rows]),
            devices=self._devices,
            of_low=[place[low.dry] for low in lows],
            of_low_wet=[place[low.wet] for low in lows],
            of_device=[self._cases[i][1] for i in which],
            wet_above_kg_m2=np.array(above, dtype=np.float64).reshape(len(lows), n_faces),
        )

    def job(self) -> year_on_gpu.Job:
        """Return all of the cases, to be solved at once."""
        of, every = self.some(range(len(self._cases)))
        return year_on_gpu.Job(
            of=of,
            book=self._building.book,
            cases=every,
            takers=self._takers,
            wanted_of=self._wanted_of(self._cases),
        )

    def take(self, which: Sequence[int], ran: cases.Ran) -> None:
        """Add up what the kernel found."""
        some = [self._cases[i] for i in which]
        wanted = [i for i in which if i < len(self._row_of)]
        self._wanted[wanted] = ran.added_kg[: len(wanted)]
        of_device = [device for _, device in some]
        self.found[which] = _by_metric(
            year_of_many.year_numbers(
                self._building.of,
                self._building.book,
                ran,
                devices=self._devices,
                of_device=of_device,
                takers={i: taker for i, taker in self._takers.items() if i in of_device},
                wanted_kg=self._wanted,
                wanted_of=self._wanted_of(some),
            )
        )


def solve(
    piles: Sequence[Pile[Key]], *, years: year_on_gpu.Years | None = None
) -> Iterator[Pile[Key]]:
    """Solve the cases of all piles side by side; yield each that has its numbers.

    Parameters
    ----------
    piles : sequence of Pile
    years : callable, optional
        What solves all at once on a GPU, see `year_on_gpu`; by default this machine's cores do, a
        few cases at a time.
    """
    return _by_turns(piles) if years is None else _massed(piles, years)


def _by_turns(piles: Sequence[Pile[Key]]) -> Iterator[Pile[Key]]:
    sizes = [len(pile.held) + len(pile.cases) for pile in piles]
    turn = np.array([(k, i) for k, size in enumerate(sizes) for i in range(size)])
    works: dict[int, _Solving[Key]] = {}
    # Calls of equal size: few cases side by side take longer.
    for part in np.array_split(turn, math.ceil(len(turn) / CASES_AT_ONCE)):
        together: dict[int, list[int]] = {}
        for k, i in part.tolist():
            together.setdefault(k, []).append(i)
        works.update((k, _Solving(piles[k])) for k in together if k not in works)
        _in_one_call({works[k]: which for k, which in together.items()})
        for k, which in together.items():
            if which[-1] == sizes[k] - 1:
                piles[k].numbers = works.pop(k).numbers
                yield piles[k]


def _massed(piles: Sequence[Pile[Key]], years: year_on_gpu.Years) -> Iterator[Pile[Key]]:
    works = [_Solving(pile) for pile in piles]
    by_faces: dict[int, list[int]] = {}
    for i, pile in enumerate(piles):
        by_faces.setdefault(len(pile.building.case.surfaces), []).append(i)
    for which in by_faces.values():
        found = year_on_gpu.solve([works[i].job() for i in which], years)
        for i, numbers in zip(which, found, strict=True):
            works[i].found[:] = _by_metric(numbers)
            piles[i].numbers = works[i].numbers
    yield from piles


def _in_one_call(together: Mapping[_Solving[Key], Sequence[int]]) -> None:
    """Solve some cases of several buildings."""
    asked = [work.some(which) for work, which in together.items()]
    ran = cases.solve_all(asked, states=False)
    for (work, which), each in zip(together.items(), ran, strict=True):
        work.take(which, each)


def _by_metric(numbers: Mapping[str, FloatArray]) -> FloatArray:
    """Return year numbers as a row a case."""
    return np.array([numbers[name] for name in year_of_many.METRICS]).T
