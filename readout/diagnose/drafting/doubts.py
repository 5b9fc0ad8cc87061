"""What a row's cells may mean besides what they seem to: a number with a word for some of it, a moment,
decimals instead of a factor, an offset on either side of the scale. Each is asked; none is settled here.
"""

import re
from decimal import Decimal

from readout.diagnose.drafting import cells, kinds
from readout.diagnose.drafting.asking import Asking
from readout.diagnose.drafting.folding import Item
from readout.diagnose.drafting.table import Column, Table

NOTHING = frozenset({"", "-", "–", "—", "n/a", "N/A"})
_ENUM = re.compile(r"\benum", re.IGNORECASE)
_EPOCH = re.compile(
    r"\b1970\b|\bunix\b|\bepoch\b|\bposix\b|time[ _-]?stamp|zeitstempel|horodatage", re.IGNORECASE
)
_DIFFERENTIAL = re.compile(r"\bdiff|differenz|diff[ée]rence|\bdelta\b|[δ∆] ?p\b|\bdp\b", re.IGNORECASE)
_RESERVED_BITS = re.compile(r"reserv|réserv|unused|not used|spare|\bfrei\b|nicht b", re.IGNORECASE)
#: Fewer bits than this show no habit of counting.
_FEW_BITS = 3
_FACTOR_IN_NAME = re.compile(r"((?<![^\W_])x|[×*/÷])\s?(10{1,4})\W*$", re.IGNORECASE)
_ELSEWHERE = re.compile(r"reg(ister)?\b|siehe|see|\bsf\b|exponent", re.IGNORECASE)
_ROLLS = re.compile(
    r"(?:wraps?|rolls?[ -]?over|overflows?|überlauf|läuft über|débord\w*)\D{1,20}"
    r"(\d[\d '’.,\u00a0\u202f]*\d)",
    re.IGNORECASE,
)
#: A scale of so many is hardly a factor: decimals go up to it.
_MOST_DECIMALS = 9


def counts_an_amount(item: Item) -> bool:
    """Whether a row has a unit or a scale, as numbers have and codes have not."""
    row = item.row
    if _ENUM.search(row.get(Column.TYPE)):
        return False
    unit, scale = row.get(Column.UNIT), row.get(Column.SCALE)
    has_unit = unit not in NOTHING and unit != "1" and unit.casefold() not in kinds.PLAIN
    return has_unit or scale not in NOTHING | {"1"}


def are_exceptions(item: Item, kind: str, codes: dict[int, str], asking: Asking) -> bool:
    """Whether words of a row with a unit or a scale are remarks beside its number, as `0 = off` of a time.

    Several words may be all that it takes: that is asked.
    """
    if not counts_an_amount(item) or asking.answers.has(item.row.line, (Column.CODES.value,)):
        return False
    if len(codes) == 1:
        return True
    scaled = item.row.get(Column.SCALE) not in NOTHING | {"1"}
    number = asking.answers.has(item.row.line, ("type",)) or scaled or min(codes) > 0
    words = ", ".join(f"{code}: {word}" for code, word in list(codes.items())[:3])
    assumed = "a number, the words a remark" if number else "only these words, the unit a slip"
    asking.row(
        item.row.line,
        item.label,
        f"it has words for some numbers ({words}), and a unit or a scale. Are these words all that it "
        f"takes? Assumed: {assumed}",
        topics=("type",),
        answers=(f"type={kind}", "type=enum"),
        assumed="assumed a number" if number else "assumed codes",
    )
    return number


def ask_of_powers_of_two(item: Item, codes: dict[int, str], asking: Asking) -> None:
    """Ask of codes 1, 2, 4: they look like bits that may be set together."""
    if len(codes) > 2 and 0 not in codes and all(n & (n - 1) == 0 for n in codes):
        asking.row(
            item.row.line,
            item.label,
            "its codes are powers of two, as single bits are that may be set together. Assumed: codes",
            topics=(Column.CODES.value, Column.TYPE.value),
            answers=("type=bits", "type=uint16"),
            assumed="assumed codes",
        )


def is_differential(item: Item) -> bool:
    """Whether a row's name or remark says that a pressure is the difference of two."""
    return _DIFFERENTIAL.search(f"{item.label} {item.row.get(Column.CODES)}") is not None


def ask_where_bits_begin(item: Item, bits: dict[int, str], asking: Asking) -> None:
    """Ask of bits 1, 2, 3 without a bit 0: a map counts them from 0, some manuals from 1."""
    if min(bits, default=0) != 1 or len(bits) < _FEW_BITS:
        return
    from_0, from_1 = (", ".join(f"Bit {bit - less}: {word}" for bit, word in bits.items()) for less in (1, 0))
    asking.row(
        item.row.line,
        item.label,
        "its bits begin at 1. Do they count from 1, as some manuals do, where a map counts from 0? Assumed: "
        "bit 0 means nothing",
        topics=(Column.CODES.value,),
        answers=(f"codes={from_0}", f"codes={from_1}"),
        assumed="assumed bits as numbered",
    )


def ask_of_several_bits(item: Item, several: list[str], asking: Asking) -> None:
    """Ask of entries about more than one bit, such as `Bit 4-6: mode`; those of reserved bits are nothing."""
    for words in several:
        if _RESERVED_BITS.search(words):
            continue
        asking.row(
            item.row.line,
            item.label,
            f"{words!r} is a number of several bits, and a map names single ones; left away. Which bits are "
            "worth a name?",
            topics=(Column.CODES.value,),
        )


def ask_of_ends(item: Item, kind: str, remarks: str, taken: list[str], asking: Asking) -> None:
    """Ask of numbers in a remark that end what the type can hold: they mostly mean "no reading"."""
    width = re.search(r"\d+", kind)
    if kind.startswith("float") or width is None:
        return
    for text in dict.fromkeys(cells.ends_of_type(remarks, int(width[0]))):
        if text not in taken:
            asking.row(
                item.row.line,
                item.label,
                f"its remark names {text}, which ends what {kind} can hold. Does it mean no reading? "
                "Assumed: a number as any other",
                topics=(Column.NOT_AVAILABLE.value,),
                answers=(f"not-available={text}", "not-available=none"),
                assumed=f"{text} assumed a number",
            )


def roll_over_in(remarks: str) -> str:
    """Where a total begins again, as `wraps at 999 999 999` tells; a row of nines is the last one shown."""
    found = _ROLLS.search(remarks)
    number = None if found is None else cells.decimal(re.sub(r"[ '’\u00a0\u202f]", "", found[1]))
    if number is None or number <= 0:
        return ""
    last = Decimal(1).scaleb(min(0, int(number.as_tuple().exponent)))
    digits = set(number.as_tuple().digits)
    return f"{(number + last if digits == {9} else number).normalize():f}"


def ask_of_a_moment(item: Item, kind: str, asking: Asking) -> None:
    """Ask of 32 bits whose words speak of 1970: as a plain number they are no moment."""
    if kind in ("uint32", "int32") and _EPOCH.search(f"{item.label} {item.row.get(Column.CODES)}"):
        asking.row(
            item.row.line,
            item.label,
            f"are these seconds since 1970, a moment? Then `type: unix time`. Assumed: {kind}, a number",
            topics=("type",),
            answers=("type=unix time", f"type={kind}"),
            assumed="assumed a number",
        )


def ask_of_an_odd_scale(item: Item, text: str, asking: Asking) -> None:
    """Ask of a scale's cell that is no factor: 1,000, or words such as `see register 9`."""
    question = f"the scale {text!r} is not understood; drafted without one"
    answers: tuple[str, ...] = ("scale=…",)
    if cells.may_part_thousands(text):
        number = re.sub(r"\D", "", text)
        question = f"is the scale {text} one with decimals, or {number}? Drafted without one"
        answers = (f"scale={Decimal(text.replace(',', '.')).normalize():f}", f"scale={number}")
    elif _ELSEWHERE.search(text):
        question += ". If a register tells the exponent, answer `exponent-of` for that register's row"
    asking.row(
        item.row.line,
        item.label,
        question,
        topics=(Column.SCALE.value,),
        answers=answers,
        assumed="no scale",
    )


def ask_of_decimals(item: Item, scale: Decimal, table: Table, asking: Asking) -> None:
    """Ask of a scale of 2 to 9, which tells decimals as well; of 1, too, where others of its column do."""
    if scale != scale.to_integral_value() or not 1 <= scale <= _MOST_DECIMALS:
        return
    if scale == 1 and not table.decimals:
        return
    decimals = f"{Decimal(1).scaleb(-int(scale)):f}"
    asking.row(
        item.row.line,
        item.label,
        f"is {scale:f} a factor, or how many decimals the number has (scale {decimals})? Assumed: a factor, "
        "as written. `map try` with --display shows which",
        topics=(Column.SCALE.value,),
        answers=(f"scale={decimals}", f"scale={scale:f}"),
        assumed=f"assumed scale {scale:f}",
    )


def decimals_of(item: Item, kind: str, asking: Asking) -> Decimal | None:
    """The scale that a column of decimals tells, which may be those of the display alone: that is asked."""
    text = item.row.get(Column.DECIMALS).strip()
    if kind.startswith("float") or not re.fullmatch(r"[1-9]", text) or item.row.get(Column.SCALE):
        return None
    scale = Decimal(1).scaleb(-int(text))
    asking.row(
        item.row.line,
        item.label,
        f"it has {text} decimals: is the number sent without a decimal point (scale {scale:f}), or are these "
        f"what the display shows? Assumed: scale {scale:f}",
        topics=(Column.SCALE.value,),
        answers=(f"scale={scale:f}", "scale=1"),
        assumed=f"assumed scale {scale:f}",
    )
    return scale


def ask_of_a_factor_in_the_name(item: Item, asking: Asking) -> None:
    """Ask of `Temp x10` or `Voltage/100`, where no cell tells a scale."""
    found = _FACTOR_IN_NAME.search(item.label)
    if found is None:
        return
    inverse = f"{1 / Decimal(found[2]):f}"
    answers = (f"scale={inverse}", "scale=1" if found[1] in "/÷" else f"scale={found[2]}")
    asking.row(
        item.row.line,
        item.label,
        f"its name speaks of {found[0].strip()!r}: is the number sent {found[2]} times the value (scale "
        f"{inverse})? Assumed: no scale. `map try` with --display shows which",
        topics=(Column.SCALE.value,),
        answers=answers,
        assumed="assumed no scale",
    )


def offset_of(item: Item, scale: Decimal | None, asking: Asking) -> Decimal | None:
    """What is added to a value by the table's column of offsets; None where it says nothing or 0."""
    text = item.row.get(Column.OFFSET)
    if text.strip() in NOTHING:
        return None
    found = cells.decimal(text)
    if found is None:
        asking.row(
            item.row.line,
            item.label,
            f"the offset {text!r} is not understood; drafted without one",
            topics=(Column.OFFSET.value,),
            answers=("offset=…",),
            assumed="no offset",
        )
        return None
    if found and scale not in (None, 1):
        assert scale is not None
        before = f"{(found * scale).normalize():f}"
        asking.row(
            item.row.line,
            item.label,
            f"is {found:f} added to the scaled value, or to the number sent before it is scaled (offset "
            f"{before})? Assumed: to the scaled value. `map try` with --display shows which",
            topics=(Column.OFFSET.value,),
            answers=(f"offset={found:f}", f"offset={before}"),
            assumed=f"assumed offset {found:f}",
        )
    return found or None
