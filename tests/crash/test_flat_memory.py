"""Sealing in fast motion: a recorder's memory does not grow with what it has sealed.

A process of its own seals three rows an hour and merges once a day, as a recorder does, and reads its
resident memory from /proc. Its disk is in memory where there is one (/dev/shm): years pass in minutes.
"""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from types import ModuleType

import numpy as np
import pytest

PROGRAM = """
import importlib.util, os, resource, sys
from datetime import UTC, datetime
from pathlib import Path

spec = importlib.util.spec_from_file_location("acts", sys.argv[1])
acts = importlib.util.module_from_spec(spec)
sys.modules["acts"] = acts
spec.loader.exec_module(acts)
meter, sealings = acts.meter, int(sys.argv[3])
with acts.Archive.open(Path(sys.argv[2])) as archive:
    what = meter.record()
    for hour in range(sealings):
        due = meter.MIDNIGHT + hour * meter.HOUR
        meter.fill(archive, what, [due, due + 1000, due + 2000], lambda i: meter.words_of(hour + i / 4, i))
        acts.seal(archive)
        if hour % 24 == 23:
            acts.merge_days(archive, datetime.fromtimestamp((due + meter.HOUR) / 1000, UTC).date())
        if hour % max(1, sealings // 200) == 0:
            pages = int(Path("/proc/self/statm").read_text().split()[1])
            print(hour + 1, pages * resource.getpagesize(), flush=True)
"""


@pytest.fixture
def fast() -> Iterator[Path]:
    """A folder on a disk in memory, or where temporary files go."""
    shared = Path("/dev/shm")
    with TemporaryDirectory(dir=shared if shared.is_dir() else None) as folder:
        yield Path(folder)


def slope(acts: ModuleType, root: Path, sealings: int) -> float:
    """Bytes of resident memory that a sealing adds, fitted over all but the first quarter."""
    command = [sys.executable, "-c", PROGRAM, acts.__file__, str(root), str(sealings)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    told = np.array([[int(word) for word in line.split()] for line in done.stdout.splitlines()])
    settled = told[len(told) // 4 :]
    found = float(np.polyfit(settled[:, 0], settled[:, 1], 1)[0])
    print(  # noqa: T201  (told with -s)
        f"{sealings} sealings: {settled[0, 1] / 2**20:.1f} MB after a quarter,"
        f" {settled[-1, 1] / 2**20:.1f} MB at the end, {found:.0f} bytes a sealing"
    )
    return found


#: A live file's entry, one a day and point, is what a recorder must remember: some 2 kB a day. The rest is
#: what allocators keep.
BYTES_A_SEALING = 400
#: In so few sealings allocators have not settled.
BYTES_A_SEALING_AT_FIRST = 8_000


def test_360_sealings(acts: ModuleType, fast: Path) -> None:
    """Fifteen days."""
    assert slope(acts, fast / "archive", 360) < BYTES_A_SEALING_AT_FIRST


@pytest.mark.long
def test_100_000_sealings(acts: ModuleType, fast: Path) -> None:
    """Eleven years of hours."""
    assert slope(acts, fast / "archive", 100_000) < BYTES_A_SEALING
