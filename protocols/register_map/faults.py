"""What is wrong in a file a person wrote, by line and column; and the list in which faults are gathered.

A fault's text is a sentence without a full stop: what is wrong, and what is allowed.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, Protocol

Severity = Literal["fault", "warning"]

#: More faults than this are counted, not told: nobody reads on, and a hostile file must not cost time.
MOST_TOLD = 200

#: Text of the file is quoted in a fault up to this many characters.
QUOTED = 40


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of one file; line and column count from 1."""

    file: str
    line: int
    column: int
    severity: Severity
    fault: str
    #: What kind of finding it is, in words: `protocols.register_map.findings` tells about each of a map.
    name: str = ""

    def __str__(self) -> str:
        """As told on a terminal: `file:line:column: what is wrong, what is allowed`."""
        told = "" if self.severity == "fault" else "warning: "
        return f"{self.file}:{self.line}:{self.column}: {told}{self.fault}"


class Place(Protocol):
    """Anything that knows where it stands in the text, from 1."""

    @property
    def line(self) -> int: ...

    @property
    def column(self) -> int: ...


@dataclass(frozen=True, slots=True)
class Spot:
    """A place in the text that is no entry of it, from 1."""

    line: int
    column: int


class Report:
    """The faults of one file, gathered in any order and told by position."""

    def __init__(self, file: str) -> None:
        self.file = file
        #: The forms of the mappings that the place being read lies in, outermost first: kept by them.
        self.within: list[Any] = []
        self._found: list[Fault] = []
        self._untold = 0
        self._faulty = False

    @property
    def faulty(self) -> bool:
        """True once anything worse than a warning was found."""
        return self._faulty

    @property
    def full(self) -> bool:
        """True once further faults are only counted."""
        return len(self._found) >= MOST_TOLD

    def fault(self, place: Place, text: str, name: str = "") -> None:
        """Note what makes the file unusable; `name` is the kind of finding."""
        self._faulty = True
        self._note(place, "fault", text, name)

    def warn(self, place: Place, text: str, name: str = "") -> None:
        """Note what is allowed, but probably not meant."""
        self._note(place, "warning", text, name)

    def _note(self, place: Place, severity: Severity, text: str, name: str) -> None:
        if self.full:
            self._untold += 1
            return
        self._found.append(Fault(self.file, place.line, place.column, severity, text, name))

    def nearest(self, word: str, known: Iterable[str]) -> str:
        """`; did you mean X` for the known word nearest to `word`, else nothing."""
        if self.full or len(word) > QUOTED:
            return ""
        import difflib  # read only once something is wrong: the polling path starts without it

        found = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=0.6)
        return f"; did you mean {found[0]}" if found else ""

    def faults(self) -> tuple[Fault, ...]:
        """Everything found so far, by position in the file; each once."""
        told = sorted(set(self._found), key=lambda one: (one.line, one.column, one.severity, one.fault))
        if self._untold:
            last = told[-1]
            text = f"{self._untold} more faults are not told; mend the first {MOST_TOLD} and check again"
            severity: Severity = "fault" if self._faulty else "warning"
            told.append(Fault(self.file, last.line, last.column, severity, text, "more findings"))
        return tuple(told)


def quoted(text: str) -> str:
    """The file's own words in a fault: in quotes, on one line, cut where they are long.

    What an escape in the file made of it is shown as an escape: a terminal must not obey a stranger's file.
    """
    line = " ".join(text[: 2 * QUOTED].split())
    line = "".join(one if one.isprintable() else f"\\u{ord(one):04x}" for one in line)
    return f"'{line}'" if len(line) <= QUOTED else f"'{line[:QUOTED]}…'"
