"""Rows as they belong together: merged cells filled, bits and codes of following rows put to their row."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from readout.diagnose.drafting.asking import LEAVE_OUT, Asking, as_lines
from readout.diagnose.drafting.cells import Where, addresses, bare_hexadecimal, bits_of, codes_of, one_code
from readout.diagnose.drafting.table import Column, Row, Table

_RESERVED = re.compile(
    r"\W*(reserved?|reserviert|réservé|spare|unused|not used|nicht belegt|nicht benutzt|frei|libre|non "
    r"utilisé)\b",
    re.IGNORECASE,
)
#: Columns whose blank cells go on from the row above.
_MERGED = (Column.ACCESS, Column.FUNCTION, Column.TABLE)


@dataclass(slots=True)
class Item:
    """A row with its address; `registers`: its length, where rows of blank cells go on with it."""

    row: Row
    where: Where
    registers: int | None = None
    above: list[str] = field(default_factory=list)

    @property
    def label(self) -> str:
        """What the table calls it."""
        return self.row.get(Column.NAME) or f"line {self.row.line}"


@dataclass(slots=True)
class Folded:
    """The rows that have an address, comments below the last of them, how many cannot be in a map."""

    items: list[Item] = field(default_factory=list)
    below: list[str] = field(default_factory=list)
    left_out: int = 0


def are_hexadecimal(table: Table, rows: Sequence[Row], asking: Asking) -> bool:
    """Whether addresses without a mark are hexadecimal: by the answers, the heading, letters in them."""
    told = asking.answers.whole.get("addresses")
    if told is not None:
        return told == "hexadecimal"
    if table.says(Column.ADDRESS, "hex"):
        return True
    found = [row.get(Column.ADDRESS).strip() for row in rows]
    letters = [one for one in found if bare_hexadecimal(one)]
    if letters:
        asking.whole(
            "addresses",
            f"Some addresses are hexadecimal without a mark of it, as {letters[0]}. Assumed: all that have "
            "no mark are. Is that so?",
            "hexadecimal",
            "decimal",
        )
        return True
    numbers = [one for one in found if re.fullmatch(r"\d{3,5}", one, re.ASCII)]
    digits = any(int(one) > 10_000 for one in numbers)  # 00001 is a coil beside 30001
    if (
        not digits
        and len({len(one) for one in numbers}) == 1
        and sum(one.startswith("0") for one in numbers) > 1
    ):
        asking.whole(
            "addresses",
            f"Are addresses such as {numbers[0]}, with zeros in front, decimal or hexadecimal? Assumed: "
            "decimal",
            "decimal",
            "hexadecimal",
        )
    return False


def fold(rows: Sequence[Row], asking: Asking, *, bare_hex: bool) -> Folded:
    """Rows with an address, each with what blank cells, bits, codes and headings around it belong to it."""
    folding = _Folding(asking, bare_hex)
    for row in rows:
        folding.take(row)
    return folding.finished()


class _Folding:
    def __init__(self, asking: Asking, bare_hex: bool) -> None:  # noqa: FBT001  (one caller, just above)
        self.asking = asking
        self.bare_hex = bare_hex
        self.done = Folded()
        self.above: list[str] = []
        self.carried: dict[Column, str] = {}
        self.left_out_above = False  # whether the last row with a name is but a comment
        self.listed: dict[int, list[int]] = {}  # line of a row: lines whose bits or codes went into it

    def take(self, row: Row) -> None:
        """Take the next row of the table."""
        where = addresses(row.get(Column.ADDRESS), bare_hex=self.bare_hex)
        if self.asking.answers.of(row.line, LEAVE_OUT) is not None:
            self._aside(row, "left out, as answered")
        elif self.left_out_above and self._belongs_above(row, where):
            self._aside(row, "left out with the row above")
        elif where is None:
            self._without_address(row)
        elif where.bit is not None:
            self._bit(row, where)
        elif _RESERVED.match(row.get(Column.NAME)):
            self._aside(row, "left out")
        elif not self._goes_on(row, where):
            self._add(Item(self._filled(row), where, above=self.above))

    def finished(self) -> Folded:
        """What came of all rows."""
        self.done.below = self.above
        for line, lines in self.listed.items():
            self.asking.note(line, f"its words come from line {as_lines(lines)}")
        return self.done

    def _add(self, item: Item) -> None:
        self.done.items.append(item)
        self.above = []
        self.left_out_above = False

    @staticmethod
    def _belongs_above(row: Row, where: Where | None) -> bool:
        """Whether a row is but bits, codes or a further register of the one above."""
        if where is None:
            words = " ".join(filter(None, row.cells.values()))
            return bool(bits_of(words) or one_code(words) or codes_of(words))
        return where.bit is None and not row.get(Column.NAME) and not row.get(Column.TYPE)

    def _aside(self, row: Row, why: str) -> None:
        self.left_out_above = True
        words = " ".join(text for text in row.cells.values() if text)
        self.above.append(f"line {row.line}: {words}: {why}")

    def _filled(self, row: Row) -> Row:
        """A blank access, function or table goes on from the row above, as in merged cells."""
        cells = dict(row.cells)
        blank = []
        for column in _MERGED:
            if cells.get(column):
                self.carried[column] = cells[column]
            elif column in cells and self.carried.get(column):
                cells[column] = self.carried[column]
                blank.append(column.value)
        if blank:
            self.asking.note(row.line, f"{' and '.join(blank)} as above")
        return replace(row, cells=cells)

    def _without_address(self, row: Row) -> None:
        texts = [row.get(column) for column in Column if row.get(column)]
        words = " ".join(texts)
        if self.done.items and not row.get(Column.TYPE):
            code = one_code(words)
            if bits_of(words) or code or codes_of(words):
                self._add_words(self.done.items[-1], words, row.line)
                return
        if len(texts) == 1 and not row.get(Column.TYPE):
            self.above.append(words)  # a heading within the table
            return
        self.done.left_out += 1
        text = row.get(Column.ADDRESS)
        label = row.get(Column.NAME) or f"line {row.line}"
        why = f"the address {text!r} is no number" if text else "there is no address"
        self.asking.row(
            row.line,
            label,
            f"{why}; the row is not in the map. What is its address, or is it a remark (`leave-out`)?",
            topics=(Column.ADDRESS.value,),
            answers=("address=…", "leave-out"),
        )
        self._aside(row, why)

    def _add_words(self, item: Item, words: str, line: int) -> None:
        had = item.row.get(Column.CODES)
        item.row = replace(
            item.row, cells={**item.row.cells, Column.CODES: f"{had}; {words}" if had else words}
        )
        self.listed.setdefault(item.row.line, []).append(line)

    def _bit(self, row: Row, where: Where) -> None:
        """An address such as 40021.3: a bit of the register that the row above has, or of one of its own."""
        above = self.done.items[-1] if self.done.items else None
        word = row.get(Column.NAME) or row.get(Column.CODES) or "?"
        words = f"Bit {where.bit}: {re.sub('[=:,;]', ' ', word)}"
        if above is not None and above.where.first == where.first and above.where.last is None:
            self._add_words(above, words, row.line)
            return
        number = row.get(Column.ADDRESS).partition(".")[0].partition(":")[0].strip()
        cells = {Column.ADDRESS: number, Column.NAME: f"bits of {number}", Column.TYPE: "bitfield"}
        merged = {column: row.cells[column] for column in _MERGED if column in row.cells}
        made = Row(row.line, {**cells, Column.CODES: words, **merged})
        where = Where(where.first, None, where.is_hex)
        self._add(Item(self._filled(made), where, above=self.above))
        self.asking.note(
            row.line, f"a register whose bits are listed one by one; {word} is its bit in this line"
        )

    def _goes_on(self, row: Row, where: Where) -> bool:
        """Whether a row of blank cells is but a further register of the row above."""
        if row.get(Column.NAME) or row.get(Column.TYPE) or not self.done.items:
            return False
        item = self.done.items[-1]
        count = item.registers or 1
        if item.where.last is not None or where.first != item.where.first + count or where.last is not None:
            return False
        item.registers = count + 1
        self.asking.note(item.row.line, f"goes on in line {row.line}")
        return True
