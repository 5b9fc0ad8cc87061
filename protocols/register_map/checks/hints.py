"""Warnings on one value: what is allowed, but probably not meant."""

from collections.abc import Mapping
from decimal import Decimal

from protocols.modbus.tables import Table
from protocols.register_map.build.numbers import Built
from protocols.register_map.checks.kinds import INTEGERS, LIMITS, NUMBERS, UNSIGNED, begins_again_at
from protocols.register_map.faults import Report
from protocols.register_map.forms import Entries
from protocols.register_map.grammar import values as g
from protocols.register_map.model import Kind, Number, Wire
from protocols.units import Dimension, quantity_of, unit_of

#: A float32 counts in steps of 1 up to here: 24 bits of significand (IEEE 754).
_FLOAT32_WHOLE = 2**24
_LIQUIDS = ("water", "glycol", "oil", "brine", "coolant", "liquid", "condensate", "milk", "fuel", "diesel")
#: What can be summed up over months.
_TOTALS = (
    Dimension.VOLUME, Dimension.MASS, Dimension.ENERGY, Dimension.REACTIVE_ENERGY, Dimension.TIME,
    Dimension.RATIO, Dimension.LENGTH,
)  # fmt: skip
#: Characters a meter's text may have before a count of characters is suspected: two fit a register.
_LONGEST_TEXT = 32
#: From as many codes on a single number missing among them is worth a word.
_CODES_FOR_A_GAP = 4
#: Reference conditions in use lie between these, in [degC] and [kPa]: 0 to 25 degC, 98 to 102 kPa.
_USUAL_REFERENCE = {Dimension.TEMPERATURE: (-1, 40), Dimension.PRESSURE: (90, 110)}
#: A roll-over so many times what the registers reach was written in raw numbers, or for another type. One
#: that is a little beyond is a display's, and the registers' own end stands instead (`begins_again_at`).
_RAW_MEANT = 10
#: [degC] by the SI brochure's definition of the Celsius temperature; the same on the other two scales.
_ABSOLUTE_ZERO = {"degC": Decimal("-273.15"), "K": Decimal(0), "degF": Decimal("-459.67")}
#: Units in which a reference is written, as [degC] or [kPa]: factor, and what is taken off before it.
_PLAIN: Mapping[str, tuple[Decimal, Decimal]] = {
    "degC": (Decimal(1), Decimal(0)), "K": (Decimal(1), Decimal("273.15")),
    "degF": (Decimal(5) / 9, Decimal(32)), "bar": (Decimal(100), Decimal(0)),
    "mbar": (Decimal("0.1"), Decimal(0)), "Pa": (Decimal("0.001"), Decimal(0)),
    "hPa": (Decimal("0.1"), Decimal(0)), "kPa": (Decimal(1), Decimal(0)), "MPa": (Decimal(1000), Decimal(0)),
    "psi": (Decimal("6.894757"), Decimal(0)), "atm": (Decimal("101.325"), Decimal(0)),
    "mmHg": (Decimal("0.133322"), Decimal(0)),
}  # fmt: skip


def hint_at(built: Built, fluid: str | None, principle: str | None, report: Report) -> None:
    """Warnings on one reading, or on one field of a record."""
    entries, value = built.entries, built.value
    number = value.number
    if value.totaliser is not None and number.kind is Kind.FLOAT32:
        rolls = value.totaliser.rolls_over_at
        if rolls is None or number.scale == 0 or rolls / abs(number.scale) > _FLOAT32_WHOLE:
            report.warn(
                entries.at(g.TYPE),
                "a float32 total loses single units above 16,777,216; prefer the meter's integer register",
                "float32 total",
            )
    _hint_at_unit(built, report)
    _hint_at_dimension(built, report)
    _hint_at_range(built, report)
    _hint_at_parts(built, report)
    _hint_at_words(built, report)
    _hint_at_reference(built, fluid, principle, report)


def hint_at_setting(built: Built, wire: Wire, report: Report) -> None:
    """Warnings on what a meter can be told."""
    entries, value = built.entries, built.value
    _hint_at_unit(built, report)
    _hint_at_range(built, report)
    _hint_at_words(built, report)
    limited = any(entries.has(key) for key in (g.RANGE, g.STEPS, g.CODES, g.BITS))
    if value.writable and value.number.kind in NUMBERS and not limited:
        report.warn(
            entries.at(g.WRITE),
            f"'{value.name}' may be written and has neither range nor steps: any number the type holds would "
            "be sent; write range: [lowest, highest] from the manual",
            "writable without limits",
        )
    if value.writable:
        _hint_at_writing(built, wire, report)


def _hint_at_writing(built: Built, wire: Wire, report: Report) -> None:
    """A setting that no request can write, or that one request cannot write whole."""
    entries, number = built.entries, built.value.number
    four_bytes = number.words != number.addresses
    if number.table not in (Table.HOLDING, Table.COIL) or four_bytes:
        what = "32 bits behind one address" if four_bytes else f"{number.table} registers"
        report.warn(
            entries.at(g.WRITE),
            f"'{built.value.name}' cannot be written: no request writes {what}; take the key out, or check "
            "the table",
            "cannot be written",
        )
    elif wire.write_with == 6 and number.words > 1:
        report.warn(
            entries.at(g.WRITE),
            f"with write_with: 6 the {number.words} registers of '{built.value.name}' are written one after "
            "the other; say write_with: 16 if the meter takes it",
            "written in pieces",
        )


def hint_at_identity(built: Built, report: Report) -> None:
    """Warnings on what tells a meter from others."""
    _hint_at_words(built, report)


def hint_at_names(values: list[Built], report: Report) -> None:
    """Two readings whose names a person, or a spreadsheet, takes for one."""
    first: dict[str, str] = {}
    for built in values:
        name = built.value.name
        other = first.setdefault(name.replace("_", ""), name)
        if other != name:
            report.warn(
                built.name,
                f"'{name}' and '{other}' differ in an underscore only; choose names that nobody mixes up",
                "names alike",
            )


def _hint_at_unit(built: Built, report: Report) -> None:
    entries, value = built.entries, built.value
    is_plain = not (value.codes or value.bits or entries.has(g.CODES) or entries.has(g.BITS))
    if value.number.kind in NUMBERS and is_plain and not entries.has(g.UNIT):
        report.warn(built.name, f"'{value.name}' has no unit; say unit: 1 for a plain number", "unit missing")


def _hint_at_dimension(built: Built, report: Report) -> None:
    """What a unit cannot be: a rate that is summed up, an absolute pressure below nothing."""
    entries, value = built.entries, built.value
    unit = None if value.unit is None else unit_of(value.unit.removesuffix("(g)").removesuffix("(a)"))
    if unit is None:
        return
    if value.totaliser is not None and unit.dimension not in _TOTALS:
        report.warn(
            entries.at(g.UNIT),
            f"a running total in {unit.word}, a unit of {unit.dimension}; is the unit that of the flow, or "
            "the totaliser key in the wrong row?",
            "total of a rate",
        )
    zero = _ABSOLUTE_ZERO.get(unit.word)
    if zero is not None and value.range is not None and value.range.low < zero:
        report.warn(
            entries.at(g.RANGE),
            f"the range begins at {value.range.low} {unit.word}, and no temperature lies below {zero} "
            f"{unit.word}; is its unit right, or is the range one of raw numbers?",
            "temperature below absolute zero",
        )
    is_absolute = unit.dimension is Dimension.PRESSURE and not value.gauge and not entries.has(g.QUANTITY)
    if is_absolute and value.range is not None and value.range.low < 0:
        report.warn(
            entries.at(g.RANGE),
            "a pressure that may be below 0 is not absolute; say gauge: true, or quantity: differential "
            "pressure",
            "absolute pressure below zero",
        )


def _hint_at_range(built: Built, report: Report) -> None:
    """A range that the type cannot reach, and "no reading" that is a reading."""
    entries, value, number = built.entries, built.value, built.value.number
    if value.range is None or number.kind not in NUMBERS:
        return
    low, high = value.range.low, value.range.high
    lone = not value.plus and value.times_ten_to is None
    lowest = number.offset if number.scale > 0 else Decimal("-Infinity")
    below = number.kind in UNSIGNED and lowest >= 0 and not value.plus and low < 0
    if below:
        report.warn(
            entries.at(g.RANGE),
            f"the range begins below 0, but {number.kind} has no negative numbers; is the type signed?",
            "unsigned below zero",
        )
    if number.kind in INTEGERS and lone and number.scale:
        least, most = sorted(raw * number.scale + number.offset for raw in LIMITS[number.kind])
        if high > most or (low < least and not below):
            report.warn(
                entries.at(g.RANGE),
                f"the range is {low} to {high}, but {number.kind}{_by(number)} reaches from {least} to "
                f"{most} only; are scale and type right?",
                "range beyond the type",
            )
    for raw in value.not_available.numbers if lone else ():
        reading = raw * number.scale + number.offset
        if low <= reading <= high:
            report.warn(
                entries.at(g.NOT_AVAILABLE),
                f"{raw} means no reading here, and {reading:f} lies within the range: a true {reading:f} "
                "would be lost; which of the two does the manual mean?",
                "no reading within the range",
            )


def _by(number: Number) -> str:
    scale = "" if number.scale == 1 else f" × {number.scale}"
    return scale if not number.offset else f"{scale} {number.offset:+}"


def _hint_at_parts(built: Built, report: Report) -> None:
    """Parts of one number are powers of ten apart, or 65536 where a wide number was cut into registers."""
    value, main = built.value, built.value.number
    for part, entries in built.parts[1:]:
        whole = part.kind in INTEGERS and main.kind in INTEGERS
        if part not in value.plus or not whole or not main.scale or part.scale / main.scale <= 0:
            continue
        ratio = part.scale / main.scale
        if ratio == 1 and value.totaliser is None:
            continue  # a sum of two counters
        if ratio != 1 and (_is_power_of_ten(ratio) or _is_power_of_a_word(ratio)):
            continue
        report.warn(
            entries.at(g.SCALE) if entries.has(g.SCALE) else entries.node,
            f"this part counts {ratio:.6g} of the first part's steps; the parts of one number are a power of "
            "ten apart (1000, 0.001), or 65536 where a wide number was cut in two",
            "factor of a part",
        )
    rolls = None if value.totaliser is None else value.totaliser.rolls_over_at
    if rolls is not None and rolls > 1 and _is_power_of_ten(rolls + 1):
        report.warn(
            built.entries.at(g.TOTALISER),
            f"rolls_over_at is the total that shows as 0 again: {rolls + 1:f}, if {rolls:f} is the last one "
            "shown",
            "roll-over by one",
        )
    most = begins_again_at(built.value)
    if rolls is not None and most is not None and rolls >= _RAW_MEANT * most:
        report.warn(
            built.entries.at(g.TOTALISER),
            f"the total never comes near {rolls:f}: its registers begin again at {most:f} at the latest; is "
            "rolls_over_at in raw numbers, or the type too narrow?",
            "roll-over out of reach",
        )


def _is_power_of_ten(number: Decimal) -> bool:
    return number.normalize().as_tuple().digits == (1,)


def _is_power_of_a_word(ratio: Decimal) -> bool:
    return any(ratio in (Decimal(1 << bits), 1 / Decimal(1 << bits)) for bits in (16, 32, 48))


def _hint_at_words(built: Built, report: Report) -> None:
    """Codes that look like a slip, and a text that counts characters."""
    entries, value = built.entries, built.value
    codes = value.codes
    if value.number.kind is Kind.TEXT and value.number.words > _LONGEST_TEXT:
        report.warn(
            entries.at(g.REGISTERS),
            f"a text of {value.number.words} registers has {value.number.words * 2} characters, two a "
            "register; does the manual count characters?",
            "long text",
        )
    if len(set(codes.values())) > len({word.casefold() for word in codes.values()}):
        report.warn(
            entries.at(g.CODES),
            "two codes have words that differ in capital letters only; write one word, or two that nobody "
            "mixes up",
            "words alike",
        )
    _hint_at_gap(codes, entries, report)


def _hint_at_gap(codes: Mapping[int, str], entries: Entries, report: Report) -> None:
    numbers = sorted(codes)
    positive = [number for number in numbers if number > 0]
    if positive[-1:] >= [4] and len(positive) > 2 and all(one & (one - 1) == 0 for one in positive):
        report.warn(
            entries.at(g.CODES),
            f"the codes {', '.join(map(str, positive))} are single bits of a number: if several can be set "
            "at once, say bits with their places, such as {0: …, 1: …, 2: …}",
            "codes that look like bits",
        )
        return
    missing = numbers[-1] - numbers[0] + 1 - len(numbers) if numbers else 0
    if missing == 1 and len(numbers) >= _CODES_FOR_A_GAP:
        gap = next(one for one in range(numbers[0], numbers[-1]) if one not in codes)
        report.warn(
            entries.at(g.CODES),
            f"code {gap} is missing among {numbers[0]} to {numbers[-1]}; if the manual has none, leave it "
            "so: it would be flagged as an unknown code",
            "codes with a gap",
        )


def _hint_at_reference(built: Built, fluid: str | None, principle: str | None, report: Report) -> None:
    """A gas volume without its conditions may mean any of five amounts; odd ones may be in another unit."""
    entries, value = built.entries, built.value
    own = value.reference
    for condition in () if own is None else (own.temperature, own.pressure):
        if condition.text is not None and _is_unusual(condition.text):
            report.warn(
                entries.at(g.REFERENCE),
                f"a volume referred to {condition.text} is unusual (0 to 25 degC, about 1 bar absolute are "
                "in use); is its unit right?",
                "unusual reference conditions",
            )
    unit = None if value.unit is None else unit_of(value.unit)
    is_liquid = principle == "magnetic" or any(word in (fluid or "").lower() for word in _LIQUIDS)
    if unit is None or is_liquid or entries.has(g.REFERENCE) or entries.has(g.BASIS) or unit.conditional:
        return
    if unit.dimension is Dimension.VOLUME_FLOW or (unit.dimension is Dimension.VOLUME and value.totaliser):
        report.warn(
            entries.at(g.UNIT),
            f"{unit.word} of a gas without a reference: say reference: {{temperature: …, pressure: …}}, or "
            "basis: actual where the meter tells the volume as it is in the pipe",
            "reference conditions missing",
        )


def _is_unusual(text: str) -> bool:
    found = quantity_of(text)
    if isinstance(found, str) or found.unit.word not in _PLAIN:
        return False
    factor, zero = _PLAIN[found.unit.word]
    low, high = _USUAL_REFERENCE.get(found.unit.dimension, (Decimal("-Infinity"), Decimal("Infinity")))
    return not low <= (found.number - zero) * factor <= high
