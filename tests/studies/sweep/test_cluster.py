"""Blocks on a real scheduler with two workers, one of them killed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

import psutil
import pytest
from distributed import Client, LocalCluster

import dewmargin
from dewmargin.errors import InputError
from dewmargin.reports.folder import verify_folder
from dewmargin.studies.sweep import cluster
from dewmargin.studies.sweep.plan import Plan
from sweep_case import GRID, contents, poisoned, run, sweep_file

if TYPE_CHECKING:
    from pathlib import Path

MANY = "block = 2\n" + GRID.replace("values = [700, 1100]", "start = 500\nstop = 1500\ncount = 15")


@pytest.fixture(scope="module")
def scheduler():
    """Return a scheduler of this machine with two workers, each a process with one thread."""
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as started:
        yield started


@pytest.fixture(scope="module")
def here(tmp_path_factory):
    """Return a sweep's file, and the hashes of its files as this process writes them."""
    folder = tmp_path_factory.mktemp("here")
    path = sweep_file(folder, MANY)
    dewmargin.sweep(path, folder / "here")
    return path, contents(folder / "here")


def kill_when(out: Path, parts: int, pid: int, killed: list[int]) -> threading.Thread:
    """Kill a process as soon as some parts lie in a folder."""

    def kill() -> None:
        until = time.monotonic() + 60.0
        while len(list(out.glob("dataset/part-*"))) < parts:
            if time.monotonic() > until:
                return
            time.sleep(0.005)
        psutil.Process(pid).kill()
        killed.append(pid)

    thread = threading.Thread(target=kill)
    thread.start()
    return thread


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # of Dask's own, when a worker is killed
def test_a_cluster_writes_the_same_bytes_though_a_worker_is_killed(
    scheduler, here, tmp_path
) -> None:
    path, expected = here
    out, killed = tmp_path / "there", []
    with Client(scheduler) as client:
        pids = list(client.run(os.getpid).values())
    killer = kill_when(out, 5, pids[0], killed)

    found = dewmargin.sweep(path, out, cluster=scheduler.scheduler_address)
    killer.join()

    assert killed == pids[:1]
    assert (found.refused, found.solved_blocks) == (0, 30)
    assert contents(out) == expected
    assert verify_folder(out)
    again = run(path, "--out", out, "--cluster", scheduler.scheduler_address)
    assert again.returncode == 0, again.stderr
    assert contents(out) == expected


@contextmanager
def dask_processes(folder: Path):
    """Yield a scheduler's process and address, with one worker beside it."""
    told = folder / f"scheduler-{time.monotonic_ns()}.json"
    module = [sys.executable, "-m", "distributed.cli.dask_scheduler"]
    scheduler = subprocess.Popen(
        [*module, "--port", "0", "--no-dashboard", "--host", "127.0.0.1", "--scheduler-file", told],
        stderr=subprocess.DEVNULL,
    )
    processes = [scheduler]
    try:
        address = address_in(told)
        worker = [sys.executable, "-m", "distributed.cli.dask_worker", address, "--nthreads", "1"]
        processes.append(
            subprocess.Popen(
                [*worker, "--no-nanny", "--no-dashboard", "--death-timeout", "60"],
                stderr=subprocess.DEVNULL,
            )
        )
        yield scheduler, address
    finally:
        for process in reversed(processes):
            process.kill()
            process.wait()


def address_in(file: Path) -> str:
    """Return the address that a scheduler writes into a file when it is ready."""
    until = time.monotonic() + 60.0
    while time.monotonic() < until:
        with suppress(OSError, ValueError):
            return json.loads(file.read_text())["address"]
        time.sleep(0.05)
    raise TimeoutError(file)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # of Dask's own, when a scheduler is killed
def test_a_killed_scheduler_is_told_and_the_same_command_goes_on(here, tmp_path) -> None:
    path, expected = here
    out, killed = tmp_path / "there", []

    with dask_processes(tmp_path) as (process, address):
        killer = kill_when(out, 5, process.pid, killed)
        with pytest.raises(InputError) as caught:
            dewmargin.sweep(path, out, cluster=address)
        killer.join()
    assert killed == [process.pid]
    assert str(caught.value) == (
        "--cluster: the scheduler is gone (start it, and give the same command again: it goes on "
        "where it was)"
    )
    assert not (out / "manifest.json").exists()

    with dask_processes(tmp_path) as (_, address):
        done = dewmargin.sweep(path, out, cluster=address)
    assert 0 < done.solved_blocks <= 25
    assert contents(out) == expected


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # as above
def test_a_case_that_ends_workers_is_set_aside(tmp_path, monkeypatch) -> None:
    """Dask gives such a block up; it is solved here, apart."""
    path = poisoned(tmp_path, "works", "crashes")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path / "site"))
    monkeypatch.syspath_prepend(tmp_path / "site")
    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=None
    ) as started:
        found = dewmargin.sweep(path, tmp_path / "out", cluster=started.scheduler_address)

    assert found.set_aside["reason"].tolist() == ["ended the process with code -9"]
    assert set(found.to_pandas()["case"]) == {0}


def test_what_is_sent_is_plain_text_and_what_comes_back_is_a_name(tmp_path) -> None:
    path = sweep_file(tmp_path)
    plan = Plan(path)
    asked = {
        "sweep": str(path),
        "run": "1",
        "out": str(tmp_path / "out"),
        "block": 3,
        "part": cluster.part_name(plan, plan.block(3)),
    }

    name = cluster.write_block(json.dumps(asked))

    assert name == asked["part"]
    assert [p.name for p in (tmp_path / "out" / "dataset").iterdir()] == [name]


def test_a_worker_with_other_inputs_refuses(tmp_path) -> None:
    path = sweep_file(tmp_path)
    asked = {"sweep": str(path), "run": "2", "out": str(tmp_path / "out"), "block": 0, "part": "x"}

    with pytest.raises(InputError) as caught:
        cluster.write_block(json.dumps(asked))

    assert str(caught.value) == (
        f"{path}: a worker has other inputs or versions than this machine (install the same on "
        "both, and let both see the same files)"
    )


def test_a_scheduler_that_does_not_answer_is_named(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(cluster, "ANSWERS_S", 0.5)

    with pytest.raises(InputError) as caught:
        dewmargin.sweep(sweep_file(tmp_path), tmp_path / "out", cluster="tcp://127.0.0.1:9")

    assert str(caught.value) == (
        "--cluster: no scheduler answers at 'tcp://127.0.0.1:9' (tcp://HOST:PORT)"
    )


def test_without_dask_one_is_told_what_to_install(tmp_path, monkeypatch) -> None:
    def missing(name: str) -> None:
        raise ImportError(name)

    monkeypatch.setattr(cluster, "import_module", missing)

    with pytest.raises(InputError) as caught:
        dewmargin.sweep(sweep_file(tmp_path), tmp_path / "out", cluster="tcp://127.0.0.1:9")

    assert str(caught.value) == (
        "--cluster: needs Dask (install dewmargin[cluster] here and on the workers)"
    )
