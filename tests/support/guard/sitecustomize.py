"""No network: every connection but to this machine is refused and written down.

A process whose ``PYTHONPATH`` begins with this folder loads it first; an audit hook sees what any library asks of the
system's sockets, and cannot be taken away again (PEP 578).
"""

import os
import sys

LOG = "PROPMATCH_TESTS_NETWORK"
"""Environment variable: the file that lists what was refused."""
_HERE = ("127.", "::1", "localhost", "0.0.0.0")


class Network(Exception):
    """Something was to leave this machine."""


def _local(host: object) -> bool:
    name = host.decode(errors="replace") if isinstance(host, bytes) else host
    return name in (None, "", "::") or (isinstance(name, str) and name.startswith(_HERE))


def _refuse(event: str, given: tuple[object, ...]) -> None:
    if not event.startswith("socket."):
        return
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
        place = given[1]
        if not isinstance(place, tuple) or _local(place[0]):  # a path: a socket of this machine
            return
    elif event not in ("socket.getaddrinfo", "socket.gethostbyname") or _local(given[0]):
        return
    with open(os.environ[LOG], "a", encoding="utf-8") as log:
        log.write(f"{event} {given[1:] if event == 'socket.connect' else given}\n")
    raise Network(f"{event} {given}")


if LOG in os.environ:
    sys.addaudithook(_refuse)
