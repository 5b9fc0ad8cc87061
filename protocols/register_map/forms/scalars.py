"""Forms of a single value: numbers, words, text, durations."""

import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from protocols.register_map.document import Node, Scalar
from protocols.register_map.faults import Report, quoted
from protocols.register_map.forms.base import Form, Schema, kind_of, refuse

_WHOLE = re.compile(r"[-+]?(0|[1-9][0-9]*)\Z")
_HEX = re.compile(r"0x[0-9a-fA-F]+\Z")
_LEADING_ZEROS = re.compile(r"([-+]?)0+([0-9]+)\Z")
_DECIMAL = re.compile(r"[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]{1,3})?\Z")
_COMMA = re.compile(r"[-+]?[0-9]+,[0-9]+\Z")
_DURATION = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?(ms|s|min|h|d)\Z")
#: Seconds of each unit a duration may have.
SECONDS: Mapping[str, Decimal] = {
    "ms": Decimal("0.001"), "s": Decimal(1), "min": Decimal(60), "h": Decimal(3600), "d": Decimal(86400),
}  # fmt: skip
#: Decimal exponents beyond this are no scale of a meter, and exact arithmetic on them would take for ever.
_WIDEST_EXPONENT = 40


def whole_number(node: Scalar, report: Report, wanted: str) -> int | None:
    """The whole number that a scalar says, decimal or 0x hexadecimal; what else it may have meant is told."""
    text = node.text
    if not node.plain:
        return refuse(
            node, report, f"{quoted(text)} is text in quotes; {wanted}, without quotes", "number in quotes"
        )
    if _WHOLE.match(text):
        return int(text)
    if _HEX.match(text):
        return int(text, 16)
    name, why = _misread(text) or ("no number", f"{quoted(text)} is no whole number")
    return refuse(node, report, f"{why}; {wanted}", name)


def exact_number(node: Scalar, report: Report, wanted: str) -> Decimal | None:
    """The number that a scalar says, exactly as written."""
    text = node.text
    if node.plain and _HEX.match(text):
        return Decimal(int(text, 16))
    if not node.plain or not _DECIMAL.match(text) or _LEADING_ZEROS.match(text):
        if not node.plain:
            return refuse(node, report, f"{quoted(text)} is text in quotes; {wanted}", "number in quotes")
        name, why = _misread(text) or ("no number", f"{quoted(text)} is no number")
        return refuse(node, report, f"{why}; {wanted}", name)
    number = Decimal(text)
    if number and abs(number.adjusted()) > _WIDEST_EXPONENT:
        return refuse(
            node, report, f"{quoted(text)} is beyond 1e±{_WIDEST_EXPONENT}; {wanted}", "number out of bounds"
        )
    return number


def _misread(text: str) -> tuple[str, str] | None:
    """Why a text is no number, with both readings where it has two; the finding's name comes first."""
    if not text:
        return "nothing given", "nothing stands here"
    zeros = _LEADING_ZEROS.match(text)
    if zeros:
        sign, digits = zeros.groups()
        octal = f"{sign}{int(digits, 8)} (octal) or " if not set(digits) & set("89") else ""
        both = f"{text} may mean {octal}{sign}{int(digits)} (decimal)"
        return "leading zeros", f"{both}: write the one without leading zeros"
    if _COMMA.match(text):
        return "decimal comma", f"a decimal comma: write {text.replace(',', '.')}"
    odd = "number written oddly"
    if re.fullmatch(r"[0-9]+(_[0-9]+)+", text):
        return odd, f"{text} has underscores: write {text.replace('_', '')}"
    if re.fullmatch(r"[0-9]+(:[0-9]{2})+", text):
        return odd, f"{text} is read as a time by some and as base 60 by others: write the plain number"
    if _DECIMAL.match(text) and Decimal(text) == Decimal(text).to_integral_value() and len(text) < 12:
        number = Decimal(text)
        if number.adjusted() < 12:
            return odd, f"{text} is no whole number as written: write {int(number)}"
    return None


@dataclass(frozen=True, eq=False, repr=False)
class Integer(Form[int]):
    """A whole number from `low` to `high`, decimal or 0x hexadecimal."""

    low: int
    high: int

    def _read(self, node: Node, report: Report) -> int | None:
        wanted = f"write a whole number from {self.low} to {self.high}"
        if not isinstance(node, Scalar):
            return refuse(
                node, report, f"{kind_of(node)} where a number is expected; {wanted}", "list or mapping here"
            )
        number = whole_number(node, report, wanted)
        if number is not None and not self.low <= number <= self.high:
            return refuse(node, report, f"{node.text} is out of range; {wanted}", "number out of bounds")
        return number

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002  (the signature of every form)
        """See `Form`."""
        return {"type": "integer", "minimum": self.low, "maximum": self.high}


@dataclass(frozen=True, eq=False, repr=False)
class Exact(Form[Decimal]):
    """A decimal number, kept as written; limits are inclusive where given."""

    low: Decimal | None = None
    high: Decimal | None = None

    def _read(self, node: Node, report: Report) -> Decimal | None:
        wanted = "write a number such as 0.1, -40 or 1e-3"
        if not isinstance(node, Scalar):
            return refuse(
                node, report, f"{kind_of(node)} where a number is expected; {wanted}", "list or mapping here"
            )
        number = exact_number(node, report, wanted)
        if number is None:
            return None
        if self.low is not None and number < self.low:
            return refuse(
                node, report, f"{node.text} is too small; at least {self.low}", "number out of bounds"
            )
        if self.high is not None and number > self.high:
            return refuse(
                node, report, f"{node.text} is too large; at most {self.high}", "number out of bounds"
            )
        return number

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        limits = {"minimum": self.low, "maximum": self.high}
        return {"type": "number"} | {key: float(limit) for key, limit in limits.items() if limit is not None}


@dataclass(frozen=True, eq=False, repr=False)
class Choice(Form[str]):
    """One of a few words; `of` says what they choose, for a fault."""

    words: tuple[str, ...]
    of: str = "value"

    def _read(self, node: Node, report: Report) -> str | None:
        allowed = f"allowed: {', '.join(self.words)}"
        if not isinstance(node, Scalar):
            return refuse(
                node, report, f"{kind_of(node)} where one word is expected; {allowed}", "list or mapping here"
            )
        if node.text in self.words:
            return node.text
        near = report.nearest(node.text, self.words)
        return refuse(node, report, f"{kind_of(node)} is no known {self.of}{near}; {allowed}", "unknown word")

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`. A word that is a number stands in the file without quotes."""
        return {"enum": [int(word) if word.isdecimal() else word for word in self.words]}


@dataclass(frozen=True, eq=False, repr=False)
class Flag(Form[bool]):
    """`true` or `false`."""

    def _read(self, node: Node, report: Report) -> bool | None:
        if isinstance(node, Scalar) and node.plain and node.text in ("true", "false"):
            return node.text == "true"
        return refuse(
            node, report, f"{kind_of(node)} is neither; write true or false", "neither true nor false"
        )

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "boolean"}


@dataclass(frozen=True, eq=False, repr=False)
class Text(Form[str]):
    """Words for people, or words in a fixed form (`check` tells what is wrong with one, or nothing)."""

    longest: int = 200
    pattern: str = ""
    wanted: str = "write text"
    check: Callable[[str], str] | None = None

    def _read(self, node: Node, report: Report) -> str | None:
        if not isinstance(node, Scalar):
            return refuse(
                node, report, f"{kind_of(node)} where text is expected; {self.wanted}", "list or mapping here"
            )
        if not node.text.strip():
            return refuse(node, report, f"nothing stands here; {self.wanted}", "nothing given")
        if node.plain and node.text in ("true", "false", "null", "~"):
            return refuse(
                node,
                report,
                f"{node.text} is no text in YAML; write '{node.text}' in quotes if meant",
                "truth value as text",
            )
        text = node.text.strip("\n")
        if len(text) > self.longest:
            return refuse(
                node, report, f"{len(text)} characters; at most {self.longest} fit here", "text too long"
            )
        if any(unicodedata.category(one) in ("Cc", "Cf") for one in text):
            return refuse(
                node,
                report,
                f"{quoted(text)} holds a control character; write one line of plain text",
                "control character",
            )
        if self.pattern and not re.fullmatch(self.pattern, text):
            return refuse(
                node, report, f"{quoted(text)} has the wrong form; {self.wanted}", "text in another form"
            )
        wrong = self.check(text) if self.check is not None else ""
        return refuse(node, report, wrong, "condition not understood") if wrong else text

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`; a number without quotes is text too."""
        found: Schema = {"type": ["string", "number"], "minLength": 1, "maxLength": self.longest}
        return found | ({"pattern": f"^(?:{self.pattern})$"} if self.pattern else {})


@dataclass(frozen=True, eq=False, repr=False)
class Duration(Form[Decimal]):
    """A length of time with its unit: "300 ms", "1s", "9d"; the value is in seconds, exact."""

    shortest: Decimal = Decimal(0)
    longest: Decimal = Decimal(3600)

    def _read(self, node: Node, report: Report) -> Decimal | None:
        wanted = "write a number and ms, s, min, h or d, such as 300 ms"
        if not isinstance(node, Scalar):
            return refuse(
                node,
                report,
                f"{kind_of(node)} where a duration is expected; {wanted}",
                "duration without unit",
            )
        found = _DURATION.match(node.text) if len(node.text) <= _WIDEST_EXPONENT else None
        if found is None:
            usual = "duration without unit", f"{kind_of(node)} is no duration"
            name, why = usual if _WHOLE.match(node.text) else _misread(node.text) or usual
            return refuse(node, report, f"{why}; {wanted}", name)
        seconds = Decimal(found.group(1)) * SECONDS[found.group(2)]
        if not self.shortest <= seconds <= self.longest:
            return refuse(
                node,
                report,
                f"{node.text} is out of range; from {self.shortest} s to {self.longest} s",
                "number out of bounds",
            )
        return seconds

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "string", "pattern": r"^[0-9]+(\.[0-9]+)? ?(ms|s|min|h|d)$"}
