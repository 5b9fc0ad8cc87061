"""A flow as the one hole that would let it out: an illustration with its coefficient, not a finding."""

import math

#: Air: ratio of specific heats, and gas constant [J/(kg K)].
_K, _R = 1.4, 287.05
#: Outlet over inlet pressure (absolute) below which the flow is choked: 0.5283.
CRITICAL = (2 / (_K + 1)) ** (_K / (_K - 1))
#: Of a sharp-edged hole; a well-rounded one has 0.97 (Compressed Air and Gas Handbook, at its table).
SHARP_EDGED = 0.65


def mass_flow(
    diameter_m: float, inlet_pa: float, temperature_k: float, coefficient: float, outlet_pa: float = 101_325.0
) -> float:
    """Air [kg/s] through a hole from absolute `inlet_pa` to `outlet_pa`, isentropic, ideal gas.

    Choked below the critical ratio: 0.0404149 × C × A × p / sqrt(T).
    """
    area = math.pi / 4 * diameter_m**2
    ratio = max(outlet_pa / inlet_pa, CRITICAL)
    inner = ratio ** (2 / _K) - ratio ** ((_K + 1) / _K)
    factor = math.sqrt(2 * _K / (_R * (_K - 1)) * max(inner, 0.0))
    return coefficient * area * inlet_pa / math.sqrt(temperature_k) * factor


def equivalent_diameter(
    mass_kg_s: float, inlet_pa: float, temperature_k: float, coefficient: float = SHARP_EDGED
) -> float:
    """Diameter [m] of the one hole that lets out this mass of air: it goes with the root of the flow."""
    whole = mass_flow(1.0, inlet_pa, temperature_k, coefficient)
    return math.sqrt(max(mass_kg_s, 0.0) / whole)
