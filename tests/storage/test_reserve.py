"""Space kept back on the disk, and how much there is."""

from pathlib import Path

import pytest

from storage.reserve import Reserve, Room, room_on

MB, GB = 1 << 20, 1 << 30


@pytest.mark.parametrize(
    ("free", "total", "low", "scarce"),
    [
        (4 * GB, 32 * GB, False, False),
        (GB - 1, 32 * GB, True, False),  # a card of 32 GB: one GB, not a tenth
        (GB // 2 - 1, 32 * GB, True, True),
        (100 * MB, GB, True, False),
        (110 * MB, GB, False, False),
        (50 * MB, GB, True, True),
        (0, GB, True, True),
    ],
)
def test_little_room_is_a_tenth_or_a_gigabyte(free: int, total: int, low: bool, scarce: bool) -> None:
    """And half of that is too little for what can wait."""
    room = Room(free, total)
    assert (room.is_low, room.is_scarce) == (low, scarce)


def test_a_file_system_that_cannot_be_asked_holds_nothing_up(tmp_path: Path) -> None:
    assert not room_on(tmp_path / "absent" / "folder").is_scarce
    assert room_on(tmp_path).total > 0


def test_space_is_kept_back_and_given_up(tmp_path: Path) -> None:
    """It is really taken, not a file with a hole in it; a second release finds none."""
    reserve = Reserve(tmp_path / "reserve")
    reserve.fill()
    stat = reserve.path.stat()
    assert stat.st_blocks * 512 >= stat.st_size > 0
    assert reserve.release()
    assert not reserve.release()
