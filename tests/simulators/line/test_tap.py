"""A tap between two ports: what goes in on one side comes out on the other, unless it is altered."""

import os

from simulators.line import Tap, Way


def opened(port: str) -> int:
    return os.open(port, os.O_RDWR | os.O_NOCTTY)


def read_exactly(port: int, count: int) -> bytes:
    data = b""
    while len(data) < count:
        data += os.read(port, count - len(data))
    return data


def test_bytes_pass_both_ways():
    with Tap() as tap:
        master, meter = opened(tap.master_port), opened(tap.meter_port)
        os.write(master, b"\x01\x03\x00")
        assert read_exactly(meter, 3) == b"\x01\x03\x00"
        os.write(meter, bytes(range(256)))
        assert read_exactly(master, 256) == bytes(range(256))
        os.close(master)
        os.close(meter)


def test_what_passes_can_be_damaged_in_one_direction():
    def damage(way: Way, data: bytes) -> bytes:
        return data.replace(b"\x11", b"\x10") if way is Way.TO_MASTER else data

    with Tap(alter=damage) as tap:
        master, meter = opened(tap.master_port), opened(tap.meter_port)
        os.write(master, b"\x11")
        assert read_exactly(meter, 1) == b"\x11"
        os.write(meter, b"\x01\x11")
        assert read_exactly(master, 2) == b"\x01\x10"
        os.close(master)
        os.close(meter)
