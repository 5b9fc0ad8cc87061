"""The page's addresses: the page itself, its stream of news, charts, the log book, metrics."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from anyio import sleep, to_thread
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from readout.clock import iso
from readout.daemon.live.feed import Feed
from readout.daemon.live.history import Span
from readout.daemon.live.standing import Standing
from readout.daemon.page.guard import COOKIE, pass_of, same
from readout.daemon.page.metrics import Metrics
from readout.daemon.page.news import News
from storage.archive import is_archive
from storage.errors import StorageError
from storage.ledger import Kind
from storage.logbook.inbox import Inbox

ASSETS = Path(__file__).parent / "assets"
_TYPES = {".css": "text/css", ".js": "text/javascript", ".html": "text/html"}
#: Bytes of a request's body, and characters of an entry (as the command `note` has it).
MOST_BODY, LONGEST = 32 << 10, 4000
#: Seconds until an entry that the recorder has not taken in is told as waiting.
PATIENCE_S = 10.0
_PAUSE_S = 0.1
#: Pages that may be open at once; each holds a connection.
MOST_STREAMS = 64


class Page:
    """Answers requests. `chart_script` gives the script that draws, packed with gzip."""

    def __init__(
        self, root: Path, feed: Feed, standing: Standing, news: News, token: str | None,
        chart_script: Callable[[], bytes],
    ) -> None:  # fmt: skip
        self._root, self._feed, self._standing, self._news = root, feed, standing, news
        self._token, self._chart_script = token, chart_script
        self._metrics = Metrics(feed, standing)
        self._files = {file.name: file.read_text(encoding="utf-8") for file in ASSETS.iterdir()}

    def app(self) -> Starlette:
        """The application, without the guard before it."""
        return Starlette(
            routes=[
                Route("/", self._file("page.html")),
                Route("/page.css", self._file("page.css")),
                Route("/page.js", self._file("page.js")),
                Route("/chart.js", self._file("chart.js")),
                Route("/token.js", self._file("token.js")),
                Route("/drawing.js", self._drawing),
                Route("/news", self._stream),
                Route("/chart", self._chart),
                Route("/metrics", self._scraped),
                Route("/entry", self._enter, methods=["POST"]),
                Route("/token", self._file("token.html"), methods=["GET"]),
                Route("/token", self._opened, methods=["POST"]),
            ]
        )

    def _file(self, name: str) -> Callable[[Request], Response]:
        text, kind = self._files[name], _TYPES[Path(name).suffix]

        def answer(_: Request) -> Response:
            status = 401 if name == "token.html" else 200
            return Response(text, status, {"cache-control": "no-cache"}, media_type=kind)

        return answer

    async def _drawing(self, request: Request) -> Response:
        """The script that draws charts, 4.8 MB: packed, and kept by the browser."""
        if "gzip" not in request.headers.get("accept-encoding", ""):
            return PlainTextResponse("This script is sent packed with gzip only.\n", 406)
        packed = await to_thread.run_sync(self._chart_script)
        headers = {"content-encoding": "gzip", "cache-control": "private, max-age=86400", "vary": "cookie"}
        return Response(packed, headers=headers, media_type="text/javascript")

    async def _stream(self, _: Request) -> Response:
        if self._news.readers >= MOST_STREAMS:
            return PlainTextResponse("Too many pages are open.\n", 503, {"retry-after": "30"})
        headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
        return StreamingResponse(self._news.read(), headers=headers, media_type="text/event-stream")

    async def _chart(self, request: Request) -> Response:
        asked = request.query_params
        span = next((span for span in Span if span.word == asked.get("span", Span.SHORT.word)), None)
        point, reading = asked.get("point", ""), asked.get("reading", "")
        known = {facts.name: facts for facts in self._feed.board.facts()}
        if span is None or point not in known or reading not in {v.name for v in known[point].map.readings}:
            return PlainTextResponse("There is no such chart.\n", 404)
        drawn = await to_thread.run_sync(self._feed.history.chart, point, reading, span, self._feed.now_ms())
        return JSONResponse(drawn, headers={"cache-control": "no-store"})

    async def _scraped(self, request: Request) -> Response:
        text, kind = await to_thread.run_sync(self._metrics.text, request.headers.get("accept", ""))
        return Response(text, headers={"content-type": kind, "cache-control": "no-store"})

    async def _enter(self, request: Request) -> Response:
        """An entry for the log book, as `note` writes it; told where it stands in the ledger."""
        told = await _json_of(request)
        point, text = told.get("point"), told.get("text")
        words = text.strip() if isinstance(text, str) else ""
        if not isinstance(point, str) or point not in {facts.name for facts in self._feed.board.facts()}:
            return JSONResponse({"fault": "That point is not recorded here."}, 400)
        if not words or len(words) > LONGEST:
            return JSONResponse({"fault": f"An entry has 1 to {LONGEST} characters."}, 400)
        if not is_archive(self._root):
            return JSONResponse({"fault": "The archive is only just being made; try again."}, 503)
        content = {"point": point, "text": words, "at": iso(self._feed.now_ms() / 1000)}
        inbox = Inbox(self._root)
        try:
            identity = await to_thread.run_sync(inbox.leave, Kind.NOTE, content)
        except ValueError:
            return JSONResponse({"fault": "The text has half a character in it."}, 400)
        except (StorageError, OSError) as error:
            return JSONResponse({"fault": f"The entry could not be kept: {error}"}, 507)
        for _ in range(round(PATIENCE_S / _PAUSE_S)):
            if not await to_thread.run_sync(inbox.waits, identity):
                return JSONResponse({"kept": "in the ledger", "id": identity}, 201)
            await sleep(_PAUSE_S)
        return JSONResponse({"kept": "waiting", "id": identity}, 202)

    async def _opened(self, request: Request) -> Response:
        """The token, typed: the browser gets a pass that no script can read and no other site can use."""
        given = (await _json_of(request)).get("token")
        if self._token is None or not isinstance(given, str) or not same(given.strip(), self._token):
            return JSONResponse({"fault": "That is not the token."}, 403)
        answer = JSONResponse({"kept": "pass"}, 200)
        answer.set_cookie(COOKIE, pass_of(self._token), max_age=30 * 86_400, httponly=True, samesite="strict")
        return answer


async def _json_of(request: Request) -> dict[str, Any]:
    """A small JSON object from the request's body; an empty one where it is something else."""
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > MOST_BODY:
            return {}
    try:
        told = json.loads(body)
    except (ValueError, RecursionError):
        return {}
    return told if isinstance(told, dict) else {}
