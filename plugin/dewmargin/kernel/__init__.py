"""The one door to numba: balance and mould growth as plain Python, or the same source compiled.

numba keys its cache on one file's time and size, which a reinstalled package may share with its
predecessor. So the cache lives in a folder named after the hash of this package's sources.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import sys
import threading
from importlib import import_module
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from dewmargin.kernel import growth, heat, saturation, source, tally

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import ModuleType


_LOADING = threading.RLock()  # a module is in sys.modules before it is whole


class Solver(Protocol):
    """The signature of the entries of `source` and `growth`."""

    def __call__(self, *arguments: Any) -> Any:  # noqa: ANN401 - floats and arrays
        """Solve all steps and fill the output arrays."""
        ...


def cache_folder() -> Path:
    """Return the folder of the compiled kernel: the user's cache, by hash of the sources."""
    here = Path(__file__)
    digest = hashlib.sha256()
    for path in sorted(here.parent.glob("*.py")):
        digest.update(path.read_bytes())
    if chosen := os.environ.get("DEWMARGIN_CACHE_DIR"):
        base = Path(chosen)
    elif sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home())) / "dewmargin"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / "dewmargin"
    return base / digest.hexdigest()[:16]


def compiled(plain: ModuleType = source) -> ModuleType:
    """Return a module of this package compiled by numba, loaded once; its cache is on disk.

    Raises
    ------
    ImportError
        If numba is not installed, or does not support this Python.
    """
    with _LOADING:
        name = f"{plain.__name__}_compiled"
        if name not in sys.modules:
            _load(plain, name)
        return sys.modules[name]


def _load(plain: ModuleType, name: str) -> None:
    numba = _numba()
    spec = spec_from_file_location(name, plain.__file__)
    assert spec is not None  # noqa: S101 - a file of this package
    assert spec.loader is not None  # noqa: S101 - idem
    twin = module_from_spec(spec)
    settings = vars(numba.config)
    before = settings["CACHE_DIR"]
    try:
        folder = cache_folder()
        folder.mkdir(parents=True, exist_ok=True)
        settings["CACHE_DIR"] = str(folder)
        on_disk = os.access(folder, os.W_OK)
    except OSError:
        on_disk = False
    sys.modules[name] = twin  # numba looks the module up when it loads from its cache
    try:
        # The folder is read when a function is decorated; other users' functions keep theirs.
        vars(twin)["jit"] = numba.njit(cache=on_disk, error_model="numpy", nogil=True)
        # Calls that hand on arrays cost as much as what they do: pieces become part of the caller.
        vars(twin)["inline"] = numba.njit(error_model="numpy", nogil=True, forceinline=True)
        vars(twin)["VECTOR"] = 4  # no lane is left over for scalar code
        vars(twin)["buffer"] = np.zeros
        spec.loader.exec_module(twin)
        vars(twin).update(_borrowed(plain, compiled, vars(twin)["inline"]))
    except BaseException:
        del sys.modules[name]
        raise
    finally:
        settings["CACHE_DIR"] = before


def _numba() -> Any:  # noqa: ANN401 - untyped
    """Import numba, but not scipy, which it looks for only to know whether it is there.

    That takes half a second. Functions with linear algebra still find scipy when they are compiled.
    """
    if "numba" in sys.modules or "scipy" in sys.modules:
        return import_module("numba")
    unseen = _WithoutScipy()
    sys.meta_path.insert(0, unseen)
    try:
        numba = import_module("numba")
    finally:
        sys.meta_path.remove(unseen)
    # With the first function numba asks once more, by importing scipy.linalg; it is told yes. Where
    # another numba asks otherwise, it imports scipy.
    with contextlib.suppress(ImportError, KeyError):
        own = vars(import_module("numba.np.linalg"))
        asked, own["ensure_blas"] = own["ensure_blas"], bool
        try:
            vars(import_module("numba.np.arraymath"))["ensure_blas"] = asked
        finally:
            own["ensure_blas"] = asked
    return numba


class _WithoutScipy:
    """An import finder for which scipy is not installed, in the thread that made it alone."""

    def __init__(self) -> None:
        self._thread = threading.get_ident()

    def find_spec(self, name: str, *_: object) -> None:
        """Leave every other module to the finders after it."""
        if name == "scipy" and threading.get_ident() == self._thread:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)


def _borrowed(
    plain: ModuleType, twin: Callable[[ModuleType], ModuleType], inline: Callable[[Any], Any]
) -> dict[str, Any]:
    """Return the functions that a module has from others of this package, as twins."""
    borrowed = {}
    for name, function in vars(plain).items():
        home = sys.modules.get(getattr(function, "__module__", None) or "")
        if home is saturation:  # takes arrays too, and so marks nothing
            borrowed[name] = inline(function)
        elif home is not plain and home in (source, tally):
            borrowed[name] = getattr(twin(home), name)
    return borrowed


def cases() -> Solver:
    """Return the balance's solver: compiled, or as plain Python where numba cannot be used.

    A year of a case takes plain Python about 0.3 s and the compiled solver about 2 ms, side by side
    with others 1 ms; compiling takes 10 to 30 s, once for each version of the sources.
    """
    return _chosen(source, "cases")


def mould_follow() -> Solver:
    """Return the mould index's solver, as `cases`."""
    return _chosen(growth, "follow")


def room_temperature() -> Solver:
    """Return the room temperature's solver: as plain Python until something needs numba.

    A year takes plain Python 10 ms, loading numba a second; the numbers are the same.
    """
    return _chosen(heat, "follow") if "numba" in sys.modules else _follow_room


def _follow_room(*arguments: Any) -> Any:  # noqa: ANN401 - as `Solver`
    # Through a view Python sees its own floats, which are twice as fast as those of an array.
    views: list[Any] = [a.data if isinstance(a, np.ndarray) else a for a in arguments]
    return heat.follow(*views)


def tally_room() -> Solver:
    """Return what counts the hours of many cases, as `cases`."""
    return _chosen(tally, "room")


def tally_device() -> Solver:
    """Return what adds up the use of a device in many cases, as `cases`."""
    return _chosen(tally, "device")


def tally_owings() -> Solver:
    """Return what follows the heat that a room is owed, hour by hour, as `cases`."""
    return _chosen(tally, "owings")


def _chosen(plain: ModuleType, name: str) -> Solver:
    try:
        module = compiled(plain)
    except ImportError:
        module = plain
    solver: Solver = getattr(module, name)
    return solver
