"""A small scenario of the demo's house, with doubts of one's own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dewmargin.scenario import load
from dewmargin.studies.demo import demo_folder

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.scenario import Scenario

WEATHER = demo_folder() / "weather" / "larch_valley.epw"
HEADER = 8  # lines
JANUARY = 31 * 24

TEXT = """
title = "Small house (invented)"

[weather]
file = '{weather}'

[space.house]
floor_area_m2 = 165
volume_m3 = 430
storeys = 2
leakage_m3_h_at_50pa = 1100
heat_loss_w_k = 190
bedrooms = 3
solar_aperture_m2 = 3
thermostat = {{ day_c = 20, night_c = 18, cooling_c = 25 }}
ventilation = {{ supply_l_s = 15, exhaust_l_s = 15 }}

[space.house.heating]
kind = "furnace"
capacity_kw = 12
airflow_l_s = 400
blower_w = 350
carrier = "gas"
efficiency = 0.9

[[surfaces]]
name = "glass"
temperature_index = 0.6
area_m2 = 4

[[strategies]]
name = "reset"
rule = "outdoor_reset"
points = [[-20, 0.20], [5, 0.40]]

[[equipment]]
name = "pad"
kind = "wetted_pad"
airflow_kg_s = 0.09
effectiveness = 0.65
feed_kg_h = 15
call = "heating"
power_w = 8

[[supplies]]
name = "hot"
cold_c = 8
temperature_c = 55
heater = {{ kind = "fuel_storage", carrier = "gas", efficiency = 0.7 }}

[tariff]
source = "invented"
currency = "EUR"
electricity_per_kwh = 0.28
gas_per_kwh = 0.11
water_per_m3 = 2.10
{doubts}
"""


def january(folder: Path, name: str = "january.epw", *, warmer_k: float = 0.0) -> Path:
    """Write the demo's January, perhaps warmer; a month is quick."""
    lines = WEATHER.read_text(encoding="utf-8").splitlines()[: HEADER + JANUARY]
    lines[HEADER - 1] = lines[HEADER - 1].replace("12/31", " 1/31")
    for i in range(HEADER, len(lines)):
        values = lines[i].split(",")
        for k in (6, 7):  # dry bulb, dew point
            values[k] = f"{float(values[k]) + warmer_k:.1f}"
        lines[i] = ",".join(values)
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def small(folder: Path, doubts: str = "", lines: dict[str, str] | None = None) -> Scenario:
    """Return the scenario in January; `lines` are what to write in the place of others of it.

    A doubt is a line `key | acts | distribution | spread as TOML pairs`.
    """
    tables = ""
    for line in filter(None, (line.strip() for line in doubts.splitlines())):
        key, acts, distribution, spread = (part.strip() for part in line.split("|"))
        pairs = "\n".join(spread.split("; "))
        tables += f'\n[[doubts]]\ninput = "{key}"\nacts = "{acts}"\n'
        tables += f'distribution = "{distribution}"\n{pairs}\n'
    text = TEXT.format(weather=january(folder).name, doubts=tables)
    for old, new in (lines or {}).items():
        assert old in text
        text = text.replace(old, new)
    path = folder / "small.toml"
    path.write_text(text, encoding="utf-8")
    return load(path)
