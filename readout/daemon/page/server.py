"""The server in a thread of its own: opened before the recording begins, ended with it."""

import gzip
import socket
import threading
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import uvicorn

from readout.daemon.live.feed import Feed
from readout.daemon.live.standing import Standing
from readout.daemon.page.address import Listen
from readout.daemon.page.app import Page
from readout.daemon.page.guard import Guard
from readout.daemon.page.news import News
from readout.errors import PortError

#: Connections at once; more are told to come later.
MOST_CONNECTIONS = 256
#: Seconds that the thread has to start and to end.
_PATIENCE_S = 10.0


class Server:
    """Listens from `open` to `close`."""

    def __init__(self, listen: Listen, root: Path, feed: Feed, standing: Standing) -> None:
        self._socket = _bound(listen)
        self.url = listen.url(self._socket.getsockname()[1])
        self._news = News(feed, standing)
        page = Page(root, feed, standing, self._news, listen.token, _chart_script)
        self._server = _Server(
            uvicorn.Config(
                Guard(page.app(), listen), http="h11", ws="none", loop="asyncio", lifespan="off",
                log_config=None, access_log=False, server_header=False, proxy_headers=False,
                limit_concurrency=MOST_CONNECTIONS, timeout_graceful_shutdown=1,
            ),
            self._news,
        )  # fmt: skip
        feed.tell = self._news.changed
        self._thread = threading.Thread(target=self._serve, name="page", daemon=True)

    def open(self) -> None:
        """Begin to answer."""
        self._thread.start()
        self._server.ready.wait(_PATIENCE_S)

    def close(self) -> None:
        """End the streams, then the server."""
        self._news.end()
        self._server.should_exit = True
        self._thread.join(_PATIENCE_S)
        self._socket.close()

    def _serve(self) -> None:
        self._server.run(sockets=[self._socket])


class _Server(uvicorn.Server):
    """Tells when it answers, and gives the news its event loop."""

    def __init__(self, config: uvicorn.Config, news: News) -> None:
        super().__init__(config)
        self._news = news
        self.ready = threading.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """As uvicorn's own."""
        self._news.start()
        await super().startup(sockets)
        self.ready.set()


def _bound(listen: Listen) -> socket.socket:
    family = socket.AF_INET6 if ":" in listen.host else socket.AF_INET
    try:
        bound = socket.create_server((listen.host, listen.port), family=family, backlog=128)
        # Connections inherit it. Without it each answer's body waits for the acknowledgement of its head
        # (RFC 896 meets RFC 1122, 4.2.3.2): 40 ms and more. asyncio sets it only where the protocol is named.
        bound.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return bound
    except (OSError, UnicodeError) as error:
        raise PortError(
            "held",
            f"--page {listen.host}:{listen.port}: this address is not to be had ({error}); does another"
            " recorder's page listen there? Take another port, or 0 for any that is free",
        ) from error


@lru_cache(maxsize=1)
def _chart_script() -> bytes:
    """Plotly's own script as its package brings it, packed; found without importing that package."""
    package = find_spec("plotly")
    if package is None or package.origin is None:
        raise FileNotFoundError("the package plotly is not installed")
    script = Path(package.origin).parent / "package_data" / "plotly.min.js"
    return gzip.compress(script.read_bytes(), 6, mtime=0)
