"""A measuring point from its file, and from the job file it names: every fault of both at once."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from protocols.register_map.document import Node, compose
from protocols.register_map.faults import Fault, Report, Spot
from protocols.register_map.forms import Entries, Key
from protocols.register_map.kinds import of_another_kind
from readout.measuring_point import build
from readout.measuring_point import grammar as k
from readout.measuring_point.checks.conditions import check_conditions, check_temperature
from readout.measuring_point.checks.pipe import check_pipe
from readout.measuring_point.checks.uncertainty import check_uncertainty
from readout.measuring_point.model import MeasuringPoint
from readout.sentence import Sentence

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class ParsedPoint:
    """The point, or None where a fault worse than a warning was found; the point file's faults first."""

    point: MeasuringPoint | None
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class Files:
    """A point file and its job as read: reports of both, and where keys stand."""

    path: Path
    own: Report
    entries: Entries | None
    job: Report | None = None
    job_entries: Entries | None = None
    text: str = ""
    job_text: str | None = None

    @property
    def reports(self) -> tuple[Report, ...]:
        """The reports there are, the point file's first."""
        return (self.own,) if self.job is None else (self.own, self.job)

    def get(self, key: Key[T]) -> T | None:
        """A shared key: the point's, else the job's."""
        if self.entries is None or self.entries.has(key):
            return None if self.entries is None else self.entries.get(key)
        return None if self.job_entries is None else self.job_entries.get(key)

    def place(self, key: Key[T]) -> tuple[Report, Node | Spot]:
        """Where a shared key stands; the top of the point file where neither file has it."""
        shared = self.job_entries
        own = self.entries is not None and self.entries.has(key)
        if not own and self.job is not None and shared is not None and shared.has(key):
            return self.job, shared.at(key)
        return self.own, Spot(1, 1) if self.entries is None else self.entries.at(key)

    def is_said(self, key: Key[T]) -> bool:
        """True where either file has the key, or the job could not be read and might."""
        if self.entries is None or self.entries.has(key):
            return True
        unread = self.entries.has(k.JOB) and self.job_entries is None
        return unread or (self.job_entries is not None and self.job_entries.has(key))


#: What stands where a point file is wanted, and is a port: `socket://host` (a path keeps one slash of two).
_PORT = re.compile(r"[a-z][a-z0-9+]+:/|/dev/|COM\d", re.IGNORECASE)
_PORT_HINT = "that is a port, and a point file is wanted, which names its port under `line`"


def parse_point(path: Path) -> ParsedPoint:
    """The measuring point in the file `path`; a file that cannot be read is a fault like any other."""
    files, point = read_point(path)
    return ParsedPoint(point, tuple(fault for report in files.reports for fault in report.faults()))


def read_point(path: Path) -> tuple[Files, MeasuringPoint | None]:
    """The point with the files it came from, for what checks further."""
    own = Report(str(path))
    data = read_file(path, own, Spot(1, 1), hint=_PORT_HINT if _PORT.match(str(path)) else "see the path")
    if data is None:
        return Files(path, own, None), None
    root = compose(data, own)
    wrong = root is None or of_another_kind(root, "measuring_point", own)
    entries = None if root is None or wrong else k.POINT.read(root, own)
    job, job_entries, job_text = (None, None, None) if entries is None else _read_job(path, entries, own)
    text = data.decode("utf-8", errors="replace")
    files = Files(path, own, entries, job, job_entries, text, job_text)
    return files, checked(files)


def checked(files: Files) -> MeasuringPoint | None:
    """The point that the entries say, after the checks across keys; None where any report has a fault."""
    point = None if files.entries is None else _build(files, files.entries)
    return None if any(report.faulty for report in files.reports) else point


def read_file(
    path: Path, report: Report, place: Node | Spot, *, hint: str = "a path is relative to the point file"
) -> bytes | None:
    """The bytes of a file; what keeps it from being read is told at `place`, with a `hint`."""
    try:
        return path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a path with a null byte
        why = getattr(error, "strerror", None) or str(error)
        report.fault(place, f"{path} cannot be read: {why.lower()}; {hint}")
        return None


def _read_job(path: Path, entries: Entries, own: Report) -> tuple[Report | None, Entries | None, str | None]:
    name = entries.get(k.JOB)
    if name is None:
        return None, None, None
    job_path = path.parent / name
    data = read_file(job_path, own, entries.at(k.JOB))
    if data is None:
        return None, None, None
    job = Report(str(job_path))
    root = compose(data, job)
    wrong = root is None or of_another_kind(root, "job", job)
    found = None if root is None or wrong else k.JOB_FILE.read(root, job)
    return job, found, data.decode("utf-8", errors="replace")


def _build(files: Files, entries: Entries) -> MeasuringPoint | None:
    for key, means in ((k.SITE, "name and time_zone"), (k.LINE, "port")):
        if not files.is_said(key):
            files.own.fault(
                entries.node,
                Sentence(
                    "the measuring point lacks the key '{key}' ({means}); give it here or in a job file",
                    key=key.name,
                    means=means,
                ),
            )
    pipe = build.build_pipe(entries.get(k.PIPE))
    check_pipe(entries.get(k.PIPE), files.own)
    check_conditions(files.get(k.CONDITIONS), files.get(k.SITE), files.place(k.CONDITIONS)[0])
    check_temperature(files.get(k.REFERENCE), k.REFERENCE_TEMPERATURE, files.place(k.REFERENCE)[0])
    check_uncertainty(files.get(k.UNCERTAINTY), files.place(k.UNCERTAINTY)[0])
    name, site = entries.get(k.NAME), build.build_site(files.get(k.SITE))
    meter, line = build.build_meter(entries.get(k.METER)), build.build_line(files.get(k.LINE))
    if name is None or site is None or meter is None or line is None:
        return None
    return MeasuringPoint(
        name=name, site=site, meter=meter, line=line, role=entries.get(k.ROLE),
        customer=files.get(k.CUSTOMER), order=files.get(k.ORDER), aim=files.get(k.AIM),
        units=build.build_units(files.get(k.UNITS)),
        calendar=build.build_calendar(files.get(k.CALENDAR)),
        energy=build.build_energy(files.get(k.ENERGY)),
        pipe=pipe,
        conditions=build.build_conditions(files.get(k.CONDITIONS)),
        reference=build.build_reference(files.get(k.REFERENCE)),
        uncertainty=build.build_uncertainty(files.get(k.UNCERTAINTY)),
        record_every=build.build_every(files.get(k.RECORD)),
        text=files.text, job_text=files.job_text,
    )  # fmt: skip
