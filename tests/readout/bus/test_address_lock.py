"""A device server takes many clients, and gives each the replies to all: so its address has a lock of ours.

A server of the test's own, which takes every connection, as RFC 9293 leaves it free to.
"""

import os
import socket
import subprocess
import sys
from collections.abc import Iterator

import pytest

from protocols.modbus.timing import SerialFormat
from readout.bus.port import open_port
from readout.errors import PortError

FORMAT = SerialFormat(9600)
HOLD = """
import sys
from protocols.modbus.timing import SerialFormat
from readout.bus.port import open_port
port = open_port(sys.argv[1], SerialFormat(9600))
print(1, flush=True)
sys.stdin.read()
"""


@pytest.fixture
def server() -> Iterator[socket.socket]:
    with socket.create_server(("127.0.0.1", 0)) as made:
        yield made


def test_a_second_one_is_refused_by_any_name_and_the_first_named(server: socket.socket) -> None:
    """Until the first is closed; then the address is free at once."""
    number = server.getsockname()[1]
    first = open_port(f"socket://127.0.0.1:{number}", FORMAT)
    for host in ("127.0.0.1", "LOCALHOST"):
        with pytest.raises(PortError, match=f"is held by process {os.getpid()} ") as refused:
            open_port(f"socket://{host}:{number}", FORMAT)
        assert refused.value.kind == "held"
    with socket.create_server(("127.0.0.1", 0)) as other:
        open_port(f"socket://127.0.0.1:{other.getsockname()[1]}", FORMAT).close()
    first.close()
    open_port(f"socket://127.0.0.1:{number}", FORMAT).close()


def test_a_server_that_is_not_there_leaves_no_lock(server: socket.socket) -> None:
    number = server.getsockname()[1]
    server.close()
    for _ in range(2):
        with pytest.raises(PortError) as refused:
            open_port(f"socket://127.0.0.1:{number}", FORMAT)
        assert refused.value.kind == "absent"


def test_a_killed_one_holds_nothing(server: socket.socket) -> None:
    name = f"socket://127.0.0.1:{server.getsockname()[1]}"
    words = [sys.executable, "-c", HOLD, name]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"1\n"
        with pytest.raises(PortError, match=f"process {holder.pid} "):
            open_port(name, FORMAT)
        holder.kill()
        holder.wait()
    open_port(name, FORMAT).close()
