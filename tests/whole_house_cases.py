"""Houses for the reference of a whole house: invented, from tight to leaky, from valley to pass.

`python tests/whole_house_cases.py [house ...]` prints program and reference side by side, for
every call, water and line.
"""

from __future__ import annotations

import re
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

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
                "supply_l_s = 40\nexhaust_l_s = 35\nlatent_effectiveness = 0.4\n"
                "sensible_effectiveness = 0.75",
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
LINE = {"length_m": 8, "bore_mm": 6, "material": "copper"}
SUPPLIES: dict[str, dict[str, Any]] = {
    "cold": {},
    "hot": {"temperature_c": 55},
    "cold line": {"line": LINE},
    "hot line": {"temperature_c": 55, "line": LINE},
}
CALLS = ("heating", "humidity")
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


def text_of(name: str, folder: Path, *, extra: str = "") -> str:
    """Return the scenario of a house: one strategy, both calls, all supplies; no tariff or wall."""
    changes, strategy = HOUSES[name]
    text = DEMO.read_text()
    weather = higher(folder) if name == "mountain" else VALLEY
    for old, new in [*changes, ("../weather/larch_valley.epw", str(weather))]:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    text = re.sub(r"\[assembly\].*?(?=\[\[strategies)", "", text, flags=re.DOTALL)
    kept = re.findall(rf'\[\[strategies\]\]\nname = "{re.escape(strategy)}".*?\n\n', text, re.DOTALL)
    device = re.findall(r"\[\[equipment\]\].*?\n\n", text, re.DOTALL)[0]
    text = text[: text.index("[[strategies]]")] + kept[0]
    for call in CALLS:
        text += device.replace('"bypass pad"', f'"{call}"').replace('"heating"\npower', f'"{call}"\npower')
    for supply, keys in SUPPLIES.items():
        text += f'[[supplies]]\nname = "{supply}"\n'
        if "temperature_c" in keys:
            text += f"temperature_c = {keys['temperature_c']}\n"
        if "line" in keys:
            text += 'line = { length_m = 8, bore_mm = 6, material = "copper" }\n'
    return text + extra


def by_program(text: str, folder: Path) -> dict[str, Any]:
    """Return the program's comparison by option."""
    path = folder / "house.toml"
    path.write_text(text)
    table = dewmargin.compare(path).comparison
    return {row["option"]: row for row in table.to_dict("records")}


def by_reference(text: str, calls: tuple[str, ...] = CALLS, supplies: tuple[str, ...] = tuple(SUPPLIES),
                 **how: Any) -> dict[str, Any]:
    """Return the reference's numbers by option, as the program names it, and of the bare house."""
    scenario = tomllib.loads(text)
    house = whole_house.built(scenario, Path())
    strategy = scenario["strategies"][0]
    demand = whole_house.solve(scenario, Path(), strategy=strategy, house=house)
    found = {"no humidifier": whole_house.solve(scenario, Path(), house=house)}
    for device in scenario["equipment"]:
        for supply in scenario["supplies"]:
            if device["name"] in calls and supply["name"] in supplies:
                option = f"{strategy['name']} | {device['name']} | {supply['name']}"
                found[option] = whole_house.solve(
                    scenario, Path(), strategy=strategy, equipment=device, supply=supply, house=house, **how
                ) | {"demand_kg": demand["delivered_kg"]}  # fmt: skip
    return found


def main() -> None:
    """Print the houses named, or all."""
    print("house", "option", "by", *COLUMNS, sep=",")
    for name in sys.argv[1:] or HOUSES:
        with tempfile.TemporaryDirectory() as temporary:
            text = text_of(name, Path(temporary))
            theirs = by_program(text, Path(temporary))
            sources = {
                "program": theirs,
                "reference": by_reference(text),
                "reference 2 points": by_reference(text, band_rh=0.02, supplies=("cold line", "hot line")),
            }
        for option in theirs:
            for by, rows in sources.items():
                if option in rows:
                    row = [f"{rows[option].get(k) or 0.0:.1f}" for k in COLUMNS]
                    print(name, option, by, *row, sep=",", flush=True)


if __name__ == "__main__":
    main()
