"""What would keep a service from starting, by the modes of files: POSIX, file access permissions."""

import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from readout.daemon.service import obstacles
from readout.daemon.service.service_unit import Service

SERVICE = Service(Path("/opt/pipeledger"), (), Path("/srv/hollow-mere"), "nobody", "root", network=False)


@pytest.fixture
def home(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder that all may enter, as if it did not lie below /tmp."""
    monkeypatch.setattr(obstacles, "_PRIVATE", ())
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        folder.chmod(0o755)
        yield folder


def test_a_point_file_in_a_closed_home_is_named(home: Path) -> None:
    """Debian makes a user's home 0700; what lies below it is out of the reach of another user."""
    point = home / "bench" / "header.yaml"
    point.parent.mkdir(mode=0o700)
    point.write_text("")
    (told,) = obstacles.obstacles(SERVICE, [point, point])
    assert told.startswith(f"nobody may not enter {point.parent}, ")
    point.parent.chmod(0o711)
    point.chmod(0o600)
    (told,) = obstacles.obstacles(SERVICE, [point])
    assert told.startswith(f"nobody may not read {point}: ")
    point.chmod(0o644)
    assert not [*obstacles.obstacles(SERVICE, [point, home / "absent.yaml"])]


def test_a_program_is_followed_to_where_it_lies(home: Path) -> None:
    """A virtual environment's interpreter is a link; what it leads to has to be in reach, too."""
    (home / "private").mkdir(mode=0o700)
    (home / "private" / "python3").write_text("")
    (home / "python3").symlink_to(home / "private" / "python3")
    (told,) = obstacles.obstacles(SERVICE, [home / "python3"])
    assert told.startswith(f"nobody may not enter {home / 'private'}, ")


def test_what_lies_below_tmp_is_not_there_for_the_service() -> None:
    """PrivateTmp, systemd.exec(5)."""
    with tempfile.TemporaryDirectory(dir="/tmp") as made:
        (told,) = obstacles.obstacles(SERVICE, [Path(made) / "header.yaml"])
    assert "is not there for the service" in told


def test_a_user_and_a_group_that_are_not_there() -> None:
    told = [*obstacles.obstacles(replace(SERVICE, user="no-such-user", group="no-such-group"), [])]
    assert ["no-such-group" in told[0], "useradd --system no-such-user" in told[1]] == [True, True]
