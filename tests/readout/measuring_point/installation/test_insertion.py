"""Where the sensor belongs, the mark on the stem, and what the stem itself does to the pipe."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.units import Quantity, quantity_of
from readout.measuring_point.installation.insertion import (
    Position,
    blocked_share,
    depth_sensitivity_percent,
    insertion_of,
)
from readout.measuring_point.model import Pipe, Probe
from readout.measuring_point.pipe.bore import Bore, bore_of


def q(text: str) -> Quantity:
    found = quantity_of(text)
    assert isinstance(found, Quantity), found
    return found


BORE = bore_of(Pipe(outside_diameter=q("60.3 mm"), wall_thickness=q("3.6 mm"), diameter_from="measured"))
PROBE = {
    "stem_diameter": q("10 mm"),
    "sensor_to_tip": q("8 mm"),
    "fitting_height": q("142 mm"),
}


def probe(position: str | None = None, calibrated_for: str | None = None, **more: object) -> Probe:
    return Probe(position=position, calibrated_for=calibrated_for, **{**PROBE, **more})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("position", "depth", "mark"),
    [("centre", "26.55", "180.15"), ("mean velocity", "6.4251", "160.0251")],
)
def test_the_mark_is_fitting_and_wall_and_depth_and_tip(position: str, depth: str, mark: str) -> None:
    """142 + 3.6 + depth + 8 mm, depth 0.5 D or 0.121 D of 53.1 mm (0.242 R, ISO 7145:1982, from memory)."""
    found = insertion_of(probe(position), BORE)
    assert (found.depth_mm, found.mark_mm) == (Decimal(depth), Decimal(mark))


@pytest.mark.parametrize(
    ("position", "calibrated_for", "stands", "moved"),
    [
        (None, "mean velocity", Position.MEAN_VELOCITY, False),
        (None, "centre", Position.CENTRE, False),
        (None, None, Position.CENTRE, False),
        ("centre", None, Position.CENTRE, False),
        ("centre", "mean velocity", Position.CENTRE, True),
        ("mean velocity", "centre", Position.MEAN_VELOCITY, True),
    ],
)
def test_the_sensor_goes_where_the_meter_was_calibrated_for(
    position: str | None, calibrated_for: str | None, stands: Position, *, moved: bool
) -> None:
    found = insertion_of(probe(position, calibrated_for), BORE)
    assert (found.position, found.is_moved) == (stands, moved)


def test_drawn_back_from_the_far_wall_it_stands_at_the_same_place() -> None:
    """53.1 − 26.55 − 8 = 18.55 mm; told only where the manual allows touching the wall."""
    assert insertion_of(probe("centre"), BORE).draw_back_mm is None
    assert insertion_of(probe("centre", far_wall="keep clear"), BORE).draw_back_mm is None
    assert insertion_of(probe("centre", far_wall="may be touched"), BORE).draw_back_mm == Decimal("18.55")


@given(
    inside=st.decimals("20", "600", places=1),
    wall=st.decimals("1", "15", places=1),
    tip=st.decimals("0", "9", places=1),
    height=st.decimals("50", "300", places=1),
    position=st.sampled_from(["centre", "mean velocity"]),
)
def test_mark_and_draw_back_meet_at_the_far_wall(
    inside: Decimal, wall: Decimal, tip: Decimal, height: Decimal, position: str
) -> None:
    """With the tip on the far wall the stem has gone in by fitting, wall and the whole bore."""
    bore = Bore(inside, 0.1, "", "", inside + 2 * wall, wall)
    found = insertion_of(
        probe(
            position,
            far_wall="may be touched",
            fitting_height=q(f"{height} mm"),
            sensor_to_tip=q(f"{tip} mm"),
        ),
        bore,
    )
    assert found.mark_mm is not None
    assert found.draw_back_mm is not None
    assert found.mark_mm + found.draw_back_mm == height + wall + inside


def test_a_tip_that_meets_the_far_wall_first_is_told() -> None:
    bore = bore_of(Pipe(inside_diameter=q("14 mm")))
    (problem,) = insertion_of(probe("centre"), bore).problems
    assert "would meet the far wall 1.0 mm before" in problem


def test_a_stem_that_is_too_short_is_told() -> None:
    (problem,) = insertion_of(probe("centre", stem_length=q("170 mm")), BORE).problems
    assert "10.2 mm too short" in problem or "10.1 mm too short" in problem


def test_without_wall_or_fitting_there_is_no_mark() -> None:
    assert insertion_of(probe("centre"), bore_of(Pipe(inside_diameter=q("53.1 mm")))).mark_mm is None
    assert insertion_of(Probe(position="centre"), BORE).mark_mm is None


def test_a_stem_to_the_centre_blocks_about_an_eighth_of_a_small_pipe() -> None:
    """10 mm in 53.1 mm: stem × radius / area is 12.0 %; the wall's curve takes a little off."""
    found = insertion_of(probe("centre"), BORE)
    assert found.blocked_to_sensor == pytest.approx(0.12, abs=0.001)
    assert found.blocked == pytest.approx(10 * (26.55 + 8) / (math.pi / 4 * 53.1**2), abs=0.002)


def counted_share(stem: float, length: float, bore: float, steps: int = 2000) -> float:
    """The same area, as strips along the stem's width: midpoint rule, an independent way."""
    radius, width = bore / 2, stem / steps
    area = 0.0
    for step in range(steps):
        across = -stem / 2 + (step + 0.5) * width
        half_chord = math.sqrt(radius**2 - across**2)
        top, bottom = radius - half_chord, radius + half_chord
        area += max(0.0, min(length, bottom) - top) * width
    return area / (math.pi * radius**2)


@pytest.mark.parametrize("stem", [6.0, 10.0, 20.0])
@pytest.mark.parametrize("share", [0.121, 0.5, 0.7])
def test_the_blocked_area_is_what_strips_add_up_to(stem: float, share: float) -> None:
    assert blocked_share(stem, share * 53.1, 53.1) == pytest.approx(
        counted_share(stem, share * 53.1, 53.1), rel=1e-4
    )


@given(st.floats(1, 20), st.floats(0.0, 1.0), st.floats(21, 600))
def test_a_stem_never_blocks_more_than_its_strip(stem: float, share: float, bore: float) -> None:
    found = blocked_share(stem, share * bore, bore)
    assert 0 <= found <= stem * share * bore / (math.pi / 4 * bore**2) + 1e-12


def test_a_millimetre_counts_little_at_the_centre_and_much_near_the_wall() -> None:
    """A 1/7 power law in 53.1 mm, by its derivative: dv/v = dy / (7 y); the steeper side for a whole mm."""

    def profile(share: float) -> float:
        return float((2 * min(share, 1 - share)) ** (1 / 7))

    centre = depth_sensitivity_percent(profile, 26.55, 53.1)
    wall = depth_sensitivity_percent(profile, 0.121 * 53.1, 53.1)
    assert centre == pytest.approx(-100 / (7 * 26.55), rel=0.03)
    assert wall == pytest.approx(-100 / (7 * 6.4251), rel=0.1)
    assert abs(wall) > 3 * abs(centre)
