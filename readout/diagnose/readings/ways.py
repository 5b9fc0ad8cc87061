"""Ways to read one value of a map besides the map's own: other types, orders, neighbouring registers, tables.

A map is written from a manual, and manuals are wrong in few ways: the type, which end comes first, a count
that begins at 1 instead of 0, input for holding registers. Each way here turns some of that, no more.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import product

from protocols.modbus.tables import Table
from protocols.register_map.model import WORDS, Column, Kind, Number, Order, Value
from protocols.register_map.orders import letters

ONE = Decimal(1)
FLOATS = frozenset({Kind.FLOAT32, Kind.FLOAT64})
SIGNED = frozenset({Kind.INT16, Kind.INT32, Kind.INT48, Kind.INT64, Kind.SIGN16, *FLOATS})
#: Kinds in which a leading word without content is left out without changing the number.
EXTENDED = frozenset({Kind.INT16, Kind.UINT16, Kind.INT32, Kind.UINT32, Kind.INT48, Kind.UINT48, Kind.INT64,
                      Kind.UINT64, Kind.BCD16, Kind.BCD32})  # fmt: skip
#: Kinds that are tried for a number, narrow ones first.
NUMBERS = (Kind.UINT16, Kind.INT16, Kind.BCD16, Kind.SIGN16, Kind.UINT32, Kind.INT32, Kind.FLOAT32,
           Kind.BCD32, Kind.UINT48, Kind.INT48, Kind.UINT64, Kind.INT64, Kind.FLOAT64)  # fmt: skip
#: Kinds whose meaning no other kind can have.
_OF_THEIR_OWN = frozenset({Kind.BIT, Kind.TEXT, Kind.UNIX_TIME, Kind.CALENDAR, Kind.CRC16})
#: Words that the widest kind tried takes.
MOST_WORDS = 4
#: A register earlier or later: manuals that count from 1 where 0 is meant, and the other way round.
SHIFTS = (0, -1, 1)
OTHER_TABLE: Mapping[Table, Table] = {
    Table.INPUT: Table.HOLDING, Table.HOLDING: Table.INPUT, Table.COIL: Table.DISCRETE,
    Table.DISCRETE: Table.COIL,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Form:
    """How the words of a value's main number are read. `coding`: of a calendar."""

    kind: Kind
    word_order: Order
    byte_order: Order
    scale: Decimal = ONE
    coding: str | None = None

    def letters(self, words: int) -> str:
        """The bytes in the order in which they arrive, A the most significant: `CDAB`, `BA`."""
        return letters(words, self.word_order, self.byte_order)


@dataclass(frozen=True, slots=True)
class Place:
    """Where it is read: a table, and how many addresses later than the map says."""

    table: Table
    shift: int


@dataclass(frozen=True, slots=True)
class Way:
    """One way to read a value."""

    form: Form
    place: Place

    def value(self, value: Value) -> Value:
        """The value as it is read this way; its further parts keep their types and turn with it."""
        own, form = value.number, self.form
        turned_words = form.word_order is not own.word_order
        turned_bytes = form.byte_order is not own.byte_order

        def part(number: Number) -> Number:
            number = replace(number, table=self.place.table, address=number.address + self.place.shift)
            if turned_words and number.words > 1:
                number = replace(number, word_order=other(number.word_order))
            return replace(number, byte_order=other(number.byte_order)) if turned_bytes else number

        told, unavailable = value.told_unit, value.not_available
        words = WORDS.get(form.kind, own.words)
        return replace(
            value,
            number=replace(
                own, table=self.place.table, address=own.address + self.place.shift, kind=form.kind,
                words=words, addresses=words * own.addresses // own.words, word_order=form.word_order,
                byte_order=form.byte_order, scale=form.scale,
            ),
            plus=tuple(part(each) for each in value.plus),
            times_ten_to=None if value.times_ten_to is None else part(value.times_ten_to),
            told_unit=None if told is None else replace(told, number=part(told.number)),
            not_available=unavailable if words == own.words else replace(unavailable, words=()),
            coding=form.coding,
        )  # fmt: skip

    def turns(self, value: Value) -> int:
        """How many things of the map this way turns; 0 for the map's own."""
        own = own_form(value)
        return sum((
            self.form.kind is not own.kind, self.form.word_order is not own.word_order,
            self.form.byte_order is not own.byte_order, self.form.scale != own.scale,
            self.form.coding != own.coding, self.place.table is not value.number.table, self.place.shift != 0,
        ))  # fmt: skip


def own_form(value: Value) -> Form:
    """How the map reads it."""
    number = value.number
    return Form(number.kind, number.word_order, number.byte_order, number.scale, value.coding)


def own_way(value: Value) -> Way:
    """The map's own way."""
    assert value.number.table is not None  # only fields of a log record have none
    return Way(own_form(value), Place(value.number.table, 0))


def forms(value: Value) -> Iterator[Form]:
    """Every form worth trying, the map's own first."""
    own = own_form(value)
    yield own
    each = value.number.words // value.number.addresses
    for kind in _kinds(value):
        words = WORDS.get(kind, value.number.words)
        if words % each:
            continue
        both = kind is not Kind.TEXT and kind is not Kind.CALENDAR
        word_orders = tuple(Order) if words > 1 and both else (own.word_order,)
        byte_orders = (own.byte_order,) if kind is Kind.BIT else tuple(Order)
        codings = ("bcd", "binary") if kind is Kind.CALENDAR else (own.coding,)
        for found in product(word_orders, byte_orders, _scales(kind, value), codings):
            form = Form(kind, *found)
            if form != own:
                yield form


def _kinds(value: Value) -> tuple[Kind, ...]:
    own = value.number.kind
    if own in _OF_THEIR_OWN:
        return (own,)
    if value.codes or value.bits:  # a number that stands for words is a small whole one
        return tuple(dict.fromkeys((own, Kind.UINT16)))
    return NUMBERS


def _scales(kind: Kind, value: Value) -> tuple[Decimal, ...]:
    """The map's scale; where the map took a float for a whole number or the other way round, none as well."""
    own = value.number
    changed = (kind in FLOATS) != (own.kind in FLOATS)
    return (own.scale, ONE) if changed and own.scale != 1 else (own.scale,)


def places(value: Value) -> tuple[Place, ...]:
    """The map's own place first, then its neighbours, then the other table of the same kind."""
    table = value.number.table
    assert table is not None
    return tuple(Place(each, shift) for each in (table, OTHER_TABLE[table]) for shift in SHIFTS)


def moved(column: Column, place: Place) -> Column:
    """A word at another place."""
    return Column(place.table, column.address + place.shift, column.word)


def other(order: Order) -> Order:
    """The other end first."""
    return Order.LOW_FIRST if order is Order.HIGH_FIRST else Order.HIGH_FIRST
