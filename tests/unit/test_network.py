"""The guard of the test run: nothing leaves this machine, neither from a test nor from a program that it begins.

Addresses are those that RFC 5737 and RFC 6761 keep for documentation.
"""

import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

AWAY = (
    "import socket; socket.socket().connect(('192.0.2.1', 80))",
    "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM).sendto(b'x', ('192.0.2.1', 9))",
    "import urllib.request; urllib.request.urlopen('http://example.invalid')",
    "import asyncio; asyncio.run(asyncio.open_connection('192.0.2.1', 80))",
)


@pytest.fixture
def refused():
    """What was refused since, taken off the list by which a test fails."""

    def lines() -> list[str]:
        path = Path(os.environ["PROPMATCH_TESTS_NETWORK"])
        said = path.read_text(encoding="utf-8").splitlines()
        os.truncate(path, 0)
        return said

    return lines


@pytest.mark.parametrize("code", AWAY[:2])
def test_this_process_is_let_nowhere(code, refused):
    with pytest.raises(Exception, match=r"192\.0\.2\.1"):
        exec(code)
    assert len(refused()) == 1


def test_a_program_that_is_begun_is_let_nowhere_and_what_it_hides_is_known(refused):
    hiding = "\n".join(f"try:\n exec({code!r})\nexcept Exception: pass" for code in AWAY)
    subprocess.run([sys.executable, "-c", hiding], check=True)
    assert [line.split()[0] for line in refused()] == ["socket.connect", "socket.sendto", "socket.getaddrinfo",
                                                       "socket.connect"]  # fmt: skip


def test_this_machine_is_let_in(refused):
    with socket.create_server(("127.0.0.1", 0)) as server, socket.create_connection(server.getsockname()):
        pass
    assert refused() == []
