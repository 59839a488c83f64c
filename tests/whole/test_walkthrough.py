"""The notebook: its cells run in order, and what is stored in it is what they give."""

from __future__ import annotations

import base64
import io
import json
import re
import runpy
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread

from dewmargin.studies.demo import demo_folder

FILE = demo_folder() / "scenarios" / "walkthrough.ipynb"
NUMBER = re.compile(r"[-−]?\d+(?:\.\d+)?")


@pytest.fixture(scope="module")
def notebook():
    return json.loads(FILE.read_text(encoding="utf-8"))


def of_code(notebook):
    return [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]


def require_same_text(fresh: str, stored: str) -> None:
    """Compare texts; a number may be off by one in its last digit, as rounding goes."""
    assert NUMBER.sub("#", fresh) == NUMBER.sub("#", stored)
    for one, other in zip(NUMBER.findall(fresh), NUMBER.findall(stored), strict=True):
        digits = len(other.partition(".")[2])
        a, b = (float(number.replace("−", "-")) for number in (one, other))
        assert abs(a - b) <= 1.001 * 10.0**-digits, (one, other)


def image(data: str) -> np.ndarray:
    return imread(io.BytesIO(base64.b64decode(data)), format="png")


def require_same_image(fresh: str, stored: str) -> None:
    """Same size, and 0.2 % of the range on average: edges of letters, not a line elsewhere."""
    one, other = image(fresh), image(stored)
    assert one.shape == other.shape
    assert np.abs(one - other).mean() < 0.002
    assert other[..., :3].std() > 0.05  # something is drawn


def test_it_is_whole_small_and_of_no_machine(notebook) -> None:
    text = FILE.read_text(encoding="utf-8")

    assert len(text.encode()) < 400_000
    assert (notebook["nbformat"], notebook["nbformat_minor"]) == (4, 5)
    ids = [cell["id"] for cell in notebook["cells"]]
    assert len(set(ids)) == len(ids)
    counts = [cell["execution_count"] for cell in of_code(notebook)]
    assert counts == list(range(1, len(counts) + 1))
    assert all(cell["outputs"] for cell in of_code(notebook))
    for volatile in (str(Path.home()), "/tmp/", "site-packages", "Traceback", "Warning:"):  # noqa: S108 - not opened
        assert volatile not in text


@pytest.mark.slow
def test_its_cells_give_what_is_stored(notebook) -> None:
    run = runpy.run_path(str(FILE.with_suffix(".py")))["run"]

    fresh = run(notebook, FILE.parent)

    kinds = set()
    for outputs, cell in zip(fresh, of_code(notebook), strict=True):
        for mine, stored in zip(outputs, cell["outputs"], strict=True):
            assert mine.keys() == stored.keys()
            if mine["output_type"] == "stream":
                require_same_text("".join(mine["text"]), "".join(stored["text"]))
                continue
            assert mine["data"].keys() == stored["data"].keys()
            kinds |= mine["data"].keys()
            for kind, content in mine["data"].items():
                if kind == "image/png":
                    require_same_image(content, stored["data"][kind])
                else:
                    require_same_text("".join(content), "".join(stored["data"][kind]))
    assert kinds == {"image/png", "text/html", "text/plain"}
