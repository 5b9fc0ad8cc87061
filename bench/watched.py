"""How late rounds start while five look at the page and a broker listens, beside a recorder nobody watches.

Usage: python bench/watched.py [TURNS]     (default 4; a turn is one minute of each)

Needs Debian's chromium and mosquitto. In life browsers and broker have computers of their own. Here they
share this one, and so get what nothing else wants of it (Linux' idle policy): measured is what serving them
costs the recorder's computer, not what drawing a page costs.
"""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
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
#: Before a command, in a session of its own: run only while no other wants the processor, also where Linux
#: shares it between sessions first (sched(7): idle policy, autogroup).
ELSEWHERE = ("sh", "-c", 'echo 19 2>/dev/null > /proc/self/autogroup; exec chrt --idle 0 "$@"', "elsewhere")

Watchers = Callable[[str, Path], AbstractContextManager[None]]


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
        [*ELSEWHERE, program, "-c", str(folder / "broker.conf")],
        stderr=subprocess.DEVNULL,
        start_new_session=True,
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
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
        )
        for n in range(BROWSERS)
    ]  # fmt: skip
    try:
        yield
    finally:
        for browser in opened:
            browser.kill()
            browser.wait()


@contextmanager
def clients(url: str, _folder: Path) -> Iterator[None]:
    """So many that fetch what a browser does and draw nothing: page, scripts, news, a chart every 4 s."""
    once = " ".join(f"{url}{name}" for name in ("", "page.js", "page.css", "chart.js", "drawing.js"))
    chart = f"{url}chart?point=bench&reading=flow&span=15min"
    words = f"curl -s --compressed {once} >/dev/null; while sleep 4; do curl -s '{chart}'; done & "
    words += f"exec curl -sN {url}news"
    opened = [
        subprocess.Popen(["sh", "-c", words], stdout=subprocess.DEVNULL, start_new_session=True)
        for _ in range(BROWSERS)
    ]
    try:
        yield
    finally:
        for client in opened:
            os.killpg(client.pid, signal.SIGKILL)
            client.wait()


def streams(port: int) -> int:
    """How many established connections this computer holds to `port`, of the clients' side."""
    wanted = f":{port:04X}"
    rows = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    return sum(row[2].endswith(wanted) and row[3] == "01" for row in rows)


def lateness(watchers: Watchers | None) -> tuple[list[float], int]:
    """Seconds of each round from due to its first byte on the wire; and connections to the page meanwhile."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory(ignore_cleanup_errors=True)))
        line = stack.enter_context(LineProcess(BAUD, TURNAROUND_S))
        point = write_point(folder, line.port, BAUD)
        command = [PIPELEDGER, "log", str(point), "--archive", str(folder / "archive")]
        command += ["--every", f"{EVERY_S:g}s", "--for", f"{RUN_S + SETTLE_S:g}s"]
        if watchers is not None:
            port = stack.enter_context(broker(folder))
            command += ["--page", "127.0.0.1:0", "--mqtt", f"mqtt://127.0.0.1:{port}"]
        to_utc = time.time() - time.monotonic()
        recorder = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        assert recorder.stderr is not None
        begun, looking = time.monotonic(), 0
        if watchers is not None:
            said = next(
                found for text in recorder.stderr if (found := re.search(r"http://\S+?:(\d+)/", text))
            )
            stack.enter_context(watchers(said[0], folder))
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
    """In turn, and print all."""
    ways: dict[str, Watchers | None] = {
        "alone": None,
        f"{BROWSERS} clients and a broker": clients,
        f"{BROWSERS} browsers on this computer and a broker": browsers,
    }
    late: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(turns):
        for name, watchers in ways.items():
            found, looking = lateness(watchers)
            late[name] += found
            if watchers is not None and looking < BROWSERS:
                raise SystemExit(f"{name}: only {looking} had the page open")
    print(table(["ms", "rounds", "median", "99 %", "max"], [row(name, each) for name, each in late.items()]))
    for name, each in late.items():
        print(
            f"99th percentile, {name} / alone: {percentile(each, 0.99) / percentile(late['alone'], 0.99):.2f}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4)
