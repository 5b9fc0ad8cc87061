"""The broker's side of the process beside the recorder: what is durable is published, last values retained.

Nothing here waits for the broker but its own thread. While the broker is away only the newest row of each
point is kept for it; after its return those come first, and then the rows as they are kept.
"""

import json
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from readout.clock import iso
from readout.daemon.broker.address import BrokerAddress, level
from readout.daemon.live.told import Told
from readout.errors import WrongUse

#: Rows that may wait while the broker is slow; beyond that the oldest are not published.
MOST_ROWS = 2_000
#: Messages that may wait in the connection before the next row is given to it.
_MOST_UNSENT = 200
#: Seconds between two tries to connect, and between two signs of life.
_AGAIN_S, _KEEP_ALIVE_S = (1, 30), 15
#: Seconds the last messages have at the end.
_END_S = 3.0


class Broker:
    """Open it, give it rows by `follow`, close it. `say` takes lines for the person, from any thread."""

    def __init__(self, address: BrokerAddress, say: Callable[[str], None]) -> None:
        self._address, self._say = address, say
        self._state = f"{address.prefix}/recorder"
        self._rows: deque[Told] = deque(maxlen=MOST_ROWS)
        self._newest: dict[str, Told] = {}
        self._greeted: dict[str, int] = {}  # sequence of the row that began this connection, by point
        self._unsent: deque[MQTTMessageInfo] = deque()
        self._wake = threading.Event()
        self._greets = False  # a connection has just been made
        self._connected = self._ending = False
        self._told = ""  # what was said last
        self._client = self._made()
        self._thread = threading.Thread(target=self._run, name="broker", daemon=True)

    def open(self) -> str:
        """Begin to connect, now and whenever it is lost; a sentence for the person."""
        self._client.connect_async(self._address.host, self._address.port, _KEEP_ALIVE_S)
        self._client.loop_start()
        self._thread.start()
        openly = "; the password goes over the network openly, mqtts:// would hide it"
        return (
            f"broker: {self._address}, topics {self._address.prefix}/…"
            f"{openly if self._address.tells_password_openly else ''}"
        )

    def follow(self, told: Told) -> None:
        """A row has become durable; from the feed's thread."""
        self._newest[told.point] = told
        if self._connected:
            self._rows.append(told)
            self._wake.set()

    def close(self) -> None:
        """Publish what waits and that the recorder is gone, where the broker is there."""
        self._ending = True
        self._wake.set()
        self._thread.join(2 * _END_S)
        self._client.disconnect()
        self._client.loop_stop()

    def _made(self) -> Client:
        client = Client(CallbackAPIVersion.VERSION2)
        login = self._address.login
        if login.user is not None:
            client.username_pw_set(login.user, login.password)
        if self._address.tls:
            ca, certificate, key = (
                None if file is None else str(file) for file in (login.ca, login.certificate, login.key)
            )
            try:
                client.tls_set(ca, certificate, key)
            except OSError as error:  # also what OpenSSL cannot read
                raise WrongUse(
                    f"--mqtt-login: a certificate or key cannot be used ({error}); they must be PEM files"
                ) from error
        client.will_set(self._state, "offline", qos=1, retain=True)
        client.reconnect_delay_set(*_AGAIN_S)
        client.on_connect, client.on_disconnect = self._on_connect, self._on_disconnect
        client.on_connect_fail = self._on_connect_fail
        return client

    def _on_connect(
        self, _client: Client, _data: Any, _flags: ConnectFlags, reason: ReasonCode, _more: Properties | None
    ) -> None:
        if reason.is_failure:
            self._tell(f"refuses us ({reason}); look at --mqtt-login. Recording goes on")
            return
        self._rows.clear()  # the newest of each point come first, and no older row after them
        self._greets = self._connected = True
        self._tell("connected")
        self._wake.set()

    def _on_disconnect(
        self,
        _client: Client,
        _data: Any,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _more: Properties | None,
    ) -> None:
        was = self._connected
        self._connected = False
        if was and not self._ending:
            self._tell(f"connection lost ({reason}); tried again and again. Recording goes on")

    def _on_connect_fail(self, _client: Client, _data: Any) -> None:
        cause = sys.exception() if sys.version_info >= (3, 12) else sys.exc_info()[1]
        self._tell(f"not reached ({cause}); tried again and again. Recording goes on")

    def _tell(self, text: str) -> None:
        if text != self._told:  # each change once
            self._told = text
            self._say(f"broker {self._address}: {text}")

    def _run(self) -> None:
        """The thread: publish what waits, until the end."""
        while not self._ending:
            self._wake.wait(0.2)
            self._wake.clear()
            if self._greets:
                self._greet()
            self._drain()
        self._drain()
        if self._connected:
            self._publish(self._state, "offline", qos=1)
            with suppress(RuntimeError, IndexError):  # it could not be sent: the connection has gone
                self._unsent[-1].wait_for_publish(_END_S)

    def _greet(self) -> None:
        """A new connection: that we are there, and the newest row of each point."""
        self._greets = False
        self._unsent.clear()  # of the connection before: lost, as every message on the way
        self._publish(self._state, "online", qos=1)
        newest = list(self._newest.values())
        self._greeted = {told.point: told.sequence for told in newest}
        for told in newest:
            self._publish_row(told)

    def _drain(self) -> None:
        while self._connected and self._rows:
            while self._unsent and self._unsent[0].is_published():
                self._unsent.popleft()
            if len(self._unsent) > _MOST_UNSENT:
                return
            try:
                told = self._rows.popleft()
            except IndexError:  # a new connection has emptied it
                return
            if told.sequence > self._greeted.get(told.point, -1):
                self._publish_row(told)

    def _publish_row(self, told: Told) -> None:
        for topic, message in messages(self._address.prefix, told):
            self._publish(topic, message)

    def _publish(self, topic: str, message: str, qos: int = 0) -> None:
        info = self._client.publish(topic, message, qos=qos, retain=True)
        if info.rc == MQTTErrorCode.MQTT_ERR_SUCCESS:
            self._unsent.append(info)


def messages(prefix: str, told: Told) -> Iterator[tuple[str, str]]:
    """Topic and JSON of one row: the whole row, then each reading with what it takes to understand it."""
    at = f"{prefix}/{level(told.point)}"
    references = {
        reading.name: {"reference": reading.reference} for reading in told.readings if reading.reference
    }
    row = told.as_json()
    for name, reading in row["readings"].items():
        reading.update(references.get(name, {}))
    yield f"{at}/row", _json(row)
    head = {
        "due": iso(told.due_ms / 1000), "status": told.status, "sequence": told.sequence
    }  # fmt: skip
    for name, reading in row["readings"].items():
        yield f"{at}/reading/{level(name)}", _json({**reading, **head})


def _json(message: dict[str, Any]) -> str:
    return json.dumps(message, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
