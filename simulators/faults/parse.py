"""Text to plan. What is wrong is told with its place and with what may stand there."""

from dataclasses import replace
from pathlib import Path

from simulators.errors import WrongFaults
from simulators.faults.alphabet import ALPHABET, Limit
from simulators.faults.plan import (
    DEFAULT_FAULTS,
    DEFAULT_SHARE,
    Conditions,
    Fault,
    LetterPlan,
    Plan,
    RandomPlan,
    Repeat,
    Step,
)

RANDOM = "random:"
#: Groups within groups; deeper ones are a slip of the keyboard.
DEEPEST = 20
#: Repetitions that can be written; more is `*`, for ever.
MOST_TIMES = 1_000_000
#: Characters of a plan.
LONGEST = 1 << 20

_CONDITIONS = {"seed": (0, 2**63 - 1), "unit": (1, 247), "rest": (0, 60_000), "change": (0, 60_000)}
_RANDOM_KEYS = (*_CONDITIONS, "share", "faults", "exchanges")


def parse_plan(text: str, file: str | None = None) -> Plan:
    """The plan in `text`. Blanks mean nothing, `#` starts a comment up to the end of its line.

    WrongFaults with the place of the first fault: `file:line:column`, or the character counted from 1.
    """
    if len(text) > LONGEST:
        raise WrongFaults(f"{file or 'The fault plan'} has more than {LONGEST} characters.")
    reader = _Reader(text, file)
    if reader.takes(RANDOM):
        return _random(reader)
    conditions = _conditions(reader)
    return LetterPlan(conditions, reader.nodes(0))


def read_plan(path: Path) -> Plan:
    """The plan in a file of UTF-8 text; WrongFaults where it cannot be read or is wrong."""
    return parse_plan(file_text(path), str(path))


def file_text(path: Path) -> str:
    """The text of a file; WrongFaults, a sentence, where it cannot be had."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise WrongFaults(f"{path}: This file cannot be read ({error.strerror}).") from error
    except UnicodeDecodeError as error:
        raise WrongFaults(f"{path}: This is not UTF-8 text; save it as UTF-8.") from error


def shown(text: str) -> str:
    """Text for a message: what cannot be printed is escaped, so that no file steers a terminal."""
    return text if text.isprintable() else ascii(text)[1:-1]


class _Reader:
    """Walks through a plan; `at` is the place of the character that comes next."""

    def __init__(self, text: str, file: str | None) -> None:
        self.text = text
        self.file = file
        self.at = 0

    def fault(self, sentence: str, at: int | None = None) -> WrongFaults:
        """An error that begins with a place, by default the next character's."""
        at = self.at if at is None else at
        if self.file is None:
            return WrongFaults(f"Fault plan, character {at + 1}: {sentence}")
        line = self.text.count("\n", 0, at) + 1
        column = at - (self.text.rfind("\n", 0, at) + 1) + 1
        return WrongFaults(f"{self.file}:{line}:{column}: {sentence}")

    def peek(self) -> str:
        """The next character that means something; empty at the end."""
        while self.at < len(self.text):
            found = self.text[self.at]
            if found == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            elif found.isspace():
                self.at += 1
            else:
                return found
        return ""

    def place(self) -> int:
        """Where the next character that means something stands."""
        self.peek()
        return self.at

    def takes(self, wanted: str) -> bool:
        """Step over `wanted` if it stands here."""
        self.peek()
        found = self.text.startswith(wanted, self.at)
        self.at += len(wanted) if found else 0
        return found

    def until(self, stops: str) -> str:
        """What stands here before the next of `stops`, or the end."""
        self.peek()
        start = self.at
        while self.at < len(self.text) and self.text[self.at] not in stops and self.text[self.at] != "#":
            self.at += 1
        return self.text[start : self.at].strip()

    def digits(self) -> int | None:
        """A decimal number right here, no blank before it; None where there is none."""
        start = self.at
        while self.at < len(self.text) and self.text[self.at] in "0123456789":
            self.at += 1
        if self.at - start > 12:
            raise self.fault("This number has too many digits.", start)
        return int(self.text[start : self.at]) if self.at > start else None

    def nodes(self, depth: int) -> tuple[Step | Repeat, ...]:
        """Steps and groups up to the end, or to the bracket that closes this group."""
        found: list[Step | Repeat] = []
        while (following := self.peek()) and following != ")":
            start = self.at
            node = self._node(depth)
            if self.takes("*"):
                node = self._times(node, start)
            elif isinstance(node, Repeat) and node.times == 1:
                found.extend(node.nodes)
                continue
            found.append(node)
        if following == ")" and depth == 0:
            raise self.fault("')' closes nothing; a group is written (…)*3 or (…)*.")
        return tuple(found)

    def _node(self, depth: int) -> Step | Repeat:
        start = self.at
        if self.takes("("):
            if depth == DEEPEST:
                raise self.fault(f"Groups lie at most {DEEPEST} deep.", start)
            inner = self.nodes(depth + 1)
            if not self.takes(")"):
                raise self.fault("The group that '(' opens here is never closed by ')'.", start)
            if not inner:
                raise self.fault("An empty group () repeats nothing.", start)
            return Repeat(inner, 1)
        if self.takes("["):
            faults: list[Fault] = []
            while not self.takes("]"):
                if not self.peek():
                    raise self.fault("'[' is never closed by ']'.", start)
                faults.append(self.one())
            return tuple(fault for fault in faults if fault.letter != ".")
        fault = self.one()
        return () if fault.letter == "." else (fault,)

    def _times(self, node: Step | Repeat, start: int) -> Repeat:
        place = self.at
        times = self.digits()
        if times is not None and not 1 <= times <= MOST_TIMES:
            raise self.fault(f"'*' takes 1 to {MOST_TIMES} times, or no number: for ever.", place)
        if times is None and self.peek() not in ("", ")"):
            raise self.fault("'*' without a number repeats for ever, so nothing may stand behind it.")
        if times is None and self.peek() == ")":
            raise self.fault("'*' without a number repeats for ever, which a group cannot do inside.", start)
        inner = node.nodes if isinstance(node, Repeat) else (node,)
        return Repeat(inner, times)

    def one(self) -> Fault:
        """One letter and its numbers."""
        found = self.peek()
        kind = ALPHABET.get(found)
        if kind is None:
            raise self.fault(f"'{shown(found)}' is no fault; there are {' '.join(ALPHABET)} and ( ) [ ] *.")
        self.at += 1
        if kind.hexadecimal:
            return Fault(found, self._code())
        numbers: list[int] = []
        for limit in kind.numbers:
            if numbers and not self._another_number():
                break
            self.at += 1 if numbers else 0  # the comma
            start = self.at
            number = self.digits()
            if number is None:
                break
            self._check(number, found, limit, start)
            numbers.append(number)
        if self.text[self.at : self.at + 1] in tuple("0123456789") or self._another_number():
            wanted = " and ".join(f"a number of {limit.meaning}" for limit in kind.numbers)
            raise self.fault(
                f"'{shown(found)}' ({kind.name}) takes {wanted or 'no number'}, and nothing more."
            )
        return Fault(found, tuple(numbers))

    def _another_number(self) -> bool:
        return self.text[self.at : self.at + 1] == "," and self.text[self.at + 1 : self.at + 2].isdigit()

    def _check(self, number: int, letter: str, limit: Limit, at: int) -> None:
        if not limit.low <= number <= limit.high:
            raise self.fault(
                f"'{letter}' takes {limit.low} to {limit.high} {limit.meaning}, not {number}.", at
            )

    def _code(self) -> tuple[int, ...]:
        digits = self.text[self.at : self.at + 2]
        known = all(digit in "0123456789ABCDEFabcdef" for digit in digits)
        if len(digits) == 2 and known and digits != "00":
            self.at += 2
            return (int(digits, 16),)
        raise self.fault("'!' is followed by two hexadecimal digits, 01 to FF, as in !06 or !0B.")


def _conditions(reader: _Reader) -> Conditions:
    """`key=number,key=number:` ahead of the letters, where there is an equals sign."""
    found = Conditions()
    if "=" not in reader.text.split(":")[0]:
        return found
    while True:
        found = _condition(reader, found, tuple(_CONDITIONS))
        if not reader.takes(","):
            break
    if not reader.takes(":"):
        raise reader.fault("Conditions end with ':', as in rest=100: ....x")
    return found


def _condition(reader: _Reader, found: Conditions, allowed: tuple[str, ...]) -> Conditions:
    start = reader.place()
    key = reader.until("=,:")
    if key not in _CONDITIONS or not reader.takes("="):
        raise reader.fault(f"'{shown(key)}' is none of {', '.join(allowed)}, each written key=number.", start)
    return replace(found, **{key: _number(reader, key, *_CONDITIONS[key])})


def _number(reader: _Reader, key: str, low: int, high: int) -> int:
    start = reader.place()
    text = reader.until(",:")
    if not text.isascii() or not text.isdigit() or len(text) > 19 or not low <= int(text) <= high:
        raise reader.fault(f"{key} is a whole number from {low} to {high}, not '{shown(text)}'.", start)
    return int(text)


def _random(reader: _Reader) -> RandomPlan:
    """`random:SEED` and, behind a colon, `key=value` parted by commas."""
    plan = RandomPlan(
        Conditions(seed=_number(reader, "The seed", *_CONDITIONS["seed"])), DEFAULT_SHARE, DEFAULT_FAULTS
    )
    if reader.takes(":"):
        plan = _random_option(reader, plan)
        while reader.takes(","):
            plan = _random_option(reader, plan)
    if reader.peek():
        raise reader.fault(f"Nothing is expected here; a random plan ends with {', '.join(_RANDOM_KEYS)}.")
    return plan


def _random_option(reader: _Reader, plan: RandomPlan) -> RandomPlan:
    start = reader.place()
    key = reader.until("=,:")
    if key not in ("share", "faults", "exchanges"):
        reader.at = start
        return replace(plan, conditions=_condition(reader, plan.conditions, _RANDOM_KEYS))
    if not reader.takes("="):
        raise reader.fault(f"{key} is written {key}=…")
    start = reader.place()
    if key == "exchanges":
        return replace(plan, exchanges=_number(reader, key, 0, 10**9))
    if key == "share":
        return replace(plan, share=_share(reader, reader.until(",:"), start))
    faults = []
    while reader.peek() not in ("", ",", ":"):
        faults.append(reader.one())
    if not faults:
        raise reader.fault("faults wants letters, as in faults=xxcs.")
    return replace(plan, faults=tuple(faults))


def _share(reader: _Reader, text: str, at: int) -> float:
    try:
        share = float(text)
    except ValueError:
        share = -1.0
    if not 0 <= share <= 1:
        raise reader.fault(f"share is a number from 0 to 1, not '{shown(text)}'.", at)
    return share
