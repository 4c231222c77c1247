"""The pages of theory, written from docstrings, and the one table of symbols.

Each public function writes one page; ``program`` is the command line.
"""

import csv
import inspect
import re
from collections.abc import Iterator
from importlib import import_module
from importlib.resources import files
from types import ModuleType

import attrs
import click

from propmatch.checks.checkrules import CHECKS
from propmatch.checks.working import SYMBOLS
from propmatch.guide.lawbook import Described, Law, described, lawful_modules, laws_of, sources_of, written
from propmatch.guide.marked import block, literal, page

__all__ = ["Symbol", "bounds", "nomenclature", "proofs", "property_tests", "symbols", "theory"]

_BOUNDS = f"{__package__.partition('.')[0]}.search.bounds"
_PROSE = ("Returns", "Notes")
_ROLE = re.compile(r":\w+:`([^`]+)`|(?<!`)`([^`\n]+)`(?!`)")


@attrs.frozen
class Symbol:
    """A symbol of the equations.

    Attributes
    ----------
    symbol, meaning, unit : str
        ``-`` for a plain number.
    code : str
        Its name in the code, as argument, field or function; several are parted by blanks.
    key : str
        Its key in JSON, in a brief or in a table of parts, with the unit there; empty where it has none.
    """

    symbol: str
    meaning: str
    unit: str
    code: str
    key: str


def _table(name: str) -> list[dict[str, str]]:
    """A table of the guide, row by row."""
    return list(csv.DictReader(files(__package__).joinpath(f"{name}.csv").read_text(encoding="utf-8").splitlines()))


def symbols() -> list[Symbol]:
    """Every symbol, in the order of the page."""
    return [Symbol(**row) for row in _table("nomenclature")]


def nomenclature(program: click.Group) -> str:
    """The table of symbols."""
    head = ["| Symbol | Meaning | Unit | In the code | In data |", "|---|---|---|---|---|"]
    rows = [
        f"| `{each.symbol}` | {literal(each.meaning)} | {literal(each.unit)} | {_codes(each.code)} "
        f"| {_codes(each.key)} |"
        for each in symbols()
    ]
    return page(
        "Nomenclature",
        "The symbols of [the equations](theory.md). Inside, numbers are in SI units; keys of JSON, briefs and tables "
        "carry their unit in the name and may differ from it.",
        ["\n".join(head + rows), "## In the formulas of the checks",
         "[The checks](checks.md) reckon in the units of what they show.", "\n".join(_of_checks())],
    )  # fmt: skip


def _of_checks() -> Iterator[str]:
    """Symbols of the formulas of all checks, and of some of them alone."""
    yield from ("| Symbol | Meaning | Unit | Only in |", "|---|---|---|---|")
    own = [(name, each, rule.name) for rule in CHECKS.values() for name, each in rule.own.items()]
    for name, each, where in [*((name, each, "") for name, each in SYMBOLS.items()), *own]:
        yield f"| `{name}` | {literal(each.label)} | {literal(each.unit or '-')} | {_codes(where)} |"


def _codes(names: str) -> str:
    return " ".join(f"`{name}`" for name in names.split())


def theory(program: click.Group) -> str:
    """Every law, module by module."""
    blocks: list[str] = []
    for room, modules in lawful_modules().items():
        about = _prose(described(import_module(room).__doc__).text.partition("\n\n")[0])
        blocks += [f"## {room.partition('.')[2] or room}", about]
        for module in modules:
            blocks += _module(module)
    return page(
        "Theory",
        "The equations as their docstrings state them, room by room of the code, each with what it takes, where it "
        "holds and where it comes from. [Symbols](nomenclature.md) have a page of their own; [how far it all is from "
        "measurements](accuracy.md) on another. `--sources` behind any command names those that its answer "
        "used.", blocks,
    )  # fmt: skip


def bounds(program: click.Group) -> str:
    """How each bound of the search is proved."""
    blocks: list[str] = []
    for module, tests in property_tests().items():
        found = import_module(f"{_BOUNDS}.{module}")
        proved = [_proof(name, pieces) for name, pieces in proofs(found)]
        blocks += [f"## {module}", *_paragraphs(described(found.__doc__).text)]
        blocks += ["\n".join(proved)] if proved else []
        blocks += ["Held to it by " + ", ".join(f"`{test}`" for test in tests) + "."]
    return page(
        "Bounds of the search",
        "A search judges millions of combinations and computes few. Each bound below says why one may be left out "
        "unseen, in the words of the code that does it; a test over random catalogues and briefs, named at its end, "
        "holds each to it. All of them together are held to the plain search, which judges every combination: the same "
        "best in the same order, as many passing, as many left out by each check. What a bound cannot decide is "
        "computed.", blocks,
    )  # fmt: skip


def property_tests() -> dict[str, list[str]]:
    """Module of the bounds to the names of its property tests."""
    found: dict[str, list[str]] = {}
    for row in _table("bounds"):
        found.setdefault(row["module"], []).append(row["test"])
    return found


def proofs(module: ModuleType) -> list[tuple[str, Described]]:
    """Functions, classes and methods that say more of themselves than one line, by their lines."""
    return [(name, pieces) for name, (_, pieces) in written(module).items() if "\n\n" in pieces.text]


def _proof(name: str, pieces: Described) -> str:
    said = "\n\n".join(_paragraphs(pieces.text)).split("\n")
    return "\n".join([f"- `{name}`", "", *(f"  {line}".rstrip() for line in said), ""])


def _module(module: ModuleType) -> Iterator[str]:
    first, _, rest = described(module.__doc__).text.partition("\n\n")
    yield f"### {module.__name__.partition('.')[2]}"
    yield from _paragraphs("\n\n".join(filter(None, (first, rest))))
    if named := sources_of(module):
        yield _sourced(named)
    laws = [_law(law, named) for law in laws_of(module)]
    if laws:
        yield "\n".join(laws)


def _law(law: Law, named: tuple[str, ...]) -> str:
    """One law as an item of a list."""
    lines = [_proof(f"{law.name}{law.call}", law.described).rstrip("\n")]
    for head, text in law.described.lists:
        lines += ["", f"  {head}: {_prose(text) if head in _PROSE else _listed(text)}"]
    if law.sources != named:
        lines += ["", f"  {_sourced(law.sources)}"]
    return "\n".join([*lines, ""])


def _sourced(named: tuple[str, ...]) -> str:
    return f"Source: {literal('; '.join(named))}."


def _paragraphs(text: str) -> Iterator[str]:
    """Paragraphs of a docstring; what is set in is shown as it stands."""
    for paragraph in re.split(r"\n\s*\n", text):
        if paragraph.startswith("    "):
            yield block(inspect.cleandoc(paragraph))
        elif paragraph.strip():
            yield _prose(paragraph)


def _prose(text: str) -> str:
    return literal(" ".join(_ROLE.sub(lambda found: f"``{found[1] or found[2]}``", text).split()))


def _listed(text: str) -> str:
    """The entries of a list of parameters in one line."""
    entries: list[str] = []
    for line in text.split("\n"):
        if line.startswith(" ") and entries:
            entries[-1] += f" {line.strip()}"
        elif line.strip():
            entries.append(line.strip())
    return _prose("; ".join(entry.removesuffix(".") for entry in entries)) + "."
