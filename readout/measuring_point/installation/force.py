"""What presses on the stem of a probe that is pushed into a pipe under pressure."""

import math
from dataclasses import dataclass

#: Standard acceleration of free fall [m/s²] (3rd CGPM, 1901): kilograms held by hand, for comparison.
STANDARD_GRAVITY = 9.80665


@dataclass(frozen=True, slots=True)
class StemForce:
    """A force that drives the stem out [N], with the overpressure [Pa] and stem [mm] it comes from."""

    newton: float
    gauge_pa: float
    stem_mm: float

    @property
    def kilograms(self) -> float:
        """The mass [kg] whose weight is this force."""
        return self.newton / STANDARD_GRAVITY

    @property
    def caution(self) -> str:
        """The figure as a warning."""
        return (
            f"At {self.gauge_pa / 1e5:.1f} bar(g) the pipe pushes a {self.stem_mm:g} mm stem out with "
            f"{self.newton:.0f} N, the weight of {self.kilograms:.1f} kg, without a pause and with no "
            "warning. No hand can hold it: only the restraint may."
        )


def stem_force(gauge_pa: float, stem_mm: float) -> StemForce:
    """F = p π d²/4 on the stem's cross-section; `gauge_pa` is the overpressure. Seal friction not counted."""
    return StemForce(gauge_pa * math.pi / 4 * (stem_mm / 1000) ** 2, gauge_pa, stem_mm)
