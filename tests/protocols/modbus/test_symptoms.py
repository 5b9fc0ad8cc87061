"""What came back is named by its cause: the bytes of each fault, answer 1111 2222 to a read of two registers.

The bytes were modelled bit by bit, by hand and by a program of its own, from MODBUS over Serial Line V1.02,
2.5.1 (characters of start bit, 8 data bits lowest first, parity, stop), and Application Protocol V1.1b3, 6.3.
"""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.modbus.requests import ReadRequest, WriteRegister
from protocols.modbus.symptoms import History, Kind, classify
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat

Q0 = bytes.fromhex("01 03 00 00 00 02 C4 0B")
A = "01 03 04 11 11 22 22 37 B3"
AT_9600 = SerialFormat(9600, "none")
STRAY_REQUEST = "05 03 00 00 00 0A C4 49 05 03 14" + " 00" * 20 + " 91 94 "


def kind_of(received: str, baud_rate: int = 9600, history: History | None = None) -> Kind:
    return classify(Q0, bytes.fromhex(received), SerialFormat(baud_rate, "none"), history).kind


@pytest.mark.parametrize(
    ("baud_rate", "received", "kind"),
    [
        (19200, "06 80 1E 80 60 80 06 60 60 18 60 86 60 E6 1E 1E FE", Kind.HOST_FASTER),
        (4800, "8C D6 21 6F FF", Kind.HOST_SLOWER),
        (9600, "D0 F9 F7 DD DD BB BB 91 00 00 00", Kind.SWAPPED),
        (9600, "01 00 04 00 00 00 00 37 B3", Kind.PARITY),
        (9600, "01 03 04 11 11 22 22 37 33", Kind.DATA_BITS),
        (9600, "3A 30 31 30 33 30 34 31 31 31 31 32 32 32 32 39 32 0D 0A", Kind.ASCII_MODE),
        (9600, "6C 6F 67 69 6E 3A 20", Kind.TEXT),
        (9600, "00" * 666, Kind.STUCK),
        (9600, "", Kind.SILENCE),
        (9600, A, Kind.ANSWER),
        (9600, "01 83 02 C0 F1", Kind.ANSWER),
        (9600, "01 03 00 00 00 02 C4 0B", Kind.ECHO_ONLY),
        (9600, "01 03 00 00 00 02 C4 0B" + A, Kind.ANSWER),
        (9600, "03 00 00 00 02 C4 0B" + A, Kind.ANSWER),
        (9600, "00" + A, Kind.NOISE_AROUND),
        (9600, "FF" + A + "00", Kind.NOISE_AROUND),
        (9600, "00 01 83 02 C0 F1 00", Kind.NOISE_AROUND),
        (9600, "03 04 11 11 22 22 37 B3", Kind.START_CUT),
        (9600, "04 11 11 22 22 37 B3", Kind.START_CUT),
        (9600, "01 03 04 11", Kind.INCOMPLETE),
        (9600, "01 03 04 11 11 22 22 00 00", Kind.BAD_CHECKSUM),
        (9600, "01 83 02", Kind.EXCEPTION_WITHOUT_CRC),
        (9600, "01 03 00 04 11 11 22 22 8E 87", Kind.TWO_BYTE_COUNT),
        (9600, "01 03 08 00 01 00 02 00 03 00 04 0D 14", Kind.FOUR_BYTES),
        (9600, "02 03 04 11 11 22 22 04 B3", Kind.OTHER_UNIT),
        (9600, "01 04 04 11 11 22 22 36 04", Kind.MISFIT),
        (9600, "01 03 02 11 11 74 18", Kind.MISFIT),
        (9600, "01 03 05 00 01 00 02 00 B2 0E", Kind.MISFIT),
        (9600, "00 01 00 00 00 07 01 03 04 11 11 22 22", Kind.MODBUS_TCP),
        (9600, "FF FB 01 FF FB 03", Kind.TELNET),
        (9600, "0D 0A 72 65 61 64 79 0D 0A", Kind.TEXT),
        (9600, "41 54 0D", Kind.MODEM_PROBE),
        (9600, "41 54 0D" + A, Kind.MODEM_PROBE),
        (9600, STRAY_REQUEST + A, Kind.OTHER_MASTER),
        (9600, "01 03 04 11 11 01 03 04 33 33 44 44 36 4B", Kind.TWO_DEVICES),
        (9600, A + A, Kind.TWO_DEVICES),
        (9600, "5A 17 C3", Kind.GARBAGE),
    ],
)
def test_a_fault_is_named_from_its_bytes_in_at_most_three_lines(
    baud_rate: int, received: str, kind: Kind
) -> None:
    data = bytes.fromhex(received)
    symptom = classify(Q0, data, SerialFormat(baud_rate, "none"))
    assert symptom.kind is kind
    assert len(symptom.lines) <= 3
    assert data[:32].hex(" ").upper() in symptom.lines[0]


def test_the_other_baud_rate_is_named() -> None:
    fast = bytes.fromhex("06 80 1E 80 60 80 06 60 60 18 60 86 60 E6 1E 1E FE")
    assert classify(Q0, fast, SerialFormat(19200, "none")).baud_rate == 9600
    assert classify(Q0, bytes.fromhex("8C D6 21 6F FF"), SerialFormat(4800, "none")).baud_rate == 9600


def test_a_bit_flipped_once_in_twenty_replies_is_a_disturbed_line_whatever_bit_it_was() -> None:
    for bit in range(72):
        damaged = bytearray.fromhex(A)
        damaged[bit // 8] ^= 1 << bit % 8
        symptom = classify(Q0, bytes(damaged), AT_9600, History(asked=20, damaged=1))
        assert symptom.kind is Kind.BAD_NOW_AND_THEN
        assert "1 of 20" in symptom.sentence


def test_one_copy_of_a_write_is_its_reply_until_the_adapter_is_known_to_hear_itself() -> None:
    write = WriteRegister(16, 1).frame(1)
    assert write == bytes.fromhex("01 06 00 10 00 01 49 CF")
    assert classify(write, write, AT_9600).kind is Kind.ANSWER
    assert classify(write, write, AT_9600, History(echo=True)).kind is Kind.ECHO_ONLY
    assert classify(write, write + write, AT_9600, History(echo=True)).kind is Kind.ANSWER


def test_only_silence_and_echo_mean_that_nobody_answered() -> None:
    assert [kind for kind in Kind if not kind.came] == [Kind.SILENCE, Kind.ECHO_ONLY]


#: Names that say something about the cause; the others only describe what came.
SPECIFIC = frozenset(Kind) - {
    Kind.ANSWER,
    Kind.SILENCE,
    Kind.NOISE_AROUND,
    Kind.BAD_CHECKSUM,
    Kind.BAD_NOW_AND_THEN,
    Kind.INCOMPLETE,
    Kind.GARBAGE,
}


@pytest.mark.parametrize("baud_rate", [2400, 9600, 115200])
@pytest.mark.parametrize("parity", ["none", "even"])
def test_random_noise_is_not_given_a_cause(baud_rate: int, parity: str) -> None:
    chance = random.Random(baud_rate)
    fmt = SerialFormat(baud_rate, parity)
    named = [
        kind
        for _ in range(300)
        if (kind := classify(Q0, chance.randbytes(chance.randint(1, 24)), fmt).kind) in SPECIFIC
    ]
    assert len(named) <= 1  # odds of some 1 in 1,000 a piece


@given(
    st.sampled_from([Table.HOLDING, Table.INPUT]),
    st.integers(1, 247),
    st.lists(st.integers(0, 0xFFFF), min_size=1, max_size=125),
    st.sampled_from([1200, 9600, 115200]),
)
def test_a_good_reply_is_an_answer(table: Table, unit: int, words: list[int], baud_rate: int) -> None:
    from protocols.modbus.replies import Registers
    from protocols.modbus.server import reply_frame

    request = ReadRequest(table, 0, len(words))
    frame = reply_frame(unit, request, Registers(tuple(words)))
    symptom = classify(request.frame(unit), frame, SerialFormat(baud_rate, "even"))
    assert symptom.kind is Kind.ANSWER
    assert symptom.advice == ()


#: What answer A becomes where this side takes no parity bit: characters whose parity bit was low are 00.
AS_BY_PARITY = {
    bytes(byte if byte.bit_count() % 2 == high else 0 for byte in bytes.fromhex(A)) for high in (0, 1)
}


@given(st.integers(0, 71), st.integers(0, 71), st.integers(0, 71))
def test_a_damaged_reply_on_an_unknown_line_is_blamed_on_the_line_or_on_nothing(
    first: int, second: int, third: int
) -> None:
    damaged = bytearray.fromhex(A)
    for bit in {first, second, third}:
        damaged[bit // 8] ^= 1 << bit % 8
    symptom = classify(Q0, bytes(damaged), AT_9600)
    if bytes(damaged) in AS_BY_PARITY:
        return  # these very bytes come where the parity differs: nothing could tell the two apart
    # A flipped function or unit with a fitting checksum does not occur within three bits of nine bytes.
    assert symptom.kind in (Kind.BAD_CHECKSUM, Kind.GARBAGE, Kind.DATA_BITS)
    if symptom.kind is Kind.DATA_BITS:
        assert max(damaged) < 0x80
