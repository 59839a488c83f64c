"""What commands print fits 80 and 120 columns, with long names, with and without colour."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from dewmargin.cli import cli
from stress_case import small
from sweep_case import GRID

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.slow

DOUBTS = "space.house.leakage_m3_h_at_50pa | factor | uniform | low = 0.8; high = 1.2"
COLOUR = re.compile(r"\x1b\[[0-9;]*m")
# Codes of colour; bold and dim are none.
PAINT = re.compile(r"\x1b\[(?:[0-9;]*;)?(?:3[0-8]|4[0-8]|9[0-7])")
LONG = "a name as long as people give them to what they own"
COMMANDS = {
    "compare": ["compare"],
    "size": ["size"],
    "stress": ["stress", "--samples", "8", "--limit", "feed_l=400"],
    "frontier": ["frontier", "--goal", "band_h", "--goal", "condensation_h"],
    "check": ["check"],
    "sheet": ["sheet", "--text", "--option", f"{LONG} 1 | {LONG} 2 | {LONG} 3"],
}


@pytest.fixture(scope="module")
def scenario(tmp_path_factory) -> Path:
    """Return a scenario with two of each kind, all with long names."""
    other = (
        '[[strategies]]\nname = "other"\nrule = "constant"\nrh = 0.35\n\n'
        '[[equipment]]\nname = "steam"\nkind = "steam"\nheat = "electrode"\nrate_kg_h = 2\n'
        'call = "humidity"\n\n[[supplies]]\nname = "mains"\ncold_c = 8\n\n[tariff]'
    )
    return small(
        tmp_path_factory.mktemp("widths"),
        DOUBTS,
        lines={
            "[tariff]": other,
            'name = "reset"': f'name = "{LONG} 1"',
            'name = "pad"': f'name = "{LONG} 2"',
            'name = "hot"': f'name = "{LONG} 3"',
            'name = "glass"': f'name = "{LONG} 4"',
        },
    ).file


def printed(scenario: Path, command: str, units: str, **env: str) -> str:
    chosen = COMMANDS[command]
    system = [] if command == "check" else ["--units", units]
    done = CliRunner().invoke(cli, [*chosen, *system, str(scenario)], env=env)
    assert done.exit_code == 0, done.output
    return done.output


@pytest.mark.parametrize("units", ["si", "ip"])
@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("command", COMMANDS)
def test_a_terminal_is_not_overrun(scenario: Path, command: str, width: int, units: str) -> None:
    text = printed(scenario, command, units, COLUMNS=str(width), FORCE_COLOR="1")

    lines = [COLOUR.sub("", line) for line in text.splitlines()]
    # The file that was checked stays whole, to be copied.
    long = [line for line in lines if len(line) > width and str(scenario) not in line]
    assert long == []
    assert "…" not in text  # nothing is cut off
    assert len(lines) > 10


@pytest.mark.parametrize("command", COMMANDS)
def test_no_color_is_respected(scenario: Path, command: str) -> None:
    text = printed(scenario, command, "si", COLUMNS="80", FORCE_COLOR="1", NO_COLOR="1")

    assert PAINT.search(text) is None


@pytest.mark.parametrize("command", ["compare", "stress", "frontier"])
def test_the_verdict_stands_first(scenario: Path, command: str) -> None:
    title, verdict = printed(scenario, command, "si", COLUMNS="80").splitlines()[:2]

    assert title == "Small house (invented)"
    assert verdict.startswith(
        {
            "compare": ("Choose ", "No option ", "None "),
            "stress": ("In ",),
            "frontier": ("Choose ", "No line "),
        }[command]
    )


@pytest.mark.parametrize("dry", [True, False])
def test_a_sweep_fits_too(tmp_path: Path, dry: bool) -> None:  # noqa: FBT001 - pytest's
    small(tmp_path)
    file = tmp_path / "sweep.toml"
    file.write_text(GRID, encoding="utf-8")
    arguments = ["--dry-run"] if dry else ["--out", str(tmp_path / "out")]
    env = os.environ | {"COLUMNS": "80", "FORCE_COLOR": "1"}
    command = [sys.executable, "-c", "from dewmargin.cli import main; main()"]

    done = subprocess.run(
        [*command, "sweep", str(file), *arguments],
        env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert done.returncode == 0, done.stderr
    lines = [COLOUR.sub("", line) for line in done.stdout.splitlines()]
    assert [line for line in lines if len(line) > 80 and str(tmp_path) not in line] == []
    assert len(lines) > 1


@pytest.mark.parametrize(
    ("command", "has", "lacks"),
    [
        pytest.param("size", {"lb/h", "gal/min", "lb"}, r"\bkg\b|\bl/min|°C$", id="size"),
        pytest.param("stress", {"gal"}, r"\bfeed l\b", id="stress"),
        pytest.param("frontier", {"lb", "gal"}, r"\bkg\b", id="frontier"),
    ],
)
def test_headings_have_the_reader_s_units(scenario: Path, command, has, lacks) -> None:
    text = printed(scenario, command, "ip", COLUMNS="120")

    tables = "\n".join(line for line in text.splitlines() if line.startswith(" "))
    assert has <= set(tables.split())
    assert re.search(lacks, tables, re.MULTILINE) is None
