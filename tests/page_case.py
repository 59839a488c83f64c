"""Pages taken apart: what a reader sees, and where each number says it is from."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import shared

VOID = {"meta", "br", "image", "path", "use", "rect", "img", "hr", "link", "input"}
FILES = {"house": "larch_house.toml", "simulation": "larch_house_simulated.toml"}


def demo(name: str = "house") -> Path:
    """Return a folder with the demo's results; made once, and left as it is."""
    return demo_run() / "demo" / name


def demo_run() -> Path:
    """Return the folder in which `dewmargin demo` ran, with what it printed and its exit code."""
    return shared.made("demo", _run_demo)


def _run_demo(folder: Path) -> None:
    done = subprocess.run(
        [Path(sys.executable).with_name("dewmargin"), "demo", "--out", "demo"],
        cwd=folder,
        capture_output=True,
        check=False,
        env={**os.environ, "COLUMNS": "80", "NO_COLOR": "1"},
    )
    (folder / "stdout").write_bytes(done.stdout)
    (folder / "stderr").write_bytes(done.stderr)
    (folder / "exit code").write_text(str(done.returncode), encoding="utf-8")


@dataclass
class Table:
    """A table as shown: what it says it is of, and its texts."""

    name: str | None
    source: str | None
    where: dict[str, list[str]]
    columns: list[str] = field(default_factory=list)
    heads: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)


class Parsed(HTMLParser):
    """A page's elements, tables, headings and texts."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.tables: list[Table] = []
        self.headings: list[tuple[int, str]] = []
        self.marked: list[tuple[dict[str, str | None], str]] = []
        self.figures: list[set[str]] = []
        self.text = ""
        self._open: list[str] = []
        self._cell: str | None = None
        self._attributes: dict[str, str | None] = {}
        self.feed(text)
        self.close()
        if self._open:
            raise AssertionError(f"not closed: {self._open}")

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        of = dict(attrs)
        self.elements.append((tag, of))
        if tag not in VOID:
            self._open.append(tag)
        if tag == "figure":
            self.figures.append(set())
        if "figure" in self._open:
            self.figures[-1].add(tag)
        if tag == "table":
            where: Any = json.loads(of.get("data-where") or "{}")
            self.tables.append(Table(of.get("data-table"), of.get("data-source"), where))
        elif tag == "tr" and "tbody" in self._open:
            self.tables[-1].rows.append([])
        if tag in ("th", "td", "span", "h1", "h2", "h3", "h4"):
            self._cell, self._attributes = "", of

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if not self._open or self._open.pop() != tag:
            raise AssertionError(f"closes what is not open: {tag}")
        if self._cell is None:
            return
        if tag == "th" and "thead" in self._open:
            self.tables[-1].columns.append(self._attributes.get("data-column") or "")
            self.tables[-1].heads.append(self._cell)
        elif tag in ("th", "td"):
            self.tables[-1].rows[-1].append(self._cell)
        elif tag in ("h1", "h2", "h3", "h4"):
            self.headings.append((int(tag[1]), self._cell))
        if "data-column" in self._attributes and tag in ("td", "span"):
            self.marked.append((self._attributes, self._cell))
        if tag in ("th", "td", "span", "h1", "h2", "h3", "h4"):
            self._cell = None

    def handle_data(self, data: str) -> None:
        if "style" not in self._open:
            self.text += data
        if self._cell is not None:
            self._cell += data


def number(text: str) -> tuple[float, int] | None:
    """Return a shown number and its decimals; None where none is known."""
    digits = text.replace("\u2212", "-").split(" ")[0]
    if digits == "–":
        return None
    return float(digits), len(digits.partition(".")[2])
