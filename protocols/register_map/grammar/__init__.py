"""The keys of a register map, what each takes and means: source of the checker and of the JSON Schema.

`values`: the keys of one value. `line`: of `serial` and `wire`. `memory`: of `log_memory`. Here: the whole.
"""

from protocols.register_map.forms import Choice, Key, Keys, Named, Schema, Shape, Text, document_schema
from protocols.register_map.grammar.line import (
    BAUD_RATE,
    DATA_BITS,
    PARITY,
    SERIAL,
    STOP_BITS,
    UNIT_ADDRESS,
    WIRE,
)
from protocols.register_map.grammar.memory import EXAMPLE, MEMORY
from protocols.register_map.grammar.values import (
    IDENTITY_ENTRY,
    KINDS,
    NAME_PATTERN,
    READING,
    RESERVED,
    SETTING,
    Section,
    wrong_name,
    wrong_reading_name,
)

__all__ = [
    "BAUD_RATE", "DATA_BITS", "FLUID", "IDENTITY", "KINDS", "LOG_MEMORY", "MAP", "MAP_VERSION", "METER",
    "PARITY", "PRINCIPLE", "READINGS", "RESERVED", "SERIAL", "SETTING", "SETTINGS", "STOP_BITS",
    "UNIT_ADDRESS", "WIRE", "Section", "map_schema",
]  # fmt: skip

PRINCIPLES = (
    "thermal", "vortex", "turbine", "ultrasonic", "differential pressure", "coriolis", "magnetic", "other",
)  # fmt: skip

FORMAT = Key("register_map", Choice(("1",), "format version"), "format version of the file", 1, required=True)
METER = Key("meter", Text(), "name of the meter", "Example insertion meter", required=True)
MAP_VERSION = Key("map_version", Text(40), "version of this map", 3)
_MANUAL = Keys(
    (
        Key("title", Text(), "title of the manual", "Mere 5 register table"),
        Key("revision", Text(), "its revision", "B"),
        Key("page", Text(), "page of the register table", 41),
    ),
    "manual", "manual",
)  # fmt: skip
MANUAL = Key(
    "manual", Shape(scalar=Text(), mapping=_MANUAL), "where the numbers come from", {"title": "…", "page": 41}
)
FLUID = Key("fluid", Text(), "what flows", "compressed air")
PRINCIPLE = Key("principle", Choice(PRINCIPLES, "principle"), "how the meter measures", "thermal")
READINGS = Key(
    "readings", Named(READING, NAME_PATTERN, wrong_reading_name), "what polling reads, by name",
    {"flow": {"input": 16, "type": "float32", "unit": "kg/h"}},
)  # fmt: skip
SETTINGS = Key(
    "settings", Named(SETTING, NAME_PATTERN, wrong_name), "what the meter can be told, by name",
    {"damping": {"holding": 36, "type": "uint16", "unit": "s", "range": [0, 60], "write": "allowed"}},
)  # fmt: skip
IDENTITY = Key(
    "identity", Named(IDENTITY_ENTRY, NAME_PATTERN, wrong_name), "what tells this meter from others",
    {"serial_number": {"holding": 60, "type": "text", "registers": 6}},
)  # fmt: skip
LOG_MEMORY = Key("log_memory", MEMORY, "the meter's own memory", EXAMPLE)
MAP = Keys(
    (
        FORMAT, METER, MAP_VERSION, MANUAL, FLUID, PRINCIPLE, SERIAL, WIRE, READINGS, SETTINGS, IDENTITY,
        LOG_MEMORY,
    ),
    of="the register map", some_of=("readings", "log_memory"),
)  # fmt: skip


def map_schema() -> Schema:
    """The JSON Schema of register maps, as kept under docs/schema."""
    return document_schema(MAP, "Register map", "register-map.schema.json")
