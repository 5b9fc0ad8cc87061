"""The expected flows as velocities, Reynolds numbers and profile factors, and the meter's range."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readout.errors import WrongUse
from readout.measuring_point.conditions.convert import converted_volume
from readout.measuring_point.conditions.gases import Fluid, Model
from readout.measuring_point.conditions.states import FREE_AIR, NORMAL, State
from readout.measuring_point.flow.expected import (
    Basis,
    Fit,
    Stream,
    case_of_line_flow,
    case_of_mass_flow,
    case_of_reference_flow,
    case_of_sensor_velocity,
    case_of_velocity,
    range_fit,
)
from readout.measuring_point.flow.profile import mean_over_centre

LINE = State(293.15, 8.01325e5)  # 7 bar(g) under 1.01325 bar, 20 °C
STREAM = Stream(0.0531, Fluid.AIR, LINE, FREE_AIR.state, Model.IDEAL)


def test_the_chain_from_a_velocity_to_flow_at_line_and_reference_conditions() -> None:
    """Constructed: 53.1 mm, mean 10 m/s, 7 bar(g), 20 °C; by hand from area and ideal gas law."""
    case = case_of_velocity(STREAM, 10)
    assert STREAM.area_m2 == pytest.approx(2.214517e-3, abs=5e-10)
    assert case.line_flow.amount * 3600 == pytest.approx(79.7226, abs=5e-5)
    assert case.reference_flow.amount * 3600 == pytest.approx(638.837, abs=5e-4)
    normal = converted_volume(case.line_flow, NORMAL.state, Fluid.AIR, Model.IDEAL)
    assert normal.amount * 3600 == pytest.approx(587.469, abs=5e-4)


def test_the_mass_in_the_chain_is_the_real_gas_s() -> None:
    """761.32 kg/h with CoolProp's density 9.5496 kg/m³; ours is 2e-5 from it."""
    case = case_of_velocity(Stream(0.0531, Fluid.AIR, LINE, NORMAL.state, Model.REAL), 10)
    assert case.mass_flow_kg_per_s * 3600 == pytest.approx(761.32, abs=0.03)


def test_a_velocity_measured_at_the_centre_is_brought_to_the_mean_by_the_profile() -> None:
    """79.7226 × 49/60 = 65.1068 m³/h for n = 7; at Re 2.3e5 our n is 7.57 and the mean 1.5 % more."""
    seven = case_of_velocity(STREAM, 10 * mean_over_centre(7))
    assert seven.line_flow.amount * 3600 == pytest.approx(65.1068, abs=5e-5)
    case = case_of_sensor_velocity(STREAM, 10)
    assert case.velocity_at_sensor_m_per_s == pytest.approx(10, rel=1e-12)
    assert case.line_flow.amount * 3600 == pytest.approx(65.1068, rel=0.016)
    assert case.line_flow.amount * 3600 > 65.1068


@pytest.mark.parametrize(
    ("fluid", "kelvin", "pascal", "velocity", "bore", "reynolds"),
    [
        (Fluid.AIR, 293.15, 8.01325e5, 10, 0.0531, 276_930),
        (Fluid.AIR, 308.15, 8.01325e5, 20, 0.1053, 1.0044e6),
        (Fluid.WATER, 293.15, 4e5, 1, 0.0531, 52_930),
    ],
)
def test_reynolds_numbers_are_coolprop_s(
    fluid: Fluid, kelvin: float, pascal: float, velocity: float, bore: float, reynolds: float
) -> None:
    """Computed with CoolProp's density and viscosity, ±0.1 %."""
    line = State(kelvin, pascal)
    case = case_of_velocity(Stream(bore, fluid, line, line, Model.REAL), velocity)
    assert case.reynolds == pytest.approx(reynolds, rel=1e-3)


def test_the_mach_number_is_coolprop_s() -> None:
    """0.029 at 10 m/s (CoolProp's speed of sound); above 0.25 the case says that the method ends."""
    assert case_of_velocity(STREAM, 10).mach == pytest.approx(0.029, abs=5e-4)
    assert not case_of_velocity(STREAM, 85).remarks
    assert "Mach" in case_of_velocity(STREAM, 86.5).remarks[0]


def test_a_thermal_meter_s_velocity_is_the_one_at_reference_conditions() -> None:
    """At 8 bar and 20 °C the gas is 8.01325 times as dense as at 1 bar and 20 °C: 10 m/s tell 80.1 m/s."""
    case = case_of_velocity(STREAM, 10)
    assert case.velocity(Basis.REFERENCE) == pytest.approx(80.1325, rel=1e-12)
    assert case.velocity(Basis.ACTUAL) == pytest.approx(10)


@settings(deadline=None)
@given(st.floats(1e-6, 5), st.sampled_from(list(Model)))
def test_each_way_to_say_a_flow_is_the_same_flow(flow: float, model: Model) -> None:
    stream = Stream(0.0531, Fluid.AIR, LINE, FREE_AIR.state, model)
    case = case_of_reference_flow(stream, flow)
    for same in (
        case_of_line_flow(stream, case.line_flow.amount),
        case_of_mass_flow(stream, case.mass_flow_kg_per_s),
        case_of_velocity(stream, case.velocity_m_per_s),
    ):
        assert same.reference_flow.amount == pytest.approx(flow, rel=1e-12)


@pytest.mark.parametrize(
    ("velocity", "fit"),
    [
        (0, Fit.STANDS_STILL), (0.39, Fit.BELOW), (0.4, Fit.LOW_END), (0.79, Fit.LOW_END), (0.8, Fit.WITHIN),
        (160, Fit.WITHIN), (161, Fit.ABOVE),
    ],
)  # fmt: skip
def test_a_flow_s_place_in_the_range_is_told_low_end_included(velocity: float, fit: Fit) -> None:
    found = range_fit(case_of_velocity(STREAM, velocity), 0.4, 160, Basis.ACTUAL)
    assert found.fit is fit
    assert "0.4 to 160 m/s (actual)" in found.says


def test_the_basis_of_the_range_decides() -> None:
    """25 m/s in the pipe are 200 m/s at reference conditions: within one range and above the other."""
    case = case_of_velocity(STREAM, 25)
    fits = [range_fit(case, 0.4, 160, basis) for basis in (Basis.ACTUAL, Basis.REFERENCE)]
    assert [found.fit for found in fits] == [Fit.WITHIN, Fit.ABOVE]


@pytest.mark.parametrize("flow", [-1, math.nan, math.inf])
def test_no_flow_that_is_none(flow: float) -> None:
    with pytest.raises(WrongUse, match="a flow of"):
        case_of_line_flow(STREAM, flow)


def test_no_pipe_without_a_bore_and_no_range_upside_down() -> None:
    with pytest.raises(WrongUse, match="inside diameter"):
        Stream(0, Fluid.AIR, LINE, FREE_AIR.state, Model.IDEAL)
    with pytest.raises(WrongUse, match="lower end first"):
        range_fit(case_of_velocity(STREAM, 1), 160, 0.4, Basis.ACTUAL)


def test_the_transition_from_laminar_to_turbulent_is_remarked() -> None:
    """Air of 1 atm, 20 °C in 53.1 mm: 0.7 m/s is Re 2,460 by CoolProp; half of it is laminar."""
    atmospheric = State(293.15, 101325)
    stream = Stream(0.0531, Fluid.AIR, atmospheric, atmospheric, Model.REAL)
    assert "between laminar and turbulent" in case_of_velocity(stream, 0.7).remarks[0]
    assert "is laminar" in case_of_velocity(stream, 0.35).remarks[0]
    assert case_of_velocity(stream, 0.35).velocity_at_sensor_m_per_s == pytest.approx(0.7)
