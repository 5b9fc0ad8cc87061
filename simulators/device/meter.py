"""A meter for any register map: takes request frames, gives reply frames, or stays silent as meters do."""

from collections.abc import Callable, Mapping, Sequence

from protocols.errors import ReplyError
from protocols.modbus import limits
from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.replies import (
    Bits,
    FileRecords,
    Identification,
    Queue,
    Registers,
    Reply,
    ServerId,
    Written,
)
from protocols.modbus.requests import (
    IllegalRequestError,
    ReadDeviceIdentification,
    ReadFileRecords,
    ReadQueue,
    ReadRequest,
    ReadWriteRegisters,
    ReportServerId,
    Request,
    WriteCoil,
    WriteCoils,
    WriteRegister,
    WriteRegisters,
)
from protocols.modbus.server import exception_frame, read_request, reply_frame
from protocols.modbus.tables import Table
from protocols.register_map.memory_model import ByFiles, ByQueue, ByWindow
from protocols.register_map.model import Column, RegisterMap
from simulators.clock import Clock, WireClock
from simulators.device.image import Image
from simulators.device.memory import Memory
from simulators.device.recording import log_of
from simulators.errors import NotSimulated
from simulators.log_memory import LogOptions
from simulators.meter_clock import MeterClock
from simulators.plant import Moment, Source, usual_values
from simulators.refused import Refused, Silent

#: Data bytes that the one-byte count of a reply can tell, in whole registers (AP V1.1b3, 6.3).
MOST_WORDS = 127
#: Bytes that the objects of an identification may take in one reply (AP V1.1b3, 6.21: PDU less its head).
_OBJECT_BYTES = limits.PDU - 7
_ON = b"\xff"


class SimulatedMeter:
    """One meter. Its registers hold what the map lists; what they tell comes from `source`.

    Refuses as meters do: 01 a function it has no table for, 03 more registers than `registers_per_read` or a
    setting outside its steps or range, 02 a register it has not, or one that cannot be written. Silent on
    damaged frames, other units, and broadcasts (unit 0), whose writes it carries out.
    """

    def __init__(
        self,
        register_map: RegisterMap,
        *,
        source: Source | None = None,
        unit_address: int | None = None,
        clock: Clock | None = None,
        log: LogOptions | None = None,
    ) -> None:
        """Switch the meter on. `source` defaults to the invented bottling hall's plant.

        `log` says what its memory holds, where the map has one: without it, nothing yet. NotSimulated where
        neither the map nor `unit_address` says on what address it listens, or `log` does not fit the memory.
        """
        unit = register_map.serial.unit_address if unit_address is None else unit_address
        if unit is None:
            raise NotSimulated("The map has no serial.unit_address; give the meter one with --unit-address.")
        if not limits.UNIT_FIRST <= unit <= limits.UNIT_LAST:
            raise NotSimulated(
                f"A unit address is {limits.UNIT_FIRST} to {limits.UNIT_LAST}, not {unit}; choose another."
            )
        self.unit_address = unit
        self.register_map = register_map
        self.writes = 0  # requests that changed something
        self._clock = WireClock() if clock is None else clock
        self._started = self._clock.monotonic()
        source = usual_values(register_map.fluid) if source is None else source
        options = LogOptions() if log is None else log
        memory = register_map.log_memory
        meter_clock = MeterClock(
            self._clock.utc(),
            zone=None if memory is None else memory.clock,
            site=options.site,
            ahead=options.clock_ahead,
            drift_ppm=options.drift_ppm,
        )
        #: Its log memory; None where the map has none.
        self.log = None if memory is None else log_of(register_map, memory, meter_clock, source, options)
        self._image = Image(register_map, () if self.log is None else self.log.spans())
        self._memory = Memory(register_map, self._image, source, unit, meter_clock, self.log)
        self._functions = _functions(self._image.tables, register_map)

    def reply(self, frame: bytes) -> bytes | None:
        """The reply to one request frame; None for silence."""
        if len(frame) < limits.SHORTEST_FRAME or frame[0] not in (self.unit_address, limits.BROADCAST):
            return None
        function = frame[1]
        try:
            unit, request = read_request(frame)
            if unit == limits.BROADCAST and not request.WRITES:
                return None
            reply = self._carry_out(request)
        except (ReplyError, Silent):
            return None  # damaged, then nobody knows whom it was meant for; or the meter has its reasons
        except IllegalRequestError as error:
            code = error.code if function in self._functions else ExceptionCode.ILLEGAL_FUNCTION
            return self._refusal(frame, code)
        except Refused as refused:
            return self._refusal(frame, refused.code)
        if unit == limits.BROADCAST:
            return None
        sent = reply_frame(unit, request, reply)
        return sent if self.log is None else self.log.altered(sent)

    def _refusal(self, frame: bytes, code: ExceptionCode) -> bytes | None:
        return None if frame[0] == limits.BROADCAST else exception_frame(frame[0], frame[1] & 0x7F, code)

    def _carry_out(self, request: Request) -> Reply:
        if request.function not in self._functions:
            raise Refused(ExceptionCode.ILLEGAL_FUNCTION)
        if self.log is not None:
            self.log.advance(self._moment().running)
        carry_out = _ACTS[type(request)]
        return carry_out(self, request)

    def _moment(self) -> Moment:
        return Moment(self._clock.utc(), self._clock.monotonic() - self._started)

    # ---- reading

    def _read(self, request: ReadRequest) -> Reply:
        columns = self._readable(request.table, request.start, request.count)
        words = self._memory.read(columns, self._moment())
        return Bits(tuple(word != 0 for word in words)) if request.table.of_bits else Registers(tuple(words))

    def _readable(self, table: Table, start: int, count: int) -> Sequence[Column]:
        if not table.of_bits and count > self.register_map.wire.registers_per_read:
            raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)
        columns = self._image.columns(table, start, count)
        if not table.of_bits and len(columns) > MOST_WORDS:
            raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)
        return columns

    # ---- writing

    def _write_coil(self, request: WriteCoil) -> Reply:
        return self._write(Table.COIL, request.address, (int(request.on),))

    def _write_coils(self, request: WriteCoils) -> Reply:
        return self._write(Table.COIL, request.start, [int(bit) for bit in request.bits])

    def _write_register(self, request: WriteRegister) -> Reply:
        return self._write(Table.HOLDING, request.address, (request.word,))

    def _write_registers(self, request: WriteRegisters) -> Reply:
        return self._write(Table.HOLDING, request.start, request.words)

    def _read_write(self, request: ReadWriteRegisters) -> Reply:
        columns = self._readable(Table.HOLDING, request.read_start, request.read_count)
        self._write(Table.HOLDING, request.write_start, request.words)
        return Registers(tuple(self._memory.read(columns, self._moment())))

    def _write(self, table: Table, start: int, words: Sequence[int]) -> Reply:
        columns = self._image.columns(table, start, len(words))
        if len(columns) != len(words):  # 32 bits behind an address: 16 do not fill it
            raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)
        self._memory.write(dict(zip(columns, words, strict=True)), self._moment())
        self.writes += 1
        return Written(start, len(words))

    # ---- the log memory's own functions

    def _read_files(self, request: ReadFileRecords) -> Reply:
        assert self.log is not None
        if sum(part.registers for part in request.parts) > self.register_map.wire.registers_per_file_read:
            raise Refused(ExceptionCode.ILLEGAL_DATA_VALUE)
        return FileRecords(self.log.files(request.parts))

    def _read_queue(self, request: ReadQueue) -> Reply:
        assert self.log is not None
        return Queue(self.log.queue(request.address))

    # ---- who the meter is

    def _server_id(self, _: ReportServerId) -> Reply:
        return ServerId(self.register_map.meter.encode("latin-1", "replace")[:200] + _ON)

    def _identify(self, request: ReadDeviceIdentification) -> Reply:
        if not self.register_map.identity:
            raise Refused(ExceptionCode.ILLEGAL_FUNCTION)
        objects = self._objects()
        if request.code == 4:
            if request.first not in objects:
                raise Refused(ExceptionCode.ILLEGAL_DATA_ADDRESS)
            return Identification(4, 0x81, None, ((request.first, objects[request.first]),))
        first = request.first if request.first in objects else 0  # AP 6.21: an unknown one starts anew
        fitted: list[tuple[int, bytes]] = []
        for number in sorted(n for n in objects if n >= first):
            if sum(2 + len(text) for _, text in fitted) + 2 + len(objects[number]) > _OBJECT_BYTES:
                return Identification(request.code, 0x81, number, tuple(fitted))
            fitted.append((number, objects[number]))
        return Identification(request.code, 0x81, None, tuple(fitted))

    def _objects(self) -> Mapping[int, bytes]:
        """Maker, product and version: the three objects that AP 6.21 requires."""
        version = next((v for v in self.register_map.identity if v.name == "firmware"), None)
        return {
            0: b"Hollow Mere",
            1: self.register_map.meter.encode("latin-1", "replace")[:100],
            2: b"1" if version is None else self._memory.stored_text(version),
        }


def _functions(tables: frozenset[Table], register_map: RegisterMap) -> frozenset[int]:
    """What this meter understands: a table it has not, it cannot be asked for."""
    found = {17, 43}
    reads = {Table.COIL: {1, 5, 15}, Table.DISCRETE: {2}, Table.INPUT: {4}, Table.HOLDING: {3, 6}}
    for table in tables:
        found |= reads[table]
    if Table.HOLDING in tables and register_map.wire.write_with != 6:
        found |= {16, 23}
    way = None if register_map.log_memory is None else register_map.log_memory.reached_by
    if isinstance(way, ByWindow) and way.write_and_read:
        found.add(23)
    found |= {20} if isinstance(way, ByFiles) else {24} if isinstance(way, ByQueue) else set()
    return frozenset(found)


_ACTS: Mapping[type[Request], Callable[..., Reply]] = {
    ReadRequest: SimulatedMeter._read,
    ReadWriteRegisters: SimulatedMeter._read_write,
    ReadFileRecords: SimulatedMeter._read_files,
    ReadQueue: SimulatedMeter._read_queue,
    WriteCoil: SimulatedMeter._write_coil,
    WriteCoils: SimulatedMeter._write_coils,
    WriteRegister: SimulatedMeter._write_register,
    WriteRegisters: SimulatedMeter._write_registers,
    ReportServerId: SimulatedMeter._server_id,
    ReadDeviceIdentification: SimulatedMeter._identify,
}
