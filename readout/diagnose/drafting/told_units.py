"""Units that another register tells: asked about, and written into the entry as answered."""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from protocols.units import Dimension, unit_of
from readout.diagnose.drafting import cells, kinds
from readout.diagnose.drafting.asking import UNIT_FROM, UNIT_TOPICS, Asking
from readout.diagnose.drafting.entries import Entry
from readout.diagnose.drafting.table import Column, Row

_CONDITIONS = ("reference", "basis")
#: Names of a register that tells a unit; common practice, no source.
_NAMED = re.compile(r"\bunits?\b|einheit|\bunités?\b|\buom\b", re.IGNORECASE)
_CODE = re.compile(r'(\d+): ("(?:[^"\\]|\\.)*")')
#: A word of a name that says what is measured is longer than this; characters.
_SHORT = 3


def with_told_units(entries: Sequence[Entry], rows: Sequence[Row], asking: Asking) -> list[Entry]:
    """The entries, each with the unit that a register tells, as answered; what looks like it is asked.

    `rows` are those of the table as copied.

    Raises:
        ValueError: an answer names a line whose codes are no units.
    """
    by_line = {entry.line: entry for entry in entries}
    cell = {row.line: row.get(Column.UNIT) for row in rows}
    remarks = {row.line: row.get(Column.CODES) for row in asking.answers.into(rows)}
    found = []
    for entry in entries:
        text = asking.answers.of(entry.line, UNIT_FROM)
        if text is None or text == "none":
            found.append(entry)
            continue
        teller = by_line.get(int(text)) if text.isascii() and text.isdigit() else None
        units = _units(teller) if teller is not None else {}
        if teller is None or teller is entry or not units:
            raise ValueError(
                f"answer {entry.line}:{UNIT_FROM}={text}: write the line of a row whose codes are units, as "
                "0 = m3/h, 1 = l/min"
            )
        whole = _told(entry, teller, units, asking)
        found.append(_with_side(whole, remarks.get(entry.line, ""), units, asking))
    pointing = set()
    for entry in entries:
        number = cells.register_meant(cell.get(entry.line, ""))
        if number and entry.section == "readings":
            pointing.add(entry.line)
            _ask_of_register(entry, number, cell[entry.line], entries, asking)
    meant = [
        (entry, teller, units)
        for teller in entries
        if _NAMED.search(teller.label) and not teller.left_out and (units := _units(teller))
        for entry in _meant(teller, units, entries)
        if entry.line not in pointing
    ]
    for entry, _, _ in meant:
        asking.withdraw(entry.line, UNIT_TOPICS)  # that no unit is told
    for entry, teller, units in meant:
        _ask(entry, teller, units, asking)
    return found


def _units(teller: Entry) -> Mapping[int, str]:
    """What unit each code of a row means; nothing where one of them is none."""
    codes = {int(one[1]): json.loads(one[2]) for one in _CODE.finditer(teller.get("codes"))}
    words = {number: kinds.unit_word(word.replace("³", "3")) for number, word in codes.items()}
    units = {number: unit for number, unit in words.items() if unit is not None}
    return units if len(units) == len(codes) else {}


def _told(entry: Entry, teller: Entry, units: Mapping[int, str], asking: Asking) -> Entry:
    place = [
        f"{key}: {text}"
        for key, text in teller.keys
        if key in (teller.table.value, "type", "word_order", "byte_order", "bytes_per_register")
    ]
    codes = ", ".join(f"{number}: {_written(unit)}" for number, unit in units.items())
    keys = [("unit", f"{{{', '.join(place)}, codes: {{{codes}}}}}")]
    dimensions = _dimensions(units)
    own, whole = asking.answers.rows.get(entry.line, {}), asking.answers.whole
    if dimensions & {Dimension.VOLUME, Dimension.VOLUME_FLOW} and own.keys().isdisjoint(_CONDITIONS):
        keys += [(key, whole[key]) for key in _CONDITIONS if key in whole]
        if len(keys) == 1:
            asking.gas_conditions(entry.line, entry.label)
    if dimensions & {Dimension.VOLUME, Dimension.MASS, Dimension.ENERGY}:
        asking.running_total(entry.line, entry.label)
    asking.note(entry.line, f"its unit is told by line {teller.line} ({teller.label})")
    new = {key for key, _ in keys}
    return replace(entry, keys=(*(pair for pair in entry.keys if pair[0] not in new), *keys))


def _with_side(entry: Entry, remarks: str, units: Mapping[int, str], asking: Asking) -> Entry:
    """A pressure with what it is counted from, where its units do not tell; asked where nothing does."""
    if kinds.PRESSURES.isdisjoint(units.values()) or entry.get("gauge"):
        return entry
    gauge = asking.counted_from(
        entry.line, entry.label, remarks, topics=("gauge",), answers=("gauge=true", "gauge=false")
    )
    if gauge is None:
        return entry
    return replace(entry, keys=(*entry.keys, ("gauge", "true" if gauge else "false")))


def _written(unit: str) -> str:
    """A unit as YAML has it: % and 1 are no words by themselves."""
    return unit if re.fullmatch(r"[A-Za-z][\w/]*", unit, re.ASCII) else json.dumps(unit, ensure_ascii=False)


def _dimensions(units: Mapping[int, str]) -> set[Dimension]:
    return {one.dimension for unit in units.values() if (one := unit_of(unit)) is not None}


def _ask_of_register(entry: Entry, number: str, cell: str, entries: Sequence[Entry], asking: Asking) -> None:
    """Ask of a row whose unit's cell names a register."""
    teller = next((one for one in entries if one.printed == int(number, 0) and _units(one)), None)
    if teller is not None and not teller.left_out:
        _ask(entry, teller, _units(teller), asking)
        return
    asking.row(
        entry.line,
        entry.label,
        f"the unit {cell!r} names a register, and no row of that number has codes that are units. Write the "
        "unit, or the line that tells it",
        topics=UNIT_TOPICS,
        answers=("unit=…", f"{UNIT_FROM}=…"),
        assumed="no unit",
    )


def _ask(entry: Entry, teller: Entry, units: Mapping[int, str], asking: Asking) -> None:
    unit = _unit(entry)
    asking.row(
        entry.line,
        entry.label,
        f"does line {teller.line} ({teller.label}) tell its unit: {', '.join(units.values())}? Then it is "
        f"read with the value, row by row. Assumed: {f'always {unit}' if unit else 'no unit'}",
        topics=UNIT_TOPICS,
        answers=(f"{UNIT_FROM}={teller.line}", f"unit={unit or next(iter(units.values()))}"),
        assumed=f"assumed {unit}" if unit else "no unit",
    )


def _unit(entry: Entry) -> str:
    text = entry.get("unit")
    return str(json.loads(text)) if text.startswith('"') else ""


def _meant(teller: Entry, units: Mapping[int, str], entries: Sequence[Entry]) -> Iterator[Entry]:
    """Readings that a row named as a unit may be about: of that quantity, or without a unit and named so."""
    dimensions = _dimensions(units)
    words = [one for one in re.findall(r"\w+", _NAMED.sub(" ", teller.label.casefold())) if len(one) > _SHORT]
    for entry in entries:
        if entry.section != "readings" or entry is teller or entry.table.of_bits or entry.left_out:
            continue
        if entry.get("codes") or entry.get("bits") or entry.get("type") in ("text", "unix time"):
            continue
        unit = unit_of(_unit(entry)) if _unit(entry) else None
        label = entry.label.casefold()
        if unit is not None and unit.dimension in dimensions:
            yield entry
        elif unit is None and any(word[: max(_SHORT + 1, len(word) - 2)] in label for word in words):
            yield entry  # without its last letters: Volumenstroms is of Normvolumenstrom
