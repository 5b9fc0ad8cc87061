"""The pipe cut across at the probe: to scale, with the measures by letter."""

from collections.abc import Callable
from dataclasses import dataclass

from readout.measuring_point.installation.insertion import Insertion
from readout.measuring_point.pipe.bore import Bore
from readout.measuring_point.sheet.drawing import Anchor, Drawing, Fill, Stroke
from readout.sentence import Sentence

#: Scales that a ruler knows, 1 to this.
SCALES = (1, 2, 2.5, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000)
#: What is drawn where the point file does not say [mm].
_STEM_MM, _WALL_SHARE, _FITTING_MM, _ABOVE_MM = 10.0, 0.06, 120.0, 25.0
#: Room on paper for what stands above and below the cut, and beside it [mm].
_BELOW_MM, _BESIDE_MM = 16.0, 40.0


@dataclass(frozen=True, slots=True)
class Section:
    """A drawing and its scale: 1 to `scale`."""

    drawing: Drawing
    scale: float


def section(
    bore: Bore,
    insertion: Insertion,
    *,
    stem_mm: float | None,
    fitting_mm: float | None,
    highest_mm: float,
    widest_mm: float,
    words: Callable[[str], str] = str,
) -> Section:
    """The cut, at most `highest_mm` high and `widest_mm` wide on paper. All lengths in mm.

    What the point file does not say is drawn dashed, with a usual size, and gets no letter. `words` says a
    sentence in the reader's language.
    """
    wall = _WALL_SHARE * float(bore.inside_mm) if bore.wall_mm is None else float(bore.wall_mm)
    fitting = _FITTING_MM if fitting_mm is None else fitting_mm
    real = float(bore.inside_mm) + 2 * wall + fitting + _ABOVE_MM
    across = float(bore.inside_mm) + 2 * wall
    fits = (
        one
        for one in SCALES
        if real / one <= highest_mm - _BELOW_MM and across / one <= widest_mm - _BESIDE_MM
    )
    scale = next(fits, SCALES[-1])
    cut = _Cut(
        Drawing(words(Sentence("pipe and probe, 1:{scale:g}", scale=scale))), scale, bore, insertion, wall,
        fitting, _STEM_MM if stem_mm is None else stem_mm, has_fitting=fitting_mm is not None, words=words,
    )  # fmt: skip
    cut.draw()
    return Section(cut.drawing, scale)


@dataclass(frozen=True)
class _Cut:
    """y = 0 is the pipe's outside at the fitting, x = 0 the probe's axis; `wall`, `fitting`, `stem` in mm."""

    drawing: Drawing
    scale: float
    bore: Bore
    insertion: Insertion
    wall: float
    fitting: float
    stem: float
    has_fitting: bool
    words: Callable[[str], str]

    def draw(self) -> None:
        """Pipe, fitting, probe, measures."""
        d, s = self.drawing, self.scale
        radius = float(self.bore.inside_mm) / 2
        middle = (self.wall + radius) / s
        d.circle(0, middle, (radius + self.wall) / s, Fill.METAL)
        d.circle(0, middle, radius / s, Fill.WHITE)
        reach = (radius + self.wall) / s + 4
        d.line(-reach, middle, reach, middle, Stroke.AXIS)
        self._fitting()
        self._probe()
        self._measures(reach)

    def _fitting(self) -> None:
        """A saddle and a valve body, open: schematic in width, true in height."""
        d, s = self.drawing, self.scale
        half, top = 1.6 * self.stem / s, -self.fitting / s
        stroke = Stroke.THICK if self.has_fitting else Stroke.HIDDEN
        d.box(-half, top, 2 * half, -top + self.wall / s, Fill.WHITE, stroke)
        middle = top / 2
        for side in (-1, 1):  # the handle's axis and the seats of the ball
            d.line(side * half, middle - 2, side * half * 1.8, middle - 3.5, Stroke.THIN)
            d.line(side * half, middle + 2, side * half * 1.8, middle + 3.5, Stroke.THIN)
            d.line(side * half * 1.8, middle - 3.5, side * half * 1.8, middle + 3.5, Stroke.THIN)

    def _probe(self) -> None:
        d, s = self.drawing, self.scale
        half = self.stem / 2 / s
        top = -(self.fitting + _ABOVE_MM) / s
        sensor = (self.wall + float(self.insertion.depth_mm)) / s
        tip = sensor + float(self.insertion.sensor_to_tip_mm or 0) / s
        d.box(-half, top, 2 * half, tip - top, Fill.WHITE)
        d.line(0, top - 2, 0, tip + 3, Stroke.AXIS)
        d.circle(0, sensor, max(0.8, half * 0.55), Fill.BLACK, Stroke.THIN)
        if self.insertion.mark_mm is not None:
            mark = -self.fitting / s
            d.polygon([(half, mark), (half + 3, mark - 1.2), (half + 3, mark + 1.2)], Fill.BLACK)
            d.line(-half, mark, half, mark, Stroke.THICK)
            d.text(half + 3.5, mark - 0.8, self.words(Sentence("mark")), bold=True)

    def _measures(self, reach: float) -> None:
        d, s = self.drawing, self.scale
        inside = self.wall / s
        sensor = inside + float(self.insertion.depth_mm) / s
        tip_mm = self.insertion.sensor_to_tip_mm
        right = reach + 4
        levels = [0.0, inside, sensor]
        if self.has_fitting:
            d.upright(right, -self.fitting / s, 0, "A")
            levels.append(-self.fitting / s)
        if self.bore.wall_mm is not None:
            d.upright(right + 8, 0, inside, "B")
        d.upright(right, inside, sensor, "C")
        if tip_mm is not None:
            tip = sensor + float(tip_mm) / s
            d.upright(right + 8, sensor, tip, "D")
            levels.append(tip)
        for y in levels:
            d.line(self.stem / s, y, right + 9, y, Stroke.HIDDEN)
        if self.insertion.mark_mm is not None and tip_mm is not None:
            left = -reach - 6
            d.upright(left, -self.fitting / s, sensor + float(tip_mm) / s, "E")
            for y in (-self.fitting / s, sensor + float(tip_mm) / s):
                d.line(left - 1, y, -self.stem / s, y, Stroke.HIDDEN)
        bottom = (float(self.bore.inside_mm) + 2 * self.wall) / s
        d.across(bottom + 7, -float(self.bore.inside_mm) / 2 / s, float(self.bore.inside_mm) / 2 / s, "F")
        d.text(0, bottom + 12, self.words(Sentence("1 : {scale:g}", scale=s)), Anchor.MIDDLE)
