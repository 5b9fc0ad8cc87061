"""Six invented days of a header and its branch with a bit of everything, for a whole page of the report.

Loaded by conftest as the fixture `german_week`. Constructed: the header's flow is 20 m3/h out of hours and
60 m3/h in shifts, 30 m3/h out of hours from day 4; 90 m3/h while the pressure is low. Names that a user gives
are German here.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType

from protocols.units import quantity_of
from readout.bus.outcome import Status
from readout.clock import iso
from readout.report.content.evidence import SealedRows
from readout.report.page import Extras
from readout.review.marks.results import Inputs
from readout.review.review import Asked, Review, review
from readout.sealing.record import Record
from storage.archive import Archive
from storage.ledger import Kind

HEADER, BRANCH = "hauptleitung", "abzweig"
MAP = """\
register_map: 1
meter: Sonde Hollow Mere
principle: thermal
fluid: compressed air
serial: {unit_address: 12}
readings:
  durchfluss:
    {input: 0, type: float32, unit: m3/h, range: [0, 200],
     reference: {temperature: 20.5 degC, pressure: 1 bar(a)}}
  druck: {input: 2, type: uint16, scale: 0.001, unit: bar, gauge: true, not_available: [65535]}
  zaehler: {input: 3, type: uint32, scale: 0.1, unit: m3, totaliser: {rolls_over_at: 100000}}
"""
PIPE = """\
  inside_diameter: 53.1 mm
  wall_thickness: 3.6 mm
  diameter_set_in_meter: 53.1 mm
  diameter_from: measured
  probe:
    {position: centre, stem_diameter: 10 mm, fitting_height: 60 mm, sensor_to_tip: 8 mm, stem_length: 400 mm}
  inlet_run: {length: 0.4 m, after: two elbows out of plane}
  outlet_run: {length: 2 m}
"""
TOLD = """\
conditions: {fluid: air, pressure: 7 bar(g), temperature: 25.5 degC}
reference: {temperature: 20.5 degC, pressure: 1 bar(a)}
uncertainty: {velocity: {of_reading: 2.5 %}, inside_diameter: 0.2 mm}
"""
FILE = """\
measuring_point: 1
name: NAME
job: auftrag.yaml
role: ROLE
meter: {map: sonde.yaml, serial_number: HM-0042}
line: {port: COM7}
pipe:
PIPE
"""


#: As the recorder keeps them: a reference that the meter tells goes by its register.
SETTINGS = {
    "damping": {"value": 2.5, "unit": "s"},
    "reference_pressure at holding 21": {"value": 1000.0, "unit": "mbar"},
}


@dataclass(frozen=True)
class _Week:
    """When what happens [ms since 1970 UTC]: six days from a Thursday, a row every two minutes."""

    begin: int
    day: int = 86_400_000
    step: int = 120_000

    @property
    def dues(self) -> list[int]:
        """Of all rows, besides a hole of two hours on day 3 and one of six minutes on day 4."""
        holes = [range(self.at(2), self.at(2) + 7_200_000), range(self.at(3), self.at(3) + 360_000)]
        return [due for due in range(self.begin, self.at(6), self.step) if not any(due in h for h in holes)]

    @property
    def lost(self) -> dict[int, str]:
        """Due times of rows without a reply, one for each way in which a round can fail."""
        failed = [one.value for one in Status if one not in (Status.OK, Status.PARTIAL)]
        return {self.at(1) + n * 3_600_000: status for n, status in enumerate(failed)}

    @property
    def leak(self) -> range:
        """In which everything is shut off."""
        return range(self.at(5) + 3_600_000, self.at(5) + 7_200_000)

    def at(self, days: int) -> int:
        """When a day begins, counted from 0."""
        return self.begin + days * self.day

    def row(self, due: int) -> tuple[float | None, int | None, int]:
        """Flow, pressure [mbar], tenths of a m3."""
        minute, number = (due - self.begin) // 60_000 % 1440, (due - self.begin) // self.step
        works = (due - self.begin) // self.day not in (2, 3)
        flow = 60.0 if works and 360 <= minute < 1320 else 30.0 if due >= self.at(3) else 20.0
        pressure = 7000 - minute % 7 * 10
        if due in self.leak:  # a compressor that loads for 4 of 12 minutes, and a pressure that falls
            flow, pressure = (90.0 if number % 6 < 2 else 0.5), 7000 - 20 * (number % 30) - number % 3
        if 600 <= minute < 620 and works:
            flow, pressure = 90.0, 6100
        special = {5: (float("nan"), 7000), 6: (250.0, 7000), 7: (30.5, 65535)}
        return (*special.get(number, (flow, pressure)), number * 7)


def reviews(hall: ModuleType, root: Path) -> list[Review]:
    """Two points, a header and a branch, and the header's memory, of an archive that is filled here."""
    week = _Week(hall.ms("2026-05-07T00:00+01:00"))
    job = hall.JOB.replace("2026-05-04", "2026-05-12")
    weak = job.replace("specific_power: 6.4", "specific_power: 3.5").replace("package", "motor")
    oddly = "  standard: EN 10255 medium DN 50\n  probe: {sensor_to_tip: 40 mm, stem_diameter: 12.5 mm}\n"

    def made(name: str, role: str, pipe: str, more: str, job: str) -> Record:
        file = FILE.replace("ROLE", role).replace("PIPE\n", pipe) + more
        found: Record = hall.record(week.step, point=name, map_text=MAP, job=job, file=file)
        return replace(found, point={**found.point, "role": role})

    first = made(HEADER, "header flow", PIPE, TOLD, job)
    other = replace(first, settings=SETTINGS)
    branch = made(BRANCH, "branch flow", oddly, "", weak)
    with Archive.open(root) as archive:
        archive.ledger.append(Kind.STARTED, {"points": {HEADER: None, BRANCH: None}})
        good = [due for due in week.dues if due not in week.lost]
        turn = sum(due < week.at(3) for due in good)
        hall.fill(archive, first, good[:turn], week.row)
        hall.fill(archive, other, good[turn:-50], week.row)
        hall.fill(archive, other, good[-50:], week.row, clock="unsynchronised")
        for due, status in week.lost.items():
            hall.fill(archive, first, [due], lambda _: (None, None, None), status=status)
        hall.fill(archive, other, [good[-1] + week.step], week.row, clock="unset")
        dues = range(week.begin, week.at(2), week.step)
        hall.fill(archive, branch, dues, lambda due: (10.0 + due // week.step % 3, 6900, 1))
        hall.seal(archive, week.at(7))
        for kind, content in _entries(week):
            archive.ledger.append(kind, {"point": HEADER, **content})
    times = range(week.begin, week.at(1), 300_000)
    about = {"holds": "mean", "marked_at": "end", "point": HEADER, "map_text": MAP, "reading": "durchfluss"}
    hall.memory(root, times, [19.5] * len(times), 300_000, **about)
    wanted = quantity_of("6.5 bar(g)")
    assert not isinstance(wanted, str)
    found = [
        review(root, HEADER, "live", Asked(required=wanted)), review(root, BRANCH, "live"),
        review(root, HEADER, "memory"),
    ]  # fmt: skip
    return [one for one in found if one is not None]


def _entries(week: _Week) -> Iterator[tuple[Kind, dict[str, object]]]:
    """Notes, marks and amendments of the ledger."""
    yield Kind.NOTE, {"at": _iso(week.at(1)), "text": "Filter gewechselt"}
    yield Kind.NOTE, {"at": _iso(week.at(4)), "text": "Halle 2 zu"}
    yield Kind.EVENT, {"at": _iso(week.at(2)), "what": "port lost", "text": "told in English in the ledger"}
    yield Kind.MARK, {"name": "leak test", "from": _iso(week.leak.start), "until": _iso(week.leak.stop)}
    yield Kind.MARK, {"name": "before", "from": _iso(week.begin), "until": _iso(week.at(3))}
    yield Kind.MARK, {"name": "after", "from": _iso(week.at(3)), "until": _iso(week.at(6))}
    bore = {"set": {"pipe.inside_diameter": "54.5 mm"}, "was": {"pipe.inside_diameter": "53.1 mm"}}
    factor = {"flow_factor": 1.0534, "computed_with_mm": 53.1, "why": "nachgemessen"}
    yield Kind.POINT, {"from": _iso(week.begin), **bore, **factor}
    price = {"set": {"energy.price": "0.3 EUR/kWh"}, "was": {"energy.price": "0.25 EUR/kWh"}}
    yield Kind.POINT, {"from": _iso(week.begin), **price}


def _iso(at: int) -> str:
    return iso(at / 1000)


def extras() -> Extras:
    """What the page is given besides: of leak tests, and more files than it names."""
    volume, output = quantity_of("12.5 m3"), quantity_of("90 m3/h")
    assert not isinstance(volume, str)
    assert not isinstance(output, str)
    files = [SealedRows(f"zeilen-{n}.parquet", 12345 + n, "0" * 64) for n in range(70)]
    return Extras(Inputs(volume, output), {(HEADER, "live"): files})
