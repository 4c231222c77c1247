"""Mutation testing on demand: a sample of small faults in models, train, checks and search against the quick tests.

``python benchmarks/mutants.py --map FOLDER --learn`` copies this checkout to FOLDER and notes which test runs which
line (a quarter of an hour of CPU); ``python benchmarks/mutants.py --map FOLDER --log FILE --count 300 --seed 1`` plants
the faults, and a map made before smaller changes serves too. cosmic-ray (the extra ``mutants``) makes them; no file is
changed. Every test is collected once; a fork of this process takes the mutated code and runs the tests that run its
statement, the quickest first, up to the first that fails or ``--budget`` seconds. FILE gains a line of JSON per mutant,
and a run that finds it goes on where it ended; ``--again FILE`` plants those that survived there once more, in the code
and among the tests of today. A survivor is listed with its line, for somebody to say why: a hole in
the tests, or a change that changes nothing.
"""

import argparse
import ast
import difflib
import functools
import gc
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree
from collections import Counter, defaultdict
from collections.abc import Iterator
from copy import copy
from functools import cache
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent
ROOMS = ("models", "train", "checks", "search")
FOLDERS = ("unit", "properties", "reference", "plugins")
OPERATORS = re.compile(
    r"core/(ReplaceBinaryOperator_(Add_Sub|Sub_Add|Mul_Div|Div_Mul|Pow_Mul|BitAnd_BitOr|BitOr_BitAnd)"
    r"|ReplaceComparisonOperator_(Lt_LtE|LtE_Lt|Gt_GtE|GtE_Gt|Lt_Gt|Gt_Lt|LtE_GtE|GtE_LtE|Eq_NotEq|NotEq_Eq|Is_IsNot|IsNot_Is)"
    r"|ReplaceUnaryOperator_(USub_UAdd|Delete_USub|Delete_Not|Delete_Invert)"
    r"|NumberReplacer|AddNot|ReplaceTrueWithFalse|ReplaceFalseWithTrue|ReplaceAndWithOr|ReplaceOrWithAnd|ZeroIterationForLoop)"
)
"""Those that change what is computed, not what types are allowed."""
FLAGS = ("eq", "kw_only", "strict")
"""Keywords that say how a class is made, or that lengths go together: nothing computes with them either."""
FRESH = ("propmatch", "propmatch_plugins", "tests", "support", *FOLDERS)
"""Packages that are imported anew where import itself is mutated."""
UNKNOWN_SECONDS = 0.5
"""Time supposed of a test that came after the map."""
NO_KILLER = ("survived", "late")


@cache
def _computed(text: str) -> str:
    """A module without what nothing computes with: annotations, docstrings, flags; nothing where it is no Python."""
    try:
        tree = ast.parse(text)
    except SyntaxError:
        return ""
    for node in ast.walk(tree):
        for name in ("annotation", "returns"):
            if getattr(node, name, None) is not None:
                setattr(node, name, ast.Constant(None))
        if isinstance(node, ast.Call):
            node.keywords = [each for each in node.keywords if each.arg not in FLAGS]
        body = getattr(node, "body", None)
        if isinstance(body, list):
            node.body = [each for each in body if not _is_text(each)]  # type: ignore[attr-defined]
    return ast.dump(tree)


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


class Mutant:
    """One change: module, operator and occurrence, the text with it and the lines that differ."""

    def __init__(self, path: Path, operator: str, text: str, mutated: str) -> None:
        self.path, self.operator, self.mutated = path, operator.removeprefix("core/"), mutated
        self.name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        self.room = self.name.split(".")[1]
        pairs = list(difflib.unified_diff(text.split("\n"), mutated.split("\n"), lineterm="", n=0))
        self.line = int(re.search(r"-(\d+)", pairs[2])[1])  # type: ignore[index]
        self.change = " -> ".join(each[1:].strip() for each in pairs[3:] if each[:1] in "+-")

    def __str__(self) -> str:
        return f"{self.path.relative_to(ROOT)}:{self.line} {self.operator}: {self.change}"

    def compiled(self) -> list[CodeType]:
        """The module without and with the change."""
        texts = (_text(self.path), self.mutated)
        return [compile(text, str(self.path), "exec", dont_inherit=True) for text in texts]

    def in_place(self) -> bool:
        """Whether the functions that are there can take the change: import does the same."""
        old, new = map(_on_import, self.compiled())
        return old == new

    def undone(self) -> "Mutant":
        """The same without the change, to be imported anew."""
        same = copy(self)
        same.mutated = _text(self.path)
        return same

    def lines(self) -> set[int]:
        """The lines of the statement changed: those of its head where it has a body, all of a function or class."""
        inner = min(
            (
                (stop - node.lineno, node.lineno, stop)
                for node in ast.walk(ast.parse(_text(self.path)))
                if isinstance(node, ast.stmt) and node.lineno <= self.line <= (stop := _stop(node))
            ),
            default=(0, self.line, self.line),
        )
        return set(range(inner[1], inner[2] + 1))


def _stop(node: ast.stmt) -> int:
    """Last line of a statement: of its head, where what follows is no definition."""
    body = getattr(node, "body", None)
    if body and not isinstance(node, ast.FunctionDef | ast.ClassDef):
        return max(node.lineno, int(body[0].lineno) - 1)
    return int(node.end_lineno or node.lineno)


@cache
def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@cache
def _positions(path: Path, operator: str) -> int:
    """How often an operator finds something to change in a file."""
    from cosmic_ray.ast import Visitor
    from cosmic_ray.plugins import get_operator

    class Count(Visitor):
        found = 0

        def visit(self, node: Any) -> Any:
            self.found += sum(1 for _ in made.mutation_positions(node))
            return node

    made, count = get_operator(operator)(), Count()
    count.walk(_tree(path))
    return count.found


@cache
def _tree(path: Path) -> Any:
    from cosmic_ray.ast import get_ast

    return get_ast(_text(path))


def sample(count: int, seed: int) -> Iterator[Mutant]:
    """Mutants drawn by the size of the files, equally among the operators that find anything there."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator, operator_names

    rng = random.Random(seed)
    files = [path for room in ROOMS for path in sorted((ROOT / "propmatch" / room).rglob("*.py"))]
    operators = [name for name in sorted(operator_names()) if OPERATORS.fullmatch(name)]
    weights = [len(_text(path)) for path in files]
    made: set[tuple[Path, str, int]] = set()
    while len(made) < count:
        path, operator = rng.choices(files, weights)[0], rng.choice(operators)
        places = _positions(path, operator)
        key = (path, operator, rng.randrange(places) if places else -1)
        if not places or key in made:
            continue
        mutated = mutate_code(_text(path), get_operator(operator)(), key[2])
        if mutated is not None and _computed(mutated) not in ("", _computed(_text(path))):
            made.add(key)
            yield Mutant(path, operator, _text(path), mutated)


def again(log: Path) -> Iterator[Mutant]:
    """The mutants that survived by a log, where the code still has what they change."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    for each in map(json.loads, log.read_text().splitlines()):
        name, line, short, change = re.fullmatch(r"(.*?):(\d+) (\w+): (.*)", each["mutant"], re.DOTALL).groups()  # type: ignore[union-attr]
        if each["found"] == "killed" or not (path := ROOT / name).is_file():
            continue
        operator, text = f"core/{short}", _text(path)
        texts = (mutate_code(text, get_operator(operator)(), at) for at in range(_positions(path, operator)))
        found = [made for mutated in texts if (made := Mutant(path, operator, text, mutated)).change == change]
        yield from sorted(found, key=lambda made: abs(made.line - int(line)))[:1]


class Map:
    """Which test ran which line, and how long each took, in the copy of a checkout."""

    def __init__(self, folder: Path) -> None:
        from coverage import CoverageData

        self.folder = folder
        self.data = CoverageData(str(folder / ".coverage"))
        self.data.read()
        self.seconds: dict[str, float] = {}
        for case in xml.etree.ElementTree.parse(folder / "times.xml").iter("testcase"):
            self.seconds[_node(case.get("classname", ""), case.get("name", ""))] = float(case.get("time", 0))

    def tests(self, mutant: Mutant) -> "set[str]":
        """Tests that ran the statement, or any of the module where it is run on import alone."""
        before = self.folder / mutant.path.relative_to(ROOT)
        if not before.is_file():
            return set()
        ran = {
            line: {each.rpartition("|")[0] for each in found} - {""}
            for line, found in self.data.contexts_by_lineno(str(before)).items()
        }
        then, now = _text(before).split("\n"), _text(mutant.path).split("\n")
        lines, same = mutant.lines(), difflib.SequenceMatcher(None, then, now, autojunk=False)
        blocks = same.get_matching_blocks()
        old = {each.a + at for each in blocks for at in range(1, each.size + 1) if each.b + at in lines}
        found = set[str]().union(*(ran.get(line, set()) for line in old))
        return found or set[str]().union(*ran.values())

    @staticmethod
    def learn(folder: Path) -> int:
        """Make the map: every quick test once, watched."""
        for name in ("propmatch", "plugins", "datasets", "benchmarks", "tests"):
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / name, folder)
        watched = ["--cov", "--cov-context=test", "--cov-report=", "--junitxml=times.xml"]
        told = [sys.executable, "-m", "pytest", "-q", *watched, *(f"tests/{each}" for each in FOLDERS)]
        path = os.pathsep.join(str(folder / each) for each in ("", "plugins", "datasets"))
        return subprocess.run(told, cwd=folder, env=os.environ | {"PYTHONPATH": path, "CI": "true"}).returncode


def _node(classname: str, name: str) -> str:
    """The id of a test from how a report names it."""
    parts = classname.split(".")
    at = next((n for n, each in enumerate(parts, start=1) if each.startswith("test_")), len(parts))
    return "::".join(["/".join(parts[:at]) + ".py", *parts[at:], name])


class _Mutated(importlib.abc.MetaPathFinder, importlib.machinery.SourceFileLoader):
    """Imports one module with another text."""

    def __init__(self, mutant: Mutant) -> None:
        super().__init__(mutant.name, str(mutant.path))
        self.mutant = mutant

    def find_spec(self, fullname: str, path: Any = None, target: Any = None) -> Any:
        if fullname != self.mutant.name:
            return None
        return importlib.util.spec_from_file_location(fullname, str(self.mutant.path), loader=self)

    def get_code(self, fullname: str) -> Any:
        return compile(self.mutant.mutated, str(self.mutant.path), "exec", dont_inherit=True)


def _inside(code: CodeType) -> Iterator[CodeType]:
    for each in code.co_consts:
        if isinstance(each, CodeType):
            yield each
            yield from _inside(each)


def _on_import(code: CodeType) -> tuple[Any, ...]:
    """What a module or class body does itself, functions apart."""
    inner = [each for each in code.co_consts if isinstance(each, CodeType)]
    own = tuple(each for each in code.co_consts if not isinstance(each, CodeType))
    bodies = tuple(_on_import(each) for each in inner if not each.co_flags & 2)
    return code.co_code, repr(own), code.co_names, bodies


class Judge:
    """Runs mutants among the tests that pytest has collected in this process."""

    def __init__(self, asked: argparse.Namespace) -> None:
        self.asked, self.map = asked, Map(asked.map)
        self.sound: dict[tuple[str, bool], bool] = {}

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        self.session = session
        self.items: dict[str, pytest.Item] = {each.nodeid: each for each in session.items}
        self.functions = [each for each in gc.get_objects() if isinstance(each, FunctionType)]
        self.kept = [each for each in gc.get_objects() if isinstance(each, functools._lru_cache_wrapper)]
        gc.freeze()
        log: Path = self.asked.log
        done = {each["mutant"]: each for each in map(json.loads, log.read_text().splitlines())} if log.exists() else {}
        end = time.time() + 60 * self.asked.minutes
        judged = list[dict[str, Any]]()
        asked = self.asked
        mutants = again(asked.again) if asked.again else sample(asked.count, asked.seed)
        for at, mutant in enumerate(mutants, start=1):
            if str(mutant) in done:
                judged.append(done[str(mutant)])
                continue
            if time.time() > end:
                break
            found = {"mutant": str(mutant), "room": mutant.room, **self.verdict(mutant)}
            judged.append(found)
            with log.open("a", encoding="utf-8") as out:
                out.write(json.dumps(found) + "\n")
            print(f"{at}: {_line(found)}", flush=True)
        _report(judged)
        return True

    def chosen(self, mutant: Mutant) -> list[str]:
        """The quickest tests of a mutant that the budget holds, those of files first whose text names the module.

        Tests that came after the map are taken of files that name it, or of which another test runs the statement.
        """
        told = re.compile(rf"\b{mutant.name.rpartition('.')[2]}\b")
        ran, left, chosen = self.map.tests(mutant), self.asked.budget, defaultdict[str, list[str]](list)
        near, files = ({each.partition("::")[0] for each in some} for some in (ran, self.items))
        named = {file: bool(told.search(_text(ROOT / file))) for file in files}
        for node in sorted(self.items, key=self.seconds):
            file = node.partition("::")[0]
            if node in ran or (node not in self.map.seconds and (named[file] or file in near)):
                if self.seconds(node) > left:
                    break
                left -= self.seconds(node)
                chosen[file].append(node)
        firsts = sorted(chosen, key=lambda file: (not named[file], sum(map(self.seconds, chosen[file]))))
        return [node for file in firsts for node in chosen[file]]

    def seconds(self, node: str) -> float:
        return self.map.seconds.get(node, UNKNOWN_SECONDS)

    def verdict(self, mutant: Mutant) -> dict[str, Any]:
        """``killed`` and the test that did it, ``late`` or ``survived``; a test that fails anyway kills nothing."""
        chosen, began = self.chosen(mutant), time.time()
        while True:
            found, by = self.fork(mutant, chosen)
            if found in NO_KILLER or by not in self.items:
                break
            same = None if mutant.in_place() else mutant.undone()
            key = by, same is None
            if key not in self.sound:
                self.sound[key] = self.fork(same, chosen[: chosen.index(by) + 1] if same else [by])[1] != by
            if self.sound[key]:
                break
            chosen = [each for each in chosen if each != by]
        return {"found": found, "by": by, "tests": len(chosen), "seconds": round(time.time() - began, 1)}

    def fork(self, mutant: "Mutant | None", chosen: list[str]) -> tuple[str, str]:
        folder, (reads, writes) = tempfile.mkdtemp(prefix="mutant-"), os.pipe()
        child = os.fork()
        if not child:
            tempfile.tempdir = folder
            os.environ |= {"TMPDIR": folder, "PROPMATCH_CACHE": f"{folder}/kept"}
            try:
                failed = self.run(mutant, chosen)
            except BaseException as fault:
                failed = repr(fault)
            os.write(writes, failed.encode()[:4000])
            os._exit(0)
        os.close(writes)
        _, status = os.waitpid(child, 0)
        by = os.read(reads, 4000).decode()
        os.close(reads)
        shutil.rmtree(folder, ignore_errors=True)
        if os.WIFSIGNALED(status):
            return ("late" if os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL, signal.SIGALRM) else "killed"), ""
        return ("killed" if by else "survived"), by

    def run(self, mutant: "Mutant | None", chosen: list[str]) -> str:
        """In the fork: the first test that fails, or nothing."""
        seconds = int(10 + 2 * sum(map(self.seconds, chosen)))
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.alarm(20 * seconds)
        sink = os.open(os.devnull, os.O_WRONLY)
        os.dup2(sink, 1)
        os.dup2(sink, 2)
        first = _First()
        if mutant is not None and not self.take(mutant):
            sys.meta_path.insert(0, _Mutated(mutant))
            for name in [each for each in sys.modules if each.split(".")[0] in FRESH]:
                del sys.modules[name]
            code = pytest.main(["-x", "-q", "-s", "-p", "no:cacheprovider", *chosen], plugins=[first]) if chosen else 0
            return first.failed or ("" if code == 0 else f"exit {code}")
        for each in self.kept:
            each.cache_clear()
        self.session.config.pluginmanager.register(first)
        items = [self.items[each] for each in chosen]
        for item, after in zip(items, [*items[1:], None], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=after)
            if first.failed:
                break
        return first.failed

    def take(self, mutant: Mutant) -> bool:
        """Put the mutated code into the functions that are there; False where import itself would differ."""
        if not mutant.in_place():
            return False
        old, new = (list(_inside(each)) for each in mutant.compiled())
        if len(old) != len(new):
            return False
        changed = {was: now for was, now in zip(old, new, strict=True) if was != now}
        taken = 0
        for each in self.functions:
            now = changed.get(each.__code__) if each.__code__.co_filename == str(mutant.path) else None
            if now is not None:
                each.__code__ = now
                taken += 1
        return taken > 0


class _First:
    """Notes the first test that fails."""

    failed = ""

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.failed:
            self.failed = report.nodeid


def _line(each: dict[str, Any]) -> str:
    return f"{each['found']} {each['by']} ({each['tests']} tests): {each['mutant']}"


def _report(done: list[dict[str, Any]]) -> None:
    tally = Counter((each["room"], each["found"]) for each in done)
    for each in done:
        if each["found"] == "survived":
            print(_line(each))
    for room in ROOMS:
        print(room, {found: n for (of, found), n in tally.items() if of == room})
    lived = sum(each["found"] == "survived" for each in done)
    print(f"{len(done)} mutants, {len(done) - lived} killed: {100 * (len(done) - lived) / max(len(done), 1):.0f} %")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=float("inf"))
    parser.add_argument("--budget", type=float, default=30, help="seconds of tests for a mutant, as the map has them")
    parser.add_argument("--again", type=Path, metavar="FILE", help="those that survived by a log, instead of a sample")
    parser.add_argument("--map", type=Path, help="folder of the map")
    parser.add_argument("--learn", action="store_true", help="make the map")
    parser.add_argument("--log", type=Path, default=Path("mutants.jsonl"))
    parser.add_argument("--smoke", action="store_true", help="make a few, test none")
    asked = parser.parse_args()
    if importlib.util.find_spec("cosmic_ray") is None:
        print("cosmic-ray is not installed: pip install 'propmatch[mutants]'")
        return 0 if asked.smoke else 1
    if asked.smoke:
        print(*sample(5, asked.seed), sep="\n")
        return 0
    if asked.map is None:
        parser.error("--map FOLDER says where the map of lines and tests is, or goes with --learn")
    if asked.learn:
        return Map.learn(asked.map.resolve())
    asked.map, asked.log, asked.again = (each and each.resolve() for each in (asked.map, asked.log, asked.again))
    os.environ |= {"CI": "true", "HYPOTHESIS_STORAGE_DIRECTORY": tempfile.mkdtemp(prefix="mutants-")}
    os.chdir(ROOT)
    told = ["-q", "-s", "-p", "no:cacheprovider", *(f"tests/{each}" for each in FOLDERS)]
    return int(pytest.main(told, plugins=[Judge(asked)]))


if __name__ == "__main__":
    sys.exit(main())
