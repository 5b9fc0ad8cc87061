"""Peers in processes of their own. A tool that is missing fails the test: nothing here is ever skipped."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@contextmanager
def _peer(*command: str) -> Iterator[str]:
    """Start a program; gives the first line it prints, ends it afterwards. What it complains of is shown."""
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        line = process.stdout.readline().strip()
        assert line, f"{command[0]} ended with {process.wait(10)} before it was ready"
        yield line
    finally:
        process.terminate()
        process.wait(10)
        process.stdout.close()


@pytest.fixture(scope="session")
def simulated_port() -> Iterator[str]:
    """A simulated meter of the contract map on a pseudo-terminal, served by the command."""
    program = Path(sys.executable).with_name("pipeledger")
    values = HERE / "contract-values.csv"
    with _peer(str(program), "simulate", str(HERE / "contract-map.yaml"), "--values", str(values)) as port:
        yield port


@pytest.fixture(scope="session")
def water_port() -> Iterator[str]:
    """The demonstration's water meter with 4,500 records behind it, served by the command."""
    program = Path(sys.executable).with_name("pipeledger")
    demo = HERE.parents[1] / "demo_data/bottling_hall/rinse-water-meter.yaml"
    with _peer(str(program), "simulate", str(demo), "--memory", "4500", "--memory-every", "300s") as port:
        yield port


def _compiled(folder: Path, source: str) -> str:
    """A C program of this folder; needs a C compiler and Debian's libmodbus-dev."""
    program = folder / Path(source).stem
    command = ["cc", "-Wall", "-Werror", "-O1", str(HERE / source), "-lmodbus", "-o", str(program)]
    compiled = subprocess.run(command, capture_output=True, text=True, check=False)
    assert compiled.returncode == 0, f"cannot compile {source}; is libmodbus-dev there?\n{compiled.stderr}"
    return str(program)


@pytest.fixture(scope="session")
def libmodbus_program(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The C meter, compiled here."""
    return _compiled(tmp_path_factory.mktemp("libmodbus"), "libmodbus_server.c")


@pytest.fixture(scope="session")
def libmodbus_client(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The C master, compiled here."""
    return _compiled(tmp_path_factory.mktemp("libmodbus"), "libmodbus_client.c")


@pytest.fixture(scope="session")
def libmodbus_memory(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A C meter with a memory at the far end of a tap; the port on which it is to be read."""
    from simulators.line import Tap

    program = _compiled(tmp_path_factory.mktemp("libmodbus"), "libmodbus_memory.c")
    with Tap() as tap, _peer(program, tap.meter_port) as ready:
        assert ready == "ready"
        yield tap.master_port


@pytest.fixture(scope="session", params=["pymodbus", "libmodbus"])
def strangers_meter(request: pytest.FixtureRequest) -> Iterator[str]:
    """A meter made by strangers at the far end of a tap; the port on which it is to be read."""
    from simulators.line import Tap

    if request.param == "pymodbus":
        command = [sys.executable, str(HERE / "pymodbus_server.py")]
    else:
        command = [request.getfixturevalue("libmodbus_program")]
    with Tap() as tap, _peer(*command, tap.meter_port) as ready:
        assert ready == "ready"
        yield tap.master_port
