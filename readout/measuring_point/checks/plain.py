"""Lengths in mm, pressures in Pa, temperatures in K, exactly and without pint, which polling never loads.

Factors are those of the units' definitions: The International System of Units, 9th edition, and for
inch, pound-force and mmHg NIST Special Publication 811 (2008), Appendix B (from memory, and checked against
pint in the tests).
"""

from decimal import Decimal

from protocols.units import Dimension, Quantity

_MM = {"mm": "1", "cm": "10", "m": "1000", "km": "1000000", "in": "25.4", "ft": "304.8"}
_PA = {
    "Pa": "1", "hPa": "100", "mbar": "100", "kPa": "1000", "bar": "100000", "MPa": "1000000", "atm": "101325",
    "psi": "6894.757293168", "mmHg": "133.322387415",
}  # fmt: skip
#: What flows and velocities are counted in, by the name in a unit's expression: m³, kg and m.
_AMOUNTS = {
    "meter**3": "1", "liter": "0.001", "milliliter": "0.000001", "centimeter**3": "0.000001",
    "foot**3": "0.028316846592", "gallon": "0.003785411784",
    "kilogram": "1", "gram": "0.001", "metric_ton": "1000", "pound": "0.45359237",
    "meter": "1", "millimeter": "0.001", "centimeter": "0.01", "kilometer": "1000", "inch": "0.0254",
    "foot": "0.3048",
}  # fmt: skip
_A_HOUR = {"second": 3600, "minute": 60, "hour": 1}
_FLOWING = (Dimension.VOLUME_FLOW, Dimension.MASS_FLOW, Dimension.VELOCITY)
#: Absolute zero in each unit of temperature.
ABSOLUTE_ZERO = {"K": Decimal(0), "degC": Decimal("-273.15"), "degF": Decimal("-459.67")}
#: One standard atmosphere [Pa], exact by definition (10th CGPM, 1954).
STANDARD_ATMOSPHERE_PA = Decimal(101325)


def millimetres(length: Quantity) -> Decimal:
    """A length in mm, exact; ValueError for anything else."""
    if length.unit.dimension is not Dimension.LENGTH:
        raise ValueError(f"{length} is no length")
    return length.number * Decimal(_MM[length.unit.word])


def pascals(pressure: Quantity) -> Decimal:
    """A pressure in Pa, exact to the factor's digits, gauge as gauge; ValueError for anything else."""
    if pressure.unit.dimension is not Dimension.PRESSURE:
        raise ValueError(f"{pressure} is no pressure")
    return pressure.number * Decimal(_PA[pressure.unit.word])


def absolute_pascals(pressure: Quantity, atmosphere_pa: Decimal) -> Decimal:
    """A pressure that says (g) or (a), as absolute, in Pa; ValueError where it says neither."""
    if pressure.gauge is None:
        raise ValueError(f"{pressure}: gauge or absolute is not said")
    return pascals(pressure) + (atmosphere_pa if pressure.gauge else 0)


def per_hour(flow: Quantity) -> Decimal:
    """A volume flow in m³/h, a mass flow in kg/h, a velocity in m/h; ValueError for anything else.

    A unit that hides reference conditions is refused too: its m³ are not these.
    """
    if flow.unit.dimension not in _FLOWING or flow.unit.conditional:
        raise ValueError(f"{flow} is no flow or velocity at conditions that are known")
    amount, _, time = flow.unit.expression.partition("/")
    return flow.number * Decimal(_AMOUNTS[amount]) * _A_HOUR[time]
