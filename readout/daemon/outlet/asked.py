"""What the process beside the recorder is asked for, and what the two say to each other.

To it, pickled one after the other on its stdin: an `Asked`, then `Begin` and `Took`; the end of stdin is its
end. From it, a line of JSON each on its stdout: `ready`, `refused` or `say`.
"""

from dataclasses import dataclass
from pathlib import Path

from readout.daemon.broker.address import BrokerAddress
from readout.daemon.page.address import Listen
from readout.daemon.points import PointToRecord
from storage.journal import Row


@dataclass(frozen=True, slots=True)
class Asked:
    """Of one archive."""

    archive: Path
    page: Listen | None = None
    broker: BrokerAddress | None = None

    @property
    def what(self) -> str:
        """For sentences: what the process is there for."""
        return "the broker" if self.page is None else "the page"


@dataclass(frozen=True, slots=True)
class Begin:
    """A run of the recorder begins with these points."""

    points: tuple[PointToRecord, ...]


@dataclass(frozen=True, slots=True)
class Took:
    """Rows have become durable."""

    rows: tuple[Row, ...]
