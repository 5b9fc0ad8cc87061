"""A register map from its text: every fault at once, by line and column, or the model.

>>> parsed = parse_map(b"register_map: 1\\nmeter: Example\\nreadings: {flow: {input: 16}}\\n", "m.yaml")
>>> print(parsed.faults[0])
m.yaml:3:18: an input register needs a type; one of int16, uint16, …
"""

import hashlib
from dataclasses import dataclass

from protocols.register_map import grammar as g
from protocols.register_map.build.memory import build_memory
from protocols.register_map.build.numbers import Building, Built, build_serial, build_wire
from protocols.register_map.build.values import build_value
from protocols.register_map.checks.hints import hint_at, hint_at_identity, hint_at_names, hint_at_setting
from protocols.register_map.checks.known_names import IDENTITY, SETTINGS, hint_at_known_names
from protocols.register_map.checks.layout import check_overlaps, check_reach, listed
from protocols.register_map.checks.line_hints import hint_at_line, hint_at_wire
from protocols.register_map.checks.memory import check_memory
from protocols.register_map.checks.references import resolve
from protocols.register_map.checks.values import check_value
from protocols.register_map.document import compose
from protocols.register_map.faults import Fault, Report
from protocols.register_map.forms import Entries, Key
from protocols.register_map.grammar.values import FIELD_MEANINGS
from protocols.register_map.kinds import of_another_kind
from protocols.register_map.model import RegisterMap, Wire


@dataclass(frozen=True, slots=True)
class Parsed:
    """The map, or None where a fault worse than a warning was found; faults by position."""

    map: RegisterMap | None
    faults: tuple[Fault, ...]


def parse_map(data: bytes, file: str) -> Parsed:
    """The map in `data`, the bytes of a file named `file` in faults. Never raises for what `data` holds."""
    report = Report(file)
    root = compose(data, report)
    entries = (
        None if root is None or of_another_kind(root, "register_map", report) else g.MAP.read(root, report)
    )
    found = None if entries is None else _build(entries, data, report)
    return Parsed(None if report.faulty else found, report.faults())


def _build(entries: Entries, data: bytes, report: Report) -> RegisterMap:
    building = Building(report)
    serial = build_serial(entries.get(g.SERIAL))
    wire = build_wire(entries.get(g.WIRE), building)
    hint_at_line(entries.get(g.SERIAL), serial, report)
    hint_at_wire(entries.get(g.WIRE), wire, report)
    sections = [_build_section(entries, key, building) for key in (g.READINGS, g.SETTINGS, g.IDENTITY)]
    readings, settings, identity = sections
    fluid, principle = entries.get(g.FLUID), entries.get(g.PRINCIPLE)
    for built in readings:
        hint_at(built, fluid, principle, report)
    for built in settings:
        hint_at_setting(built, wire, report)
    for built in identity:
        hint_at_identity(built, report)
    hint_at_names(readings, report)
    hint_at_known_names(settings, SETTINGS, report)
    hint_at_known_names(identity, IDENTITY, report)
    _check([built for section in sections for built in section], wire, report)
    memory_entries = entries.get(g.LOG_MEMORY)
    memory = None if memory_entries is None else build_memory(memory_entries, building)
    if memory is not None:
        check_memory(memory, wire, settings, building.bytes_per_register, report)
        for built in memory.record:
            if built.value.name not in FIELD_MEANINGS:
                hint_at(built, fluid, principle, report)
    fields = () if memory is None else memory.values()
    names = frozenset(entries.get(g.READINGS) or (built.value.name for built in fields))
    everything = [*readings, *settings, *identity]
    resolved = resolve([*everything, *fields], names, report)
    after = len(readings), len(readings) + len(settings)
    return RegisterMap(
        meter=entries.get(g.METER) or "",
        map_version=entries.get(g.MAP_VERSION),
        fluid=fluid,
        principle=principle,
        serial=serial,
        wire=wire,
        readings=tuple(resolved[: after[0]]),
        settings=tuple(resolved[after[0] : after[1]]),
        identity=tuple(resolved[after[1] : len(everything)]),
        text=data.decode("utf-8"),
        sha256=hashlib.sha256(data).hexdigest(),
        log_memory=None if memory is None else memory.resolved(resolved[len(everything) :]),
    )


def _build_section(entries: Entries, key: Key[g.Section], building: Building) -> list[Built]:
    section = entries.get(key) or {}
    found = [build_value(name, its, building) for name, its in section.values()]
    return [built for built in found if built is not None]


def _check(values: list[Built], wire: Wire, report: Report) -> None:
    spoken_of = listed(values)
    for built in values:
        check_value(built, report)
        check_reach(built, wire, spoken_of, report)
    check_overlaps(values, report)
