"""The process beside the recorder. Started by `outlet.py` only: `python -m readout.daemon.outlet.process`.

It ends when its stdin does, which is also what a killed recorder leaves behind. Signals of the terminal are
the recorder's to heed.
"""

import json
import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import ExitStack, suppress
from typing import BinaryIO

from readout.clock import SystemClock
from readout.daemon.live.feed import Feed
from readout.daemon.live.standing import Standing
from readout.daemon.outlet.asked import Asked, Begin, Took
from readout.errors import PipeledgerError

#: Of this process and those it starts: about a ninth of the recorder's weight (Linux, sched(7)).
_NICENESS = 10

_speaking = threading.Lock()


def main() -> int:
    """Show what is told on stdin until it ends; the exit status."""
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)
    _step_back()
    told = sys.stdin.buffer
    asked = pickle.load(told)
    assert isinstance(asked, Asked)
    with ExitStack() as stack:
        try:
            feed, shown_at = _opened(asked, stack)
        except PipeledgerError as error:
            _speak(refused=str(error), status=error.status)
            return 0
        _speak(ready=shown_at)
        _follow(told, feed)
    return 0


def _step_back() -> None:
    """Let the recorder go first where both want the processor, where the system knows such a thing."""
    if hasattr(os, "nice"):
        with suppress(OSError):
            os.nice(_NICENESS)


def _opened(asked: Asked, stack: ExitStack) -> tuple[Feed, list[str]]:
    """Everything that was asked for; sentences that say where it is."""
    clock = SystemClock()
    shown_at = []
    followers = []
    if asked.broker is not None:
        from readout.daemon.broker.broker import Broker

        broker = Broker(asked.broker, lambda text: _speak(say=text))
        stack.callback(broker.close)
        followers.append(broker.follow)
    feed = Feed(asked.archive, clock, lambda text: _speak(say=text), followers)
    stack.callback(feed.close)
    if asked.page is not None:
        from readout.daemon.page.server import Server

        standing = Standing(asked.archive, lambda: feed.tell())
        stack.callback(standing.close)
        server = Server(asked.page, asked.archive, feed, standing)
        stack.callback(server.close)
        server.open()
        whom = "from this computer only" if asked.page.is_local else "with the token"
        shown_at.append(f"page: {server.url} ({whom}); figures for a monitor: {server.url}metrics")
    if asked.broker is not None:
        shown_at.append(broker.open())
    return feed, shown_at


def _follow(told: BinaryIO, feed: Feed) -> None:
    """Take what the recorder says until it says no more."""
    acts: dict[type, Callable[[object], None]] = {
        Begin: lambda one: feed.begin(one.points) if isinstance(one, Begin) else None,
        Took: lambda one: feed.took(one.rows) if isinstance(one, Took) else None,
    }
    while True:
        try:
            message = pickle.load(told)
        except (EOFError, pickle.UnpicklingError, OSError):  # its end, also amid a message
            return
        acts[type(message)](message)


def _speak(**said: object) -> None:
    with _speaking:
        try:
            sys.stdout.write(json.dumps(said) + "\n")
            sys.stdout.flush()
        except OSError:  # nobody listens any more: the end of stdin follows
            return


if __name__ == "__main__":
    sys.exit(main())
