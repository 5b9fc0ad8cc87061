"""Forms of what point and job files hold besides words: quantities, spans, money, dates, times of day."""

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from protocols.register_map.document import Node, Scalar
from protocols.register_map.faults import Report, quoted
from protocols.register_map.forms import Form, Schema
from protocols.register_map.forms.base import kind_of, refuse
from protocols.units import Dimension, Quantity, hidden_conditions, quantity_of
from readout.measuring_point.model import Money, QuantitySpan, Shift

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


def _text_of(node: Node, report: Report, wanted: str) -> str | None:
    if isinstance(node, Scalar) and node.text:
        return node.text
    return refuse(node, report, f"{kind_of(node)} where text is expected; {wanted}")


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
        wanted = f"write such as {example}"
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        found = quantity_of(text, example)
        wrong = found if isinstance(found, str) else self.wrong(found)
        if wrong or isinstance(found, str):
            hint = "" if isinstance(found, str) and "write" in wrong else f"; {wanted}"
            return refuse(node, report, f"{quoted(text)}: {wrong}{hint}")
        return found

    def wrong(self, found: Quantity) -> str:
        """What is wrong with a quantity here, or nothing."""
        unit = found.unit
        if unit.dimension not in self.dimensions:
            return f"{unit.word} is a unit of {unit.dimension}, not of {' or '.join(self.dimensions)}"
        if unit.conditional:
            return hidden_conditions(unit.word)
        if unit.dimension is Dimension.PRESSURE and not self.difference:
            if found.gauge is None:
                return f"gauge or absolute? write {unit.word}(g) or {unit.word}(a)"
            if self.absolute and found.gauge:
                return f"this pressure is absolute; write {unit.word}(a)"
        if self.above is not None and found.number <= self.above:
            return f"must be more than {self.above} {unit.word}"
        if self.least is not None and found.number < self.least:
            return f"must be at least {self.least} {unit.word}"
        return ""

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002  (the signature of every form)
        """See `Form`."""
        return {"type": "string", "pattern": f"^{_NUMBER} ?[^0-9 ].*$"}


@dataclass(frozen=True, eq=False, repr=False)
class Between(Form[QuantitySpan]):
    """A span written "A to B": both of the same unit, the lower one first."""

    end: Measured

    def _read(self, node: Node, report: Report) -> QuantitySpan | None:
        wanted = "write such as 40 m3/h to 420 m3/h"
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        sides = text.split(" to ")
        if len(sides) != 2:
            return refuse(node, report, f"{quoted(text)} is no span; {wanted}")
        low, high = (quantity_of(side, self.end.example or "40 m3/h") for side in sides)
        if isinstance(low, str) or isinstance(high, str):
            wrong = low if isinstance(low, str) else high
            return refuse(node, report, f"{quoted(text)}: {wrong}; {wanted}")
        wrong = self.end.wrong(low) or self.end.wrong(high)
        if not wrong and (low.unit, low.gauge) != (high.unit, high.gauge):
            wrong = "write both ends in the same unit"
        if not wrong and low.number >= high.number:
            wrong = "write the lower end first"
        return (
            refuse(node, report, f"{quoted(text)}: {wrong}; {wanted}") if wrong else QuantitySpan(low, high)
        )

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "string", "pattern": f"^{_NUMBER} ?\\S.* to {_NUMBER} ?\\S.*$"}


@dataclass(frozen=True, eq=False, repr=False)
class Price(Form[Money]):
    """An amount of a currency for a unit: 0.21 EUR/kWh."""

    def _read(self, node: Node, report: Report) -> Money | None:
        wanted = "write such as 0.21 EUR/kWh; for each kWh, MWh or m3"
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        found = _MONEY.match(text)
        if found is None:
            return refuse(node, report, f"{quoted(text)} is no price; {wanted}")
        return Money(Decimal(found.group(1)), found.group(2), found.group(3))

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "string", "pattern": r"^[0-9]+(\.[0-9]+)? ?[A-Z]{3}/(kWh|MWh|m3)$"}


@dataclass(frozen=True, eq=False, repr=False)
class UnitWord(Form[str]):
    """A unit for screens and reports; a pressure's says (g) or (a)."""

    dimensions: tuple[Dimension, ...]

    def _read(self, node: Node, report: Report) -> str | None:
        wanted = f"write a unit of {' or '.join(self.dimensions)}"
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        found = quantity_of(f"1 {text}")
        if isinstance(found, str):
            return refuse(node, report, f"{quoted(text)} is no known unit; {wanted}")
        wrong = Measured(self.dimensions).wrong(found)
        return refuse(node, report, f"{quoted(text)}: {wrong}") if wrong else text

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "string", "minLength": 1}


@dataclass(frozen=True, eq=False, repr=False)
class ShiftTimes(Form[Shift]):
    """A shift by wall clock: "22:00-06:00"."""

    def _read(self, node: Node, report: Report) -> Shift | None:
        wanted = 'write such as "22:00-06:00"'
        text = _text_of(node, report, wanted)
        found = None if text is None else _SHIFT.match(text)
        if text is None:
            return None
        if found is None or (found.group(3) == "24" and found.group(4) != "00"):
            return refuse(node, report, f"{quoted(text)} is no shift; {wanted}")
        begin, until = (int(found.group(n)) * 60 + int(found.group(n + 1)) for n in (1, 3))
        if begin == until:
            return refuse(node, report, f"{quoted(text)} begins when it ends; {wanted}")
        return Shift(begin, until)

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "string", "pattern": _SHIFT.pattern.replace(r"\Z", "$")}


@dataclass(frozen=True, eq=False, repr=False)
class Weekdays(Form[tuple[int, ...]]):
    """Days of the week, Monday = 0: "Mon-Fri", "Mon, Wed, Fri", "Sun-Thu"."""

    def _read(self, node: Node, report: Report) -> tuple[int, ...] | None:
        wanted = f"write such as Mon-Fri or Mon, Wed; days: {', '.join(_DAYS)}"
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        days: set[int] = set()
        for part in text.split(","):
            first, dash, last = part.strip().partition("-")
            if first not in _DAYS or (dash and last not in _DAYS):
                return refuse(node, report, f"{quoted(text)} is no list of weekdays; {wanted}")
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
        wanted = "write such as 2026-05-04"
        text = _text_of(node, report, wanted)
        if text is None:
            return None
        if not _DATE.match(text):
            return refuse(node, report, f"{quoted(text)} is no date; {wanted}")
        try:
            return date.fromisoformat(text)
        except ValueError:
            return refuse(node, report, f"{quoted(text)} is no day of the calendar; {wanted}")

    def schema(self, named: dict[str, Schema]) -> Schema:  # noqa: ARG002
        """See `Form`."""
        return {"type": "string", "format": "date"}
