"""What flows while a visit watches, against the meter's low-flow cut-off. Numbers are worked out by hand."""

import math
from typing import Any

import pytest

from readout.visit.cut_off import cut_off_checks
from readout.visit.live import Seen
from readout.visit.verdict import Verdict

#: A bore of 53.1 mm: π/4 × 0.0531² = 0.0022145 m²; 0.4 m/s there are 3.19 m³/h.
AREA = math.pi / 4 * 0.0531**2


def settings(value: Any = 0.4, unit: str = "m/s") -> dict[str, dict[str, Any]]:
    return {"low_flow_cut_off": {"value": value, "unit": unit, "flag": None}}


def seen(mean: float, unit: str) -> Seen:
    return Seen(mean, mean, mean, unit, {})


@pytest.mark.parametrize(
    ("mean", "unit", "said"),
    [
        (0.3, "m/s", "0.3 m/s on average, below the meter's cut-off of 0.4 m/s"),
        (0.6, "m/s", "0.6 m/s on average, only just above the meter's cut-off of 0.4 m/s"),
        (36, "m/min", "0.6 m/s on average, only just above"),
        (-0.3, "m/s", "0.3 m/s on average, below"),
        (3.0, "m3/h", "0.376 m/s on average, below"),  # 3.0 / 3600 / 0.0022145
        (50, "l/min", "0.376 m/s on average, below"),
    ],
)
def test_near_or_below_is_to_be_decided(mean: float, unit: str, said: str) -> None:
    (found,) = cut_off_checks({"flow": seen(mean, unit)}, settings(), AREA)
    assert found.verdict is Verdict.TO_DECIDE
    assert said in found.reason


@pytest.mark.parametrize(("mean", "unit"), [(0.8, "m/s"), (30, "m/s"), (420, "m3/h")])
def test_well_above_is_nothing_to_say(mean: float, unit: str) -> None:
    assert cut_off_checks({"flow": seen(mean, unit)}, settings(), AREA) == []


def test_a_velocity_of_the_meter_goes_before_a_flow_over_the_bore() -> None:
    both = {"flow": seen(1, "m3/h"), "velocity": seen(20, "m/s")}
    assert cut_off_checks(both, settings(), AREA) == []


@pytest.mark.parametrize(
    ("told", "area"),
    [({}, AREA), (settings(None), AREA), (settings(5, "m3/h"), AREA), (settings(), None)],
)
def test_nothing_is_made_up_where_something_lacks(told: Any, area: float | None) -> None:
    """No cut-off told, or none as a velocity, or no bore; hidden conditions and no number neither."""
    assert cut_off_checks({"flow": seen(0.1, "m3/h")}, told, area) == []
    assert cut_off_checks({"flow": seen(0.1, "Nm3/h"), "x": seen(math.nan, "m/s")}, settings(), AREA) == []
