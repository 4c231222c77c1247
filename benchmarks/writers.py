"""Every writer of a file, killed at random moments, on a full disk, in a folder that cannot be written and over a file
that is there: ``python benchmarks/writers.py [--kills N] [--only WRITER] [--smoke]``.

Each writes in a process of its own that is begun by fork, so that a kill costs little. Of every file the old content or
the new must be left, whole. The disk is full by a limit on the size of a file and, where the superuser asks, by a file
system in memory that is filled beforehand.
"""

import argparse
import io
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import redirect_stdout, suppress
from pathlib import Path
from random import Random

import attrs

from propmatch.cli import propmatch
from propmatch.files import write_file, write_files

OLD = b"# old\n"
_MOTOR = "outrunner 2104 2130kV 18g"
_TRAIN = ("--motor", "1500kV 28g", "--propeller", "6x4", "--pack", "2S 450mAh 35C")
_NOBODY = 65534
_LIMIT_BYTES = 64


def command(*words: str) -> int:
    """Run the command line here; its exit code."""
    try:
        propmatch(list(words), prog_name="propmatch")
    except SystemExit as ended:
        return ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    return 0


def _add(folder: Path, force: bool) -> int:
    from propmatch.catalogue.ownparts import add_parts
    from propmatch.records.parts import Motor

    add_parts([("motors", Motor(name="new", kv_rpm_per_v=900, mass_g=30))], "mine", folder, force=force)
    return 0


def _keep(folder: Path, force: bool) -> int:
    from propmatch.catalogue.ownparts import keep_parts
    from propmatch.models.tables import CoefficientTable
    from propmatch.records.parts import Motor, Propeller

    table = CoefficientTable(rpm=[5000], advance_ratio=[0.0, 0.5], ct=[[0.1, 0.05]], cp=[[0.04, 0.03]])
    blades = Propeller(name="new blades", diameter_in=6, pitch_in=4, table=table)
    keep_parts({"motors": [Motor(name="new", kv_rpm_per_v=900, mass_g=30)], "propellers": [blades]}, "new", folder,
               force=force)  # fmt: skip
    return 0


def _page(folder: Path, force: bool) -> int:
    from propmatch.page.server import saving_in

    return 0 if saving_in(folder)("brief.toml", "a = 1\n" * 2000, force) else 2


def _cache(folder: Path, force: bool) -> int:
    from propmatch import cache

    os.environ[cache.VARIABLE] = str(folder)
    cache.kept("kind", "name", lambda: [1.5] * 3000, write=lambda made: made, read=lambda told: list(map(float, told)))
    return 0


def _picture(folder: Path, force: bool) -> int:
    from propmatch.sheet.picture import Picture, Table

    def draw(figure: object) -> None:
        figure.subplots().plot([0, 1])  # type: ignore[attr-defined]

    Picture(name="x", title="x", summary="x", table=Table.of([{"x": 1}]), draw=draw).save(folder / "x.svg", force=force)
    return 0


def _tables(folder: Path, force: bool) -> int:
    from propmatch_datasets import generate

    generate.main(folder)
    return 0


def _knowledge(folder: Path, force: bool) -> int:
    from propmatch_plugins.prediction.knowledge import bundled_knowledge

    bundled_knowledge().save(folder)
    return 0


def _of(*words: str) -> Callable[[Path, bool], int]:
    """A command; ``FOLDER`` in its words is where it writes."""

    def run(folder: Path, force: bool) -> int:
        given = [word.replace("FOLDER", str(folder)) for word in words]
        return command(*given, *(["--force"] if force else []))

    return run


@attrs.frozen
class Writer:
    """Something that writes files into a folder.

    Attributes
    ----------
    write : callable
        Of the folder and whether files may be replaced; answers an exit code.
    old : mapping of str to bytes
        What must stand in a file before for the writer to know it, where that is not anything.
    asks : bool
        Whether it refuses to replace a file without being told to; the others replace what is their own.
    """

    write: Callable[[Path, bool], int]
    old: Mapping[str, bytes] = attrs.field(factory=dict)
    asks: bool = True


_NEW = ("--name", "x", "--bare-mass", "300", "--all-up-mass", "420", "--like", "trainer", "--minutes", "8")
LIGHT: dict[str, Writer] = {
    "schema -o": Writer(_of("schema", "-o", "FOLDER/brief.json")),
    "parts --template, folder": Writer(_of("parts", "--template", "FOLDER")),
    "parts --add --save": Writer(
        _add, {"mine/added.toml": b'[[motors]]\nname = "old"\nkv_rpm_per_v = 700\nmass_g = 50\n'}, asks=False
    ),
    "fit --save": Writer(_keep),
    "a picture": Writer(_picture),
    "the page's save": Writer(_page),
    "kept answers": Writer(_cache, asks=False),
}
HEAVY: dict[str, Writer] = {
    "parts --template, .toml": Writer(_of("parts", "--template", "FOLDER/mine.toml")),
    "parts --template, .xlsx": Writer(_of("parts", "--template", "FOLDER/mine.xlsx")),
    "new": Writer(_of("new", "FOLDER/brief.toml", *_NEW)),
    "parts --drawing": Writer(_of("parts", "--which-family", "5x4.5x3", "--drawing", "FOLDER/blades.svg")),
    "point --plot": Writer(_of("point", *_TRAIN, "--plot", "FOLDER/chart.png")),
    "time --plot": Writer(_of("time", "schoolyard_trainer", "--plot", "FOLDER/chart.pdf")),
    "cells --plot": Writer(_of("cells", "schoolyard_trainer", "--plot", "FOLDER/chart.svg")),
    "bench --template": Writer(_of("bench", *_TRAIN, "--template", "FOLDER/log.csv")),
    "flown --output": Writer(
        _of("flown", "schoolyard_trainer", "--minutes", "9", "--mah", "500", "--output", "FOLDER/lines.toml")
    ),
    "match --shopping": Writer(_of("match", "schoolyard_trainer", "--only", "bundled", "--shopping", "FOLDER/l.csv")),
    "sheet --pdf --plot": Writer(
        _of("sheet", "wetland_logger", "-o", "FOLDER/s.html", "--pdf", "--plot", "FOLDER/views.svg")
    ),
    "bundled tables": Writer(_tables, asks=False),
    "prediction's tables": Writer(_knowledge, asks=False),
}


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder but temporary ones."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*"))
            if path.is_file() and not _is_temporary(path)}  # fmt: skip


def temporary(folder: Path) -> list[Path]:
    """Temporary files that were left."""
    return [path for path in folder.rglob("*") if path.is_file() and _is_temporary(path)]


def _is_temporary(path: Path) -> bool:
    return path.name.startswith(".propmatch-") and path.name.endswith(".part")


@attrs.frozen
class Ended:
    """How a process ended: its exit code, None where it was killed, and what it printed on standard error."""

    code: int | None
    err: str


def child(work: Callable[[], int], kill_after_s: float | None = None) -> Ended:
    """Do some work in a process of its own, killed after a while."""
    reading, writing = os.pipe()
    pid = os.fork()
    if not pid:
        os.close(reading)
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 1)
        os.dup2(writing, 2)
        sys.stdout, sys.stderr = open(1, "w", closefd=False), open(2, "w", closefd=False)  # noqa: SIM115
        code = 70
        try:
            code = work()
        except BaseException as error:
            sys.stderr.write(f"{type(error).__name__}: {error}\n")
        finally:
            sys.stderr.flush()
            os._exit(code)
    os.close(writing)
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        os.kill(pid, signal.SIGKILL)
    with open(reading, encoding="utf-8", errors="replace") as pipe:
        err = pipe.read()
    _, status = os.waitpid(pid, 0)
    return Ended(os.waitstatus_to_exitcode(status) if os.WIFEXITED(status) else None, err)


@attrs.frozen
class Case:
    """A writer in a folder, with what it writes there."""

    writer: Writer
    folder: Path
    new: dict[str, bytes]
    took_s: float

    @classmethod
    def of(cls, writer: Writer, folder: Path) -> "Case":
        """Write once to see what it writes, over what it must know."""
        _put(folder, writer.old)
        with redirect_stdout(io.StringIO()):
            for _ in range(2):  # what it imports and remembers, it has before it is forked
                writer.write(folder, True)
        _clear(folder)
        _put(folder, writer.old)
        start = time.perf_counter()
        done = child(lambda: writer.write(folder, True))
        took = time.perf_counter() - start
        assert done.code in (0, 1), done.err
        return cls(writer, folder, contents(folder), took)

    @property
    def old(self) -> dict[str, bytes]:
        return {name: self.writer.old.get(name, OLD) for name in self.new}

    def put_old(self) -> None:
        """As it was before."""
        _clear(self.folder)
        _put(self.folder, self.old)

    def whole(self) -> bool:
        """Whether every file holds what it held or what was to be written."""
        found = contents(self.folder)
        return found.keys() == self.new.keys() and all(
            content in (self.old[name], self.new[name]) or _sound(name, content) for name, content in found.items()
        )

    def unchanged(self) -> bool:
        """Whether every file holds what it held, and nothing else is there."""
        return contents(self.folder) == self.old and not temporary(self.folder)

    # ------------------------------------------------------------ what may happen

    def killed(self, draw: Random) -> bool:
        """Kill it at a random moment, more often near its end; whether it had begun to write."""
        self.put_old()
        child(lambda: self.writer.write(self.folder, True), draw.triangular(0.0, 1.2 * self.took_s, self.took_s))
        assert self.whole(), f"half a file in {self.folder}"
        return contents(self.folder) != self.old or bool(temporary(self.folder))

    def on_a_full_disk(self) -> str:
        """With no file longer than some bytes."""
        self.put_old()

        def work() -> int:
            resource.setrlimit(resource.RLIMIT_FSIZE, (_LIMIT_BYTES, _LIMIT_BYTES))
            return self.writer.write(self.folder, True)

        return self._refused(child(work))

    def on_a_small_disk(self) -> str:
        """On a file system in memory that is filled beforehand; only the superuser makes one."""
        if os.getuid():
            return "not tried"
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(self.folder)], check=True)
        try:
            self.put_old()
            fill = self.folder / "fill"
            with suppress(OSError), fill.open("wb", buffering=0) as file:
                while file.write(b"x" * 4096):
                    pass
            done = child(lambda: self.writer.write(self.folder, True))
            fill.unlink()
            return self._refused(done)
        finally:
            subprocess.run(["umount", str(self.folder)], check=True)

    def without_force(self) -> str:
        """Over what is there, not told to replace it."""
        if not self.writer.asks:
            return "its own"
        self.put_old()
        return self._refused(child(lambda: self.writer.write(self.folder, False)))

    def read_only(self) -> str:
        """In a folder that cannot be written, by a user whom that stops."""
        self.put_old()
        places = [self.folder, *(path for path in self.folder.rglob("*") if path.is_dir())]
        for place in places:
            place.chmod(0o555)

        def work() -> int:
            if not os.getuid():
                os.setgid(_NOBODY)
                os.setuid(_NOBODY)
            return self.writer.write(self.folder, True)

        try:
            return self._refused(child(work))
        finally:
            for place in places:
                place.chmod(0o755)

    def _refused(self, done: Ended) -> str:
        assert self.unchanged(), f"something changed in {self.folder}: {done.err}"
        lines = done.err.strip().splitlines()
        assert "Traceback" not in done.err, done.err
        return lines[-1].replace(str(self.folder), "FOLDER") if lines else f"code {done.code}"


def _sound(name: str, content: bytes) -> bool:
    """Whether a file that carries the time of its making, and so is another each time, is a whole one."""
    if name.endswith(".xlsx"):
        return zipfile.is_zipfile(file := io.BytesIO(content)) and zipfile.ZipFile(file).testzip() is None
    return name.endswith(".pdf") and content.startswith(b"%PDF-") and content.rstrip().endswith(b"%%EOF")


def _put(folder: Path, what: Mapping[str, bytes]) -> None:
    for name, content in what.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        write_file(folder / name, content, force=True)


def _clear(folder: Path) -> None:
    for path in folder.rglob("*"):
        if path.is_file():
            path.unlink()


def at_every_call(work: Callable[[], object]) -> Iterator[Callable[[], int]]:
    """The same work, killed before its first call of the system, its second, and so on until it comes through."""
    for stop in range(1, 10_000):

        def killed(stop: int = stop) -> int:
            left = stop

            def count(frame: object, event: str, _: object) -> None:
                nonlocal left
                left -= event == "c_call"
                if not left:
                    os.kill(os.getpid(), signal.SIGKILL)

            sys.setprofile(count)
            work()
            return 0

        yield killed


def run(names: Mapping[str, Writer], kills: int, *, mounting: bool = True) -> None:
    """Print the table."""
    draw, total, hit = Random(1), 0, 0
    ends = ("longest file", *(["full disk"] if mounting else []), "read-only folder", "without --force")
    print(f"{'writer':<26} {'files':>5} {'kills':>6} {'begun':>10}  {' | '.join(ends)}")
    for name, writer in names.items():
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / "f"
            folder.mkdir()
            Path(place).chmod(0o755)
            case = Case.of(writer, folder)
            in_writing = sum(case.killed(draw) for _ in range(kills))
            total, hit = total + kills, hit + in_writing
            ends = (case.on_a_full_disk(), *([case.on_a_small_disk()] if mounting else []), case.read_only(),
                    case.without_force())  # fmt: skip
        print(f"{name:<26} {len(case.new):>5} {kills:>6} {in_writing:>10}  {' | '.join(ends)}", flush=True)
    print(f"{total} kills, {hit} of them after a file was begun; no file was half.")


def run_every_call() -> None:
    """Kill one and three files at every call."""
    for names in (["a.txt"], ["a.txt", "b.txt", "c.txt"]):
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            count = each_call(folder, names)
        print(f"{len(names)} file(s): killed before each of {count} calls; no file was half.")


def each_call(folder: Path, names: list[str]) -> int:
    """Kill a write of some files before every call that it makes; how many there are."""
    new = dict.fromkeys(names, b"new\n" * 5000)
    for count, work in enumerate(
        at_every_call(lambda: write_files([(folder / name, new[name]) for name in names], force=True))
    ):
        _clear(folder)
        _put(folder, dict.fromkeys(names, OLD))
        done = child(work)
        found = contents(folder)
        assert found.keys() == new.keys()
        assert all(content in (OLD, new[name]) for name, content in found.items())
        if done.code is not None:
            assert (done.code, found, temporary(folder)) == (0, new, []), done.err
            return count
    raise AssertionError("never comes through")


def main() -> None:
    """Command line."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--kills", type=int, default=200, help="of each light writer; a twentieth of each other")
    options.add_argument("--only", choices=[*LIGHT, *HEAVY], metavar="WRITER", help="one of them, with every kill")
    options.add_argument("--smoke", action="store_true", help="2 kills of the light writers")
    asked = options.parse_args()
    if asked.only:
        run({asked.only: (LIGHT | HEAVY)[asked.only]}, asked.kills)
        return
    if asked.smoke:
        run(LIGHT, 2, mounting=False)
        return
    run_every_call()
    run(LIGHT, asked.kills)
    run(HEAVY, asked.kills // 20)


if __name__ == "__main__":
    main()
