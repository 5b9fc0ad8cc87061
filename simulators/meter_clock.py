"""The meter's own clock: its crystal, what it was last set to, and the zone it shows.

    computer's UTC   ──────────────────────────────────────────>
    crystal          runs from the moment the meter is switched on, a few ppm fast or slow
    shown            crystal + where it was set + the zone's hours: the figures on its display

Moments are `running`: true seconds since the meter was switched on, negative for what it did before that.
"""

import math
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from protocols.register_map.memory_model import MeterClock as Zone

Seconds = NDArray[np.float64]
Milliseconds = NDArray[np.int64]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
#: Zones change their hours at a quarter of an hour at the earliest.
_QUARTER = 900


class MeterClock:
    """What one meter's clock shows at any moment, also those that are over."""

    def __init__(
        self,
        switched_on: float,
        *,
        zone: Zone | None = None,
        site: str = "Europe/Dublin",
        ahead: float = 0.0,
        drift_ppm: float = 0.0,
    ) -> None:
        """`switched_on` [UTC s] is running 0; then the clock is `ahead` [s] of it, and gains `drift_ppm`.

        `zone` is the map's word on what it shows, `site` the zone of a meter that follows the site's clocks.
        """
        self.switched_on = switched_on
        self.rate = 1 + drift_ppm / 1e6
        self._zone = Zone() if zone is None else zone
        self._site = ZoneInfo(site)
        self._since = [-math.inf]
        self._ahead = [ahead]

    def crystal(self, seconds: float) -> float:
        """True seconds in which the meter counts `seconds`."""
        return seconds / self.rate

    def step(self, seconds: float, running: float) -> None:
        """Put the clock forward (or back) by `seconds` from `running` on."""
        place = int(np.searchsorted(self._since, running, side="right"))
        before = self._ahead[place - 1]
        self._since.insert(place, running)
        self._ahead.insert(place, before)
        for later in range(place, len(self._ahead)):
            self._ahead[later] += seconds

    def set_figures(self, figures_ms: float, running: float) -> None:
        """Set what it shows; the figures of an hour that its zone skips or has twice count as the first."""
        shown = _EPOCH + timedelta(milliseconds=figures_ms)
        offset = self._zone.offset_s
        if offset is None:
            local = shown.replace(tzinfo=self._site).utcoffset()
            offset = 0 if local is None else round(local.total_seconds())
        self.step(figures_ms / 1000 - offset - self.utc(np.array([running]))[0], running)

    def set_right(self, running: float) -> None:
        """Set it to what it would show had nobody ever set it: right but for its start and its drift."""
        before = self._ahead[int(np.searchsorted(self._since, running, side="right")) - 1]
        self.step(self._ahead[0] - before, running)

    def utc(self, running: Seconds) -> Seconds:
        """What the clock takes for UTC [s]."""
        ahead = np.array(self._ahead)[np.searchsorted(self._since, running, side="right") - 1]
        return np.asarray(self.switched_on + running * self.rate + ahead)

    def figures_ms(self, running: Seconds) -> Milliseconds:
        """What it shows, as ms from 1970-01-01T00:00 to the figures on its display."""
        utc = self.utc(running)
        return np.rint(1000 * (utc + self._offsets(utc))).astype(np.int64)

    def figures(self, running: float) -> datetime:
        """What it shows at one moment, its figures written as if they were UTC."""
        shown = self.figures_ms(np.array([running]))[0]
        return _EPOCH + timedelta(milliseconds=int(shown))

    def running_at(self, utc: float) -> float:
        """The running second of a true moment [UTC s]."""
        return utc - self.switched_on

    def _offsets(self, utc: Seconds) -> Seconds:
        """Seconds that the figures are ahead of UTC."""
        fixed = self._zone.offset_s
        if fixed is not None:
            return np.full(len(utc), float(fixed))
        quarters, which = np.unique(np.floor(utc / _QUARTER).astype(np.int64), return_inverse=True)
        hours = [self._offset_at(int(quarter) * _QUARTER) for quarter in quarters]
        return np.array(hours, np.float64)[which]

    def _offset_at(self, utc: int) -> float:
        found = (_EPOCH + timedelta(seconds=utc)).astimezone(self._site).utcoffset()
        return 0.0 if found is None else found.total_seconds()
