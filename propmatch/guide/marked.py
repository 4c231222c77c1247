"""What declarations and docstrings say, as Markdown of a page."""

from collections.abc import Sequence
from itertools import zip_longest

__all__ = ["block", "literal", "page"]


def page(title: str, about: str, blocks: Sequence[str]) -> str:
    """A page: its title, a paragraph, and blocks below."""
    return "\n\n".join([f"# {title}", about, *blocks]) + "\n"


def literal(text: str) -> str:
    """Words of a declaration or a docstring as Markdown that shows each sign as it is, ``names`` as code."""
    pieces = text.split("``")
    plain = ("".join(f"\\{sign}" if sign in "\\*_[]<>|`#" else sign for sign in each) for each in pieces[::2])
    code = (f"`{each}`" for each in pieces[1::2])
    return "".join(each for pair in zip_longest(plain, code, fillvalue="") for each in pair)


def block(text: str) -> str:
    """Lines that are shown as they stand."""
    return f"```text\n{text.rstrip()}\n```"
