"""The keys of `log_memory`: what the meter keeps, what a record is, how its records are reached."""

from protocols.register_map.forms import Choice, Integer, Key, Keys, ListOf, Named, Shape, Text
from protocols.register_map.grammar.values import (
    BYTE_ORDER,
    FIELD,
    HIGHEST_PRINTED,
    HOLDING,
    INPUT,
    NAME_PATTERN,
    SETTING,
    TYPE,
    WORD_ORDER,
    wrong_field_name,
)
from protocols.register_map.memory_model import AfterPowerLoss, Counts, Empty, Holds, MarkedAt, WhenFull

_MOST = 2**32 - 1
_READ = (INPUT, HOLDING, TYPE, WORD_ORDER, BYTE_ORDER)
_WRITTEN_HOLDING = Key("holding", HOLDING.form, HOLDING.means, 82, required=True)
_WRITTEN = (_WRITTEN_HOLDING, TYPE, WORD_ORDER, BYTE_ORDER)
_WRITTEN_ELSEWHERE = {"input": "only holding registers can be written"}

#: A register that is read as a whole number; uint16 unless it says otherwise.
COUNTER = Keys(_READ, "counter", "the register", ("input", "holding"))
#: The same, written by whoever reads the memory.
WRITTEN = Keys(_WRITTEN, "written_counter", "the register", elsewhere=_WRITTEN_ELSEWHERE)
PLACE = Keys((INPUT, HOLDING), "place", "the place", ("input", "holding"))

CAPACITY = Key("capacity", Integer(1, _MOST), "records the memory holds", 40960, required=True)
WHEN_FULL = Key("when_full", Choice(tuple(WhenFull), "behaviour"), "what happens at capacity", "stop")
AFTER_POWER_LOSS = Key(
    "after_power_loss", Choice(tuple(AfterPowerLoss), "behaviour"),
    "what recording does when the supply comes back", "new session",
)  # fmt: skip
HOLDS = Key("holds", Choice(tuple(Holds), "content"), "what a record is of its interval", "mean")
MARKED_AT = Key("marked_at", Choice(tuple(MarkedAt), "end"), "end of the interval its time marks", "end")
ZONE = Key(
    "zone",
    Text(6, r"utc|site|[+-](0[0-9]|1[0-4]):[0-5][0-9]", "write utc, site, or an offset such as +01:00"),
    "what the meter's clock shows", "utc", required=True,
)  # fmt: skip
CLOCK = Key("clock", Keys((ZONE,), "clock", "the clock"), "the meter's clock", {"zone": "utc"})
RECORDING = Key(
    "recording", SETTING, "whether the meter records; its codes have the words idle and recording",
    {"holding": 80, "type": "uint16", "codes": {"0": "idle", "1": "recording"}, "write": "allowed"},
)  # fmt: skip
COMMAND = Key(
    "command", SETTING, "takes recording, idle or erase, where another register than recording does",
    {"holding": 81, "type": "uint16", "codes": {"1": "recording", "2": "idle", "165": "erase"},
     "write": "allowed"},
)  # fmt: skip
OLDEST = Key("oldest", COUNTER, "number of the oldest record held", {"input": 96, "type": "uint32"})
NEXT = Key("next", COUNTER, "number of the record written next", {"input": 98, "type": "uint32"})
HELD = Key("count", COUNTER, "records held; tells empty from full", {"input": 94, "type": "uint32"})
WRAPS_AT = Key(
    "number_wraps_at", Integer(2, _MOST + 1), "number that shows as 0 again; else the register's width", 65536
)

# lock
_LOCK_WORD = Integer(0, 0xFFFF)
OPEN = Key("open", _LOCK_WORD, "written to open the memory", 1, required=True)
CLOSE = Key("close", _LOCK_WORD, "written to close it", 0, required=True)
BUSY = Key("busy", _LOCK_WORD, "read while another port holds it", 2)
LOCK = Key(
    "lock",
    Keys((_WRITTEN_HOLDING, OPEN, CLOSE, BUSY), "lock", "the lock", elsewhere=_WRITTEN_ELSEWHERE),
    "register that opens the memory for one port",
    {"holding": 90, "open": 1, "close": 0, "busy": 2},
)

# sessions
COUNT = Key("count", COUNTER, "how many sessions there are", {"input": 100, "type": "uint16"}, required=True)
ENTRY_REGISTERS = Key("registers", Integer(1, 125), "registers of one entry", 7, required=True)
TABLE = Key(
    "table",
    Keys((INPUT, HOLDING, ENTRY_REGISTERS), "session_table", "the table", ("input", "holding")),
    "the entries, one after the other, oldest first",
    {"input": 110, "registers": 7},
    required=True,
)
STARTED = Key("started", FIELD, "moment at which the session began", {"at": 0, "type": "unix time"})
INTERVAL = Key("interval", FIELD, "time between records", {"at": 2, "type": "uint16", "unit": "s"})
RECORDS = Key("records", FIELD, "records of the session", {"at": 3, "type": "uint32"}, required=True)
FIRST = Key("first", FIELD, "number of its first record", {"at": 5, "type": "uint32"})
SESSION_FIELDS = Key(
    "fields", Keys((STARTED, INTERVAL, RECORDS, FIRST), "session_fields", "the fields of a session"),
    "what an entry tells",
    {"started": {"at": 0, "type": "unix time"}, "interval": {"at": 2, "type": "uint16", "unit": "s"},
     "records": {"at": 3, "type": "uint32"}},
    required=True,
)  # fmt: skip
MOST = Key("most", Integer(1, 65535), "most sessions the table can list", 40)
SESSIONS = Key(
    "sessions",
    Keys((COUNT, TABLE, SESSION_FIELDS, MOST), "sessions", "sessions"),
    "the meter's list of recordings; without it the memory is one",
    {
        "count": {"input": 100}, "table": {"input": 110, "registers": 5},
        "fields": {"started": {"at": 0, "type": "unix time"}, "interval": {"at": 2, "type": "uint16",
                   "unit": "s"}, "records": {"at": 3, "type": "uint32"}},
    },
)  # fmt: skip

# record
TOLD_REGISTERS = Key("register", COUNTER, "the register that tells a record's width", {"holding": 92})
REGISTERS = Key(
    "registers",
    Shape(scalar=Integer(1, 125), mapping=Keys((TOLD_REGISTERS,), "told_registers", "the width")),
    "registers of one record, or the register that tells it", 4,
)  # fmt: skip
EMPTY = Key(
    "empty", ListOf(Choice(tuple(Empty), "form"), 1, 2), "forms of a record that is none", ["all ones"]
)
RECORD_FIELDS = Key(
    "fields", Named(FIELD, NAME_PATTERN, wrong_field_name),
    "what a record holds, by name; number, time and check have their meaning",
    {"time": {"at": 0, "type": "unix time"}, "flow": {"at": 2, "type": "float32", "unit": "kg/h"}},
    required=True,
)  # fmt: skip
RECORD = Key(
    "record",
    Keys((REGISTERS, TOLD_REGISTERS, EMPTY, RECORD_FIELDS), "record", "the record",
         some_of=("registers", "register")),
    "what one record is",
    {"registers": 4, "fields": {"time": {"at": 0, "type": "unix time"},
                                "flow": {"at": 2, "type": "float32", "unit": "kg/h"}}},
    required=True,
)  # fmt: skip

# the four ways
_BY_READ = Choice(("by read",), "way to move on")
ADVANCE = Key("advance", _BY_READ, "reading the last register moves it on", "by read")
POINTER = Key(
    "pointer", WRITTEN, "takes the record's number", {"holding": 82, "type": "uint32"}, required=True
)
ECHO = Key("echo", COUNTER, "tells where the window stands, in the same read", {"holding": 400})
DATA = Key("data", PLACE, "where the window's records lie", {"holding": 402}, required=True)
WINDOW_RECORDS = Key("records", Integer(1, 125), "records of one window", 11, required=True)
WRITE_AND_READ = Key(
    "write_and_read", Choice(("allowed",), "permission"), "function 23 writes and reads at once", "allowed"
)
WINDOW = Key(
    "window",
    Keys((POINTER, ECHO, DATA, WINDOW_RECORDS, WRITE_AND_READ, ADVANCE), "window", "the window"),
    "write a pointer, read a window of records",
    {"pointer": {"holding": 82}, "echo": {"holding": 400}, "data": {"holding": 401}, "records": 11},
)
BANK = Key("bank", WRITTEN, "takes the bank's number", {"holding": 84})
PER_BANK = Key("records_per_bank", Integer(1, 65536), "records of one bank", 10000)
AREA = Key(
    "registers",
    Keys((INPUT, HOLDING, BANK, PER_BANK), "register_area", "registers", ("input", "holding")),
    "every record at an address of its own",
    {"input": 1000},
)
FIRST_FILE = Key("first_file", Integer(1, 65535), "file of record 0", 1, required=True)
PER_FILE = Key("records_per_file", Integer(1, 10000), "records of one file", 2500, required=True)
COUNTS = Key("counts", Choice(tuple(Counts), "unit"), "what a record number of function 20 counts", "records")
FILES = Key(
    "files",
    Keys((FIRST_FILE, PER_FILE, COUNTS), "files", "files"),
    "function 20",
    {"first_file": 1, "records_per_file": 2500},
)
ADDRESS = Key("address", Integer(0, HIGHEST_PRINTED), "address of the queue", 600, required=True)
NEXT_WANTED = Key("next_wanted", WRITTEN, "takes the number of the first record wanted", {"holding": 86})
QUEUE = Key(
    "queue",
    Keys((ADDRESS, NEXT_WANTED, ADVANCE), "queue", "the queue", ("next_wanted", "advance")),
    "function 24",
    {"address": 600, "advance": "by read"},
)
WAYS = (WINDOW, AREA, FILES, QUEUE)
REACHED_BY = Key(
    "reached_by",
    Keys(WAYS, "reached_by", "reached_by", tuple(way.name for way in WAYS)),
    "the way to the records", {"registers": {"input": 1000}}, required=True,
)  # fmt: skip
#: A whole memory, as short as one can be.
EXAMPLE = {
    "capacity": 1000, "clock": {"zone": "utc"}, "count": {"input": 50}, "record": RECORD.example,
    "reached_by": REACHED_BY.example,
}  # fmt: skip

MEMORY = Keys(
    (
        CAPACITY, WHEN_FULL, AFTER_POWER_LOSS, HOLDS, MARKED_AT, CLOCK, RECORDING, COMMAND, OLDEST, NEXT,
        HELD, WRAPS_AT, LOCK, SESSIONS, RECORD, REACHED_BY,
    ),
    "log_memory", "log_memory",
)  # fmt: skip
