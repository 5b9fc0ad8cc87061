"""Water as a liquid: density and viscosity.

Density by Kell, J. Chem. Eng. Data 20 (1975) 97, equations 16 (air-free, 1 atm) and 20 (isothermal
compressibility); viscosity by IAPWS SR6-08(2011), equation 10. Constants from memory; compared with
CoolProp's IAPWS-95 in the tests: density within 0.01 % from 0 to 110 °C up to 100 bar, viscosity within
0.1 % up to 5 bar and 1.2 % up to 100 bar.
"""

from readout.errors import WrongUse
from readout.measuring_point.conditions.humidity import saturation_pressure_pa
from readout.measuring_point.conditions.states import ATMOSPHERE_PA, ZERO_CELSIUS_K, State
from readout.sentence import Sentence

_VISCOSITY = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))


def water_density_kg_per_m3(state: State) -> float:
    """Density of liquid water [kg/m³], 0 to 110 °C, up to 100 bar(a); WrongUse beyond, or where it boils."""
    t = _liquid_celsius(state)
    at_1_atm = (
        999.83952 + 16.945176 * t - 7.9870401e-3 * t**2 - 46.170461e-6 * t**3 + 105.56302e-9 * t**4
        - 280.54253e-12 * t**5
    ) / (1 + 16.879850e-3 * t)  # fmt: skip
    compressed_per_bar = (
        50.88496 + 0.6163813 * t + 1.459187e-3 * t**2 + 20.08438e-6 * t**3 - 58.47727e-9 * t**4
        + 410.4110e-12 * t**5
    ) / (1 + 19.67348e-3 * t) * 1e-6  # fmt: skip
    return float(at_1_atm * (1 + compressed_per_bar * (state.pressure_pa - ATMOSPHERE_PA) / 1e5))


def water_viscosity_pa_s(state: State) -> float:
    """Dynamic viscosity of liquid water [Pa s], in the same range; of 1 bar, hardly changed by pressure."""
    reduced = (_liquid_celsius(state) + ZERO_CELSIUS_K) / 300
    return float(1e-6 * sum(a * reduced**b for a, b in _VISCOSITY))


def _liquid_celsius(state: State) -> float:
    celsius = state.temperature_k - ZERO_CELSIUS_K
    if not 0 <= celsius <= 110 or state.pressure_pa > 100e5:
        raise WrongUse(
            Sentence(
                "water at {state} is outside the formulas, 0 to 110 °C and up to 100 bar(a)", state=state.says
            )
        )
    if state.pressure_pa <= saturation_pressure_pa(state.temperature_k):
        raise WrongUse(Sentence("water at {state} is steam, not a liquid", state=state.says))
    return celsius
