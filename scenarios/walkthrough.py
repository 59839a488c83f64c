"""Run walkthrough.ipynb without Jupyter and keep its outputs in it.

``python scenarios/walkthrough.py`` runs the code cells in order, as "Run all" would, and writes the
notebook back; the same code gives the same bytes.
"""

from __future__ import annotations

import ast
import base64
import contextlib
import io
import json
from pathlib import Path
from typing import Any

import pandas as pd
from matplotlib.figure import Figure

from dewmargin.plot import style

NOTEBOOK = Path(__file__).resolve().with_suffix(".ipynb")
DPI = 100


def run(notebook: dict[str, Any], folder: Path) -> list[list[dict[str, Any]]]:
    """Return the outputs of each code cell, run in a folder."""
    names: dict[str, Any] = {"__name__": "__main__"}
    found = []
    with contextlib.chdir(folder):
        for count, cell in enumerate(code_cells(notebook), 1):
            printed = io.StringIO()
            with contextlib.redirect_stdout(printed):
                value = _last_value("".join(cell["source"]), f"cell {count}", names)
            outputs: list[dict[str, Any]] = []
            if printed.getvalue():
                text = _lines(printed.getvalue())
                outputs.append({"name": "stdout", "output_type": "stream", "text": text})
            if value is not None:
                outputs.append(
                    {
                        "data": _shown(value),
                        "execution_count": count,
                        "metadata": {},
                        "output_type": "execute_result",
                    }
                )
            found.append(outputs)
    return found


def code_cells(notebook: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the code cells in order."""
    return [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]


def _last_value(source: str, name: str, names: dict[str, Any]) -> object:
    """Run a cell; return the value of its last line, if that is an expression."""
    tree = ast.parse(source, name)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, name, "exec"), names)  # noqa: S102 - a cell is code
    if last is None:
        return None
    return eval(compile(ast.Expression(last.value), name, "eval"), names)  # noqa: S307 - idem


def _shown(value: object) -> dict[str, Any]:
    """Return a value as a notebook shows it."""
    if isinstance(value, Figure):
        stream = io.BytesIO()
        with style.styled():
            value.savefig(
                stream, format="png", dpi=DPI, facecolor=style.PAPER, metadata=style.KINDS["png"]
            )
        image = base64.b64encode(stream.getvalue()).decode("ascii")
        return {"image/png": image, "text/plain": ["<Figure>"]}
    html = getattr(value, "_repr_html_", None)
    if html is None:
        return {"text/plain": _lines(repr(value))}
    plain = repr(value) if isinstance(value, pd.DataFrame) else f"<{type(value).__name__}>"
    return {"text/html": _lines(html()), "text/plain": _lines(plain)}


def _lines(text: str) -> list[str]:
    return text.splitlines(keepends=True)


def main() -> None:
    """Run the notebook and write it back."""
    notebook = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
    fresh = run(notebook, NOTEBOOK.parent)
    for count, (cell, outputs) in enumerate(zip(code_cells(notebook), fresh, strict=True), 1):
        cell["execution_count"], cell["outputs"] = count, outputs
    text = json.dumps(notebook, indent=1, ensure_ascii=False)
    NOTEBOOK.write_text(text + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
