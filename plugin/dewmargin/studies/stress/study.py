"""How sure a comparison is: all options again and again, with the doubtful inputs drawn anew.

Two sets of draws A and B come from a Sobol sequence or a Latin hypercube. Their rows tell how each
year number is spread. For each doubt the rows of A are run once more with that one input from B,
for the options that a reader chooses between: what that changes is its share of the variance
(Saltelli's design).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin import columns
from dewmargin.columns import Repeated, Table
from dewmargin.core.parallel import side_by_side
from dewmargin.errors import InputError
from dewmargin.reports import notebook
from dewmargin.reports.tables import rows
from dewmargin.scenario import Scenario, load
from dewmargin.scenario.targets import Draw, Placed, Row, described, draws_of
from dewmargin.solve import year_of_many
from dewmargin.solve.hours import hours_of
from dewmargin.solve.year_of_many import N_METRICS
from dewmargin.studies.compare.comparison import compare_case
from dewmargin.studies.compare.verdict import Limits, preferred
from dewmargin.studies.options.limit import Limit
from dewmargin.studies.options.record import about, inputs_sha256, write_tables
from dewmargin.studies.options.runner import Runner
from dewmargin.studies.stress.indices import Sampling, design, indices, interval, share_interval

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.columns import FloatArray
    from dewmargin.studies.compare.comparison import Comparison
    from dewmargin.units import Units

After = Callable[[float], None]

# Besides the year numbers: condensation hours beyond those without humidifier, in the same draw.
EXTRA = "extra_condensation_h"
LIMITED = (*year_of_many.METRICS, EXTRA)
QUANTILES = (0.05, 0.10, 0.50, 0.90, 0.95)
USUALLY_RANKED = 2  # options whose inputs are ranked, unless asked otherwise
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
        return _Study(scenario).run(
            samples=samples,
            sampling=sampling,
            seed=seed,
            limits=tuple(limits),
            rank=tuple(rank),
            after=after,
        )
    except InputError as error:
        raise scenario.placed(error) from error


class _Study:
    """A study of one scenario: its runner, with what only the study asks."""

    def __init__(self, scenario: Scenario) -> None:
        self.runner = Runner(scenario)

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
        """Run it; see `study`."""
        n_doubts = len(self.runner.doubts)
        if n_doubts:
            a, b = design(n_doubts, samples, sampling, seed)
        else:
            a, b = np.empty((1, 0)), np.empty((0, 0))
        draws_a, draws_b = draws_of(self.runner.doubts, a), draws_of(self.runner.doubts, b)
        draws = (*draws_a, *draws_b)
        asked = limits or self._usual_limits()
        self._prepare([self.runner.variants.row(draw) for draw in draws])
        self._require_options(rank)
        every = range(len(self.runner.options))
        # Saltelli's design: A and B, then A with one input from B.
        pairs = [
            [self.runner.variants.row(draw) for draw in pair] for pair in _pairs(draws_a, draws_b)
        ]
        n_more = n_doubts * (len(every) if rank == ("all",) else len(rank) or USUALLY_RANKED)
        share = 2 * len(every) / (2 * len(every) + n_more)
        first = self._all(pairs, every, lambda done: after(share * done), limits=asked)
        both = first.swapaxes(0, 1).reshape(-1, *first.shape[2:])
        chosen = self._chosen(both)
        ranked = self._ranked(chosen, rank)
        mixed = [
            [self.runner.variants.row(draw) for draw in _mixed(*pair)]
            for pair in _pairs(draws_a, draws_b)
        ]
        second = self._all(mixed, ranked, lambda done: after(share + (1.0 - share) * done))
        first_order, total = indices(np.concatenate([first[:, :, list(ranked)], second], axis=1))
        return Stress(
            scenario=self.runner.scenario,
            doubts=tuple(self.runner.doubts),
            sampling=sampling,
            seed=seed,
            draws=draws,
            options=tuple(self.runner.options),
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
            if name not in self.runner.options:
                known = ", ".join(map(repr, self.runner.options))
                raise InputError(
                    f"no option is called {name!r}", where="rank", hint=f"all, or one of: {known}"
                )

    def _ranked(self, chosen: Sequence[int], names: Sequence[str]) -> tuple[int, ...]:
        """Return the options whose inputs are ranked, the most often chosen first."""
        order = sorted(range(1, len(self.runner.options)), key=lambda i: (-chosen[i], i))
        if names == ("all",):
            return tuple(order)
        return tuple(self.runner.options.index(name) for name in names) or tuple(
            order[:USUALLY_RANKED]
        )

    def _prepare(self, rows: list[Row]) -> None:
        """Refuse draws that cannot be, and prepare each equipment on each supply for them."""
        try:
            for row in rows:
                self.runner.require(row)
            self.runner.prepare(rows)
        except InputError as error:
            raise self._refused(error) from error

    def _refused(self, error: InputError) -> InputError:
        """Return an error of a drawn input as one of the doubts."""
        place = "" if error.where is None else f"{error.where}: "
        hint = "" if error.hint is None else f"; {error.hint}"
        remedy = "draw less wide, or leave that out; whole numbers and texts are drawn as a choice"
        if not self.runner.scenario.doubts:
            remedy = "the usual doubts are too wide here: give [[doubts]] of its own"
        return InputError(
            f"a draw is refused: {place}{error.what}{hint}", where="doubts", hint=remedy
        )

    def _limits(self) -> Limits:
        comfort = self.runner.scenario.comfort
        hours = hours_of(self.runner.case, heating_season_below_c=comfort.heating_season_below_c)
        return Limits.of(comfort, hours, self.runner.scenario.tariff)

    def _usual_limits(self) -> tuple[Limit, ...]:
        accepted = self._limits()
        found = [Limit(name="dry_h", most=float(accepted.dry_h))]
        if self.runner.case.surfaces:
            found.insert(0, Limit(name=EXTRA, most=float(accepted.extra_condensation_h)))
        return tuple(found)

    def _chosen(self, numbers: FloatArray) -> tuple[int, ...]:
        """Count the draws in which the verdict of a comparison would choose each option."""
        limits = self._limits()
        count = [0] * len(self.runner.options)
        for row in numbers:
            best = preferred([_Drawn(i, each) for i, each in enumerate(row)], limits)
            count[0 if best is None else best.place] += 1
        return tuple(count)

    def _check(self, draws: Sequence[Draw], numbers: FloatArray) -> dict[str, float]:
        """Compare a few draws in full; return the largest differences."""
        worst = {"condensation_h": 0.0, "band_h": 0.0, "delivered %": 0.0, "feed %": 0.0}

        def compared(j: int) -> Comparison:
            row = self.runner.variants.row(draws[j])
            drawn = self.runner.variants.scenario_of(row, range(len(row)))
            return compare_case(drawn, None, drawn.with_surfaces(self.runner.variants.case_of(row)))

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
        variants = self.runner.variants
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
            return self.runner.numbers(group, options)
        except InputError as error:
            raise self._refused(error) from error


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
