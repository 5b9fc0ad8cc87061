"""The pipe seen from the side: the straight runs to scale, in inside diameters."""

from readout.measuring_point.installation.runs import Run
from readout.measuring_point.sheet.drawing import Anchor, Drawing, Fill, Stroke
from readout.measuring_point.sheet.section import SCALES

_SHORTEST_PIPE_MM = 3.0  # on paper


def runs_along(inlet: Run | None, outlet: Run | None, bore_mm: float, *, widest_mm: float) -> Drawing | None:
    """Both runs side by side, at most `widest_mm` wide on paper; None where neither is given.

    Lengths are to scale; a pipe thinner than 3 mm on paper is drawn at 3 mm.
    """
    if inlet is None and outlet is None:
        return None
    before = 0.0 if inlet is None else inlet.diameters * bore_mm
    behind = 0.0 if outlet is None else outlet.diameters * bore_mm
    room = widest_mm - 30
    scale = next((one for one in SCALES if (before + behind) / one <= room), (before + behind) / room)
    d = Drawing(f"straight runs, 1:{scale:g}")
    half = max(bore_mm / scale, _SHORTEST_PIPE_MM) / 2
    left, right = -before / scale, behind / scale
    for y in (-half, half):
        d.line(left, y, right, y, Stroke.THICK)
    d.line(left - 3, 0, right + 3, 0, Stroke.AXIS)
    for x in (left, right):
        d.line(x, -half - 1.5, x, half + 1.5, Stroke.THICK)
    d.box(-0.6, -half - 7, 1.2, half + 7, Fill.BLACK, Stroke.THIN)
    d.polygon([(left + 3, -1), (left + 3, 1), (left + 6, 0)], Fill.BLACK)
    y = half + 6
    for run, begin, end, name in ((inlet, left, 0.0, "inlet"), (outlet, 0.0, right, "outlet")):
        if run is None:
            continue
        fits = "" if run.is_enough else ", TOO SHORT"
        d.line(
            end if name == "outlet" else begin, half, end if name == "outlet" else begin, y + 1, Stroke.THIN
        )
        d.line(0, half, 0, y + 1, Stroke.THIN)
        d.across(y, begin, end, "")
        words = f"{name} {run.diameters:.1f} D, asked {run.asked:g} D{fits}"
        side = Anchor.MIDDLE if name == "inlet" else Anchor.START
        d.text((begin + end) / 2 if name == "inlet" else begin + 1, y + 4, words, side)
    if inlet is not None:
        d.text(left, -half - 3, f"after {inlet.after}", Anchor.START)
    d.text(2, -half - 4, f"probe; lengths 1 : {scale:g}", Anchor.START)
    return d
