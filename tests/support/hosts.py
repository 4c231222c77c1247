"""A plain web host for tests: files of a folder under a strict policy, on a free port of this machine; nothing else."""

import contextlib
import threading
from collections.abc import Iterator
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

STRICT = (
    "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; worker-src 'self'; "
    "connect-src 'self'; img-src 'self'"
)


class _Files(SimpleHTTPRequestHandler):
    def end_headers(self) -> None:
        self.send_header("content-security-policy", STRICT)
        self.send_header("x-content-type-options", "nosniff")
        super().end_headers()

    def log_message(self, *said: Any) -> None:
        """Quiet."""


@contextlib.contextmanager
def hosted(folder: Path) -> Iterator[str]:
    """The address of a folder."""
    with ThreadingHTTPServer(("127.0.0.1", 0), partial(_Files, directory=str(folder))) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        try:
            yield f"http://127.0.0.1:{server.server_address[1]}/"
        finally:
            server.shutdown()
