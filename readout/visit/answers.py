"""The answers a visit needs: from options, from a file, or typed at the pipe.

A file has one answer a line, `key: value`; lines that begin with # are left out. `photo` may stand several
times. A check that leaves something to be decided takes `accept.CHECK: why`. One file may serve both visits:
what only the other one has is passed over, and `start.display` or `end.accept.settings` is for one of them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from readout.errors import WrongUse


class Visit(StrEnum):
    """Which of the two visits."""

    START = "start"
    END = "end"


class Key(StrEnum):
    """What can be answered."""

    CAUTIONS = "cautions"
    RETURN = "return"
    INTERVAL = "interval"
    SET_CLOCK = "set_clock"
    STOP = "stop"
    ERASE = "erase"
    DISPLAY = "display"
    LIVE = "live"
    START = "start"
    NOTE = "note"
    PHOTO = "photo"
    REMOVAL = "removal"


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked, an example of an answer, and in which visits."""

    text: str
    example: str
    visits: tuple[Visit, ...]


_BOTH = (Visit.START, Visit.END)
QUESTIONS: Mapping[Key, Question] = {
    Key.CAUTIONS: Question("Cautions read, and permit at hand? (yes)", "yes", _BOTH),
    Key.RETURN: Question("Planned return (site time)?", "2026-05-13T14:00", (Visit.START,)),
    Key.INTERVAL: Question("A record every?", "5s", (Visit.START,)),
    Key.SET_CLOCK: Question("Set the meter's clock to this computer's? (yes/no)", "yes", (Visit.START,)),
    Key.STOP: Question("Stop the recording that runs? (yes/no)", "yes", _BOTH),
    Key.ERASE: Question("Empty the memory? Its serial number, or no", "EX-0050", (Visit.START,)),
    Key.DISPLAY: Question("What does the display show now?", "flow 253.7 m3/h", _BOTH),
    Key.LIVE: Question("Watch the values how long?", "10min", (Visit.START,)),
    Key.START: Question("Start recording in the meter? (yes/no)", "yes", (Visit.START,)),
    Key.NOTE: Question("A note?", "probe at the centre, stem mark 213 mm", _BOTH),
    Key.PHOTO: Question("A photograph?", "mounted.jpg", _BOTH),
    Key.REMOVAL: Question("Removal cautions read, in their order? (yes)", "yes", (Visit.END,)),
}
ACCEPT = "accept."
_SEVERAL = (Key.PHOTO, Key.DISPLAY)


class LackingAnswer(WrongUse):
    """A visit without a person at a terminal needs an answer that was not given."""


@dataclass(frozen=True)
class Answers:
    """Answers by key, and the reasons for what was accepted by the check's name."""

    given: Mapping[Key, tuple[str, ...]]
    accepted: Mapping[str, str]

    def one(self, key: Key) -> str | None:
        """The answer; None where none was given."""
        found = self.given.get(key, ())
        return "; ".join(found) if found else None


def answers_of(
    visit: Visit, options: Iterable[str], file: str | None, named: str, checks: Mapping[Visit, Iterable[str]]
) -> Answers:
    """The answers of a visit: `options` as KEY=VALUE, and a `file`'s text, which the options win over.

    `checks` are the steps of each visit by their names.

    Raises:
        WrongUse: a line is no answer, its key is none of this visit (in a file: of neither), or a key stands
            twice.
    """
    known = {one: set(steps) for one, steps in checks.items()}
    by_visit = {one: _Told(one, known[one]) for one in Visit}
    for number, line in enumerate((file or "").splitlines(), 1):
        if line.strip() and not line.lstrip().startswith("#"):
            name, sep, value = line.partition(":")
            meant, name = _meant(name.strip(), visit, by_visit)
            by_visit[meant].take((name, sep, value), f"{named}:{number}")
    from_file = by_visit[visit].found()
    told = _Told(visit, known[visit])
    for option in options:
        told.take(option.partition("="), f"--answer {option}")
    by_option = told.found()
    return Answers({**from_file.given, **by_option.given}, {**from_file.accepted, **by_option.accepted})


def _meant(name: str, visit: Visit, by_visit: "Mapping[Visit, _Told]") -> tuple[Visit, str]:
    """Which visit a file's key is for, and the key: as its prefix says, else this one, if it has the key."""
    prefix, point, rest = name.partition(".")
    if point and prefix in list(Visit):
        return Visit(prefix), rest
    other = next(one for one in Visit if one is not visit)
    if not by_visit[visit].knows(name) and by_visit[other].knows(name):
        return other, name
    return visit, name


class _Told:
    """Answers of one source, as they are read."""

    def __init__(self, visit: Visit, checks: set[str]) -> None:
        self._visit, self._checks = visit, checks
        self._given: dict[Key, tuple[str, ...]] = {}
        self._accepted: dict[str, str] = {}

    def knows(self, name: str) -> bool:
        """Whether this visit has such an answer."""
        if name.startswith(ACCEPT):
            return name.removeprefix(ACCEPT) in self._checks
        return any(self._visit in one.visits for key, one in QUESTIONS.items() if key.value == name)

    def take(self, parts: tuple[str, str, str], where: str) -> None:
        name, sep, value = parts[0].strip(), parts[1], parts[2].strip()
        if not sep or not value:
            raise WrongUse(f"{where}: write the answer behind its key, such as {self._example()}")
        if name.startswith(ACCEPT):
            check = name.removeprefix(ACCEPT)
            if check not in self._checks:
                raise WrongUse(f"{where}: there is no check '{check}'; there are {', '.join(self._checks)}")
            self._accepted[check] = value
            return
        keys = {key.value: key for key, one in QUESTIONS.items() if self._visit in one.visits}
        if name not in keys:
            raise WrongUse(f"{where}: '{name}' is no answer of visit {self._visit}; it has {', '.join(keys)}")
        key = keys[name]
        before = self._given.get(key, ())
        if before and key not in _SEVERAL:
            raise WrongUse(f"{where}: {name} is answered twice; leave one of them")
        self._given[key] = (*before, value)

    def _example(self) -> str:
        return f"{Key.DISPLAY} = {QUESTIONS[Key.DISPLAY].example}"

    def found(self) -> Answers:
        return Answers(dict(self._given), dict(self._accepted))


def lacking(answers: Answers, keys: Iterable[Key]) -> list[str]:
    """A sentence for each of these keys that has no answer."""
    return [
        f"the answer {key} lacks: {QUESTIONS[key].text} Give --answer '{key}={QUESTIONS[key].example}'."
        for key in keys
        if answers.one(key) is None
    ]


def is_yes(text: str) -> bool:
    """Whether the answer is yes; WrongUse where it is neither yes nor no."""
    word = text.strip().lower()
    if word in ("y", "yes"):
        return True
    if word in ("n", "no"):
        return False
    raise WrongUse(f"'{text}' is neither yes nor no; write one of them")
