"""The bore from what was measured or read off, and how well it is then known."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.register_map.faults import Report
from protocols.units import Quantity, quantity_of
from readout.errors import WrongUse
from readout.measuring_point.model import Pipe, Uncertain
from readout.measuring_point.pipe.bore import bore_of, other_sizes
from readout.measuring_point.pipe.own_table import read_table


def q(text: str) -> Quantity:
    found = quantity_of(text)
    assert isinstance(found, Quantity), found
    return found


def pipe(source: str = "measured", **lengths: str) -> Pipe:
    return Pipe(diameter_from=source, **{name: q(text) for name, text in lengths.items()})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("lengths", "outside", "inside"),
    [
        ({"outside_diameter": "60.3 mm", "wall_thickness": "3.6 mm"}, 60.3, 53.1),
        ({"circumference": "189.4 mm", "wall_thickness": "3.6 mm"}, 60.288, 53.088),
        ({"circumference": "359.1 mm", "wall_thickness": "4.5 mm"}, 114.305, 105.305),
        ({"outside_diameter": "2.375 in", "wall_thickness": "0.154 in"}, 60.325, 52.5018),
        ({"inside_diameter": "53.1 mm", "wall_thickness": "3.6 mm"}, 60.3, 53.1),
    ],
)
def test_the_bore_is_worked_out_of_what_was_measured(
    lengths: dict[str, str], outside: float, inside: float
) -> None:
    """OD − 2 walls, OD = circumference / π; recomputed by hand to 0.001 mm."""
    found = bore_of(pipe(**lengths))
    assert found.outside_mm is not None
    assert float(found.outside_mm) == pytest.approx(outside, abs=6e-4)
    assert float(found.inside_mm) == pytest.approx(inside, abs=6e-4)


@given(
    inside=st.decimals("10", "900", places=2, allow_nan=False),
    wall=st.decimals("0.5", "20", places=2, allow_nan=False),
)
def test_outside_circumference_and_inside_lead_to_one_bore(inside: Decimal, wall: Decimal) -> None:
    outside = inside + 2 * wall
    by_outside = bore_of(pipe(outside_diameter=f"{outside} mm", wall_thickness=f"{wall} mm"))
    round_it = f"{math.pi * float(outside):.9f} mm"
    by_circumference = bore_of(pipe(circumference=round_it, wall_thickness=f"{wall} mm"))
    assert by_outside.inside_mm == inside
    assert float(by_circumference.inside_mm) == pytest.approx(float(inside), abs=1e-6)


def test_a_better_source_deserves_a_smaller_uncertainty() -> None:
    """Measured inside, measured outside, from a table, assumed: for one bore of 53.1 mm."""
    outside = {"outside_diameter": "60.3 mm", "wall_thickness": "3.6 mm"}
    ways = [
        pipe("measured", inside_diameter="53.1 mm"),
        pipe("measured", **outside),
        Pipe(standard="EN 10255 medium DN 50"),
        pipe("assumed", **outside),
    ]
    bores = [bore_of(way) for way in ways]
    widths = [bore.expanded_mm for bore in bores]
    assert widths == sorted(widths)
    assert len(set(widths)) == 4
    assert {bore.inside_mm for bore in bores} == {Decimal("53.1")}
    assert bore_of(pipe("marking", **outside)).expanded_mm == bores[2].expanded_mm


def test_measured_from_outside_is_known_as_the_two_tools_allow() -> None:
    """Constructed: rectangular 0.3 mm outside, 0.2 mm on the wall counted twice; GUM 4.3.7 and 5.1.2."""
    found = bore_of(pipe(outside_diameter="60.3 mm", wall_thickness="3.6 mm"))
    assert found.standard_uncertainty_mm == pytest.approx(math.sqrt((0.3**2 + 0.4**2) / 3))
    assert found.flow_percent == pytest.approx(2 * 100 * 2 * math.sqrt(0.25 / 3) / 53.1)


@pytest.mark.parametrize(
    ("said", "standard"),
    [
        (Uncertain(q("0.5 mm")), 0.25),
        (Uncertain(q("0.5 mm"), k=Decimal(1)), 0.5),
        (Uncertain(q("0.5 mm"), distribution="rectangular"), 0.5 / math.sqrt(3)),
        (Uncertain(q("0.5 mm"), distribution="triangular"), 0.5 / math.sqrt(6)),
        (Uncertain(of_reading=q("1 %")), 0.2655),
        (Uncertain(q("0.02 in")), 0.254),
    ],
)
def test_the_files_own_uncertainty_rules(said: Uncertain, standard: float) -> None:
    """GUM 4.3.7 (rectangular, a/√3) and 4.3.9 (triangular, a/√6); k = 2 unless given."""
    found = bore_of(pipe(inside_diameter="53.1 mm"), said)
    assert found.standard_uncertainty_mm == pytest.approx(standard)
    assert "point file" in found.uncertain


def test_a_nominal_size_names_the_other_standards_and_what_a_mix_up_costs() -> None:
    ((other, error),) = other_sizes(bore_of(Pipe(standard="ASME B36.10M Sch 40 DN 65")))
    assert str(other) == "EN 10255 medium DN 65"
    assert error == pytest.approx(-17.2, abs=0.05)
    assert other_sizes(bore_of(pipe(inside_diameter="68.9 mm"))) == []


def test_a_pipe_of_the_users_own_list() -> None:
    report = Report("pipes.csv")
    own = read_table(
        b"\xef\xbb\xbfdn,outside_mm,wall_mm\n50,60.3,2.0\n\n 80 , 88.9 , 2.0\n", "works list", report
    )
    assert report.faults() == ()
    found = bore_of(Pipe(standard="works list DN 80", table="pipes.csv"), own=own)
    assert (found.inside_mm, found.known) == (Decimal("84.9"), "works list DN 80, nominal")
    with pytest.raises(WrongUse, match="no DN 65; it has DN 50, DN 80"):
        bore_of(Pipe(standard="works list DN 65", table="pipes.csv"), own=own)
    with pytest.raises(WrongUse, match="the list of pipes is not at hand, and 'works list DN 80' is of it"):
        bore_of(Pipe(standard="works list DN 80", table="pipes.csv"))


@pytest.mark.parametrize(
    ("text", "line", "wanted"),
    [
        (b"", 1, "write dn,outside_mm,wall_mm"),
        (b"DN;OD;t\n", 1, "write dn,outside_mm,wall_mm"),
        (b"\xff\xfe", 1, "UTF-8"),
        (b"dn,outside_mm,wall_mm\n50,60.3\n", 2, "2 cells"),
        (b'dn,outside_mm,wall_mm\n50,"60,3",3.6\n', 2, "no number"),
        (b"dn,outside_mm,wall_mm\n50,60.3,30.15\n", 2, "leave no bore"),
        (b"dn,outside_mm,wall_mm\n50.5,60.3,3\n", 2, "whole number"),
        (b"dn,outside_mm,wall_mm\n50,60.3,nan\n", 2, "lengths in mm"),
        (b"dn,outside_mm,wall_mm\n50,60.3,3.6\n50,60.3,3.9\n", 3, "twice"),
    ],
)
def test_a_wrong_list_is_told_by_line(text: bytes, line: int, wanted: str) -> None:
    report = Report("pipes.csv")
    read_table(text, "works list", report)
    (fault,) = report.faults()
    assert (fault.line, wanted in fault.fault) == (line, True), fault
