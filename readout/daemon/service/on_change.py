"""A command of the user's that is run when a point falls silent, leaves its range, or comes back.

One at a time, in order, without a shell, and never waited for by a line: what it does with the facts in its
environment is its own affair, and a command that hangs is ended.
"""

import os
import shlex
import shutil
import subprocess
from collections import Counter, deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from readout.clock import Clock, iso
from readout.daemon.service.outside import Outside
from readout.daemon.telling.sparing import Sparing
from readout.errors import WrongUse
from storage.journal import Row

#: Rounds without a reading after which a point counts as silent.
SILENT_ROUNDS = 3
#: A point that comes and goes is told of so often in an hour; what it is then, when the hour is over.
MOST_CHANGES = 10
#: A command may take this long [s]; this many changes wait for it, older ones are dropped.
COMMAND_S, WAITING = 60.0, 100
#: At the recorder's end the last command is given this long [s].
_LAST_S = 5.0


@dataclass
class _Seen:
    counts: Counter[str] = field(default_factory=Counter)
    rows_at_last_reading: int = 0
    silent: bool = False
    told: bool = False  # what of it was told last
    status: str = ""  # of a row that came with the last change


def words_of(command: str) -> list[str]:
    """A command line as words, by the quoting of a POSIX shell.

    Raises:
        WrongUse: a quote is left open, or there is no word.
    """
    try:
        words = shlex.split(command)
    except ValueError as error:
        raise WrongUse(f"--on-change {command}: {error}") from error
    if not words:
        raise WrongUse("--on-change: write the command to run")
    return words


def cannot_run(program: str) -> str | None:
    """Why a program of this name cannot be run here, in a few words; None where it can."""
    if shutil.which(program) is not None:
        return None
    if not Path(program).exists():
        return "there is no such program"
    return "it is no file that may be executed: chmod +x"


class OnChange:
    """Compares the rows counted so far with those counted before; call `look` again and again.

    `outside` tells of readings that stay outside their range.
    """

    def __init__(
        self,
        command: str,
        archive: Path,
        clock: Clock,
        say: Callable[[str], None],
        outside: Outside | None = None,
    ) -> None:
        self._words, self._archive, self._clock, self._say = words_of(command), archive, clock, say
        self._outside = outside
        self._often = Sparing(MOST_CHANGES)
        self._seen: dict[str, _Seen] = {}
        self._waiting: deque[dict[str, str]] = deque(maxlen=WAITING)
        self._running: subprocess.Popen[bytes] | None = None
        self._since = 0.0
        if (reason := cannot_run(self._words[0])) is not None:
            say(f"--on-change {self._words[0]}: it cannot be run ({reason}), so no change will be told")

    def look(self, rows: Mapping[str, Counter[str]]) -> None:
        """Note what changed, and run what is due."""
        for name, counts in rows.items():
            self._point(name, counts.copy())
        if self._outside is not None:
            for facts in self._outside.changes():
                self._waiting.append({**facts, "PIPELEDGER_ARCHIVE": str(self._archive)})
        self._run()

    def took(self, rows: Sequence[Row]) -> None:
        """Rows have become durable; from the journal's thread."""
        if self._outside is not None:
            self._outside.took(rows)

    def close(self) -> None:
        """Give the command that still runs a moment, then end it."""
        if self._running is not None:
            try:
                self._running.wait(_LAST_S)
            except subprocess.TimeoutExpired:
                self._kill(self._running)
            self._running = None

    def _point(self, name: str, counts: Counter[str]) -> None:
        seen = self._seen.setdefault(name, _Seen())
        new = counts - seen.counts
        if new["ok"] or new["partial"]:
            seen.rows_at_last_reading = counts.total()
            if seen.silent:
                seen.silent, seen.status = False, "ok" if new["ok"] else "partial"
        elif counts.total() - seen.rows_at_last_reading >= SILENT_ROUNDS and not seen.silent:
            seen.silent, seen.status = True, next(iter(new), "")
        seen.counts = counts
        if seen.silent is not seen.told and self._often.left(name, self._clock.monotonic()):
            seen.told = seen.silent
            self._note(name, "silent" if seen.silent else "back", seen.status)

    def _note(self, point: str, change: str, status: str) -> None:
        self._waiting.append(
            {
                "PIPELEDGER_POINT": point,
                "PIPELEDGER_CHANGE": change,
                "PIPELEDGER_STATUS": status,
                "PIPELEDGER_ARCHIVE": str(self._archive),
                "PIPELEDGER_TIME": iso(self._clock.utc()),
            }
        )

    def _run(self) -> None:
        if self._running is not None:
            status = self._running.poll()
            if status is None and self._clock.monotonic() - self._since > COMMAND_S:
                self._kill(self._running)
                self._say(f"--on-change {self._words[0]}: it ran for {COMMAND_S:.0f} s and was ended")
            elif status is None:
                return
            elif status:
                self._say(f"--on-change {self._words[0]}: it ended with status {status}")
            self._running = None
        if self._waiting:
            self._start(self._waiting.popleft())

    def _start(self, facts: Mapping[str, str]) -> None:
        self._since = self._clock.monotonic()
        try:
            # Its output would mix with the recorder's own; stderr stays, so that its complaints are seen.
            self._running = subprocess.Popen(
                self._words, env={**os.environ, **facts}, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL
            )
        except OSError as error:
            self._say(f"--on-change {self._words[0]}: it cannot be run ({error.strerror})")

    @staticmethod
    def _kill(process: "subprocess.Popen[bytes]") -> None:
        process.kill()
        process.wait()
