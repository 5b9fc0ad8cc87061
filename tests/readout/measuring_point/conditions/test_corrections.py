"""What a correction of temperature, pressure or gas may do, by how the meter measures."""

import pytest

from protocols.register_map.grammar import PRINCIPLES
from readout.errors import WrongUse
from readout.measuring_point.conditions.corrections import (
    Correction,
    Principle,
    demand,
    line_condition_factor,
    line_to_reference_factor,
    ruling,
)
from readout.measuring_point.conditions.gases import Fluid, Model
from readout.measuring_point.conditions.states import FREE_AIR, NORMAL, State

ASSUMED, TRUE = State(293.15, 8e5), State(293.15, 7.2e5)
VELOCITY_METERS = [Principle.VORTEX, Principle.TURBINE, Principle.ULTRASONIC]


def test_every_principle_of_a_register_map_has_its_rules() -> None:
    assert {str(principle) for principle in Principle} == set(PRINCIPLES)
    for principle in Principle:
        for correction in Correction:
            assert ruling(principle, correction).reason


@pytest.mark.parametrize("principle", VELOCITY_METERS)
def test_a_velocity_meter_is_corrected_by_the_density(principle: Principle) -> None:
    """By hand: a meter that took 8 bar(a) where 7.2 held told a reference volume 8/7.2 too large."""
    found = line_condition_factor(principle, Fluid.AIR, ASSUMED, TRUE, Model.IDEAL)
    assert found == pytest.approx(0.9, rel=1e-12)
    to_normal = line_to_reference_factor(principle, Fluid.AIR, TRUE, NORMAL.state, Model.IDEAL)
    assert to_normal == pytest.approx(7.2e5 / 101325 * 273.15 / 293.15, rel=1e-12)


def test_a_differential_pressure_meter_is_corrected_by_the_root_of_the_density() -> None:
    """ISO 5167-1:2003, 5.1 (from memory): mass flow goes with √ρ; √0.9 = 0.948683."""
    found = line_condition_factor(Principle.DIFFERENTIAL_PRESSURE, Fluid.AIR, ASSUMED, TRUE, Model.IDEAL)
    assert found == pytest.approx(0.948683, abs=5e-7)


@pytest.mark.parametrize("principle", [Principle.THERMAL, Principle.CORIOLIS])
def test_a_mass_meter_is_not_corrected_by_line_conditions_and_says_why(principle: Principle) -> None:
    with pytest.raises(WrongUse, match=r"measures mass flow.*count the gas law twice"):
        line_condition_factor(principle, Fluid.AIR, ASSUMED, TRUE, Model.IDEAL)
    with pytest.raises(WrongUse, match=r"measures mass flow.*count the gas law twice"):
        line_to_reference_factor(principle, Fluid.AIR, TRUE, FREE_AIR.state, Model.IDEAL)


@pytest.mark.parametrize("principle", [*VELOCITY_METERS, Principle.THERMAL, Principle.CORIOLIS])
def test_another_reference_and_the_way_to_the_line_are_open_to_all(principle: Principle) -> None:
    for correction in (Correction.OTHER_REFERENCE, Correction.REFERENCE_TO_LINE):
        demand(principle, correction)


@pytest.mark.parametrize(
    ("principle", "is_permitted", "why"),
    [
        (Principle.THERMAL, False, "its maker's calibration for the gas"),
        (Principle.CORIOLIS, False, "of any gas"),
        (Principle.VORTEX, True, "does not depend on the gas"),
        (Principle.DIFFERENTIAL_PRESSURE, True, "root of both gases' densities"),
    ],
)
def test_another_gas_than_the_meter_was_set_for(principle: Principle, is_permitted: bool, why: str) -> None:
    found = ruling(principle, Correction.OTHER_GAS)
    assert found.is_permitted is is_permitted
    assert why in found.reason


def test_a_magnetic_meter_cannot_have_measured_air() -> None:
    with pytest.raises(WrongUse, match="conducting liquid"):
        demand(Principle.MAGNETIC, Correction.LINE_TO_REFERENCE, Fluid.AIR)
    demand(Principle.MAGNETIC, Correction.LINE_TO_REFERENCE, Fluid.WATER)


@pytest.mark.parametrize("correction", list(Correction))
def test_nothing_is_corrected_where_the_map_does_not_say_how_the_meter_measures(
    correction: Correction,
) -> None:
    with pytest.raises(WrongUse, match="give the principle in the register map"):
        demand(Principle.OTHER, correction)
