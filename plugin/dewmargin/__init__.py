"""dewmargin: which indoor humidity to hold, hour by hour, and what it takes.

The public names are loaded on first use, so that ``dewmargin --help`` stays instant.
"""

from __future__ import annotations

from importlib import import_module

_HOME = {
    "Comparison": "dewmargin.studies.compare.comparison",
    "DewmarginError": "dewmargin.errors",
    "Frontier": "dewmargin.studies.frontier.frontier",
    "HourlyCase": "dewmargin.case",
    "InputError": "dewmargin.errors",
    "OutputError": "dewmargin.errors",
    "Plan": "dewmargin.studies.sweep.plan",
    "Scenario": "dewmargin.scenario",
    "Sheet": "dewmargin.studies.sheet",
    "Sizing": "dewmargin.studies.size.sizing",
    "Stress": "dewmargin.studies.stress.study",
    "Sweep": "dewmargin.studies.sweep.dataset",
    "Weather": "dewmargin.weather.epw",
    "best_lines": "dewmargin.studies.frontier.frontier",
    "compare": "dewmargin.studies.compare.comparison",
    "compare_run": "dewmargin.studies.standard",
    "load": "dewmargin.scenario",
    "prepare_idf": "dewmargin.energyplus.idf",
    "read_epw": "dewmargin.weather.epw",
    "site_sheet": "dewmargin.studies.sheet",
    "size": "dewmargin.studies.size.sizing",
    "solve_block": "dewmargin.studies.sweep.blocks",
    "study": "dewmargin.studies.stress.study",
    "sweep": "dewmargin.studies.sweep.run",
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
