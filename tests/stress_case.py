"""A small scenario of the demo's house, with doubts of one's own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dewmargin.demo import demo_folder
from dewmargin.scenario import load

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.scenario import Scenario

WEATHER = demo_folder() / "weather" / "larch_valley.epw"

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
heating = {{ kind = "furnace", capacity_kw = 12, airflow_l_s = 400, blower_w = 350, carrier = "gas", efficiency = 0.9 }}

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


def small(folder: Path, doubts: str = "", lines: dict[str, str] | None = None) -> Scenario:
    """Return the scenario; `lines` are what to write in the place of others of it.

    A doubt is a line `key | acts | distribution | spread as TOML pairs`.
    """
    tables = ""
    for line in filter(None, (line.strip() for line in doubts.splitlines())):
        key, acts, distribution, spread = (part.strip() for part in line.split("|"))
        pairs = "\n".join(spread.split("; "))
        tables += f'\n[[doubts]]\ninput = "{key}"\nacts = "{acts}"\n'
        tables += f'distribution = "{distribution}"\n{pairs}\n'
    text = TEXT.format(weather=WEATHER.as_posix(), doubts=tables)
    for old, new in (lines or {}).items():
        assert old in text
        text = text.replace(old, new)
    path = folder / "small.toml"
    path.write_text(text, encoding="utf-8")
    return load(path)
