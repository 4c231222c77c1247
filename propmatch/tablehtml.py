"""Small tables in plain HTML for notebooks and the sheet: no style of their own, every text escaped."""

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

__all__ = ["number_text", "pairs_html", "table_html"]


def _escaped(text: str) -> str:
    from html import escape

    return escape(text)


def number_text(value: Any, digits: int = 4) -> str:
    """A number with some significant digits, a text as it is; ``-`` when there is none."""
    if value is None:
        return "-"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    if isinstance(value, int):
        return f"{value}"
    if not math.isfinite(value):
        return "-"
    whole = abs(value) >= 10 ** (digits - 1)
    return f"{value:.0f}" if whole else f"{value:.{digits}g}"


def table_html(heads: Sequence[str], rows: Iterable[Sequence[Any]], *, caption: str = "", ranked: bool = True) -> str:
    """A ``<table>`` with column heads; with ``ranked`` the first cell of a row is its head."""
    first = f"<caption>{_escaped(caption)}</caption>" if caption else ""
    top = "".join(f'<th scope="col">{_escaped(head)}</th>' for head in heads)
    lines = []
    for row in rows:
        cells = [_escaped(number_text(cell)) for cell in row]
        lead = f'<th scope="row">{cells[0]}</th>' if ranked and cells else "".join(f"<td>{c}</td>" for c in cells[:1])
        lines.append(f"<tr>{lead}{''.join(f'<td>{cell}</td>' for cell in cells[1:])}</tr>")
    return f"<table>{first}<thead><tr>{top}</tr></thead><tbody>{''.join(lines)}</tbody></table>"


def pairs_html(pairs: Mapping[str, Any], *, caption: str = "") -> str:
    """A ``<table>`` of names and values."""
    first = f"<caption>{_escaped(caption)}</caption>" if caption else ""
    lines = "".join(
        f'<tr><th scope="row">{_escaped(str(name))}</th><td>{_escaped(number_text(value))}</td></tr>'
        for name, value in pairs.items()
    )
    return f"<table>{first}<tbody>{lines}</tbody></table>"
