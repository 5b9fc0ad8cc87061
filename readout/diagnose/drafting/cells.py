"""What single cells of a register table mean: addresses, types, scales, units, access, codes.

Every function answers None where a cell tells nothing certain; nothing here guesses.
"""

import re
from decimal import Decimal, InvalidOperation

from protocols.modbus.tables import Table
from protocols.units import unit_of

_NUMBER = re.compile(r"(0x[0-9a-f]{1,5}|[0-9a-f]{1,5}h|\d{1,6})(?![0-9a-z])", re.IGNORECASE | re.ASCII)
_BITS = r"(?:int(?:eger)?|i|s|sint)"
#: Wordings of types, tried in this order against small letters without blanks.
_TYPES = (
    (r"(float|real|single|ieee754|f)(32)?(ieee754)?|float32.*|ieee754float|ieee-754.*", "float32"),
    (r"(float|real|ieee754|f)64|double|lreal", "float64"),
    (r"(u|uint|unsigned|unsignedint|unsignedinteger)64|ulint|uint64.*", "uint64"),
    (rf"{_BITS}64|int64.*|signedint64|lint", "int64"),
    (r"(u|uint|unsigned|unsignedint|unsignedinteger)48", "uint48"),
    (rf"{_BITS}48", "int48"),
    (
        r"(u|uint|unsigned|unsignedint|unsignedinteger)32|udint|dword|ulong|unsignedlong|unsigned32bit.*",
        "uint32",
    ),
    (rf"{_BITS}32|dint|long|signedlong|signed32(bit)?.*|signedint32|longint", "int32"),
    (
        r"(u|uint|unsigned|unsignedint|unsignedinteger)(16)?|word|ushort|bitfield(16)?|enum|unsigned16bit.*",
        "uint16",
    ),
    (rf"{_BITS}(16)?|short|signed(16)?(bit)?|signedint(16)?", "int16"),
    (r"bcd(16)?", "bcd16"),
    (r"bcd32", "bcd32"),
)
_UNITS = {
    "°c": "degC", "c": "degC", "deg c": "degC", "celsius": "degC", "m³/h": "m3/h", "m^3/h": "m3/h",
    "cbm/h": "m3/h", "m³": "m3", "m^3": "m3", "l/min.": "l/min", "lpm": "l/min", "kg/std": "kg/h", "sec": "s",
}  # fmt: skip


def addresses(text: str) -> tuple[int, int | None, bool] | None:
    """First address, last one of a range such as 40001-40002, and whether it is written in hexadecimal."""
    found = _NUMBER.match(text.strip())
    if found is None:
        return None
    rest = re.match(r"\s*(?:-|–|…|\.\.+|to|bis)\s*(.+)", text.strip()[found.end() :], re.IGNORECASE)
    last = None
    if rest is not None and (second := _NUMBER.match(rest[1].strip())) is not None:
        last = _whole(second[1])
    elif text.strip()[found.end() :].strip():
        return None
    return _whole(found[1]), last, not found[1].isdigit()


def _whole(text: str) -> int:
    if text.lower().startswith("0x"):
        return int(text, 16)
    return int(text[:-1], 16) if text.lower().endswith("h") else int(text)


def type_of(text: str) -> str | None:
    """The map's word for a data type such as REAL, U16, DWORD or `string(16)` (then `text`)."""
    word = re.sub(r"[\s_\-]+", "", text.casefold())
    if re.match(r"(string|ascii|char|text)", word):
        return "text"
    return next((kind for pattern, kind in _TYPES if re.fullmatch(pattern, word)), None)


def decimal(text: str) -> Decimal | None:
    """A number with a point or a comma; None where a separator of thousands could be meant or it is none."""
    if not re.fullmatch(r"[+\-−]?\d{1,12}(?:[.,]\d{1,9})?", text.strip(), re.ASCII):
        return None
    try:
        return Decimal(text.strip().replace(",", ".").replace("−", "-"))
    except InvalidOperation:
        return None


def scale_of(text: str) -> Decimal | None:
    """A factor written as 0.1, 0,1, x0.1, *0.1, /10, 1/10 or 10^-1; None where it is none of these."""
    word = text.replace(" ", "").replace("−", "-").lower().lstrip("x×*")
    power = re.fullmatch(r"(?:10\^|10e|1e)([+-]?\d)", word, re.ASCII)
    if power:
        return Decimal(10) ** int(power[1])
    divided = re.fullmatch(r"(?:1)?[/÷:](10{0,9})", word, re.ASCII)
    if divided:
        return 1 / Decimal(divided[1])
    found = decimal(word)
    return found if found else None


def unit_word(text: str) -> str | None:
    """The map's word for a unit; None where it knows none."""
    word = text.strip().strip("[]()").strip()
    for tried in (_UNITS.get(word.casefold(), ""), word, word.replace("³", "3").replace("°", "deg")):
        if tried and unit_of(tried) is not None:
            return tried
    return None


def table_of(text: str) -> Table | None:
    """The table that a function code (as 3, 03, FC04, 0x03) or a word such as `Input register` names."""
    word = text.casefold()
    for part, table in (
        ("holding", Table.HOLDING), ("discrete", Table.DISCRETE), ("coil", Table.COIL),
        ("input", Table.INPUT),
    ):  # fmt: skip
        if part in word:
            return table
    codes = {int(one) for one in re.findall(r"(?:0x|fc)?(\d{1,2})(?!\d)", word, re.ASCII)}
    reading = {1: Table.COIL, 2: Table.DISCRETE, 3: Table.HOLDING, 4: Table.INPUT}
    named = {reading[code] for code in codes if code in reading}
    return named.pop() if len(named) == 1 else None


def writable(text: str) -> bool | None:
    """Whether an access such as R, RO, R/W or `Lesen/Schreiben` lets it be written; None: not told."""
    word = re.sub(r"[^a-z]", "", text.casefold())
    if word in {"r", "ro", "read", "readonly", "lesen", "l", "nurlesen"}:
        return False
    return True if word in {"rw", "wr", "w", "wo", "readwrite", "write", "lesenschreiben", "ls"} else None


def codes_of(text: str) -> dict[int, str]:
    """A list such as `0 = off, 1 = on`; empty where the text is none from beginning to end."""
    parts = [part for part in re.split(r"[,;\n|]", text) if part.strip()]
    found = [re.fullmatch(r"\s*(\d{1,5})\s*[=:]\s*([^=:]{1,60}?)\s*", part, re.ASCII) for part in parts]
    if len(parts) < 2 or not all(found):
        return {}
    return {int(one[1]): one[2] for one in found if one is not None}


def range_of(text: str) -> tuple[Decimal, Decimal] | None:
    """Lowest and highest value of `0...500`, `-30 to 80`, `0 – 16`, `0-100 %`; None where it is none."""
    found = re.match(
        r"\s*([+\-−]?\d+(?:[.,]\d+)?)\s*(?:\.{2,}|…|to|bis|-|–)\s*([+\-−]?\d+(?:[.,]\d+)?)(?![\d.,])",
        text,
        re.ASCII,
    )
    if found is None:
        return None
    low, high = decimal(found[1]), decimal(found[2])
    return (low, high) if low is not None and high is not None and low < high else None
