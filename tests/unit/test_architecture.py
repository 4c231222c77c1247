"""House rules that are about the source itself: direction of imports, what importing costs, sizes of functions."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import propmatch
import propmatch_datasets
import propmatch_plugins

ROOT = Path(propmatch.__file__).parent
MODULES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for path in sorted(ROOT.rglob("*.py"))
}
PLUGINS = Path(propmatch_plugins.__file__).parent

FLOORS = (
    "_version units columns status faults files cache tablehtml",
    "models",
    "records",
    "train",
    "aircraft",
    "tolerances",
    "checks",
    "catalogue",
    "search",
    "questions",
    "bench",
    "words",
    "sheet",
    "page",
    "guide",
    "commands",
    "__init__ brief coupling battery hookspecs testing cli",
)
"""The one import rule: a room imports from itself and from the floors above it in this list, never from those below."""
FLOOR = {room: floor for floor, rooms in enumerate(FLOORS) for room in rooms.split()}


def room_of(module: str) -> str:
    return module.split(".")[0]


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(parsed(path)))


@pytest.fixture(scope="module", autouse=True)
def forgotten() -> Iterator[None]:
    """Half a million nodes that no later test reads, and that every search for garbage would look through."""
    yield
    nodes.cache_clear()
    parsed.cache_clear()


@cache
def imports(path: Path) -> frozenset[str]:
    """Modules of the package that a file imports: when it is loaded, inside functions, and for types alone."""
    found = set()
    for node in nodes(path):
        if isinstance(node, ast.ImportFrom) and node.module and room_of(node.module) == "propmatch":
            inside = node.module.removeprefix("propmatch").lstrip(".")
            for alias in node.names:
                deeper = f"{inside}.{alias.name}".lstrip(".")
                found.add(deeper if deeper in MODULES else inside or "__init__")
        elif isinstance(node, ast.Import):
            found |= {a.name.removeprefix("propmatch.") for a in node.names if room_of(a.name) == "propmatch"}
    return frozenset(found)


@pytest.mark.parametrize("name", sorted(MODULES))
def test_a_module_imports_from_its_own_room_and_the_floors_below(name: str) -> None:
    mine = FLOOR[room_of(name)]
    upwards = [other for other in imports(MODULES[name]) if FLOOR[room_of(other)] > mine]
    sideways = [o for o in imports(MODULES[name]) if FLOOR[room_of(o)] == mine and room_of(o) != room_of(name)]
    doors = mine == len(FLOORS) - 1
    assert upwards == []
    assert doors or mine == 0 or sideways == []


def test_files_are_written_in_one_place() -> None:
    """Whole or not at all: the writer of ``propmatch.files`` is the only one in what ships."""
    places = [*MODULES.values(), *PLUGINS.rglob("*.py"), *Path(propmatch_datasets.__file__).parent.rglob("*.py")]
    wrong = []
    for path in places:
        for node in nodes(path):
            if not isinstance(node, ast.Call) or path == MODULES["files"]:
                continue
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            modes = [each.value for each in (*node.args, *(word.value for word in node.keywords))
                     if isinstance(each, ast.Constant) and isinstance(each.value, str)]  # fmt: skip
            writes = called in ("open", "fdopen") and any(re.fullmatch(r"[wxa+]b?t?\+?|r.?\+", mode) for mode in modes)
            if writes or called in ("write_text", "write_bytes", "NamedTemporaryFile", "mkstemp", "to_csv", "to_excel"):
                wrong.append(f"{path.name}:{node.lineno}")
    assert wrong == []


def test_the_quick_search_has_one_door() -> None:
    wrong = {
        name: others
        for name, path in MODULES.items()
        if not name.startswith("search.bounds")
        and (others := {m for m in imports(path) if m.startswith("search.bounds")} - {"search.bounds.pruned"})
    }
    assert wrong == {}


def test_plugins_import_records_models_and_the_hook_specifications() -> None:
    allowed = {*FLOORS[0].split(), "models", "records", "hookspecs", "battery", "brief"}
    wrong = {
        str(path.relative_to(PLUGINS)): sorted(others)
        for path in sorted(PLUGINS.rglob("*.py"))
        if (others := {module for module in imports(path) if room_of(module) not in allowed})
    }
    assert wrong == {}


def test_every_module_of_the_plugins_is_imported_or_named_by_another() -> None:
    """What only trains or judges the prediction stays in ``benchmarks``: the wheel ships what answers."""
    names = {
        ".".join(path.relative_to(PLUGINS.parent).with_suffix("").parts).removesuffix(".__init__"): path
        for path in sorted(PLUGINS.rglob("*.py"))
    }
    used = {"propmatch_plugins"}
    for path in [*names.values(), *MODULES.values()]:
        for node in nodes(path):
            if isinstance(node, ast.ImportFrom) and node.module:
                used |= {node.module, *(f"{node.module}.{each.name}" for each in node.names)}
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                used.add(node.value)
    assert set(names) - used == set()


def test_no_module_imports_itself_by_a_detour() -> None:
    """No circle among all imports, those inside functions included."""
    graph = {name: {other for other in imports(path) if other in MODULES} for name, path in MODULES.items()}
    graph = {name: {o for o in others if o not in ("__init__", name)} for name, others in graph.items()}
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> None:
        assert name not in path, " imports ".join([*path, name])
        if name not in done:
            for other in graph[name]:
                visit(other, (*path, name))
            done.add(name)

    for name in graph:
        visit(name, ())


def test_every_room_says_what_it_is_for() -> None:
    for name, path in MODULES.items():
        if path.name == "__init__.py" and name != "__init__":
            text = ast.get_docstring(parsed(path)) or ""
            assert len(text.splitlines()) >= 3, f"{name}/__init__ says too little"


def test_scipy_and_pandas_are_imported_inside_functions() -> None:
    heavy = []
    for name, path in MODULES.items():
        for node in parsed(path).body:
            modules = (
                [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else [a.name for a in node.names]
                if isinstance(node, ast.Import)
                else []
            )
            heavy += [f"{name}: {m}" for m in modules if m.split(".")[0] in ("scipy", "pandas", "matplotlib")]
    assert heavy == []


@pytest.mark.parametrize("module", ["propmatch", "propmatch.cli", "propmatch.hookspecs"])
def test_importing_is_light(module: str) -> None:
    code = f"import sys, {module}; print(sorted({{'numpy', 'scipy', 'pandas'}} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


NEVER = {"scipy", "pandas", "matplotlib", "jinja2", "numpy.ma", "decimal", "dask"}
"""What an answer in text needs nothing of."""
SEARCH = {"propmatch.search.matching", "propmatch.search.bounds.pruned", "propmatch.search.picks"}
TYPED = {"propmatch.records.typed", "propmatch.records.written", "propmatch.records.listing"}
NAMED = ("--motor", "1500kV 28g", "--propeller", "6x4", "--pack", "2S 450mAh 35C", "--controller", "20A")


@pytest.mark.parametrize(
    ("words", "forbidden"),
    [
        (("--help",), NEVER | SEARCH | {"numpy", "propmatch.records"}),
        (("guide", "--help"), NEVER | SEARCH | {"numpy", "propmatch.records", "markdown_it"}),
        (("guide", "tutorial"), NEVER | SEARCH | {"numpy", "propmatch.records"}),
        (("point", *NAMED), NEVER | SEARCH),
        (("time", "schoolyard_trainer", *NAMED), NEVER | SEARCH),
        (("match", "schoolyard_trainer", "--on-paper"), NEVER | TYPED),
        (("envelope", "schoolyard_trainer", "--on-paper"), NEVER | TYPED),
    ],
    ids=lambda each: " ".join(each[:2]) if isinstance(each, tuple) else "",
)
def test_a_command_imports_nothing_that_it_does_not_need(words: tuple[str, ...], forbidden: set[str]) -> None:
    code = f"""
import sys
from propmatch.cli import propmatch
try:
    propmatch({words!r}, standalone_mode=False)
except SystemExit:
    pass
sys.stderr.write("loaded: " + " ".join(sorted({forbidden!r} & set(sys.modules))))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.split("loaded:")[-1].split() == []


def test_every_public_name_of_the_package_exists() -> None:
    for name in propmatch.__all__:
        assert getattr(propmatch, name) is not None, name
