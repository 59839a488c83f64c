"""A sweep from its file to its dataset: blocks side by side, each written whole or not at all.

A block's name is the hash of its inputs, so that a sweep that was broken off goes on where it was,
and ends with the same bytes.
"""

from __future__ import annotations

import hashlib
import json
import time
from dataclasses import asdict, dataclass
from os import cpu_count
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dewmargin.columns import SWEEP_REFUSED, Table
from dewmargin.core.parallel import OverdueError, as_they_end
from dewmargin.errors import DewmarginError, InputError
from dewmargin.reports import folder
from dewmargin.reports.csv import CsvTables
from dewmargin.reports.parquet import parquet_bytes
from dewmargin.studies.compare.comparison import compare_case
from dewmargin.studies.sweep.apart import solve_apart
from dewmargin.studies.sweep.blocks import parquet, solve_block, solve_cases, table
from dewmargin.studies.sweep.cluster import on_cluster, part_name
from dewmargin.studies.sweep.dataset import (
    HOURS,
    PARTS,
    TRIES,
    Store,
    Sweep,
    refused_of,
    summary_table,
)
from dewmargin.studies.sweep.plan import Plan

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.studies.sweep.plan import Block, Machine

PATIENCE_S = 600.0
_NO_LIMIT_S = 1e6  # of processes that have a limit of their own
MEASURED_ROWS = 1024
MOST_BROKEN_OFF = 1  # times a block may begin before it is solved apart


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a sweep is; of blocks that were there, nothing had to be solved."""

    blocks: int
    blocks_done: int
    cases: int
    cases_done: int
    case_years_per_s: float
    left_s: float | None

    def document(self) -> dict[str, Any]:
        """Return it for a machine: one line of JSON."""
        return {"progress": asdict(self)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """What a sweep would take, by a few of its first cases solved on one thread."""

    cases: int
    rows: int
    blocks: int
    measured_cases: int
    mbytes: float
    seconds: float
    threads: int

    def document(self) -> dict[str, Any]:
        """Return it for a machine."""
        return asdict(self)

    def lines(self) -> list[str]:
        """Return it for a person."""
        return [
            f"{self.cases} cases, {self.rows} case-years with all options; {self.blocks} blocks.",
            (
                f"About {self.mbytes:.3g} MB and {_duration(self.seconds)} on {self.threads} "
                f"threads, by the first {self.measured_cases} cases, solved now on one thread: a "
                "guess, within a factor of two or so."
            ),
        ]


def dry_run(source: str | Path, *, threads: int | None = None, device: Machine = "cpu") -> Estimate:
    """Check a sweep's file and guess what the sweep would take; nothing is written.

    Raises
    ------
    InputError
        If an input is refused.
    """
    plan = Plan(source, device=device)
    n_threads = threads or cpu_count() or 1
    block = plan.block(0)
    n_options = len(plan.runners(0).options)
    stop = min(block.stop, block.start + max(MEASURED_ROWS // n_options, 1))
    solve_cases(plan, block.start, block.start + 1)  # the kernel from its cache
    began = time.perf_counter()
    piece = solve_cases(plan, block.start, stop)
    content = parquet(table(plan, 0, [piece]))
    took = time.perf_counter() - began
    times = plan.n_cases / (stop - block.start)
    return Estimate(
        cases=plan.n_cases,
        rows=plan.n_rows,
        blocks=plan.n_blocks,
        measured_cases=stop - block.start,
        mbytes=1e-6 * len(content) * times,
        seconds=took * times / min(n_threads, plan.n_blocks),
        threads=n_threads,
    )


def sweep(
    source: str | Path,
    out: str | Path,
    *,
    threads: int | None = None,
    cluster: str | None = None,
    device: Machine = "cpu",
    patience_s: float = PATIENCE_S,
    after: Callable[[Progress], None] = lambda _progress: None,
) -> Sweep:
    """Solve all cases of a sweep's file, and write them as a dataset of Parquet parts.

    What is there already, from a run that was broken off, is kept.

    Parameters
    ----------
    source : path
        The sweep's file (TOML).
    out : path or str
        A folder, or an address that pyarrow knows, such as ``s3://bucket/folder``.
    threads : int, optional
        By default, one a core.
    cluster : str, optional
        Address of a Dask scheduler, whose workers solve the blocks; all see the same files.
    device : "cpu" or "gpu"
        What solves the balance here.
    patience_s : float
        How long a block may take before it is solved again in a process of its own. [s]
    after : callable
        Told after each block how far the sweep is.

    Returns
    -------
    Sweep

    Raises
    ------
    InputError
        If an input is refused.
    OutputError
        If the results cannot be written.
    """
    if cluster is not None and device == "gpu":
        raise InputError(
            "a cluster's workers have no GPU", where="device", hint="leave out one of the two"
        )
    plan = Plan(source, device=device)
    store = Store(out)
    store.require_ours()
    store.drop(folder.MANIFEST)  # while parts change, the folder is not whole
    run = _BlockRun(plan, store, patience_s, after)
    if cluster is None:
        run.here(threads or cpu_count() or 1)
    else:
        run.there(cluster)
    return run.finish()


class _BlockRun:
    def __init__(
        self, plan: Plan, store: Store, patience_s: float, after: Callable[[Progress], None]
    ) -> None:
        self.plan, self.store = plan, store
        self.patience_s, self.after = patience_s, after
        self.parts: dict[int, str] = {}
        self.solved = 0
        self._began = time.monotonic()
        self._cases_done = self._years_solved = 0

    def here(self, threads: int) -> None:
        """Solve all blocks in threads; what does not end, or ended a process, apart."""
        late: list[Block] = []
        blocks = map(self.plan.block, range(self.plan.n_blocks))
        for block, result in as_they_end(
            self._solved, blocks, threads=threads, patience_s=self.patience_s
        ):
            if isinstance(result, DewmarginError):
                raise result
            if isinstance(result, Exception):
                late.append(block)
            elif (content := result[1]) is None:
                self._keep(block, result[0])
            else:
                self._write(block, result[0], content)
        self._apart(late, threads)

    def there(self, address: str) -> None:
        """Solve all blocks on a cluster; what ends workers, here and apart."""
        late: list[Block] = []
        waiting: dict[Block, str] = {}
        for block in map(self.plan.block, range(self.plan.n_blocks)):
            name = part_name(self.plan, block)
            if self.store.has(f"{PARTS}/{name}"):
                self._keep(block, name)
            else:
                waiting[block] = name
        for block, error in on_cluster(
            self.plan, waiting, out=self.store.shared, address=address, patience_s=self.patience_s
        ):
            if isinstance(error, DewmarginError):
                raise error
            if error is not None:
                late.append(block)
            else:
                self._keep(block, waiting[block], made=True)
        self._apart(late, 1)

    def _apart(self, late: list[Block], threads: int) -> None:
        for block, result in as_they_end(
            self._solved_apart, late, threads=threads, patience_s=_NO_LIMIT_S
        ):
            if isinstance(result, Exception):
                raise result
            self._write(block, *result)

    def _solved(self, block: Block) -> tuple[str, bytes | None]:
        """Return a block's name, and its part's bytes unless the part is there."""
        name = part_name(self.plan, block)
        if self.store.has(f"{PARTS}/{name}"):
            return name, None
        if self._begun(name) > MOST_BROKEN_OFF:
            raise OverdueError
        return name, parquet(solve_block(self.plan, block.number))

    def _begun(self, name: str) -> int:
        """Count how often a block was begun, this time included; only a disk can tell."""
        if self.store.local is None:
            return 0
        mark = self.store.local / TRIES / name
        mark.parent.mkdir(parents=True, exist_ok=True)
        with mark.open("ab") as stream:
            stream.write(b".")
        return mark.stat().st_size

    def _solved_apart(self, block: Block) -> tuple[str, bytes]:
        pieces = solve_apart(self.plan, block, patience_s=self.patience_s)
        return part_name(self.plan, block), parquet(table(self.plan, block.scenario, pieces))

    def _write(self, block: Block, name: str, content: bytes) -> None:
        self.store.put(f"{PARTS}/{name}", content)
        self.store.drop(f"{TRIES}/{name}")
        self._keep(block, name, made=True)

    def _keep(self, block: Block, name: str, *, made: bool = False) -> None:
        """Count a block whose part is there, and tell how far the sweep is."""
        self.parts[block.number] = name
        n = block.stop - block.start
        self._cases_done += n
        if made:
            self.solved += 1
            self._years_solved += n * len(self.plan.runners(block.scenario).options)
        self._tell()

    def _tell(self) -> None:
        took = time.monotonic() - self._began
        rate = self._years_solved / took if took > 0.0 else 0.0
        left = self.plan.n_cases - self._cases_done
        years = left * self.plan.n_rows / self.plan.n_cases
        self.after(
            Progress(
                blocks=self.plan.n_blocks,
                blocks_done=len(self.parts),
                cases=self.plan.n_cases,
                cases_done=self._cases_done,
                case_years_per_s=rate,
                left_s=years / rate if rate > 0.0 else None,
            )
        )

    def finish(self) -> Sweep:
        """Write summary, hours, what was set aside and, last, the manifest."""
        plan, store = self.plan, self.store
        parts = tuple(self.parts[k] for k in range(plan.n_blocks))
        refused = refused_of(store, parts)
        found = Sweep(
            address=store.address,
            parts=parts,
            parameters=tuple(p.name for p in plan.parameters),
            cases=plan.n_cases,
            refused=len(refused),
            notes=tuple(plan.notes()),
            solved_blocks=self.solved,
        )
        tables = {"summary": summary_table(found), "refused": self._refused(refused)}
        files = dict(CsvTables().files(tables, {}))
        files |= {f"{HOURS}/case-{case:09d}.parquet": self._hours(case) for case in plan.hourly}
        for name, content in files.items():
            store.put(name, content)
        names = [*(f"{PARTS}/{name}" for name in parts), *files]
        store.keep(set(names))
        store.put(folder.MANIFEST, self._manifest(names))
        return found

    def _refused(self, refused: list[dict[str, Any]]) -> Table:
        names = [p.name for p in self.plan.parameters]
        inputs = []
        for each in refused:
            (draw,) = self.plan.draws(each["case"], each["case"] + 1)
            inputs.append("; ".join(f"{n} = {v}" for n, v in zip(names, draw, strict=True)))
        return Table(
            columns=SWEEP_REFUSED,
            data={
                "case": [each["case"] for each in refused],
                "inputs": inputs,
                "reason": [each["reason"] for each in refused],
            },
        )

    def _hours(self, case: int) -> bytes:
        """Return the hours of a case, compared in full."""
        runner = self.plan.runners(self.plan.scenario_of(case))
        (draw,) = self.plan.draws(case, case + 1)
        row = runner.variants.row(draw)
        try:
            drawn = runner.variants.scenario_of(row, range(len(row)))
            compared = compare_case(drawn, None, drawn.with_surfaces(runner.variants.case_of(row)))
        except InputError as error:
            raise InputError(
                f"case {case} cannot be solved: {error.what}",
                file=self.plan.path,
                where="hourly.cases",
                hint="name another",
            ) from error
        return parquet_bytes(compared.table("hourly"), {"table": "hourly", "case": case})

    def _manifest(self, names: list[str]) -> bytes:
        """Return what the sweep was made of, and the hash of every file; the same for the same."""
        plan = self.plan
        inputs = {plan.path.name: plan.sha256}
        inputs |= {Path(s.file).name: s.sha256 for s in plan.scenarios}
        if plan.file.rows is not None:
            rows = plan.path.parent / plan.file.rows.file
            inputs[rows.name] = folder.sha256(rows)
        inputs |= {Path(path).name: sha256 for path, sha256 in plan.inputs.items()}
        said = {
            "schema_version": folder.SCHEMA_VERSION,
            "versions": folder.versions(),
            "sweep": plan.file.model_dump(mode="json", exclude_none=True),
            "scenarios": {
                name: scenario.resolved()
                for name, scenario in zip(plan.scenario_names, plan.scenarios, strict=True)
            },
            "cases": plan.n_cases,
            "blocks": plan.n_blocks,
            "notes": plan.notes(),
            "inputs_sha256": inputs,
            "outputs_sha256": {
                name: hashlib.sha256(self.store.get(name)).hexdigest() for name in names
            },
        }
        text = json.dumps(said, indent=1, sort_keys=True, default=str, ensure_ascii=False)
        return (text + "\n").encode("utf-8")


def _duration(seconds: float) -> str:
    """Return a duration for a person."""
    if seconds < 100.0:  # noqa: PLR2004 - two digits
        return f"{seconds:.2g} s"
    minutes = seconds / 60.0
    return f"{minutes:.0f} min" if minutes < 100.0 else f"{minutes / 60.0:.1f} h"  # noqa: PLR2004 - idem
