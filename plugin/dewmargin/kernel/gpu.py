"""The kernel on a GPU: the same source, a thread a case, through numba-cuda (extra `gpu`).

Imported only where a GPU is asked for.
"""

from __future__ import annotations

import functools
import threading
import time
from importlib import import_module
from importlib.util import module_from_spec, spec_from_file_location
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.kernel import _borrowed, year

if TYPE_CHECKING:
    from types import ModuleType

    from dewmargin.columns import FloatArray

cuda: Any = import_module("numba.cuda")  # untyped
SIMULATED: bool = import_module("numba").config.ENABLE_CUDASIM
THREADS = 128  # of a block
_ONE = threading.Lock()  # threads that prepare take turns on the device
seconds: list[float] = []  # that each call ran on the device, copies left out


@functools.cache
def _twin(plain: ModuleType) -> ModuleType:
    """Return a module of this package whose functions run on the device."""
    spec = spec_from_file_location(f"{plain.__name__}_gpu", plain.__file__)
    assert spec is not None  # noqa: S101 - a file of this package
    assert spec.loader is not None  # noqa: S101 - idem
    twin = module_from_spec(spec)
    # The simulator knows no inlining, and goes thread by thread.
    inline = cuda.jit(device=True, **({} if SIMULATED else {"forceinline": True}))
    vars(twin).update(jit=cuda.jit(device=True), inline=inline, VECTOR=1, buffer=None)
    if not SIMULATED:
        vars(twin).update(sync=cuda.syncthreads)  # does not wait for threads that have ended
    spec.loader.exec_module(twin)
    vars(twin).update(_borrowed(plain, _twin, inline))
    return twin


@functools.cache
def _kernel() -> Any:
    one_year = _twin(year).year

    def solve(
        which: Any, first: Any, shared: Any, of_case: Any, numbers: Any, steps: Any, hours: Any,
        faces: Any, face_hours: Any, area: Any, devices: Any, rows: Any, of_use: Any,
        of_device: Any, points: Any, low: Any, wet_above: Any, state: Any, work: Any, wanted: Any,
        late: Any, out: Any,
    ) -> None:  # fmt: skip
        q = cuda.grid(1)
        if q < which.size:
            one_year(
                which[q], first, shared, of_case, numbers, steps, hours, faces, face_hours, area,
                devices, rows, of_use, of_device, points, low, wet_above, state, work, wanted, late,
                out,
            )  # fmt: skip

    return cuda.jit(solve)


def years(inputs: dict[str, np.ndarray], turns: list[np.ndarray], n_wanted: int) -> FloatArray:
    """Return the years of all cases, as `year.year` fills them.

    Parameters
    ----------
    inputs : dict of str to array
        By the names in `year.INPUTS`.
    turns : list of int64 array
        Cases that may go at once, one turn after the other: those whose demand others want first.
    n_wanted : int
        Number of demands.
    """
    with _ONE:
        return _years(inputs, turns, n_wanted)


def _years(inputs: dict[str, np.ndarray], turns: list[np.ndarray], n_wanted: int) -> FloatArray:
    n_cases, n_surfaces = inputs["wet_above"].shape
    n_hours = inputs["hours"].shape[1]
    given = [cuda.to_device(np.ascontiguousarray(inputs[name])) for name in year.INPUTS]
    work = cuda.to_device(np.zeros((6, n_cases, n_surfaces)))
    # Neighbours in a warp are neighbours in memory.
    wanted = cuda.device_array((max(n_wanted, 1), n_hours), order="F")
    late = cuda.to_device(np.zeros(n_cases, dtype=np.int64))
    out = cuda.device_array((n_cases, year.FOUND))

    def launch(which: np.ndarray, first: int) -> np.ndarray:
        blocks = (which.size + THREADS - 1) // THREADS
        _kernel()[blocks, THREADS](cuda.to_device(which), first, *given, work, wanted, late, out)
        ends_apart: np.ndarray = late.copy_to_host()[which] > 0
        return ends_apart

    turns = [_neighbours(turn, inputs["of_case"], inputs["low"]) for turn in turns]
    cuda.synchronize()
    begun = time.perf_counter()
    year.drive(launch, turns, inputs["shared"])
    cuda.synchronize()
    seconds.append(time.perf_counter() - begun)
    found: FloatArray = out.copy_to_host()
    return found


def _neighbours(which: np.ndarray, of_case: np.ndarray, low: FloatArray) -> np.ndarray:
    """Return cases in an order in which those beside each other do alike: a warp waits for all."""
    held = low[:, :: max(low.shape[1] // 64, 1)].mean(axis=1)
    mine = of_case[which]
    order = np.lexsort(
        (held[mine[:, year.OF_LOW]], mine[:, year.OF_DEVICE], mine[:, year.OF_BUILDING])
    )
    found: np.ndarray = which[order]
    return found
