"""dewmargin: which indoor humidity to hold, hour by hour, and what it takes.

The public names are loaded on first use, so that ``dewmargin --help`` stays instant: verbs, what
they return, and by name the modules of `dewmargin.physics` and the water balance. A type checker
reads them from the imports below.
"""

from __future__ import annotations

from importlib import import_module

# Type checkers take it for true; to import `typing` for it takes longer than all else here.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.energyplus.idf import prepare_idf
    from dewmargin.errors import DewmarginError, InputError, OutputError
    from dewmargin.physics import (
        air,
        air_exchange,
        assembly,
        glazing,
        hardness,
        mains,
        media,
        moisture_gains,
        mould,
        pad,
        room_temperature,
        series,
        steam,
        surfaces,
        water_line,
    )
    from dewmargin.scenario import Scenario, load
    from dewmargin.scenario.visit import with_visit
    from dewmargin.solve import balance
    from dewmargin.studies.compare.comparison import Comparison, compare
    from dewmargin.studies.frontier.frontier import Frontier, best_lines
    from dewmargin.studies.sheet import Sheet, site_sheet
    from dewmargin.studies.size.sizing import Sizing, size
    from dewmargin.studies.standard import compare_run
    from dewmargin.studies.stress.study import Stress, study
    from dewmargin.studies.sweep.blocks import solve_block
    from dewmargin.studies.sweep.dataset import Sweep
    from dewmargin.studies.sweep.plan import Plan
    from dewmargin.studies.sweep.run import sweep
    from dewmargin.weather.epw import Weather, read_epw

    __version__: str

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

_MODULES = {
    "balance": "dewmargin.solve.balance",
    "air": "dewmargin.physics.air",
    "air_exchange": "dewmargin.physics.air_exchange",
    "assembly": "dewmargin.physics.assembly",
    "glazing": "dewmargin.physics.glazing",
    "hardness": "dewmargin.physics.hardness",
    "mains": "dewmargin.physics.mains",
    "media": "dewmargin.physics.media",
    "moisture_gains": "dewmargin.physics.moisture_gains",
    "mould": "dewmargin.physics.mould",
    "pad": "dewmargin.physics.pad",
    "room_temperature": "dewmargin.physics.room_temperature",
    "series": "dewmargin.physics.series",
    "steam": "dewmargin.physics.steam",
    "surfaces": "dewmargin.physics.surfaces",
    "water_line": "dewmargin.physics.water_line",
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
    "air",
    "air_exchange",
    "assembly",
    "balance",
    "best_lines",
    "compare",
    "compare_run",
    "glazing",
    "hardness",
    "load",
    "mains",
    "media",
    "moisture_gains",
    "mould",
    "pad",
    "prepare_idf",
    "read_epw",
    "room_temperature",
    "series",
    "site_sheet",
    "size",
    "solve_block",
    "steam",
    "study",
    "surfaces",
    "sweep",
    "water_line",
    "with_visit",
]


if not TYPE_CHECKING:  # with it, any name would have a type

    def __getattr__(name: str) -> object:
        """Import a public name on first use."""
        if name == "__version__":
            from importlib.metadata import version  # noqa: PLC0415 - slow to import

            return version("dewmargin")
        if name in _MODULES:
            return import_module(_MODULES[name])
        if name in _HOME:
            return getattr(import_module(_HOME[name]), name)
        raise AttributeError(f"module 'dewmargin' has no attribute {name!r}")


def __dir__() -> list[str]:
    """Return what there is, loaded or not."""
    return sorted({*globals(), *__all__, "__version__"})
