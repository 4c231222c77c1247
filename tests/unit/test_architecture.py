"""House rules that are about the source itself: direction of imports, file length, what importing costs."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import propmatch

ROOT = Path(propmatch.__file__).parent
MODULES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for path in sorted(ROOT.rglob("*.py"))
}
LENGTH = 400

LAYERS = (
    "_version units status faults tablehtml",
    "declared fields",
    "air surface lookup tables chemistry",
    "parts",
    "estimates",
    "motor controller battery propeller",
    "bracket torque kernel thrust lanes",
    "operating coupling",
)
"""The engine from the bottom up; a module imports from its own layer or from those before it."""
RANK = {name: rank for rank, layer in enumerate(LAYERS) for name in layer.split()}


def imports(path: Path) -> set[str]:
    """Modules of the package that a file imports when it is loaded or later, type checking left out."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "propmatch":
            inside = node.module.removeprefix("propmatch").lstrip(".")
            found |= {inside} if inside else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {a.name.removeprefix("propmatch.") for a in node.names if a.name.startswith("propmatch.")}
    return {name for name in found if name in MODULES}


@pytest.mark.parametrize("name", sorted(RANK))
def test_the_engine_imports_downwards_only(name: str) -> None:
    upwards = [other for other in imports(MODULES[name]) if RANK.get(other, len(LAYERS)) > RANK[name]]
    assert upwards == []


def test_no_module_imports_itself_by_a_detour() -> None:
    """No cycle among the imports made while loading; those inside functions may point anywhere."""
    graph = {}
    for name, path in MODULES.items():
        tree = ast.parse(path.read_text(encoding="utf-8"))
        graph[name] = {
            module
            for node in tree.body
            if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "propmatch"
            for module in (
                [node.module.removeprefix("propmatch.")]
                if node.module != "propmatch"
                else [alias.name for alias in node.names]
            )
            if module in MODULES
        }
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> None:
        assert name not in path, " imports ".join([*path, name])
        if name not in done:
            for other in graph[name]:
                visit(other, (*path, name))
            done.add(name)

    for name in graph:
        visit(name, ())


@pytest.mark.parametrize("name", sorted(MODULES))
def test_files_stay_short(name: str) -> None:
    lines = len(MODULES[name].read_text(encoding="utf-8").splitlines())
    assert lines <= LENGTH, f"{lines} lines"


def test_scipy_and_pandas_are_imported_inside_functions() -> None:
    heavy = []
    for name, path in MODULES.items():
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            modules = (
                [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else [a.name for a in node.names]
                if isinstance(node, ast.Import)
                else []
            )
            heavy += [f"{name}: {m}" for m in modules if m.split(".")[0] in ("scipy", "pandas", "matplotlib")]
    assert heavy == []


@pytest.mark.parametrize("module", [m for m in ("propmatch", "propmatch.cli") if m == "propmatch" or "cli" in MODULES])
def test_importing_is_light(module: str) -> None:
    code = f"import sys, {module}; print(sorted({{'numpy', 'scipy', 'pandas'}} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_public_name_of_the_package_exists() -> None:
    for name in propmatch.__all__:
        assert getattr(propmatch, name) is not None, name
