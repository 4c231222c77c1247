"""Theory, nomenclature and bounds: what the pages name is what the code has, and the other way round."""

import ast
import re
from importlib import import_module
from pathlib import Path

import pytest

import propmatch
from propmatch.guide.accuracy import accuracy
from propmatch.guide.lawbook import ROOMS, described, lawful_modules, laws_of
from propmatch.guide.theory import bounds, nomenclature, proofs, property_tests, symbols, theory

PACKAGE = Path(propmatch.__file__).parent
TESTS = Path(__file__).parents[1]
EQUATION = re.compile(r"[\w)\]'] = [^\d\s.]|\[(?:-|1/\w|[A-Za-z%])[^\]]*\]")
"""An equation, or a unit in brackets."""


def written_laws():
    """Public functions, methods and properties whose docstring states an equation or a unit, by the syntax alone."""
    for room in ROOMS:
        for path in sorted((PACKAGE / room).glob("*.py")):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            public = next((ast.literal_eval(n.value) for n in tree.body if isinstance(n, ast.Assign)
                           and getattr(n.targets[0], "id", "") == "__all__"), [])  # fmt: skip
            for node in tree.body:
                if getattr(node, "name", "") not in public:
                    continue
                inside = [n for n in getattr(node, "body", ()) if isinstance(n, ast.FunctionDef) and n.name[0] != "_"]
                within = [(f"{node.name}.{n.name}", n) for n in inside if isinstance(node, ast.ClassDef)]
                for name, each in [(node.name, node), *within]:
                    first = re.split(r"\n\s*\w+\n\s*---", ast.get_docstring(each) or "")[0]
                    if EQUATION.search(re.sub(r"``.*?``", "", first, flags=re.DOTALL)):
                        yield f"{room}.{path.stem}", name


@pytest.fixture(scope="module")
def page():
    return theory(None)


def sections(text):
    """Heading of a module to what stands below it."""
    return {part.partition("\n")[0]: part for part in re.split(r"\n###? ", text)}


def test_every_law_is_on_the_page_and_everything_on_it_is_in_the_code(page):
    below = sections(page)
    for module, name in written_laws():
        assert re.search(rf"^- `{re.escape(name)}[`(]", below[module], re.MULTILINE), f"{module}.{name}"
    laws = [law for modules in lawful_modules().values() for module in modules for law in laws_of(module)]
    named = re.findall(r"^- `([\w.]+)(?:\([^`]*\))?`$", page, re.MULTILINE)
    assert sorted(named) == sorted(law.name for law in laws)
    assert len(laws) > 100


def test_every_law_says_where_it_comes_from(page):
    nowhere = [
        f"{law.module}.{law.name}" for modules in lawful_modules().values() for module in modules
        for law in laws_of(module) if not law.sources
    ]  # fmt: skip
    assert nowhere == []
    below = sections(page)
    assert all("Source: " in below[module] for module, _ in written_laws())


def test_a_docstring_falls_into_its_pieces():
    found = described("""Thrust.

    T = 2 rho A (V + v) v.

    Parameters
    ----------
    v : float [m/s]

    Sources: A. Author, Some Book, 1926,
    ch. 2; common practice, no published source.
    """)
    assert found.text == "Thrust.\n\nT = 2 rho A (V + v) v."
    assert found.lists == (("Parameters", "v : float [m/s]"),)
    assert found.sources == ("A. Author, Some Book, 1926, ch. 2", "common practice, no published source")
    assert described("Where it is.\n\nSource: none needed, plane geometry.\n\nMore.").text == "Where it is.\n\nMore."


# ---------------------------------------------------------------- nomenclature


def names_in_code():
    found = set()
    for path in (*PACKAGE.rglob("models/*.py"), *PACKAGE.rglob("train/*.py"), *PACKAGE.rglob("aircraft/*.py"),
                 *PACKAGE.rglob("records/*.py")):  # fmt: skip
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                found.add(node.name)
            elif isinstance(node, ast.arg):
                found.add(node.arg)
            elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
                found.add(node.target.id)
    return found


def names_in_data():
    from propmatch.cli import propmatch as program
    from propmatch.guide.reference import brief, columns, parts

    return set(re.findall(r"^- `(\w+)`", columns(program) + brief(program) + parts(program), re.MULTILINE))


def test_names_of_symbols_are_in_the_code_and_in_data():
    code, data = names_in_code(), names_in_data()
    assert [(each.symbol, name) for each in symbols() for name in each.code.split() if name not in code] == []
    assert [(each.symbol, name) for each in symbols() for name in each.key.split() if name not in data] == []
    assert all(each.meaning and each.unit for each in symbols())
    meanings = [(each.symbol, each.meaning) for each in symbols()]
    assert len(set(meanings)) == len(meanings)


def test_symbols_are_those_of_the_equations(page):
    """Every symbol stands in an equation or on the page of accuracy; every one that an equation defines is listed."""
    text = (page + accuracy(None)).replace("\\", "")
    unused = [s.symbol for s in symbols() if not re.search(rf"(?<!\w){re.escape(s.symbol)}(?![\w'])", text)]
    assert [each for each in unused if each != "p/D"] == []
    defined = set(re.findall(r"(?<![\w/)])([A-Z][A-Za-z0-9]?(?:_[a-z]+)?'?|[a-z](?:_[a-z]+)?)(?: = | \[)", text))
    assert defined - {each.symbol for each in symbols()} - {"a", "p"} == set()
    assert all(f"| `{each.symbol}` |" in nomenclature(None) for each in symbols())


# ---------------------------------------------------------------- bounds


def test_every_bound_names_the_property_tests_that_hold_it():
    modules = [path.stem for path in (PACKAGE / "search" / "bounds").glob("[!_]*.py")]
    reasons = {
        name for name in modules if (module := import_module(f"propmatch.search.bounds.{name}"))
        and ("\n\n" in described(module.__doc__).text or proofs(module))
    }  # fmt: skip
    assert reasons <= set(property_tests()) <= set(modules)
    written = "".join(path.read_text(encoding="utf-8") for path in sorted((TESTS / "properties").glob("*.py")))
    tests = set(re.findall(r"^def (test_\w+)\(", written, re.MULTILINE))
    text = bounds(None)
    for module, names in property_tests().items():
        assert f"\n## {module}\n" in text
        assert set(names) <= tests, module
        assert all(f"`{name}`" in text for name in names)


def test_a_bound_stands_with_its_reasons():
    text = bounds(None)
    assert "Jensen" in text
    assert "no root is needed" in text
