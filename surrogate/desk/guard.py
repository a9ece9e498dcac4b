"""Who may ask the desk, from where, and what a browser may do with its answers.

Sources: OWASP Cheat Sheet Series (Cross-Site Request Forgery Prevention, Session Management, HTTP Headers); W3C
Content Security Policy Level 3; RFC 6265bis for SameSite; Fetch Metadata Request Headers (W3C). All from memory.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import threading
from urllib.parse import parse_qsl

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from surrogate.desk.texts import LANGUAGES, language_for

#: Largest request body in bytes: seven fields of the longest length would be more than any person types at once.
LARGEST_BODY = 128 * 1024

_OWN_NAME = re.compile(r"(127\.0\.0\.1|localhost)(:\d{1,5})?")
_HEADERS = {
    "content-security-policy": "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class Refused(Exception):
    """A request that is not answered, with its HTTP status and the key of the text that says why."""

    def __init__(self, status: int, text: str) -> None:
        super().__init__(text)
        self.status = status
        self.text = text


class Keys:
    """The one-time key, the session that it opens, and the token in every form."""

    def __init__(self, key: str) -> None:
        self._key: str | None = key
        self._lock = threading.Lock()
        self._session = secrets.token_urlsafe(32)
        self.cookie = f"desk-{hashlib.sha256(key.encode()).hexdigest()[:8]}"  # cookies do not tell ports apart
        self.token = secrets.token_urlsafe(32)

    def exchange(self, key: str) -> str | None:
        """The session for the key, once; None for any other key and from the second time on."""
        with self._lock:
            if self._key is None or not _same(key, self._key):
                return None
            self._key = None
            return self._session

    def is_session(self, value: str) -> bool:
        """Whether a cookie is that of the session."""
        return _same(value, self._session)

    def is_token(self, value: str) -> bool:
        """Whether a form carries the desk's token."""
        return _same(value, self.token)


class Guard:
    """Every request passes here before anything is looked up."""

    def __init__(self, app: ASGIApp, keys: Keys) -> None:
        self._app = app
        self._keys = keys

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a refused request, or hand it on; every answer gets the same headers."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers[name] = value
                headers.setdefault("cache-control", "no-store")
            await send(message)

        answer = self._refusal(Request(scope)) or self._app
        await answer(scope, receive, send_with_headers)

    def _refusal(self, request: Request) -> Response | None:
        """The answer that ends a request here, or None."""
        own = request.headers.getlist("host")
        if len(own) != 1 or not _OWN_NAME.fullmatch(own[0]):
            return PlainTextResponse("This address is not the desk's.", 421)
        if request.method not in {"GET", "HEAD", "POST"}:
            return PlainTextResponse("", 405)
        if request.url.path == "/" and request.method == "GET" and "key" in request.query_params:
            session = self._keys.exchange(request.query_params["key"])
            if session is not None:
                return self._welcome(session)
        if not self._keys.is_session(request.cookies.get(self._keys.cookie, "")):
            texts = LANGUAGES[language_for("", request.headers.get("accept-language", ""))]
            return PlainTextResponse(f"{texts['refused']}. {texts['refused_key']}", 403)
        if request.method == "POST" and not _from_here(request, own[0]):
            return PlainTextResponse("This form came from elsewhere.", 403)
        return None

    def _welcome(self, session: str) -> Response:
        answer = RedirectResponse("/", 303)
        answer.set_cookie(self._keys.cookie, session, httponly=True, samesite="strict", path="/")
        return answer


async def form(request: Request, keys: Keys) -> dict[str, str]:
    """The fields of a form that carries the token. Raises :class:`Refused` for anything else."""
    if request.headers.get("content-type", "").split(";")[0].strip().lower() != "application/x-www-form-urlencoded":
        raise Refused(415, "refused_form")
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > LARGEST_BODY:
            raise Refused(413, "too_large")
    try:
        pairs = parse_qsl(body.decode("ascii", "replace"), keep_blank_values=True, max_num_fields=40)
    except ValueError as error:
        raise Refused(400, "refused_form") from error
    fields = dict(pairs)
    if not keys.is_token(fields.pop("token", "")):
        raise Refused(403, "refused_form")
    return fields


def _from_here(request: Request, own: str) -> bool:
    """Whether a browser says that a request comes from one of the desk's own pages, as far as it says anything."""
    origin = request.headers.get("origin")
    site = request.headers.get("sec-fetch-site", "same-origin")
    return origin in {None, f"http://{own}"} and site == "same-origin"


def _same(given: str, known: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), known.encode())
