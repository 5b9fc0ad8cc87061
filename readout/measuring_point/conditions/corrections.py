"""What a meter measures, and so what may be corrected afterwards in what it told.

A velocity meter (vortex, turbine, ultrasonic, magnetic) measures the volume in the pipe. A thermal meter
measures mass flow over an area, a Coriolis meter mass: neither needs line pressure or temperature, and a
correction with them would count the gas law twice. A differential-pressure meter measures ½ρv², so density
goes in with its root (ISO 5167-1:2003, 5.1, equation 1; from memory). The rules are common practice.
"""

from dataclasses import dataclass
from enum import StrEnum

from readout.errors import WrongUse
from readout.measuring_point.conditions.convert import conversion_factor, density_kg_per_m3
from readout.measuring_point.conditions.gases import Fluid, Model
from readout.measuring_point.conditions.states import State


class Principle(StrEnum):
    """How a meter measures, in the words of register maps."""

    THERMAL = "thermal"
    VORTEX = "vortex"
    TURBINE = "turbine"
    ULTRASONIC = "ultrasonic"
    DIFFERENTIAL_PRESSURE = "differential pressure"
    CORIOLIS = "coriolis"
    MAGNETIC = "magnetic"
    OTHER = "other"


class Correction(StrEnum):
    """A correction of a flow by temperature, pressure or gas."""

    LINE_TO_REFERENCE = "line volume to reference volume"
    REFERENCE_TO_LINE = "reference volume to line volume"
    OTHER_REFERENCE = "reference volume to another reference"
    OTHER_LINE_CONDITIONS = "line conditions other than the meter computed with"
    OTHER_GAS = "a gas other than the meter was set for"


@dataclass(frozen=True, slots=True)
class Ruling:
    """Whether a correction is permitted, and why."""

    is_permitted: bool
    reason: str


_VELOCITY = (Principle.VORTEX, Principle.TURBINE, Principle.ULTRASONIC, Principle.MAGNETIC)
_MASS = (Principle.THERMAL, Principle.CORIOLIS)
_HOW = {
    Principle.THERMAL: "a thermal meter measures mass flow",
    Principle.CORIOLIS: "a Coriolis meter measures mass flow",
    Principle.DIFFERENTIAL_PRESSURE: "a differential-pressure meter measures density times velocity squared",
    Principle.OTHER: "the map does not say how the meter measures",
    **{p: f"a {p} meter measures the velocity of what is in the pipe" for p in _VELOCITY},
    Principle.ULTRASONIC: "an ultrasonic meter measures the velocity of what is in the pipe",
}


def ruling(principle: Principle, correction: Correction, fluid: Fluid = Fluid.AIR) -> Ruling:
    """Whether a meter's flow may be corrected so."""
    how = _HOW[principle]
    if principle is Principle.MAGNETIC and fluid is not Fluid.WATER:
        return _refused(f"a magnetic meter needs a conducting liquid; it cannot have measured {fluid}")
    if principle is Principle.OTHER:
        return _refused(f"{how}; give the principle in the register map")
    if correction is Correction.OTHER_REFERENCE:
        return _permitted("both volumes hold the same gas; the factor is a constant of the two references")
    if correction is Correction.REFERENCE_TO_LINE:
        return _permitted(f"{how}; the volume in the pipe follows from line pressure and temperature")
    if correction is Correction.OTHER_GAS:
        return _other_gas(principle, how)
    if principle in _MASS:
        return _refused(
            f"{how}, and what it tells is at its reference conditions whatever the line's pressure and "
            "temperature are; correcting with them would count the gas law twice",
        )
    if correction is Correction.LINE_TO_REFERENCE and principle is Principle.DIFFERENTIAL_PRESSURE:
        return _permitted(
            f"{how}; the volume in the pipe it told must have been computed with the true density"
        )
    return _permitted(f"{how}; the reference volume follows from line pressure and temperature")


def _permitted(reason: str) -> Ruling:
    return Ruling(is_permitted=True, reason=reason)


def _refused(reason: str) -> Ruling:
    return Ruling(is_permitted=False, reason=reason)


def demand(principle: Principle, correction: Correction, fluid: Fluid = Fluid.AIR) -> None:
    """Refuse a correction that the principle does not permit, with the reason (WrongUse)."""
    found = ruling(principle, correction, fluid)
    if not found.is_permitted:
        raise WrongUse(f"no correction from {correction}: {found.reason}")


def line_to_reference_factor(
    principle: Principle, fluid: Fluid, line: State, reference: State, model: Model
) -> float:
    """The factor to a line volume flow that makes it a volume flow at `reference`; WrongUse where refused."""
    demand(principle, Correction.LINE_TO_REFERENCE, fluid)
    return conversion_factor(fluid, line, reference, model)


def line_condition_factor(
    principle: Principle, fluid: Fluid, assumed: State, true: State, model: Model
) -> float:
    """The factor to a reference volume (or mass) flow computed with `assumed` where `true` held.

    Velocity meters: ρ true / ρ assumed. Differential pressure: the root of it. Others: WrongUse.
    """
    demand(principle, Correction.OTHER_LINE_CONDITIONS, fluid)
    ratio = density_kg_per_m3(fluid, true, model) / density_kg_per_m3(fluid, assumed, model)
    return float(ratio**0.5) if principle is Principle.DIFFERENTIAL_PRESSURE else ratio


def _other_gas(principle: Principle, how: str) -> Ruling:
    if principle is Principle.THERMAL:
        return _refused(
            "a thermal meter senses heat carried away, which no ratio of densities describes; it needs "
            "its maker's calibration for the gas",
        )
    if principle is Principle.CORIOLIS:
        return _refused(f"{how}, of any gas; only a volume computed from it depends on the gas")
    if principle is Principle.DIFFERENTIAL_PRESSURE:
        return _permitted(f"{how}; the root of both gases' densities goes in")
    return _permitted("the volume in the pipe does not depend on the gas; density and mass do")
