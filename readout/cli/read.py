"""`read`: current values of points, once or continuously."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from readout.cli.options import AsJson, PointFiles, TraceFile, milliseconds
from readout.cli.output import say, tell_json

if TYPE_CHECKING:
    from readout.bus.exchange import Line
    from readout.clock import Clock
    from readout.daemon.points import PointToRecord
    from readout.errors import PortError
    from readout.poll.round import Round


def read(
    points: PointFiles,
    *,
    watch: Annotated[bool, typer.Option("--watch", help="Read again and again until Ctrl-C.")] = False,
    every: Annotated[str, typer.Option(metavar="DURATION", help="With --watch: how often.")] = "1s",
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Read current values with their units, flags and states.

    Exit status 1 where a value is missing, or where another meter answers than the point file says (by its
    serial number), 3 where a port is not to be had, 4 where replies came and none could be trusted. With
    --watch an absent port is waited for; Ctrl-C ends it with exit status 130.
    """
    from readout.bus.trace import Trace
    from readout.clock import SystemClock
    from readout.daemon.connect import connector
    from readout.daemon.points import load_points

    every_ms = milliseconds(every, "--every")
    loaded = load_points(points, None)
    clock = SystemClock()
    kept = Trace(trace, clock) if trace else None
    lines = _Lines(connector(clock, kept), loaded, clock)
    try:
        if watch:
            _watch(lines, loaded, clock, every_ms, as_json=as_json)
        results = [_one(lines, point, clock) for point in loaded]
        _print(results, as_json=as_json)
        lines.advise()
        return _status(results)
    finally:
        lines.close()
        if kept:
            kept.close()


class _Lines:
    """The lines of the points, each opened when it is first needed and again after it was lost.

    `learners` know, by point, what its meter refuses.
    """

    def __init__(self, connect: "Any", points: "Sequence[PointToRecord]", clock: "Clock") -> None:
        self._connect = connect
        self._points = points
        self.learners = {point.name: point.learner(clock.utc, say) for point in points}
        self._clock = clock
        self._open: dict[str, Line] = {}
        self._met: dict[str, tuple[Line, str]] = {}

    def of(self, point: "PointToRecord") -> "Line":
        """The open line of a point; PortError where it is not to be had."""
        line = self._open.get(point.port)
        if line is None or line.lost:
            if line is not None:
                line.close()
            line = self._connect([other for other in self._points if other.port == point.port])
            self._open[point.port] = line
        return line

    def another(self, point: "PointToRecord") -> str:
        """A sentence where another meter answers; asked once each time a line is opened."""
        from readout.cli.who_answers import another_answers

        line = self._open[point.port]
        met, told = self._met.get(point.name, (None, ""))
        if met is not line:
            told = another_answers(line, point, self.learners[point.name], self._clock)
            self._met[point.name] = (line, told)
        return told

    def advise(self) -> None:
        """Say what the lines showed beside the readings: noise, another master, rests too short."""
        for port, line in self._open.items():
            for sentence in line.statistics.advice:
                say(f"{port}: {sentence}")

    def close(self) -> None:
        """Close every line."""
        for line in self._open.values():
            line.close()


class Result:
    """One point's reading, or why there is none. `another`: that it is of another meter, as a sentence."""

    def __init__(
        self, point: "PointToRecord", utc: float, found: "Round | None", refused: "PortError | None",
        another: str = "",
    ) -> None:  # fmt: skip
        from readout.bus.outcome import Status

        self.point = point
        self.utc = utc
        self.found = found
        self.refused = refused
        self.another = another
        self.status = Status.PORT_LOST if found is None else found.status

    @property
    def reason(self) -> str:
        """Why something is missing, as a sentence; empty where nothing is."""
        if self.refused is not None:
            return str(self.refused)
        if self.another:
            return self.another
        return self.found.text if self.found is not None else ""

    def readings(self) -> dict[str, dict[str, Any]]:
        """By name {value, unit, flag}; every value null where nothing was read."""
        from readout.poll.readings import readings_of
        from readout.poll.round import nothing_asked

        found = self.found or nothing_asked(self.status, "")
        return readings_of(self.point.polled.plan, found, self.point.map.readings)

    def conditions(self) -> dict[str, str]:
        """The reference conditions of each reading that has some, in words."""
        from readout.poll.readings import conditions_of
        from readout.poll.round import nothing_asked

        found = self.found or nothing_asked(self.status, "")
        return conditions_of(self.point.polled.plan, found, self.point.map)

    def as_json(self) -> dict[str, Any]:
        """As contracted: {point, time, status, readings}."""
        from readout.clock import iso

        return {
            "point": self.point.name,
            "time": iso(self.utc),
            "status": self.status.value,
            "readings": self.readings(),
        }


def _one(lines: _Lines, point: "PointToRecord", clock: "Clock") -> Result:
    from readout.bus.outcome import Status
    from readout.errors import PortError

    try:
        line = lines.of(point)
    except PortError as error:
        return Result(point, clock.utc(), None, error)
    plan, found = lines.learners[point.name].settle(line, point.polled)
    ended = clock.monotonic() if found.ended is None else found.ended
    utc = clock.utc() - (clock.monotonic() - ended)
    another = lines.another(point) if found.status in (Status.OK, Status.PARTIAL) else ""
    return Result(point.by(plan), utc, found, None, another)


def _print(results: Sequence[Result], *, as_json: bool) -> None:
    if as_json:
        tell_json(_document(results))
    else:
        from readout.cli.output import tell
        from readout.cli.readings_text import text_of

        for result in results:
            tell(text_of(result))
    for result in results:
        if result.reason:
            say(f"{result.point.name}: {result.reason}")


def _document(results: Sequence[Result]) -> object:
    """One object for one point, a list for several."""
    documents = [result.as_json() for result in results]
    return documents[0] if len(documents) == 1 else documents


def _status(results: Sequence[Result]) -> int:
    """3 before 4 before 1, as contracted."""
    from readout.bus.outcome import Status

    if any(result.found is None or result.status is Status.PORT_LOST for result in results):
        return 3
    untrusted = (Status.DAMAGED_REPLY, Status.WRONG_REPLY)
    if any(result.status in untrusted for result in results):
        return 4
    return 0 if all(result.status is Status.OK and not result.another for result in results) else 1


def _watch(
    lines: _Lines, points: "Sequence[PointToRecord]", clock: "Clock", every_ms: int, *, as_json: bool
) -> NoReturn:
    """Read at due times until Ctrl-C, which passes through; an absent port is waited for, no other."""
    from readout.errors import PortError
    from readout.plan.schedule import Grid, look, start

    for point in points:
        try:
            lines.of(point)
        except PortError as error:
            if error.kind not in ("absent", "lost"):
                raise
    with _screen(as_json=as_json) as show:
        schedule = start(Grid(every_ms), look(clock))
        while True:
            due = schedule.next(look(clock))
            clock.sleep_until(due.deadline_s)
            schedule = due.then
            show([_one(lines, point, clock) for point in points])


@contextmanager
def _screen(*, as_json: bool) -> "Iterator[Callable[[Sequence[Result]], None]]":
    """How --watch shows results: JSON, a live screen on a terminal, else a line a reading."""
    import sys

    from readout.cli.output import tell
    from readout.cli.readings_text import line_of, text_of

    if as_json:
        told: set[str] = set()

        def document(results: Sequence[Result]) -> None:
            tell_json(_document(results))
            for result in results:
                if result.another and result.another not in told:
                    told.add(result.another)
                    say(f"{result.point.name}: {result.another}")

        yield document
    elif sys.stdout.isatty():
        from rich.live import Live
        from rich.text import Text

        with Live(auto_refresh=False, screen=False) as live:

            def show(results: Sequence[Result]) -> None:
                texts = [f"{text_of(result)}\n{result.reason}".strip() for result in results]
                live.update(Text("\n\n".join(texts)), refresh=True)

            yield show
    else:

        def lines(results: Sequence[Result]) -> None:
            for result in results:
                tell(line_of(result))

        yield lines
