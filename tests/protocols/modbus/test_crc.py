"""The checksum against the specification, against crccheck, and over many records at once."""

import numpy as np
import pytest
from crccheck.crc import CrcModbus
from hypothesis import given
from hypothesis import strategies as st

from protocols.modbus.crc import crc16, crc16_rows, fits, with_crc


@pytest.mark.parametrize(
    ("data", "sent"),
    [
        # MODBUS over Serial Line V1.02, 6.2.2, p. 41: the register is 1241, the frame carries 41 then 12.
        ("02 07", "41 12"),
        # The check value of CRC-16/MODBUS, as crccheck and crcmod carry it: 4B37.
        ("31 32 33 34 35 36 37 38 39", "37 4B"),
    ],
)
def test_published_checksum(data: str, sent: str) -> None:
    assert with_crc(bytes.fromhex(data)) == bytes.fromhex(data + sent)


@given(st.binary(max_size=300))
def test_agrees_with_crccheck(data: bytes) -> None:
    assert crc16(data) == CrcModbus.calc(data)


@given(st.binary(min_size=2, max_size=254), st.data())
def test_any_flipped_bit_is_found(data: bytes, choice: st.DataObject) -> None:
    frame = bytearray(with_crc(data))
    assert fits(bytes(frame))
    place = choice.draw(st.integers(0, 8 * len(frame) - 1))
    frame[place // 8] ^= 1 << place % 8
    assert not fits(bytes(frame))


@pytest.mark.parametrize("frame", ["", "01", "FF FF", "01 83 02"])
def test_a_piece_too_short_for_a_frame_never_fits(frame: str) -> None:
    """`FF FF` leaves zero in the register, and is no frame."""
    assert not fits(bytes.fromhex(frame))


def test_many_records_at_once_agree_with_crccheck() -> None:
    rows = np.random.default_rng(7).integers(0, 256, (500, 9), dtype=np.uint8)
    assert crc16_rows(rows).tolist() == [CrcModbus.calc(bytes(row)) for row in rows]
