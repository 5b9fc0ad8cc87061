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
RUNS, LOG_RUNS = 15, 5

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


def starts(line: LineProcess, point: Path, folder: Path) -> dict[str, list[float]]:
    """Seconds of help, of the bare program's, and of `read` up to its first byte on the wire, in turn."""
    bare = folder / "two_commands.py"
    bare.write_text(TWO_COMMANDS, encoding="utf-8")

    def read() -> float:
        before = line.seen().requests
        begun = time.monotonic()
        run(PIPELEDGER, "read", str(point))
        return line.seen().instants[before] - begun

    actions = {
        "bare": seconds(lambda: run(sys.executable, str(bare), "--help")),
        "help": seconds(lambda: run(PIPELEDGER, "--help")),
        "read": read,
    }
    return interleaved(actions, RUNS)


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
    """Print one table."""
    with TemporaryDirectory() as name, LineProcess(BAUD, TURNAROUND_S) as line:
        folder = Path(name)
        point = write_point(folder, line.port, BAUD)
        found = starts(line, point, folder)
        due = log_against_first_due(line, point, folder)
    bare, shown, read = (median(found[name]) for name in ("bare", "help", "read"))
    rows = [
        ["two commands with typer, --help", spread(found["bare"]), "1", ""],
        ["pipeledger --help", spread(found["help"]), f"{shown / bare:.2f}", "at most 1.3 × the bare program"],
        ["read: start to first request", spread(found["read"]), f"{read / bare:.2f}", "250 ms"],
        ["log: first due time to first request", spread(due), f"{median(due) / bare:.3f}", "20 ms"],
    ]
    print(table(["what", "ms: median (min to max)", "time / bare program", "reach"], rows))


if __name__ == "__main__":
    main()
