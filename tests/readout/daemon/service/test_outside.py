"""A reading that stays outside its map's range: when a command is told, and with which facts."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import pytest

from protocols.register_map.model import Value
from protocols.register_map.parse import parse_map
from readout.daemon.live.told import Told, ToldReading
from readout.daemon.points import PointToRecord, load_points
from readout.daemon.service.outside import Outside
from simulators.device.meter import SimulatedMeter
from simulators.line.simulated import SimulatedLine
from simulators.plant.source import Moment
from storage.journal import Row

#: In the hall's air header 5 to 8 bar(g) are usual (constructed).
LOW, HIGH = "5", "8.25"
SCRIPT = """\
#!/bin/sh
echo "$PIPELEDGER_POINT $PIPELEDGER_CHANGE $PIPELEDGER_READING $PIPELEDGER_VALUE $PIPELEDGER_UNIT \
$PIPELEDGER_FLAG, $PIPELEDGER_LOW to $PIPELEDGER_HIGH" >> "$PIPELEDGER_ARCHIVE/told"
"""


def with_range(command: ModuleType) -> str:
    """The test meter's map, with a range for its pressure."""
    text: str = command.MAP.replace("gauge: true,", f"gauge: true, range: [{LOW}, {HIGH}],")
    assert text != command.MAP
    return text


@pytest.fixture
def point(tmp_path: Path, command: ModuleType) -> PointToRecord:
    (tmp_path / "map.yaml").write_text(with_range(command))
    return load_points([command.write_point(tmp_path, "header", "absent")], 10_000)[0]


class Given:
    """Tells one row after the other: a pressure in bar, None for a reading that is not there."""

    def __init__(self, pressures: list[float | None]) -> None:
        self._pressures = iter(pressures)

    def tell(self, row: Row) -> Told:
        pressure = next(self._pressures)
        flag = None
        if pressure is not None and not float(LOW) <= pressure <= float(HIGH):
            flag = "below range" if pressure < float(LOW) else "above range"
        status = "ok" if pressure is not None else "no reply"
        readings = (ToldReading("flow", 1.0, "m3/h", None), ToldReading("pressure", pressure, "bar(g)", flag))
        return Told("header", 1, row.due, row.due, "synchronised", status, "", readings)


def changes(point: PointToRecord, pressures: list[float | None]) -> list[str]:
    """What is told of a row every 10 s, with 60 s outside worth telling."""
    outside = Outside([point], Given(pressures), 60_000)  # type: ignore[arg-type]  # only `tell` is asked
    outside.took(
        [Row("header", "live", "", n * 10_000, None, "synchronised", "ok") for n in range(len(pressures))]
    )
    return [
        f"{facts['PIPELEDGER_CHANGE']} {minute(facts['PIPELEDGER_TIME'])} since "
        f"{minute(facts['PIPELEDGER_SINCE'])}"
        for facts in outside.changes()
    ]


def minute(moment: str) -> str:
    """Minutes and seconds of an ISO time."""
    return moment[14:19]


@pytest.mark.parametrize(
    ("pressures", "told"),
    [
        ([6.0] * 20, []),
        ([LOW, HIGH], []),
        ([6.0, *[9.0] * 6, 6.0], []),
        ([6.0, *[9.0] * 20], ["outside 01:10 since 00:10"]),
        ([9.0] * 7 + [6.0, 6.0], ["outside 01:00 since 00:00", "inside 01:10 since 00:00"]),
        ([9.0] * 3 + [6.0] + [9.0] * 6 + [6.0], []),
        ([9.0] * 4 + [4.0] * 4, ["outside 01:00 since 00:00"]),
        ([9.0, None, None, None, None, None, None, 9.0], ["outside 01:10 since 00:00"]),
        ([9.0] * 7 + [None] * 9 + [9.0, 6.0], ["outside 01:00 since 00:00", "inside 02:50 since 00:00"]),
        ([9.0] * 7 + [None] * 9, ["outside 01:00 since 00:00"]),
    ],
    ids=[
        "inside", "the ends belong to it", "not for a minute", "told once", "and back", "an excursion within",
        "over and under it", "missing rounds do not end it", "told and silent", "silence is not inside",
    ],
)  # fmt: skip
def test_only_what_stays_outside_for_long_enough_is_told_and_only_once(
    point: PointToRecord, pressures: list[float | str | None], told: list[str]
) -> None:
    assert changes(point, [None if p is None else float(p) for p in pressures]) == told


@dataclass
class Valve:
    """A pressure that the test sets [bar]."""

    pressure: float = 6.5

    def quantity(self, value: Value, unit: str | None, at: Moment) -> float | str:
        return self.pressure if value.name == "pressure" else 0


@contextmanager
def line(text: str, valve: Valve) -> Iterator[SimulatedLine]:
    """A line with one meter of that map, its values the valve's."""
    parsed = parse_map(text.encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    with SimulatedLine([SimulatedMeter(parsed.map, unit_address=12, source=valve)]) as opened:
        yield opened


def test_a_real_log_runs_the_command_when_pressure_rises_and_when_it_is_back(
    tmp_path: Path, command: ModuleType
) -> None:
    script, text, valve = tmp_path / "tell me.sh", with_range(command), Valve()
    script.write_text(SCRIPT)
    script.chmod(0o755)
    told = tmp_path / "archive" / "told"
    with line(text, valve) as opened:
        (tmp_path / "map.yaml").write_text(text)
        command.write_point(tmp_path, "header", opened.port)
        words = (
            "--archive",
            "archive",
            "--every",
            "200ms",
            "--on-change",
            f"'{script}'",
            "--outside-for",
            "1s",
        )
        with command.running("log", "header.yaml", *words, cwd=tmp_path) as log:
            command.until(lambda: opened.stats.requests >= 10, what="rounds inside")
            assert not told.exists()
            valve.pressure = 9.125
            command.until(lambda: told.exists() and "outside" in told.read_text(), what="it is told")
            valve.pressure = 6.5
            command.until(lambda: "inside" in told.read_text(), what="its return is told")
            done = log.end(by=signal.SIGTERM)
    assert done.status == 0, done
    assert told.read_text().splitlines() == [
        f"header outside pressure 9.125 bar(g) above range, {LOW} to {HIGH}",
        f"header inside pressure 6.5 bar(g) , {LOW} to {HIGH}",
    ]
