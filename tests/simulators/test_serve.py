"""The whole simulated meter as the command offers it: a port, until told to stop."""

import os
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from crccheck.crc import CrcModbus

from protocols.register_map.model import RegisterMap
from simulators.errors import NoSuchEnd, NotSimulated, WrongValues
from simulators.serve import Offer, Placed, pace_of, run


def asked(body: str, unit: int = 12) -> bytes:
    data = bytes((unit,)) + bytes.fromhex(body)
    return data + CrcModbus.calc(data).to_bytes(2, "little")


@contextmanager
def served(meters: RegisterMap | list[Placed], offer: Offer, **own: Any) -> Iterator[str]:
    """Runs in a thread; gives the port's name."""
    placed = meters if isinstance(meters, list) else [Placed(meters, **own)]
    stop, ready, ports = threading.Event(), threading.Event(), []

    def announce(port: str) -> None:
        ports.append(port)
        ready.set()

    thread = threading.Thread(target=run, args=(placed, offer), kwargs={"ready": announce, "stop": stop})
    thread.start()
    try:
        assert ready.wait(60)
        yield ports[0]
    finally:
        stop.set()
        thread.join(5)
        assert not thread.is_alive()


def exchange_pty(port: str, request: bytes, length: int) -> bytes:
    descriptor = os.open(port, os.O_RDWR | os.O_NOCTTY)
    try:
        os.write(descriptor, request)
        reply = b""
        while len(reply) < length:
            reply += os.read(descriptor, 256)
        return reply
    finally:
        os.close(descriptor)


def test_a_meter_behind_a_link_answers_and_the_link_goes_with_it(meter_map: RegisterMap, tmp_path: Path):
    link = tmp_path / "meter"
    with served(meter_map, Offer(link=link)) as port:
        assert port == str(link)
        reply = exchange_pty(port, asked("03 0020 0001"), 7)
    assert reply == asked("03 02 000A")
    assert not link.is_symlink()


def test_a_meter_behind_tcp_answers_on_the_address_it_was_given(meter_map: RegisterMap):
    with served(meter_map, Offer(tcp="127.0.0.1:0"), unit_address=77) as port:
        host, _, number = port.removeprefix("socket://").rpartition(":")
        with socket.create_connection((host, int(number)), timeout=5) as client:
            client.sendall(asked("03 0020 0001", unit=77))
            assert client.recv(100) == asked("03 02 000A", unit=77)


def test_values_of_a_table_are_what_the_registers_tell(meter_map: RegisterMap, tmp_path: Path):
    table = tmp_path / "hall.csv"
    table.write_text("pressure,temperature\n7.001,-3.2\n")
    with served(meter_map, Offer(), values=table) as port:
        reply = exchange_pty(port, asked("04 0014 0002"), 9)
    assert reply == asked("04 04 1B59 FFE0")  # 7001 and -32 by hand


def test_a_paced_meter_takes_the_time_of_its_characters(meter_map: RegisterMap):
    # by hand: 8 + 7 characters of 11 bits at 1200 Bd are 137.5 ms, and 5 ms turnaround
    import time

    with served(meter_map, Offer(baud_rate=1200)) as port:
        before = time.monotonic()
        exchange_pty(port, asked("03 0020 0001"), 7)
        assert time.monotonic() - before >= 0.1425


def test_the_pace_follows_the_maps_parity_and_stop_bits(meter_map: RegisterMap):
    bare = replace(meter_map, serial=replace(meter_map.serial, parity="none", stop_bits=1))
    assert pace_of(bare, 9600).character == pytest.approx(10 / 9600)
    assert pace_of(meter_map, 9600).character == pytest.approx(11 / 9600)


@pytest.mark.parametrize(
    ("offer", "error", "sentence"),
    [
        (Offer(tcp="8080"), NoSuchEnd, "--tcp wants HOST:PORT"),
        (Offer(tcp="localhost:99999"), NoSuchEnd, "--tcp wants HOST:PORT"),
        (Offer(tcp="localhost:0", link=Path("x")), NoSuchEnd, "either --link or --tcp"),
    ],
)
def test_what_cannot_be_offered_is_told_before_anything_is_ready(
    meter_map: RegisterMap, offer: Offer, error: type[Exception], sentence: str
):
    with pytest.raises(error, match=sentence):
        run([Placed(meter_map)], offer, ready=lambda port: pytest.fail(port), stop=threading.Event())


@pytest.mark.parametrize(
    ("own", "error", "sentence"),
    [
        ([{"unit_address": 248}], NotSimulated, "A unit address is 1 to 247"),
        ([{"values": Path("nowhere.csv")}], WrongValues, "nowhere.csv: This file cannot be read"),
        ([{}, {}], NotSimulated, "Two meters have unit address 12"),
        ([{}, {"unit_address": 13, "values": Path("nowhere.csv")}], WrongValues, "nowhere.csv"),
    ],
)
def test_meters_that_cannot_be_placed_are_told_before_anything_is_ready(
    meter_map: RegisterMap, own: list[dict[str, Any]], error: type[Exception], sentence: str
):
    placed = [Placed(meter_map, **each) for each in own]
    with pytest.raises(error, match=sentence):
        run(placed, Offer(), ready=lambda port: pytest.fail(port), stop=threading.Event())


@pytest.mark.parametrize("faults", ["", "(.)*"], ids=["bare", "behind a fault plan"])
def test_several_meters_on_one_line_answer_each_at_its_own_address(
    meter_map: RegisterMap, tmp_path: Path, faults: str
):
    """By hand: 7001 is 1B59 and 6500 is 1964."""
    placed = []
    for unit, pressure in ((12, "7.001"), (13, "6.500")):
        table = tmp_path / f"{unit}.csv"
        table.write_text(f"pressure\n{pressure}\n")
        placed.append(Placed(meter_map, unit, table))
    with served(placed, Offer(faults=faults)) as port:
        assert exchange_pty(port, asked("04 0014 0001", 13), 7) == asked("04 02 1964", 13)
        assert exchange_pty(port, asked("04 0014 0001", 12), 7) == asked("04 02 1B59", 12)
