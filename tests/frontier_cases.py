"""A room in any weather, for searches of set-point lines: a table that one can compute in the head.

The room is at 21 °C, the air outdoors dry, and nothing but a humidifier makes it more humid, in a
second.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

from dewmargin.studies.frontier.trial import Trial
from dewmargin.studies.options.engine import prepared

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from dewmargin.case import HourlyCase
    from dewmargin.scenario import Scenario
    from dewmargin.studies.frontier.lines import Line, Space

DEVICE = 'name = "spray"\nkind = "fixed_rate"\nrate_kg_h = 50_000\npower_w = 50'
SURFACE = '[[surfaces]]\nname = "glass"\ntemperature_index = 0.40\n'
TARIFF = '[tariff]\nsource = "invented"\ncurrency = "EUR"\nwater_per_m3 = 4\n'


def room(
    folder: Path,
    t_out_c: Sequence[float],
    *,
    heating_w: Sequence[float] | None = None,
    device: str = DEVICE,
    surfaces: str = SURFACE,
    space: str = "",
    more: str = "",
) -> Path:
    """Write a scenario of a room by its hourly outdoor temperatures; return its file."""
    heat = [0.0] * len(t_out_c) if heating_w is None else heating_w
    lines = ["out,heat,w_out,p,room,w,flow"]
    lines += [
        f"{t:g},{q:g},0.0001,95000,21,0.0001,0.02" for t, q in zip(t_out_c, heat, strict=True)
    ]
    (folder / "room.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    file = folder / "room.toml"
    file.write_text(
        f"""title = "one room"
[space.table]
file = "room.csv"
start = 2021-01-04T00:00:00
volume_m3 = 300
{space}
[space.table.columns]
t_out_c = "out"
w_out_kg_kg = "w_out"
p_pa = "p"
t_air_c = "room"
w_kg_kg = "w"
exchange_kg_s = "flow"
heating_w = "heat"
{surfaces}
[[strategies]]
name = "any"
rule = "constant"
rh = 0.35
[[equipment]]
{device}
[[supplies]]
name = "cold"
temperature_c = 10
{more}
""",
        encoding="utf-8",
    )
    return file


def trial_of(scenario: Scenario, case: HourlyCase, space: Space) -> Trial:
    """Return a trial of the first device on the last supply, which needs no mains, with demand."""
    return Trial(
        scenario,
        prepared(case, scenario.comfort),
        scenario.equipment[0],
        scenario.supplies[-1],
        space=space,
        with_demand=True,
    )


def silent(_tried: int, _found: int) -> None:
    """Hear how far a search is, and say nothing."""


def two_point_lines(space: Space) -> list[Line]:
    """Return every line of two points, by plain loops."""
    return [
        space.line([(cold_c, cold), (mild_c, mild)], 0)
        for cold_c, mild_c in combinations(space.t_out_c, 2)
        for cold in range(space.low_percent, space.high_percent + 1)
        for mild in range(cold, space.high_percent + 1)
    ]
