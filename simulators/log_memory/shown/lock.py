"""The register that opens the memory for one port, and forgets those who leave it open."""

import math

from protocols.modbus.exceptions import ExceptionCode
from protocols.register_map.memory_model import Lock
from simulators.refused import Refused

#: A memory that nobody reads closes again after this many seconds.
LEFT_OPEN = 300.0


class LockRegister:
    """Who holds the memory. All moments are running seconds."""

    def __init__(self, lock: Lock | None) -> None:
        """`lock` None: a memory that is open to everybody, unless another master is played to hold it."""
        self._lock = lock
        self._open_until = -math.inf
        self._other_until = -math.inf

    def tell(self, now: float) -> int:
        """What the register reads."""
        assert self._lock is not None
        if now < self._other_until and self._lock.busy is not None:
            return self._lock.busy
        return self._lock.open if now < self._open_until else self._lock.close

    def take(self, told: int, now: float) -> None:
        """What becomes of a write: Refused (06) while another master holds it, (03) for any other number."""
        assert self._lock is not None
        if now < self._other_until:
            raise Refused(ExceptionCode.BUSY)
        if told not in (self._lock.open, self._lock.close):
            raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)
        self._open_until = now + LEFT_OPEN if told == self._lock.open else -math.inf

    def hold_by_other(self, until: float) -> None:
        """Another master opens the memory for itself."""
        self._other_until = until
        self._open_until = -math.inf

    def check(self, now: float) -> None:
        """Refused (06) where records cannot be read; reading them keeps the lock open."""
        if now < self._other_until or (self._lock is not None and now >= self._open_until):
            raise Refused(ExceptionCode.BUSY)
        if self._lock is not None:
            self._open_until = now + LEFT_OPEN
