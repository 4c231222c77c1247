"""The page's server: loopback only, a random token in the address.

Every answer is made from what its request carries (the brief's text, changes to it, the ids of a train), so tabs do
not disturb each other; a sequence number goes back as it came, and the page drops answers that are late. What the map
keeps between two requests only saves time (:mod:`propmatch.page.maps`).
"""

import json
import os
import secrets
import signal as interrupts
import threading
from collections.abc import Callable
from concurrent.futures import Executor
from importlib.resources import files
from multiprocessing import parent_process
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import Fault, InputFaults
from propmatch.files import write_file
from propmatch.page.answers import (
    best_answer,
    brief_answer,
    fault_rows,
    picked_train,
    shown_for,
    train_answer,
)
from propmatch.page.benched import benched, fit_answer
from propmatch.page.edit import edited
from propmatch.page.explain import explanation
from propmatch.page.maps import Dropped, Maps, Signal, in_worker
from propmatch.page.views import views_answer
from propmatch.records.brief import Brief, dump_brief

__all__ = ["HEADERS", "create_app", "in_background", "new_token"]

HEADERS = {
    "content-security-policy": "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
_STATIC = {"": ("page.html", "text/html"), "page.css": ("page.css", "text/css"),
           "page.js": ("page.js", "text/javascript"),
           "drawing.js": ("drawing.js", "text/javascript")}  # fmt: skip
_LARGEST = 1_000_000
_HOSTS = ("127.0.0.1", "localhost")


def new_token() -> str:
    """A secret for the address of a page."""
    return secrets.token_urlsafe(24)


class _Guard:
    """Lets through what comes from this page on this machine; anything else gets 403."""

    def __init__(self, app: ASGIApp, token: str, port: int) -> None:
        self.app, self.token = app, token
        self.hosts = {f"{host}:{port}" for host in _HOSTS}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def with_headers(message: Any) -> None:
            if message["type"] == "http.response.start":
                extra = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
                message = {**message, "headers": [*message.get("headers", []), *extra]}
            await send(message)

        request = Request(scope)
        hosts, origins = request.headers.getlist("host"), request.headers.getlist("origin")
        token = request.url.path.split("/")[1:2]
        good = (
            len(hosts) == 1
            and hosts[0] in self.hosts
            and bool(token)
            and secrets.compare_digest(token[0].encode(), self.token.encode())
            and all(origin == f"http://{hosts[0]}" for origin in origins)
            and (scope["method"] in ("GET", "HEAD") or len(origins) == 1)
        )
        app = self.app if good else PlainTextResponse("Not this page.", status_code=403)
        await app(scope, receive, with_headers)


def create_app(
    text: str,
    catalogue: Catalogue,
    *,
    token: str,
    port: int,
    folder: Path | None = None,
    file: str = "brief.toml",
    workers: Executor | None = None,
    signal: Signal | None = None,
) -> ASGIApp:
    """The page for a brief.

    Parameters
    ----------
    text : str
        The brief as TOML.
    catalogue : Catalogue
    token : str
        First part of every path.
    port : int
        Where it will be served: part of the Host and Origin that are let in.
    folder : Path, optional
        Where briefs are saved; default the working folder.
    file : str
        Name under which the brief is saved unless the reader says otherwise.
    workers : Executor, optional
        Another process for the map, so that chart and checks need not wait for it.
    signal : Signal, optional
        What that process looks at, begun with it, to see that a question was given up.
    """
    home = Path.cwd() if folder is None else folder
    maps = Maps(workers, signal)

    def start(_: Request) -> Response:
        return JSONResponse({"text": text, "file": file, "folder": str(home)})

    def static(name: str) -> Callable[[Request], Response]:
        source, kind = _STATIC[name]
        body = files("propmatch.page").joinpath("static", source).read_bytes()
        return lambda _: Response(body, media_type=f"{kind}; charset=utf-8")

    def answering(make: Callable[[Brief, dict[str, Any]], Any]) -> Callable[[Request], Any]:
        async def answer(request: Request) -> Response:
            asked, faults = await _asked(request)
            seq = asked.get("seq")
            if not faults:
                try:
                    made = await run_in_threadpool(lambda: make(edited(asked["text"], asked["changes"]), asked))
                except InputFaults as error:
                    faults = list(error.faults)
                except Dropped:
                    return JSONResponse({"dropped": True, "seq": seq}, status_code=409)
                else:
                    return made if isinstance(made, Response) else JSONResponse({**made, "seq": seq})
            return JSONResponse({"faults": fault_rows(faults), "seq": seq}, status_code=422)

        return answer

    def stock(asked: dict[str, Any]) -> Catalogue:
        return _stock(catalogue, asked)

    def save(brief: Brief, asked: dict[str, Any]) -> Any:
        return _saved(home, str(asked.get("file", "")), dump_brief(brief), bool(asked.get("replace")))

    answers: dict[str, Callable[[Brief, dict[str, Any]], Any]] = {
        "brief": lambda brief, asked: {**brief_answer(brief, asked["variant"]), "text": dump_brief(brief)},
        "train": lambda brief, asked: train_answer(
            brief,
            stock(asked),
            str(asked.get("train")),
            asked["variant"],
            moving=bool(asked.get("moving")),
        ),
        "map": lambda brief, asked: maps.map(
            brief,
            stock(asked),
            variant=asked["variant"],
            log=asked.get("log"),
            moving=bool(asked.get("moving")),
            page=str(asked.get("page", "")),
        ),
        "parts": lambda brief, asked: maps.parts(brief, stock(asked), variant=asked["variant"], log=asked.get("log")),
        "views": lambda brief, asked: views_answer(brief, stock(asked), str(asked.get("train")), asked["variant"]),
        "best": lambda brief, asked: best_answer(brief, stock(asked), asked["variant"]),
        "explain": lambda brief, asked: explanation(
            brief, stock(asked), str(asked.get("train")), str(asked.get("name")), asked["variant"]
        ),
        "fit": lambda _, asked: fit_answer(benched(catalogue, asked.get("log")), str(asked.get("train") or "")),
        "save": save,
        "sheet": lambda brief, asked: _sheet(brief, catalogue, asked),
    }
    routes = [Route(f"/{token}/{name}", static(name)) for name in _STATIC]
    routes.append(Route(f"/{token}/start", start))
    routes += [Route(f"/{token}/{name}", answering(make), methods=["POST"]) for name, make in answers.items()]
    return _Guard(Starlette(routes=routes), token, port)


def _stock(catalogue: Catalogue, asked: dict[str, Any]) -> Catalogue:
    """The catalogue, with the motor of the log that a request carries."""
    return benched(catalogue, asked["log"]).catalogue if asked.get("log") else catalogue


def _sheet(brief: Brief, catalogue: Catalogue, asked: dict[str, Any]) -> Response:
    """The build sheet of the picked train, with the log of its motor."""
    from propmatch.sheet.content import build_sheet
    from propmatch.sheet.html import sheet_html
    from propmatch.sheet.picture import need

    for module in ("matplotlib", "jinja2"):
        need(module)
    resolved, parts, log = ResolvedBrief.of(brief), _stock(catalogue, asked), asked.get("log")
    train = picked_train(parts, resolved.as_designed, str(asked["train"])) if asked.get("train") else None
    fit = benched(catalogue, log).fit if log else None
    made = build_sheet(resolved, parts, train=train, shown=shown_for(brief), fit=fit)
    if made is None:
        raise InputFaults([Fault("sheet", rule="no combination of the catalogue meets the brief")])
    return Response(
        sheet_html(made),
        media_type="text/html",
        headers={"content-disposition": 'attachment; filename="sheet.html"'},
    )


def in_background(signal: Signal | None = None) -> None:
    """Make this process a worker: the one that serves decides when to end, however it ends."""
    interrupts.signal(interrupts.SIGINT, interrupts.SIG_IGN)
    threading.Thread(target=_end_with_the_server, daemon=True).start()
    in_worker(signal)


def _end_with_the_server() -> None:
    server = parent_process()
    if server is not None:
        server.join()
        os._exit(0)


async def _asked(request: Request) -> tuple[dict[str, Any], list[Fault]]:
    """What a request carries, or what is wrong with it."""
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > _LARGEST:
            return {}, [Fault("request", rule=f"must be at most {_LARGEST} bytes")]
    try:
        asked = json.loads(body)
    except (ValueError, RecursionError):
        return {}, [Fault("request", rule="must be JSON")]
    if not isinstance(asked, dict):
        return {}, [Fault("request", rule="must be a JSON object")]
    asked.setdefault("changes", {})
    asked["variant"] = str(asked["variant"]) if asked.get("variant") else None
    faults = []
    if not isinstance(asked.get("text"), str):
        faults.append(Fault("request", "text", rule="must be the brief as TOML text"))
    if not isinstance(asked["changes"], dict):
        faults.append(Fault("request", "changes", rule="must be an object of keys and values"))
    return asked, faults


def _saved(folder: Path, name: str, text: str, replacing: bool) -> Response | dict[str, Any]:
    """Write a brief; a file that exists is replaced only when that was asked for."""
    if Path(name).name != name or not name.endswith(".toml") or name.startswith(".") or "\\" in name or "\0" in name:
        rule = "must be a plain file name that ends in .toml"
        raise InputFaults([Fault("save", "file", name, rule)])
    path = folder / name
    try:
        write_file(path, text, force=replacing)
    except FileExistsError:
        return JSONResponse({"exists": True, "file": name}, status_code=409)
    except OSError as error:
        raise InputFaults([Fault("save", "file", name, f"cannot be written: {error.strerror}")]) from error
    return {"file": str(path), "text": text}
