"""The stream of news that keeps a page current: server-sent events, changes only.

Each page is told what has changed since it was told last, at its own pace; nothing waits for a slow one, and
nothing is stored for it.
"""

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

from readout.daemon.live.feed import Feed
from readout.daemon.live.standing import Standing

#: A sign of life at least so often [s]: a page that hears nothing says so.
BEAT_S = 3.0
#: A page is told something at most so often [s].
_PACE_S = 0.2


class News:
    """Of one server; belongs to its event loop, but for `changed`."""

    def __init__(self, feed: Feed, standing: Standing) -> None:
        self._feed, self._standing = feed, standing
        self._loop: asyncio.AbstractEventLoop | None = None
        self._waiting: set[asyncio.Event] = set()
        self._ending = False

    @property
    def readers(self) -> int:
        """Pages that listen now."""
        return len(self._waiting)

    def changed(self) -> None:
        """There is something new; from any thread."""
        self._call(self._wake)

    def end(self) -> None:
        """Let every stream end; from any thread."""
        self._ending = True
        self._call(self._wake)

    def start(self) -> None:
        """From within the event loop, before the first request."""
        self._loop = asyncio.get_running_loop()

    def _call(self, act: Any) -> None:
        loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(act)

    def _wake(self) -> None:
        for event in self._waiting:
            event.set()

    async def read(self) -> AsyncIterator[str]:
        """Everything, then what changes, until the page goes or the server ends."""
        event = asyncio.Event()
        self._waiting.add(event)
        board = book = 0
        standing: Any = None
        names: list[str] | None = None
        try:
            yield "retry: 1000\n\n"
            while not self._ending:
                event.clear()
                told: dict[str, Any] = {"now_ms": self._feed.now_ms()}
                board, changed = self._feed.board.since(board)
                if changed:
                    told["points"] = changed
                if names != (now := [facts.name for facts in self._feed.board.facts()]):
                    names = told["names"] = now
                if book != (version := self._feed.book_version):
                    book = version
                    told["book"] = [entry.as_json() for entry in self._feed.book.entries()]
                latest = self._standing.latest()
                if latest is not None and latest is not standing:
                    standing = told["standing"] = latest
                yield f"data: {json.dumps(told, ensure_ascii=False, allow_nan=False)}\n\n"
                await asyncio.sleep(_PACE_S)
                try:
                    await asyncio.wait_for(event.wait(), BEAT_S)
                except TimeoutError:
                    continue
        finally:
            self._waiting.discard(event)
