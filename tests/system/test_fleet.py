"""What 32 meters on four lines at a round a second cost, over as long as `FLEET_MINUTES` says (30)."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

BENCH = Path(__file__).parents[2] / "bench/fleet.py"


@pytest.mark.long
def test_a_meter_costs_at_most_a_hundredth_of_a_processor_core() -> None:
    """The bench's own exit status; lateness is printed beside a bare loop's, for reading with `pytest -s`."""
    minutes = float(os.environ.get("FLEET_MINUTES", "30"))
    done = subprocess.run(
        [sys.executable, BENCH, str(minutes)],
        capture_output=True, text=True, timeout=minutes * 60 + 300, check=False,
    )  # fmt: skip
    sys.stdout.write(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("\nline ") == 4, done.stdout
    scheduled = round(minutes * 60) * 4 * 8
    assert f"rows: {scheduled} of {scheduled}: " in done.stdout, "every scheduled round is a row"
