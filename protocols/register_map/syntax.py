"""Why a text is no YAML, in words for people who never heard of a parser, and the place where it began.

The library tells where it could not go on. What is wrong often stands above: a quote or a bracket that
nothing closes, a colon without its space, a line that already had its value.
"""

import re
from dataclasses import dataclass

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.tokens import ScalarToken

from protocols.register_map.faults import Spot, quoted

_NO_SPACE = re.compile(r"(\s*(?:- +)?)([A-Za-z_][\w.-]*):([^\s:/].*)\Z")
_BRACKETS = {"{": "}", "[": "]"}
_NOT_CHECKED = "; what follows was not checked"

#: Words of the library, and ours; HERE is what stands at the place.
_PLAIN = {
    "cannot start any token": "nothing can begin with HERE here; put the value in quotes",
    "sequence entries are not allowed": "a list entry (-) needs a line of its own; put a text that begins "
    "with - in quotes",
    "expected the node content": "a value is expected here, not HERE",
    "expected '<document start>'": "all that stands above is at its end here; is a line above indented too "
    "much, or a bracket closed too early?",
}


@dataclass(frozen=True, slots=True)
class Wrong:
    """What is wrong with a text, where, and what kind of finding it is."""

    spot: Spot
    text: str
    name: str = "not YAML"


def colon_without_space(row: str) -> str:
    """`name: hall` for a row such as `name:hall`, else nothing."""
    found = _NO_SPACE.match(row.rstrip())
    return "" if found is None or ": " in row else f"{found.group(2)}: {found.group(3)}"


def why_not(fault: MarkedYAMLError, text: str) -> Wrong:
    """What the library could not read, in plain words."""
    return _Text(text, fault).wrong()


class _Text:
    """The lines around a fault."""

    def __init__(self, text: str, fault: MarkedYAMLError) -> None:
        self.text, self.fault = text, fault
        self.lines = text.splitlines() or [""]
        mark = fault.problem_mark or fault.context_mark
        self.spot = Spot(1, 1) if mark is None else Spot(mark.line + 1, mark.column + 1)
        began = fault.context_mark
        self.began = self.spot if began is None else Spot(began.line + 1, began.column + 1)
        self.problem = (fault.problem or "not YAML").strip()
        self.context = fault.context or ""

    def row(self, line: int) -> str:
        """A line of the text, from 1; empty outside it."""
        return self.lines[line - 1] if 0 < line <= len(self.lines) else ""

    def wrong(self) -> Wrong:
        row = self.row(self.spot.line)
        if "\t" in row[: indent_of(row)] or row[self.spot.column - 1 : self.spot.column] == "\t":
            told = "a tab stands in the indentation; YAML indents with spaces only"
            return Wrong(Spot(self.spot.line, row.index("\t") + 1), told, "tab in the indentation")
        found = self._open_quote() or self._bracket() or self._colon() or self._key() or self._block()
        if found is not None:
            return Wrong(found.spot, found.text + _NOT_CHECKED)
        here = row[self.spot.column - 1 : self.spot.column]
        for words, told in _PLAIN.items():
            if words in self.problem:
                return Wrong(self.spot, told.replace("HERE", here or "the end of the line") + _NOT_CHECKED)
        context = f" {self.context}" if self.context else ""
        problem = self.problem.replace("<stream end>", "end of the file")
        told = f"not YAML{context}: {problem}; check indentation, colons, quotes and brackets"
        return Wrong(self.spot, told + _NOT_CHECKED)

    def _open_quote(self) -> Wrong | None:
        if "quoted scalar" not in self.context or "end of stream" not in self.problem:
            return None
        return Wrong(self.began, "the quote that begins here is never closed; close it in this line")

    def _bracket(self) -> Wrong | None:
        if "flow mapping" not in self.context and "flow sequence" not in self.context:
            return None
        opening = self.row(self.began.line)[self.began.column - 1 : self.began.column]
        closing = _BRACKETS.get(opening, "")
        if not closing or not self.problem.startswith("expected ','"):
            return None
        found = self.row(self.spot.line)[self.spot.column - 1 : self.spot.column]
        if self.spot.line > self.began.line or not found:
            before = f" before line {self.spot.line}" if found else ""
            told = f"the {opening} that begins here is not closed by a {closing}{before}"
            return Wrong(self.began, f"{told}, or a comma lacks between two entries")
        if found in _BRACKETS.values():
            told = f"{found} closes the {opening} of column {self.began.column}; write {closing}"
            return Wrong(self.spot, told)
        told = f"a comma or the {closing} lacks before this; a text that holds : or a quote needs quotes"
        return Wrong(self.spot, told)

    def _colon(self) -> Wrong | None:
        """A colon where there can be no key: mostly the line above already has its value."""
        if "mapping values are not allowed" not in self.problem:
            return None
        row = self.row(self.spot.line)
        indent = indent_of(row)
        if ": " in row[indent : self.spot.column - 1]:
            return Wrong(self.spot, "a second colon in this line; put a text that holds a colon in quotes")
        above = self._above(self.spot.line)
        missing = self._without_colon(above)
        if missing is not None:
            return missing
        return self._indented_more(above) if above and indent > indent_of(self.row(above)) else None

    def _indented_more(self, above: int) -> Wrong:
        told = f"this line is indented more than line {above}, which has its value already"
        spot = Spot(self.spot.line, indent_of(self.row(self.spot.line)) + 1)
        return Wrong(spot, f"{told}; {_by(indent_of(self.row(above)))}")

    def _above(self, line: int) -> int:
        """The nearest line above that says something; 0 where none does."""
        told = (n for n in range(line - 1, 0, -1) if self.row(n).strip() and self.row(n).lstrip()[0] != "#")
        return next(told, 0)

    def _without_colon(self, line: int) -> Wrong | None:
        row = self.row(line).partition(" #")[0]
        mended = colon_without_space(row)
        if mended:
            spot = Spot(line, row.index(":") + 1)
            return Wrong(spot, f"no space behind the colon; write {quoted(mended)}")
        if line and ":" not in row:
            told = f"{quoted(row.strip())} has no colon; write a key and its value as `key: value`"
            return Wrong(Spot(line, indent_of(row) + 1), told)
        return None

    def _key(self) -> Wrong | None:
        if "find expected ':'" not in self.problem:
            return None
        told = "this key has no colon, or a bracket above it is not closed"
        return self._without_colon(self.began.line) or Wrong(self.began, told)

    def _block(self) -> Wrong | None:
        if not self.problem.startswith("expected <block end>"):
            return None
        row = self.row(self.spot.line)
        before = row[: self.spot.column - 1]
        if not before.strip():
            return self._outdented(row)
        last = before.rstrip()[-1]
        if row[self.spot.column - 1 :][:1] in _BRACKETS.values():
            return Wrong(self.spot, "this closes a bracket that was not opened; take it out")
        if last in "'\"":
            return self._behind_quote(last)
        if last in _BRACKETS.values():
            return Wrong(self.spot, f"nothing can follow the {last} in this line; is it closed too early?")
        return None

    def _outdented(self, row: str) -> Wrong | None:
        spot, indent = Spot(self.spot.line, indent_of(row) + 1), indent_of(row)
        levels, above = self._levels(self.spot.line), self._above(self.spot.line)
        if indent > indent_of(self.row(above)):
            return self._indented_more(above)
        if indent not in levels:
            told = "this line is indented less than the one above it, and like none that it could belong to"
            return Wrong(spot, f"{told}; {_by(*sorted(levels))}")
        if row.lstrip().startswith("-"):
            told = "a list entry (-) stands where a key is expected; indent it more than the key of its list"
            return Wrong(spot, told)
        return self._without_colon(above) or Wrong(spot, "a key stands where a list entry (-) is expected")

    def _levels(self, line: int) -> set[int]:
        """The indentations that a line here may have to belong to what stands above."""
        levels: list[int] = []
        for row in self.lines[: line - 1]:
            if row.strip() and row.lstrip()[0] != "#":
                indent = indent_of(row)
                levels = [*(level for level in levels if level < indent), indent]
        return set(levels)

    def _behind_quote(self, quote: str) -> Wrong | None:
        """Text behind a closed quote: the quote was opened in a line above, or one inside it closed it."""
        begun = self._begin_of_quoted()
        if begun is not None and begun.line < self.spot.line:
            told = f"the quote that begins here ends only in line {self.spot.line}; close it in this line"
            return Wrong(begun, told)
        other = '"' if quote == "'" else "'"
        told = f"text behind a closing {quote}; where {quote} belongs to the text, put the whole in {other}"
        return Wrong(self.spot, told)

    def _begin_of_quoted(self) -> Spot | None:
        begun = None
        try:
            for token in YAML(typ="safe", pure=True).scan(self.text):
                if (token.start_mark.line + 1, token.start_mark.column + 1) == (
                    self.spot.line,
                    self.spot.column,
                ):
                    break
                if isinstance(token, ScalarToken):
                    begun = Spot(token.start_mark.line + 1, token.start_mark.column + 1)
        except YAMLError:
            return None
        return begun


def indent_of(row: str) -> int:
    """The white space at the beginning of a row."""
    return len(row) - len(row.lstrip())


def _by(*levels: int) -> str:
    """`indent it by 0, 2 or 4 spaces`."""
    *others, last = [str(level) for level in levels]
    either = f"{', '.join(others)} or " if others else ""
    return f"indent it by {either}{last} spaces"
