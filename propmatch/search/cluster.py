"""Tasks on a running dask cluster: the stock sent once, batches of a second or more, answers as they come.

A batch that a worker takes down with it is run again, a worker that joins takes its share, and where the scheduler is
lost the work ends with how far it got.
"""

import io
import math
import pickle
import time
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from importlib import import_module
from typing import Any, TypeVar

from propmatch.faults import Fault, InputFaults

__all__ = ["PATIENCE_S", "on_cluster"]

T = TypeVar("T")
R = TypeVar("R")

BATCH_S = 1.5
"""What a batch is to take: below a second sending it counts."""
PATIENCE_S = 10.0
"""How long a scheduler may be silent, or without a worker."""
_LOOK_S = 1.0


class _Sender(pickle.Pickler):
    """Leaves out the objects of one kind, which are sent once, and names them by number."""

    def __init__(self, file: io.BytesIO, kind: type, sent: dict[int, int]) -> None:
        super().__init__(file, protocol=5)
        self._kind, self._sent = kind, sent

    def persistent_id(self, obj: object) -> int | None:
        return self._sent.get(id(obj)) if isinstance(obj, self._kind) else None


class _Finder(pickle.Unpickler):
    """Collects those objects."""

    def __init__(self, file: io.BytesIO, sent: Sequence[Any]) -> None:
        super().__init__(file)
        self._sent = sent

    def persistent_load(self, pid: int) -> Any:
        return self._sent[pid]


def _run(work: Callable[[Any], Any], batch: bytes, stocks: Sequence[Any]) -> tuple[list[Any], float]:
    """On a worker: what a function makes of each task of a batch, and the seconds that took."""
    start = time.perf_counter()
    found = [work(task) for task in _Finder(io.BytesIO(batch), stocks).load()]
    return found, time.perf_counter() - start


def on_cluster(
    work: Callable[[T], R],
    tasks: Sequence[T],
    address: str,
    *,
    shared: tuple[type, Sequence[Any]],
    progress: Callable[[int, int], None] | None = None,
) -> tuple[R, ...]:
    """What a function makes of each task, in the order of the tasks.

    Parameters
    ----------
    work : callable of a module
    tasks : sequence
    address : str, of the scheduler
    shared : a class, and the objects of it that tasks hold: they are sent once
    progress : callable, optional, called with tasks answered and in all

    Raises
    ------
    InputFaults
        No scheduler there, or it was lost, or a task takes workers down again and again.
    """
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise _fault(address, "needs the package distributed", "pip install 'propmatch[cluster]'") from None
    try:
        client = distributed.Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise _fault(
            address, f"no scheduler of a dask cluster answers there: {error or type(error).__name__}"
        ) from error
    try:
        return _Share(work, tasks, client, address, shared, progress).run()
    finally:
        client.close(timeout=1.0)


def _fault(address: str, rule: str, hint: str = "") -> InputFaults:
    return InputFaults([Fault("--cluster", value=address, rule=rule, hint=hint)])


class _Share:
    """Tasks on their way."""

    def __init__(
        self, work: Any, tasks: Sequence[Any], client: Any, address: str, shared: tuple[type, Sequence[Any]],
        progress: Callable[[int, int], None] | None,
    ) -> None:  # fmt: skip
        self.work, self.tasks, self.client, self.address, self.progress = work, tasks, client, address, progress
        self.distributed: Any = import_module("distributed")
        self.kind, self.objects = shared
        self.sent: list[Any] | None = None
        self.waiting = deque(range(len(tasks)))
        self.running: dict[Any, list[int]] = {}
        self.found: dict[int, Any] = {}
        self.spent = 0.0
        self.last = time.monotonic()

    def run(self) -> tuple[Any, ...]:
        """All of it."""
        while len(self.found) < len(self.tasks):
            self._send()
            self._hand_out()
            for future in self._ended():
                self._take(future, self.running.pop(future))
            if self._threads():
                self.last = time.monotonic()
            elif time.monotonic() - self.last > PATIENCE_S:
                raise self._lost()
        return tuple(self.found[at] for at in range(len(self.tasks)))

    def _send(self) -> None:
        """The shared objects, once to every worker; again where they were lost with one."""
        if self.sent is not None or not self._threads():
            return
        try:
            self.sent = self.client.scatter(list(self.objects), broadcast=True, hash=False)
        except Exception:  # a worker was lost on the way
            time.sleep(_LOOK_S)

    def _threads(self) -> int:
        """Threads of all workers; 0 where the scheduler does not answer."""
        try:
            return sum(self.client.nthreads().values()) if self.client.status == "running" else 0
        except Exception:  # whatever the network makes of it
            return 0

    def _size(self) -> int:
        """Tasks of the next batch: one at first, then as many as take a batch's time."""
        if not self.found:
            return 1
        each = max(self.spent / len(self.found), 1e-6)
        return math.ceil(BATCH_S / each)

    def _hand_out(self) -> None:
        """Two batches for each thread of a worker: one to run, one to wait."""
        room = 2 * self._threads() - len(self.running) if self.sent is not None else 0
        for _ in range(min(max(room, 0), len(self.waiting))):
            if not self.waiting:
                return
            some = [self.waiting.popleft() for _ in range(min(self._size(), len(self.waiting)))]
            future = self.client.submit(_run, self.work, self._packed(some), self.sent, pure=False)
            self.running[future] = some

    def _packed(self, some: list[int]) -> bytes:
        file = io.BytesIO()
        numbers = {id(obj): at for at, obj in enumerate(self.objects)}
        _Sender(file, self.kind, numbers).dump([self.tasks[at] for at in some])
        return file.getvalue()

    def _ended(self) -> list[Any]:
        """Batches that have ended, well or not; waits a moment for the first."""
        if not self.running:
            time.sleep(0.1)
            return []
        with suppress(Exception):  # time is up, or some are lost: their status says it
            self.distributed.wait(list(self.running), timeout=_LOOK_S, return_when="FIRST_COMPLETED")
        return [future for future in self.running if future.status in ("finished", "error", "cancelled", "lost")]

    def _take(self, future: Any, some: list[int]) -> None:
        """The answers of a batch; one that was lost with what it needs waits again."""
        if future.status == "finished":
            found, seconds = future.result()
            self.found |= dict(zip(some, found, strict=True))
            self.spent += seconds
            if self.progress is not None:
                self.progress(len(self.found), len(self.tasks))
            return
        if future.status == "error":
            error = future.exception()
            if isinstance(error, self.distributed.KilledWorker):
                rule = f"a batch of {len(some)} took down every worker that tried it; {self._how_far}"
                raise _fault(self.address, rule, "give the workers more memory, or name fewer parts")
            if self.client.status == "running" and not isinstance(error, OSError | TimeoutError):
                raise error
        self.waiting.extendleft(reversed(some))
        self.sent = None

    @property
    def _how_far(self) -> str:
        return f"{len(self.found)} of {len(self.tasks)} were answered"

    def _lost(self) -> InputFaults:
        gone = "has no worker left" if self.client.status == "running" else "is lost"
        return _fault(self.address, f"the scheduler {gone}; {self._how_far}", "start it again, and then this")
