"""Many matches over executors and processes: the same answers everywhere."""

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
