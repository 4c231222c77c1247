"""The build sheet as a PDF: its HTML, printed by a browser without a window, else by WeasyPrint.

Both give the pages of the HTML with structure, language, title and text alternatives. The browser goes first: it takes
1 s of processor time for a sheet of 5 pages and has nothing to install where one is there. WeasyPrint takes 2.3 s, adds
20 MB and needs the system's Pango; its text alternatives are the charts' titles alone, its files half as large.
"""

import os
import subprocess
import tempfile
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from shutil import which

from propmatch.faults import Fault, InputFaults
from propmatch.files import write_file
from propmatch.sheet.case import Sheet
from propmatch.sheet.html import sheet_html

__all__ = ["BROWSER", "Printer", "printed_pdf", "printers", "save_pdf", "sheet_pdf"]

Printer = Callable[[str], bytes]
"""From HTML to PDF."""
BROWSER = "PROPMATCH_BROWSER"
"""Environment variable: name or path of the browser; empty: none."""
_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "microsoft-edge", "msedge")
_FLAGS = (
    "--headless=new", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--disable-extensions",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-quic",
    "--no-proxy-server", "--host-resolver-rules=MAP * ~NOTFOUND", "--no-pdf-header-footer", "--export-tagged-pdf",
    "--generate-pdf-document-outline",
)  # fmt: skip
_A4 = "<style>@page { size: A4; }</style></head>"
_LIMIT_S = 90.0


def save_pdf(sheet: Sheet, path: str | Path, *, force: bool = True) -> Path:
    """Write the sheet.

    Raises
    ------
    InputFaults
        Nothing here can print, or whatever can failed.
    OSError
        It cannot be written, or is there and ``force`` is off.
    """
    return write_file(path, sheet_pdf(sheet), force=force)


def sheet_pdf(sheet: Sheet) -> bytes:
    """The sheet as a PDF.

    Raises
    ------
    InputFaults
        Nothing here can print, or whatever can failed.
    """
    return printed_pdf(sheet_html(sheet))


def printed_pdf(html: str) -> bytes:
    """The HTML of a sheet as a PDF; raises as ``sheet_pdf`` does."""
    html, faults = html.replace("</head>", _A4, 1), []
    for name, printed in printers().items():
        try:
            return printed(html)
        except (subprocess.SubprocessError, OSError) as error:
            faults.append(Fault(name, rule=f"did not print the sheet: {error}", hint=f"{BROWSER} names another"))
    raise InputFaults(faults)


def printers() -> dict[str, Printer]:
    """What can print here by its name, the best first.

    Raises
    ------
    InputFaults
        Nothing can, or the browser that :data:`BROWSER` names is not there.
    """
    named = os.environ.get(BROWSER)
    wanted = _NAMES if named is None else (named,) if named else ()
    browser = next(filter(None, map(which, wanted)), None)
    if named and browser is None:
        raise InputFaults([Fault(BROWSER, value=named, rule="must be the name or the path of a program")])
    found: dict[str, Printer] = {}
    if browser is not None:
        found[browser] = lambda html: _browsed(browser, html)
    if find_spec("weasyprint") is not None:
        found["weasyprint"] = _typeset
    if not found:
        hint = f'install Chromium or another browser of its kind ({BROWSER} names it), or pip install "propmatch[pdf]"'
        raise InputFaults([Fault("--pdf", rule="needs a browser or WeasyPrint, and neither is here", hint=hint)])
    return found


def _browsed(browser: str, html: str) -> bytes:
    """With a profile of its own, without network, killed after a while."""
    with tempfile.TemporaryDirectory(prefix="propmatch-", ignore_cleanup_errors=True) as folder:
        page, printed = Path(folder, "sheet.html"), Path(folder, "sheet.pdf")
        write_file(page, html)
        own = ["--no-sandbox"] if getattr(os, "geteuid", lambda: 1)() == 0 else []  # the superuser has no sandbox
        words = [
            browser,
            *_FLAGS,
            *own,
            f"--user-data-dir={folder}/profile",
            f"--print-to-pdf={printed}",
            page.as_uri(),
        ]
        done = subprocess.run(words, capture_output=True, stdin=subprocess.DEVNULL, timeout=_LIMIT_S, check=False)
        if done.returncode != 0 or not printed.is_file():
            said = done.stderr.decode(errors="replace").strip().splitlines()[-1:]
            raise ChildProcessError(f"exit code {done.returncode}{''.join(f', {line}' for line in said)}")
        return printed.read_bytes()


def _typeset(html: str) -> bytes:
    from weasyprint import HTML

    return bytes(HTML(string=html).write_pdf(pdf_variant="pdf/ua-1"))
