"""What an intent in the journal promises, done to its end; after a crash as well as the first time.

An intent is committed when its new files lie flushed in `temporary/`. From there every step can be done
again: the rename, the ledger's line, then for rows from the journal their cut, or for files that were
replaced their way to `superseded/`, and the intent's own end.
"""

import hashlib
import json
from pathlib import Path

from storage.archive import layout
from storage.archive.files import Inventory, follow
from storage.durable import Disk
from storage.errors import DiskFull
from storage.journal import Intent, Journal
from storage.ledger import Kind, Ledger
from storage.reserve import Reserve


class Finisher:
    """Carries intents out. Not for two threads at once: the archive's lock around sealing is held."""

    def __init__(
        self, root: Path, disk: Disk, journal: Journal, ledger: Ledger, reserve: Reserve, known: Inventory
    ) -> None:
        """`known` is what the ledger's lines add up to so far; it is followed from here."""
        self._root = root
        self._disk = disk
        self._journal = journal
        self._ledger = ledger
        self._reserve = reserve
        self._known = known

    def carry_out(self, intent: Intent) -> None:
        """Everything behind a fresh intent. A disk that fills meanwhile gets the reserve, once."""
        try:
            self._forward(intent)
        except DiskFull:
            if not self._reserve.release():
                raise
            self._finish(intent, self.told())

    def finish_all(self) -> bool:
        """Take every intent forward where its bytes are whole, back where they are not; True if any was."""
        intents = self._journal.intents()
        found = self.told() if intents else None
        for intent in intents:
            assert found is not None
            self._finish(intent, found)
        return bool(intents)

    def told(self) -> Inventory:
        """The live files and all columns as the ledger tells them, to be changed at will.

        The ledger's lines are followed as they are written, so that a day's merging costs no more in the
        tenth year than in the first; one that it failed to flush and will write over is not among them.
        """
        return self._known.copy()

    def _forward(self, intent: Intent) -> None:
        for file in intent.new_files():
            self._place(file)
        self._tell(intent)
        self._end(intent)

    def _finish(self, intent: Intent, found: Inventory) -> None:
        new = intent.new_files()
        told = all(file in found.live and found.live[file].sha256 == new[file] for file in new)
        at_name = {file: _holds(self._root / file, new[file]) for file in new}
        whole = all(at_name[file] or _holds(self._aside(file), new[file]) for file in new)
        if told and not whole:
            return  # damaged after it was told: what the journal holds is kept, verify names the file
        if not whole:
            self._undo(intent, [file for file in new if at_name[file]])
            return
        for file in new:
            if at_name[file]:
                self._disk.sync_folder((self._root / file).parent)
            else:
                self._place(file)
        if not told:
            self._tell(intent)
        self._end(intent)

    def _undo(self, intent: Intent, placed: list[str]) -> None:
        """The new files were not all there, and the ledger knows none of them: what was holds on."""
        for file in placed:
            self._disk.remove(self._root / file, "file never told")
        self._journal.drop_intent(intent)
        self._disk.step("intent: dropped")

    def _aside(self, file: str) -> Path:
        return self._root / layout.TEMPORARY / aside_name(file)

    def _place(self, file: str) -> None:
        target = self._root / file
        self._disk.make_folder(target.parent)
        self._disk.place(self._aside(file), target, "sealed file")

    def _tell(self, intent: Intent) -> None:
        content = json.loads(intent.line)
        follow(self._ledger.append(Kind(content.pop("kind")), content), self._known)

    def _end(self, intent: Intent) -> None:
        old = intent.replaced_files()
        if not old:
            self._journal.cut(intent)
            self._disk.step("journal: cut")
            return
        for file in old:
            self._supersede(file)
        self._journal.drop_intent(intent)
        self._disk.step("intent: ended")

    def _supersede(self, file: str) -> None:
        old, kept = self._root / file, self._root / layout.superseded_name(file)
        if old.exists():
            self._disk.make_folder(kept.parent)
            self._disk.place(old, kept, "superseded file")


def aside_name(file: str) -> str:
    """How a file is called while it lies in `temporary/`; unlike its final name no reader picks it up."""
    return f"{Path(file).name}.part"


def _holds(path: Path, sha256: str) -> bool:
    """Whether a file is there with exactly these bytes."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest() == sha256
    except FileNotFoundError:
        return False
