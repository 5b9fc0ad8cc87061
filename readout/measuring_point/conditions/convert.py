"""From one state of a gas to another: volumes, volume flows, masses.

What stays the same is the amount of dry gas: V2 / V1 = (p1 dry / p2 dry) (T2 / T1) (Z2 / Z1). For water the
mass stays. A factor and its way back are each other's reciprocal to the last digit or two.
"""

from dataclasses import dataclass

from readout.errors import WrongUse
from readout.measuring_point.conditions.gases import (
    GAS_CONSTANT,
    Fluid,
    Model,
    compressibility,
    gas_density_kg_per_m3,
    gas_of,
)
from readout.measuring_point.conditions.humidity import dry_pressure_pa, moist_density_kg_per_m3
from readout.measuring_point.conditions.states import State
from readout.measuring_point.conditions.water import water_density_kg_per_m3
from readout.sentence import Sentence


@dataclass(frozen=True, slots=True)
class Volume:
    """A volume [m³] or a volume flow [m³/s], and the state it is measured at: never one without the other."""

    amount: float
    at: State


def density_kg_per_m3(fluid: Fluid, state: State, model: Model) -> float:
    """Density of the fluid as it is in this state, moist air included [kg/m³]; `model` is for gases only."""
    if fluid is Fluid.WATER:
        return water_density_kg_per_m3(state)
    if state.relative_humidity:
        _refuse_moisture_in(fluid)
        return moist_density_kg_per_m3(state, model)
    return gas_density_kg_per_m3(fluid, state, model)


def conversion_factor(fluid: Fluid, now: State, then: State, model: Model) -> float:
    """The volume at `then` of what has the volume 1 at `now`."""
    return _kept(fluid, now, model) / _kept(fluid, then, model)


def converted_volume(volume: Volume, then: State, fluid: Fluid, model: Model) -> Volume:
    """The volume, or volume flow, that the same gas has at `then`."""
    return Volume(volume.amount * conversion_factor(fluid, volume.at, then, model), then)


def mass_of(volume: Volume, fluid: Fluid, model: Model) -> float:
    """The mass [kg] of a volume, or mass flow [kg/s] of a volume flow, with its moisture."""
    return volume.amount * density_kg_per_m3(fluid, volume.at, model)


def volume_of_mass(mass: float, at: State, fluid: Fluid, model: Model) -> Volume:
    """The volume [m³] or flow [m³/s] of a mass [kg] or mass flow [kg/s]."""
    return Volume(mass / density_kg_per_m3(fluid, at, model), at)


def real_against_ideal_percent(fluid: Fluid, now: State, then: State) -> float:
    """By how much [%] the real gas's volume at `then` exceeds the ideal gas's, from one volume at `now`."""
    real = conversion_factor(fluid, now, then, Model.REAL)
    return 100 * (real / conversion_factor(fluid, now, then, Model.IDEAL) - 1)


def _kept(fluid: Fluid, state: State, model: Model) -> float:
    """What a volume of 1 m³ holds and keeps: moles of dry gas, or kilograms of water."""
    if fluid is Fluid.WATER:
        return water_density_kg_per_m3(state)
    if state.relative_humidity:
        _refuse_moisture_in(fluid)
    gas_of(fluid)
    z = 1.0 if model is Model.IDEAL else compressibility(fluid, state)
    return dry_pressure_pa(state) / (z * GAS_CONSTANT * state.temperature_k)


def _refuse_moisture_in(fluid: Fluid) -> None:
    if fluid is not Fluid.AIR:
        raise WrongUse(Sentence("humidity is computed for air, not for {fluid}; leave it out", fluid=fluid))
