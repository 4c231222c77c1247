"""Runs the blocks of a page of the guide in a folder of its own, and says what its commands print."""

import contextlib
import doctest
import os
import re
import shlex
import sys
from collections.abc import Iterator
from pathlib import Path

import attrs
from click.testing import CliRunner

from propmatch.cli import propmatch
from propmatch.guide.markup import file_of, parser

CUT = "..."
"""A line that stands for the rest of what a command prints."""


@attrs.frozen
class Block:
    """A fenced block: what stands behind its fence, its text, and the lines of the page that it fills, both ends."""

    info: str
    content: str
    lines: tuple[int, int]

    @property
    def kind(self) -> str:
        return (self.info.split() or [""])[0]

    @property
    def exit_code(self) -> int:
        """How its commands should end."""
        return int(self.info.partition("exit=")[2] or 0)


def blocks(page: str) -> list[Block]:
    """The fenced blocks of a page, wherever they stand."""
    fences = [token for token in parser().parse(page) if token.type == "fence"]
    return [Block(each.info, each.content, (each.map[0] + 1, each.map[1] - 1)) for each in fences]


@attrs.frozen
class Ran:
    """A command as the page writes it, what the page shows of it, and what it printed and how it ended."""

    line: str
    shown: list[str]
    printed: list[str]
    exit_code: int

    @property
    def now(self) -> list[str]:
        """What the page should show: all of it, or as many lines as it does before a cut."""
        if CUT not in self.shown:
            return self.printed
        kept = self.shown.index(CUT)
        return [*self.printed[:kept], CUT]

    @property
    def right(self) -> bool:
        """Whether it printed what the page shows; the path of a folder, longer or shorter, may move line ends."""
        if CUT not in self.shown:
            return _words(self.printed) == _words(self.shown)
        return f"{_words(self.printed)} ".startswith(f"{_words(self.shown[: self.shown.index(CUT)])} ")


def _words(lines: list[str]) -> str:
    """Words with one blank between them, the size of a file left out."""
    return re.sub(r"\d+ kB", "kB", " ".join(" ".join(lines).split()))


def ran(block: Block, folder: Path) -> Iterator[Ran]:
    """The commands of a console block, run one after the other."""
    entries: list[list[str]] = []
    for line in block.content.splitlines():
        if line.startswith("$ "):
            entries.append([line])
        else:
            entries[-1].append(line)
    for command, *shown in entries:
        code, printed = _run(command.removeprefix("$ "), folder)
        yield Ran(command, shown, printed.rstrip("\n").splitlines(), code)


def _run(command: str, folder: Path) -> tuple[int, str]:
    """A command of the program, with ``< FILE`` or ``> FILE`` behind it."""
    words = shlex.split(command, comments=True)
    assert words.pop(0) == "propmatch", f"not a command of the program: {command}"
    typed, out = None, None
    if "<" in words:
        at = words.index("<")
        typed = Path(words.pop(at + 1)).read_text(encoding="utf-8")
        words.pop(at)
    if ">" in words:
        at = words.index(">")
        out = Path(words.pop(at + 1))
        words.pop(at)
    done = CliRunner().invoke(propmatch, words, prog_name="propmatch", input=typed)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    text = done.output
    if out is not None:
        out.write_text(done.stdout, encoding="utf-8")
        text = done.stderr
    return done.exit_code, text.replace(f"{folder}{os.sep}", "")


def python(block: Block, names: dict[str, object]) -> None:
    """Run a block of Python with the names of those before it: as a doctest where it has prompts, else as it stands."""
    if ">>>" not in block.content:
        exec(compile(block.content, "<guide>", "exec"), names)
        return
    test = doctest.DocTestParser().get_doctest(block.content, names, "guide", None, 0)
    told: list[str] = []
    doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(test, out=told.append)
    assert not told, "".join(told)


@contextlib.contextmanager
def place(folder: Path) -> Iterator[Path]:
    """A folder as the present one, with a home without parts, lines of 80 columns, and no settings of the user.

    The home is a folder of that name in it, so that what is printed of it reads as it does for anybody.
    """
    kept, here = dict(os.environ), Path.cwd()
    for name in ("PROPMATCH_PLUGINS", "PROPMATCH_UNITS", "PROPMATCH_PARTS"):
        os.environ.pop(name, None)
    os.environ |= {"HOME": str(folder / "~"), "XDG_DATA_HOME": "~/.local/share", "COLUMNS": "80"}
    os.chdir(folder)
    sys.path.insert(0, str(folder))
    try:
        yield folder
    finally:
        sys.path.remove(str(folder))
        os.chdir(here)
        os.environ.clear()
        os.environ.update(kept)


def run_page(page: str, folder: Path) -> list[tuple[Block, list[Ran]]]:
    """Every block of a page in its order: files are written, Python is run, and what commands print is told."""
    told, names = [], {"__name__": "guide"}
    with place(folder):
        for block in blocks(page):
            name = file_of(block.info)
            if name:
                Path(name).parent.mkdir(parents=True, exist_ok=True)
                with Path(name).open("a" if block.info.endswith(" more") else "w", encoding="utf-8") as out:
                    out.write(block.content)
            elif block.kind == "python":
                python(block, names)
            elif block.kind == "console":
                told.append((block, list(ran(block, folder))))
    return told
