"""The parts that every plugin offers, by kind and id, read when a kind is first used."""

from collections.abc import Callable, Iterable, Mapping
from fnmatch import fnmatchcase
from importlib import import_module
from pathlib import Path
from types import MappingProxyType
from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.boxes import boxes
from propmatch.catalogue.hookspecs import ExtraCheck, SheetSection
from propmatch.catalogue.partsets import KindParts, owned, read_kind, with_tables
from propmatch.catalogue.plugins import (
    FIRST_PARTY,
    FOLDER_PLUGIN,
    BrokenPlugin,
    PluginProblem,
    PluginReport,
    build_manager,
    wanted_plugins,
)
from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.models import pack as battery
from propmatch.models.pack import Chemistry
from propmatch.records.estimates import Assumption, completed
from propmatch.records.fields import replace
from propmatch.records.parts import KINDS, Controller, Motor, Pack, Part, Propeller
from propmatch.records.plausibility import warnings_of
from propmatch.records.sections import PartsFilter

__all__ = ["Catalogue", "add_folder", "box_of_id", "load_catalogue", "pieces"]

_FOLDER_MODULE = "propmatch_plugins.parts_folder"


class Catalogue:
    """Motors, controllers, packs and propellers by id ``plugin/part``.

    Build one from plugins with :func:`load_catalogue`, or from parts with :meth:`of`. A kind is read when it is first
    used. A faulty part is set aside, counted and listed in ``faults``; a broken plugin is listed in ``broken``.

    Parameters
    ----------
    plugins : PluginReport, optional
        Loaded plugins; default none.
    faults : iterable of Fault
        What was wrong with the places that they read.
    """

    def __init__(self, plugins: PluginReport | None = None, *, faults: Iterable[Fault] = ()) -> None:
        self.plugins = PluginReport() if plugins is None else plugins
        self._read: dict[str, KindParts] = {}
        self._tabled: KindParts | None = None
        self._chemistries: dict[str, Chemistry] | None = None
        self._faults = list(faults)

    def __deepcopy__(self, memo: dict[int, Any]) -> "Catalogue":
        """Parts are never changed, so that a copy may hold the same."""
        new = Catalogue(self.plugins)
        new.__dict__.update(self.__dict__, _read=dict(self._read), _faults=list(self._faults))
        return new

    def __getstate__(self) -> dict[str, Any]:
        """With everything read, since the folders may not be there where it arrives."""
        for kind in KINDS:
            self._kind(kind)
        return {**self.__dict__, "_chemistries": dict(self.chemistries)}

    def __setstate__(self, state: dict[str, Any]) -> None:
        """Arrays arrive as something that could be changed, and are read-only again."""
        self.__dict__.update(state)
        for read in (*self._read.values(), *((self._tabled,) if self._tabled else ())):
            read.parts.update({name: owned(part) for name, part in read.parts.items()})

    @classmethod
    def of(
        cls,
        *,
        motors: Iterable[Motor] = (),
        controllers: Iterable[Controller] = (),
        packs: Iterable[Pack] = (),
        propellers: Iterable[Propeller] = (),
    ) -> "Catalogue":
        """A catalogue of given parts; one without an id gets its name as id.

        Raises
        ------
        InputFaults
            Two parts of a kind with the same id.
        """
        new = cls()
        faults: list[Fault] = []
        given: dict[str, Iterable[Part]] = {
            "motors": motors, "controllers": controllers, "packs": packs, "propellers": propellers,
        }  # fmt: skip
        for kind, parts in given.items():
            kept: dict[str, Part] = {}
            for part in parts:
                named = part if part.id else replace(part, id=part.name)
                if named.id in kept:
                    faults.append(Fault(where=kind, key="id", value=named.id, rule="two parts have this id"))
                kept[str(named.id)] = named
            new._read[kind] = KindParts(parts=kept)
        if faults:
            raise InputFaults(faults)
        return new

    # ------------------------------------------------------------ parts

    @property
    def motors(self) -> Mapping[str, Motor]:
        """Motors by id."""
        return self.parts("motors")

    @property
    def controllers(self) -> Mapping[str, Controller]:
        """Controllers by id."""
        return self.parts("controllers")

    @property
    def packs(self) -> Mapping[str, Pack]:
        """Packs by id."""
        return self.parts("packs")

    @property
    def propellers(self) -> Mapping[str, Propeller]:
        """Propellers by id, each with a coefficient table: its own, or the first that a plugin answers."""
        return self.parts("propellers")

    def parts(self, kind: str) -> Mapping[str, Any]:
        """The parts of a kind (``motors``, ``controllers``, ``packs``, ``propellers``) by id, in a fixed order."""
        return MappingProxyType(self._kind(kind).parts)

    def listed(self, kind: str) -> Mapping[str, Any]:
        """The parts of a kind as they were read: propellers without a table are there too, and stay without one."""
        return MappingProxyType(self._as_read(kind).parts)

    def set_aside(self, kind: str) -> int:
        """How many rows of a kind became no part; ``faults`` says why."""
        return self._kind(kind).set_aside

    def _as_read(self, kind: str) -> KindParts:
        if kind not in KINDS:
            raise ValueError(f"no kind {kind!r} of parts; the kinds are {', '.join(KINDS)}")
        if kind not in self._read:
            chemistries = self.chemistries if kind == "packs" else {}
            self._read[kind] = read_kind(kind, self.plugins, chemistries)
        return self._read[kind]

    def _kind(self, kind: str) -> KindParts:
        if kind != "propellers":
            return self._as_read(kind)
        if self._tabled is None:
            self._tabled = with_tables(self._as_read(kind), self.plugins)
        return self._tabled

    # ------------------------------------------------------------ finding

    def select(self, kind: str, *patterns: str, where: Callable[[Any], bool] | None = None) -> dict[str, Any]:
        """The parts of a kind that match any of the patterns, and ``where``.

        A pattern that is the id of a part means that part alone. One with ``*``, ``?`` or ``[`` must match the whole
        id, the part's half of it or the name; other text may stand anywhere in id or name. Case does not matter.
        Propellers are taken as read.
        """
        listed = self.listed(kind)
        others = [pattern for pattern in patterns if pattern not in listed]
        return {
            name: part
            for name, part in listed.items()
            if (not patterns or name in patterns or any(_matches(pattern, name, part) for pattern in others))
            and (where is None or where(part))
        }

    def restricted(self, **patterns: str | Iterable[str]) -> "Catalogue":
        """The same catalogue with only the parts that match: ``restricted(packs="*2s*", motors=["22*", "23*"])``."""
        new = Catalogue(self.plugins)
        new._chemistries, new._faults = self._chemistries, self._faults
        for kind in KINDS:
            read = self._as_read(kind)
            wanted = patterns.pop(kind, ())
            words = (wanted,) if isinstance(wanted, str) else tuple(wanted)
            parts = self.select(kind, *words) if words else read.parts
            new._read[kind] = KindParts(parts=parts, faults=read.faults, set_aside=read.set_aside)
        if patterns:
            raise ValueError(f"no kind {next(iter(patterns))!r} of parts; the kinds are {', '.join(KINDS)}")
        return new

    def let_in(self, wanted: PartsFilter, motor_count: int = 1) -> "Catalogue":
        """The same catalogue with only the parts that ``[parts]`` of a brief lets in.

        Parameters
        ----------
        wanted : PartsFilter
        motor_count : int
            Motors of the aircraft: so many motors, controllers and propellers of a box are needed, and one pack.

        Raises
        ------
        InputFaults
            ``only`` names what is neither a box nor a plugin.
        """
        if wanted == PartsFilter():
            return self
        new = self.restricted(
            motors=wanted.motor, controllers=wanted.controller, packs=wanted.pack, propellers=wanted.propeller
        )
        if not wanted.only:
            return new
        of_parts = (box_of_id(name) for kind in KINDS for name in self._as_read(kind).parts)
        known = {*self.plugins.plugins, *of_parts}
        unknown = [name for name in wanted.only if name not in known]
        if unknown:
            names = sorted(known - {*FIRST_PARTY} | {"bundled"})
            raise InputFaults(
                Fault("brief", "parts.only", name, "there is no box and no plugin of this name",
                      did_you_mean(name, names) or f"there are {', '.join(names)}")
                for name in unknown
            )  # fmt: skip
        for kind, read in new._read.items():
            need = pieces(kind, motor_count)
            parts = {
                name: part for name, part in read.parts.items()
                if box_of_id(name) in wanted.only and (part.count is None or part.count >= need)
            }  # fmt: skip
            new._read[kind] = KindParts(parts=parts, faults=read.faults, set_aside=read.set_aside)
        return new

    def with_parts(self, **parts: Iterable[Part]) -> "Catalogue":
        """The same catalogue with more parts, each with an id of its own: ``with_parts(motors=[mine])``."""
        new = self.restricted()
        for kind, some in parts.items():
            read = new._read[kind]
            more = {str(part.id): part for part in some}
            new._read[kind] = KindParts(parts=read.parts | more, faults=read.faults, set_aside=read.set_aside)
        if "propellers" not in parts:
            new._tabled = self._tabled
        return new

    def named(self, kind: str, text: str) -> list[Any]:
        """The parts whose id, half of an id, or name this is, whatever the case."""
        asked = text.strip().lower()
        return [
            part
            for name, part in self.parts(kind).items()
            if asked in (name.lower(), name.partition("/")[2].lower(), part.name.lower())
        ]

    def find(self, kind: str, text: str) -> Any:
        """The one part that an id, the part's half of an id, or a name means.

        Raises
        ------
        InputFaults
            No part, or several, with the ids that come near.
        """
        parts = self.parts(kind)
        if text in parts:
            return parts[text]
        near = self.named(kind, text) or list(self.select(kind, text).values())
        if len(near) == 1 and near[0].id in parts:
            return parts[near[0].id]
        if near:
            some = ", ".join(part.id for part in near[:5]) + (", ..." if len(near) > 5 else "")
            fault = Fault(kind, "", text, f"means {len(near)} parts", f"say which: {some}")
        else:
            names = [*parts, *(name.partition("/")[2] for name in parts)]
            hint = did_you_mean(text, names) or f"'propmatch parts {kind}' lists them"
            fault = Fault(kind, "", text, "no part with this id or name", hint)
        raise InputFaults([fault])

    def require(self, *kinds: str) -> None:
        """Raise ``InputFaults`` with one fault for each kind (default: all four) that has no part."""
        faults = []
        for kind in kinds or tuple(KINDS):
            read = self._kind(kind)
            if not read.parts:
                aside = f"; {read.set_aside} were set aside, see the faults" if read.set_aside else ""
                plugins = ", ".join(self.plugins.plugins) or "none"
                rule = f"the catalogue has no {kind}{aside}"
                faults.append(Fault("catalogue", kind, None, rule, f"plugins loaded: {plugins}"))
        if faults:
            raise InputFaults(faults)

    # ------------------------------------------------------------ what to know about them

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Every fault of every kind; reads all kinds."""
        of_parts = [fault for kind in KINDS for fault in self._kind(kind).faults]
        return (*self._faults, *self.plugins.notes, *of_parts)

    def faults_as_read(self, kind: str) -> tuple[Fault, ...]:
        """The faults of one kind, those of missing coefficient tables apart."""
        return tuple(self._as_read(kind).faults)

    @property
    def broken(self) -> tuple[BrokenPlugin, ...]:
        """Plugins that could not be loaded, and answers that failed so far."""
        return tuple(self.plugins.broken)

    @property
    def warnings(self) -> tuple[Fault, ...]:
        """Numbers that are allowed but hard to believe; reads all kinds."""
        return tuple(warning for kind in KINDS for part in self.listed(kind).values() for warning in warnings_of(part))

    def assumptions(self, kind: str, name: str) -> tuple[Assumption, ...]:
        """The estimates that stand in for the missing numbers of a part."""
        made: tuple[Assumption, ...] = completed(self.find(kind, name))[1]
        return made

    # ------------------------------------------------------------ other additions

    @property
    def chemistries(self) -> Mapping[str, Chemistry]:
        """Cell chemistries by name: the built-in ones and those of the plugins."""
        if self._chemistries is None:
            self._chemistries = dict(battery.CHEMISTRIES)
            for answer in self.plugins.ask("propmatch_chemistries"):
                for each in self._listed_answer(answer.plugin, "propmatch_chemistries", answer.value, Chemistry):
                    self._add_chemistry(answer.plugin, each)
        return MappingProxyType(self._chemistries)

    def _add_chemistry(self, plugin: str, chemistry: Chemistry) -> None:
        assert self._chemistries is not None
        known = self._chemistries.get(chemistry.name)
        if known is not None and not (
            np.array_equal(known.charge, chemistry.charge) and np.array_equal(known.ocv_v, chemistry.ocv_v)
        ):
            rule = "a different chemistry has this name; that one is kept"
            self._faults.append(Fault(f"plugin '{plugin}'", "chemistry", chemistry.name, rule))
            return
        self._chemistries.setdefault(chemistry.name, owned(chemistry))

    def _listed_answer(self, plugin: str, hook: str, value: Any, cls: type) -> list[Any]:
        """The members of a hook's list that have the right class; the rest is recorded."""
        good = [each for each in value if isinstance(each, cls)] if isinstance(value, list | tuple) else []
        if not isinstance(value, list | tuple) or len(good) < len(value):
            problem = PluginProblem(f"must answer a list of {cls.__name__}")
            self.plugins.record(plugin, "verify", problem, hook=hook)
        return good

    @property
    def adds_checks(self) -> bool:
        """Whether a plugin adds checks."""
        return bool(self.plugins.manager.hook.propmatch_checks.get_hookimpls())

    def extra_checks(self, design: Any, brief: Any) -> list[Any]:
        """The checks that plugins add for one design: they rule nothing out.

        One that raises, or answers what is no check of its own, is recorded and left out.
        """
        kept: dict[str, Any] = {}
        hook = "propmatch_checks"
        if not self.adds_checks:
            return []
        for plugin, extra, checks in self._run(hook, ExtraCheck, lambda check: list(check.run(design, brief))):
            for check in checks:
                wrong = _wrong_with_check(check, kept)
                if wrong:
                    self.plugins.record(plugin, "verify", PluginProblem(wrong), hook=f"{hook}, '{extra.id}'")
                else:
                    kept[check.name] = attrs.evolve(check, excluding=False)
        return list(kept.values())

    def extra_sections(self, design: Any, brief: Any) -> dict[str, Mapping[str, str]]:
        """Title to lines (label to text) of the sheet sections that plugins add; a failing one is recorded."""
        kept: dict[str, Mapping[str, str]] = {}
        hook = "propmatch_sheet_sections"
        for plugin, section, lines in self._run(hook, SheetSection, lambda each: dict(each.build(design, brief))):
            wrong = "" if all(isinstance(text, str) for pair in lines.items() for text in pair) else (
                "must answer label and plain text of each line"
            )  # fmt: skip
            if section.title in kept:
                wrong = f"there is a section {section.title!r} already"
            if wrong:
                self.plugins.record(plugin, "verify", PluginProblem(wrong), hook=f"{hook}, '{section.id}'")
            else:
                kept[section.title] = lines
        return kept

    def _run(self, hook: str, cls: type, call: Callable[[Any], Any]) -> list[tuple[str, Any, Any]]:
        """Plugin, what it added and what came of that, where anything did."""
        done: list[tuple[str, Any, Any]] = []
        for answer in self.plugins.ask(hook):
            for each in self._listed_answer(answer.plugin, hook, answer.value, cls):
                with self.plugins.calling(answer.plugin, f"{hook}, '{each.id}'"):
                    done.append((answer.plugin, each, call(each)))
        return done


def _wrong_with_check(check: Any, others: Iterable[str]) -> str:
    """What is wrong with a check that a plugin answers; empty where nothing is."""
    from propmatch.checks.checkrules import CHECKS
    from propmatch.checks.limits import VERDICTS, Check

    if not isinstance(check, Check):
        return f"must answer checks, found {type(check).__name__}"
    texts = {"name": check.name, "unit": check.unit, "basis": check.basis, "note": check.note}
    numbers = {"value": check.value, "limit": check.limit, "margin": check.margin}
    wrong = [f"{name} must be a text" for name, each in texts.items() if not isinstance(each, str)]
    wrong += [
        f"{name} must be a number, NaN where there is none" for name, each in numbers.items()
        if isinstance(each, bool) or not isinstance(each, int | float | np.number)
    ]  # fmt: skip
    if check.name in CHECKS or check.name in [*others]:
        wrong.append(f"the name {check.name!r} is taken")
    if check.verdict not in VERDICTS:
        wrong.append(f"verdict {check.verdict!r} must be one of {', '.join(VERDICTS)}")
    return "; ".join(wrong)


def box_of_id(name: str) -> str:
    """The box or plugin that a part's id names."""
    return name.partition("/")[0]


def pieces(kind: str, motor_count: int) -> int:
    """How many parts of a kind (``motors`` and so on) an aircraft with so many motors needs."""
    return 1 if kind == "packs" else motor_count


def _matches(pattern: str, name: str, part: Any) -> bool:
    pattern, name, own = pattern.lower(), name.lower(), part.name.lower()
    if any(sign in pattern for sign in "*?["):
        return any(fnmatchcase(text, pattern) for text in (name, name.partition("/")[2], own))
    return pattern in name or pattern in own


def _folder_plugins(found: Mapping[str, Path], report: PluginReport) -> dict[str, Any]:
    """A plugin for each box; the first is the user's folder itself."""
    made: dict[str, Any] = {}
    for name, folder in found.items():
        made[name] = import_module(_FOLDER_MODULE).PartsFolder(folder, report, name, made.get(FOLDER_PLUGIN))
    return made


def add_folder(report: PluginReport, folder: str | Path | None) -> list[Fault]:
    """Offer a folder of the user's, and the boxes in it, as plugins; what is wrong with their names."""
    found, ill_named = boxes(folder)
    for name, plugin in _folder_plugins(found, report).items():
        report.add(name, plugin)
    return ill_named


def load_catalogue(
    *, plugins: Iterable[str] | None = None, parts: str | Path | None = None, strict: bool = False
) -> Catalogue:
    """The catalogue of the installed plugins.

    Parameters
    ----------
    plugins : iterable of str, optional
        Names of the plugins to load; default: the environment variable PROPMATCH_PLUGINS, else all.
    parts : path, optional
        Folder with the user's own parts and boxes (:mod:`propmatch.catalogue.boxes`), each offered as a plugin of its
        name; default: the one that the environment variable PROPMATCH_PARTS names, else the user's data folder, unless
        the plugins are limited to others than ``parts``.
    strict : bool
        Read everything now, and raise what would only be listed.

    Returns
    -------
    Catalogue

    Raises
    ------
    InputFaults
        A folder that was named does not exist. When strict also: a broken plugin, or any faulty part.
    """
    report = build_manager(only=plugins, strict=strict)
    limit = wanted_plugins(plugins)
    wanted = parts is not None or limit is None or FOLDER_PLUGIN in limit
    catalogue = Catalogue(report, faults=add_folder(report, parts) if wanted else ())
    faults = [fault for fault in catalogue.faults if fault.kind == "fault"] if strict else []
    if faults:
        raise InputFaults(faults)
    return catalogue
