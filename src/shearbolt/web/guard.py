"""Who may ask, and what every answer carries. The outermost layer of the site.

A page on another site can make a browser send requests here, and a name on the network can be
made to point here (rebinding). So: a host that is not this computer's own gets 400, a request to
write that does not come from our own pages gets 403, and whatever is sent is counted while it
arrives, not only by what it says of itself. Rules of Fetch (WHATWG) and of RFC 9110 7.2.
"""

from __future__ import annotations

from collections.abc import Callable
from ipaddress import ip_address
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

READING = frozenset({"GET", "HEAD"})
SAFETY = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Not 'no-referrer': with it a browser sends the Origin of a form as 'null' (Fetch 3.1).
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), usb=(), serial=()",
}
"""Headers of every answer."""


class TooLarge(Exception):
    """More arrived than this address takes; `limit` is in bytes."""

    def __init__(self, limit: int) -> None:
        super().__init__(f"more than {limit} bytes")
        self.limit = limit


def own_host(host: str | None) -> bool:
    """Tell whether a Host header names this computer by its loopback names."""
    if not host:
        return False
    try:
        parts = urlsplit(f"//{host}")
        name, _ = parts.hostname, parts.port
    except ValueError:
        return False
    if parts.netloc != host or parts.username is not None or name is None:
        return False
    if name == "localhost":
        return True
    try:
        return ip_address(name).is_loopback
    except ValueError:
        return False


def own_write(headers: Headers) -> bool:
    """Tell whether a request to write comes from a page of ours.

    `Origin` must be this very host and port; a browser that says where a request comes from
    (`Sec-Fetch-Site`) must say 'same-origin'. One of the two has to be there.
    """
    origin, site = headers.get("origin"), headers.get("sec-fetch-site")
    if origin is None and site is None:
        return False
    if site is not None and site != "same-origin":
        return False
    return origin is None or origin == f"http://{headers.get('host')}"


def own_read(headers: Headers) -> bool:
    """Tell whether a page may be read: another site may link to it, and not look into it."""
    if headers.get("sec-fetch-site") not in ("cross-site", "same-site"):
        return True
    return (headers.get("sec-fetch-mode"), headers.get("sec-fetch-dest")) == (
        "navigate",
        "document",
    )


class Guard:
    """Refuses what may not ask, counts what arrives, and sets the headers of every answer."""

    def __init__(
        self, app: ASGIApp, *, limit_of: Callable[[str], int], refuse: Callable[[int, str], ASGIApp]
    ) -> None:
        self.app = app
        self.limit_of = limit_of
        self.refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            # Nothing here speaks anything but plain requests yet.
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = Headers(scope=scope)
        limit = self.limit_of(scope["path"])

        async def safely(message: Message) -> None:
            if message["type"] == "http.response.start":
                given = MutableHeaders(scope=message)
                for name, value in SAFETY.items():
                    given[name] = value
                given.setdefault("cache-control", "no-store")
            await send(message)

        app = self._refusal(scope["method"], headers, limit) or self.app
        await app(scope, _counted(receive, limit), safely)

    def _refusal(self, method: str, headers: Headers, limit: int) -> ASGIApp | None:
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not own_host(hosts[0]):
            return self.refuse(
                400, "This is served to this computer alone: open it as 127.0.0.1 or localhost."
            )
        if method not in READING and not own_write(headers):
            return self.refuse(403, "That came from another page than ours, so nothing was done.")
        if method in READING and not own_read(headers):
            return self.refuse(403, "Another site asked for this, so it is not shown.")
        told = headers.get("content-length", "0")
        if not told.isdecimal():
            return self.refuse(400, "How much was sent cannot be understood.")
        if int(told) > limit:
            return self.refuse(413, too_large_words(limit))
        return None


def too_large_words(limit: int) -> str:
    """Say how much may be sent at once."""
    size = f"{limit / 1e9:.3g} GB" if limit >= 1e9 else f"{max(1, limit // 1000):,} kB"
    return f"That is more than {size}, the most that is taken here at once; nothing was kept."


def _counted(receive: Receive, limit: int) -> Receive:
    """Count what arrives; raises TooLarge beyond the limit, whatever the headers said."""
    so_far = 0

    async def counting() -> Message:
        nonlocal so_far
        message = await receive()
        if message["type"] == "http.request":
            so_far += len(message.get("body", b""))
            if so_far > limit:
                raise TooLarge(limit)
        return message

    return counting
