"""A real log, played back through simulated meters, recorded, and found again value for value.

Water through a pipeline branch, March to May 2022, litres per second, 1,268 hourly values with their losses
and repairs: `river.datasets.WaterFlow`, donated industrial data. It is loaded from the library.
"""

import math
import signal
import time
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from types import ModuleType

import numpy as np
import pyarrow.dataset as ds
import pytest
from river import datasets

from protocols.register_map.model import Value
from protocols.register_map.parse import parse_map
from simulators.device import SimulatedMeter
from simulators.line import SimulatedLine
from simulators.plant import Moment

MAP = """\
register_map: 1
meter: Hollow Mere replayed meter
fluid: water
serial: {baud_rate: 19200, parity: even, unit_address: 12}
wire: {reply_within: 2 s}
readings:
  hour:        {input: 0, type: uint16}
  flow:        {input: 1, type: uint16, scale: 0.01, unit: l/s}
  flow_single: {input: 2, type: float32, unit: l/s}
"""
#: The log is cut into this many parts, each played by a meter of its own, so that they play side by side.
METERS = 8
#: Each hour is told in so many replies, one a round: a busy computer misses none.
TOLD = 2


class Player:
    """A meter's readings, hour after hour, each as often as `TOLD` says; then the last one on and on."""

    def __init__(self, first: int, flows: Sequence[float]) -> None:
        self._first, self._flows = first, flows
        self._replies, self._at = 0, -1.0

    def quantity(self, value: Value, unit: str | None, at: Moment) -> float:
        """See `Source`: all values of a reply are asked for at one moment."""
        if at.running != self._at:
            self._replies, self._at = self._replies + 1, at.running
        place = min((self._replies - 1) // TOLD, len(self._flows) - 1)
        return self._first + place if value.name == "hour" else self._flows[place]

    def over(self) -> bool:
        """Whether the last hour is told as often as the others, and the round after it has begun."""
        return self._replies > TOLD * len(self._flows)


def players(hours: int) -> tuple[list[float], list[Player]]:
    """The first `hours` values in order, and the meters' parts of them."""
    values = [value for _, value in datasets.WaterFlow()][:hours]
    most = math.ceil(len(values) / METERS)
    return values, [Player(first, values[first : first + most]) for first in range(0, len(values), most)]


@pytest.mark.parametrize("hours", [256, pytest.param(1268, marks=pytest.mark.long)])
def test_a_real_flow_log_is_found_again_value_for_value(
    command: ModuleType, tmp_path: Path, hours: int
) -> None:
    """Scaled register to its last digit, float register to the nearest single, and the raw words."""
    (tmp_path / "map.yaml").write_text(MAP)
    parsed = parse_map(MAP.encode(), "map.yaml").map
    assert parsed is not None
    values, playing = players(hours)
    assert (len(values), len(playing)) == (hours, METERS)
    with ExitStack() as stack:
        points = []
        for number, player in enumerate(playing):
            line = stack.enter_context(SimulatedLine([SimulatedMeter(parsed, source=player)]))
            points.append(command.write_point(tmp_path, f"part-{number}", line.port).name)
        words = ["log", *points, "--archive", "archive", "--every", "100ms"]
        log = stack.enter_context(command.running(*words, cwd=tmp_path))
        while not all(player.over() for player in playing):
            assert log.process.poll() is None, log.so_far()
            time.sleep(0.1)
        done = log.end(signal.SIGINT)
        assert done.status == 0, done
    rows = ds.dataset(tmp_path / "archive" / "rows").to_table().to_pylist()
    good = [row for row in rows if row["status"] == "ok"]
    assert {row["hour"] for row in good} == set(range(len(values)))
    for row in good:
        value = values[row["hour"]]
        assert row["flow"] == value
        assert row["flow_single"] == np.float32(value)
        assert row["raw_input_1"] == round(value * 100)
    assert command.run("archive", "verify", "archive", cwd=tmp_path).status == 0
