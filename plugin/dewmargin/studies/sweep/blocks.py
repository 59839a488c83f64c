"""A block of a sweep, solved: one row a case and option, and the cases that were set aside.

`solved` is the one place where rows meet the kernel.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin import columns
from dewmargin.errors import InputError
from dewmargin.scenario import BASELINE, SEPARATOR
from dewmargin.solve import year_of_many
from dewmargin.solve.year_of_many import N_METRICS
from dewmargin.studies.sweep.plan import Plan

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import pyarrow as pa

    from dewmargin.columns import BoolArray, FloatArray
    from dewmargin.scenario.targets import Draw, Row
    from dewmargin.studies.options.runner import Runner

TRIES = 2
AT_ONCE = 256  # cases solved together: their hours are in memory meanwhile
# What is known of every case that can be solved.
_ALWAYS_KNOWN = [
    k
    for k, name in enumerate(year_of_many.METRICS)
    if name in ("delivered_kg", "running_h", "dry_h", "band_h", "humid_h", "fog_kg", "condensed_kg")
]
_ROWS_TOGETHER = 131_072  # of a Parquet file
CASE = columns.Column("case", "1", "number of the case, from 0")
SCENARIO = columns.Column("scenario", "", "scenario file")


@dataclass(frozen=True, slots=True)
class Refused:
    """A case that is set aside, and why."""

    case: int
    reason: str


@dataclass(frozen=True, slots=True)
class SolvedCases:
    """Cases of one scenario with their numbers, (n_cases, n_options, n_metrics)."""

    cases: tuple[int, ...]
    draws: tuple[Draw, ...]
    numbers: FloatArray
    refused: tuple[Refused, ...]


def solve_block(plan: Plan | str | Path, number: int) -> pa.Table:
    """Solve one block of a sweep: nothing is written, so that any scheduler may run it.

    Parameters
    ----------
    plan : Plan or path
        A sweep's file, or what `dewmargin.Plan` made of it, which saves reading it anew.
    number : int
        Of the block, from 0 to `plan.n_blocks - 1`.

    Returns
    -------
    pyarrow.Table
        One row a case and option; the cases set aside stand in the schema's metadata.

    Raises
    ------
    InputError
        If the file is refused.
    """
    plan = plan if isinstance(plan, Plan) else Plan(plan)
    block = plan.block(number)
    return table(plan, block.scenario, [solve_cases(plan, block.start, block.stop)])


def solve_cases(plan: Plan, start: int, stop: int) -> SolvedCases:
    """Solve cases of one scenario; what cannot be solved, or gives NaN twice, is set aside."""
    runner = plan.runners(plan.scenario_of(start))
    rows: list[tuple[int, Draw, Row]] = []
    refused: list[Refused] = []
    for case, draw in enumerate(plan.draws(start, stop), start):
        row = runner.variants.row(draw)
        try:
            runner.require(row)
        except Exception as error:  # noqa: BLE001 - whatever a class of inputs raises
            refused.append(Refused(case, told(error)))
        else:
            rows.append((case, draw, row))
    numbers = np.full((len(rows), len(runner.options), N_METRICS), np.nan)
    reasons = _fill(runner, [row for _, _, row in rows], numbers)
    refused += [Refused(rows[i][0], reason) for i, reason in reasons.items()]
    kept = [i for i in range(len(rows)) if i not in reasons]
    return SolvedCases(
        tuple(rows[i][0] for i in kept),
        tuple(rows[i][1] for i in kept),
        numbers[kept],
        tuple(sorted(refused, key=lambda each: each.case)),
    )


def _fill(runner: Runner, rows: Sequence[Row], out: FloatArray) -> dict[int, str]:
    """Fill the numbers of rows; return why some could not be, by their place."""
    reasons: dict[int, str] = {}
    every = list(range(len(rows)))
    waiting = [every[i : i + AT_ONCE] for i in range(0, len(rows), AT_ONCE)]
    while waiting:
        some = waiting.pop()
        try:
            out[some] = solved(runner, [rows[i] for i in some])
        except Exception as error:  # noqa: BLE001 - one bad case is not to stop the others
            if len(some) > 1:
                half = len(some) // 2
                waiting += [some[half:], some[:half]]
            elif (reason := _again(runner, rows[some[0]], out[some[0]])) is not None:
                reasons[some[0]] = reason or told(error)
    for i in np.flatnonzero(~_is_whole(out)).tolist():
        if i not in reasons and (reason := _again(runner, rows[i], out[i])) is not None:
            reasons[i] = reason
    return reasons


def _again(runner: Runner, row: Row, out: FloatArray) -> str | None:
    """Try a row once more, alone; return why it is set aside, if it is."""
    try:
        out[:] = solved(runner, [row])[0]
    except Exception as error:  # noqa: BLE001 - as above
        return told(error)
    if _is_whole(out[None])[0]:
        return None
    bad = [year_of_many.METRICS[k] for k in _ALWAYS_KNOWN if np.isnan(out[:, k]).any()]
    bad += [name for k, name in enumerate(year_of_many.METRICS) if np.isinf(out[:, k]).any()]
    return f"not a number: {', '.join(bad)}"


def _is_whole(numbers: FloatArray) -> BoolArray:
    """Tell which rows know what is always known, and nothing infinite."""
    lacks = np.isnan(numbers[..., _ALWAYS_KNOWN]).any(axis=(1, 2))
    return np.asarray(~(lacks | np.isinf(numbers).any(axis=(1, 2))))


def solved(runner: Runner, rows: Sequence[Row]) -> FloatArray:
    """Solve rows of a scenario, (n_rows, n_options, n_metrics); the place to choose a machine."""
    return runner.numbers(rows, range(len(runner.options)))


def told(error: Exception) -> str:
    """Return an error as a reason, without the file: all cases are of the same."""
    if isinstance(error, InputError):
        return str(InputError(error.what, where=error.where, hint=error.hint))
    text = str(error)
    return f"{type(error).__name__}: {text}" if text else type(error).__name__


def table(plan: Plan, scenario: int, pieces: Sequence[SolvedCases]) -> pa.Table:
    """Return solved cases as one table, units and meanings with every column."""
    import pyarrow as pa  # noqa: PLC0415 - slow to import

    options = plan.runners(scenario).options
    n_options = len(options)
    cases = [case for piece in pieces for case in piece.cases]
    draws = [draw for piece in pieces for draw in piece.draws]
    numbers = np.concatenate([piece.numbers for piece in pieces]).reshape(-1, N_METRICS)
    fields, arrays = [], []

    def add(column: columns.Column, array: pa.Array) -> None:
        about = {"unit": column.unit, "description": column.meaning}
        fields.append(pa.field(column.name, array.type, metadata=about))
        arrays.append(array)

    def texts(names: Sequence[str | None], codes: np.ndarray) -> pa.Array:
        known = list(dict.fromkeys(name for name in names if name is not None))
        of_name = np.array([-1 if n is None else known.index(n) for n in names], dtype=np.int32)
        chosen = of_name[codes] if len(names) else np.empty(0, dtype=np.int32)
        return pa.DictionaryArray.from_arrays(
            pa.array(chosen, mask=chosen < 0), pa.array(known, pa.string())
        )

    add(CASE, pa.array(np.repeat(np.array(cases, dtype=np.int64), n_options)))
    every = np.zeros(len(cases) * n_options, dtype=np.int64)
    if len(plan.scenarios) > 1:
        add(SCENARIO, texts([plan.scenario_names[scenario]], every))
    for k, parameter in enumerate(plan.parameters):
        acts = {"value": "", "factor": ", a factor", "offset": ", an offset"}[parameter.doubt.acts]
        column = columns.Column(parameter.name, parameter.unit, f"{parameter.doubt.input}{acts}")
        values = [draw[k] for draw in draws]
        if parameter.kind is str:
            said = [v if isinstance(v, str) else json.dumps(v, default=str) for v in values]
            names = list(dict.fromkeys(said))
            place = {name: i for i, name in enumerate(names)}
            codes = np.repeat(np.array([place[v] for v in said], dtype=np.int64), n_options)
            add(column, texts(names, codes))
        else:
            plain = {bool: np.bool_, int: np.int64, float: np.float64}[parameter.kind]
            add(column, pa.array(np.repeat(np.array(values, dtype=plain), n_options)))
    codes = np.tile(np.arange(n_options), len(cases))
    parts = [[None] * 3 if name == BASELINE else name.split(SEPARATOR) for name in options]
    for column, names in zip(columns.OPTION, ([*options], *map(list, zip(*parts))), strict=True):  # noqa: B905 - three each
        add(column, texts(names, codes))
    for k, column in enumerate(columns.YEARLY):
        add(column, pa.array(numbers[:, k], from_pandas=True))
    refused = [{"case": r.case, "reason": r.reason} for piece in pieces for r in piece.refused]
    about = json.dumps({"refused": refused}, sort_keys=True, ensure_ascii=False)
    return pa.Table.from_arrays(arrays, schema=pa.schema(fields, metadata={"dewmargin": about}))


def parquet(content: pa.Table) -> bytes:
    """Return a table as the bytes of a Parquet file: the same for the same table."""
    import pyarrow as pa  # noqa: PLC0415 - slow to import
    import pyarrow.parquet as pq  # noqa: PLC0415 - idem

    sums = [c.name for c in columns.YEARLY if not c.name.endswith("_h")]
    stream = pa.BufferOutputStream()
    pq.write_table(
        content,
        stream,
        compression="zstd",
        compression_level=1,
        use_dictionary=[name for name in content.column_names if name not in sums],
        column_encoding=dict.fromkeys(sums, "BYTE_STREAM_SPLIT"),
        row_group_size=_ROWS_TOGETHER,
        write_page_checksum=True,
    )
    result: bytes = stream.getvalue().to_pybytes()
    return result
