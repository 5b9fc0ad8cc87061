"""A computer that wakes in 1970 and is never told the time would keep rows without any: said at the start."""

import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType

import pytest

from readout.daemon.computer_clock import unset_told


@pytest.mark.parametrize(
    ("moment", "is_told"), [("1970-01-01T00:01:40", True), ("2026-11-30T04:00:00", False)]
)
def test_only_a_clock_that_was_never_set_is_told(moment: str, is_told: bool) -> None:
    told = unset_told(datetime.fromisoformat(moment).replace(tzinfo=UTC).timestamp())
    assert (told is not None) is is_told
    assert told is None or moment in told


def test_log_tells_it_before_the_first_row(command: ModuleType, tmp_path: Path) -> None:
    """In a process whose clock says so."""
    in_1970 = (
        "import sys, time; real = time.time; time.time = lambda: real() - 1.79e9\n"
        "from readout.cli.main import main; sys.exit(main())"
    )
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        words = ["log", "header.yaml", "--archive", "kept", "--every", "200ms", "--for", "400ms"]
        done = subprocess.run(
            [sys.executable, "-c", in_1970, *words], cwd=tmp_path, capture_output=True, text=True, timeout=60
        )
    assert done.returncode == 0, done
    assert "clock is not set" in done.stderr.splitlines()[0]
    assert "2 rows (2 ok)" in done.stderr
