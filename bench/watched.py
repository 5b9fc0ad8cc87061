"""How late rounds start while five browsers look and a broker listens, beside a recorder that nobody watches.

Usage: python bench/watched.py [TURNS]     (default 4; a turn is one minute of each)

Needs Debian's chromium and mosquitto. In life browsers and broker have computers of their own. Here they
share this one, and so get what nothing else wants of it (Linux' idle policy): measured is what serving them
costs the recorder's computer, not what drawing a page costs.
"""

import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from figures import percentile, table
from meter import LineProcess
from point import PIPELEDGER, write_point

BAUD, TURNAROUND_S, EVERY_S, RUN_S = 19200, 0.005, 0.2, 60
#: The command's own start does not count, nor that of the browsers, which is a matter of the computer.
SETTLE_S = 20.0
BROWSERS = 5
#: Before a command: run only while no other wants the processor (sched(7)).
ELSEWHERE = ("chrt", "--idle", "0")


@contextmanager
def broker(folder: Path) -> Iterator[int]:
    """A mosquitto at a free port."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    (folder / "broker.conf").write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\n"
    )
    program = shutil.which("mosquitto", path="/usr/sbin:/usr/bin") or sys.exit("apt install mosquitto")
    with subprocess.Popen(
        [*ELSEWHERE, program, "-c", str(folder / "broker.conf")], stderr=subprocess.DEVNULL
    ) as process:
        yield port
        process.terminate()


@contextmanager
def browsers(url: str, folder: Path) -> Iterator[None]:
    """So many Chromiums, each with the page open."""
    opened = [
        subprocess.Popen(
            [*ELSEWHERE, "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
             "--disable-background-networking", "--remote-debugging-port=0",
             f"--user-data-dir={folder / f'profile-{n}'}", url],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )
        for n in range(BROWSERS)
    ]  # fmt: skip
    try:
        yield
    finally:
        for browser in opened:
            browser.kill()
            browser.wait()


def streams(port: int) -> int:
    """How many established connections this computer holds to `port`, of the clients' side."""
    wanted = f":{port:04X}"
    rows = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    return sum(row[2].endswith(wanted) and row[3] == "01" for row in rows)


def lateness(*, watched: bool) -> tuple[list[float], int]:
    """Seconds of each round from due to its first byte on the wire; and connections to the page meanwhile."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory(ignore_cleanup_errors=True)))
        line = stack.enter_context(LineProcess(BAUD, TURNAROUND_S))
        point = write_point(folder, line.port, BAUD)
        command = [PIPELEDGER, "log", str(point), "--archive", str(folder / "archive")]
        command += ["--every", f"{EVERY_S:g}s", "--for", f"{RUN_S + SETTLE_S:g}s"]
        if watched:
            port = stack.enter_context(broker(folder))
            command += ["--page", "127.0.0.1:0", "--mqtt", f"mqtt://127.0.0.1:{port}"]
        to_utc = time.time() - time.monotonic()
        recorder = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        assert recorder.stderr is not None
        begun, looking = time.monotonic(), 0
        if watched:
            said = next(
                found for text in recorder.stderr if (found := re.search(r"http://\S+?:(\d+)/", text))
            )
            stack.enter_context(browsers(said[0], folder))
            time.sleep(SETTLE_S + RUN_S / 2)
            looking = streams(int(said[1]))
        _, errors = recorder.communicate()
        instants = [at for at in line.seen().instants if at - begun > SETTLE_S]
    if recorder.returncode:
        raise SystemExit(f"{' '.join(command)} ended with {recorder.returncode}: {errors}")
    return [(at + to_utc) % EVERY_S for at in instants], looking


def row(name: str, late: list[float]) -> list[str]:
    """Count, median, 99th percentile and maximum in ms."""
    figures = (median(late), percentile(late, 0.99), max(late))
    return [name, str(len(late)), *(f"{figure * 1000:.3f}" for figure in figures)]


def main(turns: int) -> None:
    """Alternate, and print both."""
    alone: list[float] = []
    seen: list[float] = []
    for _ in range(turns):
        alone += lateness(watched=False)[0]
        found, looking = lateness(watched=True)
        seen += found
        if looking < BROWSERS:
            raise SystemExit(f"only {looking} of {BROWSERS} browsers had the page open")
    rows = [row("alone", alone), row(f"{BROWSERS} browsers and a broker", seen)]
    print(table(["ms", "rounds", "median", "99 %", "max"], rows))
    print(f"99th percentile, watched / alone: {percentile(seen, 0.99) / percentile(alone, 0.99):.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4)
