"""The sheet as a PDF: printed without network and by nobody else's profile, and plain faults where it fails."""

import sys
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from support.browser import CHROMIUM

from propmatch.faults import InputFaults
from propmatch.sheet import pdf
from propmatch.sheet.pdf import BROWSER, printers, save_pdf


@pytest.fixture
def browser_printer(monkeypatch: pytest.MonkeyPatch) -> pdf.Printer:
    if not Path(CHROMIUM).exists():
        pytest.skip("no Chromium")
    monkeypatch.setenv(BROWSER, CHROMIUM)
    return printers()[CHROMIUM]


@pytest.mark.browser
def test_nothing_is_asked_of_the_network(browser_printer: pdf.Printer) -> None:
    asked = []

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

    with HTTPServer(("127.0.0.1", 0), Answer) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        printed = browser_printer(f'<img src="http://127.0.0.1:{server.server_port}/seen.png" alt="">text')
        server.shutdown()
    assert printed.startswith(b"%PDF-")
    assert asked == []


# ---------------------------------------------------------------- programs that are no browser


@pytest.fixture
def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Path]:
    """A program that stands for the browser; WeasyPrint is not there."""
    if sys.platform == "win32":
        pytest.skip("a script is no program here")

    def make(body: str) -> Path:
        file = tmp_path / "browser"
        file.write_text(f"#!{sys.executable}\nimport sys, time, pathlib\n{body}\n", encoding="utf-8")
        file.chmod(0o755)
        monkeypatch.setenv(BROWSER, str(file))
        monkeypatch.setattr(pdf, "find_spec", lambda _: None)
        return file

    return make


@pytest.fixture
def page(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "sheet_html", lambda _: "<p>sheet</p>")


def test_the_browser_gets_a_profile_of_its_own_that_is_gone_after(
    program: Callable[[str], Path], page: None, tmp_path: Path
) -> None:
    file = program(
        "where = dict(each.split('=', 1) for each in sys.argv[1:] if '=' in each)\n"
        "pathlib.Path(where['--print-to-pdf']).write_text('\\n'.join(sys.argv[1:]))"
    )
    words = save_pdf(None, tmp_path / "made.pdf").read_text().splitlines()  # type: ignore[arg-type]
    (profile,) = [Path(word.partition("=")[2]) for word in words if word.startswith("--user-data-dir=")]
    assert file.parent not in profile.parents
    assert not profile.parent.exists()
    assert "--host-resolver-rules=MAP * ~NOTFOUND" in words


@pytest.mark.parametrize(
    ("body", "said"),
    [("sys.exit('no display')", "exit code 1, no display"), ("", "exit code 0"), ("time.sleep(60)", "timed out")],
    ids=["fails", "prints nothing", "hangs"],
)
def test_a_browser_that_does_not_print_is_a_fault(
    program: Callable[[str], Path], page: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, body: str, said: str
) -> None:
    program(body)
    monkeypatch.setattr(pdf, "_LIMIT_S", 0.5)
    with pytest.raises(InputFaults, match=said) as raised:
        save_pdf(None, tmp_path / "made.pdf")  # type: ignore[arg-type]
    assert BROWSER in str(raised.value)
    assert not (tmp_path / "made.pdf").exists()


@pytest.mark.parametrize(("named", "said"), [("/no/such/program", "path of a program"), ("", "neither is here")])
def test_without_anything_that_prints_the_command_says_so_at_once(
    run: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path, named: str, said: str
) -> None:
    monkeypatch.setenv(BROWSER, named)
    monkeypatch.setattr(pdf, "find_spec", lambda _: None)
    done = run("sheet", "club_racer", "--pdf", "-o", str(tmp_path / "sheet.html"))
    assert (done.exit_code, said in done.err) == (2, True), done.err
    assert list(tmp_path.iterdir()) == []
