"""How soon a command is there: help beside a bare typer program; requests after start and due time."""

import subprocess
import sys
import time
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from figures import interleaved, seconds, spread, table
from meter import LineProcess
from point import PIPELEDGER, write_point

BAUD, TURNAROUND_S = 19200, 0.005
HELP_RUNS, READ_RUNS, LOG_RUNS = 15, 15, 5

#: The least a program with typer and two commands takes: what nobody's help can beat.
TWO_COMMANDS = """\
import typer
app = typer.Typer()
@app.command()
def one(name: str) -> None:
    print(name)
@app.command()
def two(name: str) -> None:
    print(name)
app()
"""


def run(*command: str) -> None:
    """Run a command to its end; its output is dropped, a failure ends the bench with what it said."""
    done = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{' '.join(command)} ended with {done.returncode}:\n{done.stderr}")


def help_beside_typer(folder: Path) -> tuple[list[float], list[float]]:
    """Seconds of `pipeledger --help` and of the bare program's, in turn."""
    bare = folder / "two_commands.py"
    bare.write_text(TWO_COMMANDS, encoding="utf-8")
    actions = {
        "ours": seconds(lambda: run(PIPELEDGER, "--help")),
        "bare": seconds(lambda: run(sys.executable, str(bare), "--help")),
    }
    found = interleaved(actions, HELP_RUNS)
    return found["ours"], found["bare"]


def read_to_first_request(line: LineProcess, point: Path) -> list[float]:
    """Seconds from the start of the process `pipeledger read` to its first byte on the wire."""
    found = []
    for _ in range(READ_RUNS):
        before = line.seen().requests
        begun = time.monotonic()
        run(PIPELEDGER, "read", str(point))
        found.append(line.seen().instants[before] - begun)
    return found


def log_against_first_due(line: LineProcess, point: Path, folder: Path) -> list[float]:
    """Seconds from the whole UTC second, when the first round is due, to its first byte on the wire."""
    found = []
    for number in range(LOG_RUNS):
        before = line.seen().requests
        to_utc = time.time() - time.monotonic()
        archive = str(folder / f"archive-{number}")
        run(PIPELEDGER, "log", str(point), "--archive", archive, "--every", "1s", "--for", "2s")
        found.append((line.seen().instants[before] + to_utc) % 1.0)
    return found


def main() -> None:
    """Print three tables in one."""
    with TemporaryDirectory() as name, LineProcess(BAUD, TURNAROUND_S) as line:
        folder = Path(name)
        point = write_point(folder, line.port, BAUD)
        ours, bare = help_beside_typer(folder)
        first = read_to_first_request(line, point)
        due = log_against_first_due(line, point, folder)
    rows = [
        [
            "pipeledger --help",
            spread(ours),
            f"{median(ours) / median(bare):.2f} × the bare program (reach: ≤ 1.3)",
        ],
        ["two commands with typer, --help", spread(bare), "1"],
        ["read: start to first request", spread(first), f"{median(first) / 0.250:.2f} of 250 ms"],
        ["log: first due time to first request", spread(due), f"{median(due) / 0.020:.2f} of 20 ms"],
    ]
    print(table(["what", "ms: median (min to max)", "ratio"], rows))


if __name__ == "__main__":
    main()
