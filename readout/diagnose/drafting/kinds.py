"""What a type, a scale and a unit are called in tables, in cells of their own or within one another.

Every function answers None where a cell tells nothing certain; nothing here guesses.
"""

import re
from dataclasses import dataclass
from decimal import Decimal

from protocols.units import unit_of
from readout.diagnose.drafting.cells import decimal

#: A type, scale or unit that is longer is none; characters.
_LONGEST = 80
_BITS = r"(?:int(?:eger)?|i|s|sint)"
_UNSIGNED = r"(?:u|uint|unsigned|unsignedint|unsignedinteger)"
#: Wordings of types, tried in this order against small letters without blanks.
_TYPES = (
    (r"(float|real|single|ieee754|f)(32)?(ieee754)?|ieee754float", "float32"),
    (r"(float|real|ieee754|f)64|double|lreal", "float64"),
    (rf"{_UNSIGNED}64|ulint", "uint64"),
    (rf"{_BITS}64|signedint64|lint", "int64"),
    (rf"{_UNSIGNED}48", "uint48"),
    (rf"{_BITS}48", "int48"),
    (rf"{_UNSIGNED}32|udint|dword|ulong|unsignedlong|uint32t|int32u", "uint32"),
    (rf"{_BITS}32|dint|long|signedlong|signed32(bit)?|signedint32|longint|int32t|int32s", "int32"),
    (
        rf"{_UNSIGNED}(16)?|word|ushort|bitfield(16)?|bitmask|bitfeld|champdebits|bits|flags|enum|uint16t|int16u",
        "uint16",
    ),
    (rf"{_BITS}(16)?|int16s|short|signed(16)?(bit)?|signedint(16)?|int16t", "int16"),
    (r"bcd(16)?", "bcd16"),
    (r"bcd32", "bcd32"),
    (r"unixtime(stamp)?|unixtimestamp|epoch|unixseconds|utcseconds|posixtime", "unix time"),
)
#: Longer wordings in three languages: a sign, and a width that is told apart from it.
_NO_SIGN = re.compile(r"unsigned|ohnevorzeichen|vorzeichenlos|nonsigne|sanssigne|^u(?=\d)|^uint")
_SIGN = re.compile(r"signed|mitvorzeichen|vorzeichenbehaftet|signe|int|ganzzahl|entier|^[is](?=\d)")
_FLOAT = re.compile(r"float|gleitkomma|fliesskomma|flottant|virguleflottante|reel|real|ieee")
_OF_FLOATS = re.compile(
    r"floating|float|(?<!\d)(?:32|64)(?!\d)|bits?|gleitkomma|fliesskomma|flottante?|virgule|reel|real|ieee|754|single|simple|einfache|"
    r"precision|genauigkeit|point|value|wert|format|signed|mit|vorzeichen|nombre|à|a(?=virgule)"
)
_UNITS = {
    "°c": "degC", "c": "degC", "deg c": "degC", "celsius": "degC", "m³/h": "m3/h", "m^3/h": "m3/h",
    "cbm/h": "m3/h", "m³": "m3", "m^3": "m3", "l/min.": "l/min", "lpm": "l/min", "kg/std": "kg/h", "sec": "s",
    "°f": "degF", "f": "degF", "deg f": "degF", "std": "h", "hours": "h", "hrs": "h", "seconds": "s",
    "sek": "s", "percent": "%", "litres": "l", "nm³/h": "Nm3/h", "nm3/h": "Nm3/h", "nm³": "Nm3", "nm3": "Nm3",
    "volt": "V", "volts": "V", "amp": "A", "amps": "A", "ampere": "A", "watt": "W", "watts": "W",
    "hertz": "Hz", "hz": "Hz", "kw": "kW", "kwh": "kWh", "psi": "psi", "mbar": "mbar", "kpa": "kPa",
    "hpa": "hPa", "bar": "bar", "cfm": "cfm", "scf": "scf", "slpm": "slpm", "gpm": "gpm", "nl/min": "Nl/min",
    "nm³/min": "Nm3/min", "nm3/min": "Nm3/min", "l/s": "l/s", "kg/h": "kg/h", "°ctd": "degC",
    "m3/hr": "m3/h", "m³/hr": "m3/h", "cbm": "m3", "grad c": "degC",
}  # fmt: skip
#: Words for a plain number, of which a map says `unit: 1`.
PLAIN = frozenset(
    {
        "none",
        "keine",
        "ohne",
        "aucune",
        "pulses",
        "pulse",
        "imp",
        "impulse",
        "counts",
        "count",
        "pcs",
        "stück",
    }
)
#: How a pressure says what it is counted from, behind its unit.
_SIDES = {"g": "(g)", "gauge": "(g)", "ü": "(g)", "rel": "(g)", "a": "(a)", "abs": "(a)"}


def type_of(text: str) -> str | None:
    """The map's word for a data type such as REAL, U16, DWORD or `string(16)` (then `text`)."""
    word = re.sub(r"[\s_\-]+", "", text.casefold())
    if re.match(r"(string|ascii|char|text|chaîne|zeichenkette)", word):
        return "text"
    found = next((kind for pattern, kind in _TYPES if re.fullmatch(pattern, word)), None)
    return found or _worded(re.sub(r"[().,]", "", word).replace("é", "e").replace("ß", "ss"))


def _worded(word: str) -> str | None:
    """A type of several words, such as `16-bit unsigned integer`; None where sign or width is not told."""
    if not re.fullmatch(r"[a-z0-9]{4,40}", word, re.ASCII):
        return None
    word = word.replace("ieee754", "ieee")
    width = re.search(r"(?<!\d)(16|32|48|64)(?!\d)", word, re.ASCII)
    without = re.sub(
        r"(?<!\d)(?:16|32|48|64)(?!\d)|bits(?!ign)|bit|numbers?|zahl(en)?|integer|int\b", "", word
    )
    if _FLOAT.search(word):
        if _OF_FLOATS.sub("", word):  # a scale, a unit, an order: not a word of the type
            return None
        return (
            "float64" if width and width[1] == "64" else "float32" if not width or width[1] == "32" else None
        )
    if width is None:
        return None
    rest = re.sub(
        r"unsigned|ohnevorzeichen|vorzeichenlos|nonsigne|sanssigne|signed|mitvorzeichen|"
        r"vorzeichenbehaftet|signe|int|ganz|entier|^[uis]$|t$",
        "",
        without,
    )
    if rest:
        return None
    if _NO_SIGN.search(word):
        return f"uint{width[1]}"
    return f"int{width[1]}" if _SIGN.search(word) else None


#: Names of a register that holds the power of ten of another.
EXPONENT = re.compile(
    r"exponent|exposant|zehnerpotenz|power of ten|scale factor|skalierungsexponent", re.IGNORECASE
)
#: Names of what follows a whole number in a register of its own.
FRACTION = re.compile(
    r"fraction|decimal|décimale|nachkomma|bruchteil|thousandth|tausendstel|millième", re.IGNORECASE
)
#: The four orders of the bytes of a value, as they arrive, and the map's words for them.
ORDERS = {
    "ABCD": ("high first", "high first"),
    "CDAB": ("low first", "high first"),
    "BADC": ("high first", "low first"),
    "DCBA": ("low first", "low first"),
}
_ORDER_WORDS = re.compile(r"(?<![a-z])(abcd|cdab|badc|dcba)(?![a-z])", re.IGNORECASE)
_HIGH_WORD = re.compile(
    r"high(?:er)?[ -]?word (?:is )?first|msw first|hw[,/ ]+lw|high/low|höherwertiges wort zuerst", re.I
)
_LOW_WORD = re.compile(
    r"low(?:er)?[ -]?word (?:is )?first|lsw first|lw[,/ ]+hw|low/high|niederwertiges wort zuerst", re.I
)
_VAGUE = re.compile(
    r"swap|endian|intel|motorola|reverse|gedreht|vertauscht|(?<![a-z])inv|(?<![a-z])lo?w?[-/ ]?hi|"
    r"(?<![a-z])hi(?:gh)?[-/ ]?lo|(?<![a-z])[lm]s[bw](?![a-z])|(?<![a-z])[lb]e(?![a-z])",
    re.IGNORECASE,
)


def order_of(text: str) -> tuple[str, str] | None:
    """Word order and byte order told by letters (CDAB) or as `low word first`; None where not told."""
    found = _ORDER_WORDS.search(text)
    if found is not None:
        return ORDERS[found[1].upper()]
    if _LOW_WORD.search(text):
        return ORDERS["CDAB"]
    return ORDERS["ABCD"] if _HIGH_WORD.search(text) else None


def vague_order(text: str) -> bool:
    """Whether a text speaks of an order in words that different makers use for different ones."""
    return order_of(text) is None and _VAGUE.search(text) is not None


def as_raw(raw: tuple[int, bool], kind: str) -> str:
    """A raw number as the map writes it: hexadecimal ones of signed types below 0, floats as words."""
    number, is_hex = raw
    if not is_hex:
        return str(number)
    if kind.startswith("float"):
        text = f"{number:08X}" if kind == "float32" else f"{number:016X}"
        return f"'{' '.join(text[i : i + 4] for i in range(0, len(text), 4))}'"
    width = re.search(r"\d+", kind)
    if kind.startswith("int") and width and number >= 1 << (int(width[0]) - 1):
        return str(number - (1 << int(width[0])))
    return str(number)


@dataclass(frozen=True, slots=True)
class Amount:
    """What a cell says of scale and unit; None for what it does not say."""

    scale: Decimal | None = None
    unit: str | None = None


_FACTOR = (
    r"(?:[x×*]\s*)?(?:1\s*[/:÷]\s*10{0,9}|10\s*\^\s*[+\-−]?\d|1e[+\-−]?\d|\d{1,9}(?:[.,]\d{1,9})?)"
    r"|[/÷:]\s*10{0,9}"
)
_BEFORE = re.compile(rf"({_FACTOR})\s*(?:\[(.+)\]|\((.+)\)|([^\d\s].*))?", re.IGNORECASE)
_BEHIND = re.compile(r"(.*?[^\d\s])\s*([x×*]\s*\d.*|[/÷:]\s*10{0,9})", re.IGNORECASE)


def amount_of(text: str) -> Amount | None:
    """`0.1 bar`, `x0.1`, `/10`, `bar x 0.1`, `°C/10` or `bar`; None where it is none of these."""
    text = _without_brackets(text.strip())
    if len(text) > _LONGEST:
        return None
    unit = unit_word(text)
    if unit is not None and text != "1":
        return Amount(None, unit)
    before = _BEFORE.fullmatch(text)
    if before is not None:
        behind = before[2] or before[3] or before[4]
        unit = unit_word(behind) if behind else None
        scale = scale_of(before[1])
        return Amount(scale, unit) if scale is not None and (unit or not behind) else None
    found = _BEHIND.fullmatch(text)
    if found is None:
        return None
    unit, scale = unit_word(found[1]), scale_of(found[2])
    return Amount(scale, unit) if unit is not None and scale is not None else None


def _without_brackets(text: str) -> str:
    for opening, closing in ("[]", "()"):
        if text.startswith(opening) and text.find(closing) in (-1, len(text) - 1):
            return text.strip(opening + closing).strip()
    return text


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


#: Where a type may end within its cell.
_CUT = r"[\s,;(\[/x×*_\-]+"


def type_and_rest(text: str) -> tuple[str | None, str]:
    """A type's cell as its type and what else stands in it: `UINT16 x10`, `INT16 (0.1 °C)`, `FLOAT CDAB`."""
    if len(text) > _LONGEST:
        return None, ""
    whole = type_of(text)
    if whole is not None:
        return whole, ""
    for cut in re.finditer(_CUT, text):
        kind = type_of(text[: cut.start()])
        rest = _behind_type(text[cut.start() :])
        if kind is not None and type_of(text[: cut.end()].rstrip(" ,;([/x×*_-")) == kind and rest:
            longer = _longest(text, cut.end())
            return longer or (kind, rest)
    return None, ""


def _behind_type(text: str) -> str:
    """What stands behind a type, without what parts it from the type; a minus of a number stays."""
    return re.sub(r"-(?=[^\W\d])", "", text.strip(" ,;_"), count=1).strip(" ,;_")


def _longest(text: str, start: int) -> tuple[str, str] | None:
    """A type that goes on behind a first word that is one by itself, as in `unsigned int 32, x10`."""
    best = None
    for cut in re.finditer(rf"{_CUT}|$", text[start:]):
        kind = type_of(text[: start + cut.start()])
        if kind is not None:
            best = kind, _behind_type(text[start + cut.start() :])
    return best


def unit_word(text: str) -> str | None:
    """The map's word for a unit, a pressure's with (g) or (a) where it says so; None where it knows none."""
    word = _without_brackets(text.strip())
    found = _plain_unit(word)
    if found is not None:
        return found
    side = re.fullmatch(r"(.*?[a-z])[\s_.]*\(?\s*(gauge|g|ü|rel|abs|a)\.?\s*\)?", word, re.IGNORECASE)
    if side is None:
        return None
    base = _plain_unit(side[1].strip())
    return f"{base}{_SIDES[side[2].casefold()]}" if base in PRESSURES else None


PRESSURES = frozenset({"bar", "mbar", "Pa", "hPa", "kPa", "MPa", "psi"})


def _plain_unit(word: str) -> str | None:
    for tried in (_UNITS.get(word.casefold(), ""), word, word.replace("³", "3").replace("°", "deg")):
        if tried and unit_of(tried) is not None:
            return tried
    return None


#: Wordings of manuals in three languages; common practice, no source.
_GAUGE = re.compile(
    r"\bgauge\b|(?:ü|ue)berdruck|\brelati[vf]|\((?:g|ü)\)|above atmospher|pression relative", re.IGNORECASE
)
_ABSOLUTE = re.compile(r"\babs(?:olu\w*|\.|\b)|\(a\)", re.IGNORECASE)
#: What is relative or absolute besides pressures, and what is said not to be.
_OF_NO_PRESSURE = re.compile(
    r"\b(?:relativ|absolut)\w*[ -]+(?:(?:air |luft)?(?:humid|feucht)|accura|genauig|error|fehler|deviation|"
    r"abweich|uncert|unsicher|précision|erreur|value|wert)\w*|\b(?:not|no|nicht|kein\w*|non|pas)\s+\w+",
    re.IGNORECASE,
)


def gauge_of(words: str) -> bool | None:
    """Whether a pressure is above the surrounding air (True) or absolute (False); None where not said.

    Words that say both say nothing.
    """
    words = _OF_NO_PRESSURE.sub(" ", words)
    gauge, absolute = _GAUGE.search(words), _ABSOLUTE.search(words)
    return None if bool(gauge) is bool(absolute) else bool(gauge)
