"""Style of charts: colours, dashes and marks, and figures as files.

No state of matplotlib is touched: figures are made without pyplot, in a style of their own.
"""

from __future__ import annotations

import io
import warnings
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matplotlib import rc_context, rcdefaults, rcParams
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from dewmargin.errors import DewmarginError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence


# Name, on paper, on a dark page: a page turns the second into the third. All stand out by 4.5 to 1.
COLOURS = {
    "ink": ("#1c242d", "#e6eaee"),
    "muted": ("#56616d", "#a3afbb"),
    "line": ("#d5dbe1", "#38434e"),
    "paper": ("#ffffff", "#14191f"),
    "blue": ("#0a62a3", "#7cbcec"),
    "orange": ("#b14a08", "#f39b5f"),
    "green": ("#00704f", "#57c9a5"),
    "purple": ("#8c3a7c", "#e2a1d2"),
    "ochre": ("#7d5c00", "#dcbb52"),
    "slate": ("#45505c", "#bac4ce"),
    "cloud": ("#7f95aa", "#7f96ac"),
}
INK, MUTED, LINE, PAPER = (COLOURS[name][0] for name in ("ink", "muted", "line", "paper"))
BLUE, ORANGE, GREEN, PURPLE, OCHRE, SLATE, CLOUD = (
    COLOURS[name][0] for name in ("blue", "orange", "green", "purple", "ochre", "slate", "cloud")
)

SERIES = (BLUE, ORANGE, GREEN, PURPLE, OCHRE, SLATE)
DASHES: Sequence[Any] = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)), (0, (1, 1)))
MARKS = ("o", "s", "^", "D", "v", "P", "X")
HATCHES = ("", "///", "\\\\\\", "xx", "--")
WIDTH_IN = 7.2
# A file's kind, and what it would say of when and by what it was made.
KINDS: dict[str, dict[str, Any]] = {
    "svg": dict.fromkeys(("Date", "Creator", "Format", "Type")),
    "pdf": dict.fromkeys(("CreationDate", "Creator", "Producer")),
    "png": {"Software": None},
}

STYLE: dict[str, Any] = {
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.0,
    "text.color": INK,
    "text.parse_math": False,  # a $ in a name is a $
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.labelsize": 9.0,
    "axes.titlesize": 9.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.facecolor": "none",
    "axes.unicode_minus": True,
    "grid.color": LINE,
    "grid.linewidth": 0.6,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "legend.handlelength": 3.2,
    "lines.linewidth": 1.6,
    "lines.markersize": 4.5,
    "hatch.linewidth": 0.7,
    "hatch.color": PAPER,
    "figure.facecolor": "none",
    "savefig.facecolor": "none",
    "image.composite_image": False,
    "svg.fonttype": "none",
    "svg.image_inline": True,
    "pdf.fonttype": 42,
    "path.simplify": True,
}


@dataclass(frozen=True, slots=True)
class Look:
    """A colour, a dash and a mark: each alone tells things apart."""

    colour: str
    dash: Any
    mark: str


def look(i: int) -> Look:
    """Return how the i-th of several things looks."""
    return Look(SERIES[i % len(SERIES)], DASHES[i % len(DASHES)], MARKS[i % len(MARKS)])


@contextmanager
def styled() -> Iterator[None]:
    """Draw in this style; matplotlib's settings are afterwards as they were."""
    with rc_context():
        rcdefaults()  # a user's settings do not reach a report
        rcParams.update(STYLE)  # type: ignore[arg-type]
        yield


def figure(height_in: float, *, width_in: float = WIDTH_IN) -> Figure:
    """Return an empty figure."""
    made = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasAgg(made)
    return made


def figure_of(axes: Axes | Sequence[Axes]) -> Figure:
    """Return the figure that axes belong to."""
    first = axes if isinstance(axes, Axes) else axes[0]
    found = first.get_figure(root=True)
    if found is None:
        raise DewmarginError("these axes are in no figure any more")
    return found


def content(of: Figure, kind: str, *, salt: str = "dewmargin") -> bytes:
    """Return a figure as a file of one of `KINDS`; the same bytes each time."""
    stream = io.BytesIO()
    with styled(), rc_context({"svg.hashsalt": salt}), warnings.catch_warnings():
        # A page is shown in the reader's fonts, which may have what ours lacks.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        of.savefig(
            stream,
            format=kind,
            metadata=KINDS[kind],
            dpi=300 if kind == "png" else 72,
            facecolor=PAPER if kind == "png" else "none",
        )
    return stream.getvalue()


def bare(axes: Axes) -> None:
    """Leave only the horizontal axis of a chart whose rows have names."""
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
