"""TOML in and out: parse with the line of every key, faults instead of exceptions, and write records back."""

import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import Fault, did_you_mean
from propmatch.records.fields import declared
from propmatch.records.jsontext import LONGEST_NUMBER

__all__ = ["MOST_BYTES", "TomlText", "dump_lists", "dump_record", "key_lines", "literal", "parse_toml", "read_keys",
           "read_toml"]  # fmt: skip

MOST_BYTES = 4 << 20
"""Of a file of keys: some 20,000 parts."""


@attrs.frozen
class TomlText:
    """What a TOML text holds.

    Attributes
    ----------
    where : str
        File name, or what stands for it.
    data : dict
        The tables; empty when the text could not be parsed.
    lines : dict of str to int
        Line of each key path, list entries counted from 1, as in ``phase[2].throttle``.
    faults : tuple of Fault
        Why the text could not be read, if so.
    """

    where: str
    data: dict[str, Any]
    lines: dict[str, int]
    faults: tuple[Fault, ...] = ()


def read_toml(path: str | Path) -> TomlText:
    """Read a file; a missing, unreadable or wrongly encoded file is a fault too."""
    path = Path(path)
    where = str(path)
    try:
        raw, faults = read_keys(path)
    except FileNotFoundError:
        folder = path.parent
        near = [each.name for each in sorted(folder.glob("*.toml"))] if folder.is_dir() else []
        return TomlText(where, {}, {}, (Fault(where, rule="no such file", hint=did_you_mean(path.name, near)),))
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        return TomlText(where, {}, {}, (Fault(where, rule=f"cannot be read: {reason}"),))
    if faults:
        return TomlText(where, {}, {}, faults)
    try:
        return parse_toml(raw.decode("utf-8-sig"), where)
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        rule = f"must be UTF-8 text; byte {raw[error.start]:#04x} is not"
        return TomlText(where, {}, {}, (Fault(f"{where}:{line}", rule=rule, hint="save the file as UTF-8"),))


def read_keys(path: Path) -> tuple[bytes, tuple[Fault, ...]]:
    """A file of keys, TOML or JSON, as far as its size lets it be one; a table may be of any size.

    Raises
    ------
    OSError
        It cannot be read.
    """
    with path.open("rb") as file:
        raw = file.read(MOST_BYTES + 1)
    if len(raw) <= MOST_BYTES:
        return raw, ()
    rule = f"is larger than {MOST_BYTES >> 20} MB, more than a file of keys may be"
    return b"", (Fault(str(path), rule=rule, hint="write many parts, or a long log, as a table: CSV"),)


def parse_toml(text: str, where: str) -> TomlText:
    """Parse a text; a syntax error is one fault with line and column."""
    import tomllib

    if fault := _too_much(text, where):
        return TomlText(where, {}, {}, (fault,))
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.fullmatch(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", str(error), re.DOTALL)
        message, line, column = found.groups() if found else (str(error), None, None)
        if line is None:
            line, column = str(text.count("\n") + 1), None
        place = f"{where}:{line}" + (f":{column}" if column else "")
        rule, hint = _slip(message, text.split("\n")[int(line) - 1])
        return TomlText(where, {}, {}, (Fault(place, rule=f"not valid TOML: {rule}", hint=hint),))
    except RecursionError:
        return TomlText(where, {}, {}, (Fault(where, rule="not valid TOML: nested too deeply"),))
    except ValueError as error:
        return TomlText(where, {}, {}, (Fault(where, rule=f"not valid TOML: {error}"),))
    return TomlText(where, data, key_lines(text))


def _slip(message: str, line: str) -> tuple[str, str]:
    """What the parser says of a line, or of a usual slip what it is; and what to write."""
    if found := _COMMA.match(line):
        return f"{found[1]},{found[2]} has a comma for its decimal mark", f"write {found[1]}.{found[2]}"
    if message.startswith("Cannot") and (found := _HEADER.match(line)):
        return f"[{found[1]}] stands here again", f"keep one, or where several are meant write [[{found[1]}]] each time"
    return f"{message[:1].lower()}{message[1:]}", ""


def _too_much(text: str, where: str) -> Fault | None:
    """A dotted key that is too deep, of which the parser would keep every beginning, or a number that no double holds.

    Looked for before parsing, so within texts of several lines too.
    """
    for number, line in enumerate(text.split("\n"), start=1):
        if line.count(".") >= _DEEPEST and _DEEP.search(line):
            return Fault(f"{where}:{number}", rule=f"a key goes deeper than {_DEEPEST} tables")
        if len(line) > LONGEST_NUMBER and (found := _LONG.search(line)):
            rule = f"a whole number of {len(found[0])} digits is beyond any that is meant here"
            return Fault(f"{where}:{number}", value=found[0], rule=rule)
    return None


_COMMA = re.compile(r"""[^=#"']*=\s*([+-]?[0-9]+),([0-9]+)\s*(?:#|$)""")
_HEADER = re.compile(r"\s*\[{1,2}\s*([\w.-]+)\s*\]")
_DEEPEST = 8
_WORD = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_DEEP = re.compile(rf"(?<![\w-]){_WORD}(?:[ \t]*+\.[ \t]*+{_WORD}){{{_DEEPEST}}}")
_LONG = re.compile(rf"(?<![\w.])\d[\d_]{{{LONGEST_NUMBER},}}+(?![\w.])")

_TOKEN = re.compile(
    r"""(?P<long>\"\"\"(?:\\.|[^\\])*?\"{3,5}|'''.*?'{3,5})|(?P<short>"(?:\\.|[^"\\\n])*"|'[^'\n]*')"""
    r"""|(?P<comment>\#[^\n]*)|(?P<mark>[\[\]{}=\n])""",
    re.DOTALL | re.VERBOSE,
)
_PIECE = re.compile(r"""\s*("(?:\\.|[^"\\])*"|'[^']*'|[A-Za-z0-9_-]+)\s*(?:\.|$)""")


def key_lines(text: str) -> dict[str, int]:
    """Line number of every key path of a valid TOML text; keys inside ``{}`` have none of their own."""
    lines: dict[str, int] = {}
    counts: dict[str, int] = {}
    prefix = ""
    for number, start in _statements(text):
        if start.startswith("["):
            repeated = start.startswith("[[")
            prefix = _joined(_path(start.strip("[] \t")), "", counts)
            if repeated:
                counts[prefix] = counts.get(prefix, 0) + 1
                lines.setdefault(prefix, number)
                prefix = f"{prefix}[{counts[prefix]}]"
            lines[prefix] = number
        else:
            lines[_joined(_path(start), prefix, counts)] = number
    return lines


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Line number and text of every table header, and of every key up to its ``=``."""
    depth, number, begin, in_value = 0, 1, 0, False
    for token in _TOKEN.finditer(text):
        mark = token.group("mark")
        if token.group("comment") is not None:
            text_before = text[begin : token.start()]
            if depth == 0 and not in_value and text_before.strip().startswith("["):
                yield number, text_before.strip()
                in_value = True
        elif mark == "\n":
            statement = text[begin : token.start()].strip()
            if depth == 0:
                if not in_value and statement.startswith("["):
                    yield number, statement
                begin, in_value = token.end(), False
        elif mark == "=" and depth == 0 and not in_value:
            yield number, text[begin : token.start()].strip()
            in_value = True
        elif mark in ("[", "{") and in_value:
            depth += 1
        elif mark in ("]", "}") and in_value and depth:
            depth -= 1
        number += token.group().count("\n")
    statement = text[begin:].strip()
    if depth == 0 and not in_value and statement.startswith("["):
        yield number, statement


def _path(dotted: str) -> list[str]:
    return [piece if piece[:1] not in "\"'" else piece[1:-1] for piece in _PIECE.findall(dotted)]


def _joined(pieces: list[str], prefix: str, counts: Mapping[str, int]) -> str:
    """Join key pieces; a piece that names a list of tables means its latest entry, except at the end."""
    path = prefix
    for at, piece in enumerate(pieces):
        path = f"{path}.{piece}" if path else piece
        if path in counts and at < len(pieces) - 1:
            path = f"{path}[{counts[path]}]"
    return path


# ---------------------------------------------------------------- writing


def dump_record(record: Any) -> str:
    """Write a record as TOML: plain values, then tables, then lists of tables; defaults are left out.

    Reading the text back gives an equal record.
    """
    return "\n".join(_tables(record, "")).strip("\n") + "\n"


def dump_lists(lists: Mapping[str, Sequence[Any]]) -> str:
    """Write records as lists of tables, each under its key; objects that no file of keys holds are left out."""
    blocks = (f"[[{key}]]\n" + "\n".join(_tables(each, key)) + "\n" for key, some in lists.items() for each in some)
    return "\n".join(blocks)


def _tables(record: Any, path: str) -> Iterator[str]:
    plain: list[str] = []
    nested: list[str] = []
    for rule in sorted(declared(type(record)), key=lambda rule: rule.name != "name"):
        value = getattr(record, rule.name)
        if value is None or rule.kind == "instance" or (not rule.required and value == rule.default):
            continue
        below = f"{path}.{rule.name}" if path else rule.name
        if rule.kind == "one":
            inner = list(_tables(value, below))
            nested += ["", f"[{below}]", *inner]
        elif rule.kind == "numbers":
            nested += ["", f"[{below}]", *(f"{_key(name)} = {literal(each)}" for name, each in value.items())]
        elif rule.kind == "many" and isinstance(rule.item, type):
            for each in value:
                nested += ["", f"[[{below}]]", *_tables(each, below)]
        else:
            plain.append(f"{rule.name} = {literal(value)}")
    yield from plain
    yield from nested


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _quoted(name)


def literal(value: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, tuple):
        return "[" + ", ".join(literal(each) for each in value) + "]"
    return repr(value)


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + re.sub(r"[\x00-\x1f\x7f]", lambda found: f"\\u{ord(found.group()):04x}", escaped) + '"'
