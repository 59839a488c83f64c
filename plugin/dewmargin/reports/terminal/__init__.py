"""Tables for a terminal: rich where it can show them, plain ASCII where it cannot.

`show_*` print all that a command says, `print_*` one part of it.
"""

from __future__ import annotations

from dewmargin.reports.terminal.comparison import (
    print_comparison,
    print_surfaces,
    print_taken,
    show_comparison,
    show_options,
)
from dewmargin.reports.terminal.inputs import (
    print_extensions,
    show_check,
    show_prepared,
    show_simulated,
)
from dewmargin.reports.terminal.lines import (
    NARROWEST,
    console,
    print_facts,
    print_lines,
    print_whole,
    progress,
)
from dewmargin.reports.terminal.number_tables import print_by_outdoor_temperature
from dewmargin.reports.terminal.studies import (
    print_frontier,
    print_loads,
    print_sensitivity,
    print_sizes,
    print_spread,
    show_frontier,
    show_sizes,
    show_stress,
)

__all__ = [
    "NARROWEST",
    "console",
    "print_by_outdoor_temperature",
    "print_comparison",
    "print_extensions",
    "print_facts",
    "print_frontier",
    "print_lines",
    "print_loads",
    "print_sensitivity",
    "print_sizes",
    "print_spread",
    "print_surfaces",
    "print_taken",
    "print_whole",
    "progress",
    "show_check",
    "show_comparison",
    "show_frontier",
    "show_options",
    "show_prepared",
    "show_simulated",
    "show_sizes",
    "show_stress",
]
