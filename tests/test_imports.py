"""What the polling path loads, and what it must not: libraries that cost start-up time, private names."""

import ast
import os
import struct
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from protocols.modbus.crc import fits, with_crc
from simulators.line import SimulatedLine

ROOT = Path(__file__).parents[1]
PACKAGES = ("protocols", "readout", "simulators", "storage")

#: Each costs 75 to 270 ms of start-up and is needed only for reports, charts and questions over archives.
NEVER_WHILE_POLLING = {"pandas", "pint", "plotly", "duckdb", "GTC"}
#: The page's process has them; the recorder's never, with or without a page.
NEVER_WHILE_RECORDING = {"starlette", "uvicorn", "anyio", "prometheus_client", "paho", "asyncio"}

MAP = """\
register_map: 1
meter: Hollow Mere test meter
serial: {baud_rate: 115200, parity: even, unit_address: 12}
readings:
  flow:  {input: 16, type: float32, unit: m3/h}
  total: {input: 22, type: uint32, scale: 0.1, unit: m3, totaliser: true}
"""
POINT = """\
measuring_point: 1
name: test-header
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: map.yaml}}
line: {{port: {port}}}
"""


class ZeroMeter:
    """Answers every read of registers with zeros."""

    def reply(self, frame: bytes) -> bytes | None:
        if not fits(frame):
            return None
        unit, function, _, count = struct.unpack(">BBHH", frame[:6])
        return with_crc(bytes((unit, function, 2 * count)) + bytes(2 * count))


@pytest.fixture
def point(tmp_path: Path) -> Iterator[Path]:
    """A point file whose meter answers on a pseudo-terminal."""
    with SimulatedLine([ZeroMeter()]) as line:
        (tmp_path / "map.yaml").write_text(MAP, encoding="utf-8")
        file = tmp_path / "point.yaml"
        file.write_text(POINT.format(port=line.port), encoding="utf-8")
        yield file


def imported_by(*arguments: str) -> set[str]:
    """Top-level modules that the command imports from its start to its end, in all its threads.

    Python itself writes them to stderr (`-X importtime`), whenever they are imported.
    """
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "readout.cli.main", *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, "NO_COLOR": "1"},
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    lines = [line for line in done.stderr.splitlines() if line.startswith("import time:")]
    return {line.rsplit("|", 1)[1].strip() for line in lines}


def test_reading_a_meter_once_loads_no_library_for_reports(point: Path) -> None:
    found = imported_by("read", str(point))
    assert {"serial", "readout.poll.round"} <= found, "the command did not poll, so it shows nothing"
    assert NEVER_WHILE_POLLING & found == set()


def test_recording_and_sealing_load_no_library_for_reports(point: Path, tmp_path: Path) -> None:
    archive = str(tmp_path / "archive")
    found = imported_by("log", str(point), "--archive", archive, "--every", "100ms", "--for", "1s")
    assert {"readout.poll.round", "storage.journal"} <= found, "the command did not record"
    assert (NEVER_WHILE_POLLING | NEVER_WHILE_RECORDING) & found == set()


def test_a_page_loads_its_libraries_into_a_process_of_its_own(point: Path, tmp_path: Path) -> None:
    words = ("log", str(point), "--archive", str(tmp_path / "archive"), "--every", "100ms", "--for", "1s")
    found = imported_by(*words, "--page", "127.0.0.1:0")
    assert {"readout.daemon.outlet.outlet", "storage.journal"} <= found, "the command had no page"
    assert (NEVER_WHILE_POLLING | NEVER_WHILE_RECORDING) & found == set()


def sources() -> list[Path]:
    return [path for name in PACKAGES for path in (ROOT / name).rglob("*.py")]


def private_names(tree: ast.AST) -> Iterator[str]:
    """Private attributes taken from anything but the class's own object."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr.startswith("_") and not node.attr.startswith("__"):
            owner = ast.unparse(node.value)
            if owner not in ("self", "cls"):
                yield f"{owner}.{node.attr}"


def test_no_private_name_of_minimalmodbus_is_used() -> None:
    """They change without notice; what the library does not offer is asked of our own codec."""
    users = [path for path in sources() if "import minimalmodbus" in path.read_text(encoding="utf-8")]
    assert users, "no module uses minimalmodbus any more: drop the dependency and this test"
    taken = [(path.name, name) for path in users for name in private_names(ast.parse(path.read_bytes()))]
    assert taken == []
    assert [path.name for path in sources() if "minimalmodbus._" in path.read_text(encoding="utf-8")] == []
