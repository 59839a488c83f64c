"""Blocks on a real scheduler with two workers, one of them killed."""

from __future__ import annotations

import json
import threading
import time

import psutil
import pytest
from distributed import Client, LocalCluster

import dewmargin
from dewmargin import cluster
from dewmargin.errors import InputError
from dewmargin.plan import Plan
from dewmargin.reports.folder import verify_folder
from sweep_case import GRID, contents, poisoned, run, sweep_file

MANY = "block = 2\n" + GRID.replace("values = [700, 1100]", "start = 500\nstop = 1500\ncount = 40")


@pytest.fixture(scope="module")
def scheduler():
    """Return a scheduler of this machine with two workers, each a process with one thread."""
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as started:
        yield started


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # of Dask's own, when a worker is killed
def test_a_cluster_writes_the_same_bytes_though_a_worker_is_killed(scheduler, tmp_path) -> None:
    path = sweep_file(tmp_path, MANY)
    dewmargin.sweep(path, tmp_path / "here")
    with Client(scheduler) as client:
        pids = list(client.run(lambda: __import__("os").getpid()).values())
    killed = []

    def kill() -> None:
        until = time.monotonic() + 60.0
        while len(list((tmp_path / "there").glob("dataset/part-*"))) < 5:
            if time.monotonic() > until:
                return
            time.sleep(0.005)
        psutil.Process(pids[0]).kill()
        killed.append(pids[0])

    killer = threading.Thread(target=kill)
    killer.start()
    found = dewmargin.sweep(path, tmp_path / "there", cluster=scheduler.scheduler_address)
    killer.join()

    assert killed == pids[:1]
    assert found.refused == 0
    assert contents(tmp_path / "there") == contents(tmp_path / "here")
    assert verify_folder(tmp_path / "there")
    again = run(path, "--out", tmp_path / "there", "--cluster", scheduler.scheduler_address)
    assert again.returncode == 0, again.stderr
    assert contents(tmp_path / "there") == contents(tmp_path / "here")


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
