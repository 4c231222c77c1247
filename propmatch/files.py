"""The one way a file is written, whole or not at all, and a table as text with commas."""

import csv
import errno
import io
import os
import re
import secrets
import stat
from collections.abc import Iterable, Sequence
from pathlib import Path

__all__ = ["cell_meant", "csv_text", "file_name", "name_fault", "write_file"]

_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in "123456789¹²³")}
_LONGEST = 200


def write_file(path: str | Path, content: str | bytes, *, force: bool = True, follow: bool = True) -> Path:
    """Write a file in one step: whoever reads it, or stops this program, finds the old content or the new.

    A temporary file beside it is written, brought to the disk and renamed; whatever fails, it is removed again. The
    mode of a file that is there stays, a link is followed, and what is no file, such as ``/dev/stdout``, is written to.

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
    data = content.encode() if isinstance(content, str) else content
    try:
        _write(Path(path), data, force, follow)
    except OSError as error:
        raise OSError(error.errno or errno.EIO, error.strerror or str(error), str(path)) from error
    return Path(path)


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


def _write(target: Path, data: bytes, force: bool, follow: bool) -> None:
    there = target.exists() if follow else target.is_file() and not target.is_symlink()
    if there and not force:
        raise FileExistsError(errno.EEXIST, "exists already")
    if there and not os.access(target, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    if there and not target.is_file():
        target.write_bytes(data)
        return
    target = Path(os.path.realpath(target)) if follow else target
    beside = target.with_name(f".{secrets.token_hex(8)}.part")
    try:
        with open(
            os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666), "wb"
        ) as out:
            if there:
                os.chmod(beside, stat.S_IMODE(target.stat().st_mode))
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        _rename(beside, target, force)
    finally:
        beside.unlink(missing_ok=True)
    _settle(target.parent)


def _rename(beside: Path, target: Path, force: bool) -> None:
    """Give the file its name; without ``force`` only where nobody took it meanwhile."""
    if not force:
        try:
            os.link(beside, target)
        except FileExistsError:
            raise FileExistsError(errno.EEXIST, "exists already") from None
        except OSError:  # a file system without links
            if target.exists():
                raise FileExistsError(errno.EEXIST, "exists already") from None
        else:
            return
    os.replace(beside, target)


def _settle(folder: Path) -> None:
    """Bring the new name to the disk too, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    except OSError:
        return
    finally:
        os.close(handle)
