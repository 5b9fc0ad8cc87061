"""`line listen`: who talks on a line; sends nothing."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from readout.cli.line_options import BaudRates, Characters, PortName, chosen_settings, opener
from readout.cli.options import AsJson, TraceFile, milliseconds
from readout.cli.output import columns, say, tell, tell_json
from readout.cli.progress import ticking

if TYPE_CHECKING:
    from protocols.modbus.overheard import Unit
    from readout.diagnose.listen import Heard

#: Functions by what they do, for people.
_FUNCTIONS = {1: "coils", 2: "discretes", 3: "holding", 4: "inputs", 5: "coil", 6: "register"}


def line_listen(
    port: PortName,
    *,
    baud: BaudRates = None,
    characters: Characters = None,
    seconds: Annotated[str, typer.Option("--for", metavar="DURATION", help="How long to listen.")] = "30s",
    trace: TraceFile = None,
    as_json: AsJson = False,
) -> int:
    """Tell who is asked on a line, what, how often, and how it answers. Sends nothing.

    Without --baud, likely settings are tried in turn until whole frames come. Exit status 0 where frames were
    heard, 1 where nothing was, 4 where bytes came that are no Modbus frames.
    """
    from readout.bus.trace import Trace
    from readout.clock import SystemClock
    from readout.diagnose.listen import looked_for

    until = milliseconds(seconds, "--for") / 1000
    formats = chosen_settings(port, baud, characters)
    clock = SystemClock()
    kept = Trace(trace, clock) if trace else None
    if not as_json:
        say(f"listening on {port} for {until:g} s; nothing is sent")
    try:
        with ticking(f"listening on {port}", until):
            heard = looked_for(opener(port), formats, clock, until, kept)
    finally:
        if kept:
            kept.close()
    if as_json:
        tell_json(_document(port, heard))
    else:
        _print(heard)
    if heard.frames:
        return 0
    return 4 if heard.total else 1


def _document(port: str, heard: "Heard") -> dict[str, Any]:
    talk = heard.conversation
    return {
        "port": port,
        "line": line_of(heard.format),
        "listened_s": round(heard.seconds, 3),
        "bytes": heard.total,
        "stray_bytes": len(heard.noise),
        "frames": heard.frames,
        "interleaved": talk.interleaved,
        "unasked_replies": talk.unasked,
        "units": [_unit_document(unit, heard.seconds) for _, unit in sorted(talk.units.items())],
        "notes": list(_notes(heard)),
    }


def line_of(fmt: Any) -> dict[str, Any]:
    """The `line` keys of a point file, as JSON."""
    return {
        "baud_rate": fmt.baud_rate,
        "parity": fmt.parity,
        "data_bits": fmt.data_bits,
        "stop_bits": fmt.stop_bits,
    }


def _unit_document(unit: "Unit", seconds: float) -> dict[str, Any]:
    return {
        "unit_address": unit.unit,
        "requests": unit.requests,
        "requests_per_s": round(unit.requests / seconds, 3) if seconds else None,
        "functions": {str(function): count for function, count in sorted(unit.asked.items())},
        "blocks": [
            {"function": function, "start": start, "count": count, "times": times}
            for (function, start, count), times in unit.blocks.most_common()
        ],
        "replies": unit.replies,
        "unanswered": unit.unanswered,
        "late": unit.late,
        "doubled": unit.doubled,
        "exceptions": {f"{code:02X}": times for code, times in sorted(unit.exceptions.items())},
        "reply_ms": _reply_ms(unit.reply_times),
    }


def _reply_ms(times: Sequence[float]) -> dict[str, float] | None:
    if not times:
        return None
    ordered = sorted(times)
    return {
        "min": round(ordered[0] * 1000, 1),
        "median": round(ordered[len(ordered) // 2] * 1000, 1),
        "max": round(ordered[-1] * 1000, 1),
    }


def _notes(heard: "Heard") -> Sequence[str]:
    """What somebody should look into, a sentence each."""
    talk, notes = heard.conversation, []
    if talk.interleaved:
        notes.append(
            f"{talk.interleaved} requests were sent while the reply to another was still on its way: two "
            "masters ask on this line. Only one may."
        )
    for number, unit in sorted(talk.units.items()):
        if unit.doubled:
            notes.append(
                f"Unit {number} answered {unit.doubled} requests twice: two devices with one address, "
                "or a repeater that doubles."
            )
        if unit.requests and not unit.replies:
            notes.append(f"Unit {number} is asked and never answers.")
        elif unit.late:
            notes.append(f"Unit {number} answered {unit.late} times after its master had gone on: too late.")
        if unit.replies and not unit.requests:
            notes.append(f"Unit {number} answers, and its requests cannot be heard: see the tap's place.")
    if heard.frames and len(heard.noise) > heard.total / 100:
        notes.append(
            f"{len(heard.noise)} of {heard.total} bytes belong to no frame: see bias, termination and ground."
        )
    if not heard.frames:
        notes.append(f"Heard: {heard.sentence()}.")
    return notes


def _print(heard: "Heard") -> None:
    talk = heard.conversation
    tell(f"{heard.format}, {heard.seconds:.0f} s: {heard.frames} frames, {heard.total} bytes")
    if talk.units:
        rows: list[tuple[str, ...]] = [("unit", "asked", "a second", "answered", "reply ms", "what")]
        for number, unit in sorted(talk.units.items()):
            times = _reply_ms(unit.reply_times)
            rows.append(
                (
                    str(number),
                    str(unit.requests),
                    f"{unit.requests / heard.seconds:.2f}" if heard.seconds else "-",
                    str(unit.replies),
                    f"{times['median']:g} ({times['min']:g} to {times['max']:g})" if times else "-",
                    _what(unit),
                )
            )
        for line in columns(rows, right=frozenset({0, 1, 2, 3})):
            tell(line)
    for note in _notes(heard):
        tell(note)


def _what(unit: "Unit") -> str:
    blocks = [
        f"{_FUNCTIONS.get(function, function)} {start}" + (f" to {start + count - 1}" if count > 1 else "")
        for (function, start, count), _ in unit.blocks.most_common(4)
    ]
    others = [f"function {function}" for function in sorted(unit.asked) if function not in (1, 2, 3, 4)]
    more = len(unit.blocks) - 4
    return ", ".join(blocks + others + ([f"{more} more"] if more > 0 else []))
