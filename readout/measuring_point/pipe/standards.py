"""Pipe standards: outside diameter and wall of each nominal size.

EN 10255 medium (the series of ISO 65 medium): two open catalogues agree in every row, the standard itself
was not seen. ASME B36.10M schedule 40: as tabulated in the library fluids. Both series are nominal; what a
mill may deliver is in `bore`.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from protocols.register_map.faults import quoted
from readout.measuring_point.forms import either
from readout.sentence import Sentence


@dataclass(frozen=True, slots=True)
class PipeSize:
    """A pipe of a table: nominal size DN, outside diameter and wall [mm]."""

    standard: str
    dn: int
    outside_mm: Decimal
    wall_mm: Decimal

    @property
    def bore_mm(self) -> Decimal:
        """Inside diameter [mm]: the outside diameter less two walls."""
        return self.outside_mm - 2 * self.wall_mm

    def __str__(self) -> str:
        return f"{self.standard} DN {self.dn}"


EN_10255_MEDIUM = "EN 10255 medium"
ASME_SCH_40 = "ASME B36.10M Sch 40"

#: DN → outside diameter × wall [mm].
_TABLES: Mapping[str, Mapping[int, tuple[str, str]]] = {
    EN_10255_MEDIUM: {
        15: ("21.3", "2.6"), 20: ("26.9", "2.6"), 25: ("33.7", "3.2"), 32: ("42.4", "3.2"),
        40: ("48.3", "3.2"), 50: ("60.3", "3.6"), 65: ("76.1", "3.6"), 80: ("88.9", "4.0"),
        100: ("114.3", "4.5"), 125: ("139.7", "5.0"), 150: ("165.1", "5.0"),
    },
    ASME_SCH_40: {
        15: ("21.3", "2.77"), 20: ("26.7", "2.87"), 25: ("33.4", "3.38"), 32: ("42.2", "3.56"),
        40: ("48.3", "3.68"), 50: ("60.3", "3.91"), 65: ("73.0", "5.16"), 80: ("88.9", "5.49"),
        100: ("114.3", "6.02"), 125: ("141.3", "6.55"), 150: ("168.3", "7.11"), 200: ("219.1", "8.18"),
        250: ("273.0", "9.27"), 300: ("323.8", "10.31"),
    },
}  # fmt: skip
STANDARDS = tuple(_TABLES)
_SIZE = re.compile(r"(?P<standard>.+?) DN ?(?P<dn>[1-9][0-9]{0,3})\Z")


def split_standard(text: str) -> tuple[str, int] | None:
    """`EN 10255 medium DN 50` as standard and DN; None where it has another form."""
    found = _SIZE.match(text.strip())
    return None if found is None else (found["standard"], int(found["dn"]))


def wrong_standard(text: str) -> str:
    """What is wrong with a standard and size that no table of the user's explains, or nothing."""
    parts = split_standard(text)
    if parts is None:
        return Sentence(
            "{text} has no size; write such as {one} DN 50", text=quoted(text), one=EN_10255_MEDIUM
        )
    name, dn = parts
    if name not in _TABLES:
        return Sentence(
            "{name} is no known pipe standard; allowed: {standards}, or your own list as a CSV file under the"
            " key table",
            name=quoted(name),
            standards=either(STANDARDS),
        )
    if dn not in _TABLES[name]:
        sizes = ", ".join(str(size) for size in _TABLES[name])
        return Sentence("{name} has no DN {dn}; allowed as DN: {sizes}", name=name, dn=dn, sizes=sizes)
    return ""


def pipe_size(standard: str, dn: int) -> PipeSize:
    """The pipe of a standard; KeyError where it has no such size."""
    outside, wall = _TABLES[standard][dn]
    return PipeSize(standard, dn, Decimal(outside), Decimal(wall))


def same_nominal_size(dn: int, *, but: str = "") -> list[PipeSize]:
    """The pipes that go by this nominal size, in every standard known except `but`."""
    return [pipe_size(name, dn) for name, sizes in _TABLES.items() if name != but and dn in sizes]


def flow_error_percent(set_mm: Decimal, true_mm: Decimal) -> float:
    """By how much a flow is told wrong [%] when it is computed with one bore and the pipe has another.

    Flow is velocity times area, so the error is (set/true)² − 1; it holds where nothing else in the
    meter depends on the diameter.
    """
    return float((set_mm / true_mm) ** 2 - 1) * 100
