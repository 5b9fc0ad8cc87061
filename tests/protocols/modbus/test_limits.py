"""What cannot be asked, and how long things take: the numbers of the Modbus specification.

AP = MODBUS Application Protocol V1.1b3, SL = MODBUS over Serial Line V1.02.
"""

from collections.abc import Callable

import pytest

from protocols.errors import RequestError
from protocols.modbus.exceptions import MEANINGS, describe
from protocols.modbus.requests import (
    FilePart,
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
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat


def _coils(count: int) -> Request:
    return WriteCoils(0, (True,) * count)


def _registers(count: int) -> Request:
    return WriteRegisters(0, (1,) * count)


@pytest.mark.parametrize(
    ("make", "most"),
    [
        pytest.param(lambda n: ReadRequest(Table.COIL, 0, n), 2000, id="AP 6.1, coils"),
        pytest.param(lambda n: ReadRequest(Table.DISCRETE, 0, n), 2000, id="AP 6.2, discretes"),
        pytest.param(lambda n: ReadRequest(Table.HOLDING, 0, n), 125, id="AP 6.3, holding registers"),
        pytest.param(lambda n: ReadRequest(Table.INPUT, 0, n), 125, id="AP 6.4, input registers"),
        pytest.param(_coils, 1968, id="AP 6.11, coils written"),
        pytest.param(_registers, 123, id="AP 6.12, registers written"),
        pytest.param(lambda n: ReadWriteRegisters(0, n, 0, (1,)), 125, id="AP 6.17, read"),
        pytest.param(lambda n: ReadWriteRegisters(0, 1, 0, (1,) * n), 121, id="AP 6.17 p. 39, written"),
        pytest.param(
            lambda n: ReadFileRecords((FilePart(1, 0, n),)), 121, id="AP 6.14, F5 bytes of file data"
        ),
    ],
)
def test_one_more_than_the_most_is_refused(make: Callable[[int], Request], most: int) -> None:
    assert len(make(most).frame(1)) <= 256  # SL 2.5.1, p. 13
    reply = make(most).reply_characters
    assert reply is not None
    assert reply <= 256
    for count in (0, most + 1):
        with pytest.raises(IllegalRequestError) as refused:
            make(count)
        assert refused.value.code == 3


@pytest.mark.parametrize(
    "make",
    [
        lambda: ReadRequest(Table.HOLDING, 65535, 2),
        lambda: ReadRequest(Table.COIL, -1, 1),
        lambda: WriteCoil(65536, on=True),
        lambda: WriteRegister(-1, 0),
        lambda: WriteRegisters(65535, (1, 2)),
        lambda: ReadWriteRegisters(65535, 2, 0, (1,)),
        lambda: ReadWriteRegisters(0, 1, 65535, (1, 2)),
        lambda: ReadQueue(65536),
        lambda: FilePart(0, 0, 1),
        lambda: FilePart(65536, 0, 1),
        lambda: FilePart(1, 10000, 1),
    ],
)
def test_an_address_outside_the_table_is_refused(make: Callable[[], object]) -> None:
    """A meter would answer exception 02 (AP 7, p. 48); nothing is sent."""
    with pytest.raises(IllegalRequestError) as refused:
        make()
    assert refused.value.code == 2


@pytest.mark.parametrize(
    "make",
    [
        lambda: WriteRegister(0, 65536),
        lambda: WriteRegisters(0, (-1,)),
        lambda: ReadFileRecords(()),
        lambda: ReadFileRecords((FilePart(1, 0, 1),) * 36),
        lambda: ReadFileRecords((FilePart(1, 0, 61), FilePart(1, 61, 61))),
        lambda: ReadDeviceIdentification(0, 0),
        lambda: ReadDeviceIdentification(5, 0),
        lambda: ReadDeviceIdentification(4, 256),
        lambda: SerialFormat(0, "even"),
        lambda: SerialFormat(9600, "mark"),
        lambda: SerialFormat(9600, "even", 9),
    ],
)
def test_nonsense_is_refused_before_anything_is_sent(make: Callable[[], object]) -> None:
    with pytest.raises(RequestError):
        make()


def test_35_pieces_of_files_fit_one_request() -> None:
    """AP 6.14: 35 × 7 = 245 = F5."""
    assert ReadFileRecords((FilePart(1, 0, 1),) * 35).pdu()[1] == 0xF5


def test_unit_addresses() -> None:
    """SL 2.2, p. 8: 1 to 247; 0 is to all and only for writing; 248 to 255 are reserved."""
    read, write = ReadRequest(Table.HOLDING, 0, 1), WriteRegister(0x10, 1)
    assert write.frame(0) == bytes.fromhex("00 06 00 10 00 01 48 1E")
    assert read.frame(247)[0] == 247
    for request, unit in ((read, 0), (read, 248), (write, 255), (ReportServerId(), 0), (write, -1)):
        with pytest.raises(IllegalRequestError):
            request.frame(unit)


@pytest.mark.parametrize(
    ("fmt", "bits", "silence_ms"),
    [
        # SL 2.5.1, p. 12-13: 11 bits; 3.5 characters up to 19200 Bd, 1.750 ms above.
        (SerialFormat(9600, "even"), 11, 4.010),
        (SerialFormat(19200, "odd"), 11, 2.005),
        (SerialFormat(38400, "even"), 11, 1.750),
        (SerialFormat(115200, "even"), 11, 1.750),
        (SerialFormat(9600, "none", 8, 2), 11, 4.010),
        # 8N1 is not in the standard; the silence is still that of 11 bits.
        (SerialFormat(9600, "none", 8, 1), 10, 4.010),
    ],
)
def test_times_of_a_line(fmt: SerialFormat, bits: int, silence_ms: float) -> None:
    assert fmt.bits_per_character == bits
    assert fmt.silence * 1000 == pytest.approx(silence_ms, abs=0.001)
    assert fmt.wire_time(fmt.baud_rate) == pytest.approx(bits)


def test_125_registers_at_9600() -> None:
    """8 + 255 characters of 11 bits and two silences: 309.37 ms (constructed from SL 2.5.1)."""
    fmt, request = SerialFormat(9600, "even"), ReadRequest(Table.HOLDING, 0, 125)
    characters = len(request.frame(1)) + request.reply_characters
    assert fmt.wire_time(characters) + 2 * fmt.silence == pytest.approx(0.30937, abs=5e-6)


def test_settings_read_as_on_the_meters_label() -> None:
    assert str(SerialFormat(19200, "even")) == "19200 8E1"
    assert str(SerialFormat(9600, "none", 8, 2)) == "9600 8N2"


def test_exceptions_are_those_of_the_specification() -> None:
    """AP 7, p. 48-49: 01 to 06, 08, 0A, 0B; no 07, no 09."""
    assert sorted(MEANINGS) == [1, 2, 3, 4, 5, 6, 8, 10, 11]
    assert describe(2).startswith("exception 02, illegal data address: ")
    assert describe(11).startswith("exception 0B, gateway target device failed to respond: ")
    assert "not in the specification" in describe(9)
