"""PsychroLib as an oracle: a private copy in SI units, without numba.

A private copy, because its unit system is global to the module and a user's scripts may have set
it. Without numba, because then it raises where numbers are missing (with numba a NaN humidity ratio
has a dew point of 0 °C) and needs no seconds to compile.
"""

from __future__ import annotations

import sys
from functools import cache
from importlib.util import find_spec, module_from_spec
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import ModuleType


@cache
def load() -> ModuleType:
    """Return the private copy; the module that others import stays as it is."""
    spec = find_spec("psychrolib")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    missing = object()
    before = sys.modules.get("numba", missing)
    sys.modules["numba"] = None  # makes `import numba` fail as if it were not installed
    try:
        spec.loader.exec_module(module)
    finally:
        if before is missing:
            del sys.modules["numba"]
        else:
            sys.modules["numba"] = before
    module.SetUnitSystem(module.SI)
    return module
