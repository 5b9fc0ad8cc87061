"""Who is let in: a foreign Host header, a missing token and a request from another site are refused.

A page of another site that is open in the same browser may send requests here, but cannot choose their Host
and Origin, and cannot add a header without being allowed to first, which it never is (Fetch Standard, CORS
protocol). Nothing here trusts a cookie alone.
"""

import hashlib
import hmac
from collections.abc import Mapping
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from readout.daemon.page.address import Listen

#: Every entry and every token is sent with this header, which a form of another site cannot.
OWN_HEADER, OWN_VALUE = "x-pipeledger", "page"
COOKIE = "pipeledger-page"
#: What can be had without a token: the form that asks for it, and what that looks like.
_OPEN = frozenset({"/page.css", "/token.js", "/token"})
_HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:;"
        " connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
}


class Guard:
    """Stands before the page (ASGI)."""

    def __init__(self, app: ASGIApp, listen: Listen) -> None:
        self._app, self._listen = app, listen

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer what is refused, let through the rest, and add the headers that keep the page to itself."""
        if scope["type"] != "http":
            return

        async def closed(message: Message) -> None:
            if message["type"] == "http.response.start":
                kept = list(message.get("headers", []))
                kept += [(name.encode(), value.encode()) for name, value in _HEADERS.items()]
                message = {**message, "headers": kept}
            await send(message)

        headers = Headers(scope=scope)
        refused = self._refusal(scope["method"], scope["path"], headers)
        if refused is None:
            await self._app(scope, receive, closed)
            return
        status, text = refused
        if status == 401 and scope["path"] == "/":
            scope = {**scope, "path": "/token", "raw_path": b"/token"}
            await self._app(scope, receive, closed)
            return
        challenge = {"www-authenticate": "Bearer"} if status == 401 else {}
        await PlainTextResponse(text + "\n", status, challenge)(scope, receive, closed)

    def _refusal(self, method: str, path: str, headers: Headers) -> tuple[int, str] | None:
        """Status and sentence; None where there is nothing against it."""
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not self._listen.answers_to(hosts[0]):
            return 421, "This page answers to the name of its own computer only."
        if method not in ("GET", "HEAD", "POST"):
            return 405, "Only GET, HEAD and POST are answered."
        if method == "POST" and not is_own(headers):
            return 403, "Entries are taken only from the page itself, not from another site."
        if self._listen.token is not None and path not in _OPEN and not self._knows(headers):
            return 401, "A token is needed: in a browser open /, else send it as Authorization: Bearer TOKEN."
        return None

    def _knows(self, headers: Mapping[str, str]) -> bool:
        token = self._listen.token or ""
        scheme, _, given = headers.get("authorization", "").partition(" ")
        if scheme.lower() == "bearer" and same(given.strip(), token):
            return True
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
        except CookieError:
            return False
        return cookie is not None and same(cookie.value, pass_of(token))


def is_own(headers: Mapping[str, str]) -> bool:
    """Whether a POST comes from our own page: same origin, our own header, JSON."""
    origin = urlsplit(headers.get("origin", ""))
    return (
        headers.get(OWN_HEADER) == OWN_VALUE
        and origin.scheme in ("http", "https")
        and origin.netloc == headers.get("host")
        and headers.get("sec-fetch-site", "same-origin") == "same-origin"
        and headers.get("content-type", "").partition(";")[0].strip() == "application/json"
    )


def same(one: str, other: str) -> bool:
    """Compared in a time that tells nothing of where they differ."""
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode("utf-8", "replace"))


def pass_of(token: str) -> str:
    """What the browser keeps instead of the token: good for this page after a restart, for nothing else."""
    return hmac.new(token.encode(), b"pipeledger page", hashlib.sha256).hexdigest()
