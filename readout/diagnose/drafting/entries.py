"""One row as an entry of the map: its place, type and section, a question for what the cells leave open."""

import re
import unicodedata
from dataclasses import dataclass, field

from protocols.modbus.tables import Table as Kind
from protocols.register_map.grammar.line import Numbering
from protocols.register_map.grammar.values import wrong_name, wrong_reading_name
from readout.diagnose.drafting import cells, kinds
from readout.diagnose.drafting.asking import Asking
from readout.diagnose.drafting.cells import Access
from readout.diagnose.drafting.doubts import NOTHING
from readout.diagnose.drafting.folding import Item
from readout.diagnose.drafting.meaning import described
from readout.diagnose.drafting.table import Column, Table

#: 16-bit words of each type by the number at its end; a text has as many as its row says.
_WORDS = {"64": 4, "48": 3, "32": 2}
_INTEGERS = {1: "int16", 2: "int32", 4: "int64"}
_DIGITS = {"0": Kind.COIL, "1": Kind.DISCRETE, "3": Kind.INPUT, "4": Kind.HOLDING}
_IDENTITY = {
    "serial": "serial_number", "seriennummer": "serial_number", "numéro de série": "serial_number",
    "firmware": "firmware", "software": "firmware", "logiciel": "firmware", "model": "model",
    "modell": "model", "modèle": "model",
}  # fmt: skip
_COIL = re.compile(r"0\d{4,5}", re.ASCII)
#: Letters that are written with two where their own is missing, or that have no accent to take off.
_LETTERS = str.maketrans(
    {"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "ø": "oe", "å": "aa", "æ": "ae", "œ": "oe", "ł": "l",
     "³": "3", "²": "2"}
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Frame:
    """What holds for the whole table.

    `zero_digits`: numbers have a table digit, and the first register of a table is 40000, not 40001.
    """

    numbering: str
    table: Kind
    width: int = 2
    zero_digits: bool = False


@dataclass(frozen=True, slots=True)
class Entry:
    """One row as an entry of the map; `left_out` says why it is only a comment.

    `first` is its address as sent, from 0; `printed` the table's number.
    """

    line: int
    name: str
    section: str
    keys: tuple[tuple[str, str], ...]
    label: str
    table: Kind
    printed: int
    first: int
    addresses: int
    above: tuple[str, ...] = ()
    left_out: str = ""
    is_hex: bool = False

    def shown(self, number: int) -> str:
        """A register's number as this row writes them."""
        return f"0x{number:04X}" if self.is_hex else str(number)

    def get(self, key: str) -> str:
        """The text of a key, or nothing."""
        return next((text for one, text in self.keys if one == key), "")

    def body(self) -> str:
        """The entry's keys as the map writes them."""
        return f"{{{', '.join(f'{key}: {text}' for key, text in self.keys)}}}"


def digit_of(number: int) -> Kind | None:
    """The table that the first digit of 30001 or 400001 names."""
    if 10000 <= number <= 49999 or 100000 <= number <= 465536:
        return _DIGITS.get(str(number)[0])
    return None


def behind_digit(number: int) -> int:
    """The number of a register without its table digit."""
    return number % (100_000 if number >= 100_000 else 10_000)


def words_of(kind: str) -> int:
    """16-bit words of a type; 1 for a text."""
    return (
        2 if kind == "unix time" else next((words for end, words in _WORDS.items() if kind.endswith(end)), 1)
    )


@dataclass(slots=True)
class Building:
    """Turns rows into entries; remembers the names that are taken."""

    frame: Frame
    heads: Table
    asking: Asking
    names: set[str] = field(default_factory=set)

    def entry(self, item: Item) -> Entry:
        """The entry of a row, with its questions asked."""
        row = item.row
        table, number, first = self._place(item)
        told = self._told(item)
        section, why = self._section(item, table)
        keys = [(table.value, f"0x{number:04X}" if item.where.is_hex else str(number))]
        kind, rest, words = "bit", "", 1
        if not table.of_bits:
            kind, rest = self._kind(item, told)
            words = self._text_words(item, told, rest) if kind == "text" else words_of(kind)
            keys.append(("type", kind))
            keys += [("registers", str(words))] if kind == "text" else self._order(item)
            if kind != "text":
                self._compare_length(item, kind, words, told)
            section = _identity_or(section, item, kind)
        found, unfit = described(item, kind, section, rest, self.heads, self.asking)
        said = {key for key, _ in found}
        return Entry(
            line=row.line,
            name=self._name(item, section),
            section=section,
            keys=(*(pair for pair in keys if pair[0] not in said), *found),
            label=item.label,
            table=table,
            printed=number,
            first=first,
            addresses=max(1, words * 2 // self.frame.width) if not table.of_bits else 1,
            above=tuple(item.above),
            left_out=why or unfit,
            is_hex=item.where.is_hex,
        )

    def _place(self, item: Item) -> tuple[Kind, int, int]:
        """Table, number as the map writes it, address as sent."""
        row, where, frame = item.row, item.where, self.frame
        told = self._table(item)
        digit = None if where.is_hex else digit_of(where.first)
        if frame.zero_digits and digit is not None:
            rest = behind_digit(where.first)
            return self._agreed(item, digit, told), rest, rest
        if frame.numbering != Numbering.TABLE_DIGIT:
            if digit is not None and where.first >= 10_001:
                self.asking.row(
                    row.line,
                    item.label,
                    f"{where.first} looks like a number with its table digit, most others do not. Which is "
                    "it?",
                    topics=("address",),
                    answers=("address=…",),
                )
            shift = 1 if frame.numbering == Numbering.FROM_1 else 0
            return told or frame.table, where.first, where.first - shift
        if digit is None and (told is Kind.COIL or _COIL.fullmatch(row.get(Column.ADDRESS).strip())):
            return self._agreed(item, Kind.COIL, told), where.first, where.first - 1  # 00001, the digit 0
        if digit is None:
            self.asking.row(
                row.line,
                item.label,
                f"{where.first} has no table digit, most others do. What is its full number?",
                topics=("address",),
                answers=("address=…",),
            )
            return told or frame.table, where.first, where.first - 1
        return self._agreed(item, digit, told), where.first, behind_digit(where.first) - 1

    def _agreed(self, item: Item, digit: Kind, told: Kind | None) -> Kind:
        if told is not None and told is not digit:
            self.asking.row(
                item.row.line,
                item.label,
                f"the number {item.where.first} says {digit.value}, its table or function says "
                f"{told.value}. Drafted as {digit.value}; `map try` reads both",
                topics=("address", "table", "function"),
                answers=(f"table={digit.value}", "address=…"),
                assumed=f"assumed {digit.value}",
            )
        return digit

    def _table(self, item: Item) -> Kind | None:
        """The table that the function or the table's column names; a question where neither is understood."""
        texts = [item.row.get(Column.TABLE), item.row.get(Column.FUNCTION)]
        found = next((kind for text in texts if (kind := cells.table_of(text)) is not None), None)
        if found is None and any(texts):
            text = next(text for text in texts if text)
            self.asking.row(
                item.row.line,
                item.label,
                f"which table does {text!r} mean? Assumed: {self.frame.table.value}; `map try` reads the "
                "other one too",
                topics=("function", "table"),
                answers=("table=input", "table=holding"),
                assumed=f"assumed {self.frame.table.value}",
            )
        return found

    def _told(self, item: Item) -> int | None:
        """How many addresses the table gives the row."""
        if item.where.last is not None:
            return item.where.last - item.where.first + 1
        text = item.row.get(Column.LENGTH)
        found = cells.length_of(text, self.heads.headings.get(Column.LENGTH, ""))
        if found is not None:
            return found
        if text not in ("", "-", "–"):
            self.asking.row(
                item.row.line,
                item.label,
                f"the length {text!r} is not understood; taken from the type",
                topics=("length",),
                answers=("length=…",),
            )
        return item.registers

    def _kind(self, item: Item, told: int | None) -> tuple[str, str]:
        """The type, and what else its cell says."""
        text = item.row.get(Column.TYPE)
        found, rest = kinds.type_and_rest(text)
        if found is not None:
            return "bcd32" if found == "bcd16" and told == 2 else found, rest
        guess = {2: "uint32", 4: "uint64"}.get(told or 1, "uint16")
        why = f"the type {text!r} is not known" if text else "no type is told"
        self.asking.row(
            item.row.line,
            item.label,
            f"{why}. Assumed: {guess}, after its length; `map try` shows the other readings",
            topics=("type",),
            answers=(f"type={guess}", "type=…"),
            assumed=f"assumed {guess}",
        )
        return guess, ""

    def _text_words(self, item: Item, told: int | None, rest: str) -> int:
        sized = re.search(r"\d+", item.row.get(Column.TYPE) or rest)
        letters = int(sized[0]) if sized and len(sized[0]) < 4 else None
        if told is not None:
            return min(told * self.frame.width // 2, 125)
        if letters:
            self.asking.note(item.row.line, f"{letters} taken as letters, two a register")
            return max(1, min(-(-letters // 2), 125))
        self.asking.row(
            item.row.line,
            item.label,
            "how many registers is this text long? Assumed: 1",
            topics=("length", "type"),
            answers=("length=…",),
            assumed="assumed 1 register",
        )
        return 1

    def _compare_length(self, item: Item, kind: str, words: int, told: int | None) -> None:
        if told is None or told * self.frame.width == words * 2 or (self.frame.width == 4 and words == 1):
            return
        if kind.startswith("bcd") and told > 2:
            self.asking.row(
                item.row.line,
                item.label,
                f"{told} registers in BCD are often a date: `type: calendar` with a `layout`. Drafted as "
                f"{kind}",
                topics=("type", "length"),
                answers=("leave-out",),
                assumed=f"assumed {kind}",
            )
            return
        sign = "" if kind.startswith("int") else "u"
        other = "float64" if kind == "float32" and told == _WORDS["64"] else _INTEGERS.get(told)
        other = other and (other if other == "float64" else f"{sign}{other}")
        hint = (
            ", or are there 32 bits behind each address (`bytes_per_register: 4`)"
            if told * 2 == words
            else ""
        )
        self.asking.row(
            item.row.line,
            item.label,
            f"{kind} needs {words} register{'s' * (words > 1)} of 16 bits, the table gives it {told}. "
            f"Drafted as {kind}; is the type wrong, the length{hint}?",
            topics=("type", "length", "bytes_per_register"),
            answers=(f"length={words}", *([f"type={other}"] if other else [])),
            assumed=f"assumed {kind}",
        )

    def _order(self, item: Item) -> list[tuple[str, str]]:
        """An order that the row tells, where it differs from the whole's."""
        text = f"{item.row.get(Column.ORDER)} {item.row.get(Column.TYPE)}".strip()
        found = kinds.order_of(text)
        if found is None:
            own = item.row.get(Column.ORDER)
            if kinds.vague_order(text) or own not in NOTHING:
                self.asking.row(
                    item.row.line,
                    item.label,
                    f"{text!r} means different orders to different makers. Assumed: as all others; `map "
                    "try` with --display shows which",
                    topics=("order", "word_order", "byte_order"),
                    answers=("order=CDAB", "order=ABCD"),
                    assumed="assumed order",
                )
            return []
        whole = self.asking.answers.whole
        usual = whole.get("word_order", "high first"), whole.get("byte_order", "high first")
        pairs = zip(("word_order", "byte_order"), found, usual, strict=True)
        return [(key, told) for key, told, common in pairs if told != common]

    def _section(self, item: Item, table: Kind) -> tuple[str, str]:
        """The section of the map, and why the row cannot be in it, or nothing."""
        text = item.row.get(Column.ACCESS)
        access = cells.access_of(text)
        writes = {5, 6, 15, 16} & cells.functions_of(item.row.get(Column.FUNCTION))
        if access is None and text in ("", "-", "–"):
            access = Access.BOTH if writes else Access.READ
        if access is None:
            self.asking.row(
                item.row.line,
                item.label,
                f"the access {text!r} is not understood. Assumed: only read",
                topics=("access",),
                answers=("access=R", "access=R/W"),
                assumed="assumed only read",
            )
            return "readings", ""
        if access is Access.READ:
            return "readings", ""
        if table not in (Kind.HOLDING, Kind.COIL):
            self.asking.row(
                item.row.line,
                item.label,
                f"{text!r} says that it can be written, but {table.value} registers are only read. Drafted "
                "as a reading",
                topics=("access", "table", "function"),
                answers=("access=R", "table=holding"),
                assumed="assumed only read",
            )
            return "readings", ""
        if access is Access.WRITE:
            self.asking.row(
                item.row.line,
                item.label,
                "can only be written, and what a map names is read back. Left out as a comment; can it be "
                "read after all?",
                topics=("access",),
                answers=("access=R/W", "leave-out"),
            )
            return "settings", "it can only be written"
        return "settings", ""

    def _name(self, item: Item, section: str) -> str:
        line, label = item.row.line, item.label
        if section == "identity":
            for part, word in _IDENTITY.items():
                if part in label.casefold() and f"identity {word}" not in self.names:
                    self.names.add(f"identity {word}")
                    return word
        plain = unicodedata.normalize("NFKD", label.casefold().translate(_LETTERS))
        plain = "".join(one for one in plain if not unicodedata.combining(one))
        word = re.sub(r"[^a-z0-9]+", "_", re.sub(r"[\[(].*?[\])]", "", plain)).strip("_")[:30].strip("_")
        if not word or not word[0].isalpha():
            word = f"value_{word}".strip("_")
        reason = wrong_reading_name(word) if section == "readings" else wrong_name(word)
        if reason:
            word = f"meter_{word}_value"
            self.asking.note(line, f"called {word}, for {reason.partition(';')[0]}")
        name, count = word, 2
        while name in self.names:
            name, count = f"{word}_{count}", count + 1
        if name != word:
            self.asking.note(line, f"called {name}, for another row is {word}")
        self.names.add(name)
        return name


def _identity_or(section: str, item: Item, kind: str) -> str:
    label = item.label.casefold()
    named = any(word in label for word in _IDENTITY)
    serial = any(word in label for word, meaning in _IDENTITY.items() if meaning == "serial_number")
    return "identity" if named and (kind == "text" or serial) else section
