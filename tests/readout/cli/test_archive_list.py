"""`archive list` as a technician reads it: the files that hold, and with `--versions` what they replaced."""

from datetime import date
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from readout.sealing.merge import merge_days
from storage.archive import Archive


@pytest.fixture
def listed(hall: ModuleType, root: Path) -> Path:
    """Two minutes of seconds, sealed one by one and then joined."""
    with Archive.open(root) as opened:
        for minute in (0, 1):
            dues = hall.every(1000, f"2026-05-05T08:0{minute}Z", f"2026-05-05T08:0{minute + 1}Z")
            hall.fill(opened, hall.record(), dues, lambda _: (60.0, 7000, 1))
            hall.seal(opened, dues[-1] + 1000)
        merge_days(opened, date(2026, 5, 6))
    return root


def test_the_files_that_hold_are_listed(listed: Path) -> None:
    done = CliRunner().invoke(app, ["archive", "list", str(listed)])
    assert done.exit_code == 0, done.output
    head, line = done.stdout.splitlines()
    assert head.split() == ["point", "source", "rows", "first", "last", "SHA-256", "file"]
    assert line.split()[1:3] == ["live", "120"]
    assert "1 sealed file, 120 rows" in done.stderr


def test_versions_tell_what_replaced_what(listed: Path) -> None:
    done = CliRunner().invoke(app, ["archive", "list", str(listed), "--versions"])
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0].endswith("replaced by")
    assert sorted(line.split()[2] for line in lines[1:]) == ["120", "60", "60"]
    assert sum("0000000001-0000000120.parquet" in line.split()[-1] for line in lines[1:]) == 2
    assert "2 replaced files" in done.stderr
