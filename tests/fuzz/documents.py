"""Briefs, and parts in TOML and JSON: every number of the text must be that of the record it became."""

import json
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from propmatch.brief import loads_brief, resolve_variants
from propmatch.faults import Fault, InputFaults
from propmatch.hookspecs import PartRow
from propmatch.records.briefkeys import brief_keys
from propmatch.records.fields import build, declared
from propmatch.records.jsontext import parse_json
from propmatch.records.parts import KINDS
from propmatch.records.tomltext import dump_lists, key_lines, parse_toml
from propmatch_datasets import briefs as bundled_briefs
from propmatch_datasets import path
from propmatch_plugins.reading.documents import read_document
from propmatch_plugins.reading.heading import read_mapping

from .harness import Misread, Trial
from .oracle import same
from .tables import USUAL
from .writing import ODD, damaged, number

__all__ = ["briefs", "mappings", "parts_documents"]

LITERALS = (
    "nan", "inf", "-inf", "true", "false", '""', '"5"', "'x'", "[]", "{}", "[1, 2]", "{a = 1}", "1_000", "0x1F",
    "0o7", "0b1", "1e5", "1e400", "-0.0", "+5", "9" * 400, "9" * 5000, "2024-05-01", "07:32:00", '"""a\nb"""',
    "1.5e-3", '"\\u202e"', "[[1.0]]", '"' + "x" * 5000 + '"', "0", "-1", "1e-320",
)  # fmt: skip


@lru_cache
def _texts() -> list[str]:
    return [path(f"briefs/{name}.toml").read_text() for name in bundled_briefs()]


@lru_cache
def _keys() -> list[Any]:
    return [key for key in brief_keys() if key.path.count(".") == 1]


def briefs(trial: Trial) -> None:
    """A bundled brief with keys set, lines moved, or bytes damaged."""
    rng = trial.rng
    text = rng.choice(_texts())
    what = rng.random()
    if what < 0.7:
        lines = text.split("\n")
        for _ in range(rng.randint(1, 4)):
            _change_line(trial, lines)
        text = "\n".join(lines)
    elif what < 0.8:
        text = damaged(rng, text.encode()).decode("utf-8", errors="replace")
    else:
        text += "\n" + rng.choice(["a." * 5000 + "b = 1", "x = " + "[" * 5000, "[a]\n" * 50, '"' * 1000, "\r\r\n",
                                   "[[phase]]\n" * 3, "[aircraft]\nname = 1", "a = 1\na = 2", "[x" * 500])  # fmt: skip
    trial.show(text)
    try:
        brief = loads_brief(text, "b.toml")
    except InputFaults as error:
        str(error)
        return
    _compare(trial, "brief", tomllib.loads(text), brief)
    if rng.random() < 0.1:
        resolve_variants(brief)


def _change_line(trial: Trial, lines: list[str]) -> None:
    rng = trial.rng
    at = rng.randrange(len(lines))
    key, equals, _ = lines[at].partition("=")
    if equals and rng.random() < 0.6:
        rule = next((each.rule for each in _keys() if each.path.endswith(f".{key.strip()}")), None)
        new = rng.choice(LITERALS)
        if rule is not None and rule.kind == "number" and rng.random() < 0.8:
            low, high = (rule.ge if rule.ge is not None else rule.gt or 0.01), rule.le or rule.lt or 1000
            new = repr(number(rng, max(float(low), 0.01), float(high)))
        lines[at] = f"{key}= {new}"
    elif rng.random() < 0.5:
        del lines[at]
        lines.append("")
    else:
        lines.insert(
            rng.randrange(len(lines)),
            rng.choice([lines[at], f"{rng.choice(_keys()).rule.name} = {rng.choice(LITERALS)}"]),
        )


def _compare(trial: Trial, path: str, data: Mapping[str, Any], record: Any) -> None:
    """Every number of a table is that of the record, at the same place."""
    for key, value in data.items():
        held = record.get(key) if isinstance(record, Mapping) else getattr(record, key, None)
        _compare_value(trial, f"{path}.{key}", value, held)


def _compare_value(trial: Trial, path: str, value: Any, held: Any) -> None:
    if isinstance(value, Mapping):
        _compare(trial, path, value, held)
    elif isinstance(value, list):
        if not hasattr(held, "__len__") or len(held) != len(value):
            raise Misread(f"document, list: {path} is {value!r:.200}, {held!r:.200} was taken")
        for at, (each, kept) in enumerate(zip(value, held, strict=True), start=1):
            _compare_value(trial, f"{path}[{at}]", each, kept)
    elif isinstance(value, int | float):
        trial.judged += 1
        alike = value == held and isinstance(held, bool) == isinstance(value, bool)
        if not alike and not (
            isinstance(held, int | float) and not isinstance(value, bool) and same(float(value), float(held))
        ):
            raise Misread(f"document, number: {path} is {value!r}, {held!r} was taken")
    elif isinstance(value, str) and isinstance(held, str) and value != held:
        raise Misread(f"document, text: {path} is {value!r:.100}, {held!r:.100} was taken")


# ---------------------------------------------------------------- parts


def _members(trial: Trial) -> tuple[str, list[dict[str, Any]]]:
    rng = trial.rng
    kind = rng.choice(list(KINDS))
    rules = [rule for rule in declared(KINDS[kind]) if rule.kind in ("number", "integer")]
    odd: list[Any] = [None, True, "5", "5 g", [], {}, -1, 0, 1e300, 10**30, [1], "x"]
    members = []
    for at in range(rng.randint(1, 3)):
        member: dict[str, Any] = {"name": f"part {at}"}
        for rule in rules:
            if rule.required or rng.random() < 0.3:
                low, high = USUAL.get(rule.name, (rule.ge or rule.gt or 0.01, rule.le or rule.lt or 1000.0))
                value = number(rng, float(low), float(high))
                member[rule.name] = int(max(1, min(value, 12))) if rule.kind == "integer" else value
                if rng.random() < 0.04:
                    member[rule.name] = rng.choice(odd)
        members.append(member)
    return kind, members


def parts_documents(trial: Trial) -> None:
    """Lists of parts in JSON or TOML, sound, odd or damaged."""
    rng = trial.rng
    kind, members = _members(trial)
    if rng.random() < 0.6:
        name, text = (
            "parts.json",
            json.dumps({kind: members} if rng.random() < 0.8 else members, indent=rng.choice([None, 1])),
        )
    else:
        made = [part for each in members if (part := build(KINDS[kind], each, "f")[0]) is not None]
        name, text = "parts.toml", dump_lists({kind: made})
    if rng.random() < 0.2:
        text = text.replace(
            rng.choice(["1", "2", ".", ":", "{", '"', "name"]), rng.choice([*ODD[:60], "1.0", "[", "NaN"]), 1
        )
    raw = damaged(rng, text.encode()) if rng.random() < 0.3 else text.encode("utf-8", errors="replace")
    file = trial.file(f"{kind}.json" if name.endswith("json") else name, raw)
    items = list(read_document(file))
    if any(isinstance(item, Fault) and item.kind == "fault" for item in items):
        return
    text = raw.decode("utf-8-sig", errors="replace")
    if "\ufffd" in text:
        return  # read as Latin-1, and said
    data = json.loads(text, parse_int=float) if file.suffix == ".json" else tomllib.loads(text)
    lists = (
        data
        if isinstance(data, list)
        else [each for value in data.values() if isinstance(value, list) for each in value]
    )
    rows = [item for item in items if isinstance(item, PartRow)]
    for item, value in zip(rows, lists, strict=True):
        if item.values is None or not isinstance(value, dict):
            continue
        part, faults = build(KINDS[item.kind], item.values, item.where)
        if part is not None and not faults:
            _compare(
                trial,
                "part",
                {
                    key: each
                    for key, each in value.items()
                    if key not in ("kind", "source", "uncertainty", "source_kind") and each is not None
                },
                part,
            )


def mappings(trial: Trial) -> None:
    """A mapping file, or any TOML or JSON text at all."""
    rng = trial.rng
    pieces = [
        "[columns]", '"Max. A" = "max_current_a"', '"W" = "mass_g"', "[units]", '"W" = "oz"', "[constants]",
        "mass_g = 5", 'kind = "motors"', 'ignore = ["x"]', "ignore = 5", "kind = 3", "[columns.x]", '"W" = 5',
        'x = "kind"', "[[units]]", '"W" = "foo"', f"mass_g = {rng.choice(LITERALS)}",
        f"{rng.choice(['a', 'columns', 'units.x'])} = {rng.choice(LITERALS)}",
    ]  # fmt: skip
    text = "\n".join(rng.choice(pieces) for _ in range(rng.randint(1, 8)))
    text = damaged(rng, text.encode()).decode("utf-8", errors="replace") if rng.random() < 0.3 else text
    file = trial.file("x.mapping.toml", text)
    try:
        read_mapping(file)
    except InputFaults as error:
        str(error)
    if not parse_toml(text, "f").faults:
        key_lines(text)
    parse_json(
        text
        if rng.random() < 0.2
        else rng.choice(["[" * 100000, '{"a":' * 3000, "9" * 5000, "-", '"\\ud800"', "{}x", "1e999", "\ufeff{}"]),
        "f",
    )
