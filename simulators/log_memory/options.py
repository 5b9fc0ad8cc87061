"""What a simulated meter's memory holds when the meter is switched on, and how it goes on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from simulators.plant import Quantity

#: A meter that says nothing of its interval records this often, in seconds.
USUAL_INTERVAL = 10.0


@dataclass(frozen=True, slots=True)
class Past:
    """One session recorded before the meter was switched on.

    `records` of them, one every `interval` [s] (None: as the meter is set), the first interval beginning at
    `start` [UTC s by a right clock]; None: so that the last one ends when the meter is switched on, or an
    hour before the next session began.
    """

    records: int
    interval: float | None = None
    start: float | None = None


@dataclass(frozen=True, slots=True)
class Rows:
    """A real log as a past session: `times` [UTC s] of the records, and their values by field name.

    Where a memory's records tell no time of their own, a session ends before each gap in `times`: a meter
    could not tell of it otherwise. Fields that `values` lacks come from the meter's source.
    """

    times: Sequence[float]
    values: Mapping[str, Sequence[Quantity]]
    interval: float


@dataclass(frozen=True, slots=True)
class LogOptions:
    """See `Past`, `Rows`; in their order.

    `recording`: whether the meter goes on, in the last session if that reaches up to now. `interval` [s]
    sets the map's `log_interval`. `first_number` is the number of the first record ever, for memories
    whose numbers are about to start again at 0. `clock_ahead` [s] and `drift_ppm` are the meter's clock
    against the computer's; `site` is the zone of one that follows the site's clocks. `faults` says what goes
    wrong, as in "busy x3 at 40; clock step 3600 at 100" (docs/simulated-meters.md).
    """

    past: Sequence[Past | Rows] = field(default=())
    recording: bool = True
    interval: float | None = None
    first_number: int = 0
    clock_ahead: float = 0.0
    drift_ppm: float = 0.0
    site: str = "Europe/Dublin"
    faults: str = ""

    @classmethod
    def prefilled(
        cls, records: int, interval: float | None = None, *, recording: bool = True, faults: str = ""
    ) -> "LogOptions":
        """One session of `records`, the last of them just over; it goes on, unless not `recording`."""
        return cls((Past(records),), recording=recording, interval=interval, faults=faults)
