"""What a page with the engine inside carries: Python's modules compiled for it, data, parts, and every licence."""

import gzip
import io
import json
import marshal
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.metadata import PackageNotFoundError, distribution
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from zipfile import ZIP_STORED, ZipFile, ZipInfo

from propmatch.faults import Fault, InputFaults
from propmatch.page import compiling
from propmatch.page.hints import WORKBOOKS
from propmatch.page.runtime import FILES, PYTHON, VERSION, Runtime

__all__ = ["PARTS", "cargo", "compiler", "licences", "packed", "parts_inside"]

LIBRARY = "python_stdlib.zip"
PARTS = "/parts"
"""Where the parts of the user's folder lie."""
_SITE = f"/lib/python{PYTHON}/site-packages"
_NUMPY = next(name for name in FILES if name.endswith(".whl"))
_MAGIC = b"\xf3\r\r\n"
"""What modules compiled by Python 3.13 begin with (its ``importlib.util.MAGIC_NUMBER``)."""
_UNUSED = {
    "_android_support", "_apple_support", "_ios_support", "_pyio", "_pydatetime", "_py_abc", "_pyrepl", "_strptime",
    "_sysconfigdata__emscripten_wasm32-emscripten", "antigravity", "bdb", "cProfile", "cmd", "code", "codeop",
    "colorsys", "compileall", "concurrent/futures/process", "ctypes", "curses", "dbm", "doctest", "email", "ensurepip",
    "filecmp", "fileinput", "ftplib", "getpass", "graphlib", "http", "idlelib", "imaplib", "ipaddress", "lib2to3",
    "mailbox", "mimetypes", "modulefinder", "multiprocessing", "netrc", "optparse", "pdb", "pickletools", "plistlib",
    "poplib", "profile", "pstats", "pty", "pyclbr", "py_compile", "pydoc", "pydoc_data", "quopri", "rlcompleter",
    "runpy", "sched", "shelve", "smtplib", "socketserver", "sqlite3", "stringprep", "symtable", "sysconfig", "tabnanny",
    "tarfile", "this", "timeit", "tkinter", "trace", "tracemalloc", "turtle", "tty", "unittest", "urllib/request",
    "urllib/robotparser", "venv", "wave", "webbrowser", "wsgiref", "xml/dom", "xml/sax", "xmlrpc", "zipapp", "zoneinfo",
    "asyncio/proactor_events", "asyncio/windows_events", "asyncio/windows_utils", "logging/config", "logging/handlers",
    "json/tool",
}  # fmt: skip
"""What a desk in a browser has no use for: modules of the standard library."""
_NEEDED = {"email/__init__", "encodings/__init__"}
_ENCODINGS = (
    "encodings/aliases",
    "encodings/ascii",
    "encodings/cp125",
    "encodings/cp437",
    "encodings/iso8859_1",
    "encodings/latin_1",
    "encodings/mac_roman",
    "encodings/raw_u",
    "encodings/unicode",
    "encodings/utf_",
)
_UNUSED_NUMPY = (
    "numpy/fft/",
    "numpy/lib/recfunctions",
    "lapack_lite",
    "/distutils/",
    "/tests/",
    "/f2py/",
    "/include/",
    "/testing/",
    "/_pyinstaller/",
    "/doc/",
    "_tests.cpython",
    "/_simd.",
)
_OURS = {"commands", "guide", "alone", "static", "cli.py", "testing.py", "server.py", "workers.py", "standalone.py",
         "packing.py", "compiling.py", "joined.py", "runtime.py", "generate.py", "docs"}  # fmt: skip
"""What of this program serves other doors."""
_KEPT = (".py", ".so", ".csv", ".toml", ".html", ".css", ".npz")


def cargo(runtime: Runtime, parts: str | Path | None) -> bytes:
    """Everything that Python needs, packed: length of an index, the index of names and sizes, the files; gzipped."""
    library = {name: text for name, text in runtime.unpacked(LIBRARY).items() if _needed(name.removesuffix(".py"))}
    site = _compiled(dict(_numpy(runtime)), 1) | _compiled(dict(_pure()), 2)
    library = _compiled(library, 2)
    all_ = {LIBRARY: _stored(library), **{f"{_SITE}/{name}": content for name, content in site.items()}}
    all_ |= {f"{PARTS}/{name}": content for name, content in parts_inside(parts).items()}
    index = json.dumps([[name, len(content)] for name, content in all_.items()]).encode()
    return packed(len(index).to_bytes(4, "little") + index + b"".join(all_.values()))


def _needed(module: str) -> bool:
    """Whether a module of the standard library is taken along."""
    if module.startswith("encodings/") and module not in _NEEDED:
        return module.startswith(_ENCODINGS)
    ways = module.split("/")
    return module in _NEEDED or not {"/".join(ways[: at + 1]) for at in range(len(ways))} & _UNUSED


def packed(content: bytes) -> bytes:
    """Gzipped, the same for the same content."""
    return gzip.compress(content, compresslevel=9, mtime=0)


def _numpy(runtime: Runtime) -> Iterator[tuple[str, bytes]]:
    for name, content in runtime.unpacked(_NUMPY).items():
        if name.endswith(_KEPT) and not any(each in name for each in _UNUSED_NUMPY):
            yield name, content


def _pure() -> Iterator[tuple[str, bytes]]:
    """The files of the packages that hold no machine code, from where this program has them."""
    for package in ("attr", "attrs", "pluggy", "propmatch", "propmatch_plugins", "propmatch_datasets"):
        root = _root(package)
        for path in sorted(root.rglob("*")):
            inside = path.relative_to(root)
            if path.suffix in _KEPT and "__pycache__" not in inside.parts and not {*inside.parts} & _OURS:
                yield f"{package}/{inside.as_posix()}", path.read_bytes()


def _root(package: str) -> Path:
    spec = find_spec(package)
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent


def parts_inside(folder: str | Path | None) -> dict[str, bytes]:
    """The files of a folder of parts; what is hidden, links elsewhere or holds no parts stays behind.

    Raises
    ------
    InputFaults
        No such folder; workbooks, which a browser does not read.
    """
    if folder is None:
        return {}
    root = Path(folder)
    if not root.is_dir():
        raise InputFaults([Fault(str(root), rule="no such folder", hint="named by --parts; make it first")])
    found, faults = {}, []
    for path in sorted(root.rglob("*")):
        inside = path.relative_to(root)
        if path.is_symlink() or not path.is_file() or any(part.startswith((".", "~$")) for part in inside.parts):
            continue
        if path.suffix.lower() in WORKBOOKS:
            faults.append(Fault(str(path), rule="is a workbook, which a browser does not read", hint="save it as CSV"))
        elif path.suffix.lower() in _READ:
            found[inside.as_posix()] = path.read_bytes()
    if faults:
        raise InputFaults(faults)
    return found


_READ = (".csv", ".tsv", ".txt", ".toml", ".json", ".dat")


# ------------------------------------------------------------ compiled


@cache
def compiler() -> tuple[str, ...]:
    """A command that starts the Python that modules are compiled with, this one or another; empty for none."""
    ask = "import importlib.util, sys; sys.stdout.buffer.write(importlib.util.MAGIC_NUMBER)"
    for command in ((sys.executable,), (f"python{PYTHON}",), ("py", f"-{PYTHON}")):
        place = shutil.which(command[0])
        if place is None:
            continue
        told = subprocess.run([place, *command[1:], "-c", ask], capture_output=True, check=False)
        if told.returncode == 0 and told.stdout == _MAGIC:
            return (place, *command[1:])
    return ()


def _compiled(sources: Mapping[str, bytes], optimize: int) -> dict[str, bytes]:
    """Modules compiled without their sources, where there is a compiler; everything else as it is."""
    if not compiler():
        return dict(sources)
    told = subprocess.run(
        [*compiler(), str(compiling.__file__), str(optimize)], check=True, capture_output=True,
        input=marshal.dumps(dict(sources), compiling.FORMAT),
    )  # fmt: skip
    made: dict[str, bytes] = marshal.loads(told.stdout)
    return made


def _stored(content: Mapping[str, bytes]) -> bytes:
    """A zip archive that is not compressed, the same for the same content."""
    out = io.BytesIO()
    with ZipFile(out, "w", ZIP_STORED) as archive:
        for name, each in sorted(content.items()):
            archive.writestr(ZipInfo(name), each)
    return out.getvalue()


# ------------------------------------------------------------ licences


def licences(runtime: Runtime) -> str:
    """What the file consists of, and the licence of each, in full."""
    core = json.loads(runtime.files["package.json"])
    own = files("propmatch.page").joinpath("alone")
    texts = [
        (f"Pyodide {VERSION}, {core['license']}, unchanged; its source: {core['homepage']}, tag {VERSION}",
         own.joinpath("mpl-2.0.txt").read_text(encoding="utf-8")),
        (f"Python {PYTHON} and its standard library", own.joinpath("python.txt").read_text(encoding="utf-8")),
        *((f"numpy: {name}", content.decode(errors="replace")) for name, content in runtime.unpacked(_NUMPY).items()
          if "LICEN" in name.upper() and "/include/" not in name),
        *((name, _licence_of(name)) for name in ("attrs", "pluggy", "propmatch")),
    ]  # fmt: skip
    return "\n\n".join(f"{title}\n{'-' * len(title)}\n\n{text.strip()}" for title, text in texts) + "\n"


def _licence_of(name: str) -> str:
    """The licence that came with an installed package."""
    try:
        found = distribution(name)
    except PackageNotFoundError:
        found = None
    texts = [Path(str(each.locate())).read_text(encoding="utf-8") for each in (found.files or [] if found else [])
             if each.name.upper().startswith("LICEN") and Path(str(each.locate())).is_file()]  # fmt: skip
    if not texts:
        beside = _root(name).parent / "LICENSE"
        texts = [beside.read_text(encoding="utf-8")] if beside.is_file() else []
    if not texts:
        raise InputFaults([Fault(name, rule="its licence is not installed, and must travel with the file")])
    return "\n\n".join(texts)
