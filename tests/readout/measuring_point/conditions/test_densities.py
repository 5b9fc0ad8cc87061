"""Densities and viscosities against CoolProp's reference equations."""

import pytest
from CoolProp.CoolProp import PropsSI
from fluids import ATMOSPHERE_1976

from readout.errors import WrongUse
from readout.measuring_point.conditions.gases import (
    COLDEST_K,
    GASES,
    HOTTEST_K,
    Fluid,
    Model,
    carbon_dioxide_saturation_pa,
    compressibility,
    fluid_of,
    gas_density_kg_per_m3,
    speed_of_sound_m_per_s,
)
from readout.measuring_point.conditions.states import (
    AT_20_C,
    FREE_AIR,
    GAS_15_C,
    NORMAL,
    US_68_F,
    US_COMPRESSOR,
    US_GAS,
    US_LEAK_TABLE,
    State,
)
from readout.measuring_point.conditions.viscosity import viscosity_pa_s
from readout.measuring_point.conditions.water import water_density_kg_per_m3

NAMES = {
    Fluid.AIR: "Air", Fluid.NITROGEN: "Nitrogen", Fluid.OXYGEN: "Oxygen", Fluid.ARGON: "Argon",
    Fluid.CARBON_DIOXIDE: "CarbonDioxide", Fluid.HELIUM: "Helium", Fluid.HYDROGEN: "Hydrogen",
    Fluid.METHANE: "Methane", Fluid.WATER: "Water",
}  # fmt: skip


def reference(what: str, fluid: Fluid, state: State) -> float:
    return float(PropsSI(what, "T", state.temperature_k, "P", state.pressure_pa, NAMES[fluid]))


@pytest.mark.parametrize(
    ("state", "ideal", "real"),
    [
        (NORMAL.state, 1.29229, 1.29307),
        (GAS_15_C.state, 1.22502, 1.22554),
        (FREE_AIR.state, 1.18838, 1.18882),
        (AT_20_C.state, 1.20413, 1.20458),
        (US_GAS.state, 1.22267, 1.22317),
        (US_68_F.state, 1.20446, 1.20491),
        (US_COMPRESSOR.state, 1.18807, 1.18851),
        (US_LEAK_TABLE.state, 1.19991, 1.20034),
    ],
)
def test_dry_air_at_each_reference(state: State, ideal: float, real: float) -> None:
    """Ideal by M = 28.96546 g/mol and R, real by CoolProp 8.0.0; kg/m³, relative 1e-5 and 5e-5."""
    assert gas_density_kg_per_m3(Fluid.AIR, state, Model.IDEAL) == pytest.approx(ideal, rel=1e-5)
    assert gas_density_kg_per_m3(Fluid.AIR, state, Model.REAL) == pytest.approx(real, rel=5e-5)


def test_the_handbook_s_1_293_is_a_real_gas_and_its_1_225_an_ideal_one() -> None:
    """Handbook values, read in reprints: mixing them in one conversion costs 0.06 %."""
    assert round(gas_density_kg_per_m3(Fluid.AIR, NORMAL.state, Model.REAL), 3) == 1.293
    assert round(gas_density_kg_per_m3(Fluid.AIR, NORMAL.state, Model.IDEAL), 3) == 1.292
    assert round(gas_density_kg_per_m3(Fluid.AIR, GAS_15_C.state, Model.IDEAL), 4) == 1.2250


def test_the_density_beneath_the_handbook_s_leak_table() -> None:
    """0.07494 lb/ft³ at 70 °F and 14.7 psi (read in a reprint); 1 lb/ft³ = 16.018463 kg/m³."""
    density = gas_density_kg_per_m3(Fluid.AIR, US_LEAK_TABLE.state, Model.REAL)
    assert density / 16.018463 == pytest.approx(0.07494, abs=6e-6)


@pytest.mark.parametrize(
    ("fluid", "real", "ideal", "off"),
    [
        (Fluid.NITROGEN, 1.25039, 1.24982, 3.4e-5),
        (Fluid.OXYGEN, 1.42903, 1.42763, 5e-6),
        (Fluid.ARGON, 1.78396, 1.78228, 5e-6),
        (Fluid.CARBON_DIOXIDE, 1.97681, 1.96350, 5.5e-5),
        (Fluid.HELIUM, 0.17848, 0.17858, 1e-6),
        (Fluid.HYDROGEN, 0.08988, 0.08994, 2e-6),
        (Fluid.METHANE, 0.71746, 0.71575, 2.5e-5),
    ],
)
def test_other_gases_at_0_degrees_and_1_atmosphere(
    fluid: Fluid, real: float, ideal: float, off: float
) -> None:
    """CoolProp 8.0.0, kg/m³ to five decimals; ours is `off` from it, relative, as measured."""
    found = gas_density_kg_per_m3(fluid, NORMAL.state, Model.REAL)
    assert found == pytest.approx(real, abs=5e-6 + off * real)
    assert found == pytest.approx(reference("D", fluid, NORMAL.state), rel=off)
    assert gas_density_kg_per_m3(fluid, NORMAL.state, Model.IDEAL) == pytest.approx(ideal, rel=5e-5)


@pytest.mark.parametrize("fluid", list(GASES))
def test_the_real_gas_keeps_its_promise_over_the_whole_range(fluid: Fluid) -> None:
    """Against CoolProp at 7 temperatures, 9 pressures (helium: our lines were fitted to it)."""
    gas = GASES[fluid]
    for step in range(7):
        kelvin = COLDEST_K + step * (HOTTEST_K - COLDEST_K) / 6
        for share in (0.001, 0.01, 0.03, 0.1, 0.2, 0.4, 0.6, 0.8, 1):
            state = State(kelvin, gas.densest_pa * share)
            if fluid is Fluid.CARBON_DIOXIDE and state.pressure_pa >= carbon_dioxide_saturation_pa(kelvin):
                continue
            found = gas_density_kg_per_m3(fluid, state, Model.REAL)
            assert found == pytest.approx(reference("D", fluid, state), rel=gas.error_percent / 100), state


@pytest.mark.parametrize("bar", [1.01325, 8.01325, 15])
@pytest.mark.parametrize("celsius", [-20, 0, 20, 50, 100])
def test_air_in_a_compressed_air_net_is_within_three_hundredths_of_a_per_cent(
    bar: float, celsius: float
) -> None:
    state = State(celsius + 273.15, bar * 1e5)
    found = gas_density_kg_per_m3(Fluid.AIR, state, Model.REAL)
    assert found == pytest.approx(reference("D", Fluid.AIR, state), rel=3e-4)


def test_z_at_seven_bar_gauge() -> None:
    """CoolProp: 0.997185 at 20 °C and 8.01325 bar."""
    assert compressibility(Fluid.AIR, State(293.15, 8.01325e5)) == pytest.approx(0.997185, abs=3e-5)


@pytest.mark.parametrize(
    ("fluid", "state"),
    [
        (Fluid.AIR, State(250, 1e5)),
        (Fluid.AIR, State(293.15, 43e5)),
        (Fluid.CARBON_DIOXIDE, State(293.15, 21e5)),
        (Fluid.AIR, State(400, 1e5)),
    ],
)
def test_outside_the_compared_range_the_real_gas_refuses_and_the_ideal_one_answers(
    fluid: Fluid, state: State
) -> None:
    limit = f"up to {GASES[fluid].densest_pa / 1e5:.0f} bar"
    with pytest.raises(WrongUse, match=f"outside the real-gas formula.*{limit}"):
        gas_density_kg_per_m3(fluid, state, Model.REAL)
    assert gas_density_kg_per_m3(fluid, state, Model.IDEAL) > 0


def test_liquid_carbon_dioxide_is_no_gas() -> None:
    """It boils at −20 °C at 19.7 bar (CoolProp)."""
    with pytest.raises(WrongUse, match="is liquid"):
        compressibility(Fluid.CARBON_DIOXIDE, State(253.15, 19.8e5))
    for kelvin in (220, 253.15, 273.15, 300):
        boils = float(PropsSI("P", "T", kelvin, "Q", 1, "CarbonDioxide"))
        assert carbon_dioxide_saturation_pa(kelvin) == pytest.approx(boils, rel=2e-4)


@pytest.mark.parametrize(("celsius", "density"), [(4, 999.975), (20, 998.207), (60, 983.196)])
def test_water_at_one_atmosphere(celsius: float, density: float) -> None:
    """CoolProp (IAPWS-95), kg/m³; within 5 ppm."""
    found = water_density_kg_per_m3(State(celsius + 273.15, 101325))
    assert found == pytest.approx(density, rel=5e-6)


@pytest.mark.parametrize("celsius", [0.5, 20, 60, 90, 110])
@pytest.mark.parametrize("bar", [5, 40, 100])
def test_water_under_pressure(celsius: float, bar: float) -> None:
    state = State(celsius + 273.15, bar * 1e5)
    assert water_density_kg_per_m3(state) == pytest.approx(reference("D", Fluid.WATER, state), rel=1e-4)
    tolerance = 1e-3 if bar == 5 else 1.2e-2
    assert viscosity_pa_s(Fluid.WATER, state) == pytest.approx(
        reference("V", Fluid.WATER, state), rel=tolerance
    )


@pytest.mark.parametrize("state", [State(272, 1e5), State(390, 5e5), State(293.15, 2e7)])
def test_water_outside_its_formula_is_refused(state: State) -> None:
    with pytest.raises(WrongUse, match="outside the formulas"):
        water_density_kg_per_m3(state)


def test_steam_is_no_water() -> None:
    with pytest.raises(WrongUse, match="is steam"):
        water_density_kg_per_m3(State(378.15, 1e5))


@pytest.mark.parametrize("fluid", [Fluid.AIR, Fluid.NITROGEN, Fluid.OXYGEN, Fluid.ARGON])
@pytest.mark.parametrize(("bar", "off"), [(1, 2e-6), (8, 1.2e-4), (42, 4e-3)])
def test_viscosity_of_the_gases_of_air(fluid: Fluid, bar: float, off: float) -> None:
    """CoolProp has the same published formulas; what differs is our ideal density in them."""
    for kelvin in (253.15, 293.15, 373.15):
        state = State(kelvin, bar * 1e5)
        assert viscosity_pa_s(fluid, state) == pytest.approx(reference("V", fluid, state), rel=off)


@pytest.mark.parametrize("fluid", [Fluid.CARBON_DIOXIDE, Fluid.HELIUM, Fluid.HYDROGEN, Fluid.METHANE])
@pytest.mark.parametrize("bar", [1, 8, 15])
def test_viscosity_of_other_gases(fluid: Fluid, bar: float) -> None:
    for kelvin in (253.15, 293.15, 373.15):
        state = State(kelvin, bar * 1e5)
        assert viscosity_pa_s(fluid, state) == pytest.approx(reference("V", fluid, state), rel=5e-2)


@pytest.mark.parametrize(("celsius", "newer"), [(0, 17.218), (15, 17.962), (20, 18.206), (50, 19.635)])
def test_the_viscosity_of_thin_air_is_the_newer_one(celsius: float, newer: float) -> None:
    """µPa s at 1 atm, CoolProp."""
    found = viscosity_pa_s(Fluid.AIR, State(celsius + 273.15, 101325))
    assert found * 1e6 == pytest.approx(newer, abs=2e-3)


def test_the_standard_atmosphere_s_viscosity_is_older_and_four_thousandths_lower() -> None:
    """17.894 µPa s at sea level, 15 °C: US Standard Atmosphere 1976 as the library fluids has it."""
    older = ATMOSPHERE_1976(0).mu
    assert older * 1e6 == pytest.approx(17.894, abs=1e-3)
    assert viscosity_pa_s(Fluid.AIR, GAS_15_C.state) / older == pytest.approx(1.0038, abs=2e-4)


@pytest.mark.parametrize("fluid", list(GASES))
def test_the_speed_of_sound_is_good_enough_for_mach_numbers(fluid: Fluid) -> None:
    """Against CoolProp at 20 °C: within 0.3 % at 1 atm, 3 % at 8 bar."""
    for pascal, off in ((101325, 3e-3), (8e5, 3e-2)):
        state = State(293.15, pascal)
        assert speed_of_sound_m_per_s(fluid, state) == pytest.approx(reference("A", fluid, state), rel=off)


@pytest.mark.parametrize("text", ["air", "compressed air", "Compressed Air", "dry air"])
def test_a_map_s_word_for_air(text: str) -> None:
    assert fluid_of(text) is Fluid.AIR


@pytest.mark.parametrize("text", ["other", "biogas", "", None, "airgon"])
def test_a_fluid_of_unknown_density_is_refused_with_the_choices(text: str | None) -> None:
    with pytest.raises(WrongUse, match="nitrogen, oxygen"):
        fluid_of(text)


def test_water_has_no_gas_law() -> None:
    with pytest.raises(WrongUse, match="water is a liquid"):
        gas_density_kg_per_m3(Fluid.WATER, State(293.15, 1e5), Model.IDEAL)
