"""`map show`: what a map says and what will be sent for it, before anything is sent."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from protocols.units import printed
from readout.cli.options import AsJson, MapFile
from readout.cli.output import columns, say, tell, tell_json
from readout.errors import WrongUse

if TYPE_CHECKING:
    from collections.abc import Sequence

    from readout.plan.listing.listing import Listing
    from readout.plan.listing.rows import Row
    from readout.poll.remembered import Known


def map_show(
    map_file: MapFile,
    *,
    unit_address: Annotated[
        int | None, typer.Option(min=1, max=247, help="Unit address, if not the map's own.")
    ] = None,
    baud: Annotated[int | None, typer.Option(min=1, help="Baud rate, if not the map's own.")] = None,
    page: Annotated[
        Path | None, typer.Option("--html", metavar="FILE.html", help="Write a page to print and tick off.")
    ] = None,
    as_json: AsJson = False,
) -> int:
    """Show every register, the block reads of a round with their exact bytes, and the time on the wire.

    Registers as the manual numbers them beside their addresses as sent, counted from 0; the order of bytes
    as letters, A the most significant; the log memory with its layout. Sends nothing. What meters were found
    to refuse is shown too; where it is of one meter only, the reads are those that it is sent.
    """
    from readout.cli.files import load_map, page_file
    from readout.measuring_point.load import factory_format
    from readout.plan.listing.listing import document, listing
    from readout.plan.refusals import Refusals
    from readout.plan.show import describe
    from readout.poll.remembered import load

    page_file(page, "--html")
    register_map = load_map(map_file)
    unit = unit_address or register_map.serial.unit_address or 1
    settings = factory_format(register_map, baud)
    meters, fault = load(map_file, register_map.sha256)
    refusals = meters[0].refusals if len(meters) == 1 else Refusals()
    found = listing(register_map, settings, unit, refusals)
    plan = describe(found.round)
    if fault:
        say(fault)
    if page is not None:
        _write(page, found, map_file.name, _refused(meters))
    if as_json:
        head = {"meter": register_map.meter, "map_sha256": register_map.sha256}
        beginning = None if found.beginning is None else describe(found.beginning)
        further = {"beginning": beginning, "learned": _learned(meters)}
        tell_json({**head, **plan, **document(found), **further})
        return 0
    say(f"{map_file}: {register_map.meter}, map version {register_map.map_version or 'not stated'}")
    say(f"line: {plan['line']}, unit address {unit}\n")
    _print(found)
    _reads("read", plan)
    tell(
        f"a round: {plan['wire_s'] * 1000:.1f} ms on the wire (the meter's turnaround is a guess), "
        f"shortest interval {plan['shortest_interval_s'] * 1000:.0f} ms"
    )
    for sentence in _refused(meters):
        tell(sentence)
    return 0


def _refused(meters: "Sequence[Known]") -> list[str]:
    """What meters of this map were found to refuse, each with the meter and the day."""
    from readout.plan.refusals import sentences

    found = []
    for known in meters:
        for refused in sentences(known.refusals):
            serial = f", serial number {known.serial}" if known.serial else ""
            day = max(one.learned_on for one in known.refusals.all)
            found.append(f"{refused}: the meter of {known.point}{serial}, learned on {day}")
    return found


def _learned(meters: "Sequence[Known]") -> list[dict[str, Any]]:
    """What meters of this map were found to refuse, in sentences."""
    from readout.plan.refusals import sentences

    return [
        {
            "point": known.point,
            "serial_number": known.serial,
            "refused": list(sentences(known.refusals)),
            "learned_on": max((one.learned_on for one in known.refusals.all), default=None),
        }
        for known in meters
    ]


def _print(found: "Listing") -> None:
    """The map's rows, its memory, and what is read once; what every round sends comes after it."""
    from readout.plan.show import describe

    for title, rows in found.groups:
        _rows(title, rows)
    memory = found.memory
    if memory is not None:
        for line in columns([("log memory", ""), *((f"  {name}", words) for name, words in memory.facts)]):
            tell(line)
        tell()
        _rows("  its registers", memory.registers)
        _rows("  a session, at", memory.session)
        _rows("  a record, at", memory.record)
    if found.beginning is not None and found.beginning.reads:
        _reads("once, when recording begins", describe(found.beginning))
        tell()


def _rows(title: str, rows: "Sequence[Row]") -> None:
    """One line for each run of registers; further parts of a value stand below it without a name."""
    if not rows:
        return
    in_record = rows[0].table is None
    head = ("at",) if in_record else ("manual", "on the wire", "function")
    table = [(title, *head, "type", "bytes", "value", "unit", "remarks")]
    for row in rows:
        place = (row.sent,) if in_record else (row.printed, row.sent, row.function)
        remarks = [
            row.part,
            f"range {row.range}" if row.range else "",
            f"at {printed(row.reference)}" if row.reference else "",
            *(map(printed, row.remarks) if row.part == "unit" else row.remarks),
        ]
        said = "; ".join(remark for remark in remarks if remark)
        table.append((f"  {row.name}", *place, row.type, row.order, row.formula, printed(row.unit), said))
    for line in columns(table):
        tell(line)
    tell()


def _reads(title: str, plan: dict[str, Any]) -> None:
    rows = [(title, "request", "reply", "on the wire")]
    for read in plan["reads"]:
        last = f"-{read['start'] + read['count'] - 1}" if read["count"] > 1 else ""
        bridged = f" ({len(read['bridged'])} in between)" if read["bridged"] else ""
        again = f" for {read['apart']}, apart" if read["apart"] else ""
        rows.append(
            (
                f"  {read['table']} {read['start']}{last}{bridged}{again}",
                read["request"],
                f"{read['reply_characters']} bytes",
                f"{read['wire_s'] * 1000:.2f} ms",
            )
        )
    for line in columns(rows, right=frozenset({2, 3})):
        tell(line)


def _write(file: Path, found: "Listing", name: str, refused: "Sequence[str]") -> None:
    from readout.clock import SystemClock, iso
    from readout.plan.listing.page import page_html

    made = f"{iso(SystemClock().utc())[:16].replace('T', ' ')} UTC"
    try:
        file.write_text(page_html(found, name, made, refused), encoding="utf-8")
    except OSError as error:
        raise WrongUse(f"--html {file}: cannot be written ({error.strerror}); is the path right?") from error
    say(f"{file}: written; print it on A4, landscape")
