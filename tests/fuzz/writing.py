"""Numbers and tables as people write them, and what goes wrong with them on the way."""

import csv
import io
import math
from random import Random
from typing import NamedTuple

from .oracle import units_of

__all__ = ["ODD", "Style", "damaged", "number", "odd_cell", "table_bytes", "written"]

ODD = (
    "", " ", "-", "–", "?", "n/a", "NaN", "nan", "inf", "-inf", "Infinity", "None", "null", "TRUE", "yes", "#N/A",
    "#DIV/0!", "#REF!", "#VALUE!", "=A1*2", "=1+1", "+1+1", "1_000", "1_5", "0x1F", "0b11", "1e5", "1E+3", "1,5e2",
    "1e400", "1e-400", "9" * 400, "9" * 5000, "1.2.3", "1,2,3", "1,10,000", "1.100.00", "1,100.5", "1.100,5",
    "1'100.5", "1 100", "1\u00a0100", "1\u2009100,5", "12,", "12.", ".5", ",5", "..5", "−5", "–5", "-5", "+5", "5-",
    "(5)", "- 5", "+-5", "5 5", "１２", "١٢", "²", "½", "1½", "5 %", "50%", "%5", "5‰", "5 kg", "5 foo", "5g5", "kg 5",
    "5,5 kg", "1,234 oz", "007", "00", "0.0", "-0", "01,234", "0,500", "0.500", "10..20", "10-20", "10/20", "10±1",
    ">5", "<5", "5?", "~5", "ca. 5", "1.100", "1,100", "12.345", "12,345", "123.456", "123,456", "1234.567",
    "1234,567", "2024-05-01", "3:30", "5\n6", "5\t6", '5"', "5'", "\u202e12", "\ufeff5", "\u200b5", "5\x00", "5\x07",
    "٣٫٥", "1 e5", "e5", "5e", "5E", "1d5", "3S", "2-3S", "6x4",
)  # fmt: skip
"""What may stand in a cell."""


class Style(NamedTuple):
    """How somebody's program writes numbers and tables."""

    delimiter: str = ","
    mark: str = "."
    group: str = ""
    line: str = "\n"
    encoding: str = "utf-8"

    @classmethod
    def any(cls, rng: Random) -> "Style":
        mark = rng.choice(".,")
        groups = ["", "", "'", " ", "\u00a0", "." if mark == "," else ","]
        encoding = rng.choice(["utf-8", "utf-8", "utf-8-sig", "utf-16", "cp1252"])
        return cls(rng.choice(",;\t|;"), mark, rng.choice(groups), rng.choice(["\n", "\n", "\r\n"]), encoding)


def number(rng: Random, low: float, high: float) -> float:
    """A number of few digits, small ones as often as large ones."""
    low = max(low, high * 1e-6, 1e-9)
    value = math.exp(rng.uniform(math.log(low), math.log(high))) if high > low else high
    return float(f"{value:.{rng.randint(1, 6)}g}")


def written(rng: Random, value: float, style: Style | None = None) -> str:
    """A number as text, with a point for decimals unless the style says otherwise."""
    style = style or Style()
    if rng.random() < 0.04:
        return f"{value:.{rng.randint(0, 5)}e}".replace(".", style.mark)
    text = f"{value:.10f}".rstrip("0").rstrip(".") or "0"
    whole, _, part = text.partition(".")
    if rng.random() < 0.1:
        part += "0" * rng.randint(1, 2)
    if style.group and len(whole) > 3 and rng.random() < 0.8:
        pieces = []
        while len(whole) > 3:
            pieces.insert(0, whole[-3:])
            whole = whole[:-3]
        whole = style.group.join([whole, *pieces])
    return rng.choice(["", "", "", "", "+", "0"]) * (rng.random() < 0.1) + whole + (style.mark + part if part else "")


def odd_cell(rng: Random, text: str) -> str:
    """A cell with something odd in it."""
    if rng.random() < 0.5:
        return rng.choice(ODD)
    at, signs = rng.randint(0, len(text)), ".,'- +eE0159%gkAm\u00a0−x/\"=#_\n"
    return text[:at] + rng.choice(signs) + text[at + rng.randint(0, 1) :]


def with_unit(rng: Random, text: str, unit: str) -> str:
    """The number with a unit that belongs to its field, mostly its own."""
    known = [word for word in units_of(unit) if word]
    word = unit if rng.random() < 0.7 or not known else rng.choice(known)
    return f"{text}{rng.choice(['', ' ', ' '])}{word}" if word else text


def table_bytes(rng: Random, rows: list[list[str]], style: Style) -> bytes:
    """Rows as a file; quoted where they must be, and at times where they need not be."""
    out = io.StringIO()
    how = csv.QUOTE_ALL if rng.random() < 0.15 else csv.QUOTE_MINIMAL
    csv.writer(out, delimiter=style.delimiter, lineterminator=style.line, quoting=how).writerows(rows)
    return out.getvalue().encode(style.encoding, errors="replace")


def damaged(rng: Random, raw: bytes) -> bytes:
    """The same with a few bytes changed, cut, doubled or moved."""
    data = bytearray(raw)
    for _ in range(rng.randint(1, 4)):
        if not data:
            break
        at, size = rng.randrange(len(data)), rng.choice([1, 1, 2, 5, 20])
        what = rng.randrange(7)
        if what == 0:
            data[at] = rng.randrange(256)
        elif what == 1:
            del data[at : at + size]
        elif what == 2:
            data[at:at] = data[at : at + size] * rng.choice([1, 2, 50])
        elif what == 3:
            data[at:at] = rng.choice(ODD).encode("utf-8", errors="replace")
        elif what == 4:
            data[at:at] = rng.choice(
                [b'"', b"'", b"\n", b"\r", b"\0", b",", b";", b"[", b"]", b"{", b"=", b"#", b"\xff", b"\xef\xbb\xbf"]
            )
        elif what == 5:
            other = rng.randrange(len(data))
            data[at : at + size], data[other : other + size] = data[other : other + size], data[at : at + size]
        else:
            del data[at:]
    return bytes(data)
