"""`find`: which line settings and unit addresses answer on a port."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.line_listen import line_of
from readout.cli.line_options import BaudRates, Characters, PortName, chosen_settings, opener, unit_addresses
from readout.cli.options import AsJson, TraceFile, milliseconds
from readout.cli.output import say, tell, tell_json
from readout.cli.progress import counting

if TYPE_CHECKING:
    from collections.abc import Callable

    from readout.bus.trace import Trace
    from readout.clock import Clock
    from readout.diagnose.find import Listening, Search
    from readout.diagnose.settings import Stage

#: Shown of what came and could not be understood.
WORST = 3


def find(
    port: PortName,
    *,
    units: Annotated[str, typer.Option(metavar="N-N", help="Unit addresses to ask.")] = "1-247",
    baud: BaudRates = None,
    characters: Characters = None,
    wait: Annotated[
        str, typer.Option("--reply-within", metavar="DURATION", help="How long each address may be silent.")
    ] = "100ms",
    first: Annotated[bool, typer.Option("--first", help="Stop at the first answer.")] = False,
    line_in_use: Annotated[
        bool,
        typer.Option("--line-in-use", help="Ask although others talk: machines may hang on this line."),
    ] = False,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Find the line settings and unit addresses that answer: one-register reads, likely settings first.

    Listens before it sends, and refuses a line that somebody uses. Nothing is written to any meter. Exit
    status 0 where something answered, 1 where all was silent, 3 where the port is not to be had or in use, 4
    where bytes came that nobody can make a reply of.
    """
    from readout.bus.trace import Trace
    from readout.clock import SystemClock
    from readout.diagnose.settings import stages

    asked = unit_addresses(units)
    waiting = milliseconds(wait, "--reply-within") / 1000
    plan = tuple(stages(chosen_settings(port, baud, characters), asked))
    clock = SystemClock()
    kept = Trace(trace, clock) if trace else None
    begun = clock.monotonic()
    searching, interrupted = None, False
    try:
        listening = _listen(port, plan, clock, kept)
        _refuse_use(port, listening, wanted=line_in_use)
        searching = _Searching(port, plan, clock, kept, waiting, listening)
        searching.run(first_only=first)
    except KeyboardInterrupt:
        if searching is None:
            raise
        interrupted = True
        say("interrupted; what answered so far:")
    finally:
        if kept:
            kept.close()
    took = clock.monotonic() - begun
    search = searching.search
    if as_json:
        tell_json(_document(port, searching, took))
    else:
        _print(port, search)
    if interrupted:
        return 130
    if search.answers:
        return 0
    return 4 if search.garbage else 1


def _listen(port: str, plan: "tuple[Stage, ...]", clock: "Clock", trace: "Trace | None") -> "Listening":
    from readout.diagnose.find import listen_first

    say(f"listening on {port} before anything is sent")
    return listen_first(opener(port), [stage.format for stage in plan], clock, trace)


def _refuse_use(port: str, listening: "Listening", *, wanted: bool) -> None:
    from readout.errors import PortError

    heard = listening.disturbing
    if heard is None:
        return
    what = heard.sentence()
    if not wanted:
        raise PortError(
            "held",
            f"{port} is in use: {what}. Somebody else's machines may hang on this line. `line listen {port}` "
            "shows who; stop that master, or give --line-in-use if its owner agrees.",
        )
    say(f"caution: {port} is in use: {what}; requests of two masters disturb each other")


class _Searching:
    """One search: announced, run, and once more with function 4 where nobody answered function 3."""

    def __init__(
        self,
        port: str,
        plan: "tuple[Stage, ...]",
        clock: "Clock",
        trace: "Trace | None",
        wait: float,
        listening: "Listening",
    ) -> None:
        from readout.diagnose.find import Finder, expected_seconds

        self.plan = plan
        self.expected = expected_seconds(plan, wait, listening.opening)
        self.took = 0.0
        self.rounds = 0
        self._clock = clock
        self._shown: Callable[[int, str], None] = lambda _done, _word: None
        self._done = 0
        self._finder: Finder = Finder(opener(port), clock, wait=wait, trace=trace, tell=self._tell)

    @property
    def search(self) -> "Search":
        """What is known so far."""
        return self._finder.search

    def run(self, *, first_only: bool) -> None:
        """Ask everybody; tells beforehand how long that takes."""
        from readout.diagnose.find import TABLES

        total = sum(len(stage.units) for stage in self.plan)
        settings = len({stage.format for stage in self.plan})
        for table, function in zip(TABLES, (3, 4), strict=True):
            say(
                f"asking {total // settings} addresses at {settings} settings with function {function}: "
                f"{in_words(self.expected)}{' at most' if first_only else ''}; likely ones first"
            )
            begun = self._clock.monotonic()
            self._done, self.rounds = 0, self.rounds + 1
            with counting("asking", total, self.expected) as self._shown:
                self._finder.run(self.plan, table, first_only=first_only)
            self.took += self._clock.monotonic() - begun
            if self.search.answers:
                return

    def _tell(self, stage: "Stage", unit: int) -> None:
        self._done += 1
        self._shown(self._done, f"unit {unit} at {stage.format}, {len(self.search.answers)} found")


def in_words(seconds: float) -> str:
    """A duration as somebody would say it: `8 s`, `12 min`, `1 h 5 min`."""
    if seconds < 100:
        return f"{max(1, round(seconds))} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


def _by_meter(search: "Search") -> "dict[tuple[int, int], list[Any]]":
    """Answers by baud rate and unit: forms of characters that a port cannot tell apart stand together."""
    found: dict[tuple[int, int], list[Any]] = {}
    for answer in search.answers:
        found.setdefault((answer.format.baud_rate, answer.unit), []).append(answer)
    return found


def _print(port: str, search: "Search") -> None:
    from readout.diagnose.settings import characters

    meters = _by_meter(search)
    for answers in meters.values():
        answer = answers[0]
        fmt = answer.format
        took = "" if answer.reply_s is None else f", after {answer.reply_s * 1000:.0f} ms"
        tell(f"# unit {answer.unit} at {fmt}: {answer.text}{took}")
        if len(answers) > 1:
            others = ", ".join(characters(other.format) for other in answers[1:])
            tell(f"# it also answered with {others}: take the meter's own setting")
        tell(
            f"line: {{port: {port}, baud_rate: {fmt.baud_rate}, parity: {fmt.parity}, "
            f"data_bits: {fmt.data_bits}, stop_bits: {fmt.stop_bits}}}"
        )
        tell(f"meter: {{unit_address: {answer.unit}}}")
    if meters:
        say(f"{len(meters)} found; the lines above belong in a point file")
        return
    for fmt, unit, symptom in search.garbage[:WORST]:
        tell(f"unit {unit} at {fmt}: " + "\n  ".join(symptom.lines))
    if not search.garbage:
        say(
            "nothing answered. Try: A and B swapped at one end; the meter's supply; "
            "a longer --reply-within, for slow meters"
        )


def _document(port: str, searching: _Searching, took: float) -> dict[str, Any]:
    from readout.diagnose.settings import characters

    return {
        "port": port,
        "found": [
            {
                "unit_address": answers[0].unit,
                "line": line_of(answers[0].format),
                "also_with": [characters(other.format) for other in answers[1:]],
                "function": answers[0].function,
                "answer": answers[0].text,
                "reply_ms": None if answers[0].reply_s is None else round(answers[0].reply_s * 1000, 1),
            }
            for answers in _by_meter(searching.search).values()
        ],
        "garbage": [
            {"unit_address": unit, "line": line_of(fmt), "kind": symptom.kind.value, "received": symptom.hex}
            for fmt, unit, symptom in searching.search.garbage
        ],
        "asked": searching.search.asked,
        "expected_s": round(searching.expected * searching.rounds, 1),
        "asking_s": round(searching.took, 1),
        "took_s": round(took, 1),
    }
