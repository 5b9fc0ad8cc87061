"""The keys of the meter's line: factory settings, and what this meter can stand."""

from decimal import Decimal
from enum import StrEnum

from protocols.modbus.replies import Departure
from protocols.register_map.forms import Choice, Duration, Integer, Key, Keys, ListOf, Text
from protocols.register_map.grammar.values import BYTE_ORDER, BYTES_PER_REGISTER, WORD_ORDER


class Numbering(StrEnum):
    """How the manual counts registers."""

    FROM_0 = "from 0"
    FROM_1 = "from 1"
    TABLE_DIGIT = "table digit"
    FROM_0_LARGE = "from 0, large numbers meant"


#: Departures from the standard that can be accepted by name.
TOLERATED: tuple[str, ...] = tuple(Departure)

BAUD_RATE = Key("baud_rate", Integer(300, 4_000_000), "bits a second", 9600)
PARITY = Key("parity", Choice(("none", "even", "odd"), "parity"), "parity of each character", "even")
DATA_BITS = Key("data_bits", Choice(("8",), "length"), "Modbus RTU sends 8 data bits", 8)
STOP_BITS = Key("stop_bits", Choice(("1", "2"), "count"), "stop bits of each character", 1)
UNIT_ADDRESS = Key("unit_address", Integer(1, 247), "Modbus address of the meter", 12)
SERIAL = Key(
    "serial", Keys((BAUD_RATE, PARITY, DATA_BITS, STOP_BITS, UNIT_ADDRESS), "serial", "serial"),
    "factory settings of the meter's line; a point may override them",
    {"baud_rate": 9600, "unit_address": 12},
)  # fmt: skip
NUMBERING = Key(
    "numbering", Choice(tuple(Numbering), "numbering"), "how register numbers are counted here", "from 0"
)
REGISTERS_PER_READ = Key(
    "registers_per_read", Integer(1, 125), "most registers the meter answers at once", 48
)
REGISTERS_PER_FILE_READ = Key(
    "registers_per_file_read", Integer(1, 121), "most registers of a file the meter answers at once", 121
)
BRIDGE = Key("bridge", Integer(0, 124), "unlisted registers that one read may span; 0 = never", 4)
_MINUTE = Duration(longest=Decimal(60))
REPLY_WITHIN = Key(
    "reply_within",
    Duration(Decimal("0.001"), Decimal(60)),
    "longest time to the first byte of a reply",
    "300 ms",
)
LATE_WITHIN = Key("late_within", _MINUTE, "listening for a late reply after that", "1 s")
PAUSE = Key("pause", _MINUTE, "rest the meter needs before the next request", "0 ms")
AFTER_OPEN = Key("after_open", _MINUTE, "rest after the port was opened", "0 ms")
WRITE_WITH = Key("write_with", Choice(("6", "16"), "function"), "Modbus function that writes registers", 16)
TOLERATE = Key(
    "tolerate", ListOf(Text(60), 0, 20), "departures from the standard to accept, each by name", []
)
WIRE = Key(
    "wire",
    Keys(
        (
            NUMBERING, WORD_ORDER, BYTE_ORDER, BYTES_PER_REGISTER, REGISTERS_PER_READ,
            REGISTERS_PER_FILE_READ, BRIDGE, REPLY_WITHIN, LATE_WITHIN, PAUSE, AFTER_OPEN, WRITE_WITH,
            TOLERATE,
        ),
        "wire", "wire",
    ),
    "what this meter can stand", {"numbering": "from 0", "registers_per_read": 48},
)  # fmt: skip
