"""The page's modules as one script, for where a browser lets a page load none: a file opened from disk."""

import re
from collections.abc import Mapping

__all__ = ["joined"]

_IMPORT = re.compile(r'^import (?:(\{[^}]*\}) from )?"\./(\w+)\.js";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function|const|class) ([\w$]+))", re.MULTILINE)


def joined(entry: str, sources: Mapping[str, str]) -> str:
    """Each module a function that runs once and gives what it exports, before those that import it.

    Parameters
    ----------
    entry : str
        The module that a page begins with.
    sources : mapping of str to str
        Text of the modules by name, without ``.js``.

    Raises
    ------
    ValueError
        A circle, or an import or export of another form than ``import { a as b } from "./c.js"`` and ``export const``,
        ``function`` or ``class``.
    """
    done: dict[str, str] = {}

    def take(name: str, path: tuple[str, ...]) -> None:
        if name in path:
            raise ValueError(f"{' imports '.join([*path, name])}")
        if name in done:
            return
        for _, other in _IMPORT.findall(sources[name]):
            take(other, (*path, name))
        done[name] = _function(name, sources[name], name == entry)

    take(entry, ())
    return "\n".join(done.values())


def _function(name: str, source: str, waits: bool) -> str:
    """One module; the one that a page begins with may wait for something while it runs."""
    names = ", ".join(_EXPORT.findall(source))
    body = _IMPORT.sub(_taken, source)
    body = _EXPORT.sub("", body)
    if left := re.search(r"^(?:import|export)\b.*", body, re.MULTILINE):
        raise ValueError(f"{name}.js: {left[0]}")
    return f"const {name}_js = {'await (async () => {' if waits else '(() => {'}\n{body}return {{ {names} }};\n}})();\n"


def _taken(found: re.Match[str]) -> str:
    return f"const {found[1].replace(' as ', ': ')} = {found[2]}_js;\n" if found[1] else ""
