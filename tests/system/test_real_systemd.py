"""The unit under a real systemd: first process of a namespace of its own, in a copy of this computer's files.

Needs root, as the tests of a full disk do: mounts, an overlay over /, a control group. What the copy changes
is in memory and gone afterwards.
"""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[2]
#: The first process's control group is the root of all that its systemd sees.
OUTSIDE = """\
set -e
mount --make-rprivate /
mount -t cgroup2 cgroup "$1/aside"
mkdir "$1/aside/$2"
echo $$ > "$1/aside/$2/cgroup.procs"
umount "$1/aside"
exec unshare --fork --pid --mount --cgroup --kill-child bash "$1/inside.sh" "$1" "$3"
"""
#: Afterwards its control groups are empty.
AFTER = """\
set -e
mount -t cgroup2 cgroup "$1/aside"
find "$1/aside/$2" -depth -type d -exec rmdir {} +
"""
#: Only what the unit needs is started: the targets before it are empty ones.
INSIDE = """\
set -e
mount -t tmpfs tmpfs "$1/aside"
cd "$1/aside"
mkdir changes work all
mount -t overlay overlay -o "lowerdir=/,upperdir=$PWD/changes,workdir=$PWD/work" all
mount -t proc proc all/proc
mount -t sysfs sysfs all/sys
mount -t cgroup2 cgroup all/sys/fs/cgroup
mount --rbind /dev all/dev
mount -t tmpfs tmpfs all/run
mount --bind "$1/hall" all/srv
mkdir -p "all$2"
mount --bind "$2" "all$2"
for unit in mini sysinit basic local-fs time-sync; do
    printf '[Unit]\\nDefaultDependencies=no\\n' > all/etc/systemd/system/$unit.target
done
printf '0123456789abcdef0123456789abcdef\\n' > all/etc/machine-id
exec chroot all env -i container=test PATH="$PATH" /lib/systemd/systemd --system --unit=mini.target
"""


class Computer:
    """The namespace; `hall` is its folder /srv."""

    def __init__(self, first: int, hall: Path) -> None:
        self.first, self.hall = first, hall

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        """A command inside, in /srv."""
        enter = ["nsenter", "--target", str(self.first), "--mount", "--pid", "--cgroup", "--root", "--wd=/"]
        script = ["sh", "-c", 'cd /srv && exec "$@"', "sh", *words]
        return subprocess.run([*enter, *script], capture_output=True, text=True, timeout=60, check=False)

    def told(self, what: str) -> str:
        """A property of the unit, such as StatusText."""
        return self.run("systemctl", "show", "--value", "--property", what, "pipeledger-kept").stdout.strip()

    def did(self, *words: str) -> None:
        """A command that has to succeed."""
        done = self.run(*words)
        assert done.returncode == 0, done


@pytest.fixture
def computer(command: ModuleType, tmp_path: Path) -> Iterator[Computer]:
    for name in ("aside", "hall"):
        (tmp_path / name).mkdir()
    for name, text in (("outside.sh", OUTSIDE), ("inside.sh", INSIDE)):
        (tmp_path / name).write_text(text)
    group = f"pipeledger-test-{os.getpid()}"
    words = ["unshare", "--mount", "bash", tmp_path / "outside.sh", tmp_path, group, ROOT]
    with (tmp_path / "console").open("w") as console:
        outer = subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=console, stderr=console)

    def first() -> int:
        assert outer.poll() is None, (tmp_path / "console").read_text()
        if b"--pid" not in Path(f"/proc/{outer.pid}/cmdline").read_bytes():
            return 0  # still preparing
        found = subprocess.run(["pgrep", "-P", str(outer.pid)], capture_output=True, text=True, check=False)
        return int(found.stdout or 0)

    try:
        made = Computer(command.until(first, what="the first process"), tmp_path / "hall")
        command.until(
            lambda: made.run("systemctl", "is-active", "mini.target").stdout == "active\n",
            60,
            "systemd is up",
        )
        yield made
    finally:
        outer.kill()  # and with it, by --kill-child, all within
        outer.wait()
        after = ["unshare", "--mount", "sh", "-c", AFTER, "sh", tmp_path, group]
        command.until(
            lambda: subprocess.run(after, stderr=-3, check=False).returncode == 0, what="all has ended"
        )


def ledger(computer: Computer) -> list[str]:
    """What happened, by the ledger: events by their name."""
    lines = (computer.hall / "kept/ledger.jsonl").read_text().splitlines()
    return [json.loads(line).get("what", json.loads(line)["kind"]) for line in lines]


@pytest.mark.long
def test_the_installed_unit_starts_waits_comes_back_reloads_and_ends(
    computer: Computer, command: ModuleType
) -> None:
    """Adapters come after the start: one is a terminal, of the other the driver is not even loaded."""
    hall = computer.hall
    command.write_point(hall, "header", "/srv/adapter")
    command.write_point(hall, "packing", "/srv/usb")
    os.mknod(hall / "usb", 0o020660, os.makedev(188, 0))
    program = str(Path(sys.executable).with_name("pipeledger"))
    points = ("header.yaml", "packing.yaml", "--archive", "kept", "--user", "root", "--with", "--every 1s")
    computer.did(program, "service", *points, "--install")
    computer.did("install", "-d", "kept")
    computer.did("systemctl", "daemon-reload")
    computer.did("systemctl", "start", "pipeledger-kept")
    for name in ("header", "packing"):
        command.until(lambda name=name: f"{name} 0 of" in computer.told("StatusText"), what="it waits")
    command.until(lambda: "now port lost" in computer.told("StatusText"), 25, "the status says why")
    with command.line() as line:
        (hall / "adapter").symlink_to(line.port)
        command.until(lambda: line.stats.requests >= 6, what="rounds")

        computer.did("systemctl", "kill", "--signal=KILL", "pipeledger-kept")
        command.until(lambda: computer.told("NRestarts") == "1", what="it is started again")
        command.until(lambda: computer.told("ActiveState") == "active", what="it is ready")
        asked = line.stats.requests
        command.until(lambda: line.stats.requests >= asked + 6, what="rounds of the second")

        process, starts = computer.told("MainPID"), ledger(computer).count("started")
        computer.did("systemctl", "reload", "pipeledger-kept")
        command.until(lambda: ledger(computer).count("started") > starts, what="it has renewed itself")
        assert (computer.told("MainPID"), computer.told("NRestarts")) == (process, "1")
        computer.did("systemctl", "stop", "pipeledger-kept")
    assert computer.told("Result") == "success"
    happened = ledger(computer)
    assert happened.count("killed before") == 1
    assert happened[-1] == "stopped"
    assert command.run("archive", "verify", "kept", cwd=hall).status == 0
