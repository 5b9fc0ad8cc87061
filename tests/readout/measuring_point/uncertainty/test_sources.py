"""The budget of a flow from what a point file says, for meters of each principle."""

import math
from decimal import Decimal
from typing import Any

import pytest

from protocols.units import Quantity, quantity_of
from readout.errors import WrongUse
from readout.measuring_point.conditions.corrections import Principle
from readout.measuring_point.conditions.gases import Fluid, Model
from readout.measuring_point.conditions.states import FREE_AIR, State
from readout.measuring_point.flow.expected import Basis, Stream, case_of_velocity
from readout.measuring_point.model import Uncertain
from readout.measuring_point.uncertainty.sources import Installation, flow_budget, standard_of

ATMOSPHERE = 101325.0
LINE = State(293.15, 7e5 + ATMOSPHERE)
STREAM = Stream(0.0531, Fluid.AIR, LINE, FREE_AIR.state, Model.IDEAL)


def q(text: str) -> Quantity:
    found = quantity_of(text)
    assert isinstance(found, Quantity), found
    return found


def wide(half_width: str, **more: Any) -> Uncertain:
    return Uncertain(half_width=q(half_width), **more)


#: What the project's example of a point file says.
EXAMPLE = {
    "velocity": Uncertain(of_reading=q("2 %"), of_full_scale=q("0.3 %"), full_scale=q("160 m/s")),
    "velocity_profile": wide("1 %"),
}


def place(principle: Principle = Principle.VORTEX, **changed: Any) -> Installation:
    usual: dict[str, Any] = {
        "bore_standard_m": 0.25e-3, "bore_note": "point file: 0.5 mm, k = 2", "principle": principle,
        "velocity_basis": Basis.ACTUAL, "atmosphere_pa": ATMOSPHERE,
    }  # fmt: skip
    return Installation(**(usual | changed))


def contributions(
    said: dict[str, Uncertain], velocity: float = 10, at: Installation | None = None
) -> dict[str, float]:
    found = flow_budget(case_of_velocity(STREAM, velocity), STREAM, at or place(), said)
    return {row.part.name: row.contribution_percent for row in found.rows}


def test_the_parts_of_the_example_by_hand() -> None:
    """D: 2 × 0.25/53.1; velocity: 2 %/2, and 0.3 % of 160 m/s at 10 m/s, /2; profile: 1 %/2."""
    assert contributions(EXAMPLE) == pytest.approx(
        {
            "inside diameter": 0.941620,
            "velocity, of reading": 1.0,
            "velocity, of full scale": 2.4,
            "velocity profile": 0.5,
        },
        rel=1e-6,
    )


def test_each_part_says_what_the_file_says_of_it() -> None:
    rows = flow_budget(case_of_velocity(STREAM, 10), STREAM, place(), EXAMPLE).rows
    assert [row.part.note for row in rows] == [
        "point file: 0.5 mm, k = 2",
        "point file: 2 % of reading, k = 2",
        "point file: 0.3 % of 160 m/s, k = 2",
        "point file: 1 %, k = 2",
    ]


def test_a_share_of_full_scale_grows_as_the_flow_falls() -> None:
    """Constructed: at 1 m/s a full-scale part of 0.48 m/s half-width is 24 %, at 100 m/s 0.24 %."""
    name = "velocity, of full scale"
    assert contributions(EXAMPLE, 1)[name] == pytest.approx(24)
    assert contributions(EXAMPLE, 100)[name] == pytest.approx(0.24)


def test_full_scale_counts_on_the_meter_s_own_basis_of_velocity() -> None:
    """10 m/s in the pipe are 80.1325 m/s at reference conditions: 0.24 m/s of that is 0.2995 %."""
    thermal = place(Principle.THERMAL, velocity_basis=Basis.REFERENCE)
    assert contributions(EXAMPLE, 10, thermal)["velocity, of full scale"] == pytest.approx(24 / 80.1325)


CONDITIONS = {
    "pressure": wide("0.05 bar"),
    "atmospheric_pressure": wide("10 mbar"),
    "temperature": wide("0.5 degC"),
}


def test_pressure_and_temperature_of_a_velocity_meter_count_once_each() -> None:
    """By hand: 0.025 bar and 0.005 bar of 8.01325 bar, 0.25 K of 293.15 K."""
    found = contributions(EXAMPLE | CONDITIONS)
    assert found["pressure"] == pytest.approx(100 * 0.025 / 8.01325)
    assert found["atmospheric pressure"] == pytest.approx(100 * 0.005 / 8.01325)
    assert found["temperature"] == pytest.approx(100 * 0.25 / 293.15)


def test_a_differential_pressure_meter_has_half_of_it() -> None:
    found = contributions(EXAMPLE | CONDITIONS, at=place(Principle.DIFFERENTIAL_PRESSURE))
    assert found["pressure"] == pytest.approx(50 * 0.025 / 8.01325)


@pytest.mark.parametrize("principle", [Principle.THERMAL, Principle.CORIOLIS])
def test_a_mass_meter_does_not_depend_on_line_conditions(principle: Principle) -> None:
    assert not set(contributions(EXAMPLE | CONDITIONS, at=place(principle))) & {"pressure", "temperature"}


def test_air_pressure_matters_only_to_a_gauge_pressure() -> None:
    found = contributions(EXAMPLE | CONDITIONS, at=place(atmosphere_pa=None))
    assert "atmospheric pressure" not in found
    assert "pressure" in found


def test_per_cent_of_a_pressure_is_per_cent_of_the_gauge_that_was_read() -> None:
    """1 % of 7 bar(g) is 0.07 bar of 8.01325 bar absolute, k = 2: 0.43678 %."""
    found = contributions(EXAMPLE | {"pressure": wide("1 %")})
    assert found["pressure"] == pytest.approx(0.436778, rel=1e-5)
    of_scale = Uncertain(of_full_scale=q("0.5 %"), full_scale=q("16 bar"))
    assert contributions(EXAMPLE | {"pressure": of_scale})["pressure"] == pytest.approx(100 * 0.04 / 8.01325)


def test_a_width_in_fahrenheit_is_a_difference_and_no_temperature() -> None:
    """0.9 degF of width are 0.5 K; as a temperature they would be 255.9 K."""
    found = contributions(EXAMPLE | {"temperature": wide("0.9 degF")})
    assert found["temperature"] == pytest.approx(100 * 0.25 / 293.15)


def test_a_millimetre_of_depth_matters_at_the_mean_point_and_little_at_the_centre() -> None:
    """Power law by hand, n = 7.565 at Re 2.27e5: ±0.5 mm at 6.43 mm of 53.1; towards the wall is worse."""
    depth = {"insertion_depth": wide("1 mm")}
    n = 7 + 1.8 * math.log(case_of_velocity(STREAM, 10).reynolds / 1.1e5) / math.log(10)
    y = 0.121 * 53.1
    stream = Stream(0.0531, Fluid.AIR, LINE, FREE_AIR.state, Model.IDEAL, 0.121)
    found = flow_budget(case_of_velocity(stream, 10), stream, place(), EXAMPLE | depth)
    at_mean = next(row for row in found.rows if row.part.name == "insertion depth")
    assert at_mean.contribution_percent == pytest.approx(100 * (1 - ((y - 0.5) / y) ** (1 / n)), rel=1e-6)
    assert contributions(EXAMPLE | depth)["insertion depth"] < 0.3 < at_mean.contribution_percent


def test_a_profile_of_which_nothing_is_said_counts_as_an_exponent_off_by_one() -> None:
    found = flow_budget(case_of_velocity(STREAM, 10), STREAM, place(), {"velocity": EXAMPLE["velocity"]})
    row = next(row for row in found.rows if row.part.name == "velocity profile")
    assert 1 < row.contribution_percent < 2
    assert row.part.note.startswith("not given: exponent")


def test_what_is_not_known_is_named_so_that_the_budget_is_not_taken_for_whole() -> None:
    found = flow_budget(case_of_velocity(STREAM, 10), STREAM, place(), {})
    assert found.left_out == (
        "velocity",
        "insertion depth",
        "pressure",
        "temperature",
        "atmospheric pressure",
    )
    whole = EXAMPLE | CONDITIONS | {"insertion_depth": wide("1 mm")}
    assert not flow_budget(case_of_velocity(STREAM, 10), STREAM, place(), whole).left_out
    other = flow_budget(case_of_velocity(STREAM, 10), STREAM, place(Principle.OTHER), whole)
    assert "does not say how the meter measures" in other.left_out[0]


def test_a_full_bore_meter_has_no_depth_and_no_profile() -> None:
    pipe_meter = place(is_insertion=False)
    found = contributions({"flow": wide("2 %"), "insertion_depth": wide("1 mm")}, at=pipe_meter)
    assert found == pytest.approx({"inside diameter": 0.941620, "flow": 1.0}, rel=1e-6)


@pytest.mark.parametrize(
    ("said", "percent"),
    [
        (wide("6.38837 m3/h"), 0.5),
        (Uncertain(of_full_scale=q("1 %"), full_scale=q("1277.674 m3/h")), 1.0),
        (Uncertain(of_reading=q("3 %"), of_full_scale=q("4 %"), full_scale=q("638.837 m3/h")), 2.5),
    ],
)
def test_a_flow_s_own_uncertainty_in_any_form(said: Uncertain, percent: float) -> None:
    """Constructed at 638.837 m³/h of free air."""
    assert contributions({"flow": said})["flow"] == pytest.approx(percent, rel=1e-5)


def test_a_mass_flow_s_width_is_brought_to_the_same_flow() -> None:
    case = case_of_velocity(STREAM, 10)
    width = Uncertain(half_width=Quantity(Decimal(repr(case.mass_flow_kg_per_s * 36)), q("1 kg/h").unit))
    assert contributions({"flow": width})["flow"] == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("changed", "standard"),
    [
        ({}, 0.5), ({"k": Decimal(1)}, 1), ({"k": Decimal(3)}, 1 / 3), ({"distribution": "normal"}, 0.5),
        ({"distribution": "rectangular"}, 1 / math.sqrt(3)),
        ({"distribution": "triangular"}, 1 / math.sqrt(6)),
    ],
)  # fmt: skip
def test_a_half_width_is_divided_as_its_distribution_says(changed: dict[str, Any], standard: float) -> None:
    """GUM 4.3.7 and 4.3.9 (from memory)."""
    assert standard_of(1, wide("1 %", **changed)) == pytest.approx(standard)


@pytest.mark.parametrize(
    ("name", "said", "says"),
    [
        ("temperature", wide("1 %"), "in degrees"),
        ("insertion_depth", wide("1 %"), "is a length"),
        ("inlet_run", wide("1 mm"), "share of the flow"),
        ("velocity", wide("1 mm"), "write a velocity"),
        ("velocity", Uncertain(of_full_scale=q("1 %")), "needs full_scale"),
    ],
)
def test_a_width_of_the_wrong_kind_is_refused(name: str, said: Uncertain, says: str) -> None:
    with pytest.raises(WrongUse, match=says):
        contributions(EXAMPLE | {name: said})


def test_no_budget_in_per_cent_of_nothing() -> None:
    with pytest.raises(WrongUse, match="nothing flows"):
        contributions(EXAMPLE, 0)
