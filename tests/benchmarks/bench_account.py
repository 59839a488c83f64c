"""What the year's account costs: `bench_account.py [PLUGIN_BEFORE]`.

The demo house's 19 cases: the hours of the rooms (`tally.room`), what the twelve pads on their
supplies take (`tally.device`), and balance and account of each case by itself (`year.year`). CPU
time, median of `ROUNDS` in turn with the kernel in another tree's plugin folder, where one is
given; results of both are then compared bit by bit.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

HERE = Path(__file__).resolve()
ROUNDS = 21
REPEATS = {"room": 5, "device": 20, "year": 1}  # of a round


def save(path: Path) -> None:
    """Write what the three are given for the demo."""
    from dewmargin import kernel  # noqa: PLC0415 - a child loads one tree's alone
    from dewmargin.scenario import load  # noqa: PLC0415 - idem
    from dewmargin.solve import cases, year_of_many, year_on_gpu  # noqa: PLC0415 - idem
    from dewmargin.studies.compare.comparison import compare  # noqa: PLC0415 - idem
    from dewmargin.studies.demo import demo_folder  # noqa: PLC0415 - idem
    from year_cases import batch_of, job_of  # noqa: PLC0415 - idem

    scenario = load(demo_folder() / "scenarios" / "larch_house.toml")
    result = compare(scenario)
    of, book, every, takers, wanted, asks = batch_of(scenario, result)
    told: dict[str, list] = {"room": [], "device": []}

    def kept(name: str) -> Callable:
        solver = getattr(kernel, f"tally_{name}")()

        def run(*given: object) -> None:
            told[name].append(given)
            solver(*given)

        return lambda: run

    for name in told:
        setattr(kernel, f"tally_{name}", kept(name))
    year_of_many.year_numbers(
        of, book, cases.solve(of, every), devices=every.devices, of_device=every.of_device,
        takers=takers, wanted_kg=np.array(wanted), wanted_of=asks,
    )  # fmt: skip
    job, _ = job_of(result)
    path.write_bytes(pickle.dumps(told | {"year": year_on_gpu.stacked([job])}))


def serve(path: Path) -> None:
    """Answer each name read with its CPU seconds and the hash of what came out."""
    from dewmargin import kernel  # noqa: PLC0415 - after the path is set
    from dewmargin.kernel import year  # noqa: PLC0415 - idem
    from year_cases import by  # noqa: PLC0415 - idem

    told = pickle.loads(path.read_bytes())  # noqa: S301 - our own
    doors = {"room": kernel.tally_room(), "device": kernel.tally_device()}
    years = by(kernel.compiled(year))
    for line in sys.stdin:
        name = line.strip()
        begun = time.thread_time()
        for _ in range(REPEATS[name]):
            if name == "year":
                out = [years(*told[name])]
            else:
                for given in told[name]:
                    doors[name](*given)
        took = time.thread_time() - begun
        if name != "year":
            last = slice(-3, None) if name == "room" else slice(-1, None)
            out = [each for given in told[name] for each in given[last]]
        digest = hashlib.sha256(b"".join(each.tobytes() for each in out)).hexdigest()
        print(took / REPEATS[name], digest, flush=True)  # noqa: T201 - an answer


def child(plugin: Path, *words: str) -> subprocess.Popen:
    """Start this script with the kernel of a plugin folder."""
    paths = os.pathsep.join([str(plugin), str(HERE.parents[1])])
    return subprocess.Popen(
        [sys.executable, HERE, *words], env=os.environ | {"PYTHONPATH": paths},
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip


def ask(server: subprocess.Popen, name: str) -> tuple[float, str]:
    """Return seconds and hash of a round."""
    server.stdin.write(f"{name}\n")
    server.stdin.flush()
    took, digest = server.stdout.readline().split()
    return float(took), digest


def main(others: list[Path]) -> None:
    """Measure, print."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "told"
        mine = HERE.parents[2] / "plugin"
        child(mine, "save", str(path)).wait()
        servers = [child(plugin, "serve", str(path)) for plugin in [mine, *others]]
        for name in REPEATS:
            first = [ask(server, name)[1] for server in servers]  # compiles, or loads
            rounds = [
                [ask(server, name)[0] for server in (servers if k % 2 else servers[::-1])]
                for k in range(ROUNDS)
            ]
            took = 1e3 * np.array([each if k % 2 else each[::-1] for k, each in enumerate(rounds)])
            text = f"{name:6s}" + "".join(
                f" {np.median(each):7.2f} ms (least {each.min():.2f})" for each in took.T
            )
            if others:
                ratio = took[:, 0] / took[:, 1]
                low, mid, high = np.quantile(ratio, [0.1, 0.5, 0.9])
                same = "same bits" if len(set(first)) == 1 else "OTHER NUMBERS"
                text += f", {mid:.3f} of before ({low:.2f} to {high:.2f}), {same}"
            print(text, flush=True)  # noqa: T201 - a script
        for server in servers:
            server.stdin.close()
            server.wait()


if __name__ == "__main__":
    if sys.argv[1:2] in (["save"], ["serve"]):
        {"save": save, "serve": serve}[sys.argv[1]](Path(sys.argv[2]))
    else:
        main([Path(word) for word in sys.argv[1:]])
