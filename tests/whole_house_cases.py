"""Houses for the reference of a whole house: invented, from tight to leaky, from valley to pass.

`python tests/whole_house_cases.py [house ...]` prints program and reference side by side, for
every call, water and line.
"""

from __future__ import annotations

import csv
import re
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

import dewmargin
from references import whole_house

ROOT = Path(__file__).parents[1]
VALLEY = ROOT / "weather" / "larch_valley.epw"
DEMO = ROOT / "scenarios" / "larch_house.toml"

LEAKAGE, PLANT = "leakage_m3_h_at_50pa = 1100", "capacity_kw = 12"
FANS = "supply_l_s = 15\nexhaust_l_s = 15"
BUFFER = "moisture_buffer_value_g_m2_rh = 0.3"
# What differs from the demo's house, and which of its strategies is looked at.
HOUSES: dict[str, tuple[list[tuple[str, str]], str]] = {
    "demo": ([], "hold 35 %"),
    "tight": (
        [
            (LEAKAGE, "leakage_m3_h_at_50pa = 300"),
            (PLANT, "capacity_kw = 8"),
            (
                FANS,
                (
                    "supply_l_s = 40\nexhaust_l_s = 35\nlatent_effectiveness = 0.4\n"
                    "sensible_effectiveness = 0.75"
                ),
            ),
        ],
        "hold 40 %",
    ),
    "leaky": ([(LEAKAGE, "leakage_m3_h_at_50pa = 2500"), (PLANT, "capacity_kw = 14")], "hold 35 %"),
    "very leaky": (
        [(LEAKAGE, "leakage_m3_h_at_50pa = 3500"), (PLANT, "capacity_kw = 16")],
        "hold 35 %",
    ),
    "heat pump": (
        [
            ('kind = "furnace"', 'kind = "heat_pump"'),
            (PLANT, "capacity_points = [[-25, 5], [-10, 7], [8, 10]]\nbackup_kw = 6"),
            ('carrier = "gas"\nefficiency = 0.90\n', ""),
        ],
        "gentle reset",
    ),
    "timber": ([(BUFFER, "moisture_buffer_value_g_m2_rh = 2")], "hold 40 %"),
    "mountain": ([(PLANT, "capacity_kw = 15")], "windows 1 K dry"),
}
HOT, LINE = "temperature_c = 55\n", 'line = { length_m = 8, bore_mm = 6, material = "copper" }\n'
SUPPLIES = {"cold": "", "hot": HOT, "cold line": LINE, "hot line": HOT + LINE}
MOST_FIRINGS = 3.0  # the default of plant.most_cycles_per_h
CALLS = ("heating", "humidity")
USUAL_BAND_RH = 0.02  # of a humidistat, the least that is usual: common practice, no source
COLUMNS = (
    "demand_kg", "delivered_kg", "dry_h", "condensation_h", "feed_l", "running_h",
    "feed_heat_kwh", "makeup_heat_kwh", "fan_kwh", "line_heat_kwh", "unmet_heat_kwh",
)  # fmt: skip


def higher(folder: Path) -> Path:
    """Write the valley's weather as it would be on a pass: at 3,300 m, 5 K colder."""
    lines = VALLEY.read_text().splitlines()
    head = lines[0].split(",")
    head[9] = "3300.0"
    rows = [",".join(head), *lines[1:8]]
    for line in lines[8:]:
        cells = line.split(",")
        for k in (6, 7):
            cells[k] = f"{float(cells[k]) - 5.0:.1f}"
        cells[9] = f"{float(cells[9]) * 0.80:.0f}"
        rows.append(",".join(cells))
    path = folder / "pass.epw"
    path.write_text("\n".join(rows) + "\n")
    return path


def text_of(
    name: str,
    folder: Path,
    *,
    calls: tuple[str, ...] = CALLS,
    supplies: tuple[str, ...] = tuple(SUPPLIES),
) -> str:
    """Return the scenario of a house: one strategy, and what is asked for; no tariff or wall."""
    changes, strategy = HOUSES[name]
    text = DEMO.read_text()
    weather = higher(folder) if name == "mountain" else VALLEY
    for old, new in [*changes, ("../weather/larch_valley.epw", str(weather))]:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    text = re.sub(r"\[assembly\].*?(?=\[\[strategies)", "", text, flags=re.DOTALL)
    kept = re.findall(
        rf'\[\[strategies\]\]\nname = "{re.escape(strategy)}".*?\n\n', text, re.DOTALL
    )
    device = re.findall(r"\[\[equipment\]\].*?\n\n", text, re.DOTALL)[0]
    text = text[: text.index("[[strategies]]")] + kept[0]
    for call in calls:
        text += device.replace('"bypass pad"', f'"{call}"').replace(
            '"heating"\npower', f'"{call}"\npower'
        )
    for supply in supplies:
        text += f'[[supplies]]\nname = "{supply}"\n{SUPPLIES[supply]}'
    return text


def by_program(text: str, folder: Path) -> dict[str, Any]:
    """Return the program's comparison by option."""
    path = folder / "house.toml"
    path.write_text(text)
    table = dewmargin.compare(path).comparison
    return {row["option"]: row for row in table.to_dict("records")}


def by_reference(text: str, *, band_rh: float = 0.0) -> dict[str, Any]:
    """Return the reference's numbers by option, as the program names it, the bare house first.

    Mean of two thermostats whose firings are 3 % more and less often: when in an hour a plant
    fires is chance, and moves hours at an edge by as much as ten.
    """
    scenario, here = tomllib.loads(text), Path()
    house = whole_house.built(scenario, here)
    strategy = scenario["strategies"][0]
    wanted = whole_house.unlimited(scenario, here, house, strategy)["delivered_kg"]
    found = {"no humidifier": whole_house.unlimited(scenario, here, house, None)}
    for device in scenario["equipment"]:
        for supply in scenario["supplies"]:
            years = [
                whole_house.solve(
                    scenario, here, strategy=strategy, equipment=device, supply=supply,
                    house=house, band_rh=band_rh, most_firings=MOST_FIRINGS * often,
                )
                for often in (0.97, 1.03)
            ]  # fmt: skip
            year = {key: np.mean([year[key] for year in years]) for key in COLUMNS[1:]}
            option = f"{strategy['name']} | {device['name']} | {supply['name']}"
            found[option] = year | {"demand_kg": wanted}
    return found


def main() -> None:
    """Print the houses named, or all: program, reference, and reference with a real humidistat."""
    table = csv.writer(sys.stdout)
    table.writerow(["house", "option", "by", *COLUMNS])
    for name in sys.argv[1:] or HOUSES:
        with tempfile.TemporaryDirectory() as temporary:
            text = text_of(name, Path(temporary))
            sources = {
                "program": by_program(text, Path(temporary)),
                "reference": by_reference(text),
                f"reference, band {USUAL_BAND_RH:g}": by_reference(text, band_rh=USUAL_BAND_RH),
            }
        for option in sources["reference"]:
            for by, rows in sources.items():
                numbers = (float(rows[option].get(key) or 0.0) for key in COLUMNS)
                table.writerow([name, option, by, *(f"{number:.1f}" for number in numbers)])


if __name__ == "__main__":
    main()
