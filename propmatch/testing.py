"""Checks that a plugin's author runs on a plugin; the project runs them on its own.

With pytest one test is enough::

    import my_plugin
    import pytest
    from propmatch.testing import conformity_checks

    @pytest.mark.parametrize("check", conformity_checks(my_plugin), ids=str)
    def test_conformity(check):
        check()
"""

import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from types import ModuleType
from typing import Any

import attrs

from propmatch.catalogue.catalogue import Catalogue, add_folder
from propmatch.catalogue.hookspecs import ExtraCheck, PartRow, PartSet, SheetSection, TableAnswer
from propmatch.catalogue.plugins import FOLDER_PLUGIN, PluginReport
from propmatch.checks.limits import Design
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import Fault
from propmatch.files import write_file
from propmatch.models.pack import Chemistry
from propmatch.records.brief import Brief
from propmatch.records.parts import KINDS, Controller, Motor, Pack, PowerTrain, Propeller
from propmatch.records.sections import Aircraft

__all__ = ["ConformityCheck", "conformity_checks"]

HEAVY = ("scipy", "pandas", "matplotlib")
SUFFIXES = (".csv", ".toml", ".json", ".txt", ".xlsx", ".ods")
BAD_FILES = {"an empty": b"", "a garbage": bytes((67 * at + at * at) % 256 for at in range(2048))}


@attrs.frozen(kw_only=True)
class ConformityCheck:
    """One rule; calling it raises AssertionError with what would be right."""

    name: str
    run: Callable[[], None]

    def __call__(self) -> None:
        self.run()

    def __str__(self) -> str:
        return self.name


def conformity_checks(
    plugin: object, *, name: str = "candidate", suffixes: Sequence[str] = (), files: Sequence[str | Path] = ()
) -> list[ConformityCheck]:
    """The rules for a plugin, one check for each rule that concerns the hooks it implements.

    Parameters
    ----------
    plugin : module or object
    name : str
        Name to load it under.
    suffixes : sequence of str
        Endings of the files it reads beside the usual ones, such as ``.abc``.
    files : sequence of path
        Files with sound parts that its readers must read.

    Returns
    -------
    list of ConformityCheck
        The first one checks that the plugin loads at all.
    """
    subject = _Subject(plugin, name)
    checks: dict[str, Callable[[], None]] = {"loads": subject.loads}
    if isinstance(plugin, ModuleType):
        checks["imports nothing heavy"] = subject.imports_nothing_heavy
    for kind in KINDS:
        if hasattr(plugin, f"propmatch_{kind}"):
            checks[f"{kind}: sets are described"] = partial(subject.sets_are_described, kind)
            checks[f"{kind}: every part is sound"] = partial(subject.parts_are_sound, kind)
            checks[f"{kind}: every part has a source"] = partial(subject.parts_have_sources, kind)
            checks[f"{kind}: loading again gives the same"] = partial(subject.loads_the_same, kind)
    others: dict[str, Callable[[], None]] = {
        "propmatch_chemistries": lambda: subject.answers_list("propmatch_chemistries", Chemistry, "name"),
        "propmatch_checks": lambda: subject.answers_list("propmatch_checks", ExtraCheck, "id"),
        "propmatch_sheet_sections": lambda: subject.answers_list("propmatch_sheet_sections", SheetSection, "id"),
        "propmatch_coefficient_table": subject.answers_tables,
        "propmatch_file_reader": subject.judges_files_by_name,
    }
    if hasattr(plugin, "propmatch_checks"):
        checks["propmatch_checks: every check judges a model"] = subject.judges_models
    if hasattr(plugin, "propmatch_sheet_sections"):
        checks["propmatch_sheet_sections: every section is written"] = subject.writes_sections
    for path in map(Path, files):
        checks[f"propmatch_file_reader: {path.name} is read"] = partial(subject.reads, path)
    checks |= {f"{hook}: answers as promised": run for hook, run in others.items() if hasattr(plugin, hook)}
    if hasattr(plugin, "propmatch_file_reader"):
        for what, content in BAD_FILES.items():
            run = partial(subject.survives, what, content, (*SUFFIXES, *suffixes))
            checks[f"propmatch_file_reader: {what} file is a fault"] = run
    return [ConformityCheck(name=name, run=run) for name, run in checks.items()]


class _Subject:
    def __init__(self, plugin: object, name: str) -> None:
        self.plugin = plugin
        self.name = name

    def report(self) -> PluginReport:
        """A manager with this plugin alone."""
        report = PluginReport()
        report.add(self.name, self.plugin)
        _none([str(broken) for broken in report.broken])
        return report

    def answers(self, hook: str, **arguments: Any) -> list[Any]:
        report = self.report()
        found = [answer.value for answer in report.ask(hook, **arguments)]
        _none([str(broken) for broken in report.broken])
        return found

    def loads(self) -> None:
        self.report()

    def imports_nothing_heavy(self) -> None:
        module = getattr(self.plugin, "__name__", "")
        code = f"import sys, {module}; print(*[m for m in {HEAVY} if m in sys.modules])"
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
        done = subprocess.run(
            [sys.executable, "-c", code],
            capture_output=True, text=True, check=False, env=environment,
        )  # fmt: skip
        assert done.returncode == 0, f"importing {module} alone fails: {done.stderr.strip()}"
        assert not done.stdout.strip(), f"importing {module} loads {done.stdout.strip()}: import it inside the load()"

    def sets(self, kind: str) -> Sequence[PartSet]:
        found: list[PartSet] = [each for answer in self.answers(f"propmatch_{kind}") for each in answer]
        wrong = [type(each).__name__ for each in found if not isinstance(each, PartSet)]
        assert not wrong, f"propmatch_{kind} must answer a list of PartSet, found {', '.join(wrong)}"
        return found

    def sets_are_described(self, kind: str) -> None:
        sets = self.sets(kind)
        ids = [each.id for each in sets]
        _none([f"set id {each!r} is used twice" for each in {one for one in ids if ids.count(one) > 1}])
        _none([f"set {each.id!r} has an empty {key}" for each in sets for key in ("id", "description", "source")
               if not getattr(each, key).strip()])  # fmt: skip

    def catalogue(self, kind: str) -> Catalogue:
        catalogue = Catalogue(self.report())
        catalogue.listed(kind)
        _none([str(broken) for broken in catalogue.broken])
        return catalogue

    def parts_are_sound(self, kind: str) -> None:
        catalogue = self.catalogue(kind)
        _none([str(fault) for fault in catalogue.faults_as_read(kind)])

    def parts_have_sources(self, kind: str) -> None:
        parts = self.catalogue(kind).listed(kind)
        _none([f"{name} has no source" for name, part in parts.items() if part.source.text == "not stated"])

    def loads_the_same(self, kind: str) -> None:
        first, second = (dict(self.catalogue(kind).listed(kind)) for _ in range(2))
        assert list(first) == list(second), f"{kind} come in another order, or others come, when loaded again"
        _none([f"{name} differs when loaded again" for name in first if first[name] != second[name]])

    def answers_list(self, hook: str, cls: type, key: str) -> None:
        for answer in self.answers(hook):
            assert isinstance(answer, list | tuple), f"{hook} must answer a list, not {type(answer).__name__}"
            wrong = [type(each).__name__ for each in answer if not isinstance(each, cls)]
            assert not wrong, f"{hook} must answer a list of {cls.__name__}, found {', '.join(wrong)}"
            keys = [getattr(each, key) for each in answer]
            assert len(set(keys)) == len(keys), f"{hook} uses one {key} twice"

    def answers_tables(self) -> None:
        for diameter, pitch, blades in ((6.0, 4.0, 2), (3.0, 3.0, 3), (15.0, 8.0, 2), (8.0, 0.5, 4)):
            propeller = Propeller(name="asked for", diameter_in=diameter, pitch_in=pitch, blades=blades)
            for answer in self.answers("propmatch_coefficient_table", propeller=propeller, siblings=()):
                assert isinstance(answer, TableAnswer), (
                    f"propmatch_coefficient_table must answer None or a TableAnswer, not {type(answer).__name__}"
                )

    def judges_files_by_name(self) -> None:
        hook = "propmatch_file_reader"
        odd = self.answers(hook, path=Path("no such folder/file.no-such-extension"))
        assert not odd, f"{hook} must answer None for a kind of file it does not know"
        for suffix in SUFFIXES:
            for answer in self.answers(hook, path=Path(f"no such folder/file{suffix}")):
                assert callable(answer), f"{hook} must answer None or a function that takes the path"

    def judges_models(self) -> None:
        catalogue = Catalogue(self.report())
        for design, brief in _models():
            catalogue.extra_checks(design, brief)
            _none([f"{brief.aircraft.name}: {broken}" for broken in catalogue.broken])

    def writes_sections(self) -> None:
        catalogue = Catalogue(self.report())
        for design, brief in _models():
            catalogue.extra_sections(design, brief)
            _none([f"{brief.aircraft.name}: {broken}" for broken in catalogue.broken])

    def reads(self, path: Path) -> None:
        """A folder with this file alone, read as the user's own."""
        with TemporaryDirectory() as folder:
            write_file(Path(folder) / path.name, path.read_bytes())
            first, again = (self._parts_in(folder) for _ in range(2))
            assert first, f"no part is read from {path.name}"
            assert first == again, f"{path.name} gives other parts when read again"

    def _parts_in(self, folder: str) -> dict[str, Any]:
        report = self.report()
        add_folder(report, folder)
        catalogue = Catalogue(report)
        found = {name: part for kind in KINDS for name, part in catalogue.listed(kind).items()
                 if name.startswith(f"{FOLDER_PLUGIN}/")}  # fmt: skip
        faults = [fault for kind in KINDS for fault in catalogue.faults_as_read(kind)]
        _none([str(each) for each in (*faults, *catalogue.broken)])
        return found

    def survives(self, what: str, content: bytes, suffixes: Sequence[str]) -> None:
        """Give every reader a bad file: it may raise ``OSError`` alone, and answers faults and no part."""
        hook = "propmatch_file_reader"
        with TemporaryDirectory() as folder:
            for suffix in suffixes:
                path = Path(folder) / f"file{suffix}"
                write_file(path, content)
                for reader in self.answers(hook, path=path):
                    _none([f"{what} {suffix} file: {problem}" for problem in _reading(reader, path)])


def _models() -> list[tuple[Design, Brief]]:
    """A light and a heavy model, with all that a brief may leave out left out, and with a mass to keep to."""
    train = PowerTrain(
        motor=Motor(name="motor", kv_rpm_per_v=1500, mass_g=28),
        controller=Controller(name="controller", max_current_a=20, mass_g=12),
        pack=Pack(name="pack", cells_series=2, capacity_mah=800, c_rating=30, mass_g=48),
        propeller=Propeller(name="propeller", diameter_in=6, pitch_in=4),
    )
    plain = Brief(aircraft=Aircraft(name="nothing stated", bare_mass_g=150))
    heavy = Brief(aircraft=Aircraft(name="with a target", bare_mass_g=2000, target_mass_g=2500))
    return [(Design.of(train, ResolvedBrief.of(brief).as_designed.variant), brief) for brief in (plain, heavy)]


def _reading(reader: Callable[[Path], Any], path: Path) -> list[str]:
    """What is wrong with how a file that holds nothing is read."""
    try:
        items = list(reader(path))
    except OSError:
        return []
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        return [f"the reader raises {type(error).__name__}: {error}; it may raise OSError alone"]
    odd = {type(item).__name__ for item in items if not isinstance(item, PartRow | Fault)}
    problems = [f"the reader must answer PartRow and Fault, found {name}" for name in sorted(odd)]
    rows = [item for item in items if isinstance(item, PartRow)]
    if any(not row.faults for row in rows):
        problems.append("a part is read from it")
    if not any(row.faults for row in rows) and not any(isinstance(item, Fault) for item in items):
        problems.append("nothing says that it could not be used")
    return problems


def _none(problems: Sequence[str]) -> None:
    assert not problems, "\n".join(problems)
