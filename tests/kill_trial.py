"""A sweep killed at random again and again ends with the same bytes: `python tests/kill_trial.py`.

`--kills N` (50 by default) kills, without warning, of the command or of the process that it
watches, in turn with one, two and four threads. Each finished sweep is compared with one that
nothing disturbed, by SHA-256; the next begins in an empty folder. Takes some minutes.
"""

from __future__ import annotations

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil

sys.path.insert(0, str(Path(__file__).parent))
from sweep_case import GRID, command, contents, sweep_file

SWEEP = "block = 2\n" + GRID.replace(
    "values = [700, 1100]", "start = 500\nstop = 1500\ncount = 100"
)


def main() -> int:
    """Kill, go on, compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    chance = random.Random(asked.seed)  # noqa: S311 - when to kill, no secret
    folder = Path(tempfile.mkdtemp(prefix="kill-trial-"))
    path = sweep_file(folder, SWEEP)
    subprocess.run(command(path, "--out", folder / "whole"), check=True, stdout=subprocess.DEVNULL)
    expected = contents(folder / "whole")
    kills = finished = 0
    out = folder / "killed"
    while kills < asked.kills:
        process = subprocess.Popen(
            command(path, "--out", out, "--threads", chance.choice((1, 2, 4))),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        wait_for(process, out, chance.randrange(len(expected)))
        time.sleep(chance.uniform(0.0, 0.3))
        of_command = chance.random() < 0.5
        kills += killed(process, of_command=of_command)
        if process.wait() == 0:
            same = contents(out) == expected
            finished += 1
            print(f"{kills} kills, {finished} sweeps finished, the same bytes: {same}", flush=True)  # noqa: T201 - a script
            if not same:
                print(f"kept: {folder}")  # noqa: T201 - idem
                return 1
            shutil.rmtree(out)
    last = subprocess.run(command(path, "--out", out), check=False, stdout=subprocess.DEVNULL)
    same = last.returncode == 0 and contents(out) == expected
    print(f"{kills} kills, {finished + 1} sweeps finished, the same bytes at the last: {same}")  # noqa: T201 - idem
    shutil.rmtree(folder)
    return 0 if same else 1


def wait_for(process: subprocess.Popen, out: Path, parts: int) -> None:
    """Wait until some parts are there, or the process ends."""
    while process.poll() is None and len(list(out.glob("dataset/part-*"))) < parts:
        time.sleep(0.002)


def killed(process: subprocess.Popen, *, of_command: bool) -> bool:
    """Kill a command, or the process that it watches; tell whether there was one to kill."""
    if process.poll() is not None:
        return False
    try:
        worker = psutil.Process(process.pid).children()[0]
        (process if of_command else worker).kill()
        if of_command:
            process.wait()
            worker.wait(30)  # one that watches no more ends by itself
    except (IndexError, psutil.Error):
        return False
    return True


if __name__ == "__main__":
    sys.exit(main())
