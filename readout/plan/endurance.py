"""How long a meter's memory lasts, and at which interval it lasts long enough: exact, in whole milliseconds.

50,000 records every 5 s last 69 h 26 min 40 s. For nine days they would have to be 15.552 s apart: 15.6 s on
a meter that takes tenths, 20 s on one that offers 1, 2, 5, 10, 20 s.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from readout.errors import WrongUse

#: A visit slips: what is planned should last this much longer. A tenth of the time asked for.
MARGIN = Fraction(1, 10)


@dataclass(frozen=True, slots=True)
class Endurance:
    """What an interval means for a visit.

    `lasts_s`: until the memory is full. `needed_s`: what was asked for. `records`: how many that makes.
    """

    capacity: int
    interval_s: Fraction
    needed_s: Fraction

    @property
    def lasts_s(self) -> Fraction:
        """Seconds until the last place is taken: capacity × interval."""
        return self.capacity * self.interval_s

    @property
    def records(self) -> int:
        """Records within the time needed; no more than the memory holds."""
        return min(self.capacity, int(self.needed_s // self.interval_s))

    @property
    def is_enough(self) -> bool:
        """Whether the memory lasts as long as the visit."""
        return self.lasts_s >= self.needed_s

    @property
    def spare_s(self) -> Fraction:
        """Seconds to spare; negative: the memory ends so much before the visit does."""
        return self.lasts_s - self.needed_s

    @property
    def has_margin(self) -> bool:
        """Whether a visit that slips by a tenth still fits."""
        return self.lasts_s >= self.needed_s * (1 + MARGIN)


def shortest_interval(capacity: int, needed_s: Fraction) -> Fraction:
    """The shortest interval [s] at which `capacity` records last `needed_s`, exact: 15.552 for nine days.

    That is of 50,000 records. WrongUse without a record.
    """
    if capacity < 1:
        raise WrongUse(f"A memory of {capacity} records holds nothing; give at least 1.")
    return needed_s / capacity


def offered_interval(
    shortest_s: Fraction, steps: Sequence[Decimal] = (), resolution_s: Decimal = Decimal("0.1")
) -> Fraction:
    """The shortest interval [s] that a meter offers and that is no shorter than `shortest_s`.

    `steps` are the only intervals a meter takes; without them any multiple of `resolution_s` is.
    WrongUse where its longest step is still too short.
    """
    if not steps:
        resolution = Fraction(resolution_s)
        return -(-shortest_s // resolution) * resolution
    fitting = [Fraction(step) for step in steps if Fraction(step) >= shortest_s]
    if not fitting:
        raise WrongUse(
            f"The longest interval of this meter is {max(steps)} s, and {float(shortest_s):.6g} s would be "
            "needed; plan a shorter visit, or come by in between and retrieve."
        )
    return min(fitting)


def in_words(seconds: Fraction) -> str:
    """`69 h 26 min 40 s`, from seven days on `9 d 0 h`; what is less than the last unit is cut off."""
    whole = int(seconds)
    days, hours, minutes, left = whole // 86400, whole // 3600, whole // 60 % 60, whole % 60
    if days >= 7:
        return f"{days} d {hours % 24} h"
    parts = ((hours, "h"), (minutes, "min"), (left, "s"))
    return " ".join(f"{number} {unit}" for number, unit in parts if number) or "0 s"
