"""The one way a file is written, whole or not at all, and a table as text with commas."""

import csv
import errno
import io
import os
import re
import secrets
import stat
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

__all__ = ["cell_meant", "check_target", "csv_text", "file_name", "name_fault", "write_file", "write_files"]

_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in "123456789¹²³")}
_LONGEST = 200


def write_file(path: str | Path, content: str | bytes, *, force: bool = False, follow: bool = True) -> Path:
    """Write a file in one step: whoever reads it, or stops this program, finds the old content or the new.

    A temporary file beside it is written, brought to the disk and renamed; whatever fails, it is removed again. The
    mode of a file that is there stays, a link is followed, and a device or a pipe is written to.

    Parameters
    ----------
    path : path
    content : str or bytes
        Text becomes UTF-8, its line ends as they are.
    force : bool
        Whether a file that is there may be replaced.
    follow : bool
        Off: a link or a device that has the name gives way to a new file.

    Returns
    -------
    Path
        As given.

    Raises
    ------
    OSError
        It cannot be written (``FileExistsError``: it is there and ``force`` is off); names ``path``.
    """
    (written,) = write_files([(path, content)], force=force, follow=follow)
    return written


def write_files(
    contents: Iterable[tuple[str | Path, str | bytes]], *, force: bool = False, follow: bool = True
) -> tuple[Path, ...]:
    """Write files that belong together: all of them, or where one cannot be written none.

    All are on the disk under temporary names before the first takes its own, in the order given; where a name cannot be
    taken, those before it hold again what they held. A program that is stopped between two names leaves some files old
    and some new, each whole: what refers to another file comes after it. See :func:`write_file`.
    """
    staged: list[_Staged] = []
    try:
        for name, content in contents:
            with _naming(name):
                staged.append(_Staged(Path(name), force, follow))
                if staged[-1].beside and staged[-1].target in [each.target for each in staged[:-1]]:
                    raise OSError(errno.EINVAL, "is named twice")
                staged[-1].fill(content.encode() if isinstance(content, str) else content)
        for each in staged:
            with _naming(each.path):
                each.take(force, undo=len(staged) > 1)
    except BaseException:
        for each in reversed(staged):
            each.give_back()
        raise
    finally:
        for each in staged:
            each.clear()
    for folder in {each.target.parent for each in staged if each.beside}:
        _settle(folder)
    return tuple(each.path for each in staged)


def check_target(path: str | Path, *, force: bool = False) -> None:
    """Raise the ``OSError`` of :func:`write_file` that is known before there is anything to write."""
    with _naming(path):
        _check(Path(path), force, follow=True)


def csv_text(rows: Iterable[Sequence[object]]) -> str:
    """Rows as CSV that no spreadsheet takes for more than values.

    A text that would begin a formula gets ``'`` in front, and signs that do not print become blanks (common practice
    against formulas in cells, OWASP "CSV Injection"); :func:`cell_meant` takes the mark away again.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows([_harmless(cell) if isinstance(cell, str) else cell for cell in row] for row in rows)
    return out.getvalue()


def _harmless(text: str) -> str:
    line = text if text.isprintable() else "".join(sign if sign.isprintable() else " " for sign in text)
    return f"'{line}" if line.lstrip(" '")[:1] in _FORMULA and not _NUMBER.fullmatch(line) else line


_FORMULA = ("=", "+", "-", "@")
_NUMBER = re.compile(r"[-+]?[\d.]+(?:e[-+]?\d+)?")


def cell_meant(text: str) -> str:
    """A cell without the mark that :func:`csv_text` put in front of it."""
    return text[1:] if text[:1] == "'" and text.lstrip(" '")[:1] in _FORMULA else text


def file_name(name: str, nameless: str = "part") -> str:
    """A name without its ending that any system takes; ``nameless`` where nothing of it is left."""
    kept = "".join(sign if sign.isalnum() else "-" for sign in name.lower())
    return "-".join(filter(None, kept.split("-"))) or nameless


def name_fault(name: str, ending: str) -> str:
    """What keeps a name that came from elsewhere from being a file of that ending on every system; empty if nothing.

    It names a file in the folder at hand and nothing else: no way to another folder, no hidden file, no device, no
    sign that a system forbids or that does not print.
    """
    if not name.endswith(ending) or name.startswith((".", " ")) or set(name) & set('/\\:*?"<>|'):
        return f"must be a plain file name that ends in {ending}"
    if not name.isprintable():
        return "must hold no control characters"
    if name.split(".")[0].rstrip().lower() in _DEVICES:
        return "must not be the name of a device"
    return f"must be at most {_LONGEST} bytes long" if len(name.encode()) > _LONGEST else ""


_STRAY = re.compile(r"\.propmatch-[0-9a-f]{16}\.part")
"""Names of temporary files."""
_STRAY_S = 3600.0
"""A temporary file that is older was left by a program that was stopped."""


def _beside(target: Path) -> Path:
    return target.with_name(f".propmatch-{secrets.token_hex(8)}.part")


@contextmanager
def _naming(path: str | Path) -> Iterator[None]:
    """What fails names the file that was asked for, and none of the temporary ones."""
    try:
        yield
    except OSError as error:
        raise OSError(error.errno or errno.EIO, error.strerror or str(error), str(path)) from error


class _Staged:
    """A file under its temporary name, until it takes its own; a device or a pipe has none."""

    def __init__(self, path: Path, force: bool, follow: bool) -> None:
        self.path = path
        self.there = _is_there(path, follow)
        _check(path, force, follow)
        plain = not self.there or path.is_file()
        self.target = Path(os.path.realpath(path)) if follow and plain else path
        self.beside = _beside(self.target) if plain else None
        self.before: Path | None = None
        self.taken = False

    def fill(self, data: bytes) -> None:
        if self.beside is None:
            self.target.write_bytes(data)
            return
        _sweep(self.target.parent)
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        with open(os.open(self.beside, flags, 0o666), "wb") as out:
            if self.there:
                os.chmod(self.beside, stat.S_IMODE(self.target.stat().st_mode))
            out.write(data)
            out.flush()
            os.fsync(out.fileno())

    def take(self, force: bool, undo: bool) -> None:
        """Take the name; without ``force`` only where nobody took it meanwhile."""
        if self.beside is None:
            return
        if self.there and undo:
            with suppress(OSError):  # a file system without links
                os.link(self.target, before := _beside(self.target))
                self.before = before
        if not force:
            try:
                os.link(self.beside, self.target)
            except FileExistsError:
                raise _taken() from None
            except OSError:  # a file system without links
                if self.target.exists():
                    raise _taken() from None
            else:
                self.taken = True
                return
        os.replace(self.beside, self.target)
        self.taken = True

    def give_back(self) -> None:
        """Put back what was there before."""
        if self.taken:
            with suppress(OSError):
                if self.before is not None:
                    os.replace(self.before, self.target)
                elif not self.there:
                    self.target.unlink()

    def clear(self) -> None:
        for each in (self.beside, self.before):
            if each is not None:
                with suppress(OSError):
                    each.unlink(missing_ok=True)


def _taken() -> FileExistsError:
    return FileExistsError(errno.EEXIST, "exists already")


def _is_there(path: Path, follow: bool) -> bool:
    return path.exists() if follow else path.is_file() and not path.is_symlink()


def _check(path: Path, force: bool, follow: bool) -> None:
    link, there = path.is_symlink(), _is_there(path, follow)
    if path.is_dir() and (follow or not link):
        raise IsADirectoryError(errno.EISDIR, "is a folder")
    if follow and link and not there:
        raise FileNotFoundError(errno.ENOENT, "is a link that leads nowhere")
    if not path.absolute().parent.is_dir():
        raise FileNotFoundError(errno.ENOENT, "its folder does not exist")
    if there and any(_is_stream(path, stream) for stream in (1, 2)):
        raise OSError(errno.EINVAL, "is where this command prints already")
    if there and path.is_file() and not force:
        raise _taken()
    if not os.access(path if there else path.absolute().parent, os.W_OK):
        raise PermissionError(errno.EACCES, "cannot be written to" if there else "its folder cannot be written to")


def _is_stream(path: Path, stream: int) -> bool:
    """Whether a file is what a stream of this process is sent to: a new one in its place would cut the stream off."""
    try:
        about = os.fstat(stream)
        return stat.S_ISREG(about.st_mode) and os.path.samestat(about, path.stat())
    except OSError:
        return False


def _sweep(folder: Path) -> None:
    """Remove temporary files that a program left when it was stopped."""
    with suppress(OSError), os.scandir(folder) as there:
        for each in there:
            if _STRAY.fullmatch(each.name) and time.time() - each.stat(follow_symlinks=False).st_mtime > _STRAY_S:
                with suppress(OSError):
                    os.unlink(each)


def _settle(folder: Path) -> None:
    """Bring the new name to the disk too, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
