"""How long a meter is listened for once it has met silence: as long as no later round has to wait.

Times are sums written out: a map's patience is 0.5 s and 1 s after, a brief wait 0.1 s, the margin 0.25 s.
"""

import threading
from pathlib import Path
from types import SimpleNamespace

import minimalmodbus
import pytest

from protocols.modbus.timing import SerialFormat
from protocols.register_map.parse import parse_map
from readout.bus.exchange import Line, Manners
from readout.daemon.line.patience import after_silence
from readout.daemon.points import load_points
from readout.daemon.recorder import Assignment, Recorder
from readout.errors import PortError
from readout.review.about.logbook import log_book
from simulators.clock import FakeClock
from simulators.device.meter import SimulatedMeter
from simulators.faults import FaultPlayer, parse_plan
from simulators.faults.port import InnerPort
from simulators.line.pace import Pace
from storage.archive import ArchiveReader

FORMAT = SerialFormat(19200, "even", 8, 1)
MAP = """\
register_map: 1
meter: constructed
serial: {baud_rate: 19200, parity: even}
readings:
  flow: {input: 0, type: float32, unit: m3/h}
"""
POINT = """\
measuring_point: 1
name: meter-{unit}
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: map.yaml, unit_address: {unit}}}
line: {{port: fake}}
"""


@pytest.mark.parametrize(
    ("spare_s", "usual_s", "reads", "heard_s"),
    [
        (58.0, 0.03, 1, 1.5),  # (58 - 1.5) / 2 - 0.25 is more than the map's whole patience
        (3.9, 0.03, 1, 0.95),  # (3.9 - 1.5) / 2 - 0.25
        (3.9, 0.03, 2, 0.35),  # (3.9 - 1.5) / 4 - 0.25
        (0.9, 0.03, 1, 0.1),  # others are due before the first silence is over
        (0.9, 0.45, 1, 0.54),  # one that usually takes 0.45 s gets a fifth more
    ],
)
def test_the_rest_of_a_round_has_the_time_that_later_rounds_leave(
    spare_s: float, usual_s: float, reads: int, heard_s: float
) -> None:
    manners = Manners(reply_within=0.5, late_within=1.0)
    now, rest = after_silence(manners, usual_s, spare_s, reads)
    assert (now.reply_within, now.late_within, now.repeats) == (0.5, 1.0, 1)
    assert now.repeat_within is not None
    again = now.within(now.repeat_within)
    for one in (again, rest):
        assert one.reply_within == pytest.approx(min(0.5, heard_s))
        assert one.late_within == pytest.approx(max(0.0, heard_s - 0.5))
    assert rest.repeats == 0


def test_a_late_reply_to_a_repeat_is_heard_where_rounds_are_a_minute_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reply is lost, and the repeat's comes 0.4 s after `reply_within`: a value, in a row of its own round.

    Exchanges with unit 1: the round at minute 1, then at minute 2 the lost one, a spacer, the repeat.
    """
    monkeypatch.setattr(minimalmodbus, "time", SimpleNamespace(monotonic=lambda: 0.0, sleep=lambda _: None))
    (tmp_path / "map.yaml").write_text(MAP)
    files = [tmp_path / f"meter-{unit}.yaml" for unit in (1, 2)]
    for unit, file in enumerate(files, 1):
        file.write_text(POINT.format(unit=unit))
    clock, register_map = FakeClock(utc=1_777_852_830.7), parse_map(MAP.encode(), "map.yaml").map
    assert register_map is not None
    meters = [SimulatedMeter(register_map, unit_address=unit, clock=clock) for unit in (1, 2)]
    pace = Pace.of(FORMAT, 0.005)
    player = FaultPlayer(parse_plan("unit=1: . s . v900"), clock=clock, pace=pace)
    port = InnerPort(
        player.before(meters), clock, pace=pace, delivery=player.deliver,
        gone=lambda text: PortError("lost", text),
    )  # fmt: skip
    assignment = Assignment(tmp_path / "archive", load_points(files, 60_000), 180_000, 3_600_000)
    Recorder(assignment, lambda _: Line(port, FORMAT, clock), clock, lambda _: None).run(threading.Event())
    assert player.played["v"] == 1
    for unit in (1, 2):
        rows = ArchiveReader(tmp_path / "archive").read_rows(f"meter-{unit}", "live")
        assert rows["status"].to_pylist() == ["ok", "ok", "ok"]
    assert log_book(tmp_path / "archive", "meter-1").late_replies == 1
