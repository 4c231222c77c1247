"""Many matches at once: briefs, sites, over processes or a running cluster; samples stand in :mod:`search.worlds`.

Every task is a match of its own; tasks share nothing, so any executor with ``map`` serves, such as those of
``concurrent.futures``; a running dask cluster (:mod:`search.cluster`) also starts the tasks of a lost worker again.
"""

import signal
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Protocol, TypedDict, TypeVar

import attrs

from propmatch.catalogue.catalogue import Catalogue
from propmatch.records.brief import Brief
from propmatch.records.parts import Controller, Motor, Pack, Propeller
from propmatch.search.cluster import on_cluster
from propmatch.search.matching import match

__all__ = ["Answer", "Executor", "Ranked", "Stock", "Task", "Where", "run_everywhere", "run_task", "sweep"]

T = TypeVar("T")
R = TypeVar("R")
Progress = Callable[[int, int], None]


class Executor(Protocol):
    """What runs the tasks."""

    def map(self, function: Callable[..., Any], /, *tasks: Any) -> Iterable[Any]:
        """The results of a function over tasks, in their order."""


class Where(TypedDict, total=False):
    """Where tasks run, as in :func:`run_everywhere`."""

    executor: Executor | None
    processes: int | None
    cluster: str | None
    progress: Progress | None


@attrs.frozen(kw_only=True, eq=False)
class Stock:
    """The parts of a catalogue alone, so that they can be sent to another process."""

    motors: tuple[Motor, ...]
    controllers: tuple[Controller, ...]
    packs: tuple[Pack, ...]
    propellers: tuple[Propeller, ...]

    @classmethod
    def of(cls, catalogue: Catalogue) -> "Stock":
        """The parts of a catalogue."""
        return cls(
            motors=tuple(catalogue.motors.values()),
            controllers=tuple(catalogue.controllers.values()),
            packs=tuple(catalogue.packs.values()),
            propellers=tuple(catalogue.propellers.values()),
        )

    @property
    def catalogue(self) -> Catalogue:
        """As a catalogue."""
        return Catalogue.of(
            motors=self.motors, controllers=self.controllers, packs=self.packs, propellers=self.propellers
        )


@attrs.frozen(kw_only=True, eq=False)
class Task:
    """One match.

    Attributes
    ----------
    name : str
        What is different about it.
    brief : Brief; stock : Stock
    variant : str or None; top : int; count : bool or None, as in :func:`propmatch.search.matching.match`
    """

    name: str
    brief: Brief
    stock: Stock
    variant: str | None = None
    top: int = 20
    count: bool | None = None


@attrs.frozen(kw_only=True)
class Ranked:
    """One row of an answer."""

    id: str
    cells: int
    score: float
    flight_minutes: float
    thrust_to_weight: float
    all_up_mass_g: float


@attrs.frozen(kw_only=True)
class Answer:
    """What became of a task.

    Attributes
    ----------
    name : str
    combinations : int; passing : int or None
    left_out : dict
    rows : tuple of Ranked, best first
    """

    name: str
    combinations: int
    passing: int | None
    left_out: dict[str, int]
    rows: tuple[Ranked, ...]


def run_task(task: Task) -> Answer:
    """Match one task."""
    found = match(task.brief, task.stock.catalogue, top=task.top, variant=task.variant, count=task.count, on_paper=True)
    names = [a.name for a in attrs.fields(Ranked)]
    return Answer(
        name=task.name,
        combinations=found.combinations,
        passing=found.passing,
        left_out=found.left_out,
        rows=tuple(Ranked(**{name: getattr(row, name) for name in names}) for row in found.rows),
    )


def sweep(
    tasks: Sequence[Task],
    executor: Executor | None = None,
    *,
    processes: int | None = None,
    cluster: str | None = None,
    progress: Progress | None = None,
) -> tuple[Answer, ...]:
    """Match every task; answers in the order of the tasks, the same wherever they run.

    Parameters
    ----------
    tasks : sequence of Task
    executor, processes, cluster, progress : as in :func:`run_everywhere`

    Raises
    ------
    ValueError
        More than one of executor, processes and cluster.
    """
    return run_everywhere(
        run_task, tasks, executor, processes=processes, cluster=cluster, stocks=[t.stock for t in tasks],
        progress=progress,
    )  # fmt: skip


def run_everywhere(
    work: Callable[[T], R],
    tasks: Sequence[T],
    executor: Executor | None = None,
    *,
    processes: int | None = None,
    cluster: str | None = None,
    stocks: Sequence[Stock] = (),
    progress: Progress | None = None,
) -> tuple[R, ...]:
    """What a function makes of each task, in the order of the tasks.

    Parameters
    ----------
    work : callable of a module
    tasks : sequence
    executor : anything with ``map``, optional
        Such as a ``concurrent.futures`` executor or ``client.get_executor()`` of a dask client.
    processes : int, optional
        Processes of this machine to start, instead of an executor.
    cluster : str, optional
        Address of a running dask scheduler, instead of an executor; needs the ``distributed`` package.
    stocks : sequence of Stock, optional
        Those that the tasks hold, which a cluster is sent once.
    progress : callable, optional
        Called with tasks answered and in all.

    Raises
    ------
    ValueError
        More than one of executor, processes and cluster.
    InputFaults
        The cluster cannot be reached, or is lost.
    """
    if sum(x is not None for x in (executor, processes, cluster)) > 1:
        raise ValueError("executor, processes and cluster exclude each other")
    if cluster is not None:
        once = list({id(stock): stock for stock in stocks}.values())
        return on_cluster(work, tasks, cluster, shared=(Stock, once), progress=progress)
    if processes is not None:
        return _in_processes(work, tasks, processes, progress)
    if executor is not None:
        return _told(executor.map(work, list(tasks)), len(tasks), progress)
    return _told(map(work, tasks), len(tasks), progress)


def _in_processes(
    work: Callable[[T], R], tasks: Sequence[T], processes: int, progress: Progress | None
) -> tuple[R, ...]:
    """In processes of this machine, which end at once when this one does not wait for them to the end."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import active_children, get_context

    others = {child.pid for child in active_children()}
    pool = ProcessPoolExecutor(processes, mp_context=get_context("spawn"), initializer=_left_to_the_parent)
    try:
        with _inherited_quiet():
            found = pool.map(work, tasks)
        return _told(found, len(tasks), progress)
    except BaseException:
        for child in active_children():
            if child.pid not in others:
                child.kill()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def _left_to_the_parent() -> None:
    """Ctrl-C in a terminal reaches every process: the first one alone decides."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def _inherited_quiet() -> Iterator[None]:
    """Hold back an interrupt while processes start, which do so too until they can ignore it; where there is a way."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _told(found: Iterable[R], total: int, progress: Progress | None) -> tuple[R, ...]:
    """The results as they come."""
    out: list[R] = []
    for each in found:
        out.append(each)
        if progress is not None:
            progress(len(out), total)
    return tuple(out)
