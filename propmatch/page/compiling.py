"""Compiles modules; a script for the Python that will run them, so it imports no other module of this program.

Argument: how far modules are optimized (1 without ``assert``, 2 without docstrings too). Standard input and output: a
marshalled dict of contents by name; ``name.pyc`` takes the place of ``name.py``.
"""

import marshal
import sys
from collections.abc import Mapping
from importlib.util import MAGIC_NUMBER
from types import CodeType

__all__ = ["FORMAT", "compiled"]

FORMAT = 2
"""Of the marshalled dicts: one that every Python reads."""
_UNCHECKED = (1).to_bytes(4, "little") + bytes(8)
"""Flags and hash of a compiled module that is never compared with its source (PEP 552)."""


def compiled(sources: Mapping[str, bytes], optimize: int) -> dict[str, bytes]:
    """The same with modules compiled; one that cannot be compiled stays."""
    found = {}
    for name, content in sources.items():
        try:
            code = compile(content, name, "exec", 0, True, optimize) if name.endswith(".py") else None
        except (SyntaxError, ValueError):
            code = None
        if code is None:
            found[name] = content
        else:
            found[f"{name}c"] = MAGIC_NUMBER + _UNCHECKED + marshal.dumps(_without_lines(code))
    return found


def _without_lines(code: CodeType) -> CodeType:
    """The same without the table of its lines, which is two fifths of a packed module and only for tracebacks."""
    inner = tuple(_without_lines(each) if isinstance(each, CodeType) else each for each in code.co_consts)
    return code.replace(co_linetable=b"", co_consts=inner)


if __name__ == "__main__":
    marshal.dump(compiled(marshal.load(sys.stdin.buffer), int(sys.argv[1])), sys.stdout.buffer, FORMAT)
