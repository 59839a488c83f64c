"""What starting costs: ``python tests/benchmarks/bench_startup.py [OTHER_CHECKOUT]``.

Import, load, check and compare of the demo, each a fresh process, beside those of another checkout
with a virtual environment of its own, in turn. Seconds of the processor, user and system, of the
whole process: medians, and from the least to the most. Modules are compiled beforehand, as an
installer leaves them, and so is the kernel.

The floor is a process that imports the modules of others, and no more, with which this checkout's
ended; their names follow.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

ROUNDS = 9
HERE = Path(__file__).parents[2]
SCENARIO = str(Path("scenarios") / "larch_house.toml")
COMMAND = "import sys; from dewmargin.cli import main; sys.argv = ['dewmargin', {}]; main()"
JOBS = {
    "import": "import dewmargin",
    "load": f"import dewmargin; dewmargin.load({SCENARIO!r})",
    "check": COMMAND.format(f"'check', {SCENARIO!r}"),
    "compare": COMMAND.format(f"'compare', {SCENARIO!r}, '--out', 'OUT'"),
}
ENDED_WITH = """
import atexit, sys
atexit.register(lambda: print(*(m for m in sys.modules if m != "__main__"), file=sys.stderr))
"""
FLOOR = """
import importlib, sys
if "scipy" not in NAMES:
    sys.modules["scipy"] = None  # which numba imports if it can
for name in NAMES:
    try:
        importlib.import_module(name)
    except ImportError:  # made by a module of another name
        pass
"""


def main() -> None:
    """Time every job in turn and print medians, spreads and floors."""
    checkouts = {"this": HERE}
    if len(sys.argv) > 1:
        checkouts["other"] = Path(sys.argv[1]).resolve()
    with tempfile.TemporaryDirectory() as folder:
        for job, text in JOBS.items():
            code = text.replace("OUT", str(Path(folder) / "results"))
            names = [
                name
                for name in _run(HERE, ENDED_WITH + code, folder)[1].split()
                if name.partition(".")[0] not in ("dewmargin", "__mp_main__")
            ]
            codes = {who: (where, code) for who, where in checkouts.items()}
            codes["floor"] = (HERE, FLOOR.replace("NAMES", repr(names)))
            took: dict[str, list[float]] = {who: [] for who in codes}
            for turn in range(ROUNDS + 1):
                for who, (where, its_code) in codes.items():
                    seconds, _ = _run(where, its_code, folder)
                    if turn:  # the first fills the caches
                        took[who].append(seconds)
            told = "  ".join(
                f"{who} {statistics.median(each):.2f} ({min(each):.2f} to {max(each):.2f})"
                for who, each in took.items()
            )
            tops = {name.partition(".")[0] for name in names} - set(sys.stdlib_module_names)
            third = ", ".join(sorted(name for name in tops if not name.startswith("_")))
            print(f"{job:8s} {told}\n         {third or 'the standard library'}")  # noqa: T201 - a script


def _run(checkout: Path, code: str, folder: str) -> tuple[float, str]:
    """Run code with a checkout's Python, in it; return seconds of the processor, and stderr."""
    own = checkout / ".venv" / ("Scripts" if os.name == "nt" else "bin") / "python"
    environment = dict(os.environ) | {"PYTHONPYCACHEPREFIX": str(Path(folder) / checkout.name)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    before = os.times()
    done = subprocess.run(
        [own if own.exists() else sys.executable, "-c", code],
        cwd=checkout,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    after = os.times()
    used = after.children_user + after.children_system
    return used - before.children_user - before.children_system, done.stderr


if __name__ == "__main__":
    main()
