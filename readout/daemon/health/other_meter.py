"""Whether a meter with another serial number stands where a point's own is expected: by the ledger."""

from collections.abc import Iterable
from dataclasses import dataclass

from storage.ledger import Kind, Line


@dataclass(frozen=True, slots=True)
class OtherMeter:
    """Serial numbers, and the time of the ledger's line (ISO 8601 UTC)."""

    expected: str
    found: str
    since: str

    def __str__(self) -> str:
        return (
            f"another meter answers since {self.since}: serial number {self.found} instead of "
            f"{self.expected}, and nothing of it is recorded. If the meter was exchanged, write its serial "
            "number into the point file, then `systemctl reload` (SIGHUP) or start again"
        )


def other_meter(lines: Iterable[Line], point: str) -> OtherMeter | None:
    """The one that answered last in the last recording; None where it was the expected one.

    Each recording tells of it anew, so what an earlier one found counts no longer.
    """
    found: OtherMeter | None = None
    for line in lines:
        told = line.content
        if line.kind == Kind.STARTED and point in told.get("points", {point: None}):
            found = None
        elif line.kind == Kind.EVENT and told.get("point") == point:
            if told.get("what") == "other meter":
                found = OtherMeter(str(told.get("expected")), str(told.get("found")), line.time)
            elif told.get("what") == "meter back":
                found = None
    return found
