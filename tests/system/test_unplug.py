"""An adapter pulled out and put back, again and again, while `log` runs; and another meter behind it.

The meter counts how often it was asked, and the test keeps what it told and when: a row can be compared with
the truth, and a reading that was invented, or told twice, shows.
"""

import itertools
import json
import re
import signal
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import pyarrow.dataset as ds
import pytest

from protocols.register_map.model import Value
from protocols.register_map.parse import parse_map
from simulators.device import SimulatedMeter
from simulators.faults.scripts import Unpluggable
from simulators.line import PtyEnd, SimulatedLine
from simulators.plant import Moment

MAP = """\
register_map: 1
meter: Hollow Mere counting meter
serial: {baud_rate: 19200, parity: even, unit_address: 12}
wire: {reply_within: 100 ms, late_within: 100 ms}
readings:
  count: {input: 0, type: uint32}
  twice: {input: 2, type: uint32}
identity:
  serial_number: {holding: 200, type: text, registers: 5}
"""
EVERY = timedelta(milliseconds=200)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
#: Seconds that the adapter is out, ten times within a minute: from a loose contact to a change of sockets;
#: and the first of them.
TEN_S = (0.2, 3.0, 0.5, 0.2, 2.0, 0.3, 1.0, 2.5, 0.7, 1.5)
FOUR_S = TEN_S[:4]
#: Seconds after its return within which there must be readings again.
BACK_S = 5.0
#: How a loss is told in a file: with its time, for the recording has no end.
LOSS = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ port lost: ")


@dataclass
class Counter:
    """What a counting meter shows, and the truth: each count with the UTC second in which it was told."""

    first: int = 1
    told: dict[int, float] = field(default_factory=dict)

    def quantity(self, value: Value, unit: str | None, at: Moment) -> int:
        """See `Source`; `twice` is 2 × the count of the same read."""
        if value.name == "twice":
            return 2 * max(self.told)
        count = self.first + len(self.told)
        self.told[count] = at.utc
        return count


def meter(counter: Counter, *, serial: int = 42) -> SimulatedMeter:
    """A meter with unit address 12 and serial number EX-00NN."""
    parsed = parse_map(MAP.encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    made = SimulatedMeter(parsed.map, source=counter, unit_address=serial - 30)
    made.unit_address = 12  # left the factory with the address that its serial number is made of
    return made


@dataclass
class Fitted:
    """The place behind the adapter: whichever meter is fitted there answers."""

    meter: SimulatedMeter

    def reply(self, frame: bytes) -> bytes | None:
        """See `Meter`."""
        return self.meter.reply(frame)


@dataclass
class Hall:
    """A running `log`, the adapter it reads through, and what is fitted behind that."""

    log: Any
    adapter: Unpluggable
    place: Fitted
    line: SimulatedLine
    archive: Path

    def lines(self) -> list[str]:
        """What the person has been told so far."""
        found: list[str] = self.log.so_far().err.splitlines()
        return found

    def rows(self) -> list[dict[str, Any]]:
        """Every sealed row, by sequence."""
        table = ds.dataset(self.archive / "rows/point=header/source=live").to_table()
        found: list[dict[str, Any]] = table.sort_by("sequence").to_pylist()
        return found

    def events(self) -> list[dict[str, Any]]:
        """What the ledger tells besides starts, stops and sealings."""
        ledger = [json.loads(line) for line in (self.archive / "ledger.jsonl").read_text().splitlines()]
        return [line for line in ledger if line["kind"] == "event"]


@pytest.fixture
def counter() -> Counter:
    """The first meter's count."""
    return Counter()


@pytest.fixture
def hall(command: ModuleType, tmp_path: Path, counter: Counter) -> Iterator[Hall]:
    """The log reads the first meter, five times a second."""
    with started(command, tmp_path, counter) as opened:
        yield opened


@contextmanager
def started(command: ModuleType, folder: Path, counter: Counter) -> Iterator[Hall]:
    (folder / "map.yaml").write_text(MAP, encoding="utf-8")
    command.write_point(folder, "header", "./adapter")
    with ExitStack() as stack:
        adapter = Unpluggable(lambda: PtyEnd(folder / "adapter"))
        place = Fitted(meter(counter))
        line = stack.enter_context(SimulatedLine([place], end=adapter))
        words = ["log", "header.yaml", "--archive", "archive", "--every", "200ms"]
        log = stack.enter_context(command.running(*words, cwd=folder))
        command.until(lambda: len(counter.told) > 5, what="readings")
        yield Hall(log, adapter, place, line, folder / "archive")


def assert_one_row_for_every_due_time(rows: list[dict[str, Any]]) -> None:
    """Numbered from 1 without a hole; due every 200 ms without one, none twice."""
    assert [row["sequence"] for row in rows] == list(range(1, len(rows) + 1))
    assert (rows[0]["due"] - EPOCH) % EVERY == timedelta(0)
    assert {after["due"] - row["due"] for row, after in itertools.pairwise(rows)} == {EVERY}


def assert_rows_are_the_truth(rows: list[dict[str, Any]], told: dict[int, float]) -> None:
    """Each count is one that the meter told, at the time when it told it, and in one row only."""
    counts = [row["count"] for row in rows if row["count"] is not None]
    assert counts == sorted(set(counts))
    for row in rows:
        if row["status"] == "ok":
            assert row["twice"] == 2 * row["count"]
            since_told = row["time"].timestamp() - told[row["count"]]
            assert -0.002 < since_told < 1, row  # rows keep milliseconds
        else:
            assert row["count"] is row["twice"] is row["raw_input_0"] is row["raw_input_3"] is None, row


@pytest.mark.parametrize("out", [FOUR_S, pytest.param(TEN_S, marks=pytest.mark.long)], ids=["four", "ten"])
def test_unplugged_again_and_again_within_a_minute(
    command: ModuleType, hall: Hall, counter: Counter, out: tuple[float, ...]
) -> None:
    """The same process goes on; every due time has its one row, every reading is one the meter told."""
    returns, heard = [], []
    began = time.monotonic()
    for out_s in out:
        before = len(hall.lines())
        hall.adapter.unplug()
        pulled = time.monotonic()
        if out_s >= 1:
            command.until(
                lambda before=before: len(hall.lines()) > before, timeout=out_s, what="the loss is told"
            )
        time.sleep(max(0.0, out_s - (time.monotonic() - pulled)))
        asked = len(counter.told)
        hall.adapter.plug()
        returns.append(datetime.now(UTC))
        command.until(
            lambda asked=asked: len(counter.told) > asked + 5, timeout=BACK_S + 2, what="readings again"
        )
        losses = [LOSS.match(line) is not None for line in hall.lines()[before:]]
        heard += [losses.count(True), losses.count(False)]
    assert time.monotonic() - began < 60
    assert hall.log.process.poll() is None, "the process that was started is still the one that reads"
    assert hall.log.end(signal.SIGINT).status == 0
    assert set(heard[::2]) == {1}, "each loss is told once"
    assert set(heard[1::2]) <= {1, 2}, "each return in two lines at most: the port, the meter"

    rows = hall.rows()
    assert_one_row_for_every_due_time(rows)
    assert_rows_are_the_truth(rows, counter.told)
    assert {row["status"] for row in rows} <= {"ok", "port lost", "no reply", "damaged reply", "skipped"}
    for out_s, back in zip(out, returns, strict=True):
        again = next(row for row in rows if row["status"] == "ok" and row["due"] > back)
        assert again["due"] - back < timedelta(seconds=BACK_S), f"after {out_s} s without the adapter"
    stretches = [status for status, _ in itertools.groupby(row["status"] for row in rows)]
    assert stretches.count("port lost") == len(out)
    assert [event["what"] for event in hall.events()] == ["port lost", "port back"] * len(out)
    assert command.run("archive", "verify", "archive", cwd=hall.archive.parent).status == 0


def test_another_meter_behind_the_adapter_never_gets_the_first_ones_name(
    command: ModuleType, hall: Hall, counter: Counter
) -> None:
    """It is not even asked for readings; that is said once on stderr and once in the ledger. A log that finds
    the first meter again records it at once."""
    other = Counter(first=1_000_000)
    hall.adapter.unplug()
    hall.place.meter = meter(other, serial=77)
    swapped = datetime.now(UTC)
    hall.adapter.plug()
    command.until(lambda: "ANOTHER METER" in hall.log.so_far().err, timeout=BACK_S, what="the alarm")
    asked = hall.line.stats.requests
    time.sleep(3.0)  # 15 rounds in which nothing of it may be recorded
    assert hall.line.stats.requests == asked, "who it is, it is asked once a minute"
    assert hall.log.end(signal.SIGTERM).status == 0
    hall.place.meter = meter(counter)
    words = ["log", "header.yaml", "--archive", "archive", "--every", "200ms", "--for", "1s"]
    again = command.run(*words, cwd=hall.archive.parent)
    assert again.status == 0

    assert other.told == {}
    (alarm,) = (line for line in hall.lines() if "ANOTHER METER" in line)
    assert all(word in alarm for word in ("header", "EX-0077", "EX-0042", "point file"))
    (event,) = (event for event in hall.events() if event["what"] == "other meter")
    assert (event["point"], event["expected"], event["found"]) == ("header", "EX-0042", "EX-0077")
    assert "METER" not in again.err

    rows = hall.rows()
    first, then = rows[:-5], rows[-5:]
    assert_one_row_for_every_due_time(first)
    assert_rows_are_the_truth(rows, counter.told)
    meanwhile = [row["status"] for row in first if row["due"] > swapped]
    assert len(meanwhile) > 15
    assert set(meanwhile) == {"port lost", "skipped"}
    assert [row["status"] for row in then] == ["ok"] * 5
