"""Runs the command line in this process; standard error apart from standard output."""

import inspect
import json
import sys
from collections import OrderedDict
from collections.abc import Callable, Iterator
from types import ModuleType
from typing import Any

import attrs
import pytest
from click.testing import CliRunner
from support.browser import browser  # noqa: F401

from propmatch.cache import digest
from propmatch.catalogue import catalogue
from propmatch.catalogue.catalogue import Catalogue
from propmatch.catalogue.partsets import KindParts, read_kind
from propmatch.catalogue.plugins import FIRST_PARTY, Plugin, PluginReport
from propmatch.checks import chances
from propmatch.checks.checkrules import CHECKS
from propmatch.checks.setting import ResolvedBrief
from propmatch.cli import propmatch
from propmatch.commands import time
from propmatch.page import answers
from propmatch.questions import ask, cells, envelope, fits, whatif
from propmatch.records.brief import Brief
from propmatch.records.trainid import PART_KINDS
from propmatch.search import candidate, matching
from propmatch.sheet import case

LONG: dict[str, ModuleType] = {
    "match": matching, "compare_cells": cells, "parts_envelope": envelope, "may_fit": fits, "mass_range": ask,
    "capacity_for_minutes": ask, "site_range": ask, "fly": time,
    "what_if": whatif, "sureness": chances, "measured_train": answers,
}  # fmt: skip
"""Functions that take seconds, and their modules."""
_KEPT = 8
"""Answers of each that are remembered: each holds its draws."""
_answers: dict[str, OrderedDict[Any, Any]] = {name: OrderedDict() for name in LONG}


def _content(value: Any) -> Any:
    """What an argument says; a line of progress that nobody watches says nothing, another can be no part of a name."""
    if getattr(value, "__qualname__", "").startswith("progress_line."):
        return None
    if isinstance(value, Brief | ResolvedBrief):
        return ResolvedBrief.of(value).settings
    if isinstance(value, Catalogue):
        return [list(value.plugins.plugins), *([*value.parts(f"{kind}s").values()] for kind in PART_KINDS)]
    return value


def _remembering(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
    kept, takes = _answers[name], inspect.signature(real)

    def asked(*given: Any, **named: Any) -> Any:
        what = takes.bind(*given, **named)
        what.apply_defaults()
        content = digest(*map(_content, what.arguments.values()))
        if content is None:
            return real(*given, **named)
        key = (content, matching.COUNTED, candidate.Candidate, *CHECKS)  # what tests put others in the place of
        try:
            answer = kept.pop(key)
        except KeyError:
            answer = real(*given, **named)
        kept[key] = answer  # the last that gives way
        if len(kept) > _KEPT:
            kept.popitem(last=False)
        return answer

    return asked


_parts: dict[tuple[str, bool, tuple[Plugin, ...]], KindParts] = {}


def _read_once(kind: str, report: PluginReport, chemistries: Any) -> KindParts:
    """The parts of the plugins that come along, where there is no other and no box; else read as ever."""
    plugins = tuple(report.plugins.values())
    if any(FIRST_PARTY.get(each.name) != each.entry_point for each in plugins):
        return read_kind(kind, report, chemistries)
    key = (kind, report.strict, plugins)
    if key not in _parts:
        _parts[key] = read_kind(kind, report, chemistries)
    return attrs.evolve(_parts[key], parts={**_parts[key].parts}, faults=[*_parts[key].faults])


def _stated_alone(*given: Any, on_paper: bool) -> Any:
    return envelope.parts_envelope(*given, on_paper=True)


@pytest.fixture(autouse=True, scope="module")
def remembered() -> Iterator[None]:
    """What takes seconds is made once for the tests that ask one after another the same of the same parts.

    Sheets take the envelope of numbers as they are stated, a tenth of the work; ``support.sheets.whole_envelope`` takes
    that of their readers.
    """
    with pytest.MonkeyPatch.context() as patch:
        for name, home in LONG.items():
            real = getattr(home, name)
            asked = _remembering(name, real)
            for module in [each for key, each in sys.modules.items() if key.startswith("propmatch")]:
                if getattr(module, name, None) is real:
                    patch.setattr(module, name, asked)
        patch.setattr(case, "parts_envelope", _stated_alone)
        patch.setattr(catalogue, "read_kind", _read_once)
        yield


@attrs.frozen
class Ran:
    """What a command printed and how it ended."""

    exit_code: int
    out: str
    err: str

    @property
    def document(self) -> dict[str, Any]:
        return json.loads(self.out, parse_constant=lambda word: pytest.fail(f"{word} is not JSON"))

    @property
    def faults(self) -> list[str]:
        return self.err.splitlines()


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Ran]:
    """``run("point", "--motor", ...)`` with no parts of the user's; an exception that is no exit fails the test."""
    for name in ("PROPMATCH_PLUGINS", "PROPMATCH_UNITS", "PROPMATCH_PARTS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("home")))

    def call(*words: str, typed: str | bytes | None = None) -> Ran:
        result = CliRunner().invoke(propmatch, list(words), prog_name="propmatch", input=typed)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return Ran(result.exit_code, result.stdout, result.stderr)

    return call
