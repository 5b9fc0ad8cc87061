"""The recorder's end: starts the process beside it, tells it of rows, and starts it again should it end.

`took` never waits: a process that does not keep up is told less, and rows are kept before it hears of them.
"""

import json
import pickle
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from typing import IO

from readout.clock import Clock
from readout.daemon.outlet.asked import Asked, Begin, Took
from readout.daemon.points import PointToRecord
from readout.errors import FellShort, PipeledgerError, PortError
from storage.journal import Row

#: Rows that may wait to be told; beyond that the oldest are not.
MOST_ROWS = 20_000
#: Seconds until a process that has ended is started again, and for its start and end.
AGAIN_S, START_S, END_S = 5.0, 60.0, 10.0

Say = Callable[[str], None]


class Outlet:
    """Use as a context: opened before the recording begins, closed after its last row.

    Entering raises `PortError` where an address is not to be had. `say` takes lines for the person, from any
    thread, and may be exchanged.
    """

    def __init__(self, asked: Asked, clock: Clock, say: Say) -> None:
        self._asked, self._clock, self.say = asked, clock, say
        self._points: tuple[PointToRecord, ...] = ()
        self._waiting: deque[Begin | Row] = deque(maxlen=MOST_ROWS)
        self._wake = threading.Event()
        self._ending = False
        self._process: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._run, name="outlet", daemon=True)

    def __enter__(self) -> "Outlet":
        self._process = self._start()
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ending = True
        self._wake.set()
        self._thread.join(2 * END_S)

    def begin(self, points: Sequence[PointToRecord]) -> None:
        """A run of the recorder begins with these points."""
        self._points = tuple(points)
        self._waiting.append(Begin(self._points))
        self._wake.set()

    def took(self, rows: Sequence[Row]) -> None:
        """Rows have become durable; from the journal's thread."""
        self._waiting.extend(rows)
        self._wake.set()

    def _start(self) -> "subprocess.Popen[bytes]":
        """A process that is ready. Raises what it refuses with."""
        process = subprocess.Popen(
            [sys.executable, "-m", "readout.daemon.outlet.process"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        late = threading.Timer(START_S, process.kill)
        late.start()
        try:
            _write(process, self._asked)
            assert process.stdout is not None
            while "say" in (said := json.loads(process.stdout.readline() or b"{}")):
                self.say(str(said["say"]))
        except OSError:
            said = {}
        finally:
            late.cancel()
        if "ready" not in said:
            process.kill()
            process.communicate()
            raise _refusal(said)
        for sentence in said["ready"]:
            self.say(sentence)
        threading.Thread(target=self._listen, args=(process.stdout,), daemon=True).start()
        return process

    def _listen(self, stdout: IO[bytes]) -> None:
        for line in stdout:
            self.say(str(json.loads(line).get("say", "")))

    def _run(self) -> None:
        """The thread: tell what waits, until the end."""
        ended_at: float | None = None
        while True:
            self._wake.wait(1.0)
            ending = self._ending  # what came before the end is told
            self._wake.clear()
            if self._process is None and ended_at is not None and not ending:
                ended_at = self._again(ended_at)
            if self._process is not None and not self._tell(self._process):
                self.say(
                    f"{self._asked.what}'s process has ended and is started again in {AGAIN_S:.0f} s;"
                    " recording goes on"
                )
                self._end(self._process)
                self._process, ended_at = None, self._clock.monotonic()
            if ending:
                break
        if self._process is not None:
            self._end(self._process)

    def _again(self, ended_at: float) -> float | None:
        if self._clock.monotonic() - ended_at < AGAIN_S:
            return ended_at
        self._waiting.clear()  # the new process reads the past from the archive
        try:
            self._process = self._start()
        except PipeledgerError as error:
            self.say(str(error))
            return self._clock.monotonic()
        self._waiting.appendleft(Begin(self._points))
        return None

    def _tell(self, process: "subprocess.Popen[bytes]") -> bool:
        """Tell what waits; False where the process has ended."""
        rows: list[Row] = []
        try:
            while self._waiting:
                one = self._waiting.popleft()
                if isinstance(one, Row):
                    rows.append(one)
                    continue
                if rows:
                    _write(process, Took(tuple(rows)))
                    rows = []
                _write(process, one)
            if rows:
                _write(process, Took(tuple(rows)))
        except OSError:
            return False
        return process.poll() is None

    def _end(self, process: "subprocess.Popen[bytes]") -> None:
        try:
            if process.stdin is not None:
                process.stdin.close()
        except OSError:
            pass  # it had gone before
        try:
            process.wait(END_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        if process.stdout is not None:
            process.stdout.close()


def _write(process: "subprocess.Popen[bytes]", message: Asked | Begin | Took) -> None:
    assert process.stdin is not None
    process.stdin.write(pickle.dumps(message))
    process.stdin.flush()


def _refusal(said: dict[str, object]) -> PipeledgerError:
    if said.get("status") == PortError.status:
        return PortError("held", str(said["refused"]))
    return FellShort(
        str(said.get("refused", "the process beside the recorder did not start; see what it said"))
    )
