"""The draft itself: every row becomes an entry or a comment, every doubt a question with its line."""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from protocols.modbus.tables import Table as Kind
from protocols.register_map.faults import Fault
from protocols.register_map.parse import parse_map
from protocols.units import Dimension, unit_of
from readout.diagnose.drafting import cells
from readout.diagnose.drafting.asking import UNIT_FROM, Answers, Asking, Question
from readout.diagnose.drafting.entries import Building, Entry, Frame
from readout.diagnose.drafting.folding import are_hexadecimal, fold
from readout.diagnose.drafting.layout import (
    ask_of_both_addresses,
    by_its_numbers,
    compared,
    frame_of,
    joined,
    ordered_by_names,
)
from readout.diagnose.drafting.meaning import printable
from readout.diagnose.drafting.table import Table
from readout.diagnose.drafting.told_units import with_told_units

SCHEMA_LINE = "# yaml-language-server: $schema={schema}"
READ_IN = "The table is no Unicode; its letters were read in code page {page}, in which they make most sense."
#: Rows that are checked at a time: a report tells 200 faults at most.
_AT_A_TIME = 40
#: A map is refused beyond 15,000 nodes and ends of lists (`register_map.document`); its head needs some.
_MOST_NODES = 14_900
#: What a conversion takes the fluid for.
_OF_A_FLUID = (
    Dimension.VOLUME_FLOW, Dimension.MASS_FLOW, Dimension.VELOCITY, Dimension.VOLUME, Dimension.MASS,
    Dimension.DENSITY,
)  # fmt: skip
_SECTIONS = ("readings", "settings", "identity")


@dataclass(frozen=True, slots=True)
class Draft:
    """The map's text, its questions in the order of the table, and whether it passes `map check`."""

    text: str
    questions: tuple[Question, ...]
    entries: int
    left_out: int
    passes: bool


def draft(
    table: Table, meter: str, schema: str, *, kind: Kind | None = None, answers: Answers | None = None
) -> Draft:
    """The map of a table. `kind` is the table of rows that name none; `schema` the schema's address.

    Raises:
        ValueError: an answer names a line that has no row, or says what no map can hold.
    """
    asking = Asking(answers or Answers())
    table = by_its_numbers(table)
    ask_of_both_addresses(table, asking)
    rows = asking.answers.into(table.rows)
    for row in rows:
        if row.last > row.line:
            asking.note(row.line, f"put together from lines {row.line} to {row.last}")
    for line, said in asking.answers.rows.items():
        asking.note(line, "answered " + ", ".join(f"{what} {text}".strip() for what, text in said.items()))
    folded = fold(rows, asking, bare_hex=are_hexadecimal(table, rows, asking))
    frame = frame_of(table, folded.items, asking, kind)
    _check_head(frame, asking)
    building = Building(frame, table, asking)
    entries = ordered_by_names([building.entry(item) for item in folded.items], table.rows, asking)
    entries = with_told_units(joined(compared(entries, asking), asking), table.rows, asking)
    entries = _checked(_that_fit(entries, asking), frame, asking)
    asking.of_the_meter(measures_a_fluid=any(map(_goes_by_the_fluid, entries)))
    questions = asking.questions()
    head = [SCHEMA_LINE.format(schema=schema), *(f"# {printable(words, 120)}" for words in table.above)]
    if table.code_page:
        head.append(f"# {READ_IN.format(page=table.code_page)}")
    text = _text(entries, frame, meter, head, asking, questions, folded.below)
    taken = sum(not entry.left_out for entry in entries)
    passes = parse_map(text.encode(), "map").map is not None
    return Draft(text, questions, taken, len(entries) - taken + folded.left_out, passes)


def _goes_by_the_fluid(entry: Entry) -> bool:
    """Whether an entry's unit, or one of those that a register tells, is one of a flow or of an amount."""
    units = (unit_of(word) for word in re.findall(r'[^\s"{}:,]+', entry.get("unit")))
    return any(unit is not None and unit.dimension in _OF_A_FLUID for unit in units)


def _check_head(frame: Frame, asking: Asking) -> None:
    """Refuse answers for the whole table that no map can hold, such as a unit address of 300."""
    lines = [*_head("x", frame, asking, {}), "readings:", "  x: {coil: 1}"]
    for fault in parse_map("\n".join(lines).encode(), "map").faults:
        if fault.severity == "fault":
            raise ValueError(f"an answer for the whole table gives a fault in the map: {fault.fault}")


def _that_fit(entries: Sequence[Entry], asking: Asking) -> list[Entry]:
    """The entries; those beyond what one map can hold are left out."""
    nodes = 0
    found: list[Entry] = []
    for index, entry in enumerate(entries):
        if not entry.left_out:
            nodes += 3 + sum(2 + len(re.findall(r"[,:\[\]{}]", text)) for _, text in entry.keys)
        if nodes > _MOST_NODES:
            asking.whole(
                "size",
                f"The table is longer than one map can be: from line {entry.line} on its rows are comments. "
                "Which of them are needed? Draft those from a table of their own",
            )
            beyond = "the map is full"
            return [
                *found,
                *(one if one.left_out else replace(one, left_out=beyond) for one in entries[index:]),
            ]
        found.append(entry)
    return found


def _checked(entries: Sequence[Entry], frame: Frame, asking: Asking) -> list[Entry]:
    """The entries, those that the checks of a map refuse left out; what the checks warn of is asked."""
    found = list(entries)
    told = [i for i, entry in enumerate(found) if not entry.left_out and entry.get("unit").startswith("{")]
    in_map = [i for i, entry in enumerate(found) if not entry.left_out and i not in told]
    waiting = [in_map[start : start + _AT_A_TIME] for start in range(0, len(in_map), _AT_A_TIME)]
    while waiting:
        some = waiting.pop()
        refused, warned = _judged([found[index] for index in some], frame, asking)
        for place, fault in refused.items():
            entry = found[some[place]]
            asking.row(
                entry.line,
                entry.label,
                f"left out as a comment, for {fault.fault}",
                answers=("bytes_per_register=2", "type=uint32")
                if "bytes_per_register: 2" in fault.fault
                else (),
                assumed="left out",
            )
            found[some[place]] = replace(entry, left_out=fault.fault)
        if refused:
            waiting.append([index for place, index in enumerate(some) if place not in refused])
            continue
        for place, fault in warned:
            _ask_of_warning(found[some[place]], fault, asking)
    for index in told:
        found[index] = _checked_with_its_unit(found[index], found, frame, asking)
    return found


def _checked_with_its_unit(entry: Entry, entries: Sequence[Entry], frame: Frame, asking: Asking) -> Entry:
    """A value whose unit a register tells, checked with all rows between: one read must hold both."""
    teller = asking.answers.of(entry.line, UNIT_FROM)
    places = [one.first for one in entries if one is entry or str(one.line) == teller]
    between = [
        one
        for one in entries
        if one is not entry and not one.left_out and min(places) <= one.first <= max(places)
    ]
    refused, warned = _judged([entry, *between], frame, asking)
    if 0 in refused:
        text = refused[0].fault
        answers = ("parts=apart",) if "one read" in text else ()
        asking.row(
            entry.line,
            entry.label,
            f"left out as a comment, for {text}",
            answers=answers,
            assumed="left out",
        )
        return replace(entry, left_out=text)
    for place, fault in warned:
        if place == 0:
            _ask_of_warning(entry, fault, asking)
    return entry


def _judged(
    entries: Sequence[Entry], frame: Frame, asking: Asking
) -> tuple[dict[int, Fault], list[tuple[int, Fault]]]:
    """Faults and warnings of entries by their place among them."""
    lines = _head("x", frame, asking, {})
    at: dict[int, int] = {}
    for section in _SECTIONS:
        of_it = [(place, entry) for place, entry in enumerate(entries) if entry.section == section]
        if of_it:
            lines.append(f"{section}:")
        for place, entry in of_it:
            lines.append(f"  {entry.name}: {entry.body()}")
            at[len(lines)] = place
    parsed = parse_map("\n".join(lines).encode(), "map")
    refused: dict[int, Fault] = {}
    warned = []
    for fault in parsed.faults:
        if fault.line in at and fault.severity == "fault":
            refused.setdefault(at[fault.line], fault)
        elif fault.line in at:
            warned.append((at[fault.line], fault))
    return refused, warned


def _ask_of_warning(entry: Entry, fault: Fault, asking: Asking) -> None:
    """What `map check` warns of, as a question, unless it was asked already."""
    text, kind = fault.fault, entry.get("type")
    if "has no unit" in text or "reads the same registers" in text:
        return
    if "without a reference" in text:
        asking.gas_conditions(entry.line, entry.label)
    elif "begins below 0" in text and kind.startswith("uint"):
        answers = (f"type={kind[1:]}", f"type={kind}")
        asking.row(
            entry.line, entry.label, text, topics=("type",), answers=answers, assumed=f"assumed {kind}"
        )
    elif (proper := re.search(r"may be what is called (\w+) here", text)) is not None:
        asking.row(entry.line, entry.label, text, topics=("name",), answers=(f"name={proper[1]}",))
    else:
        asking.row(entry.line, entry.label, text, topics=("range", "scale"), answers=_in_raw_numbers(entry))


def _in_raw_numbers(entry: Entry) -> tuple[str, ...]:
    """The range as an answer, taken for one of raw numbers; nothing where the row has no scale."""
    scale, within = entry.get("scale"), cells.range_of(entry.get("range").strip("[]").replace(", ", " to "))
    if not scale or within is None:
        return ()
    return (f"range={cells.scaled_range(within, Decimal(scale))}",)


def _head(meter: str, frame: Frame, asking: Asking, numbers: dict[str, str]) -> list[str]:
    """The keys before the sections; `numbers` are remarks behind them, by topic."""
    whole = asking.answers.whole
    lines = ["register_map: 1", f"meter: {json.dumps(printable(meter), ensure_ascii=False)}"]
    if "fluid" in whole:
        lines.append(f"fluid: {json.dumps(printable(whole['fluid']), ensure_ascii=False)}")
    serial = [
        f"{key}: {whole[key]}" for key in ("baud_rate", "parity", "stop_bits", "unit_address") if key in whole
    ]
    if serial:
        lines.append(f"serial: {{{', '.join(serial)}}}")
    lines += ["wire:", f"  numbering: {frame.numbering}{numbers.get('numbering', '')}"]
    lines.append(f"  word_order: {whole.get('word_order', 'high first')}{numbers.get('word_order', '')}")
    if "byte_order" in whole:
        lines.append(f"  byte_order: {whole['byte_order']}")
    if frame.width == 4:
        lines.append(f"  bytes_per_register: 4{numbers.get('bytes_per_register', '')}")
    return lines


def _text(
    entries: Sequence[Entry],
    frame: Frame,
    meter: str,
    head: Sequence[str],
    asking: Asking,
    questions: Sequence[Question],
    below: Sequence[str],
) -> str:
    """The map's text: a remark behind each row for what was assumed, and all questions at its end."""
    numbers = {key: f"  # {words}" for key, words in asking.beside.items()}
    numbers |= {
        question.answers[0].partition("=")[0]: f"  # assumed (question {number})"
        for number, question in enumerate(questions, 1)
        if not question.lines and question.answers
    }
    lines = [
        *head,
        "# Drafted from a table"
        + (": what is assumed here, and the questions at its end, are still open." if questions else "."),
        *_head(meter, frame, asking, numbers),
    ]
    for section in _SECTIONS:
        of_it = [entry for entry in entries if entry.section == section]
        if any(not entry.left_out for entry in of_it):
            lines.append(f"{section}:")
        for entry in of_it:
            lines += [f"  # {printable(words, 120)}" for words in entry.above]
            remarks = [f"line {entry.line}: {printable(entry.label)}", *asking.notes.get(entry.line, ())]
            mark = "# " if entry.left_out else "  "
            remark = "; ".join(printable(one, 120) for one in remarks)
            lines.append(f"{mark}{entry.name}: {entry.body()}  # {remark}")
    lines += [f"# {printable(words, 120)}" for words in below]
    if questions:
        lines.append("# Questions")
    for number, question in enumerate(questions, 1):
        where = f"line {', '.join(map(str, question.lines))}: " if question.lines else ""
        lines.append(f"# {number}. {printable(where + question.question, 600)}")
    return "\n".join(lines) + "\n"
