"""What an archive's own files say of a point: site, calendar, energy, pipe, readings with their units.

Taken from the metadata of sealed files, or of rows that still wait in the journal: an archive is understood
without the point file it was made with.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from protocols.register_map.checks.kinds import begins_again_at
from protocols.register_map.document import compose
from protocols.register_map.faults import Report
from protocols.register_map.model import Kind, RegisterMap, Value
from protocols.units import Dimension, unit_of
from readout.measuring_point import build
from readout.measuring_point import grammar as k
from readout.measuring_point.model import (
    Conditions,
    Energy,
    MeasuringPoint,
    Pipe,
    WorkCalendar,
)
from readout.measuring_point.point import Files, checked
from readout.sealing.merge import entries_of, runs_of
from readout.sealing.record import Record
from readout.sealing.table import map_of, schema_of

LIVE, MEMORY = "live", "memory"
_NO_NUMBERS = frozenset({Kind.TEXT, Kind.UNIX_TIME, Kind.CALENDAR, Kind.CRC16, Kind.BIT})


@dataclass(frozen=True, slots=True)
class ReadingInfo:
    """A reading as kept: `unit` as in the rows (a pressure's with (g) where the map says gauge).

    `reference` are temperature and pressure of a reference volume as text, None where the map states none.
    """

    name: str
    unit: str | None
    reference: str | None = None
    quantity: str | None = None
    totaliser: bool = False
    rolls_over_at: float | None = None

    @property
    def dimension(self) -> Dimension | None:
        """What it measures, by its unit; None for a number without one."""
        unit = unit_of(plain_unit(self.unit)) if self.unit else None
        return None if unit is None else unit.dimension


@dataclass(frozen=True, slots=True)
class Installation:
    """One point as its rows were measured.

    `readings` are its numbers, `states` the names of those that are words (codes, bits), `order` the names
    of all by the map. `settings` are the meter's own, name → {value, unit}.
    """

    point: str
    source: str
    site: str
    zone: ZoneInfo
    meter: str
    principle: str | None
    serial_number: str | None
    map_sha256: str
    map_text: str
    readings: Mapping[str, ReadingInfo]
    states: frozenset[str]
    order: tuple[str, ...]
    settings: Mapping[str, Any]
    units: Mapping[str, str]
    role: str | None = None
    calendar: WorkCalendar | None = None
    energy: Energy | None = None
    measuring_point: MeasuringPoint | None = None
    kept: Files | None = None  # the point and job file as they were read when rows were measured

    @property
    def pipe(self) -> Pipe | None:
        """The pipe as the point file said it."""
        return None if self.measuring_point is None else self.measuring_point.pipe

    @property
    def conditions(self) -> Conditions | None:
        """What was expected in the pipe."""
        return None if self.measuring_point is None else self.measuring_point.conditions

    def first_of(self, dimension: Dimension) -> ReadingInfo | None:
        """The first reading of that dimension that is no totaliser."""
        return next(
            (one for one in self.readings.values() if one.dimension is dimension and not one.totaliser), None
        )

    @property
    def flow(self) -> ReadingInfo | None:
        """The flow that is summed up: the first volume flow, else the first mass flow."""
        return self.first_of(Dimension.VOLUME_FLOW) or self.first_of(Dimension.MASS_FLOW)

    @property
    def pressure(self) -> ReadingInfo | None:
        """The first pressure."""
        return self.first_of(Dimension.PRESSURE)

    @property
    def totaliser(self) -> ReadingInfo | None:
        """The meter's own total."""
        return next((one for one in self.readings.values() if one.totaliser), None)

    def shown_unit(self, reading: ReadingInfo) -> str | None:
        """The unit the customer wants to see, by the job's `units`; else the rows' own."""
        dimension = reading.dimension
        for word in () if dimension is None or reading.totaliser else self.units.values():
            unit = unit_of(plain_unit(word))
            if unit is not None and unit.dimension is dimension and not _hides(word, reading.unit):
                return word
        return reading.unit


def _hides(wanted: str, kept: str | None) -> bool:
    """Whether a conversion would change gauge to absolute, or pass over hidden reference conditions."""
    one, other = unit_of(plain_unit(wanted)), unit_of(plain_unit(kept or ""))
    if one is None or other is None or one.conditional or other.conditional:
        return True
    return one.dimension is Dimension.PRESSURE and wanted[-3:] != (kept or "")[-3:]


def plain_unit(word: str) -> str:
    """`bar(g)` without its (g)."""
    return word.removesuffix("(g)").removesuffix("(a)").strip()


def from_record(record: Record) -> Installation:
    """As the journal keeps it beside rows that wait."""
    fields = {}
    if record.source == LIVE:
        fields = {field.name: _texts(field.metadata) for field in schema_of(record)}
    return _installation(
        record.name, record.source, record.point, record.meter, record.settings, record.map_text,
        record.map_sha256, fields,
    )  # fmt: skip


def from_file(path: Path, point: str, source: str) -> Installation | None:
    """As a sealed file tells of its last rows; None for a file that tells nothing.

    Raises OSError or ArrowException.
    """
    _, runs = runs_in(path, point, source, last_only=True)
    return runs[-1][1] if runs else None


def runs_in(
    path: Path, point: str, source: str, *, last_only: bool = False
) -> tuple[frozenset[str], list[tuple[Mapping[str, Any], Installation]]]:
    """A sealed file's columns, and of each run of its rows the metadata by name and what was true.

    One run as a rule; several where files were joined that differed. Without any: the file tells nothing.
    `last_only` leaves out all but the last. Raises OSError or ArrowException.
    """
    import pyarrow.parquet as pq

    schema = pq.read_schema(path)
    names, told = frozenset(schema.names), _texts(schema.metadata)
    if "pipeledger.map" not in told:
        return names, []
    fields = {field.name: _texts(field.metadata) for field in schema}
    runs = runs_of(entries_of({key: text for key, text in told.items() if key.startswith("pipeledger.")}))
    found = [
        _installation(
            point, source, run["point"], run["meter"] or {}, run["settings"] or {}, run["map"],
            run["map_sha256"], fields,
        )
        for run in (runs[-1:] if last_only else runs)
    ]  # fmt: skip
    return names, list(zip(runs[-len(found) :], found, strict=True))


def _texts(metadata: Any) -> dict[str, str]:
    return {key.decode(): text.decode() for key, text in (metadata or {}).items()}


def _installation(
    name: str, source: str, about: Mapping[str, Any], meter: Mapping[str, Any], settings: Mapping[str, Any],
    map_text: str, sha256: str, fields: Mapping[str, Mapping[str, str]],
) -> Installation:  # fmt: skip
    found = map_of(map_text)
    identity = meter.get("identity") or {}
    values = _values(found, source)
    serial = identity.get("serial_number") or about.get("serial_number")
    return Installation(
        point=name,
        source=source,
        site=str(about.get("site") or ""),
        zone=ZoneInfo(str(about.get("time_zone") or "UTC")),
        meter=found.meter,
        principle=found.principle,
        serial_number=None if serial is None else str(serial),
        map_sha256=sha256,
        map_text=map_text,
        readings={one.name: _reading(one, fields.get(one.name, {})) for one in values if _is_number(one)},
        states=frozenset(one.name for one in values if one.codes or one.bits),
        order=tuple(one.name for one in values),
        settings=settings,
        role=about.get("role"),
        **_parsed(str(about.get("point_file") or ""), about.get("job_file")),
    )


def _values(found: RegisterMap, source: str) -> tuple[Value, ...]:
    if source == MEMORY:
        return () if found.log_memory is None else found.log_memory.record.values
    return found.readings


def _is_number(value: Value) -> bool:
    return not (value.codes or value.bits or value.number.kind in _NO_NUMBERS)


def _reading(value: Value, told: Mapping[str, str]) -> ReadingInfo:
    unit = told.get("unit") or value.unit
    if unit and value.gauge and not unit.endswith("(g)"):
        unit += "(g)"
    return ReadingInfo(
        value.name, unit, told.get("reference"), value.quantity, value.totaliser is not None,
        _rolls_over_at(value),
    )  # fmt: skip


def _rolls_over_at(value: Value) -> float | None:
    """Where a total begins again, in its unit: where the map says, or where its registers end before that."""
    told = value.totaliser.rolls_over_at if value.totaliser else None
    if told is None:
        return None
    end = begins_again_at(value)
    return float(told if end is None else min(told, end))


def _parsed(point_text: str, job_text: str | None) -> dict[str, Any]:
    """What the kept point and job files say; keys of a text that is not understood are left out."""
    own, job = Report("point file"), Report("job file")
    root = compose(point_text.encode(), own)
    entries = None if root is None else k.POINT.read(root, own)
    job_root = compose(job_text.encode(), job) if job_text else None
    job_entries = None if job_root is None else k.JOB_FILE.read(job_root, job)
    files = Files(Path("point file"), own, entries, job, job_entries)
    return {
        "units": dict(build.build_units(files.get(k.UNITS))),
        "calendar": build.build_calendar(files.get(k.CALENDAR)),
        "energy": build.build_energy(files.get(k.ENERGY)),
        "measuring_point": None if entries is None else checked(files),
        "kept": files,
    }
