"""Where a sweep's results lie: blocks as Parquet parts, a summary, and what was set aside.

The folder is on a disk, or in an object store that pyarrow knows.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin import columns
from dewmargin.errors import OutputError
from dewmargin.reports import folder

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import pandas as pd
    import pyarrow.dataset as ds

    from dewmargin.columns import Table

PARTS = "dataset"
HOURS = "hourly"
TRIES = ".tries"
SUMMARY = "summary.csv"
REFUSED = "refused.csv"
MOST_VALUES = 20  # of a parameter that are told one by one; more are cut into quarters
_OURS = {
    PARTS, HOURS, TRIES, SUMMARY, REFUSED, "summary.schema.json", "refused.schema.json",
    folder.MANIFEST,
}  # fmt: skip


class Store:
    """A folder on a disk, or in an object store: whole files by name.

    Parameters
    ----------
    out : path or str
        A folder, or an address such as ``s3://bucket/folder``.
    """

    def __init__(self, out: str | Path) -> None:
        from pyarrow import fs  # noqa: PLC0415 - slow to import

        self.address = str(out)
        self.files, self.root = opened(self.address)
        self.local = Path(self.root) if isinstance(self.files, fs.LocalFileSystem) else None

    @property
    def shared(self) -> str:
        """Return the address as another process or machine takes it."""
        return self.address if self.local is None else self.root

    def path(self, name: str) -> str:
        """Return a file's path in the file system."""
        return f"{self.root}/{name}"

    def put(self, name: str, content: bytes) -> None:
        """Write a whole file; a file that was broken off is never seen.

        Raises
        ------
        OutputError
            If it cannot be written.
        """
        path = self.path(name)
        try:
            if self.local is not None:
                Path(path).parent.mkdir(parents=True, exist_ok=True)
                folder.write_file(Path(path), content)
                return
            # An object appears once it is whole.
            self.files.create_dir(path.rpartition("/")[0])
            with self.files.open_output_stream(path) as stream:
                stream.write(content)
        except OSError as error:
            raise OutputError(
                f"{self.address}/{name}: cannot be written: {error.strerror or error}"
            ) from error

    def get(self, name: str) -> bytes:
        """Return a file's content."""
        with self.files.open_input_stream(self.path(name)) as stream:
            content: bytes = stream.read()
        return content

    def has(self, name: str) -> bool:
        """Tell whether there is a file of that name."""
        from pyarrow import fs  # noqa: PLC0415 - slow to import

        return bool(self.files.get_file_info(self.path(name)).type == fs.FileType.File)

    def names(self, inside: str = "") -> list[str]:
        """Return the names of all that lies in a folder, sorted."""
        from pyarrow import fs  # noqa: PLC0415 - slow to import

        where = fs.FileSelector(self.path(inside).rstrip("/"), allow_not_found=True)
        return sorted(info.base_name for info in self.files.get_file_info(where))

    def drop(self, name: str) -> None:
        """Take away a file, if it is there."""
        if self.has(name):
            self.files.delete_file(self.path(name))

    def keep(self, names: set[str]) -> None:
        """Take away all of ours that is not named: parts of another sweep, files broken off."""
        for inside in ("", PARTS, HOURS, TRIES):
            for name in self.names(inside):
                full = f"{inside}/{name}" if inside else name
                if full not in names:
                    self.drop(full)
            if inside and not self.names(inside) and inside in self.names():
                self.files.delete_dir(self.path(inside))

    def require_ours(self) -> None:
        """Refuse a folder that holds something else.

        Raises
        ------
        OutputError
        """
        try:
            strangers = [n for n in self.names() if n not in _OURS and not folder.is_temporary(n)]
        except OSError as error:
            raise OutputError(f"{self.address}: cannot be read: {error}") from error
        if strangers:
            raise OutputError(
                f"{self.address}: holds files that are not of a sweep, such as {strangers[0]!r} "
                "(choose an empty folder with --out)"
            )


def opened(address: str) -> tuple[Any, str]:
    """Return the file system of a folder or an address, and the folder in it.

    Raises
    ------
    OutputError
        If pyarrow knows no such address.
    """
    from pyarrow import fs  # noqa: PLC0415 - slow to import

    if "://" not in address:
        return fs.LocalFileSystem(), str(Path(address).absolute())
    try:
        files, root = fs.FileSystem.from_uri(address)
    except (OSError, ValueError) as error:
        raise OutputError(
            f"{address}: is no address that can be written to (a folder, s3://bucket/folder or "
            "another that pyarrow knows)"
        ) from error
    return files, str(root)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """The results of a sweep, which may be larger than memory.

    Attributes
    ----------
    address : str
        The folder.
    parts : tuple of str
        Names of the parts, in the order of their cases.
    parameters : tuple of str
        Columns that say what an input is.
    cases, refused : int
        How many cases there are, and how many of them were set aside.
    notes : tuple of str
        What to know of the numbers.
    solved_blocks : int
        How many blocks this run had to solve; the others were there.
    """

    address: str
    parts: tuple[str, ...]
    parameters: tuple[str, ...]
    cases: int
    refused: int
    notes: tuple[str, ...]
    solved_blocks: int

    def __repr__(self) -> str:
        """Return folder and extent in a line."""
        return (
            f"<Sweep in {self.address}: {self.cases} cases in {len(self.parts)} parts, "
            f"{self.refused} set aside>"
        )

    def dataset(self) -> ds.Dataset:
        """Return the parts as one dataset of pyarrow."""
        import pyarrow.dataset as ds  # noqa: PLC0415 - slow to import

        store = Store(self.address)
        paths = [store.path(f"{PARTS}/{name}") for name in self.parts]
        return ds.dataset(paths, format="parquet", filesystem=store.files)

    def to_pandas(self, columns: Sequence[str] | None = None) -> pd.DataFrame:
        """Return the dataset, or some of its columns, as a data frame."""
        asked = None if columns is None else list(columns)
        frame: pd.DataFrame = self.dataset().to_table(columns=asked).to_pandas()
        return frame

    @property
    def summary(self) -> pd.DataFrame:
        """One row an option, number, parameter and value of it: least, median and most."""
        return self._csv(SUMMARY)

    @property
    def set_aside(self) -> pd.DataFrame:
        """One row a case that was set aside, and why."""
        return self._csv(REFUSED)

    def lines(self) -> list[str]:
        """Return what was done, for a person."""
        lines = [
            f"{self.cases} cases in {len(self.parts)} parts, {self.solved_blocks} of them made now."
        ]
        if self.refused:
            lines.append(f"{self.refused} cases were set aside; why stands in {REFUSED}.")
        lines += [f"Note: {note}." for note in self.notes]
        lines.append(f"Written to {self.address}; start with {SUMMARY}.")
        return lines

    def document(self) -> dict[str, Any]:
        """Return what was done, for a machine."""
        return {
            "folder": self.address,
            "cases": self.cases,
            "refused": self.refused,
            "solved_blocks": self.solved_blocks,
            "parts": [f"{PARTS}/{name}" for name in self.parts],
        }

    def _csv(self, name: str) -> pd.DataFrame:
        import io  # noqa: PLC0415 - of this alone

        import pandas as pd  # noqa: PLC0415 - slow to import

        return pd.read_csv(
            io.BytesIO(Store(self.address).get(name)), keep_default_na=False, na_values=[""]
        )


def refused_of(store: Store, parts: Sequence[str]) -> list[dict[str, Any]]:
    """Return the cases that the parts set aside, in order, each with its reason."""
    import pyarrow.parquet as pq  # noqa: PLC0415 - slow to import

    found: list[dict[str, Any]] = []
    for name in parts:
        schema = pq.read_schema(store.path(f"{PARTS}/{name}"), filesystem=store.files)
        found += json.loads(schema.metadata[b"dewmargin"])["refused"]
    return found


def summary_table(found: Sweep) -> Table:
    """Return least, median and most of every number, for all cases and by value of a parameter.

    Columns are read one by one, so that a large dataset needs little memory.
    """
    dataset = found.dataset()
    told = [("", "", np.arange(dataset.count_rows()))]
    for name in found.parameters:
        told += [(name, value, rows) for value, rows in _shares(_column(dataset, name))]
    options = list(_shares(_column(dataset, "option")))
    groups = [
        (option, name, value, np.intersect1d(mine, rows, assume_unique=True))
        for option, mine in options
        for name, value, rows in told
    ]
    data: dict[str, list[Any]] = {column.name: [] for column in columns.SWEEP_SUMMARY}
    for column in columns.YEARLY:
        numbers = _column(dataset, column.name).to_numpy(zero_copy_only=False)
        for option, name, value, rows in groups:
            known = numbers[rows]
            known = known[~np.isnan(known)]
            if known.size:
                least, median, most = (
                    float(known.min()),
                    float(np.median(known)),
                    float(known.max()),
                )
                row = (
                    option,
                    column.name,
                    column.unit,
                    name or None,
                    value or None,
                    known.size,
                    least,
                    median,
                    most,
                )
                for values, each in zip(data.values(), row, strict=True):
                    values.append(each)
    return columns.Table(columns=columns.SWEEP_SUMMARY, data=data)


def _column(dataset: ds.Dataset, name: str) -> Any:  # noqa: ANN401 - an array of pyarrow
    return dataset.to_table(columns=[name]).column(name).combine_chunks()


def _shares(values: Any) -> Iterator[tuple[str, columns.IntArray]]:  # noqa: ANN401 - idem
    """Yield each value, or each quarter of many numbers, with the rows that have it."""
    import pyarrow as pa  # noqa: PLC0415 - slow to import

    if pa.types.is_dictionary(values.type):
        coded = values.unify_dictionaries() if isinstance(values, pa.ChunkedArray) else values
        names, codes = coded.dictionary.to_pylist(), coded.indices.to_numpy()
        names = [str(name) for name in names]
    else:
        distinct, codes = np.unique(values.to_numpy(zero_copy_only=False), return_inverse=True)
        if distinct.size > MOST_VALUES:
            quarter = np.minimum(4 * np.arange(distinct.size) // distinct.size, 3)
            codes = quarter[codes]
            names = [
                f"{distinct[quarter == k][0]:.6g} to {distinct[quarter == k][-1]:.6g}"
                for k in range(4)
            ]
        else:
            names = [f"{v:.6g}" if isinstance(v, float) else str(v) for v in distinct.tolist()]
    order = np.argsort(codes, kind="stable")
    bounds = np.searchsorted(codes[order], np.arange(len(names) + 1))
    if len(names) <= MOST_VALUES:
        for k, name in enumerate(names):
            yield name, np.sort(order[bounds[k] : bounds[k + 1]])
