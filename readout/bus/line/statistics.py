"""What a line has done so far, and what a technician should know about it."""

from collections import deque
from dataclasses import dataclass, field

#: Requests sooner than this after the last byte on the line [s] are "soon"; as long is rested after silence.
SOON = 0.2
#: Sendings looked at for the pattern of a meter that needs a rest, and failures that it takes.
RECENT, LOST_TO_HASTE = 12, 3
#: Share of exchanges with noise from which the cable is to be seen to, and the fewest to judge by.
NOISY_SHARE, FEWEST = 0.01, 20


@dataclass(slots=True)
class Rhythm:
    """Which requests were lost: those soon after another reply, while rested ones are answered?"""

    _recent: deque[tuple[bool, bool]] = field(default_factory=lambda: deque(maxlen=RECENT))

    def note(self, *, soon: bool, silent: bool) -> None:
        """One sending."""
        self._recent.append((soon, silent))

    @property
    def hasty(self) -> bool:
        """Whether silence follows haste, and nothing else."""
        hasty = [silent for soon, silent in self._recent if soon]
        rested = [silent for soon, silent in self._recent if not soon]
        return sum(hasty) >= LOST_TO_HASTE and 2 * sum(hasty) > len(hasty) and rested.count(True) == 0


@dataclass(slots=True)
class Statistics:
    """Counts since the line was made. Requests are sendings: repeats and spacers among them.

    `strays`: bytes that came while nobody was asked; `overheard`: who sent them, or what came ahead of a
    reply, where they tell. `noise_bytes`: 00 or FF around replies; `noisy`: replies with any. `doubted`:
    values taken back because more came behind; `unproven`: values taken back because something damaged or
    wrong came next; `_late`: those of them that somebody had used already. `silent_in_a_row`: sendings since
    anything was heard from anyone. `slowest_reply`: seconds from a request's last bit to the first byte of
    its reply.
    """

    requests: int = 0
    replies: int = 0
    exceptions: int = 0
    late: int = 0
    repeats: int = 0
    spacers: int = 0
    silent: int = 0
    damaged: int = 0
    wrong: int = 0
    busy: int = 0
    noise_bytes: int = 0
    noisy: int = 0
    strays: int = 0
    doubted: int = 0
    doubted_late: int = 0
    unproven: int = 0
    unproven_late: int = 0
    silent_in_a_row: int = 0
    slowest_reply: float = 0.0
    echo: bool = False
    overheard: str = ""
    departures: set[str] = field(default_factory=set)
    rhythm: Rhythm = field(default_factory=Rhythm)

    @property
    def advice(self) -> tuple[str, ...]:
        """Sentences for a technician, beyond single outcomes; none for a good line."""
        found = []
        if self.rhythm.hasty:
            found.append(HASTE)
        if self.requests >= FEWEST and self.noisy > NOISY_SHARE * self.requests:
            found.append(
                f"Noise stood around {self.noisy} of {self.requests} replies: the idle line floats. "
                "Try: bias resistors (mostly 680 Ω) at one end, 120 Ω termination at both, a common ground."
            )
        if self.doubted:
            found.append(
                f"{self.doubted} values were taken back, because more came behind their replies "
                f"({self.doubted_late} had been used by then). Try: look for a second device with the same "
                "unit address, and for a repeater or gateway that sends replies twice."
            )
        if self.overheard:
            found.append(f"Beside the replies: {self.overheard}")
        if self.departures:
            found.append(f"Departures from the standard were accepted: {', '.join(sorted(self.departures))}.")
        return tuple(found)


#: What a meter that needs a rest looks like.
HASTE = (
    "Requests soon after another reply are lost, later ones are answered: this meter needs a rest first. "
    "Try: `pause: 200 ms` under `wire` in the map; `line test` finds the shortest that will do."
)
