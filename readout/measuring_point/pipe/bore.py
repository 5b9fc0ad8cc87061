"""The bore: inside diameter, how it came about, and the uncertainty that its source deserves.

The uncertainties stand for what the file does not say; `uncertainty: inside_diameter` replaces them. They
are our judgement of common practice, no standard's figures; the mill's tolerances are ASTM A53's (1 % of the
outside diameter, 12.5 % of the wall), from memory, and EN 10255's are of that order.
"""

import math
from dataclasses import dataclass
from decimal import Decimal

from readout.errors import WrongUse
from readout.measuring_point.checks.plain import millimetres
from readout.measuring_point.model import Pipe, Uncertain
from readout.measuring_point.pipe.standards import (
    STANDARDS,
    PipeSize,
    flow_error_percent,
    pipe_size,
    same_nominal_size,
    split_standard,
)
from readout.sentence import Sentence, joined, word

#: Half-widths of rectangular distributions [mm]: a caliper or tape outside, an ultrasonic gauge on the wall,
#: an inside micrometer or caliper at a pipe's open end.
OUTSIDE_MEASURED_MM = 0.3
WALL_MEASURED_MM = 0.2
INSIDE_MEASURED_MM = 0.3
#: As shares: mill tolerances, and a diameter that nobody looked up (between two standards' DN 65 lie 9 %).
OUTSIDE_MILL, WALL_MILL, ASSUMED = 0.01, 0.125, 0.05
_DISTRIBUTIONS = {"normal": 2.0, "rectangular": math.sqrt(3), "triangular": math.sqrt(6)}
_PI = Decimal(math.pi)
_MILL = Sentence("mill tolerance: outside 1 %, wall 12.5 %, rectangular")


@dataclass(frozen=True, slots=True)
class Bore:
    """Inside diameter, outside diameter and wall [mm]; standard uncertainty of the first [mm].

    `known` says how the diameter came about, `uncertain` where its uncertainty comes from. The outside and
    the wall are None where only the inside diameter is known.
    """

    inside_mm: Decimal
    standard_uncertainty_mm: float
    known: Sentence
    uncertain: Sentence
    outside_mm: Decimal | None = None
    wall_mm: Decimal | None = None
    dn: int | None = None
    standard: str = ""

    @property
    def area_m2(self) -> float:
        """Area of the bore [m²]."""
        return math.pi / 4 * (float(self.inside_mm) / 1000) ** 2

    @property
    def expanded_mm(self) -> float:
        """Expanded uncertainty of the inside diameter [mm], coverage factor 2."""
        return 2 * self.standard_uncertainty_mm

    @property
    def flow_percent(self) -> float:
        """What the diameter alone contributes to the flow [%], k = 2: twice its relative uncertainty."""
        return 200 * self.expanded_mm / float(self.inside_mm)


def bore_of(pipe: Pipe, said: Uncertain | None = None, own: dict[int, PipeSize] | None = None) -> Bore:
    """The bore of a checked pipe.

    Args:
        pipe: as its file says it.
        said: the file's `uncertainty: inside_diameter`, which rules.
        own: sizes of the user's own list by DN, where the pipe names a table.

    Raises:
        WrongUse: the list has no such size, or is not given.
    """
    if pipe.standard is not None:
        found = _of_size(_size_of(pipe.standard, own))
    elif pipe.inside_diameter is not None:
        inside = millimetres(pipe.inside_diameter)
        wall = None if pipe.wall_thickness is None else millimetres(pipe.wall_thickness)
        outside = None if wall is None else inside + 2 * wall
        source = pipe.diameter_from or "assumed"
        u, why = _inside_uncertainty(source, inside)
        known = Sentence("given as inside diameter, {source}", source=word(source))
        found = Bore(inside, u, known, why, outside, wall)
    else:
        found = _from_outside(pipe)
    return found if said is None else _with_said(found, said)


def other_sizes(bore: Bore) -> list[tuple[PipeSize, float]]:
    """Pipes of other standards under the same nominal size, and the error in flow [%] if it is that one."""
    if bore.dn is None:
        return []
    others = same_nominal_size(bore.dn, but=bore.standard)
    return [(size, flow_error_percent(bore.inside_mm, size.bore_mm)) for size in others]


def _size_of(standard: str, own: dict[int, PipeSize] | None) -> PipeSize:
    parts = split_standard(standard)
    name, dn = parts if parts is not None else (standard, 0)
    if own is None and name in STANDARDS:
        return pipe_size(name, dn)
    if own is None:
        raise WrongUse(
            Sentence("the list of pipes is not at hand, and '{standard}' is of it", standard=standard)
        )
    if dn not in own:
        sizes = [Sentence("DN {size}", size=size) for size in sorted(own)] or [Sentence("nothing")]
        raise WrongUse(
            Sentence("the list of pipes has no DN {dn}; it has {there}", dn=dn, there=joined(", ", sizes))
        )
    return own[dn]


def _of_size(size: PipeSize) -> Bore:
    return Bore(
        size.bore_mm, _mill_uncertainty(size.outside_mm, size.wall_mm),
        Sentence("{pipe}, nominal", pipe=str(size)), _MILL, size.outside_mm, size.wall_mm, size.dn,
        size.standard,
    )  # fmt: skip


def _from_outside(pipe: Pipe) -> Bore:
    if pipe.wall_thickness is None:
        raise WrongUse(Sentence("from the outside the bore is known only with wall_thickness"))
    wall, source = millimetres(pipe.wall_thickness), pipe.diameter_from or "assumed"
    if pipe.outside_diameter is not None:
        outside = millimetres(pipe.outside_diameter)
        how = Sentence("outside diameter less two walls")
    elif pipe.circumference is not None:
        outside = millimetres(pipe.circumference) / _PI
        how = Sentence("circumference / π less two walls")
    else:
        raise WrongUse(Sentence("a pipe needs outside_diameter, circumference, inside_diameter or standard"))
    inside = outside - 2 * wall
    if source == "measured":
        u = math.hypot(OUTSIDE_MEASURED_MM, 2 * WALL_MEASURED_MM) / math.sqrt(3)
        why = Sentence(
            "measured: outside {outside} mm, wall {wall} mm, rectangular",
            outside=OUTSIDE_MEASURED_MM, wall=WALL_MEASURED_MM,
        )  # fmt: skip
    elif source == "assumed":
        u, why = _inside_uncertainty(source, inside)
    else:
        u, why = _mill_uncertainty(outside, wall), _MILL
    known = Sentence("{how}, {source}", how=how, source=word(source))
    return Bore(inside, u, known, why, outside, wall)


def _inside_uncertainty(source: str, inside: Decimal) -> tuple[float, Sentence]:
    if source == "measured":
        told = Sentence("measured inside: {mm} mm, rectangular", mm=INSIDE_MEASURED_MM)
        return INSIDE_MEASURED_MM / math.sqrt(3), told
    if source == "assumed":
        told = Sentence("assumed: {share:.0%} of the diameter, rectangular", share=ASSUMED)
        return float(inside) * ASSUMED / math.sqrt(3), told
    share = math.hypot(OUTSIDE_MILL, 2 * WALL_MILL * 0.06)  # walls are about 6 % of the outside diameter
    told = Sentence("{source}: mill tolerance, {share:.1%}, rectangular", source=word(source), share=share)
    return float(inside) * share / math.sqrt(3), told


def _mill_uncertainty(outside: Decimal, wall: Decimal) -> float:
    """Standard uncertainty of a bore [mm] within what a mill may deliver."""
    return math.hypot(OUTSIDE_MILL * float(outside), 2 * WALL_MILL * float(wall)) / math.sqrt(3)


def _with_said(bore: Bore, said: Uncertain) -> Bore:
    """The bore with the file's own uncertainty; unchanged where that says nothing of a half-width."""
    from dataclasses import replace

    width = said.half_width or said.of_reading
    if width is None:
        return bore
    share = width.unit.dimension.value == "ratio"
    if share:
        percent = {"%": 1.0, "ppm": 1e-4, "1": 100.0}[width.unit.word]
        half = float(width.number) * percent / 100 * float(bore.inside_mm)
    else:
        half = float(millimetres(width))
    if said.distribution is not None:
        divisor, how = _DISTRIBUTIONS[said.distribution], word(said.distribution)
    else:
        divisor = float(said.k) if said.k is not None else 2.0
        how = Sentence("k = {k:g}", k=divisor)
    told = Sentence("point file: {width}, {how}", width=width, how=how)
    return replace(bore, standard_uncertainty_mm=half / divisor, uncertain=told)
