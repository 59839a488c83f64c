"""How sure a comparison is: all options again and again, with the doubtful inputs drawn anew.

Two sets of draws A and B come from a Sobol sequence or a Latin hypercube. Their rows tell how each
year number is spread. For each doubt the rows of A are run once more with that one input from B,
for the options that a reader chooses between: what that changes is its share of the variance
(Saltelli's design).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from dewmargin import columns
from dewmargin.columns import Repeated, Table
from dewmargin.core.parallel import done_once, side_by_side
from dewmargin.errors import InputError
from dewmargin.kernel.source import NEVER
from dewmargin.reports import notebook
from dewmargin.reports.tables import rows
from dewmargin.scenario import BASELINE, SEPARATOR, Scenario, load
from dewmargin.scenario.targets import (
    KEPT,
    Placed,
    Row,
    Variants,
    default_doubts,
    described,
    draws_of,
    placed,
)
from dewmargin.solve import balance, cases, energy, year_of_many, year_on_gpu
from dewmargin.solve.hours import hours_of
from dewmargin.strategies.film_memory import while_wet
from dewmargin.studies.compare.comparison import about, compare_case, inputs_sha256, write_tables
from dewmargin.studies.compare.verdict import Limits, preferred
from dewmargin.studies.frontier.lines import Limit
from dewmargin.studies.frontier.trial import require_alone
from dewmargin.studies.options.prepared import Device, plant

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Strategy
    from dewmargin.scenario.doubts import Doubt
    from dewmargin.strategies.control import Control
    from dewmargin.studies.compare.comparison import Comparison
    from dewmargin.units import Units

Sampling = Literal["sobol", "latin_hypercube"]
Draw = tuple[Any, ...]
After = Callable[[float], None]

# Besides the year numbers: condensation hours beyond those without humidifier, in the same draw.
EXTRA = "extra_condensation_h"
LIMITED = (*year_of_many.METRICS, EXTRA)
QUANTILES = (0.05, 0.10, 0.50, 0.90, 0.95)
SURE = 0.95  # of the intervals told with quantiles and probabilities
LEAST_BASE = 8
USUALLY_RANKED = 2  # options whose inputs are ranked, unless asked otherwise
ROUNDING = 1e-9  # of the largest value
ROOMS_ON_GPU = 1024
ROOMS_AT_ONCE = 16  # prepared together; each takes a megabyte or two
CASES_AT_ONCE = 32  # solved in one call: as many go through the year side by side
SCENARIOS_KEPT = 4096  # of a block, asked for when checked and when solved; they are small
CHECKED = 4  # draws that are compared in full


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
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
        By `year_of_many.METRICS`; NaN is not known.
    ranked : tuple of int
        Options whose inputs are ranked.
    first_order, total : float64 array, shape (n_doubts, n_ranked, n_metrics)
        Share of the variance that an input has alone, and with all its interactions; NaN where
        nothing varies.
    limits : tuple of Limit
    chosen : tuple of int
        In how many draws the verdict would choose each option; the baseline: none.
    evaluated : int
        How many rows of inputs were run.
    checked : mapping of str to float
        Largest difference to a full comparison, in the draws that were compared.
    inputs_sha256 : mapping of str to str
        Hashes of the files that were read.
    """

    scenario: Scenario
    doubts: tuple[Placed, ...]
    sampling: Sampling
    seed: int
    draws: tuple[Draw, ...]
    options: tuple[str, ...]
    numbers: FloatArray
    ranked: tuple[int, ...]
    first_order: FloatArray
    total: FloatArray
    limits: tuple[Limit, ...]
    chosen: tuple[int, ...]
    evaluated: int
    checked: Mapping[str, float]
    inputs_sha256: Mapping[str, str]

    def __repr__(self) -> str:
        """Return title, extent and how sure the choice is in two lines: no arrays."""
        return (
            f"<Stress {self.scenario.title!r}: {len(self.draws)} draws of {len(self.doubts)} "
            f"doubts, {len(self.options)} options\n {self.verdict}>"
        )

    @property
    def verdict(self) -> str:
        """Say how sure the choice is, and what decides."""
        n = len(self.draws)
        if not self.doubts:
            return "Nothing is drawn: the numbers are those of compare."
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
        option = self.options[self.ranked[0]]
        return [(option, "band_h"), (option, "condensation_h"), (option, "feed_l")]

    def _repr_html_(self) -> str:
        """Return what a notebook shows: verdict, broken limits and spread."""
        tables = {"spread": self._spread(), "breaks": self._breaks()}
        excerpts = [notebook.OF_BREAKS, notebook.OF_SPREAD]
        return notebook.fragment(self.scenario.title, [self.verdict], tables, excerpts)

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
        known = [
            k for k in range(len(year_of_many.METRICS)) if not np.isnan(self.numbers[..., k]).all()
        ]
        data: dict[str, list[Any]] = {column.name: [] for column in columns.SPREAD}
        for i, option in enumerate(self.options):
            for k in known:
                drawn = self.numbers[:, i, k]
                values = np.sort(drawn[~np.isnan(drawn)])
                if not values.size:
                    continue
                data["option"].append(option)
                data["number"].append(year_of_many.METRICS[k])
                data["unit"].append(columns.YEARLY[k].unit)
                data["known_frac"].append(values.size / drawn.size)
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
        for i, place in enumerate(self.ranked):
            option = self.options[place]
            for k, number in enumerate(year_of_many.METRICS):
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
                **{name: flat[:, k] for k, name in enumerate(year_of_many.METRICS)},
            },
        )

    def lines(self) -> list[str]:
        """Return how the study was made, and how far to trust it."""
        way = {"sobol": "Sobol sequence", "latin_hypercube": "Latin hypercube"}[self.sampling]
        lines = [
            (
                f"{len(self.draws)} independent sets of inputs with all options ({way}, seed "
                f"{self.seed})."
            )
        ]
        if self.doubts:
            lines.append(
                f"{self.evaluated - len(self.draws)} more with those whose inputs are ranked: "
                + "; ".join(self.options[i] for i in self.ranked)
                + "."
            )
            lines.append(
                "Shares of variance: Sobol' indices, first order and total, estimators of "
                "Saltelli 2010 and Jansen 1999; estimates, which may be a few points below 0 or "
                "above the total."
            )
        if self.checked:
            words = ", ".join(f"{name} {round(value, 3):g}" for name, value in self.checked.items())
            n = min(CHECKED, len(self.draws))
            lines.append(f"Largest difference to {n} full comparisons: {words}.")
        lines += [f"Note: {note}." for note in self._notes()]
        lines += [f"Drawn: {_spread_words(each)}" for each in self.doubts]
        return lines

    def _notes(self) -> list[str]:
        notes = []
        if self.scenario.control.swings:
            notes.append(
                "the swing around the set-point is left out; full comparisons, and so the "
                "difference to them, have it"
            )
        if any(target.part == "surfaces" for each in self.doubts for target in each.targets):
            notes.append("rules that know the surfaces know them as drawn")
        return notes

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

    def write(self, out: Path, *, units: Units = "si") -> list[Path]:
        """Write the tables, `manifest.json` last.

        Raises
        ------
        OutputError
            If a file cannot be written.
        """
        said = about(self.scenario, self.inputs_sha256) | {
            "verdict": self.verdict,
            "sampling": self.sampling,
            "seed": self.seed,
            "doubts": described(self.doubts),
            "limits": {limit.name: limit.most for limit in self.limits},
        }
        return write_tables(out, self.tables(), said, units=units)


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
        result: FloatArray = numbers[..., year_of_many.METRICS.index(name)]
        return result
    wet = numbers[..., year_of_many.METRICS.index("condensation_h")]
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
    rank: Sequence[str] = (),
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
    rank : sequence of str
        Options whose inputs are ranked, by name; ("all",) is every one. By default the two that
        the verdict would choose most often.
    after : callable
        Told the share of the work that is done.

    Raises
    ------
    InputError
        If a doubt or a limit does not suit the scenario.
    """
    scenario = source if isinstance(source, Scenario) else load(source)
    try:
        return Runner(scenario).run(
            samples=samples,
            sampling=sampling,
            seed=seed,
            limits=tuple(limits),
            rank=tuple(rank),
            after=after,
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
    of: cases.Building
    book: year_of_many.Ledger


class Runner:
    """Runs sets of inputs, and reuses between them what the drawn inputs do not touch."""

    def __init__(
        self,
        scenario: Scenario,
        doubts: Sequence[Doubt] | None = None,
        *,
        years: year_on_gpu.Years | None = None,
    ) -> None:
        self.scenario, self._years = scenario, years
        self.case = scenario.case(scenario.read_weather())
        require_alone(self.case)
        if doubts is None:
            doubts = scenario.doubts or default_doubts(scenario, self.case)
        self.doubts = placed(scenario, doubts, self.case)
        self.variants = Variants(scenario, self.doubts)
        self.options = [BASELINE] + [
            SEPARATOR.join((strategy.name, equipment.name, supply.name))
            for strategy in scenario.strategies
            for equipment in scenario.equipment
            for supply in scenario.supplies
        ]
        self._devices: list[Device] = []
        self._of_room = self.variants.touching("weather", "space", "surfaces", "comfort")
        self._of_use = self.variants.touching(
            "control", "strategies", "equipment", "supplies", "tariff"
        )
        self._of_strategy = [
            [k for k in self.variants.touching("strategies") if self.variants.targets[k].index == i]
            for i in range(len(scenario.strategies))
        ]
        self._room = done_once(self._make_room, kept=KEPT)
        self._use = lru_cache(SCENARIOS_KEPT)(self._make_use)

    def run(
        self,
        *,
        samples: int,
        sampling: Sampling,
        seed: int,
        limits: tuple[Limit, ...],
        rank: tuple[str, ...],
        after: After,
    ) -> Stress:
        """Run a study; see `study`."""
        n_doubts = len(self.doubts)
        if n_doubts:
            a, b = design(n_doubts, samples, sampling, seed)
        else:
            a, b = np.empty((1, 0)), np.empty((0, 0))
        draws_a, draws_b = draws_of(self.doubts, a), draws_of(self.doubts, b)
        draws = (*draws_a, *draws_b)
        asked = limits or self._usual_limits()
        self._prepare([self.variants.row(draw) for draw in draws])
        self._require_options(rank)
        every = range(len(self.options))
        # Saltelli's design: A and B, then A with one input from B.
        pairs = [[self.variants.row(draw) for draw in pair] for pair in _pairs(draws_a, draws_b)]
        n_more = n_doubts * (len(every) if rank == ("all",) else len(rank) or USUALLY_RANKED)
        share = 2 * len(every) / (2 * len(every) + n_more)
        first = self._all(pairs, every, lambda done: after(share * done), limits=asked)
        both = first.swapaxes(0, 1).reshape(-1, *first.shape[2:])
        chosen = self._chosen(both)
        ranked = self._ranked(chosen, rank)
        mixed = [
            [self.variants.row(draw) for draw in _mixed(*pair)] for pair in _pairs(draws_a, draws_b)
        ]
        second = self._all(mixed, ranked, lambda done: after(share + (1.0 - share) * done))
        first_order, total = _indices(np.concatenate([first[:, :, list(ranked)], second], axis=1))
        return Stress(
            scenario=self.scenario,
            doubts=tuple(self.doubts),
            sampling=sampling,
            seed=seed,
            draws=draws,
            options=tuple(self.options),
            numbers=both,
            ranked=ranked,
            first_order=first_order,
            total=total,
            limits=asked,
            chosen=chosen,
            evaluated=len(pairs) * (first.shape[1] + second.shape[1]),
            checked=self._check(draws, both),
            inputs_sha256=self._inputs_sha256(draws),
        )

    def _all(
        self,
        groups: list[list[Row]],
        options: Sequence[int],
        after: After,
        *,
        limits: Sequence[Limit] = (),
    ) -> FloatArray:
        """Return the year numbers of all groups, (n_groups, n_rows, n_options, n_metrics)."""
        results = np.empty((len(groups), len(groups[0]), len(options), N_METRICS))
        if not groups[0]:
            return results
        solved = side_by_side(lambda group: self._numbers(group, options), groups)
        # Closed at once where we stop listening, not whenever it is collected.
        with closing(solved):
            for j, found in enumerate(solved):
                results[j] = found
                if not j:
                    _require_known(limits, found)
                after((j + 1) / len(groups))
        return results

    def _require_options(self, names: Sequence[str]) -> None:
        for name in names if names != ("all",) else ():
            if name not in self.options:
                known = ", ".join(map(repr, self.options))
                raise InputError(
                    f"no option is called {name!r}", where="rank", hint=f"all, or one of: {known}"
                )

    def _ranked(self, chosen: Sequence[int], names: Sequence[str]) -> tuple[int, ...]:
        """Return the options whose inputs are ranked, the most often chosen first."""
        order = sorted(range(1, len(self.options)), key=lambda i: (-chosen[i], i))
        if names == ("all",):
            return tuple(order)
        return tuple(self.options.index(name) for name in names) or tuple(order[:USUALLY_RANKED])

    def _prepare(self, rows: list[Row]) -> None:
        """Refuse draws that cannot be, and prepare each equipment on each supply for them."""
        try:
            for row in rows:
                self.require(row)
            self.prepare(rows)
        except InputError as error:
            raise self._refused(error) from error

    def require(self, row: Row) -> None:
        """Refuse a row that cannot be."""
        self.variants.scenario_of(row, self._of_room)
        self._use(tuple(row[k] for k in self._of_use))

    def prepare(self, rows: Sequence[Row], *, kept: int | None = None) -> None:
        """Prepare each equipment on each supply for all that is said, or lies between, in rows."""
        met = plant(self.variants, rows)
        self._devices = [
            Device(self.variants, met, rows, equipment=e, supply=s, kept=kept)
            for e in range(len(self.scenario.equipment))
            for s in range(len(self.scenario.supplies))
        ]

    def _refused(self, error: InputError) -> InputError:
        """Return an error of a drawn input as one of the doubts."""
        place = "" if error.where is None else f"{error.where}: "
        hint = "" if error.hint is None else f"; {error.hint}"
        remedy = "draw less wide, or leave that out; whole numbers and texts are drawn as a choice"
        if not self.scenario.doubts:
            remedy = "the usual doubts are too wide here: give [[doubts]] of its own"
        return InputError(
            f"a draw is refused: {place}{error.what}{hint}", where="doubts", hint=remedy
        )

    def _limits(self) -> Limits:
        comfort = self.scenario.comfort
        hours = hours_of(self.case, heating_season_below_c=comfort.heating_season_below_c)
        return Limits.of(comfort, hours, self.scenario.tariff)

    def _usual_limits(self) -> tuple[Limit, ...]:
        accepted = self._limits()
        found = [Limit(name="dry_h", most=float(accepted.dry_h))]
        if self.case.surfaces:
            found.insert(0, Limit(name=EXTRA, most=float(accepted.extra_condensation_h)))
        return tuple(found)

    def _chosen(self, numbers: FloatArray) -> tuple[int, ...]:
        """Count the draws in which the verdict of a comparison would choose each option."""
        limits = self._limits()
        count = [0] * len(self.options)
        for row in numbers:
            best = preferred([_Drawn(i, each) for i, each in enumerate(row)], limits)
            count[0 if best is None else best.place] += 1
        return tuple(count)

    def _check(self, draws: Sequence[Draw], numbers: FloatArray) -> dict[str, float]:
        """Compare a few draws in full; return the largest differences."""
        worst = {"condensation_h": 0.0, "band_h": 0.0, "delivered %": 0.0, "feed %": 0.0}

        def compared(j: int) -> Comparison:
            row = self.variants.row(draws[j])
            drawn = self.variants.scenario_of(row, range(len(row)))
            return compare_case(drawn, None, drawn.with_surfaces(self.variants.case_of(row)))

        some = np.linspace(0, len(draws) - 1, min(CHECKED, len(draws))).astype(int).tolist()
        for j, found in zip(some, side_by_side(compared, some), strict=True):
            for i, option in enumerate(found.options):
                mine = dict(zip(year_of_many.METRICS, numbers[j, i], strict=True))
                for name in ("condensation_h", "band_h"):
                    apart = abs((option.row[name] or 0.0) - np.nan_to_num(mine[name]))
                    worst[name] = max(worst[name], float(apart))
                for key, name in (("delivered %", "delivered_kg"), ("feed %", "feed_l")):
                    exact = option.row[name] or 0.0
                    if exact > 0.0:
                        apart = 100.0 * abs(mine[name] / exact - 1.0)
                        worst[key] = max(worst[key], float(apart))
        return worst

    def _inputs_sha256(self, draws: Sequence[Draw]) -> dict[str, str]:
        """Return the hash of every file that some draw is read from."""
        variants = self.variants
        found: dict[str, str] = {}
        mine = variants.touching("weather", "space")
        files = [k for k in mine if variants.targets[k] in variants.choices]
        rows = [variants.row(draw) for draw in draws]
        for row in {tuple(row[k] for k in files): row for row in rows}.values():
            drawn = variants.scenario_of(row, files)
            found |= inputs_sha256(drawn, variants.weather_of(drawn))
        return found

    def _numbers(self, group: list[Row], options: Sequence[int]) -> FloatArray:
        try:
            return self.numbers(group, options)
        except InputError as error:
            raise self._refused(error) from error

    def numbers(self, group: Sequence[Row], options: Sequence[int]) -> FloatArray:
        """Return the year numbers of the rows of a group, (n_rows, n_options, n_metrics)."""
        found = np.empty((len(group), len(options), N_METRICS))
        by_room: dict[Row, list[int]] = {}
        for r, row in enumerate(group):
            by_room.setdefault(tuple(row[k] for k in self._of_room), []).append(r)
        rooms = list(by_room.values())
        together = ROOMS_AT_ONCE if self._years is None else ROOMS_ON_GPU
        for first in range(0, len(rooms), together):
            some = rooms[first : first + together]
            piles = [self._pile(group, members, options) for members in some]
            for pile in _solved(piles) if self._years is None else _massed(piles, self._years):
                for r, drawn, places in pile.asked:
                    found[r] = pile.numbers[places]
                    if drawn.tariff is not None:
                        self._price(found[r], options, drawn, pile.room.case)
        return found

    def _spread_out(self, places: Sequence[int], values: Row) -> Row:
        """Return a row that says some values at some places."""
        row: list[Any] = [None] * len(self.variants.targets)
        for k, value in zip(places, values, strict=True):
            row[k] = value
        return tuple(row)

    def _make_use(self, values: Row) -> Scenario:
        return self.variants.scenario_of(self._spread_out(self._of_use, values), self._of_use)

    def _make_room(self, values: Row) -> _Room:
        row = self._spread_out(self._of_room, values)
        drawn = self.variants.scenario_of(row, self._of_room)
        case = drawn.with_surfaces(self.variants.case_of(row))
        comfort = drawn.comfort
        hours = hours_of(case, heating_season_below_c=comfort.heating_season_below_c)
        return _Room(
            case,
            cases.building(case),
            year_of_many.ledger(hours, low_rh=comfort.low_rh, high_rh=comfort.high_rh),
        )

    def _pile(self, group: Sequence[Row], members: list[int], options: Sequence[int]) -> _Pile:
        """Return what the rows of a group that have one building ask for."""
        room = self._room(tuple(group[members[0]][k] for k in self._of_room))
        pile = _Pile(room, lambda taker: self._made(room, taker))
        held: dict[tuple[Control, Row, int], _Low] = {}
        for r in members:
            drawn = self._use(tuple(group[r][k] for k in self._of_use))
            seen = drawn.control.measured(room.case)
            places: list[int] = []
            for option in options:
                if option == 0:
                    places.append(pile.baseline())
                    continue
                which, device = divmod(option - 1, len(self._devices))
                said = tuple(group[r][k] for k in self._of_strategy[which])
                key = (drawn.control, said, which)
                if key not in held:
                    held[key] = self._held(room, drawn, drawn.strategies[which], seen, pile)
                places.append(pile.place(held[key], self._taker(self._devices[device], group[r])))
            pile.asked.append((r, drawn, places))
        return pile

    def _held(
        self, room: _Room, drawn: Scenario, strategy: Strategy, seen: HourlyCase, pile: _Pile
    ) -> _Low:
        case, control = room.case, drawn.control
        rh = control.true_setpoint(case, strategy.setpoint(seen))
        dry = pile.low(balance.setpoint_humidity_ratio(case, rh))
        wet = while_wet(strategy, seen)
        if wet is None:
            return _Low(dry, dry, ())
        rh_wet = control.true_setpoint(case, wet.rh_frac)
        above = tuple(
            1e-3 * wet.above_g_m2 if surface.name in wet.surfaces else np.inf
            for surface in case.surfaces
        )
        return _Low(dry, pile.low(balance.setpoint_humidity_ratio(case, rh_wet)), above)

    def _taker(self, device: Device, row: Row) -> _Taker:
        return _Taker(device, tuple(row[k] for k in device.inputs))

    def _made(self, room: _Room, taker: _Taker) -> year_of_many.Taker:
        """Return a device in a building, with what heats its water."""
        device = taker.device
        row = self._spread_out(device.inputs, taker.inputs)
        drawn = self.variants.scenario_of(row, device.of_supply)
        heater = drawn.supplies[device.supply].heater
        return year_of_many.Taker(
            capability=device.at(row, room.case),
            heater=None if heater is None else heater.source(room.case.n_steps),
        )

    def _price(
        self, numbers: FloatArray, options: Sequence[int], drawn: Scenario, case: HourlyCase
    ) -> None:
        """Fill what the options of a row cost, (n_options, n_metrics)."""
        plant_buys = None if case.heat_source is None else case.heat_source.carrier
        buys = [None if s.heater is None else s.heater.bought_as for s in drawn.supplies]
        cost, carbon = year_of_many.METRICS.index("cost"), year_of_many.METRICS.index("co2_kg")
        for option, each in zip(options, numbers, strict=True):
            if option == 0:
                each[[cost, carbon]] = 0.0
                continue
            year = dict(zip(year_of_many.METRICS, each.tolist(), strict=True))
            bill = energy.bill(
                year,
                feed_kg=year["feed_l"],
                added_kg=year["evaporated_l"],
                tariff=drawn.tariff,
                heater_carrier=buys[self._devices[(option - 1) % len(self._devices)].supply],
                plant_carrier=plant_buys,
            )
            each[cost] = np.nan if bill.cost is None else bill.cost
            each[carbon] = np.nan if bill.co2_kg is None else bill.co2_kg


def _pairs(draws_a: Sequence[Draw], draws_b: Sequence[Draw]) -> list[tuple[Draw, ...]]:
    """Return the rows of A, each with that of B; alone where nothing is drawn."""
    return list(zip(draws_a, draws_b, strict=True)) if draws_b else [(a,) for a in draws_a]


def _mixed(a: Draw, b: Draw = ()) -> list[Draw]:
    """Return a row of A with each input in turn from B."""
    return [(*a[:d], b[d], *a[d + 1 :]) for d in range(len(b))]


def _require_known(limits: Sequence[Limit], numbers: FloatArray) -> None:
    """Refuse a limit on what no option has, before all is run."""
    for limit in limits:
        if np.isnan(limited(numbers, limit.name)).all():
            raise InputError(f"{limit.name} is not known here", where="limit")


class _Drawn:
    """An option in one draw, as the verdict asks for it."""

    def __init__(self, place: int, numbers: FloatArray) -> None:
        self.place, self.name = place, str(place)
        known = zip(year_of_many.METRICS, numbers.tolist(), strict=True)
        self.row = {name: None if math.isnan(value) else value for name, value in known}


@dataclass(frozen=True, slots=True)
class _Low:
    """Rows of what is to be held while dry and while wet, and the films that count as wet."""

    dry: int
    wet: int
    above_kg_m2: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Taker:
    """A device with what is drawn of it."""

    device: Device
    inputs: Row


class _Pile:
    """Cases of one building, each solved once however often it is asked for.

    Attributes
    ----------
    asked : list of tuple
        A row of a group, its scenario, and the cases of its options.
    cases : dict
        Set-points with devices; by them the row in `numbers`.
    lows : list of float64 array
        What is to be held.
    numbers : float64 array, shape (n_cases, n_metrics)
        Once they are solved.
    """

    def __init__(self, room: _Room, made: Callable[[_Taker], year_of_many.Taker]) -> None:
        self.room, self.made = room, made
        self.asked: list[tuple[int, Scenario, list[int]]] = []
        self.cases: dict[tuple[_Low, _Taker | None], int] = {}
        self.lows: list[FloatArray] = []
        self._low_rows: dict[bytes, int] = {}
        self.numbers = np.empty((0, N_METRICS))

    def low(self, w_set_kg_kg: FloatArray) -> int:
        """Return the row of a set-point; equal ones share it."""
        held = self.room.of.to_hold(w_set_kg_kg)
        row = self._low_rows.setdefault(held.tobytes(), len(self.lows))
        if row == len(self.lows):
            self.lows.append(held)
        return row

    def baseline(self) -> int:
        """Return the case without a humidifier."""
        never = self.low(np.full(self.room.case.n_steps, NEVER))
        return self.place(_Low(never, never, ()), None)

    def place(self, low: _Low, key: _Taker | None) -> int:
        """Return the case of a set-point and a device."""
        return self.cases.setdefault((low, key), len(self.cases))

    @property
    def held(self) -> list[_Low]:
        """Return the set-points that devices are given: their demand is to be solved too."""
        return list(dict.fromkeys(low for low, key in self.cases if key is not None))


class _Work:
    """The cases of a pile while they are solved, a few at a time.

    What devices without limit add comes first: the others are measured by it.
    """

    def __init__(self, pile: _Pile) -> None:
        self._room, self._lows = pile.room, np.array(pile.lows)
        case, held = pile.room.case, pile.held
        keys = list(dict.fromkeys(key for _, key in pile.cases if key is not None))
        self._takers = {2 + i: pile.made(key) for i, key in enumerate(keys)}
        given = [balance.idle(case.n_steps), None, *(t.capability for t in self._takers.values())]
        self._devices = [cases.device(case, each) for each in given]
        device_of: dict[_Taker | None, int] = {None: 0} | {key: 2 + i for i, key in enumerate(keys)}
        self._cases = [(low, 1) for low in held]
        self._cases += [(low, device_of[key]) for low, key in pile.cases]
        self._row_of = {low: i for i, low in enumerate(held)}
        self._wanted = np.zeros((len(held), case.n_steps))
        self.found = np.empty((len(self._cases), N_METRICS))

    @property
    def numbers(self) -> FloatArray:
        """Return what was found of the pile's own cases."""
        return self.found[len(self._row_of) :]

    def some(self, which: Sequence[int]) -> tuple[cases.Building, cases.Cases]:
        """Return some of the cases, for the kernel."""
        n_faces = len(self._room.case.surfaces)
        lows = [self._cases[i][0] for i in which]
        above = [low.above_kg_m2 or (np.inf,) * n_faces for low in lows]
        rows = dict.fromkeys(row for low in lows for row in (low.dry, low.wet))
        place = {row: i for i, row in enumerate(rows)}
        return self._room.of, cases.Cases(
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
        wanted = [self._row_of[low] if device > 1 else -1 for low, device in self._cases]
        return year_on_gpu.Job(
            of=of, book=self._room.book, cases=every, takers=self._takers, wanted_of=wanted
        )

    def take(self, which: Sequence[int], ran: cases.Ran) -> None:
        """Add up what the kernel found."""
        some = [self._cases[i] for i in which]
        wanted = [i for i in which if i < len(self._row_of)]
        self._wanted[wanted] = ran.added_kg[: len(wanted)]
        of_device = [device for _, device in some]
        numbers = year_of_many.year_numbers(
            self._room.of,
            self._room.book,
            ran,
            devices=self._devices,
            of_device=of_device,
            takers={i: taker for i, taker in self._takers.items() if i in of_device},
            wanted_kg=self._wanted,
            wanted_of=[self._row_of[low] if device > 1 else -1 for low, device in some],
        )
        self.found[which] = np.array([numbers[m] for m in year_of_many.METRICS]).T


def _solved(piles: Sequence[_Pile]) -> Iterator[_Pile]:
    """Solve the cases of all piles side by side; yield each that has its numbers."""
    sizes = [len(pile.held) + len(pile.cases) for pile in piles]
    turn = np.array([(k, i) for k, size in enumerate(sizes) for i in range(size)])
    works: dict[int, _Work] = {}
    # Calls of equal size: few cases side by side take longer.
    for part in np.array_split(turn, math.ceil(len(turn) / CASES_AT_ONCE)):
        together: dict[int, list[int]] = {}
        for k, i in part.tolist():
            together.setdefault(k, []).append(i)
        works.update((k, _Work(piles[k])) for k in together if k not in works)
        _solve({works[k]: which for k, which in together.items()})
        for k, which in together.items():
            if which[-1] == sizes[k] - 1:
                piles[k].numbers = works.pop(k).numbers
                yield piles[k]


def _massed(piles: Sequence[_Pile], years: year_on_gpu.Years) -> Sequence[_Pile]:
    """Solve the cases of all piles on a GPU; return them with their numbers."""
    works = [_Work(pile) for pile in piles]
    by_faces: dict[int, list[int]] = {}
    for i, pile in enumerate(piles):
        by_faces.setdefault(len(pile.room.case.surfaces), []).append(i)
    for which in by_faces.values():
        found = year_on_gpu.solve([works[i].job() for i in which], years)
        for i, numbers in zip(which, found, strict=True):
            works[i].found[:] = np.array([numbers[m] for m in year_of_many.METRICS]).T
            piles[i].numbers = works[i].numbers
    return piles


def _solve(together: Mapping[_Work, Sequence[int]]) -> None:
    """Solve some cases of several buildings in one call."""
    asked = [work.some(which) for work, which in together.items()]
    ran = cases.solve_all(asked, states=False)
    for (work, which), each in zip(together.items(), ran, strict=True):
        work.take(which, each)


N_METRICS = len(year_of_many.METRICS)


def _indices(results: FloatArray) -> tuple[FloatArray, FloatArray]:
    r"""Return Sobol' indices of every option's numbers, each (n_doubts, n_options, n_metrics).

    Parameters
    ----------
    results : float64 array, shape (n_base, 2 + n_doubts, n_options, n_metrics)
        Of A, of B, and of A with each input from B; NaN is not known.

    Notes
    -----
    .. math:: S_i = \overline{f_B (f_{AB_i} - f_A)} / V \qquad
        T_i = \overline{(f_A - f_{AB_i})^2} / 2V

    with f less its mean, and its variance V, over A and B. A number that is not known in some draw,
    or varies by rounding only, has no shares of anything: NaN.

    *Source.* Saltelli et al. 2010, Computer Physics Communications 181(2), table 2 (b) and (f),
    the latter of Jansen 1999.
    """
    if results.shape[1] == 1:  # nothing is drawn
        nothing = np.empty((0, *results.shape[2:]))
        return nothing, nothing
    drawn = results[:, :2]
    centred = results - drawn.mean(axis=(0, 1))
    f_a, f_b, mixed = centred[:, 0], centred[:, 1], centred[:, 2:]
    variance = np.mean(centred[:, :2] ** 2, axis=(0, 1))
    known = np.isfinite(results).all(axis=(0, 1))
    varies = known & (np.ptp(drawn, axis=(0, 1)) > ROUNDING * np.abs(drawn).max(axis=(0, 1)))
    variance = np.where(varies, variance, np.nan)
    first = np.mean(f_b[:, None] * (mixed - f_a[:, None]), axis=0) / variance
    total = np.mean((f_a[:, None] - mixed) ** 2, axis=0) / (2.0 * variance)
    return first, total
