"""States of a gas, reference conditions by name, and the way from a file's quantities to kelvin and pascal.

Everything behind this door is floats in SI. A pressure that does not say (g) or (a) never passes, a gauge
pressure only together with the air pressure around it, and a width (an uncertainty) has its own functions,
so that 1 degC of width is 1 K and not 274.15 K.
"""

import math
from dataclasses import dataclass

from protocols.units import UNITS, Dimension, Quantity
from readout.errors import WrongUse
from readout.measuring_point.checks.plain import pascals
from readout.measuring_point.conversion import converted
from readout.sentence import Sentence, joined

#: One standard atmosphere [Pa], exact by definition (10th CGPM, 1954).
ATMOSPHERE_PA = 101325.0
#: One pound-force for each square inch [Pa] (NIST SP 811 (2008), B.8; from memory).
PSI_PA = 6894.757293168
ZERO_CELSIUS_K = 273.15


@dataclass(frozen=True, slots=True)
class State:
    """Temperature [K], absolute pressure [Pa] and relative humidity (0 to 1; 0 is dry) of a gas.

    Raises:
        WrongUse: not above absolute zero or vacuum, not finite, or a humidity outside 0 to 1.
    """

    temperature_k: float
    pressure_pa: float
    relative_humidity: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what no gas can be."""
        if not (math.isfinite(self.temperature_k) and self.temperature_k > 0):
            raise WrongUse(
                Sentence(
                    "a temperature of {kelvin:g} K is not above absolute zero", kelvin=self.temperature_k
                )
            )
        if not (math.isfinite(self.pressure_pa) and self.pressure_pa > 0):
            raise WrongUse(
                Sentence(
                    "an absolute pressure of {pascal:g} Pa is not above vacuum; "
                    "was a gauge pressure given as absolute?",
                    pascal=self.pressure_pa,
                )
            )
        if not 0 <= self.relative_humidity <= 1:
            raise WrongUse(
                Sentence(
                    "a relative humidity of {humidity:g} is not between 0 and 1",
                    humidity=self.relative_humidity,
                )
            )

    def __str__(self) -> str:
        return str(self.says)

    @property
    def says(self) -> Sentence:
        """Such as "20 °C, 1 bar(a)"; humidity only where there is any."""
        celsius = round(self.temperature_k - ZERO_CELSIUS_K, 4) + 0.0
        dry = Sentence("{celsius:g} °C, {bar:.6g} bar(a)", celsius=celsius, bar=self.pressure_pa / 1e5)
        if not self.relative_humidity:
            return dry
        return Sentence("{dry}, {humidity:.3g} relative humidity", dry=dry, humidity=self.relative_humidity)


@dataclass(frozen=True, slots=True)
class Reference:
    """Reference conditions that have a name in a trade. `source` says where they come from, and how sure."""

    name: str
    state: State
    source: str


def _fahrenheit(degrees: float) -> float:
    return (degrees + 459.67) / 1.8


NORMAL = Reference("normal", State(ZERO_CELSIUS_K, ATMOSPHERE_PA), "DIN 1343, read in a reprint")
GAS_15_C = Reference("ISO 13443", State(288.15, ATMOSPHERE_PA), "ISO 13443 and ISO 2533, from memory")
FREE_AIR = Reference("free air", State(293.15, 1e5), "ISO 1217:2009 Annexes C and F, from memory")
PNEUMATIC = Reference("ANR", State(293.15, 1e5, 0.65), "ISO 8778, from memory")
AT_20_C = Reference("20 degC, 1 atm", State(293.15, ATMOSPHERE_PA), "common practice, no source")
US_GAS = Reference(
    "60 degF, 14.696 psi", State(_fahrenheit(60), 14.696 * PSI_PA), "US gas industry, encyclopaedia"
)
US_GAS_1473 = Reference(
    "60 degF, 14.73 psi", State(_fahrenheit(60), 14.73 * PSI_PA), "US gas industry, encyclopaedia"
)
US_MOIST = Reference(
    "68 degF, 14.7 psi, 36 %", State(_fahrenheit(68), 14.7 * PSI_PA, 0.36), "US, encyclopaedia"
)
US_68_F = Reference(
    "68 degF, 14.7 psi", State(_fahrenheit(68), 14.7 * PSI_PA), "US, encyclopaedia, taken dry"
)
US_COMPRESSOR = Reference(
    "68 degF, 14.5 psi", State(_fahrenheit(68), 14.5 * PSI_PA), "US compressor industry, encyclopaedia"
)
US_LEAK_TABLE = Reference(
    "70 degF, 14.7 psi", State(_fahrenheit(70), 14.7 * PSI_PA), "handbook table of discharge through orifices"
)

#: All that are known by name.
REFERENCES = (
    NORMAL, GAS_15_C, FREE_AIR, PNEUMATIC, AT_20_C, US_GAS, US_GAS_1473, US_68_F, US_MOIST, US_COMPRESSOR,
    US_LEAK_TABLE,
)  # fmt: skip
#: What "standard" (S…, scfm) and "normal" (N…) are used for; N for others than DIN 1343: common practice.
STANDARD_CHOICES = (US_GAS, US_68_F, US_COMPRESSOR)
NORMAL_CHOICES = (NORMAL, GAS_15_C, FREE_AIR)


def reference_at(state: State) -> Reference | None:
    """The named reference conditions that these are, within 1 mK, 1 Pa and 0.001 of humidity; else None."""
    for reference in REFERENCES:
        known = reference.state
        if (
            abs(known.temperature_k - state.temperature_k) < 1e-3
            and abs(known.pressure_pa - state.pressure_pa) < 1
            and abs(known.relative_humidity - state.relative_humidity) < 1e-3
        ):
            return reference
    return None


def kelvin(temperature: Quantity) -> float:
    """A temperature [K]; ValueError for anything else."""
    if temperature.unit.dimension is not Dimension.TEMPERATURE:
        raise ValueError(f"{temperature} is no temperature")
    number = float(temperature.number)
    if temperature.unit.word == "degC":
        return number + ZERO_CELSIUS_K
    return _fahrenheit(number) if temperature.unit.word == "degF" else number


def kelvin_width(width: Quantity) -> float:
    """A difference of temperatures [K]: 1 degC is 1 K, 1.8 degF are 1 K; ValueError for anything else."""
    if width.unit.dimension is not Dimension.TEMPERATURE:
        raise ValueError(f"{width} is no temperature")
    return float(width.number) / (1.8 if width.unit.word == "degF" else 1.0)


def absolute_pa(pressure: Quantity, atmosphere_pa: float | None) -> float:
    """An absolute pressure [Pa] from a pressure that says (g) or (a).

    Args:
        pressure: as a file or a meter says it.
        atmosphere_pa: air pressure at the site, absolute [Pa]; None where it is not known.

    Raises:
        WrongUse: neither (g) nor (a) is said, or it is a gauge pressure and the air pressure is not known.
    """
    plain = float(pascals(pressure))
    if pressure.gauge is None:
        word = pressure.unit.word
        raise WrongUse(
            Sentence(
                "{pressure}: gauge or absolute? write {unit}(g) or {unit}(a)", pressure=pressure, unit=word
            )
        )
    if not pressure.gauge:
        return plain
    if atmosphere_pa is None:
        raise WrongUse(
            Sentence(
                "{pressure} is a gauge pressure and the air pressure of the site is not known; "
                "give site: atmospheric_pressure or altitude",
                pressure=pressure,
            )
        )
    return plain + atmosphere_pa


def pascal_width(width: Quantity) -> float:
    """A difference of pressures [Pa]; ValueError where (g) or (a) is said: a difference is neither."""
    if width.gauge is not None:
        raise ValueError(f"{width} is a pressure, not a difference of pressures")
    return float(pascals(width))


def state_of(temperature: Quantity, pressure: Quantity, atmosphere_pa: float | None) -> State:
    """The state that a temperature and a pressure say; raises what `absolute_pa` and `State` raise."""
    return State(kelvin(temperature), absolute_pa(pressure, atmosphere_pa))


def standard_air_pressure_pa(altitude_m: float) -> float:
    """Air pressure of the standard atmosphere at a height above the sea [m], −1000 to 11,000 m [Pa].

    p = 101325 (1 − 0.0065 H / 288.15)^5.25588, H = 6,356,766 z / (6,356,766 + z): ISO 2533:1975, 2 (from
    memory; the tests compare with an open library). Weather moves the real pressure by up to 4 % (common
    knowledge, no source).

    Raises:
        WrongUse: another height.
    """
    if not -1000 <= altitude_m <= 11000:
        raise WrongUse(
            Sentence("an altitude of {metres:g} m is not between -1000 and 11000 m", metres=altitude_m)
        )
    geopotential = 6356766.0 * altitude_m / (6356766.0 + altitude_m)
    exponent = 9.80665 * 28.9644e-3 / (8.31432 * 0.0065)
    return float(ATMOSPHERE_PA * (1 - 0.0065 * geopotential / 288.15) ** exponent)


def flow_m3_per_s(flow: Quantity, reference: State | None) -> float:
    """A volume flow [m³/s], of the volume at the conditions it was given for.

    Args:
        flow: such as 420 m3/h or 250 scfm.
        reference: what it is referred to; None refuses a word that hides reference conditions.

    Raises:
        WrongUse: no volume flow, or such a word without reference conditions.
    """
    unit = flow.unit
    if unit.dimension is not Dimension.VOLUME_FLOW:
        raise WrongUse(
            Sentence(
                "{flow} is a {dimension}, not a volume flow; write such as 420 m3/h",
                flow=flow,
                dimension=unit.dimension,
            )
        )
    if unit.conditional and reference is None:
        raise WrongUse(hidden_reference(unit.word))
    plain = next(u for u in UNITS.values() if u.expression == unit.expression and not u.conditional)
    return float(converted(Quantity(flow.number, plain), UNITS["m3/s"]))


def hidden_spread_percent(word: str) -> float:
    """By how much [%] the largest of the meanings of a hidden word exceeds the smallest, ideal gas."""
    amounts = [choice.state.pressure_pa / choice.state.temperature_k for choice in _choices(word)]
    return 100 * (max(amounts) / min(amounts) - 1)


def hidden_reference(word: str) -> str:
    """Why "scfm" or "Nm3/h" alone is no flow: the meanings, and how far they lie apart."""
    choices = [Sentence("{state} ({name})", state=one.state.says, name=one.name) for one in _choices(word)]
    return Sentence(
        "'{unit}' hides its reference conditions, and its meanings differ by up to "
        "{percent:.1f} %; name a temperature and a pressure, such as {choices}",
        unit=word, percent=hidden_spread_percent(word), choices=joined("; ", choices),
    )  # fmt: skip


def _choices(word: str) -> tuple[Reference, ...]:
    return NORMAL_CHOICES if word[:1] in ("N", "n") else STANDARD_CHOICES
