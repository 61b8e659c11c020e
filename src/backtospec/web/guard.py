"""What every request passes before any page sees it, and what every answer carries."""

from __future__ import annotations

import hmac
import ipaddress
import socket
from urllib.parse import parse_qs, urlencode, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from backtospec.web.sessions import COOKIE, Session, Sessions
from backtospec.web.settings import LOOPBACK, Settings

POLICY = "; ".join(
    (
        "default-src 'self'",
        "img-src 'self' data:",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
_ALWAYS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}
_SAFE_METHODS = ("GET", "HEAD")
_OPEN = ("/enter", "/static/")
FORM_TOKEN = "form_token"
FORM_HEADER = "x-form-token"


class Guard:
    """Checks host, origin, session and form token, and limits what is sent.

    Parameters
    ----------
    app
        What is guarded.
    settings
        To whom it is served.
    sessions
        The cookies.
    """

    def __init__(self, app: ASGIApp, settings: Settings, sessions: Sessions) -> None:
        self._app = app
        self._settings = settings
        self._sessions = sessions

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        session = self._session(headers)
        fresh = session is None
        if session is None:
            session = self._sessions.begin(signed_in=not self._settings.passphrase_hash)
        scope["state"] = {
            **scope.get("state", {}),
            "session": session,
            "form_token": self._sessions.form_token(session),
        }
        cookie = self._cookie(session) if fresh else ""
        guarded = _with_headers(send, cookie)
        refusal = self._refusal(scope, headers, session)
        if refusal is not None:
            await refusal(scope, receive, guarded)
            return
        if scope["method"] in _SAFE_METHODS:
            await self._app(scope, receive, guarded)
            return
        await self._guard_form(scope, headers, session, receive, guarded)

    def _session(self, headers: Headers) -> Session | None:
        return self._sessions.read(cookie_parser(headers.get("cookie", "")).get(COOKIE, ""))

    def _cookie(self, session: Session) -> str:
        return cookie_line(self._sessions, session, self._settings)

    def _refusal(
        self, scope: Scope, headers: Headers, session: Session
    ) -> PlainTextResponse | RedirectResponse | None:
        host = headers.get("host", "")
        if not host_allowed(host, self._settings):
            return PlainTextResponse(f"This page does not answer to the name {host!r}.", 421)
        origin = headers.get("origin")
        if scope["method"] not in _SAFE_METHODS and origin and urlsplit(origin).netloc != host:
            return PlainTextResponse("This form was not sent from the bench page.", 403)
        path = scope["path"]
        if session.signed_in or path.startswith(_OPEN):
            return None
        if scope["method"] in _SAFE_METHODS and "text/html" in headers.get("accept", ""):
            return RedirectResponse(f"/enter?{urlencode({'to': path})}", 303)
        return PlainTextResponse("Sign in first.", 401)

    async def _guard_form(
        self, scope: Scope, headers: Headers, session: Session, receive: Receive, send: Send
    ) -> None:
        """Let a form through that carries its token and is not too large."""
        wanted = self._sessions.form_token(session)
        token = headers.get(FORM_HEADER)
        is_form = headers.get("content-type", "").startswith("application/x-www-form-urlencoded")
        if token is not None and not is_form:  # an upload, streamed: limited where it is read
            if hmac.compare_digest(token.encode(), wanted.encode()):
                await self._app(scope, receive, send)
            else:
                await _stale()(scope, receive, send)
            return
        if not is_form:
            await PlainTextResponse("Only forms are taken here.", 415)(scope, receive, send)
            return
        body = bytearray()
        while True:
            message = await receive()
            if message["type"] == "http.disconnect":
                return
            body += message.get("body", b"")
            if len(body) > self._settings.form_bytes:
                most = self._settings.form_bytes >> 20
                answer = PlainTextResponse(f"The form holds more than {most} MB.", 413)
                await answer(scope, receive, send)
                return
            if not message.get("more_body"):
                break
        token = token or parse_qs(body.decode("utf-8", "replace")).get(FORM_TOKEN, [""])[0]
        if not hmac.compare_digest(token.encode(), wanted.encode()):
            await _stale()(scope, receive, send)
            return
        whole: list[Message] = [{"type": "http.request", "body": bytes(body), "more_body": False}]

        async def again() -> Message:
            return whole.pop() if whole else await receive()

        await self._app(scope, again, send)


def _stale() -> PlainTextResponse:
    return PlainTextResponse("This page has become too old: load it anew. Nothing is lost.", 403)


def _with_headers(send: Send, cookie: str) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _ALWAYS.items():
                headers.setdefault(name, value)
            headers.setdefault("cache-control", "no-store")
            if cookie and "set-cookie" not in headers:
                headers.append("set-cookie", cookie)
        await send(message)

    return sending


def cookie_line(sessions: Sessions, session: Session, settings: Settings) -> str:
    """Return the header line that hands a session to a browser."""
    secure = "; Secure" if settings.tls else ""
    age = int(settings.session_hours * 3600)
    value = sessions.write(session)
    return f"{COOKIE}={value}; Path=/; Max-Age={age}; HttpOnly; SameSite=Strict{secure}"


def host_allowed(host: str, settings: Settings) -> bool:
    """Return whether the page answers to a Host header.

    An address is its own proof; a name must be one of ours, or another site's name could be made
    to point here (DNS rebinding).

    Examples
    --------
    >>> local, open_ = Settings(), Settings(host="0.0.0.0")
    >>> host_allowed("127.0.0.1:8000", local), host_allowed("evil.example:8000", open_)
    (True, False)
    >>> host_allowed("192.168.1.7", open_), host_allowed("192.168.1.7", local)
    (True, False)
    """
    try:
        name = (urlsplit(f"//{host}").hostname or "").rstrip(".")
    except ValueError:
        return False
    if name in LOOPBACK or name in settings.host_names:
        return True
    if not settings.exposed:
        return False
    try:
        ipaddress.ip_address(name)
    except ValueError:
        own = socket.gethostname().lower()
        return name in (own, f"{own}.local", settings.host.lower())
    return True
