"""A chosen way put into the text of a map: only its keys change, comments and everything else stay.

What comes out is read again and must be the map that was meant, to the last value; nothing else is written.
"""

from collections.abc import Sequence
from dataclasses import replace
from difflib import SequenceMatcher
from io import StringIO
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap
from ruamel.yaml.scalarfloat import ScalarFloat

from protocols.modbus.tables import Table
from protocols.register_map.model import Kind, Order, RegisterMap, Value
from protocols.register_map.numbering import as_printed
from protocols.register_map.parse import parse_map
from readout.diagnose.readings.choosing import Choice
from readout.diagnose.readings.ways import own_form
from readout.errors import FellShort

_CHAPTERS = ("readings", "settings", "identity")


def with_choices(text: str, register_map: RegisterMap, choices: Sequence[Choice]) -> str:
    """The map's text with each choice in the place of what it said.

    Raises:
        FellShort: a choice cannot be put into this text; it names the value.
    """
    yaml = YAML()
    yaml.preserve_quotes = True
    yaml.width = 100_000  # lines stay as they are
    document = yaml.load(text)
    before = _dumped(yaml, document)
    for choice in choices:
        _put(_node(document, choice.value.name), choice, register_map)
    found = _merged(text, before, _dumped(yaml, document))
    _check(found, register_map, choices)
    return found


def _dumped(yaml: YAML, document: Any) -> str:
    out = StringIO()
    yaml.dump(document, out)
    return out.getvalue()


def _merged(text: str, before: str, after: str) -> str:
    """`after`, with every line that is not another than in `before` as `text` has it, blanks and all."""
    own, lines, new = (each.splitlines(keepends=True) for each in (text, before, after))
    if len(own) != len(lines):  # the library has set the text anew
        return after
    found: list[str] = []
    for what, first, last, start, stop in SequenceMatcher(None, lines, new, autojunk=False).get_opcodes():
        found += own[first:last] if what == "equal" else new[start:stop]
    return "".join(found)


def _node(document: Any, name: str) -> CommentedMap:
    node = next(document[chapter][name] for chapter in _CHAPTERS if name in document.get(chapter, {}))
    assert isinstance(node, CommentedMap)
    return node


def _put(node: CommentedMap, choice: Choice, register_map: RegisterMap) -> None:
    value, form, place = choice.value, choice.way.form, choice.way.place
    own = own_form(value)
    for part in _parts(node):
        _move(part, place.table, place.shift, register_map.wire.numbering)
    if form.kind is not own.kind:
        node["type"] = str(form.kind)
    wire = register_map.wire
    for key, wanted, before, usual in (
        ("word_order", form.word_order, own.word_order, wire.word_order),
        ("byte_order", form.byte_order, own.byte_order, wire.byte_order),
    ):
        if wanted is not before:
            _set_order(node, key, wanted, usual, value)
    if form.scale != own.scale:
        _set_scale(node, form.scale)
    if form.coding != own.coding:
        node["coding"] = form.coding
    if form.kind is not own.kind and "not_available" in node:
        _keep_numbers(node)


def _parts(node: CommentedMap) -> list[CommentedMap]:
    """The mappings that name a register: the value's own, of further parts, exponent and unit."""
    others = [*node.get("plus", []), node.get("times_ten_to"), node.get("unit")]
    return [node, *(each for each in others if isinstance(each, CommentedMap))]


def _move(part: CommentedMap, table: Table, shift: int, numbering: str) -> None:
    """Another table or number, at the place of the key that named it."""
    for position, key in enumerate(list(part)):
        if key not in set(Table):
            continue
        printed = int(part[key])
        if key == table:
            if shift:
                part[key] = printed + shift
            return
        base = as_printed(Table(key), 0, numbering)
        address = _address(Table(key), printed, numbering) if numbering == "table digit" else printed - base
        part.insert(position, str(table), as_printed(table, address + shift, numbering))
        comments = part.ca.items.pop(key, None)
        if comments is not None:
            part.ca.items[str(table)] = comments
        del part[key]
        return


def _address(table: Table, printed: int, numbering: str) -> int:
    """The address of a number printed with its table digit in five or in six digits."""
    for base in (as_printed(table, 0, numbering), as_printed(table, 9_999, numbering) - 9_999):
        if 0 <= printed - base <= (9_998 if base < 100_000 else 65_535):
            return printed - base
    return printed


def _set_order(node: CommentedMap, key: str, wanted: Order, usual: Order, value: Value) -> None:
    by_register = value.number.kind in (Kind.TEXT, Kind.CALENDAR) and key == "word_order"
    if wanted is (Order.HIGH_FIRST if by_register else usual):
        node.pop(key, None)
    else:
        node[key] = str(wanted)


def _set_scale(node: CommentedMap, scale: Any) -> None:
    if scale == 1:
        node.pop("scale", None)
    elif scale == int(scale):
        node["scale"] = int(scale)
    else:
        text = f"{scale:f}"
        node["scale"] = ScalarFloat(
            float(scale), width=len(text), prec=text.index("."), m_sign=False, m_lead0=0
        )


def _keep_numbers(node: CommentedMap) -> None:
    """Words as sent belong to the type they were written for; numbers stay."""
    kept = [each for each in node["not_available"] if not isinstance(each, str)]
    if kept:
        node["not_available"] = kept
    else:
        del node["not_available"]


def _check(text: str, before: RegisterMap, choices: Sequence[Choice]) -> None:
    """The text is read again: every chosen value is what was meant, and every other one what it was."""
    parsed = parse_map(text.encode(), "the new map")
    names = ", ".join(choice.value.name for choice in choices)
    if parsed.map is None:
        faults = "; ".join(fault.fault for fault in parsed.faults if fault.severity == "fault")
        raise FellShort(f"{names}: the map would then have a fault: {faults}. Change it by hand")
    meant = {choice.value.name: choice.way.value(choice.value) for choice in choices}
    for before_values, after_values in (
        (before.readings, parsed.map.readings), (before.settings, parsed.map.settings),
        (before.identity, parsed.map.identity),
    ):  # fmt: skip
        for old, new in zip(before_values, after_values, strict=True):
            if _plain(new) != _plain(meant.get(old.name, old)):
                raise FellShort(
                    f"{old.name}: this map says it in a way that cannot be changed here; change it by hand"
                )


def _plain(value: Value) -> Value:
    """Without what differs in text only, and what another value's place brings along."""
    reference = None if value.reference is None or value.reference.taken_from else value.reference
    return replace(value, line=0, reference=reference)
