"""The draft itself: every row becomes an entry or a comment, every doubt a question with its line."""

import json
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import pairwise

from protocols.modbus.tables import Table as Kind
from protocols.register_map.grammar.line import Numbering
from protocols.register_map.grammar.values import wrong_reading_name
from protocols.register_map.parse import parse_map
from readout.diagnose.drafting import cells
from readout.diagnose.drafting.table import Column, Row, Table

SCHEMA_LINE = "# yaml-language-server: $schema={schema}"
#: Registers of each type; a text has as many as its row says.
_WORDS = {"64": 4, "48": 3, "32": 2}
_DIGITS = {"0": Kind.COIL, "1": Kind.DISCRETE, "3": Kind.INPUT, "4": Kind.HOLDING}
_IDENTITY = {"serial": "serial_number", "firmware": "firmware", "software": "firmware", "model": "model"}
_PRESSURES = frozenset({"bar", "mbar", "Pa", "hPa", "kPa", "MPa", "psi"})
#: Characters that are not told apart by taking their accents off.
_LETTERS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "³": "3", "²": "2"})


@dataclass(frozen=True, slots=True)
class Question:
    """What the integrator must answer; `line` is that of the table, from 1, or None for the whole of it."""

    line: int | None
    question: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One row as an entry of the map; `left_out` says why it is only a comment."""

    line: int
    name: str
    section: str
    keys: tuple[tuple[str, str], ...]
    label: str
    table: Kind
    first: int
    words: int
    left_out: str = ""


@dataclass(frozen=True, slots=True)
class Draft:
    """The map's text, its questions in the order of the table, and whether it passes `map check`."""

    text: str
    questions: tuple[Question, ...]
    entries: int
    left_out: int
    passes: bool


@dataclass(slots=True)
class _Work:
    numbering: str
    table: Kind
    questions: list[Question] = field(default_factory=list)
    names: set[str] = field(default_factory=set)

    def ask(self, line: int | None, question: str) -> None:
        self.questions.append(Question(line, question))


def draft(table: Table, meter: str, schema: str, *, kind: Kind | None = None) -> Draft:
    """The map of a table. `kind` is the table of rows that name none; `schema` the schema's address."""
    rows = _carried(table.rows)
    work = _Work(_numbering(rows), kind or Kind.HOLDING)
    _ask_of_the_whole(table, rows, work, kind)
    entries = [entry for row in rows if (entry := _entry(row, work)) is not None]
    _compare(entries, work)
    for _ in range(len(entries) + 1):  # each round leaves out what the checks refuse
        text, at = _text(entries, work, meter, schema)
        parsed = parse_map(text.encode(), "map")
        if parsed.map is not None:
            break
        refused = {at[f.line]: f.fault for f in parsed.faults if f.severity == "fault" and f.line in at}
        if not refused:
            for fault in parsed.faults:
                work.ask(None, fault.fault)
            break
        for index, why in refused.items():
            work.ask(entries[index].line, f"{entries[index].label}: left out as a comment, for {why}")
            entries[index] = replace(entries[index], left_out=why)
    for fault in parsed.faults:
        if fault.severity == "warning" and fault.line in at:
            entry = entries[at[fault.line]]
            work.ask(entry.line, f"{entry.label}: {fault.fault}")
    taken = sum(not entry.left_out for entry in entries)
    questions = tuple(sorted(work.questions, key=lambda one: one.line or 0))
    return Draft(text, questions, taken, len(entries) - taken, parsed.map is not None)


def _carried(rows: Sequence[Row]) -> list[Row]:
    """Rows with merged cells filled: a blank access, function or table goes on from the row above."""
    above: dict[Column, str] = {}
    filled = []
    for row in rows:
        found = dict(row.cells)
        for column in (Column.ACCESS, Column.FUNCTION, Column.TABLE):
            if column in found:
                above[column] = found[column] = found[column] or above.get(column, "")
        filled.append(Row(row.line, found))
    return filled


def _numbering(rows: Sequence[Row]) -> str:
    """What most addresses look like: with a table digit, or counted from 0."""
    found = [one for row in rows if (one := cells.addresses(row.get(Column.ADDRESS))) is not None]
    digits = sum(not is_hex and _digit(first) is not None for first, _, is_hex in found)
    return Numbering.TABLE_DIGIT.value if digits * 2 > len(found) else Numbering.FROM_0.value


def _digit(number: int) -> Kind | None:
    """The table that the first digit of 30001 or 400001 names."""
    if 10001 <= number <= 49999 or 100001 <= number <= 465536:
        return _DIGITS.get(str(number)[0])
    return None


def _ask_of_the_whole(table: Table, rows: Sequence[Row], work: _Work, kind: Kind | None) -> None:
    if work.numbering == Numbering.FROM_0:
        work.ask(
            None,
            "Do the addresses count from 0 or from 1? Assumed: from 0. `map try` reads one register earlier "
            "and later; if the values lie one earlier, write `numbering: from 1`",
        )
    if (
        kind is None
        and work.numbering == Numbering.FROM_0
        and not table.known & {Column.FUNCTION, Column.TABLE}
    ):
        work.ask(
            None,
            "Which table do the registers lie in? Assumed: holding (function 03). `map try` reads the input "
            "registers (function 04) too; draft again with --table input if those answer",
        )
    if any(_words(cells.type_of(row.get(Column.TYPE)) or "") > 1 for row in rows):
        work.ask(
            None,
            "Which register of a value of several registers holds the high part? Assumed: the first "
            "(`word_order: high first`). `map try` with --display shows which order gives the shown value",
        )
    if table.unknown:
        work.ask(
            None, f"These columns were not used: {', '.join(table.unknown)}. Do they say anything needed?"
        )


def _words(kind: str) -> int:
    return next((words for end, words in _WORDS.items() if kind.endswith(end)), 1)


def _entry(row: Row, work: _Work) -> Entry | None:
    label = row.get(Column.NAME) or f"line {row.line}"
    where = cells.addresses(row.get(Column.ADDRESS))
    if where is None:
        text = row.get(Column.ADDRESS)
        if text or row.get(Column.TYPE):
            work.ask(row.line, f"{label}: the address {text!r} is no number; the row is not in the map")
        return None
    number, last, is_hex = where
    table, first = _place(row, number, work, label, is_hex=is_hex)
    length = cells.decimal(row.get(Column.LENGTH))
    told = int(length) if length is not None and 1 <= length <= 125 else None
    if last is not None:
        told = last - number + 1
    kind = _kind(row, table, told, work, label)
    keys = [(table.value, str(number))]
    words = told or _words(kind)
    if not table.of_bits:
        keys.append(("type", kind))
        words = told or 1 if kind == "text" else _words(kind)
        if kind == "text":
            sized = re.search(r"(\d+)", row.get(Column.TYPE))
            words = told or (-(-int(sized[1]) // 2) if sized and len(sized[1]) < 4 else 1)
            keys.append(("registers", str(words)))
        elif told is not None and told != words:
            work.ask(
                row.line,
                f"{label}: {kind} needs {words} registers of 16 bits, the table gives it {told}. "
                f"Drafted as {kind}; is the type wrong, the length, or are there 32 bits behind each address "
                "(`bytes_per_register: 4`)?",
            )
    section = _section(row, table, kind, label)
    if kind != "text":
        _describe(row, section, kind, keys, work, label)
    return Entry(row.line, _name(label, section, work), section, tuple(keys), label, table, first, words)


def _place(row: Row, number: int, work: _Work, label: str, *, is_hex: bool) -> tuple[Kind, int]:
    told = cells.table_of(row.get(Column.FUNCTION)) or cells.table_of(row.get(Column.TABLE))
    if work.numbering != Numbering.TABLE_DIGIT:
        if not is_hex and _digit(number) is not None:
            work.ask(
                row.line,
                f"{label}: {number} looks like a number with its table digit, most others do not. Which?",
            )
        return told or work.table, number
    digit = _digit(number)
    if digit is None or is_hex:
        work.ask(row.line, f"{label}: {number} has no table digit, most others do. What is its full number?")
        return told or work.table, number
    if told is not None and told is not digit:
        work.ask(
            row.line,
            f"{label}: the number {number} says {digit.value}, the table column says {told.value}. Drafted "
            f"as {digit.value}; `map try` reads both",
        )
    return digit, number % (100_000 if number >= 100_000 else 10_000)


def _kind(row: Row, table: Kind, told: int | None, work: _Work, label: str) -> str:
    text = row.get(Column.TYPE)
    found = cells.type_of(text)
    if found is not None or table.of_bits:
        return found or "uint16"
    guess = "uint32" if told == 2 else "uint16"
    why = f"the type {text!r} is not known" if text else "no type is told"
    work.ask(
        row.line, f"{label}: {why}. Assumed: {guess}, after its length; `map try` shows the other readings"
    )
    return guess


def _section(row: Row, table: Kind, kind: str, label: str) -> str:
    if any(word in label.casefold() for word in _IDENTITY) and (
        kind == "text" or "serial" in label.casefold()
    ):
        return "identity"
    writes = cells.writable(row.get(Column.ACCESS)) and table in (Kind.HOLDING, Kind.COIL)
    return "settings" if writes else "readings"


def _describe(
    row: Row, section: str, kind: str, keys: list[tuple[str, str]], work: _Work, label: str
) -> None:
    """Add scale, unit, range and codes as the row tells them; ask where it does not."""
    scale = _scale(row, work, label)
    if scale is not None:
        keys.append(("scale", scale))
    codes = cells.codes_of(row.get(Column.CODES)) or cells.codes_of(row.get(Column.RANGE))
    if codes and not kind.startswith("float"):
        keys.append(
            (
                "codes",
                "{"
                + ", ".join(f"{n}: {json.dumps(_printable(w), ensure_ascii=False)}" for n, w in codes.items())
                + "}",
            )
        )
        return
    unit = _unit(row, work, label, section)
    if unit is not None:
        keys.append(("unit", json.dumps(unit, ensure_ascii=False)))
    within = cells.range_of(row.get(Column.RANGE))
    if within is not None:
        keys.append(("range", f"[{within[0]}, {within[1]}]"))


def _scale(row: Row, work: _Work, label: str) -> str | None:
    text = row.get(Column.SCALE)
    if not text or text in {"-", "–", "1"}:
        return None
    found = cells.scale_of(text)
    if found is None:
        work.ask(row.line, f"{label}: the scale {text!r} is not understood; drafted without one")
        return None
    return None if found == Decimal(1) else f"{found.normalize():f}"


def _unit(row: Row, work: _Work, label: str, section: str) -> str | None:
    bracket = re.search(r"[\[(]([^\[\]()]{1,12})[\])]\s*$", row.get(Column.NAME))
    text = row.get(Column.UNIT) or (bracket[1] if bracket else "")
    found = cells.unit_word(text) if text.strip("-– ") else None
    if found is None and section == "readings":
        why = f"the unit {text!r} is not known" if text.strip("-– ") else "no unit is told"
        work.ask(row.line, f"{label}: {why}. Write `unit: 1` for a plain number, or the unit")
    if found in _PRESSURES and "abs" not in label.casefold():
        work.ask(
            row.line,
            f"{label}: above the surrounding air (then `gauge: true`) or absolute? Assumed: absolute",
        )
    return found


def _name(label: str, section: str, work: _Work) -> str:
    if section == "identity":
        for part, word in _IDENTITY.items():
            if part in label.casefold() and f"identity {word}" not in work.names:
                work.names.add(f"identity {word}")
                return word
    plain = unicodedata.normalize("NFKD", label.casefold().translate(_LETTERS))
    word = re.sub(r"[^a-z0-9]+", "_", re.sub(r"[\[(].*?[\])]", "", plain)).strip("_")[:30].strip("_")
    if not word or not word[0].isalpha():
        word = f"value_{word}".strip("_")
    if wrong_reading_name(word):
        word = f"meter_{word}_value"
    name, count = word, 2
    while name in work.names:
        name, count = f"{word}_{count}", count + 1
    work.names.add(name)
    return name


def _compare(entries: Sequence[Entry], work: _Work) -> None:
    """Ask about addresses that are given twice, overlap, or jump back."""
    for before, entry in pairwise(entries):
        if before.table is entry.table and entry.first < before.first:
            work.ask(entry.line, f"{entry.label}: its address lies before the one above. A slip of the pen?")
        gap = entry.first - before.first - before.words
        if before.table is entry.table and 0 < gap <= 3:
            work.ask(entry.line, f"{entry.label}: {gap} registers before it are not listed. Is one longer?")
    held: dict[tuple[Kind, int], Entry] = {}
    for entry in entries:
        for address in range(entry.first, entry.first + min(entry.words, 125)):
            other = held.setdefault((entry.table, address), entry)
            if other is not entry:
                work.ask(
                    entry.line,
                    f"{entry.label}: shares {entry.table.value} {entry.first} with {other.label} "
                    f"(line {other.line}). Which of them is right?",
                )
                break


def _text(entries: Sequence[Entry], work: _Work, meter: str, schema: str) -> tuple[str, dict[int, int]]:
    """The map's text, and the entry on each line that has one."""
    at: dict[int, int] = {}
    lines = [
        SCHEMA_LINE.format(schema=schema),
        "# Drafted from a table. Whatever the questions name is an assumption until `map try` has shown it.",
        "register_map: 1",
        f"meter: {json.dumps(_printable(meter), ensure_ascii=False)}",
        "wire:",
        f"  numbering: {work.numbering}",
        "  word_order: high first  # assumed",
    ]
    for section in ("readings", "settings", "identity"):
        of_it = [(index, entry) for index, entry in enumerate(entries) if entry.section == section]
        if any(not entry.left_out for _, entry in of_it):
            lines.append(f"{section}:")
        for index, entry in of_it:
            body = ", ".join(f"{key}: {value}" for key, value in entry.keys)
            if not entry.left_out:
                at[len(lines) + 1] = index
            mark = "# " if entry.left_out else "  "
            lines.append(f"{mark}{entry.name}: {{{body}}}  # line {entry.line}: {_printable(entry.label)}")
    return "\n".join(lines) + "\n", at


def _printable(text: str) -> str:
    return "".join(one if one.isprintable() else " " for one in text)[:80].strip()
