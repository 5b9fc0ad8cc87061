"""Each letter of a fault plan: exactly these bytes, at exactly these times.

Frames that answer something else, and exceptions, are written out as they were seen or computed elsewhere;
their checksums are crccheck's.
"""

from collections.abc import Callable
from random import Random

import pytest
from crccheck.crc import CrcModbus
from hypothesis import given
from hypothesis import strategies as st

from simulators.faults import ALPHABET, RECOGNISABLE, Timing
from simulators.faults.alphabet import Scene, flipped

Q0 = bytes.fromhex("01 03 00 00 00 02 C4 0B")
A = bytes.fromhex("01 03 04 11 11 22 22 37 B3")
Q4 = bytes.fromhex("01 03 00 00 00 04 44 09")
FOUR = bytes.fromhex("01 03 08 00 01 00 02 00 03 00 04 0D 14")


def sum_fits(frame: bytes) -> bool:
    return CrcModbus.calc(frame[:-2]).to_bytes(2, "little") == frame[-2:]


def with_sum(text: str) -> bytes:
    data = bytes.fromhex(text)
    return data + CrcModbus.calc(data).to_bytes(2, "little")


# The meter's turnaround is 20 ms. Milliseconds since the request, bytes in hex.
EXACT = [
    (".", [(20, A)]),
    ("x0", [(20, b"\x00" + A[1:])]),
    ("x71", [(20, A[:-1] + b"\x33")]),
    ("s", []),
    ("n", []),
    ("c4", [(20, A[:4])]),
    ("h", [(20, A[1:])]),
    ("h2", [(20, A[2:])]),
    ("d", [(20, A + A)]),
    ("d30", [(20, A), (50, A)]),
    ("e", [(0, Q0), (20, A)]),
    ("e7", [(0, Q0), (7, A)]),
    ("e0", [(20, Q0 + A)]),
    ("[se]", [(0, Q0)]),
    ("u2", [(20, bytes.fromhex("02 03 04 11 11 22 22 04 B3"))]),
    ("u", [(20, bytes.fromhex("02 03 04 11 11 22 22 04 B3"))]),
    ("m", [(20, bytes.fromhex("01 04 04 11 11 22 22 36 04"))]),
    ("q2", [(20, bytes.fromhex("01 03 02 11 11 74 18"))]),
    ("!06", [(20, bytes.fromhex("01 83 06 C1 32"))]),
    ("!02", [(20, bytes.fromhex("01 83 02 C0 F1"))]),
    ("!04", [(20, bytes.fromhex("01 83 04 40 F3"))]),
    ("!05", [(20, bytes.fromhex("01 83 05 81 33"))]),
    ("!0A", [(20, bytes.fromhex("01 83 0A C1 37"))]),
    ("!0b", [(20, bytes.fromhex("01 83 0B 00 F7"))]),
    ("!8F", [(20, bytes.fromhex("01 83 8F 00 94"))]),
    ("l480", [(480, A)]),
    ("v650", [(650, A)]),
    ("V2000", [(2000, A)]),
    ("p16,5", [(20, A[:5]), (36, A[5:])]),
    ("p5,1", [(20 + 5 * n, A[n : n + 1]) for n in range(9)]),
    ("k", [(5, with_sum("02 03 00 00 00 0A")), (25, with_sum("02 03 14" + 20 * "00")), (45, A)]),
    ("[l480d30]", [(480, A), (510, A)]),
]


@pytest.mark.parametrize(("plan", "wanted"), EXACT, ids=[plan for plan, _ in EXACT])
def test_a_letter_sends_these_bytes_at_these_times(
    rig: Callable, plan: str, wanted: list[tuple[float, bytes]]
):
    assert rig(plan).ask() == wanted


def test_every_letter_is_tried_here():
    tried = "".join(plan for plan, _ in EXACT) + "brzyfaoqWO"
    assert set(ALPHABET) <= set(tried)


def test_a_request_that_is_not_heard_reaches_no_meter_and_a_silent_meter_did_its_work(rig: Callable):
    deaf, silent = rig("n"), rig("s")
    assert deaf.ask() == silent.ask() == []
    assert deaf.meter.asked == []
    assert silent.meter.asked == [Q0]


@pytest.mark.parametrize("count", [1, 2, 3])
def test_noise_is_00_or_ff_and_the_frame_beside_it_is_whole(rig: Callable, count: int):
    ((at, ahead),) = rig(f"z{count}").ask()
    ((_, behind),) = rig(f"y{count}").ask()
    assert at == 20
    assert ahead[count:] == A
    assert behind[:-count] == A
    assert set(ahead[:count]) | set(behind[-count:]) <= {0x00, 0xFF}
    assert len(ahead) == len(behind) == 9 + count


def test_noise_may_lie_apart_from_the_frame(rig: Callable):
    (first, noise), (second, frame) = rig("z1,40").ask()
    assert (first, len(noise), second, frame) == (20, 1, 60, A)
    (first, frame), (second, noise) = rig("y2,40").ask()
    assert (first, frame, second, len(noise)) == (20, A, 60, 2)


def test_a_foreign_reply_comes_first_and_is_well_formed(rig: Callable):
    (first, foreign), (second, frame) = rig("f7,60").ask()
    assert (first, second, frame) == (20, 80, A)
    assert foreign[:3] == bytes.fromhex("07 03 04")
    assert len(foreign) == 9
    assert sum_fits(foreign)


def test_two_meters_on_one_address_collide_in_the_middle_of_the_frame(rig: Callable):
    ((_, data),) = rig("a").ask()
    assert data[:4] == A[:4]
    assert data[4:7] == A[:3]
    assert data[7:11] != A[3:7]
    assert sum_fits(data[4:])


@pytest.mark.parametrize("count", [1, 5, 8])
def test_another_byte_count_comes_with_as_many_bytes_and_a_right_checksum(rig: Callable, count: int):
    ((_, frame),) = rig(f"q{count}").ask()
    assert frame[:3] == bytes((1, 3, count))
    assert len(frame) == 5 + count
    assert sum_fits(frame)


def test_wild_data_stands_behind_a_right_head(rig: Callable):
    ((_, frame),) = rig("W").ask()
    assert frame[:3] == A[:3]
    assert len(frame) == 9
    assert frame != A


def test_rubbish_has_the_length_asked_for(rig: Callable):
    ((_, frame),) = rig("r7").ask()
    assert len(frame) == 7


def test_an_old_reply_comes_back_only_where_its_shape_gives_it_away(rig: Callable):
    other = rig(".o")
    other.ask(Q4)
    assert other.ask(Q0) == [(20, FOUR), (40, A)]
    same = rig(".o")
    same.ask(Q0)
    assert same.ask(Q0) == [(20, A)]


def test_an_old_reply_of_any_shape_is_that_of_the_request_before(rig: Callable):
    old = rig("..O")
    old.ask(Q0)
    old.ask(Q4)
    assert old.ask(Q0) == [(20, FOUR), (40, A)]


@pytest.mark.parametrize("seed", range(40))
def test_lateness_left_open_goes_by_the_readers_patience(rig: Callable, seed: int):
    patience = Timing(0.1, 0.4)
    in_time = rig(f"seed={seed}: l", patience).ask()[0][0]
    late = rig(f"seed={seed}: v", patience).ask()[0][0]
    too_late = rig(f"seed={seed}: V", patience).ask()[0][0]
    assert 20 <= in_time <= 90
    assert 140 <= late <= 460
    assert 550 <= too_late <= 750


def test_a_silent_meter_has_nothing_to_be_damaged(rig: Callable):
    unknown = with_sum("05 03 00 00 00 01")
    for letter in RECOGNISABLE + "WVO":
        arrived = rig("!06" if letter == "!" else letter).ask(unknown)
        assert letter in "ek" or arrived == [], letter  # an adapter's echo and other masters need no meter


@given(st.binary(min_size=1, max_size=251), st.integers(0, 2**32))
def test_a_burst_of_up_to_16_bits_never_leaves_a_fitting_checksum(data: bytes, seed: int):
    # MODBUS over Serial Line V1.02, 6.2.2: CRC-16. A CRC of degree 16 finds every burst of up to 16 bits.
    frame = data + CrcModbus.calc(data).to_bytes(2, "little")
    scene = Scene(b"", frame, Random(seed))
    ALPHABET["b"].effect(scene, ())
    assert scene.body != frame
    assert not sum_fits(scene.body)
    wrong = int.from_bytes(scene.body, "little") ^ int.from_bytes(frame, "little")
    lowest = (wrong & -wrong).bit_length() - 1
    assert 2 <= wrong.bit_length() - lowest <= 16


@given(st.integers(2, 16), st.integers(0, 2**32))
def test_a_burst_is_as_long_as_asked_for(length: int, seed: int):
    scene = Scene(b"", A, Random(seed))
    ALPHABET["b"].effect(scene, (length,))
    wrong = int.from_bytes(scene.body, "little") ^ int.from_bytes(A, "little")
    lowest = (wrong & -wrong).bit_length() - 1
    assert wrong.bit_length() - lowest == length


def test_bits_count_in_the_order_of_the_wire():
    assert flipped(b"\x00\x00", [0]) == b"\x01\x00"  # SL V1.02, 2.5.1: the lowest bit is sent first
    assert flipped(b"\x00\x00", [15]) == b"\x00\x80"
