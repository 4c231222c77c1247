"""A page served in this process for tests, on a free port of this machine."""

import contextlib
import json
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import attrs
import httpx
import uvicorn

from propmatch.page.desk import ANSWERS, Answer, Asked, Desk, Tell
from propmatch.page.server import create_app, saving_in
from support.sheets import stock

TOKEN = "a-token-of-a-test"
HERE: Any = {"trust_env": False, "verify": False}
"""How this machine asks itself: past any proxy, and without reading certificates that nothing here shows."""


@attrs.frozen
class Served:
    """A page that answers."""

    port: int
    token: str

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def address(self) -> str:
        return f"{self.origin}/{self.token}/"

    def ask(self, what: str, **sent: Any) -> httpx.Response:
        """A question as the page asks it."""
        return httpx.post(self.address + what, json=sent, headers={"origin": self.origin}, timeout=60, **HERE)


class AskedAgain(Desk):
    """A desk that answers what it was asked before as it did then, for tests of what a browser makes of its answers."""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self._known: dict[tuple[Any, str], dict[str, Any]] = {}

    def _made(self, what: str, sent: Any, tell: Tell) -> dict[str, Any]:
        if what == "save":
            return super()._made(what, sent, tell)
        asked = {key: value for key, value in sent.items() if key not in ("seq", "page")}
        question = ANSWERS.get(what), json.dumps(asked, sort_keys=True)
        if question not in self._known:
            self._known[question] = super()._made(what, sent, tell)
        return self._known[question]


@contextlib.contextmanager
def served(text: str, catalogue: Any, folder: Path, desk_of: type[Desk] = Desk, **more: Any) -> Iterator[Served]:
    """The page on a free port of this machine."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen(16)
        port = listening.getsockname()[1]
        desk = desk_of(catalogue, text, folder=str(folder), save=saving_in(folder))
        app = create_app(desk, token=TOKEN, port=port, **more)
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", lifespan="off", server_header=False))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        try:
            yield Served(port=port, token=TOKEN)
        finally:
            server.should_exit = True
            thread.join(timeout=10)


def desk_of_stock() -> Desk:
    """A desk for another process: the small stock, and two questions that take a minute, one of which listens."""

    def deaf(it: Asked) -> dict[str, Any]:
        it.tell("Sleeping", 0.25)
        time.sleep(60)
        return {}

    def listening(it: Asked) -> dict[str, Any]:
        for _ in range(6000):
            it.tell("Listening", None)
            time.sleep(0.01)
        return {}

    ANSWERS.update(deaf=Answer(deaf, "long"), listening=Answer(listening, "long"))
    return Desk(stock())
