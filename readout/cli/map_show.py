"""`map show`: what a map says and what will be sent for it, before anything is sent."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.options import AsJson, MapFile
from readout.cli.output import columns, say, tell, tell_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from protocols.register_map.model import Number, RegisterMap, Value
    from readout.poll.remembered import Known


def map_show(
    map_file: MapFile,
    *,
    unit_address: Annotated[
        int | None, typer.Option(min=1, max=247, help="Unit address, if not the map's own.")
    ] = None,
    baud: Annotated[int | None, typer.Option(min=1, help="Baud rate, if not the map's own.")] = None,
    as_json: AsJson = False,
) -> int:
    """Show every register, the block reads of a round with their exact bytes, and the time on the wire.

    Addresses are shown as sent, counted from 0. Sends nothing. What meters were found to refuse is shown too;
    where it is of one meter only, the reads are those that it is sent.
    """
    from readout.cli.files import load_map
    from readout.measuring_point.load import factory_format
    from readout.plan.plan import plan_round, polled_values
    from readout.plan.refusals import Refusals, sentences
    from readout.plan.show import describe
    from readout.poll.remembered import load

    register_map = load_map(map_file)
    unit = unit_address or register_map.serial.unit_address or 1
    settings = factory_format(register_map, baud)
    meters, fault = load(map_file, register_map.sha256)
    refusals = meters[0].refusals if len(meters) == 1 else Refusals()
    values = polled_values(register_map)
    plan = describe(plan_round(register_map, values, settings, unit, refusals=refusals))
    if fault:
        say(fault)
    if as_json:
        head = {"meter": register_map.meter, "map_sha256": register_map.sha256}
        tell_json({**head, **plan, "learned": _learned(meters)})
        return 0
    say(f"{map_file}: {register_map.meter}, map version {register_map.map_version or 'not stated'}")
    say(f"line: {plan['line']}, unit address {unit}\n")
    _values(register_map)
    _reads(plan)
    for known in meters:
        for refused in sentences(known.refusals):
            serial = f", serial number {known.serial}" if known.serial else ""
            day = max(one.learned_on for one in known.refusals.all)
            tell(f"{refused}: the meter of {known.point}{serial}, learned on {day}")
    return 0


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


def _values(register_map: "RegisterMap") -> None:
    """One line a value, further ones for its further parts."""
    for title, values in (
        ("readings", register_map.readings),
        ("settings", register_map.settings),
        ("identity", register_map.identity),
    ):
        if values:
            rows: list[tuple[str, ...]] = [(title, "register", "type", "value", "unit", "remarks")]
            for value in values:
                rows += _rows(value)
            for line in columns(rows):
                tell(line)
            tell()


def _rows(value: "Value") -> list[tuple[str, ...]]:
    unit = value.unit or ("told by the meter" if value.told_unit else "")
    if unit and value.gauge and not unit.endswith("(g)"):
        unit += "(g)"
    rows: list[tuple[str, ...]] = [
        (f"  {value.name}", *_part(value.number), unit, "; ".join(_remarks(value)))
    ]
    rows += [("", *_part(part), "", "added") for part in value.plus]
    if value.times_ten_to is not None:
        rows.append(("", *_part(value.times_ten_to), "", "power of ten"))
    if value.told_unit is not None:
        units = ", ".join(f"{code} = {word}" for code, word in value.told_unit.codes.items())
        rows.append(("", *_part(value.told_unit.number), "", f"unit: {units}"))
    return rows


def _part(number: "Number") -> tuple[str, str, str]:
    """Register, type and formula of one part."""
    last = number.address + number.addresses - 1
    where = f"{number.table} {number.address}" + (f"-{last}" if number.addresses > 1 else "")
    formula = "raw"
    if number.scale != 1:
        formula += f" x {number.scale}"
    if number.offset:
        formula += f" {'+' if number.offset > 0 else '-'} {abs(number.offset)}"
    orders = "" if number.words == 1 else f", {number.word_order} word" if number.words > 1 else ""
    if number.byte_order != "high first":
        orders += f", {number.byte_order} byte"
    return where, f"{number.kind}{orders}", formula


def _remarks(value: "Value") -> list[str]:
    found = []
    if value.apart:
        found.append("parts read apart")
    if value.reference is not None:
        pair = (value.reference.temperature, value.reference.pressure)
        told = [c.text or (f"{c.told.number.table} {c.told.number.address}" if c.told else "") for c in pair]
        found.append(f"at {', '.join(told)}")
    if value.basis:
        found.append(f"{value.basis} velocity")
    if value.range is not None:
        found.append(f"range {value.range.low} to {value.range.high}")
    missing = [str(n) for n in value.not_available.numbers]
    missing += [" ".join(f"{word:04X}" for word in words) for words in value.not_available.words]
    if missing:
        found.append(f"no reading: {', '.join(missing)}")
    if value.codes:
        found.append(", ".join(f"{n} = {word}" for n, word in value.codes.items()))
    if value.bits:
        found.append(", ".join(f"bit {n} = {word}" for n, word in value.bits.items()))
    if value.totaliser is not None:
        end = value.totaliser.rolls_over_at
        found.append("running total" + (f", rolls over at {end}" if end is not None else ""))
    if value.steps:
        found.append(f"only {', '.join(str(step) for step in value.steps)}")
    if value.writable:
        found.append("may be written")
    return found


def _reads(plan: dict[str, Any]) -> None:
    rows = [("read", "request", "reply", "on the wire")]
    for read in plan["reads"]:
        last = read["start"] + read["count"] - 1
        bridged = f" ({len(read['bridged'])} in between)" if read["bridged"] else ""
        again = f" for {read['apart']}, apart" if read["apart"] else ""
        rows.append(
            (
                f"  {read['table']} {read['start']}-{last}{bridged}{again}",
                read["request"],
                f"{read['reply_characters']} bytes",
                f"{read['wire_s'] * 1000:.2f} ms",
            )
        )
    for line in columns(rows, right=frozenset({2, 3})):
        tell(line)
    tell(
        f"a round: {plan['wire_s'] * 1000:.1f} ms on the wire (the meter's turnaround is a guess), "
        f"shortest interval {plan['shortest_interval_s'] * 1000:.0f} ms"
    )
