"""Tasks on a running cluster: the same answers whatever becomes of the workers, and a clear end without a scheduler."""

import json
import os
import pickle
import signal
import subprocess
import sys
import threading
import time

import pytest
from support.random_cases import slowly, some_tasks

from propmatch.faults import InputFaults
from propmatch.search.sweep import run_everywhere, sweep

dask, distributed = pytest.importorskip("dask"), pytest.importorskip("distributed")
pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore")]
TASKS = some_tasks(24, (6, 3, 5, 6))


EXPECTED = tuple((task.name, len(task.stock.motors)) for task in TASKS)


@pytest.fixture
def cluster(monkeypatch):
    """Two workers; a machine under load may take long to connect to itself."""
    monkeypatch.setattr("propmatch.search.cluster.PATIENCE_S", 60.0)
    dask.config.set({"distributed.comm.timeouts.connect": "60s"})
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as running:
        yield running


def pids(cluster):
    """Process of each worker."""
    with distributed.Client(cluster, set_as_default=False) as client:
        return list(client.run(os.getpid).values())


def in_between(cluster, strike):
    """What the cluster answers, struck once the first answers are there; and how far it told to be."""
    told, thread = [], threading.Thread(target=strike)

    def progress(done, total):
        told.append((done, total))
        if len(told) == 3:
            thread.start()

    stocks = [task.stock for task in TASKS]
    found = run_everywhere(slowly, TASKS, cluster=cluster.scheduler_address, stocks=stocks, progress=progress)
    assert len(told) >= 3
    thread.join()
    return found, told


def test_the_answers_are_those_of_this_process_and_come_with_progress(cluster):
    told = []
    answers = sweep(TASKS[:8], cluster=cluster.scheduler_address, progress=lambda *done: told.append(done))
    assert answers == sweep(TASKS[:8])
    assert told == sorted(told)
    assert told[-1] == (8, 8)
    assert len(told) > 1


def test_a_worker_killed_changes_nothing(cluster):
    lost = pids(cluster)[0]
    found, told = in_between(cluster, lambda: os.kill(lost, signal.SIGKILL))
    assert found == EXPECTED
    assert told[-1] == (len(TASKS), len(TASKS))
    assert lost not in pids(cluster)


def test_a_worker_added_changes_nothing(cluster):
    found, _ = in_between(cluster, lambda: cluster.scale(3))
    assert found == EXPECTED


def test_the_stock_is_sent_once(cluster, monkeypatch):
    sent = []
    submit = distributed.Client.submit

    def counted(self, function, *args, **more):
        sent.append(len(pickle.dumps(args[:2])))
        return submit(self, function, *args, **more)

    monkeypatch.setattr(distributed.Client, "submit", counted)
    sweep(TASKS[:8], cluster=cluster.scheduler_address)
    assert sum(sent) < 0.3 * sum(len(pickle.dumps(task)) for task in TASKS[:8])


def test_a_lost_scheduler_ends_it_with_how_far_it_got(tmp_path):
    place = tmp_path / "scheduler.json"
    words = [
        "-m",
        "distributed.cli.dask_scheduler",
        "--host",
        "127.0.0.1",
        "--no-dashboard",
        "--port",
        "0",
        "--scheduler-file",
        str(place),
    ]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    quiet |= {"env": {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}}
    scheduler = subprocess.Popen([sys.executable, *words], **quiet)
    worker = None
    try:
        for _ in range(600):
            if place.exists() and place.read_text(encoding="utf-8").strip():
                break
            time.sleep(0.1)
        words = ["-m", "distributed.cli.dask_worker", "--scheduler-file", str(place), "--nthreads", "1"]
        worker = subprocess.Popen(
            [sys.executable, *words, "--no-dashboard", "--no-nanny", "--host", "127.0.0.1"], **quiet
        )
        address = json.loads(place.read_text(encoding="utf-8"))["address"]
        killed = []

        def progress(done, total):
            if done >= 3 and not killed:
                killed.append(done)
                scheduler.kill()

        with pytest.raises(InputFaults, match=r"(is lost|has no worker left); \d+ of 24 were answered"):
            run_everywhere(slowly, TASKS, cluster=address, stocks=[t.stock for t in TASKS], progress=progress)
        assert killed
    finally:
        for process in (worker, scheduler):
            if process is not None:
                process.kill()
                process.wait()


def test_no_scheduler_is_a_fault_that_says_so(monkeypatch):
    monkeypatch.setattr("propmatch.search.cluster.PATIENCE_S", 1.0)
    with pytest.raises(InputFaults, match="no scheduler of a dask cluster answers there"):
        sweep(TASKS[:1], cluster="tcp://127.0.0.1:9")
