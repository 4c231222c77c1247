"""From the part sets that plugins answer to checked parts: every fault is kept, nothing is dropped without a word."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from copy import copy
from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.hookspecs import SCHEMA_VERSION, PartRow, PartSet, TableAnswer
from propmatch.catalogue.plugins import PluginProblem, PluginReport
from propmatch.faults import Fault, InputFaults, cause_of, did_you_mean
from propmatch.models.pack import CHEMISTRIES, Chemistry
from propmatch.models.tables import CoefficientTable
from propmatch.records.fields import build, replace
from propmatch.records.parts import KINDS, LISTED, Pack, Propeller, Source

__all__ = ["KindParts", "make_of", "owned", "read_kind", "table_of", "with_tables"]


_ARRAYED = (np.ndarray, CoefficientTable, Chemistry)


def owned(value: Any) -> Any:
    """A record that shares nothing which whoever made it may still change; its arrays are read-only for good."""
    if isinstance(value, np.ndarray):
        array = value.copy()
        array.setflags(write=False)
        return array.view()
    new = value
    for field in attrs.fields(type(value)):
        old = getattr(value, field.name)
        if isinstance(old, _ARRAYED):
            new = copy(value) if new is value else new
            object.__setattr__(new, field.name, owned(old))
    return new


@attrs.frozen(kw_only=True)
class KindParts:
    """The parts of one kind as read.

    Attributes
    ----------
    parts : dict
        Id to part, by plugin, set and row.
    faults : list of Fault
    set_aside : int
        Rows that became no part.
    """

    parts: dict[str, Any] = attrs.field(factory=dict)
    faults: list[Fault] = attrs.field(factory=list)
    set_aside: int = 0


class _Reader:
    """Collects one kind from every plugin."""

    def __init__(self, kind: str, report: PluginReport, chemistries: Mapping[str, Chemistry]) -> None:
        self.kind = kind
        self.cls = KINDS[kind]
        self.report = report
        self.chemistries = chemistries
        self.parts: dict[str, Any] = {}
        self.places: dict[str, str] = {}
        self.faults: list[Fault] = []
        self.set_aside = 0

    def read(self) -> KindParts:
        hook = f"propmatch_{self.kind}"
        for answer in self.report.ask(hook):
            for part_set in self._sets(answer.plugin, hook, answer.value):
                self._read_set(answer.plugin, hook, part_set)
        self._say_same_names()
        return KindParts(parts=self.parts, faults=self.faults, set_aside=self.set_aside)

    def _say_same_names(self) -> None:
        """A note where parts of two of the user's boxes have one name: both are kept, each under its id."""
        first: dict[str, str] = {}
        for name, part in self.parts.items():
            plugin = self.report.plugins.get(name.partition("/")[0])
            if plugin is None or plugin.distribution:
                continue
            other = first.setdefault(part.name.casefold(), name)
            if other.partition("/")[0] != plugin.name:
                rule = f"{other} has this name too; both are kept"
                self.faults.append(Fault(self.places[name], "name", part.name, rule, f"say {name}", kind="note"))

    def _sets(self, plugin: str, hook: str, answer: Any) -> Iterator[PartSet]:
        if not isinstance(answer, Iterable) or isinstance(answer, str | bytes | Mapping):
            problem = PluginProblem(f"must answer a list of PartSet, not {type(answer).__name__}")
            self.report.record(plugin, "verify", problem, hook=hook)
            return
        sets: list[Any] = []
        with self.report.calling(plugin, hook):
            sets.extend(answer)
        for each in sets:
            if not isinstance(each, PartSet):
                problem = PluginProblem(f"must answer a list of PartSet, found {type(each).__name__}")
                self.report.record(plugin, "verify", problem, hook=hook)
            elif each.schema_version > SCHEMA_VERSION:
                problem = PluginProblem(
                    f"set '{each.id}' has row layout {each.schema_version}, this version reads up to {SCHEMA_VERSION}"
                )
                self.report.record(plugin, "verify", problem, hook=hook)
            else:
                yield each

    def _read_set(self, plugin: str, hook: str, part_set: PartSet) -> None:
        values = {"text": part_set.source, "kind": part_set.source_kind, "uncertainty": part_set.uncertainty}
        source, wrong = build(Source, values, f"{plugin}:{part_set.id}", path="source")
        self.faults += wrong
        with self.report.calling(plugin, f"{hook}, set '{part_set.id}'"):
            for at, item in enumerate(part_set.load(), start=1):
                where = f"{plugin}:{part_set.id}:{at}"
                try:
                    self._take(plugin, where, item, source)
                except Exception as error:
                    self.faults.append(Fault(getattr(item, "where", where), rule=f"is no row: {cause_of(error)}"))
                    self.set_aside += 1

    def _take(self, plugin: str, where: str, item: Any, source: Source | None) -> None:
        if isinstance(item, Fault):
            self.faults.append(item)
            self.set_aside += item.kind == "fault"
            return
        if isinstance(item, PartRow):
            if item.faults:
                self.faults += item.faults
                self.set_aside += item.rows
                return
            where, item = item.where, item.values if item.part is None else item.part
        faults: list[Fault] = []
        part = None
        if isinstance(item, Mapping):
            part, faults = self._from_row(plugin, where, item, source)
        elif isinstance(item, self.cls):
            named = f"{plugin}/{_own_id(plugin, item.id or item.name)}"  # type: ignore[attr-defined]
            part, faults = (item, []) if item.id == named else _changed(item, where, id=named)  # type: ignore[attr-defined]
        else:
            rule = f"must be a row of keys or a {self.cls.__name__}"
            faults = [Fault(where=where, value=type(item).__name__, rule=rule)]
        if part is not None and not faults:
            faults = self._rules_of_the_whole(part, where)
        if part is None or faults:
            self.faults += faults
            self.set_aside += 1
            return
        self.parts[part.id] = owned(self._with_cells(part))
        self.places[part.id] = where

    def _from_row(
        self, plugin: str, where: str, row: Mapping[str, Any], source: Source | None
    ) -> tuple[Any, list[Fault]]:
        values = dict(row)
        own = values.get("id")
        own = values.get("name") if own is None else own
        if isinstance(own, str) and own.strip():
            values["id"] = f"{plugin}/{_own_id(plugin, own)}"
        if isinstance(price := values.get("price"), int | float) and not isinstance(price, bool):
            values["price"] = f"{price:g}"
        stated = values.get("source")
        kind, uncertainty = values.pop("source_kind", None), values.pop("uncertainty", None)
        if stated is None and source is not None and kind is None and uncertainty is None:
            values["source"] = source
        elif stated is None or isinstance(stated, str):
            default = source or Source(text="not stated", kind="assumed")
            values["source"] = {
                "text": default.text if stated is None else stated,
                "kind": default.kind if kind is None else kind,
                "uncertainty": default.uncertainty if uncertainty is None else uncertainty,
            }
        return build(self.cls, {**LISTED.get(self.cls, {}), **values}, where)

    def _with_cells(self, part: Any) -> Any:
        """A pack with the cells that a plugin adds, so that they go wherever it goes."""
        if not isinstance(part, Pack) or not isinstance(part.chemistry, str) or part.chemistry in CHEMISTRIES:
            return part
        return replace(part, chemistry=self.chemistries[part.chemistry])

    def _rules_of_the_whole(self, part: Any, where: str) -> list[Fault]:
        """Rules that one row cannot know: ids are unique, a chemistry must exist."""
        if part.id in self.parts:
            first = self.places[part.id]
            rule = f"this id is taken by the part at {first}; an id names one part, the second is set aside"
            return [Fault(where=where, key="id", value=part.id, rule=rule)]
        if isinstance(part, Pack) and isinstance(part.chemistry, str) and part.chemistry not in self.chemistries:
            known = ", ".join(self.chemistries)
            hint = did_you_mean(part.chemistry, self.chemistries)
            return [Fault(where, "chemistry", part.chemistry, f"must be one of {known}", hint)]
        return []


def _changed(part: Any, where: str, **changes: Any) -> tuple[Any, list[Fault]]:
    """A part with some fields changed and all of them checked, or what forbids it: a faulty part costs itself alone."""
    try:
        return attrs.evolve(part, **changes), []
    except (TypeError, ValueError) as error:
        return None, [Fault(where, value=part.name, rule=str(error).replace("\n", "; "))]


def _own_id(plugin: str, text: str) -> str:
    """The part's half of an id; a part that comes with the whole id keeps it."""
    return text.strip().removeprefix(f"{plugin}/")


def read_kind(kind: str, report: PluginReport, chemistries: Mapping[str, Chemistry]) -> KindParts:
    """Ask every plugin for the parts of one kind and check them.

    Parameters
    ----------
    kind : str
        ``motors``, ``controllers``, ``packs`` or ``propellers``.
    report : PluginReport
        The loaded plugins; a plugin that fails is recorded there.
    chemistries : mapping
        Known cell chemistries by name.

    Returns
    -------
    KindParts
    """
    return _Reader(kind, report, chemistries).read()


def with_tables(read: KindParts, report: PluginReport) -> KindParts:
    """The propellers with a table each: one without asks the plugins, and is set aside when none answers.

    Answers with the same numbers share one table.
    """
    if all(propeller.table is not None for propeller in read.parts.values()):
        return read
    makers: dict[str, list[Propeller]] = {}
    teachers: dict[str, list[Propeller]] = {}
    for name, propeller in read.parts.items():
        maker = name.partition("/")[0]
        makers.setdefault(maker, []).append(propeller)
        if _teaches(propeller):
            teachers.setdefault(maker, []).append(propeller)
    tables: dict[tuple[bytes, ...], CoefficientTable] = {}
    parts: dict[str, Any] = {}
    faults = list(read.faults)
    for name, propeller in read.parts.items():
        if propeller.table is None:
            try:
                others = (teachers if propeller.sibling is None else makers).get(name.partition("/")[0], ())
                answer = table_of(propeller, others, report, name)
            except InputFaults as error:
                faults += error.faults
                continue
            if answer is None:
                rule = "has no coefficient table and no plugin answers one"
                faults.append(Fault(where=name, key="table", rule=rule))
                continue
            numbers = attrs.astuple(answer.table, recurse=False)
            table = tables.setdefault(tuple(each.tobytes() for each in numbers), answer.table)
            propeller, wrong = _changed(propeller, name, table=table, source=answer.source)
            faults += wrong
            if propeller is None:
                continue
        parts[name] = propeller
    lost = len(read.parts) - len(parts)
    return KindParts(parts=parts, faults=faults, set_aside=read.set_aside + lost)


def table_of(
    propeller: Propeller, others: Sequence[Propeller], report: PluginReport, where: str = "propeller"
) -> TableAnswer | None:
    """The first plugin's answer for a propeller without a table; a faulty answer is recorded and passed over.

    ``others`` are those of the same plugin, among which are its siblings and what its ``sibling`` may name.

    Raises
    ------
    InputFaults
        Its ``sibling`` cannot be read, or teaches nothing; what a plugin says is wrong with it.
    """
    hook = "propmatch_coefficient_table"
    siblings = _siblings(propeller, others, where)
    for answer in report.ask(hook, propeller=propeller, siblings=siblings):
        value = answer.value
        if isinstance(value, InputFaults):
            raise InputFaults([attrs.evolve(fault, where=where) for fault in value.faults])
        if (
            isinstance(value, TableAnswer)
            and isinstance(value.table, CoefficientTable)
            and isinstance(value.source, Source)
        ):
            return attrs.evolve(value, table=owned(value.table), source=owned(value.source))
        problem = PluginProblem(f"must answer None or a TableAnswer of table and source, not {type(value).__name__}")
        report.record(answer.plugin, "verify", problem, hook=hook)
    return None


def make_of(name: str) -> str:
    """Make and line of a propeller: the words before its size, lower case; empty when there are none."""
    words = []
    for word in name.lower().replace("_", " ").replace("-", " ").split():
        if any(letter.isdigit() for letter in word):
            break
        words.append(word)
    return " ".join(words)


def _siblings(propeller: Propeller, others: Sequence[Propeller], where: str) -> tuple[Propeller, ...]:
    """Propellers of the same make that teach something: names begin alike, or ``sibling`` names it."""
    make = make_of(propeller.name)
    known = [
        each
        for each in others
        if make and _teaches(each) and make_of(each.name) == make and each is not propeller
        and (propeller.family is None or each.family in (None, propeller.family))
    ]  # fmt: skip
    if propeller.sibling is None:
        return tuple(known)
    named = _named_sibling(propeller.sibling, others, where)
    if not _teaches(named):
        rule = "teaches nothing: it is neither measured nor read"
        hint = "say what it reads at rest: '8x5 9000rpm 60W' (wattmeter) or '8x5 9000rpm 300gf' (scale)"
        raise InputFaults([Fault(where, "sibling", propeller.sibling, rule, hint)])
    return (*(each for each in known if each is not named), named)


def _teaches(propeller: Propeller) -> bool:
    """Whether a propeller was measured, or read at one speed."""
    return propeller.read_rpm is not None or (propeller.table is not None and propeller.source.kind == "measured")


def _named_sibling(text: str, others: Sequence[Propeller], where: str) -> Propeller:
    for each in others:
        if text in (each.id, each.name) or (each.id or "").partition("/")[2] == text:
            return each
    from propmatch.records.typed import looks_typed, read_part

    typed = read_part(Propeller, text, where)
    if typed.part is None:
        unknown = [Fault(where, value=text, rule="no propeller with this id or name")]
        faults = typed.faults if looks_typed(text) else unknown
        raise InputFaults(
            [attrs.evolve(fault, key=f"sibling.{fault.key}" if fault.key else "sibling") for fault in faults]
        )
    part: Propeller = typed.part
    return part
