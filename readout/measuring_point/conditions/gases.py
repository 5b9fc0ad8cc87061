"""Gases: molar mass, compressibility and density, as ideal and as real gas.

Real gas: Z = 1 + B ρ + C ρ² (molar density ρ), B by Tsonopoulos (AIChE J. 20 (1974) 263), C by Orbey and
Vera (AIChE J. 29 (1983) 107), with each gas's critical constants; hydrogen by Lemmon, Huber and Leachman
(J. Res. NIST 113 (2008) 341, Table 1); helium by straight lines of our own through the coefficients of
Ortiz-Vega's equation of state. All constants from memory; what counts is the comparison with CoolProp's
reference equations in the tests: between −20 and 100 °C densities agree within `error_percent`.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from readout.errors import WrongUse
from readout.measuring_point.conditions.states import State
from readout.sentence import Sentence, joined, word

#: Molar gas constant [J/(mol K)], exact (SI brochure, 9th edition).
GAS_CONSTANT = 8.314462618


class Fluid(StrEnum):
    """What flows, in the words of point files."""

    AIR = "air"
    NITROGEN = "nitrogen"
    OXYGEN = "oxygen"
    ARGON = "argon"
    CARBON_DIOXIDE = "carbon dioxide"
    HELIUM = "helium"
    HYDROGEN = "hydrogen"
    METHANE = "methane"
    WATER = "water"


class Model(StrEnum):
    """How the density of a gas is computed. Meters and compressor standards mostly mean the ideal gas."""

    IDEAL = "ideal gas"
    REAL = "real gas"


@dataclass(frozen=True, slots=True)
class Gas:
    """Molar mass [kg/mol], critical temperature [K] and pressure [Pa], acentric factor, heat capacity ratio.

    `densest_pa`: up to this pressure the real-gas density was compared and found within `error_percent`.
    """

    molar_mass_kg_per_mol: float
    critical_k: float
    critical_pa: float
    acentric: float
    heat_capacity_ratio: float
    densest_pa: float
    error_percent: float


GASES = {
    Fluid.AIR: Gas(28.96546e-3, 132.5306, 3.786e6, 0.0335, 1.400, 42e5, 0.11),
    Fluid.NITROGEN: Gas(28.01348e-3, 126.192, 3.3958e6, 0.0372, 1.400, 42e5, 0.13),
    Fluid.OXYGEN: Gas(31.9988e-3, 154.581, 5.043e6, 0.0222, 1.395, 42e5, 0.05),
    Fluid.ARGON: Gas(39.948e-3, 150.687, 4.863e6, -0.00219, 1.667, 42e5, 0.12),
    Fluid.CARBON_DIOXIDE: Gas(44.0098e-3, 304.1282, 7.3773e6, 0.22394, 1.29, 20e5, 0.25),
    Fluid.HELIUM: Gas(4.002602e-3, 5.1953, 0.22746e6, -0.385, 1.667, 42e5, 0.01),
    Fluid.HYDROGEN: Gas(2.01588e-3, 33.145, 1.2964e6, -0.219, 1.405, 100e5, 0.01),
    Fluid.METHANE: Gas(16.0428e-3, 190.564, 4.5992e6, 0.01142, 1.31, 42e5, 0.18),
}
#: Between these temperatures [K] the real-gas density was compared: −20 to 100 °C.
COLDEST_K, HOTTEST_K = 253.15, 373.15
_HYDROGEN = (
    (0.05888460, 1.325, 1.0), (-0.06136111, 1.87, 1.0), (-0.002650473, 2.5, 2.0), (0.002731125, 2.8, 2.0),
    (0.001802374, 2.938, 2.42), (-0.001150707, 3.14, 2.63), (0.9588528e-4, 3.37, 3.0),
    (-0.1109040e-6, 3.75, 4.0), (0.1264403e-9, 4.0, 5.0),
)  # fmt: skip


def fluid_of(text: str | None) -> Fluid:
    """The fluid that a point file or a map names; "compressed air" and no word at all are not guessed at.

    Raises:
        WrongUse: another fluid, or none.
    """
    plain = (text or "").strip().lower().removeprefix("compressed ").removeprefix("dry ")
    if plain not in tuple(Fluid):
        said = Sentence("'{text}'", text=text) if text else Sentence("nothing")
        known = joined(", ", [word(one) for one in Fluid])
        raise WrongUse(
            Sentence(
                "the fluid is given as {said}, and only of {known} is the density known; "
                "give conditions: fluid",
                said=said,
                known=known,
            )
        )
    return Fluid(plain)


def gas_of(fluid: Fluid) -> Gas:
    """The gas's constants; WrongUse for water, which is none."""
    if fluid is Fluid.WATER:
        raise WrongUse(Sentence("water is a liquid here: no gas law holds for it"))
    return GASES[fluid]


def compressibility(fluid: Fluid, state: State) -> float:
    """Z of the dry gas as a real gas; humidity is left out (at 1 bar and 30 °C it changes Z by 1e-4).

    Raises:
        WrongUse: outside the temperatures and pressures for which the formula was compared, or liquid.
    """
    gas = gas_of(fluid)
    _refuse_beyond(fluid, gas, state)
    if fluid is Fluid.HYDROGEN:
        p, t = state.pressure_pa / 1e6, 100 / state.temperature_k
        return float(1 + sum(a * t**b * p**c for a, b, c in _HYDROGEN))
    second, third = _virial(fluid, gas, state.temperature_k)
    ideal_mol_per_m3 = state.pressure_pa / (GAS_CONSTANT * state.temperature_k)
    z = 1.0
    for _ in range(60):
        density = ideal_mol_per_m3 / z
        better = 1 + second * density + third * density**2
        if abs(better - z) < 1e-16:
            break
        z = better
    return z


def gas_density_kg_per_m3(fluid: Fluid, state: State, model: Model) -> float:
    """Density of the dry gas [kg/m³]; raises what `compressibility` raises."""
    z = 1.0 if model is Model.IDEAL else compressibility(fluid, state)
    mass = gas_of(fluid).molar_mass_kg_per_mol
    return state.pressure_pa * mass / (z * GAS_CONSTANT * state.temperature_k)


def speed_of_sound_m_per_s(fluid: Fluid, state: State) -> float:
    """Speed of sound of the ideal gas with a constant heat capacity ratio [m/s], for Mach numbers."""
    gas = gas_of(fluid)
    return math.sqrt(gas.heat_capacity_ratio * GAS_CONSTANT * state.temperature_k / gas.molar_mass_kg_per_mol)


def _virial(fluid: Fluid, gas: Gas, temperature_k: float) -> tuple[float, float]:
    """B [m³/mol] and C [m⁶/mol²]."""
    if fluid is Fluid.HELIUM:
        return (13.04 - 0.00405 * temperature_k) * 1e-6, (153.0 - 0.152 * temperature_k) * 1e-12
    t = temperature_k / gas.critical_k
    b0 = 0.1445 - 0.330 / t - 0.1385 / t**2 - 0.0121 / t**3 - 0.000607 / t**8
    b1 = 0.0637 + 0.331 / t**2 - 0.423 / t**3 - 0.008 / t**8
    c0 = 0.01407 + 0.02432 * t**-2.8 - 0.00313 * t**-10.5
    c1 = -0.02676 + 0.01770 * t**-2.8 + 0.040 / t**3 - 0.003 / t**6 - 0.00228 * t**-10.5
    volume = GAS_CONSTANT * gas.critical_k / gas.critical_pa
    return volume * (b0 + gas.acentric * b1), volume**2 * (c0 + gas.acentric * c1)


def _refuse_beyond(fluid: Fluid, gas: Gas, state: State) -> None:
    if not COLDEST_K - 1e-9 <= state.temperature_k <= HOTTEST_K + 1e-9 or state.pressure_pa > gas.densest_pa:
        raise WrongUse(
            Sentence(
                "{fluid} at {state} is outside the real-gas formula (-20 to 100 °C, up to {bar:g} bar(a)); "
                "compute with the ideal gas and allow for the difference",
                fluid=fluid,
                state=state.says,
                bar=gas.densest_pa / 1e5,
            )
        )
    if fluid is Fluid.CARBON_DIOXIDE and state.pressure_pa >= carbon_dioxide_saturation_pa(
        state.temperature_k
    ):
        raise WrongUse(
            Sentence(
                "carbon dioxide at {state} is liquid; a gas density has no meaning there", state=state.says
            )
        )


def carbon_dioxide_saturation_pa(temperature_k: float) -> float:
    """Vapour pressure of carbon dioxide [Pa], 217 to 304 K: Span and Wagner, J. Phys. Chem. Ref. Data 25
    (1996) 1509, equation 3.13 (from memory, compared with CoolProp); infinite above the critical point.
    """
    gas = GASES[Fluid.CARBON_DIOXIDE]
    if temperature_k >= gas.critical_k:
        return math.inf
    t = 1 - temperature_k / gas.critical_k
    terms = -7.0602087 * t + 1.9391218 * t**1.5 - 1.6463597 * t**2 - 3.2995634 * t**4
    return float(gas.critical_pa * math.exp(gas.critical_k / temperature_k * terms))
