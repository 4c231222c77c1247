"""The build sheet as one HTML file: nothing from a network, readable on paper and without its one script."""

from base64 import b64encode
from hashlib import sha256
from pathlib import Path

from propmatch._version import __version__
from propmatch.sheet.case import Sheet
from propmatch.sheet.picture import need
from propmatch.sheet.style import DARK

__all__ = ["TEMPLATES", "sheet_html"]

TEMPLATES = Path(__file__).with_name("templates")


def sheet_html(sheet: Sheet) -> str:
    """The file's text; the same for the same sheet.

    Raises
    ------
    InputFaults
        Jinja2 or matplotlib is not installed.
    """
    need("jinja2")
    need("matplotlib")
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=PackageLoader("propmatch.sheet", "templates"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    drawn = {picture.name: Markup(picture.svg()) for picture in sheet.pictures}  # texts in it are escaped already
    style = Markup(environment.get_template("sheet.css").render(dark=DARK))
    script = (TEMPLATES / "answering.js").read_text(encoding="utf-8")
    allowed = f"sha256-{b64encode(sha256(script.encode()).digest()).decode()}"
    text: str = environment.get_template("sheet.html").render(
        sheet=sheet, drawn=drawn, style=style, version=__version__, script=Markup(script), allowed=allowed,
        tables=Markup("" if sheet.answering is None else sheet.answering.data),
    )  # fmt: skip
    return text
