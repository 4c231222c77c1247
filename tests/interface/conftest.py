"""Runs the command line in this process; standard error apart from standard output."""

import json
from collections.abc import Callable
from typing import Any

import attrs
import pytest
from click.testing import CliRunner
from support.browser import browser  # noqa: F401

from propmatch.cli import propmatch


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

    def call(*words: str) -> Ran:
        result = CliRunner().invoke(propmatch, list(words), prog_name="propmatch")
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return Ran(result.exit_code, result.stdout, result.stderr)

    return call
