"""`memory try`: the first and last records of a meter's memory under each layout that makes sense of them."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.line_options import PortName
from readout.cli.options import AsJson, MapFile, TraceFile
from readout.cli.output import columns, counted, say, tell, tell_json
from readout.cli.trying import Asking, asking, unit_of_meter

if TYPE_CHECKING:
    from collections.abc import Sequence

    from protocols.register_map.memory_model import LogMemory
    from protocols.register_map.model import RegisterMap
    from readout.clock import Clock
    from readout.diagnose.memory.judging import Judged, Sample, Shown
    from readout.diagnose.memory.sampling import Readings


def memory_try(
    map_file: MapFile,
    port: PortName,
    *,
    unit_address: Annotated[
        int | None, typer.Option(min=1, max=247, help="Unit address, if not the map's own.")
    ] = None,
    baud: Annotated[int | None, typer.Option(min=1, help="Baud rate, if not the map's own.")] = None,
    every: Annotated[
        bool, typer.Option("--all", help="Show what makes no sense too, and why it makes none.")
    ] = False,
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Show the first, second and last record of a memory under each plausible layout, epoch and order.

    For a map that is being written. Plausible ones come first, as equals: nothing tells them apart but you.
    Writes nothing but the pointer, bank and lock that the map names for reading. Exit status 1 where no
    layout makes sense, or the map's own does not.
    """
    from readout.cli.files import load_map
    from readout.clock import SystemClock
    from readout.diagnose.memory.judging import distinct, judge
    from readout.diagnose.memory.layouts import layouts
    from readout.plan.recording import memory_of

    found = load_map(map_file)
    memory = memory_of(found.log_memory, str(map_file))
    unit = unit_of_meter(found, unit_address)
    sample, notes = _read(found, memory, port, unit, baud, SystemClock(), trace)
    judged = distinct(one for layout in layouts(memory) if (one := judge(memory, layout, sample)) is not None)
    good = [one for one in judged if one.plausible]
    for note in notes:
        say(note)
    if as_json:
        tell_json(_document(found, memory, sample, judged, notes))
    else:
        own = [one for one in judged if one.layout.is_own(memory) and not one.plausible]
        _print(memory, sample, judged if every else [*good, *own])
    say(_summing_up(good))
    return 0 if good and any(one.layout.is_own(memory) for one in good) else 1


def _read(
    found: "RegisterMap",
    memory: "LogMemory",
    port: str,
    unit: int,
    baud: int | None,
    clock: "Clock",
    trace: Path | None,
) -> "tuple[Sample, list[str]]":
    """What the meter sent, and what was odd about it."""
    from readout.diagnose.memory.sampling import Sampler

    with asking(found, port, unit, baud, clock, trace) as meter:
        readings = _readings(found, meter)
        ranges = {value.name: value.range for value in found.readings if value.range is not None}
        sampler = Sampler(memory, found.wire, meter.words, meter.why)
        sample = sampler.sample(round(clock.utc() * 1000), readings, ranges)
    return sample, sampler.notes


def _readings(found: "RegisterMap", meter: "Asking") -> "Readings":
    """Current values by name, where they are numbers, in each order that the memory is tried in."""
    from readout.diagnose.memory.layouts import ORDERS, UNIX, Layout, Turn
    from readout.plan.plan import plan_round
    from readout.poll.readings import readings_of
    from readout.poll.round import PolledPoint, poll

    if not found.readings:
        return {}
    plan = plan_round(found, found.readings, meter.format, meter.unit)
    read = poll(meter.line, PolledPoint("", meter.unit, plan, meter.manners), first_only=True)
    readings: dict[frozenset[Turn], dict[str, float | None]] = {}
    for turned in (frozenset[Turn](), *(frozenset({turn}) for turn in ORDERS), ORDERS):
        layout = Layout(turned, UNIX, 1)
        told = readings_of(plan, read, [layout.value(value) for value in found.readings])
        readings[turned] = {
            name: float(one["value"]) if isinstance(one["value"], int | float) else None
            for name, one in told.items()
        }
    return readings


def words_for(memory: "LogMemory", judged: "Judged") -> str:
    """A layout in the map's own words."""
    from readout.diagnose.memory.layouts import UNIX, Turn, orders_of

    layout, said = judged.layout, []
    words, bytes_ = orders_of(layout.memory(memory))
    for orders, name, turn in ((words, "word_order", Turn.WORDS), (bytes_, "byte_order", Turn.BYTES)):
        if len(orders) == 1:
            said.append(f"{name}: {next(iter(orders)).value}")
        elif turn in layout.turned:
            said.append(turn.value)
    if layout.epoch != UNIX:
        said.append(f"seconds since {layout.epoch} instead of {UNIX}")
    said += [turn.value for turn in (Turn.CALENDAR_BYTES, Turn.CODING) if turn in layout.turned]
    if layout.registers != memory.record.registers:
        said.append(f"record: registers: {layout.registers}")
    own = " (as the map says)" if layout.is_own(memory) else ""
    return f"{', '.join(said) or 'nothing to turn'}{own}"


def _summing_up(good: "Sequence[Judged]") -> str:
    if not good:
        return (
            "no layout makes sense of these records: look at the fields' places and types, and at where the "
            "records lie; --all shows what was tried"
        )
    if len(good) == 1:
        return "one layout makes sense"
    return f"{counted(len(good), 'layout')} make sense, and nothing here tells them apart"


def _print(memory: "LogMemory", sample: "Sample", judged: "Sequence[Judged]") -> None:
    names = [field.name for field in memory.record.values]
    units = {field.name: field.unit or "" for field in memory.record.values}
    head = ["", "record", "time by the meter's clock", *(f"{name} {units[name]}".rstrip() for name in names)]
    for one in judged:
        tell(f"{'plausible' if one.plausible else 'no sense'}: {words_for(memory, one)}")
        rows = [head]
        labels = ("first", "second", "last")
        shown = one.records
        for label, record in zip(_labels(shown, sample, labels), shown, strict=True):
            rows.append([f"  {label}", str(record.record), _time(record.time_ms), *_cells(record, names)])
        if sample.readings:
            now = [_cell(sample.now(one.layout).get(name)) for name in names]
            rows.append(["  now", "", _time(sample.now_ms) + " UTC", *now])
        for line in columns(rows, right=frozenset(range(3, len(head)))):
            tell(line)
        for fault in one.faults:
            tell(f"  {fault}")
        tell()


def _labels(shown: "Sequence[Shown]", sample: "Sample", labels: tuple[str, str, str]) -> list[str]:
    """`first`, `second` or `last`, by the record's number."""
    where = {sample.last: labels[2], sample.first + 1: labels[1], sample.first: labels[0]}
    return [where[record.record] for record in shown]


def _cells(record: "Shown", names: "Sequence[str]") -> list[str]:
    return [_cell(record.values.get(name)) for name in names]


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.6g}"
    return "–" if value is None else str(value)


def _time(milliseconds: int | None) -> str:
    from readout.clock import iso

    if milliseconds is None:
        return "–"
    return iso(milliseconds / 1000).removesuffix("Z").removesuffix(".000").replace("T", " ")


def _document(
    found: "RegisterMap",
    memory: "LogMemory",
    sample: "Sample",
    judged: "Sequence[Judged]",
    notes: "Sequence[str]",
) -> dict[str, Any]:
    """Plausible layouts first; times are the meter's own figures."""
    ordered = sorted(judged, key=lambda one: not one.plausible)
    return {
        "meter": found.meter,
        "now": _time(sample.now_ms),
        "readings": dict(sample.readings.get(frozenset(), {})),
        "notes": list(notes),
        "layouts": [
            {
                "layout": words_for(memory, one),
                "turned": sorted(turn.name.lower() for turn in one.layout.turned),
                "epoch": one.layout.epoch,
                "registers": one.layout.registers,
                "as_in_map": one.layout.is_own(memory),
                "plausible": one.plausible,
                "faults": list(one.faults),
                "records": [
                    {
                        "record": record.record,
                        "number": record.number,
                        "time": None if record.time_ms is None else _time(record.time_ms),
                        "values": {name: _plain(value) for name, value in record.values.items()},
                    }
                    for record in one.records
                ],
            }
            for one in ordered
        ],
    }


def _plain(value: Any) -> Any:
    return value if isinstance(value, int | float | str | bool) or value is None else str(value)
