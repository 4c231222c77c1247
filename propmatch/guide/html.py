"""The guide as HTML that needs no network and no script: in one file, or a file for each page."""

import re
from base64 import b64encode
from collections.abc import Mapping, Sequence
from hashlib import sha256
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from markdown_it.renderer import RendererHTML
from markdown_it.token import Token

from propmatch.guide.contents import GROUPS, PAGES, markdown
from propmatch.guide.markup import file_of, linked, parser, slug

if TYPE_CHECKING:
    import click

__all__ = ["FIRST", "folder", "policy", "single"]

FIRST = "index.html"
"""The page of a folder that lists the others."""


def _style() -> str:
    return files(__package__).joinpath("guide.css").read_text(encoding="utf-8")


def policy() -> str:
    """The content security policy under which a server may give the guide: its own style, and nothing else."""
    digest = b64encode(sha256(_style().encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


def single(program: "click.Group") -> str:
    """The whole guide in one file."""
    sections = [
        f'<article id="{name}">{_body(markdown(name, program), name, whole=True)}'
        f'<p class="up"><a href="#contents">Contents</a></p></article>'
        for name in PAGES
    ]
    head = f'<header><h1>propmatch guide</h1></header><nav id="contents" aria-label="Pages">{_contents("#{}")}</nav>'
    return _document("propmatch guide", f"{head}<main>{''.join(sections)}</main>")


def folder(program: "click.Group") -> dict[str, str]:
    """File name to HTML: a list of the pages, and each page."""
    listed = f'<main><h1>propmatch guide</h1><nav aria-label="Pages">{_contents("{}.html")}</nav></main>'
    pages = {FIRST: _document("propmatch guide", listed)}
    for name in PAGES:
        text = markdown(name, program)
        up = f'<nav aria-label="Guide"><a href="{FIRST}">propmatch guide</a></nav>'
        title = text.partition("\n")[0].removeprefix("# ")
        pages[f"{name}.html"] = _document(title, f"{up}<main>{_body(text, name, whole=False)}</main>")
    return pages


def _document(title: str, body: str) -> str:
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="light dark">'
        f"<title>{escape(title)}</title><style>{_style()}</style></head>\n<body>{body}</body></html>\n"
    )


def _contents(link: str) -> str:
    """The pages by their groups, each with its line."""
    groups = []
    for heading, pages in GROUPS.items():
        lines = [f'<li><a href="{link.format(name)}">{name}</a>: {escape(about)}</li>' for name, about in pages.items()]
        groups.append(f"<h2>{escape(heading)}</h2><ul>{''.join(lines)}</ul>")
    return "".join(groups)


def _body(text: str, page: str, *, whole: bool) -> str:
    """A page; in the whole guide its headings stand a step lower, and its links lead to other places of the file."""
    tokens = parser().parse(text)
    for at, token in enumerate(tokens):
        if token.type == "heading_open":
            _placed(token, slug(_words(tokens[at + 1].children or ())), page, whole=whole)
        elif token.type == "heading_close" and whole:
            token.tag = f"h{int(token.tag[1]) + 1}"
        for child in token.children or ():
            if child.type == "link_open":
                child.attrs["href"] = _target(str(child.attrs["href"]), page, whole=whole)
    return _Renderer(parser()).render(tokens, parser().options, {})


def _words(tokens: Sequence[Token]) -> str:
    return "".join(each.content for each in tokens)


def _placed(token: Token, name: str, page: str, *, whole: bool) -> None:
    """Give a heading the place that links lead to."""
    if whole:
        token.tag = f"h{int(token.tag[1]) + 1}"
    token.attrs["id"] = f"{page}--{name}" if whole else name


def _target(target: str, page: str, *, whole: bool) -> str:
    """Where a link leads."""
    found = linked(target)
    if found is None:
        return target
    other, heading = found
    if not whole:
        return f"{f'{other}.html' if other else ''}{f'#{heading}' if heading else ''}"
    return f"#{other or page}--{heading}" if heading else f"#{other}"


class _Renderer(RendererHTML):
    """Tables and code scroll by themselves, with the keyboard too; a file shows its name; no style stands in a tag."""

    def table_open(self, tokens: Sequence[Token], idx: int, options: Any, env: Mapping[str, Any]) -> str:
        return '<div class="scroll" role="region" aria-label="Table" tabindex="0"><table>'

    def table_close(self, tokens: Sequence[Token], idx: int, options: Any, env: Mapping[str, Any]) -> str:
        return "</table></div>\n"

    def th_open(self, tokens: Sequence[Token], idx: int, options: Any, env: Mapping[str, Any]) -> str:
        token = tokens[idx]
        side = str(token.attrs.get("style", "")).partition(":")[2]
        return f'<{token.tag} class="{side}">' if side else f"<{token.tag}>"

    td_open = th_open

    def fence(self, tokens: Sequence[Token], idx: int, options: Any, env: Mapping[str, Any]) -> str:
        token = tokens[idx]
        kind = (token.info.split() or ["text"])[0]
        name = file_of(token.info)
        caption = f'<p class="file">{escape(name)}</p>' if name else ""
        code = escape(token.content, quote=False)
        if kind == "console":
            code = re.sub(r"^\$ .*$", lambda line: f"<b>{line[0]}</b>", code, flags=re.MULTILINE)
        return f'{caption}<pre tabindex="0" class="{escape(kind)}"><code>{code}</code></pre>\n'
