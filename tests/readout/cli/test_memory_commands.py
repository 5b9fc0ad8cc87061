"""`memory start`, `stop` and `erase` on a simulated meter: asked, done, read back, kept; each refusal."""

import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner, Result

from protocols.register_map.parse import parse_map
from readout.cli.main import app
from readout.errors import FellShort, PortError, WrongUse
from simulators.device import SimulatedMeter
from simulators.line import PtyEnd, SimulatedLine
from simulators.log_memory import LogOptions, Past
from storage.archive import ArchiveReader
from storage.errors import ArchiveAbsent
from storage.ledger import Line, read_file

MAP = """\
register_map: 1
meter: Hollow Mere test meter
serial: {{baud_rate: 115200, parity: even, unit_address: 12}}
wire: {{reply_within: 200 ms, late_within: 100 ms}}
settings:
  log_interval: {{holding: 32, type: uint16, unit: s, steps: [1, 10, 3600], write: allowed}}
{clock}identity: {{serial_number: {{holding: 60, type: text, registers: 4}}}}
log_memory:
  capacity: 120
  recording: {{holding: 80, type: uint16, codes: {codes}{write}}}
  {extent}
  record:
    registers: 4
    fields: {{{time}, flow: {{at: 2, type: float32, unit: m3/h}}}}
  reached_by: {{registers: {{input: 1000}}}}
"""
SESSIONS = """sessions:
    count: {input: 100}
    table: {input: 110, registers: 7}
    most: 8
    fields:
      started:  {at: 0, type: unix time}
      interval: {at: 2, type: uint16, unit: s}
      records:  {at: 3, type: uint32}
      first:    {at: 5, type: uint32}"""
COUNT = "count: {input: 100}"
ALL_CODES, ALLOWED = "{0: idle, 1: recording, 2: erase}", ", write: allowed"
POINT = """\
measuring_point: 1
name: header
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: map.yaml{meter}}}
line: {{port: ./meter-port}}
"""


class Site:
    """A folder with point, map and archive."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.archive = folder, folder / "hollow-mere"
        self.map()
        self.point()

    def map(
        self,
        codes: str = ALL_CODES,
        write: str = ALLOWED,
        extent: str = SESSIONS,
        time: str = "number: {at: 0, type: uint32}",
        clock: str = "",
    ) -> None:
        self.text = MAP.format(codes=codes, write=write, extent=extent, time=time, clock=clock)
        (self.folder / "map.yaml").write_text(self.text, encoding="utf-8")

    def point(self, meter: str = "") -> None:
        (self.folder / "header.yaml").write_text(POINT.format(meter=meter), encoding="utf-8")

    def device(self, log: LogOptions) -> SimulatedMeter:
        parsed = parse_map(self.text.encode(), "map.yaml")
        assert parsed.map is not None, parsed.faults
        return SimulatedMeter(parsed.map, log=log)

    @contextmanager
    def line(self, device: SimulatedMeter) -> Iterator[SimulatedMeter]:
        with SimulatedLine([device], end=PtyEnd(self.folder / "meter-port")):
            yield device

    def run(self, act: str, *words: str, typed: str = "") -> Result:
        point = str(self.folder / "header.yaml")
        return CliRunner().invoke(
            app, ["memory", act, point, "--archive", str(self.archive), *words], input=typed
        )

    @property
    def ledger(self) -> tuple[Line, ...]:
        return read_file(self.archive / "ledger.jsonl").lines

    @property
    def settings(self) -> list[dict]:
        return [dict(line.content) for line in self.ledger if line.kind == "setting"]


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return Site(tmp_path)


STOPPED = LogOptions((Past(100, 1.0),), recording=False, interval=1.0)


def test_start_says_what_it_means_asks_and_is_kept(site: Site) -> None:
    with site.line(site.device(LogOptions((Past(100),), recording=False, interval=3600.0))) as meter:
        done = site.run("start", typed="y\n")
        assert done.exit_code == 0, done.output
        assert "a record every 3600 s; 100 of 120 places are taken, the 20 left last 20 h" in done.stderr
        assert "header: start recording? [y/N]" in done.stderr
        assert "the meter is recording" in done.stdout
        assert meter.log is not None
        assert meter.log.recorder.recording
    (kept,) = site.settings
    assert (kept["name"], kept["old"], kept["new"]) == ("recording", "idle", "recording")
    assert (kept["records"], kept["interval_s"]) == (100, 3600)
    assert kept["serial_number"]


def test_a_clock_that_is_wrong_is_told_before_records_get_their_times_from_it(site: Site) -> None:
    site.map(clock="  clock: {holding: 34, type: unix time, write: allowed}\n")
    behind = LogOptions((), recording=False, interval=1.0, clock_ahead=-90.0)
    with site.line(site.device(behind)):
        done = site.run("start", typed="n\n")
    assert re.search(r"the meter's clock is (89|90|91) s behind this computer's", done.stderr), done.stderr


def test_stop_is_read_back_and_done_only_once(site: Site) -> None:
    with site.line(site.device(LogOptions((), interval=3600.0))) as meter:
        done = site.run("stop", "--yes", "--json")
        assert done.exit_code == 0, done.output
        assert json.loads(done.stdout)["changed"]
        writes = meter.writes
        again = site.run("stop", "--yes", "--json")
        assert again.exit_code == 0
        assert json.loads(again.stdout)["changed"] is False
        assert meter.writes == writes
    assert len(site.settings) == 1


class Dying:
    """Carries out the first write, and is never heard again."""

    def __init__(self, meter: SimulatedMeter) -> None:
        self.meter = meter

    def reply(self, frame: bytes) -> bytes | None:
        if self.meter.writes:
            return None
        answer = self.meter.reply(frame)
        return None if self.meter.writes else answer


def test_a_command_of_which_nobody_knows_what_became_is_kept_so(site: Site) -> None:
    meter = site.device(LogOptions((), interval=3600.0))
    with site.line(Dying(meter)):
        done = site.run("stop", "--yes")
    assert isinstance(done.exception, FellShort)
    assert "'idle' was written, and what came of it could not be read" in done.stderr
    (kept,) = site.settings
    assert (kept["old"], kept["new"]) == ("recording", None)


def test_no_is_no(site: Site) -> None:
    with site.line(site.device(STOPPED)) as meter:
        assert site.run("start", typed="n\n").exit_code == 1
        assert meter.writes == 0


def test_a_full_memory_is_not_started(site: Site) -> None:
    full = LogOptions((Past(120, 1.0),), recording=False, interval=1.0)
    with site.line(site.device(full)):
        done = site.run("start", "--yes")
    assert isinstance(done.exception, FellShort)
    assert "the memory is full (120 records)" in str(done.exception)
    assert site.settings == []


@pytest.mark.parametrize(
    ("act", "change", "said"),
    [
        ("start", {"write": ""}, r"lacks write: allowed for it \(line "),
        ("erase", {"codes": "{0: idle, 1: recording}"}, "no command for 'erase'"),
        ("stop", {"codes": "{0: idle, 1: recording}", "write": ""}, "lacks write: allowed"),
    ],
)
def test_what_the_map_does_not_allow_is_refused_before_the_port_is_opened(
    site: Site, act: str, change: dict[str, str], said: str
) -> None:
    site.map(**change)
    done = site.run(act, "--yes")
    assert isinstance(done.exception, WrongUse)
    assert re.search(said, str(done.exception))


@pytest.mark.parametrize("act", ["start", "stop", "erase"])
def test_a_customers_meter_is_never_told_anything(site: Site, act: str) -> None:
    site.point(", owner: customer")
    done = site.run(act, "--yes")
    assert isinstance(done.exception, WrongUse)
    assert "owner: customer" in str(done.exception)


@pytest.mark.parametrize("act", ["start", "erase"])
def test_another_meter_is_told_nothing(site: Site, act: str) -> None:
    site.point(", serial_number: EX-9999")
    site.archive.mkdir()
    (site.archive / "ledger.jsonl").touch()
    with site.line(site.device(STOPPED)) as meter:
        done = site.run(act, "--yes")
        assert meter.writes == 0
    assert isinstance(done.exception, WrongUse)
    assert "ANOTHER METER" in str(done.exception)


def test_without_an_archive_nothing_is_erased(site: Site) -> None:
    done = site.run("erase", "--yes")
    assert isinstance(done.exception, ArchiveAbsent)
    assert not site.archive.exists()


def serial_of(device: SimulatedMeter, site: Site) -> str:
    done = CliRunner().invoke(app, ["meter", "show", str(site.folder / "header.yaml"), "--json"])
    return str(json.loads(done.stdout)["identity"]["serial_number"])


@pytest.fixture
def fetched(site: Site) -> Iterator[Callable[..., Result]]:
    """A stopped meter of 100 records, all in the archive; `erase(*words, typed=...)`."""
    with site.line(site.device(STOPPED)) as meter:
        assert site.run("fetch").exit_code == 0
        site.meter, site.serial = meter, serial_of(meter, site)
        yield lambda *words, typed="": site.run("erase", *words, typed=typed)


def held(site: Site) -> int:
    return len(site.meter.log.truth().number)


def test_erase_wants_the_serial_number_typed_whatever_else_is_said(site: Site, fetched) -> None:
    for words, typed in (
        (["--yes"], "EX-1\n"),
        (["--yes"], "\n"),
        (["--yes", "--serial-number", "EX-1"], ""),
    ):
        done = fetched(*words, typed=typed)
        assert isinstance(done.exception, WrongUse), done.output
        assert "is not this meter's serial number; nothing was erased" in str(done.exception)
    assert fetched("--serial-number", site.serial, typed="n\n").exit_code == 1
    assert held(site) == 100
    assert site.settings == []


def test_erase_empties_a_memory_that_is_archived(site: Site, fetched) -> None:
    done = fetched("--json", typed=f"{site.serial}\n")
    assert done.exit_code == 0, done.output
    document = json.loads(done.stdout)
    assert (document["old"], document["new"], document["changed"]) == (100, 0, True)
    assert held(site) == 0
    (kept,) = site.settings
    assert (kept["name"], kept["old"], kept["serial_number"]) == ("erase", 100, site.serial)
    assert kept["archive"]["n"] == document["ledger"]["n"] - 1
    assert ArchiveReader(site.archive).read_rows("header", "memory").num_rows == 100
    again = fetched("--yes", "--serial-number", site.serial)
    assert again.exit_code == 0
    assert "empty already" in again.stdout


def test_a_memory_that_is_not_archived_is_archived_and_left_as_it_is(site: Site) -> None:
    site.archive.mkdir()
    (site.archive / "ledger.jsonl").touch()
    with site.line(site.device(STOPPED)) as meter:
        site.meter = meter
        done = site.run("erase", "--yes", "--serial-number", serial_of(meter, site))
    assert isinstance(done.exception, FellShort)
    assert "100 of 100 records were not in the archive" in str(done.exception)
    assert held(site) == 100


def test_a_damaged_archive_erases_nothing(site: Site, fetched) -> None:
    (file,) = site.archive.glob("rows/**/*.parquet")
    data = bytearray(file.read_bytes())
    data[len(data) // 2] ^= 1
    file.chmod(0o644)
    file.write_bytes(data)
    done = fetched("--yes", "--serial-number", site.serial)
    assert done.exit_code != 0
    assert held(site) == 100
    assert site.settings == []


def test_a_recording_meter_is_not_erased(site: Site) -> None:
    site.archive.mkdir()
    (site.archive / "ledger.jsonl").touch()
    with site.line(site.device(LogOptions((Past(50, 3600.0),), interval=3600.0))) as meter:
        done = site.run("erase", "--yes", "--serial-number", serial_of(meter, site))
        assert isinstance(done.exception, FellShort)
        assert "the meter is recording" in str(done.exception)


def test_a_memory_erased_at_the_meter_and_filled_anew_is_not_taken_for_the_archived_one(site: Site) -> None:
    """Without sessions nothing but the records themselves tells the second filling from the first."""
    site.map(extent=COUNT, time="time: {at: 0, type: unix time}")
    with site.line(site.device(STOPPED)) as meter:
        site.meter = meter
        assert site.run("fetch").exit_code == 0
        serial = serial_of(meter, site)
    second = LogOptions((Past(100, 1.0, start=1_777_852_800.0),), recording=False, interval=1.0)
    with site.line(site.device(second)) as meter:
        site.meter = meter
        done = site.run("erase", "--yes", "--serial-number", serial)
        assert isinstance(done.exception, FellShort), done.output
        assert held(site) == 100
        assert site.settings == []


def test_an_absent_port_has_its_own_status(site: Site) -> None:
    done = site.run("start", "--yes")
    assert isinstance(done.exception, PortError)


def test_in_a_process_of_its_own(site: Site, command: ModuleType) -> None:
    with site.line(site.device(STOPPED)) as meter:
        serial = serial_of(meter, site)
        words = ("header.yaml", "--archive", "hollow-mere")
        assert command.run("memory", "fetch", *words, cwd=site.folder).status == 0
        done = command.run(
            "memory", "erase", *words, "--yes", "--serial-number", serial, "--json", cwd=site.folder
        )
        assert done.status == 0, done
        assert done.json()["new"] == 0
        assert command.run("archive", "verify", "hollow-mere", cwd=site.folder).status == 0
        nobody = command.run("memory", "start", *words, cwd=site.folder)
        assert (nobody.status, nobody.out) == (2, "")
