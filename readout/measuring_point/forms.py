"""Forms of what point and job files hold besides words: quantities, spans, money, dates, times of day."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from protocols.register_map.document import Node, Scalar
from protocols.register_map.faults import Report, quoted
from protocols.register_map.forms import Form, Schema
from protocols.register_map.forms.base import kind_of, refuse
from protocols.units import Dimension, Quantity, hidden_conditions, quantity_of
from readout.measuring_point.model import Money, QuantitySpan, Shift
from readout.sentence import Sentence, joined, word

#: An example of each dimension, for faults.
_EXAMPLES = {
    Dimension.LENGTH: "53.1 mm", Dimension.PRESSURE: "7 bar(g)", Dimension.TEMPERATURE: "25 degC",
    Dimension.VOLUME_FLOW: "420 m3/h", Dimension.MASS_FLOW: "90 kg/h", Dimension.VELOCITY: "160 m/s",
    Dimension.RATIO: "2 %", Dimension.SPECIFIC_POWER: "6.4 kW/(m3/min)", Dimension.CARBON: "0.25 kg/kWh",
}  # fmt: skip
_MONEY = re.compile(r"((?:0|[1-9][0-9]{0,9})(?:\.[0-9]{1,6})?) ?([A-Z]{3})/(kWh|MWh|m3)\Z")
_SHIFT = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])-([01][0-9]|2[0-3]|24):([0-5][0-9])\Z")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_NUMBER = r"[-+]?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]+)?"


def _wrong(text: str, *parts: str) -> Sentence:
    return Sentence("{text}: {wrong}", text=quoted(text), wrong=joined("; ", parts))


def either(choices: Iterable[str]) -> Sentence:
    """`volume flow or mass flow`; at least one."""
    first, *others = map(word, choices)
    for other in others:
        first = Sentence("{one} or {other}", one=first, other=other)
    return first


def _text_of(node: Node, report: Report, wanted: str) -> str | None:
    if isinstance(node, Scalar) and node.text:
        return node.text
    return refuse(
        node, report, Sentence("{kind} where text is expected; {wanted}", kind=kind_of(node), wanted=wanted)
    )


@dataclass(frozen=True, eq=False, repr=False)
class Measured(Form[Quantity]):
    """NUMBER UNIT of one of the dimensions. `above`: the number must be more than this.

    `example` is told in faults: the key's own, where the dimension's would not suit it. A pressure must say
    (g) or (a); with `absolute` it must be (a), as a `difference` it says neither.
    """

    dimensions: tuple[Dimension, ...]
    above: Decimal | None = None
    least: Decimal | None = None
    absolute: bool = False
    difference: bool = False
    example: str = ""

    def _read(self, node: Node, report: Report) -> Quantity | None:
        example = self.example or _EXAMPLES[self.dimensions[0]]
        wanted = Sentence("write such as {example}", example=example)
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        found = quantity_of(text, example)
        wrong = found if isinstance(found, str) else self.wrong(found)
        if wrong or isinstance(found, str):
            parts = [wrong] if isinstance(found, str) and "write" in wrong else [wrong, wanted]
            return refuse(node, report, _wrong(text, *parts))
        return found

    def wrong(self, found: Quantity) -> str:
        """What is wrong with a quantity here, or nothing."""
        unit = found.unit
        if unit.dimension not in self.dimensions:
            return Sentence(
                "{unit} is a unit of {its}, not of {wanted}",
                unit=unit.word,
                its=unit.dimension,
                wanted=either(self.dimensions),
            )
        if unit.conditional:
            return hidden_conditions(unit.word)
        if unit.dimension is Dimension.PRESSURE and not self.difference:
            if found.gauge is None:
                return Sentence("gauge or absolute? write {unit}(g) or {unit}(a)", unit=unit.word)
            if self.absolute and found.gauge:
                return Sentence("this pressure is absolute; write {unit}(a)", unit=unit.word)
        if self.above is not None and found.number <= self.above:
            return Sentence("must be more than {least}", least=Quantity(self.above, unit))
        if self.least is not None and found.number < self.least:
            return Sentence("must be at least {least}", least=Quantity(self.least, unit))
        return ""

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002  (the signature of every form)
        """See `Form`."""
        return {"type": "string", "pattern": f"^{_NUMBER} ?[^0-9 ].*$"}


@dataclass(frozen=True, eq=False, repr=False)
class Between(Form[QuantitySpan]):
    """A span written "A to B": both of the same unit, the lower one first."""

    end: Measured

    def _read(self, node: Node, report: Report) -> QuantitySpan | None:
        wanted = Sentence("write such as 40 m3/h to 420 m3/h")
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        sides = text.split(" to ")
        if len(sides) != 2:
            return refuse(
                node, report, Sentence("{text} is no span; {wanted}", text=quoted(text), wanted=wanted)
            )
        low, high = (quantity_of(side, self.end.example or "40 m3/h") for side in sides)
        if isinstance(low, str) or isinstance(high, str):
            wrong = low if isinstance(low, str) else high
            return refuse(node, report, _wrong(text, str(wrong), wanted))
        wrong = self.end.wrong(low) or self.end.wrong(high)
        if not wrong and (low.unit, low.gauge) != (high.unit, high.gauge):
            wrong = Sentence("write both ends in the same unit")
        if not wrong and low.number >= high.number:
            wrong = Sentence("write the lower end first")
        return refuse(node, report, _wrong(text, wrong, wanted)) if wrong else QuantitySpan(low, high)

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "string", "pattern": f"^{_NUMBER} ?\\S.* to {_NUMBER} ?\\S.*$"}


@dataclass(frozen=True, eq=False, repr=False)
class Price(Form[Money]):
    """An amount of a currency for a unit: 0.21 EUR/kWh."""

    def _read(self, node: Node, report: Report) -> Money | None:
        wanted = Sentence("write such as 0.21 EUR/kWh; for each kWh, MWh or m3")
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        found = _MONEY.match(text)
        if found is None:
            return refuse(
                node, report, Sentence("{text} is no price; {wanted}", text=quoted(text), wanted=wanted)
            )
        return Money(Decimal(found.group(1)), found.group(2), found.group(3))

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "string", "pattern": r"^[0-9]+(\.[0-9]+)? ?[A-Z]{3}/(kWh|MWh|m3)$"}


@dataclass(frozen=True, eq=False, repr=False)
class UnitWord(Form[str]):
    """A unit for screens and reports; a pressure's says (g) or (a)."""

    dimensions: tuple[Dimension, ...]

    def _read(self, node: Node, report: Report) -> str | None:
        wanted = Sentence("write a unit of {wanted}", wanted=either(self.dimensions))
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        found = quantity_of(f"1 {text}")
        if isinstance(found, str):
            return refuse(
                node, report, Sentence("{text} is no known unit; {wanted}", text=quoted(text), wanted=wanted)
            )
        wrong = Measured(self.dimensions).wrong(found)
        return refuse(node, report, _wrong(text, wrong)) if wrong else text

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "string", "minLength": 1}


@dataclass(frozen=True, eq=False, repr=False)
class ShiftTimes(Form[Shift]):
    """A shift by wall clock: "22:00-06:00"."""

    def _read(self, node: Node, report: Report) -> Shift | None:
        wanted = Sentence('write such as "22:00-06:00"')
        text = _text_of(node, report, wanted)
        found = None if text is None else _SHIFT.match(text)
        if text is None:
            return None
        if found is None or (found.group(3) == "24" and found.group(4) != "00"):
            return refuse(
                node, report, Sentence("{text} is no shift; {wanted}", text=quoted(text), wanted=wanted)
            )
        begin, until = (int(found.group(n)) * 60 + int(found.group(n + 1)) for n in (1, 3))
        if begin == until:
            return refuse(
                node,
                report,
                Sentence("{text} begins when it ends; {wanted}", text=quoted(text), wanted=wanted),
            )
        return Shift(begin, until)

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "string", "pattern": _SHIFT.pattern.replace(r"\Z", "$")}


@dataclass(frozen=True, eq=False, repr=False)
class Weekdays(Form[tuple[int, ...]]):
    """Days of the week, Monday = 0: "Mon-Fri", "Mon, Wed, Fri", "Sun-Thu"."""

    def _read(self, node: Node, report: Report) -> tuple[int, ...] | None:
        wanted = Sentence("write such as Mon-Fri or Mon, Wed; days: {days}", days=", ".join(_DAYS))
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        days: set[int] = set()
        for part in text.split(","):
            first, dash, last = part.strip().partition("-")
            if first not in _DAYS or (dash and last not in _DAYS):
                return refuse(
                    node,
                    report,
                    Sentence("{text} is no list of weekdays; {wanted}", text=quoted(text), wanted=wanted),
                )
            begin, until = _DAYS.index(first), _DAYS.index(last or first)
            days.update((begin + n) % 7 for n in range((until - begin) % 7 + 1))
        return tuple(sorted(days))

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        day = f"({'|'.join(_DAYS)})"
        return {"type": "string", "pattern": f"^{day}(-{day})?(, *{day}(-{day})?)*$"}


@dataclass(frozen=True, eq=False, repr=False)
class Day(Form[date]):
    """A date: 2026-05-04."""

    def _read(self, node: Node, report: Report) -> date | None:
        wanted = Sentence("write such as 2026-05-04")
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        if not _DATE.match(text):
            return refuse(
                node, report, Sentence("{text} is no date; {wanted}", text=quoted(text), wanted=wanted)
            )
        try:
            return date.fromisoformat(text)
        except ValueError:
            return refuse(
                node,
                report,
                Sentence("{text} is no day of the calendar; {wanted}", text=quoted(text), wanted=wanted),
            )

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "string", "format": "date"}
