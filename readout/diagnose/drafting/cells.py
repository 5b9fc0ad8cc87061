"""What single cells of a register table mean: addresses, plain numbers, ranges, access, codes and bits.

Every function answers None, or nothing, where a cell tells nothing certain; nothing here guesses.
"""

import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from enum import Enum

from protocols.modbus.tables import Table

_NUMBER = re.compile(r"(0x[0-9a-f]{1,5}|[0-9a-f]{1,5}h|\d{1,6})(?![0-9a-z])", re.IGNORECASE | re.ASCII)
_THOUSANDS = re.compile(r"(?<!\d)(\d{1,3})[.,'’\u00a0\u202f ](\d{3})(?!\d)", re.ASCII)
_BIT_OF = re.compile(r"(0x[0-9a-f]{1,5}|\d{1,6})\s*(?:[.:]|\s*bit\s*)\s*(\d{1,2})", re.IGNORECASE | re.ASCII)
_TABLE_X = re.compile(r"(?<![0-9a-z])([134])x(\d{1,5})(?![0-9a-z])", re.IGNORECASE | re.ASCII)
_HEX = re.compile(r"[0-9a-f]{1,5}", re.IGNORECASE | re.ASCII)
#: What may stand between the ends of a range of addresses.
_TO = re.compile(r"\s*(?:-|–|—|…|\.\.+|/|\+|&|,|to\b|bis\b|und\b|and\b|à\b|et\b)\s*(.+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Where:
    """An address cell: first number, last one of a range, whether it is hexadecimal, and a bit's number."""

    first: int
    last: int | None = None
    is_hex: bool = False
    bit: int | None = None


def bare_hexadecimal(text: str) -> bool:
    """Whether this can only be hexadecimal, without a mark of it: 001A, 2F0."""
    return re.fullmatch(r"(?=.*\d)(?=.*[a-f])[0-9a-f]{2,5}", text.strip().lower(), re.ASCII) is not None


def addresses(text: str, *, bare_hex: bool = False) -> Where | None:
    """40001, 40.001, 0x1A, 1Ah, 40001-40002, 40021/22 or 40021.3 (bit 3); None where it is none of these.

    With `bare_hex` a number without any mark of it is hexadecimal, too.
    """
    text = text.strip()
    if bare_hex and _HEX.fullmatch(text):
        return Where(int(text, 16), None, is_hex=True)
    bit = _BIT_OF.fullmatch(text)
    if bit is not None and int(bit[2]) <= 15:
        return Where(_whole(bit[1]), None, bit[1].lower().startswith("0x"), int(bit[2]))
    text = _THOUSANDS.sub(r"\1\2", _TABLE_X.sub(_with_digit, text))
    found = _NUMBER.match(text)
    if found is None:
        return None
    first, is_hex = _whole(found[1]), not found[1].isdigit()
    tail = text[found.end() :].strip()
    if not tail:
        return Where(first, None, is_hex)
    rest = _TO.fullmatch(tail)
    second = None if rest is None else _NUMBER.fullmatch(rest[1].strip())
    if second is None:
        return None
    last = _whole(second[1])
    if last <= first and second[1].isdigit() and found[1].isdigit() and len(second[1]) < len(found[1]):
        last = int(found[1][: -len(second[1])] + second[1])  # 40021-22
    return Where(first, last, is_hex) if 0 < last - first < 125 else None


def _with_digit(found: re.Match[str]) -> str:
    """3x0001 as 30001, 4x00001 as 400001; 0x is hexadecimal."""
    return f"{found[1]}{found[2].zfill(4)}"


def _whole(text: str) -> int:
    if text.lower().startswith("0x"):
        return int(text, 16)
    return int(text[:-1], 16) if text.lower().endswith("h") else int(text)


def decimal(text: str) -> Decimal | None:
    """A number with a point or a comma; None where a separator of thousands could be meant or it is none."""
    word = text.strip()
    if not re.fullmatch(r"[+\-−]?\d{1,12}(?:[.,]\d{1,9})?", word, re.ASCII) or may_part_thousands(word):
        return None
    try:
        return Decimal(word.replace(",", ".").replace("−", "-"))
    except InvalidOperation:
        return None


def may_part_thousands(text: str) -> bool:
    """Whether 1,000 or 65.535 may mean a number of thousands as well as one with decimals."""
    return re.fullmatch(r"[+\-−]?[1-9]\d{0,2}[.,]\d{3}", text.strip(), re.ASCII) is not None


def length_of(text: str, heading: str) -> int | None:
    """Registers of 16 bits told by 2, `2 words`, `4 bytes`, `32 bit`; by the heading where no word tells."""
    found = re.fullmatch(r"(\d{1,4})\s*([^\W\d]*)\.?", text.strip(), re.ASCII | re.IGNORECASE)
    if found is None:
        return None
    count, word = int(found[1]), (found[2] or heading).casefold()
    each = 16 if re.search(r"\bbits?\b", word) else 2 if re.search(r"byte|octet", word) else 1
    return count // each if count and count % each == 0 and count // each <= 125 else None


def table_of(text: str) -> Table | None:
    """The table that a function code (as 3, 03, FC04, 0x03) or a word such as `Input register` names."""
    word = text.casefold()
    for part, table in (
        ("holding", Table.HOLDING), ("halteregister", Table.HOLDING), ("discrete", Table.DISCRETE),
        ("coil", Table.COIL), ("input", Table.INPUT), ("eingangsregister", Table.INPUT),
    ):  # fmt: skip
        if part in word:
            return table
    codes = functions_of(text)
    named = {_READ_BY[code] for code in codes if code in _READ_BY}
    named = named or {_WRITTEN_BY[code] for code in codes if code in _WRITTEN_BY}
    return named.pop() if len(named) == 1 else None


_READ_BY = {1: Table.COIL, 2: Table.DISCRETE, 3: Table.HOLDING, 4: Table.INPUT}
_WRITTEN_BY = {5: Table.COIL, 15: Table.COIL, 6: Table.HOLDING, 16: Table.HOLDING}


def functions_of(text: str) -> frozenset[int]:
    """The function codes in a cell such as `03/06/16`."""
    return frozenset(int(one) for one in re.findall(r"(?:0x|fc)?(\d{1,2})(?!\d)", text.casefold(), re.ASCII))


class Access(Enum):
    """What an access cell may say."""

    READ = "read"
    WRITE = "write"
    BOTH = "both"


_ACCESS = {
    Access.READ: "r ro read readonly lesen l nurlesen lecture lectureseule readable",
    Access.WRITE: "w wo write writeonly schreiben s nurschreiben ecriture e ecritureseule",
    Access.BOTH: "rw wr readwrite lesenschreiben ls le lectureecriture readandwrite rdwr rwp",
}
_ACCESS_OF = {word: access for access, words in _ACCESS.items() for word in words.split()}


def access_of(text: str) -> Access | None:
    """Whether an access such as R, RO, R/W, WO or `Lesen/Schreiben` lets it be read, written or both."""
    word = text.casefold().replace("é", "e").replace("è", "e")
    return _ACCESS_OF.get(re.sub(r"[^a-z]", "", word))


def codes_of(text: str) -> dict[int, str]:
    """A list such as `0 = off, 1 = on` or `0: off 1: on`; empty where the text is none from end to end."""
    parts = _parts(text, r"\d{1,5}\s*[=:]")
    found = [re.fullmatch(r"(\d{1,5})\s*[=:]\s*([^=:]{1,60}?)", part, re.ASCII) for part in parts]
    if len(parts) < 2 or not all(found):
        return {}
    return {int(one[1]): one[2] for one in found if one is not None}


def one_code(text: str) -> tuple[int, str] | None:
    """A single `1 = fault` or `2: warming up`."""
    found = re.fullmatch(r"(\d{1,5})\s*[=:]\s*([^=:]{1,60}?)", text.strip(), re.ASCII)
    return None if found is None else (int(found[1]), found[2])


_BEGINS = r"(?:bits?\s*\d{1,2}\b|b\d{1,2}\s*[=:])"
_BIT = r"(?:bit[ \t]*\.?[ \t]*(\d{1,2})[ \t]*[=:.\-–)]?|b(\d{1,2})[ \t]*[=:])[ \t]*"
_BITS = r"bits?[ \t]*\d{1,2}[ \t]*(?:-|–|…|\.\.+|to|bis|à)[ \t]*\d{1,2}\b.*"


def bits_of(text: str) -> dict[int, str]:
    """A list such as `Bit 0: sensor fault; Bit 1 = memory full`; empty where the text is none.

    Entries for several bits at once are left away; `several_bits` has them.
    """
    parts = [one for one in _parts(text, _BEGINS) if not re.fullmatch(_BITS, one, re.IGNORECASE)]
    found = [re.fullmatch(rf"{_BIT}([^=:]{{1,60}}?)", part, re.IGNORECASE | re.ASCII) for part in parts]
    if not parts or not all(found):
        return {}
    return {int(one[1] or one[2]): one[3] for one in found if one is not None}


def several_bits(text: str) -> list[str]:
    """Entries of a list of bits that are about more than one, such as `Bit 4-6: mode`."""
    return [one for one in _parts(text, _BEGINS) if re.fullmatch(_BITS, one, re.IGNORECASE)]


def _parts(text: str, begins: str) -> list[str]:
    """The entries of a list, each of which begins so; cut at commas, semicolons and where one begins."""
    cut = re.sub(rf"[,;|/\n\s]+(?={begins})", "\n", text.strip(), flags=re.IGNORECASE | re.ASCII)
    return [part for one in cut.split("\n") if (part := one.strip(" \t,;|./"))]


_NO_READING = (
    r"not available|no reading|no value|no data|invalid|no sensor|no probe|sensor fault|"
    r"(?:sensor|probe) broken|open circuit|n/?a|error|fault value|nicht verf[üu]gbar|ung[üu]ltig|"
    r"kein sensor|kein (?:mess)?wert|"
    r"(?:f[üu]hler|sensor)(?:bruch|fehler)|non disponible|invalide|pas de (?:mesure|valeur)|sonde coupée"
)
#: Meters tell "no reading" by the ends of a range, or by a row of nines. Common practice, no source.
_SMALLEST_MISSING = 9999
_MISSING = re.compile(
    rf"(?<!bit )(?<![\w.])(0x[0-9a-f]{{4}}(?:[0-9a-f]{{4}})?|[0-9a-f]{{4}}h|-?\d{{1,10}})\s*"
    rf"(?:=|:|means|bedeutet|signifie)\s*"
    rf"(?:{_NO_READING})\b",
    re.IGNORECASE,
)


def missing_of(text: str) -> list[str]:
    """The raw numbers of `0xFFFF = not available`, as written; small ones are codes or bits of their own."""
    found = [one[1] for one in _MISSING.finditer(text)]
    return [one for one in found if not one.isdigit() or int(one) >= _SMALLEST_MISSING]


_ENDS = re.compile(
    r"(?<![\w.…–-])(?<!to )(?<!bis )(0x[0-9a-f]{4}(?:[0-9a-f]{4})?|[0-9a-f]{4}(?:[0-9a-f]{4})?h|-?\d{4,10})"
    r"(?![\w…–]|[.,]\d)",
    re.IGNORECASE | re.ASCII,
)


def ends_of_type(text: str, bits: int) -> list[str]:
    """Numbers of a remark that end what so many bits can hold, as 0x7FFF, 65535 or -32768; as written.

    Meters tell "no reading" by them; whether one does so here is for the manual to say.
    """
    half = 1 << (bits - 1)
    ends = {half - 1, half, -half, 2 * half - 1}
    found = [(one[1], raw_number(one[1])) for one in _ENDS.finditer(text)]
    return [word for word, raw in found if raw is not None and raw[0] in ends]


def raw_number(text: str) -> tuple[int, bool] | None:
    """A raw number as 65535, -32768, 0xFFFF or FFFFh, and whether it is written in hexadecimal."""
    word = text.strip()
    if re.fullmatch(r"-?\d{1,10}", word, re.ASCII):
        return int(word), False
    found = re.fullmatch(r"(?:0x([0-9a-f]{4,8})|([0-9a-f]{4,8})h)", word, re.IGNORECASE | re.ASCII)
    return None if found is None else (int(found[1] or found[2], 16), True)


def missing_numbers(text: str) -> list[str] | None:
    """The raw numbers in a cell for no reading, as written; None where one of its words is none of them.

    A float's NaN is no number anyway, and `none` says that there is none.
    """
    words = [
        word for word in re.split(r"[,;\s]+", text) if word and word.casefold() not in ("nan", "none", "-")
    ]
    return words if all((raw_number(word) or decimal(word)) is not None for word in words) else None


_MEANT = re.compile(
    r"\W*(?:(?:siehe|see|voir|by|per|par|laut|nach|selon|from|in|aus|durch|dans|set|told|the|le|reg(?:ister|"
    r"istre)?|nr|no|n°)\b[\s.:]*)+(0x[0-9a-f]{1,5}|\d{1,6})\W*",
    re.IGNORECASE | re.ASCII,
)


def register_meant(text: str) -> str:
    """The number in `see 40013` or `by register 0x1A`, or a bare 40013 in a unit's cell; else nothing."""
    found = _MEANT.fullmatch(text.strip())
    if found is not None:
        return found[1].lstrip("0") or "0" if found[1].isdigit() else found[1]
    bare = re.fullmatch(r"[1-4]\d{4,5}", text.strip(), re.ASCII)
    return text.strip() if bare and text.strip().strip("0") != "1" else ""


_PARTED = r"[ \u00a0\u202f'’]"
#: An end of a range: thousands may be parted by blanks or apostrophes, never by points or commas.
_END = rf"([+\-−]?(?:\d{{1,3}}(?:{_PARTED}\d{{3}})+(?!\d)|\d+)(?:[.,]\d+)?)"
_RANGE = re.compile(
    rf"\s*{_END}\s*(?:\.{{2,}}|…|to|bis|à|/|;|-|–)\s*{_END}(?![\d.,])(?!\s*[\d^×*]|e[+\-]?\d)(.*)",
    re.ASCII | re.DOTALL,
)


def range_of(text: str) -> tuple[Decimal, Decimal] | None:
    """Lowest and highest value of `0...2 500`, `-30 to 80`, `0 – 16`, `0-100 %`; None where it is none."""
    found = _RANGE.match(text)
    if found is None:
        return None
    low, high = (decimal(re.sub(_PARTED, "", found[n])) for n in (1, 2))
    return (low, high) if low is not None and high is not None and low < high else None


def behind_range(text: str) -> str:
    """What stands behind a range, as `bar` in `0-16 bar`; nothing where the text is none."""
    found = _RANGE.match(text)
    return found[3].strip() if found is not None else ""


def scaled_range(within: tuple[Decimal, Decimal], scale: Decimal) -> str:
    """A range of raw numbers in the value's unit, as a table would have it: `-80 to 20`."""
    low, high = (f"{(end * scale).normalize():f}" for end in within)
    return f"{low} to {high}"
