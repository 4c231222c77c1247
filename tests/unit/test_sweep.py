"""Many matches over executors, processes and a cluster: the same answers everywhere, a lost worker changes nothing."""

import os
import signal
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from support.random_cases import some_tasks

from propmatch.search.sweep import run_task, sweep


def test_answers_stand_in_the_order_of_the_tasks():
    tasks = some_tasks(12)
    answers = sweep(tasks)
    assert [a.name for a in answers] == [t.name for t in tasks]
    for task, answer in zip(tasks, answers, strict=True):
        assert answer == run_task(task)
        assert answer.combinations == answer.passing + sum(answer.left_out.values())
        scores = [row.score for row in answer.rows]
        assert scores == sorted(scores, reverse=True)
    assert any(a.rows for a in answers)


def test_an_executor_gives_the_same_answers():
    tasks = some_tasks(4)
    with ThreadPoolExecutor(2) as pool:
        assert sweep(tasks, pool) == sweep(tasks)


def test_only_one_place_to_run():
    with ThreadPoolExecutor(1) as pool, pytest.raises(ValueError, match="exclude each other"):
        sweep(some_tasks(1), pool, processes=2)


@pytest.mark.slow
def test_processes_give_the_same_answers():
    tasks = some_tasks(3)
    assert sweep(tasks, processes=2) == sweep(tasks)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_a_lost_worker_changes_nothing():
    distributed = pytest.importorskip("distributed")
    tasks = some_tasks(40, (8, 4, 8, 8))
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        pids = {address: info["pid"] for address, info in client.run(lambda: {"pid": os.getpid()}).items()}
        assert len(set(pids.values())) == 2
        lost = next(iter(pids.values()))
        struck = []

        def strike():
            time.sleep(1.0)
            os.kill(lost, signal.SIGKILL)
            struck.append(time.monotonic())

        killer = threading.Thread(target=strike)
        killer.start()
        answers = sweep(tasks, client.get_executor(pure=False))
        ended = time.monotonic()
        killer.join()
        assert struck[0] < ended, "the worker must be lost while tasks run"
        alive = client.run(os.getpid)
        assert lost not in alive.values()
        by_address = sweep(tasks[:4], cluster=cluster.scheduler_address)
    plain = sweep(tasks)
    assert answers == plain
    assert by_address == plain[:4]
