"""From the part sets that plugins answer to checked parts: every fault is kept, nothing is dropped without a word."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import attrs

from propmatch.catalogue.hookspecs import SCHEMA_VERSION, PartRow, PartSet, TableAnswer
from propmatch.catalogue.plugins import PluginProblem, PluginReport
from propmatch.faults import Fault, did_you_mean
from propmatch.models.pack import Chemistry
from propmatch.models.tables import CoefficientTable
from propmatch.records.fields import build, replace
from propmatch.records.parts import KINDS, LISTED, Pack, Propeller, Source

__all__ = ["KindParts", "read_kind", "table_of", "with_tables"]


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
        for each in answer:
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
        try:
            for at, item in enumerate(part_set.load(), start=1):
                self._take(plugin, f"{plugin}:{part_set.id}:{at}", item, source)
        except Exception as error:
            self.report.record(plugin, "call", error, hook=f"{hook}, set '{part_set.id}'")

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
        self.parts[part.id] = part
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
    """A part with some fields changed, or what forbids it: a faulty part costs itself alone."""
    try:
        return replace(part, **changes), []
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
    """The propellers with a table each: one without asks the plugins, and is set aside when none answers."""
    if all(propeller.table is not None for propeller in read.parts.values()):
        return read
    siblings: dict[str, list[Propeller]] = {}
    for name, propeller in read.parts.items():
        if propeller.table is not None:
            siblings.setdefault(name.partition("/")[0], []).append(propeller)
    parts: dict[str, Any] = {}
    faults = list(read.faults)
    for name, propeller in read.parts.items():
        if propeller.table is None:
            known = tuple(siblings.get(name.partition("/")[0], ()))
            answer = table_of(propeller, known, report)
            if answer is None:
                rule = "has no coefficient table and no plugin answers one"
                faults.append(Fault(where=name, key="table", rule=rule))
                continue
            propeller, wrong = _changed(propeller, name, table=answer.table, source=answer.source)
            faults += wrong
            if propeller is None:
                continue
        parts[name] = propeller
    lost = len(read.parts) - len(parts)
    return KindParts(parts=parts, faults=faults, set_aside=read.set_aside + lost)


def table_of(propeller: Propeller, siblings: tuple[Propeller, ...], report: PluginReport) -> TableAnswer | None:
    """The first plugin's answer for a propeller without a table; a faulty answer is recorded and passed over."""
    hook = "propmatch_coefficient_table"
    for answer in report.ask(hook, propeller=propeller, siblings=siblings):
        value = answer.value
        if (
            isinstance(value, TableAnswer)
            and isinstance(value.table, CoefficientTable)
            and isinstance(value.source, Source)
        ):
            return value
        problem = PluginProblem(f"must answer None or a TableAnswer of table and source, not {type(value).__name__}")
        report.record(answer.plugin, "verify", problem, hook=hook)
    return None
