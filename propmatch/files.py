"""The one way a file is written: whole or not at all."""

import errno
import os
import secrets
import stat
from pathlib import Path

__all__ = ["file_name", "write_file"]


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
        Off: whatever has the name gives way to a new file, a link or a device too.

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


def file_name(name: str, nameless: str = "part") -> str:
    """A name without its ending that any system takes; ``nameless`` where nothing of it is left."""
    kept = "".join(sign if sign.isalnum() else "-" for sign in name.lower())
    return "-".join(filter(None, kept.split("-"))) or nameless


def _write(target: Path, data: bytes, force: bool, follow: bool) -> None:
    there = follow and target.exists()
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
