"""Runs a quick part of the tests with the oldest and the newest dependencies: ``python .ci/supply.py oldest newest``.

Oldest is every lower bound of ``pyproject.toml`` as it stands there, of the package, its extras and what tests need;
what those need in turn is the newest that fits. Newest is what there is today. Each set gets an environment of its own,
for the Python that runs this or, with ``--python``, for each that is named; oldest belongs to the oldest Python.
``--keep FOLDER`` leaves the environments there. Exit code 1 where a set fails.
"""

import argparse
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).resolve().parent.parent
TOOLS = ("pytest", "pytest-xdist", "hypothesis", "jsonschema", "httpx", "html5lib", "pint", "click")
"""What the tests below need of the extra ``dev``."""
TESTS = (
    "tests/reference/test_reference.py", "tests/unit/test_air.py", "tests/unit/test_battery.py",
    "tests/unit/test_coupling.py", "tests/unit/test_files.py", "tests/unit/test_flight.py",
    "tests/unit/test_leastsquares.py", "tests/unit/test_propeller.py", "tests/unit/test_schema.py",
    "tests/unit/test_sobol.py", "tests/unit/test_units.py", "tests/plugins/test_hookspecs.py",
    "tests/plugins/test_own_parts.py", "tests/plugins/test_spreadsheet.py", "tests/plugins/test_template.py",
    "tests/interface/test_cli_group.py", "tests/interface/test_cli_new.py", "tests/interface/test_cli_output.py",
    "tests/interface/test_cli_point.py", "tests/interface/test_fit_picture.py", "tests/interface/test_sheet_pdf.py",
    "tests/interface/test_page.py::test_the_page_itself_is_let_in",
    "tests/interface/test_sheet.py::test_the_file_is_valid_html_with_unique_ids",
    "tests/unit/test_cluster.py::test_the_answers_are_those_of_this_process_and_come_with_progress",
)  # fmt: skip
"""Every dependency is used by one of them, and every law by another."""


def requirements() -> dict[str, str]:
    """Name to lower bound of everything that runs or tests the package."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    asked = [
        *project["dependencies"],
        *(each for name in extras if name not in ("all", "dev", "mutants", "tools") for each in extras[name]),
    ]
    asked += [each for each in extras["dev"] if re.split(r"[^\w-]", each)[0] in TOOLS]
    bounds = (re.fullmatch(r"([\w-]+)>=([\w.]+)", each) for each in asked)
    return {bound[1]: bound[2] for bound in bounds if bound}


def run(kind: str, python: str, folder: Path) -> tuple[str, str, str]:
    """A row of the table: the set, what it holds, how its tests ended."""
    mark = ">" if kind == "newest" else "="
    subprocess.run([python, "-m", "venv", folder], check=True)
    own = str(folder / ("Scripts" if os.name == "nt" else "bin") / "python")
    wanted = [f"{name}{mark}={bound}" for name, bound in requirements().items()]
    subprocess.run([own, "-m", "pip", "install", "--quiet", "--upgrade", "--prefer-binary", *wanted], check=True)
    say = "import sys, importlib.metadata as m; print(sys.version[:7], *(f'{n} {m.version(n)}' for n in sys.argv[1:]))"
    held = subprocess.run([own, "-c", say, *requirements()], check=True, capture_output=True, text=True).stdout.strip()
    paths = os.pathsep.join(str(ROOT / each) for each in (".", "plugins", "datasets"))
    words = [own, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-m", "not browser", *TESTS]
    done = subprocess.run(words, cwd=ROOT, env={**os.environ, "PYTHONPATH": paths, "PYTHONDONTWRITEBYTECODE": "1"})
    return kind, held, "passed" if done.returncode == 0 else f"FAILED ({done.returncode})"


def main() -> int:
    """Run what is asked for and print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("sets", nargs="*", choices=["oldest", "newest"], default=["oldest", "newest"])
    asked.add_argument("--python", action="append", metavar="PYTHON")
    asked.add_argument("--keep", type=Path, metavar="FOLDER")
    options = asked.parse_args()
    rows = []
    with TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)  # a test goes on as another user, who reads it
        base = options.keep.absolute() if options.keep else Path(folder)
        for python in options.python or [sys.executable]:
            rows += [run(kind, python, base / f"{Path(python).name}-{kind}") for kind in options.sets]
    for kind, held, ended in rows:
        print(f"{kind}: {ended}\n  Python {held}")
    return 0 if all(ended == "passed" for *_, ended in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
