"""dewmargin: which indoor humidity to hold, hour by hour, and what it takes.

The public names are loaded on first use, so that ``dewmargin --help`` stays instant.
"""

from __future__ import annotations

from importlib import import_module

_HOME = {
    "Comparison": "dewmargin.comparison",
    "DewmarginError": "dewmargin.errors",
    "Frontier": "dewmargin.frontier",
    "HourlyCase": "dewmargin.case",
    "InputError": "dewmargin.errors",
    "OutputError": "dewmargin.errors",
    "Plan": "dewmargin.plan",
    "Scenario": "dewmargin.scenario",
    "Sheet": "dewmargin.sheet",
    "Sizing": "dewmargin.sizing",
    "Stress": "dewmargin.stress",
    "Sweep": "dewmargin.dataset",
    "Weather": "dewmargin.weather.epw",
    "best_lines": "dewmargin.frontier",
    "compare": "dewmargin.comparison",
    "compare_run": "dewmargin.standard",
    "load": "dewmargin.scenario",
    "prepare_idf": "dewmargin.energyplus.idf",
    "read_epw": "dewmargin.weather.epw",
    "site_sheet": "dewmargin.sheet",
    "size": "dewmargin.sizing",
    "solve_block": "dewmargin.blocks",
    "study": "dewmargin.stress",
    "sweep": "dewmargin.sweeping",
    "with_visit": "dewmargin.scenario.visit",
}

__all__ = [
    "Comparison",
    "DewmarginError",
    "Frontier",
    "HourlyCase",
    "InputError",
    "OutputError",
    "Plan",
    "Scenario",
    "Sheet",
    "Sizing",
    "Stress",
    "Sweep",
    "Weather",
    "best_lines",
    "compare",
    "compare_run",
    "load",
    "prepare_idf",
    "read_epw",
    "site_sheet",
    "size",
    "solve_block",
    "study",
    "sweep",
    "with_visit",
]


def __getattr__(name: str) -> object:
    """Import a public name on first use."""
    if name not in _HOME:
        raise AttributeError(f"module 'dewmargin' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)
