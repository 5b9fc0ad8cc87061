"""Unit words as meters and technicians write them: a closed table with the dimension of each.

The table is the whole vocabulary: arithmetic takes `expression`, never a word from a file, so that
`100 cfm` cannot become a length and `5 bar(g)` no bar times gram. Words are matched exactly, after `³`, `²`,
`°` and `µ` are written as 3, 2, deg and u.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum


class Dimension(StrEnum):
    """What a unit measures."""

    VOLUME_FLOW = "volume flow"
    MASS_FLOW = "mass flow"
    VELOCITY = "velocity"
    VOLUME = "volume"
    MASS = "mass"
    PRESSURE = "pressure"
    TEMPERATURE = "temperature"
    LENGTH = "length"
    AREA = "area"
    TIME = "time"
    FREQUENCY = "frequency"
    RATIO = "ratio"
    DENSITY = "density"
    POWER = "power"
    ENERGY = "energy"
    SPECIFIC_POWER = "specific power"
    CARBON = "carbon intensity"
    VOLTAGE = "voltage"
    CURRENT = "current"
    APPARENT_POWER = "apparent power"
    REACTIVE_POWER = "reactive power"
    REACTIVE_ENERGY = "reactive energy"
    CONDUCTIVITY = "conductivity"


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit word. `conditional`: it hides reference conditions."""

    word: str
    dimension: Dimension
    expression: str  # for arithmetic
    conditional: bool = False


_VOLUMES = {"m3": "meter**3", "l": "liter", "L": "liter", "dm3": "liter", "ft3": "foot**3",
            "ml": "milliliter", "gal": "gallon", "cm3": "centimeter**3"}  # fmt: skip
_MASSES = {"kg": "kilogram", "g": "gram", "t": "metric_ton", "lb": "pound"}
_TIMES = {"s": "second", "min": "minute", "h": "hour"}
_LENGTHS = {
    "m": "meter",
    "mm": "millimeter",
    "cm": "centimeter",
    "km": "kilometer",
    "in": "inch",
    "ft": "foot",
}
_OTHERS: Mapping[Dimension, Mapping[str, str]] = {
    Dimension.PRESSURE: {
        "bar": "bar", "mbar": "millibar", "Pa": "pascal", "hPa": "hectopascal", "kPa": "kilopascal",
        "MPa": "megapascal", "psi": "psi", "atm": "standard_atmosphere", "mmHg": "mmHg",
    },
    Dimension.TEMPERATURE: {"degC": "degree_Celsius", "degF": "degree_Fahrenheit", "K": "kelvin"},
    Dimension.LENGTH: _LENGTHS,
    Dimension.AREA: {"m2": "meter**2", "cm2": "centimeter**2", "mm2": "millimeter**2"},
    Dimension.TIME: {"us": "microsecond", "ms": "millisecond", "s": "second", "min": "minute", "h": "hour",
                     "d": "day"},
    Dimension.FREQUENCY: {"Hz": "hertz", "kHz": "kilohertz", "1/min": "1/minute", "rpm": "revolution/minute"},
    Dimension.RATIO: {"%": "percent", "ppm": "ppm", "1": "dimensionless"},
    Dimension.DENSITY: {"kg/m3": "kilogram/meter**3", "g/l": "gram/liter", "g/m3": "gram/meter**3"},
    Dimension.POWER: {"W": "watt", "kW": "kilowatt", "MW": "megawatt"},
    Dimension.ENERGY: {"J": "joule", "kJ": "kilojoule", "MJ": "megajoule", "Wh": "watt*hour",
                       "kWh": "kilowatt*hour", "MWh": "megawatt*hour"},
    Dimension.SPECIFIC_POWER: {"kW/(m3/min)": "kilowatt/(meter**3/minute)",
                               "kW/(m3/h)": "kilowatt/(meter**3/hour)",
                               "kWh/m3": "kilowatt*hour/meter**3", "Wh/m3": "watt*hour/meter**3"},
    Dimension.CARBON: {"kg/kWh": "kilogram/kilowatt/hour", "g/kWh": "gram/kilowatt/hour",
                       "kg/MWh": "kilogram/megawatt/hour"},
    Dimension.VOLTAGE: {"mV": "millivolt", "V": "volt"},
    Dimension.CURRENT: {"mA": "milliampere", "A": "ampere"},
    Dimension.APPARENT_POWER: {"VA": "volt*ampere", "kVA": "kilovolt*ampere"},
    Dimension.REACTIVE_POWER: {"var": "volt*ampere", "kvar": "kilovolt*ampere"},
    Dimension.REACTIVE_ENERGY: {"varh": "volt*ampere*hour", "kvarh": "kilovolt*ampere*hour"},
    Dimension.CONDUCTIVITY: {"uS/cm": "microsiemens/centimeter", "mS/cm": "millisiemens/centimeter"},
}  # fmt: skip
_ALIASES = {"cfm": "ft3/min", "cfh": "ft3/h", "lpm": "l/min", "gpm": "gal/min"}
#: Flow and volume words that say "at reference conditions" without saying which.
_CONDITIONAL = {
    "scfm": "ft3/min", "scfh": "ft3/h", "scf": "ft3", "slpm": "l/min", "slm": "l/min", "sccm": "cm3/min",
    "SCFM": "ft3/min", "SCFH": "ft3/h", "SLPM": "l/min", "nlpm": "l/min",
}  # fmt: skip

#: What a reference volume may be referred to; the sources differ, so none is taken unasked.
REFERENCE_CHOICES = (
    "0 degC and 1.01325 bar (DIN 1343, 'normal')",
    "15 degC and 1.01325 bar (ISO 13443)",
    "20 degC and 1 bar (ISO 1217)",
    "60 degF and 14.696 psi (US gas industry)",
    "68 degF and 14.5 psi (US compressor industry)",
)


def _table() -> dict[str, Unit]:
    found: dict[str, Unit] = {}

    def add(word: str, dimension: Dimension, expression: str, conditional: str = "") -> None:
        found.setdefault(word, Unit(word, dimension, expression, bool(conditional)))

    for dimension, words in _OTHERS.items():
        for word, expression in words.items():
            add(word, dimension, expression)
    for kinds, of, flow in (
        (_VOLUMES, Dimension.VOLUME, Dimension.VOLUME_FLOW),
        (_MASSES, Dimension.MASS, Dimension.MASS_FLOW),
    ):
        for word, expression in kinds.items():
            add(word, of, expression)
            for per, time in _TIMES.items():
                add(f"{word}/{per}", flow, f"{expression}/{time}")
    for word, expression in _LENGTHS.items():
        for per, time in _TIMES.items():
            add(f"{word}/{per}", Dimension.VELOCITY, f"{expression}/{time}")
    for prefix in ("N", "S"):
        for word in ("m3", "l", "L", "ft3"):
            for base in (word, *(f"{word}/{per}" for per in _TIMES)):
                unit = found[base]
                add(f"{prefix}{base}", unit.dimension, unit.expression, "hidden")
    for word, base in _ALIASES.items():
        add(word, found[base].dimension, found[base].expression)
    for word, base in _CONDITIONAL.items():
        add(word, found[base].dimension, found[base].expression, "hidden")
    return found


#: Every unit word there is.
UNITS: Mapping[str, Unit] = _table()

_WRITTEN = str.maketrans({"³": "3", "²": "2", "µ": "u", "μ": "u", "·": "*"})


def unit_of(word: str) -> Unit | None:
    """The unit a word means, without a pressure's (g) or (a); None where the table does not have it."""
    plain = word.translate(_WRITTEN).strip()
    return UNITS.get(plain) or UNITS.get(plain.replace("°", "deg"))


#: How the unit words of files and maps are set in print.
_IN_PRINT = (
    (re.compile(r"\bdeg([CF])\b"), r"°\1"),
    (re.compile(r"\b([NS]?(?:m|dm|cm|mm|ft))3\b"), r"\1³"),
    (re.compile(r"\b([cm]?m)2\b"), r"\1²"),
    (re.compile(r"\buS\b"), "µS"),
)


def printed(word: str) -> str:
    """A unit as people write it: `kW/(m3/min)` is kW/(m³/min), `degC` is °C, `bar(g)` stays."""
    for written, in_print in _IN_PRINT:
        word = written.sub(in_print, word)
    return word


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit, exact. `gauge`: of a pressure, True (g), False (a), None where not said."""

    number: Decimal
    unit: Unit
    gauge: bool | None = None

    def __str__(self) -> str:
        """As it is written in a file."""
        side = "" if self.gauge is None else "(g)" if self.gauge else "(a)"
        return f"{self.number} {self.unit.word}{side}"


_QUANTITY = re.compile(
    r"([-+]?(?:0|[1-9][0-9]{0,14})(?:\.[0-9]{1,15})?(?:[eE][-+]?[0-9]{1,2})?)"
    r"(?: +(?P<behind>\S.*)|(?P<close>[^\s0-9.,eE+-].*))\Z"
)
_SIDE = re.compile(r"(.*\S) ?\((g|a)\)\Z")


def quantity_of(text: str, example: str = "53.1 mm or 7 bar(g)") -> Quantity | str:
    """`NUMBER UNIT` as a quantity, or what is wrong with it: "7 bar(g)", "53.1 mm", "2 %".

    `example`: what is written where this stands, for the fault.
    """
    written = text.strip()
    found = _QUANTITY.match(written) if len(written) <= 60 else None
    if found is None:
        if re.match(r"[-+]?[0-9]+,[0-9]", written):
            return f"a decimal comma? write {written[:60].replace(',', '.', 1)}"
        if re.match(r"[-+]?0[0-9]", written):
            return "a number with leading zeros; write it without"
        return f"no number with a unit; write both, such as {example}"
    number, word = found.group(1), found["behind"] or found["close"]
    side = _SIDE.match(word)
    unit = unit_of(side.group(1) if side else word)
    if unit is None:
        return f"unknown unit '{word}'; units look like m3/h, l/min, m/s, mm, bar(g), degC, %"
    if side and unit.dimension is not Dimension.PRESSURE:
        return f"({side.group(2)}) belongs to pressures only, not to {unit.word}"
    return Quantity(Decimal(number), unit, None if side is None else side.group(2) == "g")


def hidden_conditions(word: str) -> str:
    """What is wrong with a unit that says "standard" or "normal" without conditions."""
    return (
        f"'{word}' hides its reference conditions, and they differ between trades, by 2.9 % for scfm alone; "
        f"say which as a reference: {'; '.join(REFERENCE_CHOICES)}"
    )
