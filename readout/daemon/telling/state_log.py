"""What the recorder tells the person: changes of state, and once an hour a summary. Never a line a row.

A fault is told when it has lasted three rounds, its end when the meter answers again; a lost port is told by
its line. What comes and goes between, and what changes more than four times an hour, is counted and told in
the hourly summary: of one point at most five lines an hour.
"""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from readout.bus.outcome import Status
from readout.daemon.telling.sparing import Sparing

#: Rounds a fault must last before it is told.
LASTING = 3
#: Seconds between summaries.
SUMMARY_S = 3600.0
#: Changes of one point's state that are told in an hour.
MOST_CHANGES = 4

Say = Callable[[str], None]


@dataclass
class _PointState:
    """One point's state as told so far."""

    told: Status = Status.OK
    run: int = 0  # rounds in a row with the same status; a silent meter's rounds that it was not asked count
    status: Status = Status.OK
    text: str = ""  # what explains it
    missing: int = 0  # rounds without all values since the fault was told
    counted: Counter[Status] = field(default_factory=Counter)


class StateLog:
    """Turns rows into few lines. Used by one thread (that of the line)."""

    def __init__(self, say: Say) -> None:
        self._say = say
        self._points: dict[str, _PointState] = {}
        self._sparing = Sparing(MOST_CHANGES)
        self._summary_due: float | None = None

    def line(self, text: str) -> None:
        """Tell something about the line itself."""
        self._say(text)

    def row(self, point: str, status: Status, text: str, monotonic: float) -> None:
        """Take note of a row; `text` is the sentence that explains a fault. `monotonic` in seconds."""
        state = self._points.setdefault(point, _PointState())
        state.counted[status] += 1
        stays = status is Status.SKIPPED and state.status is not Status.OK
        state.run = state.run + 1 if stays or status is state.status else 1
        if not stays:
            state.status, state.text = status, text
        if status is not Status.OK:
            state.missing += 1
        if status is Status.OK and state.told is not Status.OK:
            rounds = "1 round" if state.missing == 1 else f"{state.missing} rounds"
            self._change(point, f"answers again after {rounds} without all values", monotonic)
            state.told, state.missing = Status.OK, 0
        elif state.status not in (Status.OK, Status.SKIPPED) and state.status is not state.told:
            if state.status is Status.PORT_LOST:
                state.told = state.status  # the line tells it, once for all its points
            elif state.run >= LASTING:
                self._change(point, f"{state.status}: {state.text}", monotonic)
                state.told = state.status
        elif status is Status.OK:
            state.missing = 0
        self._summarise(monotonic)

    def _change(self, point: str, text: str, monotonic: float) -> None:
        left = self._sparing.left(point, monotonic)
        often = "; it changes often: more of that is told once an hour" if left == 1 else ""
        if left:
            self._say(f"{point}: {text}{often}")

    def _summarise(self, monotonic: float) -> None:
        if self._summary_due is None:
            self._summary_due = monotonic + SUMMARY_S
        if monotonic < self._summary_due:
            return
        self._summary_due += SUMMARY_S
        for name, state in self._points.items():
            faults = [f"{n} {status}" for status, n in state.counted.items() if status is not Status.OK]
            if faults:
                told = f"{name}: of {state.counted.total()} rounds in the last hour: {', '.join(faults)}"
                self._say(f"{told}; the latest: {state.status}")
            state.counted.clear()
