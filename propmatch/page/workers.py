"""Processes with a desk of their own, for what takes its time: one question at a time, the newest of a page wins.

A question that nobody waits for any more is dropped: the process is told, and ended where it does not listen in time.
A process that ended is begun again, and what it was at is asked of it once more.
"""

import contextlib
import os
import signal
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from itertools import count
from multiprocessing import get_context, parent_process
from multiprocessing.connection import Connection
from typing import Any, Protocol

import attrs

from propmatch.page.desk import Desk, Dropped

__all__ = ["Ended", "Here", "Job", "Runner", "Worker"]

_GRACE_S = 1.5
"""How long a process may go on with what nobody waits for."""
_EVERY_S = 0.2
"""How often it is told how far something is."""
_TRIES = 2
"""How often a question is put before it counts as what ends the process."""


class Ended(Exception):
    """Nobody answers any more."""


@attrs.define(eq=False)
class Job:
    """A question under way.

    Attributes
    ----------
    what : str
    page : str
        Which page asked; empty for none.
    sent : object
    done : Future
        The answer; :class:`propmatch.page.desk.Dropped` where it was given up.
    doing, share
        What is being done now, and which share of it.
    """

    what: str
    page: str
    sent: Any
    ticket: int
    done: "Future[dict[str, Any]]" = attrs.field(factory=Future)
    doing: str = ""
    share: float | None = None
    tries: int = 0
    dropped: bool = False

    def end(self, answer: dict[str, Any] | Exception) -> None:
        """Give the answer, unless there is one already."""
        if not self.done.done():
            (self.done.set_exception if isinstance(answer, Exception) else self.done.set_result)(answer)  # type: ignore[arg-type]


class Runner(Protocol):
    """Whatever answers long questions."""

    def submit(self, what: str, sent: Any, page: str = "") -> Job:
        """Put a question; an older one of the same page is given up."""

    def drop(self, job: Job) -> None:
        """Give a question up."""

    def doing(self, page: str) -> list[Job]:
        """What is under way or waits, of a page."""

    def close(self) -> None:
        """End everything."""


class Here:
    """Answers in a thread of this process, for want of another.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk) -> None:
        self._desk, self._one, self._lock = desk, threading.Lock(), threading.Lock()
        self._jobs: dict[int, Job] = {}
        self._tickets = count(1)

    def submit(self, what: str, sent: Any, page: str = "") -> Job:
        job = Job(what, page, sent, next(self._tickets))
        with self._lock:
            older = [each for each in self._jobs.values() if page and each.page == page]
            self._jobs[job.ticket] = job
        for each in older:
            self.drop(each)
        threading.Thread(target=self._run, args=(job,), daemon=True).start()
        return job

    def drop(self, job: Job) -> None:
        job.dropped = True
        job.end(Dropped())

    def doing(self, page: str) -> list[Job]:
        with self._lock:
            return [each for each in self._jobs.values() if each.page == page and not each.done.done()]

    def close(self) -> None:
        for job in list(self._jobs.values()):
            job.dropped = True
            job.end(Ended())

    def _run(self, job: Job) -> None:
        def tell(doing: str, share: float | None) -> None:
            if job.dropped:
                raise Dropped
            job.doing, job.share = doing, share

        try:
            with self._one:
                job.end(self._desk.answer(job.what, job.sent, tell))
        except Exception as error:
            job.end(error)
        finally:
            with self._lock:
                self._jobs.pop(job.ticket, None)


class Worker:
    """One other process.

    Parameters
    ----------
    opening : callable
        Makes its desk, there; can be pickled.
    """

    def __init__(self, opening: Callable[[], Desk]) -> None:
        self._opening = opening
        self._lock = threading.RLock()
        self._tickets = count(1)
        self._waiting: list[Job] = []
        self._job: Job | None = None
        self._closed = False
        self._mute = 0
        self._begin()

    @property
    def pid(self) -> int | None:
        """Of the process."""
        return self._process.pid

    def submit(self, what: str, sent: Any, page: str = "") -> Job:
        with self._lock:
            job = Job(what, page, sent, next(self._tickets))
            older = [each for each in [*self._waiting, self._job] if each is not None and page and each.page == page]
            self._waiting.append(job)
            for each in older:
                self.drop(each)
            if self._closed:
                job.end(Ended())
            elif self._mute > _TRIES:
                self._begin()
            self._next()
        return job

    def drop(self, job: Job) -> None:
        with self._lock:
            job.dropped = True
            job.end(Dropped())
            if job in self._waiting:
                self._waiting.remove(job)
            elif job is self._job:
                with contextlib.suppress(OSError):
                    self._pipe.send(("drop", job.ticket))
                late = threading.Timer(_GRACE_S, self._kill_at, (job,))
                late.daemon = True
                late.start()

    def doing(self, page: str) -> list[Job]:
        with self._lock:
            every = [*([self._job] if self._job else []), *self._waiting]
            return [each for each in every if each.page == page and not each.done.done()]

    def close(self) -> None:
        with self._lock:
            self._closed = True
            self._process.kill()
            for job in [*self._waiting, self._job]:
                if job is not None:
                    job.end(Ended())

    def _begin(self) -> None:
        """Start the process and listen to it."""
        processes = get_context("spawn")
        self._pipe, theirs = processes.Pipe()
        self._process = processes.Process(target=_work, args=(theirs, self._opening), daemon=True)
        self._process.start()
        theirs.close()
        threading.Thread(target=self._listen, args=(self._pipe,), daemon=True).start()

    def _next(self) -> None:
        """Put the next question; under the lock."""
        if self._job is None and self._waiting and not self._closed:
            self._job = self._waiting.pop(0)
            self._job.tries += 1
            with contextlib.suppress(OSError):  # it has just died: the listener puts it again
                self._pipe.send(("ask", self._job.ticket, self._job.what, self._job.sent))

    def _listen(self, pipe: Connection) -> None:
        with contextlib.suppress(EOFError, OSError):
            while True:
                self._heard(*pipe.recv())
        with self._lock:
            pipe.close()
            job, self._job = self._job, None
            if self._closed:
                return
            if job is not None and not job.dropped:
                if job.tries < _TRIES:
                    self._waiting.insert(0, job)
                else:
                    job.end(RuntimeError(f"the process that was at it ({job.what}) ended twice"))
            self._mute += 1
            if self._mute <= _TRIES:
                self._begin()
                self._next()
                return
            for each in self._waiting:
                each.end(RuntimeError("the process that answers ends as soon as it begins"))
            self._waiting.clear()

    def _heard(self, ticket: int, doing: str | None, said: Any) -> None:
        with self._lock:
            job, self._mute = self._job, 0
            if job is None or job.ticket != ticket:
                return
            if doing is not None:
                job.doing, job.share = doing, said
                return
            self._job = None
            self._next()
        job.end(said)

    def _kill_at(self, job: Job) -> None:
        with self._lock:
            if self._job is job:
                self._process.kill()


class _Inbox:
    """What the server says to its worker."""

    def __init__(self, pipe: Connection) -> None:
        self.pipe = pipe
        self.asked: tuple[int, str, Any] | None = None
        self.dropped = 0

    def look(self) -> None:
        """Take in what has come."""
        while self.pipe.poll():
            self.take()

    def stop_when_asked(self) -> None:
        """End what is only prepared, for a question that has come."""
        self.look()
        if self.asked is not None:
            raise Dropped

    def take(self) -> None:
        """Take in the next word, waiting for it. What is given up before it was begun is answered as such."""
        kind, ticket, *more = self.pipe.recv()
        if kind == "ask":
            self.asked = (ticket, more[0], more[1])
        elif self.asked is not None and self.asked[0] == ticket:
            self.asked = None
            self.pipe.send((ticket, None, Dropped()))
        else:
            self.dropped = ticket


def _work(pipe: Connection, opening: Callable[[], Desk]) -> None:
    """The life of a worker: answer, prepare the next answer, wait. The server decides when it ends, however it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_the_server, daemon=True).start()
    desk, inbox = opening(), _Inbox(pipe)
    with contextlib.suppress(EOFError, OSError):
        while True:
            while inbox.asked is None:
                inbox.take()
            (ticket, what, sent), inbox.asked = inbox.asked, None
            pipe.send((ticket, None, _answered(desk, inbox, ticket, what, sent)))
            if what == "map":
                with contextlib.suppress(Dropped):
                    desk.prepare(inbox.stop_when_asked)


def _answered(desk: Desk, inbox: _Inbox, ticket: int, what: str, sent: Any) -> dict[str, Any] | Exception:
    last, told = 0.0, ""

    def tell(doing: str, share: float | None) -> None:
        nonlocal last, told
        inbox.look()
        if inbox.dropped == ticket:
            raise Dropped
        now = time.monotonic()
        if doing != told or now - last > _EVERY_S:
            last, told = now, doing
            inbox.pipe.send((ticket, doing, share))

    try:
        return desk.answer(what, sent, tell)
    except (EOFError, OSError):
        raise
    except Exception as error:
        return error if isinstance(error, Dropped) else RuntimeError(f"{type(error).__name__}: {error}")


def _end_with_the_server() -> None:
    server = parent_process()
    if server is not None:
        server.join()
        os._exit(0)
