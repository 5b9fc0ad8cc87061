"""The example of the manual's page on uncertainty comes out as shown."""

from pathlib import Path

from protocols.units import Quantity, quantity_of
from readout.measuring_point import grammar
from readout.measuring_point.conditions.corrections import Principle
from readout.measuring_point.conditions.gases import Fluid, Model
from readout.measuring_point.conditions.states import FREE_AIR, State
from readout.measuring_point.flow.expected import Basis, Stream, case_of_velocity
from readout.measuring_point.model import Uncertain
from readout.measuring_point.uncertainty.sources import Installation, flow_budget

PAGE = (Path(__file__).parents[4] / "docs/uncertainty.md").read_text(encoding="utf-8")


def q(text: str) -> Quantity:
    found = quantity_of(text)
    assert isinstance(found, Quantity), found
    return found


def test_the_example_of_the_page() -> None:
    stream = Stream(0.0531, Fluid.AIR, State(293.15, 8.01325e5), FREE_AIR.state, Model.IDEAL)
    said = {
        "velocity": Uncertain(of_reading=q("2 %"), of_full_scale=q("0.3 %"), full_scale=q("160 m/s")),
        "velocity_profile": Uncertain(half_width=q("1 %")),
    }
    place = Installation(0.25e-3, "0.5 mm, k = 2", Principle.VORTEX, Basis.ACTUAL, atmosphere_pa=101325.0)
    found = flow_budget(case_of_velocity(stream, 10), stream, place, said)
    for row in found.rows:
        part = row.part
        figures = f"{part.standard_percent:.2f} | {part.exponent:g} | {row.contribution_percent:.2f}"
        assert f"| {part.name} | {figures} |" in PAGE
    assert f"| together | | | {found.standard_percent:.2f} |" in PAGE
    assert f"Expanded: {found.says}." in PAGE
    assert set(found.left_out) == {"insertion depth", "pressure", "temperature", "atmospheric pressure"}


def test_the_page_names_every_key_of_a_point_file_s_uncertainty() -> None:
    assert all(f"`{key.name}" in PAGE for key in grammar.UNCERTAINTY_KEYS)
