"""The force on a stem, and straight pipe against what is asked for."""

from decimal import Decimal

import pytest

from protocols.units import Quantity, quantity_of
from readout.measuring_point.grammar import FITTINGS
from readout.measuring_point.installation.force import stem_force
from readout.measuring_point.installation.insertion import Position
from readout.measuring_point.installation.runs import Basis, inlet_run, outlet_run
from readout.measuring_point.model import StraightRun

BORE = Decimal("53.1")


def q(text: str) -> Quantity:
    found = quantity_of(text)
    assert isinstance(found, Quantity), found
    return found


@pytest.mark.parametrize(
    ("stem", "bar", "newton"),
    [(10, 10, 78.5), (10, 16, 125.7), (12, 16, 181.0), (22, 16, 608.2)],
)
def test_the_force_on_a_stem(stem: float, bar: float, newton: float) -> None:
    """F = p π d²/4, recomputed by hand; bar(g)."""
    assert stem_force(bar * 1e5, stem).newton == pytest.approx(newton, abs=0.05)


def test_the_force_is_told_as_a_weight_and_with_its_caution() -> None:
    found = stem_force(16e5, 22)
    assert found.kilograms == pytest.approx(62.0, abs=0.05)
    assert "608 N" in found.caution
    assert "No hand can hold it" in found.caution


@pytest.mark.parametrize(
    ("after", "mean", "centre"),
    [
        ("single elbow", 50, 25),
        ("two elbows in plane", 50, 25),
        ("two elbows out of plane", 80, 50),
        ("reducer", 30, 15),
        ("expander", 55, 25),
        ("open valve", 45, 25),
    ],
)
def test_what_a_fitting_asks_for(after: str, mean: int, centre: int) -> None:
    """Recalled from ISO 7145:1982, Table 1, not checked against it (reducer at the axis there: 10)."""
    run = StraightRun(q("1.8 m"), after)
    for position, asked in ((Position.MEAN_VELOCITY, mean), (Position.CENTRE, centre)):
        found = inlet_run(run, BORE, position)
        assert (found.asked, found.basis) == (asked, Basis.COMMON_PRACTICE)


def test_recalled_figures_are_called_common_practice() -> None:
    assert "common practice" in Basis.COMMON_PRACTICE
    assert "standard" in Basis.COMMON_PRACTICE  # as "no standard"


@pytest.mark.parametrize("after", FITTINGS)
def test_every_fitting_of_the_file_format_has_a_figure(after: str) -> None:
    """None asks for less than the habit of 15, none for more than an unknown one."""
    for position in (*Position, None):
        found = inlet_run(StraightRun(q("1 m"), after), BORE, position)
        worst = inlet_run(StraightRun(q("1 m"), "unknown"), BORE, position)
        assert 15 <= found.asked <= worst.asked


def test_a_run_is_counted_in_inside_diameters() -> None:
    """1.8 m / 53.1 mm = 33.9; 25 are asked at the centre, 50 at the point of mean velocity."""
    run = StraightRun(q("1.8 m"), "single elbow")
    centre, mean = (inlet_run(run, BORE, position) for position in (Position.CENTRE, Position.MEAN_VELOCITY))
    assert centre.diameters == pytest.approx(33.898, abs=0.001)
    assert (centre.is_enough, mean.is_enough) == (True, False)
    assert mean.missing_mm == pytest.approx(50 * 53.1 - 1800)


def test_the_meters_manual_rules() -> None:
    run = StraightRun(q("1.8 m"), "two elbows out of plane", asked_by_manual=Decimal(30))
    found = inlet_run(run, BORE, Position.CENTRE)
    assert (found.asked, found.basis, found.is_enough) == (30, Basis.MANUAL, True)


def test_a_run_without_a_fitting_is_taken_as_the_worst() -> None:
    assert inlet_run(StraightRun(q("1.8 m")), BORE, Position.CENTRE).asked == 50


def test_five_diameters_are_asked_for_behind_unless_the_manual_says_otherwise() -> None:
    found = outlet_run(StraightRun(q("0.2 m")), BORE)
    assert (found.asked, found.is_enough) == (5, False)
    assert outlet_run(StraightRun(q("0.2 m"), asked_by_manual=Decimal(3)), BORE).is_enough
