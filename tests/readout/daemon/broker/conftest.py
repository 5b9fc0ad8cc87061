"""Debian's mosquitto as the broker, in a process of its own; a subscriber; a recorder that publishes."""

import json
import shutil
import signal
import socket
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

#: Debian keeps it out of a user's path.
MOSQUITTO = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/usr/bin:/usr/local/bin")


class Mosquitto:
    """A broker at `port` of this computer; `more` are lines of its configuration."""

    def __init__(self, folder: Path, *more: str) -> None:
        assert MOSQUITTO is not None, "the tests need Debian's mosquitto (apt install mosquitto)"
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self._config = folder / "mosquitto.conf"
        lines = (f"listener {self.port} 127.0.0.1", "persistence false", *(more or ("allow_anonymous true",)))
        self._config.write_text("\n".join(lines) + "\n")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it, and wait until it listens."""
        assert MOSQUITTO is not None
        self._process = subprocess.Popen([MOSQUITTO, "-c", str(self._config)], stderr=subprocess.DEVNULL)
        for _ in range(400):
            try:
                socket.create_connection(("127.0.0.1", self.port), 0.1).close()
            except OSError:
                assert self._process.poll() is None, "mosquitto ended"
                threading.Event().wait(0.025)
            else:
                return
        raise AssertionError("mosquitto does not listen")

    def kill(self) -> None:
        """SIGKILL, as a power cut."""
        assert self._process is not None
        self._process.send_signal(signal.SIGKILL)
        self._process.wait()

    def hang(self) -> None:
        """SIGSTOP: its connections stay open, and nothing is read or answered on them."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def go_on(self) -> None:
        """SIGCONT."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)


@dataclass
class Heard:
    """What a subscriber to everything has received: (topic, message, was it a retained one of before)."""

    messages: list[tuple[str, str, bool]] = field(default_factory=list)

    def of(self, ending: str) -> list[Any]:
        """The JSON of the messages of topics that end so."""
        return [json.loads(text) for topic, text, _ in list(self.messages) if topic.endswith(ending)]

    def states(self) -> list[str]:
        """What the recorder's own topic has said."""
        return [text for topic, text, _ in list(self.messages) if topic.endswith("/recorder")]


@contextmanager
def listening(port: int) -> Iterator[Heard]:
    """Subscribe to every topic."""
    heard = Heard()
    there = threading.Event()
    client = Client(CallbackAPIVersion.VERSION2)

    def subscribe(*_: object) -> None:
        client.subscribe("#", 1)

    client.on_connect = subscribe
    client.on_subscribe = lambda *_: there.set()
    client.on_message = lambda _client, _data, message: heard.messages.append(
        (message.topic, message.payload.decode(), bool(message.retain))
    )
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        assert there.wait(60), "the subscriber is not heard"
        yield heard
    finally:
        client.disconnect()
        client.loop_stop()


@pytest.fixture
def listen() -> Callable[[int], AbstractContextManager[Heard]]:
    """See `listening`."""
    return listening


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Callable[..., Mosquitto]]:
    """Makes a broker, not started; killed at the end."""
    made: list[Mosquitto] = []

    def make(*more: str) -> Mosquitto:
        made.append(Mosquitto(tmp_path, *more))
        return made[-1]

    yield make
    for one in made:
        if one._process is not None:
            one.kill()


@contextmanager
def publishing(
    command: ModuleType, folder: Path, url: str, *words: str, delivery: Any = None
) -> Iterator[Any]:
    """A recorder of one meter at 5 rounds a second that publishes to `url`; `delivery` is the line's."""
    with command.line(delivery=delivery) as line:
        command.write_point(folder, "header", line.port)
        given = ("log", "header.yaml", "--archive", "archive", "--every", "200ms", "--mqtt", url, *words)
        with command.running(*given, cwd=folder) as log:
            yield log


@pytest.fixture
def publish(command: ModuleType, tmp_path: Path) -> Callable[..., AbstractContextManager[Any]]:
    """See `publishing`; its files are in the test's folder."""
    return partial(publishing, command, tmp_path)
