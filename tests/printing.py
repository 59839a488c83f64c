"""Pages printed by headless Chromium, and read back."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest
from pypdf import PdfReader

from browser import chromium, found

if TYPE_CHECKING:
    from pathlib import Path

# Without Chromium, which pip does not bring, no page can be seen or printed; .ci/run installs it.
needs_chromium = pytest.mark.skipif(
    found() is None, reason="no Chromium on PATH: install Debian's package chromium"
)
PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1


@dataclass(frozen=True)
class Piece:
    """A piece of text on paper: its size after all scaling, and its baseline's corner. [pt]."""

    text: str
    size_pt: float
    x_pt: float
    y_pt: float


def printed(html: bytes, paper: str, folder: Path) -> PdfReader:
    """Print a page on a paper and read the PDF."""
    file = folder / "page.html"
    file.write_bytes(html)
    with chromium() as page:
        page.open(file, width=800)
        return PdfReader(io.BytesIO(page.printed(paper)))


def pieces(reader: PdfReader) -> list[Piece]:
    """Return every piece of text of a PDF."""
    found: list[Piece] = []

    def note(text: str, cm: Any, tm: Any, _: object, size: float) -> None:  # noqa: ANN401 - matrices
        if text.strip():
            scale = abs(cm[3] * tm[3])  # both matrices scale, neither turns
            x = cm[0] * tm[4] + cm[2] * tm[5] + cm[4]
            y = cm[1] * tm[4] + cm[3] * tm[5] + cm[5]
            found.append(Piece(text, size * scale, x, y))

    for page in reader.pages:
        page.extract_text(visitor_text=note)
    return found
