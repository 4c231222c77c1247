"""Puts what the commands print today under the commands of README.md: ``python .ci/readme_examples.py``.

A command with output below it gets the head of its answer: what stands before the first note or empty line. The
commands run in a folder that holds the brief of the README.
"""

import re
import shlex
import subprocess
import sys
from itertools import takewhile
from pathlib import Path
from tempfile import TemporaryDirectory

from propmatch.files import write_file

README = Path(__file__).resolve().parent.parent / "README.md"
NOTES = ("No brief was named", "No power train was named", "A bundled brief", "You named no power train")


def head(line: str, folder: str) -> list[str]:
    """The first lines that a command ("$ propmatch ...") prints."""
    words = shlex.split(line.removeprefix("$ "), comments=True)[1:]
    run = [sys.executable, "-c", "from propmatch.cli import main; main()", *words]
    printed = subprocess.run(run, cwd=folder, capture_output=True, text=True).stdout.splitlines()
    return list(takewhile(lambda each: each and not each.startswith(NOTES), printed))


def remade(block: str, folder: str) -> str:
    """A code block with the output below each command made anew; commands that stand alone stay alone."""
    out = []
    for entry in re.split(r"\n(?=\$ )", block):
        command, *shown = entry.splitlines()
        out += [command, *(head(command, folder) if shown else ())]
    return "\n".join(out) + "\n"


def main() -> None:
    """Rewrite the README."""
    text = README.read_text(encoding="utf-8")
    name, brief = re.search(r"propmatch match (\S+\.toml)", text), re.search(r"```toml\n(.*?)```", text, re.DOTALL)
    with TemporaryDirectory() as folder:
        if name and brief:
            write_file(Path(folder, name[1]), brief[1])
        pattern = re.compile(r"(?<=^```\n)\$ .*?(?=^```$)", re.DOTALL | re.MULTILINE)
        write_file(README, pattern.sub(lambda found: remade(found[0], folder), text), force=True)


if __name__ == "__main__":
    main()
