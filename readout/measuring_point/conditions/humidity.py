"""Water in air: saturation, dew and frost points, the share of dry air, density of moist air.

Over water: IAPWS-IF97, region 4 (IAPWS R7-97(2012), equations 30 and 31; Table 35 is reproduced in the
tests). Over ice: IAPWS R14-08(2011), equation 6. Over supercooled water: the Magnus formula of WMO-No. 8,
Annex 4.B. Constants from memory. The enhancement factor (0.4 % at 1 bar, 3 % at 8 bar) is left out, so dew
points are known to about 0.3 K at 8 bar.
"""

import math

from readout.errors import WrongUse
from readout.measuring_point.conditions.gases import GAS_CONSTANT, Fluid, Model, compressibility, gas_of
from readout.measuring_point.conditions.states import ZERO_CELSIUS_K, State

WATER_KG_PER_MOL = 18.015268e-3
_IF97 = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
    0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
)  # fmt: skip
_ICE = ((-21.2144006, 0.333333333e-2), (27.3203819, 1.20666667), (-6.10598130, 1.70333333))
_TRIPLE_K, _TRIPLE_PA = 273.16, 611.657


def saturation_pressure_pa(temperature_k: float) -> float:
    """Vapour pressure over water [Pa], 273.15 to 647.096 K; WrongUse beyond."""
    if not ZERO_CELSIUS_K <= temperature_k <= 647.096:
        raise WrongUse(
            f"{temperature_k:g} K: vapour pressure over water is computed from 273.15 to 647.096 K"
        )
    n = _IF97
    x = temperature_k + n[8] / (temperature_k - n[9])
    a, b, c = x * x + n[0] * x + n[1], n[2] * x * x + n[3] * x + n[4], n[5] * x * x + n[6] * x + n[7]
    return float(1e6 * (2 * c / (-b + math.sqrt(b * b - 4 * a * c))) ** 4)


def ice_saturation_pressure_pa(temperature_k: float) -> float:
    """Vapour pressure over ice [Pa], 50 to 273.16 K; WrongUse beyond."""
    if not 50 <= temperature_k <= _TRIPLE_K:
        raise WrongUse(f"{temperature_k:g} K: vapour pressure over ice is computed from 50 to 273.16 K")
    x = temperature_k / _TRIPLE_K
    return float(_TRIPLE_PA * math.exp(sum(a * x**b for a, b in _ICE) / x))


def supercooled_saturation_pressure_pa(temperature_k: float) -> float:
    """Vapour pressure over water also below 0 °C [Pa], 228 to 333 K: Magnus; WrongUse beyond."""
    if not 228 <= temperature_k <= 333.15:
        raise WrongUse(f"{temperature_k:g} K: the Magnus formula holds from 228 to 333 K")
    t = temperature_k - ZERO_CELSIUS_K
    return 611.2 * math.exp(17.62 * t / (243.12 + t))


def vapour_pressure_pa(temperature_k: float) -> float:
    """Vapour pressure in equilibrium [Pa]: over ice below 0.01 °C, over water above."""
    is_ice = temperature_k < _TRIPLE_K
    return ice_saturation_pressure_pa(temperature_k) if is_ice else saturation_pressure_pa(temperature_k)


def saturation_temperature_k(vapour_pa: float) -> float:
    """Dew point, below 0.01 °C the frost point [K], of a vapour pressure [Pa].

    WrongUse where it is not between 100 and 647 K.
    """
    low, high = 100.0, 647.0
    if not vapour_pressure_pa(low) < vapour_pa < vapour_pressure_pa(high):
        raise WrongUse(f"{vapour_pa:g} Pa is no vapour pressure of water between 100 K and 647 K")
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if vapour_pressure_pa(middle) < vapour_pa else (low, middle)
    return (low + high) / 2


def supercooled_dew_point_k(vapour_pa: float) -> float:
    """Dew point over water, supercooled below 0 °C [K], of a vapour pressure [Pa]: Magnus, solved for it.

    WrongUse below the formula's 228 K.
    """
    if not supercooled_saturation_pressure_pa(228.0) <= vapour_pa:
        raise WrongUse(f"{vapour_pa:g} Pa is below the Magnus formula's 228 K; take the frost point")
    logarithm = math.log(vapour_pa / 611.2)
    return ZERO_CELSIUS_K + 243.12 * logarithm / (17.62 - logarithm)


def atmospheric_dew_point_k(pressure_dew_point_k: float, line_pa: float, atmosphere_pa: float) -> float:
    """Dew or frost point [K] after expansion from the line to the atmosphere (both absolute [Pa])."""
    return saturation_temperature_k(vapour_pressure_pa(pressure_dew_point_k) * atmosphere_pa / line_pa)


def water_vapour_pa(state: State) -> float:
    """Partial pressure of the water vapour [Pa]; below 0 °C relative humidity counts over water (WMO).

    WrongUse where the vapour alone would have the whole pressure.
    """
    if not state.relative_humidity:
        return 0.0
    cold = state.temperature_k < ZERO_CELSIUS_K
    saturated = (supercooled_saturation_pressure_pa if cold else saturation_pressure_pa)(state.temperature_k)
    vapour = state.relative_humidity * saturated
    if vapour >= state.pressure_pa:
        raise WrongUse(f"at {state} there would be nothing but steam")
    return vapour


def dry_pressure_pa(state: State) -> float:
    """Partial pressure of what is not water [Pa]."""
    return state.pressure_pa - water_vapour_pa(state)


def absolute_humidity_kg_per_m3(state: State) -> float:
    """Mass of water in a volume [kg/m³], ideal vapour."""
    return water_vapour_pa(state) * WATER_KG_PER_MOL / (GAS_CONSTANT * state.temperature_k)


def moist_density_kg_per_m3(state: State, model: Model) -> float:
    """Density of moist air [kg/m³]: dry air and ideal vapour by partial pressures, Z of the dry air."""
    vapour = water_vapour_pa(state)
    air = gas_of(Fluid.AIR).molar_mass_kg_per_mol
    mass_pa = (state.pressure_pa - vapour) * air + vapour * WATER_KG_PER_MOL
    z = 1.0 if model is Model.IDEAL else compressibility(Fluid.AIR, state)
    return mass_pa / (z * GAS_CONSTANT * state.temperature_k)
