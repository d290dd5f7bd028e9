"""The pages that show: each asks for a document, and gives its template what a view made of it."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from shearbolt.web import plugs as connectors
from shearbolt.web.site import site_of
from shearbolt.web.view_fault import fault_shown
from shearbolt.web.view_machine import machine_shown
from shearbolt.web.view_visit import visit_shown
from shearbolt.web.view_yard import yard_groups

DONE = {
    "note": "It is written down.",
    "repair": "The repair is in the book.",
    "event": "It is written down, beside the looks at this machine.",
}
"""What a page says at its top after a form was sent."""


def _done(request: Request) -> str:
    return DONE.get(request.query_params.get("done", ""), "")


def yard(request: Request) -> Response:
    """Which machine needs somebody?"""
    site = site_of(request)
    look = site.look(request)
    document = site.documents.yard(look.wording)
    return site.page(request, "yard.html", groups=yard_groups(document, look))


def machine(request: Request) -> Response:
    """Can I keep going with this one?"""
    site = site_of(request)
    look = site.look(request)
    document = site.documents.machine(request.path_params["machine"], look.wording)
    return site.page(
        request, "machine.html", shown=machine_shown(document, look), done=_done(request)
    )


def fault(request: Request) -> Response:
    """What is it, and what do I do?"""
    site = site_of(request)
    look = site.look(request)
    document = site.documents.fault(request.path_params["fault"], look.wording)
    owner = site.documents.machine(document["machine"], look.wording)
    checked = site.documents.checks_done(document["machine"], look.wording)["done"]
    return site.page(
        request,
        "fault.html",
        shown=fault_shown(document, owner, look, checked),
        done=_done(request),
    )


def visit(request: Request) -> Response:
    """What did this look at it tell?"""
    site = site_of(request)
    look = site.look(request)
    document = site.documents.visit(request.path_params["visit"], look.wording)
    owner = site.documents.machine(document["machine"], look.wording)
    return site.page(
        request, "visit.html", shown=visit_shown(document, owner, look), done=_done(request)
    )


def note_where(request: Request) -> Response:
    """Which machine is it about?"""
    site = site_of(request)
    document = site.documents.yard(site.look(request).wording)
    machines = sorted(document["machines"], key=lambda one: one["machine_name"].casefold())
    return site.page(request, "note_where.html", machines=machines)


def plugs(request: Request) -> Response:
    """Which plug is this?"""
    return site_of(request).page(
        request, "plugs.html", plugs=connectors.PLUGS, measured=connectors.MEASURED
    )


def plug(request: Request) -> Response:
    """What does this plug carry?"""
    found = connectors.plug_of(request.path_params["plug"])
    if found is None:
        raise HTTPException(404)
    return site_of(request).page(request, "plug.html", plug=found)
