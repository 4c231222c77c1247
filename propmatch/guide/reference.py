"""Pages of reference, written from what records, checks, columns, commands and docstrings declare.

Each public function writes one page; ``program`` is the command line.
"""

import inspect
import re
import sys
from collections.abc import Iterator
from importlib import import_module
from pkgutil import walk_packages
from typing import Any

import attrs
import click

import propmatch.catalogue.hookspecs as specs
from propmatch.checks.checkrules import CHECKS
from propmatch.checks.rule import CheckRule
from propmatch.columns import Column, columns_of
from propmatch.guide.marked import block, literal, page
from propmatch.records.brief import Brief, Phase
from propmatch.records.briefkeys import BriefKey, brief_keys, sections
from propmatch.records.fields import Declared, declared
from propmatch.records.parts import Airframe, Controller, Motor, Pack, Propeller
from propmatch.status import Flag, Status
from propmatch.words.glossary import glossary_lines

__all__ = ["brief", "checks", "columns", "commands", "hooks", "parts", "python", "statuses", "words"]

_PACKAGE = __package__.partition(".")[0]
_PARTS = (Motor, Controller, Pack, Propeller, Airframe)


def words(program: click.Group) -> str:
    """The trade's words."""
    return page("Words", "What the words of the trade mean here, and what options and data call them.",
                 ["\n".join(glossary_lines())])  # fmt: skip


def brief(program: click.Group) -> str:
    """Every key of a brief by its table."""
    known, blocks = {key.path: key for key in brief_keys()}, []
    for path, table, rules in sections():
        head = f"[[{path.replace('[]', '')}]]" if path.endswith("[]") else f"[{path.replace('[]', '')}]"
        lines = []
        for rule in rules:
            lines.append(f"- `{rule.name}`: {_meaning(rule)}.{_left_out(known[f'{path}.{rule.name}'])}")
        blocks += [f"## `{head}`", f"{literal(table.doc[:1].upper() + table.doc[1:])}.", "\n".join(lines)]
    return page(
        "Keys of a brief",
        "A brief is a TOML file. Tables in double brackets may stand several times. What stands in for a key left out "
        "is shown beside every answer; its numbers here are those of an aircraft of 200 g. A key of which nothing is "
        "said may be left out, as if there were no such thing.", blocks,
    )  # fmt: skip


def _left_out(key: BriefKey) -> str:
    """What holds where a key is left out, where that is more than nothing."""
    if key.rule.required:
        return " It must be given where its table stands."
    if key.left_out:
        return f" Left out: {literal(key.left_out)}."
    return "" if key.rule.default in (None, ()) else f" Left out: {literal(key.default)}."


def _meaning(rule: Declared) -> str:
    doc = rule.doc or getattr(rule.item, "doc", "")
    return "; ".join(literal(text) for text in (doc, rule.rule) if text)


def parts(program: click.Group) -> str:
    """Every field of the parts."""
    blocks = []
    for cls in _PARTS:
        lines = []
        for rule in declared(cls):
            if rule.kind == "instance":
                continue
            none = "must be given" if rule.required else "" if rule.default in (None, ()) else f"else {rule.default}"
            lines.append(f"- `{rule.name}`: {_meaning(rule)}{f'; {literal(none)}' if none else ''}.")
        about = inspect.getdoc(cls) or ""
        blocks += [f"## {cls.__name__}", literal(about.partition("\n")[0]), "\n".join(lines)]
    return page(
        "Fields of the parts",
        "Tables of your own may use these names or the usual headings of shops and spreadsheets. A field that may be "
        "left out is estimated where an answer needs it, and the estimate is shown.", blocks,
    )  # fmt: skip


def commands(program: click.Group) -> str:
    """Every command with its options."""
    context = click.Context(program, info_name=_PACKAGE)
    blocks = [block for name in program.list_commands(context) for block in _command(program, name, context)]
    return page("Commands", f"What `{_PACKAGE} COMMAND --help` says, on one page.", blocks)


def _command(group: click.Group, name: str, above: click.Context, level: int = 2) -> Iterator[str]:
    """A command, and where it is a group those below it."""
    command = group.get_command(above, name)
    if command is None:
        return
    context = click.Context(command, info_name=name, parent=above)
    yield f"{'#' * level} {context.command_path.removeprefix(f'{_PACKAGE} ')}"
    yield block(" ".join([context.command_path, *command.collect_usage_pieces(context)]))
    for text in inspect.cleandoc(command.help or "").split("\n\n"):
        yield block(text.removeprefix("\b\n")) if text.startswith("\b") else literal(text)
    said = (parameter.get_help_record(context) for parameter in command.params)
    options = [f"- `{names}`: {literal(text)}" for names, text in filter(None, said) if text]
    if options:
        yield "\n".join(options)
    if isinstance(command, click.Group):
        for below in command.list_commands(context):
            yield from _command(command, below, context, level + 1)


def columns(program: click.Group) -> str:
    """Every number of every answer."""
    found: dict[str, Column] = {}
    for column in _columns(program):
        found.setdefault(column.name, column)
    lines = [
        f"- `{name}`{f' [{literal(column.unit)}]' if column.unit else ''}: {literal(column.label or column.heading)}."
        for name, column in sorted(found.items())
        if column.label or column.heading
    ]
    return page(
        "Columns",
        "The names of numbers in JSON and CSV, with unit and meaning; a name means the same in every command. One that "
        "has a range is followed by `NAME_low` and `NAME_high`, which hold 80 of 100 builds.", ["\n".join(lines)],
    )  # fmt: skip


def _columns(program: click.Group) -> Iterator[Column]:
    """The columns that any module declares, as fields of a class of rows or as a tuple."""
    context = click.Context(program)
    for name in program.list_commands(context):
        program.get_command(context, name)
    for room in ("aircraft", "bench", "checks", "questions", "search"):
        for module in walk_packages(import_module(f"{_PACKAGE}.{room}").__path__, f"{_PACKAGE}.{room}."):
            import_module(module.name)
    for name in sorted(each for each in sys.modules if each.startswith(f"{_PACKAGE}.")):
        for value in list(vars(sys.modules[name]).values()):
            if isinstance(value, type) and attrs.has(value):
                yield from columns_of(value)
            elif isinstance(value, tuple):
                yield from (each for each in value if isinstance(each, Column))


def checks(program: click.Group) -> str:
    """Every check."""
    blocks = [block for rule in CHECKS.values() for block in (f"## {rule.name}", _check(rule))]
    return page(
        "Checks",
        "What every combination is judged by, in the order in which it is counted as left out. A check ends as `ok`, "
        "`close` (it passes on paper, with less than the chance asked), `fails`, `no limit` or `unknown`.", blocks,
    )  # fmt: skip


def _check(rule: CheckRule) -> str:
    unit = f" [{literal(rule.unit)}]" if rule.unit else ""
    side = "at least" if rule.least else "at most"
    limit = [literal(rule.limit_from)] if rule.limit_from else []
    limit += [f"`limits.{rule.limit_key}`"] if rule.limit_key else []
    lines = [
        f"- what: {literal(rule.what)}{unit}, {side} the limit",
        f"- limit from: {', '.join([literal(rule.basis), *limit])}",
        f"- taken: {literal(rule.state.words)}",
        *([f"- formula: `{rule.formula}`"] if rule.formula else []),
    ]
    return "\n".join(lines)


def statuses(program: click.Group) -> str:
    """Statuses and flags."""
    kinds = [f"- `{each.name}`: {literal(each.meaning)}." for each in Status]
    flags = [f"- `{each.name}`: {literal(', '.join(each.remarks))}." for each in Flag if each]
    return page(
        "Statuses",
        "Each calculation ends with a status. Only `OK` and `OFF` carry numbers; every other comes without, and never "
        "disturbs its neighbours.",
        ["\n".join(kinds), "## Flags", "Remarks on a calculation that has an answer.", "\n".join(flags)],
    )  # fmt: skip


def python(program: click.Group) -> str:
    """The public names of the package."""
    package = sys.modules[_PACKAGE]
    blocks: list[str] = []
    for name in package.__all__:
        if not name.startswith("_"):
            blocks += _documented(name, getattr(package, name))
    return page("Python", f"What `from {_PACKAGE} import ...` gives. Numbers carry their unit in the name.", blocks)


def hooks(program: click.Group) -> str:
    """The hooks and what they answer."""
    blocks: list[str] = []
    for name in sorted(name for name in vars(specs) if name.startswith(f"{_PACKAGE}_")):
        blocks += _documented(name, getattr(specs, name))
    for cls in (specs.PartSet, specs.PartRow, specs.TableAnswer, specs.ExtraCheck, specs.SheetSection):
        blocks += _documented(cls.__name__, cls)
    return page("Hooks", "What a plugin may answer; [how to write one](plugin.md) comes first.", blocks)


def _short(call: str) -> str:
    """A signature whose types go without their modules and quotation marks."""
    return re.sub(r"\b(?:[a-z_]\w*\.)+(?=\w)", "", re.sub(r"(: |-> )'([^']*)'", r"\1\2", call))


def _documented(name: str, thing: Any) -> list[str]:
    """Heading, call, first paragraph, and the rest as it stands; a record's fields have a page of their own."""
    call = _short(str(inspect.signature(thing))) if inspect.isfunction(thing) else ""
    first, _, rest = (inspect.getdoc(thing) or "").partition("\n\n")
    shown = [block(f"{name}{call}")] if call else []
    page = "parts" if thing in _PARTS else "brief" if thing in (Brief, Phase) else ""
    after = [f"Its fields are on [their own page]({page}.md)."] if page else [block(rest)] if rest.strip() else []
    return [f"## {name}", *shown, literal(first), *after]
