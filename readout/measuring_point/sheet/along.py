"""The pipe seen from the side: the straight runs to scale, in inside diameters."""

from readout.measuring_point.installation.runs import Run
from readout.measuring_point.sheet.drawing import Anchor, Drawing, Fill, Stroke
from readout.measuring_point.sheet.section import SCALES

#: Heights of the pipe on paper [mm]: one thinner is drawn so thick, and no scale makes it thicker than that.
_THINNEST_MM, _THICKEST_MM = 3.0, 9.0
_ENDS_MM = 8.0


def runs_along(inlet: Run | None, outlet: Run | None, bore_mm: float, *, widest_mm: float) -> Drawing | None:
    """Both runs side by side, at most `widest_mm` wide on paper; None where neither is given.

    Lengths are to scale; a pipe thinner than 3 mm on paper is drawn at 3 mm.
    """
    if inlet is None and outlet is None:
        return None
    before = 0.0 if inlet is None else inlet.diameters * bore_mm
    behind = 0.0 if outlet is None else outlet.diameters * bore_mm
    room = widest_mm - 2 * _ENDS_MM
    fits = (one for one in SCALES if (before + behind) / one <= room and bore_mm / one <= _THICKEST_MM)
    scale = next(fits, (before + behind) / room)
    d = Drawing(f"straight runs, 1:{scale:g}")
    half = max(bore_mm / scale, _THINNEST_MM) / 2
    left, right = -before / scale, behind / scale
    _pipe(d, left, right, half)
    above = [] if inlet is None else [f"after {inlet.after}"]
    d.text(left, -half - 3.5, "; ".join([*above, f"lengths 1 : {scale:.4g}"]))
    y = half + 6
    for run, begin, end in ((inlet, left, 0.0), (outlet, 0.0, right)):
        if run is not None:
            _measure(d, begin, end, half, y)
    if inlet is not None:
        d.text(left, y + 4, f"inlet {_words(inlet)}")
    if outlet is not None:
        d.text(right, y + 7.5 if inlet is not None else y + 4, f"outlet {_words(outlet)}", Anchor.END)
    return d


def _pipe(d: Drawing, left: float, right: float, half: float) -> None:
    for y in (-half, half):
        d.line(left, y, right, y, Stroke.THICK)
    d.line(left - 3, 0, right + 3, 0, Stroke.AXIS)
    for x in (left, right):
        d.line(x, -half - 1.5, x, half + 1.5, Stroke.THICK)
    d.box(-0.6, -half - 2.5, 1.2, half + 2.5, Fill.BLACK, Stroke.THIN)
    d.polygon([(left + 2, -1), (left + 2, 1), (left + 5, 0)], Fill.BLACK)


def _measure(d: Drawing, begin: float, end: float, half: float, y: float) -> None:
    for x in (begin, end):
        d.line(x, half, x, y + 1)
    d.across(y, begin, end, "")


def _words(run: Run) -> str:
    return f"{run.diameters:.1f} D, asked {run.asked:g} D" + ("" if run.is_enough else ", TOO SHORT")
