"""A long archive goes through the database, not through memory."""

import json
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path
from types import ModuleType

import numpy as np
import pyarrow as pa
import pytest

from storage.archive import Archive

DAYS, ROWS = 120, 86_400

_REVIEW = """\
import json, resource, sys
from pathlib import Path
from readout.review.review import review
found = review(Path(sys.argv[1]), "bottling-hall-header")
peak = found.flow.statistics.peaks[0].value
told = [found.flow.statistics.mean, found.flow.statistics.median, peak, found.flow.statistics.highest]
print(json.dumps([told, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss]))
"""
_PLAIN = """\
import json, resource, sys
from pathlib import Path
import pandas as pd
files = sorted(Path(sys.argv[1]).rglob("*.parquet"))
wanted = ["due", "flow", "pressure", "total", "status"]
frame = pd.concat([pd.read_parquet(file, columns=wanted) for file in files]).set_index("due")
flow = frame["flow"].astype("float64")
peak = flow.resample("1min").mean().max()
told = [flow.mean(), flow.quantile(0.5, interpolation="lower"), peak, flow.max()]
print(json.dumps([told, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss]))
"""


@pytest.mark.long
def test_months_of_seconds_take_half_the_memory_of_plain_pandas(hall: ModuleType, root: Path) -> None:
    """Ten million rows, the same figures in a process each: half of pandas' memory at most, below 1 GB."""
    noise, what = np.random.default_rng(1), hall.record(1000)
    stamp, count = pa.timestamp("ms", "UTC"), np.arange(ROWS)
    with Archive.open(root) as archive:
        for day in range(DAYS):
            due = hall.ms("2026-01-01T00:00Z") + day * hall.DAY + count * 1000
            flow = 300 + 100 * np.sin(count / 7000) + noise.normal(0, 5, ROWS)
            table = pa.table(
                {
                    "sequence": pa.array(day * ROWS + 1 + count),
                    "due": pa.array(due, stamp),
                    "time": pa.array(due + 31, stamp),
                    "clock": pa.array(["synchronised"] * ROWS),
                    "status": pa.array(["ok"] * ROWS),
                    "flow": pa.array(flow.astype(np.float32)),
                    "pressure": pa.array(np.round(7 + noise.normal(0, 0.1, ROWS), 3)),
                    "total": pa.array((day * ROWS + count) / 10),
                }
            )
            archive.seal(
                table, point=hall.POINT, source="live", date=date(2026, 1, 1) + timedelta(days=day),
                first_sequence=day * ROWS + 1, last_sequence=(day + 1) * ROWS,
                metadata=what.metadata({"count": ROWS}),
            )  # fmt: skip
    ours, plain = (_run(code, root) for code in (_REVIEW, _PLAIN))
    assert ours[0] == pytest.approx(plain[0], rel=1e-9)
    assert ours[1] <= 0.5 * plain[1]
    assert ours[1] <= 1 << 20  # KiB


def _run(code: str, root: Path) -> tuple[list[float], int]:
    done = subprocess.run([sys.executable, "-c", code, str(root)], capture_output=True, text=True, check=True)
    figures, memory = json.loads(done.stdout)
    return figures, memory
