"""Where a visit stands, so that one that is cut off goes on: `journal/visit-POINT.json` in the archive.

Each step is durable before the next begins. What the visit came to is a line of the ledger (a note whose
key `visit` holds the whole record); the file is removed after it.
"""

import hashlib
import json
import secrets
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from readout.errors import WrongUse
from readout.visit.answers import Visit
from readout.visit.verdict import Check
from storage.durable import Disk
from storage.ledger import LEDGER, Kind, Line, lines_of
from storage.logbook.entering import Entered, enter

#: Format of the file.
VERSION = 1


@dataclass(frozen=True)
class Standing:
    """One visit so far. `files` is the digest of point, job and map; `steps` by the check's name."""

    id: str
    visit: str
    point: str
    started: str  # ISO 8601, UTC
    files: str
    steps: Mapping[str, Mapping[str, Any]]

    def with_step(self, name: str, check: Check, at: str) -> "Standing":
        """The same with this step as it has just ended."""
        step = {
            "verdict": check.verdict.value, "reason": check.reason, "advice": check.advice, "at": at,
            "found": dict(check.found),
        }  # fmt: skip
        return replace(self, steps={**self.steps, name: step})


def new_standing(visit: Visit, point: str, files: str, started: str) -> Standing:
    """A visit that begins."""
    return Standing(secrets.token_hex(8), visit.value, point, started, files, {})


def digest_of(*texts: str | None) -> str:
    """SHA-256 over the texts of point, job and map."""
    return hashlib.sha256("\0".join(text or "" for text in texts).encode()).hexdigest()


@dataclass(frozen=True)
class VisitFile:
    """The file of a point's visit in an archive."""

    root: Path
    point: str

    @property
    def path(self) -> Path:
        """`journal/visit-POINT.json`."""
        return self.root / "journal" / f"visit-{self.point}.json"

    def load(self) -> Standing | None:
        """The visit that was begun; None where there is none; WrongUse where it cannot be read."""
        try:
            told = json.loads(self.path.read_bytes())
            if told.pop("version") != VERSION:
                raise ValueError(VERSION)
            return Standing(**told)
        except FileNotFoundError:
            return None
        except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
            raise WrongUse(
                f"{self.path} cannot be read as a visit; move it away and the visit begins anew."
            ) from error

    def save(self, standing: Standing) -> None:
        """Durable when this returns."""
        text = json.dumps({"version": VERSION, **asdict(standing)}, ensure_ascii=False, allow_nan=False)
        Disk(self.path.parent).write_file(self.path, text.encode(), "visit")

    def remove(self) -> None:
        """The visit is over, and its record in the ledger."""
        self.path.unlink(missing_ok=True)


def visit_lines(root: Path, point: str) -> list[Line]:
    """The ledger's lines that say what visits to a point came to, oldest first."""
    notes = lines_of(root / LEDGER, Kind.NOTE)
    return [line for line in notes if line.content.get("point") == point and _record(line).get("verdict")]


def last_go(root: Path, point: str) -> Mapping[str, Any] | None:
    """The record of the last visit that ended well, with its ledger line as `ledger`; None: there is none."""
    for line in reversed(visit_lines(root, point)):
        record = _record(line)
        if record["verdict"] == "go":
            return {**record, "ledger": {"n": line.n, "hash": line.hash, "time": line.time}}
    return None


def keep_once(root: Path, content: Mapping[str, Any], identity: Mapping[str, Any]) -> Entered:
    """A note whose `visit` holds `identity`; not a second one where the ledger has one with the same."""
    for line in reversed(list(lines_of(root / LEDGER, Kind.NOTE))):
        if identity.items() <= _record(line).items():
            return Entered(str(line.content.get("id", "")), line)
    return enter(root, Kind.NOTE, content)


def _record(line: Line) -> Mapping[str, Any]:
    found = line.content.get("visit")
    return found if isinstance(found, Mapping) else {}
