"""How long the disk lasts: bytes by hand, at a rate by hand."""

from pathlib import Path

import pytest

from readout.clock import ms_of
from readout.daemon.health.growth import full_in_s
from storage.archive import SealedFile
from storage.reserve import Room

ROOM = Room(free=1_000_000, total=9_000_000)
NOW = ms_of("2026-05-08T00:00:00.000Z")


def sealed(day: int, size: int, hour: int = 0) -> SealedFile:
    moment = f"2026-05-{day:02}T{hour:02}:00:00.000Z"
    return SealedFile(f"rows/{day}", "header", "live", 1, size, "0" * 64, "s", 1, 1, moment, moment)


def test_replaced_files_fill_the_disk_too(tmp_path: Path) -> None:
    """Two days' joined files of 1000 bytes each, and those they replaced of 1500: 2500 a day, so 400 days.

    What was replaced before, on 4 May, is not of this span.
    """
    files = [sealed(6, 1000), sealed(7, 1000)]
    assert full_in_s(tmp_path, files, ROOM, NOW) == pytest.approx(1000 * 86_400)
    for day, sizes in {4: (9000,), 6: (700, 800), 7: (1500,)}.items():
        folder = tmp_path / f"superseded/point=header/source=live/date=2026-05-{day:02}"
        folder.mkdir(parents=True)
        for number, size in enumerate(sizes):
            (folder / f"{number}.parquet").write_bytes(b"x" * size)
    assert full_in_s(tmp_path, files, ROOM, NOW) == pytest.approx(400 * 86_400)


def test_the_first_hour_tells_nothing(tmp_path: Path) -> None:
    """Files of a few rows are all head: a trial of 12 s told of a disk that is full within a year."""
    files = [sealed(7, 20_000, 23)]
    assert full_in_s(tmp_path, files, ROOM, NOW - 1) is None
    assert full_in_s(tmp_path, files, ROOM, NOW) == pytest.approx(50 * 3600)
    assert full_in_s(tmp_path, [], ROOM, NOW) is None
    assert full_in_s(tmp_path, [sealed(1, 20_000)], ROOM, NOW + 1) is None, "older than a week"
