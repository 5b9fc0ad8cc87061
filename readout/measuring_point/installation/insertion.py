"""Where the sensor of a probe belongs, and the mark on the stem that brings it there.

Lengths in mm. A depth is counted from the inside of the wall through which the probe enters.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from readout.measuring_point.checks.plain import millimetres
from readout.measuring_point.model import Probe
from readout.measuring_point.pipe.bore import Bore
from readout.sentence import Sentence

#: Depth of the mean velocity as a share of the bore: 0.242 R (ISO 7145:1982, from memory; a 1/7 power law
#: profile gives 0.2423 R).
MEAN_VELOCITY_DEPTH = Decimal("0.121")


class Position(StrEnum):
    """Where the sensor stands."""

    CENTRE = "centre"
    MEAN_VELOCITY = "mean velocity"


@dataclass(frozen=True, slots=True)
class Insertion:
    """The sensor's place and the stem's measures [mm]; None where the point file lacks what it takes.

    `calibrated_for` is the position that the meter's own computation expects. `mark_mm`: from the tip to the
    mark that is level with the datum, the top of the fitting. `draw_back_mm`: from the tip touching the far
    wall back to the sensor's place; only where the manual lets the far wall be touched.
    """

    position: Position
    calibrated_for: Position
    why: Sentence
    depth_mm: Decimal
    sensor_to_tip_mm: Decimal | None
    mark_mm: Decimal | None
    draw_back_mm: Decimal | None
    tip_to_far_wall_mm: Decimal | None
    blocked_to_sensor: float | None
    blocked: float | None
    problems: tuple[Sentence, ...] = ()

    @property
    def is_moved(self) -> bool:
        """Whether the sensor stands elsewhere than the meter's computation expects it."""
        return self.position is not self.calibrated_for


def insertion_of(probe: Probe, bore: Bore) -> Insertion:
    """Where the sensor belongs, from the probe as its file says it.

    The place is `position`, else what the meter was calibrated for, else the centre. What keeps the figures
    from being used is in `problems`, as sentences.
    """
    position, calibrated_for, why = _positions(probe)
    share = Decimal("0.5") if position is Position.CENTRE else MEAN_VELOCITY_DEPTH
    depth = share * bore.inside_mm
    tip = None if probe.sensor_to_tip is None else millimetres(probe.sensor_to_tip)
    stem = None if probe.stem_diameter is None else float(millimetres(probe.stem_diameter))
    mark = _mark(probe, bore, depth, tip)
    left = None if tip is None else bore.inside_mm - depth - tip
    touching = probe.far_wall == "may be touched" and left is not None and left >= 0
    inside = float(bore.inside_mm)
    return Insertion(
        position, calibrated_for, why, depth, tip, mark, left if touching else None, left,
        None if stem is None else blocked_share(stem, float(depth), inside),
        None if stem is None or tip is None else blocked_share(stem, min(float(depth + tip), inside), inside),
        tuple(_problems(probe, left, mark)),
    )  # fmt: skip


def _positions(probe: Probe) -> tuple[Position, Position, Sentence]:
    said = None if probe.position is None else Position(probe.position)
    made_for = None if probe.calibrated_for is None else Position(probe.calibrated_for)
    if said is not None:
        return said, made_for or said, Sentence("as the point file says")
    if made_for is not None:
        return made_for, made_for, Sentence("what the meter was calibrated for")
    why = Sentence("neither position nor calibrated_for is given, so the centre is taken")
    return Position.CENTRE, Position.CENTRE, why


def _mark(probe: Probe, bore: Bore, depth: Decimal, tip: Decimal | None) -> Decimal | None:
    """Fitting height + wall + depth + sensor to tip."""
    if probe.fitting_height is None or bore.wall_mm is None or tip is None:
        return None
    return millimetres(probe.fitting_height) + bore.wall_mm + depth + tip


def _problems(probe: Probe, left: Decimal | None, mark: Decimal | None) -> list[Sentence]:
    found: list[Sentence] = []
    if left is not None and left < 0:
        told = Sentence(
            "the tip would meet the far wall {mm:.1f} mm before the sensor is at its place: "
            "this probe cannot measure there",
            mm=-left,
        )
        found.append(told)
    stem = None if probe.stem_length is None else millimetres(probe.stem_length)
    if stem is not None and mark is not None and mark > stem:
        told = Sentence(
            "the stem is {short:.1f} mm too short: the mark would be at {mark:.1f} mm",
            short=mark - stem, mark=mark,
        )  # fmt: skip
        found.append(told)
    return found


def blocked_share(stem_mm: float, length_mm: float, bore_mm: float) -> float:
    """The share of a bore that a stem covers, seen along the pipe.

    A strip of the stem's width on a diameter, from the wall to `length_mm` deep, less what lies outside the
    curved wall. To the centre it is close to 2 × stem / (π × bore).
    """
    half, radius = stem_mm / 2, bore_mm / 2
    sagitta = radius - math.sqrt(radius**2 - half**2)
    if length_mm < sagitta:  # not yet as deep as the wall is curved: a segment of the circle
        chord = math.sqrt(
            length_mm * (bore_mm - length_mm)
        )  # half of it; the arc from it is exact near the wall
        covered = radius**2 * math.asin(chord / radius) - (radius - length_mm) * chord
    else:
        arc = half * math.sqrt(radius**2 - half**2) + radius**2 * math.asin(half / radius)
        covered = min(stem_mm * (length_mm - radius) + arc, 2 * arc)
    return max(covered, 0.0) / (math.pi * radius**2)


def depth_sensitivity_percent(
    relative_velocity: Callable[[float], float], depth_mm: float, bore_mm: float, *, off_mm: float = 1.0
) -> float:
    """The change of velocity at the sensor [%] when it stands `off_mm` elsewhere, the larger of both ways.

    `relative_velocity`: share of the bore from the wall (0 to 1) → velocity in any unit.
    """
    here = relative_velocity(depth_mm / bore_mm)
    places = [(depth_mm + way * off_mm) / bore_mm for way in (-1, 1)]
    changes = [relative_velocity(min(max(place, 0.0), 1.0)) / here - 1 for place in places]
    return 100 * max(changes, key=abs)
