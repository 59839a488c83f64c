"""A sweep's file, read and checked: which inputs take which values, case by case, block by block.

Axes are multiplied with each other; what is sampled together, or stands in one row of a table, goes
side by side. What is dear to prepare varies slowest: weather, building, surfaces, equipment, the
rest. So neighbours share what they can, and a block is a run of neighbours.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from dewmargin import columns
from dewmargin.core.parallel import done_once
from dewmargin.core.toml_file import checked, document, read
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs, unit_of
from dewmargin.reports import folder
from dewmargin.scenario import load
from dewmargin.scenario.doubts import Doubt
from dewmargin.scenario.targets import KEPT
from dewmargin.solve import year_of_many, year_on_gpu
from dewmargin.studies.options.runner import Runner

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.scenario.targets import Draw, Placed, Row

MOST_CASES = 1_000_000_000
CASE_YEARS = {"cpu": 8192, "gpu": 131_072}  # of a block, about
LEAST_BLOCKS = 16  # of a small sweep, so that threads have something to share
MOST_CHOICES = 8  # different numbers of a table's column that are solved one by one
MOST_TRIED = 1000  # values of an input that are checked before the work begins
_OF_ROOM = ("weather", "space", "surfaces", "comfort")
_ORDER = (*_OF_ROOM, "equipment", "supplies", "strategies", "control", "tariff")
_MET = ("weather", "space", "equipment", "supplies")
_PLAIN = (("**", ""), ("hour", "h"), ("delta_degC", "K"), ("degC", "°C"), ("minute", "min"))
_DOUBT = re.compile(r"doubts\[(\d+)\]")

Machine = Literal["cpu", "gpu"]
Finite = Annotated[float, Field(allow_inf_nan=False)]


class Axis(Inputs):
    """An input that takes some values, each with all values of the other axes."""

    input: str = Field(min_length=1, description="key of the scenario, as a doubt names it")
    name: str = Field("", description="column of the dataset; default: the input")
    values: tuple[Any, ...] | None = Field(
        None, min_length=1, description="its values, such as file names, numbers or points"
    )
    start: Finite | None = Field(None, description="first value of a range")
    stop: Finite | None = Field(None, description="last value of a range, itself included")
    step: Annotated[float, Field(gt=0.0)] | None = Field(None, description="between two values")
    count: Annotated[int, Field(ge=2, le=1_000_000)] | None = Field(
        None, description="how many values, evenly spread; in the place of step"
    )

    @model_validator(mode="after")
    def _is_told_once(self) -> Self:
        """Refuse values and a range together, or half a range."""
        ends = [self.start is not None, self.stop is not None]
        way = [self.step is not None, self.count is not None]
        if self.values is not None and any(ends + way):
            raise ValueError("give values, or start, stop and step or count, not both")
        if self.values is None and not (all(ends) and sum(way) == 1):
            raise ValueError("needs values, or start, stop and one of step and count")
        if self.start is not None and self.stop is not None and self.start > self.stop:
            raise ValueError(f"start must not be above stop, got {self.start:g} and {self.stop:g}")
        return self

    def points(self) -> tuple[Any, ...]:
        """Return all its values."""
        if self.values is not None:
            return tuple(frozen(value) for value in self.values)
        # As decimals: 0.1 three times is to be 0.3.
        start, stop = Decimal(repr(self.start)), Decimal(repr(self.stop))
        if self.count is not None:
            step = (stop - start) / (self.count - 1)
            return tuple(float(start + i * step) for i in range(self.count))
        step = Decimal(repr(self.step))
        return tuple(float(start + i * step) for i in range(int((stop - start) / step) + 1))


class Sample(Inputs):
    """Inputs drawn together, side by side."""

    method: Literal["sobol", "latin_hypercube"] = Field(
        "sobol", description="Sobol sequence or Latin hypercube; default: Sobol sequence"
    )
    n: int = Field(ge=1, le=10_000_000, description="how many; of a Sobol sequence a power of two")
    seed: int = Field(1, ge=0, description="the same seed gives the same draws")
    inputs: list[Doubt] = Field(min_length=1, description="what is drawn, and how it is spread")

    @model_validator(mode="after")
    def _is_balanced(self) -> Self:
        """Refuse a Sobol sequence that is cut short, which spoils what it is for."""
        if self.method == "sobol" and self.n & (self.n - 1):
            less = 1 << (self.n.bit_length() - 1)
            raise ValueError(
                f"n must be a power of two for a Sobol sequence, got {self.n}: take {less} or "
                f"{2 * less}"
            )
        return self

    def draws(self) -> list[Draw]:
        """Return what is drawn, row by row.

        *Source.* Scrambled Sobol sequence and Latin hypercube of scipy.stats.qmc.
        """
        from scipy.stats import qmc  # noqa: PLC0415 - slow to import

        n_inputs = len(self.inputs)
        if self.method == "sobol":
            sequence = qmc.Sobol(n_inputs, scramble=True, rng=self.seed)
            cube = sequence.random_base2(self.n.bit_length() - 1)
        else:
            cube = qmc.LatinHypercube(n_inputs, rng=self.seed).random(self.n)
        each = [doubt.drawn(cube[:, k]) for k, doubt in enumerate(self.inputs)]
        return list(zip(*each, strict=True))


class Rows(Inputs):
    """Inputs given row by row."""

    file: str = Field(
        description="CSV or Parquet file relative to this one; the columns are inputs"
    )


class Hourly(Inputs):
    """Cases whose hours are written too."""

    cases: tuple[Annotated[int, Field(ge=0)], ...] = Field(
        min_length=1, description="numbers of the cases, from 0, as in the dataset"
    )


class SweepFile(Inputs):
    """A sweep's file."""

    scenario: tuple[str, ...] = Field(
        min_length=1, description="scenario file that is varied, relative to this one; or several"
    )
    axes: list[Axis] = Field([], description="inputs that are multiplied with each other")
    sample: Sample | None = Field(None, description="inputs that are drawn side by side")
    rows: Rows | None = Field(None, description="inputs that a table gives row by row")
    hourly: Hourly | None = Field(None, description="cases whose hours are written too")
    block: int | None = Field(
        None, ge=1, description="cases in a block; default: about 8192 case-years"
    )

    @model_validator(mode="before")
    @classmethod
    def _one_or_several(cls, data: Any) -> Any:  # noqa: ANN401 - anything a file may hold
        """Take one scenario for a list of one."""
        if isinstance(data, dict) and isinstance(data.get("scenario"), str):
            return data | {"scenario": (data["scenario"],)}
        return data


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """A column of the dataset that says what an input is in a case.

    `where` is its place in the sweep's file, `span` all that it says, or least and most of what is
    read off a polynomial between.
    """

    name: str
    doubt: Doubt
    where: str
    span: tuple[Any, ...]

    @cached_property
    def kind(self) -> type:
        """Return the one type that holds all its values; text, as JSON, if none does."""
        kinds = {type(value) for value in self.span}
        for kind in (bool, int):
            if kinds == {kind}:
                return kind
        return float if kinds <= {int, float} else str

    @property
    def unit(self) -> str:
        """Return its unit, as its name tells it."""
        if self.doubt.acts == "factor":
            return "1"
        unit = unit_of(self.doubt.input.rpartition(".")[2]) or ""
        for spelt, plain in _PLAIN:
            unit = unit.replace(spelt, plain)
        return unit


@dataclass(frozen=True, slots=True)
class _Group:
    """Parameters that vary together, by place, and what they are in turn."""

    places: tuple[int, ...]
    points: Sequence[Draw]


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A run of cases of one scenario: from `start` to before `stop`."""

    number: int
    scenario: int
    start: int
    stop: int


class Plan:
    """All cases of a sweep.

    Parameters
    ----------
    path : path
        The sweep's file: TOML, at most 1 MB.
    device : "cpu" or "gpu"
        What solves the balance.

    Raises
    ------
    InputError
        If it cannot be read, or an input of it is refused; the message names file, key and row.
    """

    def __init__(self, path: str | Path, *, device: Machine = "cpu") -> None:
        self.path, self.device = Path(path), device
        self._years = year_on_gpu.gpu_years() if device == "gpu" else None
        raw = read(self.path, "a sweep")
        self.sha256 = hashlib.sha256(raw).hexdigest()
        self.file = checked(SweepFile, document(raw, self.path), self.path, "")
        self.scenario_names = self.file.scenario
        self.scenarios = tuple(load(self.path.parent / name) for name in self.scenario_names)
        self._file_sha256 = done_once(folder.sha256, kept=None)
        self._shared_key = done_once(self._made_shared_key, kept=None)
        self.inputs: dict[str, str] = {}  # hash of every file that a block was asked to be of
        self._table: dict[str, list[Any]] = {}
        self.parameters, groups = self._read()
        self._require_names()
        self.runners = done_once(self._make_runner, kept=None)
        # A typing error is told before the work, not set aside case by case.
        for i in range(len(self.scenarios)):
            self._require_values(i)
        self.groups = sorted(groups, key=self._rank)
        self.n_of_scenario = math.prod(len(group.points) for group in groups)
        self.n_cases = self.n_of_scenario * len(self.scenarios)
        if self.n_cases > MOST_CASES:
            raise InputError(
                f"makes {self.n_cases} cases, at most {MOST_CASES} can be", file=self.path
            )
        self.hourly = () if self.file.hourly is None else self.file.hourly.cases
        for i, case in enumerate(self.hourly):
            if case >= self.n_cases:
                raise InputError(
                    f"must be below {self.n_cases}, got {case}",
                    file=self.path,
                    where=f"hourly.cases[{i}]",
                )

    def __repr__(self) -> str:
        """Return file and extent in a line."""
        return (
            f"<Plan of {self.path}: {self.n_cases} cases of {len(self.parameters)} parameters, "
            f"{len(self.scenarios)} scenarios>"
        )

    # Cases and blocks

    @cached_property
    def block_cases(self) -> int:
        """Cases in a block: a multiple of those that share a building, if that can be."""
        if self.file.block is not None:
            return self.file.block
        most = max(len(self.runners(i).options) for i in range(len(self.scenarios)))
        size = max(
            min(CASE_YEARS[self.device] // most, math.ceil(self.n_of_scenario / LEAST_BLOCKS)), 1
        )
        sharing = 1
        for group in reversed(self.groups):
            if self._rank(group) < len(_OF_ROOM):
                break
            sharing *= len(group.points)
        return size - size % sharing if sharing <= size else size

    @cached_property
    def n_blocks(self) -> int:
        """Number of blocks."""
        return math.ceil(self.n_of_scenario / self.block_cases) * len(self.scenarios)

    @property
    def n_rows(self) -> int:
        """Rows of the dataset if no case is set aside: every case with every option."""
        each = [len(self.runners(i).options) for i in range(len(self.scenarios))]
        return self.n_of_scenario * sum(each)

    def block(self, number: int) -> Block:
        """Return a block by its number, from 0.

        Raises
        ------
        InputError
            If there is no such block.
        """
        if not 0 <= number < self.n_blocks:
            raise InputError(f"has blocks 0 to {self.n_blocks - 1}, not {number}", file=self.path)
        scenario, within = divmod(number, self.n_blocks // len(self.scenarios))
        first = scenario * self.n_of_scenario
        start = first + within * self.block_cases
        stop = min(start + self.block_cases, first + self.n_of_scenario)
        return Block(number=number, scenario=scenario, start=start, stop=stop)

    def draws(self, start: int, stop: int) -> list[Draw]:
        """Return what each parameter is in the cases from `start` to before `stop`."""
        found = []
        for case in range(start, stop):
            rest = case % self.n_of_scenario
            draw: list[Any] = [None] * len(self.parameters)
            for group in reversed(self.groups):
                rest, point = divmod(rest, len(group.points))
                for place, value in zip(group.places, group.points[point], strict=True):
                    draw[place] = value
            found.append(tuple(draw))
        return found

    def scenario_of(self, case: int) -> int:
        """Return which scenario a case is of."""
        return case // self.n_of_scenario

    def key(self, block: Block) -> str:
        """Return the hash of all that decides a block's numbers.

        Program and libraries, scenario, files that are read, what devices are prepared for, and
        every value in it. The weathers of other blocks are not: one more costs only its own.
        """
        decides = [
            self._shared_key(block.scenario),
            sorted((Path(path).name, sha256) for path, sha256 in self.files(block).items()),
            block.start,
            self.draws(block.start, block.stop),
        ]
        return _sha256(decides)[:32]

    def _made_shared_key(self, scenario: int) -> str:
        """Return the hash of what all blocks of a scenario share."""
        runner = self.runners(scenario)
        # What a device is prepared for depends on all that is said of its inputs.
        own = [
            (
                p.doubt.input, p.doubt.acts, p.name, p.kind.__name__,
                [p.span for t in placed.targets[:1] if t.part in _MET and t.part != "weather"],
            )
            for p, placed in zip(self.parameters, runner.doubts, strict=True)
        ]  # fmt: skip
        names = self.scenario_names
        return _sha256(
            [
                code_sha256(), folder.versions(), self.scenarios[scenario].sha256,
                names[scenario] if len(names) > 1 else "", own, self.device,
            ]
        )  # fmt: skip

    def files(self, block: Block) -> dict[str, str]:
        """Return the hash of every file that a block's cases are read from, by path.

        Raises
        ------
        InputError
            If one cannot be read.
        """
        runner = self.runners(block.scenario)
        variants = runner.variants
        places = variants.touching("weather", "space")
        mine = tuple(k for k in places if variants.targets[k] in variants.choices)
        rows = (variants.row(draw) for draw in self.draws(block.start, block.stop))
        found: dict[str, str] = {}
        for values in dict.fromkeys(tuple(row[k] for k in mine) for row in rows):
            found |= self._files_of(block.scenario, mine, values)
        self.inputs |= found
        return found

    def notes(self) -> list[str]:
        """Return what a reader of the dataset must know."""
        if any(scenario.control.swings for scenario in self.scenarios):
            return ["the swing around the set-point is left out; hours of chosen cases have it"]
        return []

    # How it is made

    def _read(self) -> tuple[tuple[Parameter, ...], list[_Group]]:
        """Return all parameters and how they go together."""
        found: list[Parameter] = []
        groups: list[_Group] = []
        for i, axis in enumerate(self.file.axes):
            points = axis.points()
            doubt = choice(axis.input, points)
            groups.append(_Group((len(found),), [(point,) for point in points]))
            found.append(
                Parameter(
                    name=axis.name or axis.input, doubt=doubt, where=f"axes[{i}]", span=points
                )
            )
        if self.file.sample is not None:
            sample = self.file.sample
            draws = sample.draws()
            groups.append(_Group(_next(len(found), len(sample.inputs)), draws))
            for i, doubt in enumerate(sample.inputs):
                column = [draw[i] for draw in draws]
                span = doubt.values or (min(column), max(column))
                where = f"sample.inputs[{i}]"
                found.append(Parameter(name=doubt.input, doubt=doubt, where=where, span=span))
        if self.file.rows is not None:
            table = self._table = read_rows(self.path.parent / self.file.rows.file)
            doubts = [_of_column(name, values) for name, values in table.items()]
            rows = list(zip(*table.values(), strict=True))
            groups.append(_Group(_next(len(found), len(doubts)), self._sorted(doubts, rows)))
            for doubt in doubts:
                span = doubt.values or (doubt.low, doubt.high)
                where = f"rows.file: {doubt.input}"
                found.append(Parameter(name=doubt.input, doubt=doubt, where=where, span=span))
        return tuple(found), groups

    def _sorted(self, doubts: Sequence[Doubt], rows: list[Draw]) -> list[Draw]:
        """Return rows with those of one building beside each other, the first first."""
        ranks = [_rank_of(doubt) for doubt in doubts]
        dear = sorted(
            (k for k, rank in enumerate(ranks) if rank < len(_OF_ROOM)), key=lambda k: ranks[k]
        )
        seen: list[dict[Any, int]] = [{} for _ in dear]
        keys = [
            tuple(
                places.setdefault(row[k], len(places)) for k, places in zip(dear, seen, strict=True)
            )
            for row in rows
        ]
        return [rows[i] for i in sorted(range(len(rows)), key=lambda i: keys[i])]

    def _rank(self, group: _Group) -> int:
        """Return how dear the dearest of a group's parameters is to prepare; 0 is the dearest."""
        return min(_rank_of(self.parameters[k].doubt) for k in group.places)

    def _require_names(self) -> None:
        taken = {"case", "scenario", *(c.name for c in columns.OPTION), *year_of_many.METRICS}
        for parameter in self.parameters:
            if parameter.name in taken:
                raise InputError(
                    f"{parameter.name!r} is another column of the dataset",
                    file=self.path,
                    where=parameter.where,
                    hint="give the axis a name of its own, or each input once",
                )
            taken.add(parameter.name)

    def _make_runner(self, scenario: int) -> Runner:
        try:
            doubts = [p.doubt for p in self.parameters]
            runner = Runner(self.scenarios[scenario], doubts, years=self._years)
        except InputError as error:
            raise self._placed(error, scenario) from error
        for parameter, placed in zip(self.parameters, runner.doubts, strict=True):
            self._require_within(parameter, placed)
        try:
            runner.prepare(self._corners(runner), kept=KEPT)
        except InputError as error:
            raise self._placed(error, scenario) from error
        return runner

    def _corners(self, runner: Runner) -> list[Row]:
        """Return rows in which all that is said, or the ends of what is drawn, is said once."""
        # What is not met by a device need not be said in all its ways.
        spans = [
            p.span if any(target.part in _MET for target in placed.targets) else p.span[:1]
            for p, placed in zip(self.parameters, runner.doubts, strict=True)
        ]
        n = max((len(span) for span in spans), default=1)
        draws = [tuple(span[i % len(span)] for span in spans) for i in range(n)]
        return [runner.variants.row(draw) for draw in draws]

    def _placed(self, error: InputError, scenario: int) -> InputError:
        """Return an error about a doubt as one about this file; others are of the scenario."""
        where = error.where or ""
        if error.file is not None:
            return error
        if _DOUBT.search(where) is None:
            return self.scenarios[scenario].placed(error)

        def mine(match: re.Match[str]) -> str:
            return self.parameters[int(match[1])].where

        return InputError(
            _DOUBT.sub(mine, error.what),
            file=self.path,
            where=_DOUBT.sub(mine, where),
            hint=error.hint,
        )

    def _require_within(self, parameter: Parameter, placed: Placed) -> None:
        """Refuse draws beyond what the input may be: they would be moved to its bounds."""
        doubt = parameter.doubt
        if doubt.distribution == "choice":
            return
        for value in parameter.span:
            for own, (low, high) in zip(placed.own, placed.bounds, strict=True):
                said = own * value if doubt.acts == "factor" else value
                said = own + value if doubt.acts == "offset" else said
                if not low <= said <= high:
                    raise InputError(
                        f"{doubt.input} would be {said:g}, it may be {low:g} to {high:g}",
                        file=self.path,
                        where=parameter.where,
                        hint="draw it less wide",
                    )

    def _require_values(self, scenario: int) -> None:
        """Refuse a value of an axis or of a table that its input can never have."""
        runner = self.runners(scenario)
        place = 0
        for parameter, placed in zip(self.parameters, runner.doubts, strict=True):
            targets = range(place, place + len(placed.targets))
            place += len(placed.targets)
            if parameter.doubt.distribution != "choice":
                continue
            for i, value in enumerate(parameter.span[:MOST_TRIED]):
                row: list[Any] = [None] * len(runner.variants.targets)
                for target in targets:
                    row[target] = value
                try:
                    runner.variants.scenario_of(tuple(row), targets)
                    if placed.targets[0].part in ("weather", "space"):
                        self._files_of(scenario, tuple(targets), tuple(row[k] for k in targets))
                except InputError as error:
                    if error.file is not None and error.file != runner.scenario.file:
                        raise  # a file that cannot be read
                    what = _of_itself(error, runner.variants.targets[targets[0]].where)
                    if what is None:
                        continue  # it may go together with what others say
                    where = f"{parameter.where}.values[{i}]"
                    if parameter.where.startswith("rows."):
                        row_of = self._table[parameter.doubt.input].index(value)
                        where = f"{parameter.where}: row {row_of + 1}"
                    raise InputError(what, file=self.path, where=where, hint=error.hint) from error

    def _files_of(self, scenario: int, places: tuple[int, ...], values: Row) -> dict[str, str]:
        variants = self.runners(scenario).variants
        row: list[Any] = [None] * len(variants.targets)
        for k, value in zip(places, values, strict=True):
            row[k] = value
        drawn = variants.scenario_of(tuple(row), places)
        here = drawn.file.parent
        paths = [] if drawn.weather is None else [here / drawn.weather.file]
        try:
            return {
                str(path): self._file_sha256(path) for path in (*paths, *drawn.space.files(here))
            }
        except OSError as error:
            raise InputError(f"cannot be read: {error.strerror}", file=error.filename) from error


def frozen(value: object) -> Any:  # noqa: ANN401 - whatever a file may hold
    """Return a value with its lists, however deep, as tuples, so that it can be looked up."""
    return tuple(map(frozen, value)) if isinstance(value, (list, tuple)) else value


def choice(text: str, values: Sequence[Any]) -> Doubt:
    """Return an input that takes given values, which may be wider than those of a doubt."""
    return Doubt.model_construct(
        input=text, acts="value", distribution="choice", values=tuple(values)
    )


def _sha256(said: Sequence[Any]) -> str:
    text = json.dumps(said, sort_keys=True, default=str)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def code_sha256() -> str:
    """Return the hash of the program's sources."""
    digest = hashlib.sha256()
    package = Path(__file__).parents[2]
    for path in sorted(package.rglob("*.py")):
        digest.update(path.relative_to(package).as_posix().encode("utf-8"))
        digest.update(path.read_bytes())
    return digest.hexdigest()


def read_rows(path: Path) -> dict[str, list[Any]]:
    """Read a table of inputs, CSV or Parquet, by column.

    Raises
    ------
    InputError
        If it cannot be read, is empty, or a cell is; the message names the row, the first is 1.
    """
    import pyarrow as pa  # noqa: PLC0415 - slow to import
    from pyarrow import csv, parquet  # noqa: PLC0415 - idem

    try:
        if path.suffix.casefold() == ".parquet":
            table = parquet.read_table(path)
        else:
            table = csv.read_csv(path)
    except (OSError, pa.ArrowInvalid) as error:
        raise InputError(f"cannot be read as a table: {error}", file=path) from error
    found = {n: list(map(_number, table.column(n).to_pylist())) for n in table.column_names}
    if not table.num_rows:
        raise InputError("has no rows", file=path)
    for name, values in found.items():
        for i, value in enumerate(values):
            if value is None or (isinstance(value, float) and not math.isfinite(value)):
                raise InputError("must hold a value", file=path, where=f"row {i + 1}, {name}")
    return {name: list(map(frozen, values)) for name, values in found.items()}


def _number(value: object) -> object:
    """Return a cell as a number if it is one: one text makes a column of a CSV file texts."""
    if not isinstance(value, str):
        return value
    try:
        number = float(value)
    except ValueError:
        return value
    return number if math.isfinite(number) else value


def _of_itself(error: InputError, where: str) -> str | None:
    """Return what is wrong with a value, unless it only does not go with other values."""
    key = where.rpartition(".")[2]
    if error.where is not None and error.where.startswith(where):
        return error.what
    return error.what.removeprefix(f"{key}: ") if error.what.startswith(f"{key}: ") else None


def _of_column(name: str, values: Sequence[Any]) -> Doubt:
    """Return a column as an input: many different numbers are read off a polynomial."""
    distinct = tuple(dict.fromkeys(values))
    numbers = all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in distinct)
    if len(distinct) > MOST_CHOICES and numbers and any(v != int(v) for v in distinct):
        return Doubt(input=name, distribution="uniform", low=min(distinct), high=max(distinct))
    return choice(name, distinct)


def _rank_of(doubt: Doubt) -> int:
    """Return how dear an input is to prepare; 0 is the dearest."""
    match = re.match("[a-z_]+", doubt.input)
    part = "" if match is None else match[0]
    return _ORDER.index(part) if part in _ORDER else 0


def _next(start: int, n: int) -> tuple[int, ...]:
    return tuple(range(start, start + n))
