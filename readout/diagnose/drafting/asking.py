"""What the integrator is asked and has answered, for lines of the table or for the whole of it."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from protocols.modbus.tables import Table as Kind
from protocols.register_map.grammar.line import Numbering
from readout.diagnose.drafting import cells, kinds
from readout.diagnose.drafting.table import Column, Row

#: What an answer about the whole table may say, and the words it may take; none: any.
WHOLE: Mapping[str, tuple[str, ...]] = {
    "numbering": tuple(Numbering),
    "addresses": ("decimal", "hexadecimal"),
    "table": tuple(kind.value for kind in Kind),
    "word_order": ("high first", "low first"),
    "byte_order": ("high first", "low first"),
    "bytes_per_register": ("2", "4"),
    "basis": ("actual", "reference"),
    "reference": (),
    "fluid": (),
    "unit_address": (),
    "baud_rate": (),
    "parity": ("none", "even", "odd"),
    "stop_bits": ("1", "2"),
}
#: Keys of the map that an answer writes into a row's entry as they are.
KEYS = (
    "basis",
    "reference",
    "gauge",
    "totaliser",
    "quantity",
    "word_order",
    "byte_order",
    "bytes_per_register",
    "write",
    "parts",
)
#: What an answer may do with a row besides naming what a cell should say.
LEAVE_OUT, ADDED_TO, EXPONENT_OF, UNIT_FROM = "leave-out", "added-to", "exponent-of", "unit-from"
ROW = (*(column.value for column in Column), LEAVE_OUT, ADDED_TO, EXPONENT_OF, UNIT_FROM, *KEYS)
#: What settles a question about a unit.
UNIT_TOPICS = (Column.UNIT.value, UNIT_FROM)
_LONGEST = 200
#: Where one answer ends and the next begins: a semicolon may as well stand in a list of codes.
_AND = re.compile(rf";\s*(?=[\d,\- ]+:(?:{'|'.join(ROW)})\b)")


@dataclass(frozen=True, slots=True)
class Question:
    """What the integrator must answer; `lines` are those of the table, from 1, none for the whole of it.

    `answers` are words that `--answer` takes, such as `4:type=int16`; none where there is no such word.
    """

    lines: tuple[int, ...]
    question: str
    answers: tuple[str, ...] = ()

    @property
    def line(self) -> int | None:
        """The first of the lines."""
        return self.lines[0] if self.lines else None


@dataclass(frozen=True, slots=True)
class Answers:
    """What was answered: words for the whole table, and for its lines what each column should have said."""

    whole: Mapping[str, str] = field(default_factory=dict)
    rows: Mapping[int, Mapping[str, str]] = field(default_factory=dict)

    def of(self, line: int, what: str) -> str | None:
        """The answer for a line, or None."""
        return self.rows.get(line, {}).get(what)

    def has(self, line: int, topics: Iterable[str]) -> bool:
        """Whether a line has an answer on one of the topics."""
        return not self.rows.get(line, {}).keys().isdisjoint(topics)

    def into(self, rows: Iterable[Row]) -> list[Row]:
        """The rows as the answers say they should have been.

        Raises:
            ValueError: an answer names a line that holds no row.
        """
        found = list(rows)
        unknown = self.rows.keys() - {row.line for row in found}
        if unknown:
            raise ValueError(
                f"an answer names line {min(unknown)}, where the table has no row below its headings"
            )
        columns = {column.value: column for column in Column}
        for index, row in enumerate(found):
            told = {
                columns[what]: text for what, text in self.rows.get(row.line, {}).items() if what in columns
            }
            if told:
                found[index] = replace(row, cells={**row.cells, **told})
        return found


def read_answers(given: Iterable[str]) -> Answers:
    """Answers as `word_order=low first`, `4:type=int16`, `5,9-11:unit=bar(g)`, `12:leave-out`.

    Several may stand in one, as `5:type=uint32; 6:leave-out`.

    Raises:
        ValueError: one of them is none, or says again what another said.
    """
    whole: dict[str, str] = {}
    rows: dict[int, dict[str, str]] = {}
    for text in (one.strip() for several in given for one in _AND.split(several)):
        head, colon, rest = text.partition(":")
        lines = _lines(head) if colon else None
        what, equals, value = (part.strip() for part in (rest if lines else text).partition("="))
        if not equals and not (lines and what == LEAVE_OUT):
            raise ValueError(
                f"answer {_cut(text)}: write WHAT=VALUE for the whole table, or LINES:WHAT=VALUE"
            )
        if len(value) > _LONGEST or not value.isprintable():
            raise ValueError(f"answer {_cut(text)}: at most {_LONGEST} characters on one line")
        if lines is None:
            _check_whole(what, value)
            _once(whole, what, value, text)
            continue
        if what not in ROW:
            raise ValueError(f"answer {_cut(text)}: '{_cut(what)}' is not one of {', '.join(ROW)}")
        _check_row(what, value, text)
        for line in lines:
            _once(rows.setdefault(line, {}), what, value, text)
    return Answers(whole, rows)


def _check_whole(what: str, value: str) -> None:
    if what not in WHOLE:
        raise ValueError(
            f"answer '{_cut(what)}': for the whole table it is one of {', '.join(WHOLE)}; for rows put their "
            "lines before it, as in 4:type=int16"
        )
    if WHOLE[what] and value not in WHOLE[what]:
        raise ValueError(f"answer {what}={_cut(value)}: write one of {', '.join(WHOLE[what])}")
    if what == "reference" and not _VALUE.fullmatch(value):
        raise ValueError(f"answer {what}={_cut(value)}: write {{temperature: 0 degC, pressure: 1.01325 bar}}")
    if what in ("unit_address", "baud_rate") and not (value.isascii() and value.isdigit()):
        raise ValueError(f"answer {what}={_cut(value)}: write a whole number")


#: Values of a map's key as an answer may write them: a word or two, a list or a mapping of such.
_WORD = r"(?:-?\d|[^\W\d])[\w .+/()%³²°-]*"
_VALUE = re.compile(rf"{_WORD}|\[{_WORD}(?:, *{_WORD})*\]|\{{{_WORD}: +{_WORD}(?:, *{_WORD}: +{_WORD})*\}}")
#: What an answer must be understood as: nothing is asked again about what was answered.
_UNDERSTOOD: Mapping[str, tuple[Callable[[str], object], str]] = {
    "address": (lambda text: cells.addresses(text, bare_hex=False), "40001, 0x1A or 40001-40002"),
    "type": (lambda text: kinds.type_and_rest(text)[0], "int16, uint16, int32, uint32, float32 or text"),
    "length": (lambda text: cells.length_of(text, ""), "a number of registers"),
    "scale": (kinds.amount_of, "0.1, /10 or 0.1 bar"),
    "offset": (cells.decimal, "-40"),
    "range": (cells.range_of, "-40 to 120"),
    "not-available": (cells.missing_numbers, "65535, 0x7FFF or none"),
    "access": (cells.access_of, "R or R/W"),
    "function": (cells.table_of, "03 or 04"),
    "table": (cells.table_of, "holding, input, coil or discrete"),
    "order": (kinds.order_of, "ABCD, CDAB, BADC or DCBA"),
}


def _check_row(what: str, value: str, text: str) -> None:
    if what in KEYS and not _VALUE.fullmatch(value):
        raise ValueError(f"answer {_cut(text)}: write a word, or {{KEY: WORD, KEY: WORD}}")
    if what == "unit" and re.fullmatch(r"[+\-−]?[\d.,]+", value) and value != "1":
        raise ValueError(
            f"answer {_cut(text)}: a number is no unit; write such as m3/h, or {UNIT_FROM}=LINE where "
            "another row tells the unit, or unit=1 for a plain number"
        )
    if what in _UNDERSTOOD and _UNDERSTOOD[what][0](value) is None:
        raise ValueError(
            f"answer {_cut(text)}: {what} is not understood; write such as {_UNDERSTOOD[what][1]}"
        )


def _once(into: dict[str, str], what: str, value: str, text: str) -> None:
    if into.setdefault(what, value) != value:
        raise ValueError(f"answer {_cut(text)}: another answer says {what}={_cut(into[what])}")


def _lines(text: str) -> list[int] | None:
    """Line numbers of `5,9-11`; None where it is no list of lines."""
    found: list[int] = []
    for part in text.replace(" ", "").split(","):
        low, dash, high = part.partition("-")
        if not (low.isascii() and low.isdigit() and len(low) < 7):
            return None
        if dash and not (high.isascii() and high.isdigit() and len(high) < 7):
            return None
        found += range(int(low), int(high if dash else low) + 1)
        if len(found) > 10_000:
            return None
    return found or None


def _cut(text: str) -> str:
    word = "".join(one if one.isprintable() else " " for one in text)
    return word if len(word) <= 60 else f"{word[:60]}…"


def as_lines(lines: Iterable[int]) -> str:
    """Line numbers as an answer takes them: `5,9-11`."""
    runs: list[list[int]] = []
    for line in sorted(set(lines)):
        if runs and line == runs[-1][1] + 1:
            runs[-1][1] = line
        else:
            runs.append([line, line])
    return ",".join(str(low) if low == high else f"{low}-{high}" for low, high in runs)


@dataclass(frozen=True, slots=True)
class _Asked:
    line: int | None
    label: str
    text: str
    answers: tuple[str, ...]
    assumed: str
    topics: tuple[str, ...] = ()
    last: bool = False


#: Names of rows that one question tells; of more it tells how many.
_LABELS_MOST = 4


@dataclass(slots=True)
class Asking:
    """The questions as they come up, the remarks beside rows of the map, conditions that remarks speak of.

    `beside`: remarks beside keys for the whole of the map.
    """

    answers: Answers
    notes: dict[int, list[str]] = field(default_factory=dict)
    conditions: dict[int, str] = field(default_factory=dict)
    beside: dict[str, str] = field(default_factory=dict)
    _asked: list[_Asked] = field(default_factory=list)

    def whole(self, topic: str, question: str, *values: str) -> None:
        """A question about the whole table, unless the answers hold its topic."""
        if topic not in self.answers.whole:
            self._asked.append(_Asked(None, "", question, tuple(f"{topic}={value}" for value in values), ""))

    def of_the_meter(self, *, measures_a_fluid: bool) -> None:
        """What a table of registers seldom says and the map is to say; asked last, unless answered."""
        if measures_a_fluid:
            self._last(
                "fluid",
                "What flows through the meter? The map says it (`fluid: compressed air`), for conversions and"
                " cautions go by it. Assumed: nothing",
                "compressed air",
                "nitrogen",
            )
        self._last(
            "unit_address",
            "Which unit address does the meter have as delivered? Its manual or its menu tells. Assumed:"
            " none; each point file then has to say it",
            "…",
        )

    def _last(self, topic: str, question: str, *values: str) -> None:
        if topic not in self.answers.whole:
            answers = tuple(f"{topic}={value}" for value in values)
            self._asked.append(_Asked(None, "", question, answers, "", last=True))

    def row(
        self,
        line: int,
        label: str,
        question: str,
        *,
        topics: tuple[str, ...] = (),
        answers: tuple[str, ...] = (),
        assumed: str = "",
    ) -> None:
        """A question about a row, unless the answers hold one of its topics; `assumed` goes beside the row.

        Rows with the same question share one number.
        """
        if not self.answers.has(line, topics):
            self._asked.append(_Asked(line, label, question, answers, assumed, topics))

    def withdraw(self, line: int, topics: tuple[str, ...]) -> None:
        """Take back what was asked of a row on these topics, for a better question."""
        self._asked = [one for one in self._asked if (one.line, one.topics) != (line, topics)]

    def gas_conditions(self, line: int, label: str) -> None:
        """A question about a volume of gas that names no conditions; the answer has those of its remark."""
        told = self.conditions.get(line, "{temperature: 0 degC, pressure: 1.01325 bar}")
        self.row(
            line,
            label,
            "a volume of gas without its conditions: as it is in the pipe (`basis: actual`), or at a "
            "reference? Assumed: nothing",
            topics=("basis", "reference"),
            answers=("basis=actual", f"reference={told}"),
            assumed="no reference",
        )

    def counted_from(
        self, line: int, label: str, remarks: str, *, topics: tuple[str, ...], answers: tuple[str, ...]
    ) -> bool | None:
        """What a pressure is counted from, by a row's name and remarks: True above the surrounding air,
        False absolute. None where they tell neither, or both: then it is asked.
        """
        gauge = kinds.gauge_of(f"{label} {remarks}")
        if gauge is None:
            self.row(
                line,
                label,
                "above the surrounding air, (g), or absolute, (a)? Assumed: absolute",
                topics=topics,
                answers=answers,
                assumed="assumed absolute",
            )
        else:
            told = "above the surrounding air" if gauge else "absolute"
            self.note(line, f"{told}, by its remark or name")
        return gauge

    def running_total(self, line: int, label: str, top: str = "") -> None:
        """A question about an amount: one since a reset long ago, or one of a while.

        `top`: where it begins again, as its remark tells.
        """
        rolls = (f"totaliser={{rolls_over_at: {top}}}",) if top else ()
        self.row(
            line,
            label,
            "is it a running total? Then `totaliser: true`. Assumed: not",
            topics=("totaliser",),
            answers=(*rolls, "totaliser=true", "totaliser=false"),
            assumed="assumed no running total",
        )

    def note(self, line: int, remark: str) -> None:
        """A remark beside a row of the map, where something follows from the table and is worth a look."""
        kept = self.notes.setdefault(line, [])
        if remark not in kept:
            kept.append(remark)

    def questions(self) -> tuple[Question, ...]:
        """Every question once, in the order of the table, those of the meter last.

        The rows that they are about are marked with them.
        """
        grouped: dict[tuple[bool, str, tuple[str, ...]], list[_Asked]] = {}
        for one in self._asked:
            grouped.setdefault((one.line is None, one.text, one.answers), []).append(one)
        ordered = sorted(grouped.values(), key=lambda group: (group[0].last, group[0].line or 0))
        found = []
        for number, group in enumerate(ordered, 1):
            first = group[0]
            if first.line is None:
                found.append(Question((), first.text, first.answers))
                continue
            lines = tuple(sorted({one.line for one in group if one.line is not None}))
            labels = list(dict.fromkeys(one.label for one in group))
            named = "; ".join(labels[:_LABELS_MOST])
            if len(labels) > _LABELS_MOST:
                named += f"; and {len(labels) - _LABELS_MOST} more"
            answers = tuple(
                answer if answer.partition(":")[0].isdigit() else f"{as_lines(lines)}:{answer}"
                for answer in first.answers
            )
            found.append(Question(lines, f"{named}: {first.text}", answers))
            for one in group:
                assert one.line is not None
                self.note(
                    one.line, f"{one.assumed} (question {number})" if one.assumed else f"question {number}"
                )
        return tuple(found)
