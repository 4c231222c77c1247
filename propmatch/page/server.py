"""The page's server: loopback only, a random token in the address. What is asked is answered by a desk.

What takes its time is answered by other processes where there are any, and given up when its page goes away.
"""

import asyncio
import json
import secrets
from collections.abc import Callable, Coroutine, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from propmatch.faults import Fault
from propmatch.files import write_file
from propmatch.page.answers import fault_rows
from propmatch.page.desk import ANSWERS, Desk, Dropped, Save
from propmatch.page.workers import Ended, Here, Job, Runner

__all__ = ["HEADERS", "create_app", "new_token", "saving_in"]

HEADERS = {
    "content-security-policy": "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
_STATIC = files("propmatch.page").joinpath("static")
_KINDS = {".html": "text/html", ".css": "text/css", ".js": "text/javascript"}
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
                own = message.get("headers", [])
                extra = {name.encode(): value.encode() for name, value in HEADERS.items()}
                message = {**message, "headers": [*({**extra, **dict(own)}.items())]}
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


def saving_in(folder: Path) -> Save:
    """Keeps briefs in a folder: whole or not at all, never through a link, a file that exists only when told to."""

    def save(name: str, text: str, replacing: bool) -> str | None:
        try:
            return str(write_file(folder / name, text, force=replacing, follow=False))
        except FileExistsError:
            return None

    return save


def create_app(
    desk: Desk,
    *,
    token: str,
    port: int,
    workers: Mapping[str, Runner] | None = None,
    opened: Callable[[], None] = lambda: None,
    guide: Callable[[], tuple[str, str]] | None = None,
) -> ASGIApp:
    """The page of a desk.

    Parameters
    ----------
    desk : Desk
    token : str
        First part of every path.
    port : int
        Where it will be served: part of the Host and Origin that are let in.
    workers : mapping of str to Runner, optional
        Who answers what takes its time, by the ``where`` of :data:`propmatch.page.desk.ANSWERS`; default this process.
    opened : callable, optional
        Called when a page begins.
    guide : callable, optional
        The guide as HTML, and the content security policy that it needs; without it the page has no link to one.
    """
    if workers is None:
        workers = {"map": Here(desk), "long": Here(desk)}

    def start(_: Request) -> Response:
        opened()
        return JSONResponse({**desk.start(), "guide": guide is not None})

    def guided(_: Request) -> Response:
        text, policy = guide() if guide is not None else ("", "")
        return Response(text, media_type="text/html", headers={"content-security-policy": policy})

    def static(name: str) -> Callable[[Request], Response]:
        body, kind = _STATIC.joinpath(name).read_bytes(), _KINDS[Path(name).suffix]
        return lambda _: Response(body, media_type=f"{kind}; charset=utf-8")

    def answering(what: str, where: str) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        async def answer(request: Request) -> Response:
            asked, faults = await _asked(request)
            if faults:
                return _told({"faults": fault_rows(faults)})
            if where == "here":
                return _told(await run_in_threadpool(desk.answer, what, asked))
            runner, page = workers[where], asked.get("page") if isinstance(asked, dict) else ""
            job = runner.submit(what, asked, page if isinstance(page, str) else "")
            try:
                return _told(await _unless_gone(request, job))
            except Ended:
                return JSONResponse({"ended": True}, status_code=503)
            except Dropped:
                runner.drop(job)
                return _told({"dropped": True, "seq": asked.get("seq") if isinstance(asked, dict) else None})

        return answer

    async def progress(request: Request) -> Response:
        asked, _ = await _asked(request)
        page = asked.get("page") if isinstance(asked, dict) else ""
        jobs = [job for runner in workers.values() for job in runner.doing(str(page))] if page else []
        return JSONResponse(
            {job.what: {"doing": job.doing or ANSWERS[job.what].doing, "share": job.share} for job in jobs}
        )

    routes = [Route(f"/{token}/{each.name.removeprefix('page.html')}", static(each.name)) for each in _STATIC.iterdir()]
    routes.append(Route(f"/{token}/start", start))
    routes += [Route(f"/{token}/guide", guided)] if guide is not None else []
    routes.append(Route(f"/{token}/progress", progress, methods=["POST"]))
    routes += [Route(f"/{token}/{name}", answering(name, each.where), methods=["POST"])
               for name, each in ANSWERS.items()]  # fmt: skip
    return _Guard(Starlette(routes=routes), token, port)


async def _unless_gone(request: Request, job: Job) -> dict[str, Any]:
    """The answer of a question; ``Dropped`` where its page goes away before."""

    async def gone() -> None:
        while (await request.receive())["type"] != "http.disconnect":
            pass

    leaving, answer = asyncio.ensure_future(gone()), asyncio.wrap_future(job.done)
    both: set[asyncio.Future[Any]] = {leaving, answer}
    try:
        await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
        if not answer.done():
            raise Dropped
        return answer.result()
    finally:
        leaving.cancel()
        answer.cancel()


def _told(answer: dict[str, Any]) -> Response:
    status = 422 if "faults" in answer else 409 if "dropped" in answer or "exists" in answer else 200
    return JSONResponse(answer, status_code=status)


async def _asked(request: Request) -> tuple[Any, list[Fault]]:
    """What a request carries, or what is wrong with it."""
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > _LARGEST:
            return {}, [Fault("request", rule=f"must be at most {_LARGEST} bytes")]
    try:
        return json.loads(body), []
    except (ValueError, RecursionError):
        return {}, [Fault("request", rule="must be JSON")]
