"""The velocity profile of fully developed flow in a smooth round pipe, from the wall to the centre.

Turbulent: v / v centre = (y/R)^(1/n), n by Reynolds number from Schlichting, Boundary-Layer Theory, Table
20.1 (6 at 4e3, 7 at 1.1e5 and 10 at 3.24e6 read in reprints; 6.6 at 2.3e4 and 8.8 at 1.1e6 from memory),
between them linear in log Re. Laminar: Hagen-Poiseuille. Places are shares of the diameter, 0 at the wall
to 0.5 at the centre, up to 1 at the far wall.
"""

import math
from bisect import bisect_right
from dataclasses import dataclass

from readout.errors import WrongUse
from readout.sentence import Sentence

#: Below, laminar; from the second on, turbulent for certain (common textbook figures, no source).
LAMINAR_RE, TURBULENT_RE = 2300.0, 4000.0
#: Exponent n by Reynolds number.
_EXPONENTS = ((4e3, 6.0), (2.3e4, 6.6), (1.1e5, 7.0), (1.1e6, 8.8), (2.0e6, 10.0), (3.24e6, 10.0))
#: The point of mean velocity: 0.242 R (ISO 7145:1982, from memory; for n = 7 the power law gives 0.2423).
MEAN_VELOCITY_SHARE = 0.121
CENTRE_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Profile:
    """A profile; `exponent` is n of the power law, None for laminar flow."""

    reynolds: float
    exponent: float | None

    @property
    def is_certain(self) -> bool:
        """False in the transition from laminar to turbulent, where neither profile can be relied on."""
        return not LAMINAR_RE <= self.reynolds < TURBULENT_RE

    @property
    def mean_over_centre(self) -> float:
        """Mean velocity over the bore as a share of the velocity at the centre."""
        return 0.5 if self.exponent is None else mean_over_centre(self.exponent)

    @property
    def mean_velocity_share(self) -> float:
        """Where the local velocity is the mean, as a share of the diameter from the wall."""
        if self.exponent is None:
            return (1 - math.sqrt(0.5)) / 2
        return float(self.mean_over_centre**self.exponent) / 2

    def relative_velocity(self, share: float) -> float:
        """Local velocity as a share of the centre's, at a share of the diameter from the wall (0 to 1).

        Raises:
            WrongUse: not inside the pipe.
        """
        if not 0 <= share <= 1:
            raise WrongUse(
                Sentence(
                    "{share:g} of the diameter is not inside the pipe; 0 is the wall, 0.5 the centre",
                    share=share,
                )
            )
        depth = 2 * min(share, 1 - share)  # y / R
        return depth * (2 - depth) if self.exponent is None else float(depth ** (1 / self.exponent))

    def factor(self, share: float) -> float:
        """The profile factor: mean velocity over the local velocity at this place.

        Raises:
            WrongUse: not inside the pipe, or at the wall itself.
        """
        local = self.relative_velocity(share)
        if not local:
            raise WrongUse(Sentence("at the wall the velocity is zero; the sensor belongs inside the pipe"))
        return self.mean_over_centre / local


def profile_at(reynolds: float) -> Profile:
    """The profile at a Reynolds number; in the transition (2300 to 4000) the turbulent one, not certain.

    Raises:
        WrongUse: below 0, or no finite number.
    """
    if not (math.isfinite(reynolds) and reynolds >= 0):
        raise WrongUse(Sentence("{reynolds:g} is no Reynolds number", reynolds=reynolds))
    return Profile(reynolds, None if reynolds < LAMINAR_RE else exponent_at(reynolds))


def exponent_at(reynolds: float) -> float:
    """n of the power law; 6 below Re 4e3, 10 above 2e6."""
    where = bisect_right(_EXPONENTS, reynolds, key=lambda row: row[0])
    if where in (0, len(_EXPONENTS)):
        return _EXPONENTS[0 if where == 0 else -1][1]
    (low_re, low_n), (high_re, high_n) = _EXPONENTS[where - 1], _EXPONENTS[where]
    return low_n + (high_n - low_n) * math.log(reynolds / low_re) / math.log(high_re / low_re)


def mean_over_centre(exponent: float) -> float:
    """2n² / ((n + 1)(2n + 1)): the power law integrated over the circle; 49/60 for n = 7."""
    return 2 * exponent**2 / ((exponent + 1) * (2 * exponent + 1))


def likely_error_percent(profile: Profile, share: float) -> float:
    """How far the profile factor at this place may be off [%], half-width: n known to one whole number.

    At the centre about 3 %, at the point of mean velocity 0.3 %; 10 % in the transition, where n says
    little (that figure is our judgement). A disturbed inlet adds to it.
    """
    if not profile.is_certain:
        return 10.0
    if profile.exponent is None:
        return 0.0
    here = profile.factor(share)
    others = (Profile(profile.reynolds, profile.exponent + step).factor(share) for step in (-1, 1))
    return max(abs(other / here - 1) * 100 for other in others)
