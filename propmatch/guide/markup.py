"""Markdown of a page as a tree, by markdown-it-py: CommonMark with tables, without HTML."""

import re
from functools import cache

from markdown_it import MarkdownIt
from markdown_it.tree import SyntaxTreeNode

__all__ = ["file_of", "linked", "parser", "slug", "tree", "words_of"]

_FILE = re.compile(r"\bfile=(\S+)")
_LINK = re.compile(r"([a-z0-9-]*)(?:\.md)?(?:#(.*))?")


@cache
def parser() -> MarkdownIt:
    """Reads a page; HTML in it is shown as text."""
    return MarkdownIt("commonmark", {"html": False}).enable("table")


def tree(text: str) -> SyntaxTreeNode:
    """The blocks of a page."""
    return SyntaxTreeNode(parser().parse(text))


def words_of(node: SyntaxTreeNode) -> str:
    """The words of a heading, without marks."""
    return "".join(each.content for each in node.walk() if each.type in ("text", "code_inline"))


def slug(words: str) -> str:
    """The name of a heading in a link, as code hosts and documentation tools make it."""
    return re.sub(r"[^\w\- ]", "", words.strip().lower()).replace(" ", "-")


def file_of(info: str) -> str:
    """The file that a fenced block holds, from what stands behind its opening fence; empty where it is none."""
    found = _FILE.search(info)
    return found[1] if found else ""


def linked(target: str) -> tuple[str, str] | None:
    """Page and heading of a link within the guide, the page empty for the same; None for any other link."""
    found = _LINK.fullmatch(target)
    inside = found and (target.startswith("#") or ".md" in target)
    return (found[1], found[2] or "") if found and inside else None
