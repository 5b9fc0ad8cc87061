"""How rows lie among each other: counted how, overlapping, with gaps, parts of one value."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from protocols.modbus.tables import Table as Kind
from protocols.register_map.grammar.line import Numbering
from readout.diagnose.drafting import kinds
from readout.diagnose.drafting.asking import ADDED_TO, EXPONENT_OF, LEAVE_OUT, Asking
from readout.diagnose.drafting.cells import Where, addresses, bare_hexadecimal, table_of
from readout.diagnose.drafting.entries import Entry, Frame, behind_digit, digit_of, words_of
from readout.diagnose.drafting.folding import Item
from readout.diagnose.drafting.table import Column, Row, Table

#: Fewer rows than this show no habit of a table.
_FEW = 3
_WORD = r"[\s_-]*(?:word|wort|mot|register|part|teil)"
_OF_A_TABLE = re.compile(
    r"holding|input reg|halteregister|eingangsregister|fun[ck]tion|fonction|\bfc ?\d", re.IGNORECASE
)
_MOT = r"(?:mot|partie|registre)[\s_-]*(?:de[\s_-]+)?"
_HALF = re.compile(
    rf"[\s_,(\[-]*(?:((?:higher|high|upper|most significant|obere[rs]?|höherwertige[rs]?|haut){_WORD}|"
    rf"\b{_MOT}(?:haute?|poids[\s_-]+fort)|\b(?:hi|msw|hw)\b|\((?:h|high)\))|"
    rf"((?:lower|low|least significant|untere[rs]?|niederwertige[rs]?|bas){_WORD}|"
    rf"\b{_MOT}(?:bas(?:se)?|poids[\s_-]+faible)|\b(?:lo|lsw|lw)\b|\((?:l|low)\)))[)\]\s]*$",
    re.IGNORECASE,
)


def by_its_numbers(table: Table) -> Table:
    """Of a table with two columns of addresses the one whose numbers have a table digit counts first."""
    counts = [
        sum(where is not None and not where.is_hex and digit_of(where.first) is not None for where in side)
        for side in zip(*_both_addresses(table), strict=True)
    ]
    if not counts or counts[1] <= counts[0]:
        return table
    turned = {Column.ADDRESS: Column.OTHER_ADDRESS, Column.OTHER_ADDRESS: Column.ADDRESS}
    rows = tuple(
        replace(row, cells={turned.get(column, column): text for column, text in row.cells.items()})
        for row in table.rows
    )
    headings = {turned.get(column, column): text for column, text in table.headings.items()}
    return replace(table, rows=rows, headings=headings)


def _both_addresses(table: Table) -> list[tuple[Where | None, Where | None]]:
    if Column.OTHER_ADDRESS not in table.known:
        return []
    columns = (Column.ADDRESS, Column.OTHER_ADDRESS)
    bare = [
        table.says(column, "hex") or any(bare_hexadecimal(row.get(column)) for row in table.rows)
        for column in columns
    ]
    return [
        (
            addresses(row.get(columns[0]), bare_hex=bare[0]),
            addresses(row.get(columns[1]), bare_hex=bare[1]),
        )
        for row in table.rows
    ]


def ask_of_both_addresses(table: Table, asking: Asking) -> None:
    """Ask of rows whose two addresses differ by another number than those of most rows do."""
    apart = {
        row.line: other.first - (behind_digit(one.first) if digit_of(one.first) is not None else one.first)
        for row, (one, other) in zip(table.rows, _both_addresses(table), strict=False)
        if one is not None and other is not None
    }
    if not apart:
        return
    usual = Counter(apart.values()).most_common(1)[0][0]
    for row in table.rows:
        if apart.get(row.line, usual) != usual:
            asking.row(
                row.line,
                row.get(Column.NAME) or f"line {row.line}",
                f"its addresses {row.get(Column.ADDRESS)} and {row.get(Column.OTHER_ADDRESS)} lie further "
                "apart than those of the other rows. Assumed: the first",
                topics=("address",),
                answers=(f"address={row.get(Column.ADDRESS)}", "address=…"),
                assumed=f"assumed {row.get(Column.ADDRESS)}",
            )


def frame_of(table: Table, items: Sequence[Item], asking: Asking, kind: Kind | None) -> Frame:
    """What holds for the whole table; what it leaves open is asked. `kind`: of rows that say none."""
    whole = asking.answers.whole
    numbering, zero_digits = _numbering(items, asking)
    if kind is None and "table" in whole:
        kind = Kind(whole["table"])
    has_tables = (
        table.known & {Column.FUNCTION, Column.TABLE} or numbering == Numbering.TABLE_DIGIT or zero_digits
    )
    if kind is None and not has_tables:
        spoken = [*table.above, *(words for item in items for words in item.above)]
        named = [words for words in spoken if _OF_A_TABLE.search(words) and table_of(words) is not None]
        between = f"The file speaks of {' and of '.join(map(repr, named[:3]))}. " if named else ""
        asking.whole(
            "table",
            f"{between}Which table do the registers lie in? Assumed: holding (function 03). `map try` reads "
            "the input registers (function 04) too",
            "input",
            "holding",
        )
    wide = [item for item in items if words_of(_kind(item)) > 1]
    if any(
        kinds.order_of(f"{item.row.get(Column.ORDER)} {item.row.get(Column.TYPE)}") is None for item in wide
    ):
        said = next((words for words in table.above if kinds.order_of(words)), "")
        asking.whole(
            "word_order",
            (f"Above the table stands {said!r}. " if said else "")
            + "Which register of a value of several registers holds the high part? Assumed: the first "
            "(`word_order: high first`). `map try` with --display shows which order gives the shown value",
            "low first",
            "high first",
        )
    if table.unknown:
        asking.whole(
            "columns",
            f"These columns were not used: {', '.join(map(repr, table.unknown))}. Do they say anything "
            "needed?",
        )
    return Frame(numbering, kind or Kind.HOLDING, _width(items, asking), zero_digits)


def _kind(item: Item) -> str:
    return kinds.type_and_rest(item.row.get(Column.TYPE))[0] or ""


def _numbering(items: Sequence[Item], asking: Asking) -> tuple[str, bool]:
    told = asking.answers.whole.get("numbering")
    if told is not None:
        return told, False
    decimals = [item.where.first for item in items if not item.where.is_hex]
    digits = [number for number in decimals if digit_of(number) is not None]
    if len(digits) * 2 > len(items):
        if not any(behind_digit(number) == 0 for number in digits):
            return Numbering.TABLE_DIGIT.value, False
        asking.whole(
            "numbering",
            f"{min(digits)} is listed, so the numbers behind the table's digit seem to count from 0, where "
            "they usually count from 1. Assumed: from 0; drafted as addresses from 0",
            "table digit",
            "from 0",
        )
        return Numbering.FROM_0.value, True
    if any(item.where.first == 0 for item in items):
        asking.beside["numbering"] = "0 is listed"
        return Numbering.FROM_0.value, False
    starts = {item.where.first % 2 for item in items if words_of(_kind(item)) > 1}
    count = sum(words_of(_kind(item)) > 1 for item in items)
    hint = ""
    if count >= _FEW and starts == {1}:
        hint = "All values of several registers begin at odd numbers, which speaks for 1. "
    asking.whole(
        "numbering",
        f"Do the addresses count from 0 or from 1? {hint}Assumed: from 0. `map try` reads one register "
        "earlier and later; if the values lie one earlier, they count from 1",
        "from 1",
        "from 0",
    )
    return Numbering.FROM_0.value, False


def _width(items: Sequence[Item], asking: Asking) -> int:
    """Bytes behind each address: 4 where every 32-bit value is followed by the very next address."""
    told = asking.answers.whole.get("bytes_per_register")
    if told is not None:
        return int(told)
    steps = [
        (item, after.where.first - item.where.first)
        for item, after in pairwise(items)
        if words_of(_kind(item)) == 2 and item.where.last is None and item.registers is None
    ]
    close = [item for item, step in steps if step == 1]
    if len(close) < _FEW or any(step == 2 for _, step in steps):
        return 2
    asking.whole(
        "bytes_per_register",
        f"{len(close)} values of 32 bits are followed by the very next address, such as {close[0].label} "
        f"(line {close[0].row.line}). Are there 32 bits behind each address? Assumed: yes "
        "(`bytes_per_register: 4`)",
        "4",
        "2",
    )
    return 4


def joined(entries: Sequence[Entry], asking: Asking) -> list[Entry]:
    """The entries with parts of a value put to the value, as answered; what looks like parts is asked.

    Raises:
        ValueError: an answer names a line that has no entry.
    """
    by_line = {entry.line: entry for entry in entries}
    gone: set[int] = set()
    for entry in entries:
        for what, key in ((ADDED_TO, "plus"), (EXPONENT_OF, "times_ten_to")):
            text = asking.answers.of(entry.line, what)
            if text is None or text == "none":
                continue
            main = by_line.get(int(text)) if text.isascii() and text.isdigit() else None
            if main is None or main.line == entry.line or main.line in gone:
                raise ValueError(
                    f"answer {entry.line}:{what}={text}: write the line of the row it belongs to"
                )
            whole = _with_part(main, key, entry)
            by_line[main.line] = replace(whole, left_out=whole.left_out or entry.left_out)
            gone.add(entry.line)
            role = "added to it" if key == "plus" else "its power of ten"
            asking.note(main.line, f"line {entry.line} ({entry.label}) is {role}")
    left = [by_line[entry.line] for entry in entries if entry.line not in gone]
    for before, entry in pairwise(left):
        _ask_of_parts(before, entry, asking)
    return left


def _with_part(main: Entry, key: str, part: Entry) -> Entry:
    kept = (
        part.table.value,
        "type",
        "word_order",
        "byte_order",
        *(("scale", "offset") if key == "plus" else ()),
    )
    body = f"{{{', '.join(f'{name}: {text}' for name, text in part.keys if name in kept)}}}"
    had = main.get("plus").strip("[]") if key == "plus" else ""
    value = f"[{', '.join(filter(None, (had, body)))}]" if key == "plus" else body
    return replace(main, keys=(*(pair for pair in main.keys if pair[0] != key), (key, value)))


def _ask_of_parts(before: Entry, entry: Entry, asking: Asking) -> None:
    """Halves, fractions and exponents in rows of their own: read apart, they can be torn."""
    if (
        entry.table.of_bits
        or before.table is not entry.table
        or entry.first != before.first + before.addresses
    ):
        return
    if kinds.FRACTION.search(entry.label):
        asking.row(
            entry.line,
            entry.label,
            f"is it the fraction of {before.label} (line {before.line})? Then both are one value and must "
            "come from one read. Assumed: a value of its own",
            topics=(ADDED_TO, EXPONENT_OF),
            answers=(f"{ADDED_TO}={before.line}", f"{ADDED_TO}=none"),
            assumed="assumed a value of its own",
        )
    elif kinds.EXPONENT.search(entry.label):
        asking.row(
            entry.line,
            entry.label,
            f"is it the power of ten of {before.label} (line {before.line})? Then both must come from one "
            "read. Assumed: a value of its own",
            topics=(ADDED_TO, EXPONENT_OF),
            answers=(f"{EXPONENT_OF}={before.line}", f"{EXPONENT_OF}=none"),
            assumed="assumed a value of its own",
        )
    order = _order_of_halves(before.label, entry.label)
    if order is not None and before.addresses == entry.addresses == 1:
        asking.row(
            entry.line,
            entry.label,
            f"is it one half of a value of 32 bits with {before.label} (line {before.line})? Read as two, "
            "they can be of two moments. Assumed: two values",
            topics=("leave-out", "type"),
            answers=(
                f"{before.line}:type=uint32; {entry.line}:leave-out; {before.line}:word_order={order}",
                f"{entry.line}:type={entry.get('type')}",
            ),
            assumed="assumed a value of its own",
        )


def _order_of_halves(label: str, below: str) -> str | None:
    """The order of words that two names tell, as `Total HW` and `Total LW`; None where they are no halves."""
    one, other = _HALF.search(label), _HALF.search(below)
    if one is None or other is None or bool(one[1]) == bool(other[1]):
        return None
    if label[: one.start()].casefold() != below[: other.start()].casefold():
        return None
    return "high first" if one[1] else "low first"


def ordered_by_names(entries: Sequence[Entry], rows: Sequence[Row], asking: Asking) -> list[Entry]:
    """The entries; one made of a row for each half has the order that their names tell, as copied.

    `rows` are those of the table before the answers, which may have renamed them.
    """
    halves = {
        before.line: (order, below.line)
        for before, below in pairwise(rows)
        if asking.answers.of(below.line, LEAVE_OUT) is not None
        and (order := _order_of_halves(before.get(Column.NAME), below.get(Column.NAME))) is not None
    }
    found = []
    for entry in entries:
        order, below = halves.get(entry.line, ("", 0))
        if order and words_of(entry.get("type")) == 2 and not entry.get("word_order"):
            asking.note(entry.line, f"{order}, by its name and that of line {below}")
            entry = replace(entry, keys=(*entry.keys, ("word_order", order)))
        found.append(entry)
    return found


def compared(entries: Sequence[Entry], asking: Asking) -> list[Entry]:
    """The entries, those that overlap one above left out; what is odd about their places is asked."""
    wide = [entry for entry in entries if entry.addresses > 1]
    odd = [entry for entry in wide if entry.printed % 2]
    fewer = min((odd, [entry for entry in wide if not entry.printed % 2]), key=len)
    astray = {entry.line for entry in fewer} if len(wide) >= 4 * len(fewer) and len(wide) > _FEW else set()
    held: dict[tuple[Kind, int], Entry] = {}
    found: list[Entry] = []
    before: Entry | None = None
    for entry in entries:
        if before is not None:
            _ask_of_order(before, entry, asking)
        kept = entry if entry.left_out else _in_its_place(entry, before, held, asking)
        if entry.line in astray and not kept.left_out:
            asking.row(
                entry.line,
                entry.label,
                f"begins at an {'odd' if entry.printed % 2 else 'even'} number, most values of several "
                "registers do not. A slip of the pen?",
                topics=("address",),
                answers=("address=…",),
            )
        found.append(kept)
        before = entry
    return found


def _ask_of_order(before: Entry, entry: Entry, asking: Asking) -> None:
    if before.table is not entry.table:
        return
    if entry.first < before.first:
        asking.row(
            entry.line,
            entry.label,
            "its address lies before the one above. A slip of the pen?",
            topics=("address",),
            answers=(f"address={entry.shown(entry.printed)}", "address=…"),
        )
    gap = entry.first - before.first - before.addresses
    if 0 < gap <= 3 and not entry.above:
        asking.row(
            entry.line,
            entry.label,
            f"{gap} register{'s' * (gap > 1)} before it {'are' if gap > 1 else 'is'} not listed. Is the "
            "value above longer, or is an address wrong?",
            topics=("address",),
            answers=(f"address={entry.shown(entry.printed)}",),
        )


def _in_its_place(
    entry: Entry, before: Entry | None, held: dict[tuple[Kind, int], Entry], asking: Asking
) -> Entry:
    places = [(entry.table, entry.first + n) for n in range(entry.addresses)]
    others = [held[place] for place in places if place in held]
    astride = [other for other in others if other.first != entry.first]
    if not others:
        held.update(dict.fromkeys(places, entry))
        return entry
    other = (astride or others)[0]
    follows = "address=…"
    if before is not None and before.table is entry.table:
        ends = before.first + before.addresses
        if all((entry.table, ends + n) not in held for n in range(entry.addresses)):
            follows = f"address={entry.shown(before.printed + before.addresses)}"
    number = max(entry.printed, other.printed)
    what = "Left out as a comment; which of them is right?" if astride else "Which of them is right?"
    asking.row(
        entry.line,
        entry.label,
        f"shares {entry.table.value} {entry.shown(number)} with {other.label} (line {other.line}). {what}",
        topics=() if astride else ("address",),
        answers=(follows, "leave-out"),
        assumed="left out" if astride else "",
    )
    if astride:
        return replace(entry, left_out=f"it shares a register with {other.label}")
    for place in places:
        held.setdefault(place, entry)
    return entry
