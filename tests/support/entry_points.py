"""Entry points that are not installed: made-up distributions whose object is handed over or raises."""

from collections.abc import Callable
from importlib.metadata import EntryPoint
from types import ModuleType
from typing import Any


class FakeDistribution:
    def __init__(self, name: str, version: str) -> None:
        self.name = name
        self.version = version


class FakeEntryPoint:
    """Looks like ``importlib.metadata.EntryPoint``; ``give`` stands for the import."""

    group = "propmatch"

    def __init__(self, name: str, give: Callable[[], Any], *, distribution: str = "", version: str = "2.0") -> None:
        self.name = name
        self.value = f"{name}_module"
        self.dist = FakeDistribution(distribution or f"dist-{name}", version)
        self.give = give

    def load(self) -> Any:
        return self.give()


def module_of(**functions: Any) -> ModuleType:
    """A module with these names in it."""
    module = ModuleType("made_up_plugin")
    vars(module).update(functions)
    return module


def point(name: str, *, distribution: str = "", version: str = "2.0", **functions: Any) -> EntryPoint:
    """An entry point of a module with these functions."""
    module = module_of(**functions)
    return FakeEntryPoint(name, lambda: module, distribution=distribution, version=version)  # type: ignore[return-value]


def raising_point(name: str, error: BaseException, *, distribution: str = "") -> EntryPoint:
    """An entry point whose import fails."""

    def give() -> Any:
        raise error

    return FakeEntryPoint(name, give, distribution=distribution)  # type: ignore[return-value]
