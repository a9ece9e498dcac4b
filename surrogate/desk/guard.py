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
import time
from dataclasses import dataclass, field
from urllib.parse import parse_qsl

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from surrogate.desk.texts import LANGUAGES, language_for

#: Largest request body in bytes: seven fields of the longest length would be more than any person types at once.
LARGEST_BODY = 128 * 1024

#: Most fields of a form: the longest has one for each ticked card of a list.
MOST_FIELDS = 5000

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


@dataclass
class Allowance:
    """So many requests at once, and so many a second after that (a token bucket)."""

    at_once: float
    a_second: float
    _left: float = field(init=False)
    _since: float = field(init=False, default_factory=time.monotonic)
    _lock: threading.Lock = field(init=False, default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self._left = self.at_once

    def take(self) -> bool:
        """Whether one more request is allowed now."""
        with self._lock:
            now = time.monotonic()
            self._left = min(self.at_once, self._left + (now - self._since) * self.a_second)
            self._since = now
            if self._left < 1:
                return False
            self._left -= 1
            return True


@dataclass(frozen=True)
class Limits:
    """How often the desk may be asked. One person who scrolls and zooms as fast as pages can be drawn stays below."""

    asked: Allowance = field(default_factory=lambda: Allowance(at_once=3000, a_second=400))
    forms: Allowance = field(default_factory=lambda: Allowance(at_once=200, a_second=20))
    wrong_keys: Allowance = field(default_factory=lambda: Allowance(at_once=20, a_second=0.1))


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

    def __init__(self, app: ASGIApp, keys: Keys, limits: Limits) -> None:
        self._app = app
        self._keys = keys
        self._limits = limits

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
        if not self._limits.asked.take() or (request.method == "POST" and not self._limits.forms.take()):
            return self._slow_down(request)
        if (request.url.path == "/" and "key" in request.query_params) or not self._is_known(request):
            return self._entry(request)
        if request.method == "POST" and not _from_here(request, own[0]):
            return PlainTextResponse("This form came from elsewhere.", 403)
        return None

    def _is_known(self, request: Request) -> bool:
        return self._keys.is_session(request.cookies.get(self._keys.cookie, ""))

    def _entry(self, request: Request) -> Response | None:
        """The answer to somebody with a key or without a pass; None lets them in."""
        key = request.query_params.get("key") if request.url.path == "/" and request.method == "GET" else None
        session = None if key is None else self._keys.exchange(key)
        if session is not None:
            answer = RedirectResponse("/", 303)
            answer.set_cookie(self._keys.cookie, session, httponly=True, samesite="strict", path="/")
            return answer
        if self._is_known(request):
            return None
        if key is not None and not self._limits.wrong_keys.take():
            return self._slow_down(request)
        return self._stranger(request)

    def _stranger(self, request: Request) -> Response:
        texts = LANGUAGES[language_for("", request.headers.get("accept-language", ""))]
        return PlainTextResponse(f"{texts['refused']}. {texts['refused_key']}", 403)

    def _slow_down(self, request: Request) -> Response:
        texts = LANGUAGES[language_for("", request.headers.get("accept-language", ""))]
        return PlainTextResponse(texts["too_often"], 429, {"retry-after": "10"})


async def form(request: Request, keys: Keys) -> dict[str, list[str]]:
    """The fields of a form that carries the token, with all their values. Raises :class:`Refused` for anything else."""
    if request.headers.get("content-type", "").split(";")[0].strip().lower() != "application/x-www-form-urlencoded":
        raise Refused(415, "refused_form")
    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > LARGEST_BODY:
            raise Refused(413, "too_large")
    try:
        pairs = parse_qsl(body.decode("ascii", "replace"), keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except ValueError as error:
        raise Refused(400, "refused_form") from error
    fields: dict[str, list[str]] = {}
    for name, value in pairs:
        fields.setdefault(name, []).append(value)
    if not keys.is_token(fields.pop("token", [""])[-1]):
        raise Refused(403, "refused_form")
    return fields


def _from_here(request: Request, own: str) -> bool:
    """Whether a browser says that a request comes from one of the desk's own pages, as far as it says anything."""
    origin = request.headers.get("origin")
    site = request.headers.get("sec-fetch-site", "same-origin")
    return origin in {None, f"http://{own}"} and site == "same-origin"


def _same(given: str, known: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), known.encode())
