"""A real log, played back through simulated meters, recorded, and found again value for value.

Water through a pipeline branch, March to May 2022, litres per second, 1,268 hourly values with their losses
and repairs: `river.datasets.WaterFlow`, donated industrial data. It is loaded from the library.
"""

import math
from contextlib import ExitStack
from decimal import Decimal
from pathlib import Path
from types import ModuleType

import numpy as np
import pyarrow.dataset as ds
import pytest
from river import datasets

MAP = """\
register_map: 1
meter: Hollow Mere replayed meter
fluid: water
serial: {baud_rate: 19200, parity: even, unit_address: 12}
readings:
  hour:        {input: 0, type: uint16}
  flow:        {input: 1, type: uint16, scale: 0.01, unit: l/s}
  flow_single: {input: 2, type: float32, unit: l/s}
"""
#: The log is cut into this many parts, each played by a meter of its own, so that they play side by side.
METERS = 8
#: Each hour lasts this many seconds. Rounds come every 0.1 s, so that no hour is missed by a late one.
HOUR = Decimal("0.25")
#: The first hour is held this many seconds longer, so that the log has begun before it is over.
LEAD = 12


def tables(folder: Path, hours: int) -> tuple[list[float], int]:
    """A table for each meter; the first `hours` values in order, and those of the longest table."""
    values = [value for _, value in datasets.WaterFlow()][:hours]
    most = math.ceil(len(values) / METERS)
    for meter in range(METERS):
        lines = ["seconds,hour,flow,flow_single"]
        for place, value in enumerate(values[meter * most : (meter + 1) * most]):
            seconds = LEAD + place * HOUR if place else 0
            lines.append(f"{seconds},{meter * most + place},{value},{value}")
        (folder / f"values-{meter}.csv").write_text("\n".join(lines) + "\n")
    return values, most


@pytest.mark.parametrize("hours", [256, pytest.param(1268, marks=pytest.mark.long)])
def test_a_real_flow_log_is_found_again_value_for_value(
    command: ModuleType, tmp_path: Path, hours: int
) -> None:
    """Scaled register to its last digit, float register to the nearest single, and the raw words."""
    (tmp_path / "map.yaml").write_text(MAP)
    values, most = tables(tmp_path, hours)
    assert len(values) == hours
    with ExitStack() as stack:
        points, meters = [], []
        for meter in range(METERS):
            points.append(command.write_point(tmp_path, f"part-{meter}", f"./port-{meter}").name)
            words = ["simulate", "map.yaml", "--values", f"values-{meter}.csv", "--link", f"port-{meter}"]
            meters.append(stack.enter_context(command.running(*words, cwd=tmp_path)))
        for meter in meters:
            command.until(lambda meter=meter: meter.so_far().out, what="a meter is ready")
        lasts = f"{math.ceil(most * HOUR) + LEAD + 1}s"
        words = ["log", *points, "--archive", "archive", "--every", "100ms", "--for", lasts]
        done = command.run(*words, cwd=tmp_path, timeout=120)
        assert done.status == 0, done
    rows = ds.dataset(tmp_path / "archive" / "rows").to_table().to_pylist()
    good = [row for row in rows if row["status"] == "ok"]
    assert len(good) > 0.95 * len(rows), "the computer was too busy for this to show anything"
    assert {row["hour"] for row in good} == set(range(len(values)))
    for row in good:
        value = values[row["hour"]]
        assert row["flow"] == value
        assert row["flow_single"] == np.float32(value)
        assert row["raw_input_1"] == round(value * 100)
    assert command.run("archive", "verify", "archive", cwd=tmp_path).status == 0
