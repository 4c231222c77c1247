"""Many matches over executors and processes: the same answers everywhere."""

from collections import deque
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from types import SimpleNamespace

import pytest
from support.random_cases import some_tasks

from propmatch.faults import InputFaults
from propmatch.search.cluster import _Share
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


class Killed(Exception):
    """As a cluster says that a batch took its workers down."""


@pytest.mark.parametrize(
    ("scheduler", "error", "raised"),
    [
        ("running", ValueError("wrong"), ValueError), ("running", OSError("line"), None),
        ("running", TimeoutError("late"), None), ("closed", ValueError("wrong"), None),
        ("closed", Killed(), InputFaults),
    ],
)  # fmt: skip
def test_what_a_task_raises_is_raised_and_what_was_lost_on_the_way_waits_again(scheduler, error, raised):
    share = object.__new__(_Share)
    share.client, share.distributed = SimpleNamespace(status=scheduler), SimpleNamespace(KilledWorker=Killed)
    share.waiting, share.tasks, share.found, share.address, share.sent = deque([7]), range(8), {}, "nowhere", [1]
    future = SimpleNamespace(status="error", exception=lambda: error)
    with pytest.raises(raised) if raised else nullcontext():
        share._take(future, [3, 4])
    assert (list(share.waiting), share.sent) == (([7], [1]) if raised else ([3, 4, 7], None))


@pytest.mark.slow
def test_processes_give_the_same_answers():
    tasks = some_tasks(3)
    assert sweep(tasks, processes=2) == sweep(tasks)
