"""Runs generators in a process of its own, and keeps what goes wrong: exceptions, deaths, hangs, misreadings."""

import collections
import contextlib
import io
import multiprocessing
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

__all__ = ["Fuzzer", "Hang", "Misread", "Reader", "Tally", "Trial", "attempt", "readers_by_name"]

MOST_SECONDS, SILENT_SECONDS, MOST_MEMORY = 5.0, 120.0, 6 << 30
_CHUNK_SECONDS, _EXAMPLES = 2.0, 3


class Misread(Exception):
    """A number was taken that nobody would read there."""


class Hang(BaseException):
    """More CPU time than any input may take."""


class Trial:
    """One input in the making: where its chances come from, a folder for files, and what is shown of it."""

    def __init__(self, rng: Random, folder: Path) -> None:
        self.rng, self.folder = rng, folder
        self.shown: list[str] = []
        self.judged = 0

    def show(self, what: object) -> None:
        self.shown.append(what if isinstance(what, str) else repr(what))

    def file(self, name: str, content: bytes | str) -> Path:
        """A file of the trial; one with the same name is replaced."""
        path = self.folder / name
        path.write_bytes(content.encode("utf-8", errors="replace") if isinstance(content, str) else content)
        self.show(content)
        return path


class Reader(NamedTuple):
    """One way in: ``run`` makes an input, hands it over and judges what comes back; ``share`` of all inputs."""

    name: str
    run: Callable[[Trial], None]
    share: float = 1.0


class Finding(NamedTuple):
    """What went wrong with an input, and the place that says whether two are the same."""

    kind: str
    place: str
    words: str


class Tally:
    """How many inputs a reader had, their CPU time, and what was found."""

    def __init__(self) -> None:
        self.inputs, self.seconds, self.judged = 0, 0.0, 0
        self.count: collections.Counter[tuple[str, str]] = collections.Counter()
        self.examples: dict[tuple[str, str], list[str]] = collections.defaultdict(list)

    def add(self, finding: Finding, example: str) -> None:
        key = finding[:2]
        self.count[key] += 1
        if len(self.examples[key]) < _EXAMPLES:
            self.examples[key].append(f"{example}  {finding.words}")


def readers_by_name(readers: Iterable[Reader]) -> dict[str, Reader]:
    return {each.name: each for each in readers}


def _late(*_: object) -> None:
    raise Hang


@contextlib.contextmanager
def _bounded() -> Iterator[None]:
    """More than ``MOST_SECONDS`` of CPU raise ``Hang``."""
    signal.signal(signal.SIGPROF, _late)
    signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)


def attempt(reader: Reader, trial: Trial) -> Finding | None:
    """Run one trial; what went wrong, if anything did."""
    try:
        with _bounded(), contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            reader.run(trial)
    except Misread as error:
        words = str(error)
        return Finding("misread", words.split(":")[0], words)
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        kind = "hang" if isinstance(error, Hang) else "exception"
        frames = [each for each in traceback.extract_tb(error.__traceback__) if f"{os.sep}propmatch" in each.filename]
        last = frames[-1] if frames else traceback.extract_tb(error.__traceback__)[-1]
        place = f"{type(error).__name__} at {Path(last.filename).name}:{last.lineno}"
        return Finding(kind, place, " ".join(str(error).split())[:200])
    return None


def trial_of(name: str, seed: int, number: int, folder: Path) -> Trial:
    """The trial with a number: always the same."""
    return Trial(Random(f"{name}:{seed}:{number}"), folder)


def _work(reader: Reader, seed: int, first: int, most: int, seconds: float, at: Any, pipe: Any) -> None:
    """Some trials of one reader, as many as fit into so much CPU time; what is found goes through the pipe."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    sys.setrecursionlimit(1000)
    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    os.environ["PROPMATCH_CACHE"] = ""
    os.chdir(folder)
    sink = os.open(os.devnull, os.O_WRONLY)
    os.dup2(sink, 2)
    start, number, judged = time.process_time(), first, 0
    try:
        while number < first + most and time.process_time() - start < seconds:
            at.value = number
            trial = trial_of(reader.name, seed, number, folder)
            found = attempt(reader, trial)
            judged += trial.judged
            if found is not None:
                pipe.send((number, found))
            number += 1
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    pipe.send((number, (time.process_time() - start, judged)))


class Fuzzer:
    """All readers in turn, in chunks of CPU time; every chunk is a process, so that none outlives what it breaks."""

    def __init__(self, readers: Iterable[Reader], seed: int) -> None:
        self.readers, self.seed = list(readers), seed
        self.tallies = {each.name: Tally() for each in self.readers}
        self.next = dict.fromkeys(self.tallies, 0)

    def run(self, *, seconds: float = float("inf"), until: float = float("inf"), inputs: float = float("inf")) -> None:
        """Until so much CPU time, that wall clock, or that many inputs are used; each reader its share."""
        whole = sum(each.share for each in self.readers)
        open_readers = list(self.readers)
        while open_readers and time.time() < until:
            spent = sum(each.seconds for each in self.tallies.values())
            if spent >= seconds:
                return
            for reader in list(open_readers):
                left = inputs * reader.share / whole - self.tallies[reader.name].inputs
                if left < 1:
                    open_readers.remove(reader)
                    continue
                most = int(min(left, 1e9))
                share = seconds / len(self.readers) - self.tallies[reader.name].seconds
                if share <= 0:
                    open_readers.remove(reader)
                    continue
                self._chunk(reader, most, min(share, _CHUNK_SECONDS if inputs == float("inf") else 20.0))

    def _chunk(self, reader: Reader, most: int, seconds: float) -> None:
        tally, first = self.tallies[reader.name], self.next[reader.name]
        context = multiprocessing.get_context("fork")
        at, (here, there) = context.Value("q", first), context.Pipe(duplex=False)
        child = context.Process(target=_work, args=(reader, self.seed, first, most, seconds, at, there))
        child.start()
        there.close()
        done = self._listen(reader, here, at, tally)
        if not done:
            child.kill() if child.is_alive() else None
            child.join()
            words = f"the process ended with {child.exitcode}"
            tally.add(Finding("abort", "process", words), f"{reader.name}:{self.seed}:{at.value}")
            self._used(reader, at.value + 1, 0.0)
        child.join()

    def _listen(self, reader: Reader, pipe: Any, at: Any, tally: Tally) -> bool:
        last, since = at.value, time.time()
        while True:
            if pipe.poll(1.0):
                since = time.time()
                try:
                    number, found = pipe.recv()
                except EOFError:
                    return False
                if not isinstance(found, Finding):
                    self._used(reader, number, *found)
                    return True
                tally.add(found, f"{reader.name}:{self.seed}:{number}")
            elif at.value != last:
                last, since = at.value, time.time()
            elif time.time() - since > SILENT_SECONDS:
                return False

    def _used(self, reader: Reader, next_number: int, seconds: float, judged: int = 0) -> None:
        self.tallies[reader.name].judged += judged
        self.tallies[reader.name].inputs += next_number - self.next[reader.name]
        self.tallies[reader.name].seconds += seconds
        self.next[reader.name] = next_number

    @property
    def findings(self) -> int:
        return sum(sum(each.count.values()) for each in self.tallies.values())

    def table(self) -> str:
        """Inputs, CPU time and findings of every reader."""
        kinds = ("exception", "abort", "hang", "misread")
        lines = [
            f"{'reader':<14}{'inputs':>10}{'judged':>11}{'ms each':>9}" + "".join(f"{kind + 's':>12}" for kind in kinds)
        ]
        for name, tally in self.tallies.items():
            each = 1e3 * tally.seconds / max(1, tally.inputs)
            found = [sum(n for (kind, _), n in tally.count.items() if kind == of) for of in kinds]
            lines.append(
                f"{name:<14}{tally.inputs:>10,}{tally.judged:>11,}{each:>9.2f}" + "".join(f"{n:>12}" for n in found)
            )
        inputs, judged = (sum(getattr(each, of) for each in self.tallies.values()) for of in ("inputs", "judged"))
        lines.append(f"{'all':<14}{inputs:>10,}{judged:>11,}")
        for tally in self.tallies.values():
            for (kind, place), count in tally.count.most_common():
                lines.append(f"{kind}, {count} times: {place}")
                lines += [f"    {example}" for example in tally.examples[kind, place]]
        return "\n".join(lines)
