"""A brief as a TOML text to go on from: what is stated, and below it, commented out, every key that could be."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from propmatch.records.briefkeys import BriefKey, brief_keys, sections
from propmatch.records.fields import Declared, declared
from propmatch.records.sections import Brief
from propmatch.records.tomltext import literal

__all__ = ["commented_brief"]

_FIRST = ("aircraft", "wing", "limits", "phase[]", "prefer", "site", "radio", "pack", "launch")


def commented_brief(brief: Brief, notes: Mapping[str, str], head: Sequence[str] = ()) -> str:
    """TOML that reads back as ``brief``, with every other key commented out, one line each.

    Parameters
    ----------
    brief : Brief
    notes : mapping of str to str
        Key path to what to say beside it instead of its meaning.
    head : sequence of str
        Comment lines at the top.
    """
    keys = {key.path: key for key in brief_keys()}
    tables = {path: rules for path, _, rules in sections()}
    about = {path: table.doc for path, table, _ in sections()}
    order = sorted(tables, key=lambda path: _FIRST.index(path) if path in _FIRST else len(_FIRST))
    lines = [f"# {line}".rstrip() for line in head]
    for path in order:
        stated = _stated(brief, path)
        of_table = [keys[f"{path}.{rule.name}"] for rule in sorted(tables[path], key=lambda rule: rule.name != "name")]
        lines += ["", f"# {about[path]}"]
        for record in stated:
            lines += [_header(path), *_given(record, of_table, notes)]
            lines += [] if path.endswith("[]") else _silent(record, of_table)
        if not stated or path.endswith("[]"):
            lines += [f"# {_header(path)}", *_silent(None, of_table)]
    return "\n".join(lines).strip("\n") + "\n"


def _stated(brief: Brief, path: str) -> list[Any]:
    """The tables at a path that say anything; of the aircraft and its lists of tables alone, nothing deeper."""
    name = path.removesuffix("[]")
    if "." in name or "[]" in name:
        return []
    held = getattr(brief, name)
    if path.endswith("[]"):
        return list(held)
    return [] if held is None or not any(_says(held, rule) for rule in declared(type(held))) else [held]


def _says(record: Any, rule: Declared) -> bool:
    value = getattr(record, rule.name)
    return value is not None and (rule.required or value != rule.default)


def _header(path: str) -> str:
    name = path.replace("[]", "")
    return f"[[{name}]]" if path.endswith("[]") else f"[{name}]"


def _given(record: Any, keys: Sequence[BriefKey], notes: Mapping[str, str]) -> Iterator[str]:
    for key in keys:
        if _says(record, key.rule):
            told = notes.get(key.path, _meaning(key, stated=True))
            yield f"{key.rule.name} = {literal(getattr(record, key.rule.name))}" + (f"    # {told}" if told else "")


def _silent(record: Any, keys: Sequence[BriefKey]) -> Iterator[str]:
    """Keys not stated: the default where there is one, else nothing behind the sign, to be filled in."""
    for key in keys:
        if record is None or not _says(record, key.rule):
            plain = key.rule.default if isinstance(key.rule.default, bool | int | float | str) else None
            value = "" if plain is None or key.rule.required else f" {literal(plain)}"
            yield f"# {key.rule.name} ={value}    # {_meaning(key)}"


def _meaning(key: BriefKey, stated: bool = False) -> str:
    """Unit, meaning, the words allowed, and whether something stands in while it is not stated: all on one line."""
    rule = key.rule
    doc = rule.doc or getattr(rule.item, "doc", "")
    words = ("or " if rule.kind == "words or number" else "") + ", ".join(rule.options)
    assumed = "assumed" if key.left_out and not stated else ""
    return "; ".join(filter(None, (rule.unit, doc, words if rule.options else "", assumed)))
