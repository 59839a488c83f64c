"""Pages printed by headless Chromium, and read back."""

from __future__ import annotations

import os
import shutil
import subprocess
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest
from pypdf import PdfReader

if TYPE_CHECKING:
    from pathlib import Path

CHROMIUM = (
    os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
)
# For tests of printed pages; nothing else may be skipped.
needs_chromium = pytest.mark.skipif(
    CHROMIUM is None, reason="no Chromium on PATH: install Debian's package chromium"
)
PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}


@dataclass(frozen=True)
class Piece:
    """A piece of text on paper: its size after all scaling, and its baseline's corner. [pt]."""

    text: str
    size_pt: float
    x_pt: float
    y_pt: float


def printed(html: bytes, paper: str, folder: Path) -> PdfReader:
    """Print a page on a paper, as its own style sheet says for all papers, and read the PDF."""
    width, height = PAPERS_MM[paper]
    sized = html.replace(b"@page {", f"@page {{ size: {width}mm {height}mm;".encode())
    assert sized != html, "the page has no @page rule to give a size to"
    page, pdf = folder / f"{paper}.html", folder / f"{paper}.pdf"
    page.write_bytes(sized)
    subprocess.run(
        [
            str(CHROMIUM),
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            f"--user-data-dir={folder / 'profile'}",
            "--no-pdf-header-footer",
            f"--print-to-pdf={pdf}",
            page.as_uri(),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    return PdfReader(pdf)


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
