"""What the expected flows mean in the pipe: velocity, Reynolds and Mach number, profile, and meter range."""

import math
from dataclasses import dataclass
from enum import StrEnum

from readout.errors import WrongUse
from readout.measuring_point.conditions.convert import (
    Volume,
    converted_volume,
    density_kg_per_m3,
    mass_of,
)
from readout.measuring_point.conditions.gases import Fluid, Model, speed_of_sound_m_per_s
from readout.measuring_point.conditions.states import State
from readout.measuring_point.conditions.viscosity import viscosity_pa_s
from readout.measuring_point.flow.profile import CENTRE_SHARE, Profile, profile_at
from readout.sentence import Sentence

#: Above, compressibility changes the profile: ISO 7145:1982, 1 (read in an abstract).
HIGHEST_MACH = 0.25


@dataclass(frozen=True, slots=True)
class Stream:
    """What holds at a point whatever the flow: bore [m], fluid, line and reference state, gas model.

    `sensor_share`: the sensor's place as a share of the bore from the wall (0.5 the centre, 0.121 the point
    of mean velocity). For water `reference` may be the line's own state.
    """

    bore_m: float
    fluid: Fluid
    line: State
    reference: State
    model: Model
    sensor_share: float = CENTRE_SHARE

    def __post_init__(self) -> None:
        """Refuse a pipe without a bore."""
        if not (math.isfinite(self.bore_m) and self.bore_m > 0):
            raise WrongUse(Sentence("an inside diameter of {metres:g} m is none", metres=self.bore_m))

    @property
    def area_m2(self) -> float:
        """Area of the bore [m²]."""
        return math.pi / 4 * self.bore_m**2


@dataclass(frozen=True, slots=True)
class FlowCase:
    """One flow in the pipe. Volume flows [m³/s] with their states, velocities [m/s] as means over the bore.

    `velocity_reference_m_per_s`: the same stream as if it were at reference conditions, which is what many
    thermal meters call velocity. `velocity_at_sensor_m_per_s`: actual, by the profile.
    `profile_factor`: mean velocity over velocity at the sensor. `mach` is None for water.
    """

    line_flow: Volume
    reference_flow: Volume
    mass_flow_kg_per_s: float
    velocity_m_per_s: float
    velocity_reference_m_per_s: float
    velocity_at_sensor_m_per_s: float
    reynolds: float
    mach: float | None
    profile: Profile
    profile_factor: float
    remarks: tuple[str, ...] = ()

    def velocity(self, basis: "Basis") -> float:
        """Mean velocity on a basis [m/s]."""
        return self.velocity_m_per_s if basis is Basis.ACTUAL else self.velocity_reference_m_per_s


class Basis(StrEnum):
    """What a velocity is: of the gas as it is in the pipe, or as if it were at reference conditions."""

    ACTUAL = "actual"
    REFERENCE = "reference"


class Fit(StrEnum):
    """How a flow lies in a meter's range."""

    STANDS_STILL = "no flow"
    BELOW = "below the range"
    LOW_END = "at the low end"
    WITHIN = "within the range"
    ABOVE = "above the range"


@dataclass(frozen=True, slots=True)
class RangeFit:
    """A flow's place in the range: velocity and limits [m/s] on the same basis, and a sentence about it."""

    fit: Fit
    velocity_m_per_s: float
    low_m_per_s: float
    high_m_per_s: float
    says: str


def case_of_reference_flow(stream: Stream, flow_m3_per_s: float) -> FlowCase:
    """The case of a volume flow [m³/s] at the stream's reference conditions."""
    return _case(stream, Volume(flow_m3_per_s, stream.reference))


def case_of_line_flow(stream: Stream, flow_m3_per_s: float) -> FlowCase:
    """The case of a volume flow [m³/s] at line conditions."""
    return _case(stream, Volume(flow_m3_per_s, stream.line))


def case_of_mass_flow(stream: Stream, flow_kg_per_s: float) -> FlowCase:
    """The case of a mass flow [kg/s]."""
    density = density_kg_per_m3(stream.fluid, stream.line, stream.model)
    return _case(stream, Volume(flow_kg_per_s / density, stream.line))


def case_of_velocity(stream: Stream, velocity_m_per_s: float) -> FlowCase:
    """The case of an actual mean velocity [m/s]."""
    return _case(stream, Volume(velocity_m_per_s * stream.area_m2, stream.line))


def case_of_sensor_velocity(stream: Stream, velocity_m_per_s: float) -> FlowCase:
    """The case of an actual velocity at the sensor [m/s]; the profile is found by repetition.

    Raises:
        WrongUse: the sensor stands at the wall.
    """
    mean = velocity_m_per_s
    for _ in range(30):
        better = velocity_m_per_s * case_of_velocity(stream, mean).profile_factor
        if math.isclose(better, mean, rel_tol=1e-13, abs_tol=1e-15):
            break
        mean = better
    return case_of_velocity(stream, mean)


def reynolds_number(density_kg_per_m3: float, velocity_m_per_s: float, bore_m: float, pa_s: float) -> float:
    """ρ v D / µ, of density, mean velocity, inside diameter [m] and dynamic viscosity [Pa s]."""
    return density_kg_per_m3 * velocity_m_per_s * bore_m / pa_s


def range_fit(case: FlowCase, low_m_per_s: float, high_m_per_s: float, basis: Basis) -> RangeFit:
    """How a flow lies in a meter's range of mean velocities [m/s], given on `basis`.

    Below twice the lower limit counts as the low end: a meter may cut small flows off there, and its share
    of full scale is large (common practice, no source).

    Raises:
        WrongUse: the limits are no range.
    """
    if not 0 <= low_m_per_s < high_m_per_s:
        raise WrongUse(f"{low_m_per_s:g} m/s to {high_m_per_s:g} m/s is no range; give the lower end first")
    here = case.velocity(basis)
    span = f"{low_m_per_s:g} to {high_m_per_s:g} m/s ({basis})"
    if here == 0:
        fit, why = Fit.STANDS_STILL, f"nothing flows; the range is {span}"
    elif here < low_m_per_s:
        fit, why = Fit.BELOW, f"{here:.3g} m/s is below {span}: the meter may show zero"
    elif here < 2 * low_m_per_s:
        fit, why = Fit.LOW_END, f"{here:.3g} m/s is at the low end of {span}: a cut-off may hide part of it"
    elif here > high_m_per_s:
        fit, why = Fit.ABOVE, f"{here:.3g} m/s is above {span}: the meter may stop at its upper end"
    else:
        fit, why = Fit.WITHIN, f"{here:.3g} m/s is within {span}"
    return RangeFit(fit, here, low_m_per_s, high_m_per_s, why)


def _case(stream: Stream, flow: Volume) -> FlowCase:
    if not (math.isfinite(flow.amount) and flow.amount >= 0):
        raise WrongUse(
            Sentence("a flow of {amount:g} m³/s is none; flows count from 0 upwards", amount=flow.amount)
        )
    line = flow if flow.at == stream.line else converted_volume(flow, stream.line, stream.fluid, stream.model)
    reference = (
        flow
        if flow.at == stream.reference
        else converted_volume(line, stream.reference, stream.fluid, stream.model)
    )
    velocity = line.amount / stream.area_m2
    reynolds = reynolds_number(
        density_kg_per_m3(stream.fluid, stream.line, stream.model), velocity, stream.bore_m,
        viscosity_pa_s(stream.fluid, stream.line),
    )  # fmt: skip
    profile = profile_at(reynolds)
    factor = profile.factor(stream.sensor_share)
    is_gas = stream.fluid is not Fluid.WATER
    mach = velocity / speed_of_sound_m_per_s(stream.fluid, stream.line) if is_gas else None
    return FlowCase(
        line, reference, mass_of(line, stream.fluid, stream.model), velocity,
        reference.amount / stream.area_m2, velocity / factor, reynolds, mach, profile, factor,
        tuple(_remarks(profile, mach)),
    )  # fmt: skip


def _remarks(profile: Profile, mach: float | None) -> list[str]:
    found = []
    if not profile.is_certain:
        found.append(
            f"Re {profile.reynolds:.0f} lies between laminar and turbulent: the profile may be either, and a "
            "reading at one place may be off by tens of per cent"
        )
    elif profile.exponent is None and profile.reynolds > 0:
        found.append(f"Re {profile.reynolds:.0f} is laminar: the centre runs at twice the mean velocity")
    if mach is not None and mach > HIGHEST_MACH:
        found.append(
            f"Mach {mach:.2f} is above {HIGHEST_MACH}: the point-velocity method does not hold there"
        )
    return found
