"""What stands behind `pipeledger simulate`: simulated meters on a port of their own, until told to stop."""

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from protocols.modbus.timing import SerialFormat
from protocols.register_map.model import RegisterMap
from simulators.device import SimulatedMeter
from simulators.errors import NoSuchEnd, NotSimulated, WrongValues
from simulators.faults.alphabet import Timing
from simulators.faults.choose import read_faults
from simulators.faults.player import FaultPlayer
from simulators.faults.scripts.trace import TraceMeter
from simulators.line import (
    UNPACED,
    Delivery,
    End,
    LineStats,
    Pace,
    PtyEnd,
    SimulatedLine,
    TcpEnd,
    faithful,
)
from simulators.line.simulated import Meter
from simulators.log_memory import LogOptions
from simulators.plant import Source, read_values, usual_values


@dataclass(frozen=True, slots=True)
class Placed:
    """One meter of the line: its map, its unit address if not the map's, `values`: a table to replay."""

    register_map: RegisterMap
    unit_address: int | None = None
    values: Path | None = None


@dataclass(frozen=True, slots=True)
class Offer:
    """How the line is offered.

    A pseudo-terminal, with `link` leading to it, or `tcp` as HOST:PORT (port 0: any free one). `baud_rate`
    [bit/s] paces the line with the first map's parity and stop bits (8E1 where it gives none); without it
    replies come at once. `turnaround` [s] is the meters' own, on a paced line. `faults`: a fault plan, a file
    with one, or a trace to be replayed by a single meter (docs/fault-plans.md). `log`: what memories hold, of
    the maps that have one.
    """

    link: Path | None = None
    tcp: str | None = None
    baud_rate: int | None = None
    turnaround: float = 0.005
    faults: str = ""
    log: LogOptions | None = None


def run(
    placed: Sequence[Placed],
    offer: Offer,
    *,
    ready: Callable[[str], None],
    stop: threading.Event,
) -> LineStats:
    """Serve until `stop` is set or the user interrupts; what the line has seen.

    `ready` is called once with the port's name, when it can be opened. Prints nothing. Before that it raises
    SimulatorError (WrongValues, WrongFaults, NoSuchEnd, NotSimulated) and RequestError (a baud rate below 1).
    """
    first = placed[0].register_map
    if offer.log is not None and all(one.register_map.log_memory is None for one in placed):
        raise NotSimulated(
            "The map has no log_memory, so there is nothing to fill; leave out the --memory options."
        )
    meters = [_meter(one, offer.log) for one in placed]
    _of_their_own_addresses(meters)
    pace = UNPACED if offer.baud_rate is None else pace_of(first, offer.baud_rate, offer.turnaround)
    heard, delivery = _with_faults(meters, placed, offer, pace)
    with SimulatedLine(heard, end=_end(offer), pace=pace, delivery=delivery) as line:
        try:
            ready(line.port)
            stop.wait()
        except KeyboardInterrupt:
            pass  # the usual way to end it
        return line.stats


def _meter(placed: Placed, log: LogOptions | None) -> SimulatedMeter:
    register_map = placed.register_map
    return SimulatedMeter(
        register_map,
        source=_source(register_map, placed.values),
        unit_address=placed.unit_address,
        log=None if register_map.log_memory is None else log,
    )


def _of_their_own_addresses(meters: Sequence[SimulatedMeter]) -> None:
    """Refuse two meters that would answer the same request, in each other's way."""
    names: dict[int, str] = {}
    for meter in meters:
        name, unit = meter.register_map.meter, meter.unit_address
        if unit in names:
            raise NotSimulated(
                f"Two meters have unit address {unit} ({names[unit]} and {name}), and both would answer; "
                "give each its own with --unit-address, once for each map in their order."
            )
        names[unit] = name


def pace_of(register_map: RegisterMap, baud_rate: int, turnaround: float = 0.005) -> Pace:
    """The pace of a line at `baud_rate` [bit/s] with the characters of the map's serial settings."""
    serial = register_map.serial
    settings = SerialFormat(
        baud_rate,
        parity=serial.parity or "even",
        data_bits=serial.data_bits or 8,
        stop_bits=serial.stop_bits or 1,
    )
    return Pace.of(settings, turnaround)


def _with_faults(
    meters: Sequence[SimulatedMeter], placed: Sequence[Placed], offer: Offer, pace: Pace
) -> tuple[Sequence[Meter], Delivery]:
    """The meters as the line is to hear them, and what becomes of their replies."""
    if not offer.faults:
        return meters, faithful
    faults = read_faults(offer.faults)
    if isinstance(faults, TraceMeter):
        if offer.baud_rate is not None or len(placed) > 1 or placed[0].values is not None:
            raise NotSimulated(
                "A trace has its own times and bytes, of one meter; give one map, and leave out --baud and "
                "--values."
            )
        return [faults], faults.deliver
    wires = [meter.register_map.wire for meter in meters]
    timing = Timing(max(wire.reply_within for wire in wires), max(wire.late_within for wire in wires))
    player = FaultPlayer(faults, timing=timing, pace=pace)
    return [player.before(meters)], player.deliver


def _source(register_map: RegisterMap, values: Path | None) -> Source:
    plant = usual_values(register_map.fluid)
    if values is None:
        return plant
    try:
        data = values.read_bytes()
    except OSError as error:
        raise WrongValues(f"{values}: This file cannot be read ({error.strerror}).") from error
    return read_values(data, str(values), register_map, plant)


def _end(offer: Offer) -> End:
    if offer.tcp is None:
        return PtyEnd(offer.link)
    if offer.link is not None:
        raise NoSuchEnd("A TCP port has no link; give either --link or --tcp.")
    host, colon, number = offer.tcp.rpartition(":")
    if not colon or not number.isascii() or not number.isdigit() or int(number) > 65535:
        raise NoSuchEnd(f"--tcp wants HOST:PORT with a port from 0 to 65535, not '{offer.tcp}'.")
    return TcpEnd(host.strip("[]") or "localhost", int(number))
