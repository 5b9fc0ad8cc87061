"""The keys of one value: where it lies, how its words are read, what the number means."""

import re
from decimal import Decimal

from protocols.modbus.tables import Table
from protocols.register_map.document import Scalar
from protocols.register_map.faults import quoted
from protocols.register_map.forms import (
    Choice,
    Entries,
    Exact,
    Flag,
    Integer,
    Key,
    Keys,
    ListOf,
    Numbered,
    Shape,
    Text,
)
from protocols.register_map.model import Kind, Order
from protocols.units import Dimension, quantity_of

#: 65,536 addresses a table, and six digits where a table digit is printed before them.
HIGHEST_PRINTED = 465_536
HIGHEST_ADDRESS = 65_535

#: Names that a row of the archive uses for itself.
RESERVED = (
    "point", "source", "date", "sequence", "due", "time", "clock", "status", "session", "record",
    "meter_time", "time_flag",
)  # fmt: skip
NAME_PATTERN = "[a-z][a-z0-9_]{0,39}"
_NAME = re.compile(NAME_PATTERN + r"\Z")

CALENDAR_WORDS = ("year", "month", "day", "weekday", "hour", "minute", "second", "none")
KINDS = tuple(kind.value for kind in Kind if kind is not Kind.BIT)


def wrong_name(name: str) -> str:
    """What is wrong with a name of a setting or an identity entry, or nothing."""
    if _NAME.match(name):
        return ""
    return f"{quoted(name)} is no name: a to z, 0 to 9 and _, a letter first, at most 40 characters"


def wrong_reading_name(name: str) -> str:
    """What is wrong with the name of a reading, which becomes a column of the archive, or nothing."""
    if not _NAME.match(name):
        return wrong_name(name)
    if name in RESERVED:
        return f"'{name}' is a column of every row already; choose another"
    if name.startswith("raw_"):
        return f"'{name}' begins with raw_, which names the registers themselves; choose another"
    for ending in ("_flag", "_unit"):
        if name.endswith(ending):
            return f"'{name}' ends with {ending}, which names the column beside a reading; choose another"
    return ""


def _condition(dimension: Dimension) -> Text:
    """A fixed reference condition, as text."""
    example = "20 degC" if dimension is Dimension.TEMPERATURE else "1 bar"

    def check(text: str) -> str:
        found = quantity_of(text)
        if isinstance(found, str):
            return found
        if found.unit.dimension is not dimension:
            return f"'{found.unit.word}' is no unit of {dimension}; write such as {example}"
        if found.gauge:
            return "a reference pressure is absolute: write such as 1.01325 bar(a)"
        return ""

    return Text(60, wanted=f"write such as {example}", check=check)


ORDERS = Choice(tuple(Order), "order")
_WORD = Text(60, wanted="write a word or a few")

# one number: where it lies and how its words are read
COIL = Key("coil", Integer(0, HIGHEST_PRINTED), "number of a coil", 3)
DISCRETE = Key("discrete", Integer(0, HIGHEST_PRINTED), "number of a discrete input", 3)
INPUT = Key("input", Integer(0, HIGHEST_PRINTED), "number of the first input register", 16)
HOLDING = Key("holding", Integer(0, HIGHEST_PRINTED), "number of the first holding register", 30)
TABLES = {Table.COIL: COIL, Table.DISCRETE: DISCRETE, Table.INPUT: INPUT, Table.HOLDING: HOLDING}
TYPE = Key("type", Choice(KINDS, "type"), "how the words are read; not for coils and discretes", "float32")
REGISTERS = Key("registers", Integer(1, 125), "length of a text in 16-bit words", 6)
WORD_ORDER = Key(
    "word_order", ORDERS, "which word of a value over several registers comes first", "high first"
)
BYTE_ORDER = Key("byte_order", ORDERS, "which byte of a register comes first", "high first")
BYTES_PER_REGISTER = Key(
    "bytes_per_register", Choice(("2", "4"), "width"), "4 where the meter keeps 32 bits behind one address", 4
)
SCALE = Key("scale", Exact(), "what the raw number is multiplied by, exact", 0.1)
OFFSET = Key("offset", Exact(), "what is added after scaling", -40)
_PLACE = (COIL, DISCRETE, INPUT, HOLDING, TYPE, WORD_ORDER, BYTE_ORDER, BYTES_PER_REGISTER)
_TABLE_NAMES = tuple(key.name for key in TABLES.values())
INTEGER_PART = Keys(_PLACE, "integer_part", "the register", _TABLE_NAMES)
PART = Keys((*_PLACE, SCALE, OFFSET), "part", "the part", _TABLE_NAMES)

# what the number means
TOLD_UNIT_TEXT = Key("unit", _WORD, "unit of the told condition", "degC", required=True)
TOLD_CONDITION = Keys(
    (*_PLACE, SCALE, OFFSET, TOLD_UNIT_TEXT), "told_condition", "the told condition", _TABLE_NAMES
)
TEMPERATURE = Key(
    "temperature", Shape(scalar=_condition(Dimension.TEMPERATURE), mapping=TOLD_CONDITION),
    "reference temperature: fixed, or the register that tells it", "20 degC", required=True,
)  # fmt: skip
PRESSURE = Key(
    "pressure", Shape(scalar=_condition(Dimension.PRESSURE), mapping=TOLD_CONDITION),
    "reference pressure, absolute: fixed, or the register that tells it", "1 bar", required=True,
)  # fmt: skip
CONDITIONS = Keys((TEMPERATURE, PRESSURE), "reference", "the reference")
REFERENCE = Key(
    "reference",
    Shape(scalar=Text(60, f"as {NAME_PATTERN}", "write `as NAME` or both conditions"), mapping=CONDITIONS),
    "temperature and pressure a volume is referred to", "as flow",
)  # fmt: skip
CODE_UNIT = Key("unit", _WORD, "the unit this number means", "m3/h", required=True)
CODE = Keys((CODE_UNIT, REFERENCE), "unit_code", "the code")
UNIT_CODES = Key(
    "codes", Numbered(Shape(scalar=_WORD, mapping=CODE), -(2**31), 2**32 - 1), "the unit each number means",
    {"0": "m3/h", "1": "l/min"}, required=True,
)  # fmt: skip
UNIT_REGISTER = Key(
    "register", INTEGER_PART, "the register that tells the unit", {"input": 41, "type": "uint16"}
)
TOLD_UNIT = Keys(
    (*_PLACE, UNIT_REGISTER, UNIT_CODES), "told_unit", "the unit", (*_TABLE_NAMES, UNIT_REGISTER.name)
)
UNIT = Key("unit", Shape(scalar=_WORD, mapping=TOLD_UNIT), "unit of the value; 1 for a plain number", "m3/h")
PLUS = Key(
    "plus",
    ListOf(PART, 1, 8),
    "further parts that are added",
    [{"input": 12, "type": "uint16", "scale": 0.001}],
)
TIMES_TEN_TO = Key(
    "times_ten_to",
    INTEGER_PART,
    "register with a decimal exponent, -10 to 10",
    {"input": 13, "type": "int16"},
)
PARTS = Key("parts", Choice(("apart",), "way to read"), "the parts cannot come from one read", "apart")
CODES = Key(
    "codes",
    Numbered(_WORD, -(2**63), 2**64 - 1),
    "the word each number means",
    {"0": "idle", "1": "recording"},
)
BITS = Key(
    "bits", Numbered(_WORD, 0, 63), "the word each bit means; bit 0 is the lowest", {"0": "sensor fault"}
)
NOT_AVAILABLE = Key(
    "not_available", ListOf(Text(80, wanted="write a raw number or words such as '7F7F FFFF'"), 1, 20),
    "raw values that mean no reading: numbers before scaling, or register words as hex text", [65535],
)  # fmt: skip
RANGE = Key("range", ListOf(Exact(), 2, 2), "valid span; outside is flagged, never dropped", [0.4, 160])
QUANTITY = Key("quantity", _WORD, "what is measured", "volume flow")
BASIS = Key(
    "basis", Choice(("actual", "reference"), "basis"), "conditions a velocity or flow is told at", "reference"
)
GAUGE = Key("gauge", Flag(), "the pressure is above the surrounding air", example=True)
ROLLS_OVER_AT = Key(
    "rolls_over_at", Exact(Decimal("1e-6")), "the total that shows as 0 again, in its unit", 10**9
)
TOTALISER = Key(
    "totaliser", Shape(scalar=Flag(), mapping=Keys((ROLLS_OVER_AT,), "totaliser", "the totaliser")),
    "the value is a running total", {"rolls_over_at": 10**9},
)  # fmt: skip
LAYOUT = Key(
    "layout", ListOf(Text(30, "[a-z]+/[a-z]+", "write such as minute/second, high byte first"), 1, 8),
    "what the two bytes of each register of a calendar hold", ["minute/second", "day/hour", "year/month"],
)  # fmt: skip
CODING = Key("coding", Choice(("bcd", "binary"), "coding"), "how a calendar writes its numbers", "bcd")
STEPS = Key("steps", ListOf(Exact(), 1, 200), "the only values a setting takes", [1, 2, 10])
WRITE = Key("write", Choice(("allowed",), "permission"), "the setting may be written", "allowed")
_VALUE = (
    *_PLACE, SCALE, OFFSET, REGISTERS, UNIT, PLUS, TIMES_TEN_TO, PARTS, CODES, BITS, NOT_AVAILABLE, RANGE,
    QUANTITY, BASIS, REFERENCE, GAUGE, TOTALISER, LAYOUT, CODING,
)  # fmt: skip
Section = dict[str, tuple[Scalar, Entries]]
_SETTINGS_ONLY = dict.fromkeys(("steps", "write"), "only a setting is written")
READING = Keys(_VALUE, "reading", "the reading", _TABLE_NAMES, elsewhere=_SETTINGS_ONLY)
SETTING = Keys((*_VALUE, STEPS, WRITE), "setting", "the setting", _TABLE_NAMES)
IDENTITY_ENTRY = Keys(_VALUE, "identity_entry", "the identity entry", _TABLE_NAMES, elsewhere=_SETTINGS_ONLY)

# a field of a log record or of a sessions table lies in it: `at` instead of a table and an address
AT = Key("at", Integer(0, 124), "the field's first register, counted from 0 in the record", 2, required=True)
_AT = (AT, TYPE, WORD_ORDER, BYTE_ORDER)
_IN_THE_RECORD = dict.fromkeys(
    _TABLE_NAMES, "a field lies in its record; say at: and its place there, from 0"
)
FIELD_INTEGER = Keys(_AT, "field_integer", "the register", elsewhere=_IN_THE_RECORD)
FIELD_PART = Keys((*_AT, SCALE, OFFSET), "field_part", "the part", elsewhere=_IN_THE_RECORD)
_FIELD_UNIT_AT = Key("at", AT.form, AT.means, 5)
_FIELD_UNIT_REGISTER = Key("register", FIELD_INTEGER, UNIT_REGISTER.means, {"at": 5, "type": "uint16"})
_FIELD_UNIT = Keys(
    (_FIELD_UNIT_AT, *_AT[1:], _FIELD_UNIT_REGISTER, UNIT_CODES),
    "field_unit", "the unit", ("at", "register"),
    elsewhere=_IN_THE_RECORD,
)  # fmt: skip
ORDER = Key("order", ORDERS, "which byte of a crc16 comes first; in a frame it is the low one", "high first")
FIELD = Keys(
    (
        *_AT, REGISTERS, SCALE, OFFSET,
        Key("unit", Shape(scalar=_WORD, mapping=_FIELD_UNIT), UNIT.means, "m3/h"),
        Key("plus", ListOf(FIELD_PART, 1, 8), PLUS.means, [{"at": 2, "type": "uint16", "scale": 0.001}]),
        Key("times_ten_to", FIELD_INTEGER, TIMES_TEN_TO.means, {"at": 3, "type": "int16"}),
        CODES, BITS, NOT_AVAILABLE, RANGE, QUANTITY, BASIS, REFERENCE, GAUGE, TOTALISER, LAYOUT, CODING,
        ORDER,
    ),
    "field", "the field",
    elsewhere={
        **_SETTINGS_ONLY, **_IN_THE_RECORD, "parts": "a record comes from one read",
    },
)  # fmt: skip
#: Fields of a record with a meaning of their own.
FIELD_MEANINGS = ("number", "time", "check")


def wrong_field_name(name: str) -> str:
    """What is wrong with the name of a record's field, or nothing."""
    return "" if name in FIELD_MEANINGS else wrong_reading_name(name)
