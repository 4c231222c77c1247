"""Puts what the commands print today under the commands of the guide: ``python .ci/guide_examples.py [PAGE]...``."""

import sys
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from support.guide_blocks import run_page

from propmatch.files import write_file


def remade(page: str, folder: str) -> str:
    """A page with the output below each command made anew."""
    lines = page.splitlines()
    for block, commands in reversed(run_page(page, Path(folder))):
        lines[slice(*block.lines)] = [line for each in commands for line in (each.line, *each.now)]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Rewrite the pages named, or all that are written by hand."""
    for path in sorted(Path(str(files("propmatch.guide"))).joinpath("pages").glob("*.md")):
        if not sys.argv[1:] or path.stem in sys.argv[1:]:
            with TemporaryDirectory() as folder:
                write_file(path, remade(path.read_text(encoding="utf-8"), folder), force=True)


if __name__ == "__main__":
    main()
