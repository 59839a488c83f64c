"""Inventory of a scenario before it is run: inputs read, options counted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dewmargin.errors import InputError
from dewmargin.scenario.targets import default_doubts, placed
from dewmargin.solve import balance

if TYPE_CHECKING:
    from dewmargin.scenario import Scenario

SECONDS_PER_OPTION = 0.05  # measured on two cores: pad, balance and metrics of a year


def used(scenario: Scenario) -> tuple[list[tuple[str, str]], list[str]]:
    """Read everything a scenario names; return what will be used, and what to know of it."""
    weather = scenario.read_weather()
    case = scenario.case(weather)
    nothing = np.zeros(case.n_steps)
    notes = dict.fromkeys(case.notes)
    try:
        waters = [supply.feed_water(case) for supply in scenario.supplies]
        for strategy in scenario.strategies:
            w_set = balance.setpoint_humidity_ratio(case, strategy.setpoint(case))
            for equipment in scenario.equipment:
                for water in waters:
                    found = equipment.capability(
                        case,
                        water,
                        w_base_kg_kg=nothing,
                        w_set_kg_kg=w_set,
                        demand_kg_s=None,
                    )
                    if strategy is scenario.strategies[0]:
                        notes.update(dict.fromkeys(found.notes))
    except InputError as error:
        raise scenario.placed(error) from error
    doubts = scenario.doubts or default_doubts(scenario, case)
    try:
        placed(scenario, doubts, case)
    except InputError as error:
        raise scenario.placed(error) from error
    n = len(scenario.strategies) * len(scenario.equipment) * len(scenario.supplies)
    start = str(case.interval_start[0])
    facts = [
        ("title", scenario.title),
        ("weather", "none" if weather is None else f"{weather.file}: {weather.place}"),
        ("space", f"{scenario.space_kind}: {case.title}"),
        ("hours", f"{case.n_hours} from {start}, {case.steps_per_hour} steps an hour"),
        ("dry air", f"{case.dry_air_kg:.0f} kg, with the moisture capacity multiplier"),
        ("exchange", f"{3600 * case.exchange_kg_s.mean():.0f} kg/h of dry air on average"),
        ("outdoor humidity", case.humidity_reading),
        ("surfaces", ", ".join(s.name for s in case.surfaces) or "none"),
        ("assembly", "none" if scenario.assembly is None else scenario.assembly.name),
        ("strategies", ", ".join(s.name for s in scenario.strategies)),
        ("equipment", ", ".join(e.name for e in scenario.equipment)),
        ("supplies", ", ".join(s.name for s in scenario.supplies)),
        (
            "doubts" if scenario.doubts else "doubts (the usual)",
            ", ".join(doubt.input for doubt in doubts) or "none",
        ),
        ("options", f"{n} and the baseline, about {SECONDS_PER_OPTION * (n + 1):.1f} s"),
    ]
    return facts, list(notes)
