"""Something that comes and goes all the time is told a few times an hour, not every time."""

from dataclasses import dataclass

#: Seconds for which tellings are counted together.
HOUR_S = 3600.0


@dataclass
class _Hour:
    since: float
    told: int = 0


class Sparing:
    """Lets `most` tellings an hour through for each key. A key belongs to one thread."""

    def __init__(self, most: int) -> None:
        self.most = most
        self._hours: dict[str, _Hour] = {}

    def left(self, key: str, monotonic: float) -> int:
        """How many tellings were left in this key's hour, this one included: 0 keeps it back, 1 is the last.

        The hour begins with its first telling [monotonic s].
        """
        hour = self._hours.get(key)
        if hour is None or monotonic - hour.since >= HOUR_S:
            hour = self._hours[key] = _Hour(monotonic)
        left = self.most - hour.told
        hour.told = min(self.most, hour.told + 1)
        return left
