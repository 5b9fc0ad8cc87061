"""A measuring point ready to be read: its files, its register map, and the settings of its line."""

from dataclasses import dataclass
from pathlib import Path

from protocols.modbus.timing import SerialFormat
from protocols.register_map import grammar as g
from protocols.register_map.checks.line_hints import hint_at_line
from protocols.register_map.faults import Fault
from protocols.register_map.model import RegisterMap, Serial
from protocols.register_map.parse import parse_map
from readout.measuring_point import grammar as k
from readout.measuring_point.model import MeasuringPoint
from readout.measuring_point.point import Files, read_file, read_point


@dataclass(frozen=True, slots=True)
class LoadedPoint:
    """What polling needs. `port` is the line's with `./…` made a path; `map_file` the path of the map."""

    point: MeasuringPoint
    map: RegisterMap
    map_file: Path
    port: str
    serial_format: SerialFormat
    unit_address: int


@dataclass(frozen=True, slots=True)
class Loaded:
    """The point, or None where a fault worse than a warning was found; faults file by file."""

    point: LoadedPoint | None
    faults: tuple[Fault, ...]


def load_point(path: Path) -> Loaded:
    """Read the point file `path`, its job and its map, and check them against each other.

    A port that begins with `./` lies beside the point file (a link, a pseudo-terminal of a simulated meter);
    any other is taken as it is.
    """
    files, point = read_point(path)
    found, map_faults = load_map_of(files)
    loaded = None if found is None else _join(files, point, found, map_path(files))
    faults = tuple(fault for report in files.reports for fault in report.faults()) + map_faults
    return Loaded(loaded, faults)


def map_path(files: Files) -> Path:
    """Where the map of a point file lies; the point file's own folder where it names none."""
    meter = None if files.entries is None else files.entries.get(k.METER)
    name = None if meter is None else meter.get(k.MAP)
    return files.path.parent / (name or "")


def load_map_of(files: Files) -> tuple[RegisterMap | None, tuple[Fault, ...]]:
    """The map that a point file names, and its faults; a file that is not there is told at the key."""
    meter = None if files.entries is None else files.entries.get(k.METER)
    if meter is None or meter.get(k.MAP) is None:
        return None, ()
    path = map_path(files)
    data = read_file(path, files.own, meter.at(k.MAP))
    if data is None:
        return None, ()
    parsed = parse_map(data, str(path))
    return parsed.map, parsed.faults


def _join(
    files: Files, point: MeasuringPoint | None, found: RegisterMap, map_file: Path
) -> LoadedPoint | None:
    meter = None if files.entries is None else files.entries.get(k.METER)
    if meter is None:
        return None
    address = meter.get(g.UNIT_ADDRESS) or found.serial.unit_address
    if address is None and not meter.has(g.UNIT_ADDRESS):
        files.own.fault(
            meter.node, "neither the map nor the point says the unit_address; write such as unit_address: 12"
        )
    if point is None or address is None:
        return None
    return LoadedPoint(
        point, found, map_file, _port(files.path, point.line.port), _format(files, point, found), address
    )


def _port(path: Path, port: str) -> str:
    return str(path.parent / port.removeprefix("./")) if port.startswith("./") else port


def _format(files: Files, point: MeasuringPoint, found: RegisterMap) -> SerialFormat:
    """The point's settings, else the map's, else the standard's (MODBUS over Serial Line V1.02, 2.5.1)."""
    line, factory = point.line, factory_format(found)
    if line.baud_rate is None and found.serial.baud_rate is None and "://" not in line.port:
        report, place = files.place(k.LINE)
        report.warn(
            place,
            f"neither the map nor the point says the baud_rate; {factory.baud_rate} is taken, the standard's",
        )
    own = Serial(line.baud_rate, line.parity or factory.parity, stop_bits=line.stop_bits)
    hint_at_line(files.get(k.LINE), own, files.place(k.LINE)[0])
    return SerialFormat(
        line.baud_rate or factory.baud_rate,
        line.parity or factory.parity,
        line.data_bits or factory.data_bits,
        line.stop_bits or factory.stop_bits,
    )


def factory_format(found: RegisterMap, baud_rate: int | None = None) -> SerialFormat:
    """The line as the map alone says it, where no point is known; `baud_rate` [bit/s] rules where given."""
    factory, standard = found.serial, SerialFormat()
    return SerialFormat(
        baud_rate or factory.baud_rate or standard.baud_rate,
        factory.parity or standard.parity,
        factory.data_bits or standard.data_bits,
        factory.stop_bits or standard.stop_bits,
    )
