"""What of a sheet is printed, as text, and on how many pages: what is folded away is not."""

import re
from typing import Any

import html5lib

_FOLDED = frozenset(("script", "details", "title", "desc", "style"))


def printed_words(html: str, *, drawings: bool) -> list[str]:
    """The words of a sheet's body in order, with or without those in drawings."""
    body = html5lib.parse(html, namespaceHTMLElements=False).find("body")
    return _words(body, _FOLDED if drawings else _FOLDED | {"svg"})


def _words(node: Any, skipped: frozenset[str]) -> list[str]:
    if not isinstance(node.tag, str) or node.tag.rpartition("}")[2] in skipped or "hidden" in node.attrib:
        return []
    found = (node.text or "").split()
    for child in node:
        found += [*_words(child, skipped), *(child.tail or "").split()]
    return found


def pages_of(printed: bytes) -> int:
    """How many pages a PDF has that Chromium printed."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", printed))
