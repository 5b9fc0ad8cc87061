"""YAML text to nodes that know their line and column; what this project does not take is refused on the way.

Maps, point files and job files use the plain part of YAML 1.2: mappings, lists and scalars. Repeated keys,
directives, tags, anchors, aliases, merge keys and a second document are refused where they stand. The text
is taken event by event, so nothing is built from what a hostile file asks for: a limit that is passed ends
the reading there. A scalar stays text; what it means is up to the form that reads it, so `no`, `0100` and
`12:30` are never turned into something else.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from protocols.register_map.faults import Report, Spot, quoted

#: 1 MiB: a hundred times the longest map worth writing.
MOST_BYTES = 1 << 20
MOST_DEPTH = 20
#: The scanner takes about 20 µs an entry and 0.8 µs an empty line: these two keep a file below one second.
MOST_ENTRIES = 15_000
MOST_LINES = 20_000
#: No register, scale or time needs a number of more characters.
LONGEST_NUMBER = 40

_NUMBER_LIKE = re.compile(r"[-+]?[0-9.][0-9a-fA-FxX_.:]*\Z")
#: What stands behind a decimal comma: digits, and perhaps a unit.
_COMMA_TAIL = re.compile(r"[0-9]+(?: ?[^0-9\s].*)?\Z")
_SIGNED_DIGITS = re.compile(r"[-+]?[0-9]+\Z")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True, slots=True)
class Scalar:
    """Text as written, quotes resolved. `plain`: it stood without quotes. `broken`: its fault is told."""

    text: str
    line: int
    column: int
    plain: bool = True
    end_column: int = 0
    broken: bool = False


@dataclass(frozen=True, slots=True)
class Pair:
    """One entry of a mapping."""

    key: Scalar
    value: "Node"


@dataclass(frozen=True, slots=True)
class Mapping:
    """Entries in the order of the text, each key once."""

    pairs: tuple[Pair, ...]
    line: int
    column: int
    flow: bool = False
    broken: bool = False


@dataclass(frozen=True, slots=True)
class Sequence:
    """A list in the order of the text."""

    items: tuple["Node", ...]
    line: int
    column: int
    flow: bool = False
    broken: bool = False


Node = Scalar | Mapping | Sequence


class _TooMuch(Exception):  # noqa: N818  (ends the reading, never leaves this module)
    """A limit is passed; the fault is noted."""


def compose(data: bytes, report: Report) -> Mapping | None:
    """The document's top mapping, or None where the text cannot be read; every fault goes to `report`."""
    text = _decoded(data, report)
    if text is None:
        return None
    composer = _Composer(text, report)
    try:
        root = composer.document()
    except _TooMuch:
        return None
    except MarkedYAMLError as fault:
        from protocols.register_map.syntax import why_not  # read only once something is wrong

        found = why_not(fault, text)
        report.fault(found.spot, found.text, found.name)
        return None
    except (YAMLError, ValueError, OverflowError, LookupError, AttributeError, TypeError) as fault:
        # an escape such as "\UFFFFFFFF" breaks the scanner with whatever Python raises for it
        report.fault(composer.reached, f"this is not YAML from here on: {quoted(str(fault))}", "not YAML")
        return None
    if isinstance(root, Mapping):
        return root
    if root is None or (isinstance(root, Scalar) and not root.text):
        report.fault(Spot(1, 1), "the file is empty; it must hold keys and values", "empty file")
    elif not root.broken:
        report.fault(
            root,
            "the file must be a mapping of keys to values: write `key: value` lines",
            "no keys and values",
        )
    return None


def _decoded(data: bytes, report: Report) -> str | None:
    if len(data) > MOST_BYTES:
        report.fault(
            Spot(1, 1), f"the file has {len(data)} bytes; at most {MOST_BYTES} (1 MiB) are read", "too long"
        )
        return None
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        report.fault(Spot(1, 1), "the file is UTF-16; save it as UTF-8", "not UTF-8")
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        before = data[: fault.start].removeprefix(b"\xef\xbb\xbf").decode("utf-8", errors="replace")
        report.fault(
            _spot(before, len(before)),
            f"byte 0x{data[fault.start]:02X} is not UTF-8; save the file as UTF-8",
            "not UTF-8",
        )
        return None
    control = _CONTROL.search(text)
    if control is not None:
        code = ord(control.group())
        report.fault(
            _spot(text, control.start()),
            f"control character U+{code:04X}: take it out, it is no text",
            "control character",
        )
        return None
    if max(text.count("\n"), text.count("\r")) > MOST_LINES:
        report.fault(
            Spot(MOST_LINES, 1), f"the file has over {MOST_LINES} lines; split it or shorten it", "too long"
        )
        return None
    return text


def _spot(text: str, index: int) -> Spot:
    start = text.rfind("\n", 0, index) + 1
    return Spot(text.count("\n", 0, index) + 1, index - start + 1)


@dataclass
class _Composer:
    """One document out of a stream of events."""

    text: str
    report: Report
    events: Iterator[Any] = field(init=False)
    reached: Spot = field(init=False, default=Spot(1, 1))
    taken: int = 0

    def __post_init__(self) -> None:
        self.events = iter(YAML(typ="safe", pure=True).parse(self.text))

    def document(self) -> Node | None:
        """The first document; a second one is refused unread."""
        root: Node | None = None
        begun = False
        for event in self.events:
            if isinstance(event, DocumentStartEvent):
                spot = Spot(event.start_mark.line + 1, event.start_mark.column + 1)
                if begun:
                    self.report.fault(
                        spot, "a second document begins; one file holds one document", "second document"
                    )
                    return root
                begun = True
                self._refuse_directives(spot.line)
            elif isinstance(event, AliasEvent | ScalarEvent | MappingStartEvent | SequenceStartEvent):
                root = self._node(event, 1)
        return root

    def _refuse_directives(self, document_line: int) -> None:
        for number, line in enumerate(self.text.splitlines()[: document_line - 1], start=1):
            if line.startswith("%"):
                self.report.fault(
                    Spot(number, 1), "directives (%…) are not taken; take the line out", "directive"
                )

    def _next(self) -> Any:
        self.taken += 1
        event = next(self.events)
        self.reached = Spot(event.start_mark.line + 1, event.start_mark.column + 1)
        if self.taken > MOST_ENTRIES:
            self.report.fault(
                self.reached, f"the file has over {MOST_ENTRIES} entries; split it or shorten it", "too long"
            )
            raise _TooMuch
        return event

    def _node(self, event: Any, depth: int) -> Node:
        line, column = event.start_mark.line + 1, event.start_mark.column + 1
        if isinstance(event, AliasEvent):
            self.report.fault(
                Spot(line, column),
                f"an alias ({quoted('*' + event.anchor)}) is not taken; write the value out",
                "alias or anchor",
            )
            return Scalar("", line, column, broken=True)
        broken = self._refuse_properties(event, Spot(line, column))
        if isinstance(event, ScalarEvent):
            return self._scalar(event, Spot(line, column), broken=broken)
        if depth > MOST_DEPTH:
            self.report.fault(Spot(line, column), f"nested more than {MOST_DEPTH} deep", "nested too deep")
            raise _TooMuch
        flow = bool(event.flow_style)
        if isinstance(event, MappingStartEvent):
            return Mapping(self._pairs(depth, in_flow=flow), line, column, flow, broken)
        items = []
        while not isinstance(event := self._next(), SequenceEndEvent):
            items.append(self._node(event, depth + 1))
        return Sequence(tuple(items), line, column, flow, broken)

    def _refuse_properties(self, event: Any, spot: Spot) -> bool:
        if event.anchor is not None:
            self.report.fault(
                spot,
                f"an anchor ({quoted('&' + event.anchor)}) is not taken; write each value out",
                "alias or anchor",
            )
            return True
        if event.tag is not None:
            self.report.fault(
                spot, f"a tag ({quoted(str(event.tag))}) is not taken; the key says the type", "tag"
            )
            return True
        return False

    def _scalar(self, event: Any, spot: Spot, *, broken: bool) -> Scalar:
        plain = event.style is None
        text = event.value
        if plain and not broken and len(text) > LONGEST_NUMBER and _NUMBER_LIKE.match(text):
            self.report.fault(
                spot,
                f"a number of {len(text)} characters; at most {LONGEST_NUMBER} are read",
                "number too long",
            )
            broken = True
        end = event.end_mark.column + 1 if event.end_mark.line == event.start_mark.line else 0
        return Scalar(text, spot.line, spot.column, plain, end, broken)

    def _pairs(self, depth: int, *, in_flow: bool) -> tuple[Pair, ...]:
        found: dict[str, Pair] = {}
        before: Pair | None = None
        while not isinstance(event := self._next(), MappingEndEvent):
            key = self._node(event, depth + 1)
            value = self._node(self._next(), depth + 1)
            if not isinstance(key, Scalar):
                self.report.fault(
                    key, "a key must be a single word, not a list or a mapping", "key is no word"
                )
            elif key.broken:
                pass
            elif key.plain and key.text == "<<":
                self.report.fault(
                    key, "a merge key (<<) is not taken; write the entries out", "alias or anchor"
                )
            elif in_flow and before is not None and _is_comma_tail(before, key, value):
                before = self._mend_comma(found, before, key)
            elif key.text in found:
                first = found[key.text].key
                self.report.fault(
                    key, f"{quoted(key.text)} is given twice; first in line {first.line}", "given twice"
                )
            else:
                before = found[key.text] = Pair(key, value)
        return tuple(found.values())

    def _mend_comma(self, found: dict[str, Pair], before: Pair, tail: Scalar) -> Pair:
        """Tell of `scale: 0,1` in flow form, which YAML takes for two entries, and spoil the first."""
        head = before.value
        assert isinstance(head, Scalar)
        self.report.fault(
            head,
            f"a decimal comma? {quoted(f'{head.text},{tail.text}')} reads as two entries here; "
            f"write {quoted(f'{head.text}.{tail.text}')[1:-1]}",
            "decimal comma",
        )
        spoiled = Pair(before.key, Scalar(head.text, head.line, head.column, broken=True))
        found[before.key.text] = spoiled
        return spoiled


def _is_comma_tail(before: Pair, key: Scalar, value: Node) -> bool:
    """True where `key` is what stands right behind the comma of a number: `scale: 0,1`, `length: 1,2 m`."""
    head = before.value
    return (
        isinstance(head, Scalar)
        and isinstance(value, Scalar)
        and value.text == ""
        and value.plain
        and head.plain
        and not head.broken
        and head.line == key.line
        and head.end_column + 1 == key.column
        and _SIGNED_DIGITS.match(head.text) is not None
        and _COMMA_TAIL.match(key.text) is not None
    )
