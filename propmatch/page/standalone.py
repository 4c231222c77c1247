"""The page with the engine inside: one file to open from disk, or a folder for any web host."""

import json
from base64 import b64encode
from collections.abc import Mapping
from hashlib import sha256
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults
from propmatch.files import write_file, write_files
from propmatch.page.desk import Desk
from propmatch.page.inbrowser import opened
from propmatch.page.joined import joined
from propmatch.page.packing import PARTS, cargo, licences, packed
from propmatch.page.runtime import Runtime

__all__ = ["Standalone", "first_answers", "write_file_alone", "write_folder"]

_PAGE = files("propmatch.page")
_POLICY = "default-src 'none'; base-uri 'none'; form-action 'none'; "
_ENV = {"PROPMATCH_CACHE": ""}
"""Nothing is kept on a disk that is none."""
_ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 16 16"><path fill="#005a9c" d="M8 7C6 3 2 2 1 4s3 4 7 4'
    'c4 0 8 2 7 4s-5 1-7-3z"/></svg>\n'
)


@attrs.frozen(kw_only=True)
class Standalone:
    """What a page with the engine inside is made of.

    Attributes
    ----------
    text, file, folder : str
        What :class:`propmatch.page.Desk` begins with.
    script, worker, style, licences : str
    engine, python : bytes
        Gzipped: the runtime's machine code, and everything that Python needs.
    lock : dict
        What the runtime's lock file says of it, without packages.
    parts : bool
        Whether parts of the user's own are inside.
    inside : str
        Which parts, in words.
    faults : tuple of Fault
        Of rows of parts that are left out.
    first : dict
        Answers to what a page asks first, by question: so it shows while the engine still starts.
    """

    text: str
    file: str
    folder: str
    script: str
    worker: str
    style: str
    licences: str
    engine: bytes
    python: bytes
    lock: dict[str, object]
    parts: bool
    inside: str
    faults: tuple[Fault, ...]
    first: dict[str, Any]

    @classmethod
    def of(cls, runtime: Runtime, text: str, *, file: str, parts: str | Path | None = None) -> "Standalone":
        """Put together.

        Raises
        ------
        InputFaults
            A folder of parts that is none, or a part of the program that came without its licence.
        """
        page, alone = _PAGE.joinpath("static"), _PAGE.joinpath("alone")
        modules = {each.name[:-3]: each.read_text(encoding="utf-8")
                   for place in (page, alone) for each in place.iterdir() if each.name.endswith(".js")}  # fmt: skip
        worker = modules.pop("worker")
        modules["page"] = f'import "./kept.js";\n{modules["page"]}'
        desk = opened(parts, text)
        core = [runtime.files[name].decode() for name in ("pyodide.asm.js", "pyodide.js")]
        return cls(
            text=text, file=file, folder="your downloads", script=joined("page", modules),
            worker="\n".join([*(each.partition("//# sourceMappingURL")[0] for each in core), worker]),
            style=page.joinpath("page.css").read_text(encoding="utf-8"), licences=licences(runtime),
            engine=packed(runtime.files["pyodide.asm.wasm"]), python=cargo(runtime, parts),
            lock={"info": json.loads(runtime.files["pyodide-lock.json"])["info"], "packages": {}},
            parts=parts is not None, inside=_counted(desk), faults=desk.catalogue.faults, first=first_answers(desk),
        )  # fmt: skip

    @property
    def start(self) -> str:
        """What the page begins with, and what it asks first, as elements that hold data."""
        told = {"text": self.text, "file": self.file, "folder": self.folder, "parts": PARTS if self.parts else "",
                "env": _ENV, "lock": self.lock}  # fmt: skip
        return "\n".join(
            f'<script type="application/json" id="{name}">{json.dumps(each).replace("<", chr(92) + "u003c")}</script>'
            for name, each in (("start", told), ("first", self.first))
        )

    def page(self, *, policy: str, icon: str, style: str, script: str) -> str:
        """The page's HTML with its own head."""
        html = _PAGE.joinpath("static", "page.html").read_text(encoding="utf-8")
        for old, new in (
            ('<meta charset="utf-8">\n', f'<meta charset="utf-8">\n<meta http-equiv="Content-Security-Policy" '
             f'content="{escape(_POLICY + policy)}">\n'),
            ('<link rel="icon" href="data:,">\n', icon),
            ('<link rel="stylesheet" href="page.css">\n', style),
            ('<script src="page.js" type="module"></script>\n', ""),
            ("</header>\n", f"</header>\n{_STARTING}"),
            ("</body>\n", f"{self.start}\n{script}</body>\n"),
        ):  # fmt: skip
            assert html.count(old) == 1, old
            html = html.replace(old, new)
        return html


def _counted(desk: Desk) -> str:
    """How many parts of each box there are."""
    boxes = desk.answer("choices", {"text": desk.text}).get("boxes", [])
    return " and ".join(f"{each['parts']} parts of {each['name']}" for each in boxes)


def first_answers(desk: Desk) -> dict[str, Any]:
    """What the page of a desk asks before anything is touched, answered, by question.

    Raises
    ------
    InputFaults
        What is wrong with the brief, or with its parts.
    """
    found: dict[str, Any] = {}

    def ask(what: str, **more: Any) -> dict[str, Any]:
        sent = {"text": desk.text, "changes": {}, "variant": None, "log": None, "tables": [], **more}
        answer = desk.answer(what, sent)
        if "faults" in answer:
            raise InputFaults([Fault(each["where"], each["key"], rule=each["rule"], hint=each["hint"])
                               for each in answer["faults"]])  # fmt: skip
        named = json.dumps(sent, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        found[f"{what} {named}"] = {key: each for key, each in answer.items() if key != "seq"}
        return answer

    for what in ("brief", "form", "choices", "parts"):
        ask(what)
    ask("map", moving=False)
    if best := ask("best")["id"]:
        ask("train", train=best, moving=False)
        ask("views", train=best)
    return found


_STARTING = (
    '<p id="engine" role="status"><span>Starting the engine inside this page</span> '
    '<progress aria-label="Starting the engine"></progress></p>\n'
    "<noscript><p>This page needs JavaScript: the engine inside it answers by it.</p></noscript>\n"
)


def _hash(text: str) -> str:
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'"


def write_file_alone(made: Standalone, path: Path, *, force: bool = False) -> Path:
    """One file that opens from disk; raises ``OSError`` where it is there and ``force`` is off."""
    inside: Mapping[str, bytes] = {
        "worker.js": packed(made.worker.encode()), "engine.bin": made.engine, "python.bin": made.python,
        "licences.txt": packed(made.licences.encode()),
    }  # fmt: skip
    assert "</script" not in made.script
    data = "".join(f'<script type="text/plain" id="engine-{name}">{b64encode(content).decode()}</script>\n'
                   for name, content in inside.items())  # fmt: skip
    html = made.page(
        policy=f"script-src {_hash(made.script)} 'wasm-unsafe-eval' blob:; worker-src blob:; "
               f"style-src {_hash(made.style)}; img-src data:",
        icon='<link rel="icon" href="data:,">\n', style=f"<style>{made.style}</style>\n",
        script=f'{data}<script type="module">{made.script}</script>\n',
    )  # fmt: skip
    return write_file(path, html, force=force)


def write_folder(made: Standalone, folder: Path, *, force: bool = False) -> Path:
    """A folder for a web host, ``index.html`` to begin with; raises ``OSError`` as the file does."""
    folder.mkdir(parents=True, exist_ok=True)
    html = made.page(
        policy="script-src 'self' 'wasm-unsafe-eval'; worker-src 'self'; connect-src 'self'; style-src 'self'; "
               "img-src 'self'",
        icon='<link rel="icon" href="icon.svg">\n', style='<link rel="stylesheet" href="page.css">\n',
        script='<script src="page.js" type="module"></script>\n',
    )  # fmt: skip
    contents: dict[str, str | bytes] = {
        "engine.bin": made.engine, "python.bin": made.python, "page.js": made.script, "page.css": made.style,
        "worker.js": made.worker, "licences.txt": made.licences, "icon.svg": _ICON, "index.html": html,
    }  # fmt: skip
    write_files([(folder / name, content) for name, content in contents.items()], force=force)
    return folder
