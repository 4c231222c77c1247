"""Finds, loads and calls plugins one at a time, so that a broken one is rolled back and named and the rest goes on.

Every call of :func:`build_manager` makes a new manager; there is no global one. Plugins are called in the order of
their names, each on its own, so that every answer and every failure keeps its owner.
"""

import inspect
import os
import sys
import threading
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from importlib.metadata import EntryPoint, entry_points
from typing import Any, Literal

import attrs
import pluggy

from propmatch._version import __version__
from propmatch.catalogue import hookspecs
from propmatch.catalogue.hookspecs import GROUP, HOOK_VERSION
from propmatch.faults import Fault, InputFaults, cause_of, did_you_mean

__all__ = [
    "FIRST_PARTY",
    "FOLDER_PLUGIN",
    "Answer",
    "BrokenPlugin",
    "Plugin",
    "PluginProblem",
    "PluginReport",
    "build_manager",
    "plugin_names",
    "wanted_plugins",
]

FIRST_PARTY: dict[str, str] = {
    "bundled": "propmatch_plugins.bundled",
    "prediction": "propmatch_plugins.prediction",
    "spreadsheets": "propmatch_plugins.spreadsheet",
    "tables": "propmatch_plugins.measured_tables",
}
"""Plugin name to module of those that ship with the project; they need no metadata."""

FOLDER_PLUGIN = "parts"
"""Name in front of the parts that lie directly in the user's folder; neither it nor a box is an entry point."""

SLOW_S = 5.0
"""A plugin that takes longer over one answer is named, on standard error while it does and in the faults."""

LIMIT_VARIABLE = "PROPMATCH_PLUGINS"
"""Environment variable: names of the plugins to load, with commas between; empty loads none."""

Phase = Literal["find", "import", "register", "verify", "call"]
_DOING = {
    "find": "not found",
    "import": "could not be imported",
    "register": "could not be registered",
    "verify": "does not fit the hooks",
    "call": "failed when asked",
}


@attrs.frozen(kw_only=True)
class Plugin:
    """A loaded plugin: the name in front of its part ids, and where it comes from."""

    name: str
    distribution: str
    version: str
    entry_point: str


@attrs.frozen(kw_only=True)
class BrokenPlugin:
    """What went wrong with a plugin.

    Attributes
    ----------
    name, distribution, version, entry_point : str
        Plugin, the installed distribution it came with, its version, and ``module`` or ``module:object``.
    phase : str
        ``find``, ``import``, ``register``, ``verify`` or ``call``; up to ``verify`` the plugin is left out, from
        ``call`` on only the answer that failed.
    hook : str
        The hook that failed in phase ``call``, else empty.
    exception : BaseException
    """

    name: str
    distribution: str
    version: str
    entry_point: str
    phase: Phase
    exception: BaseException
    hook: str = ""

    def __str__(self) -> str:
        return str(self.fault)

    @property
    def fault(self) -> Fault:
        """The same as one line of a fault list."""
        origin = f" from {self.distribution} {self.version}".rstrip() if self.distribution else ""
        doing = _DOING[self.phase] + (f" for {self.hook}" if self.hook else "")
        return Fault(where=f"plugin '{self.name}'{origin}", rule=f"{doing}: {_said(self.exception)}")


class PluginProblem(Exception):
    """A rule of the plugin door that a plugin breaks, in plain words."""


def _said(error: BaseException) -> str:
    return str(error) if isinstance(error, PluginProblem) else cause_of(error)


class _PrintedAside:
    """While a plugin works, what is printed goes to standard error: by Python, by a library in C, by a program that it
    begins. Threads may be inside together; the last to leave puts standard output back.
    """

    def __init__(self) -> None:
        self._lock, self._inside = threading.Lock(), 0
        self._stream: Any = None
        self._kept: int | None = None

    def __enter__(self) -> None:
        with self._lock:
            self._inside += 1
            if self._inside > 1:
                return
            self._stream, self._kept = sys.stdout, None
            with suppress(OSError, ValueError, AttributeError):  # closed, or none at all
                sys.stdout.flush()
            with suppress(OSError):
                self._kept = os.dup(1)
                os.dup2(2, 1)
            sys.stdout = sys.stderr

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._inside -= 1
            if self._inside:
                return
            sys.stdout = self._stream
            if self._kept is not None:
                os.dup2(self._kept, 1)
                os.close(self._kept)


_PRINTED_ASIDE = _PrintedAside()


@attrs.frozen(kw_only=True)
class Answer:
    """What one plugin answered to a hook."""

    plugin: str
    value: Any


class PluginReport:
    """A fresh pluggy manager with what was loaded and what was not.

    Attributes
    ----------
    manager : pluggy.PluginManager
    plugins : dict
        Plugin name to ``Plugin``, in the order in which they are asked.
    broken : list of BrokenPlugin
        Grows when a hook fails later.
    notes : list of Fault
        What is odd about a plugin and costs nothing: it is slow, or knows hooks that are not known here.
    """

    def __init__(self, *, strict: bool = False) -> None:
        self.manager = pluggy.PluginManager(GROUP)
        self.manager.add_hookspecs(hookspecs)
        self.plugins: dict[str, Plugin] = {}
        self.broken: list[BrokenPlugin] = []
        self.notes: list[Fault] = []
        self.strict = strict

    def __deepcopy__(self, memo: dict[int, Any]) -> "PluginReport":
        """The same one: modules have no copies."""
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        """Without the modules; what was raised as its words, since an exception may refuse to travel."""
        broken = [attrs.evolve(each, exception=PluginProblem(_said(each.exception))) for each in self.broken]
        return _reloaded, (self.strict, self.plugins, broken, self.notes)

    @contextmanager
    def watched(self, plugin: str, hook: str) -> Iterator[None]:
        """Around what a plugin does: it is named while it takes long, and what it prints goes to standard error."""
        start, where = time.monotonic(), f"plugin '{plugin}'"
        slow = f"{where} has taken {SLOW_S:g} s for {hook} and is not done; Ctrl-C ends the wait"
        watch = threading.Timer(SLOW_S, print, (slow,), {"file": sys.stderr})
        watch.daemon = True
        mind = plugin not in FIRST_PARTY
        if mind:
            with suppress(RuntimeError):  # a browser has no threads
                watch.start()
        try:
            with _PRINTED_ASIDE:
                yield
        finally:
            watch.cancel()
            if mind and (took := time.monotonic() - start) > SLOW_S:
                self.notes.append(Fault(where, rule=f"took {took:.0f} s for {hook}", kind="note"))

    @contextmanager
    def calling(self, plugin: str, hook: str) -> Iterator[None]:
        """The same, and what it raises is recorded and ends here, but for an interrupt."""
        try:
            with self.watched(plugin, hook):
                yield
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            self.record(plugin, "call", error, hook=hook)

    def ask(self, hook: str, **arguments: Any) -> Iterator[Answer]:
        """Ask every plugin that implements ``hook``, by name; one that raises is recorded and passed over.

        None is no answer. In strict mode the failure is raised as ``InputFaults``.
        """
        names = sorted(name for name in self.plugins if self.manager.has_plugin(name))
        for name in names:
            others = [self.manager.get_plugin(other) for other in names if other != name]
            caller = self.manager.subset_hook_caller(hook, others)
            if not caller.get_hookimpls():
                continue
            got: Any = None
            with self.calling(name, hook):
                got = caller(**arguments)
            value = got if _first_result(self.manager, hook) else (got[0] if got else None)
            if value is not None:
                yield Answer(plugin=name, value=value)

    def first(self, hook: str, **arguments: Any) -> Answer | None:
        """The first answer to ``hook`` in the order of the plugins' names; None when nobody answers."""
        return next(self.ask(hook, **arguments), None)

    def add(self, name: str, plugin: object) -> None:
        """Register a ready module or object under ``name``; one that breaks a rule is recorded like any other."""
        known = len(self.broken)
        _register(self, Plugin(name=name, distribution="", version="", entry_point=""), plugin)
        if self.strict and len(self.broken) > known:
            raise InputFaults(self.faults[known:])

    def record(self, name: str, phase: Phase, error: BaseException, *, hook: str = "") -> BrokenPlugin:
        """Keep a failure of a loaded plugin, once for each phase, hook and text; raise it in strict mode."""
        plugin = self.plugins[name]
        broken = BrokenPlugin(**attrs.asdict(plugin), phase=phase, exception=error, hook=hook)
        if str(broken) not in map(str, self.broken):
            self.broken.append(broken)
        if self.strict:
            raise InputFaults([broken.fault]) from error
        return broken

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Every broken plugin as one line of a fault list."""
        return tuple(broken.fault for broken in self.broken)


def build_manager(
    *,
    only: Iterable[str] | None = None,
    strict: bool = False,
    found: Iterable[EntryPoint] | None = None,
) -> PluginReport:
    """Find and load the plugins.

    Parameters
    ----------
    only : iterable of str, optional
        Names of the plugins to load; default: the environment variable PROPMATCH_PLUGINS, else all.
    strict : bool
        Raise what would only be recorded.
    found : iterable of EntryPoint, optional
        Entry points to load instead of the installed ones (group ``propmatch``).

    Returns
    -------
    PluginReport

    Raises
    ------
    InputFaults
        Only when strict: every plugin that could not be loaded.
    """
    report = PluginReport(strict=strict)
    points = _sorted_points(entry_points(group=GROUP) if found is None else found)
    wanted = wanted_plugins(only)
    for point in points:
        if wanted is None or point.name in wanted:
            _load(report, point)
    for name in sorted((wanted or set()) - {FOLDER_PLUGIN} - {point.name for point in points}):
        hint = did_you_mean(name, sorted({point.name for point in points}))
        text = "no installed distribution offers it" + (f"; {hint}" if hint else "")
        report.broken.append(
            BrokenPlugin(
                name=name, distribution="", version="", entry_point="", phase="find", exception=PluginProblem(text)
            )
        )
    if strict and report.broken:
        raise InputFaults(report.faults)
    return report


def _reloaded(strict: bool, plugins: dict[str, Plugin], broken: list[BrokenPlugin], notes: list[Fault]) -> PluginReport:
    """A report that has travelled: plugins of entry points are loaded again, a box has given its parts already."""
    report = PluginReport(strict=strict)
    for plugin in plugins.values():
        if plugin.entry_point:
            _load(report, EntryPoint(plugin.name, plugin.entry_point, GROUP), plugin)
    report.plugins, report.broken, report.notes = plugins, broken, notes
    return report


def wanted_plugins(only: Iterable[str] | None) -> set[str] | None:
    """The plugins to load, None for all: those named, else those that PROPMATCH_PLUGINS names."""
    if only is not None:
        return set(only)
    limit = os.environ.get(LIMIT_VARIABLE)
    return None if limit is None else {name.strip() for name in limit.split(",") if name.strip()}


def plugin_names() -> set[str]:
    """The names of every plugin that is installed, loaded or not."""
    return {point.name for point in _sorted_points(entry_points(group=GROUP))}


def _sorted_points(found: Iterable[EntryPoint]) -> list[EntryPoint]:
    """First-party plugins, known without metadata, and then the others by name and distribution."""
    own = [EntryPoint(name, value, GROUP) for name, value in sorted(FIRST_PARTY.items())]
    others = [point for point in found if FIRST_PARTY.get(point.name) != point.value]
    return own + sorted(others, key=lambda point: (point.name, *_origin(point), point.value))


def _origin(point: EntryPoint) -> tuple[str, str]:
    """Distribution and version an entry point came with."""
    if point.dist is None:
        return (GROUP, __version__) if FIRST_PARTY.get(point.name) == point.value else ("", "")
    return point.dist.name, point.dist.version


def _load(report: PluginReport, point: EntryPoint, plugin: Plugin | None = None) -> None:
    if plugin is None:
        distribution, version = _origin(point)
        plugin = Plugin(name=point.name, distribution=distribution, version=version, entry_point=point.value)
    try:
        with report.watched(plugin.name, "its import"):
            loaded = point.load()
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        report.broken.append(BrokenPlugin(**attrs.asdict(plugin), phase="import", exception=error))
    else:
        _register(report, plugin, loaded)


def _register(report: PluginReport, plugin: Plugin, loaded: object) -> None:
    """Register and verify one plugin; roll it back and record it when it breaks a rule."""
    manager = report.manager
    phase: Phase = "register"
    try:
        _refuse_conflict(report, plugin, loaded)
        manager.register(loaded, name=plugin.name)
        phase = "verify"
        with _PRINTED_ASIDE:
            report.notes += _verify(manager, plugin.name, loaded)
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        # pluggy keeps a plugin by name even when one of its hooks was refused
        if plugin.name not in report.plugins and manager.get_plugin(plugin.name) is loaded:
            manager.unregister(name=plugin.name)
        report.broken.append(BrokenPlugin(**attrs.asdict(plugin), phase=phase, exception=_plain_words(error, loaded)))
    else:
        report.plugins[plugin.name] = plugin
        report.plugins = dict(sorted(report.plugins.items()))


def _refuse_conflict(report: PluginReport, plugin: Plugin, loaded: object) -> None:
    if plugin.name in report.plugins:
        other = report.plugins[plugin.name]
        raise PluginProblem(
            f"the name '{plugin.name}' is taken by {other.entry_point} from {other.distribution} {other.version}; "
            "one of the two needs another entry-point name"
        )
    if inspect.isclass(loaded):
        raise PluginProblem("a plugin is a module or an object, not a class")
    same = report.manager.get_name(loaded)
    if same is not None:
        raise PluginProblem(f"the same module is already loaded as plugin '{same}'")


def _hooks() -> dict[str, tuple[str, ...]]:
    """Hook names and their arguments."""
    return {
        name: tuple(inspect.signature(function).parameters)
        for name, function in vars(hookspecs).items()
        if name.startswith("propmatch_") and inspect.isfunction(function)
    }


def _first_result(manager: pluggy.PluginManager, hook: str) -> bool:
    spec = getattr(manager.hook, hook).spec
    return bool(spec.opts["firstresult"])


def _newer(loaded: object) -> str:
    """What to say of a plugin that was written for newer hooks than these; empty where it was not."""
    version = getattr(loaded, "HOOK_VERSION", HOOK_VERSION)
    if not isinstance(version, int):
        raise PluginProblem(f"HOOK_VERSION must be a whole number, not {type(version).__name__}")
    if version <= HOOK_VERSION:
        return ""
    return f"; it was written for hooks of version {version}, these are {HOOK_VERSION}"


def _verify(manager: pluggy.PluginManager, plugin: str, loaded: object) -> list[Fault]:
    """Everything pluggy would accept without a word although nothing could come of it; answers what is passed over."""
    hooks, newer, passed = _hooks(), _newer(loaded), []
    implemented = {
        caller.name: impl
        for caller in manager.get_hookcallers(loaded) or ()
        for impl in caller.get_hookimpls()
        if impl.plugin is loaded
    }
    for name in [name for name in implemented if name not in hooks]:
        if not newer and not implemented.pop(name).optionalhook:
            hint = did_you_mean(name, hooks) or "the hooks are " + ", ".join(hooks)
            raise PluginProblem(f"there is no hook named {name}; {hint}")
        implemented.pop(name, None)
        rule = f"there is no hook named {name} in this version; it is passed over{newer}"
        passed.append(Fault(f"plugin '{plugin}'", rule=rule, kind="note"))
    for name, impl in implemented.items():
        if impl.kwargnames:
            raise PluginProblem(
                f"{name}({', '.join(impl.kwargnames)}=...) has a default value, which would hide what is passed; "
                "write the argument without one"
            )
        if impl.hookwrapper or impl.wrapper:
            raise PluginProblem(f"{name} is a wrapper, and plugins are called one at a time")
    for name in dir(loaded):
        if name in hooks and name not in implemented and callable(getattr(loaded, name)):
            raise PluginProblem(f"{name} lacks the mark @hookimpl in front of it")
    if not implemented and not passed:
        raise PluginProblem("it implements no hook; mark its functions with @hookimpl")
    return passed


def _plain_words(error: BaseException, loaded: object) -> BaseException:
    """Say what is right when pluggy refuses an argument; the original is kept as the cause."""
    if not isinstance(error, pluggy.PluginValidationError):
        return error
    hooks = _hooks()
    for name, arguments in hooks.items():
        function = getattr(loaded, name, None)
        if not inspect.isroutine(function):
            continue
        wrong = [each for each in inspect.signature(function).parameters if each not in arguments]
        if wrong:
            takes = f"takes ({', '.join(arguments)})" if arguments else "takes no argument"
            problem = PluginProblem(f"{name} asks for {', '.join(wrong)}, but this hook {takes}{_newer(loaded)}")
            problem.__cause__ = error
            return problem
    return error
