"""How sure a comparison is: all options again and again, with the doubtful inputs drawn anew.

Two sets of draws A and B come from a Sobol sequence or a Latin hypercube. Their rows tell how each
year number is spread. For each doubt the rows of A are run once more with that one input from B:
what that changes is its share of the variance (Saltelli's design).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache
from os import cpu_count
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from dewmargin import balance, batch, columns, yearly
from dewmargin.columns import Repeated, Table
from dewmargin.comparison import compare_case
from dewmargin.draws import Placed, default_doubts, described, draws_of, placed, with_draw
from dewmargin.errors import InputError
from dewmargin.foresight import while_wet
from dewmargin.hours import hours_of
from dewmargin.kernel.source import NEVER
from dewmargin.lines import Limit
from dewmargin.reports import folder
from dewmargin.reports.csv_tables import CsvTables
from dewmargin.reports.parquet_tables import ParquetTables
from dewmargin.reports.tables import rows
from dewmargin.response import MOST_INPUTS, Response, response
from dewmargin.scenario import BASELINE, SEPARATOR, Scenario, load
from dewmargin.trial import require_alone
from dewmargin.verdict import Limits, preferred

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Capability
    from dewmargin.control import Control
    from dewmargin.readers.epw import Weather
    from dewmargin.tariff import Tariff

Sampling = Literal["sobol", "latin_hypercube"]
Draw = tuple[Any, ...]
After = Callable[[float], None]

# Besides the year numbers: condensation hours beyond those without humidifier, in the same draw.
EXTRA = "extra_condensation_h"
LIMITED = (*yearly.METRICS, EXTRA)
QUANTILES = (0.05, 0.10, 0.50, 0.90, 0.95)
SURE = 0.95  # of the intervals told with quantiles and probabilities
LEAST_BASE = 8
CASES_AT_ONCE = 32  # solved in one call: as many go through the year side by side
CHECKED = 4  # draws that are compared in full
ACTIVE = 0.05  # least share of time with heat for which a device is solved beforehand


@dataclass(frozen=True, slots=True, kw_only=True)
class Stress:
    """What a study found.

    Attributes
    ----------
    scenario : Scenario
    doubts : tuple of Placed
    sampling : str
    seed : int
    draws : tuple of tuple
        The inputs drawn, a row a draw of A and B.
    options : tuple of str
        The baseline first.
    numbers : float64 array, shape (n_draws, n_options, n_metrics)
        By `yearly.METRICS`; NaN is not known.
    first_order, total : float64 array, shape (n_doubts, n_options, n_metrics)
        Share of the variance that an input has alone, and with all its interactions; NaN where
        nothing varies.
    limits : tuple of Limit
    chosen : tuple of int
        In how many draws the verdict would choose each option; the baseline: none.
    evaluated : int
        How many rows of inputs were run.
    checked : mapping of str to float
        Largest difference to a full comparison, in the draws that were compared.
    """

    scenario: Scenario
    doubts: tuple[Placed, ...]
    sampling: Sampling
    seed: int
    draws: tuple[Draw, ...]
    options: tuple[str, ...]
    numbers: FloatArray
    first_order: FloatArray
    total: FloatArray
    limits: tuple[Limit, ...]
    chosen: tuple[int, ...]
    evaluated: int
    checked: Mapping[str, float]

    @property
    def verdict(self) -> str:
        """Say how sure the choice is, and what decides."""
        n = len(self.draws)
        order = sorted(range(len(self.options)), key=lambda i: -self.chosen[i])
        best = order[0]
        name = "no humidifier" if best == 0 else repr(self.options[best])
        text = f"In {_percent(self.chosen[best], n)} of {n} draws the choice is {name}"
        if self.chosen[order[1]]:
            second = order[1]
            other = "no humidifier" if second == 0 else repr(self.options[second])
            text += f", in {_percent(self.chosen[second], n)} {other}"
        return text + "."

    def told_of(self) -> list[tuple[str, str]]:
        """Return the options and numbers whose inputs a reader wants to know."""
        best = max(range(len(self.options)), key=lambda i: (self.chosen[i], -i))
        option = self.options[best or min(1, len(self.options) - 1)]
        return [(option, "band_h"), (option, "condensation_h"), (option, "feed_l")]

    def tables(self) -> dict[str, Table]:
        """Return the tables of the study, by name."""
        return {
            "spread": self._spread(),
            "breaks": self._breaks(),
            "sensitivity": self._sensitivity(),
            "draws": self._draws(),
        }

    def _spread(self) -> Table:
        """Return one row an option and year number."""
        known = [k for k in range(len(yearly.METRICS)) if not np.isnan(self.numbers[..., k]).all()]
        data: dict[str, list[Any]] = {column.name: [] for column in columns.SPREAD}
        for i, option in enumerate(self.options):
            for k in known:
                values = self.numbers[:, i, k]
                values = np.sort(values[~np.isnan(values)])
                if not values.size:
                    continue
                data["option"].append(option)
                data["number"].append(yearly.METRICS[k])
                data["unit"].append(columns.YEARLY[k].unit)
                data["mean"].append(float(values.mean()))
                data["sd"].append(float(values.std(ddof=1)) if values.size > 1 else 0.0)
                for q in QUANTILES:
                    low, high = interval(values, q)
                    name = f"p{round(100 * q):02d}"
                    data[name].append(float(np.quantile(values, q)))
                    if name in ("p10", "p50", "p90"):
                        data[f"{name}_low"].append(low)
                        data[f"{name}_high"].append(high)
        return Table(columns=columns.SPREAD, data=data)

    def _breaks(self) -> Table:
        """Return one row an option and limit: how likely it is broken."""
        data: dict[str, list[Any]] = {column.name: [] for column in columns.BREAKS}
        for i, option in enumerate(self.options):
            for limit in self.limits:
                values = limited(self.numbers, limit.name)[:, i]
                known = values[~np.isnan(values)]
                broken, n = int(np.count_nonzero(known > limit.most)), known.size
                low, high = share_interval(broken, n)
                data["option"].append(option)
                data["number"].append(limit.name)
                data["most"].append(limit.most)
                data["broken_frac"].append(broken / n if n else None)
                data["broken_low_frac"].append(low)
                data["broken_high_frac"].append(high)
                data["chosen_frac"].append(self.chosen[i] / len(self.draws))
        return Table(columns=columns.BREAKS, data=data)

    def _sensitivity(self) -> Table:
        """Return one row an option, year number and doubt, the most important first."""
        data: dict[str, list[Any]] = {column.name: [] for column in columns.SENSITIVITY}
        for i, option in enumerate(self.options):
            for k, number in enumerate(yearly.METRICS):
                total = self.total[:, i, k] if self.doubts else np.empty(0)
                if not np.isfinite(total).any():
                    continue
                for rank, d in enumerate(np.argsort(-total, kind="stable"), start=1):
                    data["option"].append(option)
                    data["number"].append(number)
                    data["input"].append(self.doubts[d].name)
                    data["rank"].append(float(rank))
                    data["first_order_frac"].append(float(self.first_order[d, i, k]))
                    data["total_frac"].append(float(total[d]))
        return Table(columns=columns.SENSITIVITY, data=data)

    def _draws(self) -> Table:
        """Return every draw with every option: inputs as texts, then all year numbers."""
        n, n_options = len(self.draws), len(self.options)
        inputs = [
            "; ".join(f"{d.name} = {_said(v)}" for d, v in zip(self.doubts, draw, strict=True))
            for draw in self.draws
        ]
        flat = self.numbers.reshape(n * n_options, -1)
        return Table(
            columns=columns.DRAWS,
            data={
                "draw": np.repeat(np.arange(1, n + 1, dtype=np.float64), n_options),
                "inputs": Repeated(inputs, n_options),
                "option": Repeated(list(self.options), 1, rounds=n),
                **{name: flat[:, k] for k, name in enumerate(yearly.METRICS)},
            },
        )

    def lines(self) -> list[str]:
        """Return how the study was made, and how far to trust it."""
        way = {"sobol": "Sobol sequence", "latin_hypercube": "Latin hypercube"}[self.sampling]
        lines = [
            (
                f"{self.evaluated} sets of inputs with {len(self.options) - 1} options ({way}, "
                f"seed {self.seed}); quantiles are of {len(self.draws)} independent ones."
            )
        ]
        if self.doubts:
            lines.append(
                "Shares of variance: Sobol' indices, first order and total, estimators of "
                "Saltelli 2010 and Jansen 1999, as scipy has them."
            )
        if self.checked:
            words = ", ".join(f"{name} {value:.2g}" for name, value in self.checked.items())
            lines.append(f"Largest difference to {CHECKED} full comparisons: {words}.")
        lines += [f"Drawn: {_spread_words(each)}" for each in self.doubts]
        return lines

    def document(self) -> dict[str, Any]:
        """Return what a program wants to know, for JSON; the draws are in the files."""
        tables = self.tables()
        return {
            "title": self.scenario.title,
            "verdict": self.verdict,
            "sampling": self.sampling,
            "seed": self.seed,
            "evaluated": self.evaluated,
            "draws": len(self.draws),
            "doubts": described(self.doubts),
            "checked": dict(self.checked),
            **{name: rows(tables[name]) for name in ("spread", "breaks", "sensitivity")},
        }

    def write(self, out: Path) -> list[Path]:
        """Write the tables, `manifest.json` last.

        Raises
        ------
        OutputError
            If a file cannot be written.
        """
        about = {
            "schema_version": folder.SCHEMA_VERSION,
            "versions": folder.versions(),
            "title": self.scenario.title,
            "verdict": self.verdict,
            "sampling": self.sampling,
            "seed": self.seed,
            "doubts": described(self.doubts),
            "limits": {limit.name: limit.most for limit in self.limits},
            "scenario": self.scenario.resolved(),
            "inputs_sha256": {f"scenario: {self.scenario.file.name}": self.scenario.sha256},
        }
        files = folder.files_of([ParquetTables(), CsvTables()], self.tables(), about)
        return folder.write_folder(out, files, about=about)


def _percent(part: int, whole: int) -> str:
    return f"{100.0 * part / whole:.0f} %"


def _said(value: object) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _spread_words(each: Placed) -> str:
    doubt = each.doubt
    spread = ", ".join(
        f"{name} {_said(value)}"
        for name, value in doubt.model_dump(exclude_none=True).items()
        if name not in ("input", "acts", "distribution", "source")
    )
    acts = {"value": "", "factor": " factor", "offset": " offset"}[doubt.acts]
    source = f" ({doubt.source})" if doubt.source else ""
    return f"{doubt.input}: {doubt.distribution}{acts}, {spread}{source}"


def limited(numbers: FloatArray, name: str) -> FloatArray:
    """Return a number that a limit may be set to, of `LIMITED`, (n_draws, n_options)."""
    if name != EXTRA:
        result: FloatArray = numbers[..., yearly.METRICS.index(name)]
        return result
    wet = numbers[..., yearly.METRICS.index("condensation_h")]
    return wet - wet[:, :1]


def interval(values: FloatArray, q: float) -> tuple[float, float]:
    """Return the interval that holds a quantile with 95 %, by order statistics of sorted values.

    *Source.* Binomial distribution of the number of values below a quantile; for draws that fill
    the space more evenly than chance it is wider than need be.
    """
    from scipy import stats  # noqa: PLC0415 - slow to import

    n = values.size
    below = stats.binom.ppf([0.5 * (1.0 - SURE), 0.5 * (1.0 + SURE)], n, q)
    low, high = int(max(below[0] - 1, 0)), int(min(below[1], n - 1))
    return float(values[low]), float(values[high])


def share_interval(part: int, whole: int) -> tuple[float | None, float | None]:
    """Return the interval of a share with 95 % (Clopper and Pearson 1934)."""
    from scipy import stats  # noqa: PLC0415 - slow to import

    if not whole:
        return None, None
    tail = 0.5 * (1.0 - SURE)
    low = 0.0 if part == 0 else float(stats.beta.ppf(tail, part, whole - part + 1))
    high = 1.0 if part == whole else float(stats.beta.ppf(1.0 - tail, part + 1, whole - part))
    return low, high


def study(
    source: str | Path | Scenario,
    *,
    samples: int = 1000,
    sampling: Sampling = "sobol",
    seed: int = 1,
    limits: Sequence[Limit] = (),
    after: After = lambda _share: None,
) -> Stress:
    """Run all options of a scenario with its doubtful inputs drawn again and again.

    Parameters
    ----------
    source : path or Scenario
        Its `[[doubts]]` tell what is drawn; without them the usual doubts are.
    samples : int
        About how many sets of inputs to run; of Saltelli's design, rounded up to a whole one.
    sampling : str
        "sobol" or "latin_hypercube".
    seed : int
        The same seed gives the same bits.
    limits : sequence of Limit
        How likely each is broken, of `LIMITED`; by default the extra condensation that the verdict
        accepts, and the dry hours that need no humidifier.
    after : callable
        Told the share of the work that is done.

    Raises
    ------
    InputError
        If a doubt or a limit does not suit the scenario.
    """
    scenario = source if isinstance(source, Scenario) else load(source)
    try:
        doubts = placed(scenario, scenario.doubts or default_doubts(scenario))
        runner = _Runner(scenario, doubts)
        return runner.run(
            samples=samples, sampling=sampling, seed=seed, limits=tuple(limits), after=after
        )
    except InputError as error:
        raise scenario.placed(error) from error


def design(
    n_doubts: int, samples: int, sampling: Sampling, seed: int
) -> tuple[FloatArray, FloatArray]:
    """Return A and B in the unit cube, each of the shape (n_base, n_doubts).

    *Source.* Saltelli et al. 2010, Computer Physics Communications 181(2): one sequence of twice as
    many dimensions, cut in two; n_base is a power of two for a Sobol sequence.
    """
    from scipy.stats import qmc  # noqa: PLC0415 - slow to import

    n = max(LEAST_BASE, math.ceil(samples / (n_doubts + 2)))
    if sampling == "sobol":
        power = math.ceil(math.log2(n))
        cube = qmc.Sobol(2 * n_doubts, scramble=True, rng=seed).random_base2(power)
    else:
        cube = qmc.LatinHypercube(2 * n_doubts, rng=seed).random(n)
    return cube[:, :n_doubts], cube[:, n_doubts:]


@dataclass(frozen=True, slots=True)
class _Room:
    """A drawn building, ready for cases."""

    case: HourlyCase
    of: batch.Building
    book: yearly.Ledger


class _Runner:
    """Runs sets of inputs, and reuses between them what the drawn inputs do not touch."""

    def __init__(self, scenario: Scenario, doubts: Sequence[Placed]) -> None:
        self.scenario, self.doubts = scenario, doubts
        self._weather = lru_cache(maxsize=32)(self._read_weather)
        self.weather = scenario.read_weather()
        self.case = scenario.case(self.weather)
        require_alone(self.case)
        self.options = [BASELINE] + [
            SEPARATOR.join((strategy.name, equipment.name, supply.name))
            for strategy in scenario.strategies
            for equipment in scenario.equipment
            for supply in scenario.supplies
        ]
        self._devices = [
            (e, s) for e in range(len(scenario.equipment)) for s in range(len(scenario.supplies))
        ]
        self._responses: dict[tuple[int, int], Response] = {}
        self._heated: FloatArray | None = None
        self._of_room = self._touching("weather", "space", "surfaces")
        self._of_space = self._touching("weather", "space")

    def _touching(self, *parts: str) -> list[int]:
        return [d for d, doubt in enumerate(self.doubts) if doubt.parts & set(parts)]

    def run(
        self,
        *,
        samples: int,
        sampling: Sampling,
        seed: int,
        limits: tuple[Limit, ...],
        after: After,
    ) -> Stress:
        """Run a study; see `study`."""
        n_doubts = len(self.doubts)
        if n_doubts:
            a, b = design(n_doubts, samples, sampling, seed)
        else:
            a, b = np.empty((1, 0)), np.empty((0, 0))
        draws_a, draws_b = draws_of(self.doubts, a), draws_of(self.doubts, b)
        self._solve_devices([*draws_a, *draws_b])
        n = len(draws_a)
        groups = [self._group(draws_a[j], draws_b[j] if n_doubts else None) for j in range(n)]
        results = np.empty((n, n_doubts + 2 if n_doubts else 1, len(self.options), N_METRICS))
        with ThreadPoolExecutor(cpu_count() or 1) as pool:
            for j, found in enumerate(pool.map(self._numbers, groups)):
                results[j] = found
                after((j + 1) / n)
        first_order, total = _indices(results, n_doubts)
        both = results[:, : 2 if n_doubts else 1].swapaxes(0, 1).reshape(-1, *results.shape[2:])
        draws = (*draws_a, *draws_b)
        asked = limits or self._usual_limits()
        for limit in asked:
            if np.isnan(limited(both, limit.name)).all():
                raise InputError(f"{limit.name} is not known here", where="limit")
        return Stress(
            scenario=self.scenario,
            doubts=tuple(self.doubts),
            sampling=sampling,
            seed=seed,
            draws=draws,
            options=tuple(self.options),
            numbers=both,
            first_order=first_order,
            total=total,
            limits=asked,
            chosen=self._chosen(both),
            evaluated=results.shape[0] * results.shape[1],
            checked=self._check(draws, both),
        )

    def _group(self, a: Draw, b: Draw | None) -> list[Draw]:
        """Return the rows of Saltelli's design that share a row of A: A, B, and A with one of B."""
        if b is None:
            return [a]
        mixed = [(*a[:d], b[d], *a[d + 1 :]) for d in range(len(a))]
        return [a, b, *mixed]

    def _usual_limits(self) -> tuple[Limit, ...]:
        comfort = self.scenario.comfort
        hours = hours_of(self.case, heating_season_below_c=comfort.heating_season_below_c)
        accepted = Limits.of(comfort, hours, self.scenario.tariff)
        found = [Limit(name="dry_h", most=float(accepted.dry_h))]
        if self.case.surfaces:
            found.insert(0, Limit(name=EXTRA, most=float(accepted.extra_condensation_h)))
        return tuple(found)

    def _chosen(self, numbers: FloatArray) -> tuple[int, ...]:
        """Count the draws in which the verdict of a comparison would choose each option."""
        comfort = self.scenario.comfort
        hours = hours_of(self.case, heating_season_below_c=comfort.heating_season_below_c)
        limits = Limits.of(comfort, hours, self.scenario.tariff)
        count = [0] * len(self.options)
        for row in numbers:
            rated = [_Drawn(i, each) for i, each in enumerate(row)]
            best = preferred(rated, limits)
            count[0 if best is None else best.place] += 1
        return tuple(count)

    def _check(self, draws: Sequence[Draw], numbers: FloatArray) -> dict[str, float]:
        """Compare a few draws in full; return the largest differences."""
        worst = {"condensation_h": 0.0, "band_h": 0.0, "delivered %": 0.0, "feed %": 0.0}
        for j in np.linspace(0, len(draws) - 1, min(CHECKED, len(draws))).astype(int):
            drawn = with_draw(self.scenario, self.doubts, draws[j], PARTS)
            weather = self._weather_of(drawn)
            found = compare_case(drawn, weather, drawn.case(weather)).options
            for i, option in enumerate(found):
                mine = dict(zip(yearly.METRICS, numbers[j, i], strict=True))
                for name in ("condensation_h", "band_h"):
                    apart = abs((option.row[name] or 0.0) - np.nan_to_num(mine[name]))
                    worst[name] = max(worst[name], float(apart))
                for key, name in (("delivered %", "delivered_kg"), ("feed %", "feed_l")):
                    exact = option.row[name] or 0.0
                    if exact > 0.0:
                        worst[key] = max(worst[key], 100.0 * abs(mine[name] / exact - 1.0))
        return worst

    def _read_weather(self, file: str, year: int | None) -> Weather:
        from dewmargin.readers.epw import read_epw  # noqa: PLC0415 - a house may have no weather

        return read_epw(self.scenario.file.parent / file, year=year)

    def _weather_of(self, drawn: Scenario) -> Weather | None:
        if drawn.weather is None:
            return None
        return self._weather(drawn.weather.file, drawn.weather.year)

    def _solve_devices(self, draws: Sequence[Draw]) -> None:
        """Solve each equipment on each supply over the range of its drawn inputs."""
        scenario, case = self.scenario, self.case
        held = [s.setpoint(scenario.control.measured(case)) for s in scenario.strategies]
        w_sets = [balance.setpoint_humidity_ratio(case, rh) for rh in held]
        most = np.max(w_sets, axis=0)
        demand = np.mean([balance.demand(case, rh).added_kg for rh in held], axis=0) / 3600.0
        base = np.repeat(balance.baseline(case).w_kg_kg, case.steps_per_hour)
        # Solved wherever some draw might have heat, not only where the scenario has.
        heated = case
        if case.air_system is not None:
            share = np.maximum(case.air_system.heat_frac, ACTIVE)
            heated = replace(case, air_system=replace(case.air_system, heat_frac=share))
            self._heated = share
        for e, s in self._devices:
            mine = self._of_device(e, s)
            if len(mine) > MOST_INPUTS:
                raise InputError(
                    f"more than {MOST_INPUTS} inputs of one equipment and its supply are drawn",
                    where="doubts",
                )

            def solve(
                point: tuple[float, ...], e: int = e, s: int = s, mine: list[int] = mine
            ) -> Capability:
                draw = list(draws[0])
                for d, x in zip(mine, point, strict=True):
                    draw[d] = x
                drawn = with_draw(scenario, self.doubts, draw, ("equipment", "supplies"))
                return drawn.equipment[e].capability(
                    heated,
                    drawn.supplies[s].feed_water(heated),
                    w_base_kg_kg=base,
                    w_set_kg_kg=most,
                    demand_kg_s=np.repeat(demand, case.steps_per_hour),
                )

            ranges = [_range([draw[d] for draw in draws]) for d in mine]
            self._responses[e, s] = response(solve, ranges)

    def _of_device(self, e: int, s: int) -> list[int]:
        """Return the doubts that move an equipment or its supply."""
        return [
            d
            for d, doubt in enumerate(self.doubts)
            if any((t.part, t.index) in (("equipment", e), ("supplies", s)) for t in doubt.targets)
        ]

    def _numbers(self, group: list[Draw]) -> FloatArray:
        """Return the year numbers of the rows of a group, (n_rows, n_options, n_metrics)."""
        found = np.empty((len(group), len(self.options), N_METRICS))
        cases: dict[tuple[Any, ...], HourlyCase] = {}
        by_room: dict[tuple[Any, ...], list[int]] = {}
        for r, draw in enumerate(group):
            by_room.setdefault(tuple(draw[d] for d in self._of_room), []).append(r)
        for members in by_room.values():
            draw = group[members[0]]
            drawn = with_draw(self.scenario, self.doubts, draw, ("weather", "space", "surfaces"))
            key = tuple(draw[d] for d in self._of_space)
            if key not in cases:
                weather = self._weather_of(drawn)
                cases[key] = drawn.space.case(weather=weather, folder=drawn.file.parent)
            self._numbers_of_room(
                self._room(drawn.with_surfaces(cases[key])), group, members, found
            )
        return found

    def _room(self, case: HourlyCase) -> _Room:
        comfort = self.scenario.comfort
        hours = hours_of(case, heating_season_below_c=comfort.heating_season_below_c)
        return _Room(
            case,
            batch.building(case),
            yearly.ledger(hours, low_rh=comfort.low_rh, high_rh=comfort.high_rh),
        )

    def _numbers_of_room(
        self, room: _Room, group: list[Draw], members: list[int], found: FloatArray
    ) -> None:
        """Fill the rows of a group that have one building; what they share is solved once."""
        cases = _Pile(room)
        rows_of: list[tuple[int, list[int]]] = []
        held_by: dict[Control, list[_Low]] = {}
        for r in members:
            drawn = with_draw(self.scenario, self.doubts, group[r], ("control", "tariff"))
            if drawn.control not in held_by:
                held_by[drawn.control] = self._held(room, drawn.control, cases)
            keys = [self._key(drawn, e, s, group[r]) for e, s in self._devices]
            places = [cases.baseline()]
            places += [cases.place(low, key) for low in held_by[drawn.control] for key in keys]
            rows_of.append((r, places))
        cases.solve(self._takers(room, group, members))
        for r, places in rows_of:
            found[r] = cases.numbers[places]

    def _held(self, room: _Room, control: Control, cases: _Pile) -> list[_Low]:
        """Return what each strategy holds in a building, as its controller measures."""
        case = room.case
        seen = control.measured(case)
        held: list[_Low] = []
        for strategy in self.scenario.strategies:
            rh = control.true_setpoint(case, strategy.setpoint(seen))
            dry = cases.low(balance.setpoint_humidity_ratio(case, rh))
            wet = while_wet(strategy, seen)
            if wet is None:
                held.append(_Low(dry, dry, ()))
                continue
            rh_wet = control.true_setpoint(case, wet.rh_frac)
            above = tuple(
                1e-3 * wet.above_g_m2 if surface.name in wet.surfaces else np.inf
                for surface in case.surfaces
            )
            row = cases.low(balance.setpoint_humidity_ratio(case, rh_wet))
            held.append(_Low(dry, row, above))
        return held

    def _key(self, drawn: Scenario, e: int, s: int, draw: Draw) -> _Key:
        return _Key(e, s, tuple(draw[d] for d in self._of_device(e, s)), drawn.tariff)

    def _takers(
        self, room: _Room, group: list[Draw], members: list[int]
    ) -> Callable[[list[_Key]], list[yearly.Taker]]:
        """Return what makes the devices of a building that are asked for."""
        waters = {
            s: with_draw(self.scenario, self.doubts, group[members[0]], ("supplies",))
            .supplies[s]
            .feed_water(room.case)
            for s in {s for _, s in self._devices}
        }
        own, plant = self.case.air_system, room.case.air_system

        def takers(keys: list[_Key]) -> list[yearly.Taker]:
            made: dict[_Key, yearly.Taker] = {}
            for e, s in self._devices:
                mine = [key for key in keys if (key.equipment, key.supply) == (e, s)]
                found = self._responses[e, s].at([key.inputs for key in mine])
                for key, can in zip(mine, found, strict=True):
                    # What runs with the heat follows this building's plant.
                    if own is not None and plant is not None and can.heat_frac is self._heated:
                        can = replace(can, heat_frac=plant.heat_frac)  # noqa: PLW2901 - the same device
                    made[key] = yearly.Taker(
                        capability=can, heater=waters[s].heater, tariff=key.tariff
                    )
            return [made[key] for key in keys]

        return takers


class _Drawn:
    """An option in one draw, as the verdict asks for it."""

    def __init__(self, place: int, numbers: FloatArray) -> None:
        self.place, self.name = place, str(place)
        known = zip(yearly.METRICS, numbers.tolist(), strict=True)
        self.row = {name: None if math.isnan(value) else value for name, value in known}


@dataclass(frozen=True, slots=True)
class _Low:
    """Rows of what is to be held while dry and while wet, and the films that count as wet."""

    dry: int
    wet: int
    above_kg_m2: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Key:
    """What tells a device from others in one building."""

    equipment: int
    supply: int
    inputs: tuple[float, ...]
    tariff: Tariff | None


class _Pile:
    """Cases of one building, each solved once however often it is asked for."""

    def __init__(self, room: _Room) -> None:
        self._room = room
        self._lows: dict[bytes, int] = {}
        self._low_rows: list[FloatArray] = []
        self._cases: dict[tuple[_Low, _Key | None], int] = {}
        self.numbers = np.empty((0, N_METRICS))

    def low(self, w_set_kg_kg: FloatArray) -> int:
        """Return the row of a set-point; equal ones share it."""
        held = self._room.of.to_hold(w_set_kg_kg)
        key = held.tobytes()
        if key not in self._lows:
            self._lows[key] = len(self._low_rows)
            self._low_rows.append(held)
        return self._lows[key]

    def baseline(self) -> int:
        """Return the case without a humidifier."""
        never = self.low(np.full(self._room.case.n_steps, NEVER))
        return self.place(_Low(never, never, ()), None)

    def place(self, low: _Low, key: _Key | None) -> int:
        """Return the case of a set-point and a device."""
        return self._cases.setdefault((low, key), len(self._cases))

    def solve(self, takers: Callable[[list[_Key]], list[yearly.Taker]]) -> None:
        """Solve all cases, a few at a time; fill `numbers`, (n_cases, n_metrics)."""
        case = self._room.case
        keys = list(dict.fromkeys(key for _, key in self._cases if key is not None))
        of_keys = takers(keys)
        capabilities = [balance.idle(case.n_steps), None, *(each.capability for each in of_keys)]
        devices = [batch.device(case, can) for can in capabilities]
        device_of: dict[_Key | None, int] = {None: 0} | {key: 2 + i for i, key in enumerate(keys)}
        # What devices without limit add comes first: the others are measured by it.
        lows = list(dict.fromkeys(low for low, key in self._cases if key is not None))
        wanted_of = {low: i for i, low in enumerate(lows)}
        ordered = sorted(self._cases, key=lambda each: device_of[each[1]])
        cases = [(low, 1) for low in lows] + [(low, device_of[key]) for low, key in ordered]
        wanted = np.zeros((len(lows), case.n_steps))
        found = np.empty((len(cases), N_METRICS))
        for start in range(0, len(cases), CASES_AT_ONCE):
            some = cases[start : start + CASES_AT_ONCE]
            of_device = [device for _, device in some]
            ran = self._ran([low for low, _ in some], devices, of_device)
            n_wanted = min(max(len(lows) - start, 0), len(some))
            wanted[start : start + n_wanted] = ran.added_kg[:n_wanted]
            numbers = yearly.year_numbers(
                self._room.of,
                self._room.book,
                ran,
                devices=devices,
                of_device=of_device,
                takers={2 + i: taker for i, taker in enumerate(of_keys) if 2 + i in of_device},
                wanted_kg=wanted,
                wanted_of=[wanted_of[low] if device > 1 else -1 for low, device in some],
            )
            found[start : start + len(some)] = np.array([numbers[m] for m in yearly.METRICS]).T
        self.numbers = np.empty((len(self._cases), N_METRICS))
        self.numbers[[self._cases[each] for each in ordered]] = found[len(lows) :]

    def _ran(
        self, lows: Sequence[_Low], devices: list[batch.Device], of_device: list[int]
    ) -> batch.Ran:
        n_faces = len(self._room.case.surfaces)
        above = [low.above_kg_m2 or (np.inf,) * n_faces for low in lows]
        return batch.solve(
            self._room.of,
            batch.Cases(
                low=np.array(self._low_rows),
                devices=devices,
                of_low=[low.dry for low in lows],
                of_low_wet=[low.wet for low in lows],
                of_device=of_device,
                wet_above_kg_m2=np.array(above, dtype=np.float64).reshape(len(lows), n_faces),
            ),
        )


N_METRICS = len(yearly.METRICS)
PARTS = ("weather", "space", "surfaces", "control", "equipment", "supplies", "tariff")


def _range(values: list[Any]) -> tuple[float, float]:
    if any(isinstance(value, str) for value in values):
        raise InputError(
            "a text cannot be drawn for equipment or supplies", where="doubts", hint="give numbers"
        )
    return float(min(values)), float(max(values))


def _indices(results: FloatArray, n_doubts: int) -> tuple[FloatArray, FloatArray]:
    """Return Sobol' indices of every option's numbers, each (n_doubts, n_options, n_metrics)."""
    from scipy import stats  # noqa: PLC0415 - slow to import

    shape = results.shape[2:]
    if not n_doubts:
        return np.empty((0, *shape)), np.empty((0, *shape))
    flat = results.reshape(*results.shape[:2], -1)
    first = np.full((n_doubts, flat.shape[2]), np.nan)
    total = first.copy()
    varies = np.isfinite(flat).all(axis=(0, 1)) & (np.ptp(flat, axis=(0, 1)) > 0.0)
    # What varies by rounding only has no shares of anything.
    size = np.abs(flat).max(axis=(0, 1), initial=0.0, where=np.isfinite(flat))
    varies &= np.ptp(flat, axis=(0, 1)) > 1e-9 * np.maximum(size, 1e-9)
    if varies.any():
        some = flat[..., varies]
        found = stats.sobol_indices(
            func={
                "f_A": some[:, 0].T,
                "f_B": some[:, 1].T,
                "f_AB": some[:, 2:].transpose(1, 2, 0),
            },
            n=len(some),
        )
        first[:, varies] = np.atleast_2d(found.first_order).T
        total[:, varies] = np.atleast_2d(found.total_order).T
    return first.reshape(n_doubts, *shape), total.reshape(n_doubts, *shape)
