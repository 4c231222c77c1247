"""Answers kept on disk under what they were made of: the content of everything that went in, and the code that made it.

The folder is the user's cache folder; ``PROPMATCH_CACHE`` names another, and set to nothing keeps none. What is there
is as good as made again: another brief, another part or another line of the code is another name. A digest of name and
answer stands before each; whatever cannot be read, does not agree with it, or is no file of its own, is made again, and
whatever cannot be written is no fault.
"""

import json
import os
import stat
import struct
from collections.abc import Callable, Iterator, Mapping
from enum import Enum
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeVar

import attrs

from propmatch.files import write_file

__all__ = ["VARIABLE", "cache_folder", "digest", "kept"]

VARIABLE = "PROPMATCH_CACHE"
_MOST, _ROOM = 500, 8
"""Answers of a kind; the oldest give way, one in so many at a time."""
_LARGEST = 1 << 26
"""Bytes that are read; far more than any answer has."""
_ENDING = ".kept"
"""Sealed content: the digest, a line end, JSON."""
_DAMAGE = (OSError, LookupError, TypeError, ValueError, ArithmeticError, RecursionError, MemoryError)
_MAKERS = ("_version.py", "units.py", "models", "records", "train", "aircraft", "tolerances", "checks", "search")
"""What a kept answer rests on, in the package."""
T = TypeVar("T")


def cache_folder() -> Path | None:
    """Where answers are kept; None for nowhere."""
    stated = os.environ.get(VARIABLE)
    if stated is not None:
        return Path(stated) if stated.strip() else None
    import platformdirs

    return Path(platformdirs.user_cache_dir("propmatch", appauthor=False))


@cache
def _digest_of(code: tuple[Path, ...]) -> bytes:
    """Digest of files and folders of code, and of the library that its rounding hangs on."""
    from importlib.metadata import version

    out = sha256(version("numpy").encode())
    for place in code:
        for path in sorted(place.rglob("*.py")) if place.is_dir() else (place,):
            out.update(path.read_bytes())
    return out.digest()


def digest(*values: Any, code: tuple[Path, ...] = ()) -> str | None:
    """A name for numbers, texts, arrays, collections and records: the same for the same content and code.

    None where there is something else among them, or nothing is kept. ``code``: files and folders that the answer rests
    on, where it is not the package's own.
    """
    if cache_folder() is None:
        return None
    out = sha256(_digest_of(code or tuple(Path(__file__).parent / name for name in _MAKERS)))
    try:
        for piece in _pieces(values):
            out.update(struct.pack("<q", len(piece)))
            out.update(piece)
    except TypeError:
        return None
    return out.hexdigest()[:32]


def _pieces(value: Any) -> Iterator[bytes]:
    if value is None or isinstance(value, bool | int | float | str | bytes | Enum):
        yield repr(value).encode()
    elif isinstance(value, tuple | list):
        yield f"{len(value)} in order".encode()
        for each in value:
            yield from _pieces(each)
    elif isinstance(value, Mapping):
        yield f"{len(value)} by name".encode()
        for key, each in value.items():
            yield from _pieces(key)
            yield from _pieces(each)
    elif isinstance(value, set | frozenset):
        yield from _pieces(sorted(value, key=repr))
    elif attrs.has(type(value)):
        yield type(value).__qualname__.encode()
        for field in attrs.fields(type(value)):
            yield from _pieces(getattr(value, field.name))
    elif hasattr(value, "dtype"):
        yield f"{value.dtype.str} {value.shape}".encode()
        yield value.tobytes()
    else:
        raise TypeError(f"no content that could be named: {type(value).__name__}")


def kept(
    kind: str, name: str | None, make: Callable[[], T], *, write: Callable[[T], Any], read: Callable[[Any], T],
    most: int = _MOST,
) -> T:  # fmt: skip
    """An answer that was kept, else made and kept.

    Parameters
    ----------
    kind : its folder
    name : of what it is made of, from :func:`digest`; None to make it each time
    make : callable
    write : the answer as JSON knows it; None where it is not worth keeping
    read : the answer again; raises KeyError, TypeError, ValueError or IndexError where it is none
    most : answers of the kind that stay
    """
    folder = cache_folder()
    if folder is None or name is None:
        return make()
    path = folder / kind / f"{name}{_ENDING}"
    try:
        return read(json.loads(_text(path)))
    except (FileNotFoundError, NotADirectoryError):
        pass
    except _DAMAGE as error:
        import logging

        logging.getLogger("propmatch").warning("%s is damaged and made again (%s)", path, type(error).__name__)
    made = make()
    content = write(made)
    if content is not None:
        _keep(path, json.dumps(content).encode(), most)
    return made


def _seal(path: Path, text: bytes) -> bytes:
    return sha256(path.name.encode() + b"\n" + text).hexdigest().encode()


def _text(path: Path) -> bytes:
    """What is kept in a file, read only where it is a file of its own and the digest before it agrees."""
    flags = sum(getattr(os, name, 0) for name in ("O_NOFOLLOW", "O_NONBLOCK", "O_BINARY"))
    handle = os.open(path, os.O_RDONLY | flags)
    try:
        about = os.fstat(handle)
        if not stat.S_ISREG(about.st_mode) or about.st_size > _LARGEST:
            raise ValueError("no file that was kept")
        seal, _, text = os.read(handle, about.st_size).partition(b"\n")
    finally:
        os.close(handle)
    if seal != _seal(path, text):
        raise ValueError("the digest does not agree")
    return text


def _keep(path: Path, text: bytes, most: int) -> None:
    """Write in one step, so that nobody reads half a file; a folder that cannot be written is no fault."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_file(path, _seal(path, text) + b"\n" + text, force=True, follow=False)
        if sum(name.endswith(_ENDING) for name in os.listdir(path.parent)) > most:
            there = sorted(path.parent.glob(f"*{_ENDING}"), key=lambda each: each.lstat().st_mtime)
            for old in there[: -max(most - most // _ROOM, 1)]:  # so that the next few need no look at every age
                old.unlink(missing_ok=True)
    except OSError:
        return
