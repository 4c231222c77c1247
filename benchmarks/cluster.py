"""What more workers of a cluster on this machine bring: the same tasks on 1, 2 and 4 of them, where the cores exist.

    python benchmarks/cluster.py [--tasks 32] [--smoke]

A task judges every combination of a third of the bundled parts for one brief at a field of its own, one by one, some
0.3 s of work; `propmatch.search.cluster` sends the parts once and hands tasks out in batches. Wall time counts from the
first batch to the last answer, so the machine must be quiet. Spread is the CPU time of all workers over that of the
busiest: the gain where each has a core to itself, whatever else runs. Aims: 1.7 x with two, 3 x with four. Answers are
compared with those of one worker. Says so and ends where ``distributed`` is not installed.
"""

import argparse
import os
import time
from importlib.util import find_spec
from typing import Any

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")

from propmatch.cache import VARIABLE
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.commands.briefs import open_brief
from propmatch.records.fields import replace
from propmatch.search.matching import match
from propmatch.search.sweep import Stock, Task, run_everywhere

WORKERS = (1, 2, 4)
BRIEF = "wetland_logger"


def judged(task: Task) -> tuple[str, int | None, tuple[tuple[str, float], ...]]:
    """What passes of a task, and the best, every combination judged."""
    found = match(task.brief, task.stock.catalogue, top=task.top, on_paper=True, exhaustive=True)
    return task.name, found.passing, tuple((row.id, row.score) for row in found.rows)


def tasks_of(count: int, share: int) -> list[Task]:
    """One brief at so many heights, with one part of so many."""
    brief, catalogue = open_brief(BRIEF, ())[0], load_catalogue()
    kinds = {
        kind: tuple(getattr(catalogue, kind).values())[::share] for kind in ("motors", "controllers", "propellers")
    }
    stock = Stock(packs=tuple(p for p in catalogue.packs.values() if p.cells_series in (2, 3))[::share], **kinds)
    fields = [replace(brief, site=replace(brief.site, altitude_m=25.0 * at)) for at in range(count)]
    return [Task(name=f"{each.site.altitude_m:g} m", brief=each, stock=stock, top=5) for each in fields]


def measured(workers: int, tasks: list[Task]) -> tuple[float, list[float], Any]:
    """Wall seconds, CPU seconds of each worker, and the answers."""
    from distributed import Client, LocalCluster

    quiet = {"n_workers": workers, "threads_per_worker": 1, "processes": True, "dashboard_address": None}
    with LocalCluster(**quiet) as cluster, Client(cluster) as client:
        client.run(__import__, "propmatch.search.matching")
        before, start = client.run(time.process_time), time.perf_counter()
        found = run_everywhere(judged, tasks, cluster=cluster.scheduler_address, stocks=[task.stock for task in tasks])
        wall, after = time.perf_counter() - start, client.run(time.process_time)
    return wall, [after[each] - before[each] for each in after], found


def main() -> None:
    """Print a line for each number of workers."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--tasks", type=int, default=32)
    asked.add_argument("--smoke", action="store_true", help="two workers, four small tasks")
    given = asked.parse_args()
    if find_spec("distributed") is None:
        print("skipped: no distributed; pip install 'propmatch[cluster]'")
        return
    os.environ[VARIABLE] = ""
    cores = len(os.sched_getaffinity(0))
    tasks = tasks_of(4, 12) if given.smoke else tasks_of(given.tasks, 3)
    first: tuple[float, Any] | None = None
    print(f"{len(tasks)} tasks on {cores} cores, load {os.getloadavg()[0]:.1f}")
    print(f"{'workers':>7} {'wall s':>8} {'CPU s':>8} {'gain':>6} {'spread':>7}")
    for workers in (2,) if given.smoke else (n for n in WORKERS if n <= cores):
        wall, cpu, found = measured(workers, tasks)
        first = first or (wall, found)
        assert found == first[1], "other answers"
        print(f"{workers:7} {wall:8.1f} {sum(cpu):8.1f} {first[0] / wall:6.2f} {sum(cpu) / max(cpu):7.2f}", flush=True)


if __name__ == "__main__":
    main()
