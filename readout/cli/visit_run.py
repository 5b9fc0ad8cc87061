"""How a visit runs: step by step, each kept before the next, asked of a person or taken from answers."""

import signal
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from readout.cli.output import say
from readout.errors import ArchiveError, FellShort, NothingTrusted, PipeledgerError, PortError, WrongUse

if TYPE_CHECKING:
    from readout.clock import Clock
    from readout.visit.answers import Answers, Key
    from readout.visit.kept import Standing, VisitFile
    from readout.visit.verdict import Check

#: Columns of a line; a terminal on a ladder is narrow.
WIDTH = 78


T = TypeVar("T")


class Stopped(Exception):  # noqa: N818  (the visit ends here, as a person reads it)
    """A step was no go; what it said is kept."""


@dataclass
class Run:
    """One visit under way. `names` are its steps in their order."""

    standing: "Standing"
    file: "VisitFile"
    answers: "Answers"
    clock: "Clock"
    names: tuple[str, ...]
    last: "Check | None" = None
    reached: str = ""  # the step it is at

    def step(self, name: str, check: "Callable[[], Check]", *, again: bool = False) -> None:
        """Carry out a step, unless it is done; with `again` it is looked at anew in any case.

        Raises `Stopped` where it is no go. What is done and durable is not done twice.
        """
        from protocols.units import printed

        self.reached = name
        say(f"{self.names.index(name) + 1}/{len(self.names)}  {name.replace('_', ' ')}")
        done = self.standing.steps.get(name)
        if done is not None and done["verdict"] == "go" and not again:
            _tell("done", f"{printed(done['reason'])} (at {done['at']})")
            return
        try:
            found = self._decided(name, _caught(check))
        except KeyboardInterrupt:
            say(f"\nstopped at {name.replace('_', ' ')}: run the same command again, it goes on from here")
            raise
        self.keep(name, found)
        _tell(found.verdict.value.upper(), printed(found.reason))
        if not found.is_go:
            if found.advice:
                _tell("try", found.advice)
            self.last = found
            raise Stopped

    def keep(self, name: str, check: "Check") -> None:
        """Make a step durable."""
        from readout.clock import iso

        self.standing = self.standing.with_step(name, check, iso(self.clock.utc()))
        self.file.save(self.standing)

    def left(self, names: Sequence[str]) -> list[str]:
        """Those of these steps that are not done yet."""
        return [name for name in names if self.standing.steps.get(name, {}).get("verdict") != "go"]

    def found(self, name: str) -> dict[str, Any]:
        """The figures of a step that was carried out; nothing where it was not."""
        return dict(self.standing.steps.get(name, {}).get("found", {}))

    def _decided(self, name: str, check: "Check") -> "Check":
        """What is to be decided becomes a go where somebody says why."""
        from dataclasses import replace

        from protocols.units import printed
        from readout.visit.verdict import Verdict

        if check.verdict is not Verdict.TO_DECIDE:
            return check
        why = self.answers.accepted.get(name) or self._accepted_before(name, check.reason)
        if why is None and sys.stdin.isatty():
            _tell("TO BE DECIDED", printed(check.reason))
            _tell("try", check.advice)
            why = typed("Accept it? Say why, or Enter for no:")
        if not why:
            advice = f"{check.advice}; to accept it: --answer 'accept.{name}=why'"
            return replace(check, advice=advice)
        return replace(
            check, verdict=Verdict.GO, reason=_accepted(why, check.reason),
            found={**check.found, "accepted": why},
        )  # fmt: skip

    def _accepted_before(self, name: str, reason: str) -> str | None:
        """Why the very same was accepted earlier in this visit, where the step is looked at anew."""
        step = self.standing.steps.get(name, {})
        why = step.get("found", {}).get("accepted")
        return str(why) if why and step["reason"] == _accepted(why, reason) else None

    def ask(self, key: "Key", meaning: "Callable[[str], T]") -> "T":
        """What the answer to a question means; at a terminal one that means nothing is asked again.

        Raises `LackingAnswer` where none was given and nobody is at a terminal, and what `meaning` raises.
        """
        from readout.visit.answers import QUESTIONS, LackingAnswer, lacking

        given = self.answers.one(key)
        if given is not None:
            return meaning(given)
        if not sys.stdin.isatty():
            raise LackingAnswer("; ".join(lacking(self.answers, [key])) + " The visit goes on from here.")
        example = "" if "(yes" in QUESTIONS[key].text else f" such as {QUESTIONS[key].example}:"
        while True:
            try:
                return meaning(typed(f"{QUESTIONS[key].text}{example}"))
            except WrongUse as error:
                _tell("", str(error))

    def agreed(self, key: "Key") -> bool:
        """Whether the answer to a yes-or-no question is yes."""
        from readout.visit.answers import is_yes

        return self.ask(key, is_yes)


def _accepted(why: str, reason: str) -> str:
    return f"accepted ({why}): {reason}"


def typed(question: str) -> str:
    """What the person types; KeyboardInterrupt where the terminal is gone."""
    sys.stderr.write(f"   ?     {question} ")
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        raise KeyboardInterrupt
    return line.strip()


def _tell(verdict: str, text: str) -> None:
    """A verdict and its reason, wrapped, the text in a column of its own."""
    head = f"   {verdict:<6}" if len(verdict) <= 6 else f"   {verdict}: "
    for line in textwrap.wrap(
        text, WIDTH, initial_indent=head, subsequent_indent=" " * 9, break_long_words=False
    ) or [head.rstrip()]:
        say(line)


def _caught(check: "Callable[[], Check]") -> "Check":
    """The check, or what kept it from being made, as no go; a lacking answer passes."""
    from readout.visit.answers import LackingAnswer
    from readout.visit.verdict import no_go
    from storage.errors import StorageError

    advice = "see to it, and run the same command again: it goes on from here"
    try:
        return check()
    except LackingAnswer:
        raise
    except (FellShort, WrongUse) as error:
        return no_go(str(error), advice)
    except (PortError, NothingTrusted, PipeledgerError) as error:
        return no_go(str(error), advice, status=error.status)
    except StorageError as error:
        return no_go(str(error), advice, status=ArchiveError.status)


@dataclass(frozen=True)
class Sub:
    """How a command of the program ended that a step carried out."""

    status: int
    document: Any
    said: str

    @property
    def last(self) -> str:
        """Its last sentence."""
        lines = [line for line in self.said.strip().splitlines() if line]
        return lines[-1] if lines else ""


def carry_out(command: "Callable[..., int]", *words: Any, show: bool = False, **options: Any) -> Sub:
    """One of the program's own commands with --json; with `show`, what it says is on the screen too.

    What it contracts (status, document) is all that is used of it. Signals are as they were after it.
    """
    import json

    out, err = StringIO(), StringIO()
    with _signals_kept(), redirect_stdout(out), redirect_stderr(sys.stderr if show else err):
        status = command(*words, as_json=True, **options)
    text = out.getvalue().strip()
    return Sub(status, json.loads(text) if text else {}, err.getvalue())


@contextmanager
def _signals_kept() -> Iterator[None]:
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def read_answers(file: Path | None) -> str | None:
    """The text of an answers file."""
    from readout.cli.files import read_bytes

    if file is None:
        return None
    try:
        return read_bytes(file).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise WrongUse(f"{file}: is not text in UTF-8; write it again with a text editor") from error
