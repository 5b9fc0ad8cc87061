"""Lengths and pressures without pint agree with pint, a gauge pressure is never taken for absolute."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.units import UNITS, Dimension, Quantity, Unit
from readout.measuring_point.checks.plain import absolute_pascals, millimetres, pascals, per_hour
from readout.measuring_point.conversion import converted


def of(dimension: Dimension) -> list[Unit]:
    return [unit for unit in UNITS.values() if unit.dimension is dimension]


@pytest.mark.parametrize("unit", of(Dimension.LENGTH), ids=lambda unit: unit.word)
def test_every_length_agrees_with_pint(unit: Unit) -> None:
    length = Quantity(Decimal("53.1"), unit)
    assert millimetres(length) == converted(length, UNITS["mm"])


@pytest.mark.parametrize("unit", of(Dimension.PRESSURE), ids=lambda unit: unit.word)
def test_every_pressure_agrees_with_pint(unit: Unit) -> None:
    pressure = Quantity(Decimal("7.25"), unit, gauge=True)
    assert float(pascals(pressure)) == pytest.approx(float(converted(pressure, UNITS["Pa"])), rel=1e-9)


@pytest.mark.parametrize(
    ("dimension", "to"),
    [(Dimension.VOLUME_FLOW, "m3/h"), (Dimension.MASS_FLOW, "kg/h"), (Dimension.VELOCITY, "m/h")],
)
def test_every_flow_and_velocity_agrees_with_pint(dimension: Dimension, to: str) -> None:
    for unit in of(dimension):
        flow = Quantity(Decimal("53.1"), unit)
        if unit.conditional:
            with pytest.raises(ValueError, match="conditions that are known"):
                per_hour(flow)
        else:
            assert float(per_hour(flow)) == pytest.approx(float(converted(flow, UNITS[to])), rel=1e-12)


@given(
    number=st.decimals("-1", "40", places=3, allow_nan=False),
    air=st.decimals("80000", "105000", places=0, allow_nan=False),
)
def test_a_gauge_pressure_is_more_by_the_air_around_it(number: Decimal, air: Decimal) -> None:
    gauge, absolute = (absolute_pascals(Quantity(number, UNITS["bar"], side), air) for side in (True, False))
    assert gauge - absolute == air


def test_a_pressure_that_does_not_say_which_is_refused() -> None:
    with pytest.raises(ValueError, match="gauge or absolute"):
        absolute_pascals(Quantity(Decimal(7), UNITS["bar"]), Decimal(101325))


def test_other_units_are_refused() -> None:
    with pytest.raises(ValueError, match="no length"):
        millimetres(Quantity(Decimal(7), UNITS["bar"]))
    with pytest.raises(ValueError, match="no flow"):
        per_hour(Quantity(Decimal(7), UNITS["mm"]))
    with pytest.raises(ValueError, match="no pressure"):
        pascals(Quantity(Decimal(7), UNITS["mm"]))
