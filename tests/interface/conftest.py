"""Runs the command line in this process; standard error apart from standard output."""

import json
from collections import OrderedDict
from collections.abc import Callable, Iterator
from typing import Any

import attrs
import pytest
from click.testing import CliRunner
from support.browser import browser  # noqa: F401

from propmatch.checks.checkrules import CHECKS
from propmatch.checks.setting import ResolvedBrief
from propmatch.cli import propmatch
from propmatch.search import candidate, matching

_KEPT = 6
"""Shortlists remembered: each holds its draws."""


@pytest.fixture(autouse=True, scope="session")
def remembered_matches() -> Iterator[None]:
    """Matches of the bundled parts, made once for the commands that one test after another asks of the same brief."""
    real, kept = matching.match, OrderedDict[tuple[Any, ...], Any]()

    def match(brief: Any, catalogue: Any, **asked: Any) -> Any:
        parts = [*catalogue.motors, *catalogue.controllers, *catalogue.packs, *catalogue.propellers]
        if asked.get("progress") is not None or not all(each.startswith("bundled/") for each in parts):
            return real(brief, catalogue, **asked)
        stated = ResolvedBrief.of(brief).stated
        key = (repr(stated), len(parts), repr(sorted(asked.items())), candidate.Candidate, tuple(CHECKS))
        if key not in kept:
            kept[key] = real(brief, catalogue, **asked)
            while len(kept) > _KEPT:
                kept.popitem(last=False)
        kept.move_to_end(key)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(matching, "match", match)
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
