"""Lines, facts and progress on a terminal."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, TextIO

from rich.console import Console
from rich.markup import escape
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table as RichTable
from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

NARROWEST = 80


def console(stream: TextIO | None = None) -> Console:
    """Return a console that respects NO_COLOR, pipes and terminals without Unicode."""
    out = Console(file=stream or sys.stdout, highlight=False, soft_wrap=False)
    # A narrower table would lose columns: better that the terminal breaks the lines.
    out.width = max(out.width, NARROWEST)
    return out


def print_lines(out: Console, lines: Iterable[str], *, style: str = "") -> None:
    """Print lines as they are: brackets in names are no markup."""
    for line in lines:
        # Piped lines stay whole: a path or a line of a model is to be copied.
        out.print(Text(plain(out, line), style=style), soft_wrap=not out.is_terminal)


def print_whole(out: Console, lines: Iterable[object]) -> None:
    """Print lines that no terminal is to break, such as paths that are to be copied."""
    for line in lines:
        out.file.write(f"{line}\n")
    out.file.flush()


def print_facts(out: Console, facts: Sequence[tuple[str, str]]) -> None:
    """Print names and what they are, in two columns."""
    shape = RichTable(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    shape.add_column(overflow="fold")
    shape.add_column(overflow="fold")
    for name, value in facts:
        shape.add_row(Text(name), Text(value))
    out.print(shape)


@contextmanager
def progress(what: str, total: float | None) -> Iterator[Callable[..., None]]:
    """Show progress on a terminal's standard error; silent when piped.

    Yields what is to be told how much is done, and a number more to show.
    """
    err = Console(stderr=True)
    columns = Progress.get_default_columns() if total is not None else (
        SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn()
    )  # fmt: skip
    with Progress(*columns, console=err, transient=True, disable=not err.is_terminal) as shown:
        task = shown.add_task(escape(what), total=total)

        def advance(done: float, *more: float) -> None:
            words = escape(what)
            if total is None:
                words = f"{done:.0f} {words} {more[0]:.0f}"
            elif more:
                words += f", {more[0]:,.0f} case-years/s"
            shown.update(task, completed=done, description=words)

        yield advance


def plain(out: Console, text: str) -> str:
    """Return a text without the signs that the terminal cannot show, as far as there are others."""
    try:
        text.encode(out.encoding)
    except UnicodeEncodeError:
        return text.replace("°", "deg").replace("²", "2")
    return text
