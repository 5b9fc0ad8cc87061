"""Warnings on the meter's line: settings that no meter has, limits that contradict each other."""

from protocols.register_map.faults import Report
from protocols.register_map.forms import Entries
from protocols.register_map.grammar import line
from protocols.register_map.model import Serial, Wire

#: Baud rates that serial meters and adapters offer. Common practice, no source.
_USUAL_RATES = (
    300, 600, 1200, 2400, 4800, 9600, 14400, 19200, 28800, 38400, 57600, 76800, 115200, 125000, 128000,
    187500, 230400, 250000, 256000, 375000, 460800, 500000, 576000, 921600, 1000000, 1500000, 2000000,
    3000000, 4000000,
)  # fmt: skip
#: USB adapters keep bytes back for up to 16 ms [s]; a shorter wait gives up on replies that are there.
_ADAPTER_KEEPS = 0.016


def hint_at_line(entries: Entries | None, serial: Serial, report: Report) -> None:
    """Warnings on `serial`."""
    if entries is None:
        return
    rate = serial.baud_rate
    if rate is not None and rate not in _USUAL_RATES:
        near = min(_USUAL_RATES, key=lambda usual: abs(usual - rate))
        report.warn(
            entries.at(line.BAUD_RATE),
            f"{rate} is no usual baud rate; is it {near}?",
            "unusual line settings",
        )
    if serial.stop_bits == 2 and serial.parity in ("even", "odd"):
        report.warn(
            entries.at(line.STOP_BITS),
            f"parity {serial.parity} and 2 stop bits make a character of 12 bits; Modbus RTU has 11: with "
            "parity 1 stop bit, without 2",
            "unusual line settings",
        )


def hint_at_wire(entries: Entries | None, wire: Wire, report: Report) -> None:
    """Warnings on `wire`."""
    if entries is None:
        return
    if entries.has(line.REPLY_WITHIN) and wire.reply_within <= _ADAPTER_KEEPS:
        report.warn(
            entries.at(line.REPLY_WITHIN),
            f"{wire.reply_within * 1000:g} ms is shorter than USB adapters keep a reply back (up to 16 ms), "
            "so good replies would count as silence; write what the manual states, and at least 50 ms",
            "reply time too short",
        )
    if wire.bridge and wire.bridge >= wire.registers_per_read - 1:
        report.warn(
            entries.at(line.BRIDGE),
            f"one read has at most {wire.registers_per_read} registers, so it never spans {wire.bridge} that "
            f"are not listed; {max(wire.registers_per_read - 2, 0)} at most lie between two that are",
            "bridge wider than a read",
        )
