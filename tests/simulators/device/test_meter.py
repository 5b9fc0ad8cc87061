"""A simulated meter's answers, byte for byte where the specification prints them.

AP = MODBUS Application Protocol Specification V1.1b3; SL = MODBUS over Serial Line V1.02. Frames not printed
there are constructed; their checksums come from crccheck.
"""

import struct
from dataclasses import replace
from decimal import Decimal

import pytest
from crccheck.crc import CrcModbus

from protocols.modbus.tables import Table
from protocols.register_map.model import Kind, Number, RegisterMap, Span, Totaliser, Value
from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.errors import NotSimulated

UNIT = 12


def framed(*body: int, unit: int = UNIT) -> bytes:
    data = bytes((unit, *body))
    return data + CrcModbus.calc(data).to_bytes(2, "little")


def read(function: int, start: int, count: int) -> bytes:
    return framed(function, *struct.pack(">HH", start, count))


def registers(reply: bytes | None) -> tuple[int, ...]:
    assert reply is not None
    assert reply[1] < 0x80, f"exception {reply[2]}"
    assert len(reply) == 5 + reply[2]
    return struct.unpack(f">{reply[2] // 2}H", reply[3:-2])


@pytest.fixture
def clock() -> FakeClock:
    return FakeClock()


@pytest.fixture
def meter(meter_map: RegisterMap, clock: FakeClock) -> SimulatedMeter:
    return SimulatedMeter(meter_map, clock=clock)


def test_the_specifications_read_of_three_registers_is_answered_as_printed(meter_map: RegisterMap):
    # AP 6.3, p. 15: registers 108 to 110 hold 555, 0 and 100; request 03 006B 0003, reply 03 06 022B…
    values = tuple(
        Value(f"r{i}", Number(Table.HOLDING, 0x6B + i, Kind.UINT16, 1, 1), codes={word: "as printed"})
        for i, word in enumerate((555, 0, 100))
    )
    meter = SimulatedMeter(replace(meter_map, readings=values, settings=(), identity=()), unit_address=1)
    reply = meter.reply(bytes.fromhex("01 03 00 6B 00 03 74 17"))
    assert reply == bytes.fromhex("01 03 06 02 2B 00 00 00 64 05 7A")


def test_the_specifications_refusal_is_answered_as_printed(meter_map: RegisterMap):
    # AP 7, p. 47: coil 04A1 does not exist: 81 02
    meter = SimulatedMeter(meter_map, unit_address=1)
    assert meter.reply(bytes.fromhex("01 01 04 A1 00 01 AD 18")) == bytes.fromhex("01 81 02 C1 91")


@pytest.mark.parametrize(
    ("what", "request_frame", "code"),
    [
        ("a function no meter knows", framed(0x41, 0, 0), 1),
        ("a file read, which this meter has not", framed(20, 7, 6, 0, 1, 0, 0, 0, 1), 1),
        ("a register before the first", read(4, 15, 1), 2),
        ("a register behind the last", read(4, 24, 2), 2),
        ("a gap wider than the meter bridges", read(3, 41, 20), 2),
        ("a holding register's number in the input table", read(4, 30, 2), 2),
        ("more registers than this meter answers at once", read(3, 30, 49), 3),
        ("more registers than Modbus allows", read(3, 30, 126), 3),
        ("no register at all", read(3, 30, 0), 3),
        ("past the end of the table", read(3, 65535, 2), 2),
        ("writing what can only be read", framed(6, 0, 36, 0, 20), 2),
        ("writing who the meter is", framed(6, 0, 60, 65, 66), 2),
        ("a step the setting does not have", framed(6, 0, 32, 0, 3), 3),
        ("half of a number that has two registers", framed(6, 0, 30, 0, 0), 3),
        ("a coil that is not writable", framed(5, 0, 7, 0xFF, 0), 2),
        ("a coil value that is neither on nor off", framed(5, 0, 8, 0x12, 0x34), 3),
        ("a byte count that disagrees", framed(16, 0, 32, 0, 1, 4, 0, 1, 0, 2), 3),
    ],
)
def test_a_real_meter_refuses(meter: SimulatedMeter, what: str, request_frame: bytes, code: int):
    assert meter.reply(request_frame) == framed(request_frame[1] | 0x80, code), what
    assert meter.writes == 0


def test_a_meter_without_a_table_does_not_know_its_functions(meter_map: RegisterMap):
    only_inputs = tuple(v for v in meter_map.readings if v.number.table is Table.INPUT)
    bare = tuple(replace(v, reference=None) for v in only_inputs)
    meter = SimulatedMeter(replace(meter_map, readings=bare, settings=(), identity=()))
    for function in (1, 2, 3):
        assert meter.reply(read(function, 0, 1)) == framed(function | 0x80, 1)
    assert len(registers(meter.reply(read(4, 16, 9)))) == 9


def test_gaps_that_the_meter_bridges_answer_zeros(meter: SimulatedMeter):
    words = registers(meter.reply(read(3, 36, 6)))  # 36 is listed, 37 to 39 are not, 40 and 41 are
    assert words == (20, 0, 0, 0, 200, 1000)


@pytest.mark.parametrize("unit", [1, 11, 13, 247])
def test_a_question_to_another_unit_is_met_with_silence(meter: SimulatedMeter, unit: int):
    assert meter.reply(framed(4, 0, 16, 0, 2, unit=unit)) is None


def test_a_damaged_question_is_met_with_silence(meter: SimulatedMeter):
    good = read(4, 16, 2)
    for place in range(len(good) * 8):
        damaged = bytearray(good)
        damaged[place // 8] ^= 1 << place % 8
        assert meter.reply(bytes(damaged)) is None


def test_a_broadcast_write_is_carried_out_without_a_reply(meter: SimulatedMeter):
    # SL 2.1, p. 7: no response is returned to broadcast requests; they are writing commands
    assert meter.reply(framed(6, 0, 32, 0, 60, unit=0)) is None
    assert registers(meter.reply(read(3, 32, 1))) == (60,)
    assert meter.reply(framed(6, 0, 32, 0, 3, unit=0)) is None  # refused, and still silent
    assert meter.reply(framed(4, 0, 16, 0, 1, unit=0)) is None
    assert meter.writes == 1


def test_a_setting_within_its_range_is_taken_whole_and_read_back(meter: SimulatedMeter):
    assert registers(meter.reply(read(3, 30, 2))) == struct.unpack(">HH", struct.pack(">f", 53.1))
    written = struct.pack(">f", 80.5)
    assert meter.reply(framed(16, 0, 30, 0, 2, 4, *written)) == framed(16, 0, 30, 0, 2)
    assert registers(meter.reply(read(3, 30, 2))) == struct.unpack(">HH", written)
    for outside in (11.9, 900.1, float("nan"), float("inf")):
        refused = meter.reply(framed(16, 0, 30, 0, 2, 4, *struct.pack(">f", outside)))
        assert refused == framed(0x90, 3)
    assert registers(meter.reply(read(3, 30, 2))) == struct.unpack(">HH", written)


def test_the_ends_of_a_range_are_within_it_as_the_register_holds_them(meter_map: RegisterMap):
    narrow = tuple(
        replace(v, range=Span(Decimal("0.1"), Decimal("0.7"))) if v.name == "inside_diameter" else v
        for v in meter_map.settings
    )
    meter = SimulatedMeter(replace(meter_map, settings=narrow))
    for end in (0.1, 0.7):  # neither is a float32; the nearest ones lie outside by a hair
        assert meter.reply(framed(16, 0, 30, 0, 2, 4, *struct.pack(">f", end))) == framed(16, 0, 30, 0, 2)


def test_a_write_that_is_refused_in_part_changes_nothing(meter: SimulatedMeter):
    # inside_diameter (30, 31) would do, but 3 is no step of log_interval (32)
    reply = meter.reply(framed(16, 0, 30, 0, 3, 6, *struct.pack(">fH", 80.5, 3)))
    assert reply == framed(0x90, 3)
    assert registers(meter.reply(read(3, 30, 2))) == struct.unpack(">HH", struct.pack(">f", 53.1))


def test_a_meter_written_register_by_register_takes_halves_and_no_function_16(meter_map: RegisterMap):
    meter = SimulatedMeter(replace(meter_map, wire=replace(meter_map.wire, write_with=6)))
    high, low = struct.unpack(">HH", struct.pack(">f", 80.5))
    for address, word in ((30, high), (31, low)):
        assert meter.reply(framed(6, *struct.pack(">HH", address, word))) is not None
    assert registers(meter.reply(read(3, 30, 2))) == (high, low)
    assert meter.reply(framed(16, 0, 32, 0, 1, 2, 0, 60)) == framed(0x90, 1)


def test_coils_are_written_one_and_many(meter: SimulatedMeter):
    assert meter.reply(framed(5, 0, 8, 0xFF, 0)) == framed(5, 0, 8, 0xFF, 0)
    assert meter.reply(read(1, 8, 1)) == framed(1, 1, 1)
    assert meter.reply(framed(15, 0, 8, 0, 1, 1, 0)) == framed(15, 0, 8, 0, 1)
    assert meter.reply(read(1, 8, 1)) == framed(1, 1, 0)


def test_function_23_writes_before_it_reads(meter: SimulatedMeter):
    # AP 6.17, p. 38: the write is performed before the read
    reply = meter.reply(framed(23, 0, 32, 0, 1, 0, 32, 0, 1, 2, 0, 60))
    assert registers(reply) == (60,)


def test_the_clock_runs_and_can_be_set(meter: SimulatedMeter, clock: FakeClock):
    def told() -> int:
        high, low = registers(meter.reply(read(3, 34, 2)))
        return high << 16 | low

    assert told() == int(clock.utc())
    meter.reply(framed(16, 0, 34, 0, 2, 4, *struct.pack(">I", 1_777_000_000)))
    assert told() == 1_777_000_000
    clock.advance(90)
    assert told() == 1_777_000_090


def test_all_values_of_one_reply_are_of_one_instant(meter: SimulatedMeter, clock: FakeClock):
    together = registers(meter.reply(read(4, 16, 9)))
    apart = registers(meter.reply(read(4, 16, 4))) + registers(meter.reply(read(4, 20, 5)))
    assert together == apart
    clock.advance(1)
    assert registers(meter.reply(read(4, 16, 9))) != together


def test_the_meter_says_who_it_is(meter: SimulatedMeter):
    words = registers(meter.reply(read(3, 60, 9)))
    assert struct.pack(">9H", *words) == b"EX-0042\0\0\0\0\0" + b"1.4\0\0\0"
    basic = meter.reply(framed(0x2B, 14, 1, 0))
    assert basic is not None
    # AP 6.21, p. 44: kind, code, conformity 81 (basic, also one by one), no more, next 0, 3 objects
    assert basic[1:8] == bytes((0x2B, 14, 1, 0x81, 0, 0, 3))
    assert b"\x01\x17Example insertion meter\x02\x031.4" in basic
    assert meter.reply(framed(0x2B, 14, 4, 9)) == framed(0xAB, 2)
    server_id = meter.reply(framed(17))
    assert server_id == framed(17, 24, *b"Example insertion meter", 0xFF)


def test_a_total_rolls_over_where_the_map_says(meter_map: RegisterMap, clock: FakeClock):
    wide = replace(meter_map.reading("total"), totaliser=None)
    turned = replace(wide, totaliser=Totaliser(rolls_over_at=Decimal(1000)))
    words = [
        registers(SimulatedMeter(replace(meter_map, readings=(value,)), clock=clock).reply(read(4, 22, 2)))
        for value in (wide, turned)
    ]
    whole, rest = (high << 16 | low for high, low in words)
    assert whole > 10_000
    assert rest == pytest.approx(whole % 10_000, abs=1)  # in 0.1 m³


def test_a_total_wraps_at_the_end_of_its_registers(meter_map: RegisterMap, clock: FakeClock):
    """As counters do: 16 bits of 0.1 m³ begin again at 6553.6 m³, where 32 bits count on."""
    wide = replace(meter_map.reading("total"), totaliser=Totaliser())
    narrow = replace(wide, number=replace(wide.number, kind=Kind.UINT16, words=1, addresses=1))
    whole, rest = (
        registers(
            SimulatedMeter(replace(meter_map, readings=(value,)), clock=clock).reply(read(4, 22, count))
        )
        for value, count in ((wide, 2), (narrow, 1))
    )
    assert whole[0] > 0
    assert rest[0] == pytest.approx(whole[1], abs=1)  # the low word of the wide one


def test_four_bytes_behind_each_address_come_as_two_words(meter_map: RegisterMap):
    wide = Value("flow", Number(Table.INPUT, 5, Kind.FLOAT32, words=2, addresses=1), unit="m3/h")
    small = Value("state", Number(Table.INPUT, 6, Kind.UINT32, words=2, addresses=1), codes={7: "on"})
    meter = SimulatedMeter(replace(meter_map, readings=(wide, small), settings=(), identity=()))
    reply = meter.reply(read(4, 5, 2))
    assert reply is not None
    assert reply[2] == 8
    flow, state = struct.unpack(">fI", reply[3:-2])
    assert 20 < flow < 400
    assert state == 7


def test_numbers_with_their_power_of_ten_in_a_register_keep_it(meter_map: RegisterMap, clock: FakeClock):
    power = Number(Table.INPUT, 51, Kind.INT16, 1, 1)
    flow = Value("flow", Number(Table.INPUT, 50, Kind.UINT16, 1, 1), times_ten_to=power, unit="m3/h")
    meter = SimulatedMeter(replace(meter_map, readings=(flow,), settings=(), identity=()), clock=clock)
    seen = set()
    for _ in range(50):
        number, exponent = registers(meter.reply(read(4, 50, 2)))
        seen.add(exponent)
        assert 20 < number * 10.0 ** (exponent - 65536 if exponent > 32767 else exponent) < 400
        clock.advance(977)
    assert len(seen) == 1


@pytest.mark.parametrize("unit", [0, 248, -1])
def test_an_impossible_unit_address_is_refused_in_a_sentence(meter_map: RegisterMap, unit: int):
    with pytest.raises(NotSimulated, match="A unit address is 1 to 247"):
        SimulatedMeter(meter_map, unit_address=unit)


def test_a_map_without_a_unit_address_needs_one(meter_map: RegisterMap):
    nameless = replace(meter_map, serial=replace(meter_map.serial, unit_address=None))
    with pytest.raises(NotSimulated, match="--unit-address"):
        SimulatedMeter(nameless)
