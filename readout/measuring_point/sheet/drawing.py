"""A line drawing as SVG, in millimetres on paper, black on white; it knows how far it reaches."""

from dataclasses import dataclass, field
from enum import StrEnum
from html import escape

#: Height of small print [mm], and the width of its letters as a share of it (a wide estimate).
TEXT_MM = 2.9
_LETTER = 0.62
_MARGIN = 1.0


class Stroke(StrEnum):
    """How a line is drawn; none needs colour."""

    THICK = 'stroke-width="0.5"'
    THIN = 'stroke-width="0.2"'
    AXIS = 'stroke-width="0.15" stroke-dasharray="4 0.8 0.6 0.8"'
    HIDDEN = 'stroke-width="0.2" stroke-dasharray="1 0.7"'


class Fill(StrEnum):
    """What is inside an outline."""

    NONE = "none"
    WHITE = "white"
    BLACK = "black"
    METAL = "url(#hatch)"


class Anchor(StrEnum):
    """Which point of a text stands where it is put."""

    START = "start"
    MIDDLE = "middle"
    END = "end"


@dataclass
class Drawing:
    """Shapes in the order they are drawn; x to the right, y down [mm]."""

    title: str
    parts: list[str] = field(default_factory=list)
    xs: list[float] = field(default_factory=list)
    ys: list[float] = field(default_factory=list)

    def line(self, x1: float, y1: float, x2: float, y2: float, stroke: Stroke = Stroke.THIN) -> None:
        """A straight line."""
        self._reach((x1, x2), (y1, y2))
        self.parts.append(f'<path d="M{_n(x1)} {_n(y1)}L{_n(x2)} {_n(y2)}" {stroke}/>')

    def box(
        self, x: float, y: float, width: float, height: float, fill: Fill = Fill.NONE,
        stroke: Stroke = Stroke.THICK,
    ) -> None:  # fmt: skip
        """A rectangle from its upper left corner."""
        self._reach((x, x + width), (y, y + height))
        self.parts.append(
            f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(width)}" height="{_n(height)}" '
            f'fill="{fill}" {stroke}/>'
        )

    def circle(
        self, x: float, y: float, radius: float, fill: Fill = Fill.NONE, stroke: Stroke = Stroke.THICK
    ) -> None:
        """A circle around x, y."""
        self._reach((x - radius, x + radius), (y - radius, y + radius))
        self.parts.append(f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" fill="{fill}" {stroke}/>')

    def polygon(self, points: list[tuple[float, float]], fill: Fill, stroke: Stroke = Stroke.THIN) -> None:
        """A closed outline."""
        self._reach([x for x, _ in points], [y for _, y in points])
        path = "L".join(f"{_n(x)} {_n(y)}" for x, y in points)
        self.parts.append(f'<path d="M{path}Z" fill="{fill}" {stroke}/>')

    def text(
        self, x: float, y: float, words: str, anchor: Anchor = Anchor.START, size: float = TEXT_MM,
        *, bold: bool = False,
    ) -> None:  # fmt: skip
        """Words on a base line at y."""
        width = len(words) * size * _LETTER
        left = {Anchor.START: x, Anchor.MIDDLE: x - width / 2, Anchor.END: x - width}[anchor]
        self._reach((left, left + width), (y - size, y + size * 0.3))
        weight = ' font-weight="bold"' if bold else ""
        self.parts.append(
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}" text-anchor="{anchor}"{weight} '
            f'fill="black" stroke="none">{escape(words)}</text>'
        )

    def upright(self, x: float, top: float, bottom: float, label: str) -> None:
        """A measure between two heights, with its label beside it."""
        self.line(x, top, x, bottom)
        for y, way in ((top, 1), (bottom, -1)):
            self.line(x - 1, y, x + 1, y)
            if abs(bottom - top) > 5:
                self.polygon([(x, y), (x - 0.5, y + 2 * way), (x + 0.5, y + 2 * way)], Fill.BLACK)
        self.text(x + 1.4, (top + bottom) / 2 + TEXT_MM / 3, label, bold=True)

    def across(self, y: float, left: float, right: float, label: str) -> None:
        """A measure between two places along a line, with its label above it."""
        self.line(left, y, right, y)
        for x, way in ((left, 1), (right, -1)):
            self.line(x, y - 1, x, y + 1)
            if right - left > 5:
                self.polygon([(x, y), (x + 2 * way, y - 0.5), (x + 2 * way, y + 0.5)], Fill.BLACK)
        self.text((left + right) / 2, y - 1, label, Anchor.MIDDLE)

    @property
    def width(self) -> float:
        """How wide it prints [mm]."""
        return max(self.xs) - min(self.xs) + 2 * _MARGIN

    @property
    def height(self) -> float:
        """How high it prints [mm]."""
        return max(self.ys) - min(self.ys) + 2 * _MARGIN

    def svg(self) -> str:
        """The whole drawing at its size on paper."""
        left, top = min(self.xs) - _MARGIN, min(self.ys) - _MARGIN
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{_n(self.width)}mm" '
            f'height="{_n(self.height)}mm" viewBox="{_n(left)} {_n(top)} {_n(self.width)} {_n(self.height)}" '
            f'font-family="sans-serif" fill="none" stroke="black"><title>{escape(self.title)}</title>'
            '<defs><pattern id="hatch" width="1.2" height="1.2" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><rect width="1.2" height="1.2" fill="white" stroke="none"/>'
            '<path d="M0 0V1.2" stroke="black" stroke-width="0.3"/></pattern></defs>'
            f"{''.join(self.parts)}</svg>"
        )

    def _reach(self, xs: "list[float] | tuple[float, ...]", ys: "list[float] | tuple[float, ...]") -> None:
        self.xs += xs
        self.ys += ys


def _n(number: float) -> str:
    return f"{number:.3f}".rstrip("0").rstrip(".")
