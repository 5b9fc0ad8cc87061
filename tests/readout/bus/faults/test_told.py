"""docs/line-faults.md quotes the program: each sentence is one that the fault of its line brings out."""

import os
import re
import threading
import tty
from collections.abc import Callable
from pathlib import Path

import pytest

from protocols.errors import RequestError
from protocols.modbus.requests import ReadRequest, WriteRegister
from protocols.modbus.tables import Table
from protocols.modbus.timing import SerialFormat
from readout.bus import platform
from readout.bus.exchange import Manners
from readout.bus.line.statistics import Statistics
from readout.bus.outcome import Status
from readout.bus.port import open_port
from readout.bus.watched import WatchedPort
from readout.daemon.identity import Identity
from readout.daemon.line_access import LineAccess
from readout.daemon.telling.state_log import StateLog
from readout.diagnose.computer import findings
from readout.errors import PortError
from readout.poll.introduction import Introduction
from simulators.clock import FakeClock

ROOT = Path(__file__).parents[4]
FMT = SerialFormat(9600, "none")
FIRST = ReadRequest(Table.HOLDING, 0, 2)
Q0, A, B = "> 01 03 00 00 00 02 C4 0B", "01 03 04 11 11 22 22 37 B3", "01 03 04 33 33 44 44 36 4B"
MANNERS = Manners(reply_within=0.5, late_within=1.0)
WRITE, BACK = "> 01 06 00 20 00 05 48 03", "> 01 03 00 20 00 01 85 C0\n+20 < 01 03 02 00 04 B9 87"
#: What came behind Q0 at each baud rate, by entry of the page.
CAME: dict[str, list[tuple[int, str]]] = {
    "B01": [(9600, "01 83 02 C0 F1")],
    "B02": [(9600, f"{A} {A}")],
    "B03": [(9600, Q0[2:])],
    "B04": [(9600, f"00 00 00 {A}")],
    "B05": [(9600, A[3:])],
    "B06": [(9600, "")],
    "B08": [(9600, A[:11])],
    "B10": [(9600, A[:14]), (9600, A[12:]), (9600, A[15:])],
    "B12": [
        (19200, "06 80 1E 80 60 80 06 60 60 18 60 86 60 E6 1E 1E FE"),
        (4800, "8C D6 21 6F FF"),
        (9600, "D0 F9 F7 DD DD BB BB 91 00 00 00"),
        (9600, "01 00 04 00 00 00 00 37 B3"),
        (9600, "01 03 04 11 11 22 22 37 33"),
        (9600, "3A 30 31 30 33 30 34 31 31 31 31 32 32 32 32 39 32 0D 0A"),
        (9600, "6C 6F 67 69 6E 3A 20"),
        (9600, " ".join(["00"] * 40)),
    ],
    "B14": [
        (9600, "02 03 04 11 11 22 22 04 B3"),
        (9600, "01 04 04 11 11 22 22 36 04"),
        (9600, "01 03 02 11 11 74 18"),
        (9600, "01 03 08 00 01 00 02 00 03 00 04 0D 14"),
        (9600, "01 03 05 00 01 00 02 00 B2 0E"),
        (9600, "01 03 04 11 11 22 22 00 00"),
    ],
    "B16": [(9600, "01 83 02"), (9600, "01 03 00 04 11 11 22 22 8E 87")],
    "B19": [(9600, "01 83 06 C1 32"), (9600, "01 83 0B 00 F7")],
    "B22": [(9600, "00 01 00 00 00 07 01 03 04 11 11 22 22"), (9600, "FF FB 01 FF FB 03")],
    "B26": [(9600, f"41 54 0D {A}")],
    "B27": [(9600, "")],
    "B37": [(9600, "05 03 00 00 00 0A C4 49"), (9600, f"01 03 04 11 11 {B}")],
}


def refused(name: str, fmt: SerialFormat = FMT) -> str:
    with pytest.raises(PortError) as error:
        open_port(name, fmt)
    return str(error.value)


def doubted(play: Callable) -> str:
    played = play(f"{Q0}\n+20 < {A}\n+30 < {A}\n{Q0}\n+20 < {A}")
    played.line.settle([played.line.read(1, FIRST, MANNERS)])
    played.clock.at += 0.03
    played.line.read(1, FIRST, MANNERS)
    return " ".join(played.line.statistics.advice)


def noisy(play: Callable) -> str:
    played = play(f"{Q0}\n+20 < 00 {A}\n" * 20)
    for _ in range(20):
        played.line.read(1, FIRST, MANNERS)
    return " ".join(played.line.statistics.advice)


def disturbed(play: Callable) -> str:
    played = play(f"{Q0}\n+20 < {A}\n" * 19 + f"{Q0}\n+20 < 01 03 04 11 11 22 23 37 B3")
    for _ in range(19):
        played.line.transact(1, FIRST, MANNERS)
    return played.line.transact(1, FIRST, MANNERS).text


def departed(play: Callable) -> str:
    line = play(f"{Q0}\n+20 < 01 83 02").line
    line.read(1, FIRST, Manners(tolerate=("exception without checksum",)))
    return " ".join(line.statistics.advice)


def hasty(_play: Callable) -> str:
    """Four of six requests lost, all of them soon after a reply."""
    statistics = Statistics()
    for soon, silent in [(False, False), (True, True), (True, True), (True, True), (False, False)]:
        statistics.rhythm.note(soon=soon, silent=silent)
    return " ".join(statistics.advice)


def hung_up(_play: Callable) -> str:
    """A terminal whose far end has closed, and one that came back."""
    master, slave = os.openpty()
    tty.setraw(slave)
    port = open_port(os.ttyname(slave), FMT)
    os.close(slave)
    os.close(master)
    with pytest.raises(PortError) as gone:
        port.read(0.1)
    port.close()
    said: list[str] = []
    tries = iter([PortError("absent", "absent"), None])

    def connect() -> None:
        if (error := next(tries)) is not None:
            raise error

    clock = FakeClock()
    access = LineAccess("port", connect, clock, lambda _, text: said.append(text))
    access.open()
    clock.advance(1.01)
    access.reopen()
    return f"{gone.value} {said[-1]}"


def held(_play: Callable) -> str:
    master, slave = os.openpty()
    tty.setraw(slave)
    port = open_port(os.ttyname(slave), FMT)
    told = refused(port.name)
    port.close()
    os.close(slave)
    os.close(master)
    return told


def no_parity(_play: Callable) -> str:
    master, slave = os.openpty()
    tty.setraw(slave)
    port = open_port(os.ttyname(slave), SerialFormat(9600, "even"))
    notes = port.notes
    port.close()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(platform, "refused_setting", lambda *_: "even parity")
        told = refused(os.ttyname(slave))
    os.close(slave)
    os.close(master)
    return " ".join((told, *notes))


def denied(_play: Callable) -> str:
    def deny(path: str, *_: object) -> int:
        raise PermissionError(13, "Permission denied", path)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "open", deny)
        return refused("/dev/null")


def to_all(play: Callable) -> str:
    line = play("> 00 06 00 10 00 01 48 1E\n+60 < 01 06 00 10 00 01 49 CF").line
    told = line.write(0, WriteRegister(16, 1), MANNERS).text
    with pytest.raises(RequestError) as error:
        line.read(0, FIRST, MANNERS)
    return f"{told} {error.value}"


def reset(_play: Callable) -> str:
    """What the system says of a connection that was reset, on a port that is gone by it."""
    with pytest.MonkeyPatch.context() as patch:
        master, slave = os.openpty()
        tty.setraw(slave)
        port = open_port(os.ttyname(slave), FMT)
        os.write(master, b"\x01")

        def fail(*_: object) -> bytes:
            raise ConnectionResetError(104, "Connection reset by peer")

        patch.setattr(port, "_receive", fail)
        with pytest.raises(PortError) as error:
            port.read(1.0)
        port.close()
        os.close(slave)
        os.close(master)
    return f"{error.value} {refused('socket://127.0.0.1:1')}"


def stuck(_play: Callable) -> str:
    free = threading.Event()

    class Blocked:
        name, notes = "COM9", ()

        def read(self, wait: float) -> bytes:
            free.wait(10)
            return b""

        def close(self) -> None:
            """Nothing."""

    with pytest.raises(PortError) as error:
        WatchedPort(Blocked(), within=0.02).read(0.01)
    free.set()
    return str(error.value)


def on_computer(files: dict[str, str], port: str, tmp_path: Path) -> str:
    for name, text in files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    return " ".join(finding.sentence for finding in findings(port, tmp_path))


COMPUTERS = {
    "B07": ("/dev/ttyUSB0", {"sys/bus/usb-serial/devices/ttyUSB0/latency_timer": "16"}),
    "B24": ("/dev/ttyS0", {"dev/ttyS0": "", "proc/cmdline": "console=serial0,115200"}),
    "B26": (
        "/dev/ttyUSB0",
        {
            f"proc/{number}/{file}": name
            for number, name in ((612, "ModemManager"), (613, "brltty"))
            for file in ("comm", "cmdline")
        },
    ),
}


def other_meter(_play: Callable) -> str:
    said: list[str] = []
    identity = Identity("header", "EX-0042", lambda _: None, said.append)
    identity.judge(Introduction({"serial_number": "EX-0043"}, {}))
    return said[0]


def back(_play: Callable) -> str:
    said: list[str] = []
    log = StateLog(said.append)
    for second, status in enumerate([Status.OK, *[Status.NO_REPLY] * 3, Status.OK]):
        log.row("header", status, "silent", float(second))
    return " ".join(said)


def written(play: Callable) -> str:
    unknown = play(WRITE).line.write(1, WriteRegister(0x20, 5), MANNERS).text
    return unknown + play(f"{WRITE}\n{BACK}").line.write_checked(1, WriteRegister(0x20, 5), MANNERS).text


MORE: dict[str, list[Callable[[Callable], str]]] = {
    "B02": [doubted],
    "B03": [written],
    "B04": [noisy],
    "B09": [hung_up],
    "B10": [held],
    "B11": [denied],
    "B12": [disturbed],
    "B13": [no_parity],
    "B16": [departed],
    "B17": [hasty],
    "B20": [to_all],
    "B22": [reset],
    "B23": [stuck],
    "B27": [back],
    "B30": [other_meter],
    "B32": [written],
    "B35": [lambda _: refused("/dev/hollow-mere")],
}
#: Sentences that the named test itself holds word for word.
IN_THEIR_TEST = {
    "B18": "tests/readout/poll/test_refusing_meter.py",
    "B28": "tests/readout/bus/test_port.py",
}
QUOTED = [
    (line[2:5], sentence)
    for line in (ROOT / "docs/line-faults.md").read_text(encoding="utf-8").splitlines()
    if line.startswith("| B")
    for sentence in re.findall(r'"([^"]+)"', line)
]


@pytest.mark.parametrize(("entry", "sentence"), QUOTED)
def test_a_sentence_on_the_page_is_the_programs_own(
    play: Callable, tmp_path: Path, entry: str, sentence: str
) -> None:
    told = [make(play) for make in MORE.get(entry, [])]
    for baud_rate, came in CAME.get(entry, []):
        script = f"{Q0}\n+20 < {came}" if came else Q0
        line = play(script, fmt=SerialFormat(baud_rate, "none")).line
        told.append(line.transact(1, FIRST, MANNERS).text)
    if entry in COMPUTERS:
        port, files = COMPUTERS[entry]
        if entry == "B24":
            (tmp_path / "dev/serial/by-path").mkdir(parents=True)
            (tmp_path / "dev/serial/by-path/platform-3f215040.serial").symlink_to("../../ttyS0")
        told.append(on_computer(files, port, tmp_path))
    if entry in IN_THEIR_TEST:
        told.append((ROOT / IN_THEIR_TEST[entry]).read_text(encoding="utf-8"))
    assert any(sentence in text for text in told), told


def test_the_page_has_sentences_to_check() -> None:
    assert len(QUOTED) > 50
