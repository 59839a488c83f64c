"""How big a humidifier has to be: the load, and the least size that falls short of it rarely.

The load is what a device without limit adds, hour by hour; beside it stands the steady load at the
design humidity of the climate. A size is tried by solving the year with it, so that plenum, time to
run, feed temperature and what the room stores are all in it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin import columns
from dewmargin.columns import Table
from dewmargin.contracts import USES, InUnits
from dewmargin.errors import InputError
from dewmargin.physics import air
from dewmargin.reports import notebook
from dewmargin.reports.tables import rows
from dewmargin.scenario import SEPARATOR, Scenario, load
from dewmargin.solve import balance
from dewmargin.solve.hours import dew_point, duration
from dewmargin.solve.year import DEMAND_HOUR_KG, short_hours
from dewmargin.studies.compare.tables import EXCEEDED_PERCENT
from dewmargin.studies.options.engine import Prepared, added_kg, prepared, require_alone
from dewmargin.studies.options.held import Held, hold
from dewmargin.studies.options.record import about, inputs_sha256, write_tables
from dewmargin.weather import climate

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Capability, Equipment, FeedWater, Mode, Use
    from dewmargin.solve.hours import YearHours
    from dewmargin.units import Units
    from dewmargin.weather.epw import HumidificationDesign, Weather

# Hours short by default, of all: as many as the 99.6 % design humidity leaves.
SHORT_FRAC = 0.004
SHORTFALL_FRAC = 0.01  # of the demand by default; common practice, no source
STEPS = 100  # a size is sought in so many parts of the given one
MOST = 100  # times the given one
OVERSIZED = 1.5  # times what would do; common practice, no source

_GUESSES = 32  # sizes solved side by side
_ALWAYS_FRAC = 1.0 - 1e-9  # of an hour
_NEAR_K = 0.5  # of a dew point
_DEW_POINT_ROUNDING_K = 1e-6


def steady_load(
    exchange_kg_s: FloatArray,
    w_in_kg_kg: FloatArray,
    w_out_kg_kg: FloatArray,
    gains_kg_s: FloatArray,
) -> FloatArray:
    r"""Vapour to be added so that a room stays as humid as it is. [kg/s].

    .. math:: H = m\,(W_i - W_o) - S

    Parameters
    ----------
    exchange_kg_s : float64 array
        Dry air exchanged with outdoors. [kg/s]
    w_in_kg_kg, w_out_kg_kg : float64 array
        Humidity ratio of the room and outdoors. [kg/kg]
    gains_kg_s : float64 array
        Moisture released in the room. [kg/s]

    Notes
    -----
    *Validity.* Steady state; below 0 the room would have to be dried.

    *Source.* ASHRAE Handbook, HVAC Systems and Equipment, chapter on humidifiers, load calculation.

    Examples
    --------
    >>> load = steady_load(*map(np.array, ([0.1], [0.006], [0.001], [0.0001])))
    >>> (3600 * load).round(3)
    array([1.44])
    """
    return exchange_kg_s * (w_in_kg_kg - w_out_kg_kg) - gains_kg_s


def scaled(capability: Capability, factor: float) -> Capability:
    """Return so much of a device: it gives and takes `factor` times as much, at the same time."""

    def use(of: Use) -> Use:
        return replace(of, per_s=of.per_s * factor)

    def mode(of: Mode) -> Mode:
        return replace(
            of,
            r0_kg_s=of.r0_kg_s * factor,
            r1_kg_s=of.r1_kg_s * factor,
            **{name: use(getattr(of, name)) for name in USES},
        )

    load_ = capability.part_load
    return replace(
        capability,
        heat=mode(capability.heat),
        added=None if capability.added is None else mode(capability.added),
        standby_w=capability.standby_w * factor,
        resting_feed_kg_s=capability.resting_feed_kg_s * factor,
        resting_heat_w=capability.resting_heat_w * factor,
        resting_line_w=capability.resting_line_w * factor,
        part_load=None if load_ is None else replace(load_, rate_kg_s=load_.rate_kg_s * factor),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """What a size falls short of: hours outside catch-up hours, and the year's kilograms."""

    hours: float
    kg: float

    def within(self, allowed: Missed) -> bool:
        """Tell whether it is not more than is allowed."""
        return self.hours <= allowed.hours and self.kg <= allowed.kg


def missed(held: Held, added_kg: FloatArray) -> Missed:
    """Return what hourly kilograms fall short of.

    Hours after a set-back are the schedule's matter: what they miss counts in kilograms alone.
    """
    demand = held.demand.added_kg
    short = short_hours(demand, added_kg) & ~held.catch_up
    return Missed(hours=float(np.count_nonzero(short)), kg=float((demand - added_kg).sum()))


def least(done: Callable[[int], bool], *, guess: int, most: int) -> int | None:
    """Return a number that is done while the one before is not, or None up to `most`.

    0 counts as not done. The search spreads from a guess, by steps that double.
    """
    step, low, high = 1, 0, max(1, min(guess, most))
    if done(high):
        while high - step > 0:
            if not done(high - step):
                low = high - step
                break
            high, step = high - step, 2 * step
    else:
        low = high
        while True:
            if low == most:
                return None
            high = min(low + step, most)
            if done(high):
                break
            low, step = high, 2 * step
    while high - low > 1:
        middle = (low + high) // 2
        if done(middle):
            high = middle
        else:
            low = middle
    return high


class Search:
    """Sizes of one equipment on one supply under one strategy, tried by solving the year.

    What comes in units (`contracts.InUnits`) is asked anew at every size, since units in one duct
    share its air, and what runs shorter runs longer on water that stood in its line; a part of a
    unit counts as a part of its flow, feed and energy. What does not is scaled.

    Raises
    ------
    InputError
        If the equipment does not suit the space.
    """

    def __init__(
        self,
        building: Prepared,
        held: Held,
        equipment: Equipment,
        water: FeedWater,
        dry: balance.Outcome,
        allowed: Missed,
    ) -> None:
        self.building, self.case = building, building.case
        self.held, self.allowed = held, allowed
        self._equipment, self._water, self._dry = equipment, water, dry
        self.given_units = equipment.count if isinstance(equipment, InUnits) else 1
        self.given = held.capability(equipment, self.case, water, dry)
        self.refusal: str | None = None
        self._known: dict[float, Missed | None] = {}

    def capability(self, units: float) -> Capability:
        """Return what so many units can do.

        Raises
        ------
        InputError
            If there is no room for so many.
        """
        if units == self.given_units:
            return self.given
        if not isinstance(self._equipment, InUnits):
            return scaled(self.given, units / self.given_units)
        so_many = self._equipment.with_count(units)
        return self.held.capability(so_many, self.case, self._water, self._dry)

    def outcome(self, units: float) -> balance.Outcome:
        """Solve the year with so many units."""
        held = self.held
        [outcome] = self.building.outcomes(
            [
                balance.Asked(
                    rh_set_frac=held.rh_set, capability=self.capability(units), wet=held.wet
                )
            ]
        )
        return outcome

    def missed(self, units: float) -> Missed | None:
        """Return what so many units fall short of; None: there is no room for them."""
        if units not in self._known:
            try:
                self._known[units] = missed(self.held, self.outcome(units).added_kg)
            except InputError as error:
                self.refusal = error.what
                self._known[units] = None
        return self._known[units]

    def least_units(self, guess: float, *, step: float) -> float | None:
        """Return the least units that miss no more than is allowed, in whole steps; or None."""

        def done(k: int) -> bool:
            found = self.missed(k * step)
            return found is None or found.within(self.allowed)

        steps_of_given = self.given_units / step
        k = least(
            done,
            guess=int(np.ceil(guess * steps_of_given - 1e-9)),
            most=round(MOST * steps_of_given),
        )
        return None if k is None or self.missed(k * step) is None else k * step

    def guess(self) -> float | None:
        """Return about how many times the given size would do: sizes side by side, all scaled.

        What is held while a surface is wet is left out, so that none misses more than it would;
        None: not even `MOST` times would do.
        """
        low, high = 1.0 / STEPS, float(MOST)
        for factors in (np.geomspace, np.linspace):
            tried = factors(low, high, _GUESSES)
            does = [found.within(self.allowed) for found in self._side_by_side(tried)]
            if not any(does):
                return None
            first = does.index(True)
            low, high = float(tried[max(first - 1, 0)]), float(tried[first])
        return high

    def _side_by_side(self, factors: FloatArray) -> list[Missed]:
        sizes = [scaled(self.given, float(factor)) for factor in factors]
        added = added_kg(self.building, self.held.w_set, sizes)
        return [missed(self.held, each) for each in added]


@dataclass(frozen=True, slots=True, kw_only=True)
class Flows:
    """What all units do while they run, in the steps with demand, with heat and in the rest.

    Arrays have the shape (2, n_steps), 0 where a mode has no time.
    """

    time_frac: FloatArray
    rate_kg_s: FloatArray
    feed_kg_s: FloatArray
    electric_w: FloatArray


def flows(case: HourlyCase, held: Held, capability: Capability) -> Flows:
    """Return what a device does while it runs, at the set-point."""
    wanted = np.repeat(held.demand.added_kg, case.steps_per_hour) > 0.0
    wanted &= held.w_set >= 0.0
    heat = capability.heat_frac
    times = [heat, (1.0 - heat) * capability.added_share]
    result = np.zeros((4, 2, case.n_steps))
    for m, mode in enumerate((capability.heat, capability.added)):
        if mode is None:
            continue
        runs = wanted & (times[m] > 0.0)
        rate = np.maximum(mode.r0_kg_s - mode.r1_kg_s * held.w_set, 0.0)
        electric = _while_running(mode.electricity, rate) + _while_running(mode.fan, rate)
        values = (times[m], rate, _while_running(mode.feed, rate), electric)
        for k, value in enumerate(values):
            result[k, m] = np.where(runs, value, 0.0)
    return Flows(
        time_frac=result[0], rate_kg_s=result[1], feed_kg_s=result[2], electric_w=result[3]
    )


def _while_running(use: Use, rate_kg_s: FloatArray) -> FloatArray:
    result: FloatArray = use.per_s + use.per_kg * rate_kg_s
    return result


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sizing:
    """What a sizing found.

    Attributes
    ----------
    scenario : Scenario
    weather : Weather or None
    loads, design_loads, load_duration, sizes : Table
        As in `dewmargin.columns`.
    notes : tuple of str
        How far to trust it.
    """

    scenario: Scenario
    weather: Weather | None
    loads: Table
    design_loads: Table
    load_duration: Table
    sizes: Table
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        """Return title and extent in a line: no tables."""
        return (
            f"<Sizing {self.scenario.title!r}: {len(self.loads.data['strategy'])} strategies, "
            f"{len(self.sizes.data['option'])} options>"
        )

    def tables(self) -> dict[str, Table]:
        """Return all tables by name."""
        return {
            "loads": self.loads,
            "design_loads": self.design_loads,
            "load_duration": self.load_duration,
            "sizes": self.sizes,
        }

    def _repr_html_(self) -> str:
        """Return what a notebook shows: loads, sizes and cautions."""
        excerpts = [notebook.OF_LOADS, notebook.OF_SIZES]
        return notebook.fragment(self.scenario.title, self.cautions(), self.tables(), excerpts)

    def cautions(self) -> list[str]:
        """Return why no size does, and what speaks against the given ones; what is alike once."""
        data = self.sizes.data
        found: dict[str, list[str]] = {}
        for kind in ("limited_by", "oversize"):
            for name, text in zip(data["option"], data[kind], strict=True):
                if text is not None:
                    found.setdefault(text, []).append(name)
        return [f"{'; '.join(names)}: {text}." for text, names in found.items()]

    def document(self) -> dict[str, Any]:
        """Return what a program wants to know, for JSON."""
        tables = {name: rows(table) for name, table in self.tables().items()}
        return {"title": self.scenario.title, **tables, "notes": list(self.notes)}

    def write(self, out: Path, *, units: Units = "si") -> list[Path]:
        """Write the tables, `manifest.json` last.

        Raises
        ------
        OutputError
            If a file cannot be written.
        """
        inputs = inputs_sha256(self.scenario, self.weather)
        said = about(self.scenario, inputs) | {"notes": list(self.notes)}
        return write_tables(out, self.tables(), said, units=units)


def size(
    source: str | Path | Scenario,
    *,
    shortfall_h: float | None = None,
    shortfall_kg: float | None = None,
    after: Callable[[float], None] = lambda _share: None,
) -> Sizing:
    """Find the load of every strategy, and the least size of every equipment on every supply.

    Parameters
    ----------
    source : path or Scenario
    shortfall_h : float, optional
        Most hours short outside catch-up hours; by default 0.4 % of the record's hours, rounded
        down: 35 of a year. [h]
    shortfall_kg : float, optional
        Most demand less delivered over the record; by default 1 % of the demand. [kg]
    after : callable
        Told which share of the work is done.

    Raises
    ------
    InputError
        If an equipment does not suit the space, or a limit is below 0.
    """
    scenario = source if isinstance(source, Scenario) else load(source)
    weather = scenario.read_weather()
    case = scenario.case(weather)
    try:
        return size_case(
            scenario,
            weather,
            case,
            shortfall_h=shortfall_h,
            shortfall_kg=shortfall_kg,
            after=after,
        )
    except InputError as error:
        raise scenario.placed(error) from error


def size_case(
    scenario: Scenario,
    weather: Weather | None,
    case: HourlyCase,
    *,
    shortfall_h: float | None = None,
    shortfall_kg: float | None = None,
    after: Callable[[float], None] = lambda _share: None,
) -> Sizing:
    """Do the same for a scenario whose weather and space are read already."""
    require_alone(case, what="sizes")
    for name, limit in (("shortfall-h", shortfall_h), ("shortfall-kg", shortfall_kg)):
        if limit is not None and not limit >= 0.0:
            raise InputError(
                f"must be at least 0, got {limit:g}",
                where=name,
                hint="leave it out for its default",
            )
    building = prepared(case, scenario.comfort)
    hours = building.hours
    held = hold(building, scenario.strategies, scenario.control)
    dry = building.baseline()
    most_h = float(np.floor(SHORT_FRAC * case.n_hours)) if shortfall_h is None else shortfall_h
    pairs = [
        (each, equipment, supply.name, supply.feed_water(case))
        for each in held
        for equipment in scenario.equipment
        for supply in scenario.supplies
    ]
    found = []
    for each, equipment, supply, water in pairs:
        wanted_kg = float(each.demand.added_kg.sum())
        most_kg = SHORTFALL_FRAC * wanted_kg if shortfall_kg is None else shortfall_kg
        allowed = Missed(hours=most_h, kg=most_kg)
        search = Search(building, each, equipment, water, dry, allowed)
        names = (each.strategy.name, equipment.name, supply)
        found.append(_size_row(hours, search, equipment, water, names))
        after(len(found) / len(pairs))
    designs = _design_rows(weather, case, hours, held)
    return Sizing(
        scenario=scenario,
        weather=weather,
        loads=_table(columns.LOADS, [_load_row(each) for each in held]),
        design_loads=_table(columns.DESIGN_LOADS, designs),
        load_duration=_table(columns.LOAD_DURATION, _duration_rows(held)),
        sizes=_table(columns.SIZES, found),
        notes=_notes(scenario, weather, most_h, shortfall_kg),
    )


def _table(shape: tuple[columns.Column, ...], found: list[dict[str, Any]]) -> Table:
    return Table(
        columns=shape, data={column.name: [row[column.name] for row in found] for column in shape}
    )


def _load_row(held: Held) -> dict[str, Any]:
    demand = held.demand.added_kg
    parts = {"p996": 0.4, "p99": 1.0, "p975": 2.5, "p95": 5.0}
    return {
        "strategy": held.strategy.name,
        "demand_kg": float(demand.sum()),
        "demand_h": float(np.count_nonzero(demand > DEMAND_HOUR_KG)),
        "demand_peak_kg_h": float(demand[~held.catch_up].max(initial=0.0)),
        "demand_after_setback_kg_h": float(demand[held.catch_up].max(initial=0.0)),
        **{
            f"demand_{name}_kg_h": float(duration(demand, np.array(percent)))
            for name, percent in parts.items()
        },
    }


def _duration_rows(held: list[Held]) -> list[dict[str, Any]]:
    return [
        {
            "strategy": each.strategy.name,
            "exceeded_percent": percent,
            "exceeded_h": percent / 100.0 * each.demand.added_kg.size,
            "demand_kg_h": float(duration(each.demand.added_kg, np.array(percent))),
        }
        for each in held
        for percent in EXCEEDED_PERCENT
    ]


def _design_rows(
    weather: Weather | None, case: HourlyCase, hours: YearHours, held: list[Held]
) -> list[dict[str, Any]]:
    """Return the steady load of each strategy at each design humidity of the climate."""
    if weather is None:
        return []
    designs = [("header", each) for each in weather.design]
    designs += [("hours", each) for each in climate.summary(weather).design_computed]
    return [
        _design_row(case, hours, each, source, design)
        for each in held
        for source, design in sorted(designs, key=lambda pair: -pair[1].level_percent)
    ]


def _design_row(
    case: HourlyCase, hours: YearHours, held: Held, source: str, design: HumidificationDesign
) -> dict[str, Any]:
    apart = np.abs(dew_point(hours, hours.w_out_kg_kg) - design.dew_point_c)
    # A header tells of many years: its dew point may be none of this file's.
    near = apart <= max(_NEAR_K, float(apart.min())) + _DEW_POINT_ROUNDING_K
    rh = case.hourly_mean(held.rh_set)
    gains = case.hourly_mean(case.gains_kg_s)
    load_kg_s = steady_load(
        hours.exchange_kg_s[near],
        air.humidity_ratio_at_rh(hours.t_air_c[near], rh[near], hours.p_pa[near]),
        air.saturated_humidity_ratio(np.full(near.sum(), design.dew_point_c), hours.p_pa[near]),
        gains[near],
    )
    load_kg_h = max(3600.0 * float(load_kg_s.mean()), 0.0)
    return {
        "strategy": held.strategy.name,
        "level_percent": design.level_percent,
        "source": source,
        "dew_point_c": design.dew_point_c,
        "t_out_c": float(hours.t_out_c[near].mean()),
        "near_h": float(np.count_nonzero(near)),
        "rh_set_frac": float(rh[near].mean()),
        "exchange_kg_s": float(hours.exchange_kg_s[near].mean()),
        "gains_kg_h": 3600.0 * float(gains[near].mean()),
        "load_kg_h": load_kg_h,
        "exceeded_h": float(np.count_nonzero(held.demand.added_kg > load_kg_h)),
    }


def _size_row(
    hours: YearHours, search: Search, equipment: Equipment, water: FeedWater, names: tuple[str, ...]
) -> dict[str, Any]:
    case, held, given = search.case, search.held, search.given_units
    as_given = search.missed(given)
    assert as_given is not None  # noqa: S101 - what the scenario has was computed already
    nothing = missed(held, np.zeros(case.n_hours))
    able = flows(case, held, search.given)
    asked = (held.demand.added_kg > DEMAND_HOUR_KG) & ~held.catch_up
    time_frac = case.hourly_mean(able.time_frac).sum(axis=0)[asked]
    units: float | None = 0.0
    factor: float | None = 0.0
    units_miss: Missed | None = nothing
    factor_miss: Missed | None = nothing
    limited = None
    if not nothing.within(search.allowed):
        guess = search.guess()
        units, units_miss = _least(search, guess, 1.0)
        limited = _limit(search, guess, time_frac) if units is None else None
        least_of_given, factor_miss = _least(search, guess, given / STEPS)
        factor = None if least_of_given is None else least_of_given / given
    taken = able if not units else flows(case, held, search.capability(units))
    return {
        "option": SEPARATOR.join(names),
        **dict(zip(("strategy", "equipment", "supply"), names, strict=True)),
        "given_units": float(given),
        **_missed_columns("given", as_given),
        "allowed_short_h": search.allowed.hours,
        "allowed_shortfall_kg": search.allowed.kg,
        "units": units,
        **_missed_columns("units", units_miss),
        "factor": factor,
        **_missed_columns("factor", factor_miss),
        "no_time_h": float(np.count_nonzero(time_frac <= 0.0)),
        **_design_day(hours, held, equipment, able, given),
        "feed_l_min": 60.0 * float(taken.feed_kg_s.max()),
        "drain_l_min": 60.0 * float((taken.feed_kg_s - taken.rate_kg_s).max()),
        "electric_w": _known(float(taken.electric_w.max())),
        "limited_by": limited,
        "oversize": None if factor is None else _oversize(search, equipment, water, able, factor),
    }


def _least(search: Search, guess: float | None, step: float) -> tuple[float | None, Missed | None]:
    units = None if guess is None else search.least_units(guess, step=step)
    return units, None if units is None else search.missed(units)


def _missed_columns(of: str, found: Missed | None) -> dict[str, float | None]:
    return {
        f"{of}_short_h": None if found is None else found.hours,
        f"{of}_shortfall_kg": None if found is None else found.kg,
    }


def _known(value: float) -> float | None:
    return None if np.isnan(value) else value


def _limit(search: Search, guess: float | None, time_frac: FloatArray) -> str:
    """Return why no number of units does; `time_frac` is when it may run, where it should."""
    if search.refusal is not None:
        return f"there is no room for as many units as it takes: {search.refusal}"
    if guess is None and np.any(time_frac < _ALWAYS_FRAC):
        return (
            f"time, not size: it may run in {100.0 * time_frac.mean():.0f} % of the time with "
            f"demand, in {np.count_nonzero(time_frac <= 0.0)} h not at all; let it run on a call "
            "for humidity, or always, or allow more hours short"
        )
    return f"{MOST} times what is given still falls short"


def _design_day(
    hours: YearHours, held: Held, equipment: Equipment, able: Flows, given: int
) -> dict[str, Any]:
    """Return what a unit can give on the day of the largest demand, beside its rated day."""
    none = ("design_day", "rated_kg_day", "able_kg_day", "derate_frac")
    day = hours.interval_start.astype("datetime64[D]")
    days, index = np.unique(day, return_inverse=True)
    by_day = np.bincount(index, weights=held.demand.added_kg)
    worst = int(by_day.argmax())
    row: dict[str, Any] = dict.fromkeys((*none, "available_frac", "rate_frac"))
    row["design_day_demand_kg"] = float(by_day[worst])
    best_kg_h = 3600.0 * float(able.rate_kg_s.max()) / given
    stated = equipment.rated_kg_h if isinstance(equipment, InUnits) else None
    rated_kg_h = best_kg_h if stated is None else stated
    if by_day[worst] <= 0.0 or rated_kg_h <= 0.0:
        return row
    of_day = np.repeat(index == worst, able.rate_kg_s.shape[1] // index.size)
    steps = np.count_nonzero(of_day)
    time_frac = float(able.time_frac[:, of_day].sum()) / steps
    mean_kg_s = float((able.time_frac * able.rate_kg_s)[:, of_day].sum()) / steps / given
    derate = 3600.0 * mean_kg_s / rated_kg_h
    return row | {
        "design_day": str(days[worst]),
        "rated_kg_day": 24.0 * rated_kg_h,
        "able_kg_day": 24.0 * 3600.0 * mean_kg_s,
        "derate_frac": derate,
        "available_frac": time_frac,
        "rate_frac": derate / time_frac if time_frac > 0.0 else None,
    }


def _oversize(
    search: Search, equipment: Equipment, water: FeedWater, able: Flows, factor: float
) -> str | None:
    """Return what speaks against the given size, if much less would do."""
    if factor == 0.0:
        return "none is needed: without it no more is missed than is allowed"
    if factor * OVERSIZED > 1.0:
        return None
    case, wanted = search.case, search.held.demand.added_kg > DEMAND_HOUR_KG
    text = f"{1.0 / factor:.1f} times what would do"
    if not wanted.any():
        return f"{text}: no hour demands more than {DEMAND_HOUR_KG:g} kg"
    runs = float(np.median(search.outcome(search.given_units).running_frac[wanted]))
    system = case.air_system
    if system is None or getattr(equipment, "call", "always") == "always":
        return f"{text}: in the median hour of demand it runs {60.0 * runs:.0f} minutes"
    text += f": in the median hour of demand it runs {60.0 * runs:.0f} minutes"
    f = float(np.median(case.hourly_mean(system.heat_frac)[wanted]))
    if firings := 4.0 * system.most_cycles_per_h * f * (1.0 - f):
        text += f", in {firings:.1f} firings"
    feed = able.feed_kg_s[able.feed_kg_s > 0.0] / search.given_units
    if firings and water.line is not None and feed.size:
        purge_min = water.line.purge_s(float(np.median(feed))) / 60.0
        text += (
            f"; the water that stood in its line takes the first {purge_min:.1f} minutes of each"
        )
    return text


def _notes(
    scenario: Scenario, weather: Weather | None, most_h: float, shortfall_kg: float | None
) -> tuple[str, ...]:
    kg = "1 % of the demand" if shortfall_kg is None else f"{shortfall_kg:g} kg"
    notes = [
        (
            f"A size does if at most {most_h:g} h outside catch-up hours miss more than 1 % of "
            f"their demand and 0.01 kg, and at most {kg} is missed over the record; the year is "
            "solved anew with each size, with what the room stores and the time in which it may run"
        ),
        (
            "parts of demand are of all hours; the catch-up after a set-back is the schedule's: "
            "its hours are left out of peak and hours short, its kilograms are not"
        ),
        (
            "a part of a unit takes a part of its air, feed and energy; electricity is real power: "
            "a transformer is chosen by apparent power, which is not known here"
        ),
    ]
    if weather is None:
        notes.append("without a weather file there are no design conditions")
    elif not weather.design:
        notes.append("the weather file's header has no humidification design conditions")
    if scenario.control.swings:
        notes.append(
            "sized with a controller that does not swing: deadband, delay and times of [control] "
            "are left out"
        )
    return tuple(notes)
