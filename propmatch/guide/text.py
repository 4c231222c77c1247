"""A page as text for the terminal."""

from collections.abc import Iterator

from markdown_it.tree import SyntaxTreeNode

from propmatch.guide.markup import file_of, linked, tree, words_of
from propmatch.words.shown import table, wrapped

__all__ = ["page_text"]

_UNDER = {"h1": "=", "h2": "-"}


def page_text(markdown: str) -> str:
    """The lines of a page, as wide as the terminal; code and what commands print keep their lines."""
    return "\n".join(_blocks(tree(markdown).children)) + "\n"


def _blocks(nodes: list[SyntaxTreeNode]) -> list[str]:
    lines: list[str] = []
    for node in nodes:
        lines += [*([""] if lines else []), *_block(node)]
    return lines


def _block(node: SyntaxTreeNode) -> list[str]:
    if node.type == "heading":
        words = words_of(node)
        return [words, *([_UNDER[node.tag] * len(words)] if node.tag in _UNDER else [])]
    if node.type == "paragraph":
        return wrapped(_inline(node))
    if node.type in ("fence", "code_block"):
        name = file_of(node.info)
        return [*([f"  {name}:"] if name else []), *(f"    {line}".rstrip() for line in node.content.splitlines())]
    if node.type in ("bullet_list", "ordered_list"):
        return list(_items(node))
    if node.type == "table":
        return _table(node)
    return [f"  {line}" for line in _blocks(node.children)]


def _items(node: SyntaxTreeNode) -> Iterator[str]:
    """The items of a list, each with its mark; what stands below its first paragraph is set in."""
    first = int(node.attrs.get("start", 1))
    for at, item in enumerate(node.children):
        mark = f"{first + at}. " if node.type == "ordered_list" else "- "
        said, *below = item.children
        yield from wrapped(_inline(said), first=mark, rest=" " * len(mark))
        for other in below:
            yield from (f"{' ' * len(mark)}{line}".rstrip() for line in _block(other))


def _table(node: SyntaxTreeNode) -> list[str]:
    """Columns flush left unless the page sets them flush right."""
    head, *body = (row.children for part in node.children for row in part.children)
    names = [_inline(cell) for cell in head]
    left = [name for name, cell in zip(names, head, strict=True) if "right" not in str(cell.attrs.get("style", ""))]
    return table([dict(zip(names, map(_inline, row), strict=True)) for row in body], columns=names, left=left)


def _inline(node: SyntaxTreeNode) -> str:
    """Words in one line: code in quotation marks, a link with the page that it leads to."""
    if node.type in ("text", "code_inline"):
        return f"'{node.content}'" if node.type == "code_inline" else node.content
    if node.type in ("softbreak", "hardbreak"):
        return " "
    words = "".join(map(_inline, node.children))
    if node.type != "link":
        return words
    target = str(node.attrs["href"])
    page = linked(target)
    if page is None:
        return words if words == target else f"{words} ({target})"
    return f"{words} (guide {page[0]})" if page[0] else words
