"""The live page: begin to listen, watch it, end it."""

from __future__ import annotations

from collections.abc import AsyncIterator

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response, StreamingResponse

from shearbolt.app.documents import ListenAsked, MachineDocument
from shearbolt.errors import ShearboltError
from shearbolt.web import phrases
from shearbolt.web.forms import Filled
from shearbolt.web.live import Moment
from shearbolt.web.look import Look
from shearbolt.web.site import Site, site_of
from shearbolt.web.uploads import arriving, receive
from shearbolt.web.view_live import LiveShown, live_shown
from shearbolt.web.view_visit import brought_visit


def live(request: Request) -> Response:
    """What does it say right now?"""
    site = site_of(request)
    moment = site.live.now
    if site.live.running:
        return site.page(
            request, "live.html", moment=moment, shown=_shown(site, moment, site.look(request))
        )
    return _begin_page(site, request, Filled({}), 200)


async def begin(request: Request) -> Response:
    """Begin to listen."""
    site = site_of(request)
    with arriving(site.arriving) as folder:
        filled = Filled((await receive(request, folder)).fields)
    hours, bitrate = filled.hours("hours"), filled.text("bitrate").replace(" ", "")
    if bitrate and not (bitrate.isdecimal() and 10_000 <= int(bitrate) <= 1_000_000):
        filled.problems["bitrate"] = "Bits a second are a number from 10000 to 1000000."
    if filled.problems:
        return await run_in_threadpool(_begin_page, site, request, filled, 422)
    asked = ListenAsked(
        interface=filled.text("interface") or None,
        channels=tuple(filled.text("channel").split()),
        bitrate=int(bitrate) if bitrate else None,
        machine=filled.text("machine") or None,
        hours=hours,
    )
    site.live.begin(asked, site.look(request).wording)
    return RedirectResponse("/live", 303)


async def stop(request: Request) -> Response:
    """End it; what was heard is filed."""
    site_of(request).live.stop()
    return RedirectResponse("/live", 303)


async def events(request: Request) -> Response:
    """Send each new moment as a piece of the page (server-sent events, WHATWG HTML 9.2).

    A browser that loses the connection comes back by itself, and is sent the moment it is then.
    """
    site = site_of(request)
    look = site.look(request)

    async def sending() -> AsyncIterator[str]:
        yield "retry: 1000\n\n"
        async for moment in site.live.moments():
            if moment is None:
                yield ": still here\n\n"
            elif moment.state in ("idle", "ended", "trouble"):
                yield "event: ended\ndata: .\n\n"
            else:
                html = await run_in_threadpool(_piece, site, request, moment, look)
                lines = "".join(f"data: {line}\n" for line in html.splitlines() if line.strip())
                yield f"{lines}\n"

    return StreamingResponse(sending(), media_type="text/event-stream")


def _piece(site: Site, request: Request, moment: Moment, look: Look) -> str:
    shown = _shown(site, moment, look)
    page = site.page(request, "live_piece.html", moment=moment, shown=shown)
    return bytes(page.body).decode()


def _shown(site: Site, moment: Moment, look: Look) -> LiveShown | None:
    if moment.view is None:
        return None
    known: MachineDocument | None = None
    if moment.view["machine"] is not None:
        try:
            known = site.documents.machine(moment.view["machine"], look.wording)
        except ShearboltError:
            # It is new, and not in the book before this visit is filed.
            known = None
    return live_shown(moment.view, known, look)


def _begin_page(site: Site, request: Request, filled: Filled, status: int) -> Response:
    look = site.look(request)
    moment = site.live.now
    yard = site.documents.yard(look.wording)
    outcome = moment.outcome
    return site.page(
        request,
        "live_begin.html",
        status,
        filled=filled,
        machines=sorted(yard["machines"], key=lambda one: one["machine_name"].casefold()),
        chosen=filled.text("machine") or request.query_params.get("machine", ""),
        trouble=phrases.for_page(moment.trouble) if moment.trouble else "",
        words=[phrases.for_page(one) for one in outcome["words"]] if outcome else [],
        visits=[brought_visit(one, look) for one in outcome["visits"]] if outcome else [],
    )
