"""Builds the guide into a site by Sphinx, links checked, warnings as errors: ``python .ci/guide_site.py [FOLDER]``."""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from sphinx.cmd.build import build_main

from propmatch.cli import propmatch
from propmatch.files import write_file
from propmatch.guide.contents import GROUPS, PAGES, markdown

CONF = """
project = "propmatch guide"
extensions = ["myst_parser"]
myst_heading_anchors = 3
html_theme = "basic"
html_show_copyright = False
highlight_language = "text"
suppress_warnings = ["misc.highlighting_failure"]
"""


def index() -> str:
    """The first page: the others by their groups."""
    groups = ("\n".join([f"```{{toctree}}\n:caption: {head}\n", *pages, "```"]) for head, pages in GROUPS.items())
    return "\n\n".join(["# propmatch guide", *groups]) + "\n"


def build(site: Path) -> int:
    """Write what the program says of itself beside the pages, and let Sphinx read all of it; its exit code."""
    with TemporaryDirectory() as folder:
        source = Path(folder)
        write_file(source / "conf.py", CONF)
        write_file(source / "index.md", index())
        for name in PAGES:
            write_file(source / f"{name}.md", markdown(name, propmatch))
        return build_main(["-q", "-W", "--keep-going", "-n", "-b", "html", folder, str(site)])


if __name__ == "__main__":
    if sys.argv[1:]:
        sys.exit(build(Path(sys.argv[1])))
    with TemporaryDirectory() as out:
        sys.exit(build(Path(out)))
