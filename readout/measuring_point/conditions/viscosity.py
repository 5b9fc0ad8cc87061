"""Dynamic viscosity, for Reynolds numbers.

Air, nitrogen, oxygen and argon: Lemmon and Jacobsen, Int. J. Thermophys. 25 (2004) 21, equations 1 to 3,
Tables I to III, within 0.4 % of CoolProp's values between −20 and 100 °C up to 42 bar. Other gases:
Sutherland's formula at low density, constants as in White, Viscous Fluid Flow, Table 1-2 (helium and methane
as handbooks have them), within 5 % up to 15 bar. All constants from memory, compared in the tests.
"""

import math
from dataclasses import dataclass

from readout.measuring_point.conditions.gases import Fluid, Model, gas_density_kg_per_m3, gas_of
from readout.measuring_point.conditions.states import ZERO_CELSIUS_K, State
from readout.measuring_point.conditions.water import water_viscosity_pa_s


@dataclass(frozen=True, slots=True)
class _Dense:
    """Lennard-Jones ε/k [K] and σ [nm], critical temperature [K] and density [mol/dm³], terms N, t, d, l."""

    molar_mass_g_per_mol: float
    epsilon_k: float
    sigma_nm: float
    critical_k: float
    critical_mol_per_dm3: float
    terms: tuple[tuple[float, float, int, int], ...]


_COLLISION = (0.431, -0.4623, 0.08406, 0.005341, -0.00331)
_DENSE = {
    Fluid.AIR: _Dense(28.9586, 103.3, 0.360, 132.6312, 10.4477, (
        (10.72, 0.2, 1, 0), (1.122, 0.05, 4, 0), (0.002019, 2.4, 9, 0), (-8.876, 0.6, 1, 1),
        (-0.02916, 3.6, 8, 1),
    )),
    Fluid.NITROGEN: _Dense(28.01348, 98.94, 0.3656, 126.192, 11.1839, (
        (10.72, 0.1, 2, 0), (0.03989, 0.25, 10, 1), (0.001208, 3.2, 12, 1), (-7.402, 0.9, 2, 2),
        (4.620, 0.3, 1, 3),
    )),
    Fluid.OXYGEN: _Dense(31.9988, 118.5, 0.3428, 154.581, 13.63, (
        (17.67, 0.05, 1, 0), (0.4042, 0.0, 5, 0), (0.0001077, 2.10, 12, 0), (0.3510, 0.0, 8, 1),
        (-13.67, 0.5, 1, 2),
    )),
    Fluid.ARGON: _Dense(39.948, 143.2, 0.335, 150.687, 13.40742965, (
        (12.19, 0.42, 1, 0), (13.99, 0.0, 2, 0), (0.005027, 0.95, 10, 0), (-18.93, 0.5, 5, 2),
        (-6.698, 0.9, 1, 4), (-3.827, 0.8, 2, 4),
    )),
}  # fmt: skip
#: Viscosity at 273.15 K [Pa s] and Sutherland's constant [K].
_DILUTE = {
    Fluid.CARBON_DIOXIDE: (1.370e-5, 222.0),
    Fluid.HELIUM: (1.87e-5, 79.4),
    Fluid.HYDROGEN: (8.411e-6, 97.0),
    Fluid.METHANE: (1.024e-5, 164.0),
}


def viscosity_pa_s(fluid: Fluid, state: State) -> float:
    """Dynamic viscosity [Pa s]; moisture in air is left out. WrongUse for water that is not liquid."""
    if fluid is Fluid.WATER:
        return water_viscosity_pa_s(state)
    if fluid in _DENSE:
        density = gas_density_kg_per_m3(fluid, state, Model.IDEAL)  # 1 % of it is 0.01 % of the viscosity
        return _dense_pa_s(_DENSE[fluid], state.temperature_k, density / gas_of(fluid).molar_mass_kg_per_mol)
    at_zero, constant = _DILUTE[fluid]
    ratio = state.temperature_k / ZERO_CELSIUS_K
    return float(at_zero * ratio**1.5 * (ZERO_CELSIUS_K + constant) / (state.temperature_k + constant))


def _dense_pa_s(gas: _Dense, temperature_k: float, density_mol_per_m3: float) -> float:
    logarithm = math.log(temperature_k / gas.epsilon_k)
    collision = math.exp(sum(b * logarithm**power for power, b in enumerate(_COLLISION)))
    thin = 0.0266958 * math.sqrt(gas.molar_mass_g_per_mol * temperature_k) / (gas.sigma_nm**2 * collision)
    t, d = gas.critical_k / temperature_k, density_mol_per_m3 / 1000 / gas.critical_mol_per_dm3
    dense = sum(
        n * t**power * d**i * (math.exp(-(d**fall)) if fall else 1) for n, power, i, fall in gas.terms
    )
    return float(1e-6 * (thin + dense))
