"""What the docstrings say of the laws: their equations, and where they come from.

A docstring names its sources in a paragraph of its own that begins with ``Source:`` or ``Sources:``, parted by
semicolons; a law without one has those of its module. ``none needed`` stands where nothing has to be published.
"""

import ast
import inspect
import re
from collections.abc import Mapping
from functools import cache
from importlib import import_module
from importlib.metadata import entry_points
from pkgutil import iter_modules
from types import ModuleType

import attrs

__all__ = [
    "NONE_NEEDED",
    "ROOMS",
    "Described",
    "Law",
    "described",
    "lawful_modules",
    "laws_of",
    "modules_of_laws",
    "rooms_of_laws",
    "sources_of",
    "states_law",
    "written",
]

ROOMS = ("models", "train", "aircraft")
"""Where laws stand."""
_BESIDE = ("records", "tolerances", "checks", "bench")
"""Where some stand beside other things."""
NONE_NEEDED = "none needed"
_PACKAGE = __package__.partition(".")[0]
_SOURCES = re.compile(r"^Sources?: (.*?)(?:\n\s*\n|\Z)", re.MULTILINE | re.DOTALL)
_HEADING = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)
_LAW = re.compile(r"\w.* [=~] (?!\d)|\[(?:-|1/\w|[A-Za-z%])[^\]]*\]")
"""An equation, or a unit in brackets."""
_CODE = re.compile(r"``.*?``", re.DOTALL)


@attrs.frozen
class Described:
    """A docstring in its pieces.

    Attributes
    ----------
    text : str
        What is neither source nor list.
    lists : tuple of (heading, text)
        Parameters, Returns, Attributes and the like.
    sources : tuple of str
        As they are named, one each; empty where the docstring names none.
    """

    text: str
    lists: tuple[tuple[str, str], ...] = ()
    sources: tuple[str, ...] = ()


@attrs.frozen
class Law:
    """A public function, class or property that states an equation or gives a number with a unit.

    Attributes
    ----------
    module, name : str
        In the package; ``Class.name`` of a method.
    call : str
        Its arguments in brackets; empty of classes and properties.
    described : Described
    sources : tuple of str
        Its own, else those of its module.
    """

    module: str
    name: str
    call: str
    described: Described
    sources: tuple[str, ...]


@cache
def described(doc: str | None) -> Described:
    """A docstring in its pieces."""
    text = inspect.cleandoc(doc or "")
    named = _SOURCES.search(text)
    if named:
        text = f"{text[: named.start()].rstrip()}\n\n{text[named.end() :]}".strip()
    head, *rest = _HEADING.split(text)
    lists = tuple((rest[at], rest[at + 1].strip("\n")) for at in range(0, len(rest), 2))
    sources = " ".join(named[1].split()).removesuffix(".").split("; ") if named else ()
    return Described(head.strip(), lists, tuple(sources))


def states_law(pieces: Described) -> bool:
    """Whether a docstring states an equation or a number with its unit."""
    return any(
        _LAW.search(_CODE.sub("", text))
        for text in (pieces.text, *(text for head, text in pieces.lists if head == "Notes"))
    )


@cache
def written(module: ModuleType) -> Mapping[str, tuple[str, Described]]:
    """Functions, classes and methods of a module by dotted name, with their arguments in brackets, by their lines.

    They are read from the source: a class may have put something else in the place of a property.
    """
    found = {}
    for node in ast.parse(inspect.getsource(module)).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            inside = [each for each in node.body if isinstance(each, ast.FunctionDef | ast.ClassDef)]
            below = inside if isinstance(node, ast.ClassDef) else []
            for name, each in [(node.name, node), *((f"{node.name}.{each.name}", each) for each in below)]:
                found[name] = _call(each), described(ast.get_docstring(each))
    return found


def _call(node: ast.FunctionDef | ast.ClassDef) -> str:
    """Arguments in brackets; none of classes and properties."""
    if isinstance(node, ast.ClassDef) or any("property" in ast.unparse(each) for each in node.decorator_list):
        return ""
    names = [each.arg for each in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
    return f"({', '.join(name for name in names if name not in ('self', 'cls'))})"


def lawful_modules() -> dict[str, list[ModuleType]]:
    """Room, or package of a plugin, to its modules that name a source, in the order of their names."""
    found = {}
    for name, modules in modules_of_laws().items():
        if lawful := [each for each in modules if sources_of(each) or any(law.sources for law in laws_of(each))]:
            found[name] = lawful
    return found


def modules_of_laws() -> dict[str, list[ModuleType]]:
    """Room, or package of a plugin, to all its modules, imported, in the order of their names."""
    found = {}
    for name in rooms_of_laws():
        inside = sorted(each.name for each in iter_modules(getattr(import_module(name), "__path__", ())))
        found[name] = [import_module(f"{name}.{each}") for each in inside]
    return found


def rooms_of_laws() -> list[str]:
    """The packages in which laws may stand: rooms, and plugins that are installed."""
    plugins = {point.module for point in entry_points(group=_PACKAGE)}
    return [*(f"{_PACKAGE}.{room}" for room in (*ROOMS, *_BESIDE)), *sorted(plugins)]


def sources_of(module: ModuleType) -> tuple[str, ...]:
    """The sources that the docstring of a module names."""
    return described(module.__doc__).sources


def laws_of(module: ModuleType) -> list[Law]:
    """The public laws of a module in the order of their lines."""
    where, public = module.__name__.removeprefix(f"{_PACKAGE}."), getattr(module, "__all__", ())
    found = []
    for name, (call, pieces) in written(module).items():
        above, _, below = name.partition(".")
        if above in public and not below.startswith("_") and states_law(pieces):
            found.append(Law(where, name, call, pieces, pieces.sources or sources_of(module)))
    return found
