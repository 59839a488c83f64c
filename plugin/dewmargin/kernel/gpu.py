"""The kernel on a GPU: the same source, a thread a case, through numba-cuda (extra `gpu`)."""

from __future__ import annotations

import functools
from importlib.util import module_from_spec, spec_from_file_location
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.kernel import _borrowed, year

if TYPE_CHECKING:
    from types import ModuleType

    from dewmargin.columns import FloatArray

THREADS = 64  # of a block
REGISTERS = 0  # of a thread at most; 0: as many as it likes


def why_not() -> str | None:
    """Return why no GPU can be used here; None if one can."""
    try:
        from numba import cuda  # noqa: PLC0415 - only where a GPU is asked for
    except ImportError:
        return "numba-cuda is not installed (pip install 'dewmargin[gpu]')"
    if not cuda.is_available():
        return "no CUDA GPU or driver was found"
    return None


@functools.cache
def _twin(plain: ModuleType) -> ModuleType:
    """Return a module of this package whose functions run on the device."""
    from numba import config, cuda  # noqa: PLC0415 - only where a GPU is asked for

    spec = spec_from_file_location(f"{plain.__name__}_gpu", plain.__file__)
    assert spec is not None  # noqa: S101 - a file of this package
    assert spec.loader is not None  # noqa: S101 - idem
    twin = module_from_spec(spec)
    # The simulator knows no inlining.
    forced = {} if config.ENABLE_CUDASIM else {"forceinline": True}
    inline = cuda.jit(device=True, **forced)
    vars(twin).update(jit=cuda.jit(device=True), inline=inline, VECTOR=1, buffer=None)
    spec.loader.exec_module(twin)
    vars(twin).update(_borrowed(plain, _twin, inline))
    return twin


@functools.cache
def _kernel() -> Any:  # noqa: ANN401 - numba's
    from numba import config, cuda  # noqa: PLC0415 - only where a GPU is asked for

    one_year = _twin(year).year

    limits = {"max_registers": REGISTERS} if REGISTERS and not config.ENABLE_CUDASIM else {}

    @cuda.jit(**limits)
    def years(
        which, shared, of_case, numbers, steps, hours, faces, face_hours, area, devices, rows,
        of_use, of_device, points, low, wet_above, start, work, wanted, out,
    ):  # fmt: skip
        q = cuda.grid(1)
        if q < which.size:
            one_year(
                which[q], shared, of_case, numbers, steps, hours, faces, face_hours, area, devices,
                rows, of_use, of_device, points, low, wet_above, start, work, wanted, out,
            )  # fmt: skip

    return years


# Arrays of `year.year` in their order; those from WORK on are made on the device.
INPUTS = (
    "shared", "of_case", "numbers", "steps", "hours", "faces", "face_hours", "area", "devices",
    "rows", "of_use", "of_device", "points", "low", "wet_above", "start",
)  # fmt: skip


def years(inputs: dict[str, np.ndarray], turns: list[np.ndarray], n_wanted: int) -> FloatArray:
    """Return the years of all cases, as `year.year` fills them.

    Parameters
    ----------
    inputs : dict of str to array
        By the names in `INPUTS`.
    turns : list of int64 array
        Cases that may go at once, one turn after the other: those whose demand others want first.
    n_wanted : int
        Number of demands.

    Raises
    ------
    RuntimeError
        If there is no GPU; see `why_not`.
    """
    from numba import cuda  # noqa: PLC0415 - only where a GPU is asked for

    if (reason := why_not()) is not None:
        raise RuntimeError(reason)
    n_cases, n_surfaces = inputs["wet_above"].shape
    n_hours = inputs["hours"].shape[2]
    given = [cuda.to_device(np.ascontiguousarray(inputs[name])) for name in INPUTS]
    # Neighbours in a warp are neighbours in memory.
    work = cuda.to_device(np.zeros((6, n_cases, n_surfaces), order="C"))
    wanted = cuda.device_array((max(n_wanted, 1), n_hours), order="F")
    out = cuda.device_array((n_cases, year.FOUND))
    for which in turns:
        if which.size:
            blocks = (which.size + THREADS - 1) // THREADS
            _kernel()[blocks, THREADS](cuda.to_device(which), *given, work, wanted, out)
    found: FloatArray = out.copy_to_host()
    return found
