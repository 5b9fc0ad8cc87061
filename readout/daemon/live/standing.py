"""Coverage, causes and disk as `pipeledger status` tells them, asked for by a process of its own.

What is asked there reads the whole archive, and its memory is given back when it ends. And so the page, the
metrics and `status --json` cannot disagree.
"""

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

#: Seconds between two askings; and at least so many times what the last one took: 5 % of a core at most.
EVERY_S, TIMES = 30.0, 20
#: The same between the first two, when a recording has just begun and much changes; twice as much each time.
FIRST_S, FIRST_TIMES = 2.0, 2
#: It is asked only while someone looks: so long [s] after the last who wanted it.
WANTED_S = 120.0
#: An archive of many years on a small computer takes minutes; what takes longer hangs [s].
PATIENCE_S = 600.0
#: How often the thread looks up [s].
_LOOK_S = 0.2


class Standing:
    """Ask `latest` again and again; `on_change` is called from its thread when there is something new."""

    def __init__(self, root: Path, on_change: Callable[[], None], *, every_s: float = EVERY_S) -> None:
        self._root, self._on_change, self._every_s = root, on_change, every_s
        self._wanted = self._asked = float("-inf")
        self._took, self._pause_s, self._times = 0.0, FIRST_S / 2, FIRST_TIMES // 2
        self._stop = threading.Event()
        self._child: subprocess.Popen[bytes] | None = None
        self._latest: dict[str, Any] | None = None
        self._thread = threading.Thread(target=self._run, name="standing", daemon=True)
        self._thread.start()

    def latest(self) -> dict[str, Any] | None:
        """The document of `status --json`, with `asked_ms` (ms since 1970 UTC); None before the first."""
        self._wanted = time.monotonic()
        return self._latest

    def close(self) -> None:
        """End the thread, and the process that may still run."""
        self._stop.set()
        child = self._child
        if child is not None:
            child.kill()
        self._thread.join(5)

    def _run(self) -> None:
        while not self._stop.wait(_LOOK_S):
            now = time.monotonic()
            due = self._asked + max(self._pause_s, self._times * self._took)
            if now >= due and now - self._wanted < WANTED_S:
                self._asked = now
                found = self._ask()
                self._took = time.monotonic() - now
                self._pause_s = min(self._every_s, 2 * self._pause_s)
                self._times = min(TIMES, 2 * self._times)
                if found is not None:
                    self._latest = found
                    self._on_change()

    def _ask(self) -> dict[str, Any] | None:
        asked_ms = round(time.time() * 1000)
        words = [sys.executable, "-m", "readout.cli.main", "status", str(self._root), "--json"]
        try:
            with subprocess.Popen(
                words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
            ) as child:
                self._child = child
                _step_back(child.pid)
                try:
                    out, _ = child.communicate(timeout=PATIENCE_S)
                except subprocess.TimeoutExpired:
                    child.kill()
                    return None
            found = json.loads(out)
        except (OSError, ValueError):
            return None  # no archive yet, or no process to be had: the next time will tell
        finally:
            self._child = None
        return {**found, "asked_ms": asked_ms} if isinstance(found, dict) else None


def _step_back(process: int) -> None:
    """Let the lines go first, where the system knows such a thing."""
    if hasattr(os, "setpriority"):
        try:
            os.setpriority(os.PRIO_PROCESS, process, 10)
        except OSError:
            return
