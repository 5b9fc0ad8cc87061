"""Water in air against IAPWS, WMO and CIPM figures."""

import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

from readout.errors import WrongUse
from readout.measuring_point.conditions.convert import conversion_factor, density_kg_per_m3
from readout.measuring_point.conditions.gases import Fluid, Model
from readout.measuring_point.conditions.humidity import (
    absolute_humidity_kg_per_m3,
    atmospheric_dew_point_k,
    dry_pressure_pa,
    ice_saturation_pressure_pa,
    moist_density_kg_per_m3,
    saturation_pressure_pa,
    saturation_temperature_k,
    supercooled_dew_point_k,
    supercooled_saturation_pressure_pa,
    vapour_pressure_pa,
    water_vapour_pa,
)
from readout.measuring_point.conditions.states import FREE_AIR, PNEUMATIC, State

HALF_MOIST = State(293.15, 101325, 0.5)


@pytest.mark.parametrize(
    ("kelvin", "megapascal"), [(300, 0.353658941e-2), (500, 0.263889776e1), (600, 0.123443146e2)]
)
def test_the_verification_table_of_iapws_if97(kelvin: float, megapascal: float) -> None:
    """IAPWS R7-97(2012), Table 35 (from memory; CoolProp's IF97 gives the same)."""
    assert saturation_pressure_pa(kelvin) == pytest.approx(megapascal * 1e6, rel=2e-9)


@pytest.mark.parametrize(
    ("celsius", "pascal"),
    [
        (0.01, 611.655), (10, 1228.20), (20, 2339.32), (25, 3169.93), (30, 4246.97), (35, 5629.02),
        (50, 12351.9), (100, 101418.0),
    ],
)  # fmt: skip
def test_saturation_over_water(celsius: float, pascal: float) -> None:
    """CoolProp (IAPWS-95), ±0.01 %; the industrial formula differs by up to 0.008 %."""
    assert saturation_pressure_pa(celsius + 273.15) == pytest.approx(pascal, rel=1e-4)


def test_saturation_over_ice() -> None:
    """IAPWS R14-08(2011), Table 3: 8.94735 Pa at 230 K (from memory); WMO's Magnus has 103.26 at −20 °C."""
    assert ice_saturation_pressure_pa(230) == pytest.approx(8.94735, abs=5e-6)
    assert ice_saturation_pressure_pa(253.15) == pytest.approx(103.26, rel=5e-4)


@pytest.mark.parametrize(("celsius", "pascal"), [(20, 2332.60), (-20, 125.97)])
def test_saturation_over_supercooled_water(celsius: float, pascal: float) -> None:
    """WMO-No. 8, Magnus formula (from memory)."""
    assert supercooled_saturation_pressure_pa(celsius + 273.15) == pytest.approx(pascal, abs=6e-3)


def test_ice_and_water_meet_at_the_triple_point() -> None:
    assert vapour_pressure_pa(273.15999) == pytest.approx(vapour_pressure_pa(273.16001), rel=1e-5)


def test_air_of_half_humidity() -> None:
    """20 °C, 101 325 Pa, 50 %: 1.19931 (CIPM-2007, from memory), 1.19936 kg/m³, 9.274 °C (CoolProp)."""
    assert moist_density_kg_per_m3(HALF_MOIST, Model.REAL) == pytest.approx(1.19931, abs=6e-5)
    by_coolprop = (1 + 7.2937e-3) / HAPropsSI("V", "T", 293.15, "P", 101325, "R", 0.5)
    assert moist_density_kg_per_m3(HALF_MOIST, Model.REAL) == pytest.approx(by_coolprop, rel=6e-5)
    dew_point = saturation_temperature_k(water_vapour_pa(HALF_MOIST)) - 273.15
    assert dew_point == pytest.approx(9.274, abs=5e-3)


def test_air_of_the_american_standard_s_humidity() -> None:
    """20 °C, 101 325 Pa, 36 %: 1.20083 kg/m³, dew point 4.493 °C (CoolProp)."""
    state = State(293.15, 101325, 0.36)
    assert density_kg_per_m3(Fluid.AIR, state, Model.REAL) == pytest.approx(1.20083, abs=6e-5)
    assert saturation_temperature_k(water_vapour_pa(state)) - 273.15 == pytest.approx(4.493, abs=5e-3)


@pytest.mark.parametrize(
    ("celsius", "humidity", "share"), [(20, 0.65, 0.98479), (30, 0.70, 0.93826), (35, 0.60, 0.91919)]
)
def test_the_dry_air_in_what_a_compressor_takes_in(celsius: float, humidity: float, share: float) -> None:
    """(1 − φ p_sat/p) · 293.15/T at 1 bar, computed with CoolProp's saturation."""
    intake = State(celsius + 273.15, 1e5, humidity)
    assert conversion_factor(Fluid.AIR, intake, FREE_AIR.state, Model.IDEAL) == pytest.approx(share, abs=1e-5)


def test_moist_reference_air_holds_less_dry_air() -> None:
    """ANR's 65 % humidity takes 1.52 % of the dry air away: 1/0.98479."""
    factor = conversion_factor(Fluid.AIR, FREE_AIR.state, PNEUMATIC.state, Model.IDEAL)
    assert factor == pytest.approx(1 / 0.98479, abs=1e-5)


@pytest.mark.parametrize(("pressure_dew_point", "frost_point"), [(3, -20.8), (-40, -56.9)])
def test_a_pressure_dew_point_after_expansion(pressure_dew_point: float, frost_point: float) -> None:
    """From 7 bar(g), CoolProp and Magnus, without enhancement factor; ±0.1 K here, ±0.3 K in truth."""
    found = atmospheric_dew_point_k(pressure_dew_point + 273.15, 8.01325e5, 101325) - 273.15
    assert found == pytest.approx(frost_point, abs=0.1)


def test_the_same_over_supercooled_water_is_another_figure() -> None:
    """+3 °C at 7 bar(g) is −23.1 °C over supercooled water (CoolProp and Magnus)."""
    vapour = vapour_pressure_pa(276.15) * 101325 / 8.01325e5
    assert supercooled_dew_point_k(vapour) - 273.15 == pytest.approx(-23.1, abs=0.1)


def test_absolute_humidity_is_that_of_an_ideal_vapour() -> None:
    """20 °C: 17.290 g/m³ saturated, 10.374 at 60 % (computed, p_sat M/(R T))."""
    assert absolute_humidity_kg_per_m3(State(293.15, 1e5, 1)) * 1e3 == pytest.approx(17.290, abs=1e-3)
    assert absolute_humidity_kg_per_m3(State(293.15, 1e5, 0.6)) * 1e3 == pytest.approx(10.374, abs=1e-3)


@settings(deadline=None)
@given(st.floats(120, 640))
def test_a_dew_point_leads_back_to_its_vapour_pressure(kelvin: float) -> None:
    assert saturation_temperature_k(vapour_pressure_pa(kelvin)) == pytest.approx(kelvin, abs=1e-6)


@settings(deadline=None)
@given(st.floats(230, 330))
def test_a_supercooled_dew_point_leads_back_too(kelvin: float) -> None:
    back = supercooled_dew_point_k(supercooled_saturation_pressure_pa(kelvin))
    assert back == pytest.approx(kelvin, abs=1e-9)


@settings(deadline=None)
@given(st.floats(274, 640))
def test_saturation_is_coolprop_s_up_to_the_critical_point(kelvin: float) -> None:
    expected = PropsSI("P", "T", kelvin, "Q", 0, "Water")
    assert saturation_pressure_pa(kelvin) == pytest.approx(expected, rel=5e-4)


@settings(deadline=None)
@given(st.floats(240, 330), st.floats(0, 1), st.floats(5e4, 1.2e5))
def test_moisture_only_takes_dry_air_away_and_makes_air_lighter(
    kelvin: float, humidity: float, pascal: float
) -> None:
    moist, dry = State(kelvin, pascal, humidity), State(kelvin, pascal)
    assert dry_pressure_pa(moist) <= dry_pressure_pa(dry) == pascal
    assert moist_density_kg_per_m3(moist, Model.IDEAL) <= moist_density_kg_per_m3(dry, Model.IDEAL)


def test_below_zero_relative_humidity_counts_over_water() -> None:
    """As weather services report it (WMO-No. 8, from memory): 100 % at −20 °C are 125.97 Pa, not 103.26."""
    assert water_vapour_pa(State(253.15, 1e5, 1)) == pytest.approx(125.97, abs=6e-3)


@pytest.mark.parametrize(
    ("asked", "kelvin"),
    [(saturation_pressure_pa, 270), (saturation_pressure_pa, 650), (ice_saturation_pressure_pa, 280),
     (supercooled_saturation_pressure_pa, 200)],
)  # fmt: skip
def test_outside_its_range_a_formula_refuses(asked: object, kelvin: float) -> None:
    assert callable(asked)
    with pytest.raises(WrongUse, match="from"):
        asked(kelvin)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(WrongUse, match="nothing but steam"):
        dry_pressure_pa(State(373.15, 1e5, 1))
    with pytest.raises(WrongUse, match="no vapour pressure"):
        saturation_temperature_k(0)
    with pytest.raises(WrongUse, match="frost point"):
        supercooled_dew_point_k(0.1)
