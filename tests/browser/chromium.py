"""A headless Chromium driven over its debugging pipe (Chrome DevTools Protocol, `--remote-debugging-pipe`).

Not a test: loaded by the fixtures beside it. Messages are JSON, each ended by a zero byte, on file
descriptors 3 (to the browser) and 4 (from it).
"""

import base64
import json
import os
import subprocess
import tempfile
import time
from collections.abc import Callable
from types import TracebackType
from typing import Any


class Chromium:
    """One browser with a profile of its own. `events` are all messages that were no answers."""

    def __init__(self) -> None:
        self._profile = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        to_read, self._to = os.pipe()
        self._from, from_write = os.pipe()
        command = [
            "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
            "--remote-debugging-pipe",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            "--disable-dev-shm-usage", f"--user-data-dir={self._profile.name}", "about:blank",
        ]  # fmt: skip

        def pipes() -> None:
            os.dup2(to_read, 103)
            os.dup2(from_write, 104)
            os.dup2(103, 3)
            os.dup2(104, 4)

        self._process = subprocess.Popen(
            command, preexec_fn=pipes, close_fds=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        os.close(to_read)
        os.close(from_write)
        self._number = 0
        self._kept = b""
        self.events: list[dict[str, Any]] = []

    def __enter__(self) -> "Chromium":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._process.kill()
        self._process.wait()
        os.close(self._to)
        os.close(self._from)
        self._profile.cleanup()

    def call(self, method: str, session: str | None = None, **parameters: Any) -> dict[str, Any]:
        """A command's answer; fails where the browser refuses it."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if session is not None:
            message["sessionId"] = session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._number:
                assert "error" not in answer, answer
                return dict(answer["result"])
            self.events.append(answer)

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._kept:
            piece = os.read(self._from, 1 << 20)
            assert piece, "the browser has gone"
            self._kept += piece
        raw, _, self._kept = self._kept.partition(b"\0")
        return dict(json.loads(raw))

    def open(self, url: str, width: int = 1280, height: int = 900, **more: Any) -> "Tab":
        """A new tab with a page, of that size in CSS pixels."""
        context = self.call("Target.createBrowserContext")["browserContextId"]
        target = self.call("Target.createTarget", url="about:blank", browserContextId=context)["targetId"]
        session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{domain}.enable", session)
        tab = Tab(self, session)
        tab.size(width, height, **more)
        self.call("Page.navigate", session, url=url)
        return tab


class Tab:
    """A page in a browser."""

    def __init__(self, browser: Chromium, session: str) -> None:
        self._browser, self._session = browser, session

    def size(self, width: int, height: int, *, scale: float = 1.0, mobile: bool = False) -> None:
        """The window, in CSS pixels; `mobile` as on a phone, with a finger."""
        self._browser.call(
            "Emulation.setDeviceMetricsOverride", self._session,
            width=width, height=height, deviceScaleFactor=scale, mobile=mobile,
        )  # fmt: skip
        self._browser.call("Emulation.setTouchEmulationEnabled", self._session, enabled=mobile)

    def run(self, script: str) -> Any:
        """What an expression gives, awaited."""
        found = self._browser.call(
            "Runtime.evaluate", self._session, expression=script, awaitPromise=True, returnByValue=True
        )
        assert "exceptionDetails" not in found, found["exceptionDetails"]
        return found["result"].get("value")

    def text(self, selector: str) -> str:
        """The text of the first element that fits; empty where there is none."""
        return str(self.run(f"document.querySelector({json.dumps(selector)})?.textContent ?? ''"))

    def until(self, true: Callable[[], Any], what: str, timeout: float = 60.0) -> Any:
        """Wait until something is so; as in `command.until`."""
        deadline = time.monotonic() + timeout
        while not (found := true()):
            assert time.monotonic() < deadline, f"not within {timeout} s: {what}; {self.text('body')[:2000]}"
            time.sleep(0.05)
        return found

    def picture(self, *, whole: bool = False) -> bytes:
        """What the window shows, or the whole page, as PNG."""
        found = self._browser.call(
            "Page.captureScreenshot", self._session, format="png", captureBeyondViewport=whole
        )
        return base64.b64decode(found["data"])

    def mine(self, method: str) -> list[dict[str, Any]]:
        """What the browser has told of this page under that name."""
        self.run("0")  # everything up to now
        return [
            dict(event["params"])
            for event in self._browser.events
            if event.get("sessionId") == self._session and event["method"] == method
        ]

    def complaints(self) -> list[str]:
        """Errors and warnings of the console, exceptions, and entries of the browser's own log."""
        errors = [
            str(told)
            for told in self.mine("Runtime.consoleAPICalled")
            if told["type"] in ("error", "warning")
        ]
        errors += [str(told) for told in self.mine("Runtime.exceptionThrown")]
        return errors + [
            str(told)
            for told in self.mine("Log.entryAdded")
            if told["entry"]["level"] in ("error", "warning")
        ]

    def requests(self) -> list[str]:
        """Every address that the page has asked for."""
        return [str(told["request"]["url"]) for told in self.mine("Network.requestWillBeSent")]
