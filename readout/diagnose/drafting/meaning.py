"""What the number of a row means: scale, unit, range, words for codes and bits, no reading."""

import json
import re
from decimal import Decimal

from protocols.units import REFERENCE_CHOICES, Dimension, unit_of
from readout.diagnose.drafting import cells, doubts, kinds
from readout.diagnose.drafting.asking import KEYS, UNIT_TOPICS, Asking
from readout.diagnose.drafting.doubts import NOTHING as _NOTHING
from readout.diagnose.drafting.folding import Item
from readout.diagnose.drafting.table import Column, Table

Keys = list[tuple[str, str]]
_DEGREES = r"(?P<degrees{}>\d{{1,2}}(?:[.,]\d{{1,2}})?) ?°?C\b"
_PRESSURE = r"(?P<pressure{}>\d{{1,4}}(?:[.,]\d{{1,5}})?) ?(?P<unit{}>bar|mbar|hPa|kPa)\b"
#: Reference conditions in a remark, as `20 °C and 1 bar` or the other way round.
_CONDITIONS = re.compile(
    rf"{_DEGREES.format(1)}[^\d]{{1,12}}{_PRESSURE.format(1, 1)}|"
    rf"(?<![\d.,]){_PRESSURE.format(2, 2)}[^\d]{{1,12}}{_DEGREES.format(2)}",
    re.IGNORECASE,
)
_BITFIELD = re.compile(r"bit ?field|bit ?feld|champ de bits|^\W*bits\W*$|\bflags?\b|bit ?mask", re.IGNORECASE)
#: [degC], the SI brochure's definition of the Celsius temperature.
_ABSOLUTE_ZERO = Decimal("-273.15")
_TOTALS = (Dimension.VOLUME, Dimension.MASS, Dimension.ENERGY)
_CHOICES = "; ".join(REFERENCE_CHOICES)


def described(
    item: Item, kind: str, section: str, rest: str, table: Table, asking: Asking
) -> tuple[Keys, str]:
    """Keys of the map for what the number means, and why the row cannot be in the map, or nothing.

    `kind` is the map's type, `rest` what else stood in the type's cell.
    """
    told = _Told(item, kind, section, rest, table, asking)
    found = told.words() if kind not in ("text", "unix time") else []
    if found is None:
        found = told.amount() if kind != "bit" else []
    if kind != "bit" and kind not in ("text", "unix time"):
        found += told.missing()
    own = told.keys()
    answered = {key for key, _ in own}
    return [*(pair for pair in found if pair[0] not in answered), *own], told.why


class _Told:
    def __init__(self, item: Item, kind: str, section: str, rest: str, table: Table, asking: Asking) -> None:
        self.item, self.kind, self.section = item, kind, section
        self.rest, self.table, self.asking = rest, table, asking
        self.line, self.label = item.row.line, item.label
        self.remarks = item.row.get(Column.CODES)
        self.taken = False  # whether something was made of the remarks
        self.why = ""
        spoken = _CONDITIONS.search(f"{self.label} {self.remarks}")
        if spoken is not None:
            side = "1" if spoken["degrees1"] is not None else "2"
            pressure = f"{spoken[f'pressure{side}'].replace(',', '.')} {spoken[f'unit{side}']}"
            degrees = spoken[f"degrees{side}"].replace(",", ".")
            told = f"{{temperature: {degrees} degC, pressure: {pressure}}}"
            self.asking.conditions[self.line] = told

    def ask(
        self, question: str, *topics: Column | str, answers: tuple[str, ...] = (), assumed: str = ""
    ) -> None:
        words = tuple(one.value if isinstance(one, Column) else one for one in topics)
        self.asking.row(self.line, self.label, question, topics=words, answers=answers, assumed=assumed)

    def words(self) -> Keys | None:
        """Codes or bits, or None where the row has none."""
        if self.kind.startswith("float"):
            return None
        for column in (Column.CODES, Column.RANGE):
            text = self.item.row.get(column)
            bits, codes = cells.bits_of(text), cells.codes_of(text)
            single = cells.one_code(text)
            if single is not None and not cells.missing_of(text):
                codes = codes or dict([single])
            several = cells.several_bits(text)
            if not bits and not codes and not several:
                continue
            exceptions = not bits and not several and self.kind != "bit"
            if exceptions and doubts.are_exceptions(self.item, self.kind, codes, self.asking):
                return None
            self.taken = self.taken or column is Column.CODES
            if self.kind == "bit":
                bits, codes = {}, {n: word for n, word in codes.items() if n < 2}
                return [("codes", _flow(codes))] if codes else []
            if not bits and _BITFIELD.search(self.item.row.get(Column.TYPE)):
                bits = codes
            else:
                doubts.ask_of_powers_of_two(self.item, codes, self.asking)
            doubts.ask_of_several_bits(self.item, several, self.asking)
            doubts.ask_where_bits_begin(self.item, bits, self.asking)
            for column in (Column.UNIT, Column.SCALE):
                cell = self.item.row.get(column)
                if cell not in _NOTHING and cell != "1":
                    self.asking.note(self.line, f"{column.value} {cell!r} not taken over beside words")
            if bits or several:
                return [("bits", _flow(bits))] if bits else []
            return self._codes(codes)
        return None

    def _codes(self, codes: dict[int, str]) -> Keys:
        missing = {n for n, word in codes.items() if cells.missing_of(f"{n} = {word}")}
        return [
            ("codes", _flow({n: word for n, word in codes.items() if n not in missing or len(codes) == 1}))
        ]

    def amount(self) -> Keys:
        """Scale, unit and range of a plain number."""
        scale, unit = self._scale_and_unit()
        found: Keys = []
        if scale is not None and scale != 1:
            found.append(("scale", f"{scale.normalize():f}"))
        offset = doubts.offset_of(self.item, scale, self.asking)
        if offset is not None:
            found.append(("offset", f"{offset.normalize():f}"))
        doubts.ask_of_a_moment(self.item, self.kind, self.asking)
        unit = self._pressure(self._unit(unit))
        if unit is not None:
            found.append(("unit", json.dumps(unit, ensure_ascii=False)))
            if unit in kinds.PRESSURES and doubts.is_differential(self.item):
                found.append(("quantity", "differential pressure"))
            found += self._amount_of_gas(unit)
        row = self.item.row
        text = row.get(Column.RANGE) or "...".join(
            filter(None, map(row.get, (Column.LOWEST, Column.HIGHEST)))
        )
        within = cells.range_of(text)
        other = kinds.unit_word(cells.behind_range(text))
        if other is not None and other.partition("(")[0] != (unit or "").partition("(")[0]:
            within = None  # 0-10 min of a value in seconds
        if within is not None:
            found.append(("range", f"[{within[0]}, {within[1]}]"))
            if unit == "degC" and within[0] < _ABSOLUTE_ZERO and scale is not None:
                self.ask(
                    f"no temperature lies below {_ABSOLUTE_ZERO} °C; is the range one of raw numbers?",
                    Column.RANGE,
                    answers=(f"range={cells.scaled_range(within, scale)}",),
                )
        elif text not in _NOTHING:
            self.asking.note(self.line, f"range {text!r} not taken over")
        if within is None and unit in ("degC", "degF") and self.kind.startswith("uint"):
            self.ask(
                f"can this temperature be below 0? {self.kind} has no negative numbers. Assumed: never",
                Column.TYPE,
                answers=(f"type={self.kind[1:]}", f"type={self.kind}"),
                assumed=f"assumed {self.kind}",
            )
        return found

    def _scale_and_unit(self) -> tuple[Decimal | None, str | None]:
        """The first scale and unit that any cell tells; a question where two cells disagree."""
        row = self.item.row
        bracket = re.search(r"[\[(]([^\[\]()]{1,12})[\])]\s*$", row.get(Column.NAME))
        of_pressure = kinds.unit_word(row.get(Column.UNIT).partition("(")[0]) in kinds.PRESSURES
        if bracket and of_pressure and kinds.gauge_of(bracket[0]) is not None:
            bracket = None  # `Pressure (g)` is above the surrounding air, and no gram
        scales: list[tuple[str, Decimal]] = []
        units: list[tuple[str, str]] = []
        for source, text in (
            ("scale", row.get(Column.SCALE)),
            ("unit", row.get(Column.UNIT)),
            ("type", self.rest),
            ("name", bracket[1] if bracket else ""),
        ):
            found = self._amount_in(source, text)
            if found is not None and found.scale is not None:
                scales.append((source, found.scale))
            if found is not None and found.unit is not None:
                units.append((source, found.unit))
        divisor = self._divisor()
        if divisor is not None:
            scales.append(("divisor", divisor))
        decimals = doubts.decimals_of(self.item, self.kind, self.asking)
        if decimals is not None:
            scales.append(("decimals", decimals))
        if not scales:
            doubts.ask_of_a_factor_in_the_name(self.item, self.asking)
        return self._one_scale(scales), self._one_unit(units)

    def _amount_in(self, source: str, text: str) -> kinds.Amount | None:
        elsewhere = source == "unit" and cells.register_meant(text)
        if text in _NOTHING or elsewhere or (source == "scale" and text in {"none", "keine"}):
            return None
        found = kinds.amount_of(text)
        if source == "unit" and (text.strip() == "1" or text.strip().casefold() in kinds.PLAIN):
            return kinds.Amount(None, "1")
        if found is None and source == "scale":
            doubts.ask_of_an_odd_scale(self.item, text, self.asking)
        if (
            found is None
            and source == "type"
            and kinds.order_of(text) is None
            and not kinds.vague_order(text)
        ):
            self.ask(
                f"{text!r} beside its type is not understood; left away. Is it a scale, a unit?",
                Column.TYPE,
                Column.SCALE,
                Column.UNIT,
                answers=("scale=…", "unit=…"),
            )
        return found

    def _divisor(self) -> Decimal | None:
        text = self.item.row.get(Column.DIVISOR).lstrip("/÷: ")
        if text in _NOTHING or text == "1":
            return None
        found = cells.decimal(text) or (Decimal(text) if re.fullmatch(r"10{1,9}", text, re.ASCII) else None)
        if found and re.fullmatch(r"10*", f"{found.normalize():f}"):
            return 1 / found
        self.ask(
            f"the divisor {text!r} is no power of ten; drafted without a scale",
            Column.DIVISOR,
            Column.SCALE,
            answers=("scale=…",),
            assumed="no scale",
        )
        return None

    def _one_scale(self, scales: list[tuple[str, Decimal]]) -> Decimal | None:
        if not scales:
            return None
        source, first = scales[0]
        if any(scale != first for _, scale in scales):
            told = " and ".join(f"{scale:f} by its {one}" for one, scale in scales)
            self.ask(
                f"its scale is told twice: {told}. Assumed: the first",
                Column.SCALE,
                answers=tuple(f"scale={scale:f}" for _, scale in scales),
                assumed=f"assumed scale {first:f}",
            )
        if self.kind.startswith("float") and first != 1 and self.table.says(Column.SCALE, "resol", "aufl"):
            self.ask(
                f"{first:f} is said to be the resolution, and a float is sent with its decimals. Assumed: "
                "no scale",
                Column.SCALE,
                answers=("scale=1", f"scale={first:f}"),
                assumed="assumed no scale",
            )
            return first if self.asking.answers.has(self.line, ("scale",)) else None
        if source != "scale":
            self.asking.note(self.line, f"scale {first:f} told by its {source}")
        if source in ("scale", "type"):
            doubts.ask_of_decimals(self.item, first, self.table, self.asking)
        if source != "divisor" and first > 1 and re.fullmatch(r"10+", f"{first.normalize():f}"):
            inverse = 1 / first
            self.ask(
                f"is the number sent multiplied by {first.normalize():f}, or does the meter send it "
                f"{first.normalize():f} times as large (scale {inverse:f})? Assumed: multiplied, as "
                "written. `map try` with --display shows which",
                Column.SCALE,
                answers=(f"scale={inverse:f}", f"scale={first.normalize():f}"),
                assumed=f"assumed scale {first.normalize():f}",
            )
        return first

    def _one_unit(self, units: list[tuple[str, str]]) -> str | None:
        if not units:
            return None
        source, first = units[0]
        preferred = next((unit for one, unit in units if one == "unit"), first)
        if any(unit != first for _, unit in units):
            told = " and ".join(f"{unit} by its {one}" for one, unit in units)
            self.ask(
                f"its unit is told twice: {told}. Assumed: {preferred}",
                Column.UNIT,
                answers=tuple(f"unit={unit}" for _, unit in units),
                assumed=f"assumed {preferred}",
            )
        elif source in ("type", "scale"):
            self.asking.note(self.line, f"unit told by its {source}")
        return preferred

    def _unit(self, found: str | None) -> str | None:
        text = self.item.row.get(Column.UNIT)
        if found is not None or (text not in _NOTHING and self.asking.answers.has(self.line, ("unit",))):
            return found or text  # a unit that nobody knows is kept as the answer has it
        bare = _BITFIELD.search(self.item.row.get(Column.TYPE)) or kinds.EXPONENT.search(self.label)
        if self.section == "readings" and not bare and not cells.register_meant(text):
            why = "no unit is told" if text in _NOTHING else f"the unit {text!r} is not known"
            self.ask(
                f"{why}. Write `unit: 1` for a plain number, or the unit",
                *UNIT_TOPICS,
                answers=("unit=1", "unit=…"),
                assumed="no unit",
            )
        return None

    def _pressure(self, unit: str | None) -> str | None:
        """A pressure's unit with what it is counted from, as far as the table tells that."""
        if unit not in kinds.PRESSURES or doubts.is_differential(self.item):
            return unit
        gauge = self.asking.counted_from(
            self.line,
            self.label,
            self.remarks,
            topics=(Column.UNIT.value, "gauge"),
            answers=(f"unit={unit}(g)", f"unit={unit}(a)"),
        )
        if gauge is None:
            return unit
        self.taken = True
        return f"{unit}(g)" if gauge else f"{unit}(a)"

    def _amount_of_gas(self, word: str) -> Keys:
        """Reference conditions or basis of a volume, as answered; whether a total is a running one."""
        unit = unit_of(word.removesuffix("(g)").removesuffix("(a)"))
        if unit is None or self.section != "readings":
            return []
        answers, found = self.asking.answers, []
        own = answers.rows.get(self.line, {})
        if unit.dimension in (Dimension.VOLUME, Dimension.VOLUME_FLOW, Dimension.VELOCITY):
            for key in ("reference", "basis"):
                fits = key == "basis" or unit.dimension is not Dimension.VELOCITY
                if key in answers.whole and fits and own.keys().isdisjoint(("reference", "basis")):
                    found.append((key, answers.whole[key]))
        if unit.conditional and not ("reference" in own or any(key == "reference" for key, _ in found)):
            self.why = f"{word} needs its reference conditions"
            told = self.asking.conditions.get(self.line, "{temperature: 0 degC, pressure: 1.01325 bar}")
            self.ask(
                f"a unit that hides its reference conditions: {_CHOICES}? Left out as a comment until told",
                "reference",
                answers=(f"reference={told}",),
                assumed="left out",
            )
        if unit.dimension in _TOTALS and not kinds.FRACTION.search(self.label):
            self.asking.running_total(self.line, self.label, doubts.roll_over_in(self.remarks))
        return found

    def missing(self) -> Keys:
        """The raw numbers that mean no reading, from their column or from the remarks."""
        column = self.item.row.get(Column.NOT_AVAILABLE)
        remarked = [
            one for text in (self.remarks, self.item.row.get(Column.RANGE)) for one in cells.missing_of(text)
        ]
        self.taken = self.taken or bool(remarked)
        doubts.ask_of_ends(self.item, self.kind, self.remarks, remarked, self.asking)
        numbers = []
        for text in [*([] if column in _NOTHING else re.split(r"[,;\s]+", column)), *remarked]:
            raw = cells.raw_number(text)
            if raw is None and self.kind.startswith("float") and (number := cells.decimal(text)) is not None:
                numbers.append(str(number))
                continue
            if raw is None and text.casefold() in {"nan", "none", ""}:
                continue  # a float that is not a number is none anyway
            if raw is None:
                self.ask(
                    f"{text!r} as a value for no reading is not understood; left away",
                    Column.NOT_AVAILABLE,
                    answers=("not-available=…",),
                )
                continue
            numbers.append(kinds.as_raw(raw, self.kind))
        if not numbers:
            return []
        return [("not_available", f"[{', '.join(dict.fromkeys(numbers))}]")]

    def keys(self) -> Keys:
        """Keys that were answered for this row; remarks of which nothing was made go beside it."""
        if self.remarks and not self.taken:
            self.asking.note(self.line, f"remark: {self.remarks}")
        default = self.item.row.get(Column.DEFAULT)
        if default not in _NOTHING:
            self.asking.note(self.line, f"factory setting {default}")
        own = self.asking.answers.rows.get(self.line, {})
        return [(key, own[key]) for key in KEYS if key in own]


def _flow(words: dict[int, str]) -> str:
    return (
        "{"
        + ", ".join(f"{n}: {json.dumps(printable(w), ensure_ascii=False)}" for n, w in words.items())
        + "}"
    )


def printable(text: str, most: int = 80) -> str:
    """Text of a table on one line of the map."""
    line = " ".join("".join(one if one.isprintable() else " " for one in text).split())
    return line if len(line) <= most else f"{line[: most - 1]}…"
