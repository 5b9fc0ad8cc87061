"""`memory try` as an integrator sees it, with a map that is right and one that is not."""

import json
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner, Result

from protocols.register_map.parse import parse_map
from readout.cli.main import app
from readout.clock import SystemClock
from readout.errors import FellShort, NothingTrusted, PortError, WrongUse
from simulators.clock import WireClock
from simulators.device import SimulatedMeter
from simulators.line import SimulatedLine
from simulators.log_memory import LogOptions

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"
MAP = (DEMO / "insertion-meter.yaml").read_text(encoding="utf-8")
MAP = MAP.replace("reply_within: 250 ms", "reply_within: 200 ms\n  late_within: 100 ms")


#: 2026-05-04 12:00 UTC, 69F8 8A40 in seconds since 1970: with its words exchanged it is far from any year of
#: today, from whichever epoch. At other hours of the day it is not, and two layouts make sense.
NOON = 1_777_896_000.0


class MayClock(WireClock):
    """The meter's clock: it runs, from noon of that day."""

    def utc(self) -> float:
        """See `Clock`."""
        return NOON + self.monotonic() - STARTED


STARTED = WireClock().monotonic()


@pytest.fixture
def meter(monkeypatch: pytest.MonkeyPatch) -> SimulatedMeter:
    """With 300 records behind it; the computer's clock agrees with the meter's."""
    parsed = parse_map(MAP.encode(), "insertion-meter.yaml")
    assert parsed.map is not None
    monkeypatch.setattr(SystemClock, "utc", lambda _clock: MayClock().utc())
    return SimulatedMeter(parsed.map, clock=MayClock(), log=LogOptions.prefilled(300, 10.0))


@pytest.fixture
def port(meter: SimulatedMeter) -> Iterator[str]:
    with SimulatedLine([meter]) as line:
        yield line.port


def map_file(folder: Path, text: str = MAP) -> Path:
    file = folder / "map.yaml"
    file.write_text(text, encoding="utf-8")
    return file


def tried(file: Path, port: str, *words: str) -> Result:
    return CliRunner().invoke(app, ["memory", "try", str(file), port, *words])


def test_a_right_map_shows_its_records_beside_the_reading(tmp_path: Path, port: str) -> None:
    done = tried(map_file(tmp_path), port)
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0] == "plausible: word_order: low first, byte_order: high first (as the map says)"
    assert [line.split()[0] for line in lines[2:6]] == ["first", "second", "last", "now"]
    assert lines[1].split()[-6:] == ["flow", "m3/h", "pressure", "bar", "temperature", "degC"]
    assert "one layout makes sense" in done.stderr


def test_a_map_in_the_wrong_word_order_is_shown_what_is_right_and_why_it_is_not(
    tmp_path: Path, port: str
) -> None:
    file = map_file(tmp_path, MAP.replace("word_order: low first", "word_order: high first"))
    done = tried(file, port)
    assert done.exit_code == 1
    assert done.stdout.startswith("plausible: word_order: low first, byte_order: high first\n")
    assert "no sense: word_order: high first, byte_order: high first (as the map says)" in done.stdout
    assert "makes sense only in the other word order" in done.stderr
    document = json.loads(tried(file, port, "--json").stdout)
    first, *others = document["layouts"]
    assert (first["plausible"], first["turned"], first["as_in_map"]) == (True, ["words"], False)
    assert first["records"][0]["record"] == 0
    assert all(not one["plausible"] and one["faults"] for one in others)


def test_everything_tried_is_shown_where_it_is_asked_for(tmp_path: Path, port: str) -> None:
    few, every = (tried(map_file(tmp_path), port, *words).stdout for words in ((), ("--all",)))
    assert few.count("no sense:") == 0
    assert every.count("no sense:") > 10
    assert every.startswith("plausible:")


def test_only_the_pointer_is_written(tmp_path: Path, port: str, meter: SimulatedMeter) -> None:
    trace = tmp_path / "trace"
    assert tried(map_file(tmp_path), port, "--trace", str(trace)).exit_code == 0
    assert trace.stat().st_size > 0
    done = CliRunner().invoke(app, ["memory", "try", str(map_file(tmp_path)), port, "--json"])
    assert json.loads(done.stdout)["layouts"][0]["as_in_map"]
    assert meter.log is not None
    assert meter.log.recorder.recording  # a map that allows `recording` to be written has not used it


def test_nothing_to_try_is_told(tmp_path: Path, port: str) -> None:
    plain = MAP[: MAP.index("log_memory:")]
    done = tried(map_file(tmp_path, plain), port)
    assert isinstance(done.exception, WrongUse)
    assert "says nothing of a log_memory" in str(done.exception)


class Garbled:
    """Sends every reply with its last byte wrong."""

    def __init__(self, meter: SimulatedMeter) -> None:
        self.meter = meter

    def reply(self, frame: bytes) -> bytes | None:
        good = self.meter.reply(frame)
        return None if good is None else good[:-1] + bytes([good[-1] ^ 0x10])


def test_a_port_that_is_not_there_a_silent_and_a_garbled_meter_have_their_own_status(
    tmp_path: Path, meter: SimulatedMeter
) -> None:
    file = map_file(tmp_path)
    assert isinstance(tried(file, str(tmp_path / "nothing")).exception, PortError)
    with SimulatedLine([]) as line:
        silent = tried(file, line.port)
    assert isinstance(silent.exception, FellShort)
    assert "no reply within" in str(silent.exception)
    with SimulatedLine([Garbled(meter)]) as line:
        garbled = tried(file, line.port)
    assert isinstance(garbled.exception, NothingTrusted)


def test_in_a_process_of_its_own(tmp_path: Path, command: ModuleType) -> None:
    """By the computer's true clock."""
    map_file(tmp_path)
    parsed = parse_map(MAP.encode(), "insertion-meter.yaml")
    assert parsed.map is not None
    with SimulatedLine([SimulatedMeter(parsed.map, log=LogOptions.prefilled(300, 10.0))]) as line:
        done = command.run("memory", "try", "map.yaml", line.port, "--json", cwd=tmp_path)
        other = command.run("memory", "try", "map.yaml", line.port, "--unit-address", "3", cwd=tmp_path)
    assert done.status == 0, done
    assert done.json()["layouts"][0]["plausible"]
    assert (other.status, other.out) == (1, "")
