"""What the writer of an archive must know of its ledger, gathered in one walk as it is opened."""

from storage.archive.files import Inventory, follow
from storage.ledger import Kind, Line
from storage.logbook.inbox import entry_id


class Opening:
    """What is kept of the ledger's lines as an archive is opened; they are too many to hold after years."""

    def __init__(self) -> None:
        self.inventory = Inventory()
        self.entered: set[str] = set()
        self.last_run: Line | None = None

    def see(self, line: Line) -> None:
        """One line, in order."""
        follow(line, self.inventory)
        if identity := entry_id(line):
            self.entered.add(identity)
        if line.kind in (Kind.STARTED, Kind.STOPPED):
            self.last_run = line
