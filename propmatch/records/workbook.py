"""The cells of a workbook (.xlsx, .xlsm, .xls, .ods), read by a process of its own whose memory is bounded."""

import importlib.util
import os
import pickle
import subprocess
import sys
from pathlib import Path
from typing import Any

from propmatch.faults import Fault, InputFaults
from propmatch.records import workbookchild

__all__ = ["WORKBOOKS", "read_sheets"]

WORKBOOKS = (".xlsx", ".xlsm", ".xls", ".ods")
_INSTALL = "install it: pip install 'propmatch[spreadsheets]'"


def read_sheets(path: Path) -> list[tuple[str, list[tuple[int, tuple[Any, ...]]]]]:
    """Name, and the rows that are not blank by their number, of every sheet.

    Cells are stripped text, numbers, true or false, dates, or ``""``; an error or a formula without a value is text, as
    it is written.

    Raises
    ------
    OSError
        The file cannot be read.
    InputFaults
        It is no workbook, is too large, or the extra is not installed.
    """
    where = str(path)
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
    if importlib.util.find_spec("python_calamine") is None:
        rule = "reading workbooks needs the extra 'spreadsheets', which is not installed"
        raise InputFaults([Fault(where, rule=rule, hint=_INSTALL)])
    if size > workbookchild.MOST_BYTES:
        wrong = f"is larger than {workbookchild.MOST_BYTES >> 20} MB"
        raise InputFaults([Fault(where, rule=wrong, hint=_hint(wrong))])
    command = [sys.executable, "-P", str(workbookchild.__file__), str(path.resolve())]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, check=False)
    try:
        sheets, wrong = pickle.loads(done.stdout)
    except (EOFError, pickle.UnpicklingError):
        sheets, wrong = [], "cannot be read: its reader broke off, or needed too much memory or time"
    if wrong:
        raise InputFaults([Fault(where, rule=wrong, hint=_hint(wrong))])
    return list(sheets)


def _hint(wrong: str) -> str:
    if wrong.startswith("sheet"):
        return "delete what stands, or is repeated, far below or to the right; a long table is better a CSV"
    return "save it again as .xlsx or .ods" if wrong.startswith("is no") else "save its tables as CSV"
