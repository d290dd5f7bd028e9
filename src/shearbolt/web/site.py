"""The application of one book: its addresses, its layers, and what goes wrong in words."""

from __future__ import annotations

import hashlib
import time
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import datetime
from importlib import resources
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from shearbolt.app.documents import PLAIN_WORDING
from shearbolt.errors import BookBusy, NotInBook, ShearboltError, UsageError
from shearbolt.web import phrases
from shearbolt.web.documents import Documents
from shearbolt.web.guard import Guard, TooLarge, too_large_words
from shearbolt.web.keys import Forms
from shearbolt.web.live import Live
from shearbolt.web.look import Look, look_of
from shearbolt.web.uploads import sweep
from shearbolt.web.view_live import is_moving

_TYPES = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
FOLDER = "page"
"""Folder in the book's own that belongs to the pages: forms remembered, files arriving."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How much is taken at once, in bytes."""

    form: int = 200_000
    picture: int = 30_000_000
    """A note with its picture."""
    recordings: int = 4_000_000_000

    def of(self, path: str) -> int:
        """Give the limit of an address."""
        if path == "/bring":
            return self.recordings
        return self.picture if path.endswith("/note") else self.form


class Site:
    """What the pages of one book share."""

    def __init__(
        self,
        book: Path,
        *,
        limits: Limits | None = None,
        now: Callable[[], datetime] = phrases.utc_now,
    ) -> None:
        self.book = book
        self.limits = limits or Limits()
        self.now = now
        self.documents = Documents(book, time.monotonic)
        self.forms = Forms(book / FOLDER / "forms", lambda: now().timestamp())
        self.live = Live(book)
        self.arriving = book / FOLDER / "arriving"
        self.static = _static()
        stamps = {name: hashlib.sha256(data).hexdigest()[:12] for name, data in self.static.items()}
        self.templates = Environment(
            loader=PackageLoader("shearbolt.web"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            extensions=["jinja2.ext.i18n"],
        )
        # Nothing is translated yet; the templates are marked for it.
        self.templates.install_null_translations(newstyle=True)  # type: ignore[attr-defined]
        self.templates.globals["static"] = lambda name: f"/static/{name}?v={stamps[name]}"

    def look(self, request: Request) -> Look:
        """Tell how the person who asks wants it shown."""
        return look_of(request.cookies, self.now())

    @property
    def moving(self) -> bool:
        """The machine that is listened to moves, so nobody shall be asked to type."""
        moment = self.live.now
        return self.live.running and moment.view is not None and is_moving(moment.view)

    def page(
        self, request: Request, template: str, http_status: int = 200, **given: object
    ) -> HTMLResponse:
        """Make a page of a template."""
        look = self.look(request)
        made = self.templates.get_template(template).render(
            look=look,
            path=request.url.path,
            recording=self.live.running,
            **given,
        )
        return HTMLResponse(made, http_status)

    def trouble(self, request: Request, status: int, sentence: str) -> Response:
        """Make the page of something that went wrong, in one sentence."""
        if wants_json(request):
            return JSONResponse({"sentence": sentence}, status)
        return self.page(request, "trouble.html", status, sentence=sentence, status=status)


def site_of(request: Request) -> Site:
    """Give what the pages share."""
    site = request.app.state.site
    assert isinstance(site, Site)
    return site


def wants_json(request: Request) -> bool:
    """Tell whether our own script asks, which shows a sentence without leaving the form."""
    return request.headers.get("accept") == "application/json"


def status_of(error: ShearboltError) -> int:
    """Give the HTTP status of an error."""
    if isinstance(error, NotInBook):
        return 404
    if isinstance(error, BookBusy):
        return 503
    return 422 if isinstance(error, UsageError) else 500


def make_site(
    book: Path, *, limits: Limits | None = None, now: Callable[[], datetime] = phrases.utc_now
) -> Starlette:
    """Make the application of the book in a folder."""
    from shearbolt.web.addresses import ROUTES

    site = Site(book, limits=limits, now=now)

    def refuse(status: int, sentence: str) -> ASGIApp:
        async def refusal(scope: Scope, receive: Receive, send: Send) -> None:
            # As little as possible is made of a request that may not ask.
            await Response(sentence + "\n", status, media_type="text/plain")(scope, receive, send)

        return refusal

    @asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        await run_in_threadpool(site.forms.forget_old)
        await run_in_threadpool(sweep, site.arriving, site.now().timestamp())
        yield
        await run_in_threadpool(site.live.close)

    app = Starlette(
        routes=ROUTES,
        middleware=[Middleware(Guard, limit_of=site.limits.of, refuse=refuse)],
        exception_handlers={
            HTTPException: _http_trouble,
            ShearboltError: _own_trouble,
            TooLarge: _too_large,
            Exception: _unforeseen,
        },
        lifespan=life,
    )
    app.state.site = site
    return app


def warm(app: Starlette) -> None:
    """Make the documents of the yard and its machines before somebody asks. Raises ShearboltError.

    Those that need somebody first come first.
    """
    site = app.state.site
    assert isinstance(site, Site)
    for one in site.documents.yard(PLAIN_WORDING)["machines"]:
        site.documents.machine(one["machine"], PLAIN_WORDING)


def _http_trouble(request: Request, trouble: Exception) -> Response:
    assert isinstance(trouble, HTTPException)
    sentences = {
        404: "There is no such page here.",
        405: "That cannot be done at this address.",
    }
    sentence = sentences.get(trouble.status_code, phrases.sentence(trouble.detail))
    return site_of(request).trouble(request, trouble.status_code, sentence)


def _own_trouble(request: Request, trouble: Exception) -> Response:
    assert isinstance(trouble, ShearboltError)
    return site_of(request).trouble(request, status_of(trouble), phrases.for_page(trouble.sentence))


def _too_large(request: Request, trouble: Exception) -> Response:
    assert isinstance(trouble, TooLarge)
    return site_of(request).trouble(request, 413, too_large_words(trouble.limit))


def _unforeseen(request: Request, trouble: Exception) -> Response:
    sentence = (
        f"Something went wrong inside Shearbolt ({type(trouble).__name__}); what was finished is "
        "in the book, and the window in which it runs tells the details."
    )
    return site_of(request).trouble(request, 500, sentence)


def _static() -> Mapping[str, bytes]:
    folder = resources.files("shearbolt.web") / "static"
    return {
        one.name: one.read_bytes()
        for one in folder.iterdir()
        if one.name.rsplit(".", 1)[-1] in _TYPES
    }


def static(request: Request) -> Response:
    """Give a file of the pages' own; its address changes with what is in it."""
    name = request.path_params["name"]
    data = site_of(request).static.get(name)
    if data is None:
        raise HTTPException(404)
    kept = "max-age=31536000, immutable" if request.query_params.get("v") else "no-cache"
    return Response(
        data, media_type=_TYPES[name.rsplit(".", 1)[-1]], headers={"cache-control": kept}
    )
